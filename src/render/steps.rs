//! Steps on a terminal or in a plain report: cautions, then the lockout, then what to do. Whoever draws a step is
//! handed all of it at once and cannot leave the cautions out.

use super::layout::Lines;
use super::theme::Role;
use crate::safety::{Caution, Exposure, Exposures, Isolation, StepSink};
use crate::view::{Lockout, Words, words};

/// Draws steps into lines.
pub(super) struct Steps<'l, 'a> {
    pub(super) lines: &'l mut Lines<'a>,
    pub(super) lockout: Lockout,
}

impl StepSink for Steps<'_, '_> {
    fn step(
        &mut self,
        exposures: &Exposures,
        cautions: &[Caution],
        isolation: Option<&Isolation>,
        actions: &[(&str, Option<&str>)],
    ) {
        if let Some(sentence) = where_you_are(exposures) {
            self.lines.paragraph(&sentence);
        }
        for item in cautions {
            caution(self.lines, item);
        }
        if cautions.last().is_some_and(|caution| caution.brief) {
            self.lines.gap();
        }
        if let Some(isolation) = isolation {
            match self.lockout {
                Lockout::InFull | Lockout::UpToTheWork => lock(self.lines, isolation),
                Lockout::Standing => self.lines.paragraph(&Words::new().strong(Isolation::STILL_LOCKED)),
                Lockout::Answered => {}
            }
            self.lines.gap();
        }
        act(self.lines, actions);
        if let Some(isolation) = isolation.filter(|_| self.lockout == Lockout::InFull) {
            self.lines.gap();
            hand_back(self.lines, isolation);
        }
    }
}

/// 'Where you are for this: inside the guards.' Nothing to say from outside.
pub(super) fn where_you_are(exposures: &Exposures) -> Option<Words> {
    let places: Vec<&str> =
        exposures.iter().filter(|e| *e != Exposure::Outside).map(words::exposure).collect();
    (!places.is_empty()).then(|| Words::from(format!("Where you are for this: {}.", places.join(", "))))
}

/// A caution: its word first, then hazard, harm and what to do, with a bar at the side.
pub(super) fn caution(lines: &mut Lines<'_>, caution: &Caution) {
    let edge = Role::Edge(caution.word);
    let mark = format!("{} ", lines.look.side());
    if caution.brief {
        let words = Words::new().strong(caution.word.as_str()).plain(format!(" {}", caution.hazard));
        return lines.hang(Some(edge), &mark, &mark, &words);
    }
    lines.marked(edge, &mark, Role::Signal(caution.word), caution.word.as_str());
    for text in [
        Words::from(caution.hazard.as_str()),
        Words::from(format!("What can happen: {}", words::clause_stop(&caution.what_can_happen))),
        Words::new().strong("Do this: ").plain(words::clause_stop(&caution.do_this)),
    ] {
        lines.hang(Some(edge), &mark, &mark, &text);
    }
    lines.gap();
}

/// The lockout prompt up to the moment hands go in.
pub(super) fn lock(lines: &mut Lines<'_>, isolation: &Isolation) {
    lines.painted(Role::Heading, 0, "Make it safe first");
    lines.paragraph(&Words::from("A prompt, not the site's own procedure."));
    lines.paragraph(&Words::from(isolation.first_question));
    lines.numbered(2, &items(&isolation.before));
}

/// From the end of the work to running again.
pub(super) fn hand_back(lines: &mut Lines<'_>, isolation: &Isolation) {
    lines.painted(Role::Heading, 0, "When the work is done");
    lines.numbered(2, &items(&isolation.after));
}

fn act(lines: &mut Lines<'_>, actions: &[(&str, Option<&str>)]) {
    let items: Vec<Words> = actions.iter().map(|(act, expect)| action(act, *expect)).collect();
    if !items.is_empty() {
        lines.painted(Role::Heading, 0, "Do");
        lines.numbered(2, &items);
    }
}

/// An action, and on a line of its own what to expect.
fn action(act: &str, expect: Option<&str>) -> Words {
    let words = Words::from(act);
    match expect {
        Some(expect) => words.plain(format!("\nExpect: {}", words::clause_stop(expect))),
        None => words,
    }
}

fn items(texts: &[String]) -> Vec<Words> {
    texts.iter().map(|t| Words::from(t.as_str())).collect()
}
