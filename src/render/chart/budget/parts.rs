//! Parts of a bar: what people tell apart, and their fills.

use crate::outcome::BudgetPart;
use crate::render::chart::palette::Role;

/// Parts of a bar below this share are one part, "other".
const SHARE_LEAST: f64 = 0.004;

/// A part as drawn.
#[derive(Clone, Debug)]
pub(super) struct Part {
    pub(super) name: String,
    pub(super) us: f64,
    pub(super) look: Look,
}

/// Fills that differ without hue; two neighbours never share one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Look {
    Service,
    Pale,
    Middle,
    Dark,
    Wait,
}

impl Look {
    pub(super) fn fill(self) -> (Role, Role) {
        match self {
            Self::Service => (Role::Use2, Role::Ink),
            Self::Pale => (Role::Panel, Role::Ink),
            Self::Middle => (Role::Pipe, Role::Ink),
            Self::Dark => (Role::Mute, Role::OnFill),
            Self::Wait => (Role::Ink, Role::OnFill),
        }
    }
}

/// Parts as people think of them, in the order of the way, small ones together.
pub(super) fn parts(budget: &[BudgetPart]) -> Vec<Part> {
    let queueing = |part: &&BudgetPart| part.part == "queueing";
    let widest = budget
        .iter()
        .filter(queueing)
        .max_by(|a, b| a.mean_us.total_cmp(&b.mean_us));
    let mut out: Vec<Part> = [
        ("array service", Look::Service),
        ("array queue and mirror", Look::Pale),
        ("host queues", Look::Dark),
        ("adapters", Look::Middle),
        ("switches and fibre", Look::Pale),
        ("serialization", Look::Dark),
        ("extra round trip", Look::Middle),
        ("retries", Look::Pale),
        ("queueing elsewhere", Look::Middle),
    ]
    .map(|(name, look)| Part {
        name: name.to_owned(),
        us: 0.0,
        look,
    })
    .to_vec();
    let mut wait = Part {
        name: "queueing".to_owned(),
        us: 0.0,
        look: Look::Wait,
    };
    for part in budget
        .iter()
        .filter(|part| part.mean_us.is_finite() && part.mean_us > 0.0)
    {
        let index = match part.part.as_str() {
            "service" => 0,
            "array queue" | "mirror trip" => 1,
            "host queue" => 2,
            "adapter" => 3,
            "switch" | "propagation" => 4,
            "serialization" => 5,
            "extra round trip" => 6,
            "retry" => 7,
            _ if widest.is_some_and(|widest| std::ptr::eq(widest, part)) => {
                if let Some(tier) = &part.tier {
                    wait.name = format!("queueing, {}", tier.replace(" > ", " to "));
                }
                wait.us = part.mean_us;
                continue;
            }
            _ => 8,
        };
        out[index].us += part.mean_us;
    }
    out.push(wait);
    let total: f64 = out.iter().map(|part| part.us).sum();
    let (kept, small): (Vec<Part>, Vec<Part>) = out
        .into_iter()
        .partition(|part| part.us >= SHARE_LEAST * total);
    let small: f64 = small.iter().map(|part| part.us).sum();
    let mut kept: Vec<Part> = kept.into_iter().filter(|part| part.us > 0.0).collect();
    if small > 0.0 {
        kept.push(Part {
            name: "other".to_owned(),
            us: small,
            look: Look::Pale,
        });
    }
    kept
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_wait_in_the_host_is_no_part_of_its_adapter() {
        let one = |part: &str, mean_us| BudgetPart {
            part: part.to_owned(),
            tier: None,
            mean_us,
        };
        let shown = parts(&[one("host queue", 40.0), one("adapter", 10.0)]);
        let shown: Vec<_> = shown.iter().map(|p| (p.name.as_str(), p.us)).collect();
        assert_eq!(shown, [("host queues", 40.0), ("adapters", 10.0)]);
    }
}
