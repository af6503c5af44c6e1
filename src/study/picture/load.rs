//! Load of a pipe from the figures of its members.

use crate::outcome::{DirectionFigures, PipeLoad, Steady};
use crate::site::Site;
use crate::topology::{DirectionId, Fabric};
use std::collections::BTreeMap;

/// Figures of the cases by link family and name of the direction.
pub(super) struct Loads<'a> {
    cases: Vec<BTreeMap<(&'a str, &'a str), &'a DirectionFigures>>,
    names: Vec<(String, String)>,
}

impl<'a> Loads<'a> {
    pub(super) fn new(site: &Site, fabric: &Fabric, steady: &'a [Steady]) -> Self {
        let cases = steady
            .iter()
            .map(|case| {
                let figures = case.directions.iter();
                figures
                    .map(|d| ((d.family.as_str(), d.name.as_str()), d))
                    .collect()
            })
            .collect();
        let names = (0_u32..)
            .zip(&fabric.directions)
            .map(|(index, direction)| {
                (
                    site.links[direction.family].name.clone(),
                    fabric.direction_name(site, DirectionId(index)),
                )
            })
            .collect();
        Self { cases, names }
    }

    /// All of these members together in their busier direction, each by its usable rate; `None` when there
    /// is none or no figure.
    pub(super) fn pooled(
        &self,
        fabric: &Fabric,
        case: usize,
        members: &[usize],
    ) -> Option<PipeLoad> {
        let figures = self.cases.get(case)?;
        let way = |toward_array: bool| {
            let (mut rates, mut mean, mut asked, mut fullest) = (0.0, 0.0, 0.0, 0.0_f64);
            for member in members {
                let index = member * 2 + usize::from(!toward_array);
                let (family, name) = &self.names[index];
                let Some(own) = figures.get(&(family.as_str(), name.as_str())) else {
                    continue;
                };
                let rate = fabric.directions[index].rate.bits_per_second();
                rates += rate;
                mean += rate * own.utilization_percent;
                asked += rate * own.asked_peak_percent;
                fullest = fullest.max(own.asked_peak_percent);
            }
            (rates > 0.0).then(|| PipeLoad {
                mean_percent: mean / rates,
                asked_peak_percent: asked / rates,
                fullest_percent: fullest,
                toward_array,
            })
        };
        let (out, back) = (way(true), way(false));
        let key = |load: &PipeLoad| (load.asked_peak_percent, load.mean_percent);
        match (out, back) {
            (Some(out), Some(back)) if key(&back) > key(&out) => Some(back),
            (Some(out), _) => Some(out),
            (None, back) => back,
        }
    }
}
