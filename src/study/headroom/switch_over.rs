//! The switch-over at a load that is proven: one run of the loss for each outage.
//!
//! The load of a case is proven for the state after the loss. Whether the promises about switching hold while it happens
//! is another question, with an answer of its own: the loss of the same parts, on the site as it is at the largest load
//! proven both healthy and in that case. As in `failover` a switch-over run gives the transient alone.
//!
//! Left out: a search for the load at which such a promise breaks; most of them rest on timers and hang little on the load.

use super::run::rows_of;
use super::scale::Scale;
use crate::model::Compiled;
use crate::outcome::{CaseHeadroom, LoadSwitch, SwitchOvers};
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
    });
    SwitchOvers::Judged
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
