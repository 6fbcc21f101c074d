//! Drives a set-up with a person. Every line is on disk before the next question is shown; what no setting cures leads
//! into a diagnosis and back.

use super::lines::Lines;
use super::talk::{Talk, stored};
use super::{CommandError, Context, Outcome, Result, find};
use crate::casebook::Store;
use crate::casebook::set_up::{SetUpLine, SetUpLog, SetUpRecord, SetUps};
use crate::knowledge::Knowledge;
use crate::render::json;
use crate::view::{Block, Page, setup as view, words};
use crate::walk::setup::{
    Draft, SetUpAsk, SetUpInput, SetUpShow, SetUpState, SetUpStep, SetUpWalker, case_of, fills_of, understand,
};

/// More than this in one run is no run of fills.
const LONGEST_RUN: usize = 20_000;

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
                let mut page = Page::default();
                page.text(format!("This is set-up {id}. Every answer is kept at once."));
                context.aside_or_page(&page)?;
            }
            if let Some(record) = &mut self.record {
                record.append(line, None, now).map_err(stored)?;
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
        if !self.begun.is_empty() && matches!(state.ask, SetUpAsk::Run(_) | SetUpAsk::AsFound) {
            let mut reminder = Page::default();
            let kept = self.begun.trim().replace('\n', " ");
            reminder.text(format!("Kept so far: {kept}. Go on; an empty line ends the run."));
            question.before_hint(reminder);
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
        let mut text = std::mem::take(&mut self.begun);
        loop {
            let Some(line) = lines.next() else {
                // A sitting broken off inside a run has not given it; a file that ends there has.
                let given = !text.is_empty() && !matches!(lines, Lines::Terminal(_));
                return Ok(given.then(|| understand(&text, state, self.knowledge)));
            };
            let line = line.trim();
            let ends = line.is_empty() || line.starts_with("at ");
            if ends {
                match understand(&format!("{text}{line}"), state, self.knowledge) {
                    SetUpInput::Misunderstood(sentence) => aside(&sentence, context)?,
                    input => return Ok(Some(input)),
                }
            } else if line.starts_with(|c: char| c.is_ascii_digit()) {
                let longer = format!("{text}{line}\n");
                let weights = longer.split("at ").next().unwrap_or_default();
                match fills_of(weights, state) {
                    Ok(_) if longer.len() > LONGEST_RUN => aside("That is too long for one run.", context)?,
                    Ok(_) if line.contains("at ") => {
                        return Ok(Some(understand(&longer, state, self.knowledge)));
                    }
                    Ok(fills) => {
                        let count = words::count(fills.values.len(), "fill", "fills");
                        aside(&format!("{} so far.", words::sentence_start(&count)), context)?;
                        text = longer;
                    }
                    // One bad line costs that line only.
                    Err(sentence) => aside(&sentence, context)?,
                }
            } else {
                match understand(line, state, self.knowledge) {
                    SetUpInput::Misunderstood(_) => {
                        aside("A line of weights begins with a figure. That line is left out.", context)?;
                    }
                    input => {
                        self.begun = text;
                        return Ok(Some(input));
                    }
                }
            }
        }
    }

    /// Over into a diagnosis with what was found, and back.
    fn diagnose(&mut self, state: SetUpState, lines: &mut Lines, context: &mut Context) -> Result<SetUpStep> {
        let Some(case) = case_of(self.knowledge, &state) else {
            let mut page = Page::default();
            page.text("First the questions before: there is nothing to go by yet.");
            context.aside_or_page(&page)?;
            return Ok(SetUpStep { state, lines: Vec::new(), show: None });
        };
        let store = Store::at(&context.store()?);
        let id = store.fresh_id(state.today).map_err(stored)?;
        let record = store.create(&case, &id, (context.clock)()).map_err(stored)?;
        let line = SetUpLine::HandedOver { case: id.to_string() };
        let mut step = SetUpStep { state, lines: vec![line], show: None };
        self.keep(&mut step, context)?;
        let mut page = Page::default();
        page.heading(format!("Diagnosis, case {id}"));
        page.text(
            "It begins with what was found here. 'leave' or the end of the case comes back to setting up.",
        );
        context.aside_or_page(&page)?;
        let failed = |error: String| CommandError::input(words::sentence(&error));
        let case = record.case().clone();
        let mut talk = Talk::new(self.knowledge, find::index(context)?, store, None).with(record);
        let first = talk.walker().resume(case, true).map_err(|e| failed(e.to_string()))?;
        talk.run_on(first, lines, context)?;
        let log = step.state.log.clone().ok_or_else(|| failed("the set-up was lost".to_owned()))?;
        let mut back = self.walker.resume(log, step.state.today);
        back.show =
            Some(SetUpShow::Said(format!("Back from case {id}. What hangs on the feed is found anew.")));
        Ok(back)
    }

    fn bye(&self, context: &mut Context) -> Result<()> {
        let mut page = Page::default();
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
        if !self.begun.is_empty() {
            page.text("The run was not given to its end, and what was typed of it is not kept.");
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

fn aside(sentence: &str, context: &mut Context) -> Result<()> {
    let mut page = Page::default();
    page.text(sentence);
    context.aside_or_page(&page)
}
