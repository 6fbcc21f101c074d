//! In-flight allowance advice.
