//! What a caller's own words tell is offered for a person to confirm, and counts only then.

use crate::tool::Tool;

const WORDS: &[&str] =
    &["diagnose", "it worked for months and since we changed over every bag is about 3 g light of 250"];

/// Danger, held product, machine, serial, seal, who: all up to where the words are offered.
const BEFORE: &[&str] = &["n", "y", "1", "?", "?", "1"];

fn walked(columns: usize, answers: &[&str]) -> (Tool, String) {
    let tool = Tool::minimal(columns);
    let lines: String = [BEFORE, answers].concat().iter().flat_map(|line| [*line, "\n"]).collect();
    let said = tool.typed(WORDS, lines.as_bytes()).out;
    (tool, said)
}

/// The last question of a walk.
fn last(said: &str) -> String {
    let from = said.find("You said").unwrap_or(0);
    said[from..].split("\nCase 20").next().unwrap_or_default().to_owned()
}

fn exported(tool: &Tool) -> String {
    let list = tool.run(&["case", "list"]).out;
    let id =
        list.split_whitespace().find(|w| w.len() > 10 && w.starts_with("20")).expect("a case").to_owned();
    tool.run(&["case", "export", &id]).out
}

#[test]
fn the_words_are_said_back_before_they_count() {
    insta::assert_snapshot!(last(&walked(40, &[]).1), @r#"
You said … shall I take it that this is
so? Only what is confirmed counts.

  1. It has been right before. (“worked
     for months”)
  2. Since when: since we changed over.
     (“since we changed over”)
  3. The product was changed. (“since we
     changed over”)
  4. A fill should weigh 250 g. It is
     about 3 g light. (“3 g light of
     250”)

> y takes all. Numbers take some, like
  1,3. 0 takes none.
"#);
    insta::assert_snapshot!(last(&walked(80, &[]).1), @r#"
You said … shall I take it that this is so? Only what is confirmed counts.

  1. It has been right before. (“worked for months”)
  2. Since when: since we changed over. (“since we changed over”)
  3. The product was changed. (“since we changed over”)
  4. A fill should weigh 250 g. It is about 3 g light. (“3 g light of 250”)

> y takes all. Numbers take some, like 1,3. 0 takes none.
"#);
}

#[test]
fn one_key_takes_all_and_what_it_answers_is_not_asked_again() {
    let (tool, said) = walked(80, &["y"]);
    assert!(!said.contains("Has it ever been right?") && !said.contains("Since when is it wrong"), "{said}");
    let case = exported(&tool);
    for kept in
        ["ever_right: \"yes\"", "circumstance: product-changed, outcome: happened", "Said and confirmed"]
    {
        assert!(case.contains(kept), "{kept} in\n{case}");
    }
    // The target is known by now.
    let (_, said) = walked(80, &["y", "y", "1"]);
    assert!(said.contains("Every fill is light") && !said.contains("What should one fill weigh"), "{said}");
}

#[test]
fn what_nobody_confirms_is_not_kept_and_not_asked_twice() {
    let (tool, said) = walked(80, &["0", "?", "?", "?", "1"]);
    assert_eq!(said.matches("shall I take it").count(), 1, "{said}");
    assert!(
        said.contains("Has it ever been right?") && said.contains("What should one fill weigh"),
        "{said}"
    );
    let case = exported(&tool);
    assert!(!case.contains("product-changed") && !case.contains("Said and confirmed"), "{case}");
}

#[test]
fn some_can_be_taken_and_nonsense_is_asked_again() {
    let (tool, said) = walked(80, &["9", "maybe", "1"]);
    assert_eq!(said.matches("Type y for all").count(), 2, "{said}");
    let case = exported(&tool);
    assert!(case.contains("ever_right: \"yes\"") && !case.contains("product-changed"), "{case}");
}

#[test]
fn back_leads_to_the_question_before_and_skip_takes_none() {
    let (_, said) = walked(80, &["back"]);
    assert!(said.matches("Who is at the machine").count() == 2, "{said}");
    let (tool, said) = walked(80, &["?", "?"]);
    assert!(said.contains("Has it ever been right?"), "{said}");
    assert!(!exported(&tool).contains("product-changed"));
}

#[test]
fn a_program_gets_what_the_words_tell_apart_from_evidence() {
    let tool = Tool::minimal(80);
    let file = tool.home().join("call.yaml");
    let case = "format: handlamp-case/1\nmachine: tray-filler\ncomplaint: since we changed over, 247 g instead of 250 g\n";
    std::fs::write(&file, case).unwrap();
    let json = tool.run(&["diagnose", "--json", "--answers", file.to_str().unwrap()]).json();
    assert_eq!(json["evidence"], serde_json::json!([]));
    let proposed = json["proposed"].as_array().unwrap();
    let of =
        |kind: &str| proposed.iter().find(|p| p["kind"] == kind).unwrap_or_else(|| panic!("{kind}: {json}"));
    assert_eq!(of("circumstance")["circumstance"], "product-changed");
    assert_eq!(of("circumstance")["happened"], true);
    assert_eq!(of("amounts")["amounts"]["error"], -3.0);
    assert_eq!(of("amounts")["said"], "247 g instead of 250 g");
    // Once it is answered it is proposed no more.
    std::fs::write(&file, format!("{case}events: [{{circumstance: product-changed, outcome: did-not}}]\n"))
        .unwrap();
    let json = tool.run(&["diagnose", "--json", "--answers", file.to_str().unwrap()]).json();
    assert!(json["proposed"].as_array().unwrap().iter().all(|p| p["kind"] != "circumstance"), "{json}");
}
