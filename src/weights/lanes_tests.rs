//! Tests of lanes beside each other: a sick one is found, sound ones are not blamed.

use super::*;
use crate::weights::generate::Dice;
use crate::weights::run::RunInput;

/// Fills in rounds: what each lane adds, what each round adds, the scatter of each lane.
fn in_rounds(seed: u64, rounds: usize, lanes: &[(f64, f64)], shift: f64) -> (Vec<f64>, Vec<String>) {
    let mut dice = Dice::new(seed);
    let (mut values, mut names) = (Vec::new(), Vec::new());
    for _ in 0..rounds {
        let round = shift * dice.normal();
        for (at, (off, scatter)) in lanes.iter().enumerate() {
            values.push(500.0 + round + off + scatter * dice.normal());
            names.push((at + 1).to_string());
        }
    }
    (values, names)
}

fn found((values, lanes): (Vec<f64>, Vec<String>)) -> Lanes {
    let run = Run::new(RunInput { values, lanes, target: Some(500.0), ..RunInput::default() }).unwrap();
    compare_lanes(&run, 0, &Question { tolerance: Some(8.0), ..Question::default() }).unwrap()
}

fn apart(lanes: &Lanes) -> Vec<&str> {
    lanes.each.iter().filter(|l| l.apart()).map(|l| l.name.as_str()).collect()
}

#[test]
fn a_light_lane_is_found_under_a_shift_that_all_share() {
    let lanes = found(in_rounds(1, 8, &[(0.0, 1.0), (0.0, 1.0), (-4.0, 1.0), (0.0, 1.0)], 6.0));
    assert_eq!(apart(&lanes), ["3"], "{lanes:#?}");
    assert!(lanes.each[2].off && lanes.each[2].loose.is_none());
    let beside = lanes.each[2].beside.unwrap();
    assert!(beside.low < -4.0 && beside.high > -4.0 && beside.high < 0.0, "{beside:?}");
    assert_eq!(lanes.rounds, Some(8));
    assert!(lanes.shift.unwrap() > 6.0);
}

#[test]
fn a_lane_that_does_not_follow_is_told_from_one_that_is_off_and_does_not_hide_it() {
    let lanes = found(in_rounds(
        3,
        10,
        &[(0.0, 1.0), (-3.5, 1.0), (0.0, 1.0), (0.0, 12.0), (0.0, 1.0), (0.0, 1.0)],
        5.0,
    ));
    assert_eq!(apart(&lanes), ["2", "4"]);
    assert!(lanes.each[3].loose.unwrap() > 5.0);
    assert!(lanes.each[1].off && lanes.each[1].loose.is_none());
}

#[test]
fn lanes_that_are_alike_are_blamed_less_than_once_in_twenty_runs() {
    let wrong = |shift: f64, lanes: &[(f64, f64)]| {
        (0..400).filter(|&seed| !apart(&found(in_rounds(seed, 6, lanes, shift))).is_empty()).count()
    };
    for (shift, lanes) in [(0.0, 3), (5.0, 6), (5.0, 8)] {
        let blamed = wrong(shift, &vec![(0.0, 1.0); lanes]);
        assert!(blamed <= 30, "{blamed} of 400 with {lanes} lanes");
    }
}

#[test]
fn a_sick_lane_brings_no_blame_on_the_sound_ones() {
    let wrong = (0..200)
        .filter(|&seed| {
            let lanes =
                found(in_rounds(seed, 8, &[(0.0, 1.0), (9.0, 1.0), (0.0, 1.0), (0.0, 1.0), (0.0, 1.0)], 3.0));
            assert!(lanes.each[1].off, "missed with seed {seed}");
            apart(&lanes).len() > 1
        })
        .count();
    assert!(wrong <= 15, "{wrong} of 200");
}

#[test]
fn one_wild_fill_is_named_and_not_held_against_its_lane() {
    let (mut values, names) = in_rounds(5, 12, &[(0.0, 1.0), (0.0, 1.0), (0.0, 1.0), (0.0, 1.0)], 2.0);
    values[21] += 40.0;
    let lanes = found((values, names));
    assert_eq!(apart(&lanes), [""; 0]);
    assert_eq!(lanes.strays, [LaneStray { lane: "2".to_owned(), place: 22 }]);
}

#[test]
fn lanes_in_any_order_are_compared_without_rounds() {
    let (values, names) =
        in_rounds(7, 12, &[(0.0, 1.0), (3.0, 1.0), (0.0, 1.0), (0.0, 6.0), (0.0, 1.0)], 0.0);
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by_key(|&at| (names[at].clone(), at));
    let lanes = found((
        order.iter().map(|&i| values[i]).collect(),
        order.iter().map(|&i| names[i].clone()).collect(),
    ));
    assert_eq!((lanes.rounds, lanes.one_go), (None, true));
    assert_eq!(apart(&lanes), ["2", "4"]);
}

#[test]
fn the_looser_of_two_lanes_shows() {
    let (values, names) = in_rounds(21, 12, &[(0.0, 1.0), (0.0, 9.0)], 0.0);
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by_key(|&at| (names[at].clone(), at));
    let lanes = found((
        order.iter().map(|&i| values[i]).collect(),
        order.iter().map(|&i| names[i].clone()).collect(),
    ));
    assert_eq!(apart(&lanes), ["2"]);
    assert!(lanes.each[1].loose.unwrap() > 4.0 && !lanes.each[1].off, "{lanes:?}");
}

#[test]
fn halves_that_differ_and_two_lanes_blame_nobody() {
    let halves = found(in_rounds(9, 8, &[(0.0, 0.5), (0.0, 0.5), (5.0, 0.5), (5.0, 0.5)], 1.0));
    assert_eq!((halves.verdict.clone(), apart(&halves)), (LaneVerdict::Differ, vec![]));
    let two = found(in_rounds(9, 8, &[(0.0, 0.5), (5.0, 0.5)], 1.0));
    assert_eq!((two.verdict.clone(), apart(&two)), (LaneVerdict::Differ, vec![]));
    assert!(two.each[0].beside.unwrap().high < 0.0);
}

#[test]
fn too_few_fills_say_how_many_tell() {
    let few = found(in_rounds(11, 4, &[(0.0, 4.0); 4], 0.0));
    let LaneVerdict::CannotTell { more: Some(more), difference } = few.verdict else { panic!("{few:?}") };
    assert_eq!(difference, 2.0);
    let enough = found(in_rounds(11, 4 + 2 * more, &[(0.0, 4.0); 4], 0.0));
    assert!(matches!(enough.verdict, LaneVerdict::Alike { within } if within < 4.0), "{enough:?}");
    let one_each = found(in_rounds(11, 1, &[(0.0, 1.0); 4], 0.0));
    assert_eq!(one_each.verdict, LaneVerdict::TooFew { missing: 2 });
    assert_eq!(found(in_rounds(11, 9, &[(0.0, 1.0)], 0.0)).verdict, LaneVerdict::One);
}

#[test]
fn equal_fills_and_gaps_give_no_nan() {
    let names: Vec<String> = (0..30).map(|i| ["a", "b", "c", "", "d"][i % 5].to_owned()).collect();
    let lanes = found((vec![250.0; 30], names.clone()));
    assert_eq!(lanes.nameless, 6);
    assert_eq!(apart(&lanes), [""; 0]);
    let one_up: Vec<f64> = names.iter().map(|n| if n == "c" { 251.5 } else { 250.0 }).collect();
    let lanes = found((one_up, names));
    assert_eq!(apart(&lanes), ["c"]);
    assert!(!format!("{lanes:?}").contains("NaN"));
}

#[test]
fn a_difference_that_could_be_nearly_nothing_or_time_is_not_plain() {
    let fills = in_rounds(1, 8, &[(0.0, 1.0), (0.0, 1.0), (-4.0, 1.0), (0.0, 1.0)], 0.5);
    let mut lanes = found(fills.clone());
    assert!(lanes.sure(&lanes.each[2]));
    let mut order: Vec<usize> = (0..fills.0.len()).collect();
    order.sort_by_key(|&at| (fills.1[at].clone(), at));
    let one_go = found((
        order.iter().map(|&i| fills.0[i]).collect(),
        order.iter().map(|&i| fills.1[i].clone()).collect(),
    ));
    assert_eq!(apart(&one_go), ["3"]);
    assert!(!one_go.sure(&one_go.each[2]));
    lanes.each[2].beside = Some(Interval { estimate: -8.2, low: -16.0, high: -0.4 });
    assert!(!lanes.sure(&lanes.each[2]));
    lanes.each[2].loose = Some(5.0);
    assert!(lanes.sure(&lanes.each[2]));
}
