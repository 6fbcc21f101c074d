//! How commands end: the exit codes, errors on standard error only, and quiet when nobody reads any more.

use std::process::{Command, Stdio};

use crate::tool::Tool;

#[test]
fn wrong_usage_is_two_and_help_is_zero() {
    let tool = Tool::minimal(80);
    for args in [
        &["fnid"][..],
        &[],
        &["show"],
        &["weights", "--pairs", "--shown", "2"],
        &["find", "x", "--most", "0"],
    ] {
        let said = tool.run(args);
        assert_eq!((said.status, said.out.as_str()), (Some(2), ""), "{args:?}: {}", said.block());
    }
    assert_eq!(tool.run(&["--help"]).status, Some(0));
}

#[test]
fn help_shows_examples_before_usage_and_fits_a_phone() {
    let tool = Tool::minimal(40);
    for args in
        [&["--help"][..], &["find", "--help"], &["knowledge", "vet", "--help"], &["weights", "--help"]]
    {
        let said = tool.run(args);
        let place =
            |word: &str| said.out.find(word).unwrap_or_else(|| panic!("{word} in {args:?}:\n{}", said.out));
        assert!(place("Examples:") < place("Usage:"), "{}", said.out);
    }
}

#[test]
fn every_command_has_examples_that_work() {
    let tool = Tool::built_in(80);
    for name in ["fills.csv", "before.csv", "after.csv"] {
        let fills = "net,head\n247.2,1\n247.0,2\n246.9,1\n247.4,2\n";
        std::fs::write(tool.home().join(name), fills).unwrap();
    }
    std::fs::write(
        tool.home().join("phrases.yaml"),
        "- {said: bags are under, means: [fills-steadily-light]}\n",
    )
    .unwrap();
    let mut tried = 0;
    for inner in [&[][..], &["find"], &["show"], &["weights"], &["knowledge"], &["completions"], &["manual"]]
    {
        let help = tool.run(&[inner, &["--help"]].concat()).out;
        let examples = help.lines().skip_while(|l| *l != "Examples:").skip(1).take_while(|l| !l.is_empty());
        for example in examples.filter(|e| !e.contains(['|', '>', '\'']) && !e.contains("our-knowledge")) {
            let words: Vec<&str> = example.split_whitespace().skip(1).collect();
            let done = tool.command().current_dir(tool.home()).args(&words).output().unwrap();
            assert!(done.status.success(), "{example}: {}", String::from_utf8_lossy(&done.stderr));
            tried += 1;
        }
    }
    assert!(tried >= 10, "only {tried} examples");
}

#[test]
fn an_empty_variable_is_as_good_as_none() {
    let tool = Tool::built_in(80);
    let empty = |name: &str| tool.command().env(name, "").args(["find", "light"]).output().unwrap();
    assert!(empty("HANDLAMP_KNOWLEDGE").status.success() && empty("HANDLAMP_STORE").status.success());
}

#[test]
fn a_reader_that_has_gone_is_no_error() {
    let mut child = Command::new(env!("CARGO_BIN_EXE_handlamp"))
        .args(["show", "paper-round-pan", "--knowledge", "tests/kb/minimal"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    drop(child.stdout.take());
    let done = child.wait_with_output().unwrap();
    assert_eq!((done.status.code(), String::from_utf8_lossy(&done.stderr).as_ref()), (Some(0), ""));
}

#[test]
fn escapes_in_an_argument_are_not_passed_on() {
    for args in [
        &["show", "\u{1b}[31mred"][..],
        &["\u{1b}[31mred"],
        &["weights", "\u{1b}[31mred"],
        &["find", "\u{1b}[31mred"],
    ] {
        let said = Tool::minimal(80).run(args);
        assert!(!said.block().contains('\u{1b}'), "{}", said.block());
    }
}

#[test]
fn colours_are_only_for_terminals_that_want_them() {
    let tool = Tool::minimal(80);
    let shown = |name: &str, value: &str| {
        let done = tool.command().env(name, value).args(["show", "paper-round-pan"]).output().unwrap();
        String::from_utf8(done.stdout).unwrap().contains('\u{1b}')
    };
    assert!(shown("CLICOLOR_FORCE", "1"));
    assert!(!shown("NO_COLOR", "1") && !shown("TERM", "dumb") && !shown("LANG", "C"));
}
