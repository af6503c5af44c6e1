//! When promises break as the work grows.

use super::{Breaks, Case, Floor, Hopeless, Origin, PartLoad, UnseenBursts};
use serde::Serialize;

/// The whole answer.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GrowthPlan {
    /// How to repeat it.
    pub origin: Origin,
    /// The day of which the scenario states the load.
    pub from: String,
    /// Growth in a year by workload, per cent.
    pub per_year_percent: Vec<(String, f64)>,
    /// Confidence that both days of a case are right, per cent. It holds for each case of each stage by itself.
    pub confidence_percent: f64,
    /// Years looked ahead.
    pub years: f64,
    /// Whether something is promised about the switch-over, which is not judged here: what holds is every steady promise.
    pub switching: bool,
    /// The site as it is, then after each step.
    pub stages: Vec<Stage>,
    /// Bursts that its runs have too few of or spread out, each workload once.
    pub unseen_bursts: Vec<UnseenBursts>,
    /// Whether the search was stopped before its end.
    pub partial: bool,
    /// Whether a limit on events or memory stopped one of its runs.
    pub cut: bool,
    /// What is taken for granted.
    pub notes: Vec<String>,
}

/// The site as it is, or with the steps up to one of them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Stage {
    /// `as it is`, or the name of the step.
    pub name: String,
    /// The day from which it is there.
    pub date: String,
    /// What the step sets.
    pub set: Vec<(String, String)>,
    /// The day of the next step; `None` for the last stage.
    pub until: Option<String>,
    /// Whether it was looked for to the end.
    pub search: StageSearch,
    /// Healthy first, then the outages.
    pub cases: Vec<StageCase>,
}

/// How far a stage was looked at.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum StageSearch {
    /// To the end.
    Whole,
    /// Stopped on the way.
    Stopped,
    /// Stopped before it.
    NotBegun,
}

/// One case of a stage.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StageCase {
    /// Which case.
    pub case: Case,
    /// The last day on which every promise is proven to hold; `None`: none was proven, or only a load below that of
    /// the day on which the stage begins.
    pub holds_until: Option<String>,
    /// Times the load of the first day, there: of the work that grows fastest.
    pub holds_factor: Option<f64>,
    /// The first day on which a promise is proven to be broken, at the earliest the first of the stage; `None`: none was proven.
    pub breaks_by: Option<String>,
    /// Times the load of the first day, there.
    pub breaks_factor: Option<f64>,
    /// The day on which the fullest part is full on the mean, or a queue depth lets no more through, by arithmetic.
    pub full_by: Option<String>,
    /// The workload whose hosts have all under way on that day that they may; `None` where it is a part that is full.
    pub full_depth: Option<String>,
    /// A promise that no load keeps: then no day means anything.
    pub hopeless: Option<Hopeless>,
    /// A throughput that is promised, and asked for only from some later day on.
    pub floor: Option<Floor>,
    /// That day; until then it is broken.
    pub asked_from: Option<String>,
    /// How the days lie beside those of this stage and the next step.
    pub standing: Standing,
    /// The promise that breaks.
    pub breaks: Option<Breaks>,
    /// The fullest part then.
    pub ends: Option<PartLoad>,
    /// Whether a limit on events or memory cut one of its runs.
    pub cut: bool,
}

impl GrowthPlan {
    /// Whether every promise of a case of the last stage, which has no end, is proven to hold from its begin to the last of the years looked
    /// ahead: what comes after that was not looked at.
    #[must_use]
    pub fn holds_to_the_last_day(&self, stage: &Stage, case: &StageCase) -> bool {
        let fastest = self.per_year_percent.iter().map(|(_, percent)| *percent);
        let fastest = fastest.fold(0.0, f64::max) / 100.0;
        // The load of the last day, times that of the first; the largest that was looked for.
        let last = libm::pow(1.0 + fastest, self.years) * (1.0 - 1e-9);
        let short = [Standing::BrokenBefore, Standing::ShortAtFirst];
        let begins_well = !short.contains(&case.standing)
            && case
                .holds_until
                .as_ref()
                .is_some_and(|day| *day >= stage.date);
        let to_the_end = case.holds_factor.is_some_and(|factor| factor >= last);
        stage.until.is_none() && begins_well && to_the_end
    }
}

impl Stage {
    /// The day by which a promise of a case is proven to be broken while the stage lasts, or already when it begins. `None` where none is:
    /// a later day is one of a site that the next step has changed by then.
    #[must_use]
    pub fn broken_by<'a>(&self, case: &'a StageCase) -> Option<&'a String> {
        let day = case.breaks_by.as_ref()?;
        // Days are written so that their order is that of the letters.
        let here = match case.standing {
            Standing::Breaks => true,
            Standing::BrokenBefore => *day <= self.date,
            Standing::ShortAtFirst => self.until.as_ref().is_none_or(|until| day < until),
            Standing::Holds | Standing::Never | Standing::Open | Standing::Unpromised => false,
        };
        here.then_some(day)
    }
}

/// What becomes of a case while its stage lasts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Proven to hold until the next step is there.
    Holds,
    /// Proven to be broken already when the stage begins, or a throughput is promised that is not asked for while it lasts.
    BrokenBefore,
    /// A throughput is promised that is not asked for when the stage begins, and is from the day `asked_from` on, while it lasts: until
    /// then it is broken, and nothing is proven to break on that day.
    ShortAtFirst,
    /// A promise is broken at every load, so it is not growth that breaks it.
    Never,
    /// Proven to break before the next step is there, or, in the last stage, some day.
    Breaks,
    /// Neither is proven.
    Open,
    /// Nothing is promised in this case.
    Unpromised,
}
