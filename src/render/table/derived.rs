//! A workload derived from a recording, as text.

use super::align::{Aligned, wrapped};
use crate::outcome::{Derived, DerivedArrivals, DerivedLaw, Work};
use crate::render::number::{NONE, count, three};
use crate::render::words::plural;

/// Figures of the whole recording and of its busiest stretch, how bursty it is, what is unknown, and the workload.
#[must_use]
pub fn derived_text(derived: &Derived) -> String {
    let stretch = derived.busiest.span_s.map_or_else(
        || "one sample of unknown length".to_owned(),
        |span| {
            format!(
                "the busiest stretch, by I/Os, is {} s from {} s on",
                three(span),
                three(derived.busiest_from_s)
            )
        },
    );
    let mut out = format!(
        "{}: {}, {}; {stretch}\n\n",
        derived.file,
        derived.kind,
        plural(usize::try_from(derived.rows).unwrap_or(usize::MAX), "row"),
    );
    let mut table = Aligned::new(&["figure", ">whole recording", ">busiest stretch"]);
    let shown = |figure: Option<f64>| figure.map_or_else(|| NONE.to_owned(), three);
    let length = |work: &Work| work.span_s.map_or_else(|| "unknown".to_owned(), three);
    table.row(vec![
        "length, s".to_owned(),
        length(&derived.whole),
        length(&derived.busiest),
    ]);
    type Of = fn(&Work) -> Option<f64>;
    let rows: [(&str, Of); 7] = [
        ("I/Os a second", |work| Some(work.iops)),
        ("MB/s", |work| Some(work.mb_s)),
        ("reads, % of I/Os", |work| Some(work.read_share * 100.0)),
        ("reads, % of bytes", |work| {
            Some(work.read_byte_share * 100.0)
        }),
        ("mean size, B", |work| work.size_bytes),
        ("mean size of reads, B", |work| work.read_size_bytes),
        ("mean size of writes, B", |work| work.write_size_bytes),
    ];
    for (name, of) in rows {
        table.row(vec![
            name.to_owned(),
            shown(of(&derived.whole)),
            shown(of(&derived.busiest)),
        ]);
    }
    // Statistics know means alone.
    let kinds = |work: &Work| match derived.kind {
        "statistics" => NONE.to_owned(),
        _ => count((work.read_sizes.len() + work.write_sizes.len()) as u64),
    };
    table.row(vec![
        "different sizes, reads and writes apart".to_owned(),
        kinds(&derived.whole),
        kinds(&derived.busiest),
    ]);
    out.push_str(&table.text("What was recorded"));
    out.push_str(&bursts(derived));
    for note in &derived.notes {
        out.push_str(&wrapped(&format!("Note: {note}."), 120));
        out.push('\n');
    }
    out.push('\n');
    out.push_str(&derived.toml);
    out.push_str(&format!(
        "\nestimate · from {} · halfloom {}\n",
        derived.file,
        env!("CARGO_PKG_VERSION")
    ));
    out
}

fn bursts(derived: &Derived) -> String {
    let mut table = Aligned::new(&[
        "of the busiest stretch",
        ">recorded",
        ">in the workload",
        ">Poisson",
    ]);
    let shown = |figure: Option<f64>| figure.map_or_else(|| "unknown".to_owned(), three);
    let statistics = derived.kind == "statistics";
    let window = |s: f64| {
        if statistics {
            format!("{} s", three(s))
        } else {
            format!("{} ms", three(s * 1e3))
        }
    };
    for row in &derived.dispersion {
        table.row(vec![
            format!("variance ÷ mean of I/Os in {}", window(row.window_s)),
            shown(row.recorded),
            shown(row.modelled),
            "1".to_owned(),
        ]);
    }
    if statistics || derived.dispersion.is_empty() {
        let within = derived
            .sample_s
            .map_or_else(String::new, |s| format!(" within {} s", three(s)));
        table.row(vec![
            format!("variance ÷ mean of I/Os{within}"),
            "unknown".to_owned(),
            "1".to_owned(),
            "1".to_owned(),
        ]);
    }
    // A replay brings every I/O at its time; what is outstanding follows from the site.
    let replayed = matches!(derived.arrivals, DerivedArrivals::Replay);
    let mut extra = |name: &str, figure: Option<f64>, kept: bool| {
        table.row(vec![
            name.to_owned(),
            shown(figure),
            if kept { shown(figure) } else { NONE.to_owned() },
            NONE.to_owned(),
        ]);
    };
    if statistics {
        extra(
            "busiest sample ÷ mean of all",
            derived.peak_to_mean_sample,
            false,
        );
    } else {
        extra(
            "busiest 100 ms ÷ mean",
            derived.peak_to_mean_100ms,
            replayed,
        );
        extra(
            "deviation ÷ mean of the gaps",
            derived.gap_variation,
            replayed,
        );
    }
    extra(
        "outstanding, mean (Little's law, else the queue recorded)",
        derived.depth,
        false,
    );
    if !statistics {
        let most = derived
            .depth_most
            .map_or_else(|| "unknown".to_owned(), count);
        let cells = ["outstanding, most", &most, NONE, NONE];
        table.row(cells.map(str::to_owned).to_vec());
    }
    let how = match derived.arrivals {
        DerivedArrivals::Poisson => "Poisson",
        DerivedArrivals::Paced { .. } => "even gaps",
        DerivedArrivals::Bursty {
            law: DerivedLaw::Fixed,
            ..
        } => "two rates in turn, as of a clock",
        DerivedArrivals::Bursty { .. } => "two rates in turn",
        DerivedArrivals::Replay => "a replay",
    };
    table.text(&format!(
        "How bursty it is, and what the workload keeps of it ({how})"
    ))
}
