//! Buses behind host ports, where stated: what they carry beside what the ports carry and what is asked.
//!
//! The bus is applied here and in paths only; no run simulates it, and each finding says so.

use super::{Facts, finding};
use crate::outcome::{ReviewFinding, Severity};
use crate::site::{AdapterBus, Arrivals, BusPer, End};
use crate::study::estimate::{Data, data_at_ports};
use crate::topology::NodeId;

const NOT_SIMULATED: &str = "No run simulates the bus: where it is fuller than the links, \
                             latencies and rates of a run are too good.";

pub(super) fn findings(facts: &Facts<'_>) -> Vec<ReviewFinding> {
    facts
        .site
        .hosts
        .iter()
        .enumerate()
        .filter_map(|(family, host)| Some(one(facts, family, host.bus?)))
        .collect()
}

/// Fullest share of one bus of the family in a case, per cent: on the mean and in a burst.
fn fullest(facts: &Facts<'_>, family: usize, own: AdapterBus, case: usize) -> (f64, f64) {
    let (site, fabric, estimate) = (facts.site, facts.fabric, facts.estimate);
    let ports = data_at_ports(site, fabric, estimate, &estimate.cases[case]);
    let capacity = |rate: crate::unit::Rate| rate.bits_per_second() / 8.0;
    let (into, out) = (
        capacity(own.bus.into_host()),
        capacity(own.bus.out_of_host()),
    );
    let share = |data: &Data| {
        let (read, written) = (data.read.over(into), data.written.over(out));
        (
            100.0 * read.mean.max(written.mean),
            100.0 * read.burst.max(written.burst),
        )
    };
    let mut most = (0.0_f64, 0.0_f64);
    let mut note = |data: &Data| {
        let (mean, burst) = share(data);
        most = (most.0.max(mean), most.1.max(burst));
    };
    for host in fabric.hosts.iter().filter(|host| host.family == family) {
        let own_ports = host.ports.iter().filter_map(|port| ports.get(port));
        match own.per {
            BusPer::Port => own_ports.for_each(&mut note),
            BusPer::Adapter => {
                for on_it in fabric.by_adapter(host) {
                    let mut sum = Data::default();
                    let on_it = on_it.iter().filter_map(|port| ports.get(port));
                    on_it.for_each(|data| sum.add(*data));
                    note(&sum);
                }
            }
            BusPer::Host => {
                let mut sum = Data::default();
                own_ports.for_each(|data| sum.add(*data));
                note(&sum);
            }
        }
    }
    most
}

fn one(facts: &Facts<'_>, family: usize, own: AdapterBus) -> ReviewFinding {
    let (site, fabric) = (facts.site, facts.fabric);
    let name = &site.hosts[family].name;
    let giga = |rate: crate::unit::Rate| rate.bits_per_second() / 1e9;
    let first = fabric.hosts.iter().find(|host| host.family == family);
    let sharing: Vec<Vec<NodeId>> = first.map_or_else(Vec::new, |host| match own.per {
        BusPer::Port => host.ports.iter().map(|port| vec![*port]).collect(),
        BusPer::Adapter => fabric.by_adapter(host),
        BusPer::Host => vec![host.ports.clone()],
    });
    let of_ports = |ports: &Vec<NodeId>| -> f64 {
        let out = fabric
            .directions
            .iter()
            .filter(|one| ports.contains(&one.from));
        out.map(|one| giga(one.rate)).sum()
    };
    let ports = sharing.iter().map(of_ports).fold(0.0, f64::max);
    let carries = giga(own.bus.into_host()).min(giga(own.bus.out_of_host()));
    let cases: Vec<(f64, f64)> = (0..facts.estimate.cases.len())
        .map(|case| fullest(facts, family, own, case))
        .collect();
    let figures: Vec<String> = facts
        .estimate
        .cases
        .iter()
        .zip(&cases)
        .map(|(case, (mean, burst))| {
            if burst > mean {
                format!("{mean:.0} % ({burst:.0} % in a burst) {}", case.name)
            } else {
                format!("{mean:.0} % {}", case.name)
            }
        })
        .collect();
    let closed = site.workloads.iter().any(|work| {
        work.hosts.contains(&family) && matches!(work.arrivals, Arrivals::Closed { .. })
    });
    let closed = if closed {
        "; work in a closed loop, which takes what there is, is not counted"
    } else {
        ""
    };
    let over = cases.iter().any(|(_, burst)| *burst > 100.0);
    let narrower = carries < ports;
    let shared = match own.per {
        BusPer::Port => "each port of",
        BusPer::Adapter => "each adapter of",
        BusPer::Host => "all ports of",
    };
    let compared = if narrower { "less than" } else { "enough for" };
    let links = site
        .links
        .iter()
        .filter(|link| link.from == End::Host(family))
        .map(|link| link.label.as_str())
        .collect::<Vec<_>>()
        .join(", ");
    finding(
        if over {
            Severity::Warning
        } else {
            Severity::Note
        },
        "host bus",
        format!(
            "{} behind {shared} {name} carries {:.1} Gb/s of data in and {:.1} out, {compared} {links} ({ports:.1} Gb/s \
             with headers); asked: {}{closed}",
            own.bus.label(),
            giga(own.bus.into_host()),
            giga(own.bus.out_of_host()),
            figures.join(", ")
        ),
        NOT_SIMULATED,
    )
}
