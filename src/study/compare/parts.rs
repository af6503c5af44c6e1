//! How full the parts of two designs are, link by link.
//!
//! Of several links of a family one is shown, and it is chosen before any run: the one that arithmetic says is fullest, of
//! equals the first by name that both designs have. The fullest of each run would be a maximum of chance: where two designs ask
//! the same of their links, the one whose links differ more from run to run would look fuller. Closed loops, of which arithmetic
//! knows no rate, count as if each I/O outstanding were one a second: that only says which link is shown.
//!
//! Left out: links of a family that are not shown; `directions.csv` of `simulate` has all.

use super::{CONFIDENCE, Pair, change, difference, signed};
use crate::outcome::{Change, DirectionFigures, PartDifference, Steady};
use crate::site::{Arrivals, Per, Site};
use crate::study::estimate::{CaseLoads, case_loads};
use crate::topology::{DirectionId, Fabric};
use std::collections::BTreeMap;

/// Shares that differ by less are the same: what sums of floats leave.
const SAME: f64 = 1e-9;

/// One way of a link (all its members), or a controller.
struct Place {
    /// What it is called among the parts: `san to edge, 32GFC`.
    part: String,
    /// `san-A > edge-A`, or the controller.
    instance: String,
    /// Busy share by arithmetic.
    share: f64,
    /// Names of the directions that it is made of; none for a controller.
    members: Vec<String>,
}

impl Place {
    /// Used on the mean in one replication, per cent.
    fn used(&self, steady: &Steady) -> f64 {
        if self.members.is_empty() {
            let mut arrays = steady.arrays.iter();
            let own = arrays.find(|array| array.name == self.instance);
            return own.map_or(0.0, |array| array.utilization_percent);
        }
        let own = |direction: &&DirectionFigures| self.members.contains(&direction.name);
        let used = steady.directions.iter().filter(own);
        let sum: f64 = used.map(|direction| direction.utilization_percent).sum();
        sum / crate::study::estimate::count(self.members.len())
    }
}

impl Pair<'_> {
    pub(super) fn parts(&self) -> Vec<PartDifference> {
        let [one, mut other] = [0, 1].map(|side| {
            let first = self.singles[side].first();
            first.map_or_else(BTreeMap::new, |steady| places(self.sites[side], steady))
        });
        let mut rows = Vec::new();
        for (key, first) in one {
            let shown = match other.remove(&key) {
                Some(value) => pair(first, value),
                None => [first.into_iter().next(), None],
            };
            rows.extend(self.row(shown));
        }
        for value in other.into_values() {
            rows.extend(self.row([None, value.into_iter().next()]));
        }
        rows
    }

    fn row(&self, places: [Option<Place>; 2]) -> Option<PartDifference> {
        let used = [0, 1].map(|side| -> Option<Vec<f64>> {
            let place = places[side].as_ref()?;
            let each = self.singles[side].iter();
            Some(each.map(|steady| place.used(steady)).collect())
        });
        let mean = |values: &Option<Vec<f64>>| {
            let values = values.as_ref()?;
            Some(values.iter().sum::<f64>() / crate::study::estimate::count(values.len().max(1)))
        };
        let estimate = match &used {
            [Some(first), Some(value)] => Some(difference(first, value, 0.0)),
            _ => None,
        };
        let [first, value] = &places;
        let part = match (first, value) {
            (Some(first), Some(value)) => super::both_names(&first.part, &value.part),
            (first, value) => first.as_ref().or(value.as_ref())?.part.clone(),
        };
        Some(PartDifference {
            design: self.design,
            case: self.runs[0].plan.case.clone(),
            part,
            first_instance: first.as_ref().map(|place| place.instance.clone()),
            value_instance: value.as_ref().map(|place| place.instance.clone()),
            first_percent: mean(&used[0]),
            value_percent: mean(&used[1]),
            difference: estimate.as_ref().map(signed),
            change: estimate.map_or(Change::NotShown, |estimate| change(&estimate, false)),
        })
    }
}

/// What the notes say of the choice.
pub(super) fn note() -> String {
    format!(
        "of a family with several links or controllers the one that arithmetic says is fullest is shown, of equals the first by \
         name: it is chosen before the runs, so that a difference is none of chance beyond its {} %",
        100.0 * CONFIDENCE
    )
}

/// The places of each family, the one that is shown first; families are known by the parts at their ends, either way.
fn places(site: &Site, steady: &Steady) -> BTreeMap<String, Vec<Place>> {
    let busy = in_turn(site);
    let fabric = Fabric::new(&busy);
    let named = |name: &String| busy.outages.iter().position(|outage| outage.name == *name);
    let loads = case_loads(&busy, &fabric, steady.case.outage.as_ref().and_then(named));
    let shares = shares(&busy, &fabric, &loads);
    let share_of = |name: &str| shares.get(name).copied().unwrap_or(0.0);
    let mut found: BTreeMap<String, Vec<Place>> = BTreeMap::new();
    let mut known: BTreeMap<String, u32> = BTreeMap::new();
    for link in &site.links {
        let mut own: Vec<Place> = Vec::new();
        let mut tier = None;
        for direction in steady
            .directions
            .iter()
            .filter(|own| own.family == link.name)
        {
            let instance = format!("{} > {}", direction.from, direction.to);
            let share = share_of(&direction.name);
            tier.get_or_insert_with(|| direction.tier.clone());
            match own.iter_mut().find(|place| place.instance == instance) {
                Some(place) => {
                    place.share += share;
                    place.members.push(direction.name.clone());
                }
                None => own.push(Place {
                    part: format!("{}, {}", direction.tier.replace(" > ", " to "), link.label),
                    instance,
                    share,
                    members: vec![direction.name.clone()],
                }),
            }
        }
        for place in &mut own {
            place.share /= crate::study::estimate::count(place.members.len());
        }
        let Some(tier) = tier else { continue };
        let mut ends: Vec<&str> = tier.split(" > ").collect();
        ends.sort_unstable();
        // A second family between the same parts is another.
        let key = ends.join(" > ");
        let number = known.entry(key.clone()).or_insert(0);
        *number += 1;
        found.insert(format!("{key} {number}"), in_order(own));
    }
    for array in &site.arrays {
        let own = steady.arrays.iter().filter(|own| own.family == array.name);
        let own = own.map(|controller| Place {
            part: format!("{} controllers", array.name),
            instance: controller.name.clone(),
            share: share_of(&controller.name),
            members: Vec::new(),
        });
        found.insert(array.name.clone(), in_order(own.collect()));
    }
    found.retain(|_, places| !places.is_empty());
    found
}

/// The fullest first, of equals the first by name.
fn in_order(mut places: Vec<Place>) -> Vec<Place> {
    places.sort_by(|left, right| left.instance.cmp(&right.instance));
    let fullest = places.iter().map(|place| place.share).fold(0.0, f64::max);
    let below = |place: &Place| place.share < fullest * (1.0 - SAME);
    // A stable sort: among those that are fullest, and among the others, by name.
    places.sort_by_key(below);
    places
}

/// What is shown of two designs: the first by name of those that are fullest in both, else the fullest of each.
fn pair(one: Vec<Place>, other: Vec<Place>) -> [Option<Place>; 2] {
    let top = |places: &[Place]| {
        let fullest = places.iter().map(|place| place.share).fold(0.0, f64::max);
        let full = |place: &&Place| place.share >= fullest * (1.0 - SAME);
        places.iter().take_while(full).count()
    };
    let (first, second) = (top(&one), top(&other));
    let both = one[..first].iter().find_map(|place| {
        let own = |other: &Place| other.instance == place.instance;
        let at = other[..second].iter().position(own)?;
        Some((place.instance.clone(), at))
    });
    let (at_one, at_other) = both.map_or((0, 0), |(name, at)| {
        let own = one.iter().position(|place| place.instance == name);
        (own.unwrap_or(0), at)
    });
    [one.into_iter().nth(at_one), other.into_iter().nth(at_other)]
}

/// Busy shares by the names that figures have.
fn shares(site: &Site, fabric: &Fabric, loads: &CaseLoads) -> BTreeMap<String, f64> {
    let direction = |index: usize| DirectionId(u32::try_from(index).unwrap_or(u32::MAX));
    let links = loads
        .directions
        .iter()
        .enumerate()
        .filter_map(|(index, load)| {
            Some((
                fabric.direction_name(site, direction(index)),
                load.as_ref()?.mean,
            ))
        });
    let arrays = fabric.controllers.iter().zip(&loads.controllers);
    let arrays = arrays.filter_map(|(own, load)| Some((own.name.clone(), load.as_ref()?.mean)));
    links.chain(arrays).collect()
}

/// The site with each I/O of a closed loop as one a second.
fn in_turn(site: &Site) -> Site {
    let mut site = Site {
        variants: Vec::new(),
        ..site.clone()
    };
    for work in &mut site.workloads {
        if let Arrivals::Closed { depth, .. } = work.arrivals {
            work.arrivals = Arrivals::Poisson(f64::from(depth));
            work.per = Per::Host;
        }
    }
    site
}
