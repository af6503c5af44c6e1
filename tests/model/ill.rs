//! Links that are there and not well: one way gone, a lower rate, frames damaged.

use super::fault::{CAUGHT, burst_site, dual, latency};
use super::rig::{MS, S, US, at_times, direction, extremes, run, script, site};
use halfloom::model::{Compiled, LogKind, Script, Standing};
use halfloom::site::{Action, Event, Heading, Slow};
use halfloom::unit::{Duration, Side};
use halfloom::wire::Op;

fn slow(rate_ppm: u32, loss_ppb: u32) -> Action {
    Action::Slow(Slow { rate_ppm, loss_ppb })
}

/// A site ready for links slowed down to these rates.
fn ready(compiled: &Compiled, rates: &[u32]) -> Compiled {
    let mut site = compiled.site.clone();
    site.events = rates
        .iter()
        .map(|rate_ppm| Event {
            at: Duration::ZERO,
            action: slow(*rate_ppm, 0),
            parts: Vec::new(),
            side: None,
            target: String::new(),
            number: 1,
            round: None,
        })
        .collect();
    Compiled::new(&site, &[])
}

/// Ten frames of 1 us. Slowed to half at 3.5 us, frame 3 is on the wire and ends at 4; then 2 us each. With the
/// whole rate back at 8.5 us, frame 6, begun at 8, ends at 10, and three of 1 us are left. A change in the
/// instant in which a frame would begin finds it not begun.
#[test]
fn a_slow_link_keeps_what_has_begun() {
    let compiled = ready(
        &burst_site("10Gb/s", "store-and-forward"),
        &[500_000, 250_000],
    );
    let link = "app:A1~sw-A";
    let at = |at: u64, action| script(&compiled, at, action, link, None);
    for (scripts, busy) in [
        (vec![at(3_500_000, slow(500_000, 0))], 4 + 6 * 2),
        (
            vec![
                at(3_500_000, slow(500_000, 0)),
                at(8_500_000, Action::Restore),
            ],
            4 + 2 * 3 + 3,
        ),
        (vec![at(4_000_000, slow(250_000, 0))], 4 + 6 * 4),
        // In steps, the last in the middle of a frame of 2 us.
        (
            vec![
                at(2_000_000, slow(500_000, 0)),
                at(5_000_000, slow(250_000, 0)),
            ],
            2 + 2 * 2 + 6 * 4,
        ),
        // Nothing is on the link any more.
        (vec![at(11_000_000, slow(250_000, 0))], 10),
    ] {
        let tally = run(&compiled, &scripts, MS);
        let first = direction(&compiled, &tally, "app:A1 > sw-A");
        assert_eq!((first.delivered, first.busy_total), (10, busy * US));
        assert_eq!(first.busy_until.0, busy * US);
        assert_eq!(tally.workloads[0].completed_total, 1);
    }
}

/// An Ethernet switch cuts through only where the output is not faster: each of ten frames of 1250 B at 10 Gb/s
/// (1 us) goes on after its header; with the second link at half, still; with the first at half, it is stored.
#[test]
fn a_slow_link_decides_what_is_cut_through() {
    let mut base = burst_site("10GbE", "cut-through").site;
    at_times(&mut base, 1, &[(100 * US, Op::Write, 12_500)]);
    let compiled = ready(&Compiled::new(&base, &[]), &[500_000]);
    let time = |links: &[&str]| {
        let scripts: Vec<Script> = links
            .iter()
            .map(|link| script(&compiled, 0, slow(500_000, 0), link, None))
            .collect();
        let tally = run(&compiled, &scripts, S);
        let over = |name| direction(&compiled, &tally, name).busy_until.0;
        over("sw-A > box-c1:A1") - over("app:A1 > sw-A")
    };
    let (first, second) = ("app:A1~sw-A", "sw-A~box-c1:A1");
    // From the end on the first link to the end on the last: propagation 100 ns, and what was not overlapped. A
    // header of 22 B takes 17.6 ns.
    let healthy = time(&[]);
    assert_eq!(healthy, 100_000 + 17_600);
    assert_eq!(time(&[second]), healthy + 10 * US);
    assert_eq!(time(&[first]), 100_000 + US);
    assert_eq!(time(&[first, second]), 100_000 + 2 * 17_600);
}

/// A read caught in service whose way back is gone: the array has worked, its answer is lost, no signal tells.
/// Fibre Channel waits for its command timeout, NVMe over TCP for its keep-alive; the way there is free all along.
#[test]
fn one_way_lost_is_silent() {
    for (protocol, speed, stall) in [
        ("fc-scsi", "32GFC", 30 * S),
        ("fc-nvme", "32GFC", 30 * S),
        ("nvme-tcp", "25GbE", 5 * S + 50 * US),
        ("iscsi", "25GbE", 140 * S + 50 * US),
    ] {
        let compiled = dual(protocol, speed, "", &CAUGHT);
        let normal = latency(&compiled, &[]);
        let back = Action::LoseWay(Heading::Hosts);
        let lost = script(&compiled, 50 * US, back, "app:A1~core-A", None);
        assert_eq!(
            latency(&compiled, std::slice::from_ref(&lost)) - normal,
            stall,
            "{protocol}"
        );
        // A link that damages every frame lets nothing come back either.
        let all = slow(Slow::WHOLE, Slow::CERTAIN);
        let damaged = script(&compiled, 50 * US, all, "app:A1~core-A", None);
        assert_eq!(
            latency(&compiled, &[damaged]) - normal,
            stall,
            "{protocol}, damaged"
        );
        let tally = run(&compiled, &[lost], MS);
        let [there, here] =
            ["app:A1 > core-A", "core-A > app:A1"].map(|name| direction(&compiled, &tally, name));
        assert!(there.delivered > 0 && there.dropped + there.cut == 0);
        assert!(here.dropped > 0 && here.delivered == 0);
        assert_eq!(there.up, MS);
        assert_eq!(here.up, 50 * US);
    }
}

/// The two ways are lost one after the other and come back together with one return; a way lost twice needs two.
#[test]
fn each_way_has_its_own_losses() {
    let compiled = dual("fc-nvme", "32GFC", "", &CAUGHT);
    let link = "app:A1~core-A";
    let at = |at: u64, action| script(&compiled, at * MS, action, link, None);
    let up = |scripts: &[Script]| {
        let tally = run(&compiled, scripts, S);
        ["app:A1 > core-A", "core-A > app:A1"].map(|name| direction(&compiled, &tally, name).up)
    };
    let (there, back) = (
        Action::LoseWay(Heading::Arrays),
        Action::LoseWay(Heading::Hosts),
    );
    let both = [at(100, there), at(300, back), at(400, Action::Restore)];
    assert_eq!(up(&both), [700 * MS, 900 * MS]);
    let twice = [
        at(100, there),
        at(300, super::fault::LOUD),
        at(400, Action::Restore),
    ];
    assert_eq!(up(&twice), [100 * MS, 900 * MS]);
    let healed = [twice.as_slice(), &[at(500, Action::Restore)]].concat();
    assert_eq!(up(&healed), [600 * MS, 900 * MS]);
}

/// 4000 reads one at a time over a link that damages a tenth of the frames: a command of one frame, data of one,
/// a response of one. Of n frames n/10 ± 5 standard deviations are thrown away at the end of their way. An attempt
/// is lost with any of its three, 1 − 0.9³ of them, and the command timeout sends it again. The same frames are
/// damaged when the array is slower.
#[test]
fn damaged_frames_are_thrown_away_at_their_end() {
    let ios: Vec<(u64, Op, u32)> = (0..4_000).map(|n| (n * MS, Op::Read, 1024)).collect();
    let timers = "timers = { command_timeout = \"300us\", retries = 50 }";
    let compiled = ready(&dual("fc-scsi", "32GFC", timers, &ios), &[]);
    let ill = script(
        &compiled,
        0,
        slow(Slow::WHOLE, 100_000_000),
        "app:A1~core-A",
        None,
    );
    let tally = run(&compiled, std::slice::from_ref(&ill), 10 * S);
    let work = &tally.workloads[0];
    assert_eq!(
        (work.completed_total, work.failed_total, work.late),
        (4_000, 0, 0)
    );
    #[allow(clippy::cast_precision_loss)]
    let attempts = (4_000 + work.retried) as f64;
    #[allow(clippy::cast_precision_loss)]
    let failed = work.retried as f64;
    let share = 1.0 - 0.9_f64.powi(3);
    let deviation = (attempts * share * (1.0 - share)).sqrt();
    assert!(
        (failed - attempts * share).abs() < 5.0 * deviation,
        "{failed}"
    );
    let crossed: u64 = ["app:A1 > core-A", "core-A > app:A1"]
        .map(|name| direction(&compiled, &tally, name).delivered)
        .iter()
        .sum();
    #[allow(clippy::cast_precision_loss)]
    let (found, mean) = (tally.discarded as f64, crossed as f64 * 0.1);
    assert!(
        (found - mean).abs() < 5.0 * (mean * 0.9).sqrt(),
        "{found} of {crossed}"
    );
    // A slower array shifts times and no damage.
    let mut slower = compiled.site.clone();
    slower.arrays[0].read.hit_time = halfloom::site::Law::Constant(Duration::from_us(150));
    let slower = Compiled::new(&slower, &[]);
    let again = run(&slower, &[ill], 10 * S);
    assert_eq!(again.discarded, tally.discarded);
    assert_ne!(extremes(&again), extremes(&tally));
    // Certain damage is a silent loss: the first command is given up after 0.3 ms, and its path with it. Healed at 2.5 ms,
    // before the next check of that path; the others go over B meanwhile.
    let sick = script(
        &compiled,
        0,
        slow(Slow::WHOLE, Slow::CERTAIN),
        "",
        Some(Side::A),
    );
    let healed = script(&compiled, 2_500 * US, Action::Restore, "", Some(Side::A));
    let tally = run(&compiled, &[sick, healed], 10 * S);
    assert_eq!(tally.workloads[0].completed_total, 4_000);
    assert_eq!((tally.discarded, tally.workloads[0].retried), (1, 1));
    assert_eq!(
        of_path_a(&compiled, &tally),
        [Standing::Unnoticed, Standing::Failed, Standing::Up]
    );
}

/// What the host thinks of its path over A, in order.
fn of_path_a(compiled: &Compiled, tally: &halfloom::model::Tally) -> Vec<Standing> {
    let names: Vec<&str> = compiled.path_names().map(|path| path.host_port).collect();
    let on_a = |path: u32| names[path as usize] == "app:A1";
    let entries = tally.log.iter();
    entries
        .filter_map(|entry| match entry.kind {
            LogKind::Path { path, to } if on_a(path) => Some(to),
            _ => None,
        })
        .collect()
}

/// TCP sends a damaged segment again, 200 ms after the message left, and luck is drawn anew each time.
#[test]
fn tcp_makes_good_for_damage() {
    let ios: Vec<(u64, Op, u32)> = (0..200).map(|n| (n * 3 * S, Op::Read, 512)).collect();
    let compiled = ready(&dual("nvme-tcp", "25GbE", "", &ios), &[]);
    let ill = script(
        &compiled,
        0,
        slow(Slow::WHOLE, 200_000_000),
        "app:A1~core-A",
        None,
    );
    let tally = run(&compiled, &[ill], 1_000 * S);
    let work = &tally.workloads[0];
    assert_eq!((work.completed_total, work.retried), (200, 0));
    // A message of one frame each way: about a quarter of 400 are sent at least once more.
    assert!((60..150).contains(&work.resent), "{}", work.resent);
    assert_eq!(tally.discarded, work.resent);
}

/// A loud loss that follows a silent one shows: the host is told at last, by detection.
#[test]
fn a_signal_that_goes_after_the_frames_is_seen() {
    let compiled = dual("fc-nvme", "32GFC", "", &CAUGHT);
    let normal = latency(&compiled, &[]);
    let link = "app:A1~core-A";
    let silent = script(&compiled, 50 * US, super::fault::SILENT, link, None);
    let loud = script(&compiled, S, super::fault::LOUD, link, None);
    assert_eq!(latency(&compiled, &[silent, loud]) - normal, S + 100 * MS);
}

#[test]
fn a_site_stays_usable_for_other_rates() {
    // The same figures whether or not tables for a slow link are there.
    let mut base = site(
        "format = 1\n[[host]]\nname = \"app\"\n[[array]]\nname = \"box\"\n\
         [[link]]\nfrom = \"app\"\nto = \"box\"\nspeed = \"25GbE\"\n\
         [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"nvme-tcp\"\n\
         sizes = \"64KiB\"\narrivals = { poisson = \"1/s\" }\n",
    );
    at_times(
        &mut base,
        1,
        &[(0, Op::Read, 65_536), (0, Op::Write, 65_536)],
    );
    let plain = Compiled::new(&base, &[]);
    let tables = ready(&plain, &[500_000, 10_000]);
    assert_eq!(run(&plain, &[], S), run(&tables, &[], S));
}
