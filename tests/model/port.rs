//! Egress ports as admission × discipline × gate: a mechanism that the program knows nothing of, written
//! here, in both executors.
//!
//! None of these has a word in the scenario or a line in the model: that a new mechanism needs no more than
//! its own type is what this file shows.

use super::oracle::{Dice, Kind, count, difference, scripts, text};
use super::rig::{MS, US, site, watch};
use halfloom::model::{
    Admission, Class, Compiled, Discipline, Fast, Gate, InOrder, Limits, NoGate, Open, Plain, Stop,
    World,
};
use halfloom::topology::DirectionId;
use halfloom::unit::{Duration, Instant};

/// A gate that is asked each time and always open.
#[derive(Clone, Copy, Debug)]
struct Ajar;

impl Gate for Ajar {
    fn at(_: &Compiled, _: DirectionId) -> Self {
        Self
    }

    fn opens(&self, at: Instant, _: Duration) -> Instant {
        at
    }
}

/// Open for the first 30 us of every 50 us, to frames that are over by then; a frame longer than that begins
/// with the slot. On directions of odd number only.
#[derive(Clone, Copy, Debug)]
struct Slots {
    every: u64,
    open: u64,
}

impl Gate for Slots {
    fn at(_: &Compiled, direction: DirectionId) -> Self {
        let every = 50 * US;
        let open = if direction.0 % 2 == 1 { 30 * US } else { every };
        Self { every, open }
    }

    fn opens(&self, at: Instant, time: Duration) -> Instant {
        let slot = at.0 / self.every * self.every;
        if at.0 + time.0 <= slot + self.open || at.0 == slot || self.open == self.every {
            return at;
        }
        Instant(slot + self.every)
    }
}

/// Room for so many frames that wait.
#[derive(Clone, Copy, Debug)]
struct Room<const FRAMES: usize>;

impl<const FRAMES: usize> Admission for Room<FRAMES> {
    fn at(_: &Compiled, _: DirectionId) -> Self {
        Self
    }

    fn admits(&self, waiting: usize) -> bool {
        waiting < FRAMES
    }
}

/// The later workload of the scenario goes first.
#[derive(Clone, Copy, Debug)]
struct LaterFirst;

impl Discipline for LaterFirst {
    fn at(_: &Compiled, _: DirectionId) -> Self {
        Self
    }

    fn precedes(&self, comes: Class, waits: Class) -> bool {
        comes.workload > waits.workload
    }
}

const KINDS: [Kind; 3] = [Kind::Plain, Kind::Fc, Kind::Ip];

/// Both executors with these ports count the same on random sites; how many of these differ from the usual
/// ports.
fn both_count_the_same<A: Admission, D: Discipline, G: Gate>(first: u64) -> u32 {
    let mut others = 0;
    for seed in first..first + 240 {
        let mut dice = Dice::new(seed);
        let text = text(&mut dice, KINDS[usize::try_from(seed % 3).unwrap()]);
        let compiled = Compiled::new(&site(&text), &[]);
        let scripts = scripts(&mut dice, &compiled);
        let stop = dice.one(&[Stop::AtTheTime, Stop::WhenMeasured]);
        let fast = count::<Fast<A, D, G>>(&compiled, &scripts, stop);
        let plain = count::<Plain<A, D, G>>(&compiled, &scripts, stop);
        if let Some(difference) = difference(&fast, &plain) {
            panic!("seed {seed}, {difference}, of\n{text}\n{scripts:?}");
        }
        let usual = count::<Fast>(&compiled, &scripts, stop);
        others += u32::from(usual != fast);
    }
    others
}

#[test]
fn an_open_gate_changes_nothing() {
    let others = both_count_the_same::<Open, InOrder, Ajar>(10_000);
    assert_eq!(others, 0, "sites counted otherwise");
}

#[test]
fn slots_hold_frames_back() {
    assert!(both_count_the_same::<Open, InOrder, Slots>(11_000) > 200);
}

#[test]
fn a_full_port_drops() {
    assert!(both_count_the_same::<Room<2>, InOrder, NoGate>(12_000) > 100);
}

#[test]
fn one_workload_goes_before_another() {
    assert!(both_count_the_same::<Open, LaterFirst, NoGate>(13_000) > 20);
}

#[test]
fn all_three_at_once() {
    assert!(both_count_the_same::<Room<3>, LaterFirst, Slots>(14_000) > 200);
}

/// A host, a link of 10 Gb/s on each fabric side that exists, an array that takes no time.
fn line(workloads: &str) -> String {
    format!(
        "format = 1\n[[host]]\nname = \"app\"\n\
         [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1000\nwrite = {{ time = \"0s\" }}\n\
         [[link]]\nfrom = \"app\"\nto = \"box\"\nspeed = \"10Gb/s\"\npropagation = \"0s\"\n{workloads}"
    )
}

#[test]
fn a_slot_is_waited_for() {
    // Frames of 8 us behind one another, from 0 on: three in each 30 us, the fourth in the next slot.
    let text = line(
        "[[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
         request = 80000\nresponse = 1\nframe = 10000\nread = \"0%\"\n\
         arrivals = { closed = { depth = 1, think = \"1s\", together = true } }\n",
    );
    let compiled = Compiled::new(&site(&text), &[]);
    let mut latencies = Vec::new();
    for gate in [false, true] {
        let limits = Limits { events: 1 << 20 };
        let mut tally = if gate {
            let mut world =
                World::<Fast<Open, InOrder, Both>>::start(&compiled, 0, watch(0, MS), limits);
            world.run_until(Instant(2 * MS), Stop::AtTheTime);
            world.finish()
        } else {
            let mut world = World::new(&compiled, 0, watch(0, MS), limits);
            world.run_until(Instant(2 * MS), Stop::AtTheTime);
            world.finish()
        };
        latencies.push(tally.workloads.remove(0).writes.latency.max().unwrap().0);
    }
    // The answer of one byte takes 0.8 ns, and finds its own slot open.
    assert_eq!(latencies[0], 64 * US + 800);
    assert_eq!(latencies[1], 2 * 50 * US + 16 * US + 800);
}

/// Slots on every direction.
#[derive(Clone, Copy, Debug)]
struct Both;

impl Gate for Both {
    fn at(_: &Compiled, _: DirectionId) -> Self {
        Self
    }

    fn opens(&self, at: Instant, time: Duration) -> Instant {
        let slots = Slots {
            every: 50 * US,
            open: 30 * US,
        };
        slots.opens(at, time)
    }
}
