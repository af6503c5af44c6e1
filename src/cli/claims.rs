//! Which files this process reads, and which it was asked to write: no result may replace what it was made from, and no
//! two results may go to one file.

use super::exit::Failure;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Use {
    Read,
    Written,
}

static FILES: Mutex<Vec<(PathBuf, Use)>> = Mutex::new(Vec::new());

/// Notes that a file is read.
///
/// # Errors
/// It is asked for as a result.
pub(super) fn reads(path: &Path) -> Result<(), Failure> {
    claim(path, Use::Read)
}

/// Notes that a file is asked for as a result.
///
/// # Errors
/// It is read, or asked for by another option.
pub(super) fn writes(path: &Path) -> Result<(), Failure> {
    claim(path, Use::Written)
}

fn claim(path: &Path, wanted: Use) -> Result<(), Failure> {
    // Pipes and devices take several results; what has no place yet cannot be in another's.
    if path.exists() && !path.is_file() {
        return Ok(());
    }
    let Some(place) = place(path) else {
        return Ok(());
    };
    let mut files = FILES.lock().unwrap_or_else(PoisonError::into_inner);
    let before = files.iter().find(|(known, _)| *known == place);
    let shown = path.display();
    match (before, wanted) {
        (Some((_, Use::Read)), Use::Read) => Ok(()),
        (Some((_, Use::Written)), Use::Written) => Err(Failure::arguments(
            format!("two results are to go to {shown}"),
            "give each a file of its own",
        )),
        (Some(_), _) => Err(Failure::arguments(
            format!("{shown} is read, and is to be written too"),
            "name another file for the result: what it is made from is not replaced",
        )),
        (None, _) => {
            files.push((place, wanted));
            Ok(())
        }
    }
}

/// Where a file is, or will be, whatever it is called.
fn place(path: &Path) -> Option<PathBuf> {
    if let Ok(place) = path.canonicalize() {
        return Some(place);
    }
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    Some(folder.canonicalize().ok()?.join(path.file_name()?))
}
