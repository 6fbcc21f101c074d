//! `knowledge`: problems are drawn at their place, inside the page, and end with 1 here and with 3 elsewhere.

use std::path::Path;

use handlamp::knowledge::{Texts, load};
use handlamp::render::{Look, Paint, diagnostics};
use handlamp::vet;
use unicode_width::UnicodeWidthStr;

use crate::tool::Tool;

#[test]
fn a_problem_is_drawn_where_it_stands_with_what_to_do() {
    let said = Tool::broken(40, "unknown-finding").run(&["knowledge", "vet"]);
    insta::assert_snapshot!(said.block(), @r#"
error: there is no finding
  'fills-heavvy' (unknown-id)
at ~/kb/causes/allowance-
   low.yaml:5:15
  |
4 | leads_to:
5 |   - {finding: fills-heavvy, stre
  |               ^^^^^^^^^^^^
  nothing has this name
help: did you mean fills-heavy?

1 error in 1 file. 16 entries read.

The knowledge cannot be used until the
errors are mended.
--- exit Some(1)
"#);
    let said = Tool::broken(80, "missing-caution").run(&["knowledge", "vet"]);
    insta::assert_snapshot!(said.block(), @r#"
error: on tray-filler the check 'paper-round-pan' exposes a person (at-scale and
  inside), and none of its cautions covers that (missing-caution)
at ~/kb/checks/paper-round-pan.yaml:2:8
  |
1 | title: A strip of paper round the pan
2 | place: weigh-pan
  |        ^^^^^^^^^ work here is at-scale and inside
help: name what covers it under `cautions:`, such as hands-at-live-scale

1 error in 1 file. 16 entries read.

The knowledge cannot be used until the errors are mended.
--- exit Some(1)
"#);
}

#[test]
fn good_knowledge_is_said_to_be_good() {
    insta::assert_snapshot!(Tool::minimal(80).run(&["knowledge", "vet"]).block(), @r#"
No problems. 16 entries read.
"#);
}

#[test]
fn every_broken_folder_is_drawn_inside_the_page_and_without_escapes() {
    for entry in std::fs::read_dir("tests/kb").unwrap() {
        let folder = entry.unwrap().path();
        let texts = Texts::built_in().overlaid_by(Path::new("tests/kb/minimal")).overlaid_by(&folder);
        let (knowledge, mut problems) = load(&texts);
        problems.extend(vet::judge(&knowledge, &texts, false));
        assert_eq!(problems.is_empty(), folder.ends_with("minimal"), "{}", folder.display());
        for columns in [30, 40, 80] {
            let look = Look::terminal(columns, Paint::None);
            let drawn = diagnostics::draw(&problems, &knowledge.sources, &look);
            let bad = drawn.lines().find(|line| line.width() > columns || line.contains('\u{1b}'));
            assert_eq!(bad, None, "{} at {columns}:\n{drawn}", folder.display());
        }
    }
}

#[test]
fn broken_knowledge_ends_vetting_with_one_and_every_other_command_with_three() {
    let tool = Tool::broken(80, "unknown-finding");
    assert_eq!(tool.run(&["knowledge", "vet"]).status, Some(1));
    for args in [
        vec!["show", "fills-light"],
        vec!["find", "light"],
        vec!["knowledge", "stats"],
        vec!["knowledge", "graph"],
        vec!["weights", "247", "248", "--machine", "tray-filler"],
        vec!["show", "fills-light", "--json"],
    ] {
        let said = tool.run(&args);
        assert_eq!((said.status, said.out.as_str()), (Some(3), ""), "{args:?}: {}", said.block());
        assert!(said.err.contains("error: "), "{args:?}: {}", said.err);
    }
}

#[test]
fn an_unreadable_folder_ends_vetting_with_one_and_every_other_command_with_three() {
    let tool = Tool::minimal(80);
    let vet = tool.run(&["knowledge", "vet", "tests/kb/nowhere"]);
    assert_eq!(vet.status, Some(1), "{}", vet.block());
    assert!(
        vet.out.contains("error: cannot be read: ") && vet.out.contains("at tests/kb/nowhere:1:1"),
        "{}",
        vet.out
    );
    assert_eq!(tool.run(&["show", "fills-light", "--knowledge", "tests/kb/nowhere"]).status, Some(3));
    assert_eq!(tool.run(&["find", "light", "--knowledge", "tests/kb/nowhere"]).status, Some(3));
}

#[test]
fn problems_for_a_program_have_file_line_and_column() {
    let said = Tool::broken(80, "unknown-finding").run(&["knowledge", "vet", "--json"]);
    let json = said.json();
    assert_eq!((said.status, &json["format"]), (Some(1), &"handlamp-problems/1".into()));
    let problems = json["problems"].as_array().unwrap();
    let unknown =
        problems.iter().find(|p| p["code"] == "unknown-id").unwrap_or_else(|| panic!("{}", said.out));
    assert!(unknown["at"]["line"].as_u64().unwrap() > 1 && unknown["at"]["column"].is_u64(), "{}", said.out);
}

#[test]
fn counts_have_a_whole_number_for_each_kind() {
    let json = Tool::minimal(80).run(&["knowledge", "stats", "--json"]).json();
    for kind in
        ["machines", "circumstances", "symptoms", "conditions", "causes", "checks", "remedies", "cautions"]
    {
        assert!(json[kind].is_u64() && json["all"][kind].as_u64().unwrap() > 0, "{kind}: {json}");
    }
}

#[test]
fn the_graph_is_drawn_in_dot_around_one_entry() {
    let said = Tool::minimal(80).run(&["knowledge", "graph", "--around", "allowance-low"]);
    assert!(
        said.out.starts_with("digraph") && said.out.contains("Raise the in-flight allowance"),
        "{}",
        said.block()
    );
    assert_eq!(Tool::minimal(80).run(&["knowledge", "graph", "--around", "nothing"]).status, Some(3));
}

#[test]
fn the_surroundings_of_any_entry_are_drawn_as_a_picture() {
    let tool = Tool::minimal(80);
    for (id, names) in [
        ("fills-light", "In-flight allowance set too high"),
        ("pan-catches", "Something touches the pan"),
        ("pan-touching", "Every fill is heavy"),
        ("paper-round-pan", "Shown by: it catches"),
        ("free-the-pan", "Puts right: something touches the pan"),
    ] {
        let said = tool.run(&["knowledge", "graph", "--svg", id]);
        assert!(said.status == Some(0) && said.out.starts_with("<svg "), "{id}: {}", said.block());
        assert_eq!(said.out.matches("<text").count(), said.out.matches("</text>").count());
        assert!(said.out.contains(names), "{id} does not name {names}: {}", said.out);
        assert!(said.out.contains(&format!("handlamp show {id}")), "{id}");
    }
    let wrong = tool.run(&["knowledge", "graph", "--svg", "pan-catche"]);
    assert!(wrong.status == Some(3) && wrong.err.contains("pan-catches"), "{}", wrong.block());
}
