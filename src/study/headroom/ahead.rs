//! About how many runs a search still takes, so that whoever waits can be told for how long.
//!
//! How many rounds and tests a case takes shows only as it goes; what is said here is what most take. Nothing else hangs on it.

use super::edge::proven_ends;
use super::{Ask, Search, TESTS, case, promises_in, proving};
use crate::site::Site;
use crate::topology::Fabric;

/// First loads of a case.
const FIRST: u64 = 3;
/// Rounds of pilot runs that most cases take.
const ROUNDS: u64 = 5;
/// Tests that most ends take.
const USUAL: u64 = 2;

/// How far a search is.
#[derive(Clone, Copy, Debug)]
pub(super) enum At {
    /// This round of pilot runs is under way; 0 are the first loads.
    Pilots(usize),
    /// The tests of this number are.
    Proofs(usize),
}

/// Runs to come after those of a stage.
pub(super) fn runs(site: &Site, searches: &[Search], switching: bool, at: At) -> u64 {
    let each = searches.iter().map(|search| of_case(site, search, at));
    each.sum::<u64>() + switch_runs(site, searches.len(), switching)
}

/// Runs of a whole search.
pub(crate) fn whole(site: &Site, ask: &Ask) -> u64 {
    let plans = case::cases(site, &Fabric::new(site), ask.outages.as_deref());
    let each = plans.iter().map(|plan| {
        if promises_in(site, plan.case.outage.is_some()) == 0 {
            return 0;
        }
        let stated = u64::from(site.run.replications);
        (FIRST + ROUNDS) * stated.div_ceil(2) + 2 * USUAL * stated
    });
    each.sum::<u64>() + switch_runs(site, plans.len(), ask.switch_overs)
}

fn of_case(site: &Site, search: &Search, at: At) -> u64 {
    if search.promises == 0 {
        return 0;
    }
    let stated = site.run.replications;
    let pilot = u64::from(stated.div_ceil(2));
    let (met, missed) = proven_ends(search);
    let open = u64::from(met.is_none()) + u64::from(missed.is_none());
    match at {
        At::Pilots(_) if search.outlook.hopeless.is_some() => u64::from(stated),
        At::Pilots(round) => {
            ROUNDS.saturating_sub(round as u64) * pilot + 2 * USUAL * u64::from(stated)
        }
        // Of what is left open now, one more test each, until the last.
        At::Proofs(number) if number + 1 < TESTS => open * u64::from(proving(stated, number + 1)),
        At::Proofs(_) => 0,
    }
}

/// Each switch-over and its survivors' own runs.
fn switch_runs(site: &Site, cases: usize, switching: bool) -> u64 {
    let promised = site.workloads.iter();
    let promised = promised
        .filter(|work| !work.promises.switching.is_empty())
        .count();
    if !switching || promised == 0 {
        return 0;
    }
    2 * u64::from(site.run.switch_replications) * cases.saturating_sub(1) as u64
}
