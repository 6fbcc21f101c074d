//! Templates.
