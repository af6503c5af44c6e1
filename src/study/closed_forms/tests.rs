use super::*;
use crate::outcome::Trust;
use crate::study::estimate::estimate;

fn read(text: &str) -> Site {
    let source = crate::scenario::Source {
        name: "test.toml",
        text,
    };
    match crate::scenario::read(source, &[], &|name| Err(format!("no file {name}"))) {
        Ok(loaded) => loaded.site,
        Err(problems) => panic!("{}", crate::scenario::render_problems(&problems)),
    }
}

fn rows_of(text: &str) -> Vec<TheoryRow> {
    let site = read(text);
    let fabric = Fabric::new(&site);
    rows(&site, &fabric, &estimate(&site, &fabric))
}

/// One host, one array; requests of eight frames of 1 us, answers of one byte.
fn bench(array: &str, arrivals: &str) -> String {
    format!(
        "format = 1\n[[host]]\nname = \"app\"\n[[array]]\nname = \"box\"\ncontrollers = 1\n{array}\n\
         [[link]]\nfrom = \"app\"\nto = \"box\"\nspeed = \"10Gb/s\"\npropagation = \"0s\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
         request = 10000\nresponse = 1\nframe = 1250\nread = \"0%\"\narrivals = {arrivals}\n"
    )
}

fn one<'r>(rows: &'r [TheoryRow], part: &str, figure: &str, trust: Trust) -> &'r TheoryRow {
    let is = |row: &&TheoryRow| row.part == part && row.figure == figure && row.trust == trust;
    let found = rows.iter().find(is);
    found.unwrap_or_else(|| panic!("no {figure} of {part}: {rows:?}"))
}

fn near(got: f64, expected: f64) {
    assert!((got / expected - 1.0).abs() < 1e-5, "{got} {expected}");
}

/// 75 messages a millisecond of 8 frames of 1 us: a frame waits 9.5 us (the table of batches: first frame 6,
/// a frame picked at random 3.5 more).
#[test]
fn a_link_of_batches_and_one_server() {
    let text = bench(
        "parallel = 1\nwrite = { time = { exponential = \"10us\" } }",
        r#"{ poisson = "75k/s" }"#,
    );
    let rows = rows_of(&text);
    near(
        one(&rows, "app:A1 > box-c1:A1", "mean wait", Trust::Exact).value,
        9.5,
    );
    // M/M/1 at 0.75: wait 3 services, if the link did not space requests out.
    let row = one(&rows, "box-c1", "mean wait", Trust::Approximation);
    near(row.value, 30.0);
    assert!(row.assumes.contains("links before it"), "{}", row.assumes);
    assert!(
        rows.iter()
            .all(|row| row.case == "healthy" && row.simulated.is_none())
    );
}

/// 4 servers at 0.85 of constant service 1: 0.588766; exponential at 0.8: 0.745541 (tables of M/D/c and M/M/c);
/// a mixture at 0.8 by its two moments.
#[test]
fn several_servers_by_their_law() {
    let wait = |law: &str, rate: &str, trust: Trust| {
        let array = format!("parallel = 4\nwrite = {{ time = {law} }}");
        let text = bench(&array, &format!("{{ poisson = \"{rate}\" }}"));
        let rows = rows_of(&text.replace("10Gb/s", "1000Gb/s"));
        one(&rows, "box-c1", "mean wait", trust).value
    };
    near(wait("\"100us\"", "34k/s", Trust::Exact), 58.8766);
    near(
        wait("{ exponential = \"100us\" }", "32k/s", Trust::Exact),
        74.5541,
    );
    // 40 and 160 us at evens: mean 100, second moment 13,600, v² = 0.36.
    let mixed =
        "{ mixture = [{ weight = 0.5, law = \"40us\" }, { weight = 0.5, law = \"160us\" }] }";
    near(wait(mixed, "32k/s", Trust::Approximation), 74.5541 * 0.68);
}

/// Two controllers, each 4 exponential servers at 0.8: Erlang C holds where hosts pick a path at random, and is about that, from
/// above, where they look for the shorter queue or take turns.
#[test]
fn what_hosts_deal_out_waits_less_than_what_comes_at_random() {
    let array = "parallel = 4\nwrite = { time = { exponential = \"100us\" } }";
    let text =
        bench(array, r#"{ poisson = "64k/s" }"#).replace("controllers = 1", "controllers = 2");
    let text = text.replace("10Gb/s", "1000Gb/s");
    let with = |text: &str, paths: &str| {
        let name = "name = \"app\"";
        rows_of(&text.replace(name, &format!("{name}\npaths = \"{paths}\"")))
    };
    for (paths, trust) in [
        ("random", Trust::Exact),
        ("least-queue", Trust::Approximation),
        ("least-bytes", Trust::Approximation),
        ("round-robin", Trust::Approximation),
        ("one-path", Trust::Exact),
    ] {
        // With one path all of it comes to one controller, which carries half of that.
        let text = match paths {
            "one-path" => text.replace("64k/s", "32k/s"),
            _ => text.clone(),
        };
        let rows = with(&text, paths);
        let row = one(&rows, "box-c1", "mean wait", trust);
        near(row.value, 74.5541);
        let said = row.assumes.contains("deal requests out");
        assert_eq!(said, trust == Trust::Approximation, "{paths}");
    }
    // One controller takes what comes, over whichever path.
    let one_alone = text
        .replace("controllers = 2", "controllers = 1")
        .replace("64k/s", "32k/s");
    near(
        one(&rows_of(&one_alone), "box-c1", "mean wait", Trust::Exact).value,
        74.5541,
    );
}

/// An M/M/1 at 0.8 finds its queue depth full with chance 0.8 to the power of the depth: at 8 it holds back one request in six, at 64 none.
#[test]
fn a_queue_depth_that_holds_requests_back_makes_the_form_rough() {
    let array = "parallel = 1\nwrite = { time = { exponential = \"10us\" } }";
    let text = bench(array, r#"{ poisson = "80k/s" }"#)
        .replace("10Gb/s", "1000Gb/s")
        .replace("request = 10000", "request = 1250");
    let with = |depth: u32| {
        let name = "name = \"app\"";
        rows_of(&text.replace(name, &format!("{name}\nqueue_depth = {depth}")))
    };
    for (depth, trust) in [(8, Trust::Approximation), (64, Trust::Exact)] {
        let rows = with(depth);
        let row = one(&rows, "box-c1", "mean wait", trust);
        near(row.value, 40.0);
        let said = row.assumes.contains("queue depths");
        assert_eq!(said, trust == Trust::Approximation, "{depth}");
    }
    // Requests of 1 % of the service are spaced out by their link, those of a tenth of that are not.
    let slow = text.replace("1000Gb/s", "90Gb/s");
    let rows = rows_of(&slow);
    let row = one(&rows, "box-c1", "mean wait", Trust::Approximation);
    assert!(row.assumes.contains("links before it"), "{}", row.assumes);
}

/// Row E8 of machine repair: 32 customers, 4 exponential servers, a pause of 6 services. It is exact as long as links and depths do nothing,
/// and reads and writes take the same time.
#[test]
fn a_loop_around_one_exponential_station_is_solved_exactly() {
    let array = "parallel = 4\nwrite = { time = { exponential = \"10us\" } }\nread = { hit = \"0%\", miss_time = { exponential = \"10us\" } }";
    let text = bench(array, r#"{ closed = { depth = 32, think = "60us" } }"#)
        .replace("10Gb/s", "1000Gb/s")
        .replace("request = 10000", "request = 1");
    let rows = rows_of(&text);
    let found = one(&rows, "w", "throughput", Trust::Exact);
    near(found.value, 384_657.163);
    near(
        one(&rows, "w", "mean latency", Trust::Exact).value,
        23.190_963_5,
    );
    let mixed = text.replace("read = \"0%\"", "read = \"50%\"");
    let unlike = mixed.replace(
        "miss_time = { exponential = \"10us\" }",
        "miss_time = { exponential = \"30us\" }",
    );
    one(&rows_of(&mixed), "w", "throughput", Trust::Exact);
    one(&rows_of(&unlike), "w", "throughput", Trust::Approximation);
    let held = text.replace("name = \"app\"", "name = \"app\"\nqueue_depth = 8");
    one(&rows_of(&held), "w", "throughput", Trust::Approximation);
}

/// A part that is hardly used is no fullest of its kind.
#[test]
fn a_part_that_is_nearly_empty_has_no_row() {
    let text = bench(
        "parallel = 1\nwrite = { time = \"10us\" }",
        r#"{ poisson = "1k/s" }"#,
    );
    let rows = rows_of(&text);
    assert!(rows.iter().all(|row| row.figure != "mean wait"), "{rows:?}");
}

/// Work that does not come at random, or does not fit, has no row.
#[test]
fn where_no_form_applies_there_is_none() {
    let array = "parallel = 1\nwrite = { time = \"10us\" }";
    for arrivals in [r#"{ paced = "50k/s" }"#, r#"{ poisson = "150k/s" }"#] {
        let rows = rows_of(&bench(array, arrivals));
        assert!(rows.iter().all(|row| row.figure != "mean wait"), "{rows:?}");
    }
}

/// 32 outstanding, 4 exponential servers of 100 us: the bounds by hand; the solution lies between.
#[test]
fn a_closed_loop_has_bounds_and_a_solution() {
    let array = "parallel = 4\nwrite = { time = { exponential = \"100us\" } }";
    let rows = rows_of(&bench(
        array,
        r#"{ closed = { depth = 32, think = "600us" } }"#,
    ));
    let most = one(&rows, "w", "throughput", Trust::AtMost).value;
    near(most, 40_000.0);
    let least = one(&rows, "w", "mean latency", Trust::AtLeast).value;
    near(least, 200.0);
    // Machine repair with the link: near the 38,465.7 of 32 customers on 4 servers with a pause of 6 services.
    let solved = one(&rows, "w", "throughput", Trust::Approximation).value;
    assert!(solved < most && solved > 0.99 * 38_465.7, "{solved}");
    assert!(one(&rows, "w", "mean latency", Trust::Approximation).value > least);
}

/// Two fabrics at 0.3 each; the lost half is held 5 ms, then ρP/(1−2ρ) = 0.75 of 5 ms: 1.75 of it from the loss.
#[test]
fn a_backlog_drains_as_a_fluid() {
    let text = r#"
format = 1
[timers]
link_loss_detect = "5ms"
[[host]]
name = "app"
paths = "random"
[[switch]]
name = "sw"
[[array]]
name = "box"
controllers = 1
parallel = 1000
write = { time = "0s" }
[[link]]
from = "app"
to = "sw"
speed = "10Gb/s"
[[link]]
from = "sw"
to = "box"
speed = "1000Gb/s"
[[workload]]
name = "w"
hosts = "app"
array = "box"
protocol = "plain"
request = 1250
response = 1
frame = 1250
read = "0%"
arrivals = { poisson = "600k/s" }
"#;
    let rows = rows_of(text);
    let row = one(&rows, "app:B1 > sw-B", "drain", Trust::Approximation);
    assert_eq!(row.case, "A lost");
    near(row.value, 1.75 * 5e-3);
    // Where a group goes on without one of its links it is said what is counted of that, and nowhere else.
    let groups = "of links that are lost out of groups";
    assert!(!row.assumes.contains(groups), "{}", row.assumes);
    let grouped = text.replace("speed = \"1000Gb/s\"", "speed = \"1000Gb/s\"\nmembers = 2");
    let outage = |takes: &str| {
        let rows = rows_of(&format!(
            "{grouped}[[outage]]\nname = \"cut\"\ntakes = [{takes}]\n"
        ));
        let row = rows
            .iter()
            .find(|row| row.figure == "drain" && row.case == "cut lost");
        row.expect("something drains").assumes.contains(groups)
    };
    assert!(!outage("\"*-A\""));
    assert!(outage("\"*-A\", \"sw-B~*/1\""));
    // 300k/s × 5 ms would be held, and a lost path holds no more than its depth: 100 at 400k/s spare are 0.25 ms. One that is deep enough holds all.
    for (depth, drained) in [(100, 5.25e-3), (5_000, 8.75e-3)] {
        let host = format!("paths = \"random\"\nqueue_depth = {depth}");
        let rows = rows_of(&text.replace("paths = \"random\"", &host));
        let row = one(&rows, "app:B1 > sw-B", "drain", Trust::Approximation);
        near(row.value, drained);
    }
    // What a lost host asked for is not held, whoever runs its guests: two of four ask for half, and what is held of that for 5 ms comes beside
    // 0.3, or beside 0.6 where guests of the lost ones are there too.
    for (guests, drained) in [
        ("stay", 5e-3 * (1.0 + 0.15 / 0.7)),
        ("restart", 5e-3 * (1.0 + 0.15 / 0.4)),
    ] {
        let hosts = format!("paths = \"random\"\ncount = 4\nguests = \"{guests}\"");
        let both = text
            .replace("paths = \"random\"", &hosts)
            .replace("\"1000Gb/s\"", "\"10Gb/s\"");
        let outage = "[[outage]]\nname = \"both\"\ntakes = [\"sw-A\", \"app-1\", \"app-2\"]\n";
        let rows = rows_of(&(both + outage));
        let row = rows
            .iter()
            .find(|row| row.figure == "drain" && row.case == "both lost");
        let row = row.expect("something drains");
        assert_eq!(row.part, "sw-B > box-c1:B1");
        near(row.value, drained);
    }
    // The places on a path are there once, however many workloads share them.
    let (head, work) = text.split_once("[[workload]]").expect("there is one");
    let head = head.replace(
        "paths = \"random\"",
        "paths = \"random\"\nqueue_depth = 100",
    );
    let part = |name: &str, rate: &str| {
        let own = work.replace("\"w\"", name).replace("600k/s", rate);
        format!("[[workload]]{own}")
    };
    let both = head + &part("\"w\"", "200k/s") + &part("\"v\"", "400k/s");
    let rows = rows_of(&both);
    let row = one(&rows, "app:B1 > sw-B", "drain", Trust::Approximation);
    near(row.value, 5.25e-3);
}

/// Two controllers that own the volumes in turn, each at 0.0075 of what it can do, the other at 0.015 when one is lost.
const OWNED: &str = r#"
format = 1
[[host]]
name = "db"
count = 3
[[switch]]
name = "dir"
[[array]]
name = "vault"
controllers = 2
takeover = "4s"
read = { hit = "100%", hit_time = "100us" }
write = { time = "200us", mirror = "20us" }
[[link]]
from = "db"
to = "dir"
speed = "16GFC"
[[link]]
from = "dir"
to = "vault"
speed = "32GFC"
ports = 2
[[workload]]
name = "ledger"
hosts = "db"
array = "vault"
protocol = "fc-scsi"
owner = "alternate"
volumes = 10
read = "50%"
sizes = "16KiB"
arrivals = { poisson = "3k/s" }
[[outage]]
name = "A"
[[outage]]
name = "loud"
takes = "vault-c1"
[[outage]]
name = "silent"
takes = "vault-c2"
mode = "silent"
"#;

/// What drains has been held for as long as the stall of the same case, which depends on what is lost and how.
#[test]
fn a_drain_begins_with_the_stall_of_its_case() {
    let slow = OWNED.replace("takeover = \"4s\"", "takeover = \"12s\"");
    let cases = [
        (OWNED, "A lost", 5.1),
        (OWNED, "loud lost", 5.6),
        (OWNED, "silent lost", 30.0),
        (&slow, "loud lost", 12.0),
    ];
    for (text, case, pause) in cases {
        let rows = rows_of(text);
        let of = |figure: &str| {
            let mut own = rows.iter().filter(|row| row.case == case);
            own.find(|row| row.figure == figure)
                .expect("it is worked out")
        };
        near(of("stall").value, pause);
        let (drain, most) = (of("drain"), 1.0 / (1.0 - 0.015));
        assert!(
            drain.value > pause && drain.value <= pause * most + 1e-9,
            "{drain:?}"
        );
        assert_eq!(drain.trust, Trust::Approximation);
        // Volumes without a controller hold everything up.
        if case != "A lost" {
            near(drain.value, pause * most);
        }
    }
}

/// One host that prefers A, with one place on each path: reads of 100 us and a little on the way.
const ONE_PATH: &str = r#"
format = 1
[[host]]
name = "app"
paths = "one-path"
queue_depth = 1
[[switch]]
name = "core"
[[array]]
name = "store"
controllers = 1
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
arrivals = { poisson = "7k/s" }
read = "100%"
sizes = "8KiB"
"#;

/// 7,000 a second are held for 5.1 s, and one place of L seconds works off 1 ÷ L − 7,000 of them a second. Of the loss of B, over
/// which nothing goes, there is nothing to say.
#[test]
fn a_backlog_drains_no_faster_than_the_depth_lets_it() {
    let rows = rows_of(ONE_PATH);
    let depth = "queue depth of the hosts of orders";
    let drain = one(&rows, depth, "drain", Trust::Approximation);
    assert_eq!(drain.case, "A lost");
    let site = read(ONE_PATH);
    let fabric = Fabric::new(&site);
    let loads = estimate(&site, &fabric);
    let mut flows = Flows::new(&fabric, &loads.cases[2].alive);
    let path = &loads.cases[2].sets[0].paths[0];
    let work = &site.workloads[0];
    let long = super::super::estimate::idle::io_latency_s(&site, &fabric, &mut flows, work, path)
        .expect("the path carries it");
    assert!(long > 100e-6 && long < 120e-6, "{long}");
    near(drain.value, 5.1 + 7_000.0 * 5.1 / (1.0 / long - 7_000.0));
    let of_b = rows.iter().filter(|row| row.case == "B lost");
    let kinds: Vec<&str> = of_b.map(|row| row.figure).collect();
    assert!(
        !kinds.contains(&"stall") && !kinds.contains(&"drain"),
        "{kinds:?}"
    );
    near(
        one(&rows, "orders", "stall", Trust::Approximation).value,
        5.1,
    );
    // With room for many the link is what counts.
    let roomy = rows_of(&ONE_PATH.replace("queue_depth = 1", "queue_depth = 64"));
    assert!(roomy.iter().all(|row| row.part != depth));
}

/// One controller that lost and surviving paths share keeps its load, and has to work off all the same what was held for it. 100 us a
/// read and 4 places at once are 40,000 a second. A host that prefers A asks for all of 30,000 over it: 5 s x (1 + 30 / 10). Of one that takes
/// both, half is held: 5 s x (1 + 15 / 10).
#[test]
fn a_part_that_lost_and_surviving_paths_share_drains_too() {
    let shared = ONE_PATH
        .replace("fc-scsi", "nvme-tcp")
        .replace("32GFC", "100GbE")
        .replace("queue_depth = 1", "queue_depth = \"unlimited\"")
        .replace("controllers = 1", "controllers = 1\nparallel = 4")
        .replace("7k/s", "30k/s");
    for (policy, times) in [("one-path", 4.0), ("round-robin", 2.5)] {
        let rows = rows_of(&shared.replace("one-path", policy));
        let mut lost = rows.iter().filter(|row| row.case == "A lost");
        let stall = lost.clone().find(|row| row.figure == "stall");
        let stall = stall.expect("a stall is worked out").value;
        let drain = lost.find(|row| row.figure == "drain");
        let drain = drain.expect("a drain is worked out");
        assert!(drain.part.starts_with("store"), "{drain:?}");
        near(drain.value, times * stall);
    }
}

/// Two kinds of work that share nothing but the hosts: Fibre Channel stops for 5.1 s, iSCSI for 20 + 120 s. What Fibre Channel brings to
/// its own links is held for 5.1 s, whatever the other waits for; the drain of the iSCSI links is that of iSCSI.
#[test]
fn a_part_drains_what_crosses_it_and_nothing_else() {
    let text = |files: &str, blocks: &str| {
        let work = |name: &str, array: &str, protocol: &str, rate: &str| {
            format!(
                "[[workload]]\nname = \"{name}\"\nhosts = \"app\"\narray = \"{array}\"\nprotocol = \"{protocol}\"\n\
                 read = \"100%\"\nsizes = \"64KiB\"\narrivals = {{ poisson = \"{rate}\" }}\n"
            )
        };
        let link = |from: &str, to: &str, speed: &str| {
            format!("[[link]]\nfrom = \"{from}\"\nto = \"{to}\"\nspeed = \"{speed}\"\n")
        };
        let array = |name: &str| {
            format!(
                "[[array]]\nname = \"{name}\"\ncontrollers = 1\nparallel = 1000\nread = {{ hit = \"100%\", hit_time = \"10us\" }}\n"
            )
        };
        format!(
            "format = 1\n[[host]]\nname = \"app\"\npaths = \"random\"\nqueue_depth = \"unlimited\"\n[[switch]]\nname = \"san\"\n[[switch]]\nname = \"lan\"\n{}{}{}{}{}{}{}{}",
            array("fast"),
            array("slow"),
            link("app", "san", "16GFC"),
            link("san", "fast", "16GFC"),
            link("app", "lan", "10GbE"),
            link("lan", "slow", "10GbE"),
            work("fc", "fast", "fc-scsi", blocks),
            work("ip", "slow", "iscsi", files),
        )
    };
    let drain = |rows: &[TheoryRow]| {
        let mut own = rows
            .iter()
            .filter(|row| row.figure == "drain" && row.case == "A lost");
        let row = own.next().expect("one is worked out").clone();
        (row.of.clone(), row.value)
    };
    // The FC links are the fullest by far, and the iSCSI links take longest all the same: 140 s at least.
    let (of, value) = drain(&rows_of(&text("1k/s", "12k/s")));
    assert_eq!(of, ["ip"]);
    assert!(value > 140.0 && value < 160.0, "{value}");
    // Without iSCSI load to speak of on the way it is nearly its stall; alone, Fibre Channel has its own stall and no other.
    let alone = text("1k/s", "12k/s").replace("protocol = \"iscsi\"", "protocol = \"nvme-tcp\"");
    let (of, value) = drain(&rows_of(&alone));
    // 24,000 x 65,536 B a second would be full on one link of 16GFC (1.6 GB/s); of 12,000 half move: (1 + 0.25 / 0.5) x 5.1 s.
    assert_eq!(of, ["fc"]);
    assert!((value / 5.1 - 1.5).abs() < 0.15, "{value}");
    // With 64 places on the one path that is lost, 64 are held, and at 12,000 a second spare they are gone in 5.3 ms.
    let (of, value) = drain(&rows_of(&alone.replace("queue_depth = \"unlimited\"", "")));
    assert_eq!(of, ["fc"]);
    assert!((value - 5.1 - 64.0 / 12e3).abs() < 0.8e-3, "{value}");
}

/// Hits of 10 us and misses of 1 ms, each exponential, are not exponential together: no exact solution of the loop, though each kind of
/// I/O is the same mixture.
#[test]
fn a_loop_of_hits_and_misses_is_not_called_exponential() {
    let array = "parallel = 4\nread = { hit = \"90%\", hit_time = { exponential = \"10us\" }, miss_time = { exponential = \"10us\" } }";
    let text = bench(array, r#"{ closed = { depth = 32, think = "60us" } }"#)
        .replace("10Gb/s", "1000Gb/s")
        .replace("request = 10000", "request = 1")
        .replace("read = \"0%\"", "read = \"100%\"");
    one(&rows_of(&text), "w", "throughput", Trust::Exact);
    let unlike = text.replace(
        "miss_time = { exponential = \"10us\" }",
        "miss_time = { exponential = \"1ms\" }",
    );
    one(&rows_of(&unlike), "w", "throughput", Trust::Approximation);
}

/// A loop over 100 m and 100 km: where hosts look at queues, they take the near way more often than every other time, and less than
/// the mean of both is the latency. Taken at random it is at least that mean.
#[test]
fn a_loop_over_unlike_ways_that_hosts_choose_by_queues_has_no_bound() {
    let text = |paths: &str, far: &str| {
        format!(
            "format = 1\n[[host]]\nname = \"app\"\npaths = \"{paths}\"\n[[switch]]\nname = \"near\"\nfabric = \"A\"\n[[switch]]\nname = \"far\"\nfabric = \"B\"\n\
             [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 4\nread = {{ hit = \"100%\", hit_time = \"100us\" }}\n\
             [[link]]\nfrom = \"app\"\nto = \"near\"\nspeed = \"10Gb/s\"\n[[link]]\nfrom = \"near\"\nto = \"box\"\nspeed = \"10Gb/s\"\n\
             [[link]]\nfrom = \"app\"\nto = \"far\"\nspeed = \"10Gb/s\"\nlength = \"{far}\"\n[[link]]\nfrom = \"far\"\nto = \"box\"\nspeed = \"10Gb/s\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\nrequest = 1\nresponse = 1\nframe = 1250\n\
             read = \"100%\"\narrivals = {{ closed = {{ depth = 2 }} }}\n"
        )
    };
    let latency = |paths: &str, far: &str| {
        let rows = rows_of(&text(paths, far));
        let mut own = rows.iter().filter(|row| row.case == "healthy");
        let found = own.find(|row| row.figure == "mean latency" && row.trust == Trust::AtLeast);
        found.map(|row| row.value)
    };
    assert_eq!(latency("least-queue", "100km"), None);
    let (same, far) = (latency("random", "10m"), latency("random", "100km"));
    let (same, far) = (same.expect("a bound"), far.expect("a bound"));
    // 200 km of way more (5 ns a metre) every other time.
    assert!((far - same - 500.0).abs() < 2.0, "{same} {far}");
    assert!(latency("least-queue", "10m").is_some());
}

/// A depth of 64 holds nothing back beside some 3 us of service, and all of it over 100 km: a place is taken for a millisecond then.
#[test]
fn a_depth_is_as_scarce_as_the_way_is_long() {
    let array = "parallel = 1\nwrite = { time = { exponential = \"10us\" } }";
    let text = bench(array, r#"{ poisson = "60k/s" }"#)
        .replace("10Gb/s", "1000Gb/s")
        .replace("request = 10000", "request = 1250")
        .replace("name = \"app\"", "name = \"app\"\nqueue_depth = 64");
    one(&rows_of(&text), "box-c1", "mean wait", Trust::Exact);
    let far = text.replace("propagation = \"0s\"", "propagation = \"500us\"");
    let rows = rows_of(&far);
    let row = one(&rows, "box-c1", "mean wait", Trust::Approximation);
    assert!(row.assumes.contains("queue depths"), "{}", row.assumes);
}

/// 100 servers of 100 us take a request every microsecond: one that its link sends in 0.1 us is spaced out by a tenth of that.
#[test]
fn links_space_requests_out_beside_what_all_servers_take() {
    let array = "parallel = 100\nwrite = { time = { exponential = \"100us\" } }";
    let text = bench(array, r#"{ poisson = "700k/s" }"#)
        .replace("10Gb/s", "100Gb/s")
        .replace("request = 10000", "request = 1250");
    let rows = rows_of(&text);
    let row = one(&rows, "box-c1", "mean wait", Trust::Approximation);
    assert!(row.assumes.contains("links before it"), "{}", row.assumes);
}

/// Of two links that go together a flow keeps to one: half of the work for each is no more than about right.
#[test]
fn a_member_of_several_links_is_no_exact_case() {
    let text = bench(
        "parallel = 1000\nwrite = { time = \"1us\" }",
        r#"{ poisson = "75k/s" }"#,
    );
    one(
        &rows_of(&text),
        "app:A1 > box-c1:A1",
        "mean wait",
        Trust::Exact,
    );
    let pair = text.replace("propagation = \"0s\"", "propagation = \"0s\"\nmembers = 2");
    let rows = rows_of(&pair);
    let own: Vec<_> = rows
        .iter()
        .filter(|row| row.part.starts_with("app"))
        .collect();
    assert!(
        !own.is_empty() && own.iter().all(|row| row.trust == Trust::Approximation),
        "{rows:?}"
    );
}

/// Two hosts of one I/O at a time each, over 10 and over 100 Gb/s: half of all I/Os would be the slow host's if they were alike, and its link the
/// bound, which is not so: the quick one does ten times as many. Nor is there a bound where one host has a way of its own.
#[test]
fn hosts_that_are_not_alike_have_no_bound_together() {
    let text = |slow: &str| {
        let link = |from: &str, speed: &str| {
            format!(
                "[[link]]\nfrom = \"{from}\"\nto = \"box\"\nspeed = \"{speed}\"\npropagation = \"0s\"\n"
            )
        };
        format!(
            "format = 1\n[[host]]\nname = \"fast\"\npaths = \"random\"\n[[host]]\nname = \"slow\"\npaths = \"random\"\n\
             [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1000\nwrite = {{ time = \"1us\" }}\n{}{}\
             [[workload]]\nname = \"w\"\nhosts = [\"fast\", \"slow\"]\narray = \"box\"\nprotocol = \"plain\"\n\
             request = 12500\nresponse = 1\nframe = 12500\nread = \"0%\"\narrivals = {{ closed = {{ depth = 1 }} }}\n",
            link("fast", "100Gb/s"),
            link("slow", slow),
        )
    };
    let of_loop = |text: &str| {
        let rows = rows_of(text);
        let own = rows.into_iter().filter(|row| row.part == "w");
        own.collect::<Vec<_>>()
    };
    assert!(of_loop(&text("10Gb/s")).is_empty());
    assert!(!of_loop(&text("100Gb/s")).is_empty());
}

/// Four links of 10 Gb/s on A and one on B, of one latency: a host that looks at queues sends A more than half.
#[test]
fn ways_of_unlike_width_have_no_bound_where_hosts_look_at_queues() {
    let text = |members: u32, paths: &str| {
        let link = |from: &str, to: &str, speed: &str, more: &str| {
            format!("[[link]]\nfrom = \"{from}\"\nto = \"{to}\"\nspeed = \"{speed}\"\n{more}\n")
        };
        let switch = |name: &str, side: &str| {
            format!("[[switch]]\nname = \"{name}\"\nfabric = \"{side}\"\n")
        };
        format!(
            "format = 1\n[[host]]\nname = \"app\"\npaths = \"{paths}\"\n{}{}{}{}\
             [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1000\nwrite = {{ time = \"1us\" }}\n{}{}{}{}{}{}\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
             request = 12500\nresponse = 1\nframe = 12500\nread = \"0%\"\narrivals = {{ closed = {{ depth = 64 }} }}\n",
            switch("ea", "A"),
            switch("eb", "B"),
            switch("sa", "A"),
            switch("sb", "B"),
            link("app", "ea", "100Gb/s", ""),
            link("app", "eb", "100Gb/s", ""),
            link(
                "ea",
                "sa",
                "10Gb/s",
                &format!("members = {members}\nchoose = \"exchange\"")
            ),
            link("eb", "sb", "10Gb/s", ""),
            link("sa", "box", "100Gb/s", ""),
            link("sb", "box", "100Gb/s", ""),
        )
    };
    let bound = |members: u32, paths: &str| {
        let rows = rows_of(&text(members, paths));
        let mut own = rows
            .iter()
            .filter(|row| row.case == "healthy" && row.part == "w");
        own.find(|row| row.trust == Trust::AtMost)
            .map(|row| row.value)
    };
    assert_eq!(bound(4, "least-queue"), None);
    // In turn, half of it goes over the one link: 10 us each at half.
    near(bound(4, "round-robin").expect("a bound"), 200_000.0);
    near(bound(1, "least-queue").expect("a bound"), 200_000.0);
}

/// Three hosts hang on A alone, one on both: with A lost the one that is left has B to itself, 100,000 of 10 us a second.
#[test]
fn hosts_that_an_outage_cuts_off_are_not_in_the_loop() {
    let text = "format = 1\n[[host]]\nname = \"x\"\ncount = 3\n[[host]]\nname = \"y\"\n[[switch]]\nname = \"ea\"\nfabric = \"A\"\n\
         [[switch]]\nname = \"eb\"\nfabric = \"B\"\n[[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1000\nwrite = { time = \"1us\" }\n\
         [[link]]\nfrom = \"x\"\nto = \"ea\"\nspeed = \"100Gb/s\"\n[[link]]\nfrom = \"y\"\nto = \"ea\"\nspeed = \"100Gb/s\"\n\
         [[link]]\nfrom = \"y\"\nto = \"eb\"\nspeed = \"100Gb/s\"\n[[link]]\nfrom = \"ea\"\nto = \"box\"\nspeed = \"10Gb/s\"\n\
         [[link]]\nfrom = \"eb\"\nto = \"box\"\nspeed = \"10Gb/s\"\n[[workload]]\nname = \"w\"\nhosts = [\"x\", \"y\"]\narray = \"box\"\n\
         protocol = \"plain\"\nrequest = 12500\nresponse = 1\nframe = 12500\nread = \"0%\"\narrivals = { closed = { depth = 16 } }\n\
         [[outage]]\nname = \"A\"\n";
    let rows = rows_of(text);
    let bound = |case: &str| {
        let mut own = rows
            .iter()
            .filter(|row| row.case == case && row.part == "w");
        own.find(|row| row.trust == Trust::AtMost)
            .map(|row| row.value)
    };
    assert_eq!(bound("healthy"), None);
    near(bound("A lost").expect("a bound"), 100_000.0);
}

/// Row E9: a link of 5, an array of two servers of 40, a pause of 15 (the answer takes 4 ns more here): one customer makes 1/60, two
/// make 2/60, three and more 1/20. In microseconds.
#[test]
fn a_loop_without_chance_is_exact() {
    let array = "parallel = 2\nwrite = { time = \"40us\" }";
    for depth in [1, 2, 3, 30] {
        let text = bench(
            array,
            &format!("{{ closed = {{ depth = {depth}, think = \"15us\" }} }}"),
        )
        .replace("10Gb/s", "2Gb/s")
        .replace("request = 10000", "request = 1250");
        let rows = rows_of(&text);
        // One byte of the answer is 4 ns of the round.
        let each = f64::max(60.004 / f64::from(depth), 20.0);
        near(
            one(&rows, "w", "throughput", Trust::Exact).value,
            1e6 / each,
        );
        near(
            one(&rows, "w", "mean latency", Trust::Exact).value,
            f64::from(depth) * each - 15.0,
        );
        let held = text.replace("name = \"app\"", "name = \"app\"\nqueue_depth = 2");
        assert_eq!(
            rows_of(&held).iter().any(|row| row.trust == Trust::Exact),
            depth <= 2
        );
        let chance = text.replace("\"40us\"", "{ exponential = \"40us\" }");
        let rows = rows_of(&chance);
        assert!(rows.iter().all(|row| row.trust != Trust::Exact), "{rows:?}");
    }
}

/// Requests of 100 bytes behind messages of a megabyte, which fill half of their link, come in clumps: nothing is exact then.
#[test]
fn other_work_on_the_way_brings_requests_in_clumps() {
    let text = |bulk: &str| {
        format!(
            "format = 1\n[[host]]\nname = \"app\"\n[[switch]]\nname = \"core\"\nfabric = \"A\"\n[[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1\n\
             read = {{ hit = \"100%\", hit_time = \"20us\" }}\n[[array]]\nname = \"tub\"\ncontrollers = 1\nparallel = 64\nwrite = {{ time = \"20us\" }}\n\
             [[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"10Gb/s\"\n[[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"10Gb/s\"\n\
             [[link]]\nfrom = \"core\"\nto = \"tub\"\nspeed = \"10Gb/s\"\n[[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\n\
             protocol = \"plain\"\nrequest = 100\nresponse = 1\nframe = 1000\nread = \"100%\"\nsizes = \"1B\"\narrivals = {{ poisson = \"35k/s\" }}\n{bulk}"
        )
    };
    let bulk = "[[workload]]\nname = \"bulk\"\nhosts = \"app\"\narray = \"tub\"\nprotocol = \"plain\"\nrequest = 1000000\nresponse = 1\nframe = 1000\n\
                read = \"0%\"\nsizes = \"1B\"\narrivals = { poisson = \"600/s\" }\n";
    one(&rows_of(&text("")), "box-c1", "mean wait", Trust::Exact);
    let rows = rows_of(&text(bulk));
    let row = one(&rows, "box-c1", "mean wait", Trust::Approximation);
    assert!(row.assumes.contains("in clumps"), "{}", row.assumes);
}

/// 8000 customers that pause for 0.85 s come over a link that is 75 % busy: it queues, though it takes a ten-thousandth of a round.
#[test]
fn a_repair_shop_behind_a_busy_link_is_not_exact() {
    let array = "parallel = 64\nwrite = { time = { exponential = \"1ms\" } }";
    let of = |depth: u32| {
        let arrivals = format!("{{ closed = {{ depth = {depth}, think = \"850ms\" }} }}");
        let text = bench(array, &arrivals)
            .replace("10Gb/s", "100Mb/s")
            .replace("request = 10000", "request = 1000");
        rows_of(&text)
    };
    one(&of(8000), "w", "throughput", Trust::Approximation);
    one(&of(80), "w", "throughput", Trust::Exact);
}
