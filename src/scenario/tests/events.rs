//! Scripted events: what they expand to, every kind of target, and events that can do nothing.

use super::places::{SMALL, changed, problems, short};
use super::{DEMO, read_text, site};
use crate::site::{Action, Fault, Flap, Heading, LossMode, Slow};
use crate::topology::Fabric;
use crate::unit::Duration;

/// The small scenario with these tables before its workload, and what is reported.
fn with(tables: &str) -> String {
    changed("[[workload]]", &format!("{tables}\n[[workload]]"))
}

/// When (us), what, target, round.
type Brief = (u64, Action, String, Option<(u32, u32)>);

/// The events of the small scenario with these tables.
fn events(tables: &str) -> Vec<Brief> {
    let text = SMALL.replacen("[[workload]]", &format!("{tables}\n[[workload]]"), 1);
    let site = site(&text, &[]);
    site.events
        .into_iter()
        .map(|event| {
            (
                event.at.0 / 1_000_000,
                event.action,
                event.target,
                event.round,
            )
        })
        .collect()
}

#[test]
fn a_flap_is_so_many_losses_and_returns() {
    let lose = Action::Lose(LossMode::Silent);
    let flap = |round| Some((round, 3));
    let target = || "edge-A".to_owned();
    assert_eq!(
        events(
            "[[event]]\nat = \"1ms\"\nflap = \"edge-A\"\nmode = \"silent\"\nperiod = \"300us\"\ndown = \"100us\"\ncount = 3"
        ),
        [
            (1_000, lose, target(), flap(1)),
            (1_100, Action::Restore, target(), flap(1)),
            (1_300, lose, target(), flap(2)),
            (1_400, Action::Restore, target(), flap(2)),
            (1_600, lose, target(), flap(3)),
            (1_700, Action::Restore, target(), flap(3)),
        ]
    );
    // Down for half the period unless stated; an outage flaps in its own mode.
    let outage = "[[outage]]\nname = \"x\"\ntakes = \"edge-B\"\nmode = \"silent\"\n";
    let halves = events(&format!(
        "{outage}[[event]]\nat = \"0s\"\nflap = \"x\"\nperiod = \"2ms\"\ncount = 1"
    ));
    assert_eq!(
        halves,
        [
            (0, lose, "x".to_owned(), Some((1, 1))),
            (1_000, Action::Restore, "x".to_owned(), Some((1, 1)))
        ]
    );
}

#[test]
fn slow_links_and_single_ways() {
    let slow = |rate_ppm, loss_ppb| Action::Slow(Slow { rate_ppm, loss_ppb });
    let found: Vec<Action> = events(
        "[[event]]\nat = \"1ms\"\nslow = \"edge-A\"\nrate = \"12.5%\"\n\
         [[event]]\nat = \"2ms\"\nslow = \"edge-A\"\nloss = \"0.1%\"\n\
         [[event]]\nat = \"3ms\"\nslow = \"edge-A\"\nloss = 1\nrate = 1\n\
         [[event]]\nat = \"4ms\"\nlose = \"db:A1~edge-A\"\nway = \"to-hosts\"\n\
         [[event]]\nat = \"5ms\"\nlose = \"db:A1~edge-A\"\nway = \"to-arrays\"\nmode = \"silent\"",
    )
    .into_iter()
    .map(|(_, action, ..)| action)
    .collect();
    assert_eq!(
        found,
        [
            slow(125_000, 0),
            slow(1_000_000, 1_000_000),
            slow(1_000_000, 1_000_000_000),
            Action::LoseWay(Heading::Hosts),
            Action::LoseWay(Heading::Arrays),
        ]
    );
}

/// A group stands for its parts in outages and events, as one fate.
#[test]
fn a_group_is_one_fate() {
    let text = SMALL.replacen(
        "[[workload]]",
        "[[group]]\nname = \"feed-1\"\nparts = [\"edge-A\", \"vault-c1\"]\n\
         [[outage]]\nname = \"power\"\ntakes = [\"feed-1\", \"db:B1\"]\n\
         [[event]]\nat = \"1ms\"\nlose = [\"feed-1\", \"power\"]\n[[workload]]",
        1,
    );
    let site = site(&text, &[]);
    let power = site.outages.iter().find(|outage| outage.name == "power");
    let power = power.expect("the outage is there");
    assert_eq!(power.takes, ["edge-A", "vault-c1", "db:B1"]);
    let parts: Vec<_> = site
        .events
        .iter()
        .map(|event| event.parts.clone())
        .collect();
    assert_eq!(
        parts,
        [
            vec!["edge-A".to_owned(), "vault-c1".to_owned()],
            power.takes.clone()
        ]
    );
    let fabric = Fabric::new(&site);
    let names = |members: Vec<crate::topology::MemberId>| -> Vec<String> {
        let names = members.iter().map(|m| fabric.members[m.0 as usize].name());
        names.collect()
    };
    let taken = names(fabric.members_of(&site.events[0].parts, None));
    assert_eq!(
        taken,
        [
            "db:A1~edge-A",
            "edge-A~vault-c1:A1",
            "edge-A~vault-c2:A1",
            "edge-B~vault-c1:B1"
        ]
    );
}

/// Every kind of part can be lost, slowed, drained and restored, and takes the links that it should: a host, a
/// chassis with its modules and hosts, a module, a switch, a LAN peer, an array, a controller, ports of either,
/// a link, a member of its group, a cage.
#[test]
fn every_kind_of_part_is_a_target() {
    for (part, links) in [
        ("db-1", 2),
        // Four hosts with a port on each module, each module with two uplinks.
        ("bay-1", 8 + 4),
        ("module-1-A", 4 + 2),
        // Three modules of two members, four rack hosts, two legs, two LAN peers.
        ("edge-A", 6 + 4 + 2 + 2),
        ("lan-1", 2 + 2),
        ("vault", 2 * 2 * 2),
        ("vault-c1", 2 * 2),
        ("vault-c1:A2", 1),
        ("db-1:A1", 1),
        ("db-1:A1~module-1-A", 1),
        ("module-1-A~edge-A", 2),
        ("module-1-A~edge-A/2", 1),
        ("edge-A~san-A/cage-1", 2),
    ] {
        let tables = format!(
            "[[event]]\nat = \"200ms\"\nslow = \"{part}\"\nrate = \"50%\"\n\
             [[event]]\nat = \"210ms\"\nrestore = \"{part}\"\n\
             [[event]]\nat = \"220ms\"\ndrain = \"{part}\"\n\
             [[event]]\nat = \"230ms\"\nlose = \"{part}\"\n\
             [[event]]\nat = \"240ms\"\nrestore = \"{part}\"\n"
        );
        let site = site(&format!("{DEMO}\n{tables}"), &[]);
        assert_eq!(site.events.len(), 5, "{part}");
        let fabric = Fabric::new(&site);
        for event in &site.events {
            let members = fabric.members_of(&event.parts, event.side);
            assert_eq!(members.len(), links, "{part}");
        }
    }
}

#[test]
fn one_thing_and_what_belongs_to_it() {
    insta::assert_snapshot!(with("[[event]]\nat = \"1ms\"\nslow = \"edge-A\""), @"16:1^9 event 1 slows links and does not say how | `rate`, `loss` or both");
    insta::assert_snapshot!(with("[[event]]\nat = \"1ms\"\nslow = \"edge-A\"\nrate = \"0%\"\nloss = \"0%\""), @r#"
    19:8^4 `rate` of event 1 is too little | a share like "50%", from 1% to 100%
    20:8^4 `loss` of event 1 is too little | a share like "0.1%", from 0.0000001% to 100%
    "#);
    insta::assert_snapshot!(with("[[event]]\nat = \"1ms\"\nlose = \"edge-A\"\nrate = \"50%\"\ncount = 2"), @r#"
    19:1^4 event 1 has a `rate`, which means nothing here | only with `slow`
    20:1^5 event 1 has a `count`, which means nothing here | only with `flap`
    "#);
    insta::assert_snapshot!(with("[[event]]\nat = \"1ms\"\nflap = \"edge-A\""), @r#"
    16:1^9 event 1 flaps and has no `period` | it needs one
    16:1^9 event 1 flaps and has no `count` | it needs one
    "#);
    insta::assert_snapshot!(with("[[event]]\nat = \"1ms\"\nflap = \"edge-A\"\nperiod = \"1s\"\ndown = \"1s\"\ncount = 2"), @"20:1^4 event 1 is down for as long as its period, or longer | `down` below `period`");
    insta::assert_snapshot!(with("[[event]]\nat = \"1ms\"\nflap = \"edge-A\"\nperiod = \"1s\"\nway = \"to-hosts\"\ncount = 101"), @r#"
    20:1^3 event 1 has a `way`, which means nothing here | only with `lose`
    21:9^3 `count` of event 1 cannot be 101 | a whole number from 1 to 100
    "#);
    insta::assert_snapshot!(with("[[event]]\nat = \"1ms\"\nlose = \"edge-A\"\nway = \"to-hosts\"\nmode = \"loud\""), @r#"20:1^4 event 1 loses one way of links loudly | `way` without `mode`, or `mode = "silent"`"#);
    insta::assert_snapshot!(with("[[event]]\nat = \"1ms\"\ndrain = \"edge-A\"\nmode = \"loud\""), @"19:1^4 event 1 has a `mode`, which means nothing here | only with `lose` or `flap`");
}

#[test]
fn groups_are_known_and_named_apart() {
    insta::assert_snapshot!(with("[[group]]\nname = \"edge-A\"\nparts = \"edge-B\"\n[[group]]\nname = \"A\"\nparts = \"edge-B\""), @r#"
    16:1^9 the group `edge-A` has the name of a part | a name of its own
    19:1^9 the group `A` has the name of an outage | a name of its own
    "#);
    insta::assert_snapshot!(with("[[group]]\nname = \"x\"\nparts = \"y\"\n[[group]]\nname = \"x\"\nparts = \"edge-A\""), @r"
    18:9^3 no part is called `y` | parts: db, vault, vault-c1, vault-c2, edge-A, edge-B, db:A1, db:B1, vault-c1:A1, vault-c2:A1, vault-c1:B1, vault-c2:B1, db:A1~edge-A, db:B1~edge-B, edge-A~vault-c1:A1, edge-A~vault-c2:A1, edge-B~vault-c1:B1, edge-B~vault-c2:B1
    19:1^9 the group `x` is there twice | each name once
    ");
    insta::assert_snapshot!(with("[[group]]\nname = \"feed\"\nparts = \"edge-A\"\n[[event]]\nat = \"1ms\"\nlose = \"fed\""), @"21:8^5 no part is called `fed` | did you mean `feed`?");
}

/// A return of what is there, the same loss twice, anything on a part that is gone: refused where it is written.
#[test]
fn events_that_can_do_nothing() {
    insta::assert_snapshot!(with("[[event]]\nat = \"1ms\"\nrestore = \"edge-A\""), @"18:11^8 event 1 restores `edge-A`, with which nothing is wrong at 1ms | a loss, drain or slow-down before it");
    insta::assert_snapshot!(
        with("[[event]]\nat = \"1ms\"\nlose = \"edge-A\"\n[[event]]\nat = \"3ms\"\nrestore = \"edge-A\"\n[[event]]\nat = \"4ms\"\nrestore = [\"edge-B\", \"edge-A\"]"),
        @r#"
    24:12^8 event 3 restores `edge-B`, with which nothing is wrong at 4ms | a loss, drain or slow-down before it
    24:22^8 event 3 restores `edge-A`, with which nothing is wrong at 4ms | a loss, drain or slow-down before it
    "#);
    insta::assert_snapshot!(with("[[event]]\nat = \"2ms\"\nlose = \"A\"\n[[event]]\nat = \"1ms\"\nlose = \"A\""), @"18:8^3 event 1 does to `A` what event 2 has done, at 2ms | a `restore` between the two");
    insta::assert_snapshot!(with("[[event]]\nat = \"1ms\"\nlose = \"A\"\n[[event]]\nat = \"2ms\"\nslow = \"edge-A\"\nrate = \"50%\""), @"21:8^8 event 2 acts on `edge-A`, which is gone at 2ms | a part that is there");
    insta::assert_snapshot!(with("[[event]]\nat = \"1ms\"\nlose = \"A\"\n[[event]]\nat = \"2ms\"\ndrain = \"edge-A\""), @"21:9^8 event 2 acts on `edge-A`, which is gone at 2ms | a part that is there");
    insta::assert_snapshot!(
        with("[[event]]\nat = \"1ms\"\nlose = \"edge-A\"\nway = \"to-hosts\"\n[[event]]\nat = \"2ms\"\nlose = \"edge-A\"\nway = \"to-hosts\""),
        @"22:8^8 event 2 does to `edge-A` what event 1 has done, at 2ms | a `restore` between the two");
}

/// A second loss while the first lasts, by another name or the other way, is one more, and needs its own return.
#[test]
fn second_losses_are_sound() {
    for tables in [
        "[[event]]\nat = \"1ms\"\nlose = \"A\"\n[[event]]\nat = \"2ms\"\nlose = \"edge-A\"\n\
         [[event]]\nat = \"3ms\"\nrestore = \"A\"\n[[event]]\nat = \"4ms\"\nrestore = \"edge-A\"",
        "[[event]]\nat = \"1ms\"\nlose = \"A\"\n[[event]]\nat = \"2ms\"\nlose = \"B\"",
        "[[event]]\nat = \"1ms\"\nlose = \"edge-A\"\nway = \"to-hosts\"\n\
         [[event]]\nat = \"2ms\"\nlose = \"edge-A\"\nway = \"to-arrays\"",
        "[[event]]\nat = \"1ms\"\nlose = \"edge-A\"\nmode = \"silent\"\n\
         [[event]]\nat = \"2ms\"\nlose = \"edge-A\"",
        "[[event]]\nat = \"1ms\"\ndrain = \"edge-A\"\n[[event]]\nat = \"2ms\"\nlose = \"edge-A\"\n\
         [[event]]\nat = \"3ms\"\nrestore = \"edge-A\"",
        "[[event]]\nat = \"1ms\"\nslow = \"edge-A\"\nrate = \"50%\"\n\
         [[event]]\nat = \"2ms\"\nslow = \"edge-A\"\nrate = \"25%\"\n\
         [[event]]\nat = \"3ms\"\nrestore = \"edge-A\"",
    ] {
        assert_eq!(with(tables), "", "{tables}");
    }
}

#[test]
fn an_event_before_the_warm_up_is_over_is_warned_of() {
    let text = SMALL.replacen(
        "[[workload]]",
        "[run]\nduration = \"1s\"\nwarm_up = \"100ms\"\n[[event]]\nat = \"50ms\"\nlose = \"A\"\n[[workload]]",
        1,
    );
    let loaded = read_text(&text, &[]).expect("a warning is no error");
    insta::assert_snapshot!(short(&loaded.warnings), @"21:8^3 event 1 comes at 50ms, before the warm-up of 100ms is over |");
    assert_eq!(short(&problems(&text.replace("50ms", "100ms"), &[])), "");
    let later = read_text(&text.replace("50ms", "100ms"), &[]).expect("sound");
    assert_eq!(later.warnings, []);
    assert_eq!(later.site.events[0].at, Duration::from_ms(100));
}

#[test]
fn an_outage_goes_by_its_name_whatever_letters_it_has() {
    let found = events(
        "[[outage]]\nname = \"one switch\"\ntakes = \"edge-A\"\n[[event]]\nat = \"1ms\"\nlose = \"one switch\"",
    );
    let expected = (
        1_000,
        Action::Lose(LossMode::Loud),
        "one switch".to_owned(),
        None,
    );
    assert_eq!(found, [expected]);
}

#[test]
fn an_outage_that_exists_by_itself_can_be_set() {
    for stated in ["", "[[outage]]\nname = \"other\"\ntakes = \"edge-A\"\n"] {
        let text = SMALL.replacen("[[workload]]", &format!("{stated}[[workload]]"), 1);
        let site = site(&text, &[("outage.A.mode", "silent")]);
        let outage = site.outages.iter().find(|outage| outage.name == "A");
        let outage = outage.expect("the outage of side A");
        assert_eq!(outage.mode, LossMode::Silent);
        assert_eq!(outage.takes, ["*-A"]);
    }
}

#[test]
fn failback_takeover_and_retransmissions_have_limits() {
    insta::assert_snapshot!(with("[timers]\nfailback = \"later\"\ntcp_retries = 0\ndevice_loss = \"0s\""), @r#"
    17:12^7 `failback` of [timers] is not a time | "immediate", "manual" or a time above zero
    18:15^1 `tcp_retries` of [timers] cannot be 0 | a whole number from 1 to 100
    19:15^4 `device_loss` of [timers] is zero | a time above zero
    "#);
    insta::assert_snapshot!(with("[timers]\nfailback = \"0s\""), @r#"17:12^4 `failback` of [timers] is zero | "immediate", "manual" or a time above zero"#);
    insta::assert_snapshot!(changed("name = \"vault\"", "name = \"vault\"\ntakeover = 10"), @r#"8:12^2 `takeover` of array `vault` is an integer without a unit | a time like "600ns", "100us", "2s" or "15m" (minutes) in quotes"#);
}

/// A port that is removed holds nothing any more: fast-io-fail has to be over before.
#[test]
fn a_hold_is_over_before_its_port_is_removed() {
    insta::assert_snapshot!(with("[timers]\ndevice_loss = \"60s\"\nfast_io_fail = \"60s\""), @r#"18:16^5 [timers]: I/O would be held on a lost remote port for 60s, and the port is removed after 60s | fast_io_fail below device_loss, or "off" to hold until device_loss"#);
    // The usual 5 s are longer than what is stated.
    insta::assert_snapshot!(with("[timers]\ndevice_loss = \"3s\""), @r#"17:15^4 [timers]: I/O would be held on a lost remote port for 5s, and the port is removed after 3s | fast_io_fail below device_loss, or "off" to hold until device_loss"#);
    for fine in [
        "[timers]\nfast_io_fail = \"59s\"",
        "[timers]\nfast_io_fail = \"off\"\ndevice_loss = \"1s\"",
        "[timers]\npreset = \"short\"\ndevice_loss = \"3s\"",
    ] {
        assert_eq!(with(fine), "", "{fine}");
    }
    // What a host states is held against what it has from all, and said once.
    let host = "name = \"db\"";
    let of = |timers: &str| changed(host, &format!("{host}\ntimers = {timers}"));
    assert!(of("{ fast_io_fail = \"61s\" }").contains("held on a lost remote port for 61s"));
    let all = "[timers]\ndevice_loss = \"3s\"\n[[switch]]";
    let text = SMALL.replacen("[[switch]]", all, 1);
    let text = text.replacen(host, &format!("{host}\ntimers = {{ retries = 3 }}"), 1);
    assert_eq!(problems(&text, &[]).len(), 1);
}

#[test]
fn a_team_is_of_two_ports_with_file_traffic() {
    let host = "[[host]]\nname = \"db\"";
    let with = |team: &str, nfs: bool, side: &str| {
        let files = if nfs {
            SMALL.replace("nvme-tcp", "nfs")
        } else {
            SMALL.to_owned()
        };
        let files = files.replace(
            "name = \"edge\"",
            &format!("name = \"edge\"\nfabric = \"{side}\""),
        );
        short(&problems(
            &files.replace(host, &format!("{host}\n{team}")),
            &[],
        ))
    };
    assert_eq!(with("team = \"first\"", true, "each"), "");
    assert_eq!(with("team = \"off\"", false, "A"), "");
    let found = [
        with("team = \"both\"", true, "each"),
        with("team = \"first\"", false, "each"),
        with("team = \"alternate\"", true, "A"),
        with(
            "team = \"first\"\ntimers = { team_probe = \"0s\" }",
            true,
            "each",
        ),
        with(
            "team = \"first\"\ntimers = { team_probe = \"4950ms\" }",
            true,
            "each",
        ),
    ];
    let expected = [
        "4:8^6 `team` of host `db` cannot be `both` | one of: off, first, alternate",
        "4:8^7 host `db` has a team, and no file traffic | a workload of these hosts with protocol nfs",
        "4:8^11 the team of host `db` has one port towards array `vault` | two ports at least that reach the array over links that carry ip",
        "5:25^4 `team_probe` of timers of host `db` is zero | \"off\" or a time above zero",
        "5:25^8 timers of host `db`: a team that probes would move its traffic after the mount has given up | team_probe and team_switch together below keep_alive",
    ];
    assert_eq!(found, expected);
}

#[test]
fn guests_need_another_host() {
    let host = "name = \"db\"";
    assert_eq!(
        changed(host, "name = \"db\"\ncount = 2\nguests = \"restart\""),
        ""
    );
    assert_eq!(
        changed(host, "name = \"db\"\nguests = \"restart\""),
        "4:10^9 host `db` has no other host to restart its guests on | a family of two hosts at least"
    );
}

#[test]
fn checks_of_healthy_paths_are_not_more_frequent() {
    assert_eq!(with("[timers]\npath_check_max = \"5s\""), "");
    assert_eq!(
        with("[timers]\npath_check = \"6s\"\npath_check_max = \"5s\""),
        "18:18^4 [timers]: paths in good standing are checked more often than failed ones | path_check at most path_check_max"
    );
    // What is not stated gives way.
    assert_eq!(with("[timers]\npath_check = \"30s\""), "");
}

#[test]
fn a_run_shorter_than_a_cycle_of_bursts_is_warned_of() {
    let of = |set: &[(&str, &str)]| {
        let set: Vec<(String, String)> = set
            .iter()
            .map(|(key, value)| ((*key).to_owned(), (*value).to_owned()))
            .collect();
        let source = crate::scenario::Source {
            name: "ostrel.toml",
            text: DEMO,
        };
        let loaded = crate::scenario::read(source, &set, &|name| Err(format!("no {name}")));
        let Ok(loaded) = loaded else {
            panic!("the demo reads");
        };
        let messages = loaded
            .warnings
            .iter()
            .map(|warning| warning.message.clone());
        messages.collect::<Vec<_>>()
    };
    assert_eq!(of(&[]), Vec::<String>::new());
    let short = [("run.duration", "60ms"), ("run.warm_up", "10ms")];
    let expected = "workload `bookings` bursts every 200ms, and a run measures 50ms of it";
    assert_eq!(of(&short), [expected]);
    let whole = [("run.duration", "210ms"), ("run.warm_up", "10ms")];
    assert_eq!(of(&whole), Vec::<String>::new());
}

/// The faults of an outage, and what is reported of a text of them.
#[test]
fn an_outage_has_the_faults_of_events() {
    let fault = |keys: &str| {
        let table = format!("[[outage]]\nname = \"x\"\ntakes = \"edge-A\"\n{keys}\n[[workload]]");
        let text = SMALL.replacen("[[workload]]", &table, 1);
        let outages = site(&text, &[]).outages;
        let own = outages.into_iter().find(|outage| outage.name == "x");
        own.expect("it is there")
    };
    assert_eq!(fault("").fault, Fault::Lost);
    let slow = fault("rate = \"25%\"");
    assert_eq!((slow.state().as_str(), slow.gone()), ("x slow", None));
    assert_eq!(slow.slow().map(|slow| slow.rate_ppm), Some(250_000));
    assert_eq!(fault("loss = \"1%\"").state(), "x damaging frames");
    // What damages every frame is lost silently.
    let dead = fault("loss = 1");
    assert_eq!(
        (dead.state().as_str(), dead.gone()),
        ("x lost", Some(LossMode::Silent))
    );
    assert_eq!(dead.slow(), None);
    let blind = fault("way = \"to-arrays\"");
    assert_eq!(blind.fault, Fault::OneWay(Heading::Arrays));
    assert_eq!(blind.gone(), Some(LossMode::Silent));
    let loose = fault("period = \"2s\"\ncount = 3\nmode = \"silent\"");
    let flap = Flap {
        period: Duration::from_secs(2),
        down: Duration::from_secs(1),
        count: 3,
    };
    assert_eq!(
        (loose.fault, loose.mode),
        (Fault::Flaps(flap), LossMode::Silent)
    );
    let wrong = |keys: &str| {
        with(&format!(
            "[[outage]]\nname = \"x\"\ntakes = \"edge-A\"\n{keys}\n"
        ))
    };
    let says = |keys: &str, what: &str| {
        let text = wrong(keys);
        assert!(text.contains(what), "{keys}: {text}");
        assert_eq!(text.lines().count(), 1, "{text}");
    };
    says(
        "rate = \"25%\"\nway = \"to-arrays\"",
        "outage `x` does several things to its parts",
    );
    says(
        "rate = \"25%\"\nmode = \"silent\"",
        "outage `x` has a `mode`, which means nothing here",
    );
    says(
        "way = \"to-hosts\"\nmode = \"loud\"",
        "outage `x` loses one way of links loudly",
    );
    says("period = \"2s\"", "outage `x` flaps and has no `count`");
    says("rate = \"0.1%\"", "`rate`");
}

/// What switches do is no timer of a host, whose table takes the same keys.
#[test]
fn a_timer_of_the_fabric_that_a_host_states_has_no_effect_and_is_told() {
    let files = |host: &str, top: &str| {
        format!(
            "format = 1\n{top}[[host]]\nname = \"db\"\n{host}\n[[array]]\nname = \"box\"\n[[link]]\nfrom = \"db\"\nto = \"box\"\n\
             speed = \"32GFC\"\n[[workload]]\nname = \"w\"\nhosts = \"db\"\narray = \"box\"\nprotocol = \"fc-scsi\"\n\
             sizes = \"8KiB\"\narrivals = {{ poisson = \"1k/s\" }}\n"
        )
    };
    let warned = |text: &str| -> Vec<(Option<u32>, u32, String, String)> {
        let source = crate::scenario::Source {
            name: "s.toml",
            text,
        };
        let loaded = crate::scenario::read(source, &[], &|name| Err(name.to_owned()))
            .expect("it can be read");
        let told = loaded.warnings.iter();
        told.map(|own| {
            (
                own.line,
                own.column,
                own.message.clone(),
                own.expected.clone(),
            )
        })
        .collect()
    };
    let found = warned(&files(
        "timers = { fast_io_fail = \"2s\", fc_reroute = \"2s\" }",
        "",
    ));
    let [(line, column, message, expected)] = &found[..] else {
        panic!("{found:?}");
    };
    assert_eq!((*line, *column), (Some(4), 46));
    assert!(
        message.starts_with("`fc_reroute` of ") && message.contains("no effect here"),
        "{message}"
    );
    assert_eq!(
        expected,
        "`fc_reroute` in [timers], where it holds for the whole site"
    );
    for timer in ["lag_rehash", "ethernet_reroute", "peer_loss", "fc_dead"] {
        assert_eq!(
            warned(&files(&format!("timers = {{ {timer} = \"2s\" }}"), "")).len(),
            1,
            "{timer}"
        );
    }
    // Where they belong, and what a host waits for by itself.
    assert_eq!(warned(&files("", "[timers]\nfc_reroute = \"2s\"\n")), []);
    assert_eq!(
        warned(&files("timers = { link_loss_detect = \"50ms\" }", "")),
        []
    );
}
