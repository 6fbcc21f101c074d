//! Searches that found nothing: what people looked for and the knowledge does not have. When and which words, and nothing
//! about who it was.

use std::fs::{self, OpenOptions};
use std::io::{self, Read as _, Write as _};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::store::replace;
use crate::diag::one_line;

/// Characters of one search that are kept.
const LONGEST: usize = 200;
/// The file is cut to its newer half past so many bytes.
const LARGEST: u64 = 1 << 20;

/// A search that found nothing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Miss {
    /// When, as an RFC 3339 timestamp.
    pub at: String,
    /// The words, harmless and cut.
    pub words: String,
}

/// The searches of a store.
#[derive(Debug, Clone)]
pub struct Misses(PathBuf);

impl Misses {
    /// Those of the store in this folder, which need not be there yet.
    pub fn at(folder: &Path) -> Self {
        Self(folder.join("searches.jsonl"))
    }

    /// Adds one.
    pub fn add(&self, words: &str, now: jiff::Timestamp) -> io::Result<()> {
        let miss = Miss { at: now.to_string(), words: one_line(words, LONGEST) };
        if miss.words.is_empty() {
            return Ok(());
        }
        if let Some(folder) = self.0.parent() {
            fs::create_dir_all(folder)?;
        }
        if fs::metadata(&self.0).is_ok_and(|meta| meta.len() > LARGEST) {
            self.halve()?;
        }
        let line = serde_json::to_string(&miss).map_err(io::Error::other)?;
        // One write, so that two processes do not mix their lines.
        OpenOptions::new().create(true).append(true).open(&self.0)?.write_all(format!("{line}\n").as_bytes())
    }

    /// Keeps the newer half.
    fn halve(&self) -> io::Result<()> {
        let all = self.text()?;
        let half = all.len() - all.len() / 2;
        let cut =
            all.as_bytes()[half..].iter().position(|byte| *byte == b'\n').map_or(all.len(), |n| half + n + 1);
        replace(&self.0, &all.as_bytes()[cut..])
    }

    fn text(&self) -> io::Result<String> {
        let mut bytes = Vec::new();
        match fs::File::open(&self.0) {
            Ok(file) => file.take(2 * LARGEST).read_to_end(&mut bytes)?,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(String::new()),
            Err(error) => return Err(error),
        };
        Ok(String::from_utf8_lossy(&bytes).into_owned())
    }

    /// All that are kept; lines that cannot be read are passed over.
    pub fn all(&self) -> io::Result<Vec<Miss>> {
        Ok(self.text()?.lines().filter_map(|line| serde_json::from_str(line).ok()).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_was_looked_for_is_kept_harmless_and_the_file_stays_small() {
        let folder = tempfile::tempdir().unwrap();
        let misses = Misses::at(folder.path());
        let now = "2026-11-25T10:00:00Z".parse().unwrap();
        misses.add("  the \u{1b}[31mwidget  hums ", now).unwrap();
        misses.add("   ", now).unwrap();
        assert_eq!(misses.all().unwrap()[0].words, "the widget hums");
        assert_eq!(misses.all().unwrap().len(), 1);
        for n in 0..9000 {
            misses.add(&format!("{n} {}", "x".repeat(150)), now).unwrap();
        }
        assert!(fs::metadata(folder.path().join("searches.jsonl")).unwrap().len() < 2 * LARGEST);
        assert!(misses.all().unwrap().last().unwrap().words.starts_with("8999 "));
    }
}
