//! Known errors in, known answers out.

use super::*;
use crate::numeric::math;

fn stated() -> Stated {
    Stated {
        flow_relative: 0.02,
        pressure_bar: 0.05,
        gauge_step_bar: 0.0,
        temperature_k: 0.5,
        fixture: Some((FlowFactor::from_m3_h(0.8), 0.03)),
    }
}

/// An orifice of 0.6 m3/h, known to 1 %, at 2 bar in water of 20 degC; the meter is off by this factor.
fn orifice(meter: f64) -> RigReading {
    let on = KnownThing::Orifice { flow_factor: FlowFactor::from_m3_h(0.6), relative: 0.01 };
    flowing(on, 0.6 * 2.0_f64.sqrt() * meter, 2.0)
}

fn flowing(on: KnownThing, m3_h: f64, drop_bar: f64) -> RigReading {
    RigReading {
        flow: Some(VolumeFlow::from_m3_h(m3_h)),
        pressure_in: Some(GaugePressure::from_bar(drop_bar)),
        pressure_out: Some(GaugePressure::from_bar(0.0)),
        water_temperature: Some(Temperature::from_deg_c(20.0)),
        ..RigReading::on(on)
    }
}

/// Hoses of 0.8 m3/h at 3 bar, whose drop goes with the flow to the power of 1.955.
fn fixture(meter: f64) -> RigReading {
    flowing(KnownThing::Fixture, 0.8 * math::powf(3.0, 1.0 / 1.955) * meter, 3.0)
}

/// Gauges that show 0 when they should.
fn rest() -> RigReading {
    let zero = Some(GaugePressure::from_bar(0.0));
    RigReading { pressure_in: zero, pressure_out: zero, ..RigReading::on(KnownThing::AtRest) }
}

fn bucket(meter: f64) -> RigReading {
    let flow_l_min = Uncertain::relative(12.0, 0.005);
    RigReading {
        flow: Some(VolumeFlow::from_l_min(12.0 * meter)),
        ..RigReading::on(KnownThing::Bucket { flow_l_min })
    }
}

#[test]
fn everything_as_stated_is_sound() {
    let found = rig_check(&stated(), &[fixture(1.0), bucket(1.0)]).unwrap();
    assert_eq!(found.trust, Trust::Sound, "{found:#?}");
    assert!(found.of(Instrument::Meter).unwrap().error.holds(0.0));
    assert_eq!(found.next_reading, None);
}

#[test]
fn a_fixture_run_alone_cannot_tell_meter_from_hoses() {
    let found = rig_check(&stated(), &[fixture(0.85), rest()]).unwrap();
    assert_eq!(found.trust, Trust::Drifted, "{found:#?}");
    assert_eq!(found.of(Instrument::Meter).unwrap().trust(), Trust::CannotTell);
    assert_eq!(found.of(Instrument::Hoses).unwrap().trust(), Trust::CannotTell);
    assert!(found.inseparable.contains(&(Instrument::Meter, Instrument::Hoses)), "{:?}", found.inseparable);
    assert_eq!(found.next_reading, Some(NextReading::Bucket));
}

#[test]
fn a_bucket_says_that_it_is_the_meter() {
    let found = rig_check(&stated(), &[fixture(0.87), bucket(0.87)]).unwrap();
    let meter = found.of(Instrument::Meter).unwrap();
    assert_eq!(meter.trust(), Trust::Drifted);
    assert!(meter.error.holds(math::ln(0.87)), "{meter:?}");
    assert!(found.of(Instrument::Hoses).unwrap().drifted < 0.1, "{found:#?}");
    assert!(found.inseparable.is_empty());
}

#[test]
fn or_that_it_is_the_hoses() {
    let found = rig_check(&stated(), &[fixture(0.85), bucket(1.0), rest()]).unwrap();
    assert_eq!(found.of(Instrument::Meter).unwrap().trust(), Trust::Sound);
    let hoses = found.of(Instrument::Hoses).unwrap();
    assert_eq!(hoses.trust(), Trust::Drifted);
    assert!(hoses.error.value < -0.1);
}

#[test]
fn an_orifice_does_the_same_with_a_wider_interval() {
    let found = rig_check(&stated(), &[fixture(0.85), orifice(0.85)]).unwrap();
    let narrow = rig_check(&stated(), &[fixture(0.85), bucket(0.85)]).unwrap();
    let width = |state: &RigState| state.of(Instrument::Meter).unwrap().error.half_width();
    assert!(found.of(Instrument::Meter).unwrap().drifted > 0.9);
    assert!(width(&found) > width(&narrow));
}

#[test]
fn gauges_at_rest_and_at_shut_off() {
    let gauges = |on, inlet, outlet| RigReading {
        pressure_in: Some(GaugePressure::from_bar(inlet)),
        pressure_out: Some(GaugePressure::from_bar(outlet)),
        ..RigReading::on(on)
    };
    let rest = gauges(KnownThing::AtRest, 0.3, 0.01);
    let found = rig_check(&stated(), &[rest]).unwrap();
    assert_eq!(found.of(Instrument::InletZero).unwrap().trust(), Trust::Drifted);
    assert_eq!(found.of(Instrument::OutletZero).unwrap().trust(), Trust::Sound);
    // At shut-off alone, zero and slope of both gauges are one sum.
    let shut = gauges(KnownThing::ShutOff, 5.6, 5.0);
    let found = rig_check(&stated(), &[shut]).unwrap();
    assert_eq!(found.trust, Trust::Drifted);
    assert!(found.instruments.iter().all(|state| state.trust() != Trust::Drifted), "{found:#?}");
    // A reference gauge says which one, and rest says that it is the slope.
    let reference = RigReading { reference_pressure: Some((GaugePressure::from_bar(5.0), 0.01)), ..shut };
    let rest = gauges(KnownThing::AtRest, 0.0, 0.0);
    let found = rig_check(&stated(), &[reference, rest]).unwrap();
    let gain = found.of(Instrument::InletGain).unwrap();
    assert_eq!(gain.trust(), Trust::Drifted, "{found:#?}");
    assert!((gain.error.value - 0.12).abs() < 0.01, "{gain:?}");
}

#[test]
fn an_earlier_run_makes_up_for_a_fixture_that_is_not_stated() {
    let bare = Stated { fixture: None, ..stated() };
    let earlier = RigReading { earlier: true, ..fixture(1.0) };
    let same = rig_check(&bare, &[earlier, fixture(1.0), bucket(1.0)]).unwrap();
    assert_eq!(same.trust, Trust::Sound);
    let narrowed = rig_check(&bare, &[earlier, fixture(0.8), bucket(1.0), rest()]).unwrap();
    assert_eq!(narrowed.of(Instrument::Hoses).unwrap().trust(), Trust::Drifted);
}

#[test]
fn a_thermometer_against_another() {
    let warm = RigReading {
        water_temperature: Some(Temperature::from_deg_c(24.0)),
        reference_temperature: Some((Temperature::from_deg_c(20.0), 0.1)),
        ..RigReading::on(KnownThing::AtRest)
    };
    let found = rig_check(&stated(), &[warm]).unwrap();
    assert_eq!(found.of(Instrument::Thermometer).unwrap().trust(), Trust::Drifted);
}

#[test]
fn what_is_missing_is_named() {
    assert_eq!(rig_check(&stated(), &[]), Err(RigCheckError::Nothing));
    let blind = RigReading { pressure_out: None, ..fixture(1.0) };
    assert!(matches!(rig_check(&stated(), &[blind]), Err(RigCheckError::Missing { place: 0, .. })));
    let backward = RigReading { pressure_out: Some(GaugePressure::from_bar(3.0)), ..fixture(1.0) };
    assert!(matches!(rig_check(&stated(), &[backward]), Err(RigCheckError::NoDrop { place: 0, .. })));
    let idle = RigReading { flow: None, ..bucket(1.0) };
    assert!(matches!(rig_check(&stated(), &[idle]), Err(RigCheckError::Missing { .. })));
}
