//! From the files of a folder to lists, with every problem and its place. What the binary brings is laid over by a
//! folder's files of the same name.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::model::Checklist;
use super::{read, resolve};
use crate::diag::{self, Code, Diagnostic, Sources, Span};
use crate::ids::{self, ListId};
use crate::knowledge::{Knowledge, Reader, yaml};

/// The most files read from one folder.
const MOST_FILES: usize = 2_000;

static BUILT_IN: include_dir::Dir<'_> = include_dir::include_dir!("$CARGO_MANIFEST_DIR/checklists");

/// The lists, and the texts that their places point into.
#[derive(Debug, Clone, Default)]
pub struct Checklists {
    /// Lists by id.
    pub lists: BTreeMap<ListId, Checklist>,
    /// The texts read.
    pub sources: Sources,
}

/// The texts of the lists by id: the name shown, and the text or why it could not be read.
#[derive(Debug, Clone, Default)]
pub struct Texts {
    files: BTreeMap<String, (String, Result<String, String>)>,
    /// What is wrong with the folder itself.
    folder: Option<(String, String)>,
}

impl Texts {
    /// The texts inside the binary.
    pub fn built_in() -> Self {
        let files = BUILT_IN.files().filter_map(|file| {
            let stem = stem(file.path())?;
            let text = file.contents_utf8().unwrap_or_default().to_owned();
            let name = format!("built-in:checklists/{stem}.yaml");
            Some((stem, (name, Ok(text))))
        });
        Self { files: files.collect(), folder: None }
    }

    /// With the files of a folder over these.
    #[must_use]
    pub fn overlaid_by(mut self, folder: &Path) -> Self {
        match yaml_files(folder) {
            Ok(files) => {
                for path in files {
                    let Some(stem) = stem(&path) else { continue };
                    let name = diag::harmless(&path.display().to_string());
                    self.files.insert(stem, (name, yaml::read_text(&path)));
                }
            }
            Err(error) => self.folder = Some((diag::harmless(&folder.display().to_string()), error)),
        }
        self
    }
}

fn yaml_files(folder: &Path) -> Result<Vec<PathBuf>, String> {
    let entries = std::fs::read_dir(folder).map_err(|e| yaml::not_read(&e))?;
    let mut files: Vec<PathBuf> = entries.filter_map(Result::ok).map(|e| e.path()).collect();
    files.retain(|path| stem(path).is_some());
    if files.len() > MOST_FILES {
        return Err(format!("it has more than {MOST_FILES} files"));
    }
    files.sort();
    Ok(files)
}

/// The name of a YAML file without its ending.
fn stem(path: &Path) -> Option<String> {
    let name = path.file_name()?.to_string_lossy().into_owned();
    let stem = name.strip_suffix(".yaml").or_else(|| name.strip_suffix(".yml"))?;
    (!stem.starts_with('.')).then(|| stem.to_owned())
}

/// Reads every list; names of the knowledge are looked up. The problems are in order of file and place.
pub fn load(texts: &Texts, knowledge: &Knowledge) -> (Checklists, Vec<Diagnostic>) {
    let mut sources = Sources::default();
    let mut problems = Vec::new();
    let mut trees = Vec::new();
    for (stem, (name, text)) in &texts.files {
        let file = sources.add(name.clone(), text.clone().unwrap_or_default());
        if let Err(error) = text {
            let span = Span { file, start: 0, end: 0 };
            problems.push(Diagnostic::error(Code::Unreadable, span, format!("cannot be read: {error}")));
            continue;
        }
        match yaml::parse(&sources, file) {
            Ok(node) => trees.push((stem, node)),
            Err(problem) => problems.push(problem),
        }
    }
    if let Some((name, error)) = &texts.folder {
        let file = sources.add(name.clone(), "");
        let span = Span { file, start: 0, end: 0 };
        problems.push(Diagnostic::error(Code::Unreadable, span, format!("cannot be read: {error}")));
    }
    let mut reader = Reader::new(&sources, &knowledge.scale);
    let mut lists = BTreeMap::new();
    for (stem, node) in trees {
        if !ids::well_formed(stem) {
            let message = format!(
                "the file's name '{stem}' is its id, and an id is lower-case words joined by hyphens"
            );
            reader.push(Diagnostic::error(Code::BadId, node.span, message));
        } else if let Some(list) = read::checklist(&mut reader, stem, &node) {
            lists.insert(list.id.clone(), list);
        }
    }
    problems.extend(reader.problems);
    problems.extend(resolve::resolve(&lists, knowledge));
    diag::in_order(&mut problems);
    (Checklists { lists, sources }, problems)
}
