//! The unknowns beside the severity grid, each in units of its prior standard deviation.

use nalgebra::SVector;

/// How many.
pub const COUNT: usize = 22;
/// One number for each unknown.
pub type Row = SVector<f64, COUNT>;

/// Drilled widths.
pub const WIDTH: usize = 0;
/// Loss numbers of turns.
pub const TURNS: usize = 1;
/// Flow factors of couplings in the mould.
pub const FACTORS: usize = 2;
/// Roughness of bare walls.
pub const ROUGHNESS: usize = 3;
/// Level of the model's drop, as new and today.
pub const LEVEL: usize = 4;
/// Steepness of the model's curve, as new and today.
pub const STEEPNESS: usize = 5;
/// Gain of the flow meter.
pub const GAIN: usize = 6;
/// Zero of the gauges' difference.
pub const ZERO: usize = 7;
/// Thermometer.
pub const WARMTH: usize = 8;
/// Hoses and couplings of the rig.
pub const HOSES: usize = 9;
/// What a fault does beside its model: to the drop,
pub const LEVEL_TODAY: usize = 10;
/// to the curve's steepness,
pub const STEEPNESS_TODAY: usize = 11;
/// Filled volume of the model, as new and today.
pub const VOLUME: usize = 12;
/// to the volume,
pub const VOLUME_TODAY: usize = 13;
/// Sonic conductance of the model, as new and today.
pub const AIR: usize = 14;
/// to the sonic conductance.
pub const AIR_TODAY: usize = 15;
/// Roughness of the layer.
pub const LAYER_ROUGHNESS: usize = 16;
/// Severity of layer or roughness between two nodes.
pub const SEVERITY: usize = 17;
/// Severity of the plug between two nodes.
pub const PLUG: usize = 18;
/// Gain of the meter of the baseline.
pub const GAIN_THEN: usize = 19;
/// Zero of the gauges of the baseline.
pub const ZERO_THEN: usize = 20;
/// Exponent of hoses and couplings.
pub const HOSES_STEEPNESS: usize = 21;
