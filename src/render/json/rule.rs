//! Rules on what fills may weigh, and what they say of a run. Masses are grams, shares from 0 to 1.

use serde::Serialize;

use crate::knowledge::{JUDGES, MARKETS, Market, Rule, Size};
use crate::weights::Interval;
use crate::weights::rules::{Giveaway, Judgement, Outcome, What};

/// A rule as an entry.
#[derive(Debug, Serialize)]
pub(super) struct RuleOut {
    market: &'static str,
    edition: String,
    judges: &'static str,
    from_g: f64,
    to_g: Option<f64>,
    limits: Vec<LimitOut>,
    rounds_up_to_g: Option<f64>,
    setting_share: Option<f64>,
    unconfirmed: Option<String>,
}

#[derive(Debug, Serialize)]
struct LimitOut {
    up_to_g: Option<f64>,
    share: Option<f64>,
    amount_g: Option<f64>,
}

fn word<T: PartialEq>(table: &[(&'static str, T)], value: &T) -> &'static str {
    table.iter().find(|(_, known)| known == value).map_or("", |(word, _)| word)
}

fn market(market: Market) -> &'static str {
    word(MARKETS, &market)
}

pub(super) fn out(rule: &Rule) -> RuleOut {
    let limit = |limit: &crate::knowledge::Limit| LimitOut {
        up_to_g: limit.up_to,
        share: if let Size::Share(share) = limit.size { Some(share) } else { None },
        amount_g: if let Size::Grams(grams) = limit.size { Some(grams) } else { None },
    };
    RuleOut {
        market: market(rule.market),
        edition: rule.edition.clone(),
        judges: word(JUDGES, &rule.judges),
        from_g: rule.range.0,
        to_g: rule.range.1,
        limits: rule.limits.iter().map(limit).collect(),
        rounds_up_to_g: rule.rounds_up_to,
        setting_share: rule.setting_share,
        unconfirmed: rule.unconfirmed.clone(),
    }
}

/// What a rule says of a run.
#[derive(Debug, Serialize)]
pub(super) struct JudgedOut<'a> {
    rule: &'a str,
    market: &'static str,
    edition: &'a str,
    unconfirmed: Option<&'a str>,
    label: f64,
    limit: f64,
    outcome: &'static str,
    more: Option<usize>,
    points: Vec<PointOut<'a>>,
    lowest_target: Option<f64>,
    lowest_target_as_measured: Option<f64>,
    giveaway: Option<&'a Giveaway>,
}

#[derive(Debug, Serialize)]
struct PointOut<'a> {
    what: &'static str,
    limit: f64,
    measured: &'a Interval,
    outcome: &'static str,
    more: Option<usize>,
}

fn outcome(outcome: Outcome) -> (&'static str, Option<usize>) {
    match outcome {
        Outcome::Passes => ("passes", None),
        Outcome::Fails => ("fails", None),
        Outcome::TooFew { more } => ("too-few-to-say", more),
    }
}

pub(super) fn judged<'a>(rule: &'a Rule, judgement: &'a Judgement) -> JudgedOut<'a> {
    let (said, more) = outcome(judgement.outcome());
    let point = |point: &'a crate::weights::rules::Point| {
        let (said, more) = outcome(point.outcome);
        let what = match point.what {
            What::Average => "average",
            What::Short => "short-by-the-limit",
            What::FarShort => "short-by-twice-the-limit",
            What::EachFill => "each-fill-from-the-average",
            What::Setting => "average-from-the-set-weight",
        };
        PointOut { what, limit: point.limit, measured: &point.measured, outcome: said, more }
    };
    JudgedOut {
        rule: rule.id.as_str(),
        market: market(rule.market),
        edition: &rule.edition,
        unconfirmed: rule.unconfirmed.as_deref(),
        label: judgement.label,
        limit: judgement.limit,
        outcome: said,
        more,
        points: judgement.points.iter().map(point).collect(),
        lowest_target: judgement.lowest_target.map(|lowest| lowest.safe),
        lowest_target_as_measured: judgement.lowest_target.map(|lowest| lowest.measured),
        giveaway: judgement.giveaway.as_ref(),
    }
}
