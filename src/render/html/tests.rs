//! What a reader of the browser page and of the printed sheet may count on.

use proptest::prelude::*;

use super::*;
use crate::safety::{Exposure, HandsOnStep, StepText, Trait, Traits};
use crate::view::{Piece, Plot};

fn printed(page: &Page) -> String {
    super::page(page, &Paper { size: Size::A4, running: "Corners · revision 1".to_owned() })
}

/// What stands between `<body>` and its end.
fn body(page: &Page) -> String {
    let text = printed(page);
    let (_, body) = text.split_once("<body>\n").unwrap();
    body.trim_end_matches("</body>\n</html>\n").to_owned()
}

fn one(block: Block) -> String {
    body(&Page(vec![block]))
}

fn at_the_pan(word: Signal) -> HandsOnStep {
    let exposures = Exposures::at(&Traits(vec![Trait::Guarded]), &[]);
    let caution = Caution {
        id: "hands".into(),
        word,
        hazard: "The flap can move.".into(),
        what_can_happen: "it crushes fingers.".into(),
        do_this: "Lock it off.".into(),
        covers: vec![Exposure::Inside],
        brief: false,
    };
    let texts = vec![
        StepText::new("Lay the weight on the pan.", Some("It settles.".into())),
        StepText::new("Lift it off.", None),
    ];
    let isolation = Isolation::of(&[], &[], &exposures);
    HandsOnStep::new(texts, exposures, isolation, vec![caution]).unwrap()
}

fn order(text: &str, wanted: &[&str]) {
    let places: Vec<_> =
        wanted.iter().map(|w| text.find(w).unwrap_or_else(|| panic!("{w} is missing:\n{text}"))).collect();
    assert!(places.is_sorted(), "{wanted:?} in this order:\n{text}");
}

#[test]
fn what_people_type_is_never_html() {
    let evil = "<script>alert(\"1\")</script> & 'x' <img src=http://x.y>\nnext";
    let mut page = Page::titled(evil);
    page.quote(evil, evil);
    page.text(Words::new().plain(evil).strong(evil));
    page.fill([Field::tick(evil), Field::tick_why(evil), Field::short(evil, evil), Field::long(evil)]);
    page.form(&[evil], 1);
    page.push(Block::Cells { count: 1, unit: evil.to_owned() });
    page.push(Block::Lines(vec![evil.to_owned()]));
    let mut table = Table::new(&[evil]);
    table.row([evil]);
    page.push(Block::Table(table));
    page.push(Block::Bars(vec![Bar { label: evil.to_owned(), share: 0.5, words: evil.to_owned() }]));
    let text = super::page(&page, &Paper { size: Size::Letter, running: format!("</style>{evil}\\\"") });
    assert!(!text.contains("<script") && !text.contains("<img"), "{text}");
    assert_eq!(text.matches("</style>").count(), 1);
    assert!(text.contains("&lt;script&gt;alert(&quot;1&quot;)&lt;/script&gt; &amp; &#39;x&#39;"), "{text}");
    assert!(text.contains("content: \"\\3c \\2f style\\3e "), "{text}");
}

#[test]
fn the_file_stands_alone_and_numbers_its_pages() {
    let text = printed(&Page::titled("Corners"));
    order(
        &text,
        &[
            "<!DOCTYPE html>",
            "<html lang=\"en\">",
            "<title>Corners</title>",
            "size: A4",
            "content: \"Corners \\b7  revision 1\"",
            "\"page \" counter(page) \" of \" counter(pages)",
            "<h1>Corners</h1>",
        ],
    );
    for outside in ["<script", "<link", "@import", "url(", "src=", "href="] {
        assert!(!text.contains(outside), "{outside}");
    }
    let letter = super::page(&Page::default(), &Paper { size: Size::Letter, running: "A & B".to_owned() });
    assert!(letter.contains("size: letter") && letter.contains("<title>A &amp; B</title>"));
}

#[test]
fn a_page_break_tears_no_caution_from_its_step() {
    let rule = |selector: &str| {
        STYLE.lines().any(|line| {
            line.split_once('{').is_some_and(|(names, rules)| {
                names.split(',').any(|name| name.trim() == selector) && rules.contains("break-inside: avoid")
            })
        })
    };
    for selector in [".together", ".step", ".caution", ".form"] {
        assert!(rule(selector), "{selector}");
    }
}

#[test]
fn cautions_and_lockout_stand_before_the_step_and_the_notice_at_the_end() {
    let mut page = Page::titled("Known weight");
    page.push(Block::Together(vec![Block::Step(Box::new(at_the_pan(Signal::Warning)), Lockout::InFull)]));
    order(
        &body(&page),
        &[
            "<section class=\"together\">",
            "Where you are for this: inside the guards.",
            "<strong class=\"word\">WARNING</strong> The flap can move. It crushes fingers.",
            "<strong>Do this:</strong> lock it off.",
            "Make it safe first",
            "Lay the weight on the pan. <em>Expect: it settles.</em>",
            "Lift it off.",
            "When the work is done",
            "</section>",
            "General guidance.",
        ],
    );
}

#[test]
fn a_standing_lockout_is_one_question_and_the_cautions_stay() {
    let text = one(Block::Step(Box::new(at_the_pan(Signal::Danger)), Lockout::Standing));
    order(&text, &["DANGER", Isolation::STILL_LOCKED, "Lay the weight"]);
    assert!(!text.contains("Make it safe first"));
}

#[test]
fn every_signal_word_is_a_word_and_has_a_frame_of_its_own() {
    let frames = Signal::ALL.iter().map(|word| {
        let step = at_the_pan(Signal::Danger);
        let text = one(Block::Caution(Caution { word: *word, ..step.cautions()[0].clone() }));
        let (_, rest) = text.split_once("<p class=\"caution ").unwrap();
        let (frame, rest) = rest.split_once("\">").unwrap();
        assert!(rest.starts_with(&format!("<strong class=\"word\">{word}</strong> ")), "{text}");
        assert!(STYLE.contains(&format!("\n.{frame} {{ border")), "{frame}");
        frame.to_owned()
    });
    assert_eq!(frames.collect::<std::collections::BTreeSet<_>>().len(), Signal::ALL.len());
}

#[test]
fn there_is_a_box_for_each_tick_and_a_line_for_each_blank() {
    let fields = vec![
        Field::tick("done"),
        Field::tick_why("left out"),
        Field::short("Reading", "g"),
        Field::long("Name"),
    ];
    insta::assert_snapshot!(one(Block::ToFill(fields)), @r#"
    <div class="fill">
    <span class="tick"><span class="box"></span>done</span>
    <span class="long"><span class="box"></span>left out, why: <span class="rule"></span></span>
    <span class="short">Reading: <span class="rule"></span> g</span>
    <span class="long">Name: <span class="rule"></span></span>
    </div>
    "#);
    let cells = one(Block::Cells { count: 30, unit: "g".to_owned() });
    assert_eq!(cells.matches("<small>g</small>").count(), 30);
    assert!(cells.contains("<small>1</small>") && cells.contains("<small>30</small>"));
    let form = one(Block::Form { head: vec!["Name".to_owned(), "Time".to_owned()], rows: 3 });
    assert_eq!(form.matches("<tr><td></td><td></td></tr>").count(), 3, "{form}");
    assert!(form.contains("<tr><th>Name</th><th>Time</th></tr>"));
}

#[test]
fn a_report_keeps_its_tables_bars_pictures_and_words() {
    let mut table = Table::new(&["what", "#grams"]);
    table.row(["mean", "247.1"]);
    insta::assert_snapshot!(one(Block::Table(table)), @r#"
    <div class="wide">
    <table>
    <tr><th>what</th><th class="number">grams</th></tr>
    <tr><td>mean</td><td class="number">247.1</td></tr>
    </table>
    </div>
    "#);
    let bar = Bar { label: "Span wrong".into(), share: 1.7, words: "about 2 in 10".into() };
    let bars = one(Block::Bars(vec![bar]));
    assert!(bars.contains("width:100%") && bars.contains("about 2 in 10"), "{bars}");
    let plot = Plot { values: vec![247.0, 251.0], target: Some(250.0), unit: "g".into(), ..Plot::default() };
    assert!(one(Block::Plot(plot)).starts_with("<figure><svg "));
    assert_eq!(one(Block::Lines(vec!["a  <".into(), "b".into()])), "<pre>a  &lt;\nb</pre>\n");
    let items = || vec![Words::new().plain("one ").strong("two")];
    assert_eq!(one(Block::Bullets(items())), "<ul>\n<li>one <strong>two</strong></li>\n</ul>\n");
    assert_eq!(one(Block::Numbered(items())), "<ol>\n<li>one <strong>two</strong></li>\n</ol>\n");
    let quote = one(Block::Quote { by: "caller".into(), text: "it hums\nloudly".into() });
    order(&quote, &["<blockquote>", "it hums<br>\nloudly", "caller, own words: not a checked instruction."]);
    assert_eq!(one(Block::Heading("A & B".into())), "<h2>A &amp; B</h2>\n");
    assert_eq!(one(Block::Subheading("1. Corners".into())), "<h3>1. Corners</h3>\n");
    assert_eq!(one(Block::Banner("HOLD".into())), "<p class=\"banner\">HOLD</p>\n");
}

#[test]
fn what_to_type_next_is_for_the_screen_only() {
    assert_eq!(one(Block::Hint("handlamp".into())), "<p class=\"hint\">handlamp</p>\n");
    assert!(STYLE.contains(".hint { display: none; }"));
}

/// Elements that are open, innermost last; panics at one that closes another.
fn all_closed(html: &str) -> bool {
    let mut open: Vec<&str> = Vec::new();
    for tag in html.split('<').skip(1).map(|rest| rest.split('>').next().unwrap_or("")) {
        let name = tag.split(' ').next().unwrap_or("");
        match name.strip_prefix('/') {
            Some(closed) => assert_eq!(open.pop(), Some(closed), "{html}"),
            None if name == "br" => {}
            None => open.push(name),
        }
    }
    open.is_empty()
}

proptest! {
    #[test]
    fn no_text_opens_or_closes_an_element(text in "[a-z<>&\"'/= \n\\\\{}]{0,60}") {
        let mut page = Page::titled(&text);
        page.heading(&text);
        page.quote(&text, &text);
        page.text(Words::new().plain(&text).strong(&text));
        page.fill([Field::tick(&text), Field::long(&text)]);
        page.push(Block::Together(vec![Block::Banner(text.clone()), Block::Subheading(text.clone())]));
        prop_assert!(all_closed(&body(&page)));
        let words = Words::new().plain(&text);
        let said: String = words.pieces().iter().map(|p: &Piece| p.text.as_str()).collect();
        let read = spoken(&words).replace("<br>", "").replace("&lt;", "<").replace("&gt;", ">");
        prop_assert_eq!(read.replace("&quot;", "\"").replace("&#39;", "'").replace("&amp;", "&"), said);
    }
}
