//! `rehearse`: how each policy did on simulated calls, and what recorded cases came to.

use super::{Block, Page, Table, Words, words};
use crate::knowledge::Knowledge;
use crate::rehearse::{BANDS, CaseScore, Changed, Comparison, FEW, Figures, Loss, MOVED, Mean, Row, Scores};

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
        None => page.text("No case tells for sure what it was."),
        Some(figures) => {
            page.text(format!("{} for sure what it was.", tell(figures.cases)));
            page.push(Block::Table(table_of(&figures)));
            page.text(MEANING);
            calibration(&mut page, &figures);
        }
    }
    if let Some(figures) = scores.not_proved() {
        page.heading("Gone, and not proved");
        page.text(format!("{} what it most likely was; in no other figure.", tell(figures.cases)));
        page.push(Block::Table(table_of(&figures)));
    }
    let with =
        |wanted: fn(&CaseScore) -> bool| scores.cases.iter().filter(move |case| wanted(case)).map(line);
    let expected = scores.cases.iter().any(|case| case.within.is_some());
    page.section("Fell short", with(CaseScore::fell_short));
    if expected {
        page.section("Within", with(|case| case.within.is_some() && !case.fell_short() && case.place > 1));
        page.section("First", with(|case| case.within.is_some() && case.place == 1));
    }
    let why = |(name, why): &(String, String)| Words::new().strong(name).plain(format!(": {why}"));
    some(&mut page, "Not judged", &scores.left_out, why);
    page
}

/// What the figures mean, and where they come from.
const MEANING: &str = "Log score: mean ln of the share that the cause had among all, what is in no book counted with them; nearer \
                       to 0 is better. Brier: 0 is best. Checks: as recorded. Lockouts and minutes: what was recorded, as the \
                       book has it, without waiting and ways there.";
/// Names shown of those that could not be judged, or that moved.
const MOST_NAMED: usize = 20;

fn tell(cases: usize) -> String {
    let verb = if cases == 1 { "tells" } else { "tell" };
    format!("{} {verb}", words::sentence_start(&words::count(cases, "case", "cases")))
}

/// The first of a list, and how many more there are.
fn some<T>(page: &mut Page, title: &str, all: &[T], line: impl Fn(&T) -> Words) {
    page.section(title, all.iter().take(MOST_NAMED).map(line));
    if all.len() > MOST_NAMED {
        page.text(format!("And {} more.", all.len() - MOST_NAMED));
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

    fn signed(self, mean: Mean) -> String {
        let written = self.written(mean);
        if mean.mean > 0.0 { format!("+{written}") } else { written }
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

fn table_of(figures: &Figures) -> Table {
    let mut table = Table::new(&["figure", "#value"]);
    for (name, mean, kind) in rows(figures) {
        table.row([name.to_owned(), kind.written(mean)]);
    }
    table
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

/// Two judgements of the same cases, and what lies between them.
#[derive(Debug, Clone, Copy)]
pub struct Compared<'a> {
    /// By the version before.
    pub before: &'a Scores,
    /// By the one after.
    pub after: &'a Scores,
    /// After less before.
    pub comparison: &'a Comparison,
}

/// Before and after on the same cases: where each comes from, the figures, and the verdict with the loss that is put up with;
/// a seed where the calls were made up.
pub fn compared(
    compared: &Compared<'_>,
    [before, after]: &[String; 2],
    (loss, fails): (Loss, Option<&str>),
    seed: Option<u64>,
) -> Page {
    let mut page = Page::titled("Before and after");
    page.text(Words::new().strong("Before: ").plain(before.as_str()));
    page.text(Words::new().strong("After: ").plain(after.as_str()));
    if let Some(seed) = seed {
        page.text(format!(
            "The calls are drawn from the version before, seed {seed}: a complaint and a handful of answers, nothing planned. So \
             they say what the change costs where that version is right, and never that it helps."
        ));
    }
    page.0.extend(difference(compared).0);
    let put_up = format!(
        "Put up with: {} nats of log score a case, or twice its standard error; {} nats in a case with `expect:`, as long as it \
         does not fall short anew; no case that cannot be judged any more.",
        loss.log, loss.case
    );
    page.text(match fails {
        Some(why) => Words::new().strong("Worse: ").plain(why),
        None if compared.comparison.helps() => {
            Words::new().strong("Better.").plain(" The log score rose by more than twice its standard error.")
        }
        None => Words::new().strong("Not worse."),
    });
    page.text(put_up);
    page
}

/// The figures side by side, and who got better or worse: a block for any page.
pub fn difference(Compared { before, after, comparison }: &Compared<'_>) -> Page {
    let mut page = Page::default();
    let cases = words::sentence_start(&words::count(comparison.cases, "case", "cases"));
    page.text(format!("{cases} judged by both."));
    if let (Some(old), Some(new)) = (before.figures(), after.figures()) {
        page.push(Block::Table(side_by_side(&old, &new, comparison)));
        page.text("Change: after less before, case by case, with its standard error.");
    }
    if let Some((cases, log)) = comparison.not_proved {
        page.text(format!(
            "Gone and not proved, in no figure above: {}, log score {}.",
            words::count(cases, "case", "cases"),
            Kind::Score.signed(log)
        ));
    }
    let place = |(place, share): (usize, f64)| format!("place {place}, {}", words::percent(share));
    let moved = |case: &Changed| {
        Words::new().strong(&case.name).plain(format!(": {} → {}", place(case.before), place(case.after)))
    };
    some(&mut page, "Got worse", &comparison.worse, moved);
    some(&mut page, "Got better", &comparison.better, moved);
    if !(comparison.worse.is_empty() && comparison.better.is_empty()) {
        page.text(format!(
            "Listed: those whose place changed, or whose share changed by more than {MOVED} times."
        ));
    }
    let why = |(name, why): &(String, String)| Words::new().strong(name).plain(format!(": {why}"));
    some(&mut page, "Not judged any more", &comparison.lost, why);
    let name = |name: &String| Words::from(name.as_str());
    some(&mut page, "Judged now only", &comparison.gained, name);
    some(&mut page, "Held against another cause now, in no figure", &comparison.other_cause, name);
    page
}

fn side_by_side(old: &Figures, new: &Figures, change: &Comparison) -> Table {
    let changes = [
        change.first,
        change.first_three,
        change.log,
        change.brier,
        change.checks,
        change.lockouts,
        change.minutes,
        change.sent,
    ];
    let mut table = Table::new(&["figure", "#before", "#after", "#change"]);
    for (((name, old, kind), (_, new, _)), change) in rows(old).into_iter().zip(rows(new)).zip(changes) {
        let bare = |mean: Mean| kind.written(Mean { error: None, ..mean });
        table.row([name.to_owned(), bare(old), bare(new), kind.signed(change)]);
    }
    table
}
