//! Asking the index: a query from words, never from a query language, so that whatever a person types is a query.

use tantivy::collector::TopDocs;
use tantivy::query::{
    BooleanQuery, BoostQuery, ConstScoreQuery, DisjunctionMaxQuery, Occur, PhraseQuery, Query as Asked,
    TermQuery,
};
use tantivy::schema::{IndexRecordOption, Value};
use tantivy::{Searcher, TantivyDocument, Term};

use super::fit::{Closeness, SAME, SLIP, Sought};
use super::words::{Query, Same, Word, analyzer, query};
use super::{Hit, Index, Kind, Part, Proposal, SearchError};

/// How many are looked at closely before the best are handed out.
const CLOSE_LOOK: usize = 60;
/// A symptom that fits less than this share of how the best one does is not worth a question.
const WORTH_ASKING: f64 = 0.45;
/// How far apart, beyond the query's own distance, two words may stand to count as together.
const LOOSE: u32 = 2;
/// What the index's own score adds beside the close look; it knows of words that stand together.
const OF_INDEX: f64 = 0.5;
/// What the commonest adds; less than a word of the text, so that it only parts what fits equally well.
const OF_RATE: f64 = 0.15;
/// Causes a call that count as common through and through.
const COMMON: f64 = 0.1;

impl Index {
    /// The entries that fit the words, best first; none is an empty list.
    pub fn find(&self, query: &str, most: usize) -> Result<Vec<Hit>, SearchError> {
        self.ask(query, None, most)
    }

    /// The symptoms that the words of a complaint may mean, best first, each with the phrase that they fit.
    pub fn propose_symptoms(&self, complaint: &str) -> Result<Vec<Proposal>, SearchError> {
        let hits = self.ask(complaint, Some(Kind::Symptom), CLOSE_LOOK)?;
        let least = hits.first().map_or(0.0, |best| best.score * WORTH_ASKING);
        let hits = hits.into_iter().filter(|hit| hit.score >= least);
        let proposal = |hit: Hit| Proposal {
            symptom: hit.id.as_str().into(),
            score: hit.score,
            phrase: hit.matched.text,
        };
        Ok(hits.map(proposal).collect())
    }

    fn ask(&self, text: &str, only: Option<Kind>, most: usize) -> Result<Vec<Hit>, SearchError> {
        let query = query(text, &self.lexicon);
        if query.words.is_empty() || most == 0 {
            return Ok(Vec::new());
        }
        let searcher = self.reader.searcher();
        let sought = self.sought(&searcher, query)?;
        let limit = TopDocs::with_limit(CLOSE_LOOK).order_by_score();
        let found = searcher.search(&self.query(&sought, only), &limit)?;
        let top = found.first().map_or(1.0, |(score, _)| f64::from(*score)).max(f64::MIN_POSITIVE);
        let mut analyzer = analyzer();
        let mut hits = Vec::new();
        for (score, at) in found {
            let doc: TantivyDocument = searcher.doc(at)?;
            let mut closeness = Closeness::new(&sought, &mut analyzer);
            hits.extend(self.hit(&doc, &mut closeness, f64::from(score) / top));
        }
        hits.sort_by(|a, b| b.score.total_cmp(&a.score).then_with(|| (a.kind, &a.id).cmp(&(b.kind, &b.id))));
        hits.truncate(most);
        Ok(hits)
    }

    /// Weighs the words: one that few entries have says more, and one that none has may be a slip.
    fn sought(&self, searcher: &Searcher, query: Query) -> Result<Sought, SearchError> {
        let all = searcher.num_docs().max(1) as f64;
        let mut weights = Vec::new();
        let mut meant = Vec::new();
        for word in &query.words {
            let mut holding = 0;
            for part in Part::ALL {
                let term = Term::from_field_text(self.fields.part(part), &word.stem);
                holding = holding.max(searcher.doc_freq(&term)?);
            }
            let rarity =
                ((1.0 + all) / (1.0 + holding as f64)).ln() / (1.0 + all).ln().max(f64::MIN_POSITIVE);
            weights.push(f64::from(word.weight) * rarity.max(0.1));
            meant.push(if holding == 0 { self.lexicon.meant(&word.typed) } else { Vec::new() });
        }
        Ok(Sought { query, weights, meant })
    }

    fn query(&self, sought: &Sought, only: Option<Kind>) -> BooleanQuery {
        let Query { words, same } = &sought.query;
        let weight = |same: &Same| SAME as f32 / same.stems.len() as f32;
        // One word by its own stem or by one that means the same: the better counts, not both.
        let each = words.iter().zip(&sought.meant).enumerate().map(|(place, (word, meant))| {
            let others = same.iter().filter(|same| same.stems.len() == 1 && same.at == [place]);
            let others = others.map(|same| self.exact(&same.stems[0], weight(same) * word.weight));
            let meant = meant.iter().map(|stem| self.exact(stem, SLIP as f32 * word.weight));
            let own = std::iter::once(self.exact(&word.stem, word.weight));
            let ways: Vec<_> = own.chain(meant).chain(others).collect();
            let best: Box<dyn Asked> = Box::new(DisjunctionMaxQuery::new(ways));
            (Occur::Should, best)
        });
        let longer = same.iter().filter(|same| same.stems.len() > 1 || same.at.len() > 1);
        let same = longer.flat_map(|same| same.stems.iter().map(move |stem| (stem, weight(same))));
        let same = same.map(|(stem, weight)| (Occur::Should, self.exact(stem, weight)));
        let together = words.windows(2).flat_map(|pair| self.together(&pair[0], &pair[1]));
        let fits = BooleanQuery::new(each.chain(same).chain(together).collect());
        let Some(kind) = only else { return fits };
        let of_kind =
            TermQuery::new(Term::from_field_text(self.fields.kind, kind.as_str()), IndexRecordOption::Basic);
        let of_kind: Box<dyn Asked> = Box::new(ConstScoreQuery::new(Box::new(of_kind), 0.0));
        BooleanQuery::new(vec![(Occur::Must, of_kind), (Occur::Must, Box::new(fits))])
    }

    /// A stem in any of the texts.
    fn exact(&self, stem: &str, weight: f32) -> Box<dyn Asked> {
        let way = |part: Part| -> Box<dyn Asked> {
            let term = Term::from_field_text(self.fields.part(part), stem);
            let exact = TermQuery::new(term, IndexRecordOption::WithFreqs);
            Box::new(BoostQuery::new(Box::new(exact), part.boost() * weight))
        };
        Box::new(DisjunctionMaxQuery::with_tie_breaker(Part::ALL.map(way).into(), 0.1))
    }

    /// Two neighbouring words of the query close to each other in how callers say it or in a title.
    fn together(&self, a: &Word, b: &Word) -> Vec<(Occur, Box<dyn Asked>)> {
        if b.position <= a.position {
            return Vec::new();
        }
        let apart = b.position - a.position;
        let phrase = |part: Part, boost: f32| -> (Occur, Box<dyn Asked>) {
            let field = self.fields.part(part);
            let term = |word: &Word| Term::from_field_text(field, &word.stem);
            let terms = vec![(0, term(a)), (apart, term(b))];
            let phrase = PhraseQuery::new_with_offset_and_slop(terms, LOOSE);
            (Occur::Should, Box::new(BoostQuery::new(Box::new(phrase), boost)))
        };
        vec![phrase(Part::Said, 1.5), phrase(Part::Title, 1.0)]
    }

    /// Looks closely at one entry: which text fits best, how much of the query it holds, what kind it is, how common.
    fn hit(&self, doc: &TantivyDocument, closeness: &mut Closeness<'_>, of_index: f64) -> Option<Hit> {
        let text = |field| doc.get_first(field).and_then(|v| v.as_str()).map(str::to_owned);
        let kind = text(self.fields.kind)?;
        let kind = *Kind::ALL.iter().find(|k| k.as_str() == kind)?;
        let id = text(self.fields.id)?;
        let title = text(self.fields.part(Part::Title)).unwrap_or_else(|| id.clone());
        for part in Part::ALL {
            for value in doc.get_all(self.fields.part(part)).filter_map(|v| v.as_str()) {
                closeness.look(part, value);
            }
        }
        let (fits, matched) = closeness.best()?;
        let common = doc.get_first(self.fields.common).and_then(|v| v.as_f64()).unwrap_or(0.0);
        let common = (common / COMMON).min(1.0).sqrt();
        let score = (fits + OF_INDEX * of_index) * weight(kind) * (1.0 + OF_RATE * common);
        Some(Hit { kind, id, title, score, matched })
    }
}

/// A complaint should find symptoms before what merely mentions the same words.
fn weight(kind: Kind) -> f64 {
    match kind {
        Kind::Symptom => 1.45,
        Kind::Condition | Kind::Cause => 1.1,
        Kind::Check | Kind::Circumstance | Kind::Machine | Kind::Setting | Kind::Sign => 1.0,
        Kind::Remedy => 0.95,
        Kind::Caution | Kind::Rule | Kind::Lesson => 0.9,
    }
}
