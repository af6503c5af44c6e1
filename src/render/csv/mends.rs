//! Changes that were simulated, one row each.

use super::{JUDGEMENT, judgement, maybe, names, to_text};
use crate::outcome::{MendOrigin, Report};
use crate::render::words::{mend_cell, set_words};

/// One row a change, in the order of the report; the judgement that says most about it.
#[must_use]
pub fn mends_csv(report: &Report) -> String {
    let mut header = names(&[
        "change",
        "by",
        "set",
        "cables",
        "ports",
        "settings",
        "price",
        "mends_all",
        "case",
    ]);
    header.extend(names(&JUDGEMENT));
    let rows = report.mends.iter().map(|mend| {
        let takes = &mend.changes;
        let by = match mend.origin {
            MendOrigin::Stated => "scenario",
            MendOrigin::Proposed => "proposal",
        };
        let mut row = vec![
            mend.name.clone(),
            by.to_owned(),
            set_words(&mend.set),
            takes.cables.to_string(),
            takes.ports.to_string(),
            takes.settings.to_string(),
            maybe(takes.price),
            mend.mends_all.to_string(),
        ];
        let worst = mend_cell(report, mend).and_then(|(of, case)| {
            let row = &mend.matrix.rows[of];
            Some((row, &mend.matrix.cases[case], row.cells[case].as_ref()?))
        });
        match worst {
            Some((of, case, cell)) => {
                row.push(case.name.clone());
                row.extend(judgement(of, cell));
            }
            None => row.extend(vec![String::new(); 1 + JUDGEMENT.len()]),
        }
        row
    });
    to_text(&header, rows.collect())
}
