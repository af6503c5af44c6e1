//! Units and bundles: what is drawn once. Hosts of one chassis are one unit, and all bundles between two
//! units are one.

use crate::outcome::{Lane, Picture, PictureNode, PipeLoad, Shape};
use crate::render::number::is_over;

/// A node as drawn.
#[derive(Clone, Debug)]
pub(super) struct Drawn {
    pub(super) name: String,
    pub(super) detail: String,
    /// How many it stands for.
    pub(super) count: u32,
    pub(super) shape: Shape,
    pub(super) lost: bool,
    /// Some of what it stands for is lost, and not all.
    pub(super) partly: bool,
}

/// A node, or the hosts of a chassis in their frame.
#[derive(Clone, Debug)]
pub(super) struct Unit {
    pub(super) boxes: Vec<Drawn>,
    /// Name and count of the chassis.
    pub(super) frame: Option<String>,
    pub(super) lane: Lane,
    pub(super) layer: u32,
}

impl Unit {
    pub(super) fn name(&self) -> String {
        match (&self.frame, self.boxes.as_slice()) {
            (None, [one]) => one.name.clone(),
            (_, boxes) => boxes
                .iter()
                .map(|node| node.name.as_str())
                .collect::<Vec<_>>()
                .join(" and "),
        }
    }
}

/// All links between two units.
#[derive(Clone, Debug)]
pub(super) struct Bundle {
    pub(super) from: usize,
    pub(super) to: usize,
    pub(super) label: String,
    pub(super) detail: String,
    pub(super) lane: Lane,
    /// Per cent in the busiest 20 ms; `None` when lost.
    pub(super) load: Option<f64>,
    /// Whether that is from hosts towards arrays.
    pub(super) toward_array: bool,
    /// Per cent of the fullest member, where it is more than [`UNEVEN`] points above that.
    pub(super) fullest: Option<f64>,
}

/// Points by which the fullest member of a bundle may pass the whole before that is said.
const UNEVEN: f64 = 5.0;

/// What is drawn.
#[derive(Clone, Debug)]
pub(super) struct Site {
    pub(super) units: Vec<Unit>,
    pub(super) bundles: Vec<Bundle>,
}

impl Site {
    /// The picture in `case`, with at most about `most` nodes.
    pub(super) fn new(picture: &Picture, case: usize, most: usize) -> Self {
        let groups = groups(picture, most);
        let mut units: Vec<Unit> = Vec::new();
        // Unit of each node of the picture.
        let mut home = vec![0; picture.nodes.len()];
        for members in &groups {
            let first = &picture.nodes[members[0]];
            let unit = if members.len() == 1 && first.chassis.is_some() {
                let frame = first
                    .chassis
                    .as_ref()
                    .map(|(name, count)| format!("{name}, {count}"));
                let known = units.iter().position(|unit| {
                    unit.frame == frame && unit.lane == first.lane && unit.layer == first.layer
                });
                let at = known.unwrap_or(units.len());
                if known.is_none() {
                    units.push(Unit {
                        boxes: Vec::new(),
                        frame,
                        lane: first.lane,
                        layer: first.layer,
                    });
                }
                at
            } else {
                units.push(Unit {
                    boxes: Vec::new(),
                    frame: None,
                    lane: first.lane,
                    layer: first.layer,
                });
                units.len() - 1
            };
            units[unit].boxes.push(drawn(picture, members, case));
            for &member in members {
                home[member] = unit;
            }
        }
        let bundles = bundles(picture, &home, case);
        Self { units, bundles }
    }
}

fn drawn(picture: &Picture, members: &[usize], case: usize) -> Drawn {
    let nodes: Vec<&PictureNode> = members.iter().map(|&index| &picture.nodes[index]).collect();
    let first = nodes[0];
    let lost = nodes.iter().all(|node| node.lost_in.contains(&case));
    let count = nodes
        .iter()
        .map(|node| node.count.max(1))
        .fold(0, u32::saturating_add);
    if nodes.len() == 1 {
        return Drawn {
            name: first.name.clone(),
            detail: first.detail.clone(),
            count: first.count,
            shape: first.shape,
            lost,
            partly: false,
        };
    }
    let what = match first.shape {
        Shape::Host => "hosts",
        Shape::Module => "modules",
        Shape::Switch => "switches",
        Shape::Array => "arrays",
    };
    let names: Vec<&str> = nodes.iter().map(|node| node.name.as_str()).collect();
    let gone: Vec<&str> = nodes
        .iter()
        .filter(|node| node.lost_in.contains(&case))
        .map(|node| node.name.as_str())
        .collect();
    let partly = !lost && !gone.is_empty();
    let (name, detail) = match family(&names) {
        // Parts of one family, which only an outage tells apart, are named by it.
        Some(family) => (family.to_owned(), format!("{count} {what}")),
        None => (format!("{count} {what}"), named(&names)),
    };
    Drawn {
        name,
        detail: match partly {
            true => format!("{} lost", named(&gone)),
            false => detail,
        },
        count,
        shape: first.shape,
        lost,
        partly,
    }
}

/// `lan` of `lan-1` and `lan-2`, or of `lan-1 … lan-3`: the name of the family that all of these are of.
fn family<'n>(names: &[&'n str]) -> Option<&'n str> {
    let stem = |name: &&'n str| {
        let first = name.split(" … ").next()?;
        let (stem, number) = first.rsplit_once('-')?;
        let digits = !number.is_empty() && number.bytes().all(|own| own.is_ascii_digit());
        digits.then_some(stem)
    };
    let first = names.first().and_then(stem)?;
    names
        .iter()
        .all(|name| stem(name) == Some(first))
        .then_some(first)
}

/// `db and vm`, `db, vm and rack`; of more the first, the second and the last. Never `db to vm`: that reads as a link.
fn named(names: &[&str]) -> String {
    match names {
        [first, second, _, .., last] if names.len() > 3 => {
            format!("{first}, {second}, … {last}")
        }
        [names @ .., last] if !names.is_empty() => format!("{} and {last}", names.join(", ")),
        _ => names.concat(),
    }
}

/// Nodes that are drawn as one, in scenario order; arrays only with those that speak the same protocols. Few nodes: each by itself. Many: the lane of the fullest
/// link whole, then everything else a tier each, then that lane too but for the fullest link's ends, then those as well.
fn groups(picture: &Picture, most: usize) -> Vec<Vec<usize>> {
    let all: Vec<Vec<usize>> = (0..picture.nodes.len()).map(|index| vec![index]).collect();
    if all.len() <= most {
        return all;
    }
    let peak = |load: &Option<PipeLoad>| load.map_or(0.0, |load| load.asked_peak_percent);
    // Over all cases, so that the same nodes are folded in each.
    let fullest = picture.pipes.iter().reduce(|best, pipe| {
        let most = |pipe: &crate::outcome::Pipe| pipe.load.iter().map(peak).fold(0.0, f64::max);
        if most(pipe) > most(best) { pipe } else { best }
    });
    let whole = fullest.map_or(Lane::A, |pipe| pipe.lane);
    let ends: Vec<usize> = fullest.map_or_else(Vec::new, |pipe| vec![pipe.from, pipe.to]);
    let other = |lane: Lane| lane != whole && lane != Lane::Middle;
    let kept = |index: usize| ends.contains(&index);
    let steps: [&dyn Fn(usize) -> bool; 4] = [
        &|index| other(picture.nodes[index].lane) && !kept(index),
        &|index| picture.nodes[index].lane != whole && !kept(index),
        &|index| !kept(index),
        &|_| true,
    ];
    let mut out = all;
    for folds in steps {
        out = Vec::new();
        for index in 0..picture.nodes.len() {
            let node = &picture.nodes[index];
            let fold = folds(index);
            let same = |members: &Vec<usize>| {
                let first = &picture.nodes[members[0]];
                folds(members[0])
                    && (first.lane, first.layer, first.shape) == (node.lane, node.layer, node.shape)
                    && first.protocols == node.protocols
            };
            match out.iter_mut().find(|members| fold && same(members)) {
                Some(members) => members.push(index),
                None => out.push(vec![index]),
            }
        }
        if out.len() <= most {
            break;
        }
    }
    out
}

/// Members of a bundle, 0 when not known, and their load.
type Part = (u32, Option<PipeLoad>);

fn bundles(picture: &Picture, home: &[usize], case: usize) -> Vec<Bundle> {
    let mut out: Vec<(Bundle, Vec<Part>)> = Vec::new();
    for pipe in &picture.pipes {
        let (Some(&from), Some(&to)) = (home.get(pipe.from), home.get(pipe.to)) else {
            continue;
        };
        if from == to {
            continue;
        }
        let load = pipe
            .load
            .get(case)
            .copied()
            .flatten()
            .filter(|load| load.asked_peak_percent.is_finite());
        let (number, speed) = parsed(&pipe.label);
        let known = out
            .iter_mut()
            .find(|(bundle, _)| (bundle.from, bundle.to, bundle.lane) == (from, to, pipe.lane));
        let Some((bundle, loads)) = known else {
            let bundle = Bundle {
                from,
                to,
                label: pipe.label.clone(),
                detail: pipe.detail.clone(),
                lane: pipe.lane,
                load: None,
                toward_array: true,
                fullest: None,
            };
            out.push((bundle, vec![(number, load)]));
            continue;
        };
        loads.push((number, load));
        let (sum, known_speed) = parsed(&bundle.label);
        bundle.label = if number > 0 && sum > 0 && known_speed == speed {
            format!("{} × {speed}", sum + number)
        } else if bundle.label.ends_with(" and more") || bundle.label == pipe.label {
            bundle.label.clone()
        } else {
            format!("{} and more", bundle.label)
        };
        if bundle.detail != pipe.detail {
            bundle.detail.clear();
        }
    }
    out.into_iter()
        .map(|(bundle, loads)| {
            let both = together(&loads);
            let load = both.map(|(load, _)| load);
            let fullest = loads
                .iter()
                .filter_map(|(_, load)| Some((*load)?.fullest_percent))
                .reduce(f64::max);
            Bundle {
                load,
                toward_array: both.is_none_or(|(_, toward_array)| toward_array),
                fullest: fullest.filter(|fullest| load.is_some_and(|load| fullest - load > UNEVEN)),
                ..bundle
            }
        })
        .collect()
}

/// Number and technology of `12 × 100GbE`; number 0 when it is written otherwise.
fn parsed(label: &str) -> (u32, &str) {
    let parts = label
        .split_once('×')
        .map(|(number, speed)| (number.trim().parse().unwrap_or(0), speed.trim()));
    parts.unwrap_or((0, label))
}

/// Load of several bundles as one, and whether it is towards arrays: their mean by members where all are busier in the
/// same direction, else the fullest.
fn together(loads: &[Part]) -> Option<(f64, bool)> {
    let alive: Vec<(u32, PipeLoad)> = loads
        .iter()
        .filter_map(|(number, load)| Some((*number, (*load)?)))
        .collect();
    let asked = |part: &&(u32, PipeLoad)| part.1.asked_peak_percent;
    let (_, fullest) = alive.iter().max_by(|a, b| asked(a).total_cmp(&asked(b)))?;
    let alike = alive
        .iter()
        .all(|(number, load)| *number > 0 && load.toward_array == fullest.toward_array);
    let most = fullest.asked_peak_percent;
    // Over 100 on one part must not vanish in the mean of all.
    if alive.len() == 1 || !alike || is_over(most) {
        return Some((most, fullest.toward_array));
    }
    let members: f64 = alive.iter().map(|(number, _)| f64::from(*number)).sum();
    let asked: f64 = alive
        .iter()
        .map(|(number, load)| f64::from(*number) * load.asked_peak_percent)
        .sum();
    Some((asked / members, fullest.toward_array))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn load(asked_peak_percent: f64, toward_array: bool) -> Option<PipeLoad> {
        Some(PipeLoad {
            mean_percent: 0.0,
            asked_peak_percent,
            fullest_percent: asked_peak_percent,
            toward_array,
        })
    }

    #[test]
    fn merged_boxes_are_named_without_a_word_that_reads_as_a_link() {
        assert_eq!(named(&["db"]), "db");
        assert_eq!(named(&["db", "vm"]), "db and vm");
        assert_eq!(named(&["a", "b", "c"]), "a, b and c");
        assert_eq!(named(&["a", "b", "c", "d"]), "a, b, … d");
    }

    #[test]
    fn arrays_of_different_protocols_stay_apart_however_many_there_are() {
        let array = |name: usize, protocol: &str| PictureNode {
            name: format!("array-{name}"),
            detail: String::new(),
            count: 1,
            shape: Shape::Array,
            lane: Lane::Middle,
            chassis: None,
            lost_in: Vec::new(),
            layer: 2,
            protocols: vec![protocol.to_owned()],
        };
        let nodes = (0..9).map(|index| array(index, if index < 5 { "scsi-fc" } else { "nfs" }));
        let picture = Picture {
            nodes: nodes.collect(),
            pipes: Vec::new(),
        };
        assert_eq!(groups(&picture, 1), [vec![0, 1, 2, 3, 4], vec![5, 6, 7, 8]]);
    }

    #[test]
    fn loads_add_up_by_members() {
        assert_eq!(
            together(&[(6, load(5.0, false)), (2, load(1.0, false))]),
            Some((4.0, false))
        );
        assert_eq!(
            together(&[(6, load(5.0, false)), (2, load(1.0, true))]),
            Some((5.0, false))
        );
        assert_eq!(
            together(&[(6, load(5.0, false)), (6, load(105.0, false))]),
            Some((105.0, false))
        );
        assert_eq!(together(&[(6, None), (6, None)]), None);
        assert_eq!(parsed("12 × 100GbE"), (12, "100GbE"));
        assert_eq!(parsed("27.2Gb/s"), (0, "27.2Gb/s"));
    }

    /// A pair of which an outage takes one switch: drawn as one, it bears the name of the pair and says which of them is lost.
    #[test]
    fn a_pair_that_loses_one_says_which() {
        let node = |name: &str, lane: Lane, lost_in: &[usize]| PictureNode {
            name: name.to_owned(),
            detail: "Ethernet switch".to_owned(),
            count: 1,
            shape: Shape::Switch,
            lane,
            chassis: None,
            lost_in: lost_in.to_vec(),
            layer: 1,
            protocols: Vec::new(),
        };
        let picture = Picture {
            nodes: vec![
                node("edge-A", Lane::A, &[1]),
                node("lan-1", Lane::Middle, &[1]),
                node("lan-2", Lane::Middle, &[2]),
            ],
            pipes: Vec::new(),
        };
        let pair = |case: usize| {
            let site = Site::new(&picture, case, 2);
            let mut boxes = site.units.into_iter().flat_map(|unit| unit.boxes);
            boxes.find(|own| own.count == 2).expect("two are one")
        };
        for (case, detail, partly) in [
            (0, "2 switches", false),
            (1, "lan-1 lost", true),
            (2, "lan-2 lost", true),
        ] {
            let own = pair(case);
            assert_eq!((own.name.as_str(), own.detail.as_str()), ("lan", detail));
            assert_eq!((own.lost, own.partly), (false, partly));
        }
    }
}
