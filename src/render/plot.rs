//! Pictures of numbers as lines of text.
