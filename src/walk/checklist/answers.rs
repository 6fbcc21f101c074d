//! What is done with an answer: judged and written down, asked for again, left out, put right.

use super::judge::{judge, judged_then};
use super::run::Stride;
use super::state::ListAsk;
use super::ways::{Way, stands_stopped, stops, ways};
use crate::casebook::sheet::{Answer, Instrument, Line, Standing};
use crate::checklist::{Item, Kind, Measure};
use crate::ids::ItemId;
use crate::safety::Exposure;
use crate::units::Quantity;
use crate::walk::Lockout;

impl Stride<'_> {
    pub(super) fn figure(&mut self, item: &Item, value: Quantity, expected: Option<Quantity>) {
        let Kind::Measure(Measure { instrument, due, .. }) = &item.kind else { return };
        let known = instrument.as_ref().and_then(|name| self.state.instruments.get(name)).cloned();
        match (known, due) {
            (Some(instrument), true) => self.with_instrument(item, value, expected, instrument),
            (None, true) => {
                self.state.ask = ListAsk::Instrument { item: item.id.value.clone(), value, expected };
            }
            (_, false) => {
                let instrument = instrument.clone().map(|name| Instrument { name, due: None });
                self.answered(item, Answer::Value { value, expected, instrument });
            }
        }
    }

    pub(super) fn with_instrument(
        &mut self,
        item: &Item,
        value: Quantity,
        expected: Option<Quantity>,
        used: Instrument,
    ) {
        if let Some(name) = item.instrument() {
            // One that is overdue is asked about anew the next time.
            if used.due.is_some_and(|due| due >= self.state.today) {
                self.state.instruments.insert(name.to_owned(), used.clone());
            } else {
                self.state.instruments.remove(name);
            }
        }
        self.answered(item, Answer::Value { value, expected, instrument: Some(used) });
    }

    /// So many different people as the item asks for.
    pub(super) fn names(
        &mut self,
        item: &Item,
        mut so_far: Vec<String>,
        more: Vec<String>,
        remark: Option<String>,
    ) {
        let (Kind::Confirm(wanted) | Kind::Hold(wanted)) = item.kind else { return };
        if let Some(name) =
            self.only_for(item).filter(|only| !more.iter().chain(&so_far).any(|n| same(n, only)))
        {
            return self.not_understood(format!(
                "This is the work of {name}, the qualified person: {name} confirms it, by name."
            ));
        }
        for name in more {
            if so_far.iter().any(|known| same(known, &name)) {
                return self
                    .not_understood(format!("{name} stands there already. Another person signs here too."));
            }
            so_far.push(name);
        }
        if so_far.len() < wanted.max(1) {
            self.state.ask = ListAsk::Names { item: item.id.value.clone(), so_far, remark };
            return;
        }
        self.answered(item, Answer::Signed { names: so_far, remark });
    }

    /// The qualified person without whom nobody confirms work on live parts.
    fn only_for(&self, item: &Item) -> Option<String> {
        let live = self.machine().is_some_and(|m| m.exposures(&item.work).has(Exposure::Energised));
        self.state.qualified.clone().filter(|_| live)
    }

    /// Judges an answer and writes it down; what is not as wanted stops here.
    pub(super) fn answered(&mut self, item: &Item, answer: Answer) {
        let judged = judge(item, &answer, self.state.today);
        let key = match &answer {
            Answer::Signed { names, .. } if item.locks_out => names.first().cloned(),
            _ => None,
        };
        let id = item.id.value.clone();
        let corrects = std::mem::take(&mut self.state.correcting);
        self.line(Line::Answered { item: id.clone(), answer, good: judged.good, corrects });
        if let Some(key) = key {
            self.line(Line::Locked { key: key.clone() });
            self.state.lockout = Lockout { procedure: Some(true), key: Some(key), ..Lockout::default() };
            self.state.fresh_lock = true;
        }
        if item.restores {
            self.line(Line::Restored);
        }
        // Whatever came of it, no lock from before is taken for granted after this.
        if item.restores || (item.locks_out && !judged.good) {
            self.lapse();
        }
        if !judged.says.is_empty() {
            self.say(judged.says);
        }
        if judged.good { self.next() } else { self.state.ask = ListAsk::Failed(id) }
    }

    pub(super) fn way_on(&mut self, item: &Item, place: usize) {
        let id = item.id.value.clone();
        let Some(judged) = judged_then(item, &self.state.sheet, self.state.today) else { return };
        let ways = ways(item, &judged);
        match ways.get(place) {
            // What stopped the work is put right by somebody, and not by doing it once more.
            Some(Way::Again) if stops(item, &judged) => self.state.ask = ListAsk::PutRight(id),
            Some(Way::Again) => self.gate(&id),
            Some(Way::Note) => self.state.ask = ListAsk::Note(id),
            Some(Way::Diagnose) => self.state.ask = ListAsk::Diagnosing(id),
            Some(Way::Deviation) => self.state.ask = ListAsk::DeviationName(id),
            None => self.not_understood(format!("Type a number from 1 to {}.", ways.len())),
        }
    }

    pub(super) fn note(&mut self, text: String) {
        let Some(item) = self.state.ask.item().cloned() else { return };
        if text.is_empty() {
            self.state.ask = ListAsk::Note(item);
            return;
        }
        self.line(Line::Note { item, text });
        self.say("Written down.");
    }

    pub(super) fn skip(&mut self) {
        let Some(item) = self.state.ask.item().and_then(|id| self.list.item(id)) else { return };
        let id = item.id.value.clone();
        if self.state.sheet.standing(&id) == Standing::Failed {
            self.not_understood(
                "It failed, so it cannot be left out. Choose one of the ways on, or 'leave'.",
            );
        } else if !self.list.may_be_skipped(item) {
            self.not_understood(match item.kind {
                Kind::Hold(_) => {
                    "Nobody goes past a hold. 'leave' keeps everything until it can be confirmed."
                }
                _ => "This one cannot be left out: what comes after hangs on it.",
            });
        } else {
            self.state.ask = ListAsk::SkipReason(id);
        }
    }

    pub(super) fn correct(&mut self) {
        // Names, stops and lists before come first; an answer is corrected by somebody.
        let at_an_item = self.state.ask.item().is_some() || matches!(self.state.ask, ListAsk::End);
        if !at_an_item || self.state.speaker.is_none() {
            return self.not_understood("First what is asked here; then an answer can be put right.");
        }
        let answered = self.answered_items();
        if answered.is_empty() {
            self.not_understood("Nothing was answered yet.");
        } else {
            self.state.ask = ListAsk::Correct(answered);
        }
    }

    /// The items that come up and were answered, in order.
    fn answered_items(&self) -> Vec<ItemId> {
        let items = self.coming_up().into_iter().map(|item| item.id.value.clone());
        items.filter(|id| self.state.sheet.standing(id) != Standing::Open).collect()
    }

    pub(super) fn back(&mut self) {
        if matches!(self.state.ask, ListAsk::Item(_) | ListAsk::Failed(_) | ListAsk::End | ListAsk::Owner(_))
        {
            let current = self.state.ask.item().cloned();
            let items: Vec<ItemId> = self.coming_up().into_iter().map(|item| item.id.value.clone()).collect();
            let here = items.iter().position(|id| Some(id) == current.as_ref()).unwrap_or(items.len());
            let answered = |id: &&ItemId| self.state.sheet.standing(id) != Standing::Open;
            let before = items[..here].iter().rev().find(answered).cloned();
            match before {
                Some(item) => self.again(&item),
                None => self.not_understood("This is the first item."),
            }
        } else {
            self.next();
        }
    }

    /// An item once more; its answer takes the place of the one before, which stays in the record.
    pub(super) fn again(&mut self, item: &ItemId) {
        let Some(found) = self.list.item(item) else { return };
        // No correction goes round whoever puts it right.
        if stands_stopped(found, &self.state.sheet, self.state.today) {
            self.state.ask = ListAsk::PutRight(item.clone());
            return;
        }
        // A target that was wrong is asked again with its run.
        if matches!(found.kind, Kind::Run(_)) {
            self.state.target = None;
        }
        self.gate(item);
        self.state.correcting = true;
    }
}

/// Whether two names are those of one person.
pub(super) fn same(a: &str, b: &str) -> bool {
    a.trim().to_lowercase() == b.trim().to_lowercase()
}
