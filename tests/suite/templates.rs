//! The templates that authors start from are good entries.

use std::path::Path;

use handlamp::knowledge::{Texts, load};
use handlamp::vet;

/// Template, and where its entry would stand under the id that the other templates use for it.
const TEMPLATES: &[(&str, &str)] = &[
    ("machine", "machines/single-tray-weigher"),
    ("circumstance", "circumstances/product-changed"),
    ("symptom", "symptoms/fills-steadily-light"),
    ("cause", "causes/inflight-allowance-high"),
    ("check", "checks/test-weight-on-pan"),
    ("remedy", "remedies/lower-inflight-allowance"),
    ("caution", "cautions/hands-at-live-scale"),
    ("rule", "rules/eu-average-quantity"),
    ("lesson", "lessons/new-oil-holds-more-back-3f9a21"),
];

fn examples() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("knowledge/examples")
}

#[test]
fn every_template_loads_and_vets_in_its_place() {
    let folder = tempfile::tempdir().unwrap();
    for (template, place) in TEMPLATES {
        let file = folder.path().join(format!("{place}.yaml"));
        std::fs::create_dir_all(file.parent().unwrap()).unwrap();
        std::fs::copy(examples().join(format!("{template}.yaml")), file).unwrap();
    }
    let texts = Texts::built_in().overlaid_by(folder.path());
    let (knowledge, mut problems) = load(&texts);
    problems.extend(vet::judge(&knowledge, &texts, false));
    let name = folder.path().display().to_string();
    let theirs = |p: &&handlamp::diag::Diagnostic| {
        p.span.is_some_and(|span| knowledge.sources.name(span.file).starts_with(&name))
    };
    let errors = problems.iter().filter(|p| p.severity == handlamp::diag::Severity::Error);
    let said: Vec<_> = errors.filter(theirs).map(|p| p.sentence(&knowledge.sources)).collect();
    assert!(said.is_empty(), "{said:#?}");
    assert!(knowledge.refused.is_empty(), "{:?}", knowledge.refused);
}

#[test]
fn every_template_is_tried() {
    let mut there: Vec<_> = std::fs::read_dir(examples())
        .unwrap()
        .map(|e| e.unwrap().path().file_stem().unwrap().to_string_lossy().into_owned())
        .collect();
    there.sort();
    let mut tried: Vec<_> = TEMPLATES.iter().map(|(template, _)| (*template).to_owned()).collect();
    // Tried in lists_refused.rs.
    tried.push("checklist".to_owned());
    tried.sort();
    assert_eq!(tried, there);
}

#[test]
fn a_lonely_template_of_a_condition_loads_from_the_template_of_a_symptom() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::create_dir(folder.path().join("conditions")).unwrap();
    let text = std::fs::read_to_string(examples().join("symptom.yaml")).unwrap();
    let condition: Vec<_> = text.lines().filter(|l| !l.starts_with("pattern")).collect();
    let condition = condition.join("\n").replace("# degrees:", "degrees:");
    std::fs::write(folder.path().join("conditions/layer-uneven.yaml"), condition).unwrap();
    let (knowledge, problems) = load(&Texts::built_in().overlaid_by(folder.path()));
    assert!(problems.is_empty(), "{problems:#?}");
    assert_eq!(knowledge.findings["layer-uneven"].degrees, 2);
}

/// Every key that a schema knows, at any depth.
fn keys(schema: &serde_json::Value, all: &serde_json::Value, found: &mut std::collections::BTreeSet<String>) {
    if let Some(name) = schema["$ref"].as_str() {
        keys(&all["$defs"][name.replace("#/$defs/", "")], all, found);
    }
    for inner in schema["anyOf"].as_array().into_iter().flatten().chain([&schema["items"]]) {
        if inner.is_object() {
            keys(inner, all, found);
        }
    }
    let named = schema["propertyNames"].is_object();
    for (key, holds) in schema["properties"].as_object().into_iter().flatten().filter(|_| !named) {
        found.insert(key.clone());
        keys(holds, all, found);
    }
    if schema["additionalProperties"].is_object() {
        keys(&schema["additionalProperties"], all, found);
    }
}

#[test]
fn every_template_shows_every_key_that_its_kind_can_have() {
    let (knowledge, _) = load(&Texts::built_in());
    for (template, _) in TEMPLATES {
        let text = std::fs::read_to_string(examples().join(format!("{template}.yaml"))).unwrap();
        let shown: std::collections::BTreeSet<_> =
            text.split(|c: char| !c.is_ascii_alphanumeric() && c != '_').collect();
        let schema = handlamp::knowledge::schema(&knowledge, Some(template));
        let mut wanted = std::collections::BTreeSet::new();
        keys(&schema["$defs"][*template], &schema, &mut wanted);
        let lacking: Vec<_> = wanted.iter().filter(|key| !shown.contains(key.as_str())).collect();
        assert!(wanted.len() > 8 && lacking.is_empty(), "{template}.yaml does not show {lacking:?}");
    }
}
