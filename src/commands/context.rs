//! What a command may use of the outside: folders, width, colours, clock, terminal or not, and where output goes.
//! The only file that asks the environment.

use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};

use anstream::{AutoStream, ColorChoice};
use etcetera::BaseStrategy;
use serde::Serialize;

use super::outcome::{CommandError, Kind, Result};
use crate::checklist::{self, Checklists};
use crate::diag::{self, Diagnostic, harmless};
use crate::knowledge::{self, Knowledge, Texts};
use crate::render::{Look, Paint, diagnostics, json, plain, terminal};
use crate::view::Page;

/// A screen lower than this is not parted for.
const LEAST_ROWS: usize = 8;
/// Columns when nobody says how many there are.
const USUAL_COLUMNS: usize = 80;

/// Options that every command has.
#[derive(Debug, Clone, Default, clap::Args)]
pub struct Options {
    /// Lay this folder of entries over the built-in knowledge; also HANDLAMP_KNOWLEDGE
    #[arg(long, global = true, value_name = "DIR")]
    pub knowledge: Option<PathBuf>,
    /// Lay this folder of checklists over the built-in ones; also HANDLAMP_CHECKLISTS
    #[arg(long, global = true, value_name = "DIR")]
    pub checklists: Option<PathBuf>,
    /// Keep cases and the search index here, not in the usual data folder; also HANDLAMP_STORE
    #[arg(long, global = true, value_name = "DIR")]
    pub store: Option<PathBuf>,
    /// Answer for a program, as JSON
    #[arg(long, global = true)]
    pub json: bool,
}

impl Options {
    /// With what the environment says where nothing was typed. An empty variable says nothing.
    #[must_use]
    pub fn or_environment(self) -> Self {
        let folder = |name| std::env::var_os(name).filter(|value| !value.is_empty()).map(PathBuf::from);
        Self {
            knowledge: self.knowledge.or_else(|| folder("HANDLAMP_KNOWLEDGE")),
            checklists: self.checklists.or_else(|| folder("HANDLAMP_CHECKLISTS")),
            store: self.store.or_else(|| folder("HANDLAMP_STORE")),
            ..self
        }
    }
}

/// What a command may use of the outside.
pub struct Context {
    /// Options given.
    pub options: Options,
    /// How pages shall look on standard output.
    pub look: Look,
    /// How problems shall look on standard error.
    pub error_look: Look,
    /// Whether a person types at standard input.
    pub asks_a_person: bool,
    /// Whether a person reads standard output.
    pub shows_a_person: bool,
    /// Whether a person reads standard error.
    pub tells_a_person: bool,
    /// The time now; tests and replays put their own in.
    pub clock: fn() -> jiff::Timestamp,
    out: Box<dyn Write>,
}

impl Context {
    /// Asks the environment.
    pub fn from_environment(options: Options) -> Self {
        let stdout = std::io::stdout();
        let paint = |choice| if choice == ColorChoice::Never { Paint::None } else { Paint::Colours };
        let columns = columns();
        Self {
            options,
            look: Look::terminal(columns, paint(AutoStream::choice(&stdout))),
            error_look: Look::terminal(columns, paint(AutoStream::choice(&std::io::stderr()))),
            asks_a_person: std::io::stdin().is_terminal(),
            shows_a_person: stdout.is_terminal(),
            tells_a_person: std::io::stderr().is_terminal(),
            clock: jiff::Timestamp::now,
            out: Box::new(anstream::stdout()),
        }
    }

    /// Columns of a plain report: as mail wants it, or as wide as the screen when that is narrower.
    pub fn report_columns(&self) -> usize {
        if self.shows_a_person { plain::COLUMNS.min(self.look.width) } else { plain::COLUMNS }
    }

    /// Columns of a message: whole lines to copy, unless the screen would break them inside a word.
    pub fn message_columns(&self) -> usize {
        if self.shows_a_person { self.look.width } else { usize::MAX }
    }

    /// One sentence beside the answer, or as a page where there is no answer.
    pub fn say(&mut self, sentence: &str) -> Result<()> {
        let mut page = Page::default();
        page.text(sentence);
        self.aside_or_page(&page)
    }

    /// Shows a page of a walk. With --json it goes to standard error, so that standard output holds the answer only.
    pub fn aside_or_page(&mut self, page: &Page) -> Result<()> {
        if self.options.json { self.aside(page) } else { self.page(page) }
    }

    /// Shows a page to a person.
    pub fn page(&mut self, page: &Page) -> Result<()> {
        let text = terminal::draw(page, &self.look);
        self.write(&text)
    }

    /// A page in as many parts as the screen is high, so that nobody has to scroll back for what stands first; parts end at
    /// an empty line. One part where nobody looks at a screen.
    pub fn screens(&self, page: &Page) -> Vec<String> {
        let text = terminal::draw(page, &self.look);
        let rows = terminal_size::terminal_size().map(|(_, terminal_size::Height(rows))| usize::from(rows));
        match rows.filter(|_| self.asks_a_person && self.shows_a_person && !self.options.json) {
            Some(rows) => parted(&text, rows.saturating_sub(2).max(LEAST_ROWS)),
            None => vec![text],
        }
    }

    /// The day now, where the person is.
    pub fn today(&self) -> jiff::civil::Date {
        (self.clock)().to_zoned_datetime(jiff::tz::TimeZone::system()).date()
    }

    /// Shows a page beside the answer, on standard error.
    pub fn aside(&self, page: &Page) -> Result<()> {
        self.remark(&terminal::draw(page, &self.error_look))
    }

    /// Says something beside the answer, on standard error.
    pub fn remark(&self, text: &str) -> Result<()> {
        let end = if text.ends_with('\n') { "" } else { "\n" };
        anstream::stderr().write_all(format!("{text}{end}").as_bytes())?;
        Ok(())
    }

    /// How many sums this computer can do at a time.
    pub fn cores(&self) -> usize {
        std::thread::available_parallelism().map_or(1, std::num::NonZero::get)
    }

    /// Answers a program.
    pub fn json(&mut self, answer: &impl Serialize) -> Result<()> {
        let text = json::text(answer).map_err(|e| {
            CommandError::new(Kind::Fault, format!("The answer cannot be written as JSON: {e}."))
        })?;
        self.write(&text)
    }

    /// Writes text as it stands.
    pub fn write(&mut self, text: &str) -> Result<()> {
        self.out.write_all(text.as_bytes())?;
        Ok(self.out.flush()?)
    }

    /// The texts of the knowledge in use, without parsing them.
    pub fn texts(&self) -> Texts {
        match &self.options.knowledge {
            Some(folder) => Texts::built_in().overlaid_by(folder),
            None => Texts::built_in(),
        }
    }

    /// The knowledge in use; any error in it ends the command with every problem drawn.
    pub fn knowledge(&self) -> Result<Knowledge> {
        self.read(&self.texts())
    }

    /// Knowledge from texts at hand.
    pub fn read(&self, texts: &Texts) -> Result<Knowledge> {
        let (knowledge, problems) = knowledge::load(texts);
        let errors: Vec<Diagnostic> =
            problems.into_iter().filter(|p| p.severity == diag::Severity::Error).collect();
        if errors.is_empty() {
            return Ok(knowledge);
        }
        let drawn = diagnostics::draw(&errors, &knowledge.sources, &self.error_look);
        Err(CommandError::input("The knowledge cannot be used while it has errors.")
            .drawn(drawn)
            .hint("`handlamp knowledge vet` lists them all.".to_owned()))
    }

    /// The checklists with every problem of their files.
    pub fn loaded_checklists(&self, knowledge: &Knowledge) -> (Checklists, Vec<Diagnostic>) {
        // The built-in lists are for the built-in machines.
        let built_in =
            if knowledge.alone { checklist::Texts::default() } else { checklist::Texts::built_in() };
        let texts = match &self.options.checklists {
            Some(folder) => built_in.overlaid_by(folder),
            None => built_in,
        };
        checklist::load(&texts, knowledge)
    }

    /// The checklists in use; any error in them ends the command with every problem drawn.
    pub fn checklists(&self, knowledge: &Knowledge) -> Result<Checklists> {
        let (lists, mut problems) = self.loaded_checklists(knowledge);
        problems.retain(|p| p.severity == diag::Severity::Error);
        if problems.is_empty() {
            return Ok(lists);
        }
        let drawn = diagnostics::draw(&problems, &lists.sources, &self.error_look);
        Err(CommandError::input("The checklists cannot be used while they have errors.")
            .drawn(drawn)
            .hint("`handlamp knowledge vet` lists them all.".to_owned()))
    }

    /// The team that calls are for, where the environment names one.
    pub fn team(&self) -> Option<String> {
        std::env::var("HANDLAMP_TEAM").ok().filter(|name| !name.is_empty())
    }

    /// Where cases and the search index are kept.
    pub fn store(&self) -> Result<PathBuf> {
        if let Some(folder) = &self.options.store {
            return Ok(folder.clone());
        }
        etcetera::choose_base_strategy().map(|dirs| dirs.data_dir().join("handlamp")).map_err(|_| {
            CommandError::store("No home folder is known, so there is no place for the store.")
                .hint("Say where with --store DIR or HANDLAMP_STORE.".to_owned())
        })
    }
}

/// A file that a person named, or a sentence about why it cannot be read.
pub(super) fn read_file(path: &Path) -> Result<Vec<u8>> {
    std::fs::read(path).map_err(|error| {
        let shown = harmless(&path.display().to_string());
        CommandError::input(match error.kind() {
            std::io::ErrorKind::NotFound => format!("There is no file {shown}."),
            std::io::ErrorKind::PermissionDenied => format!("The file {shown} may not be read."),
            std::io::ErrorKind::IsADirectory => format!("{shown} is a folder; a file is wanted."),
            _ => format!("The file {shown} cannot be read: {error}."),
        })
    })
}

/// The text of a file that a person named, no larger than so many bytes.
pub(super) fn read_text(
    path: &Path,
    most: u64,
    too_large: impl FnOnce(&str) -> CommandError,
) -> Result<String> {
    if std::fs::metadata(path).is_ok_and(|m| m.len() > most) {
        return Err(too_large(&harmless(&path.to_string_lossy())));
    }
    Ok(String::from_utf8_lossy(&read_file(path)?).into_owned())
}

/// A timestamp as a person reads it, in the local zone: '2026-11-25 01:56'.
pub(super) fn readable(timestamp: &str) -> String {
    let zoned =
        timestamp.parse::<jiff::Timestamp>().map(|t| t.to_zoned_datetime(jiff::tz::TimeZone::system()));
    zoned.map_or_else(|_| timestamp.to_owned(), |z| z.strftime("%Y-%m-%d %H:%M").to_string())
}

/// A text in parts of at most so many lines. It is cut from its end, so that what is asked stands on one screen with as much
/// as fits before it; a part begins behind an empty line where there is one near.
fn parted(text: &str, rows: usize) -> Vec<String> {
    let mut parts = Vec::new();
    let mut left: Vec<&str> = text.split_inclusive('\n').collect();
    while left.len() > rows {
        let earliest = left.len() - rows;
        let empty = |place: &usize| left[*place - 1].trim().is_empty();
        let cut = (earliest..=earliest + rows / 2).find(empty).unwrap_or(earliest);
        parts.push(left.split_off(cut).concat());
    }
    parts.push(left.concat());
    parts.reverse();
    parts
}

/// COLUMNS first, since it can be set for one command; then the terminal; then the usual.
fn columns() -> usize {
    let told = std::env::var("COLUMNS").ok().and_then(|text| text.trim().parse().ok()).filter(|n| *n > 0);
    told.or_else(|| terminal_size::terminal_size().map(|(terminal_size::Width(w), _)| usize::from(w)))
        .unwrap_or(USUAL_COLUMNS)
}

#[cfg(test)]
mod tests {
    use super::parted;

    #[test]
    fn a_long_page_comes_in_parts_that_fit_the_screen_and_lose_nothing() {
        let text: String =
            (0..50).map(|i| if i % 7 == 6 { "\n".to_owned() } else { format!("line {i}\n") }).collect();
        let parts = parted(&text, 22);
        assert_eq!(parts.concat(), text);
        assert!(parts.iter().all(|part| part.lines().count() <= 22));
        assert!(
            parts[..parts.len() - 1].iter().all(|part| part.ends_with("\n\n")),
            "parts end at an empty line"
        );
        assert_eq!(parted("short\n", 22), ["short\n"]);
        assert_eq!(parted(&"solid\n".repeat(30), 22).len(), 2);
    }
}
