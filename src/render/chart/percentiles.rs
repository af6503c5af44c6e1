//! Percentile curves: each step to the right is ten times rarer. A promise is a corner to pass under.

use crate::outcome::{Case, Matrix, MeasureKind, Report, Verdict, WorkloadFigures};

use super::axis::Scale;
use super::canvas::{Anchor, Face, Mark, Pen};
use super::frame::{Plotted, Sheet, look, with_case};
use super::palette::Role;
use super::place::{Wish, crosses, spread};
use super::text::{bare, bare_percent, fit, percentile, room, sig, target, time};
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
}

/// A promised percentile, and the target as written.
struct Promise {
    q: f64,
    us: f64,
    text: String,
}

/// Where the plot lies.
struct Plot {
    x: Scale,
    y: Scale,
    left: f64,
    top: f64,
    right: f64,
    low: f64,
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
        finding(report, &name, &curves, &promises, judged),
    );
    let em = sheet.em;
    let phone = format == Format::Phone;
    let beside = if phone {
        em * 2.0
    } else {
        labels_width(&curves, judged, em).min(sheet.width * 0.42) + em * 1.4
    };
    let tall = if phone { em * 24.0 } else { em * 26.0 };
    let list = if phone {
        curves.len() as f64 * em * 2.9 + em * 0.4
    } else {
        0.0
    };
    let body = sheet.height(tall + em * 5.6 + list);
    let plot = plot(&sheet, &curves, &promises, beside, body - list);
    grid(&mut sheet, &plot);
    let lines: Vec<Vec<(f64, f64)>> = curves.iter().map(|curve| line(curve, &plot)).collect();
    for promise in &promises {
        corner(&mut sheet, &plot, promise, &lines);
    }
    // Dashed lines go over solid ones, marks over all lines: so curves that lie on one another stay visible.
    let dashed = |index: &usize| curves[*index].mended || curves[*index].role == Role::B;
    let mut order: Vec<usize> = (0..curves.len()).collect();
    order.sort_by_key(dashed);
    for &index in &order {
        one(&mut sheet, &curves[index], &lines[index]);
    }
    for (index, curve) in curves.iter().enumerate() {
        marks(&mut sheet, &plot, curve, index, judged);
    }
    if phone {
        below(&mut sheet, &curves, judged, plot.low + em * 4.4);
    } else {
        ends(&mut sheet, &plot, &curves, &lines, judged);
    }
    let description = description(&name, &curves, &promises);
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
        for cell in row
            .cells
            .iter()
            .flatten()
            .filter(|cell| cell.unit == "us" && cell.target > 0.0)
        {
            if !out
                .iter()
                .any(|known| known.q == q && known.us == cell.target)
            {
                out.push(Promise {
                    q,
                    us: cell.target,
                    text: cell.target_text.clone(),
                });
            }
        }
    }
    out.truncate(3);
    out
}

fn curves(report: &Report, workload: usize, judged: f64) -> Vec<Curve> {
    let mut out: Vec<Curve> = Vec::new();
    for steady in &report.steady {
        if let Some(figures) = steady.workloads.get(workload) {
            out.push(curve(&steady.case, None, figures, judged));
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
    for mend in &report.mends {
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
            .map(|value| (value.value, value.low, value.high))
            .or_else(|| match quantile {
                Some(_) => None,
                None => read(),
            }),
        beyond: quantile.and_then(|figure| figure.beyond_us),
    }
}

fn plot(sheet: &Sheet, curves: &[Curve], promises: &[Promise], beside: f64, body: f64) -> Plot {
    let em = sheet.em;
    let all = || curves.iter().flat_map(|curve| curve.points.iter());
    let targets = || promises.iter().map(|promise| promise.us);
    let low = all()
        .map(|point| point.1)
        .chain(targets())
        .fold(f64::INFINITY, f64::min);
    let high = all()
        .map(|point| point.1)
        .chain(targets().map(|us| us * 1.6))
        .fold(0.0, f64::max);
    let rarest = all()
        .map(|point| point.0)
        .chain(promises.iter().map(|promise| rarity(promise.q) + 0.3));
    let rarest = rarest.fold(2.0, f64::max).min(5.0);
    let widest = ["0.005".to_owned(), bare(high / 1000.0 * 1.3)];
    let left = sheet.side
        + widest
            .iter()
            .map(|text| room(text, em, false))
            .fold(0.0, f64::max)
        + em * 0.6;
    let right = sheet.right() - beside;
    let (top, low_end) = (sheet.top + em * 2.2, sheet.top + body - em * 3.3);
    Plot {
        x: Scale::linear((0.0, rarest), (left, right)),
        y: Scale::log((low / 1000.0, high / 1000.0), (low_end, top)),
        left,
        top,
        right,
        low: low_end,
    }
}

fn grid(sheet: &mut Sheet, plot: &Plot) {
    let em = sheet.em;
    let pen = Pen::new(Role::Grid, 1.0);
    let wanted = ((plot.low - plot.top) / (em * 2.2)) as usize;
    for ms in plot.y.ticks(wanted) {
        let y = plot.y.place(ms);
        sheet.canvas.line([(plot.left, y), (plot.right, y)], pen);
        let at = (plot.left - em * 0.5, y + em * 0.36);
        sheet.label(at, &bare(ms), Face::Plain, Anchor::End, Role::Mute);
    }
    for (q, text) in [
        (0.0, "0"),
        (0.5, "50"),
        (0.9, "90"),
        (0.99, "99"),
        (0.999, "99.9"),
        (0.9999, "99.99"),
        (0.99999, "99.999"),
    ] {
        let x = plot.x.place(rarity(q));
        if rarity(q) > 0.0 && x >= plot.right && (plot.x.place(rarity(q) - 1e-6) >= plot.right) {
            continue;
        }
        sheet.canvas.line([(x, plot.top), (x, plot.low)], pen);
        sheet.label(
            (x, plot.low + em * 1.3),
            text,
            Face::Plain,
            Anchor::Middle,
            Role::Mute,
        );
    }
    sheet.label(
        (sheet.side, plot.top - em * 1.1),
        "latency, ms (log scale)",
        Face::Bold,
        Anchor::Start,
        Role::Ink,
    );
    let title = "percentile (each step: ten times rarer)";
    sheet.label(
        (plot.left, plot.low + em * 2.7),
        title,
        Face::Bold,
        Anchor::Start,
        Role::Ink,
    );
}

fn line(curve: &Curve, plot: &Plot) -> Vec<(f64, f64)> {
    curve
        .points
        .iter()
        .map(|point| (plot.x.place(point.0), plot.y.place(point.1 / 1000.0)))
        .collect()
}

/// The hatched corner, and its words where no curve runs through them.
fn corner(sheet: &mut Sheet, plot: &Plot, promise: &Promise, lines: &[Vec<(f64, f64)>]) {
    let em = sheet.em;
    let (x, y) = (
        plot.x.place(rarity(promise.q)),
        plot.y.place(promise.us / 1000.0),
    );
    let mut at = plot.top;
    while at < y - em * 0.5 {
        sheet.canvas.line(
            [(x, at + em * 0.55), (x + em * 0.5, at)],
            Pen::new(Role::Ink, 1.0),
        );
        at += em * 0.42;
    }
    sheet.canvas.line(
        [(x, plot.top), (x, y), (x - em * 1.6, y)],
        Pen::new(Role::Ink, em * 0.15),
    );
    let first = format!(
        "promise: {} at {} %",
        target(&promise.text),
        bare_percent(promise.q)
    );
    let second = "a curve must pass under this corner";
    let (wide, tall) = (
        room(&first, em, true).max(room(second, em, false)),
        em * 2.5,
    );
    // Right of the wall above the corner, right below it, left below it; then without the second line.
    let spots = |wide: f64, tall: f64| {
        let mut out = Vec::new();
        for down in 0..8 {
            out.push((x + em, y - tall - em * 0.4 - f64::from(down) * em));
            out.push((x + em * 0.6, y + em * 0.5 + f64::from(down) * em));
            out.push((x - wide - em * 0.6, y + em * 0.5 + f64::from(down) * em));
            out.push((
                x - wide - em * 0.6,
                y - tall - em * 0.4 - f64::from(down) * em,
            ));
        }
        out
    };
    let free = |(left, top): (f64, f64), wide: f64, tall: f64| {
        let area = (
            left - em * 0.3,
            top - em * 0.3,
            left + wide,
            top + tall + em * 0.3,
        );
        let inside = area.0 > plot.left
            && area.2 < plot.right + em
            && area.1 > plot.top
            && area.3 < plot.low;
        inside && !lines.iter().any(|line| crosses(line, area))
    };
    if let Some(spot) = spots(wide, tall)
        .into_iter()
        .find(|spot| free(*spot, wide, tall))
    {
        sheet.label(
            (spot.0, spot.1 + em),
            &first,
            Face::Bold,
            Anchor::Start,
            Role::Ink,
        );
        sheet.label(
            (spot.0, spot.1 + em * 2.2),
            second,
            Face::Plain,
            Anchor::Start,
            Role::Mute,
        );
        return;
    }
    let (wide, tall) = (room(&first, em, true), em * 1.2);
    if let Some(spot) = spots(wide, tall)
        .into_iter()
        .find(|spot| free(*spot, wide, tall))
    {
        sheet.label(
            (spot.0, spot.1 + em),
            &first,
            Face::Bold,
            Anchor::Start,
            Role::Ink,
        );
    } else {
        // Above the plot nothing runs.
        let at = (plot.right, plot.top - em * 0.3);
        let space = plot.right - sheet.side - room("latency, ms (log scale)", em, true) - em;
        let brief = format!("promise {}", target(&promise.text));
        let text = [first, brief.clone()]
            .into_iter()
            .find(|text| room(text, em, true) <= space);
        let text = text.unwrap_or_else(|| fit(&brief, em, true, space));
        sheet.label(at, &text, Face::Bold, Anchor::End, Role::Ink);
    }
}

fn one(sheet: &mut Sheet, curve: &Curve, line: &[(f64, f64)]) {
    let em = sheet.em;
    let pen = Pen::new(curve.role, em * 0.17);
    let pen = match (curve.role, curve.mended) {
        (Role::B, _) => pen.dashed(em * 0.6, em * 0.45),
        (_, true) => pen.dashed(em * 0.2, em * 0.3),
        _ => pen,
    };
    sheet.canvas.line(line.to_vec(), pen);
}

fn marks(sheet: &mut Sheet, plot: &Plot, curve: &Curve, index: usize, judged: f64) {
    let em = sheet.em;
    let hollow = curve.mark == Mark::Diamond && !curve.mended;
    for step in 0..6 {
        // Each case has its marks at percentiles of its own.
        let at = 0.3 + 0.8 * f64::from(step) + 0.16 * index as f64;
        if let Some(us) = along(&curve.points, at) {
            let place = (plot.x.place(at), plot.y.place(us / 1000.0));
            sheet
                .canvas
                .mark(place, curve.mark, em * 0.36, curve.role, hollow);
        }
    }
    if let Some((_, Some(low), Some(high))) = curve.value {
        let x = plot.x.place(rarity(judged));
        let (top, end) = (
            plot.y.place(high / 1000.0),
            plot.y.place(low.max(FLOOR_US) / 1000.0),
        );
        let pen = Pen::new(curve.role, em * 0.12);
        sheet.canvas.line([(x, top), (x, end)], pen);
        for y in [top, end] {
            sheet
                .canvas
                .line([(x - em * 0.35, y), (x + em * 0.35, y)], pen);
        }
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

/// `p99 14.0 ms (13.6 to 14.4)`.
fn figure(curve: &Curve, judged: f64) -> String {
    let name = percentile(judged);
    match (curve.saturated, curve.value, curve.beyond) {
        (true, ..) => "saturated: waiting grows without end".to_owned(),
        (_, Some((value, Some(low), Some(high))), _) => {
            let scale = if value >= 1e6 {
                1e-6
            } else if value >= 100.0 {
                1e-3
            } else {
                1.0
            };
            format!(
                "{name} {} ({} to {})",
                time(value, 3),
                sig(low * scale, 3),
                sig(high * scale, 3)
            )
        }
        (_, Some((value, ..)), _) => format!("{name} {}", time(value, 3)),
        (_, None, Some(beyond)) => format!("{name} over {}", time(beyond, 3)),
        _ => format!("{name} not known"),
    }
}

fn labels_width(curves: &[Curve], judged: f64, em: f64) -> f64 {
    curves
        .iter()
        .map(|curve| room(&curve.name, em, true).max(room(&figure(curve, judged), em, false)) + em)
        .fold(0.0, f64::max)
}

/// Names and figures at the curves' right ends.
fn ends(sheet: &mut Sheet, plot: &Plot, curves: &[Curve], lines: &[Vec<(f64, f64)>], judged: f64) {
    let em = sheet.em;
    let size = (em * 2.75).min((plot.low - plot.top) / curves.len() as f64);
    let wishes: Vec<Wish> = lines
        .iter()
        .map(|line| Wish {
            at: line.last().map_or(plot.top, |end| end.1),
            size,
        })
        .collect();
    let middles = spread(&wishes, plot.top - em, plot.low);
    let x = plot.right + em * 0.8;
    let space = sheet.right() - x - em;
    for (curve, middle) in curves.iter().zip(&middles) {
        let hollow = curve.mark == Mark::Diamond && !curve.mended;
        sheet.canvas.mark(
            (x, middle - em * 0.45),
            curve.mark,
            em * 0.36,
            curve.role,
            hollow,
        );
        let name = fit(&curve.name, em, true, space);
        sheet.label(
            (x + em, middle - em * 0.1),
            &name,
            Face::Bold,
            Anchor::Start,
            curve.role,
        );
        let text = fit(&figure(curve, judged), em, false, space);
        let role = if curve.saturated {
            Role::Missed
        } else {
            curve.role
        };
        sheet.label(
            (x + em, middle + em * 1.08),
            &text,
            Face::Plain,
            Anchor::Start,
            role,
        );
    }
}

/// The same in a list, for narrow screens.
fn below(sheet: &mut Sheet, curves: &[Curve], judged: f64, top: f64) {
    let em = sheet.em;
    let x = sheet.side + em * 0.6;
    let space = sheet.right() - x - em;
    for (index, curve) in curves.iter().enumerate() {
        let y = top + index as f64 * em * 2.9;
        let hollow = curve.mark == Mark::Diamond && !curve.mended;
        sheet.canvas.mark(
            (x, y - em * 0.36),
            curve.mark,
            em * 0.36,
            curve.role,
            hollow,
        );
        let name = fit(&curve.name, em, true, space);
        sheet.label((x + em, y), &name, Face::Bold, Anchor::Start, curve.role);
        let text = fit(&figure(curve, judged), em, false, space);
        sheet.label(
            (x + em, y + em * 1.2),
            &text,
            Face::Plain,
            Anchor::Start,
            Role::Ink,
        );
    }
}

fn finding(
    report: &Report,
    workload: &str,
    curves: &[Curve],
    promises: &[Promise],
    judged: f64,
) -> String {
    let plain: Vec<&Curve> = curves.iter().filter(|curve| !curve.mended).collect();
    let rank = |curve: &Curve| {
        if curve.saturated {
            f64::INFINITY
        } else {
            curve
                .value
                .map_or(curve.beyond.unwrap_or(0.0), |value| value.0)
        }
    };
    let Some(worst) = plain.iter().copied().reduce(|worst, curve| {
        if rank(curve) > rank(worst) {
            curve
        } else {
            worst
        }
    }) else {
        return String::new();
    };
    if worst.saturated {
        return format!(
            "{}, {workload} does not fit: it arrives faster than it is carried, and waiting grows without end.",
            worst.with
        );
    }
    let name = percentile(judged);
    let value = match (worst.value, worst.beyond) {
        (Some(value), _) => time(value.0, 2),
        (None, Some(beyond)) => format!("over {}", time(beyond, 2)),
        _ => "not known".to_owned(),
    };
    let promise = promises.first().map_or_else(String::new, |promise| {
        format!(", promise {}", target(&promise.text))
    });
    let missed = report.matrix.rows.iter().any(|row| {
        row.workload == workload
            && !row.switching
            && row
                .cells
                .iter()
                .flatten()
                .any(|cell| cell.verdict == Verdict::Missed)
    });
    let mend = report
        .mends
        .first()
        .zip(curves.iter().find(|curve| curve.mended))
        .filter(|_| missed);
    let mend = mend.and_then(|(mend, curve)| {
        Some(format!(
            "; with the change “{}” it is {}",
            mend.name,
            time(curve.value?.0, 2)
        ))
    });
    format!(
        "{}, {name} of {workload} is {value}{promise}{}.",
        worst.with,
        mend.unwrap_or_default()
    )
}

fn description(workload: &str, curves: &[Curve], promises: &[Promise]) -> String {
    let rows: Vec<String> = curves
        .iter()
        .map(|curve| {
            if curve.saturated {
                return format!("{}: saturated", curve.name);
            }
            let at: Vec<String> = [0.5, 0.9, 0.99, 0.999]
                .iter()
                .filter_map(|&q| {
                    Some(format!(
                        "{} % within {}",
                        bare_percent(q),
                        time(along(&curve.points, rarity(q))?, 3)
                    ))
                })
                .collect();
            format!("{}: {}", curve.name, at.join(", "))
        })
        .collect();
    let promises: Vec<String> = promises
        .iter()
        .map(|promise| {
            format!(
                " The promise is {} at {} %.",
                target(&promise.text),
                bare_percent(promise.q)
            )
        })
        .collect();
    format!(
        "Latency of {workload}. {}.{}",
        rows.join("; "),
        promises.concat()
    )
}
