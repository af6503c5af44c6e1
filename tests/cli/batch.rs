//! The examples of `scenarios/batch`: a sweep in pieces under a batch engine.

use super::sweep::{bytes, place, swept};
use super::{code, command, err};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

fn example(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("scenarios/batch")
        .join(name)
}

/// Whether a program is there; if not, that the test is skipped.
fn there(program: &str) -> bool {
    let look = ["-c", &format!("command -v {program}")];
    let found = Command::new("sh").args(look).output();
    let found = found.is_ok_and(|output| output.status.success());
    if !found {
        println!("skipped: {program} is not there");
    }
    found
}

/// A script of `scenarios/batch` in a folder with the small site.
fn script(folder: &Path, line: &str) -> Output {
    let batch = Path::new(env!("CARGO_MANIFEST_DIR")).join("scenarios/batch");
    super::readme::copy(&batch, &folder.join("batch"));
    super::readme::shell(folder, line)
}

const VARIED: &str = "small.toml --vary link.core-store.speed=16GFC,32GFC,64GFC --vary load=1..4 --set run.replications=4";

#[test]
fn gnu_parallel_runs_the_pieces() {
    if !there("parallel") {
        return;
    }
    let place = place();
    let folder = place.path();
    swept(folder, &["--csv", "one.csv", "--quiet"]);
    let output = script(folder, &format!("sh batch/parallel.sh {VARIED}"));
    assert_eq!(code(&output), 0, "{}", err(&output));
    assert_eq!(bytes(folder, "whole.csv"), bytes(folder, "one.csv"));
}

#[test]
fn a_slurm_job_array_runs_the_pieces() {
    if !there("sbatch") || !there("slurmctld") {
        return;
    }
    let place = place();
    let folder = place.path();
    swept(folder, &["--csv", "one.csv", "--quiet"]);
    let node = Path::new(env!("CARGO_MANIFEST_DIR")).join(".ci/slurm-one-node");
    let line = format!("{} sbatch --wait batch/slurm.sh {VARIED}", node.display());
    let output = script(folder, &line);
    if code(&output) == 77 {
        println!("skipped: {}", err(&output));
        return;
    }
    assert_eq!(code(&output), 0, "{}", err(&output));
    let merged = script(folder, "halfloom merge piece-*.csv -o whole.csv");
    assert_eq!(code(&merged), 0, "{}", err(&merged));
    assert_eq!(bytes(folder, "whole.csv"), bytes(folder, "one.csv"));
}

/// The script of all checks asks for each program of the batch engines: one that is there does not stand for the others.
#[test]
fn all_checks_ask_for_every_batch_program() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(".ci/run");
    let text = fs::read_to_string(path).expect("it can be read");
    let begin = text.find("all_there() {").expect("it asks");
    let length = text[begin..].find("\n}\n").expect("it ends") + 3;
    let asks = |programs: &str| {
        let line = format!("{}all_there {programs}", &text[begin..begin + length]);
        let output = Command::new("bash").args(["-c", &line]).output();
        output.expect("bash runs").status.success()
    };
    assert!(asks("sh bash"));
    assert!(!asks("sh no-such-program-is-here bash"));
    assert!(!asks("no-such-program-is-here bash"));
    assert!(text.contains("if all_there sbatch slurmctld slurmd munged parallel; then"));
}

/// Each engine says by its own variables which piece a process is: four processes with those of each, joined, are the whole.
#[test]
fn the_variables_of_each_engine_make_the_pieces_of_the_whole() {
    let place = place();
    let folder = place.path();
    swept(folder, &["--csv", "one.csv", "--quiet"]);
    type Variables = fn(usize) -> Vec<(&'static str, String)>;
    let engines: [(&str, Variables); 3] = [
        ("auto", |index| {
            let number = |number: usize| number.to_string();
            vec![
                ("SLURM_ARRAY_TASK_ID", number(index + 1)),
                ("SLURM_ARRAY_TASK_MIN", number(1)),
                ("SLURM_ARRAY_TASK_MAX", number(4)),
                ("SLURM_ARRAY_TASK_STEP", number(1)),
                ("SLURM_ARRAY_TASK_COUNT", number(4)),
            ]
        }),
        ("auto/4", |index| {
            vec![("JOB_COMPLETION_INDEX", index.to_string())]
        }),
        ("auto/4", |index| {
            vec![("PARALLEL_SEQ", (index + 1).to_string())]
        }),
    ];
    for (engine, (slice, variables)) in engines.into_iter().enumerate() {
        let mut join = vec!["merge".to_owned()];
        for index in 0..4 {
            let name = format!("piece-{engine}-{index}.csv");
            let line = format!("sweep {VARIED} --slice {slice} --quiet --csv {name}");
            let words: Vec<&str> = line.split(' ').collect();
            let output = command(folder, &words).envs(variables(index)).output();
            let output = output.expect("it starts");
            assert!([0, 1].contains(&code(&output)), "{}", err(&output));
            join.push(name);
        }
        let whole = format!("whole-{engine}.csv");
        join.extend(["-o".to_owned(), whole.clone()]);
        let words: Vec<&str> = join.iter().map(String::as_str).collect();
        let merged = super::halfloom(folder, &words);
        assert_eq!(code(&merged), 0, "{}", err(&merged));
        assert_eq!(bytes(folder, &whole), bytes(folder, "one.csv"), "{slice}");
    }
}

/// What the pods of the indexed job run, run here with the index that each is given.
#[test]
fn the_command_of_the_indexed_job_runs_the_pieces() {
    let text = fs::read_to_string(example("kubernetes.yaml")).expect("it can be read");
    let lines: Vec<&str> = text.lines().collect();
    let at = lines
        .iter()
        .position(|line| line.trim() == "- >-")
        .expect("a folded text");
    let deep = |line: &str| line.len() - line.trim_start().len();
    let own = lines[at + 1..]
        .iter()
        .take_while(|line| deep(line) > deep(lines[at]));
    let folded: Vec<&str> = own.map(|line| line.trim()).collect();
    let line = folded.join(" ");
    let stated = "site.toml --vary link.edge-san.members=2,3,4 --vary load=1..2/0.25";
    assert!(
        line.contains(stated) && line.contains("--slice auto/4"),
        "{line}"
    );
    for key in [
        "completions: 4",
        "parallelism: 4",
        "completionMode: Indexed",
    ] {
        assert!(text.contains(key), "{key}");
    }
    let line = line.replace(stated, VARIED);
    let place = place();
    let folder = place.path();
    swept(folder, &["--csv", "one.csv", "--quiet"]);
    for index in 0..4 {
        let output = super::readme::shell(
            folder,
            &format!("export JOB_COMPLETION_INDEX={index}\n{line}"),
        );
        assert_eq!(code(&output), 0, "{}", err(&output));
    }
    let merged = script(folder, "halfloom merge piece-*.csv -o whole.csv");
    assert_eq!(code(&merged), 0, "{}", err(&merged));
    assert_eq!(bytes(folder, "whole.csv"), bytes(folder, "one.csv"));
}

/// The scripts parse as what they are, and the manifest as YAML where there is a reader of that.
#[test]
fn the_examples_are_well_formed() {
    for (name, shell) in [
        ("slurm.sh", "sh"),
        ("slurm.sh", "bash"),
        ("parallel.sh", "sh"),
        ("parallel.sh", "bash"),
    ] {
        let output = Command::new(shell).arg("-n").arg(example(name)).output();
        let output = output.expect("the shell runs");
        assert!(output.status.success(), "{name}, {shell}: {}", err(&output));
    }
    let manifest = example("kubernetes.yaml");
    let text = fs::read_to_string(&manifest).expect("it can be read");
    assert!(!text.contains('\t'), "YAML is indented by spaces");
    let reads = "import sys, yaml\nall = list(yaml.safe_load_all(open(sys.argv[1])))\nassert len(all) == 1\njob = all[0]\n\
                 spec = job['spec']\nassert (job['apiVersion'], job['kind'], spec['completionMode']) == ('batch/v1', 'Job', 'Indexed')\n\
                 pod = spec['template']['spec']\nassert pod['restartPolicy'] == 'Never'\n\
                 mounts = [m['name'] for c in pod['containers'] for m in c['volumeMounts']]\n\
                 assert set(mounts) == {v['name'] for v in pod['volumes']}\nassert spec['completions'] == spec['parallelism'] == 4\n";
    let reader = Command::new("python3").args(["-c", "import yaml"]).output();
    if !reader.is_ok_and(|output| output.status.success()) {
        println!("skipped: there is no reader of YAML");
        return;
    }
    let output = Command::new("python3")
        .args(["-c", reads])
        .arg(&manifest)
        .output();
    let output = output.expect("it was there");
    assert!(output.status.success(), "{}", err(&output));
}
