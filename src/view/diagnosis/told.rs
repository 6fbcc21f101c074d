//! What a caller's words may mean, said back for a person to confirm.

use super::super::{Block, Page, Words, words};
use super::title;
use crate::knowledge::Knowledge;
use crate::search::talk::{Amounts, Meaning, Told};

/// The list, each with the words that it was read from.
pub(super) fn question(knowledge: &Knowledge, list: &[Told]) -> Page {
    let mut page = Page::default();
    let lead = Words::new().strong("You said … shall I take it that this is so? ");
    page.text(lead.plain("Only what is confirmed counts."));
    let line =
        |told: &Told| Words::new().strong(meaning(knowledge, told)).plain(format!(" (“{}”)", told.said));
    page.push(Block::Numbered(list.iter().map(line).collect()));
    page.hint("y takes all. Numbers take some, like 1,3. 0 takes none.");
    page
}

/// What some words may mean, as a sentence.
pub fn meaning(knowledge: &Knowledge, told: &Told) -> String {
    match &told.means {
        Meaning::EverRight(true) => "It has been right before.".to_owned(),
        Meaning::EverRight(false) => "It has never been right.".to_owned(),
        Meaning::Since(text) => format!("Since when: {text}."),
        Meaning::ComesAndGoes(true) => "It comes and goes.".to_owned(),
        Meaning::ComesAndGoes(false) => "It is there all the time.".to_owned(),
        Meaning::When(text) => format!("It happens {text}."),
        Meaning::Circumstance(id, true) => format!("{}.", title(knowledge, id.as_str())),
        Meaning::Circumstance(id, false) => {
            format!("This did not happen: {}.", title(knowledge, id.as_str()))
        }
        Meaning::Share(share) => format!("About {} of the fills.", words::number_with_unit(*share, "%")),
        Meaning::Amounts(amounts) => amount(amounts),
    }
}

fn amount(amounts: &Amounts) -> String {
    let figure = |value: f64| words::number_with_unit(crate::units::significant(value), amounts.unit.name);
    let target = amounts.target.map(|t| format!("A fill should weigh {}.", figure(t)));
    let pair = match (amounts.shown, amounts.weighed) {
        (Some(shown), Some(weighed)) => {
            Some(format!("The machine shows {} and another scale {}.", figure(shown), figure(weighed)))
        }
        (Some(shown), None) => Some(format!("The machine shows {}.", figure(shown))),
        (None, Some(weighed)) => Some(format!("It weighs {}.", figure(weighed))),
        (None, None) => None,
    };
    let side = |error: f64| if error < 0.0 { "light" } else { "heavy" };
    let error = amounts.error.filter(|e| *e != 0.0);
    let error = error.map(|e| format!("It is about {} {}.", figure(e.abs()), side(e)));
    let off = amounts.off.map(|off| format!("It is about {} off.", figure(off)));
    let unit = (!amounts.unit_said).then(|| "No unit was said; these are taken as grams.".to_owned());
    [target, pair, error, off, unit].into_iter().flatten().collect::<Vec<_>>().join(" ")
}
