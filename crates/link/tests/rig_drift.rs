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
