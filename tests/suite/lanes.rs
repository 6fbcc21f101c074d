//! `weights` with lanes and with a run before a change: one sick head is found and no sound one is blamed; a change is said
//! to have helped only when the fills prove it.

use std::fmt::Write as _;

use crate::tool::{Said, Tool};

/// Six heads, eight rounds: all move together, head 3 is light, head 5 goes its own way.
const SHIFTS: [f64; 8] = [0.0, 6.2, -4.1, 9.3, -7.4, 3.0, -1.2, 5.1];
const OWN_WAY: [f64; 8] = [14.0, -11.5, 8.2, -16.1, 12.3, -3.4, 9.7, -12.2];
const SMALL: [f64; 7] = [0.4, -0.7, 0.2, 0.9, -0.5, -0.3, 0.1];

fn six_heads(name: &str, light: f64, own_way: bool) -> String {
    let mut text = format!("weight_g;{name};round\n");
    for (round, shift) in SHIFTS.iter().enumerate() {
        for head in 1..=6 {
            let mut weight = 400.0 + shift + SMALL[(round * 5 + head * 3 + round * head) % 7];
            if head == 3 {
                weight -= light;
            }
            if head == 5 && own_way {
                weight = 400.0 + OWN_WAY[round];
            }
            let _ = writeln!(text, "{weight:.1};{head};{round}");
        }
    }
    text
}

fn weighed(columns: usize, text: &str, options: &[&str]) -> Said {
    let said =
        Tool::minimal(columns).typed(&[&["weights", "--target", "400 g"], options].concat(), text.as_bytes());
    assert_eq!(said.status, Some(0), "{}", said.block());
    said
}

/// The page without its picture and figures.
fn words(said: &Said) -> &str {
    said.out.split("\nFigures").next().unwrap()
}

#[test]
fn the_sick_heads_are_said_first_and_no_other_is_blamed() {
    let text = six_heads("Head", 3.5, true);
    insta::assert_snapshot!(words(&weighed(40, &text, &[])), @r#"
48 fills, target 400.0 g

Head 3 does not go with the others: it
is about 3.50 g light beside the others
in the same round (± 0.60).

Head 5 does not go with the others: it
does not rise and fall with the others,
and scatters about them 30 times as much
as they do.

Look at those heads first: a setting
that all heads share does not cure them.

All fills together: On target as far as
48 fills tell (± 2 g): nothing unusual.

Know before you trust it
• Column “Head” was taken to say the
  head; --lane names another.
• The heads move together from round to
  round, by up to 16.65 g; this was
  taken out first.
• The display step was read from the
  values as 0.1 g.
• The usual spread of this machine is
  not known, so 'wide' cannot be judged.
• No tolerance was given; ± 21.4 g (four
  usual spreads) was taken.

Each head, and how far it is from the
others in the same round
• Head 1: +0.12 g (−0.50 to +0.74); mean
  error +1.49 (−3.41 to +6.39); spread
  5.86; 8 fills
• Head 2: +0.08 g (−0.54 to +0.70); mean
  error +1.46 (−3.20 to +6.13); spread
  5.58; 8 fills
• Head 3: −3.50 g (−4.10 to −2.90); mean
  error −2.10 (−6.93 to +2.73); spread
  5.78; 8 fills
• Head 4: −0.08 g (−0.70 to +0.54); mean
  error +1.34 (−3.17 to +5.85); spread
  5.39; 8 fills
• Head 5: −1.28 g (−23.93 to +21.38);
  mean error +0.12 (−10.16 to +10.41);
  spread 12.31; 8 fills
• Head 6: −0.12 g (−0.74 to +0.50); mean
  error +1.31 (−3.34 to +5.96); spread
  5.56; 8 fills
"#);
    insta::assert_snapshot!(words(&weighed(80, &text, &["--lane", "2"])), @r#"
48 fills, target 400.0 g

Head 3 does not go with the others: it is about 3.50 g light beside the others
in the same round (± 0.60).

Head 5 does not go with the others: it does not rise and fall with the others,
and scatters about them 30 times as much as they do.

Look at those heads first: a setting that all heads share does not cure them.

All fills together: On target as far as 48 fills tell (± 2 g): nothing unusual.

Know before you trust it
• The heads move together from round to round, by up to 16.65 g; this was taken
  out first.
• The display step was read from the values as 0.1 g.
• The usual spread of this machine is not known, so 'wide' cannot be judged.
• No tolerance was given; ± 21.4 g (four usual spreads) was taken.

Each head, and how far it is from the others in the same round
• Head 1: +0.12 g (−0.50 to +0.74); mean error +1.49 (−3.41 to +6.39); spread
  5.86; 8 fills
• Head 2: +0.08 g (−0.54 to +0.70); mean error +1.46 (−3.20 to +6.13); spread
  5.58; 8 fills
• Head 3: −3.50 g (−4.10 to −2.90); mean error −2.10 (−6.93 to +2.73); spread
  5.78; 8 fills
• Head 4: −0.08 g (−0.70 to +0.54); mean error +1.34 (−3.17 to +5.85); spread
  5.39; 8 fills
• Head 5: −1.28 g (−23.93 to +21.38); mean error +0.12 (−10.16 to +10.41);
  spread 12.31; 8 fills
• Head 6: −0.12 g (−0.74 to +0.50); mean error +1.31 (−3.34 to +5.96); spread
  5.56; 8 fills
"#);
}

#[test]
fn heads_that_are_alike_are_not_blamed() {
    let said = weighed(40, &six_heads("tube", 0.0, false), &["--tolerance", "4 g"]);
    insta::assert_snapshot!(words(&said), @r#"
48 fills, target 400.0 g

The 6 tubes go together: none is off
from the others by more than 0.73 g.

All fills together: On target as far as
48 fills tell (± 4.1 g): look for what
comes back regularly.

It shows a slow swing, single fills far
too light and single fills far too
heavy.

Know before you trust it
• Column “tube” was taken to say the
  tube; --lane names another.
• The tubes move together from round to
  round, by up to 16.73 g; this was
  taken out first.
• Each fill is much like the one before
  (0.686), so these are worth about 8
  independent fills; the range of the
  mean is widened for it.
• The display step was read from the
  values as 0.1 g.
• The usual spread of this machine is
  not known, so 'wide' cannot be judged.

Each tube, and how far it is from the
others in the same round
• Tube 1: +0.13 g (−0.48 to +0.73); mean
  error +1.49 (−3.41 to +6.39); spread
  5.86; 8 fills
• Tube 2: +0.10 g (−0.51 to +0.70); mean
  error +1.46 (−3.20 to +6.13); spread
  5.58; 8 fills
• Tube 3: +0.02 g (−0.58 to +0.63); mean
  error +1.40 (−3.43 to +6.23); spread
  5.78; 8 fills
• Tube 4: −0.05 g (−0.66 to +0.55); mean
  error +1.34 (−3.17 to +5.85); spread
  5.39; 8 fills
• Tube 5: −0.11 g (−0.72 to +0.49); mean
  error +1.29 (−3.43 to +6.00); spread
  5.64; 8 fills
• Tube 6: −0.08 g (−0.69 to +0.52); mean
  error +1.31 (−3.34 to +5.96); spread
  5.56; 8 fills
"#);
}

#[test]
fn lanes_are_not_guessed_from_a_column_that_does_not_plainly_say_so() {
    let said = weighed(80, &six_heads("head loss", 3.5, true), &["--json"]);
    assert!(said.json()["lanes"].is_null() && said.json()["lane_column"].is_null());
    let told = weighed(80, &six_heads("head loss", 3.5, true), &["--lane", "head loss", "--json"]).json();
    assert_eq!(told["lane_column"], "head loss");
    assert_eq!(told["lanes"]["verdict"]["lanes"], "apart");
    let apart = |at: usize| told["lanes"]["each"][at]["off"] == true;
    assert_eq!((0..6).filter(|&at| apart(at)).collect::<Vec<_>>(), [2]);
    assert!(told["lanes"]["each"][4]["loose"].as_f64().unwrap() > 5.0);
    assert_eq!(told["lanes"]["rounds"], 8);
}

#[test]
fn too_few_fills_from_each_lane_say_how_many_more() {
    let few = "weight,lane\n401,A\n399,B\n402,C\n398,A\n400,B\n";
    let said = weighed(40, few, &[]);
    assert!(
        said.out.contains("The lanes cannot be compared yet: weigh\nat least 1 more fill from each lane."),
        "{}",
        said.out
    );
    let loose = "weight,lane\n401,A\n392,B\n408,C\n395,A\n407,B\n391,C\n404,A\n396,B\n405,C\n";
    let said = weighed(80, loose, &["--tolerance", "8 g"]);
    assert!(said.out.contains("Whether a lane stands out cannot be told yet: about "), "{}", said.out);
}

#[test]
fn a_lane_column_that_is_not_there_is_refused_in_a_sentence() {
    for (input, lane) in
        [("247\n248\n", "head"), ("weight,head\n247,1\n", "hopper"), ("weight,head\n247,1\n", "9")]
    {
        let said = Tool::minimal(60).typed(&["weights", "--lane", lane], input.as_bytes());
        assert_eq!((said.status, said.out.as_str()), (Some(3), ""), "{}", said.block());
        assert!(said.err.contains(&format!("no column '{lane}'")), "{}", said.err);
    }
}

/// Fills around a middle.
fn fills(middle: f64, size: f64, n: usize) -> String {
    let steps = [0.3, -1.1, 0.8, -0.2, 1.4, -0.9, 0.1, -1.3, 1.0, -0.1];
    (0..n).fold(String::new(), |mut text, at| {
        let _ = writeln!(text, "{:.1} g", middle + size * steps[at % 10]);
        text
    })
}

fn since(columns: usize, before: &str, after: &str, options: &[&str]) -> Said {
    let tool = Tool::minimal(columns);
    let file = tool.home().join("before.txt");
    std::fs::write(&file, before).unwrap();
    let args = ["weights", "--target", "500 g", "--before", file.to_str().unwrap()];
    let said = tool.typed(&[&args, options].concat(), after.as_bytes());
    assert_eq!(said.status, Some(0), "{}", said.block());
    said
}

#[test]
fn a_change_that_helped_is_said_so_with_what_became_better() {
    let said = since(40, &fills(503.1, 3.2, 20), &fills(500.4, 1.6, 20), &["--tolerance", "4 g"]);
    insta::assert_snapshot!(words(&said), @r#"
20 fills, target 500.0 g

The change helped: the mean is closer to
the target (error +0.40 g, was +3.11),
the spread is smaller (1.42 g, was 2.85)
and fewer fills are outside (0 of 20,
was 8 of 20).

After the change: On target as far as 20
fills tell (± 0.66 g): look for what
comes back regularly.

Know before you trust it
• The display step was read from the
  values as 0.1 g.
• The usual spread of this machine is
  not known, so 'wide' cannot be judged.

Before and after
• Fills: 20 before, 20 after
• Mean error: +3.11 g before, +0.40
  after
• Change of the mean: −2.71 g (−4.17 to
  −1.25)
• Spread: 2.85 g before, 1.42 after
• Spread after is 0.50 times that before
  (0.31 to 0.79)
• Outside: 8 of 20 before, 0 of 20
  after: −40 points of 100 (−61 to −16)
"#);
}

#[test]
fn a_change_that_harmed_or_settled_nothing_is_said_so() {
    let said = since(80, &fills(500.4, 1.6, 20), &fills(503.1, 3.2, 20), &["--tolerance", "4 g"]);
    assert!(
        said.out.contains("The change made it worse: the mean is further from the target"),
        "{}",
        said.out
    );
    let said = since(200, &fills(501.0, 2.0, 30), &fills(500.2, 2.0, 6), &[]);
    let line = said.out.lines().find(|line| line.contains("cannot be told yet: about")).unwrap();
    assert!(line.contains("more fills after the change would settle it"), "{line}");
    let said = since(80, &fills(500.0, 0.5, 60), &fills(500.1, 0.5, 60), &["--tolerance", "4 g"]);
    assert!(said.out.contains("The change made no difference that matters."), "{}", said.out);
    let said = since(80, "500 g\n", &fills(500.1, 0.5, 10), &[]);
    assert!(said.out.contains("missing are 4 before the change"), "{}", said.out);
}

#[test]
fn before_and_after_reach_a_program_as_figures() {
    let json = since(80, &fills(503.1, 3.2, 20), &fills(500.4, 1.6, 20), &["--json"]).json();
    let change = &json["change"];
    assert_eq!((&change["helped"]["change"], &change["mean_way"]), (&"yes".into(), &"better".into()));
    assert!((change["mean"]["change"]["estimate"].as_f64().unwrap() + 2.7).abs() < 0.05, "{change}");
    assert!((change["spread"]["ratio"]["estimate"].as_f64().unwrap() - 0.5).abs() < 0.02, "{change}");
    assert!(change["outside"].is_null());
}

#[test]
fn a_run_before_that_cannot_be_read_is_named() {
    let tool = Tool::minimal(80);
    let file = tool.home().join("junk.txt");
    std::fs::write(&file, "no weights here\n").unwrap();
    for name in ["missing.csv", file.to_str().unwrap()] {
        let said = tool.typed(&["weights", "--target", "500 g", "--before", name], b"500 g\n501 g\n");
        assert_eq!((said.status, said.out.as_str()), (Some(3), ""), "{}", said.block());
        let shown = name.rsplit('/').next().unwrap();
        assert!(said.err.replace(['\n', ' '], "").contains(shown), "{}", said.err);
    }
}
