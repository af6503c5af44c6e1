//! Hosts that level their queues over unlike links.

use super::*;

/// 100k/s of 10,000 bits over a link of 4 Gb/s and one of 2 Gb/s: even shares would fill the slow one at 4 times that, and hosts
/// that take the path with the fewest I/Os under way carry more, up to nearly 6 times. `policy` is that of the host.
fn two_links(policy: &str) -> Site {
    let link = |fabric: &str, rate: u32| {
        format!(
            "[[switch]]\nname = \"core{rate}\"\nfabric = \"{fabric}\"\n[[link]]\nfrom = \"app\"\nto = \"core{rate}\"\n\
             speed = \"{rate}Gb/s\"\n[[link]]\nfrom = \"core{rate}\"\nto = \"box\"\nspeed = \"100Gb/s\"\n"
        )
    };
    site(&format!(
        "format = 1\n[run]\nduration = \"20ms\"\nwarm_up = \"2ms\"\nreplications = 6\n[[host]]\nname = \"app\"\n{policy}\n[[array]]\n\
         name = \"box\"\ncontrollers = 1\nparallel = 100\nread = {{ hit = 1, hit_time = \"10us\" }}\n{}{}[[workload]]\nname = \"w\"\n\
         hosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\nrequest = 1\nresponse = 1250\nframe = 1250\nread = 1\n\
         arrivals = {{ poisson = \"100k/s\" }}\npromise = {{ mean = \"100us\" }}\n",
        link("A", 4),
        link("B", 2)
    ))
}

#[test]
fn a_load_beyond_what_even_shares_fill_is_met_where_hosts_level() {
    let found = headroom(&two_links(""), origin(), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    let full = case.saturation.expect("something is asked");
    assert!((full - 6.0).abs() < 1e-6, "{full}");
    let (met, missed) = (
        case.met.expect("there is one"),
        case.missed.expect("so is this"),
    );
    assert!(met > 5.0 && met < full, "{met}");
    assert!(missed > met && missed < 6.5, "{missed}");
    // What deals in turn without an end fills the slow link first.
    let turn = "paths = \"round-robin\"\nqueue_depth = \"unlimited\"";
    let found = headroom(&two_links(turn), origin(), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    let full = case.saturation.expect("something is asked");
    assert!((full - 4.0).abs() < 1e-6, "{full}");
    assert!(case.met.is_some_and(|met| met < 4.0), "{case:?}");
}
