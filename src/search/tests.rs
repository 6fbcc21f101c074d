//! Promises of search, on the small knowledge under tests/kb and on documents of its own.

use std::path::Path;

use super::*;
use crate::knowledge::{Knowledge, Texts, load};

fn knowledge() -> Knowledge {
    load(&Texts::built_in().overlaid_by(&Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/kb/minimal"))).0
}

fn index() -> Index {
    Index::in_memory(book(&knowledge())).unwrap()
}

fn ids(hits: &[Hit]) -> Vec<&str> {
    hits.iter().map(|h| h.id.as_str()).collect()
}

/// A book of some entries, with the words of the built-in knowledge.
fn of(docs: Vec<Doc>) -> Book {
    let lexicon = Lexicon::of(&knowledge().vocabulary, &docs);
    Book { docs, lexicon }
}

fn never() -> Book {
    panic!("a warm start must not take the knowledge apart")
}

#[test]
fn a_complaint_finds_its_symptom_first_and_says_why() {
    let hits = index().find("all our bags are under", 5).unwrap();
    assert_eq!((hits[0].kind, hits[0].id.as_str()), (Kind::Symptom, "fills-light"));
    assert_eq!(hits[0].matched.to_string(), r#"said: "all our bags are under""#);
    assert_eq!(hits[0].matched.words, ["all", "bags", "under"]);
}

#[test]
fn slips_of_the_finger_endings_and_case_are_forgiven() {
    let index = index();
    assert_eq!(index.find("SHORT weigth every tiem", 1).unwrap()[0].id, "fills-light");
    assert_eq!(index.find("alowence set too hihg", 1).unwrap()[0].id, "allowance-high");
    assert_eq!(index.find("touching pans", 1).unwrap()[0].id, "pan-touching");
    assert_eq!(index.find("Wéight  shörtage: 'short'", 1).unwrap()[0].id, "fills-light");
}

#[test]
fn trade_words_of_the_same_meaning_find_the_setting() {
    let hits = index().find("preact", 3).unwrap();
    assert!(ids(&hits).contains(&"in-flight-allowance"), "{hits:?}");
    assert_eq!(hits[0].matched.words, ["preact"]);
    assert_eq!(hits[0].matched.same, [("preact".to_owned(), "in-flight allowance".to_owned())]);
    assert!(ids(&index().find("where is the free fall set", 4).unwrap()).contains(&"in-flight-allowance"));
}

#[test]
fn questions_and_answers_of_checks_are_found_and_step_text_never() {
    let index = index();
    assert_eq!(index.find("does a strip of paper slide freely", 1).unwrap()[0].id, "paper-round-pan");
    // 'fasten' and 'hose away' stand in a step of free-the-pan and nowhere else.
    assert!(index.find("fasten", 5).unwrap().is_empty());
    let everything = docs(&knowledge());
    assert!(everything.iter().flat_map(|d| &d.texts).all(|(_, text)| !text.contains("fasten")));
}

#[test]
fn every_entry_and_setting_can_be_found_by_its_title() {
    let (knowledge, index) = (knowledge(), index());
    let all = docs(&knowledge);
    assert_eq!(all.len(), 3 + 3 + 3 + 3 + 1 + 1 + 1 + 2 + 2);
    for doc in all {
        let title = &doc.texts[0].1;
        let hits = index.find(title, 10).unwrap();
        assert!(hits.iter().any(|h| (h.kind, &h.id) == (doc.kind, &doc.id)), "{title}");
    }
}

#[test]
fn nothing_that_fits_is_an_empty_list_and_any_text_is_a_query() {
    let index = index();
    assert!(index.find("zzzzqqq", 5).unwrap().is_empty());
    for odd in
        ["", "   ", "weight: low", "E-stop (", "\"", "a AND (b OR", "*", "\u{1b}[31m", "é", "-", "mV/V"]
    {
        index.find(odd, 5).unwrap();
    }
    assert!(index.find("light", 0).unwrap().is_empty());
    let long = "light ".repeat(100_000);
    assert_eq!(index.find(&long, 1).unwrap()[0].id, "fills-light");
}

#[test]
fn stop_words_are_dropped_unless_nothing_else_is_left() {
    let lexicon = book(&knowledge()).lexicon;
    let typed = |text: &str| -> Vec<String> {
        words::query(text, &lexicon).words.into_iter().map(|w| w.typed).collect()
    };
    assert_eq!(typed("what is the weight of it"), ["weight"]);
    assert_eq!(typed("what is it"), ["what", "is", "it"]);
    assert_eq!(typed("not under, over"), ["not", "under", "over"]);
}

#[test]
fn words_close_together_count_more_than_the_same_words_apart() {
    let doc = |id: &str, said: &str| Doc {
        kind: Kind::Symptom,
        id: id.to_owned(),
        texts: vec![(Part::Title, id.to_owned()), (Part::Said, said.to_owned())],
        common: None,
    };
    let index = Index::in_memory(of(vec![
        doc("apart", "the flap shuts and later something else will leak from the hopper above"),
        doc("close", "the flap will leak and later something else shuts from the hopper above"),
    ]))
    .unwrap();
    assert_eq!(ids(&index.find("flap leak", 2).unwrap()), ["close", "apart"]);
}

#[test]
fn a_complaint_proposes_symptoms_only_each_with_its_phrase() {
    let proposals = index().propose_symptoms("we are giving away product since we changed over").unwrap();
    assert_eq!(proposals[0].symptom.as_str(), "fills-heavy");
    assert_eq!(proposals[0].phrase, "we are giving product away");
    assert!(proposals.iter().all(|p| p.symptom.as_str().starts_with("fills-")));
    assert!(index().propose_symptoms("the radio plays jazz").unwrap().is_empty());
}

#[test]
fn a_second_start_reads_the_index_and_answers_the_same() {
    let folder = tempfile::tempdir().unwrap();
    let knowledge = knowledge();
    let cold = Index::open_or_build(Some(folder.path()), &knowledge.hash, || book(&knowledge)).unwrap();
    let warm = Index::open_or_build(Some(folder.path()), &knowledge.hash, never).unwrap();
    assert!(cold.is_on_disk() && warm.is_on_disk());
    for query in ["bags are under", "pan", "allowance"] {
        let answers = warm.find(query, 9).unwrap();
        assert_eq!(answers, cold.find(query, 9).unwrap());
        assert_eq!(answers, index().find(query, 9).unwrap());
    }
    let left: Vec<_> = std::fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(left.len(), 1, "{left:?}");
}

#[test]
fn a_damaged_index_is_built_again() {
    let folder = tempfile::tempdir().unwrap();
    let knowledge = knowledge();
    let open = || Index::open_or_build(Some(folder.path()), &knowledge.hash, || book(&knowledge)).unwrap();
    drop(open());
    let place = std::fs::read_dir(folder.path()).unwrap().next().unwrap().unwrap().path();
    let files = || std::fs::read_dir(&place).unwrap().map(|e| e.unwrap().path());
    for spoil in ["store", "term", "meta.json"] {
        let file = files().find(|f| f.to_string_lossy().ends_with(spoil)).unwrap();
        let mut bytes = std::fs::read(&file).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle] ^= 0xff;
        std::fs::write(&file, bytes).unwrap();
        let again = open();
        assert!(again.is_on_disk(), "{spoil}");
        assert_eq!(again.find("bags are under", 1).unwrap()[0].id, "fills-light", "{spoil}");
        drop(Index::open_or_build(Some(folder.path()), &knowledge.hash, never).unwrap());
    }
    std::fs::remove_file(files().find(|f| f.to_string_lossy().ends_with("pos")).unwrap()).unwrap();
    assert!(open().is_on_disk());
}

#[test]
fn where_nothing_can_be_written_the_index_lives_in_memory() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("a-file");
    std::fs::write(&file, "not a folder").unwrap();
    let knowledge = knowledge();
    let index = Index::open_or_build(Some(&file), &knowledge.hash, || book(&knowledge)).unwrap();
    assert!(!index.is_on_disk());
    assert_eq!(index.find("bags are under", 1).unwrap()[0].id, "fills-light");
    assert!(!Index::open_or_build(None, &knowledge.hash, || book(&knowledge)).unwrap().is_on_disk());
    assert!(!Index::open_or_build(Some(folder.path()), "../x", || book(&knowledge)).unwrap().is_on_disk());
}

#[test]
fn indexes_of_older_knowledge_are_removed_but_for_a_few() {
    let folder = tempfile::tempdir().unwrap();
    let all = book(&knowledge());
    for n in 0..7 {
        Index::open_or_build(Some(folder.path()), &format!("hash{n}"), || all.clone()).unwrap();
    }
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 4);
    Index::open_or_build(Some(folder.path()), "hash6", never).unwrap();
}

#[test]
fn the_commoner_of_two_that_fit_alike_comes_first_and_never_before_a_better_text() {
    let cause = |id: &str, title: &str, common: f64| Doc {
        kind: Kind::Cause,
        id: id.to_owned(),
        texts: vec![(Part::Title, title.to_owned())],
        common: Some(common),
    };
    let index = |docs: Vec<Doc>| Index::in_memory(of(docs)).unwrap();
    let alike =
        index(vec![cause("a-rare", "Cable chafed", 0.0005), cause("b-common", "Cable pinched", 0.06)]);
    assert_eq!(ids(&alike.find("cable", 2).unwrap()), ["b-common", "a-rare"]);
    let better =
        index(vec![cause("b-common", "Cable pinched", 0.5), cause("a-rare", "Cable chafed", 0.0005)]);
    assert_eq!(ids(&better.find("cable chafed", 2).unwrap()), ["a-rare", "b-common"]);
}

#[test]
fn a_symptom_is_as_common_as_the_causes_behind_it() {
    let all = docs(&knowledge());
    let common = |id: &str| all.iter().find(|d| d.id == id).and_then(|d| d.common);
    // Something touching the pan (8 in 1000) brings the catching pan .85, and that heavy fills .6 and light ones .08.
    assert!((common("pan-catches").unwrap() - 0.008 * 0.85).abs() < 1e-12);
    assert!(common("fills-light").unwrap() > common("pan-catches").unwrap() * 0.08);
    assert_eq!(common("feed-lamp"), None);
}

#[test]
fn words_of_every_call_weigh_little_beside_those_that_tell() {
    let index = index();
    for words in ["every time it keeps going short", "our machine is always short again today"] {
        assert_eq!(index.find(words, 1).unwrap()[0].id, "fills-light", "{words}");
    }
}

#[test]
fn the_words_of_callers_are_kept_with_the_index_as_they_are() {
    let lexicon = book(&knowledge()).lexicon;
    assert_eq!(Lexicon::read(&lexicon.written()), Some(lexicon));
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(48))]
    #[test]
    fn no_query_makes_it_panic(query in "\\PC{0,60}") {
        thread_local!(static INDEX: Index = index());
        let hits = INDEX.with(|index| index.find(&query, 10).unwrap());
        proptest::prop_assert!(hits.iter().all(|h| h.score.is_finite() && !h.matched.words.is_empty()));
    }
}
