//! One stay of a mould on the bench: hook-up, readings and treatments in the order in which they were done.

use calc::estimate::Uncertain;
use calc::quantity::{
    AbsolutePressure, Duration, FlowFactor, GaugePressure, SonicConductance, Temperature, Volume, VolumeFlow,
};
use calc::trace::Trace;

use crate::mould::{CircuitId, MouldId};

pub use crate::mould::Others;
pub use crate::rig::{BucketBy, BucketRun, Filling, RigOn, RigRun};

/// One stay on the bench.
#[derive(Clone, Debug, PartialEq)]
pub struct Visit {
    /// Name of the visit: its file name without ending, or a number of the record.
    pub id: String,
    /// The mould.
    pub mould: MouldId,
    /// When it began.
    pub started: jiff::Timestamp,
    /// Who did it.
    pub by: String,
    /// The rig and its instruments.
    pub rig: Rig,
    /// Which circuit was on which port.
    pub hook_ups: Vec<HookUp>,
    /// Readings and treatments, in the order in which they were done.
    pub entries: Vec<Entry>,
}

/// The bench's water-and-air unit. Uncertainties are standard uncertainties (one standard deviation).
#[derive(Clone, Debug, PartialEq)]
pub struct Rig {
    /// Name.
    pub name: Option<String>,
    /// Flow meter, relative (0.02 for 2 %).
    pub flow_uncertainty_relative: f64,
    /// Each pressure gauge, in bar.
    pub pressure_uncertainty_bar: f64,
    /// Smallest step that the gauges show, in bar; 0 where a logger writes.
    pub gauge_step_bar: f64,
    /// Water thermometer, in K.
    pub temperature_uncertainty_k: f64,
    /// Pump: pressure against flow, falling.
    pub pump_curve: Vec<(VolumeFlow, GaugePressure)>,
    /// Hoses and couplings joined together without a mould.
    pub fixture_flow_factor: Option<FlowFactor>,
    /// Relative standard uncertainty of the fixture's flow factor.
    pub fixture_uncertainty_relative: f64,
    /// Volume of hoses, couplings and dead ends up to the circuit.
    pub fixture_volume: Option<Volume>,
    /// Sonic conductance of hoses and couplings.
    pub fixture_sonic_conductance: Option<SonicConductance>,
    /// Vessel of known volume, for filled volume by air expansion.
    pub reference_volume: Option<Volume>,
    /// Air vessel that empties through circuits; best 20 times what circuits and hoses hold.
    pub reservoir_volume: Option<Volume>,
    /// Pressure of the surrounding air.
    pub atmosphere: AbsolutePressure,
    /// Date until which the calibration of all instruments holds, as YYYY-MM-DD.
    pub calibrated_until: Option<String>,
    /// The same of the flow meter.
    pub flow_calibrated_until: Option<String>,
    /// The same of the pressure gauges.
    pub pressure_calibrated_until: Option<String>,
    /// The same of the thermometer.
    pub temperature_calibrated_until: Option<String>,
}

impl Default for Rig {
    fn default() -> Self {
        Self {
            name: None,
            flow_uncertainty_relative: 0.02,
            pressure_uncertainty_bar: 0.05,
            gauge_step_bar: 0.0,
            temperature_uncertainty_k: 1.0,
            pump_curve: Vec::new(),
            fixture_flow_factor: None,
            fixture_uncertainty_relative: 0.03,
            fixture_volume: None,
            fixture_sonic_conductance: None,
            reference_volume: None,
            reservoir_volume: None,
            atmosphere: AbsolutePressure::STANDARD_ATMOSPHERE,
            calibrated_until: None,
            flow_calibrated_until: None,
            pressure_calibrated_until: None,
            temperature_calibrated_until: None,
        }
    }
}

/// A circuit on a port.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HookUp {
    /// Port of the rig, from 1.
    pub port: u32,
    /// Circuit.
    pub circuit: CircuitId,
}

/// A reading or a treatment.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    /// Where it stands in its file, for evidence: `visit.toml, line 31`.
    pub place: String,
    /// When, if noted.
    pub at: Option<jiff::Timestamp>,
    /// Circuit, unless it concerns the whole mould.
    pub circuit: Option<CircuitId>,
    /// What was done.
    pub what: What,
}

/// What was done.
#[derive(Clone, Debug, PartialEq)]
pub enum What {
    /// Air held in, pressure watched.
    LeakDown(LeakDown),
    /// Air let out through the circuit.
    AirPassage(AirPassage),
    /// Water flow at a pressure drop.
    Flow(Flow),
    /// One circuit charged, others watched.
    CrossWatch(CrossWatch),
    /// Filled volume.
    Volume(VolumeReading),
    /// A reading of the rig on a known thing.
    RigCheck(RigRun),
    /// Water caught in a time, beside the flow meter.
    Bucket(BucketRun),
    /// Words.
    Note(String),
    /// Something done to the circuit.
    Treatment(Treatment),
}

impl What {
    /// Whether this leaves water or another liquid in the circuit.
    #[must_use]
    pub fn wets(&self) -> bool {
        match self {
            Self::Flow(_) => true,
            Self::Volume(reading) => matches!(reading.method, VolumeMethod::Drained { .. }),
            Self::Treatment(treatment) => matches!(
                treatment.kind,
                TreatmentKind::Descale
                    | TreatmentKind::Neutralise
                    | TreatmentKind::Rinse
                    | TreatmentKind::Preserve
            ),
            _ => false,
        }
    }
}

/// A falling pressure: logged, or read twice by hand.
#[derive(Clone, Debug, PartialEq)]
pub enum Decay {
    /// Logged.
    Trace(Trace),
    /// Read at the start and at the end.
    TwoReadings {
        /// At the start.
        start: GaugePressure,
        /// At the end.
        end: GaugePressure,
        /// Time between.
        time: Duration,
    },
}

/// Air held in a circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct LeakDown {
    /// What was seen.
    pub decay: Decay,
    /// Temperature of the steel, if taken.
    pub wall_temperature: Option<Temperature>,
    /// Seconds for which the supply was held before it was shut.
    pub hold: Duration,
}

/// What was charged before the air was let out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Charged {
    /// The circuit itself, with the hoses up to the valve.
    Circuit,
    /// A vessel of the rig that empties through the circuit.
    Reservoir(Volume),
}

/// Air let out through the circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct AirPassage {
    /// What was charged.
    pub charged: Charged,
    /// What was seen.
    pub decay: Decay,
    /// Temperature of the air at the start.
    pub air_temperature: Option<Temperature>,
}

/// Water flow at a pressure drop.
#[derive(Clone, Debug, PartialEq)]
pub struct Flow {
    /// Mean flow, or the logged flow.
    pub flow: FlowReading,
    /// Gauge at the inlet.
    pub pressure_in: GaugePressure,
    /// Gauge at the outlet.
    pub pressure_out: GaugePressure,
    /// Water.
    pub water_temperature: Temperature,
    /// Whether the other circuits were open.
    pub others: Others,
    /// Whether hoses and couplings lie between the two gauges.
    pub through_fixture: bool,
}

/// A flow: one number, or logged.
#[derive(Clone, Debug, PartialEq)]
pub enum FlowReading {
    /// One number.
    Mean(VolumeFlow),
    /// Logged.
    Trace(Trace),
}

/// One circuit or several charged, others watched.
#[derive(Clone, Debug, PartialEq)]
pub struct CrossWatch {
    /// Circuits that were vented meanwhile.
    pub open: Vec<CircuitId>,
    /// The charged circuit's own pressure, if logged.
    pub charged_decay: Option<Decay>,
    /// Circuits that were charged together with it, with their own pressure, if logged.
    pub also_charged: Vec<(CircuitId, Option<Decay>)>,
    /// The watched circuits and what was seen there.
    pub watched: Vec<(CircuitId, Decay)>,
}

/// Filled volume of a circuit.
#[derive(Clone, Debug, PartialEq)]
pub struct VolumeReading {
    /// How it was found.
    pub method: VolumeMethod,
    /// Whether hoses and couplings are in the number.
    pub through_fixture: bool,
    /// End from which it was filled; only in a blocked circuit does it matter.
    pub from: End,
}

/// One of the two ends of a circuit.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum End {
    /// Where the water comes in.
    #[default]
    Inlet,
    /// Where it goes out.
    Outlet,
}

/// How a filled volume was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum VolumeMethod {
    /// Air of a known volume let into the circuit; no wetting.
    AirExpansion {
        /// Known volume.
        reference: Volume,
        /// Pressure in it before.
        reference_before: GaugePressure,
        /// Pressure in the circuit before.
        circuit_before: GaugePressure,
        /// Pressure in both after they were joined.
        joined: GaugePressure,
    },
    /// Water drained and measured, with its standard uncertainty in ml.
    Drained {
        /// Volume in ml.
        volume_ml: Uncertain,
    },
}

/// Something done to a circuit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Treatment {
    /// What.
    pub kind: TreatmentKind,
    /// In the technician's words.
    pub remark: Option<String>,
}

/// Kinds of treatment.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum TreatmentKind {
    /// Residual water blown out.
    BlowOut,
    /// Opened: plug, fitting or insert taken out.
    Open,
    /// Repaired.
    Repair,
    /// Deposit dissolved.
    Descale,
    /// Acid neutralised.
    Neutralise,
    /// Rinsed.
    Rinse,
    /// Inhibitor left in.
    Preserve,
    /// Dried.
    Dry,
}

impl TreatmentKind {
    /// Whether readings taken before it no longer speak for the circuit: it was opened, repaired or descaled.
    #[must_use]
    pub const fn changes_circuit(self) -> bool {
        matches!(self, Self::Open | Self::Repair | Self::Descale)
    }
}
