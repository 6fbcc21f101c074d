//! What to do next in a set-up: one look, one time, one run or one change, in the order layer, rates, cut-off,
//! settling, allowance. A pure function of where things stand.

use super::bench::{Bench, Dial, Feed, LEAST_FINE, Layer};
use crate::knowledge::ToldBy;
use crate::weights::setup::{FillTimes, dial_for, flow_at};

/// A time or a flow this near to what is wanted is left alone.
const NEAR: f64 = 0.12;
/// Once it was near it is moved again only from here on.
const FAR: f64 = 0.4;
/// Coarse feed may bring so much less than is wanted, as a share.
const SHORT: f64 = 0.06;
/// Share of the time of a fill that is worth giving to fine feed.
const SPARE: f64 = 0.02;
/// Seconds that a stop watch cannot tell, with what fills differ among themselves.
const WATCH: f64 = 0.3;
/// Largest change of a layer at once: a quarter down, a third up.
const LAYER_DOWN: f64 = 0.75;
/// See [`LAYER_DOWN`].
const LAYER_UP: f64 = 1.33;
/// Share of the target that the coarse cut-off is moved at once, at most.
const CUT_OFF_AT_ONCE: f64 = 0.1;
/// Where the coarse cut-off may lie, as shares of the target.
const CUT_OFF: (f64, f64) = (0.5, 0.97);
/// Seconds of settling added at once.
const MORE_SETTLING: f64 = 0.2;
/// Looks at one setting before it goes over to a diagnosis.
const MOST_LOOKS: usize = 6;
/// Fills this much slower than wanted are too slow.
const SLOWER: f64 = 0.018;
/// Fills slower than wanted by this share are far too slow.
const FAR_TOO_SLOW: f64 = 0.05;
/// Fills slower than wanted by this share are told of on the sheet.
const FAST_ENOUGH: f64 = 0.03;
/// Moves of the coarse cut-off that cost no patience.
const MOVES: usize = 3;
/// The time to aim at when they are, so that the next count does not fall short again.
const QUICKER: f64 = 0.95;
/// The same once runs tell the speed well.
const FOUND_QUICKER: f64 = 0.97;
/// What fine feed keeps of its aim when it gives time for speed: less lets the thump of coarse feed back in.
const GIVES: f64 = 0.85;
/// Fine feed lasts at most so many times its aim, when there is time.
const LONGEST: f64 = 1.5;
/// Share of the tolerance within which the mean is to be known.
const MEAN_WITHIN: f64 = 0.05;
/// A mean error under this share of the tolerance is left alone.
const LEAVE: f64 = 0.03;
/// Fills that find the allowance from nought.
const FROM_NOUGHT: usize = 5;
/// Fills of a first run, of more at once, and of all that count together.
const FIRST_RUN: usize = 10;
/// See [`FIRST_RUN`].
const FEWEST_MORE: usize = 5;
/// See [`FIRST_RUN`].
const MOST_AT_ONCE: usize = 20;
/// See [`FIRST_RUN`].
const MOST_FILLS: usize = 60;
/// A dial turned by this share and more should tell.
const TURNED: f64 = 0.12;
/// A flow that changed by less than this share did not answer.
const ANSWERED: f64 = 0.03;

/// A flow that is not as wanted, grams a second.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Flow {
    /// What it is.
    pub now: f64,
    /// What is wanted.
    pub wanted: f64,
    /// What the change should bring: a dial may not go so far at once, or not at all.
    pub expected: f64,
}

/// Why a setting is changed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Why {
    /// The allowance is found from nought, after the feed.
    FromNought,
    /// The layer rolls.
    Rolls,
    /// The tray is bare in places.
    Bare,
    /// It stands outside of what is usual.
    Unusual,
    /// Coarse feed is too slow or faster than it need be.
    CoarseFlow(Flow),
    /// Fine feed brings too much or too little.
    FineFlow(Flow),
    /// Fine feed is too short or longer than it need be: seconds now and wanted.
    FineTime(f64, f64),
    /// Settling takes longer than is usual.
    Waits,
    /// The reading moves when the weight is taken.
    Moves,
    /// The mean is off, grams.
    Mean(f64),
}

/// What no setting cures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stuck {
    /// The layer stays too deep.
    LayerDeep,
    /// The layer stays bare.
    LayerThin,
    /// The reading does not come to rest.
    NeverStill,
    /// The allowance would be below nought.
    Light,
    /// The fills scatter more than the tolerance allows.
    Scatter,
    /// A tray hardly answers to its dial.
    NoAnswer,
}

/// What to do next.
#[derive(Debug, Clone, PartialEq)]
pub enum Advice {
    /// Look at what tells of this setting.
    Look(usize),
    /// Time a fill: coarse, fine, and fills a minute.
    Time,
    /// Catch fine feed alone and weigh it.
    Catch,
    /// Change one setting.
    Change {
        /// Which.
        dial: usize,
        /// To what.
        to: f64,
        /// Why.
        why: Why,
    },
    /// Weigh so many fills in order.
    Run(usize),
    /// No setting cures it.
    Stuck(Stuck),
    /// As good as it gets.
    Good {
        /// Whether the speed is had.
        fast_enough: bool,
    },
}

impl Bench {
    /// What to do next.
    pub fn advice(&self) -> Advice {
        self.nought_next()
            .or_else(|| self.layer_next())
            .or_else(|| self.usual_next())
            .or_else(|| self.no_answer())
            .or_else(|| self.coarse_next())
            .or_else(|| self.fine_next())
            .or_else(|| self.cut_off_next())
            .or_else(|| self.settling_next())
            .or_else(|| self.speed_next())
            .unwrap_or_else(|| self.mean_next())
    }

    /// While the feed is set nothing is cut off early: every fill is heavy, none is light, and what hangs on the flow is
    /// not hidden.
    fn nought_next(&self) -> Option<Advice> {
        let (dial, d) =
            self.free(ToldBy::Mean).filter(|_| !self.wanted.corrects_itself && !self.from_nought)?;
        (d.now != 0.0).then_some(Advice::Change { dial, to: 0.0, why: Why::FromNought })
    }

    fn layer_next(&self) -> Option<Advice> {
        let (dial, depth) = self.free(ToldBy::Layer)?;
        let Some(layer) = self.layer else { return Some(Advice::Look(dial)) };
        let nearest = |wanted: Layer| {
            let depths = self.depths.iter().filter(|(_, layer)| *layer == wanted).map(|(depth, _)| *depth);
            depths.min_by(|a, b| (a - depth.now).abs().total_cmp(&(b - depth.now).abs()))
        };
        let (factor, other, why, stuck) = match layer {
            Layer::Even => return None,
            Layer::Deep => (LAYER_DOWN, nearest(Layer::Bare), Why::Rolls, Stuck::LayerDeep),
            Layer::Bare => (LAYER_UP, nearest(Layer::Deep), Why::Bare, Stuck::LayerThin),
        };
        if self.depths.len() >= MOST_LOOKS {
            return Some(Advice::Stuck(stuck));
        }
        // Between one that rolls and one that is bare lies the one wanted.
        let step = depth.now * factor;
        let to = other.map_or(step, |other| {
            let middle = (depth.now * other).sqrt();
            if (middle - depth.now).abs() < (step - depth.now).abs() { middle } else { step }
        });
        Some(Advice::Change { dial, to, why })
    }

    /// A dial that was turned far and changed nothing.
    fn no_answer(&self) -> Option<Advice> {
        let deaf = |trials: &[(f64, f64)]| {
            trials.windows(2).last().is_some_and(|pair| {
                (pair[1].0 / pair[0].0).ln().abs() > TURNED && (pair[1].1 / pair[0].1).ln().abs() < ANSWERED
            })
        };
        (deaf(&self.coarse_trials) || deaf(&self.fine_trials)).then_some(Advice::Stuck(Stuck::NoAnswer))
    }

    fn usual_next(&self) -> Option<Advice> {
        let odd = |d: &Dial| d.told_by == ToldBy::Usual && !d.kept && !(d.from..=d.to).contains(&d.now);
        let dial = self.dials.iter().position(odd)?;
        let to = self.dials[dial].aims;
        Some(Advice::Change { dial, to, why: Why::Unusual })
    }

    /// What coarse feed should bring, grams a second: the target in the time that is left beside fine feed and all that
    /// is no feeding. Settling longer than it need be is going to be shortened.
    fn coarse_flow_wanted(&self, times: &FillTimes) -> Option<f64> {
        let fine = self.fine_aim();
        let settling = self.dial(ToldBy::Still).map_or(0.0, |(_, d)| (d.now - d.aims).max(0.0));
        let left = self.wanted.whole? * QUICKER + settling - times.rest() - fine;
        Some(self.coarse_flow_for(left.max(0.2), fine))
    }

    fn coarse_next(&self) -> Option<Advice> {
        let (dial, d) = self.dial(ToldBy::CoarseFlow)?;
        let Some(times) = &self.times else {
            // While fine feed is found, coarse feed stands as it was found.
            return (self.feed != Feed::Fine).then_some(Advice::Time);
        };
        if d.kept || self.feed >= Feed::CutOff && (d.from..=d.to).contains(&d.now) {
            return None;
        }
        let flow = self.coarse_flow()?;
        let wanted = self.coarse_flow_wanted(times).unwrap_or(flow);
        let too_fast = if self.feed == Feed::Coarse { NEAR } else { FAR };
        if (1.0 - SHORT..=1.0 + too_fast).contains(&(flow / wanted)) && (d.from..=d.to).contains(&d.now) {
            return None;
        }
        let (to, flow) = turned(d, &self.coarse_trials, flow, wanted, 1.0)?;
        Some(Advice::Change { dial, to, why: Why::CoarseFlow(flow) })
    }

    fn fine_next(&self) -> Option<Advice> {
        let (dial, d) = self.dial(ToldBy::FineFlow)?;
        let Some(flow) = self.fine_flow else { return Some(Advice::Catch) };
        if d.kept {
            return None;
        }
        let coarse = self.coarse_trials.last().map(|(_, flow)| *flow)?;
        let wanted = self.wanted.fine_share * coarse;
        // Slower than wanted costs time only; faster costs spread.
        let (slow, fast) = if self.feed <= Feed::Fine { (0.7, 1.1) } else { (1.0 - FAR, 1.0 + FAR) };
        if (slow..=fast).contains(&(flow / wanted)) && (d.from..=d.to).contains(&d.now) {
            return None;
        }
        let (to, flow) = turned(d, &self.fine_trials, flow, wanted, 0.5)?;
        Some(Advice::Change { dial, to, why: Why::FineFlow(flow) })
    }

    /// Seconds of fine feed wanted. It gets the time that is left, and gives up some of its own only when nothing else can.
    fn fine_time_wanted(&self, times: &FillTimes) -> f64 {
        let aim = self.fine_aim();
        let found = self.feed == Feed::Found;
        let shortest = match (found, self.coarse_has_room()) {
            (true, _) if !self.slower_than(times, FAR_TOO_SLOW) => GIVES * aim,
            (false, true) => aim,
            _ => self.least_fine(),
        };
        let quicker = if found { FOUND_QUICKER } else { QUICKER };
        let left = |whole: f64| times.fine + whole * quicker - times.whole;
        let longest = (LONGEST * aim).max(shortest);
        self.wanted.whole.map_or(aim, |whole| left(whole).clamp(shortest, longest)) + self.allowance_to_come()
    }

    fn cut_off_next(&self) -> Option<Advice> {
        let (dial, d) = self.free(ToldBy::FineTime)?;
        let Some(times) = &self.times else { return Some(Advice::Time) };
        let flow = self.fine_flow?;
        let target = self.wanted.target;
        let found = self.feed == Feed::Found;
        let wanted = self.fine_time_wanted(times);
        // Who has gone too far goes half the way from there on.
        let off = match times.fine - wanted {
            longer if found && longer < 0.0 => longer * 0.5_f64.powf(self.gave_back as f64),
            off => off,
        };
        let slow = self.slow(times) && off > 0.05;
        let leave = if found {
            // First the allowance: five fills say little of the speed. Less fine feed is taken only for speed then, and
            // more of it never did harm.
            let spare = SPARE * self.wanted.whole.unwrap_or(WATCH / SPARE);
            self.at_nought() || !slow && off > -spare
        } else {
            !slow && off.abs() < WATCH.max(NEAR * wanted) * self.patience()
        };
        if leave {
            return None;
        }
        let most = CUT_OFF_AT_ONCE * target;
        // Cut off inside the thump, the time says little: what is in the air comes on top.
        let in_the_air = if times.fine < LEAST_FINE / 2.0 { 0.05 * target } else { 0.0 };
        let by = (flow * off - in_the_air).clamp(-most, most);
        let to = (d.now + by).clamp(CUT_OFF.0 * target, CUT_OFF.1 * target);
        ((to - d.now).abs() > 0.002 * target).then_some(Advice::Change {
            dial,
            to,
            why: Why::FineTime(times.fine, wanted),
        })
    }

    fn coarse_has_room(&self) -> bool {
        self.free(ToldBy::CoarseFlow).is_some_and(|(_, d)| d.now + 0.75 < d.to)
    }

    /// Who has moved the cut-off often chases what fills differ among themselves: each move more asks for more.
    fn patience(&self) -> f64 {
        1.0 + 0.5 * self.cut_offs.saturating_sub(MOVES) as f64
    }

    fn slow(&self, times: &FillTimes) -> bool {
        !self.good_before_fast && self.slower_than(times, SLOWER * self.patience())
    }

    /// Whether fills take longer than wanted by more than this share.
    fn slower_than(&self, times: &FillTimes, slower: f64) -> bool {
        self.wanted.whole.is_some_and(|whole| times.whole - self.allowance_to_come() > whole * (1.0 + slower))
    }

    fn settling_next(&self) -> Option<Advice> {
        let (dial, d) = self.free(ToldBy::Still)?;
        // Time that only passes is better spent on fine feed; if it was needed, the next look says so.
        if self.settled == 0 && d.now > d.aims + MORE_SETTLING / 2.0 {
            return Some(Advice::Change { dial, to: d.aims, why: Why::Waits });
        }
        match self.still {
            None => Some(Advice::Look(dial)),
            Some(true) => None,
            Some(false) if self.settled >= MOST_LOOKS => Some(Advice::Stuck(Stuck::NeverStill)),
            Some(false) => Some(Advice::Change { dial, to: d.now + MORE_SETTLING, why: Why::Moves }),
        }
    }

    fn speed_next(&self) -> Option<Advice> {
        let times = self.times.filter(|times| self.slow(times))?;
        let (dial, d) = self.free(ToldBy::CoarseFlow)?;
        let flow = self.coarse_flow()?;
        let time = times.coarse - (times.whole - self.wanted.whole? * QUICKER);
        let wanted = flow * times.coarse / time.max(0.2);
        let (to, flow) = turned(d, &self.coarse_trials, flow, wanted, 1.0)?;
        Some(Advice::Change { dial, to, why: Why::CoarseFlow(flow) })
    }

    /// Good fills come before fast ones: fine feed gets its time, whatever that does to the speed.
    fn scatter_next(&self) -> Option<Advice> {
        let (dial, d) = self.free(ToldBy::FineTime)?;
        let times = self.times.as_ref()?;
        let wanted = LONGEST * self.fine_aim();
        let longer = (wanted - times.fine).min(0.5 * self.fine_aim());
        let to = d.now - self.fine_flow? * longer;
        (longer >= WATCH).then_some(Advice::Change {
            dial,
            to,
            why: Why::FineTime(times.fine, times.fine + longer),
        })
    }

    fn mean_next(&self) -> Advice {
        let first = if self.at_nought() { FROM_NOUGHT } else { FIRST_RUN };
        let Some(found) = self.mean() else { return Advice::Run(first) };
        if found.fills < first {
            return Advice::Run((first - found.fills).max(FEWEST_MORE));
        }
        let tolerance = self.wanted.tolerance;
        let close = MEAN_WITHIN * tolerance;
        let known = found.within.is_some_and(|w| w <= close);
        let off = found.interval.is_some_and(|i| i.excludes_zero()) && found.error.abs() > LEAVE * tolerance;
        if let Some((dial, d)) = self.free(ToldBy::Mean).filter(|_| !self.wanted.corrects_itself)
            && (off || known && found.error.abs() > close)
        {
            let to = d.now + found.error;
            if to < 0.0 {
                return Advice::Stuck(Stuck::Light);
            }
            return Advice::Change { dial, to, why: Why::Mean(found.error) };
        }
        if !known && found.fills < MOST_FILLS {
            let all = found
                .within
                .map_or(MOST_FILLS, |w| (found.fills as f64 * (w / close).powi(2)).ceil() as usize);
            return Advice::Run(
                (all.min(MOST_FILLS).saturating_sub(found.fills)).clamp(FEWEST_MORE, MOST_AT_ONCE),
            );
        }
        if self.scatters() {
            return self.scatter_next().unwrap_or(Advice::Stuck(Stuck::Scatter));
        }
        Advice::Good { fast_enough: self.times.is_none_or(|times| !self.slower_than(&times, FAST_ENOUGH)) }
    }
}

/// A dial's next figure for a wanted flow, and what it should bring: inside its usual range, not more than so much at
/// once, whole steps; none when it stays.
fn turned(d: &Dial, trials: &[(f64, f64)], now: f64, wanted: f64, step: f64) -> Option<(f64, Flow)> {
    let to = dial_for(trials, wanted)?.clamp(d.from, d.to);
    let to = d.now + (to - d.now).clamp(-d.at_once, d.at_once);
    let to = (to / step).round() * step;
    let flow = Flow { now, wanted, expected: flow_at(trials, to)? };
    ((to - d.now).abs() >= step * 0.75).then_some((to, flow))
}
