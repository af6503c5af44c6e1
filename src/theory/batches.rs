//! Messages of several frames that arrive together on one link: M\[X\]/D/1.
//!
//! Messages arrive as a Poisson stream; each brings X frames at once; every frame takes the same time.

use super::steady;

/// Mean times of a link fed with messages of several frames, in the unit of the frame time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Batches {
    /// Fraction of time the link is busy.
    pub utilization: f64,
    /// Wait of a message, which is that of its first frame: λ E\[X²\] ÷ (2(1−ρ)).
    pub first_frame_wait: f64,
    /// From a message's arrival until its last frame has left: that + E\[X\].
    pub message_sojourn: f64,
    /// Wait of a frame picked at random: first-frame wait + E\[X(X−1)\] ÷ (2 E\[X\]).
    pub frame_wait: f64,
}

/// Mean times for `rate` messages a time unit whose frame counts are pairs (weight, frames), weights adding
/// up to 1, with `frame` time a frame. M/G/1 with the message as the customer (Pollaczek and Khinchine).
#[must_use]
pub fn batches(rate: f64, sizes: &[(f64, f64)], frame: f64) -> Option<Batches> {
    let first: f64 = sizes.iter().map(|(weight, frames)| weight * frames).sum();
    let second: f64 = sizes
        .iter()
        .map(|(weight, frames)| weight * frames * frames)
        .sum();
    let utilization = rate * first * frame;
    if !steady(rate, utilization) || first <= 0.0 {
        return None;
    }
    let first_frame_wait = rate * second * frame * frame / (2.0 * (1.0 - utilization));
    Some(Batches {
        utilization,
        first_frame_wait,
        message_sojourn: first_frame_wait + first * frame,
        frame_wait: first_frame_wait + (second - first) * frame / (2.0 * first),
    })
}

#[cfg(test)]
mod tests {
    use super::super::close;
    use super::*;

    #[test]
    fn means_equal_the_table() {
        // Computed; each confirmed by a simulation of frames.
        for (sizes, rho, rate, expected) in [
            (&[(1.0, 8.0)][..], 0.6, 0.075, [6.0, 14.0, 9.5]),
            (
                &[(0.5, 1.0), (0.5, 16.0)],
                0.7,
                0.7 / 8.5,
                [17.63725, 26.13725, 24.69608],
            ),
            (&[(0.8, 4.0), (0.2, 64.0)], 0.5, 0.03125, [26.0, 42.0, 51.5]),
        ] {
            let got = batches(rate, sizes, 1.0).unwrap();
            assert!(close(got.utilization, rho, 10));
            for (got, expected) in [got.first_frame_wait, got.message_sojourn, got.frame_wait]
                .into_iter()
                .zip(expected)
            {
                assert!(close(got, expected, 7), "{got} {expected}");
            }
        }
    }

    #[test]
    fn a_batch_of_one_is_the_single_queue() {
        let single = super::super::single_queue::constant(0.1, 7.0).unwrap();
        let got = batches(0.1, &[(1.0, 1.0)], 7.0).unwrap();
        assert!(
            close(got.first_frame_wait, single.wait, 12) && close(got.frame_wait, single.wait, 12)
        );
        assert_eq!(batches(1.0, &[(1.0, 2.0)], 1.0), None);
        assert_eq!(batches(1.0, &[], 1.0), None);
    }
}
