//! Weights in a table with columns.
