//! How far the work can grow, in sentences.

mod below;
mod factor;
mod floor;
mod hopeless;
mod parts;
mod switching;

use super::measure_name;
use crate::outcome::{
    Bound, Breaks, CaseHeadroom, GrowthPlan, Headroom, LeftOpen, LoadPoint, LoadRow, MeasureKind,
    NoCrossing, Purpose, Verdict,
};
pub use below::hole_words;
use below::{below_sentence, certain_clause};
use factor::whole;
pub use factor::{counted, counted_met, counted_missed, load_in};
use floor::floor_sentence;
use hopeless::hopeless_sentence;
pub use hopeless::no_load_keeps;
pub use parts::beside_words;
use parts::{busiest_sentence, fullest_sentence, parts_sentence};
use switching::every_promise;
pub use switching::{switch_breaks, switch_clause, switch_remark, switch_sentence, switch_value};

use crate::render::number::{as_written, count, three, with_unit};

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

/// A sentence that goes on after a colon.
fn lower_begun(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |first| {
        format!("{}{}", first.to_lowercase(), letters.as_str())
    })
}

fn case_word(case: &CaseHeadroom) -> String {
    match &case.case.outage {
        None => "Healthy".to_owned(),
        Some(_) => super::begun_with(&case.case.name),
    }
}

/// How sentences of growth name all that is promised.
pub const EVERY: &str = "every promise";

/// What holds in them: without what is promised of the switch-over, which growth does not judge.
#[must_use]
pub const fn every_promise_of(plan: &GrowthPlan) -> &'static str {
    if plan.switching {
        "every steady promise"
    } else {
        EVERY
    }
}

/// What is proven of each case, and which part ends it; what explains all of them alike is said once, at the end.
#[must_use]
pub fn proven_sentences(headroom: &Headroom) -> Vec<String> {
    sentences(headroom, &|_| false)
}

/// The same below a headline that has told the loads that are proven of some cases already: of those it is not said again, and what
/// reads alike of several cases is said once.
#[must_use]
pub fn proven_sentences_below(
    headroom: &Headroom,
    told: &dyn Fn(&CaseHeadroom) -> bool,
) -> Vec<String> {
    let mut out: Vec<(Vec<&str>, String)> = Vec::new();
    let all = sentences(headroom, told);
    for (index, said) in all.iter().enumerate() {
        let (name, rest) = said.split_once(':').unwrap_or(("", said));
        let of_case = headroom
            .cases
            .get(index)
            .is_some_and(|case| case_word(case) == name);
        match out.iter_mut().find(|(_, known)| of_case && known == rest) {
            Some((names, _)) => names.push(&headroom.cases[index].case.name),
            None => out.push((vec![name], rest.to_owned())),
        }
    }
    let line = |(names, rest): (Vec<&str>, String)| match names[..] {
        [""] => rest,
        _ => format!("{}:{rest}", names.join(", ")),
    };
    out.into_iter().map(line).collect()
}

fn sentences(headroom: &Headroom, told: &dyn Fn(&CaseHeadroom) -> bool) -> Vec<String> {
    let cases = &headroom.cases;
    let remarks = [length_sentence, busiest_sentence].map(|remark| {
        let each: Vec<String> = cases.iter().map(|case| remark(case, headroom)).collect();
        let alike = cases.len() > 1 && each.windows(2).all(|pair| pair[0] == pair[1]);
        (each, alike)
    });
    let own = |(index, case): (usize, &CaseHeadroom)| {
        let mut out = proven(case, headroom, told(case))
            + &below_sentence(case, headroom)
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
        let said = lower_begun(shared.trim_start());
        out.push(format!("In every case: {said}"));
    }
    out
}

/// The runs that prove an end.
fn proof(case: &CaseHeadroom, purpose: Purpose, end: Option<f64>) -> Option<&LoadPoint> {
    let verdict = match purpose {
        Purpose::ProveMissed => Verdict::Missed,
        Purpose::ProveMet | Purpose::Pilot | Purpose::Below => Verdict::Met,
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
        let at = load_in(headroom, case, point.factor);
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
            " The runs that prove it were made {} long: those stated are too short to prove it.",
            seconds(long)
        ));
    }
    // Of the loads that are told as tried; pilot runs are told of only where there was no test.
    let short = |tests: bool| {
        let mut own = case.points.iter();
        own.find_map(|point| {
            let told = !tests || !matches!(point.purpose, Purpose::Pilot | Purpose::Below);
            Some((point, point.needs_s.filter(|_| told)?))
        })
    };
    let short = short(true).or_else(|| short(false));
    if let Some((point, needs)) = short {
        out.push_str(&format!(
            " Runs are too short to judge {}: run.duration = {} would do.",
            load_in(headroom, case, point.factor),
            seconds(needs)
        ));
    }
    out
}

/// What is proven of a case; `told`: a headline has its load.
fn proven(case: &CaseHeadroom, headroom: &Headroom, told: bool) -> String {
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
    let breaks = case.breaks.as_ref();
    let breaks = breaks.map_or_else(String::new, |own| format!(" ({})", broken(own)));
    let certain = certain_clause(case, headroom);
    let ends = parts_sentence(case);
    let unit = growth_unit(headroom);
    let met = |factor: f64| counted_met(headroom, factor);
    let missed = |factor: f64| counted_missed(headroom, factor);
    match (case.met, case.missed) {
        (Some(_), None) if case.bound.is_some() => {
            let said = case
                .bound
                .map(|bound| bound_sentence(bound, &name, case, headroom));
            said.unwrap_or_default() + &fullest_sentence(case)
        }
        (Some(low), Some(high)) if told => {
            let switch = switch
                .trim_start_matches(", and ")
                .trim_start_matches(", but ");
            let switch = switch.replacen(" there ", &format!(" at {} ", met(low)), 1);
            let switch = if switch.is_empty() {
                switch
            } else {
                format!("{switch}; ")
            };
            format!(
                "{name}: {switch}at {} {unit} a promise is broken{breaks}{certain}.{ends}",
                missed(high)
            )
        }
        (Some(low), Some(high)) => format!(
            "{name}: {every} holds at {} {unit}{switch}; at {} one is broken{breaks}{certain}.{ends}",
            met(low),
            missed(high)
        ),
        (Some(low), None) => format!(
            "{name}: {every} holds at {} {unit}{switch}; no load above was proven to break one{}{certain}.",
            met(low),
            tested(case, headroom)
        ),
        (None, Some(high)) => format!(
            "{name}: nothing was proven to keep {every}{}; at {} {unit} one is \
             broken{breaks}{certain}.{ends}",
            tested(case, headroom),
            missed(high)
        ),
        (None, None) if headroom.partial => format!("{name}: nothing is proven yet."),
        // Why is said of the length of the runs.
        (None, None) if case.points.iter().any(|point| point.needs_s.is_some()) => {
            format!(
                "{name}: nothing is proven{}{certain}.",
                tested(case, headroom)
            )
        }
        (None, None) => format!(
            "{name}: nothing is proven{}: {}{certain}.",
            tested(case, headroom),
            why_open(case)
        ),
    }
}

/// Why the tests of a case prove nothing: what they could not see, what they counted too few of, or that it is near.
fn why_open(case: &CaseHeadroom) -> String {
    let test = |point: &&LoadPoint| point.purpose != Purpose::Pilot;
    let any = case.points.iter().any(|point| test(&point));
    let points = case.points.iter().filter(|point| !any || test(point));
    let rows = points.flat_map(|point| &point.rows);
    let open: Vec<&LoadRow> = rows
        .filter(|row| row.cell.verdict == Verdict::Undecided)
        .collect();
    let named = |row: &LoadRow| format!("{} {}", row.workload, measure_name(row.measure));
    let too_short = |row: &&&LoadRow| row.cell.left_open == Some(LeftOpen::RunTooShort);
    if let Some(row) = open.iter().find(too_short) {
        return format!(
            "the runs are too short to show what becomes of I/Os that are held up ({}); longer runs (run.duration, run.drain_limit) would \
             tell, more replications would not",
            named(row)
        );
    }
    let filling = |row: &&&LoadRow| row.cell.left_open == Some(LeftOpen::Filling);
    if let Some(row) = open.iter().find(filling) {
        return format!(
            "the runs begin empty and are too short for their queues to become what they are in the long run ({}); longer runs (run.duration) would tell, more \
             replications would not",
            named(row)
        );
    }
    let bursts = |row: &&&LoadRow| row.cell.left_open == Some(LeftOpen::Bursts);
    if let Some(row) = open.iter().find(bursts) {
        return format!(
            "the runs hold too few bursts ({}); longer runs (run.duration) would tell, and one with the peak as the rate shows a burst by itself",
            named(row)
        );
    }
    let stopped = |row: &&&LoadRow| row.cell.left_open == Some(LeftOpen::Stopped);
    if let Some(row) = open.iter().find(stopped) {
        return format!(
            "a limit stopped the runs before their end ({}); a higher limit (run.events_max, run.memory_max) or shorter runs would tell, \
             more replications would not",
            named(row)
        );
    }
    let few = |row: &&LoadRow| row.cell.above_share == Some(0.0);
    match open.first() {
        Some(row) if open.iter().all(few) => format!(
            "none of the I/Os counted is above the promise ({}), and they are too few to prove that so few are; longer runs or more \
             replications would",
            named(row)
        ),
        _ => "the figures lie too near the promise for these runs to tell; more replications or longer runs would".to_owned(),
    }
}

/// `bookings p99: more than 2 ms`.
fn broken(breaks: &Breaks) -> String {
    let how = match (breaks.saturated, breaks.measure) {
        (true, _) if breaks.kept_by_others => format!(
            "work piles up without end over a full part, though no more of its I/Os are above {} than may be",
            as_written(&breaks.target_text)
        ),
        (true, _) => "the work does not fit".to_owned(),
        (false, MeasureKind::Throughput) => {
            format!("less than {}", as_written(&breaks.target_text))
        }
        (false, _) => format!("more than {}", as_written(&breaks.target_text)),
    };
    format!(
        "{} {}: {how}",
        breaks.workload,
        measure_name(breaks.measure)
    )
}

/// ` from 0.55 to 1.35 times today's load`: the loads that were tested and proved nothing.
fn tested(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let tested = case
        .points
        .iter()
        .filter(|point| !matches!(point.purpose, Purpose::Pilot | Purpose::Below))
        .filter(|point| point.verdict == Verdict::Undecided)
        .map(|point| point.factor);
    let (low, high) = tested.fold((f64::INFINITY, 0.0_f64), |(low, high), factor| {
        (low.min(factor), high.max(factor))
    });
    if low > high {
        return String::new();
    }
    let (low, high) = (load_in(headroom, case, low), load_in(headroom, case, high));
    let unit = growth_unit(headroom);
    if low == high {
        format!(" (tried at {low} {unit})")
    } else {
        format!(" (tried from {low} to {high} {unit})")
    }
}

/// Why no load is given at which a promise is crossed, where a load of this case is proven; nothing where one is given, or where it
/// goes without saying.
#[must_use]
pub fn no_crossing(case: &CaseHeadroom, headroom: &Headroom) -> Option<String> {
    let why = case
        .no_crossing
        .filter(|_| case.bound.is_none() && case.hopeless.is_none())?;
    let proven = case.met.is_some() || case.missed.is_some();
    let times = headroom.grows.today().map_or(1.0, f64::from);
    let said = match why {
        NoCrossing::OneSided => match &case.floor {
            Some(floor) => format!(
                "from {} on the runs lie on one side of the promises",
                counted_missed(headroom, floor.factor)
            ),
            None => "the runs lie on one side of the promise".to_owned(),
        },
        NoCrossing::Flat => "the figure rises by no more than chance near the promise".to_owned(),
        NoCrossing::Few => "too few runs lie near the promise".to_owned(),
        NoCrossing::PilesUp => "the figure crosses nowhere: I/Os over ways that are not full keep it within the promise at every load; what \
                                breaks the promise is the rest, which piles up without end"
            .to_owned(),
        NoCrossing::Outside { factor } if case.met.is_none() => format!(
            "the runs have it at {}, and no load below that is proven met",
            three(factor * times)
        ),
        NoCrossing::Outside { factor } => format!(
            "the runs have it at {}, which is not between {}",
            three(factor * times),
            between(case, headroom)
        ),
    };
    proven.then(|| format!("{}, no crossing is given: {said}.", case_word(case)))
}

/// `2.45, which is met, and 2.50, which is full by arithmetic`: the ends that a crossing has to lie between.
fn between(case: &CaseHeadroom, headroom: &Headroom) -> String {
    let met = case.met.map_or_else(
        || "no load that is met".to_owned(),
        |met| format!("{}, which is met", counted_met(headroom, met)),
    );
    let full = case
        .saturation
        .filter(|full| case.missed.is_none_or(|missed| *full < missed));
    let end = match (full, case.missed) {
        (Some(full), _) => format!("{}, which is full by arithmetic", counted(headroom, full)),
        (None, Some(missed)) => format!("{}, which is missed", counted_missed(headroom, missed)),
        (None, None) => "a load that is missed, of which there is none".to_owned(),
    };
    format!("{met}, and {end}")
}

#[cfg(test)]
mod tests;
