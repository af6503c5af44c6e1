//! Recordings of the work on a site: block traces, and statistics of host I/O over time.
//!
//! A trace has the head that replays have, and its latencies are kept. Statistics are CSV with the head
//! `time,reads_per_s,writes_per_s,read_bytes_per_s,write_bytes_per_s` and then, if recorded, `latency_us` (mean of the
//! sample) and `queue` (mean number outstanding), in any order. `time` is the end of a sample: seconds, or a date
//! and time of day as `2026-03-31T09:05:00`.

use super::problem::{Problem, Severity};
use crate::unit::Date;
use crate::wire::Op;

/// One I/O of a trace.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Recorded {
    /// Nanoseconds since the first one.
    pub at_ns: u64,
    /// Read or write.
    pub op: Op,
    /// Bytes.
    pub size: u64,
    /// Issue to completion.
    pub latency_ns: Option<u64>,
}

/// One sample of statistics.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Sample {
    /// Start of the sample, seconds since that of the first one; where it is later than the end of the one before,
    /// samples are missing between them.
    pub from_s: f64,
    /// Length; 0 of a sample alone, which does not say it.
    pub span_s: f64,
    /// Reads a second.
    pub reads: f64,
    /// Writes a second.
    pub writes: f64,
    /// Bytes read a second.
    pub read_bytes: f64,
    /// Bytes written a second.
    pub write_bytes: f64,
    /// Mean latency.
    pub latency_us: Option<f64>,
    /// Mean number outstanding.
    pub queue: Option<f64>,
}

impl Sample {
    /// Whether there are bytes where there are I/Os, and none where there are none; reads and writes apart.
    #[must_use]
    pub fn goes_together(&self) -> bool {
        (self.reads > 0.0) == (self.read_bytes > 0.0)
            && (self.writes > 0.0) == (self.write_bytes > 0.0)
    }
}

/// A recording.
#[derive(Clone, Debug, PartialEq)]
pub enum Recording {
    /// Every I/O, in order of time; at least two, at different times.
    Trace(Vec<Recorded>),
    /// Rates over time, in order; at least one.
    Statistics(Vec<Sample>),
}

const TRACE: [&str; 4] = ["timestamp_ns", "op", "offset_bytes", "size_bytes"];
const STATISTICS: [&str; 5] = [
    "time",
    "reads_per_s",
    "writes_per_s",
    "read_bytes_per_s",
    "write_bytes_per_s",
];
/// After so many bad lines the rest is not looked at.
const PROBLEMS_MAX: usize = 10;
/// Most rows.
const ROWS_MAX: usize = 20_000_000;

/// Rows of a CSV file with the places of their columns, and its problems.
pub(super) struct Rows<'a> {
    file: &'a str,
    pub(super) head: Vec<String>,
    text: &'a str,
    lines: Vec<(usize, &'a str)>,
    /// Of each row that was read, its line from 0.
    pub(super) numbers: Vec<usize>,
    pub(super) problems: Vec<Problem>,
}

impl<'a> Rows<'a> {
    pub(super) fn new(file: &'a str, text: &'a str) -> Self {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut lines = text.lines().enumerate();
        let head = lines.next().map_or("", |(_, line)| line);
        let lines = lines.filter(|(_, line)| !line.trim().is_empty());
        Self {
            file,
            head: head.split(',').map(|name| plain(name).to_owned()).collect(),
            text,
            lines: lines.take(ROWS_MAX).collect(),
            numbers: Vec::new(),
            problems: Vec::new(),
        }
    }

    pub(super) fn column(&self, name: &str) -> Option<usize> {
        self.head.iter().position(|known| known == name)
    }

    /// Notes a problem in line `number` (from 0), at a field.
    pub(super) fn note(
        &mut self,
        number: usize,
        field: (usize, usize),
        words: (String, String),
        line: &str,
    ) {
        let problem = Problem::in_row(self.file, number, field, words, line);
        self.problems.push(problem);
    }

    /// Notes a problem in a field of line `number` (from 0).
    pub(super) fn note_field(&mut self, number: usize, column: usize, words: (String, String)) {
        let line = self.text.lines().nth(number).unwrap_or("");
        self.note(number, field_place(line, column), words, line);
    }

    pub(super) fn bad_head(&mut self, expected: String) {
        let head = self.head.join(",");
        let length = head.chars().count();
        self.note(
            0,
            (0, length),
            ("the head is of no kind that is known".to_owned(), expected),
            &head,
        );
    }

    /// A latency or a queue by a name that is not read would be dropped, though its reader counts on it.
    fn other_units(&mut self) {
        let trace = TRACE.iter().all(|name| self.column(name).is_some());
        let read = if trace {
            "latency_ns"
        } else {
            "latency_us, queue"
        };
        let wrong = |name: &&String| {
            let known = read.split(", ").any(|known| known == name.as_str());
            let meant = ["latency", "queue"]
                .iter()
                .any(|stem| name.starts_with(stem));
            meant && !known
        };
        let Some(name) = self.head.iter().find(wrong).cloned() else {
            return;
        };
        let column = self.column(&name).unwrap_or(0);
        let words = (
            format!("the column `{name}` is not read here"),
            format!("{read}, in that unit; another name if it is something else"),
        );
        self.note_field(0, column, words);
    }

    /// Reads every row: `one` gets the fields by column and says what is wrong with which of them.
    pub(super) fn read<T>(
        &mut self,
        mut one: impl FnMut(&[&str]) -> Result<T, (usize, String, String)>,
    ) -> Vec<T> {
        let mut out = Vec::new();
        for (number, line) in std::mem::take(&mut self.lines) {
            if self.problems.len() >= PROBLEMS_MAX {
                self.not_looked_at(number, line);
                break;
            }
            let fields: Vec<&str> = line.split(',').map(plain).collect();
            if fields.len() != self.head.len() {
                let words = (
                    match fields.len() {
                        1 => "the line has 1 field".to_owned(),
                        many => format!("the line has {many} fields"),
                    },
                    format!("{} fields, as in the head", self.head.len()),
                );
                self.note(number, (0, line.chars().count()), words, line);
            } else {
                match one(&fields) {
                    Ok(row) => {
                        out.push(row);
                        self.numbers.push(number);
                    }
                    Err((column, message, expected)) => {
                        let place = field_place(line, column);
                        self.note(number, place, (message, expected), line);
                    }
                }
            }
        }
        out
    }

    /// Says that there may be more problems than are named, from line `number` (from 0) on.
    fn not_looked_at(&mut self, number: usize, line: &str) {
        let words = (
            format!("from here on nothing was looked at: {PROBLEMS_MAX} lines are wrong"),
            "what is wrong above to be mended first; there may be more of it".to_owned(),
        );
        self.note(number, (0, line.chars().count()), words, line);
        if let Some(last) = self.problems.last_mut() {
            last.severity = Severity::Warning;
        }
    }
}

/// Where a field stands in its line, and its length, in characters: the blanks and quotes around it are no part of it.
fn field_place(line: &str, column: usize) -> (usize, usize) {
    let before = line.split(',').take(column);
    let at: usize = before.map(|field| field.chars().count() + 1).sum();
    let raw = line.split(',').nth(column).unwrap_or("");
    let field = plain(raw);
    let inside = raw
        .find(field)
        .map_or(0, |byte| raw[..byte].chars().count());
    (at + inside, field.chars().count())
}

/// A field without the blanks around it and the quotes that a spreadsheet puts there.
fn plain(field: &str) -> &str {
    let field = field.trim();
    let inner = field
        .strip_prefix('"')
        .and_then(|rest| rest.strip_suffix('"'));
    inner.map_or(field, str::trim)
}

/// Reads a recording; its head says of which kind it is.
///
/// # Errors
/// Every problem, up to ten; never empty.
pub fn recording(file: &str, text: &str) -> Result<Recording, Vec<Problem>> {
    let mut rows = Rows::new(file, text);
    rows.other_units();
    let found = if TRACE.iter().all(|name| rows.column(name).is_some()) {
        trace(&mut rows)
    } else if STATISTICS.iter().all(|name| rows.column(name).is_some()) {
        statistics(&mut rows)
    } else {
        rows.bad_head(format!(
            "a block trace: {}[,latency_ns]; or statistics: {}[,latency_us][,queue]",
            TRACE.join(","),
            STATISTICS.join(",")
        ));
        None
    };
    match found {
        Some(found) if rows.problems.is_empty() => Ok(found),
        _ => Err(rows.problems),
    }
}

type Wrong = (usize, String, String);

/// A number of a field, in limits.
fn number(fields: &[&str], column: usize, most: f64) -> Result<f64, Wrong> {
    let text = fields[column];
    let plain = text
        .chars()
        .all(|c| c.is_ascii_digit() || ".eE+-".contains(c));
    match text.parse::<f64>() {
        Ok(value) if plain && (0.0..=most).contains(&value) => Ok(value),
        _ => Err((
            column,
            format!("`{text}` is no such figure"),
            format!("a number from 0 to {most:e}"),
        )),
    }
}

fn trace(rows: &mut Rows<'_>) -> Option<Recording> {
    let place = |name: &str| rows.column(name);
    let [at, op, offset, size] = [0, 1, 2, 3].map(|index| place(TRACE[index]));
    let (at, op, offset, size) = (at?, op?, offset?, size?);
    let latency = place("latency_ns");
    let (mut first, mut last) = (None, 0);
    let all = rows.read(|fields| {
        let whole = |column: usize| {
            let text = fields[column];
            text.parse::<u64>().map_err(|_| {
                (
                    column,
                    format!("`{text}` is no such figure"),
                    "a whole number".to_owned(),
                )
            })
        };
        let ns = whole(at)?;
        let since = ns
            .checked_sub(*first.get_or_insert(ns))
            .filter(|since| *since >= last);
        let since = since.ok_or_else(|| {
            (
                at,
                format!("the time {ns} ns is before the line above"),
                "times in order".to_owned(),
            )
        })?;
        last = since;
        let op_of = match fields[op] {
            "R" | "r" | "read" => Op::Read,
            "W" | "w" | "write" => Op::Write,
            other => {
                return Err((
                    op,
                    format!("`{other}` is no operation"),
                    "R or W".to_owned(),
                ));
            }
        };
        // Places on the disk are not used; one that is no number is a column in the wrong place.
        whole(offset)?;
        let bytes = whole(size)?;
        if bytes == 0 || bytes > crate::wire::SIZE_MAX {
            return Err((
                size,
                format!("the size {bytes} is outside its limits"),
                "1 to 67108864 bytes".to_owned(),
            ));
        }
        let latency_ns = match latency {
            Some(column) if !fields[column].is_empty() => Some(whole(column)?),
            _ => None,
        };
        Ok(Recorded {
            at_ns: since,
            op: op_of,
            size: bytes,
            latency_ns,
        })
    });
    if rows.problems.is_empty() && all.last().is_none_or(|last| last.at_ns == 0) {
        let words = (
            "the trace is too short to have a rate".to_owned(),
            "two I/Os or more, at different times".to_owned(),
        );
        let head = rows.head.join(",");
        rows.note(0, (0, head.len()), words, &head);
    }
    Some(Recording::Trace(all))
}

fn statistics(rows: &mut Rows<'_>) -> Option<Recording> {
    let place = |name: &str| rows.column(name);
    let mut columns = [0; 5];
    for (column, name) in columns.iter_mut().zip(STATISTICS) {
        *column = place(name)?;
    }
    let (latency, queue) = (place("latency_us"), place("queue"));
    let mut times: Vec<f64> = Vec::new();
    // Of lines with another fault too, so that one does not hide that the next is out of order.
    let mut last: Option<f64> = None;
    let mut dates: Option<bool> = None;
    let mut all = rows.read(|fields| {
        let at = time(fields[columns[0]]).ok_or_else(|| {
            (
                columns[0],
                format!("`{}` is no time", fields[columns[0]]),
                "seconds, or a date and time as 2026-03-31T09:05:00".to_owned(),
            )
        })?;
        // Seconds and dates count from different days: in one column they would be thousands of years apart.
        let dated = fields[columns[0]].parse::<f64>().is_err();
        if *dates.get_or_insert(dated) != dated {
            let (one, others) = if dated {
                ("a date", "seconds")
            } else {
                ("seconds", "dates")
            };
            let text = fields[columns[0]];
            return Err((
                columns[0],
                format!("the time {text} is {one}, and those above are {others}"),
                "times of one kind in the whole column".to_owned(),
            ));
        }
        let before = last.replace(last.map_or(at, |last| last.max(at)));
        if before.is_some_and(|last| at <= last) {
            let text = fields[columns[0]];
            return Err((
                columns[0],
                format!("the time {text} is not after the line above"),
                "times in order".to_owned(),
            ));
        }
        let rate = |index: usize, most: f64| number(fields, columns[index], most);
        let maybe = |column: Option<usize>, most: f64| match column {
            Some(column) if !fields[column].is_empty() => number(fields, column, most).map(Some),
            _ => Ok(None),
        };
        let sample = Sample {
            from_s: 0.0,
            span_s: 0.0,
            reads: rate(1, 1e9)?,
            writes: rate(2, 1e9)?,
            read_bytes: rate(3, 1e13)?,
            write_bytes: rate(4, 1e13)?,
            latency_us: maybe(latency, 1e9)?,
            queue: maybe(queue, 1e9)?,
        };
        for (what, ios, bytes, column) in [
            ("reads", sample.reads, sample.read_bytes, columns[3]),
            ("writes", sample.writes, sample.write_bytes, columns[4]),
        ] {
            // A rate may be rounded to a whole number.
            let least = bytes / (ios + 0.5);
            if least > crate::wire::SIZE_MAX as f64 {
                return Err((
                    column,
                    format!(
                        "{what} of {:.0} MiB each: no I/O is that large",
                        least / MIB
                    ),
                    "bytes a second, of I/Os of at most 64 MiB".to_owned(),
                ));
            }
        }
        times.push(at);
        Ok(sample)
    });
    if rows.problems.is_empty() {
        spans(&mut all, &times);
    }
    not_together(rows, &all, [columns[3], columns[4]]);
    let silent = all.iter().all(|sample| sample.reads + sample.writes == 0.0);
    if rows.problems.is_empty() && silent {
        let words = (
            "there is no I/O in it".to_owned(),
            "a sample with some".to_owned(),
        );
        let head = rows.head.join(",");
        rows.note(0, (0, head.len()), words, &head);
    }
    Some(Recording::Statistics(all))
}

const MIB: f64 = (1 << 20) as f64;
/// Rows of which one in so many may have bytes without I/Os or the other way round: rounded figures.
const ROUNDED_ONE_IN: usize = 10;

/// Notes rows in which I/Os and bytes do not go together, where there are too many of them to be roundings.
fn not_together(rows: &mut Rows<'_>, all: &[Sample], bytes: [usize; 2]) {
    let odd: Vec<usize> = (0..all.len())
        .filter(|row| !all[*row].goes_together())
        .collect();
    if odd.len() * ROUNDED_ONE_IN <= all.len() {
        return;
    }
    let room = PROBLEMS_MAX.saturating_sub(rows.problems.len());
    for row in odd.into_iter().take(room) {
        let sample = &all[row];
        let reads = (sample.reads > 0.0) == (sample.read_bytes > 0.0);
        let words = (
            "bytes and I/Os do not go together".to_owned(),
            "both 0, or both above".to_owned(),
        );
        rows.note_field(rows.numbers[row], bytes[usize::from(reads)], words);
    }
}

/// An interval so many times as long as those beside it is a gap: samples are missing.
const GAP: f64 = 1.5;

/// A sample reaches from the time of the one before; the first is as long as the second, and unknown if alone. After a
/// gap it is as long as its neighbours: what was before that nobody has recorded.
fn spans(all: &mut [Sample], times: &[f64]) {
    let intervals: Vec<f64> = times.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let span = |index: usize| {
        let before = index
            .checked_sub(1)
            .and_then(|before| intervals.get(before));
        let beside = before.into_iter().chain(intervals.get(index + 1));
        let usual = beside.copied().fold(0.0, f64::max);
        let own = intervals[index];
        if usual > 0.0 && own > GAP * usual {
            usual
        } else {
            own
        }
    };
    let first = if intervals.is_empty() { 0.0 } else { span(0) };
    let start = times.first().map_or(0.0, |at| at - first);
    for (index, (sample, at)) in all.iter_mut().zip(times).enumerate() {
        sample.span_s = index.checked_sub(1).map_or(first, span);
        sample.from_s = at - sample.span_s - start;
    }
}

/// Seconds: a plain number, or a date and time of day in one time zone.
pub(super) fn time(text: &str) -> Option<f64> {
    if let Ok(seconds) = text.parse::<f64>() {
        return (seconds.is_finite() && (0.0..=1e11).contains(&seconds)).then_some(seconds);
    }
    let text = text.trim_end_matches('Z');
    let (date, clock) = text.split_once(['T', ' '])?;
    let whole = |text: Option<&str>, most: i64| {
        let value = text?.parse::<i64>().ok()?;
        (0..=most).contains(&value).then_some(value)
    };
    let days = Date::parse(date)?.days();
    let mut parts = clock.split(':');
    let (hour, minute) = (whole(parts.next(), 23)?, whole(parts.next(), 59)?);
    let second: f64 = parts.next().unwrap_or("0").parse().ok()?;
    if !(0.0..61.0).contains(&second) || parts.next().is_some() {
        return None;
    }
    Some(((days * 24 + hour) * 60 + minute) as f64 * 60.0 + second)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_latency_in_another_unit_is_an_error_and_not_dropped() {
        let trace =
            "timestamp_ns,op,offset_bytes,size_bytes,latency_us\n100,R,0,512,9\n300,W,0,4096,\n";
        let problems = recording("t.csv", trace).unwrap_err();
        assert!(problems[0].message.contains("`latency_us`"), "{problems:?}");
        assert_eq!((problems[0].line, problems[0].column), (Some(1), 41));
        let statistics = "time,reads_per_s,writes_per_s,read_bytes_per_s,write_bytes_per_s,latency_ms\n\
                          60,1,1,512,512,1\n120,1,1,512,512,1\n";
        assert!(recording("s.csv", statistics).is_err());
        assert!(recording("s.csv", &statistics.replace("latency_ms", "remark")).is_ok());
    }

    #[test]
    fn an_offset_is_a_whole_number() {
        let text =
            "timestamp_ns,op,offset_bytes,size_bytes\n0,R,zero,512\n10,R,-5,512\n20,R,0,512\n";
        let problems = recording("t.csv", text).unwrap_err();
        let places: Vec<_> = problems.iter().map(|own| (own.line, own.column)).collect();
        assert_eq!(places, [(Some(2), 5), (Some(3), 6)]);
    }

    #[test]
    fn seconds_and_dates_do_not_mix() {
        let text = "time,reads_per_s,writes_per_s,read_bytes_per_s,write_bytes_per_s\n\
                    0,100,0,409600,0\n10,100,0,409600,0\n2026-03-31T09:05:00,200,0,819200,0\n";
        let problems = recording("s.csv", text).unwrap_err();
        assert_eq!((problems[0].line, problems[0].column), (Some(4), 1));
        assert!(
            problems[0]
                .message
                .contains("is a date, and those above are seconds"),
            "{problems:?}"
        );
    }

    #[test]
    fn a_trace_keeps_latencies_and_begins_at_nothing() {
        let text =
            "timestamp_ns,op,offset_bytes,size_bytes,latency_ns\n100,R,0,512,9\n300,W,0,4096,\n";
        let Ok(Recording::Trace(all)) = recording("t.csv", text) else {
            panic!("it is a trace");
        };
        assert_eq!((all[0].at_ns, all[1].at_ns), (0, 200));
        assert_eq!((all[0].latency_ns, all[1].latency_ns), (Some(9), None));
    }

    #[test]
    fn statistics_are_samples_that_end_at_their_time() {
        let text = "time,reads_per_s,writes_per_s,read_bytes_per_s,write_bytes_per_s,queue\n\
                    2026-02-28T23:59:30,1,0,512,0,\n2026-03-01T00:00:30,10,5,5120,2560,1.5\n";
        let Ok(Recording::Statistics(all)) = recording("s.csv", text) else {
            panic!("they are statistics");
        };
        assert_eq!((all[0].from_s, all[0].span_s), (0.0, 60.0));
        assert_eq!((all[1].from_s, all[1].span_s), (60.0, 60.0));
        assert_eq!((all[0].queue, all[1].queue), (None, Some(1.5)));
    }

    /// A minute each; ten are missing before the fourth, and from the sixth on a sample is five minutes.
    #[test]
    fn a_sample_after_a_gap_is_no_longer_than_its_neighbours() {
        let mut text =
            "time,reads_per_s,writes_per_s,read_bytes_per_s,write_bytes_per_s\n".to_owned();
        for at in [60, 120, 180, 840, 900, 1200, 1500] {
            text.push_str(&format!("{at},1,0,512,0\n"));
        }
        let Ok(Recording::Statistics(all)) = recording("s.csv", &text) else {
            panic!("they are statistics");
        };
        let found: Vec<(f64, f64)> = all.iter().map(|s| (s.from_s, s.span_s)).collect();
        let minutes = [0.0, 60.0, 120.0, 780.0, 840.0].map(|from| (from, 60.0));
        assert_eq!(found[..5], minutes);
        assert_eq!(found[5..], [(900.0, 300.0), (1200.0, 300.0)]);
    }

    /// Ten problems are not told as if they were all.
    #[test]
    fn lines_that_were_not_looked_at_are_told() {
        let text = |rows: usize| {
            let head = "time,reads_per_s,writes_per_s,read_bytes_per_s,write_bytes_per_s\n";
            let row = |i: usize| format!("{},-1,5,5120,2560\n", i + 1);
            head.to_owned() + &(0..rows).map(row).collect::<String>()
        };
        let problems = recording("s.csv", &text(60)).unwrap_err();
        assert_eq!(problems.len(), 11);
        let last = problems.last().expect("there are some");
        assert_eq!((last.severity, last.line), (Severity::Warning, Some(12)));
        assert!(last.message.contains("nothing was looked at"), "{last}");
        assert_eq!(recording("s.csv", &text(10)).unwrap_err().len(), 10);
    }

    /// One row in ten may be a rounding; where it is half of them the columns are wrong. I/Os of 954 MiB are none.
    #[test]
    fn one_rounded_row_does_not_reject_the_rest() {
        let head = "time,reads_per_s,writes_per_s,read_bytes_per_s,write_bytes_per_s\n";
        let rows = |odd: usize| -> String {
            let row = |i: usize| match i < odd {
                true => format!("{i},0,5,300,2560\n"),
                false => format!("{i},10,5,5120,2560\n"),
            };
            (0..20).map(row).collect()
        };
        assert!(recording("s.csv", &format!("{head}{}", rows(2))).is_ok());
        let problems = recording("s.csv", &format!("{head}{}", rows(10))).unwrap_err();
        assert_eq!(
            (problems.len(), problems[0].line, problems[0].column),
            (10, Some(2), 7)
        );
        let large = format!("{head}1,1,0,1000000000,0\n2,1,0,\" 1500000000\",0\n");
        let problems = recording("s.csv", &large).unwrap_err();
        assert!(
            problems[0].message.contains("reads of 636 MiB each"),
            "{problems:?}"
        );
        // The quotes of a spreadsheet are no part of the field.
        assert_eq!((problems[1].column, problems[1].length), (9, 10));
    }

    #[test]
    fn dates_are_counted_through_leap_years() {
        let days = |text: &str| time(&format!("{text}T00:00:00")).unwrap() / 86_400.0;
        assert_eq!(days("2024-03-01") - days("2024-02-28"), 2.0);
        assert_eq!(days("2100-03-01") - days("2100-02-28"), 1.0);
        assert_eq!(days("2027-01-01") - days("2026-01-01"), 365.0);
        for wrong in [
            "",
            "x",
            "2026-13-01T00:00",
            "2026-01-01",
            "2026-01-01T24:00",
            "-1",
            "nan",
        ] {
            assert_eq!(time(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn each_problem_names_its_place() {
        let head = "time,reads_per_s,writes_per_s,read_bytes_per_s,write_bytes_per_s\n";
        for (text, column, word) in [
            ("1,2,3,4".to_owned(), 1, "4 fields"),
            ("x,2,3,4,5".to_owned(), 1, "no time"),
            ("1,2,zz,4,5".to_owned(), 5, "`zz`"),
            ("1,2,3,4,0".to_owned(), 9, "do not go together"),
            ("1,0,0,0,0".to_owned(), 1, "no I/O"),
        ] {
            let problems = recording("s.csv", &format!("{head}{text}\n")).unwrap_err();
            assert_eq!(problems[0].column, column, "{text}");
            assert!(
                problems[0].message.contains(word),
                "{}",
                problems[0].message
            );
        }
        // A fault in one line hides none in the others: a time that runs back, and I/Os without bytes.
        let several = format!("{head}10,5,abc,4096,0\n5,1,2,4,5\n20,1,0,0,0\n");
        let problems = recording("s.csv", &several).unwrap_err();
        let lines: Vec<Option<u32>> = problems.iter().map(|problem| problem.line).collect();
        assert_eq!(lines, [Some(2), Some(3), Some(4)], "{problems:?}");
        let problems = recording("s.csv", "a,b\n1,2\n").unwrap_err();
        assert!(problems[0].expected.contains("reads_per_s"));
        let bad = "timestamp_ns,op,offset_bytes,size_bytes\n5,R,0,512\n4,Q,0,0\n";
        assert!(
            recording("t.csv", bad).unwrap_err()[0]
                .message
                .contains("before the line above")
        );
    }
}
