//! Scripted events: what happens to which parts, and whether it can.

use super::control::{mode, patterns_or, takes_side};
use super::cursor::{Cursor, Fault as Failing};
use super::fate::{Group, expanded};
use super::names::{Row, rows};
use super::problem::{Severity, near_or_list};
use super::tree::{Node, Origin};
use super::value::{count, one_of, share, texts, time, time_above_zero};
use crate::site::{Action, End, Event, Fault, Flap, Heading, LossMode, Outage, Site, Slow, WarmUp};
use crate::topology::{self, Fabric, InForce, MemberId, TakenBack, still_out};
use crate::unit::{Duration, Instant, Side};

/// What an event may do, by its key.
const ACTIONS: [&str; 5] = ["lose", "restore", "drain", "slow", "flap"];
/// Most rounds of a flap.
const ROUNDS_MAX: u32 = 100;

/// Reads every `[[event]]`, in order of time.
pub(super) fn events(top: &Cursor<'_, '_>, outages: &[Outage], groups: &[Group]) -> Vec<Event> {
    let mut events: Vec<Event> = (1..)
        .zip(rows(top, "event"))
        .flat_map(|(number, row)| event(top, row, number, (outages, groups)))
        .collect();
    events.sort_by_key(|event| event.at);
    events
}

fn event(
    top: &Cursor<'_, '_>,
    row: Row<'_>,
    number: u32,
    (outages, groups): (&[Outage], &[Group]),
) -> Vec<Event> {
    let path = format!("event.{number}");
    let cursor = Cursor::new(
        top.ctx,
        row.entries,
        row.origin,
        path,
        format!("event {number}"),
    );
    let at = cursor.needed("at", "time of an event", &time, "\"800ms\"");
    let mode = cursor.optional("mode", "how the loss shows", &mode());
    let way = cursor.optional("way", "the way that is lost", &ways());
    let stated: Vec<&'static str> = ACTIONS.into_iter().filter(|key| cursor.has(key)).collect();
    let targets = match stated.as_slice() {
        [key] => {
            // An outage goes by its name, whatever letters that has.
            let known = |text: &str| outages.iter().any(|outage| outage.name == text);
            let targets = |node: &Node| patterns_or(node, known);
            cursor.optional(key, "event", &targets).unwrap_or_default()
        }
        _ => {
            let message = format!("{} does {} things", cursor.who, stated.len());
            let expected = "exactly one of: lose, restore, drain, slow, flap";
            top.ctx.error(row.origin, &message, expected, "");
            Vec::new()
        }
    };
    let key = stated.first().copied().unwrap_or("lose");
    let slow = slow(&cursor, key);
    let rounds = flap(&cursor, key);
    let loses = matches!(key, "lose" | "flap");
    only(&cursor, "mode", loses, "`lose` or `flap`");
    only(&cursor, "way", key == "lose", "`lose`");
    one_way_is_silent(&cursor, mode, way);
    for key in ACTIONS {
        cursor.entry(key);
    }
    cursor.finish();
    let Some(at) = at else {
        return Vec::new();
    };
    let mut events = Vec::new();
    for target in targets.iter().filter_map(Node::as_str) {
        let outage = outages.iter().find(|outage| outage.name == *target);
        let parts = outage.map_or_else(|| expanded(target, groups), |outage| outage.takes.clone());
        let side = outage.and_then(|outage| outage.side);
        let side = side.or_else(|| {
            Side::BOTH
                .into_iter()
                .find(|side| takes_side(&parts, *side))
        });
        let inherited = match outage.map(|outage| outage.fault) {
            Some(Fault::OneWay(heading)) if mode.is_none() => Some(heading),
            _ => None,
        };
        let mode = mode.or(outage.map(|outage| outage.mode));
        let lose = match way.or(inherited) {
            Some(heading) => Action::LoseWay(heading),
            None => Action::Lose(mode.unwrap_or(LossMode::Loud)),
        };
        let mut add = |at, action, round| {
            events.push(Event {
                at,
                action,
                parts: parts.clone(),
                side,
                target: target.clone(),
                number,
                round,
            });
        };
        match (key, &rounds) {
            ("flap", Some(flap)) => {
                for round in 0..flap.count {
                    let from = at + Duration(flap.period.0 * u64::from(round));
                    add(from, lose, Some((round + 1, flap.count)));
                    add(
                        from + flap.down,
                        Action::Restore,
                        Some((round + 1, flap.count)),
                    );
                }
            }
            ("flap", None) => {}
            ("restore", _) => add(at, Action::Restore, None),
            ("drain", _) => add(at, Action::Drain, None),
            ("slow", _) => add(at, Action::Slow(slow), None),
            _ => add(at, lose, None),
        }
    }
    events
}

/// The ways of a link, as a value.
fn ways() -> impl Fn(&Node) -> Result<Heading, Failing> {
    one_of(&[("to-arrays", Heading::Arrays), ("to-hosts", Heading::Hosts)])
}

/// Refuses a loss of one way that shows itself.
fn one_way_is_silent(cursor: &Cursor<'_, '_>, mode: Option<LossMode>, way: Option<Heading>) {
    if let (Some(LossMode::Loud), Some(_)) = (mode, way) {
        // Whoever sees no signal says so to the other end, which then is down too.
        let origin = cursor
            .entry("mode")
            .map_or(cursor.origin, |entry| &entry.origin);
        let message = format!("{} loses one way of links loudly", cursor.who);
        let help = "the end that sees no signal tells the other (remote fault, IEEE 802.3), so a loss that shows takes both ways";
        cursor.ctx.error(
            origin,
            &message,
            "`way` without `mode`, or `mode = \"silent\"`",
            help,
        );
    }
}

/// What becomes of the parts of an outage: the same words as of an event, of which it may have those of one kind.
pub(super) fn fault(cursor: &Cursor<'_, '_>) -> Fault {
    let any = |keys: &[&str]| keys.iter().any(|key| cursor.has(key));
    let kinds = [
        (any(&["rate", "loss"]), "slow"),
        (any(&["period", "count", "down"]), "flap"),
        (any(&["way"]), "one way"),
    ];
    let mut kinds = kinds.into_iter().filter(|(stated, _)| *stated);
    let kind = kinds.next().map_or("lose", |(_, kind)| kind);
    if kinds.next().is_some() {
        let message = format!("{} does several things to its parts", cursor.who);
        let expected = "`rate` and `loss`, or `way`, or `period`, `count` and `down`";
        let help = "what happens one after the other is a script of [[event]]s, for `simulate`";
        cursor.ctx.error(cursor.origin, &message, expected, help);
    }
    let way = cursor.optional("way", "the way that is lost", &ways());
    if kind == "one way" {
        one_way_is_silent(cursor, cursor.get("mode", &mode()), way);
    } else if kind == "slow" {
        only(cursor, "mode", false, "parts that are lost");
    }
    let slow = (kind == "slow").then(|| slow(cursor, kind));
    let flap = (kind == "flap").then(|| flap(cursor, kind)).flatten();
    // Keys of a second kind have been reported; they are known all the same.
    for key in ["rate", "loss", "period", "count", "down"] {
        cursor.entry(key);
    }
    match (slow, flap, way) {
        (Some(slow), ..) => Fault::Slow(slow),
        (None, Some(flap), _) => Fault::Flaps(flap),
        (None, None, Some(heading)) => Fault::OneWay(heading),
        (None, None, None) => Fault::Lost,
    }
}

/// Reports a key that is there without the action that it belongs to.
fn only(cursor: &Cursor<'_, '_>, key: &'static str, fits: bool, with: &str) {
    if let Some(entry) = cursor.entry(key)
        && !fits
    {
        let message = format!("{} has a `{key}`, which means nothing here", cursor.who);
        let expected = format!("only with {with}");
        cursor.ctx.error(&entry.origin, &message, &expected, "");
    }
}

/// What a slow link is left with.
fn slow(cursor: &Cursor<'_, '_>, action: &str) -> Slow {
    let rate = cursor.optional("rate", "what is left of the rate", &rate_left);
    let loss = cursor.optional("loss", "frames damaged", &frame_loss);
    let fits = action == "slow";
    only(cursor, "rate", fits, "`slow`");
    only(cursor, "loss", fits, "`slow`");
    if fits && !cursor.has("rate") && !cursor.has("loss") {
        let message = format!("{} slows links and does not say how", cursor.who);
        let help = "for example rate = \"50%\" or loss = \"0.1%\"";
        cursor
            .ctx
            .error(cursor.origin, &message, "`rate`, `loss` or both", help);
    }
    Slow {
        rate_ppm: rate.unwrap_or(Slow::WHOLE),
        loss_ppb: loss.unwrap_or(0),
    }
}

/// A share in whole parts of `of`, which is at most 10^9.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn parts_of(node: &Node, of: u32) -> Result<u32, Failing> {
    // The share is from 0 to 1, so its parts fit.
    share(node).map(|share| (share * f64::from(of)).round() as u32)
}

fn rate_left(node: &Node) -> Result<u32, Failing> {
    const EXPECTED: &str = "a share like \"50%\", from 1% to 100%";
    let ppm = parts_of(node, Slow::WHOLE).map_err(|fault| Failing {
        expected: EXPECTED.into(),
        ..fault
    })?;
    if ppm < Slow::WHOLE / 100 {
        return Err(Failing::new("is too little", EXPECTED));
    }
    Ok(ppm)
}

fn frame_loss(node: &Node) -> Result<u32, Failing> {
    const EXPECTED: &str = "a share like \"0.1%\", from 0.0000001% to 100%";
    let ppb = parts_of(node, Slow::CERTAIN).map_err(|fault| Failing {
        expected: EXPECTED.into(),
        ..fault
    })?;
    if ppb == 0 {
        return Err(Failing::new("is too little", EXPECTED));
    }
    Ok(ppb)
}

fn flap(cursor: &Cursor<'_, '_>, action: &str) -> Option<Flap> {
    let period = cursor.optional("period", "from loss to loss", &time_above_zero);
    let down = cursor.optional("down", "from loss to return", &time_above_zero);
    let count = cursor.optional("count", "losses in all", &count(1, ROUNDS_MAX));
    let fits = action == "flap";
    for key in ["period", "down", "count"] {
        only(cursor, key, fits, "`flap`");
    }
    if !fits {
        return None;
    }
    for key in ["period", "count"] {
        if !cursor.has(key) {
            let message = format!("{} flaps and has no `{key}`", cursor.who);
            let help = "for example period = \"2s\" and count = 3";
            cursor
                .ctx
                .error(cursor.origin, &message, "it needs one", help);
        }
    }
    let (period, count) = (period?, count?);
    let down = down.unwrap_or(Duration(period.0.div_ceil(2)));
    if down >= period {
        let at = cursor.entry("down").or(cursor.entry("period"));
        let at = at.map_or(cursor.origin, |entry| &entry.origin);
        let message = format!(
            "{} is down for as long as its period, or longer",
            cursor.who
        );
        cursor.ctx.error(at, &message, "`down` below `period`", "");
        return None;
    }
    Some(Flap {
        period,
        down,
        count,
    })
}

/// Reports every pattern of a group, outage or event that no part of the site has.
pub(super) fn unmatched(top: &Cursor<'_, '_>, site: &Site, groups: &[Group], parts: &[String]) {
    let outages = &site.outages;
    let known: Vec<&str> = parts.iter().map(String::as_str).collect();
    let events = ACTIONS.map(|key| ("event", key));
    let keys = [("group", "parts"), ("outage", "takes")];
    for (family, key) in keys.into_iter().chain(events) {
        for row in rows(top, family) {
            let listed = row
                .entries
                .iter()
                .find(|entry| entry.key == key)
                .map(|entry| texts(&entry.node));
            for node in listed.and_then(Result::ok).unwrap_or_default() {
                let pattern = node.as_str().map_or("", String::as_str);
                let outage = outages.iter().any(|outage| outage.name == pattern);
                let group = groups.iter().any(|group| group.name == pattern);
                if (outage && family == "event")
                    || (group && family != "group")
                    || parts.iter().any(|part| topology::matches(pattern, part))
                {
                    continue;
                }
                let mut known = known.clone();
                if family != "group" {
                    known.extend(groups.iter().map(|group| group.name.as_str()));
                }
                if family == "event" {
                    known.extend(outages.iter().map(|outage| outage.name.as_str()));
                }
                let (message, expected) = if pattern.contains('*') {
                    let message = format!("no part has a name like `{pattern}`");
                    (message, near_pattern(pattern, &known))
                } else {
                    let message = format!("no part is called `{pattern}`");
                    (message, near_or_list(pattern, "parts", &known))
                };
                top.ctx
                    .error(&node.origin, &message, &expected, &meant(site, pattern));
            }
        }
    }
}

/// What to do about a name that no part has: where it is that of links, how those are called.
fn meant(site: &Site, name: &str) -> String {
    let Some(link) = site.links.iter().find(|link| link.name == name) else {
        return "`*` stands for any letters".to_owned();
    };
    let end = |end: End| match end {
        End::Host(index) => &site.hosts[index].name,
        End::Switch(index) => &site.switches[index].name,
        End::Array(index) => &site.arrays[index].name,
    };
    format!(
        "`{name}` names links in overrides; its parts go by their ends: `{}*~{}*` takes all of them",
        end(link.from),
        end(link.to)
    )
}

/// What a pattern that no name matches may have meant: of all patterns that are as long and match some part, and differ in
/// letters at its ends alone, the nearest; else names of parts.
fn near_pattern(pattern: &str, known: &[&str]) -> String {
    let letters = |c: char| c.is_ascii_alphanumeric();
    let (head, tail) = pattern.rsplit_once('*').unwrap_or(("", pattern));
    let ends = known.iter().filter_map(|name| {
        let at = name.len().checked_sub(tail.len())?;
        let (_, end) = name.is_char_boundary(at).then(|| name.split_at(at))?;
        let alike = |(one, other): (char, char)| one == other || letters(one) && letters(other);
        let same_shape =
            tail.chars().count() == end.chars().count() && tail.chars().zip(end.chars()).all(alike);
        same_shape.then(|| format!("{head}*{end}"))
    });
    let mut meant: Vec<String> = ends
        .filter(|other| known.iter().any(|name| topology::matches(other, name)))
        .collect();
    meant.sort();
    meant.dedup();
    let meant: Vec<&str> = meant.iter().map(String::as_str).collect();
    match super::problem::near(pattern, meant.iter().copied()) {
        Some(near) => format!("did you mean `{near}`?"),
        None => super::problem::list("parts", known),
    }
}

/// What a part is suffering from while the events are followed.
#[derive(Clone, Copy, Default)]
struct Ailment {
    ways_lost: [u32; 2],
    drained: u32,
    slow: bool,
}

impl Ailment {
    fn gone(self) -> bool {
        self.ways_lost.iter().all(|lost| *lost > 0)
    }

    fn well(self) -> bool {
        self.ways_lost == [0, 0] && self.drained == 0 && !self.slow
    }
}

/// Follows the events through time and reports those that can do nothing: a return of what is there, a loss of
/// what the same target has lost already, anything else on a part that is gone.
pub(super) fn follow(top: &Cursor<'_, '_>, site: &Site) {
    if site.events.is_empty() {
        return;
    }
    let fabric = Fabric::new(site);
    let mut state = vec![Ailment::default(); fabric.members.len()];
    let mut in_force = InForce::default();
    // Losses and drains in force: target, what, by which event.
    let mut standing: Vec<(String, Action, u32)> = Vec::new();
    let mut known: Vec<(u32, String, Vec<MemberId>)> = Vec::new();
    let mut refused = Vec::with_capacity(site.events.len());
    for event in &site.events {
        let cached = known
            .iter()
            .position(|(number, target, _)| *number == event.number && *target == event.target);
        let cached = cached.unwrap_or_else(|| {
            let members = fabric.members_of(&event.parts, event.side);
            known.push((event.number, event.target.clone(), members));
            known.len() - 1
        });
        let members = &known[cached].2;
        let ails = |test: &dyn Fn(Ailment) -> bool| {
            members.iter().all(|member| test(state[member.0 as usize]))
        };
        let at = Instant(event.at.0).since(Instant::ZERO);
        let (all_gone, all_well) = (ails(&Ailment::gone), ails(&Ailment::well));
        let before = standing
            .iter()
            .find(|(target, action, _)| *target == event.target && *action == event.action);
        let wrong = match event.action {
            Action::Restore if all_well => Some((
                format!(
                    "restores `{}`, with which nothing is wrong at {at}",
                    event.target
                ),
                "a loss, drain or slow-down before it",
            )),
            Action::Restore => None,
            Action::Lose(_) | Action::LoseWay(_) | Action::Drain if before.is_some() => {
                let number = before.map_or(0, |(.., number)| *number);
                Some((
                    format!(
                        "does to `{}` what event {number} has done, at {at}",
                        event.target
                    ),
                    "a `restore` between the two",
                ))
            }
            Action::LoseWay(_) | Action::Slow(_) | Action::Drain if all_gone => Some((
                format!("acts on `{}`, which is gone at {at}", event.target),
                "a part that is there",
            )),
            _ => None,
        };
        refused.push(wrong.is_some());
        if let Some((does, expected)) = wrong {
            let message = format!("event {} {does}", event.number);
            let origin = place(top, event);
            top.ctx.error(&origin, &message, expected, "");
        }
        let back = in_force.follow(&event.target, members, event.action);
        for member in members {
            change(&mut state[member.0 as usize], event.action, back);
        }
        if event.action == Action::Restore {
            standing.retain(|(target, ..)| *target != event.target);
        } else {
            standing.push((event.target.clone(), event.action, event.number));
        }
    }
    let less = still_out(site, &fabric).into_iter().zip(refused);
    for (event, (still, refused)) in site.events.iter().zip(less) {
        if let Some(still) = still.filter(|_| !refused) {
            let does = if still.returns { "restores" } else { "loses" };
            let message = format!(
                "event {} {does} `{}`, {}",
                event.number,
                event.target,
                still.words()
            );
            let help = "what is lost under two names is there again when both are restored";
            let origin = place(top, event);
            top.ctx
                .problem(Severity::Warning, &origin, &message, "", help);
        }
    }
    early(top, site);
}

fn change(part: &mut Ailment, action: Action, back: TakenBack) {
    match action {
        Action::Lose(_) => part.ways_lost = part.ways_lost.map(|lost| lost + 1),
        Action::LoseWay(Heading::Arrays) => part.ways_lost[0] += 1,
        Action::LoseWay(Heading::Hosts) => part.ways_lost[1] += 1,
        Action::Slow(_) => part.slow = true,
        Action::Drain => part.drained += 1,
        Action::Restore => {
            for (lost, way) in part.ways_lost.iter_mut().zip(back.ways) {
                *lost = lost.saturating_sub(u32::from(way));
            }
            part.drained = part.drained.saturating_sub(u32::from(back.drain));
            part.slow &= !back.slow;
        }
    }
}

/// Where an event names its target.
fn place(top: &Cursor<'_, '_>, event: &Event) -> Origin {
    let rows = rows(top, "event");
    let row = rows.get(event.number as usize - 1);
    let named = row.and_then(|row| {
        let entries = row.entries.iter();
        let targets = entries
            .filter(|entry| ACTIONS.contains(&entry.key.as_str()))
            .filter_map(|entry| texts(&entry.node).ok());
        let mut targets = targets.flatten();
        let found = targets.find(|node| node.as_str() == Some(&event.target));
        found.map(|node| node.origin)
    });
    let whole = row.map_or(top.origin, |row| row.origin);
    named.unwrap_or_else(|| whole.clone())
}

/// A loss before the stated warm-up is over is followed from a state that is not a steady one.
fn early(top: &Cursor<'_, '_>, site: &Site) {
    let (WarmUp::At(warm_up), Some(first)) = (site.run.warm_up, site.events.first()) else {
        return;
    };
    if first.at < warm_up {
        let message = format!(
            "event {} comes at {}, before the warm-up of {warm_up} is over",
            first.number, first.at
        );
        top.ctx.problem(
            Severity::Warning,
            &place(top, first),
            &message,
            "",
            "what follows it is measured from a state that has not settled",
        );
    }
}
