//! How to show what there is to say: pictures and text for a terminal, a page or a program.

pub mod plot;
