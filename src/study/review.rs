//! The static review: what can be said of a site before any run.
//!
//! Tiers of links with their capacity, oversubscription and a-priori load; controllers; and findings: who
//! hangs on one path or one part, what differs between the fabrics, where packets do not fit, and which
//! budgets are used up. Loads are those of [`super::estimate`]; parts are tried by finding routes without
//! them. Thresholds are marked as common practice where no source states them.
//!
//! Left out: anything that needs a queue (latency, percentiles, spread over the members of a link group),
//! losses of two parts at once unless an outage states them, and zoning.

mod budget;
mod bus;
mod fullness;
mod mtu;
mod promises;
mod reach;
mod tiers;
mod unequal;
#[cfg(test)]
mod work;

use super::closed_forms;
use super::estimate::{Estimate, damage_note, estimate, estimate_by_member_of};
use crate::outcome::{Review, ReviewFinding, Severity};
use crate::site::Site;
use crate::topology::Fabric;
use crate::unit::Side;
use tiers::Tier;

/// What every check looks at.
struct Facts<'a> {
    site: &'a Site,
    fabric: &'a Fabric,
    estimate: &'a Estimate,
    /// The same with each flow on the member that its addresses give it.
    members: &'a Estimate,
    tiers: Vec<Tier>,
}

impl Facts<'_> {
    /// Whether there are two fabrics at all.
    fn dual(&self) -> bool {
        let on = |side| {
            self.fabric
                .members
                .iter()
                .any(|member| member.side == Some(side))
        };
        on(Side::A) && on(Side::B)
    }
}

pub(super) use budget::OverBudget;

/// What a site takes of switches beyond their port budgets; nothing where it has the ports.
#[must_use]
pub(super) fn over_port_budgets(site: &Site) -> Vec<OverBudget> {
    budget::over(site)
}

/// The same in sentences, each once: a design that cannot be built with the switches that it states is run all the same.
#[must_use]
pub fn port_budget_notes(site: &Site) -> Vec<String> {
    let mut said: Vec<String> = Vec::new();
    for over in over_port_budgets(site) {
        let words = format!(
            "port budget, {}: it cannot be built with these switches",
            over.what
        );
        if !said.contains(&words) {
            said.push(words);
        }
    }
    said
}

/// Reviews a site.
#[must_use]
pub fn review(site: &Site) -> Review {
    let fabric = Fabric::new(site);
    let estimate = estimate(site, &fabric);
    let facts = Facts {
        site,
        fabric: &fabric,
        estimate: &estimate,
        members: &estimate_by_member_of(site, &fabric, &estimate),
        tiers: tiers::tiers(site, &fabric, &estimate),
    };
    let (theory, findings) = rayon::join(
        || closed_forms::rows(site, &fabric, &estimate),
        || findings(&facts),
    );
    Review {
        cases: estimate
            .cases
            .iter()
            .map(|case| case.name.clone())
            .collect(),
        controllers: controllers(site, &fabric, &estimate),
        closed_controllers: (0..fabric.controllers.len())
            .map(|index| {
                let cases = estimate.cases.iter();
                cases.map(|case| case.closed_controllers[index]).collect()
            })
            .collect(),
        tiers: facts.tiers.into_iter().map(|tier| tier.row).collect(),
        findings,
        theory,
    }
}

/// What is found, the gravest first.
fn findings(facts: &Facts<'_>) -> Vec<ReviewFinding> {
    let mut findings = reach::findings(facts);
    findings.extend(fullness::findings(facts));
    findings.extend(unequal::findings(facts));
    findings.extend(mtu::findings(facts));
    findings.extend(promises::findings(facts));
    findings.extend(bus::findings(facts));
    findings.extend(budget::findings(facts));
    findings.extend(without_closed_forms(facts.site));
    findings.extend(damage_note(facts.site).map(|what| {
        let advice = "`failover` simulates what is sent again.";
        finding(Severity::Note, "damaged frames", what, advice)
    }));
    // A stable sort: within a severity the order above stays.
    findings.sort_by_key(|finding| std::cmp::Reverse(finding.severity));
    findings
}

/// Outages of which no closed form says anything.
fn without_closed_forms(site: &Site) -> Option<ReviewFinding> {
    let outages = site.outages.iter();
    let names: Vec<String> = outages
        .filter(|outage| outage.gone().is_none())
        .map(|outage| format!("`{}`", outage.name))
        .collect();
    (!names.is_empty()).then(|| {
        finding(
            Severity::Note,
            "no closed form",
            format!(
                "closed forms say nothing of parts that are slow or flap: {}",
                some(&names)
            ),
            "The load of the state after it is above; `failover` simulates it.",
        )
    })
}

type ControllerRow = (String, u32, Vec<Option<f64>>, Vec<Option<f64>>);

fn controllers(site: &Site, fabric: &Fabric, estimate: &Estimate) -> Vec<ControllerRow> {
    let row = |(index, controller): (usize, &crate::topology::Controller)| {
        let load = |of: fn(super::estimate::Load) -> f64| -> Vec<Option<f64>> {
            let cases = estimate.cases.iter();
            cases
                .map(|case| case.controllers[index].map(|load| 100.0 * of(load)))
                .collect()
        };
        (
            controller.name.clone(),
            site.arrays[controller.array].parallel,
            load(|load| load.mean),
            load(|load| load.burst),
        )
    };
    fabric.controllers.iter().enumerate().map(row).collect()
}

fn finding(severity: Severity, kind: &str, what: String, advice: &str) -> ReviewFinding {
    ReviewFinding {
        severity,
        kind: kind.to_owned(),
        what,
        advice: advice.to_owned(),
    }
}

/// `all 6 db hosts`, `db-1, db-2 and 2 more`: hosts by index, grouped by family where a family is whole.
fn who(facts: &Facts<'_>, hosts: &[usize]) -> String {
    let mut words: Vec<String> = Vec::new();
    let mut single: Vec<String> = Vec::new();
    for (index, family) in facts.site.hosts.iter().enumerate() {
        let of_family: Vec<usize> = hosts
            .iter()
            .copied()
            .filter(|host| facts.fabric.hosts[*host].family == index)
            .collect();
        if of_family.len() > 1 && of_family.len() == family.count as usize {
            words.push(format!("all {} {} hosts", family.count, family.name));
        } else {
            single.extend(
                of_family
                    .iter()
                    .map(|h| facts.fabric.hosts[*h].name.clone()),
            );
        }
    }
    if !single.is_empty() {
        words.push(some(&single));
    }
    words.join(" and ")
}

/// The first three names, and how many more.
fn some(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [first, rest @ ..] if names.len() <= 3 => {
            let (last, middle) = rest.split_last().unwrap_or((first, &[]));
            let mut words = vec![first.clone()];
            words.extend(middle.iter().cloned());
            format!("{} and {last}", words.join(", "))
        }
        _ => format!("{} and {} more", names[..3].join(", "), names.len() - 3),
    }
}

#[cfg(test)]
mod tests;
