//! The words of every entry. Step text is opaque and stays out: its steps are for people who see its cautions.

use std::collections::BTreeMap;

use super::{Book, Doc, Kind, Lexicon, Part, common};
use crate::knowledge::{FindingKind, Head, Knowledge, Machine, Setting, Sign};

/// The words of the knowledge, and what callers call them.
pub fn book(knowledge: &Knowledge) -> Book {
    let docs = docs(knowledge);
    let lexicon = Lexicon::of(&knowledge.vocabulary, &docs);
    Book { docs, lexicon }
}

/// Takes the words out of the knowledge, in the order of kinds and ids. A setting or sign that several machines have
/// is one document, in the words of the first.
pub fn docs(knowledge: &Knowledge) -> Vec<Doc> {
    let mut docs = Vec::new();
    let behind = common::findings(knowledge);
    for finding in knowledge.findings.values() {
        let kind = match finding.kind {
            FindingKind::Symptom => Kind::Symptom,
            FindingKind::Condition => Kind::Condition,
        };
        let common = behind.get(&finding.id).copied();
        docs.push(Doc { common, ..entry(kind, finding.id.as_str(), &finding.head, vec![]) });
    }
    for cause in knowledge.causes.values() {
        let common = Some(common::cause(cause));
        docs.push(Doc { common, ..entry(Kind::Cause, cause.id.as_str(), &cause.head, vec![]) });
    }
    for check in knowledge.checks.values() {
        let answers = check.outcomes.iter().map(|o| (Part::Answer, o.answer.clone()));
        let texts = std::iter::once((Part::Asks, check.ask.clone())).chain(answers).collect();
        docs.push(entry(Kind::Check, check.id.as_str(), &check.head, texts));
    }
    for remedy in knowledge.remedies.values() {
        let common = knowledge.causes.get(&remedy.cures.value).map(common::cause);
        docs.push(Doc { common, ..entry(Kind::Remedy, remedy.id.as_str(), &remedy.head, vec![]) });
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
    docs.extend(signs(knowledge.machines.values()));
    for (id, caution) in &knowledge.cautions {
        let hazard = vec![(Part::About, caution.caution.hazard.clone())];
        docs.push(entry(Kind::Caution, id.as_str(), &caution.head, hazard));
    }
    for rule in knowledge.rules.values() {
        docs.push(entry(Kind::Rule, rule.id.as_str(), &rule.head, vec![]));
    }
    for entry in knowledge.lessons.values().filter(|entry| entry.lesson.replaced_by.is_none()) {
        let told = vec![(Part::About, entry.lesson.told.clone())];
        docs.push(self::entry(Kind::Lesson, entry.id.as_str(), &entry.head, told));
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
    Doc { kind, id: id.to_owned(), texts, common: None }
}

fn settings<'k>(machines: impl Iterator<Item = &'k Machine>) -> Vec<Doc> {
    let mut docs = BTreeMap::new();
    for setting in machines.flat_map(|m| &m.settings) {
        let doc = || {
            let Setting { id, title, what_it_does, too, .. } = setting;
            let mut texts = vec![(Part::Title, title.clone()), (Part::About, what_it_does.clone())];
            let wrong = [&too.0, &too.1].into_iter().flatten();
            texts.extend(wrong.map(|text| (Part::Answer, text.clone())));
            texts.push((Part::Name, id.as_str().replace('-', " ")));
            Doc { kind: Kind::Setting, id: id.to_string(), texts, common: None }
        };
        called_here(docs.entry(&setting.id).or_insert_with(doc), setting.called_here.as_ref());
    }
    docs.into_values().collect()
}

fn signs<'k>(machines: impl Iterator<Item = &'k Machine>) -> Vec<Doc> {
    let mut docs = BTreeMap::new();
    for sign in machines.flat_map(|m| &m.signs) {
        let doc = || {
            let Sign { id, title, said, what_it_says, when_wrong, .. } = sign;
            let mut texts = vec![(Part::Title, title.clone()), (Part::About, what_it_says.clone())];
            texts.extend(said.iter().map(|said| (Part::Said, said.clone())));
            texts.push((Part::Answer, when_wrong.clone()));
            texts.push((Part::Name, id.as_str().replace('-', " ")));
            Doc { kind: Kind::Sign, id: id.to_string(), texts, common: None }
        };
        called_here(docs.entry(&sign.id).or_insert_with(doc), sign.called_here.as_ref());
    }
    docs.into_values().collect()
}

/// What a site's panel calls it is how its people say it, on each machine that has it.
fn called_here(doc: &mut Doc, name: Option<&String>) {
    let said = name.map(|name| (Part::Said, name.clone()));
    doc.texts.extend(said.filter(|said| !doc.texts.contains(said)));
}
