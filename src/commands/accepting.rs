//! A lesson becomes part of the knowledge: rehearsed, vetted, written into the folder, and kept beside it as a file.

use std::path::{Path, PathBuf};

use super::diagnose::unthinkable;
use super::lesson::{Weighed, undecided, weigh};
use super::lines::Lines;
use super::recorded_cases::{Gathered, as_taken_by};
use super::replayed::judged;
use super::talk::stored;
use super::{CommandError, Context, Outcome, Result, asking};
use crate::casebook::lesson::{LessonLine, LessonRecord};
use crate::casebook::{Store, replace};
use crate::diag::harmless;
use crate::ids::LessonId;
use crate::knowledge::edit::{Place, Scalar, set};
use crate::knowledge::{Knowledge, Lesson, Texts};
use crate::rehearse::{Loss, calls, compare};
use crate::render::json;
use crate::view::rehearsal::{self, Compared};
use crate::view::{Page, Words, words};

/// The latest closed cases of the store that a lesson is rehearsed on.
const RECORDED: usize = 150;
/// Fewer than these are eked out with invented ones.
const FEW: usize = 30;
/// So many invented cases a machine.
const INVENTED: usize = 30;

/// How well cases are diagnosed before and after: those closed here, or invented ones where there are few.
pub(super) fn rehearsed(
    before: &Knowledge,
    after: &Knowledge,
    page: &mut Page,
    context: &Context,
) -> Result<()> {
    let gathered = Gathered::of(&Store::at(&context.store()?), context)?.latest(RECORDED);
    page.heading("Rehearsal before and after");
    let (old, new) = if gathered.count() < FEW {
        let closed = words::count(gathered.count(), "closed case", "closed cases");
        page.text(format!("Only {closed} here; these are made up from the knowledge before."));
        let own = |id| calls(before, id, INVENTED, 1).map_err(|error| unthinkable(&error));
        let made_up = before.machines.keys().map(own).collect::<Result<Vec<_>>>()?.concat();
        let taken = as_taken_by(after, &made_up);
        (judged(before, &made_up, context), judged(after, &taken, context))
    } else {
        page.text("On the latest cases that were closed here.");
        let read = gathered.read(before, context)?;
        (judged(before, &read, context), judged(after, &gathered.as_taken_by(after, &read), context))
    };
    let comparison = compare(&old, &new);
    page.0.extend(rehearsal::difference(&Compared { before: &old, after: &new, comparison: &comparison }).0);
    if let Some(why) = comparison.fails(Loss::default()) {
        page.text(Words::new().strong("It gets worse: ").plain(why));
    }
    Ok(())
}

/// The folder that the knowledge is kept in.
fn folder(context: &Context) -> Result<PathBuf> {
    context.options.knowledge.clone().ok_or_else(|| {
        CommandError::usage("An accepted lesson is written into a folder of knowledge, and none was named.")
            .hint("Say which with --knowledge DIR or HANDLAMP_KNOWLEDGE; a new one is made.".to_owned())
    })
}

/// Writes a lesson and its changes into the knowledge folder.
pub(super) fn accept(
    mut record: LessonRecord,
    by: Option<&str>,
    replaces: Option<&str>,
    context: &mut Context,
) -> Result {
    undecided(record.log())?;
    let folder = folder(context)?;
    let mut lines = Lines::open(context);
    let by = asking::who(by, &mut lines, context)?;
    let lesson = record.log().lesson().clone();
    if by.to_lowercase() == lesson.by.to_lowercase() {
        return Err(CommandError::input(format!("{by} wrote this lesson; somebody else accepts it.")));
    }
    std::fs::create_dir_all(&folder).map_err(not_written(&folder))?;
    let _lock = Held::take(&folder)?;
    let texts = context.texts();
    let knowledge = context.read(&texts)?;
    let weighed = weigh(&lesson, &texts);
    refuse(&weighed)?;
    let id = record.log().lesson_id();
    let today = context.today().to_string();
    let accepted = Lesson { read_by: Some(by.clone()), accepted: Some(today), ..lesson };
    let mut files = written(&accepted, &weighed)?;
    if let Some(old) = replaces {
        files.push(replaced(&knowledge, &texts, old, &id)?);
    }
    let text = accepted.written().map_err(|e| CommandError::input(words::sentence(&e.to_string())))?;
    files.push((format!("lessons/{id}.yaml"), text));
    // The lesson's own file comes last: where it stands, all that it changes stands.
    for (path, text) in &files {
        put(&folder, path, text)?;
    }
    record.append(LessonLine::Accepted, Some(&by), (context.clock)()).map_err(stored)?;
    if context.options.json {
        context.json(&json::lesson(record.log(), &weighed.changes, &weighed.vetting))?;
        return Ok(Outcome::Done);
    }
    let mut page = Page::default();
    page.text(format!("Lesson {id} is part of the knowledge."));
    page.section("Written", files.iter().map(|(path, _)| path.clone()));
    context.page(&page)?;
    Ok(Outcome::Done)
}

fn refuse(weighed: &Weighed) -> Result<()> {
    if let Err(error) = &weighed.changes {
        return Err(CommandError::input(error.clone())
            .hint("Work it over: `handlamp lesson review ID --as-file`, then --edited FILE.".to_owned()));
    }
    if weighed.refused {
        return Err(CommandError::input(format!(
            "Vetting refuses what it would make: {}",
            weighed.vetting.join(" ")
        ))
        .hint("Work it over: `handlamp lesson review ID --as-file`, then --edited FILE.".to_owned()));
    }
    Ok(())
}

/// Every file that the lesson changes, with its text afterwards.
fn written(lesson: &Lesson, weighed: &Weighed) -> Result<Vec<(String, String)>> {
    let mut files: Vec<&str> = lesson.changes.iter().map(crate::knowledge::Change::file).collect();
    files.sort_unstable();
    files.dedup();
    let text = |file: &str| {
        let text = weighed.texts.text(file).map(str::to_owned);
        text.ok_or_else(|| CommandError::input(format!("There is no {file} to change.")))
    };
    files.into_iter().map(|file| Ok((file.to_owned(), text(file)?))).collect()
}

/// The file of a lesson that another takes the place of, with a pointer to it.
fn replaced(knowledge: &Knowledge, texts: &Texts, old: &str, by: &LessonId) -> Result<(String, String)> {
    let Some(entry) = knowledge.lessons.get(old) else {
        let near = crate::ids::did_you_mean(old, knowledge.lessons.keys().map(LessonId::as_str));
        return Err(
            CommandError::input(format!("The knowledge has no lesson '{}'.", harmless(old))).hint(near)
        );
    };
    let path = format!("lessons/{}.yaml", entry.id);
    let place = Place::parse("replaced_by").ok_or_else(|| CommandError::input("No such place."))?;
    let pointed = texts.text(&path).map(|text| set(text, &place, &Scalar::Text(by.to_string())));
    match pointed {
        Some(Ok(text)) => Ok((path, text)),
        Some(Err(error)) => Err(CommandError::input(words::sentence(&format!("{path}: {error}")))),
        None => Err(CommandError::input(format!("{path} is not there."))),
    }
}

/// Puts a file in place whole, or leaves the old one.
fn put(folder: &Path, path: &str, text: &str) -> Result<()> {
    let file = folder.join(path);
    let inside = file.parent().unwrap_or(folder);
    std::fs::create_dir_all(inside).map_err(not_written(inside))?;
    replace(&file, text.as_bytes()).map_err(not_written(&file))
}

fn not_written(place: &Path) -> impl Fn(std::io::Error) -> CommandError + use<> {
    let shown = harmless(&place.display().to_string());
    move |error| CommandError::store(format!("{shown} could not be written: {error}."))
}

/// Held while a folder of knowledge is written to, where the system lets a folder be locked.
struct Held(#[expect(dead_code, reason = "dropping it is what lets go")] Option<std::fs::File>);

impl Held {
    fn take(folder: &Path) -> Result<Self> {
        let Ok(open) = std::fs::File::open(folder) else { return Ok(Self(None)) };
        match open.try_lock() {
            Err(std::fs::TryLockError::WouldBlock) => Err(CommandError::store(
                "Somebody else is writing into this folder of knowledge just now. Try again.",
            )),
            _ => Ok(Self(Some(open))),
        }
    }
}
