//! A drawing fits a page, nothing in it covers anything else, and it can be read without seeing it.

use super::layout::{HEIGHT, NOTE, WIDTH};
use super::*;
use crate::graph::{FaultGraph, Node};
use crate::knowledge::{Texts, load};
use crate::view::picture::{Arrow, Card, picture};
use proptest::prelude::*;

fn judged(picture: &Picture) {
    let (cut, sheet) = fitted(picture);
    let title = &picture.title;
    assert!(sheet.height <= HEIGHT, "{title}: {}", sheet.height);
    let texts = sheet.texts.iter().chain(sheet.boxes.iter().flat_map(|b| &b.texts));
    for text in texts {
        let inside = text.x >= 0.0 && text.x + text.font.width(&text.text) <= WIDTH && text.y <= sheet.height;
        assert!(inside, "{title}: '{}' leaves the page", text.text);
    }
    for (i, a) in sheet.boxes.iter().enumerate() {
        assert!(a.y >= 0.0 && a.y + a.height <= sheet.height, "{title}");
        for text in &a.texts {
            let right = text.x + text.font.width(&text.text);
            assert!(
                right <= a.x + a.width && text.y < a.y + a.height,
                "{title}: '{}' leaves its box",
                text.text
            );
        }
        for b in &sheet.boxes[i + 1..] {
            let apart = a.x + a.width <= b.x
                || b.x + b.width <= a.x
                || a.y + a.height <= b.y
                || b.y + b.height <= a.y;
            assert!(apart, "{title}: two boxes lie over each other");
        }
        let loose = sheet.texts.iter().filter(|t| {
            let over = t.y > a.y && t.y - t.font.size * 0.8 < a.y + a.height;
            over && t.x < a.x + a.width && t.x + t.font.width(&t.text) > a.x
        });
        assert_eq!(loose.count(), 0, "{title}: a text lies over a box");
        // A link runs between columns or, across the middle one, in its lane.
        for curve in &sheet.curves {
            for pair in curve.points.windows(2).filter(|pair| pair[0].1 == pair[1].1) {
                let crosses = pair[0].0 <= a.x && pair[1].0 >= a.x + a.width;
                assert!(
                    !crosses || pair[0].1 < a.y || pair[0].1 > a.y + a.height,
                    "{title}: a link crosses a box"
                );
            }
        }
    }
    let drawn: usize = cut.picture.columns.iter().map(|c| c.boxes.len()).sum();
    assert_eq!(drawn, sheet.boxes.len());
    let all: usize = picture.columns.iter().map(|c| c.boxes.len()).sum();
    assert_eq!(drawn + cut.left_out.iter().sum::<usize>(), all, "{title}: what is not drawn is counted");
    let centres = |p: &Picture| p.columns.iter().flat_map(|c| &c.boxes).filter(|b| b.centre).count();
    assert_eq!(centres(&cut.picture), centres(picture), "{title}: what it is about is always drawn");
}

#[test]
fn every_entry_of_the_knowledge_has_a_drawing_that_fits_a_page() {
    let (knowledge, _) = load(&Texts::built_in());
    let (graph, _) = FaultGraph::build(&knowledge);
    let mut seen = 0;
    for node in Node::all(&knowledge) {
        let picture = picture(&knowledge, &graph, &node, None);
        judged(&picture);
        let boxes: usize = fitted(&picture).0.picture.columns.iter().map(|c| c.boxes.len()).sum();
        assert!(boxes > 0, "{} has nothing around it", node.id());
        seen += 1;
    }
    assert!(seen > 100, "only {seen} drawings");
}

#[test]
fn a_drawing_says_in_words_what_it_shows_and_names_no_ids() {
    let (knowledge, _) = load(&Texts::built_in());
    let (graph, _) = FaultGraph::build(&knowledge);
    let drawn = svg(&picture(&knowledge, &graph, &Node::Finding("fills-steadily-light".into()), None));
    let (head, body) = drawn.split_once("</desc>").unwrap();
    assert!(head.contains("<title id=\"name\">Every fill is light"), "{head}");
    assert!(head.contains("leads to every fill is light by about the same amount: usually."), "{head}");
    let ids = body.matches("fills-steadily-light").count();
    assert_eq!(ids, body.matches("handlamp show fills-steadily-light").count());
    for word in ["always", "usually", "often", "sometimes", "rarely"] {
        assert!(body.contains(&format!(">{word}</text>")), "{word} is not in the legend");
    }
}

#[test]
fn text_cannot_become_markup() {
    assert_eq!(escaped("a<b> & \"c\" 'd'\u{1b}"), "a&lt;b&gt; &amp; &quot;c&quot; &#39;d&#39;");
    let mut picture = Picture { title: "<script>&".to_owned(), ..Picture::default() };
    picture.columns[0].boxes.push(Card { title: "</text><g>".to_owned(), notes: vec![], centre: true });
    let drawn = svg(&picture);
    assert!(!drawn.contains("<script") && !drawn.contains("<g>"), "{drawn}");
}

fn cards(most: usize) -> impl Strategy<Value = Vec<Card>> {
    let card = ("[a-zA-Zäß ]{1,90}", prop::collection::vec("\\PC{0,120}", 0..4));
    let card = card.prop_map(|(title, notes)| Card { title, notes, centre: false });
    prop::collection::vec(card, 0..most)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn whatever_is_drawn_fits_and_covers_nothing(
        title in "\\PC{0,200}",
        causes in cards(30), conditions in cards(20), symptoms in cards(20),
        ends in prop::collection::vec((0usize..3, 0usize..30, 0usize..3, 0usize..30, 0.0f64..1.0), 0..60),
    ) {
        let mut picture = Picture { title, kind: "Symptom".to_owned(), ..Picture::default() };
        picture.columns[0].boxes = causes;
        picture.columns[1].boxes = conditions;
        picture.columns[2].boxes = symptoms;
        for (a, i, b, j, strength) in ends {
            let has = |column: usize, at: usize| at < picture.columns[column].boxes.len();
            // Nothing leads to a cause.
            if has(a, i) && has(b, j) && (a, i) != (b, j) && b > 0 {
                picture.links.push(Arrow { from: (a, i), to: (b, j), strength, words: "often".to_owned() });
            }
        }
        judged(&picture);
    }
}

#[test]
fn notes_can_be_read_on_paper() {
    // Seven points are what a printed label may have at the least.
    let points = NOTE.size / 4.0 / 25.4 * 72.0;
    assert!((7.0..=9.0).contains(&points), "{points}");
}
