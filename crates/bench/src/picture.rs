//! What a drawing shows, as numbers; how it is drawn is the report's business.

use calc::estimate::Estimate;

use crate::mould::CircuitId;

/// A drawing's content.
#[derive(Clone, Debug, PartialEq)]
pub enum Picture {
    /// Pressure drop against flow.
    FlowCurve(FlowCurve),
    /// Pressure while air is held in.
    LeakDown(LeakDownPicture),
    /// Pressure while air is let out.
    AirPassage(AirPassagePicture),
}

/// Pressure drop against flow.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct FlowCurve {
    /// As it should be: flow in l/min, and pressure drop in bar: low, middle, high.
    pub clean: Vec<(f64, f64, f64, f64)>,
    /// What 'should be' was taken from.
    pub clean_from: String,
    /// Curve through today's points: flow in l/min, pressure drop in bar.
    pub today: Vec<(f64, f64)>,
    /// Today's points, hoses removed: flow in l/min, pressure drop in bar, and its standard uncertainty in bar.
    pub points: Vec<(f64, f64, f64)>,
    /// Pump of the rig: flow in l/min, pressure in bar.
    pub pump: Vec<(f64, f64)>,
}

/// Pressure while air is held in.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LeakDownPicture {
    /// Measured: time in s, pressure in bar (gauge); at most a few hundred points.
    pub measured: Vec<(f64, f64)>,
    /// Fitted sum of leak, settling and drift.
    pub fitted: Vec<(f64, f64)>,
    /// The leak's part alone.
    pub leak_only: Vec<(f64, f64)>,
    /// What the limit would look like.
    pub at_limit: Vec<(f64, f64)>,
    /// From here on the air has settled.
    pub settled_from_s: Option<f64>,
}

/// Pressure while air is let out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct AirPassagePicture {
    /// Measured: time in s, pressure in bar (gauge).
    pub measured: Vec<(f64, f64)>,
    /// Fitted.
    pub fitted: Vec<(f64, f64)>,
    /// What the clean geometry or baseline would give.
    pub expected: Vec<(f64, f64)>,
}

/// Who leaks into whom.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LeakMap {
    /// All circuits.
    pub circuits: Vec<CircuitId>,
    /// Paths, most probable first.
    pub paths: Vec<LeakPath>,
    /// The charged-and-watched test that would tell most; none when nothing is left to find.
    pub next_test: Option<NextLeakTest>,
}

/// One path of the leak map.
#[derive(Clone, Debug, PartialEq)]
pub struct LeakPath {
    /// Circuit at the higher pressure.
    pub from: CircuitId,
    /// Where the air goes (none: outside).
    pub to: Option<CircuitId>,
    /// Rate in mbar·l/s, if the path is there.
    pub rate_mbar_l_s: Estimate,
    /// Probability that it is there.
    pub probability: f64,
    /// Pressure difference in bar below which it is shut, if the readings show one.
    pub opens_above_bar: Option<f64>,
}

/// A charged-and-watched test to be done.
#[derive(Clone, Debug, PartialEq)]
pub struct NextLeakTest {
    /// Circuits to charge.
    pub charged: Vec<CircuitId>,
    /// Circuits to vent, close and watch.
    pub watched: Vec<CircuitId>,
    /// Circuits to leave open.
    pub open: Vec<CircuitId>,
    /// How long it takes.
    pub duration_min: f64,
    /// Why this one.
    pub why: String,
}
