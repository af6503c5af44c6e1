//! Which hosts of a workload have no path, in words.

use super::Prose;
use crate::outcome::{CutOff, Report, StopCause, Switch, SwitchWorkload};

/// Hosts that are named; more are counted. A choice of this program.
const NAMED: usize = 3;

/// `no path is left`; where other hosts of the workload have one, `1 of 4 hosts of orders (solo-1) has no path left`.
#[must_use]
pub(crate) fn no_path_is_left(work: &SwitchWorkload) -> String {
    some_of(work, "no path is left", ("has", "have"))
}

/// The same of a time that is over.
#[must_use]
pub(crate) fn no_path_was_left(work: &SwitchWorkload) -> String {
    some_of(work, "no path was left", ("had", "had"))
}

fn some_of(work: &SwitchWorkload, all: &str, (has, have): (&str, &str)) -> String {
    if !work.partly_without_path() {
        return all.to_owned();
    }
    let verb = if work.without_path.len() == 1 {
        has
    } else {
        have
    };
    format!("{} {verb} no path left", who(work))
}

/// `1 of 4 hosts of orders (solo-1)`.
fn who(work: &SwitchWorkload) -> String {
    format!(
        "{} of {} hosts of {} ({})",
        work.without_path.len(),
        work.hosts,
        work.name,
        first_names(&work.without_path)
    )
}

/// `db-1, db-2, db-3 and 4 more`.
#[must_use]
pub(crate) fn first_names(names: &[String]) -> String {
    let shown: Vec<String> = names.iter().take(NAMED).cloned().collect();
    match names.len() - shown.len() {
        0 => super::listed(&shown),
        more => format!("{} and {more} more", shown.join(", ")),
    }
}

/// The workloads of a switch-over of which some hosts have no path and others have, each in a sentence.
#[must_use]
pub(crate) fn hosts_without_path(switch: &Switch) -> Option<String> {
    let works = switch.workloads.iter();
    let partly = works.filter(|work| work.partly_without_path());
    let said: Vec<String> = partly.clone().map(what_becomes_of_it).collect();
    // Where all of it stops for want of a path, the others do not go on: they are lost themselves, or have no path either.
    let stands = |work: &SwitchWorkload| {
        let mut stops = work.stops.iter();
        stops.any(|stop| stop.cause == StopCause::NoPath)
    };
    let others = match partly.clone().any(stands) {
        true => "for a time nothing of the other hosts comes through either",
        false => "the other hosts go on",
    };
    (!said.is_empty()).then(|| format!("{}; {others}.", said.join("; ")))
}

fn what_becomes_of_it(work: &SwitchWorkload) -> String {
    let (they_ask, they_have) = match work.without_path.len() {
        1 => ("it asks", "it has"),
        _ => ("they ask", "they have"),
    };
    match (work.no_path, work.failed_without_path) {
        (true, _) => format!("{}, and what {they_ask} for waits", no_path_is_left(work)),
        (false, true) => format!(
            "{}, and what {they_ask} for fails for as long as {they_have} none",
            no_path_was_left(work)
        ),
        (false, false) => no_path_was_left(work),
    }
}

/// The same of all switch-overs of a report, for where they are not told one by one.
#[must_use]
pub(crate) fn left_without_path(report: &Report) -> Prose {
    let said: Vec<String> = report
        .switches
        .iter()
        .filter_map(|switch| {
            let said = hosts_without_path(switch)?;
            Some(format!("{}: {said}", super::begun_with(&switch.case.name)))
        })
        .collect();
    if said.is_empty() {
        return Prose::new();
    }
    Prose::new().text(said.join(" "))
}

/// `db-1, db-2, db-3 and 4 more from vault`.
#[must_use]
pub fn cut_words(cut: &CutOff) -> String {
    format!("{} from {}", first_names(&cut.hosts), cut.array)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::sample_report;

    #[test]
    fn others_are_not_said_to_go_on_where_all_of_the_work_stops() {
        let of = |stops: Vec<crate::outcome::WorkStop>| {
            let mut switch = sample_report().switches[0].clone();
            switch.workloads.truncate(1);
            let work = &mut switch.workloads[0];
            (work.without_path, work.stops) = (vec!["db-1".into()], stops);
            hosts_without_path(&switch).expect("one has no path")
        };
        assert!(of(Vec::new()).ends_with("; the other hosts go on."));
        let said = of(vec![crate::outcome::WorkStop {
            from_s: 0.6,
            to_s: Some(20.6),
            s: 20.0,
            ended_by: None,
            cause: StopCause::NoPath,
        }]);
        assert!(
            !said.contains("go on") && said.ends_with("comes through either."),
            "{said}"
        );
    }

    #[test]
    fn the_hosts_without_a_path_are_counted_and_the_first_named() {
        let of = |count: usize| {
            let mut work = sample_report().switches[0].workloads[0].clone();
            work.without_path = (1..=count).map(|host| format!("db-{host}")).collect();
            (no_path_is_left(&work), no_path_was_left(&work))
        };
        assert_eq!(of(0).0, "no path is left");
        assert_eq!(of(6).1, "no path was left");
        assert_eq!(of(1).0, "1 of 6 hosts of bookings (db-1) has no path left");
        assert_eq!(
            of(2).1,
            "2 of 6 hosts of bookings (db-1 and db-2) had no path left"
        );
        assert_eq!(
            of(5).0,
            "5 of 6 hosts of bookings (db-1, db-2, db-3 and 2 more) have no path left"
        );
    }
}
