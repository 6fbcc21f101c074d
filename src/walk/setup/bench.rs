//! Where a set-up stands: the settings, and what was found with the settings of now. What a change makes old is
//! forgotten here and nowhere else.

use crate::ids::SettingId;
use crate::knowledge::ToldBy;
use crate::units::{Quantity, Unit, significant};
use crate::weights::proof::SPREADS_IN_TOLERANCE;
use crate::weights::setup::{FillTimes, MeanError, mean_error};

/// Shortest fine feed, in filter times: before that the thump of coarse feed is still in the reading.
const FILTER_TIMES: f64 = 4.0;
/// Shortest fine feed at all, seconds.
pub(super) const LEAST_FINE: f64 = 0.8;
/// Seconds that product falls, about: 10 to 25 cm.
const FALL: f64 = 0.17;
/// Seconds that a tray runs on after it is told to stop, about.
const LATE: f64 = 0.2;
/// A spread so much wider than the tolerance needs is no chance of a short run.
const TOO_WIDE: f64 = 1.3;
/// Runs whose allowances lie further apart than this share of the tolerance do not count together.
const ALIKE: f64 = 0.75;

/// A setting as it stands, in base units (grams, seconds, per cent, millimetres).
#[derive(Debug, Clone, PartialEq)]
pub struct Dial {
    /// Which setting.
    pub setting: SettingId,
    /// The unit that people give it in.
    pub unit: &'static Unit,
    /// What tells how it should stand.
    pub told_by: ToldBy,
    /// Where it stands.
    pub now: f64,
    /// Usual range.
    pub from: f64,
    /// See `from`.
    pub to: f64,
    /// Where it is put when it stands outside of that.
    pub aims: f64,
    /// Largest change at once.
    pub at_once: f64,
    /// Whether it is to be left where it is.
    pub kept: bool,
}

impl Dial {
    /// Where it stands, in its own unit.
    pub fn figure(&self) -> Quantity {
        Quantity { number: significant(self.unit.from_base(self.now)), unit: self.unit }
    }
}

/// What the layer looks like.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Layer {
    /// Bare in places.
    Bare,
    /// Even.
    Even,
    /// Deep; it rolls.
    Deep,
}

/// How far the feed has come. What was found once is moved again only for a good reason: times differ from fill to
/// fill, and who follows every one of them never ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Feed {
    /// Coarse feed is being found.
    Coarse,
    /// Fine feed.
    Fine,
    /// The coarse cut-off.
    CutOff,
    /// All of it was found.
    Found,
}

/// What the product is to be brought to.
#[derive(Debug, Clone, PartialEq)]
pub struct Wanted {
    /// Grams.
    pub target: f64,
    /// Grams to either side.
    pub tolerance: f64,
    /// Seconds from fill to fill; none when the speed does not matter.
    pub whole: Option<f64>,
    /// Fine feed, seconds.
    pub fine: f64,
    /// Flow of fine feed as a share of that of coarse feed.
    pub fine_share: f64,
    /// Time of the weight filter, seconds.
    pub filter: f64,
    /// Whether the machine goes on correcting its allowance by itself.
    pub corrects_itself: bool,
}

impl Wanted {
    /// The widest spread that the tolerance has room for, grams.
    pub fn room(&self) -> f64 {
        self.tolerance / SPREADS_IN_TOLERANCE
    }
}

/// Where things stand: everything here was found with the settings of now.
#[derive(Debug, Clone, PartialEq)]
pub struct Bench {
    /// What it is to be brought to.
    pub wanted: Wanted,
    /// The settings, in order of work.
    pub dials: Vec<Dial>,
    /// What the layer looks like.
    pub layer: Option<Layer>,
    /// Depths that were looked at.
    pub depths: Vec<(f64, Layer)>,
    /// Whether the reading stands still when the weight is taken.
    pub still: Option<bool>,
    /// How often settling was lengthened.
    pub settled: usize,
    /// Times of a fill.
    pub times: Option<FillTimes>,
    /// Flow of fine feed by itself, grams a second.
    pub fine_flow: Option<f64>,
    /// Figures of the coarse dial with the flow found.
    pub coarse_trials: Vec<(f64, f64)>,
    /// The same of the fine dial.
    pub fine_trials: Vec<(f64, f64)>,
    /// How far the feed has come.
    pub feed: Feed,
    /// How often the coarse cut-off was moved.
    pub cut_offs: usize,
    /// Whether fills scattered too much at the wanted speed, so that the speed gives way.
    pub good_before_fast: bool,
    /// How often fine feed had to give time back once all was found: each time it is lengthened less afterwards.
    pub gave_back: usize,
    /// Whether the allowance began from nought.
    pub from_nought: bool,
    /// Fills, each with the allowance that it was filled with.
    pub fills: Vec<(f64, f64)>,
}

impl Bench {
    /// Nothing found yet.
    pub fn new(wanted: Wanted, dials: Vec<Dial>) -> Self {
        Self {
            wanted,
            dials,
            layer: None,
            depths: Vec::new(),
            still: None,
            settled: 0,
            times: None,
            fine_flow: None,
            coarse_trials: Vec::new(),
            fine_trials: Vec::new(),
            feed: Feed::Coarse,
            cut_offs: 0,
            good_before_fast: false,
            gave_back: 0,
            from_nought: false,
            fills: Vec::new(),
        }
    }

    pub(super) fn dial(&self, told_by: ToldBy) -> Option<(usize, &Dial)> {
        self.dials.iter().enumerate().find(|(_, d)| d.told_by == told_by)
    }

    /// The same, unless it is to be left where it is.
    pub(super) fn free(&self, told_by: ToldBy) -> Option<(usize, &Dial)> {
        self.dial(told_by).filter(|(_, d)| !d.kept)
    }

    /// Shortest fine feed that is wanted.
    pub(super) fn least_fine(&self) -> f64 {
        (FILTER_TIMES * self.wanted.filter).max(LEAST_FINE)
    }

    /// Fine feed to aim at.
    pub(super) fn fine_aim(&self) -> f64 {
        self.wanted.fine.max(self.least_fine())
    }

    /// The allowance of now.
    pub fn allowance(&self) -> f64 {
        self.dial(ToldBy::Mean).map_or(0.0, |(_, d)| d.now)
    }

    pub(super) fn cut_off(&self) -> f64 {
        self.dial(ToldBy::FineTime).map_or(self.wanted.target, |(_, d)| d.now)
    }

    /// Flow of coarse feed that fills the target in so many seconds, with fine feed at its share for so long after it.
    pub(super) fn coarse_flow_for(&self, coarse: f64, fine: f64) -> f64 {
        let in_the_air = FALL + self.wanted.filter;
        self.wanted.target / (coarse + in_the_air + self.wanted.fine_share * fine)
    }

    /// Flow of coarse feed, grams a second.
    pub fn coarse_flow(&self) -> Option<f64> {
        self.times.filter(|t| t.coarse > 0.0).map(|t| self.cut_off() / t.coarse)
    }

    /// What the fills say together.
    pub fn mean(&self) -> Option<MeanError> {
        let near = |then: f64| (then - self.allowance()).abs() <= self.wanted.tolerance * ALIKE;
        let fills: Vec<_> = self.fills.iter().copied().filter(|(_, then)| near(*then)).collect();
        mean_error(&fills, self.wanted.target, self.allowance())
    }

    /// Whether the fills scatter more than the tolerance has room for, beyond chance.
    pub(super) fn scatters(&self) -> bool {
        let room = self.wanted.room();
        self.mean().and_then(|mean| mean.spread).is_some_and(|spread| spread > TOO_WIDE * room)
    }

    /// Whether the allowance is still to be found from nought.
    pub(super) fn at_nought(&self) -> bool {
        !self.wanted.corrects_itself && self.free(ToldBy::Mean).is_some_and(|(_, d)| d.now == 0.0)
    }

    /// Seconds by which fine feed will be shorter once the allowance is found.
    pub(super) fn allowance_to_come(&self) -> f64 {
        if self.at_nought() { FALL + self.wanted.filter + LATE } else { 0.0 }
    }

    /// The layer was looked at.
    pub fn saw_layer(&mut self, layer: Layer) {
        self.layer = Some(layer);
        if let Some(depth) = self.dial(ToldBy::Layer).map(|(_, d)| d.now) {
            self.depths.push((depth, layer));
        }
    }

    /// Fills were timed.
    pub fn timed(&mut self, times: FillTimes) {
        self.times = Some(times);
        let trial = self.dial(ToldBy::CoarseFlow).map(|(_, d)| d.now).zip(self.coarse_flow());
        self.coarse_trials.extend(trial);
    }

    /// Fine feed was caught by itself.
    pub fn caught(&mut self, flow: f64) {
        self.fine_flow = Some(flow);
        let trial = self.dial(ToldBy::FineFlow).map(|(_, d)| (d.now, flow));
        self.fine_trials.extend(trial);
    }

    /// Fills were weighed, one every so many seconds.
    pub fn weighed(&mut self, fills: &[f64], whole: Option<f64>) {
        if let (Some(times), Some(whole)) = (&mut self.times, whole) {
            times.whole = whole;
        }
        self.feed = Feed::Found;
        let allowance = self.allowance();
        self.fills.extend(fills.iter().map(|weight| (*weight, allowance)));
    }

    /// Fine feed brings so many grams more than when it was timed, and lasts longer by what they take to come.
    fn foresee(&mut self, more: f64) {
        if let (Some(times), Some(flow)) = (&mut self.times, self.fine_flow.filter(|f| *f > 0.0)) {
            let longer = (more / flow).max(-times.fine);
            times.fine += longer;
            times.whole += longer;
        }
    }

    /// Something was put right outside of all settings: everything is found anew.
    pub fn forget(&mut self) {
        let (wanted, dials, from_nought) = (self.wanted.clone(), self.dials.clone(), self.from_nought);
        *self = Self { from_nought, ..Self::new(wanted, dials) };
    }

    /// A setting was changed. What hangs on it must be found again.
    pub fn changed(&mut self, dial: usize, to: f64) {
        let Some(told_by) = self.dials.get(dial).map(|d| d.told_by) else { return };
        self.cut_offs += usize::from(told_by == ToldBy::FineTime);
        let was = std::mem::replace(&mut self.dials[dial].now, to);
        match told_by {
            // Nothing but the mean moves, and by a known amount: the fills go on counting.
            ToldBy::Mean => {
                self.from_nought = true;
                self.foresee(was - to);
                return;
            }
            ToldBy::Layer => {
                self.feed = Feed::Coarse;
                (self.layer, self.fine_flow) = (None, None);
                self.coarse_trials.clear();
                self.fine_trials.clear();
            }
            ToldBy::FineFlow => {
                self.feed = self.feed.max(Feed::Fine);
                self.fine_flow = None;
            }
            ToldBy::FineTime if self.feed == Feed::Found => {
                // The next run tells how it came out; no stop watch is needed for it.
                self.gave_back += usize::from(to > was);
                self.good_before_fast |= to < was && self.scatters();
                self.fills.clear();
                self.foresee(was - to);
                return;
            }
            ToldBy::FineTime => self.feed = self.feed.max(Feed::CutOff),
            ToldBy::Still => {
                self.feed = Feed::Found;
                (self.still, self.settled) = (None, self.settled + 1);
            }
            ToldBy::Usual | ToldBy::CoarseFlow => {}
        }
        self.times = None;
        self.fills.clear();
    }
}
