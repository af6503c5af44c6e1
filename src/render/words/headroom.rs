//! How far the work can grow, in sentences.

mod switching;

use super::measure_name;
use crate::outcome::{
    Because, Bound, CaseHeadroom, GrowthPlan, Headroom, Hopeless, LoadPoint, MeasureKind, PartLoad,
    Purpose, Verdict,
};
use switching::every_promise;
pub use switching::{switch_breaks, switch_clause, switch_remark, switch_sentence, switch_value};

use crate::render::number::{Scale, as_written, count, three, three_down, three_up, with_unit};

/// A factor as people count it: times today's load, or hosts.
#[must_use]
pub fn counted(headroom: &Headroom, factor: f64) -> String {
    counted_with(headroom, factor, three)
}

/// The same of a factor that is proven to keep every promise: never more than that.
#[must_use]
pub fn counted_met(headroom: &Headroom, factor: f64) -> String {
    counted_with(headroom, factor, three_down)
}

/// The same of a factor that is proven to break one: never less than that.
#[must_use]
pub fn counted_missed(headroom: &Headroom, factor: f64) -> String {
    counted_with(headroom, factor, three_up)
}

/// The load of a run as the sentences have it, so that all show the same.
#[must_use]
pub fn point_factor(headroom: &Headroom, point: &LoadPoint) -> String {
    match point.purpose {
        Purpose::Pilot => counted(headroom, point.factor),
        Purpose::ProveMet => counted_met(headroom, point.factor),
        Purpose::ProveMissed => counted_missed(headroom, point.factor),
    }
}

fn counted_with(headroom: &Headroom, factor: f64, digits: fn(f64) -> String) -> String {
    match headroom.grows.today() {
        None => digits(factor),
        Some(today) => count(whole(factor, today)),
    }
}

/// A factor as a number of hosts, or of I/Os outstanding.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn whole(factor: f64, today: u32) -> u64 {
    (factor * f64::from(today)).round().max(0.0) as u64
}

/// `times today's load`, `of db`, `outstanding at each host of scan`.
#[must_use]
pub fn growth_unit(headroom: &Headroom) -> String {
    match (headroom.grows.hosts, &headroom.grows.depth) {
        (Some(_), _) => format!("of `{}`", headroom.grows.what),
        (None, Some(deepest)) => format!("outstanding at each host of `{}`", deepest.workload),
        (None, None) => "times today's load".to_owned(),
    }
}

/// What an axis counts: `times today's load`, `hosts of db`.
#[must_use]
pub fn growth_axis(headroom: &Headroom) -> String {
    match headroom.grows.hosts {
        Some(_) => format!("hosts of {}", headroom.grows.what),
        None => growth_unit(headroom).replace('`', ""),
    }
}

/// `met`, `missed` or `undecided`.
#[must_use]
pub const fn verdict_word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Met => "met",
        Verdict::Missed => "missed",
        Verdict::Undecided => "undecided",
    }
}

/// The verdict of a load that was run: one that was asked whether it is met and is not says so, and is none of the loads that
/// are tested for being missed.
#[must_use]
pub const fn point_verdict(point: &LoadPoint) -> &'static str {
    match (point.purpose, point.verdict) {
        (Purpose::ProveMet, Verdict::Missed) => "not met",
        (Purpose::ProveMissed, Verdict::Met) => "not missed",
        (_, verdict) => verdict_word(verdict),
    }
}

/// The verdict of today's load; nothing is judged where nothing is promised.
#[must_use]
pub fn today_word(case: &CaseHeadroom) -> &'static str {
    case.today.map_or("nothing promised", verdict_word)
}

/// `missed today`, and whether that is the switch-over alone; nothing where it is not missed.
#[must_use]
pub fn missed_today(case: &CaseHeadroom) -> Option<&'static str> {
    let steady = case.met.is_some_and(|met| met >= 1.0)
        && case.floor.as_ref().is_none_or(|floor| floor.factor <= 1.0);
    let switching = steady && case.switch_today() == Some(Verdict::Missed);
    (case.today == Some(Verdict::Missed)).then_some(if switching {
        "missed today, in the switch-over"
    } else {
        "missed today"
    })
}

fn case_word(case: &CaseHeadroom) -> String {
    match &case.case.outage {
        None => "Healthy".to_owned(),
        Some(_) => case.case.name.clone(),
    }
}

/// What is proven of each case, and which part ends it; what explains all of them alike is said once, at the end.
#[must_use]
pub fn proven_sentences(headroom: &Headroom) -> Vec<String> {
    let cases = &headroom.cases;
    let remarks = [length_sentence, busiest_sentence].map(|remark| {
        let each: Vec<String> = cases.iter().map(|case| remark(case, headroom)).collect();
        let alike = cases.len() > 1 && each.windows(2).all(|pair| pair[0] == pair[1]);
        (each, alike)
    });
    let own = |(index, case): (usize, &CaseHeadroom)| {
        let mut out = proven(case, headroom)
            + &between_sentence(case, headroom)
            + &floor_sentence(case, headroom)
            + &depths_sentence(case, headroom);
        for (each, _) in remarks.iter().filter(|(_, alike)| !alike) {
            out.push_str(&each[index]);
        }
        out
    };
    let mut out: Vec<String> = cases.iter().enumerate().map(own).collect();
    let shared = remarks.iter().filter(|(_, alike)| *alike);
    let shared: String = shared
        .filter_map(|(each, _)| each.first().cloned())
        .collect();
    if !shared.is_empty() {
        out.push(format!("In every case:{shared}"));
    }
    out
}

/// Why promises are proven to hold at a load whose runs saw a part full in its busiest moment.
fn busiest_sentence(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let Some(met) = proof(case, Purpose::ProveMet, case.met) else {
        return String::new();
    };
    // A closed loop asks for no more than there is: full is what it makes a part.
    if headroom.grows.depth.is_some() {
        return String::new();
    }
    let full = |part: &&PartLoad| part.peak_percent >= 100.5 && part.mean_percent < 100.0;
    let Some(part) = met.fullest.iter().find(full) else {
        return String::new();
    };
    format!(
        " At {} its runs saw {} asked for {} in the busiest 20 ms, and for {} on the mean: what does not fit into such a moment \
         waits for the next, within the promise.",
        counted_met(headroom, met.factor),
        part.part,
        with_unit(&three(part.peak_percent), "%"),
        with_unit(&three(part.mean_percent), "%")
    )
}

/// The runs that prove an end.
fn proof(case: &CaseHeadroom, purpose: Purpose, end: Option<f64>) -> Option<&LoadPoint> {
    let verdict = match purpose {
        Purpose::ProveMissed => Verdict::Missed,
        Purpose::ProveMet | Purpose::Pilot => Verdict::Met,
    };
    let own = |point: &&LoadPoint| {
        point.purpose == purpose && Some(point.factor) == end && point.verdict == verdict
    };
    case.points.iter().find(own)
}

/// The closed loops of both ends as they ran, where the load is a factor and they are not; nothing without one.
fn depths_sentence(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let ends = [
        (Purpose::ProveMet, case.met),
        (Purpose::ProveMissed, case.missed),
    ];
    let counted_at = headroom.grows.depth.as_ref();
    let of = |(purpose, end): (Purpose, Option<f64>)| {
        let point = proof(case, purpose, end)?;
        let others = point.depths.iter();
        let others = others.filter(|own| counted_at.is_none_or(|at| at.workload != own.workload));
        let loops: Vec<String> = others
            .map(|own| format!("{} of `{}`", own.depth, own.workload))
            .collect();
        let at = counted_with(headroom, point.factor, three);
        (!loops.is_empty()).then(|| format!("{} at {at}", loops.join(", ")))
    };
    let said: Vec<String> = ends.into_iter().filter_map(of).collect();
    if said.is_empty() || headroom.grows.hosts.is_some() {
        return String::new();
    }
    format!(
        " Closed loops ran with whole numbers outstanding at each host: {}.",
        said.join("; ")
    )
}

/// Which whole numbers between the two ends were not tested, and which were and proved nothing.
fn between_sentence(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let (Some(today), Some(met), Some(missed)) = (headroom.grows.today(), case.met, case.missed)
    else {
        return String::new();
    };
    let tested = |number: &u64| {
        let proofs = case
            .points
            .iter()
            .filter(|own| own.purpose != Purpose::Pilot);
        proofs
            .map(|own| whole(own.factor, today))
            .any(|own| own == *number)
    };
    let (low, high) = (whole(met, today) + 1, whole(missed, today));
    let (open, untested): (Vec<u64>, Vec<u64>) = (low..high).partition(tested);
    let said = |numbers: &[u64], one: &str, more: &str| match numbers {
        [] => None,
        [own] => Some(format!("{} {one}", count(*own))),
        [first, .., last] if last - first + 1 == numbers.len() as u64 => {
            Some(format!("{} to {} {more}", count(*first), count(*last)))
        }
        _ => {
            let all: Vec<String> = numbers.iter().map(|own| count(*own)).collect();
            Some(format!("{} {more}", super::listed(&all)))
        }
    };
    let parts = [
        said(
            &open,
            "was tested and is undecided",
            "were tested and are undecided",
        ),
        said(&untested, "was not tested", "were not tested"),
    ];
    let parts: Vec<String> = parts.into_iter().flatten().collect();
    if parts.is_empty() {
        return String::new();
    }
    format!(" Between them {}.", parts.join("; "))
}

/// That a search was stopped before its end; nothing where it was not.
#[must_use]
pub const fn stopped_words(headroom: &Headroom) -> Option<&'static str> {
    if headroom.partial {
        Some(STOPPED)
    } else {
        None
    }
}

/// The same of growth over the years.
#[must_use]
pub const fn growth_stopped_words(plan: &GrowthPlan) -> Option<&'static str> {
    if plan.partial { Some(STOPPED) } else { None }
}

const STOPPED: &str = "Stopped before its end: what is proven here is proven; what is not was not looked for to the end.";

/// From which load on a throughput is asked for that is promised.
fn floor_sentence(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let Some(floor) = &case.floor else {
        return String::new();
    };
    let why = floor.asked_mb_s.map_or_else(
        || "less is carried".to_owned(),
        |asked| format!("less is asked for, {} today", megabytes(asked)),
    );
    format!(
        " Below {} {} `{}` cannot keep its throughput of {}: {why}.",
        counted_missed(headroom, floor.factor),
        growth_unit(headroom),
        floor.workload,
        as_written(&floor.target_text)
    )
}

fn megabytes(value: f64) -> String {
    let scale = Scale::of("MB/s", [value]);
    with_unit(&scale.three(value), scale.unit)
}

fn microseconds(value: f64) -> String {
    let scale = Scale::of("us", [value]);
    with_unit(&scale.three(value), scale.unit)
}

/// Which promise no load keeps, and how that is known. `loads` puts a factor into words with its unit.
#[must_use]
pub fn no_load_keeps(found: &Hopeless, loads: &dyn Fn(f64) -> String) -> String {
    let most = matches!(found.because, Because::MostBefore { .. });
    // Below the least load that was tried nothing waits less; above today's none was.
    let load = match found.because {
        Because::LeastLoad { .. } => "load that was tried",
        _ if most => "load that was to be tried",
        _ => "load at all",
    };
    kept_by_none(load, found, loads, ", where hardly anything waits,")
}

fn kept_by_none(
    load: &str,
    found: &Hopeless,
    loads: &dyn Fn(f64) -> String,
    waits: &str,
) -> String {
    let because = match &found.because {
        Because::IdleMean { latency_us } => format!(
            "even an empty fabric takes {} on the mean",
            microseconds(*latency_us)
        ),
        Because::IdleWire { latency_us } => format!(
            "even on an empty fabric the wire alone takes {} for the fastest I/O",
            microseconds(*latency_us)
        ),
        Because::LeastLoad { factor, latency_us } => {
            let at = loads(*factor);
            latency_us.map_or_else(
                || format!("it is broken even at {at}{waits} and below nothing was tried"),
                |us| format!("even at {at}{waits} it is {}", microseconds(us)),
            )
        }
        Because::FullBefore {
            factor,
            throughput_mb_s,
        } => format!(
            "a part is full at {}, where no more than {} is asked for",
            loads(*factor),
            megabytes(*throughput_mb_s)
        ),
        Because::MostBefore {
            factor,
            throughput_mb_s,
        } => format!(
            "up to {}, the most that was to be tried, no more than {} is asked for",
            loads(*factor),
            megabytes(*throughput_mb_s)
        ),
        Because::NoPath => "its hosts have no path to the array".to_owned(),
    };
    format!(
        "no {load} keeps `{}` {} {}: {because}",
        found.workload,
        measure_name(found.measure),
        as_written(&found.target_text)
    )
}

fn hopeless_sentence(name: &str, found: &Hopeless, headroom: &Headroom) -> String {
    let digits = match found.because {
        Because::LeastLoad { .. } => counted_missed,
        _ => counted,
    };
    let loads = |factor: f64| format!("{} {}", digits(headroom, factor), growth_unit(headroom));
    let said = match headroom.grows.hosts {
        None => no_load_keeps(found, &loads),
        Some(_) => {
            let tried = matches!(found.because, Because::LeastLoad { .. });
            let number = if tried {
                "number of hosts that was tried"
            } else {
                "number of hosts"
            };
            kept_by_none(number, found, &loads, "")
        }
    };
    format!(
        "{name}: {said}. What would end it otherwise was not looked for: it shows once this is promised no more."
    )
}

/// Why the search ended at a load though no promise broke.
fn bound_sentence(bound: Bound, name: &str, case: &CaseHeadroom, headroom: &Headroom) -> String {
    let met = case.met.unwrap_or(0.0);
    let at = format!("{} {}", counted_met(headroom, met), growth_unit(headroom));
    let every = every_promise(case, headroom);
    let switch = switch_clause(case, headroom);
    match bound {
        Bound::Asked => {
            format!("{name}: {every} holds at {at} at least{switch}; no more was asked for.")
        }
        Bound::Buildable => {
            let why = headroom.grows.limit.as_deref();
            let why = why.map_or_else(String::new, |why| format!(" ({why})"));
            format!(
                "{name}: {every} holds at {at}{switch}; more cannot be built{why}: that ends it, and not a promise."
            )
        }
    }
}

/// Where runs were made longer, or would have to be longer, than the scenario states.
fn length_sentence(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let mut out = String::new();
    let seconds = |value: f64| with_unit(&three(value), "s");
    let lengthened = case
        .points
        .iter()
        .filter(|point| Some(point.factor) == case.met)
        .find_map(|point| point.lengthened_s);
    if let Some(long) = lengthened {
        out.push_str(&format!(
            " The runs that prove it were made {} long: those stated are short against what its queues remember, or are not whole cycles of its bursts.",
            seconds(long)
        ));
    }
    let short = case
        .points
        .iter()
        .find_map(|point| Some((point, point.needs_s?)));
    if let Some((point, needs)) = short {
        out.push_str(&format!(
            " Runs are too short to judge {}: run.duration = {} would do.",
            point_factor(headroom, point),
            seconds(needs)
        ));
    }
    out
}

fn proven(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let name = case_word(case);
    if let Some(found) = &case.hopeless {
        return hopeless_sentence(&name, found, headroom);
    }
    if case.today.is_none() {
        return format!("{name}: nothing is promised.");
    }
    // The first that is to be known of a site: whether it is well today.
    let name = missed_today(case).map_or(name.clone(), |missed| format!("{name}: {missed}"));
    let every = every_promise(case, headroom);
    let switch = switch_clause(case, headroom);
    let breaks = case.breaks.as_ref().map_or_else(String::new, |breaks| {
        let how = match (breaks.saturated, breaks.measure) {
            (true, _) => "the work does not fit".to_owned(),
            (false, MeasureKind::Throughput) => {
                format!("less than {}", as_written(&breaks.target_text))
            }
            (false, _) => format!("more than {}", as_written(&breaks.target_text)),
        };
        format!(
            " ({} {}: {how})",
            breaks.workload,
            measure_name(breaks.measure)
        )
    });
    let ends = parts_sentence(case);
    let unit = growth_unit(headroom);
    let met = |factor: f64| counted_met(headroom, factor);
    let missed = |factor: f64| counted_missed(headroom, factor);
    match (case.met, case.missed) {
        (Some(_), None) if case.bound.is_some() => {
            let said = case
                .bound
                .map(|bound| bound_sentence(bound, &name, case, headroom));
            said.unwrap_or_default() + &fullest_sentence(case.ends.as_ref())
        }
        (Some(low), Some(high)) => format!(
            "{name}: {every} holds at {} {unit}{switch}; at {} one is broken{breaks}.{ends}",
            met(low),
            missed(high)
        ),
        (Some(low), None) => format!(
            "{name}: {every} holds at {} {unit}{switch}; no load above was proven to break one{}.",
            met(low),
            tested(case, headroom)
        ),
        (None, Some(high)) => format!(
            "{name}: nothing was proven to keep {every}{}; at {} {unit} one is \
             broken{breaks}.{ends}",
            tested(case, headroom),
            missed(high)
        ),
        (None, None) if headroom.partial => format!("{name}: nothing is proven yet."),
        // Why is said of the length of the runs.
        (None, None) if case.points.iter().any(|point| point.needs_s.is_some()) => {
            format!("{name}: nothing is proven{}.", tested(case, headroom))
        }
        (None, None) => format!(
            "{name}: nothing is proven{}: the figures lie too near the promise for these runs to tell; more \
             replications or longer runs would.",
            tested(case, headroom)
        ),
    }
}

/// ` from 0.55 to 1.35 times today's load`: the loads that were tested and proved nothing.
fn tested(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let tested = case
        .points
        .iter()
        .filter(|point| point.purpose != Purpose::Pilot)
        .filter(|point| point.verdict == Verdict::Undecided)
        .map(|point| point.factor);
    let (low, high) = tested.fold((f64::INFINITY, 0.0_f64), |(low, high), factor| {
        (low.min(factor), high.max(factor))
    });
    if low > high {
        return String::new();
    }
    let (low, high) = (counted(headroom, low), counted(headroom, high));
    let unit = growth_unit(headroom);
    if low == high {
        format!(" (tried at {low} {unit})")
    } else {
        format!(" (tried from {low} to {high} {unit})")
    }
}

/// The fullest part where the search ended though nothing was full.
fn fullest_sentence(part: Option<&PartLoad>) -> String {
    part.map_or_else(String::new, |part| {
        format!(
            " The fullest part there is {}, {} full on the mean.",
            part.part,
            with_unit(&three(part.mean_percent), "%")
        )
    })
}

/// Below this no part is full, per cent of its time on the mean. Our choice, as the next one.
const HALF_FULL: f64 = 50.0;
/// From this share of the latency on, per cent, waiting is not what breaks a promise.
const HARDLY_WAITS: f64 = 80.0;

/// The part that ends it, and the one after it; where none is full and hardly anything waits, that this is so.
fn parts_sentence(case: &CaseHeadroom) -> String {
    let Some(ends) = &case.ends else {
        return String::new();
    };
    let percent = |part: &PartLoad| with_unit(&three(part.mean_percent), "%");
    let next = case.next.as_ref();
    let empty = |part: &PartLoad| part.mean_percent < HALF_FULL && part.peak_percent < 100.0;
    let still = case
        .unwaited_percent
        .filter(|still| *still >= HARDLY_WAITS && empty(ends) && next.is_none_or(empty));
    if let Some(still) = still {
        let fuller = next.filter(|next| next.mean_percent > ends.mean_percent);
        let fullest = fuller.unwrap_or(ends);
        return format!(
            " No part is full there: the fullest is {}, {}. {} of the mean latency is no waiting, so that the promise lies near what an \
             I/O takes on an empty site: faster parts help, not more of them.",
            fullest.part,
            percent(fullest),
            with_unit(&three(still), "%")
        );
    }
    let next = next.map_or_else(String::new, |next| {
        format!("; the next is {}, {}", next.part, percent(next))
    });
    format!(
        " The part that ends it is {}, {} full on the mean there{next}.",
        ends.part,
        percent(ends)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outcome::Floor;
    use crate::render::sample::sample_headroom;

    fn said(change: impl Fn(&mut CaseHeadroom)) -> String {
        let mut found = sample_headroom();
        change(&mut found.cases[0]);
        proven_sentences(&found)[0].clone().replace('\u{202F}', " ")
    }

    #[test]
    fn what_explains_every_case_is_said_once() {
        let mut found = sample_headroom();
        let mut one = found.cases[0].clone();
        one.met = Some(one.points[0].factor);
        one.points[0].lengthened_s = Some(0.7);
        let mut other = one.clone();
        found.cases = vec![one.clone(), one];
        let said = proven_sentences(&found);
        assert_eq!(said.len(), 3);
        assert!(!said[0].contains("were made") && said[2].starts_with("In every case: "));
        assert!(
            said[2].contains("were made 0.700\u{202F}s long"),
            "{said:?}"
        );
        // Where one differs each says its own.
        other.points[0].lengthened_s = Some(0.9);
        found.cases[1] = other;
        let said = proven_sentences(&found);
        assert!(
            said[0].contains("0.700") && said[1].contains("0.900"),
            "{said:?}"
        );
    }

    #[test]
    fn ends_are_rounded_to_the_side_that_is_proven() {
        let text = said(|case| (case.met, case.missed) = (Some(18.749), Some(18.751)));
        assert!(
            text.starts_with(
                "Healthy: every promise holds at 18.7 times today's load; at 18.8 one is broken"
            ),
            "{text}"
        );
    }

    /// At 24 % nothing is full: what breaks a promise there is how long an I/O takes anyway.
    #[test]
    fn a_part_that_is_nearly_empty_does_not_end_it() {
        let with = |mean_percent: f64, still: Option<f64>| {
            said(|case| {
                for part in [&mut case.ends, &mut case.next].into_iter().flatten() {
                    (part.mean_percent, part.peak_percent) = (mean_percent, mean_percent + 10.0);
                }
                let next = case.next.as_mut().expect("the sample has one");
                next.mean_percent = mean_percent + 5.0;
                case.unwaited_percent = still;
            })
        };
        let empty = with(24.3, Some(97.0));
        assert!(
            empty.contains("No part is full there: the fullest is vault controllers, 29.3 %.")
                && empty.contains("97.0 % of the mean latency is no waiting"),
            "{empty}"
        );
        for ended in [
            with(24.3, Some(60.0)),
            with(24.3, None),
            with(80.0, Some(97.0)),
        ] {
            assert!(ended.contains("The part that ends it is"), "{ended}");
        }
    }

    #[test]
    fn a_bound_is_said_to_be_one() {
        let bound = |bound| {
            said(|case| {
                (case.met, case.missed, case.bound) = (Some(4.0), None, Some(bound));
            })
        };
        assert!(bound(Bound::Asked).starts_with(
            "Healthy: every promise holds at 4.00 times today's load at least; no more was asked for. The fullest part"
        ));
        assert!(
            bound(Bound::Buildable)
                .contains("more cannot be built: that ends it, and not a promise")
        );
    }

    #[test]
    fn a_promise_that_no_load_keeps_is_named_with_its_reason() {
        let hopeless = |because: Because| {
            said(|case| {
                case.met = None;
                case.hopeless = Some(Hopeless {
                    workload: "bookings".into(),
                    measure: MeasureKind::Mean,
                    target_text: "250us".into(),
                    because: because.clone(),
                });
            })
        };
        let idle = hopeless(Because::IdleMean { latency_us: 310.0 });
        assert!(
            idle.starts_with("Healthy: no load at all keeps `bookings` mean 250 µs: even an empty fabric takes 310 µs on the mean."),
            "{idle}"
        );
        let least = hopeless(Because::LeastLoad {
            factor: 0.01578,
            latency_us: Some(310.0),
        });
        // Loads above today's were not tried: the words do not speak of them.
        assert!(
            least.starts_with("Healthy: no load that was tried keeps `bookings`"),
            "{least}"
        );
        assert!(
            least.contains(
                "even at 0.0158 times today's load, where hardly anything waits, it is 310 µs."
            ),
            "{least}"
        );
        let full = hopeless(Because::FullBefore {
            factor: 2.0,
            throughput_mb_s: 1024.0,
        });
        assert!(
            full.contains("a part is full at 2.00 times today's load"),
            "{full}"
        );
        assert!(
            full.contains("no more than 1.02 GB/s is asked for"),
            "{full}"
        );
        let most = hopeless(Because::MostBefore {
            factor: 3.0,
            throughput_mb_s: 500.0,
        });
        assert!(
            most.contains("no load that was to be tried keeps")
                && most.contains("up to 3.00 times today's load"),
            "{most}"
        );
        assert!(hopeless(Because::NoPath).contains("its hosts have no path to the array"));
    }

    #[test]
    fn a_floor_is_said_beside_what_holds_above_it() {
        let text = said(|case| {
            case.floor = Some(Floor {
                workload: "archive".into(),
                target_text: "2GB/s".into(),
                factor: 1.2716,
                asked_mb_s: Some(1573.0),
            });
        });
        assert!(
            text.contains("Below 1.28 times today's load `archive` cannot keep its throughput of 2 GB/s: less is asked for, 1.57 GB/s today."),
            "{text}"
        );
    }

    /// What a run saw is said, and nothing is worked out from another load.
    #[test]
    fn a_part_that_a_run_saw_full_in_its_busiest_moment_is_explained() {
        let with = |peak: f64| {
            said(|case| {
                let met = case.met;
                let own = |point: &&mut LoadPoint| {
                    point.purpose == Purpose::ProveMet && Some(point.factor) == met
                };
                let point = case.points.iter_mut().find(own).expect("the proof");
                point.fullest[0].mean_percent = 88.0;
                point.fullest[0].peak_percent = peak;
            })
        };
        let text = with(130.0);
        assert!(
            text.contains(
                "At 1.85 its runs saw san to edge, 32GFC asked for 130 % in the busiest 20 ms, and for 88.0 % on the mean"
            ),
            "{text}"
        );
        assert!(!with(99.0).contains("busiest"), "it was never full");
        let mut closed = sample_headroom();
        closed.grows.depth = Some(crate::outcome::LoopDepth {
            workload: "scan".into(),
            depth: 8,
        });
        closed.cases[0].points[4].fullest[0].mean_percent = 88.0;
        closed.cases[0].points[4].fullest[0].peak_percent = 130.0;
        assert!(!proven_sentences(&closed)[0].contains("busiest"));
        // A part that is busy today is full at no load that was not run.
        let mut found = sample_headroom();
        for part in &mut found.parts {
            part.cases[0].as_mut().expect("it is used").peak_percent = 80.0;
        }
        assert!(!proven_sentences(&found)[0].contains("busiest"));
    }

    #[test]
    fn a_load_whose_switch_over_is_missed_is_not_called_held_alone() {
        let lost = |change: &dyn Fn(&mut CaseHeadroom)| {
            let mut found = sample_headroom();
            change(&mut found.cases[1]);
            proven_sentences(&found)[1].replace('\u{202F}', " ")
        };
        let kept = lost(&|_| {});
        assert!(
            kept.contains("every steady promise holds at 1.26 times today's load, and the switch-over there is met; at 1.32"),
            "{kept}"
        );
        let broken = |met: Option<f64>, tried: &[f64]| {
            lost(&|case| {
                let first = case.switch_over.as_mut().expect("it is judged");
                first.verdict = Verdict::Missed;
                let first = first.clone();
                case.switch_met = met;
                case.switch_tried = tried
                    .iter()
                    .map(|factor| crate::outcome::LoadSwitch {
                        factor: *factor,
                        ..first.clone()
                    })
                    .collect();
            })
        };
        let some = broken(Some(1.1), &[1.0, 1.1]);
        assert!(
            some.contains("but the switch-over there is missed; it is met at 1.10; at 1.32 one"),
            "{some}"
        );
        let none = broken(None, &[1.0, 0.125]);
        assert!(
            none.contains("but the switch-over there is missed, and not met at 0.125 either;"),
            "{none}"
        );
    }

    #[test]
    fn a_load_that_is_missed_today_is_told_first() {
        let text = said(|case| {
            (case.met, case.missed) = (Some(0.8), Some(0.9));
            case.today = Some(Verdict::Missed);
        });
        assert!(
            text.starts_with("Healthy: missed today: every promise holds at 0.800 times"),
            "{text}"
        );
    }

    #[test]
    fn a_switch_over_that_is_missed_today_is_told_first() {
        let mut found = sample_headroom();
        let case = &mut found.cases[1];
        case.today = Some(Verdict::Missed);
        let switch = case.switch_over.as_mut().expect("it is judged");
        (switch.verdict, switch.factor) = (Verdict::Missed, 1.0);
        let text = &proven_sentences(&found)[1];
        assert!(
            text.starts_with(
                "A lost: missed today, in the switch-over: every steady promise holds at"
            ),
            "{text}"
        );
    }

    #[test]
    fn a_case_without_a_promise_says_so_even_where_the_search_was_stopped() {
        let mut found = sample_headroom();
        found.partial = true;
        found.cases[0].today = None;
        (found.cases[0].met, found.cases[0].missed) = (None, None);
        assert_eq!(proven_sentences(&found)[0], "Healthy: nothing is promised.");
    }

    #[test]
    fn whole_numbers_are_told_as_such_and_those_between_too() {
        let mut found = sample_headroom();
        found.grows.depth = Some(crate::outcome::LoopDepth {
            workload: "scan".into(),
            depth: 8,
        });
        let case = &mut found.cases[0];
        (case.met, case.missed) = (Some(1.0), Some(1.75));
        case.points[0].purpose = Purpose::ProveMet;
        case.points[0].factor = 1.25;
        let text = proven_sentences(&found)[0].replace('\u{202F}', " ");
        assert!(
            text.starts_with("Healthy: every promise holds at 8 outstanding at each host of `scan`; at 14 one is broken"),
            "{text}"
        );
        assert!(
            text.contains(
                "Between them 10 was tested and is undecided; 9, 11, 12 and 13 were not tested."
            ),
            "{text}"
        );
    }
}
