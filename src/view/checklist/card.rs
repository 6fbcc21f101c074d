//! One item while a list is carried out, and everything that is asked around it.

use super::super::asking::MORE;
use super::super::words::{self, sentence_start};
use super::super::{Block, Lockout, Page, Words};
use super::{items_of, standing, steps};
use crate::casebook::sheet::Standing;
use crate::checklist::{Checklist, Item, Kind};
use crate::ids::ItemId;
use crate::knowledge::{Knowledge, Machine};
use crate::safety::{Exposure, Isolation};
use crate::walk::checklist::{
    ListAsk, ListState, OpenPoint, WORDS, Way, judged_then, open_case, stops, ways,
};

/// What is asked now.
pub fn question(knowledge: &Knowledge, list: &Checklist, state: &ListState) -> Page {
    let mut page = Page::default();
    page.push(Block::NoticeAround);
    let machine = knowledge.machines.get(&state.sheet.head.machine);
    if let Some((item, machine)) = state.ask.item().and_then(|id| list.item(id)).zip(machine) {
        at_item(&mut page, knowledge, list, state, item, machine);
        return page;
    }
    match &state.ask {
        ListAsk::Machine(machines) => {
            page.which_machine(knowledge, machines);
        }
        ListAsk::Serial => {
            page.text(Words::new().strong("Its serial number, from the plate?"));
            page.hint("? if there is none to read.");
        }
        ListAsk::Fitted(options) => {
            page.text(Words::new().strong("Which of these are fitted?"));
            let title = |id| machine.and_then(|m| m.options.get(id)).map_or("", String::as_str);
            page.push(Block::Numbered(options.iter().map(|id| sentence_start(title(id)).into()).collect()));
            page.hint(match options.len() {
                1 => "Type 1 if it is fitted, 0 if not, ? if nobody knows: then nothing is left out.",
                _ => "The numbers, like 1,2. Type 0 for none, ? if nobody knows: then nothing is left out.",
            });
        }
        ListAsk::Person => {
            page.text(Words::new().strong("Who carries this out from here on?"));
            page.text("Locks, and the right to lock out, count for this person today and for nobody else.");
            page.hint("Type the name.");
        }
        ListAsk::Stopped(stopped) => {
            page.text(Words::new().strong(format!(
                "The work on this machine stands still: {} failed in the list '{}', sheet {}.",
                name_of(&stopped.item),
                stopped.list.as_str().replace('-', " "),
                stopped.sheet
            )));
            page.text("Keep it locked. Nobody goes round it by another list. It goes on there, once somebody has put it right.");
            if state.sheet.head.serial.is_none() {
                page.text("Is this another machine? Then begin again with its serial number.");
            }
            page.hint(format!("Type leave, then handlamp checklist continue {}.", stopped.sheet));
        }
        ListAsk::Before(missing) => {
            let names: Vec<String> = missing.iter().map(|list| list.as_str().replace('-', " ")).collect();
            page.text(
                Words::new()
                    .plain("These lists come before this one, and no signed sheet of them is kept here for this machine: ")
                    .strong(words::and(&names))
                    .plain("."),
            );
            page.text("Guards and stops count as proved only where a signed list says so. Where none does, nobody reaches in.");
            page.text(Words::new().strong("Who decides to go ahead without them, and why?"));
            page.hint("Like: Ann Reed, signed on paper. 'leave', and do those lists first.");
        }
        ListAsk::Unconnected => {
            page.text("This list goes behind guards that nobody has proved yet. That is safe only while nothing is connected.");
            page.text(Words::new().strong(
                "Mains cable and air hose are apart from the machine, and no neighbour can move it?",
            ));
            page.hint("Look, then type y or n.");
        }
        ListAsk::Correct(items) => {
            page.text(Words::new().strong("Which answer was wrong?"));
            let line = |id: &ItemId| {
                let name = list.item(id).map_or_else(String::new, Item::name);
                Words::from(format!("{name}: {}", standing(state.sheet.standing(id))))
            };
            page.push(Block::Numbered(items.iter().map(line).collect()));
            page.hint("Type its number, or 'back'. The first answer stays beside the new one.");
        }
        ListAsk::End => end(&mut page, list, state),
        _ => {}
    }
    page
}

fn at_item(
    page: &mut Page,
    knowledge: &Knowledge,
    list: &Checklist,
    state: &ListState,
    item: &Item,
    machine: &Machine,
) {
    match &state.ask {
        ListAsk::Item(_) => {
            head(page, knowledge, list, state, item, machine);
            whole(page, knowledge, list, state, item, machine);
        }
        ListAsk::Target(_) => {
            head(page, knowledge, list, state, item, machine);
            page.text(
                Words::new().strong("What should one fill weigh, net, and what is allowed either way?"),
            );
            page.hint(format!(
                "Like 250 g 2 g. The weight alone takes this machine's usual {}.",
                words::size(machine.tolerance, crate::units::Kind::Mass.base(), None)
            ));
        }
        ListAsk::Authority(_) => {
            head(page, knowledge, list, state, item, machine);
            page.heading("Before anybody opens a guard");
            page.text(Words::new().strong(
                "Has the person who will reach in this machine's written isolation procedure, and may they lock it out?",
            ));
            page.text("This list prompts; the site's procedure decides.");
            page.hint("y or n. Ask that person: nobody answers for another.");
        }
        ListAsk::Locked(_) => {
            head(page, knowledge, list, state, item, machine);
            page.lockout(machine, &machine.exposures(&item.work));
            page.text(Words::new().strong("Locked, tried, and nothing moves? Whose key?"));
            page.hint("Type whose key it is, or n if it is not locked.");
        }
        ListAsk::StillLocked(_) => {
            page.text(Words::from(format!("Next: {}.", item.name())));
            let key = state.lockout.key.as_deref().unwrap_or("nobody");
            page.text(Words::new().strong(Isolation::STILL_LOCKED).plain(format!(" Last said: {key}.")));
            page.hint("Type the same name, or n if the lock is off. Another name begins the lockout anew.");
        }
        ListAsk::Qualified(_) => {
            head(page, knowledge, list, state, item, machine);
            page.text(Words::new().strong(
                "A qualified electrical person does this one, under local rules, and nobody else. Who is it?",
            ));
            page.hint("Type the name, or n if nobody is here.");
        }
        ask => around(page, state, item, ask),
    }
}

/// What is asked beside an item whose card was just read.
fn around(page: &mut Page, state: &ListState, item: &Item, ask: &ListAsk) {
    let strong = |page: &mut Page, text: String, hint: &str| {
        page.text(Words::new().strong(text));
        page.hint(hint);
    };
    let name = item.name();
    match ask {
        ListAsk::Instrument { .. } => {
            let with = item.instrument().unwrap_or("instrument");
            strong(
                page,
                format!("Number of the {with}, and the day its check is due?"),
                "Like TW-7 2027-03-01.",
            );
        }
        ListAsk::Found(_) => strong(page, format!("{name}: what did you find?"), "A few words."),
        ListAsk::Names { so_far, .. } => {
            let known = words::and(so_far);
            strong(page, format!("{known} signed. Who else?"), "Another person's name.");
        }
        ListAsk::Failed(_) => failed(page, state, item),
        ListAsk::PutRight(_) => strong(
            page,
            format!("{name} stopped the work. Who put it right, and what was done?"),
            "Like Ann Reed, switch renewed by the maker. 'back' returns. Then it is done again.",
        ),
        ListAsk::DeviationName(_) => {
            page.text("A deviation stays on the report as an open point until it is put right.");
            strong(
                page,
                format!("{name}: who lets the work go on all the same?"),
                "The name of somebody who may. 'back' returns.",
            );
        }
        ListAsk::DeviationReason { name: who, .. } => {
            strong(page, format!("Why does {who} let it go on?"), "A few words.");
        }
        ListAsk::SkipReason(_) => {
            strong(page, format!("{name}: why is it left out?"), "A few words. 'back' returns.");
        }
        ListAsk::Note(_) => strong(page, format!("{name}: the remark?"), "'back' returns."),
        ListAsk::Owner(id) => {
            let why = state.sheet.of(id).rev().find_map(|kept| reason(&kept.line)).unwrap_or_default();
            page.text(format!("Open point: {name}. {why}"));
            strong(page, "Who looks after it, and by when?".to_owned(), "Like Ann Reed, 2026-12-05.");
        }
        _ => {}
    }
}

fn reason(line: &crate::casebook::sheet::Line) -> Option<String> {
    use crate::casebook::sheet::Line;
    match line {
        Line::Deviation { name, reason, .. } => Some(format!("{name}: {reason}.")),
        Line::Skipped { reason, .. } => Some(format!("Left out: {reason}.")),
        _ => None,
    }
}

/// Its place in the list, its name, where, how long, with what.
fn head(
    page: &mut Page,
    knowledge: &Knowledge,
    list: &Checklist,
    state: &ListState,
    item: &Item,
    machine: &Machine,
) {
    let items = items_of(knowledge, list, &state.sheet);
    let place = items.iter().position(|(_, i)| i.id.value == item.id.value);
    if let Some(place) = place {
        let section = items[place].0;
        page.text(format!("{section}, {} of {}", place + 1, items.len()));
    }
    page.heading(item.name());
    let mut line = String::new();
    if let Some(place) = machine.places.get(&item.work.place.value) {
        line = format!("At {}. ", place.title);
    }
    line += &format!("{}.", sentence_start(&words::minutes(item.work.minutes)));
    if !item.needs.is_empty() {
        line += &format!(" Needs: {}.", words::and(&item.needs));
    }
    page.text(line);
}

/// Cautions, what to do, what to expect, why, and the question.
fn whole(
    page: &mut Page,
    knowledge: &Knowledge,
    list: &Checklist,
    state: &ListState,
    item: &Item,
    machine: &Machine,
) {
    let live = machine.exposures(&item.work).has(Exposure::Energised);
    let lockout = match (item.locks_out, state.lockout.key.is_some() && !live) {
        (true, _) => Lockout::UpToTheWork,
        (false, true) => Lockout::Answered,
        (false, false) => Lockout::InFull,
    };
    match steps(knowledge, list, item, machine) {
        Ok(step) => {
            let step = step.with_read(&state.read);
            let brief = step.cautions().iter().any(|caution| caution.brief);
            page.step(step, lockout);
            if brief {
                page.text("Cautions in brief, as you have read them: 'cautions' shows them in full.");
            }
        }
        Err(missing) => page.text(words::sentence(&format!("The steps are not shown: {missing}"))),
    }
    if item.locks_out {
        page.text(MORE);
    }
    if item.work.steps.len() > 1
        && let Some(expect) = &item.expect
    {
        page.text(Words::new().strong("Good is: ").plain(words::clause_stop(expect)));
    }
    if let Some(why) = &item.why {
        page.text(Words::new().strong("Why: ").plain(words::clause_stop(why)));
    }
    if item.open_points {
        points(page, &state.elsewhere);
    }
    if let Some(other) = &item.list {
        let done = if state.signed.contains(&other.value) {
            "A signed sheet of it is kept here."
        } else {
            "No signed sheet of it is kept here."
        };
        page.text(format!("This is a list of its own: handlamp checklist run {}. {done}", other.value));
    }
    asked(page, item, state);
}

fn asked(page: &mut Page, item: &Item, state: &ListState) {
    match &item.kind {
        Kind::Do => {
            page.text(Words::new().strong("Done, and as expected?"));
            page.hint("y, or n and what was found. A figure to keep goes behind the y, like y: 13:58.");
        }
        Kind::Look => {
            page.text(Words::new().strong("Is it as expected?"));
            page.hint("y, or n and what was found.");
        }
        Kind::Measure(measure) => {
            let wanted = measure.limits.words(measure.unit, measure.expected);
            page.text(Words::new().strong("Wanted: ").plain(format!("{wanted}.")));
            if let Some(known) = item.instrument().and_then(|name| state.instruments.get(name)) {
                let due = known.due.map_or_else(String::new, |due| format!(", due {due}"));
                page.text(format!("Read with {}{due}, as before.", known.name));
            }
            let unit = measure.unit.name;
            page.text(Words::new().strong(if measure.expected {
                "What does it read, and what is the known value?"
            } else {
                "What does it read?"
            }));
            page.hint(if measure.expected {
                format!("Both in {unit}, the reading first, like 199.9 200.")
            } else {
                format!("A figure in {unit}.")
            });
        }
        Kind::Run(ask) => {
            if let Some((target, tolerance, unit)) = &state.target {
                page.text(format!("Target {target} {unit}, allowed {tolerance} {unit} either way."));
            }
            page.text(Words::new().strong(format!("The net weights, in order: {} or more.", ask.at_least)));
            page.hint("As many on a line as you like; an empty line ends the run.");
        }
        Kind::Confirm(names) | Kind::Hold(names) => {
            if matches!(item.kind, Kind::Hold(_)) {
                page.text(Words::new().strong("HOLD. Nobody goes past this without a name."));
            }
            page.text(Words::new().strong(match (names, item.locks_out) {
                (0 | 1, true) => "Locked, tried, and nothing moves? Whose key?".to_owned(),
                (0 | 1, false) => "Who confirms it?".to_owned(),
                (more, _) => format!("{more} different people confirm it by name. Who?"),
            }));
            page.hint("Type the name, after a colon what was seen; n if it is not so.");
        }
        Kind::Photo => {
            page.text(Words::new().strong("Its number, or where it is filed?"));
            page.hint(if item.sets_up {
                "'setup' leads you through it and enters its sheet here. n if there is none."
            } else {
                "n if there is none."
            });
        }
        Kind::Choice(choices) => {
            page.push(Block::Numbered(choices.iter().map(|c| words::sentence(&c.answer).into()).collect()));
            page.hint(format!("Type a number from 1 to {}.", choices.len()));
        }
    }
}

/// What is done about an item that failed.
fn failed(page: &mut Page, state: &ListState, item: &Item) {
    let Some(judged) = judged_then(item, &state.sheet, state.today) else { return };
    page.text(Words::new().strong(format!("{}: not as wanted. It stops here.", item.name())));
    let all = ways(item, &judged);
    let stopping = stops(item, &judged);
    if stopping {
        page.text(Words::new().strong(
            "Stop. Lock it, keep it locked, and call the maker. Nobody works round this, and nobody signs it away.",
        ));
    }
    let line = |way: &Way| match way {
        Way::Again if stopping => "It was put right: by whom and how is asked, then it is done again.".into(),
        Way::Again => Words::from("Do it again: it was put right, or misread."),
        Way::Note => "Write a remark down; it stays as it is.".into(),
        Way::Diagnose => match open_case(&state.sheet, &item.id.value) {
            Some(case) => format!("Go on with the diagnosis, case {case}.").into(),
            None => "Find the cause: a diagnosis that begins with the readings taken so far.".into(),
        },
        Way::Deviation => "Go on all the same: somebody who may lets it, by name and reason.".into(),
    };
    page.push(Block::Numbered(all.iter().map(line).collect()));
    page.hint(format!("Type a number from 1 to {}, or 'leave': it stays as it is.", all.len()));
}

fn name_of(item: &ItemId) -> String {
    item.as_str().replace('-', " ")
}

/// Open points of other sheets of this machine.
fn points(page: &mut Page, points: &[OpenPoint]) {
    let line = |point: &OpenPoint| {
        let owner = point
            .owner
            .as_ref()
            .map_or_else(|| "nobody looks after it".to_owned(), |(name, due)| format!("{name} by {due}"));
        format!("{}, {}: {}. {}.", point.list, name_of(&point.item), point.reason, sentence_start(&owner))
    };
    if points.is_empty() {
        page.text("No open point stands in the other sheets of this machine.");
    } else {
        page.section("Open points in the other sheets of this machine", points.iter().map(line));
    }
}

fn end(page: &mut Page, list: &Checklist, state: &ListState) {
    let standings = list.items().map(|(_, item)| state.sheet.standing(&item.id.value));
    let standings: Vec<Standing> = standings.collect();
    let how_many = |wanted: Standing| standings.iter().filter(|s| **s == wanted).count();
    let mut counted = vec![format!("{} good", how_many(Standing::Good))];
    for (wanted, word) in [(Standing::Deviated, "under a deviation"), (Standing::Skipped, "left out")] {
        if how_many(wanted) > 0 {
            counted.push(format!("{} {word}", how_many(wanted)));
        }
    }
    page.heading("Everything is answered");
    page.text(format!("{}.", sentence_start(&words::and(&counted))));
    let items = list.items().map(|(_, item)| item);
    for (item, case) in items.filter_map(|item| Some((item, open_case(&state.sheet, &item.id.value)?))) {
        page.text(format!("{}: its diagnosis, case {case}, is still open.", item.name()));
    }
    page.text(Words::new().strong("Who signs the whole list?"));
    page.hint("Type the name, or 'correct' to put an answer right first.");
}

/// Why the item is asked.
pub fn why(list: &Checklist, state: &ListState) -> Page {
    let mut page = Page::default();
    let why = state.ask.item().and_then(|id| list.item(id)).and_then(|item| item.why.as_deref());
    page.text(words::clause_stop(why.unwrap_or("It is part of this list")));
    page
}

/// The list with what is done.
pub fn overview(knowledge: &Knowledge, list: &Checklist, state: &ListState) -> Page {
    let mut page = Page::titled(&list.title);
    page.text(&*list.about);
    let mut section = "";
    let mut lines: Vec<Words> = Vec::new();
    for (title, item) in items_of(knowledge, list, &state.sheet) {
        if title != section {
            page.bullets(std::mem::take(&mut lines));
            page.heading(title);
            section = title;
        }
        let stands = state.sheet.standing(&item.id.value);
        let line = Words::new().plain(format!("{}: ", item.name()));
        lines.push(if stands == Standing::Good {
            line.plain(standing(stands))
        } else {
            line.strong(standing(stands))
        });
    }
    page.bullets(lines);
    page
}

/// What can be typed.
pub fn help() -> Page {
    let mut page = Page::default();
    page.bullets(WORDS.iter().map(|(word, what)| Words::new().strong(*word).plain(format!("  {what}"))));
    page
}
