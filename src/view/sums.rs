//! Sums at a scale: what it comes to first, the figures after.

use super::{Page, Words, words};
use crate::units::Unit;
use crate::weights::scale::{Corners, Cycle, Empties, FEWEST, RejectPoint, Repeats, Signal, ZeroAndSpan};

/// Weights as they are shown: in the unit typed, as fine as what was typed.
#[derive(Debug, Clone, Copy)]
pub struct Fine {
    /// The unit.
    pub unit: &'static Unit,
    /// The finest step typed, in that unit.
    pub step: f64,
}

impl Fine {
    fn weight(self, grams: f64) -> String {
        words::size(grams, self.unit, Some(self.step))
    }

    fn finer(self, grams: f64) -> String {
        words::size(grams, self.unit, Some(self.step / 10.0))
    }

    fn signed(self, grams: f64) -> String {
        format!("{} {}", words::signed(self.unit.from_base(grams), Some(self.step)), self.unit.name)
    }
}

fn answer(title: &str, said: &str) -> Page {
    let mut page = Page::titled(title);
    page.text(Words::new().strong(said));
    page
}

/// Where a limit comes from.
fn from(limit: Option<&str>) -> String {
    limit.map_or_else(String::new, |load| {
        format!(" The limit is what a class III scale may be off in service at {load}.")
    })
}

/// Corners against the centre. `class` is the load whose class limit was taken, when no limit was given.
pub fn corners(found: &Corners, fine: Fine, class: Option<&str>) -> Page {
    let beyond: Vec<String> =
        found.corners.iter().filter(|c| c.beyond).map(|c| format!("corner {}", c.place)).collect();
    let said = if beyond.is_empty() {
        "Every corner is within the limit.".to_owned()
    } else {
        format!("Beyond the limit: {}.", words::and(&beyond))
    };
    let mut page = answer("Corners", &said);
    let line = |c: &crate::weights::scale::Corner| {
        format!("Corner {}: {}, {} from the centre", c.place, fine.weight(c.reading), fine.signed(c.off))
    };
    page.bullets(found.corners.iter().map(line));
    page.text(format!("Allowed: {} either way.{}", fine.finer(found.limit), from(class)));
    if !beyond.is_empty() {
        page.text("Look first for a touch, a loose pan and a loose cell. No corner is filed or trimmed in the field.");
    }
    how(&mut page, "corner-weights");
    page
}

/// Repeats against a limit.
pub fn repeats(found: &Repeats, fine: Fine, class: Option<&str>) -> Page {
    let said = if found.within { "It repeats." } else { "It does not repeat." };
    let mut page = answer("The same weight several times", said);
    page.text(format!(
        "Largest less smallest of {}: {}, allowed {}.{}",
        words::count(found.n, "reading", "readings"),
        fine.weight(found.range),
        fine.finer(found.limit),
        from(class)
    ));
    if let Some(spread) = found.spread {
        page.text(format!("Spread: {}.", fine.finer(spread)));
    }
    if !found.within {
        page.text("Something rubs, the pan is loose, or the cell is hurt.");
    }
    how(&mut page, "weight-repeats");
    page
}

/// An error taken apart.
pub fn zero_and_span(found: &ZeroAndSpan, fine: Fine) -> Page {
    let said = if found.zero == 0.0 && found.span == 0.0 {
        "No error."
    } else if found.zero.abs() >= found.span.abs() {
        "Most of it is zero: the same at every weight."
    } else {
        "Most of it is span: it grows with the weight."
    };
    let mut page = answer("Zero and span", said);
    page.bullets([
        format!("Zero: {}", fine.signed(found.zero)),
        format!(
            "Span: {}, {} % of the load",
            fine.signed(found.span),
            words::signed(found.span_share * 100.0, Some(0.01))
        ),
        format!(
            "Readings less zero are right when multiplied by {}",
            words::rounded(found.factor, Some(1e-6))
        ),
    ]);
    page.text("Zero first: pan free, level, warm. Span only with a known weight, and never on a sealed scale: that is for the authorised body.");
    how(&mut page, "test-weight-on-pan");
    page
}

/// The signal of a step.
pub fn signal(found: &Signal) -> Page {
    let figure = |figure: f64, step: f64| words::rounded(figure, Some(step));
    let mut page = answer(
        "Signal for a step",
        &format!("One step of the display is {} microvolts.", figure(found.microvolts_a_step, 0.001)),
    );
    page.bullets([
        format!("At full capacity: {} mV", figure(found.full_mv, 0.001)),
        format!(
            "From the live load: {} mV, in {} steps",
            figure(found.live_mv, 0.001),
            words::thousands(found.steps.round())
        ),
    ]);
    page.text("Hold it against the least signal for a step that the indicator's own sheet names. Below that, figures flicker whatever is done.");
    page
}

/// Empty bags.
pub fn empties(found: &Empties, fine: Fine, rule: &str) -> Page {
    let said = if found.n < FEWEST {
        "Too few bags to say."
    } else if found.mean_may_stand {
        "One mean tare may stand for each."
    } else {
        "One mean tare will not do: tare each bag, or get bags that vary less."
    };
    let mut page = answer("Empty bags", said);
    page.bullets([
        format!(
            "Mean: {}, of {}, {} of the label",
            fine.finer(found.mean),
            words::count(found.n, "bag", "bags"),
            words::percent(found.share)
        ),
        format!(
            "Spread: {}; up to {} where the mean is a twentieth of the label or more",
            fine.finer(found.spread),
            fine.finer(found.limit)
        ),
    ]);
    if found.n < FEWEST {
        page.text(format!("{} is few: weigh {FEWEST} or more.", words::count(found.n, "bag", "bags")));
    }
    page.text(format!(
        "A quarter of what a pack may be short, by: {rule}. Other countries use other limits."
    ));
    page
}

/// A checkweigher's reject point.
pub fn reject_point(found: &RejectPoint, limit: f64, fine: Fine) -> Page {
    let mut page = answer("Reject point", &format!("Reject below {}.", fine.finer(found.reject_below)));
    page.bullets([
        format!(
            "Spread of {} of one pack: {}",
            words::count(found.n, "pass", "passes"),
            fine.finer(found.spread)
        ),
        format!(
            "From {} to {} it may decide either way",
            fine.finer(limit - found.half_width),
            fine.finer(limit + found.half_width)
        ),
        format!(
            "Of packs that weigh just {}, 1 in {} still gets by",
            fine.weight(limit),
            words::thousands((1.0 / found.missed).round())
        ),
    ]);
    if found.n < FEWEST {
        page.text(format!("{} is few: make {FEWEST} or more.", words::count(found.n, "pass", "passes")));
    }
    page
}

/// Fills a minute.
pub fn cycle(found: &Cycle, heads: f64, wanted: Option<f64>) -> Page {
    let rate = found.a_minute() * heads;
    let figure = |figure: f64| words::rounded(figure, Some(0.1));
    let said = match wanted {
        Some(wanted) if rate < wanted => {
            format!("{} fills a minute: too few for {}.", figure(rate), words::rounded(wanted, None))
        }
        _ => format!("{} fills a minute.", figure(rate)),
    };
    let mut page = answer("Fills a minute", &said);
    let seconds = |s: f64| format!("{} s", words::rounded(s, Some(0.01)));
    page.bullets([
        format!("Coarse feed: {}", seconds(found.coarse)),
        format!("Fine feed: {}", seconds(found.fine)),
        format!("Settling, emptying and between: {}", seconds(found.rest)),
        format!("One fill: {}", seconds(found.seconds())),
    ]);
    if let Some(wanted) = wanted.filter(|wanted| rate < *wanted) {
        let heads = (wanted / found.a_minute()).ceil();
        page.text(format!(
            "So many at this pace need {} weigh heads. Sustained, with stops, expect less.",
            words::thousands(heads)
        ));
    }
    page
}

/// Where it is said how this is measured; the steps stand there with their cautions.
fn how(page: &mut Page, check: &str) {
    page.hint(format!("handlamp show {check} says how it is measured, with its cautions and the lockout."));
}
