//! What a machine's panel takes and shows: settings, lamps and readings, from keys to trusted.

use std::collections::BTreeSet;

use super::fields::{Fields, Reader};
use super::model::{At, Machine};
use super::set_up::{SetUp, set_up};
use super::yaml::{Node, Value};
use crate::diag::{Code, Diagnostic};
use crate::ids::{SettingId, SignId};
use crate::units::Unit;

/// What a setting is for.
pub(super) const GROUPS: &[(&str, &str)] =
    &[("feeding", "feeding"), ("stopping", "stopping"), ("weighing", "weighing"), ("emptying", "emptying")];
/// What a sign can be.
pub(super) const SIGN_KINDS: &[(&str, SignKind)] =
    &[("lamp", SignKind::Lamp), ("reading", SignKind::Reading)];

/// A setting of a machine.
#[derive(Debug, Clone, PartialEq)]
pub struct Setting {
    /// Its id.
    pub id: SettingId,
    /// Its name.
    pub title: String,
    /// feeding, stopping, weighing or emptying.
    pub group: String,
    /// What it does, for a newcomer.
    pub what_it_does: String,
    /// What happens when it is too high, and too low.
    pub too: (Option<String>, Option<String>),
    /// Its unit, if it has one.
    pub unit: Option<&'static Unit>,
    /// What stands there usually.
    pub usual: Option<String>,
    /// How it is found when a product is set up; none when it is left alone.
    pub set_up: Option<SetUp>,
    /// What this site's panel calls it; filled in by the site.
    pub called_here: Option<String>,
}

/// What a sign is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum SignKind {
    /// Lit or dark.
    Lamp,
    /// A figure or a word on the display.
    Reading,
}

impl SignKind {
    /// Both, in order.
    pub const ALL: &'static [SignKind] = &[SignKind::Lamp, SignKind::Reading];

    /// The word for it.
    pub fn as_str(self) -> &'static str {
        match self {
            SignKind::Lamp => "lamp",
            SignKind::Reading => "reading",
        }
    }
}

impl Machine {
    /// The setting of this id.
    pub fn setting(&self, id: &SettingId) -> Option<&Setting> {
        self.settings.iter().find(|setting| setting.id == *id)
    }
}

/// A lamp or a reading of a machine: what it says when all is well, and when not.
#[derive(Debug, Clone, PartialEq)]
pub struct Sign {
    /// Its id.
    pub id: SignId,
    /// Its name.
    pub title: String,
    /// Lamp or reading.
    pub kind: SignKind,
    /// How callers say it.
    pub said: Vec<String>,
    /// What it says, for a newcomer.
    pub what_it_says: String,
    /// What it looks like when something is wrong, and what that means.
    pub when_wrong: String,
    /// What this site's panel calls it; filled in by the site.
    pub called_here: Option<String>,
}

/// The settings of a machine, in order.
pub(super) fn settings(reader: &mut Reader<'_>, fields: &mut Fields<'_>) -> Vec<Setting> {
    named(reader, fields, "settings", setting)
}

/// The lamps and readings of a machine, in order.
pub(super) fn signs(reader: &mut Reader<'_>, fields: &mut Fields<'_>) -> Vec<Sign> {
    named(reader, fields, "signs", sign)
}

fn setting(reader: &mut Reader<'_>, node: &Node) -> Option<Setting> {
    let mut fields = Fields::open(reader, node)?;
    let id = fields.id(reader, "id").map(|at: At<String>| at.value.as_str().into());
    let group = fields.need(reader, "group").and_then(|n| reader.choice(n, GROUPS)).map(str::to_owned);
    let unit = fields.get("unit").and_then(|n| reader.unit(n));
    let setting = Setting {
        title: fields.text(reader, "title").unwrap_or_default(),
        what_it_does: fields.text(reader, "what_it_does").unwrap_or_default(),
        too: (fields.maybe_text(reader, "too_high"), fields.maybe_text(reader, "too_low")),
        unit,
        usual: fields.maybe_text(reader, "usual"),
        set_up: fields.get("set_up").and_then(|n| set_up(reader, n, unit)),
        called_here: fields.maybe_text(reader, "called_here"),
        id: id?,
        group: group?,
    };
    fields.close(reader);
    Some(setting)
}

fn sign(reader: &mut Reader<'_>, node: &Node) -> Option<Sign> {
    let mut fields = Fields::open(reader, node)?;
    let id = fields.id(reader, "id").map(|at: At<String>| at.value.as_str().into());
    let kind = fields.need(reader, "kind").and_then(|n| reader.choice(n, SIGN_KINDS));
    let title = fields.text(reader, "title");
    let what_it_says = fields.text(reader, "what_it_says");
    let when_wrong = fields.text(reader, "when_wrong");
    let said = fields.texts(reader, "said");
    let called_here = fields.maybe_text(reader, "called_here");
    fields.close(reader);
    Some(Sign {
        id: id?,
        title: title?,
        kind: kind?,
        said,
        what_it_says: what_it_says?,
        when_wrong: when_wrong?,
        called_here,
    })
}

/// A list of things with an id each, of which none may stand twice.
fn named<T>(
    reader: &mut Reader<'_>,
    fields: &mut Fields<'_>,
    key: &'static str,
    read: fn(&mut Reader<'_>, &Node) -> Option<T>,
) -> Vec<T> {
    let nodes = fields.list(reader, key);
    let mut seen = BTreeSet::new();
    for node in nodes {
        let Value::Map(entries) = &node.value else { continue };
        let id = entries.iter().find(|(k, _)| k.value == Value::Text("id".to_owned()));
        if let Some((_, Node { value: Value::Text(id), span })) = id
            && !seen.insert(id.clone())
        {
            let message = format!("'{id}' stands twice under {key}");
            reader.push(
                Diagnostic::error(Code::BadId, *span, message).help("give one of them another id".to_owned()),
            );
        }
    }
    nodes.iter().filter_map(|node| read(reader, node)).collect()
}
