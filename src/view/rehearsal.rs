//! `rehearse`: how each policy did on simulated calls, and what recorded cases came to.

use super::{Block, Page, Table, Words, words};
use crate::knowledge::Knowledge;
use crate::rehearse::{Mean, Replay, Row, Verdict};

/// The page of a simulation: one table a machine, and what its figures mean.
pub fn simulated(knowledge: &Knowledge, seed: u64, rows: &[Row]) -> Page {
    let mut page = Page::titled("Simulated calls");
    let mut machines: Vec<_> = rows.iter().map(|row| &row.machine).collect();
    machines.sort();
    machines.dedup();
    for machine in machines {
        let title =
            knowledge.machines.get(machine).map_or(machine.as_str(), |entry| entry.head.title.as_str());
        let own: Vec<&Row> = rows.iter().filter(|row| row.machine == *machine).collect();
        let calls = own.first().map_or(0, |row| row.cases);
        page.heading(format!("{title}: {}, seed {seed}", words::count(calls, "call", "calls")));
        page.push(Block::Table(table(&own)));
        let lost: usize = own.iter().map(|row| row.not_weighed).sum();
        if lost > 0 {
            page.text(format!(
                "In {} the belief was out of reach, and somebody was sent.",
                words::count(lost, "call", "calls")
            ));
        }
    }
    page.text(
        "Minutes: held line until the complaint is gone, with the standard error of the mean. First, first three: a \
         cause behind the complaint led, or stood among the first three, when the first remedy was done or somebody was \
         sent. By phone: cured without anybody coming.",
    );
    page
}

fn table(rows: &[&Row]) -> Table {
    let mut table =
        Table::new(&["policy", "#minutes", "#first", "#first three", "#checks", "#lockouts", "#by phone"]);
    for row in rows {
        table.row([
            row.policy.name().to_owned(),
            with_error(row.held_minutes),
            words::percent(row.first.mean),
            words::percent(row.first_three.mean),
            words::rounded(row.checks.mean, Some(0.1)),
            words::rounded(row.lockouts.mean, Some(0.01)),
            words::percent(row.cured_by_phone.mean),
        ]);
    }
    table
}

fn with_error(mean: Mean) -> String {
    let figure = words::rounded(mean.mean, Some(1.0));
    mean.error.map_or(figure.clone(), |error| format!("{figure} ± {}", words::rounded(error, Some(1.0))))
}

/// The page of recorded cases: counts, then each that fell short, then the others.
pub fn recorded(replays: &[(String, Replay)]) -> Page {
    let mut page = Page::titled("Recorded cases");
    let with = |verdict: Verdict| replays.iter().filter(move |(_, replay)| replay.verdict == verdict);
    let (first, within) = (with(Verdict::First).count(), with(Verdict::Within).count());
    let judged = replays.len() - with(Verdict::NothingExpected).count();
    page.text(format!(
        "{} with an expected cause: first in {first}, within the places allowed in {within} more, short in {}.",
        words::sentence_start(&words::count(judged, "case", "cases")),
        judged - first - within
    ));
    page.section("Fell short", with(Verdict::FellShort).map(line));
    page.section("Within", with(Verdict::Within).map(line));
    page.section("First", with(Verdict::First).map(line));
    page.section(
        "Nothing expected",
        with(Verdict::NothingExpected).map(|(name, _)| Words::from(name.as_str())),
    );
    page
}

fn line((name, replay): &(String, Replay)) -> Words {
    let cause = replay.cause.as_ref().map_or("", |cause| cause.as_str());
    let words = Words::new().strong(name).plain(format!(": {cause}"));
    let leads = replay.leads.as_ref().map_or("nothing", |cause| cause.as_str());
    match (replay.verdict, replay.place) {
        (Verdict::First, _) => words,
        (_, Some(place)) => {
            words.plain(format!(" at place {place} of {} allowed; first is {leads}", replay.within))
        }
        (_, None) => words.plain(format!(" not listed; first is {leads}")),
    }
}
