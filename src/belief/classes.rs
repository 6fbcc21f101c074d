//! Which of the scenarios side by side a table can tell apart.

use std::collections::BTreeMap;
use std::rc::Rc;

/// Scenarios in classes, all in one class being the same to a table.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Classes {
    /// The class of each scenario, numbered as they first occur.
    of: Rc<[u32]>,
    count: usize,
}

impl Classes {
    /// All the same.
    pub(crate) fn one(scenarios: usize) -> Self {
        Self { of: vec![0; scenarios].into(), count: 1 }
    }

    /// By what each scenario says.
    pub(crate) fn by<T: Ord>(said: impl Iterator<Item = T>) -> Self {
        let mut known: BTreeMap<T, u32> = BTreeMap::new();
        let of: Rc<[u32]> = said
            .map(|said| {
                let next = known.len() as u32;
                *known.entry(said).or_insert(next)
            })
            .collect();
        Self { of, count: known.len() }
    }

    pub(crate) fn scenarios(&self) -> usize {
        self.of.len()
    }

    pub(crate) fn count(&self) -> usize {
        self.count
    }

    /// The class of each scenario.
    pub(crate) fn of(&self) -> &[u32] {
        &self.of
    }

    /// The first scenario of each class.
    pub(crate) fn first(&self) -> Vec<usize> {
        let mut first = Vec::with_capacity(self.count);
        for (scenario, &class) in self.of.iter().enumerate() {
            if class as usize == first.len() {
                first.push(scenario);
            }
        }
        first
    }

    /// Told apart by one of the two.
    pub(crate) fn both(&self, other: &Self) -> Self {
        if other.count == 1 || self == other {
            return self.clone();
        }
        if self.count == 1 {
            return other.clone();
        }
        let mut known = vec![u32::MAX; self.count * other.count];
        let mut count = 0;
        let class = |(own, other_class): (&u32, &u32)| {
            let class = &mut known[*own as usize * other.count + *other_class as usize];
            if *class == u32::MAX {
                *class = count;
                count += 1;
            }
            *class
        };
        let of = self.of.iter().zip(other.of.iter()).map(class).collect();
        Self { of, count: count as usize }
    }

    /// For each class of a finer one the class here; nothing when they are the same.
    pub(crate) fn within(&self, finer: &Self) -> Option<Vec<u32>> {
        (self.count != finer.count).then(|| finer.first().into_iter().map(|first| self.of[first]).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_tables_together_tell_apart_what_either_does() {
        let (left, right) = (Classes::by("aabb".chars()), Classes::by("xyyy".chars()));
        let both = left.both(&right);
        assert_eq!((both.of(), both.count()), (&[0, 1, 2, 2][..], 3));
        assert_eq!(left.within(&both), Some(vec![0, 0, 1]));
        assert_eq!(right.within(&both), Some(vec![0, 1, 1]));
        assert_eq!(both.within(&both), None);
    }
}
