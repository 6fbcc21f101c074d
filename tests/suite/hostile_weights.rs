//! Whatever is pasted as weights: it is read or its lines are listed as left out, and nothing breaks.
//!
//! Good inputs are mangled by chance: pieces swapped, doubled, cut, bytes flipped, figures blown up, marks of other
//! columns put in. `HANDLAMP_FUZZ_MINUTES=10 tests/run hostile_weights` goes on for that long instead of a few thousand
//! inputs.

use std::time::{Duration, Instant};

use handlamp::weights::generate::Dice;
use handlamp::weights::{Question, ReadOptions, compare_lanes, find_patterns, read, summarise};

/// Inputs tried when no time is given.
const INPUTS: usize = 1500;
/// Longest input.
const LONGEST: usize = 6000;

const GOOD: &[&str] = &[
    "247.2 g\n247,0 g\n246.9 g\n247.4 g\n247.1 g\n",
    "247.2 247.0 246.9 247.4 247.1 247.3 246.8 247.2\n",
    "weight;shown;head\n247.2;250.1;1\n246.9;249.8;2\n247.4;250.0;1\n247.0;250.2;2\n",
    "2026-11-25 08:14:03  ST,GS,+  250.12 g\n2026-11-25 08:14:11  ST,GS,+  249.88 g\n2026-11-25 08:14:19  US,GS,+  251.02 g\n",
    "time,net (g),lane\n08:14,250.1,A\n08:15,249.9,B\n08:16,250.3,A\n08:17,250.0,B\n",
    "No. 1\t0,2501 kg\nNo. 2\t0,2498 kg\nNo. 3\t0,2503 kg\nTotal\t0,7502 kg\n",
    "N     250.1 g\nT       4.2 g\n\nN     249.7 g\nT       4.2 g\n",
];
const PIECES: &[&str] = &[
    "1e308",
    "-1e308",
    "nan",
    "inf",
    "0",
    "-0",
    "1e-320",
    "999999999999999999999999",
    "kg",
    "g",
    "lb",
    "oz",
    ";",
    ",",
    "\t",
    "\n",
    "\r\n",
    "\u{1b}[2J",
    "\u{0}",
    "\u{feff}",
    "±",
    "−",
    "½",
    "١٢٣",
    "\u{202e}",
    "\"",
    "'",
    "=1+1",
    "0x1F",
    "1.2.3",
    "1,2,3",
    "ST",
    "head",
    "08:61",
    "2026-13-45",
    "weight",
    "<script>",
    "--",
    "..",
    "1 000,5",
    "1'000.5",
];

fn mangled(dice: &mut Dice) -> String {
    let mut bytes = GOOD[dice.below(GOOD.len())].as_bytes().to_vec();
    for _ in 0..=dice.below(12) {
        let at = dice.below(bytes.len() + 1);
        match dice.below(7) {
            0 if !bytes.is_empty() => {
                let at = at.min(bytes.len() - 1);
                bytes[at] = dice.bits() as u8;
            }
            1 => {
                let piece = PIECES[dice.below(PIECES.len())];
                bytes.splice(at..at, piece.bytes());
            }
            2 => bytes.truncate(at.max(1)),
            3 => {
                let other = GOOD[dice.below(GOOD.len())].as_bytes();
                let from = dice.below(other.len());
                bytes.splice(at..at, other[from..].iter().copied());
            }
            4 => {
                let end = (at + dice.below(40)).min(bytes.len());
                bytes.drain(at..end);
            }
            5 => {
                let end = (at + dice.below(60)).min(bytes.len());
                let piece = bytes[at..end].to_vec();
                for _ in 0..dice.below(20) {
                    bytes.splice(at..at, piece.iter().copied());
                }
            }
            _ => {
                let digits = "9".repeat(1 + dice.below(400));
                bytes.splice(at..at, digits.bytes());
            }
        }
        bytes.truncate(LONGEST);
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// Everything that the program works out of weights, as JSON and as words; false when they cannot be read.
fn worked_out(text: &str, options: &ReadOptions) -> bool {
    let Ok(found) = read(text, options) else { return false };
    let values = found.run.values();
    assert!(values.iter().all(|v| v.is_finite()), "{text:?} gives {values:?}");
    let lines = text.lines().count();
    assert!(
        found.skipped.iter().all(|s| s.line <= lines.max(1) && !s.text.chars().any(char::is_control)),
        "{text:?}"
    );
    let question = Question { tolerance: Some(2.0), usual_spread: Some(0.5), ..Question::default() };
    let summary = summarise(&found.run, &question);
    let patterns = find_patterns(&found.run, &question);
    let words =
        format!("{}{}", patterns.sentence, serde_json::to_string(&patterns).expect("patterns are JSON"));
    assert!(!words.chars().any(|c| c.is_control() && c != '\n'), "{text:?}");
    let lanes = compare_lanes(&found.run, 0, &question);
    assert!(!format!("{summary:?} {patterns:?} {lanes:?}").contains("NaN"), "{text:?}");
    true
}

#[test]
fn nothing_that_is_pasted_breaks_the_reader() {
    let minutes = std::env::var("HANDLAMP_FUZZ_MINUTES").ok().and_then(|m| m.parse::<u64>().ok());
    let until = minutes.map(|m| Instant::now() + Duration::from_secs(60 * m));
    let dice = &mut Dice::new(until.map_or(1, |_| 2));
    let options = [ReadOptions::default(), ReadOptions::with_target("250 g").unwrap()];
    let (mut tried, mut read_well) = (0_usize, 0_usize);
    while until.map_or(tried < INPUTS, |until| Instant::now() < until) {
        let text = mangled(dice);
        read_well += usize::from(worked_out(&text, &options[tried % 2]));
        tried += 1;
    }
    assert!(read_well > tried / 20, "of {tried} inputs only {read_well} could be read at all");
}
