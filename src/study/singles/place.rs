//! Parts that stand in the same place.

use super::Symmetry;
use super::list::Single;
use super::vertex::Graph;
use crate::site::Site;
use crate::topology::{Fabric, MemberId};
use std::collections::BTreeMap;

/// Parts in the same place: the first is simulated.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Class {
    /// Index of the part that stands for all.
    pub(super) first: usize,
    /// The others.
    pub(super) others: Vec<usize>,
}

/// Groups the parts of a site in which the members `gone` are out of service; in order of their first part.
pub(super) fn classes(
    site: &Site,
    fabric: &Fabric,
    gone: &[MemberId],
    singles: &[Single],
    symmetry: Symmetry,
) -> Vec<Class> {
    let alone = |first| Class {
        first,
        others: Vec::new(),
    };
    if symmetry == Symmetry::Each {
        return (0..singles.len()).map(alone).collect();
    }
    let graph = Graph::new(site, fabric, gone);
    let mut known: BTreeMap<(&str, u64), usize> = BTreeMap::new();
    let mut classes: Vec<Class> = Vec::new();
    for (index, single) in singles.iter().enumerate() {
        let print = graph.print_of(&single.vertex);
        match print.and_then(|print| known.get(&(single.kind, print))) {
            Some(class) => classes[*class].others.push(index),
            None => {
                if let Some(print) = print {
                    known.insert((single.kind, print), classes.len());
                }
                classes.push(alone(index));
            }
        }
    }
    classes
}
