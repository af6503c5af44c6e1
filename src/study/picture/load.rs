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
                    direction_name(fabric, DirectionId(index)),
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
            let (mut rates, mut mean, mut asked) = (0.0, 0.0, 0.0);
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
            }
            (rates > 0.0).then(|| PipeLoad {
                mean_percent: mean / rates,
                asked_peak_percent: asked / rates,
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

/// `edge-A > san-A`, with `/2` when its bundle has several members: the name in the figures.
fn direction_name(fabric: &Fabric, direction: DirectionId) -> String {
    let ends = &fabric.directions[direction.index()];
    let member = &fabric.members[direction.member().0 as usize];
    let name = |node: crate::topology::NodeId| &fabric.nodes[node.0 as usize].name;
    let number = if member.of > 1 {
        format!("/{}", member.index + 1)
    } else {
        String::new()
    };
    format!("{} > {}{number}", name(ends.from), name(ends.to))
}
