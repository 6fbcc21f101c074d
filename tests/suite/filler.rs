//! A made-up weigh-filler, worked out in steps of ten milliseconds, for following a set-up's advice blindly.
//!
//! Product leaves a tray in pieces, at a rate that follows the dial, the layer and the hopper; it falls, lands with a
//! push on the pan and is weighed through a filter. Coarse feed goes over to fine feed at the coarse cut-off; fine feed
//! stops at the target less the allowance. Both stop late: by the drive, by the filter and by what is in the air. All
//! figures are made up (judgement); what matters is that they hang together as they do on a machine.

use handlamp::weights::generate::Dice;

/// One step of time, seconds.
const STEP: f64 = 0.01;
/// Steps that product can be in the air.
const AIR: usize = 64;

/// What can be set. Millimetres, per cent, seconds, grams.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Settings {
    pub(crate) depth: f64,
    pub(crate) coarse: f64,
    pub(crate) fine: f64,
    pub(crate) start_delay: f64,
    pub(crate) stop_delay: f64,
    pub(crate) cut_off: f64,
    pub(crate) allowance: f64,
    pub(crate) settling: f64,
}

impl Settings {
    /// The setting that the knowledge calls so.
    pub(crate) fn named(&mut self, id: &str) -> Option<&mut f64> {
        Some(match id {
            "layer-depth" => &mut self.depth,
            "coarse-rate" => &mut self.coarse,
            "fine-rate" => &mut self.fine,
            "second-tray-start-delay" => &mut self.start_delay,
            "second-tray-stop-delay" => &mut self.stop_delay,
            "coarse-cut-off" => &mut self.cut_off,
            "in-flight-allowance" => &mut self.allowance,
            "settling-time" => &mut self.settling,
            _ => return None,
        })
    }
}

/// Whether the machine moves its allowance by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Correction {
    None,
    CanBeSwitchedOff,
    StaysOn,
}

/// A machine with its product. Grams, seconds, millimetres.
#[derive(Debug, Clone)]
pub(crate) struct Filler {
    pub(crate) two_trays: bool,
    pub(crate) target: f64,
    pub(crate) correction: Correction,
    /// As it is found.
    pub(crate) found: Settings,
    /// The depth at which the layer is most even.
    pub(crate) even_depth: f64,
    /// Flow at the full dial on an even layer.
    coarse_full: f64,
    fine_full: f64,
    piece: f64,
    /// How uneven an even layer still is, and how much the hopper's level changes from fill to fill, as shares.
    unevenness: f64,
    hopper: f64,
    fall: f64,
    pub(crate) filter: f64,
    late: f64,
    jitter: f64,
    /// Share of the push of landing product that the scale takes for weight.
    push: f64,
    noise: f64,
    /// Emptying, tare and waiting.
    rest: f64,
    drive: f64,
}

/// One fill.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Fill {
    pub(crate) weight: f64,
    pub(crate) shown: f64,
    pub(crate) coarse_time: f64,
    pub(crate) fine_time: f64,
    pub(crate) whole: f64,
    pub(crate) still: bool,
}

/// What very many fills would say.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Truth {
    pub(crate) mean: f64,
    pub(crate) spread: f64,
    pub(crate) whole: f64,
    pub(crate) still: f64,
    pub(crate) fine_time: f64,
    pub(crate) outside: f64,
}

fn between(dice: &mut Dice, low: f64, high: f64) -> f64 {
    low + (high - low) * dice.even()
}

/// Evenly in the logarithm.
fn about(dice: &mut Dice, low: f64, high: f64) -> f64 {
    low * (high / low).powf(dice.even())
}

impl Filler {
    /// A machine and a product by chance, with settings that nobody has found yet.
    pub(crate) fn drawn(seed: u64) -> Self {
        let d = &mut Dice::new(seed);
        let two_trays = d.chance(0.5);
        let target = about(d, 100.0, 1000.0);
        let coarse_full = target / between(d, 1.4, 2.2);
        let fine_full = if two_trays { coarse_full * between(d, 0.3, 0.6) } else { coarse_full };
        let even_depth = between(d, 3.0, 9.0);
        let delays = f64::from(u8::from(two_trays));
        let correction = match d.below(10) {
            0 => Correction::StaysOn,
            1 | 2 => Correction::CanBeSwitchedOff,
            _ => Correction::None,
        };
        Self {
            two_trays,
            target,
            correction,
            found: Settings {
                depth: even_depth * about(d, 0.45, 2.2),
                coarse: between(d, 45.0, 95.0).round(),
                fine: between(d, 12.0, 55.0).round(),
                start_delay: delays * between(d, 0.0, 0.8),
                stop_delay: delays * between(d, 0.0, 0.4),
                cut_off: target * between(d, 0.7, 0.97),
                allowance: target * between(d, 0.0, 0.03),
                settling: between(d, 0.1, 1.2),
            },
            even_depth,
            coarse_full,
            fine_full,
            piece: target * about(d, 0.00005, 0.0008),
            unevenness: between(d, 0.06, 0.15),
            hopper: between(d, 0.01, 0.04),
            fall: between(d, 0.15, 0.25),
            filter: between(d, 0.08, 0.2),
            late: between(d, 0.03, 0.08),
            jitter: between(d, 0.003, 0.012),
            push: between(d, 0.2, 0.6),
            noise: target * 0.0002,
            rest: between(d, 1.4, 2.2),
            drive: between(d, 0.05, 0.12),
        }
    }

    /// Mean flow of a tray, grams a second: nothing at the lowest figures, more than its share above.
    fn flow(&self, full: f64, dial: f64, depth: f64) -> f64 {
        let stroke = ((dial - 6.0) / 94.0).max(0.0);
        full * stroke.powf(1.4) * (depth / self.even_depth).powf(0.8)
    }

    /// How uneven a flow is: a deep layer rolls, a thin one is bare in places, a tray that hardly shakes sticks and slips.
    fn roughness(&self, depth: f64, dial: f64) -> f64 {
        let ratio = depth / self.even_depth;
        let rolls = (ratio / 1.25).max(1.0).powi(2);
        let bare = (0.75 / ratio).max(1.0).powi(2);
        self.unevenness * rolls * bare * (1.0 + 3.0 * ((14.0 - dial) / 8.0).max(0.0))
    }

    /// What fine feed alone brings in a second.
    pub(crate) fn fine_alone(&self, s: &Settings) -> f64 {
        self.flow(self.fine_full, s.fine, s.depth)
    }

    /// The settings of a machine that somebody has set well, for a speed that can be wished for.
    pub(crate) fn set_well(&self, dice: &mut Dice) -> Settings {
        let lowest = if self.two_trays { 20.0 } else { 15.0 };
        let coarse = between(dice, 62.0, 82.0);
        let share = between(dice, 0.07, 0.12);
        let lasting = between(dice, 1.8, 2.5);
        let mut s = Settings {
            depth: self.even_depth,
            coarse,
            fine: lowest,
            start_delay: 0.0,
            stop_delay: 0.0,
            cut_off: 0.5 * self.target,
            allowance: 0.01 * self.target,
            settling: 0.6,
        };
        let enough = self.flow(self.coarse_full, coarse, s.depth) * share;
        while self.fine_alone(&s) < enough {
            s.fine += 0.5;
        }
        while self.truth(&s, 60, 5, None).fine_time > lasting && s.cut_off < 0.95 * self.target {
            s.cut_off += 0.01 * self.target;
        }
        s
    }

    /// One fill.
    pub(crate) fn fill(&self, s: &Settings, dice: &mut Dice) -> Fill {
        let mut scale = Scale { pan: 0.0, reading: 0.0, follow: 1.0 - (-STEP / self.filter).exp() };
        let mut feed = Feed::begin(self, s, dice);
        let fall = (self.fall / STEP) as usize;
        let mut air = [0.0; AIR];
        let (mut coarse_off, mut fine_off): (Option<f64>, Option<f64>) = (None, None);
        let (mut t, mut i, mut end, mut seen) = (0.0, 0_usize, 60.0, 0.0);
        while t < end {
            let gone = feed.step(t, coarse_off, fine_off, dice);
            let landing = if i >= fall { air[(i - fall) % AIR] } else { 0.0 };
            air[i % AIR] = gone;
            seen = scale.step(landing, self.push * self.fall) + self.noise * dice.normal();
            if coarse_off.is_none() && seen >= s.cut_off {
                coarse_off = Some(t);
            }
            if coarse_off.is_some() && fine_off.is_none() && seen >= self.target - s.allowance {
                fine_off = Some(t);
                end = t + s.settling;
            }
            t += STEP;
            i += 1;
        }
        // What is still in the air falls into the same bag.
        let in_air: f64 = (1..=fall.min(i)).map(|k| air[(i - k) % AIR]).sum();
        let (coarse, fine) = (coarse_off.unwrap_or(t), fine_off.unwrap_or(t));
        Fill {
            weight: scale.pan + in_air,
            shown: seen,
            coarse_time: coarse,
            fine_time: fine - coarse,
            whole: t + self.rest,
            still: (seen - scale.pan).abs() < 0.002 * self.target && in_air < 0.001 * self.target,
        }
    }

    /// What very many fills would say; the share outside of a tolerance, where one is given.
    pub(crate) fn truth(&self, s: &Settings, fills: usize, seed: u64, tolerance: Option<f64>) -> Truth {
        let dice = &mut Dice::new(seed);
        let all: Vec<Fill> = (0..fills).map(|_| self.fill(s, dice)).collect();
        let n = fills as f64;
        let mean_of = |what: fn(&Fill) -> f64| all.iter().map(what).sum::<f64>() / n;
        let mean = mean_of(|f| f.weight);
        let outside =
            tolerance.map_or(0, |t| all.iter().filter(|f| (f.weight - self.target).abs() > t).count());
        Truth {
            mean,
            spread: (all.iter().map(|f| (f.weight - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt(),
            whole: mean_of(|f| f.whole),
            still: mean_of(|f| f64::from(u8::from(f.still))),
            fine_time: mean_of(|f| f.fine_time),
            outside: outside as f64 / n,
        }
    }

    /// Where a machine that corrects itself brings its allowance in time.
    pub(crate) fn corrected(&self, s: &Settings) -> Settings {
        let mut settled = *s;
        for fills in [60, 60, 60, 400, 400] {
            let error = self.truth(&settled, fills, 15, None).mean - self.target;
            settled.allowance = (settled.allowance + 0.7 * error).max(0.0);
        }
        settled
    }

    /// The least spread with fills no slower than this, searched over rates and cut-off on an even layer.
    pub(crate) fn least_spread(&self, whole: f64, fills: usize) -> f64 {
        let (low, high) = if self.two_trays { (20.0, 40.0) } else { (15.0, 35.0) };
        let mut s = self.set_well(&mut Dice::new(1));
        s.settling = 0.3;
        while self.truth(&s, 60, 3, None).still < 0.9 && s.settling < 1.5 {
            s.settling += 0.1;
        }
        let spread = |s: &Settings| {
            let truth = self.truth(s, fills, 7, None);
            if truth.whole > whole * 1.02 { f64::INFINITY } else { truth.spread }
        };
        let mut best = (f64::INFINITY, s);
        for coarse in [60.0, 68.0, 76.0, 85.0] {
            for fine in [0.0, 0.15, 0.35, 0.6, 1.0] {
                for cut_off in [0.6, 0.68, 0.75, 0.8, 0.84, 0.88, 0.92] {
                    let fine = low + fine * (high - low);
                    let tried = Settings { coarse, fine, cut_off: cut_off * self.target, ..s };
                    let found = spread(&tried);
                    if found < best.0 {
                        best = (found, tried);
                    }
                }
            }
        }
        for step in [0.5, 0.25, 0.125] {
            for (id, width, from, to) in [
                ("coarse-rate", 8.0, 60.0, 85.0),
                ("fine-rate", 5.0, low, high),
                ("coarse-cut-off", 0.04 * self.target, 0.0, self.target),
            ] {
                for side in [-step, step] {
                    let mut tried = best.1;
                    if let Some(figure) = tried.named(id) {
                        *figure = (*figure + side * width).clamp(from, to);
                    }
                    let found = spread(&tried);
                    if found < best.0 {
                        best = (found, tried);
                    }
                }
            }
        }
        self.truth(&best.1, 4 * fills, 11, None).spread
    }
}

/// What lies on the pan and what is read of it.
struct Scale {
    pan: f64,
    reading: f64,
    follow: f64,
}

impl Scale {
    fn step(&mut self, landing: f64, push: f64) -> f64 {
        self.pan += landing;
        self.reading += self.follow * (self.pan + push * landing / STEP - self.reading);
        self.reading
    }
}

/// The trays during one fill.
struct Feed<'f> {
    filler: &'f Filler,
    settings: Settings,
    flows: [f64; 2],
    rough: [f64; 2],
    wander: [f64; 2],
    strokes: [f64; 2],
    late: [f64; 2],
    at_the_lip: f64,
}

impl<'f> Feed<'f> {
    fn begin(filler: &'f Filler, s: &Settings, dice: &mut Dice) -> Self {
        let hopper = 1.0 + filler.hopper * dice.normal();
        Self {
            filler,
            settings: *s,
            flows: [
                filler.flow(filler.coarse_full, s.coarse, s.depth) * hopper,
                filler.flow(filler.fine_full, s.fine, s.depth) * hopper,
            ],
            rough: [filler.roughness(s.depth, s.coarse), filler.roughness(s.depth, s.fine)],
            wander: [dice.normal(), dice.normal()],
            strokes: [0.0; 2],
            late: [filler.late + filler.jitter * dice.normal(), filler.late + filler.jitter * dice.normal()],
            at_the_lip: 0.0,
        }
    }

    /// Grams that leave the lip in one step. One tray goes over from the coarse to the fine stroke; of two the second
    /// runs beside the first and goes on alone.
    fn step(&mut self, t: f64, coarse_off: Option<f64>, fine_off: Option<f64>, dice: &mut Dice) -> f64 {
        let coarse_on = coarse_off.is_none_or(|off| t < off + self.late[0]);
        let fine_on = if self.filler.two_trays {
            fine_off.map_or(t >= self.settings.start_delay, |off| {
                t < off + self.late[1] + self.settings.stop_delay
            })
        } else {
            !coarse_on && fine_off.is_none_or(|off| t < off + self.late[1])
        };
        let ramp = 1.0 - (-STEP / self.filler.drive).exp();
        let keep = (-STEP / 0.08_f64).exp();
        let fresh = (1.0 - keep * keep).sqrt();
        let mut out = 0.0;
        for (tray, on) in [coarse_on, fine_on].into_iter().enumerate() {
            self.strokes[tray] += ramp * (f64::from(u8::from(on)) - self.strokes[tray]);
            self.wander[tray] = keep * self.wander[tray] + fresh * dice.normal();
            out += self.flows[tray] * self.strokes[tray] * (1.0 + self.rough[tray] * self.wander[tray]);
        }
        // What has not made a whole piece waits at the lip.
        self.at_the_lip += out.max(0.0) * STEP;
        let piece = self.filler.piece;
        let pieces = (self.at_the_lip / piece - dice.even() + 0.5).round().max(0.0);
        let gone = (pieces * piece).min(self.at_the_lip + 0.5 * piece);
        self.at_the_lip -= gone;
        gone
    }
}
