//! What makes a step hard to follow with tools in hand, told from its words alone.
//!
//! English without a parser: each rule looks for one turn of phrase and lets go whatever may be meant otherwise. A rule
//! that is often wrong would teach authors not to read warnings. So two actions joined by a bare 'and' are let go:
//! 'hold the gate and loosen its bolts' must stay together.

/// Words that open a clause on when to act.
const CONDITIONS: &[&str] =
    &["if", "when", "while", "once", "with", "after", "before", "unless", "until", "where", "without", "for"];

/// Before these, 'if' and 'when' ask or tell something, and set no condition.
const TELLING: &[&str] = &[
    "see", "check", "try", "ask", "asks", "tell", "say", "says", "note", "know", "look", "watch", "find",
    "out", "down", "up", "moment", "time", "day", "only", "even", "as", "except", "than", "what", "feel",
    "hear", "record", "and", "or",
];

/// Commands that guard, hold or wait: they belong to the action beside them.
const GUARDING: &[&str] =
    &["hold", "keep", "leave", "stand", "wait", "see", "support", "touch", "let", "stay", "mind", "make"];

/// Commands that do something of their own.
const ACTING: &[&str] = &[
    "add",
    "adjust",
    "blow",
    "calibrate",
    "call",
    "change",
    "clamp",
    "clean",
    "clear",
    "close",
    "compare",
    "connect",
    "cut",
    "drain",
    "dry",
    "empty",
    "enter",
    "fasten",
    "fill",
    "fit",
    "lift",
    "look",
    "loosen",
    "lower",
    "mark",
    "measure",
    "move",
    "open",
    "press",
    "pull",
    "push",
    "put",
    "raise",
    "read",
    "record",
    "refit",
    "release",
    "remove",
    "replace",
    "reset",
    "run",
    "set",
    "shut",
    "slide",
    "start",
    "stop",
    "switch",
    "take",
    "tare",
    "tighten",
    "try",
    "turn",
    "undo",
    "unplug",
    "weigh",
    "wipe",
    "write",
    "zero",
];

/// How many words a step has and how many sentences. A point inside a figure ends none.
pub(super) fn length(text: &str) -> (usize, usize) {
    let words: Vec<_> = text.split_whitespace().collect();
    let ends = words.iter().filter(|word| word.ends_with(['.', '!', '?'])).count();
    let open = words.last().is_some_and(|word| !word.ends_with(['.', '!', '?']));
    (words.len(), ends + usize::from(open))
}

/// The condition that stands behind its command: 'Stop at the panel **when** the pan is full.'
pub(super) fn late_condition(text: &str) -> Option<String> {
    let words = plain(text);
    let opens = words.first().is_some_and(|(word, _)| CONDITIONS.contains(&word.as_str()));
    if opens {
        return None;
    }
    let late = words.windows(2).find(|pair| {
        ["if", "when", "unless"].contains(&pair[1].0.as_str()) && !TELLING.contains(&pair[0].0.as_str())
    })?;
    Some(late[1].0.clone())
}

/// The command of a further action: after 'then', or the third in a row.
pub(super) fn further_action(text: &str) -> Option<String> {
    // What follows a colon is written, said or listed, not done.
    let words = plain(text.split(':').next().unwrap_or(text));
    let command = command(&words);
    let first = &command.first()?.0;
    let guarded = GUARDING.contains(&first.as_str()) || spared(command);
    let mut actions = usize::from(!guarded);
    for at in 1..command.len() {
        let (joint, comma) = &command[at - 1];
        let word = &command[at].0;
        let joined = *comma || joint == "and" || joint == "then";
        if !joined || !ACTING.contains(&word.as_str()) || spared(&command[at..]) {
            continue;
        }
        actions += 1;
        if actions > 2 || (joint == "then" && !guarded) {
            return Some(word.clone());
        }
    }
    None
}

/// Whether a command leaves things alone, reads back what was just entered, or puts back what was just taken: that
/// must not be parted from the action.
fn spared(command: &[(String, bool)]) -> bool {
    let clause = command.iter().take_while(|(word, _)| word != "and" && word != "then");
    let mut words = clause.map(|(word, _)| word.as_str()).skip(1).take(6);
    words.any(|word| ["nothing", "none", "no", "back"].contains(&word))
}

/// What is to be done, without the condition that opens the sentence.
fn command(words: &[(String, bool)]) -> &[(String, bool)] {
    let opens = words.first().is_some_and(|(word, _)| CONDITIONS.contains(&word.as_str()));
    let end = words.iter().position(|(_, comma)| *comma).filter(|_| opens);
    end.map_or(words, |comma| &words[comma + 1..])
}

/// Words in small letters without marks, each with whether a comma follows it.
fn plain(text: &str) -> Vec<(String, bool)> {
    let marks = |c: char| !c.is_alphanumeric();
    let words = text.split_whitespace();
    words.map(|word| (word.trim_matches(marks).to_lowercase(), word.ends_with([',', ';', ':']))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sentences_are_counted_by_their_ends_and_not_by_points_in_figures() {
        assert_eq!(length("Wait until it reads 0.0 g, then lift."), (8, 1));
        assert_eq!(length("Stop it. Lock it off"), (5, 2));
    }

    #[test]
    fn a_condition_behind_its_command_is_seen() {
        for text in [
            "Stop at the panel when a portion is in the pan.",
            "Call the maker if the arm is bent.",
            "Look for a seal on the scale, and alter nothing if there is one.",
        ] {
            assert!(late_condition(text).is_some(), "{text}");
        }
        for text in [
            "If a pivot is worn, call for the maker's part.",
            "See if the bubble is in its ring.",
            "Ask when it was last cleaned.",
            "Wait for a moment when the neighbours stand still.",
            "Write down when the tray goes weak.",
            "Change the rate by a tenth, down if the lot runs faster, up if it runs slower.",
            "Turn it until the bubble is in its ring.",
        ] {
            assert_eq!(late_condition(text), None, "{text}");
        }
    }

    #[test]
    fn a_second_action_in_order_or_a_third_in_a_row_is_seen() {
        for (text, verb) in [
            ("Zero the second scale, then put the known weight in its middle.", "put"),
            ("When people are clear, lock the point, then try every start path.", "try"),
            ("Undo the bolt, lift the plate and wipe the pan.", "wipe"),
        ] {
            assert_eq!(further_action(text).as_deref(), Some(verb), "{text}");
        }
    }

    #[test]
    fn what_belongs_to_one_action_is_let_go() {
        for text in [
            "Hold the gate so that it cannot drop, then loosen its bolts.",
            "Wait until the reading is still, then take the tare at the panel.",
            "See that the slide is pinned, then take the product off the tray.",
            "Type in the target that is on the order, and read it back.",
            "Lift the weight off, then on again.",
            "Write on a card: tare, weigh net, wait until it stands, write down.",
            "Lift the plate off, look under it, and put it back.",
            "When people are clear, try every start path, then put the controls back to off.",
            "Keep fingers from under the gate, raise it by a fifth of its height and level it.",
            "Read whether automatic correction is on, and read the allowance.",
            "Loosen nothing, and measure from the tray to the gate's edge at both ends.",
        ] {
            assert_eq!(further_action(text), None, "{text}");
        }
    }
}
