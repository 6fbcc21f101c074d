//! Machines, circumstances, symptoms, conditions and causes: from keys to trusted entries.

use super::fields::{Fields, Reader, typed};
use super::model::{
    At, Basis, Cause, Circumstance, Finding, FindingKind, Head, LeadsTo, Machine, Place, Strength,
};
use super::panel;
use super::yaml::{Node, Value};
use crate::diag::{Code, Diagnostic};
use crate::ids::MachineId;
use crate::safety::{Energy, EnergyPoint, ScaleSupply, Trait, Traits};
use crate::units::Kind;
use std::collections::BTreeMap;

/// Strengths, leaks, hits, false alarms and `usual` lie in here.
pub(super) const PROBABLE: (f64, f64) = (0.002, 0.998);
/// Rates per 1000 lie in here.
pub(super) const RATE: (f64, f64) = (0.1, 500.0);
/// Minutes until somebody is there.
pub(super) const SEND_SOMEBODY: (f64, f64) = (1.0, 100_000.0);
/// Minutes to lock out, and to hand back.
pub(super) const LOCKOUT: (f64, f64) = (0.0, 600.0);
/// What a reader of complaints looks for.
pub(super) const DIRECTIONS: &[(&str, &str)] = &[("light", "light"), ("heavy", "heavy"), ("none", "none")];
/// How the scale is fed.
pub(super) const SUPPLIES: &[(&str, ScaleSupply)] = &[
    ("separate", ScaleSupply::Separate),
    ("shared", ScaleSupply::Shared),
    ("unknown", ScaleSupply::Unknown),
];

/// Title, words and basis, which all entries have.
pub(super) fn head(reader: &mut Reader<'_>, fields: &mut Fields<'_>) -> Option<Head> {
    let title = fields.text(reader, "title");
    Some(Head {
        about: fields.maybe_text(reader, "about"),
        said: fields.texts(reader, "said"),
        basis: fields.get("basis").and_then(|node| basis(reader, node)),
        was: fields.texts(reader, "was"),
        span: fields.span,
        title: title?,
    })
}

/// Where numbers come from.
pub fn basis(reader: &mut Reader<'_>, node: &Node) -> Option<Basis> {
    let mut fields = Fields::open(reader, node)?;
    let text = fields.text(reader, "text");
    let from = fields.id::<String>(reader, "from");
    fields.close(reader);
    Some(Basis { text: text?, from: from? })
}

/// A circumstance.
pub(super) fn circumstance(reader: &mut Reader<'_>, id: &str, node: &Node) -> Option<Circumstance> {
    let mut fields = Fields::open(reader, node)?;
    let head = head(reader, &mut fields);
    let asked = fields.text(reader, "asked");
    let usual = fields.need(reader, "usual").and_then(|n| reader.number(n, PROBABLE.0, PROBABLE.1));
    fields.close(reader);
    Some(Circumstance { id: id.into(), head: head?, asked: asked?, usual: usual? })
}

/// A symptom or a condition.
pub(super) fn finding(reader: &mut Reader<'_>, id: &str, kind: FindingKind, node: &Node) -> Option<Finding> {
    let mut fields = Fields::open(reader, node)?;
    let head = head(reader, &mut fields);
    let opens = fields.get("opens").map(|n| opens(reader, n)).unwrap_or_default();
    let (hit, alarm) = reader.scale.said;
    let degrees = fields.get("degrees").map_or(1, |n| degrees(reader, n));
    let leak = fields
        .get("leak")
        .and_then(|n| leak(reader, n, degrees))
        .unwrap_or_else(|| default_leak(reader, degrees));
    let pattern = fields.get("pattern").and_then(|n| reader.id(n));
    let leads_to = leads(reader, &mut fields);
    let machines = fields.get("machines").is_some().then(|| fields.ids(reader, "machines"));
    fields.close(reader);
    Some(Finding {
        id: id.into(),
        kind,
        head: head?,
        direction: opens.direction,
        stop_first: opens.stop_first,
        said: (hit, opens.false_alarm.unwrap_or(alarm)),
        degrees,
        leak,
        pattern,
        leads_to,
        machines,
    })
}

/// What the complaint reader needs of a symptom.
#[derive(Default)]
struct Opens {
    direction: Option<String>,
    stop_first: bool,
    false_alarm: Option<f64>,
}

fn opens(reader: &mut Reader<'_>, node: &Node) -> Opens {
    let Some(mut fields) = Fields::open(reader, node) else { return Opens::default() };
    let direction = fields.get("direction").and_then(|n| reader.choice(n, DIRECTIONS)).map(str::to_owned);
    let stop_first = fields.flag(reader, "stop_first");
    let alarms = (PROBABLE.0, reader.scale.said.0);
    let false_alarm = fields.get("false_alarm").and_then(|n| reader.number(n, alarms.0, alarms.1));
    fields.close(reader);
    Opens { direction, stop_first, false_alarm }
}

fn degrees(reader: &mut Reader<'_>, node: &Node) -> usize {
    let names: Vec<_> = reader.list(node).unwrap_or(&[]).iter().filter_map(|n| reader.text(n)).collect();
    if names == ["some", "much"] {
        return 2;
    }
    let message = "degrees are [some, much], or left out for yes and no";
    reader.push(Diagnostic::error(Code::BadValue, node.span, message));
    1
}

fn default_leak(reader: &Reader<'_>, degrees: usize) -> Vec<f64> {
    (0..degrees).map(|s| reader.scale.leak / f64::from(1 << s)).collect()
}

/// A leak: one number (half of it 'much'), or one a degree, falling.
fn leak(reader: &mut Reader<'_>, node: &Node, degrees: usize) -> Option<Vec<f64>> {
    match (&node.value, degrees) {
        (Value::List(items), 2) if items.len() == 2 => {
            let some = reader.number(&items[0], PROBABLE.0, PROBABLE.1)?;
            Some(vec![some, reader.number(&items[1], 0.0, some)?])
        }
        _ => {
            let one = reader.number(node, PROBABLE.0, PROBABLE.1)?;
            Some((0..degrees).map(|s| one / f64::from(1 << s)).collect())
        }
    }
}

fn leads(reader: &mut Reader<'_>, fields: &mut Fields<'_>) -> Vec<LeadsTo> {
    fields.list(reader, "leads_to").iter().filter_map(|node| lead(reader, node)).collect()
}

fn lead(reader: &mut Reader<'_>, node: &Node) -> Option<LeadsTo> {
    let mut fields = Fields::open(reader, node)?;
    let finding = fields.id(reader, "finding");
    let strength =
        fields.need(reader, "strength").and_then(|n| Some(At { value: strength(reader, n)?, span: n.span }));
    fields.close(reader);
    Some(LeadsTo { finding: finding?, strength: strength? })
}

fn strength(reader: &mut Reader<'_>, node: &Node) -> Option<Strength> {
    if let Value::Map(_) = &node.value {
        let mut fields = Fields::open(reader, node)?;
        let some = fields.need(reader, "some").and_then(|n| simple_strength(reader, n));
        let much = fields.need(reader, "much").and_then(|n| simple_strength(reader, n));
        fields.close(reader);
        let (some, much) = (some?, much?);
        if !rises(&some, &much) {
            let message = "a strength may not fall from some to much";
            reader.push(Diagnostic::error(Code::OutOfRange, node.span, message));
        }
        return Some(Strength::ByDegree(Box::new(some), Box::new(much)));
    }
    simple_strength(reader, node)
}

fn rises(some: &Strength, much: &Strength) -> bool {
    let pair = |s: &Strength| match *s {
        Strength::One(w) => (w, w / 2.0),
        Strength::Each(a, b) => (a, b),
        Strength::ByDegree(..) => (0.0, 0.0),
    };
    let (low, high) = (pair(some), pair(much));
    low.0 <= high.0 && low.1 <= high.1
}

fn simple_strength(reader: &mut Reader<'_>, node: &Node) -> Option<Strength> {
    let words = &reader.scale.strengths;
    if let Value::List(items) = &node.value {
        let [some, much] = items.as_slice() else {
            let message = "a list of strengths has two: at least some, and much";
            reader.push(Diagnostic::error(Code::BadValue, node.span, message));
            return None;
        };
        let (some, much) = (reader.scaled(some, words, PROBABLE)?, reader.scaled(much, words, PROBABLE)?);
        if much > some {
            let message = "'much' cannot be likelier than 'at least some'";
            reader.push(Diagnostic::error(Code::OutOfRange, node.span, message));
            return None;
        }
        return Some(Strength::Each(some, much));
    }
    reader.scaled(node, words, PROBABLE).map(Strength::One)
}

/// A rate: a word, or a number per 1000; as a probability.
fn rate(reader: &mut Reader<'_>, node: &Node) -> Option<f64> {
    let words = &reader.scale.rates;
    reader.scaled(node, words, RATE).map(|per_thousand| per_thousand / 1000.0)
}

/// Groups whose keys are ids: `machines: {single-tray-weigher: common}`.
fn by_id(reader: &mut Reader<'_>, node: Option<&Node>) -> Vec<(At<String>, Node)> {
    let Some(fields) = node.and_then(|node| Fields::open(reader, node)) else { return Vec::new() };
    fields.entries().iter().filter_map(|(key, value)| Some((reader.id(key)?, value.clone()))).collect()
}

/// A cause.
pub(super) fn cause(reader: &mut Reader<'_>, id: &str, node: &Node) -> Option<Cause> {
    let mut fields = Fields::open(reader, node)?;
    let head = head(reader, &mut fields);
    let machines = fields.need(reader, "machines");
    let machines: BTreeMap<MachineId, At<f64>> = by_id(reader, machines)
        .into_iter()
        .filter_map(|(key, value)| {
            Some((MachineId::new(key.value), At { value: rate(reader, &value)?, span: key.span }))
        })
        .collect();
    let after = fields.get("after");
    let after = by_id(reader, after)
        .into_iter()
        .filter_map(|(key, value)| Some((typed(key), rate(reader, &value)?)))
        .collect();
    let cause = Cause {
        id: id.into(),
        machines,
        needs_option: fields.ids(reader, "needs_option"),
        after,
        leads_to: leads(reader, &mut fields),
        comes_and_goes: fields.flag(reader, "comes_and_goes"),
        remedies: fields.ids(reader, "remedies"),
        head: head?,
    };
    fields.close(reader);
    Some(cause)
}

/// A machine.
pub(super) fn machine(reader: &mut Reader<'_>, id: &str, node: &Node) -> Option<Machine> {
    let mut fields = Fields::open(reader, node)?;
    let head = head(reader, &mut fields);
    let places = fields.need(reader, "places");
    let places = by_id(reader, places)
        .into_iter()
        .filter_map(|(key, value)| Some((key.value.as_str().into(), place(reader, &key.value, &value)?)))
        .collect();
    let energies = fields.list(reader, "energies").iter().filter_map(|n| energy(reader, n)).collect();
    let scale_supply = fields.need(reader, "scale_supply").and_then(|n| reader.choice(n, SUPPLIES));
    let options = fields.get("options");
    let options = by_id(reader, options)
        .into_iter()
        .filter_map(|(key, value)| Some((key.value.as_str().into(), reader.text(&value)?)))
        .collect();
    let settings = panel::settings(reader, &mut fields);
    let signs = panel::signs(reader, &mut fields);
    let mut mass =
        |reader: &mut Reader<'_>, key| fields.need(reader, key).and_then(|n| reader.positive(n, Kind::Mass));
    let (spread, tolerance) = (mass(reader, "usual_spread"), mass(reader, "tolerance"));
    let (division, capacity) = (mass(reader, "division"), mass(reader, "capacity"));
    let send_somebody =
        fields.need(reader, "send_somebody").and_then(|n| reader.number(n, SEND_SOMEBODY.0, SEND_SOMEBODY.1));
    let lockout = fields.get("lockout").and_then(|n| lockout(reader, n)).unwrap_or((5.0, 5.0));
    let start_paths = fields.texts(reader, "start_paths");
    fields.close(reader);
    Some(Machine {
        id: id.into(),
        head: head?,
        places,
        energies,
        start_paths,
        scale_supply: scale_supply?,
        options,
        settings,
        signs,
        usual_spread: spread?,
        tolerance: tolerance?,
        division: division?,
        capacity: capacity?,
        send_somebody: send_somebody?,
        lockout,
    })
}

fn place(reader: &mut Reader<'_>, id: &str, node: &Node) -> Option<Place> {
    let mut fields = Fields::open(reader, node)?;
    let title = fields.maybe_text(reader, "title").unwrap_or_else(|| format!("the {}", id.replace('-', " ")));
    let mut traits = Vec::new();
    for known in Trait::ALL {
        if fields.flag(reader, known.as_str()) {
            traits.push(*known);
        }
    }
    fields.close(reader);
    Some(Place { title, traits: Traits(traits) })
}

fn energy(reader: &mut Reader<'_>, node: &Node) -> Option<EnergyPoint> {
    let mut fields = Fields::open(reader, node)?;
    let words: Vec<_> = Energy::ALL.iter().map(|e| (e.as_str(), *e)).collect();
    let energy = fields.need(reader, "energy").and_then(|n| reader.choice(n, &words));
    let isolated_by = if let Some(n) = fields.get("isolated_by") {
        reader.text(n)
    } else {
        let problem =
            Diagnostic::error(Code::UntreatedEnergy, fields.span, "this energy has no isolation point")
                .help("say which point shuts it off under `isolated_by:`".to_owned());
        reader.push(problem);
        None
    };
    fields.close(reader);
    Some(EnergyPoint { energy: energy?, isolated_by: isolated_by? })
}

fn lockout(reader: &mut Reader<'_>, node: &Node) -> Option<(f64, f64)> {
    let mut fields = Fields::open(reader, node)?;
    let isolate = fields.need(reader, "isolate").and_then(|n| reader.number(n, LOCKOUT.0, LOCKOUT.1));
    let restore = fields.need(reader, "restore").and_then(|n| reader.number(n, LOCKOUT.0, LOCKOUT.1));
    fields.close(reader);
    Some((isolate?, restore?))
}
