//! `handlamp case week`: the manager's figures over the store.

use std::collections::BTreeMap;

use super::diagnose::unthinkable;
use super::progress::Counter;
use super::talk::stored;
use super::{CommandError, Context, Outcome, Result, logs};
use crate::casebook::Store;
use crate::casebook::lesson::Lessons;
use crate::casebook::searches::{Miss, Misses};
use crate::rehearse::week::{Group, Money, lessons, replayed, spans, week};
use crate::render::{html, json};
use crate::view::week::{self as view, Figures};
use crate::view::words;

/// Cases replayed when nobody says how many.
const REPLAYED: usize = 150;

/// The manager's week
#[derive(Debug, clap::Args)]
pub(super) struct Args {
    /// The last day of the week; today when left out
    #[arg(long, value_name = "DAY")]
    until: Option<jiff::civil::Date>,
    /// By what cases are put together
    #[arg(long, value_enum, default_value_t = By::Machine)]
    by: By,
    /// How it shall look
    #[arg(long, value_enum)]
    form: Option<Form>,
    /// Price of a kilogram of product, for the giveaway in money
    #[arg(long, value_name = "PRICE", value_parser = positive)]
    price_per_kg: Option<f64>,
    /// What the price is in
    #[arg(long, value_name = "WORD", default_value = "EUR")]
    currency: String,
    /// Fills of a machine in an hour
    #[arg(long, value_name = "N", default_value_t = 400.0, value_parser = positive)]
    fills_an_hour: f64,
    /// Hours that it runs in a week
    #[arg(long, value_name = "N", default_value_t = 40.0, value_parser = positive)]
    hours_a_week: f64,
    /// So many of the latest cases are replayed, to see which checks changed anything
    #[arg(long, value_name = "N", default_value_t = REPLAYED as u64, value_parser = clap::value_parser!(u64).range(0..=1_000_000))]
    replay: u64,
}

fn positive(text: &str) -> std::result::Result<f64, String> {
    let number: f64 = text.replace(',', ".").parse().map_err(|_| format!("'{text}' is not a number"))?;
    if number.is_finite() && number > 0.0 && number < 1e9 {
        Ok(number)
    } else {
        Err("above nought".to_owned())
    }
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum By {
    /// The machine
    Machine,
    /// The team
    Team,
    /// Whoever did the last remedy, by the short name in the case
    Person,
}

impl By {
    fn group(self) -> (Group, &'static str) {
        match self {
            By::Machine => (Group::Machine, "machine"),
            By::Team => (Group::Team, "team"),
            By::Person => (Group::Person, "person"),
        }
    }
}

#[derive(Debug, Clone, Copy, clap::ValueEnum)]
enum Form {
    /// For a file or an e-mail
    Plain,
    /// For a document
    Markdown,
    /// A page for a browser, which prints it
    Html,
    /// For a spreadsheet
    Csv,
}

impl Form {
    /// The form in which a page is written; a table for a spreadsheet is no page.
    fn of_a_page(self) -> Option<logs::Form> {
        match self {
            Form::Plain => Some(logs::Form::Plain),
            Form::Markdown => Some(logs::Form::Markdown),
            Form::Html => Some(logs::Form::Html),
            Form::Csv => None,
        }
    }
}

pub(super) fn run(args: &Args, store: &Store, context: &mut Context) -> Result {
    let knowledge = context.knowledge()?;
    let day = args.until.unwrap_or_else(|| context.today());
    let night = day.tomorrow().map(|next| next.at(0, 0, 0, 0)).map_err(|_| no_day())?;
    let until = jiff::tz::TimeZone::system().to_timestamp(night).map_err(|_| no_day())?;
    let (recorded, unreadable) = store.all(context.cores()).map_err(stored)?;
    for error in unreadable {
        context.remark(&words::sentence(&error.to_string()))?;
    }
    let (group, by) = args.by.group();
    let money = Money {
        per_kg: args.price_per_kg,
        currency: crate::diag::harmless(&args.currency),
        fills_a_week: args.fills_an_hour * args.hours_a_week,
    };
    let counter = Counter::new(context.tells_a_person);
    let replay = (args.replay as usize, context.cores());
    let replayed =
        replayed(&knowledge, &recorded, until, replay, &|done, all| counter.show("cases", done, all));
    counter.clear();
    let folder = context.store()?;
    let (lesson_logs, _) = Lessons::at(&folder).list().map_err(stored)?;
    let waiting = lesson_logs.iter().filter(|log| log.standing().is_open()).count();
    let misses = Misses::at(&folder).all().unwrap_or_default();
    let figures = Figures {
        week: week(&knowledge, &recorded, until, group, &money),
        replayed: replayed.map_err(|error| unthinkable(&error))?,
        lessons: lessons(&knowledge, &recorded, until, waiting),
        searches: searches(&misses, until),
        until: day.to_string(),
    };
    if context.options.json {
        context.json(&json::week(&figures, by))?;
        return Ok(Outcome::Done);
    }
    if let Some(Form::Csv) = args.form {
        context.write(&view::csv(&knowledge, &figures))?;
        return Ok(Outcome::Done);
    }
    let page = view::page(&knowledge, &figures);
    match args.form.and_then(Form::of_a_page) {
        None => context.page(&page)?,
        Some(form) => {
            let paper = html::Paper { size: html::Size::A4, running: format!("The week up to {day}") };
            let text = form.written(&page, &paper, context);
            context.write(&text)?;
        }
    }
    Ok(Outcome::Done)
}

fn no_day() -> CommandError {
    CommandError::usage("--until is a day, like 2026-11-25.")
}

/// What was looked for in vain, with how often in the week and in the longer span; the commonest first.
fn searches(misses: &[Miss], until: jiff::Timestamp) -> Vec<(String, usize, usize)> {
    let mut found: BTreeMap<String, (usize, usize)> = BTreeMap::new();
    for miss in misses {
        let Ok(at) = miss.at.parse::<jiff::Timestamp>() else { continue };
        if let (week, true) = spans(at, until) {
            let count = found.entry(miss.words.to_lowercase()).or_default();
            count.0 += usize::from(week);
            count.1 += 1;
        }
    }
    let mut all: Vec<_> = found.into_iter().map(|(words, (week, long))| (words, week, long)).collect();
    all.sort_by(|a, b| (b.2, b.1).cmp(&(a.2, a.1)).then_with(|| a.0.cmp(&b.0)));
    all
}
