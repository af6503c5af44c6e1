//! Hosts that level their queues over unlike links.

use super::*;

/// 100k/s of 10,000 bits over a link of 4 Gb/s and one of 2 Gb/s: even shares would fill the slow one at 4 times that, and hosts
/// that take the path with the fewest I/Os under way carry more, up to nearly 6 times. `policy` is that of the host.
fn two_links(policy: &str) -> Site {
    site(&two_links_text(policy, (4, 2)))
}

fn two_links_text(policy: &str, (fast, slow): (u32, u32)) -> String {
    let link = |fabric: &str, rate: u32| {
        format!(
            "[[switch]]\nname = \"core{fabric}\"\nfabric = \"{fabric}\"\n[[link]]\nfrom = \"app\"\nto = \"core{fabric}\"\n\
             speed = \"{rate}Gb/s\"\n[[link]]\nfrom = \"core{fabric}\"\nto = \"box\"\nspeed = \"100Gb/s\"\n"
        )
    };
    format!(
        "format = 1\n[run]\nduration = \"20ms\"\nwarm_up = \"2ms\"\nreplications = 6\n[[host]]\nname = \"app\"\n{policy}\n[[array]]\n\
         name = \"box\"\ncontrollers = 1\nparallel = 100\nread = {{ hit = 1, hit_time = \"10us\" }}\n{}{}[[workload]]\nname = \"w\"\n\
         hosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\nrequest = 1\nresponse = 1250\nframe = 1250\nread = 1\n\
         arrivals = {{ poisson = \"100k/s\" }}\npromise = {{ mean = \"100us\" }}\n",
        link("A", fast),
        link("B", slow)
    )
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

/// I/Os that hosts deal over two links: 1.25 us on one and 12.5 us on the other. With hardly any load every second one takes the
/// slow link, 6.9 us on the mean; the fuller it is, the more take the fast one, which fills at 9 times as much.
fn a_slow_and_a_fast_link(target: &str) -> Site {
    let text = two_links_text("", (8, 1));
    site(&text.replace("mean = \"100us\"", &format!("p60 = \"{target}\"")))
}

/// Every second I/O is slow where nothing waits, so that six of ten are not fast; at half the load that fills both, the slow link is
/// mostly taken and seven of ten go over the fast one.
#[test]
fn a_promise_that_less_load_breaks_is_told_and_today_is_not_taken_for_granted() {
    let site = a_slow_and_a_fast_link("14us");
    let found = headroom(&site, origin(), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    assert!(case.unlike);
    // Where nothing comes in bursts it is full where it is on the mean: no fewer runs lie beyond half of that.
    let beyond = case.points.iter().filter(|point| point.factor > 4.0);
    assert!(beyond.count() > 1, "{case:?}");
    let met = case.met.unwrap_or_else(|| {
        panic!(
            "one is met: {:?}",
            case.points
                .iter()
                .map(|p| (p.factor, p.purpose, p.verdict, p.rows[0].cell.above_share))
                .collect::<Vec<_>>()
        )
    });
    assert!(met > 1.0, "{met}");
    assert!(case.missed.is_none_or(|missed| missed > met), "{case:?}");
    assert_eq!(case.hopeless, None, "a load keeps it");
    assert!(!case.holes.is_empty(), "{case:#?}");
    for hole in &case.holes {
        assert!(hole.factor < met);
        assert_eq!(hole.breaks.workload, "w");
    }
    assert_eq!(case.today, Some(Verdict::Missed), "{:?}", case.holes);
    let said = found
        .notes
        .iter()
        .any(|note| note.contains("lower loads were tested"));
    assert!(said, "{:?}", found.notes);
}

/// 590k/s of the 600k/s that both links carry: a mean of 20 us is missed below today's load already, and today's is tested by itself,
/// for over unlike ways nothing below tells of it.
#[test]
fn today_is_proven_to_be_missed_by_a_test_of_its_own() {
    let text = two_links_text("", (4, 2));
    let text = text.replace("100k/s", "590k/s").replace("100us", "20us");
    let found = headroom(&site(&text), origin(), &only_healthy(), &NoProgress);
    let case = &found.cases[0];
    assert!(case.unlike && case.certain.is_none_or(|full| full > 1.0));
    assert!(case.missed.is_some_and(|missed| missed < 1.0), "{case:?}");
    let own = |point: &&LoadPoint| {
        point.factor == 1.0
            && point.purpose == Purpose::ProveMissed
            && point.verdict == Verdict::Missed
    };
    assert_eq!(case.points.iter().filter(own).count(), 1, "{case:?}");
    assert_eq!(case.today, Some(Verdict::Missed));
}

#[test]
fn lower_loads_are_run_where_hosts_look_at_queues_over_unlike_ways_alone() {
    let below = |site: &Site| -> (bool, Vec<f64>) {
        let found = headroom(site, origin(), &only_healthy(), &NoProgress);
        let case = &found.cases[0];
        let own = case
            .points
            .iter()
            .filter(|point| point.purpose == Purpose::Below);
        (case.unlike, own.map(|point| point.factor).collect())
    };
    let (unlike, loads) = below(&two_links(""));
    assert!(
        unlike && loads.contains(&1.0) && (2..=4).contains(&loads.len()),
        "{loads:?}"
    );
    // Alike, or dealt in turn for good.
    let alike = site(&two_links_text("", (4, 4)));
    assert_eq!(below(&alike), (false, vec![]));
    let turn = "paths = \"round-robin\"\nqueue_depth = \"unlimited\"";
    assert_eq!(below(&two_links(turn)), (false, vec![]));
}

/// Holes between the few loads that are tested are looked for by pilot runs, and what they have broken is tested before what nothing
/// is known of.
#[test]
fn pilot_runs_look_for_holes_where_ways_are_unlike() {
    use crate::study::headroom::below::loads;
    let mut found = search(&[]);
    found.saturation = Some(10.0);
    let first = |found: &Search| {
        let mut all = first_pilots(found, &Scale::Load, 64.0);
        all.sort_by(f64::total_cmp);
        all
    };
    assert_eq!(first(&found).len(), 4);
    found.unlike = true;
    let all = first(&found);
    assert!(all[0] <= 0.51 && all.len() >= 10, "{all:?}");
    assert!(
        all.windows(2).all(|pair| pair[1] / pair[0] <= 1.5),
        "{all:?}"
    );
    // Three that are broken, today's, and one share: five.
    found.points = [0.7, 1.4, 1.9, 2.7, 9.2]
        .map(|factor| judged(factor, -1.0))
        .into();
    for (point, excess) in found.points.iter_mut().zip([1.0, 1.0, 1.0, -1.0, -1.0]) {
        (point.excess, point.weight) = (excess, 100.0);
    }
    let mut test = judged(9.0, -0.5);
    (test.point.purpose, test.point.verdict) = (Purpose::ProveMet, Verdict::Met);
    found.points.push(test);
    assert_eq!(loads(&found, &Scale::Load), [1.0, 1.9, 0.7, 1.4, 4.5]);
}

/// A run that broke a promise far below one that keeps it beyond doubt is no edge, and is asked again wherever it was.
#[test]
fn a_load_that_is_broken_below_one_that_is_kept_is_no_edge_and_is_asked_again() {
    use crate::study::headroom::below::loads;
    use crate::study::headroom::edge::proven_ends;
    let mut found = search(&[(0.5, 1.0), (1.0, -1.0), (1.5, -1.0), (1.9, 1.0)]);
    for point in &mut found.points {
        point.weight = 100.0;
    }
    let (under, over) = edge(&found);
    assert_eq!(under.map(|place| place.0), Some(1.5));
    assert_eq!(over.map(|place| place.0), Some(1.9));
    assert!(
        loads(&found, &Scale::Load).is_empty(),
        "nothing is proven yet"
    );
    let mut test = judged(1.6, -0.5);
    (test.point.purpose, test.point.verdict) = (Purpose::ProveMet, Verdict::Met);
    found.points.push(test);
    assert_eq!(loads(&found, &Scale::Load), [0.5]);
    found.unlike = true;
    assert_eq!(loads(&found, &Scale::Load), [1.0, 0.5, 0.8, 0.4, 1.6 * 0.1]);
    // What is proven to be missed below is no end.
    let mut test = judged(0.5, 1.0);
    (test.point.purpose, test.point.verdict) = (Purpose::ProveMissed, Verdict::Missed);
    found.points.push(test);
    assert_eq!(proven_ends(&found), (Some(1.6), None));
}
