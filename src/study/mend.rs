//! Variants of a site, simulated as possible remedies.

use super::estimate::estimate_by_member;
use super::{Ask, case, judge, parts, progress::Progress, steady, switch};
use crate::model::Compiled;
use crate::outcome::{
    Cell, Changes, Matrix, Mend, MendOrigin, Row, StallLeft, Steady, Switch, Verdict,
};
use crate::site::{Site, Variant};
use crate::topology::Fabric;

/// Steady runs of every variant of `site`, in the cases asked for.
#[must_use]
///
/// Their switch-overs are run too where `base`, the judgements without them, misses a promise about switching.
pub(crate) fn mends(site: &Site, ask: &Ask, base: &Matrix, progress: &dyn Progress) -> Vec<Mend> {
    site.variants
        .iter()
        .map(|variant| mend(variant, ask, base, progress))
        .collect()
}

/// Whether a promise about switching is missed.
pub(super) fn misses_switching(matrix: &Matrix) -> bool {
    let cells = |row: &Row| {
        row.cells
            .iter()
            .flatten()
            .any(|cell| cell.verdict == Verdict::Missed)
    };
    matrix.rows.iter().any(|row| row.switching && cells(row))
}

/// Whether every judgement of `with` is met, and everything that `base` judges as not met is judged in it.
fn mends_all(base: &Matrix, with: &Matrix) -> bool {
    let met = |cell: &Cell| cell.verdict == Verdict::Met;
    let judged = |row: &Row, case: usize| {
        let same = with.rows.iter().find(|other| {
            other.workload == row.workload
                && other.measure == row.measure
                && other.switching == row.switching
        });
        same.is_some_and(|other| other.cells.get(case).is_some_and(Option::is_some))
    };
    let all_met = with
        .rows
        .iter()
        .flat_map(|row| row.cells.iter().flatten())
        .all(met);
    all_met
        && base.rows.iter().all(|row| {
            let mut open = row
                .cells
                .iter()
                .enumerate()
                .filter(|(_, cell)| cell.as_ref().is_some_and(|cell| !met(cell)));
            open.all(|(case, _)| judged(row, case))
        })
}

/// Steady runs of a variant in the cases asked for, and its switch-overs where those of `base` miss a promise.
pub(super) fn mend(variant: &Variant, ask: &Ask, base: &Matrix, progress: &dyn Progress) -> Mend {
    let site = &*variant.site;
    let switch = ask.switch && misses_switching(base);
    let plans = case::cases_as(
        site,
        &Fabric::new(site),
        ask.outages.as_deref(),
        ask.planned,
    );
    let runs = steady::run(site, &plans, progress);
    let whole = Compiled::new(site, &[]);
    let switches: Vec<Switch> = runs
        .iter()
        .filter(|runs| switch && runs.plan.case.outage.is_some())
        .map(|left| switch::run(site, &whole, &left.plan, left, ask.planned, progress))
        .collect();
    let matrix = judge::matrix(site, &runs, &switches);
    let figures: Vec<Steady> = runs.into_iter().map(|runs| runs.figures).collect();
    let fabric = Fabric::new(site);
    let loads = estimate_by_member(site, &fabric);
    let mends_all = mends_all(base, &matrix);
    Mend {
        left: left(&matrix, &switches),
        name: variant.name.clone(),
        set: variant.set.clone(),
        origin: MendOrigin::Stated,
        changes: Changes::default(),
        ports_lacking: Vec::new(),
        growth: parts::growth_with_depths(site, &fabric, &loads, &figures),
        matrix,
        steady: figures,
        mends_all,
    }
}

/// What bounds the stalls of the switch-overs of which a promise is missed.
fn left(matrix: &Matrix, switches: &[Switch]) -> Vec<StallLeft> {
    let mut found: Vec<StallLeft> = Vec::new();
    for row in matrix.rows.iter().filter(|row| row.switching) {
        for (case, cell) in matrix.cases.iter().zip(&row.cells) {
            let missed = cell
                .as_ref()
                .is_some_and(|cell| cell.verdict == Verdict::Missed);
            let switch = switches
                .iter()
                .find(|switch| switch.case == *case && missed);
            let mut works = switch.into_iter().flat_map(|switch| &switch.workloads);
            let work = works.find(|work| work.name == row.workload);
            let Some(timer) = work.and_then(|work| work.freed_by.as_ref()?.timer.clone()) else {
                continue;
            };
            let left = StallLeft {
                case: case.name.clone(),
                workload: row.workload.clone(),
                timer,
            };
            if !found.contains(&left) {
                found.push(left);
            }
        }
    }
    found
}
