//! The lanes (heads, tubes, trays) beside each other: which one does not go with the others.

use super::weighing::Weighing;
use super::{Page, Words, words};
use crate::weights::lanes::{FEWEST_OF_A_LANE, Lane, LaneVerdict};
use crate::weights::{Interval, Lanes};

/// How many lanes are listed before 'and more'; those that stand apart come first then.
const LISTED: usize = 24;
/// How many lanes get a sentence each.
const NAMED: usize = 4;

/// What a lane is called here: 'head', 'tube'.
fn noun(weighing: &Weighing) -> &'static str {
    weighing.read.lane_column.as_ref().map_or("lane", |column| column.noun)
}

/// 'head 5'; a name that says so itself stays as it is.
fn called(noun: &str, lane: &str) -> String {
    if lane.to_lowercase().starts_with(noun) { lane.to_owned() } else { format!("{noun} {lane}") }
}

fn with_unit(weighing: &Weighing, grams: f64) -> String {
    format!("{} {}", weighing.figure(grams), weighing.unit().name)
}

/// Says which lane does not go with the others, or that none can be blamed; false when there are no lanes to compare.
pub(super) fn say(page: &mut Page, weighing: &Weighing) -> bool {
    let Some(lanes) = &weighing.lanes else { return false };
    let noun = noun(weighing);
    let figure = |grams| with_unit(weighing, grams);
    match &lanes.verdict {
        LaneVerdict::One => return false,
        LaneVerdict::Apart => {
            let mut apart: Vec<&Lane> = lanes.each.iter().filter(|lane| lane.apart()).collect();
            apart.sort_by_key(|lane| !lanes.sure(lane));
            for lane in apart.iter().take(NAMED) {
                page.text(Words::new().strong(sick(weighing, lanes, lane)));
            }
            if apart.len() > NAMED {
                page.text(format!("{} more do not go with the others: see the list.", apart.len() - NAMED));
            }
            match apart.iter().filter(|lane| lanes.sure(lane)).count() {
                0 => {}
                1 => page.text(format!(
                    "Look at {} first: a setting that all {noun}s share does not cure it.",
                    called(noun, &apart[0].name)
                )),
                _ => page.text(format!(
                    "Look at those {noun}s first: a setting that all {noun}s share does not cure them."
                )),
            }
        }
        LaneVerdict::Differ => page.text(Words::new().strong(differ(weighing, lanes))),
        LaneVerdict::Alike { within } => page.text(format!(
            "The {} {noun}s go together: none is off from the others by more than {}.",
            lanes.each.len(),
            figure(*within)
        )),
        LaneVerdict::CannotTell { more, difference } => page.text(match more {
            Some(more) => format!(
                "Whether a {noun} stands out cannot be told yet: about {} from each {noun} would tell a difference \
                 of {}.",
                words::count(*more, "more fill", "more fills"),
                figure(*difference)
            ),
            None => format!(
                "Whether a {noun} stands out cannot be told: the scatter is too large to tell a difference of {}.",
                figure(*difference)
            ),
        }),
        LaneVerdict::TooFew { missing } => page.text(format!(
            "The {noun}s cannot be compared yet: weigh at least {} from each {noun}.",
            words::count(*missing, "more fill", "more fills")
        )),
        LaneVerdict::TooMany { names } => {
            page.text(format!("{names} names are more than a filler has {noun}s, so they were not compared."));
        }
    }
    true
}

/// One lane that does not go with the others, in a sentence.
fn sick(weighing: &Weighing, lanes: &Lanes, lane: &Lane) -> String {
    let noun = noun(weighing);
    let name = words::sentence_start(&called(noun, &lane.name));
    let side = |beside: &Interval| if beside.estimate < 0.0 { "light" } else { "heavy" };
    let others = if lanes.each.len() == 2 { "the other" } else { "the others" };
    let same_round = if lanes.rounds.is_some() { " in the same round" } else { "" };
    let off = lane.beside.filter(|_| lane.off).map(|beside| {
        format!(
            "about {} {} beside {others}{same_round} (± {})",
            with_unit(weighing, beside.estimate.abs()),
            side(&beside),
            weighing.figure(beside.half())
        )
    });
    let loose = lane.loose.map(|times| {
        let times = words::rounded(times, Some(if times < 10.0 { 0.1 } else { 1.0 }));
        if lanes.shift.is_some() {
            format!("it does not rise and fall with the others, and scatters about them {times} times as much as they do")
        } else {
            format!("it scatters {times} times as much as {others}")
        }
    });
    match (off, loose) {
        (Some(off), None) if !lanes.sure(lane) => {
            let how = if lanes.one_go { format!("the {noun}s in turn") } else { "more".to_owned() };
            format!("{name} seems off: {off}. Weigh {how} before anybody touches it.")
        }
        (Some(off), None) => format!("{name} does not go with {others}: it is {off}."),
        (None, Some(loose)) => format!("{name} does not go with {others}: {loose}."),
        (Some(off), Some(loose)) => format!("{name} does not go with {others}: {loose}. It is also {off}."),
        (None, None) => format!("{name} does not go with {others}."),
    }
}

fn differ(weighing: &Weighing, lanes: &Lanes) -> String {
    let noun = noun(weighing);
    match (lanes.each.as_slice(), lanes.each.first().and_then(|lane| lane.beside)) {
        ([one, two], Some(beside)) => {
            let (light, heavy) = if beside.estimate < 0.0 { (one, two) } else { (two, one) };
            format!(
                "{} is about {} lighter than {} (± {}). Two do not tell which is wrong: hold each against the target.",
                words::sentence_start(&called(noun, &light.name)),
                with_unit(weighing, beside.estimate.abs()),
                called(noun, &heavy.name),
                weighing.figure(beside.half())
            )
        }
        _ => format!(
            "The {noun}s differ, but not so that a few stand apart from the rest: look for what sets several of them."
        ),
    }
}

/// Each lane in figures.
pub(super) fn figures(page: &mut Page, weighing: &Weighing) {
    let Some(lanes) = weighing.lanes.as_ref().filter(|lanes| lanes.each.len() > 1) else { return };
    let noun = noun(weighing);
    let mut listed: Vec<&Lane> = lanes.each.iter().collect();
    if listed.len() > LISTED {
        listed.sort_by_key(|lane| !lane.apart());
    }
    let more = listed.len().saturating_sub(LISTED);
    let mut items: Vec<String> = listed.iter().take(LISTED).map(|lane| one(weighing, lane)).collect();
    if more > 0 {
        items.push(format!("And {more} more"));
    }
    let beside = if lanes.rounds.is_some() { " in the same round" } else { "" };
    page.section(&format!("Each {noun}, and how far it is from the others{beside}"), items);
}

fn one(weighing: &Weighing, lane: &Lane) -> String {
    let range = |i: &Interval| format!("({} to {})", weighing.signed(i.low), weighing.signed(i.high));
    let unit = weighing.unit().name;
    let mut all: Vec<String> = Vec::new();
    all.extend(
        lane.beside.map(|beside| format!("{} {unit} {}", weighing.signed(beside.estimate), range(&beside))),
    );
    all.push(match &lane.error {
        Some(error) => format!("mean error {} {}", weighing.signed(error.estimate), range(error)),
        None => format!("mean {}", weighing.figure(lane.mean)),
    });
    all.extend(lane.spread.map(|spread| format!("spread {}", weighing.figure(spread.estimate))));
    all.push(words::count(lane.n, "fill", "fills"));
    format!("{}: {}", words::sentence_start(&called(noun(weighing), &lane.name)), all.join("; "))
}

/// What to know before trusting the comparison.
pub(super) fn know(weighing: &Weighing) -> Vec<Words> {
    let mut all: Vec<Words> = Vec::new();
    let noun = noun(weighing);
    if let Some(column) = weighing.read.lane_column.as_ref().filter(|column| column.recognised) {
        let name = &column.name;
        all.push(format!("Column “{name}” was taken to say the {noun}; --lane names another.").into());
    }
    let Some(lanes) = &weighing.lanes else { return all };
    if let ([only], LaneVerdict::One) = (lanes.each.as_slice(), &lanes.verdict) {
        all.push(
            format!("All fills are of {}: nothing to compare it with.", called(noun, &only.name)).into(),
        );
    }
    if let Some(shift) = lanes.shift {
        let shift = with_unit(weighing, shift);
        all.push(
            format!(
                "The {noun}s move together from round to round, by up to {shift}; this was taken out first."
            )
            .into(),
        );
    }
    if lanes.one_go && lanes.rounds.is_none() {
        all.push(
            format!("Each {noun} was weighed in one go, so a change in time looks like a {noun}: weigh them in turn.")
                .into(),
        );
    }
    for stray in lanes.strays.iter().take(NAMED) {
        let name = called(noun, &stray.lane);
        all.push(
            format!("Fill {} ({name}) stands out alone; it is not held against the {noun}.", stray.place)
                .into(),
        );
    }
    if lanes.not_compared > 0 && !matches!(lanes.verdict, LaneVerdict::TooFew { .. }) {
        let fills = words::count(lanes.not_compared, "fill", "fills");
        let why = if lanes.rounds.is_some() {
            "not in a whole round".to_owned()
        } else {
            format!("a {noun} needs {FEWEST_OF_A_LANE}")
        };
        all.push(format!("{fills} not compared: {why}.").into());
    }
    if lanes.nameless > 0 {
        let fills = words::count(lanes.nameless, "fill does", "fills do");
        all.push(format!("{fills} not say the {noun} and were not compared.").into());
    }
    all
}
