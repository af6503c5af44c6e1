//! The same site with more or less work.

use super::{CLIFF, LEAST};
use crate::outcome::{Bound, DepthLimit, Grows, LoopDepth};
use crate::site::{Arrivals, Burst, Measure, Per, Replay, Site, Workload};
use crate::study::estimate::idle::depth_ceiling_at_best;
use crate::study::estimate::{
    CaseLoads, Estimate, estimate_by_member, fullest, levelled_in_bursts,
};
use crate::topology::Fabric;
use std::fmt::{self, Debug, Formatter};

/// The deepest that a closed loop is made.
const DEEPEST: u32 = 65_536;

/// A family of hosts that grows.
#[derive(Clone, Copy)]
pub struct Hosts<'a> {
    /// The family.
    pub family: &'a str,
    /// What is counted: the family, or those of it in each chassis.
    pub what: &'a str,
    /// How many there are.
    pub today: u32,
    /// The site with so many of them, or why it cannot be built.
    pub with: &'a (dyn Fn(u32) -> Result<Site, String> + Sync),
}

impl Debug for Hosts<'_> {
    fn fmt(&self, f: &mut Formatter<'_>) -> fmt::Result {
        write!(f, "{} × {}", self.today, self.family)
    }
}

/// What grows, in steps of what.
#[derive(Clone, Debug)]
pub(super) enum Scale<'a> {
    /// The work of every workload.
    Load,
    /// The work of closed loops alone: whole I/Os outstanding at each host, counted at the deepest loop.
    Depth { today: u32, limit: u32, of: String },
    /// The work of every workload, each by a power of the factor.
    Uneven { exponents: Vec<f64>, most: f64 },
    /// Whole hosts of a family, as far as the site can be built.
    Hosts {
        hosts: Hosts<'a>,
        limit: u32,
        reason: Option<String>,
    },
}

impl<'a> Scale<'a> {
    /// The load of a site, at most `most` times today's: where nothing but closed loops asks for anything, there is no load
    /// between two whole depths of the deepest.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    pub(super) fn of_load(site: &Site, most: f64) -> Self {
        let depths = site.workloads.iter().map(|work| match work.arrivals {
            Arrivals::Closed { depth, .. } => Some((depth, &work.name)),
            _ => None,
        });
        let Some(depths) = depths.collect::<Option<Vec<_>>>() else {
            return Self::Load;
        };
        // The first of equals, which the text names first.
        let deepest = depths.iter().rev().max_by_key(|(depth, _)| *depth);
        let Some((today, name)) = deepest.map(|(depth, name)| ((*depth).max(1), *name)) else {
            return Self::Load;
        };
        Self::Depth {
            today,
            limit: ((f64::from(today) * most) as u32).clamp(today, DEEPEST),
            of: name.clone(),
        }
    }

    /// Hosts, at most `most` times today's or as many as can be built.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    pub(super) fn of(hosts: &Hosts<'a>, most: f64) -> Self {
        let wanted = (f64::from(hosts.today) * most).min(4096.0) as u32;
        let (mut limit, mut beyond) = (hosts.today, wanted.max(hosts.today));
        let mut reason = (hosts.with)(beyond).err();
        if reason.is_none() {
            limit = beyond;
        }
        // The site is built with `limit` hosts and not with `beyond`.
        while reason.is_some() && beyond - limit > 1 {
            let middle = limit + (beyond - limit) / 2;
            match (hosts.with)(middle) {
                Ok(_) => limit = middle,
                Err(why) => {
                    beyond = middle;
                    reason = Some(why);
                }
            }
        }
        Self::Hosts {
            hosts: *hosts,
            limit,
            reason,
        }
    }

    /// How many there are today of what is counted in whole numbers; `None` where any factor is a load.
    const fn today(&self) -> Option<u32> {
        match self {
            Self::Load | Self::Uneven { .. } => None,
            Self::Depth { today, .. } => Some(*today),
            Self::Hosts { hosts, .. } => Some(hosts.today),
        }
    }

    /// The smallest change of the factor; 0 where there is none.
    pub(super) fn step(&self) -> f64 {
        self.today().map_or(0.0, |today| 1.0 / f64::from(today))
    }

    fn whole(&self, factor: f64, round: fn(f64) -> f64) -> f64 {
        let Some(today) = self.today().map(f64::from) else {
            return factor;
        };
        // A whole number that lost a digit on the way stays the number it was.
        let count = factor * today;
        let near = count.round();
        let count = if (count - near).abs() < 1e-6 {
            near
        } else {
            round(count)
        };
        count / today
    }

    /// The nearest factor that there is.
    pub(super) fn snap(&self, factor: f64) -> f64 {
        self.whole(factor, f64::round).max(self.step())
    }

    /// The factor at or below; 0 where there is none.
    pub(super) fn down(&self, factor: f64) -> f64 {
        self.whole(factor, f64::floor).max(0.0)
    }

    /// The factor at or above.
    pub(super) fn up(&self, factor: f64) -> f64 {
        self.whole(factor, f64::ceil)
    }

    /// All of them snapped, each once.
    pub(super) fn snapped(&self, factors: Vec<f64>) -> Vec<f64> {
        let mut out: Vec<f64> = Vec::new();
        for factor in factors {
            let factor = self.snap(factor);
            if !out.contains(&factor) {
                out.push(factor);
            }
        }
        out
    }

    /// The largest factor to try.
    pub(super) fn most(&self, asked: f64) -> f64 {
        match self {
            Self::Load | Self::Uneven { .. } => asked,
            Self::Depth { today, limit, .. } => f64::from(*limit) / f64::from(*today),
            Self::Hosts { hosts, limit, .. } => f64::from(*limit) / f64::from(hosts.today),
        }
    }

    /// The cliff, less a distance for rates, which can come as near as one likes.
    pub(super) fn below(&self, cliff: f64, step: f64) -> f64 {
        match self {
            Self::Load | Self::Uneven { .. } => cliff * (1.0 - step),
            Self::Depth { .. } | Self::Hosts { .. } => cliff,
        }
    }

    /// The site at a factor; `None` where it cannot be built.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    pub(super) fn site(&self, site: &Site, factor: f64) -> Option<Site> {
        match self {
            Self::Load | Self::Depth { .. } => Some(scaled(site, factor)),
            Self::Uneven { exponents, .. } => Some(uneven(site, exponents, factor)),
            Self::Hosts { hosts, .. } => {
                let count = (factor * f64::from(hosts.today)).round().max(1.0) as u32;
                let mut built = (hosts.with)(count).ok()?;
                built.variants.clear();
                Some(built)
            }
        }
    }

    /// Busy share of the fullest part with so many hosts, by arithmetic.
    fn share(hosts: &Hosts<'_>, count: u32, case: &str) -> Option<f64> {
        let site = (hosts.with)(count).ok()?;
        let fabric = Fabric::new(&site);
        fullest(&site, &fabric, &estimate_by_member(&site, &fabric), case)
    }

    /// The most hosts up to `limit` of which the fullest part stays at or below a share; `None`: not even one.
    fn most_below(hosts: &Hosts<'_>, limit: u32, case: &str, share: f64) -> Option<u32> {
        let fits = |count: u32| Self::share(hosts, count, case).is_none_or(|s| s <= share);
        if fits(limit) {
            return Some(limit);
        }
        let (mut low, mut high) = (0, limit);
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            if fits(middle) {
                low = middle;
            } else {
                high = middle;
            }
        }
        (low > 0).then_some(low)
    }

    /// The factor at which the fullest part is full on the mean; with hosts, the first whole number beyond.
    pub(super) fn saturation(&self, site: &Site, case: &str) -> Option<f64> {
        match self {
            Self::Load | Self::Depth { .. } => {
                let fabric = Fabric::new(site);
                let share = fullest(site, &fabric, &estimate_by_member(site, &fabric), case)?;
                Some(1.0 / share)
            }
            Self::Uneven { exponents, most } => {
                // Work alone grows: the parts stay.
                let fabric = Fabric::new(site);
                let share = |factor: f64| {
                    let site = uneven(site, exponents, factor);
                    fullest(&site, &fabric, &estimate_by_member(&site, &fabric), case)
                        .unwrap_or(0.0)
                };
                full_at(&share, *most)
            }
            Self::Hosts { hosts, limit, .. } => {
                let fits = Self::most_below(hosts, *limit, case, 1.0 - 1e-9).unwrap_or(0);
                (fits < *limit).then(|| f64::from(fits + 1) / f64::from(hosts.today))
            }
        }
    }

    /// What is full by arithmetic, where that is a load and no whole number beyond one.
    pub(super) const fn pole(&self, saturation: Option<f64>) -> Option<f64> {
        match self {
            Self::Load | Self::Uneven { .. } => saturation,
            Self::Depth { .. } | Self::Hosts { .. } => None,
        }
    }

    /// The factor at which the hosts of a workload have all under way that they may; `None` where nothing bounds it, or
    /// where that is not worked out.
    pub(super) fn depth_limit(
        &self,
        site: &Site,
        fabric: &Fabric,
        loads: &Estimate,
        case: &str,
    ) -> Option<DepthLimit> {
        let case = loads.cases.iter().find(|one| one.name == case)?;
        let works = site.workloads.iter().enumerate();
        let limits = works.filter_map(|(index, work)| {
            let factor = match self {
                Self::Load => 1.0 / depth_share(site, fabric, case, index)?,
                Self::Uneven { exponents, most } => {
                    let share = |factor: f64| {
                        let site = uneven(site, exponents, factor);
                        depth_share(&site, fabric, case, index).unwrap_or(0.0)
                    };
                    full_at(&share, *most)?
                }
                Self::Depth { .. } | Self::Hosts { .. } => return None,
            };
            Some(DepthLimit {
                workload: work.name.clone(),
                factor,
            })
        });
        limits.min_by(|left, right| left.factor.total_cmp(&right.factor))
    }

    /// How much is asked for at a factor of what that depth lets through, per cent.
    pub(super) fn depth_percent(
        &self,
        site: &Site,
        case: &str,
        depth: &DepthLimit,
        factor: f64,
    ) -> f64 {
        let alike = 100.0 * factor / depth.factor;
        let Self::Uneven { exponents, .. } = self else {
            return alike;
        };
        let fabric = Fabric::new(site);
        let loads = estimate_by_member(site, &fabric);
        let own = loads.cases.iter().find(|own| own.name == case);
        let mut works = site.workloads.iter();
        let index = works.position(|work| work.name == depth.workload);
        let share = own.zip(index).and_then(|(own, index)| {
            depth_share(&uneven(site, exponents, factor), &fabric, own, index)
        });
        share.map_or(alike, |share| 100.0 * share)
    }

    /// The factor at which the fullest part is full while every bursty workload is in a burst; `None` where that is not
    /// worked out.
    pub(super) fn full_in_bursts(&self, site: &Site, case: &str) -> Option<f64> {
        match self {
            Self::Load | Self::Depth { .. } => {
                let fabric = Fabric::new(site);
                let loads = estimate_by_member(site, &fabric);
                let own = loads.cases.iter().find(|own| own.name == case)?;
                // With the shares that hosts take which level their queues, as without bursts.
                let levelled = levelled_in_bursts(site, &fabric, own);
                let share = levelled.or_else(|| loads.fullest_in_bursts(case))?;
                Some(1.0 / share)
            }
            Self::Uneven { .. } | Self::Hosts { .. } => None,
        }
    }

    /// What ends the search at the largest factor.
    pub(super) const fn bound(&self) -> Bound {
        match self {
            Self::Hosts {
                reason: Some(_), ..
            } => Bound::Buildable,
            _ => Bound::Asked,
        }
    }

    /// The smallest factor that is tried.
    pub(super) fn least(&self) -> f64 {
        LEAST.max(self.step())
    }

    /// No load above this is called met.
    pub(super) fn cliff(&self, site: &Site, case: &str) -> f64 {
        match self {
            Self::Load | Self::Depth { .. } | Self::Uneven { .. } => self
                .saturation(site, case)
                .map_or(f64::INFINITY, |full| full * CLIFF),
            Self::Hosts { hosts, limit, .. } => {
                let fits = Self::most_below(hosts, *limit, case, CLIFF).unwrap_or(0);
                f64::from(fits) / f64::from(hosts.today)
            }
        }
    }

    pub(super) fn grows(&self) -> Grows {
        match self {
            Self::Load | Self::Uneven { .. } => Grows {
                what: "load".to_owned(),
                hosts: None,
                depth: None,
                limit: None,
            },
            Self::Depth { today, of, .. } => Grows {
                what: "load".to_owned(),
                hosts: None,
                depth: Some(LoopDepth {
                    workload: of.clone(),
                    depth: *today,
                }),
                limit: None,
            },
            Self::Hosts { hosts, reason, .. } => Grows {
                what: hosts.what.to_owned(),
                hosts: Some(hosts.today),
                depth: None,
                limit: reason.clone(),
            },
        }
    }

    /// What is taken for granted when hosts grow.
    pub(super) fn notes(&self, site: &Site) -> Vec<String> {
        let Self::Hosts {
            hosts,
            limit,
            reason,
        } = self
        else {
            return Vec::new();
        };
        let family = hosts.family;
        let mut notes = vec![format!(
            "what grows is the number of {}, {} today; all else stays as it is",
            hosts.what, hosts.today
        )];
        let of_family = |work: &&Workload| {
            let own = work
                .hosts
                .iter()
                .any(|index| site.hosts[*index].name == family);
            let closed = matches!(work.arrivals, Arrivals::Closed { .. });
            own && work.per == Per::Workload && !closed
        };
        for work in site.workloads.iter().filter(of_family) {
            notes.push(format!(
                "the rate of `{}` is stated for the whole workload: more hosts share it and bring no more \
                 (arrivals per = \"host\" would)",
                work.name
            ));
        }
        if let Some(reason) = reason {
            notes.push(format!("more than {limit} cannot be built: {reason}"));
        }
        notes
    }
}

/// The factor at which a share that rises with it is 1, up to twice `most`.
fn full_at(share: &dyn Fn(f64) -> f64, most: f64) -> Option<f64> {
    let (mut low, mut high) = (1.0 / 64.0, most * 2.0);
    if share(high) < 1.0 {
        return None;
    }
    // A millionth of the factor: far less than a day.
    for _ in 0..24 {
        let middle = (low * high).sqrt();
        if share(middle) < 1.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(high)
}

/// How much is asked for of what the hosts of a workload may have under way lets through at best; `None` where nothing bounds it, or
/// nothing is asked for.
fn depth_share(site: &Site, fabric: &Fabric, case: &CaseLoads, work: usize) -> Option<f64> {
    let (ceiling, asked) = depth_ceiling_at_best(site, fabric, case, work)?;
    (ceiling > 0.0 && asked.mean > 0.0).then(|| asked.mean / ceiling)
}

/// Names of the workloads of a family of hosts, none of which more hosts bring more of: each states its rate for the workload as a
/// whole. `None` where more hosts bring more.
#[must_use]
pub fn bring_no_more<'a>(site: &'a Site, family: &str) -> Option<Vec<&'a str>> {
    let of_family = |work: &&Workload| {
        let mut own = work.hosts.iter();
        own.any(|index| site.hosts[*index].name == family)
    };
    let works: Vec<&Workload> = site.workloads.iter().filter(of_family).collect();
    let grows = |work: &Workload| {
        work.per != Per::Workload || matches!(work.arrivals, Arrivals::Closed { .. })
    };
    let names = || works.iter().map(|work| work.name.as_str()).collect();
    (!works.iter().any(|work| grows(work))).then(names)
}

/// `site` with each workload at its own power of `factor`.
fn uneven(site: &Site, exponents: &[f64], factor: f64) -> Site {
    let mut site = site.clone();
    site.variants.clear();
    for (workload, exponent) in site.workloads.iter_mut().zip(exponents) {
        work_at(workload, libm::pow(factor, *exponent));
    }
    site
}

/// `site` with `factor` times the work of every workload: rates, a closed loop's depth (rounded, at least 1),
/// the speed of a replay. Below 1, a throughput promised of an open workload shrinks with it: less cannot
/// come out than goes in.
#[must_use]
pub fn scaled(site: &Site, factor: f64) -> Site {
    let mut site = site.clone();
    site.variants.clear();
    for workload in &mut site.workloads {
        work_at(workload, factor);
    }
    site
}

/// How many I/Os each closed loop of a site keeps outstanding at each host.
pub(super) fn depths(site: &Site) -> Vec<LoopDepth> {
    let of = |work: &Workload| match work.arrivals {
        Arrivals::Closed { depth, .. } => Some(LoopDepth {
            workload: work.name.clone(),
            depth,
        }),
        _ => None,
    };
    site.workloads.iter().filter_map(of).collect()
}

/// Closed loops of which no whole number of I/Os is `factor` times today's: `orders 2 instead of 3 × 0.5`.
#[must_use]
pub fn rounded_depths(site: &Site, factor: f64) -> Vec<String> {
    let of = |workload: &Workload| {
        let Arrivals::Closed { depth, .. } = workload.arrivals else {
            return None;
        };
        let mut taken = workload.clone();
        work_at(&mut taken, factor);
        match taken.arrivals {
            Arrivals::Closed { depth: whole, .. }
                if (f64::from(whole) - f64::from(depth) * factor).abs() > 1e-9 =>
            {
                Some(format!(
                    "{} {whole} instead of {depth} × {factor}",
                    workload.name
                ))
            }
            _ => None,
        }
    };
    site.workloads.iter().filter_map(of).collect()
}

/// The work of a workload times `factor`, above 0; see [`scaled`].
pub(in crate::study) fn work_at(workload: &mut Workload, factor: f64) {
    workload.arrivals = match &workload.arrivals {
        Arrivals::Poisson(rate) => Arrivals::Poisson(rate * factor),
        Arrivals::Paced(rate) => Arrivals::Paced(rate * factor),
        Arrivals::Bursty(burst) => Arrivals::Bursty(Burst {
            peak: burst.peak * factor,
            base: burst.base * factor,
            ..*burst
        }),
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
        Arrivals::Closed {
            depth,
            think,
            together,
        } => Arrivals::Closed {
            depth: (f64::from(*depth) * factor)
                .round()
                .clamp(1.0, f64::from(DEEPEST)) as u32,
            think: *think,
            together: *together,
        },
        Arrivals::Replay(replay) => Arrivals::Replay(Replay {
            speed: replay.speed * factor,
            ..replay.clone()
        }),
    };
    if factor < 1.0 && !matches!(workload.arrivals, Arrivals::Closed { .. }) {
        let promises = &mut workload.promises;
        let all = promises.healthy.iter_mut().chain(&mut promises.lost);
        for promise in all.filter(|promise| promise.measure == Measure::Throughput) {
            promise.target *= factor;
        }
    }
}
