//! Measured port counters beside the simulated ones of the same links.
//!
//! Devices count the bytes of frames, not the preamble and the gaps between them, which the simulation counts because
//! a link is busy for them: these are taken off here, [`ETHERNET_PREAMBLE`] and [`ETHERNET_GAP`] or [`FC_GAP`] a frame.
//! (Ethernet: octets of frames with their check sequence, IETF RFC 3635, 3.2.1, from memory; Fibre Channel: common practice,
//! no source.) Counters run on: a rate is the sum of their steps over the time between readings; where one goes back it was
//! reset, and that stretch is left out.
//!
//! The interval of a ratio is that of the simulated rate over the replications, 95 %: measured counters are one reading of one
//! stretch, and of its own chance nothing is known. Left out: which of two differing figures is wrong.

use super::case::{self, CasePlan};
use super::cut::{self, measured_s};
use super::progress::Progress;
use super::steady;
use crate::measure::mean_interval;
use crate::model::Tally;
use crate::outcome::{Measured, MeasuredRow, Origin, Steady};
use crate::scenario::Reading;
use crate::site::Site;
use crate::topology::{DirectionId, Fabric, MemberId};
use crate::wire::Medium;
use crate::wire::framing::{ETHERNET_GAP, ETHERNET_PREAMBLE, FC_GAP};
use std::collections::{BTreeMap, BTreeSet};

/// The first reading of each part that the site does not have, with the names of all that it has.
#[must_use]
pub fn unknown<'r>(site: &Site, readings: &'r [Reading]) -> (Vec<&'r Reading>, Vec<String>) {
    let fabric = Fabric::new(site);
    let mut seen = BTreeSet::new();
    let strange = readings
        .iter()
        .filter(|reading| seen.insert(&reading.part) && members(&fabric, &reading.part).is_empty());
    (strange.collect(), fabric.part_names())
}

fn members(fabric: &Fabric, part: &str) -> Vec<MemberId> {
    fabric.members_of(&[part.to_owned()], None)
}

/// Simulates the site, healthy or in an outage, and sets its links beside the readings.
#[must_use]
pub fn measured(
    site: &Site,
    readings: &[Reading],
    file: &str,
    outage: Option<&str>,
    origin: Origin,
    progress: &dyn Progress,
) -> Measured {
    let fabric = Fabric::new(site);
    let plan = outage
        .and_then(|name| site.outages.iter().find(|outage| outage.name == name))
        .map_or_else(CasePlan::healthy, |outage| {
            CasePlan::outage(site, &fabric, outage)
        });
    let case = plan.case.clone();
    let runs = steady::run(site, std::slice::from_ref(&plan), progress);
    let figures = &runs[0].figures;
    let mut groups: Vec<((String, bool), Vec<&Reading>)> = Vec::new();
    for reading in readings {
        let key = (reading.part.clone(), reading.toward_array);
        match groups.iter_mut().find(|group| group.0 == key) {
            Some(group) => group.1.push(reading),
            None => groups.push((key, vec![reading])),
        }
    }
    let tallies = &runs[0].tallies;
    let simulated = Simulated::new(site, &fabric, figures, tallies);
    let each: Vec<Simulated> = (0..tallies.len())
        .map(|index| {
            let one = steady::figures_of(&runs[0], index..index + 1);
            Simulated::new(site, &fabric, &one, &tallies[index..=index])
        })
        .collect();
    let mut notes = Vec::from_iter(cut::figures_words(figures));
    notes.extend([
        "simulated bytes are those of frames, without preamble and gaps, as devices count them"
            .to_owned(),
        "the interval of a ratio is of 95 %, of the simulation alone: what was measured is one reading".to_owned(),
    ]);
    let mut rows = Vec::new();
    for ((part, toward_array), mut own) in groups {
        own.sort_by(|left, right| left.at_s.total_cmp(&right.at_s));
        match row((&simulated, &each), &fabric, &part, toward_array, &own) {
            Some(row) => {
                if row.resets > 0 {
                    let times = row.resets;
                    let times = if times == 1 {
                        "once; that stretch is".to_owned()
                    } else {
                        format!("{times} times; those stretches are")
                    };
                    notes.push(format!("{part}: a counter went back {times} left out"));
                }
                rows.push(row);
            }
            None => notes.push(format!(
                "{part}: no two readings with time and no reset between them, or none that count the same throughout; left out"
            )),
        }
    }
    let unkept = |wanted: fn(&MeasuredRow) -> bool| -> Vec<&str> {
        let mut names: Vec<&str> = Vec::new();
        for row in rows.iter().filter(|row| wanted(row)) {
            if !names.contains(&row.part.as_str()) {
                names.push(&row.part);
            }
        }
        names
    };
    let without = unkept(|row| row.measured_mb_s.is_none());
    if !without.is_empty() {
        notes.push(format!(
            "{}: no bytes were counted throughout, so that frames alone are compared, without an interval; how large they were is not known",
            without.join(", ")
        ));
    }
    if rows.iter().any(|row| row.links > 1) {
        notes.push(
            "a part of several links has the sum of them all: of a switch, `toward-array` is what comes in from hosts and \
             what goes out to arrays, each once"
                .to_owned(),
        );
    }
    if figures.saturated {
        notes.push(
            "the simulated work does not fit: its figures are of a backlog that grows".to_owned(),
        );
    }
    rows.sort_by(|left, right| right.apart().total_cmp(&left.apart()));
    Measured {
        origin,
        case,
        partial: figures.partial,
        file: file.to_owned(),
        rows,
        notes,
    }
}

/// Bytes and frames a second of each direction, by its name.
struct Simulated {
    rates: BTreeMap<String, (f64, f64)>,
    names: Vec<String>,
}

impl Simulated {
    fn new(site: &Site, fabric: &Fabric, figures: &Steady, tallies: &[Tally]) -> Self {
        let time = measured_s(tallies) * f64::from(figures.replications);
        let gap_of = |family: &str| {
            let link = site.links.iter().find(|link| link.name == family);
            match link.map(|link| link.medium) {
                Some(Some(Medium::FibreChannel)) => FC_GAP,
                Some(Some(Medium::Ethernet)) => ETHERNET_PREAMBLE + ETHERNET_GAP,
                // A bare rate: its frames have no gap.
                _ => 0,
            }
        };
        let rates = figures
            .directions
            .iter()
            .map(|direction| {
                let frames = direction.frames as f64 / time;
                let gaps = f64::from(gap_of(&direction.family)) * frames;
                let bytes =
                    (direction.payload_bytes + direction.overhead_bytes) as f64 / time - gaps;
                (direction.name.clone(), (bytes, frames))
            })
            .collect();
        let names = (0_u32..)
            .zip(&fabric.directions)
            .map(|(index, _)| fabric.direction_name(site, DirectionId(index)))
            .collect();
        Self { rates, names }
    }

    /// Bytes and frames a second of these links together, in one direction.
    fn over(&self, links: &[MemberId], toward_array: bool) -> (f64, f64) {
        let mut sum = (0.0, 0.0);
        for member in links {
            let direction = member.0 as usize * 2 + usize::from(!toward_array);
            let name = self.names.get(direction);
            if let Some((bytes, frames)) = name.and_then(|name| self.rates.get(name)) {
                sum.0 += bytes;
                sum.1 += frames;
            }
        }
        sum
    }
}

const CONFIDENCE: f64 = 0.95;

fn row(
    (simulated, each): (&Simulated, &[Simulated]),
    fabric: &Fabric,
    part: &str,
    toward_array: bool,
    own: &[&Reading],
) -> Option<MeasuredRow> {
    let (mut bytes, mut frames, mut span_s, mut resets) = (Some(0_u64), Some(0_u64), 0.0, 0);
    let add = |all: Option<u64>, more: Option<u64>| {
        let both = all.zip(more);
        both.map(|(all, more)| all.saturating_add(more))
    };
    for pair in own.windows(2) {
        // `None` where a counter went back; nothing to add where it is not kept.
        let step = |counts: (Option<u64>, Option<u64>)| match counts {
            (Some(from), Some(to)) => to.checked_sub(from).map(Some),
            _ => Some(None),
        };
        let steps = (
            step((pair[0].bytes, pair[1].bytes)),
            step((pair[0].frames, pair[1].frames)),
        );
        match steps {
            (Some(more), Some(more_frames)) => {
                (bytes, frames) = (add(bytes, more), add(frames, more_frames));
                span_s += pair[1].at_s - pair[0].at_s;
            }
            _ => resets += 1,
        }
    }
    // Where neither was kept throughout, nothing can be compared.
    if bytes.is_none() && frames.is_none() {
        return None;
    }
    if span_s <= 0.0 {
        return None;
    }
    let links = members(fabric, part);
    let (simulated_bytes, simulated_frames) = simulated.over(&links, toward_array);
    let rates: Vec<f64> = each
        .iter()
        .map(|one| one.over(&links, toward_array).0)
        .collect();
    let interval = steady::estimated(&mean_interval(&rates, CONFIDENCE));
    let ratio = |measured: f64, simulated: f64| (simulated > 0.0).then(|| measured / simulated);
    let measured_bytes = bytes.map(|bytes| bytes as f64 / span_s);
    let measured_frames = frames.map(|frames| frames as f64 / span_s);
    let against = |end: Option<f64>| ratio(measured_bytes?, end?);
    Some(MeasuredRow {
        part: part.to_owned(),
        toward_array,
        links: u32::try_from(links.len()).unwrap_or(u32::MAX),
        span_s,
        measured_mb_s: measured_bytes.map(|bytes| bytes / 1e6),
        simulated_mb_s: simulated_bytes / 1e6,
        simulated_low_mb_s: interval.low.map(|end| end / 1e6),
        simulated_high_mb_s: interval.high.map(|end| end / 1e6),
        ratio: measured_bytes.and_then(|bytes| ratio(bytes, simulated_bytes)),
        ratio_low: against(interval.high),
        ratio_high: against(interval.low),
        measured_frames_s: measured_frames,
        simulated_frames_s: simulated_frames,
        frames_ratio: measured_frames.and_then(|frames| ratio(frames, simulated_frames)),
        resets,
    })
}

/// The cases that counters can be set beside, by name.
#[must_use]
pub fn outages(site: &Site) -> Vec<String> {
    let plans = case::cases(site, &Fabric::new(site), None);
    plans
        .into_iter()
        .filter_map(|plan| plan.case.outage)
        .collect()
}
