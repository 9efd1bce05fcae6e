//! Simulated visits whose rig is worse than its file states, or is not: what the judgement finds.

use bench::finding::RigVerdict;
use bench::judge::assess;
use bench::limits::Tables;
use exchange::source::Folder;
use exchange::tables::read_tables;
use link::{Invention, Physics, Plan, random_plan, simulate};

const VISITS: u64 = 1_000;

fn tables() -> Tables {
    let data = Folder::new(concat!(env!("CARGO_MANIFEST_DIR"), "/../../data"));
    read_tables(&data, "limits/default.toml", "materials/materials.toml").expect("the tables")
}

/// A small mould of which only the rig is read.
fn plan(seed: u64, physics: Physics, drifted: bool, fixture: bool, bucket: bool) -> Plan {
    let on = |flag: bool| if flag { 1.0 } else { 0.0 };
    let options = Invention {
        circuits: (1, 1),
        fouled: 0.0,
        blocked: 0.0,
        too_much: 0.0,
        plugged_branch: 0.0,
        meter_drifted: on(drifted),
        fixture_run: on(fixture),
        bucket: on(bucket),
        physics,
        ..Invention::default()
    };
    let mut plan = random_plan(seed, &options);
    plan.rig.fixture_stated = true;
    plan.visit.readings.retain(|reading| {
        use link::plan::ReadingKind::{Bucket, RigCheck};
        matches!(reading.what, RigCheck { .. } | Bucket { .. })
    });
    plan
}

/// What came out of one visit.
struct Seen {
    rig: RigVerdict,
    meter: RigVerdict,
    corrected: bool,
    /// Whether the meter's interval holds the truth.
    holds: bool,
}

/// What is found; nothing for a mould that cannot be made (few of those with other laws).
fn seen(plan: &Plan, seed: u64, tables: &Tables) -> Option<Seen> {
    let simulated = simulate(plan, seed).ok()?;
    let found = assess(&simulated.mould, &simulated.visit, tables).rig_check.expect("a finding of the rig");
    let meter = found.instruments.iter().find(|one| one.word == "flow-meter").expect("the meter");
    Some(Seen {
        rig: found.verdict,
        meter: meter.verdict,
        corrected: found.corrected_percent.is_some(),
        holds: meter.value.holds(100.0 * simulated.truth.rig.instruments.flow_gain),
    })
}

fn share(seen: &[Seen], of: impl Fn(&Seen) -> bool) -> f64 {
    seen.iter().filter(|one| of(one)).count() as f64 / seen.len() as f64
}

fn visits(physics: Physics, drifted: bool, bucket: bool, first: u64) -> Vec<Seen> {
    let tables = tables();
    let all: Vec<Seen> = (first..first + VISITS)
        .map(|seed| (plan(seed, physics, drifted, true, bucket), seed))
        // Gauges at the mould see nothing of joined hoses.
        .filter(|(plan, _)| !plan.rig.gauges_at_mould)
        .filter_map(|(plan, seed)| seen(&plan, seed, &tables))
        .collect();
    assert!(all.len() > 800, "only {} visits", all.len());
    all
}

fn told(physics: Physics, first: u64) {
    let drifted = visits(physics, true, true, first);
    let (found, named) = (
        share(&drifted, |one| one.rig == RigVerdict::Drifted),
        share(&drifted, |one| one.meter == RigVerdict::Drifted),
    );
    let corrected = share(&drifted, |one| one.corrected);
    let held = share(&drifted, |one| one.holds);
    println!(
        "drifted: found {found:.3}, meter named {named:.3}, corrected {corrected:.3}, interval holds {held:.3}"
    );
    let sound = visits(physics, false, true, first + 100_000);
    let (alarm, held) = (share(&sound, |one| one.rig == RigVerdict::Drifted), share(&sound, |one| one.holds));
    let fit = share(&sound, |one| one.rig == RigVerdict::Fit);
    println!("sound: false alarms {alarm:.4}, called fit {fit:.3}, interval holds {held:.3}");
    assert!(found >= 0.95 && named >= 0.95, "found {found}, named {named}");
    assert!(alarm < 0.02, "false alarms {alarm}");
    assert!((0.92..=0.99).contains(&held), "interval holds {held}");
    assert!(fit > 0.8, "called fit {fit}");
}

#[test]
fn a_drifted_meter_is_found_with_fixture_run_and_bucket() {
    told(Physics::Matching, 70_000);
}

#[test]
fn and_where_the_losses_follow_other_laws() {
    told(Physics::Other, 370_000);
}

#[test]
fn a_fixture_run_alone_names_nobody_wrongly() {
    let drifted = visits(Physics::Matching, true, false, 570_000);
    let noticed = share(&drifted, |one| one.rig == RigVerdict::Drifted);
    println!("fixture run alone: noticed {noticed:.3}");
    assert!(noticed > 0.2, "{noticed}");
    assert!(drifted.iter().all(|one| !one.corrected));
    let sound = visits(Physics::Matching, false, false, 670_000);
    let alarm = share(&sound, |one| one.rig == RigVerdict::Drifted);
    println!("fixture run alone: false alarms {alarm:.4}");
    assert!(alarm < 0.02, "{alarm}");
}

/// Whether circuits that moved alike were said to point to the rig, and how surely, in visits without a check of the rig.
fn moved_alike(drifted: f64, fouled: f64, first: u64, visits: u64) -> Vec<f64> {
    let tables = tables();
    let options = Invention {
        circuits: (5, 9),
        fouled,
        meter_drifted: drifted,
        fixture_run: 0.0,
        bucket: 0.0,
        baseline: 1.0,
        swapped: 0.0,
        ..Invention::default()
    };
    (first..first + visits)
        .filter_map(|seed| {
            let mut plan = random_plan(seed, &options);
            plan.visit
                .readings
                .retain(|reading| matches!(reading.what, link::plan::ReadingKind::Flow { .. }));
            let simulated = simulate(&plan, seed).ok()?;
            let found = assess(&simulated.mould, &simulated.visit, &tables).rig_check;
            Some(found.and_then(|found| found.moved_alike).map_or(0.0, |alike| alike.probability))
        })
        .collect()
}

#[test]
fn circuits_that_moved_alike_point_to_the_rig() {
    let over = |all: &[f64], least: f64| {
        all.iter().filter(|probability| **probability > least).count() as f64 / all.len() as f64
    };
    // Fouled as invented moulds are, and nearly clean: nothing points to a rig that is sound.
    for (fouled, first) in [(0.45, 870_000), (0.1, 880_000)] {
        let sound = moved_alike(0.0, fouled, first, 60);
        let (said, surely) = (over(&sound, 0.5), over(&sound, 0.95));
        println!("moved alike, sound rig, fouled {fouled}: said {said:.3}, surely {surely:.3}");
        assert!(said < 0.04 && surely < 0.01, "{said} {surely}");
    }
    let drifted = moved_alike(1.0, 0.1, 970_000, 60);
    let (said, surely) = (over(&drifted, 0.5), over(&drifted, 0.95));
    println!("moved alike, drifted meter, fouled 0.1: said {said:.3}, surely {surely:.3}");
    // Too little everywhere may as well be one water that fouled all: it is said in few of those.
    assert!(said > 0.15, "{said}");
}
