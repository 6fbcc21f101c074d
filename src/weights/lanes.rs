//! Which lane (head, tube, tray) does not go with the others.
//!
//! Fills that come lane by lane in rounds are compared within the round, so that what moves all lanes together is out of
//! it: a two-way layout without interaction, fills = round + lane + scatter. Two questions share the 5 % of wrong alarms for
//! the whole family of lanes, and each divides its part among the lanes asked (Bonferroni):
//!
//! - Does a lane scatter about the others? The squares left over, without those left when the lane is taken out, belong
//!   to that lane alone; per degree of freedom against the others' they are an exact F (Russell and Bradley 1958, one
//!   variance of a two-way classification). A lane that does not rise and fall with the others shows here too.
//! - Is a lane's mean off? Lane less the mean of the others, by Student with the scatter that all share: the analysis
//!   of means (Ott 1967) with Bonferroni's limits in place of the studentised maximum, a little on the careful side.
//!
//! The worst lane is set apart and the rest asked again, so that one sick lane neither hides another nor makes the
//! sound ones look off. The lanes left must be more than those set apart; otherwise nobody is blamed. Without rounds it is
//! the same with a one-way layout.

use std::collections::BTreeMap;

use serde::Serialize;

use super::lane_sheet::Sheet;
use super::run::Run;
use super::stats::{CONFIDENCE, Interval, lag_one, mean, mean_interval, spread, spread_interval};
use super::summary::{Question, worth};

/// Fewer fills from a lane than this do not compare it.
pub const FEWEST_OF_A_LANE: usize = 3;
/// More names than this are not lanes of a filler.
pub const MOST_LANES: usize = 100;
/// Share of wrong alarms over all lanes when their scatter is asked: the smaller part, since an F is easily stirred up by a
/// wild fill.
const ALARMS_OF_SCATTER: f64 = 0.01;
/// The same when their means are asked.
pub(super) const ALARMS_OF_MEANS: f64 = 1.0 - CONFIDENCE - ALARMS_OF_SCATTER;
/// Where the rest differ too, a lane is still the odd one when it is so many times further off than they lie apart.
const ODD: f64 = 1.5;
/// Part of a lane's difference that is still there at the near end of its interval when it is plain.
const SURE: f64 = 0.25;
/// Of a longer run the last so many fills are compared.
const MOST_COMPARED: usize = 20_000;
/// Share of the fills that must stand in whole rounds before rounds are believed.
const IN_ROUNDS: f64 = 0.8;

/// What one lane shows. Masses are grams, intervals of 95 %.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lane {
    /// Its name.
    pub name: String,
    /// Its fills.
    pub n: usize,
    /// Their mean.
    pub mean: f64,
    /// Mean less target.
    pub error: Option<Interval>,
    /// Their spread, with what all lanes share in it.
    pub spread: Option<Interval>,
    /// The lane less the sound others, in the same round where there are rounds; the intervals of all lanes hold together.
    pub beside: Option<Interval>,
    /// Its mean does not go with the others.
    pub off: bool,
    /// How many times the others it scatters about them, when it plainly does.
    pub loose: Option<f64>,
}

impl Lane {
    /// Whether it does not go with the others.
    pub fn apart(&self) -> bool {
        self.off || self.loose.is_some()
    }
}

/// One fill that stands out and is not held against its lane.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LaneStray {
    /// Which lane.
    pub lane: String,
    /// Its place in the run, from one.
    pub place: usize,
}

/// What the lanes show together.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "kebab-case", tag = "lanes")]
pub enum LaneVerdict {
    /// There is only one.
    One,
    /// More names than a filler has lanes.
    TooMany {
        /// How many.
        names: usize,
    },
    /// Too few fills to compare any two lanes.
    TooFew {
        /// How many more from each lane.
        missing: usize,
    },
    /// Some lanes do not go with the others; those are marked.
    Apart,
    /// They differ, but not so that a few stand apart from the rest.
    Differ,
    /// None stands out.
    Alike {
        /// No lane is further off than this, grams.
        within: f64,
    },
    /// None stands out, but a difference that matters could be hidden.
    CannotTell {
        /// How many more fills from each lane would tell; `None` when over ten thousand.
        more: Option<usize>,
        /// Which difference they would tell, grams.
        difference: f64,
    },
}

/// The lanes beside each other.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Lanes {
    /// Every lane by name, numbers in their order.
    pub each: Vec<Lane>,
    /// Said of all.
    pub verdict: LaneVerdict,
    /// Whole rounds in which they were compared; `None` when the fills do not come in rounds.
    pub rounds: Option<usize>,
    /// How far the rounds of the sound lanes lie apart, grams, when they move more than by chance.
    pub shift: Option<f64>,
    /// Each lane was weighed in one go, so what changed in time looks like a lane.
    pub one_go: bool,
    /// Fills that name a lane but were not compared: in rounds that are not whole, of a lane with hardly a fill, or early
    /// in a very long run.
    pub not_compared: usize,
    /// Fills without the name of a lane.
    pub nameless: usize,
    /// Fills that stand out alone.
    pub strays: Vec<LaneStray>,
}

/// Compares the lanes of a run; the first `apart` fills are not counted. `None` when no lane is known.
pub fn compare_lanes(run: &Run, apart: usize, question: &Question) -> Option<Lanes> {
    let named: Vec<Fill> =
        run.lanes()?.iter().enumerate().skip(apart).filter(|(_, l)| !l.is_empty()).collect();
    let nameless = run.values().len() - apart - named.len();
    let mut names: Vec<&String> = named.iter().map(|(_, lane)| *lane).collect();
    names.sort_by(|a, b| in_order(a, b));
    names.dedup();
    let latest = &named[named.len().saturating_sub(MOST_COMPARED)..];
    let rounds = if names.len() <= MOST_LANES { whole_rounds(latest, names.len()) } else { None };
    let each = names.iter().take(MOST_LANES).map(|name| lane(run, &named, name)).collect();
    let turns = named.windows(2).filter(|pair| pair[0].1 != pair[1].1).count();
    let mut lanes = Lanes {
        each,
        verdict: LaneVerdict::One,
        rounds: rounds.as_ref().map(|places| places.len() / names.len().max(1)),
        shift: None,
        one_go: names.len() > 1 && turns + 1 == names.len(),
        not_compared: 0,
        nameless,
        strays: Vec::new(),
    };
    match names.len() {
        0 => return None,
        1 => {}
        n if n > MOST_LANES => lanes.verdict = LaneVerdict::TooMany { names: n },
        _ => {
            let places = rounds.clone().unwrap_or_else(|| latest.iter().map(|(at, _)| *at).collect());
            let sheet = Sheet::of(run, &places, &names, rounds.is_some());
            lanes.not_compared = named.len() - sheet.fills(&sheet.comparable());
            lanes.judge(sheet, question);
        }
    }
    Some(lanes)
}

/// Wrong alarms allowed for each of so many lanes; two lanes are one comparison.
pub(super) fn each_of(alarms: f64, lanes: usize) -> f64 {
    if lanes > 2 { alarms / lanes as f64 } else { alarms }
}

/// A fill's place from zero and the name of its lane.
type Fill<'a> = (usize, &'a String);

/// Numbers by size, then words.
fn in_order(a: &str, b: &str) -> std::cmp::Ordering {
    match (a.parse::<f64>(), b.parse::<f64>()) {
        (Ok(x), Ok(y)) => x.total_cmp(&y).then_with(|| a.cmp(b)),
        (Ok(_), Err(_)) => std::cmp::Ordering::Less,
        (Err(_), Ok(_)) => std::cmp::Ordering::Greater,
        (Err(_), Err(_)) => a.cmp(b),
    }
}

/// Places of the fills in whole rounds, round by round. A round ends when it is whole or a lane comes again.
fn whole_rounds(named: &[Fill], lanes: usize) -> Option<Vec<usize>> {
    let mut whole = Vec::new();
    let mut round: BTreeMap<&String, usize> = BTreeMap::new();
    for (place, lane) in named {
        if round.contains_key(lane) {
            round.clear();
        }
        round.insert(lane, *place);
        if round.len() == lanes {
            whole.extend(std::mem::take(&mut round).into_values());
        }
    }
    let enough = whole.len() >= 2 * lanes && whole.len() as f64 >= IN_ROUNDS * named.len() as f64;
    enough.then_some(whole)
}

fn lane(run: &Run, named: &[Fill], name: &str) -> Lane {
    let fills: Vec<f64> =
        named.iter().filter(|(_, lane)| *lane == name).map(|(at, _)| run.values()[*at]).collect();
    let centre = mean(&fills).unwrap_or(0.0);
    let worth = worth(fills.len(), lag_one(&fills));
    let scatter = spread(&fills).filter(|s| *s > 0.0);
    let blur = scatter.or(run.division().map(|d| d.grams / 12f64.sqrt())).unwrap_or(0.0);
    Lane {
        name: name.to_owned(),
        n: fills.len(),
        mean: centre,
        error: run
            .target()
            .filter(|_| fills.len() > 1)
            .map(|target| mean_interval(centre - target, blur, worth, CONFIDENCE)),
        spread: scatter.map(|s| spread_interval(s, worth, CONFIDENCE)),
        beside: None,
        off: false,
        loose: None,
    }
}

impl Lanes {
    /// Whether it is plain that a lane stands apart. Where the mean alone speaks, even the near end of its interval must be a
    /// good part of it, and the lanes must not each have been weighed in one go, when a change in time looks the same.
    pub fn sure(&self, lane: &Lane) -> bool {
        let near = |i: &Interval| i.low.abs().min(i.high.abs());
        let in_turn = !self.one_go || self.rounds.is_some();
        let plain = lane.beside.is_some_and(|i| near(&i) >= SURE * i.estimate.abs());
        lane.loose.is_some() || in_turn && plain
    }

    fn judge(&mut self, mut sheet: Sheet, question: &Question) {
        let all = sheet.comparable();
        if all.len() < 2 {
            let mut counts: Vec<usize> = sheet.lanes.iter().map(Vec::len).collect();
            counts.sort_by(|a, b| b.cmp(a));
            self.verdict = LaneVerdict::TooFew { missing: FEWEST_OF_A_LANE.saturating_sub(counts[1]) };
            return;
        }
        let limit = (all.len() - 1) / 2;
        let mut sound = all.clone();
        // Of two lanes that share no rounds the looser one still shows.
        let loose_limit = if all.len() == 2 && !sheet.rounds { 1 } else { limit };
        self.set_loose_apart(&mut sheet, &mut sound, loose_limit);
        let followers = sound.clone();
        let left = (limit + followers.len()).saturating_sub(all.len());
        let split = self.set_off_apart(&sheet, &mut sound, left);
        self.set_beside(&sheet, &all, &sound, &followers);
        // Held against the sound ones alone, what is not plain any more is taken back.
        while let Some(at) = self.not_plain(&sheet, &sound, split) {
            self.each[at].off = false;
            sound.push(at);
            sound.sort_unstable();
            self.set_beside(&sheet, &all, &sound, &followers);
        }
        let own = |lane: &Lane| lane.loose.is_some();
        let plain = |lane: &Lane| lane.beside.is_some_and(|beside| beside.excludes_zero());
        self.each.iter_mut().filter(|lane| own(lane)).for_each(|lane| lane.off = plain(lane));
        let beside = self.each.iter().filter(|lane| !lane.apart()).filter_map(|lane| lane.beside);
        let (widest, furthest) = beside.fold((0.0_f64, 0.0_f64), |(half, reach), i| {
            (half.max(i.half()), reach.max(i.estimate.abs() + i.half()))
        });
        self.shift = sheet.shift(&sound);
        let scatter = sheet.scatter(&followers).map_or(0.0, |s| s.variance.sqrt());
        let difference =
            question.wanted_mean().or(question.usual_spread).unwrap_or(scatter).max(sheet.floor.sqrt());
        self.verdict = if self.each.iter().any(Lane::apart) {
            LaneVerdict::Apart
        } else if split {
            LaneVerdict::Differ
        } else if widest <= difference {
            LaneVerdict::Alike { within: furthest }
        } else {
            LaneVerdict::CannotTell { more: sheet.more(&all, difference), difference }
        };
    }

    /// Every lane less the sound others.
    fn set_beside(&mut self, sheet: &Sheet, all: &[usize], sound: &[usize], shared: &[usize]) {
        let confidence = 1.0 - each_of(ALARMS_OF_MEANS, shared.len());
        for &at in all {
            let beside = sheet.beside(at, sound, shared, self.each[at].loose.is_some());
            self.each[at].beside = beside.map(|beside| beside.interval(confidence));
        }
    }

    /// A lane set apart for its mean that is not plainly off from the sound ones, or where these are `split` too, not
    /// plainly the odd one.
    fn not_plain(&self, sheet: &Sheet, sound: &[usize], split: bool) -> Option<usize> {
        let means = || sound.iter().map(|&at| sheet.mean(at));
        let (low, high) = (means().fold(f64::INFINITY, f64::min), means().fold(f64::NEG_INFINITY, f64::max));
        let bar = if split { ODD * (high - low) } else { 0.0 };
        let plain = |i: &Interval| i.excludes_zero() && i.low.abs().min(i.high.abs()) > bar;
        let off = |at: &usize| self.each[*at].off && !self.each[*at].beside.as_ref().is_some_and(plain);
        (0..self.each.len()).find(off)
    }

    /// Sets lanes apart that scatter about the others more than chance allows.
    fn set_loose_apart(&mut self, sheet: &mut Sheet, sound: &mut Vec<usize>, limit: usize) {
        let least = sound.len() - limit;
        while sound.len() > least {
            let worst = sound
                .iter()
                .filter_map(|&at| Some((at, sheet.looseness(at, sound)?)))
                .min_by(|a, b| a.1.chance.total_cmp(&b.1.chance));
            let enough = each_of(ALARMS_OF_SCATTER, sound.len());
            let Some((at, found)) = worst.filter(|(_, found)| found.chance <= enough) else { return };
            // One wild fill is not a loose lane.
            let alone = (!self.strays.iter().any(|stray| stray.lane == self.each[at].name))
                .then(|| sheet.without_furthest(at, sound))
                .flatten()
                .filter(|(rest, _)| rest.looseness(at, sound).is_none_or(|l| l.chance > enough));
            if let Some((rest, place)) = alone {
                self.strays.push(LaneStray { lane: self.each[at].name.clone(), place: place + 1 });
                *sheet = rest;
                continue;
            }
            self.each[at].loose = Some(found.times);
            sound.retain(|lane| *lane != at);
        }
    }

    /// Sets lanes apart whose mean is off; true when more differ than can be the odd ones.
    fn set_off_apart(&mut self, sheet: &Sheet, sound: &mut Vec<usize>, limit: usize) -> bool {
        let (mut left, shared) = (limit, sound.clone());
        loop {
            let worst = sound
                .iter()
                .filter_map(|&at| Some((at, sheet.beside(at, sound, &shared, false)?.chance())))
                .min_by(|a, b| a.1.total_cmp(&b.1));
            let Some((at, _)) = worst.filter(|(_, chance)| *chance <= each_of(ALARMS_OF_MEANS, sound.len()))
            else {
                return false;
            };
            if left == 0 {
                return true;
            }
            left -= 1;
            self.each[at].off = true;
            sound.retain(|lane| *lane != at);
        }
    }
}

#[cfg(test)]
#[path = "lanes_tests.rs"]
mod tests;
