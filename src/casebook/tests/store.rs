//! What was answered is on disk before anybody goes on, and stays there whatever happens.

use std::fs;
use std::path::PathBuf;

use proptest::prelude::*;

use super::round_trip::{cases, event, words};
use super::{WHOLE, knowledge};
use crate::casebook::*;

/// A store in a folder of its own, which goes with it.
struct Shelf {
    folder: tempfile::TempDir,
    store: Store,
}

impl Shelf {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::at(folder.path());
        Self { folder, store }
    }

    fn file(&self, id: &str) -> PathBuf {
        self.folder.path().join("cases").join(format!("{id}.jsonl"))
    }

    fn begin(&self, id: &str) -> Record {
        let mut case = Case::of("single-tray-weigher".into());
        case.complaint = Some("all light".into());
        self.store.create(&case, &named(id), now()).unwrap()
    }
}

fn named(id: &str) -> CaseId {
    CaseId::parse(id).unwrap()
}

fn now() -> jiff::Timestamp {
    "2026-11-25T14:30:00Z".parse().unwrap()
}

fn note(text: &str) -> Entry {
    Entry::Event(Event { at: None, by: None, what: What::Note(text.into()) })
}

fn notes(case: &Case) -> Vec<&str> {
    let text = |event: &Event| matches!(&event.what, What::Note(_)).then_some(());
    assert!(case.events.iter().all(|event| text(event).is_some()));
    case.events
        .iter()
        .filter_map(|e| if let What::Note(text) = &e.what { Some(text.as_str()) } else { None })
        .collect()
}

#[test]
fn everything_that_was_added_is_read_back_and_the_record_says_the_same() {
    let shelf = Shelf::new();
    let whole = read(WHOLE, "t.yaml", &knowledge()).unwrap().case;
    let mut record = shelf.begin("a");
    let product = whole.product.clone().unwrap();
    let mut entries: Vec<_> = whole.events.iter().cloned().map(Entry::Event).collect();
    entries.extend([
        Entry::Opening(whole.opening.clone()),
        Entry::Person(whole.people[0].clone()),
        Entry::Person(Person { at: Whereabouts::Desk, ..whole.people[0].clone() }),
        Entry::Complaint("some light".into()),
        Entry::Product(product.clone()),
        Entry::Scale(whole.scale),
        Entry::Market("eu".into()),
        Entry::Visit(whole.visit.unwrap()),
        Entry::Fitted(whole.fitted.clone()),
        Entry::Close(Closing::SentSomebody),
        Entry::Continue,
        Entry::Fitted(None),
        Entry::Close(Closing::Cured),
    ]);
    for entry in entries.clone() {
        record.append(entry, now()).unwrap();
    }
    let kept = shelf.store.read(&named("a")).unwrap();
    assert_eq!(&kept, record.recorded());
    assert_eq!(kept.history.len(), entries.len());
    assert_eq!(
        (kept.case.product, kept.case.scale, kept.case.visit),
        (Some(product), whole.scale, whole.visit)
    );
    assert_eq!((kept.case.people.len(), kept.case.people[0].at), (1, Whereabouts::Desk));
    assert_eq!((kept.case.fitted, kept.case.closed), (None, Some(Closing::Cured)));
    assert_eq!(kept.case.events[0].at.as_deref(), Some("2026-11-25T14:30:00Z"));
    assert_eq!(kept.case.events[12].at, whole.events[12].at, "a time that was given stays");
    assert!(kept.remarks.is_empty());
}

#[test]
fn a_correction_replaces_the_answer_and_keeps_the_old_one_in_the_record() {
    let shelf = Shelf::new();
    let mut record = shelf.begin("a");
    for text in ["one", "two", "three"] {
        record.append(note(text), now()).unwrap();
    }
    let event = Event { at: None, by: None, what: What::Note("zwei".into()) };
    let later = "2026-11-26T08:00:00Z".parse().unwrap();
    record.append(Entry::Correct { index: 1, event: event.clone() }, later).unwrap();
    let kept = shelf.store.read(&named("a")).unwrap();
    assert_eq!(notes(&kept.case), ["one", "zwei", "three"]);
    assert_eq!(
        kept.case.events[1].at.as_deref(),
        Some("2026-11-25T14:30:00Z"),
        "it happened when it happened"
    );
    let last = kept.history.last().unwrap();
    assert_eq!(last.replaced.as_ref().unwrap().what, What::Note("two".into()));
    assert_eq!((kept.last.as_str(), kept.opened.as_str()), ("2026-11-26T08:00:00Z", "2026-11-25T14:30:00Z"));
    let missing = record.append(Entry::Correct { index: 3, event }, later).unwrap_err();
    assert!(matches!(missing, StoreError::NoSuchEvent { index: 3, count: 3 }), "{missing}");
}

#[test]
fn a_kill_at_any_byte_loses_at_most_the_last_line() {
    let shelf = Shelf::new();
    let header = {
        drop(shelf.begin("a"));
        fs::read(shelf.file("a")).unwrap().len()
    };
    let mut record = shelf.store.open(&named("a")).unwrap();
    let texts = ["one", "zwei: ü€", "three\nlines"];
    let mut ends = vec![header];
    for text in texts {
        record.append(note(text), now()).unwrap();
        ends.push(fs::read(shelf.file("a")).unwrap().len());
    }
    drop(record);
    let whole = fs::read(shelf.file("a")).unwrap();
    for cut in header..=whole.len() {
        fs::write(shelf.file("a"), &whole[..cut]).unwrap();
        // A line that lacks nothing but its end is whole.
        let safe = ends.iter().skip(1).filter(|end| **end <= cut + 1).count();
        let kept = shelf.store.read(&named("a")).unwrap();
        assert_eq!(notes(&kept.case), texts[..safe], "cut at {cut}");
        assert_eq!(
            kept.remarks.is_empty(),
            ends.iter().any(|end| (*end == cut) || *end == cut + 1),
            "cut at {cut}"
        );
        let mut record = shelf.store.open(&named("a")).unwrap();
        record.append(note("after"), now()).unwrap();
        drop(record);
        let kept = shelf.store.read(&named("a")).unwrap();
        let mut wanted = texts[..safe].to_vec();
        wanted.push("after");
        assert_eq!(notes(&kept.case), wanted, "cut at {cut}");
        assert!(kept.remarks.is_empty(), "the torn tail is gone: {:?}", kept.remarks);
    }
    for cut in 0..header - 1 {
        fs::write(shelf.file("a"), &whole[..cut]).unwrap();
        let error = shelf.store.read(&named("a")).unwrap_err();
        assert!(matches!(error, StoreError::Damaged { .. }), "{error}");
    }
}

#[test]
fn a_tail_of_zeros_after_a_power_cut_is_cut_off() {
    let shelf = Shelf::new();
    shelf.begin("a").append(note("one"), now()).unwrap();
    let mut bytes = fs::read(shelf.file("a")).unwrap();
    bytes.extend([0; 300]);
    fs::write(shelf.file("a"), bytes).unwrap();
    let mut record = shelf.store.open(&named("a")).unwrap();
    assert_eq!(record.recorded().remarks[0].line, 3);
    record.append(note("two"), now()).unwrap();
    let kept = shelf.store.read(&named("a")).unwrap();
    assert_eq!((notes(&kept.case), kept.remarks.len()), (vec!["one", "two"], 0));
}

#[test]
fn a_second_process_is_told_that_the_case_is_busy_and_may_still_look() {
    let shelf = Shelf::new();
    let mut record = shelf.begin("a");
    let error = shelf.store.open(&named("a")).unwrap_err();
    assert!(matches!(error, StoreError::Busy(_)), "{error}");
    record.append(note("one"), now()).unwrap();
    assert_eq!(notes(&shelf.store.read(&named("a")).unwrap().case), ["one"]);
    drop(record);
    assert!(shelf.store.open(&named("a")).is_ok());
}

#[test]
fn a_damaged_line_is_named_and_corrections_after_it_still_find_their_events() {
    let shelf = Shelf::new();
    let mut record = shelf.begin("a");
    for text in ["one", "two", "three"] {
        record.append(note(text), now()).unwrap();
    }
    let event = Event { at: None, by: None, what: What::Note("drei".into()) };
    record.append(Entry::Correct { index: 2, event }, now()).unwrap();
    drop(record);
    let text = fs::read_to_string(shelf.file("a")).unwrap();
    fs::write(
        shelf.file("a"),
        text.replacen("{\"at\":\"2026-11-25T14:30:00Z\",\"n\":0", "garbage \u{1b}[31m", 1),
    )
    .unwrap();
    let kept = shelf.store.read(&named("a")).unwrap();
    assert_eq!(notes(&kept.case), ["two", "drei"]);
    assert_eq!(kept.remarks.len(), 1);
    assert!(kept.remarks[0].to_string().starts_with("line 2: it is damaged"), "{}", kept.remarks[0]);
    let mut record = shelf.store.open(&named("a")).unwrap();
    record.append(note("four"), now()).unwrap();
    assert_eq!(notes(record.case()), ["two", "drei", "four"]);
    let listing = shelf.store.list().unwrap();
    assert!(listing.cases[0].damaged);
}

#[test]
fn what_a_later_program_wrote_is_left_in_place_and_the_rest_is_read() {
    let shelf = Shelf::new();
    drop(shelf.begin("a"));
    let mut text = fs::read_to_string(shelf.file("a")).unwrap();
    text.push_str("{\"at\":\"2026-11-25T15:00:00Z\",\"n\":0,\"event\":{\"note\":\"one\",\"mood\":\"glad\"},\"who\":7}\n");
    text.push_str("{\"n\":1,\"event\":{\"photo\":\"a.jpg\"}}\n{\"weather\":\"fair\"}\n\n");
    fs::write(shelf.file("a"), &text).unwrap();
    let mut record = shelf.store.open(&named("a")).unwrap();
    record.append(note("two"), now()).unwrap();
    let seen = notes(record.case());
    assert_eq!((seen[0], seen[2]), ("one", "two"));
    assert!(seen[1].contains("photo"), "{}", seen[1]);
    assert_eq!(record.recorded().remarks.iter().map(|r| r.line).collect::<Vec<_>>(), [3, 4]);
    assert!(fs::read_to_string(shelf.file("a")).unwrap().starts_with(&text), "nothing was rewritten");
    fs::write(shelf.file("a"), text.replacen("handlamp-record/1", "handlamp-record/9", 1)).unwrap();
    let error = shelf.store.read(&named("a")).unwrap_err();
    assert!(error.to_string().contains("it reads handlamp-record/1"), "{error}");
}

#[test]
fn bad_input_is_refused_and_the_file_stays_byte_for_byte() {
    let shelf = Shelf::new();
    let mut record = shelf.begin("a");
    let before = fs::read(shelf.file("a")).unwrap();
    let fills = Fills { unit: "g".into(), target: 250.0, values: vec![1.0], ..Fills::default() };
    let run = |fills: Fills| {
        let what = What::Reading {
            check: "weigh-a-run".into(),
            reading: Reading::Fills(fills),
            moment: Moment::Bad,
        };
        Entry::Event(Event { at: None, by: None, what })
    };
    let visit = |travel| Entry::Visit(Visit { travel, waiting: 0.0 });
    for (entry, says) in [
        (run(Fills { values: vec![f64::NAN], ..fills.clone() }), "null"),
        (run(Fills { values: Vec::new(), ..fills.clone() }), "without fills"),
        (run(Fills { target: -1.0, ..fills.clone() }), "above zero"),
        (run(Fills { unit: "V".into(), ..fills.clone() }), "voltage"),
        (run(Fills { values: vec![1.0; 400_000], ..fills }), "at most"),
        (visit(f64::INFINITY), "instrument"),
        (visit(-1.0), "below zero"),
        (Entry::Scale(ScaleFacts { division: Some(0.0), ..ScaleFacts::default() }), "above zero"),
        (Entry::Market("moon".into()), "not a market"),
        (Entry::Complaint(" \u{1b}[0m ".into()), "nothing in it"),
        (note(""), "an event is one of"),
        (Entry::Event(Event { at: None, by: Some("A B".into()), what: What::Note("x".into()) }), "not an id"),
        (
            Entry::Event(Event { at: Some("noon".into()), by: None, what: What::Note("x".into()) }),
            "not a time",
        ),
    ] {
        let error = record.append(entry.clone(), now()).unwrap_err();
        assert!(
            matches!(error, StoreError::Unfit(_)) && error.to_string().contains(says),
            "{entry:?}: {error}"
        );
        assert_eq!(fs::read(shelf.file("a")).unwrap(), before, "{entry:?}");
    }
    record.append(note("x"), now()).unwrap();
    assert_eq!(notes(record.case()), ["x"]);
}

#[test]
fn peoples_words_are_kept_harmless() {
    let shelf = Shelf::new();
    let mut record = shelf.begin("a");
    record.append(note(" red \u{1b}[31malert\u{7}\u{202e} "), now()).unwrap();
    assert_eq!(notes(record.case()), ["red alert"]);
    assert_eq!(shelf.store.read(&named("a")).unwrap().case, *record.case());
}

#[test]
fn a_closed_case_takes_nothing_until_it_is_continued() {
    let shelf = Shelf::new();
    let mut record = shelf.begin("a");
    record.append(Entry::Close(Closing::LeftOpen), now()).unwrap();
    for entry in [note("x"), Entry::Close(Closing::Cured)] {
        assert!(matches!(record.append(entry, now()).unwrap_err(), StoreError::Closed(_)));
    }
    record.append(Entry::Continue, now()).unwrap();
    record.append(note("x"), now()).unwrap();
    assert_eq!(record.case().closed, None);
}

#[test]
fn a_folder_that_cannot_be_written_is_said_so_and_nothing_is_left_behind() {
    let folder = tempfile::tempdir().unwrap();
    let taken = folder.path().join("taken");
    fs::write(&taken, "a file, not a folder").unwrap();
    let case = Case::of("single-tray-weigher".into());
    let error = Store::at(&taken).create(&case, &named("a"), now()).unwrap_err();
    assert!(matches!(error, StoreError::NotWritable { .. }), "{error}");
    assert_eq!(fs::read_to_string(&taken).unwrap(), "a file, not a folder");
}

#[cfg(unix)]
#[test]
fn a_read_only_folder_can_be_looked_at_and_not_changed() {
    use std::os::unix::fs::PermissionsExt;
    let shelf = Shelf::new();
    drop(shelf.begin("a"));
    let cases = shelf.folder.path().join("cases");
    let before = fs::read(shelf.file("a")).unwrap();
    let allow = |folder: u32, file: u32| {
        fs::set_permissions(shelf.file("a"), PermissionsExt::from_mode(file)).unwrap();
        fs::set_permissions(&cases, PermissionsExt::from_mode(folder)).unwrap();
    };
    allow(0o555, 0o444);
    // A superuser may write anywhere, so there is nothing to see then.
    if fs::write(cases.join("probe"), "").is_err() {
        let case = Case::of("single-tray-weigher".into());
        for error in [
            shelf.store.create(&case, &named("b"), now()).unwrap_err(),
            shelf.store.open(&named("a")).unwrap_err(),
        ] {
            assert!(matches!(error, StoreError::NotWritable { .. }), "{error}");
        }
        assert_eq!(fs::read_dir(&cases).unwrap().count(), 2, "the record and its lock");
    }
    assert!(shelf.store.read(&named("a")).is_ok());
    allow(0o755, 0o644);
    assert_eq!(fs::read(shelf.file("a")).unwrap(), before);
}

#[cfg(unix)]
#[test]
fn a_record_has_the_mode_of_any_file_of_the_user() {
    use std::os::unix::fs::PermissionsExt;
    let shelf = Shelf::new();
    drop(shelf.begin("a"));
    let plain = shelf.folder.path().join("plain");
    fs::write(&plain, "").unwrap();
    let mode = |path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    assert_eq!(mode(shelf.file("a")), mode(plain));
}

#[test]
fn a_case_is_found_by_its_id_or_the_nearest_is_named() {
    let shelf = Shelf::new();
    drop(shelf.begin("2026-11-25-001"));
    let case = Case::of("single-tray-weigher".into());
    let error = shelf.store.create(&case, &named("2026-11-25-001"), now()).unwrap_err();
    assert!(matches!(error, StoreError::Exists(_)), "{error}");
    for error in [
        shelf.store.read(&named("2026-11-52-001")).unwrap_err(),
        shelf.store.open(&named("2026-11-52-001")).unwrap_err(),
    ] {
        assert!(error.to_string().contains("did you mean 2026-11-25-001?"), "{error}");
    }
}

#[test]
fn the_list_is_sorted_and_one_ruined_record_does_not_hide_the_others() {
    let shelf = Shelf::new();
    assert!(shelf.store.list().unwrap().cases.is_empty(), "a store that is not there yet is empty");
    assert_eq!(shelf.store.latest_open().unwrap(), None);
    let day = jiff::civil::date(2026, 11, 25);
    assert_eq!(shelf.store.fresh_id(day).unwrap().as_str(), "2026-11-25-001");
    for id in ["2026-11-25-002", "2026-11-25-001", "2026-11-24-007"] {
        drop(shelf.begin(id));
    }
    assert_eq!(shelf.store.fresh_id(day).unwrap().as_str(), "2026-11-25-003");
    fs::write(shelf.file("ruin"), "nothing\n").unwrap();
    fs::write(shelf.file("../stray"), "not in the folder of cases\n").unwrap();
    let later = "2026-11-26T08:00:00Z".parse().unwrap();
    shelf.store.open(&named("2026-11-24-007")).unwrap().append(note("x"), later).unwrap();
    let latest = shelf.store.latest_open().unwrap().unwrap();
    assert_eq!((latest.id.as_str(), latest.events), ("2026-11-24-007", 1));
    shelf.store.open(&latest.id).unwrap().append(Entry::Close(Closing::Cured), later).unwrap();
    assert_eq!(shelf.store.latest_open().unwrap().unwrap().id.as_str(), "2026-11-25-002");
    let listing = shelf.store.list().unwrap();
    let ids: Vec<_> = listing.cases.iter().map(|case| case.id.as_str()).collect();
    assert_eq!(ids, ["2026-11-24-007", "2026-11-25-001", "2026-11-25-002"]);
    assert_eq!(listing.unreadable.len(), 1);
}

#[test]
fn a_record_changed_by_something_else_meanwhile_is_not_overwritten() {
    let shelf = Shelf::new();
    let mut record = shelf.begin("a");
    let mut text = fs::read_to_string(shelf.file("a")).unwrap();
    text.push_str("{\"complaint\":\"typed by hand\"}\n");
    fs::write(shelf.file("a"), &text).unwrap();
    let error = record.append(note("x"), now()).unwrap_err();
    assert!(matches!(error, StoreError::ChangedOutside(_)), "{error}");
    assert_eq!(fs::read_to_string(shelf.file("a")).unwrap(), text);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, ..ProptestConfig::default() })]

    #[test]
    fn any_case_is_kept_whole(case in cases()) {
        let shelf = Shelf::new();
        let record = shelf.store.create(&case, &named("a"), now()).unwrap();
        prop_assert_eq!(record.case(), &case);
        prop_assert_eq!(shelf.store.read(&named("a")).unwrap().case, case);
    }

    #[test]
    fn any_damage_leaves_what_is_not_damaged(
        events in proptest::collection::vec(event(), 1..6), text in words(), at in 0f64..1.0, byte in any::<u8>(),
    ) {
        let shelf = Shelf::new();
        let mut record = shelf.begin("a");
        let header = fs::read(shelf.file("a")).unwrap().len();
        for event in &events {
            record.append(Entry::Event(event.clone()), now()).unwrap();
        }
        record.append(Entry::Complaint(text), now()).unwrap();
        drop(record);
        let mut bytes = fs::read(shelf.file("a")).unwrap();
        let place = header + ((bytes.len() - header - 1) as f64 * at) as usize;
        bytes[place] = byte;
        fs::write(shelf.file("a"), bytes).unwrap();
        // One byte spoils one line, or two when it was the end between them.
        let kept = shelf.store.read(&named("a")).unwrap();
        prop_assert!(kept.case.events.len() + 2 >= events.len());
        let mut record = shelf.store.open(&named("a")).unwrap();
        if record.case().closed.is_none() {
            record.append(note("after"), now()).unwrap();
            prop_assert_eq!(&shelf.store.read(&named("a")).unwrap().case, record.case());
        }
    }
}
