//! Checklists: from files to lists that can be trusted, and what each item accepts.
//!
//! A list is sections of items, in order. Which items come up depends on the machine, on what is fitted and on earlier
//! choices ([`Condition`]). Item text is opaque like all step text: it reaches a person only with its cautions.

mod acceptance;
mod load;
mod model;
mod read;
mod resolve;

pub use acceptance::{Failed, Limits};
pub use load::{Checklists, Texts, load};
pub use model::{
    Checklist, Choice, Chosen, Condition, Failure, Item, Kind, Leads, Measure, On, RunAsk, Section, Situation,
};
