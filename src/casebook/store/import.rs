//! Taking in cases of others: what is here already is known again, whatever its id.

use std::collections::BTreeMap;
use std::hash::Hasher as _;

use super::replay::Replay;
use super::{Case, CaseId, Store, StoreError, record};
use crate::casebook::write::export;

/// A case of somebody else's.
#[derive(Debug, Clone)]
pub enum Foreign {
    /// A record, byte for byte, with its id.
    Record(CaseId, Vec<u8>),
    /// A case file that was read.
    Case(Box<Case>),
}

/// What became of each.
#[derive(Debug, Default)]
pub struct Imported {
    /// New here: the name it came under and the id it has now.
    pub taken: Vec<(String, CaseId)>,
    /// Went on where the record here stopped.
    pub extended: Vec<CaseId>,
    /// Here already, under this id.
    pub known: Vec<(String, CaseId)>,
    /// Cannot be read, and why.
    pub refused: Vec<(String, String)>,
}

/// The same for equal cases, whatever their ids and the times of their lines.
fn content(case: &Case) -> u64 {
    let mut hasher = fnv::FnvHasher::default();
    hasher.write(export(case).as_bytes());
    hasher.finish()
}

impl Store {
    /// Takes cases in, each with the name that it came under. All that are new are on disk before any has its name; what was
    /// here stays as it was.
    pub fn import(
        &self,
        foreign: Vec<(String, Foreign)>,
        now: jiff::Timestamp,
        threads: usize,
    ) -> Result<Imported, StoreError> {
        let mut here: BTreeMap<u64, CaseId> = BTreeMap::new();
        let (all, _) = self.all(threads)?;
        for recorded in &all {
            here.insert(content(&recorded.case), recorded.id.clone());
        }
        let mut ids: std::collections::BTreeSet<CaseId> = self.cases.ids()?.into_iter().collect();
        let mut done = Imported::default();
        let mut records: Vec<(CaseId, Vec<u8>)> = Vec::new();
        let day = now.to_zoned_datetime(jiff::tz::TimeZone::UTC).date();
        for (name, case) in foreign {
            let (id, bytes, content) = match judged(case, &now.to_string()) {
                Ok(judged) => judged,
                Err(error) => {
                    done.refused.push((name, error.to_string()));
                    continue;
                }
            };
            if let Some(known) = here.get(&content) {
                done.known.push((name, known.clone()));
                continue;
            }
            if let Some(id) = id.as_ref().filter(|id| ids.contains(*id))
                && self.goes_on(id, &bytes)?
            {
                done.extended.push(id.clone());
                here.insert(content, id.clone());
                continue;
            }
            let free = id.filter(|id| !ids.contains(id)).unwrap_or_else(|| fresh(&ids, day));
            ids.insert(free.clone());
            here.insert(content, free.clone());
            records.push((free.clone(), renamed(bytes, &free)?));
            done.taken.push((name, free));
        }
        self.create_all(&records)?;
        self.cases.note_closed(done.extended.iter())?;
        Ok(done)
    }

    /// Puts the longer record in place of ours when ours is its beginning.
    fn goes_on(&self, id: &CaseId, bytes: &[u8]) -> Result<bool, StoreError> {
        let (ours, _) = self.cases.read(id)?;
        if bytes.len() <= ours.len() || !bytes.starts_with(&ours) {
            return Ok(false);
        }
        self.cases.extend(id, bytes)?;
        Ok(true)
    }
}

/// Its id if it has one, its bytes, and its content.
fn judged(case: Foreign, now: &str) -> Result<(Option<CaseId>, Vec<u8>, u64), StoreError> {
    match case {
        Foreign::Record(id, bytes) => {
            let replay = Replay::of(&bytes, &id, id.as_str())?;
            if let Some(remark) = replay.recorded.remarks.first() {
                let why = remark.to_string();
                return Err(StoreError::Damaged { place: format!("the record '{id}'"), why });
            }
            Ok((Some(id), bytes, content(&replay.recorded.case)))
        }
        Foreign::Case(case) => {
            let events = case.events.iter().cloned().map(super::Entry::Event);
            let entries = events.chain(case.closed.map(super::Entry::Close));
            let id = CaseId::of_day(jiff::civil::Date::ZERO, 0);
            let bytes = record(&case, &id, now, entries.map(|entry| (now.to_owned(), entry)))?;
            // As it will read back, so that the same file is known again.
            let kept = Replay::of(&bytes, &id, id.as_str())?.recorded.case;
            Ok((None, bytes, content(&kept)))
        }
    }
}

/// The first free id of a day.
fn fresh(taken: &std::collections::BTreeSet<CaseId>, day: jiff::civil::Date) -> CaseId {
    let mut n = taken
        .range(CaseId::of_day(day, 0)..)
        .take_while(|id| id.as_str().starts_with(&day.to_string()))
        .count();
    loop {
        n += 1;
        let id = CaseId::of_day(day, n);
        if !taken.contains(&id) {
            return id;
        }
    }
}

/// The record with another id in its first line.
fn renamed(bytes: Vec<u8>, id: &CaseId) -> Result<Vec<u8>, StoreError> {
    let end = bytes.iter().position(|byte| *byte == b'\n').map_or(bytes.len(), |place| place + 1);
    let unfit = |error: serde_json::Error| StoreError::Unfit(error.to_string());
    let mut head: super::Header = serde_json::from_slice(&bytes[..end]).map_err(unfit)?;
    if head.id == id.as_str() {
        return Ok(bytes);
    }
    head.id = id.to_string();
    let mut renamed = super::line::bytes(&head)?;
    renamed.extend_from_slice(&bytes[end..]);
    Ok(renamed)
}
