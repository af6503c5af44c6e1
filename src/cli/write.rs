//! Files that appear whole or not at all.

use super::claims;
use super::exit::Failure;
use super::stop;
use std::collections::BTreeSet;
use std::ffi::OsString;
use std::fs;
use std::io::{self, Write};
use std::path::{Component, Path, PathBuf};

/// The list of a folder's files that we leave in it: what is not on it is not ours to replace.
const LIST: &str = "contents.txt";
const LIST_HEAD: &str = "halfloom report folder; files in it:";

/// What to do with a folder that holds files of somebody else.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Foreign {
    /// Refuse.
    Refuse,
    /// Write ours among them, each file by itself; leave the rest alone.
    Join,
}

/// A temporary file or folder with the rights that a new one has by itself.
fn builder() -> tempfile::Builder<'static, 'static> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".halfloom-");
    builder
}

#[cfg(unix)]
fn rights(mode: u32) -> fs::Permissions {
    use std::os::unix::fs::PermissionsExt;
    // The file mode mask takes away from these, as it does for any new file.
    fs::Permissions::from_mode(mode)
}

fn folder_of(path: &Path) -> PathBuf {
    match path.parent() {
        Some(parent) if !parent.as_os_str().is_empty() => parent.to_path_buf(),
        _ => PathBuf::from("."),
    }
}

/// Writes a file beside its place and renames it.
pub(super) fn file(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    check_place(path)?;
    let wrap = |error| Failure::file("write", path, error);
    // A pipe or a device is written to as it is: a rename would replace it.
    if fs::metadata(path).is_ok_and(|found| !found.is_file()) {
        return fs::write(path, bytes).map_err(wrap);
    }
    // Through a symbolic link, not over it.
    let place = path.canonicalize().unwrap_or_else(|_| path.to_path_buf());
    let _kept = stop::writing();
    let mut builder = builder();
    #[cfg(unix)]
    builder.permissions(rights(0o666));
    let mut temporary = builder.tempfile_in(folder_of(&place)).map_err(wrap)?;
    temporary.write_all(bytes).map_err(wrap)?;
    temporary
        .persist(place)
        .map_err(|error| wrap(error.error))?;
    Ok(())
}

/// Writes a folder of files beside its place and renames it.
///
/// A folder that we wrote before, and that holds nothing else, is replaced; an empty one too. Any other is
/// refused or joined. Names are relative, with `/` between folders.
pub(super) fn folder(
    path: &Path,
    files: &[(String, Vec<u8>)],
    foreign: Foreign,
) -> Result<(), Failure> {
    let wrap = |error| Failure::file("write", path, error);
    let way = check_folder(path, foreign)?;
    let parent = folder_of(path);
    let _kept = stop::writing();
    fs::create_dir_all(&parent).map_err(wrap)?;
    let mut builder = builder();
    #[cfg(unix)]
    builder.permissions(rights(0o777));
    let temporary = builder.tempdir_in(&parent).map_err(wrap)?;
    fill(temporary.path(), files).map_err(wrap)?;
    match way {
        Way::Replace => replace(path, temporary).map_err(wrap),
        Way::Join => join(path, temporary.path(), files).map_err(wrap),
    }
}

/// How a folder will be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Way {
    /// As a whole.
    Replace,
    /// File by file.
    Join,
}

/// Whether [`folder`] would write there, and how: asked before the work whose result goes there.
pub(super) fn check_folder(path: &Path, foreign: Foreign) -> Result<Way, Failure> {
    no_dash(path)?;
    let wrap = |error| Failure::file("write", path, error);
    if path.exists() && !path.is_dir() {
        return Err(wrap(io::Error::other("a file has that name")));
    }
    let replaceable = !holds_current(path) && state(path).map_err(wrap)? != State::Foreign;
    match (replaceable, foreign) {
        (true, _) => Ok(Way::Replace),
        (false, Foreign::Join) => Ok(Way::Join),
        (false, Foreign::Refuse) => Err(Failure::InTheWay {
            what: format!("{} holds files that are not halfloom's", path.display()),
            help: "name another folder with -o, or add --force to write among them".to_owned(),
        }),
    }
}

/// Whether [`file()`] could write there: asked once, before the work whose result goes there.
pub(super) fn check_file(path: &Path) -> Result<(), Failure> {
    check_place(path)?;
    claims::writes(path)
}

/// `-` is a name for the standard output elsewhere; here that has the result itself, and a file of that name is hardly ever meant.
fn no_dash(path: &Path) -> Result<(), Failure> {
    if path.as_os_str() == "-" {
        return Err(Failure::arguments(
            "`-` is not taken as the standard output, which has the result itself",
            "name a file (./- for one of that name), or /dev/stdout where the system has it",
        ));
    }
    Ok(())
}

fn check_place(path: &Path) -> Result<(), Failure> {
    no_dash(path)?;
    let problem = if path.is_dir() {
        "it is a folder"
    } else if !folder_of(path).is_dir() {
        "its folder does not exist"
    } else {
        return Ok(());
    };
    Err(Failure::file("write", path, io::Error::other(problem)))
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Free,
    Ours,
    Foreign,
}

/// Whether the current folder is this one or lies in it: its place in the tree must not be renamed away.
fn holds_current(path: &Path) -> bool {
    match (path.canonicalize(), std::env::current_dir()) {
        (Ok(path), Ok(current)) => current.starts_with(path),
        _ => false,
    }
}

fn state(path: &Path) -> io::Result<State> {
    if !path.exists() {
        return Ok(State::Free);
    }
    if fs::symlink_metadata(path)?.is_symlink() {
        return Ok(State::Foreign);
    }
    let mut found = BTreeSet::new();
    walk(path, Path::new(""), &mut found)?;
    if found.is_empty() {
        return Ok(State::Free);
    }
    let list = fs::read_to_string(path.join(LIST)).unwrap_or_default();
    let mut lines = list.lines();
    let ours: BTreeSet<&str> = match lines.next() {
        Some(LIST_HEAD) => lines.chain([LIST]).collect(),
        _ => return Ok(State::Foreign),
    };
    if found.iter().all(|name| ours.contains(name.as_str())) {
        Ok(State::Ours)
    } else {
        Ok(State::Foreign)
    }
}

/// Every file below a folder, as a relative name with `/`.
fn walk(folder: &Path, name: &Path, found: &mut BTreeSet<String>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = name.join(entry.file_name());
        if entry.file_type()?.is_dir() {
            walk(&entry.path(), &name, found)?;
        } else {
            let parts: Vec<_> = name.iter().map(|part| part.to_string_lossy()).collect();
            found.insert(parts.join("/"));
        }
    }
    Ok(())
}

fn fill(folder: &Path, files: &[(String, Vec<u8>)]) -> io::Result<()> {
    let mut list = format!("{LIST_HEAD}\n");
    for (name, bytes) in files {
        let inside = Path::new(name)
            .components()
            .all(|part| matches!(part, Component::Normal(_)));
        assert!(
            inside && name != LIST,
            "our own names stay inside the folder"
        );
        let path = folder.join(name);
        if let Some(parent) = path.parent() {
            fs::create_dir_all(parent)?;
        }
        fs::write(path, bytes)?;
        list.push_str(name);
        list.push('\n');
    }
    fs::write(folder.join(LIST), list)
}

/// Puts the new folder in the place of the old one, which is out of the way only between two renames.
fn replace(path: &Path, temporary: tempfile::TempDir) -> io::Result<()> {
    if !path.exists() {
        fs::rename(temporary.path(), path)?;
        // It is no longer at its old place, so there is nothing to remove.
        let _ = temporary.keep();
        return Ok(());
    }
    let aside = builder().tempdir_in(folder_of(path))?;
    let old = aside.path().join("old");
    fs::rename(path, &old)?;
    if let Err(error) = fs::rename(temporary.path(), path) {
        fs::rename(&old, path)?;
        return Err(error);
    }
    let _ = temporary.keep();
    aside.close()
}

fn join(path: &Path, from: &Path, files: &[(String, Vec<u8>)]) -> io::Result<()> {
    let names = files.iter().map(|(name, _)| OsString::from(name));
    for name in names.chain([OsString::from(LIST)]) {
        let to = path.join(&name);
        if let Some(parent) = to.parent() {
            fs::create_dir_all(parent)?;
        }
        fs::rename(from.join(&name), to)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn files(text: &str) -> Vec<(String, Vec<u8>)> {
        [("report.html", text), ("charts/one.svg", "<svg/>")]
            .map(|(name, text)| (name.to_owned(), text.as_bytes().to_vec()))
            .to_vec()
    }

    fn names(path: &Path) -> Vec<String> {
        let mut found = BTreeSet::new();
        walk(path, Path::new(""), &mut found).expect("it is there");
        found.into_iter().collect()
    }

    #[test]
    fn our_own_folder_is_replaced_and_nothing_stays_beside_it() {
        let place = tempfile::tempdir().expect("a temporary folder");
        let path = place.path().join("out");
        folder(&path, &files("first"), Foreign::Refuse).expect("a new folder");
        let fewer = &files("second")[..1];
        folder(&path, fewer, Foreign::Refuse).expect("a folder of ours");
        assert_eq!(names(&path), ["contents.txt", "report.html"]);
        let text = fs::read_to_string(path.join("report.html")).expect("it was written");
        assert_eq!(text, "second");
        assert_eq!(fs::read_dir(place.path()).expect("it is there").count(), 1);
    }

    #[test]
    fn an_empty_folder_is_filled() {
        let place = tempfile::tempdir().expect("a temporary folder");
        folder(place.path(), &files("x"), Foreign::Refuse).expect("an empty folder");
        assert_eq!(names(place.path()).len(), 3);
    }

    #[test]
    fn somebodys_file_is_never_removed() {
        let place = tempfile::tempdir().expect("a temporary folder");
        let path = place.path().join("out");
        folder(&path, &files("first"), Foreign::Refuse).expect("a new folder");
        fs::write(path.join("notes.txt"), "mine").expect("a file among ours");
        let refused = folder(&path, &files("second"), Foreign::Refuse);
        assert!(matches!(refused, Err(Failure::InTheWay { .. })));
        let kept = fs::read_to_string(path.join("report.html")).expect("it was written");
        assert_eq!(kept, "first");
        folder(&path, &files("second"), Foreign::Join).expect("joined on request");
        let kept = fs::read_to_string(path.join("notes.txt")).expect("it is still there");
        assert_eq!(kept, "mine");
        let new = fs::read_to_string(path.join("report.html")).expect("it was written");
        assert_eq!(new, "second");
        assert_eq!(fs::read_dir(place.path()).expect("it is there").count(), 1);
    }

    #[test]
    fn a_file_in_the_place_of_a_folder_is_refused() {
        let place = tempfile::tempdir().expect("a temporary folder");
        let path = place.path().join("out");
        fs::write(&path, "mine").expect("a file");
        assert!(folder(&path, &files("x"), Foreign::Join).is_err());
        assert_eq!(fs::read_to_string(&path).expect("it is there"), "mine");
    }

    #[test]
    fn a_dash_is_no_file() {
        let dash = Path::new("-");
        let told = [
            check_file(dash),
            file(dash, b"rows"),
            check_folder(dash, Foreign::Join).map(|_| ()),
            folder(dash, &files("x"), Foreign::Join),
        ];
        for told in told {
            let Err(Failure::Arguments { what, .. }) = told else {
                panic!("{told:?}")
            };
            assert!(what.contains("standard output"), "{what}");
        }
        assert!(!dash.exists());
    }

    #[test]
    fn a_file_is_replaced_whole() {
        let place = tempfile::tempdir().expect("a temporary folder");
        let path = place.path().join("table.csv");
        file(&path, b"first").expect("a new file");
        file(&path, b"second").expect("an old file");
        assert_eq!(fs::read(&path).expect("it is there"), b"second");
        assert_eq!(fs::read_dir(place.path()).expect("it is there").count(), 1);
        let nowhere = place.path().join("no/such/table.csv");
        assert!(matches!(file(&nowhere, b"x"), Err(Failure::File { .. })));
    }
}
