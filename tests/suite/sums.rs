//! The sums done by hand at a scale: what it comes to stands first, and what hands must do is left to the check with its cautions.

use crate::tool::Tool;

fn said(words: &str) -> String {
    let args: Vec<&str> = words.split(' ').collect();
    let said = Tool::built_in(40).run(&args);
    assert!(said.out.lines().all(|line| line.chars().count() <= 40), "{}", said.out);
    assert!(matches!(said.status, Some(0 | 1)), "{}", said.err);
    said.out
}

#[test]
fn a_corner_that_is_out_is_named_and_leads_to_the_check_with_its_cautions() {
    let tool = Tool::built_in(40);
    let status =
        |reading: &str| tool.run(&["weights", "corners", "500", "500", reading, "--limit", "1g"]).status;
    assert_eq!((status("500.5"), status("501.5")), (Some(0), Some(1)));
    let out = said("weights corners 500.0 500.2 500.0 499.6 500.8 --limit 0.75g");
    assert!(out.find("Beyond the limit: corner 4.") < out.find("Corner 1: 500.2 g, +0.2 g"), "{out}");
    assert!(out.contains("handlamp show corner-weights"), "{out}");
    let checks = Tool::built_in(80).run(&["show", "corner-weights"]).out;
    assert!(checks.contains("WARNING") || checks.contains("DANGER"), "{checks}");
    let class = said("weights corners 500.0 500.2 500.0 499.6 500.8 --load 500g --step 0.2g");
    assert!(class.contains("Allowed: 0.60 g either way. The limit"), "{class}");
}

#[test]
fn each_sum_says_what_it_comes_to() {
    for (words, wanted) in [
        ("weights repeats 500 500.4 499.8 500.2 500 --limit 0.75g", "It repeats."),
        ("weights repeats 500 501 --limit 0.75g", "It does not repeat."),
        ("weights zero-span 0.2 498.7 --load 500g", "−0.30 % of the load"),
        ("weights zero-span -2 498.1 --load 500g", "Most of it is zero"),
        ("weights signal --excitation 5V --output 2mV/V --capacity 10kg --load 3kg --step 0.5g", "0.500"),
        ("weights empties 12.1 12.9 11.8 12.6 --label 200g --rule eu-average-quantity", "Too few bags"),
        (
            "weights empties 12.1 12.9 11.8 12.6 12.2 12.4 12.3 12.5 12 12.7 --label 200g --rule eu-average-quantity",
            "may stand",
        ),
        ("weights reject-point 500.4 499.6 500.1 500.0 --limit 491g", "Reject below 491.99 g."),
        (
            "weights pace --target 500g --cut-off 450g --coarse 300g --fine 40g --rest 1.35",
            "14.6 fills a minute.",
        ),
        (
            "weights pace --target 500g --cut-off 450g --coarse 300g --fine 40g --rest 1.35 --wanted 40",
            "3 weigh heads",
        ),
    ] {
        let out = said(words);
        assert!(out.contains(wanted), "{words}: {wanted} is missing:\n{out}");
    }
}

#[test]
fn a_sum_that_lacks_something_says_what() {
    let tool = Tool::built_in(80);
    for (words, code, wanted) in [
        ("weights corners 500 500.2 500", 2, "--limit"),
        ("weights repeats 500 nan --limit 1g", 3, "Reading 2"),
        ("weights zero-span 5 5 --load 500g", 3, "raises the reading"),
        (
            "weights pace --target 500g --cut-off 500g --coarse 300g --fine 40g --rest 1",
            3,
            "below the target",
        ),
        (
            "weights signal --excitation 5V --output 2mV/V --capacity 1kg --load 3kg --step 0.5g",
            3,
            "capacity",
        ),
        ("weights signal --excitation 5V --output 2mV/V --capacity 10 --load 3kg --step 0.5g", 3, "capacity"),
        ("weights reject-point 500 500 500 --limit 491g", 3, "differ"),
        ("weights corners 0.5kg 500.2 500.0 --limit 0.75g", 3, "Give its unit"),
        ("weights empties 12.1 12.9 --label 200g --rule filler-class-in-use", 3, "average-quantity"),
        ("weights empties 12.1 12.9 --label 20kg --rule eu-average-quantity", 3, "range"),
        ("weights empties 12.1 12.9 --label 200g --rule eu-average", 3, "eu-average-quantity"),
    ] {
        let said = tool.run(&words.split(' ').collect::<Vec<_>>());
        assert_eq!(said.status, Some(code), "{words}: {}", said.err);
        assert!(said.err.contains(wanted) && said.out.is_empty(), "{words}: {}", said.err);
    }
    let answer =
        tool.run(&["weights", "corners", "1 kg", "1.0002", "0.9998", "--limit", "0.5g", "--json"]).json();
    assert_eq!((&answer["format"], &answer["sum"]), (&"handlamp-sum/1".into(), &"corners".into()));
}
