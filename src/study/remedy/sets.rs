//! With a price list: sets of changes that are tried together, the least dear first, for as long as they cost less than the cheapest
//! that mends everything.
//!
//! A set is of two or three of the single changes that were proposed at first, the twelve least dear of them. One that did nothing by
//! itself, where it was simulated, is in none: neither fewer judgements were open with it, nor was any of them nearer to being met, nor
//! was there more room, nor was a part less full. Timers that are shorter are in some all the same: what they do for a stall is not seen
//! where a backlog holds I/Os longer. One that mends everything by itself is in none, for what comes on top of it only costs more.

use super::propose::Proposal;
use super::{Hunt, applied, standing, timers};
use crate::outcome::{Cell, Changes, Matrix, Mend, Verdict};
use crate::site::{Site, Variant};
use crate::study::remedy::cost::{Optics, changes};

/// A single change that was proposed at first, and what it takes.
pub(super) struct Single {
    pub(super) proposal: Proposal,
    pub(super) changes: Changes,
    /// What became of it, by its place among those found; `None`: not simulated.
    pub(super) found: Option<usize>,
}

/// Single changes of which sets are made, the least dear. A choice of this program, as is the next. The words of a search name it.
const SINGLES: usize = 12;
/// Changes in a set at most.
const TOGETHER: usize = 3;

/// A set of changes that the scenario admits.
struct Together {
    variant: Variant,
    changes: Changes,
    price: f64,
}

impl Hunt<'_> {
    /// Tries sets until one mends everything, or no run is left, and counts what is left.
    pub(super) fn try_sets(&mut self, singles: &[Single], reached: (i64, f64, f64)) {
        let does = |single: &&Single| {
            let useful = |found: &Mend| {
                !found.mends_all
                    && (single.proposal.stall.is_some()
                        || standing(&found.matrix, &found.steady) > reached
                        || is_nearer(self.missed, &found.matrix))
            };
            let found = single.found.map(|index| &self.found[index]);
            found.is_none_or(useful) && single.changes.price.is_some()
        };
        let pool: Vec<&Single> = singles.iter().filter(does).take(SINGLES).collect();
        let mut sets = Vec::new();
        chosen(&pool, 0, &mut Vec::new(), &mut sets);
        let mut able: Vec<Together> = sets
            .into_iter()
            .filter_map(|set| self.together(&set))
            .collect();
        // Of two at one price the one that changes less.
        able.sort_by(|left, right| {
            let size = |one: &Together| one.variant.set.len();
            let by_price = left.price.total_cmp(&right.price);
            by_price.then(size(left).cmp(&size(right)))
        });
        for set in able {
            if self.cheapest().is_some_and(|best| set.price >= best) {
                break;
            }
            if self.left() == 0 {
                self.sets_untried += 1;
                continue;
            }
            self.sets_tried += 1;
            self.simulate(&set.variant, set.changes);
        }
    }

    /// The price of the cheapest change that mends everything.
    fn cheapest(&self) -> Option<f64> {
        let mends = self.found.iter().filter(|found| found.mends_all);
        mends
            .filter_map(|found| found.changes.price)
            .min_by(f64::total_cmp)
    }

    /// A set as a variant, where the scenario admits it, it has a price and has not been tried.
    fn together(&mut self, set: &[&Single]) -> Option<Together> {
        let of = |single: &&Single| single.proposal.set.clone();
        let pairs: Vec<(String, String)> = set.iter().flat_map(of).collect();
        if self.known.iter().any(|known| same(known, &pairs)) {
            return None;
        }
        let names: Vec<&str> = set.iter().map(|own| own.proposal.name.as_str()).collect();
        let name = names.join(", and ");
        let (pairs, site) = applied(self.apply, pairs);
        let site: Site = site.ok()?;
        let shorter = |own: &&Single| {
            let stall = own.proposal.stall.as_ref();
            stall.is_none_or(|stall| timers::shortens(self.site, &site, stall))
        };
        if !set.iter().all(shorter) {
            return None;
        }
        let changes = changes(self.site, &site, &pairs, self.prices, Optics::IfPriced);
        let price = changes.price?;
        self.known.push(pairs.clone());
        Some(Together {
            variant: Variant {
                name,
                set: pairs,
                site: Box::new(site),
            },
            changes,
            price,
        })
    }
}

/// Whether some judgement is nearer to being met than it was, whatever became of the others.
fn is_nearer(was: &Matrix, now: &Matrix) -> bool {
    let rank = |cell: &Cell| match (cell.verdict, cell.saturated) {
        (Verdict::Missed, true) => 0,
        (Verdict::Missed, false) => 1,
        (Verdict::Undecided, _) => 2,
        (Verdict::Met, _) => 3,
    };
    was.rows.iter().any(|row| {
        let mut rows = now.rows.iter();
        let same = rows.find(|own| {
            (&own.workload, own.measure, own.switching)
                == (&row.workload, row.measure, row.switching)
        });
        let cells = same.map_or(&[][..], |own| own.cells.as_slice());
        let mut pairs = row.cells.iter().zip(cells);
        pairs.any(|(was, now)| match (was, now) {
            (Some(was), Some(now)) => rank(now) > rank(was),
            _ => false,
        })
    })
}

/// Whether two lists set the same, in whatever order.
pub(super) fn same(one: &[(String, String)], other: &[(String, String)]) -> bool {
    one.len() == other.len() && one.iter().all(|pair| other.contains(pair))
}

/// All sets of two up to [`TOGETHER`] of which no two set the same key.
fn chosen<'s>(
    pool: &[&'s Single],
    from: usize,
    begun: &mut Vec<&'s Single>,
    sets: &mut Vec<Vec<&'s Single>>,
) {
    for (index, single) in pool.iter().enumerate().skip(from) {
        let sets_it = |key: &String| {
            let mut keys = begun.iter().flat_map(|own| &own.proposal.set);
            keys.any(|(own, _)| own == key)
        };
        if single.proposal.set.iter().any(|(key, _)| sets_it(key)) {
            continue;
        }
        begun.push(single);
        if begun.len() > 1 {
            sets.push(begun.clone());
        }
        if begun.len() < TOGETHER {
            chosen(pool, index + 1, begun, sets);
        }
        begun.pop();
    }
}
