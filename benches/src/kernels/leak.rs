//! A leak-down: the fit over a minute of samples, with verdict and uncertainty.

use std::path::Path;

use calc::air::leak_down::{DecayData, Gauge, LeakDownInput, USUAL_LIMIT, leak_down};
use calc::numeric::math;
use calc::quantity::{AbsolutePressure, Duration, Length, Temperature, Volume};
use calc::trace::Trace;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::json;

use super::{Fault, Measured, read_json};
use crate::timing::{Effort, time};

/// File of the samples.
pub const FILE: &str = "leak-600.json";

const SAMPLES: u16 = 600;
const STEP_S: f64 = 0.1;
const START_BAR_ABS: f64 = 7.013;
const ATMOSPHERE_BAR_ABS: f64 = 1.013;
/// Leak through a hole at the start pressure, mbar l/s.
const RATE_MBAR_L_S: f64 = 0.3;
const VOLUME_ML: f64 = 400.0;
const HOSE_ML: f64 = 190.0;
const BORE_MM: f64 = 10.0;
const HOLD_S: f64 = 10.0;
const WALL_DEG_C: f64 = 20.0;
const NOISE_MBAR: f64 = 1.0;
/// What the settling air and the hoses add: mbar, and shape as in the fit.
const SETTLING_MBAR: f64 = 20.0;
const SETTLING_TAU_S: f64 = 1.14;
const HOSE_TAIL_MBAR: f64 = 12.0;

/// Samples at 10 Hz: choked leak, air that settles, hoses that warm, noise.
pub fn document() -> serde_json::Value {
    let mut chance = ChaCha8Rng::seed_from_u64(600);
    let slope_per_s = RATE_MBAR_L_S / (VOLUME_ML / 1e3) / (START_BAR_ABS * 1e3);
    let times: Vec<f64> = (0..SAMPLES).map(|at| f64::from(at) * STEP_S).collect();
    let pressures: Vec<f64> = times
        .iter()
        .map(|time_s| {
            let leaking = START_BAR_ABS * math::exp(-slope_per_s * time_s) - ATMOSPHERE_BAR_ABS;
            let settling = SETTLING_MBAR * math::exp(-time_s / SETTLING_TAU_S);
            let hoses = HOSE_TAIL_MBAR / (time_s + HOLD_S + 1.0).sqrt();
            // Twelve even draws add up to a variance of one.
            let noise = (0..12).map(|_| chance.random::<f64>()).sum::<f64>() - 6.0;
            let bar = leaking + (settling + hoses + NOISE_MBAR * noise) / 1e3;
            (bar * 1e5).round() / 1e5
        })
        .collect();
    json!({
        "volume_ml": VOLUME_ML, "hose_volume_ml": HOSE_ML, "bore_mm": BORE_MM, "hold_s": HOLD_S,
        "wall_temperature_deg_c": WALL_DEG_C, "atmosphere_bar_abs": ATMOSPHERE_BAR_ABS,
        "true_leak_rate_mbar_l_s": RATE_MBAR_L_S, "time_s": times, "pressure_bar_g": pressures,
    })
}

/// Times the whole judgement of the reading.
pub fn measure(inputs: &Path, effort: Effort) -> Result<Measured, Fault> {
    let file = read_json(&inputs.join(FILE))?;
    let numbers = |name: &str| -> Vec<f64> {
        let list = file[name].as_array().map(Vec::as_slice).unwrap_or_default();
        list.iter().filter_map(serde_json::Value::as_f64).collect()
    };
    let trace = Trace {
        time_s: numbers("time_s"),
        pressure_bar_g: Some(numbers("pressure_bar_g")),
        ..Trace::default()
    };
    let input = LeakDownInput {
        volume: Volume::from_ml(VOLUME_ML),
        volume_uncertainty_relative: 0.02,
        hose_volume: Some(Volume::from_ml(HOSE_ML)),
        bore: Some(Length::from_mm(BORE_MM)),
        atmosphere: AbsolutePressure::from_bar(ATMOSPHERE_BAR_ABS),
        wall_temperature: Some(Temperature::from_deg_c(WALL_DEG_C)),
        hold: Duration::from_s(HOLD_S),
        gauge: Gauge::logger(),
        limit: USUAL_LIMIT,
        decay: DecayData::Trace(&trace),
    };
    let (seconds, result) = time(effort, || leak_down(&input));
    let rate = result?.leak_rate;
    Ok(Measured::new(seconds, rate.value).with("low", rate.low).with("high", rate.high))
}
