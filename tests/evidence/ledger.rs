//! What is expected, what came out, and whether the two agree.

use halfloom::measure::{mean_interval, t_quantile};
use statrs::distribution::{ChiSquared, ContinuousCDF};
use std::fmt::Write as _;

/// Chance that any statistical check of the whole list fails though everything is right.
pub(crate) const FAMILY: f64 = 1e-3;

/// Statistical checks in the whole list, those against other software included. The list itself is counted
/// against it, so that the level of each interval is fixed before anything has run.
pub(crate) const STATISTICAL: usize = 490;

/// Level of each interval, by Šidák's rule for that many: 1 − (1 − α)^(1/k) is its false-alarm rate.
/// (Šidák, *Journal of the American Statistical Association* 62, 1967; from memory.)
#[allow(clippy::cast_precision_loss)]
pub(crate) fn level() -> f64 {
    (1.0 - FAMILY).powf(1.0 / STATISTICAL as f64)
}

/// No interval may be wider, either way, than this part of the value: an error of a quarter is found by every check.
const WIDEST: f64 = 0.25;

/// One check.
#[derive(Clone, Debug)]
pub(crate) struct Check {
    section: &'static str,
    what: String,
    source: &'static str,
    expected: String,
    simulated: String,
    allowance: String,
    agrees: Option<bool>,
    statistical: bool,
    /// What was simulated, and how far another run of the check may be from it.
    value: Option<(f64, f64)>,
}

impl Check {
    /// Whether a line of the page has a simulated figure that this run does not bear out.
    fn is_contradicted_by(&self, line: &str) -> bool {
        let own = line.strip_prefix(&self.head()).unwrap_or_default();
        let simulated = own.split(['|', ',']).next().unwrap_or_default().trim();
        match (self.value, simulated.parse::<f64>()) {
            (Some((value, reach)), Ok(written)) => (written - value).abs() > reach,
            _ => false,
        }
    }

    /// The start of its line: what does not change from run to run.
    fn head(&self) -> String {
        format!("| {} | {} | {} |", self.what, self.source, self.expected)
    }

    fn line(&self) -> String {
        let agrees = match self.agrees {
            Some(true) => "yes",
            Some(false) => "**no**",
            None => "skipped",
        };
        format!(
            "{} {} | {} | {agrees} |",
            self.head(),
            self.simulated,
            self.allowance
        )
    }
}

/// All checks so far.
#[derive(Debug, Default)]
pub(crate) struct Ledger {
    section: &'static str,
    source: &'static str,
    checks: Vec<Check>,
    /// Half widths of intervals as parts of their values.
    widths: Vec<(f64, String)>,
}

/// Six digits at most, as they are printed.
pub(crate) fn digits(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let places = (5 - value.abs().log10().floor() as i32).clamp(0, 12) as usize;
    let text = format!("{value:.places$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

impl Ledger {
    /// The checks that follow belong to this section.
    pub(crate) fn section(&mut self, section: &'static str) {
        self.section = section;
    }

    /// The values of the checks that follow come from there.
    pub(crate) fn source(&mut self, source: &'static str) {
        self.source = source;
    }

    fn add(
        &mut self,
        what: String,
        expected: String,
        found: (String, String),
        agrees: Option<bool>,
        statistical: bool,
    ) {
        assert!(!what.contains('|') && !self.source.contains('|'), "{what}");
        let check = Check {
            section: self.section,
            what,
            source: self.source,
            expected,
            simulated: found.0,
            allowance: found.1,
            agrees,
            statistical,
            value: None,
        };
        println!("{}", check.line());
        self.checks.push(check);
    }

    /// Of the last check: what was simulated, and how far another run may be from it.
    fn simulated(&mut self, value: f64, reach: f64) {
        if let Some(check) = self.checks.last_mut() {
            check.value = Some((value, reach));
        }
    }

    /// The mean of `values`, one a replication, must be the published one within its interval.
    pub(crate) fn theory(&mut self, what: impl Into<String>, published: f64, values: &[f64]) {
        let what = what.into();
        assert!(values.len() >= 30, "{what}: too few replications");
        let estimate = mean_interval(values, level());
        let half = estimate.half_width.expect("several replications");
        self.note_width(&what, half, published);
        let agrees = (estimate.value - published).abs() <= half;
        let found = (digits(estimate.value), format!("± {half:.2e}"));
        self.add(what, digits(published), found, Some(agrees), true);
        self.simulated(estimate.value, half);
    }

    /// `count` times the variance of `values`, one a replication, must be the published figure: within the chi-squared interval of a variance, as
    /// far as the values are normal.
    #[allow(clippy::cast_precision_loss)]
    pub(crate) fn variance(
        &mut self,
        what: impl Into<String>,
        published: f64,
        values: &[f64],
        count: f64,
    ) {
        let what = what.into();
        let freedom = values.len() as f64 - 1.0;
        let mean = values.iter().sum::<f64>() / values.len() as f64;
        let squares: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
        let found = squares / freedom * count;
        let law = ChiSquared::new(freedom).expect("several replications");
        let tail = (1.0 - level()) / 2.0;
        let (low, high) = (
            found * freedom / law.inverse_cdf(1.0 - tail),
            found * freedom / law.inverse_cdf(tail),
        );
        self.note_width(&what, (high - low) / 2.0, published);
        let agrees = (low..=high).contains(&published);
        let between = format!("{} to {}", digits(low), digits(high));
        self.add(
            what,
            digits(published),
            (digits(found), between),
            Some(agrees),
            true,
        );
        self.simulated(found, (high - low) / 2.0);
    }

    /// The value must be exactly this, to a stated relative rounding.
    pub(crate) fn exact(
        &mut self,
        what: impl Into<String>,
        published: f64,
        found: f64,
        rounding: f64,
    ) {
        let agrees = (found - published).abs() <= rounding * published.abs();
        let found = (digits(found), format!("exact to {rounding:.0e}"));
        self.add(what.into(), digits(published), found, Some(agrees), false);
    }

    /// The mean of `values` must not be above a bound, beyond its interval.
    pub(crate) fn at_most(&mut self, what: impl Into<String>, bound: f64, values: &[f64]) {
        let estimate = mean_interval(values, level());
        let half = estimate.half_width.expect("several replications");
        let agrees = estimate.value - half <= bound;
        let found = (digits(estimate.value), format!("± {half:.2e}"));
        self.add(
            what.into(),
            format!("≤ {}", digits(bound)),
            found,
            Some(agrees),
            true,
        );
        self.simulated(estimate.value, half);
    }

    /// The means of the two must agree within the interval of their difference (Welch), widened by `room` of
    /// the value, which is what the histogram's buckets may add. Without `theirs` the check is skipped.
    #[allow(
        clippy::cast_precision_loss,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss
    )]
    pub(crate) fn software(
        &mut self,
        what: impl Into<String>,
        theirs: Option<&[f64]>,
        ours: &[f64],
        room: f64,
    ) {
        let what = what.into();
        let expected = "as the other program".to_owned();
        let Some(theirs) = theirs else {
            let skipped = (String::new(), String::new());
            self.add(what, expected, skipped, None, true);
            return;
        };
        let moments = |values: &[f64]| {
            let n = values.len() as f64;
            let mean = values.iter().sum::<f64>() / n;
            let squares: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
            (mean, squares / (n - 1.0) / n, n - 1.0)
        };
        assert!(
            theirs.len() >= 20 && ours.len() >= 20,
            "{what}: too few replications"
        );
        let (mean, variance, freedom) = moments(ours);
        let (other, other_variance, other_freedom) = moments(theirs);
        let both = variance + other_variance;
        // Welch and Satterthwaite's number of degrees of freedom, down to a whole one.
        let welch = both * both
            / (variance * variance / freedom + other_variance * other_variance / other_freedom);
        let freedom = if both > 0.0 {
            welch.floor().max(1.0) as usize
        } else {
            1
        };
        let t = t_quantile(f64::midpoint(1.0, level()), freedom);
        let half = if both > 0.0 { t * both.sqrt() } else { 0.0 } + room * other.abs();
        self.note_width(&what, half, other);
        let agrees = (mean - other).abs() <= half;
        let found = (
            format!("{}, theirs {}", digits(mean), digits(other)),
            format!("± {half:.2e}"),
        );
        self.add(what, expected, found, Some(agrees), true);
        self.simulated(mean, half);
    }

    /// Two shares of so many repetitions, the model's and the plain way's, must agree within the interval of
    /// their difference, and the model's may not be below `least`. Without them the check is skipped.
    pub(crate) fn coverage(
        &mut self,
        what: impl Into<String>,
        shares: Option<(f64, f64)>,
        repetitions: u32,
        least: f64,
    ) {
        let expected = format!("as the plain way, at least {least}");
        let Some((ours, plain)) = shares else {
            let skipped = (String::new(), String::new());
            self.add(what.into(), expected, skipped, None, true);
            return;
        };
        let spread = |share: f64| share * (1.0 - share) / f64::from(repetitions);
        let normal = t_quantile(f64::midpoint(1.0, level()), 1_000_000);
        let half = normal * (spread(ours) + spread(plain)).sqrt();
        let agrees = (ours - plain).abs() <= half && ours >= least;
        let found = (
            format!("{}, plain {}", digits(ours), digits(plain)),
            format!("± {half:.2e}"),
        );
        self.add(what.into(), expected, found, Some(agrees), true);
        self.simulated(ours, half);
    }

    fn note_width(&mut self, what: &str, half: f64, expected: f64) {
        self.widths.push((half / expected.abs(), what.to_owned()));
    }

    /// Checks whose interval is too wide.
    pub(crate) fn vague(&self) -> Vec<String> {
        let vague = self.widths.iter().filter(|(width, _)| *width > WIDEST);
        vague
            .map(|(width, what)| format!("{what}: {width:.3} of the value"))
            .collect()
    }

    /// Half widths as parts of their values: that of which half are narrower, that of which nine in ten are, and the widest.
    pub(crate) fn widths(&self) -> (f64, f64, f64) {
        let mut all: Vec<f64> = self.widths.iter().map(|(width, _)| *width).collect();
        all.sort_by(f64::total_cmp);
        let at = |tenths: usize| all[(all.len() * tenths / 10).min(all.len() - 1)];
        (at(5), at(9), at(10))
    }

    pub(crate) fn statistical(&self) -> usize {
        self.checks.iter().filter(|check| check.statistical).count()
    }

    pub(crate) fn disagreeing(&self) -> Vec<String> {
        let bad = |check: &&Check| check.agrees == Some(false);
        self.checks.iter().filter(bad).map(Check::line).collect()
    }

    pub(crate) fn skipped(&self) -> usize {
        self.checks
            .iter()
            .filter(|check| check.agrees.is_none())
            .count()
    }

    /// All checks as sections with a table each.
    pub(crate) fn tables(&self) -> String {
        let mut out = String::new();
        let mut section = "";
        for check in &self.checks {
            if check.section != section {
                section = check.section;
                let _ = write!(
                    out,
                    "\n## {section}\n\n| check | source | expected | simulated | interval | agrees |\n\
                     | --- | --- | --- | --- | --- | --- |\n"
                );
            }
            let _ = writeln!(out, "{}", check.line());
        }
        out
    }

    /// What a committed text lacks of these checks, lines of it that are no check, and figures in it that this run does not bear out.
    pub(crate) fn missing_in(&self, text: &str) -> Vec<String> {
        let heads: Vec<String> = self.checks.iter().map(Check::head).collect();
        let rows: Vec<&str> = text
            .lines()
            .filter(|line| {
                line.starts_with("| ") && line.ends_with(" |") && line.matches(" | ").count() == 5
            })
            .filter(|line| !line.starts_with("| check |") && !line.starts_with("| --- |"))
            .collect();
        let absent = heads
            .iter()
            .filter(|head| !rows.iter().any(|row| row.starts_with(*head)));
        let unknown = rows
            .iter()
            .filter(|row| !heads.iter().any(|head| row.starts_with(head)));
        let contradicted = self.checks.iter().filter_map(|check| {
            let row = rows.iter().find(|row| row.starts_with(&check.head()))?;
            let line = check.line();
            let wrong = check.is_contradicted_by(row);
            wrong.then(|| format!("{row}\n  where this run has {line}"))
        });
        absent
            .cloned()
            .chain(unknown.map(|row| (*row).to_owned()))
            .chain(contradicted)
            .collect()
    }
}

/// A page is of this list when its lines are, and its figures lie where a run of the list may come out.
#[test]
fn a_page_of_another_list_or_with_other_figures_is_found() {
    let mut ledger = Ledger::default();
    ledger.section("one");
    ledger.source("a book");
    let values: Vec<f64> = (0..40).map(|index| 10.0 + f64::from(index % 5)).collect();
    ledger.theory("wait", 12.0, &values);
    let page = ledger.tables();
    assert!(ledger.missing_in(&page).is_empty());
    assert_eq!(
        ledger
            .missing_in(&page.replace("| wait |", "| weight |"))
            .len(),
        2
    );
    assert_eq!(
        ledger
            .missing_in(&page.replace("| a book | 12 | 12 |", "| a book | 12 | 12.2 |"))
            .len(),
        0
    );
    assert_eq!(
        ledger
            .missing_in(&page.replace("| a book | 12 | 12 |", "| a book | 12 | 14 |"))
            .len(),
        1
    );
}
