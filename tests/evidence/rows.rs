//! Queues and networks whose figures are known in closed form or were solved exactly, run by the model.
//!
//! The unit of time is the microsecond and, unless a row says otherwise, the mean service. A share "beyond" a
//! time is compared with one minus its percentile, which needs no bucket of a histogram.
mod closed;
mod networks;
mod one_server;
mod several_servers;

pub(crate) use closed::closed_and_bursty;
pub(crate) use networks::batches_and_networks;
pub(crate) use one_server::one_server;
pub(crate) use several_servers::several_servers;

use super::rig::{Runs, direct, poisson, site};
use halfloom::site::Site;

const REPLICATIONS: u32 = 60;

/// So many I/Os in all replications together, after a warm-up of so many microseconds.
fn run(site: &Site, rate: f64, ios: f64, warm_up: f64) -> Runs {
    Runs::of(
        site,
        REPLICATIONS,
        warm_up,
        warm_up + ios / f64::from(REPLICATIONS) / rate,
    )
}

/// Start-up of a queue is over after some multiples of 1/(1−ρ)² services.
fn warm(rho: f64, service: f64) -> f64 {
    service * (8.0 / ((1.0 - rho) * (1.0 - rho))).clamp(200.0, 4_000.0)
}

/// The link and the answer of a station take 16 ps, of a link 800 ps.
const STATION: f64 = 16e-6;
const LINK: f64 = 800e-6;

/// One Poisson stream over several equal links of unit time.
fn spread(name: &str, links: u32, policy: &str, rate: f64) -> Site {
    direct(
        name,
        &format!("speed = \"10Gb/s\"\nports = {links}"),
        "controllers = 1\nparallel = 1000\nwrite = { time = \"0s\" }",
        &format!("paths = \"{policy}\""),
        1250,
        &poisson(rate),
    )
}

/// Reads over 8GFC whose sizes are an exponential law's on a grid of 4 KiB, so that the link they come back on is an
/// exponential server: (2j − 1) x 2 KiB with chance p(1 − p)^(j − 1), 1/p = 16.5. That is 32 frames on the mean, with a
/// squared coefficient of variation of 255.75/256. A frame of 2,048 B is 2,108 B on the wire with its delimiters and
/// fill words, the status 84 B, at 850 MB/s (FC-FS and FC-PI: `src/wire` has the clauses): 79.459 us, and the array
/// takes what the row says in terms of it. The command's 92 B the other way add 0.1 us.
const COMES_BACK: f64 = (32.0 * 2_108.0 + 84.0) / 850.0;

/// `links` between a host and an array of so many servers; a switch and the way on to the host, where there is one,
/// take 0.3 us for the last frame and the status.
fn reads_of_exponential_size(
    name: &str,
    links: &str,
    (servers, service): (u32, f64),
    arrivals: &str,
) -> Site {
    let p: f64 = 1.0 / 16.5;
    let grid = 200;
    let sizes: Vec<String> = (1..=grid)
        .map(|j| {
            let tail = if j == grid { 1.0 } else { p };
            let chance = tail * (1.0 - p).powi(j - 1);
            format!("\"{}KiB\" = {chance:e}", (2 * j - 1) * 2)
        })
        .collect();
    let mut site = site(
        name,
        &format!(
            "format = 1\n[[host]]\nname = \"app\"\npaths = \"random\"\n\
             [[array]]\nname = \"box\"\ncontrollers = 1\nparallel = {servers}\n\
             read = {{ hit = \"0%\", miss_time = {{ exponential = \"{}ps\" }} }}\n{links}\
             [[workload]]\nname = \"w\"\nhosts = \"app\"\narray = \"box\"\nprotocol = \"fc-scsi\"\n\
             adapter = \"0s\"\nread = \"100%\"\nsizes = {{ {} }}\n\
             arrivals = {arrivals}\n",
            (service * COMES_BACK * 1e6).round(),
            sizes.join(", ")
        ),
    );
    site.hosts[0].queue_depth = None;
    site
}
