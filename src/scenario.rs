//! From text to site: reads a scenario, and finds every problem of it in one go.
//!
//! The TOML is parsed with the place of every key and value kept, overrides are laid over it, and a walk
//! over the tables gives either a [`Site`] in which every reference holds, or all problems at once, each
//! with its line and what to do. What is not stated gets a default; every input, stated or not, is listed
//! with its mark in [`Site::assumptions`].
//!
//! Left out: files. Whoever calls [`read`] fetches the traces that a scenario names.

mod arrivals;
mod bus;
mod context;
mod control;
mod counters;
mod cursor;
mod day;
mod events;
mod fate;
mod groups;
mod growth;
pub mod kinds;
mod links;
mod names;
mod parts;
mod prices;
mod problem;
mod promise;
mod protocol;
mod quantity;
mod recording;
mod schema;
mod syntax;
mod timers;
mod trace;
mod tree;
mod value;
mod whole;
mod work;

#[cfg(test)]
mod tests;

pub use counters::{Reading, counted_parts, counters, unknown_part};
pub use prices::{Price, prices, prices_of_nothing};
pub use problem::{Problem, Severity, render_problems};
pub use protocol::protocol_words;
pub use recording::{Recorded, Recording, Sample, recording};
pub use schema::schema;
pub use timers::{SHORTENED, without_effect};

use crate::site::{Assumption, Site, SwitchFamily, Variant};
use crate::wire::{Medium, Protocol};
use arrivals::Files;
use context::Context;
use cursor::Cursor;
use links::{DELAY_ETHERNET, DELAY_FC, Parts, RawLink};
use names::{Names, rows};
use parts::RawSwitch;
use sha2::{Digest, Sha256};
use tree::{Entry, Node, Origin, Override, Value};

/// A scenario's text and the name of the file it came from, for messages.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    /// File name.
    pub name: &'a str,
    /// Text in TOML.
    pub text: &'a str,
}

/// A scenario, understood.
#[derive(Clone, Debug)]
pub struct Loaded {
    /// What it describes.
    pub site: Site,
    /// What somebody should look at.
    pub warnings: Vec<Problem>,
    /// SHA-256 in hex of the text, the overrides in order of their keys, and the traces: two results with
    /// the same digest, seed and program version are the same.
    pub digest: String,
}

/// Reads a size as a scenario writes it, `"64KiB"`, from 1 byte to `max`.
///
/// # Errors
/// What is expected instead, as the end of a sentence.
pub fn size(text: &str, max: u64) -> Result<u64, String> {
    quantity::size(text, max).map_err(|_| {
        let most = quantity::written_size(max);
        let meant = quantity::meant_size(text).unwrap_or_else(|| "for example 64KiB".to_owned());
        format!("a size from 1B to {most}; {meant}")
    })
}

/// The word of a list that was meant: misspelt, or with its parts in another order.
#[must_use]
pub fn nearest<'k>(word: &str, known: &[&'k str]) -> Option<&'k str> {
    problem::near(word, known.iter().copied())
}

/// Reads a length as a scenario writes it, `"40m"`: millimetres.
///
/// # Errors
/// What is expected instead, as the end of a sentence.
pub fn length(text: &str) -> Result<u64, String> {
    quantity::length_mm(text).map_err(|_| "a length from 0m to 1000km, for example 40m".to_owned())
}

/// A protocol by its word (`plain` too), with options written as in a workload's table, `KEY=VALUE` each; what is not
/// stated has its default.
///
/// # Errors
/// Every problem of the word and the options; never empty.
pub fn protocol(word: &str, options: &[(String, String)]) -> Result<Protocol, Vec<Problem>> {
    let sets: Vec<String> = options
        .iter()
        .map(|(key, value)| format!("{key}={value}"))
        .collect();
    let mut ctx = Context::new("", "", &sets);
    ctx.outside = "--option";
    let root: Vec<Entry> = overrides(&ctx, options)
        .into_iter()
        .zip(options)
        .map(|(option, (key, _))| Entry {
            key: key.clone(),
            origin: option.path[0].1.clone(),
            node: option.node,
        })
        .collect();
    let start = Origin::Default;
    let cursor = Cursor::new(&ctx, &root, &start, "", format!("protocol {word}"));
    let node = Node {
        value: Value::String(word.to_owned()),
        origin: Origin::Default,
    };
    let found = protocol::kind(&node)
        .map(|kind| protocol::options(&cursor, kind, &[]))
        .map_err(|fault| cursor.fault("protocol", &node, &fault));
    cursor.finish();
    match found {
        Ok(protocol) if !ctx.has_errors() => Ok(protocol),
        _ => Err(in_order(&ctx)),
    }
}

/// Most bytes of a scenario.
const TEXT_MAX: usize = 4 << 20;

/// Reads a scenario.
///
/// `set` holds overrides as `(key, value)`: `("run.seed", "3")`, `("link.edge-san.cage.lit", "4")`. A value
/// is TOML; a bare word is taken as a string. `files` gives the text of a trace by the name in the scenario.
///
/// # Errors
/// Every problem of the text, the overrides and the traces, in order of their lines; never empty.
pub fn read(
    source: Source<'_>,
    set: &[(String, String)],
    files: &dyn Fn(&str) -> Result<String, String>,
) -> Result<Loaded, Vec<Problem>> {
    let sets: Vec<String> = set
        .iter()
        .map(|(key, value)| format!("{key}={value}"))
        .collect();
    let ctx = Context::new(source.name, source.text, &sets);
    let (mut root, sound) = parse(&ctx);
    if !sound {
        return Err(in_order(&ctx));
    }
    // What is wrong with an override leaves the text as it is, and that is judged all the same.
    lay_over(&ctx, &mut root, &overrides(&ctx, set));
    let mut traces = Vec::new();
    let site = understand(&ctx, &root, files, &mut traces);
    let variants = variants(&ctx, &root, files);
    let steps = growth::steps(&ctx, &root, files);
    match site {
        Some(mut site) if !ctx.has_errors() => {
            site.variants = variants;
            site.steps = steps;
            let warnings = in_order(&ctx);
            Ok(Loaded {
                site,
                warnings,
                digest: digest(source.text, set, &traces),
            })
        }
        _ => {
            if !ctx.has_errors() {
                ctx.error(
                    &Origin::Text(0..0),
                    "the scenario cannot be understood",
                    "",
                    "",
                );
            }
            Err(in_order(&ctx))
        }
    }
}

/// Problems by line; overrides first, traces last.
fn in_order(ctx: &Context<'_>) -> Vec<Problem> {
    let mut problems = ctx.problems.take();
    keep_the_plainer(&mut problems);
    problems.sort_by_key(|problem| {
        let column = problem.line.map_or(0, |_| problem.column);
        (
            problem.line.is_some(),
            problem.file != ctx.file,
            problem.line,
            column,
        )
    });
    problems.dedup();
    problems
}

/// A value without quotes is read as a string, or as the number that it begins with. Where no string may stand in
/// its place, that says more than the quotes; what else is said of its line follows from reading it so.
fn keep_the_plainer(problems: &mut Vec<Problem>) {
    let bare = |problem: &Problem| problem.message.ends_with(syntax::BARE);
    let place = |problem: &Problem| (problem.file.clone(), problem.line, problem.column);
    let (bares, others): (Vec<_>, Vec<_>) = problems
        .iter()
        .map(|problem| (bare(problem), place(problem)))
        .partition(|(bare, _)| *bare);
    problems.retain(|problem| {
        let own = place(problem);
        let line = |(_, other): &(bool, (String, Option<u32>, u32))| {
            (&other.0, other.1) == (&own.0, own.1)
        };
        if bare(problem) {
            !others.iter().any(|(_, other)| *other == own)
        } else {
            !bares.iter().any(line) || bares.iter().any(|(_, other)| *other == own)
        }
    });
}

fn digest(text: &str, set: &[(String, String)], traces: &[String]) -> String {
    let mut hash = Sha256::new();
    let mut part = |bytes: &str| {
        // Lengths between, so that no two different inputs run together alike.
        hash.update((bytes.len() as u64).to_le_bytes());
        hash.update(bytes.as_bytes());
    };
    part(text);
    let mut pairs = set.to_vec();
    pairs.sort();
    for (key, value) in &pairs {
        part(key);
        part(value);
    }
    for trace in traces {
        part(trace);
    }
    hash.finalize()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

/// Parses the text; what is wrong with it is noted. The second value says whether it can be understood.
fn parse(ctx: &Context<'_>) -> (Vec<Entry>, bool) {
    if ctx.text.len() > TEXT_MAX {
        ctx.error(
            &Origin::Text(0..0),
            "the scenario is too long",
            "at most 4 MiB",
            "",
        );
        return (Vec::new(), false);
    }
    syntax::parse(ctx)
}

/// Parses the overrides from outside.
fn overrides(ctx: &Context<'_>, set: &[(String, String)]) -> Vec<Override> {
    set.iter()
        .enumerate()
        .filter_map(|(index, (key, value))| {
            let whole = Origin::Set(index, 0..ctx.sets[index].len());
            if key.is_empty() || value.trim().is_empty() {
                ctx.error(
                    &whole,
                    "an override needs a key and a value",
                    "KEY=VALUE",
                    "",
                );
                return None;
            }
            let start = key.len() + 1;
            let place = move |range: std::ops::Range<usize>| {
                Origin::Set(index, range.start + start..range.end + start)
            };
            let path = tree::segments(key, |range| Origin::Set(index, range));
            Some(Override {
                path,
                node: set_value(value, &place),
            })
        })
        .collect()
}

/// A value of an override: TOML, or a bare word as a string.
fn set_value(value: &str, place: &dyn Fn(std::ops::Range<usize>) -> Origin) -> Node {
    toml::de::DeValue::parse(value).map_or_else(
        |_| Node {
            value: Value::String(value.trim().to_owned()),
            origin: place(0..value.len()),
        },
        |parsed| tree::of_value(&parsed, place),
    )
}

fn lay_over(ctx: &Context<'_>, root: &mut Vec<Entry>, overrides: &[Override]) {
    for set in overrides {
        if let Err(misfit) = tree::apply(root, set) {
            ctx.error(
                &misfit.origin,
                &misfit.message,
                &misfit.expected,
                &misfit.help,
            );
        }
    }
}

/// Walks over the whole tree. `None` when something is too broken to go on; problems are noted.
fn understand(
    ctx: &Context<'_>,
    root: &[Entry],
    files: Files<'_>,
    traces: &mut Vec<String>,
) -> Option<Site> {
    let start = Origin::Text(0..0);
    let top = Cursor::new(ctx, root, &start, "", "the scenario");
    top.get("format", &|node: &Node| {
        value::whole(1, 1)(node).map_err(|mut fault| {
            "1, the only grammar there is".clone_into(&mut fault.expected);
            fault
        })
    });
    if !top.has("format") {
        ctx.error(
            &start,
            "the scenario does not say which grammar it follows",
            "format = 1",
            "put `format = 1` at the top",
        );
    }
    let title = top
        .get("title", &value::text)
        .unwrap_or_else(|| title_of(ctx.file));
    let run = control::run(&top);
    let timers = timers::global(&top);
    let before = ctx.errors_of_shape();
    let names = Names::read(&top);
    let chassis = parts::chassis(&top, &names);
    let hosts = parts::hosts(&top, &names, &chassis, &timers, &work::plain_only(&names));
    let raw_switches = parts::switches(&top, &names, &chassis);
    let arrays = parts::arrays(&top, &names);
    let links = links::links(
        &top,
        &names,
        &Parts {
            chassis: &chassis,
            hosts: &hosts,
            switches: &raw_switches,
        },
    );
    let switches = delays(ctx, raw_switches, &links);
    let built = ctx.errors_of_shape() == before && links.iter().all(Option::is_some);
    let shapes = day::Shapes::read(&top, &names);
    let workloads = work::workloads(ctx, (&names, &shapes), &links, files, traces);
    let before = ctx.errors();
    let groups = fate::groups(&top);
    let outages = control::outages(&top, &switches, &groups);
    let events = events::events(&top, &outages, &groups);
    let scripted = ctx.errors() == before;
    // A table under a name that no table has may hold what seems to be missing: that is told instead.
    if !root.iter().any(syntax::is_strange) {
        missing(&top, &names);
    }
    for key in ["variant", "step", "growth"] {
        top.entry(key);
    }
    let growth = growth::growth(&top, &names, &workloads);
    let site = Site {
        title,
        run,
        timers,
        chassis,
        hosts,
        switches,
        arrays,
        links: links
            .into_iter()
            .flatten()
            .map(|link| link.family)
            .collect(),
        workloads,
        outages,
        groups: groups.iter().map(fate::Group::fate).collect(),
        events,
        growth,
        steps: Vec::new(),
        variants: Vec::new(),
        assumptions: sorted(ctx.assumptions.take()),
    };
    // Where the parts are known, what can be said of the whole is said, whatever else is wrong.
    if built {
        check_whole(&top, &names, &site, &groups, scripted);
    }
    top.finish();
    (!ctx.has_errors()).then_some(site)
}

/// The name of a scenario that states none: that of its file.
fn title_of(file: &str) -> String {
    let name = file.rsplit(['/', '\\']).next().unwrap_or(file);
    let stem = name.strip_suffix(".toml").unwrap_or(name);
    if stem.is_empty() {
        "A scenario without a title".to_owned()
    } else {
        stem.to_owned()
    }
}

/// A scenario without hosts, arrays, links or work has nothing to simulate.
fn missing(top: &Cursor<'_, '_>, names: &Names<'_>) {
    for (family, word) in [
        (&names.hosts, "host"),
        (&names.arrays, "array"),
        (&names.links, "link"),
        (&names.workloads, "workload"),
    ] {
        if family.rows.is_empty() && !top.has(word) {
            top.ctx.error(
                top.origin,
                &format!("the scenario has no {word}"),
                &format!("at least one [[{word}]]"),
                "",
            );
        }
    }
}

/// Guesses first, then by how far a value can be relied on; within that in order of reading.
fn sorted(mut assumptions: Vec<Assumption>) -> Vec<Assumption> {
    assumptions.sort_by_key(|assumption| assumption.basis);
    assumptions
}

/// Fills in the delay of switches that state none: that of FC switches when all their links are FC.
fn delays(
    ctx: &Context<'_>,
    switches: Vec<RawSwitch>,
    links: &[Option<RawLink>],
) -> Vec<SwitchFamily> {
    switches
        .into_iter()
        .enumerate()
        .map(|(index, switch)| {
            let mut family = switch.family;
            if switch.delay_stated {
                return family;
            }
            let end = crate::site::End::Switch(index);
            let mut media = links
                .iter()
                .flatten()
                .filter(|link| link.family.from == end || link.family.to == end)
                .map(|link| link.family.medium)
                .peekable();
            let fc =
                media.peek().is_some() && media.all(|medium| medium == Some(Medium::FibreChannel));
            let default = if fc { DELAY_FC } else { DELAY_ETHERNET };
            family.delay = quantity::time(default.text).unwrap_or_default();
            ctx.assume(
                format!("switch.{}.delay", family.name),
                format!("forwarding delay, switch `{}`", family.name),
                default.text.to_owned(),
                (default.basis, default.source.to_owned(), None),
            );
            family
        })
        .collect()
}

/// What can only be said of a whole site whose parts are known: sizes, names of instances, routes, patterns. What is said of
/// a workload needs that one to be understood; `scripted` says that groups, outages and events are.
fn check_whole(
    top: &Cursor<'_, '_>,
    names: &Names<'_>,
    site: &Site,
    groups: &[fate::Group],
    scripted: bool,
) {
    let before = top.ctx.errors();
    whole::sizes(top, names, site);
    if top.ctx.errors() > before {
        return;
    }
    whole::instance_names(top, names, site);
    whole::routes(top, names, site);
    whole::teams(top, names, site);
    whole::cycles(top, names, site);
    let before = top.ctx.errors();
    let parts = crate::topology::part_names(site);
    events::unmatched(top, site, groups, &parts);
    fate::clashes(top, groups, &site.outages, &parts);
    if scripted && top.ctx.errors() == before {
        events::follow(top, site);
    }
}

/// Reads every `[[variant]]`: the same tree with its own overrides on top.
fn variants(ctx: &Context<'_>, root: &[Entry], files: Files<'_>) -> Vec<Variant> {
    let start = Origin::Text(0..0);
    let top = Cursor::new(ctx, root, &start, "", "the scenario");
    let mut variants: Vec<Variant> = Vec::new();
    for (index, row) in rows(&top, "variant").into_iter().enumerate() {
        let name = tree::entry_name(row.entries).unwrap_or_else(|| format!("{}", index + 1));
        let cursor = Cursor::new(
            ctx,
            row.entries,
            row.origin,
            format!("variant.{name}"),
            format!("variant `{name}`"),
        );
        cursor.need("name", &value::text, "\"light the dark legs\"");
        if variants.iter().any(|known| known.name == name) {
            ctx.error(
                row.origin,
                &format!("the variant `{name}` is there twice"),
                "each name once",
                "",
            );
        }
        let Some(table) = cursor.table("set") else {
            if !cursor.has("set") {
                let help = "for example set = { \"link.edge-san.members\" = 4 }";
                ctx.error(
                    row.origin,
                    &format!("{} sets nothing", cursor.who),
                    "it needs `set`",
                    help,
                );
            }
            continue;
        };
        let (set, overrides) = settings(ctx, &table);
        cursor.finish();
        if let Some(site) = variant_site(ctx, root, ("variant", &name), &overrides, files) {
            variants.push(Variant {
                name,
                set,
                site: Box::new(site),
            });
        }
    }
    variants
}

/// What a `set` table sets: as written, and as overrides.
fn settings(ctx: &Context<'_>, table: &Cursor<'_, '_>) -> (Vec<(String, String)>, Vec<Override>) {
    let one = |entry: &Entry| {
        let path = tree::segments(&entry.key, |_| entry.origin.clone());
        let node = entry.node.clone();
        let written = (entry.key.clone(), ctx.written(&entry.node.origin));
        (written, Override { path, node })
    };
    table.all().map(one).unzip()
}

/// The site with overrides, of a variant or of a step of that name.
fn variant_site(
    ctx: &Context<'_>,
    root: &[Entry],
    (word, name): (&str, &str),
    overrides: &[Override],
    files: Files<'_>,
) -> Option<Site> {
    let mut own = Context::new(ctx.file, ctx.text, ctx.sets);
    own.prefix = format!("in {word} `{name}`, ");
    let mut tree: Vec<Entry> = root
        .iter()
        .filter(|entry| entry.key != "variant" && entry.key != "step")
        .cloned()
        .collect();
    lay_over(&own, &mut tree, overrides);
    // What can be laid over may be wrong too.
    let site = understand(&own, &tree, files, &mut Vec::new());
    let site = site.filter(|_| !own.has_errors());
    // What is wrong with the scenario itself, or with a step before, would only be said again, and so would warnings:
    // of problems at one place that of the scenario is told.
    let problems = own.problems.take();
    let mut known = ctx.problems.borrow_mut();
    let said = |problem: &Problem| {
        let message = problem.message.strip_prefix(&own.prefix);
        let message = message.unwrap_or(&problem.message);
        known.iter().any(|other| {
            (other.line, other.column, &other.file) == (problem.line, problem.column, &problem.file)
                && other.severity == Severity::Error
                && (other.message.ends_with(message) || !other.message.starts_with("in "))
        })
    };
    let new: Vec<Problem> = problems
        .into_iter()
        .filter(|problem| problem.severity == Severity::Error && !said(problem))
        .collect();
    known.extend(new);
    site
}
