//! Lists filled in and set-ups are logs alike: finding one, reading all, saying what is wrong, writing a report.

use super::talk::stored;
use super::{CommandError, Context, Outcome, Result};
use crate::casebook::CaseId;
use crate::casebook::log::{Begins, Line, Log, Logs};
use crate::render::{html, markdown, plain};
use crate::view::{Page, words};

/// How a report shall look.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub(super) enum Form {
    /// For a file or an e-mail
    Plain,
    /// For a document
    Markdown,
    /// A page for a browser, which prints it
    Html,
}

impl Form {
    /// The report in this form, with what a printed page needs.
    pub(super) fn written(self, page: &Page, paper: &html::Paper, context: &Context) -> String {
        match self {
            Form::Plain => plain::report(page, context.report_columns()),
            Form::Markdown => markdown::report(page),
            Form::Html => html::page(page, paper),
        }
    }
}

/// Every log that can be read; what cannot be is remarked on.
pub(super) fn all<H: Begins, L: Line>(logs: &Logs<H, L>, context: &Context) -> Result<Vec<Log<H, L>>> {
    let (all, unreadable) = logs.list().map_err(stored)?;
    for error in unreadable {
        context.remark(&words::sentence(&error.to_string()))?;
    }
    Ok(all)
}

/// The log named, else the latest of those wanted.
pub(super) fn named<H: Begins, L: Line>(
    logs: &Logs<H, L>,
    id: Option<&str>,
    wanted: impl Fn(&Log<H, L>) -> bool,
    none: impl FnOnce() -> CommandError,
) -> Result<CaseId> {
    if let Some(id) = id {
        return CaseId::parse(id).map_err(stored);
    }
    let (all, _) = logs.list().map_err(stored)?;
    let when = |log: &Log<H, L>| log.last().parse::<jiff::Timestamp>().ok();
    let latest = all.into_iter().filter(wanted).max_by(|a, b| (when(a), &a.id).cmp(&(when(b), &b.id)));
    latest.map(|log| log.id).ok_or_else(none)
}

/// Remarks on what is wrong with a record, and how a command that shows it ends.
pub(super) fn damage<H, L>(log: &Log<H, L>, context: &Context) -> Result {
    for damage in &log.damage {
        context.remark(&words::sentence(&format!("record {}: {damage}", log.id)))?;
    }
    Ok(if log.damage.is_empty() { Outcome::Done } else { Outcome::NotGood })
}
