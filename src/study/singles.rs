//! Every single part lost in turn: is there a path left, and do the promises hold in the state after it?
//!
//! A part is what can be lost by itself: chassis, module, switch, controller, port of a host or an array,
//! cage, link, member of a link group; a `[[group]]` of parts that share a fate is lost as one. Parts that take the same members with them count once. Parts that
//! stand in the same place are simulated once: the site is a graph of all its parts, and two parts are in
//! the same place when the graph, coloured anew until no more parts can be told apart (colour refinement,
//! the one-dimensional Weisfeiler-Leman method), looks the same with either singled out. What then differs
//! between them are the random numbers, and the hash values by which flows choose among members.
//!
//! Every case shares its random numbers with every other. The steady state after each loss is simulated, and
//! the switch-over where it is asked for. Hosts that go with a part (those of a chassis), or are gone already with the outage in
//! force, ask for nothing; a throughput promised for their workload is not judged then, unless their guests are restarted.
//!
//! Left out: whole hosts and whole arrays, which are what the redundancy serves, not a part of it; parts of
//! a part (one fan, one lane of a cable).

mod cut;
mod list;
mod mended;
mod place;
mod vertex;

use super::case::{CasePlan, Hit, cases, gone, unused_by_teams, without};
use super::progress::Progress;
use super::steady::SteadyRuns;
use super::{assemble, fullest, judge, steady, switch};
use crate::model::Compiled;
use crate::outcome::{
    Case, EachPart, Matrix, Origin, PartCase, PartSwitch, Report, Row, Steady, Switch,
    SwitchWorkload, Verdict,
};
use crate::site::{Fault, LossMode, Site};
use crate::topology::{Fabric, Loss};
pub(in crate::study) use cut::cut_off;
use list::Single;
pub use mended::mended;
use place::Class;
use rayon::prelude::*;

/// Cases that are simulated together: enough for many cores, few enough for their tallies to fit in memory.
const TOGETHER: usize = 16;

/// Whether parts in the same place are simulated once.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Symmetry {
    /// Once for all of them.
    #[default]
    Grouped,
    /// Each by itself.
    Each,
}

/// What is to be found out about single parts.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct AskSingles {
    /// The outage, by name, that is in force all the while.
    pub during: Option<String>,
    /// Whether parts in the same place are simulated once.
    pub symmetry: Symmetry,
    /// Whether the switch-overs are simulated too.
    pub switch: bool,
}

/// The site as it is (with the outage in force, if one is), then every single part lost in turn.
#[must_use]
pub fn each_part(site: &Site, origin: Origin, ask: &AskSingles, progress: &dyn Progress) -> Report {
    let fabric = Fabric::new(site);
    let during = ask.during.as_ref().map(std::slice::from_ref);
    let plans = cases(site, &fabric, Some(during.unwrap_or(&[])));
    let before = plans.last().cloned().unwrap_or_else(CasePlan::healthy);
    let singles = list::singles(site, &fabric, &before.members);
    let classes = place::classes(site, &fabric, &before.members, &singles, ask.symmetry);
    let runs = steady::run(site, &plans, progress);
    let mut compiled = Compiled::new(site, &before.members);
    compiled.without_work_of(&before.hosts);
    compiled.begin_with_guests(&before.guests);
    compiled.begin_without(&before.out);
    let setting = Setting {
        site,
        fabric: &fabric,
        before: &before,
        compiled,
        singles: &singles,
        switch: ask.switch,
    };
    let mut columns: Vec<Column> = runs
        .last()
        .map(|runs| setting.state(runs))
        .into_iter()
        .collect();
    for some in classes.chunks(TOGETHER) {
        columns.extend(setting.columns(some, progress));
    }
    let count = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
    let found = EachPart {
        during: ask.during.clone(),
        parts: count(singles.len()),
        cases_run: count(classes.len()),
        cases_saved: count(singles.len() - classes.len()),
        grouped: ask.symmetry == Symmetry::Grouped,
        replications: site.run.replications,
        duration_s: site.run.duration.as_secs_f64(),
        switch_replications: if ask.switch {
            site.run.switch_replications
        } else {
            0
        },
        matrix: joined(&columns),
        cases: columns.into_iter().map(|column| column.case).collect(),
    };
    let matrix = judge::matrix(site, &runs, &[]);
    let figures: Vec<Steady> = runs.into_iter().map(|runs| runs.figures).collect();
    let mut report = assemble(site, origin, figures, Vec::new(), matrix, &plans);
    report.each_part = Some(found);
    report
}

/// A case with its own column of verdicts.
struct Column {
    case: PartCase,
    matrix: Matrix,
}

struct Setting<'a> {
    site: &'a Site,
    fabric: &'a Fabric,
    before: &'a CasePlan,
    /// The site in the state before.
    compiled: Compiled,
    singles: &'a [Single],
    switch: bool,
}

impl Setting<'_> {
    /// The column of the state before any part is lost.
    fn state(&self, runs: &SteadyRuns) -> Column {
        let matrix = judge::matrix(self.site, std::slice::from_ref(runs), &[]);
        let case = PartCase {
            cut_off: cut_off(self.site, self.fabric, &runs.plan),
            ..self.measured(runs, &matrix)
        };
        Column { case, matrix }
    }

    fn columns(&self, classes: &[Class], progress: &dyn Progress) -> Vec<Column> {
        let plans: Vec<CasePlan> = classes
            .iter()
            .map(|class| self.plan(&self.singles[class.first]))
            .collect();
        let runs = steady::run(self.site, &plans, progress);
        classes
            .par_iter()
            .zip(&runs)
            .map(|(class, runs)| self.column(class, runs, progress))
            .collect()
    }

    fn plan(&self, single: &Single) -> CasePlan {
        let mut members = self.before.members.clone();
        members.extend(
            single
                .members
                .iter()
                .filter(|m| !self.before.members.contains(m)),
        );
        let name = match &self.before.case.outage {
            Some(outage) => format!("{} lost, {outage} out", single.name),
            None => format!("{} lost", single.name),
        };
        // Those that are gone with the outage in force stay so.
        let mut lost_hosts = self.before.lost_hosts.clone();
        lost_hosts.extend(
            single
                .hosts
                .iter()
                .filter(|host| !self.before.lost_hosts.contains(host)),
        );
        // A team that the outage in force has left on a port without a path stays there.
        let loss = Loss {
            members: &single.members,
            nodes: &single.nodes,
            mode: LossMode::Loud,
            before: &self.before.members,
        };
        let alive = without(self.fabric, &members);
        let stuck = unused_by_teams(self.site, self.fabric, &alive, loss);
        let mut out = self.before.out.clone();
        out.extend(
            stuck
                .into_iter()
                .filter(|path| !self.before.out.contains(path)),
        );
        CasePlan {
            case: Case {
                name,
                outage: Some(single.name.clone()),
                lost: None,
                carries: None,
            },
            members,
            nodes: single.nodes.clone(),
            hosts: gone(self.site, self.fabric, &lost_hosts),
            lost_hosts,
            slow: self.before.slow.clone(),
            out,
            guests: self.before.guests.clone(),
            // Only what the part takes is lost now; the outage in force has long been.
            hit: Hit {
                members: single.members.clone(),
                nodes: single.nodes.clone(),
                hosts: single.hosts.clone(),
            },
            fault: Fault::Lost,
            mode: LossMode::Loud,
            takes: format!("{} {}", single.kind, single.name),
        }
    }

    fn column(&self, class: &Class, runs: &SteadyRuns, progress: &dyn Progress) -> Column {
        let single = &self.singles[class.first];
        let switches: Vec<Switch> = self
            .switch
            .then(|| switch::run(self.site, &self.compiled, &runs.plan, runs, false, progress))
            .into_iter()
            .collect();
        let matrix = judge::matrix(self.site, std::slice::from_ref(runs), &switches);
        let host = |index: &usize| self.fabric.hosts[*index].name.clone();
        let case = PartCase {
            kind: single.kind.to_owned(),
            part: single.name.clone(),
            also: single.also.clone(),
            alike: class
                .others
                .iter()
                .map(|other| self.singles[*other].name.clone())
                .collect(),
            gone_hosts: single.hosts.iter().map(host).collect(),
            cut_off: cut_off(self.site, self.fabric, &runs.plan),
            switch_over: switches.first().map(in_short),
            ..self.measured(runs, &matrix)
        };
        Column { case, matrix }
    }

    /// Workloads that miss a promise of the state after, by index; where none does, all.
    fn missing(&self, matrix: &Matrix) -> Vec<usize> {
        let missed = |row: &&Row| {
            let mut cells = row.cells.iter().flatten();
            !row.switching && cells.any(|cell| cell.verdict == Verdict::Missed)
        };
        let rows: Vec<&Row> = matrix.rows.iter().filter(missed).collect();
        let works = self.site.workloads.iter().enumerate();
        works
            .filter(|(_, work)| rows.is_empty() || rows.iter().any(|row| row.workload == work.name))
            .map(|(index, _)| index)
            .collect()
    }

    /// What the steady runs of a case say, without who is lost in it; `matrix`: the judgement of the case.
    fn measured(&self, runs: &SteadyRuns, matrix: &Matrix) -> PartCase {
        PartCase {
            kind: String::new(),
            part: String::new(),
            also: Vec::new(),
            alike: Vec::new(),
            gone_hosts: Vec::new(),
            cut_off: Vec::new(),
            fullest: {
                let missing = self.missing(matrix);
                fullest::limit_of(self.site, self.fabric, &runs.plan, &runs.figures, &missing)
            },
            switch_over: None,
            saturated: runs.figures.saturated,
            partial: runs.figures.partial,
        }
    }
}

/// Whether the longest I/O of all was not over when the run ended.
fn longest_open(switch: &Switch) -> bool {
    let works = switch.workloads.iter();
    let all = works.flat_map(|work| work.longest_io_s.iter().zip(&work.longest_open));
    all.max_by(|a, b| a.0.total_cmp(b.0).then(a.1.cmp(b.1)))
        .is_some_and(|(_, open)| *open)
}

/// The timer that let the longest I/O of all go; `None` where nothing hung.
fn timer(switch: &Switch) -> Option<String> {
    let longest = |work: &SwitchWorkload| work.longest_io_s.iter().copied().fold(0.0, f64::max);
    let mut works: Vec<&SwitchWorkload> = switch.workloads.iter().collect();
    works.sort_by(|one, other| longest(other).total_cmp(&longest(one)));
    works.retain(|work| work.hung() || work.stopped());
    let own = works.first().and_then(|work| work.freed_by.as_ref());
    let own = own.filter(|event| event.ended_stall);
    let others = || switch.events.iter().find(|event| event.ended_stall);
    let event = own.or_else(|| works.first().and_then(|_| others()));
    event.and_then(|event| event.timer.clone())
}

/// A switch-over in its extremes.
fn in_short(switch: &Switch) -> PartSwitch {
    let works = || switch.workloads.iter();
    let most = |values: &mut dyn Iterator<Item = f64>| values.fold(0.0, f64::max);
    PartSwitch {
        settled_s: switch.settled_s,
        longest_io_s: most(&mut works().flat_map(|work| work.longest_io_s.iter().copied())),
        longest_open: longest_open(switch),
        no_path: works().any(|work| work.no_path),
        failed_without_path: works().any(|work| work.failed_without_path),
        longest_silence_s: most(&mut works().map(|work| work.longest_silence_s)),
        failed: works().flat_map(|work| &work.failed).sum(),
        retried: works().map(|work| work.retried).sum(),
        timer: timer(switch),
    }
}

/// One matrix of all columns. A row that a column lacks is not judged there.
fn joined(columns: &[Column]) -> Matrix {
    let mut rows: Vec<Row> = Vec::new();
    let same = |one: &Row, other: &Row| {
        one.workload == other.workload
            && one.measure == other.measure
            && one.switching == other.switching
    };
    for (index, column) in columns.iter().enumerate() {
        for row in &column.matrix.rows {
            let at = rows
                .iter()
                .position(|known| same(known, row))
                .unwrap_or_else(|| {
                    let cells = vec![None; columns.len()];
                    rows.push(Row {
                        cells,
                        ..row.clone()
                    });
                    rows.len() - 1
                });
            rows[at].cells[index] = row.cells.first().cloned().flatten();
        }
    }
    Matrix {
        cases: columns
            .iter()
            .flat_map(|column| column.matrix.cases.clone())
            .collect(),
        rows,
    }
}
