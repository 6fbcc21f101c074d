//! Taking in cases of others: what is here already is known again, whatever its id.

use std::collections::{BTreeMap, BTreeSet};
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

/// Equal cases have equal marks, whatever their ids and the times of their lines.
type Mark = (u64, u64, usize);

fn mark(case: &Case) -> Mark {
    let text = export(case);
    let of = |first: u8| {
        let mut hasher = fnv::FnvHasher::default();
        hasher.write_u8(first);
        hasher.write(text.as_bytes());
        hasher.finish()
    };
    (of(0), of(1), text.len())
}

/// So many new records are held before they go on disk together.
const TOGETHER: usize = 1000;

/// Names that are taken, and what is here.
struct Known {
    marks: BTreeMap<Mark, CaseId>,
    ids: BTreeSet<CaseId>,
}

impl Store {
    /// Takes cases in, each with the name that it came under, or with why it cannot be read. What was here stays as it was;
    /// new ones are on disk whole before they have their names.
    pub fn import(
        &self,
        foreign: impl Iterator<Item = (String, Result<Foreign, String>)>,
        now: jiff::Timestamp,
        threads: usize,
    ) -> Result<Imported, StoreError> {
        let (marks, _) = self.each(threads, &|recorded| Some((mark(&recorded.case), recorded.id)))?;
        let ids = self.cases.ids()?.into_iter().collect();
        let mut known = Known { marks: marks.into_iter().collect(), ids };
        let mut done = Imported::default();
        let mut records: Vec<(CaseId, Vec<u8>)> = Vec::new();
        for (name, case) in foreign {
            match case.and_then(|case| judged(case, &now.to_string()).map_err(|error| error.to_string())) {
                Ok(judged) => self.take(name, judged, &mut known, (&mut records, &mut done), now)?,
                Err(why) => done.refused.push((name, why)),
            }
            if records.len() >= TOGETHER {
                self.create_all(&records)?;
                records.clear();
            }
        }
        self.create_all(&records)?;
        self.cases.note_closed(done.extended.iter())?;
        Ok(done)
    }

    fn take(
        &self,
        name: String,
        (id, bytes, mark): (Option<CaseId>, Vec<u8>, Mark),
        known: &mut Known,
        (records, done): (&mut Vec<(CaseId, Vec<u8>)>, &mut Imported),
        now: jiff::Timestamp,
    ) -> Result<(), StoreError> {
        if let Some(here) = known.marks.get(&mark) {
            done.known.push((name, here.clone()));
            return Ok(());
        }
        let waits = |id: &CaseId| records.iter().any(|(waiting, _)| waiting == id);
        if let Some(id) = id.as_ref().filter(|id| known.ids.contains(*id) && !waits(id))
            && self.goes_on(id, &bytes)?
        {
            known.marks.insert(mark, id.clone());
            done.extended.push(id.clone());
            return Ok(());
        }
        let day = now.to_zoned_datetime(jiff::tz::TimeZone::UTC).date();
        let free = id.filter(|id| !known.ids.contains(id)).unwrap_or_else(|| fresh(&known.ids, day));
        known.ids.insert(free.clone());
        known.marks.insert(mark, free.clone());
        records.push((free.clone(), renamed(bytes, &free)?));
        done.taken.push((name, free));
        Ok(())
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

/// Its id if it has one, its bytes, and its mark.
fn judged(case: Foreign, now: &str) -> Result<(Option<CaseId>, Vec<u8>, Mark), StoreError> {
    match case {
        Foreign::Record(id, bytes) => {
            let replay = Replay::of(&bytes, &id, id.as_str())?;
            if let Some(remark) = replay.recorded.remarks.first() {
                let why = remark.to_string();
                return Err(StoreError::Damaged { place: format!("the record '{id}'"), why });
            }
            Ok((Some(id), bytes, mark(&replay.recorded.case)))
        }
        Foreign::Case(case) => {
            let events = case.events.iter().cloned().map(super::Entry::Event);
            let entries = events.chain(case.closed.map(super::Entry::Close));
            let id = CaseId::of_day(jiff::civil::Date::ZERO, 0);
            let bytes = record(&case, &id, now, entries.map(|entry| (now.to_owned(), entry)))?;
            // As it will read back, so that the same file is known again.
            let kept = Replay::of(&bytes, &id, id.as_str())?.recorded.case;
            Ok((None, bytes, mark(&kept)))
        }
    }
}

/// The first free id of a day.
fn fresh(taken: &BTreeSet<CaseId>, day: jiff::civil::Date) -> CaseId {
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
