//! What a technician waits for: loading and vetting the knowledge, one assessment and one plan of the example call, and
//! a cold `find` as a new process. Comparable from run to run: the inputs are the shipped ones.

use std::path::Path;
use std::process::Command;

use divan::{Bencher, black_box};
use handlamp::belief::{leading, posterior};
use handlamp::casebook::{self, Case};
use handlamp::knowledge::{Knowledge, Texts, load};
use handlamp::plan::plan;
use handlamp::walk::{Desk, REACH, assess, gather, situation};

fn main() {
    divan::main();
}

fn knowledge() -> Knowledge {
    load(&Texts::built_in()).0
}

fn light_bags(knowledge: &Knowledge) -> Case {
    call(knowledge, "light-bags")
}

fn call(knowledge: &Knowledge, name: &str) -> Case {
    let path = format!("tests/faults/{name}.yaml");
    casebook::read_path(Path::new(&path), knowledge).expect("the call reads").case
}

#[divan::bench]
fn load_and_vet(bencher: Bencher<'_, '_>) {
    let texts = Texts::built_in();
    bencher.bench_local(|| {
        let (knowledge, problems) = load(&texts);
        (problems.len(), handlamp::vet::judge(&knowledge, &texts, true).len())
    });
}

#[divan::bench]
fn load_only(bencher: Bencher<'_, '_>) {
    let texts = Texts::built_in();
    bencher.bench_local(|| load(&texts).1.len());
}

#[divan::bench]
fn one_posterior(bencher: Bencher<'_, '_>) {
    let knowledge = knowledge();
    let case = light_bags(&knowledge);
    let desk = Desk::for_case(&knowledge, &case).expect("the machine is known");
    let evidence = gather(&desk, &case).evidence;
    bencher.bench_local(|| posterior(&desk.model.network, black_box(&evidence)));
}

#[divan::bench]
fn leading_combinations(bencher: Bencher<'_, '_>) {
    let knowledge = knowledge();
    let case = light_bags(&knowledge);
    let desk = Desk::for_case(&knowledge, &case).expect("the machine is known");
    let evidence = gather(&desk, &case).evidence;
    let posterior = posterior(&desk.model.network, &evidence).expect("the evidence is possible");
    bencher.bench_local(|| leading(&desk.model.network, black_box(&evidence), &posterior, REACH));
}

#[divan::bench]
fn one_plan(bencher: Bencher<'_, '_>) {
    let knowledge = knowledge();
    let case = light_bags(&knowledge);
    let desk = Desk::for_case(&knowledge, &case).expect("the machine is known");
    let gathered = gather(&desk, &case);
    let posterior = posterior(&desk.model.network, &gathered.evidence).expect("the evidence is possible");
    let leading =
        leading(&desk.model.network, &gathered.evidence, &posterior, REACH).expect("they can be weighed");
    bencher.bench_local(|| plan(&situation(&desk, &case, black_box(&gathered), &leading, None)));
}

#[divan::bench]
fn whole_assessment(bencher: Bencher<'_, '_>) {
    let knowledge = knowledge();
    let case = light_bags(&knowledge);
    let desk = Desk::for_case(&knowledge, &case).expect("the machine is known");
    bencher.bench_local(|| assess(&desk, black_box(&case), None));
}

/// The same with a run of eleven patterns and several answers: the heaviest of the cases in `tests/faults`.
#[divan::bench]
fn whole_assessment_with_strays(bencher: Bencher<'_, '_>) {
    let knowledge = knowledge();
    let case = call(&knowledge, "now-and-then-a-light-one");
    let desk = Desk::for_case(&knowledge, &case).expect("the machine is known");
    bencher.bench_local(|| assess(&desk, black_box(&case), None));
}

/// A new process each time, the index of this knowledge on disk.
#[divan::bench]
fn cold_find(bencher: Bencher<'_, '_>) {
    process(bencher, &["find", "bags", "too", "light"]);
}

#[divan::bench]
fn cold_show(bencher: Bencher<'_, '_>) {
    process(bencher, &["show", "fills-steadily-light"]);
}

/// What any process costs, to take off the two above.
#[divan::bench]
fn bare_start(bencher: Bencher<'_, '_>) {
    process(bencher, &["--version"]);
}

fn process(bencher: Bencher<'_, '_>, args: &[&str]) {
    let home = tempfile::tempdir().expect("a folder for the store");
    let run = || {
        let done = Command::new(env!("CARGO_BIN_EXE_handlamp"))
            .args(args)
            .env("HANDLAMP_STORE", home.path())
            .output();
        assert!(done.expect("the program runs").status.success());
    };
    run();
    bencher.bench_local(run);
}
