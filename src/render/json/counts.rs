//! `knowledge stats --json`, as `handlamp-stats/1`: complete entries by kind at the top level, all under `all`.

use serde::Serialize;

use crate::vet::Stats;

/// Counts for a program.
#[derive(Debug, Serialize)]
pub struct CountsOut<'a> {
    format: &'static str,
    #[serde(flatten)]
    stats: &'a Stats,
}

/// The counts for a program.
pub fn counts(stats: &Stats) -> CountsOut<'_> {
    CountsOut { format: "handlamp-stats/1", stats }
}
