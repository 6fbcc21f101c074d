//! Rules on what fills may weigh: as an entry, and what one says of a run.

use super::{Page, Words, words};
use crate::knowledge::{Judges, Market, Rule, Size};
use crate::units::{Kind, Unit};
use crate::weights::Interval;
use crate::weights::rules::{Giveaway, Judgement, Outcome, Point, Silent, What};

/// A rule with what it says of a run.
#[derive(Debug, Clone)]
pub struct Judged {
    /// The rule.
    pub rule: Rule,
    /// What it says, or why it says nothing.
    pub said: Result<Judgement, Silent>,
}

/// One in a million: less is said in words.
const LEAST_SHARE: f64 = 1e-6;

/// Weights as a run shows them.
pub(super) struct Shown<'a> {
    /// With its unit, as the display shows it.
    pub(super) weight: &'a dyn Fn(f64) -> String,
    /// With its unit, a digit finer.
    pub(super) figure: &'a dyn Fn(f64) -> String,
}

fn market(market: Market) -> &'static str {
    match market {
        Market::Eu => "the European Union",
        Market::Us => "the United States",
        Market::Anywhere => "any market whose law takes it up",
    }
}

/// The body of a rule's own page.
pub(super) fn rule(page: &mut Page, rule: &Rule) {
    page.text(format!("For {}. {}.", market(rule.market), rule.edition));
    page.text(match rule.judges {
        Judges::Average => {
            "The average is at least the label. At most 1 pack in 40 is short by more than the limit, none by more than twice of it."
        }
        Judges::NetContents => "The average is at least the label. No pack is short by more than the limit.",
        Judges::EachFill => "No fill lies further from the average of the fills than the limit of class X(1) times the class.",
    });
    let weight = |grams: f64| words::size(grams, scaled(grams), None);
    let limit = |limit: &crate::knowledge::Limit| {
        let size = match limit.size {
            Size::Share(share) => format!("{} % of it", words::rounded(share * 100.0, None)),
            Size::Grams(grams) => weight(grams),
        };
        limit
            .up_to
            .map_or_else(|| format!("above: {size}"), |up_to| format!("up to {}: {size}", weight(up_to)))
    };
    page.section("The limit, by weight", rule.limits.iter().map(limit));
    if let Some(step) = rule.rounds_up_to {
        page.text(format!("A percentage is rounded up to the next {}.", weight(step)));
    }
    unconfirmed(page, rule);
}

fn scaled(grams: f64) -> &'static Unit {
    let kilograms = Unit::find("kg").filter(|_| grams >= 1000.0);
    kilograms.unwrap_or(Kind::Mass.base())
}

fn unconfirmed(page: &mut Page, rule: &Rule) {
    if let Some(what) = &rule.unconfirmed {
        page.text(Words::new().strong("Indication, figures unconfirmed. ").plain(what.as_str()));
    }
}

/// What a rule says of a run: the verdict, then point by point.
pub(super) fn judged(page: &mut Page, judged: &Judged, shown: &Shown<'_>) {
    let rule = &judged.rule;
    page.heading(rule.head.title.clone());
    let judgement = match &judged.said {
        Ok(judgement) => judgement,
        Err(silent) => return page.text(silence(*silent)),
    };
    let indication = if rule.unconfirmed.is_some() { "Indication: " } else { "" };
    let verdict = words::sentence_start(&format!("{indication}{}.", outcome(judgement.outcome())));
    page.text(Words::new().strong(verdict).plain(format!(" {}.", rule.edition)));
    page.bullets(judgement.points.iter().map(|point| said(point, rule, judgement, shown)));
    if let Some(lowest) = judgement.lowest_target {
        let (safe, measured) = ((shown.figure)(lowest.safe), (shown.figure)(lowest.measured));
        let lower = if safe == measured {
            String::new()
        } else {
            format!(" The spread as measured would allow {measured}.")
        };
        page.text(
            Words::new().plain("Lowest target for this spread: ").strong(safe).plain(format!(
                ", from the spread's upper limit.{lower} Add for drift, empty bags and drying."
            )),
        );
    }
    if let Some(giveaway) = &judgement.giveaway {
        page.text(given_away(giveaway, shown));
    }
    unconfirmed(page, rule);
    page.text("A packer's guide, no inspection. What an inspector weighs and counts is in the rule itself.");
}

fn silence(silent: Silent) -> &'static str {
    match silent {
        Silent::OutOfRange => "It says nothing of this weight: it is for others.",
        Silent::NoSpread => "Nothing can be said: a spread needs two fills that differ.",
        Silent::NoClass => "It needs the filler's class: give --class, as on its plate, like 0.5 for X(0.5).",
    }
}

fn outcome(outcome: Outcome) -> String {
    match outcome {
        Outcome::Passes => "passes".to_owned(),
        Outcome::Fails => "fails".to_owned(),
        Outcome::TooFew { more: Some(more) } => {
            format!("too few fills to say; about {} would tell", words::count(more, "more", "more"))
        }
        Outcome::TooFew { more: None } => {
            "too close to the limit to say, even with thousands of fills".to_owned()
        }
    }
}

fn said(point: &Point, rule: &Rule, judgement: &Judgement, shown: &Shown<'_>) -> String {
    let (weight, figure) = (shown.weight, shown.figure);
    let Interval { estimate, low, high } = point.measured;
    let between = |say: &dyn Fn(f64) -> String| format!("{} ({} to {})", say(estimate), say(low), say(high));
    let times = if rule.judges == Judges::Average { 2.0 } else { 1.0 };
    let what = match point.what {
        What::Average => format!("Average at least {}: {}", weight(point.limit), between(figure)),
        What::Short => {
            format!("At most 1 in 40 short by over {}: {}", weight(judgement.limit), shares(point))
        }
        What::FarShort => format!(
            "None short by over {} (fewer than 1 in 10,000): {}",
            weight(times * judgement.limit),
            shares(point)
        ),
        What::EachFill => format!(
            "No fill further than {} from the average: the furthest is {} off",
            figure(point.limit),
            figure(point.measured.estimate)
        ),
        What::Setting => {
            format!("Average within {} of the set weight: off by {}", figure(point.limit), between(figure))
        }
    };
    format!("{what}. {}.", words::sentence_start(&outcome(point.outcome)))
}

/// A share in the long run, and where it lies.
fn shares(point: &Point) -> String {
    let Interval { estimate, low, high } = point.measured;
    if high < LEAST_SHARE {
        return "hardly any in the long run".to_owned();
    }
    format!("{} in the long run ({} to {})", share(estimate), share(low), share(high))
}

fn share(share: f64) -> String {
    if share < LEAST_SHARE {
        "hardly any".to_owned()
    } else if share < 0.001 {
        format!("1 in {}", words::thousands((1.0 / share).round()))
    } else {
        words::percent(share)
    }
}

fn given_away(giveaway: &Giveaway, shown: &Shown<'_>) -> String {
    let figure = shown.figure;
    if giveaway.per_fill < 0.0 {
        return "Nothing is given away: the average is under the label.".to_owned();
    }
    let mut all = vec![format!(
        "{} a fill ({} %), {} kg a thousand",
        figure(giveaway.per_fill),
        words::rounded(giveaway.share * 100.0, Some(0.01)),
        words::rounded(giveaway.per_fill, Some(0.01))
    )];
    all.extend(giveaway.kg_a_year.map(|kg| format!("{} kg a year", words::thousands(kg.round()))));
    all.extend(
        giveaway
            .money_a_year
            .map(|money| format!("{} a year at that price", words::thousands(money.round()))),
    );
    let saves = giveaway
        .smaller_spread_saves
        .map(|grams| format!(" A spread as usual would save {} a fill.", figure(grams)));
    format!("Given away: {}.{}", words::and(&all), saves.unwrap_or_default())
}
