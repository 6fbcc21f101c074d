//! What an edit changed, line by line.

/// Lines shown before and after what changed.
const AROUND: usize = 2;

/// One stretch of lines that changed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hunk {
    /// The first line that changed, from one.
    pub line: usize,
    /// Lines before it that stay.
    pub above: Vec<String>,
    /// Lines that go.
    pub gone: Vec<String>,
    /// Lines that come in their place.
    pub new: Vec<String>,
    /// Lines after it that stay.
    pub below: Vec<String>,
}

/// What an edit changed: everything between the lines that are the same at the beginning and at the end.
pub fn hunk(old: &str, new: &str) -> Hunk {
    let (old, new): (Vec<&str>, Vec<&str>) = (old.lines().collect(), new.lines().collect());
    let start = old.iter().zip(&new).take_while(|(a, b)| a == b).count();
    let most = old.len().min(new.len()) - start;
    let end = old.iter().rev().zip(new.iter().rev()).take(most).take_while(|(a, b)| a == b).count();
    let own = |lines: &[&str]| lines.iter().map(|line| (*line).to_owned()).collect();
    Hunk {
        line: start + 1,
        above: own(&old[start.saturating_sub(AROUND)..start]),
        gone: own(&old[start..old.len() - end]),
        new: own(&new[start..new.len() - end]),
        below: own(&old[old.len() - end..(old.len() - end + AROUND).min(old.len())]),
    }
}

impl Hunk {
    /// As programs that patch files read it.
    pub fn unified(&self, file: &str) -> String {
        let first = self.line - self.above.len();
        let stay = self.above.len() + self.below.len();
        // An empty side is named by the line before it.
        let side = |count: usize| (if count == 0 { first - 1 } else { first }, count);
        let (old, new) = (side(stay + self.gone.len()), side(stay + self.new.len()));
        let mut text =
            format!("--- a/{file}\n+++ b/{file}\n@@ -{},{} +{},{} @@\n", old.0, old.1, new.0, new.1);
        for (mark, lines) in [(' ', &self.above), ('-', &self.gone), ('+', &self.new), (' ', &self.below)] {
            lines.iter().for_each(|line| text.push_str(&format!("{mark}{line}\n")));
        }
        text
    }
}

/// The part of two lines in which they differ, with so many characters around it; whatever is cut is marked.
pub fn differing(old: &str, new: &str, around: usize) -> (String, String) {
    let (old, new): (Vec<char>, Vec<char>) = (old.chars().collect(), new.chars().collect());
    let start = old.iter().zip(&new).take_while(|(a, b)| a == b).count();
    let most = old.len().min(new.len()) - start;
    let end = old.iter().rev().zip(new.iter().rev()).take(most).take_while(|(a, b)| a == b).count();
    let cut = |line: &[char]| {
        let from = start.saturating_sub(around);
        let to = (line.len() - end + around).min(line.len());
        let mut text: String = line[from..to].iter().collect();
        if from > 0 {
            text.insert(0, '…');
        }
        if to < line.len() {
            text.push('…');
        }
        text
    };
    (cut(&old), cut(&new))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hunk_holds_what_changed_and_two_lines_around_it() {
        let hunk = hunk("a\nb\nc\nd\ne\nf\n", "a\nb\nc\nX\ne\nf\n");
        assert_eq!(
            hunk.unified("x.yaml"),
            "--- a/x.yaml\n+++ b/x.yaml\n@@ -2,5 +2,5 @@\n b\n c\n-d\n+X\n e\n f\n"
        );
        let new = super::hunk("", "a\nb\n");
        assert_eq!(new.unified("x.yaml"), "--- a/x.yaml\n+++ b/x.yaml\n@@ -0,0 +1,2 @@\n+a\n+b\n");
    }

    #[test]
    fn of_long_lines_only_what_differs_is_shown() {
        let (old, new) = differing("said: [one, two, three, four]", "said: [one, two, three, four, five]", 8);
        assert_eq!((old.as_str(), new.as_str()), ("…ee, four]", "…ee, four, five]"));
        assert_eq!(differing("same", "same", 3), ("…ame".to_owned(), "…ame".to_owned()));
    }
}
