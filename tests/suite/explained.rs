//! Why, in words that a technician can repeat: what a reading did to the odds, how a cause shows, what is unlikely by now and by which
//! answer, and what would change the plan.

use crate::tool::Tool;

const CALL: &str = "tests/faults/light-bags.yaml";

fn odds(answer: &serde_json::Value, cause: &str) -> f64 {
    let causes = answer["causes"].as_array().expect("causes");
    let found = causes.iter().find(|c| c["id"] == cause).expect("the cause is listed");
    let probability = found["probability"].as_f64().expect("a probability");
    probability / (1.0 - probability)
}

#[test]
fn deleting_a_named_reading_moves_the_odds_as_printed() {
    let tool = Tool::built_in(80);
    let whole = tool.run(&["diagnose", "--answers", CALL, "--json"]).json();
    let cause = whole["causes"][0]["id"].as_str().expect("an id").to_owned();
    let call = std::fs::read_to_string(CALL).expect("the call");
    let mut tried = 0;
    for reason in whole["causes"][0]["because"].as_array().expect("reasons") {
        let reading = reason["reading"].as_str().expect("a reading");
        let line = format!("{{reading: {reading},");
        if !call.contains(&line) {
            continue;
        }
        let without = call.lines().filter(|l| !l.contains(&line)).collect::<Vec<_>>().join("\n") + "\n";
        let file = tool.home().join("without.yaml");
        std::fs::write(&file, without).expect("a file");
        let rest = tool.run(&["diagnose", "--answers", &file.display().to_string(), "--json"]).json();
        let moved = odds(&whole, &cause) / odds(&rest, &cause);
        let printed = reason["odds"].as_f64().expect("a factor");
        assert!((moved / printed - 1.0).abs() < 1e-6, "{reading}: moved {moved}, printed {printed}");
        tried += 1;
    }
    assert!(tried >= 2, "{whole}");
}

#[test]
fn the_answer_says_how_the_cause_shows_and_what_is_unlikely_by_now() {
    let said = Tool::built_in(80).run(&["diagnose", "--answers", CALL]).out;
    assert!(said.contains("How it shows: in-flight allowance set too high → every fill is light"), "{said}");
    assert!(said.contains("Unlikely by now"), "{said}");
}

#[test]
fn then_if_is_two_deep_and_every_plan_has_a_bound() {
    let answer = Tool::built_in(80).run(&["diagnose", "--answers", CALL, "--json"]).json();
    let expected = &answer["expected"];
    assert!(expected["at_least"].as_f64() <= expected["minutes"].as_f64(), "{expected}");
    let then = answer["next"][0]["then"].as_array().expect("what follows");
    let chances: f64 = then.iter().map(|t| t["probability"].as_f64().expect("a chance")).sum();
    assert!((chances - 1.0).abs() < 1e-6, "{then:?}");
    assert!(then.iter().any(|t| !t["then"].as_array().expect("a list").is_empty()), "{then:?}");
}
