//! `find`: what a person typed leads to the entry, slips of the finger and all, and never to step text.

use crate::tool::Tool;

#[test]
fn callers_words_lead_to_the_symptom_at_both_widths() {
    insta::assert_snapshot!(Tool::minimal(40).run(&["find", "all", "our", "bags", "are", "undr"]).block(), @r#"
• Every fill is light
  symptom fills-light
  said: “all our bags are under”;
  spelling: undr
• Every fill is heavy
  symptom fills-heavy
  said: “bags are over”
• Ten fills in a row
  check weigh-a-run
  asks: What do ten bags in a row weigh?
• Free the pan all round
  remedy free-the-pan
  title
• A strip of paper round the pan
  check paper-round-pan
  text: Free all round

> handlamp show fills-light
"#);
    insta::assert_snapshot!(Tool::minimal(80).run(&["find", "paper", "round", "the", "pan"]).block(), @r#"
• A strip of paper round the pan
  check paper-round-pan
  name
• Free the pan all round
  remedy free-the-pan
  title
• Something touches the pan
  cause pan-touching
  title
• The pan touches something
  condition pan-catches
  title
• Weight on the display
  sign weight-on-display
  text: What lies in the pan, less the tare.
• Tray filler
  machine tray-filler
  text: A tray feeds a weigh pan and a flap lets the portion go.
• Hands at a live scale
  caution hands-at-live-scale
  text: The flap and the tray can move while your hand is at the pan.

> handlamp show paper-round-pan
"#);
}

#[test]
fn nothing_found_is_an_answer_and_not_an_error() {
    insta::assert_snapshot!(Tool::minimal(80).run(&["find", "zzzzqqqq"]).block(), @r#"
Nothing in the knowledge fits “zzzzqqqq”.

> Try what the caller said or what is seen: handlamp find bags too light
"#);
}

#[test]
fn kind_and_machine_narrow_it() {
    let tool = Tool::minimal(80);
    let said = tool.run(&["find", "pan", "--kind", "check", "--machine", "tray-filler", "--json"]);
    let hits = said.json();
    let kinds: Vec<_> = hits["hits"].as_array().unwrap().iter().map(|h| h["kind"].clone()).collect();
    assert!(!kinds.is_empty() && kinds.iter().all(|k| k == "check"), "{}", said.block());
    assert_eq!(hits["format"], "handlamp-hits/1");
    assert_eq!(tool.run(&["find", "pan", "--machine", "tray-filer"]).status, Some(3));
    assert_eq!(tool.run(&["find", "pan", "--kind", "chekc"]).status, Some(2));
}

#[test]
fn step_text_is_never_found() {
    let said = Tool::minimal(80).run(&["find", "slide a strip through the gap", "--json"]);
    assert!(!said.out.contains("Slide"), "{}", said.out);
}

#[test]
fn the_second_find_reads_no_entry() {
    let tool = Tool::broken(80, "unknown-finding");
    // Broken knowledge has no index and cannot get one.
    assert_eq!(tool.run(&["find", "pan"]).status, Some(3));
    assert!(!tool.home().join("store/cache").exists());
    let tool = Tool::minimal(80);
    let first = tool.run(&["find", "pan"]);
    assert_eq!(std::fs::read_dir(tool.home().join("store/cache")).unwrap().count(), 1);
    assert_eq!(first.block(), tool.run(&["find", "pan"]).block());
}

#[test]
fn a_store_that_cannot_be_written_does_not_stop_a_search() {
    let tool = Tool::minimal(80);
    std::fs::write(tool.home().join("store"), "a file where the folder should be").unwrap();
    assert_eq!(tool.run(&["find", "bags", "are", "under"]).status, Some(0));
}

#[test]
fn each_result_says_by_which_words_it_is_there() {
    insta::assert_snapshot!(Tool::minimal(40).run(&["find", "preact", "allwance", "--kind", "setting"]).block(), @r#"
• In-flight allowance
  setting in-flight-allowance
  title; “preact” is the same as
  “in-flight allowance”; spelling:
  allwance

> handlamp show in-flight-allowance
"#);
    insta::assert_snapshot!(Tool::minimal(80).run(&["find", "preact", "allwance", "--kind", "setting"]).block(), @r#"
• In-flight allowance
  setting in-flight-allowance
  title; “preact” is the same as “in-flight allowance”; spelling: allwance

> handlamp show in-flight-allowance
"#);
    let hits = Tool::minimal(80).run(&["find", "preact", "allwance", "--kind", "setting", "--json"]).json();
    let hit = &hits["hits"][0];
    assert_eq!(hit["matched"]["same"][0], serde_json::json!(["preact", "in-flight allowance"]));
    assert_eq!(hit["matched"]["spelling"], serde_json::json!(["allwance"]));
    assert!(hit["why"].as_str().unwrap().contains("spelling: allwance"), "{hit}");
}

#[test]
fn a_lamp_is_found_by_what_this_site_calls_it() {
    let hits = Tool::minimal(80).run(&["find", "big", "number", "--kind", "sign", "--json"]).json();
    assert_eq!(hits["hits"][0]["id"], "weight-on-display");
    let hits =
        Tool::minimal(80).run(&["find", "GO", "--kind", "sign", "--machine", "tray-filler", "--json"]).json();
    assert_eq!(hits["hits"][0]["id"], "feed-lamp");
}

#[test]
fn phrasings_are_tried_and_misses_named() {
    let tool = Tool::minimal(80);
    let file = "tests/kb/minimal/phrases.yaml";
    let said = tool.run(&["find", "--try", file]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    let json = tool.run(&["find", "--try", file, "--first", "100", "--json"]);
    assert_eq!(json.status, Some(1), "{}", json.block());
    let trial = json.json();
    assert_eq!((&trial["format"], &trial["tried"]), (&"handlamp-phrasings/1".into(), &10.into()));
    let misses = trial["misses"].as_array().unwrap();
    assert_eq!(trial["first"].as_u64().unwrap() as usize + misses.len(), 10);
    insta::assert_snapshot!(Tool::minimal(40).run(&["find", "--try", file, "--first", "100"]).block(), @r#"
10 phrasings tried.

• Right entry first: 9, 90 % (at least
  100 % wanted, too few)
• In the first 5: 10, 100 % (at least 95
  % wanted)

Not first
• “GO light”: feed-lamp at place 2;
  first is fills-light
--- exit Some(1)
"#);
}

#[test]
fn a_phrasing_may_be_of_one_machine_or_mean_nothing_at_all() {
    let tool = Tool::minimal(80);
    let file = tool.home().join("phrases.yaml");
    let text =
        "- {said: too light, means: [fills-light], machine: tray-filler}\n- {said: invoice, means: []}\n";
    std::fs::write(&file, text).unwrap();
    let said = tool.run(&["find", "--try", file.to_str().unwrap()]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    assert!(said.out.starts_with("1 phrasing tried."), "{}", said.block());
    assert!(said.out.contains("Means nothing here\n• “invoice”: nothing found"), "{}", said.block());
    std::fs::write(&file, text.replace("tray-filler", "fills-light")).unwrap();
    assert_eq!(tool.run(&["find", "--try", file.to_str().unwrap()]).status, Some(3));
}

#[test]
fn callers_who_never_read_the_book_are_led_to_the_right_entry() {
    let said = Tool::built_in(80).run(&["find", "--try", "tests/phrases.yaml", "--json"]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    assert!(said.json()["tried"].as_u64() >= Some(150), "{}", said.block());
}

#[test]
fn a_phrasing_that_means_nothing_known_is_refused_at_its_place() {
    let tool = Tool::minimal(80);
    let file = tool.home().join("phrases.yaml");
    std::fs::write(&file, "- {said: too light, means: [fills-lihgt]}\n").unwrap();
    let said = tool.run(&["find", "--try", file.to_str().unwrap()]);
    assert_eq!(said.status, Some(3));
    assert!(said.err.contains("fills-light?") && said.err.contains("1:29"), "{}", said.block());
    assert_eq!(tool.run(&["find"]).status, Some(2));
    assert_eq!(tool.run(&["find", "light", "--try", "x"]).status, Some(2));
    assert_eq!(tool.run(&["find", "--try", "not-there"]).status, Some(3));
}
