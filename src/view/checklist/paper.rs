//! A checklist on paper: what to do, with its cautions, and room for what was found.

use std::collections::BTreeMap;

use crate::checklist::{
    Checklist, Checklists, Condition, Failure, Item, Kind, Leads, Measure, On, RunAsk, Section,
};
use crate::ids::{ItemId, ListId, OutcomeId};
use crate::knowledge::{Knowledge, Machine};
use crate::view::diagnosis::title;
use crate::view::{Block, Field, Lockout, Page, Words, words};

/// Rows for those who carry it out, for what stays open, and for those who sign at the end.
const PEOPLE: usize = 3;
const OPEN_POINTS: usize = 5;
const SIGNATURES: usize = 3;

/// What stands at the head of a list that is done before the machine is connected, and on its items behind guards.
pub const UNCONNECTED: &str =
    "Nothing is connected: no mains, no air, no neighbour. If that is not so, stop.";

/// The sheet of one list for one machine. Items of other machines, and of options that this one cannot have, are left
/// out; what else an item depends on stands with it in words.
pub fn sheet(lists: &Checklists, list: &Checklist, knowledge: &Knowledge, machine: &Machine) -> Page {
    let mut page = Page::titled(&list.title);
    cover(&mut page, lists, list, machine);
    let numbers = items(list, machine).into_iter().enumerate();
    let numbers = numbers.map(|(i, item)| (&item.id.value, i + 1)).collect();
    let writer = Writer { lists, list, knowledge, machine, numbers };
    let mut locked = None;
    let sections = list.sections.iter().map(|section| (section, coming(section, machine)));
    for (section, items) in sections.filter(|(_, items)| !items.is_empty()) {
        page.heading(&section.title);
        if let Some(only_if) = writer.only_if(&section.only_if) {
            page.text(Words::new().strong(only_if));
        }
        for item in items {
            page.push(writer.item(section, item, &mut locked));
        }
    }
    close(&mut page, list, knowledge);
    page
}

/// What stands at the foot of every page of the sheet.
pub fn running(list: &Checklist, machine: &Machine) -> String {
    format!("{} · {} · revision {}", list.title, machine.head.title, list.revision)
}

/// The items on the sheet of one machine, in order.
pub fn items<'l>(list: &'l Checklist, machine: &Machine) -> Vec<&'l Item> {
    list.sections.iter().flat_map(|section| coming(section, machine)).collect()
}

fn coming<'l>(section: &'l Section, machine: &Machine) -> Vec<&'l Item> {
    let can_hold = |condition: &Condition| match condition {
        Condition::Machine(only) => only.value == machine.id,
        Condition::Option(option) => machine.options.contains_key(&option.value),
        Condition::Answer { .. } => true,
    };
    let comes = |item: &&Item| Checklist::conditions(section, item).all(can_hold);
    section.items.iter().filter(comes).collect()
}

fn cover(page: &mut Page, lists: &Checklists, list: &Checklist, machine: &Machine) {
    page.text(Words::new().strong(&machine.head.title).plain(format!(
        " · revision {} · {}",
        list.revision,
        words::minutes(list.minutes)
    )));
    page.text(list.about.as_str());
    if !list.after.is_empty() {
        let before: Vec<&str> = list.after.iter().map(|id| list_title(lists, &id.value)).collect();
        page.text(
            Words::new()
                .strong("Signed before this one, on this machine: ")
                .plain(format!("{}.", words::and(&before))),
        );
    }
    if list.unconnected {
        page.push(Block::Banner(UNCONNECTED.to_owned()));
    }
    page.fill([
        Field::short("Serial number", ""),
        Field::short("Date", ""),
        Field::long("Options fitted, product"),
    ]);
    page.form(&["Carried out by (name)", "Employer", "May lock out", "May work on live parts"], PEOPLE);
    page.text(
        "Tick only what you did or saw yourself. What is not as it should be is done again, with the second figure beside the \
         first, or stands as an open point at the end with an owner and a date. Leave out only where a box lets you, and write why.",
    );
}

fn close(page: &mut Page, list: &Checklist, knowledge: &Knowledge) {
    let mut open = Page::default();
    open.heading("Open points");
    let heads =
        ["Item", "What is open, or was let pass and why", "Owner, or who let it pass", "By when, date"];
    open.form(&heads, OPEN_POINTS);
    let mut signed = Page::default();
    signed.heading("Carried out and signed");
    signed.form(&["Name", "Signature", "Date and time"], SIGNATURES);
    page.0.extend([open, signed].map(|part| Block::Together(part.0)));
    if let Some(basis) = &list.basis {
        let from = knowledge.origins.get(&basis.from.value);
        let from = from.map(|source| format!(" ({source})")).unwrap_or_default();
        page.text(format!("Where its figures come from: {}{from}.", basis.text.trim_end_matches('.')));
    }
    page.push(Block::Notice);
}

fn list_title<'l>(lists: &'l Checklists, id: &'l ListId) -> &'l str {
    lists.lists.get(id).map_or(id.as_str(), |list| &list.title)
}

/// Under which conditions, in words, everything stands locked out; none while it does not.
type Locked = Option<Vec<String>>;

struct Writer<'l> {
    lists: &'l Checklists,
    list: &'l Checklist,
    knowledge: &'l Knowledge,
    machine: &'l Machine,
    /// The number on the sheet of each item that is on it.
    numbers: BTreeMap<&'l ItemId, usize>,
}

impl Writer<'_> {
    fn item(&self, section: &Section, item: &Item, locked: &mut Locked) -> Block {
        let number = self.numbers.get(&item.id.value).copied().unwrap_or_default();
        let mut page = Page::default();
        page.subheading(format!("{number}. {}", item.name()));
        if matches!(item.kind, Kind::Hold(_)) {
            page.push(Block::Banner("HOLD: nobody goes past this without a name".to_owned()));
        }
        if let Some(only_if) = self.only_if(&item.only_if) {
            page.text(Words::new().strong(only_if));
        }
        page.text(self.circumstances(item));
        self.steps(&mut page, section, item, locked);
        self.expected(&mut page, item);
        self.to_write(&mut page, item);
        if !item.fails.is_empty() {
            page.text(item.fails.iter().fold(Words::new(), |said, failure| self.fails(said, item, failure)));
        }
        Block::Together(page.0)
    }

    /// 'Only if it has a foot switch, and only if …': what decides beyond the machine.
    fn only_if(&self, conditions: &[Condition]) -> Option<String> {
        let said: Vec<String> = conditions.iter().filter_map(|c| self.condition(c)).collect();
        (!said.is_empty()).then(|| format!("Only if {}.", said.join(", and if ")))
    }

    fn condition(&self, condition: &Condition) -> Option<String> {
        match condition {
            Condition::Machine(_) => None,
            Condition::Option(option) => {
                let what = self.machine.options.get(&option.value)?;
                Some(format!("there is {}", words::clause(what)))
            }
            Condition::Answer { item, is } => {
                let choice = self.list.item(&item.value)?;
                let answers: Vec<String> =
                    is.iter().map(|id| format!("“{}”", answer(choice, &id.value))).collect();
                let number =
                    self.numbers.get(&item.value).map(|n| format!(" (item {n})")).unwrap_or_default();
                Some(format!("the answer to “{}”{number} was {}", choice.name(), words::or(&answers)))
            }
        }
    }

    /// 'At the weigh pan, about 5 minutes. Needed: test weight.'
    fn circumstances(&self, item: &Item) -> String {
        let place = &item.work.place.value;
        let place = self.machine.places.get(place).map_or(place.as_str(), |place| place.title.as_str());
        let needed = match item.needs.as_slice() {
            [] => String::new(),
            needs => format!(" Needed: {}.", words::and(needs)),
        };
        format!("At {place}, {}.{needed}", words::minutes(item.work.minutes))
    }

    /// Cautions, lockout and steps.
    fn steps(&self, page: &mut Page, section: &Section, item: &Item, locked: &mut Locked) {
        let lockout = self.lockout(section, item, locked);
        if self.list.unconnected && self.machine.exposures(&item.work).needs_isolation() {
            page.text(Words::new().strong(UNCONNECTED));
        }
        match super::steps(self.knowledge, self.list, item, self.machine) {
            Ok(step) => page.step(step, lockout),
            Err(missing) => page.text(format!("These steps are kept back: {missing}.")),
        }
    }

    /// Between a hold that locks out and what restores, one question stands for the whole prompt, for items that can only
    /// come up when that hold did.
    fn lockout(&self, section: &Section, item: &Item, locked: &mut Locked) -> Lockout {
        let said = |c: &Condition| self.condition(c);
        let conditions: Vec<String> = Checklist::conditions(section, item).filter_map(said).collect();
        let held = locked.as_ref().is_some_and(|all| all.iter().all(|c| conditions.contains(c)));
        if item.restores {
            *locked = None;
        } else if item.locks_out {
            *locked = Some(conditions);
        }
        match (item.locks_out, held) {
            (true, _) => Lockout::UpToTheWork,
            (false, true) => Lockout::Standing,
            (false, false) => Lockout::InFull,
        }
    }

    /// What to see and why; not again what the one step has just said.
    fn expected(&self, page: &mut Page, item: &Item) {
        let said = |expect: &str| matches!(item.work.steps.as_slice(), [one] if one.text.expects(expect));
        let expect = item.expect.as_deref().filter(|expect| !said(expect));
        let allowed = if let Kind::Measure(measure) = &item.kind { Some(allowed(measure)) } else { None };
        let parts = [
            ("Expect: ", expect.map(words::clause_stop)),
            ("Why: ", item.why.as_deref().map(words::clause_stop)),
            ("Allowed: ", allowed),
        ];
        let parts = parts.into_iter().filter_map(|(lead, text)| Some((lead, text?)));
        let text = parts.fold(Words::new(), |said, (lead, text)| apart(said).strong(lead).plain(text));
        if !text.is_empty() {
            page.text(text);
        }
        if let Some(list) = &item.list {
            page.text(Words::new().strong("Carry out and sign: ").plain(list_title(self.lists, &list.value)));
        }
        if item.open_points {
            page.text("Read out the open points of every list of this machine.");
        }
    }

    fn to_write(&self, page: &mut Page, item: &Item) {
        let ends = |mut fields: Vec<Field>| {
            if self.list.may_be_skipped(item) {
                fields.push(Field::tick_why("left out"));
            }
            fields
        };
        match &item.kind {
            Kind::Do => page.fill(ends(vec![Field::tick("done"), Field::tick("not so")])),
            Kind::Look => page.fill(ends(vec![Field::tick("as expected"), Field::tick("not so")])),
            Kind::Measure(measure) => {
                let mut fields = reading(measure);
                fields.extend([Field::tick("within"), Field::tick("outside")]);
                page.fill(ends(fields));
            }
            Kind::Run(run) => {
                let mut fields = fills(page, *run);
                fields.extend([Field::tick("as allowed"), Field::tick("not so")]);
                page.fill(ends(fields));
            }
            Kind::Confirm(names) => signatures(page, *names, ends(vec![Field::tick("not so")])),
            Kind::Hold(names) => signatures(page, *names, Vec::new()),
            Kind::Photo => {
                page.fill(ends(vec![Field::long("Document or photograph")]));
            }
            Kind::Choice(choices) => {
                page.fill(ends(choices.iter().map(|choice| Field::tick(&choice.answer)).collect()));
            }
        }
    }

    /// 'If too high: look for “a slow valve” with handlamp diagnose.'
    fn fails(&self, said: Words, item: &Item, failure: &Failure) -> Words {
        let when: Vec<String> = failure.on.iter().map(|on| way(item, &on.value)).collect();
        let others = item.fails.iter().any(|f| !f.on.is_empty());
        let when = match when.as_slice() {
            [] if others => "not so in another way".to_owned(),
            [] if matches!(item.kind, Kind::Measure(_)) => "outside".to_owned(),
            [] => "not so".to_owned(),
            some => words::or(some),
        };
        let said = apart(said);
        match &failure.leads {
            Leads::Stop => said.strong(format!("If {when}: stop, keep it locked, call the maker.")),
            Leads::Opens { finding, .. } => {
                let finding = title(self.knowledge, finding.value.as_str());
                said.plain(format!("If {when}: look for “{finding}” with handlamp diagnose."))
            }
        }
    }
}

/// With a blank behind, if anything was said.
fn apart(said: Words) -> Words {
    if said.is_empty() { said } else { said.plain(" ") }
}

/// The words of a way to fail, for after 'if'.
fn way(item: &Item, on: &On) -> String {
    match on {
        On::Below => "too low".to_owned(),
        On::Above => "too high".to_owned(),
        On::Scattered => "scattered".to_owned(),
        On::Chosen(id) => format!("“{}”", answer(item, id)),
    }
}

/// An answer of a choice in a person's words.
fn answer<'i>(item: &'i Item, id: &'i OutcomeId) -> &'i str {
    item.answer(id).trim_end_matches('.')
}

/// 'At most 0.2 g, with the display.'
fn allowed(measure: &Measure) -> String {
    let with = measure.instrument.as_ref().map(|with| format!(", with {with}")).unwrap_or_default();
    format!("{}{with}.", measure.limits.words(measure.unit, measure.expected))
}

/// Room for the reading and its instrument.
fn reading(measure: &Measure) -> Vec<Field> {
    let unit = measure.unit.name;
    let known = measure.expected.then(|| Field::short("Known value", unit));
    let instrument = [Field::short("Instrument no.", ""), Field::short("due", "")];
    let due = instrument.into_iter().filter(|_| measure.due);
    known.into_iter().chain([Field::short("Reading", unit)]).chain(due).collect()
}

/// Says what is allowed, with a cell for each fill; room for the sums.
fn fills(page: &mut Page, run: RunAsk) -> Vec<Field> {
    page.text(Words::new().plain("At least ").strong(words::count(run.at_least, "fill", "fills")).plain(
        format!(
            " in a row. Every fill within what is allowed, the mean within {} of it.",
            words::percent(run.mean_within)
        ),
    ));
    page.fill(["Target", "Allowed either way", "Empty bag"].map(|label| Field::short(label, "g")));
    page.push(Block::Cells { count: run.at_least, unit: "g".to_owned() });
    ["Mean", "Lightest", "Heaviest"].map(|label| Field::short(label, "g")).to_vec()
}

/// A line for each name, the rest behind the last.
fn signatures(page: &mut Page, names: usize, rest: Vec<Field>) {
    let line = || vec![Field::long("Name"), Field::long("Signature"), Field::short("Time", "")];
    for _ in 1..names {
        page.fill(line());
    }
    page.fill(line().into_iter().chain(rest));
}
