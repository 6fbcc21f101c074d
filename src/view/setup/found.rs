//! What was found: each change with what it was to bring and what it brought, and why the next one is proposed.

use super::super::words::{self, sentence_start};
use super::super::{Page, Table, Words};
use super::{asks, name_of, quantity};
use crate::knowledge::Machine;
use crate::units::Kind;
use crate::walk::setup::{Course, Found, Layer, Proposal, SetUpAsk, SetUpState, Trial, Why};
use crate::weights::setup::MeanError;

fn grams(value: f64) -> String {
    words::size(value, Kind::Mass.base(), Some(0.1))
}

fn seconds(value: f64) -> String {
    words::size(value, Kind::Time.base(), Some(0.1))
}

fn flow(value: f64) -> String {
    words::size(value, Kind::Flow.base(), Some(if value < 20.0 { 0.1 } else { 1.0 }))
}

/// Fills a minute from the seconds of one.
fn speed(whole: f64) -> String {
    format!("{} fills a minute", words::rounded(60.0 / whole.max(f64::MIN_POSITIVE), Some(0.1)))
}

/// Why a change is proposed, and what it should bring.
pub(super) fn reason(page: &mut Page, proposal: &Proposal) {
    if let Some(why) = proposal.why {
        let (reason, brings) = because(why);
        page.text(Words::new().plain(reason).plain(" ").strong(format!("Expect: {brings}.")));
    }
}

fn because(why: Why) -> (String, String) {
    match why {
        Why::FromNought => (
            "While the feed is set, nothing is cut off early: fills come out heavy and none light, and what the feed does is plain to see. The allowance is found at the end.".into(),
            "heavy fills until then".into(),
        ),
        Why::Rolls => ("A layer that rolls drops in clumps, and no rate makes up for it.".into(), "an even layer".into()),
        Why::Bare => ("A tray that is bare in places starts and stops the flow.".into(), "an even layer".into()),
        Why::Unusual => ("It stands outside of what is usual.".into(), "nothing to be seen at once; the runs will tell".into()),
        Why::CoarseFlow(found) => (
            format!("Coarse feed brings {}. The wanted speed, with enough fine feed, asks for {}.", flow(found.now), flow(found.wanted)),
            format!("about {}", flow(found.expected)),
        ),
        Why::FineFlow(found) => (
            format!("Fine feed brings {}, and {} would do. The slower it is, the less is in the air at the cut-off.", flow(found.now), flow(found.wanted)),
            format!("about {}", flow(found.expected)),
        ),
        Why::FineTime(now, wanted) if now < wanted => (
            format!("Fine feed lasts {}. The longer it lasts, the more of coarse feed's thump has left the reading.", seconds(now)),
            format!("fine feed of about {}, and less spread", seconds(wanted)),
        ),
        Why::FineTime(now, wanted) => (
            format!("Fine feed lasts {}, longer than it need be.", seconds(now)),
            format!("fine feed of about {}, and quicker fills", seconds(wanted)),
        ),
        Why::Waits => ("Settling longer than is usual only costs time.".into(), "quicker fills, and a figure that still stands".into()),
        Why::Moves => ("The weight is taken while the figure still moves.".into(), "a figure that stands".into()),
        Why::Mean(error) => (
            format!("The fills are {} too {} on average.", grams(error.abs()), if error > 0.0 { "heavy" } else { "light" }),
            "a mean on the target".into(),
        ),
    }
}

/// What was found, in words, before and after.
fn measured(trial: &Trial, found: &Found) -> Option<String> {
    match trial.why? {
        Why::FromNought => None,
        Why::Rolls | Why::Bare => found.layer.map(|layer| {
            match layer {
                Layer::Bare => "bare in places",
                Layer::Even => "even",
                Layer::Deep => "deep, it rolls",
            }
            .to_owned()
        }),
        Why::CoarseFlow(..) => found.coarse_flow.map(flow),
        Why::FineFlow(..) => found.fine_flow.map(flow),
        Why::FineTime(..) | Why::Unusual => {
            found.times.map(|t| format!("fine feed {}, {}", seconds(t.fine), speed(t.whole)))
        }
        Why::Waits | Why::Moves => {
            found.still.map(|still| if still { "the figure stands" } else { "the figure moves" }.to_owned())
        }
        Why::Mean(_) => found.mean.map(|mean| mean_words(&mean)),
    }
}

fn mean_words(mean: &MeanError) -> String {
    let side = if mean.error < 0.0 { "light" } else { "heavy" };
    let sure = mean.within.map_or(String::new(), |w| format!(" (± {})", grams(w)));
    let spread = mean.spread.map_or(String::new(), |s| format!(", spread {}", grams(s)));
    format!("{} {side}{sure}{spread}", grams(mean.error.abs()))
}

/// The last change: what it was to bring, what stood before it and what was found since.
pub(super) fn last_change(page: &mut Page, machine: &Machine, state: &SetUpState) {
    let Some(trial) = state.course.as_ref().and_then(|course| course.trials.last()) else { return };
    let asked =
        matches!(state.ask, SetUpAsk::Change(_) | SetUpAsk::Lock(_) | SetUpAsk::Run(_) | SetUpAsk::Stuck(_));
    let (Some(why), Some(after), true) = (trial.why, measured(trial, &trial.after), asked) else { return };
    let name = machine.setting(&trial.setting).map_or("", |s| s.title.as_str());
    let before = measured(trial, &trial.before).map_or(String::new(), |before| format!("before {before}, "));
    page.text(Words::new().plain("The last change, ").strong(words::clause(name)).plain(format!(
        " from {} to {}: {before}expected {}, found {after}.",
        quantity(trial.old),
        quantity(trial.new),
        because(why).1
    )));
}

/// Why this is asked.
pub fn why(machine: Option<&Machine>, state: &SetUpState) -> Page {
    let mut page = Page::default();
    page.text(match &state.ask {
        SetUpAsk::Gate(_) => "A setting found with a scale that reads wrong, or on another product, is wrong as soon as that is put right.",
        SetUpAsk::Corrects => "Two who correct at once chase each other.",
        SetUpAsk::Figure(_) => "What stands there now is the way back.",
        SetUpAsk::AsFound => "Without a run before, nobody can tell what the work has brought.",
        SetUpAsk::Look { .. } => "The order is layer, coarse rate, fine rate, coarse cut-off, settling, allowance: what comes later hangs on what comes before.",
        SetUpAsk::Times => "Times tell flows: how fast coarse feed must be, and how long fine feed may last at the wanted speed.",
        SetUpAsk::Catch => "What fine feed brings tells how far to move its rate and the coarse cut-off. The time alone does not: what is still in the air from coarse feed comes into it.",
        SetUpAsk::Run(_) => "The allowance is moved by the mean of a run, never by one bag, and only when the run says that the mean is off.",
        SetUpAsk::Lock(_) | SetUpAsk::HandBack => "Hands go in only where nothing can move.",
        SetUpAsk::Change(_) => "One change at a time: only then does a run say what it has brought.",
        SetUpAsk::Stuck(_) => "Setting round a fault hides it until it is worse.",
        SetUpAsk::Sign { .. } => "The first good run is what everybody goes back to.",
        _ => "It is needed before anything is set.",
    });
    if let (SetUpAsk::Change(proposal) | SetUpAsk::Lock(proposal), Some(machine)) = (&state.ask, machine) {
        reason(&mut page, proposal);
        if let Some(setting) = machine.setting(&proposal.setting) {
            let side =
                |lead: &str, text: &Option<String>| text.as_ref().map(|t| Words::new().strong(lead).plain(t));
            page.bullets(
                [side("Too high: ", &setting.too.0), side("Too low: ", &setting.too.1)].into_iter().flatten(),
            );
        }
    }
    page
}

/// Everything found and changed so far.
pub fn overview(machine: Option<&Machine>, state: &SetUpState) -> Page {
    let mut page = Page::default();
    let (Some(machine), Some(course)) = (machine, &state.course) else {
        page.text("Nothing was found yet.");
        return page;
    };
    page.heading("So far");
    settings(&mut page, machine, course);
    changes(&mut page, machine, course);
    page
}

/// The settings as they stand.
pub(super) fn settings(page: &mut Page, machine: &Machine, course: &Course) {
    let mut table = Table::new(&["setting", "#figure"]);
    for dial in &course.bench.dials {
        let name = machine.setting(&dial.setting).map_or_else(String::new, name_of);
        table.row([name, quantity(dial.figure())]);
    }
    page.push(super::Block::Table(table));
}

/// Every change, with what it was to bring and what it brought.
pub(super) fn changes(page: &mut Page, machine: &Machine, course: &Course) {
    if course.trials.is_empty() {
        page.text("Nothing was changed.");
        return;
    }
    page.heading("Changes, in order");
    page.bullets(course.trials.iter().map(|trial| {
        let name = machine.setting(&trial.setting).map_or("", |s| s.title.as_str());
        let line =
            Words::new().strong(name).plain(format!(": {} to {}", quantity(trial.old), quantity(trial.new)));
        let after = measured(trial, &trial.after).map_or("not measured".to_owned(), |after| after);
        match trial.why {
            None if trial.back => line.plain(", taken back."),
            None => line.plain(", a change of your own."),
            Some(Why::FromNought) => line.plain(", while the feed is set."),
            Some(why) => line.plain(format!(". Expected {}. Found: {after}.", because(why).1)),
        }
    }));
}

/// What a spread that is too wide stands against.
pub(super) fn too_wide(page: &mut Page, state: &SetUpState) {
    let Some(course) = &state.course else { return };
    let wanted = &course.bench.wanted;
    if let Some(spread) = course.bench.mean().and_then(|mean| mean.spread) {
        page.text(format!(
            "Spread {}; {} either way has room for {}.",
            grams(spread),
            grams(wanted.tolerance),
            grams(wanted.room())
        ));
    }
    if let Some(times) = course.bench.times.filter(|times| times.fine < wanted.fine && wanted.whole.is_some())
    {
        page.text(format!(
            "At this speed fine feed has only {}. With fewer fills a minute it has more, and fills differ less.",
            seconds(times.fine)
        ));
    }
}

/// It is good: what was reached, beside what was found at first.
pub(super) fn good(page: &mut Page, course: Option<&Course>, fast_enough: bool) {
    page.heading("It is good");
    if let Some(course) = course {
        reached(page, course);
    }
    if !fast_enough {
        page.text("The wanted speed is not had with fills as good as this. Good fills come first.");
    }
    page.text(
        "If correction was switched off, switch it on again now, and weigh ten fills more an hour from now.",
    );
    asks(page, "Who signs the sheet?", "Type the name. Then handlamp setup sheet prints it.");
}

/// What was reached, beside what was found at first.
pub(super) fn reached(page: &mut Page, course: &Course) {
    let Some((found, speed)) = course.reached() else {
        page.text("No fills were weighed with these settings.");
        return;
    };
    let wanted = &course.bench.wanted;
    let mut table = Table::new(&["", "as found", "now", "wanted"]);
    let before = course.as_found.flatten();
    let or_not = |text: Option<String>| text.unwrap_or_else(|| "not measured".to_owned());
    let side = |mean: MeanError| {
        format!("{} {}", grams(mean.error.abs()), if mean.error < 0.0 { "light" } else { "heavy" })
    };
    table.row(["mean".to_owned(), or_not(before.map(side)), side(found), "0 g".to_owned()]);
    table.row([
        "spread".to_owned(),
        or_not(before.and_then(|mean| mean.spread).map(grams)),
        or_not(found.spread.map(grams)),
        format!("{} at most", grams(wanted.room())),
    ]);
    let rate = |speed: f64| words::rounded(speed, Some(0.1));
    table.row([
        "fills a minute".to_owned(),
        or_not(course.found_speed.map(rate)),
        or_not(speed.map(rate)),
        wanted.whole.map_or_else(|| "any".to_owned(), |whole| rate(60.0 / whole)),
    ]);
    page.push(super::Block::Table(table));
    page.text(format!(
        "{} in {}.",
        sentence_start(&words::count(course.trials.len(), "change", "changes")),
        words::count(course.fills, "fill weighed", "fills weighed")
    ));
}
