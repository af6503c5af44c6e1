//! Single I/Os to the picosecond, alone and with another in the way.
//!
//! The Fibre Channel sites have three links of 32GFC: 28.05 Gb/s × 64/66 ÷ 8 = 3400 bytes a microsecond
//! (FC-PI-6). Frames of P bytes take P + 60 bytes of the wire (FC-FS): CMND 92 B 27,059 ps (rounded up),
//! data 2108 B 620,000 ps, XFER_RDY 72 B 21,177 ps, RSP 84 B 24,706 ps; the header a cut-through switch
//! waits for, 28 B, 8236 ps. RS(528,514) collects 5280 bits at 28.05 Gb/s, 188,236 ps, and 40,000 ps are
//! spent on decoding. Lengths of 10, 20 and 40 m at 5 ns/m make 50,000, 100,000 and 200,000 ps.

use super::rig::{S, US, at_times, direction, extremes, run, site};
use halfloom::model::{BudgetSums, Compiled, Tally};
use halfloom::theory::pipeline;
use halfloom::unit::Duration;
use halfloom::wire::Op;

/// Latency of FEC on a 32GFC link.
const FEC: u64 = 188_236 + 40_000;
/// Propagation and FEC of the three links, one way.
const WAY: u64 = 50_000 + 100_000 + 200_000 + 3 * FEC;
/// Forwarding delays of both switches.
const SWITCHES: u64 = 400_000 + 700_000;
const ADAPTER: u64 = 3 * US;
const SERVICE: u64 = 100 * US;
/// Serialization.
const CMND: u64 = 27_059;
const DATA: u64 = 620_000;
const XFER_RDY: u64 = 21_177;
const RSP: u64 = 24_706;
const HEADER: u64 = 8_236;

const STORE: &str = "store-and-forward";
const CUT: &str = "cut-through";

fn fc_site(first_link: &str, forwarding: &str, hosts: u32) -> String {
    format!(
        "format = 1\n[[host]]\nname = \"app\"\ncount = {hosts}\n\
         [[switch]]\nname = \"edge\"\nfabric = \"A\"\ndelay = \"400ns\"\nforwarding = \"{forwarding}\"\n\
         [[switch]]\nname = \"san\"\nfabric = \"A\"\ndelay = \"700ns\"\nforwarding = \"{forwarding}\"\n\
         [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 8\n\
         read = {{ hit = \"100%\", hit_time = \"100us\" }}\n\
         write = {{ time = \"150us\", mirror = \"20us\" }}\n\
         [[link]]\nfrom = \"app\"\nto = \"edge\"\n{first_link}\nlength = \"10m\"\n\
         [[link]]\nfrom = \"edge\"\nto = \"san\"\nspeed = \"32GFC\"\nlength = \"20m\"\n\
         [[link]]\nfrom = \"san\"\nto = \"box\"\nspeed = \"32GFC\"\nlength = \"40m\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"fc-scsi\"\n\
         adapter = \"3us\"\narrivals = {{ poisson = \"1/s\" }}\nsizes = \"4KiB\"\n"
    )
}

/// One I/O of 4 KiB at time zero from each host.
fn fc_run(first_link: &str, forwarding: &str, hosts: u32, op: Op) -> (Compiled, Tally) {
    let mut site = site(&fc_site(first_link, forwarding, hosts));
    at_times(&mut site, hosts, &[(0, op, 4096)]);
    let compiled = Compiled::new(&site, &[]);
    let tally = run(&compiled, &[], S);
    assert_eq!(tally.workloads[0].completed_total, u64::from(hosts));
    (compiled, tally)
}

/// The parts of the budget but for queueing on links, which is compared apart.
fn parts(budget: &BudgetSums) -> [u64; 9] {
    [
        budget.host_queue,
        budget.adapter,
        budget.serialization,
        budget.propagation,
        budget.switch,
        budget.array_queue,
        budget.service,
        budget.mirror,
        budget.extra_trip,
    ]
    .map(|part| u64::try_from(part).unwrap())
}

/// A single I/O must take the sum of its parts, and each part what was computed by hand.
fn alone(forwarding: &str, op: Op, expected: [u64; 9]) {
    let (_, tally) = fc_run("speed = \"32GFC\"", forwarding, 1, op);
    let budget = &tally.workloads[0].budget;
    assert_eq!(parts(budget), expected, "{forwarding} {op:?}");
    assert!(budget.queueing.iter().all(|wait| *wait == 0));
    assert_eq!(budget.retry, 0);
    let sum = expected.iter().sum::<u64>();
    assert_eq!(extremes(&tally), (sum, sum), "{forwarding} {op:?}");
}

/// The command crosses three links. The answer, two data frames and the response, leaves together: the
/// second data frame ends (2 + 3 − 1) × 620 ns after the start, the response right behind it.
#[test]
fn a_read_alone_stored() {
    let serialization = 3 * CMND + 4 * DATA + RSP;
    assert_eq!(serialization, 2_585_883);
    alone(
        STORE,
        Op::Read,
        [
            0,
            2 * ADAPTER,
            serialization,
            2 * WAY,
            2 * SWITCHES,
            0,
            SERVICE,
            0,
            0,
        ],
    );
}

/// Each switch passes a frame on after its header: the response starts 2 × 620 ns after the first data
/// frame on every link, and each of two switches adds a header.
#[test]
fn a_read_alone_cut_through() {
    let serialization = (2 * HEADER + CMND) + (2 * DATA + 2 * HEADER + RSP);
    alone(
        CUT,
        Op::Read,
        [
            0,
            2 * ADAPTER,
            serialization,
            2 * WAY,
            2 * SWITCHES,
            0,
            SERVICE,
            0,
            0,
        ],
    );
}

/// Command, transfer-ready (with the adapter that takes it in: the extra round trip), data, response. Four
/// messages pass the adapter, three of them outside the extra trip.
#[test]
fn a_write_alone_stored() {
    let extra = 3 * XFER_RDY + WAY + SWITCHES + ADAPTER;
    let serialization = 3 * CMND + (2 + 3 - 1) * DATA + 3 * RSP;
    alone(
        STORE,
        Op::Write,
        [
            0,
            3 * ADAPTER,
            serialization,
            3 * WAY,
            3 * SWITCHES,
            0,
            150 * US,
            20 * US,
            extra,
        ],
    );
}

#[test]
fn a_write_alone_cut_through() {
    let extra = 2 * HEADER + XFER_RDY + WAY + SWITCHES + ADAPTER;
    let serialization = (2 * HEADER + CMND) + (2 * HEADER + 2 * DATA) + (2 * HEADER + RSP);
    alone(
        CUT,
        Op::Write,
        [
            0,
            3 * ADAPTER,
            serialization,
            3 * WAY,
            3 * SWITCHES,
            0,
            150 * US,
            20 * US,
            extra,
        ],
    );
}

/// 25GbE carries 3125 bytes a microsecond (IEEE 802.3by); tagged FCoE frames take P + 88 bytes (FC-BB-5):
/// CMND 120 B 38,400 ps, data 2136 B 683,520 ps, RSP 112 B 35,840 ps; FEC collects 5280 bits at
/// 25.78125 Gb/s, 204,800 ps. The edge switch stores, since the frame is packed anew; the next one cuts.
#[test]
fn a_switch_that_changes_the_encapsulation_stores() {
    let (_, tally) = fc_run("speed = \"25GbE\"\ncarries = \"all\"", CUT, 1, Op::Read);
    let request = 38_400 + HEADER + CMND;
    // Behind the first link back, data end at 8236 + 620,000 and 620,000 later; the first starts on
    // Ethernet then, and the slower Ethernet keeps the others in a row.
    let response = (HEADER + DATA) + 2 * 683_520 + 35_840;
    let way = 50_000 + 204_800 + 40_000 + 100_000 + 200_000 + 2 * FEC;
    let sum = 2 * ADAPTER + request + response + 2 * way + 2 * SWITCHES + SERVICE;
    assert_eq!(extremes(&tally), (sum, sum));
}

/// Two hosts read at the same instant. Their commands meet at the edge switch, where the second waits for
/// the first, 27,059 ps; so its answer is ready 27,059 ps later at the array port, where the first one's
/// frames take 2 × 620,000 + 24,706 ps. From there on the answers follow each other without a gap, so the
/// second read takes 1,264,706 ps longer.
#[test]
fn two_reads_in_each_others_way() {
    const BURST: u64 = 2 * DATA + RSP;
    let sums = [
        (STORE, 3 * CMND + 4 * DATA + RSP),
        (CUT, (2 * HEADER + CMND) + (2 * DATA + 2 * HEADER + RSP)),
    ];
    for (forwarding, serialization) in sums {
        let (compiled, tally) = fc_run("speed = \"32GFC\"", forwarding, 2, Op::Read);
        let alone = 2 * ADAPTER + serialization + 2 * WAY + 2 * SWITCHES + SERVICE;
        assert_eq!(extremes(&tally), (alone, alone + BURST), "{forwarding}");
        let budget = &tally.workloads[0].budget;
        assert_eq!(budget.serialization, 2 * u128::from(serialization));
        for (tier, wait) in compiled.tiers.iter().zip(&budget.queueing) {
            let expected = match tier.as_str() {
                "edge > san" => CMND,
                "box > san" => BURST - CMND,
                _ => 0,
            };
            assert_eq!(*wait, u128::from(expected), "{forwarding}, {tier}");
        }
        let port = direction(&compiled, &tally, "box-c1:A1 > san-A");
        // Frames of the second answer wait BURST − CMND behind the first; within an answer the second
        // data frame waits one frame, the response two.
        let own = 2 * (DATA + 2 * DATA);
        assert_eq!(port.wait.sum(), u128::from(own + 3 * (BURST - CMND)));
        assert_eq!(port.busy, 2 * BURST);
    }
}

/// Two hosts write at the same instant. The second command waits for the first at the edge switch, 27,059 ps,
/// and so its transfer-ready and its data come 27,059 ps later. There the frames of both meet, and leave in the
/// order in which they may: first of one, first of two, second of one, second of two. The last frame of one
/// leaves a frame, 620,000 ps, later than alone; that of two at four frames from the first, so 1,240,000 ps
/// later than a write alone. Behind it frames are a frame apart: nothing waits any more, and the answers are
/// 620,000 ps apart, too.
#[test]
fn two_writes_in_each_others_way() {
    for forwarding in [STORE, CUT] {
        let (_, one) = fc_run("speed = \"32GFC\"", forwarding, 1, Op::Write);
        let (alone, same) = extremes(&one);
        assert_eq!(alone, same);
        let (compiled, tally) = fc_run("speed = \"32GFC\"", forwarding, 2, Op::Write);
        let expected = (alone + DATA, alone + 2 * DATA);
        assert_eq!(extremes(&tally), expected, "{forwarding}");
        let budget = &tally.workloads[0].budget;
        let single = &one.workloads[0].budget;
        assert_eq!(budget.serialization, 2 * single.serialization);
        assert_eq!(budget.extra_trip, 2 * single.extra_trip);
        // The command, one frame behind one, and two frames behind two less what it came later.
        let waits = CMND + DATA + (2 * DATA - CMND);
        for (tier, wait) in compiled.tiers.iter().zip(&budget.queueing) {
            let expected = if tier == "edge > san" { waits } else { 0 };
            assert_eq!(*wait, u128::from(expected), "{forwarding}, {tier}");
        }
        let trunk = direction(&compiled, &tally, "edge-A > san-A");
        assert_eq!(trunk.busy, 2 * (CMND + 2 * DATA));
    }
}

/// One controller works on one request at a time: the second of two reads waits for the rest of the first
/// one's service, 100 us less the 27,059 ps by which it came later.
#[test]
fn two_reads_at_an_array_that_takes_one() {
    let mut site = site(&fc_site("speed = \"32GFC\"", STORE, 2));
    site.arrays[0].parallel = 1;
    at_times(&mut site, 2, &[(0, Op::Read, 4096)]);
    let tally = run(&Compiled::new(&site, &[]), &[], S);
    let budget = &tally.workloads[0].budget;
    assert_eq!(budget.array_queue, u128::from(SERVICE - CMND));
    let alone = 2 * ADAPTER + 3 * CMND + 4 * DATA + RSP + 2 * WAY + 2 * SWITCHES + SERVICE;
    assert_eq!(extremes(&tally), (alone, alone + SERVICE));
}

/// A host with one slot: the second read waits in the host until the first is complete.
#[test]
fn the_wait_for_a_slot_is_the_hosts() {
    let mut site = site(&fc_site("speed = \"32GFC\"", STORE, 1));
    site.hosts[0].queue_depth = Some(1);
    at_times(&mut site, 1, &[(0, Op::Read, 4096), (US, Op::Read, 4096)]);
    let tally = run(&Compiled::new(&site, &[]), &[], S);
    let alone = 2 * ADAPTER + 3 * CMND + 4 * DATA + RSP + 2 * WAY + 2 * SWITCHES + SERVICE;
    assert_eq!(extremes(&tally), (alone, 2 * alone - US));
    assert_eq!(tally.workloads[0].budget.host_queue, u128::from(alone - US));
}

/// A chain of links of protocol `plain`: one switch fewer than links, no delays, writes served in 1 us.
fn chain(speeds: &[&str], propagation: &str, frame: u32, frames: u32) -> Compiled {
    let last = speeds.len() - 1;
    let node = |index: usize| match index {
        0 => "app".to_owned(),
        index if index == last + 1 => "box".to_owned(),
        index => format!("s{index}"),
    };
    let switches: String = (1..=last)
        .map(|index| format!("[[switch]]\nname = \"s{index}\"\nfabric = \"A\"\ndelay = \"0s\"\n"))
        .collect();
    let links: String = speeds
        .iter()
        .enumerate()
        .map(|(index, speed)| {
            format!(
                "[[link]]\nfrom = \"{}\"\nto = \"{}\"\nspeed = \"{speed}\"\npropagation = \"{propagation}\"\n",
                node(index),
                node(index + 1)
            )
        })
        .collect();
    let text = format!(
        "format = 1\n[[host]]\nname = \"app\"\n{switches}\
         [[array]]\nname = \"box\"\ncontrollers = 1\nwrite = {{ time = \"1us\" }}\n{links}\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
         request = {}\nresponse = 1\nframe = {frame}\nread = \"0%\"\narrivals = {{ poisson = \"1/s\" }}\n",
        frame * frames
    );
    let mut site = site(&text);
    at_times(&mut site, 1, &[(0, Op::Write, frame * frames)]);
    Compiled::new(&site, &[])
}

/// Time of the request of the only I/O: latency less 1 us of service and the one-byte response.
fn request_time(compiled: &Compiled, response: u64) -> u64 {
    let tally = run(compiled, &[], S);
    let (least, most) = extremes(&tally);
    assert_eq!(least, most);
    least - US - response
}

/// (n + k − 1) S + k p (Kurose and Ross, Computer Networking, chapter 1).
#[test]
fn pipelines_stored() {
    // 16 frames of 800 B over three links of 10 Gb/s and 100 ns: 18 × 640 + 300 ns.
    let got = request_time(&chain(&["10Gb/s"; 3], "100ns", 800, 16), 3 * 800 + 300_000);
    assert_eq!(got, 11_820_000);
    let link = (Duration::from_ns(640), Duration::from_ns(100));
    assert_eq!(pipeline::store_and_forward(16, &[link; 3]).0, got);
    // 32 frames of 2048 B over five links of 25 Gb/s and 50 ns: 36 × 655.36 + 250 ns.
    let got = request_time(&chain(&["25Gb/s"; 5], "50ns", 2048, 32), 5 * 320 + 250_000);
    assert_eq!(got, 23_842_960);
    // Three frames over two links without propagation: 4 frame times.
    let got = request_time(&chain(&["10Gb/s"; 2], "0s", 1250, 3), 2 * 800);
    assert_eq!(got, 4 * US);
    // One packet through one router without propagation: 2 L/R.
    let got = request_time(&chain(&["10Gb/s"; 2], "0s", 1250, 1), 2 * 800);
    assert_eq!(got, 2 * US);
    // Unequal links, 3000 B in 2, 5 and 3 us: 10 + (10 − 1) × 5 + 3 × 1 us.
    let got = request_time(
        &chain(&["12Gb/s", "4.8Gb/s", "8Gb/s"], "1us", 3000, 10),
        667 + 1_667 + 1_000 + 3 * US,
    );
    assert_eq!(got, 58 * US);
}

/// n S + (k − 1) h + k p. On Ethernet a switch waits for preamble and header, 22 B (IEEE 802.3 clause 3):
/// 17.6 ns at 10 Gb/s.
#[test]
fn pipelines_cut_through() {
    let response = 3 * 800 + 300_000;
    let got = request_time(&chain(&["10GbE"; 3], "100ns", 800, 16), response);
    assert_eq!(got, 16 * 640_000 + 2 * 17_600 + 3 * 100_000);
    // Three frames over two links; 32 frames of 2048 B over five of 25GbE, header 7.04 ns, and 244.8 ns of
    // error correction on each link.
    let got = request_time(&chain(&["10GbE"; 2], "0s", 1250, 3), 2 * 800);
    assert_eq!(got, 3 * US + 17_600);
    let got = request_time(
        &chain(&["25GbE"; 5], "50ns", 2048, 32),
        5 * (320 + 50_000 + 244_800),
    );
    assert_eq!(got, 32 * 655_360 + 4 * 7_040 + 5 * (50_000 + 244_800));
    // Toward a faster link a frame is stored. 40GbE: 800 B in 160 ns; 10GbE then 40GbE then 10GbE: stored
    // at the first switch, cut at the second, header 4.4 ns.
    let response = 800 + 200 + 800 + 300_000;
    let got = request_time(
        &chain(&["10GbE", "40GbE", "10GbE"], "100ns", 800, 1),
        response,
    );
    assert_eq!(got, 640_000 + 4_400 + 640_000 + 300_000);
}

/// Two messages of n frames ready at once on the same first link: the first ends at (n + k − 1) S + k p, the
/// second at (2n + k − 1) S + k p.
#[test]
fn two_messages_on_one_first_link() {
    let compiled = chain(&["10Gb/s"; 3], "100ns", 800, 16);
    let mut site = compiled.site.clone();
    at_times(
        &mut site,
        1,
        &[(0, Op::Write, 12_800), (0, Op::Write, 12_800)],
    );
    let tally = run(&Compiled::new(&site, &[]), &[], S);
    let rest = US + 3 * 800 + 300_000;
    let first = 18 * 640_000 + 300_000 + rest;
    assert_eq!(extremes(&tally), (first, first + 16 * 640_000));
}
