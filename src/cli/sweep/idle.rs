//! Which of the varied keys no row depends on, said before anything is run.

use crate::render::words::listed;
use crate::site::Site;
use crate::study::sweep::{Asked, Runs, leaves_somebody_without_paths, reads};
use std::collections::BTreeMap;

/// What a point depends on: its steady states, and its switch-overs too.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Read {
    steady: [u8; 32],
    all: [u8; 32],
}

/// Looks at points one by one.
pub(super) struct Idle<'a> {
    keys: &'a [String],
    asked: &'a Asked,
    points: Vec<(Vec<String>, Read)>,
}

impl<'a> Idle<'a> {
    pub(super) const fn new(keys: &'a [String], asked: &'a Asked) -> Self {
        Self {
            keys,
            asked,
            points: Vec::new(),
        }
    }

    /// Notes what a point depends on. Its load is no part of the site yet.
    pub(super) fn look(&mut self, values: &[String], site: &Site, load: f64) {
        let outages = self.asked.outages.as_deref();
        // Where no timer is varied it is the same at all points, whatever it is.
        let timers = self.keys.iter().any(|key| key.contains("timers"));
        let pathless = timers && leaves_somebody_without_paths(site, outages);
        let of = |runs: Runs| {
            let mut read = reads(site, outages, runs, pathless);
            for (byte, own) in read.iter_mut().zip(load.to_le_bytes()) {
                *byte ^= own;
            }
            read
        };
        let read = Read {
            steady: of(Runs::Steady),
            all: of(Runs::SwitchOvers),
        };
        self.points.push((values.to_vec(), read));
    }

    /// A sentence on the keys that change nothing in steady states, and one on those that change nothing at all.
    pub(super) fn words(&self) -> Vec<String> {
        let mut later: Vec<String> = Vec::new();
        let mut never: Vec<String> = Vec::new();
        for (index, key) in self.keys.iter().enumerate() {
            let shown = format!("`{key}`");
            if self.same(index, |read| read.all) {
                never.push(shown);
            } else if self.asked.runs == Runs::Steady && self.same(index, |read| read.steady) {
                later.push(shown);
            }
        }
        let mut said = Vec::new();
        if !later.is_empty() {
            said.push(format!(
                "no row can differ because of {}: rows are steady states, and what is varied there acts while parts are lost; \
                 --switch-overs runs each loss at every point, `failover` tells of one in full",
                listed(&later)
            ));
        }
        if !never.is_empty() {
            said.push(format!(
                "no row can differ because of {}: no steady state of these cases{} depends on it",
                listed(&never),
                match self.asked.runs {
                    Runs::Steady => "",
                    Runs::SwitchOvers => " and no switch-over",
                }
            ));
        }
        said
    }

    /// Whether points that differ in this key alone depend on the same; false where there are none.
    fn same(&self, key: usize, of: impl Fn(&Read) -> [u8; 32]) -> bool {
        let mut groups: BTreeMap<Vec<&str>, [u8; 32]> = BTreeMap::new();
        let mut any = false;
        for (values, read) in &self.points {
            let others = values.iter().enumerate().filter(|(index, _)| *index != key);
            let others = others.map(|(_, value)| value.as_str()).collect();
            match groups.get(&others) {
                None => {
                    groups.insert(others, of(read));
                }
                Some(first) if *first == of(read) => any = true,
                Some(_) => return false,
            }
        }
        any
    }
}
