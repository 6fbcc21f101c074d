//! Step text that nobody can show without its cautions.

use super::exposure::{Exposure, Exposures, words};
use super::isolation::Isolation;
use crate::ids::CautionId;
use std::collections::BTreeSet;
use std::fmt;

use serde::{Deserialize, Serialize};

words! {
    /// Signal words by their meaning in ANSI Z535 and ISO 3864, greatest hazard first.
    Signal {
        /// Will kill or maim if not avoided.
        Danger = "DANGER",
        /// Could kill or maim.
        Warning = "WARNING",
        /// May injure lightly.
        Caution = "CAUTION",
        /// Damages property, not people.
        Notice = "NOTICE",
    }
}

/// A hazard said plainly with what to do about it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Caution {
    /// Its id.
    pub id: CautionId,
    /// Signal word.
    pub word: Signal,
    /// What the hazard is.
    pub hazard: String,
    /// What it can do to a person.
    pub what_can_happen: String,
    /// What to do about it.
    pub do_this: String,
    /// The exposures that it is for.
    pub covers: Vec<Exposure>,
    /// Read in full a moment ago by the same person: a screen may say hazard and word alone.
    #[serde(skip)]
    pub brief: bool,
}

impl Caution {
    /// Whether it warns a person of this exposure. A NOTICE is about property and never does.
    pub fn protects_from(&self, exposure: Exposure) -> bool {
        self.word != Signal::Notice && self.covers.contains(&exposure)
    }
}

/// What one step says. Opaque on purpose: no `Display`, no `Serialize`, `Debug` hides it.
#[derive(Clone, PartialEq, Eq)]
pub struct StepText {
    act: String,
    expect: Option<String>,
}

impl StepText {
    /// Takes the words of a step as written in an entry: one action, and what to expect.
    pub fn new(act: impl Into<String>, expect: Option<String>) -> Self {
        Self { act: act.into(), expect }
    }

    /// Phrases of the step that tell people to defeat a safeguard or reach into danger, for vetting.
    pub fn unsafe_phrases(&self) -> Vec<&'static str> {
        let text = format!("{} {}", self.act, self.expect.as_deref().unwrap_or("")).to_lowercase();
        FORBIDDEN.iter().copied().filter(|phrase| text.contains(phrase)).collect()
    }

    /// Whether it says to expect just this.
    pub fn expects(&self, sight: &str) -> bool {
        self.expect.as_deref() == Some(sight)
    }

    /// Whether it says what to expect.
    pub fn says_what_to_expect(&self) -> bool {
        self.expect.is_some()
    }
}

impl fmt::Debug for StepText {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("StepText(…)")
    }
}

/// Exact phrases, step text only, since 'product bridging' and 'bridge resistance' are honest trade words.
const FORBIDDEN: &[&str] = &[
    "bypass the guard",
    "bypass the interlock",
    "defeat the guard",
    "defeat the interlock",
    "override the guard",
    "override the interlock",
    "bridge the interlock",
    "bridge out the interlock",
    "bridge the guard",
    "jumper the",
    "jump the interlock",
    "link out the interlock",
    "link out the guard",
    "link out the stop",
    "tape the switch",
    "tie back the guard",
    "hold the guard switch",
    "with the guard open and the machine running",
    "with the guard off and the machine running",
    "run it with the guard open",
    "run it with the guard off",
    "while the guard is open, start",
    "reach in while",
    "reach into the running",
    "while it is running, reach",
    "put your hand in while",
    "stand under the hopper",
    "stand under the load",
    "climb into the hopper",
    "enter the hopper",
    "get into the hopper",
];

/// Why a step may not be shown.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("a step that exposes a person ({exposures}) has no caution that covers {missing}")]
pub struct MissingCaution {
    /// All exposures of the step.
    pub exposures: Exposures,
    /// The one that nothing covers.
    pub missing: Exposure,
}

/// Steps ready to be shown: text, exposures, the isolation they ask for, and the cautions that go before them.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandsOnStep {
    texts: Vec<StepText>,
    exposures: Exposures,
    isolation: Option<Isolation>,
    cautions: Vec<Caution>,
}

/// What shows a step. It is handed everything in one call, cautions first.
pub trait StepSink {
    /// Shows cautions, then isolation, then the numbered actions with what to expect.
    fn step(
        &mut self,
        exposures: &Exposures,
        cautions: &[Caution],
        isolation: Option<&Isolation>,
        actions: &[(&str, Option<&str>)],
    );
}

impl HandsOnStep {
    /// Joins texts with what must go before them. Refused while an exposure is not covered by a caution.
    pub fn new(
        texts: Vec<StepText>,
        exposures: Exposures,
        isolation: Option<Isolation>,
        mut cautions: Vec<Caution>,
    ) -> Result<Self, MissingCaution> {
        let covered = |e: Exposure| cautions.iter().any(|c| c.protects_from(e));
        let hands_on = |e: &Exposure| !matches!(e, Exposure::Outside | Exposure::Running);
        let missing = exposures.iter().filter(hands_on).find(|&e| !covered(e));
        if let Some(missing) = missing {
            return Err(MissingCaution { exposures, missing });
        }
        // Stable: among equals the author's order stays, which puts first what catches a hand.
        cautions.sort_by_key(|c| c.word);
        Ok(Self { texts, exposures, isolation, cautions })
    }

    /// With these cautions said in brief, since the same person has read them in full in this sitting.
    #[must_use]
    pub fn with_read(mut self, read: &BTreeSet<CautionId>) -> Self {
        self.cautions.iter_mut().for_each(|caution| caution.brief = read.contains(&caution.id));
        self
    }

    /// Where the body is.
    pub fn exposures(&self) -> &Exposures {
        &self.exposures
    }

    /// What must be said before the step, greatest hazard first.
    pub fn cautions(&self) -> &[Caution] {
        &self.cautions
    }

    /// The lockout that it asks for.
    pub fn isolation(&self) -> Option<&Isolation> {
        self.isolation.as_ref()
    }

    /// The only way to the text: all of it at once, to a sink that takes the cautions with it.
    pub fn show(&self, sink: &mut dyn StepSink) {
        let actions: Vec<_> = self.texts.iter().map(|t| (t.act.as_str(), t.expect.as_deref())).collect();
        sink.step(&self.exposures, &self.cautions, self.isolation.as_ref(), &actions);
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Trait, Traits};
    use super::*;

    fn caution(covers: Vec<Exposure>) -> Caution {
        Caution {
            id: "hands".into(),
            word: Signal::Warning,
            hazard: "The flap can move.".into(),
            what_can_happen: "Crushed fingers.".into(),
            do_this: "Lock it off.".into(),
            covers,
            brief: false,
        }
    }

    #[test]
    fn a_hands_on_step_cannot_be_made_while_an_exposure_is_uncovered() {
        let pan = Exposures::at(&Traits(vec![Trait::Guarded, Trait::Scale]), &[]);
        let text = || vec![StepText::new("Put the weight on.", None)];
        assert!(HandsOnStep::new(text(), pan.clone(), None, vec![]).is_err());
        let missing =
            HandsOnStep::new(text(), pan.clone(), None, vec![caution(vec![Exposure::Inside])]).unwrap_err();
        assert_eq!(missing.missing, Exposure::AtScale);
        let both = caution(vec![Exposure::Inside, Exposure::AtScale]);
        let of_property = Caution { word: Signal::Notice, ..both.clone() };
        assert!(HandsOnStep::new(text(), pan.clone(), None, vec![of_property]).is_err());
        assert!(HandsOnStep::new(text(), pan, None, vec![both]).is_ok());
    }

    #[test]
    fn step_text_cannot_be_printed_by_accident() {
        assert!(!format!("{:?}", StepText::new("Reach in.", None)).contains("Reach"));
    }

    #[test]
    fn text_that_defeats_a_safeguard_is_seen_and_trade_words_are_not() {
        assert!(!StepText::new("Bypass the interlock with a magnet.", None).unsafe_phrases().is_empty());
        assert!(StepText::new("Look for product bridging above the tray.", None).unsafe_phrases().is_empty());
        assert!(StepText::new("Measure the bridge resistance.", None).unsafe_phrases().is_empty());
    }
}
