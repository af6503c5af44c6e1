//! Starter scenarios for `halfloom new`: commented, sound, with invented settings. Replace what is in them.

/// A starter.
#[derive(Clone, Copy, Debug)]
pub struct Kind {
    /// What to ask for.
    pub name: &'static str,
    /// What it is, in one line.
    pub about: &'static str,
    /// The scenario's text.
    pub text: &'static str,
}

/// Every starter; the first is the default.
pub const KINDS: [Kind; 4] = [
    Kind {
        name: "dual-fabric",
        about: "eight hosts and one array on two Fibre Channel fabrics",
        text: include_str!("kinds/dual-fabric.toml"),
    },
    Kind {
        name: "all-ethernet",
        about: "the same on Ethernet: NVMe over TCP, with a link group between switches",
        text: include_str!("kinds/all-ethernet.toml"),
    },
    Kind {
        name: "lesson",
        about: "one host, one link, one answer to predict by hand",
        text: include_str!("kinds/lesson.toml"),
    },
    Kind {
        name: "minimal",
        about: "the fewest lines that make a site; all the rest is defaults",
        text: include_str!("kinds/minimal.toml"),
    },
];

/// The starter of that name.
#[must_use]
pub fn kind(name: &str) -> Option<&'static Kind> {
    KINDS.iter().find(|kind| kind.name == name)
}
