//! What a sweep varies: lists, ranges and tables of values, and the grid that they span.

use crate::render::words::plural;
use crate::scenario::Problem;
use std::fmt::Write;

/// Most points of a sweep.
const POINTS_MAX: usize = 100_000;
/// After so many bad lines of a table the rest is not looked at.
const PROBLEMS_MAX: usize = 10;

/// One dimension of the grid: one key with its values, or several keys that change together.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Axis {
    /// The keys.
    pub(super) keys: Vec<String>,
    /// One value for each key, in each row.
    pub(super) rows: Vec<Vec<String>>,
}

/// `KEY=V1,V2,…`; a comma inside quotes, brackets or braces belongs to the value. `2..8` stands for 2, 3, … 8 and
/// `10%..90%/20%` for 10%, 30%, … 90%.
pub(super) fn axis(text: &str) -> Result<Axis, String> {
    let example = "write it as KEY=V1,V2, for example link.edge-san.members=2,3,4";
    let (key, list) = text.split_once('=').ok_or(example)?;
    let key = key.trim();
    if key.is_empty() || list.trim().is_empty() {
        return Err(example.to_owned());
    }
    check(key)?;
    let mut values = Vec::new();
    for value in split(list) {
        let value = value.trim();
        if value.is_empty() {
            return Err(format!("there is an empty value in the list of `{key}`"));
        }
        match range(value)? {
            Some(all) => values.extend(all),
            None => values.push(value.to_owned()),
        }
    }
    for (index, value) in values.iter().enumerate() {
        check(value)?;
        if values[..index].contains(value) {
            return Err(format!("`{key}` has the value {value} twice"));
        }
    }
    Ok(Axis {
        keys: vec![key.to_owned()],
        rows: values.into_iter().map(|value| vec![value]).collect(),
    })
}

/// A table of points: a header line of keys, then one row a point.
///
/// # Errors
/// Every line that is wrong, up to ten.
pub(super) fn table(file: &str, text: &str) -> Result<Axis, Vec<Problem>> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let wrong = |line: u64, message: String, expected: &str| {
        let index = usize::try_from(line).map_or(0, |line| line.saturating_sub(1));
        // Blank lines before a record count as its beginning.
        let mut lines = text.lines().enumerate().skip(index);
        let found = lines.find(|(_, line)| !line.trim().is_empty());
        let (index, shown) = found.unwrap_or((index, ""));
        let place = (0, shown.chars().count());
        let words = (message, expected.to_owned());
        Problem {
            help: "a table of points has the keys in its first line, and a row for each point"
                .to_owned(),
            ..Problem::in_row(file, index, place, words, shown)
        }
    };
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .flexible(true)
        .has_headers(false)
        .from_reader(text.as_bytes());
    let mut records = reader.records();
    let fields = |record: &csv::StringRecord| record.iter().map(str::to_owned).collect();
    let keys: Vec<String> = match records.next() {
        Some(Ok(head)) => fields(&head),
        _ => Vec::new(),
    };
    let (mut rows, mut problems): (Vec<Vec<String>>, Vec<Problem>) = (Vec::new(), Vec::new());
    if keys.is_empty() || keys.iter().any(|key| key.is_empty() || check(key).is_err()) {
        let message = "the first line does not name keys".to_owned();
        problems.push(wrong(1, message, "keys, as of --vary"));
    }
    for record in records {
        if problems.len() >= PROBLEMS_MAX {
            break;
        }
        let Ok(record) = record else {
            let message = "the file cannot be read as CSV".to_owned();
            problems.push(wrong(1, message, "UTF-8 text"));
            break;
        };
        let line = record.position().map_or(1, csv::Position::line);
        let row: Vec<String> = fields(&record);
        let (message, expected) = if row.len() != keys.len() {
            let expected = format!("{}, as in the first line", keys.len());
            (
                format!("the line has {}", plural(row.len(), "field")),
                expected,
            )
        } else if let Some(bad) = row.iter().find_map(|field| check(field).err()) {
            (bad, "one line of text a value".to_owned())
        } else if row.iter().any(String::is_empty) {
            (
                "a value is missing".to_owned(),
                "a value for each key".to_owned(),
            )
        } else if rows.contains(&row) {
            (
                "the same point is there twice".to_owned(),
                "each point once".to_owned(),
            )
        } else {
            rows.push(row);
            continue;
        };
        problems.push(wrong(line, message, &expected));
    }
    if rows.is_empty() && problems.is_empty() {
        let message = "there is no point below the keys".to_owned();
        problems.push(wrong(1, message, "a row for each point"));
    }
    if problems.is_empty() {
        Ok(Axis { keys, rows })
    } else {
        Err(problems)
    }
}

/// Every combination, the last axis changing fastest.
pub(super) fn grid(axes: &[Axis]) -> Result<Vec<Vec<String>>, String> {
    let keys: Vec<&String> = axes.iter().flat_map(|axis| &axis.keys).collect();
    for (index, key) in keys.iter().enumerate() {
        if keys[..index].contains(key) {
            return Err(format!("`{key}` is varied twice"));
        }
    }
    let mut points: Vec<Vec<String>> = vec![Vec::new()];
    for axis in axes {
        if points.len().saturating_mul(axis.rows.len()) > POINTS_MAX {
            return Err(format!("there are more than {POINTS_MAX} points"));
        }
        points = points
            .iter()
            .flat_map(|point| axis.rows.iter().map(move |row| [&point[..], row].concat()))
            .collect();
    }
    Ok(points)
}

/// A row of a file is a line, so nothing in it may break one.
fn check(text: &str) -> Result<(), String> {
    if text.chars().any(char::is_control) {
        return Err(format!(
            "{text:?} has a line break or another control in it"
        ));
    }
    Ok(())
}

fn split(list: &str) -> Vec<String> {
    let (mut parts, mut depth, mut quoted) = (vec![String::new()], 0_i32, false);
    for letter in list.chars() {
        match letter {
            '"' => quoted = !quoted,
            '[' | '{' if !quoted => depth += 1,
            ']' | '}' if !quoted => depth -= 1,
            ',' if !quoted && depth <= 0 => {
                parts.push(String::new());
                continue;
            }
            _ => {}
        }
        if let Some(last) = parts.last_mut() {
            last.push(letter);
        }
    }
    parts
}

/// Most values of one range.
const RANGE_MAX: i64 = 10_000;

/// The values of `FROM..TO` or `FROM..TO/STEP`; `None` if it is no range.
fn range(text: &str) -> Result<Option<Vec<String>>, String> {
    if text.starts_with('"') {
        return Ok(None);
    }
    let Some((from, rest)) = text.split_once("..") else {
        return Ok(None);
    };
    let wrong = || {
        format!("{text} is no range: write 2..8, 0.5..2/0.25, 10%..90%/20% or 10k/s..30k/s/5k/s")
    };
    let from = parse(from).ok_or_else(wrong)?;
    let (to, step) = last_and_step(rest, &from.suffix);
    let to = parse(to).ok_or_else(wrong)?;
    let step = if step.is_empty() {
        Number {
            units: 1,
            places: 0,
            suffix: from.suffix.clone(),
        }
    } else {
        parse(step).ok_or_else(wrong)?
    };
    let alike = from.suffix == to.suffix && (step.suffix == from.suffix || step.suffix.is_empty());
    if !alike {
        // What has another number in it is no unit.
        let unit = |number: &Number| {
            !number
                .suffix
                .contains(|c: char| c == ':' || c.is_ascii_digit())
        };
        return Err(if [&from, &to, &step].into_iter().all(unit) {
            format!("{text} mixes units")
        } else {
            wrong()
        });
    }
    let places = from.places.max(to.places).max(step.places);
    let scaled = |number: &Number| number.units.checked_mul(10_i64.pow(places - number.places));
    let (Some(first), Some(last), Some(step)) = (scaled(&from), scaled(&to), scaled(&step)) else {
        return Err(wrong());
    };
    if step <= 0 || last < first {
        return Err(format!(
            "{text} goes nowhere: from the smaller to the larger, by a step above 0"
        ));
    }
    if (last - first) / step >= RANGE_MAX {
        return Err(format!("{text} has more than {RANGE_MAX} values"));
    }
    let count = (last - first) / step;
    let all = (0..=count).map(|index| shown(first + index * step, places, &from.suffix));
    Ok(Some(all.collect()))
}

/// `TO` or `TO/STEP` in its two parts; the unit may have a `/` of its own.
fn last_and_step<'a>(rest: &'a str, unit: &str) -> (&'a str, &'a str) {
    let number = rest
        .find(|c: char| !c.is_ascii_digit() && c != '.' && c != ' ')
        .unwrap_or(rest.len());
    match rest[number..].strip_prefix(unit) {
        Some("") => (rest, ""),
        Some(behind) if behind.starts_with('/') => {
            (&rest[..rest.len() - behind.len()], &behind[1..])
        }
        _ => rest.split_once('/').unwrap_or((rest, "")),
    }
}

/// A decimal number: `units` ÷ 10^`places`, and what follows it.
struct Number {
    units: i64,
    places: u32,
    suffix: String,
}

fn parse(text: &str) -> Option<Number> {
    let text = text.trim();
    let end = text
        .find(|c: char| !c.is_ascii_digit() && c != '.')
        .unwrap_or(text.len());
    let (digits, suffix) = text.split_at(end);
    let (whole, part) = digits.split_once('.').unwrap_or((digits, ""));
    let sound = !whole.is_empty() && digits.len() <= 12 && !part.contains('.');
    Some(Number {
        units: format!("{whole}{part}").parse().ok().filter(|_| sound)?,
        places: u32::try_from(part.len()).ok()?,
        suffix: suffix.to_owned(),
    })
}

fn shown(units: i64, places: u32, suffix: &str) -> String {
    let power = 10_i64.pow(places);
    let mut out = (units / power).to_string();
    if places > 0 {
        let part = format!("{:0width$}", units % power, width = places as usize);
        let part = part.trim_end_matches('0');
        if !part.is_empty() {
            let _ = write!(out, ".{part}");
        }
    }
    out + suffix
}

#[cfg(test)]
mod tests {
    use super::*;

    fn values(text: &str) -> Vec<String> {
        let axis = axis(text).unwrap();
        axis.rows.into_iter().flatten().collect()
    }

    #[test]
    fn a_list_splits_at_commas_outside_of_values() {
        assert_eq!(values("a.b=1, 2,30%"), ["1", "2", "30%"]);
        assert_eq!(
            values("x={ poisson = \"1,5\", n = [1,2] },\"p,q\""),
            ["{ poisson = \"1,5\", n = [1,2] }", "\"p,q\""]
        );
        assert_eq!(values("s=a=b,c"), ["a=b", "c"]);
        for wrong in ["", "a", "=1", "a=", "a=1,,2", "a=1,1", "a=2..3,3", "a=1\n2"] {
            assert!(axis(wrong).is_err(), "{wrong:?}");
        }
    }

    #[test]
    fn ranges_are_decimal_and_keep_their_unit() {
        assert_eq!(values("a=2..5"), ["2", "3", "4", "5"]);
        assert_eq!(values("a=0.5..1.25/0.25"), ["0.5", "0.75", "1", "1.25"]);
        assert_eq!(values("a=10%..90%/40%,95%"), ["10%", "50%", "90%", "95%"]);
        assert_eq!(values("a=10k/s..30k/s/10k/s"), ["10k/s", "20k/s", "30k/s"]);
        assert_eq!(values("a=1k/s..3k/s"), ["1k/s", "2k/s", "3k/s"]);
        assert_eq!(values("a=1k/s..3k/s/2"), ["1k/s", "3k/s"]);
        assert_eq!(values("a=1km..5km/2"), ["1km", "3km", "5km"]);
        assert_eq!(values("a=0.1..0.4/0.1"), ["0.1", "0.2", "0.3", "0.4"]);
        assert_eq!(values("a=\"1..2\""), ["\"1..2\""]);
        for wrong in [
            "a=5..2",
            "a=1..2/0",
            "a=1m..2km",
            "a=x..y",
            "a=0..99999999",
            "a=1..2.3.4",
        ] {
            assert!(axis(wrong).is_err(), "{wrong:?}");
        }
        assert!(axis("a=1m..2km").unwrap_err().contains("mixes units"));
        // A step behind another sign is told how steps are written.
        let said = axis("a=0.5..3:0.5").unwrap_err();
        assert!(
            said.contains("0.5..2/0.25") && !said.contains("units"),
            "{said}"
        );
    }

    #[test]
    fn the_last_axis_changes_fastest() {
        let axes = [
            axis("a=1,2").unwrap(),
            table("p.csv", "b,c\n3,4\n5,6\n").unwrap(),
        ];
        assert_eq!(
            grid(&axes).unwrap(),
            [
                ["1", "3", "4"],
                ["1", "5", "6"],
                ["2", "3", "4"],
                ["2", "5", "6"]
            ]
        );
        assert!(grid(&[axis("a=1,2").unwrap(), axis("a=3").unwrap()]).is_err());
        let many = axis("a=1..1000").unwrap();
        let more = axis("b=1..1000").unwrap();
        assert!(grid(&[many, more]).is_err());
        for wrong in ["", "a\n", "a,b\n1\n", "a\n1\n1\n", "a,b\n1,\n"] {
            assert!(table("p.csv", wrong).is_err(), "{wrong:?}");
        }
        let problems = table("p.csv", "a,b\n1\n2,3\n\n2,3\n4,\n").unwrap_err();
        let found: Vec<_> = problems
            .iter()
            .map(|problem| (problem.line, problem.line_text.as_str()))
            .collect();
        assert_eq!(found, [(Some(2), "1"), (Some(5), "2,3"), (Some(6), "4,")]);
    }
}
