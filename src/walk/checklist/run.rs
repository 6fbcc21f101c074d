//! The steps of carrying a list out.

use std::collections::{BTreeMap, BTreeSet};

use super::gate::relevant_options;
use super::input::ListInput;
use super::state::{ListAsk, ListShow, ListState, ListStep, OpenPoint, Stopped, coming_up, open_points};
use super::ways::stands_stopped;
use crate::casebook::sheet::{Answer, Head, Kept, Line, Sheet, Standing};
use crate::casebook::{CaseId, Closing};
use crate::checklist::{Checklist, Item};
use crate::ids::{ItemId, ListId};
use crate::knowledge::{Knowledge, Machine};
use crate::walk::Lockout;

/// What is known around a sheet when it is taken up.
#[derive(Debug, Clone)]
pub struct Around {
    /// Lists that stand signed for this machine in other sheets.
    pub signed: BTreeSet<ListId>,
    /// Lists that come before this one and are not signed, first things first.
    pub missing: Vec<ListId>,
    /// What stopped the work on this machine in another sheet.
    pub stopped: Option<Stopped>,
    /// Open points of the machine's other sheets.
    pub elsewhere: Vec<OpenPoint>,
    /// The day.
    pub today: jiff::civil::Date,
}

/// Carries one list out. It never prints, reads no clock and writes nothing.
pub struct ListWalker<'k> {
    /// The knowledge.
    pub knowledge: &'k Knowledge,
    /// The list.
    pub list: &'k Checklist,
}

/// A step in the making.
pub(super) struct Stride<'k> {
    pub(super) knowledge: &'k Knowledge,
    pub(super) list: &'k Checklist,
    pub(super) state: ListState,
    lines: Vec<(Line, Option<String>)>,
    pub(super) show: Option<ListShow>,
}

impl<'k> ListWalker<'k> {
    /// Begins a new sheet; what is not known of the machine yet is asked.
    pub fn begin(&self, head: Head, machine_known: bool, around: Around) -> ListStep {
        let asked = (head.serial.is_some(), head.fitted.is_some());
        let mut stride = self.stride(state(Sheet::blank(head, around.today), machine_known, asked, around));
        stride.next();
        stride.done()
    }

    /// Takes a sheet up again. Authority, isolation and who is there have lapsed.
    pub fn resume(&self, sheet: Sheet, around: Around) -> ListStep {
        let mut stride = self.stride(state(sheet, true, (true, true), around));
        stride.remember();
        stride.next();
        stride.done()
    }

    /// What the open points and signed lists of the machine are, once it is named.
    pub fn around(&self, mut state: ListState, around: Around) -> ListState {
        (state.signed, state.elsewhere) = (around.signed, around.elsewhere);
        (state.missing, state.stopped) = (around.missing, around.stopped);
        state
    }

    /// One step.
    pub fn step(&self, state: ListState, input: ListInput) -> ListStep {
        let mut stride = self.stride(state);
        stride.take(input);
        stride.done()
    }

    /// A diagnosis has been begun from an item.
    pub fn diagnosis_begun(&self, state: ListState, item: &ItemId, case: &CaseId) -> ListStep {
        let mut stride = self.stride(state);
        stride.line(Line::Diagnosis { item: item.clone(), case: case.to_string() });
        stride.done()
    }

    /// The diagnosis is over or left; the item comes up again. Nobody's lock is taken for granted after it.
    pub fn diagnosis_ended(
        &self,
        state: ListState,
        item: &ItemId,
        case: &CaseId,
        closing: Option<Closing>,
    ) -> ListStep {
        let mut stride = self.stride(state);
        let line = Line::DiagnosisEnded { item: item.clone(), case: case.to_string(), closing };
        stride.line(line);
        stride.lapse();
        let sentence = match closing {
            Some(Closing::Cured) => "The cure is proved. Do the item again: its own reading decides.",
            Some(Closing::GoneNotProved) => {
                "It is gone and not proved. Do the item again: its own reading decides."
            }
            _ => "The case stays open, and so does the item.",
        };
        stride.show = Some(ListShow::Said(format!("Back from case {case}. {sentence}")));
        match closing {
            Some(Closing::Cured | Closing::GoneNotProved) => stride.gate(item),
            _ => stride.state.ask = ListAsk::Failed(item.clone()),
        }
        stride.done()
    }

    fn stride(&self, state: ListState) -> Stride<'k> {
        Stride { knowledge: self.knowledge, list: self.list, state, lines: Vec::new(), show: None }
    }
}

fn state(sheet: Sheet, machine_known: bool, asked: (bool, bool), around: Around) -> ListState {
    ListState {
        sheet,
        machine_known,
        asked,
        ask: ListAsk::Person,
        speaker: None,
        lockout: Lockout::default(),
        fresh_lock: false,
        unconnected: false,
        qualified: None,
        correcting: false,
        signed: around.signed,
        missing: around.missing,
        stopped: around.stopped,
        read: BTreeSet::new(),
        elsewhere: around.elsewhere,
        target: None,
        usual_tolerance: None,
        instruments: BTreeMap::new(),
        today: around.today,
    }
}

impl Stride<'_> {
    fn done(self) -> ListStep {
        ListStep { state: self.state, lines: self.lines, show: self.show }
    }

    pub(super) fn machine(&self) -> Option<&Machine> {
        self.knowledge.machines.get(&self.state.sheet.head.machine).filter(|_| self.state.machine_known)
    }

    /// Writes a line down.
    pub(super) fn line(&mut self, line: Line) {
        let by = self.state.speaker.clone();
        let number = self.state.sheet.lines.last().map_or(1, |kept| kept.number) + 1;
        self.state.sheet.lines.push(Kept { number, at: String::new(), by: by.clone(), line: line.clone() });
        self.lines.push((line, by));
    }

    pub(super) fn say(&mut self, sentence: impl Into<String>) {
        self.show = Some(ListShow::Said(sentence.into()));
    }

    pub(super) fn not_understood(&mut self, sentence: impl Into<String>) {
        self.show = Some(ListShow::NotUnderstood(sentence.into()));
    }

    /// Nobody's leave, lock or look is taken over.
    pub(super) fn lapse(&mut self) {
        self.state.lockout = Lockout::default();
        self.state.fresh_lock = false;
        self.state.unconnected = false;
        self.state.qualified = None;
    }

    /// Target and instruments named earlier in the sheet.
    fn remember(&mut self) {
        for kept in &self.state.sheet.lines {
            let Line::Answered { item, answer, .. } = &kept.line else { continue };
            match answer {
                Answer::Run { fills, tolerance } => {
                    self.state.target = Some((fills.target, *tolerance, fills.unit.clone()));
                }
                Answer::Value { instrument: Some(instrument), .. } => {
                    let name = self.list.item(item).and_then(Item::instrument);
                    if let Some(name) =
                        name.filter(|_| instrument.due.is_some_and(|due| due >= self.state.today))
                    {
                        self.state.instruments.insert(name.to_owned(), instrument.clone());
                    }
                }
                _ => {}
            }
        }
    }

    /// The items that come up now, in order.
    pub(super) fn coming_up(&self) -> Vec<&Item> {
        let Some(machine) = self.machine() else { return Vec::new() };
        coming_up(self.list, machine, &self.state.sheet).into_iter().map(|(_, item)| item).collect()
    }

    /// Asks for whatever is wanted next.
    pub(super) fn next(&mut self) {
        self.state.correcting = false;
        self.state.usual_tolerance = self.machine().map(|machine| machine.tolerance);
        self.state.ask = self.wanted();
        if let ListAsk::Item(item) = &self.state.ask {
            let item = item.clone();
            self.gate(&item);
        }
    }

    fn wanted(&mut self) -> ListAsk {
        if !self.state.machine_known {
            let all = self.knowledge.machines.keys().filter(|id| self.list.is_for(id));
            return ListAsk::Machine(all.cloned().collect());
        }
        if !self.state.asked.0 {
            return ListAsk::Serial;
        }
        if !self.state.asked.1 {
            let options =
                self.machine().map(|machine| relevant_options(self.list, machine)).unwrap_or_default();
            if !options.is_empty() {
                return ListAsk::Fitted(options);
            }
            self.state.asked.1 = true;
        }
        if self.state.speaker.is_none() {
            return ListAsk::Person;
        }
        // What stopped the work in this sheet comes first, whether or not it would still come up.
        let own = self
            .list
            .items()
            .map(|(_, item)| item)
            .find(|item| stands_stopped(item, &self.state.sheet, self.state.today));
        if let Some(item) = own {
            return ListAsk::Failed(item.id.value.clone());
        }
        if let Some(stopped) = &self.state.stopped {
            return ListAsk::Stopped(stopped.clone());
        }
        let missing = self.missing_before();
        if !missing.is_empty() {
            return ListAsk::Before(missing);
        }
        if self.list.unconnected && !self.state.unconnected {
            return ListAsk::Unconnected;
        }
        let open = self.coming_up().into_iter().map(|item| item.id.value.clone());
        let first =
            open.map(|id| (self.state.sheet.standing(&id), id)).find(|(standing, _)| !standing.settled());
        match first {
            Some((Standing::Failed, item)) => ListAsk::Failed(item),
            Some((_, item)) => ListAsk::Item(item),
            None if self.state.sheet.ended().is_some() => ListAsk::Over,
            None => self.ownerless().map_or(ListAsk::End, ListAsk::Owner),
        }
    }

    /// Lists not signed that nobody has decided to go ahead without.
    fn missing_before(&self) -> Vec<ListId> {
        let taken_on = |list: &ListId| {
            let mut lines = self.state.sheet.lines.iter();
            lines.any(|kept| matches!(&kept.line, Line::BeforeMissing { list: l, .. } if l == list))
        };
        self.state.missing.iter().filter(|list| !taken_on(list)).cloned().collect()
    }

    /// An open point that nobody looks after.
    fn ownerless(&self) -> Option<ItemId> {
        open_points(self.list, &self.state.sheet).into_iter().find(|p| p.owner.is_none()).map(|p| p.item)
    }

    fn take(&mut self, input: ListInput) {
        match input {
            ListInput::Misunderstood(sentence) => self.not_understood(sentence),
            ListInput::Why => self.show = Some(ListShow::Why),
            ListInput::Overview => self.show = Some(ListShow::Overview),
            ListInput::Help => self.show = Some(ListShow::Help),
            ListInput::Danger(words) => {
                self.note(words);
                self.not_understood(
                    "Stop the machine now, from outside, mains off. Help whoever is hurt; call the emergency number. \
                     This list waits.",
                );
            }
            ListInput::Leave => self.state.ask = ListAsk::Over,
            ListInput::Cautions => self.state.read.clear(),
            ListInput::Person => {
                self.lapse();
                self.state.read.clear();
                self.state.speaker = None;
                self.next();
            }
            ListInput::Note(text) => self.note(text),
            ListInput::Skip => self.skip(),
            ListInput::Correct => self.correct(),
            ListInput::Back => self.back(),
            input => self.take_here(input),
        }
    }

    fn take_here(&mut self, input: ListInput) {
        match (self.state.ask.clone(), input) {
            (ListAsk::Machine(_), ListInput::Machine(machine)) => {
                self.state.sheet.head.machine = machine;
                self.state.machine_known = true;
                self.next();
            }
            (ListAsk::Serial, ListInput::Words(serial)) => {
                self.state.sheet.head.serial = Some(serial).filter(|s| !s.is_empty());
                self.state.asked.0 = true;
                self.next();
            }
            (ListAsk::Fitted(_), ListInput::Fitted(options)) => {
                self.state.sheet.head.fitted = options.map(|all| all.into_iter().collect());
                self.state.asked.1 = true;
                self.next();
            }
            (ListAsk::Person, ListInput::Words(name)) => {
                self.state.speaker = Some(name.clone());
                self.line(Line::Person { name });
                self.next();
            }
            (ListAsk::Before(lists), ListInput::NameAndReason { name, reason }) => {
                for list in lists {
                    self.line(Line::BeforeMissing { list, name: name.clone(), reason: reason.clone() });
                }
                self.next();
            }
            (ListAsk::Correct(items), ListInput::Chosen(place)) => {
                if let Some(item) = items.get(place) {
                    self.again(&item.clone());
                }
            }
            (ListAsk::Owner(item), ListInput::Owner { name, due }) => {
                self.line(Line::Owner { item, name, due });
                self.next();
            }
            (ListAsk::End, ListInput::Words(name)) => {
                self.line(Line::Ended { name });
                self.state.ask = ListAsk::Over;
            }
            (ask, input) => self.at_item(&ask, input),
        }
    }

    /// What is answered at an item.
    fn at_item(&mut self, ask: &ListAsk, input: ListInput) {
        let Some(item) = ask.item().and_then(|id| self.list.item(id)) else {
            return self.gates(ask, input);
        };
        if matches!(ask, ListAsk::Item(_)) {
            self.state.read.extend(item.work.cautions.iter().map(|c| c.value.clone()));
        }
        match (ask, input) {
            (ListAsk::Target(id), ListInput::Target { target, tolerance, unit }) => {
                self.state.target = Some((target, tolerance, unit));
                self.state.ask = ListAsk::Item(id.clone());
            }
            (
                ListAsk::Item(id) | ListAsk::Names { item: id, .. },
                ListInput::Answer(Answer::NotSo { found }),
            ) if found.is_empty() => {
                self.state.ask = ListAsk::Found(id.clone());
            }
            (_, ListInput::Answer(answer)) => self.answered(item, answer),
            (ListAsk::Found(_), ListInput::Words(found)) => self.answered(item, Answer::NotSo { found }),
            (_, ListInput::Figure { value, expected }) => self.figure(item, value, expected),
            (ListAsk::Instrument { value, expected, .. }, ListInput::Instrument(instrument)) => {
                self.with_instrument(item, *value, *expected, instrument);
            }
            (ask, ListInput::Names { names, remark }) => {
                let (so_far, before) = match ask {
                    ListAsk::Names { so_far, remark, .. } => (so_far.clone(), remark.clone()),
                    _ => (Vec::new(), None),
                };
                let remarks: Vec<String> = before.into_iter().chain(remark).collect();
                self.names(item, so_far, names, Some(remarks.join("; ")).filter(|r| !r.is_empty()));
            }
            (ListAsk::Failed(_), ListInput::Chosen(place)) => self.way_on(item, place),
            (ListAsk::DeviationName(id), ListInput::Words(name)) => {
                self.state.ask = ListAsk::DeviationReason { item: id.clone(), name };
            }
            (ListAsk::DeviationReason { item, name }, ListInput::Words(reason)) => {
                self.line(Line::Deviation { item: item.clone(), name: name.clone(), reason });
                self.next();
            }
            (ListAsk::PutRight(id), ListInput::NameAndReason { name, reason }) => {
                self.line(Line::PutRight { item: id.clone(), name, done: reason });
                self.gate(id);
            }
            (ListAsk::SkipReason(id), ListInput::Words(reason)) => {
                self.line(Line::Skipped { item: id.clone(), reason });
                self.next();
            }
            (ListAsk::Note(id), ListInput::Words(text)) => {
                self.line(Line::Note { item: id.clone(), text });
                self.say("Written down.");
                self.next();
            }
            (ask, input) => self.gates(ask, input),
        }
    }
}
