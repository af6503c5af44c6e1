//! Backlog and drain after a stop, through the real model: a link that stops and goes on, and the work of a lost fabric held and
//! then let go on the other.
//!
//! A frame takes 1 us, the unit of every time below. Expected values are exact means for Poisson arrivals and constant service:
//! work v drains in v ÷ (1 − ρ) on the mean (busy period started by v; Kleinrock, Queueing Systems, vol. 1, chapter 5, from memory),
//! and the work that an arrival finds is that of M/D/1, ρ ÷ 2(1 − ρ) (Pollaczek and Khinchine). The two-sided 99.9 % t interval over the
//! replications must contain them.

use super::fault::LOUD;
use super::rig::{LIMITS, US, contains, script, site, watch};
use halfloom::model::{Compiled, Script, Stop, World};
use halfloom::site::Action;
use halfloom::theory::failure;
use halfloom::unit::{Instant, Side};

/// When the link stops: long after the queue has become what it is in the long run.
const LOSS: u64 = 2_000 * US;
/// How often it is looked whether all is done.
const LOOK: u64 = 20_000;

/// Mean work of M/D/1 in transmission times, and mean number in it.
fn m_d_1(rho: f64) -> (f64, f64) {
    let work = rho / (2.0 * (1.0 - rho));
    (work, rho + rho * work)
}

/// I/Os under way at `release`, and the time from then until there are none for the first time, us; one pair a replication.
#[allow(clippy::cast_precision_loss)]
fn drains(
    compiled: &Compiled,
    scripts: &[Script],
    release: u64,
    number: u32,
) -> (Vec<f64>, Vec<f64>) {
    let run = |replication| {
        let mut world = World::new(compiled, replication, watch(0, 1), LIMITS);
        for script in scripts {
            world.add_script(script.clone());
        }
        let left = |world: &World<'_>| {
            let work = &world.tally().workloads[0];
            assert_eq!(work.failed_total, 0);
            work.issued_total - work.completed_total
        };
        // The release is in the same instant; what it lets go is still all there.
        world.run_until(Instant(release), Stop::AtTheTime);
        let backlog = left(&world);
        let mut at = release;
        while left(&world) > 0 {
            at += LOOK;
            world.run_until(Instant(at), Stop::AtTheTime);
        }
        (backlog as f64, (at - release) as f64 / 1e6)
    };
    (0..number).map(run).unzip()
}

/// One link of utilization ρ stops for T: its path is lost, which is noticed at once, and comes back with the check after T. Without
/// another path everything waits in the host. The frame that was being sent is sent again from its start: on the mean half
/// a frame of work more whenever there was one, ρ ÷ 2. Fluid: backlog λT, drain ρT ÷ (1 − ρ).
#[test]
fn a_link_that_stops_and_goes_on_drains_as_a_busy_period() {
    for (rho, stop, number) in [(0.5, 1_000_u64, 200), (0.7, 500, 200), (0.85, 2_000, 100)] {
        let text = format!(
            "format = 1\n[[host]]\nname = \"app\"\n\
             timers = {{ link_loss_detect = \"0s\", path_check = \"{stop}us\", no_path = \"queue\" }}\n\
             [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 10000\nwrite = {{ time = \"0s\" }}\n\
             [[link]]\nfrom = \"app\"\nto = \"box\"\nspeed = \"10Gb/s\"\npropagation = \"0s\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
             request = 1250\nresponse = 1\nframe = 1250\nread = \"0%\"\narrivals = {{ poisson = \"{}k/s\" }}\n",
            rho * 1e3
        );
        let compiled = Compiled::new(&site(&text), &[]);
        let all = "app:A1~box*";
        let scripts = [
            script(&compiled, LOSS, LOUD, all, None),
            script(&compiled, LOSS + US, Action::Restore, all, None),
        ];
        let (backlog, drain) = drains(&compiled, &scripts, LOSS + stop * US, number);
        let (work, waiting) = m_d_1(rho);
        #[allow(clippy::cast_precision_loss)]
        let stop = stop as f64;
        contains(&format!("backlog, {rho}"), &backlog, waiting + rho * stop);
        let again = rho / 2.0 / (1.0 - rho);
        let theory = failure::stop(rho, stop).expect("it drains");
        assert!((theory.drain_mean - (work + rho * stop) / (1.0 - rho)).abs() < 1e-9);
        contains(&format!("drain, {rho}"), &drain, theory.drain_mean + again);
    }
}

/// Two fabrics at ρ each, one lost; its half is held for a pause P, until the loss is noticed, and then let go at once. The
/// survivor works its own half off meanwhile, M/D/1 at ρ; then it has that work, all that was on the lost link and what came for
/// it in the pause, and both halves to carry. Fluid: drain ρP ÷ (1 − 2ρ).
#[test]
fn the_held_half_of_a_lost_fabric_drains_on_the_other() {
    for (rho, pause, number) in [(0.2, 1_000_u64, 100), (0.35, 1_000, 100), (0.45, 500, 200)] {
        let text = format!(
            "format = 1\n[[host]]\nname = \"app\"\npaths = \"random\"\ntimers = {{ link_loss_detect = \"{pause}us\" }}\n\
             [[switch]]\nname = \"sw\"\ndelay = \"0s\"\nforwarding = \"store-and-forward\"\n\
             [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 10000\nwrite = {{ time = \"0s\" }}\n\
             [[link]]\nfrom = \"app\"\nto = \"sw\"\nspeed = \"10Gb/s\"\npropagation = \"0s\"\n\
             [[link]]\nfrom = \"sw\"\nto = \"box\"\nspeed = \"1000Gb/s\"\npropagation = \"0s\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
             request = 1250\nresponse = 1\nframe = 1250\nread = \"0%\"\narrivals = {{ poisson = \"{}k/s\" }}\n",
            2.0 * rho * 1e3
        );
        let compiled = Compiled::new(&site(&text), &[]);
        let lost = [script(&compiled, LOSS, LOUD, "", Some(Side::A))];
        let (backlog, drain) = drains(&compiled, &lost, LOSS + pause * US, number);
        let (work, waiting) = m_d_1(rho);
        #[allow(clippy::cast_precision_loss)]
        let pause = pause as f64;
        let held = waiting + rho * pause;
        contains(&format!("backlog, {rho}"), &backlog, waiting + held);
        let mean = (work + held) / (1.0 - 2.0 * rho);
        contains(&format!("drain, {rho}"), &drain, mean);
        // The fluid is the long pause's share of it.
        let fluid = rho * pause / (1.0 - 2.0 * rho);
        assert!(fluid < mean && mean < 1.1 * fluid, "{fluid} and {mean}");
    }
}
