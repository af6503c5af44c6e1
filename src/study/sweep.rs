//! One point of a sweep: steady runs of the whole site and of what each outage leaves, and the verdicts.
//!
//! Points share the seed, so what they are compared by differs by what was varied and not by chance. The switch-overs of
//! the outages are run too where they are asked for. Left out: which points there are: that is for whoever asks.

mod inert;

pub use inert::{Runs, leaves_somebody_without_paths, reads};

use super::case::{self, CasePlan};
use super::estimate::{Estimate, estimate_by_member, levelled};
use super::inventory::inventory;
use super::progress::Progress;
use super::review::port_budget_notes;
use super::{judge, parts, steady, switch};
use crate::model::Compiled;
use crate::outcome::{PartLoad, Steady, SweepCase, SweepPoint};
use crate::site::Site;
use crate::topology::Fabric;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Mutex, PoisonError};

/// What is asked of each point.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Asked {
    /// Outages by name; `None` for all.
    pub outages: Option<Vec<String>>,
    /// Whether the switch-overs are simulated.
    pub runs: Runs,
}

/// Runs a point: healthy and the outages asked for.
#[must_use]
pub fn point(site: &Site, asked: &Asked, progress: &dyn Progress) -> SweepPoint {
    let fabric = Fabric::new(site);
    let loads = estimate_by_member(site, &fabric);
    let plans = case::cases(site, &fabric, asked.outages.as_deref());
    let runs = steady::run(site, &plans, progress);
    let switches = match asked.runs {
        Runs::Steady => Vec::new(),
        Runs::SwitchOvers => {
            let whole = Compiled::new(site, &[]);
            switch::of_outages(site, &whole, &runs, false, progress)
        }
    };
    let matrix = judge::matrix(site, &runs, &switches);
    let figures: Vec<Steady> = runs.into_iter().map(|runs| runs.figures).collect();
    let cases = plans
        .iter()
        .zip(&figures)
        .map(|(plan, steady)| SweepCase {
            case: plan.case.clone(),
            arithmetic_percent: by_arithmetic(site, &fabric, &loads, &plan.case.name)
                .map(|share| share * 100.0),
            leaves_out_closed: leaves_out_closed(&loads, &plan.case.name),
            fullest: fullest(site, steady),
        })
        .collect();
    SweepPoint {
        inventory: inventory(site),
        ports_lacking: port_budget_notes(site),
        matrix,
        steady: figures,
        switches,
        cases,
    }
}

/// Busy share on the mean of the fullest part, as the hosts choose their paths. Where that is more than a part can do, hosts that
/// level their queues take what is too much elsewhere, and the part stays full.
fn by_arithmetic(site: &Site, fabric: &Fabric, loads: &Estimate, case: &str) -> Option<f64> {
    let chosen = loads.fullest(case)?;
    let own = loads.cases.iter().find(|known| known.name == case)?;
    if chosen <= 1.0 {
        return Some(chosen);
    }
    Some(levelled(site, fabric, own).map_or(chosen, |found| found.fullest.max(1.0)))
}

/// Whether a closed loop is at work in a case: it has no rate that arithmetic could count.
fn leaves_out_closed(loads: &Estimate, case: &str) -> bool {
    let own = loads.cases.iter().find(|known| known.name == case);
    own.is_some_and(|own| {
        own.closed
            .iter()
            .chain(&own.closed_controllers)
            .any(|is| *is)
    })
}

/// How many runs a point takes.
#[must_use]
pub fn runs(site: &Site, asked: &Asked) -> u64 {
    let plans: Vec<CasePlan> = case::cases(site, &Fabric::new(site), asked.outages.as_deref());
    super::runs_of(site, &plans, asked.runs == Runs::SwitchOvers)
}

/// Does `work` for 0, 1, … below `count` on the threads of the pool, started in that order, and hands each result to
/// `each` in that order as soon as all before it are there; `each` says whether to go on. What is under way when
/// it says no is finished and dropped.
pub fn in_order<T: Send>(
    count: usize,
    work: impl Fn(usize) -> T + Sync,
    each: impl FnMut(usize, T) -> bool + Send,
) {
    struct Line<T, F> {
        waiting: BTreeMap<usize, T>,
        next: usize,
        each: F,
    }
    let started = AtomicUsize::new(0);
    let stopped = AtomicBool::new(false);
    let line = Mutex::new(Line {
        waiting: BTreeMap::new(),
        next: 0,
        each,
    });
    // One task a thread, each taking the next point: what a worker steals while it waits for the runs of its own
    // point is never more than the tasks that have not begun.
    rayon::scope(|scope| {
        for _ in 0..rayon::current_num_threads().min(count) {
            scope.spawn(|_| {
                while !stopped.load(Ordering::Relaxed) {
                    let index = started.fetch_add(1, Ordering::Relaxed);
                    if index >= count {
                        return;
                    }
                    let done = work(index);
                    let mut line = line.lock().unwrap_or_else(PoisonError::into_inner);
                    line.waiting.insert(index, done);
                    loop {
                        let next = line.next;
                        let Some(done) = line.waiting.remove(&next) else {
                            break;
                        };
                        line.next += 1;
                        if stopped.load(Ordering::Relaxed) || !(line.each)(next, done) {
                            stopped.store(true, Ordering::Relaxed);
                            return;
                        }
                    }
                }
            });
        }
    });
}

fn fullest(site: &Site, steady: &Steady) -> Option<PartLoad> {
    let all = parts::parts(site, std::slice::from_ref(steady));
    let first = all.into_iter().next()?;
    let used = first.cases.into_iter().next()??;
    Some(PartLoad {
        part: first.part,
        instance: used.instance,
        mean_percent: used.mean_percent,
        peak_percent: used.peak_percent,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study::NoProgress;
    use crate::study::sample::{TRAMWAYS, site_with};

    #[test]
    fn results_come_in_order_and_stop_when_told() {
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(4)
            .build()
            .unwrap();
        for stop in [3, 1000] {
            let mut seen = Vec::new();
            pool.install(|| {
                in_order(
                    100,
                    |index| {
                        // Early ones take longest.
                        (0..(100 - index) * 500).fold(index as u64, |sum, i| sum ^ i as u64)
                    },
                    |index, _| {
                        seen.push(index);
                        index < stop
                    },
                );
            });
            let wanted: Vec<usize> = (0..=stop.min(99)).collect();
            assert_eq!(seen, wanted);
        }
    }

    /// Paths in turn bring half of the work to each fabric, however unlike their speeds are; what is more than the slow one can do
    /// goes elsewhere only once it is full.
    #[test]
    fn arithmetic_goes_by_how_paths_are_chosen() {
        let text = r#"format = 1
[[host]]
name = "img"
count = 6
paths = "round-robin"
[[switch]]
name = "old"
fabric = "A"
[[switch]]
name = "new"
fabric = "B"
[[array]]
name = "vault"
controllers = 1
parallel = 4096
read = { hit = "100%", hit_time = "100us" }
write = { time = "100us" }
[[link]]
from = "img"
to = "old"
speed = "16GFC"
[[link]]
from = "old"
to = "vault"
speed = "8GFC"
[[link]]
from = "img"
to = "new"
speed = "32GFC"
[[link]]
from = "new"
to = "vault"
speed = "16GFC"
[[workload]]
name = "scans"
hosts = "img"
array = "vault"
protocol = "fc-nvme"
arrivals = { poisson = "9k/s" }
read = "100%"
sizes = "64KiB"
"#;
        let share = |rate: &str| {
            let site = site_with(text, &[("workload.scans.arrivals.poisson", rate)]);
            let fabric = Fabric::new(&site);
            let loads = estimate_by_member(&site, &fabric);
            by_arithmetic(&site, &fabric, &loads, "healthy").unwrap()
        };
        // 4 500 I/Os a second of 67 528 bytes on a wire of 6.8 Gb/s.
        let by_hand = 4_500.0 * 67_528.0 * 8.0 / 6.8e9;
        assert!((share("9k/s") - by_hand).abs() < 0.002, "{}", share("9k/s"));
        // The slow one is full at 25.2k/s of all, both together at thrice half of that.
        assert!((share("30k/s") - 1.0).abs() < 1e-9, "{}", share("30k/s"));
        assert!(share("50k/s") > 1.2, "{}", share("50k/s"));
    }

    #[test]
    fn a_point_has_every_case_and_counts_its_runs() {
        let quick = [
            ("run.duration", "8ms"),
            ("run.warm_up", "2ms"),
            ("run.replications", "2"),
        ];
        let site = site_with(TRAMWAYS, &quick);
        let asked = |runs: Runs| Asked {
            outages: Some(vec!["A".to_owned()]),
            runs,
        };
        let only = asked(Runs::Steady);
        let found = point(&site, &only, &NoProgress);
        let names: Vec<&str> = found.cases.iter().map(|c| c.case.name.as_str()).collect();
        assert_eq!(names, ["healthy", "A lost"]);
        assert_eq!(runs(&site, &only), 4);
        assert_eq!(
            runs(&site, &asked(Runs::SwitchOvers)),
            4 + u64::from(site.run.switch_replications)
        );
        assert_eq!(found.steady.len(), 2);
        let percent = |index: usize| found.cases[index].arithmetic_percent.unwrap();
        // What two fabrics carried is carried by one.
        assert!(percent(1) > percent(0) && percent(0) > 0.0);
        for case in &found.cases {
            let fullest = case.fullest.as_ref().unwrap();
            assert!(fullest.mean_percent <= fullest.peak_percent);
        }
    }
}
