//! From a value of the tree to what it means, or to what is wrong with it.

use super::cursor::Fault;
use super::problem::near_or_list;
use super::quantity::{self, Wrong};
use super::tree::{Node, Value};
use crate::site::Law;
use crate::unit::{Duration, Rate};
use crate::wire::SIZE_MAX;

/// Any text.
pub(super) fn text(node: &Node) -> Result<String, Fault> {
    node.as_str()
        .cloned()
        .ok_or_else(|| Fault::new(format!("is {}", node.kind()), "a string in quotes"))
}

/// One of some words.
pub(super) fn one_of<T: Copy>(words: &[(&'static str, T)]) -> impl Fn(&Node) -> Result<T, Fault> {
    let words = words.to_vec();
    move |node| {
        let known: Vec<&str> = words.iter().map(|(word, _)| *word).collect();
        let Some(found) = node.as_str() else {
            return Err(Fault::new(
                format!("is {}", node.kind()),
                format!("one of: {}", known.join(", ")),
            ));
        };
        words
            .iter()
            .find(|(word, _)| word == found)
            .map(|(_, value)| *value)
            .ok_or_else(|| {
                let mut fault = Fault::new(
                    format!("cannot be `{found}`"),
                    near_or_list(found, "one of", &known),
                );
                if fault.expected.starts_with("did") {
                    fault.help = format!("one of: {}", known.join(", "));
                }
                fault
            })
    }
}

/// True or false.
pub(super) fn switch(node: &Node) -> Result<bool, Fault> {
    match node.value {
        Value::Boolean(yes) => Ok(yes),
        _ => Err(Fault::new(format!("is {}", node.kind()), "true or false")),
    }
}

/// A whole number within limits.
pub(super) fn whole(min: u64, max: u64) -> impl Fn(&Node) -> Result<u64, Fault> {
    move |node| {
        let expected = format!("a whole number from {min} to {max}");
        match node.value {
            Value::Integer(number) => match u64::try_from(number) {
                Ok(number) if (min..=max).contains(&number) => Ok(number),
                _ => Err(Fault::new(format!("cannot be {number}"), expected)),
            },
            Value::String(ref text) if text.parse::<i128>().is_ok() => Err(Fault::new(
                "stands in quotes",
                format!("{expected}, without quotes"),
            )),
            _ => Err(Fault::new(format!("is {}", node.kind()), expected)),
        }
    }
}

/// A whole number within limits that fit 32 bits.
pub(super) fn count(min: u32, max: u32) -> impl Fn(&Node) -> Result<u32, Fault> {
    let read = whole(u64::from(min), u64::from(max));
    move |node| read(node).map(|number| u32::try_from(number).unwrap_or(max))
}

fn quantity<T>(
    node: &Node,
    read: impl Fn(&str) -> Result<T, Wrong>,
    what: &str,
    limits: &str,
) -> Result<T, Fault> {
    let Some(text) = node.as_str() else {
        let says = format!("is {} without a unit", node.kind());
        return Err(Fault::new(says, format!("{what} in quotes")));
    };
    read(text).map_err(|wrong| {
        let kind = what.split(" like").next().unwrap_or(what);
        match wrong {
            Wrong::Shape => Fault::new(format!("is not {kind}"), what),
            Wrong::TooFine => Fault::new("has too many digits", limits),
            Wrong::TooSmall => Fault::new("is too small", limits),
            Wrong::TooLarge => Fault::new("is too large", limits),
        }
    })
}

/// A time of at most a day; zero is fine.
pub(super) fn time(node: &Node) -> Result<Duration, Fault> {
    const WHAT: &str = "a time like \"600ns\", \"100us\", \"2s\" or \"15m\" (minutes)";
    quantity(node, quantity::time, WHAT, "whole picoseconds, at most 24h")
}

/// A time above zero.
pub(super) fn time_above_zero(node: &Node) -> Result<Duration, Fault> {
    match time(node)? {
        Duration::ZERO => Err(Fault::new("is zero", "a time above zero")),
        time => Ok(time),
    }
}

/// A length in millimetres.
pub(super) fn length_mm(node: &Node) -> Result<u64, Fault> {
    const WHAT: &str = "a length like \"40m\" or \"2km\"";
    quantity(
        node,
        quantity::length_mm,
        WHAT,
        "whole millimetres, at most 1000km",
    )
}

/// A size of one I/O.
pub(super) fn size(node: &Node) -> Result<u64, Fault> {
    quantity(node, io_size, SIZE_WHAT, "1B to 64MiB")
        .map_err(|fault| guess(node, fault, &meant_size))
}

/// What a wrong size of one I/O may mean, else what a size looks like.
pub(super) fn size_expected(text: &str) -> String {
    meant_size(text).unwrap_or_else(|| SIZE_WHAT.to_owned())
}

fn meant_size(text: &str) -> Option<String> {
    (io_size(text) == Err(Wrong::Shape)).then(|| quantity::meant_size(text))?
}

/// Puts a guess at what was meant in front, where there is one; what is expected becomes the remedy.
fn guess(node: &Node, mut fault: Fault, meant: &dyn Fn(&str) -> Option<String>) -> Fault {
    let text = match &node.value {
        Value::String(text) => text.clone(),
        Value::Integer(number) => number.to_string(),
        Value::Float(number) => number.to_string(),
        _ => return fault,
    };
    if let Some(guess) = meant(&text) {
        fault.help = std::mem::replace(&mut fault.expected, guess);
    }
    fault
}

/// What a size looks like.
pub(super) const SIZE_WHAT: &str = "a size like \"512B\", \"8KiB\" or \"1MiB\"";

/// A size of one I/O from its text.
pub(super) fn io_size(text: &str) -> Result<u64, Wrong> {
    quantity::size(text, SIZE_MAX)
}

/// Memory: a size from 1 MiB.
pub(super) fn memory(node: &Node) -> Result<u64, Fault> {
    const EXPECTED: &str = "from 1MiB to 4096GiB";
    let most = |text: &str| quantity::size(text, 4_096 << 30);
    let bytes = quantity(node, most, "a size like \"2GiB\"", EXPECTED)?;
    if bytes < 1 << 20 {
        return Err(Fault::new("is too small", EXPECTED));
    }
    Ok(bytes)
}

/// A number of bytes: an integer or a size, within limits that fit 32 bits.
pub(super) fn bytes(min: u32, max: u32) -> impl Fn(&Node) -> Result<u32, Fault> {
    move |node| {
        let expected = format!("{min} to {max} bytes");
        let number = match &node.value {
            Value::Integer(number) => u64::try_from(*number).ok(),
            Value::String(text) if matches!(text.as_str(), "0B" | "0") => Some(0),
            Value::String(_) => Some(quantity(
                node,
                |text| quantity::size(text, 1 << 40),
                SIZE_WHAT,
                &expected,
            )?),
            _ => return Err(Fault::new(format!("is {}", node.kind()), expected)),
        };
        number
            .and_then(|number| u32::try_from(number).ok())
            .filter(|number| (min..=max).contains(number))
            .ok_or_else(|| Fault::new("is outside its limits", expected))
    }
}

/// A link rate.
pub(super) fn link_rate(node: &Node) -> Result<Rate, Fault> {
    quantity(
        node,
        quantity::link_rate,
        "a rate like \"27.2Gb/s\"",
        "whole bits per second, 1Mb/s to 10Tb/s",
    )
}

/// I/Os per second.
pub(super) fn io_rate(node: &Node) -> Result<f64, Fault> {
    const WHAT: &str = "I/Os per second like \"800/s\" or \"120k/s\"";
    quantity(node, quantity::io_rate, WHAT, "above 0 and at most 1000M/s")
        .map_err(|fault| guess(node, fault, &quantity::meant_io_rate))
}

/// I/Os per second, zero allowed.
pub(super) fn io_rate_or_zero(node: &Node) -> Result<f64, Fault> {
    match node.as_str().map(String::as_str) {
        Some("0/s" | "0k/s") => Ok(0.0),
        _ => io_rate(node),
    }
}

/// Bytes per second.
pub(super) fn throughput(node: &Node) -> Result<u64, Fault> {
    quantity(
        node,
        quantity::throughput,
        "a throughput like \"1.5GB/s\"",
        "whole bytes per second, above 0, at most 10TB/s",
    )
}

/// A share from 0 to 1: `"70%"` or `0.7`.
pub(super) fn share(node: &Node) -> Result<f64, Fault> {
    const EXPECTED: &str = "a share like \"70%\" or 0.7, from 0 to 1";
    let share = match &node.value {
        Value::String(_) => quantity(node, quantity::percent, EXPECTED, EXPECTED)
            .map_err(|fault| guess(node, fault, &meant_share))?,
        #[allow(clippy::cast_precision_loss)]
        Value::Integer(number) => *number as f64,
        Value::Float(number) => *number,
        _ => return Err(Fault::new(format!("is {}", node.kind()), EXPECTED)),
    };
    if (0.0..=1.0).contains(&share) {
        Ok(share)
    } else {
        Err(guess(
            node,
            Fault::new("is no share of 1", EXPECTED),
            &meant_share,
        ))
    }
}

/// `70` is meant as 70 %.
fn meant_share(text: &str) -> Option<String> {
    let percent: f64 = text.parse().ok()?;
    ((1.0..=100.0).contains(&percent) && percent > 1.0)
        .then(|| format!("did you mean \"{text}%\"?"))
}

/// A finite number within limits.
pub(super) fn number(min: f64, max: f64) -> impl Fn(&Node) -> Result<f64, Fault> {
    move |node| {
        let expected = format!("a number from {min} to {max}");
        #[allow(clippy::cast_precision_loss)]
        let number = match node.value {
            Value::Integer(number) => number as f64,
            Value::Float(number) => number,
            _ => return Err(Fault::new(format!("is {}", node.kind()), expected)),
        };
        // Not-a-number is in no range.
        if (min..=max).contains(&number) {
            Ok(number)
        } else {
            Err(Fault::new(format!("cannot be {number}"), expected))
        }
    }
}

/// One text or a list of texts; never empty.
pub(super) fn texts(node: &Node) -> Result<Vec<Node>, Fault> {
    const EXPECTED: &str = "a string or a list of strings";
    let items = match &node.value {
        Value::String(_) => vec![node.clone()],
        Value::Array(items) => items.clone(),
        _ => return Err(Fault::new(format!("is {}", node.kind()), EXPECTED)),
    };
    if items.is_empty() {
        return Err(Fault::new("is empty", EXPECTED));
    }
    match items.iter().find(|item| item.as_str().is_none()) {
        Some(item) => Err(Fault::new(format!("holds {}", item.kind()), EXPECTED).at(&item.origin)),
        None => Ok(items),
    }
}

/// Shares must add up to 1 this closely.
const SUM_TOLERANCE: f64 = 1e-9;

/// Whether shares add up to 1.
pub(super) fn adds_up(shares: impl Iterator<Item = f64>) -> Result<(), Fault> {
    let sum: f64 = shares.sum();
    if (sum - 1.0).abs() <= SUM_TOLERANCE {
        return Ok(());
    }
    Err(Fault::new(
        format!("adds up to {}", (sum * 1e6).round() / 1e6),
        "shares that add up to 1",
    ))
}

/// The 0.99 quantile of the standard normal law (Abramowitz and Stegun, Handbook of Mathematical
/// Functions, 1964, table 26.5 gives 2.32635; further digits from memory).
const NORMAL_P99: f64 = 2.326_347_874_040_840_8;

const LAW_EXPECTED: &str =
    "a time, or { exponential | lognormal | mixture | empirical | constant = … }";

/// A service-time law.
pub(super) fn law(node: &Node) -> Result<Law, Fault> {
    let Some(entries) = node.as_table() else {
        return time(node).map(Law::Constant).map_err(|mut fault| {
            LAW_EXPECTED.clone_into(&mut fault.expected);
            fault
        });
    };
    let mut laws = entries
        .iter()
        .filter(|entry| entry.key != "basis" && entry.key != "source");
    let (Some(entry), None) = (laws.next(), laws.next()) else {
        return Err(Fault::new("states no single law", LAW_EXPECTED));
    };
    let at = |fault: Fault| fault.at(&entry.node.origin);
    match entry.key.as_str() {
        "constant" => time(&entry.node).map(Law::Constant).map_err(at),
        "exponential" => time_above_zero(&entry.node)
            .map(Law::Exponential)
            .map_err(at),
        "lognormal" => lognormal(&entry.node).map_err(at),
        "mixture" => mixture(&entry.node).map_err(at),
        "empirical" => empirical(&entry.node).map_err(at),
        other => {
            let known = [
                "constant",
                "exponential",
                "lognormal",
                "mixture",
                "empirical",
            ];
            let says = format!("has an unknown law `{other}`");
            Err(Fault::new(says, near_or_list(other, "laws", &known)).at(&entry.origin))
        }
    }
}

fn lognormal(node: &Node) -> Result<Law, Fault> {
    const EXPECTED: &str =
        "{ median = \"240us\", p99 = \"900us\" } or { median = \"240us\", sigma = 0.5 }";
    let wrong = |says: &str| Fault::new(says, EXPECTED);
    let entries = node
        .as_table()
        .ok_or_else(|| wrong("is no lognormal law"))?;
    let find = |key: &str| {
        entries
            .iter()
            .find(|entry| entry.key == key)
            .map(|entry| &entry.node)
    };
    if let Some(entry) = entries
        .iter()
        .find(|entry| !["median", "p99", "sigma"].contains(&entry.key.as_str()))
    {
        return Err(wrong(&format!("has an unknown key `{}`", entry.key)).at(&entry.origin));
    }
    let median = find("median").ok_or_else(|| wrong("has no median"))?;
    let median = time_above_zero(median).map_err(|fault| fault.at(&median.origin))?;
    let sigma = match (find("p99"), find("sigma")) {
        (Some(node), None) => {
            let p99 = time(node).map_err(|fault| fault.at(&node.origin))?;
            if p99 <= median {
                return Err(wrong("has a p99 that is not above its median").at(&node.origin));
            }
            libm::log(p99.as_secs_f64() / median.as_secs_f64()) / NORMAL_P99
        }
        (None, Some(node)) => number(1e-6, 5.0)(node).map_err(|fault| fault.at(&node.origin))?,
        _ => return Err(wrong("needs either p99 or sigma")),
    };
    Ok(Law::Lognormal { median, sigma })
}

fn mixture(node: &Node) -> Result<Law, Fault> {
    const EXPECTED: &str =
        "[{ weight = 0.9, law = \"100us\" }, { weight = 0.1, law = { exponential = \"1ms\" } }]";
    let wrong = |says: &str| Fault::new(says, EXPECTED);
    let Value::Array(items) = &node.value else {
        return Err(wrong("is no mixture"));
    };
    let mut parts = Vec::new();
    for item in items {
        let entries = item.as_table().map_or(&[][..], Vec::as_slice);
        let [first, second] = entries else {
            return Err(wrong("has a part that is not { weight, law }").at(&item.origin));
        };
        let (weight, inner) = match (first.key.as_str(), second.key.as_str()) {
            ("weight", "law") => (&first.node, &second.node),
            ("law", "weight") => (&second.node, &first.node),
            _ => return Err(wrong("has a part that is not { weight, law }").at(&item.origin)),
        };
        let weight = share(weight).map_err(|fault| fault.at(&weight.origin))?;
        parts.push((weight, law(inner).map_err(|fault| fault.at(&inner.origin))?));
    }
    adds_up(parts.iter().map(|(weight, _)| *weight))?;
    Ok(Law::Mixture(parts))
}

/// Most values of an empirical law.
const EMPIRICAL_MAX: usize = 100_000;

fn empirical(node: &Node) -> Result<Law, Fault> {
    const EXPECTED: &str = "a list of times, at most 100000";
    match &node.value {
        Value::Array(items) if !items.is_empty() && items.len() <= EMPIRICAL_MAX => items
            .iter()
            .map(|item| time(item).map_err(|fault| fault.at(&item.origin)))
            .collect::<Result<_, _>>()
            .map(Law::Empirical),
        _ => Err(Fault::new("is no list of measured times", EXPECTED)),
    }
}
