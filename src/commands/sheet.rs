//! Carries a list out with a person. Every line is on disk before the next question is shown; a failed item leads into a
//! diagnosis and back.

use super::fills::{RunAsked, Typed, kept_so_far, not_kept};
use super::lines::Lines;
use super::talk::{in_between, stored};
use super::{CommandError, Context, Outcome, Result, logs, setting_up};
use crate::casebook::set_up::SetUps;
use crate::casebook::sheet::{Answer, Head, SheetRecord, Sheets};
use crate::casebook::{CaseId, Store};
use crate::checklist::{Checklists, Kind};
use crate::ids::ItemId;
use crate::knowledge::Knowledge;
use crate::render::json;
use crate::view::{Block, Page, checklist as view, words};
use crate::walk::checklist::{
    Around, ListAsk, ListInput, ListShow, ListState, ListStep, ListWalker, case_of, fills_so_far,
    missing_before, open_case, open_points, stopped, understand,
};
use crate::walk::setup::Draft;

/// A list being carried out, with its record on disk.
pub(super) struct Round<'k> {
    knowledge: &'k Knowledge,
    lists: &'k Checklists,
    walker: ListWalker<'k>,
    sheets: &'k Sheets,
    record: Option<SheetRecord>,
    /// Lines of a run that a word broke into, and of which item.
    begun: Option<(ItemId, String)>,
}

/// Whether both name the same serial number; one that is not known is nobody's.
pub(super) fn same_serial(a: &Head, b: &Head) -> bool {
    let known = a.serial.as_ref().zip(b.serial.as_ref());
    known.is_some_and(|(a, b)| a.trim().to_lowercase() == b.trim().to_lowercase())
}

/// What the other sheets of the same machine say: same family, same serial number.
pub(super) fn around(
    lists: &Checklists,
    sheets: &Sheets,
    head: &Head,
    own: Option<&CaseId>,
    context: &Context,
) -> Result<Around> {
    let others = logs::all(sheets, context)?
        .into_iter()
        .filter(|sheet| Some(&sheet.id) != own && sheet.head.machine == head.machine);
    let mut around = Around {
        signed: std::collections::BTreeSet::new(),
        missing: Vec::new(),
        stopped: None,
        elsewhere: Vec::new(),
        today: context.today(),
    };
    for sheet in others {
        let list = lists.lists.get(&sheet.head.list);
        // Without a serial number nobody can tell that it is another machine, so the safe side is taken.
        let same = same_serial(head, &sheet.head);
        let may_be_same = same || head.serial.is_none() || sheet.head.serial.is_none();
        if let Some(list) = list.filter(|_| may_be_same && around.stopped.is_none()) {
            around.stopped = stopped(list, &sheet, around.today);
        }
        if !same {
            continue;
        }
        if sheet.ended().is_some() && sheet.damage.is_empty() {
            around.signed.insert(sheet.head.list.clone());
        }
        if let Some(list) = list {
            around.elsewhere.extend(open_points(list, &sheet));
        }
    }
    if let Some(list) = lists.lists.get(&head.list) {
        around.missing = missing_before(lists, list, &around.signed);
    }
    Ok(around)
}

impl<'k> Round<'k> {
    pub(super) fn new(
        knowledge: &'k Knowledge,
        lists: &'k Checklists,
        walker: ListWalker<'k>,
        sheets: &'k Sheets,
        record: Option<SheetRecord>,
    ) -> Self {
        Self { knowledge, lists, walker, sheets, record, begun: None }
    }

    /// Asks until the person leaves or the list is signed.
    pub(super) fn run(&mut self, first: ListStep, context: &mut Context) -> Result {
        let mut lines = Lines::open(context);
        let mut step = first;
        loop {
            self.keep(&mut step, context)?;
            let state = step.state;
            if let ListAsk::Over = state.ask {
                return self.bye(&state, context);
            }
            if let ListAsk::Diagnosing(item) = &state.ask {
                let item = item.clone();
                step = self.diagnose(state, &item, &mut lines, context)?;
                continue;
            }
            let read = self.show(&state, step.show.as_ref(), &mut lines, context)?;
            let line = if read { self.line(&mut lines, &state, context)? } else { None };
            let input = match line.unwrap_or(ListInput::Leave) {
                ListInput::SetUp => self.set_up(&state, &mut lines, context)?,
                input => input,
            };
            step = self.walker.step(state, input);
        }
    }

    /// Puts lines on disk before anything else is shown; the record begins with the first of them.
    fn keep(&mut self, step: &mut ListStep, context: &mut Context) -> Result<()> {
        let lines = std::mem::take(&mut step.lines);
        for (line, by) in lines {
            let now = (context.clock)();
            if self.record.is_none() {
                let id = self.sheets.fresh_id(context.today()).map_err(stored)?;
                self.record = Some(self.sheets.create(&step.state.sheet.head, &id, now).map_err(stored)?);
                context.say(&format!("This is sheet {id}. Every answer is kept at once."))?;
            }
            if let Some(record) = &mut self.record {
                record.append(line, by.as_deref(), now).map_err(stored)?;
            }
        }
        if let Some(record) = &self.record {
            step.state.sheet = record.log().clone();
        } else if step.state.machine_known && step.state.asked.0 {
            // The machine is named only now: what its other sheets say counts from here on.
            let around = around(self.lists, self.sheets, &step.state.sheet.head, None, context)?;
            step.state = self.walker.around(step.state.clone(), around);
        }
        Ok(())
    }

    /// Shows what is asked, screen by screen; false when the person broke off in between.
    fn show(
        &self,
        state: &ListState,
        show: Option<&ListShow>,
        lines: &mut Lines,
        context: &mut Context,
    ) -> Result<bool> {
        let mut page = Page::default();
        match show {
            Some(ListShow::NotUnderstood(sentence)) => {
                page.text(sentence.as_str());
                context.aside_or_page(&page)?;
                return Ok(true);
            }
            Some(ListShow::Said(sentence)) => page.text(sentence.as_str()),
            Some(ListShow::Overview) => page = view::overview(self.knowledge, self.walker.list, state),
            Some(ListShow::Help) => page = view::help(),
            Some(ListShow::Why) => page = view::why(self.walker.list, state),
            None => {}
        }
        if !page.0.is_empty() && !lines.show(&page, context)? {
            return Ok(false);
        }
        let mut question = view::question(self.knowledge, self.walker.list, state);
        if matches!(show, Some(ListShow::Overview | ListShow::Help | ListShow::Why)) {
            question = question.asked_again();
        }
        if let Some((item, begun)) = &self.begun
            && state.ask == ListAsk::Item(item.clone())
        {
            question.before_hint(kept_so_far(begun));
        }
        lines.show(&question, context)
    }

    /// One answer. A run of fills may take several lines, up to an empty one.
    fn line(
        &mut self,
        lines: &mut Lines,
        state: &ListState,
        context: &mut Context,
    ) -> Result<Option<ListInput>> {
        let list = self.walker.list;
        let is_run = matches!(&state.ask, ListAsk::Item(id)
            if list.item(id).is_some_and(|item| matches!(item.kind, Kind::Run(_))));
        if !is_run {
            return Ok(lines.next().map(|line| understand(&line, state, list)));
        }
        let item = state.ask.item().cloned();
        let begun = self.begun.take().filter(|(of, _)| Some(of) == item.as_ref());
        let asked = RunAsked {
            so_far: &|text| fills_so_far(text, state).map(|values| values.len()),
            ends: |_| false,
            understand: &|text| understand(text, state, list),
            misunderstood: |input| match input {
                ListInput::Misunderstood(sentence) => Some(sentence),
                _ => None,
            },
        };
        let typed = asked.typed(begun.map(|(_, text)| text).unwrap_or_default(), lines, context)?;
        let (input, begun) = match typed {
            Typed::Input(input) => (Some(input), String::new()),
            Typed::Word(input, begun) => (Some(input), begun),
            Typed::BrokenOff(begun) => (None, begun),
        };
        self.begun = item.map(|item| (item, begun)).filter(|(_, text)| !text.is_empty());
        Ok(input)
    }

    /// From a failed item into a diagnosis with the readings taken so far, and back.
    fn diagnose(
        &mut self,
        state: ListState,
        item: &ItemId,
        lines: &mut Lines,
        context: &mut Context,
    ) -> Result<ListStep> {
        let store = Store::at(&context.store()?);
        let now = (context.clock)();
        let known = open_case(&state.sheet, item).and_then(|id| CaseId::parse(id).ok());
        let record = if let Some(id) = known {
            store.open(&id).map_err(stored)?
        } else {
            let case = case_of(self.walker.list, &state.sheet, item, self.knowledge, state.today)
                .ok_or_else(|| CommandError::input("This item opens no diagnosis."))?;
            let id = store.fresh_id(state.today).map_err(stored)?;
            store.create(&case, &id, now).map_err(stored)?
        };
        let id = record.id().clone();
        let mut begun = self.walker.diagnosis_begun(state, item, &id);
        self.keep(&mut begun, context)?;
        let around = ["the readings taken so far", "the list"];
        let end = in_between(self.knowledge, store, record, around, lines, context)?;
        Ok(self.walker.diagnosis_ended(begun.state, item, &id, end.case.closed))
    }

    /// Sets the product up, and gives its sheet as the answer to the item; without a signed one there is no answer.
    fn set_up(&self, state: &ListState, lines: &mut Lines, context: &mut Context) -> Result<ListInput> {
        let set_ups = SetUps::at(&context.store()?);
        let head = &state.sheet.head;
        let draft =
            Draft { machine: Some(head.machine.clone()), serial: head.serial.clone(), ..Draft::default() };
        let signed = setting_up::lead(self.knowledge, &set_ups, draft, lines, context)?;
        Ok(match signed {
            Some(text) => ListInput::Answer(Answer::Reference { text }),
            None => ListInput::Misunderstood(
                "The set-up is not signed yet, so the item stays open. 'setup' goes on with it.".to_owned(),
            ),
        })
    }

    fn bye(&self, state: &ListState, context: &mut Context) -> Result {
        let mut page = Page::default();
        let list = self.walker.list;
        match &self.record {
            None => page.text("Nothing was answered, so nothing is kept."),
            Some(record) if record.log().ended().is_some() => {
                let id = record.log().id.clone();
                page.text(format!("Sheet {id} is signed."));
                page.hint(format!("handlamp checklist report {id} writes the report."));
                if let Some(next) =
                    self.lists.lists.values().find(|other| other.after.iter().any(|a| a.value == list.id))
                {
                    page.hint(format!("handlamp checklist run {} comes next.", next.id));
                }
            }
            Some(record) => {
                if let Some((_, begun)) = &self.begun {
                    page.text(not_kept(begun));
                }
                let id = record.log().id.clone();
                let (done, all) = view::progress(self.knowledge, list, record.log());
                page.text(format!(
                    "Sheet {id} stays open, {done} of {} done. Everything answered is kept.",
                    words::count(all, "item", "items")
                ));
                if let Some(key) = &state.lockout.key {
                    page.text(format!(
                        "The lock of {key} is still on. It stays on, or the machine is handed back by the procedure. Next \
                         time it is asked anew."
                    ));
                }
                page.hint(format!("handlamp checklist continue {id} goes on."));
            }
        }
        page.push(Block::Notice);
        context.aside_or_page(&page)?;
        if context.options.json
            && let Some(record) = &self.record
        {
            context.json(&json::sheet(self.knowledge, list, record.log(), state.today))?;
        }
        Ok(Outcome::Done)
    }
}
