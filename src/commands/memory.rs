//! What this store remembers: closed cases, found again by words, by machine, by symptom. Brought up to date by what was closed
//! since; a store that cannot be written hinders nobody.

use super::{Context, Result};
use crate::casebook::{Case, Reading, Recorded, Store, What};
use crate::search::past::{Memory, Past};
use crate::view::words;

/// The check that a complaint is confirmed by; its name is decided.
const COMPLAINT: &str = "what-the-caller-says";

/// The memory of the store in use, up to date; none where it cannot be had, which is remarked on.
pub(super) fn memory(context: &Context) -> Result<Option<Memory>> {
    let Ok(folder) = context.store() else { return Ok(None) };
    let store = Store::at(&folder);
    match up_to_date(&folder, &store, context.cores()) {
        Ok(memory) => Ok(memory),
        Err(why) => {
            context.remark(&words::sentence(&format!("closed cases are not looked through: {why}")))?;
            Ok(None)
        }
    }
}

fn up_to_date(
    folder: &std::path::Path,
    store: &Store,
    threads: usize,
) -> std::result::Result<Option<Memory>, String> {
    // Where nothing was ever kept, nothing is begun.
    if !folder.join("cases").is_dir() {
        return Ok(None);
    }
    let mut memory = Memory::open(&folder.join("cache")).map_err(|e| e.to_string())?;
    let (closed, end) = store.closed_since(memory.read_to()).map_err(|e| e.to_string())?;
    if memory.is_empty() && memory.read_to() == 0 {
        // Begun anew: everything that is closed, noted or not.
        let closed = |recorded: Recorded| recorded.case.closed.is_some().then(|| of(&recorded));
        let (closed, _) = store.each(threads, &closed).map_err(|e| e.to_string())?;
        if !closed.is_empty() {
            memory.take(closed.into_iter(), end).map_err(|e| e.to_string())?;
        }
    } else if !closed.is_empty() || end != memory.read_to() {
        let read = closed.iter().filter_map(|id| store.read(id).ok());
        let closed: Vec<Past> = read.filter(|r| r.case.closed.is_some()).map(|r| of(&r)).collect();
        memory.take(closed.into_iter(), end).map_err(|e| e.to_string())?;
    }
    Ok(Some(memory))
}

/// The symptoms that were confirmed in a case.
pub(super) fn symptoms(case: &Case) -> Vec<String> {
    let named = case.events.iter().filter_map(|event| match &event.what {
        What::Reading { check, reading: Reading::Outcome(outcome), .. } if check.as_str() == COMPLAINT => {
            Some(outcome.to_string())
        }
        _ => None,
    });
    named.collect()
}

/// A case as it is remembered.
fn of(recorded: &Recorded) -> Past {
    let case = &recorded.case;
    Past {
        id: recorded.id.to_string(),
        machine: case.machine.to_string(),
        serial: case.opening.serial_said().map(str::to_owned),
        complaint: case.complaint.clone().unwrap_or_default(),
        product: case.product.as_ref().and_then(|product| product.name.clone()).unwrap_or_default(),
        symptoms: symptoms(case),
        cured_by: case.cured_by().map(ToString::to_string),
        day: recorded.opened.chars().take(10).collect(),
    }
}
