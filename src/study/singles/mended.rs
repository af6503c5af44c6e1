//! Changes proposed for the single parts whose loss misses a promise.
//!
//! Each such part (the first of those in the same place) becomes an outage of its own, and the search of
//! [`remedy`](crate::study::remedy) goes on as for any outage: in the state before, and in these cases. Cases that keep their
//! promises are not looked at again, nor those in which hosts go with the part.

use super::{AskSingles, Progress};
use crate::outcome::{EachPart, PartCase, Report, Verdict};
use crate::site::{Fault, LossMode, Outage, Site};
use crate::study::remedy::{Apply, Search, search};
use crate::study::{Ask, study};

/// Cases that are looked at, at most: every change is simulated in all of them.
const CASES: usize = 6;

/// A report of single parts with changes for what is missed; its matrix and steady figures are then of the state before and of the
/// cases looked at.
#[must_use]
pub fn mended(
    site: &Site,
    report: Report,
    ask: &AskSingles,
    wanted: &Search,
    apply: Apply<'_>,
    progress: &dyn Progress,
) -> Report {
    let Some(each) = report.each_part else {
        return report;
    };
    let outages = outages(site, ask, &each);
    let with = |own: &Site| Site {
        run: site.run.clone(),
        outages: outages.clone(),
        ..own.clone()
    };
    let mut lost = with(site);
    for variant in &mut lost.variants {
        *variant.site = with(&variant.site);
    }
    let apply = |set: &[(String, String)]| apply(set).map(|own| with(&own));
    let ask = Ask {
        outages: None,
        switch: ask.switch,
        mends: true,
        planned: false,
    };
    let found = study(&lost, report.origin, &ask, progress);
    let mut found = search(&lost, found, &ask, wanted, &apply, progress);
    found.each_part = Some(each);
    found
}

/// The parts whose loss misses a promise, as outages: together with the outage that is in force.
fn outages(site: &Site, ask: &AskSingles, each: &EachPart) -> Vec<Outage> {
    let during = ask.during.as_ref();
    let during = during.and_then(|name| site.outages.iter().find(|outage| outage.name == *name));
    let takes = |part: &str| {
        let group = site.groups.iter().find(|group| group.name == part);
        group.map_or_else(|| vec![part.to_owned()], |group| group.parts.clone())
    };
    let missed = |column: usize, case: &PartCase| {
        let mut cells = each
            .matrix
            .rows
            .iter()
            .filter_map(|row| row.cells[column].as_ref());
        case.gone_hosts.is_empty() && cells.any(|cell| cell.verdict == Verdict::Missed)
    };
    each.losses()
        .filter(|(column, case)| missed(*column, case))
        .take(CASES)
        .map(|(_, case)| match during {
            None => Outage {
                name: case.part.clone(),
                takes: takes(&case.part),
                side: None,
                mode: LossMode::Loud,
                fault: Fault::Lost,
            },
            Some(out) => Outage {
                name: format!("{} and {}", case.part, out.name),
                takes: takes(&case.part)
                    .into_iter()
                    .chain(out.takes.clone())
                    .collect(),
                ..out.clone()
            },
        })
        .collect()
}
