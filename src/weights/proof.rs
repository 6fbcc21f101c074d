//! Whether a run proves a cure.
