//! A mould and its cooling circuits, as far as they are known.

use std::collections::BTreeMap;

use calc::estimate::Uncertain;
use calc::hydraulics::flow_factor::{FlowPoint, PointUncertainty};
use calc::hydraulics::piece::Piece;
use calc::quantity::Length;

use crate::finding::BoreState;

pub use calc::infer::history::Done;

/// Id of a mould, as stamped or tagged.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct MouldId(pub String);

/// Id of a circuit within its mould, as stamped.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct CircuitId(pub String);

impl core::fmt::Display for MouldId {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(&self.0)
    }
}
impl core::fmt::Display for CircuitId {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(&self.0)
    }
}

/// What the tool is for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Process {
    /// Injection mould.
    #[default]
    InjectionMoulding,
    /// Die-casting die: water that meets melt can explode, so tightness weighs more.
    DieCasting,
}

/// One tool.
#[derive(Clone, Debug, PartialEq)]
pub struct Mould {
    /// Asset id.
    pub id: MouldId,
    /// What it makes.
    pub name: String,
    /// What the tool is for.
    pub process: Process,
    /// Its circuits, in the order of the file.
    pub circuits: Vec<Circuit>,
}

impl Mould {
    /// The circuit of this id.
    #[must_use]
    pub fn circuit(&self, id: &CircuitId) -> Option<&Circuit> {
        self.circuits.iter().find(|circuit| circuit.id == *id)
    }
}

/// How far the pieces of a circuit are to be trusted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Known {
    /// Taken from a drawing.
    Drawing,
    /// Measured on the steel.
    Measured,
    /// Guessed at the bench.
    Guessed,
    /// Nothing is known.
    #[default]
    Unknown,
}

/// One cooling path from inlet to outlet.
#[derive(Clone, Debug, PartialEq)]
pub struct Circuit {
    /// Id within the mould.
    pub id: CircuitId,
    /// Fixed, moving, or a named plate or slide.
    pub half: String,
    /// What it cools, in the plant's words.
    pub serves: Option<String>,
    /// Metals that the water touches: keys of the materials table. Empty: unknown.
    pub metals: Vec<String>,
    /// Seals that the water touches. Empty: unknown.
    pub seals: Vec<String>,
    /// Circuits of the same geometry.
    pub sisters: Vec<CircuitId>,
    /// Circuits that run beside it in the same steel. Empty: not known, so any circuit may be one.
    pub neighbours: Vec<CircuitId>,
    /// The best trusted state.
    pub baseline: Option<Baseline>,
    /// Pieces in flow order, as new. Empty: not known.
    pub pieces: Vec<Piece>,
    /// How far the pieces are to be trusted.
    pub known: Known,
    /// Main bore, where no pieces are known.
    pub rough_bore: Option<Length>,
    /// Length of the path, where no pieces are known.
    pub rough_length: Option<Length>,
    /// What earlier visits found, and what was done after them.
    pub earlier: Vec<Earlier>,
}

/// One day of a circuit's past.
#[derive(Clone, Debug, PartialEq)]
pub struct Earlier {
    /// The day.
    pub date: jiff::civil::Date,
    /// Name of the visit, if it has one.
    pub visit: Option<String>,
    /// What was found of its bore; none: only something was done.
    pub found: Option<EarlierFound>,
    /// What was done afterwards, in order; empty: nothing on record.
    pub done: Vec<Done>,
    /// In the technician's words.
    pub remark: Option<String>,
}

impl Earlier {
    /// The day of a moment, by universal time.
    #[must_use]
    pub fn day_of(moment: jiff::Timestamp) -> jiff::civil::Date {
        jiff::tz::Offset::UTC.to_datetime(moment).date()
    }
}

/// What an earlier visit found of a bore.
#[derive(Clone, Debug, PartialEq)]
pub struct EarlierFound {
    /// Probabilities of states; those left out share what is left to 1.
    pub state: BTreeMap<BoreState, f64>,
    /// The same before the readings of that visit; empty: those of any circuit.
    pub before: BTreeMap<BoreState, f64>,
    /// Thickness of the layer in mm, if there was one.
    pub thickness_mm: Option<Uncertain>,
}

/// The best trusted readings of a circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct Baseline {
    /// Flow factor in m3/h at the reference, hoses removed, with its standard uncertainty.
    pub flow_factor_m3_h: Uncertain,
    /// Filled volume in ml, hoses removed.
    pub filled_volume_ml: Option<Uncertain>,
    /// Sonic conductance in dm3/(s bar), hoses removed.
    pub sonic_conductance_dm3_s_bar: Option<Uncertain>,
    /// Date that earned it, as YYYY-MM-DD.
    pub date: Option<String>,
    /// Whether it was taken with the other circuits closed or open.
    pub others: Others,
    /// Flow points that the flow factor came from, if they were kept.
    pub sweep: Option<BaselineSweep>,
}

/// Flow points of a baseline, hoses removed.
#[derive(Clone, Debug, PartialEq)]
pub struct BaselineSweep {
    /// Points.
    pub points: Vec<FlowPoint>,
    /// Standard uncertainties of the instruments of that day.
    pub uncertainty: PointUncertainty,
}

/// Whether the other circuits took water at the same time.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Others {
    /// Only this circuit was open.
    #[default]
    Closed,
    /// All circuits were open.
    Open,
}
