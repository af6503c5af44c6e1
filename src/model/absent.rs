//! Hosts that are not there: their work is not asked for.

use super::compile::Compiled;

impl Compiled {
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
