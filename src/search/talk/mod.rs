//! What a caller's own words tell of history, time and amounts: 'never worked', 'since Monday, after the move', 'about
//! 3 g of 250'. The words are data (`words/talk.yaml`, and `said:` of the circumstances); the grammar is here.
//!
//! All of it is offered to a person who says yes or no. Nothing of it is evidence by itself.

mod amounts;
mod phrases;

#[cfg(test)]
mod tests;

pub use amounts::Amounts;

use phrases::{Found, Text};

use crate::ids::{CircumstanceId, FindingId};
use crate::knowledge::{Finding, FindingKind, Knowledge};

/// Something that a caller's words propose, with the words.
#[derive(Debug, Clone, PartialEq)]
pub struct Told {
    /// The caller's words.
    pub said: String,
    /// What they may mean.
    pub means: Meaning,
}

/// What some words may mean.
#[derive(Debug, Clone, PartialEq)]
pub enum Meaning {
    /// Whether it was ever right.
    EverRight(bool),
    /// Since when, in the caller's words.
    Since(String),
    /// Whether it comes and goes.
    ComesAndGoes(bool),
    /// When it happens, in the book's words.
    When(String),
    /// Something happened before, or did not.
    Circumstance(CircumstanceId, bool),
    /// So many per cent of the fills.
    Share(f64),
    /// What a fill should weigh and how far off it is.
    Amounts(Amounts),
}

/// How many words a 'since when' may have.
const LONGEST_SINCE: usize = 6;
/// How far before something a 'not' takes it back.
const REACH_OF_NOT: usize = 3;

/// Reads what a caller's words tell, in the order: ever right, since when, comes and goes, when, what happened, how much.
pub fn read(knowledge: &Knowledge, text: &str) -> Vec<Told> {
    let words = &knowledge.vocabulary.talk;
    let text = Text::of(text);
    let any = |list: &[String]| list.iter().filter_map(|p| text.find(p)).max_by_key(Found::length);
    let never = any(&words.never_right);
    let was = any(&words.was_right).map(|was| text.with_time(&was, &words.times));
    let was = was.filter(|was| never.as_ref().is_none_or(|never| !never.overlaps(was)));
    let when = words.when.iter().filter_map(|(says, said)| Some((says, any(said)?)));
    let when: Vec<(&String, Found)> = when.collect();
    let circumstances = circumstances(knowledge, &text);
    let happened = circumstances.iter().filter(|(_, _, yes)| *yes).map(|(found, _, _)| found);
    let happened: Vec<&Found> = happened.collect();
    let mut told = Vec::new();
    let mut tell = |found: &Found, means| told.push(Told { said: text.said(found), means });
    match (&never, &was) {
        (Some(found), None) => tell(found, Meaning::EverRight(false)),
        (None, Some(found)) => tell(found, Meaning::EverRight(true)),
        // Both at once is for the person to ask about.
        _ => {}
    }
    let taken: Vec<&Found> =
        when.iter().map(|(_, found)| found).chain(never.iter()).chain(was.iter()).collect();
    if let Some(found) = since(knowledge, &text, &happened, &taken) {
        tell(&found, Meaning::Since(text.said(&found)));
    }
    let share = amounts::share(words, &text);
    let at_times = share.map(|(found, _)| found).or(any(&words.at_times));
    match (at_times, any(&words.always)) {
        (Some(found), _) => tell(&found, Meaning::ComesAndGoes(true)),
        (None, Some(found)) => tell(&found, Meaning::ComesAndGoes(false)),
        _ => {}
    }
    for (says, found) in &when {
        tell(found, Meaning::When((*says).clone()));
    }
    for (found, id, yes) in &circumstances {
        tell(found, Meaning::Circumstance(id.clone(), *yes));
    }
    if let Some((found, share)) = share {
        tell(&found, Meaning::Share(share));
    }
    if let Some((found, amounts)) = amounts::read(words, &text) {
        tell(&found, Meaning::Amounts(amounts));
    }
    told
}

/// The symptoms that amounts propose: the run that is off to that side, or the single fills when it comes and goes.
pub fn symptoms(knowledge: &Knowledge, told: &[Told]) -> Vec<FindingId> {
    let error = told.iter().find_map(|t| match &t.means {
        Meaning::Amounts(amounts) => amounts.error.filter(|error| *error != 0.0),
        _ => None,
    });
    let Some(error) = error else { return Vec::new() };
    let strays = told.iter().any(|t| matches!(t.means, Meaning::ComesAndGoes(true) | Meaning::Share(_)));
    let pattern = match (error < 0.0, strays) {
        (true, false) => "light",
        (false, false) => "heavy",
        (true, true) => "strays-light",
        (false, true) => "strays-heavy",
    };
    let fits = |f: &&Finding| {
        f.kind == FindingKind::Symptom && f.pattern.as_ref().is_some_and(|p| p.value == pattern)
    };
    knowledge.findings.values().filter(fits).map(|f| f.id.clone()).collect()
}

/// The circumstances that are spoken of, and whether they happened; each once, by its longest phrase.
fn circumstances(knowledge: &Knowledge, text: &Text) -> Vec<(Found, CircumstanceId, bool)> {
    let denied = &knowledge.vocabulary.talk.denied;
    let one = |entry: &crate::knowledge::Circumstance| {
        let found = entry.head.said.iter().filter_map(|p| text.find(p)).max_by_key(Found::length)?;
        let denied = text.reaching_back_to(denied, &found, REACH_OF_NOT);
        Some((denied.unwrap_or(found), entry.id.clone(), denied.is_none()))
    };
    knowledge.circumstances.values().filter_map(one).collect()
}

/// 'Since' and the time or the happening that follows it; else 'three weeks ago'.
fn since(knowledge: &Knowledge, text: &Text, happened: &[&Found], taken: &[&Found]) -> Option<Found> {
    let words = &knowledge.vocabulary.talk;
    for began in words.began.iter().flat_map(|p| text.find_all(p)) {
        let reach = began.end + LONGEST_SINCE;
        let happening = happened.iter().filter(|h| h.start <= began.end + 2 && h.end > began.end);
        let happening = happening.filter(|h| text.together(began.start, h.start));
        let until = happening.map(|h| h.end).max();
        let until = until.or_else(|| text.last_of(&words.times, began.end, reach));
        let found = until.map(|end| Found { start: began.start, end });
        if let Some(found) = found.filter(|found| !taken.iter().any(|other| other.overlaps(found))) {
            return Some(found);
        }
    }
    let ago = text.find("ago")?;
    Some(Found { start: ago.start.saturating_sub(2), end: ago.end })
}
