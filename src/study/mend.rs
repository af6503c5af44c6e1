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

/// How far a change goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Reach {
    /// Every judgement is met, and everything that was judged as not met is judged again.
    All,
    /// What was missed is met, and what is still open is undecided as it was.
    Misses,
    Short,
}

/// The row of the same promise.
fn same<'m>(matrix: &'m Matrix, row: &Row) -> Option<&'m Row> {
    matrix.rows.iter().find(|other| {
        other.workload == row.workload
            && other.measure == row.measure
            && other.switching == row.switching
    })
}

/// How far a change goes from `base`, the judgements without it, to `with`.
fn reach(base: &Matrix, with: &Matrix) -> Reach {
    let met = |cell: &Cell| cell.verdict == Verdict::Met;
    let cell = |matrix: &Matrix, row: &Row, case: usize| -> Option<Verdict> {
        let cell = same(matrix, row)?.cells.get(case)?.as_ref()?;
        Some(cell.verdict)
    };
    let judged_again = base.rows.iter().all(|row| {
        let mut open = row
            .cells
            .iter()
            .enumerate()
            .filter(|(_, cell)| cell.as_ref().is_some_and(|cell| !met(cell)));
        open.all(|(case, _)| cell(with, row, case).is_some())
    });
    let cells = |row: &Row| -> Vec<(usize, Verdict)> {
        let cells = row.cells.iter().enumerate();
        cells
            .filter_map(|(case, cell)| Some((case, cell.as_ref()?.verdict)))
            .collect()
    };
    let missed = |row: &Row| cells(row).iter().any(|(_, own)| *own == Verdict::Missed);
    let open_as_before = |row: &Row| {
        cells(row).iter().all(|(case, own)| match own {
            Verdict::Met => true,
            Verdict::Missed => false,
            Verdict::Undecided => cell(base, row, *case) == Some(Verdict::Undecided),
        })
    };
    let all_met = |row: &Row| cells(row).iter().all(|(_, own)| *own == Verdict::Met);
    match judged_again {
        true if with.rows.iter().all(all_met) => Reach::All,
        true if base.rows.iter().any(missed) && with.rows.iter().all(open_as_before) => {
            Reach::Misses
        }
        _ => Reach::Short,
    }
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
    let reach = reach(base, &matrix);
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
        mends_all: reach == Reach::All,
        repairs: reach == Reach::Misses,
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

#[cfg(test)]
mod tests {
    use super::{Reach, reach};
    use crate::outcome::{Matrix, Verdict};
    use crate::render::sample::sample_mends;

    /// One row, one verdict a case.
    fn judged(verdicts: [Option<Verdict>; 3]) -> Matrix {
        let mut matrix = sample_mends().matrix;
        let row = matrix.rows.iter().find(|row| row.cells[0].is_some());
        let mut row = row.cloned().expect("something is judged when healthy");
        let cell = row.cells[0].clone();
        row.cells = verdicts
            .into_iter()
            .map(|verdict| {
                let cell = cell.clone()?;
                Some(crate::outcome::Cell {
                    verdict: verdict?,
                    ..cell
                })
            })
            .collect();
        matrix.rows = vec![row];
        matrix
    }

    #[test]
    fn a_change_repairs_a_miss_though_something_stays_undecided() {
        use Verdict::{Met, Missed, Undecided};
        let base = judged([Some(Met), Some(Missed), Some(Undecided)]);
        for (with, wanted) in [
            ([Some(Met), Some(Met), Some(Met)], Reach::All),
            ([Some(Met), Some(Met), Some(Undecided)], Reach::Misses),
            // What was met or missed is open now, or is not judged again.
            ([Some(Undecided), Some(Met), Some(Met)], Reach::Short),
            ([Some(Met), Some(Undecided), Some(Met)], Reach::Short),
            ([Some(Met), Some(Met), Some(Missed)], Reach::Short),
            ([Some(Met), None, Some(Undecided)], Reach::Short),
        ] {
            assert_eq!(reach(&base, &judged(with)), wanted, "{with:?}");
        }
        // Nothing was missed.
        let base = judged([Some(Met), Some(Met), Some(Undecided)]);
        assert_eq!(reach(&base, &base), Reach::Short);
    }
}
