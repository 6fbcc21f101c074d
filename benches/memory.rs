//! How the memory of closed cases grows: `cargo bench --bench memory [CASES]…` (1,000, 10,000 and 100,000 if none are given).
//!
//! Times are of the library; `find` and 'like this one' are the mean of twenty, with the memory opened anew each time, as
//! the program does. The memory that the program itself takes is not in it: the invented cases are held here.

#![expect(clippy::print_stdout, reason = "the table is what it is for")]

use std::path::Path;
use std::time::{Duration, Instant};

use handlamp::casebook::{CaseId, Foreign, RemedyResult, Store, What, record};
use handlamp::knowledge::{Texts, load};
use handlamp::rehearse::{Invented, invent};
use handlamp::search::past::{Memory, Past};

const ASKED: u32 = 20;

fn main() {
    let counts: Vec<usize> = std::env::args().filter_map(|arg| arg.parse().ok()).collect();
    let counts = if counts.is_empty() { vec![1_000, 10_000, 100_000] } else { counts };
    let knowledge = load(&Texts::built_in()).0;
    println!("cases    import   again   index   one more   find    like    index   ");
    for count in counts {
        let until = "2026-11-30T18:00:00Z".parse().expect("a time");
        let cases = invent(&knowledge, count, 1, until).expect("cases");
        let folder = tempfile::tempdir().expect("a folder");
        let store = Store::at(folder.path());
        let foreign = || cases.iter().map(foreign);
        let (import, _) = timed(|| store.import(foreign(), until, 2).expect("they come in"));
        let (again, known) = timed(|| store.import(foreign(), until, 2).expect("they are known"));
        assert_eq!(known.known.len(), cases.len());
        let cache = folder.path().join("cache");
        let (index, ()) = timed(|| {
            let mut memory = Memory::open(&cache).expect("a memory");
            memory.take(cases.iter().map(past), 1).expect("they are taken");
        });
        let (more, ()) = timed(|| {
            let mut memory = Memory::open(&cache).expect("a memory");
            memory.take(std::iter::once(past(&cases[0])), 2).expect("it is taken");
        });
        let mean = |ask: &dyn Fn(&Memory) -> usize| {
            let (all, found) =
                timed(|| (0..ASKED).map(|_| ask(&Memory::open(&cache).expect("a memory"))).sum::<usize>());
            assert!(found > 0);
            all / ASKED
        };
        let find =
            mean(&|memory| memory.find("bags come up short since the new millet", 3).expect("found").len());
        let symptom = ["fills-steadily-light".to_owned()];
        let like = mean(&|memory| {
            memory.like("single-tray-weigher", &symptom, "all our bags are light", 3).expect("found").len()
        });
        println!(
            "{count:6} {:7.1} s {:5.1} s {:5.1} s {:7.1} ms {:4.1} ms {:4.1} ms {:5.1} MB",
            import.as_secs_f64(),
            again.as_secs_f64(),
            index.as_secs_f64(),
            1000.0 * more.as_secs_f64(),
            1000.0 * find.as_secs_f64(),
            1000.0 * like.as_secs_f64(),
            size(&cache) as f64 / 1e6,
        );
    }
}

fn timed<R>(what: impl FnOnce() -> R) -> (Duration, R) {
    let begun = Instant::now();
    let done = what();
    (begun.elapsed(), done)
}

fn foreign(case: &Invented) -> (String, Result<Foreign, String>) {
    let entries = case.entries.iter().map(|(at, entry)| (at.to_string(), entry.clone()));
    let bytes = record(&case.head, &case.id, &case.opened.to_string(), entries).expect("a record");
    let id = CaseId::parse(case.id.as_str()).expect("an id");
    (case.id.to_string(), Ok(Foreign::Record(id, bytes)))
}

fn past(invented: &Invented) -> Past {
    let case = invented.case();
    let cured = case.last_remedy().filter(|(_, result)| *result == RemedyResult::ProvedGone);
    let symptoms = case.events.iter().filter_map(|event| match &event.what {
        What::Reading { check, reading: handlamp::casebook::Reading::Outcome(outcome), .. }
            if check.as_str() == "what-the-caller-says" =>
        {
            Some(outcome.to_string())
        }
        _ => None,
    });
    Past {
        id: invented.id.to_string(),
        machine: case.machine.to_string(),
        serial: case.opening.serial.clone(),
        complaint: case.complaint.clone().unwrap_or_default(),
        product: String::new(),
        symptoms: symptoms.collect(),
        cured_by: cured.map(|(id, _)| id.to_string()),
        day: invented.opened.to_string().chars().take(10).collect(),
    }
}

/// Bytes of all files in a folder.
fn size(folder: &Path) -> u64 {
    let entries = std::fs::read_dir(folder).into_iter().flatten().filter_map(Result::ok);
    entries
        .map(|entry| {
            if entry.path().is_dir() { size(&entry.path()) } else { entry.metadata().map_or(0, |m| m.len()) }
        })
        .sum()
}
