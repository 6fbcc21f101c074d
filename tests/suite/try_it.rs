//! Temporary look.
use handlamp::*;
#[test]
fn look() {
    let texts = knowledge::Texts::built_in();
    let t=std::time::Instant::now();
    let (k, problems) = knowledge::load(&texts);
    println!("load {:?}", t.elapsed());
    for p in &problems { println!("{} {}", p.code.as_str(), p.sentence(&k.sources)); }
    let mut names: Vec<_> = std::fs::read_dir("tests/faults").unwrap().map(|e| e.unwrap().path()).collect();
    names.sort();
    for path in names {
        println!("== {}", path.display());
        let read = match casebook::read_path(&path, &k) { Ok(r)=>r, Err(e)=>{ for p in e.problems {println!("  {}", p.sentence(&e.sources));} continue;} };
        let desk = walk::Desk::for_case(&k, &read.case).unwrap();
        let t=std::time::Instant::now();
        let a = walk::assess(&desk, &read.case, None).unwrap();
        println!("expect {:?} in {:?}", read.case.expect.as_ref().map(|e| (&e.cause, &e.cautions)), t.elapsed());
        for c in a.causes.iter().take(4) { println!("   {:.3} {} {:?}", c.probability, c.id, c.because.iter().take(3).map(|b| (b.heard.map(|h| a.heard[h].id.as_str()), (b.odds*100.0).round()/100.0)).collect::<Vec<_>>()); }
        println!("   nothing {:.3} conflict {:?} minutes {:.1} complaint {:?}", a.nothing_known, a.conflict.as_ref().map(|c| &a.heard[c.heard].id), a.plan.minutes, a.complaint);
        for h in &a.heard { print!("   heard {}={} ", h.id, h.outcome); }
        println!();
        for c in a.plan.next.iter().take(6) { println!("   -> {:?} {} {:.1}min saves {:.1} {:?} {:?}", c.kind, c.id, c.minutes, c.minutes_saved, c.why, c.cautions); }
    }
}
