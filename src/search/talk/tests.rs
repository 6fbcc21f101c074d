//! What callers say, and what is read out of it, against the built-in words.

use std::sync::LazyLock;

use super::*;
use crate::knowledge::{Texts, load};

static KNOWLEDGE: LazyLock<Knowledge> = LazyLock::new(|| load(&Texts::built_in()).0);

/// One line a meaning, short enough for a table.
fn told(text: &str) -> Vec<String> {
    let line = |t: Told| match t.means {
        Meaning::EverRight(yes) => format!("ever-right {yes}"),
        Meaning::Since(text) => format!("since '{text}'"),
        Meaning::ComesAndGoes(yes) => format!("comes-and-goes {yes}"),
        Meaning::When(text) => format!("when '{text}'"),
        Meaning::Circumstance(id, yes) => format!("{id} {yes}"),
        Meaning::Share(share) => format!("{share} %"),
        Meaning::Amounts(a) => {
            let figure = |name: &str, value: Option<f64>| {
                value.map_or_else(String::new, |v| format!(" {name} {}", (v * 1000.0).round() / 1000.0))
            };
            format!(
                "{}:{}{}{}{}{}",
                if a.unit_said { a.unit.name } else { "?" },
                figure("target", a.target),
                figure("error", a.error),
                figure("off", a.off),
                figure("shown", a.shown),
                figure("weighed", a.weighed)
            )
        }
    };
    read(&KNOWLEDGE, text).into_iter().map(line).collect()
}

fn check(table: &[(&str, &[&str])]) {
    let wrong: Vec<String> = table
        .iter()
        .filter(|(said, means)| told(said) != *means)
        .map(|(said, means)| format!("{said}\n  wanted {means:?}\n  read   {:?}", told(said)))
        .collect();
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn whether_it_was_ever_right_is_read() {
    check(&[
        ("it has never worked", &["ever-right false"]),
        ("it's never been right, this thing", &["ever-right false"]),
        ("wrong from day one", &["ever-right false"]),
        ("it worked for months", &["ever-right true"]),
        ("it was fine until Tuesday", &["ever-right true"]),
        ("we used to get twenty a minute", &[]),
        ("all our bags are under", &[]),
    ]);
}

#[test]
fn since_when_is_kept_in_the_callers_words() {
    check(&[
        ("light since Monday", &["since 'since Monday'"]),
        ("since yesterday it drifts", &["since 'since yesterday'"]),
        ("it has wandered since last week", &["since 'since last week'"]),
        ("started on Monday morning", &["since 'started on Monday morning'"]),
        ("began three weeks ago", &["since 'began three weeks ago'"]),
        ("since the weekend clean the bags are short", &["since 'since the weekend clean'", "cleaned true"]),
    ]);
}

#[test]
fn what_happened_before_is_read_and_so_is_that_it_did_not() {
    check(&[
        ("after the new bag size it is heavy", &["since 'after the new bag'", "product-changed true"]),
        ("we moved the machine and now it dances", &["moved true"]),
        ("nobody has moved the machine", &["moved false"]),
        ("since Monday, nobody moved the machine", &["since 'since Monday'", "moved false"]),
        ("we haven't cleaned it", &["cleaned false"]),
        ("after the power cut it lost its settings", &["since 'after the power cut'", "settings-lost true"]),
        ("the engineer serviced it last week", &["after-service true"]),
        ("different supplier this time", &["new-lot true"]),
        ("the pan is clean", &[]),
    ]);
}

#[test]
fn when_it_happens_and_whether_it_comes_and_goes_is_read() {
    let late = "when 'in the afternoon, or late in the run'";
    check(&[
        ("only in the afternoon", &[late]),
        ("drifts after lunch", &[late]),
        ("only when it's really cold", &["when 'when it is cold'"]),
        ("it jumps when the next machine runs", &["when 'when a neighbour runs'"]),
        ("every now and then one is heavy", &["comes-and-goes true"]),
        ("not every time", &["comes-and-goes true"]),
        ("sometimes, one in ten", &["comes-and-goes true", "10 %"]),
        ("about 1 in 20 is heavy", &["comes-and-goes true", "5 %"]),
    ]);
}

#[test]
fn amounts_are_read_with_their_unit_and_side() {
    check(&[
        ("about 3 g light of 250", &["g: target 250 error -3"]),
        ("light, about 3 g of 250", &["g: target 250 error -3"]),
        ("about three grams over", &["g: error 3"]),
        ("half an ounce under", &["oz: error -0.5"]),
        ("247 instead of 250 grams", &["g: target 250 error -3 weighed 247"]),
        ("it shows 250, weighs 247", &["?: error -3 shown 250 weighed 247"]),
        ("display says 250 g but the bag weighs 247.5", &["g: error -2.5 shown 250 weighed 247.5"]),
        ("should be 1 kg and we get 990 g", &["kg: target 1 error -0.01 weighed 0.99"]),
        ("our 250g bags are 3g heavy", &["g: target 250 error 3"]),
        ("5 % light on 250 g", &["g: target 250 error -12.5"]),
        ("they are 4 grams out", &["g: off 4"]),
        ("20 bags a minute", &[]),
        ("on line 2 for 3 weeks", &[]),
        ("a bit light", &[]),
    ]);
}

#[test]
fn amounts_propose_the_symptom_of_their_side() {
    let ids = |text: &str| -> Vec<String> {
        symptoms(&KNOWLEDGE, &read(&KNOWLEDGE, text)).iter().map(ToString::to_string).collect()
    };
    assert_eq!(ids("about 3 g of 250 light"), ["fills-steadily-light"]);
    assert_eq!(ids("sometimes one is 30 g over"), ["stray-heavy-fills"]);
    assert!(ids("they are 4 g out").is_empty());
}

#[test]
fn the_words_quoted_are_those_that_were_read() {
    let quoted = |text: &str| -> Vec<String> { read(&KNOWLEDGE, text).into_iter().map(|t| t.said).collect() };
    assert_eq!(
        quoted("Nobody has moved the machine, it worked for months"),
        ["worked for months", "Nobody has moved the machine"]
    );
    assert_eq!(quoted("sometimes, one in ten is 3g heavy"), ["one in ten", "one in ten", "3g heavy"]);
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(64))]
    #[test]
    fn no_words_make_it_panic_or_give_a_figure_that_is_none(text in "\\PC{0,80}") {
        for told in read(&KNOWLEDGE, &text) {
            if let Meaning::Amounts(a) = told.means {
                let figures = [a.target, a.error, a.off, a.shown, a.weighed];
                proptest::prop_assert!(figures.into_iter().flatten().all(f64::is_finite));
            }
        }
    }
}
