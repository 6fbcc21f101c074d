//! What a person sees on the way through a call, on a phone and on a desk.

use crate::tool::Tool;

/// The opening of a call about light bags, somebody authorised at the machine.
const OPENING: &[&str] = &["n", "y", "1", "?", "n", "3", "?", "?", "y", "bags light", "1"];

fn body(tool: &Tool, lines: &[&str]) -> String {
    let said = tool
        .typed(&["diagnose"], lines.iter().flat_map(|line| [*line, "\n"]).collect::<String>().as_bytes())
        .out;
    let end = said.rfind("\nCase 20").or_else(|| said.rfind("Nothing was answered"));
    said[..end.unwrap_or(said.len())].to_owned()
}

/// What the last of these answers brings to the screen, after the opening.
fn screen(columns: usize, more: &[&str]) -> String {
    let lines = [OPENING, more].concat();
    let before = body(&Tool::minimal(columns), &lines[..lines.len() - 1]);
    let said = body(&Tool::minimal(columns), &lines);
    said.strip_prefix(&before)
        .unwrap_or_else(|| panic!("{before}\nis not what comes first in\n{said}"))
        .to_owned()
}

#[test]
fn the_opening_asks_for_danger_first() {
    insta::assert_snapshot!(body(&Tool::minimal(40), &[]), @r#"
Opening 1 of 10. Is anyone hurt, or is
the machine doing something unexpected?

> n = no, or say what it is. ? skips,
  'help' lists what works everywhere.

"#);
    insta::assert_snapshot!(body(&Tool::minimal(80), &[]), @r#"
Opening 1 of 10. Is anyone hurt, or is the machine doing something unexpected?

> n = no, or say what it is. ? skips, 'help' lists what works everywhere.

"#);
}

#[test]
fn a_check_is_asked_in_full_with_its_reason_first() {
    insta::assert_snapshot!(screen(40, &["250 g"]), @r#"
Likely causes
• In-flight allowance set too high:
  about 5 in 10 calls like this

Not in the book: about 5 in 10 calls
like this. What was found is worth a
lesson.

General guidance. The machine's own
manual, the site's rules, local codes
and licensed or authorised people come
first. If unsure, stop and make safe.

Next: Ten fills in a row
At the bag outlet. About 9 minutes in
all. It must be known before: lower the
in-flight allowance.

Needs: second scale.

Where you are for this: outside the
closed guards while it runs.
▌ WARNING
▌ The tray and the flap move while you
▌ watch.
▌ What can happen: crushed or cut
▌ fingers.
▌ Do this: keep every guard shut and
▌ your hands outside.

Do
  1. Take ten bags in a row and number
     them.
     Expect: ten bags in order.

What do ten bags in a row weigh?

Ten fills in a row. Its cautions and
steps stand above.

> Type the weights in order, on one line
  or several; an empty line ends the
  run. With what the machine showed:
  247.2/250.0.
"#);
}

#[test]
fn before_hands_go_in_authority_is_asked() {
    insta::assert_snapshot!(screen(40, &["other", "3"]), @r#"
Next: A strip of paper round the pan
At the weigh pan. About 15 minutes in
all. It speaks for or against: in-flight
allowance set too high.

Before anybody opens a guard
Has the person who will reach in this
machine's written isolation procedure,
and may they lock it out?

This tool prompts; the site's procedure
decides. Without one, only checks from
outside are left.

> y or n. Ask that person: nobody
  answers for another.
"#);
    insta::assert_snapshot!(screen(80, &["other", "3"]), @r#"
Next: A strip of paper round the pan
At the weigh pan. About 15 minutes in all. It speaks for or against: in-flight
allowance set too high.

Before anybody opens a guard
Has the person who will reach in this machine's written isolation procedure, and
may they lock it out?

This tool prompts; the site's procedure decides. Without one, only checks from
outside are left.

> y or n. Ask that person: nobody answers for another.
"#);
}

#[test]
fn the_lockout_is_told_in_full_before_it_is_confirmed() {
    insta::assert_snapshot!(screen(40, &["other", "3", "y"]), @r#"
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

Where the written procedure asks for
more, do more. Where the two disagree,
stop and ask.

Locked, tried, and nothing moves? Whose
key?

General guidance. The machine's own
manual, the site's rules, local codes
and licensed or authorised people come
first. If unsure, stop and make safe.

> Type whose key it is, or n if it is
  not locked.
"#);
    insta::assert_snapshot!(screen(80, &["other", "3", "y"]), @r#"
Make it safe first
A prompt, not the site's own procedure.
Have you this machine's written isolation procedure, and does it agree? If there
is none: stop, checks from outside only.
   1. Prepare: know each energy, its size and its isolation point.
   2. Visitor and site tell each other their procedures. Tell everybody whom the
      stop affects.
   3. Stop the machine the normal way, with product run out.
   4. Isolate mains: the lockable disconnector on the panel. A push button, an
      emergency stop or a guard switch is not an isolator.
   5. Isolate compressed air: the lockable dump valve. A regulator turned down
      is not shut. Clear people before the air goes.
   6. Isolate the scale's own feed, where it has one.
   7. For a step that reads the scale, and for nothing else, its own feed alone
      may be on: switched on by whoever holds its key, off and locked again
      after. If it shares a supply with a drive, stop: test from outside.
   8. For work at the scale's terminals its own feed stays locked, and a
      qualified electrical person proves it dead.
   9. See that no start path is left: the start key at the panel.
  10. Everybody who reaches in puts their own lock and tag on each point and
      keeps the key.
  11. Release what is stored, and look again before each step: it can come back.
  12. Compressed air: see it dumped, the gauge at zero; some can be trapped
      behind a valve.
  13. Clear people, then try every start path. If anything moves, stop: nobody
      reaches in.
  14. With people still clear, read the air gauge at zero and stroke a valve.
  15. Put the controls back to off.
  16. Before anybody touches a conductor: a qualified person proves it dead with
      a meter.

When the work is done
  1. Count tools and parts out.
  2. Put every guard back. If a guard or its switch is not as it was, keep it
     locked and call the maker.
  3. Where product was in reach, the site cleans, inspects and releases the
     line.
  4. See that people are clear.
  5. Each person takes off their own lock.
  6. Tell those affected, then restore from outside, one energy at a time:
     returning air can throw a part.
  7. To open it again, begin at the top: isolate, lock, try.

Where the written procedure asks for more, do more. Where the two disagree, stop
and ask.

Locked, tried, and nothing moves? Whose key?

General guidance. The machine's own manual, the site's rules, local codes and
licensed or authorised people come first. If unsure, stop and make safe.

> Type whose key it is, or n if it is not locked.
"#);
}

#[test]
fn a_hands_on_step_shows_its_cautions_before_its_steps() {
    insta::assert_snapshot!(screen(40, &["other", "3", "y", "Anna"]), @r#"
Likely causes
• In-flight allowance set too high:
  about 5 in 10 calls like this

Not in the book: about 5 in 10 calls
like this. What was found is worth a
lesson.

General guidance. The machine's own
manual, the site's rules, local codes
and licensed or authorised people come
first. If unsure, stop and make safe.

Next: A strip of paper round the pan
At the weigh pan. About 15 minutes in
all. It speaks for or against: in-flight
allowance set too high.

The lock is on: Anna's key. If it is
not, stop here.

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

Do
  1. Slide a strip of paper through the
     gap.
     Expect: it slides freely all the
     way round.

Does a strip of paper slide freely all
the way round the pan?

  1. Free all round.
  2. It catches.

A strip of paper round the pan. Its
cautions and steps stand above.

> Type the number. ? if nobody can tell.
"#);
    insta::assert_snapshot!(screen(80, &["other", "3", "y", "Anna"]), @r#"
Likely causes
• In-flight allowance set too high: about 5 in 10 calls like this

Not in the book: about 5 in 10 calls like this. What was found is worth a
lesson.

General guidance. The machine's own manual, the site's rules, local codes and
licensed or authorised people come first. If unsure, stop and make safe.

Next: A strip of paper round the pan
At the weigh pan. About 15 minutes in all. It speaks for or against: in-flight
allowance set too high.

The lock is on: Anna's key. If it is not, stop here.

Where you are for this: hands at the scale, inside the guards.
▌ WARNING
▌ The flap and the tray can move while your hand is at the pan.
▌ What can happen: crushed or cut fingers.
▌ Do this: lock off every drive, dump the air and try to start before you reach
▌ in.

Do
  1. Slide a strip of paper through the gap.
     Expect: it slides freely all the way round.

Does a strip of paper slide freely all the way round the pan?

  1. Free all round.
  2. It catches.

A strip of paper round the pan. Its cautions and steps stand above.

> Type the number. ? if nobody can tell.
"#);
}

#[test]
fn why_names_the_step_that_is_asked() {
    insta::assert_snapshot!(screen(40, &["other", "3", "y", "Anna", "why"]), @r#"
Why: A strip of paper round the pan
It speaks for or against: in-flight
allowance set too high.

• If 'free all round': ask the product
  was changed.
• If 'it catches': ask the product was
  changed.

Without asking, next would be: ten fills
in a row. Every answer leads elsewhere.

In-flight allowance set too high: about
5 in 10
• What the caller says: every fill is
  light. It speaks strongly for it.

How it shows: in-flight allowance set
too high → every fill is light.
Does a strip of paper slide freely all
the way round the pan?

  1. Free all round.
  2. It catches.

> Type the number. ? if nobody can tell.
"#);
}

#[test]
fn colour_marks_a_caution_and_never_carries_it_alone() {
    let tool = Tool::minimal(80);
    let lines = [OPENING, &["other", "3", "y", "Anna"]].concat().join("\n") + "\n";
    let plain = tool.typed(&["diagnose"], lines.as_bytes()).out;
    let coloured =
        Tool::minimal(80).command().env("CLICOLOR_FORCE", "1").arg("diagnose").write_stdin(lines).output();
    let coloured = String::from_utf8(coloured.unwrap().stdout).unwrap();
    assert!(coloured.contains('\u{1b}') && !plain.contains('\u{1b}'));
    let bare = anstream::adapter::strip_str(&coloured).to_string();
    for words in ["WARNING", "What can happen:", "Do this:"] {
        assert!(bare.contains(words) && plain.contains(words), "{bare}");
    }
    let caution = coloured.lines().rfind(|l| l.contains("WARNING")).unwrap_or("");
    insta::assert_snapshot!(caution.replace('\u{1b}', "ESC"), @r#"ESC[33m▌ ESC[0mESC[1mESC[30mESC[43mWARNINGESC[0m"#);
}
