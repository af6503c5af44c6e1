//! Groups of links of which a hash leaves one member fuller than the others.

use super::*;
use crate::model::{by_flow, flow_hash};
use crate::outcome::NoCrossing;
use crate::study::estimate::{Flows, Grain, loads_of};
use crate::topology::Fabric;

/// Hosts over a group of four links of 1 Gb/s a side, each flow on one member; answers of 10 kB.
fn group(hosts: u32, choose: &str, connections: u32) -> Site {
    site(&format!(
        "format = 1\n[run]\nduration = \"200ms\"\nwarm_up = \"20ms\"\nreplications = 2\n[[host]]\nname = \"app\"\ncount = {hosts}\n\
         queue_depth = \"unlimited\"\n[[switch]]\nname = \"edge\"\n[[switch]]\nname = \"san\"\n[[array]]\nname = \"box\"\n\
         controllers = 1\nparallel = 100000\nread = {{ hit = \"100%\", hit_time = \"10us\" }}\n\
         [[link]]\nfrom = \"app\"\nto = \"edge\"\nspeed = \"100Gb/s\"\n\
         [[link]]\nfrom = \"edge\"\nto = \"san\"\nspeed = \"1Gb/s\"\nmembers = 4\nchoose = \"{choose}\"\n\
         [[link]]\nfrom = \"san\"\nto = \"box\"\nspeed = \"100Gb/s\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\nrequest = 100\nresponse = 10000\n\
         frame = 10000\nread = \"100%\"\nsizes = \"10000B\"\nconnections = {connections}\narrivals = {{ poisson = \"5k/s\" }}\n\
         promise = {{ p99 = \"2ms\" }}\n"
    ))
}

/// Three of five flows back go over one member: 3/5 × 2,500 I/Os a second and side × 80 kbit are 120 Mb/s, full at 8.33 times that. The
/// bundle is then at 42 %.
#[test]
fn a_member_that_a_hash_fills_is_known_by_arithmetic_and_named() {
    let site = group(5, "flow", 1);
    let found = headroom(&site, origin(), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    let full = case.saturation.expect("something is asked");
    assert!((full - 8.333).abs() < 0.01, "{full}");
    assert!(case.met.is_some_and(|met| met < full), "{case:?}");
    let ends = case.ends.as_ref().expect("a part ends it");
    assert_eq!(ends.part, "one member of san to edge, 1Gb/s");
    assert!(ends.instance.starts_with("san-"), "{ends:?}");
    assert!(ends.instance.contains('/'), "{ends:?}");
    assert!(ends.mean_percent > 85.0, "{ends:?}");
    let part = &found.parts[0];
    assert_eq!(part.part, "one member of san to edge, 1Gb/s");
    let used = part.cases[0].as_ref().expect("it was run");
    assert!((used.mean_percent - 12.0).abs() < 1.0, "{used:?}");
}

/// Arithmetic and the runs have every flow on the same member, whatever chooses it, with several connections as well.
#[test]
fn arithmetic_has_flows_on_the_members_that_the_runs_put_them_on() {
    for (choose, connections) in [("flow", 1), ("flow", 3), ("pinned", 1), ("exchange", 2)] {
        let site = group(7, choose, connections);
        let fabric = Fabric::new(&site);
        let loads = loads_of(&site, &fabric, None, Grain::Members);
        let plan = crate::study::case::CasePlan::healthy();
        let runs = crate::study::steady::run_from(&site, &[plan], 0, &NoProgress);
        let mut uneven = false;
        for (index, load) in loads.directions.iter().enumerate() {
            let id = crate::topology::DirectionId(u32::try_from(index).expect("few"));
            let name = fabric.direction_name(&site, id);
            let known = runs[0]
                .figures
                .directions
                .iter()
                .find(|own| own.name == name);
            let own = known.map_or(0.0, |own| own.utilization_percent);
            let share = 100.0 * load.expect("it is there").mean;
            // 500 I/Os of each host: a deviation of 3 % for two hosts.
            let off = 0.2 * share + 0.1;
            assert!(
                (own - share).abs() < off,
                "{choose} {name}: {own} and {share}"
            );
            uneven |= name.contains("san") && share > 7.0;
        }
        assert_eq!(uneven, choose == "flow", "{choose}");
    }
}

/// Each direction stands once however many connections cross it, with the share of those that their addresses put there.
#[test]
fn connections_that_go_the_same_way_are_counted_together() {
    let site = group(1, "flow", 64);
    let fabric = Fabric::new(&site);
    let alive = fabric.all_alive();
    let set = &fabric.path_sets(&site, &alive)[0];
    let path = &set.paths[0];
    let mut flows = Flows::new(&fabric, &alive).of(Grain::Members);
    let (there, _) = flows
        .of_work(&site.workloads[0], set.host)
        .both_ways(path, set.family);
    assert_eq!(there.len(), 1 + 4 + 1, "{there:?}");
    let first = fabric.directions[there[1].0.index()].from;
    let salt = fabric.nodes[first.0 as usize].digest;
    let mut wanted = [0.0; 4];
    for connection in 0..64 {
        let hash = flow_hash(&fabric, path.host_port, path.array_port, connection);
        wanted[by_flow(hash, salt, 4)] += 1.0 / 64.0;
    }
    let found: Vec<f64> = there.iter().map(|(_, share)| *share).collect();
    assert_eq!((found[0], found[5]), (1.0, 1.0));
    assert_eq!(found[1..5], wanted);
    assert!(
        wanted[0] != wanted[1] || wanted[1] != wanted[2],
        "a hash is uneven"
    );
}

/// Three fast ways and a slow one in turn: half of all I/Os are fast at any load, and once the slow one is full the rest pile up.
#[test]
fn a_percentile_that_free_ways_keep_at_any_load_crosses_nowhere() {
    let fast =
        "[[link]]\nname = \"fast\"\nfrom = \"sw\"\nto = \"box\"\nspeed = \"10Gb/s\"\nports = 3\n";
    let text = format!(
        "format = 1\n[run]\nduration = \"100ms\"\nwarm_up = \"20ms\"\nreplications = 4\n[[host]]\nname = \"app\"\n\
         queue_depth = \"unlimited\"\npaths = \"round-robin\"\n[[switch]]\nname = \"sw\"\n[[array]]\nname = \"box\"\n\
         controllers = 1\nparallel = 100000\nread = {{ hit = \"100%\", hit_time = \"10us\" }}\n\
         [[link]]\nfrom = \"app\"\nto = \"sw\"\nspeed = \"100Gb/s\"\n{fast}\
         [[link]]\nname = \"slow\"\nfrom = \"sw\"\nto = \"box\"\nspeed = \"1Gb/s\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\nrequest = 100\nresponse = 10000\n\
         frame = 10000\nread = \"100%\"\nsizes = \"10000B\"\narrivals = {{ poisson = \"20k/s\" }}\npromise = {{ p50 = \"2ms\" }}\n"
    );
    let found = headroom(&site(&text), origin(), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    let breaks = case.breaks.as_ref().expect("it is proven to be missed");
    assert!(breaks.saturated && breaks.kept_by_others, "{breaks:?}");
    assert_eq!(case.no_crossing, Some(NoCrossing::PilesUp));
    // Where all ways fill alike the work does not fit, though hardly any I/O had the time to be late.
    let alike = text
        .replace(fast, "")
        .replace("{ p50 = \"2ms\" }", "{ p50 = \"50ms\" }");
    let found = headroom(&site(&alike), origin(), &only_healthy(), &NoProgress);
    let breaks = found.cases[0].breaks.as_ref().expect("it is missed");
    assert!(breaks.saturated && !breaks.kept_by_others, "{breaks:?}");
}

/// One read in 500 misses and takes 20 ms: in runs without one the mean is a seventh of what it is, and that proves nothing.
#[test]
fn a_mean_of_runs_without_the_rare_slow_service_meets_nothing() {
    let mut text = text(
        1,
        "duration = \"2ms\"\nwarm_up = \"100us\"\nreplications = 2",
        "{ poisson = \"20k/s\" }",
        "{ mean = \"60us\" }",
    );
    text = text.replace(
        "[[host]]\nname = \"app\"",
        "[[host]]\nname = \"app\"\nqueue_depth = \"unlimited\"",
    );
    let mut seen = false;
    for seed in 1..=6 {
        let mut site = site(&text);
        site.run.seed = seed;
        let law = |us: u64| crate::site::Law::Constant(crate::unit::Duration(us * 1_000_000));
        site.arrays[0].write.time =
            crate::site::Law::Mixture(vec![(0.998, law(1)), (0.002, law(20_000))]);
        let found = headroom(&site, origin(), &only_healthy(), &NoProgress);
        let mut without = false;
        for point in &found.cases[0].points {
            let Some(value) = point.rows[0].cell.value else {
                continue;
            };
            if value.value < 30.0 {
                assert!(value.low.is_none() && value.high.is_none(), "{value:?}");
                assert_ne!(point.verdict, Verdict::Met);
                without = true;
            }
        }
        let noted = found
            .notes
            .iter()
            .any(|note| note.contains("rare and slow"));
        assert!(noted || !without, "seed {seed}: {:?}", found.notes);
        seen |= without;
    }
    assert!(seen, "some runs have no slow one");
}
