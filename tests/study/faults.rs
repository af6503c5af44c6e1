//! Outages that are more than a loss: one way, slow, damaging frames, flapping. What each means is said again in another way, by
//! a site that is written so or by events, and both must give the same.

use super::rig::{Twin, ask, case, eight_us, json, moved, origin, reads, same, site, work, writes};
use halfloom::outcome::{Begin, LeftOpen, MeasureKind, Reference, Report, Verdict};
use halfloom::render::table::report_text;
use halfloom::study::estimate::estimate;
use halfloom::study::{NoProgress, simulate};
use halfloom::topology::Fabric;

const RUN: &str = "duration = \"300ms\"\nwarm_up = \"20ms\"\nreplications = 2\nswitch_replications = 2\nsettle_limit = \"3s\"";

/// Writes of 8 us over two links of 10 Gb/s, paced far below what they carry, with an outage and with events.
fn text(near: &str, more: &str) -> String {
    let work = writes("{ poisson = \"20k/s\" }", "{ mean = \"100us\" }");
    let near = format!("speed = \"{near}\"\npropagation = \"0s\"");
    Twin {
        run: RUN,
        timers: "command_timeout = \"500ms\"",
        near: &near,
        name: "logs",
        work: &work,
        more,
        ..eight_us()
    }
    .text()
}

fn of(more: &str, outage: &str) -> Report {
    ask(&site(&text("10Gb/s", more), &[]), &[outage], true)
}

fn scripted(more: &str) -> Report {
    let site = site(&text("10Gb/s", more), &[]);
    simulate(&site, origin(&site), &NoProgress)
}

fn verdict(report: &Report, column: usize) -> Verdict {
    let row = report.matrix.rows.iter().find(|row| !row.switching);
    let cell = row.expect("a mean is promised").cells[column].as_ref();
    cell.expect("it is judged").verdict
}

#[test]
fn the_state_after_a_slow_outage_is_the_site_with_slower_links() {
    let slow = "[[outage]]\nname = \"dim\"\ntakes = \"*~core-*\"\nrate = \"25%\"";
    let report = of(slow, "dim");
    assert_eq!(report.switches[0].counted_from, Begin::Outage);
    assert!(report_text(&report).contains("events, seconds after the outage began"));
    let written = ask(&site(&text("2.5Gb/s", ""), &[]), &["A"], false);
    let found = case(&report, "dim slow");
    let expected = case(&written, "healthy");
    same(
        "slow against written slow",
        &json(&found.workloads),
        &json(&expected.workloads),
    );
    // 32 us for each of 20,000 writes over two links: 32 % busy, as arithmetic has it too.
    let busy = found.directions.iter().map(|own| own.utilization_percent);
    let busy = busy.fold(0.0, f64::max);
    assert!((28.0..36.0).contains(&busy), "{busy}");
    let site = site(&text("10Gb/s", slow), &[]);
    let fullest = estimate(&site, &Fabric::new(&site)).fullest("dim slow");
    assert!(
        fullest.is_some_and(|load| (load - 0.32).abs() < 1e-9),
        "{fullest:?}"
    );
    let switch = &report.switches[0];
    assert_eq!(switch.settles_to, Reference::StaysSlow);
    assert!(
        switch.settled_s.is_some_and(|s| s < 1.0),
        "{:?}",
        switch.settled_s
    );
    assert!(
        switch
            .events
            .iter()
            .any(|event| event.what.contains("down to 25"))
    );
    assert_eq!(verdict(&report, 1), Verdict::Met);
    assert!(
        report
            .review
            .findings
            .iter()
            .any(|own| own.kind == "no closed form")
    );
}

#[test]
fn a_slow_outage_that_does_not_carry_the_work_is_missed_by_both_commands() {
    let slow = "[[outage]]\nname = \"dim\"\ntakes = \"*~core-*\"\nrate = \"6%\"";
    let report = of(slow, "dim");
    assert!(case(&report, "dim slow").saturated);
    assert_eq!(verdict(&report, 1), Verdict::Missed);
    // 133 us for each write: 20,000 a second ask two links for 133 %.
    let event = "[[event]]\nat = \"50ms\"\nslow = \"*~core-*\"\nrate = \"6%\"";
    let report = scripted(event);
    assert_eq!(verdict(&report, 1), Verdict::Missed);
    assert_eq!(report.switches[0].settled_s, None);
}

/// Arithmetic counts nothing for what is sent again: it says so where an outage damages frames, and of no other.
#[test]
fn arithmetic_says_that_it_leaves_out_what_is_sent_again() {
    for (ill, said) in [("loss = \"1%\"", true), ("rate = \"25%\"", false)] {
        let outage = format!("[[outage]]\nname = \"dirt\"\ntakes = \"*~core-*\"\n{ill}");
        let site = site(&text("10Gb/s", &outage), &[]);
        let review = halfloom::study::review::review(&site);
        let found: Vec<&str> = review
            .findings
            .iter()
            .filter(|own| own.kind == "damaged frames")
            .map(|own| own.what.as_str())
            .collect();
        let words = "what is full by arithmetic is about so with dirt damaging frames: ";
        assert_eq!(found.len(), usize::from(said), "{found:?}");
        assert!(
            found.iter().all(|what| what.starts_with(words)),
            "{found:?}"
        );
    }
}

#[test]
fn a_damaging_outage_costs_what_its_timers_say() {
    // A write of which a frame is damaged on its way there or back is sent again after 20 ms: one in fifty is, which makes 400 us
    // on the mean.
    let ill = "[[outage]]\nname = \"dirt\"\ntakes = \"*~core-*\"\nloss = \"1%\"";
    let set = [("timers.command_timeout", "20ms")];
    let report = ask(&site(&text("10Gb/s", ill), &set), &["dirt"], true);
    let found = work(case(&report, "dirt damaging frames"), "logs");
    let mean = found.all.mean_us.expect("most arrive").value;
    assert!((300.0..600.0).contains(&mean), "{mean}");
    assert_eq!(verdict(&report, 1), Verdict::Missed);
    assert!(moved(&report.switches[0], "logs").retried > 0);
}

#[test]
fn one_way_is_lost_as_an_event_loses_it() {
    let outage = "[[outage]]\nname = \"blind\"\ntakes = \"core-A\"\nway = \"to-hosts\"\n";
    let report = of(outage, "blind");
    let switch = &report.switches[0];
    // Nothing tells, so that a command has to time out.
    let longest = moved(switch, "logs").longest_io_s[0];
    assert!((0.5..0.6).contains(&longest), "{longest}");
    assert!(switch.silent);
    let survivors = ask(&site(&text("10Gb/s", ""), &[]), &["A"], false);
    same(
        "one way against both",
        &json(&case(&report, "blind lost").workloads),
        &json(&case(&survivors, "A lost").workloads),
    );
    // An event that names the outage loses the same way; one that says how loses both.
    let way = |more: &str| {
        let report = scripted(&format!(
            "{outage}[[event]]\nat = \"50ms\"\nlose = \"blind\"\n{more}"
        ));
        report.switches[0].events[0].what.clone()
    };
    assert_eq!(way(""), "blind lost silently, towards the hosts");
    assert_eq!(way("mode = \"loud\""), "blind lost");
}

#[test]
fn a_flapping_outage_leaves_the_whole_site() {
    let outage = "[[outage]]\nname = \"loose\"\ntakes = \"core-A\"\nperiod = \"1s\"\ncount = 2\ndown = \"300ms\"";
    let report = of(outage, "loose");
    same(
        "after the flaps",
        &json(&case(&report, "loose flapped").workloads),
        &json(&case(&report, "healthy").workloads),
    );
    let switch = &report.switches[0];
    assert_eq!((switch.losses, switch.settles_to), (2, Reference::Healthy));
    let settled = switch.settled_s.expect("all is there again");
    assert!(settled > 1.3, "{settled}");
    let told = |what: &str| switch.events.iter().any(|event| event.what == what);
    assert!(told("loose lost (flap 1 of 2): core-A"));
    assert!(told("loose restored (flap 2 of 2): core-A"));
}

/// What waits for a timer longer than the run is in no mean, so that none is proven.
#[test]
fn a_mean_is_not_proven_while_damage_holds_ios_up_for_longer_than_the_run() {
    let ill = "[[outage]]\nname = \"dirt\"\ntakes = \"*~core-A\"\nloss = \"0.01%\"";
    let set = [
        ("timers.command_timeout", "30s"),
        ("run.replications", "3"),
        ("run.drain_limit", "100ms"),
    ];
    let report = ask(&site(&text("10Gb/s", ill), &set), &["dirt"], false);
    let found = work(case(&report, "dirt damaging frames"), "logs");
    assert!(found.all.unfinished > 0 && !found.saturated, "{found:?}");
    assert_eq!(verdict(&report, 0), Verdict::Met);
    assert_eq!(verdict(&report, 1), Verdict::Undecided);
}

/// A fabric that is away for 10 s and back leaves the paths over it out of use where somebody has to fail them back, or where NVMe has
/// given them up: that is known without a switch-over, and is the state that the switch-over ends in.
#[test]
fn the_state_after_a_flap_is_known_without_its_switch_over() {
    let flap = "[[outage]]\nname = \"hiccup\"\ntakes = [\"core-A\"]\nperiod = \"20s\"\ndown = \"10s\"\ncount = 1\n";
    let run = "duration = \"40ms\"\nwarm_up = \"5ms\"\nreplications = 2\nswitch_replications = 1\nsettle_limit = \"1s\"";
    let fc = |timers: &str| format!("{}{flap}", reads(r#"{ paced = "200/s" }"#, run, timers));
    let nvme = |timers: &str| fc(timers).replace("fc-scsi", "fc-nvme");
    let manual = "failback = \"manual\"";
    for (text, stay) in [
        (fc(manual), true),
        (fc(""), false),
        (nvme("controller_loss = \"2s\""), true),
        (nvme(""), false),
    ] {
        let own = site(&text, &[]);
        let [alone, both] = [false, true].map(|switch| ask(&own, &["hiccup"], switch));
        let state = case(&alone, "hiccup flapped");
        let over = |letter: &str| {
            let paths = state
                .paths
                .iter()
                .filter(|path| path.host_port.contains(letter));
            paths.map(|path| path.completed).sum::<u64>()
        };
        assert_eq!(over(":A") == 0, stay, "{text}");
        assert!(over(":B") > 0);
        same("hiccup", &json(state), &json(case(&both, "hiccup flapped")));
        let settles = both.switches[0].settles_to;
        assert_eq!(settles == Reference::WithoutPaths, stay);
    }
}

/// Everything is lost and hosts hold what they have: no promise about the longest I/O is kept or broken while it waits, and no number of
/// replications tells.
#[test]
fn what_waits_to_the_end_is_said_where_it_leaves_a_promise_open() {
    let run = "duration = \"40ms\"\nwarm_up = \"5ms\"\nreplications = 2\nswitch_replications = 2\nsettle_limit = \"500ms\"";
    let text = reads(r#"{ paced = "200/s" }"#, run, "no_path = \"queue\"").replace(
        "p99 = \"5ms\" }",
        "p99 = \"5ms\", switching = { longest_io = \"1h\" } }",
    );
    let all = "[[outage]]\nname = \"all\"\ntakes = [\"core-*\"]\n";
    let own = site(&format!("{text}{all}"), &[]);
    let report = ask(&own, &["all"], true);
    let rows = || report.matrix.rows.iter();
    let row = rows().find(|row| row.measure == MeasureKind::LongestIo);
    let cell = row
        .and_then(|row| row.cells[1].as_ref())
        .expect("it is judged");
    assert_eq!(cell.verdict, Verdict::Undecided);
    assert_eq!(cell.left_open, Some(LeftOpen::Waiting(2)));
    assert_eq!(cell.replications_needed, None);
    let text = report_text(&report);
    assert!(
        text.contains("undecided, waits to the end in 2 of 2 runs"),
        "{text}"
    );
}

/// Behind a link that damages 30 % of the frames two reads in three wait for their command timeout of 30 s, eight on each of two paths at
/// most; all the rest goes on over B. A run of a second, or of three with time to drain, shows no saturation and decides nothing of p99.
#[test]
fn what_waits_longer_than_the_run_behind_a_damaging_link_is_no_saturation() {
    for (duration, drain) in [("1s", "1s"), ("3s", "60s")] {
        let run = format!(
            "duration = \"{duration}\"\nwarm_up = \"100ms\"\nreplications = 2\nswitch_replications = 1\ndrain_limit = \"{drain}\""
        );
        let text = Twin {
            run: &run,
            host: "queue_depth = 8\npaths = \"round-robin\"",
            array: "controllers = 2\nread = { hit = \"100%\", hit_time = \"100us\" }",
            near: "speed = \"32GFC\"",
            far: "speed = \"32GFC\"",
            name: "w",
            work: "protocol = \"fc-nvme\"\nread = \"100%\"\nsizes = \"8KiB\"\narrivals = { paced = \"200/s\" }\npromise = { p99 = \"2ms\" }",
            more: "[[outage]]\nname = \"dirt\"\ntakes = \"*~core-A\"\nloss = \"30%\"\n",
            ..Twin::default()
        }
        .text();
        let report = ask(&site(&text, &[]), &["dirt"], false);
        let found = work(case(&report, "dirt damaging frames"), "w");
        assert!(!found.saturated, "{duration}: {found:?}");
        let row = report.matrix.rows.iter().find(|row| !row.switching);
        let cell = row.and_then(|row| row.cells[1].as_ref());
        let cell = cell.expect("p99 is promised");
        assert_eq!(cell.verdict, Verdict::Undecided, "{duration}");
        assert_eq!(cell.left_open, Some(LeftOpen::RunTooShort), "{duration}");
    }
}
