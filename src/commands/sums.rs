//! `handlamp weights corners …` and its like: the sums that are done by hand at a scale.

use serde::Serialize;

use super::{CommandError, Context, Outcome, Result};
use crate::ids;
use crate::knowledge::Judges;
use crate::units::{Kind, Quantity, Unit};
use crate::view::Page;
use crate::view::sums::{self, Fine};
use crate::weights::scale;

/// Readings of one kind, and what they are held against.
#[derive(Debug, clap::Args)]
pub(super) struct Against {
    /// Allowed, with its unit
    #[arg(long, value_name = "WEIGHT")]
    limit: Option<String>,
    /// The weight that was put on: without a limit, that of a class III scale is taken
    #[arg(long, value_name = "WEIGHT", requires = "step")]
    load: Option<String>,
    /// Smallest step of the display
    #[arg(long, value_name = "WEIGHT", requires = "load")]
    step: Option<String>,
}

/// A sum at the scale.
#[derive(Debug, clap::Subcommand)]
pub(super) enum Sum {
    /// One weight in the middle, then at each corner of the pan
    #[command(allow_negative_numbers = true)]
    Corners {
        /// Reading in the middle, then at the corners in any order
        #[arg(value_name = "READING", required = true, num_args = 3..)]
        readings: Vec<String>,
        #[command(flatten)]
        against: Against,
    },
    /// The same weight on and off several times
    #[command(allow_negative_numbers = true)]
    Repeats {
        /// Each reading
        #[arg(value_name = "READING", required = true, num_args = 2..)]
        readings: Vec<String>,
        #[command(flatten)]
        against: Against,
    },
    /// How much of an error is zero and how much is span
    #[command(allow_negative_numbers = true)]
    ZeroSpan {
        /// Reading with nothing on
        empty: String,
        /// Reading with the weight on
        loaded: String,
        /// What the weight is marked
        #[arg(long, value_name = "WEIGHT")]
        load: String,
    },
    /// Microvolts for one step of the display
    Signal {
        /// Excitation of the cell, like 5V
        #[arg(long, value_name = "VOLTS")]
        excitation: String,
        /// Rated output of the cell, like 2mV/V
        #[arg(long, value_name = "MV/V")]
        output: String,
        /// Capacity of all cells together
        #[arg(long, value_name = "WEIGHT")]
        capacity: String,
        /// Live load
        #[arg(long, value_name = "WEIGHT")]
        load: String,
        /// Smallest step of the display
        #[arg(long, value_name = "WEIGHT")]
        step: String,
    },
    /// Whether one mean tare may stand for each empty bag
    Empties {
        /// Each empty bag
        #[arg(value_name = "WEIGHT", required = true, num_args = 2..)]
        weights: Vec<String>,
        /// What the label says
        #[arg(long, value_name = "WEIGHT")]
        label: String,
        /// Rule that says what a pack may be short
        #[arg(long, value_name = "ID")]
        rule: String,
    },
    /// Where a checkweigher should reject, from passes of one known pack
    RejectPoint {
        /// Each pass of the same pack at line speed
        #[arg(value_name = "WEIGHT", required = true, num_args = 2..)]
        passes: Vec<String>,
        /// The weight that no pack may be under
        #[arg(long, value_name = "WEIGHT")]
        limit: String,
    },
    /// Fills a minute, from where the seconds go
    Pace {
        /// What one fill weighs
        #[arg(long, value_name = "WEIGHT")]
        target: String,
        /// Weight at which coarse feed ends
        #[arg(long, value_name = "WEIGHT")]
        cut_off: String,
        /// Coarse feed, weight a second
        #[arg(long, value_name = "WEIGHT")]
        coarse: String,
        /// Fine feed, weight a second
        #[arg(long, value_name = "WEIGHT")]
        fine: String,
        /// Seconds for settling, emptying and what comes between
        #[arg(long, value_name = "SECONDS")]
        rest: f64,
        /// Weigh heads
        #[arg(long, value_name = "N", default_value_t = 1, value_parser = clap::value_parser!(u32).range(1..=1000))]
        heads: u32,
        /// Fills a minute that are wanted
        #[arg(long, value_name = "N")]
        wanted: Option<f64>,
    },
}

/// What a program gets.
#[derive(Serialize)]
struct SumOut<'a, T> {
    format: &'static str,
    sum: &'static str,
    #[serde(flatten)]
    found: &'a T,
}

fn say<T: Serialize>(
    context: &mut Context,
    (sum, good): (&'static str, bool),
    found: &T,
    page: &Page,
) -> Result {
    if context.options.json {
        context.json(&SumOut { format: "handlamp-sum/1", sum, found })?;
    } else {
        context.page(page)?;
    }
    Ok(if good { Outcome::Done } else { Outcome::NotGood })
}

pub(super) fn run(sum: &Sum, context: &mut Context) -> Result {
    match sum {
        Sum::Corners { readings, against } => {
            let (weights, fine) = masses(readings)?;
            let (limit, class) = allowed(against)?;
            let found = scale::corners(weights[0], &weights[1..], limit);
            say(
                context,
                ("corners", found.corners.iter().all(|corner| !corner.beyond)),
                &found,
                &sums::corners(&found, fine, class.as_deref()),
            )
        }
        Sum::Repeats { readings, against } => {
            let (weights, fine) = masses(readings)?;
            let (limit, class) = allowed(against)?;
            let found = scale::repeats(&weights, limit).ok_or_else(|| wanted("Two readings"))?;
            say(context, ("repeats", found.within), &found, &sums::repeats(&found, fine, class.as_deref()))
        }
        Sum::ZeroSpan { empty, loaded, load } => {
            let (weights, fine) = masses(&[empty.clone(), loaded.clone()])?;
            let found = scale::zero_and_span(weights[0], weights[1], mass("load", load)?)
                .ok_or_else(|| wanted("A load that raises the reading"))?;
            say(context, ("zero-span", true), &found, &sums::zero_and_span(&found, fine))
        }
        Sum::Signal { excitation, output, capacity, load, step } => {
            let volts = quantity("excitation", excitation, Kind::Voltage)?;
            let rated = quantity("output", output, Kind::Signal)?;
            let (capacity, load, step) =
                (mass("capacity", capacity)?, mass("load", load)?, mass("step", step)?);
            let found = scale::signal(volts, rated, capacity, load, step)
                .ok_or_else(|| wanted("A load within the capacity, of more than one step,"))?;
            say(context, ("signal", true), &found, &sums::signal(&found))
        }
        Sum::Empties { weights, label, rule } => {
            let (weights, fine) = masses(weights)?;
            let label = mass("label", label)?;
            let knowledge = context.knowledge()?;
            let rule = super::weights::rule_named(&knowledge, rule)?;
            if rule.judges != Judges::Average {
                return Err(CommandError::input(
                    "This sum is of an average-quantity rule, and that is none.",
                )
                .hint("Like --rule eu-average-quantity.".to_owned()));
            }
            let short = rule.limit(label).ok_or_else(|| wanted("A label within the rule's range"))?;
            let found = scale::empties(&weights, label, short).ok_or_else(|| wanted("Two empty bags"))?;
            say(context, ("empties", true), &found, &sums::empties(&found, fine, &rule.head.title))
        }
        Sum::RejectPoint { passes, limit } => {
            let (weights, fine) = masses(passes)?;
            let limit = mass("limit", limit)?;
            let found = scale::reject_point(&weights, limit)
                .ok_or_else(|| wanted("Passes that differ, of a pack over the limit,"))?;
            say(context, ("reject-point", true), &found, &sums::reject_point(&found, limit, fine))
        }
        Sum::Pace { target, cut_off, coarse, fine, rest, heads, wanted: a_minute } => {
            let [target, cut_off] = [mass("target", target)?, mass("cut-off", cut_off)?];
            let [coarse, fine] = [mass("coarse", coarse)?, mass("fine", fine)?];
            let found = scale::Cycle::of(target, cut_off, coarse, fine, *rest)
                .filter(|cycle| cycle.seconds().is_finite())
                .ok_or_else(|| wanted("A cut-off below the target, and no figure below nought,"))?;
            let page = sums::cycle(&found, f64::from(*heads), *a_minute);
            say(context, ("pace", true), &found, &page)
        }
    }
}

fn wanted(what: &str) -> CommandError {
    CommandError::input(format!("{what} is wanted."))
}

/// The limit given, else that of a class III scale at the load, with the load in words.
fn allowed(against: &Against) -> Result<(f64, Option<String>)> {
    if let Some(limit) = &against.limit {
        return Ok((mass("limit", limit)?, None));
    }
    let (Some(load), Some(step)) = (&against.load, &against.step) else {
        return Err(CommandError::usage("What is allowed? Give --limit, or --load and --step."));
    };
    let limit = scale::limit_in_service(mass("load", load)?, mass("step", step)?)
        .ok_or_else(|| wanted("A load of no more than 10,000 steps"))?;
    Ok((limit, Some(crate::diag::harmless(load))))
}

fn mass(what: &str, text: &str) -> Result<f64> {
    quantity(what, text, Kind::Mass)
}

/// A quantity above nought, in its base unit.
fn quantity(what: &str, text: &str, kind: Kind) -> Result<f64> {
    let found = Quantity::parse(text)
        .and_then(|_| Quantity::parse_in(text, kind.base()))
        .map_err(|error| CommandError::input(format!("--{what}: {error}.")))?;
    if found.base() > 0.0 {
        Ok(found.base())
    } else {
        Err(CommandError::input(format!("--{what}: it is more than nought.")))
    }
}

/// Readings in grams, with the unit of the first and the finest step that was typed.
fn masses(texts: &[String]) -> Result<(Vec<f64>, Fine)> {
    let mut assumed: &'static Unit = Kind::Mass.base();
    let mut all = Vec::with_capacity(texts.len());
    for (place, text) in texts.iter().enumerate() {
        let found = Quantity::parse_in(text, assumed)
            .map_err(|error| CommandError::input(format!("Reading {}: {error}.", place + 1)))?;
        if place == 0 {
            assumed = found.unit;
        }
        // A bare figure in another unit than the first is a slip, not a reading.
        let apart = all.first().map_or(1.0, |first: &f64| (found.base() / first).abs());
        if apart > 100.0 && Quantity::parse(&texts[0]).is_ok() && Quantity::parse(text).is_err() {
            return Err(CommandError::input(format!(
                "Reading {}: is it in {}? Give its unit.",
                place + 1,
                assumed.name
            )));
        }
        all.push(found.base());
    }
    let decimals = |text: &String| {
        let digits = text.chars().skip_while(|c| !matches!(c, '.' | ',')).skip(1);
        digits.take_while(char::is_ascii_digit).count()
    };
    let finest = texts.iter().map(decimals).max().unwrap_or(0).min(ids::LONGEST);
    Ok((all, Fine { unit: assumed, step: 10f64.powi(-i32::try_from(finest).unwrap_or(0)) }))
}
