//! `show --json`: an entry whole, as `handlamp-entry/1`. Checks and remedies are in `work`.

use std::collections::BTreeMap;

use serde::Serialize;

use super::CautionOut;
use super::rule::RuleOut;
use super::work::{CheckOut, RemedyOut, check, remedy};
use crate::knowledge::{
    At, Cause, Circumstance, Finding, FindingKind, Knowledge, LeadsTo, Machine, Setting, Sign, Strength,
};
use crate::safety::{EnergyPoint, Exposure, Exposures, ScaleSupply};
use crate::view::entry as seen;

/// An entry whole.
#[derive(Debug, Serialize)]
pub struct EntryOut {
    format: &'static str,
    kind: &'static str,
    id: String,
    title: String,
    about: Option<String>,
    said: Vec<String>,
    basis: Option<BasisOut>,
    was: Vec<String>,
    #[serde(flatten)]
    fields: Fields,
}

#[derive(Debug, Serialize)]
struct BasisOut {
    text: String,
    from: String,
}

#[derive(Debug, Serialize)]
#[serde(untagged)]
enum Fields {
    Machine(Box<MachineOut>),
    Circumstance {
        asked: String,
        usual: f64,
    },
    Finding(FindingOut),
    Cause(CauseOut),
    Check(Box<CheckOut>),
    Remedy(Box<RemedyOut>),
    Caution {
        covers: Vec<&'static str>,
        #[serde(flatten)]
        caution: CautionOut,
    },
    Rule(RuleOut),
    Lesson(Box<super::lessons::LessonOut>),
    Setting {
        machine: String,
        machines: Vec<String>,
        #[serde(flatten)]
        setting: SettingOut,
    },
    Sign {
        machine: String,
        machines: Vec<String>,
        #[serde(flatten)]
        sign: SignOut,
    },
}

/// The entry for a program, on one machine if given.
pub fn entry(knowledge: &Knowledge, entry: seen::Entry<'_>, machine: Option<&Machine>) -> EntryOut {
    let head = entry.head();
    EntryOut {
        format: "handlamp-entry/1",
        kind: entry.kind(),
        id: entry.id().to_owned(),
        title: entry.title().to_owned(),
        about: head.and_then(|h| h.about.clone()),
        said: entry.said().to_vec(),
        basis: head
            .and_then(|h| h.basis.as_ref())
            .map(|b| BasisOut { text: b.text.clone(), from: b.from.value.clone() }),
        was: head.map_or_else(Vec::new, |h| h.was.clone()),
        fields: fields(knowledge, entry, machine),
    }
}

fn fields(knowledge: &Knowledge, entry: seen::Entry<'_>, machine: Option<&Machine>) -> Fields {
    match entry {
        seen::Entry::Machine(e) => Fields::Machine(Box::new(MachineOut::from(e))),
        seen::Entry::Circumstance(Circumstance { asked, usual, .. }) => {
            Fields::Circumstance { asked: asked.clone(), usual: *usual }
        }
        seen::Entry::Finding(e) => Fields::Finding(FindingOut::from(e)),
        seen::Entry::Cause(e) => Fields::Cause(CauseOut::from(e)),
        seen::Entry::Check(e) => Fields::Check(Box::new(check(knowledge, e, machine))),
        seen::Entry::Remedy(e) => Fields::Remedy(Box::new(remedy(knowledge, e, machine))),
        seen::Entry::Caution(e) => Fields::Caution {
            covers: e.caution.covers.iter().map(|c| c.as_str()).collect(),
            caution: CautionOut::from(&e.caution),
        },
        seen::Entry::Rule(e) => Fields::Rule(super::rule::out(e)),
        seen::Entry::Lesson(e) => Fields::Lesson(Box::new(super::lessons::untitled(&e.lesson))),
        seen::Entry::Setting(m, e) => Fields::Setting {
            machine: m.id.to_string(),
            machines: owners(knowledge, entry),
            setting: SettingOut { id: None, title: None, ..SettingOut::from(e) },
        },
        seen::Entry::Sign(m, e) => Fields::Sign {
            machine: m.id.to_string(),
            machines: owners(knowledge, entry),
            sign: SignOut { id: None, title: None, said: None, ..SignOut::from(e) },
        },
    }
}

fn owners(knowledge: &Knowledge, entry: seen::Entry<'_>) -> Vec<String> {
    entry.machines(knowledge).iter().map(|m| m.id.to_string()).collect()
}

#[derive(Debug, Serialize)]
struct MachineOut {
    places: BTreeMap<String, PlaceOut>,
    energies: Vec<EnergyPoint>,
    start_paths: Vec<String>,
    scale_supply: ScaleSupply,
    options: BTreeMap<String, String>,
    settings: Vec<SettingOut>,
    signs: Vec<SignOut>,
    usual_spread_g: f64,
    tolerance_g: f64,
    division_g: f64,
    capacity_g: f64,
    send_somebody_minutes: f64,
    lockout: LockoutOut,
}

/// Named `brings` and not `exposures`, which is for things that a person is asked to do.
#[derive(Debug, Serialize)]
struct PlaceOut {
    title: String,
    brings: Vec<&'static str>,
}

#[derive(Debug, Serialize)]
struct LockoutOut {
    isolate_minutes: f64,
    restore_minutes: f64,
}

impl From<&Machine> for MachineOut {
    fn from(m: &Machine) -> Self {
        let place = |p: &crate::knowledge::Place| PlaceOut {
            title: p.title.clone(),
            brings: Exposures::at(&p.traits, &[]).iter().map(Exposure::as_str).collect(),
        };
        Self {
            places: m.places.iter().map(|(id, p)| (id.to_string(), place(p))).collect(),
            energies: m.energies.clone(),
            start_paths: m.start_paths.clone(),
            scale_supply: m.scale_supply,
            options: m.options.iter().map(|(id, text)| (id.to_string(), text.clone())).collect(),
            settings: m.settings.iter().map(SettingOut::from).collect(),
            signs: m.signs.iter().map(SignOut::from).collect(),
            usual_spread_g: m.usual_spread,
            tolerance_g: m.tolerance,
            division_g: m.division,
            capacity_g: m.capacity,
            send_somebody_minutes: m.send_somebody,
            lockout: LockoutOut { isolate_minutes: m.lockout.0, restore_minutes: m.lockout.1 },
        }
    }
}

#[derive(Debug, Serialize)]
struct SettingOut {
    /// Left out where the entry around it says it already; the title too.
    #[serde(skip_serializing_if = "Option::is_none")]
    id: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    title: Option<String>,
    group: String,
    what_it_does: String,
    too_high: Option<String>,
    too_low: Option<String>,
    unit: Option<&'static str>,
    usual: Option<String>,
    called_here: Option<String>,
}

impl From<&Setting> for SettingOut {
    fn from(s: &Setting) -> Self {
        Self {
            id: Some(s.id.to_string()),
            title: Some(s.title.clone()),
            group: s.group.clone(),
            what_it_does: s.what_it_does.clone(),
            too_high: s.too.0.clone(),
            too_low: s.too.1.clone(),
            unit: s.unit.map(|u| u.name),
            usual: s.usual.clone(),
            called_here: s.called_here.clone(),
        }
    }
}

/// Named `sign_kind` because `kind` says what sort of entry it is.
#[derive(Debug, Serialize)]
struct SignOut {
    #[serde(skip_serializing_if = "Option::is_none")]
    id: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    title: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    said: Option<Vec<String>>,
    sign_kind: &'static str,
    what_it_says: String,
    when_wrong: String,
    called_here: Option<String>,
}

impl From<&Sign> for SignOut {
    fn from(s: &Sign) -> Self {
        Self {
            id: Some(s.id.to_string()),
            title: Some(s.title.clone()),
            said: Some(s.said.clone()),
            sign_kind: s.kind.as_str(),
            what_it_says: s.what_it_says.clone(),
            when_wrong: s.when_wrong.clone(),
            called_here: s.called_here.clone(),
        }
    }
}

#[derive(Debug, Serialize)]
struct FindingOut {
    direction: Option<String>,
    stop_first: bool,
    false_alarm: Option<f64>,
    degrees: usize,
    leak: Vec<f64>,
    pattern: Option<String>,
    leads_to: Vec<LeadsToOut>,
    machines: Option<Vec<String>>,
}

impl From<&Finding> for FindingOut {
    fn from(f: &Finding) -> Self {
        Self {
            direction: f.direction.clone(),
            stop_first: f.stop_first,
            false_alarm: (f.kind == FindingKind::Symptom).then_some(f.said.1),
            degrees: f.degrees,
            leak: f.leak.clone(),
            pattern: f.pattern.as_ref().map(|p| p.value.clone()),
            leads_to: f.leads_to.iter().map(LeadsToOut::from).collect(),
            machines: f.machines.as_ref().map(|all| ids(all)),
        }
    }
}

#[derive(Debug, Serialize)]
struct LeadsToOut {
    finding: String,
    strength: StrengthOut,
}

/// A number, a pair (at least some, much), or one of these for each degree of the parent.
#[derive(Debug, Serialize)]
#[serde(untagged)]
enum StrengthOut {
    One(f64),
    Each([f64; 2]),
    ByDegree { some: Box<StrengthOut>, much: Box<StrengthOut> },
}

impl From<&LeadsTo> for LeadsToOut {
    fn from(lead: &LeadsTo) -> Self {
        Self { finding: lead.finding.value.to_string(), strength: StrengthOut::from(&lead.strength.value) }
    }
}

impl From<&Strength> for StrengthOut {
    fn from(strength: &Strength) -> Self {
        match strength {
            Strength::One(w) => StrengthOut::One(*w),
            Strength::Each(some, much) => StrengthOut::Each([*some, *much]),
            Strength::ByDegree(some, much) => StrengthOut::ByDegree {
                some: Box::new(StrengthOut::from(some.as_ref())),
                much: Box::new(StrengthOut::from(much.as_ref())),
            },
        }
    }
}

#[derive(Debug, Serialize)]
struct CauseOut {
    /// Probability a call, by machine.
    machines: BTreeMap<String, f64>,
    needs_option: Vec<String>,
    /// Chance that the circumstance brings it.
    after: BTreeMap<String, f64>,
    leads_to: Vec<LeadsToOut>,
    comes_and_goes: bool,
    remedies: Vec<String>,
}

impl From<&Cause> for CauseOut {
    fn from(c: &Cause) -> Self {
        Self {
            machines: c.machines.iter().map(|(id, rate)| (id.to_string(), rate.value)).collect(),
            needs_option: ids(&c.needs_option),
            after: c.after.iter().map(|(id, chance)| (id.value.to_string(), *chance)).collect(),
            leads_to: c.leads_to.iter().map(LeadsToOut::from).collect(),
            comes_and_goes: c.comes_and_goes,
            remedies: ids(&c.remedies),
        }
    }
}

pub(super) fn ids<T: ToString>(all: &[At<T>]) -> Vec<String> {
    all.iter().map(|at| at.value.to_string()).collect()
}
