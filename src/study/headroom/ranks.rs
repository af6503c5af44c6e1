//! Which part ends a case at a load, and which come after it.
//!
//! A promise about latency ends where its work waits: that is measured. How full the other parts are decides what comes next. What counts
//! is the figure that broke the promise: the mean where work does not fit or a throughput is promised; else, where a moment asks some part
//! for more than it can do though the mean fills none, the busiest 20 ms.

use crate::outcome::{
    BudgetPart, LoadRow, MeasureKind, PartLoad, PartUse, RankedBy, Steady, WorkloadFigures,
};
use crate::site::Site;

/// A part is about as full as another from this share of its figure on. A choice of this program, as the next ones.
pub(super) const ABOUT: f64 = 0.9;
/// Of what it waits for the first part, work waits so much for one that ends it as well, where the mean decides.
const WAITED: f64 = 0.1;
/// From this on a moment asks for all that a part can do, per cent.
const OVERFULL: f64 = 100.0;
/// So many parts are kept of each load.
const SHOWN: usize = 3;

/// By which figure parts are ranked where this is the promise that is broken, or nearest its limit.
pub(super) fn ranked_by(uses: &[PartUse], nearest: Option<&LoadRow>) -> RankedBy {
    let latency = |row: &LoadRow| row.measure != MeasureKind::Throughput && !row.cell.saturated;
    let parts: Vec<PartLoad> = uses.iter().filter_map(load_of).collect();
    let bursts = parts.iter().any(|part| part.peak_percent >= OVERFULL)
        && parts.iter().all(|part| part.mean_percent < 100.0);
    if bursts && nearest.is_some_and(latency) {
        RankedBy::Busiest
    } else {
        RankedBy::Mean
    }
}

/// Mean wait of the I/Os of `work` for a part, us.
fn wait_for(part: &PartUse, work: &WorkloadFigures, array: &str) -> f64 {
    let own = |own: &&BudgetPart| match &own.tier {
        Some(tier) => *tier == part.tier,
        None => own.part == "array queue" && part.tier == array,
    };
    work.budget.iter().filter(own).map(|own| own.mean_us).sum()
}

/// Mean wait of the work of a latency promise for a part, us; `None` of a throughput.
pub(super) fn waited_for(
    part: &PartUse,
    row: Option<&LoadRow>,
    steady: &Steady,
    site: &Site,
) -> Option<f64> {
    let row = row.filter(|row| row.measure != MeasureKind::Throughput)?;
    let named = |work: &&WorkloadFigures| work.name == row.workload;
    let work = steady.workloads.iter().find(named)?;
    let own = site.workloads.iter().find(|own| own.name == row.workload)?;
    Some(wait_for(part, work, &site.arrays[own.array].name))
}

/// The part that the work of a broken latency promise waits for most: a fuller one on its way that costs it no time does not end
/// it. `None` for a throughput, which ends where a part is full.
pub(super) fn in_the_way(
    uses: &[PartUse],
    broken: Option<&LoadRow>,
    steady: &Steady,
    site: &Site,
) -> Option<PartLoad> {
    let waits = |part: &PartUse| waited_for(part, broken, steady, site);
    let most = uses
        .iter()
        .filter_map(|part| Some((part, waits(part)?)))
        .max_by(|left, right| left.1.total_cmp(&right.1))?;
    load_of(most.0).filter(|_| most.1 > 0.0)
}

fn load_of(part: &PartUse) -> Option<PartLoad> {
    let used = part.cases.first()?.as_ref()?;
    Some(PartLoad {
        part: part.part.clone(),
        instance: used.instance.clone(),
        // Where more is asked for than it can do it is full, however few bursts the runs had.
        mean_percent: used.mean_percent.max(used.asked_percent().min(100.0)),
        peak_percent: used.peak_percent,
    })
}

/// All parts, the fullest first; of equals the one that is fuller by the other figure.
fn in_order(uses: &[PartUse], by: RankedBy) -> Vec<PartLoad> {
    let other = match by {
        RankedBy::Mean => RankedBy::Busiest,
        RankedBy::Busiest => RankedBy::Mean,
    };
    let mut all: Vec<PartLoad> = uses.iter().filter_map(load_of).collect();
    all.sort_by(|left, right| {
        let own = by.figure(right).total_cmp(&by.figure(left));
        own.then(other.figure(right).total_cmp(&other.figure(left)))
    });
    all
}

/// The fullest parts.
pub(super) fn fullest(uses: &[PartUse], by: RankedBy) -> Vec<PartLoad> {
    let mut all = in_order(uses, by);
    all.truncate(SHOWN);
    all
}

/// The fullest other part where it is about as full as `first`, or fuller. Where the mean decides, one for which the work of the broken
/// promise waits; `waits` says for each part how long, `None` of a throughput.
pub(super) fn beside_it(
    uses: &[PartUse],
    first: &PartLoad,
    by: RankedBy,
    waits: &dyn Fn(&str) -> Option<f64>,
) -> Option<PartLoad> {
    let others = in_order(uses, by).into_iter();
    let mut others = others.filter(|part| part.part != first.part);
    let most = waits(&first.part);
    let waited = |part: &PartLoad| match (by, waits(&part.part), most) {
        (RankedBy::Mean, Some(own), Some(most)) => own >= WAITED * most,
        _ => true,
    };
    let next = others.find(waited)?;
    (by.figure(&next) >= ABOUT * by.figure(first)).then_some(next)
}
