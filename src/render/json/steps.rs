//! Steps for programs: an object that holds exposures holds the cautions beside them, because the sink is handed
//! both at once.

use serde::Serialize;

use crate::safety::{Caution, Exposures, HandsOnStep, Isolation, StepSink};

/// A caution.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CautionOut {
    /// Its id.
    pub id: String,
    /// Signal word.
    pub word: &'static str,
    /// The hazard.
    pub hazard: String,
    /// What it can do to a person.
    pub what_can_happen: String,
    /// What to do about it.
    pub do_this: String,
}

impl From<&Caution> for CautionOut {
    fn from(caution: &Caution) -> Self {
        Self {
            id: caution.id.to_string(),
            word: caution.word.as_str(),
            hazard: caution.hazard.clone(),
            what_can_happen: caution.what_can_happen.clone(),
            do_this: caution.do_this.clone(),
        }
    }
}

/// Steps with what must be said before them.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct StepsOut {
    /// Where the body is.
    pub exposures: Vec<&'static str>,
    /// What must be said first, greatest hazard first.
    pub cautions: Vec<CautionOut>,
    /// The lockout prompt.
    pub isolation: Option<Isolation>,
    /// What to do, in order.
    pub steps: Vec<StepOut>,
}

/// One action.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StepOut {
    /// The action.
    #[serde(rename = "do")]
    pub act: String,
    /// What to expect.
    pub expect: Option<String>,
}

impl StepSink for StepsOut {
    fn step(
        &mut self,
        exposures: &Exposures,
        cautions: &[Caution],
        isolation: Option<&Isolation>,
        actions: &[(&str, Option<&str>)],
    ) {
        self.exposures = exposures.iter().map(crate::safety::Exposure::as_str).collect();
        self.cautions = cautions.iter().map(CautionOut::from).collect();
        self.isolation = isolation.cloned();
        let action = |(act, expect): &(&str, Option<&str>)| StepOut {
            act: (*act).to_owned(),
            expect: expect.map(str::to_owned),
        };
        self.steps = actions.iter().map(action).collect();
    }
}

/// A hands-on step for a program.
pub fn steps(step: &HandsOnStep) -> StepsOut {
    let mut out = StepsOut::default();
    step.show(&mut out);
    out
}
