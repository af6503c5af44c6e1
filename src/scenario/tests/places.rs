//! One test for each kind of problem: where it is reported and in which words.

use super::{DEMO, read_text};
use crate::scenario::Problem;

/// The smallest sound scenario, by which one change makes one problem.
pub(super) const SMALL: &str = r#"format = 1
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

pub(super) fn problems(text: &str, set: &[(&str, &str)]) -> Vec<Problem> {
    read_text(text, set).map_or_else(|problems| problems, |_| Vec::new())
}

/// `line:column^length message | expected` of each problem of the small scenario with one change.
pub(super) fn changed(from: &str, to: &str) -> String {
    assert_eq!(
        SMALL.matches(from).count().min(1),
        1,
        "`{from}` is in the text"
    );
    short(&problems(&SMALL.replacen(from, to, 1), &[]))
}

pub(super) fn short(problems: &[Problem]) -> String {
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
    insta::assert_snapshot!(found[0].to_string(), @r#"
    error: `to` of link `db-edgy` names an unknown part `edgy`
      --> x.toml:10:6
      10 | to = "edgy"
         |      ^^^^^^ did you mean `edge`?
    help: add a [[host]], [[switch]] or [[array]] named `edgy`, or use a name that is there
    "#);
}

#[test]
fn a_problem_of_an_override_quotes_the_override() {
    let found = problems(SMALL, &[("run.sed", "3")]);
    insta::assert_snapshot!(found[0].to_string(), @r"
    error: unknown key `sed` in [run]
      --> --set
         | run.sed=3
         |     ^^^ did you mean `seed`?
    ");
}

#[test]
fn all_problems_come_at_once() {
    let text = SMALL
        .replace("25GbE", "24GbE")
        .replace("\"vault\"", "\"fault\"")
        .replace("8KiB", "8KB");
    insta::assert_snapshot!(short(&problems(&text, &[])), @r#"
    11:9^7 `speed` of link `db-edge` names no technology `24GbE` | did you mean `25GbE`?
    15:9^7 `speed` of link `edge-fault` names no technology `24GbE` | did you mean `25GbE`?
    22:9^5 `sizes` of workload `orders` is not a size | did you mean "8KiB" (8192 bytes) or "8kB" (8000)?
    "#);
}

#[test]
fn syntax() {
    insta::assert_snapshot!(changed("format = 1", "format = = 1"), @"1:10^1 this is not TOML: `==` | one `=`");
}

#[test]
fn unknown_key() {
    insta::assert_snapshot!(changed("name = \"db\"", "name = \"db\"\nqueue_dept = 3"), @"4:1^10 unknown key `queue_dept` in host `db` | did you mean `queue_depth`?");
}

#[test]
fn unknown_table() {
    insta::assert_snapshot!(changed("[[host]]", "[[hots]]\n[[host]]"), @r"
    2:1^8 a host has no `name` | it needs one
    2:3^4 no table is called `hots` | did you mean `[[host]]`?
    ");
}

#[test]
fn single_brackets() {
    insta::assert_snapshot!(changed("[[array]]", "[array]"), @"6:2^5 `array` is a table, not a list of tables | [[array]]");
}

#[test]
fn wrong_type() {
    insta::assert_snapshot!(changed("name = \"db\"", "name = \"db\"\ncount = \"six\""), @"4:9^5 `count` of host `db` is a string | a whole number from 1 to 4096");
}

#[test]
fn zero_count() {
    insta::assert_snapshot!(changed("name = \"db\"", "name = \"db\"\ncount = 0"), @"4:9^1 `count` of host `db` cannot be 0 | a whole number from 1 to 4096");
}

#[test]
fn wrong_unit() {
    insta::assert_snapshot!(changed("\"20k/s\"", "\"20kHz\""), @r#"21:24^7 `poisson` of arrivals of workload `orders` is not I/Os per second | I/Os per second like "800/s" or "120k/s""#);
}

#[test]
fn no_unit() {
    insta::assert_snapshot!(changed("\"20k/s\"", "20000"), @r#"21:24^5 `poisson` of arrivals of workload `orders` is an integer without a unit | did you mean "20000/s"?"#);
}

#[test]
fn zero_rate() {
    insta::assert_snapshot!(changed("\"20k/s\"", "\"0/s\""), @"21:24^5 `poisson` of arrivals of workload `orders` is too small | above 0 and at most 1000M/s");
}

#[test]
fn huge_rate() {
    insta::assert_snapshot!(changed("\"20k/s\"", "\"99999M/s\""), @"21:24^10 `poisson` of arrivals of workload `orders` is too large | above 0 and at most 1000M/s");
}

#[test]
fn zero_size() {
    insta::assert_snapshot!(changed("\"8KiB\"", "\"0KiB\""), @"22:9^6 `sizes` of workload `orders` is too small | 1B to 64MiB");
}

#[test]
fn huge_size() {
    insta::assert_snapshot!(changed("\"8KiB\"", "\"1GiB\""), @"22:9^6 `sizes` of workload `orders` is too large | 1B to 64MiB");
}

#[test]
fn nan_share() {
    insta::assert_snapshot!(changed("protocol =", "read = nan\nprotocol ="), @r#"20:8^3 `read` of workload `orders` is no share of 1 | a share like "70%" or 0.7, from 0 to 1"#);
}

#[test]
fn large_share() {
    insta::assert_snapshot!(changed("protocol =", "read = \"170%\"\nprotocol ="), @r#"20:8^6 `read` of workload `orders` is too large | a share like "70%" or 0.7, from 0 to 1"#);
}

#[test]
fn mix_sum() {
    insta::assert_snapshot!(changed("\"8KiB\"", "{ \"8KiB\" = 0.6, \"64KiB\" = 0.5 }"), @"22:9^31 `sizes` of workload `orders` adds up to 1.1 | shares that add up to 1");
}

#[test]
fn dangling_array() {
    insta::assert_snapshot!(changed("array = \"vault\"", "array = \"vualt\""), @"19:9^7 `array` of workload `orders` names an unknown array `vualt` | did you mean `vault`?");
}

#[test]
fn dangling_host() {
    insta::assert_snapshot!(changed("hosts = \"db\"", "hosts = [\"db\", \"web\"]"), @"18:16^5 `hosts` of workload `orders` names an unknown host `web` | hosts: db");
}

#[test]
fn host_to_host() {
    insta::assert_snapshot!(changed("to = \"edge\"", "to = \"db\""), @"10:6^4 link `db-db` joins a host to a host | a switch");
}

#[test]
fn wrong_way() {
    insta::assert_snapshot!(changed("from = \"edge\"\nto = \"vault\"", "from = \"vault\"\nto = \"edge\""), @"14:6^6 link `vault-edge` starts at an array | from a switch, to an array");
}

#[test]
fn unknown_technology() {
    insta::assert_snapshot!(changed("\"25GbE\"", "\"26GbE\""), @"11:9^7 `speed` of link `db-edge` names no technology `26GbE` | did you mean `25GbE`?");
    // Not 1GFC, which is as near: the digits are right.
    insta::assert_snapshot!(changed("\"25GbE\"", "\"16FC\""), @"11:9^6 `speed` of link `db-edge` names no technology `16FC` | did you mean `16GFC`?");
}

#[test]
fn slow_rate() {
    insta::assert_snapshot!(changed("\"25GbE\"", "\"0Gb/s\""), @"11:9^7 `speed` of link `db-edge` is too small | whole bits per second, 1Mb/s to 10Tb/s");
}

#[test]
fn duplicate_name() {
    insta::assert_snapshot!(changed("[[array]]\nname = \"vault\"", "[[array]]\nname = \"db\""), @r"
    7:8^4 the name `db` is used twice | it is already a host in line 2
    14:6^7 `to` of link `edge-vault` names an unknown part `vault` | hosts, switches and arrays: db, edge, db
    19:9^7 `array` of workload `orders` names an unknown array `vault` | arrays: db
    ");
}

#[test]
fn bad_name() {
    insta::assert_snapshot!(changed("name = \"db\"", "name = \"db 1\""), @r"
    3:8^6 the name `db 1` has letters that names cannot have | a letter, then letters, digits, - and _
    9:8^4 `from` of link `db-edge` names an unknown part `db` | did you mean `db 1`?
    18:9^4 `hosts` of workload `orders` names an unknown host `db` | did you mean `db 1`?
    ");
}

#[test]
fn side_name() {
    insta::assert_snapshot!(changed("name = \"edge\"", "name = \"edge-A\""), @r"
    5:8^8 the name `edge-A` ends like the parts of one fabric | a name without -A or -B: use `fabric` instead
    10:6^6 `to` of link `db-edge` names an unknown part `edge` | did you mean `edge-A`?
    13:8^6 `from` of link `edge-vault` names an unknown part `edge` | did you mean `edge-A`?
    ");
}

#[test]
fn missing_name() {
    insta::assert_snapshot!(changed("[[switch]]\nname = \"edge\"\n", "[[switch]]\n"), @r"
    4:1^10 a switch has no `name` | it needs one
    9:6^6 `to` of link `db-edge` names an unknown part `edge` | hosts, switches and arrays: db, vault
    12:8^6 `from` of link `edge-vault` names an unknown part `edge` | hosts, switches and arrays: db, vault
    ");
}

#[test]
fn no_speed() {
    insta::assert_snapshot!(changed("to = \"edge\"\nspeed = \"25GbE\"", "to = \"edge\""), @"8:1^8 link `db-edge` has no `speed` | it needs one");
}

#[test]
fn lit_beyond_legs() {
    insta::assert_snapshot!(changed("to = \"edge\"", "to = \"edge\"\ncage = { legs = 4, lit = 5 }"), @"11:26^1 link `db-edge` lights 5 legs of a cage that has 4 | at most 4");
}

#[test]
fn ports_without_array() {
    insta::assert_snapshot!(changed("to = \"edge\"", "to = \"edge\"\nports = 2"), @"11:1^5 link `db-edge` has `ports` but does not end at an array | members");
}

#[test]
fn lag_without_pair() {
    insta::assert_snapshot!(changed("to = \"edge\"", "to = \"edge\"\nlag = \"across\""), @"11:7^8 link `db-edge` is one group across a pair, but neither end is a pair of switches | a switch family with count = 2");
}

#[test]
fn one_to_one() {
    insta::assert_snapshot!(changed("name = \"edge\"\n[[array]]\nname = \"vault\"\n[[link]]\nfrom = \"db\"", "name = \"edge\"\ncount = 2\n[[array]]\nname = \"vault\"\n[[link]]\nwiring = \"one-to-one\"\nfrom = \"db\""), @"10:10^12 link `db-edge` joins 1 to 2 one to one | equal numbers");
}

#[test]
fn frame_choice() {
    insta::assert_snapshot!(changed("to = \"edge\"", "to = \"edge\"\nchoose = \"frame\""), @r#"11:10^7 link `db-edge` cannot choose a member frame by frame | "flow", "exchange" or "pinned""#);
}

#[test]
fn exchange_of_ip() {
    insta::assert_snapshot!(changed("to = \"edge\"", "to = \"edge\"\nchoose = \"exchange\""), @r#"11:10^10 link `db-edge` carries only IP, which has no exchanges to choose by | "flow" or "pinned""#);
}

#[test]
fn fc_carries_ip() {
    insta::assert_snapshot!(changed("speed = \"25GbE\"", "speed = \"32GFC\"\ncarries = \"ip\""), @r#"12:11^4 link `db-edge` is Fibre Channel and cannot carry IP | "fc""#);
}

#[test]
fn fc_mtu() {
    insta::assert_snapshot!(changed("speed = \"25GbE\"", "speed = \"32GFC\"\nmtu = 9000"), @"12:1^3 link `db-edge` is Fibre Channel and has no MTU | no `mtu`");
}

#[test]
fn mtu_too_large() {
    insta::assert_snapshot!(changed("sizes =", "mtu = 9000\nsizes ="), @"22:7^4 packets of workload `orders` do not fit link `db-edge` | at most 1500, the MTU of that link");
}

#[test]
fn unreachable() {
    insta::assert_snapshot!(changed("\"nvme-tcp\"", "\"fc-scsi\""), @"19:9^7 workload `orders`: host `db` cannot reach array `vault` with fc-scsi | a chain of links that carry it");
}

#[test]
fn two_arrivals() {
    insta::assert_snapshot!(changed("poisson = \"20k/s\"", "poisson = \"20k/s\", paced = \"1k/s\""), @"21:12^37 arrivals of workload `orders` states several kinds | exactly one of: poisson, paced, bursty, closed, replay");
}

#[test]
fn burst_beyond_mean() {
    insta::assert_snapshot!(changed("poisson = \"20k/s\"", "bursty = { peak = \"300k/s\", mean = \"20k/s\", burst = \"40ms\", every = \"200ms\" }"), @"21:49^7 bursty arrivals of workload `orders` has more I/Os in its bursts than its mean allows | a mean of at least 60000/s");
}

#[test]
fn law() {
    insta::assert_snapshot!(changed("name = \"vault\"", "name = \"vault\"\nread = { hit_time = { lognormal = { median = \"1ms\", p99 = \"1ms\" } } }"), @r#"8:59^5 `hit_time` of read of array `vault` has a p99 that is not above its median | { median = "240us", p99 = "900us" } or { median = "240us", sigma = 0.5 }"#);
}

#[test]
fn promise_key() {
    insta::assert_snapshot!(changed("sizes =", "promise = { p101 = \"1ms\" }\nsizes ="), @"22:13^4 unknown key `p101` in promise of workload `orders` | keys here: mean, p50, p90, p95, p99, p99_9, throughput, lost, switching");
}

#[test]
fn promise_zero() {
    insta::assert_snapshot!(changed("sizes =", "promise = { p99 = \"0ms\" }\nsizes ="), @"22:19^5 `p99` of promise of workload `orders` is zero | a time above zero");
}

#[test]
fn both_sides() {
    insta::assert_snapshot!(changed("[[workload]]", "[[outage]]\nname = \"all\"\ntakes = [\"*-A\", \"*-B\"]\n[[workload]]"), @"16:1^10 outage `all` takes both fabrics | one side at most");
}

#[test]
fn unmatched_outage() {
    insta::assert_snapshot!(changed("[[workload]]", "[[outage]]\nname = \"x\"\ntakes = \"edgy-A\"\n[[workload]]"), @"18:9^8 no part is called `edgy-A` | did you mean `edge-A`?");
}

#[test]
fn event() {
    insta::assert_snapshot!(changed("[[workload]]", "[[event]]\nat = \"1ms\"\nlose = \"A\"\nrestore = \"A\"\n[[workload]]"), @"16:1^9 event 1 does 2 things | exactly one of: lose, restore, drain, slow, flap");
}

#[test]
fn event_unmatched() {
    insta::assert_snapshot!(changed("[[workload]]", "[[event]]\nat = \"1ms\"\nlose = \"C\"\n[[workload]]"), @"18:8^3 no part is called `C` | did you mean `A`?");
}

#[test]
fn missing_trace() {
    insta::assert_snapshot!(changed("poisson = \"20k/s\"", "replay = \"t.csv\""), @"21:23^7 the trace `t.csv` cannot be read: no such file | a CSV file, its path from the scenario's folder");
}

#[test]
fn warm_up() {
    insta::assert_snapshot!(changed("[[host]]", "[run]\nwarm_up = \"3s\"\n[[host]]"), @"3:11^4 the warm-up of 3s leaves nothing of a run of 2s | less than `duration`");
}

#[test]
fn basis() {
    insta::assert_snapshot!(changed("sizes =", "read = { value = \"70%\", basis = \"hoped\" }\nsizes ="), @"22:33^7 `basis` of workload `orders` cannot be `hoped` | one of: measured, specified, guessed");
}

#[test]
fn variant() {
    insta::assert_snapshot!(changed("[[workload]]", "[[variant]]\nname = \"more\"\nset = { \"link.db-edge.member\" = 2 }\n[[workload]]"), @"18:9^21 in variant `more`, unknown key `member` in link `db-edge` | did you mean `members`?");
}

#[test]
fn timer() {
    insta::assert_snapshot!(changed("[[host]]", "[timers]\npreset = \"shrt\"\n[[host]]"), @"3:10^6 `preset` of [timers] cannot be `shrt` | did you mean `short`?");
}

#[test]
fn instance_name() {
    insta::assert_snapshot!(changed("[[switch]]", "count = 2\n[[host]]\nname = \"db-1\"\n[[switch]]"), @"5:1^8 `db` and `db-1` both have a part called `db-1` | names that differ");
}

#[test]
fn too_many() {
    insta::assert_snapshot!(changed("name = \"db\"\n[[switch]]\nname = \"edge\"", "name = \"db\"\ncount = 4096\n[[switch]]\nname = \"edge\"\ncount = 4096"), @r"
    5:1^10 the site has up to 8192 switches | at most 4096
    10:1^8 the site has up to 32768 links | at most 20000
    10:1^8 the site has up to 67108864 pairs of a host and a port of its array | at most 200000
    ");
}

#[test]
fn format() {
    insta::assert_snapshot!(changed("format = 1", "format = 2"), @"1:10^1 `format` of the scenario cannot be 2 | 1, the only grammar there is");
}

#[test]
fn chassis_module() {
    insta::assert_snapshot!(changed("name = \"edge\"", "name = \"edge\"\nper = \"bay\"\n[[chassis]]\nname = \"bay\""), @"13:6^6 link `db-edge` joins host `db` to a module of chassis `bay`, which does not hold it | a switch, or the module of its own chassis");
}

#[test]
fn override_of_an_unknown_part() {
    insta::assert_snapshot!(short(&problems(DEMO, &[("link.edge-sam.members", "3"), ("rum.seed", "1"), ("run.seed.x", "1"), ("host.db", "1")])), @r"
    --set:6^8 there is no link called `edge-sam` | did you mean `edge-san`?
    --set:1^3 no part of a scenario is called `rum` | did you mean `run`?
    --set:5^4 `seed` has no keys of its own here | it is an integer in the scenario
    --set:6^2 a key of it is missing | NAME.KEY
    ");
}

#[test]
fn override_against_the_cage() {
    insta::assert_snapshot!(short(&problems(DEMO, &[("link.edge-san.members", "3")])), @"--set:15^7 link `edge-san` has 3 members but 2 lit legs | members = 2, or leave it out");
}
