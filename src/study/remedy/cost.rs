//! What a change takes: cables, ports, devices, settings, and a price. Of optics, one for each port, a comparison counts all;
//! a remedy counts them where the price list has some. Where it has none they cost nothing.

use super::PriceList;
use crate::outcome::{ChangedPart, Changes, Device};
use crate::scenario::without_effect;
use crate::site::Site;
use crate::study::inventory::inventory;

/// Whether optics count.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::study) enum Optics {
    /// Always.
    Counted,
    /// Where they have a price.
    IfPriced,
}

/// What has to be there for `new` and is not in `old`. What becomes free is not set off against it: with the two in the
/// other order this tells it.
pub(in crate::study) fn changes(
    old: &Site,
    new: &Site,
    set: &[(String, String)],
    prices: Option<&PriceList>,
    optics: Optics,
) -> Changes {
    let (before, after) = (inventory(old), inventory(new));
    let mut parts: Vec<ChangedPart> = Vec::new();
    let mut more = |kind: &str, before: &[(String, u32)], after: &[(String, u32)]| -> u32 {
        let mut sum = 0;
        for (label, count) in after {
            let had = before.iter().find(|(known, _)| known == label);
            let added = count.saturating_sub(had.map_or(0, |(_, count)| *count));
            if added > 0 {
                parts.push(ChangedPart {
                    kind: kind.to_owned(),
                    of: label.clone(),
                    count: added,
                });
                sum += added;
            }
        }
        sum
    };
    let cables = more("cable", &before.cables, &after.cables);
    let ports = more("port", &before.ports, &after.ports);
    let optics_priced = prices.is_some_and(|prices| prices.has("optic"));
    if optics_priced || optics == Optics::Counted {
        more("optic", &before.optics, &after.optics);
    }
    for device in &after.devices {
        let same = |known: &&Device| known.kind == device.kind && known.of == device.of;
        let had = before.devices.iter().find(same);
        let added = device.count.saturating_sub(had.map_or(0, |had| had.count));
        if added > 0 {
            parts.push(ChangedPart {
                kind: device.kind.clone(),
                of: device.of.clone(),
                count: added,
            });
        }
    }
    let mut settings = 0;
    let physical = [
        "count",
        "controllers",
        "members",
        "ports",
        "speed",
        "lit",
        "legs",
        "parallel",
    ];
    // How it is run, what happens to it and how it grows is nothing that is set on a site.
    let other = ["run", "title", "event", "outage", "growth", "step"];
    for (key, _) in set {
        let field = key.rsplit('.').next().unwrap_or(key);
        let table = key.split('.').next().unwrap_or(key);
        if !physical.contains(&field) && !other.contains(&table) && !without_effect(key) {
            settings += 1;
        }
    }
    if settings > 0 {
        parts.push(ChangedPart {
            kind: "setting".to_owned(),
            of: String::new(),
            count: settings,
        });
    }
    for array in &new.arrays {
        let Some(was) = old.arrays.iter().find(|was| was.name == array.name) else {
            continue;
        };
        let more = array.parallel.saturating_sub(was.parallel) * array.controllers;
        if more > 0 {
            parts.push(ChangedPart {
                kind: "parallel".to_owned(),
                of: array.name.clone(),
                count: more,
            });
        }
    }
    let mut unpriced = Vec::new();
    let price = prices.and_then(|prices| {
        let mut sum = 0.0;
        for part in &parts {
            match prices.of(&part.kind, &part.of) {
                Some(price) => sum += price * f64::from(part.count),
                // A setting that has no price costs nothing.
                None if part.kind == "setting" => {}
                None if part.kind == "optic" && !optics_priced => {}
                None => unpriced.push(format!("{} {}", part.kind, part.of)),
            }
        }
        unpriced.is_empty().then_some(sum)
    });
    Changes {
        cables,
        ports,
        settings,
        parts,
        price,
        unpriced,
    }
}
