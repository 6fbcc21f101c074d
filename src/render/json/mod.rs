//! Answers for programs: own structs, each with a `format` that names its shape and version. Changing a field means
//! a new version. [`text`] writes them: numbers with twelve significant digits, what is unknown as null.

mod cases;
mod checklists;
mod counts;
mod diagnosis;
mod entry;
mod hits;
mod lessons;
mod network;
mod rehearsal;
mod rule;
mod set_ups;
mod steps;
mod trial;
mod week;
mod weighing;
mod work;

use std::io::{self, Write};

use serde::Serialize;
use serde_json::ser::{Formatter, PrettyFormatter, Serializer};

pub use cases::{CaseList, ImportOut, case_list, imported};
pub use checklists::{ListsOut, SheetOut, checklists, sheet};
pub use counts::{CountsOut, counts};
pub use diagnosis::{Diagnosis, Proposed, diagnosis};
pub use entry::{EntryOut, entry};
pub use hits::{HitsOut, hits};
pub use lessons::{LessonsOut, ProposalsOut, lesson, lessons, proposals};
pub use network::{NetworkOut, network};
pub use rehearsal::{ComparedOut, RehearsalOut, compared, recorded, simulated};
pub use set_ups::{SetUpOut, SetUpsOut, set_up, set_ups};
pub use steps::{CautionOut, StepOut, StepsOut, steps};
pub use trial::{TrialOut, trial};
pub use week::{WeekOut, week};
pub use weighing::{WeighingOut, weighing};

use crate::units::significant;

/// An answer as text, in the order of its fields.
pub fn text(answer: &impl Serialize) -> serde_json::Result<String> {
    let mut out = Vec::new();
    answer.serialize(&mut Serializer::with_formatter(&mut out, Twelve(PrettyFormatter::new())))?;
    out.push(b'\n');
    Ok(String::from_utf8_lossy(&out).into_owned())
}

/// An answer as one line with every digit of its numbers, for a program that computes with them.
pub fn exact_text(answer: &impl Serialize) -> serde_json::Result<String> {
    Ok(serde_json::to_string(answer)? + "\n")
}

/// Writes as usual, but numbers with twelve significant digits, so that equal answers are equal to the byte.
struct Twelve<'a>(PrettyFormatter<'a>);

impl Formatter for Twelve<'_> {
    fn write_f64<W: ?Sized + Write>(&mut self, out: &mut W, value: f64) -> io::Result<()> {
        self.0.write_f64(out, significant(value))
    }

    fn begin_array<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.begin_array(out)
    }

    fn end_array<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.end_array(out)
    }

    fn begin_array_value<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        self.0.begin_array_value(out, first)
    }

    fn end_array_value<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.end_array_value(out)
    }

    fn begin_object<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.begin_object(out)
    }

    fn end_object<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.end_object(out)
    }

    fn begin_object_key<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        self.0.begin_object_key(out, first)
    }

    fn begin_object_value<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.begin_object_value(out)
    }

    fn end_object_value<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.0.end_object_value(out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_twelve_digits_and_what_is_no_number_is_null() {
        let written = text(&[0.1 + 0.2, 1.0 / 3.0, f64::NAN, 0.0]).unwrap();
        assert_eq!(written, "[\n  0.3,\n  0.333333333333,\n  null,\n  0.0\n]\n");
    }
}
