//! Values over time in a fixed number of bins, and exact time integrals of a level such as a queue length.
//!
//! A series starts with fine bins; when time passes its end, neighbours merge pairwise and every bin is
//! twice as wide. So a run of any length fits, and two series of one run have widths that differ by a power
//! of two. Left out: anything finer than a bin.

use crate::unit::{Duration, Instant};

/// The largest number of bins of a series.
pub const BINS: usize = 512;

/// The narrowest bin: 20 ms ÷ 2^11, so that after eleven merges a bin is 20 ms wide and the series holds
/// ten seconds. A choice of this program.
pub const FINEST_BIN: Duration = Duration(9_765_625);

/// Peaks are taken over bins of this width: 20 ms.
pub const PEAK_WINDOW: Duration = Duration(FINEST_BIN.0 << PEAK_DOUBLED);

/// How many times a bin has been doubled that is as wide.
const PEAK_DOUBLED: u32 = 11;

/// What a bin holds. The default is an empty bin.
pub trait Cell: Copy + Default {
    /// Takes in what a later or parallel bin holds; an empty bin changes nothing.
    fn absorb(&mut self, other: &Self);

    /// What has come since the bin held `before`. Only counts and times can tell; others say all they hold.
    #[must_use]
    fn since(&self, before: &Self) -> Self {
        let _ = before;
        *self
    }

    /// Raises each of its figures to that of `other` where that is higher.
    fn raise(&mut self, other: &Self) {
        self.absorb(other);
    }
}

impl Cell for u64 {
    fn absorb(&mut self, other: &Self) {
        *self += other;
    }

    fn since(&self, before: &Self) -> Self {
        self - before
    }

    fn raise(&mut self, other: &Self) {
        *self = (*self).max(*other);
    }
}

/// A count or a time in picoseconds; bins add up.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Sum(pub u64);

impl Cell for Sum {
    fn absorb(&mut self, other: &Self) {
        self.0 += other.0;
    }

    fn since(&self, before: &Self) -> Self {
        Self(self.0 - before.0)
    }

    fn raise(&mut self, other: &Self) {
        self.0 = self.0.max(other.0);
    }
}

/// The largest value seen; the larger bin wins.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Peak(pub u64);

impl Peak {
    /// Raises the peak to `value` if that is higher.
    pub fn raise(&mut self, value: u64) {
        self.0 = self.0.max(value);
    }
}

impl Cell for Peak {
    fn absorb(&mut self, other: &Self) {
        self.raise(other.0);
    }
}

/// Values over the time of a run, from instant zero, in at most [`BINS`] bins of one width.
#[derive(Clone, Debug)]
pub struct Series<C: Cell> {
    cells: Box<[C]>,
    used: usize,
    /// A bin is so many times doubled from [`FINEST_BIN`] on: bins are found by shifts and a division by a constant.
    doubled: u32,
    /// Start and index of the bin last used: the next value mostly falls into it, which saves a division.
    last_start: u64,
    last_index: usize,
    /// How far from `last_start` the bin last used goes on; 0 when there is none. Bins wider than
    /// [`PEAK_WINDOW`] are filled piece by piece of that length, so that the fullest piece is known.
    reach: u64,
    /// What the bin held when the present piece began.
    before: C,
    /// Pieces count that lie wholly in here.
    window: (u64, u64),
    /// The highest figures of any such piece so far; only bins wider than a piece need it.
    peak: C,
}

impl<C: Cell> Series<C> {
    /// An empty series of [`FINEST_BIN`] width, with all its memory.
    #[must_use]
    pub fn new() -> Self {
        Self {
            cells: vec![C::default(); BINS].into_boxed_slice(),
            used: 0,
            doubled: 0,
            last_start: 0,
            last_index: 0,
            reach: 0,
            before: C::default(),
            window: (0, u64::MAX),
            peak: C::default(),
        }
    }

    /// An empty series whose [`peak`](Self::peak) is that of [from, to).
    #[must_use]
    pub fn watched(from: Instant, to: Instant) -> Self {
        Self {
            window: (from.0, to.0),
            ..Self::new()
        }
    }

    /// From now on [`peak`](Self::peak) is that of what begins at `from` or later, whatever came before.
    pub fn peak_from(&mut self, from: Instant) {
        self.window.0 = from.0;
        self.peak = C::default();
    }

    /// The same series with bins wide enough for all of a run that ends at `end`, so that none need be merged
    /// on the way.
    #[must_use]
    pub fn reaching(mut self, end: Instant) -> Self {
        while self.index_of(end.0.saturating_sub(1)) >= BINS as u64 {
            self.doubled += 1;
        }
        self
    }

    /// The highest figures of any [`PEAK_WINDOW`] that lies wholly in the window watched, once bins are wider
    /// than that; `None` as long as the bins themselves tell. Values must have come in order of time.
    #[must_use]
    pub fn peak(&self) -> Option<C> {
        (self.doubled > PEAK_DOUBLED).then(|| {
            let mut peak = self.peak;
            if let Some(piece) = self.piece() {
                peak.raise(&piece);
            }
            peak
        })
    }

    /// What has come in the present piece of a wide bin, if that lies in the window.
    fn piece(&self) -> Option<C> {
        let (from, to) = self.window;
        let whole = self.last_start >= from && self.last_start.saturating_add(PEAK_WINDOW.0) <= to;
        (self.doubled > PEAK_DOUBLED && self.reach > 0 && whole)
            .then(|| self.cells[self.last_index].since(&self.before))
    }

    /// The bin that holds the instant `t`. Constant cost but for the merges, at most 32 in a series' life.
    #[inline]
    pub fn at(&mut self, t: Instant) -> &mut C {
        // An earlier instant wraps round to a huge number and takes the slow way, as it must.
        if t.0.wrapping_sub(self.last_start) >= self.reach {
            self.find(t);
        }
        &mut self.cells[self.last_index]
    }

    /// Where the bin last used begins and ends (the piece of it, where bins are wide). Empty where there is none.
    #[must_use]
    pub const fn bin(&self) -> (Instant, Instant) {
        let end = self.last_start.saturating_add(self.reach);
        (Instant(self.last_start), Instant(end))
    }

    #[cold]
    #[allow(clippy::cast_possible_truncation)]
    fn find(&mut self, t: Instant) {
        if let Some(piece) = self.piece() {
            self.peak.raise(&piece);
        }
        if self.index_of(t.0) >= BINS as u64 {
            self.widen_to(t);
        }
        // Both by pieces, which are the bins themselves unless those are wide.
        let doubled = self.doubled.min(PEAK_DOUBLED);
        let piece = (t.0 >> doubled) / FINEST_BIN.0;
        self.last_start = (piece * FINEST_BIN.0) << doubled;
        self.last_index = (piece >> (self.doubled - doubled)) as usize;
        self.reach = FINEST_BIN.0 << doubled;
        self.before = self.cells[self.last_index];
        self.used = self.used.max(self.last_index + 1);
    }

    /// Which bin of the present width holds an instant.
    #[inline]
    const fn index_of(&self, t: u64) -> u64 {
        (t >> self.doubled) / FINEST_BIN.0
    }

    /// Widens the bins until the instant `t` has one.
    #[cold]
    fn widen_to(&mut self, t: Instant) {
        while self.index_of(t.0) >= BINS as u64 {
            self.widen();
        }
    }

    /// Merges neighbours pairwise and doubles the width. The width stays far below 2^64: a series of
    /// bins of 2^55.2 ps already reaches past the last instant that can be written.
    fn widen(&mut self) {
        if self.doubled == PEAK_DOUBLED {
            self.note_peaks();
        }
        for pair in 0..BINS / 2 {
            let mut cell = self.cells[2 * pair];
            cell.absorb(&self.cells[2 * pair + 1]);
            self.cells[pair] = cell;
        }
        self.cells[BINS / 2..].fill(C::default());
        self.used = self.used.div_ceil(2);
        self.doubled += 1;
        self.reach = 0;
    }

    /// The bins are about to become too wide to tell the peak: remembers it.
    fn note_peaks(&mut self) {
        let (from, to) = self.window;
        for (index, cell) in self.cells[..self.used].iter().enumerate() {
            let width = self.width().0;
            let start = index as u64 * width;
            if start >= from && start + width <= to {
                self.peak.raise(cell);
            }
        }
    }

    /// The width of every bin.
    #[must_use]
    pub const fn width(&self) -> Duration {
        Duration(FINEST_BIN.0 << self.doubled)
    }

    /// The bins from instant zero to the last one touched.
    #[must_use]
    pub fn bins(&self) -> &[C] {
        &self.cells[..self.used]
    }

    /// The bins merged to the narrowest width that is at least `width`, by powers of two.
    #[must_use]
    pub fn merge_to(&self, width: Duration) -> Vec<C> {
        let mut group = 1;
        // 2^9 bins merge into one: nothing wider says more.
        while group < BINS && (group as u64).saturating_mul(self.width().0) < width.0 {
            group *= 2;
        }
        let merge = |cells: &[C]| {
            let mut whole = C::default();
            cells.iter().for_each(|cell| whole.absorb(cell));
            whole
        };
        self.bins().chunks(group).map(merge).collect()
    }

    /// Takes in the bins of `other`, time by time; the narrower of the two is widened first.
    pub fn absorb(&mut self, other: &Self) {
        while self.doubled < other.doubled {
            self.widen();
        }
        for (index, cell) in other.merge_to(self.width()).iter().enumerate() {
            self.cells[index].absorb(cell);
            self.used = self.used.max(index + 1);
        }
    }
}

/// Equal when the bins are, wherever the last value fell.
impl<C: Cell + PartialEq> PartialEq for Series<C> {
    fn eq(&self, other: &Self) -> bool {
        self.doubled == other.doubled && self.bins() == other.bins()
    }
}

impl<C: Cell> Default for Series<C> {
    fn default() -> Self {
        Self::new()
    }
}

/// Calls `take` with every bin that [start, end) touches, the bin's start and the length of the overlap.
/// The overlaps add up to `end − start` exactly; nothing happens when `end` is not after `start`.
#[cold]
fn over_bins<C: Cell>(
    series: &mut Series<C>,
    start: Instant,
    end: Instant,
    mut take: impl FnMut(&mut C, u64),
) {
    if end <= start {
        return;
    }
    // The last instant fixes the width for the whole walk.
    let last = Instant(end.0 - 1);
    if series.index_of(last.0) >= BINS as u64 {
        if let Some(piece) = series.piece() {
            series.peak.raise(&piece);
        }
        series.widen_to(last);
    }
    let mut from = start.0;
    while from < end.0 {
        series.at(Instant(from));
        let to = series.last_start.saturating_add(series.reach).min(end.0);
        take(&mut series.cells[series.last_index], to - from);
        from = to;
    }
}

/// Spreads the interval [start, end) over the bins it covers, exact to the picosecond: the bins grow by
/// `end − start` together. Nothing happens when `end` is not after `start`. Cost: one step a bin covered.
#[inline]
pub fn add_interval(series: &mut Series<Sum>, start: Instant, end: Instant) {
    // Mostly both ends lie in the bin last used.
    let offset = start.0.wrapping_sub(series.last_start);
    if start < end && offset < series.reach && end.0 - series.last_start <= series.reach {
        series.cells[series.last_index].0 += end.0 - start.0;
        return;
    }
    over_bins(series, start, end, |cell, overlap| cell.0 += overlap);
}

/// The time integral of a level, and its maximum, over one window [from, to).
///
/// A level that stands for no time at all (an arrival served in the same instant) leaves no trace, so the
/// result does not depend on the order in which things of one instant are handled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct TimeAverage {
    from: Instant,
    to: Instant,
    since: Instant,
    level: u64,
    integral: u128,
    max: u64,
}

impl TimeAverage {
    /// A level of zero from instant zero on, watched over [from, to).
    #[must_use]
    pub const fn new(from: Instant, to: Instant) -> Self {
        Self {
            from,
            to,
            since: Instant::ZERO,
            level: 0,
            integral: 0,
            max: 0,
        }
    }

    /// From `now` on the level is `level`. An earlier `now` than the last counts as the last.
    pub fn set(&mut self, now: Instant, level: u64) {
        self.advance(now);
        self.level = level;
    }

    /// Accounts for the present level up to `now` and keeps it. To be called at the window's end or later
    /// before the results are read.
    pub fn advance(&mut self, now: Instant) {
        let (start, end) = (self.since.max(self.from), now.min(self.to));
        if start < end {
            self.integral += u128::from(self.level) * u128::from(end.since(start).0);
            self.max = self.max.max(self.level);
        }
        self.since = self.since.max(now);
    }

    /// The present level.
    #[must_use]
    pub const fn level(&self) -> u64 {
        self.level
    }

    /// ∫ level dt over the part of the window accounted for, in level × picoseconds, exact.
    #[must_use]
    pub const fn integral(&self) -> u128 {
        self.integral
    }

    /// The highest level that stood for a while within the window.
    #[must_use]
    pub const fn max(&self) -> u64 {
        self.max
    }

    /// Integral ÷ window length; `None` for an empty window.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn mean(&self) -> Option<f64> {
        let window = self.to.since(self.from).0;
        (window > 0).then(|| self.integral as f64 / window as f64)
    }
}

/// One bin of a [`LevelSeries`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct LevelCell {
    /// ∫ level dt over the bin, in level × picoseconds.
    pub integral: u128,
    /// The highest level that stood for a while in the bin.
    pub peak: u64,
}

impl Cell for LevelCell {
    /// Neighbours in time: integrals add, peaks compare. Parallel levels (two queues): the integral is
    /// that of their sum, the peak the higher of the two.
    fn absorb(&mut self, other: &Self) {
        self.integral += other.integral;
        self.peak = self.peak.max(other.peak);
    }

    fn since(&self, before: &Self) -> Self {
        Self {
            integral: self.integral - before.integral,
            peak: self.peak,
        }
    }

    fn raise(&mut self, other: &Self) {
        self.integral = self.integral.max(other.integral);
        self.peak = self.peak.max(other.peak);
    }
}

/// A level over time: its integral and its peak, bin by bin.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LevelSeries {
    series: Series<LevelCell>,
    since: Instant,
    level: u64,
}

impl LevelSeries {
    /// A level of zero from instant zero on.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The same; the [`peak`](Series::peak) of its series is that of [from, to).
    #[must_use]
    pub fn watched(from: Instant, to: Instant) -> Self {
        Self {
            series: Series::watched(from, to),
            ..Self::default()
        }
    }

    /// From `now` on the level is `level`. An earlier `now` than the last counts as the last. Cost: one
    /// step a bin passed since then.
    #[inline]
    pub fn set(&mut self, now: Instant, level: u64) {
        let series = &mut self.series;
        let offset = self.since.0.wrapping_sub(series.last_start);
        // Mostly both ends lie in the bin last used.
        if self.since < now && offset < series.reach && now.0 - series.last_start <= series.reach {
            let cell = &mut series.cells[series.last_index];
            cell.integral += u128::from(self.level) * u128::from(now.0 - self.since.0);
            cell.peak = cell.peak.max(self.level);
            self.since = now;
        } else {
            self.advance(now);
        }
        self.level = level;
    }

    /// Accounts for the present level up to `now` and keeps it; to be called at the end of the run.
    pub fn advance(&mut self, now: Instant) {
        let level = self.level;
        if level == 0 && now > self.since {
            // Nothing to add: only the last bin is touched, however long that was.
            let _ = self.series.at(Instant(now.0 - 1));
            self.since = now;
            return;
        }
        over_bins(&mut self.series, self.since, now, |cell, overlap| {
            cell.integral += u128::from(level) * u128::from(overlap);
            cell.peak = cell.peak.max(level);
        });
        self.since = self.since.max(now);
    }

    /// The present level.
    #[must_use]
    pub const fn level(&self) -> u64 {
        self.level
    }

    /// The bins so far, up to the last `set` or `advance`.
    #[must_use]
    pub const fn series(&self) -> &Series<LevelCell> {
        &self.series
    }
}

#[cfg(test)]
mod tests {
    use rand::{Rng, SeedableRng};
    use rand_xoshiro::Xoshiro256PlusPlus;

    use super::*;

    /// What a series must hold: every value kept, then put into bins of the final width.
    fn slow_bins(values: &[(u64, u64)], width: u64) -> Vec<u64> {
        let mut bins = vec![0; (values.iter().map(|(t, _)| t / width).max().unwrap() + 1) as usize];
        values
            .iter()
            .for_each(|(t, value)| bins[(t / width) as usize] += value);
        bins
    }

    fn random_values(seed: u64, span: u64) -> Vec<(u64, u64)> {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
        (0..3_000)
            .map(|_| (random.next_u64() % span, random.next_u64() % 100))
            .collect()
    }

    fn filled(values: &[(u64, u64)]) -> Series<u64> {
        let mut series = Series::new();
        values
            .iter()
            .for_each(|(t, value)| *series.at(Instant(*t)) += value);
        series
    }

    #[test]
    fn bins_equal_those_of_all_values_kept() {
        for (seed, span) in [
            (1, 1_000),
            (2, 5_000_000_000),
            (3, 20_000_000_000_000),
            (4, u64::MAX),
        ] {
            let values = random_values(seed, span);
            let series = filled(&values);
            let width = series.width().0;
            assert_eq!(series.bins(), slow_bins(&values, width));
            assert!(width.is_multiple_of(FINEST_BIN.0) && (width / FINEST_BIN.0).is_power_of_two());
            // No wider than needed: half the width could not have held the last value.
            let last = values.iter().map(|(t, _)| *t).max().unwrap();
            assert!(width == FINEST_BIN.0 || last / (width / 2) >= BINS as u64);
            let coarse = series.merge_to(Duration(width * 8));
            assert_eq!(coarse, slow_bins(&values, width.saturating_mul(8)));
        }
    }

    /// The fullest 20 ms of ten seconds and of ten minutes, against all values kept.
    #[test]
    fn peaks_are_those_of_the_narrow_bins_however_long_the_run() {
        let piece = PEAK_WINDOW.0;
        for (seed, span) in [(5, 200 * piece), (6, 600 * piece), (7, 30_000 * piece)] {
            let mut values = random_values(seed, span);
            values.sort_unstable();
            let (from, to) = (span / 10 + 1, span / 10 * 9);
            let mut series = Series::watched(Instant(from), Instant(to));
            let mut busy = Series::<Sum>::watched(Instant(from), Instant(to));
            let mut exact = vec![0; usize::try_from(span / piece + 2).unwrap()];
            let mut exact_busy = exact.clone();
            let mut free = 0;
            for (t, value) in &values {
                *series.at(Instant(*t)) += value;
                exact[(t / piece) as usize] += value;
                // An interval up to three pieces long, in order.
                let (start, end) = ((*t).max(free), (*t).max(free) + value * piece / 33);
                free = end;
                add_interval(&mut busy, Instant(start), Instant(end));
                for bin in start / piece..=end / piece {
                    if let Some(cell) = exact_busy.get_mut(bin as usize) {
                        let overlap = end
                            .min((bin + 1) * piece)
                            .saturating_sub(start.max(bin * piece));
                        *cell += overlap;
                    }
                }
            }
            let inside = from.div_ceil(piece) as usize..(to / piece) as usize;
            let highest = |cells: &[u64]| cells[inside.clone()].iter().max().copied();
            if series.width() > PEAK_WINDOW {
                assert_eq!(series.peak(), highest(&exact), "{span}");
                assert_eq!(busy.peak().map(|sum| sum.0), highest(&exact_busy), "{span}");
            } else {
                assert_eq!(series.peak(), None);
            }
        }
    }

    #[test]
    fn the_width_doubles_exactly_when_time_passes_the_end() {
        let mut series = Series::<Sum>::new();
        let end = FINEST_BIN.0 * BINS as u64;
        series.at(Instant(end - 1)).0 += 1;
        assert_eq!((series.width(), series.bins().len()), (FINEST_BIN, BINS));
        series.at(Instant(end)).0 += 1;
        assert_eq!(
            (series.width(), series.bins().len()),
            (FINEST_BIN * 2, BINS / 2 + 1)
        );
        assert_eq!(series.bins()[BINS / 2 - 1], Sum(1));
        assert_eq!(series.bins()[BINS / 2], Sum(1));
        let _ = series.at(Instant::NEVER);
        assert_eq!(series.bins()[0], Sum(2));
    }

    #[test]
    fn absorbing_is_recording_both_whichever_is_wider() {
        for (left_span, right_span) in [
            (1_000_000_000, 1_000_000_000),
            (1_000, 90_000_000_000),
            (9_000_000_000, 50),
        ] {
            let (left, right) = (random_values(5, left_span), random_values(6, right_span));
            let both: Vec<_> = left.iter().chain(&right).copied().collect();
            let mut series = filled(&left);
            series.absorb(&filled(&right));
            let whole = filled(&both);
            assert_eq!(
                (series.width(), series.bins()),
                (whole.width(), whole.bins())
            );
            // The remembered bin must still be right after widening.
            *series.at(Instant(left[0].0)) += 1;
            assert_eq!(
                series.bins().iter().sum::<u64>(),
                whole.bins().iter().sum::<u64>() + 1
            );
            assert_eq!(
                series.bins()[(left[0].0 / series.width().0) as usize],
                whole.bins()[(left[0].0 / series.width().0) as usize] + 1
            );
        }
    }

    #[test]
    fn intervals_are_spread_to_the_picosecond() {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(7);
        let (mut series, mut intervals) = (Series::<Sum>::new(), Vec::new());
        for _ in 0..2_000 {
            let start = random.next_u64() % 20_000_000_000;
            let end = start + random.next_u64() % 100_000_000;
            add_interval(&mut series, Instant(start), Instant(end));
            intervals.push((start, end));
        }
        add_interval(&mut series, Instant(9), Instant(9));
        add_interval(&mut series, Instant(9), Instant(3));
        let width = series.width().0;
        for (index, bin) in series.bins().iter().enumerate() {
            let (from, to) = (index as u64 * width, (index as u64 + 1) * width);
            let overlap =
                |(start, end): &(u64, u64)| end.min(&to).saturating_sub(*start.max(&from));
            assert_eq!(
                bin.0,
                intervals.iter().map(overlap).sum::<u64>(),
                "bin {index}"
            );
        }
    }

    #[test]
    fn peaks_survive_merging() {
        let mut series = Series::<Peak>::new();
        for (t, value) in [
            (0, 3),
            (FINEST_BIN.0, 8),
            (FINEST_BIN.0 * 2, 5),
            (FINEST_BIN.0 * BINS as u64, 1),
        ] {
            series.at(Instant(t)).raise(value);
        }
        assert_eq!(series.bins()[..2], [Peak(8), Peak(5)]);
    }

    /// Steps of a random walk: (time, level).
    fn walk(seed: u64) -> Vec<(u64, u64)> {
        let mut random = Xoshiro256PlusPlus::seed_from_u64(seed);
        let mut now = 0;
        (0..500)
            .map(|_| {
                now += random.next_u64() % 40_000_000;
                (now, random.next_u64() % 20)
            })
            .collect()
    }

    /// ∫ level dt and the maximum over [from, to), piece by piece.
    fn slow_integral(steps: &[(u64, u64)], from: u64, to: u64) -> (u128, u64) {
        let (mut integral, mut max) = (0, 0);
        for (index, (start, level)) in steps.iter().enumerate() {
            let end = steps.get(index + 1).map_or(u64::MAX, |next| next.0);
            let overlap = end.min(to).saturating_sub(*start.max(&from));
            integral += u128::from(overlap) * u128::from(*level);
            max = max.max(if overlap > 0 { *level } else { 0 });
        }
        (integral, max)
    }

    #[test]
    fn a_level_is_integrated_exactly_over_its_window() {
        let steps = walk(8);
        let end = steps.last().unwrap().0;
        for (from, to) in [
            (0, end),
            (end / 3, end / 2),
            (1_000_003, 1_000_004),
            (end / 2, end + 12_345),
        ] {
            let mut average = TimeAverage::new(Instant(from), Instant(to));
            steps
                .iter()
                .for_each(|(now, level)| average.set(Instant(*now), *level));
            average.advance(Instant(to));
            let (integral, max) = slow_integral(&steps, from, to);
            assert_eq!((average.integral(), average.max()), (integral, max));
            assert_eq!(average.mean(), Some(integral as f64 / (to - from) as f64));
        }
        assert_eq!(TimeAverage::new(Instant(5), Instant(5)).mean(), None);
    }

    #[test]
    fn a_level_that_stands_for_no_time_leaves_no_trace() {
        let mut average = TimeAverage::new(Instant(0), Instant(10));
        let mut series = LevelSeries::new();
        for (now, level) in [(2, 9), (2, 1), (4, 0)] {
            average.set(Instant(now), level);
            series.set(Instant(now), level);
        }
        average.advance(Instant(10));
        assert_eq!(
            (average.integral(), average.max(), average.mean()),
            (2, 1, Some(0.2))
        );
        assert_eq!(
            series.series().bins(),
            [LevelCell {
                integral: 2,
                peak: 1
            }]
        );
    }

    #[test]
    fn a_level_series_holds_the_integral_of_every_bin() {
        let steps = walk(9);
        let end = steps.last().unwrap().0 + 77;
        let mut series = LevelSeries::new();
        steps
            .iter()
            .for_each(|(now, level)| series.set(Instant(*now), *level));
        series.advance(Instant(end));
        let width = series.series().width().0;
        assert!(
            width > FINEST_BIN.0,
            "the walk must be long enough to merge bins"
        );
        for (index, bin) in series.series().bins().iter().enumerate() {
            let from = index as u64 * width;
            let (integral, peak) = slow_integral(&steps, from, (from + width).min(end));
            assert_eq!(*bin, LevelCell { integral, peak }, "bin {index}");
        }
    }
}
