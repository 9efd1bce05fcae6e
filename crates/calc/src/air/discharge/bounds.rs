//! What can still be said without a fit: two readings, falls too fast for the logger, held pressure, and circuits that
//! empty themselves.

use super::model::{Heat, emptying_number};
use super::samples::Prepared;
use super::{CRITICAL_RATIO, Charged, Discharge, DischargeError, Evaluation, Note, Seen, effective_volume};
use crate::estimate::{Estimate, Z95, root_sum_square};
use crate::limits::within;
use crate::numeric::math;
use crate::quantity::{Duration, GaugePressure, SonicConductance};

/// Of the lumped value: how much of a circuit's conductance a circuit without a plug that empties itself shows. Its
/// volume is spread along it, so the inlet falls sooner than that of one vessel with the same outlet (simulated chains
/// of cells: 0.4 to 0.85, see the trials).
const SPREAD_VOLUME: f64 = 0.62;
/// A plug at the outlet makes the circuit one vessel; a little above for heat and volume.
const PLUG_AT_OUTLET: f64 = 1.05;
/// Share of the charged volume that lies at least between gauge and circuit where it is not known.
const BEFORE_CIRCUIT: f64 = 0.15;
/// A stopwatch and the eye: standard uncertainty of a time taken by hand.
const BY_HAND_S: f64 = 0.3;
/// A fall of less than this share over the whole watch is 'held': gas that settles after filling falls as much.
const HELD: f64 = 0.10;

/// Lowest and highest conductance, in dm3/(s bar), that fit a fall between two gauge pressures within a time span.
fn range(discharge: &Discharge<'_>, from: (f64, f64), to: (f64, f64), time: (f64, f64)) -> (f64, f64) {
    let air = discharge.atmosphere.bar();
    let (volume, standard) = effective_volume(discharge);
    let colder = (crate::air::gas::REFERENCE_TEMPERATURE_K / discharge.air_temperature.k()).sqrt();
    let (ratio, spread) = (CRITICAL_RATIO.value, Z95 * CRITICAL_RATIO.standard);
    let number = |from: f64, to: f64, ratio: f64, heat: Heat| {
        emptying_number(from + air, to + air, air, ratio.clamp(0.0, 0.6), heat)
    };
    let low = number(from.0, to.1.min(from.0), ratio + spread, Heat::None);
    let high = number(from.1, to.0.max(1e-3), ratio - spread, Heat::Full);
    let wide = math::exp(Z95 * standard);
    (low * volume * colder / (wide * time.1), high * volume * colder * wide / time.0.max(1e-3))
}

/// For a circuit that empties itself: factors from the lumped value to the least, likeliest and largest conductance.
fn place_factors(discharge: &Discharge<'_>) -> (f64, f64, f64) {
    match discharge.charged {
        Charged::Reservoir { .. } => (1.0, 1.0, 1.0),
        Charged::Circuit { volume } => {
            let known = discharge.volume_before_circuit.map(|before| before.l() / volume.l());
            (known.unwrap_or(BEFORE_CIRCUIT).clamp(0.01, 0.55), SPREAD_VOLUME, PLUG_AT_OUTLET)
        }
    }
}

fn value(low: f64, middle: f64, high: f64) -> Seen {
    let (down, up) = (math::ln(middle / low) / Z95, math::ln(high / middle) / Z95);
    Seen::Value {
        conductance_dm3_s_bar: Estimate { value: middle, low, high, coverage: 0.95 },
        standard_ln_down: down,
        standard_ln_up: up,
    }
}

fn bare(
    discharge: &Discharge<'_>,
    seen: Seen,
    start_bar_g: f64,
    opened_s: f64,
    note: Option<Note>,
) -> Evaluation {
    let own = matches!(discharge.charged, Charged::Circuit { .. }).then_some(Note::OwnVolume);
    let mut notes: Vec<Note> = own.into_iter().chain(note).collect();
    notes.sort_unstable();
    Evaluation {
        seen,
        critical_ratio: None,
        fit: None,
        fitted: Vec::new(),
        opened_s,
        start: GaugePressure::from_bar(start_bar_g),
        notes,
    }
}

/// Two gauge readings: everything between no and full wall heat, narrow and wide critical ratio, gauge and stopwatch.
pub(super) fn two_readings(
    discharge: &Discharge<'_>,
    start: GaugePressure,
    end: GaugePressure,
    time: Duration,
) -> Result<Evaluation, DischargeError> {
    within("start_bar_g", start.bar(), 0.2, 15.0, "bar")?;
    within("end_bar_g", end.bar(), -0.2, 15.0, "bar")?;
    within("seconds", time.s(), 1e-3, 1e5, "s")?;
    let gauge = &discharge.gauge;
    let noise = gauge.noise.map_or(0.0, |noise| noise.bar());
    // Half a step and both readings' noise; zero shifts both alike.
    let spread =
        Z95 * root_sum_square(&[noise.max(0.002), gauge.step.bar() / 12.0_f64.sqrt(), gauge.zero.bar()]);
    if end.bar() > start.bar() + 2.0 * spread {
        return Err(DischargeError::Rising { start_bar_g: start.bar(), end_bar_g: end.bar() });
    }
    let by_hand = (Z95 * BY_HAND_S).min(0.5 * time.s());
    let (least, likely, most) = place_factors(discharge);
    let times = (time.s() - by_hand, time.s() + by_hand);
    let from = (start.bar() - spread, start.bar() + spread);
    let to = (end.bar() - spread, end.bar() + spread);
    let (low, high) = range(discharge, from, to, times);
    let gone = end.bar() <= (0.05 * start.bar()).max(2.0 * spread);
    let seen = if gone {
        Seen::AtLeast(SonicConductance::from_dm3_s_bar(low * least))
    } else if start.bar() - end.bar() < HELD * start.bar() {
        Seen::AtMost(SonicConductance::from_dm3_s_bar(high * most))
    } else {
        value(low * least, (low * high).sqrt() * likely, high * most)
    };
    Ok(bare(discharge, seen, start.bar(), 0.0, Some(Note::TwoReadings)))
}

/// A logged fall with too few samples on the way: the whole fall happened within a known time.
pub(super) fn too_fast(discharge: &Discharge<'_>, data: &Prepared) -> Evaluation {
    let (least, _, most) = place_factors(discharge);
    let slack = 3.0 * data.noise;
    let (until, to, emptied) = match data.gone_within_s {
        Some(time) => (time, 0.05 * data.rest + 8.0 * data.noise, true),
        None => (data.watched_s, data.last, false),
    };
    let from = (data.rest - slack, data.rest + slack);
    let shortest = (until - data.interval_s).max(0.2 * data.interval_s);
    let (low, high) = range(discharge, from, (to - slack, to + slack), (shortest, until));
    let seen = if emptied {
        Seen::AtLeast(SonicConductance::from_dm3_s_bar(low * least))
    } else {
        value(low * least, (low * high).sqrt(), high * most)
    };
    bare(discharge, seen, data.rest, data.before_fall_s, Some(Note::FewSamples))
}

/// Pressure that hardly fell over the whole watch: an upper bound, in which settling of warm gas counts as flow.
pub(super) fn held(discharge: &Discharge<'_>, data: &Prepared) -> Option<Evaluation> {
    if data.rest - data.last > HELD * data.rest || data.emptied {
        return None;
    }
    let slack = 3.0 * data.noise + 0.5 * discharge.gauge.step.bar();
    let (_, _, most) = place_factors(discharge);
    let bound = |from: f64, to: f64, seconds: f64| {
        range(discharge, (from, from + slack), ((to - slack).min(from - slack), to), (seconds, seconds)).1
    };
    // A fixed opening lets air out as fast late as early; the gas that settles after filling falls early. So the later
    // half bounds as well, and the smaller bound holds.
    let whole = bound(data.rest, data.last, data.watched_s);
    let later = data.half.map_or(whole, |(pressure, seconds)| bound(pressure, data.last, seconds));
    let seen = Seen::AtMost(SonicConductance::from_dm3_s_bar(whole.min(later) * most));
    Some(bare(discharge, seen, data.rest, data.before_fall_s, None))
}

/// From the lumped value of a circuit that emptied itself to what its conductance can be.
pub(super) fn own_volume(discharge: &Discharge<'_>, lumped: f64, standard_ln: f64) -> Seen {
    let (least, likely, most) = place_factors(discharge);
    let wide = math::exp(Z95 * standard_ln);
    value(lumped * least / wide, lumped * likely, lumped * most * wide)
}
