//! The two panels of a timeline: completions, and latency.

use crate::outcome::SwitchBin;
use crate::render::chart::Format;
use crate::render::chart::axis::Scale;
use crate::render::chart::canvas::{Anchor, Face, Pen};
use crate::render::chart::frame::{Sheet, look};
use crate::render::chart::palette::Role;
use crate::render::chart::place::{Wish, crosses, spread};
use crate::render::chart::text::{bare, fit, percentile, room, sig, target, time, wrap_at_most};

use super::{Scene, words};

/// Lines of words between title and plot on a phone, at most.
pub(super) const NOTES_MOST: usize = 2;

/// The shared time axis.
pub(super) struct Frame {
    pub(super) x: Scale,
    pub(super) left: f64,
    pub(super) right: f64,
    pub(super) phone: bool,
}

/// Words at the end of a line.
struct End {
    at: f64,
    text: String,
    role: Role,
    bold: bool,
}

/// Completed thousand I/Os per second, and what the survivors carry.
pub(super) fn completions(
    sheet: &mut Sheet,
    scene: &Scene<'_>,
    frame: &Frame,
    (top, low): (f64, f64),
) {
    let bins = &scene.workload.bins;
    let offered = bins
        .iter()
        .map(|bin| bin.offered_iops)
        .filter(|iops| iops.is_finite());
    let peak_offered = offered.clone().fold(0.0, f64::max);
    let mean_offered = offered.sum::<f64>() / bins.len() as f64;
    let completed = || {
        bins.iter()
            .map(|bin| bin.completed_iops)
            .filter(|iops| iops.is_finite())
    };
    let capacity = words::capacity(scene);
    let most = completed()
        .fold(peak_offered, f64::max)
        .max(capacity.unwrap_or(0.0));
    let y = Scale::linear((0.0, nice(most / 1e3)), (low, top));
    let whole = format!(
        "completed, thousand I/Os per s ({}, each bin {} ms)",
        scene.workload.name,
        bare(scene.switch.bin_s * 1e3)
    );
    let text = if frame.phone {
        "completed, thousand I/Os per s"
    } else {
        &whole
    };
    title(sheet, frame, top, text);
    grid(
        sheet,
        frame,
        &y,
        (((low - top) / (sheet.em * 1.8)) as usize).min(4),
    );
    filled(sheet, scene, frame, &y, low);
    let mut ends = Vec::new();
    let (role, _) = look(&scene.switch.case);
    if let Some(capacity) = capacity {
        let at = y.place(capacity / 1e3);
        let em = sheet.em;
        let pen = Pen::new(role, em * 0.16).dashed(em * 0.6, em * 0.35);
        sheet
            .canvas
            .line([(frame.x.place(0.0), at), (frame.right, at)], pen);
        let who = match scene.switch.case.carries {
            Some(side) => format!("{side} alone completes"),
            None => "the survivors complete".to_owned(),
        };
        ends.push(End {
            at,
            text: format!("{who} {} at most", sig(capacity / 1e3, 3)),
            role,
            bold: true,
        });
    }
    let mut asked = |what: &str, iops: f64| {
        let text = format!("{what} {}", sig(iops / 1e3, 3));
        ends.push(End {
            at: y.place(iops / 1e3),
            text,
            role: Role::Mute,
            bold: false,
        });
    };
    if peak_offered > mean_offered * 1.2 {
        asked("burst asks", peak_offered);
    }
    asked("mean asked", mean_offered);
    place_ends(sheet, frame, ends, (top, low));
}

/// The completions as a filled curve.
fn filled(sheet: &mut Sheet, scene: &Scene<'_>, frame: &Frame, y: &Scale, low: f64) {
    let (bins, width_s) = (&scene.workload.bins, scene.switch.bin_s);
    let line: Vec<(f64, f64)> = bins
        .iter()
        .map(|bin| {
            (
                frame.x.place(bin.t_s + width_s / 2.0),
                y.place(bin.completed_iops.max(0.0) / 1e3),
            )
        })
        .collect();
    let mut area = line.clone();
    if let (Some(first), Some(last)) = (line.first(), line.last()) {
        area.extend([(last.0, low), (first.0, low)]);
    }
    sheet.canvas.fill(area, Role::Pipe);
    sheet.canvas.line(line, Pen::new(Role::Use, 1.0));
}

/// Latency: p99 of each bin, oldest unfinished I/O, promise.
pub(super) fn latency(sheet: &mut Sheet, scene: &Scene<'_>, frame: &Frame, (top, low): (f64, f64)) {
    let em = sheet.em;
    let bins = &scene.workload.bins;
    let sound = |us: &f64| us.is_finite() && *us > 0.0;
    let p99 = || bins.iter().filter_map(|bin| bin.p99_us).filter(sound);
    let oldest = || bins.iter().map(|bin| bin.oldest_us).filter(sound);
    let promised = scene.promise.as_ref().map(|promise| promise.1);
    let floor = p99().chain(promised).fold(f64::INFINITY, f64::min);
    let highest = p99().chain(oldest()).chain(promised).fold(0.0, f64::max);
    if highest <= 0.0 {
        return;
    }
    let floor = if floor.is_finite() { floor } else { highest };
    let y = Scale::decades((floor / 1e3, highest / 1e3), (low, top));
    title(sheet, frame, top, "latency, ms (log scale)");
    grid(sheet, frame, &y, ((low - top) / (em * 1.7)) as usize);
    p99_line(sheet, scene, frame, &y);
    let mut ends = Vec::new();
    if let Some((q, us, text)) = &scene.promise {
        let at = y.place(us / 1e3);
        sheet.canvas.line(
            [(frame.left, at), (frame.right, at)],
            Pen::new(Role::Ink, em * 0.13),
        );
        let what = q.map_or_else(|| "mean".to_owned(), percentile);
        ends.push(End {
            at,
            text: format!("promise {what} {}", target(text)),
            role: Role::Ink,
            bold: true,
        });
    }
    if let Some(us) = words::p99_at_last(scene) {
        let at = y.place(us / 1e3);
        ends.push(End {
            at,
            text: if sheet.format == Format::Slide {
                format!("p99 {} {}", words::at_last_short(scene), time(us, 3))
            } else {
                format!("p99 {}, up to {}", words::at_last(scene), time(us, 3))
            },
            role: Role::Use,
            bold: false,
        });
    }
    if let Some(seconds) = words::longest(scene) {
        let promise = scene.longest.as_ref();
        // A slide has room for the figure only.
        let said = promise
            .filter(|_| sheet.format != Format::Slide)
            .map_or_else(String::new, |(_, text)| {
                format!(" (promise {})", target(text))
            });
        let missed = promise.is_some_and(|(target, _)| seconds > *target);
        let role = if missed { Role::Missed } else { Role::Ink };
        let text = format!("longest I/O {}{said}", time(seconds * 1e6, 3));
        ends.push(End {
            at: y.place(seconds * 1e3),
            text,
            role,
            bold: true,
        });
    }
    if hang(sheet, scene, frame, &y, (top, low)) == Named::No {
        let text = "heavy: oldest unfinished I/O".to_owned();
        ends.push(End {
            at: top,
            text,
            role: Role::Ink,
            bold: false,
        });
    }
    place_ends(sheet, frame, ends, (top, low));
}

/// The p99 of each bin.
fn p99_line(sheet: &mut Sheet, scene: &Scene<'_>, frame: &Frame, y: &Scale) {
    let bins = &scene.workload.bins;
    let middle = |bin: &SwitchBin| frame.x.place(bin.t_s + scene.switch.bin_s / 2.0);
    // Bins without a completion leave a gap: a line across them would claim latencies nobody had.
    for run in bins.chunk_by(|a, b| a.p99_us.is_some() == b.p99_us.is_some()) {
        let line: Vec<(f64, f64)> = run
            .iter()
            .filter_map(|bin| Some((middle(bin), y.place(bin.p99_us?.max(0.0) / 1e3))))
            .collect();
        sheet.canvas.line(line, Pen::new(Role::Use, 1.0));
    }
}

/// The oldest unfinished I/O, where it is older than what completes would tell: a hang shows in the
/// latency of the completed only once it is over.
fn hang(
    sheet: &mut Sheet,
    scene: &Scene<'_>,
    frame: &Frame,
    y: &Scale,
    (top, low): (f64, f64),
) -> Named {
    let em = sheet.em;
    let bins = &scene.workload.bins;
    let tells = |bin: &SwitchBin| bin.oldest_us > 3.0 * bin.p99_us.unwrap_or(0.0);
    let at = |bin: &SwitchBin| {
        (
            frame.x.place(bin.t_s + scene.switch.bin_s),
            y.place(bin.oldest_us / 1e3),
        )
    };
    let mut longest: Vec<(f64, f64)> = Vec::new();
    for run in bins
        .chunk_by(|a, b| tells(a) == tells(b))
        .filter(|run| tells(&run[0]))
    {
        let line: Vec<(f64, f64)> = run.iter().map(at).collect();
        sheet
            .canvas
            .line(line.clone(), Pen::new(Role::Ink, em * 0.2));
        if line.len() > longest.len() {
            longest = line;
        }
    }
    let Some(end) = longest.last() else {
        return Named::Nothing;
    };
    sheet.canvas.disc(*end, em * 0.3, Role::Ink);
    // Under its middle, clear of everything else.
    let others: Vec<Vec<(f64, f64)>> = bins
        .chunk_by(|a, b| a.p99_us.is_some() == b.p99_us.is_some())
        .map(|run| {
            run.iter()
                .filter_map(|bin| Some((at(bin).0, y.place(bin.p99_us? / 1e3))))
                .collect()
        })
        .collect();
    let spot = |text: &str| {
        let wide = room(text, em, true);
        longest.iter().skip(longest.len() / 5).find_map(|point| {
            let area = (
                point.0,
                point.1 + em * 0.5,
                point.0 + wide,
                point.1 + em * 2.0,
            );
            let inside = area.2 < frame.right && area.3 < low && area.1 > top;
            let free = !crosses(&longest, area) && others.iter().all(|line| !crosses(line, area));
            (inside && free).then_some((area.0, area.3 - em * 0.4, wide))
        })
    };
    let found = ["oldest unfinished I/O", "oldest I/O"]
        .into_iter()
        .find_map(|text| Some((text, spot(text)?)));
    let Some((text, (x, base, wide))) = found else {
        return Named::No;
    };
    sheet
        .canvas
        .rect((x - em * 0.2, base - em), (wide, em * 1.35), Role::Paper);
    sheet.label((x, base), text, Face::Bold, Anchor::Start, Role::Ink);
    Named::Yes
}

/// Whether the line of the oldest unfinished I/O has its name beside it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Named {
    Yes,
    No,
    /// There is no such line.
    Nothing,
}

/// A round end of an axis that holds `most`.
fn nice(most: f64) -> f64 {
    if !most.is_finite() || most <= 0.0 {
        return 1.0;
    }
    let unit = 10_f64.powf(most.log10().floor());
    let steps = [1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0];
    steps
        .into_iter()
        .map(|step| step * unit)
        .find(|end| *end >= most * 1.02)
        .unwrap_or(15.0 * unit)
}

fn title(sheet: &mut Sheet, frame: &Frame, top: f64, text: &str) {
    let em = sheet.em;
    let up = if frame.phone {
        em * (1.15 + 1.25 * NOTES_MOST as f64)
    } else {
        em * 0.8
    };
    let text = fit(text, em, true, sheet.right() - sheet.side);
    // On paper, so that the dotted lines of the events do not run through it.
    let wide = room(&text, em, true);
    sheet
        .canvas
        .rect((sheet.side, top - up - em), (wide, em * 1.3), Role::Paper);
    sheet.label(
        (sheet.side, top - up),
        &text,
        Face::Bold,
        Anchor::Start,
        Role::Ink,
    );
}

fn grid(sheet: &mut Sheet, frame: &Frame, y: &Scale, wanted: usize) {
    let em = sheet.em;
    for tick in y.ticks(wanted.max(1)) {
        let at = y.place(tick);
        sheet.canvas.line(
            [(frame.left, at), (frame.right, at)],
            Pen::new(Role::Grid, 1.0),
        );
        let text = bare(tick);
        sheet.label(
            (frame.left - em * 0.5, at + em * 0.36),
            &text,
            Face::Plain,
            Anchor::End,
            Role::Mute,
        );
    }
}

/// Words at the right ends of their lines, pushed apart; on a phone, in lines under the title.
fn place_ends(sheet: &mut Sheet, frame: &Frame, mut ends: Vec<End>, (top, low): (f64, f64)) {
    let em = sheet.em;
    if frame.phone {
        phone_ends(sheet, &ends, top);
        return;
    }
    let x = frame.right + em * 0.6;
    let space = sheet.right() - x;
    let step = em * 1.2;
    let (from, to) = (top - em * 1.2, low + em);
    // As many lines as there is room for; then only what is set in bold.
    let tall = |ends: &[End], most: usize| -> (Vec<Vec<String>>, Vec<Wish>) {
        let lines: Vec<Vec<String>> = ends
            .iter()
            .map(|end| wrap_at_most(&end.text, em, end.bold, space, most))
            .collect();
        let size = |lines: &Vec<String>| lines.len() as f64 * step + em * 0.3;
        let wishes = ends
            .iter()
            .zip(&lines)
            .map(|(end, lines)| Wish {
                at: end.at,
                size: size(lines),
            })
            .collect();
        (lines, wishes)
    };
    let fits = |wishes: &[Wish]| wishes.iter().map(|wish| wish.size).sum::<f64>() <= to - from;
    let most = [3, 2, 1]
        .into_iter()
        .find(|&most| fits(&tall(&ends, most).1))
        .unwrap_or(1);
    if !fits(&tall(&ends, most).1) {
        ends.retain(|end| end.bold);
    }
    let (lines, wishes) = tall(&ends, most);
    let middles = spread(&wishes, from, to);
    for ((end, lines), middle) in ends.iter().zip(&lines).zip(&middles) {
        let face = if end.bold { Face::Bold } else { Face::Plain };
        let mut base = middle - (lines.len() as f64 - 1.0) * step / 2.0 + em * 0.36;
        if (middle - end.at).abs() > em * 0.7 {
            // Pushed far: a short line leads back.
            let pen = Pen::new(Role::Mute, 1.0);
            sheet.canvas.line(
                [(frame.right, end.at), (frame.right + em * 0.4, *middle)],
                pen,
            );
        }
        for line in lines {
            sheet.label((x, base), line, face, Anchor::Start, end.role);
            base += step;
        }
    }
}

/// Lines of words under the title, filled from the left, lowest line nearest to the plot.
fn phone_ends(sheet: &mut Sheet, ends: &[End], top: f64) {
    let em = sheet.em;
    let edge = sheet.right();
    let mut lines: Vec<Vec<(f64, String, &End)>> = vec![Vec::new()];
    let mut x = sheet.side;
    for end in ends {
        let text = fit(&end.text, em, end.bold, edge - sheet.side);
        let wide = room(&text, em, end.bold);
        if x + wide > edge && x > sheet.side {
            x = sheet.side;
            lines.push(Vec::new());
        }
        if let Some(line) = lines.last_mut() {
            line.push((x, text, end));
        }
        x += wide + em;
    }
    lines.truncate(NOTES_MOST);
    let count = lines.len();
    for (index, line) in lines.into_iter().enumerate() {
        let y = top - em * (0.95 + 1.25 * (count - 1 - index) as f64);
        for (x, text, end) in line {
            let face = if end.bold { Face::Bold } else { Face::Plain };
            let wide = room(&text, em, end.bold).min(edge - x);
            sheet
                .canvas
                .rect((x, y - em), (wide, em * 1.3), Role::Paper);
            sheet.label((x, y), &text, face, Anchor::Start, end.role);
        }
    }
}
