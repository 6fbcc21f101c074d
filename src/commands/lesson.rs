//! `handlamp lesson`: what visits taught, on its way into the knowledge.

use std::path::PathBuf;

use super::asking::{self, clean};
use super::context::read_text;
use super::lines::Lines;
use super::talk::stored;
use super::{CommandError, Context, Outcome, Result, accepting, logs, recording};
use crate::casebook::lesson::{LessonLine, LessonLog, LessonRecord, Lessons, Standing};
use crate::casebook::{CaseId, StoreError};
use crate::knowledge::diff::hunk;
use crate::knowledge::{Knowledge, Lesson, Texts, lesson as entry, load};
use crate::rehearse::effect;
use crate::render::json;
use crate::vet;
use crate::view::lessons::{self as view, Changed, Queued};
use crate::view::{Page, words};

/// Largest file of a lesson, in bytes.
pub(super) const LARGEST: u64 = 1 << 18;

/// Lessons: record, list, review, accept, turn-down
#[derive(Debug, clap::Args)]
#[command(before_help = "\
Examples:
  handlamp lesson record
  handlamp lesson list
  handlamp lesson review flap-leaves-a-gap-3f9a21
  handlamp lesson accept flap-leaves-a-gap-3f9a21 --by 'M. K.' --knowledge our-knowledge
")]
pub(super) struct Args {
    #[command(subcommand)]
    what: What,
}

#[derive(Debug, clap::Subcommand)]
enum What {
    /// Write down what a visit taught, in under two minutes
    #[command(
        before_help = "Examples:\n  handlamp lesson record\n  handlamp lesson record --case 2026-11-25-001 --by 'R. T.'\n  handlamp lesson record --form > lesson.yaml\n  handlamp lesson record --file lesson.yaml\n"
    )]
    Record(recording::Args),
    /// Lessons that wait: safety first, then by how much diagnosis would change
    #[command(before_help = "Examples:\n  handlamp lesson list\n  handlamp lesson list --learned\n")]
    List(List),
    /// One lesson: what it changes, what vetting says, the rehearsal before and after
    #[command(
        before_help = "Examples:\n  handlamp lesson review flap-leaves-a-gap-3f9a21\n  handlamp lesson review flap-leaves-a-gap-3f9a21 --ask 'On both machines?' --by 'M. K.'\n"
    )]
    Review(Review),
    /// Make a lesson part of the knowledge
    #[command(
        before_help = "Examples:\n  handlamp lesson accept flap-leaves-a-gap-3f9a21 --by 'M. K.' --knowledge our-knowledge\n"
    )]
    Accept(Accept),
    /// Leave a lesson out, and say why
    #[command(
        before_help = "Examples:\n  handlamp lesson turn-down flap-leaves-a-gap-3f9a21 --because 'It was the hinge.' --by 'M. K.'\n"
    )]
    TurnDown(TurnDown),
}

#[derive(Debug, clap::Args)]
struct List {
    /// Name those that were decided, too
    #[arg(long)]
    all: bool,
    /// What the closed cases kept here say about numbers of the book; nothing is written
    #[arg(long, conflicts_with = "all")]
    learned: bool,
}

#[derive(Debug, clap::Args)]
struct Review {
    /// The lesson, as `lesson list` names it
    id: String,
    /// Ask its author something first
    #[arg(long, value_name = "QUESTION", conflicts_with_all = ["answer", "edited", "as_file"])]
    ask: Option<String>,
    /// Answer what was asked
    #[arg(long, value_name = "TEXT", conflicts_with_all = ["edited", "as_file"])]
    answer: Option<String>,
    /// The lesson worked over, as a file
    #[arg(long, value_name = "FILE", conflicts_with = "as_file")]
    edited: Option<PathBuf>,
    /// The lesson as a file, to work over
    #[arg(long)]
    as_file: bool,
    /// Who you are
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
}

#[derive(Debug, clap::Args)]
struct Accept {
    /// The lesson, as `lesson list` names it
    id: String,
    /// Who accepts it; not its author
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
    /// The lesson of the knowledge whose place it takes
    #[arg(long, value_name = "ID")]
    replaces: Option<String>,
}

#[derive(Debug, clap::Args)]
struct TurnDown {
    /// The lesson, as `lesson list` names it
    id: String,
    /// Why
    #[arg(long, value_name = "TEXT")]
    because: Option<String>,
    /// Who you are
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
}

pub(super) fn run(args: &Args, context: &mut Context) -> Result {
    let lessons = Lessons::at(&context.store()?);
    match &args.what {
        What::Record(record) => recording::run(record, &lessons, context),
        What::List(list) if list.learned => recording::learned(context),
        What::List(list) => self::list(list, &lessons, context),
        What::Review(review) => self::review(review, &lessons, context),
        What::Accept(accept) => {
            let record = open(&lessons, &accept.id)?;
            accepting::accept(record, accept.by.as_deref(), accept.replaces.as_deref(), context)
        }
        What::TurnDown(down) => turn_down(down, &lessons, context),
    }
}

/// The lesson named, to be added to.
fn open(lessons: &Lessons, id: &str) -> Result<LessonRecord> {
    let id = CaseId::parse(id).map_err(stored)?;
    lessons.open(&id).map_err(not_there)
}

fn not_there(error: StoreError) -> CommandError {
    match error {
        StoreError::NotFound { id, near, .. } => {
            CommandError::input(format!("There is no lesson '{id}' in this store{near}."))
                .hint("`handlamp lesson list` names those that wait.".to_owned())
        }
        other => stored(other),
    }
}

/// A lesson that nobody decided yet.
pub(super) fn undecided(log: &LessonLog) -> Result<()> {
    if log.standing().is_open() {
        return Ok(());
    }
    Err(CommandError::input(format!("Lesson {} is {} already.", log.id, log.standing().as_str())))
}

fn list(args: &List, lessons: &Lessons, context: &mut Context) -> Result {
    let all = logs::all(lessons, context)?;
    for log in &all {
        logs::damage(log, context)?;
    }
    let texts = context.texts();
    let knowledge = context.read(&texts)?;
    let open = all.iter().filter(|log| log.standing().is_open());
    let mut queue: Vec<Queued> = open
        .map(|log| Queued { log: log.clone(), effect: effect_of(&knowledge, &texts, log.lesson()) })
        .collect();
    view::in_order(&mut queue);
    let decided: Vec<&LessonLog> = all.iter().filter(|log| !log.standing().is_open()).collect();
    if context.options.json {
        context.json(&json::lessons(&queue, &decided))?;
    } else {
        context.page(&view::queue(&queue, &decided, args.all))?;
    }
    Ok(Outcome::Done)
}

/// How much of what is believed a lesson moves; none where it changes nothing, or cannot be made.
fn effect_of(knowledge: &Knowledge, texts: &Texts, lesson: &Lesson) -> Option<f64> {
    if lesson.changes.is_empty() {
        return None;
    }
    let (after, problems) = load(&entry::changed(texts, &lesson.changes).ok()?);
    let sound = problems.iter().all(|problem| problem.severity != crate::diag::Severity::Error);
    if sound { effect(knowledge, &after).ok() } else { None }
}

/// What a lesson makes of the knowledge.
pub(super) struct Weighed {
    /// Change by change, or why it cannot be made.
    pub(super) changes: std::result::Result<Vec<Changed>, String>,
    /// The texts afterwards.
    pub(super) texts: Texts,
    /// The knowledge afterwards.
    pub(super) after: Option<Knowledge>,
    /// What vetting finds that it did not find before.
    pub(super) vetting: Vec<String>,
    /// Whether an error is among it.
    pub(super) refused: bool,
}

/// Makes a lesson's changes in memory and vets what comes of it.
pub(super) fn weigh(lesson: &Lesson, before: &Texts) -> Weighed {
    let mut texts = before.clone();
    let mut changes = Vec::new();
    let nothing =
        |texts, changes| Weighed { changes, texts, after: None, vetting: Vec::new(), refused: false };
    for change in &lesson.changes {
        let old = texts.text(change.file()).unwrap_or_default().to_owned();
        match change.applied(&texts) {
            Ok(new) => {
                changes.push(Changed { change: change.clone(), hunk: hunk(&old, &new) });
                texts = texts.with(change.file(), new);
            }
            Err(error) => return nothing(texts, Err(words::sentence(&error.to_string()))),
        }
    }
    if changes.is_empty() {
        return nothing(texts, Ok(changes));
    }
    let problems = |texts: &Texts| {
        let (knowledge, mut problems) = load(texts);
        problems.extend(vet::judge(&knowledge, texts, false));
        (knowledge, problems)
    };
    let (_, known) = problems(before);
    let (after, now) = problems(&texts);
    let new = now.iter().filter(|problem| {
        !known.iter().any(|old| (old.code, &old.message) == (problem.code, &problem.message))
    });
    let new: Vec<_> = new.cloned().collect();
    let refused = new.iter().any(|problem| problem.severity == crate::diag::Severity::Error);
    let vetting = view::sentences(&new, &after.sources);
    Weighed { changes: Ok(changes), texts, after: (!refused).then_some(after), vetting, refused }
}

fn review(args: &Review, lessons: &Lessons, context: &mut Context) -> Result {
    let id = CaseId::parse(&args.id).map_err(stored)?;
    let adds = args.ask.is_some() || args.answer.is_some() || args.edited.is_some();
    if adds {
        return add(args, open(lessons, &args.id)?, context);
    }
    let log = lessons.read(&id).map_err(not_there)?;
    let outcome = logs::damage(&log, context)?;
    if args.as_file {
        let text = log.lesson().written();
        context.write(&text.map_err(|e| CommandError::input(words::sentence(&e.to_string())))?)?;
        return Ok(outcome);
    }
    let texts = context.texts();
    let before = context.read(&texts)?;
    let weighed = weigh(log.lesson(), &texts);
    if context.options.json {
        context.json(&json::lesson(&log, &weighed.changes, &weighed.vetting))?;
        return Ok(outcome);
    }
    let mut page = view::review(&log, &weighed.changes, &weighed.vetting);
    if let Some(after) = &weighed.after {
        accepting::rehearsed(&before, after, &mut page, context)?;
    }
    let mut lines = Lines::open(context);
    if !log.standing().is_open() {
        context.page(&page)?;
        return Ok(outcome);
    }
    page.text("What shall become of it?");
    page.push(crate::view::Block::Numbered(WAYS.iter().map(|(.., title)| (*title).into()).collect()));
    page.hint("Type its number; Enter leaves it waiting.");
    if !lines.show(&page, context)? {
        return Ok(outcome);
    }
    decide(&mut lines, lessons, (&log, args.by.as_deref()), context)
}

/// What can become of a lesson: number, word, and as it is asked.
const WAYS: [(&str, &str, &str); 4] = [
    ("1", "accept", "Accept it"),
    ("2", "ask", "Ask its author something"),
    ("3", "turn down", "Turn it down"),
    ("4", "work over", "Work it over"),
];

fn decide(
    lines: &mut Lines,
    lessons: &Lessons,
    (log, by): (&LessonLog, Option<&str>),
    context: &mut Context,
) -> Result {
    let id = log.id.as_str();
    let answer = loop {
        // Whoever breaks off decides nothing.
        let answer = lines.next().unwrap_or_default().trim().to_lowercase();
        if answer.is_empty() || WAYS.iter().any(|(number, word, _)| answer == *number || answer == *word) {
            break answer;
        }
        context.say("Type a number from 1 to 4, or Enter to leave it waiting.")?;
    };
    match answer.as_str() {
        "1" | "accept" => {
            let by = asking::who(by, lines, context)?;
            accepting::accept(open(lessons, id)?, Some(&by), None, context)
        }
        "2" | "ask" => {
            let question = asking::needed(lines, context, "What do you want to know?")?;
            let by = asking::who(by, lines, context)?;
            line(open(lessons, id)?, LessonLine::AskedBack { question }, &by, context)
        }
        "3" | "turn down" => {
            let because = asking::needed(lines, context, "Why does it not come in?")?;
            let by = asking::who(by, lines, context)?;
            line(open(lessons, id)?, LessonLine::TurnedDown { because }, &by, context)
        }
        "4" | "work over" => {
            context.say(&format!(
                "Write it out, change it, hand it back: `handlamp lesson review {id} --as-file > lesson.yaml`, then \
                 `handlamp lesson review {id} --edited lesson.yaml`."
            ))?;
            Ok(Outcome::Done)
        }
        _ => {
            context.say("It waits as it is.")?;
            Ok(Outcome::Done)
        }
    }
}

/// What was typed behind an option; nothing is no answer.
fn said(option: &str, text: &str) -> Result<String> {
    clean(text).ok_or_else(|| CommandError::usage(format!("{option} has no words behind it.")))
}

/// Something said or changed by the way.
fn add(args: &Review, record: LessonRecord, context: &mut Context) -> Result {
    undecided(record.log())?;
    let mut lines = Lines::open(context);
    let said = if let Some(question) = &args.ask {
        LessonLine::AskedBack { question: said("--ask", question)? }
    } else if let Some(text) = &args.answer {
        LessonLine::Answered { text: said("--answer", text)? }
    } else {
        let Some(path) = &args.edited else { return Ok(Outcome::Done) };
        let text = read_text(path, LARGEST, |name| {
            CommandError::input(format!("{name} is larger than a lesson can be."))
        })?;
        let lesson = recording::of_file(path, &text, context)?;
        LessonLine::Edited { lesson: Box::new(lesson) }
    };
    let by = asking::who(args.by.as_deref(), &mut lines, context)?;
    line(record, said, &by, context)
}

/// Adds one line and says where the lesson stands.
pub(super) fn line(mut record: LessonRecord, line: LessonLine, by: &str, context: &mut Context) -> Result {
    undecided(record.log())?;
    record.append(line, Some(by), (context.clock)()).map_err(stored)?;
    let log = record.log();
    if context.options.json {
        context.json(&json::lesson(log, &Ok(Vec::new()), &[]))?;
        return Ok(Outcome::Done);
    }
    let mut page = Page::default();
    page.text(format!("Lesson {} is {}.", log.id, log.standing().as_str()));
    if log.standing() == Standing::AskedBack {
        page.hint(format!("handlamp lesson review {} --answer TEXT", log.id));
    }
    context.page(&page)?;
    Ok(Outcome::Done)
}

fn turn_down(args: &TurnDown, lessons: &Lessons, context: &mut Context) -> Result {
    let record = open(lessons, &args.id)?;
    undecided(record.log())?;
    let mut lines = Lines::open(context);
    let because = match &args.because {
        Some(text) => said("--because", text)?,
        None => asking::needed(&mut lines, context, "Why does it not come in?")?,
    };
    let by = asking::who(args.by.as_deref(), &mut lines, context)?;
    line(record, LessonLine::TurnedDown { because }, &by, context)
}
