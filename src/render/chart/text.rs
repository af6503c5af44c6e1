//! Widths of text, numbers as people read them, and lines that break.

use std::sync::OnceLock;

use plotters::style::{FontDesc, FontFamily, FontStyle, register_font};

/// DejaVu Sans 2.37 (licence beside it): what drawings are measured with and PNG files are drawn with.
pub(in crate::render) const PLAIN: &[u8] = include_bytes!("../fonts/DejaVuSans.ttf");
/// Its bold.
pub(in crate::render) const BOLD: &[u8] = include_bytes!("../fonts/DejaVuSans-Bold.ttf");

/// Name under which the two are registered for measuring.
const MEASURE: &str = "halfloom measure";
/// Size at which widths are taken, in units of the em.
const EM: f64 = 1000.0;
/// `plotters` takes the size as the font's height; DejaVu Sans is 1.164 em high (ascender 1901, descender
/// 483, units per em 2048: its `hhea` table).
const HEIGHT_PER_EM: f64 = (1901.0 + 483.0) / 2048.0;
/// The reader's font may be wider than ours by so much.
pub(super) const SLACK: f64 = 1.12;

/// Narrow no-break space, between number and unit and between thousands.
pub(super) const THIN: char = '\u{202F}';

/// Width of `text` at `size`, in the units of `size`.
pub(super) fn width(text: &str, size: f64, bold: bool) -> f64 {
    static READY: OnceLock<bool> = OnceLock::new();
    let ready = *READY.get_or_init(|| {
        register_font(MEASURE, FontStyle::Normal, PLAIN).is_ok()
            && register_font(MEASURE, FontStyle::Bold, BOLD).is_ok()
    });
    let style = if bold {
        FontStyle::Bold
    } else {
        FontStyle::Normal
    };
    let font = FontDesc::new(FontFamily::Name(MEASURE), EM * HEIGHT_PER_EM, style);
    match font.layout_box(text) {
        Ok(((left, _), (right, _))) if ready => f64::from(right - left) / EM * size,
        // Never reached with the fonts above; six tenths of an em a letter is wide enough.
        _ => text.chars().count() as f64 * 0.6 * size,
    }
}

/// Width to keep free for `text`: the reader's font may be wider.
pub(super) fn room(text: &str, size: f64, bold: bool) -> f64 {
    width(text, size, bold) * SLACK
}

/// `text`, or as much of it as fits into `space`, with an ellipsis in the middle so that endings which
/// tell names apart stay.
pub(super) fn fit(text: &str, size: f64, bold: bool, space: f64) -> String {
    if room(text, size, bold) <= space {
        return text.to_owned();
    }
    let letters: Vec<char> = text.chars().collect();
    // Widths only grow with letters, so halve the range.
    let cut = |keep: usize| -> String {
        let head = keep - keep / 3;
        let tail = keep / 3;
        let mut out: String = letters[..head].iter().collect();
        out.push('…');
        out.extend(&letters[letters.len() - tail..]);
        out
    };
    let (mut fits, mut over) = (1, letters.len().max(2));
    while fits + 1 < over {
        let middle = usize::midpoint(fits, over);
        if room(&cut(middle), size, bold) <= space {
            fits = middle
        } else {
            over = middle
        }
    }
    cut(fits.min(letters.len()))
}

/// Lines no wider than `space`; a word too long for a line is cut.
pub(super) fn wrap(text: &str, size: f64, bold: bool, space: f64) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split(' ') {
        let word = fit(word, size, bold, space);
        let line = lines.last().map_or("", String::as_str);
        let longer = if line.is_empty() {
            word.clone()
        } else {
            format!("{line} {word}")
        };
        match lines.last_mut() {
            Some(last) if last.is_empty() || room(&longer, size, bold) <= space => *last = longer,
            _ => lines.push(word),
        }
    }
    lines
}

/// As `wrap`, but at most `most` lines; the last one ends in an ellipsis if more was to be said.
pub(super) fn wrap_at_most(
    text: &str,
    size: f64,
    bold: bool,
    space: f64,
    most: usize,
) -> Vec<String> {
    let mut lines = wrap(text, size, bold, space);
    if lines.len() > most {
        let rest = lines.split_off(most.saturating_sub(1)).join(" ");
        // Whole words, but of a line that is one word.
        let ended = |kept: &str| {
            let kept = kept.trim_end_matches([' ', ',', ';', ':', '.']);
            format!("{kept}…")
        };
        let ends = rest.match_indices(' ').map(|(at, _)| ended(&rest[..at]));
        let fits = |line: &String| room(line, size, bold) <= space;
        let last = ends.take_while(fits).last();
        lines.push(last.unwrap_or_else(|| fit(&format!("{rest} …"), size, bold, space)));
    }
    lines
}

/// `value` with so many significant digits, thousands apart, true minus: `14.0`, `0.718`, `1 540`.
pub(super) fn sig(value: f64, digits: i32) -> String {
    if !value.is_finite() {
        return "?".to_owned();
    }
    if value == 0.0 {
        return "0".to_owned();
    }
    let places = |value: f64| (digits - 1 - value.abs().log10().floor() as i32).clamp(-12, 12);
    let round = |value: f64, places: i32| {
        let unit = 10_f64.powi(places);
        (value * unit).round() / unit
    };
    // 9.996 rounds to 10.0, which then has a digit too many: look at the rounded value again.
    let places = places(round(value, places(value)));
    let rounded = round(value, places);
    if rounded == 0.0 {
        return "0".to_owned();
    }
    let plain = format!("{:.*}", places.max(0) as usize, rounded.abs());
    let sign = if rounded < 0.0 { "−" } else { "" };
    let (whole, rest) = plain.split_at(plain.find('.').unwrap_or(plain.len()));
    format!("{sign}{}{rest}", grouped(whole))
}

/// A whole number, thousands apart.
pub(super) fn count(value: u64) -> String {
    grouped(&value.to_string())
}

fn grouped(digits: &str) -> String {
    let mut out = String::with_capacity(digits.len() + digits.len() / 3);
    for (index, digit) in digits.chars().enumerate() {
        if index > 0 && (digits.len() - index).is_multiple_of(3) {
            out.push(THIN);
        }
        out.push(digit);
    }
    out
}

/// Without the zeros that end a fraction: for axis labels and factors, where they say nothing.
pub(super) fn bare(value: f64) -> String {
    let text = sig(value, 3);
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// Per cent in a chart: three significant digits and the sign.
pub(super) fn percent(value: f64) -> String {
    format!("{}{THIN}%", sig(value, 3))
}

/// Per cent in a sentence: whole.
pub(super) fn percent_whole(value: f64) -> String {
    if value > 0.0 && value < 0.5 {
        return format!("under 1{THIN}%");
    }
    let whole = value.round().clamp(0.0, 1e15) as u64;
    format!("{}{THIN}%", count(whole))
}

/// A whole per cent that `value`, as a chart prints it (three digits), never lies above.
pub(super) fn percent_bound(value: f64) -> String {
    let shown: f64 = sig(value, 3).replace(THIN, "").parse().unwrap_or(value);
    let whole = shown.ceil().clamp(1.0, 1e15) as u64;
    format!("{}{THIN}%", count(whole))
}

/// A time given in microseconds, in the unit that suits it.
pub(super) fn time(us: f64, digits: i32) -> String {
    let (value, unit) = match us.abs() {
        us if us >= 1e6 => (1e-6, "s"),
        us if us >= 100.0 => (1e-3, "ms"),
        _ => (1.0, "µs"),
    };
    format!("{}{THIN}{unit}", sig(us * value, digits))
}

/// A promise as the user wrote it, with a narrow space before the unit.
pub(super) fn target(text: &str) -> String {
    let text = text.trim();
    match text.find(|letter: char| letter.is_alphabetic()) {
        Some(at) if at > 0 && !text[..at].ends_with(' ') => {
            format!("{}{THIN}{}", &text[..at], &text[at..])
        }
        _ => text.to_owned(),
    }
}

/// A part's name without its technology: `san to edge` of `san to edge, 32GFC`.
pub(super) fn short(part: &str) -> &str {
    part.split(',').next().unwrap_or(part)
}

/// `p99` of 0.99, `p99.9` of 0.999.
pub(super) fn percentile(q: f64) -> String {
    format!("p{}", bare_percent(q))
}

/// `99.9` of 0.999.
pub(super) fn bare_percent(q: f64) -> String {
    // Six places are more than any promise has, and hide that 0.999 × 100 is not exact.
    let text = format!("{:.6}", q * 100.0);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// `text` for XML content and attributes; characters that XML 1.0 (fifth edition, 2.2) forbids are dropped.
pub(super) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in clean(text).chars() {
        match letter {
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&apos;"),
            other => out.push(other),
        }
    }
    out
}

/// `text` without the characters that XML forbids.
pub(super) fn clean(text: &str) -> String {
    text.chars()
        .map(|letter| {
            if letter == '\n' || letter == '\t' {
                ' '
            } else {
                letter
            }
        })
        .filter(|letter| !matches!(letter, '\0'..='\u{1F}' | '\u{FFFE}' | '\u{FFFF}'))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What does not fit is left out word by word.
    #[test]
    fn lines_that_are_too_many_end_with_a_whole_word() {
        let text = "As it is: healthy, every promise holds until the next step; with one fabric lost, a promise breaks";
        for space in 120..400 {
            let lines = wrap_at_most(text, 13.0, false, f64::from(space), 2);
            let last = lines.last().expect("a line");
            let Some(kept) = last.strip_suffix('…') else {
                continue;
            };
            let said = format!("{} {kept}", lines[..lines.len() - 1].join(" "));
            let after = text.strip_prefix(said.trim_start()).expect("a beginning");
            let next = after.chars().next().expect("more was to be said");
            assert!(
                next == ' ' || next.is_ascii_punctuation(),
                "{space}: {lines:?}"
            );
            assert!(
                lines
                    .iter()
                    .all(|line| room(line, 13.0, false) <= f64::from(space))
            );
        }
    }

    #[test]
    fn three_digits_everywhere() {
        for (value, text) in [
            (14.02, "14.0"),
            (0.7184, "0.718"),
            (119.3, "119"),
            (1536.0, "1\u{202F}540"),
            (-5.0, "−5.00"),
            (9.996, "10.0"),
            (0.0, "0"),
            (f64::NAN, "?"),
        ] {
            assert_eq!(sig(value, 3), text);
        }
        for (value, bound) in [(60.4, "61"), (60.0, "60"), (0.2, "1"), (99.96, "100")] {
            assert_eq!(percent_bound(value), format!("{bound}{THIN}%"));
        }
        assert_eq!(bare(50.0), "50");
        assert_eq!(bare(0.1), "0.1");
        assert_eq!(count(1_234_567), "1\u{202F}234\u{202F}567");
    }

    #[test]
    fn promises_keep_the_words_of_their_author() {
        assert_eq!(target("2ms"), "2\u{202F}ms");
        assert_eq!(target("1.5 GB/s"), "1.5 GB/s");
        assert_eq!(target("0"), "0");
    }

    #[test]
    fn widths_are_those_of_the_font() {
        // DejaVu Sans: the advance of a digit is 1303 of 2048 units, in its `hmtx` table.
        assert!((width("0000000000", 2048.0, false) - 13_030.0).abs() < 10.0);
        assert!(width("mm", 10.0, true) > width("mm", 10.0, false));
    }

    #[test]
    fn long_names_are_cut_and_lines_broken() {
        let name = "a-very-long-name-indeed-of-a-switch-B";
        let short = fit(name, 13.0, false, 100.0);
        assert!(room(&short, 13.0, false) <= 100.0 && short.ends_with('B') && short.contains('…'));
        for line in wrap(
            "one request in a hundred takes longer than that",
            13.0,
            false,
            90.0,
        ) {
            assert!(room(&line, 13.0, false) <= 90.0);
        }
        assert_eq!(
            wrap_at_most("a b c d e f g h i j k l m n", 13.0, false, 40.0, 2).len(),
            2
        );
        assert_eq!(escape("a<b>&\"'\u{1}"), "a&lt;b&gt;&amp;&quot;&apos;");
    }
}
