//! The memory of closed cases: full text over what callers said, kept beside the search index and brought up to date by what
//! was closed since. Derived: deleting it is always safe.

use std::path::Path;

use tantivy::collector::TopDocs;
use tantivy::query::{BooleanQuery, BoostQuery, Occur, Query, TermQuery};
use tantivy::schema::{
    Field, IndexRecordOption, STORED, STRING, Schema, TextFieldIndexing, TextOptions, Value,
};
use tantivy::{Index, IndexReader, ReloadPolicy, TantivyDocument, Term};

use super::SearchError;
use super::words::analyzer;

/// Raised whenever fields or analyzer change, so that an older memory is not used.
const SHAPE: u32 = 2;
const ANALYZER: &str = "handlamp";
/// Marks what was cured.
const GONE: &str = "gone";
const MEMORY: usize = 40_000_000;
/// So many documents are looked through to put the newest first.
const LOOKED_THROUGH: usize = 200;
/// A shared symptom counts as much as several words.
const SYMPTOM: f32 = 6.0;

/// A closed case, as it is remembered.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Past {
    /// Its id.
    pub id: String,
    /// Its machine.
    pub machine: String,
    /// The machine's serial number, where it is known.
    pub serial: Option<String>,
    /// What the caller said.
    pub complaint: String,
    /// The product.
    pub product: String,
    /// Symptoms that were confirmed.
    pub symptoms: Vec<String>,
    /// The remedy that took the complaint away; none when nothing did.
    pub cured_by: Option<String>,
    /// The day it began, as 2026-11-25.
    pub day: String,
}

#[derive(Debug, Clone, Copy)]
struct Fields {
    id: Field,
    machine: Field,
    serial: Field,
    symptom: Field,
    cured_by: Field,
    /// A word that stands there when the complaint went away.
    gone: Field,
    day: Field,
    complaint: Field,
    product: Field,
}

/// The memory of one store.
pub struct Memory {
    index: Index,
    reader: IndexReader,
    fields: Fields,
    /// How far the list of closings was read.
    read: u64,
}

fn schema() -> (Schema, Fields) {
    let mut builder = Schema::builder();
    let words =
        TextFieldIndexing::default().set_tokenizer(ANALYZER).set_index_option(IndexRecordOption::WithFreqs);
    let text = TextOptions::default().set_indexing_options(words).set_stored();
    let fields = Fields {
        id: builder.add_text_field("id", STRING | STORED),
        machine: builder.add_text_field("machine", STRING | STORED),
        serial: builder.add_text_field("serial", STRING | STORED),
        symptom: builder.add_text_field("symptom", STRING | STORED),
        cured_by: builder.add_text_field("cured_by", STRING | STORED),
        gone: builder.add_text_field("gone", STRING),
        day: builder.add_text_field("day", STRING | STORED),
        complaint: builder.add_text_field("complaint", text.clone()),
        product: builder.add_text_field("product", text),
    };
    (builder.build(), fields)
}

impl Memory {
    /// Opens the memory under this folder, or begins an empty one there. One that cannot be used is begun anew.
    pub fn open(cache: &Path) -> Result<Self, SearchError> {
        let place = cache.join(format!("past-{SHAPE}"));
        let there = Index::open_in_dir(&place).ok().filter(|index| index.schema() == schema().0);
        let index = if let Some(index) = there {
            index
        } else {
            let _ = std::fs::remove_dir_all(&place);
            std::fs::create_dir_all(&place).map_err(tantivy::TantivyError::from)?;
            Index::create_in_dir(&place, schema().0)?
        };
        index.tokenizers().register(ANALYZER, analyzer());
        let read = index.load_metas()?.payload.and_then(|text| text.parse().ok()).unwrap_or(0);
        let reader = index.reader_builder().reload_policy(ReloadPolicy::Manual).try_into()?;
        Ok(Self { index, reader, fields: schema().1, read })
    }

    /// How far the list of closings was read when it was last brought up to date, in bytes.
    pub fn read_to(&self) -> u64 {
        self.read
    }

    /// Whether nothing is remembered.
    pub fn is_empty(&self) -> bool {
        self.reader.searcher().num_docs() == 0
    }

    /// How many cases are remembered.
    pub fn cases(&self) -> u64 {
        self.reader.searcher().num_docs()
    }

    /// Takes cases in, each in place of what was remembered under its id; the list of closings is read up to here then.
    /// While another process does the same, nothing is changed, and the next one catches up.
    pub fn take(&mut self, cases: impl Iterator<Item = Past>, read_to: u64) -> Result<(), SearchError> {
        let mut writer = match self.index.writer_with_num_threads(1, MEMORY) {
            Ok(writer) => writer,
            Err(tantivy::TantivyError::LockFailure(..)) => return Ok(()),
            Err(other) => return Err(other.into()),
        };
        let fields = self.fields;
        let fresh = self.is_empty();
        for case in cases {
            if !fresh {
                writer.delete_term(Term::from_field_text(fields.id, &case.id));
            }
            let mut doc = TantivyDocument::default();
            doc.add_text(fields.id, &case.id);
            doc.add_text(fields.machine, &case.machine);
            doc.add_text(fields.day, &case.day);
            doc.add_text(fields.complaint, &case.complaint);
            doc.add_text(fields.product, &case.product);
            case.serial.iter().for_each(|serial| doc.add_text(fields.serial, serial));
            case.symptoms.iter().for_each(|symptom| doc.add_text(fields.symptom, symptom));
            if let Some(remedy) = &case.cured_by {
                doc.add_text(fields.cured_by, remedy);
                doc.add_text(fields.gone, GONE);
            }
            writer.add_document(doc)?;
        }
        let mut commit = writer.prepare_commit()?;
        commit.set_payload(&read_to.to_string());
        commit.commit()?;
        writer.wait_merging_threads()?;
        self.reader.reload()?;
        self.read = read_to;
        Ok(())
    }

    fn term(field: Field, text: &str) -> Box<dyn Query> {
        Box::new(TermQuery::new(Term::from_field_text(field, text), IndexRecordOption::Basic))
    }

    /// The words of a text, each of which counts.
    fn words(&self, text: &str) -> Vec<(Occur, Box<dyn Query>)> {
        let mut analyzer = analyzer();
        let text: String = text.chars().take(super::LONGEST_QUERY).collect();
        let mut stream = analyzer.token_stream(&text);
        let mut words = Vec::new();
        while let Some(token) = stream.next() {
            for field in [self.fields.complaint, self.fields.product] {
                let term = Term::from_field_text(field, &token.text);
                words.push((
                    Occur::Should,
                    Box::new(TermQuery::new(term, IndexRecordOption::WithFreqs)) as Box<dyn Query>,
                ));
            }
        }
        words
    }

    fn found(&self, query: &dyn Query, most: usize) -> Result<Vec<Past>, SearchError> {
        let searcher = self.reader.searcher();
        let docs = searcher.search(query, &TopDocs::with_limit(most.max(1)).order_by_score())?;
        let text = |doc: &TantivyDocument, field| {
            doc.get_first(field).and_then(|value| value.as_str()).map(str::to_owned)
        };
        docs.into_iter()
            .map(|(_, address)| {
                let doc: TantivyDocument = searcher.doc(address)?;
                Ok(Past {
                    id: text(&doc, self.fields.id).unwrap_or_default(),
                    machine: text(&doc, self.fields.machine).unwrap_or_default(),
                    serial: text(&doc, self.fields.serial),
                    complaint: text(&doc, self.fields.complaint).unwrap_or_default(),
                    product: text(&doc, self.fields.product).unwrap_or_default(),
                    symptoms: doc
                        .get_all(self.fields.symptom)
                        .filter_map(|value| value.as_str().map(str::to_owned))
                        .collect(),
                    cured_by: text(&doc, self.fields.cured_by),
                    day: text(&doc, self.fields.day).unwrap_or_default(),
                })
            })
            .collect()
    }

    /// Cases that fit these words, the best first.
    pub fn find(&self, words: &str, most: usize) -> Result<Vec<Past>, SearchError> {
        let words = self.words(words);
        if words.is_empty() { Ok(Vec::new()) } else { self.found(&BooleanQuery::new(words), most) }
    }

    /// Cases of this very machine, the newest first.
    pub fn before(&self, machine: &str, serial: &str, most: usize) -> Result<Vec<Past>, SearchError> {
        let query = BooleanQuery::new(vec![
            (Occur::Must, Self::term(self.fields.machine, machine)),
            (Occur::Must, Self::term(self.fields.serial, serial)),
        ]);
        let mut found = self.found(&query, LOOKED_THROUGH)?;
        found.sort_by(|a, b| (&b.day, &b.id).cmp(&(&a.day, &a.id)));
        found.truncate(most);
        Ok(found)
    }

    /// Cured cases of this kind of machine that share a symptom, the nearest in words first.
    pub fn like(
        &self,
        machine: &str,
        symptoms: &[String],
        words: &str,
        most: usize,
    ) -> Result<Vec<Past>, SearchError> {
        if symptoms.is_empty() {
            return Ok(Vec::new());
        }
        let shared = symptoms.iter().map(|symptom| {
            let query = BoostQuery::new(Self::term(self.fields.symptom, symptom), SYMPTOM);
            (Occur::Should, Box::new(query) as Box<dyn Query>)
        });
        let mut parts: Vec<(Occur, Box<dyn Query>)> = vec![
            (Occur::Must, Self::term(self.fields.machine, machine)),
            (Occur::Must, Self::term(self.fields.gone, GONE)),
            (Occur::Must, Box::new(BooleanQuery::new(shared.collect()))),
        ];
        parts.extend(self.words(words));
        self.found(&BooleanQuery::new(parts), most)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn past(id: &str, serial: &str, complaint: &str, cured_by: Option<&str>) -> Past {
        Past {
            id: id.to_owned(),
            machine: "tray-filler".to_owned(),
            serial: Some(serial.to_owned()),
            complaint: complaint.to_owned(),
            product: "millet".to_owned(),
            symptoms: vec!["fills-light".to_owned()],
            cured_by: cured_by.map(str::to_owned),
            day: id[..10].to_owned(),
        }
    }

    #[test]
    fn what_was_closed_is_found_by_words_by_machine_and_by_symptom_and_only_once() {
        let folder = tempfile::tempdir().unwrap();
        let mut memory = Memory::open(folder.path()).unwrap();
        assert!(memory.is_empty() && memory.read_to() == 0);
        let first = past("2026-11-01-001", "L1", "bags come up short", Some("lower"));
        let second = past("2026-11-02-001", "L2", "short again since the oil", None);
        memory.take([first.clone(), second.clone()].into_iter(), 30).unwrap();
        assert_eq!(memory.find("come short", 3).unwrap(), [first.clone(), second.clone()]);
        assert_eq!(memory.before("tray-filler", "L2", 3).unwrap(), [second]);
        let like = memory.like("tray-filler", &["fills-light".to_owned()], "oil", 3).unwrap();
        assert_eq!(like, std::slice::from_ref(&first), "only what was cured");
        let again = Past { complaint: "bags far too short".to_owned(), ..first };
        memory.take(std::iter::once(again.clone()), 45).unwrap();
        let memory = Memory::open(folder.path()).unwrap();
        assert_eq!((memory.read_to(), memory.cases()), (45, 2));
        assert_eq!(memory.find("far", 3).unwrap(), [again]);
    }
}
