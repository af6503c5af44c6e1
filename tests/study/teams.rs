//! File traffic over a team of ports that does not see that its port leads nowhere: it has no path in the state after, whichever
//! study asks.

use super::rig::{ask, case, moved, origin, site, work};
use halfloom::outcome::{Because, Report, Verdict};
use halfloom::render::table::verdict_text;
use halfloom::site::Site;
use halfloom::study::headroom::{self, headroom};
use halfloom::study::singles::{AskSingles, each_part};
use halfloom::study::{Ask, NoProgress, study};

/// One host on two fabrics of an edge and a core each. `hole`: the core of A lets frames vanish; `dark`: it is lost with its
/// signal, of which the host sees nothing, for the edge keeps its ports up.
pub(crate) const TEAM: &str = r#"
format = 1
[run]
duration = "200ms"
warm_up = "20ms"
replications = 2
switch_replications = 1
settle_limit = "2s"
[[host]]
name = "app"
team = "first"
[[switch]]
name = "edge"
[[switch]]
name = "core"
[[array]]
name = "box"
controllers = 1
parallel = 8
read = { hit = "100%", hit_time = "100us" }
[[link]]
from = "app"
to = "edge"
speed = "25GbE"
[[link]]
from = "edge"
to = "core"
speed = "25GbE"
[[link]]
from = "core"
to = "box"
speed = "25GbE"
[[workload]]
name = "files"
hosts = "app"
array = "box"
protocol = "nfs"
sizes = "4KiB"
read = "100%"
arrivals = { paced = "200/s" }
promise = { mean = "1ms", lost = { mean = "1ms" }, switching = { failed = 0 } }
[[outage]]
name = "hole"
takes = ["core-A"]
mode = "silent"
[[outage]]
name = "dark"
takes = ["core-A"]
"#;

const PROBE: (&str, &str) = ("timers.team_probe", "1s");
const DROP: (&str, &str) = (
    "switch.edge.on_uplink_loss",
    "{ action = \"drop-host-ports\", after = \"200ms\" }",
);

/// The verdict on the mean in the state after an outage.
fn after(report: &Report, name: &str) -> Verdict {
    let state = report
        .matrix
        .cases
        .iter()
        .position(|case| case.name == name);
    let row = report.matrix.rows.iter().find(|row| !row.switching);
    let cells = row.map(|row| &row.cells);
    cells
        .and_then(|cells| cells[state?].as_ref())
        .map(|cell| cell.verdict)
        .expect("it is judged")
}

#[test]
fn a_team_that_sees_nothing_has_no_path_in_the_state_after() {
    let own = site(TEAM, &[]);
    for switch in [true, false] {
        let report = ask(&own, &[], switch);
        for (outage, state) in [("hole", "hole lost"), ("dark", "dark lost")] {
            let files = work(case(&report, state), "files");
            assert!(files.all.failed > 0, "{outage}");
            assert_eq!(files.all.failed, files.all.ios, "{outage}");
            assert_eq!(after(&report, state), Verdict::Missed, "{outage}");
            if switch {
                let found = report.switches.iter().find(|own| own.case.name == state);
                let found = found.expect("it was asked for");
                let files = moved(found, "files");
                assert!(files.failed[0] > 0, "{outage}");
                // A backlog that has failed has not been worked off.
                assert!(files.fails_after && files.drain_s.is_none());
            }
        }
        let cut_off = report
            .review
            .findings
            .iter()
            .filter(|own| own.kind == "cut off");
        assert_eq!(cut_off.count(), 2);
    }
}

#[test]
fn a_team_that_sees_the_loss_goes_on_over_the_other_port() {
    let kept = |set: &[(&str, &str)]| {
        let report = ask(&site(TEAM, set), &[], false);
        [after(&report, "hole lost"), after(&report, "dark lost")]
    };
    assert_eq!(kept(&[PROBE]), [Verdict::Met; 2]);
    // Ports that are taken down are seen; frames that vanish are not.
    assert_eq!(kept(&[DROP]), [Verdict::Missed, Verdict::Met]);
    // What is emptied first is left on purpose.
    let own = site(TEAM, &[]);
    let planned = Ask {
        switch: true,
        planned: true,
        ..Ask::default()
    };
    let report = study(&own, origin(&own), &planned, &NoProgress);
    assert_eq!(after(&report, "hole lost"), Verdict::Met);
    let said = "The losses are planned: the parts are drained 1\u{202f}s before they are lost.";
    let headline = verdict_text(&report).replace('\n', " ");
    assert!(headline.contains(said), "{headline}");
    assert!(
        report
            .switches
            .iter()
            .all(|own| moved(own, "files").failed == [0])
    );
}

#[test]
fn every_study_says_the_same_of_a_team_that_sees_nothing() {
    let own = site(TEAM, &[]);
    for switch in [false, true] {
        let asked = AskSingles {
            switch,
            ..AskSingles::default()
        };
        let found = each_part(&own, origin(&own), &asked, &NoProgress).each_part;
        let found = found.expect("it was asked for");
        let lost = |part: &str| {
            let (column, case) = found
                .losses()
                .find(|(_, own)| own.part == part)
                .expect(part);
            let cell = found.matrix.rows[0].cells[column].as_ref();
            (cell.map(|cell| cell.verdict), case.cut_off.len())
        };
        assert_eq!(lost("core-A"), (Some(Verdict::Missed), 1));
        assert_eq!(lost("edge-A"), (Some(Verdict::Met), 0));
        assert_eq!(lost("core-B"), (Some(Verdict::Met), 0));
    }
    let load = headroom::Ask {
        outages: None,
        most: 2.0,
        switch_overs: false,
    };
    let found = headroom(&own, origin(&own), &load, &NoProgress);
    let hopeless = |name: &str| {
        let case = found.cases.iter().find(|own| own.case.name == name);
        case.and_then(|own| own.hopeless.as_ref())
            .map(|own| own.because.clone())
    };
    assert_eq!(hopeless("hole lost"), Some(Because::NoPath));
    assert_eq!(hopeless("healthy"), None);
    let seen: Site = site(TEAM, &[PROBE]);
    let found = headroom(&seen, origin(&seen), &load, &NoProgress);
    assert!(found.cases.iter().all(|own| own.hopeless.is_none()));
}

/// Fabric A is out, so that the teams of two hosts are on B: a controller is then no more than half of what they reach, and a host's port
/// on B cuts that host off alone; in the state after as in the switch-over.
#[test]
fn teams_have_left_the_ports_of_a_fabric_that_is_out() {
    let text = TEAM
        .replace("team = \"first\"", "team = \"first\"\ncount = 2")
        .replace("controllers = 1", "controllers = 2");
    let own = site(&text, &[DROP]);
    let ask = AskSingles {
        during: Some("A".to_owned()),
        switch: true,
        ..AskSingles::default()
    };
    let report = each_part(&own, origin(&own), &ask, &NoProgress);
    let each = report.each_part.expect("it was asked for");
    let found = |part: &str| {
        let mut cases = each.cases.iter().enumerate();
        let (column, case) = cases
            .find(|(_, case)| case.part == part || case.alike.contains(&part.to_owned()))
            .unwrap_or_else(|| panic!("no case of {part}"));
        let mean = each.matrix.rows.iter().find(|row| !row.switching);
        let verdict = mean.and_then(|row| row.cells[column].as_ref());
        let over = case.switch_over.as_ref().expect("it was asked for");
        (
            case.cut_off.len(),
            verdict.map(|cell| cell.verdict),
            over.failed,
        )
    };
    assert_eq!(found("box-c1"), (0, Some(Verdict::Met), 0));
    let (cut, verdict, failed) = found("app-1:B1");
    assert_eq!((cut, verdict), (1, Some(Verdict::Missed)));
    assert!(failed > 0);
}
