//! Changes proposed for what is missed, each proven by a simulation.
//!
//! Only what touches a miss is proposed: for a promise of a steady state, the part that limits its workload in
//! that case (the fullest on its way) and how its hosts choose a path; for a promise about switching, the
//! timers, where one that another preset shortens bounds that stall. Proposals are simulated in the order of their price, or of the cables and ports that they take,
//! in the cases of the study. When none of them mends everything, or every miss, the best of them is kept and the next
//! ones are proposed on top of it, for what then limits, until the number of runs that was allowed is used up. With a price list, sets of
//! changes that cost less than the cheapest one that mends everything come after that (`remedy/sets.rs`).
//!
//! Left out: changes of the work or of the promises, more hosts or switches, another shape of the site, and
//! whether a slot is free for what a change needs beyond the budgets that the scenario states.

mod cost;
mod limit;
mod prices;
mod propose;
mod sets;
mod timers;

pub(super) use cost::{Optics, changes};
pub use prices::PriceList;

use super::progress::Progress;
use super::review::port_budget_notes;
use super::{Ask, mend};
use crate::outcome::{
    Changes, Matrix, Mend, MendOrigin, MendSearch, RefusedMend, Report, StallLeft, Steady, Verdict,
};
use crate::site::{Site, Variant};
use propose::{Proposal, proposals};
use sets::{Single, same};
use std::cmp::Ordering;

/// Applies `key=value` pairs to the scenario: the site that it then describes, or why it cannot.
pub type Apply<'a> = &'a (dyn Fn(&[(String, String)]) -> Result<Site, String> + Sync);

/// How far a search goes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Search {
    /// Most changes that are simulated; 0: none is proposed.
    pub most: u32,
    /// What things cost; without a list, cables and ports are counted.
    pub prices: Option<PriceList>,
}

/// Works out what each change of a report takes, proposes further ones for what is missed, and simulates those.
/// All changes of the report are then in order: those that mend everything first, then those that mend every miss, then by what they take.
#[must_use]
pub fn search(
    site: &Site,
    mut report: Report,
    ask: &Ask,
    search: &Search,
    apply: Apply<'_>,
    progress: &dyn Progress,
) -> Report {
    let prices = search.prices.as_ref();
    for (variant, found) in site.variants.iter().zip(&mut report.mends) {
        found.changes = changes(site, &variant.site, &found.set, prices, Optics::IfPriced);
        found.ports_lacking = lacking(site, &variant.site);
    }
    if search.most == 0 {
        return report;
    }
    let missed = report.matrix.clone();
    let mut hunt = Hunt {
        site,
        ask,
        missed: &missed,
        prices,
        apply,
        progress,
        most: search.most,
        known: site.variants.iter().map(|v| v.set.clone()).collect(),
        found: Vec::new(),
        refused: Vec::new(),
        rounds: 0,
        calm: Vec::new(),
        fixed: Vec::new(),
        dropped: Vec::new(),
        singles: Vec::new(),
        sets_tried: 0,
        sets_untried: 0,
    };
    hunt.go(&report);
    report.mend_search = Some(MendSearch {
        most: search.most,
        tried: u32::try_from(hunt.found.len()).unwrap_or(u32::MAX),
        rounds: hunt.rounds,
        calm: hunt.calm,
        fixed: hunt.fixed,
        refused: hunt.refused,
        priced: prices.is_some(),
        sets_tried: hunt.sets_tried,
        sets_untried: hunt.sets_untried,
    });
    report.mends.extend(hunt.found);
    report.mends.sort_by(|left, right| {
        order(left)
            .partial_cmp(&order(right))
            .unwrap_or(Ordering::Equal)
    });
    report
}

/// What a changed site takes of switches beyond the ports that they state, and does not without the change.
fn lacking(old: &Site, new: &Site) -> Vec<String> {
    let today = port_budget_notes(old);
    let all = port_budget_notes(new).into_iter();
    all.filter(|said| !today.contains(said)).collect()
}

/// What a change is ordered by: whether it mends everything, or every miss, then what it takes, then how much it leaves.
fn order(mend: &Mend) -> (bool, bool, f64, u32, u32, u32, usize) {
    let takes = &mend.changes;
    let (price, cables, ports) = weight(takes.price, takes.cables, takes.ports);
    (
        !mend.mends_all,
        !mend.repairs,
        price,
        cables,
        ports,
        takes.settings,
        open(mend),
    )
}

/// By the price where there is one; what has none although others do comes last.
fn weight(price: Option<f64>, cables: u32, ports: u32) -> (f64, u32, u32) {
    (price.unwrap_or(f64::MAX), cables, ports)
}

/// Judgements that are not met.
fn open(mend: &Mend) -> usize {
    let cells = mend
        .matrix
        .rows
        .iter()
        .flat_map(|row| row.cells.iter().flatten());
    cells.filter(|cell| cell.verdict != Verdict::Met).count()
}

/// From here on a part presses: near to full in its busiest 20 ms.
const PRESSES_PERCENT: f64 = 80.0;

/// How far parts are beyond what presses, in points, all together: of each link family and way, and of each array, the
/// fullest in each case. Of two full links in series it falls when one of them is mended, though nothing else does.
fn pressure(steady: &[Steady]) -> f64 {
    let mut sum = 0.0;
    for case in steady {
        let mut parts: std::collections::BTreeMap<(&str, bool), f64> =
            std::collections::BTreeMap::new();
        let links = case.directions.iter();
        let links = links.map(|own| {
            (
                (own.family.as_str(), own.toward_array),
                own.asked_peak_percent,
            )
        });
        let arrays = case.arrays.iter();
        let arrays = arrays.map(|own| ((own.family.as_str(), true), own.asked_peak_percent));
        for (part, asked) in links.chain(arrays) {
            let most = parts.entry(part).or_default();
            *most = most.max(asked);
        }
        sum += parts
            .values()
            .map(|asked| (asked - PRESSES_PERCENT).max(0.0))
            .sum::<f64>();
    }
    sum
}

/// A difference of fewer points is noise.
const NOTABLE_POINTS: f64 = 5.0;

/// How good a state is: fewer judgements that are not met, then more room at the worst of them, then parts that are
/// less full.
fn standing(matrix: &Matrix, steady: &[Steady]) -> (i64, f64, f64) {
    let cells = matrix
        .rows
        .iter()
        .flat_map(|row| row.cells.iter().flatten());
    let mut open = 0;
    let mut least = f64::INFINITY;
    for cell in cells.filter(|cell| cell.verdict != Verdict::Met) {
        open += 1;
        least = least.min(cell.margin_percent.unwrap_or(f64::MIN));
    }
    // A margin of half a point is noise.
    (
        -open,
        (least / 0.5).floor(),
        -(pressure(steady) / NOTABLE_POINTS).floor(),
    )
}

struct Hunt<'a> {
    site: &'a Site,
    ask: &'a Ask,
    /// The judgements without any change.
    missed: &'a Matrix,
    prices: Option<&'a PriceList>,
    apply: Apply<'a>,
    progress: &'a dyn Progress,
    most: u32,
    /// What has been tried, or needs no trial.
    known: Vec<Vec<(String, String)>>,
    found: Vec<Mend>,
    refused: Vec<RefusedMend>,
    rounds: u32,
    /// Workloads and cases that no part limits.
    calm: Vec<String>,
    /// Workloads and cases that no timer of another preset bounds.
    fixed: Vec<StallLeft>,
    /// Changes of timers that do not shorten what they are for.
    dropped: Vec<Vec<(String, String)>>,
    /// The changes that were proposed at first.
    singles: Vec<Single>,
    /// Sets of them that were simulated for their price, and that were not for want of runs.
    sets_tried: u32,
    sets_untried: u32,
}

/// The site with a change. Lit legs of a cage are the members of its link: where a scenario states both, both are set.
fn applied(
    apply: Apply<'_>,
    set: Vec<(String, String)>,
) -> (Vec<(String, String)>, Result<Site, String>) {
    let alone = apply(&set);
    if alone.is_ok() {
        return (set, alone);
    }
    let mut both = set.clone();
    both.extend(set.iter().filter_map(|(key, lit)| {
        let link = key.strip_suffix(".cage.lit")?;
        Some((format!("{link}.members"), lit.clone()))
    }));
    match apply(&both) {
        Ok(site) => (both, Ok(site)),
        Err(_) => (set, alone),
    }
}

/// Rounds at most: a change on top of a change on top of a change.
const ROUNDS: u32 = 3;

impl Hunt<'_> {
    fn go(&mut self, report: &Report) {
        self.go_in_layers(report);
        if self.prices.is_some() {
            let singles = std::mem::take(&mut self.singles);
            self.try_sets(&singles, standing(&report.matrix, &report.steady));
        }
    }

    fn go_in_layers(&mut self, report: &Report) {
        let found = proposals(self.site, &report.matrix, &report.steady, &report.switches);
        let mut wanted = found.all;
        (self.calm, self.fixed) = (found.calm, found.fixed);
        let for_stalls = wanted.clone();
        let mut base: Vec<Proposal> = Vec::new();
        let mut reached = standing(&report.matrix, &report.steady);
        while self.rounds < ROUNDS && self.left() > 0 && !wanted.is_empty() {
            let from = self.found.len();
            self.rounds += 1;
            let tops = self.round(&wanted, &base);
            if self.rounds == 1 {
                self.note_fixed(&for_stalls);
            }
            let tried = self.found[from..].iter().zip(tops);
            let of = |mend: &Mend| standing(&mend.matrix, &mend.steady);
            let best = tried.max_by(|left, right| {
                let (left, right) = (of(left.0), of(right.0));
                left.partial_cmp(&right).unwrap_or(Ordering::Equal)
            });
            let Some((best, stack)) = best else {
                return;
            };
            let now = of(best);
            // What is no better than what it stands on is nothing to build on.
            if self.found[from..]
                .iter()
                .any(|found| found.mends_all || found.repairs)
                || now <= reached
            {
                return;
            }
            let Ok(site) = (self.apply)(&best.set) else {
                return;
            };
            reached = now;
            wanted = proposals(&site, &best.matrix, &best.steady, &report.switches).all;
            base = stack;
        }
    }

    /// Stalls for which no change was left to try: each would have made a timer in question longer, or none shorter.
    fn note_fixed(&mut self, wanted: &[Proposal]) {
        let dropped = |own: &Proposal| self.dropped.contains(&own.set);
        let places = wanted.iter().filter_map(|own| own.stall.as_ref());
        for stall in places {
            let mut same = wanted.iter().filter(|own| {
                own.stall
                    .as_ref()
                    .is_some_and(|own| own.place == stall.place)
            });
            if same.all(dropped) && !self.fixed.contains(&stall.place) {
                self.fixed.push(stall.place.clone());
            }
        }
    }

    fn left(&self) -> usize {
        (self.most as usize).saturating_sub(self.found.len())
    }

    /// One layer of proposals on top of `base`, the least dear first; of each that was simulated, all it consists of.
    fn round(&mut self, wanted: &[Proposal], base: &[Proposal]) -> Vec<Vec<Proposal>> {
        let mut able = Vec::new();
        for proposal in wanted {
            // A further step of the same part takes the place of the one before.
            let sets = |other: &Proposal, key: &str| other.set.iter().any(|(own, _)| own == key);
            let replaced = |other: &&Proposal| proposal.set.iter().any(|(key, _)| sets(other, key));
            let mut stack: Vec<Proposal> = base.iter().filter(|p| !replaced(p)).cloned().collect();
            stack.push(proposal.clone());
            let set: Vec<(String, String)> = stack.iter().flat_map(|p| p.set.clone()).collect();
            if self.known.contains(&set) {
                continue;
            }
            self.known.push(set.clone());
            let names: Vec<&str> = stack.iter().map(|p| p.name.as_str()).collect();
            let name = names.join(", and ");
            let (set, applied) = applied(self.apply, set);
            let stall = proposal.stall.as_ref();
            match applied {
                Ok(site) if stall.is_some_and(|own| !timers::shortens(self.site, &site, own)) => {
                    self.dropped.push(proposal.set.clone());
                }
                Ok(site) => {
                    let changes = changes(self.site, &site, &set, self.prices, Optics::IfPriced);
                    let variant = Variant {
                        name,
                        set,
                        site: Box::new(site),
                    };
                    able.push((variant, changes, stack));
                }
                Err(reason) => self.refused.push(RefusedMend { name, set, reason }),
            }
        }
        able.sort_by(|(_, left, _), (_, right, _)| {
            let key = |c: &Changes| {
                let (price, cables, ports) = weight(c.price, c.cables, c.ports);
                (price, cables, ports, c.settings)
            };
            key(left)
                .partial_cmp(&key(right))
                .unwrap_or(Ordering::Equal)
        });
        let mut stacks = Vec::new();
        for (variant, changes, stack) in able {
            let simulated = self.left() > 0;
            if let ([proposal], true) = (stack.as_slice(), base.is_empty()) {
                self.singles.push(Single {
                    proposal: proposal.clone(),
                    changes: changes.clone(),
                    found: simulated.then_some(self.found.len()),
                });
            }
            if simulated {
                self.simulate(&variant, changes);
                stacks.push(stack);
            } else {
                // It is still to be tried, as a set.
                let set: Vec<(String, String)> =
                    stack.iter().flat_map(|own| own.set.clone()).collect();
                self.known.retain(|known| !same(known, &set));
            }
        }
        stacks
    }

    fn simulate(&mut self, variant: &Variant, changes: Changes) {
        let mut found = mend::mend(variant, self.ask, self.missed, self.progress);
        found.origin = MendOrigin::Proposed;
        found.changes = changes;
        found.ports_lacking = lacking(self.site, &variant.site);
        self.found.push(found);
    }
}
