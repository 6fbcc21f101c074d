//! Editing an entry keeps every byte outside of what is changed, over the whole knowledge.

use handlamp::knowledge::Texts;
use handlamp::knowledge::edit::{EditError, Place, Scalar, add, set};
use serde_yaml::Value;

use crate::dice::Dice;

/// So many values are changed and lists added to in each file.
const TRIED: usize = 6;

/// Every single value and every list, as our editor names them, by another reader of YAML.
fn places(value: &Value, own: &str, singles: &mut Vec<String>, lists: &mut Vec<String>) {
    let inside = |part: &str| if own.is_empty() { part.to_owned() } else { format!("{own}.{part}") };
    match value {
        Value::Mapping(entries) => {
            for (key, value) in entries {
                places(value, &inside(key.as_str().unwrap()), singles, lists);
            }
        }
        Value::Sequence(items) => {
            if items.iter().all(Value::is_string) && !items.is_empty() {
                lists.push(own.to_owned());
            }
            for (index, value) in items.iter().enumerate() {
                places(value, &inside(&index.to_string()), singles, lists);
            }
        }
        Value::String(_) | Value::Number(_) => singles.push(own.to_owned()),
        _ => {}
    }
}

fn at<'v>(value: &'v mut Value, place: &str) -> &'v mut Value {
    place.split('.').fold(value, |value, part| match value {
        Value::Sequence(items) => &mut items[part.parse::<usize>().unwrap()],
        other => other.get_mut(part).unwrap(),
    })
}

/// What is neither the same at the beginning nor at the end: of the old text, and of the new.
fn between<'t>(old: &'t str, new: &'t str) -> (&'t str, &'t str) {
    let start = old.bytes().zip(new.bytes()).take_while(|(a, b)| a == b).count();
    let most = old.len().min(new.len()) - start;
    let end = old.bytes().rev().zip(new.bytes().rev()).take_while(|(a, b)| a == b).count().min(most);
    let part = |text: &'t str| text.get(start..text.len() - end).unwrap_or("?");
    (part(old), part(new))
}

fn some(dice: &mut Dice, places: &[String]) -> Vec<String> {
    if places.is_empty() {
        Vec::new()
    } else {
        (0..TRIED).map(|_| places[dice.below(places.len())].clone()).collect()
    }
}

#[test]
fn over_the_whole_knowledge_an_edit_changes_one_value_and_not_a_byte_besides() {
    let mut dice = Dice(7);
    let (mut changed, mut refused) = (0, Vec::new());
    for (path, _, text) in
        Texts::built_in().iter().map(|(a, b, c)| (a.to_owned(), b.to_owned(), c.to_owned()))
    {
        let known: Value = serde_yaml::from_str(&text).unwrap();
        let (mut singles, mut lists) = (Vec::new(), Vec::new());
        places(&known, "", &mut singles, &mut lists);
        for name in some(&mut dice, &singles) {
            let Some(place) = Place::parse(&name) else { continue };
            let number = dice.chance(0.5);
            let to = if number { Scalar::Number(21.5) } else { Scalar::Text("it's new: 5 g, no".to_owned()) };
            match set(&text, &place, &to) {
                Ok(edited) => {
                    let mut wanted = known.clone();
                    let value = if number { Value::from(21.5) } else { Value::from("it's new: 5 g, no") };
                    let old = std::mem::replace(at(&mut wanted, &name), value);
                    assert_eq!(serde_yaml::from_str::<Value>(&edited).unwrap(), wanted, "{path} {name}");
                    let (gone, _) = between(&text, &edited);
                    let length = old.as_str().map_or(24, |old| 2 * old.len() + 2);
                    assert!(gone.len() <= length && !gone.contains('#'), "{path} {name}: {gone:?}");
                    changed += 1;
                }
                Err(error) => refused.push(format!("{path} {name}: {error}")),
            }
        }
        for name in some(&mut dice, &lists).into_iter().take(2) {
            let Some(place) = Place::parse(&name) else { continue };
            match add(&text, &place, &Scalar::Text("said, by somebody".to_owned())) {
                Ok(edited) => {
                    let mut wanted = known.clone();
                    let Value::Sequence(items) = at(&mut wanted, &name) else { panic!("{name} is a list") };
                    items.push(Value::from("said, by somebody"));
                    assert_eq!(serde_yaml::from_str::<Value>(&edited).unwrap(), wanted, "{path} {name}");
                    assert_eq!(between(&text, &edited).0, "", "{path} {name}: nothing is taken away");
                    changed += 1;
                }
                Err(error) => refused.push(format!("{path} {name}: {error}")),
            }
        }
    }
    assert!(changed > 3000, "{changed}");
    assert!(refused.is_empty(), "{} of {changed}:\n{}", refused.len(), refused.join("\n"));
}

#[test]
fn an_edit_that_would_do_more_is_refused_and_says_so() {
    let place = Place::parse("title").unwrap();
    let block = "title: |\n  two\n  lines\nabout: x\n";
    match set(block, &place, &Scalar::Text("one".to_owned())) {
        Ok(edited) => assert_eq!(serde_yaml::from_str::<Value>(&edited).unwrap()["about"], Value::from("x")),
        Err(error) => assert!(matches!(error, EditError::WouldChangeMore(_)), "{error}"),
    }
    assert!(Place::parse("../x").is_none() && Place::parse("a..b").is_none() && Place::parse("").is_none());
}
