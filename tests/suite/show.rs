//! `show`: cautions stand before every hands-on step, on every output, and every entry can be shown.

use handlamp::graph::FaultGraph;
use handlamp::knowledge::{Texts, load};
use handlamp::render::{Look, Paint, json, markdown, terminal};
use handlamp::safety::STANDING_NOTICE;
use handlamp::view::entry::{self, Entry};
use serde_json::Value;
use unicode_width::UnicodeWidthStr;

use crate::tool::Tool;

#[test]
fn a_hands_on_check_says_cautions_and_lockout_before_its_step() {
    insta::assert_snapshot!(Tool::minimal(40).run(&["show", "paper-round-pan"]).block(), @r#"
A strip of paper round the pan

Check paper-round-pan

About 3 minutes, at the weigh pan.

Ask: Does a strip of paper slide freely
all the way round the pan?

Steps
Where you are for this: hands at the
scale, inside the guards.
▌ WARNING
▌ The flap and the tray can move while
▌ your hand is at the pan.
▌ What can happen: crushed or cut
▌ fingers.
▌ Do this: lock off every drive, dump
▌ the air and try to start before you
▌ reach in.

Make it safe first
A prompt, not the site's own procedure.
Have you this machine's written
isolation procedure, and does it agree?
If there is none: stop, checks from
outside only.
   1. Prepare: know each energy, its
      size and its isolation point.
   2. Visitor and site tell each other
      their procedures. Tell everybody
      whom the stop affects.
   3. Stop the machine the normal way,
      with product run out.
   4. Isolate mains: the lockable
      disconnector on the panel. A push
      button, an emergency stop or a
      guard switch is not an isolator.
   5. Isolate compressed air: the
      lockable dump valve. A regulator
      turned down is not shut. Clear
      people before the air goes.
   6. Isolate the scale's own feed,
      where it has one.
   7. For a step that reads the scale,
      and for nothing else, its own feed
      alone may be on: switched on by
      whoever holds its key, off and
      locked again after. If it shares a
      supply with a drive, stop: test
      from outside.
   8. For work at the scale's terminals
      its own feed stays locked, and a
      qualified electrical person proves
      it dead.
   9. See that no start path is left:
      the start key at the panel.
  10. Everybody who reaches in puts
      their own lock and tag on each
      point and keeps the key.
  11. Release what is stored, and look
      again before each step: it can
      come back.
  12. Compressed air: see it dumped, the
      gauge at zero; some can be trapped
      behind a valve.
  13. Clear people, then try every start
      path. If anything moves, stop:
      nobody reaches in.
  14. With people still clear, read the
      air gauge at zero and stroke a
      valve.
  15. Put the controls back to off.
  16. Before anybody touches a
      conductor: a qualified person
      proves it dead with a meter.

Do
  1. Slide a strip of paper through the
     gap.
     Expect: it slides freely all the
     way round.

When the work is done
  1. Count tools and parts out.
  2. Put every guard back. If a guard or
     its switch is not as it was, keep
     it locked and call the maker.
  3. Where product was in reach, the
     site cleans, inspects and releases
     the line.
  4. See that people are clear.
  5. Each person takes off their own
     lock.
  6. Tell those affected, then restore
     from outside, one energy at a time:
     returning air can throw a part.
  7. To open it again, begin at the top:
     isolate, lock, try.

What the answer tells
• Free all round: nothing carries part
  of the load.
• It catches: something carries part of
  the load. Speaks for: the pan touches
  something.

Tells about
• The pan touches something
  [pan-catches]

General guidance. The machine's own
manual, the site's rules, local codes
and licensed or authorised people come
first. If unsure, stop and make safe.
"#);
}

#[test]
fn a_symptom_says_what_can_be_behind_it_and_how_to_check() {
    insta::assert_snapshot!(Tool::minimal(80).run(&["show", "fills-light"]).block(), @r#"
Every fill is light

Symptom fills-light

The middle of the run lies under the target.

How people say it
• “all our bags are under”
• “short weight every time”

What can be behind it, most often first
• In-flight allowance set too high, very common, usually [allowance-high]
• Something touches the pan, occasional, rarely, through: the pan touches
  something [pan-touching]

Conditions that lead to it
• The pan touches something, rarely [pan-catches]

How to check
• What the caller says [what-the-caller-says]
• Ten fills in a row [weigh-a-run]
"#);
}

#[test]
fn a_cause_says_what_it_leads_to_and_what_tells_it_from_its_rivals() {
    insta::assert_snapshot!(Tool::minimal(80).run(&["show", "pan-touching"]).block(), @r#"
Something touches the pan

Cause pan-touching

Cable, hose or guard carries part of the load.

Occasional on: Tray filler.

It comes and goes: check while it is doing it.

What it leads to
• The pan touches something, usually [pan-catches]

And so to
• Every fill is heavy [fills-heavy]
• Every fill is light [fills-light]

How to put it right
• Free the pan all round, usually [free-the-pan]

How to check
• A strip of paper round the pan [paper-round-pan]

Told apart from its rivals
• In-flight allowance set too high, very common [allowance-high]: by a strip of
  paper round the pan [paper-round-pan] or ten fills in a row [weigh-a-run]
• In-flight allowance set too low, common [allowance-low]: by a strip of paper
  round the pan [paper-round-pan] or ten fills in a row [weigh-a-run]

Basis: seen after cleaning (judgement).
"#);
}

#[test]
fn a_setting_can_be_shown() {
    insta::assert_snapshot!(Tool::minimal(80).run(&["show", "in-flight-allowance"]).block(), @r#"
In-flight allowance

Setting in-flight-allowance

A setting of the tray filler, for stopping.

How far before the target the feed is cut off.

Write down what stands there before you change it. Change one thing at a time.

Changed by
• Lower the in-flight allowance [lower-allowance]
• Raise the in-flight allowance [raise-allowance]
"#);
}

#[test]
fn an_unknown_name_ends_with_the_nearest() {
    insta::assert_snapshot!(Tool::minimal(80).run(&["show", "fils-light"]).block(), @r#"
--- on standard error
handlamp: Nothing in the knowledge is called 'fils-light'.
help: did you mean fills-light?
--- exit Some(3)
"#);
}

fn walk(value: &Value, seen: &mut usize) {
    match value {
        Value::Object(map) => {
            if let Some(exposures) = map.get("exposures") {
                *seen += 1;
                let cautions =
                    map.get("cautions").and_then(Value::as_array).expect("cautions beside exposures");
                let hands_on = |e: &Value| !["outside", "running"].contains(&e.as_str().unwrap());
                let exposed = exposures.as_array().unwrap().iter().any(hands_on);
                assert!(!exposed || !cautions.is_empty(), "{value}");
            }
            map.values().for_each(|v| walk(v, seen));
        }
        Value::Array(all) => all.iter().for_each(|v| walk(v, seen)),
        _ => {}
    }
}

#[test]
fn every_built_in_entry_can_be_shown_and_cautions_stand_beside_exposures() {
    let (knowledge, _) = load(&Texts::built_in());
    let (graph, _) = FaultGraph::build(&knowledge);
    let mut with_exposures = 0;
    for found in Entry::all(&knowledge) {
        let written = json::text(&json::entry(&knowledge, found, None)).unwrap();
        let json: Value = serde_json::from_str(&written).unwrap();
        assert_eq!((&json["id"], &json["kind"]), (&found.id().into(), &found.kind().into()));
        walk(&json, &mut with_exposures);
        let page = entry::page(&knowledge, &graph, found, None);
        for columns in [30, 40, 80] {
            let drawn = terminal::draw(&page, &Look::terminal(columns, Paint::None));
            assert_eq!(drawn.lines().find(|line| line.width() > columns), None, "{}", found.id());
        }
        let report = markdown::report(&page);
        assert!(!page.shows_steps() || report.ends_with(&format!("{STANDING_NOTICE}\n")), "{report}");
    }
    assert!(with_exposures > 50, "only {with_exposures} objects had exposures");
}

#[test]
fn the_machine_that_is_asked_for_must_be_known() {
    let said = Tool::minimal(80).run(&["show", "fills-light", "--machine", "tray-filer"]);
    insta::assert_snapshot!(said.block(), @r#"
--- on standard error
handlamp: There is no machine 'tray-filer'.
help: did you mean tray-filler?
--- exit Some(3)
"#);
}

#[test]
fn a_lamp_says_what_it_says_and_what_it_is_called_here() {
    insta::assert_snapshot!(Tool::minimal(40).run(&["show", "feed-lamp"]).block(), @r#"
Feed lamp

Sign feed-lamp

A lamp of the tray filler.

On the panel of the tray filler it is
called GO.

The tray has been told to run.

When something is wrong: If it goes out
and product still comes, stop the
machine.
"#);
}

#[test]
fn what_two_machines_share_is_one_entry_with_both_named() {
    let tool = Tool::built_in(80);
    for id in ["in-flight-allowance", "flap-shut-lamp"] {
        let json = tool.run(&["show", id, "--json"]).json();
        assert_eq!(json["machines"], serde_json::json!(["single-tray-weigher", "two-tray-weigher"]), "{id}");
        let only = tool.run(&["show", id, "--machine", "two-tray-weigher", "--json"]).json();
        assert_eq!(only["machine"], "two-tray-weigher");
    }
    let said = tool.run(&["show", "flap-shut-lamp"]).out.replace('\n', " ");
    assert!(said.contains("single-tray vibratory net weigher and the two-tray"), "{said}");
    assert!(said.contains("On the two-tray vibratory net weigher: A sensor sees"), "{said}");
    // Only one of them has a second tray.
    assert_eq!(tool.run(&["show", "second-tray-lamp", "--machine", "single-tray-weigher"]).status, Some(3));
}
