//! What the rig's readings do to the readings of a visit.

use calc::quantity::{Duration, FlowFactor, GaugePressure};

use super::*;
use crate::mould::{CircuitId, MouldId};
use crate::rig::Filling;
use crate::visit::{Flow, Others};

fn visit(whats: Vec<What>) -> Visit {
    let entry = |what| Entry { place: "visit.toml, line 9".to_owned(), at: None, circuit: None, what };
    Visit {
        id: "v".to_owned(),
        mould: MouldId("m".to_owned()),
        started: "2026-11-24T08:40:00Z".parse().unwrap(),
        by: "x".to_owned(),
        rig: Rig { fixture_flow_factor: Some(FlowFactor::from_m3_h(0.8)), ..Rig::default() },
        hook_ups: Vec::new(),
        entries: whats.into_iter().map(entry).collect(),
    }
}

/// Hoses of 0.8 m3/h, at a meter that shows this many times the true flow.
fn fixture(meter: f64) -> What {
    What::RigCheck(RigRun {
        on: RigOn::Fixture,
        flow: Some(VolumeFlow::from_m3_h(0.8 * 3.0_f64.sqrt() * 1.012 * meter)),
        pressure_in: Some(GaugePressure::from_bar(3.0)),
        pressure_out: Some(GaugePressure::from_bar(0.0)),
        water_temperature: Some(Temperature::from_deg_c(20.0)),
        reference_pressure: None,
        reference_temperature: None,
    })
}

fn bucket(meter: f64) -> What {
    What::Bucket(BucketRun {
        by: BucketBy::Mark,
        fillings: vec![Filling {
            caught_l_or_kg: 24.0,
            time: Duration::from_s(120.0),
            meter: VolumeFlow::from_l_min(12.0 * meter),
        }],
        caught_uncertainty_l_or_kg: 0.1,
        timing_uncertainty: Duration::from_s(0.3),
        water_temperature: None,
    })
}

fn flow() -> What {
    What::Flow(Flow {
        flow: FlowReading::Mean(VolumeFlow::from_l_min(11.0)),
        pressure_in: GaugePressure::from_bar(2.0),
        pressure_out: GaugePressure::from_bar(0.0),
        water_temperature: Temperature::from_deg_c(20.0),
        others: Others::Closed,
        through_fixture: true,
    })
}

#[test]
fn a_meter_is_corrected_only_where_two_checks_agree() {
    let flow_of = |visit: &Visit| match &visit.entries[0].what {
        What::Flow(Flow { flow: FlowReading::Mean(mean), .. }) => mean.l_min(),
        _ => panic!("a flow"),
    };
    let both = visit(vec![flow(), fixture(1.1), bucket(1.1)]);
    let seen = check(&both);
    let read = seen.as_read(&both);
    assert!((flow_of(&read) - 10.0).abs() < 0.1, "{}", flow_of(&read));
    assert!(seen.evidence().unwrap().text.contains("too much"));
    // One check alone widens, and corrects nothing.
    for alone in [fixture(1.2), bucket(1.1)] {
        let one = visit(vec![flow(), alone]);
        let read = check(&one).as_read(&one).into_owned();
        assert!((flow_of(&read) - 11.0).abs() < 1e-12);
        assert!(read.rig.flow_uncertainty_relative > 0.05, "{}", read.rig.flow_uncertainty_relative);
    }
    // A bucket that finds the meter sound beside a fixture run that does not: it is the hoses.
    let hoses = visit(vec![flow(), fixture(0.8), bucket(1.0)]);
    let seen = check(&hoses);
    let read = seen.as_read(&hoses).into_owned();
    assert!(read.rig.fixture_uncertainty_relative > 0.1);
    assert!((flow_of(&read) - 11.0).abs() < 1e-12);
    let (finding, warnings) = seen.finding(None);
    assert_eq!(finding.unwrap().verdict, RigVerdict::Drifted);
    assert!(warnings.iter().any(|warning| warning.code == "rig-drifted"));
}

#[test]
fn a_sound_rig_changes_nothing() {
    let sound = visit(vec![flow(), fixture(1.0), bucket(1.0)]);
    let seen = check(&sound);
    assert!(matches!(seen.as_read(&sound), Cow::Borrowed(_)));
    let (finding, warnings) = seen.finding(None);
    assert_eq!(finding.unwrap().verdict, RigVerdict::Fit);
    assert!(warnings.is_empty(), "{warnings:?}");
}

#[test]
fn a_reading_that_cannot_be_used_is_said_and_left_out() {
    let mut blind = fixture(1.0);
    if let What::RigCheck(run) = &mut blind {
        run.pressure_out = None;
    }
    let seen = check(&visit(vec![blind, bucket(1.0)]));
    assert_eq!(seen.warnings[0].code, "rig-reading");
    assert!(seen.warnings[0].text.starts_with("visit.toml, line 9"), "{}", seen.warnings[0].text);
    assert!(seen.state.is_some());
}

#[test]
fn each_calibration_that_ended_is_said() {
    let mut late = visit(Vec::new());
    late.rig.calibrated_until = Some("2026-11-24".to_owned());
    late.rig.flow_calibrated_until = Some("2026-11-23".to_owned());
    late.rig.pressure_calibrated_until = Some("2026-01-31".to_owned());
    late.rig.temperature_calibrated_until = Some("2027-01-31".to_owned());
    let codes: Vec<&str> = check(&late).warnings.iter().map(|warning| warning.code).collect();
    assert_eq!(codes, ["flow-calibration-overdue", "pressure-calibration-overdue"]);
}

#[test]
fn circuits_that_moved_alike_are_warned_of() {
    let circuits: Vec<CircuitId> = ["F1", "F2", "F3"].map(|id| CircuitId(id.to_owned())).to_vec();
    let flow_percent = Estimate::lognormal(112.0, 0.01);
    let alike = MovedAlike { circuits, flow_percent, probability: 0.97 };
    let bare = visit(vec![flow()]);
    assert!(wider(&alike, &bare).unwrap().rig.flow_uncertainty_relative > 0.1);
    let (finding, warnings) = check(&bare).finding(Some(alike));
    let finding = finding.unwrap();
    assert_eq!(finding.verdict, RigVerdict::Drifted);
    assert!(finding.best_next_reading.is_some());
    assert_eq!(warnings.len(), 3);
    assert!(warnings[0].text.contains("ll 3 circuits moved alike"), "{}", warnings[0].text);
}
