//! Changes that were simulated, as text.

use super::align::{Aligned, wrapped};
use crate::outcome::{Mend, MendOrigin, Report};
use crate::render::number::{NONE, price};
use crate::render::words::{mend_search_words, mend_takes, mend_worst, set_words};

/// Every change with what it takes and what it leaves; then what was tried and what cannot be.
pub(super) fn mends(report: &Report) -> String {
    let Some(search) = &report.mend_search else {
        return String::new();
    };
    let mut table = Aligned::new(&["", "change", "by", "takes", "with it"]);
    if search.priced {
        table = table.number("price");
    }
    for mend in &report.mends {
        let mut cells = vec![
            match (mend.mends_all, mend.repairs) {
                (true, _) => "+",
                (_, true) => "~",
                _ => "-",
            }
            .to_owned(),
            mend.name.clone(),
            by(mend).to_owned(),
            mend_takes(&mend.changes),
            mend_worst(report, mend).plain(),
        ];
        if search.priced {
            cells.push(mend.changes.price.map_or_else(|| NONE.to_owned(), price));
        }
        table.row(cells);
    }
    let order = if search.priced {
        "price"
    } else {
        "cables, then ports"
    };
    let repairs = if report.mends.iter().any(|mend| mend.repairs) {
        ", then those with which nothing is missed and what was undecided stays so (~)"
    } else {
        ""
    };
    let title = format!(
        "Changes that were simulated: those with which everything judged is met first (+){repairs}, then by {order}"
    );
    let mut out = table.text(&title);
    for line in mend_search_words(report) {
        out.push_str(&wrapped(&line, 96));
    }
    let enough = |mend: &&Mend| mend.mends_all || mend.repairs;
    for mend in report.mends.iter().filter(enough).take(3) {
        out.push_str(&wrapped(
            &format!("{}: {}", mend.name, set_words(&mend.set)),
            96,
        ));
    }
    if !out.is_empty() {
        out.push('\n');
    }
    out
}

fn by(mend: &Mend) -> &'static str {
    match mend.origin {
        MendOrigin::Stated => "scenario",
        MendOrigin::Proposed => "proposal",
    }
}
