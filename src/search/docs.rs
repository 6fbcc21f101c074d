//! The words of every entry. Step text is opaque and stays out: its steps are for people who see its cautions.

use std::collections::BTreeMap;

use super::{Doc, Kind, Part};
use crate::knowledge::{FindingKind, Head, Knowledge, Machine};

/// Takes the words out of the knowledge, in the order of kinds and ids. A setting that several machines have is one
/// document, in the words of the first.
pub fn docs(knowledge: &Knowledge) -> Vec<Doc> {
    let mut docs = Vec::new();
    for finding in knowledge.findings.values() {
        let kind = match finding.kind {
            FindingKind::Symptom => Kind::Symptom,
            FindingKind::Condition => Kind::Condition,
        };
        docs.push(entry(kind, finding.id.as_str(), &finding.head, vec![]));
    }
    for cause in knowledge.causes.values() {
        docs.push(entry(Kind::Cause, cause.id.as_str(), &cause.head, vec![]));
    }
    for check in knowledge.checks.values() {
        let answers = check.outcomes.iter().map(|o| (Part::Answer, o.answer.clone()));
        let texts = std::iter::once((Part::Asks, check.ask.clone())).chain(answers).collect();
        docs.push(entry(Kind::Check, check.id.as_str(), &check.head, texts));
    }
    for remedy in knowledge.remedies.values() {
        docs.push(entry(Kind::Remedy, remedy.id.as_str(), &remedy.head, vec![]));
    }
    for circumstance in knowledge.circumstances.values() {
        let asked = vec![(Part::Asks, circumstance.asked.clone())];
        docs.push(entry(Kind::Circumstance, circumstance.id.as_str(), &circumstance.head, asked));
    }
    for machine in knowledge.machines.values() {
        let options = machine.options.values().map(|o| (Part::Answer, o.clone())).collect();
        docs.push(entry(Kind::Machine, machine.id.as_str(), &machine.head, options));
    }
    docs.extend(settings(knowledge.machines.values()));
    for (id, caution) in &knowledge.cautions {
        let hazard = vec![(Part::About, caution.caution.hazard.clone())];
        docs.push(entry(Kind::Caution, id.as_str(), &caution.head, hazard));
    }
    docs.sort_by(|a, b| (a.kind, &a.id).cmp(&(b.kind, &b.id)));
    docs
}

fn entry(kind: Kind, id: &str, head: &Head, more: Vec<(Part, String)>) -> Doc {
    let mut texts = vec![(Part::Title, head.title.clone())];
    texts.extend(head.said.iter().map(|said| (Part::Said, said.clone())));
    texts.extend(head.about.iter().map(|about| (Part::About, about.clone())));
    texts.extend(more);
    texts.push((Part::Name, id.replace('-', " ")));
    Doc { kind, id: id.to_owned(), texts }
}

fn settings<'k>(machines: impl Iterator<Item = &'k Machine>) -> Vec<Doc> {
    let mut first = BTreeMap::new();
    for setting in machines.flat_map(|m| &m.settings) {
        first.entry(&setting.id).or_insert(setting);
    }
    let doc = |setting: &crate::knowledge::Setting| {
        let mut texts =
            vec![(Part::Title, setting.title.clone()), (Part::About, setting.what_it_does.clone())];
        let wrong = [&setting.too.0, &setting.too.1].into_iter().flatten();
        texts.extend(wrong.map(|text| (Part::Answer, text.clone())));
        texts.push((Part::Name, setting.id.as_str().replace('-', " ")));
        Doc { kind: Kind::Setting, id: setting.id.to_string(), texts }
    };
    first.into_values().map(doc).collect()
}
