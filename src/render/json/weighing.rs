//! `weights --json`: what a run of fills says, as `handlamp-weights/1`. Masses are grams.

use serde::Serialize;

use super::rule::{JudgedOut, judged};
use crate::view::weighing as seen;
use crate::weights::allowance::Advice;
use crate::weights::{Change, Lanes, Patterns, Remark, Skipped, Summary};

/// What a run says.
#[derive(Debug, Serialize)]
pub struct WeighingOut<'a> {
    format: &'static str,
    says: String,
    unit: &'static str,
    unit_assumed: bool,
    dates_unclear: bool,
    target: Option<f64>,
    tolerance: Option<f64>,
    usual_spread: Option<f64>,
    values: &'a [f64],
    summary: &'a Summary,
    patterns: &'a Patterns,
    allowance: Option<&'a Advice>,
    rule: Option<JudgedOut<'a>>,
    lane_column: Option<&'a str>,
    lanes: Option<&'a Lanes>,
    change: Option<&'a Change>,
    remarks: Vec<String>,
    skipped_count: usize,
    skipped: Vec<SkippedOut<'a>>,
}

#[derive(Debug, Serialize)]
struct SkippedOut<'a> {
    line: usize,
    text: &'a str,
    why: &'a str,
}

/// The answer for a program.
pub fn weighing<'a>(answer: &'a seen::Weighing) -> WeighingOut<'a> {
    let skipped = |s: &'a Skipped| SkippedOut { line: s.line, text: &s.text, why: &s.why };
    WeighingOut {
        format: "handlamp-weights/1",
        says: answer.sentence(),
        unit: answer.read.run.unit().name,
        unit_assumed: answer.read.unit_assumed,
        dates_unclear: answer.read.dates_unclear,
        target: answer.read.run.target(),
        tolerance: answer.question.tolerance,
        usual_spread: answer.question.usual_spread,
        values: answer.read.run.values(),
        summary: &answer.summary,
        patterns: &answer.patterns,
        allowance: answer.advice.as_ref(),
        rule: answer.judged.as_ref().and_then(|own| Some(judged(&own.rule, own.said.as_ref().ok()?))),
        lane_column: answer.read.lane_column.as_ref().map(|column| column.name.as_str()),
        lanes: answer.lanes.as_ref(),
        change: answer.change.as_ref(),
        remarks: answer.remarks().iter().map(Remark::to_string).collect(),
        skipped_count: answer.read.skipped_count,
        skipped: answer.read.skipped.iter().map(skipped).collect(),
    }
}
