//! What is thought of each record, remembered: the first steps of a call are shared by many calls, and thinking is what costs.

use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock, PoisonError, RwLock};

use super::book::Book;
use super::record::Record;
use crate::belief::{self, BeliefError, Combination, Evidence, Posterior};
use crate::walk::REACH;

/// Records longer than this are hardly ever met twice, and are not remembered.
const REMEMBERED: usize = 8;

/// A memory that several threads fill; what stands in it depends on the key alone, so it does not matter who came first.
pub(super) struct Memory<K, V>(RwLock<BTreeMap<K, V>>);

impl<K: Ord, V: Clone> Memory<K, V> {
    pub(super) fn new() -> Self {
        Self(RwLock::new(BTreeMap::new()))
    }

    pub(super) fn get(&self, key: &K) -> Option<V> {
        self.0.read().unwrap_or_else(PoisonError::into_inner).get(key).cloned()
    }

    pub(super) fn keep(&self, key: K, value: V) {
        self.0.write().unwrap_or_else(PoisonError::into_inner).insert(key, value);
    }
}

/// What is believed from one record.
pub(super) struct Thought {
    pub(super) evidence: Evidence,
    pub(super) posterior: Posterior,
    leading: OnceLock<Result<Vec<Combination>, BeliefError>>,
}

impl Thought {
    /// The leading combinations of causes; worked out when first asked for.
    pub(super) fn leading(&self, book: &Book<'_, '_>) -> Result<&[Combination], BeliefError> {
        let network = &book.desk.model.network;
        let found =
            self.leading.get_or_init(|| belief::leading(network, &self.evidence, &self.posterior, REACH));
        found.as_deref().map_err(Clone::clone)
    }

    /// The causes of the book by probability, the likeliest first, ties by number.
    pub(super) fn ranked(&self, book: &Book<'_, '_>) -> Vec<usize> {
        let now = |cause: usize| self.posterior.causes[cause].now;
        let mut order: Vec<usize> = (0..book.desk.model.causes.len()).collect();
        order.sort_by(|&a, &b| now(b).total_cmp(&now(a)).then(a.cmp(&b)));
        order
    }
}

/// All thoughts on one machine.
pub(super) struct Mind(Memory<Record, Arc<Thought>>);

impl Mind {
    pub(super) fn new() -> Self {
        Self(Memory::new())
    }

    pub(super) fn of(&self, book: &Book<'_, '_>, record: &Record) -> Result<Arc<Thought>, BeliefError> {
        if let Some(known) = self.0.get(record) {
            return Ok(known);
        }
        let evidence = record.evidence(book);
        let posterior = belief::posterior(&book.desk.model.network, &evidence)?;
        let thought = Arc::new(Thought { evidence, posterior, leading: OnceLock::new() });
        if is_remembered(record) {
            self.0.keep(record.clone(), Arc::clone(&thought));
        }
        Ok(thought)
    }
}

/// Whether a record is short enough to be met again.
pub(super) fn is_remembered(record: &Record) -> bool {
    record.length() <= REMEMBERED
}
