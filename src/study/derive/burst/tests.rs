//! Laws by their index.

use super::*;

/// From a start that is far off, the search finds the law whose index was given.
#[test]
fn the_search_finds_a_law_by_its_index() {
    let wanted = DerivedArrivals::Bursty {
        peak: 900.0,
        base: 50.0,
        burst_s: 0.037,
        every_s: 0.31,
        law: DerivedLaw::Exponential,
    };
    let recorded = SCALES_S.map(|scale| (scale, by_law(wanted, scale)));
    let share = 0.037 / 0.31;
    let iops = share * 900.0 + (1.0 - share) * 50.0;
    for (size, sigma) in [(5.0, 4.0), (800.0, 900.0), (0.1, 100.0)] {
        let start = law_of(size, sigma, 0.2, iops);
        assert!(error(start, &recorded) > 0.1);
        let found = refined(start, iops, &recorded, Within::ANY);
        for (scale, index) in recorded {
            let ratio = by_law(found, scale) / index;
            assert!((ratio - 1.0).abs() < 0.01, "{scale} s: {ratio}, {found:?}");
        }
        let DerivedArrivals::Bursty {
            peak,
            base,
            burst_s,
            every_s,
            ..
        } = found
        else {
            panic!("{found:?}");
        };
        let share = burst_s / every_s;
        assert!((share * peak + (1.0 - share) * base - iops).abs() < 1e-9 * iops);
        assert!(base >= 0.0 && peak > base);
    }
}
