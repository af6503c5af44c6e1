//! What can be said before any run: review, paths, inputs.

use super::align::{Aligned, wrapped};
use super::theory::theory_text;
use crate::outcome::{AssumptionRow, HostBusRow, PathRow, PathSheet, Review, Severity, TierRow};
use crate::render::number::{NONE, THIN, count, three};
use crate::render::words::{NOT_MODELLED, says_who, sentences};

/// The last line of texts that come from no run.
const FOOT: &str = "estimate · by arithmetic from the scenario, nothing was simulated\n";

/// The static review: findings, tiers, controllers.
#[must_use]
pub fn review_text(review: &Review) -> String {
    format!(
        "{}{}{}{}{FOOT}",
        findings(review),
        tiers(review),
        controllers(review),
        theory_text(&review.theory, false)
    )
}

fn findings(review: &Review) -> String {
    if review.findings.is_empty() {
        return "The review found nothing to warn of.\n\n".to_owned();
    }
    let mut out = String::new();
    for finding in &review.findings {
        let word = match finding.severity {
            Severity::Warning => "warning",
            Severity::Note => "note",
        };
        let line = format!(
            "{word}, {}: {}",
            finding.kind,
            sentences(&finding.what, &finding.advice)
        );
        // What goes on is set in, so that the eye finds the next finding.
        let text = wrapped(line.trim_end(), 96);
        out.push_str(&text.trim_end().replace('\n', "\n    "));
        out.push('\n');
    }
    out.push('\n');
    out
}

fn side_text(side: Option<char>) -> String {
    side.map_or_else(|| "neither".to_owned(), String::from)
}

fn tiers(review: &Review) -> String {
    let mut table = Aligned::new(&[
        "tier",
        "fabric",
        "links",
        ">line, Gb/s",
        ">usable, Gb/s",
        ">hosts ÷ uplinks",
    ]);
    for case in &review.cases {
        table = table.number(&format!("{case}: out, in, burst"));
    }
    for tier in &review.tiers {
        let mut cells = vec![
            tier.tier.clone(),
            side_text(tier.side),
            tier.links.clone(),
            three(tier.nominal_gb_s),
            three(tier.usable_gb_s),
            tier.oversubscription.map_or_else(|| NONE.to_owned(), three),
        ];
        cells.extend((0..review.cases.len()).map(|case| tier_use(tier, case)));
        table.row(cells);
    }
    table.text(
        "Tiers, one direction: bandwidth, and load in %: out is towards arrays, in towards hosts, burst the busier in a burst",
    )
}

fn tier_use(tier: &TierRow, case: usize) -> String {
    let at = |list: &[Option<f64>]| list.get(case).copied().flatten();
    let all = [
        at(&tier.toward_array_percent),
        at(&tier.toward_host_percent),
        at(&tier.burst_percent),
    ];
    if all.iter().all(Option::is_none) {
        return "lost".to_owned();
    }
    let words: Vec<String> = all
        .iter()
        .map(|value| value.map_or_else(|| NONE.to_owned(), three))
        .collect();
    let closed = tier.closed.get(case).copied().unwrap_or(false);
    with_closed(words.join("  "), all.iter().flatten().copied(), closed)
}

/// A closed loop takes what there is: its load is no figure, and none is made up for it.
fn with_closed(words: String, figures: impl Iterator<Item = f64>, closed: bool) -> String {
    let open = figures.fold(0.0, f64::max) > 0.0;
    match (closed, open) {
        (false, _) => words,
        (true, false) => "closed: as fast as it goes".to_owned(),
        (true, true) => format!("{words} + closed"),
    }
}

fn controllers(review: &Review) -> String {
    let mut table = Aligned::new(&["controller", ">in parallel"]);
    for case in &review.cases {
        table = table.number(&format!("{case}: mean, burst"));
    }
    for (index, (name, parallel, mean, burst)) in review.controllers.iter().enumerate() {
        let mut cells = vec![name.clone(), count(u64::from(*parallel))];
        for case in 0..review.cases.len() {
            let at = |list: &[Option<f64>]| {
                let value = list.get(case).copied().flatten();
                value.map_or_else(|| NONE.to_owned(), three)
            };
            let words = format!("{}  {}", at(mean), at(burst));
            let figures = [mean, burst].map(|list| list.get(case).copied().flatten());
            let closed = review.closed_controllers.get(index);
            let closed = closed.and_then(|row| row.get(case)).copied();
            let figures = figures.into_iter().flatten();
            cells.push(with_closed(words, figures, closed.unwrap_or(false)));
        }
        table.row(cells);
    }
    table.text("Controllers: load in %")
}

/// Every path, hop by hop: one of those that are alike stands for all, unless `all` are asked for.
#[must_use]
pub fn paths_text(sheets: &[PathSheet], all: bool) -> String {
    let mut out = String::new();
    let sheets = if all { sheets.to_vec() } else { joined(sheets) };
    for sheet in &sheets {
        let head = format!(
            "{} to {}, {}: {}",
            sheet.host,
            sheet.array,
            sheet.protocol,
            sheet.workloads.join(", ")
        );
        out.push_str(&format!("{}\n\n", wrapped(&head, 96).trim_end()));
        if all {
            for path in &sheet.paths {
                out.push_str(&one_path(path));
            }
        } else {
            for group in alike(&sheet.paths) {
                out.push_str(&one_path(group[0]));
                out.push_str(&more_like_it(&group));
            }
        }
        out.push_str(&compared(sheet));
    }
    if sheets.is_empty() {
        out.push_str("There is no path between the two.\n\n");
    }
    out.push_str(FOOT);
    out
}

/// Hosts whose I/Os go to the same array by the same protocol share a sheet.
fn joined(sheets: &[PathSheet]) -> Vec<PathSheet> {
    let mut out: Vec<PathSheet> = Vec::new();
    for sheet in sheets {
        let same = |other: &&mut PathSheet| {
            other.array == sheet.array
                && other.protocol == sheet.protocol
                && other.workloads == sheet.workloads
        };
        if let Some(first) = out.iter_mut().find(same) {
            first.host.push_str(&format!(", {}", sheet.host));
            first.paths.extend(sheet.paths.iter().cloned());
        } else {
            out.push(sheet.clone());
        }
    }
    out
}

/// Paths that differ in names alone, in groups; fabrics are never put together.
fn alike(paths: &[PathRow]) -> Vec<Vec<&PathRow>> {
    let mut groups: Vec<Vec<&PathRow>> = Vec::new();
    for path in paths {
        let nameless = |path: &PathRow| {
            let mut path = path.clone();
            path.host_port.clear();
            path.array_port.clear();
            for hop in &mut path.hops {
                hop.name.clear();
            }
            path
        };
        let own = nameless(path);
        match groups.iter_mut().find(|group| nameless(group[0]) == own) {
            Some(group) => group.push(path),
            None => groups.push(vec![path]),
        }
    }
    groups
}

/// "and 23 more like it", with their ends: lists of which each port of the one reaches each of the other.
fn more_like_it(group: &[&PathRow]) -> String {
    let more = group.len() - 1;
    if more == 0 {
        return String::new();
    }
    // Host ports by array port, then array ports that have the same ones.
    let mut by_array: Vec<(&str, Vec<&str>)> = Vec::new();
    for path in group {
        let own = path.array_port.as_str();
        match by_array.iter_mut().find(|(array, _)| *array == own) {
            Some((_, hosts)) => hosts.push(&path.host_port),
            None => by_array.push((own, vec![&path.host_port])),
        }
    }
    let mut lists: Vec<(Vec<&str>, Vec<&str>)> = Vec::new();
    for (array, hosts) in by_array {
        match lists.iter_mut().find(|(_, own)| *own == hosts) {
            Some((arrays, _)) => arrays.push(array),
            None => lists.push((vec![array], hosts)),
        }
    }
    let words: Vec<String> = lists
        .iter()
        .map(
            |(arrays, hosts)| match (hosts.as_slice(), arrays.as_slice()) {
                ([host], [array]) => format!("{host} to {array}"),
                _ => format!("{} to {}", each_of(hosts), each_of(arrays)),
            },
        )
        .collect();
    let line = format!("and {more} more like it: {}", words.join("; "));
    format!(
        "  {}\n\n",
        wrapped(&line, 92).trim_end().replace('\n', "\n  ")
    )
}

/// Ports named one by one at most; of more the first two and the last.
const PORTS_NAMED: usize = 4;

fn each_of(ports: &[&str]) -> String {
    match ports {
        [one] => (*one).to_owned(),
        [first, second, .., last] if ports.len() > PORTS_NAMED => format!(
            "each of {first}, {second}, … {last} ({})",
            count(ports.len() as u64)
        ),
        _ => format!("each of {}", ports.join(", ")),
    }
}

fn one_path(path: &PathRow) -> String {
    let mut table = Aligned::new(&[
        "hop",
        "speed",
        ">members",
        "as",
        ">line, Gb/s",
        ">usable, Gb/s",
        "onward",
        "",
    ]);
    for (index, hop) in path.hops.iter().enumerate() {
        table.row(vec![
            hop.name.clone(),
            hop.speed.clone(),
            count(u64::from(hop.members)),
            hop.encapsulation.clone(),
            three(hop.nominal_gb_s),
            three(hop.usable_gb_s),
            hop.onward.clone(),
            if path.is_narrowest(index) {
                "narrowest".to_owned()
            } else {
                String::new()
            },
        ]);
    }
    let bus = path.host_bus.as_ref().map_or_else(String::new, bus_line);
    let text = table.text(&format!(
        "{} to {}, fabric {}: idle {}{THIN}µs for a frame of {} bytes; one flow has {}{THIN}Gb/s",
        path.host_port,
        path.array_port,
        side_text(path.side),
        three(path.idle_us),
        count(path.idle_frame_bytes),
        three(path.one_flow_gb_s)
    ));
    format!("{text}{bus}")
}

/// The bus behind a host's port; no run simulates it, so every mention says so.
fn bus_line(row: &HostBusRow) -> String {
    let verdict = if row.narrower {
        "less than the narrowest hop"
    } else {
        "no less than the narrowest hop"
    };
    let shared = if row.shared {
        ", shared with other ports of the host"
    } else {
        ""
    };
    let line = format!(
        "host bus {}{shared}: {}{THIN}Gb/s of data in, {} out; {verdict}, which carries {} in full frames. The bus is \
         not simulated.",
        row.bus,
        three(row.into_host_gb_s),
        three(row.out_of_host_gb_s),
        three(row.hop_payload_gb_s)
    );
    format!("{}\n\n", wrapped(&line, 96).trim_end())
}

/// Whether the usable rate of the first hop is there all the way, by fabric.
fn compared(sheet: &PathSheet) -> String {
    let mut out = String::new();
    let mut sides: Vec<Option<char>> = Vec::new();
    for path in &sheet.paths {
        if !sides.contains(&path.side) {
            sides.push(path.side);
        }
    }
    for side in sides {
        let paths = || sheet.paths.iter().filter(|path| path.side == side);
        let Some(first) = paths().next().and_then(|path| path.hops.first()) else {
            continue;
        };
        let label = first.usable_gb_s;
        let narrow = paths()
            .filter_map(|path| path.hops.get(path.narrowest))
            .min_by(|a, b| a.usable_gb_s.total_cmp(&b.usable_gb_s));
        let Some(hop) = narrow else {
            continue;
        };
        let verdict = if hop.usable_gb_s >= label {
            format!(
                "the {}{THIN}Gb/s of the first hop are there all the way",
                three(label)
            )
        } else {
            format!(
                "the {}{THIN}Gb/s of the first hop are not there all the way: {} has {}{THIN}Gb/s",
                three(label),
                hop.name,
                three(hop.usable_gb_s)
            )
        };
        let bus = paths()
            .filter_map(|path| path.host_bus.as_ref())
            .find(|row| row.narrower)
            .map_or_else(String::new, |row| {
                format!("; but the host bus, {}, carries less", row.bus)
            });
        out.push_str(&format!("fabric {}: {verdict}{bus}\n", side_text(side)));
    }
    out.push('\n');
    out
}

/// Every input with its mark.
#[must_use]
pub fn assumptions_text(rows: &[AssumptionRow]) -> String {
    let mut table = Aligned::new(&["mark", "input", "value", "key", "says who"]);
    for row in rows {
        table.row(vec![
            row.mark.clone(),
            row.what.clone(),
            row.value.clone(),
            row.key.clone(),
            says_who(row),
        ]);
    }
    let mut text = table.text("Inputs with their marks, guesses first");
    text.push_str("Not modelled, whatever the inputs\n");
    for item in NOT_MODELLED {
        let line = wrapped(item, 96);
        text.push_str("  ");
        text.push_str(&line.trim_end().replace('\n', "\n    "));
        text.push('\n');
    }
    format!("{text}\nestimate · inputs only, nothing was simulated\n")
}
