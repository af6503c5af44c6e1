//! The tables of a workload, whose keys depend on its protocol.

use super::kind::Kind::{
    self, Bytes, Count, Either, Name, Number, Of, OneOrMore, Switch, Table as Inner, Text, Words,
};
use super::meaning::Meanings;
use super::tables::SHAPES;
use super::{Key, Table, may, must};
use serde_json::{Map, Value, json};

const TIME: Kind = Of("time");
const RATE: Kind = Of("io_rate");
const MIB: u64 = 1 << 20;
const OPTIONS: &str = "Options of the protocols";

pub(super) const ALL: &[Table] = &[
    Table {
        name: "workload",
        heading: "`[[workload]]`",
        keys: &[
            must("name", Name),
            must("hosts", OneOrMore(&Name)),
            must("array", Name),
            must("protocol", Words(&PROTOCOLS)),
            must("arrivals", Inner("arrivals")),
            may("read", Of("share")),
            may("sizes", Inner("sizes")),
            may("volumes", Count(1, 1_000_000)),
            may("owner", Words(&["any", "alternate"])),
            may("connections", Count(1, 1_024)),
            may("adapter", TIME),
            may("promise", Inner("promise")),
        ],
        one_of: &[],
    },
    Table {
        name: "arrivals",
        heading: "`arrivals`: exactly one kind",
        keys: &[
            may("poisson", RATE),
            may("paced", RATE),
            may("bursty", Inner("bursty")),
            may("closed", Inner("closed")),
            may("replay", Text),
            may("copies", Count(1, 100_000)),
            may("speed", Number(0.001, 1_000.0)),
            may("aligned", Switch),
            may("outstanding", Count(1, 1_000_000)),
            may("per", Words(&["workload", "host"])),
            may("shape", SHAPES),
        ],
        one_of: &[&["poisson", "paced", "bursty", "closed", "replay"]],
    },
    Table {
        name: "bursty",
        heading: "`arrivals`: exactly one kind",
        keys: &[
            must("peak", RATE).told_as("bursty.peak"),
            may("mean", RATE).told_as("bursty.mean"),
            may("base", RATE).told_as("bursty.base"),
            must("burst", TIME).told_as("bursty.burst"),
            must("every", TIME).told_as("bursty.every"),
            may("together", Switch).told_as("bursty.together"),
            may("law", Words(&["fixed", "exponential"])).told_as("bursty.law"),
        ],
        one_of: &[&["mean", "base"]],
    },
    Table {
        name: "closed",
        heading: "`arrivals`: exactly one kind",
        keys: &[
            must("depth", Count(1, 65_536)).told_as("closed.depth"),
            may("think", TIME).told_as("closed.think"),
            may("together", Switch).told_as("closed.together"),
        ],
        one_of: &[],
    },
    Table {
        name: "promise",
        heading: "`promise`",
        keys: &[
            may("mean", TIME),
            may("throughput", Of("throughput")),
            may("lost", Inner("promise_lost")),
            may("switching", Inner("promise_switching")),
        ],
        one_of: &[],
    },
    Table {
        name: "promise_lost",
        heading: "`promise`",
        keys: &[may("mean", TIME), may("throughput", Of("throughput"))],
        one_of: &[],
    },
    Table {
        name: "promise_switching",
        heading: "`promise`",
        keys: &[
            may("longest_io", TIME).told_as("switching.longest_io"),
            may("failed", Count(0, 1_000_000_000_000)).told_as("switching.failed"),
        ],
        one_of: &[],
    },
];

pub(super) const PROTOCOLS: [&str; 7] = [
    "fc-scsi",
    "fc-nvme",
    "iscsi",
    "nvme-tcp",
    "nvme-rdma",
    "nfs",
    "plain",
];

const ACKS: Key = may("acks", Words(&["every-second", "never"]));
const MTU: Key = may("mtu", Bytes(576, 9_216));
const IPV6: Key = may("ipv6", Switch);
const VLAN: Key = may("vlan", Switch);
const TIMESTAMPS: Key = may("timestamps", Switch);
const DIGEST_WORDS: Kind = Words(&["off", "header", "data", "both"]);
const DIGESTS: Key = may("digests", Either(&DIGEST_WORDS, &Switch));
const IN_CAPSULE: Key = may("in_capsule", Bytes(0, MIB));
const DATA_FIELD: Key = may("data_field", Bytes(256, 2_112));
const FC_FIRST: Key = may("first_burst", Bytes(0, 64 * MIB));
const FC_MOST: Key = may("max_burst", Bytes(512, 64 * MIB));
const SEGMENT: Kind = Bytes(512, 16_777_215);
const MESSAGE: Kind = Bytes(1, 64 * MIB);

/// The options of a protocol.
pub(super) fn options(protocol: &str) -> &'static [Key] {
    match protocol {
        "fc-scsi" => const { &[DATA_FIELD, FC_FIRST, FC_MOST, may("long_command", Switch)] },
        "fc-nvme" => {
            const {
                &[
                    DATA_FIELD,
                    FC_FIRST,
                    FC_MOST,
                    may("extended_response", Switch),
                ]
            }
        }
        "iscsi" => {
            const {
                &[
                    MTU,
                    ACKS,
                    IPV6,
                    VLAN,
                    TIMESTAMPS,
                    DIGESTS,
                    may("host_segment", SEGMENT),
                    may("array_segment", SEGMENT),
                    may("first_burst", SEGMENT),
                    may("max_burst", SEGMENT),
                    may("separate_status", Switch),
                    may("initial_r2t", Switch),
                    may("immediate_data", Switch),
                ]
            }
        }
        "nvme-tcp" => {
            const {
                &[
                    MTU,
                    ACKS,
                    IPV6,
                    VLAN,
                    TIMESTAMPS,
                    DIGESTS,
                    IN_CAPSULE,
                    may("max_h2c_data", Bytes(4_096, 16 * MIB)),
                    may("success", Switch),
                ]
            }
        }
        "nvme-rdma" => const { &[MTU, IPV6, VLAN, IN_CAPSULE] },
        "nfs" => {
            const {
                &[
                    MTU,
                    ACKS,
                    IPV6,
                    VLAN,
                    TIMESTAMPS,
                    may("version", Words(&["v3", "v4.1"])),
                    may("transfer", Bytes(1_024, MIB)),
                ]
            }
        }
        "plain" => {
            const {
                &[
                    must("request", MESSAGE),
                    must("response", MESSAGE),
                    must("frame", MESSAGE),
                ]
            }
        }
        _ => &[],
    }
}

/// Adds what a list of keys cannot say: the options of each protocol, percentiles of promises, sizes.
pub(super) fn finish(name: &str, schema: &mut Value, meanings: &Meanings) {
    match name {
        "workload" => protocols(schema, meanings),
        "promise" | "promise_lost" => {
            schema["patternProperties"] =
                json!({ "^p(?!0*([._]0*)?$)[0-9]{1,2}([._][0-9]{1,5})?$": TIME.marked() });
        }
        "event" => {
            let needs =
                |key: &str, all: &Value| json!({ "if": { "required": [key] }, "then": all });
            let some = json!({ "anyOf": [{ "required": ["rate"] }, { "required": ["loss"] }] });
            let rules = [
                needs("flap", &json!({ "required": ["period", "count"] })),
                needs("slow", &some),
            ];
            if let Some(all) = schema["allOf"].as_array_mut() {
                all.extend(rules);
            }
        }
        "link" => schema["not"] = json!({ "required": ["length", "propagation"] }),
        _ => {}
    }
}

fn protocols(schema: &mut Value, meanings: &Meanings) {
    let Some(properties) = schema["properties"].as_object().cloned() else {
        return;
    };
    let common: Vec<String> = properties.keys().cloned().collect();
    let mut all: Map<String, Value> = properties;
    let mut rules = Vec::new();
    for protocol in PROTOCOLS {
        let own = options(protocol);
        let kinds: Map<String, Value> = own
            .iter()
            .map(|key| {
                let schema = key.schema((OPTIONS, protocol), meanings);
                (key.name.to_owned(), schema)
            })
            .collect();
        let mut names: Vec<&str> = common.iter().map(String::as_str).collect();
        for key in own {
            names.push(key.name);
            all.entry(key.name.to_owned()).or_insert(json!(true));
        }
        let required: Vec<&str> = own
            .iter()
            .filter(|key| key.needed)
            .map(|key| key.name)
            .collect();
        rules.push(json!({
            "if": { "properties": { "protocol": { "const": protocol } }, "required": ["protocol"] },
            "then": {
                "properties": kinds,
                "propertyNames": { "enum": names },
                "required": required,
            },
        }));
    }
    schema["properties"] = Value::Object(all);
    schema["allOf"] = json!(rules);
}
