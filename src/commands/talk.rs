//! Drives a walk with a person: at a terminal with line editing, through a pipe line by line. Every answer is on disk
//! before the next question is shown.

use super::lines::{LONGEST_LINE, Lines};
use super::{CommandError, Context, Result, memory};
use crate::casebook::{Case, Record, Store, StoreError};
use crate::knowledge::{Asks, FindingKind, Knowledge};
use crate::search::{Index, talk};
use crate::view::{self, Page, diagnosis, words};
use crate::walk::{Ask, Input, Item, Show, State, Step, Walker, is_word, understand};

/// Closed cases shown at most, of each sort.
const SHOWN: usize = 3;
/// Most symptoms proposed for the caller's words.
const MOST_PROPOSED: usize = 5;

/// A walk with its record on disk.
pub(super) struct Talk<'k> {
    knowledge: &'k Knowledge,
    walker: Walker<'k>,
    index: Index,
    store: Store,
    record: Option<Record>,
    /// The complaint given on the command line, until it is asked for.
    words: Option<String>,
    /// Whether it was said what is remembered of cases like this one.
    remembered: bool,
    /// Lines of a run that a word broke into.
    begun: String,
}

impl<'k> Talk<'k> {
    pub(super) fn new(knowledge: &'k Knowledge, index: Index, store: Store, words: Option<String>) -> Self {
        Self {
            knowledge,
            walker: Walker::new(knowledge),
            index,
            store,
            record: None,
            words,
            remembered: false,
            begun: String::new(),
        }
    }

    /// Goes on with a record that is open already.
    pub(super) fn with(mut self, record: Record) -> Self {
        self.record = Some(record);
        self
    }

    pub(super) fn walker(&self) -> &Walker<'k> {
        &self.walker
    }

    /// Asks until the person leaves or the case is closed.
    pub(super) fn run(&mut self, first: Step, context: &mut Context) -> Result<State> {
        self.run_on(first, &mut Lines::open(context), context)
    }

    /// The same, with lines that somebody else reads on afterwards.
    pub(super) fn run_on(&mut self, first: Step, lines: &mut Lines, context: &mut Context) -> Result<State> {
        let mut step = first;
        loop {
            let known = self.record.is_some();
            self.keep(&step, context)?;
            if !known && let Some(record) = &self.record {
                let mut page = Page::default();
                page.text(format!("This is case {}. Every answer is kept at once.", record.id()));
                context.aside_or_page(&page)?;
            }
            self.remember(&step.state, context)?;
            self.propose(&mut step.state);
            let mut state = step.state;
            if let Ask::Over(_) = state.ask {
                self.bye(&state, context)?;
                return Ok(state);
            }
            let input = match (&state.ask, self.words.take()) {
                (Ask::Opening(Item::Complaint), Some(words)) => Input::Opening(words),
                (_, words) => {
                    self.words = words;
                    let read = self.show(&state, step.show.as_ref(), lines, context)?;
                    let line = if read { self.line(lines, &state, context)? } else { None };
                    line.map_or(Input::Leave, |line| understand(&line, &state, self.knowledge))
                }
            };
            if matches!(input, Input::Leave) {
                state.ask = Ask::Over(None);
                step = Step { state, entries: Vec::new(), show: None };
                continue;
            }
            step = self
                .walker
                .step(state, input)
                .map_err(|e| CommandError::input(words::sentence(&e.to_string())))?;
        }
    }

    /// Says once, when the symptom is confirmed, what is remembered of this machine and of cases like this one. It is no
    /// evidence; what cannot be looked through is passed over.
    fn remember(&mut self, state: &State, context: &mut Context) -> Result<()> {
        let symptoms = memory::symptoms(&state.case);
        if self.remembered || symptoms.is_empty() || matches!(state.ask, Ask::Over(_)) {
            return Ok(());
        }
        self.remembered = true;
        let leading = state.assessment.iter().flat_map(|a| &a.causes).take(SHOWN);
        let about: Vec<String> = (symptoms.iter().map(|id| format!("symptoms/{id}")))
            .chain(leading.map(|suspect| format!("causes/{}", suspect.id)))
            .collect();
        let mut page = view::lessons::bearing(self.knowledge, &state.case.machine, &about);
        page.0.extend(self.like_this(&state.case, &symptoms, context)?.0);
        if page.0.is_empty() { Ok(()) } else { context.aside_or_page(&page) }
    }

    /// Closed cases of this machine, and others like this one.
    fn like_this(&self, case: &Case, symptoms: &[String], context: &Context) -> Result<Page> {
        let Some(memory) = memory::memory(context)? else { return Ok(Page::default()) };
        let own = self.record.as_ref().map(|record| record.id().to_string());
        let machine = case.machine.as_str();
        let before =
            case.opening.serial_said().map(|serial| memory.before(machine, serial, SHOWN)).transpose();
        let words = case.complaint.as_deref().unwrap_or_default();
        let like = memory.like(machine, symptoms, words, SHOWN);
        let (Ok(before), Ok(mut like)) = (before, like) else { return Ok(Page::default()) };
        let mut before = before.unwrap_or_default();
        let other = |past: &crate::search::past::Past| Some(&past.id) != own.as_ref();
        before.retain(other);
        like.retain(|past| other(past) && !before.iter().any(|known| known.id == past.id));
        before.truncate(2);
        Ok(view::cases::remembered(self.knowledge, &before, &like).unwrap_or_default())
    }

    /// Puts entries on disk before anything else is shown; the record begins with the first of them.
    pub(super) fn keep(&mut self, step: &Step, context: &Context) -> Result<()> {
        for entry in &step.entries {
            let now = (context.clock)();
            if self.record.is_none() {
                let day = now.to_zoned_datetime(jiff::tz::TimeZone::system()).date();
                let id = self.store.fresh_id(day).map_err(stored)?;
                let blank = blank(&step.state.case, self.knowledge);
                self.record = Some(self.store.create(&blank, &id, now).map_err(stored)?);
            }
            if let Some(record) = &mut self.record {
                record.append(entry.clone(), now).map_err(stored)?;
            }
        }
        Ok(())
    }

    /// The symptoms that fit the caller's words, or all of the machine when none does.
    fn propose(&self, state: &mut State) {
        let Ask::Symptoms(list) = &mut state.ask else { return };
        if !list.is_empty() {
            return;
        }
        let complaint = state.case.complaint.as_deref().unwrap_or("");
        let found = self.index.propose_symptoms(complaint).unwrap_or_default();
        let here =
            |id: &crate::ids::FindingId| state.assessment.as_ref().is_none_or(|a| a.symptoms.contains(id));
        // What the amounts say comes first: '3 g under' is plainer than any words.
        let by_amount = talk::symptoms(self.knowledge, &talk::read(self.knowledge, complaint));
        for symptom in by_amount.into_iter().chain(found.into_iter().map(|p| p.symptom)).filter(here) {
            if list.len() < MOST_PROPOSED && !list.contains(&symptom) {
                list.push(symptom);
            }
        }
        if list.is_empty() {
            let symptoms = self.knowledge.findings.values().filter(|f| f.kind == FindingKind::Symptom);
            list.extend(symptoms.map(|f| f.id.clone()).filter(here));
        }
    }

    /// Shows what is asked, screen by screen; false when the person broke off in between.
    fn show(
        &self,
        state: &State,
        show: Option<&Show>,
        lines: &mut Lines,
        context: &mut Context,
    ) -> Result<bool> {
        let mut reminder = Page::default();
        let page = match show {
            Some(Show::NotUnderstood(sentence)) => {
                let mut page = Page::default();
                page.text(sentence.as_str());
                context.aside_or_page(&page)?;
                return Ok(true);
            }
            Some(Show::Said(sentence)) => {
                let mut page = Page::default();
                page.text(sentence.as_str());
                page
            }
            Some(Show::Why) => diagnosis::why(self.knowledge, state),
            Some(Show::Causes) => diagnosis::causes(self.knowledge, state),
            Some(Show::Help) => diagnosis::help(),
            Some(Show::Run) => {
                let [in_full, line] = diagnosis::run_said(self.knowledge, &state.case);
                reminder = line;
                in_full
            }
            None => Page::default(),
        };
        if show.is_some() && !lines.show(&page, context)? {
            return Ok(false);
        }
        let mut page = diagnosis::question(self.knowledge, state);
        if matches!(show, Some(Show::Why | Show::Causes | Show::Help)) {
            page = page.asked_again();
        } else if matches!(
            state.ask,
            Ask::Check(_) | Ask::Circumstance(_) | Ask::Remedy(_) | Ask::Send | Ask::Close
        ) && let Some(assessment) = &state.assessment
        {
            page = diagnosis::card(self.knowledge, state, assessment, page);
        }
        page.before_hint(reminder);
        lines.show(&page, context)
    }

    /// One answer: a run of fills may take several lines, up to an empty one. A word that asks something in between
    /// loses none of them.
    fn line(&mut self, lines: &mut Lines, state: &State, context: &mut Context) -> Result<Option<String>> {
        let is_run = match &state.ask {
            Ask::Check(id) => self.knowledge.checks.get(id).is_some_and(|c| matches!(c.asks, Asks::Run)),
            _ => false,
        };
        let mut text = std::mem::take(&mut self.begun);
        if !is_run {
            return Ok(lines.next());
        }
        if !text.is_empty() {
            let mut page = Page::default();
            page.text(format!(
                "Kept so far: {}. Go on; an empty line ends the run.",
                text.replace('\n', " ")
            ));
            context.aside_or_page(&page)?;
        }
        loop {
            match lines.next() {
                // A call broken off inside a run has not given it; a file that ends there has.
                None if text.is_empty() || matches!(lines, Lines::Terminal(_)) => return Ok(None),
                Some(word) if is_word(&word) => {
                    self.begun = text;
                    return Ok(Some(word));
                }
                Some(more) if !more.trim().is_empty() => {
                    match understand(&more, state, self.knowledge) {
                        // One bad line costs that line only.
                        Input::Misunderstood(sentence) => {
                            Self::misread(&sentence, &text, context)?;
                            continue;
                        }
                        Input::Danger(words) => return Ok(Some(words)),
                        _ => {}
                    }
                    // Too long already: the rest is read past, and the whole is refused in words.
                    if text.len() < LONGEST_LINE {
                        text.push_str(if text.is_empty() { "" } else { "\n" });
                        text.push_str(&more);
                    }
                }
                _ => return Ok(Some(text)),
            }
        }
    }

    fn misread(sentence: &str, kept: &str, context: &mut Context) -> Result<()> {
        let mut page = Page::default();
        page.text(sentence);
        if !kept.is_empty() {
            let weights = kept.split_whitespace().count();
            page.text(format!("Kept so far: {}.", words::count(weights, "weight", "weights")));
        }
        context.aside_or_page(&page)
    }

    fn bye(&self, state: &State, context: &mut Context) -> Result<()> {
        let mut page = Page::default();
        match (&self.record, state.case.closed) {
            (None, _) => page.text("Nothing was answered, so nothing is kept."),
            (Some(record), Some(_)) => {
                page.text(format!("Case {} is closed.", record.id()));
                page.hint(format!("handlamp case report {} writes the customer's report.", record.id()));
            }
            (Some(record), None) => {
                page.text(format!("Case {} stays open. Everything answered is kept.", record.id()));
                page.hint(format!("handlamp case continue {} takes it up again.", record.id()));
            }
        }
        page.push(crate::view::Block::Notice);
        context.aside_or_page(&page)
    }
}

/// A diagnosis in the midst of other work: says what it begins with and what it comes back to, and walks it to its end.
pub(super) fn in_between(
    knowledge: &Knowledge,
    store: Store,
    record: Record,
    [with, to]: [&str; 2],
    lines: &mut Lines,
    context: &mut Context,
) -> Result<State> {
    let mut page = Page::default();
    page.heading(format!("Diagnosis, case {}", record.id()));
    page.text(format!("It begins with {with}. 'leave' or the end of the case comes back to {to}."));
    context.aside_or_page(&page)?;
    let case = record.case().clone();
    let mut talk = Talk::new(knowledge, super::find::index(context)?, store, None).with(record);
    let first = talk.walker().resume(case, true);
    let first = first.map_err(|e| CommandError::input(words::sentence(&e.to_string())))?;
    talk.run_on(first, lines, context)
}

/// What a record begins with: what was known before the first answer.
fn blank(case: &Case, knowledge: &Knowledge) -> Case {
    Case {
        knowledge: Some(crate::casebook::KnowledgeMark {
            version: knowledge.version.clone(),
            hash: Some(knowledge.hash.clone()),
        }),
        team: case.team.clone(),
        ..Case::of(case.machine.clone())
    }
}

/// An error of the store, in a sentence.
#[expect(clippy::needless_pass_by_value, reason = "`map_err` hands the error over")]
pub(super) fn stored(error: StoreError) -> CommandError {
    let sentence = words::sentence(&error.to_string());
    match error {
        StoreError::BadId(_) | StoreError::NotFound { .. } | StoreError::Unfit(_) => {
            CommandError::input(sentence)
        }
        _ => CommandError::store(sentence),
    }
}
