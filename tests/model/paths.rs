//! Which path an I/O takes where hosts have preferences, or chance decides.

use crate::rig::{MS, US, at_times, run, site};
use halfloom::model::Compiled;
use halfloom::unit::Side;
use halfloom::wire::Op;

/// One host with two fabrics, of which B has the longer fibre, and an array of two controllers: four paths, so many commands
/// each.
fn text(policy: &str, depth: u32, owner: &str) -> String {
    format!(
        "format = 1\n[[host]]\nname = \"app\"\npaths = \"{policy}\"\nqueue_depth = {depth}\n\
         [[switch]]\nname = \"left\"\nfabric = \"A\"\n[[switch]]\nname = \"right\"\nfabric = \"B\"\n\
         [[array]]\nname = \"box\"\ncontrollers = 2\nparallel = 64\nread = {{ hit = \"100%\", hit_time = \"100us\" }}\n\
         [[link]]\nfrom = \"app\"\nto = \"left\"\nspeed = \"32GFC\"\nlength = \"10m\"\n\
         [[link]]\nfrom = \"app\"\nto = \"right\"\nspeed = \"32GFC\"\nlength = \"1km\"\n\
         [[link]]\nfrom = \"left\"\nto = \"box\"\nspeed = \"32GFC\"\n\
         [[link]]\nfrom = \"right\"\nto = \"box\"\nspeed = \"32GFC\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"fc-scsi\"\nvolumes = 2\nowner = \"{owner}\"\n\
         sizes = \"4KiB\"\narrivals = {{ poisson = \"1/s\" }}\n"
    )
}

/// Fabric of each path, and I/Os done over it, of `ios` that come `gap` apart.
fn done(policy: &str, depth: u32, owner: &str, (ios, gap): (u64, u64)) -> Vec<(Option<Side>, u64)> {
    let mut site = site(&text(policy, depth, owner));
    let all: Vec<(u64, Op, u32)> = (0..ios).map(|io| (io * gap, Op::Read, 4_096)).collect();
    at_times(&mut site, 1, &all);
    let compiled = Compiled::new(&site, &[]);
    let tally = run(&compiled, &[], ios * gap + 100 * MS);
    assert_eq!(tally.workloads[0].completed_total, ios);
    let sides = compiled.path_names().map(|path| path.side);
    let counts = tally.paths.iter().map(|path| path.completed_total);
    sides.zip(counts).collect()
}

/// Ten I/Os at once and room for two on a path: the preferred one has all of them, one pair after another.
#[test]
fn a_preferred_path_that_is_full_is_waited_for() {
    let found = done("one-path", 2, "any", (10, 0));
    let counts: Vec<u64> = found.iter().map(|path| path.1).collect();
    assert_eq!(counts.iter().sum::<u64>(), 10, "{found:?}");
    assert_eq!(counts[0], 10, "{found:?}");
    // The nearest are those of A, to each controller one.
    let found = done("nearest", 2, "any", (10, 0));
    for (side, count) in &found {
        assert_eq!(*count > 0, *side == Some(Side::A), "{found:?}");
    }
    assert_eq!(found.iter().map(|path| path.1).max(), Some(5), "{found:?}");
    // Without a preference all four have some.
    let found = done("least-queue", 2, "any", (10, 0));
    assert!(found.iter().all(|path| path.1 > 0), "{found:?}");
}

/// Volumes belong to controllers in turn, and each of the two paths to an owner has half of its I/Os, within five standard
/// deviations of a binomial (a chance of 6 in 10 million for each).
#[test]
fn chance_is_even_over_the_paths_to_an_owner() {
    let ios = 4_000;
    let found = done("random", 64, "alternate", (ios, 500 * US));
    let five = 5.0 * (ios as f64 * 0.25 * 0.75).sqrt();
    for (_, count) in &found {
        assert!((*count as f64 - ios as f64 / 4.0).abs() < five, "{found:?}");
    }
}
