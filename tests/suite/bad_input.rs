//! Whatever is wrong with what a person gives, the program says so in a sentence on standard error, with the right exit
//! code, answers nothing on standard output, and leaves the store exactly as it was.

use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use crate::tool::{Said, Tool};

/// Refusing must be quick whatever is thrown at it; the machine may be busy with other tests.
const PATIENCE: Duration = Duration::from_secs(30);
/// More than any line or file may have.
const TEN_MEGABYTES: usize = 10 << 20;
const HEAD: &str = "format: handlamp-case/1\nmachine: tray-filler\n";

/// A home with one case kept and the search index built.
fn home() -> Tool {
    let tool = Tool::minimal(80);
    let case = file(&tool, "kept.yaml", &fills("unit: g, target: 250, values: [247.2, 247.0, 246.9]"));
    for args in [&["find", "light"][..], &["diagnose", "--answers", &case, "--keep"]] {
        assert_eq!(tool.run(args).status, Some(0));
    }
    tool
}

fn file(tool: &Tool, name: &str, text: &str) -> String {
    let path = tool.home().join(name);
    std::fs::write(&path, text).unwrap();
    path.to_str().unwrap().to_owned()
}

fn fills(group: &str) -> String {
    events(&format!("{{reading: weigh-a-run, fills: {{{group}}}}}"))
}

fn events(event: &str) -> String {
    format!("{HEAD}events:\n  - {event}\n")
}

/// Everything under a folder with its contents.
fn listing(folder: &Path) -> BTreeMap<PathBuf, Option<Vec<u8>>> {
    let mut all = BTreeMap::new();
    for entry in std::fs::read_dir(folder).into_iter().flatten() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all.extend(listing(&path));
            all.insert(path, None);
        } else {
            all.insert(path.clone(), Some(std::fs::read(path).unwrap()));
        }
    }
    all
}

/// Text as one line, however it was wrapped.
fn unwrapped(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Runs; the store must be as before, standard output empty, and each phrase on standard error.
fn refused(tool: &Tool, args: &[&str], input: &[u8], status: i32, phrases: &[&str]) -> Said {
    let store = tool.home().join("store");
    let before = listing(&store);
    let begun = Instant::now();
    let said = tool.typed(args, input);
    let shown: String = args.join(" ").chars().take(100).collect();
    assert!(begun.elapsed() < PATIENCE, "{shown} took {:?}", begun.elapsed());
    assert_eq!((said.status, said.out.as_str()), (Some(status), ""), "{shown}: {}", said.block());
    let err = unwrapped(&said.err);
    for phrase in phrases {
        assert!(err.contains(phrase), "'{phrase}' after {shown}: {}", said.err);
    }
    assert!(said.err.len() < 4000 && !said.err.contains('\u{1b}'), "{shown}: {}", said.err);
    assert!(listing(&store) == before, "{shown} changed the store");
    said
}

/// A case file that must be refused, kept or not, with a place in it.
fn bad_case(text: &str, phrases: &[&str]) {
    bad_case_of(&home(), text, phrases);
}

fn bad_case_of(tool: &Tool, text: &str, phrases: &[&str]) {
    let path = file(tool, "call.yaml", text);
    let phrases = [phrases, &["call.yaml:", "The case file cannot be used."]].concat();
    refused(tool, &["diagnose", "--answers", &path, "--keep", "--json"], b"", 3, &phrases);
}

#[test]
fn a_case_file_that_cannot_be_read() {
    let tool = home();
    let folder = tool.home().to_str().unwrap();
    let missing = format!("{folder}/none.yaml");
    let keep = |path: &str, phrase: &str| {
        refused(&tool, &["diagnose", "--answers", path, "--keep"], b"", 3, &[phrase]);
    };
    keep(&missing, "there is no such file or folder");
    keep(folder, "this is a folder; a file is wanted");
    let path = tool.home().join("picture.yaml");
    std::fs::write(&path, b"\xff\xd8\xff\xe0\x00").unwrap();
    keep(path.to_str().unwrap(), "this file is not UTF-8 text");
    keep(&file(&tool, "empty.yaml", ""), "this file is empty");
}

#[test]
fn a_case_file_without_a_format_or_with_a_later_one() {
    bad_case("machine: tray-filler\n", &["'format' is missing", "call.yaml:1:1"]);
    let later = "format: handlamp-case/9\nmachine: tray-filler\n";
    bad_case(later, &["'handlamp-case/9' is not a format", "call.yaml:1:9", "a newer program may read it"]);
}

#[test]
fn an_unknown_key_and_a_key_twice() {
    let unknown = format!("{HEAD}complant: light\n");
    bad_case(&unknown, &["'complant' is not a key", "call.yaml:3:1", "did you mean complaint?"]);
    let twice = format!("{HEAD}complaint: light\ncomplaint: heavy\n");
    bad_case(&twice, &["'complaint' stands twice", "call.yaml:4:1"]);
}

#[test]
fn names_that_nobody_knows_come_with_the_nearest() {
    let tool = home();
    let machine = "format: handlamp-case/1\nmachine: tray-fillr\n";
    for (text, phrases) in [
        (machine.to_owned(), ["no machine 'tray-fillr'", "call.yaml:2:10", "did you mean tray-filler?"]),
        (
            events("{reading: paper-round-pam, outcome: free}"),
            ["no check 'paper-round-pam'", "call.yaml:4:15", "did you mean paper-round-pan?"],
        ),
        (
            events("{reading: paper-round-pan, outcome: fre}"),
            ["no outcome of paper-round-pan 'fre'", "call.yaml:4:41", "did you mean free?"],
        ),
        (
            events("{circumstance: product-chnged, outcome: happened}"),
            ["no circumstance 'product-chnged'", "call.yaml:4:20", "did you mean product-changed?"],
        ),
        (
            events("{remedy: free-the-pn, result: still-there}"),
            ["no remedy 'free-the-pn'", "call.yaml:4:14", "did you mean free-the-pan?"],
        ),
    ] {
        bad_case_of(&tool, &text, &phrases);
    }
}

#[test]
fn names_on_the_command_line_that_nobody_knows_come_with_the_nearest() {
    let tool = home();
    for args in [
        &["diagnose", "--machine", "tray-fillr", "light"][..],
        &["find", "light", "--machine", "tray-fillr"],
        &["show", "paper-round-pan", "--machine", "tray-fillr"],
        &["weights", "247", "248", "--machine", "tray-fillr"],
    ] {
        refused(&tool, args, b"", 3, &["There is no machine 'tray-fillr'", "did you mean tray-filler?"]);
    }
    refused(
        &tool,
        &["show", "paper-round-pam"],
        b"",
        3,
        &["paper-round-pam", "did you mean paper-round-pan?"],
    );
}

#[test]
fn units_that_do_not_fit() {
    bad_case(&fills("unit: gramz, target: 250, values: [247]"), &["'gramz' is not a unit", "call.yaml:4:42"]);
    bad_case(&fills("unit: bar, target: 250, values: [247]"), &["mass", "'bar' is a unit of pressure"]);
    let tool = Tool::built_in(80);
    let call = file(
        &tool,
        "volts.yaml",
        "format: handlamp-case/1\nmachine: single-tray-weigher\nevents:\n  - {reading: empty-reading, value: 3 V}\n",
    );
    refused(&tool, &["diagnose", "--answers", &call, "--keep"], b"", 3, &["mass", "V", "volts.yaml:4:37"]);
}

#[test]
fn weights_that_are_no_numbers() {
    for (values, phrase) in [
        ("['abc', 247]", "'abc' is not a number"),
        ("[abc, 247]", "'abc' is not a number"),
        ("[.nan, 247]", "'.nan' is not a number that can be measured"),
        ("[.inf, 247]", "'.inf' is not a number that can be measured"),
        ("[-.inf, 247]", "'-.inf' is not a number that can be measured"),
    ] {
        bad_case(&fills(&format!("unit: g, target: 250, values: {values}")), &[phrase, "call.yaml:4:67"]);
    }
}

#[test]
fn targets_that_no_bag_can_have() {
    for target in ["-250", "0"] {
        let text = fills(&format!("unit: g, target: {target}, values: [247, 248]"));
        bad_case(&text, &["a target is above zero", target, "call.yaml:4:53"]);
        let option = format!("--target={target}");
        refused(&home(), &["weights", "247", "248", &option], b"", 3, &["--target", "more than zero"]);
    }
}

#[test]
fn runs_that_are_empty_or_do_not_pair() {
    bad_case(&fills("unit: g, target: 250, values: []"), &["a run without fills", "call.yaml:4:66"]);
    let pairs = fills("unit: g, target: 250, values: [247, 248, 249], shown: [247, 248]");
    bad_case(&pairs, &["'shown' has one entry a fill, or none: here 2 for a run of 3", "call.yaml:4:"]);
}

#[test]
fn ten_megabytes_in_one_line() {
    let tool = home();
    let long = "1".repeat(TEN_MEGABYTES);
    bad_case_of(&tool, &format!("{HEAD}complaint: {long}\n"), &["larger than 1048576 bytes"]);
    let run = format!("247.2\n{long}\n247.0\n");
    let phrases = ["Line 2 is longer than 4000 characters"];
    refused(&tool, &["weights", "--target", "250g"], run.as_bytes(), 3, &phrases);
    refused(&tool, &["weights", &file(&tool, "run.csv", &run)], b"", 3, &phrases);
}

#[test]
fn ten_megabytes_typed_into_a_walk_are_refused_and_the_walk_goes_on() {
    let tool = home();
    let long = "x".repeat(TEN_MEGABYTES);
    // No danger, on hold, the first machine; then the serial number, twice.
    let typed = format!("n\ny\n1\n{long}\nSN 12\nleave\n");
    let begun = Instant::now();
    let said = tool.typed(&["diagnose", "bags", "are", "light"], typed.as_bytes());
    assert!(begun.elapsed() < PATIENCE, "{:?}", begun.elapsed());
    assert_eq!((said.status, said.err.as_str()), (Some(0), ""), "{}", said.block());
    let refusal = said.out.find("That is too long for one answer.").unwrap_or_else(|| panic!("{}", said.out));
    assert!(said.out[refusal..].contains("Opening 5"), "the walk stands still: {}", said.out);
    let record = tool.home().join("store/cases");
    let kept: Vec<_> = listing(&record).into_values().flatten().filter(|b| !b.is_empty()).collect();
    assert!(kept.iter().any(|b| String::from_utf8_lossy(b).contains("SN 12")), "the answer after it is lost");
    assert!(kept.iter().all(|b| b.len() < 10_000), "the long line was kept");
}

#[test]
fn a_caller_who_can_name_no_symptom_is_asked_something_else() {
    for nothing in ["?", "0"] {
        let tool = home();
        let typed = format!("n\ny\n1\n?\n?\n?\n?\n?\n?\n{nothing}\nleave\n");
        let said = tool.typed(&["diagnose", "bags", "are", "odd"], typed.as_bytes());
        assert_eq!(said.status, Some(0), "{}", said.block());
        let asked = said.out.find("Which of these is it?").unwrap_or_else(|| panic!("{}", said.out));
        let rest = &said.out[asked..];
        assert!(rest.contains("Next: ") && !rest.contains("What the caller says"), "{rest}");
    }
}

#[test]
fn aliases_that_explode_and_nesting_without_end() {
    let row = |name: char, of: &str| format!("{name}: &{name} [{}]\n", [of; 9].join(", "));
    let bomb = [row('a', "x"), row('b', "*a"), row('c', "*b"), row('d', "*c"), row('e', "*d")].concat();
    bad_case(&format!("{HEAD}{bomb}"), &["too many aliases"]);
    let deep = format!("{HEAD}events: {}{}\n", "[".repeat(50_000), "]".repeat(50_000));
    bad_case(&deep, &["nested too deep"]);
}

#[test]
fn escape_codes_in_knowledge_are_refused_and_never_shown() {
    let tool = Tool::broken(80, "escape-in-title");
    let vetted = tool.run(&["knowledge", "vet"]);
    assert_eq!(vetted.status, Some(1), "{}", vetted.block());
    assert!(vetted.out.contains("pan-touching.yaml:1:8") && !vetted.block().contains('\u{1b}'));
    for args in [&["diagnose", "light"][..], &["show", "pan-touching"], &["find", "pan"]] {
        refused(&tool, args, b"", 3, &["pan-touching.yaml:1:8", "The knowledge cannot be used"]);
    }
}

#[test]
fn escape_codes_in_a_complaint_are_taken_out() {
    let tool = home();
    let text = format!(
        "{HEAD}complaint: \"bags \\e]0;owned\\a are \\e[31mlight\"\nevents: [{{note: \"\\e[2Jgone\"}}]\n"
    );
    let call = file(&tool, "call.yaml", &text);
    for extra in [&[][..], &["--json"], &["--keep"]] {
        let said = tool.run(&[&["diagnose", "--answers", &call][..], extra].concat());
        assert_eq!(said.status, Some(0), "{}", said.block());
        assert!(!said.block().contains(['\u{1b}', '\u{7}']), "{}", said.block());
    }
    for args in [&["case", "list"][..], &["case", "show"], &["case", "report"], &["case", "export"]] {
        let said = tool.run(args);
        assert_eq!(said.status, Some(0), "{}", said.block());
        assert!(
            said.out.contains("light") && !said.block().contains(['\u{1b}', '\u{7}']),
            "{}",
            said.block()
        );
    }
}

#[test]
fn a_knowledge_folder_that_is_not_there() {
    let tool = home();
    let vetted = tool.run(&["knowledge", "vet", "--knowledge", "no-such-folder"]);
    assert_eq!(vetted.status, Some(1), "{}", vetted.block());
    let said = unwrapped(&vetted.out);
    assert!(said.contains("no-such-folder") && said.contains("there is no such file or folder"), "{said}");
    for command in [&["find", "light"][..], &["show", "tray-filler"], &["diagnose", "light"]] {
        let args = [command, &["--knowledge", "no-such-folder"]].concat();
        refused(&tool, &args, b"", 3, &["no-such-folder", "The knowledge cannot be used"]);
    }
}

#[test]
fn a_store_that_cannot_be_written_ends_the_walk_in_words_and_at_once() {
    let tool = home();
    let store = format!("{}/store", file(&tool, "plain-file", "not a folder"));
    let args = ["diagnose", "light", "--store", &store];
    let said = tool.typed(&args, b"n\ny\n1\nSN 12\nleave\n");
    assert_eq!(said.status, Some(4), "{}", said.block());
    let err = unwrapped(&said.err);
    assert!(err.contains("plain-file/store") && err.contains("could not be read"), "{err}");
    assert!(!said.out.contains("Every answer is kept"), "it says to have kept something: {}", said.out);
    assert!(!said.out.contains("Opening 4"), "it goes on although nothing is kept: {}", said.out);
    let call = tool.home().join("kept.yaml");
    let args = ["diagnose", "--answers", call.to_str().unwrap(), "--keep", "--store", &store];
    refused(&tool, &args, b"", 4, &["could not be read"]);
    // A store that is no folder is no empty store.
    refused(&tool, &["case", "list", "--store", &store], b"", 4, &["plain-file/store", "could not be read"]);
}

#[test]
fn a_case_that_another_process_is_working_on() {
    let tool = home();
    let mut first = Command::new(env!("CARGO_BIN_EXE_handlamp"))
        .args(["case", "continue", "--knowledge", "tests/kb/minimal", "--store"])
        .arg(tool.home().join("store"))
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    // It holds the case before it asks its first question.
    let mut asked = String::new();
    let mut out = BufReader::new(first.stdout.take().unwrap());
    while !asked.contains('>') {
        assert!(out.read_line(&mut asked).unwrap() > 0, "{asked}");
    }
    for args in [&["case", "continue"][..], &["case", "close", "--as", "left-open"]] {
        refused(&tool, args, b"leave\n", 4, &["is open in another window"]);
    }
    assert_eq!(tool.run(&["case", "show"]).status, Some(0), "looking at it is always possible");
    first.stdin.take().unwrap().write_all(b"leave\n").unwrap();
    std::io::copy(&mut out, &mut std::io::sink()).unwrap();
    assert_eq!(first.wait().unwrap().code(), Some(0));
    assert_eq!(tool.typed(&["case", "continue"], b"leave\n").status, Some(0), "it is free again");
}

#[test]
fn options_that_do_not_go_together() {
    let tool = home();
    for args in [
        &["diagnose", "light", "--answers", "call.yaml"][..],
        &["diagnose", "--keep"],
        &["diagnose", "--answers", "call.yaml", "--machine", "tray-filler"],
        &["case"],
        &["case", "close"],
        &["case", "close", "--as", "done"],
        &["case", "report", "--form", "letter"],
        &["weights", "a.csv", "b.csv"],
    ] {
        refused(&tool, args, b"", 2, &[]);
    }
}

#[test]
fn cases_that_are_not_there() {
    let tool = home();
    for what in ["show", "continue", "report", "export"] {
        refused(&tool, &["case", what, "2020-01-01-001"], b"", 3, &["There is no case '2020-01-01-001'"]);
        for hostile in ["../x", "/etc/passwd", "..", "a/b"] {
            refused(&tool, &["case", what, hostile], b"", 3, &[hostile, "is not the id of a case"]);
        }
    }
    refused(&tool, &["case", "correct", "../x", "1", "2"], b"", 3, &["is not the id of a case"]);
    refused(&tool, &["case", "close", "../x", "--as", "left-open"], b"", 3, &["is not the id of a case"]);
}
