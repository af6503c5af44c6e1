//! Bursts that the busiest 20 ms of runs do not have as they are.
//!
//! A run that measures less than a cycle of long bursts shows whichever part of it falls into it, and the mean over replications of
//! their busiest 20 ms is not that of a burst. What is asked in one is then told by arithmetic, the rate in a burst × what each I/O brings,
//! wherever that is more than the runs saw. Bursts shorter than 20 ms are in the runs, but their work is spread over 20 ms: what is asked in
//! one is told beside the figure.
//!
//! Assumed: all hosts of the workload are in a burst at once; other work asks for its mean, and hosts deal I/Os out as on an idle
//! site, where they level their queues so that the fullest part is least full. Left out: closed loops.

use super::super::case::CasePlan;
use super::super::estimate::{CaseLoads, Flows, levelled_in_bursts, loads_where};
use super::PEAK_WINDOW;
use crate::model::{Compiled, Tally};
use crate::outcome::{ArrayFigures, DirectionFigures, Unseen, UnseenBursts};
use crate::site::{Arrivals, Burst, BurstLaw, Site, Workload};
use crate::study::cut::measured_s;
use crate::topology::{DirectionId, PathSet};
use std::collections::{BTreeMap, BTreeSet};

/// So many cycles of bursts of random length show about what they are at most. A choice of this program.
const CYCLES: f64 = 3.0;
/// Runs that have so much of what arithmetic asks for in a burst, of the latter, show it. A choice of this program.
const SHOWN: f64 = 0.98;
/// What asks a part for so much works nothing off.
const FULL_PERCENT: f64 = 100.0;
/// Other work waits behind a burst on a part that is asked for so much in it. A choice of this program.
const FELT_PERCENT: f64 = 50.0;

/// The bursts that the runs do not show, and raises what is asked in the busiest 20 ms to those of which they see too few.
pub(super) fn unseen(
    compiled: &Compiled,
    plan: &CasePlan,
    sets: &[PathSet],
    tallies: &[Tally],
    (directions, arrays): (&mut [DirectionFigures], &mut [ArrayFigures]),
) -> Vec<UnseenBursts> {
    let site = &compiled.site;
    let measured_s = measured_s(tallies);
    let runs = u32::try_from(tallies.len()).unwrap_or(u32::MAX);
    let why: Vec<Option<Unseen>> = site
        .workloads
        .iter()
        .map(|work| why(work, hosts_of(sets, site, work), measured_s))
        .collect();
    let mut found = Vec::new();
    for kind in [Unseen::Rare, Unseen::Short] {
        if !why.contains(&Some(kind)) {
            continue;
        }
        let own = |index: usize| why[index] == Some(kind);
        let alone = in_bursts(site, kind, &own);
        let loads = loads_where(&alone, &compiled.fabric, &compiled.alive, plan, sets);
        let asked = Asked::new(compiled, &alone, &loads);
        let fullest = asked.fullest(directions, arrays);
        let (part, percent, seen_percent) = match fullest {
            Some((part, percent, seen)) => (Some(part), percent, seen),
            None => (None, 0.0, 0.0),
        };
        // What the busiest 20 ms have in full needs no word.
        if kind == Unseen::Short && seen_percent >= SHOWN * percent {
            continue;
        }
        if kind == Unseen::Rare {
            asked.raise(directions, arrays);
        }
        let works = site.workloads.iter().enumerate();
        for (_, work) in works.filter(|(index, _)| own(*index)) {
            let Arrivals::Bursty(burst) = &work.arrivals else {
                continue;
            };
            let cycles = cycles(burst, hosts_of(sets, site, work), measured_s) * f64::from(runs);
            let outlasts = burst.burst.as_secs_f64() > measured_s && percent >= FULL_PERCENT;
            let hidden = kind == Unseen::Rare && (cycles < CYCLES || outlasts);
            let hides = match hidden {
                true => asked.beside(sets, work),
                false => Vec::new(),
            };
            found.push(UnseenBursts {
                hides,
                workload: work.name.clone(),
                why: kind,
                burst_s: burst.burst.as_secs_f64(),
                every_s: burst.every.as_secs_f64(),
                measured_s,
                enough_s: CYCLES * burst.every.as_secs_f64(),
                part: part.clone(),
                percent,
                seen_percent,
            });
        }
    }
    found
}

/// How many hosts of a workload are there.
fn hosts_of(sets: &[PathSet], site: &Site, work: &Workload) -> usize {
    let index = site.workloads.iter().position(|own| own.name == work.name);
    let mut hosts: Vec<usize> = sets
        .iter()
        .filter(|set| index.is_some_and(|index| set.workloads.contains(&index)))
        .map(|set| set.host)
        .collect();
    hosts.sort_unstable();
    hosts.dedup();
    hosts.len()
}

/// Why the bursts of a workload are not in the busiest 20 ms of runs that measure so long. Hosts that do not burst together show theirs
/// one after the other. Of bursts of fixed length a run needs one whole cycle, of others several.
fn why(work: &Workload, hosts: usize, measured_s: f64) -> Option<Unseen> {
    let Arrivals::Bursty(burst) = &work.arrivals else {
        return None;
    };
    if burst.peak <= burst.base || burst.burst >= burst.every || hosts == 0 {
        return None;
    }
    let cycles = cycles(burst, hosts, measured_s);
    let enough = match burst.law {
        BurstLaw::Fixed => 1.0,
        BurstLaw::Exponential => CYCLES,
    };
    if cycles < enough * (1.0 - 1e-9) {
        Some(Unseen::Rare)
    } else {
        (burst.burst < PEAK_WINDOW).then_some(Unseen::Short)
    }
}

/// Bursts, and what lies between them, in so long a time: of each host where they do not burst together.
#[allow(clippy::cast_precision_loss)]
fn cycles(burst: &Burst, hosts: usize, measured_s: f64) -> f64 {
    let streams = if burst.together { 1.0 } else { hosts as f64 };
    streams * measured_s / burst.every.as_secs_f64()
}

/// The site with bursts of those workloads alone that `own` says; others ask for their mean.
fn in_bursts(site: &Site, kind: Unseen, own: &dyn Fn(usize) -> bool) -> Site {
    let mut alone = site.clone();
    for (index, work) in alone.workloads.iter_mut().enumerate() {
        let Arrivals::Bursty(burst) = &mut work.arrivals else {
            continue;
        };
        if !own(index) {
            work.arrivals = Arrivals::Poisson(mean(burst));
        } else if kind == Unseen::Rare {
            // In 20 ms that hold all of a shorter one.
            let share = burst.burst.as_secs_f64() / PEAK_WINDOW.as_secs_f64();
            let most = burst.base + (burst.peak - burst.base) * share.min(1.0);
            work.arrivals = Arrivals::Bursty(Burst {
                peak: most,
                ..*burst
            });
        }
    }
    alone
}

fn mean(burst: &Burst) -> f64 {
    let share = burst.burst.as_secs_f64() / burst.every.as_secs_f64();
    burst.base + (burst.peak - burst.base) * share
}

/// What is asked in a burst by arithmetic, per cent, by the names that figures have.
struct Asked<'a> {
    compiled: &'a Compiled,
    directions: Vec<Option<f64>>,
    controllers: Vec<Option<f64>>,
}

impl<'a> Asked<'a> {
    fn new(compiled: &'a Compiled, site: &Site, loads: &CaseLoads) -> Self {
        // Hosts that level their queues fill no part beyond that.
        let most = levelled_in_bursts(site, &compiled.fabric, loads).unwrap_or(f64::INFINITY);
        let of = |load: &Option<super::super::estimate::Load>| {
            load.map(|load| 100.0 * load.burst.min(most))
        };
        Self {
            compiled,
            directions: loads.directions.iter().map(of).collect(),
            controllers: loads.controllers.iter().map(of).collect(),
        }
    }

    /// By name.
    fn named(&self) -> impl Iterator<Item = (String, f64)> {
        let direction = |(index, asked): (usize, &Option<f64>)| {
            let id = DirectionId(u32::try_from(index).unwrap_or(u32::MAX));
            asked.map(|asked| (self.compiled.direction_name(id), asked))
        };
        let controllers = self.compiled.fabric.controllers.iter();
        let controllers = controllers.zip(&self.controllers);
        let directions = self.directions.iter().enumerate().filter_map(direction);
        directions.chain(controllers.filter_map(|(own, asked)| Some((own.name.clone(), (*asked)?))))
    }

    /// The part that is asked for most, what for, and what the runs had there.
    fn fullest(
        &self,
        directions: &[DirectionFigures],
        arrays: &[ArrayFigures],
    ) -> Option<(String, f64, f64)> {
        let known = self.named().filter(|(_, asked)| *asked > 0.0);
        let (name, asked) = known.reduce(|one, next| if next.1 > one.1 { next } else { one })?;
        let link = directions.iter().find(|own| own.name == name);
        let array = arrays.iter().find(|own| own.name == name);
        let seen = link.map(|own| own.asked_peak_percent);
        let seen = seen.or(array.map(|own| own.asked_peak_percent));
        Some((name, asked, seen.unwrap_or(0.0)))
    }

    /// Names of a workload whose bursts these are and of those that meet it on a part that is asked for much in one.
    fn beside(&self, sets: &[PathSet], work: &Workload) -> Vec<String> {
        let (site, fabric) = (&self.compiled.site, &self.compiled.fabric);
        let mut flows = Flows::new(fabric, &self.compiled.alive);
        let mut crossed = vec![BTreeSet::new(); site.workloads.len()];
        for set in sets {
            let mut parts = BTreeSet::new();
            for path in &set.paths {
                parts.insert(fabric.directions.len() + path.controller);
                let (there, back) = flows.both_ways(path, set.family);
                let links = there.iter().chain(back);
                parts.extend(links.map(|(direction, _)| direction.index()));
            }
            for index in &set.workloads {
                crossed[*index].extend(&parts);
            }
        }
        let asked = self.directions.iter().chain(&self.controllers);
        let felt = |(part, asked): (usize, &Option<f64>)| {
            asked
                .is_some_and(|asked| asked >= FELT_PERCENT)
                .then_some(part)
        };
        let felt: BTreeSet<usize> = asked.enumerate().filter_map(felt).collect();
        let own = site.workloads.iter().position(|own| own.name == work.name);
        let Some(own) = own else { return Vec::new() };
        let much: BTreeSet<usize> = crossed[own].intersection(&felt).copied().collect();
        let works = site.workloads.iter().enumerate();
        let beside =
            works.filter(|(index, _)| *index == own || !crossed[*index].is_disjoint(&much));
        beside.map(|(_, work)| work.name.clone()).collect()
    }

    fn raise(&self, directions: &mut [DirectionFigures], arrays: &mut [ArrayFigures]) {
        let by_name: BTreeMap<String, f64> = self.named().collect();
        let raise = |name: &str, percent: &mut f64, by_arithmetic: &mut bool| {
            if let Some(asked) = by_name.get(name).filter(|asked| **asked > *percent) {
                (*percent, *by_arithmetic) = (*asked, true);
            }
        };
        for own in directions {
            raise(
                &own.name,
                &mut own.asked_peak_percent,
                &mut own.asked_peak_by_arithmetic,
            );
        }
        for own in arrays {
            raise(
                &own.name,
                &mut own.asked_peak_percent,
                &mut own.asked_peak_by_arithmetic,
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::outcome::{LeftOpen, Unseen, Verdict};
    use crate::study::progress::tests::Totals;
    use crate::study::sample::{origin, site};
    use crate::study::{Ask, study};

    /// One server of 10 us for every I/O: 100,000 a second fill it.
    fn report(arrivals: &str) -> crate::outcome::Report {
        report_with(arrivals, "")
    }

    /// The same with more beside that work.
    fn report_with(arrivals: &str, more: &str) -> crate::outcome::Report {
        let text = "format = 1\n[run]\nduration = \"120ms\"\nwarm_up = \"20ms\"\nreplications = 2\n[[host]]\nname = \"app\"\n\
             [[switch]]\nname = \"core\"\n[[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1\nwrite = { time = \"10us\" }\n\
             [[link]]\nfrom = \"app\"\nto = \"core\"\nspeed = \"100Gb/s\"\n[[link]]\nfrom = \"core\"\nto = \"box\"\nspeed = \"100Gb/s\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\nrequest = 1250\nresponse = 1\n\
             frame = 1250\nread = \"0%\"\narrivals = ARRIVALS\n"
            .replace("ARRIVALS", arrivals)
            + more;
        let ask = Ask {
            outages: Some(Vec::new()),
            ..Ask::default()
        };
        study(&site(&text), origin(), &ask, &Totals::default())
    }

    /// The burst is the first second of five, all of what is measured lies in it or, for another phase, none of it: what a burst asks for is 80 %
    /// either way, by hand 80,000 × 10 us, and the part is full at 1.25 times.
    #[test]
    fn a_burst_that_the_runs_do_not_see_is_told_by_arithmetic() {
        let report = report(
            "{ bursty = { peak = \"80k/s\", base = \"1k/s\", burst = \"1s\", every = \"5s\", law = \"exponential\" } }",
        );
        let steady = &report.steady[0];
        let told = &steady.unseen_bursts[0];
        assert_eq!((told.why, &*told.workload), (Unseen::Rare, "w"));
        assert_eq!(told.part.as_deref(), Some("box-c1"));
        assert!((told.percent - 80.0).abs() < 1e-9, "{told:?}");
        let array = &steady.arrays[0];
        assert!(array.asked_peak_percent >= 80.0, "{array:?}");
        let growth = &report.growth[0];
        assert!(growth.factor <= 1.25 + 1e-9, "{growth:?}");
    }

    /// Bursts of 5 ms at 160,000 a second ask the server for 160 %, by hand; over 20 ms that is some 45 %.
    #[test]
    fn a_burst_shorter_than_its_bin_is_told_beside_it() {
        let report = report(
            "{ bursty = { peak = \"160k/s\", base = \"10k/s\", burst = \"5ms\", every = \"50ms\" } }",
        );
        let steady = &report.steady[0];
        let told = &steady.unseen_bursts[0];
        assert_eq!(told.why, Unseen::Short);
        assert!((told.percent - 160.0).abs() < 1e-9, "{told:?}");
        assert!(told.seen_percent < 60.0, "{told:?}");
        // The figure itself stays that of 20 ms.
        assert!(
            steady.arrays[0].asked_peak_percent < 60.0
                && !steady.arrays[0].asked_peak_by_arithmetic
        );
    }

    /// A fifth of all I/Os come in bursts of minutes, hours apart, that ask the server for 150 %, by hand: the runs of 0.1 s see none or nothing else, and
    /// what they find is no verdict on either. Work on another server is judged; so is work that shares a server of which a burst asks little.
    #[test]
    fn what_depends_on_bursts_that_no_run_shows_is_not_called_met() {
        let verdict = |report: &crate::outcome::Report, work: &str| {
            let row = report.matrix.rows.iter().find(|row| row.workload == work);
            let cell = row
                .and_then(|row| row.cells[0].as_ref())
                .expect("it is judged");
            (cell.verdict, cell.left_open)
        };
        let promise = "promise = { p99 = \"1ms\" }\n";
        let other = |array: &str| {
            format!(
                "{promise}[[array]]\nname = \"own\"\ncontrollers = 1\nparallel = 1\nwrite = {{ time = \"10us\" }}\n[[host]]\nname = \"more\"\n\
                 [[link]]\nfrom = \"more\"\nto = \"core\"\nspeed = \"100Gb/s\"\n[[link]]\nfrom = \"core\"\nto = \"own\"\nspeed = \"100Gb/s\"\n\
                 [[workload]]\nname = \"v\"\nhosts = \"more\"\narray = \"{array}\"\nprotocol = \"plain\"\nrequest = 1250\nresponse = 1\n\
                 frame = 1250\nread = \"0%\"\narrivals = {{ poisson = \"10k/s\" }}\n{promise}"
            )
        };
        let long = |peak: &str| {
            format!(
                "{{ bursty = {{ peak = \"{peak}\", base = \"20k/s\", burst = \"5m\", every = \"4h\" }} }}"
            )
        };
        let open = (Verdict::Undecided, Some(LeftOpen::Bursts));
        let apart = report_with(&long("150k/s"), &other("own"));
        assert_eq!(verdict(&apart, "w"), open);
        assert_eq!(verdict(&apart, "v"), (Verdict::Met, None));
        assert_eq!(apart.steady[0].unseen_bursts[0].hides, ["w"]);
        let shared = report_with(&long("150k/s"), &other("box"));
        assert_eq!((verdict(&shared, "w"), verdict(&shared, "v")), (open, open));
        let light = report_with(&long("30k/s"), &other("box"));
        assert_eq!(verdict(&light, "w"), open);
        assert_eq!(verdict(&light, "v"), (Verdict::Met, None));
        // Both runs together hold four cycles of these, none of which lasts longer than a run.
        let seen = report_with(
            "{ bursty = { peak = \"40k/s\", base = \"1k/s\", burst = \"10ms\", every = \"50ms\", law = \"exponential\" } }",
            promise,
        );
        assert_eq!(seen.steady[0].unseen_bursts[0].why, Unseen::Rare);
        assert_eq!(verdict(&seen, "w"), (Verdict::Met, None));
    }

    /// Of 40 ms in every 100 ms the runs see all there is.
    #[test]
    fn nothing_is_said_of_bursts_that_are_seen() {
        let report = report(
            "{ bursty = { peak = \"80k/s\", base = \"1k/s\", burst = \"40ms\", every = \"100ms\" } }",
        );
        assert!(report.steady[0].unseen_bursts.is_empty());
        assert!(!report.steady[0].arrays[0].asked_peak_by_arithmetic);
    }
}
