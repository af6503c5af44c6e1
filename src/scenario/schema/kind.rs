//! Kinds of values, and their schemas.

use crate::wire::technologies;
use serde_json::{Map, Value, json};

/// What a key takes.
#[derive(Clone, Copy, Debug)]
pub(super) enum Kind {
    /// Any string.
    Text,
    /// The name of a part, a link or a workload.
    Name,
    /// `true` or `false`.
    Switch,
    /// A quantity that the definitions have: `time`, `size` …
    Of(&'static str),
    /// A whole number.
    Count(u64, u64),
    /// A whole number without an upper limit.
    CountFrom(u64),
    /// A number.
    Number(f64, f64),
    /// Whole bytes: a number, or a size.
    Bytes(u64, u64),
    /// One of some words.
    Words(&'static [&'static str]),
    /// One of some whole numbers.
    Numbers(&'static [u64]),
    /// A string of this pattern.
    Pattern(&'static str),
    /// A table that the definitions have.
    Table(&'static str),
    /// Tables in double brackets, which the definitions have.
    Tables(&'static str),
    /// A table from names to values.
    Map(&'static Self),
    /// The first, or the other.
    Either(&'static Self, &'static Self),
    /// A value, or a list of them.
    OneOrMore(&'static Self),
    /// Values of the scenario by their keys.
    Settings,
}

const NUMBER: &str = r"[0-9]+(\.[0-9]+)?";

/// A number with one of these units, perhaps a space between.
fn quantity(units: &str) -> Value {
    json!({ "type": "string", "pattern": format!("^{NUMBER} ?({units})$") })
}

const SIZE_UNITS: &str = "B|kB|MB|GB|KiB|MiB|GiB";

/// On what ground a value stands.
pub(super) fn basis() -> Value {
    json!({
        "enum": ["measured", "specified", "guessed"],
        "description": "On what ground the value stands, or all values of the table.",
    })
}

/// Where a value comes from.
pub(super) fn source() -> Value {
    json!({ "type": "string", "description": "Where it comes from, in words." })
}

impl Kind {
    /// The schema of the bare value.
    pub(super) fn schema(self) -> Value {
        match self {
            Self::Text => json!({ "type": "string" }),
            Self::Name => json!({ "$ref": "#/$defs/name" }),
            Self::Switch => json!({ "type": "boolean" }),
            Self::Of(name) | Self::Table(name) => json!({ "$ref": format!("#/$defs/{name}") }),
            Self::Count(min, max) => json!({ "type": "integer", "minimum": min, "maximum": max }),
            Self::CountFrom(min) => json!({ "type": "integer", "minimum": min }),
            Self::Number(min, max) => json!({ "type": "number", "minimum": min, "maximum": max }),
            Self::Bytes(min, max) => json!({ "anyOf": [
                { "type": "integer", "minimum": min, "maximum": max },
                { "$ref": "#/$defs/size" },
            ] }),
            Self::Words(words) => json!({ "enum": words }),
            Self::Numbers(numbers) => json!({ "enum": numbers }),
            Self::Pattern(pattern) => json!({ "type": "string", "pattern": pattern }),
            Self::Tables(name) => json!({
                "type": "array",
                "maxItems": 256,
                "items": { "$ref": format!("#/$defs/{name}") },
            }),
            Self::Map(kind) => json!({
                "type": "object",
                "additionalProperties": kind.marked(),
            }),
            Self::Either(one, other) => json!({ "anyOf": [one.schema(), other.schema()] }),
            Self::OneOrMore(kind) => json!({ "anyOf": [
                kind.schema(),
                { "type": "array", "minItems": 1, "items": kind.schema() },
            ] }),
            Self::Settings => json!({ "type": "object", "minProperties": 1 }),
        }
    }

    /// The schema of the value, or of a table with it and with where it comes from.
    pub(super) fn marked(self) -> Value {
        let bare = self.schema();
        if matches!(
            self,
            Self::Table(_) | Self::Tables(_) | Self::Map(_) | Self::Settings
        ) {
            return bare;
        }
        json!({ "anyOf": [
            bare,
            {
                "type": "object",
                "properties": { "value": bare, "basis": basis(), "source": source() },
                "required": ["value"],
                "additionalProperties": false,
            },
        ] })
    }
}

/// The quantities.
pub(super) fn definitions() -> Map<String, Value> {
    let labels: Vec<&str> = technologies().iter().map(|known| known.label).collect();
    let time = "ps|ns|us|\u{b5}s|ms|s|m|min|h";
    let link_rate = "b/s|kb/s|Mb/s|Gb/s|Tb/s|MB/s|GB/s";
    // To 100 %.
    let percent = r"^(0*[0-9]{1,2}(\.[0-9]+)?|0*100(\.0+)?) *%$";
    let share = json!({ "anyOf": [
        { "type": "string", "pattern": percent },
        { "type": "number", "minimum": 0, "maximum": 1 },
    ] });
    let growth = json!({ "anyOf": [
        { "type": "string", "pattern": format!("^{NUMBER} *%$") },
        { "type": "number", "minimum": 0, "maximum": 9 },
    ] });
    let law = json!({ "anyOf": [
        { "$ref": "#/$defs/time" },
        law_of("constant", &json!({ "$ref": "#/$defs/time" })),
        law_of("exponential", &json!({ "$ref": "#/$defs/time" })),
        law_of("lognormal", &json!({
            "type": "object",
            "properties": {
                "median": { "$ref": "#/$defs/time" },
                "p99": { "$ref": "#/$defs/time" },
                "sigma": { "type": "number", "minimum": 1e-6, "maximum": 5 },
            },
            "required": ["median"],
            "oneOf": [{ "required": ["p99"] }, { "required": ["sigma"] }],
            "additionalProperties": false,
        })),
        law_of("mixture", &json!({
            "type": "array",
            "minItems": 1,
            "items": {
                "type": "object",
                "properties": {
                    "weight": { "$ref": "#/$defs/share" },
                    "law": { "$ref": "#/$defs/law" },
                },
                "required": ["weight", "law"],
                "additionalProperties": false,
            },
        })),
        law_of("empirical", &json!({
            "type": "array",
            "minItems": 1,
            "maxItems": 100_000,
            "items": { "$ref": "#/$defs/time" },
        })),
    ] });
    [
        ("time", quantity(time)),
        ("length", quantity("mm|cm|m|km")),
        ("size", quantity(SIZE_UNITS)),
        ("link_rate", quantity(link_rate)),
        (
            "throughput",
            quantity("B/s|kB/s|MB/s|GB/s|MiB/s|GiB/s|Mb/s|Gb/s"),
        ),
        ("io_rate", quantity("/s|k/s|M/s")),
        ("share", share),
        ("growth_rate", growth),
        (
            "day",
            json!({ "type": "string", "pattern": "^[0-9]{4}-[0-9]{2}-[0-9]{2}$" }),
        ),
        (
            "factors",
            json!({
                "type": "array", "minItems": 24, "maxItems": 24, "items": { "$ref": "#/$defs/share" },
            }),
        ),
        (
            "name",
            json!({
                "type": "string", "pattern": "^(?![AB]$)(?!.*-[AB]$)[A-Za-z][A-Za-z0-9_-]*$", "maxLength": 40,
            }),
        ),
        (
            "speed",
            json!({ "anyOf": [
                { "enum": labels },
                { "$ref": "#/$defs/link_rate" },
            ] }),
        ),
        (
            "ports_by_technology",
            json!({
                "type": "object",
                "propertyNames": { "enum": labels },
                "additionalProperties": Kind::Count(0, 4_096).marked(),
            }),
        ),
        ("law", law),
        ("sizes", sizes()),
        (
            "size_mix",
            json!({
                "type": "object",
                "properties": { "basis": basis(), "source": source() },
                "patternProperties": {
                    (format!("^{NUMBER} ?({SIZE_UNITS})$")): { "$ref": "#/$defs/share" },
                },
                "additionalProperties": false,
                "minProperties": 1,
            }),
        ),
    ]
    .into_iter()
    .map(|(name, schema)| (name.to_owned(), schema))
    .collect()
}

/// One size, shares of several, or either for reads and for writes.
fn sizes() -> Value {
    let mix = json!({ "anyOf": [{ "$ref": "#/$defs/size" }, { "$ref": "#/$defs/size_mix" }] });
    let beside = |properties: Value, required: Value| {
        let mut schema = json!({
            "type": "object", "properties": properties, "required": required, "additionalProperties": false,
        });
        schema["properties"]["basis"] = basis();
        schema["properties"]["source"] = source();
        schema
    };
    json!({ "anyOf": [
        { "$ref": "#/$defs/size" },
        { "$ref": "#/$defs/size_mix" },
        beside(json!({ "value": mix }), json!(["value"])),
        beside(json!({ "read": mix, "write": mix }), json!(["read", "write"])),
    ] })
}

fn law_of(name: &str, inner: &Value) -> Value {
    json!({
        "type": "object",
        "properties": { name: inner, "basis": basis(), "source": source() },
        "required": [name],
        "additionalProperties": false,
    })
}
