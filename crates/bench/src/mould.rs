//! A mould and its cooling circuits, as far as they are known.

use calc::estimate::Uncertain;
use calc::hydraulics::piece::Piece;
use calc::quantity::Length;

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
