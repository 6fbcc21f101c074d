//! The manager's week, as a page and as a table for a spreadsheet.

use super::words::{self, count};
use super::{Bar, Block, Page, Table, Words};
use crate::ids::CauseId;
use crate::knowledge::Knowledge;
use crate::rehearse::week::{Endings, FEWEST, LONG, LessonFigures, REPEAT_DAYS, Replayed, Week};

/// Lines of a list shown at most; --form csv has all.
const MOST: usize = 12;
/// A check that never changed a ranking is told when it was answered so often.
pub const LEAST_ANSWERED: usize = 5;

/// All figures of a week.
#[derive(Debug, Clone)]
pub struct Figures {
    /// From the records.
    pub week: Week,
    /// From a replay of the latest cases.
    pub replayed: Replayed,
    /// How lessons stand.
    pub lessons: LessonFigures,
    /// Searches that found nothing, with how often in the week and in the longer span; the commonest first.
    pub searches: Vec<(String, usize, usize)>,
    /// The last day.
    pub until: String,
}

fn title<'k>(knowledge: &'k Knowledge, cause: &'k CauseId) -> &'k str {
    knowledge.causes.get(cause).map_or(cause.as_str(), |cause| cause.head.title.as_str())
}

fn check<'k>(knowledge: &'k Knowledge, id: &'k crate::ids::CheckId) -> &'k str {
    knowledge.checks.get(id).map_or(id.as_str(), |check| check.head.title.as_str())
}

/// The name of a group: a machine by its title.
fn group<'k>(knowledge: &'k Knowledge, name: &'k str) -> &'k str {
    knowledge.machines.get(name).map_or(name, |machine| machine.head.title.as_str())
}

/// The page.
pub fn page(knowledge: &Knowledge, figures: &Figures) -> Page {
    let week = &figures.week;
    let mut page = Page::titled(format!("The week up to {}", figures.until));
    page.text(format!(
        "{} in the week, {} in {LONG} weeks.",
        words::sentence_start(&count(week.cases.week, "case", "cases")),
        week.cases.long
    ));
    causes(&mut page, knowledge, figures);
    endings(&mut page, knowledge, figures);
    repeats(&mut page, figures);
    checks(&mut page, knowledge, figures);
    parts(&mut page, figures);
    lessons(&mut page, figures);
    let line = |(words, week, long): &(String, usize, usize)| {
        format!("“{words}”: {week} in the week, {long} in {LONG} weeks")
    };
    page.section("Searches that found nothing", figures.searches.iter().take(MOST).map(line));
    giveaway(&mut page, figures);
    page
}

fn causes(page: &mut Page, knowledge: &Knowledge, figures: &Figures) {
    page.heading("Causes that recur");
    let causes = &figures.week.causes;
    if causes.is_empty() {
        page.text(format!("None came up twice in {LONG} weeks."));
        return;
    }
    let most = causes.first().map_or(1, |(.., count)| count.long.max(1)) as f64;
    let bar = |(name, cause, count): &(String, CauseId, crate::rehearse::week::Count)| Bar {
        label: format!("{}; {}", title(knowledge, cause), group(knowledge, name)),
        share: count.long as f64 / most,
        words: format!("{} in the week, {} in {LONG} weeks", count.week, count.long),
    };
    page.push(Block::Bars(causes.iter().take(MOST).map(bar).collect()));
    if causes.len() > MOST {
        page.text(format!("And {} more.", causes.len() - MOST));
    }
}

fn endings(page: &mut Page, knowledge: &Knowledge, figures: &Figures) {
    page.heading(format!("How cases ended, {LONG} weeks"));
    let mut all = Endings::default();
    for (name, (_, long)) in &figures.week.endings {
        page.subheading(group(knowledge, name));
        page.push(Block::Table(ended(long)));
        for (sum, own) in [
            (&mut all.by_phone, long.by_phone),
            (&mut all.first_visit, long.first_visit),
            (&mut all.later_visit, long.later_visit),
            (&mut all.not_found, long.not_found),
            (&mut all.open, long.open),
        ] {
            *sum += own;
        }
    }
    if figures.week.endings.len() > 1 {
        page.subheading("All");
        page.push(Block::Table(ended(&all)));
    }
    if all.ended() < FEWEST {
        page.text(format!("No shares: fewer than {FEWEST} cases."));
    }
}

/// The ways in which cases end, with their numbers.
pub fn ways(endings: &Endings) -> [(&'static str, usize); 4] {
    [
        ("cured by phone", endings.by_phone),
        ("first visit", endings.first_visit),
        ("later visit", endings.later_visit),
        ("not found", endings.not_found),
    ]
}

fn ended(endings: &Endings) -> Table {
    let ended = endings.ended();
    let mut table = Table::new(&["ended", "#cases", "#share"]);
    for (name, number) in ways(endings) {
        let share =
            if ended >= FEWEST { words::percent(number as f64 / ended as f64) } else { "–".to_owned() };
        table.row([name.to_owned(), number.to_string(), share]);
    }
    table.row(["still open".to_owned(), endings.open.to_string(), String::new()]);
    table
}

fn repeats(page: &mut Page, figures: &Figures) {
    let repeats = &figures.week.repeats;
    page.heading(format!("Called again within {REPEAT_DAYS} days"));
    if repeats.is_empty() {
        page.text("Nobody.");
        return;
    }
    let same = repeats.iter().filter(|repeat| repeat.same_cause == Some(true)).count();
    page.text(format!(
        "{}, {same} of them for the same cause.",
        words::sentence_start(&count(repeats.len(), "call", "calls"))
    ));
    let line = |repeat: &crate::rehearse::week::Repeat| {
        format!("{}, {} after {}", repeat.case, count(repeat.days as usize, "day", "days"), repeat.earlier)
    };
    page.bullets(repeats.iter().rev().take(MOST).map(line));
    if repeats.len() > MOST {
        page.text(format!("And {} more.", repeats.len() - MOST));
    }
}

fn checks(page: &mut Page, knowledge: &Knowledge, figures: &Figures) {
    let silent = figures.replayed.silent(LEAST_ANSWERED);
    page.heading("Checks that cost minutes and changed nothing");
    if figures.replayed.cases == 0 {
        page.text("No case was replayed.");
    } else {
        page.text(format!(
            "From the latest {} replayed: answered {LEAST_ANSWERED} times or more, and the first three causes stayed as they \
             were.",
            count(figures.replayed.cases, "case", "cases")
        ));
        if silent.is_empty() {
            page.text("None.");
        }
    }
    let line = |silent: &&crate::rehearse::week::Silent| {
        Words::new().strong(check(knowledge, &silent.check)).plain(format!(
            ": {} answered, {} minutes",
            silent.answered,
            words::rounded(silent.minutes, Some(1.0))
        ))
    };
    page.bullets(silent.iter().take(MOST).map(line));
    let untold = figures.week.untold.iter().map(|untold| {
        Words::new()
            .strong(check(knowledge, &untold.check))
            .plain(format!(": {} of {}", untold.cannot_tell, untold.asked))
    });
    page.section("Checks mostly answered ‘cannot tell’", untold);
}

fn parts(page: &mut Page, figures: &Figures) {
    if figures.replayed.parts.is_empty() {
        return;
    }
    page.heading("Parts used against advised");
    let mut table = Table::new(&["part", "#both", "#advised only", "#used only"]);
    for (part, count) in &figures.replayed.parts {
        table.row([
            part.clone(),
            count.both.to_string(),
            count.advised_only.to_string(),
            count.used_only.to_string(),
        ]);
    }
    page.push(Block::Table(table));
    page.text("Over the visits of the cases replayed.");
}

fn lessons(page: &mut Page, figures: &Figures) {
    let lessons = &figures.lessons;
    page.heading("Lessons");
    page.text(format!(
        "{} waiting, {} used in a year, {} unused for a year.",
        lessons.waiting,
        lessons.used,
        lessons.unused.len()
    ));
    page.bullets(lessons.unused.iter().take(MOST).map(|id| Words::from(id.as_str())));
}

fn giveaway(page: &mut Page, figures: &Figures) {
    let giveaway = &figures.week.giveaway;
    page.heading("Giveaway found");
    if giveaway.cases == 0 {
        page.text("No first run lay over its target.");
        return;
    }
    let grams = |grams: f64| words::rounded(grams, Some(0.1));
    page.text(format!(
        "In {} the first run lay over its target: {} g a fill, all together; in the last runs of these {} g.",
        count(giveaway.cases, "case", "cases"),
        grams(giveaway.found),
        grams(giveaway.left)
    ));
    match giveaway.a_week {
        Some((found, left)) => {
            let money = |sum: f64| format!("{} {}", words::rounded(sum, Some(1.0)), giveaway.currency);
            page.text(format!("In a week of fills that is {} found, {} left.", money(found), money(left)));
        }
        None => page.hint("For money: --price-per-kg, --fills-an-hour and --hours-a-week."),
    }
}

/// The same for a spreadsheet: `figure,group,name,week,long`; a cell that a spreadsheet would reckon with is defused.
pub fn csv(knowledge: &Knowledge, figures: &Figures) -> String {
    let week = &figures.week;
    let mut out = String::from("figure,group,name,week,weeks_13\n");
    let mut row = |figure: &str, group: &str, name: &str, short: &str, long: &str| {
        out.push_str(&[figure, group, name, short, long].map(cell).join(","));
        out.push('\n');
    };
    row("cases", "", "", &week.cases.week.to_string(), &week.cases.long.to_string());
    for (group, cause, count) in &week.causes {
        row("cause", group, title(knowledge, cause), &count.week.to_string(), &count.long.to_string());
    }
    for (group, (short, long)) in &week.endings {
        for ((name, short), (_, long)) in ways(short).into_iter().zip(ways(long)) {
            row("ended", group, name, &short.to_string(), &long.to_string());
        }
        row("ended", group, "still open", &short.open.to_string(), &long.open.to_string());
    }
    for repeat in &week.repeats {
        row(
            "repeat",
            &repeat.group,
            &format!("{} after {}", repeat.case, repeat.earlier),
            "",
            &repeat.days.to_string(),
        );
    }
    for silent in figures.replayed.silent(LEAST_ANSWERED) {
        row("check changed nothing", "", check(knowledge, &silent.check), "", &silent.answered.to_string());
    }
    for untold in &week.untold {
        row(
            "cannot tell",
            "",
            check(knowledge, &untold.check),
            "",
            &format!("{} of {}", untold.cannot_tell, untold.asked),
        );
    }
    for (part, count) in &figures.replayed.parts {
        row("part advised and used", "", part, "", &count.both.to_string());
        row("part advised only", "", part, "", &count.advised_only.to_string());
        row("part used only", "", part, "", &count.used_only.to_string());
    }
    row("lessons waiting", "", "", "", &figures.lessons.waiting.to_string());
    row("lessons used", "", "", "", &figures.lessons.used.to_string());
    row("lessons unused for a year", "", "", "", &figures.lessons.unused.len().to_string());
    for (words, short, long) in &figures.searches {
        row("search found nothing", "", words, &short.to_string(), &long.to_string());
    }
    row(
        "giveaway found, g a fill",
        "",
        "",
        "",
        &words::rounded(week.giveaway.found, Some(0.1)).replace('−', "-"),
    );
    row(
        "giveaway left, g a fill",
        "",
        "",
        "",
        &words::rounded(week.giveaway.left, Some(0.1)).replace('−', "-"),
    );
    out
}

fn cell(text: &str) -> String {
    let text = super::clean(text).replace('\n', " ");
    let defused = if text.starts_with(['=', '+', '-', '@']) { format!("'{text}") } else { text };
    if defused.contains([',', '"']) { format!("\"{}\"", defused.replace('"', "\"\"")) } else { defused }
}
