//! The whole answer to a call, as it is printed from a case file.

use crate::tool::Tool;

#[test]
fn the_example_call_is_answered_on_one_page() {
    let args = ["diagnose", "--answers", "tests/faults/light-bags.yaml"];
    insta::assert_snapshot!(Tool::built_in(40).run(&args).block(), @r#"
Single-tray vibratory net weigher

│ every bag comes out about three grams
│ light
  Complaint, own words: not a checked
  instruction.

Next: Lower the in-flight allowance
About 15 minutes. It puts right:
in-flight allowance set too high.

Where you are for this: outside the
closed guards while it runs.
▌ WARNING
▌ The tray, the flap and the bag clamp
▌ move while you watch.
▌ What can happen: they crush or cut
▌ fingers.
▌ Do this: keep every guard shut, your
▌ hands outside and your feet off the
▌ foot switch. Look through the window
▌ only. Tie back sleeves and hair.

Do
  1. Switch automatic correction off for
     the trial.
     Expect: the allowance stays where
     it is put.
  2. Write down the allowance that
     stands there now.
     Expect: a figure in grams.
  3. Lower it by the mean error of the
     run.
     Expect: fills 3 g light: 3 g less
     than before.
  4. Let two fills go by and run ten.
     Expect: the mean of ten lies within
     half a gram of the target.

• If 'it is gone': ask ten fills in a
  row on the second scale.
• If 'still there': ask target on the
  panel against the order; there, if 'it
  is as ordered': switch correction off
  and put the recorded allowance back;
  if 'the panel is lower than the
  order': enter the target that is on
  the order.

Likely causes
• In-flight allowance set too high:
  about 9 in 10 calls like this

Why in-flight allowance set too high
• In-flight allowance against its
  recorded figure: larger than the
  recorded one. It speaks strongly for
  it.
• Ten fills in a row on the second
  scale: light. It speaks for it.
• The same bag on machine and second
  scale: they agree. It speaks a little
  for it.

How it shows: in-flight allowance set
too high → every fill is light by about
the same amount.

Unlikely by now
• Product lighter in bulk than it was
  set up for: unlikely. In-flight
  allowance against its recorded figure:
  larger than the recorded one.

Otherwise
• Target on the panel against the order,
  about a minute
• A new lot or delivery of the same
  product, under a minute
• Put right: Switch correction off and
  put the recorded allowance back, about
  15 minutes

What was said and measured
• What the caller says: every fill is
  light by about the same amount
• Was the product, the bag or the target
  changed just before it began? No.
• Ten fills in a row on the second
  scale: 10 fills, mean 247.15 g against
  250 g
• The same bag on machine and second
  scale: 247.1 g, shown 247 g
• In-flight allowance against its
  recorded figure: larger than the
  recorded one

The latest run
250.00 │──────────────────────────────
       │
249.28 │
       │
248.56 │
       │
247.84 │         ●
       │            ●     ●        ●
247.12 │●  ●                    ●
       │               ●     ●
246.40 │      ●
● fill  ─ target  in g

General guidance. The machine's own
manual, the site's rules, local codes
and licensed or authorised people come
first. If unsure, stop and make safe.

> Next, in full above: Lower the
  in-flight allowance
"#);
    insta::assert_snapshot!(Tool::built_in(80).run(&args).block(), @r#"
Single-tray vibratory net weigher

│ every bag comes out about three grams light
  Complaint, own words: not a checked instruction.

Next: Lower the in-flight allowance
About 15 minutes. It puts right: in-flight allowance set too high.

Where you are for this: outside the closed guards while it runs.
▌ WARNING
▌ The tray, the flap and the bag clamp move while you watch.
▌ What can happen: they crush or cut fingers.
▌ Do this: keep every guard shut, your hands outside and your feet off the foot
▌ switch. Look through the window only. Tie back sleeves and hair.

Do
  1. Switch automatic correction off for the trial.
     Expect: the allowance stays where it is put.
  2. Write down the allowance that stands there now.
     Expect: a figure in grams.
  3. Lower it by the mean error of the run.
     Expect: fills 3 g light: 3 g less than before.
  4. Let two fills go by and run ten.
     Expect: the mean of ten lies within half a gram of the target.

• If 'it is gone': ask ten fills in a row on the second scale.
• If 'still there': ask target on the panel against the order; there, if 'it is
  as ordered': switch correction off and put the recorded allowance back; if
  'the panel is lower than the order': enter the target that is on the order.

Likely causes
• In-flight allowance set too high: about 9 in 10 calls like this

Why in-flight allowance set too high
• In-flight allowance against its recorded figure: larger than the recorded one.
  It speaks strongly for it.
• Ten fills in a row on the second scale: light. It speaks for it.
• The same bag on machine and second scale: they agree. It speaks a little for
  it.

How it shows: in-flight allowance set too high → every fill is light by about
the same amount.

Unlikely by now
• Product lighter in bulk than it was set up for: unlikely. In-flight allowance
  against its recorded figure: larger than the recorded one.

Otherwise
• Target on the panel against the order, about a minute
• A new lot or delivery of the same product, under a minute
• Put right: Switch correction off and put the recorded allowance back, about 15
  minutes

What was said and measured
• What the caller says: every fill is light by about the same amount
• Was the product, the bag or the target changed just before it began? No.
• Ten fills in a row on the second scale: 10 fills, mean 247.15 g against 250 g
• The same bag on machine and second scale: 247.1 g, shown 247 g
• In-flight allowance against its recorded figure: larger than the recorded one

The latest run
250.00 │──────────────────────────────
       │
249.28 │
       │
248.56 │
       │
247.84 │         ●
       │            ●     ●        ●
247.12 │●  ●                    ●
       │               ●     ●
246.40 │      ●
● fill  ─ target  in g

General guidance. The machine's own manual, the site's rules, local codes and
licensed or authorised people come first. If unsure, stop and make safe.

> Next, in full above: Lower the in-flight allowance
"#);
}
