//! Breakout cages: one port and one cable with several legs, and one fate.

use super::fault::LOUD;
use super::rig::{MS, direction, direction_names, run, script, site};
use halfloom::model::Compiled;

/// Many hosts behind one switch; between the switches a cage with four legs.
fn broken_out(speed: &str, carries: &str, protocol: &str) -> Compiled {
    let text = format!(
        "format = 1\n[[host]]\nname = \"app\"\ncount = 16\n\
         [[switch]]\nname = \"edge\"\nfabric = \"A\"\n[[switch]]\nname = \"san\"\nfabric = \"A\"\n\
         [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1000\n\
         [[link]]\nfrom = \"app\"\nto = \"edge\"\nspeed = \"100GbE\"\n{carries}\n\
         [[link]]\nfrom = \"edge\"\nto = \"san\"\nspeed = \"{speed}\"\ncage = {{ legs = 4 }}\n\
         [[link]]\nfrom = \"san\"\nto = \"box\"\nspeed = \"400GbE\"\n{carries}\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"{protocol}\"\n\
         read = \"0%\"\nsizes = \"64KiB\"\narrivals = {{ poisson = \"160k/s\" }}\n"
    );
    Compiled::new(&site(&text), &[])
}

/// One 100GbE port into four of 25GbE (IEEE 802.3: four lanes of 25.78125 GBd either way), and 128GFCp into four of
/// 32GFC (FC-PI-6P: four lanes of 28.05 GBd): four members of a quarter of the rate, lost together.
#[test]
fn the_legs_of_a_cage_are_a_quarter_each_and_fall_together() {
    let all = "carries = \"all\"";
    for (whole, leg, carries, protocol) in [
        ("100GbE", "25GbE", "", "nvme-tcp"),
        ("128GFCp", "32GFC", all, "fc-scsi"),
    ] {
        let rate = |label: &str| {
            halfloom::wire::technology(label)
                .expect("in the table")
                .usable
        };
        let compiled = broken_out(leg, carries, protocol);
        let legs: Vec<String> = direction_names(&compiled)
            .into_iter()
            .filter(|name| name.starts_with("edge-A") && name.contains("> san-A"))
            .collect();
        assert_eq!(legs.len(), 4, "{legs:?}");
        let fabric = &compiled.fabric;
        let own: Vec<_> = fabric
            .directions
            .iter()
            .filter(|one| {
                let name = |node: halfloom::topology::NodeId| &fabric.nodes[node.0 as usize].name;
                name(one.from) == "edge-A" && name(one.to) == "san-A"
            })
            .collect();
        assert!(
            own.iter().all(|one| one.rate.times(4, 1) == rate(whole)),
            "{leg}"
        );
        // Healthy: every leg carries something.
        let tally = run(&compiled, &[], 20 * MS);
        for leg in &legs {
            assert!(
                direction(&compiled, &tally, leg).delivered > 0,
                "{leg} is idle"
            );
        }
        // The cage is a part by its own name; without it nothing crosses any leg.
        let lost = script(&compiled, 10 * MS, LOUD, "edge-A~san-A/cage-1", None);
        assert_eq!(lost.members.len(), 4);
        let tally = run(&compiled, &[lost], 20 * MS);
        for leg in &legs {
            let way = direction(&compiled, &tally, leg);
            assert!(way.delivered > 0 && way.cut + way.dropped > 0, "{leg}");
        }
        assert!(tally.workloads[0].completed_total < tally.workloads[0].issued_total);
    }
}
