//! How much the replications of a load differ, and so how far from the edge a load must lie before so many of them can
//! prove anything.
//!
//! It only says which tests are not worth their runs: each test that is made keeps its share of the error, and the
//! pilot runs that are asked here take no part in it. Left out: the longer runs of a proof, which differ less.

use super::curve::Curve;
use super::edge::curve_of;
use super::{ERROR, Search};
use crate::measure::t_quantile;
use crate::outcome::{Case, LoadRow, MeasureKind, Purpose};
use crate::site::{Measure, Site};
use crate::study::judge::above;
use crate::study::steady::{self, SteadyRuns};

/// Variance over the replications of the logarithm of a row's figure; `None` where it has none.
#[allow(clippy::cast_precision_loss)]
pub(super) fn variance(runs: &SteadyRuns, site: &Site, case: &Case, row: &LoadRow) -> Option<f64> {
    let index = site
        .workloads
        .iter()
        .position(|workload| workload.name == row.workload)?;
    let promises = super::outlook::promised(&site.workloads[index], case);
    let figures: Vec<f64> = match row.measure {
        MeasureKind::Quantile(q) => {
            let same = |measure: Measure| measure == Measure::Quantile(q);
            let target = promises.iter().find(|p| same(p.measure))?.target;
            let share = |(above, all): (u64, u64)| above as f64 / all.max(1) as f64;
            let tallies = runs.tallies.iter();
            tallies
                .map(|tally| share(above(tally, index, target)))
                .collect()
        }
        MeasureKind::Mean => steady::means_of(&runs.tallies, index),
        _ => return None,
    };
    relative(&figures)
}

/// Variance of some values over the square of their mean.
#[allow(clippy::cast_precision_loss)]
fn relative(values: &[f64]) -> Option<f64> {
    let count = values.len() as f64;
    let mean = values.iter().sum::<f64>() / count;
    if values.len() < 2 || mean <= 0.0 {
        return None;
    }
    let squares = values.iter().map(|value| (value - mean) * (value - mean));
    Some(squares.sum::<f64>() / (count - 1.0) / (mean * mean))
}

/// Pilot runs this far from the promise, as a logarithm, tell the spread at the edge: a choice of this program, a factor of
/// 7.4 in the share.
const NEAR: f64 = 2.0;

/// The share of the load by which a test must lie off the edge to have an even chance; 0 where nothing is known.
#[allow(clippy::cast_precision_loss)]
pub(super) fn distance(search: &Search, replications: u32, tests: usize) -> f64 {
    let pilots = || {
        search
            .points
            .iter()
            .filter(|judged| judged.point.purpose == Purpose::Pilot)
    };
    let near: Vec<f64> = pilots()
        .filter(|judged| judged.excess.abs() <= NEAR)
        .filter_map(|judged| judged.variance)
        .collect();
    let Curve::Crosses { factor, slope, .. } =
        curve_of(search, |point| point.purpose == Purpose::Pilot)
    else {
        return 0.0;
    };
    if near.len() < 2 || replications < 2 {
        return 0.0;
    }
    let variance = near.iter().sum::<f64>() / near.len() as f64;
    let share = ERROR / 2.0 / tests as f64;
    let reach = t_quantile(1.0 - share, replications as usize - 1);
    reach * (variance / f64::from(replications)).sqrt() / (slope * factor)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_relative_variance_of_a_few_values_by_hand() {
        // Mean 4, deviations −2, 0, 2: variance 4, over 16.
        assert_eq!(relative(&[2.0, 4.0, 6.0]), Some(0.25));
        assert_eq!(relative(&[2.0]), None);
        assert_eq!(relative(&[0.0, 0.0]), None);
    }
}
