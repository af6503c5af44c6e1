//! One test for each kind of problem: where it is reported and in which words.

use super::{DEMO, read_text};
use crate::scenario::Problem;

/// The smallest sound scenario, by which one change makes one problem.
const SMALL: &str = r#"format = 1
[[host]]
name = "db"
[[switch]]
name = "edge"
[[array]]
name = "vault"
[[link]]
from = "db"
to = "edge"
speed = "25GbE"
[[link]]
from = "edge"
to = "vault"
speed = "25GbE"
[[workload]]
name = "orders"
hosts = "db"
array = "vault"
protocol = "nvme-tcp"
arrivals = { poisson = "20k/s" }
sizes = "8KiB"
"#;

fn problems(text: &str, set: &[(&str, &str)]) -> Vec<Problem> {
    read_text(text, set).map_or_else(|problems| problems, |_| Vec::new())
}

/// `line:column^length message | expected` of each problem of the small scenario with one change.
fn changed(from: &str, to: &str) -> String {
    assert_eq!(
        SMALL.matches(from).count().min(1),
        1,
        "`{from}` is in the text"
    );
    short(&problems(&SMALL.replacen(from, to, 1), &[]))
}

fn short(problems: &[Problem]) -> String {
    let lines: Vec<String> = problems
        .iter()
        .map(|problem| {
            let line = problem
                .line
                .map_or_else(|| problem.file.clone(), |line| line.to_string());
            format!(
                "{line}:{}^{} {} | {}",
                problem.column, problem.length, problem.message, problem.expected
            )
        })
        .collect();
    lines.join("\n")
}

#[test]
fn the_small_scenario_is_sound() {
    assert_eq!(short(&problems(SMALL, &[])), "");
}

#[test]
fn a_problem_quotes_its_line() {
    let found = problems(&SMALL.replace("to = \"edge\"", "to = \"edgy\""), &[]);
    insta::assert_snapshot!(found[0].to_string(), @"");
}

#[test]
fn a_problem_of_an_override_quotes_the_override() {
    let found = problems(SMALL, &[("run.sed", "3")]);
    insta::assert_snapshot!(found[0].to_string(), @"");
}

#[test]
fn all_problems_come_at_once() {
    let text = SMALL
        .replace("25GbE", "24GbE")
        .replace("\"vault\"", "\"fault\"")
        .replace("8KiB", "8KB");
    insta::assert_snapshot!(short(&problems(&text, &[])), @"");
}

#[test]
fn syntax() {
    insta::assert_snapshot!(changed("format = 1", "format = = 1"), @"");
}

#[test]
fn unknown_key() {
    insta::assert_snapshot!(changed("name = \"db\"", "name = \"db\"\nqueue_dept = 3"), @"");
}

#[test]
fn unknown_table() {
    insta::assert_snapshot!(changed("[[host]]", "[[hots]]\n[[host]]"), @"");
}

#[test]
fn single_brackets() {
    insta::assert_snapshot!(changed("[[array]]", "[array]"), @"");
}

#[test]
fn wrong_type() {
    insta::assert_snapshot!(changed("name = \"db\"", "name = \"db\"\ncount = \"six\""), @"");
}

#[test]
fn zero_count() {
    insta::assert_snapshot!(changed("name = \"db\"", "name = \"db\"\ncount = 0"), @"");
}

#[test]
fn wrong_unit() {
    insta::assert_snapshot!(changed("\"20k/s\"", "\"20kHz\""), @"");
}

#[test]
fn no_unit() {
    insta::assert_snapshot!(changed("\"20k/s\"", "20000"), @"");
}

#[test]
fn zero_rate() {
    insta::assert_snapshot!(changed("\"20k/s\"", "\"0/s\""), @"");
}

#[test]
fn huge_rate() {
    insta::assert_snapshot!(changed("\"20k/s\"", "\"99999M/s\""), @"");
}

#[test]
fn zero_size() {
    insta::assert_snapshot!(changed("\"8KiB\"", "\"0KiB\""), @"");
}

#[test]
fn huge_size() {
    insta::assert_snapshot!(changed("\"8KiB\"", "\"1GiB\""), @"");
}

#[test]
fn nan_share() {
    insta::assert_snapshot!(changed("protocol =", "read = nan\nprotocol ="), @"");
}

#[test]
fn large_share() {
    insta::assert_snapshot!(changed("protocol =", "read = \"170%\"\nprotocol ="), @"");
}

#[test]
fn mix_sum() {
    insta::assert_snapshot!(changed("\"8KiB\"", "{ \"8KiB\" = 0.6, \"64KiB\" = 0.5 }"), @"");
}

#[test]
fn dangling_array() {
    insta::assert_snapshot!(changed("array = \"vault\"", "array = \"vualt\""), @"");
}

#[test]
fn dangling_host() {
    insta::assert_snapshot!(changed("hosts = \"db\"", "hosts = [\"db\", \"web\"]"), @"");
}

#[test]
fn host_to_host() {
    insta::assert_snapshot!(changed("to = \"edge\"", "to = \"db\""), @"");
}

#[test]
fn wrong_way() {
    insta::assert_snapshot!(changed("from = \"edge\"\nto = \"vault\"", "from = \"vault\"\nto = \"edge\""), @"");
}

#[test]
fn unknown_technology() {
    insta::assert_snapshot!(changed("\"25GbE\"", "\"26GbE\""), @"");
}

#[test]
fn slow_rate() {
    insta::assert_snapshot!(changed("\"25GbE\"", "\"0Gb/s\""), @"");
}

#[test]
fn duplicate_name() {
    insta::assert_snapshot!(changed("[[array]]\nname = \"vault\"", "[[array]]\nname = \"db\""), @"");
}

#[test]
fn bad_name() {
    insta::assert_snapshot!(changed("name = \"db\"", "name = \"db 1\""), @"");
}

#[test]
fn side_name() {
    insta::assert_snapshot!(changed("name = \"edge\"", "name = \"edge-A\""), @"");
}

#[test]
fn missing_name() {
    insta::assert_snapshot!(changed("[[switch]]\nname = \"edge\"\n", "[[switch]]\n"), @"");
}

#[test]
fn no_speed() {
    insta::assert_snapshot!(changed("to = \"edge\"\nspeed = \"25GbE\"", "to = \"edge\""), @"");
}

#[test]
fn lit_beyond_legs() {
    insta::assert_snapshot!(changed("to = \"edge\"", "to = \"edge\"\ncage = { legs = 4, lit = 5 }"), @"");
}

#[test]
fn ports_without_array() {
    insta::assert_snapshot!(changed("to = \"edge\"", "to = \"edge\"\nports = 2"), @"");
}

#[test]
fn lag_without_pair() {
    insta::assert_snapshot!(changed("to = \"edge\"", "to = \"edge\"\nlag = \"across\""), @"");
}

#[test]
fn one_to_one() {
    insta::assert_snapshot!(changed("to = \"edge\"", "to = \"edge\"\nwiring = \"one-to-one\""), @"");
}

#[test]
fn frame_choice() {
    insta::assert_snapshot!(changed("to = \"edge\"", "to = \"edge\"\nchoose = \"frame\""), @"");
}

#[test]
fn exchange_of_ip() {
    insta::assert_snapshot!(changed("to = \"edge\"", "to = \"edge\"\nchoose = \"exchange\""), @"");
}

#[test]
fn fc_carries_ip() {
    insta::assert_snapshot!(changed("speed = \"25GbE\"", "speed = \"32GFC\"\ncarries = \"ip\""), @"");
}

#[test]
fn fc_mtu() {
    insta::assert_snapshot!(changed("speed = \"25GbE\"", "speed = \"32GFC\"\nmtu = 9000"), @"");
}

#[test]
fn mtu_too_large() {
    insta::assert_snapshot!(changed("sizes =", "mtu = 9000\nsizes ="), @"");
}

#[test]
fn unreachable() {
    insta::assert_snapshot!(changed("\"nvme-tcp\"", "\"fc-scsi\""), @"");
}

#[test]
fn two_arrivals() {
    insta::assert_snapshot!(changed("poisson = \"20k/s\"", "poisson = \"20k/s\", paced = \"1k/s\""), @"");
}

#[test]
fn burst_beyond_mean() {
    insta::assert_snapshot!(changed("poisson = \"20k/s\"", "bursty = { peak = \"300k/s\", mean = \"20k/s\", burst = \"40ms\", every = \"200ms\" }"), @"");
}

#[test]
fn law() {
    insta::assert_snapshot!(changed("name = \"vault\"", "name = \"vault\"\nread = { hit_time = { lognormal = { median = \"1ms\", p99 = \"1ms\" } } }"), @"");
}

#[test]
fn promise_key() {
    insta::assert_snapshot!(changed("sizes =", "promise = { p101 = \"1ms\" }\nsizes ="), @"");
}

#[test]
fn promise_zero() {
    insta::assert_snapshot!(changed("sizes =", "promise = { p99 = \"0ms\" }\nsizes ="), @"");
}

#[test]
fn both_sides() {
    insta::assert_snapshot!(changed("[[workload]]", "[[outage]]\nname = \"all\"\ntakes = [\"*-A\", \"*-B\"]\n[[workload]]"), @"");
}

#[test]
fn unmatched_outage() {
    insta::assert_snapshot!(changed("[[workload]]", "[[outage]]\nname = \"x\"\ntakes = \"edgy-A\"\n[[workload]]"), @"");
}

#[test]
fn event() {
    insta::assert_snapshot!(changed("[[workload]]", "[[event]]\nat = \"1ms\"\nlose = \"A\"\nrestore = \"A\"\n[[workload]]"), @"");
}

#[test]
fn event_unmatched() {
    insta::assert_snapshot!(changed("[[workload]]", "[[event]]\nat = \"1ms\"\nlose = \"C\"\n[[workload]]"), @"");
}

#[test]
fn missing_trace() {
    insta::assert_snapshot!(changed("poisson = \"20k/s\"", "replay = \"t.csv\""), @"");
}

#[test]
fn warm_up() {
    insta::assert_snapshot!(changed("[[host]]", "[run]\nwarm_up = \"3s\"\n[[host]]"), @"");
}

#[test]
fn basis() {
    insta::assert_snapshot!(changed("sizes =", "read = { value = \"70%\", basis = \"hoped\" }\nsizes ="), @"");
}

#[test]
fn variant() {
    insta::assert_snapshot!(changed("[[workload]]", "[[variant]]\nname = \"more\"\nset = { \"link.db-edge.member\" = 2 }\n[[workload]]"), @"");
}

#[test]
fn timer() {
    insta::assert_snapshot!(changed("[[host]]", "[timers]\npreset = \"shrt\"\n[[host]]"), @"");
}

#[test]
fn instance_name() {
    insta::assert_snapshot!(changed("[[switch]]", "count = 2\n[[host]]\nname = \"db-1\"\n[[switch]]"), @"");
}

#[test]
fn too_many() {
    insta::assert_snapshot!(changed("name = \"edge\"", "name = \"edge\"\ncount = 4096"), @"");
}

#[test]
fn format() {
    insta::assert_snapshot!(changed("format = 1", "format = 2"), @"");
}

#[test]
fn chassis_module() {
    insta::assert_snapshot!(changed("name = \"edge\"", "name = \"edge\"\nper = \"bay\"\n[[chassis]]\nname = \"bay\""), @"");
}

#[test]
fn override_of_an_unknown_part() {
    insta::assert_snapshot!(short(&problems(DEMO, &[("link.edge-sam.members", "3"), ("rum.seed", "1"), ("run.seed.x", "1"), ("host.db", "1")])), @"");
}

#[test]
fn override_against_the_cage() {
    insta::assert_snapshot!(short(&problems(DEMO, &[("link.edge-san.members", "3")])), @"");
}
