//! The static review and the paths, as rows.

use super::{maybe, names, number, to_text};
use crate::outcome::{PathSheet, Review};

/// One row for each tier (or controller) and case. `closed` says that a closed loop comes on top of the figures; a part that
/// is lost in a case has none.
#[must_use]
pub fn review_csv(review: &Review) -> String {
    let header = names(&[
        "kind",
        "name",
        "fabric",
        "links",
        "nominal_gb_s",
        "usable_gb_s",
        "oversubscription",
        "parallel",
        "case",
        "toward_array_percent",
        "toward_host_percent",
        "mean_percent",
        "burst_percent",
        "closed",
    ]);
    let at = |list: &[Option<f64>], case: usize| maybe(list.get(case).copied().flatten());
    let mut rows = Vec::new();
    for tier in &review.tiers {
        for (index, case) in review.cases.iter().enumerate() {
            rows.push(vec![
                "tier".to_owned(),
                tier.tier.clone(),
                tier.side.map_or_else(String::new, String::from),
                tier.links.clone(),
                number(tier.nominal_gb_s),
                number(tier.usable_gb_s),
                maybe(tier.oversubscription),
                String::new(),
                case.clone(),
                at(&tier.toward_array_percent, index),
                at(&tier.toward_host_percent, index),
                String::new(),
                at(&tier.burst_percent, index),
                tier.closed.get(index).copied().unwrap_or(false).to_string(),
            ]);
        }
    }
    for (controller, (name, parallel, mean, burst)) in review.controllers.iter().enumerate() {
        for (index, case) in review.cases.iter().enumerate() {
            let closed = review.closed_controllers.get(controller);
            let closed = closed.and_then(|row| row.get(index)).copied();
            rows.push(vec![
                "controller".to_owned(),
                name.clone(),
                String::new(),
                String::new(),
                String::new(),
                String::new(),
                String::new(),
                parallel.to_string(),
                case.clone(),
                String::new(),
                String::new(),
                at(mean, index),
                at(burst, index),
                closed.unwrap_or(false).to_string(),
            ]);
        }
    }
    to_text(&header, rows)
}

/// One row for each hop of each path.
#[must_use]
pub fn paths_csv(sheets: &[PathSheet]) -> String {
    let header = names(&[
        "host",
        "array",
        "protocol",
        "workloads",
        "fabric",
        "host_port",
        "array_port",
        "hop",
        "name",
        "speed",
        "members",
        "encapsulation",
        "nominal_gb_s",
        "usable_gb_s",
        "onward",
        "narrowest",
        "path_idle_us",
        "path_one_flow_gb_s",
    ]);
    let mut rows = Vec::new();
    for sheet in sheets {
        for path in &sheet.paths {
            for (index, hop) in path.hops.iter().enumerate() {
                rows.push(vec![
                    sheet.host.clone(),
                    sheet.array.clone(),
                    sheet.protocol.clone(),
                    sheet.workloads.join(" "),
                    path.side.map_or_else(String::new, String::from),
                    path.host_port.clone(),
                    path.array_port.clone(),
                    (index + 1).to_string(),
                    hop.name.clone(),
                    hop.speed.clone(),
                    hop.members.to_string(),
                    hop.encapsulation.clone(),
                    number(hop.nominal_gb_s),
                    number(hop.usable_gb_s),
                    hop.onward.clone(),
                    path.is_narrowest(index).to_string(),
                    number(path.idle_us),
                    number(path.one_flow_gb_s),
                ]);
            }
        }
    }
    to_text(&header, rows)
}
