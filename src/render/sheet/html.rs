//! The sheet as one page for printing: no script, no network, room to write in.

use super::lines::AT_MOST;
use super::{CAUTIONS, Sheet, SheetLine, Steps};
use crate::outcome::Verdict;
use crate::render::number::{NONE, at_place, three};
use crate::render::page::{escaped, policy_hash};
use crate::render::words::{
    all_windows_words, begun_with, clock, origin_line_of_both, windows_notes,
};
use std::fmt::Write as _;

const STYLE: &str = include_str!("style.css");

/// The whole page.
#[must_use]
pub fn sheet_page(steps: &Steps, sheet: &Sheet) -> String {
    let origin = &steps.origin;
    let title = format!("{}: acceptance test", origin.title);
    let cautions: String = CAUTIONS.iter().fold(String::new(), |mut out, said| {
        let _ = write!(out, "<li>{}</li>", escaped(said));
        out
    });
    let mut body = format!(
        "<header><p class=\"kind\">halfloom · work sheet · estimate</p><h1>{}</h1>\n\
         <p>{}</p>\n<table class=\"who\"><tbody><tr><th>date and window</th><td></td><th>done by</th><td></td></tr>\
         <tr><th>change number</th><td></td><th>seen by</th><td></td></tr></tbody></table></header>\n\
         <section class=\"care\"><h2>Before anything is taken away</h2><ol>{cautions}</ol></section>\n",
        escaped(&title),
        escaped(&origin_line_of_both(origin)),
    );
    if !sheet.before.is_empty() {
        let _ = write!(
            body,
            "<section><h2>0 · With everything there</h2>\n<p>Go on only when the paths are as expected and every promise is kept. \
         Another figure out of its range is a question to answer, not a reason to stop: most ranges are those of short runs of a \
         model, and beside each stands what it is. A monitor that averages over minutes shows the lower end of a utilization; \
         over 100\u{202F}% more is asked for than fits.</p>\n{}{}{}</section>\n",
            load_line(sheet.load.as_deref()),
            not_now(&sheet.misses, &sheet.open, "Do not begin at this load."),
            table(&sheet.before)
        );
    }
    for (index, step) in sheet.cases.iter().enumerate() {
        let nodes = if step.nodes.is_empty() {
            String::new()
        } else {
            format!(
                "<p>Whole parts that go: {}.</p>\n",
                escaped(&step.nodes.join(", "))
            )
        };
        let links = if step.links.is_empty() {
            String::new()
        } else if step.silent {
            format!(
                "<p>Links over which nothing may come through, though they stay up: {}.</p>\n",
                escaped(&step.links.join("; "))
            )
        } else {
            format!(
                "<p>Links that go dark, so ports to disable at one of their ends: {}.</p>\n",
                escaped(&step.links.join("; "))
            )
        };
        let silent = step.how.map_or_else(String::new, |how| {
            format!("<p class=\"miss\">{}</p>\n", escaped(how))
        });
        let load = load_line(step.load.as_deref());
        let missed = not_now(
            &step.misses,
            &step.open,
            "Do not take this step at this load.",
        );
        let _ = write!(
            body,
            "<section class=\"step\"><h2>{} · {}</h2>\n{load}{missed}{}{silent}{nodes}{links}{}\
             <p class=\"back\"><span class=\"box\"></span> Everything back, and all paths as in step 0, at <span class=\"line\"></span></p></section>\n",
            index + 1,
            escaped(&step.case.name),
            acts(&step.takes, step.drained),
            table(&step.lines)
        );
    }
    if sheet.cases.is_empty() {
        body.push_str(
            "<section><p>No switch-over was simulated, or no hour keeps every promise, so there is no step.</p></section>\n",
        );
    }
    body.push_str(&when(steps));
    format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src '{}'; base-uri 'none'; form-action 'none'\">\n\
         <meta name=\"generator\" content=\"halfloom {}\">\n<title>{}</title>\n<style>{STYLE}</style></head>\n<body><main>\n{body}</main>\n\
         <footer><p>{}</p></footer>\n</body></html>\n",
        policy_hash(STYLE),
        escaped(&origin.version),
        escaped(&title),
        escaped(&origin_line_of_both(origin)),
    )
}

/// What is done, in order: a step of its own each where there are several.
fn acts(takes: &[String], drained: bool) -> String {
    match takes {
        [_, _, ..] if !drained => {
            let each = takes.iter().fold(String::new(), |mut out, what| {
                let _ = write!(out, "<li>{}</li>", escaped(what));
                out
            });
            format!("<ol class=\"acts\">{each}</ol>\n")
        }
        [first, then @ ..] if !then.is_empty() => {
            let mut out = format!(
                "<ol class=\"acts\"><li>{}. Wait until nothing is under way on its paths.</li>",
                escaped(&begun_with(first))
            );
            for what in then {
                let _ = write!(out, "<li><b>Take away:</b> {}</li>", escaped(what));
            }
            out.push_str("</ol>\n");
            out
        }
        _ => format!("<p><b>Take away:</b> {}</p>\n", escaped(&takes.concat())),
    }
}

/// The load at which something is expected, where it is not the stated one.
fn load_line(load: Option<&str>) -> String {
    load.map_or_else(String::new, |load| {
        format!("<p><b>At the load of</b> {}.</p>\n", escaped(load))
    })
}

/// Promises that are not expected to be kept, as a caution.
fn not_now(misses: &[String], open: &[String], so: &str) -> String {
    let mut out = String::new();
    if !misses.is_empty() {
        let _ = writeln!(
            out,
            "<p class=\"miss\"><b>Expected to miss:</b> {}. {so}</p>",
            escaped(&misses.join("; "))
        );
    }
    if !open.is_empty() {
        let _ = writeln!(
            out,
            "<p class=\"miss\"><b>Not decided:</b> {}. Have it decided first.</p>",
            escaped(&open.join("; "))
        );
    }
    out
}

/// The hours in which each step may be done, where they were looked for.
fn when(steps: &Steps) -> String {
    let lasts = "A fabric out of service is the state “after” of its step for as long as it lasts.";
    let Some(found) = &steps.windows else {
        return format!(
            "<section><h2>When to do it</h2>\n<p>No hours were looked for (<code>--windows</code> does, from the <code>shape</code> of the work over a day). \
             Take the quietest. {lasts}</p></section>\n"
        );
    };
    let mut rows = String::new();
    for outage in &found.outages {
        let open: Vec<String> = outage
            .hours
            .iter()
            .filter(|row| row.verdict == Verdict::Undecided)
            .map(|row| clock(row.hour))
            .collect();
        let open = if open.is_empty() {
            NONE.to_owned()
        } else {
            open.join(", ")
        };
        let _ = writeln!(
            rows,
            "<tr class=\"first\"><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td class=\"blank\"></td></tr>",
            escaped(&outage.case.name),
            escaped(&all_windows_words(outage)),
            escaped(&open),
        );
    }
    let at = if steps.loads.is_empty() {
        "There is no such hour for any step, so no step is here."
    } else if steps.loads.iter().any(|at| at.hour.is_some()) {
        "Each step above is at the load of the busiest hour of its longest window; a step without one is not there: it has no hour."
    } else {
        "The steps above are at the stated load, which is that of the busiest hour of the day, not of these."
    };
    let notes: String = windows_notes(found)
        .iter()
        .fold(String::new(), |mut out, note| {
            let _ = write!(out, "<li>{}</li>", escaped(note));
            out
        });
    format!(
        "<section><h2>When to do it</h2>\n<p>Hours in which every promise judged is met with the step done, of an ordinary day with the load that the scenario states for each hour. {at} {lasts}</p>\n\
         <table class=\"lines\"><thead><tr><th>step</th><th>hours</th><th>undecided hours from</th><th>agreed window</th></tr></thead><tbody>\n{rows}</tbody></table>\n\
         <ul>{notes}</ul></section>\n"
    )
}

fn table(lines: &[SheetLine]) -> String {
    let mut out = String::from(
        "<table class=\"lines\"><thead><tr><th>when</th><th>what</th><th>expected</th><th>promised</th><th>measured</th><th>as expected</th><th>promise kept</th></tr></thead><tbody>\n",
    );
    let mut last = "";
    for line in lines {
        let first = if line.when == last {
            ""
        } else {
            " class=\"first\""
        };
        last = line.when;
        let _ = writeln!(
            out,
            "<tr{first}><td class=\"when\">{}</td><th scope=\"row\">{}</th><td class=\"exp\">{}</td><td class=\"pro{}\">{}</td><td class=\"blank\"></td><td class=\"tick\"><span class=\"box\"></span></td><td class=\"tick kept\">{}</td></tr>",
            line.when,
            escaped(&line.what),
            expected_cell(line),
            if line.promised.is_empty() {
                " none"
            } else {
                ""
            },
            if line.promised.is_empty() {
                NONE.to_owned()
            } else {
                escaped(&line.promised)
            },
            if line.promised.is_empty() {
                ""
            } else {
                "<span class=\"box\"></span>"
            },
        );
    }
    out.push_str("</tbody></table>\n");
    out
}

/// What is expected, and what its range is.
fn expected_cell(line: &SheetLine) -> String {
    let mut out = escaped(&expected(line));
    // One number has no least and greatest, and `at most` is said already.
    let spread = match &line.spread {
        most if most == AT_MOST => String::new(),
        runs if !out.contains(" to ") => runs.replace("least to greatest of", "in each of"),
        other => other.clone(),
    };
    if !spread.is_empty() {
        let _ = write!(out, "<small>{}</small>", escaped(&spread));
    }
    out
}

/// `0.71 to 0.73 ms`, `2`, or the words.
fn expected(line: &SheetLine) -> String {
    let (Some(low), Some(high)) = (line.low, line.high) else {
        return line.words.clone();
    };
    let whole = |value: f64| line.unit.is_empty() && value.fract() == 0.0;
    let shown = |value: f64| {
        if whole(value) {
            at_place(value, 0)
        } else {
            three(value)
        }
    };
    let (low, high) = (shown(low), shown(high));
    let number = if line.spread == AT_MOST {
        format!("at most {high}")
    } else if low == high {
        low
    } else {
        format!("{low} to {high}")
    };
    format!("{number} {}", line.unit).trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::render::sample::sample_report;
    use crate::render::sheet::sheet;

    fn page_of(report: &crate::outcome::Report) -> String {
        let steps = Steps::of(report.clone());
        sheet_page(&steps, &sheet(&steps))
    }

    #[test]
    fn the_page_has_every_caution_every_step_and_room_to_write() {
        let report = sample_report();
        let steps = Steps::of(report);
        let sheet = sheet(&steps);
        let page = sheet_page(&steps, &sheet);
        for said in CAUTIONS {
            assert!(page.contains(&escaped(said)), "{said}");
        }
        for step in &sheet.cases {
            assert!(page.contains(&format!("· {}</h2>", step.case.name)));
        }
        let lines = sheet.before.len()
            + sheet
                .cases
                .iter()
                .map(|step| step.lines.len())
                .sum::<usize>();
        assert_eq!(page.matches("class=\"blank\"").count(), lines);
        assert!(page.contains("estimate") && page.contains("seed 7"));
        assert!(
            !page.contains("<script") && !page.contains("http://") && !page.contains("https://")
        );
    }

    #[test]
    fn hours_stand_on_the_sheet_where_they_were_looked_for() {
        let mut report = sample_report();
        let page = page_of(&report);
        assert!(page.contains("No hours were looked for"));
        report.windows = Some(crate::render::sample::sample_windows());
        let page = page_of(&report);
        assert!(!page.contains("No hours were looked for"));
        assert!(
            page.contains("18:00–07:00 (13\u{202F}h)"),
            "the window of A"
        );
        assert!(page.contains("<td>07:00</td>"), "its undecided hour");
    }

    #[test]
    fn a_wicked_name_stays_text() {
        let mut report = sample_report();
        report.origin.title = "<script>alert(1)</script>".to_owned();
        report.switches[0].workloads[0].name = "\"><img>".to_owned();
        let page = page_of(&report);
        assert!(
            !page.contains("<script>") && !page.contains("<img>"),
            "not escaped"
        );
    }
}
