//! `weights`: what a run of fills says. Words first, numbers second, picture third.

use super::tolerance::{self, Judged, Shown};
use super::{Block, Page, Plot, Words, change, lanes, words};
use crate::knowledge::Rule;
use crate::units::Unit;
use crate::weights::allowance::Advice;
use crate::weights::pattern::Verdict;
use crate::weights::rules::{self, Held};
use crate::weights::stats;
use crate::weights::{
    Change, Interval, Lanes, Patterns, Question, Read, Remark, Run, Summary, compare, compare_lanes,
    find_patterns, summarise,
};

/// A run with all that is said about it.
#[derive(Debug, Clone)]
pub struct Weighing {
    /// As it was read.
    pub read: Read,
    /// What it is held against.
    pub question: Question,
    /// What is always answered.
    pub summary: Summary,
    /// The pattern.
    pub patterns: Patterns,
    /// What to do about the in-flight allowance, when the present one was given.
    pub advice: Option<Advice>,
    /// A rule on what fills may weigh, with what it says.
    pub judged: Option<Judged>,
    /// The lanes beside each other, when they are known.
    pub lanes: Option<Lanes>,
    /// What became better or worse since a run before, when one was given.
    pub change: Option<Change>,
}

/// How many skipped pieces and strays are listed before 'and more'.
const LISTED: usize = 5;

impl Weighing {
    /// Judges a run; `allowance` is the in-flight allowance that stands now, in grams.
    pub fn of(read: Read, question: Question, allowance: Option<f64>) -> Self {
        let summary = summarise(&read.run, &question);
        let patterns = find_patterns(&read.run, &question);
        let advice =
            allowance.map(|old| crate::weights::allowance::advise(&read.run, &question, &patterns, old, 1.0));
        let lanes = compare_lanes(&read.run, summary.apart, &question);
        Self { read, question, summary, patterns, advice, lanes, change: None, judged: None }
    }

    /// The same held against a rule.
    #[must_use]
    pub fn held_against(mut self, rule: &Rule, held: &Held) -> Self {
        let fills = &self.read.run.values()[self.summary.apart..];
        let said = rules::judge(rule, fills, &self.summary, held);
        self.judged = Some(Judged { rule: rule.clone(), said });
        self
    }

    /// Judges a run that was taken down in a call, where nothing was left out.
    pub fn of_run(run: Run, question: Question) -> Self {
        let read = Read {
            run,
            skipped: Vec::new(),
            skipped_count: 0,
            unit_assumed: false,
            lane_column: None,
            dates_unclear: false,
        };
        Self::of(read, question, None)
    }

    /// The same with what to do about this allowance, in grams.
    #[must_use]
    pub fn with_allowance(mut self, old: f64) -> Self {
        let advice =
            crate::weights::allowance::advise(&self.read.run, &self.question, &self.patterns, old, 1.0);
        self.advice = Some(advice);
        self
    }

    /// The same beside a run before a change.
    #[must_use]
    pub fn since(mut self, before: &Run) -> Self {
        self.change = Some(compare(before, &self.summary, self.read.run.target(), &self.question));
        self
    }

    /// All of it in one sentence.
    pub fn sentence(&self) -> String {
        words::sentence(&self.patterns.sentence.to_string())
    }

    /// What to know before trusting it, each once.
    pub fn remarks(&self) -> Vec<Remark> {
        let mut all: Vec<Remark> = Vec::new();
        for remark in self.summary.remarks.iter().chain(&self.patterns.remarks) {
            if !all.contains(remark) {
                all.push(remark.clone());
            }
        }
        all
    }

    pub(super) fn unit(&self) -> &'static Unit {
        self.read.run.unit()
    }

    /// The display's step, in the unit shown.
    fn step(&self) -> Option<f64> {
        self.read.run.division().map(|d| self.unit().from_base(d.grams))
    }

    /// A weight as the display shows it.
    pub(super) fn weight(&self, grams: f64) -> String {
        words::size(grams, self.unit(), self.step())
    }

    /// A figure worked out of many, one digit finer than the display.
    pub(super) fn figure(&self, grams: f64) -> String {
        words::rounded(self.unit().from_base(grams), self.step().map(|s| s / 10.0))
    }

    pub(super) fn signed(&self, grams: f64) -> String {
        words::signed(self.unit().from_base(grams), self.step().map(|s| s / 10.0))
    }
}

/// The page of a run.
pub fn page(weighing: &Weighing) -> Page {
    let fills = words::count(weighing.read.run.values().len(), "fill", "fills");
    let mut page = Page::titled(match weighing.read.run.target() {
        Some(target) => format!("{fills}, target {}", weighing.weight(target)),
        None => fills,
    });
    // A fault of one lane is blurred in all fills together, so it is said first.
    let first = change::say(&mut page, weighing) | lanes::say(&mut page, weighing);
    let together = match (first, &weighing.change) {
        (_, Some(_)) => "After the change: ",
        (true, None) => "All fills together: ",
        (false, None) => "",
    };
    page.text(Words::new().plain(together).strong(weighing.sentence()));
    pattern(&mut page, weighing);
    if let Some(advised) = advised(weighing) {
        page.text(advised);
    }
    page.section("Know before you trust it", know(weighing));
    change::figures(&mut page, weighing);
    lanes::figures(&mut page, weighing);
    page.section("Figures (in brackets: where the true one lies, 19 times in 20)", figures(weighing));
    pairs(&mut page, weighing);
    if let Some(judged) = &weighing.judged {
        let unit = weighing.unit().name;
        let figure = |grams| format!("{} {unit}", weighing.figure(grams));
        tolerance::judged(
            &mut page,
            judged,
            &Shown { weight: &|grams| weighing.weight(grams), figure: &figure },
        );
    }
    page.push(Block::Plot(picture(weighing)));
    page
}

/// What a run says, as short as a call needs it: a sentence, two figures, the picture.
pub fn in_short(weighing: &Weighing) -> Page {
    let mut page = Page::default();
    page.text(Words::new().strong(weighing.sentence()));
    pattern(&mut page, weighing);
    page.bullets(figures(weighing).into_iter().take(3));
    page.push(Block::Plot(picture(weighing)));
    page
}

/// What is left when the pattern cannot be told, or what is named.
fn pattern(page: &mut Page, weighing: &Weighing) {
    match &weighing.patterns.verdict {
        Verdict::NothingUnusual => {}
        Verdict::Shows(shows) if shows.len() < 2 => {}
        Verdict::Shows(shows) => {
            let names: Vec<&str> = shows.iter().copied().map(words::pattern).collect();
            page.text(format!("It shows {}.", words::and(&names)));
        }
        Verdict::CannotTell { between, more } => {
            page.text(format!(
                "What it shows cannot be told yet. About {} would tell.",
                words::count(*more, "more fill", "more fills")
            ));
            page.section(
                "It could be",
                between.iter().map(|(combination, p)| {
                    let names: Vec<&str> = combination.iter().copied().map(words::pattern).collect();
                    let names =
                        if names.is_empty() { "nothing unusual".to_owned() } else { words::and(&names) };
                    format!("{names}: {}", words::likely(*p))
                }),
            );
        }
    }
}

/// What to do about the in-flight allowance, when the present one is known.
pub fn advised(weighing: &Weighing) -> Option<Words> {
    let weight = |grams| weighing.weight(grams);
    Some(match weighing.advice.as_ref()? {
        Advice::Set { old, new, cut_off } => Words::new()
            .plain("In-flight allowance: from ")
            .plain(weight(*old))
            .plain(" to ")
            .strong(weight(*new))
            .plain(format!(", so the feed is cut off at {}. Write the old value down, then weigh again.", weight(*cut_off))),
        Advice::Leave => "In-flight allowance: leave it. The mean is on target as closely as is wanted.".into(),
        Advice::RunMore { more } => {
            format!("In-flight allowance: leave it for now and weigh {}.", words::count(*more, "more fill", "more fills")).into()
        }
        Advice::NotSteady { shows } => {
            let names: Vec<&str> = shows.iter().copied().map(words::pattern).collect();
            format!("In-flight allowance: leave it. The run shows {}, which no allowance cures.", words::and(&names)).into()
        }
        Advice::NoTarget => "In-flight allowance: give --target to hold the run against.".into(),
        Advice::BelowZero { .. } => {
            "In-flight allowance: leave it. It would have to go below zero, so something else makes the fills light.".into()
        }
    })
}

fn know(weighing: &Weighing) -> Vec<Words> {
    let mut all: Vec<Words> = Vec::new();
    if weighing.read.unit_assumed {
        all.push("No unit was given, so grams were taken.".into());
    }
    if weighing.read.dates_unclear {
        all.push(
            "The dates cannot be read for certain (day or month first?), so no trend an hour is told.".into(),
        );
    }
    all.extend(lanes::know(weighing));
    all.extend(weighing.remarks().iter().map(|r| Words::from(r.to_string())));
    let skipped = &weighing.read.skipped;
    all.extend(
        skipped
            .iter()
            .take(LISTED)
            .map(|s| format!("Line {} left out: “{}” is {}.", s.line, s.text, s.why).into()),
    );
    let more = weighing.read.skipped_count.saturating_sub(skipped.len().min(LISTED));
    if more > 0 {
        all.push(format!("And {} left out.", words::count(more, "more piece", "more pieces")).into());
    }
    all
}

fn figures(weighing: &Weighing) -> Vec<String> {
    let summary = &weighing.summary;
    let unit = weighing.unit().name;
    let figure = |grams| weighing.figure(grams);
    let range = |i: &Interval| format!("({} to {})", figure(i.low), figure(i.high));
    let signed_range = |i: &Interval| format!("({} to {})", weighing.signed(i.low), weighing.signed(i.high));
    let mut all = vec![format!(
        "Mean: {} {unit}, of {}",
        figure(summary.mean),
        words::count(summary.n, "fill", "fills")
    )];
    if let Some(error) = &summary.error {
        all.push(format!("Mean error: {} {unit} {}", weighing.signed(error.estimate), signed_range(error)));
    }
    if let Some(spread) = &summary.spread {
        let usual = weighing
            .question
            .usual_spread
            .map_or_else(String::new, |u| format!("; usual {} {unit}", figure(u)));
        all.push(format!("Spread: {} {unit} {}{usual}", figure(spread.estimate), range(spread)));
    }
    all.push(format!(
        "Lightest {}, heaviest {}",
        weighing.weight(summary.lightest),
        weighing.weight(summary.heaviest)
    ));
    if let (Some(outside), Some(tolerance)) = (&summary.outside, weighing.question.tolerance) {
        all.push(format!(
            "Outside ± {}: {} light, {} heavy, of {} ({} to {})",
            weighing.weight(tolerance),
            outside.light,
            outside.heavy,
            summary.n,
            words::percent(outside.counted.low),
            words::percent(outside.counted.high)
        ));
    }
    if let Some((cp, cpk)) = capability(weighing) {
        let figure = |figure: f64| words::rounded(figure, Some(0.01));
        all.push(format!("Capability: Cp {}, Cpk {}", figure(cp), figure(cpk)));
    }
    if let Some(trend) = summary.trend.as_ref().filter(|t| t.per_fill.excludes_zero()) {
        let each = |i: &Interval| words::signed(weighing.unit().from_base(i.estimate), None);
        let hourly =
            trend.per_hour.as_ref().map_or_else(String::new, |h| format!(", {} {unit} an hour", each(h)));
        all.push(format!("Trend: {} {unit} from fill to fill{hourly}", each(&trend.per_fill)));
    }
    all.extend(strays(weighing));
    all.extend(
        summary
            .more_for_mean
            .filter(|more| *more > 0)
            .map(|more| format!("To know the mean well: {}", words::count(more, "more fill", "more fills"))),
    );
    all
}

/// Capability against the tolerance, once there are fills enough for advice.
fn capability(weighing: &Weighing) -> Option<(f64, f64)> {
    let summary = &weighing.summary;
    let (target, tolerance) = weighing.read.run.target().zip(weighing.question.tolerance)?;
    let spread = summary.spread.filter(|_| summary.more_for_advice == 0)?;
    stats::capability((target - tolerance, target + tolerance), summary.mean, spread.estimate)
}

fn strays(weighing: &Weighing) -> Option<String> {
    let strays = &weighing.summary.strays;
    let named: Vec<String> = strays
        .iter()
        .take(LISTED)
        .map(|s| format!("fill {} at {}", s.place, weighing.weight(s.value)))
        .collect();
    let more = strays.len() - named.len();
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    (!named.is_empty()).then(|| format!("Far off: {}{more}", named.join(", ")))
}

fn pairs(page: &mut Page, weighing: &Weighing) {
    let Some(pairs) = &weighing.summary.pairs else { return };
    let unit = weighing.unit().name;
    let range = |i: &Interval| {
        format!(
            "{} {unit} ({} to {})",
            weighing.signed(i.estimate),
            weighing.signed(i.low),
            weighing.signed(i.high)
        )
    };
    let mut all = vec![format!("Second scale less what was shown: {}", range(&pairs.difference))];
    all.extend(pairs.shown_error.as_ref().map(|e| format!("What was shown less the target: {}", range(e))));
    page.section("The same bags on both scales", all);
    page.text(if pairs.difference.excludes_zero() {
        "The two do not agree: look at the weighing, at product left behind, or at loss on the way."
    } else {
        "The two agree: look at feeding and cut-off."
    });
}

fn picture(weighing: &Weighing) -> Plot {
    let unit = weighing.unit();
    let target = weighing.read.run.target();
    Plot {
        values: weighing.read.run.values().iter().map(|v| unit.from_base(*v)).collect(),
        target: target.map(|t| unit.from_base(t)),
        limits: target
            .zip(weighing.question.tolerance)
            .map(|(t, half)| (unit.from_base(t - half), unit.from_base(t + half))),
        strays: weighing.summary.strays.iter().map(|s| s.place - 1).collect(),
        unit: unit.name.to_owned(),
    }
}
