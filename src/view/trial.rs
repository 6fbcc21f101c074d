//! `find --try`: how many phrasings of callers lead to the right entry, and which do not.

use super::{Page, Words, words};
use crate::search::trial::{LOOKED_AT, Miss, Trial};

/// Shares against their floors, and the misses by name.
pub fn page(trial: &Trial, floors: (f64, f64)) -> Page {
    let mut page = Page::default();
    let Some((first, five)) = trial.shares() else {
        page.text("There is no phrasing in this file.");
        return page;
    };
    page.text(format!(
        "{} tried.",
        words::sentence_start(&words::count(trial.tried, "phrasing", "phrasings"))
    ));
    let line = |what: &str, n: usize, share: f64, floor: f64| {
        let verdict = if share < floor { ", too few" } else { "" };
        let wanted = words::percent(floor);
        Words::new()
            .plain(format!("{what}: {n}, "))
            .strong(words::percent(share))
            .plain(format!(" (at least {wanted} wanted{verdict})"))
    };
    page.bullets([
        line("Right entry first", trial.first, first, floors.0),
        line(&format!("In the first {LOOKED_AT}"), trial.five, five, floors.1),
    ]);
    page.section("Not first", trial.misses.iter().map(miss));
    page.section("Means nothing here", trial.strangers.iter().map(stranger));
    page
}

fn stranger((said, first): &(String, Option<String>)) -> Words {
    let found =
        first.as_ref().map_or_else(|| "nothing found".to_owned(), |first| format!("first is {first}"));
    Words::from(format!("“{said}”: {found}"))
}

fn miss(miss: &Miss) -> Words {
    let wanted = words::or(&miss.phrasing.means);
    let place = miss.place.map_or_else(|| "not found".to_owned(), |place| format!("at place {place}"));
    let first = miss.first.as_ref().map_or_else(String::new, |first| format!("; first is {first}"));
    Words::from(format!("“{}”: {wanted} {place}{first}", miss.phrasing.said))
}
