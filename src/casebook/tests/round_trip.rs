//! What is exported reads back equal, whatever people typed.

use std::collections::BTreeSet;

use proptest::prelude::*;

use super::{WHOLE, knowledge};
use crate::casebook::*;
use crate::diag::harmless;
use crate::units::{Quantity, Unit};

/// Anything a person may have typed, as it is kept: harmless, trimmed, never empty.
pub(crate) fn words() -> impl Strategy<Value = String> {
    let odd = prop_oneof![
        any::<String>(),
        "[ -~]{1,20}",
        "[:#,\\[\\]{}&*!|>'\"%@`?~\\-\\\\ \n\ta0.]{1,12}",
        Just("no".to_owned()),
        Just("~".to_owned()),
        Just("0x1f".to_owned()),
        Just("1e3".to_owned()),
        Just("12 g".to_owned()),
        Just("- {note: x}".to_owned()),
        Just("line\n  two: three\n# four".to_owned()),
        Just("\u{85}a\u{fffe}\u{ffff}\u{10ffff}\u{200b}\u{a0}".to_owned()),
    ];
    odd.prop_map(|text| harmless(&text).trim().to_owned()).prop_filter("not empty", |text| !text.is_empty())
}

fn quantity() -> impl Strategy<Value = Quantity> {
    let number =
        prop_oneof![-1e6f64..1e6, Just(0.0), Just(1e-9), Just(-3.25e-7), Just(9.9e11), Just(0.1 + 0.2)];
    let unit = prop_oneof![Just("g"), Just("kg"), Just("oz"), Just("lb"), Just("mg")];
    (number, unit).prop_map(|(number, unit)| Quantity { number, unit: Unit::find(unit).unwrap() })
}

fn fills() -> impl Strategy<Value = Fills> {
    let pairs = proptest::collection::vec((-1e4f64..1e4, 0f64..1e4), 1..12);
    let beside = (
        proptest::option::of(words()),
        any::<bool>(),
        proptest::collection::btree_map(words(), words(), 0..3),
    );
    (pairs, beside, proptest::option::of(1e-3f64..10.0), words()).prop_map(
        |(pairs, (instrument, more, settings), division, lane)| Fills {
            unit: "g".to_owned(),
            target: pairs[0].1 + 0.5,
            values: pairs.iter().map(|p| p.0).collect(),
            shown: if more { pairs.iter().map(|p| p.1).collect() } else { Vec::new() },
            division,
            tare: more.then(|| ("each".to_owned(), pairs.iter().map(|p| p.1 / 100.0).collect())),
            instrument,
            lanes: if more { vec![lane.clone(); pairs.len()] } else { Vec::new() },
            times: if more { Vec::new() } else { vec![lane; pairs.len()] },
            settings: settings.into_iter().collect(),
        },
    )
}

fn what() -> impl Strategy<Value = What> {
    let moment = prop_oneof![Just(Moment::Bad), Just(Moment::Good), Just(Moment::Unknown)];
    let answer = prop_oneof![
        (Just("flap-seats-fully"), Just(Reading::CannotTell)),
        (Just("flap-seats-fully"), Just(Reading::Outcome("leaves-a-gap".into()))),
        (Just("what-the-caller-says"), Just(Reading::Outcome("fills-steadily-light".into()))),
        (
            Just("test-weight-on-pan"),
            (quantity(), quantity()).prop_map(|(value, known)| {
                Reading::Value { value, against: Some(Beside::Expected(known)) }
            })
        ),
        (
            Just("one-bag-twice"),
            (quantity(), quantity())
                .prop_map(|(value, shown)| { Reading::Value { value, against: Some(Beside::Shown(shown)) } })
        ),
        (Just("weigh-a-run"), fills().prop_map(Reading::Fills)),
    ];
    prop_oneof![
        4 => (answer, moment).prop_map(|((check, reading), moment)| What::Reading { check: check.into(), reading, moment }),
        1 => words().prop_map(What::Note),
        1 => (proptest::option::of(words()), words()).prop_map(|(old, new)| {
            What::Setting { id: "in-flight-allowance".into(), old: old.map(|o| format!("was {o}")), new: Some(format!("is {new}")) }
        }),
        1 => Just(What::Suspicion("inflight-allowance-high".into())),
        1 => Just(What::Circumstance { id: "product-changed".into(), answer: Happened::DidNot }),
        1 => Just(What::Remedy { id: "lower-inflight-allowance".into(), result: RemedyResult::ProvedGone }),
    ]
}

pub(crate) fn event() -> impl Strategy<Value = Event> {
    let at = proptest::option::of(Just("2026-11-25T14:30:00.5Z".to_owned()));
    (what(), at, any::<bool>()).prop_map(|(what, at, by)| Event { at, by: by.then(|| "caller".into()), what })
}

pub(crate) fn cases() -> impl Strategy<Value = Case> {
    let opening = (proptest::option::of(words()), proptest::option::of(words()));
    let head =
        (proptest::option::of(words()), proptest::option::of(words()), opening, 0f64..1e4, any::<bool>());
    (head, proptest::collection::vec(event(), 0..6)).prop_map(
        |((complaint, name, opening, minutes, more), events)| {
            let mut case = Case::of("single-tray-weigher".into());
            case.knowledge = more
                .then(|| KnowledgeMark { version: "1.0.0".into(), hash: Some("0123456789abcdef".into()) });
            case.fitted = more.then(|| BTreeSet::from(["foot-switch".into()]));
            case.scale.division = more.then_some(minutes / 7.0 + 1e-3);
            case.market = more.then(|| "us".to_owned());
            case.product = name.map(|name| Product {
                name: Some(name.clone()),
                dusty: Some(more),
                allergen: Some(name),
            });
            case.people = vec![Person {
                id: "caller".into(),
                at: Whereabouts::Machine,
                may: BTreeSet::from([May::Isolate]),
                has: BTreeSet::from(["test-weight".into()]),
            }];
            case.visit = more.then_some(Visit { travel: minutes, waiting: minutes / 3.0 });
            case.opening.danger = opening.0;
            case.opening.serial = opening.1;
            case.complaint = complaint;
            case.events = events;
            case.expect = more.then(Expect::default);
            case.closed = more.then_some(Closing::GoneNotProved);
            case
        },
    )
}

#[test]
fn what_the_contract_shows_exports_in_the_contracts_form() {
    let case = read(WHOLE, "t.yaml", &knowledge()).unwrap().case;
    let text = export(&case);
    for line in [
        "format: handlamp-case/1\n",
        "fitted: [foot-switch]\n",
        "scale: {sealed: unknown, supply: separate, division: 0.1 g}\n",
        "  - {id: tech, at: phone, may: [], has: []}\n",
        "visit: {travel: 90 min, waiting: 60 min}\n",
        "complaint: every bag comes out about three grams light\n",
        "  - {reading: test-weight-on-pan, value: 199.4 g, expected: 0.2 kg, by: caller, while: bad}\n",
        "  - {remedy: lower-inflight-allowance, result: still-there}\n",
        "closed: left-open\n",
    ] {
        assert!(text.contains(line), "{line}\n{text}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn an_exported_case_reads_back_equal(case in cases()) {
        thread_local! { static KNOWLEDGE: crate::knowledge::Knowledge = knowledge(); }
        let text = export(&case);
        let back = KNOWLEDGE.with(|knowledge| read(&text, "t.yaml", knowledge));
        let back = back.unwrap_or_else(|refused| panic!("{:#?}\n{text}", refused.problems));
        prop_assert_eq!(back.case, case, "{}", text);
    }
}
