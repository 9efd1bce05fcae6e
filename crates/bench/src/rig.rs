//! Readings on the rig itself, and what they say of it.

use calc::estimate::Estimate;
use calc::quantity::{Duration, FlowFactor, GaugePressure, Temperature, VolumeFlow};

use crate::mould::CircuitId;

/// What a reading of the rig was taken on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RigOn {
    /// Hoses and couplings joined without a mould.
    Fixture,
    /// An orifice or restrictor in place of the mould.
    Orifice {
        /// Its flow factor.
        flow_factor: FlowFactor,
        /// Relative standard uncertainty of that.
        relative: f64,
    },
    /// Gauges open to the air.
    AtRest,
    /// Both gauges on one pressure, no flow.
    ShutOff,
}

/// A reading of the rig on a known thing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RigRun {
    /// What it was taken on.
    pub on: RigOn,
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

/// How water caught in a bucket was measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BucketBy {
    /// Scales, kg.
    Weight,
    /// The mark that it reached, litres.
    Mark,
}

/// Water caught in a time, beside the flow meter.
#[derive(Clone, Debug, PartialEq)]
pub struct BucketRun {
    /// How it was measured.
    pub by: BucketBy,
    /// Fillings.
    pub fillings: Vec<Filling>,
    /// Standard uncertainty of what was caught, kg or litres.
    pub caught_uncertainty_l_or_kg: f64,
    /// Standard uncertainty of start and stop together.
    pub timing_uncertainty: Duration,
    /// Water; 20 degC where nobody took it.
    pub water_temperature: Option<Temperature>,
}

/// One filling of a bucket.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Filling {
    /// Water caught, kg or litres.
    pub caught_l_or_kg: f64,
    /// Time.
    pub time: Duration,
    /// What the flow meter showed.
    pub meter: VolumeFlow,
}

/// Whether a rig or an instrument may be trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RigVerdict {
    /// Within what it states.
    Fit,
    /// Beyond what it states.
    Drifted,
    /// The readings do not tell.
    CannotTell,
}

/// What is known of one error of the rig.
#[derive(Clone, Debug, PartialEq)]
pub struct RigInstrument {
    /// Short fixed word for programs: `flow-meter`, `hoses`, ...
    pub word: &'static str,
    /// Name for people.
    pub name: &'static str,
    /// Unit of the error: `%`, `bar` or `K`.
    pub unit: &'static str,
    /// The error: shown minus true; for hoses, flow factor against the stated one.
    pub value: Estimate,
    /// Probability that it is more than was stated.
    pub drift_probability: f64,
    /// The answer.
    pub verdict: RigVerdict,
    /// Whether a reading of this visit depends on it.
    pub checked: bool,
}

/// Circuits that moved by one factor against their baselines.
#[derive(Clone, Debug, PartialEq)]
pub struct MovedAlike {
    /// Circuits, in the order of the mould.
    pub circuits: Vec<CircuitId>,
    /// Flow as the rig shows it, in per cent of the baselines.
    pub flow_percent: Estimate,
    /// Probability that the rig drifted rather than the mould changed.
    pub probability: f64,
}

/// What is known of the rig after a visit.
#[derive(Clone, Debug, PartialEq)]
pub struct RigFinding {
    /// The rig as a whole.
    pub verdict: RigVerdict,
    /// Errors that a reading depends on.
    pub instruments: Vec<RigInstrument>,
    /// Circuits that moved alike, where that points to the rig.
    pub moved_alike: Option<MovedAlike>,
    /// Error of the meter that was taken out of the flow readings, where two checks agree on it.
    pub corrected_percent: Option<f64>,
    /// What it means, in sentences.
    pub sentences: Vec<String>,
    /// The reading that would tell most of what is open.
    pub best_next_reading: Option<String>,
}
