//! `knowledge stats`: how much the knowledge holds, and what is still incomplete.

use super::{Block, Page, Table, Words, words};
use crate::knowledge::Knowledge;
use crate::vet::{Counts, Stats};

/// How many incomplete entries are named.
const NAMED: usize = 12;

/// The page of the counts.
pub fn page(knowledge: &Knowledge, stats: &Stats) -> Page {
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
    page
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
