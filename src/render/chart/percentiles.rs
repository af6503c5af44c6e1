//! Percentile curves: each step to the right is ten times rarer. A promise is a corner to pass under.

mod plot;
mod words;

use crate::outcome::{Case, Cell, Matrix, MeasureKind, Report, WorkloadFigures};

use super::canvas::Mark;
use super::frame::{Plotted, Sheet, look, with_case};
use super::palette::Role;
use super::{Drawing, Format};

/// Curves drawn at most.
const CURVES_MOST: usize = 8;
/// Latencies below this are drawn there: a logarithm has no zero, and no I/O over a fabric is as fast.
const FLOOR_US: f64 = 1.0;

/// One curve and what is said of it.
struct Curve {
    name: String,
    with: String,
    role: Role,
    mark: Mark,
    mended: bool,
    saturated: bool,
    /// (−log10(1 − q), microseconds).
    points: Vec<(f64, f64)>,
    /// At the judged percentile: value, interval, and what it lies beyond instead.
    value: Option<(f64, Option<f64>, Option<f64>)>,
    beyond: Option<f64>,
    /// What is promised of the judged percentile in its own case: microseconds, and the target as written.
    promised: Option<(f64, String)>,
}

/// A promised percentile, the target as written, and the cases in which it is promised.
struct Promise {
    q: f64,
    us: f64,
    text: String,
    cases: Vec<String>,
    /// Whether that is all of them.
    everywhere: bool,
}

pub(super) fn draw(report: &Report, workload: usize, format: Format) -> Option<Drawing> {
    let name = report.steady.first()?.workloads.get(workload)?.name.clone();
    let promises = promises(&report.matrix, &name);
    let judged = promises.first().map_or(0.99, |promise| promise.q);
    let curves = curves(report, workload, judged);
    if curves.iter().all(|curve| curve.points.len() < 2) {
        return None;
    }
    let mut sheet = Sheet::new(
        report,
        format,
        800.0,
        words::finding(report, &name, &curves, judged),
    );
    let em = sheet.em;
    let phone = format == Format::Phone;
    let beside = if phone {
        em * 2.0
    } else {
        plot::labels_width(&curves, judged, em).min(sheet.width * 0.42) + em * 1.4
    };
    let tall = if phone { em * 24.0 } else { em * 26.0 };
    let list = if phone {
        curves.len() as f64 * em * 2.9 + em * 0.4
    } else {
        0.0
    };
    let body = sheet.height(tall + em * 5.6 + list);
    let plot = plot::plot(&sheet, &curves, &promises, beside, body - list);
    plot::grid(&mut sheet, &plot);
    let lines: Vec<Vec<(f64, f64)>> = curves
        .iter()
        .map(|curve| plot::line(curve, &plot))
        .collect();
    for promise in &promises {
        plot::corner(&mut sheet, &plot, promise, &lines);
    }
    // Dashed lines go over solid ones, marks over all lines: so curves that lie on one another stay visible.
    let dashed = |index: &usize| curves[*index].mended || curves[*index].role == Role::B;
    let mut order: Vec<usize> = (0..curves.len()).collect();
    order.sort_by_key(dashed);
    for &index in &order {
        plot::one(&mut sheet, &curves[index], &lines[index]);
    }
    for (index, curve) in curves.iter().enumerate() {
        plot::marks(&mut sheet, &plot, curve, index, judged);
    }
    if phone {
        plot::below(&mut sheet, &curves, judged, plot.low + em * 4.4);
    } else {
        plot::ends(&mut sheet, &plot, &curves, &lines, judged);
    }
    let description = words::description(&name, &curves, &promises);
    sheet.finish(
        &format!("percentiles-{workload}"),
        body,
        description,
        Plotted::Yes,
    )
}

/// −log10(1 − q).
fn rarity(q: f64) -> f64 {
    -(1.0 - q.clamp(0.0, 0.999_999_9)).log10()
}

/// Steady percentile promises of a workload, one for each percentile and target.
fn promises(matrix: &Matrix, workload: &str) -> Vec<Promise> {
    let mut out: Vec<Promise> = Vec::new();
    for row in matrix
        .rows
        .iter()
        .filter(|row| row.workload == workload && !row.switching)
    {
        let MeasureKind::Quantile(q) = row.measure else {
            continue;
        };
        for (index, cell) in row.cells.iter().enumerate() {
            let Some(cell) = cell.as_ref().filter(|cell| is_latency(cell)) else {
                continue;
            };
            let case = matrix.cases.get(index);
            let case = case.map_or_else(String::new, |case| case.name.clone());
            match out
                .iter_mut()
                .find(|known| known.q == q && known.us == cell.target)
            {
                Some(known) => known.cases.push(case),
                None => out.push(Promise {
                    q,
                    us: cell.target,
                    text: cell.target_text.clone(),
                    cases: vec![case],
                    everywhere: false,
                }),
            }
        }
    }
    for promise in &mut out {
        promise.everywhere = promise.cases.len() >= matrix.cases.len();
    }
    out.truncate(3);
    out
}

fn is_latency(cell: &Cell) -> bool {
    cell.unit == "us" && cell.target > 0.0
}

/// What is promised of a percentile in one case.
fn promised(matrix: &Matrix, workload: &str, case: &Case, q: f64) -> Option<(f64, String)> {
    let column = matrix.cases.iter().position(|own| own == case)?;
    let own = matrix.rows.iter().filter(|row| {
        row.workload == workload && !row.switching && row.measure == MeasureKind::Quantile(q)
    });
    let cells = own.filter_map(|row| row.cells.get(column)?.as_ref());
    let cell = cells.into_iter().find(|cell| is_latency(cell))?;
    Some((cell.target, cell.target_text.clone()))
}

fn curves(report: &Report, workload: usize, judged: f64) -> Vec<Curve> {
    let mut out: Vec<Curve> = Vec::new();
    for steady in &report.steady {
        if let Some(figures) = steady.workloads.get(workload) {
            let mut curve = curve(&steady.case, None, figures, judged);
            curve.promised = promised(&report.matrix, &figures.name, &steady.case, judged);
            out.push(curve);
        }
    }
    let rank = |curve: &Curve| {
        if curve.saturated {
            f64::INFINITY
        } else {
            curve.value.map_or(0.0, |value| value.0)
        }
    };
    // A mend is shown in the case that was slowest without it; the first of equals.
    let mut slowest = 0;
    for index in 1..out.len() {
        if rank(&out[index]) > rank(&out[slowest]) {
            slowest = index;
        }
    }
    for mend in report.shown_mends() {
        let steady = mend.steady.get(slowest);
        if let Some(figures) = steady.and_then(|steady| steady.workloads.get(workload)) {
            out.push(curve(
                &report.steady[slowest].case,
                Some(&mend.name),
                figures,
                judged,
            ));
        }
    }
    out.truncate(CURVES_MOST);
    out
}

fn curve(case: &Case, mend: Option<&str>, figures: &WorkloadFigures, judged: f64) -> Curve {
    let (role, mark) = look(case);
    let quantile = figures
        .all
        .quantiles
        .iter()
        .find(|figure| (figure.q - judged).abs() < 1e-9);
    let measured = quantile.and_then(|figure| figure.latency_us);
    // A percentile that is not among those estimated is read off the curve, without an interval.
    let read = || {
        figures
            .curve
            .iter()
            .find(|point| point.q >= judged)
            .map(|point| (point.latency_us, None, None))
    };
    let points: Vec<(f64, f64)> = figures
        .curve
        .iter()
        .filter(|point| point.q >= 0.0 && point.q < 1.0 && point.latency_us.is_finite())
        .map(|point| (rarity(point.q), point.latency_us.max(FLOOR_US)))
        .collect();
    Curve {
        name: mend.map_or_else(
            || case.name.clone(),
            |mend| format!("{}, {mend}", case.name),
        ),
        with: with_case(case),
        role: if mend.is_some() { Role::Ink } else { role },
        mark: if mend.is_some() { Mark::Diamond } else { mark },
        mended: mend.is_some(),
        saturated: figures.saturated,
        points,
        value: measured
            .map(|value| {
                let ends = value.ends();
                (value.value, ends.map(|e| e.0), ends.map(|e| e.1))
            })
            .or_else(|| match quantile {
                Some(_) => None,
                None => read(),
            }),
        beyond: quantile.and_then(|figure| figure.beyond_us),
        promised: None,
    }
}

/// Latency at a rarity, between the points.
fn along(points: &[(f64, f64)], at: f64) -> Option<f64> {
    points
        .windows(2)
        .find(|pair| pair[0].0 <= at && at <= pair[1].0 && pair[1].0 > pair[0].0)
        .map(|pair| {
            let share = (at - pair[0].0) / (pair[1].0 - pair[0].0);
            // Straight in the logarithm, as drawn.
            (pair[0].1.ln() * (1.0 - share) + pair[1].1.ln() * share).exp()
        })
}
