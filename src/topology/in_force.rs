//! What a return takes back: of all that is in force, what was done to the same parts by the same name; where nothing was, what is
//! wrong with them.

use super::MemberId;
use crate::site::{Action, Heading};
use std::collections::BTreeSet;

/// Losses, drains and slow-downs that have not been taken back yet.
#[derive(Clone, Debug, Default)]
pub struct InForce(Vec<(String, Vec<MemberId>, Action)>);

/// What a return takes back of each of its parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TakenBack {
    /// One loss of each way of its links: towards the arrays, towards the hosts.
    pub ways: [bool; 2],
    /// One loss of its nodes and hosts themselves.
    pub whole: bool,
    /// One drain.
    pub drain: bool,
    /// A lower rate, and damage.
    pub slow: bool,
}

impl TakenBack {
    const NOTHING: Self = Self {
        ways: [false; 2],
        whole: false,
        drain: false,
        slow: false,
    };
    /// Where nothing was done to just these parts by that name: whatever is wrong with them, once.
    const ANYTHING: Self = Self {
        ways: [true; 2],
        whole: true,
        drain: true,
        slow: true,
    };
}

impl InForce {
    /// Follows an event on these links, by this name. A return says what it takes back: a drain of a fabric is still in force when
    /// one of its switches, lost meanwhile, returns, and a way lost under another name is still lost.
    pub fn follow(&mut self, target: &str, members: &[MemberId], action: Action) -> TakenBack {
        if action != Action::Restore {
            self.0.push((target.to_owned(), members.to_vec(), action));
            return TakenBack::NOTHING;
        }
        let mut back = TakenBack::NOTHING;
        let mut any = false;
        // Of two alike only the later one.
        for index in (0..self.0.len()).rev() {
            let (name, own, action) = &self.0[index];
            if name != target || own != members {
                continue;
            }
            let mut all = back;
            match action {
                Action::Lose(_) => (all.ways, all.whole) = ([true; 2], true),
                Action::LoseWay(Heading::Arrays) => all.ways[0] = true,
                Action::LoseWay(Heading::Hosts) => all.ways[1] = true,
                Action::Drain => all.drain = true,
                Action::Slow(_) => all.slow = true,
                Action::Restore => {}
            }
            any = true;
            if all != back || matches!(action, Action::Slow(_)) {
                back = all;
                self.0.remove(index);
            }
        }
        if any {
            return back;
        }
        // Of what was done to some of its parts alone nothing is left.
        let all: BTreeSet<u32> = members.iter().map(|member| member.0).collect();
        self.0
            .retain(|(_, own, _)| !own.iter().all(|member| all.contains(&member.0)));
        TakenBack::ANYTHING
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::LossMode;

    #[test]
    fn a_return_takes_back_what_was_done_to_the_same_parts() {
        let (fabric, switch) = ([MemberId(0), MemberId(1)], [MemberId(1)]);
        let (lost, way) = (
            Action::Lose(LossMode::Loud),
            Action::LoseWay(Heading::Hosts),
        );
        let mut all = InForce::default();
        all.follow("A", &fabric, Action::Drain);
        all.follow("core-A", &switch, lost);
        let back = all.follow("core-A", &switch, Action::Restore);
        assert_eq!(
            (back.ways, back.whole, back.drain),
            ([true; 2], true, false)
        );
        // The loss is taken back: a second return finds what is left, the drain.
        let back = all.follow("core-A", &switch, Action::Restore);
        assert_eq!(back, TakenBack::ANYTHING);
        let back = all.follow("A", &fabric, Action::Restore);
        assert_eq!(
            (back.ways, back.whole, back.drain),
            ([false; 2], false, true)
        );
        // Drained and then lost: one return for both. One way alone is one way.
        all.follow("A", &fabric, Action::Drain);
        all.follow("A", &fabric, lost);
        let back = all.follow("A", &fabric, Action::Restore);
        assert!(back.drain && back.whole && back.ways == [true; 2]);
        all.follow("A", &fabric, way);
        let back = all.follow("A", &fabric, Action::Restore);
        assert_eq!((back.ways, back.whole), ([false, true], false));
        // Lost silently and then with its signal: two losses, as for the fabric, and one of them is taken back.
        all.follow("core-A", &switch, Action::Lose(LossMode::Silent));
        all.follow("core-A", &switch, lost);
        for _ in 0..2 {
            assert_eq!(
                all.follow("core-A", &switch, Action::Restore).ways,
                [true; 2]
            );
        }
        // The whole fabric returns, and the switch with it: its loss is not taken back a second time, from another name.
        all.follow("core-A", &switch, lost);
        assert_eq!(
            all.follow("A", &fabric, Action::Restore),
            TakenBack::ANYTHING
        );
        all.follow("core-A", &switch, Action::Drain);
        let back = all.follow("core-A", &switch, Action::Restore);
        assert_eq!((back.ways, back.drain), ([false; 2], true));
    }
}
