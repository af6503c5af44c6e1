//! Reading is total: whatever becomes of a scenario's text, it is understood or refused with a reason, and what
//! is understood can be run. And it is the meaning that is read, not the way it is written.

use super::rig::{runner, same};
use halfloom::model::{Compiled, Limits, Stop, Watch, World};
use halfloom::scenario::kinds::KINDS;
use halfloom::scenario::{Loaded, Problem, Severity, Source, read, render_problems};
use halfloom::site::{Assumption, Site};
use halfloom::study::review::review;
use halfloom::unit::Instant;
use proptest::prelude::*;
use std::cell::Cell;
use std::path::Path;

/// Every scenario that ships, and every starter.
fn shipped() -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    let mut found: Vec<(String, String)> = [folder.clone(), folder.join("lessons")]
        .into_iter()
        .flat_map(|folder| std::fs::read_dir(folder).expect("scenarios ship"))
        .map(|entry| entry.expect("it can be listed").path())
        .filter(|path| path.extension().is_some_and(|end| end == "toml"))
        .map(|path| {
            let name = path
                .file_name()
                .expect("a name")
                .to_string_lossy()
                .into_owned();
            (name, std::fs::read_to_string(path).expect("it can be read"))
        })
        .collect();
    found.sort();
    found.extend(
        KINDS
            .iter()
            .map(|kind| (kind.name.to_owned(), kind.text.to_owned())),
    );
    assert!(found.len() >= 15);
    found
}

fn loaded(name: &str, text: &str, set: &[(String, String)]) -> Result<Loaded, Vec<Problem>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    read(Source { name, text }, set, &|trace| {
        std::fs::read_to_string(folder.join(trace)).map_err(|error| error.to_string())
    })
}

/// One change of a text.
#[derive(Clone, Debug)]
enum Edit {
    FlipBit(usize, u8),
    Byte(usize, u8),
    Delete(usize, usize),
    DropLine(usize),
    RepeatLine(usize),
    SwapLines(usize, usize),
    /// A value for another: the text behind the `=` of a line.
    Value(usize, &'static str),
    /// The values of two lines change places.
    SwapValues(usize, usize),
}

fn edits() -> impl Strategy<Value = Vec<Edit>> {
    let at = || 0..20_000_usize;
    let values = prop::sample::select(vec![
        "0",
        "-1",
        "1",
        "2",
        "4096",
        "1e308",
        "nan",
        "inf",
        "18446744073709551616",
        "\"\"",
        "[]",
        "{}",
        "true",
        "\"0s\"",
        "\"1ps\"",
        "\"24h\"",
        "\"1B\"",
        "\"64MiB\"",
        "\"100%\"",
        "\"A\"",
        "\"each\"",
        "\"shared\"",
        "\"1GbE\"",
        "\"128GFC\"",
        "\"1Mb/s\"",
        "\"10Tb/s\"",
        "\"mesh\"",
        "\"plain\"",
        "\"nfs\"",
        "\"1000M/s\"",
        "\"unlimited\"",
        "{ legs = 64, lit = 64 }",
        "{ closed = { depth = 65536 } }",
        "{ paced = \"1/s\" }",
        "\"*\"",
    ]);
    let edit = prop_oneof![
        (at(), 0..8_u8).prop_map(|(at, bit)| Edit::FlipBit(at, bit)),
        (at(), any::<u8>()).prop_map(|(at, byte)| Edit::Byte(at, byte)),
        (at(), 1..60_usize).prop_map(|(at, length)| Edit::Delete(at, length)),
        at().prop_map(Edit::DropLine),
        at().prop_map(Edit::RepeatLine),
        (at(), at()).prop_map(|(one, other)| Edit::SwapLines(one, other)),
        (at(), values).prop_map(|(at, value)| Edit::Value(at, value)),
        (at(), at()).prop_map(|(one, other)| Edit::SwapValues(one, other)),
    ];
    prop::collection::vec(edit, 1..4)
}

fn edited(text: &str, edits: &[Edit]) -> String {
    let mut text = text.to_owned();
    for edit in edits {
        text = match *edit {
            Edit::FlipBit(..) | Edit::Byte(..) | Edit::Delete(..) => in_bytes(&text, edit),
            _ => in_lines(&text, edit),
        };
    }
    text
}

fn in_bytes(text: &str, edit: &Edit) -> String {
    let mut bytes = text.as_bytes().to_vec();
    let length = bytes.len().max(1);
    match *edit {
        Edit::FlipBit(at, bit) => {
            if let Some(byte) = bytes.get_mut(at % length) {
                *byte ^= 1 << bit;
            }
        }
        Edit::Byte(at, new) => bytes.insert((at % length).min(bytes.len()), new),
        Edit::Delete(at, count) => {
            let at = (at % length).min(bytes.len());
            bytes.drain(at..(at + count).min(bytes.len()));
        }
        _ => {}
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

fn in_lines(text: &str, edit: &Edit) -> String {
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let count = lines.len().max(1);
    let valued: Vec<usize> = (0..lines.len())
        .filter(|line| lines[*line].contains(" = "))
        .collect();
    let split = |line: &str| -> (String, String) {
        let (key, value) = line.split_once(" = ").unwrap_or((line, ""));
        (key.to_owned(), value.to_owned())
    };
    match *edit {
        _ if lines.is_empty() => {}
        Edit::DropLine(at) => drop(lines.remove(at % count)),
        Edit::RepeatLine(at) => lines.insert(at % count, lines[at % count].clone()),
        Edit::SwapLines(one, other) => lines.swap(one % count, other % count),
        Edit::Value(at, value) if !valued.is_empty() => {
            let line = valued[at % valued.len()];
            lines[line] = format!("{} = {value}", split(&lines[line]).0);
        }
        Edit::SwapValues(one, other) if !valued.is_empty() => {
            let [one, other] = [one, other].map(|at| valued[at % valued.len()]);
            let (left, right) = (split(&lines[one]), split(&lines[other]));
            lines[one] = format!("{} = {}", left.0, right.1);
            if one != other {
                lines[other] = format!("{} = {}", right.0, left.1);
            }
        }
        _ => {}
    }
    lines.join("\n")
}

/// Runs the first instants of a site, if it is not a huge one.
fn tried(site: &Site) {
    let hosts: u64 = site
        .hosts
        .iter()
        .map(|family| u64::from(family.count))
        .sum();
    let links: u64 = site
        .links
        .iter()
        .map(|link| u64::from(link.members * link.ports))
        .sum();
    if hosts > 40 || links > 40 {
        return;
    }
    let _ = review(site);
    let compiled = Compiled::new(site, &[]);
    let watch = Watch {
        from: Instant::ZERO,
        to: Instant::ZERO + site.run.duration,
        transient: false,
    };
    let mut world = World::new(&compiled, 0, watch, Limits { events: 5_000 });
    world.run_until(watch.to, Stop::AtTheTime);
    let _ = world.finish();
}

#[test]
fn whatever_becomes_of_a_text_it_is_read_or_refused() {
    let texts = shipped();
    let strategy = (0..texts.len(), edits());
    // Read and run, refused.
    let seen = Cell::new((0_u32, 0_u32));
    let name = "whatever_becomes_of_a_text_it_is_read_or_refused";
    let ran = runner(name, 3_000).run(&strategy, |(which, edits)| {
        let (name, text) = &texts[which];
        let (read, refused) = seen.get();
        match loaded(name, &edited(text, &edits), &[]) {
            Ok(loaded) => {
                prop_assert!(
                    loaded
                        .warnings
                        .iter()
                        .all(|w| w.severity == Severity::Warning)
                );
                tried(&loaded.site);
                seen.set((read + 1, refused));
            }
            Err(problems) => {
                prop_assert!(problems.iter().any(|p| p.severity == Severity::Error));
                let shown = render_problems(&problems);
                prop_assert!(shown.contains("error: "), "{}", shown);
                for problem in &problems {
                    prop_assert!(!problem.message.is_empty() && !problem.file.is_empty());
                }
                seen.set((read, refused + 1));
            }
        }
        Ok(())
    });
    if let Err(error) = ran {
        panic!("{error}");
    }
    let (read, refused) = seen.get();
    assert!(
        read > 200 && refused > 200,
        "{read} read, {refused} refused"
    );
}

/// Marks in order of their keys, without lines; of a value that is a table only the letters, for it is shown as
/// it was written.
fn marks(site: &Site) -> String {
    let mark = |assumption: &Assumption| {
        let mut value: Vec<char> = assumption.value.chars().collect();
        if assumption.value.contains(',') {
            value.sort_unstable();
            value.dedup();
        }
        let value: String = value.into_iter().filter(|c| c.is_alphanumeric()).collect();
        format!(
            "{} {} {value} {:?}",
            assumption.key, assumption.what, assumption.basis
        )
    };
    let mut marks: Vec<String> = site.assumptions.iter().map(mark).collect();
    marks.sort();
    marks.join("\n")
}

/// What a site says, without lines. Promises and port budgets stand in the order of the text, in which they are
/// shown: here in another.
fn meaning(site: &Site) -> String {
    let mut bare = Site {
        assumptions: Vec::new(),
        variants: Vec::new(),
        ..site.clone()
    };
    for switch in &mut bare.switches {
        switch.ports.sort();
    }
    for work in &mut bare.workloads {
        let promises = &mut work.promises;
        for list in [
            &mut promises.healthy,
            &mut promises.lost,
            &mut promises.switching,
        ] {
            list.sort_by_key(|promise| format!("{promise:?}"));
        }
    }
    format!("{bare:#?}")
}

/// A TOML printer that knows nothing of scenarios puts keys in the order of the alphabet, writes out tables that
/// stood in one line, and drops every comment: the same site is read from what it prints.
#[test]
fn a_text_written_otherwise_is_the_same_site() {
    for (name, text) in shipped() {
        let one = loaded(&name, &text, &[]).unwrap_or_else(|p| panic!("{}", render_problems(&p)));
        let tree: toml::Table = text.parse().expect("it is TOML");
        let printed = toml::to_string_pretty(&tree).expect("it can be printed");
        assert!(printed != text && !printed.contains('#'));
        let other =
            loaded(&name, &printed, &[]).unwrap_or_else(|p| panic!("{}", render_problems(&p)));
        same(&name, &meaning(&one.site), &meaning(&other.site));
        same(&name, &marks(&one.site), &marks(&other.site));
        assert_eq!(one.site.variants.len(), other.site.variants.len());
        for (left, right) in one.site.variants.iter().zip(&other.site.variants) {
            assert_eq!(left.name, right.name);
            same(&name, &meaning(&left.site), &meaning(&right.site));
        }
        // The digest is of the text: another text is another scenario to it.
        assert_ne!(one.digest, other.digest);
        // And a change of meaning is seen.
        let set = [("run.seed".to_owned(), "987654321".to_owned())];
        let changed =
            loaded(&name, &printed, &set).unwrap_or_else(|p| panic!("{}", render_problems(&p)));
        assert!(meaning(&one.site) != meaning(&changed.site));
    }
}
