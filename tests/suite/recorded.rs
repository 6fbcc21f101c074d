//! `rehearse` on recorded cases: figures as worked out by hand, the truth from the cure and the belief from before it.

use std::path::PathBuf;

use handlamp::casebook::{Case, read};
use handlamp::knowledge::{Knowledge, Texts, load};
use handlamp::rehearse::{CaseScore, Known, Named, Scores, score};

use crate::tool::{Tool, minimal};

const HEAD: &str = "format: handlamp-case/1\nmachine: tray-filler\n";
const HEAVY: &str = "  - {reading: what-the-caller-says, outcome: fills-heavy}\n";

fn case(knowledge: &Knowledge, rest: &str) -> Case {
    let text = format!("{HEAD}{rest}");
    read(&text, "case.yaml", knowledge).unwrap_or_else(|refused| panic!("{:?}", refused.problems)).case
}

fn judged(knowledge: &Knowledge, cases: &[(&str, String)]) -> Scores {
    let named =
        |(name, text): &(&str, String)| Named { name: (*name).to_owned(), case: case(knowledge, text) };
    score(knowledge, &cases.iter().map(named).collect::<Vec<_>>(), 2, &|_| ())
}

/// The tiny book without the circumstance, so that few enough things are left to be summed by hand.
fn without_circumstance() -> (tempfile::TempDir, Knowledge) {
    let folder = tempfile::tempdir().unwrap();
    crate::tool::copy("tests/kb/minimal".as_ref(), folder.path());
    std::fs::remove_file(folder.path().join("circumstances/product-changed.yaml")).unwrap();
    let cause = folder.path().join("causes/allowance-high.yaml");
    let text = std::fs::read_to_string(&cause).unwrap();
    std::fs::write(&cause, text.replace("after: {product-changed: very common}\n", "")).unwrap();
    let (knowledge, problems) = load(&Texts::built_in().overlaid_by(folder.path()));
    assert!(problems.is_empty(), "{problems:?}");
    (folder, knowledge)
}

/// P(it was there | the caller says that fills are heavy) of each cause of the tiny book and, last, of what is in none:
/// every combination of causes and of the condition between them, weighed one by one.
fn by_hand() -> [f64; 4] {
    let rates = [0.025, 0.025, 0.008, 0.05];
    let (mut there, mut all) = ([0.0; 4], 0.0);
    for set in 0..16_u32 {
        let has = |cause: usize| set >> cause & 1 == 1;
        let prior: f64 =
            (0..4).map(|cause| if has(cause) { rates[cause] } else { 1.0 - rates[cause] }).product();
        let kept = |drives: bool, strength: f64| if drives { 1.0 - strength } else { 1.0 };
        let outside = kept(has(3), 0.3);
        let catches = 1.0 - 0.99 * kept(has(2), 0.85) * outside;
        let mut told = 0.0;
        for (caught, chance) in [(true, catches), (false, 1.0 - catches)] {
            let heavy = 1.0 - 0.99 * kept(has(1), 0.85) * kept(caught, 0.6) * outside;
            told += chance * (0.8 * heavy + 0.004 * (1.0 - heavy));
        }
        all += prior * told;
        (0..4).filter(|cause| has(*cause)).for_each(|cause| there[cause] += prior * told);
    }
    there.map(|weight| weight / all)
}

#[test]
fn shares_log_score_brier_and_bands_are_those_worked_out_by_hand() {
    let (_folder, knowledge) = without_circumstance();
    let expect = |cause: &str| format!("events:\n{HEAVY}expect: {{cause: {cause}, within: 2}}\n");
    let scores = judged(&knowledge, &[("low", expect("allowance-low")), ("high", expect("allowance-high"))]);
    // By id: allowance-high, allowance-low, pan-touching, and what is in no book.
    let was = by_hand();
    let sum: f64 = was.iter().sum();
    let share = was.map(|own| own / sum);
    let brier = |truth: usize| -> f64 {
        (0..4).map(|cause| (share[cause] - if cause == truth { 1.0 } else { 0.0 }).powi(2)).sum()
    };
    let near = |found: f64, wanted: f64| assert!((found - wanted).abs() < 1e-9, "{found} is not {wanted}");
    let [low, high] = &scores.cases[..] else { panic!("{scores:?}") };
    near(low.share, share[1]);
    near(low.brier, brier(1));
    near(high.share, share[0]);
    assert_eq!((low.place, high.place), (1, 3), "{share:?}");
    assert_eq!((low.fell_short(), high.fell_short()), (false, true));
    let figures = scores.figures().unwrap();
    near(figures.first.mean, 0.5);
    near(figures.first_three.mean, 1.0);
    let logs = [share[1].ln(), share[0].ln()];
    near(figures.log.mean, f64::midpoint(logs[0], logs[1]));
    // Of two the standard error of the mean is half of what lies between them.
    near(figures.log.error.unwrap(), (logs[0] - logs[1]).abs() / 2.0);
    near(figures.brier.mean, f64::midpoint(brier(1), brier(0)));
    let band = |p: f64| ((p * 10.0) as usize).min(9);
    let mut bands = [(0, 0); 10];
    for truth in [1, 0] {
        for (cause, own) in was[..3].iter().enumerate() {
            bands[band(*own)].0 += 1;
            bands[band(*own)].1 += usize::from(cause == truth);
        }
    }
    assert_eq!(figures.calibration, bands);
}

#[test]
fn the_truth_is_what_the_last_remedy_cured_and_the_belief_is_from_before_it() {
    let knowledge = minimal();
    let told =
        "  - {reading: paper-round-pan, outcome: free}\n  - {remedy: free-the-pan, result: still-there}\n";
    let later = "  - {reading: paper-round-pan, outcome: catches}\n";
    let cured = |result: &str, closed: &str| {
        format!(
            "closed: {closed}\nevents:\n{HEAVY}{told}  - {{remedy: raise-allowance, result: {result}}}\n{later}"
        )
    };
    let batch = format!(
        "closed: cured\nevents:\n{HEAVY}  - {{remedy: free-the-pan, result: not-tried}}\n  - {{remedy: raise-allowance, result: proved-gone}}\n"
    );
    let scores = judged(
        &knowledge,
        &[
            ("proved", cured("proved-gone", "cured")),
            ("gone", cured("gone-not-proved", "gone-not-proved")),
            ("asked", format!("events:\n{HEAVY}{told}expect: {{cause: allowance-low, within: 3}}\n")),
            ("batch", batch),
            ("failed", format!("closed: left-open\nevents:\n{HEAVY}{told}")),
            ("open", cured("proved-gone", "cured").replace("closed: cured\n", "")),
        ],
    );
    let known: Vec<_> = scores.cases.iter().map(|case| (case.name.as_str(), case.known)).collect();
    assert_eq!(known, [("proved", Known::Proved), ("gone", Known::NotProved), ("asked", Known::Expected)]);
    // The same was known in all three before it was put right, so all three stand alike.
    let stood = |case: &CaseScore| (case.cause.to_string(), case.place, case.share.to_bits());
    assert_eq!(stood(&scores.cases[0]), stood(&scores.cases[2]));
    assert_eq!(stood(&scores.cases[1]), stood(&scores.cases[2]));
    assert_eq!(scores.figures().unwrap().cases, 2);
    assert_eq!(scores.not_proved().unwrap().cases, 1);
    let left: Vec<_> = scores.left_out.iter().map(|(name, why)| format!("{name}: {why}")).collect();
    assert_eq!(
        left,
        [
            "batch: several remedies were done before anybody tried, so nobody knows which it was",
            "failed: no remedy took it away, as far as the record tells",
            "open: it is not closed and expects nothing",
        ]
    );
}

#[test]
fn checks_lockouts_and_minutes_are_those_of_the_book() {
    let knowledge = minimal();
    let fills =
        "  - {reading: weigh-a-run, fills: {unit: g, target: 250, values: [252, 252.1, 251.9, 252, 252]}}\n";
    let text = format!(
        "closed: cured\nevents:\n{HEAVY}  - {{circumstance: product-changed, outcome: did-not}}\n  - {{reading: paper-round-pan, outcome: catches}}\n  - {{remedy: free-the-pan, result: still-there}}\n  - {{reading: paper-round-pan, outcome: free}}\n{fills}  - {{remedy: raise-allowance, result: proved-gone}}\n"
    );
    let taken = judged(&knowledge, &[("one", text)]).cases[0].taken;
    // The complaint is no check. The strip of paper and the remedy share a lockout; whoever says 'still there' has run it.
    assert_eq!((taken.checks, taken.lockouts), (4, 2));
    // A question from memory ½ minute at .3; strip 3, remedy 12, strip 3, run 8, remedy 4; two lockouts of 5 and 5.
    assert!((taken.minutes - (0.15 + 3.0 + 12.0 + 3.0 + 8.0 + 4.0 + 20.0)).abs() < 1e-9, "{}", taken.minutes);
}

fn store(tool: &Tool) -> PathBuf {
    let folder = tool.home().join("demo");
    let said = tool.run(&[
        "rehearse",
        "--write-store",
        folder.to_str().unwrap(),
        "--cases",
        "40",
        "--until",
        "2026-11-25",
    ]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    folder
}

#[test]
fn half_a_case_file_ends_with_three_and_half_a_record_of_a_store_is_named_and_the_others_count() {
    let tool = Tool::minimal(80);
    let half = tool.home().join("half.yaml");
    std::fs::write(&half, "format: handlamp-case/1\nmachine: tray-filler\nevents:\n  - {reading: what-the")
        .unwrap();
    let said = tool.run(&["rehearse", half.to_str().unwrap()]);
    assert_eq!((said.status, said.out.as_str()), (Some(3), ""), "{}", said.block());
    assert!(said.err.contains("half.yaml:4:"), "{}", said.err);

    let folder = store(&tool);
    let whole = tool.run(&["rehearse", folder.to_str().unwrap(), "--json"]).json();
    let judged = whole["cases"].as_array().unwrap();
    let torn = folder.join("cases").join(format!("{}.jsonl", judged[0]["case"].as_str().unwrap()));
    let text = std::fs::read_to_string(&torn).unwrap();
    std::fs::write(&torn, &text[..text.len() / 40]).unwrap();
    let said = tool.run(&["rehearse", folder.to_str().unwrap(), "--json"]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    let name = torn.file_name().unwrap().to_str().unwrap();
    assert!(said.err.contains("Left out: ") && said.err.contains(name), "{}", said.err);
    assert_eq!(said.json()["cases"].as_array().unwrap().len(), judged.len() - 1);
}

#[test]
fn a_store_is_judged_alike_by_any_number_of_threads_and_fits_forty_columns() {
    let tool = Tool::minimal(40);
    let folder = store(&tool);
    let said = tool.run(&["rehearse", folder.to_str().unwrap()]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    assert!(said.out.lines().all(|line| line.chars().count() <= 40), "{}", said.block());
    for phrase in ["for sure what it was", "log score", "Too few to judge", "Gone, and not proved"] {
        assert!(crate::tool::one_line(&said.out).contains(phrase), "no '{phrase}' in\n{}", said.out);
    }
    let knowledge = minimal();
    let store = handlamp::casebook::Store::at(&folder);
    let all: Vec<Named> = (store.all(1).unwrap().0.into_iter())
        .map(|recorded| Named { name: recorded.id.to_string(), case: recorded.case })
        .collect();
    assert_eq!(score(&knowledge, &all, 1, &|_| ()), score(&knowledge, &all, 3, &|_| ()));
}
