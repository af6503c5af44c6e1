//! Changes proposed for what is missed: they touch what limits, a run of the changed site says the same, and
//! they come in the order of what they take.

use super::rig::{json, origin, same, site};
use halfloom::outcome::{MendOrigin, Report, Verdict};
use halfloom::render::table::report_text;
use halfloom::scenario::prices;
use halfloom::site::Site;
use halfloom::study::remedy::{PriceList, Search, search};
use halfloom::study::singles::{AskSingles, each_part};
use halfloom::study::{Ask, NoProgress, study};

/// Four hosts, one link of 10GbE from edge to core on each fabric, and more work than that carries alone: 1.44
/// GB/s of payload where 10GbE has 1.25. Everything else is wide.
const NARROW: &str = r#"
format = 1
[run]
duration = "40ms"
warm_up = "10ms"
replications = 3
switch_replications = 1
settle_limit = "2s"
[[host]]
name = "app"
count = 4
[[switch]]
name = "edge"
ports = { "10GbE" = 8 }
[[switch]]
name = "core"
[[array]]
name = "store"
controllers = 2
parallel = 64
read = { hit = "100%", hit_time = "100us" }
[[link]]
from = "app"
to = "edge"
speed = "10GbE"
[[link]]
from = "edge"
to = "core"
speed = "10GbE"
[[link]]
from = "core"
to = "store"
speed = "25GbE"
[[workload]]
name = "orders"
hosts = "app"
array = "store"
protocol = "nvme-tcp"
read = "100%"
sizes = "64KiB"
connections = 64
arrivals = { paced = "22k/s" }
promise = { p99 = "4ms" }
"#;

fn narrow(set: &[(&str, &str)]) -> Site {
    site(NARROW, set)
}

fn searched(text: &str, base: &[(&str, &str)], ask: &Ask, want: &Search) -> Report {
    let own = site(text, base);
    let report = study(&own, origin(&own), ask, &NoProgress);
    let apply = |more: &[(String, String)]| {
        let pairs: Vec<(String, String)> = base
            .iter()
            .map(|(key, value)| ((*key).to_owned(), (*value).to_owned()))
            .chain(more.iter().cloned())
            .collect();
        let source = halfloom::scenario::Source {
            name: "test.toml",
            text,
        };
        halfloom::scenario::read(source, &pairs, &|name| Err(name.to_owned()))
            .map(|loaded| loaded.site)
            .map_err(|problems| problems[0].message.clone())
    };
    search(&own, report, ask, want, &apply, &NoProgress)
}

fn loss_of_a() -> Ask {
    Ask {
        outages: Some(vec!["A".to_owned()]),
        ..Ask::default()
    }
}

fn most(most: u32) -> Search {
    Search { most, prices: None }
}

/// Each edge switch has four ports to hosts and one upwards: a second one upwards is a sixth where five are stated, and
/// is simulated all the same. What is lacking is told, and of a change that needs no port nothing is.
#[test]
fn a_change_that_a_switch_has_no_port_for_says_so() {
    let tight = [("switch.edge.ports", "{ \"10GbE\" = 5 }")];
    let report = searched(NARROW, &tight, &loss_of_a(), &most(12));
    let more =
        |set: &[(String, String)]| set.iter().any(|(key, _)| key == "link.edge-core.members");
    let wider = report
        .mends
        .iter()
        .find(|mend| more(&mend.set))
        .expect("a second member is proposed");
    assert!(
        wider.ports_lacking[0].contains("6 ports of 10GbE used, 5 there"),
        "{:?}",
        wider.ports_lacking
    );
    // A faster link takes a port of a kind that the switch has none of; a path policy takes none.
    for mend in &report.mends {
        let ports = mend.set.iter().any(|(key, _)| key.starts_with("link."));
        assert_eq!(mend.ports_lacking.is_empty(), !ports, "{}", mend.name);
    }
    assert!(
        report
            .mends
            .iter()
            .any(|mend| mend.ports_lacking.is_empty())
    );
    let text = report_text(&report).replace('\n', " ");
    assert!(
        text.contains("too few ports for it as the scenario stands"),
        "{text}"
    );
    let roomy = searched(NARROW, &[], &loss_of_a(), &most(12));
    let wider = roomy.mends.iter().find(|mend| more(&mend.set));
    assert!(wider.is_some_and(|mend| mend.ports_lacking.is_empty()));
}

/// Only the link that is too narrow, and the path policy, are touched; and some change mends it all.
#[test]
fn what_is_proposed_touches_what_limits() {
    let report = searched(NARROW, &[], &loss_of_a(), &most(12));
    let found = report.mend_search.as_ref().expect("it was asked for");
    assert!(found.tried >= 2, "{found:?}");
    assert_eq!(report.mends.len(), found.tried as usize);
    for mend in &report.mends {
        assert_eq!(mend.origin, MendOrigin::Proposed);
        for (key, _) in &mend.set {
            let known = [
                "link.edge-core.members",
                "link.edge-core.speed",
                "host.app.paths",
            ];
            assert!(known.contains(&key.as_str()), "{key}");
        }
    }
    let speed =
        |set: &[(String, String)]| set == [("link.edge-core.speed".to_owned(), "25GbE".to_owned())];
    assert!(
        report
            .mends
            .iter()
            .any(|mend| speed(&mend.set) && mend.mends_all)
            || found.refused.iter().any(|refused| speed(&refused.set)),
        "{:?}",
        report
            .mends
            .iter()
            .map(|m| (&m.name, m.mends_all))
            .collect::<Vec<_>>()
    );
    assert!(report.mends.iter().any(|mend| mend.mends_all));
    // Those that mend come first, each group by cables, ports and settings.
    let keys: Vec<_> = report
        .mends
        .iter()
        .map(|m| {
            (
                !m.mends_all,
                m.changes.cables,
                m.changes.ports,
                m.changes.settings,
            )
        })
        .collect();
    let mut sorted = keys.clone();
    sorted.sort_unstable();
    assert_eq!(keys, sorted);
}

/// A mend is what a run of the site with these values set says, to the byte.
#[test]
fn a_mend_is_the_study_of_the_changed_site() {
    let report = searched(NARROW, &[], &loss_of_a(), &most(3));
    assert!(!report.mends.is_empty());
    for mend in &report.mends {
        let set: Vec<(&str, &str)> = mend
            .set
            .iter()
            .map(|(k, v)| (k.as_str(), v.as_str()))
            .collect();
        let changed = narrow(&set);
        let alone = study(&changed, origin(&changed), &loss_of_a(), &NoProgress);
        same(&mend.name, &json(&mend.matrix), &json(&alone.matrix));
        let all_met = alone
            .matrix
            .rows
            .iter()
            .flat_map(|row| row.cells.iter().flatten())
            .all(|cell| cell.verdict == Verdict::Met);
        assert_eq!(mend.mends_all, all_met, "{}", mend.name);
    }
}

/// Nothing missed, nothing proposed.
#[test]
fn a_site_that_keeps_its_promises_gets_no_proposal() {
    let calm = [("workload.orders.arrivals.paced", "4k/s")];
    let report = searched(NARROW, &calm, &loss_of_a(), &most(12));
    let found = report.mend_search.expect("it was asked for");
    assert_eq!((found.tried, found.rounds), (0, 0));
    assert!(report.mends.is_empty());
}

/// The longest I/O of a loss is the fast-io-fail time of SCSI over FC, 5 s by default and 2 s when short (and 0.1 s
/// until the loss of light is known): a promise of 4 s is missed for that reason alone, and only timers are tried.
#[test]
fn a_promise_about_switching_is_mended_by_timers_alone() {
    let text = NARROW
        .replace("10GbE", "16GFC")
        .replace("25GbE", "32GFC")
        .replace("connections = 64\n", "")
        .replace("nvme-tcp", "fc-scsi")
        .replace("22k/s", "500/s")
        .replace("settle_limit = \"2s\"", "settle_limit = \"10s\"")
        .replace(
            "{ p99 = \"4ms\" }",
            "{ mean = \"4ms\", switching = { longest_io = \"4s\", failed = 0 } }",
        );
    let ask = Ask {
        switch: true,
        ..loss_of_a()
    };
    let report = searched(&text, &[], &ask, &most(12));
    // One family of hosts, whose own timer it is: to shorten those of the fabric as well would be the same.
    let names: Vec<&str> = report.mends.iter().map(|mend| mend.name.as_str()).collect();
    assert_eq!(names, ["short timers at the hosts app"]);
    for mend in &report.mends {
        assert!(
            mend.set
                .iter()
                .all(|(key, value)| key.contains("timers") && value == "short"),
            "{:?}",
            mend.set
        );
        assert_eq!((mend.changes.cables, mend.changes.ports), (0, 0));
        assert!(mend.changes.settings > 0);
        assert!(mend.mends_all, "{}: {:?}", mend.name, mend.matrix);
        assert!(mend.matrix.rows.iter().any(|row| row.switching));
    }
}

/// Dear ports make another order than cheap ones, and a list that lacks an item gives no price.
#[test]
fn a_price_list_orders_what_is_found() {
    let list = |text: &str| Search {
        most: 12,
        prices: Some(PriceList::new(
            prices("p.csv", text).expect("it can be read"),
        )),
    };
    let dear = list("item,of,price\nport,10GbE,1000\ncable,10GbE,0\nport,25GbE,1\ncable,25GbE,1\n");
    let cheap =
        list("item,of,price\nport,10GbE,1\ncable,10GbE,1\nport,25GbE,1000\ncable,25GbE,0\n");
    let place = |want: &Search| {
        let report = searched(NARROW, &[], &loss_of_a(), want);
        let at = |key: &str| {
            report
                .mends
                .iter()
                .position(|m| m.set.len() == 1 && m.set[0].0 == key)
        };
        let by_price = report.mends.windows(2).all(|pair| {
            pair[0].mends_all != pair[1].mends_all || pair[0].changes.price <= pair[1].changes.price
        });
        assert!(by_price);
        let priced = report
            .mends
            .iter()
            .find(|m| m.set[0].1 == "25GbE")
            .map(|m| m.changes.clone());
        (
            at("link.edge-core.members"),
            at("link.edge-core.speed"),
            priced,
        )
    };
    let (dear_members, dear_speed, changes) = place(&dear);
    // One cable and two ports on each fabric become 25GbE.
    let changes = changes.expect("25GbE was tried");
    assert_eq!(
        (changes.cables, changes.ports, changes.price),
        (2, 4, Some(6.0))
    );
    let (cheap_members, cheap_speed, _) = place(&cheap);
    if let (Some(members), Some(speed)) = (cheap_members, cheap_speed) {
        assert!(members < speed || dear_members > dear_speed);
    }
    let report = searched(
        NARROW,
        &[],
        &loss_of_a(),
        &list("item,of,price\nport,10GbE,1\n"),
    );
    let lacking = report
        .mends
        .iter()
        .find(|m| m.changes.cables > 0)
        .expect("a cable changes");
    assert_eq!(lacking.changes.price, None);
    assert!(
        lacking
            .changes
            .unpriced
            .iter()
            .any(|item| item.starts_with("cable"))
    );
}

#[test]
fn a_wrong_price_list_is_refused_with_its_line() {
    for (text, line, what) in [
        ("what,of,price\nport,10GbE,1\n", 1, "the head is of no kind"),
        (
            "item,of,price\nport,10GbE,1\nchassis,bay,2\n",
            3,
            "`chassis` is no kind",
        ),
        ("item,of,price\nport,10GbE,dear\n", 2, "`dear` is no price"),
        ("item,of,price\nport,10GbE,-1\n", 2, "`-1` is no price"),
        ("item,of,price\nport,10GbE\n", 2, "2 fields"),
        ("item,of,price\nport,10GbE,1\nport,10GbE,2\n", 3, "twice"),
        ("item,of,price\n", 1, "no price"),
        ("", 1, "the head is of no kind"),
    ] {
        let problems = prices("p.csv", text).expect_err(text);
        let problem = &problems[0];
        assert!(
            problem.line == Some(line) && problem.message.contains(what),
            "{text:?}: {problem}"
        );
        assert!(problem.to_string().contains("port,32GFC,900"), "{problem}");
    }
}

/// Two links in series are full. Either alone makes nothing keep its promise; what is tried on top of one brings the
/// other.
#[test]
fn two_full_links_in_series_are_both_widened() {
    let base = [
        ("array.store.controllers", "1"),
        ("link.core-store.speed", "10GbE"),
    ];
    let report = searched(NARROW, &base, &loss_of_a(), &most(12));
    let touches =
        |set: &[(String, String)], link: &str| set.iter().any(|(key, _)| key.starts_with(link));
    let both = report.mends.iter().find(|mend| {
        touches(&mend.set, "link.edge-core.") && touches(&mend.set, "link.core-store.")
    });
    let all: Vec<_> = report.mends.iter().map(|mend| &mend.name).collect();
    assert!(both.is_some_and(|mend| mend.mends_all), "{all:?}");
    assert!(report.mends.len() <= 12);
}

/// The same with prices: whatever the layers build on, the cheapest pair is found, second members and ports of 10GbE at 1 apiece where
/// 25GbE is dear. What cannot be tried for want of runs is counted.
#[test]
fn the_cheapest_of_several_changes_is_found() {
    let base = [
        ("array.store.controllers", "1"),
        ("link.core-store.speed", "10GbE"),
    ];
    let list = "item,of,price\nport,10GbE,1\ncable,10GbE,1\nport,25GbE,1000\ncable,25GbE,1000\n";
    let by_price = |most: u32| Search {
        most,
        prices: Some(PriceList::new(
            prices("p.csv", list).expect("it can be read"),
        )),
    };
    let report = searched(NARROW, &base, &loss_of_a(), &by_price(16));
    let search = report.mend_search.as_ref().expect("it was asked for");
    let best = report.mends.iter().find(|mend| mend.mends_all);
    let best = best.expect("something mends it");
    // A cable and two ports on each of two fabrics, at each of the two links.
    let ten = best.set.iter().all(|(_, value)| value == "2");
    assert!(ten, "{} {:?} {search:?}", best.name, best.changes);
    let price = best.changes.price.expect("it has one");
    assert!(price < 1_000.0, "{price}");
    assert!(
        report.mends.len() <= 16 && search.sets_untried == 0,
        "{search:?}"
    );
    // As many runs as there are single changes leave none for sets.
    let report = searched(NARROW, &base, &loss_of_a(), &by_price(3));
    let search = report.mend_search.as_ref().expect("it was asked for");
    assert!(
        search.sets_tried == 0 && search.sets_untried > 0,
        "{search:?}"
    );
    let text = report_text(&report).replace('\n', " ");
    assert!(text.contains("Not tried, for want of runs"), "{text}");
}

/// A third of the work does not fit over what is left, and hosts hold I/O for 5.1 s (2.1 s with short timers) where 4 s are promised. What
/// the timers do by themselves is not decided, for the backlog holds I/Os longer: with second members they are the cheapest all the same.
/// By hand: a cable and two ports more on each of two fabrics, at 60 and 450, and one setting at 5.
#[test]
fn a_timer_whose_gain_a_backlog_hides_is_tried_in_sets() {
    let text = "format = 1\n[run]\nduration = \"300ms\"\nwarm_up = \"50ms\"\nreplications = 3\nswitch_replications = 1\n\
         settle_limit = \"1s\"\n[[host]]\nname = \"app\"\ncount = 4\n[[switch]]\nname = \"edge\"\n[[switch]]\nname = \"core\"\n\
         [[array]]\nname = \"store\"\ncontrollers = 2\nparallel = 100\nread = { hit = \"100%\", hit_time = \"50us\" }\n\
         [[link]]\nfrom = \"app\"\nto = \"edge\"\nspeed = \"32GFC\"\n\
         [[link]]\nname = \"up\"\nfrom = \"edge\"\nto = \"core\"\nspeed = \"4GFC\"\n\
         [[link]]\nfrom = \"core\"\nto = \"store\"\nspeed = \"32GFC\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"store\"\nprotocol = \"fc-scsi\"\nread = \"100%\"\n\
         sizes = \"8KiB\"\narrivals = { poisson = \"65k/s\" }\n\
         promise = { p99 = \"2ms\", lost = { p99 = \"300us\" }, switching = { longest_io = \"4s\", failed = 0 } }\n";
    let list =
        "item,of,price\nport,4GFC,450\ncable,4GFC,60\nport,8GFC,900\ncable,8GFC,120\nsetting,,5\n";
    let want = Search {
        most: 8,
        prices: Some(PriceList::new(
            prices("p.csv", list).expect("it can be read"),
        )),
    };
    let ask = Ask {
        switch: true,
        ..loss_of_a()
    };
    let report = searched(text, &[], &ask, &want);
    let best = report.mends.iter().find(|mend| mend.mends_all);
    let best = best.expect("something mends it");
    let all: Vec<_> = report.mends.iter().map(|mend| &mend.name).collect();
    assert_eq!(best.changes.price, Some(1_925.0), "{all:?}");
    let sets = |key: &str, value: &str| best.set.contains(&(key.to_owned(), value.to_owned()));
    assert!(sets("link.up.members", "2"), "{:?}", best.set);
    assert!(sets("host.app.timers", "short"), "{:?}", best.set);
    assert!(report.mends.len() <= 8);
}

/// Two controllers whose volumes are without one for so long when it is lost, and hosts that hold I/O for 5.6 s (2.6 s with short
/// timers): `promise` about the longest I/O.
fn owned(takeover: &str, promise: &str) -> String {
    NARROW
        .replace("10GbE", "16GFC")
        .replace("25GbE", "32GFC")
        .replace("connections = 64\n", "owner = \"alternate\"\n")
        .replace("nvme-tcp", "fc-scsi")
        .replace("22k/s", "500/s")
        .replace("settle_limit = \"2s\"", "settle_limit = \"20s\"")
        .replace(
            "controllers = 2\n",
            &format!("controllers = 2\ntakeover = \"{takeover}\"\n"),
        )
        .replace(
            "{ p99 = \"4ms\" }",
            &format!("{{ switching = {{ longest_io = \"{promise}\" }} }}"),
        )
        + "[[outage]]\nname = \"ctrl\"\ntakes = \"store-c1\"\n"
}

fn loss_of_a_controller() -> Ask {
    Ask {
        outages: Some(vec!["ctrl".to_owned()]),
        switch: true,
        ..Ask::default()
    }
}

/// No preset shortens a takeover: nothing is proposed for a stall that it bounds, and the page says that and why. Where it is what
/// is left behind a timer that helps, it is named.
#[test]
fn timers_are_proposed_only_where_one_of_a_preset_bounds_the_stall() {
    let ask = loss_of_a_controller();
    let report = searched(&owned("12s", "8s"), &[], &ask, &most(4));
    let found = report.mend_search.as_ref().expect("it was asked for");
    assert_eq!((found.tried, found.rounds), (0, 0));
    assert_eq!(found.fixed.len(), 1, "{found:?}");
    assert!(
        found.fixed[0].timer.starts_with("takeover, 12"),
        "{found:?}"
    );
    let said = report_text(&report).replace('\n', " ");
    assert!(
        said.contains("No change was simulated, although something is missed"),
        "{said}"
    );
    assert!(said.contains("No change to propose was found"), "{said}");
    for wrong in [
        "Nothing was missed",
        "No remedy was simulated",
        "with none of them",
    ] {
        assert!(!said.contains(wrong), "{wrong}: {said}");
    }

    let report = searched(&owned("4s", "3s"), &[], &ask, &most(4));
    let names: Vec<&str> = report.mends.iter().map(|mend| mend.name.as_str()).collect();
    assert_eq!(names, ["short timers at the hosts app"]);
    let left: Vec<&str> = report.mends[0]
        .left
        .iter()
        .map(|left| left.timer.as_str())
        .collect();
    assert_eq!(left.len(), 1, "{left:?}");
    assert!(left[0].starts_with("takeover, 4"), "{left:?}");
    let said = report_text(&report).replace('\n', " ");
    assert!(
        said.contains("what bounds it then is takeover, 4"),
        "{said}"
    );
}

/// Where every promise is met, a search says that nothing is missed, and not that none of its changes mends it.
#[test]
fn a_search_where_nothing_is_missed_says_so() {
    let report = searched(&owned("12s", "20s"), &[], &loss_of_a_controller(), &most(4));
    let said = report_text(&report).replace('\n', " ");
    assert!(
        said.contains("No change was proposed: nothing is missed."),
        "{said}"
    );
    assert!(!said.contains("with none of them"), "{said}");
}

/// A silent loss within a group of links: LACP gives the member up after 90 s, or after 3 s with short timers everywhere; those of
/// hosts alone have no part in it.
#[test]
fn timers_of_the_fabric_are_proposed_where_they_bound_the_stall() {
    let text = NARROW
        .replace("22k/s", "200/s")
        .replace("settle_limit = \"2s\"", "settle_limit = \"10s\"")
        .replace(
            "to = \"core\"\nspeed = \"10GbE\"\n",
            "to = \"core\"\nspeed = \"10GbE\"\nmembers = 2\n",
        )
        .replace(
            "{ p99 = \"4ms\" }",
            "{ switching = { longest_io = \"2s\" } }",
        )
        .replace("nvme-tcp", "nfs")
        .replace("connections = 64\n", "")
        .replace("[[host]]", "[timers]\nkeep_alive = \"600s\"\n[[host]]")
        + "[[outage]]\nname = \"member\"\ntakes = \"edge-A~core-A/1\"\nmode = \"silent\"\n";
    let ask = Ask {
        outages: Some(vec!["member".to_owned()]),
        switch: true,
        ..Ask::default()
    };
    let report = searched(&text, &[], &ask, &most(4));
    let names: Vec<&str> = report.mends.iter().map(|mend| mend.name.as_str()).collect();
    assert_eq!(
        names,
        ["short timers everywhere"],
        "{:?}",
        report.mend_search
    );
    // Where LACP is fast as it is, there is nothing to shorten.
    let fast = [("timers.lacp", "fast")];
    let report = searched(&text, &fast, &ask, &most(4));
    assert!(report.mends.is_empty(), "{:?}", report.mends[0].name);
}

/// The hosts give their sessions up after 10 s of silence, before LACP would have given the member up after 90 s: 3 s, with short timers,
/// end the stall all the same.
#[test]
fn timers_of_the_fabric_are_tried_where_hosts_were_sooner() {
    let text = NARROW
        .replace("22k/s", "200/s")
        .replace("settle_limit = \"2s\"", "settle_limit = \"20s\"")
        .replace(
            "to = \"core\"\nspeed = \"10GbE\"\n",
            "to = \"core\"\nspeed = \"10GbE\"\nmembers = 2\n",
        )
        .replace(
            "{ p99 = \"4ms\" }",
            "{ switching = { longest_io = \"5s\" } }",
        )
        + "[[outage]]\nname = \"member\"\ntakes = \"edge-A~core-A/1\"\nmode = \"silent\"\n";
    let ask = Ask {
        outages: Some(vec!["member".to_owned()]),
        switch: true,
        ..Ask::default()
    };
    let report = searched(&text, &[], &ask, &most(4));
    let longest = report.switches[0].workloads[0].longest_io_s[0];
    assert!(longest > 5.0 && longest < 80.0, "{longest}");
    let mut mends = report.mends.iter();
    let short = mends.find(|mend| mend.name == "short timers everywhere");
    let short = short.expect("it is tried");
    assert!(short.mends_all, "{:?}", short.left);
    // A loss of the whole link leaves no member for LACP to go on with.
    let whole = text.replace("edge-A~core-A/1", "edge-A~core-A");
    let report = searched(&whole, &[], &ask, &most(4));
    assert!(
        report
            .mends
            .iter()
            .all(|mend| mend.name != "short timers everywhere")
    );
}

/// A command timeout that is stated, and no preset has: what ended the stall is made as short as the promise asks for.
#[test]
fn a_command_timeout_that_is_stated_is_made_shorter() {
    let text = SHALLOW
        .replace("queue_depth = 1\n", "")
        .replace("12k/s", "1k/s")
        .replace("settle_limit = \"1s\"", "settle_limit = \"20s\"")
        .replace(
            "{ mean = \"500us\" }",
            "{ switching = { longest_io = \"4s\" } }",
        )
        .replace(
            "takes = [\"*-A\"]",
            "takes = [\"core-A\"]\nmode = \"silent\"",
        );
    let ask = Ask {
        switch: true,
        ..loss_of_a()
    };
    let stated = [("timers.command_timeout", "8s")];
    let report = searched(&text, &stated, &ask, &most(4));
    let mut mends = report.mends.iter();
    let found = mends.find(|mend| mend.name.starts_with("a shorter command timeout ("));
    let found = found.expect("it is tried");
    assert_eq!(found.set[0].0, "timers.command_timeout");
    assert!(found.mends_all, "{:?} {:?}", found.set, found.left);
    // What nobody states is left as it is.
    let report = searched(&text, &[], &ask, &most(4));
    assert!(
        report
            .mends
            .iter()
            .all(|mend| !mend.name.contains("command timeout"))
    );
}

/// NVMe over Fibre Channel whose commands time out after 8 s, before the lost signal counts at 12 s: nothing waits for longer than 8 s, and
/// yet the detection has to be as short as the promise of 4 s asks for, less a tenth, as it is what would end the stall then.
#[test]
fn a_timer_that_another_cuts_short_is_made_short_enough() {
    let text = SHALLOW
        .replace("queue_depth = 1\n", "")
        .replace("12k/s", "1k/s")
        .replace("fc-scsi", "fc-nvme")
        .replace("settle_limit = \"1s\"", "settle_limit = \"20s\"")
        .replace(
            "{ mean = \"500us\" }",
            "{ switching = { longest_io = \"4s\" } }",
        );
    let ask = Ask {
        switch: true,
        ..loss_of_a()
    };
    let stated = [
        ("timers.command_timeout", "8s"),
        ("timers.link_loss_detect", "12s"),
    ];
    let report = searched(&text, &stated, &ask, &most(4));
    let longest = report.switches[0].workloads[0].longest_io_s[0];
    assert!((7.9..8.1).contains(&longest), "{longest}");
    let mut mends = report.mends.iter();
    let found = mends.find(|mend| mend.name.starts_with("a shorter link-loss detect ("));
    let found = found.expect("it is tried");
    let set = ("timers.link_loss_detect".to_owned(), "3000ms".to_owned());
    assert_eq!(found.set, [set]);
    assert!(found.mends_all, "{:?} {:?}", found.set, found.left);
}

/// One host with one place on each of two paths, reads of 100 us and a little on the way: 19,000 a second over both, 9,500 over one,
/// where 12,000 are asked for. Every part is nearly idle.
const SHALLOW: &str = r#"
format = 1
[run]
duration = "60ms"
warm_up = "10ms"
replications = 2
switch_replications = 1
settle_limit = "1s"
[[host]]
name = "app"
queue_depth = 1
[[switch]]
name = "core"
[[array]]
name = "store"
controllers = 1
parallel = 64
read = { hit = "100%", hit_time = "100us" }
[[link]]
from = "app"
to = "core"
speed = "32GFC"
[[link]]
from = "core"
to = "store"
speed = "32GFC"
[[workload]]
name = "orders"
hosts = "app"
array = "store"
protocol = "fc-scsi"
read = "100%"
sizes = "8KiB"
arrivals = { paced = "12k/s" }
promise = { mean = "500us" }
[[outage]]
name = "A"
takes = ["*-A"]
"#;

#[test]
fn a_queue_depth_that_limits_is_named_and_made_deeper() {
    let depth = "queue depth of the hosts of orders";
    for (text, key) in [
        (SHALLOW.to_owned(), "host.app.queue_depth"),
        // The same bound stated for the work: one I/O outstanding, whichever path it takes.
        (
            SHALLOW
                .replace("queue_depth = 1", "queue_depth = 64")
                .replace("\"12k/s\" }", "\"12k/s\", outstanding = 1 }"),
            "workload.orders.arrivals.outstanding",
        ),
    ] {
        let ask = Ask {
            outages: Some(vec!["A".to_owned()]),
            mends: true,
            ..Ask::default()
        };
        let want = Search {
            most: 8,
            prices: None,
        };
        let report = searched(&text, &[], &ask, &want);
        assert_eq!(report.parts[0].part, depth);
        assert_eq!(report.growth[1].part, depth);
        let first = &report.mends[0];
        assert!(first.mends_all, "{}", first.name);
        assert_eq!(first.set[0].0, key);
        assert_eq!(
            (
                first.changes.cables,
                first.changes.ports,
                first.changes.settings
            ),
            (0, 0, 1)
        );
    }
    // A depth that holds nothing up is no part of the answer.
    let own = site(SHALLOW, &[("host.app.queue_depth", "64")]);
    let report = study(&own, origin(&own), &Ask::default(), &NoProgress);
    assert!(report.parts.iter().all(|part| part.part != depth));
}

#[test]
fn a_queue_depth_limits_the_loss_of_a_single_part() {
    let own = site(SHALLOW, &[]);
    let found = each_part(&own, origin(&own), &AskSingles::default(), &NoProgress);
    let found = found.each_part.expect("it was asked for");
    let limit = |part: &str| {
        let case = found.losses().find(|(_, case)| case.part == part);
        let full = case.and_then(|(_, case)| case.fullest.as_ref());
        full.map(|full| full.part.clone()).expect("a part is used")
    };
    assert_eq!(limit("core-A"), "queue depth of the hosts of orders");
}

/// iSCSI whose timers are stated below the short preset's: 1 + 1 + 3 s for a promise of 4 s. The preset would make the stall longer
/// (5 + 5 + 15 s) at these hosts and change nothing everywhere; a shorter replacement, which is what ended the stall, keeps the promise.
#[test]
fn a_timer_that_is_stated_is_made_shorter_and_no_preset_longer() {
    let text = format!(
        "{}switching = {{ longest_io = \"4s\" }} }}\n",
        NARROW
            .replace("22k/s", "200/s")
            .replace("nvme-tcp", "iscsi")
            .replace(" }\n\"#", "")
            .trim_end()
            .trim_end_matches('}')
            .trim_end()
            .to_owned()
            + ", "
    );
    let stated = [
        ("timers.iscsi_ping", "1s"),
        ("timers.iscsi_ping_timeout", "1s"),
        ("timers.iscsi_replacement", "3s"),
    ];
    let ask = Ask {
        switch: true,
        ..loss_of_a()
    };
    let report = searched(&text, &stated, &ask, &most(6));
    let timers = report.mends.iter().filter(|mend| {
        let mut keys = mend.set.iter().map(|(key, _)| key);
        keys.any(|key| key.contains("timers"))
    });
    let found: Vec<_> = timers.collect();
    assert_eq!(found.len(), 1, "{:?}", report.mend_search);
    let (key, value) = &found[0].set[0];
    // 4 s less a tenth, less 2 s of the ping: 1.6 s, and what the longest took more or less than its timers.
    assert_eq!(key, "timers.iscsi_replacement");
    let ms: u64 = value.trim_end_matches("ms").parse().expect("milliseconds");
    assert!((1_500..=1_700).contains(&ms), "{value}");
    let keeps = |mend: &halfloom::outcome::Mend| {
        let row = mend.matrix.rows.iter().find(|row| row.switching);
        let cell = row.and_then(|row| row.cells[1].as_ref());
        cell.map(|cell| cell.verdict) == Some(Verdict::Met)
    };
    assert!(keeps(found[0]));

    // What a host states for itself is what it goes by, and what is made shorter.
    let own = [
        stated[0],
        stated[1],
        ("timers.iscsi_replacement", "2s"),
        ("host.app.timers.iscsi_replacement", "3s"),
    ];
    let report = searched(&text, &own, &ask, &most(6));
    let mut mends = report.mends.iter();
    let found = mends
        .find(|mend| mend.name.contains("a shorter iSCSI session replacement ("))
        .expect("it is tried");
    assert_eq!(found.set[0].0, "host.app.timers.iscsi_replacement");
    assert!(keeps(found));

    // Where the promise is out of reach of that timer, it is halved, and what is left is said.
    let text = text.replace("longest_io = \"4s\"", "longest_io = \"1s\"");
    let report = searched(&text, &stated, &ask, &most(6));
    let halved = report
        .mends
        .iter()
        .find(|mend| mend.name.contains("a shorter iSCSI session replacement ("));
    let halved = halved.expect("it is tried");
    assert_eq!(halved.set[0].1, "1500ms");
    assert!(!keeps(halved) && !halved.left.is_empty());
}

/// A team that sees only a lost signal stays on a port behind which frames vanish, whatever the path policy: a probe is what helps.
#[test]
fn a_team_that_never_notices_gets_a_probe() {
    let ask = Ask {
        outages: Some(vec!["hole".to_owned()]),
        switch: true,
        ..Ask::default()
    };
    let report = searched(super::teams::TEAM, &[], &ask, &most(4));
    let names: Vec<&str> = report.mends.iter().map(|mend| mend.name.as_str()).collect();
    assert_eq!(names, ["a team probe of 1\u{202F}s at the hosts app"]);
    assert!(report.mends[0].mends_all);
}

/// Where the switch of such a port sees that its uplinks are gone, it may take the port down instead; both are tried, also where the
/// timers of the hosts are the name of a preset.
#[test]
fn a_team_that_never_notices_gets_a_switch_that_tells_it() {
    let by_name =
        super::teams::TEAM.replace("team = \"first\"", "team = \"first\"\ntimers = \"short\"");
    for text in [super::teams::TEAM, &by_name] {
        let ask = Ask {
            outages: Some(vec!["dark".to_owned()]),
            switch: true,
            ..Ask::default()
        };
        let report = searched(text, &[], &ask, &most(4));
        let mut names: Vec<&str> = report.mends.iter().map(|mend| mend.name.as_str()).collect();
        names.sort_unstable();
        assert_eq!(
            names,
            [
                "a team probe of 1\u{202F}s at the hosts app",
                "host ports taken down on loss of uplinks by the switches edge"
            ],
            "{:?}",
            report.mend_search
        );
        for mend in &report.mends {
            assert!(mend.mends_all, "{}", mend.name);
            let takes = &mend.changes;
            assert_eq!((takes.cables, takes.ports, takes.settings), (0, 0, 1));
        }
    }
}

/// Where ports in use alternate over hosts, half of them are stuck on what is lost: they get the same proposals.
#[test]
fn teams_of_which_half_are_stuck_get_a_probe() {
    let text = super::teams::TEAM.replace("team = \"first\"", "count = 2\nteam = \"alternate\"");
    for (outage, ways) in [("hole", 1), ("dark", 2)] {
        let ask = Ask {
            outages: Some(vec![outage.to_owned()]),
            switch: true,
            ..Ask::default()
        };
        let report = searched(&text, &[], &ask, &most(4));
        let names: Vec<&str> = report.mends.iter().map(|mend| mend.name.as_str()).collect();
        assert!(
            names.contains(&"a team probe of 1\u{202F}s at the hosts app"),
            "{outage}: {names:?}, {:?}",
            report.mend_search
        );
        assert_eq!(names.len(), ways, "{outage}: {names:?}");
        assert!(report.mends.iter().all(|mend| mend.mends_all), "{outage}");
    }
}

/// A command timeout that is stated for all hosts stays when their hold is made shorter: the preset would put back its own 30 s.
#[test]
fn short_timers_leave_what_is_stated_for_all_hosts() {
    let ask = loss_of_a_controller();
    let stated = [("timers.command_timeout", "10s")];
    let report = searched(&owned("4s", "3s"), &stated, &ask, &most(4));
    let mut mends = report.mends.iter();
    let found = mends
        .find(|mend| mend.name == "short timers at the hosts app")
        .expect("it is tried");
    let set: Vec<(&str, &str)> = found
        .set
        .iter()
        .map(|(key, value)| (key.as_str(), value.as_str()))
        .collect();
    assert_eq!(set, [("host.app.timers.fast_io_fail", "2s")]);
}
