//! `weights`: words first, numbers second, picture third, from numbers typed, piped or in a file; bad input is
//! refused in a sentence.

use crate::tool::Tool;

const LIGHT: &str = "247.2 g\n247.0\n246.9\n247.4\nscale error\n247.1\n247.3\n246.8\n247.2\n247.0\n247.1\n";

#[test]
fn a_light_run_is_said_in_words_before_numbers_and_picture() {
    let args = ["weights", "--target", "250 g", "--machine", "tray-filler", "--allowance", "5 g"];
    insta::assert_snapshot!(Tool::minimal(40).typed(&args, LIGHT.as_bytes()).block(), @r#"
10 fills, target 250.0 g

Every fill about 2.9 g light (± 0.13),
spread usual for this machine: look for
an offset, not for scatter.

In-flight allowance: from 5.0 g to 2.1
g, so the feed is cut off at 247.9 g.
Write the old value down, then weigh
again.

Know before you trust it
• The display step was read from the
  values as 0.1 g.
• Line 5 left out: “scale” is not a
  number.
• Line 5 left out: “error” is not a
  number.

Figures (in brackets: where the true one
lies, 19 times in 20)
• Mean: 247.10 g, of 10 fills
• Mean error: −2.90 g (−3.03 to −2.77)
• Spread: 0.18 g (0.13 to 0.33); usual
  0.50 g
• Lightest 246.8 g, heaviest 247.4 g
• Outside ± 2.0 g: 10 light, 0 heavy, of
  10 (72 % to 100 %)
• Capability: Cp 3.65, Cpk −1.64

252.00 │┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄
       │
250.96 │
       │
249.92 │──────────────────────────────
       │
248.88 │
       │
247.84 │┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄
       │●        ●  ●  ●     ●     ●
246.80 │   ●  ●           ●     ●
● fill  ─ target  ┄ limit  in g
"#);
    insta::assert_snapshot!(Tool::minimal(80).typed(&args, LIGHT.as_bytes()).block(), @r#"
10 fills, target 250.0 g

Every fill about 2.9 g light (± 0.13), spread usual for this machine: look for
an offset, not for scatter.

In-flight allowance: from 5.0 g to 2.1 g, so the feed is cut off at 247.9 g.
Write the old value down, then weigh again.

Know before you trust it
• The display step was read from the values as 0.1 g.
• Line 5 left out: “scale” is not a number.
• Line 5 left out: “error” is not a number.

Figures (in brackets: where the true one lies, 19 times in 20)
• Mean: 247.10 g, of 10 fills
• Mean error: −2.90 g (−3.03 to −2.77)
• Spread: 0.18 g (0.13 to 0.33); usual 0.50 g
• Lightest 246.8 g, heaviest 247.4 g
• Outside ± 2.0 g: 10 light, 0 heavy, of 10 (72 % to 100 %)
• Capability: Cp 3.65, Cpk −1.64

252.00 │┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄
       │
250.96 │
       │
249.92 │──────────────────────────────
       │
248.88 │
       │
247.84 │┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄┄
       │●        ●  ●  ●     ●     ●
246.80 │   ●  ●           ●     ●
● fill  ─ target  ┄ limit  in g
"#);
}

#[test]
fn typed_piped_and_filed_weights_say_the_same() {
    let tool = Tool::minimal(80);
    let file = tool.home().join("fills.txt");
    std::fs::write(&file, "247.2\n247,0\n246.9\n247.4\n247.1\n").unwrap();
    let filed = tool.run(&["weights", file.to_str().unwrap(), "--target", "250g"]);
    let typed = tool.run(&["weights", "247.2", "247,0", "246.9", "247.4", "247.1", "--target", "250g"]);
    let piped = tool.typed(&["weights", "--target", "250g"], b"247.2\n247,0\n246.9\n247.4\n247.1\n");
    assert_eq!(filed.out, typed.out);
    assert_eq!(filed.out, piped.out);
    assert_eq!(filed.status, Some(0), "{}", filed.block());
}

#[test]
fn the_answer_for_a_program_names_its_shape() {
    let said = Tool::minimal(80).typed(&["weights", "--target", "250 g", "--json"], LIGHT.as_bytes());
    let json = said.json();
    assert_eq!(json["format"], "handlamp-weights/1");
    assert_eq!(json["skipped"][0]["line"], 5);
    assert!((json["summary"]["error"]["estimate"].as_f64().unwrap() + 2.9).abs() < 1e-9, "{}", said.out);
}

#[test]
fn bad_input_is_refused_in_a_sentence() {
    let tool = Tool::minimal(60);
    let mut block = String::new();
    for args in [
        ["247", "--target=5 V"],
        ["247", "--target=-250 g"],
        ["247", "--target=abc"],
        ["247", "--unit=grms"],
        ["NaN.csv", "--target=250g"],
        [".", "--target=250g"],
        ["247 g", "248 kg"],
    ] {
        let said = tool.run(&["weights", args[0], args[1]]);
        assert_eq!((said.status, said.out.as_str()), (Some(3), ""), "{}", said.block());
        block.push_str(&said.err);
    }
    for input in ["", "abc\nNaN\ninf\n", &"9".repeat(10_000_000)] {
        let said = tool.typed(&["weights", "--target", "250g", "--json"], input.as_bytes());
        assert_eq!((said.status, said.out.as_str()), (Some(3), ""), "{}", said.block());
        block.push_str(&said.err);
    }
    insta::assert_snapshot!(block, @r#"
handlamp: --target: '5 V' is a voltage, and a mass is wanted
  here, in g for instance.
handlamp: --target: -250 g is not possible; it is more than
  zero.
handlamp: --target: 'abc' is not a number; type one like
  199.4 g.
handlamp: --unit: 'grms' is not a unit known here.
help: did you mean g/s or ms?
handlamp: There is no file NaN.csv.
handlamp: There is no weight in this input; line 1: '.' is
  not a number.
handlamp: Line 2 is in kg, the weights before are in g; give
  one run in one unit.
handlamp: There is no weight in this input.
handlamp: There is no weight in this input; line 1: 'abc' is
  not a number.
handlamp: Line 1 is longer than 4000 characters; give one
  weight a line.
"#);
}
