//! Writing a case as a case file that reads back equal.
//!
//! Every part goes through the same serialising as a record's line; only the dress differs: keys bare, texts bare
//! where no YAML reader could take them for anything else, and quoted as JSON quotes them everywhere else.

use serde::Serialize;

use super::model::{Case, Event, FORMAT, Opening, ScaleFacts};
use crate::diag;

/// A case file: `format` first, then what is known, one key a line and one event a line.
pub fn export(case: &Case) -> String {
    let mut out = format!("format: {FORMAT}\n");
    let mut line = |key: &str, value: Option<String>| {
        if let Some(value) = value {
            let blank = if value.starts_with('\n') { "" } else { " " };
            out.push_str(&format!("{key}:{blank}{value}\n"));
        }
    };
    line("knowledge", case.knowledge.as_ref().map(flow));
    line("machine", Some(flow(&case.machine)));
    line("fitted", case.fitted.as_ref().map(flow));
    line("scale", (case.scale != ScaleFacts::default()).then(|| flow(&case.scale)));
    line("team", case.team.as_ref().map(flow));
    line("market", case.market.as_ref().map(flow));
    line("product", case.product.as_ref().map(flow));
    line("people", block(&case.people));
    line("visit", case.visit.as_ref().map(flow));
    line("opening", (case.opening != Opening::default()).then(|| flow(&case.opening)));
    line("complaint", case.complaint.as_ref().map(flow));
    line("events", block(&case.events));
    line("expect", case.expect.as_ref().map(flow));
    line("closed", case.closed.as_ref().map(flow));
    out
}

/// One event as a case file has it, for a remark that says what it was.
pub(super) fn event(event: &Event) -> String {
    flow(event)
}

fn block<T: Serialize>(items: &[T]) -> Option<String> {
    let lines: Vec<_> = items.iter().map(|item| format!("\n  - {}", flow(item))).collect();
    (!lines.is_empty()).then(|| lines.concat())
}

/// A value on one line.
fn flow<T: Serialize>(value: &T) -> String {
    // Our own types have text keys and always serialise; a null would be refused on reading, never misread.
    undress(&serde_json::to_string(value).unwrap_or_else(|_| "null".to_owned()))
}

/// Takes the quotes off where they are not needed, and gives the marks between values their blanks.
fn undress(json: &str) -> String {
    let mut out = String::with_capacity(json.len());
    let mut rest = json;
    while let Some(c) = rest.chars().next() {
        let end = match c {
            '"' => end_of_text(rest),
            ':' | ',' | '{' | '}' | '[' | ']' => 1,
            _ => rest.find([',', '}', ']']).unwrap_or(rest.len()),
        };
        let (token, after) = rest.split_at(end);
        match c {
            '"' => {
                let text: String = serde_json::from_str(token).unwrap_or_default();
                out.push_str(&scalar(&diag::harmless(&text)));
            }
            ':' | ',' => out.extend([c, ' ']),
            _ => out.push_str(token.strip_suffix(".0").unwrap_or(token)),
        }
        rest = after;
    }
    out
}

/// One past the closing quote of the JSON text that begins here.
fn end_of_text(json: &str) -> usize {
    let mut escaped = false;
    for (i, byte) in json.bytes().enumerate().skip(1) {
        match byte {
            _ if escaped => escaped = false,
            b'\\' => escaped = true,
            b'"' => return i + 1,
            _ => {}
        }
    }
    json.len()
}

/// A text, bare where every YAML reader takes it for a text.
fn scalar(text: &str) -> String {
    if is_plain(text) { text.to_owned() } else { quoted(text) }
}

fn is_plain(text: &str) -> bool {
    let special = ["true", "false", "null", "yes", "no", "on", "off", "y", "n", "inf", "infinity", "nan"];
    let first =
        text.chars().next().is_some_and(|c| c.is_ascii_alphanumeric() || (c == '-' && is_figure(text)));
    let inside = |c: char| c.is_ascii_alphanumeric() || matches!(c, ' ' | '-' | '_' | '.' | '/' | '%' | '\'');
    first
        && text.chars().all(inside)
        && !text.ends_with(' ')
        && !special.contains(&text.to_ascii_lowercase().as_str())
        && (text.starts_with(|c: char| c.is_ascii_alphabetic()) || is_figure(text) || is_version(text))
}

/// Three numbers with points between: too many points for a number.
fn is_version(text: &str) -> bool {
    text.split('.').count() == 3
        && text.split('.').all(|part| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit()))
}

/// Whether this is a number with its unit, as quantities are written.
fn is_figure(text: &str) -> bool {
    text.split_once(' ').is_some_and(|(number, unit)| {
        number.parse::<f64>().is_ok_and(f64::is_finite)
            && unit.starts_with(|c: char| c.is_ascii_alphabetic() || c == '%' || c == '/')
    })
}

/// As JSON quotes it, and with everything that YAML does not take as it stands written as an escape.
fn quoted(text: &str) -> String {
    let json = serde_json::to_string(text).unwrap_or_default();
    let mut out = String::with_capacity(json.len());
    for c in json.chars() {
        match c {
            '\u{fffe}' | '\u{ffff}' | '\u{7f}'..='\u{a0}' => out.push_str(&format!("\\u{:04x}", c as u32)),
            c if c as u32 > 0xffff => out.push_str(&format!("\\U{:08x}", c as u32)),
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn texts_go_bare_only_where_nobody_can_misread_them() {
        for bare in
            ["sunflower kernels", "199.4 g", "eu", "every bag's light", "-3 g", "12 /min", "5 %", "1.0.0"]
        {
            assert_eq!(scalar(bare), bare);
        }
        for odd in
            ["no", "12", "-", "- a", "a: b", "a #b", "", " a", "a ", "[x]", "1e3", "2026-11-25", "ü", "nan"]
        {
            assert!(scalar(odd).starts_with('"'), "{odd}");
        }
    }

    #[test]
    fn json_loses_its_quotes_and_gets_its_blanks() {
        let json = r#"{"id":"a-b","says":"no, \"stop\"","list":[1.5,-2.0],"ok":true}"#;
        assert_eq!(undress(json), r#"{id: a-b, says: "no, \"stop\"", list: [1.5, -2], ok: true}"#);
    }
}
