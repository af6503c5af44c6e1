//! Reading a table key by key: what is there, what is missing, what nobody asked for, and where each value
//! came from.
//!
//! A [`Cursor`] never stops at a problem. It notes it and gives back the default, so that one reading finds
//! every problem of a file. Each value that matters leaves an `Assumption` with its mark.

use super::context::Context;
use super::problem::{near, near_or_list};
use super::tree::{Entry, Node, Origin, Value};
use super::{arrivals, control, groups, parts, promise};
use crate::site::Basis;
use std::cell::{Cell, RefCell};

/// What is wrong with a value: the end of the sentence "`delay` of switch `edge` …".
#[derive(Clone, Debug)]
pub(super) struct Fault {
    /// "is not a time".
    pub says: String,
    /// What was expected.
    pub expected: String,
    /// What to do; may be empty.
    pub help: String,
    /// The place, if it is not the value's own.
    pub at: Option<Origin>,
}

impl Fault {
    pub(super) fn new(says: impl Into<String>, expected: impl Into<String>) -> Self {
        Self {
            says: says.into(),
            expected: expected.into(),
            help: String::new(),
            at: None,
        }
    }

    pub(super) fn help(mut self, help: impl Into<String>) -> Self {
        self.help = help.into();
        self
    }

    pub(super) fn at(mut self, origin: &Origin) -> Self {
        self.at.get_or_insert_with(|| origin.clone());
        self
    }
}

/// What a value is when it is not stated.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fallback {
    /// As it would be written: `400ns`, `64`, `true`.
    pub text: &'static str,
    /// Mark.
    pub basis: Basis,
    /// Source in words.
    pub source: &'static str,
}

/// A default that is common practice without a published source.
pub(super) const fn practice(text: &'static str) -> Fallback {
    Fallback {
        text,
        basis: Basis::CommonPractice,
        source: "common practice, no source",
    }
}

/// A default that is this program's own choice of how to run, not a fact of the trade.
pub(super) const fn choice(text: &'static str) -> Fallback {
    Fallback {
        text,
        basis: Basis::CommonPractice,
        source: "a choice of this program",
    }
}

/// A default from a published source.
pub(super) const fn published(text: &'static str, source: &'static str) -> Fallback {
    Fallback {
        text,
        basis: Basis::Published,
        source,
    }
}

/// A default from a standard.
pub(super) const fn standard(text: &'static str, source: &'static str) -> Fallback {
    Fallback {
        text,
        basis: Basis::Standard,
        source,
    }
}

impl Fallback {
    fn node(self) -> Node {
        let value = match self.text {
            "true" => Value::Boolean(true),
            "false" => Value::Boolean(false),
            text => text
                .parse()
                .map_or_else(|_| Value::String(text.to_owned()), Value::Integer),
        };
        Node {
            value,
            origin: Origin::Default,
        }
    }
}

/// The basis that holds for a table or a value.
#[derive(Clone, Debug)]
struct Ground {
    basis: Basis,
    source: String,
}

/// Keys of parts and links whose values change no part's name and no route: with one of them wrong, names of parts can
/// still be looked up, and ways still be found.
const HARMLESS: [&str; 25] = [
    "slots",
    "queue_depth",
    "paths",
    "guests",
    "adapter",
    "bus",
    "delay",
    "forwarding",
    "on_uplink_loss",
    "uplinks_max",
    "salt",
    "parallel",
    "takeover",
    "port_commands",
    "hit",
    "hit_time",
    "miss_time",
    "per_mib",
    "time",
    "mirror",
    "length",
    "propagation",
    "fec",
    "mtu",
    "choose",
];

/// A table being read.
pub(super) struct Cursor<'c, 'a> {
    pub ctx: &'c Context<'a>,
    entries: &'c [Entry],
    /// Place of the table's head.
    pub origin: &'c Origin,
    /// `link.edge-san`: how `--set` would name it.
    pub path: String,
    /// "link `edge-san`": how people would.
    pub who: String,
    asked: RefCell<Vec<&'static str>>,
    open: Cell<bool>,
    ground: Option<Ground>,
}

impl<'c, 'a> Cursor<'c, 'a> {
    pub(super) fn new(
        ctx: &'c Context<'a>,
        entries: &'c [Entry],
        origin: &'c Origin,
        path: impl Into<String>,
        who: impl Into<String>,
    ) -> Self {
        let mut cursor = Self {
            ctx,
            entries,
            origin,
            path: path.into(),
            who: who.into(),
            asked: RefCell::default(),
            open: Cell::new(false),
            ground: None,
        };
        cursor.ground = cursor.own_ground();
        cursor
    }

    /// `basis` and `source` of this table, if they stand in it.
    fn own_ground(&self) -> Option<Ground> {
        let basis = self.get("basis", &basis)?;
        let source = self.get("source", &super::value::text).unwrap_or_default();
        Some(Ground { basis, source })
    }

    /// The table under a key, if there is one.
    pub(super) fn table(&self, key: &'static str) -> Option<Self> {
        let entry = self.entry(key)?;
        match &entry.node.value {
            Value::Table(entries) => Some(self.inner(key, entries, &entry.node.origin)),
            _ => {
                self.fault(
                    key,
                    &entry.node,
                    &Fault::new("is not a table", format!("{key} = {{ … }}")),
                );
                None
            }
        }
    }

    /// The table under a key, or an empty one.
    pub(super) fn table_or_empty(&self, key: &'static str) -> Self {
        self.table(key)
            .unwrap_or_else(|| self.inner(key, &[], &Origin::Default))
    }

    /// A cursor on a table inside this one, with this one's basis unless it states its own.
    pub(super) fn inner(&self, key: &str, entries: &'c [Entry], origin: &'c Origin) -> Self {
        // "bursty arrivals of workload `x`", but "read of array `y`".
        let of = if self.who.starts_with("arrivals of") {
            ""
        } else {
            " of"
        };
        let who = format!("{key}{of} {}", self.who);
        let mut inner = Self::new(
            self.ctx,
            entries,
            origin,
            format!("{}.{key}", self.path),
            who,
        );
        if inner.ground.is_none() {
            inner.ground.clone_from(&self.ground);
        }
        inner
    }

    /// The entry under a key, marked as asked for.
    pub(super) fn entry(&self, key: &'static str) -> Option<&'c Entry> {
        if !self.asked.borrow().contains(&key) {
            self.asked.borrow_mut().push(key);
        }
        self.entries.iter().find(|entry| entry.key == key)
    }

    /// Marks as asked for what another has been asked for.
    pub(super) fn know(&self, other: &Cursor<'_, '_>) {
        self.asked
            .borrow_mut()
            .extend(other.asked.borrow().iter().copied());
    }

    /// Whether a key is there; does not count as asking for it.
    pub(super) fn has(&self, key: &str) -> bool {
        self.entries.iter().any(|entry| entry.key == key)
    }

    /// All entries but `basis` and `source`; the table's keys are then not checked for being known.
    pub(super) fn all(&self) -> impl Iterator<Item = &'c Entry> + use<'c> {
        self.open.set(true);
        self.entries
            .iter()
            .filter(|entry| entry.key != "basis" && entry.key != "source")
    }

    /// Notes what is wrong with the value of a key.
    pub(super) fn fault(&self, key: &str, node: &Node, fault: &Fault) {
        let at = fault.at.as_ref().unwrap_or(&node.origin);
        let message = format!("`{key}` of {} {}", self.who, fault.says);
        self.ctx.error(at, &message, &fault.expected, &fault.help);
        if HARMLESS.contains(&key) {
            self.ctx.harmless.set(self.ctx.harmless.get() + 1);
        }
    }

    /// A value that leaves no mark: names and references. `None` when missing or wrong (which is noted).
    pub(super) fn get<T>(
        &self,
        key: &'static str,
        parse: &impl Fn(&Node) -> Result<T, Fault>,
    ) -> Option<T> {
        let entry = self.entry(key)?;
        let (node, _) = self.unwrap(key, &entry.node);
        parse(node)
            .map_err(|fault| self.fault(key, node, &fault))
            .ok()
    }

    /// As `get`, but missing is a problem too.
    pub(super) fn need<T>(
        &self,
        key: &'static str,
        parse: &impl Fn(&Node) -> Result<T, Fault>,
        example: &str,
    ) -> Option<T> {
        if !self.has(key) {
            self.asked.borrow_mut().push(key);
            let help = if example.is_empty() {
                String::new()
            } else {
                format!("for example {key} = {example}")
            };
            if let Some(entry) = self.misspelt(key) {
                // In the words of `finish`, so that it is said once if that is reached.
                self.ctx.error(
                    &entry.origin,
                    &format!("unknown key `{}` in {}", entry.key, self.who),
                    &near_or_list(&entry.key, "keys here", &[key]),
                    "",
                );
                return None;
            }
            self.ctx.error(
                self.origin,
                &format!("{} has no `{key}`", self.who),
                "it needs one",
                &help,
            );
            return None;
        }
        self.get(key, parse)
    }

    /// The entry that a missing key is there as, misspelt.
    fn misspelt(&self, key: &str) -> Option<&'c Entry> {
        let asked = self.asked.borrow();
        self.entries
            .iter()
            .find(|entry| !asked.contains(&entry.key.as_str()) && near(&entry.key, [key]).is_some())
    }

    /// A value that is only in force when stated; leaves a mark then.
    pub(super) fn optional<T>(
        &self,
        key: &'static str,
        what: &str,
        parse: &impl Fn(&Node) -> Result<T, Fault>,
    ) -> Option<T> {
        let entry = self.entry(key)?;
        let (node, ground) = self.unwrap(key, &entry.node);
        match parse(node) {
            Ok(value) => {
                self.mark(key, what, node, ground.as_ref());
                Some(value)
            }
            Err(fault) => {
                self.fault(key, node, &fault);
                None
            }
        }
    }

    /// A value that must be stated; leaves a mark.
    pub(super) fn needed<T>(
        &self,
        key: &'static str,
        what: &str,
        parse: &impl Fn(&Node) -> Result<T, Fault>,
        example: &str,
    ) -> Option<T> {
        if !self.has(key) {
            return self.need(key, parse, example);
        }
        self.optional(key, what, parse)
    }

    /// A value with a default; leaves a mark either way.
    pub(super) fn input<T>(
        &self,
        key: &'static str,
        what: &str,
        parse: &impl Fn(&Node) -> Result<T, Fault>,
        default: Fallback,
    ) -> T {
        if let Some(value) = self.optional(key, what, parse) {
            return value;
        }
        if !self.has(key) {
            self.assume_default(key, what, default.text, default);
        }
        parse(&default.node()).unwrap_or_else(|fault| {
            panic!(
                "the default of `{key}` is not one: {} {}",
                fault.says, fault.expected
            )
        })
    }

    /// Leaves the mark of a default whose value was worked out elsewhere.
    pub(super) fn assume_default(&self, key: &str, what: &str, value: &str, default: Fallback) {
        let mark = (default.basis, default.source.to_owned(), None);
        self.ctx.assume(
            format!("{}.{key}", self.path),
            format!("{what}, {}", self.who),
            value.to_owned(),
            mark,
        );
    }

    /// Leaves the mark of a stated value.
    pub(super) fn mark_stated(&self, key: &str, what: &str, node: &Node) {
        self.mark(key, what, node, None);
    }

    fn mark(&self, key: &str, what: &str, node: &Node, ground: Option<&Ground>) {
        let written = self.ctx.written(&node.origin);
        let value = match node.as_table() {
            // Of a table under a head of its own the place is the head.
            Some(_) if !written.starts_with('{') => node.in_line(),
            _ => written.trim_matches('"').to_owned(),
        };
        let line = self.ctx.line(&node.origin);
        let place = match (&node.origin, line) {
            (Origin::Set(..), _) => "set from outside".to_owned(),
            (_, Some(line)) => format!("line {line} of the scenario"),
            (_, None) => "the scenario".to_owned(),
        };
        let (basis, source) = match ground.or(self.ground.as_ref()) {
            Some(ground) if ground.source.is_empty() => (ground.basis, place),
            Some(ground) => (ground.basis, ground.source.clone()),
            None => (Basis::Stated, place),
        };
        let what = format!("{what}, {}", self.who);
        self.ctx.assume(
            format!("{}.{key}", self.path),
            what,
            value,
            (basis, source, line),
        );
    }

    /// Takes `{ value = …, basis = …, source = … }` apart; anything else stays as it is, but a table may
    /// state a basis of its own.
    fn unwrap<'n>(&self, key: &str, node: &'n Node) -> (&'n Node, Option<Ground>) {
        let Some(entries) = node.as_table() else {
            return (node, None);
        };
        let find = |name: &str| {
            entries
                .iter()
                .find(|entry| entry.key == name)
                .map(|entry| &entry.node)
        };
        let stated = find("basis").and_then(|node| match basis(node) {
            Ok(basis) => Some(basis),
            Err(fault) => {
                self.fault("basis", node, &fault);
                None
            }
        });
        let source = find("source")
            .and_then(Node::as_str)
            .cloned()
            .unwrap_or_default();
        let ground = stated.map(|basis| Ground { basis, source });
        let Some(value) = find("value") else {
            return (node, ground);
        };
        for entry in entries {
            if !["value", "basis", "source"].contains(&entry.key.as_str()) {
                let message = format!("unknown key `{}` beside the value of `{key}`", entry.key);
                self.ctx.error(
                    &entry.origin,
                    &message,
                    "keys here: value, basis, source",
                    "",
                );
            }
        }
        (value, ground)
    }

    /// Reports every key that nobody asked for.
    pub(super) fn finish(self) {
        if self.open.get() {
            return;
        }
        let asked = self.asked.into_inner();
        for entry in self.entries {
            if !asked.contains(&entry.key.as_str()) {
                let known: Vec<&str> = asked
                    .iter()
                    .copied()
                    .filter(|key| *key != "basis" && *key != "source")
                    .collect();
                let message = format!("unknown key `{}` in {}", entry.key, self.who);
                self.ctx.error(
                    &entry.origin,
                    &message,
                    &near_or_list(&entry.key, "keys here", &known),
                    &inside(&entry.key, &known),
                );
                let harmless = |key: &str| HARMLESS.contains(&key);
                if near(&entry.key, known.iter().copied()).is_some_and(harmless)
                    || known.iter().all(|key| harmless(key))
                {
                    self.ctx.harmless.set(self.ctx.harmless.get() + 1);
                }
            }
        }
    }
}

/// Tables of which keys are often written a level too high, with those keys: lists of the modules that read them.
const INSIDE: [(&str, &[&[&str]]); 5] = [
    (
        "promise",
        &[&promise::STEADY, &promise::STATES, &promise::SWITCHING],
    ),
    ("arrivals", &[&arrivals::KINDS]),
    ("read", &[&parts::READ]),
    ("cage", &[&groups::CAGE]),
    ("run", &[&control::RUN]),
];

/// What to do with a key that another key of the same place takes; else nothing.
fn inside(key: &str, known: &[&str]) -> String {
    let of = |(outer, lists): &&(&str, &[&[&str]])| {
        known.contains(outer) && lists.iter().any(|list| list.contains(&key))
    };
    match INSIDE.iter().find(of) {
        Some(("run", _)) => format!("`{key}` belongs in the table [run]"),
        Some((outer, _)) => format!("it goes inside `{outer} = {{ {key} = … }}`"),
        None => String::new(),
    }
}

fn basis(node: &Node) -> Result<Basis, Fault> {
    super::value::one_of(&[
        ("measured", Basis::Measured),
        ("specified", Basis::Stated),
        ("guessed", Basis::Guessed),
    ])(node)
}
