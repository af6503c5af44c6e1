//! How a command with a result of its own ends: the file of figures, then JSON or tables.

use super::console::Console;
use super::exit::Failure;
use super::write;
use clap::Args;
use std::path::Path;

/// What a result looks like for machines, as rows, and for people.
pub(super) struct Forms<'a, T> {
    /// The file of figures.
    pub(super) csv: &'a dyn Fn(&T) -> String,
    /// For programs.
    pub(super) json: &'a dyn Fn(&T) -> String,
    /// For people.
    pub(super) text: &'a dyn Fn(&T) -> String,
}

/// Where a result goes, as the arguments say.
#[derive(Clone, Copy, Debug)]
pub(super) struct Output<'a> {
    /// `--csv`.
    pub(super) csv: Option<&'a Path>,
    /// `--json`.
    pub(super) json: bool,
}

impl Output<'_> {
    /// Whether the file asked for can be written: before the runs, which take time.
    pub(super) fn check(&self) -> Result<(), Failure> {
        self.csv.map_or(Ok(()), write::check_file)
    }

    /// Writes the file if it was asked for, then prints the result.
    pub(super) fn write<T>(
        &self,
        console: &Console,
        found: &T,
        forms: &Forms<'_, T>,
    ) -> Result<(), Failure> {
        if let Some(path) = self.csv {
            write::file(path, (forms.csv)(found).as_bytes())?;
        }
        console.result(&if self.json {
            (forms.json)(found)
        } else {
            (forms.text)(found)
        })
    }
}

/// Which outages are looked at beside the healthy site.
#[derive(Clone, Debug, Default, Args)]
pub(super) struct Outages {
    /// Only this outage, by name, beside the healthy site; may be repeated [default: every outage]
    #[arg(long, value_name = "NAME")]
    outage: Vec<String>,
    /// The healthy site alone, without any outage
    #[arg(long, conflicts_with = "outage")]
    healthy: bool,
}

impl Outages {
    /// Those that are named.
    pub(super) fn names(&self) -> &[String] {
        &self.outage
    }

    /// The words that repeat it.
    pub(super) fn words(&self) -> Vec<String> {
        if self.healthy {
            return vec!["--healthy".to_owned()];
        }
        outage_words(&self.outage)
    }

    /// The outages asked for: `None` for all of them, none for the healthy site alone.
    pub(super) fn only(&self) -> Option<Vec<String>> {
        if self.healthy {
            return Some(Vec::new());
        }
        only(&self.outage)
    }
}

/// The words that repeat `--outage` for each of these.
pub(super) fn outage_words(names: &[String]) -> Vec<String> {
    let words = names.iter();
    words
        .flat_map(|name| ["--outage".to_owned(), name.clone()])
        .collect()
}

/// The outages asked for: `None` for all of them, where none is named.
pub(super) fn only(names: &[String]) -> Option<Vec<String>> {
    (!names.is_empty()).then(|| names.to_vec())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_outage_named_means_all_of_them() {
        let names = ["A".to_owned(), "lan 1".to_owned()];
        assert_eq!(
            outage_words(&names),
            ["--outage", "A", "--outage", "lan 1"].map(str::to_owned)
        );
        assert_eq!(only(&names), Some(names.to_vec()));
        assert_eq!((outage_words(&[]), only(&[])), (Vec::new(), None));
        let healthy = Outages {
            healthy: true,
            ..Outages::default()
        };
        assert_eq!(healthy.only(), Some(Vec::new()));
        assert_eq!(healthy.words(), ["--healthy"]);
        let named = Outages {
            outage: names.to_vec(),
            healthy: false,
        };
        assert_eq!(
            (named.only(), named.names()),
            (Some(names.to_vec()), &names[..])
        );
        assert_eq!(named.words(), outage_words(&names));
        assert_eq!(Outages::default().only(), None);
    }
}
