//! From files to trusted knowledge. Never stops at the first problem: every file and every problem in one run.

use std::collections::{BTreeMap, BTreeSet};
use std::hash::Hasher;
use std::path::{Path, PathBuf};

use super::entries;
use super::fields::{Fields, Reader};
use super::lesson;
use super::model::{FindingKind, How, Knowledge, Scale};
use super::resolve;
use super::rules;
use super::vocabulary;
use super::works;
use super::yaml::{self, Node};
use crate::diag::{self, Code, Diagnostic, FileId, Sources, Span};
use crate::ids;

/// The format of a knowledge folder's head file that this program reads.
pub const FORMAT: &str = "handlamp-knowledge/1";
/// The most files read from one folder.
const MOST_FILES: usize = 50_000;

static BUILT_IN: include_dir::Dir<'_> = include_dir::include_dir!("$CARGO_MANIFEST_DIR/knowledge");

/// The folders whose files are entries, one file an entry.
const KINDS: &[&str] = &[
    "machines",
    "circumstances",
    "symptoms",
    "conditions",
    "causes",
    "checks",
    "remedies",
    "cautions",
    "rules",
    "lessons",
];
/// Other files that are read.
const OTHERS: &[&str] = &[
    "knowledge.yaml",
    "sources.yaml",
    "words/scale.yaml",
    "words/house.yaml",
    "words/synonyms.yaml",
    "words/talk.yaml",
];

/// The texts of one knowledge, built-in and laid over, by path inside the folder.
#[derive(Debug, Clone, Default)]
pub struct Texts {
    /// Path inside the folder to the name shown and the text.
    files: BTreeMap<String, (String, String)>,
    /// Files that could not be read, found while gathering.
    problems: Vec<(String, String)>,
    /// Whether the built-in entries were left out.
    alone: bool,
}

impl Texts {
    /// The texts inside the binary.
    pub fn built_in() -> Self {
        let mut texts = Self::default();
        texts.gather(&BUILT_IN);
        texts
    }

    fn gather(&mut self, dir: &include_dir::Dir<'_>) {
        for file in dir.files() {
            let path = file.path().to_string_lossy().replace('\\', "/");
            if wanted(&path) {
                let text = file.contents_utf8().unwrap_or_default().to_owned();
                self.files.insert(path.clone(), (format!("built-in:{path}"), text));
            }
        }
        for inner in dir.dirs() {
            self.gather(inner);
        }
    }

    /// Lays a folder over these texts. With `base: none` in its head only the words stay: those for numbers, those
    /// of the house and those of callers.
    #[must_use]
    pub fn overlaid_by(mut self, folder: &Path) -> Self {
        let mut over = Self::default();
        if let Err(error) = over.read_folder(folder) {
            over.problems.push((folder.display().to_string(), error));
        }
        let alone = over.files.get("knowledge.yaml").is_some_and(|(_, text)| stands_alone(text));
        self.alone |= alone;
        if alone {
            self.files.retain(|path, _| path.starts_with("words/"));
        }
        self.files.extend(over.files);
        self.problems.extend(over.problems);
        self
    }

    fn read_folder(&mut self, folder: &Path) -> Result<(), String> {
        let meta = std::fs::metadata(folder).map_err(|e| yaml::not_read(&e))?;
        if !meta.is_dir() {
            return Err("this is not a folder".to_owned());
        }
        for path in OTHERS {
            let file = folder.join(path);
            if file.exists() {
                self.read_file(&file, path);
            }
        }
        for kind in KINDS {
            let inner = folder.join(kind);
            if inner.is_dir() {
                self.read_kind(&inner, kind)?;
            }
        }
        Ok(())
    }

    fn read_kind(&mut self, inner: &Path, kind: &str) -> Result<(), String> {
        let entries = std::fs::read_dir(inner).map_err(|e| yaml::not_read(&e))?;
        let mut names: Vec<PathBuf> = entries.filter_map(Result::ok).map(|e| e.path()).collect();
        names.sort();
        if names.len() > MOST_FILES {
            return Err(format!("{} has more than {MOST_FILES} files", inner.display()));
        }
        for file in names {
            let name = file.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
            if !name.starts_with('.') && has_yaml_ending(&name) {
                self.read_file(&file, &format!("{kind}/{name}"));
            }
        }
        Ok(())
    }

    fn read_file(&mut self, file: &Path, path: &str) {
        let shown = diag::harmless(&file.display().to_string());
        match yaml::read_text(file) {
            Ok(text) => {
                self.files.insert(path.to_owned(), (shown, text));
            }
            Err(error) => self.problems.push((shown, error)),
        }
    }

    /// Equal texts, equal hash; sixteen hexadecimal digits. Not for secrets: it only tells versions apart.
    pub fn hash(&self) -> String {
        let mut hasher = fnv::FnvHasher::default();
        for (path, (_, text)) in &self.files {
            for part in [path, text] {
                hasher.write_u64(part.len() as u64);
                hasher.write(part.as_bytes());
            }
        }
        format!("{:016x}", hasher.finish())
    }

    /// The text of a file, by its path inside the folder.
    pub fn text(&self, path: &str) -> Option<&str> {
        self.files.get(path).map(|(_, text)| text.as_str())
    }

    /// The same knowledge with another text in one file.
    #[must_use]
    pub fn with(mut self, path: &str, text: String) -> Self {
        let name = self.files.get(path).map_or_else(|| path.to_owned(), |(name, _)| name.clone());
        self.files.insert(path.to_owned(), (name, text));
        self
    }

    /// Whether every file could be read.
    pub fn readable(&self) -> bool {
        self.problems.is_empty()
    }

    /// Each file's path inside the folder, its shown name and its text.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str, &str)> {
        self.files.iter().map(|(path, (name, text))| (path.as_str(), name.as_str(), text.as_str()))
    }
}

fn has_yaml_ending(name: &str) -> bool {
    Path::new(name).extension().is_some_and(|e| e == "yaml" || e == "yml")
}

fn wanted(path: &str) -> bool {
    OTHERS.contains(&path)
        || path
            .split_once('/')
            .is_some_and(|(kind, name)| KINDS.contains(&kind) && has_yaml_ending(name) && !name.contains('/'))
}

/// Whether a path is that of an entry that a lesson may change: `causes/pan-touching.yaml`, and nothing beside it.
pub(super) fn is_entry(path: &str) -> bool {
    let Some((kind, name)) = path.split_once('/') else { return false };
    let stem = name.strip_suffix(".yaml").unwrap_or_default();
    KINDS.contains(&kind) && kind != "lessons" && ids::well_formed(stem)
}

fn stands_alone(text: &str) -> bool {
    let mut sources = Sources::default();
    let file = sources.add("knowledge.yaml", text);
    let Ok(node) = yaml::parse(&sources, file) else { return false };
    let scale = Scale::default();
    let mut reader = Reader::new(&sources, &scale);
    Fields::open(&mut reader, &node)
        .and_then(|mut fields| fields.maybe_text(&mut reader, "base"))
        .is_some_and(|base| base == "none")
}

/// Reads everything. The knowledge holds what could be trusted; the problems are in order of file and place.
pub fn load(texts: &Texts) -> (Knowledge, Vec<Diagnostic>) {
    let mut sources = Sources::default();
    let files: Vec<(String, FileId)> =
        texts.iter().map(|(path, name, text)| (path.to_owned(), sources.add(name, text))).collect();
    let mut problems = Vec::new();
    for (name, error) in &texts.problems {
        let file = sources.add(name.clone(), "");
        let span = Span { file, start: 0, end: 0 };
        problems.push(Diagnostic::error(Code::Unreadable, span, format!("cannot be read: {error}")));
    }
    let mut trees: BTreeMap<String, Node> = BTreeMap::new();
    for ((path, _), parsed) in files.iter().zip(parsed(&sources, &files)) {
        match parsed {
            Ok(node) => {
                trees.insert(path.clone(), node);
            }
            Err(problem) => problems.push(problem),
        }
    }
    let (scale, scale_problems) = read_scale(&sources, trees.get("words/scale.yaml"));
    problems.extend(scale_problems);
    let mut reader = Reader::new(&sources, &scale);
    let mut knowledge = Knowledge { hash: texts.hash(), alone: texts.alone, ..Knowledge::default() };
    for (path, node) in &trees {
        read_one(&mut reader, &mut knowledge, path, node);
    }
    problems.extend(reader.problems);
    knowledge.scale = scale;
    knowledge.sources = sources;
    knowledge.refused = refused(&knowledge, texts);
    problems.extend(resolve::resolve(&mut knowledge));
    diag::in_order(&mut problems);
    (knowledge, problems)
}

/// Every file as a tree, in the order of the files; they are read side by side, since that is most of what loading takes.
fn parsed(sources: &Sources, files: &[(String, FileId)]) -> Vec<Result<Node, Diagnostic>> {
    let threads = std::thread::available_parallelism().map_or(1, usize::from).min(MOST_READERS);
    let part = files.len().div_ceil(threads).max(1);
    #[expect(clippy::result_large_err, reason = "one problem a file, and never on a hot path")]
    let read = |part: &[(String, FileId)]| part.iter().map(|(_, file)| yaml::parse(sources, *file)).collect();
    std::thread::scope(|scope| {
        let parts: Vec<_> =
            files.chunks(part).map(|part| scope.spawn(move || -> Vec<_> { read(part) })).collect();
        // A reader that panicked is our own fault, and goes on as one.
        let joined = parts.into_iter().map(std::thread::ScopedJoinHandle::join);
        joined.flat_map(|part| part.unwrap_or_else(|panic| std::panic::resume_unwind(panic))).collect()
    })
}

/// More readers than this at once are no quicker.
const MOST_READERS: usize = 4;

/// Entries whose file gave nothing to trust. Names of these are not unknown; the file's own problem is enough.
fn refused(knowledge: &Knowledge, texts: &Texts) -> BTreeSet<String> {
    let unreadable = texts.problems.iter().map(|(name, _)| name.as_str());
    let paths = texts.files.keys().map(String::as_str).chain(unreadable);
    let entries = paths.filter_map(|path| {
        let path = path.rsplit_once('.')?.0;
        let (folder, stem) = path.rsplit_once(['/', '\\'])?;
        let kind = folder.rsplit(['/', '\\']).next().filter(|kind| KINDS.contains(kind))?;
        Some((kind, stem))
    });
    entries
        .filter(|(kind, stem)| !knowledge.has(kind, stem))
        .map(|(kind, stem)| format!("{kind}/{stem}"))
        .collect()
}

fn read_one(reader: &mut Reader<'_>, knowledge: &mut Knowledge, path: &str, node: &Node) {
    let Some((kind, name)) = path.split_once('/') else {
        return match path {
            "knowledge.yaml" => read_head(reader, knowledge, node),
            _ => read_origins(reader, knowledge, node),
        };
    };
    let stem = name.rsplit_once('.').map_or(name, |(stem, _)| stem);
    if kind == "words" {
        return match stem {
            "house" => knowledge.house_words = vocabulary::house(reader, node),
            "synonyms" => vocabulary::synonyms(reader, &mut knowledge.vocabulary, node),
            "talk" => vocabulary::talk(reader, &mut knowledge.vocabulary, node),
            _ => {}
        };
    }
    if !ids::well_formed(stem) {
        let message =
            format!("the file's name '{stem}' is its id, and an id is lower-case words joined by hyphens");
        let help = "give the file a name like pan-touching.yaml".to_owned();
        reader.push(Diagnostic::error(Code::BadId, node.span, message).help(help));
        return;
    }
    macro_rules! keep {
        ($map:ident, $read:expr) => {
            if let Some(entry) = $read {
                knowledge.$map.insert(stem.into(), entry);
            }
        };
    }
    match kind {
        "machines" => keep!(machines, entries::machine(reader, stem, node)),
        "circumstances" => keep!(circumstances, entries::circumstance(reader, stem, node)),
        "conditions" => keep!(findings, entries::finding(reader, stem, FindingKind::Condition, node)),
        "symptoms" => {
            // Conditions come first in the order of folders.
            if knowledge.findings.contains_key(stem) {
                let message = format!("'{stem}' is a symptom and a condition; a finding is one of them");
                reader.push(Diagnostic::error(Code::BadId, node.span, message));
            }
            keep!(findings, entries::finding(reader, stem, FindingKind::Symptom, node));
        }
        "causes" => keep!(causes, entries::cause(reader, stem, node)),
        "checks" => keep!(checks, works::check(reader, stem, node)),
        "remedies" => keep!(remedies, works::remedy(reader, stem, node)),
        "rules" => keep!(rules, rules::rule(reader, stem, node)),
        "lessons" => keep!(lessons, lesson::entry(reader, stem, node)),
        _ => keep!(cautions, works::caution(reader, stem, node)),
    }
}

fn read_head(reader: &mut Reader<'_>, knowledge: &mut Knowledge, node: &Node) {
    let Some(mut fields) = Fields::open(reader, node) else { return };
    let format = fields.need(reader, "format");
    if let Some(text) = format.and_then(|n| reader.text(n))
        && text != FORMAT
    {
        let message = format!("'{text}' is not a format that this program reads; it reads {FORMAT}");
        let help = format!("write `format: {FORMAT}`, or read it with the program that it was written for");
        reader.push(Diagnostic::error(Code::UnknownFormat, format.map(|n| n.span), message).help(help));
    }
    knowledge.version = fields.text(reader, "version").unwrap_or_default();
    let _ = fields.maybe_text(reader, "title");
    if let Some(base) = fields.get("base") {
        let _ = reader.choice(base, &[("none", ()), ("built-in", ())]);
    }
    fields.close(reader);
}

fn read_origins(reader: &mut Reader<'_>, knowledge: &mut Knowledge, node: &Node) {
    let Some(fields) = Fields::open(reader, node) else { return };
    for (key, value) in fields.entries() {
        let Some(id) = reader.id(key) else { continue };
        let Some(mut inner) = Fields::open(reader, value) else { continue };
        let title = inner.text(reader, "title");
        for optional in ["edition", "about", "url"] {
            let _ = inner.maybe_text(reader, optional);
        }
        inner.close(reader);
        if let Some(title) = title {
            knowledge.origins.insert(id.value, title);
        }
    }
}

fn read_scale(sources: &Sources, node: Option<&Node>) -> (Scale, Vec<Diagnostic>) {
    let empty = Scale::default();
    let mut reader = Reader::new(sources, &empty);
    let scale = node.and_then(|node| scale_fields(&mut reader, node)).unwrap_or_default();
    (scale, reader.problems)
}

fn scale_fields(reader: &mut Reader<'_>, node: &Node) -> Option<Scale> {
    let mut fields = Fields::open(reader, node)?;
    let words = |reader: &mut Reader<'_>, node: Option<&Node>, low, high| -> BTreeMap<String, f64> {
        let Some(group) = node.and_then(|n| Fields::open(reader, n)) else { return BTreeMap::new() };
        let pairs = group.entries().iter();
        pairs.filter_map(|(k, v)| Some((reader.text(k)?, reader.number(v, low, high)?))).collect()
    };
    let strengths = fields.need(reader, "strengths");
    let strengths = words(reader, strengths, entries::PROBABLE.0, entries::PROBABLE.1);
    let rates = fields.need(reader, "rates");
    let rates = words(reader, rates, 0.1, 500.0);
    let mut hits = BTreeMap::new();
    if let Some(mut group) = fields.need(reader, "hits").and_then(|n| Fields::open(reader, n)) {
        for (how, word) in [(How::Told, "told"), (How::Seen, "seen"), (How::Measured, "measured")] {
            if let Some(pair) =
                group.need(reader, word).and_then(|n| two_numbers(reader, n, "hit", "false_alarm"))
            {
                hits.insert(how, pair);
            }
        }
        group.close(reader);
    }
    let said = fields.need(reader, "said").and_then(|n| two_numbers(reader, n, "hit", "false_alarm"));
    let leak =
        fields.need(reader, "leak").and_then(|n| reader.number(n, entries::PROBABLE.0, entries::PROBABLE.1));
    let outside =
        fields.need(reader, "not_in_the_book").and_then(|n| two_numbers(reader, n, "rate", "strength"));
    fields.close(reader);
    Some(Scale { strengths, rates, hits, said: said?, leak: leak?, not_in_the_book: outside? })
}

fn two_numbers(
    reader: &mut Reader<'_>,
    node: &Node,
    first: &'static str,
    second: &'static str,
) -> Option<(f64, f64)> {
    let mut fields = Fields::open(reader, node)?;
    let one = fields.need(reader, first).and_then(|n| reader.number(n, 0.0, 500.0));
    let two = fields.need(reader, second).and_then(|n| reader.number(n, 0.0, 1.0));
    fields.close(reader);
    Some((one?, two?))
}
