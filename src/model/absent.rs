//! Hosts that are not there: their work is not asked for. And guests that stay elsewhere though their host is there again.

use super::compile::Compiled;

/// Guests of a host that is there, and that stay where they were restarted or moved until somebody moves them back.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Elsewhere {
    /// By index in the scenario.
    pub(crate) workload: usize,
    /// Host that they come from, by index into [`crate::topology::Fabric::hosts`].
    pub(crate) host: usize,
    /// Hosts that do their work in turn; one more than once where it does more of it.
    pub(crate) on: Vec<usize>,
}

impl Compiled {
    /// Guests that do their work elsewhere from the start on. After [`Self::without_work_of`].
    pub fn begin_with_guests(&mut self, guests: &[Elsewhere]) {
        for own in guests {
            let index = |host: &usize| {
                let mut sources = (0_u32..).zip(&self.sources);
                let found = sources
                    .find(|(_, source)| source.workload == own.workload && source.host == *host);
                found.map(|(index, _)| index)
            };
            let on: Vec<u32> = own.on.iter().filter_map(index).collect();
            let Some(source) = index(&own.host).filter(|_| !on.is_empty()) else {
                continue;
            };
            self.moved.retain(|(known, _)| *known != source);
            self.moved.push((source, on));
        }
    }

    /// Leaves out the work of these hosts (indices into [`crate::topology::Fabric::hosts`]). Nobody else's
    /// draws or rates shift: a rate that is split over the hosts of a workload stays split over all of them.
    /// Guests that are restarted elsewhere go on there.
    ///
    /// Only for runs in which these hosts have no path from the start on.
    pub fn without_work_of(&mut self, hosts: &[usize]) {
        if hosts.is_empty() {
            return;
        }
        let moved = self.heirs_without(hosts);
        let mut index = 0;
        self.sources.retain(|source| {
            index += 1;
            !hosts.contains(&source.host) || moved.iter().any(|(known, _)| *known == index - 1)
        });
        for set in &mut self.sets {
            set.sources.clear();
        }
        for (index, source) in self.sources.iter().enumerate() {
            if let Ok(index) = u32::try_from(index) {
                self.sets[source.set as usize].sources.push(index);
            }
        }
        self.moved = self.heirs_without(hosts);
        self.absent = hosts.to_vec();
    }
}
