//! What a rule says of a run: the market is named, the verdict comes first, and what is unconfirmed says so.

use crate::tool::Tool;

const WELL_OVER: &[&str] =
    &["251.8", "252.2", "250.9", "251.4", "252.0", "251.2", "251.9", "252.4", "251.1", "251.6"];
const CLOSE: &[&str] =
    &["250.8", "249.2", "250.9", "249.4", "251.0", "249.2", "250.9", "250.4", "250.1", "249.6"];

fn held<'a>(fills: &[&'a str], more: &[&'a str]) -> Vec<&'a str> {
    [&["weights"], fills, &["--unit", "g", "--target", "250g"], more].concat()
}

#[test]
fn the_verdict_stands_before_its_points_and_says_which_edition() {
    let args =
        held(WELL_OVER, &["--rule", "eu-average-quantity", "--fills-a-year", "1000000", "--price", "4"]);
    let said = Tool::built_in(40).run(&args).out;
    let at = |text: &str| said.find(text).unwrap_or_else(|| panic!("{text} is missing:\n{said}"));
    assert!(at("Passes.") < at("Directive 76/211/EEC"));
    assert!(at("Directive 76/211/EEC") < at("Average at least 250.0 g"));
    assert!(at("Average at least 250.0 g") < at("Lowest target"));
    assert!(at("Lowest target") < at("1,650 kg a year"));
    assert!(said.contains("no inspection"), "{said}");
    assert!(said.lines().all(|line| line.chars().count() <= 40), "{said}");
}

#[test]
fn too_few_fills_say_how_many_more_and_a_short_average_fails() {
    let tool = Tool::built_in(80);
    let answer = tool.run(&held(CLOSE, &["--rule", "eu-average-quantity", "--json"])).json();
    assert_eq!(answer["rule"]["outcome"], "too-few-to-say", "{}", answer["rule"]);
    assert!(answer["rule"]["more"].as_u64().is_some_and(|more| more > 10), "{}", answer["rule"]);
    let label = held(CLOSE, &["--rule", "eu-average-quantity", "--label", "255 g", "--json"]);
    let answer = tool.run(&label).json();
    assert_eq!(answer["rule"]["outcome"], "fails");
    assert_eq!(answer["rule"]["points"][0]["what"], "average");
    assert_eq!(answer["rule"]["points"][0]["outcome"], "fails");
}

#[test]
fn figures_that_nobody_confirmed_make_an_indication() {
    let said = Tool::built_in(80).run(&held(WELL_OVER, &["--rule", "us-net-contents"])).out;
    assert!(said.contains("Indication: passes."), "{said}");
    assert!(said.contains("figures unconfirmed"), "{said}");
    assert!(!said.contains("European"), "one verdict, one market:\n{said}");
}

#[test]
fn without_a_rule_there_is_no_verdict_and_a_wrong_one_is_named() {
    let tool = Tool::built_in(80);
    let plain = tool.run(&held(WELL_OVER, &[]));
    assert!(!plain.out.contains("Passes"), "{}", plain.out);
    let wrong = tool.run(&held(WELL_OVER, &["--rule", "eu-average-quantities"]));
    assert_eq!(wrong.status, Some(3));
    assert!(wrong.err.contains("eu-average-quantity"), "{}", wrong.err);
    let class = tool.run(&held(WELL_OVER, &["--rule", "filler-class-in-use"]));
    assert!(class.out.contains("give --class"), "{}", class.out);
}

#[test]
fn a_rule_is_an_entry_that_can_be_found_and_shown() {
    let tool = Tool::built_in(40);
    let found = tool.run(&["find", "how", "much", "may", "a", "bag", "be", "short"]).out;
    assert!(found.contains("eu-average-quantity"), "{found}");
    let shown = tool.run(&["show", "eu-average-quantity"]).out;
    assert!(shown.contains("up to 50 g: 9 % of it"), "{shown}");
    assert!(shown.contains("rounded up"), "{shown}");
    let entry = tool.run(&["show", "eu-average-quantity", "--json"]).json();
    assert_eq!(entry["limits"][1]["amount_g"], 4.5);
}
