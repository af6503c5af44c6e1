//! Runs that a limit on events or memory ended before their time.
//!
//! What they have counted by then is of the time that they simulated. That they meet no promise is in `judge`.

use crate::model::Tally;
use crate::outcome::Steady;
use crate::unit::Instant;

/// What stopped a run of a case where figures alone are wanted, and no promise; `None` where all ran to their end.
pub(crate) fn figures_words(steady: &Steady) -> Option<String> {
    let limit = steady.stopped_by?;
    if steady.unmeasured {
        return Some(format!(
            "partial: {limit} stopped the runs within their warm-up; nothing was measured"
        ));
    }
    Some(format!(
        "partial: {limit} stopped a run before its end; what is simulated is of the time simulated by then"
    ))
}

/// What stopped a run of these, and in which cases; `None` where all ran to their end.
pub(crate) fn words(steady: &[&Steady]) -> Option<String> {
    let cut: Vec<&&Steady> = steady.iter().filter(|own| own.partial).collect();
    let limit = cut.iter().find_map(|own| own.stopped_by)?;
    let cases: Vec<&str> = cut.iter().map(|own| own.case.name.as_str()).collect();
    if cut.iter().all(|own| own.unmeasured) {
        return Some(format!(
            "partial: {limit} stopped the runs within their warm-up ({}); nothing was measured, and no promise counts as met there",
            cases.join(", ")
        ));
    }
    Some(format!(
        "partial: {limit} stopped a run ({}); its figures are of the time simulated by then, and no promise counts as met there",
        cases.join(", ")
    ))
}

/// Whether a limit ended every run before its measured window began: nothing was counted.
pub(crate) fn unmeasured(tallies: &[Tally]) -> bool {
    let mut all = tallies.iter();
    all.all(|tally| tally.partial && tally.ended <= tally.from)
}

/// When the counting of a run ended: with its window, or when a limit ended the run before.
pub(crate) fn end_of(tally: &Tally) -> Instant {
    match tally.partial {
        true => tally.to.min(tally.ended),
        false => tally.to,
    }
}

/// Picoseconds of the window that a run has simulated. One that ended before its window has counted nothing, and nothing over any time
/// is 0: never 0 itself.
#[allow(clippy::cast_precision_loss)]
fn measured_ps(tally: &Tally) -> f64 {
    end_of(tally).0.saturating_sub(tally.from.0).max(1) as f64
}

/// Seconds of the window that runs have simulated, the mean over them.
#[allow(clippy::cast_precision_loss)]
pub(crate) fn measured_s(tallies: &[Tally]) -> f64 {
    tallies.iter().map(measured_ps).sum::<f64>() / 1e12 / tallies.len().max(1) as f64
}

/// A mean over the whole window as one over what of it was simulated.
#[allow(clippy::cast_precision_loss)]
pub(crate) fn over_measured(tally: &Tally, mean: f64) -> f64 {
    match tally.partial {
        true => mean * tally.to.since(tally.from).0 as f64 / measured_ps(tally),
        false => mean,
    }
}

#[cfg(test)]
mod tests {
    use crate::study::progress::NoProgress;
    use crate::study::sample::site_with;
    use crate::study::sweep::{Asked, Runs, point};

    /// One place of 10 us, 50,000 paced I/Os a second: half full, however early a limit ends the run.
    const TEXT: &str = "format = 1\n[run]\nduration = \"200ms\"\nwarm_up = \"10ms\"\nreplications = 2\n[[host]]\nname = \"app\"\n\
        [[switch]]\nname = \"core\"\n[[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1\nwrite = { time = \"10us\" }\n\
        [[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"100Gb/s\"\n[[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"100Gb/s\"\n\
        [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\nrequest = 1250\nresponse = 1\nframe = 1250\n\
        read = \"0%\"\narrivals = { paced = \"50k/s\" }\npromise = { p99 = \"10ms\", throughput = \"10MB/s\" }\n";

    #[test]
    fn a_cut_run_counts_over_what_it_simulated_and_meets_nothing() {
        let asked = Asked {
            outages: Some(Vec::new()),
            runs: Runs::Steady,
        };
        let found = |set: &[(&str, &str)]| point(&site_with(TEXT, set), &asked, &NoProgress);
        let whole = found(&[]);
        let cut = found(&[("run.events_max", "20000")]);
        assert!(!whole.steady[0].partial && cut.steady[0].partial);
        for point in [&whole, &cut] {
            let work = &point.steady[0].workloads[0];
            assert!(!work.saturated);
            let rate = work.all.completed_iops.value;
            assert!((rate / 50_000.0 - 1.0).abs() < 0.01, "{rate}");
            let busy = point.steady[0].arrays[0].utilization_percent;
            assert!((busy - 50.0).abs() < 0.5, "{busy}");
            let links = &point.steady[0].directions;
            let busiest = links.iter().map(|own| own.utilization_percent);
            let busiest = busiest.fold(0.0, f64::max);
            // 0.1 us of frame, half of them on each side.
            assert!((busiest - 0.25).abs() < 0.01, "{busiest}");
            let cells = point.matrix.rows.iter().flat_map(|row| &row.cells);
            let met = cells
                .flatten()
                .filter(|cell| cell.verdict == crate::outcome::Verdict::Met);
            assert_eq!(met.count() > 0, !point.steady[0].partial);
        }
    }
}
