//! Ways of bundles: straight in a lane and in a mesh, one elbow between lanes, round what is in between.

use crate::outcome::Lane;
use crate::render::chart::place::{Area, crosses};

use super::fold::Site;
use super::layout::Plan;

/// Corners of a way, from centre to centre.
pub(super) type Way = Vec<(f64, f64)>;

/// What a way costs besides its length.
const THROUGH_NODE: f64 = 4000.0;
const ALONG_PIPE: f64 = 900.0;
const ACROSS_PIPE: f64 = 60.0;
const ELBOW: f64 = 25.0;
const ASLANT: f64 = 90.0;
const UNUSUAL: f64 = 300.0;

/// A way for each bundle, in their order: each takes the cheapest of a few shapes, given those before; lanes' `badges` are no way through.
pub(super) fn ways(site: &Site, plan: &Plan, badges: &[Area]) -> Vec<Way> {
    let mut out: Vec<Way> = Vec::new();
    for (index, bundle) in site.bundles.iter().enumerate() {
        let (from, to) = (plan.at[bundle.from], plan.at[bundle.to]);
        let others: Vec<Area> = (0..site.units.len())
            .filter(|unit| *unit != bundle.from && *unit != bundle.to)
            .map(|unit| grown(plan.area_of(unit), plan.pipe * 0.6))
            .chain(badges.iter().copied())
            .collect();
        let ends = [plan.area_of(bundle.from), plan.area_of(bundle.to)];
        let habit = habit(site, index);
        let best = shapes(from, to, plan, plan.size[bundle.to])
            .into_iter()
            .map(|way| {
                (
                    cost(&way, &others, &ends, &out, plan) + manners(&way, habit, from, plan),
                    way,
                )
            });
        let best = best.reduce(|best, next| if next.0 + 1e-6 < best.0 { next } else { best });
        out.push(best.map_or_else(|| vec![from, to], |best| best.1));
    }
    out
}

/// How a bundle is drawn when nothing is in its way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Habit {
    /// Straight: in a mesh, and between two units of the middle.
    Straight,
    /// Out of the middle into a lane.
    Out,
    /// Anything else.
    Free,
}

fn habit(site: &Site, index: usize) -> Habit {
    let bundle = &site.bundles[index];
    let lane = |unit: usize| site.units[unit].lane;
    let place = |unit: usize| (site.units[unit].lane, site.units[unit].layer);
    let fan = site.bundles.iter().any(|other| {
        other.from == bundle.from && other.to != bundle.to && place(other.to) == place(bundle.to)
    });
    let gather = site.bundles.iter().any(|other| {
        other.to == bundle.to
            && other.from != bundle.from
            && site.units[other.from].layer == site.units[bundle.from].layer
    });
    match (lane(bundle.from), lane(bundle.to)) {
        _ if fan && gather => Habit::Straight,
        (Lane::Middle, Lane::Middle) => Habit::Straight,
        (Lane::Middle, _) => Habit::Out,
        _ => Habit::Free,
    }
}

/// What it costs to leave one's habits.
fn manners(way: &[(f64, f64)], habit: Habit, from: (f64, f64), plan: &Plan) -> f64 {
    match habit {
        Habit::Straight if way.len() == 2 => -ASLANT,
        Habit::Straight => UNUSUAL,
        Habit::Out if way.len() == 3 => {
            let (first, corner) = (way[0], way[1]);
            // Across to the lane at once, where nothing stands between.
            let level = (first.1 - corner.1).abs() < 1.0;
            if level == plan.upright {
                return 0.0;
            }
            // Beside the middle, for the other side's way has the same right to it.
            let centred = (first.0 - from.0).hypot(first.1 - from.1) < 1.0;
            if centred { ELBOW } else { 0.4 * ELBOW }
        }
        _ => 0.0,
    }
}

pub(super) fn grown(area: Area, by: f64) -> Area {
    (area.0 - by, area.1 - by, area.2 + by, area.3 + by)
}

/// Candidates: straight; one elbow either way; two elbows round the half way or round the outside.
fn shapes(from: (f64, f64), to: (f64, f64), plan: &Plan, size: (f64, f64)) -> Vec<Way> {
    let step = plan.pipe * 1.5;
    // Two at this distance from a middle, one either side, do not touch.
    let near = plan.pipe * 0.65;
    let mut out = vec![vec![from, to]];
    // Slanted, onto the near edge: so it passes beside the neighbours of its end.
    let edge = |from: f64, to: f64, size: f64| {
        to - (to - from).signum() * (size / 2.0 - plan.pipe * 0.7).max(0.0)
    };
    if (from.0 - to.0).abs() > 1.0 && (from.1 - to.1).abs() > 1.0 {
        out.push(if plan.upright {
            vec![from, (to.0, edge(from.1, to.1, size.1))]
        } else {
            vec![from, (edge(from.0, to.0, size.0), to.1)]
        });
    }
    for shift in [0.0, near, -near, step, -step, 2.0 * step, -2.0 * step] {
        let (a, b) = ((from.0 + shift, from.1), (to.0, to.1 + shift));
        out.push(vec![a, (a.0, b.1), b]);
        let (a, b) = ((from.0, from.1 + shift), (to.0 + shift, to.1));
        out.push(vec![a, (b.0, a.1), b]);
    }
    for share in [0.5, 0.3, 0.7] {
        let x = from.0 + (to.0 - from.0) * share;
        let y = from.1 + (to.1 - from.1) * share;
        out.push(vec![from, (x, from.1), (x, to.1), to]);
        out.push(vec![from, (from.0, y), (to.0, y), to]);
    }
    // Round the outside of both ends, above or below, left or right.
    let out_x = plan.node.0 / 2.0 + step;
    let out_y = plan.node.1 / 2.0 + step;
    for sign in [-1.0, 1.0] {
        for more in [0.0, step] {
            let y = if sign < 0.0 {
                from.1.min(to.1) - out_y - more
            } else {
                from.1.max(to.1) + out_y + more
            };
            let x = if sign < 0.0 {
                from.0.min(to.0) - out_x - more
            } else {
                from.0.max(to.0) + out_x + more
            };
            out.push(vec![from, (from.0, y), (to.0, y), to]);
            out.push(vec![from, (x, from.1), (x, to.1), to]);
        }
    }
    out
}

fn cost(way: &[(f64, f64)], others: &[Area], ends: &[Area; 2], before: &[Way], plan: &Plan) -> f64 {
    let mut cost = 0.0;
    for pair in way.windows(2) {
        let (from, to) = (pair[0], pair[1]);
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        cost += dx.hypot(dy) * 0.2;
        if dx.abs() > 1.0 && dy.abs() > 1.0 {
            cost += ASLANT;
        }
        cost += THROUGH_NODE * others.iter().filter(|area| crosses(pair, **area)).count() as f64;
    }
    cost += ELBOW * (way.len() as f64 - 2.0);
    let inside = way.iter().all(|at| {
        at.0 >= plan.area.0 && at.0 <= plan.area.2 && at.1 >= plan.area.1 && at.1 <= plan.area.3
    });
    // Ends must leave through their units' edges, not beside them.
    let anchored = [way.first(), way.last()]
        .into_iter()
        .flatten()
        .zip(ends)
        .all(|(at, area)| {
            let area = grown(*area, -plan.pipe * 0.5);
            at.0 >= area.0 && at.0 <= area.2 && at.1 >= area.1 && at.1 <= area.3
        });
    if !inside || !anchored {
        cost += THROUGH_NODE;
    }
    // Ends belong in the middle of an edge.
    for (at, area) in [way.first(), way.last()].into_iter().flatten().zip(ends) {
        let centre = (f64::midpoint(area.0, area.2), f64::midpoint(area.1, area.3));
        let aside = if way.len() == 2 {
            0.0
        } else {
            (at.0 - centre.0).hypot(at.1 - centre.1)
        };
        cost += 0.6 * aside;
    }
    for other in before {
        cost += meet(way, other, ends, plan.pipe);
    }
    cost
}

/// What it costs that two ways meet outside the ends of the one.
fn meet(way: &[(f64, f64)], other: &[(f64, f64)], ends: &[Area; 2], pipe: f64) -> f64 {
    let mut cost = 0.0;
    for a in way.windows(2) {
        for b in other.windows(2) {
            let shared = along(a, b, pipe * 1.2);
            // Two ways out of one unit's middle share what lies under it.
            let level = (a[0].1 - a[1].1).abs() < 1.0;
            let half = |area: &Area| if level { area.2 - area.0 } else { area.3 - area.1 } / 2.0;
            let hidden = ends.iter().map(half).fold(0.0, f64::max) + pipe * 0.5;
            if shared > hidden {
                cost += ALONG_PIPE;
            } else if shared == 0.0 && cut(a, b) {
                cost += ACROSS_PIPE;
            }
        }
    }
    cost
}

/// Length over which two upright or level pieces run closer than `near`.
fn along(a: &[(f64, f64)], b: &[(f64, f64)], near: f64) -> f64 {
    let overlap = |a0: f64, a1: f64, b0: f64, b1: f64| {
        (a0.max(a1).min(b0.max(b1)) - a0.min(a1).max(b0.min(b1))).max(0.0)
    };
    let level = |piece: &[(f64, f64)]| (piece[0].1 - piece[1].1).abs() < 1.0;
    let upright = |piece: &[(f64, f64)]| (piece[0].0 - piece[1].0).abs() < 1.0;
    if level(a) && level(b) && (a[0].1 - b[0].1).abs() < near {
        return overlap(a[0].0, a[1].0, b[0].0, b[1].0);
    }
    if upright(a) && upright(b) && (a[0].0 - b[0].0).abs() < near {
        return overlap(a[0].1, a[1].1, b[0].1, b[1].1);
    }
    0.0
}

/// Whether two pieces cross in their insides.
fn cut(a: &[(f64, f64)], b: &[(f64, f64)]) -> bool {
    let turn = |p: (f64, f64), q: (f64, f64), r: (f64, f64)| {
        (q.0 - p.0) * (r.1 - p.1) - (q.1 - p.1) * (r.0 - p.0)
    };
    let apart = |one: f64, other: f64| (one > 1.0 && other < -1.0) || (one < -1.0 && other > 1.0);
    apart(turn(a[0], a[1], b[0]), turn(a[0], a[1], b[1]))
        && apart(turn(b[0], b[1], a[0]), turn(b[0], b[1], a[1]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_that_cross_and_run_along() {
        assert!(cut(
            &[(0.0, 0.0), (10.0, 10.0)],
            &[(0.0, 10.0), (10.0, 0.0)]
        ));
        assert!(!cut(&[(0.0, 0.0), (10.0, 0.0)], &[(0.0, 5.0), (10.0, 5.0)]));
        assert_eq!(
            along(&[(0.0, 0.0), (10.0, 0.0)], &[(4.0, 2.0), (30.0, 2.0)], 3.0),
            6.0
        );
        assert_eq!(
            along(&[(0.0, 0.0), (10.0, 0.0)], &[(4.0, 9.0), (30.0, 9.0)], 3.0),
            0.0
        );
    }
}
