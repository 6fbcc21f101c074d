//! What a reader may count on, whatever people typed: no line wider than the page, no markup, no step without its
//! cautions.

use proptest::prelude::*;
use unicode_width::UnicodeWidthStr;

use super::{Look, Paint, markdown, plain, terminal};
use crate::safety::{Caution, Exposure, Exposures, HandsOnStep, Isolation, Signal, StepText, Trait, Traits};
use crate::view::{Bar, Block, Field, Lockout, Page, Table, Words};

fn at_the_pan(lockout: Lockout) -> Page {
    let exposures = Exposures::at(&Traits(vec![Trait::Guarded, Trait::Scale]), &[]);
    let caution = Caution {
        id: "hands".into(),
        word: Signal::Warning,
        hazard: "The flap can move.".into(),
        what_can_happen: "Crushed fingers.".into(),
        do_this: "Lock it off.".into(),
        covers: vec![Exposure::Inside, Exposure::AtScale],
        brief: false,
    };
    let texts = vec![StepText::new("Lay the weight on the pan.", Some("It settles.".into()))];
    let isolation = Isolation::of(&[], &[], &exposures);
    let step = HandsOnStep::new(texts, exposures, isolation, vec![caution]).unwrap();
    let mut page = Page::titled("Known weight");
    page.step(step, lockout);
    page
}

fn order(text: &str, words: &[&str]) {
    let places: Vec<_> =
        words.iter().map(|w| text.find(w).unwrap_or_else(|| panic!("{w} is missing:\n{text}"))).collect();
    assert!(places.is_sorted(), "{words:?} in this order:\n{text}");
}

#[test]
fn cautions_and_lockout_stand_before_the_step_and_the_notice_at_the_end_on_every_output() {
    let page = at_the_pan(Lockout::InFull);
    let look = Look::terminal(40, Paint::None);
    for text in [terminal::draw(&page, &look), plain::report(&page, plain::COLUMNS), markdown::report(&page)]
    {
        order(
            &text,
            &["WARNING", "Make it safe", "Lay the weight", "When the work is done", "General guidance."],
        );
    }
}

#[test]
fn a_standing_lockout_is_one_question_and_the_cautions_stay() {
    let page = at_the_pan(Lockout::Standing);
    let text = terminal::draw(&page, &Look::terminal(80, Paint::None));
    order(&text, &["WARNING", Isolation::STILL_LOCKED, "Lay the weight", "General guidance."]);
    assert!(!text.contains("Make it safe first"));
}

#[test]
fn signal_words_are_words_with_and_without_colours() {
    for paint in [Paint::Colours, Paint::None] {
        let text = terminal::draw(&at_the_pan(Lockout::InFull), &Look::terminal(60, paint));
        assert!(text.contains("WARNING"));
        assert_eq!(text.contains('\u{1b}'), paint == Paint::Colours);
    }
}

#[test]
fn what_people_type_is_never_markup() {
    let mut page = Page::default();
    page.quote("caller", "see *this* [here](http://x.y) <b>now</b>\n# top\n1. one\n- two | `code`");
    let text = terminal::draw(&page, &Look::terminal(80, Paint::None));
    assert!(text.contains("see *this* [here](http://x.y) <b>now</b>"), "{text}");
    assert!(text.contains("not a checked instruction"));
    let text = markdown::report(&page);
    assert!(text.contains("\\*this\\* \\[here\\](http\\://x.y) \\<b\\>now\\</b\\>"), "{text}");
    assert!(
        text.contains("> \\# top") && text.contains("> 1\\. one") && text.contains("> \\- two \\|"),
        "{text}"
    );
}

#[test]
fn a_table_that_does_not_fit_is_taken_apart() {
    let mut table = Table::new(&["what", "#minutes", "where"]);
    table.row(["Known weight on the empty pan", "3", "the weigh pan, behind the guard"]);
    let page = Page(vec![Block::Table(table)]);
    insta::assert_snapshot!(terminal::draw(&page, &Look::terminal(80, Paint::None)), @r"
what                          minutes where
───────────────────────────── ─────── ───────────────────────────────
Known weight on the empty pan       3 the weigh pan, behind the guard
");
    insta::assert_snapshot!(terminal::draw(&page, &Look::terminal(40, Paint::None)), @r"
Known weight on the empty pan
  minutes: 3
  where: the weigh pan, behind the
    guard
");
}

#[test]
fn bars_say_their_share_in_words() {
    let bar = |label: &str, share, words: &str| Bar { label: label.into(), share, words: words.into() };
    let page = Page(vec![Block::Bars(vec![
        bar("In-flight allowance set too high", 0.6, "about 6 in 10"),
        bar("Span wrong", 0.2, "about 2 in 10"),
    ])]);
    insta::assert_snapshot!(terminal::draw(&page, &Look::terminal(80, Paint::None)), @r"
In-flight allowance set too high  ████████████········  about 6 in 10
Span wrong                        ████················  about 2 in 10
");
    insta::assert_snapshot!(terminal::draw(&page, &Look::terminal(40, Paint::None)), @r"
In-flight allowance set too high
  ████████████········  about 6 in 10
Span wrong
  ████················  about 2 in 10
");
    insta::assert_snapshot!(plain::report(&page, plain::COLUMNS), @r"
In-flight allowance set too high  ############........  about 6 in 10
Span wrong                        ####................  about 2 in 10
");
}

#[test]
fn what_is_filled_in_by_hand_has_boxes_and_blanks_on_every_output() {
    let mut page = Page::default();
    page.subheading("1. Corners");
    page.push(Block::Banner("HOLD".to_owned()));
    page.fill([
        Field::short("Reading", "g"),
        Field::tick("done"),
        Field::tick("not so"),
        Field::tick_why("left out"),
    ]);
    page.push(Block::Cells { count: 3, unit: "g".to_owned() });
    page.form(&["Name", "Time"], 2);
    let page = Page(vec![Block::Together(page.0)]);
    insta::assert_snapshot!(plain::report(&page, 40), @r"
    1. Corners
    *** HOLD ***

    Reading: ________ g   [ ] done
    [ ] not so
    [ ] left out, why:
      ____________________

    1: ________ g   2: ________ g
    3: ________ g

    Name: ________   Time: ________
    Name: ________   Time: ________
    ");
    insta::assert_snapshot!(markdown::report(&page), @r"
    ### 1\. Corners

    **HOLD**

    Reading: \_\_\_\_\_\_\_\_ g   \[ \] done   \[ \] not so   \[ \] left out, why: \_\_\_\_\_\_\_\_\_\_\_\_\_\_\_\_\_\_\_\_

    1: \_\_\_\_\_\_\_\_ g   2: \_\_\_\_\_\_\_\_ g   3: \_\_\_\_\_\_\_\_ g

    | Name | Time |
    | --- | --- |
    |  |  |
    |  |  |
    ");
}

const ESCAPE: char = '\u{1b}';

proptest! {
    #[test]
    fn no_line_is_wider_than_the_page(
        texts in proptest::collection::vec("[a-zäß⚙漢 .*`|\\-_#\u{1b}\t\n]{0,90}", 1..6),
        columns in 20usize..120,
    ) {
        let look = Look::terminal(columns, Paint::None);
        let words = || texts.iter().map(|t| Words::new().plain(t).strong("bold ").plain(t)).collect::<Vec<_>>();
        let mut table = Table::new(&["one", "#two", "three"]);
        for text in &texts {
            table.row([text.as_str(), "2", text.as_str()]);
        }
        let mut page = Page::titled(&texts[0]);
        page.heading(&texts[0]);
        page.text(words()[0].clone());
        page.bullets(words());
        page.push(Block::Numbered(words()));
        page.push(Block::Table(table));
        page.push(Block::Lines(texts.clone()));
        page.hint(words()[0].clone());
        page.quote(&texts[0], &texts[0]);
        page.subheading(&texts[0]);
        page.push(Block::Banner(texts[0].clone()));
        page.fill(texts.iter().flat_map(|t| [Field::tick(t), Field::tick_why(t), Field::short(t, t), Field::long(t)]));
        page.push(Block::Cells { count: 12, unit: texts[0].clone() });
        page.form(&[&texts[0], "two"], 2);
        page = Page(vec![Block::Together(page.0)]);
        let bar = |t: &String| Bar { label: t.clone(), share: 0.5, words: "about 5 in 10".into() };
        page.push(Block::Bars(texts.iter().map(bar).collect()));
        for line in terminal::draw(&page, &look).lines() {
            prop_assert!(line.width() <= look.width, "{} > {}: {line:?}", line.width(), look.width);
            prop_assert!(!line.contains(ESCAPE));
        }
    }
}
