//! `knowledge stats`: how much the knowledge holds, what is still incomplete, and what decides in simulated calls.

use super::{Block, Page, Table, Words, words};
use crate::ids::CauseId;
use crate::knowledge::Knowledge;
use crate::rehearse::{Asked, Decisions, Idle, Moved};
use crate::vet::{Counts, Stats};

/// How many incomplete entries are named.
const NAMED: usize = 12;
/// How many questions are named, the most often asked first.
const ASKED: usize = 12;

/// The page of the counts, and of what decides where that was looked for.
pub fn page(knowledge: &Knowledge, stats: &Stats, decided: Option<&Decisions>) -> Page {
    let mut page = Page::titled(format!("Knowledge {}", knowledge.version));
    let mut table = Table::new(&["kind", "#complete", "#all"]);
    for (kind, complete, all) in by_kind(&stats.complete, &stats.all) {
        table.row([kind.to_owned(), complete.to_string(), all.to_string()]);
    }
    page.push(Block::Table(table));
    page.section(
        "Causes expected in a call",
        stats
            .causes_a_call
            .iter()
            .map(|(machine, expected)| format!("{machine}: {}", words::rounded(*expected, Some(0.01)))),
    );
    let groups = stats.not_told_apart.iter().flat_map(|(machine, groups)| {
        groups.iter().map(move |group| {
            let causes: Vec<&str> = group.iter().map(CauseId::as_str).collect();
            format!("{machine}: {}", words::and(&causes))
        })
    });
    page.section("Causes that no check tells apart", groups);
    let nowhere = stats.lead_nowhere.iter().map(|(finding, why)| format!("{finding}: {why}"));
    page.section("Findings that lead nowhere", nowhere);
    let lines = stats
        .lacking
        .iter()
        .take(NAMED)
        .map(|(entry, lacks)| Words::from(format!("{entry}: {}", words::and(lacks))));
    page.section("Still lacking", lines);
    let more = stats.lacking.len().saturating_sub(NAMED);
    if more > 0 {
        page.text(format!("And {}; `--json` names all.", words::count(more, "more entry", "more entries")));
    }
    if let Some(decided) = decided {
        asked(&mut page, decided);
        moves(&mut page, decided);
    }
    page
}

/// What is asked in simulated calls, and what never is.
fn asked(page: &mut Page, decided: &Decisions) {
    let calls = words::count(decided.calls, "simulated call", "simulated calls");
    page.heading(format!("Asked in {calls}, seed {}", decided.seed));
    let mut table = Table::new(&["check", "#asked", "#first"]);
    for Asked { entry, first, share } in decided.asked.iter().take(ASKED) {
        table.row([id(entry).to_owned(), words::percent(*share), words::percent(*first)]);
    }
    if decided.asked.is_empty() {
        page.text("Nothing was asked.");
    } else {
        page.push(Block::Table(table));
    }
    let more = decided.asked.len().saturating_sub(ASKED);
    if more > 0 {
        page.text(format!("And {more} more, asked less often; `--json` names all."));
    }
    if !decided.never_asked.is_empty() {
        page.heading(format!("Never worth asking in {calls}"));
        let (free, needed): (Vec<&Idle>, Vec<&Idle>) =
            decided.never_asked.iter().partition(|idle| idle.remedies == 0);
        let ids = |idle: &[&Idle]| idle.iter().map(|idle| id(&idle.entry).to_owned()).collect::<Vec<_>>();
        page.bullets(ids(&free));
        if !needed.is_empty() {
            page.text(format!(
                "Nor for its own sake, though a remedy needs it: {}.",
                words::and(&ids(&needed))
            ));
        }
        page.text(
            "Never chosen, and never with anything to save among the plan's first eight steps. What was not asked in n calls may still be asked in up to \
             3/n of them: look again with more before taking it out.",
        );
    }
}

/// The numbers that the next step hangs on.
fn moves(page: &mut Page, decided: &Decisions) {
    let situations = words::count(decided.situations, "situation", "situations");
    page.heading(format!("Numbers that decide, in {situations}"));
    page.bullets(decided.moves.iter().map(|Moved { entry, field, share, lower, higher }| {
        let [share, lower, higher] = [share, lower, higher].map(|share| words::percent(*share));
        let words = Words::new().strong(id(entry)).plain(format!(" {field}: "));
        words.plain(format!("{share} (lower {lower}, higher {higher})"))
    }));
    page.text(format!(
        "{} of {} moved the next step in some situation. Each rate of the five likeliest causes was halved and doubled, each strength \
         below them moved by one word, and belief and plan worked out anew.",
        decided.moving,
        words::count(decided.tried, "number tried", "numbers tried"),
    ));
    if decided.not_weighed > 0 {
        let lost = words::count(decided.not_weighed, "trial was", "trials were");
        page.text(format!("{} out of reach of exact sums.", words::sentence_start(&lost)));
    }
}

/// The id of `kind/id`.
fn id(entry: &str) -> &str {
    entry.split_once('/').map_or(entry, |(_, id)| id)
}

fn by_kind(complete: &Counts, all: &Counts) -> [(&'static str, usize, usize); 8] {
    [
        ("machines", complete.machines, all.machines),
        ("circumstances", complete.circumstances, all.circumstances),
        ("symptoms", complete.symptoms, all.symptoms),
        ("conditions", complete.conditions, all.conditions),
        ("causes", complete.causes, all.causes),
        ("checks", complete.checks, all.checks),
        ("remedies", complete.remedies, all.remedies),
        ("cautions", complete.cautions, all.cautions),
    ]
}
