//! What was closed is remembered: cases of others come in once, and find and diagnose know them. Whatever breaks, nothing else
//! is lost, and what cannot be read is named.

use std::path::{Path, PathBuf};
use std::process::Stdio;

use crate::tool::{Said, Tool, one_line};

fn demo(tool: &Tool, folder: &str, cases: &str, seed: &str) -> String {
    tool.demo(folder, cases, seed).to_str().unwrap().to_owned()
}

/// Some record of a folder of cases.
fn record_in(cases: &Path) -> PathBuf {
    let mut all = std::fs::read_dir(cases).unwrap().map(|entry| entry.unwrap().path());
    all.find(|path| path.extension().is_some_and(|end| end == "jsonl")).unwrap()
}

fn import(tool: &Tool, path: &str) -> (Said, [usize; 4]) {
    let said = tool.run(&["case", "import", path, "--json"]);
    let json = said.json();
    let count = |key: &str| json[key].as_array().unwrap().len();
    let counts = ["taken", "extended", "known", "refused"].map(count);
    (said, counts)
}

fn kept(tool: &Tool) -> usize {
    tool.run(&["case", "list", "--json"]).json()["cases"].as_array().unwrap().len()
}

#[test]
fn cases_of_others_come_in_once_whatever_they_are_called() {
    let tool = Tool::built_in(80);
    let theirs = demo(&tool, "theirs", "30", "1");
    let (said, counts) = import(&tool, &theirs);
    assert_eq!((said.status, counts), (Some(0), [30, 0, 0, 0]), "{}", said.block());
    assert_eq!(import(&tool, &theirs).1, [0, 0, 30, 0], "the second time nothing comes in");
    // Under another name it is the same case; with the same name and another content it is another.
    let cases = tool.home().join("theirs/cases");
    let first = record_in(&cases);
    let text = std::fs::read_to_string(&first).unwrap();
    let id = first.file_stem().unwrap().to_str().unwrap().to_owned();
    std::fs::write(
        cases.join("renamed.jsonl"),
        text.replacen(&format!("\"id\":\"{id}\""), "\"id\":\"renamed\"", 1),
    )
    .unwrap();
    std::fs::write(&first, text.replacen("\"serial\":\"L", "\"serial\":\"M", 1)).unwrap();
    let (said, counts) = import(&tool, &theirs);
    assert_eq!(counts, [1, 0, 30, 0], "{}", said.block());
    let other = said.json()["taken"][0]["id"].as_str().unwrap().to_owned();
    assert_ne!(other, id, "it has an id of its own");
    assert_eq!(kept(&tool), 31);
    // What was exported from here is known again, too.
    let file = tool.home().join("exported.yaml");
    std::fs::write(&file, tool.run(&["case", "export", &id]).out).unwrap();
    assert_eq!(import(&tool, file.to_str().unwrap()).1, [0, 0, 1, 0]);
}

#[test]
fn a_record_that_goes_on_where_ours_stops_is_extended() {
    let tool = Tool::built_in(80);
    let theirs = demo(&tool, "theirs", "3", "1");
    let cases = tool.home().join("theirs/cases");
    let path = record_in(&cases);
    let whole = std::fs::read_to_string(&path).unwrap();
    let half: Vec<&str> = whole.lines().take(3).collect();
    std::fs::write(&path, half.join("\n") + "\n").unwrap();
    assert_eq!(import(&tool, &theirs).1, [3, 0, 0, 0]);
    std::fs::write(&path, &whole).unwrap();
    assert_eq!(import(&tool, &theirs).1, [0, 1, 2, 0]);
    let ours = tool.home().join("store/cases").join(path.file_name().unwrap());
    assert_eq!(std::fs::read_to_string(ours).unwrap(), whole);
    assert_eq!(import(&tool, &theirs).1, [0, 0, 3, 0]);
}

#[test]
fn a_file_cut_in_half_is_named_and_hinders_no_other() {
    let tool = Tool::built_in(80);
    let theirs = demo(&tool, "theirs", "5", "1");
    let cases = tool.home().join("theirs/cases");
    let path = record_in(&cases);
    let whole = std::fs::read(&path).unwrap();
    std::fs::write(&path, &whole[..whole.len() / 2]).unwrap();
    std::fs::write(cases.join("torn-head.jsonl"), &whole[..40]).unwrap();
    std::fs::write(cases.join("half.yaml"), "format: handlamp-case/1\nmachine: single-tr").unwrap();
    let (said, counts) = import(&tool, &theirs);
    assert_eq!((said.status, counts), (Some(1), [4, 0, 0, 3]), "{}", said.block());
    for name in [path.file_name().unwrap().to_str().unwrap(), "torn-head.jsonl", "half.yaml"] {
        assert!(said.out.contains(name), "{name}\n{}", said.block());
    }
    assert_eq!(kept(&tool), 4);
}

#[test]
fn what_was_just_closed_is_found_and_a_memory_that_was_deleted_comes_back() {
    let tool = Tool::built_in(80);
    let theirs = demo(&tool, "theirs", "20", "1");
    import(&tool, &theirs);
    let file = tool.home().join("case.yaml");
    let case = "format: handlamp-case/1
machine: single-tray-weigher
opening: {serial: S-17}
complaint: the zeppelin sacks come up short
events:
  - {reading: what-the-caller-says, outcome: fills-steadily-light}
  - {remedy: lower-inflight-allowance, result: proved-gone}
closed: cured
";
    std::fs::write(&file, case).unwrap();
    let find = || tool.run(&["find", "zeppelin", "sacks", "--json"]).json()["cases"].clone();
    assert!(
        find()
            .as_array()
            .unwrap()
            .iter()
            .all(|past| !past["complaint"].as_str().unwrap().contains("zeppelin"))
    );
    assert_eq!(tool.run(&["diagnose", "--answers", file.to_str().unwrap(), "--keep"]).status, Some(0));
    let found = find()[0].clone();
    assert_eq!(found["complaint"], "the zeppelin sacks come up short");
    assert_eq!(found["cured_by"], "lower-inflight-allowance");
    let page = tool.run(&["find", "zeppelin", "sacks"]);
    assert!(one_line(&page.out).contains("own words: not a checked instruction"), "{}", page.block());
    std::fs::remove_dir_all(tool.home().join("store/cache")).unwrap();
    assert_eq!(find()[0], found);
    std::fs::remove_file(tool.home().join("store/cases/.closed")).unwrap();
    std::fs::remove_dir_all(tool.home().join("store/cache")).unwrap();
    assert_eq!(find()[0], found, "and without the list of what was closed");
    // The next call about the same machine is told of it, and about what was alike; the answer for a program is not.
    let lines = ["n", "?", "S-17", "?", "3", "?", "?", "?", "the bags come up short", "1", "leave"];
    let said =
        tool.typed(&["diagnose", "--machine", "single-tray-weigher"], (lines.join("\n") + "\n").as_bytes());
    let text = one_line(&said.out);
    assert!(text.contains("it is no evidence on this one"), "{}", said.block());
    assert!(
        text.contains("This machine was here before") && text.contains("cured by: Lower the in-flight"),
        "{text}"
    );
    let answer = |more: &str| {
        std::fs::write(&file, case.replace("closed: cured\n", more)).unwrap();
        tool.run(&["diagnose", "--answers", file.to_str().unwrap(), "--json"]).out
    };
    assert!(!answer("").contains("zeppelin sacks come"), "what is remembered never stands in an answer");
}

#[test]
fn two_that_record_at_once_lose_nothing() {
    let tool = Tool::built_in(80);
    let file = tool.home().join("case.yaml");
    let lesson = |n: usize| {
        format!(
            "title: Lesson number {n}\ntold: It was so.\nkind: new-check\nby: R. T.\nrecorded: 2026-11-25\n"
        )
    };
    std::fs::write(
        &file,
        "format: handlamp-case/1\nmachine: single-tray-weigher\ncomplaint: light\nclosed: left-open\n",
    )
    .unwrap();
    let spawn = |args: Vec<String>| {
        let ready = tool.command();
        let mut command = std::process::Command::new(ready.get_program());
        command.env_clear().args(args).stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
        command.envs(ready.get_envs().filter_map(|(name, value)| Some((name, value?))));
        command.spawn().unwrap()
    };
    let mut children = Vec::new();
    for n in 0..8 {
        let path = tool.home().join(format!("lesson-{n}.yaml"));
        std::fs::write(&path, lesson(n)).unwrap();
        children
            .push(spawn(["lesson", "record", "--file", path.to_str().unwrap()].map(str::to_owned).to_vec()));
        children.push(spawn(
            ["diagnose", "--answers", file.to_str().unwrap(), "--keep"].map(str::to_owned).to_vec(),
        ));
    }
    let mut kept_here = 0;
    for (place, child) in children.into_iter().enumerate() {
        let done = child.wait_with_output().unwrap();
        // Two may want the same number of the day at once: one of them says so and has lost nothing that it was told.
        let busy = done.status.code() == Some(4);
        assert!(
            done.status.code() == Some(0) || (busy && place % 2 == 1),
            "{}",
            String::from_utf8_lossy(&done.stderr)
        );
        kept_here += usize::from(place % 2 == 1 && !busy);
    }
    let list = tool.run(&["lesson", "list", "--json"]).json();
    assert_eq!(list["waiting"].as_array().unwrap().len(), 8);
    assert_eq!(kept(&tool), kept_here);
}

/// Where no file may grow, as on a full disk.
#[cfg(unix)]
#[test]
fn on_a_full_disk_it_is_said_and_what_was_there_stays() {
    let tool = Tool::built_in(80);
    let theirs = demo(&tool, "theirs", "5", "1");
    import(&tool, &theirs);
    let more = demo(&tool, "more", "5", "2");
    let before = kept(&tool);
    let program = tool.command().get_program().to_str().unwrap().to_owned();
    let ready = tool.command();
    let full = |args: &str| {
        let mut command = std::process::Command::new("sh");
        let script = format!("trap '' XFSZ; ulimit -f 0; exec {program} {args}");
        command.env_clear().arg("-c").arg(script).stdin(Stdio::null());
        command.envs(ready.get_envs().filter_map(|(name, value)| Some((name, value?))));
        command.output().unwrap()
    };
    let done = full(&format!("case import {more}"));
    assert_eq!(done.status.code(), Some(4), "{}", String::from_utf8_lossy(&done.stderr));
    assert_eq!(kept(&tool), before);
    let path = tool.home().join("lesson.yaml");
    std::fs::write(&path, "title: A\ntold: B\nkind: safety\nby: R. T.\nrecorded: 2026-11-25\n").unwrap();
    let done = full(&format!("lesson record --file {}", path.display()));
    assert_eq!(done.status.code(), Some(4), "{}", String::from_utf8_lossy(&done.stderr));
    assert_eq!(tool.run(&["lesson", "record", "--file", path.to_str().unwrap()]).status, Some(0));
    assert_eq!(import(&tool, &more).1[0], 5, "and with room again it all comes in");
}

/// Killed in the middle of an import: every case is there whole or not at all, and the next import brings the rest.
#[cfg(unix)]
#[test]
fn an_import_killed_in_the_middle_leaves_whole_cases_only() {
    let tool = Tool::built_in(80);
    let theirs = demo(&tool, "theirs", "1500", "1");
    let ready = tool.command();
    let mut command = std::process::Command::new(ready.get_program());
    command.env_clear().args(["case", "import", &theirs]).stdout(Stdio::null()).stderr(Stdio::null());
    command.envs(ready.get_envs().filter_map(|(name, value)| Some((name, value?))));
    let mut child = command.spawn().unwrap();
    let cases = tool.home().join("store/cases");
    let records = || {
        let all = std::fs::read_dir(&cases).into_iter().flatten().map(|e| e.unwrap().path());
        all.filter(|path| path.extension().is_some_and(|end| end == "jsonl")).count()
    };
    while records() == 0 && child.try_wait().unwrap().is_none() {
        std::thread::sleep(std::time::Duration::from_millis(2));
    }
    child.kill().unwrap();
    child.wait().unwrap();
    let list = tool.run(&["case", "list", "--json"]);
    assert_eq!((list.status, list.err.as_str()), (Some(0), ""), "nothing is damaged: {}", list.err);
    let (said, [taken, _, known, refused]) = import(&tool, &theirs);
    assert_eq!((said.status, taken + known, refused), (Some(0), 1500, 0));
    assert_eq!(kept(&tool), 1500);
}
