//! Leak-down: air is held in a circuit and the pressure watched.
//!
//! The fall of the pressure is split into the leak, the settling of freshly compressed air (fast in a drilled bore, slow
//! in hoses, whose walls warm up and creep), and drift of temperature and gauge. Each part has a shape from physics and
//! a prior that says how large it may be; a linear least-squares fit with these priors gives the leak and how sure it
//! is. What the reading cannot tell apart stays in the uncertainty.

mod basis;
mod blocks;
mod curves;
mod decide;
mod drift;
mod fit;
mod laws;
mod notes;
mod result;
mod series;

pub use curves::FitCurves;
pub use decide::Verdict;
pub use notes::{Cause, Note};
pub use result::{LeakDownResult, RuleOfThumb};

use crate::limits::{OutOfRange, within};
use crate::quantity::{
    AbsolutePressure, Duration, GaugePressure, LeakRate, Length, PressureDrop, Temperature, Volume,
};
use crate::trace::Trace;

/// Start pressure of a leak-down in common practice.
pub const USUAL_START: GaugePressure = GaugePressure::from_bar(6.0);
/// Lowest start pressure that common practice accepts; below it a note says so.
pub const LOW_START: GaugePressure = GaugePressure::from_bar(3.5);
/// Below this start pressure the reading is refused.
pub const LEAST_START: GaugePressure = GaugePressure::from_bar(1.0);
/// Time for which the supply is held before it is shut, unless told otherwise.
pub const USUAL_HOLD: Duration = Duration::from_s(10.0);
/// Time for which the pressure is watched, unless told otherwise.
pub const USUAL_WATCH: Duration = Duration::from_s(60.0);
/// Limit of an injection mould, unless the plant has its own.
pub const USUAL_LIMIT: LeakRate = LeakRate::from_mbar_l_s(0.1);

/// A pressure gauge, as far as a fall of pressure is concerned: gain and zero hardly matter.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gauge {
    /// Standard uncertainty of one reading against another one shortly after (repeatability or noise, not the
    /// calibration). Only used where too few samples show the noise themselves.
    pub standard_uncertainty: PressureDrop,
    /// Smallest step that the gauge shows; zero where unknown, it is then recognised from the samples.
    pub step: PressureDrop,
    /// Standard uncertainty of the gauge's drift in one minute.
    pub drift_per_minute: PressureDrop,
}

impl Gauge {
    /// A logger of ordinary quality: 1 mbar noise, 0.3 mbar/min drift.
    #[must_use]
    pub const fn logger() -> Self {
        Self {
            standard_uncertainty: PressureDrop::from_mbar(1.0),
            step: PressureDrop::from_mbar(0.0),
            drift_per_minute: PressureDrop::from_mbar(0.3),
        }
    }

    /// A gauge read by eye: 10 mbar from reading to reading.
    #[must_use]
    pub const fn by_eye() -> Self {
        Self { standard_uncertainty: PressureDrop::from_mbar(10.0), ..Self::logger() }
    }
}

/// The falling pressure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum DecayData<'a> {
    /// Logged from the moment at which the supply was shut; `pressure_bar_g` is needed, `temperature_deg_c` (of the
    /// steel or the gas) helps much in large volumes.
    Trace(&'a Trace),
    /// Read twice.
    TwoReadings {
        /// When the supply was shut.
        start: GaugePressure,
        /// At the end.
        end: GaugePressure,
        /// Time between.
        time: Duration,
    },
}

/// A leak-down and what is known around it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeakDownInput<'a> {
    /// Volume of air between the shut valves: circuit, hoses, dead ends.
    pub volume: Volume,
    /// Relative standard uncertainty of the volume (0.05 for 5 %).
    pub volume_uncertainty_relative: f64,
    /// Part of `volume` that lies in hoses; `None` if nobody knows, which widens the answer.
    pub hose_volume: Option<Volume>,
    /// Main bore, which sets how fast the air settles.
    pub bore: Option<Length>,
    /// Pressure of the surrounding air.
    pub atmosphere: AbsolutePressure,
    /// Temperature of the steel.
    pub wall_temperature: Option<Temperature>,
    /// Time from the beginning of the filling to the shutting of the supply.
    pub hold: Duration,
    /// Gauge.
    pub gauge: Gauge,
    /// Largest leak that is still called tight.
    pub limit: LeakRate,
    /// What was seen.
    pub decay: DecayData<'a>,
}

/// Why no leak rate follows from the reading.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LeakDownError {
    /// A number is outside its range.
    #[error(transparent)]
    Range(#[from] OutOfRange),
    /// The trace has no pressure.
    #[error("the trace has no pressure: log pressure_bar_g, or read the gauge at the start and at the end")]
    NoPressure,
    /// Fewer samples than a fit needs.
    #[error("{samples} samples with pressure, {least} needed: log at least once per second for a minute")]
    TooFewSamples {
        /// Samples with time and pressure.
        samples: usize,
        /// Fewest samples.
        least: usize,
    },
    /// Shorter than any leak-down can be.
    #[error("the pressure was watched for {seconds} s, at least {least} s needed: watch for a minute")]
    TooShort {
        /// Time watched.
        seconds: f64,
        /// Shortest time.
        least: f64,
    },
    /// Too little pressure to begin with.
    #[error("the test began at {start_bar_g} bar, at least {least_bar_g} bar needed: fill to 6 bar")]
    StartTooLow {
        /// Pressure at the start.
        start_bar_g: f64,
        /// Lowest start pressure.
        least_bar_g: f64,
    },
    /// The pressure rises by more than warming can explain.
    #[error(
        "the pressure rose from {start_bar_g} to {end_bar_g} bar: the supply was not shut, or the readings are exchanged"
    )]
    Rises {
        /// Pressure at the start.
        start_bar_g: f64,
        /// Pressure at the end.
        end_bar_g: f64,
    },
    /// The numbers are too far apart to be fitted.
    #[error("no curve can be put through these samples: look at the trace for jumps and wrong units")]
    NoFit,
    /// The hoses hold more than the whole.
    #[error("the hoses hold {hose_ml} ml, more than the {volume_ml} ml of the whole")]
    HoseLargerThanVolume {
        /// Volume of the hoses.
        hose_ml: f64,
        /// Volume of the whole.
        volume_ml: f64,
    },
}

/// Leak rate at the start pressure with its interval, whether the circuit is tight, and what would tell if it cannot be
/// said (source keys `en-13184`, `jcgm-100`, `jcgm-106`; fit and priors are our own).
///
/// # Errors
/// [`LeakDownError`] for a reading from which no leak rate follows.
pub fn leak_down(input: &LeakDownInput<'_>) -> Result<LeakDownResult, LeakDownError> {
    check(input)?;
    let series = series::Series::read(input)?;
    let setting = basis::Setting::new(input, &series)?;
    let drift = drift::Drift::of(input, &setting);
    let outcome = fit::fit(&setting, &drift, &series).ok_or(LeakDownError::NoFit)?;
    result::result(input, &setting, &drift, &series, &outcome)
}

fn check(input: &LeakDownInput<'_>) -> Result<(), LeakDownError> {
    within("volume_ml", input.volume.ml(), 0.1, 1e6, "ml")?;
    within("volume_uncertainty_percent", input.volume_uncertainty_relative * 100.0, 0.0, 100.0, "%")?;
    within("atmosphere_bar_abs", input.atmosphere.bar(), 0.5, 1.2, "bar")?;
    within("hold_s", input.hold.s(), 0.0, 86_400.0, "s")?;
    within("limit_mbar_l_s", input.limit.mbar_l_s(), 1e-6, 1e4, "mbar l/s")?;
    within("gauge_uncertainty_bar", input.gauge.standard_uncertainty.bar(), 0.0, 10.0, "bar")?;
    within("gauge_step_bar", input.gauge.step.bar(), 0.0, 10.0, "bar")?;
    within("gauge_drift_bar_per_min", input.gauge.drift_per_minute.bar(), 0.0, 1.0, "bar/min")?;
    if let Some(wall) = input.wall_temperature {
        within("wall_temperature_deg_c", wall.deg_c(), -20.0, 180.0, "degC")?;
    }
    if let Some(bore) = input.bore {
        within("bore_mm", bore.mm(), 0.3, 130.0, "mm")?;
    }
    if let Some(hose) = input.hose_volume {
        within("hose_volume_ml", hose.ml(), 0.0, 1e6, "ml")?;
        if hose.ml() > input.volume.ml() * (1.0 + 1e-9) {
            let (hose_ml, volume_ml) = (hose.ml(), input.volume.ml());
            return Err(LeakDownError::HoseLargerThanVolume { hose_ml, volume_ml });
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests;
