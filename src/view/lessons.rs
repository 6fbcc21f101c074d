//! Lessons: the queue, one of them with what it would change, and those that are part of the knowledge.

use super::words::{self, count};
use super::{Block, Page, Table, Words};
use crate::casebook::lesson::{LessonLine, LessonLog, Standing};
use crate::diag::Diagnostic;
use crate::ids::MachineId;
use crate::knowledge::diff::{Hunk, differing};
use crate::knowledge::edit::Place;
use crate::knowledge::{Change, Knowledge, Lesson, LessonKind};
use crate::learn::{Meaning, Proposal};

/// Characters shown around a change inside a long line.
const AROUND: usize = 30;
/// Lines of a new file shown at most.
const MOST_LINES: usize = 60;
/// Lessons named in a walk at most.
const MOST_BEARING: usize = 3;
/// Cases named at most.
const MOST_CASES: usize = 12;

/// A lesson that waits, with what it would do.
#[derive(Debug, Clone)]
pub struct Queued {
    /// The lesson with what became of it.
    pub log: LessonLog,
    /// The share of what is believed that it would move, where that could be worked out.
    pub effect: Option<f64>,
}

/// Sorts a queue: safety first, then by how much diagnosis would change, then by id.
pub fn in_order(queue: &mut [Queued]) {
    queue.sort_by(|a, b| {
        let safety = |q: &Queued| q.log.lesson().kind != LessonKind::Safety;
        let effect = |q: &Queued| q.effect.unwrap_or(0.0);
        (safety(a).cmp(&safety(b)))
            .then(effect(b).total_cmp(&effect(a)))
            .then_with(|| a.log.id.cmp(&b.log.id))
    });
}

/// The queue, and how many were decided.
pub fn queue(queue: &[Queued], decided: &[&LessonLog], all: bool) -> Page {
    let mut page = Page::titled("Lessons");
    if queue.is_empty() {
        page.text("No lesson is waiting.");
    }
    page.bullets(queue.iter().map(line));
    if all && !decided.is_empty() {
        page.section(
            "Decided",
            decided.iter().map(|log| {
                let lesson = log.lesson();
                Words::new().strong(&lesson.title).plain(format!("\n{}, {}", log.id, log.standing().as_str()))
            }),
        );
    } else if !decided.is_empty() {
        let turned_down = decided.iter().filter(|log| log.standing() == Standing::TurnedDown).count();
        page.text(format!(
            "Decided: {} accepted, {turned_down} turned down. --all names them.",
            decided.len() - turned_down
        ));
    }
    match queue.first() {
        Some(first) => page.hint(format!("handlamp lesson review {}", first.log.id)),
        None => page.hint("handlamp lesson record"),
    }
    page
}

fn line(queued: &Queued) -> Words {
    let lesson = queued.log.lesson();
    let mut words = Words::new().strong(&lesson.title).plain(format!(
        "\n{}; {}, {}",
        words::sentence_start(&lesson.kind.to_string()),
        lesson.by,
        lesson.recorded
    ));
    if queued.log.standing() == Standing::AskedBack {
        words = words.plain("; asked back");
    }
    if queued.log.again() > 0 {
        words = words.plain(format!("; seen again {}", times(queued.log.again())));
    }
    if let Some(effect) = queued.effect.filter(|effect| *effect > 0.0) {
        words = words.plain(format!("; moves {} of what is believed", words::percent(effect)));
    }
    words.plain(format!("\n{}", queued.log.id))
}

fn times(n: usize) -> String {
    match n {
        1 => "once".to_owned(),
        2 => "twice".to_owned(),
        n => format!("{n} times"),
    }
}

/// What a lesson would change in one file.
#[derive(Debug, Clone)]
pub struct Changed {
    /// The change.
    pub change: Change,
    /// What it makes of the file.
    pub hunk: Hunk,
}

/// One lesson for its reviewer: what was told, the change, and what vetting says of it.
pub fn review(log: &LessonLog, changes: &Result<Vec<Changed>, String>, vetting: &[String]) -> Page {
    let lesson = log.lesson();
    let mut page = Page::titled(&lesson.title);
    if lesson.kind == LessonKind::Safety {
        page.push(Block::Banner("A safety remark: decide this one first.".to_owned()));
    }
    told(&mut page, lesson);
    page.text(format!("Lesson {}, {}.", log.id, log.standing().as_str()));
    for kept in &log.lines {
        let by = kept.by.as_deref().unwrap_or("somebody");
        match &kept.line {
            LessonLine::AskedBack { question } => page.quote(format!("{by} asks"), question),
            LessonLine::Answered { text } => page.quote(by, text),
            LessonLine::TurnedDown { because } => page.quote(format!("{by} turned it down"), because),
            LessonLine::Edited { .. } => page.text(format!("{by} worked it over.")),
            LessonLine::Again { .. } | LessonLine::Accepted => {}
        }
    }
    if log.again() > 0 {
        page.text(format!("Seen again {} since.", times(log.again())));
    }
    if !log.head.cases.is_empty() {
        page.text(format!("Cases here: {}.", named(&log.head.cases)));
    }
    match changes {
        Err(error) => page.text(Words::new().strong("It cannot be made as it stands: ").plain(error)),
        Ok(changes) if changes.is_empty() => {
            page.text("It changes no entry; accepted, it is found by its words.");
        }
        Ok(changes) => {
            page.heading("What it changes");
            changes.iter().for_each(|changed| diff(&mut page, changed));
        }
    }
    if !lesson.changes.is_empty() {
        page.heading("Vetting");
        if vetting.is_empty() {
            page.text("Nothing new.");
        }
        page.bullets(vetting.iter().map(|problem| Words::from(problem.as_str())));
    }
    page
}

fn named(cases: &[String]) -> String {
    let shown: Vec<&str> = cases.iter().take(MOST_CASES).map(String::as_str).collect();
    let more = cases.len().saturating_sub(MOST_CASES);
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    format!("{}{more}", shown.join(", "))
}

fn told(page: &mut Page, lesson: &Lesson) {
    page.text(format!("{}.", words::sentence_start(&lesson.kind.to_string())));
    page.quote(format!("{}, {}", lesson.by, lesson.recorded), &lesson.told);
    if let Some(again) = &lesson.again {
        page.text(format!("It happened again: lesson {again}."));
    }
    if !lesson.bears_on.is_empty() {
        page.text(format!("About: {}.", lesson.bears_on.join(", ")));
    }
}

/// The lines that go and those that come.
fn diff(page: &mut Page, changed: &Changed) {
    let Hunk { line, gone, new, .. } = &changed.hunk;
    page.subheading(format!("{}, line {line}", changed.change.file()));
    if let ([old], [new]) = (&gone[..], &new[..]) {
        let (old, new) = differing(old, new, AROUND);
        page.text(format!("− {}", old.trim()));
        page.text(format!("+ {}", new.trim()));
        return;
    }
    let marked = |mark: char, lines: &[String]| {
        lines.iter().take(MOST_LINES).map(move |line| format!("{mark} {line}")).collect::<Vec<_>>()
    };
    page.push(Block::Lines([marked('−', gone), marked('+', new)].concat()));
    if new.len() > MOST_LINES {
        page.text(format!("And {}.", count(new.len() - MOST_LINES, "more line", "more lines")));
    }
    page.text("Lines too wide for the screen are cut; --as-file has all of it.");
}

/// A lesson that is part of the knowledge.
pub fn accepted(page: &mut Page, lesson: &Lesson) {
    if let Some(heir) = &lesson.replaced_by {
        page.text(Words::new().strong("Replaced").plain(format!(" by lesson {heir}.")));
    }
    told(page, lesson);
    if let (Some(by), Some(day)) = (&lesson.read_by, &lesson.accepted) {
        page.text(format!("Accepted by {by}, {day}."));
    }
    let one = |change: &Change| match change {
        Change::Set { file, place, was, to } => {
            let was = was.as_ref().map_or_else(|| "not written".to_owned(), ToString::to_string);
            format!("{file}: {place}, {was} → {to}")
        }
        Change::Add { file, place, adds } => format!("{file}: {place}, and “{adds}”"),
        Change::File { file, .. } => format!("{file}: new"),
    };
    page.section("What it changed", lesson.changes.iter().map(one));
}

/// Lessons of the knowledge that bear on any of these entries, on this machine: safety first, three at most. A remark, and no
/// evidence; the words of whoever wrote one stand on its own page.
pub fn bearing(knowledge: &Knowledge, machine: &MachineId, about: &[String]) -> Page {
    let mut page = Page::default();
    let bears = |lesson: &Lesson| {
        let here = lesson.machine.as_ref().is_none_or(|own| own == machine);
        here && lesson.replaced_by.is_none() && lesson.bears_on.iter().any(|name| about.contains(name))
    };
    let mut lessons: Vec<_> = knowledge.lessons.values().filter(|entry| bears(&entry.lesson)).collect();
    lessons.sort_by_key(|entry| (entry.lesson.kind, entry.id.clone()));
    for entry in lessons.into_iter().take(MOST_BEARING) {
        let kind = words::sentence_start(&entry.lesson.kind.to_string());
        page.text(
            Words::new()
                .plain(format!("Lesson. {kind}: "))
                .strong(&entry.lesson.title)
                .plain(format!(" (show {})", entry.id)),
        );
    }
    page
}

/// What was found of problems, each in one sentence.
pub fn sentences(problems: &[Diagnostic], sources: &crate::diag::Sources) -> Vec<String> {
    problems.iter().map(|problem| problem.sentence(sources)).collect()
}

/// What closed cases say about numbers of the book.
pub fn proposals(knowledge: &Knowledge, proposals: &[Proposal], cases: usize) -> Page {
    let mut page = Page::titled("What closed cases say");
    if proposals.is_empty() {
        page.text(format!(
            "{} kept here ask for no other number yet.",
            words::sentence_start(&count(cases, "closed case", "closed cases"))
        ));
        return page;
    }
    let contradict = proposals.iter().filter(|proposal| proposal.tally.contradicts()).count();
    page.text(format!(
        "From {}: {} would be other than the author wrote, and {contradict} of them the cases contradict.",
        count(cases, "closed case", "closed cases"),
        count(proposals.len(), "number", "numbers")
    ));
    for proposal in proposals {
        let title = title(knowledge, proposal);
        page.subheading(title);
        let tally = &proposal.tally;
        let unit = |p: f64| match proposal.what {
            Meaning::Rate => format!("{} in 1000", words::rounded(p * 1000.0, Some(0.1))),
            _ => words::percent(p),
        };
        page.text(format!("{}.", words::sentence_start(&meaning(knowledge, proposal))));
        let mut table = Table::new(&["author", "cases say", "between"]);
        table.row([
            unit(tally.author),
            unit(tally.learned),
            format!("{} and {}", unit(tally.interval.0), unit(tally.interval.1)),
        ]);
        page.push(Block::Table(table));
        if tally.contradicts() {
            page.text(Words::new().strong("The cases contradict the author here."));
        }
        page.text(format!("Rests on {}.", count(proposal.cases.len(), "case", "cases")));
    }
    page.hint("handlamp lesson record --learned puts them into the queue.");
    page
}

fn title<'k>(knowledge: &'k Knowledge, proposal: &'k Proposal) -> &'k str {
    let id = proposal.entry.split_once('/').map_or("", |(_, id)| id);
    let found = knowledge.causes.get(id).map(|e| &e.head);
    let found = found.or_else(|| knowledge.findings.get(id).map(|e| &e.head));
    let found = found.or_else(|| knowledge.checks.get(id).map(|e| &e.head));
    found.map_or(id, |head| head.title.as_str())
}

/// What the number at a place of an entry is, in words.
pub fn place(knowledge: &Knowledge, place: &Place) -> String {
    let text = place.to_string();
    let parts: Vec<&str> = text.split('.').collect();
    let machine =
        |id: &str| knowledge.machines.get(id).map_or_else(|| id.to_owned(), |m| m.head.title.clone());
    let finding =
        |id: &str| knowledge.findings.get(id).map_or_else(|| id.to_owned(), |f| f.head.title.clone());
    let asked =
        |id: &str| knowledge.circumstances.get(id).map_or_else(|| id.to_owned(), |c| c.head.title.clone());
    match parts[..] {
        ["machines", id] => format!("how often it is behind a call, {}", machine(id)),
        ["after", id] => format!("how often this brings it: {}", asked(id)),
        ["leads_to", id, "strength", ..] => format!("how often it brings about: {}", finding(id)),
        ["outcomes", outcome, "means", id, "hit"] => {
            format!("answer '{outcome}' when it is so: {}", finding(id))
        }
        ["outcomes", outcome, "means", id, "false_alarm"] => {
            format!("answer '{outcome}' when it is not so: {}", finding(id))
        }
        ["works"] => "how often it works".to_owned(),
        ["minutes"] => "minutes".to_owned(),
        ["usual"] => "how often it is so before a call".to_owned(),
        ["leak"] => "how often it is there by itself".to_owned(),
        _ => text,
    }
}

/// What a proposal is about, as the beginning of a sentence.
pub fn meaning(knowledge: &Knowledge, proposal: &Proposal) -> String {
    let finding = |id: &str| {
        knowledge.findings.get(id).map_or_else(|| id.to_owned(), |finding| finding.head.title.clone())
    };
    let machine = knowledge
        .machines
        .get(&proposal.machine)
        .map_or(proposal.machine.as_str(), |m| m.head.title.as_str());
    match &proposal.what {
        Meaning::Rate => format!("how often it is behind a call; {machine}"),
        Meaning::Link(id) => format!("how often it brings about: {}", finding(id)),
        Meaning::Hit(outcome, id) => {
            format!("how often the answer is '{outcome}' when it is so: {}", finding(id))
        }
        Meaning::Alarm(outcome, id) => {
            format!("how often the answer is '{outcome}' when it is not so: {}", finding(id))
        }
    }
}
