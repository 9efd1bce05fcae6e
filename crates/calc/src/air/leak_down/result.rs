//! The answer of a leak-down, and what the reader should know about it.

use super::basis::{Setting, Shape};
use super::curves::{FitCurves, curves};
use super::decide::{
    DETECTION_FACTOR, ONCE_IN_1000, Spread, Verdict, seconds_needed, settled_from_s, verdict,
};
use super::drift::Drift;
use super::fit::Outcome;
use super::notes::{Cause, Note, notes};
use super::series::Series;
use super::{LeakDownError, LeakDownInput};
use crate::air::equivalents::{AirSide, WaterLoss, hole, water_loss};
use crate::estimate::{Estimate, Uncertain, Z95};
use crate::quantity::{AbsolutePressure, Duration, GaugePressure, LeakRate, PressureDrop, Temperature};

/// Drop and time of the rule of thumb.
const RULE_DROP: PressureDrop = PressureDrop::from_bar(0.2);
const RULE_TIME: Duration = Duration::from_s(20.0);
/// Two readings of which the second is zero show a lower limit only; the upper end is then so many times the value, which
/// stands for 'not known'.
const EMPTY_FACTOR: f64 = 100.0;

/// What the rule '0.2 bar in 20 s' means for this volume.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RuleOfThumb {
    /// Drop that the rule calls a leak.
    pub drop: PressureDrop,
    /// Time that the rule watches.
    pub time: Duration,
    /// Leak rate at which this volume just fails the rule.
    pub leak_rate: LeakRate,
    /// The same, in limits.
    pub times_limit: f64,
}

/// The answer.
#[derive(Clone, Debug, PartialEq)]
pub struct LeakDownResult {
    /// Leak rate at the start pressure, referred to 20 degC, mbar l/s, with its 95 % interval; not below zero.
    pub leak_rate: Estimate,
    /// The same with its standard uncertainty and not cut off at zero: for averaging and comparing.
    pub uncut_mbar_l_s: Uncertain,
    /// Upper bound that holds with 99.9 %.
    pub surely_below: LeakRate,
    /// Smallest leak that this reading would have shown for sure.
    pub detection_limit: LeakRate,
    /// Whether the air had settled before the end.
    pub settled: bool,
    /// From when on it had.
    pub settled_from_s: Option<f64>,
    /// Verdict against the limit.
    pub verdict: Verdict,
    /// Seconds of watching after which a leak of the limit would be seen for sure; `None` if half an hour would not do.
    pub seconds_needed: Option<Duration>,
    /// What the rule of thumb means here.
    pub rule_of_thumb: RuleOfThumb,
    /// Water that the leak would lose at the start pressure, ml/h: low end through a crack, high end through a hole.
    pub water_ml_h: Estimate,
    /// Diameter of the drilled hole that leaks as much, um (discharge coefficient 0.7).
    pub hole_um: Estimate,
    /// Shares of the variance, largest first; they add up to 1.
    pub budget: Vec<(Cause, f64)>,
    /// Further reading that would help most, if the verdict is 'cannot tell'; for how long is in `seconds_needed`.
    pub best_next_reading: Option<&'static str>,
    /// What the reader should know.
    pub notes: Vec<Note>,
    /// Curves for a drawing.
    pub curves: FitCurves,
}

pub(super) fn result(
    input: &LeakDownInput<'_>,
    setting: &Setting,
    drift: &Drift,
    series: &Series,
    outcome: &Outcome,
) -> Result<LeakDownResult, LeakDownError> {
    let fitted = outcome.slope * setting.rate_per_slope();
    let spread = Spread::of(setting, outcome);
    let sd = spread.standard(fitted);
    let value = if series.two_readings { plain_quotient(setting, series) } else { fitted };
    let (low, mut high) = (spread.low(fitted, Z95).min(value), spread.high(fitted, Z95).max(value));
    if series.emptied {
        high = value * EMPTY_FACTOR;
    }
    let leak_rate = Estimate { value: value.max(0.0), low: low.max(0.0), high, coverage: 0.95 };
    let verdict = verdict(setting, spread, fitted, low, high);
    let settled_from_s = settled_from_s(setting, outcome, fitted);
    let budget = budget(setting, drift, outcome, fitted, sd);
    let needed_s = seconds_needed(setting, drift, series, outcome);
    let longer = needed_s.is_some_and(|seconds| seconds > 1.1 * setting.duration_s);
    let rising = fitted + Z95 * spread.standard(0.0) < 0.0;
    let air = AirSide {
        pressure: AbsolutePressure::from_mbar(setting.start_mbar).gauge(input.atmosphere),
        atmosphere: input.atmosphere,
        temperature: Temperature::from_deg_c((setting.gas_k - 273.15).clamp(1.0, 95.0)),
    };
    let at_rule = setting.rate_per_slope() * RULE_DROP.mbar() / RULE_TIME.s();
    let detection = DETECTION_FACTOR * spread.standard(0.0);
    Ok(LeakDownResult {
        leak_rate,
        uncut_mbar_l_s: Uncertain::new(fitted, sd),
        surely_below: LeakRate::from_mbar_l_s(high.max(spread.high(fitted, ONCE_IN_1000))),
        detection_limit: LeakRate::from_mbar_l_s(detection),
        settled: settled_from_s.is_some(),
        settled_from_s,
        verdict,
        seconds_needed: needed_s.map(Duration::from_s),
        rule_of_thumb: RuleOfThumb {
            drop: RULE_DROP,
            time: RULE_TIME,
            leak_rate: LeakRate::from_mbar_l_s(at_rule),
            times_limit: at_rule / setting.limit_mbar_l_s,
        },
        water_ml_h: water_ml_h(leak_rate, air)?,
        hole_um: hole_um(leak_rate, air)?,
        best_next_reading: best_next_reading(verdict, &budget, rising, longer),
        budget,
        notes: notes(input, series, outcome, fitted, sd),
        curves: curves(setting, drift, series, outcome),
    })
}

/// The whole fall taken for a leak, mbar l/s at 20 degC and at the start pressure.
fn plain_quotient(setting: &Setting, series: &Series) -> f64 {
    let seconds = setting.leaked_between(series.end_mbar()).usual();
    (series.start_mbar() - series.end_mbar()) / seconds * setting.rate_per_slope()
}

/// Shares of the variance, largest first.
fn budget(setting: &Setting, drift: &Drift, outcome: &Outcome, rate: f64, sd: f64) -> Vec<(Cause, f64)> {
    let per_slope = setting.rate_per_slope().powi(2);
    let mut parts = [
        (Cause::Noise, outcome.noise_variance * per_slope),
        (Cause::Step, outcome.rounding_variance * per_slope),
        (Cause::GaugeDrift, 0.0),
        (Cause::Temperature, 0.0),
        (Cause::Settling, 0.0),
        (Cause::Hose, 0.0),
        (Cause::Volume, (rate * setting.volume_relative).powi(2)),
        (Cause::Law, 0.0),
        (Cause::Model, 0.0),
    ];
    let mut add = |cause: Cause, variance: f64| {
        if let Some(part) = parts.iter_mut().find(|part| part.0 == cause) {
            part.1 += variance;
        }
    };
    for (term, variance) in outcome.terms.iter().zip(&outcome.term_variance) {
        let variance = variance * per_slope;
        match term.shape {
            Shape::Level | Shape::Leak => add(Cause::Model, variance),
            Shape::Law | Shape::Seat | Shape::Opening => add(Cause::Law, variance),
            Shape::Settle { .. } | Shape::SteelTail => add(Cause::Settling, variance),
            Shape::HoseTail | Shape::Creep => add(Cause::Hose, variance),
            Shape::Bend => add(Cause::Temperature, variance),
            Shape::Drift => {
                let warm = (drift.temperature_sd_mbar_s / drift.slope_sd()).powi(2);
                add(Cause::Temperature, variance * warm);
                add(Cause::GaugeDrift, variance * (1.0 - warm));
            }
        }
    }
    let known: f64 = parts.iter().map(|part| part.1).sum();
    let total = (sd * sd).max(known);
    if let Some(model) = parts.iter_mut().find(|part| part.0 == Cause::Model) {
        model.1 += total - known;
    }
    let mut shares: Vec<(Cause, f64)> = parts.iter().map(|(cause, part)| (*cause, part / total)).collect();
    shares.sort_by(|a, b| b.1.total_cmp(&a.1));
    shares
}

fn best_next_reading(
    verdict: Verdict,
    budget: &[(Cause, f64)],
    rising: bool,
    longer: bool,
) -> Option<&'static str> {
    if verdict != Verdict::CannotTell {
        None
    } else if rising {
        Some("shut the supply with a second valve, log the steel's temperature, and repeat")
    } else if longer {
        Some("watch the pressure for longer")
    } else {
        budget.first().map(|(cause, _)| cause.remedy())
    }
}

/// Water that the leak would lose at the start pressure: from a crack at the low end to a hole at the high end.
fn water_ml_h(rate: Estimate, air: AirSide) -> Result<Estimate, LeakDownError> {
    let pressure: GaugePressure = air.pressure;
    let loss = |mbar_l_s: f64| -> Result<WaterLoss, LeakDownError> {
        Ok(water_loss(LeakRate::from_mbar_l_s(mbar_l_s), air, pressure)?)
    };
    let (low, middle, high) = (loss(rate.low)?, loss(rate.value)?, loss(rate.high)?);
    let ml_h = |flow: crate::quantity::VolumeFlow| flow.m3_h() * 1e6;
    Ok(Estimate {
        value: (ml_h(middle.capillary) * ml_h(middle.orifice)).sqrt(),
        low: ml_h(low.capillary),
        high: ml_h(high.orifice),
        coverage: rate.coverage,
    })
}

fn hole_um(rate: Estimate, air: AirSide) -> Result<Estimate, LeakDownError> {
    let um = |mbar_l_s: f64| -> Result<f64, LeakDownError> {
        Ok(hole(LeakRate::from_mbar_l_s(mbar_l_s), air)?.um())
    };
    Ok(Estimate { value: um(rate.value)?, low: um(rate.low)?, high: um(rate.high)?, coverage: rate.coverage })
}
