//! The switch-over at a load that is proven: one run of the loss for each outage.
//!
//! The load of a case is proven for the state after the loss. Whether the promises about switching hold while it happens
//! is another question, with an answer of its own: the loss of the same parts, on the site as it is at the largest load
//! proven both healthy and in that case. As in `failover` a switch-over run gives the transient alone.
//!
//! Where it is not met there, a few lower loads are tried: today's, or half, then far below; where one of those is met, between it
//! and the lowest that is not. Nothing is proven by that but what those runs show: every replication of a load kept every
//! promise, or not.
//!
//! Left out: loads above the proven one; most of such promises rest on timers and hang little on the load.

use super::run::rows_of;
use super::scale::Scale;
use crate::model::Compiled;
use crate::outcome::{CaseHeadroom, LoadSwitch, SwitchOvers, Verdict};
use crate::site::Site;
use crate::study::case;
use crate::study::progress::Progress;
use crate::study::{judge, steady, switch};
use crate::topology::Fabric;
use rayon::prelude::*;

/// Judges the switch-overs of all cases that have a proven load, and says whether it was asked for.
pub(super) fn judge_all(
    site: &Site,
    scale: &Scale<'_>,
    asked: bool,
    cases: &mut [CaseHeadroom],
    progress: &dyn Progress,
) -> SwitchOvers {
    let promised = site
        .workloads
        .iter()
        .any(|w| !w.promises.switching.is_empty());
    if !promised {
        return SwitchOvers::NothingPromised;
    }
    if !asked {
        return SwitchOvers::NotAsked;
    }
    let healthy = cases
        .iter()
        .filter(|case| case.case.outage.is_none())
        .find_map(|case| case.met);
    cases.par_iter_mut().for_each(|case| {
        let proven = case.met.filter(|_| case.case.outage.is_some());
        let least = proven.map(|met| healthy.map_or(met, |healthy| met.min(healthy)));
        case.switch_over = least
            .and_then(|factor| one(site, scale, case, factor, progress))
            .filter(|_| !progress.stopped());
        let Some(first) = &case.switch_over else {
            return;
        };
        let run = |factor: f64| {
            let found = one(site, scale, case, factor, progress)?;
            (!progress.stopped()).then_some(found)
        };
        let tried = below(scale, (first.factor, first.verdict), run);
        case.switch_met = std::iter::once(first)
            .chain(&tried)
            .filter(|found| found.verdict == Verdict::Met)
            .map(|found| found.factor)
            .reduce(f64::max);
        case.switch_tried = tried;
        // Whatever is not kept today is not kept.
        let switched = case.switch_today();
        let both = case.today.zip(switched);
        case.today = both.map(worse).or(case.today);
    });
    SwitchOvers::Judged
}

/// What two verdicts say together.
const fn worse(both: (Verdict, Verdict)) -> Verdict {
    match both {
        (Verdict::Missed, _) | (_, Verdict::Missed) => Verdict::Missed,
        (Verdict::Met, Verdict::Met) => Verdict::Met,
        _ => Verdict::Undecided,
    }
}

/// Runs at most at so many loads below the first: a choice of this program.
const LOWER: usize = 4;
/// Loads this near are not told apart.
const NEAR: f64 = 1.1;

/// Tries loads below one that is not met.
fn below(
    scale: &Scale<'_>,
    (first, verdict): (f64, Verdict),
    run: impl Fn(f64) -> Option<LoadSwitch>,
) -> Vec<LoadSwitch> {
    let mut tried: Vec<LoadSwitch> = Vec::new();
    if verdict == Verdict::Met {
        return tried;
    }
    let (mut kept, mut broken): (Option<f64>, f64) = (None, first);
    for _ in 0..LOWER {
        let wanted = match kept {
            Some(kept) if broken / kept > NEAR => (kept * broken).sqrt(),
            Some(_) => break,
            None if tried.len() > 1 => break,
            None if tried.len() == 1 => broken / 8.0,
            None if first > 1.0 => 1.0,
            None => first / 2.0,
        };
        let factor = scale.down(wanted.max(scale.least()));
        if factor >= broken || kept.is_some_and(|kept| factor <= kept) {
            break;
        }
        let Some(found) = run(factor) else { break };
        if found.verdict == Verdict::Met {
            kept = Some(factor);
        } else {
            broken = factor;
        }
        tried.push(found);
    }
    tried
}

fn one(
    site: &Site,
    scale: &Scale<'_>,
    case: &CaseHeadroom,
    factor: f64,
    progress: &dyn Progress,
) -> Option<LoadSwitch> {
    let mut scaled = scale.site(site, factor)?;
    // The survivors' own steady run, in so many replications, is what the switch-over settles to.
    scaled.run.replications = scaled.run.switch_replications;
    let plans = case::cases(&scaled, &Fabric::new(&scaled), None);
    let plan = plans.into_iter().find(|plan| plan.case == case.case)?;
    let survivors = steady::run_from(&scaled, std::slice::from_ref(&plan), 0, progress);
    let whole = Compiled::new(&scaled, &[]);
    let found = switch::run(&scaled, &whole, &plan, &survivors[0], false, progress);
    let mut matrix = judge::matrix(&scaled, &survivors, std::slice::from_ref(&found));
    matrix.rows.retain(|row| row.switching);
    let rows = rows_of(matrix);
    Some(LoadSwitch {
        factor,
        replications: found.replications,
        verdict: super::together(&rows, found.partial),
        rows,
        partial: found.partial,
        settled_s: found.settled_s,
        frame_hops: found.frame_hops + survivors[0].figures.frame_hops,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(factor: f64, verdict: Verdict) -> LoadSwitch {
        LoadSwitch {
            factor,
            replications: 2,
            verdict,
            rows: Vec::new(),
            partial: false,
            settled_s: None,
            frame_hops: 0,
        }
    }

    /// Loads tried below `first`, where all up to `edge` are met.
    fn tried(first: f64, edge: f64) -> Vec<(f64, Verdict)> {
        let verdict = |factor: f64| {
            if factor <= edge {
                Verdict::Met
            } else {
                Verdict::Missed
            }
        };
        let run = |factor: f64| Some(found(factor, verdict(factor)));
        let tried = below(&Scale::Load, (first, verdict(first)), run);
        tried
            .into_iter()
            .map(|own| (own.factor, own.verdict))
            .collect()
    }

    #[test]
    fn below_a_missed_switch_over_the_largest_met_is_looked_for() {
        assert!(tried(2.0, 3.0).is_empty(), "it is met there");
        // Today's load first, then nearer to the edge at 1.6.
        let some = tried(2.0, 1.6);
        assert_eq!(some[0], (1.0, Verdict::Met));
        let met = some.iter().filter(|own| own.1 == Verdict::Met);
        let met = met.map(|own| own.0).fold(0.0, f64::max);
        assert!((1.4..=1.6).contains(&met), "{some:?}");
        assert!(some.len() <= LOWER);
        // What hangs on no load is tried twice more: today and far below.
        assert_eq!(
            tried(2.0, 0.0),
            [(1.0, Verdict::Missed), (0.125, Verdict::Missed)]
        );
        // Just above it, today's is tried all the same: what is missed today is to be known.
        assert_eq!(tried(1.05, 0.0)[0], (1.0, Verdict::Missed));
        // Below today's load there is no today to try.
        assert_eq!(tried(0.8, 0.5)[0], (0.4, Verdict::Met));
    }

    #[test]
    fn the_switch_over_at_todays_load_is_part_of_what_is_kept_today() {
        use Verdict::{Met, Missed, Undecided};
        assert_eq!(worse((Met, Missed)), Missed);
        assert_eq!(worse((Met, Undecided)), Undecided);
        assert_eq!(worse((Met, Met)), Met);
    }
}
