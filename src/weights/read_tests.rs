//! What reading weights promises.

use proptest::prelude::*;

use super::*;

fn values(text: &str) -> Vec<f64> {
    let found = read(text, &ReadOptions::default()).unwrap_or_else(|e| panic!("{text}: {e}"));
    found.run.values().iter().map(|v| (v * 1e6).round() / 1e6).collect()
}

fn refused(text: &str) -> String {
    read(text, &ReadOptions::default()).map(|r| r.run).expect_err(text).to_string()
}

fn skipped(text: &str) -> Vec<(usize, String)> {
    read(text, &ReadOptions::default()).unwrap().skipped.into_iter().map(|s| (s.line, s.text)).collect()
}

#[test]
fn weights_are_read_however_they_are_parted() {
    let wanted = [247.2, 247.0, 246.9];
    for text in [
        "247.2\n247.0\n246.9\n",
        "247,2\r\n247,0\r\n246,9",
        "247.2 247.0 246.9",
        "247,2 247,0 246,9",
        "247.2; 247.0; 246.9",
        "247,2;247,0;246,9",
        "247.2, 247.0, 246.9",
        "247.2,247.0,246.9",
        "247.2\t247.0\t246.9",
        "247.2 g\n247.0 g\n246.9 g",
        "247.2g 247.0g 246.9g",
        "g\n247.2\n247.0\n246.9",
        "unit: g\n247.2 247.0 246.9",
        "247.2 247.0 246.9 g",
        "\u{feff}247.2\n\n# the next shift\n247.0\n246.9",
    ] {
        assert_eq!(values(text), wanted, "{text:?}");
    }
    assert_eq!(values("0.2472 kg\n0.247 kg"), [247.2, 247.0]);
    assert_eq!(values("247,248,249"), [247.0, 248.0, 249.0]);
    assert_eq!(values("-0.2 0.1"), [-0.2, 0.1]);
}

#[test]
fn printer_lines_give_the_number_with_the_unit() {
    for text in [
        "2026-11-24 14:05:09  S   247.2 g",
        "24.11.2026 14:05 ST,NT, + 247.2 g",
        "24/11/26 14:05 247.2 g stable",
        "0012 14:05:09 N 247.2 g",
        "G 251.4 g  T 4.2 g  N 247.2 g",
        "251.4 g G  4.2 g T  247.2 g N",
        "Bag 12: 247.2",
        "14:05:09 3 247.2",
        "2026-11-24T14:05:09 247.2 g 21.5 °C",
        "Net weight 247.2 g",
    ] {
        assert_eq!(values(text), [247.2], "{text:?}");
    }
    assert_eq!(values("ST - 0.2 g"), [-0.2]);
}

#[test]
fn times_come_along_and_pass_midnight() {
    let found = read("23:59:30 247.2 g\n00:00:30 247.0 g\n", &ReadOptions::default()).unwrap();
    let times = found.run.times().unwrap();
    assert!((times[1] - times[0] - 60.0).abs() < 1e-9);
}

#[test]
fn junk_is_listed_with_its_line_and_the_rest_is_used() {
    let text = "247.2\nabc\nNaN\n247.0 inf 246.9\n\nTotal 741.1\nmean: 247.0\n";
    assert_eq!(values(text), [247.2, 247.0, 246.9]);
    let listed = skipped(text);
    assert_eq!(listed.iter().map(|s| s.0).collect::<Vec<_>>(), [2, 3, 4, 6, 7]);
    assert_eq!(listed[0].1, "abc");
    assert_eq!(skipped("247.2 abc 247.0"), [(1, "abc".to_owned())]);
    assert_eq!(values("247.2 abc 247.0"), [247.2, 247.0]);
}

#[test]
fn what_would_make_it_another_run_is_refused_with_its_line() {
    assert!(refused("247.2 g\n0.247 kg").contains("line 2 is in kg"));
    assert!(refused("247.2 g\n5 V").contains("line 2: V measures a voltage"));
    assert!(refused("abc\nNaN").contains("no weight") && refused("abc").contains("'abc' is not a number"));
    assert!(refused("").contains("no weight"));
    assert!(refused(&"2".repeat(5000)).contains("line 1 is longer than 4000"));
    assert!(refused(&format!("247.2\n{}", "x".repeat(10_000_000))).contains("line 2"));
    let options = ReadOptions { unit: Unit::find("kg"), ..ReadOptions::default() };
    assert!(matches!(read("247.2 g", &options), Err(ReadError::MixedUnits { .. })));
    assert!(matches!(
        read("247.2", &ReadOptions { target: Quantity::parse("5 V").ok(), ..ReadOptions::default() }),
        Err(ReadError::NotAMass { .. })
    ));
    let negative = ReadOptions::with_target("-250 g").unwrap();
    assert!(read("247.2", &negative).unwrap_err().to_string().contains("-250"));
}

#[test]
fn a_table_is_read_by_the_name_or_the_number_of_its_column() {
    let text = "bag;weight (g);lane;note\n1;247,2;A;ok\n2;247,0;B;\n3;n/a;A;\n";
    let found = read(text, &ReadOptions::default()).unwrap();
    assert_eq!(found.run.values(), [247.2, 247.0]);
    assert_eq!(found.run.lanes().unwrap(), ["A", "B"]);
    assert_eq!((found.skipped[0].line, found.unit_assumed), (4, false));
    let by = |column: &str| {
        let options = ReadOptions { column: Some(Column::from(column)), ..ReadOptions::default() };
        read(text, &options).map(|r| r.run.values().to_vec())
    };
    assert_eq!(by("bag").unwrap(), [1.0, 2.0, 3.0]);
    assert_eq!(by("2").unwrap(), [247.2, 247.0]);
    assert!(by("wheight").unwrap_err().to_string().contains("weight (g)"));
    let odd = read("a,b,c\n1,2,3\n", &ReadOptions::default()).unwrap_err();
    assert!(odd.to_string().contains("name one of a, b, c"));
    let bare = ReadOptions { column: Some(Column::Number(2)), ..ReadOptions::default() };
    assert_eq!(read("1 247.2\n2 247.0", &bare).unwrap().run.values(), [247.2, 247.0]);
}

#[test]
fn pairs_come_from_a_named_column_or_are_said_to_be_pairs() {
    let named = read("weight,shown\n247.2,250.1\n247.0,249.9\n", &ReadOptions::default()).unwrap();
    assert_eq!(named.run.shown().unwrap(), [250.1, 249.9]);
    let said = ReadOptions { pairs: true, ..ReadOptions::default() };
    assert_eq!(read("247.2 250.1\n247.0 249.9", &said).unwrap().run.shown().unwrap(), [250.1, 249.9]);
    assert!(matches!(read("247.2", &said), Err(ReadError::NotAPair { line: 1, found: 1 })));
}

#[test]
fn a_target_in_another_unit_is_turned() {
    let found = read("247.2 g", &ReadOptions::with_target("0.25 kg").unwrap()).unwrap();
    assert!((found.run.target().unwrap() - 250.0).abs() < 1e-9);
    assert!(!found.unit_assumed);
    assert!(read("247.2", &ReadOptions::default()).unwrap().unit_assumed);
}

proptest! {
    #[test]
    fn no_text_makes_reading_panic(text in "([0-9,.;:\\- \\t\\nTGNSVgk/]|\\PC){0,60}", pairs: bool, column in prop::option::of(0usize..4)) {
        let _ = read(&text, &ReadOptions { pairs, column: column.map(Column::Number), ..ReadOptions::default() });
    }

    #[test]
    fn weights_written_one_a_line_are_read_back(grams in prop::collection::vec(-99_999i32..99_999, 1..50)) {
        let numbers: Vec<f64> = grams.iter().map(|g| f64::from(*g) / 10.0).collect();
        let text = numbers.iter().map(|n| format!("{n:.1}")).collect::<Vec<_>>().join("\n");
        let found = read(&text, &ReadOptions::default()).unwrap();
        prop_assert_eq!(found.run.values(), &numbers[..]);
        let commas = read(&text.replace('.', ","), &ReadOptions::default()).unwrap();
        prop_assert_eq!(commas.run.values(), &numbers[..]);
    }
}

#[test]
fn a_column_of_lanes_is_known_by_a_plain_name_or_by_being_told() {
    let column = |text: &str, lane: Option<&str>| {
        read(text, &ReadOptions { lane: lane.map(Column::from), ..ReadOptions::default() })
            .unwrap()
            .lane_column
    };
    let rows = "247,1\n248,2\n249,1\n";
    for (head, noun) in [("Head", "head"), ("tube no.", "tube"), ("tray_id", "tray"), ("Lanes", "lane")] {
        let found = column(&format!("weight,{head}\n{rows}"), None).unwrap();
        assert_eq!((found.noun, found.recognised), (noun, true), "{head}");
    }
    for head in ["head loss", "ahead", "operator", "tube length", "header"] {
        assert_eq!(column(&format!("weight,{head}\n{rows}"), None), None, "{head}");
    }
    let told = column(&format!("weight,hopper\n{rows}"), Some("hopper")).unwrap();
    assert_eq!((told.noun, told.recognised), ("lane", false));
    assert_eq!(column(&format!("weight,hopper\n{rows}"), Some("2")).unwrap().name, "hopper");
    // Mostly blank, or hardly a name twice: those are not lanes.
    assert_eq!(column("weight,head\n247,\n248,\n249,1\n", None), None);
    let all_different: Vec<String> = (0..40).map(|i| format!("250,{i}")).collect();
    assert_eq!(column(&format!("weight,tray\n{}", all_different.join("\n")), None), None);
    let wrong = ReadOptions { lane: Some(Column::from("hopper")), ..ReadOptions::default() };
    assert!(read("247\n248\n", &wrong).unwrap_err().to_string().contains("no column 'hopper'"));
    assert!(read("weight,head\n247,1\n", &wrong).unwrap_err().to_string().contains("weight, head"));
}
