//! Somebody who follows the advice of a set-up blindly, on a made-up filler, typing what a person would type.

use handlamp::casebook::log::{Kept, Log};
use handlamp::knowledge::Knowledge;
use handlamp::walk::setup::{
    Draft, SetUpAsk, SetUpInput, SetUpShow, SetUpState, SetUpStep, SetUpWalker, understand,
};
use handlamp::weights::generate::Dice;

use super::filler::{Correction, Fill, Filler, Settings};

/// More changes than this is going round in circles.
const MOST_CHANGES: usize = 60;
/// Fills that the truth about one setting is worked out from.
const TRUTH: usize = 600;
/// A share outside that rises by less than this is chance.
const CHANCE: f64 = 0.005;

/// How it went.
#[derive(Debug)]
pub(crate) struct Outcome {
    pub(crate) changes: usize,
    pub(crate) fills: usize,
    /// Changes after which truly more fills lay outside.
    pub(crate) worse: Vec<String>,
    /// How it ended: good, fast enough or not, or what it was stuck at.
    pub(crate) end: SetUpAsk,
    pub(crate) settings: Settings,
    pub(crate) tolerance: f64,
    /// Seconds from fill to fill that are wanted.
    pub(crate) whole: f64,
    /// Each question with its answer.
    pub(crate) said: Vec<(String, String)>,
}

/// A made-up filler in somebody's hands.
pub(crate) struct Follower<'k> {
    knowledge: &'k Knowledge,
    filler: Filler,
    dice: Dice,
    settings: Settings,
    correcting: bool,
    outcome: Outcome,
}

impl<'k> Follower<'k> {
    pub(crate) fn new(
        knowledge: &'k Knowledge,
        filler: Filler,
        tolerance: f64,
        whole: f64,
        seed: u64,
    ) -> Self {
        let settings = filler.found;
        let outcome = Outcome {
            changes: 0,
            fills: 0,
            worse: Vec::new(),
            end: SetUpAsk::Over,
            settings,
            tolerance,
            whole,
            said: Vec::new(),
        };
        let correcting = filler.correction != Correction::None;
        Self { knowledge, filler, dice: Dice::new(seed), settings, correcting, outcome }
    }

    /// Follows the advice to its end.
    pub(crate) fn follow(mut self) -> Outcome {
        let today = jiff::civil::date(2026, 11, 25);
        let walker = SetUpWalker { knowledge: self.knowledge };
        let mut step = walker.begin(Draft::default(), today);
        loop {
            keep(&mut step);
            assert!(
                !matches!(step.show, Some(SetUpShow::NotUnderstood(_))),
                "{:?}: {:?}",
                step.show,
                self.outcome.said.last()
            );
            let state = step.state;
            let ended = matches!(state.ask, SetUpAsk::Sign { .. } | SetUpAsk::Stuck(_) | SetUpAsk::Over);
            if ended || self.outcome.changes >= MOST_CHANGES {
                self.outcome.end = state.ask;
                self.outcome.settings = self.settings;
                return self.outcome;
            }
            let line = self.answer(&state);
            self.outcome.said.push((format!("{:?}", state.ask), line.clone()));
            let input = understand(&line, &state, self.knowledge);
            if let (SetUpAsk::Change(proposal), SetUpInput::Done) = (&state.ask, &input) {
                self.change(proposal.setting.as_str(), proposal.new.base());
            }
            step = walker.step(state, input);
        }
    }

    fn change(&mut self, setting: &str, to: f64) {
        let outside = |s: &Settings| {
            let settled = if self.correcting { self.filler.corrected(s) } else { *s };
            self.filler.truth(&settled, TRUTH, 9, Some(self.outcome.tolerance)).outside
        };
        let before = outside(&self.settings);
        let mut changed = self.settings;
        *changed.named(setting).expect("a setting of the filler") = to;
        let after = outside(&changed);
        if after > before + CHANCE {
            self.outcome.worse.push(format!("{setting} {:.1} to {:.1} %", 100.0 * before, 100.0 * after));
        }
        self.outcome.changes += 1;
        self.settings = changed;
    }

    /// So many fills in a row; a machine that corrects itself moves its allowance after every fourth.
    fn fills(&mut self, n: usize) -> Vec<Fill> {
        let mut made = Vec::new();
        for i in 0..n {
            made.push(self.filler.fill(&self.settings, &mut self.dice));
            if self.correcting && i % 4 == 3 {
                let shown: f64 = made[i - 3..].iter().map(|f| f.shown).sum::<f64>() / 4.0;
                self.settings.allowance =
                    (self.settings.allowance + 0.4 * (shown - self.filler.target)).max(0.0);
            }
        }
        self.outcome.fills += n;
        made
    }

    fn answer(&mut self, state: &SetUpState) -> String {
        match &state.ask {
            SetUpAsk::Machine(machines) => {
                let wanted = if self.filler.two_trays { "two-tray-weigher" } else { "single-tray-weigher" };
                (machines.iter().position(|m| m.as_str() == wanted).expect("both are set up") + 1).to_string()
            }
            SetUpAsk::Product => "millet".to_owned(),
            SetUpAsk::Target => format!("{:.3} g ± {:.3} g", self.filler.target, self.outcome.tolerance),
            SetUpAsk::Speed => format!("{:.3}", 60.0 / self.outcome.whole),
            SetUpAsk::Gate(_) | SetUpAsk::HandBack => "y".to_owned(),
            SetUpAsk::Corrects => match self.filler.correction {
                Correction::None => "1".to_owned(),
                Correction::CanBeSwitchedOff => {
                    self.correcting = false;
                    "2".to_owned()
                }
                Correction::StaysOn => "3".to_owned(),
            },
            SetUpAsk::Figure(id) => match self.settings.named(id.as_str()) {
                Some(figure) => format!("{figure:.3}"),
                None => format!("{:.2}", self.filler.filter),
            },
            SetUpAsk::AsFound => self.run(10),
            SetUpAsk::Run(fills) => self.run(*fills),
            SetUpAsk::Look { setting, .. } if setting.as_str() == "layer-depth" => {
                let ratio = self.settings.depth / self.filler.even_depth;
                // even-and-shallow, deep-and-rolling, bare-in-places
                if ratio > 1.25 {
                    "2"
                } else if ratio < 0.75 {
                    "3"
                } else {
                    "1"
                }
                .to_owned()
            }
            SetUpAsk::Look { .. } => {
                let still = self.fills(5).iter().filter(|f| f.still).count() >= 4;
                if still { "1" } else { "2" }.to_owned()
            }
            SetUpAsk::Times => {
                let fills = self.fills(5);
                let mean = |what: fn(&Fill) -> f64| fills.iter().map(what).sum::<f64>() / 5.0;
                let (coarse, fine, whole) =
                    (mean(|f| f.coarse_time), mean(|f| f.fine_time), mean(|f| f.whole));
                let [a, b] = [0, 1].map(|_| 0.05 * self.dice.normal());
                let whole = whole + 0.03 * self.dice.normal();
                format!("{:.2} {:.2} {:.3}", (coarse + a).max(0.1), (fine + b).max(0.05), 60.0 / whole)
            }
            SetUpAsk::Catch => {
                let grams = 10.0 * self.filler.fine_alone(&self.settings) * (1.0 + 0.03 * self.dice.normal());
                format!("{:.1}", grams.max(0.1))
            }
            SetUpAsk::Lock(_) => "Ann Reed".to_owned(),
            SetUpAsk::Change(_) => "done".to_owned(),
            SetUpAsk::Stuck(_) | SetUpAsk::Sign { .. } | SetUpAsk::Over => "leave".to_owned(),
        }
    }

    /// The first two go by; the others are typed, with the speed.
    fn run(&mut self, n: usize) -> String {
        self.fills(2);
        let fills = self.fills(n);
        let weights: Vec<String> = fills.iter().map(|f| format!("{:.1}", f.weight)).collect();
        let whole = fills.iter().map(|f| f.whole).sum::<f64>() / n as f64;
        format!("{}\nat {:.2}", weights.join("\n"), 60.0 / whole)
    }
}

/// The record, as a store would keep it.
fn keep(step: &mut SetUpStep) {
    let lines = std::mem::take(&mut step.lines);
    if lines.is_empty() {
        return;
    }
    let head = step.state.draft.head().expect("lines come after the head");
    let log = step.state.log.get_or_insert_with(|| Log::blank(head, step.state.today));
    for line in lines {
        let number = log.lines.len() + 2;
        log.lines.push(Kept { number, at: String::new(), by: None, line });
    }
}
