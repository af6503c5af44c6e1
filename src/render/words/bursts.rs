//! What the busiest 20 ms of runs do not have of bursts, in words.

use super::listed;
use crate::outcome::{Headroom, Report, Unseen, UnseenBursts};
use crate::render::number::{THIN, three};

/// Of a report: each workload once, of the case in which most is asked for.
#[must_use]
pub fn unseen_in(report: &Report) -> Vec<UnseenBursts> {
    let mut found: Vec<UnseenBursts> = Vec::new();
    for own in report
        .steady
        .iter()
        .flat_map(|steady| &steady.unseen_bursts)
    {
        match found
            .iter_mut()
            .find(|known| known.workload == own.workload)
        {
            Some(known) if known.percent < own.percent => *known = own.clone(),
            Some(_) => {}
            None => found.push(own.clone()),
        }
    }
    found
}

/// The caution of a report; `None` where its runs show all bursts.
#[must_use]
pub fn burst_words(report: &Report) -> Option<String> {
    words(&unseen_in(report))
}

/// The caution of a search; `None` where its runs show all bursts.
#[must_use]
pub fn burst_words_of(headroom: &Headroom) -> Option<String> {
    words(&headroom.unseen_bursts())
}

fn words(all: &[UnseenBursts]) -> Option<String> {
    let percent = |value: f64| format!("{}{THIN}%", three(value));
    let named = |own: &UnseenBursts| {
        format!(
            "{} (some {} every {})",
            own.workload,
            time(own.burst_s),
            time(own.every_s)
        )
    };
    let of = |why: Unseen| all.iter().filter(move |own| own.why == why);
    let most = |why: Unseen| {
        let known = of(why).filter(|own| own.part.is_some());
        known.max_by(|one, other| one.percent.total_cmp(&other.percent))
    };
    let mut said = Vec::new();
    let rare: Vec<String> = of(Unseen::Rare).map(named).collect();
    if let Some(first) = of(Unseen::Rare).next() {
        let most = most(Unseen::Rare).map_or_else(String::new, |own| {
            let saw = if own.seen_percent < own.percent {
                format!("; the runs saw {}", percent(own.seen_percent))
            } else {
                "; the runs saw no less".to_owned()
            };
            let part = own.part.as_deref().unwrap_or_default();
            format!(" ({part}: {}{saw})", percent(own.percent))
        });
        let mut hides: Vec<String> = of(Unseen::Rare).flat_map(|own| own.hides.clone()).collect();
        hides.sort_unstable();
        hides.dedup();
        let hidden = match &hides[..] {
            [] => ", all of them together of enough for a verdict".to_owned(),
            some => format!(
                ", and no promise about latency or throughput of {} is called met by them",
                listed(some)
            ),
        };
        let enough = of(Unseen::Rare).map(|own| own.enough_s).fold(0.0, f64::max);
        said.push(format!(
            "The runs see too few bursts of {}: each measures {}. What is asked of a part in the busiest 20 ms, and the load at which it is full \
             then, are by arithmetic there, with all hosts in a burst at once, wherever that is more than the runs saw{most}. Latencies \
             and waits are of what the runs saw alone{hidden}. Runs that measure {} (run.duration) would see three.",
            listed(&rare),
            time(first.measured_s),
            time(enough),
        ));
    }
    let short: Vec<String> = of(Unseen::Short).map(named).collect();
    if !short.is_empty() {
        let most = most(Unseen::Short).map_or_else(String::new, |own| {
            format!(
                " In one {} is asked for {} by arithmetic, all hosts in a burst at once, and for {} in the busiest 20 ms.",
                own.part.as_deref().unwrap_or_default(),
                percent(own.percent),
                percent(own.seen_percent)
            )
        });
        said.push(format!(
            "Bursts of {} are shorter than 20 ms: figures of the busiest 20 ms spread them out, so that a part may be full in a burst though \
             it has room there.{most} Latencies and verdicts have them as they are.",
            listed(&short)
        ));
    }
    (!said.is_empty()).then(|| said.join(" "))
}

/// The same for the foot of a chart.
#[must_use]
pub(crate) fn burst_foot(all: &[UnseenBursts]) -> Option<String> {
    let of = |why: Unseen| {
        let own = all.iter().filter(|own| own.why == why);
        let names: Vec<String> = own.map(|own| own.workload.clone()).collect();
        (!names.is_empty()).then(|| listed(&names))
    };
    let rare = of(Unseen::Rare)
        .map(|names| format!("bursts of {names} by arithmetic, the runs see too few"));
    let short = of(Unseen::Short).map(|names| format!("bursts of {names} are shorter than 20 ms"));
    let said: Vec<String> = rare.into_iter().chain(short).collect();
    (!said.is_empty()).then(|| said.join(" · "))
}

/// `25 s`, `5 ms`.
fn time(seconds: f64) -> String {
    if seconds < 1.0 {
        format!("{} ms", three(seconds * 1e3))
    } else {
        format!("{} s", three(seconds))
    }
}

/// The caution of days, which are of what the runs saw, for the foot of their chart.
#[must_use]
pub(crate) fn days_foot(all: &[UnseenBursts]) -> Option<String> {
    let rare = all.iter().filter(|own| own.why == Unseen::Rare);
    let names: Vec<String> = rare.map(|own| own.workload.clone()).collect();
    (!names.is_empty()).then(|| {
        format!(
            "the runs see too few bursts of {}: days are of what they saw",
            listed(&names)
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::chart::{Format, headroom as drawn};
    use crate::render::csv::directions_csv;
    use crate::render::sample::{sample_bursts, sample_report};

    /// Bursts that runs do not see are told in the text, on the page, in the drawing and in both kinds of data.
    #[test]
    fn the_caution_is_wherever_the_figure_is() {
        let mut report = sample_report();
        assert_eq!(burst_words(&report), None);
        assert!(!crate::render::table::report_text(&report).contains("too few bursts"));
        report.steady[0].unseen_bursts = vec![
            sample_bursts(Unseen::Rare, "bookings"),
            sample_bursts(Unseen::Short, "fleet"),
        ];
        report.steady[0].directions[0].asked_peak_by_arithmetic = true;
        let said = burst_words(&report).expect("there are such bursts");
        for words in [
            "too few bursts of bookings",
            "vault-c1: 150",
            "the runs saw 50",
            "Bursts of fleet",
            "shorter than 20 ms",
        ] {
            assert!(said.contains(words), "{said}");
        }
        let text = crate::render::table::report_text(&report);
        assert!(text.contains("too few bursts"), "{text}");
        let page = crate::render::page::page(&report);
        assert!(page.matches("too few bursts of bookings").count() >= 1);
        let slide = drawn(&report, Format::Slide).expect("there are parts");
        assert!(
            slide
                .svg
                .contains("bookings by arithmetic, the runs see too few"),
            "{}",
            slide.svg
        );
        let json = serde_json::to_string(&report).expect("it is plain data");
        assert!(json.contains("\"unseen_bursts\":[{\"workload\":\"bookings\",\"why\":\"rare\""));
        let csv = directions_csv(&report);
        let rows: Vec<&str> = csv.lines().collect();
        assert!(rows[0].contains("asked_peak_by"), "{}", rows[0]);
        assert!(rows[1].contains(",arithmetic,") && rows[2].contains(",runs,"));
    }
}
