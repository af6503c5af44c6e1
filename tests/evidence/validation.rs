//! The whole list in one test, and the page that it writes.

use super::ledger::{FAMILY, Ledger, STATISTICAL, level};
use super::{coverage, exact, rows, software};
use std::path::PathBuf;

/// Set to anything, it has the page written instead of compared.
const WRITE: &str = "HALFLOOM_WRITE_VALIDATION";

fn page() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("VALIDATION.md")
}

/// What is said above the tables.
fn preface(ledger: &Ledger) -> String {
    let (half, most, widest) = ledger.widths();
    format!(
        "# Validation\n\n\
         Written by a test run (`{WRITE}=1 cargo test --release --test evidence`), never by hand: each check with its \
         source, the value expected, the value simulated and its interval. A check outside its interval fails that test.\n\n\
         - **What is simulated** is the real model, from a scenario text, with the protocol `plain` unless a row says \
         otherwise. Times are in microseconds; nothing here is a measurement of equipment.\n\
         - **Expected** values come from the source beside them, never from output of this program.\n\
         - **Intervals** are two-sided t intervals over independent replications; against other software, Welch's for the \
         difference. There are {STATISTICAL} statistical checks; by Šidák's rule each interval has level {:.6} %, so that \
         the chance that any of them fails though everything is right is {FAMILY} in all, as far as means over \
         replications are normal. Percentiles against other software are allowed 0.8 % more, the width of a histogram \
         bucket. Of the intervals half are narrower, either way, than {:.1} % of the value, nine in ten than {:.0} %, and none is wider \
         than {:.0} %.\n\
         - **Seeds** follow from the names of the checks (FNV-1a); nobody chose them.\n",
        level() * 100.0,
        half * 100.0,
        most * 100.0,
        (widest * 100.0).ceil()
    ) + if ledger.skipped() > 0 {
        "- Checks marked \"skipped\" were not made in the run that wrote this page: other software needs the environment that \
         `.ci/run` makes, and the longest repetitions take their time.\n"
    } else {
        ""
    }
}

/// What the list cannot hold, and why.
const NOT_HERE: &str = "
## Not here, and why

| result | why no run of the model can be held against it |
| --- | --- |
| processor sharing (M/G/1-PS) | links and arrays serve first come, first served |
| two classes with priority (Cobham) | a direction is one queue; classes do not exist |
| finite room (M/M/c/K) | queues have no limit: nothing is turned away |
| Jackson networks and central servers with several visits or several exponential stations (D1 to D3, D4b, E1 to E5; of E7 the row with exponential links there and back) | an I/O visits one array station once, and only what carries its data takes a time that goes by its size; the solver behind `check` is held against these tables instead (`src/theory`) |
| a link that stops and restarts without loss (H1) | a lost link loses its frames, which are sent again: `tests/model/drains.rs` holds backlog and drain against the formula with that, and the held half of a lost fabric (H2) |
| share of long waits among those that wait (B3) | waits at an array are kept in buckets of 0.8 %; the share of waits is there |
| M/D/1 at 0.99, M/M/c at 0.97 beyond eight servers, waits rarer than one in a thousand, percentiles beyond p99 | runs out of all proportion (rows S7 and S8: messages needed grow like 1/(1−ρ)²) |
| I/Os times variance of their mean wait at ρ 0.9 and 0.95 (of S7) | thousands of runs would have to be some 10^6 I/Os long each; at 0.5, 0.7 and 0.8 it is there |
| standard deviations of waits | beside them their percentiles are checked, which say more of a skewed law |
| batch means of an autoregressive series (S4) | no figure rests on batch means: intervals come from independent replications |
| other statistics (S1 to S3, S5, S6) | about estimators, not about the model: unit tests of `src/measure`, and coverage above |
";

#[test]
#[cfg_attr(
    debug_assertions,
    ignore = "simulates for minutes without optimization"
)]
fn every_check_agrees_with_its_source() {
    let mut ledger = Ledger::default();
    rows::one_server(&mut ledger);
    rows::several_servers(&mut ledger);
    rows::batches_and_networks(&mut ledger);
    rows::closed_and_bursty(&mut ledger);
    exact::pipelines(&mut ledger);
    exact::stalls(&mut ledger);
    let theirs = software::Theirs::run();
    software::networks(&mut ledger, &theirs);
    software::dual_fabric(&mut ledger, &theirs);
    let writes = std::env::var_os(WRITE).is_some();
    coverage::coverage(&mut ledger, writes);
    let bad = ledger.disagreeing();
    assert!(bad.is_empty(), "outside its interval:\n{}", bad.join("\n"));
    let vague = ledger.vague();
    assert!(
        vague.is_empty(),
        "too wide to say anything:\n{}",
        vague.join("\n")
    );
    assert_eq!(
        ledger.statistical(),
        STATISTICAL,
        "the level of the intervals goes by their number"
    );
    if !software::present() {
        println!(
            "skipped: comparisons with other software, which needs target/independent (see .ci/run)"
        );
    }
    let path = page();
    if writes {
        assert!(software::present(), "the page needs the other software too");
        let text = format!("{}{}{NOT_HERE}", preface(&ledger), ledger.tables());
        std::fs::write(&path, text).expect("the page can be written");
        return;
    }
    let text = std::fs::read_to_string(&path).expect("VALIDATION.md is there");
    let missing = ledger.missing_in(&text);
    assert!(
        missing.is_empty(),
        "VALIDATION.md is of another list; write it again with {WRITE}=1:\n{}",
        missing.join("\n")
    );
}
