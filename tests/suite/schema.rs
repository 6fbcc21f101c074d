//! `knowledge schema`: the form that an editor checks by is the form that the reader accepts, key by key.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use handlamp::diag::{Code, Diagnostic};
use handlamp::knowledge::{ENTRY_KINDS, Texts, load, schema};
use serde_json::{Map, Value, json};

use crate::tool::Tool;

fn folder(kind: &str) -> String {
    if kind == "remedy" { "remedies".to_owned() } else { format!("{kind}s") }
}

fn built_in() -> handlamp::knowledge::Knowledge {
    load(&Texts::built_in()).0
}

fn validator(kind: &str) -> jsonschema::Validator {
    jsonschema::draft202012::new(&schema(&built_in(), Some(kind))).unwrap()
}

fn as_json(text: &str) -> Value {
    serde_yaml::from_str(text).unwrap()
}

/// What the reader says about one entry that stands alone.
fn read_alone(kind: &str, entry: &Value) -> Vec<Diagnostic> {
    let home = tempfile::tempdir().unwrap();
    let inner = home.path().join(folder(kind));
    std::fs::create_dir(&inner).unwrap();
    let head = "format: handlamp-knowledge/1\nversion: 1.0.0\nbase: none\n";
    std::fs::write(home.path().join("knowledge.yaml"), head).unwrap();
    std::fs::write(inner.join("it.yaml"), serde_json::to_string_pretty(entry).unwrap()).unwrap();
    load(&Texts::built_in().overlaid_by(home.path())).1
}

/// A value that holds every key a schema knows.
fn whole(schema: &Value, defs: &Value) -> Value {
    if let Some(name) = schema["$ref"].as_str() {
        return whole(&defs[name.replace("#/$defs/", "")], defs);
    }
    if let Some(ways) = schema["anyOf"].as_array() {
        let group = ways.iter().find(|way| way["properties"].is_object());
        return whole(group.unwrap_or(&ways[0]), defs);
    }
    if let Some(words) = schema["enum"].as_array() {
        return words.last().unwrap().clone();
    }
    match (schema.get("const"), schema["type"].as_str()) {
        (Some(only), _) => only.clone(),
        (_, Some("object")) if schema["additionalProperties"].is_object() => {
            json!({"some-name": whole(&schema["additionalProperties"], defs)})
        }
        (_, Some("object")) => {
            let keys = schema["properties"].as_object().unwrap();
            keys.iter().map(|(key, holds)| (key.clone(), whole(holds, defs))).collect::<Map<_, _>>().into()
        }
        (_, Some("array")) => json!([whole(&schema["items"], defs)]),
        (_, Some("number")) => schema["maximum"].clone(),
        (_, Some("boolean")) => json!(true),
        _ => schema["examples"].get(0).cloned().unwrap_or_else(|| json!("words")),
    }
}

/// A group with fixed keys: where it stands in [`whole`], its keys, and those that must be there.
type Group = (String, BTreeSet<String>, BTreeSet<String>);

/// Every group of a schema.
fn groups(schema: &Value, defs: &Value, at: &str, all: &mut Vec<Group>) {
    if let Some(name) = schema["$ref"].as_str() {
        return groups(&defs[name.replace("#/$defs/", "")], defs, at, all);
    }
    for way in schema["anyOf"].as_array().into_iter().flatten() {
        groups(way, defs, at, all);
    }
    if schema["items"].is_object() {
        groups(&schema["items"], defs, &format!("{at}/0"), all);
    }
    if schema["additionalProperties"].is_object() {
        return groups(&schema["additionalProperties"], defs, &format!("{at}/some-name"), all);
    }
    let Some(keys) = schema["properties"].as_object() else { return };
    let required = schema["required"].as_array().into_iter().flatten();
    let required = required.map(|key| key.as_str().unwrap().to_owned()).collect();
    all.push((at.to_owned(), keys.keys().cloned().collect(), required));
    for (key, holds) in keys {
        groups(holds, defs, &format!("{at}/{key}"), all);
    }
}

/// The sample of a kind, and its groups.
fn sample(kind: &str) -> (Value, Vec<Group>) {
    let schema = schema(&built_in(), Some(kind));
    let defs = schema["$defs"].clone();
    let mut all = Vec::new();
    groups(&defs[kind], &defs, "", &mut all);
    (whole(&defs[kind], &defs), all)
}

#[test]
fn every_key_that_the_reader_knows_is_in_the_schema_and_no_other() {
    let mut seen = 0;
    for kind in ENTRY_KINDS {
        let (entry, groups) = sample(kind);
        for (at, keys, _) in groups {
            let mut entry = entry.clone();
            entry.pointer_mut(&at).unwrap()["qqqqqqqqqqqq"] = json!(1);
            let problems = read_alone(kind, &entry);
            let helps =
                problems.iter().filter(|p| p.code == Code::UnknownKey).map(|p| p.help.clone().unwrap());
            let known: Vec<String> = helps.collect();
            assert_eq!(known.len(), 1, "{kind}{at}: {problems:#?}");
            let known = known[0].strip_prefix("known here: ").unwrap().split(", ").map(str::to_owned);
            assert_eq!(known.collect::<BTreeSet<_>>(), keys, "{kind}{at}");
            seen += 1;
        }
    }
    assert!(seen >= 30, "only {seen} groups were tried");
}

#[test]
fn a_key_is_required_exactly_where_the_reader_misses_it() {
    for kind in ENTRY_KINDS {
        let (entry, groups) = sample(kind);
        let validator = validator(kind);
        assert!(validator.is_valid(&entry), "{kind}: {:?}", validator.validate(&entry).err());
        for (at, keys, required) in groups {
            for key in keys {
                let mut entry = entry.clone();
                entry.pointer_mut(&at).unwrap().as_object_mut().unwrap().remove(&key);
                let says = |p: &Diagnostic| match p.code {
                    Code::MissingKey => p.message.starts_with(&format!("'{key}'")),
                    Code::UntreatedEnergy => key == "isolated_by",
                    _ => false,
                };
                let missed = read_alone(kind, &entry).iter().any(says);
                assert_eq!(missed, required.contains(&key), "{kind}{at}/{key}");
                assert_eq!(!validator.is_valid(&entry), missed, "{kind}{at}/{key}");
            }
        }
    }
}

fn files(kind: &str) -> Vec<PathBuf> {
    let here = Path::new(env!("CARGO_MANIFEST_DIR")).join("knowledge");
    let template = here.join(format!("examples/{kind}.yaml"));
    let entries = std::fs::read_dir(here.join(folder(kind))).unwrap().map(|e| e.unwrap().path());
    entries.chain(Some(template).filter(|t| t.exists())).collect()
}

#[test]
fn every_shipped_entry_and_template_has_the_form_of_the_schema() {
    let mut wrong = Vec::new();
    for kind in ENTRY_KINDS {
        let validator = validator(kind);
        for file in files(kind) {
            let entry = as_json(&std::fs::read_to_string(&file).unwrap());
            wrong.extend(
                validator
                    .iter_errors(&entry)
                    .map(|e| format!("{}: {} at {}", file.display(), e, e.instance_path())),
            );
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn what_the_reader_refuses_for_its_form_an_editor_marks_too() {
    for (kind, file) in [
        ("check", "unknown-key/checks/paper-round-pan.yaml"),
        ("check", "unknown-word/checks/paper-round-pan.yaml"),
        ("check", "empty-cautions/checks/paper-round-pan.yaml"),
        ("remedy", "missing-key/remedies/lower-allowance.yaml"),
        ("circumstance", "out-of-range/circumstances/product-changed.yaml"),
    ] {
        let text = std::fs::read_to_string(Path::new("tests/kb").join(file)).unwrap();
        assert!(!validator(kind).is_valid(&as_json(&text)), "{file}");
    }
}

#[test]
fn a_name_that_is_written_next_is_allowed_and_known_ones_are_offered() {
    let cause = json!({
        "title": "A cause", "machines": {"single-tray-weigher": "common"},
        "leads_to": [{"finding": "a-finding-still-to-come", "strength": "usually"}],
    });
    assert!(validator("cause").is_valid(&cause));
    let schema = schema(&built_in(), Some("cause"));
    let offered = &schema["$defs"]["a-finding"]["anyOf"][0]["enum"];
    assert!(offered.as_array().unwrap().contains(&json!("fills-steadily-light")), "{offered}");
}

#[test]
fn the_command_prints_one_schema_for_all_kinds_or_for_one() {
    let tool = Tool::minimal(80);
    let all = tool.run(&["knowledge", "schema"]).json();
    jsonschema::draft202012::meta::validate(&all).unwrap();
    let any = jsonschema::draft202012::new(&all).unwrap();
    let entry = std::fs::read_to_string("tests/kb/minimal/causes/pan-touching.yaml").unwrap();
    assert!(any.is_valid(&as_json(&entry)));
    assert!(ENTRY_KINDS.iter().all(|kind| all["$defs"][kind].is_object()));
    let one = tool.run(&["knowledge", "schema", "caution"]).json();
    assert!(one["$defs"]["caution"].is_object() && one["$defs"]["cause"].is_null(), "{one}");
    let wrong = tool.run(&["knowledge", "schema", "causes"]);
    assert!(wrong.status == Some(2) && wrong.err.contains("cause"), "{}", wrong.block());
}
