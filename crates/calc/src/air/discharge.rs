//! Falling pressure to sonic conductance: a vessel of the rig that empties through a circuit, a circuit that empties
//! itself, or two gauge readings.

mod bounds;
mod fit;
mod least_squares;
pub mod model;
mod note;
mod samples;

pub use note::Note;

use crate::air::leak_down::DecayData;
use crate::estimate::{Estimate, Uncertain, root_sum_square};
use crate::limits::{OutOfRange, within};
use crate::numeric::{math, stats};
use crate::quantity::{
    AbsolutePressure, Duration, GaugePressure, PressureDrop, SonicConductance, Temperature, Volume,
};

/// What was charged before the air was let out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Charged {
    /// The circuit's own volume, with the hoses up to the valve, empties.
    Circuit {
        /// Volume that empties.
        volume: Volume,
    },
    /// A vessel of the rig empties through the circuit.
    Reservoir {
        /// Volume of the vessel.
        volume: Volume,
    },
}

impl Charged {
    /// Volume of what was charged.
    #[must_use]
    pub const fn volume(self) -> Volume {
        match self {
            Self::Circuit { volume } | Self::Reservoir { volume } => volume,
        }
    }
}

/// The gauge that watched.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gauge {
    /// Standard deviation of a single sample; taken from the trace if not known.
    pub noise: Option<PressureDrop>,
    /// Smallest step that is shown.
    pub step: PressureDrop,
    /// Standard uncertainty of the zero.
    pub zero: PressureDrop,
    /// Time constant with which it follows, if known; otherwise less than a tenth of the fall's time constant is taken.
    pub lag: Option<Duration>,
}

impl Default for Gauge {
    /// A logger with a zero good to 10 mbar.
    fn default() -> Self {
        Self { noise: None, step: PressureDrop::from_bar(0.0), zero: PressureDrop::from_bar(0.01), lag: None }
    }
}

/// A discharge as it was done.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Discharge<'a> {
    /// What was charged.
    pub charged: Charged,
    /// Relative standard uncertainty of that volume.
    pub volume_standard: f64,
    /// Volume of circuit and hoses that a reservoir emptied through. If not known, it is left open whether a line or a
    /// short part lies behind the vessel, which widens the interval.
    pub circuit_volume: Option<Volume>,
    /// Smallest volume that can lie between the gauge and a plug: hoses up to the circuit; 15 % of what was charged is
    /// taken if not known. Counts for a circuit that empties itself.
    pub volume_before_circuit: Option<Volume>,
    /// What was seen, from before the opening if possible.
    pub decay: DecayData<'a>,
    /// Gauge.
    pub gauge: Gauge,
    /// Temperature of air and walls at the start.
    pub air_temperature: Temperature,
    /// Pressure of the surrounding air.
    pub atmosphere: AbsolutePressure,
}

impl<'a> Discharge<'a> {
    /// A discharge with a volume good to 2 %, a usual logger, 20 degC and the standard atmosphere.
    #[must_use]
    pub fn new(charged: Charged, decay: DecayData<'a>) -> Self {
        Self {
            charged,
            volume_standard: 0.02,
            circuit_volume: None,
            volume_before_circuit: None,
            decay,
            gauge: Gauge::default(),
            air_temperature: Temperature::from_deg_c(20.0),
            atmosphere: AbsolutePressure::STANDARD_ATMOSPHERE,
        }
    }
}

/// What a discharge says about the conductance of all that the air went through.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Seen {
    /// A value, dm3/(s bar) at 7 bar absolute in front.
    Value {
        /// 95 % interval.
        conductance_dm3_s_bar: Estimate,
        /// Standard deviation of the logarithm towards lower values.
        standard_ln_down: f64,
        /// Standard deviation of the logarithm towards higher values.
        standard_ln_up: f64,
    },
    /// Too fast to be seen: at least so much (95 %).
    AtLeast(SonicConductance),
    /// Held: at most so much (95 %).
    AtMost(SonicConductance),
}

/// Whether the fitted curve follows the samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FitQuality {
    /// Sum of squared misses over their variance.
    pub chi_square: f64,
    /// Samples minus what was fitted.
    pub degrees_of_freedom: f64,
    /// Whether the misses are no larger than noise and model allow.
    pub good: bool,
}

/// Result of the evaluation of a falling pressure.
#[derive(Clone, Debug, PartialEq)]
pub struct Evaluation {
    /// Conductance.
    pub seen: Seen,
    /// Critical ratio, if a curve was fitted.
    pub critical_ratio: Option<Uncertain>,
    /// Quality of the fit, if one was made.
    pub fit: Option<FitQuality>,
    /// Curve that was fitted: seconds of the trace and gauge pressure in bar.
    pub fitted: Vec<(f64, f64)>,
    /// When the valve opened, in seconds of the trace.
    pub opened_s: f64,
    /// Gauge pressure at the opening.
    pub start: GaugePressure,
    /// What the reader should know.
    pub notes: Vec<Note>,
}

/// Why a falling pressure could not be evaluated.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum DischargeError {
    /// A number outside the range of the method.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// Too few samples, times that do not rise, or numbers missing.
    #[error("a trace needs at least two samples with rising times, and pressure at the first")]
    Trace,
    /// The pressure rose.
    #[error(
        "the pressure rose from {start_bar_g} to {end_bar_g} bar; give the reading of the air being let out"
    )]
    Rising {
        /// Start.
        start_bar_g: f64,
        /// End.
        end_bar_g: f64,
    },
}

/// Wall heat coefficient of a bare vessel in W/(m2 K) with the standard deviation of its logarithm (simulated and
/// common values of free convection at 1 to 7 bar; no source).
pub const WALL_COEFFICIENT_W_M2_K: (f64, f64) = (35.0, 0.30);
/// Wall area over volume^(2/3) of a compact vessel: sphere 4.8, cube 6, cylinder three diameters long 6.2.
const AREA_SHAPE: (f64, f64) = (6.0, 0.12);
/// Heat of bore and hose walls per volume, W/(m3 K), for a circuit that empties itself: 4 Nu k/d^2 for 6 to 14 mm.
const BORE_WALL_W_M3_K: (f64, f64) = (6_000.0, 0.9);
/// Critical ratio of circuits with hoses before anything was measured: 90 % of the simulated ones lie between 0.13 and
/// 0.32.
pub const CRITICAL_RATIO: Uncertain = Uncertain::new(0.18, 0.08);
/// How far the cold air of a reservoir warms along hoses and bores before the places that limit the flow: 3 to 12 heat
/// transfer units (4 St L/d). Taking none, as for a nozzle at the vessel, puts C 2 to 5 % too high.
const WARMING: (f64, f64) = (0.85, 0.12);
/// Warming, and critical ratio, where it is not known whether a line or a short part lies behind the vessel.
const WARMING_UNKNOWN: (f64, f64) = (0.40, 0.35);
const CRITICAL_RATIO_UNKNOWN: (f64, f64) = (0.30, 0.12);
/// Usual d ln C / d ln p of circuits: friction weighs less at higher pressure.
const PRESSURE_EXPONENT: f64 = 0.01;
/// The circuit's volume empties along with the reservoir; seen from the gauge this share of it counts.
const CIRCUIT_SHARE: (f64, f64) = (0.57, 0.10);
/// The circuit's volume over the reservoir's where it is not known.
const CIRCUIT_UNKNOWN: (f64, f64) = (0.015, 0.02);
/// What the model leaves open in ln C beside the fit: flow function, exponent, temperature of the gas at the start.
const MODEL_LN: f64 = 0.002;
/// How far the model's curve may miss the true one, as a share of the start pressure.
const MODEL_SHARE: f64 = 0.001;
/// A sharper b than this share of what was known before counts as found.
const RATIO_FOUND: f64 = 0.7;

/// Evaluates a falling pressure.
///
/// Logged falls are fitted with the heat balance of the emptying vessel, between isothermal and adiabatic, with the
/// opening instant, critical ratio, wall heat, start pressure and gauge zero as further unknowns, from several starts.
/// Falls too fast for the sample rate give a lower bound, held pressure an upper one, two readings a wide interval.
/// Range: 0.2 to 15 bar gauge at the start, -20 to 80 degC, 1 ml to 100 l. Source keys `iso-6358-2` (discharge through a
/// part), own simulation for heat and for the spread of circuits that empty themselves.
///
/// # Errors
/// [`DischargeError`].
pub fn evaluate(discharge: &Discharge<'_>) -> Result<Evaluation, DischargeError> {
    within("volume_ml", discharge.charged.volume().ml(), 1.0, 1e5, "ml")?;
    within("volume_uncertainty", discharge.volume_standard, 0.0, 0.5, "(pure number)")?;
    within("air_temperature_deg_c", discharge.air_temperature.deg_c(), -20.0, 80.0, "degC")?;
    within("atmosphere_bar_abs", discharge.atmosphere.bar(), 0.5, 1.2, "bar")?;
    match discharge.decay {
        DecayData::TwoReadings { start, end, time } => bounds::two_readings(discharge, start, end, time),
        DecayData::Trace(logged) => {
            let (time_s, pressure_bar_g) = logged.pressures().ok_or(DischargeError::Trace)?;
            trace(discharge, &time_s, &pressure_bar_g)
        }
    }
}

fn trace(discharge: &Discharge<'_>, time_s: &[f64], pressure: &[f64]) -> Result<Evaluation, DischargeError> {
    if !time_s.windows(2).all(|pair| matches!(pair, [a, b] if a < b)) {
        return Err(DischargeError::Trace);
    }
    let data = samples::prepare(time_s, pressure, &discharge.gauge).ok_or(DischargeError::Trace)?;
    within("start_bar_g", data.rest, 0.2, 15.0, "bar")?;
    if data.last > data.rest + 0.05 * data.rest + 5.0 * data.noise {
        return Err(DischargeError::Rising { start_bar_g: data.rest, end_bar_g: data.last });
    }
    if let Some(held) = bounds::held(discharge, &data) {
        return Ok(held);
    }
    if data.fall.len() < 4 {
        return Ok(bounds::too_fast(discharge, &data));
    }
    let setup = setup(discharge);
    match fit::fit(&data, &setup) {
        Some(fitted) => Ok(evaluation(discharge, &data, &fitted)),
        None => Ok(bounds::too_fast(discharge, &data)),
    }
}

/// Effective volume in dm3 with its relative standard uncertainty.
fn effective_volume(discharge: &Discharge<'_>) -> (f64, f64) {
    let volume = discharge.charged.volume().l();
    match discharge.charged {
        Charged::Circuit { .. } => (volume, discharge.volume_standard),
        Charged::Reservoir { .. } => {
            let (share, share_standard) = discharge
                .circuit_volume
                .map_or(CIRCUIT_UNKNOWN, |circuit| (circuit.l() / volume, 0.1 * circuit.l() / volume));
            let (counts, counts_standard) = CIRCUIT_SHARE;
            let added = counts * share;
            let spread = root_sum_square(&[counts_standard * share, counts * share_standard]) / (1.0 + added);
            (volume * (1.0 + added), root_sum_square(&[discharge.volume_standard, spread]))
        }
    }
}

fn setup(discharge: &Discharge<'_>) -> fit::Setup {
    let (volume, _) = effective_volume(discharge);
    let wall_w_m3_k = match discharge.charged {
        Charged::Circuit { .. } => BORE_WALL_W_M3_K,
        Charged::Reservoir { volume } => {
            let per_m = AREA_SHAPE.0 / math::cbrt(volume.m3());
            let spread = root_sum_square(&[WALL_COEFFICIENT_W_M2_K.1, AREA_SHAPE.1]);
            (WALL_COEFFICIENT_W_M2_K.0 * per_m, spread)
        }
    };
    let line = matches!(discharge.charged, Charged::Circuit { .. }) || discharge.circuit_volume.is_some();
    let (critical_ratio, warming) = if line {
        ((CRITICAL_RATIO.value, CRITICAL_RATIO.standard), WARMING)
    } else {
        (CRITICAL_RATIO_UNKNOWN, WARMING_UNKNOWN)
    };
    fit::Setup {
        volume,
        wall_w_m3_k,
        critical_ratio,
        warming,
        pressure_exponent: PRESSURE_EXPONENT,
        lag_s: discharge.gauge.lag.map(|lag| lag.s()),
        zero_standard: discharge.gauge.zero.bar(),
        wall_temperature: discharge.air_temperature.k(),
        atmosphere: discharge.atmosphere.bar(),
        model_share: MODEL_SHARE,
    }
}

fn evaluation(discharge: &Discharge<'_>, data: &samples::Prepared, fitted: &fit::Fitted) -> Evaluation {
    let mut notes = Vec::new();
    let probability = stats::chi_squared_above(fitted.chi_square, fitted.degrees_of_freedom);
    let good = probability > 1e-3;
    let widened = if good { 1.0 } else { (fitted.chi_square / fitted.degrees_of_freedom).sqrt().max(1.0) };
    let (_, volume_standard) = effective_volume(discharge);
    let standard_ln = root_sum_square(&[fitted.standard_ln * widened, volume_standard, MODEL_LN]);
    let conductance = math::exp(fitted.ln_conductance);
    let constant = fitted.vessel.volume / conductance;
    if !good {
        notes.push(Note::PoorFit);
    }
    if fitted.critical_ratio.1 > RATIO_FOUND * setup(discharge).critical_ratio.1 {
        notes.push(Note::CriticalRatioAssumed);
    }
    if !data.rest_seen {
        notes.push(Note::NoSampleBeforeOpening);
    }
    if data.interval_s > constant / 10.0 {
        notes.push(Note::FewSamples);
    }
    let seen = match discharge.charged {
        Charged::Circuit { .. } => {
            notes.push(Note::OwnVolume);
            bounds::own_volume(discharge, conductance, standard_ln)
        }
        Charged::Reservoir { volume } => {
            if discharge.circuit_volume.is_none_or(|circuit| circuit.l() > 0.1 * volume.l()) {
                notes.push(Note::CircuitVolume);
            }
            Seen::Value {
                conductance_dm3_s_bar: Estimate::lognormal(conductance, standard_ln),
                standard_ln_down: standard_ln,
                standard_ln_up: standard_ln,
            }
        }
    };
    notes.sort_unstable();
    Evaluation {
        seen,
        critical_ratio: Some(Uncertain::new(fitted.critical_ratio.0, fitted.critical_ratio.1)),
        fit: Some(FitQuality {
            chi_square: fitted.chi_square,
            degrees_of_freedom: fitted.degrees_of_freedom,
            good,
        }),
        fitted: curve_points(discharge, &fitted.vessel, fitted.opened_s, fitted.zero, data),
        opened_s: fitted.opened_s,
        start: GaugePressure::from_bar(fitted.vessel.start - discharge.atmosphere.bar()),
        notes,
    }
}

/// Points of a drawn curve.
const DRAWN: u32 = 80;

fn curve_points(
    discharge: &Discharge<'_>,
    vessel: &model::Vessel,
    opened_s: f64,
    zero: f64,
    data: &samples::Prepared,
) -> Vec<(f64, f64)> {
    let end = data.fall.last().map_or(opened_s, |sample| sample.time_s);
    let span = (end - opened_s).max(1e-6);
    let curve = vessel.curve(span);
    (0..=DRAWN)
        .map(|at| {
            let time = span * f64::from(at) / f64::from(DRAWN);
            (opened_s + time, curve.at(time) - discharge.atmosphere.bar() + zero)
        })
        .collect()
}

/// The curve that a part of this conductance and critical ratio would have given: seconds of the trace and gauge bar.
#[must_use]
pub fn curve_for(
    discharge: &Discharge<'_>,
    conductance: SonicConductance,
    critical_ratio: f64,
    start: GaugePressure,
    opened_s: f64,
) -> Vec<(f64, f64)> {
    let setup = setup(discharge);
    let vessel = model::Vessel {
        conductance: conductance.dm3_s_bar().max(1e-9),
        critical_ratio,
        pressure_exponent: setup.pressure_exponent,
        warming: setup.warming.0,
        volume: setup.volume,
        wall_bar_s_k: model::wall_rate(setup.wall_w_m3_k.0),
        wall_exponent: fit::WALL_EXPONENT.0,
        wall_temperature: setup.wall_temperature,
        start: start.bar() + setup.atmosphere,
        outlet: setup.atmosphere,
    };
    let span = 3.0 * vessel.volume / vessel.conductance;
    let curve = vessel.curve(span);
    (0..=DRAWN)
        .map(|at| {
            let time = span * f64::from(at) / f64::from(DRAWN);
            (opened_s + time, curve.at(time) - setup.atmosphere)
        })
        .collect()
}
