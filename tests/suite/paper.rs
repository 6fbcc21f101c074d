//! What a person with a sheet and a pencil may count on, for every built-in list and every machine it is for.

use std::sync::LazyLock;

use handlamp::checklist::{self, Checklist, Checklists, Condition, Item, Kind, Leads};
use handlamp::knowledge::{self, Knowledge, Machine};
use handlamp::render::{html, markdown, plain};
use handlamp::safety::{Caution, Exposures, Isolation, STANDING_NOTICE, StepSink};
use handlamp::view::checklist::paper::{UNCONNECTED, items, sheet};
use handlamp::view::diagnosis::title;
use handlamp::view::{Page, words};

static KNOWLEDGE: LazyLock<Knowledge> = LazyLock::new(|| knowledge::load(&knowledge::Texts::built_in()).0);
static LISTS: LazyLock<Checklists> =
    LazyLock::new(|| checklist::load(&checklist::Texts::built_in(), &KNOWLEDGE).0);

/// Every sheet that can be printed.
fn sheets() -> impl Iterator<Item = (&'static Checklist, &'static Machine, Page)> {
    assert!(LISTS.lists.len() > 15, "the built-in lists do not load");
    LISTS.lists.values().flat_map(|list| {
        let machines = KNOWLEDGE.machines.values().filter(|machine| list.is_for(&machine.id));
        machines.map(move |machine| (list, machine, sheet(&LISTS, list, &KNOWLEDGE, machine)))
    })
}

fn printed(page: &Page) -> String {
    html::page(page, &html::Paper { size: html::Size::A4, running: String::new() })
}

/// The parts of a text that begin with a mark, each without it.
fn parts<'t>(text: &'t str, mark: &str) -> Vec<&'t str> {
    text.split(mark).skip(1).collect()
}

/// Takes down what a step hands to a renderer.
#[derive(Default)]
struct Told {
    hazards: Vec<String>,
    actions: Vec<String>,
}

impl StepSink for Told {
    fn step(
        &mut self,
        _: &Exposures,
        cautions: &[Caution],
        _: Option<&Isolation>,
        actions: &[(&str, Option<&str>)],
    ) {
        self.hazards = cautions.iter().map(|c| words::sentence(&c.hazard)).collect();
        self.actions = actions.iter().map(|(act, _)| (*act).to_owned()).collect();
    }
}

fn told(machine: &Machine, item: &Item) -> Told {
    let mut told = Told::default();
    KNOWLEDGE.steps_on(machine, &item.work).expect("its cautions cover it").show(&mut told);
    told
}

#[test]
fn each_caution_stands_with_its_item_before_the_first_step() {
    for (list, machine, page) in sheets() {
        let (html, markdown) = (printed(&page), markdown::report(&page));
        let groups = parts(&html, "<section class=\"together\">");
        let marked = parts(&markdown, "\n### ");
        for (i, item) in items(list, machine).into_iter().enumerate() {
            let told = told(machine, item);
            let group = groups[i].split("</section>").next().unwrap();
            for (text, escaped) in
                [(group, html::escaped as fn(&str) -> String), (marked[i], markdown::escaped)]
            {
                let act = escaped(&told.actions[0]);
                let act = text.find(&act).unwrap_or_else(|| panic!("{} {}: {act}", list.id, item.name()));
                for hazard in &told.hazards {
                    let caution = text.find(&escaped(hazard));
                    assert!(
                        caution.is_some_and(|at| at < act),
                        "{} {}: {hazard}\n{text}",
                        list.id,
                        item.name()
                    );
                }
            }
        }
    }
}

#[test]
fn nothing_is_lost_and_nothing_stands_twice() {
    for (list, machine, page) in sheets() {
        let (html, markdown) = (printed(&page), markdown::report(&page));
        let wanted = items(list, machine);
        assert_eq!(html.matches("<h3>").count(), wanted.len(), "{}", list.id);
        assert_eq!(html.matches("<section class=\"together\">").count(), wanted.len() + 2);
        for (i, item) in wanted.iter().enumerate() {
            let name = format!("{}. {}", i + 1, item.name());
            assert_eq!(html.matches(&format!("<h3>{}</h3>", html::escaped(&name))).count(), 1, "{name}");
            let heading = format!("\n### {}\n", markdown::escaped(&name));
            assert_eq!(markdown.matches(&heading).count(), 1, "{name}");
            for act in told(machine, item).actions {
                assert!(html.contains(&html::escaped(&act)), "{}: {act}", list.id);
            }
        }
    }
}

#[test]
fn a_sheet_has_room_for_names_and_ends_with_the_standing_notice() {
    for (list, machine, page) in sheets() {
        for text in [markdown::report(&page), plain::report(&page, plain::COLUMNS)] {
            for wanted in [&list.title, &machine.head.title, "revision", "Serial number", "Open points"] {
                assert!(text.contains(wanted), "{}: {wanted}", list.id);
            }
        }
        let markdown = markdown::report(&page);
        assert!(markdown.trim_end().ends_with(STANDING_NOTICE), "{}", list.id);
        assert_eq!(markdown.matches(STANDING_NOTICE).count(), 1, "{}", list.id);
    }
}

#[test]
fn every_hold_says_that_nobody_goes_past_it_and_has_a_line_for_each_name() {
    for (list, machine, page) in sheets() {
        let html = printed(&page);
        let groups = parts(&html, "<section class=\"together\">");
        for (item, group) in items(list, machine).into_iter().zip(groups) {
            let group = group.split("</section>").next().unwrap();
            let hold = matches!(item.kind, Kind::Hold(_));
            assert_eq!(group.contains("HOLD: nobody goes past this without a name"), hold, "{}", item.name());
            if let Kind::Hold(names) | Kind::Confirm(names) = item.kind {
                assert_eq!(group.matches(">Signature: ").count(), names.max(1), "{}", item.name());
            }
            let may = list.may_be_skipped(item);
            assert_eq!(group.contains("left out, why"), may, "{}: {}", list.id, item.name());
        }
    }
}

#[test]
fn what_fails_leads_on_or_stops() {
    for (list, machine, page) in sheets() {
        let html = printed(&page);
        let groups = parts(&html, "<section class=\"together\">");
        for (item, group) in items(list, machine).into_iter().zip(groups) {
            for failure in &item.fails {
                let wanted = match &failure.leads {
                    Leads::Stop => "stop, keep it locked, call the maker".to_owned(),
                    Leads::Opens { finding, .. } => {
                        let found = title(&KNOWLEDGE, finding.value.as_str());
                        format!("look for “{}” with handlamp diagnose", html::escaped(found))
                    }
                };
                assert!(group.contains(&wanted), "{}: {wanted}", item.name());
            }
        }
    }
}

#[test]
fn the_whole_lockout_stands_at_the_hold_and_one_question_on_what_comes_after() {
    let mut holds = 0;
    for (list, machine, page) in sheets() {
        let html = printed(&page);
        let groups = parts(&html, "<section class=\"together\">");
        let mut locked = false;
        for (item, group) in items(list, machine).into_iter().zip(groups) {
            let full = group.contains("Make it safe first");
            let handed_back = group.contains("When the work is done");
            let isolated = machine.exposures(&item.work).needs_isolation();
            if list.unconnected {
                assert!(!full && !group.contains(Isolation::STILL_LOCKED), "{}", item.name());
                assert_eq!(group.contains(UNCONNECTED), isolated, "{}", item.name());
                continue;
            }
            if item.locks_out {
                holds += 1;
                locked = true;
                assert!(
                    full && !handed_back,
                    "{}: {}: what restores stands further on",
                    list.id,
                    item.name()
                );
            } else if isolated {
                assert_eq!(full, handed_back, "{}: {}", list.id, item.name());
                assert!(full || group.contains(Isolation::STILL_LOCKED), "{}: {}", list.id, item.name());
                assert!(locked || full, "{}: {} is not locked out", list.id, item.name());
            }
            locked &= !item.restores;
        }
    }
    assert!(holds > 0);
}

#[test]
fn without_a_hold_that_locks_out_every_item_behind_the_guards_brings_the_whole_lockout() {
    let mut seen = 0;
    for list in LISTS.lists.values().filter(|list| !list.unconnected) {
        let mut list = list.clone();
        list.sections.iter_mut().flat_map(|s| &mut s.items).for_each(|item| item.locks_out = false);
        let machine = KNOWLEDGE.machines.values().find(|machine| list.is_for(&machine.id)).unwrap();
        let html = printed(&sheet(&LISTS, &list, &KNOWLEDGE, machine));
        let groups = parts(&html, "<section class=\"together\">");
        for (item, group) in items(&list, machine).into_iter().zip(groups) {
            if machine.exposures(&item.work).needs_isolation() {
                seen += 1;
                assert!(group.contains("Make it safe first"), "{}: {}", list.id, item.name());
            }
        }
    }
    assert!(seen > 0);
}

#[test]
fn an_item_of_another_machine_is_left_out_and_conditions_are_said_in_words() {
    for (list, machine, page) in sheets() {
        let html = printed(&page);
        for (section, item) in list.items() {
            let elsewhere = Checklist::conditions(section, item)
                .any(|c| matches!(c, Condition::Machine(only) if only.value != machine.id));
            if elsewhere {
                assert!(!html.contains(&format!(". {}</h3>", item.name())), "{}", item.name());
            }
        }
        for item in items(list, machine) {
            for condition in &item.only_if {
                let Condition::Answer { item: choice, is } = condition else { continue };
                let choice = list.item(&choice.value).unwrap();
                let Kind::Choice(choices) = &choice.kind else { panic!("{} is no choice", choice.name()) };
                let chosen = choices.iter().find(|c| c.id.value == is[0].value).unwrap();
                let answer = html::escaped(chosen.answer.trim_end_matches('.'));
                assert!(html.contains(&format!("was “{answer}”")), "{}: {answer}", list.id);
            }
        }
    }
}

#[test]
fn a_run_has_a_cell_for_each_fill_and_a_figure_its_unit_and_limits() {
    for (list, machine, page) in sheets() {
        let html = printed(&page);
        let groups = parts(&html, "<section class=\"together\">");
        for (item, group) in items(list, machine).into_iter().zip(groups) {
            match &item.kind {
                Kind::Run(run) => assert_eq!(group.matches("<small>g</small>").count(), run.at_least),
                Kind::Measure(measure) => {
                    let limits = html::escaped(&measure.limits.words(measure.unit, measure.expected));
                    assert!(group.contains(&format!("<strong>Allowed: </strong>{limits}")), "{limits}");
                    let room = format!("Reading: <span class=\"rule\"></span> {}", measure.unit.name);
                    assert!(group.contains(&room), "{}", item.name());
                    assert_eq!(group.contains("Instrument no."), measure.due);
                }
                _ => {}
            }
        }
    }
}
