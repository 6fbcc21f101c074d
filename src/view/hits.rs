//! `find`: what in the knowledge fits some words. Titles and callers' words only, never steps.

use super::{Page, Words};
use crate::search::{Hit, Part};

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

/// Title, kind and id, and the caller's words that fit.
fn one(hit: &Hit) -> Words {
    let words = Words::new().strong(&hit.title).plain(format!("\n{} {}", hit.kind, hit.id));
    match hit.matched.part {
        Part::Title | Part::Name => words,
        Part::Said => words.plain(format!("\nsaid: “{}”", hit.matched.text)),
        Part::Asks => words.plain(format!("\nasks: {}", hit.matched.text)),
        Part::Answer | Part::About => words.plain(format!("\n{}", hit.matched.text)),
    }
}
