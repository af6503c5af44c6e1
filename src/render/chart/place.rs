//! Labels pushed apart, so that none lies on another.

/// A label on a line of its own: where it would stand, and the room it takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Wish {
    /// Middle, where it would best stand.
    pub(super) at: f64,
    /// Extent along the direction of pushing.
    pub(super) size: f64,
}

/// Middles of all labels, in the order given: as near to their wishes as they can be without touching,
/// inside `from` to `to`. If they cannot all fit they are spaced evenly from the start.
///
/// Labels that touch form a group whose members share their displacement (pool adjacent violators, the
/// usual algorithm of isotonic regression, which makes the sum of squared displacements least).
pub(super) fn spread(wishes: &[Wish], from: f64, to: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..wishes.len()).collect();
    order.sort_by(|a, b| wishes[*a].at.total_cmp(&wishes[*b].at));
    // Groups: (members, sum of the starts that their first label would wish for, size of all).
    let mut groups: Vec<(usize, f64, f64)> = Vec::new();
    let start = |group: &(usize, f64, f64)| {
        let wished = group.1 / group.0 as f64;
        wished.min(to - group.2).max(from)
    };
    for &index in &order {
        let wish = wishes[index];
        groups.push((1, wish.at - wish.size / 2.0, wish.size));
        while let [.., before, last] = groups.as_slice() {
            if start(before) + before.2 <= start(last) + 1e-9 {
                break;
            }
            let merged = (
                before.0 + last.0,
                before.1 + last.1 - last.0 as f64 * before.2,
                before.2 + last.2,
            );
            groups.truncate(groups.len() - 2);
            groups.push(merged);
        }
    }
    let mut out = vec![0.0; wishes.len()];
    let mut members = order.iter();
    for group in &groups {
        let mut at = start(group);
        for &index in members.by_ref().take(group.0) {
            out[index] = at + wishes[index].size / 2.0;
            at += wishes[index].size;
        }
    }
    out
}

/// Left, top, right, low.
pub(super) type Area = (f64, f64, f64, f64);

/// Whether two areas share more than an edge.
pub(super) fn overlap(one: Area, other: Area) -> bool {
    one.0 < other.2 && other.0 < one.2 && one.1 < other.3 && other.1 < one.3
}

/// Whether a line runs through an area (clipping by Liang and Barsky, 1984).
pub(super) fn crosses(line: &[(f64, f64)], area: Area) -> bool {
    line.windows(2).any(|pair| {
        let (from, to) = (pair[0], pair[1]);
        let (dx, dy) = (to.0 - from.0, to.1 - from.1);
        let (mut enter, mut leave) = (0.0_f64, 1.0_f64);
        let edges = [
            (-dx, from.0 - area.0),
            (dx, area.2 - from.0),
            (-dy, from.1 - area.1),
            (dy, area.3 - from.1),
        ];
        for (step, space) in edges {
            if step == 0.0 {
                if space < 0.0 {
                    return false;
                }
            } else if step < 0.0 {
                enter = enter.max(space / step);
            } else {
                leave = leave.min(space / step);
            }
        }
        enter <= leave
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_through_areas() {
        let area = (10.0, 10.0, 20.0, 20.0);
        assert!(crosses(&[(0.0, 15.0), (30.0, 15.0)], area));
        assert!(crosses(&[(12.0, 12.0), (13.0, 13.0)], area));
        assert!(crosses(&[(0.0, 25.0), (25.0, 0.0)], area));
        assert!(!crosses(&[(0.0, 15.0), (5.0, 40.0)], area));
        assert!(!crosses(&[(0.0, 5.0), (30.0, 5.0), (30.0, 40.0)], area));
        assert!(overlap(area, (19.0, 0.0, 30.0, 11.0)) && !overlap(area, (20.0, 10.0, 30.0, 20.0)));
    }

    fn wish(at: f64) -> Wish {
        Wish { at, size: 10.0 }
    }

    #[test]
    fn apart_stay_put_and_close_ones_move_equally() {
        assert_eq!(
            spread(&[wish(50.0), wish(20.0)], 0.0, 100.0),
            vec![50.0, 20.0]
        );
        assert_eq!(
            spread(&[wish(50.0), wish(52.0)], 0.0, 100.0),
            vec![46.0, 56.0]
        );
        assert_eq!(
            spread(&[wish(50.0), wish(50.0), wish(50.0)], 0.0, 100.0),
            vec![40.0, 50.0, 60.0]
        );
    }

    #[test]
    fn they_stay_inside() {
        assert_eq!(spread(&[wish(1.0), wish(2.0)], 0.0, 100.0), vec![5.0, 15.0]);
        assert_eq!(
            spread(&[wish(99.0), wish(98.0)], 0.0, 100.0),
            vec![95.0, 85.0]
        );
        assert_eq!(spread(&[], 0.0, 1.0), Vec::<f64>::new());
    }
}
