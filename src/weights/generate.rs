//! Made-up runs with known patterns, for tests, rehearsals and practice. The same seed gives the same run everywhere.

use std::f64::consts::PI;

use super::pattern::{Combination, Pattern};

/// A small generator of evenly distributed numbers: SplitMix64 (Steele, Lea and Flood, 'Fast splittable pseudorandom
/// number generators', 2014). Not for secrets.
#[derive(Debug, Clone)]
pub struct Dice(u64);

impl Dice {
    /// Starts from a seed.
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// The next 64 bits.
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Evenly from 0 up to, not including, 1.
    pub fn even(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Evenly from 0 up to, not including, `n` (0 for none).
    pub fn below(&mut self, n: usize) -> usize {
        ((self.even() * n as f64) as usize).min(n.saturating_sub(1))
    }

    /// True with probability `p`.
    pub fn chance(&mut self, p: f64) -> bool {
        self.even() < p
    }

    /// Standard normal (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.even()).ln()).sqrt();
        radius * (2.0 * PI * self.even()).cos()
    }
}

/// What a made-up run is like. Masses are grams.
#[derive(Debug, Clone)]
pub struct Recipe {
    /// Number of fills.
    pub fills: usize,
    /// What each should weigh.
    pub target: f64,
    /// Usual spread of the machine.
    pub spread: f64,
    /// Step of the display; values are rounded to it when there is one.
    pub division: Option<f64>,
    /// What the run shows.
    pub patterns: Combination,
    /// Size of each pattern in usual spreads: of the offset, of the total change of a drift or step, from trough to
    /// crest of a wave or see-saw, between two groups, of the added scatter; strays lie at least so far off, half as
    /// far again on average.
    pub size: f64,
    /// Chance that a fill is a stray, when strays are among the patterns.
    pub stray_rate: f64,
    /// Period of a wave in fills.
    pub period: f64,
}

impl Recipe {
    /// A run of a machine in order.
    pub fn in_order(fills: usize, target: f64, spread: f64) -> Self {
        Self {
            fills,
            target,
            spread,
            division: None,
            patterns: Combination::new(),
            size: 0.0,
            stray_rate: 0.1,
            period: 8.0,
        }
    }

    /// The same with patterns of one size.
    #[must_use]
    pub fn with(mut self, patterns: &[Pattern], size: f64) -> Self {
        self.patterns = patterns.iter().copied().collect();
        self.size = size;
        self
    }

    /// Makes the run. With strays among the patterns at least one fill is a stray.
    pub fn make(&self, dice: &mut Dice) -> Vec<f64> {
        let n = self.fills;
        let shows = |p: Pattern| self.patterns.contains(&p);
        let scatter = if shows(Pattern::Wide) { (1.0 + self.size * self.size).sqrt() } else { 1.0 };
        let step_at = 3.min(n / 3) + dice.below(n.saturating_sub(2 * 3.min(n / 3)));
        let phase = 2.0 * PI * dice.even();
        let sign = if dice.chance(0.5) { 1.0 } else { -1.0 };
        let sure_stray = dice.below(n);
        let mut fills = Vec::with_capacity(n);
        for i in 0..n {
            let mut off = scatter * dice.normal();
            for pattern in &self.patterns {
                off += self.size
                    * match pattern {
                        Pattern::Light => -1.0,
                        Pattern::Heavy => 1.0,
                        Pattern::Drift => sign * i as f64 / (n.max(2) - 1) as f64,
                        Pattern::Step => sign * f64::from(u8::from(i >= step_at)),
                        Pattern::Wave => 0.5 * (2.0 * PI * i as f64 / self.period + phase).sin(),
                        Pattern::SeeSaw => sign * if i % 2 == 0 { 0.5 } else { -0.5 },
                        Pattern::TwoGroups => {
                            if dice.chance(0.5) {
                                0.5
                            } else {
                                -0.5
                            }
                        }
                        Pattern::StartUp => sign * f64::from(u8::from(i < 2)),
                        Pattern::Wide | Pattern::StraysLight | Pattern::StraysHeavy => 0.0,
                    };
            }
            off += self.size * scatter * self.stray(i == sure_stray, dice);
            fills.push(self.rounded(self.target + self.spread * off));
        }
        fills
    }

    /// Whether this fill is a stray, to which side, and how far in sizes.
    fn stray(&self, sure: bool, dice: &mut Dice) -> f64 {
        let light = self.patterns.contains(&Pattern::StraysLight);
        let heavy = self.patterns.contains(&Pattern::StraysHeavy);
        if !(light || heavy) || !(dice.chance(self.stray_rate) || sure) {
            return 0.0;
        }
        let side = match (light, heavy) {
            (true, true) if dice.chance(0.5) => 1.0,
            (true, _) => -1.0,
            _ => 1.0,
        };
        // Exponential beyond the least, with a mean of a half: no two strays are alike.
        side * (1.0 - 0.5 * (1.0 - dice.even()).ln())
    }

    fn rounded(&self, value: f64) -> f64 {
        match self.division {
            Some(step) if step > 0.0 => (value / step).round() * step,
            _ => value,
        }
    }
}
