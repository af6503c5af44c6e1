//! Verdicts as JUnit XML, which automation of builds reads: a design can be kept honest like code.
//!
//! The form has no standard; this is the common core of what readers take. `testsuites` (`name`, `tests`,
//! `failures`) holds a `testsuite` for each case, with the `properties` that repeat the run. A `testcase` is one
//! promise in that case: `classname` is the case, `name` the promise. Missed and undecided are a `failure` whose
//! `type` says which, with the figure, the target, the margin and what limits; a promise that was not judged
//! (all its hosts went with the part) is `skipped`. A host without a path, where one part is lost, is a test case
//! too.
//!
//! Left out: `time`, which is a clock's and no result.

use super::number::{count, margin, with_unit};
use super::words::{
    Flag, all_windows_words, cell_scale, cut_off_words, cut_words, fullest_words, left_open_words,
    limit_of_row, listed, measure_name, origin_line, plural, switch_cause, target_of, target_words,
    verdict_word,
};
use crate::outcome::{
    Case, Cell, LeftOpen, Matrix, Origin, OutageWindows, Report, Row, Verdict, Windows,
};
use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, BytesText, Event};

/// One test case.
struct Test {
    name: String,
    result: Outcome,
}

enum Outcome {
    Passed,
    Skipped,
    Failed { kind: &'static str, text: String },
}

struct Suite {
    name: String,
    tests: Vec<Test>,
}

impl Suite {
    fn count(&self, wanted: fn(&Outcome) -> bool) -> usize {
        self.tests
            .iter()
            .filter(|test| wanted(&test.result))
            .count()
    }
}

/// The verdicts of a study as one XML document: every case and promise, single parts included.
#[must_use]
pub fn junit_xml(report: &Report) -> String {
    xml(&report.origin, suites(report))
}

/// The verdicts of several scenarios as one XML document: a suite for each case of each, named after its scenario.
#[must_use]
pub fn several_xml(reports: &[Report]) -> String {
    let mut all: Vec<(&Origin, Suite)> = Vec::new();
    for report in reports {
        let origin = &report.origin;
        let named = |suite: Suite| Suite {
            name: format!("{}: {}", origin.scenario, suite.name),
            ..suite
        };
        all.extend(
            suites(report)
                .into_iter()
                .map(|suite| (origin, named(suite))),
        );
    }
    let titles: Vec<&str> = reports
        .iter()
        .map(|report| report.origin.title.as_str())
        .collect();
    written(&titles.join(", "), &all)
}

fn xml(origin: &Origin, suites: Vec<Suite>) -> String {
    let all: Vec<(&Origin, Suite)> = suites.into_iter().map(|suite| (origin, suite)).collect();
    written(&origin.title, &all)
}

fn written(title: &str, suites: &[(&Origin, Suite)]) -> String {
    let mut writer = Writer::new_with_indent(Vec::new(), b' ', 1);
    // Writing to memory does not fail.
    let _ = document(&mut writer, title, suites);
    let mut text = String::from_utf8(writer.into_inner()).unwrap_or_default();
    text.push('\n');
    text
}

/// The hours found as one XML document: a test for each outage, whether it has as many in a row as are needed.
#[must_use]
pub fn windows_xml(origin: &Origin, found: &Windows) -> String {
    let test = |outage: &OutageWindows| Test {
        name: format!("{} in a row", plural(found.needed_hours as usize, "hour")),
        result: if outage.verdict == Verdict::Met {
            Outcome::Passed
        } else {
            let kind = verdict_word(outage.verdict);
            let windows = all_windows_words(outage);
            Outcome::Failed {
                kind,
                text: format!("{kind}: windows in which every promise judged is met: {windows}"),
            }
        },
    };
    let suites: Vec<Suite> = found
        .outages
        .iter()
        .map(|outage| suite(&outage.case, vec![test(outage)]))
        .collect();
    xml(origin, suites)
}

fn suites(report: &Report) -> Vec<Suite> {
    let mut out = Vec::new();
    if let Some(each) = &report.each_part {
        for (column, case) in each.matrix.cases.iter().enumerate() {
            let limit = |row: &Row| limit_of_row(each, column, row);
            let mut tests = tests(&each.matrix, column, &limit);
            let cut: Vec<String> = each.cases[column].cut_off.iter().map(cut_words).collect();
            tests.push(Test {
                name: "every host has a path".to_owned(),
                result: if cut.is_empty() {
                    Outcome::Passed
                } else {
                    Outcome::Failed {
                        kind: "cut off",
                        text: format!("cut off: {}", listed(&cut)),
                    }
                },
            });
            out.push(suite(case, tests));
        }
        return out;
    }
    for (column, case) in report.matrix.cases.iter().enumerate() {
        let limit = |row: &Row| limit_of(report, column, row);
        out.push(suite(case, tests(&report.matrix, column, &limit)));
    }
    out
}

fn suite(case: &Case, tests: Vec<Test>) -> Suite {
    Suite {
        name: case.name.clone(),
        tests,
    }
}

fn tests(matrix: &Matrix, column: usize, limit: &dyn Fn(&Row) -> String) -> Vec<Test> {
    let healthy = matrix.cases[column].outage.is_none();
    let mut out = Vec::new();
    for row in &matrix.rows {
        let Some(cell) = row.cells.get(column) else {
            continue;
        };
        // Nothing is lost in the healthy case, so nothing was promised of a switch-over.
        if cell.is_none() && (healthy || row.switching) {
            continue;
        }
        let when = if row.switching { ", switch-over" } else { "" };
        out.push(Test {
            name: format!(
                "{} {}{when}, {}",
                row.workload,
                measure_name(row.measure),
                cell.as_ref().map_or_else(
                    || target_words(row, &matrix.cases),
                    |cell| target_of(row.measure, cell)
                )
            ),
            result: cell
                .as_ref()
                .map_or(Outcome::Skipped, |cell| judged(row, cell, &limit(row))),
        });
    }
    out
}

fn judged(row: &Row, cell: &Cell, limit: &str) -> Outcome {
    let flag = Flag::of(cell);
    if flag == Flag::Met {
        return Outcome::Passed;
    }
    let scale = cell_scale(cell);
    // The digits of the table, so that figure, target and margin agree.
    let short = |value: f64| with_unit(&scale.apart(value, cell.target), scale.unit);
    let figure = match (cell.value, cell.beyond) {
        (Some(figure), _) => format!("simulated {}", short(figure.value)),
        (None, Some(_)) if cell.is_cut_off() => format!("cut off, {}", cut_off_words(row)),
        (None, Some(beyond)) => {
            let fail = cell.beyond_by_failing().map_or_else(String::new, |failed| {
                format!(", {} I/Os fail", count(failed))
            });
            format!("simulated more than {}{fail}", short(beyond))
        }
        (None, None) => "no figure".to_owned(),
    };
    let mut text = format!(
        "{}: {figure}, target {}",
        flag.word(),
        target_of(row.measure, cell)
    );
    if let Some(room) = cell.margin_percent {
        text.push_str(&format!(", margin {}", margin(room)));
    }
    if let Some(needed) = cell.replications_needed {
        text.push_str(&format!(", about {needed} replications would decide"));
    }
    if let Some((why, _)) = left_open_words(cell) {
        text.push_str(&format!("; {why}"));
    }
    if !limit.is_empty() {
        text.push_str(&format!("; {limit}"));
    }
    Outcome::Failed {
        kind: flag.word(),
        text,
    }
}

/// What limits a case of a study of outages: the timer that ended the stall of the workload (or that nothing did), or the
/// fullest part.
fn limit_of(report: &Report, column: usize, row: &Row) -> String {
    if row.switching {
        let name = &report.matrix.cases[column].name;
        let switch = report
            .switches
            .iter()
            .find(|switch| switch.case.name == *name);
        let own = switch.and_then(|switch| {
            let mut works = switch.workloads.iter();
            let own = works.find(|own| own.name == row.workload)?;
            Some(switch_cause(own, switch.counted_from, row.measure))
        });
        let ends = own.unwrap_or_default();
        return ends.trim_end_matches('.').to_owned();
    }
    let cell = row.cells.get(column).and_then(Option::as_ref);
    if cell.is_some_and(|cell| {
        matches!(
            cell.left_open,
            Some(LeftOpen::RunTooShort | LeftOpen::Filling | LeftOpen::Bursts | LeftOpen::Stopped)
        )
    }) {
        return String::new();
    }
    let mut fullest: Option<crate::outcome::Fullest> = None;
    for part in &report.parts {
        if let Some(Some(used)) = part.cases.get(column)
            && fullest
                .as_ref()
                .is_none_or(|full| used.peak_percent > full.peak_percent)
        {
            fullest = Some(crate::outcome::Fullest {
                part: part.part.clone(),
                instance: used.instance.clone(),
                mean_percent: used.mean_percent,
                asked_mean_percent: used.asked_mean_percent,
                peak_percent: used.peak_percent,
            });
        }
    }
    fullest.as_ref().map_or_else(String::new, fullest_words)
}

/// A character that XML 1.0 allows (W3C, Extensible Markup Language 1.0, fifth edition 2008, production 2), or a
/// blank; line breaks in attributes would be read as blanks anyway.
fn plain(text: &str) -> String {
    text.chars()
        .map(|c| match c {
            c if c.is_control() => ' ',
            '\u{FFFE}' | '\u{FFFF}' => ' ',
            c => c,
        })
        .collect()
}

type Out = Writer<Vec<u8>>;

fn start(name: &str, attributes: &[(&str, String)]) -> BytesStart<'static> {
    let mut element = BytesStart::new(name.to_owned());
    for (key, value) in attributes {
        element.push_attribute((*key, plain(value).as_str()));
    }
    element
}

fn document(writer: &mut Out, title: &str, suites: &[(&Origin, Suite)]) -> std::io::Result<()> {
    let failed = |outcome: &Outcome| matches!(outcome, Outcome::Failed { .. });
    let tests: usize = suites.iter().map(|(_, suite)| suite.tests.len()).sum();
    let failures: usize = suites.iter().map(|(_, suite)| suite.count(failed)).sum();
    writer.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
    let root = [
        ("name", title.to_owned()),
        ("tests", tests.to_string()),
        ("failures", failures.to_string()),
        ("errors", "0".to_owned()),
    ];
    writer.write_event(Event::Start(start("testsuites", &root)))?;
    for (origin, suite) in suites {
        let skipped = suite.count(|outcome| matches!(outcome, Outcome::Skipped));
        let head = [
            ("name", suite.name.clone()),
            ("tests", suite.tests.len().to_string()),
            ("failures", suite.count(failed).to_string()),
            ("errors", "0".to_owned()),
            ("skipped", skipped.to_string()),
        ];
        writer.write_event(Event::Start(start("testsuite", &head)))?;
        properties(writer, origin)?;
        for test in &suite.tests {
            one(writer, suite, test)?;
        }
        writer.write_event(Event::End(BytesEnd::new("testsuite")))?;
    }
    writer.write_event(Event::End(BytesEnd::new("testsuites")))
}

fn properties(writer: &mut Out, origin: &Origin) -> std::io::Result<()> {
    writer.write_event(Event::Start(BytesStart::new("properties")))?;
    for (name, value) in [
        ("origin", origin_line(origin)),
        ("digest", origin.digest.clone()),
        ("command", origin.command.clone()),
    ] {
        let attributes = [("name", name.to_owned()), ("value", value)];
        writer.write_event(Event::Empty(start("property", &attributes)))?;
    }
    writer.write_event(Event::End(BytesEnd::new("properties")))
}

fn one(writer: &mut Out, suite: &Suite, test: &Test) -> std::io::Result<()> {
    let attributes = [
        ("classname", suite.name.clone()),
        ("name", test.name.clone()),
    ];
    let element = start("testcase", &attributes);
    match &test.result {
        Outcome::Passed => writer.write_event(Event::Empty(element)),
        Outcome::Skipped => {
            writer.write_event(Event::Start(element))?;
            let why = [(
                "message",
                "not judged: its hosts went with the part".to_owned(),
            )];
            writer.write_event(Event::Empty(start("skipped", &why)))?;
            writer.write_event(Event::End(BytesEnd::new("testcase")))
        }
        Outcome::Failed { kind, text } => {
            writer.write_event(Event::Start(element))?;
            let why = [("type", (*kind).to_owned()), ("message", text.clone())];
            writer.write_event(Event::Start(start("failure", &why)))?;
            writer.write_event(Event::Text(BytesText::new(&plain(text))))?;
            writer.write_event(Event::End(BytesEnd::new("failure")))?;
            writer.write_event(Event::End(BytesEnd::new("testcase")))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Several scenarios are one document, whose sums are those of all.
    #[test]
    fn several_scenarios_are_suites_of_one_document() {
        let mut reports = [sample_report(), sample_report()];
        reports[1].origin.scenario = "other.toml".to_owned();
        let one = junit_xml(&reports[0]);
        let both = several_xml(&reports);
        let count = |text: &str, what: &str| text.matches(what).count();
        for what in ["<testsuite ", "<testcase ", "<failure "] {
            assert!(count(&one, what) > 0);
            assert_eq!(count(&both, what), 2 * count(&one, what), "{what}");
        }
        assert!(
            both.contains("<testsuite name=\"other.toml: healthy\""),
            "{both}"
        );
        let document = Document::parse(&both).expect("it is XML");
        let of = |text: &str| -> usize { text.parse().expect("a number") };
        let all = document.root_element().attribute("tests").map(of);
        assert_eq!(all, Some(count(&both, "<testcase ")));
    }

    #[test]
    fn an_outage_passes_when_its_window_is_long_enough() {
        let mut found = crate::render::sample::sample_windows();
        let origin = crate::render::sample::sample_report().origin;
        found.outages[1].verdict = Verdict::Missed;
        let text = windows_xml(&origin, &found);
        assert!(
            text.contains(
                "<testsuites name=\"sample, invented figures\" tests=\"2\" failures=\"1\""
            ),
            "{text}"
        );
        assert!(
            text.contains("<testcase classname=\"A lost\" name=\"4 hours in a row\"/>"),
            "{text}"
        );
        assert!(text.contains("type=\"missed\""), "{text}");
    }
    use crate::outcome::Verdict;
    use crate::render::sample::{sample_report, sample_singles};
    use roxmltree::{Document, Node};

    #[test]
    fn a_failure_of_a_switch_over_says_what_ended_the_stall_of_its_own_workload_or_that_nothing_did()
     {
        let mut report = sample_report();
        let at = report.matrix.rows.iter().position(|row| row.switching);
        let at = at.expect("something is promised of the switch-over");
        let name = report.matrix.rows[at].workload.clone();
        let column = report.matrix.rows[at]
            .cells
            .iter()
            .position(Option::is_some);
        let column = column.expect("it is judged");
        let cell = report.matrix.rows[at].cells[column].as_mut();
        cell.expect("there").verdict = Verdict::Missed;
        let case = report.matrix.cases[column].name.clone();
        let own = |report: &mut Report, change: &dyn Fn(&mut crate::outcome::SwitchWorkload)| {
            let switch = report.switches.iter_mut().find(|s| s.case.name == case);
            let works = switch.expect("it was run").workloads.iter_mut();
            works.filter(|work| work.name == name).for_each(change);
        };
        let row = |report: &Report| limit_of(report, column, &report.matrix.rows[at]);
        // The sample’s work goes on all the while.
        assert!(
            row(&report).contains("it lets the longest I/O end"),
            "{}",
            row(&report)
        );
        own(&mut report, &|work| work.freed_by = None);
        assert_eq!(row(&report), "");
        own(&mut report, &|work| work.longest_open[0] = true);
        assert_eq!(
            row(&report),
            "nothing had ended the stall when the run stopped"
        );
        own(&mut report, &|work| work.no_path = true);
        assert_eq!(row(&report), "no path is left; nothing ended the stall");
        let text = junit_xml(&report);
        assert!(text.contains("no path is left; nothing ended the stall"));
    }

    fn cells(matrix: &Matrix) -> impl Iterator<Item = &Cell> {
        matrix
            .rows
            .iter()
            .flat_map(|row| row.cells.iter().flatten())
    }

    fn named<'d>(document: &'d Document<'d>, name: &str) -> Vec<Node<'d, 'd>> {
        document
            .descendants()
            .filter(|node| node.has_tag_name(name))
            .collect()
    }

    /// What the suites count is what they hold.
    fn counted(document: &Document<'_>) {
        for suite in named(document, "testsuite") {
            for (attribute, tag) in [
                ("tests", "testcase"),
                ("failures", "failure"),
                ("skipped", "skipped"),
            ] {
                let held = suite
                    .descendants()
                    .filter(|node| node.has_tag_name(tag))
                    .count();
                assert_eq!(
                    suite.attribute(attribute),
                    Some(held.to_string().as_str()),
                    "{tag}"
                );
            }
        }
        let root = document.root_element();
        let failures = named(document, "failure").len();
        assert_eq!(
            root.attribute("failures"),
            Some(failures.to_string().as_str())
        );
    }

    #[test]
    fn one_test_for_each_case_and_promise() {
        let report = sample_report();
        let text = junit_xml(&report);
        let document = Document::parse(&text).expect("it is well-formed");
        counted(&document);
        assert_eq!(named(&document, "testsuite").len(), 3);
        assert_eq!(
            named(&document, "testcase").len(),
            cells(&report.matrix).count()
        );
        let missed = cells(&report.matrix)
            .filter(|cell| cell.verdict != Verdict::Met)
            .count();
        let failures = named(&document, "failure");
        assert_eq!(failures.len(), missed);
        let text = failures[0].text().expect("it says why");
        for said in ["missed", "14", "at most 2", "margin", "busiest 20"] {
            assert!(text.contains(said), "{said}: {text}");
        }
    }

    #[test]
    fn single_parts_say_who_is_cut_off() {
        let report = sample_singles();
        let text = junit_xml(&report);
        let document = Document::parse(&text).expect("it is well-formed");
        counted(&document);
        let cut: Vec<_> = named(&document, "failure")
            .into_iter()
            .filter(|node| node.attribute("type") == Some("cut off"))
            .collect();
        assert_eq!(cut.len(), 1);
        assert_eq!(cut[0].text(), Some("cut off: db-1 and db-2 from vault"));
    }

    #[test]
    fn any_name_leaves_the_document_well_formed() {
        let mut report = sample_report();
        let nasty = "]]> & \"<b>\" 'é' \u{0}\u{1b}[31m\u{FFFE}\n";
        report.origin.title = nasty.to_owned();
        report.origin.command = nasty.to_owned();
        report.matrix.cases[1].name = nasty.to_owned();
        report.matrix.rows[0].workload = nasty.to_owned();
        let text = junit_xml(&report);
        let document = Document::parse(&text).expect("it is well-formed");
        counted(&document);
        let root = document.root_element();
        assert!(
            root.attribute("name")
                .is_some_and(|name| name.starts_with("]]> & \"<b>\" 'é'"))
        );
    }

    #[test]
    fn work_that_went_with_its_hosts_is_skipped() {
        let mut report = sample_singles();
        let each = report.each_part.as_mut().expect("the sample has it");
        each.matrix.rows[0].cells[2] = None;
        let text = junit_xml(&report);
        let document = Document::parse(&text).expect("it is well-formed");
        counted(&document);
        assert_eq!(named(&document, "skipped").len(), 1);
    }
}
