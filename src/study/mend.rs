//! Variants of a site, simulated as possible remedies.

use super::{case, judge, parts, progress::Progress, steady};
use crate::outcome::{Mend, Steady, Verdict};
use crate::site::{Site, Variant};
use crate::topology::Fabric;

/// Steady runs of every variant of `site`, in the cases named.
#[must_use]
pub(crate) fn mends(site: &Site, only: Option<&[String]>, progress: &dyn Progress) -> Vec<Mend> {
    site.variants
        .iter()
        .map(|variant| mend(variant, only, progress))
        .collect()
}

fn mend(variant: &Variant, only: Option<&[String]>, progress: &dyn Progress) -> Mend {
    let fabric = Fabric::new(&variant.site);
    let plans = case::cases(&variant.site, &fabric, only);
    let runs = steady::run(&variant.site, &plans, progress);
    let matrix = judge::matrix(&variant.site, &runs, &[]);
    let figures: Vec<Steady> = runs.into_iter().map(|runs| runs.figures).collect();
    let uses = parts::parts(&variant.site, &figures);
    let mends_all = matrix
        .rows
        .iter()
        .flat_map(|row| row.cells.iter().flatten())
        .all(|cell| cell.verdict == Verdict::Met);
    Mend {
        name: variant.name.clone(),
        set: variant.set.clone(),
        growth: parts::growth(&uses, &figures),
        matrix,
        steady: figures,
        mends_all,
    }
}
