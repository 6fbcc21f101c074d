//! What a caller's own words propose: offered once, in a list, and taken only where a person says so.

use super::assess::AssessError;
use super::state::{Ask, Item};
use super::step::Pace;
use crate::casebook::{Happened, What};
use crate::search::talk::{self, Meaning, Told};

impl Pace<'_> {
    /// Reads some words. What was offered or answered before is not offered again.
    pub(super) fn hear(&mut self, words: &str) {
        for told in talk::read(self.knowledge, words) {
            let answered =
                match &told.means {
                    Meaning::EverRight(_) => self.state.case.opening.ever_right.is_some(),
                    Meaning::Since(_) => self.state.case.opening.since.is_some(),
                    Meaning::Circumstance(id, _) => self.state.case.events.iter().any(
                        |event| matches!(&event.what, What::Circumstance { id: known, .. } if known == id),
                    ),
                    _ => false,
                };
            if !answered && !self.state.offered.contains(&told.means) {
                self.state.offered.push(told.means.clone());
                self.state.told.push(told);
            }
        }
    }

    /// The list to be offered now: after danger, held product and the machine, before what it may answer.
    pub(super) fn offer(&mut self, next: Option<Item>) -> Option<Ask> {
        let in_time = next.is_none_or(|item| item >= Item::EverRight);
        (in_time && !self.state.told.is_empty()).then(|| Ask::Told(std::mem::take(&mut self.state.told)))
    }

    /// Takes what a person confirmed, by place in the list; the rest is forgotten.
    pub(super) fn take_told(&mut self, chosen: &[usize]) -> Result<(), AssessError> {
        let Ask::Told(list) = self.state.ask.clone() else { return Ok(()) };
        for told in chosen.iter().filter_map(|place| list.get(*place)) {
            self.confirmed(told);
        }
        self.opening()
    }

    fn confirmed(&mut self, told: &Told) {
        match &told.means {
            Meaning::EverRight(yes) => {
                self.opening_remark(Item::EverRight, if *yes { "yes" } else { "no" }.to_owned());
                self.state.opened.insert(Item::EverRight);
            }
            Meaning::Since(text) => {
                self.opening_remark(Item::Since, text.clone());
                self.state.opened.insert(Item::Since);
            }
            Meaning::Circumstance(id, yes) => {
                let answer = if *yes { Happened::Happened } else { Happened::DidNot };
                self.remark(What::Circumstance { id: id.clone(), answer });
            }
            Meaning::Amounts(amounts) => {
                if let Some(target) = amounts.target.filter(|t| *t > 0.0) {
                    self.state.target = Some((target, amounts.unit.name.to_owned()));
                }
                self.note(told);
            }
            Meaning::ComesAndGoes(_) | Meaning::When(_) | Meaning::Share(_) => self.note(told),
        }
    }

    /// A caller's figure is no weighing, and 'in the afternoon' no check: both stay remarks.
    fn note(&mut self, told: &Told) {
        self.remark(What::Note(format!("Said and confirmed: “{}”", told.said)));
    }
}
