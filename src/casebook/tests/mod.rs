//! Promises about case files and the store, on a tiny knowledge of its own.

mod reading;
mod round_trip;
mod store;

use crate::knowledge::{Knowledge, Texts, load};

const CHOICE: &str = "title: Flap seats fully\nplace: panel\nhow: seen\nminutes: 1\nask: Does the flap seat fully?\n\
was: [flap-shuts]\noutcomes:\n  - {id: seats}\n  - {id: leaves-a-gap, means: [{finding: fills-steadily-light}]}\n";
const RUN: &str =
    "title: Weigh a run\nplace: panel\nhow: measured\nasks: run\nminutes: 5\nask: What do ten bags weigh?\n";
const SAYS: &str = "title: What the caller says\nplace: panel\nhow: told\nasks: complaint\nminutes: 1\nask: What is wrong?\n";
const SAME_BAG: &str = "title: One bag twice\nplace: panel\nhow: measured\nasks: {quantity: mass, unit: g, shown: asked}\n\
minutes: 2\nask: What does the bag weigh?\noutcomes:\n  - {id: same, when: within 2 d}\n  \
- {id: differs, when: above 2 d, means: [{finding: fills-steadily-light}]}\n";
const AIR: &str = "title: Air while cycling\nplace: panel\nhow: seen\nasks: {quantity: pressure, unit: bar}\n\
minutes: 2\nask: What does the gauge show?\noutcomes:\n  - {id: enough, when: above 4 bar}\n  \
- {id: low, when: below 4 bar, means: [{finding: fills-steadily-light}]}\n";

/// The templates that authors start from, and one check of each way of asking.
pub(super) fn knowledge() -> Knowledge {
    let folder = tempfile::tempdir().unwrap();
    let head = "format: handlamp-knowledge/1\nversion: 1.0.0\nbase: none\n";
    let cause = include_str!("../../../knowledge/examples/cause.yaml");
    let symptom = include_str!("../../../knowledge/examples/symptom.yaml");
    for (path, text) in [
        ("knowledge.yaml", head),
        ("machines/single-tray-weigher.yaml", include_str!("../../../knowledge/examples/machine.yaml")),
        ("circumstances/product-changed.yaml", include_str!("../../../knowledge/examples/circumstance.yaml")),
        ("symptoms/fills-steadily-light.yaml", &format!("{symptom}\nwas: [all-light]\n")),
        ("causes/inflight-allowance-high.yaml", &format!("{cause}\nwas: [allowance-high]\n")),
        ("checks/test-weight-on-pan.yaml", include_str!("../../../knowledge/examples/check.yaml")),
        ("checks/flap-seats-fully.yaml", CHOICE),
        ("checks/weigh-a-run.yaml", RUN),
        ("checks/what-the-caller-says.yaml", SAYS),
        ("checks/one-bag-twice.yaml", SAME_BAG),
        ("checks/air-while-cycling.yaml", AIR),
        ("remedies/lower-inflight-allowance.yaml", include_str!("../../../knowledge/examples/remedy.yaml")),
        ("cautions/hands-at-live-scale.yaml", include_str!("../../../knowledge/examples/caution.yaml")),
    ] {
        let file = folder.path().join(path);
        std::fs::create_dir_all(file.parent().unwrap()).unwrap();
        std::fs::write(file, text).unwrap();
    }
    let (knowledge, _) = load(&Texts::built_in().overlaid_by(folder.path()));
    assert_eq!(knowledge.checks.len(), 6, "the tiny knowledge reads");
    knowledge
}

/// A case with something under every key.
pub(super) const WHOLE: &str = "\
format: handlamp-case/1
machine: single-tray-weigher
fitted: [foot-switch]
scale: {sealed: unknown, supply: separate, division: 0.1 g}
market: eu
product: {name: sunflower kernels, dusty: false}
people:
  - {id: caller, at: machine, may: [isolate], has: [test-weight]}
  - {id: tech, at: phone, may: []}
visit: {travel: 90 min, waiting: 1 h}
opening: {danger: none, held_since_last_good: unknown, serial: 00123, ever_right: unknown, since: unknown, doing_it_now: unknown}
complaint: every bag comes out about three grams light
events:
  - {reading: what-the-caller-says, outcome: fills-steadily-light}
  - {circumstance: product-changed, outcome: did-not}
  - {reading: weigh-a-run, fills: {unit: g, target: 250, values: [247.2, 247.0, 246.9], shown: [], division: 0.1 g, tare: {kind: mean, values: [3.1]}, instrument: bench scale, lanes: [a, b, a], times: ['10:00', '10:01', '10:02'], settings: {speed: 40 /min}}}
  - {reading: test-weight-on-pan, value: 199.4 g, expected: 0.2 kg, by: caller, while: bad}
  - {reading: test-weight-on-pan, value: 199.4, expected: 200}
  - {reading: one-bag-twice, value: 247 g, shown: 250 g}
  - {reading: air-while-cycling, value: 5.5}
  - {reading: flap-seats-fully, outcome: leaves-a-gap, by: caller}
  - {reading: flap-seats-fully, outcome: cannot-tell}
  - {setting: in-flight-allowance, old: 3.0 g, new: 1.5 g}
  - {remedy: lower-inflight-allowance, result: still-there}
  - {suspicion: inflight-allowance-high}
  - {note: anything, at: '2026-11-25T14:30:00Z'}
expect: {cause: inflight-allowance-high, within: 3, answers: 5, cautions: [hands-at-live-scale]}
closed: left-open
";
