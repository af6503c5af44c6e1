//! Links that are there and not well: slower than they should be, or damaging frames.
//!
//! A slow link serializes every frame that has not begun at the lower rate. A damaged frame takes its time on
//! every link of its way, and is thrown away at the end; whoever waits for it waits for a timer, or for TCP.
//! Whether a frame is damaged depends on its name, the link and how often it has been sent, and on nothing
//! that a fault elsewhere could shift.
//!
//! A link that damages every frame is lost silently for all who take note: keep-alives, pings, checks of paths, LACP and
//! the hellos between Fibre Channel switches do not come through either. Frames go on over it all the same until somebody
//! has noticed. One that damages fewer is noticed by none of these, however many it damages: they have delays and no
//! frames, so that only commands, and segments of TCP, are missed.
//!
//! Left out: switches that throw a damaged frame away on the way, error correction that gets slower.

use super::compile::Compiled;
use super::net::{Frame, FrameKind, Links, Spoilt};
use super::way::Way;
use super::world::{Executor, World};
use crate::site::{LossMode, Slow};
use crate::topology::{DirectionId, MemberId};
use crate::unit::{mix_pair, mix64};

/// What is wrong with which direction.
#[derive(Debug)]
pub(crate) struct Ill {
    /// Whether any direction damages frames.
    damages: bool,
    /// Whether any has another rate than its own.
    pub(crate) slow: bool,
    /// By direction: chance of damage, thousand-millionths; present class.
    loss: Vec<u32>,
    class: Vec<u32>,
}

impl Ill {
    pub(crate) fn new(compiled: &Compiled) -> Self {
        Self {
            damages: false,
            slow: false,
            loss: vec![0; compiled.hops.len()],
            class: compiled.hops.iter().map(|hop| hop.class).collect(),
        }
    }

    /// Chance that a frame is damaged on a direction, thousand-millionths.
    pub(crate) fn loss(&self, over: DirectionId) -> u32 {
        self.loss[over.index()]
    }

    /// Whether no frame comes through over a member.
    pub(super) fn damages_all(&self, member: MemberId) -> bool {
        let first = member.0 as usize * 2;
        [self.loss[first], self.loss[first + 1]]
            .iter()
            .any(|loss| *loss >= Slow::CERTAIN)
    }

    /// Whether there is anything wrong with a member.
    pub(crate) fn is_ill(&self, compiled: &Compiled, member: MemberId) -> bool {
        [DirectionId(member.0 * 2), DirectionId(member.0 * 2 + 1)]
            .iter()
            .any(|over| {
                let index = over.index();
                self.loss[index] > 0 || self.class[index] != compiled.hops[index].class
            })
    }
}

impl<E: Executor> World<'_, E> {
    /// Members go on as `slow` says, whatever was wrong with them before.
    pub(crate) fn slow(&mut self, members: &[MemberId], slow: Slow) {
        let mut gone = members.to_vec();
        gone.retain(|member| slow.damages_all() && self.fault.lost_since(*member).is_none());
        let mut back = members.to_vec();
        back.retain(|member| self.fault.ill.damages_all(*member) && !slow.damages_all());
        for member in members {
            for over in [DirectionId(member.0 * 2), DirectionId(member.0 * 2 + 1)] {
                let class = self.compiled.slow_class(over, slow.rate_ppm);
                self.fault.ill.loss[over.index()] = slow.loss_ppb;
                if self.fault.ill.class[over.index()] != class {
                    self.fault.ill.class[over.index()] = class;
                    let place = (over, class);
                    self.net
                        .pace(self.compiled, place, self.now, &mut self.queue);
                }
            }
        }
        let ill = &mut self.fault.ill;
        ill.damages = ill.loss.iter().any(|loss| *loss > 0);
        let own = self.compiled.hops.iter().map(|hop| hop.class);
        ill.slow = ill.class.iter().zip(own).any(|(now, own)| *now != own);
        self.ways.fill(Way::Unknown);
        back.retain(|member| self.fault.lost_since(*member).is_none());
        if !gone.is_empty() {
            self.lost_sight_of(&gone, LossMode::Silent);
        }
        if !back.is_empty() {
            self.in_sight_again(&back);
        }
    }

    /// Heals those of the members that are slow or damage frames.
    pub(crate) fn heal(&mut self, members: &[MemberId]) {
        if !self.fault.ill.damages && !self.fault.ill.slow {
            return;
        }
        let mut ill = members.to_vec();
        ill.retain(|member| self.fault.ill.is_ill(self.compiled, *member));
        if !ill.is_empty() {
            self.slow(&ill, Slow::WELL);
        }
    }

    /// Order of a direction's present rate among all rates.
    #[cold]
    pub(crate) fn speed_now(&self, over: DirectionId) -> u32 {
        self.compiled.class_speeds[self.fault.ill.class[over.index()] as usize]
    }

    /// Damages a frame that is about to cross a direction, if it is out of luck.
    #[cold]
    pub(crate) fn damage(&self, frame: &mut Frame, over: DirectionId) {
        let loss = self.fault.ill.loss(over);
        if loss == 0 {
            return;
        }
        let sent = match frame.kind {
            FrameKind::Ack => 0,
            FrameKind::Body | FrameKind::Last => self.attempts[frame.attempt].resent,
        };
        let direction = &self.compiled.fabric.directions[over.index()];
        let member = &self.compiled.fabric.members[over.member().0 as usize];
        let digest =
            |node: crate::topology::NodeId| self.compiled.fabric.nodes[node.0 as usize].digest;
        let place = mix_pair(digest(direction.from), digest(direction.to));
        let run = mix_pair(self.compiled.site.run.seed, self.replication());
        #[allow(clippy::cast_possible_truncation)]
        let name = mix_pair((frame.tie >> 64) as u64, frame.tie as u64);
        let luck = mix_pair(
            mix_pair(run, name),
            mix_pair(place, u64::from(member.index) << 32 | u64::from(sent)),
        );
        let draw = (u128::from(mix64(luck)) * u128::from(Slow::CERTAIN)) >> 64;
        if draw < u128::from(loss) {
            frame.spoilt = Spoilt::Yes;
        }
    }
}
