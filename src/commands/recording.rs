//! `handlamp lesson record`: from a closed case, a form, a file, or what closed cases add up to. Asks only what is missing.

use std::path::{Path, PathBuf};

use super::asking::{self, clean, who};
use super::context::read_text;
use super::lesson::{LARGEST, line};
use super::lines::Lines;
use super::talk::stored;
use super::telling::Telling;
use super::{CommandError, Context, Outcome, Result, find};
use crate::casebook::lesson::{LessonHead, LessonLine, Lessons, keep};
use crate::casebook::{Case, CaseId, Store};
use crate::diag::harmless;
use crate::ids::LessonId;
use crate::knowledge::{Knowledge, LESSON_KINDS, Lesson, LessonKind, lesson as entry};
use crate::learn::{Proposal, proposals};
use crate::render::{diagnostics, json};
use crate::view::{Page, lessons as view, words};

/// The author of what cases add up to.
const CASES: &str = "closed cases";

/// What is known of a lesson before anybody is asked.
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The case that it comes from; left out: the one that was closed last
    #[arg(long, value_name = "ID", conflicts_with_all = ["file", "learned"])]
    case: Option<String>,
    /// What kind of lesson
    #[arg(long, value_name = "KIND", value_parser = kinds(), conflicts_with_all = ["file", "learned"])]
    kind: Option<String>,
    /// A lesson written as a file
    #[arg(long, value_name = "FILE", conflicts_with = "learned")]
    file: Option<PathBuf>,
    /// An empty form to fill in, with what the case knows; nothing is recorded
    #[arg(long, conflicts_with_all = ["file", "learned"])]
    form: bool,
    /// Put what the closed cases say about numbers of the book into the queue
    #[arg(long)]
    learned: bool,
    /// Who you are: a name or initials
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
}

fn kinds() -> clap::builder::PossibleValuesParser {
    LESSON_KINDS.iter().map(|(word, _)| *word).collect::<Vec<_>>().into()
}

pub(super) fn run(args: &Args, lessons: &Lessons, context: &mut Context) -> Result {
    if args.learned {
        return record_learned(lessons, context);
    }
    if let Some(path) = &args.file {
        let text = read_text(path, LARGEST, |name| {
            CommandError::input(format!("{name} is larger than a lesson can be."))
        })?;
        let lesson = of_file(path, &text, context)?;
        return kept(lessons, &LessonHead { lesson, cases: Vec::new() }, context);
    }
    let knowledge = context.knowledge()?;
    let store = Store::at(&context.store()?);
    let case = case_of(args.case.as_deref(), &store)?;
    let kind = args.kind.as_deref().and_then(|word| LESSON_KINDS.iter().find(|(known, _)| *known == word));
    let kind = kind.map(|(_, kind)| *kind);
    let known = case.as_ref().map(|(_, case)| case);
    if args.form {
        context.write(&form(&knowledge, known, kind, context.today()))?;
        return Ok(Outcome::Done);
    }
    let mut lines = Lines::open(context);
    let index = find::index(context)?;
    let mut telling = Telling { knowledge: &knowledge, index, lines: &mut lines, context };
    let drawn = telling.draw_up(kind, case.as_ref())?;
    let again = like(&drawn, lessons, &knowledge, &mut lines, context)?;
    let by = who(args.by.as_deref(), &mut lines, context)?;
    let cases: Vec<String> = case.iter().map(|(id, _)| id.to_string()).collect();
    let mut lesson = Lesson {
        by,
        recorded: context.today().to_string(),
        cases: (!cases.is_empty()).then_some(1),
        ..drawn
    };
    match again {
        Some(Like::Waiting(id)) => {
            let record = lessons.open(&id).map_err(stored)?;
            let case = cases.first().cloned();
            return line(record, LessonLine::Again { case }, &lesson.by, context);
        }
        Some(Like::Accepted(id)) => {
            lesson.kind = LessonKind::HappenedAgain;
            lesson.changes.clear();
            lesson.again = Some(id);
        }
        None => {}
    }
    kept(lessons, &LessonHead { lesson, cases }, context)
}

/// The case named, or the one closed last, if there is one.
fn case_of(id: Option<&str>, store: &Store) -> Result<Option<(CaseId, Case)>> {
    let id = if let Some(text) = id {
        CaseId::parse(text).map_err(stored)?
    } else {
        match store.latest_closed().map_err(stored)? {
            Some(last) => last.id,
            None => return Ok(None),
        }
    };
    let case = store.read(&id).map_err(stored)?.case;
    Ok(Some((id, case)))
}

/// A lesson that says the same.
enum Like {
    /// It waits in this store.
    Waiting(CaseId),
    /// It is part of the knowledge.
    Accepted(LessonId),
}

/// Looks for a lesson that says the same, and asks whether this is it once more.
fn like(
    drawn: &Lesson,
    lessons: &Lessons,
    knowledge: &Knowledge,
    lines: &mut Lines,
    context: &mut Context,
) -> Result<Option<Like>> {
    let (all, _) = lessons.list().map_err(stored)?;
    let waiting = all.iter().filter(|log| log.standing().is_open());
    let waiting = waiting.map(|log| (log.lesson(), Like::Waiting(log.id.clone())));
    let accepted = knowledge.lessons.values().map(|entry| (&entry.lesson, Like::Accepted(entry.id.clone())));
    let mut best: Option<(f64, &Lesson, Like)> = None;
    for (other, like) in waiting.chain(accepted).filter(|(other, _)| other.replaced_by.is_none()) {
        let close = closeness(drawn, other);
        if close >= 0.8 && best.as_ref().is_none_or(|(most, ..)| close > *most) {
            best = Some((close, other, like));
        }
    }
    let Some((_, other, like)) = best else { return Ok(None) };
    let mut page = Page::default();
    page.text(format!(
        "This looks like a lesson that is there already: {} ({}).",
        other.title, other.recorded
    ));
    page.text("Did it happen again?");
    page.hint("Enter for yes, n for a lesson of its own.");
    context.aside_or_page(&page)?;
    let answer = asking::line(lines, context)?;
    let own = matches!(answer.trim().to_lowercase().as_str(), "n" | "no");
    Ok((!own).then_some(like))
}

/// How near two lessons are: 1 when they change the same or are of one kind about the same entries, else by their titles.
fn closeness(one: &Lesson, other: &Lesson) -> f64 {
    let same_change = !one.changes.is_empty() && one.changes == other.changes;
    let about = one.kind == other.kind && !one.bears_on.is_empty() && one.bears_on == other.bears_on;
    let of_its_own = matches!(one.kind, LessonKind::HappenedAgain | LessonKind::NumberOff);
    if same_change
        || (about && of_its_own && one.changes.len() == other.changes.len() && one.title == other.title)
    {
        return 1.0;
    }
    strsim::normalized_damerau_levenshtein(&one.title.to_lowercase(), &other.title.to_lowercase())
}

/// Keeps a lesson and says what becomes of it.
fn kept(lessons: &Lessons, head: &LessonHead, context: &mut Context) -> Result {
    // What could not be written as a file is refused now, and not when somebody accepts it.
    head.lesson.written().map_err(|e| CommandError::input(words::sentence(&e.to_string())))?;
    let (id, new) = keep(lessons, head, (context.clock)()).map_err(stored)?;
    let log = lessons.read(&id).map_err(stored)?;
    if context.options.json {
        context.json(&json::lesson(&log, &Ok(Vec::new()), &[]))?;
        return Ok(Outcome::Done);
    }
    let mut page = Page::default();
    let said =
        if new { "is kept and waits for a second person." } else { "is there already, word for word." };
    page.text(format!("Lesson {id} {said}"));
    page.hint(format!("handlamp lesson review {id}"));
    context.page(&page)?;
    Ok(Outcome::Done)
}

/// A lesson that a person wrote as a file; every problem of it is drawn.
pub(super) fn of_file(path: &Path, text: &str, context: &Context) -> Result<Lesson> {
    let shown = harmless(&path.display().to_string());
    let (lesson, problems, sources) = entry::read(&shown, text);
    match lesson {
        Some(lesson) if lesson.accepted.is_none() && lesson.read_by.is_none() => Ok(lesson),
        Some(_) => Err(CommandError::input(format!("{shown} is a lesson that was accepted already."))),
        None => Err(CommandError::input("The lesson cannot be used as it is written.")
            .drawn(diagnostics::draw(&problems, &sources, &context.error_look))
            .hint("`handlamp lesson record --form` writes an empty one.".to_owned())),
    }
}

/// A form to fill in, with what a case knows already.
fn form(
    knowledge: &Knowledge,
    case: Option<&Case>,
    kind: Option<LessonKind>,
    today: jiff::civil::Date,
) -> String {
    let all: Vec<&str> = LESSON_KINDS.iter().map(|(word, _)| *word).collect();
    let kind = kind.map_or("happened-again", LessonKind::as_str);
    let machine = case.filter(|case| knowledge.machines.contains_key(&case.machine));
    let machine =
        machine.map_or_else(|| "# machine: \n".to_owned(), |case| format!("machine: {}\n", case.machine));
    let complaint = case.and_then(|case| case.complaint.as_deref()).and_then(clean);
    let complaint = complaint.map_or_else(String::new, |said| format!("# The complaint was: {said}\n"));
    format!(
        "# A lesson: what happened and what it taught. What, not who. Hand it in: handlamp lesson record --file FILE\n\
         {complaint}title: One line that names it\ntold: What happened and what it taught.\nkind: {kind}   # {}\n{machine}\
         # bears_on: [causes/pan-touching]\nby: Your name or initials\nrecorded: {today}\n# changes:\n\
         #   - {{file: causes/pan-touching.yaml, place: machines.single-tray-weigher, to: rare}}\n\
         #   - {{file: symptoms/fills-steadily-light.yaml, place: said, adds: how the caller said it}}\n",
        all.join(" | ")
    )
}

/// The closed cases of the store that this knowledge fits, in the order in which they were closed, with their ids.
fn closed(knowledge: &Knowledge, context: &Context) -> Result<(Vec<String>, Vec<Case>)> {
    let store = Store::at(&context.store()?);
    let (mut all, unreadable) = store.all(context.cores()).map_err(stored)?;
    for error in &unreadable {
        context.remark(&words::sentence(&error.to_string()))?;
    }
    all.retain(|recorded| recorded.case.closed.is_some());
    all.sort_by(|a, b| (&a.last, &a.id).cmp(&(&b.last, &b.id)));
    let fitting = all.iter().filter_map(|recorded| {
        Some((recorded.id.to_string(), crate::casebook::fit(&recorded.case, knowledge).ok()?.0))
    });
    Ok(fitting.unzip())
}

fn proposed(context: &Context) -> Result<(Knowledge, Vec<String>, Vec<Proposal>)> {
    let texts = context.texts();
    let knowledge = context.read(&texts)?;
    let (ids, cases) = closed(&knowledge, context)?;
    let all: Vec<&Case> = cases.iter().collect();
    let proposals = proposals(&knowledge, &texts, &all, context.cores())
        .map_err(|error| CommandError::input(words::sentence(&error.to_string())))?;
    Ok((knowledge, ids, proposals))
}

/// What closed cases say about numbers of the book.
pub(super) fn learned(context: &mut Context) -> Result {
    let (knowledge, ids, proposals) = proposed(context)?;
    if context.options.json {
        context.json(&json::proposals(&proposals, &ids))?;
    } else {
        context.page(&view::proposals(&knowledge, &proposals, ids.len()))?;
    }
    Ok(Outcome::Done)
}

/// Puts each proposal into the queue, once.
fn record_learned(lessons: &Lessons, context: &mut Context) -> Result {
    let (knowledge, ids, proposals) = proposed(context)?;
    let (all, _) = lessons.list().map_err(stored)?;
    let waiting = |proposal: &Proposal| {
        all.iter().any(|log| log.standing().is_open() && log.lesson().changes == [proposal.change.clone()])
    };
    let mut new = 0;
    for proposal in proposals.iter().filter(|proposal| !waiting(proposal)) {
        let lesson = as_lesson(&knowledge, proposal, context.today());
        let cases = proposal.cases.iter().map(|&place| ids[place].clone()).collect();
        let (_, fresh) = keep(lessons, &LessonHead { lesson, cases }, (context.clock)()).map_err(stored)?;
        new += usize::from(fresh);
    }
    let mut page = Page::default();
    page.text(format!(
        "{} into the queue.",
        words::sentence_start(&words::count(new, "proposal went", "proposals went"))
    ));
    page.hint("handlamp lesson list");
    context.aside_or_page(&page)?;
    if context.options.json {
        context.json(&json::proposals(&proposals, &ids))?;
    }
    Ok(Outcome::Done)
}

fn as_lesson(knowledge: &Knowledge, proposal: &Proposal, today: jiff::civil::Date) -> Lesson {
    let (tally, of) = (&proposal.tally, proposal.cases.len());
    let (low, high) = tally.interval;
    let figure = |p: f64| {
        if p >= 0.1 {
            words::percent(p)
        } else {
            format!("{} in 1000", words::rounded(p * 1000.0, Some(0.1)))
        }
    };
    let against = if tally.contradicts() { " The cases contradict the author." } else { "" };
    let id = proposal.entry.split_once('/').map_or(proposal.entry.as_str(), |(_, id)| id);
    Lesson {
        title: format!("{}: {}", id.replace('-', " "), view::meaning(knowledge, proposal).replace(':', "")),
        told: format!(
            "The author says {}. With {} it is {}, between {} and {}.{against}",
            figure(tally.author),
            words::count(of, "case", "cases"),
            figure(tally.learned),
            figure(low),
            figure(high)
        ),
        kind: LessonKind::NumberOff,
        machine: Some(proposal.machine.clone()),
        bears_on: vec![proposal.entry.clone()],
        again: None,
        by: CASES.to_owned(),
        recorded: today.to_string(),
        cases: Some(of as u64),
        changes: vec![proposal.change.clone()],
        read_by: None,
        accepted: None,
        replaced_by: None,
    }
}
