//! The ladder of a visit: what is to do, what a gate shuts, what follows what.

#![allow(clippy::unwrap_used)]

mod limits;

use bench::judge::assess;
use bench::ladder::{Rung, State, Step, ladder};
use bench::mould::{Circuit, CircuitId, Known, Mould, MouldId, Process};
use bench::visit::{
    AirPassage, Charged, Decay, Entry, Flow, FlowReading, HookUp, LeakDown, Others, Rig, Treatment,
    TreatmentKind, Visit, What,
};
use calc::quantity::{Duration, GaugePressure, Length, Temperature, VolumeFlow};
use limits::tables;

fn circuit(id: &str) -> Circuit {
    Circuit {
        id: CircuitId(id.into()),
        half: "fixed".into(),
        serves: None,
        metals: vec![],
        seals: vec![],
        sisters: vec![],
        neighbours: vec![],
        baseline: None,
        pieces: vec![],
        known: Known::Unknown,
        rough_bore: Some(Length::from_mm(10.0)),
        rough_length: Some(Length::from_mm(1000.0)),
        earlier: vec![],
    }
}

fn about(id: Option<&str>, what: What) -> Entry {
    Entry { place: "visit".into(), at: None, circuit: id.map(|id| CircuitId(id.into())), what }
}

fn done(id: Option<&str>, kind: TreatmentKind) -> Entry {
    about(id, What::Treatment(Treatment { kind, remark: None }))
}

fn bar(start: f64, end: f64, s: f64) -> Decay {
    let (start, end) = (GaugePressure::from_bar(start), GaugePressure::from_bar(end));
    Decay::TwoReadings { start, end, time: Duration::from_s(s) }
}

/// Air held: the gauge falls to this within a minute.
fn held(id: &str, end_bar: f64) -> Entry {
    let test =
        LeakDown { decay: bar(6.0, end_bar, 60.0), wall_temperature: None, hold: Duration::from_s(60.0) };
    about(Some(id), What::LeakDown(test))
}

fn passes(id: &str) -> Entry {
    let passage = AirPassage { charged: Charged::Circuit, decay: bar(6.0, 0.0, 3.0), air_temperature: None };
    about(Some(id), What::AirPassage(passage))
}

fn flow(id: &str) -> Entry {
    about(
        Some(id),
        What::Flow(Flow {
            flow: FlowReading::Mean(VolumeFlow::from_l_min(12.0)),
            pressure_in: GaugePressure::from_bar(2.0),
            pressure_out: GaugePressure::from_bar(0.5),
            water_temperature: Temperature::from_deg_c(20.0),
            others: Others::Closed,
            through_fixture: false,
        }),
    )
}

fn climbed(hook_ups: Vec<HookUp>, entries: Vec<Entry>) -> Vec<Rung> {
    let mould = Mould {
        id: MouldId("T".into()),
        name: "Test".into(),
        process: Process::InjectionMoulding,
        circuits: vec![circuit("F1"), circuit("F2")],
    };
    let rig = Rig { pressure_uncertainty_bar: 0.005, ..Rig::default() };
    let visit = Visit {
        id: "v".into(),
        mould: mould.id.clone(),
        started: "2026-11-24T08:00:00Z".parse().unwrap(),
        by: "K. Dale".into(),
        rig,
        hook_ups,
        entries,
    };
    ladder(&visit, &assess(&mould, &visit, &tables()))
}

fn state<'a>(rungs: &'a [Rung], step: Step, id: &str) -> &'a State {
    let rung = rungs.iter().find(|rung| rung.step == step).unwrap();
    &rung.circuits.iter().find(|(own, _)| own.0 == id).unwrap().1
}

#[test]
fn an_untouched_mould_begins_at_the_foot_and_may_not_be_wetted() {
    let rungs = climbed(vec![], vec![]);
    assert_eq!(rungs.iter().map(|rung| rung.step).collect::<Vec<_>>(), Step::ALL);
    for step in [Step::HookUp, Step::BlowOut, Step::LeakDown, Step::AirPassage] {
        assert_eq!(*state(&rungs, step, "F1"), State::ToDo, "{step:?}");
    }
    for step in [Step::FindLeak, Step::Descale, Step::Rinse, Step::Dry, Step::OpenOrRepair] {
        assert_eq!(*state(&rungs, step, "F1"), State::NotNeeded, "{step:?}");
    }
    let State::Shut(reason) = state(&rungs, Step::Flow, "F1") else { panic!("dry until air has told") };
    assert!(reason.contains("tightness not tested"), "{reason}");
    assert!(matches!(state(&rungs, Step::Release, "F1"), State::Shut(_)));
}

#[test]
fn each_circuit_climbs_by_itself_and_the_whole_mould_may_be_blown_out() {
    let hook_up = HookUp { port: 1, circuit: CircuitId("F1".into()) };
    let entries = vec![done(None, TreatmentKind::BlowOut), held("F1", 6.0), passes("F1")];
    let rungs = climbed(vec![hook_up], entries);
    assert_eq!(*state(&rungs, Step::HookUp, "F1"), State::Done);
    assert_eq!(*state(&rungs, Step::HookUp, "F2"), State::ToDo);
    assert_eq!(*state(&rungs, Step::BlowOut, "F2"), State::Done);
    let foot = rungs.iter().find(|rung| rung.step == Step::BlowOut).unwrap();
    assert!(foot.is_settled() && foot.in_state(&State::Done).count() == 2);
    let flow = rungs.iter().find(|rung| rung.step == Step::Flow).unwrap();
    assert!(flow.shut().any(|(id, _)| id.0 == "F2") && !flow.is_settled());
}

#[test]
fn what_was_wet_is_dried_and_what_was_descaled_is_rinsed_afterwards() {
    let rungs = climbed(vec![], vec![done(Some("F1"), TreatmentKind::Dry), flow("F1")]);
    assert_eq!(*state(&rungs, Step::Dry, "F1"), State::ToDo, "dried before it was wet");
    assert_eq!(*state(&rungs, Step::Dry, "F2"), State::NotNeeded);
    let descaled = vec![done(Some("F1"), TreatmentKind::Descale)];
    assert_eq!(*state(&climbed(vec![], descaled.clone()), Step::Rinse, "F1"), State::ToDo);
    let rinsed =
        [descaled, vec![done(Some("F1"), TreatmentKind::Rinse), done(None, TreatmentKind::Dry)]].concat();
    let rungs = climbed(vec![], rinsed);
    assert_eq!(
        (state(&rungs, Step::Rinse, "F1"), state(&rungs, Step::Dry, "F1")),
        (&State::Done, &State::Done)
    );
}

#[test]
fn a_repair_takes_the_air_readings_back() {
    let tested = vec![held("F1", 3.0)];
    let before = climbed(vec![], tested.clone());
    assert_eq!(*state(&before, Step::LeakDown, "F1"), State::Done, "it leaks: that is an answer");
    assert_eq!(*state(&before, Step::FindLeak, "F1"), State::ToDo);
    let after = climbed(vec![], [tested, vec![done(Some("F1"), TreatmentKind::Repair)]].concat());
    assert_eq!(*state(&after, Step::LeakDown, "F1"), State::ToDo);
    assert_eq!(*state(&after, Step::FindLeak, "F1"), State::NotNeeded);
    assert_eq!(*state(&after, Step::OpenOrRepair, "F1"), State::Done);
}

#[test]
fn every_step_that_brings_pressure_water_or_chemistry_has_its_cautions() {
    for step in Step::ALL {
        assert!(!step.cautions().is_empty() && !step.what_to_do().is_empty(), "{step:?}");
    }
}
