//! How much a window of frames or credits lets through on one link.
//!
//! A frame's credit (or acknowledgement) takes no time to send and is given back once the frame has fully
//! arrived; it travels back with the same propagation. Nothing is lost.

/// Frames a time unit: min(1/S, B ÷ (S + 2p)) for serialization `frame` S > 0, one-way `propagation` p and
/// `credits` B. Source: Tanenbaum and Wetherall, *Computer Networks*, 5th edition, chapter 3.
#[must_use]
pub fn frame_rate(frame: f64, propagation: f64, credits: f64) -> Option<f64> {
    let sound = frame > 0.0
        && frame.is_finite()
        && propagation >= 0.0
        && propagation.is_finite()
        && credits >= 0.0;
    sound.then(|| (1.0 / frame).min(credits / (frame + 2.0 * propagation)))
}

/// The smallest whole number of credits that keeps the link full: ⌈1 + 2p/S⌉. A number within a millionth
/// of a millionth above a whole one counts as that one.
#[must_use]
pub fn credits_for_full_rate(frame: f64, propagation: f64) -> Option<f64> {
    let credits = 1.0 + 2.0 * propagation / frame;
    let sound = frame > 0.0 && propagation >= 0.0 && credits.is_finite();
    sound.then(|| (credits * (1.0 - 1e-12)).ceil())
}

/// The window in bytes that fills a path: bits a second × round trip in seconds ÷ 8.
#[must_use]
pub fn bytes_in_flight(bits_per_second: f64, round_trip_seconds: f64) -> f64 {
    bits_per_second * round_trip_seconds / 8.0
}

#[cfg(test)]
mod tests {
    use super::super::close;
    use super::*;

    #[test]
    fn the_satellite_channel_comes_out() {
        // Tanenbaum and Wetherall, chapter 3 exercise: 64 kbit/s, 512 bytes, 270 ms; the public worked
        // solution prints 6.78 kbit/s, 47 470 bit/s and 64 kbit/s from a window of 10 up. Verified.
        let bits = 4096.0;
        let rate = |window| frame_rate(bits / 64_000.0, 0.270, window).unwrap() * bits;
        assert!(close(rate(1.0), 6781.46, 6) && close(rate(7.0), 47470.2, 6));
        assert!(close(rate(15.0), 64_000.0, 12) && close(rate(127.0), 64_000.0, 12));
        assert!(rate(9.0) < 63_999.0);
        assert_eq!(credits_for_full_rate(0.064, 0.270), Some(10.0));
    }

    #[test]
    fn credits_on_a_long_link_equal_the_table() {
        // S 0.6 us, one way 50 us; by the formula.
        for (credits, expected, digits) in [
            (8.0, 79522.863, 8),
            (100.0, 994_035.79, 8),
            (167.0, 1_660_039.8, 8),
            (168.0, 1_666_666.7, 8),
            (200.0, 1_666_666.7, 8),
        ] {
            let got = frame_rate(0.6e-6, 50e-6, credits).unwrap();
            assert!(close(got, expected, digits), "{credits}: {got}");
        }
        assert_eq!(credits_for_full_rate(0.6e-6, 50e-6), Some(168.0));
        // 1 + 2p/S = 3 exactly.
        assert_eq!(credits_for_full_rate(0.1, 0.1), Some(3.0));
    }

    #[test]
    fn the_window_in_bytes_is_rate_times_round_trip() {
        // Published textbook-style question: 100 Mbit/s, 200 ms, 1500-byte packets: 2.5 MB, about 1667
        // packets. Verified.
        let bytes = bytes_in_flight(100e6, 0.2);
        assert_eq!(bytes, 2.5e6);
        assert_eq!((bytes / 1500.0).ceil(), 1667.0);
    }

    #[test]
    fn nonsense_has_no_rate() {
        assert_eq!(frame_rate(0.0, 1.0, 1.0), None);
        assert_eq!(frame_rate(1.0, -1.0, 1.0), None);
        assert_eq!(frame_rate(1.0, f64::NAN, 1.0), None);
        assert_eq!(credits_for_full_rate(0.0, 1.0), None);
        assert_eq!(frame_rate(1.0, 1.0, 0.0), Some(0.0));
    }
}
