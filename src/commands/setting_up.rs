//! Drives a set-up with a person. Every line is on disk before the next question is shown; what no setting cures leads
//! into a diagnosis and back.

use super::fills::{RunAsked, Typed, kept_so_far, not_kept};
use super::lines::Lines;
use super::talk::{in_between, stored};
use super::{CommandError, Context, Outcome, Result};
use crate::casebook::Store;
use crate::casebook::set_up::{SetUpLine, SetUpLog, SetUpRecord, SetUps};
use crate::knowledge::Knowledge;
use crate::render::json;
use crate::view::{Block, Page, setup as view};
use crate::walk::setup::{
    Draft, SetUpAsk, SetUpInput, SetUpShow, SetUpState, SetUpStep, SetUpWalker, case_of, fills_of, understand,
};

/// Leads through a set-up from a list: the open one of this machine, or a new one. What to enter in the list, once it
/// is signed.
pub(super) fn lead(
    knowledge: &Knowledge,
    set_ups: &SetUps,
    draft: Draft,
    lines: &mut Lines,
    context: &mut Context,
) -> Result<Option<String>> {
    let (all, _) = set_ups.list().map_err(stored)?;
    let same =
        |log: &SetUpLog| Some(&log.head.machine) == draft.machine.as_ref() && log.head.serial == draft.serial;
    let open = all.into_iter().rev().find(|log| same(log) && log.ended().is_none());
    let walker = SetUpWalker { knowledge };
    let (record, first) = match open {
        Some(log) => {
            let record = set_ups.open(&log.id).map_err(stored)?;
            let log = record.log().clone();
            (Some(record), walker.resume(log, context.today()))
        }
        None => (None, walker.begin(draft, context.today())),
    };
    let mut setting_up = SettingUp::new(knowledge, set_ups, record);
    setting_up.run(first, lines, context)?;
    let log = setting_up.record.as_ref().map(SetUpRecord::log);
    Ok(log.and_then(|log| log.ended().map(|(name, _)| format!("set-up {}, signed by {name}", log.id))))
}

/// A set-up with its record on disk.
pub(super) struct SettingUp<'k> {
    knowledge: &'k Knowledge,
    walker: SetUpWalker<'k>,
    set_ups: &'k SetUps,
    record: Option<SetUpRecord>,
    /// Lines of a run that a word broke into.
    begun: String,
}

impl<'k> SettingUp<'k> {
    pub(super) fn new(knowledge: &'k Knowledge, set_ups: &'k SetUps, record: Option<SetUpRecord>) -> Self {
        Self { knowledge, walker: SetUpWalker { knowledge }, set_ups, record, begun: String::new() }
    }

    /// Asks until the person leaves or the sheet is signed.
    pub(super) fn run(&mut self, first: SetUpStep, lines: &mut Lines, context: &mut Context) -> Result<()> {
        let mut step = first;
        loop {
            self.keep(&mut step, context)?;
            let state = step.state;
            if state.ask == SetUpAsk::Over {
                return self.bye(context);
            }
            let read = self.show(&state, step.show.as_ref(), lines, context)?;
            let input = if read { self.line(lines, &state, context)? } else { None };
            step = match input.unwrap_or(SetUpInput::Leave) {
                SetUpInput::Diagnose => self.diagnose(state, lines, context)?,
                input => self.walker.step(state, input),
            };
        }
    }

    /// Puts lines on disk before anything else is shown; the record begins with the first of them.
    fn keep(&mut self, step: &mut SetUpStep, context: &mut Context) -> Result<()> {
        for line in std::mem::take(&mut step.lines) {
            let now = (context.clock)();
            if self.record.is_none()
                && let Some(head) = step.state.draft.head()
            {
                let id = self.set_ups.fresh_id(context.today()).map_err(stored)?;
                self.record = Some(self.set_ups.create(&head, &id, now).map_err(stored)?);
                context.say(&format!("This is set-up {id}. Every answer is kept at once."))?;
            }
            if let Some(record) = &mut self.record {
                let by = record.log().person().map(str::to_owned);
                record.append(line, by.as_deref(), now).map_err(stored)?;
            }
        }
        step.state.log = self.record.as_ref().map(|record| record.log().clone());
        Ok(())
    }

    /// Shows what is asked, screen by screen; false when the person broke off in between.
    fn show(
        &self,
        state: &SetUpState,
        show: Option<&SetUpShow>,
        lines: &mut Lines,
        context: &mut Context,
    ) -> Result<bool> {
        let machine = state.draft.machine.as_ref().and_then(|id| self.knowledge.machines.get(id));
        let mut page = Page::default();
        match show {
            Some(SetUpShow::NotUnderstood(sentence)) => {
                page.text(sentence.as_str());
                context.aside_or_page(&page)?;
                return Ok(true);
            }
            Some(SetUpShow::Said(sentence)) => page.text(sentence.as_str()),
            Some(SetUpShow::Overview) => page = view::overview(machine, state),
            Some(SetUpShow::Help) => page = view::help(),
            Some(SetUpShow::Why) => page = view::why(machine, state),
            None => {}
        }
        if !page.0.is_empty() && !lines.show(&page, context)? {
            return Ok(false);
        }
        let mut question = view::question(self.knowledge, state);
        if show.is_some() {
            question = question.asked_again();
        }
        if matches!(state.ask, SetUpAsk::Run(_) | SetUpAsk::AsFound) {
            question.before_hint(kept_so_far(&self.begun));
        }
        lines.show(&question, context)
    }

    /// One answer. A run of fills may take several lines, up to an empty one.
    fn line(
        &mut self,
        lines: &mut Lines,
        state: &SetUpState,
        context: &mut Context,
    ) -> Result<Option<SetUpInput>> {
        if !matches!(state.ask, SetUpAsk::Run(_) | SetUpAsk::AsFound) {
            return Ok(lines.next().map(|line| understand(&line, state, self.knowledge)));
        }
        let asked = RunAsked {
            so_far: &|text| fills_of(text, state).map(|fills| fills.values.len()),
            // The fills a minute come last.
            ends: |line| line.contains("at "),
            understand: &|text| understand(text, state, self.knowledge),
            misunderstood: |input| match input {
                SetUpInput::Misunderstood(sentence) => Some(sentence),
                _ => None,
            },
        };
        Ok(match asked.typed(std::mem::take(&mut self.begun), lines, context)? {
            Typed::Input(input) => Some(input),
            Typed::Word(input, begun) => {
                self.begun = begun;
                Some(input)
            }
            Typed::BrokenOff(begun) => {
                self.begun = begun;
                None
            }
        })
    }

    /// Over into a diagnosis with what was found, and back.
    fn diagnose(&mut self, state: SetUpState, lines: &mut Lines, context: &mut Context) -> Result<SetUpStep> {
        if let Some(key) = state.course.as_ref().and_then(|course| course.lock.as_ref()) {
            // A diagnosis asks for things that run; it knows nothing of a lock from here.
            context.say(&format!("The lock of {key} is on. Hand the machine back first, then diagnose."))?;
            return Ok(SetUpStep { state, lines: Vec::new(), show: None });
        }
        let Some(case) = case_of(self.knowledge, &state) else {
            context.say("First the questions before: there is nothing to go by yet.")?;
            return Ok(SetUpStep { state, lines: Vec::new(), show: None });
        };
        let store = Store::at(&context.store()?);
        let id = store.fresh_id(state.today).map_err(stored)?;
        let record = store.create(&case, &id, (context.clock)()).map_err(stored)?;
        let line = SetUpLine::HandedOver { case: id.to_string() };
        let mut step = SetUpStep { state, lines: vec![line], show: None };
        self.keep(&mut step, context)?;
        let around = ["what was found here", "setting up"];
        in_between(self.knowledge, store, record, around, lines, context)?;
        let log = step.state.log.clone().ok_or_else(|| CommandError::input("The set-up was lost."))?;
        let mut back = self.walker.resume(log, step.state.today);
        back.show =
            Some(SetUpShow::Said(format!("Back from case {id}. What hangs on the feed is found anew.")));
        Ok(back)
    }

    fn bye(&self, context: &mut Context) -> Result<()> {
        let mut page = Page::default();
        if !self.begun.is_empty() {
            page.text(not_kept(&self.begun));
        }
        match self.record.as_ref().map(SetUpRecord::log) {
            None => page.text("Nothing was answered that is kept."),
            Some(log) if log.ended().is_some() => {
                page.text(format!("Set-up {} is signed.", log.id));
                page.hint(format!("handlamp setup sheet {} prints the settings.", log.id));
            }
            Some(log) => {
                page.text(format!("Set-up {} stays open. Everything answered is kept.", log.id));
                page.hint(format!("handlamp setup continue {} goes on.", log.id));
            }
        }
        page.push(Block::Notice);
        context.aside_or_page(&page)
    }

    /// The record as JSON, where that is asked for.
    pub(super) fn in_full(&self, context: &mut Context) -> Result {
        if let Some(record) = self.record.as_ref().filter(|_| context.options.json) {
            context.json(&json::set_up(self.knowledge, record.log()))?;
        }
        Ok(Outcome::Done)
    }
}
