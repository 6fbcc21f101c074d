//! What a lesson changes: one value, one more item of a list, or a whole file.

use serde::{Deserialize, Serialize};

use crate::knowledge::edit::{self, EditError, Place, Scalar};
use crate::knowledge::load::{Texts, is_entry};

/// One change of one file of the knowledge.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Change {
    /// A single value becomes another.
    Set {
        /// The file inside the knowledge folder.
        file: String,
        /// Where in it.
        place: String,
        /// What stood there; a change made for other words is not made.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        was: Option<Scalar>,
        /// What shall stand there.
        to: Scalar,
    },
    /// A list gets one more item.
    Add {
        /// The file inside the knowledge folder.
        file: String,
        /// Which list.
        place: String,
        /// The item.
        adds: Scalar,
    },
    /// A file is new, or stands whole in place of the old one.
    File {
        /// The file inside the knowledge folder.
        file: String,
        /// Its text.
        whole: String,
    },
}

impl Change {
    /// The file that it changes.
    pub fn file(&self) -> &str {
        let (Change::Set { file, .. } | Change::Add { file, .. } | Change::File { file, .. }) = self;
        file
    }
}

/// Why a change cannot be made.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ChangeError {
    /// The file is none of an entry.
    #[error("'{0}' is not the file of an entry; it is like causes/pan-touching.yaml")]
    NoEntry(String),
    /// There is no such entry.
    #[error("there is no {0} in the knowledge")]
    NoFile(String),
    /// The place cannot be read.
    #[error("'{0}' is not a place in an entry; it is like leads_to.fills-steadily-light.strength")]
    NoPlace(String),
    /// The edit is refused.
    #[error("{file}: {source}")]
    Edit {
        /// Which file.
        file: String,
        /// Why.
        source: EditError,
    },
    /// Somebody changed it since.
    #[error("{file}: at '{place}' stands {now}, and the lesson was made for {was}")]
    ChangedSince {
        /// Which file.
        file: String,
        /// Where in it.
        place: String,
        /// What stands there.
        now: String,
        /// What the lesson expected.
        was: String,
    },
}

impl Change {
    pub(super) fn written(&self) -> Result<String, EditError> {
        let quoted = |text: &str| Scalar::Text(text.to_owned()).written();
        Ok(match self {
            Change::Set { file, place, was, to } => {
                let was = was.as_ref().map(Scalar::written).transpose()?;
                let was = was.map_or_else(String::new, |was| format!("was: {was}, "));
                format!(
                    "  - {{file: {}, place: {}, {was}to: {}}}\n",
                    quoted(file)?,
                    quoted(place)?,
                    to.written()?
                )
            }
            Change::Add { file, place, adds } => {
                format!(
                    "  - {{file: {}, place: {}, adds: {}}}\n",
                    quoted(file)?,
                    quoted(place)?,
                    adds.written()?
                )
            }
            Change::File { file, whole } => {
                // Two columns further in than its key, said outright, so that a text may begin with spaces.
                let lines = whole.lines().map(|line| format!("      {line}").trim_end().to_owned() + "\n");
                format!("  - file: {}\n    whole: |2\n{}", quoted(file)?, lines.collect::<String>())
            }
        })
    }

    /// What the file says afterwards.
    pub fn applied(&self, texts: &Texts) -> Result<String, ChangeError> {
        let file = self.file();
        if !is_entry(file) {
            return Err(ChangeError::NoEntry(crate::diag::harmless(file)));
        }
        let text = texts.text(file);
        let old = || text.ok_or_else(|| ChangeError::NoFile(file.to_owned()));
        let at = |place: &String| {
            Place::parse(place).ok_or_else(|| ChangeError::NoPlace(crate::diag::harmless(place)))
        };
        let refused = |source| ChangeError::Edit { file: file.to_owned(), source };
        match self {
            Change::Set { place, was, to, .. } => {
                let (old, at) = (old()?, at(place)?);
                let now = edit::at(old, &at).map_err(refused)?;
                if now.as_ref() == Some(to) {
                    return Ok(old.to_owned());
                }
                if was.is_some() && now != *was {
                    let said = |value: Option<&Scalar>| {
                        value.map_or_else(|| "nothing".to_owned(), Scalar::to_string)
                    };
                    return Err(ChangeError::ChangedSince {
                        file: file.to_owned(),
                        place: place.clone(),
                        now: said(now.as_ref()),
                        was: said(was.as_ref()),
                    });
                }
                edit::set(old, &at, to).map_err(refused)
            }
            Change::Add { place, adds, .. } => {
                let (old, at) = (old()?, at(place)?);
                // Made already: by this lesson before a crash, or by somebody who heard the same.
                if edit::holds(old, &at, adds) {
                    Ok(old.to_owned())
                } else {
                    edit::add(old, &at, adds).map_err(refused)
                }
            }
            Change::File { whole, .. } => Ok(whole.clone()),
        }
    }
}

/// The knowledge with all changes of a lesson made, in their order.
pub fn changed(texts: &Texts, changes: &[Change]) -> Result<Texts, ChangeError> {
    changes.iter().try_fold(texts.clone(), |texts, change| {
        let text = change.applied(&texts)?;
        Ok(texts.with(change.file(), text))
    })
}
