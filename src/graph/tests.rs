//! Promises of the fault graph, on a small knowledge of its own.
