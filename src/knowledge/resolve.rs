//! Every name that one entry uses for another must name something; what does not is a problem with the nearest
//! names, at the place where it stands.

use std::collections::BTreeMap;

use super::model::{At, Finding, Knowledge, LeadsTo, Strength, Work};
use crate::diag::{Code, Diagnostic, Span};
use crate::ids::{self, MachineId};

/// The run findings of the weights; a symptom may be at most one of them.
pub const PATTERNS: &[&str] = &[
    "light",
    "heavy",
    "wide",
    "drift",
    "step",
    "wave",
    "see-saw",
    "two-groups",
    "strays-light",
    "strays-heavy",
    "start-up",
];

/// Looks every name up.
pub(super) fn resolve(knowledge: &mut Knowledge) -> Vec<Diagnostic> {
    let mut lookup = Lookup { knowledge, problems: Vec::new() };
    lookup.heads();
    lookup.findings();
    lookup.causes();
    lookup.checks();
    lookup.settings();
    lookup.remedies();
    lookup.lessons();
    let mut problems = lookup.problems;
    problems.extend(former_ids(knowledge));
    problems
}

/// The problem of a name that nothing has, with the nearest of those that there are.
pub fn unknown<'a>(
    what: &str,
    name: &str,
    span: Span,
    all: impl Iterator<Item = &'a str> + Clone,
) -> Option<Diagnostic> {
    if all.clone().any(|known| known == name) {
        return None;
    }
    let problem = Diagnostic::error(Code::UnknownId, span, format!("there is no {what} '{name}'"));
    Some(problem.label("nothing has this name").help(ids::did_you_mean(name, all)))
}

struct Lookup<'k> {
    knowledge: &'k Knowledge,
    problems: Vec<Diagnostic>,
}

impl Lookup<'_> {
    fn known<'a>(
        &mut self,
        what: &str,
        name: &str,
        span: Span,
        all: impl Iterator<Item = &'a str> + Clone,
    ) -> bool {
        let Some(problem) = unknown(what, name, span, all) else { return true };
        if !self.may_be_refused(what, name) {
            self.problems.push(problem);
        }
        false
    }

    /// Whether the name is that of an entry with a problem of its own, or may stand in such a machine.
    fn may_be_refused(&self, what: &str, name: &str) -> bool {
        let refused = |folder: &str| self.knowledge.refused.contains(&format!("{folder}/{name}"));
        match what {
            "finding" => refused("symptoms") || refused("conditions"),
            "remedy" => refused("remedies"),
            "place" | "setting" | "option" => {
                self.knowledge.refused.iter().any(|path| path.starts_with("machines/"))
            }
            _ => refused(&format!("{what}s")),
        }
    }

    fn heads(&mut self) {
        let k = self.knowledge;
        let heads = (k.machines.values().map(|e| &e.head))
            .chain(k.circumstances.values().map(|e| &e.head))
            .chain(k.findings.values().map(|e| &e.head))
            .chain(k.causes.values().map(|e| &e.head))
            .chain(k.checks.values().map(|e| &e.head))
            .chain(k.remedies.values().map(|e| &e.head))
            .chain(k.rules.values().map(|e| &e.head));
        let bases: Vec<_> = heads.filter_map(|h| h.basis.as_ref()).map(|b| b.from.clone()).collect();
        for from in bases.iter().filter(|from| from.value != "judgement") {
            let known = k.origins.keys().map(String::as_str).chain(["judgement"]);
            self.known("source", &from.value, from.span, known);
        }
    }

    /// A lesson outlives what it is about; a name that nothing has is only remarked on.
    fn lessons(&mut self) {
        let k = self.knowledge;
        let known = |name: &String| name.split_once('/').is_some_and(|(folder, id)| k.has(folder, id));
        for entry in k.lessons.values() {
            let others = entry.lesson.replaced_by.iter().chain(&entry.lesson.again);
            let lost = others.filter(|id| !k.lessons.contains_key(*id)).map(|id| format!("lessons/{id}"));
            let names = entry.lesson.bears_on.iter().filter(|name| !known(name)).cloned();
            for name in names.chain(lost) {
                let message = format!("the lesson names '{name}', and nothing has this name");
                self.problems.push(Diagnostic::warning(Code::UnknownId, entry.head.span, message));
            }
        }
    }

    fn leads(&mut self, leads: &[LeadsTo], parent_degrees: usize) {
        let k = self.knowledge;
        for lead in leads {
            let target = &lead.finding;
            if !self.known(
                "finding",
                target.value.as_str(),
                target.span,
                k.findings.keys().map(super::super::ids::FindingId::as_str),
            ) {
                continue;
            }
            let child = k.findings.get(&target.value).map_or(1, |f| f.degrees);
            let (by_degree, each) = match &lead.strength.value {
                Strength::One(_) => (false, false),
                Strength::Each(..) => (false, true),
                Strength::ByDegree(a, b) => {
                    (true, [a, b].iter().any(|s| matches!(s.as_ref(), Strength::Each(..))))
                }
            };
            if by_degree && parent_degrees == 1 {
                let message = "a strength by degree needs a parent with degrees, and this one is yes or no";
                self.problems.push(Diagnostic::error(Code::BadValue, lead.strength.span, message));
            }
            if each && child == 1 {
                let message =
                    format!("'{}' is yes or no, so its strength is one number or word", target.value);
                self.problems.push(Diagnostic::error(Code::BadValue, lead.strength.span, message));
            }
        }
    }

    fn findings(&mut self) {
        let k = self.knowledge;
        let mut patterns: BTreeMap<&str, &Finding> = BTreeMap::new();
        for finding in k.findings.values() {
            self.leads(&finding.leads_to, finding.degrees);
            self.machines(finding.machines.as_deref());
            let Some(pattern) = &finding.pattern else { continue };
            self.known("run finding", &pattern.value, pattern.span, PATTERNS.iter().copied());
            if let Some(other) = patterns.insert(&pattern.value, finding) {
                let message = format!(
                    "'{}' is the pattern '{}' already; one symptom a pattern",
                    other.id, pattern.value
                );
                self.problems.push(Diagnostic::error(Code::BadValue, pattern.span, message));
            }
        }
    }

    fn machines(&mut self, machines: Option<&[At<MachineId>]>) {
        let k = self.knowledge;
        for machine in machines.unwrap_or(&[]) {
            self.known(
                "machine",
                machine.value.as_str(),
                machine.span,
                k.machines.keys().map(super::super::ids::MachineId::as_str),
            );
        }
    }

    fn options(&mut self, options: &[At<ids::OptionId>]) {
        let k = self.knowledge;
        let all = k.machines.values().flat_map(|m| m.options.keys()).map(super::super::ids::OptionId::as_str);
        for option in options {
            self.known("option", option.value.as_str(), option.span, all.clone());
        }
    }

    fn causes(&mut self) {
        let k = self.knowledge;
        for cause in k.causes.values() {
            self.leads(&cause.leads_to, 1);
            for (machine, rate) in &cause.machines {
                self.known(
                    "machine",
                    machine.as_str(),
                    rate.span,
                    k.machines.keys().map(super::super::ids::MachineId::as_str),
                );
            }
            for (circumstance, _) in &cause.after {
                let all = k.circumstances.keys().map(super::super::ids::CircumstanceId::as_str);
                self.known("circumstance", circumstance.value.as_str(), circumstance.span, all);
            }
            for remedy in &cause.remedies {
                let all = k.remedies.keys().map(super::super::ids::RemedyId::as_str);
                self.known("remedy", remedy.value.as_str(), remedy.span, all);
            }
            self.options(&cause.needs_option);
        }
    }

    fn work(&mut self, work: &Work) {
        let k = self.knowledge;
        let places =
            k.machines.values().flat_map(|m| m.places.keys()).map(super::super::ids::PlaceId::as_str);
        let named = work.steps.iter().filter_map(|s| s.place.as_ref()).chain([&work.place]);
        for place in named {
            self.known("place", place.value.as_str(), place.span, places.clone());
        }
        for caution in &work.cautions {
            self.known(
                "caution",
                caution.value.as_str(),
                caution.span,
                k.cautions.keys().map(super::super::ids::CautionId::as_str),
            );
        }
        for finding in &work.disturbs {
            self.known(
                "finding",
                finding.value.as_str(),
                finding.span,
                k.findings.keys().map(super::super::ids::FindingId::as_str),
            );
        }
        self.options(&work.needs_option);
        self.machines(work.machines.as_deref());
    }

    fn checks(&mut self) {
        let k = self.knowledge;
        for check in k.checks.values() {
            self.work(&check.work);
            for means in check.outcomes.iter().flat_map(|o| &o.means) {
                let all = k.findings.keys().map(super::super::ids::FindingId::as_str);
                let found = self.known("finding", means.finding.value.as_str(), means.finding.span, all);
                let degrees = k.findings.get(&means.finding.value).map_or(1, |f| f.degrees);
                if found && means.at_least > degrees {
                    let message = format!("'{}' has no degree 'much'", means.finding.value);
                    self.problems.push(Diagnostic::error(Code::BadValue, means.finding.span, message));
                }
            }
        }
    }

    /// Checks and remedies that settings name.
    fn settings(&mut self) {
        let k = self.knowledge;
        for set_up in k.machines.values().flat_map(|m| &m.settings).filter_map(|s| s.set_up.as_ref()) {
            if let Some(check) = &set_up.check {
                let checks = k.checks.keys().map(ids::CheckId::as_str);
                self.known("check", check.value.as_str(), check.span, checks);
                let outcomes =
                    k.checks.get(&check.value).map(|c| c.outcomes.iter().map(|o| o.id.value.as_str()));
                for outcome in set_up.more_when.iter().chain(&set_up.less_when) {
                    self.known(
                        "outcome",
                        outcome.as_str(),
                        check.span,
                        outcomes.clone().into_iter().flatten(),
                    );
                }
            }
            for remedy in set_up.raise.iter().chain(&set_up.lower) {
                let remedies = k.remedies.keys().map(ids::RemedyId::as_str);
                self.known("remedy", remedy.value.as_str(), remedy.span, remedies);
            }
        }
    }

    fn remedies(&mut self) {
        let k = self.knowledge;
        let checks = k.checks.keys().map(super::super::ids::CheckId::as_str);
        let settings = k.machines.values().flat_map(|m| &m.settings).map(|s| s.id.as_str());
        for remedy in k.remedies.values() {
            self.work(&remedy.work);
            let causes = k.causes.keys().map(super::super::ids::CauseId::as_str);
            self.known("cause", remedy.cures.value.as_str(), remedy.cures.span, causes);
            self.known("check", remedy.proved_by.value.as_str(), remedy.proved_by.span, checks.clone());
            if let Some(setting) = &remedy.changes {
                self.known("setting", setting.value.as_str(), setting.span, settings.clone());
            }
            for gate in &remedy.only_after {
                let found = self.known("check", gate.check.value.as_str(), gate.check.span, checks.clone());
                if let (true, Some(outcome), Some(check)) =
                    (found, &gate.outcome, k.checks.get(&gate.check.value))
                {
                    let outcomes = check.outcomes.iter().map(|o| o.id.value.as_str());
                    self.known("outcome", outcome.value.as_str(), outcome.span, outcomes);
                }
            }
        }
    }
}

/// Keeps which ids an entry had before, so that old cases are still understood.
fn former_ids(knowledge: &mut Knowledge) -> Vec<Diagnostic> {
    let mut was: BTreeMap<String, String> = BTreeMap::new();
    let mut problems = Vec::new();
    let mut keep = |now: &str, head: &super::model::Head| {
        for old in &head.was {
            if let Some(other) = was.insert(old.clone(), now.to_owned()) {
                let message = format!("'{old}' was '{other}' already; an old id has one heir");
                problems.push(Diagnostic::error(Code::BadId, head.span, message));
            }
        }
    };
    knowledge.machines.iter().for_each(|(id, e)| keep(id.as_str(), &e.head));
    knowledge.circumstances.iter().for_each(|(id, e)| keep(id.as_str(), &e.head));
    knowledge.findings.iter().for_each(|(id, e)| keep(id.as_str(), &e.head));
    knowledge.causes.iter().for_each(|(id, e)| keep(id.as_str(), &e.head));
    knowledge.checks.iter().for_each(|(id, e)| keep(id.as_str(), &e.head));
    knowledge.remedies.iter().for_each(|(id, e)| keep(id.as_str(), &e.head));
    knowledge.cautions.iter().for_each(|(id, e)| keep(id.as_str(), &e.head));
    knowledge.rules.iter().for_each(|(id, e)| keep(id.as_str(), &e.head));
    knowledge.lessons.iter().for_each(|(id, e)| keep(id.as_str(), &e.head));
    knowledge.was = was;
    problems
}
