//! Which paths have no way over the parts that are left, after each scripted loss and return.
//!
//! Only asked of teams of ports: a host tells nothing of a port that stands by, so that its standing alone does not show whether
//! that port could be used. A part that two losses take is back when both are over.

use super::Setting;
use crate::model::{Compiled, Standing};
use crate::site::Action;

/// By script, in the order of the setting, by path.
pub(super) struct Broken(Vec<Vec<bool>>);

impl Broken {
    /// Works it out; nothing where no path stands by.
    pub(super) fn of(setting: &Setting<'_>, compiled: &Compiled) -> Self {
        let mut names = compiled.path_names();
        if !names.any(|path| path.begins == Standing::Standby) {
            return Self(Vec::new());
        }
        let mut order: Vec<usize> = (0..setting.scripts.len()).collect();
        order.sort_by_key(|index| setting.scripts[*index].at);
        let mut losses = vec![0_u32; compiled.alive.len()];
        let mut found = vec![Vec::new(); order.len()];
        for index in order {
            let script = &setting.scripts[index];
            for member in &script.members {
                let own = &mut losses[member.0 as usize];
                match script.action {
                    action if action.takes_away().is_some() => *own += 1,
                    Action::Restore => *own = own.saturating_sub(1),
                    _ => {}
                }
            }
            let there = compiled.alive.iter().zip(&losses);
            let alive: Vec<bool> = there
                .map(|(there, losses)| *there && *losses == 0)
                .collect();
            found[index] = gone(compiled, &alive);
        }
        Self(found)
    }

    /// Whether a path is without a way after that script, and before the next.
    pub(super) fn after(&self, script: Option<u32>, path: usize) -> bool {
        let all = script.and_then(|script| self.0.get(script as usize));
        all.and_then(|all| all.get(path)).is_some_and(|gone| *gone)
    }
}

fn gone(compiled: &Compiled, alive: &[bool]) -> Vec<bool> {
    let left = compiled.fabric.path_sets(&compiled.site, alive);
    let paths = compiled.paths.iter();
    paths
        .map(|plan| {
            let set = &compiled.sets[plan.set as usize];
            let host = left.iter().filter(|own| own.host == set.host);
            let mut ways = host.flat_map(|own| &own.paths);
            let ends = (plan.path.host_port, plan.path.array_port);
            !ways.any(|way| (way.host_port, way.array_port) == ends)
        })
        .collect()
}
