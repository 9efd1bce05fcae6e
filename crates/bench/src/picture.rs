//! What a drawing shows, as numbers; how it is drawn is the report's business.

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
    /// From, to (none: outside), rate in mbar·l/s.
    pub paths: Vec<(CircuitId, Option<CircuitId>, f64)>,
}
