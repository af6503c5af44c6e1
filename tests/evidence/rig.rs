//! What the checks share: from a few words to figures, one a replication.

use halfloom::measure::Histogram;
use halfloom::model::{Compiled, DirectionTally, Limits, Stop, Tally, Watch, World};
use halfloom::outcome::Origin;
use halfloom::scenario::{Source, read, render_problems};
use halfloom::site::{Measure, Promise, Site};
use halfloom::topology::{DirectionId, MemberId};
use halfloom::unit::Instant;
use rayon::prelude::*;

/// Picoseconds of a microsecond.
pub(crate) const US: f64 = 1e6;

/// A seed from a name (FNV-1a of 64 bits; Fowler, Noll and Vo).
pub(crate) fn seed_of(name: &str) -> u64 {
    name.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

/// Reads a scenario that must be sound; its seed follows from the name of the check.
pub(crate) fn site(name: &str, text: &str) -> Site {
    let source = Source {
        name: "check.toml",
        text,
    };
    let mut site = match read(source, &[], &|file| Err(format!("no file {file}"))) {
        Ok(loaded) => loaded.site,
        Err(problems) => panic!("{name}: {}", render_problems(&problems)),
    };
    site.run.seed = seed_of(name);
    site
}

/// Where results of a study would come from.
pub(crate) fn origin(site: &Site) -> Origin {
    Origin {
        version: String::new(),
        title: String::new(),
        scenario: String::new(),
        digest: String::new(),
        seed: site.run.seed,
        replications: site.run.replications,
        switch_replications: site.run.switch_replications,
        command: String::new(),
        set: Vec::new(),
    }
}

/// One host, one array, a link between them: a request of `request` bytes on the wire, its service, a
/// response of one byte.
pub(crate) fn direct(
    name: &str,
    link: &str,
    array: &str,
    host: &str,
    request: u32,
    arrivals: &str,
) -> Site {
    site(
        name,
        &format!(
            "format = 1\n[[host]]\nname = \"app\"\n{host}\n\
             [[array]]\nname = \"box\"\n{array}\n\
             [[link]]\nfrom = \"app\"\nto = \"box\"\npropagation = \"0s\"\n{link}\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
             request = {request}\nresponse = 1\nframe = 1250\nread = \"0%\"\narrivals = {arrivals}\n"
        ),
    )
}

/// Service at the array only: the link takes 8 ps.
pub(crate) fn station(name: &str, law: &str, parallel: u32, arrivals: &str) -> Site {
    let array = format!("controllers = 1\nparallel = {parallel}\nwrite = {{ time = {law} }}");
    direct(name, "speed = \"1000Gb/s\"", &array, "", 1, arrivals)
}

/// Service on the link only, 1 us a frame; a request has `frames`.
pub(crate) fn link(name: &str, frames: u32, arrivals: &str) -> Site {
    let array = "controllers = 1\nparallel = 1000\nwrite = { time = \"0s\" }";
    direct(
        name,
        "speed = \"10Gb/s\"",
        array,
        "",
        1250 * frames,
        arrivals,
    )
}

/// A Poisson stream of so many I/Os a microsecond.
pub(crate) fn poisson(rate: f64) -> String {
    format!("{{ poisson = \"{}/s\" }}", (rate * 1e6).round())
}

/// `hosts` hosts on links of their own to a switch that stores and takes no time, one link on.
pub(crate) fn tree(
    name: &str,
    hosts: u32,
    port: &str,
    trunk: &str,
    request: u32,
    arrivals: &str,
) -> Site {
    site(
        name,
        &format!(
            "format = 1\n[[host]]\nname = \"app\"\ncount = {hosts}\n\
             [[switch]]\nname = \"sw\"\nfabric = \"A\"\ndelay = \"0s\"\nforwarding = \"store-and-forward\"\n\
             [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = 1000\nwrite = {{ time = \"0s\" }}\n\
             [[link]]\nfrom = \"app\"\nto = \"sw\"\nspeed = \"{port}\"\npropagation = \"0s\"\n\
             [[link]]\nfrom = \"sw\"\nto = \"box\"\nspeed = \"{trunk}\"\npropagation = \"0s\"\n\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"plain\"\n\
             request = {request}\nresponse = 1\nframe = {request}\nread = \"0%\"\narrivals = {arrivals}\n"
        ),
    )
}

/// Runs of a site, one tally a replication.
pub(crate) struct Runs {
    pub(crate) compiled: Compiled,
    pub(crate) tallies: Vec<Tally>,
}

/// Has I/Os counted that take longer than each of these times (us, in rising order).
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss
)]
pub(crate) fn count_above(site: &mut Site, targets: &[f64]) {
    site.workloads[0].promises.healthy = targets
        .iter()
        .map(|target| Promise {
            measure: Measure::Mean,
            target: (target * US).round(),
            text: String::new(),
        })
        .collect();
}

impl Runs {
    /// What arrives in [from, to) us is measured; traffic goes on until it has finished.
    pub(crate) fn of(site: &Site, replications: u32, from: f64, to: f64) -> Self {
        Self::without(site, &[], replications, from, to)
    }

    /// The same without some members.
    pub(crate) fn without(
        site: &Site,
        lost: &[MemberId],
        replications: u32,
        from: f64,
        to: f64,
    ) -> Self {
        Self::numbered(site, lost, 0..replications, from, to)
    }

    /// The same with replications of these numbers.
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
    pub(crate) fn numbered(
        site: &Site,
        lost: &[MemberId],
        numbers: std::ops::Range<u32>,
        from: f64,
        to: f64,
    ) -> Self {
        let compiled = Compiled::new(site, lost);
        let at = |us: f64| Instant((us * US) as u64);
        let watch = Watch {
            from: at(from),
            to: at(to),
            transient: false,
        };
        let tallies = numbers
            .into_par_iter()
            .map(|replication| {
                let mut world =
                    World::new(&compiled, replication, watch, Limits { events: 1 << 40 });
                let open = world.run_until(at(10.0 * to + 1e6), Stop::WhenMeasured);
                assert!(!open, "I/Os of the window are still unfinished");
                world.finish()
            })
            .collect();
        Self { compiled, tallies }
    }

    /// One figure of every replication.
    pub(crate) fn each(&self, figure: impl Fn(&Tally) -> f64) -> Vec<f64> {
        self.tallies.iter().map(figure).collect()
    }

    /// Mean wait at controller 1, us.
    pub(crate) fn array_waits(&self) -> Vec<f64> {
        self.each(|tally| tally.controllers[0].wait.mean().unwrap() / US)
    }

    /// Share of the requests of controller 1 that had to wait.
    #[allow(clippy::cast_precision_loss)]
    pub(crate) fn array_delayed(&self) -> Vec<f64> {
        self.each(|tally| {
            let wait = &tally.controllers[0].wait;
            1.0 - wait.zeros() as f64 / wait.count() as f64
        })
    }

    /// Share of the requests of controller 1 that wait longer than so many us, taken as even within a bucket of 0.8 %.
    pub(crate) fn array_beyond(&self, time: f64) -> Vec<f64> {
        self.each(|tally| beyond(&tally.controllers[0].wait, time))
    }

    /// Mean busy share of controller `index`.
    pub(crate) fn array_busy(&self, index: usize, parallel: f64) -> Vec<f64> {
        self.each(|tally| tally.controllers[index].busy.mean().unwrap() / parallel)
    }

    /// Mean latency less a constant, us.
    pub(crate) fn latencies(&self, less: f64) -> Vec<f64> {
        self.each(|tally| all_latencies(tally).mean().unwrap() / US - less)
    }

    /// p99 of the latency, us, at the upper edge of its bucket.
    pub(crate) fn p99(&self) -> Vec<f64> {
        self.each(|tally| all_latencies(tally).quantile(0.99).unwrap().as_us_f64())
    }

    /// Share of the I/Os above the target at `position`.
    #[allow(clippy::cast_precision_loss)]
    pub(crate) fn above(&self, position: usize) -> Vec<f64> {
        self.each(|tally| {
            let work = &tally.workloads[0];
            let arrived = work.writes.arrived + work.reads.arrived;
            work.above[position].1 as f64 / arrived as f64
        })
    }

    /// Mean wait of the frames of a direction, us.
    pub(crate) fn frame_waits(&self, name: &str) -> Vec<f64> {
        let index = self.direction(name);
        self.each(|tally| tally.directions[index].wait.mean().unwrap() / US)
    }

    /// Utilization of a direction.
    pub(crate) fn utilization(&self, name: &str) -> Vec<f64> {
        let index = self.direction(name);
        self.each(|tally| busy(&tally.directions[index]))
    }

    pub(crate) fn direction(&self, name: &str) -> usize {
        let names: Vec<String> = (0..self.compiled.fabric.directions.len())
            .map(|index| {
                self.compiled
                    .direction_name(DirectionId(u32::try_from(index).unwrap()))
            })
            .collect();
        let found = names.iter().position(|known| known == name);
        found.unwrap_or_else(|| panic!("no `{name}` among {names:?}"))
    }
}

/// Share of what a histogram has counted that is above so many us, taken as even within a bucket. Buckets are 2^k ps wide from 128 x 2^k
/// to 256 x 2^k ps (`Histogram`).
#[allow(clippy::cast_precision_loss)]
fn beyond(times: &Histogram, time: f64) -> f64 {
    let count = times.count();
    let at = |rank: u64| {
        let time = times.quantile(rank as f64 / count as f64);
        time.expect("some were counted").0
    };
    // How many are in the buckets whose ends are so.
    let those = |are_so: &dyn Fn(u64) -> bool| {
        let (mut least, mut most) = (0, count);
        while least < most {
            let middle = (least + most).div_ceil(2);
            if are_so(at(middle)) {
                least = middle;
            } else {
                most = middle - 1;
            }
        }
        least
    };
    let before = those(&|end| (end as f64) < time * US);
    if before == count {
        return 0.0;
    }
    let end = at(before + 1);
    let with = those(&|other| other <= end);
    let wide = 1_u64 << (u64::BITS - end.leading_zeros()).saturating_sub(8);
    let from = (end + 1).saturating_sub(wide) as f64;
    let part = ((time * US - from) / wide as f64).clamp(0.0, 1.0);
    1.0 - (before as f64 + part * (with - before) as f64) / count as f64
}

#[allow(clippy::cast_precision_loss)]
fn busy(direction: &DirectionTally) -> f64 {
    direction.busy as f64 / direction.up as f64
}

/// Reads and writes of the first workload together.
pub(crate) fn all_latencies(tally: &Tally) -> Histogram {
    let mut all = tally.workloads[0].reads.latency.clone();
    all.merge(&tally.workloads[0].writes.latency);
    all
}
