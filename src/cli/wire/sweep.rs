//! Every size over several pairs of a protocol and a link: which pairs, and the figures as text and files.

use super::Arguments;
use super::files;
use super::protocol::{self, KEYS};
use crate::cli::columns::{Align, columns};
use crate::cli::exit::Failure;
use crate::outcome::Sizes;
use crate::study::exchange::Link;
use crate::wire::{Family, Protocol, technology};

/// Most curves in one picture: more cannot be told apart.
const CURVES_MAX: usize = 8;
/// Pairs where none are asked for: the two that carry almost the same.
const USUAL: [&str; 2] = ["fc-scsi@32GFC", "nvme-tcp@25GbE"];

/// The pairs asked for, those of IP protocols once an MTU.
pub(super) fn pairs(arguments: &Arguments) -> Result<Vec<(Protocol, Link)>, Failure> {
    let words: Vec<&str> = if arguments.pair.is_empty() {
        USUAL.to_vec()
    } else {
        arguments.pair.iter().map(String::as_str).collect()
    };
    let mut pairs = Vec::new();
    let mut protocols = Vec::new();
    for word in words {
        let (key, label) = word.split_once('@').ok_or_else(|| {
            Failure::arguments(
                format!("--pair {word} is no pair"),
                "write PROTOCOL@LINK, for example nvme-tcp@25GbE",
            )
        })?;
        let known = technology(label).ok_or_else(|| {
            Failure::arguments(
                format!("there is no link technology `{label}`"),
                "`halfloom rates` lists them",
            )
        })?;
        if !KEYS.contains(&key) {
            return Err(Failure::arguments(
                format!("there is no protocol `{key}`"),
                format!("one of: {}", KEYS.join(", ")),
            ));
        }
        let mtus: Vec<Option<u32>> = match protocol::by_key(key, &[])?.family() {
            Family::Fc => vec![None],
            _ if arguments.mtu.is_empty() => vec![None],
            _ => arguments.mtu.iter().copied().map(Some).collect(),
        };
        for mtu in mtus {
            let protocol = protocol::with_options(arguments, key, mtu)?;
            let wrapped = protocol.encapsulation(known.medium).ok_or_else(|| {
                Failure::arguments(
                    format!("{key} cannot cross {label}"),
                    "IP protocols need an Ethernet link",
                )
            })?;
            pairs.push((protocol, (known, wrapped)));
        }
        protocols.push(protocol::by_key(key, &[])?);
    }
    protocol::refuse_strangers(arguments, &protocols)?;
    if pairs.len() > CURVES_MAX {
        return Err(Failure::arguments(
            format!("{} curves are more than a picture can hold", pairs.len()),
            format!("at most {CURVES_MAX}: name fewer pairs or MTUs"),
        ));
    }
    Ok(pairs)
}

/// One row a pair and size.
pub(super) fn csv(sizes: &Sizes) -> String {
    let head = [
        "protocol",
        "op",
        "link",
        "encapsulation",
        "mtu_bytes",
        "size_bytes",
        "host_to_array_frames",
        "host_to_array_wire_bytes",
        "array_to_host_frames",
        "array_to_host_wire_bytes",
        "payload_share",
        "goodput_mb_s",
        "saturated_iops",
    ];
    let mut rows = Vec::new();
    for series in &sizes.series {
        for point in &series.points {
            rows.push(vec![
                series.protocol.to_owned(),
                sizes.op.to_owned(),
                series.link.to_owned(),
                series.encapsulation.to_owned(),
                series
                    .mtu_bytes
                    .map_or_else(String::new, |mtu| mtu.to_string()),
                point.size_bytes.to_string(),
                point.host_to_array.frames.to_string(),
                point.host_to_array.wire_bytes.to_string(),
                point.array_to_host.frames.to_string(),
                point.array_to_host.wire_bytes.to_string(),
                point.payload_share.to_string(),
                point.goodput_mb_s.to_string(),
                point.saturated_iops.to_string(),
            ]);
        }
    }
    files::csv(&head, &rows)
}

/// `512B`, `64KiB`, `4MiB`.
pub(super) fn size_word(bytes: u64) -> String {
    match bytes {
        _ if bytes >= 1 << 20 && bytes.is_multiple_of(1 << 20) => format!("{}MiB", bytes >> 20),
        _ if bytes >= 1 << 10 && bytes.is_multiple_of(1 << 10) => format!("{}KiB", bytes >> 10),
        _ => format!("{bytes}B"),
    }
}

/// Payload rates, one row a size, one column a pair.
pub(super) fn text(sizes: &Sizes) -> String {
    let letters: Vec<String> = ('a'..='z')
        .take(sizes.series.len())
        .map(String::from)
        .collect();
    let mut text = format!(
        "payload MB/s (10^6) when {}s of one size fill the link\n\n",
        sizes.op
    );
    for (letter, series) in letters.iter().zip(&sizes.series) {
        text.push_str(&format!(
            "{letter}: {}, usable {:.1} MB/s\n",
            series.name, series.usable_mb_s
        ));
    }
    text.push('\n');
    let mut head = vec![("size", Align::Right)];
    head.extend(letters.iter().map(|letter| (letter.as_str(), Align::Right)));
    let points = sizes.series.first().map_or(0, |series| series.points.len());
    let rows: Vec<Vec<String>> = (0..points)
        .map(|index| {
            let size = size_word(sizes.series[0].points[index].size_bytes);
            let rates = sizes.series.iter().map(|series| {
                let rate = series.points[index].goodput_mb_s;
                format!("{rate:.1}")
            });
            std::iter::once(size).chain(rates).collect()
        })
        .collect();
    text.push_str(&columns(&head, &rows));
    text.push_str(FOOT);
    text
}

const FOOT: &str = "
The fuller direction of the link counts, pure ACKs included. Estimates: sizes follow from the standards,
without loss and retransmission; nothing was measured. Adapters, switches and arrays are left out.
";

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_named_in_the_unit_that_fits() {
        let words = [512, 1024, 65_536, 4 << 20, 1500].map(size_word);
        assert_eq!(words, ["512B", "1KiB", "64KiB", "4MiB", "1500B"]);
    }
}
