use super::*;
use crate::air::discharge::model::{Vessel, wall_rate};
use crate::quantity::{AbsolutePressure, Duration, GaugePressure, Temperature, Volume};
use crate::trace::Trace;

const NARROW: SonicConductance = SonicConductance::from_dm3_s_bar(1.0);

/// A reservoir of 2 l that empties through a line, as the model says; the valve opens after 0.5 s.
fn logged(conductance: f64) -> Trace {
    let vessel = Vessel {
        conductance,
        critical_ratio: 0.2,
        pressure_exponent: 0.01,
        volume: 2.0 * (1.0 + 0.57 * 0.05),
        wall_bar_s_k: wall_rate(35.0 * 6.0 / 0.126),
        wall_exponent: 0.33,
        warming: 0.85,
        wall_temperature: 293.15,
        start: 7.013,
        outlet: 1.013,
    };
    let tau = 2.0 / conductance;
    let curve = vessel.curve(4.0 * tau);
    let time_s: Vec<f64> = (0..200).map(|at| f64::from(at) * 4.0 * tau / 200.0).collect();
    let pressure = time_s.iter().map(|time| curve.at(time - 0.5 * tau) - 1.013).collect();
    Trace { time_s, pressure_bar_g: Some(pressure), ..Trace::default() }
}

fn through(trace: &Trace) -> Discharge<'_> {
    Discharge {
        circuit_volume: Some(Volume::from_ml(100.0)),
        atmosphere: AbsolutePressure::from_bar(1.013),
        ..Discharge::new(Charged::Reservoir { volume: Volume::from_l(2.0) }, DecayData::Trace(trace))
    }
}

fn judged(discharge: Discharge<'_>, expected: Option<f64>) -> PassageResult {
    let expected = expected.map(|value| Expected::of_baseline(Uncertain::relative(value, 0.02)));
    passage(&PassageInput { discharge, fixture: None, expected, narrow_below: NARROW }).unwrap()
}

fn readings(charged: Charged, start: f64, end: f64, seconds: f64) -> Discharge<'static> {
    let decay = DecayData::TwoReadings {
        start: GaugePressure::from_bar(start),
        end: GaugePressure::from_bar(end),
        time: Duration::from_s(seconds),
    };
    Discharge { atmosphere: AbsolutePressure::from_bar(1.0), ..Discharge::new(charged, decay) }
}

#[test]
fn the_fit_finds_what_the_model_was_given() {
    for conductance in [0.3, 1.0, 3.0] {
        let trace = logged(conductance);
        let found = judged(through(&trace), None);
        let value = found.sonic_conductance.unwrap();
        assert!((value.value / conductance - 1.0).abs() < 0.015, "{conductance}: {value:?}");
        assert!(value.holds(conductance) && found.fit.unwrap().good);
        assert!(found.critical_ratio.unwrap().holds(0.2));
    }
}

#[test]
fn verdicts_compare_with_what_should_pass() {
    let slow = logged(0.5);
    assert_eq!(judged(through(&slow), Some(0.5)).verdict, Verdict::NarrowByDesign);
    let restricted = judged(through(&slow), Some(1.5));
    assert_eq!(restricted.verdict, Verdict::Restricted);
    assert!(restricted.reason.contains("67 % less"), "{}", restricted.reason);
    assert!(restricted.ratio.unwrap().high < 0.4);
    let alone = judged(through(&slow), None);
    assert_eq!(alone.verdict, Verdict::CannotTell);
    assert!(alone.would_tell.is_some());
    let fast = logged(3.0);
    assert_eq!(judged(through(&fast), Some(3.0)).verdict, Verdict::Free);
    assert_eq!(judged(through(&fast), None).verdict, Verdict::Free);
    assert_eq!(judged(through(&fast), Some(5.0)).verdict, Verdict::Restricted);
}

#[test]
fn hoses_narrower_than_the_reading_are_a_contradiction() {
    let trace = logged(3.0);
    let input = PassageInput {
        discharge: through(&trace),
        fixture: Some(Fixture::on_both_sides(SonicConductance::from_dm3_s_bar(1.0), 0.02)),
        expected: None,
        narrow_below: NARROW,
    };
    let result = passage(&input).unwrap();
    assert_eq!(result.verdict, Verdict::CannotTell);
    assert!(matches!(result.evidence, Evidence::Contradiction { .. }));
}

#[test]
fn held_pressure_is_blocked_with_and_without_expectation() {
    let vessel = Charged::Reservoir { volume: Volume::from_l(2.0) };
    let own = Charged::Circuit { volume: Volume::from_ml(150.0) };
    for expected in [None, Some(2.0)] {
        assert_eq!(judged(readings(vessel, 6.0, 5.98, 30.0), expected).verdict, Verdict::Blocked);
        assert_eq!(judged(readings(own, 6.0, 5.95, 5.0), expected).verdict, Verdict::Blocked);
        // A vessel watched for a second tells nothing.
        let short = judged(readings(vessel, 6.0, 5.8, 1.0), expected);
        assert_eq!(short.verdict, Verdict::CannotTell, "{}", short.reason);
    }
}

#[test]
fn gone_at_once_is_a_lower_bound() {
    let own = Charged::Circuit { volume: Volume::from_ml(150.0) };
    let result = judged(readings(own, 6.0, 0.0, 1.0), Some(2.0));
    let Evidence::AtLeast(bound) = result.evidence else { panic!("{:?}", result.evidence) };
    assert!(bound > 0.0 && bound < 0.15);
    assert_eq!(result.verdict, Verdict::CannotTell);
    assert!(result.would_tell.unwrap().contains("vessel"));
}

#[test]
fn two_readings_hold_the_textbook_discharges() {
    // V 10 dm3, C 1: 7 to 3.5 bar absolute in 6.931 s isothermal and 5.204 s adiabatic (textbook formulas, choked).
    let vessel = Charged::Reservoir { volume: Volume::from_l(10.0) };
    for seconds in [5.204, 6.931] {
        let found = judged(readings(vessel, 6.0, 2.5, seconds), None).sonic_conductance.unwrap();
        assert!(found.holds(1.0) && found.low > 0.5 && found.high < 1.7, "{found:?}");
    }
    // Discharge formula of a pneumatic catalogue: S = 12.1 V/t log10(..) mm2, S = 5.0 C; its resting pressure after the
    // discharge lies near the gauge's own for a slow one.
    let catalogue = 12.1 * 10.0 / 6.0 * math::log10(7.0 / 3.5) / 5.0;
    let found = judged(readings(vessel, 6.0, 2.5, 6.0), None).sonic_conductance.unwrap();
    assert!(found.holds(catalogue), "{catalogue} {found:?}");
}

#[test]
fn refuses_what_is_no_discharge() {
    let vessel = Charged::Reservoir { volume: Volume::from_l(2.0) };
    let run = |discharge| {
        passage(&PassageInput { discharge, fixture: None, expected: None, narrow_below: NARROW }).unwrap_err()
    };
    assert!(matches!(run(readings(vessel, 3.0, 5.0, 1.0)), DischargeError::Rising { .. }));
    assert!(matches!(run(readings(vessel, 0.05, 0.0, 1.0)), DischargeError::OutOfRange(_)));
    let nothing = Charged::Reservoir { volume: Volume::from_l(0.0) };
    assert!(matches!(run(readings(nothing, 6.0, 0.0, 1.0)), DischargeError::OutOfRange(_)));
    let one = Trace { time_s: vec![0.0], pressure_bar_g: Some(vec![6.0]), ..Trace::default() };
    assert_eq!(run(through(&one)), DischargeError::Trace);
    let still = Trace { time_s: vec![0.0, 0.0], pressure_bar_g: Some(vec![6.0, 5.0]), ..Trace::default() };
    assert_eq!(run(through(&still)), DischargeError::Trace);
    let cold =
        Discharge { air_temperature: Temperature::from_deg_c(-60.0), ..readings(vessel, 6.0, 1.0, 1.0) };
    assert!(matches!(run(cold), DischargeError::OutOfRange(_)));
}

#[test]
fn no_input_panics() {
    use proptest::prelude::*;
    let strategy = (
        proptest::collection::vec((0.0..0.5_f64, -1.5..12.0_f64), 0..40),
        1.0..5_000.0_f64,
        proptest::bool::ANY,
        proptest::option::of(0.01..20.0_f64),
    );
    proptest!(ProptestConfig::with_cases(150), |((steps, volume_ml, own, fixture) in strategy)| {
        let mut clock = 0.0;
        let (time_s, pressure): (Vec<f64>, Vec<f64>) = steps.into_iter().map(|(step, p)| { clock += step; (clock, p) }).unzip();
        let trace = Trace { time_s, pressure_bar_g: Some(pressure), ..Trace::default() };
        let volume = Volume::from_ml(volume_ml);
        let charged = if own { Charged::Circuit { volume } } else { Charged::Reservoir { volume } };
        let input = PassageInput {
            discharge: Discharge::new(charged, DecayData::Trace(&trace)),
            fixture: fixture.map(|c| Fixture::on_both_sides(SonicConductance::from_dm3_s_bar(c), 0.03)),
            expected: Some(Expected::of_baseline(Uncertain::new(1.0, 0.1))),
            narrow_below: NARROW,
        };
        let value = passage(&input).ok().and_then(|result| result.sonic_conductance);
        prop_assert!(value.is_none_or(|c| c.low <= c.value && c.value <= c.high), "{value:?}");
    });
}
