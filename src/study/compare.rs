//! Several designs under the same random numbers.
//!
//! Every design runs with the first one's seed, length, warm-up and replications, so that replication `r` of
//! each brings the same I/Os; figures are subtracted replication by replication and the interval is that of
//! the differences, which is far narrower than those of the figures. The same design differs by exactly 0.
//!
//! Beside the gain stands what a design takes that the first one does not have, and what that costs by a price list.
//!
//! Left out: the switch-over, and a joint statement over all differences (each has its own 95 %).

mod parts;

use super::case::{self, CasePlan};
use super::cut;
use super::inventory::inventory;
use super::judge;
use super::progress::Progress;
use super::remedy::{Optics, PriceList, changes};
use super::review::port_budget_notes;
use super::steady::{self, SteadyRuns};
use crate::measure::{Estimate, RELATIVE_ERROR, paired_difference};
use crate::outcome::{
    Change, Changes, Comparison, DesignRow, Difference, Lack, MeasureKind, Origin, Steady,
    WorkloadFigures,
};
use crate::site::{Measure, Site, WarmUp, Workload};
use crate::topology::Fabric;
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

const CONFIDENCE: f64 = 0.95;
/// Relative difference below which two sums of the same terms may differ by the order of adding alone: some thousands
/// of additions in 53 bits.
const ROUNDING: f64 = 1e-12;

/// A design to compare.
#[derive(Clone, Debug)]
pub struct Design {
    /// What it is called.
    pub name: String,
    /// The site.
    pub site: Site,
    /// Digest of its scenario.
    pub digest: String,
    /// What was laid over it.
    pub set: Vec<(String, String)>,
}

/// Compares the designs with the first, healthy and in the outages asked for (all for `None`). With a price list each
/// says what it costs more than the first.
///
/// # Panics
/// Without a design.
#[must_use]
pub fn compare(
    designs: &[Design],
    origin: Origin,
    outages: Option<&[String]>,
    prices: Option<&PriceList>,
    progress: &dyn Progress,
) -> Comparison {
    let sites = alike(designs);
    let mut all = run(&sites, outages, progress);
    let starts = |all: &[Vec<SteadyRuns>]| -> BTreeSet<u64> {
        let runs = all.iter().flatten();
        runs.map(|runs| runs.tallies[0].from.0).collect()
    };
    let found = starts(&all);
    if found.len() > 1 {
        // One window for all, the latest start: else other I/Os would be counted.
        let from = crate::unit::Duration(found.last().copied().unwrap_or(0));
        let mut sites = sites.clone();
        for site in &mut sites {
            site.run.warm_up = WarmUp::At(from);
        }
        all = run(&sites, outages, progress);
    }
    let split: Vec<Vec<Vec<Steady>>> = all.iter().map(|runs| apart(runs)).collect();
    let others: Vec<(&str, Vec<String>)> = designs
        .iter()
        .skip(1)
        .map(|design| {
            (
                design.name.as_str(),
                other_work(&designs[0].site, &design.site),
            )
        })
        .filter(|(_, other)| !other.is_empty())
        .collect();
    let mut notes = vec![
        match &others[..] {
            [] => "differences are paired: the same I/Os, replication by replication",
            _ => "differences are paired, replication by replication",
        }
        .to_owned(),
        "the difference of a percentile is the mean of the replications' own, and its per cent is of the mean of the first \
         design's own; the two figures beside it are of all replications merged"
            .to_owned(),
        format!(
            "a percentile is known to {:.2} % of itself: a smaller difference of one is called neither better nor worse",
            100.0 * RELATIVE_ERROR
        ),
        "a throughput is counted in whole I/Os: a difference of one in the window is called neither better nor worse".to_owned(),
        "each difference has its own 95 %; of twenty that are nothing, about one will look like something"
            .to_owned(),
        parts::note(),
        "steady states are compared; the switch-over itself is not judged here: `failover` does".to_owned(),
    ];
    for (name, other) in others {
        notes.push(format!(
            "{name}: its work is not that of the first design ({}): its I/Os are others, and a difference is one of the work too; \
             better and worse say nothing of the design alone",
            other.join("; ")
        ));
    }
    if prices.is_some_and(|prices| !prices.has("optic")) {
        notes.push("the price list names no optic, so that prices are without them".to_owned());
    }
    for design in designs {
        let over = port_budget_notes(&design.site).into_iter();
        notes.extend(over.map(|said| format!("{}: {said}", design.name)));
    }
    for (design, runs) in designs.iter().zip(&all) {
        let figures: Vec<&Steady> = runs.iter().map(|runs| &runs.figures).collect();
        notes.extend(cut::words(&figures).map(|said| format!("{}: {said}", design.name)));
    }
    let mut differences = Vec::new();
    let mut part_differences = Vec::new();
    for (design, site) in sites.iter().enumerate().skip(1) {
        unmatched(&designs[design].name, &sites[0], site, &mut notes);
        if designs[design].site.run != designs[0].site.run {
            notes.push(format!(
                "{}: its own `[run]` (seed, duration, replications …) is not used; all designs are run as the first \
                 one is",
                designs[design].name
            ));
        }
        for (runs, singles) in all[0].iter().zip(&split[0]) {
            let same = |other: &SteadyRuns| other.plan.case.name == runs.plan.case.name;
            let Some(index) = all[design].iter().position(same) else {
                let case = &runs.plan.case.name;
                notes.push(format!("{}: no case `{case}`", designs[design].name));
                continue;
            };
            let other = &all[design][index];
            let others = &split[design][index];
            let pair = Pair {
                design,
                runs: [runs, other],
                singles: [singles, others],
                sites: [&sites[0], site],
            };
            differences.extend(pair.figures());
            part_differences.extend(pair.parts());
        }
    }
    Comparison {
        origin,
        warm_up_s: all[0][0].tallies[0].from.0 as f64 / 1e12,
        designs: designs
            .iter()
            .zip(&sites)
            .zip(&all)
            .map(|((design, site), runs)| DesignRow {
                name: design.name.clone(),
                digest: design.digest.clone(),
                set: design.set.clone(),
                inventory: inventory(site),
                changes: taken(&designs[0], design, prices),
                frees: changes(&design.site, &designs[0].site, &[], prices, Optics::Counted),
                other_work: other_work(&designs[0].site, &design.site),
                matrix: judge::matrix(site, runs, &[]),
                partial: runs.iter().any(|runs| runs.figures.partial),
            })
            .collect(),
        differences,
        part_differences,
        priced: prices.is_some(),
        notes,
    }
}

/// What a design takes that the first one does not have. Of what is set, only what is set for it alone counts.
fn taken(first: &Design, design: &Design, prices: Option<&PriceList>) -> Changes {
    let own = design.set.iter().filter(|pair| !first.set.contains(pair));
    let own: Vec<(String, String)> = own.cloned().collect();
    changes(&first.site, &design.site, &own, prices, Optics::Counted)
}

/// The sites with the first one's run control.
fn alike(designs: &[Design]) -> Vec<Site> {
    let run = designs[0].site.run.clone();
    let one = |design: &Design| Site {
        run: run.clone(),
        variants: Vec::new(),
        ..design.site.clone()
    };
    designs.iter().map(one).collect()
}

fn run(
    sites: &[Site],
    outages: Option<&[String]>,
    progress: &dyn Progress,
) -> Vec<Vec<SteadyRuns>> {
    sites
        .par_iter()
        .map(|site| {
            let plans: Vec<CasePlan> = case::cases(site, &Fabric::new(site), outages);
            steady::run_from(site, &plans, 0, progress)
        })
        .collect()
}

/// The figures of each replication by itself, by case.
fn apart(all: &[SteadyRuns]) -> Vec<Vec<Steady>> {
    all.iter()
        .map(|runs| {
            (0..runs.tallies.len())
                .map(|index| steady::figures_of(runs, index..index + 1))
                .collect()
        })
        .collect()
}

/// In what the work of workloads that both designs have differs: when I/Os come, of which kind, from how many hosts.
fn other_work(first: &Site, other: &Site) -> Vec<String> {
    let hosts = |site: &Site, work: &Workload| -> BTreeMap<String, u32> {
        let families = work.hosts.iter().map(|index| &site.hosts[*index]);
        families
            .map(|family| (family.name.clone(), family.count))
            .collect()
    };
    let of = |one: &Workload| {
        let two = other.workloads.iter().find(|two| two.name == one.name)?;
        let differs = [
            (
                "arrivals",
                one.arrivals != two.arrivals || one.per != two.per,
            ),
            ("share of reads", one.read != two.read),
            ("sizes", one.sizes != two.sizes),
            ("hosts", hosts(first, one) != hosts(other, two)),
        ];
        let differs: Vec<&str> = differs
            .iter()
            .filter(|(_, differs)| *differs)
            .map(|(what, _)| *what)
            .collect();
        (!differs.is_empty()).then(|| format!("{}: {}", one.name, differs.join(", ")))
    };
    first.workloads.iter().filter_map(of).collect()
}

/// Workloads of one design only are not compared, and that is said.
fn unmatched(name: &str, first: &Site, other: &Site, notes: &mut Vec<String>) {
    let missing = |from: &Site, of: &Site| -> Vec<String> {
        let has = |name: &str| of.workloads.iter().any(|workload| workload.name == name);
        let names = from.workloads.iter().map(|workload| &workload.name);
        names.filter(|name| !has(name)).cloned().collect()
    };
    for lost in missing(first, other) {
        notes.push(format!("{name}: no workload `{lost}`"));
    }
    for new in missing(other, first) {
        notes.push(format!(
            "{name}: workload `{new}` is not in the first design"
        ));
    }
}

/// Two designs in one case; index 0 is the first design.
struct Pair<'a> {
    design: usize,
    runs: [&'a SteadyRuns; 2],
    singles: [&'a Vec<Steady>; 2],
    sites: [&'a Site; 2],
}

impl Pair<'_> {
    fn figures(&self) -> Vec<Difference> {
        let mut out = Vec::new();
        for (index, workload) in self.sites[0].workloads.iter().enumerate() {
            let known = |other: &crate::site::Workload| other.name == workload.name;
            let Some(other) = self.sites[1].workloads.iter().position(known) else {
                continue;
            };
            let lost = self.runs[0].plan.case.outage.is_some();
            let promises = if lost {
                &workload.promises.lost
            } else {
                &workload.promises.healthy
            };
            let promised: Vec<Measure> = promises.iter().map(|promise| promise.measure).collect();
            let mut measures = promised.clone();
            for usual in [Measure::Mean, Measure::Quantile(0.99), Measure::Throughput] {
                if !measures.contains(&usual) {
                    measures.push(usual);
                }
            }
            for measure in measures {
                out.push(Difference {
                    promised: promised.contains(&measure),
                    ..self.figure([index, other], measure)
                });
            }
        }
        out
    }

    /// One I/O at the end of a window is no difference of throughput, and a hair more, so that the difference of one is within it.
    fn grain(&self, index: [usize; 2]) -> f64 {
        let each = [0, 1].map(|side| {
            let work = &self.sites[side].workloads[index[side]];
            steady::one_io_mb_s(work, &self.runs[side].tallies)
        });
        each[0].max(each[1]) * (1.0 + 1e-9)
    }

    fn figure(&self, index: [usize; 2], measure: Measure) -> Difference {
        let lacks =
            [0, 1].map(|side| lack(&self.runs[side].figures.workloads[index[side]], measure));
        let [first, value] = [0, 1].map(|side| {
            let runs = self.runs[side];
            let work = &runs.figures.workloads[index[side]];
            match measure {
                _ if lacks[side].is_some() => None,
                Measure::Throughput => Some(work.all.throughput_mb_s.value),
                Measure::Quantile(q) => steady::quantile_of(&runs.tallies, index[side], q)
                    .latency_us
                    .map(|figure| figure.value),
                _ => work.all.mean_us.map(|figure| figure.value),
            }
        });
        // `None` where a replication has no figure.
        let each = |side: usize| -> Option<Vec<f64>> {
            let (tallies, index) = (&self.runs[side].tallies, index[side]);
            match measure {
                Measure::Throughput => {
                    let singles = self.singles[side].iter();
                    let works = singles.map(|single| &single.workloads[index]);
                    Some(works.map(|work| work.all.throughput_mb_s.value).collect())
                }
                Measure::Quantile(q) => (0..tallies.len())
                    .map(|r| steady::quantile_of(&tallies[r..=r], index, q).latency_us)
                    .map(|figure| figure.map(|figure| figure.value))
                    .collect(),
                _ => Some(steady::means_of(tallies, index))
                    .filter(|means| means.len() == tallies.len()),
            }
        };
        let values = first.and(value).and_then(|_| each(0).zip(each(1)));
        let more_is_better = measure == Measure::Throughput;
        let base = values.as_ref().map(|(one, _)| mean(one));
        let (difference, change) = match (values, first, value) {
            (Some((one, other)), _, _) => {
                let step = match measure {
                    Measure::Quantile(_) => resolution(&one, &other),
                    Measure::Throughput => self.grain(index),
                    _ => 0.0,
                };
                let estimate = difference(&one, &other, step);
                (Some(signed(&estimate)), change(&estimate, more_is_better))
            }
            // What does not fit, or is cut off, is worse than what is carried.
            (None, Some(_), None) if lacks[1].is_some_and(fails) => (None, Change::Worse),
            (None, None, Some(_)) if lacks[0].is_some_and(fails) => (None, Change::Better),
            (None, None, None) if lacks[0] == lacks[1] && lacks[0] == Some(Lack::CutOff) => {
                (None, Change::Same)
            }
            (None, _, _) => (None, Change::NotShown),
        };
        Difference {
            design: self.design,
            case: self.runs[0].plan.case.clone(),
            workload: self.sites[0].workloads[index[0]].name.clone(),
            measure: match measure {
                Measure::Quantile(q) => MeasureKind::Quantile(q),
                Measure::Throughput => MeasureKind::Throughput,
                _ => MeasureKind::Mean,
            },
            promised: false,
            unit: if more_is_better { "MB/s" } else { "us" },
            first,
            value,
            first_lacks: lacks[0],
            value_lacks: lacks[1],
            difference,
            base,
            change,
        }
    }
}

#[allow(clippy::cast_precision_loss)]
fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Why a workload has no such figure; `None` where it has one, or where the figure itself is missing for another reason.
fn lack(work: &WorkloadFigures, measure: Measure) -> Option<Lack> {
    let all = &work.all;
    let done = all
        .ios
        .saturating_sub(all.unfinished)
        .saturating_sub(all.failed);
    match measure {
        _ if all.ios > 0 && done == 0 => Some(Lack::CutOff),
        Measure::Throughput => None,
        _ if work.saturated => Some(Lack::Saturated),
        _ if all.mean_us.is_none() => Some(Lack::NoFigure),
        _ => None,
    }
}

const fn fails(lack: Lack) -> bool {
    matches!(lack, Lack::Saturated | Lack::CutOff)
}

/// `edge to san, 32GFC`; of another technology in the other design, `edge to san, 32GFC, there 64GFC`.
fn both_names(first: &str, other: &str) -> String {
    if first == other {
        return first.to_owned();
    }
    match first.rsplit_once(", ").zip(other.rsplit_once(", ")) {
        Some(((one, _), (two, technology))) if one == two => format!("{first}, there {technology}"),
        _ => format!("{first}, there {other}"),
    }
}

/// An interval that may lie below 0.
fn signed(estimate: &Estimate) -> crate::outcome::Estimated {
    let end = |sign: f64| {
        let half = estimate.half_width?;
        Some(estimate.value + sign * half).filter(|end| end.is_finite())
    };
    crate::outcome::Estimated {
        value: estimate.value,
        low: end(-1.0),
        high: end(1.0),
    }
}

/// By how much a percentile can be off where it is read from the buckets, for the largest of these.
fn resolution(first: &[f64], value: &[f64]) -> f64 {
    RELATIVE_ERROR * first.iter().chain(value).copied().fold(0.0, f64::max)
}

/// The paired difference, with an interval no narrower than `step` on either side unless nothing differs. What only
/// the rounding of sums tells apart is the same.
fn difference(first: &[f64], value: &[f64], step: f64) -> Estimate {
    let level = |(first, value): (&f64, &f64)| {
        let rounding = ROUNDING * first.abs().max(value.abs());
        if (value - first).abs() <= rounding {
            *first
        } else {
            *value
        }
    };
    let value: Vec<f64> = first.iter().zip(value).map(level).collect();
    let mut estimate = paired_difference(&value, first, CONFIDENCE);
    // Differences of both signs may cancel but for the rounding of their sum.
    let largest = first.iter().chain(&value).copied().map(f64::abs);
    if estimate.value.abs() <= ROUNDING * largest.fold(0.0, f64::max) {
        estimate.value = 0.0;
    }
    if value != first {
        estimate.half_width = estimate.half_width.map(|half| half.max(step));
    }
    estimate
}

fn change(estimate: &Estimate, more_is_better: bool) -> Change {
    if estimate.value == 0.0 && estimate.half_width.is_none_or(|half| half == 0.0) {
        return Change::Same;
    }
    let Some(half) = estimate.half_width else {
        return Change::NotShown;
    };
    let up = estimate.value - half > 0.0;
    let down = estimate.value + half < 0.0;
    match (up, down, more_is_better) {
        (true, _, true) | (_, true, false) => Change::Better,
        (true, _, false) | (_, true, true) => Change::Worse,
        _ => Change::NotShown,
    }
}

#[cfg(test)]
mod tests;
