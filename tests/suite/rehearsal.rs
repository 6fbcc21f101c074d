//! Rehearsal: simulated calls are the same for everybody who names the seed, and recorded cases fall short by name.

use handlamp::belief::{Check, Evidence, Item, Moment, posterior};
use handlamp::casebook::Case;
use handlamp::knowledge::{Knowledge, Texts, load};
use handlamp::rehearse::{Policy, Row, SETTINGS, Simulation, World, simulate};
use handlamp::walk::Desk;
use handlamp::weights::generate::Dice;

use crate::tool::{Tool, minimal, same_bytes_for_a_seed};

fn rows(knowledge: &Knowledge, cases: usize, seed: u64, threads: usize) -> Vec<Row> {
    let machines = knowledge.machines.keys().cloned().collect();
    let simulation = Simulation { cases, seed, machines, policies: Policy::ALL.to_vec(), threads };
    simulate(knowledge, &simulation, &|_| ()).unwrap()
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_does_not() {
    same_bytes_for_a_seed(&["rehearse", "--simulate", "20", "--policy", "all"]);
}

#[test]
fn the_number_of_threads_changes_nothing() {
    let knowledge = minimal();
    let one = rows(&knowledge, 30, 3, 1);
    assert_eq!(one, rows(&knowledge, 30, 3, 4));
    assert_eq!(one.len(), Policy::ALL.len());
}

#[test]
fn figures_are_shares_means_and_errors_of_every_policy() {
    let args = ["rehearse", "--simulate", "25", "--policy", "all", "--json"];
    let said = Tool::minimal(80).run(&args).json();
    assert_eq!(said["format"], "handlamp-rehearsal/1");
    assert_eq!(said["seed"], 1);
    let policies = said["policies"].as_array().unwrap();
    let names: Vec<&str> = policies.iter().map(|p| p["policy"].as_str().unwrap()).collect();
    assert_eq!(names, Policy::ALL.map(Policy::name));
    for policy in policies {
        assert_eq!((&policy["machine"], &policy["cases"]), (&"tray-filler".into(), &25.into()));
        let share = |key: &str| {
            let share = policy[key].as_f64().unwrap();
            assert!((0.0..=1.0).contains(&share), "{key} {policy}");
            share
        };
        assert!(share("first") <= share("first_three"));
        share("cured_by_phone");
        for key in
            ["held_minutes", "held_minutes_error", "checks", "checks_error", "lockouts", "lockouts_error"]
        {
            assert!(policy[key].as_f64().is_some_and(|figure| figure >= 0.0), "{key} {policy}");
        }
        let planner = policy["policy"] == "planner";
        assert_eq!(policy["held_minutes_over_planner"].is_null(), planner);
        assert_eq!(policy["not_weighed"], 0);
    }
    let shares: f64 = SETTINGS.iter().map(|setting| setting.share).sum();
    assert!((shares - 1.0).abs() < 1e-12);
}

#[test]
fn the_plan_holds_the_line_no_longer_than_any_plain_policy() {
    let rows = rows(&minimal(), 400, 11, 2);
    let (planner, plain) = rows.split_first().unwrap();
    for other in plain {
        let over = other.over_planner.unwrap();
        assert!(over.mean >= 0.0, "{} is {} minutes better", other.policy.name(), -over.mean);
        let apart = other.held_minutes.mean - planner.held_minutes.mean;
        assert!((over.mean - apart).abs() < 1e-9);
    }
}

#[test]
fn what_a_made_up_machine_answers_never_contradicts_the_model() {
    let knowledge = load(&Texts::built_in()).0;
    let machine = knowledge.machines.keys().next().unwrap().clone();
    let desk = Desk::for_case(&knowledge, &Case::of(machine)).unwrap();
    let tables: Vec<Check> = desk
        .model
        .tables
        .values()
        .filter(|table| !table.findings.is_empty())
        .map(|table| Check {
            findings: table.findings.clone(),
            outcomes: table.likelihoods.clone(),
            moment: Moment::Unknown,
        })
        .collect();
    let mut dice = Dice::new(17);
    for seed in 0..12 {
        let mut world = World::any(&desk.model.network, seed);
        let mut items = Vec::new();
        let ask = |world: &World<'_>, items: &mut Vec<Item>, number: usize, time: u64| {
            let table = &tables[number];
            let (outcome, _) = world.answer(table, &format!("{number}"), time);
            items.push(Item::Answer {
                findings: table.findings.clone(),
                likelihood: table.outcomes[outcome].clone(),
                moment: table.moment,
            });
        };
        for _ in 0..4 {
            ask(&world, &mut items, dice.below(tables.len()), 0);
        }
        let cause = dice.below(desk.model.causes.len());
        let truth = world.there.clone();
        items.push(Item::Remedy { cause, works: 0.85 });
        world.treat(cause, 0.85, "remedy", &[]);
        for _ in 0..3 {
            ask(&world, &mut items, dice.below(tables.len()), 1);
        }
        let believed = posterior(&desk.model.network, &Evidence(items)).unwrap();
        for (cause, there) in truth.iter().enumerate() {
            let was = believed.causes[cause].was;
            assert!(if *there { was > 0.0 } else { was < 1.0 }, "seed {seed}, cause {cause}: {was}");
        }
        for (cause, there) in world.there.iter().enumerate() {
            let now = believed.causes[cause].now;
            assert!(if *there { now > 0.0 } else { now < 1.0 }, "seed {seed}, cause {cause}: {now}");
        }
    }
}

#[test]
fn wrong_usage_and_unknown_machines_are_said() {
    let tool = Tool::built_in(80);
    for args in [
        &["rehearse"][..],
        &["rehearse", "--simulate", "0"],
        &["rehearse", "--simulate", "2", "--policy", "dowsing"],
        &["rehearse", "--simulate", "2", "call.yaml"],
        &["rehearse", "call.yaml", "--machine", "single-tray-weigher"],
    ] {
        assert_eq!(tool.run(args).status, Some(2), "{args:?}");
    }
    let said = tool.run(&["rehearse", "--simulate", "2", "--machine", "single-tray-wiegher"]);
    assert_eq!((said.status, said.out.as_str()), (Some(3), ""));
    assert!(said.err.contains("did you mean single-tray-weigher?"), "{}", said.err);
}

#[test]
fn a_recorded_case_that_falls_short_is_named_and_ends_with_one() {
    let tool = Tool::minimal(80);
    let write = |name: &str, cause: &str| {
        let path = tool.home().join(name);
        let text = format!(
            "format: handlamp-case/1\nmachine: tray-filler\nevents:\n  - {{reading: what-the-caller-says, outcome: \
             fills-light}}\nexpect: {{cause: {cause}, within: 1}}\n"
        );
        std::fs::write(&path, text).unwrap();
        path.to_str().unwrap().to_owned()
    };
    std::fs::create_dir(tool.home().join("cases")).unwrap();
    let right = write("cases/right.yaml", "allowance-high");
    let said = tool.run(&["rehearse", &right]);
    assert_eq!(said.status, Some(0), "{}", said.block());
    write("cases/wrong.yaml", "allowance-low");
    let folder = tool.home().join("cases");
    let said = tool.run(&["rehearse", folder.to_str().unwrap(), "--json"]);
    assert_eq!(said.status, Some(1), "{}", said.block());
    let cases = said.json()["cases"].clone();
    let verdicts: Vec<_> = cases.as_array().unwrap().iter().map(|c| (&c["case"], &c["verdict"])).collect();
    assert_eq!(verdicts, [(&"right".into(), &"first".into()), (&"wrong".into(), &"fell-short".into())]);
    let said = tool.run(&["rehearse", folder.to_str().unwrap()]);
    assert!(said.out.contains("Fell short\n• wrong: allowance-low"), "{}", said.block());
    let empty = tempfile::tempdir().unwrap();
    assert_eq!(tool.run(&["rehearse", empty.path().to_str().unwrap()]).status, Some(3));
}

#[test]
fn a_page_of_forty_columns_holds_it_and_help_begins_with_examples() {
    let tool = Tool::minimal(40);
    for args in [&["rehearse", "--simulate", "5", "--policy", "all"][..], &["rehearse", "--help"]] {
        let said = tool.run(args);
        let long: Vec<&str> = said.out.lines().filter(|line| line.chars().count() > 40).collect();
        // What people copy is not broken.
        let copied = |line: &&str| line.starts_with("  handlamp ") || line.starts_with("Usage: ");
        let long: Vec<&str> = long.into_iter().filter(|line| !copied(line)).collect();
        assert!(said.status == Some(0) && long.is_empty(), "{long:?}\n{}", said.block());
    }
    let help = tool.run(&["rehearse", "--help"]).out;
    assert!(help.find("Examples:").unwrap() < help.find("Usage:").unwrap());
}
