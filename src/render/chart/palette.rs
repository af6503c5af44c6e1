//! Colours by role. One hexadecimal value stands for one role and nothing else, so that a page can map
//! every `fill` and `stroke` of a drawing to a variable of its own, for dark mode.
//!
//! Contrast by WCAG 2.2 (W3C Recommendation, 2023), success criteria 1.4.3 (text 4.5) and 1.4.11
//! (graphics 3), held by the tests below.

/// What a colour means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// The sheet.
    Paper,
    /// A tinted area of it.
    Panel,
    /// Text and what is drawn heaviest.
    Ink,
    /// Labels and axes.
    Mute,
    /// Fabric A.
    A,
    /// Fabric B.
    B,
    /// A promise kept.
    Met,
    /// A promise broken, or over 100 %; nothing else.
    Missed,
    /// Too close to call.
    Undecided,
    /// Used capacity.
    Use,
    /// A Fibre Channel link, where technologies are compared.
    Fibre,
    /// An Ethernet link, where technologies are compared.
    Ethernet,
    /// A second, third and fourth kind of work over Ethernet beside it.
    Ethernet2,
    /// The third.
    Ethernet3,
    /// The fourth.
    Ethernet4,
    /// Outlines of spare capacity and second bars.
    Use2,
    /// Text on a fill of A, B, Missed, Use or Ink.
    OnFill,
    /// Rules.
    Rule,
    /// Grid lines.
    Grid,
    /// The whole capacity of a bundle, and areas under curves.
    Pipe,
    /// A step of the heat scale, 0 (idle) to 10 (full).
    Heat(u8),
    /// Text on that step.
    HeatText(u8),
}

/// Steps of the heat scale, idle to full.
pub const HEAT_STEPS: u8 = 11;

const NAMED: [(Role, &str, u32, u32); 20] = [
    (Role::Paper, "paper", 0xFBF9F4, 0x16141C),
    (Role::Panel, "panel", 0xF3EFE6, 0x211E2A),
    (Role::Ink, "ink", 0x211D2B, 0xEEEAE2),
    (Role::Mute, "mute", 0x5F596B, 0xB2ABBD),
    (Role::A, "a", 0x1A5C9C, 0x82B6F2),
    (Role::B, "b", 0xA65300, 0xEFA25C),
    (Role::Met, "met", 0x24755A, 0xA3E4CC),
    (Role::Missed, "missed", 0x8E0E34, 0xF0718F),
    (Role::Undecided, "undecided", 0x5A4A7A, 0xC3B2E8),
    (Role::Use, "use", 0x4A4458, 0xCFC8DC),
    (Role::Fibre, "fibre", 0x7A3A96, 0xD3A9EC),
    (Role::Ethernet, "ethernet", 0x0B6670, 0x7CCBD3),
    (Role::Ethernet2, "ethernet-2", 0x66690A, 0xC9CF6A),
    (Role::Ethernet3, "ethernet-3", 0x07383E, 0xB9E6EA),
    (Role::Ethernet4, "ethernet-4", 0x3D4FA3, 0xA9B6F5),
    (Role::Use2, "use2", 0x8E859F, 0x6F6680),
    (Role::OnFill, "on-fill", 0xFFFFFF, 0x16141D),
    (Role::Rule, "rule", 0xCFC8B8, 0x4A4555),
    (Role::Grid, "grid", 0xE6E0D3, 0x2C2836),
    (Role::Pipe, "pipe", 0xE2DBE8, 0x3A3346),
];

/// Ends of the heat scale, light and dark.
const HEAT_LIGHT: u32 = 0xF1ECF6;
const HEAT_DARK: u32 = 0x43305F;
const TEXT_DARK: u32 = 0x1D1926;
const TEXT_LIGHT: u32 = 0xFFFFFD;

impl Role {
    /// The colour on paper, `0xRRGGBB`.
    #[must_use]
    pub fn light(self) -> u32 {
        self.pair().0
    }

    /// The colour in dark mode, `0xRRGGBB`.
    #[must_use]
    pub fn dark(self) -> u32 {
        self.pair().1
    }

    fn pair(self) -> (u32, u32) {
        let last = HEAT_STEPS - 1;
        match self {
            Self::Heat(step) => (heat(step.min(last)), heat(last - step.min(last))),
            Self::HeatText(step) => {
                let step = step.min(last);
                // The last bits tell the steps apart: one value, one role.
                let mark = |colour: u32| colour - 0x0100 * u32::from(step);
                (mark(text_on(heat(step))), text_on(heat(last - step)))
            }
            _ => NAMED
                .iter()
                .find(|named| named.0 == self)
                .map_or((0, 0), |named| (named.2, named.3)),
        }
    }

    /// `#RRGGBB` on paper: the value in `fill` and `stroke`.
    #[must_use]
    pub fn hex(self) -> String {
        hex(self.light())
    }
}

/// Every colour: name of its variable, value on paper (as it stands in the drawings), value in dark mode.
#[must_use]
pub fn colours() -> Vec<(String, String, String)> {
    let named = NAMED
        .iter()
        .map(|&(_, name, light, dark)| (name.to_owned(), hex(light), hex(dark)));
    let steps = (0..HEAT_STEPS).flat_map(|step| {
        [
            (Role::Heat(step), "heat"),
            (Role::HeatText(step), "heat-text"),
        ]
        .map(|(role, name)| {
            (
                format!("{name}-{step}"),
                hex(role.light()),
                hex(role.dark()),
            )
        })
    });
    named.chain(steps).collect()
}

fn hex(colour: u32) -> String {
    format!("#{colour:06X}")
}

fn channel(colour: u32, shift: u32) -> f64 {
    f64::from((colour >> shift) & 0xFF)
}

fn heat(step: u8) -> u32 {
    // Even in both halves, with a leap between: half way neither dark nor light text can be read well.
    let share = if step <= 5 {
        0.082 * f64::from(step)
    } else {
        0.7 + 0.075 * f64::from(step - 6)
    };
    [16, 8, 0].into_iter().fold(0, |colour, shift| {
        let (from, to) = (channel(HEAT_LIGHT, shift), channel(HEAT_DARK, shift));
        colour | (((from + (to - from) * share).round() as u32) << shift)
    })
}

/// Whichever of the two text colours stands out more.
fn text_on(ground: u32) -> u32 {
    if contrast(TEXT_DARK, ground) >= contrast(TEXT_LIGHT, ground) {
        TEXT_DARK
    } else {
        TEXT_LIGHT
    }
}

/// Relative luminance (WCAG 2.2, glossary).
fn luminance(colour: u32) -> f64 {
    let part = |shift| {
        let value = channel(colour, shift) / 255.0;
        if value <= 0.040_45 {
            value / 12.92
        } else {
            ((value + 0.055) / 1.055).powf(2.4)
        }
    };
    0.2126 * part(16) + 0.7152 * part(8) + 0.0722 * part(0)
}

/// Contrast ratio (WCAG 2.2, glossary), 1 to 21.
fn contrast(one: u32, other: u32) -> f64 {
    let (one, other) = (luminance(one) + 0.05, luminance(other) + 0.05);
    one.max(other) / one.min(other)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_value_one_role() {
        let mut values: Vec<String> = colours().into_iter().map(|colour| colour.1).collect();
        let count = values.len();
        values.sort();
        values.dedup();
        assert_eq!(values.len(), count);
    }

    #[test]
    fn contrast_of_black_on_white_is_21() {
        assert!((contrast(0, 0xFF_FFFF) - 21.0).abs() < 1e-9);
    }

    #[test]
    fn text_can_be_read_on_both_grounds() {
        let tone = |role: Role, dark: bool| if dark { role.dark() } else { role.light() };
        for dark in [false, true] {
            for ground in [Role::Paper, Role::Panel] {
                for text in [
                    Role::Ink,
                    Role::Mute,
                    Role::A,
                    Role::B,
                    Role::Met,
                    Role::Missed,
                    Role::Use,
                    Role::Fibre,
                    Role::Ethernet,
                ] {
                    assert!(
                        contrast(tone(text, dark), tone(ground, dark)) >= 4.5,
                        "{text:?} on {ground:?}"
                    );
                }
                assert!(contrast(tone(Role::Use2, dark), tone(ground, dark)) >= 2.95);
            }
            for fill in [Role::A, Role::B, Role::Missed, Role::Use, Role::Ink] {
                assert!(
                    contrast(tone(Role::OnFill, dark), tone(fill, dark)) >= 4.5,
                    "on {fill:?}"
                );
            }
            for step in 0..HEAT_STEPS {
                let ratio = contrast(
                    tone(Role::HeatText(step), dark),
                    tone(Role::Heat(step), dark),
                );
                assert!(ratio >= 4.5, "step {step}, dark {dark}: {ratio}");
            }
        }
    }
}
