//! Broken knowledge is refused in words, at the right place. Each folder under tests/kb but `minimal` holds one broken
//! thing and is laid over `minimal`, so that nothing else can be wrong.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use handlamp::diag::Code::{self, *};
use handlamp::diag::{Diagnostic, Severity, in_order};
use handlamp::knowledge::{Knowledge, Texts, load};
use handlamp::vet;

fn kb(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/kb").join(name)
}

/// Everything that loading and vetting say about `minimal` with a folder laid over it.
fn judged(over: &str, built_in: bool) -> (Knowledge, Vec<Diagnostic>) {
    let mut texts = Texts::built_in().overlaid_by(&kb("minimal"));
    if over != "minimal" {
        texts = texts.overlaid_by(&kb(over));
    }
    let (knowledge, mut problems) = load(&texts);
    problems.extend(vet::judge(&knowledge, &texts, built_in));
    in_order(&mut problems);
    (knowledge, problems)
}

fn folders() -> BTreeSet<String> {
    let entries = std::fs::read_dir(kb("")).unwrap();
    entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect()
}

/// Folder; then code, file under tests/kb, line and column. Several rows of a folder are all that it says.
type Row = (&'static str, Code, &'static str, usize, usize);

#[rustfmt::skip]
const BROKEN: &[Row] = &[
    ("alias-bomb", TooBig, "alias-bomb/causes/allowance-low.yaml", 3, 32),
    ("bad-name", BadId, "bad-name/causes/Pan_Touching.yaml", 1, 1),
    ("bad-safety-date", BadValue, "bad-safety-date/remedies/free-the-pan.yaml", 1, 1),
    ("bare-yes", WrongType, "bare-yes/causes/pan-touching.yaml", 6, 17),
    ("calibrates-ungated", MissingKey, "calibrates-ungated/remedies/raise-allowance.yaml", 1, 1),
    ("cycle", Cycle, "cycle/conditions/layer-deep.yaml", 4, 15),
    ("cycle", Unreachable, "cycle/conditions/layer-deep.yaml", 1, 1),
    ("cycle", Unreachable, "cycle/conditions/layer-rolls.yaml", 1, 1),
    ("cycle", Unreachable, "cycle/conditions/pan-fills-late.yaml", 1, 1),
    ("duplicate-key", DuplicateKey, "duplicate-key/causes/allowance-low.yaml", 7, 1),
    ("empty-cautions", WrongType, "empty-cautions/checks/paper-round-pan.yaml", 8, 9),
    ("empty-cautions", MissingCaution, "empty-cautions/checks/paper-round-pan.yaml", 2, 8),
    ("empty-file", Syntax, "empty-file/causes/allowance-low.yaml", 1, 1),
    ("escape-in-title", ControlCharacters, "escape-in-title/causes/pan-touching.yaml", 1, 8),
    ("finding-twice", BadValue, "finding-twice/causes/allowance-low.yaml", 6, 15),
    ("future-format", UnknownFormat, "future-format/knowledge.yaml", 2, 9),
    ("house-word", HouseWord, "house-word/remedies/raise-allowance.yaml", 11, 62),
    ("late-condition", LateCondition, "late-condition/remedies/raise-allowance.yaml", 11, 10),
    ("lonely-caution", Unreachable, "lonely-caution/cautions/hot-coil.yaml", 1, 1),
    ("lonely-condition", Unreachable, "lonely-condition/conditions/tray-bent.yaml", 1, 1),
    ("long-step", HardToRead, "long-step/remedies/raise-allowance.yaml", 11, 10),
    ("missing-caution", MissingCaution, "missing-caution/checks/paper-round-pan.yaml", 2, 8),
    ("missing-key", MissingKey, "missing-key/remedies/lower-allowance.yaml", 1, 1),
    ("missing-safety-read", MissingSafetyRead, "missing-safety-read/remedies/free-the-pan.yaml", 1, 1),
    ("no-energies", UntreatedEnergy, "no-energies/machines/tray-filler.yaml", 1, 1),
    ("not-text", Unreadable, "not-text/causes/allowance-low.yaml", 1, 1),
    ("not-yaml", Syntax, "not-yaml/causes/allowance-low.yaml", 3, 9),
    ("notice-for-a-hazard", MissingCaution, "minimal/checks/paper-round-pan.yaml", 2, 8),
    ("notice-for-a-hazard", MissingCaution, "minimal/remedies/free-the-pan.yaml", 3, 8),
    ("out-of-range", OutOfRange, "out-of-range/circumstances/product-changed.yaml", 4, 8),
    ("proof-elsewhere", BadValue, "minimal/remedies/free-the-pan.yaml", 11, 12),
    ("proof-elsewhere", BadValue, "minimal/remedies/lower-allowance.yaml", 5, 22),
    ("proof-elsewhere", BadValue, "minimal/remedies/lower-allowance.yaml", 12, 12),
    ("proof-elsewhere", BadValue, "minimal/remedies/raise-allowance.yaml", 5, 22),
    ("proof-elsewhere", BadValue, "minimal/remedies/raise-allowance.yaml", 12, 12),
    ("remedy-not-named", Unreachable, "minimal/remedies/raise-allowance.yaml", 2, 8),
    ("runs-between-locked-steps", UnsafeText, "runs-between-locked-steps/remedies/free-the-pan.yaml", 3, 8),
    ("runs-with-guard-open", UnsafeText, "runs-with-guard-open/checks/paper-round-pan.yaml", 2, 8),
    ("sign-twice", BadId, "sign-twice/machines/tray-filler.yaml", 27, 9),
    ("step-elsewhere", UnknownId, "step-elsewhere/remedies/raise-allowance.yaml", 11, 13),
    ("too-deep", TooBig, "too-deep/causes/allowance-low.yaml", 1, 31),
    ("twin-causes", NotToldApart, "minimal/causes/allowance-high.yaml", 1, 1),
    ("two-actions", TwoActions, "two-actions/remedies/raise-allowance.yaml", 11, 10),
    ("two-normals", Outcomes, "two-normals/checks/paper-round-pan.yaml", 1, 1),
    ("two-normals", Unreachable, "minimal/conditions/pan-catches.yaml", 1, 1),
    ("two-normals", Unreachable, "two-normals/checks/paper-round-pan.yaml", 1, 1),
    ("two-readings", TwoReadings, "two-readings/checks/paper-round-pan.yaml", 4, 10),
    ("unknown-cause", UnknownId, "unknown-cause/remedies/free-the-pan.yaml", 2, 8),
    ("unknown-finding", UnknownId, "unknown-finding/causes/allowance-low.yaml", 5, 15),
    ("unknown-key", UnknownKey, "unknown-key/checks/paper-round-pan.yaml", 4, 1),
    ("unknown-word", BadValue, "unknown-word/checks/paper-round-pan.yaml", 3, 6),
    ("unsafe-text", UnsafeText, "unsafe-text/remedies/free-the-pan.yaml", 8, 6),
    ("untreated-energy", UntreatedEnergy, "untreated-energy/machines/tray-filler.yaml", 9, 6),
    ("wrong-remedy", BadValue, "wrong-remedy/causes/allowance-low.yaml", 6, 29),
    ("wrong-unit", BadUnit, "wrong-unit/machines/tray-filler.yaml", 22, 11),
];

/// What each folder should say.
fn expected() -> BTreeMap<&'static str, Vec<&'static Row>> {
    let mut all: BTreeMap<_, Vec<_>> = BTreeMap::new();
    for row in BROKEN {
        all.entry(row.0).or_default().push(row);
    }
    all
}

fn place(knowledge: &Knowledge, problem: &Diagnostic) -> (Code, String, usize, usize) {
    let at = knowledge.sources.position(problem.span.expect("every problem has a place"));
    let file = at.file.replace('\\', "/");
    let file = file.rsplit_once("tests/kb/").map_or(file.as_str(), |(_, inner)| inner).to_owned();
    (problem.code, file, at.line, at.column)
}

#[test]
fn the_minimal_knowledge_is_clean() {
    let (knowledge, problems) = judged("minimal", false);
    let said: Vec<_> = problems.iter().map(|p| p.sentence(&knowledge.sources)).collect();
    assert!(said.is_empty(), "{said:#?}");
    assert_eq!(knowledge.causes.len(), 3);
}

#[test]
fn each_broken_folder_is_refused_for_its_own_fault_at_its_own_place() {
    let expected = expected();
    let mut wrong = Vec::new();
    for (folder, rows) in &expected {
        let (knowledge, problems) = judged(folder, false);
        let found: BTreeSet<_> = problems.iter().map(|p| place(&knowledge, p)).collect();
        let rows: BTreeSet<_> = rows.iter().map(|r| (r.1, r.2.to_owned(), r.3, r.4)).collect();
        if found != rows {
            wrong.push(format!("{folder}: wanted {rows:#?}, found {found:#?}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_folder_of_broken_knowledge_is_tried() {
    let tried: BTreeSet<_> =
        BROKEN.iter().map(|row| row.0.to_owned()).chain(["minimal".to_owned()]).collect();
    assert_eq!(tried, folders());
}

/// Codes that no folder can show, each with the reason.
const SHOWN_ELSEWHERE: &[(Code, &str)] = &[
    (RateSum, "the built-in knowledge alone must add up; shown by the test below"),
    (GuardsNotProved, "of checklists; shown in lists_refused.rs"),
    (NoLimit, "of checklists; shown in lists_refused.rs"),
    (HoldPassed, "of checklists; shown in lists_refused.rs"),
];

#[test]
fn every_code_is_shown_by_a_folder() {
    let shown: BTreeSet<_> =
        BROKEN.iter().map(|row| row.1).chain(SHOWN_ELSEWHERE.iter().map(|s| s.0)).collect();
    let never: Vec<_> = Code::ALL.iter().filter(|code| !shown.contains(code)).map(|c| c.as_str()).collect();
    assert!(never.is_empty(), "nothing shows {never:?}");
}

#[test]
fn rates_that_explain_few_calls_are_a_warning_for_built_in_knowledge_only() {
    let (knowledge, problems) = judged("minimal", true);
    assert_eq!(problems.len(), 1);
    assert_eq!((problems[0].code, problems[0].severity), (RateSum, Severity::Warning));
    assert_eq!(place(&knowledge, &problems[0]).1, "minimal/machines/tray-filler.yaml");
    // 0.025 raised by a quarter of 0.06, 0.025, 0.008, and 0.05 for what is not in the book.
    assert!(problems[0].message.contains("expect 0.123 causes a call"), "{}", problems[0].message);
}

#[test]
fn every_problem_says_what_to_do_in_words_without_escapes() {
    for folder in folders() {
        let (knowledge, problems) = judged(&folder, false);
        for problem in problems {
            let sentence = problem.sentence(&knowledge.sources);
            assert!(!sentence.chars().any(handlamp::diag::is_harmful), "{sentence:?}");
            let fix = problem.help.is_some() || NEEDS_NO_HELP.contains(&problem.code);
            assert!(fix, "{folder}: {sentence}");
        }
    }
}

/// The message alone says what would be right.
const NEEDS_NO_HELP: &[Code] = &[OutOfRange, BadUnit, UnknownId, Outcomes, Unreadable];

#[test]
fn what_names_a_refused_entry_is_not_called_wrong_as_well() {
    let (knowledge, problems) = judged("wrong-unit", false);
    assert_eq!(knowledge.refused.iter().collect::<Vec<_>>(), ["machines/tray-filler"]);
    assert_eq!(problems.len(), 1, "{problems:#?}");
}

#[test]
fn both_readings_point_into_the_same_sources() {
    let texts = Texts::built_in().overlaid_by(&kb("minimal"));
    let (knowledge, _) = load(&texts);
    let (sources, _) = handlamp::knowledge::read_twice(&texts);
    for (file, (_, name, text)) in texts.iter().enumerate() {
        let file = handlamp::diag::FileId(file);
        for sources in [&knowledge.sources, &sources] {
            assert_eq!((sources.name(file), sources.text(file)), (name, text));
        }
    }
}
