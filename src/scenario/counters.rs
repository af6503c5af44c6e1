//! Measured port counters: CSV with the head `time,part,direction,bytes,frames`.
//!
//! `time` is seconds, or a date and time of day as `2026-03-31T09:05:00`. `part` is a link, a member, a port, a switch
//! or a pattern, as outages name them: several links are meant together. `direction` is `toward-array` or
//! `toward-host`. `bytes` and `frames` are running counters, as devices keep them; either may be empty, or its column missing, but
//! not both.

use super::problem::{Problem, near_or_list};
use super::recording::{Rows, time};

/// One reading of a pair of counters.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// Seconds, on any clock that all readings share.
    pub at_s: f64,
    /// What was read: names and patterns as of outages.
    pub part: String,
    /// True from hosts towards arrays.
    pub toward_array: bool,
    /// Bytes so far.
    pub bytes: Option<u64>,
    /// Frames so far.
    pub frames: Option<u64>,
    /// Line of the file.
    pub line: usize,
}

const HEAD: [&str; 5] = ["time", "part", "direction", "bytes", "frames"];

/// Reads counters.
///
/// # Errors
/// Every problem, up to ten; never empty.
pub fn counters(file: &str, text: &str) -> Result<Vec<Reading>, Vec<Problem>> {
    let mut rows = Rows::new(file, text);
    let columns = HEAD.map(|name| rows.column(name));
    let [Some(at), Some(part), Some(direction), bytes, frames] = columns else {
        rows.bad_head(HEAD.join(","));
        return Err(rows.problems);
    };
    let Some(first) = bytes.or(frames) else {
        rows.bad_head(HEAD.join(","));
        return Err(rows.problems);
    };
    let mut all = rows.read(|fields| {
        let whole = |column: usize| {
            fields[column].parse::<u64>().map_err(|_| {
                let message = format!("`{}` is no counter", fields[column]);
                (column, message, "a whole number".to_owned())
            })
        };
        let at_s = time(fields[at]).ok_or_else(|| {
            (
                at,
                format!("`{}` is no time", fields[at]),
                "seconds, or a date and time as 2026-03-31T09:05:00".to_owned(),
            )
        })?;
        if fields[part].is_empty() {
            return Err((
                part,
                "the part is missing".to_owned(),
                "a link, port or switch".to_owned(),
            ));
        }
        let toward_array = match fields[direction] {
            "toward-array" => true,
            "toward-host" => false,
            other => {
                return Err((
                    direction,
                    format!("`{other}` is no direction"),
                    "toward-array or toward-host".to_owned(),
                ));
            }
        };
        let counted = |column: Option<usize>| match column {
            Some(column) if !fields[column].is_empty() => whole(column).map(Some),
            _ => Ok(None),
        };
        let (bytes, frames) = (counted(bytes)?, counted(frames)?);
        if bytes.is_none() && frames.is_none() {
            return Err((
                first,
                "neither bytes nor frames are counted".to_owned(),
                "a whole number in one of the two".to_owned(),
            ));
        }
        Ok(Reading {
            at_s,
            part: fields[part].to_owned(),
            toward_array,
            bytes,
            frames,
            line: 0,
        })
    });
    for (index, reading) in all.iter_mut().enumerate() {
        reading.line = rows.numbers.get(index).map_or(0, |number| number + 1);
    }
    if rows.problems.is_empty() && all.len() < 2 {
        let head = rows.head.join(",");
        let words = match all.len() {
            0 => "there are no readings below the head".to_owned(),
            _ => "there is one reading below the head, and a rate takes two".to_owned(),
        };
        let expected = "two readings or more of each part, one a line".to_owned();
        rows.note(0, (0, head.chars().count()), (words, expected), &head);
    }
    if rows.problems.is_empty() {
        Ok(all)
    } else {
        Err(rows.problems)
    }
}

/// The parts that a file names, line by line, whatever else is wrong with those lines: so that names that the site does not have are
/// told beside other problems.
#[must_use]
pub fn counted_parts(file: &str, text: &str) -> Vec<Reading> {
    let mut rows = Rows::new(file, text);
    let Some(part) = rows.column(HEAD[1]) else {
        return Vec::new();
    };
    let mut all = rows.read(|fields| {
        Ok(Reading {
            at_s: 0.0,
            part: fields[part].to_owned(),
            toward_array: true,
            bytes: None,
            frames: None,
            line: 0,
        })
    });
    for (reading, number) in all.iter_mut().zip(&rows.numbers) {
        reading.line = number + 1;
    }
    all.retain(|reading| !reading.part.is_empty());
    all
}

/// The problem of a reading of a part that the site does not have; `parts` are those that it has.
#[must_use]
pub fn unknown_part(file: &str, text: &str, reading: &Reading, parts: &[String]) -> Problem {
    let mut rows = Rows::new(file, text);
    let column = rows.column(HEAD[1]).unwrap_or(0);
    let known: Vec<&str> = parts.iter().map(String::as_str).collect();
    let words = (
        format!("the site has no link, port or switch `{}`", reading.part),
        near_or_list(&reading.part, "parts", &known),
    );
    rows.note_field(reading.line.saturating_sub(1), column, words);
    let mut problem = rows.problems.remove(0);
    "links are named as edge-A~san-A or db-1:A1~edge-A, members as edge-A~san-A/2, ports as db-1:A1; * stands for any run of \
     characters"
        .clone_into(&mut problem.help);
    problem
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn readings_have_their_places_and_problems_theirs() {
        let head = "time,part,direction,bytes,frames\n";
        let text =
            format!("{head}0,edge-A~san-A,toward-array,10,1\n\n5,edge-A~san-A,toward-array,20,\n");
        let all = counters("c.csv", &text).unwrap();
        assert_eq!(
            (all[1].line, all[1].bytes, all[1].frames),
            (4, Some(20), None)
        );
        // Some devices count frames alone: an empty field, or no column.
        for (head, row, other) in [
            (
                "time,part,direction,bytes,frames",
                "0,a,toward-array,,7",
                "5,a,toward-array,,9",
            ),
            (
                "time,part,direction,frames",
                "0,a,toward-array,7",
                "5,a,toward-array,9",
            ),
        ] {
            let all = counters("c.csv", &format!("{head}\n{row}\n{other}\n")).unwrap();
            assert_eq!((all[1].bytes, all[1].frames), (None, Some(9)), "{head}");
        }
        let neither = counters(
            "c.csv",
            &format!("{head}0,a,toward-array,,\n5,a,toward-array,,\n"),
        );
        let neither = neither.unwrap_err();
        assert!(neither[0].message.contains("neither bytes nor frames"));
        assert!(counters("c.csv", "time,part,direction\n0,a,toward-array\n").is_err());
        for (row, column) in [
            ("x,a,toward-array,1,1", 1),
            ("0,,toward-array,1,1", 3),
            ("0,a,up,1,1", 5),
            ("0,a,toward-host,-1,1", 17),
        ] {
            let problems = counters("c.csv", &format!("{head}{row}\n{row}\n")).unwrap_err();
            assert_eq!(problems[0].column, column, "{row}");
        }
        assert!(counters("c.csv", "a,b\n1,2\n").is_err());
        let problem = unknown_part("c.csv", &text, &all[1], &["edge-A~san-B".to_owned()]);
        let place = (problem.line, problem.column, problem.length);
        assert_eq!(place, (Some(4), 3, 12), "{problem}");
        assert_eq!(problem.expected, "did you mean `edge-A~san-B`?");
        let alone = counters("c.csv", head).unwrap_err();
        assert!(
            alone[0].message.contains("no readings below the head"),
            "{alone:?}"
        );
    }
}
