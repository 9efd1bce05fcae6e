//! Is it the rig or what hangs on it? Readings on known things tell drift of meter and gauges from each other.
//!
//! Every reading on a known thing (hoses joined together, an orifice of known flow factor, a bucket, gauges at rest or at
//! shut-off, a reference gauge or thermometer) is a sum of a few instrument errors. Each error is normal with the
//! uncertainty that the rig states, or, with a small probability, has drifted further. All combinations of drifted and
//! sound instruments are weighed by how well they explain the readings (Bayes' rule on linear models with normal errors,
//! source key `gelman-bda`); priors are our own proposal.

mod advice;
mod model;
mod rows;

pub use advice::NextReading;

use crate::estimate::{Estimate, Uncertain};
use crate::limits::{OutOfRange, within};
use crate::quantity::{FlowFactor, GaugePressure, PressureDrop, Temperature, VolumeFlow};

/// An error that a rig can have.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Instrument {
    /// Flow meter: relative error of the reading, as logarithm.
    Meter,
    /// Zero of the inlet gauge, bar.
    InletZero,
    /// Relative error of the inlet gauge's slope.
    InletGain,
    /// Zero of the outlet gauge, bar.
    OutletZero,
    /// Relative error of the outlet gauge's slope.
    OutletGain,
    /// Flow factor of hoses and couplings against the stated one, as logarithm: below 0 where they narrowed.
    Hoses,
    /// Water thermometer, K.
    Thermometer,
}

/// How many there are.
pub const INSTRUMENTS: usize = 7;

impl Instrument {
    /// All, in the order of the results.
    pub const ALL: [Self; INSTRUMENTS] = [
        Self::Meter,
        Self::InletZero,
        Self::InletGain,
        Self::OutletZero,
        Self::OutletGain,
        Self::Hoses,
        Self::Thermometer,
    ];

    /// Its word in files and results.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Meter => "flow-meter",
            Self::InletZero => "inlet-gauge-zero",
            Self::InletGain => "inlet-gauge-gain",
            Self::OutletZero => "outlet-gauge-zero",
            Self::OutletGain => "outlet-gauge-gain",
            Self::Hoses => "hoses",
            Self::Thermometer => "thermometer",
        }
    }

    /// Its name for people.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Meter => "flow meter",
            Self::InletZero => "zero of the inlet gauge",
            Self::InletGain => "slope of the inlet gauge",
            Self::OutletZero => "zero of the outlet gauge",
            Self::OutletGain => "slope of the outlet gauge",
            Self::Hoses => "hoses and couplings",
            Self::Thermometer => "thermometer",
        }
    }
}

/// What a reading was taken on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum KnownThing {
    /// Hoses and couplings joined without a mould.
    Fixture,
    /// An orifice or restrictor of known flow factor (20 degC water, 1 bar) in place of the mould; its drop goes with the
    /// square of flow.
    Orifice {
        /// Flow factor.
        flow_factor: FlowFactor,
        /// Its relative standard uncertainty.
        relative: f64,
    },
    /// Gauges open to the air.
    AtRest,
    /// Both gauges on one pressure, no flow.
    ShutOff,
    /// Flow by bucket and stopwatch, against the meter.
    Bucket {
        /// Bucket's flow in l/min, with its standard uncertainty and that of the meter's scatter meanwhile.
        flow_l_min: Uncertain,
    },
}

/// One reading on a known thing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RigReading {
    /// What it was taken on.
    pub on: KnownThing,
    /// Whether it was taken when the rig was known to be sound; the drift since then is what counts.
    pub earlier: bool,
    /// Flow meter.
    pub flow: Option<VolumeFlow>,
    /// Inlet gauge.
    pub pressure_in: Option<GaugePressure>,
    /// Outlet gauge.
    pub pressure_out: Option<GaugePressure>,
    /// Rig's thermometer.
    pub water_temperature: Option<Temperature>,
    /// Reference gauge on the same pressure, with its standard uncertainty in bar.
    pub reference_pressure: Option<(GaugePressure, f64)>,
    /// Reference thermometer in the same water, with its standard uncertainty in K.
    pub reference_temperature: Option<(Temperature, f64)>,
}

impl RigReading {
    /// A reading of today with nothing noted yet.
    #[must_use]
    pub const fn on(on: KnownThing) -> Self {
        Self {
            on,
            earlier: false,
            flow: None,
            pressure_in: None,
            pressure_out: None,
            water_temperature: None,
            reference_pressure: None,
            reference_temperature: None,
        }
    }
}

/// What the rig states of itself; standard uncertainties.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stated {
    /// Flow meter, relative.
    pub flow_relative: f64,
    /// Each gauge, bar.
    pub pressure_bar: f64,
    /// Smallest step of the gauges, bar.
    pub gauge_step_bar: f64,
    /// Thermometer, K.
    pub temperature_k: f64,
    /// Flow factor of hoses and couplings, and its relative uncertainty.
    pub fixture: Option<(FlowFactor, f64)>,
}

/// Whether something may be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Trust {
    /// Within what it states, at least 95 % sure.
    Sound,
    /// Beyond what it states, at least 95 % sure.
    Drifted,
    /// The readings do not tell.
    CannotTell,
}

impl Trust {
    /// Its word in results.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Sound => "sound",
            Self::Drifted => "drifted",
            Self::CannotTell => "cannot-tell",
        }
    }
}

/// What is known of one error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InstrumentState {
    /// Which.
    pub instrument: Instrument,
    /// The error, in the unit of [`Instrument`]; 95 %.
    pub error: Estimate,
    /// Root of the mean square of the error: the standard uncertainty to calculate with where nothing is corrected.
    pub root_mean_square: f64,
    /// Standard deviation around the mean.
    pub standard: f64,
    /// Probability that it lies outside the 98 % interval of the stated uncertainty.
    pub drifted: f64,
    /// Whether a reading of today depends on it.
    pub checked: bool,
}

impl InstrumentState {
    /// From this probability on, and below its complement, the answer is given.
    pub const SURE: f64 = 0.95;

    /// The answer.
    #[must_use]
    pub fn trust(&self) -> Trust {
        if self.drifted > Self::SURE {
            Trust::Drifted
        } else if self.drifted < 1.0 - Self::SURE {
            Trust::Sound
        } else {
            Trust::CannotTell
        }
    }
}

/// What the readings say of the rig.
#[derive(Clone, Debug, PartialEq)]
pub struct RigState {
    /// The rig as a whole: drifted if one instrument is, or if the readings contradict what the rig states; sound if the
    /// meter is and nothing else is likely to have drifted.
    pub trust: Trust,
    /// Each error, in the order of [`Instrument::ALL`].
    pub instruments: Vec<InstrumentState>,
    /// Probability of readings that fit so badly if everything is as stated.
    pub fit_probability: f64,
    /// Errors that the readings cannot tell apart.
    pub inseparable: Vec<(Instrument, Instrument)>,
    /// The reading that would tell most of what is open.
    pub next_reading: Option<NextReading>,
    /// The meter's error as a mixture: weight, mean and standard deviation of the logarithm, and whether the meter
    /// drifted in that part.
    pub meter_parts: Vec<(f64, f64, f64, bool)>,
}

impl RigState {
    /// One error.
    #[must_use]
    pub fn of(&self, instrument: Instrument) -> Option<&InstrumentState> {
        self.instruments.iter().find(|state| state.instrument == instrument)
    }
}

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum RigCheckError {
    /// Nothing that tells anything of the rig.
    #[error(
        "no reading that tells anything of the rig: give a fixture run, an orifice, a bucket, or gauges at rest"
    )]
    Nothing,
    /// A reading lacks a number.
    #[error("reading {place}: {missing} is missing")]
    Missing {
        /// Place of the reading, from 0.
        place: usize,
        /// What is missing.
        missing: &'static str,
    },
    /// The outlet shows at least as much as the inlet, although water flows.
    #[error(
        "reading {place}: the inlet gauge shows {drop_bar} bar more than the outlet gauge; a flow needs a drop"
    )]
    NoDrop {
        /// Place of the reading, from 0.
        place: usize,
        /// Inlet minus outlet.
        drop_bar: f64,
    },
    /// A number outside its range.
    #[error(transparent)]
    Range(#[from] OutOfRange),
}

/// Tells the errors of a rig apart.
///
/// An instrument is called drifted where its error lies outside the 98 % interval of its stated uncertainty (2.33 standard
/// uncertainties; a gauge's slope counts at 6 bar) with a probability above 0.95. Where the rig states no flow factor of
/// the fixture, an earlier fixture run stands in, and only the change since then counts.
///
/// # Arguments
/// At most 100 readings. Flow 0 to 10 000 l/min, pressures -1 to 400 bar, water 0.1 to 180 degC.
///
/// # Errors
/// [`RigCheckError`].
pub fn rig_check(stated: &Stated, readings: &[RigReading]) -> Result<RigState, RigCheckError> {
    within("flow_uncertainty_percent", stated.flow_relative * 100.0, 0.0, 50.0, "%")?;
    within("pressure_uncertainty_bar", stated.pressure_bar, 0.0, 10.0, "bar")?;
    within("gauge_step_bar", stated.gauge_step_bar, 0.0, 10.0, "bar")?;
    within("temperature_uncertainty_k", stated.temperature_k, 0.0, 50.0, "K")?;
    within("reading", readings.len() as f64, 0.0, 100.0, "(count)")?;
    if let Some((factor, relative)) = stated.fixture {
        within("fixture_flow_factor_m3_h", factor.m3_h(), 1e-6, 1e6, "m3/h")?;
        within("fixture_uncertainty_percent", relative * 100.0, 0.0, 100.0, "%")?;
    }
    let (rows, nominal) = rows::rows(stated, readings)?;
    if !rows.iter().any(|row| !row.earlier) {
        return Err(RigCheckError::Nothing);
    }
    let scales = model::scales(stated, nominal);
    let posterior = model::posterior(&scales, &rows);
    let instruments = posterior.states(&scales, &rows);
    let fit_probability = posterior.fit_probability;
    let trust = whole(&instruments, fit_probability);
    let (inseparable, next_reading) = advice::advice(&posterior, &scales, &instruments, stated);
    Ok(RigState {
        trust,
        fit_probability,
        inseparable,
        next_reading: next_reading.filter(|_| trust != Trust::Sound),
        meter_parts: posterior.meter_parts(),
        instruments,
    })
}

/// Below this probability of fit, something is wrong even where nobody can say what.
const MISFIT: f64 = 0.005;

fn whole(instruments: &[InstrumentState], fit_probability: f64) -> Trust {
    let drifted = instruments.iter().any(|state| state.trust() == Trust::Drifted);
    let meter = instruments.iter().find(|state| state.instrument == Instrument::Meter);
    let meter_sound = meter.is_some_and(|state| state.checked && state.trust() == Trust::Sound);
    let likely = instruments.iter().any(|state| state.checked && state.drifted > 0.5);
    if drifted || fit_probability < MISFIT {
        Trust::Drifted
    } else if meter_sound && !likely {
        Trust::Sound
    } else {
        Trust::CannotTell
    }
}

/// Inlet minus outlet.
fn drop_of(reading: &RigReading) -> Option<PressureDrop> {
    Some(reading.pressure_in? - reading.pressure_out?)
}

#[cfg(test)]
mod tests;
