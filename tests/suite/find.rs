//! `find`: what a person typed leads to the entry, slips of the finger and all, and never to step text.

use crate::tool::Tool;

#[test]
fn callers_words_lead_to_the_symptom_at_both_widths() {
    insta::assert_snapshot!(Tool::minimal(40).run(&["find", "all", "our", "bags", "are", "undr"]).block(), @r#"
• Every fill is light
  symptom fills-light
  said: “all our bags are under”
• Free the pan all round
  remedy free-the-pan
• Every fill is heavy
  symptom fills-heavy
  said: “bags are over”
• Ten fills in a row
  check weigh-a-run
  asks: What do ten bags in a row weigh?
• A strip of paper round the pan
  check paper-round-pan
  asks: Does a strip of paper slide
  freely all the way round the pan?

> handlamp show fills-light
"#);
    insta::assert_snapshot!(Tool::minimal(80).run(&["find", "paper", "round", "the", "pan"]).block(), @r#"
• A strip of paper round the pan
  check paper-round-pan
• Free the pan all round
  remedy free-the-pan
• The pan touches something
  condition pan-catches
• Something touches the pan
  cause pan-touching
• Tray filler
  machine tray-filler
  A tray feeds a weigh pan and a flap lets the portion go.
• Hands at a live scale
  caution hands-at-live-scale
  The flap and the tray can move while your hand is at the pan.

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
