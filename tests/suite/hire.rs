//! A new hire who carries lists out: types what a careful person would type when all is well, by what is asked. The same
//! pure walk that the program drives says what is asked, so nothing here depends on the words of a screen.

use std::collections::BTreeSet;

use handlamp::casebook::sheet::{Head, Sheet};
use handlamp::checklist::{Checklist, Checklists, Item, Kind, Texts, load};
use handlamp::ids::{ItemId, ListId, MachineId};
use handlamp::knowledge::{self, Knowledge};
use handlamp::safety::Exposure;
use handlamp::units::{Quantity, significant};
use handlamp::view::checklist::in_order;
use handlamp::walk::checklist::{
    Around, ListAsk, ListInput, ListState, ListStep, ListWalker, missing_before, understand,
};

/// The knowledge and the lists inside the program.
pub(crate) struct Book {
    pub(crate) knowledge: Knowledge,
    pub(crate) lists: Checklists,
}

impl Book {
    pub(crate) fn built_in() -> Self {
        let (knowledge, problems) = knowledge::load(&knowledge::Texts::built_in());
        assert!(problems.is_empty(), "{problems:?}");
        let (lists, problems) = load(&Texts::built_in(), &knowledge);
        assert!(problems.is_empty(), "{problems:?}");
        Self { knowledge, lists }
    }

    /// The lists from the crate to the hand-over, in order.
    pub(crate) fn first_start(&self) -> Vec<&Checklist> {
        let last = ListId::new("hand-over");
        let mut wanted = BTreeSet::from([last]);
        let ordered = in_order(&self.lists);
        for list in ordered.iter().rev() {
            if wanted.contains(&list.id) {
                wanted.extend(list.after.iter().map(|a| a.value.clone()));
            }
        }
        ordered.into_iter().filter(|list| wanted.contains(&list.id)).collect()
    }

    pub(crate) fn hire<'b>(
        &'b self,
        list: &'b Checklist,
        machine: &str,
        signed: &BTreeSet<ListId>,
    ) -> Hire<'b> {
        let around = Around {
            signed: signed.clone(),
            missing: missing_before(&self.lists, list, signed),
            stopped: None,
            elsewhere: Vec::new(),
            today: jiff::civil::date(2026, 11, 25),
        };
        let walker = ListWalker { knowledge: &self.knowledge, list };
        let head = Head {
            list: list.id.clone(),
            revision: list.revision,
            machine: MachineId::new(machine),
            fitted: None,
            serial: Some("4711".to_owned()),
        };
        let step = walker.begin(head, true, around.clone());
        Hire { walker, step, around, wrong: Vec::new(), typed: Vec::new() }
    }
}

/// Somebody at a list.
pub(crate) struct Hire<'b> {
    walker: ListWalker<'b>,
    pub(crate) step: ListStep,
    around: Around,
    /// What to type at an item in place of what is right, once.
    pub(crate) wrong: Vec<(ItemId, String)>,
    /// Everything typed so far.
    pub(crate) typed: Vec<String>,
}

impl Hire<'_> {
    pub(crate) fn state(&self) -> &ListState {
        &self.step.state
    }

    /// Takes up what the record holds, as after a crash.
    pub(crate) fn resume(&mut self, sheet: Sheet) {
        self.step = self.walker.resume(sheet, self.around.clone());
    }

    /// Types what is wanted now; the lines typed.
    pub(crate) fn answer(&mut self) -> Vec<String> {
        let state = &self.step.state;
        let wrong = match &state.ask {
            ListAsk::Item(id) => self.wrong.iter().position(|(item, _)| item == id),
            _ => None,
        };
        let text = match wrong {
            Some(place) => self.wrong.remove(place).1,
            None => self.right(),
        };
        let state = &self.step.state;
        let input = understand(&text, state, self.walker.list);
        assert!(!matches!(input, ListInput::Misunderstood(_)), "{:?}: {text}: {input:?}", state.ask);
        let is_run = matches!(&state.ask, ListAsk::Item(id)
            if matches!(self.walker.list.item(id).unwrap().kind, Kind::Run(_)));
        self.step = self.walker.step(state.clone(), input);
        let mut lines = vec![text];
        if is_run {
            lines.push(String::new());
        }
        self.typed.extend(lines.iter().cloned());
        lines
    }

    /// Goes on until something stops it: the list is signed, or an item failed.
    pub(crate) fn go(&mut self) {
        for _ in 0..500 {
            match self.step.state.ask {
                ListAsk::Over | ListAsk::Failed(_) | ListAsk::Diagnosing(_) => return,
                _ => drop(self.answer()),
            }
        }
        panic!("the list does not end: {:?}", self.step.state.ask);
    }

    /// Whether an item is the qualified person's.
    fn live(&self, id: &ItemId) -> bool {
        let machine = &self.walker.knowledge.machines[&self.step.state.sheet.head.machine];
        machine.exposures(&self.walker.list.item(id).unwrap().work).has(Exposure::Energised)
    }

    fn right(&self) -> String {
        let state = &self.step.state;
        let item = |id: &ItemId| self.walker.list.item(id).unwrap();
        match &state.ask {
            ListAsk::Fitted(_) => "0".to_owned(),
            ListAsk::Person | ListAsk::Locked(_) | ListAsk::StillLocked(_) | ListAsk::End => {
                "Ann Reed".to_owned()
            }
            ListAsk::Before(_) => "Ann Reed, signed on paper".to_owned(),
            ListAsk::Unconnected | ListAsk::Authority(_) => "y".to_owned(),
            ListAsk::Qualified(_) => "Cy Holt".to_owned(),
            ListAsk::Target(_) => "250 g 2 g".to_owned(),
            ListAsk::Instrument { .. } => "TW-7 2099-01-01".to_owned(),
            ListAsk::Owner(_) => "Ann Reed, 2026-12-05".to_owned(),
            ListAsk::Item(id) => good(item(id), self.live(id)),
            other => panic!("nothing is foreseen for {other:?}"),
        }
    }
}

/// An answer that is as wanted.
fn good(item: &Item, live: bool) -> String {
    let people = if live { ["Cy Holt", "Ann Reed", "Bo Field"] } else { ["Ann Reed", "Bo Field", "Cy Holt"] };
    match &item.kind {
        Kind::Do | Kind::Look => "y".to_owned(),
        Kind::Photo => "sheet 12".to_owned(),
        Kind::Confirm(names) | Kind::Hold(names) => people[..(*names).max(1)].join(", "),
        Kind::Choice(choices) => {
            let fails = |choice: &&handlamp::checklist::Choice| {
                let on = handlamp::checklist::On::Chosen(choice.id.value.clone());
                item.fails.iter().any(|failure| failure.on.iter().any(|o| o.value == on))
            };
            choices.iter().find(|choice| !fails(choice)).unwrap().id.value.to_string()
        }
        Kind::Run(ask) => (0..ask.at_least)
            .map(|i| ["250.1", "249.9", "250.2", "249.8"][i % 4])
            .collect::<Vec<_>>()
            .join(" "),
        Kind::Measure(measure) => {
            let (least, most) = (measure.limits.least, measure.limits.most);
            let middle = match (least, most) {
                (Some(least), Some(most)) => f64::midpoint(least, most),
                (Some(edge), None) | (None, Some(edge)) => edge,
                (None, None) => 0.0,
            };
            let show = |base: f64| {
                Quantity { number: significant(measure.unit.from_base(base)), unit: measure.unit }.to_string()
            };
            if measure.expected {
                let known = measure.unit.to_base(200.0);
                let off = if measure.limits.shares { middle * known } else { middle };
                format!("{}, {}", show(known + off), show(known))
            } else {
                show(middle)
            }
        }
    }
}
