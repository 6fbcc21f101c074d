//! The sums that are done by hand at a scale: corners, repeats, zero and span, signal, empty bags, a checkweigher's reject
//! point, fills a minute. Masses are grams, times seconds; every result says what it was held against.

use serde::Serialize;

use super::stats::{mean, normal_below, spread};

/// What a class III scale may be off when it is verified, in steps, up to so many steps of load: UK SI 1995/1907, Schedule 2.
/// In service it may be twice as much.
const CLASS_THREE: &[(f64, f64)] = &[(500.0, 0.5), (2000.0, 1.0), (10_000.0, 1.5)];
/// In service against when verified.
const IN_SERVICE: f64 = 2.0;
/// A mean tare under this share of the label may stand for each.
const SMALL_TARE: f64 = 0.05;
/// Of what a pack may be short, the spread of tares may be so much.
const TARE_SHARE: f64 = 0.25;
/// Spreads to either side between which a checkweigher may decide either way.
const GREY: f64 = 3.0;
/// Fewer empty bags, or passes of a pack, than this say little of their spread.
pub const FEWEST: usize = 10;

/// What a class III scale with this step may be off at a load, in service; none past its range.
pub fn limit_in_service(load: f64, step: f64) -> Option<f64> {
    if !(load > 0.0 && step > 0.0) {
        return None;
    }
    // A load of exactly so many steps belongs to the lower row.
    let steps = load / step * (1.0 - 1e-12);
    let row = CLASS_THREE.iter().find(|(most, _)| steps <= *most)?;
    Some(row.1 * step * IN_SERVICE)
}

/// One corner of a pan.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Corner {
    /// Its place among those given, from one.
    pub place: usize,
    /// What it read.
    pub reading: f64,
    /// Reading less that of the centre.
    pub off: f64,
    /// Whether it is beyond the limit.
    pub beyond: bool,
}

/// The same weight in the middle and at each corner.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Corners {
    /// What the centre read.
    pub centre: f64,
    /// Allowed to either side.
    pub limit: f64,
    /// In the order given.
    pub corners: Vec<Corner>,
}

/// Holds corners against the centre.
pub fn corners(centre: f64, readings: &[f64], limit: f64) -> Corners {
    let corner = |(index, &reading): (usize, &f64)| {
        let off = reading - centre;
        Corner { place: index + 1, reading, off, beyond: off.abs() > limit + SLACK }
    };
    Corners { centre, limit, corners: readings.iter().enumerate().map(corner).collect() }
}

/// What decimal figures lose in a computer, grams.
const SLACK: f64 = 1e-9;

/// The same weight put on several times.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Repeats {
    /// How often.
    pub n: usize,
    /// Largest less smallest.
    pub range: f64,
    /// Standard deviation.
    pub spread: Option<f64>,
    /// What the range may be.
    pub limit: f64,
    /// Whether it is no more.
    pub within: bool,
}

/// Holds repeats against a limit; none without two.
pub fn repeats(readings: &[f64], limit: f64) -> Option<Repeats> {
    let least = readings.iter().copied().min_by(f64::total_cmp)?;
    let most = readings.iter().copied().max_by(f64::total_cmp)?;
    let range = most - least;
    let repeats =
        Repeats { n: readings.len(), range, spread: spread(readings), limit, within: range <= limit + SLACK };
    (readings.len() > 1).then_some(repeats)
}

/// An error taken apart.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ZeroAndSpan {
    /// Reading with nothing on: the same at every weight.
    pub zero: f64,
    /// What the load adds to the reading, less the load: grows with the weight.
    pub span: f64,
    /// The same as a share of the load.
    pub span_share: f64,
    /// What readings less zero are multiplied by to be right.
    pub factor: f64,
}

/// Takes an error apart; none when the load adds nothing.
pub fn zero_and_span(empty: f64, loaded: f64, load: f64) -> Option<ZeroAndSpan> {
    let adds = loaded - empty;
    (load > 0.0 && adds > 0.0).then(|| ZeroAndSpan {
        zero: empty,
        span: adds - load,
        span_share: (adds - load) / load,
        factor: load / adds,
    })
}

/// The signal of load cells for one step of the display.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Signal {
    /// At the cells' full capacity, millivolts.
    pub full_mv: f64,
    /// From the live load, millivolts.
    pub live_mv: f64,
    /// Steps in the live load.
    pub steps: f64,
    /// For one step, microvolts.
    pub microvolts_a_step: f64,
}

/// Volts of excitation, rated output in mV/V, capacity of all cells together, live load and step in grams.
pub fn signal(volts: f64, rated: f64, capacity: f64, load: f64, step: f64) -> Option<Signal> {
    let all = [volts, rated, capacity, load, step];
    if !all.iter().all(|figure| *figure > 0.0 && figure.is_finite()) || load > capacity || step > load {
        return None;
    }
    let full_mv = volts * rated;
    let live_mv = full_mv * load / capacity;
    let steps = load / step;
    Some(Signal { full_mv, live_mv, steps, microvolts_a_step: live_mv * 1000.0 / steps })
}

/// Whether one mean tare may stand for each empty bag.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Empties {
    /// How many were weighed.
    pub n: usize,
    /// Their mean.
    pub mean: f64,
    /// Their standard deviation.
    pub spread: f64,
    /// Mean as a share of the label.
    pub share: f64,
    /// What the spread may be where the mean is not small.
    pub limit: f64,
    /// Whether the mean may be used.
    pub mean_may_stand: bool,
}

/// Holds empty bags against the label and what a pack may be short: the mean may stand where it is under a twentieth of the label,
/// or where the spread is within a quarter of what may be short. Other countries use other limits.
pub fn empties(weights: &[f64], label: f64, short: f64) -> Option<Empties> {
    let (mean, spread) = (mean(weights)?, spread(weights)?);
    let (share, limit) = (mean / label, TARE_SHARE * short);
    let mean_may_stand = share < SMALL_TARE || spread <= limit + SLACK;
    (label > 0.0 && short > 0.0).then_some(Empties {
        n: weights.len(),
        mean,
        spread,
        share,
        limit,
        mean_may_stand,
    })
}

/// Where a checkweigher should reject, so that hardly any light pack gets by.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RejectPoint {
    /// Passes of the same pack.
    pub n: usize,
    /// Their standard deviation.
    pub spread: f64,
    /// To either side of a limit it may decide either way.
    pub half_width: f64,
    /// Where to set it.
    pub reject_below: f64,
    /// Share of packs that weigh just the limit and get by all the same.
    pub missed: f64,
}

/// From passes of one known pack at line speed, which weighs more than the limit; none when they do not differ at all, since the
/// display then hides what the scale does.
pub fn reject_point(passes: &[f64], limit: f64) -> Option<RejectPoint> {
    let spread = spread(passes).filter(|spread| *spread > 0.0)?;
    if mean(passes)? <= limit {
        return None;
    }
    let half_width = GREY * spread;
    let missed = normal_below(-GREY);
    Some(RejectPoint { n: passes.len(), spread, half_width, reject_below: limit + half_width, missed })
}

/// Where the seconds of a fill go.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Cycle {
    /// Coarse feed.
    pub coarse: f64,
    /// Fine feed.
    pub fine: f64,
    /// Settling, emptying and what comes between fills.
    pub rest: f64,
}

impl Cycle {
    /// Target and coarse cut-off in grams, both feeds in grams a second; none where they do not go together.
    pub fn of(target: f64, cut_off: f64, coarse: f64, fine: f64, rest: f64) -> Option<Self> {
        let fits = cut_off > 0.0 && target > cut_off && coarse > 0.0 && fine > 0.0 && rest >= 0.0;
        fits.then(|| Self { coarse: cut_off / coarse, fine: (target - cut_off) / fine, rest })
    }

    /// Seconds of a fill.
    pub fn seconds(&self) -> f64 {
        self.coarse + self.fine + self.rest
    }

    /// Fills a minute.
    pub fn a_minute(&self) -> f64 {
        60.0 / self.seconds()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(found: f64, wanted: f64, within: f64) {
        assert!((found - wanted).abs() <= within, "{found} and not {wanted}");
    }

    // Law and standard: e 0.2 g at 500 g gives 0.3 g when verified... that is 2,500 steps, 1.5 e.
    #[test]
    fn the_limit_follows_the_load_in_steps_and_doubles_in_service() {
        near(limit_in_service(500.0, 0.2).unwrap() / IN_SERVICE, 0.3, 1e-12);
        near(limit_in_service(100.0, 0.2).unwrap() / IN_SERVICE, 0.1, 1e-12);
        near(limit_in_service(400.0, 0.2).unwrap() / IN_SERVICE, 0.2, 1e-12);
        assert_eq!(limit_in_service(2001.0, 0.2), None);
        assert_eq!(limit_in_service(500.0, 0.0), None);
    }

    // Guide and standard.
    #[test]
    fn a_corner_beyond_the_limit_is_named_and_five_repeats_are_judged_by_their_range() {
        let found = corners(500.0, &[500.2, 500.0, 499.6, 500.8], 0.75);
        let beyond: Vec<usize> = found.corners.iter().filter(|c| c.beyond).map(|c| c.place).collect();
        assert_eq!(beyond, [4]);
        let found = repeats(&[500.0, 500.4, 499.8, 500.2, 500.0], 0.75).unwrap();
        near(found.range, 0.6, 1e-9);
        near(found.spread.unwrap(), 0.228, 0.0005);
        assert!(found.within);
        assert!(!repeats(&[500.0, 501.0], 0.75).unwrap().within);
        assert_eq!(repeats(&[500.0], 0.75), None);
    }

    // Derived.
    #[test]
    fn an_error_is_taken_apart_into_zero_and_span() {
        let found = zero_and_span(0.2, 498.7, 500.0).unwrap();
        near(found.zero, 0.2, 1e-12);
        near(found.span_share, -0.003, 1e-9);
        near(found.factor, 1.003_009, 5e-7);
        assert_eq!(zero_and_span(5.0, 5.0, 500.0), None);
    }

    // A component maker's note.
    #[test]
    fn the_signal_of_a_step_is_in_microvolts() {
        let found = signal(5.0, 2.0, 10_000.0, 3000.0, 0.5).unwrap();
        near(found.full_mv, 10.0, 1e-12);
        near(found.live_mv, 3.0, 1e-12);
        near(found.steps, 6000.0, 1e-9);
        near(found.microvolts_a_step, 0.5, 1e-12);
        assert_eq!(signal(5.0, 2.0, 0.0, 3000.0, 0.5), None);
    }

    // Regulation: 200 g label, 9 g short, tares of 12.4 g with a spread of 0.9 g.
    #[test]
    fn a_mean_tare_may_stand_where_it_is_small_or_hardly_varies() {
        let around = |mean: f64, half: f64| [mean - half, mean + half, mean - half, mean + half];
        let found = empties(&around(12.4, 0.78), 200.0, 9.0).unwrap();
        near(found.share, 0.062, 1e-9);
        near(found.limit, 2.25, 1e-12);
        assert!(found.mean_may_stand);
        assert!(!empties(&around(12.4, 3.0), 200.0, 9.0).unwrap().mean_may_stand);
        assert!(empties(&around(6.0, 3.0), 200.0, 9.0).unwrap().mean_may_stand);
    }

    // A practitioner's paper: spread 0.4 g at a limit of 491 g.
    #[test]
    fn the_reject_point_lies_three_spreads_over_the_limit() {
        let passes = [500.4, 499.6, 500.4, 499.6, 500.4, 499.6, 500.4, 499.6];
        let spread = spread(&passes).unwrap();
        let found = reject_point(&passes, 491.0).unwrap();
        near(found.reject_below, 491.0 + 3.0 * spread, 1e-12);
        near(found.missed, 0.00135, 5e-6);
    }

    // Derived: 500 g, 300 and 40 g/s, cut off at 450 or 470 g, 1.35 s for the rest.
    #[test]
    fn fills_a_minute_follow_from_where_the_seconds_go() {
        let cycle = Cycle::of(500.0, 450.0, 300.0, 40.0, 1.35).unwrap();
        near(cycle.coarse, 1.5, 1e-12);
        near(cycle.fine, 1.25, 1e-12);
        near(cycle.seconds(), 4.1, 1e-9);
        near(cycle.a_minute(), 14.63, 0.005);
        let other = Cycle::of(500.0, 470.0, 300.0, 40.0, 1.35).unwrap();
        near(other.seconds(), 3.667, 0.0005);
        near(other.a_minute(), 16.36, 0.005);
        assert_eq!(Cycle::of(500.0, 500.0, 300.0, 40.0, 1.35), None);
    }
}
