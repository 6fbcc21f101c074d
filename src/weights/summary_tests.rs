//! What the always-answered part promises.

use proptest::prelude::*;

use super::*;
use crate::weights::run::{RunInput, Tare};

fn run(values: &[f64], target: f64) -> Run {
    Run::new(RunInput { values: values.to_vec(), target: Some(target), ..RunInput::default() }).unwrap()
}

fn near(found: f64, wanted: f64, within: f64) {
    assert!((found - wanted).abs() <= within, "{found} for {wanted}");
}

const HEAVY: [f64; 10] = [504.1, 503.6, 504.8, 503.9, 504.4, 503.2, 504.6, 504.0, 503.7, 504.7];

#[test]
fn ten_fills_give_the_worked_mean_spread_and_range() {
    let found = summarise(&run(&HEAVY, 500.0), &Question::default());
    near(found.mean, 504.1, 0.05);
    near(found.spread.unwrap().estimate, 0.523, 5e-4);
    near(found.heaviest - found.lightest, 1.6, 1e-9);
    let error = found.error.unwrap();
    near(error.estimate, 4.1, 1e-9);
    near(error.half(), 0.374, 5e-4);
    assert_eq!(found.apart, 0);
}

#[test]
fn fewer_than_five_fills_say_how_many_are_missing() {
    let found = summarise(&run(&[247.0, 247.4], 250.0), &Question::default());
    assert_eq!(found.more_for_advice, 3);
    assert!(found.remarks.contains(&Remark::TooFew { missing: 3 }));
    let one = summarise(&run(&[247.0], 250.0), &Question::default());
    assert_eq!((one.spread, one.more_for_advice), (None, 4));
}

#[test]
fn a_frozen_display_gets_a_sentence_and_no_spread() {
    let found =
        summarise(&run(&[250.0; 12], 250.0), &Question { tolerance: Some(2.0), ..Question::default() });
    assert_eq!(found.spread, None);
    assert_eq!(found.lag_one, None);
    assert!(found.remarks.iter().any(|r| r.to_string().starts_with("Every value is 250 g")));
}

#[test]
fn a_slip_of_the_unit_is_asked_back() {
    let found = summarise(&run(&[1.102, 1.101, 1.103, 1.1, 1.102], 500.0), &Question::default());
    assert!(found.remarks.iter().any(|r| matches!(r, Remark::FarFromTarget { perhaps: Some("lb"), .. })));
    let kilos = summarise(&run(&[0.25, 0.251], 250.0), &Question::default());
    assert!(kilos.remarks.iter().any(|r| matches!(r, Remark::FarFromTarget { perhaps: Some("kg"), .. })));
    let odd = summarise(&run(&[90.0, 91.0], 500.0), &Question::default());
    assert!(odd.remarks.iter().any(|r| matches!(r, Remark::FarFromTarget { perhaps: None, .. })));
}

#[test]
fn two_fills_after_a_stop_are_set_apart_only_when_told_or_plain() {
    let calm = [250.1, 249.9, 250.3, 249.8, 250.0, 250.2, 249.7, 250.1, 250.0, 249.9];
    let told = summarise(&run(&calm, 250.0), &Question { start: Start::AfterStop, ..Question::default() });
    assert_eq!((told.apart, told.n), (2, 8));
    assert_eq!(summarise(&run(&calm, 250.0), &Question::default()).apart, 0);
    let mut plain = calm;
    (plain[0], plain[1]) = (238.0, 245.0);
    assert_eq!(summarise(&run(&plain, 250.0), &Question::default()).apart, 2);
    assert_eq!(
        summarise(&run(&plain, 250.0), &Question { start: Start::Running, ..Question::default() }).apart,
        0
    );
    plain[7] = 238.0;
    assert_eq!(
        summarise(&run(&plain, 250.0), &Question::default()).apart,
        0,
        "a stray later on is no start-up"
    );
}

#[test]
fn alike_neighbours_widen_the_mean_and_say_so() {
    let waves: Vec<f64> = (0..30).map(|i| 250.0 + (f64::from(i) / 4.0).sin()).collect();
    let found = summarise(&run(&waves, 250.0), &Question::default());
    assert!(found.worth < 10.0);
    assert!(found.remarks.iter().any(|r| matches!(r, Remark::Correlated { .. })));
    let plain = mean_interval(0.0, spread(&waves).unwrap(), 30.0, CONFIDENCE);
    assert!(found.error.unwrap().half() > 1.7 * plain.half());
}

#[test]
fn the_share_outside_is_counted_and_estimated() {
    // Values as in the capability example: limits 497 and 506 are 501.5 ± 4.5.
    let share = long_run_share((497.0 - 500.8) / 1.5, 1e6);
    near(share.estimate, 0.00565, 5e-6);
    let question = Question { tolerance: Some(4.5), ..Question::default() };
    let outside = summarise(&run(&HEAVY, 500.0), &question).outside.unwrap();
    assert_eq!((outside.light, outside.heavy), (0, 3));
    let estimated = outside.estimated.unwrap();
    assert!(estimated.low < 0.22 && estimated.high > 0.22);
}

#[test]
fn a_pair_parts_weighing_from_feeding() {
    let shown = vec![250.0, 250.2, 249.8, 250.1, 249.9, 250.0];
    let values: Vec<f64> = shown.iter().map(|s| s - 3.0).collect();
    let input = RunInput { values, shown, target: Some(250.0), ..RunInput::default() };
    let found = summarise(&Run::new(input).unwrap(), &Question::default()).pairs.unwrap();
    near(found.difference.estimate, -3.0, 1e-9);
    near(found.shown_error.unwrap().estimate, 0.0, 1e-9);
    assert!(found.difference_spread.is_none_or(|s| s.estimate < 1e-9));
    near(found.shown_spread.unwrap().estimate, 0.1414, 1e-3);
}

#[test]
fn a_trend_is_told_by_the_fill_and_by_the_hour() {
    let values: Vec<f64> = (0..20).map(|i| 250.0 + 0.1 * f64::from(i)).collect();
    let times = (0..20).map(|i| 30.0 * f64::from(i)).collect();
    let input = RunInput { values, times, target: Some(250.0), ..RunInput::default() };
    let trend = summarise(&Run::new(input).unwrap(), &Question::default()).trend.unwrap();
    near(trend.per_fill.estimate, 0.1, 1e-9);
    near(trend.per_hour.unwrap().estimate, 12.0, 1e-6);
}

#[test]
fn strays_are_named_by_their_place() {
    let mut values = HEAVY;
    values[6] = 480.0;
    let found = summarise(&run(&values, 500.0), &Question::default());
    assert_eq!(found.strays.iter().map(|s| s.place).collect::<Vec<_>>(), [7]);
    assert!(found.strays[0].distance < -3.5);
}

#[test]
fn rounding_is_told_as_a_share_of_the_scatter() {
    for (step, spread, share) in [(0.1, 0.0289, 0.0008), (0.5, 0.1443, 0.0208), (1.0, 0.2887, 0.0833)] {
        let input = RunInput { values: vec![1.0, 2.0], division: Some(step), ..RunInput::default() };
        let found = rounding(&Run::new(input).unwrap(), Some(1.0)).unwrap();
        near(found.spread, spread, 5e-5);
        near(found.share.unwrap(), share, 5e-5);
    }
}

#[test]
fn it_says_how_many_more_fills_the_mean_needs() {
    let question = Question { mean_within: Some(0.1), ..Question::default() };
    let found = summarise(&run(&HEAVY, 500.0), &question);
    let total = fills_for_mean(found.spread.unwrap().estimate, 0.1, CONFIDENCE).unwrap();
    assert_eq!(found.more_for_mean, Some(total - 10));
    let close = Question { mean_within: Some(5.0), ..Question::default() };
    assert_eq!(summarise(&run(&HEAVY, 500.0), &close).more_for_mean, Some(0));
}

#[test]
fn gross_weights_and_empty_bags_are_remarked() {
    let tare = Some(Tare { kind: TareKind::None, values: Vec::new() });
    let input = RunInput { values: vec![250.0, 0.0], tare, target: Some(250.0), ..RunInput::default() };
    let found = summarise(&Run::new(input).unwrap(), &Question::default());
    assert!(found.remarks.contains(&Remark::Gross));
    assert!(found.remarks.contains(&Remark::NotPositive { fills: 1 }));
}

proptest! {
    #[test]
    fn no_run_gives_a_number_that_is_none(
        values in prop::collection::vec(prop_oneof![-1e9f64..1e9, 249.0f64..251.0, Just(250.0), Just(0.0)], 1..40),
        target in prop::option::of(1e-3f64..1e6),
        tolerance in prop::option::of(1e-6f64..1e6),
    ) {
        let run = Run::new(RunInput { shown: values.clone(), values, target, ..RunInput::default() }).unwrap();
        let found = summarise(&run, &Question { tolerance, ..Question::default() });
        // A NaN or an infinity would be written as null where a number stands.
        let text = format!("{found:?}");
        prop_assert!(!text.contains("NaN") && !text.contains("inf,") && !text.contains("inf }"), "{}", text);
    }

    #[test]
    fn a_shift_of_all_fills_moves_the_mean_and_nothing_else(
        values in prop::collection::vec(240.0f64..260.0, 5..40),
        shift in -100.0f64..100.0,
    ) {
        let moved: Vec<f64> = values.iter().map(|v| v + shift).collect();
        let asked = Question { start: Start::Running, ..Question::default() };
        let (a, b) = (summarise(&run(&values, 250.0), &asked), summarise(&run(&moved, 250.0), &asked));
        prop_assert!((b.mean - a.mean - shift).abs() < 1e-9);
        prop_assert!((b.spread.unwrap().high - a.spread.unwrap().high).abs() < 1e-6);
    }
}
