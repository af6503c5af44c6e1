//! Hosts that are lost or drained themselves: what they ask for, who does their work, and what is judged of it.

use super::rig::{ask, case, origin, site, work};
use halfloom::outcome::{LeftOpen, MeasureKind, Reference, Report, Verdict};
use halfloom::site::Site;
use halfloom::study::singles::{AskSingles, each_part};
use halfloom::study::{Ask, NoProgress, simulate, study};

/// Two chassis of one host each; 2,000 I/Os a second, of which each host asks for half.
const CRATES: &str = r#"
format = 1
run = { duration = "200ms", replications = 2, switch_replications = 1 }
[[chassis]]
name = "crate"
count = 2
holds = { vm = 1 }
[[host]]
name = "vm"
timers = { guest_detect = "4s", guest_restart = "8s" }
[[switch]]
name = "mod"
per = "crate"
[[switch]]
name = "core"
[[array]]
name = "box"
[[link]]
from = "vm"
to = "mod"
speed = "25GbE"
[[link]]
from = "mod"
to = "core"
speed = "25GbE"
[[link]]
from = "core"
to = "box"
speed = "25GbE"
[[workload]]
name = "w"
hosts = "vm"
array = "box"
protocol = "nvme-tcp"
sizes = "8KiB"
arrivals = { paced = "2k/s" }
promise = { mean = "1ms", throughput = "10MB/s", switching = { failed = 0 } }
[[outage]]
name = "out"
takes = "crate-1"
[[outage]]
name = "host out"
takes = "vm-1"
[[outage]]
name = "feed out"
takes = "feed"
[[group]]
name = "feed"
parts = ["crate-1", "core-A"]
"#;

const RESTART: &[(&str, &str)] = &[("host.vm.guests", "restart")];

fn verdicts(report: &Report) -> Vec<(MeasureKind, Vec<Option<Verdict>>)> {
    let rows = report.matrix.rows.iter();
    rows.map(|row| {
        let cells = row.cells.iter();
        let cells = cells.map(|cell| cell.as_ref().map(|cell| cell.verdict));
        (row.measure, cells.collect())
    })
    .collect()
}

/// In the state after an outage a host that took its work along asks for nothing, and none of it fails; a throughput that all hosts
/// have together is not judged then. With a restart everything is asked for, and judged.
#[test]
fn hosts_that_are_lost_with_their_work_ask_for_nothing_after_it() {
    for outage in ["out", "host out", "feed out"] {
        let site_ = site(CRATES, &[]);
        let report = ask(&site_, &[outage], true);
        let after = work(case(&report, &format!("{outage} lost")), "w").clone();
        assert_eq!(
            (after.all.failed, after.all.offered_iops.value.round()),
            (0, 1_000.0)
        );
        let met = Some(Verdict::Met);
        let wanted = [
            (MeasureKind::Mean, vec![met, met]),
            (MeasureKind::Throughput, vec![met, None]),
            (MeasureKind::Failed, vec![None, met]),
        ];
        assert_eq!(verdicts(&report), wanted, "{outage}");
        let report = ask(&site(CRATES, RESTART), &[outage], true);
        let after = work(case(&report, &format!("{outage} lost")), "w").clone();
        assert_eq!(
            (after.all.failed, after.all.offered_iops.value.round()),
            (0, 2_000.0)
        );
        assert_eq!(verdicts(&report)[1].1, [met, met], "{outage}");
    }
}

/// While an outage is in force that takes hosts, they are gone in every case: nobody cuts them off, and none of their work fails.
#[test]
fn hosts_gone_with_the_outage_in_force_are_gone_in_every_case() {
    let said = |site: &Site, switch: bool| {
        let asked = AskSingles {
            during: Some("out".to_owned()),
            switch,
            ..AskSingles::default()
        };
        let report = each_part(site, origin(site), &asked, &NoProgress);
        report.each_part.expect("it was asked for")
    };
    for set in [&[][..], RESTART] {
        for switch in [false, true] {
            let each = said(&site(CRATES, set), switch);
            let mut judged = 0;
            for (column, part) in each.losses() {
                // The last host is cut off only where guests are to run on it.
                let last = part.part == "crate-2";
                assert_eq!(
                    part.cut_off.is_empty(),
                    !last || set.is_empty(),
                    "{}",
                    part.part
                );
                for row in each.matrix.rows.iter().filter(|_| !last) {
                    let Some(cell) = &row.cells[column] else {
                        let stays = set.is_empty() && row.measure == MeasureKind::Throughput;
                        // A part with hosts has no switch-over.
                        assert!(stays || row.switching && !part.gone_hosts.is_empty());
                        continue;
                    };
                    judged += 1;
                    assert_eq!(
                        (cell.verdict, cell.failed),
                        (Verdict::Met, 0),
                        "{}",
                        part.part
                    );
                }
            }
            assert!(judged > 5, "{judged}");
        }
    }
}

/// To drain a chassis first is no worse than to lose it: no I/O of its hosts fails, and where guests can move all of them are asked
/// for.
#[test]
fn a_planned_loss_of_hosts_fails_nothing() {
    for (set, all) in [(&[][..], false), (RESTART, true)] {
        let own = site(CRATES, set);
        for outage in ["out", "host out", "feed out"] {
            let asked = Ask {
                outages: Some(vec![outage.to_owned()]),
                switch: true,
                mends: false,
                planned: true,
            };
            let report = study(&own, origin(&own), &asked, &NoProgress);
            let work = &report.switches[0].workloads[0];
            assert_eq!((work.failed[0], work.lost_with_host[0]), (0, 0), "{outage}");
            assert_eq!(work.unasked[0] == 0, all, "{outage}");
            let moved = "1 host drained: its guests moved to the others of the family";
            let idle = "1 host drained with its work: asks for nothing new";
            let told = |what: &str| report.switches[0].events.iter().any(|e| e.what == what);
            assert_eq!((told(moved), told(idle)), (all, !all), "{outage}");
            assert!(report.switches[0].settled_s.is_some());
        }
    }
}

/// Nothing has settled before the guests of lost hosts run again, however wide the band is that it is compared with: the run
/// goes on to the restart, counts all that was not asked for until then, and settles after it.
#[test]
fn nothing_has_settled_before_guests_run_again() {
    let text = CRATES.replace("paced", "poisson");
    for (replications, outage) in [
        ("1", "out"),
        ("2", "out"),
        ("3", "host out"),
        ("2", "feed out"),
    ] {
        let mut set = RESTART.to_vec();
        set.push(("run.replications", replications));
        let own = site(&text, &set);
        let report = ask(&own, &[outage], true);
        let switch = &report.switches[0];
        let restart = switch
            .events
            .iter()
            .find(|event| event.what.starts_with("guests of 1"));
        assert_eq!(restart.map(|event| event.t_s), Some(12.0));
        assert!(
            switch.settled_s.is_some_and(|at| at >= 12.0),
            "{:?}",
            switch.settled_s
        );
        let unasked = switch.workloads[0].unasked[0];
        assert!(unasked.abs_diff(12_000) < 500, "{unasked}");
    }
}

/// The same of events of the scenario: with the restart of what was lost last.
#[test]
fn events_settle_after_the_restart_of_guests() {
    let text = format!("{CRATES}[[event]]\nat = \"200ms\"\nlose = \"crate-1\"\n");
    let mut set = RESTART.to_vec();
    set.push(("run.replications", "1"));
    let own = site(&text, &set);
    let report = simulate(&own, origin(&own), &NoProgress);
    assert!(report.switches[0].settled_s.is_some_and(|at| at >= 12.0));
}

/// Two hosts that read at random, 15,500 reads of 64 KiB a second each, over a link of 8GFC a fabric: 800 MB/s each, 12,000 such
/// reads. One host with the work of both is asked for 31,000 and carries 24,000.
fn pair(more: &str) -> String {
    format!(
        r#"
format = 1
run = {{ duration = "100ms", warm_up = "20ms", replications = 2, switch_replications = 1, settle_limit = "1s" }}
timers = {{ guest_detect = "500ms", guest_restart = "500ms", path_check = "200ms" }}
[[host]]
name = "vm"
count = 2
guests = "restart"
[[switch]]
name = "core"
[[array]]
name = "box"
parallel = 200
read = {{ hit_time = "100us", miss_time = "100us" }}
[[link]]
from = "vm"
to = "core"
speed = "8GFC"
[[link]]
from = "core"
to = "box"
speed = "32GFC"
ports = 2
[[workload]]
name = "w"
hosts = "vm"
array = "box"
protocol = "fc-scsi"
read = 1
sizes = "64KiB"
arrivals = {{ poisson = "31k/s" }}
promise = {{ p99 = "1ms", switching = {{ longest_io = "20s", failed = 0 }} }}
{more}"#
    )
}

/// A host that is back does not get its guests back: the state after it is that of the other host with all of the work, and is
/// missed as it is while the host is gone. So it is of a reboot as an outage and as events, and of a drain that is over.
#[test]
fn guests_stay_where_they_were_restarted_when_their_host_is_back() {
    let outages = r#"
[[outage]]
name = "reboot"
takes = "vm-1"
period = "4s"
count = 1
down = "1500ms"
[[outage]]
name = "gone"
takes = "vm-1"
"#;
    let report = ask(&site(&pair(outages), &[]), &["reboot", "gone"], true);
    let rows = verdicts(&report);
    let (met, missed) = (Some(Verdict::Met), Some(Verdict::Missed));
    assert_eq!(rows[0].1, [met, missed, missed], "{:?}", rows[0]);
    assert!(case(&report, "reboot flapped").saturated);
    let switch = &report.switches[0];
    assert_eq!(switch.settles_to, Reference::GuestsElsewhere);
    assert_eq!(switch.settled_s, None);
    // Without its switch-over the same is found by timers alone.
    let steady = ask(&site(&pair(outages), &[]), &["reboot"], false);
    assert!(case(&steady, "reboot flapped").saturated);
    // A host that is back before it was taken for lost keeps its guests.
    let short = outages.replace("1500ms", "300ms");
    let report = ask(&site(&pair(&short), &[]), &["reboot"], false);
    assert!(!case(&report, "reboot flapped").saturated);
    for gone in ["lose", "drain"] {
        let events = format!(
            "[[event]]\nat = \"200ms\"\n{gone} = \"vm-1\"\n[[event]]\nat = \"1700ms\"\nrestore = \"vm-1\"\n"
        );
        let site = site(&pair(&events), &[]);
        let report = simulate(&site, origin(&site), &NoProgress);
        assert_eq!(report.switches[0].settles_to, Reference::GuestsElsewhere);
        let rows = verdicts(&report);
        assert_eq!(rows[0].1, [met, missed], "{gone}: {:?}", rows[0]);
        assert_eq!(
            rows[1].1[1],
            Some(Verdict::Undecided),
            "{gone}: {:?}",
            rows[1]
        );
    }
}

/// A scripted run into a state that is asked for more than it carries judges the longest I/O as the outage of the same parts does.
#[test]
fn the_longest_io_of_events_is_not_met_where_work_piles_up_after_them() {
    let outage = pair("[[outage]]\nname = \"A\"\ntakes = \"core-A\"\n");
    let events = pair("[[event]]\nat = \"200ms\"\nlose = \"core-A\"\n");
    let by_outage = ask(&site(&outage, &[]), &["A"], true);
    let site = site(&events, &[]);
    let by_events = simulate(&site, origin(&site), &NoProgress);
    for report in [by_outage, by_events] {
        let row = report.matrix.rows.iter();
        let row = row
            .clone()
            .find(|row| row.measure == MeasureKind::LongestIo);
        let cell = row.and_then(|row| row.cells[1].as_ref());
        let cell = cell.expect("it is judged");
        assert_eq!(cell.verdict, Verdict::Undecided);
        assert!(
            matches!(
                cell.left_open,
                Some(LeftOpen::PilesUp | LeftOpen::Waiting(_))
            ),
            "{:?}",
            cell.left_open
        );
    }
}
