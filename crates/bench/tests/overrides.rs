//! Gates that a person opens or shuts against the rule: what holds, for how long, and what nobody may override.

#![allow(clippy::unwrap_used)]

mod limits;

use bench::finding::{Findings, Fitness, Gate, GateName};
use bench::judge::assess_with;
use bench::ladder::{State, Step, ladder};
use bench::mould::{Circuit, CircuitId, Known, Mould, MouldId, Process};
use bench::overrides::Override;
use bench::visit::{AirPassage, Charged, Decay, Entry, LeakDown, Rig, Treatment, TreatmentKind, Visit, What};
use calc::hydraulics::piece::Piece;
use calc::quantity::{Duration, GaugePressure, Length, Temperature, Volume};
use calc::trace::Trace;
use limits::tables;

fn mould() -> Mould {
    let circuit = Circuit {
        id: CircuitId("F1".into()),
        half: "fixed".into(),
        serves: None,
        metals: vec![],
        seals: vec![],
        sisters: vec![],
        neighbours: vec![],
        baseline: None,
        pieces: vec![Piece::Bore {
            diameter: Length::from_mm(10.0),
            length: Length::from_mm(1000.0),
            roughness: Length::from_um(10.0),
        }],
        known: Known::Measured,
        rough_bore: None,
        rough_length: None,
        earlier: vec![],
    };
    let id = MouldId("T".into());
    Mould { id, name: "Test".into(), process: Process::InjectionMoulding, circuits: vec![circuit] }
}

fn visit(whats: Vec<What>) -> Visit {
    let entry = |what| Entry { place: "visit".into(), at: None, circuit: Some(CircuitId("F1".into())), what };
    Visit {
        id: "v".into(),
        mould: MouldId("T".into()),
        started: "2026-11-24T08:00:00Z".parse().unwrap(),
        by: "KD".into(),
        rig: Rig {
            pressure_uncertainty_bar: 0.005,
            fixture_volume: Some(Volume::from_ml(100.0)),
            ..Rig::default()
        },
        hook_ups: vec![],
        entries: whats.into_iter().map(entry).collect(),
    }
}

fn bar(start: f64, end: f64, s: f64) -> Decay {
    let (start, end) = (GaugePressure::from_bar(start), GaugePressure::from_bar(end));
    Decay::TwoReadings { start, end, time: Duration::from_s(s) }
}

/// Air held and logged for two minutes, steel at 20 degC: the pressure falls evenly to this.
fn held(end_bar: f64) -> What {
    let times: Vec<f64> = (0..=1200).map(|step| f64::from(step) / 10.0).collect();
    // A millibar of flicker, as any logger has.
    let flicker = |step: usize| 0.0005 * [0.0, 4.0, 3.0, 2.0, 1.0][step % 5] - 0.001;
    let fallen = |time: f64| 6.0 - (6.0 - end_bar) * time / 120.0;
    let pressures = times.iter().enumerate().map(|(step, time)| fallen(*time) + flicker(step)).collect();
    let temperatures = vec![20.0; times.len()];
    let trace = Trace {
        time_s: times,
        pressure_bar_g: Some(pressures),
        temperature_deg_c: Some(temperatures),
        ..Trace::default()
    };
    let wall_temperature = Some(Temperature::from_deg_c(20.0));
    What::LeakDown(LeakDown { decay: Decay::Trace(trace), wall_temperature, hold: Duration::from_s(60.0) })
}

fn passes() -> What {
    What::AirPassage(AirPassage {
        charged: Charged::Circuit,
        decay: bar(6.0, 0.0, 3.0),
        air_temperature: None,
    })
}

fn done(kind: TreatmentKind) -> What {
    What::Treatment(Treatment { kind, remark: None })
}

fn given(gate: GateName, open: bool, against: &[&str]) -> Override {
    Override {
        circuit: CircuitId("F1".into()),
        gate,
        open,
        by: "LE".into(),
        at: "2026-11-24T09:00:00Z".parse().unwrap(),
        because: "ten samples for the customer".into(),
        against: against.iter().map(|word| (*word).to_owned()).collect(),
    }
}

fn judged(whats: Vec<What>, overrides: &[Override]) -> Findings {
    assess_with(&mould(), &visit(whats), &tables(), overrides)
}

fn gate(whats: Vec<What>, name: GateName, overrides: &[Override]) -> Gate {
    judged(whats, overrides).circuits[0].gates.get(name).clone()
}

#[test]
fn an_override_opens_the_gate_and_everything_that_relies_on_it_says_so() {
    let release = gate(vec![held(6.0), passes(), done(TreatmentKind::Dry)], GateName::Release, &[]);
    assert_eq!((release.open, release.obstacles.as_slice()), (false, &["flow-unmeasured"][..]));
    let against = given(GateName::Release, true, &release.obstacles);
    let findings =
        judged(vec![held(6.0), passes(), done(TreatmentKind::Dry)], std::slice::from_ref(&against));
    let found = &findings.circuits[0];
    assert!(found.gates.release.open && !found.gates.release.opens_by_rule());
    let reason = &found.gates.release.reason;
    assert!(reason.contains("by LE on 2026-11-24: “ten samples for the customer”"), "{reason}");
    assert!(reason.contains("the rule says: flow not measured"), "{reason}");
    assert_eq!(found.gates.release.overridden.as_ref().unwrap().rule, "flow not measured");
    let warnings: Vec<&str> = findings.warnings.iter().map(|warning| warning.code).collect();
    assert!(warnings.contains(&"gate-overridden"));
    // What a person decided is no finding: the mould is not called ready for the press.
    assert_eq!(findings.fit_for_press, Fitness::CannotTell);
    let visit = visit(vec![held(6.0), passes(), done(TreatmentKind::Dry)]);
    let rungs = ladder(&visit, &findings);
    let step = |step| rungs.iter().find(|rung| rung.step == step).unwrap().circuits[0].1.clone();
    assert_eq!(step(Step::Release), State::ToDo);
    let other = ladder(&visit, &judged(vec![held(6.0), passes(), done(TreatmentKind::Dry)], &[]));
    assert!(matches!(other.last().unwrap().circuits[0].1, State::Shut(_)));
}

#[test]
fn what_comes_to_light_later_shuts_the_gate_again() {
    let before = gate(vec![], GateName::Wet, &[]);
    assert_eq!(before.obstacles, ["tightness-untested", "passage-untested"]);
    let against = [given(GateName::Wet, true, &before.obstacles)];
    assert!(gate(vec![], GateName::Wet, &against).open);
    // Fewer obstacles than were seen: it holds on.
    assert!(gate(vec![held(6.0)], GateName::Wet, &against).open);
    let leak = gate(vec![held(4.0)], GateName::Wet, &against);
    assert!(!leak.open && leak.overridden.is_none() && leak.obstacles.contains(&"leak"));
    assert!(leak.reason.contains("more than was known when it was overridden by LE"), "{}", leak.reason);
    // Whoever knows of the leak may decide anew: a hunt with water, under watch.
    let anew = [against[0].clone(), given(GateName::Wet, true, &leak.obstacles)];
    assert!(gate(vec![held(4.0)], GateName::Wet, &anew).open);
}

#[test]
fn what_could_hurt_people_is_not_overridden() {
    for whats in [vec![], vec![held(4.0)], vec![held(6.0)]] {
        let rule = gate(whats.clone(), GateName::Descale, &[]);
        assert_eq!(rule.firm, Some("acid could reach people"), "{rule:?}");
        let shut = gate(whats, GateName::Descale, &[given(GateName::Descale, true, &rule.obstacles)]);
        assert!(!shut.open && shut.reason.contains("does not count: acid could reach people"), "{shut:?}");
    }
    let acid = vec![done(TreatmentKind::Descale), done(TreatmentKind::Dry), held(6.0), passes()];
    let rule = gate(acid.clone(), GateName::Release, &[]);
    assert!(rule.firm.is_some() && rule.obstacles.contains(&"acid-left"), "{rule:?}");
    assert!(!gate(acid, GateName::Release, &[given(GateName::Release, true, &rule.obstacles)]).open);
}

#[test]
fn an_open_gate_is_shut_with_a_reason_and_the_last_word_counts() {
    let tight = || vec![held(6.0), passes(), done(TreatmentKind::Dry)];
    let open = gate(tight(), GateName::Wet, &[]);
    assert!(open.opens_by_rule(), "{open:?}");
    let shut = given(GateName::Wet, false, &[]);
    let wet = gate(tight(), GateName::Wet, std::slice::from_ref(&shut));
    assert!(!wet.open && wet.reason.starts_with("shut against the rule by LE"), "{}", wet.reason);
    assert!(gate(tight(), GateName::Wet, &[shut, given(GateName::Wet, true, &[])]).opens_by_rule());
    // A gate of another circuit stays as it is.
    let mut other = given(GateName::Wet, false, &[]);
    other.circuit = CircuitId("F2".into());
    assert!(gate(tight(), GateName::Wet, &[other]).opens_by_rule());
}
