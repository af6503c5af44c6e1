//! What the runs of a case say together, and what is taken for granted.

use super::below::{broken as broken_at, holes};
use super::curve::{Curve, Figure, knee};
use super::edge::{Place, before_floor, bounded, clear_ends, crossing, curve_of, edge};
use super::hungry::{never_brought, seen_floor};
use super::scale::Scale;
use super::{Held, Judged, Search};
use crate::outcome::{
    Because, CaseHeadroom, DepthLimit, Floor, Hopeless, LoadPoint, LoadRow, MeasureKind,
    NoCrossing, PartLoad, Purpose, RankedBy, Verdict,
};
use crate::site::{Arrivals, Measure, Site, Workload};
use crate::study::parts::{depth_name, fuller};

pub(super) fn answer(
    site: &Site,
    mut search: Search,
    scale: &Scale<'_>,
    most: f64,
) -> CaseHeadroom {
    let (under, over) = edge(&search);
    let bounded = bounded(&search, most);
    search
        .points
        .sort_by(|left, right| left.point.factor.total_cmp(&right.point.factor));
    let is = |purpose: Purpose, verdict: Verdict| {
        move |judged: &&Judged| judged.point.purpose == purpose && judged.point.verdict == verdict
    };
    let end_met = search
        .points
        .iter()
        .rfind(is(Purpose::ProveMet, Verdict::Met));
    let broken = is(Purpose::ProveMissed, Verdict::Missed);
    let met = end_met.map(|judged| &judged.point);
    // What is missed below that lies in a hole, and ends nothing.
    let above = |judged: &&Judged| met.is_none_or(|met| judged.point.factor > met.factor);
    let mut ends = search.points.iter().filter(broken).filter(above);
    let end_missed = ends.find(|judged| !before_floor(&search, judged));
    let holes = holes(site, &search, met.map(|point| point.factor));
    let missed = end_missed.map(|judged| &judged.point);
    let breaks = end_missed.and_then(|judged| broken_at(site, &search, judged));
    let (place, fit, none) = crosses(&search, (met, missed), (under, over));
    // No number of runs has a figure near the promise where those that do not wait keep it at any load.
    let kept = breaks.as_ref().is_some_and(|own| own.kept_by_others);
    let named = |why: NoCrossing| match why {
        NoCrossing::Few if kept => NoCrossing::PilesUp,
        why => why,
    };
    let looked = search.promises > 0 && search.outlook.hopeless.is_none();
    let bend = breaks.as_ref().and_then(|breaks| {
        let mut works = site.workloads.iter();
        let work = works.find(|work| work.name == breaks.workload);
        let closed = work.is_some_and(|work| matches!(work.arrivals, Arrivals::Closed { .. }));
        let figures = search.points.iter().filter_map(|judged| {
            let own =
                |row: &&LoadRow| row.workload == breaks.workload && row.measure == breaks.measure;
            let row = judged.point.rows.iter().find(own)?;
            let latency = row.measure != MeasureKind::Throughput && !row.cell.saturated;
            let value = row.cell.value.filter(|_| latency)?;
            // Of a closed loop, whose curve is straight, nothing is known without an interval.
            let doubt = match closed {
                true => (value.low?, value.high?),
                false => (
                    value.low.unwrap_or(value.value),
                    value.high.unwrap_or(value.value),
                ),
            };
            Some(Figure {
                load: judged.point.factor,
                latency: value.value,
                low: doubt.0,
                high: doubt.1,
            })
        });
        knee(figures)
    });
    let ended = met.filter(|point| missed.is_none() && point.factor >= most * (1.0 - 1e-9));
    let bound = ended.filter(|_| bounded).map(|_| scale.bound());
    // Whether any run kept every promise.
    let kept = search.points.iter().any(|judged| judged.excess <= 0.0);
    let floor = search
        .outlook
        .floor
        .clone()
        .or_else(|| seen_floor(site, &search, scale));
    let hopeless = search
        .outlook
        .hopeless
        .clone()
        .filter(|_| met.is_none())
        .or_else(|| none_kept(missed.filter(|_| met.is_none() && !kept), scale))
        .or_else(|| never_brought(site, &search).filter(|_| met.is_none()));
    // What no load keeps is ended by no part.
    let last = end_missed.or(end_met).filter(|_| hopeless.is_none());
    let full = last.map_or(&[][..], |judged| judged.point.fullest.as_slice());
    let waiting = last.and_then(|judged| {
        let own = |depth: &&DepthLimit| waits_there(site, depth, judged.nearest.as_deref());
        let depth = search.depth.as_ref().filter(own)?;
        let (case, at) = (&search.plan.case.name, judged.point.factor);
        let percent = scale.depth_percent(site, case, depth, at);
        in_hosts(depth, percent, &judged.point)
    });
    // Where no promise broke nothing is in the way: the fullest part is named as that.
    let first = last
        .filter(|_| missed.is_some())
        .and_then(|judged| judged.in_the_way.clone());
    let unwaited_percent = last
        .filter(|_| missed.is_some())
        .and_then(|judged| judged.unwaited_percent);
    let beside = last.filter(|_| missed.is_some() && waiting.is_none());
    let beside = beside.and_then(|judged| judged.beside.clone());
    let ranked_by = last.map_or(RankedBy::Mean, |judged| judged.point.ranked_by);
    let known = [&first, &beside].map(|part| part.as_ref().map(|part| part.part.clone()));
    let others = full.iter().cloned();
    let others = others.filter(|part| !known.contains(&Some(part.part.clone())));
    let others: Vec<PartLoad> = others.collect();
    let mut fullest = waiting.into_iter().chain(first).chain(others);
    let mut tests = search.points.iter();
    let tested = tests.any(|judged| broken(&judged) && judged.point.factor == 1.0);
    let certain = search.certain.is_some_and(|full| full < 1.0);
    let broken = tested || certain || holes.iter().any(|hole| hole.factor == 1.0);
    let doubt = search.unlike || !holes.is_empty();
    let met_today = met_today(&search, met, doubt);
    // Of unlike ways a load above may keep what a lower one breaks.
    let tells = |point: &&LoadPoint| !search.unlike || point.factor == 1.0;
    let today = today(
        (met_today, missed.filter(tells), broken),
        (floor.as_ref(), hopeless.is_some()),
    );
    let today = (search.promises > 0).then_some(today);
    CaseHeadroom {
        case: search.plan.case.clone(),
        saturation: search.saturation,
        depth: search.depth.clone(),
        met: met.map(|point| point.factor),
        unlike: search.unlike,
        holes,
        missed: missed.map(|point| point.factor),
        crossing: place,
        no_crossing: none.filter(|_| looked).map(named),
        certain: search.certain,
        fitted: fit,
        knee: bend,
        breaks,
        ends: fullest.next(),
        beside,
        next: fullest.next(),
        ranked_by,
        unwaited_percent,
        bound,
        floor,
        hopeless,
        today,
        switch_over: None,
        switch_tried: Vec::new(),
        switch_met: None,
        points: search
            .points
            .into_iter()
            .map(|judged| judged.point)
            .collect(),
    }
}

/// Runs beyond doubt on both sides of the promise that are nearer than this make a rise, whatever scatter others have: a choice of
/// this program.
const STEEP: f64 = 1.25;

/// Where a curve through all runs crosses the promise, and how many runs it is fitted to; else where the line between the two
/// pilot runs next to the edge does. Neither is given outside what is proven: above the load that is met, and below the one that
/// is missed and that at which the work no longer fits, unless runs beyond it keep the promises: then other work fills that part.
/// Where only that breaks a promise nothing is crossed.
fn crosses(
    search: &Search,
    (met, missed): (Option<&LoadPoint>, Option<&LoadPoint>),
    (under, over): (Option<Place>, Option<Place>),
) -> (Option<f64>, Option<u32>, Option<NoCrossing>) {
    // Loads that keep the promises and loads that do not: without both nothing was crossed.
    let Some((under, over)) = under.zip(over) else {
        return (None, None, Some(NoCrossing::OneSided));
    };
    let both = under.1.is_finite() && over.1.is_finite();
    let line = both.then(|| crossing(under, over));
    let proven = |factor: &f64| {
        let above = met.is_some_and(|point| point.factor <= *factor);
        let broken = missed.map(|point| point.factor);
        let full = search.saturation.filter(|full| under.0 < *full);
        let ends = broken.into_iter().chain(full);
        let end = ends.reduce(f64::min);
        // A fifth to either side of the pilot runs' own: a choice of this program.
        let near = (under.0 * 0.8..=over.0 * 1.2).contains(factor);
        near && above && end.is_some_and(|end| *factor < end)
    };
    // A curve that has it where runs say otherwise beyond doubt is not theirs.
    let sure = clear_ends(search);
    let within = |factor: &f64| {
        sure.0.is_none_or(|kept| kept <= *factor) && sure.1.is_none_or(|broken| *factor <= broken)
    };
    let steep = sure
        .0
        .zip(sure.1)
        .is_some_and(|(kept, broken)| broken < STEEP * kept);
    let (curve, runs) = match curve_of(search, |_| true) {
        Curve::Crosses { factor, runs, .. } if within(&factor) || line.is_none() => {
            (Some(factor), Some(runs))
        }
        // What does not rise crosses nowhere.
        Curve::Flat if !steep => return (None, None, Some(NoCrossing::Flat)),
        Curve::Crosses { .. } | Curve::Flat | Curve::Unknown => (None, None),
    };
    if let Some(factor) = curve.filter(proven) {
        return (Some(factor), runs, None);
    }
    match line.filter(proven) {
        Some(factor) => (Some(factor), None, None),
        None => {
            let found = curve.or(line);
            let why = found.map_or(NoCrossing::Few, |factor| NoCrossing::Outside { factor });
            (None, None, Some(why))
        }
    }
}

/// The load that tells of today's, where one is met: any from there on; where loads below it are in doubt, today's own alone.
fn met_today<'a>(
    search: &'a Search,
    met: Option<&'a LoadPoint>,
    doubt: bool,
) -> Option<&'a LoadPoint> {
    if !doubt {
        return met;
    }
    let own = |judged: &&Judged| {
        judged.point.factor == 1.0
            && judged.point.purpose != Purpose::Pilot
            && judged.point.verdict == Verdict::Met
    };
    search.points.iter().find(own).map(|judged| &judged.point)
}

/// What is known of today's load: a load below one that is met is met, one above one that is missed is missed, and what
/// asks for less than is promised, breaks a promise at every load, or was itself tested and missed, misses it.
fn today(
    (met, missed, tested): (Option<&LoadPoint>, Option<&LoadPoint>, bool),
    (floor, hopeless): (Option<&Floor>, bool),
) -> Verdict {
    let short = floor.filter(|floor| floor.factor > 1.0);
    if hopeless || tested || missed.is_some_and(|point| point.factor <= 1.0) {
        return Verdict::Missed;
    }
    match short {
        // Of a closed loop only the runs know it: they may not have proven it.
        Some(floor) if floor.asked_mb_s.is_none() => Verdict::Undecided,
        Some(_) => Verdict::Missed,
        None if met.is_some_and(|point| point.factor >= 1.0) => Verdict::Met,
        None => Verdict::Undecided,
    }
}

/// Whether I/Os of a workload wait for the places that are counted: those of its own hosts, unless a bound is another's alone.
fn waits_there(site: &Site, depth: &DepthLimit, workload: Option<&str>) -> bool {
    let named = |name: &str| site.workloads.iter().find(|work| work.name == name);
    let (Some(limits), Some(waits)) = (named(&depth.workload), workload.and_then(named)) else {
        return workload.is_none();
    };
    let shared = limits.hosts.iter().any(|host| waits.hosts.contains(host));
    limits.name == waits.name
        || shared && limits.outstanding.is_none() && limits.array == waits.array
}

/// The queues of hosts as what ends a case: where they are fuller than the fullest part is.
fn in_hosts(depth: &DepthLimit, percent: f64, point: &LoadPoint) -> Option<PartLoad> {
    let fullest = point.fullest.first();
    let fullest = fullest.map(|part| (part.mean_percent, part.peak_percent));
    fuller(percent, fullest).then(|| PartLoad {
        part: depth_name(&depth.workload),
        instance: depth.workload.clone(),
        mean_percent: percent,
        peak_percent: percent,
    })
}

/// The promise about latency that is proven to be broken at the least load that there is to try.
fn none_kept(missed: Option<&LoadPoint>, scale: &Scale<'_>) -> Option<Hopeless> {
    let point = missed.filter(|point| point.factor <= scale.least() * 1.5 && !point.saturated)?;
    let broken = |row: &&LoadRow| {
        row.cell.verdict == Verdict::Missed && row.measure != MeasureKind::Throughput
    };
    let row = point.rows.iter().find(broken)?;
    Some(Hopeless {
        workload: row.workload.clone(),
        measure: row.measure,
        target_text: row.cell.target_text.clone(),
        because: if row.cell.is_cut_off() {
            Because::NoPath
        } else {
            Because::LeastLoad {
                factor: point.factor,
                latency_us: row.cell.value.map(|value| value.value),
            }
        },
    })
}

/// What grows of a closed loop, which has no rate of its own: the number outstanding.
/// `instead`: what else could grow, in words that end the sentence.
pub(in crate::study) fn closed_notes(site: &Site, instead: &str) -> Vec<String> {
    let of = |workload: &Workload| match workload.arrivals {
        Arrivals::Closed { depth, .. } => Some(format!(
            "`{}` is a closed loop and has no rate to multiply: what grows is the number outstanding at each host, {depth} today, \
             rounded to whole I/Os, at least 1{instead}",
            workload.name
        )),
        _ => None,
    };
    site.workloads.iter().filter_map(of).collect()
}

pub(super) fn notes(site: &Site, scale: &Scale<'_>) -> Vec<String> {
    if let Scale::Hosts { .. } = scale {
        return scale.notes(site);
    }
    let grows = match scale {
        Scale::Depth { of, today, .. } => format!(
            "what grows is the number outstanding at each host of `{of}`, {today} today, and that of every other loop as much; \
             sizes, mix and hosts stay"
        ),
        _ => "the factor multiplies the rates of all open workloads; sizes, mix and hosts stay"
            .to_owned(),
    };
    let mut notes = vec![grows];
    let arrivals = || site.workloads.iter().map(|workload| &workload.arrivals);
    notes.extend(closed_notes(
        site,
        "; let the number of hosts grow with --hosts instead",
    ));
    if arrivals().any(|arrivals| matches!(arrivals, Arrivals::Replay(_))) {
        notes.push(
            "replays: their time runs faster by it; how long their bursts last is not known, so that runs are only \
             made as long as queues remember arrivals at random"
                .to_owned(),
        );
    }
    let throughput = site.workloads.iter().any(|workload| {
        let all = workload.promises.healthy.iter();
        all.chain(&workload.promises.lost)
            .any(|promise| promise.measure == Measure::Throughput)
    });
    if throughput {
        notes.push(
            "below a factor of 1 a throughput promised of an open workload shrinks with it"
                .to_owned(),
        );
    }
    notes
}

/// That an outage is proven further than the whole site does not make it better, where what is not proven of both overlaps.
fn alike(cases: &[CaseHeadroom]) -> Option<String> {
    let (healthy, outages) = cases.split_first()?;
    let (met, missed) = (healthy.met?, healthy.missed.unwrap_or(f64::INFINITY));
    let further = |case: &&CaseHeadroom| case.met.is_some_and(|own| met < own && own < missed);
    let names: Vec<&str> = outages
        .iter()
        .filter(further)
        .map(|case| case.case.name.as_str())
        .collect();
    (!names.is_empty()).then(|| {
        format!(
            "{}: proven further than healthy by the loads that happened to be tested; within these tests both are the same",
            names.join(", ")
        )
    })
}

/// What is to be said of cases as they came out; `held`: intervals that reached below what is known for certain.
pub(super) fn notes_of_cases(cases: &[CaseHeadroom], held: Held) -> Vec<String> {
    let mut notes = Vec::new();
    let doubt = |case: &CaseHeadroom| case.unlike || !case.holes.is_empty();
    let sure = cases.iter().filter(|case| !doubt(case)).count();
    let floor = cases.iter().any(|case| case.floor.is_some());
    let below = if floor {
        ", down to that from which on a throughput is kept"
    } else {
        ""
    };
    if sure == cases.len() {
        notes.push(format!(
            "a load below one that is met is taken to be met{below}"
        ));
    } else if sure > 0 {
        notes.push(format!(
            "a load below one that is met is taken to be met{below}, but not in a case of which lower loads were tested"
        ));
    }
    if sure < cases.len() {
        notes.push(
            "where it is in doubt that less load is met as well, lower loads were tested; what is said of them is said with as much \
             confidence, by itself"
                .to_owned(),
        );
    }
    if let Some(said) = alike(cases) {
        notes.push(said);
    }
    if held.blind {
        notes.push(
            "a mean without an interval that lies below what an I/O takes on the mean on an empty site: what is rare and slow did not \
             come up in its runs, so that it says nothing and meets no promise; longer runs or more of them have it"
                .to_owned(),
        );
    }
    if held.cut {
        notes.push(
            "an interval that reached below what an I/O takes at least on an empty site ends there: of a mean that is the mean, else the \
             wire of the fastest I/O; verdicts go by what was counted"
                .to_owned(),
        );
    }
    let points = || cases.iter().flat_map(|case| &case.points);
    let cut = points().filter(|point| point.partial && point.replications > 0);
    let loads = points().filter(|point| point.replications > 0).count();
    match cut.count() {
        0 => {}
        cut => notes.push(format!(
            "partial: a limit (run.events_max, run.memory_max) stopped runs at {cut} of the {loads} loads that were run; these are marked \
             \u{201C}cut short\u{201D} and prove nothing; a higher limit or shorter runs would let them end"
        )),
    }
    let given_up: Vec<&str> = cases
        .iter()
        .filter(|case| {
            let mut runs = case
                .points
                .iter()
                .filter(|point| point.replications > 0)
                .peekable();
            runs.peek().is_some() && runs.all(|point| point.partial)
        })
        .map(|case| case.case.name.as_str())
        .collect();
    if !given_up.is_empty() {
        notes.push(format!(
            "the search ended after the first loads, all of whose runs the limit cut: {}",
            given_up.join(", ")
        ));
    }
    let above = |case: &CaseHeadroom| {
        let ends = case.missed.zip(case.saturation);
        case.certain.is_none() && ends.is_some_and(|(missed, full)| missed > full)
    };
    if cases.iter().any(above) {
        notes.push(
            "a load that is missed is one that runs have proven; where it lies above the one that is full by arithmetic, latencies of work \
             through the full part grow without end from there on"
                .to_owned(),
        );
    }
    if cases.iter().any(|case| case.certain.is_some()) {
        notes.push(
            "by arithmetic alone: above the load that is full more is asked of a part than it can do, so that some queue grows without end, \
             and whose ever it is, a promise about latency breaks"
                .to_owned(),
        );
    }
    notes
}
