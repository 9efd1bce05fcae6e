//! Invented rigs and the readings that such a rig's operator takes.

use bench::visit::{End, Others, Rig};
use calc::hydraulics::piece::Piece;
use calc::quantity::{AbsolutePressure, FlowFactor, GaugePressure, Length, Temperature, Volume, VolumeFlow};

use super::Invention;
use crate::chance::Chance;
use crate::instruments::rounded;
use crate::plan::{Logger, ReadingKind, ReadingPlan, RigCheckOn, RigPlan, Sampling, VisitPlan};

/// Second of the first invented visit, 2026-01-05 08:00 UTC.
const FIRST_S: i64 = 1_767_600_000;

/// How often leaks are also looked for at half the pressure (own choice).
const SECOND_PRESSURE: f64 = 0.15;

/// A rig, and whether its gauges are read by hand.
pub(super) fn rig(options: &Invention, chance: &mut Chance) -> (RigPlan, bool) {
    let kind = chance.by_weight(&options.rigs);
    let by_hand = kind == 3;
    let (flow, pressure, temperature) =
        [(0.02, 0.05, 0.5), (0.01, 0.015, 0.3), (0.005, 0.004, 0.1), (0.03, 0.06, 1.0)][kind];
    let (shut_off, most) = (chance.between(4.0, 7.0), chance.between(45.0, 80.0));
    let point = |share: f64, bar: f64| {
        (VolumeFlow::from_l_min(rounded(most * share, 0.1)), GaugePressure::from_bar(rounded(bar, 0.01)))
    };
    let stated = Rig {
        name: Some(format!("trial rig {}", kind + 1)),
        flow_uncertainty_relative: flow,
        pressure_uncertainty_bar: pressure,
        gauge_step_bar: if by_hand { 0.05 } else { 0.0 },
        temperature_uncertainty_k: temperature,
        pump_curve: vec![point(0.0, shut_off), point(0.5, 0.84 * shut_off), point(1.0, 0.0)],
        reference_volume: (!by_hand && chance.happens(0.8))
            .then(|| Volume::from_ml(*chance.one_of(&[250.0, 500.0, 1000.0]))),
        reservoir_volume: (!by_hand && chance.happens(0.75))
            .then(|| Volume::from_ml(*chance.one_of(&[3000.0, 5000.0, 10_000.0]))),
        atmosphere: AbsolutePressure::from_bar(rounded(chance.between(0.96, 1.03), 0.001)),
        ..Rig::default()
    };
    let (diameter, length) = (*chance.one_of(&[9.0, 11.0, 13.0]), chance.between(0.8, 3.0));
    // Through couplings, or couplings that shut on one side (common practice, no source).
    let factor = if chance.happens(0.6) { chance.between(1.7, 2.8) } else { chance.between(0.9, 1.5) };
    let side = vec![
        Piece::Hose {
            diameter: Length::from_mm(diameter),
            length: Length::from_mm(rounded(length * 1000.0, 10.0)),
            roughness: Length::from_um(2.0),
        },
        Piece::Coupling { flow_factor: FlowFactor::from_m3_h(rounded(factor, 0.01)) },
    ];
    let plan = RigPlan {
        stated,
        ports: *chance.one_of(&[4, 6, 8, 12]),
        supply: side.clone(),
        back: side.into_iter().rev().collect(),
        dead_volume: Volume::from_ml(rounded(chance.between(5.0, 40.0), 1.0)),
        fixture_stated: chance.happens(0.85),
        gauges_at_mould: chance.happens(0.1),
    };
    (plan, by_hand)
}

/// The readings of one visit.
pub(super) fn visit(seed: u64, rig: &RigPlan, by_hand: bool, chance: &mut Chance) -> VisitPlan {
    let logger = if by_hand { Logger::Hand } else { Logger::Own };
    let vessel = rig.stated.reference_volume.is_some();
    let reading = |what: ReadingKind| ReadingPlan { circuits: None, logger, what };
    let pressure = GaugePressure::from_bar(rounded(chance.between(4.0, 6.5), 0.1));
    let at = |rate_hz: f64, seconds: f64| Sampling { rate_hz, seconds };
    let seconds = *chance.one_of(&[30.0, 60.0, 60.0, 90.0]);
    let hold_s = *chance.one_of(&[0.0, 5.0, 10.0, 20.0]);
    let mut readings = vec![reading(ReadingKind::LeakDown {
        pressure,
        sampling: at(10.0, seconds),
        hold_s,
        together: false,
    })];
    if chance.happens(0.8) {
        readings.push(reading(ReadingKind::CrossWatch {
            together: false,
            pressure,
            sampling: at(2.0, 60.0),
        }));
    }
    if chance.happens(0.85) {
        // Long enough for a narrow circuit, about 300 samples.
        let sampling = rig.stated.reservoir_volume.map_or(at(100.0, 5.0), |volume| {
            let seconds = (1.6 * volume.l()).clamp(6.0, 15.0);
            at(if seconds > 10.0 { 20.0 } else { 40.0 }, seconds)
        });
        let from_reservoir = rig.stated.reservoir_volume.is_some();
        readings.push(reading(ReadingKind::AirPassage { from_reservoir, pressure, sampling }));
    }
    if vessel && chance.happens(0.55) {
        let through_fixture = chance.happens(0.6);
        readings.push(reading(ReadingKind::Volume { by_air: true, through_fixture, from: End::Inlet }));
    }
    let shares = [vec![1.0], vec![1.0, 0.7, 0.4], vec![1.0, 0.8, 0.6, 0.45, 0.3]]
        [chance.by_weight(&[0.4, 0.3, 0.3])]
    .clone();
    let others = if chance.happens(0.1) { Others::Open } else { Others::Closed };
    let sampling = chance.happens(0.7).then(|| at(10.0, 60.0));
    readings.push(reading(ReadingKind::Flow { shares, others, sampling }));
    if !vessel && chance.happens(0.3) {
        let through_fixture = chance.happens(0.5);
        readings.push(reading(ReadingKind::Volume { by_air: false, through_fixture, from: End::Inlet }));
    }
    if chance.happens(SECOND_PRESSURE) {
        let what = ReadingKind::LeakDown {
            pressure: GaugePressure::from_bar(rounded(0.5 * pressure.bar(), 0.1)),
            sampling: at(10.0, seconds),
            hold_s,
            together: false,
        };
        readings.insert(1, reading(what));
    }
    let day = i64::try_from(seed % 3000).unwrap_or(0);
    VisitPlan {
        id: format!("trial-{seed}"),
        started: jiff::Timestamp::from_second(FIRST_S + 86_400 * day).unwrap_or(jiff::Timestamp::UNIX_EPOCH),
        by: "virtual rig".to_owned(),
        water: Temperature::from_deg_c(chance.between(12.0, 30.0)),
        steel: Temperature::from_deg_c(chance.between(17.0, 26.0)),
        readings,
    }
}

/// Error of a meter that has drifted, in per cent.
pub(super) fn meter_drift(rig: &RigPlan, options: &Invention, chance: &mut Chance) -> Option<f64> {
    let stated_percent = 100.0 * rig.stated.flow_uncertainty_relative;
    let (drifted, size, up) =
        (chance.happens(options.meter_drifted), chance.between(3.0, 8.0), chance.happens(0.5));
    let percent = rounded(stated_percent * size, 0.01);
    drifted.then_some(if up { percent } else { -percent })
}

/// Readings of the rig itself. Gauges at the mould see nothing of joined hoses.
pub(super) fn checks(rig: &RigPlan, options: &Invention, chance: &mut Chance) -> Vec<ReadingPlan> {
    let (fixture, bucket) = (chance.happens(options.fixture_run), chance.happens(options.bucket));
    let reading = |what| ReadingPlan { circuits: None, logger: Logger::Own, what };
    let mut readings = Vec::new();
    if fixture && !rig.gauges_at_mould {
        readings.push(reading(ReadingKind::RigCheck { on: RigCheckOn::AtRest }));
        readings.push(reading(ReadingKind::RigCheck { on: RigCheckOn::Fixture }));
    }
    if bucket {
        readings.push(reading(bucket_for(rig)));
    }
    readings
}

/// A bucket good to a sixth of what the meter states: 0.3 s by hand, longer and more often for a better meter.
fn bucket_for(rig: &RigPlan) -> ReadingKind {
    let meter = rig.stated.flow_uncertainty_relative;
    let fillings: u32 = if meter < 0.01 { 5 } else { 3 };
    let seconds = rounded(1.8 / meter / f64::from(fillings).sqrt(), 1.0).clamp(30.0, 300.0);
    ReadingKind::Bucket { seconds, fillings: usize::try_from(fillings).unwrap_or(1) }
}
