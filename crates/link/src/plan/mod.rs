//! What the virtual rig is asked to play: a mould with its faults, a rig, and the readings of one visit.

pub mod form;
mod read;
mod read_parts;

use bench::mould::{CircuitId, Known, MouldId, Process};
use bench::visit::{End, Others, Rig, TreatmentKind};
use calc::hydraulics::piece::Piece;
use calc::quantity::{FlowFactor, GaugePressure, LeakRate, Length, PressureDrop, Temperature, Volume};

use crate::physics::Physics;

/// A whole plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// Asset id of the mould.
    pub mould: MouldId,
    /// What the mould makes.
    pub name: String,
    /// What the tool is for.
    pub process: Process,
    /// Circuits with what the files will say and what is true.
    pub circuits: Vec<CircuitPlan>,
    /// Leaks from one circuit into another.
    pub leaks_across: Vec<LeakAcross>,
    /// The rig.
    pub rig: RigPlan,
    /// The visit.
    pub visit: VisitPlan,
    /// What the operator does wrong.
    pub slips: Slips,
    /// Laws of the simulated world.
    pub physics: Physics,
    /// Seed that the plan's file proposes.
    pub seed: u64,
}

/// One circuit of a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct CircuitPlan {
    /// Id.
    pub id: CircuitId,
    /// Half.
    pub half: String,
    /// What it cools.
    pub serves: Option<String>,
    /// Metals that the water touches, as the file says.
    pub metals: Vec<String>,
    /// Seals that the water touches, as the file says.
    pub seals: Vec<String>,
    /// Circuits drawn alike.
    pub sisters: Vec<CircuitId>,
    /// Circuits beside it in the same steel.
    pub neighbours: Vec<CircuitId>,
    /// Pieces as drawn; the steel deviates from them.
    pub pieces: Vec<Piece>,
    /// How much of the pieces the mould file shows.
    pub known: Known,
    /// Main bore that the mould file gives beside missing pieces.
    pub rough_bore: Option<Length>,
    /// Length that the mould file gives beside missing pieces.
    pub rough_length: Option<Length>,
    /// Baseline on record.
    pub baseline: Option<BaselinePlan>,
    /// What is wrong with it.
    pub fault: Fault,
}

/// A baseline on record: readings of the circuit as new.
#[derive(Clone, Debug, PartialEq)]
pub struct BaselinePlan {
    /// Date, as YYYY-MM-DD.
    pub date: Option<String>,
    /// Relative standard uncertainty of the flow factor.
    pub uncertainty_relative: f64,
    /// Whether a filled volume was kept.
    pub volume: bool,
    /// Whether a sonic conductance was kept.
    pub air: bool,
    /// Whether the other circuits were open.
    pub others: Others,
}

/// What is wrong with a circuit.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Fault {
    /// Inside of the bore.
    pub condition: Condition,
    /// Nothing passes from here on: share of the path from the inlet, 0 to 1.
    pub blocked_at: Option<f64>,
    /// Leak to the outside.
    pub leak_out: Option<Leak>,
    /// A part is missing, so that more passes than should.
    pub too_much: Option<TooMuch>,
    /// Branch (from 0) of the first split that is plugged.
    pub plugged_branch: Option<usize>,
}

/// Inside of the bore.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub enum Condition {
    /// As drilled.
    #[default]
    AsNew,
    /// A layer on the wall.
    EvenDeposit(Layer),
    /// One narrow place.
    LocalPlug(Plug),
    /// Both.
    Mixed(Layer, Plug),
    /// A rougher wall of the same width.
    Rough {
        /// Sand-grain roughness.
        roughness: Length,
    },
}

/// A layer of deposit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Layer {
    /// Thickness.
    pub thickness: Length,
    /// Share of the path that it covers, 0 to 1; the rest is bare.
    pub share_of_length: f64,
}

/// A narrow place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plug {
    /// Free bore that it leaves.
    pub bore: Length,
    /// Share of the path from the inlet, 0 to 1.
    pub place: f64,
}

/// A leak.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leak {
    /// Rate at 7 bar absolute against the surrounding air, 20 degC.
    pub rate: LeakRate,
    /// How the rate depends on pressure.
    pub law: LeakLaw,
}

/// How a leak's rate depends on pressure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LeakLaw {
    /// Narrow and long: with the difference of the squared pressures.
    Laminar,
    /// A short hole: with the higher pressure while the flow is choked.
    Orifice,
    /// A narrow crack that opens only above a pressure difference.
    OpensAbove {
        /// The difference, bar.
        difference_bar: f64,
    },
    /// A seat that pressure presses shut: an orifice that shrinks to 1/e in this pressure difference.
    Seat(PressureDrop),
    /// A crack that pressure pushes open: laminar, twice as wide at this pressure difference as without pressure.
    OpeningCrack(PressureDrop),
}

/// A leak from one circuit into another.
#[derive(Clone, Debug, PartialEq)]
pub struct LeakAcross {
    /// The two circuits.
    pub between: (CircuitId, CircuitId),
    /// Rate and law.
    pub leak: Leak,
}

/// Why more passes than should.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TooMuch {
    /// The blade of the first baffle is missing.
    MissingBaffle,
    /// A plug between two lines is missing: the middle third of the path is passed by.
    ShortCut,
}

/// The rig of a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct RigPlan {
    /// The rig as its file states it; what belongs to the fixture is filled in from the hoses.
    pub stated: Rig,
    /// Number of ports.
    pub ports: usize,
    /// Hoses and couplings from the rig to the mould, as bought.
    pub supply: Vec<Piece>,
    /// Hoses and couplings from the mould back, as bought.
    pub back: Vec<Piece>,
    /// Dead ends of the rig on the supply side.
    pub dead_volume: Volume,
    /// Whether the rig's file states flow factor, volume and sonic conductance of the fixture.
    pub fixture_stated: bool,
    /// Whether the pressure gauges sit at the mould, so that hoses do not lie between them.
    pub gauges_at_mould: bool,
}

/// The visit of a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct VisitPlan {
    /// Name.
    pub id: String,
    /// When it began.
    pub started: jiff::Timestamp,
    /// Who did it.
    pub by: String,
    /// Test water.
    pub water: Temperature,
    /// Steel and room.
    pub steel: Temperature,
    /// Readings and treatments in their order.
    pub readings: Vec<ReadingPlan>,
}

/// One reading, on some circuits.
#[derive(Clone, Debug, PartialEq)]
pub struct ReadingPlan {
    /// Circuits; none: all that the operator would read.
    pub circuits: Option<Vec<CircuitId>>,
    /// What writes the numbers down.
    pub logger: Logger,
    /// What is read.
    pub what: ReadingKind,
}

/// What writes the numbers down.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Logger {
    /// The rig's own.
    #[default]
    Own,
    /// Somebody else's: semicolons, decimal comma, psi, clock times.
    Foreign,
    /// A person with gauge, watch and pen.
    Hand,
}

/// What is read.
#[derive(Clone, Debug, PartialEq)]
pub enum ReadingKind {
    /// Air held in.
    LeakDown {
        /// Test pressure.
        pressure: GaugePressure,
        /// Sampling.
        sampling: Sampling,
        /// Seconds on supply before it is shut.
        hold_s: f64,
        /// All circuits charged at the same time, instead of one with the others vented.
        together: bool,
    },
    /// Air let out.
    AirPassage {
        /// Out of the rig's vessel, instead of the circuit's own volume.
        from_reservoir: bool,
        /// Pressure at the start.
        pressure: GaugePressure,
        /// Sampling.
        sampling: Sampling,
    },
    /// Water flow.
    Flow {
        /// Points, as shares of the flow with the valve fully open.
        shares: Vec<f64>,
        /// Whether the other circuits are open.
        others: Others,
        /// Sampling of the first point; none: means only.
        sampling: Option<Sampling>,
    },
    /// One charged, others watched. Without circuits: those that fell in the leak-down.
    CrossWatch {
        /// The named circuits charged at the same time, instead of one after the other.
        together: bool,
        /// Test pressure.
        pressure: GaugePressure,
        /// Sampling.
        sampling: Sampling,
    },
    /// Filled volume.
    Volume {
        /// By air out of the rig's vessel, instead of draining.
        by_air: bool,
        /// Whether hoses are in the number.
        through_fixture: bool,
        /// End from which air or water went in.
        from: End,
    },
    /// The rig on a known thing.
    RigCheck {
        /// What.
        on: RigCheckOn,
    },
    /// Water caught and weighed, beside the meter, with hoses joined.
    Bucket {
        /// Time of each filling, s.
        seconds: f64,
        /// Number of fillings.
        fillings: usize,
    },
    /// Something done.
    Treatment {
        /// What.
        kind: TreatmentKind,
        /// In words.
        remark: Option<String>,
    },
    /// Words.
    Note(String),
}

/// A known thing that the rig can be read on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RigCheckOn {
    /// Hoses of the first port, joined.
    Fixture,
    /// An orifice between them.
    Orifice {
        /// Flow factor as stated on it.
        flow_factor: FlowFactor,
        /// How well that is known, relative.
        relative: f64,
    },
    /// Gauges open to the air.
    AtRest,
    /// Both gauges on the pump's pressure, no flow.
    ShutOff,
}

/// How long and how often a logger samples.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sampling {
    /// Samples per second.
    pub rate_hz: f64,
    /// Length.
    pub seconds: f64,
}

impl Sampling {
    /// Number of samples, both ends included; at most 200 000.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "clamped to 1..=200 000")]
    pub fn count(&self) -> usize {
        (self.rate_hz * self.seconds).round().clamp(1.0, 199_999.0) as usize + 1
    }

    /// Seconds between samples.
    #[must_use]
    pub fn step_s(&self) -> f64 {
        1.0 / self.rate_hz
    }
}

/// What the operator does wrong.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Slips {
    /// Pairs of circuits whose hoses are exchanged against the hook-up list.
    pub swapped: Vec<(CircuitId, CircuitId)>,
    /// Circuits whose port has an open hose, connected to nothing.
    pub missing: Vec<CircuitId>,
    /// Pairs that hang side by side on the port of the first; the hoses of the second's port are open.
    pub doubled: Vec<(CircuitId, CircuitId)>,
    /// Pairs whose returns are exchanged, supplies not: dead ends while only one of the two ports is open.
    pub bridged: Vec<(CircuitId, CircuitId)>,
    /// Circuits whose supply and return are exchanged.
    pub reversed: Vec<CircuitId>,
    /// Circuits whose leak-down was stopped after a few seconds.
    pub stopped_early: Vec<CircuitId>,
    /// The flow meter shows so many per cent too much (below 0: too little), whatever its file states.
    pub meter_drift_percent: Option<f64>,
    /// The inlet gauge shows so many bar at rest, whatever its file states.
    pub gauge_zero_drift_bar: Option<f64>,
}

impl CircuitPlan {
    /// A circuit of these pieces with nothing known beside them and nothing wrong.
    #[must_use]
    pub fn new(id: &str, half: &str, pieces: Vec<Piece>) -> Self {
        Self {
            id: CircuitId(id.to_owned()),
            half: half.to_owned(),
            serves: None,
            metals: Vec::new(),
            seals: Vec::new(),
            sisters: Vec::new(),
            neighbours: Vec::new(),
            pieces,
            known: Known::Drawing,
            rough_bore: None,
            rough_length: None,
            baseline: None,
            fault: Fault::default(),
        }
    }
}
