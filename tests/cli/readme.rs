//! The shell commands of README.md work as they stand there.

use super::{err, out};
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

fn readme() -> String {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md");
    fs::read_to_string(path).expect("the README is there")
}

/// The lines of every block marked `sh`, in order.
fn commands(text: &str) -> Vec<&str> {
    let mut inside = false;
    let mut found = Vec::new();
    for line in text.lines() {
        match (inside, line) {
            (false, "```sh") => inside = true,
            (true, "```") => inside = false,
            (true, command) => found.push(command),
            _ => {}
        }
    }
    found
}

/// Runs a line in a shell that finds the program, in a folder that has the scenarios.
pub(super) fn shell(folder: &Path, line: &str) -> Output {
    let program = Path::new(env!("CARGO_BIN_EXE_halfloom"));
    let beside = program.parent().expect("it lies in a folder");
    let path = std::env::var("PATH").unwrap_or_default();
    Command::new("sh")
        .args(["-c", line])
        .env("PATH", format!("{}:{path}", beside.display()))
        .current_dir(folder)
        .output()
        .expect("a shell starts")
}

pub(super) fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).expect("a temporary folder can be written");
    for entry in fs::read_dir(from).expect("the scenarios are there") {
        let entry = entry.expect("they can be listed");
        let to = to.join(entry.file_name());
        if entry.path().is_dir() {
            copy(&entry.path(), &to);
        } else {
            fs::copy(entry.path(), to).expect("they can be copied");
        }
    }
}

#[test]
fn every_command_runs_in_the_order_of_the_page() {
    let text = readme();
    let place = tempfile::tempdir().expect("a temporary folder");
    let scenarios = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios");
    copy(&scenarios, &place.path().join("scenarios"));
    let mut run = 0;
    for line in commands(&text) {
        // The build and the long run are what whoever runs this test has at hand anyway.
        if line.starts_with("cargo ") {
            continue;
        }
        let output = shell(place.path(), line);
        let code = output.status.code().expect("it ended by itself");
        // A promise that is missed or undecided is an answer, not a failure.
        assert!(
            matches!(code, 0 | 1),
            "`{line}` ended with {code}: {}",
            err(&output)
        );
        run += 1;
    }
    assert!(run > 10, "only {run} commands found");
}

#[test]
fn the_two_commands_at_the_top_name_what_is_there() {
    let text = readme();
    let top = commands(&text);
    assert_eq!(
        top[..2],
        [
            "cargo run --release -- report scenarios/ostrel.toml",
            "cargo test --release"
        ]
    );
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let output = shell(root, "halfloom check scenarios/ostrel.toml");
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
}

/// 65,536 bytes over 25GbE: 3125 MB/s × 65,536 ÷ 69,700; over 32GFC: 3400 MB/s × 65,536 ÷ 67,540.
#[test]
fn the_figures_it_quotes_are_the_ones_printed() {
    let text = readme();
    let by_hand = [
        ("nvme-tcp", "25GbE --success", 3125.0 * 65_536.0 / 69_700.0),
        ("fc-scsi", "32GFC", 3400.0 * 65_536.0 / 67_540.0),
    ];
    for (protocol, over, payload) in by_hand {
        let line = format!("halfloom wire --protocol {protocol} --size 64KiB --over {over}");
        assert!(text.contains(&line), "{line}");
        let figure = format!("{payload:.1}");
        assert!(text.contains(&figure), "{figure}");
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let printed = out(&shell(root, &line));
        assert!(printed.contains(&figure), "{figure}: {printed}");
    }
}

/// 12 % and 28 %: 3299.1 ÷ 2938.3 and 32 ÷ 25.
#[test]
fn the_picture_of_sizes_is_the_one_that_the_command_draws() {
    let text = readme();
    let command = "halfloom wire --sweep --mtu 1500,9000 --shape page --svg target/sizes.svg --png target/sizes.png";
    assert!(text.contains(command) && text.contains("12 % apart"));
    let place = tempfile::tempdir().expect("a temporary folder");
    fs::create_dir(place.path().join("target")).expect("a temporary folder can be written");
    let output = shell(place.path(), command);
    assert_eq!(output.status.code(), Some(0), "{}", err(&output));
    let drawn = fs::read_to_string(place.path().join("target/sizes.svg")).expect("it was drawn");
    let shipped = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/pictures/sizes.svg");
    let shipped = fs::read_to_string(shipped).expect("the picture is there");
    assert_eq!(
        drawn, shipped,
        "draw it again with the command of the README"
    );
    let png = fs::read(place.path().join("target/sizes.png")).expect("it was drawn");
    assert_eq!(&png[16..20], 1200_u32.to_be_bytes());
}
