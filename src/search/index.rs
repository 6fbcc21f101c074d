//! The index on disk: one folder for each knowledge, named by its hash; built beside and moved into place whole.

use std::path::{Path, PathBuf};
use std::time::Duration;

use tantivy::collector::TopDocs;
use tantivy::query::TermQuery;
use tantivy::schema::{
    Field, IndexRecordOption, STORED, STRING, Schema, TextFieldIndexing, TextOptions, Value,
};
use tantivy::{IndexReader, ReloadPolicy, TantivyDocument, Term};

use super::words::analyzer;
use super::{Book, Doc, Lexicon, Part, SearchError};

/// Raised whenever fields, analyzer or stored texts change, so that an older index is not used.
const SHAPE: u32 = 4;
/// How many other indexes are kept: a folder laid over the built-in knowledge has one of its own.
const KEPT: usize = 3;
/// An unfinished index this much older than ours was left behind by a process that died.
const ABANDONED: Duration = Duration::from_secs(3600);
const ANALYZER: &str = "handlamp";
/// Kind of the document that holds the words of callers; no entry is of it.
const WORDS: &str = "words";
const MEMORY: usize = 15_000_000;

/// An index ready to be asked.
pub struct Index {
    pub(super) reader: IndexReader,
    pub(super) fields: Fields,
    pub(super) lexicon: Lexicon,
    on_disk: bool,
}

/// The fields of the index.
#[derive(Debug, Clone)]
pub(super) struct Fields {
    pub(super) kind: Field,
    pub(super) id: Field,
    /// How common what it is about is.
    pub(super) common: Field,
    words: Field,
    parts: Vec<(Part, Field)>,
}

impl Fields {
    /// The field of a part.
    pub(super) fn part(&self, part: Part) -> Field {
        self.parts.iter().find(|(p, _)| *p == part).map_or(self.id, |(_, field)| *field)
    }
}

impl Index {
    /// Opens the index of this knowledge, or builds it: in `dir` where that can be written, else in memory.
    ///
    /// `book` is called only when there is something to build, so a warm start reads no entry. A broken index is
    /// built again; indexes of other knowledge are removed but for a few.
    pub fn open_or_build(
        dir: Option<&Path>,
        hash: &str,
        book: impl FnOnce() -> Book,
    ) -> Result<Self, SearchError> {
        let place = dir.and_then(|dir| Some((dir, place(dir, hash)?)));
        let Some((dir, place)) = place else { return Self::in_memory(book()) };
        if let Some(index) = Self::open(&place) {
            return Ok(index);
        }
        let book = book();
        match Self::build_beside(dir, &place, &book) {
            Some(index) => Ok(index),
            None => Self::in_memory(book),
        }
    }

    /// The index of this knowledge if it is there: whoever must read entries first, to build it, asks this first.
    pub fn there(dir: &Path, hash: &str) -> Option<Self> {
        Self::open(&place(dir, hash)?)
    }

    /// An index that nothing is written for.
    pub fn in_memory(book: Book) -> Result<Self, SearchError> {
        let (schema, _) = schema();
        let index = tantivy::Index::create_in_ram(schema);
        fill(&index, &book)?;
        Self::over(&index, book.lexicon, false)
    }

    /// Whether it is read from disk.
    pub fn is_on_disk(&self) -> bool {
        self.on_disk
    }

    /// `None` when it is not there, of another shape, unfinished or damaged.
    fn open(place: &Path) -> Option<Self> {
        let index = tantivy::Index::open_in_dir(place).ok()?;
        let sound = index.schema() == schema().0 && index.validate_checksum().is_ok_and(|bad| bad.is_empty());
        let written = index.load_metas().ok()?.payload?.parse::<u64>().ok()?;
        let mut this = Self::over(&index, Lexicon::default(), true).ok()?;
        this.lexicon = this.words()?;
        (sound && this.reader.searcher().num_docs() == written).then_some(this)
    }

    /// The words of callers, which stand in a document of their own.
    fn words(&self) -> Option<Lexicon> {
        let searcher = self.reader.searcher();
        let kind = Term::from_field_text(self.fields.kind, WORDS);
        let asked = TermQuery::new(kind, IndexRecordOption::Basic);
        let found = searcher.search(&asked, &TopDocs::with_limit(1).order_by_score()).ok()?;
        let words: TantivyDocument = searcher.doc(found.first()?.1).ok()?;
        Lexicon::read(words.get_first(self.fields.words)?.as_str()?)
    }

    fn over(index: &tantivy::Index, lexicon: Lexicon, on_disk: bool) -> Result<Self, SearchError> {
        index.tokenizers().register(ANALYZER, analyzer());
        let reader = index.reader_builder().reload_policy(ReloadPolicy::Manual).try_into()?;
        Ok(Self { reader, fields: schema().1, lexicon, on_disk })
    }

    /// Builds in a folder beside and moves it into place. `None` when the folder cannot be written.
    fn build_beside(dir: &Path, place: &Path, book: &Book) -> Option<Self> {
        std::fs::create_dir_all(dir).ok()?;
        let beside = tempfile::Builder::new().prefix(".building-").tempdir_in(dir).ok()?;
        let index = tantivy::Index::create_in_dir(beside.path(), schema().0).ok()?;
        fill(&index, book).ok()?;
        drop(index);
        if std::fs::rename(beside.path(), place).is_err() {
            // Another process was first, or what is there is broken. Never deleted blindly: opened first.
            if let Some(theirs) = Self::open(place) {
                return Some(theirs);
            }
            std::fs::remove_dir_all(place).ok()?;
            std::fs::rename(beside.path(), place).ok()?;
        }
        // It has moved; there is nothing left to delete under the old name.
        let _ = beside.keep();
        let index = Self::open(place)?;
        sweep(dir, place);
        Some(index)
    }
}

/// Where the index of a knowledge stands; `None` for a hash that is none.
fn place(dir: &Path, hash: &str) -> Option<PathBuf> {
    let plain = !hash.is_empty() && hash.chars().all(|c| c.is_ascii_alphanumeric());
    plain.then(|| dir.join(format!("search-{SHAPE}-{hash}")))
}

/// Fields and their numbers; the same on every call.
fn schema() -> (Schema, Fields) {
    let mut builder = Schema::builder();
    let words = TextFieldIndexing::default()
        .set_tokenizer(ANALYZER)
        .set_index_option(IndexRecordOption::WithFreqsAndPositions);
    let text = TextOptions::default().set_indexing_options(words).set_stored();
    let kind = builder.add_text_field("kind", STRING | STORED);
    let id = builder.add_text_field("id", STRING | STORED);
    let common = builder.add_f64_field("common", STORED);
    let words_of_callers = builder.add_text_field("words", STORED);
    let parts = Part::ALL.map(|part| (part, builder.add_text_field(part_field(part), text.clone()))).to_vec();
    (builder.build(), Fields { kind, id, common, words: words_of_callers, parts })
}

fn part_field(part: Part) -> &'static str {
    match part {
        Part::Name => "name",
        other => other.as_str(),
    }
}

/// Writes every document and the words of callers in one segment, with their number beside the commit as a sign that
/// it is whole.
fn fill(index: &tantivy::Index, book: &Book) -> Result<(), SearchError> {
    index.tokenizers().register(ANALYZER, analyzer());
    let fields = schema().1;
    let mut writer = index.writer_with_num_threads(1, MEMORY)?;
    for doc in &book.docs {
        let Doc { kind, id, texts, common } = doc;
        let mut words = TantivyDocument::default();
        words.add_text(fields.kind, kind.as_str());
        words.add_text(fields.id, id);
        if let Some(common) = common {
            words.add_f64(fields.common, *common);
        }
        for (part, text) in texts {
            words.add_text(fields.part(*part), text);
        }
        writer.add_document(words)?;
    }
    let mut words = TantivyDocument::default();
    words.add_text(fields.kind, WORDS);
    words.add_text(fields.words, book.lexicon.written());
    writer.add_document(words)?;
    let mut commit = writer.prepare_commit()?;
    commit.set_payload(&(book.docs.len() + 1).to_string());
    commit.commit()?;
    writer.wait_merging_threads()?;
    Ok(())
}

/// Removes the oldest other indexes and what dead processes left. Ages are compared with our own new folder's, so no
/// clock is read; what cannot be removed is left for the next time.
fn sweep(dir: &Path, ours: &Path) {
    let modified = |path: &Path| std::fs::metadata(path).and_then(|m| m.modified()).ok();
    let (Ok(entries), Some(now)) = (std::fs::read_dir(dir), modified(ours)) else { return };
    let mut others = Vec::new();
    for path in entries.filter_map(Result::ok).map(|e| e.path()).filter(|p| p != ours) {
        let name = path.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
        let Some(at) = modified(&path) else { continue };
        let abandoned = now.duration_since(at).is_ok_and(|age| age > ABANDONED);
        if name.starts_with(".building-") && abandoned {
            remove(&path);
        } else if name.starts_with("search-") {
            others.push((at, path));
        }
    }
    others.sort();
    let surplus = others.len().saturating_sub(KEPT);
    others.iter().take(surplus).for_each(|(_, path)| remove(path));
}

fn remove(path: &PathBuf) {
    let _ = std::fs::remove_dir_all(path);
}
