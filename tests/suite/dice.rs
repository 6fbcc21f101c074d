//! Numbers from a seed, for the tests and the benches.

/// A small generator of numbers (splitmix64, Steele and others 2014), so that a seed names a case for good.
pub(crate) struct Dice(pub(crate) u64);

impl Dice {
    pub(crate) fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub(crate) fn below(&mut self, count: usize) -> usize {
        (self.next() % count as u64) as usize
    }

    pub(crate) fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    pub(crate) fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }

    pub(crate) fn falling(&mut self, degrees: usize, low: f64, high: f64) -> Vec<f64> {
        let mut row: Vec<f64> = (0..degrees).map(|_| self.between(low, high)).collect();
        row.sort_by(|a, b| b.total_cmp(a));
        row
    }

    pub(crate) fn some_of(&mut self, count: usize, most: usize) -> Vec<usize> {
        let mut all: Vec<usize> = (0..count).collect();
        let taken = 1 + self.below(most.min(count));
        (0..taken).map(|_| all.remove(self.below(all.len()))).collect()
    }
}
