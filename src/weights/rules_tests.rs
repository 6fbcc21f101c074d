//! Verdicts against figures worked out elsewhere, and what a packer may count on.

use super::*;
use crate::knowledge::{Knowledge, Texts, load};
use crate::weights::stats::normal_quantile;
use crate::weights::{Question, Run, RunInput, summarise};

fn built_in() -> Knowledge {
    load(&Texts::built_in()).0
}

/// A run of these fills held against a rule.
fn judged(rule: &Rule, fills: &[f64], held: &Held) -> Result<Judgement, Silent> {
    let run = Run::new(RunInput { values: fills.to_vec(), target: Some(held.label), ..RunInput::default() });
    let run = run.expect("a run");
    judge(rule, fills, &summarise(&run, &Question::default()), held)
}

/// Fills evenly through a normal distribution, light and heavy by turns so that they are no trend.
fn fills(mean: f64, spread: f64, n: usize) -> Vec<f64> {
    let fill = |i: usize| normal_quantile((i as f64 + 0.5) / n as f64) * spread + mean;
    (0..n).map(|i| fill(if i % 2 == 0 { i / 2 } else { n - 1 - i / 2 })).collect()
}

fn label(label: f64) -> Held {
    Held { label, ..Held::default() }
}

// Law and guidance: nominal 200 g, 9 g short allowed.
#[test]
fn the_lowest_target_follows_the_spread() {
    for (spread, target) in [(4.0, 200.0), (5.0, 200.8), (6.0, 204.32)] {
        let lowest = lowest_target(Judges::Average, 200.0, 9.0, spread);
        assert!((lowest - target).abs() < 0.005, "{spread}: {lowest}");
    }
}

// Derived: 3 g over 500 g, 30 a minute for 16 h on 250 days at 85 %, 4 a kilogram.
#[test]
fn what_is_given_away_a_year_is_fills_by_surplus_by_price() {
    let rule = &built_in().rules["eu-average-quantity"];
    let fills_a_year = 30.0 * 60.0 * 16.0 * 250.0 * 0.85;
    let held = Held { fills_a_year: Some(fills_a_year), price: Some(4.0), ..label(500.0) };
    let giveaway = judged(rule, &fills(503.0, 1.0, 20), &held).unwrap().giveaway.unwrap();
    assert!((giveaway.kg_a_year.unwrap() - 18_360.0).abs() < 1.0, "{giveaway:?}");
    assert!((giveaway.money_a_year.unwrap() - 73_440.0).abs() < 4.0, "{giveaway:?}");
    assert!((giveaway.share - 0.006).abs() < 1e-6);
}

// Derived: 6 g against 4 g of spread at 200 g.
#[test]
fn a_smaller_spread_is_worth_the_lower_target_that_it_allows() {
    let rule = &built_in().rules["eu-average-quantity"];
    let held = Held { usual_spread: Some(4.0), ..label(200.0) };
    let run = fills(206.0, 6.0, 41);
    let found = judged(rule, &run, &held).unwrap();
    let spread = super::super::stats::spread(&run).unwrap();
    let saves = found.giveaway.unwrap().smaller_spread_saves.unwrap();
    assert!((saves - (200.0 - 18.0 + 3.72 * spread - 200.0)).abs() < 1e-9, "{saves}");
}

#[test]
fn a_run_well_over_its_label_passes_and_one_well_under_it_fails() {
    let rule = &built_in().rules["eu-average-quantity"];
    assert_eq!(judged(rule, &fills(252.0, 1.0, 20), &label(250.0)).unwrap().outcome(), Outcome::Passes);
    assert_eq!(judged(rule, &fills(248.0, 1.0, 20), &label(250.0)).unwrap().outcome(), Outcome::Fails);
}

#[test]
fn what_cannot_be_said_yet_says_how_many_more_would_tell_and_they_do() {
    let rule = &built_in().rules["eu-average-quantity"];
    let (mean, spread) = (250.4, 2.0);
    let Outcome::TooFew { more: Some(more) } =
        judged(rule, &fills(mean, spread, 20), &label(250.0)).unwrap().outcome()
    else {
        panic!("twenty fills told already");
    };
    assert!((10..=200).contains(&more), "{more}");
    let enough = judged(rule, &fills(mean, spread, 20 + more + more / 5), &label(250.0)).unwrap();
    assert_eq!(enough.outcome(), Outcome::Passes, "{enough:?}");
}

#[test]
fn one_pack_short_by_far_fails_whatever_the_average() {
    let knowledge = built_in();
    for (id, far) in [("eu-average-quantity", 18.5), ("us-net-contents", 13.0)] {
        let mut run = fills(256.0, 0.5, 30);
        run[12] = 250.0 - far;
        let found = judged(&knowledge.rules[id], &run, &label(250.0)).unwrap();
        let point = found.points.iter().find(|p| p.what == What::FarShort).unwrap();
        assert_eq!((point.outcome, found.outcome()), (Outcome::Fails, Outcome::Fails), "{id}: {point:?}");
    }
}

#[test]
fn a_filler_s_class_is_held_against_the_average_of_the_fills_not_the_set_weight() {
    let knowledge = built_in();
    let rule = &knowledge.rules["filler-class-in-use"];
    let held = Held { class: Some(0.5), ..label(250.0) };
    // 4.5 g either way of their average; a quarter of it, 1.125 g, off the set weight.
    let off = judged(rule, &fills(253.0, 1.0, 30), &held).unwrap();
    let outcomes: Vec<_> = off.points.iter().map(|p| (p.what, p.outcome)).collect();
    assert_eq!(outcomes, [(What::EachFill, Outcome::Passes), (What::Setting, Outcome::Fails)]);
    assert_eq!(
        judged(rule, &fills(250.0, 1.0, 5), &held).unwrap().outcome(),
        Outcome::TooFew { more: Some(5) }
    );
    assert_eq!(judged(rule, &fills(250.0, 1.0, 30), &label(250.0)), Err(Silent::NoClass));
}

#[test]
fn nothing_is_said_without_a_spread_or_outside_the_range() {
    let rule = &built_in().rules["eu-average-quantity"];
    assert_eq!(judged(rule, &[250.0; 10], &label(250.0)), Err(Silent::NoSpread));
    assert_eq!(judged(rule, &fills(12_000.0, 5.0, 10), &label(12_000.0)), Err(Silent::OutOfRange));
}
