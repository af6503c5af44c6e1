//! The workload as a table to append to a scenario.

use super::Names;
use crate::outcome::{Derived, DerivedArrivals, DerivedLaw, Work};
use crate::wire::SIZE_MAX;

/// The protocol that is printed where none is stated.
pub(super) const PROTOCOL: &str = "fc-scsi";

/// Sizes listed one by one in the workload; the rest goes by its mean.
pub(super) const SIZES_MAX: usize = 24;

/// A decimal without needless digits.
fn decimal(value: f64, places: usize) -> String {
    let text = format!("{value:.places$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// Two significant digits, and whole numbers whole.
pub(super) fn rounded(value: f64) -> String {
    let places = match value {
        ten if ten >= 10.0 => 0,
        one if one >= 1.0 => 1,
        tenth if tenth >= 0.1 => 2,
        _ => 4,
    };
    decimal(value, places)
}

/// That some sizes are beyond what a scenario takes, and are printed at its limit.
pub(super) fn notes_of_sizes(work: &Work) -> Option<String> {
    let all = work.read_sizes.iter().chain(&work.write_sizes);
    let largest = all.map(|row| row.0).max().filter(|most| *most > SIZE_MAX)?;
    Some(format!(
        "I/Os of {:.0} MiB are larger than a scenario takes: they are printed as {} MiB each, so that their bytes are fewer; check \
         the units of the columns",
        largest as f64 / f64::from(1 << 20),
        SIZE_MAX >> 20
    ))
}

/// Sizes and shares in whole billionths that add up to one; beyond the most frequent, one size that keeps the mean.
pub(super) fn mix(sizes: &[(u64, f64)]) -> String {
    let mut within: Vec<(u64, f64)> = Vec::new();
    for (size, share) in sizes {
        let size = (*size).min(SIZE_MAX);
        match within.iter_mut().find(|row| row.0 == size) {
            Some(row) if size == SIZE_MAX => row.1 += share,
            _ => within.push((size, *share)),
        }
    }
    let sizes = &within[..];
    let few = sizes.len() <= SIZES_MAX;
    let listed = if few { sizes.len() } else { SIZES_MAX - 1 };
    let mut list: Vec<(u64, f64)> = sizes[..listed].to_vec();
    if !few {
        let rest = &sizes[listed..];
        let share: f64 = rest.iter().map(|row| row.1).sum();
        let mean = rest.iter().map(|row| row.0 as f64 * row.1).sum::<f64>() / share;
        let mean = mean.round().max(1.0) as u64;
        match list.iter_mut().find(|row| row.0 == mean) {
            Some(row) => row.1 += share,
            None => list.push((mean, share)),
        }
    }
    if let [(size, _)] = list.as_slice() {
        return format!("\"{size}B\"");
    }
    let mut billionths: Vec<(u64, u64)> = list
        .iter()
        .map(|(size, share)| (*size, ((share * 1e9).round() as u64).max(1)))
        .collect();
    // The roundings go to the most frequent one.
    let others: u64 = billionths[1..].iter().map(|row| row.1).sum();
    billionths[0].1 = 1_000_000_000 - others;
    let parts: Vec<String> = billionths
        .iter()
        .map(|(size, share)| format!("\"{size}B\" = {}", decimal(*share as f64 / 1e9, 9)))
        .collect();
    format!("{{ {} }}", parts.join(", "))
}

/// Each figure that was counted has its mark, and nothing else has: names, the protocol, a law that was fitted, and what is
/// written into the table later were not measured.
pub(super) fn toml(derived: &Derived, names: &Names) -> String {
    let work = &derived.busiest;
    let from = decimal(derived.busiest_from_s, 3);
    let stretch = work.span_s.map_or_else(
        || "one sample of unknown length".to_owned(),
        |span| format!("{} s from {from} s on", decimal(span, 3)),
    );
    let source = format!("{}, {stretch}", names.file.replace(['"', '\\'], "'"));
    let mark = |of: &str| format!("basis = \"measured\", source = \"{source}{of}\"");
    let counted = |value: &str, of: &str| format!("{{ value = {value}, {} }}", mark(of));
    let mut out = format!(
        "# from {source}\n[[workload]]\nname = \"{}\"\nhosts = \"{}\"\narray = \"{}\"\n",
        names.workload, names.hosts, names.array
    );
    match &names.protocol {
        Some(protocol) => out.push_str(&format!("protocol = \"{protocol}\"\n")),
        None => out.push_str(&format!(
            "# a placeholder: no recording says the protocol; state it here, or with --protocol\nprotocol = \"{PROTOCOL}\"\n"
        )),
    }
    let rate = |value: f64| format!("\"{}/s\"", decimal(value, 6));
    let of_law = "; the mean rate, not the law";
    match derived.arrivals {
        DerivedArrivals::Replay => {
            let file = &names.file;
            out.push_str(&format!(
                "arrivals = {{ replay = \"{file}\", {} }}\n",
                mark("")
            ));
        }
        DerivedArrivals::Poisson => {
            let rate = counted(&rate(work.iops), of_law);
            out.push_str(&format!("arrivals = {{ poisson = {rate} }}\n"));
        }
        DerivedArrivals::Paced { iops } => {
            let rate = counted(&rate(iops), of_law);
            out.push_str(&format!("arrivals = {{ paced = {rate} }}\n"));
        }
        DerivedArrivals::Bursty {
            base,
            burst_s,
            every_s,
            law,
            ..
        } => {
            let law = match law {
                DerivedLaw::Exponential => "exponential",
                DerivedLaw::Fixed => "fixed",
            };
            // Times are whole microseconds, and the rate in a burst is what then keeps the mean.
            let [burst, every] = [burst_s, every_s].map(|time| (time * 1e6).round().max(1.0));
            let base = (base * 1e6).round() / 1e6;
            let peak = (work.iops * every - base * (every - burst)) / burst;
            out.push_str(&format!(
                "# fitted to the recording, with its mean of {}\narrivals = {{ bursty = {{ peak = {}, base = {}, burst = \"{burst}us\", \
                 every = \"{every}us\", together = true, law = \"{law}\" }} }}\n",
                rate(work.iops).replace('"', ""),
                rate(peak),
                rate(base)
            ));
        }
    }
    if derived.arrivals != DerivedArrivals::Replay {
        let read = counted(&decimal(work.read_share, 9), "");
        out.push_str(&format!("read = {read}\n"));
        let (read, write) = (&work.read_sizes, &work.write_sizes);
        let sizes = match (read.is_empty(), write.is_empty()) {
            (true, _) => mix(write),
            (_, true) => mix(read),
            _ => format!("{{ read = {}, write = {} }}", mix(read), mix(write)),
        };
        let means = if derived.kind == "statistics" {
            "; mean sizes"
        } else {
            ""
        };
        out.push_str(&format!("sizes = {}\n", counted(&sizes, means)));
    }
    match derived.depth {
        Some(depth) => out.push_str(&outstanding(depth)),
        None => out.push_str(&format!(
            "# outstanding I/Os: unknown, {}\n",
            no_depth(derived)
        )),
    }
    out
}

/// What is outstanding, and the closed loop that it would be.
fn outstanding(depth: f64) -> String {
    let whole = depth.round();
    let closed = if whole >= 1.0 {
        format!(
            "; a closed loop on one host would be arrivals = {{ closed = {{ depth = {whole} }} }}, on more hosts so many over all"
        )
    } else {
        String::new()
    };
    format!("# outstanding on the mean: {}{closed}\n", decimal(depth, 1))
}

/// Why it is not known how many I/Os are outstanding.
fn no_depth(derived: &Derived) -> String {
    let what = if derived.kind == "statistics" {
        "latency nor a queue"
    } else {
        "latency"
    };
    match derived.rows_without_depth {
        (without, all) if without < all => {
            let neither = if derived.kind == "statistics" {
                "neither a "
            } else {
                "no "
            };
            format!("{without} of the {all} rows of the stretch have {neither}{what}")
        }
        _ if derived.kind == "statistics" => "the recording has no latency and no queue".to_owned(),
        _ => "the recording has no latency".to_owned(),
    }
}
