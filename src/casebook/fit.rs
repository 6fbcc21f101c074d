//! Holding a case against the knowledge: every name must name something, and every answer must be of the kind
//! that its check asks for. Former ids become the ids of their heirs.

use std::borrow::Borrow;
use std::collections::BTreeMap;

use super::form::Fault;
use super::model::{Beside, Case, Event, KnowledgeMark, Reading, What};
use super::write;
use crate::diag::{Code, Diagnostic};
use crate::ids::{self, CheckId, MachineId, OutcomeId};
use crate::knowledge::{Against, AskedQuantity, Asks, Check, FindingKind, Knowledge, Machine};
use crate::units::{Kind, Quantity};

/// Holds a case that was kept against the present knowledge. What no longer fits stays as a remark in its place,
/// so that positions of events do not move; the remarks say so. An unknown machine is refused.
pub fn fit(case: &Case, knowledge: &Knowledge) -> Result<(Case, Vec<Diagnostic>), Box<Diagnostic>> {
    let mut fitted = case.clone();
    let mut remarks = Vec::new();
    let machine = Names { knowledge, machine: None }
        .machine(&case.machine)
        .map_err(|fault| Box::new(as_diagnostic(&fault)))?;
    let names = Names { knowledge, machine: knowledge.machines.get(&machine) };
    fitted.machine = machine;
    if let Some(options) = &mut fitted.fitted {
        options.retain(|option| match names.option(option) {
            Ok(()) => true,
            Err(fault) => {
                remarks
                    .push(Diagnostic { severity: crate::diag::Severity::Warning, ..as_diagnostic(&fault) });
                false
            }
        });
    }
    for event in &mut fitted.events {
        match names.event(event) {
            Ok(now) => *event = now,
            Err(faults) => {
                remarks.push(no_longer(&faults));
                *event = kept_as_remark(event);
            }
        }
    }
    Ok((fitted, remarks))
}

fn as_diagnostic(fault: &Fault) -> Diagnostic {
    Diagnostic::error(fault.code, None, fault.message.clone()).help(fault.help.clone())
}

/// The remark on an event that is kept and no longer counts.
pub(super) fn no_longer(faults: &[Fault]) -> Diagnostic {
    let code = faults.first().map_or(Code::UnknownId, |fault| fault.code);
    let why: Vec<_> = faults.iter().map(ToString::to_string).collect();
    Diagnostic::warning(code, None, format!("kept as a remark, it is no evidence now: {}", why.join("; ")))
}

/// An event that no longer fits, as a remark that says what it was.
pub(super) fn kept_as_remark(event: &Event) -> Event {
    let note = format!("not known to the present knowledge: {}", write::event(event));
    Event { at: event.at.clone(), by: event.by.clone(), what: What::Note(note) }
}

/// Whether a case was made with another knowledge than this one.
pub(super) fn made_with_another(mark: &KnowledgeMark, knowledge: &Knowledge) -> bool {
    mark.version != knowledge.version || mark.hash.as_ref().is_some_and(|hash| *hash != knowledge.hash)
}

/// Looks names up in one knowledge, for one machine if it is known.
pub(super) struct Names<'k> {
    pub(super) knowledge: &'k Knowledge,
    pub(super) machine: Option<&'k Machine>,
}

impl<'k> Names<'k> {
    /// The id under which an entry is known now.
    fn now<I, T>(&self, key: &'static str, what: &str, id: &I, known: &BTreeMap<I, T>) -> Result<I, Fault>
    where
        I: Ord + Clone + Borrow<str> + for<'t> From<&'t str>,
    {
        let name: &str = id.borrow();
        if known.contains_key(name) {
            return Ok(id.clone());
        }
        match self.knowledge.was.get(name) {
            Some(heir) if known.contains_key(heir.as_str()) => Ok(I::from(heir)),
            _ => Err(unknown(key, what, name, known.keys().map(Borrow::borrow))),
        }
    }

    pub(super) fn machine(&self, id: &MachineId) -> Result<MachineId, Fault> {
        self.now("machine", "machine", id, &self.knowledge.machines)
    }

    pub(super) fn option(&self, id: &ids::OptionId) -> Result<(), Fault> {
        let Some(machine) = self.machine else { return Ok(()) };
        if machine.options.contains_key(id) {
            return Ok(());
        }
        let known = machine.options.keys().map(ids::OptionId::as_str);
        Err(unknown("fitted", &format!("option of {}", machine.id), id.as_str(), known))
    }

    pub(super) fn cause(&self, key: &'static str, id: &ids::CauseId) -> Result<ids::CauseId, Fault> {
        self.now(key, "cause", id, &self.knowledge.causes)
    }

    pub(super) fn caution(&self, key: &'static str, id: &ids::CautionId) -> Result<ids::CautionId, Fault> {
        self.now(key, "caution", id, &self.knowledge.cautions)
    }

    /// The check that an id names now.
    pub(super) fn check(&self, id: &CheckId) -> Result<&'k Check, Fault> {
        let now = self.now("reading", "check", id, &self.knowledge.checks)?;
        self.knowledge.checks.get(&now).ok_or_else(|| unknown("reading", "check", id.as_str(), []))
    }

    /// The event under present names, or everything in it that does not fit.
    pub(super) fn event(&self, event: &Event) -> Result<Event, Vec<Fault>> {
        let one = |fault: Fault| vec![fault];
        let knowledge = self.knowledge;
        let what = match &event.what {
            What::Reading { check, reading, moment } => {
                let check = self.check(check).map_err(one)?;
                let reading = self.reading(check, reading)?;
                What::Reading { check: check.id.clone(), reading, moment: *moment }
            }
            What::Circumstance { id, answer } => {
                let id =
                    self.now("circumstance", "circumstance", id, &knowledge.circumstances).map_err(one)?;
                What::Circumstance { id, answer: *answer }
            }
            What::Setting { id, old, new } => {
                self.setting(id, [("old", old.as_deref()), ("new", new.as_deref())])?;
                event.what.clone()
            }
            What::Remedy { id, result } => {
                let id = self.now("remedy", "remedy", id, &knowledge.remedies).map_err(one)?;
                What::Remedy { id, result: *result }
            }
            What::Suspicion(cause) => What::Suspicion(self.cause("suspicion", cause).map_err(one)?),
            What::Note(_) => event.what.clone(),
        };
        Ok(Event { what, ..event.clone() })
    }

    fn reading(&self, check: &Check, reading: &Reading) -> Result<Reading, Vec<Fault>> {
        let one = |fault: Fault| vec![fault];
        match (reading, &check.asks) {
            (Reading::CannotTell, _) | (Reading::Fills(_), Asks::Run) => Ok(reading.clone()),
            (Reading::Outcome(outcome), Asks::Complaint) => {
                self.symptom(outcome).map(Reading::Outcome).map_err(one)
            }
            (Reading::Outcome(outcome), Asks::Choice | Asks::Quantity(_)) => {
                let known = check.outcomes.iter().map(|o| o.id.value.as_str());
                if known.clone().any(|id| id == outcome.as_str()) {
                    return Ok(reading.clone());
                }
                Err(one(unknown("outcome", &format!("outcome of {}", check.id), outcome.as_str(), known)))
            }
            (Reading::Value { value, against }, Asks::Quantity(asked)) => {
                let faults = pair_faults(check, asked, *value, *against);
                if faults.is_empty() { Ok(reading.clone()) } else { Err(faults) }
            }
            (Reading::Outcome(_), Asks::Run) => Err(one(wants(check, "outcome", "a run of `fills`"))),
            (Reading::Value { .. }, Asks::Run) => Err(one(wants(check, "value", "a run of `fills`"))),
            (Reading::Value { .. }, _) => Err(one(wants(check, "value", "one of its outcomes"))),
            (Reading::Fills(_), Asks::Quantity(_)) => Err(one(wants(check, "fills", "a single value"))),
            (Reading::Fills(_), _) => Err(one(wants(check, "fills", "one of its outcomes"))),
        }
    }

    /// What a caller says is a symptom, under its present name.
    fn symptom(&self, outcome: &OutcomeId) -> Result<OutcomeId, Fault> {
        let symptoms = || {
            let all = self.knowledge.findings.values();
            all.filter(|f| f.kind == FindingKind::Symptom).map(|f| f.id.as_str())
        };
        let heir = self.knowledge.was.get(outcome.as_str()).map(String::as_str);
        symptoms()
            .find(|id| *id == outcome.as_str() || Some(*id) == heir)
            .map(OutcomeId::from)
            .ok_or_else(|| unknown("outcome", "symptom", outcome.as_str(), symptoms()))
    }

    fn setting(
        &self,
        id: &ids::SettingId,
        typed: [(&'static str, Option<&str>); 2],
    ) -> Result<(), Vec<Fault>> {
        let Some(machine) = self.machine else { return Ok(()) };
        let Some(setting) = machine.setting(id) else {
            let known = machine.settings.iter().map(|setting| setting.id.as_str());
            return Err(vec![unknown("setting", &format!("setting of {}", machine.id), id.as_str(), known)]);
        };
        let Some(unit) = setting.unit else { return Ok(()) };
        // A setting may hold a word; only a figure of another kind is certainly wrong.
        let of_another_kind = |(key, text): (&'static str, Option<&str>)| {
            let quantity = Quantity::parse(text?).ok()?;
            (quantity.kind() != unit.kind).then(|| wrong_kind(key, quantity, unit.kind))
        };
        let faults: Vec<_> = typed.into_iter().filter_map(of_another_kind).collect();
        if faults.is_empty() { Ok(()) } else { Err(faults) }
    }
}

fn pair_faults(check: &Check, asked: &AskedQuantity, value: Quantity, against: Option<Beside>) -> Vec<Fault> {
    let mut faults = Vec::new();
    if value.kind() != asked.kind {
        faults.push(wrong_kind("value", value, asked.kind));
    }
    let (key, beside) = match against {
        Some(Beside::Expected(quantity)) => ("expected", Some(quantity)),
        Some(Beside::Shown(quantity)) => ("shown", Some(quantity)),
        None => ("value", None),
    };
    if let Some(quantity) = beside.filter(|quantity| quantity.kind() != asked.kind) {
        faults.push(wrong_kind(key, quantity, asked.kind));
    }
    let wanted = match asked.against {
        Against::Nothing => None,
        Against::Expected => Some(("expected", "the known value")),
        Against::Shown => Some(("shown", "what the machine showed for the same bag")),
    };
    match (wanted, beside) {
        (Some((partner, _)), Some(_)) if partner == key => {}
        (None, None) => {}
        (Some((partner, what)), _) => {
            let message =
                format!("'{}' asks for a pair; `{partner}` is wanted beside `value`: {what}", check.id);
            faults.push(Fault::new(key, Code::MissingKey, message));
        }
        (None, Some(_)) => {
            let message = format!("'{}' asks for one value; take `{key}` out", check.id);
            faults.push(Fault::new(key, Code::BadValue, message));
        }
    }
    faults
}

fn wrong_kind(key: &'static str, found: Quantity, wanted: Kind) -> Fault {
    let (is, noun, unit) = (found.kind().noun(), wanted.noun(), wanted.base().name);
    let message = format!("'{found}' is a {is}, and a {noun} is wanted here, in {unit} for instance");
    Fault::new(key, Code::BadUnit, message)
}

fn wants(check: &Check, key: &'static str, wanted: &str) -> Fault {
    Fault::new(
        key,
        Code::BadValue,
        format!("'{}' is answered with {wanted}, or with `outcome: cannot-tell`", check.id),
    )
}

/// A name that nothing has, with the nearest that something has.
pub(super) fn unknown<'a>(
    key: &'static str,
    what: &str,
    name: &str,
    known: impl IntoIterator<Item = &'a str>,
) -> Fault {
    let known: Vec<_> = known.into_iter().collect();
    let help = ids::did_you_mean(name, known.iter().copied()).or_else(|| {
        (!known.is_empty() && known.len() <= 8).then(|| format!("known here: {}", known.join(", ")))
    });
    Fault::new(key, Code::UnknownId, format!("there is no {what} '{name}'")).help(help)
}
