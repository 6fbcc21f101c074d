//! Asking the index: a query from words, never from a query language, so that whatever a person types is a query.

use tantivy::collector::TopDocs;
use tantivy::query::{
    BooleanQuery, BoostQuery, ConstScoreQuery, DisjunctionMaxQuery, FuzzyTermQuery, Occur, PhraseQuery,
    Query, TermQuery,
};
use tantivy::schema::{IndexRecordOption, Value};
use tantivy::tokenizer::TextAnalyzer;
use tantivy::{TantivyDocument, Term};

use super::words::{Word, analyzer, query_words, stems};
use super::{Hit, Index, Kind, Matched, Part, Proposal, SearchError};

/// A word with a slip in it counts this much of an exact one.
const SLIP: f32 = 0.4;
/// How many are looked at closely before the best are handed out.
const CLOSE_LOOK: usize = 60;
/// A symptom that fits less than this share of how the best one does is not worth a question.
const WORTH_ASKING: f64 = 0.2;
/// How far apart, beyond the query's own distance, two words may stand to count as together.
const LOOSE: u32 = 2;

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

    fn ask(&self, query: &str, only: Option<Kind>, most: usize) -> Result<Vec<Hit>, SearchError> {
        let words = query_words(query);
        if words.is_empty() || most == 0 {
            return Ok(Vec::new());
        }
        let searcher = self.reader.searcher();
        let found =
            searcher.search(&self.query(&words, only), &TopDocs::with_limit(CLOSE_LOOK).order_by_score())?;
        let mut analyzer = analyzer();
        let mut hits = Vec::new();
        for (score, at) in found {
            let doc: TantivyDocument = searcher.doc(at)?;
            hits.extend(self.hit(&mut analyzer, &doc, &words, f64::from(score)));
        }
        hits.sort_by(|a, b| b.score.total_cmp(&a.score).then_with(|| (a.kind, &a.id).cmp(&(b.kind, &b.id))));
        hits.truncate(most);
        Ok(hits)
    }

    fn query(&self, words: &[Word], only: Option<Kind>) -> BooleanQuery {
        let each = words.iter().map(|word| (Occur::Should, self.word(word)));
        let together = words.windows(2).flat_map(|pair| self.together(&pair[0], &pair[1]));
        let fits = BooleanQuery::new(each.chain(together).collect());
        let Some(kind) = only else { return fits };
        let of_kind =
            TermQuery::new(Term::from_field_text(self.fields.kind, kind.as_str()), IndexRecordOption::Basic);
        let of_kind: Box<dyn Query> = Box::new(ConstScoreQuery::new(Box::new(of_kind), 0.0));
        BooleanQuery::new(vec![(Occur::Must, of_kind), (Occur::Must, Box::new(fits))])
    }

    /// One word in any of the texts: by its exact stem, or with a slip for less.
    fn word(&self, word: &Word) -> Box<dyn Query> {
        let mut ways: Vec<Box<dyn Query>> = Vec::new();
        for part in Part::ALL {
            let term = Term::from_field_text(self.fields.part(part), &word.stem);
            let exact = TermQuery::new(term.clone(), IndexRecordOption::WithFreqs);
            ways.push(Box::new(BoostQuery::new(Box::new(exact), part.boost() * word.weight)));
            if word.slips() > 0 {
                // Its score is the same for every hit, where an exact one's follows how rare the word is.
                let near = FuzzyTermQuery::new(term, word.slips(), true);
                ways.push(Box::new(BoostQuery::new(Box::new(near), SLIP * part.boost() * word.weight)));
            }
        }
        Box::new(DisjunctionMaxQuery::with_tie_breaker(ways, 0.1))
    }

    /// Two neighbouring words of the query close to each other in how callers say it or in a title.
    fn together(&self, a: &Word, b: &Word) -> Vec<(Occur, Box<dyn Query>)> {
        if b.position <= a.position {
            return Vec::new();
        }
        let apart = b.position - a.position;
        let phrase = |part: Part, boost: f32| -> (Occur, Box<dyn Query>) {
            let field = self.fields.part(part);
            let term = |word: &Word| Term::from_field_text(field, &word.stem);
            let terms = vec![(0, term(a)), (apart, term(b))];
            let phrase = PhraseQuery::new_with_offset_and_slop(terms, LOOSE);
            (Occur::Should, Box::new(BoostQuery::new(Box::new(phrase), boost)))
        };
        vec![phrase(Part::Said, 1.5), phrase(Part::Title, 1.0)]
    }

    /// Looks closely at one entry: which text fits best, how many of the words it holds, what kind it is.
    fn hit(
        &self,
        analyzer: &mut TextAnalyzer,
        doc: &TantivyDocument,
        words: &[Word],
        score: f64,
    ) -> Option<Hit> {
        let text = |field| doc.get_first(field).and_then(|v| v.as_str()).map(str::to_owned);
        let kind = text(self.fields.kind)?;
        let kind = *Kind::ALL.iter().find(|k| k.as_str() == kind)?;
        let id = text(self.fields.id)?;
        let title = text(self.fields.part(Part::Title)).unwrap_or_else(|| id.clone());
        let mut best: Option<(f64, Matched)> = None;
        let mut anywhere = vec![0.0_f64; words.len()];
        for part in Part::ALL {
            for value in doc.get_all(self.fields.part(part)) {
                let Some(value) = value.as_str() else { continue };
                let fits = fit(analyzer, value, words);
                anywhere.iter_mut().zip(&fits).for_each(|(all, this)| *all = all.max(*this));
                let sum: f64 = fits.iter().sum();
                if sum > best.as_ref().map_or(0.0, |(most, _)| *most) {
                    let hit = words.iter().zip(&fits).filter(|(_, fit)| **fit > 0.0);
                    let mut typed: Vec<String> = hit.map(|(word, _)| word.typed.clone()).collect();
                    typed.dedup();
                    best = Some((sum, Matched { part, text: value.to_owned(), words: typed }));
                }
            }
        }
        let (in_one_text, matched) = best?;
        let own = words.iter().filter(|w| w.weight >= 1.0).count().max(1) as f64;
        let cover = (anywhere.iter().sum::<f64>() / own).min(1.0);
        let close = (in_one_text / own).min(1.0);
        let score = score * weight(kind) * (0.5 + 0.5 * cover) * (1.0 + close);
        Some(Hit { kind, id, title, score, matched })
    }
}

/// A complaint should find symptoms before what merely mentions the same words.
fn weight(kind: Kind) -> f64 {
    match kind {
        Kind::Symptom => 1.4,
        Kind::Condition | Kind::Cause => 1.1,
        Kind::Check | Kind::Circumstance | Kind::Machine | Kind::Setting => 1.0,
        Kind::Remedy => 0.95,
        Kind::Caution => 0.9,
    }
}

/// How far each word of the query is in a text: its weight, less with a slip, nothing when it is not there.
fn fit(analyzer: &mut TextAnalyzer, text: &str, words: &[Word]) -> Vec<f64> {
    let stems = stems(analyzer, text);
    let one = |word: &Word| {
        let exact = stems.iter().any(|(stem, _)| *stem == word.stem);
        let near = || {
            let slips = usize::from(word.slips());
            slips > 0 && stems.iter().any(|(stem, _)| strsim::osa_distance(stem, &word.stem) <= slips)
        };
        match (exact, exact || near()) {
            (true, _) => f64::from(word.weight),
            (_, true) => f64::from(word.weight) * 0.6,
            _ => 0.0,
        }
    };
    words.iter().map(one).collect()
}
