//! `rehearse`: how each policy did on simulated calls, and what recorded cases came to.

use super::{Block, Page, Table, Words, words};
use crate::knowledge::Knowledge;
use crate::rehearse::{BANDS, CaseScore, Changed, Comparison, FEW, Figures, Mean, Row, Scores};

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

/// The page of recorded cases: figures, how sure it was against how often it was so, and each that fell short.
pub fn recorded(scores: &Scores) -> Page {
    let mut page = Page::titled("Recorded cases");
    match scores.figures() {
        None => page.text("No case tells what it was."),
        Some(figures) => {
            page.text(format!(
                "{} that tell what it was.",
                words::sentence_start(&words::count(figures.cases, "case", "cases"))
            ));
            let mut table = Table::new(&["figure", "#value"]);
            for (name, mean, kind) in rows(&figures) {
                table.row([name.to_owned(), kind.written(mean)]);
            }
            page.push(Block::Table(table));
            page.text(
                "Log score: mean ln of the share that the cause had; nearer to 0 is better. Brier: 0 is best. Checks and \
                 lockouts as recorded, minutes by the book.",
            );
            calibration(&mut page, &figures);
        }
    }
    let with =
        |wanted: fn(&CaseScore) -> bool| scores.cases.iter().filter(move |case| wanted(case)).map(line);
    let expected = scores.cases.iter().any(|case| case.within.is_some());
    page.section("Fell short", with(CaseScore::fell_short));
    if expected {
        page.section("Within", with(|case| case.within.is_some() && !case.fell_short() && case.place > 1));
        page.section("First", with(|case| case.within.is_some() && case.place == 1));
    }
    left_out(&mut page, scores);
    page
}

/// Names shown of those that could not be judged, or that moved.
const MOST_NAMED: usize = 20;

fn left_out(page: &mut Page, scores: &Scores) {
    let shown = scores.left_out.iter().take(MOST_NAMED);
    page.section("Not judged", shown.map(|(name, why)| Words::new().strong(name).plain(format!(": {why}"))));
    if scores.left_out.len() > MOST_NAMED {
        page.text(format!("And {} more.", scores.left_out.len() - MOST_NAMED));
    }
}

/// How a figure is written.
#[derive(Clone, Copy)]
enum Kind {
    Share,
    Score,
    Count,
    Minutes,
}

impl Kind {
    fn step(self) -> f64 {
        match self {
            Kind::Share | Kind::Minutes => 1.0,
            Kind::Score => 0.001,
            Kind::Count => 0.01,
        }
    }

    fn written(self, mean: Mean) -> String {
        let scale = if matches!(self, Kind::Share) { 100.0 } else { 1.0 };
        let unit = if matches!(self, Kind::Share) { " %" } else { "" };
        let figure = words::rounded(mean.mean * scale, Some(self.step()));
        let error = mean.error.map(|error| words::rounded(error * scale, Some(self.step())));
        error.map_or(format!("{figure}{unit}"), |error| format!("{figure} ± {error}{unit}"))
    }
}

fn rows(figures: &Figures) -> [(&'static str, Mean, Kind); 8] {
    [
        ("first", figures.first, Kind::Share),
        ("first three", figures.first_three, Kind::Share),
        ("log score", figures.log, Kind::Score),
        ("Brier", figures.brier, Kind::Score),
        ("checks", figures.checks, Kind::Count),
        ("lockouts", figures.lockouts, Kind::Count),
        ("minutes", figures.minutes, Kind::Minutes),
        ("somebody sent", figures.sent, Kind::Share),
    ]
}

fn calibration(page: &mut Page, figures: &Figures) {
    page.heading("How sure, and how often so");
    if figures.cases < FEW {
        page.text(format!("Too few to judge: {} of {FEW} cases.", figures.cases));
    }
    let mut table = Table::new(&["said", "#causes", "#it was so"]);
    for (band, (stated, came)) in figures.calibration.iter().enumerate().filter(|(_, own)| own.0 > 0) {
        let share = *came as f64 / *stated as f64;
        table.row([
            format!("{} to {} %", band * 100 / BANDS, (band + 1) * 100 / BANDS),
            stated.to_string(),
            words::percent(share),
        ]);
    }
    page.push(Block::Table(table));
}

fn line(case: &CaseScore) -> Words {
    let words = Words::new().strong(&case.name).plain(format!(": {}", case.cause));
    let leads = case.leads.as_ref().map_or("nothing", |cause| cause.as_str());
    match (case.place, case.within) {
        (1, _) => words,
        (place, Some(within)) => {
            words.plain(format!(" at place {place} of {within} allowed; first is {leads}"))
        }
        (place, None) => words.plain(format!(" at place {place}; first is {leads}")),
    }
}

/// Before and after on the same cases.
pub fn compared(before: &Scores, after: &Scores, comparison: &Comparison, fails: Option<&str>) -> Page {
    let mut page = Page::titled("Before and after");
    page.0.extend(difference(before, after, comparison).0);
    match fails {
        Some(why) => page.text(Words::new().strong("Worse: ").plain(why)),
        None if comparison.log.mean > 2.0 * comparison.log.error.unwrap_or(0.0)
            && comparison.log.mean > 0.0 =>
        {
            page.text(Words::new().strong("Better."));
        }
        None => page.text(Words::new().strong("Not worse.")),
    }
    page
}

/// The figures side by side, and who got better or worse.
pub fn difference(before: &Scores, after: &Scores, comparison: &Comparison) -> Page {
    let mut page = Page::default();
    let (Some(old), Some(new)) = (before.figures(), after.figures()) else {
        page.text("No case tells what it was, so that nothing can be compared.");
        return page;
    };
    page.text(format!(
        "{} judged by both.",
        words::sentence_start(&words::count(comparison.cases, "case", "cases"))
    ));
    let mut table = Table::new(&["figure", "#before", "#after", "#change"]);
    let changes = [comparison.first, comparison.first_three, comparison.log, comparison.brier];
    for (((name, old, kind), (_, new, _)), change) in rows(&old).into_iter().zip(rows(&new)).zip(changes) {
        let bare = |mean: Mean| kind.written(Mean { error: None, ..mean });
        table.row([name.to_owned(), bare(old), bare(new), kind.written(change)]);
    }
    page.push(Block::Table(table));
    let moved = |case: &Changed| {
        let share = |of: (usize, f64)| format!("place {}, {}", of.0, words::percent(of.1));
        Words::new().strong(&case.name).plain(format!(": {} → {}", share(case.before), share(case.after)))
    };
    for (title, cases) in [("Got worse", &comparison.worse), ("Got better", &comparison.better)] {
        page.section(title, cases.iter().take(MOST_NAMED).map(moved));
        if cases.len() > MOST_NAMED {
            page.text(format!("And {} more.", cases.len() - MOST_NAMED));
        }
    }
    let one = comparison.only_one.iter().take(MOST_NAMED);
    page.section("Judged by one only", one.map(|name| Words::from(name.as_str())));
    page
}
