//! Section 6: how long a request takes, and where the time is spent.

use super::Context;
use super::html::section as framed;
use super::html::{Column, Table, beside, case_name, esc, figure};
use crate::outcome::{Estimated, Population, WorkloadFigures};
use crate::render::chart::{Format, budget, percentiles};
use crate::render::number::{NONE, Scale, TOO_FEW, UNFINISHED, UNMEASURED};

/// Percentiles shown, besides the mean and the largest.
const QUANTILES: [(f64, &str); 5] = [
    (0.5, "p50"),
    (0.9, "p90"),
    (0.95, "p95"),
    (0.99, "p99"),
    (0.999, "p99.9"),
];

pub(super) fn section(context: &Context<'_>) -> String {
    let Some(healthy) = context.report.steady.first() else {
        return framed(
            "latency",
            context.section(6),
            "How long does a request take, and where is the time spent?",
            "<p class=\"plain\">No steady state was run.</p>\n",
        );
    };
    // The workload of the verdict first.
    let mut order: Vec<usize> = (0..healthy.workloads.len()).collect();
    order.sort_by_key(|&index| healthy.workloads[index].name != context.first_workload());
    let mut body = String::new();
    for (place, &index) in order.iter().enumerate() {
        if order.len() > 1 {
            body.push_str(&format!(
                "<h3>{}</h3>\n",
                esc(&healthy.workloads[index].name)
            ));
        }
        body.push_str(&workload(context, index, place == 0));
    }
    body.push_str(&rates(context));
    body.push_str(&super::theory::table(context));
    framed(
        "latency",
        context.section(6),
        "How long does a request take, and where is the time spent?",
        &body,
    )
}

fn workload(context: &Context<'_>, index: usize, first: bool) -> String {
    let curve = |format| percentiles(context.report, index, format);
    let curve = figure(context, "", curve(Format::Page), curve(Format::Phone));
    let parts = |format| budget(context.report, index, format);
    let parts = figure(context, "", parts(Format::Page), parts(Format::Phone));
    let (mut how, mut sum) = ("", "");
    if first && !curve.is_empty() {
        how = "<p><b>How to read it.</b> Each step to the right is ten times rarer: at 99, one request in a hundred is slower. A promise is the corner that a curve must pass under.</p><p>Colour and marks show the fabric that <i>carries</i>: <b class=\"mB\">B</b> squares when A is lost.</p>";
    }
    if first && !parts.is_empty() {
        sum = "<p>The parts add up to the mean exactly. Queueing is waiting behind other messages; waiting behind one’s own frames counts as serialization.</p>";
    }
    format!(
        "{}{}{}",
        beside(&curve, how),
        table(context, index),
        beside(&parts, sum)
    )
}

/// Every figure of a population in microseconds, for the choice of the unit.
fn all_us(population: &Population) -> impl Iterator<Item = f64> + '_ {
    let quantiles = population
        .quantiles
        .iter()
        .flat_map(|figure| [figure.latency_us.map(|f| f.value), figure.beyond_us]);
    quantiles
        .chain([population.mean_us.map(|f| f.value)])
        .flatten()
}

/// Name (HTML), case of the chooser and figures of `index` in every case, then with every change.
fn steady_of<'a>(
    context: &Context<'a>,
    index: usize,
) -> Vec<(String, Option<usize>, &'a WorkloadFigures)> {
    let report = context.report;
    let plain = report.steady.iter().map(|steady| {
        let k = context.case_index(&steady.case.name);
        (case_name(&steady.case), k, steady)
    });
    let mended = report.shown_mends().flat_map(|mend| {
        mend.steady.iter().map(|steady| {
            let name = format!("{}, {}", esc(&steady.case.name), esc(&mend.name));
            (name, None, steady)
        })
    });
    plain
        .chain(mended)
        .filter_map(|(name, k, steady)| Some((name, k, steady.workloads.get(index)?)))
        .collect()
}

fn table(context: &Context<'_>, index: usize) -> String {
    let rows = steady_of(context, index);
    let Some((_, _, first)) = rows.first() else {
        return String::new();
    };
    let scale = Scale::of_us(rows.iter().flat_map(|(_, _, w)| all_us(&w.all)));
    let mut columns = vec![Column::words("case"), Column::number("mean")];
    columns.extend(QUANTILES.iter().map(|(_, name)| Column::number(name)));
    columns.push(Column::number("max"));
    let caption = format!(
        "Latency of <i>{}</i>, {}; in small, 95\u{202F}% intervals",
        esc(&first.name),
        scale.unit
    );
    let mut table = Table::new("", caption, columns);
    for (name, k, figures) in rows {
        let attributes = k.map_or_else(String::new, |k| format!("data-k=\"{k}\""));
        table.row(
            &attributes,
            &cells(name, &figures.all, figures.saturated, scale),
        );
        let both = figures.reads.ios > 0 && figures.writes.ios > 0;
        if both && k.is_some() {
            for (kind, population) in [("reads", &figures.reads), ("writes", &figures.writes)] {
                let cells = cells(kind.to_owned(), population, figures.saturated, scale);
                table.row("class=\"sub\"", &cells);
            }
        }
    }
    table.html()
}

fn with_ends(figure: Option<Estimated>, scale: Scale) -> String {
    let Some(figure) = figure else {
        return NONE.to_owned();
    };
    match scale.figure(&figure) {
        (value, Some(ends)) => format!("{value} <small>{ends}</small>"),
        (value, None) if figure.is_vague() => format!("{value} <small>{TOO_FEW}</small>"),
        (value, None) => value,
    }
}

fn cells(name: String, population: &Population, saturated: bool, scale: Scale) -> Vec<String> {
    let mut out = vec![name];
    out.push(if saturated {
        "<b class=\"miss\">saturated</b>".to_owned()
    } else if population.unfinished > 0 {
        UNFINISHED.to_owned()
    } else {
        with_ends(population.mean_us, scale)
    });
    for (q, _) in QUANTILES {
        let figure = population.quantiles.iter().find(|f| (f.q - q).abs() < 1e-9);
        out.push(match figure.map(|f| (f.latency_us, f.beyond_us)) {
            Some((None, Some(beyond))) if beyond > 0.0 => {
                format!("&gt;\u{202F}{}", scale.three(beyond))
            }
            Some((latency, _)) => with_ends(latency, scale),
            None => NONE.to_owned(),
        });
    }
    out.push(
        population
            .max_us
            .filter(|_| !saturated)
            .map_or_else(|| NONE.to_owned(), |max| scale.three(max)),
    );
    out
}

/// Offered and completed, by workload and case.
fn rates(context: &Context<'_>) -> String {
    let columns = vec![
        Column::words("workload, case"),
        Column::number("offered, I/Os per s"),
        Column::number("completed, I/Os per s"),
        Column::number("MB/s"),
        Column::number("busiest 20 ms, completed"),
        Column::number("busiest 20 ms, offered"),
        Column::number("failed"),
        Column::number("unfinished"),
    ];
    let caption = "What was asked and what was done".to_owned();
    let mut table = Table::new("long", caption, columns);
    let healthy = &context.report.steady[0];
    for (index, workload) in healthy.workloads.iter().enumerate() {
        for (k, steady) in context.report.steady.iter().enumerate() {
            let Some(figures) = steady.workloads.get(index) else {
                continue;
            };
            let all = &figures.all;
            if steady.unmeasured {
                let name = format!("<i>{}</i>, {}", esc(&workload.name), esc(&steady.case.name));
                let mut row = vec![name, UNMEASURED.to_owned()];
                row.resize(8, NONE.to_owned());
                table.row(&format!("data-k=\"{k}\""), &row);
                continue;
            }
            let row = vec![
                format!("<i>{}</i>, {}", esc(&workload.name), esc(&steady.case.name)),
                Scale::PLAIN.three(all.offered_iops.value),
                with_ends(Some(all.completed_iops), Scale::PLAIN),
                with_ends(Some(all.throughput_mb_s), Scale::PLAIN),
                Scale::PLAIN.three(figures.peak_iops),
                Scale::PLAIN.three(figures.peak_offered_iops),
                crate::render::number::count(all.failed),
                crate::render::number::count(all.unfinished),
            ];
            table.row(&format!("data-k=\"{k}\""), &row);
        }
    }
    format!("<h3>Rates</h3>\n{}", table.html())
}
