//! A message of several frames over idle links in a row: exact times in whole picoseconds.
//!
//! Nothing else is on the links. Serialization, propagation and header times are given; how they come from
//! bytes and rates is not known here.

use crate::unit::Duration;

fn sum(times: impl Iterator<Item = Duration>) -> Duration {
    times.fold(Duration::ZERO, |total, time| total + time)
}

/// Time until the last of `frames` equal frames has crossed all links, each switch storing a frame before it
/// goes on: Σ S_i + (frames − 1) max S_i + Σ p_i, from pairs (serialization S_i, propagation p_i). Nothing
/// for no frames. Source: Kurose and Ross, *Computer Networking*, chapter 1, store-and-forward transmission,
/// for equal links.
#[must_use]
pub fn store_and_forward(frames: u64, links: &[(Duration, Duration)]) -> Duration {
    if frames == 0 {
        return Duration::ZERO;
    }
    let slowest = links
        .iter()
        .map(|(serialization, _)| *serialization)
        .max()
        .unwrap_or(Duration::ZERO);
    sum(links
        .iter()
        .map(|(serialization, propagation)| *serialization + *propagation))
        + slowest * (frames - 1)
}

/// Time until the last of `frames` equal frames has crossed `links` equal links, each switch passing a frame
/// on once it has the header: n S + (k − 1) h + k p. Nothing for no frames or no links.
#[must_use]
pub fn cut_through(
    frames: u64,
    links: u64,
    serialization: Duration,
    header: Duration,
    propagation: Duration,
) -> Duration {
    if frames == 0 || links == 0 {
        return Duration::ZERO;
    }
    serialization * frames + header * (links - 1) + propagation * links
}

/// When the first and the second of two messages have crossed the links, if both are ready at once on the
/// same first link and leave one after the other, store-and-forward: the second ends at (n + m + k − 1) S +
/// k p for equal links.
#[must_use]
pub fn one_after_the_other(
    first: u64,
    second: u64,
    links: &[(Duration, Duration)],
) -> (Duration, Duration) {
    (
        store_and_forward(first, links),
        store_and_forward(first + second, links),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Frame by frame and link by link: starts when it is there and the link is free.
    fn walked(frames: u64, links: &[(Duration, Duration)]) -> Duration {
        let mut free = vec![Duration::ZERO; links.len()];
        let mut last = Duration::ZERO;
        for _ in 0..frames {
            let mut there = Duration::ZERO;
            for (free, (serialization, propagation)) in free.iter_mut().zip(links) {
                *free = there.max(*free) + *serialization;
                there = *free + *propagation;
            }
            last = there;
        }
        last
    }

    #[test]
    fn equal_links_equal_the_table() {
        // Frames, links; S, p, h, store-and-forward, cut-through, all in ps. The first row is that of Kurose
        // and Ross (2L/R and L/R), verified; the others by the formulas.
        for (frames, links, serialization, propagation, header, stored, cut) in [
            (1, 2, 1, 0, 0, 2, 1),
            (3, 2, 1, 0, 0, 4, 3),
            (16, 3, 640_000, 100_000, 20_000, 11_820_000, 10_580_000),
            (32, 5, 655_360, 50_000, 32_000, 23_842_960, 21_349_520),
        ] {
            let (serialization, propagation) = (Duration(serialization), Duration(propagation));
            let row = vec![(serialization, propagation); links];
            assert_eq!(store_and_forward(frames, &row), Duration(stored));
            assert_eq!(walked(frames, &row), Duration(stored));
            let got = cut_through(
                frames,
                links as u64,
                serialization,
                Duration(header),
                propagation,
            );
            assert_eq!(got, Duration(cut));
        }
    }

    #[test]
    fn unequal_links_wait_for_the_slowest() {
        let links = [2, 5, 3].map(|serialization| (Duration(serialization), Duration(1)));
        assert_eq!(store_and_forward(10, &links), Duration(58));
        for order in [[2, 5, 3], [5, 3, 2], [3, 2, 5], [7, 7, 1]] {
            let links =
                order.map(|serialization| (Duration(serialization), Duration(serialization * 2)));
            for frames in 0..20 {
                assert_eq!(store_and_forward(frames, &links), walked(frames, &links));
            }
        }
    }

    #[test]
    fn two_messages_share_the_first_link() {
        let links = [(Duration(10), Duration(3)); 4];
        // (n + k − 1) S + k p and (n + m + k − 1) S + k p with n 5, m 7, k 4.
        assert_eq!(
            one_after_the_other(5, 7, &links),
            (Duration(92), Duration(162))
        );
    }

    #[test]
    fn nothing_takes_no_time() {
        assert_eq!(
            store_and_forward(0, &[(Duration(1), Duration(1))]),
            Duration::ZERO
        );
        assert_eq!(store_and_forward(4, &[]), Duration::ZERO);
        assert_eq!(
            cut_through(4, 0, Duration(1), Duration(1), Duration(1)),
            Duration::ZERO
        );
    }
}
