//! `find`: what in the knowledge fits some words, and why. Titles and callers' words only, never steps.

use super::{Page, Words};
use crate::search::{Hit, Kind, Matched, Part};

/// The hits, best first, each with what to type to see it.
pub fn page(query: &str, hits: &[Hit], more: bool) -> Page {
    let mut page = Page::default();
    let Some(first) = hits.first() else {
        page.text(format!("Nothing in the knowledge fits “{query}”."));
        page.hint("Try what the caller said or what is seen: handlamp find bags too light");
        return page;
    };
    page.bullets(hits.iter().map(one));
    if more {
        page.text("There are more. Use more words, or --kind or --machine.");
    }
    page.hint(format!("handlamp show {}", first.id));
    page
}

/// Title, kind and id, and why it is here.
fn one(hit: &Hit) -> Words {
    Words::new()
        .strong(&hit.title)
        .plain(format!("\n{} {}", hit.kind, hit.id))
        .plain(format!("\n{}", reason(hit)))
}

/// A lesson's text is somebody's own words, and stands with its author on its own page only.
fn reason(hit: &Hit) -> String {
    match (hit.kind, hit.matched.part) {
        (Kind::Lesson, Part::About) => "in what was told".to_owned(),
        _ => why(&hit.matched),
    }
}

/// Why an entry is among the hits: which of its texts, and where it does not hold the very words, by which way.
pub fn why(matched: &Matched) -> String {
    let text = match matched.part {
        Part::Title => "title".to_owned(),
        Part::Name => "name".to_owned(),
        Part::Said => format!("said: “{}”", matched.text),
        Part::Asks => format!("asks: {}", matched.text),
        Part::Answer | Part::About => format!("text: {}", matched.text),
    };
    let same = matched.same.iter().map(|(typed, there)| format!("“{typed}” is the same as “{there}”"));
    let slips = matched.slips.iter().map(|typed| format!("spelling: {typed}"));
    let ways: Vec<String> = std::iter::once(text).chain(same).chain(slips).collect();
    ways.join("; ")
}
