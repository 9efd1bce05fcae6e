//! Readings and treatments as they are stored; their traces lie beside them under a digest.

mod convert;

use bench::visit::{BucketBy, End, TreatmentKind};
use serde::{Deserialize, Serialize};

use super::{OthersWord, UncertainCard, words};
use crate::digest::Digest;

words! {
    /// One of the two ends of a circuit.
    EndWord for End {
        /// Where the water comes in.
        Inlet,
        /// Where it goes out.
        Outlet,
    }
}
words! {
    /// How water caught in a bucket was measured.
    BucketWord for BucketBy {
        /// Scales.
        Weight,
        /// The mark that it reached.
        Mark,
    }
}
words! {
    /// Kinds of treatment.
    TreatmentWord for TreatmentKind {
        /// Residual water blown out.
        BlowOut,
        /// Opened.
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
}

/// A reading, a treatment or a note of a visit, version 1.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReadingCard {
    /// Mould.
    pub mould: String,
    /// Visit of that mould.
    pub visit: String,
    /// Place in the visit, from 0: the order in which things were done.
    pub place: u32,
    /// When, as RFC 3339, if noted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub at: Option<jiff::Timestamp>,
    /// Circuit, unless it concerns the whole mould.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub circuit: Option<String>,
    /// Where it came from: `visit.toml, line 31`.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub origin: String,
    /// What was done.
    pub what: WhatCard,
}

/// What was done.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
#[expect(missing_docs, reason = "the fields are those of `bench::visit::What`, with their unit")]
pub enum WhatCard {
    LeakDown {
        decay: DecayCard,
        wall_temperature_deg_c: Option<f64>,
        hold_s: f64,
    },
    AirPassage {
        reservoir_volume_ml: Option<f64>,
        decay: DecayCard,
        air_temperature_deg_c: Option<f64>,
    },
    Flow {
        flow: FlowCard,
        pressure_in_bar_g: f64,
        pressure_out_bar_g: f64,
        water_temperature_deg_c: f64,
        others: OthersWord,
        through_fixture: bool,
    },
    CrossWatch {
        open: Vec<String>,
        charged: Option<DecayCard>,
        also_charged: Vec<WatchedCard>,
        watched: Vec<WatchedCard>,
    },
    Volume {
        volume: VolumeCard,
        through_fixture: bool,
        from: EndWord,
    },
    RigCheck(RigRunCard),
    Bucket {
        by: BucketWord,
        fillings: Vec<FillingCard>,
        caught_uncertainty_l_or_kg: f64,
        timing_uncertainty_s: f64,
        water_temperature_deg_c: Option<f64>,
    },
    Note {
        text: String,
    },
    Treatment {
        treatment: TreatmentWord,
        remark: Option<String>,
    },
}

/// A falling pressure.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DecayCard {
    /// Logged: digest of the packed trace.
    Trace(Digest),
    /// Read twice.
    Read {
        /// At the start.
        start_bar_g: f64,
        /// At the end.
        end_bar_g: f64,
        /// Between.
        time_s: f64,
    },
}

/// A flow.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FlowCard {
    /// Logged: digest of the packed trace.
    Trace(Digest),
    /// One number.
    #[serde(rename = "mean_l_min")]
    Mean(f64),
}

/// A circuit that was watched or charged, and its pressure if it was seen.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WatchedCard {
    /// Circuit.
    pub circuit: String,
    /// Its pressure.
    pub decay: Option<DecayCard>,
}

/// How a filled volume was found.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum VolumeCard {
    /// Air of a known volume let in.
    AirExpansion {
        /// Known volume.
        reference_ml: f64,
        /// Pressure in it before.
        reference_bar_g: f64,
        /// Pressure in the circuit before.
        circuit_bar_g: f64,
        /// Pressure in both after.
        joined_bar_g: f64,
    },
    /// Water drained and measured, ml.
    #[serde(rename = "drained_ml")]
    Drained(UncertainCard),
}

/// What a reading of the rig was taken on.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum RigOnCard {
    /// Hoses and couplings joined.
    Fixture,
    /// A known orifice.
    Orifice {
        /// Its flow factor.
        flow_factor_m3_h: f64,
        /// Relative standard uncertainty.
        relative: f64,
    },
    /// Gauges open to the air.
    AtRest,
    /// Both gauges on one pressure.
    ShutOff,
}

/// A reading of the rig on a known thing.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[expect(missing_docs, reason = "the fields are those of `bench::visit::RigRun`, with their unit")]
pub struct RigRunCard {
    pub on: RigOnCard,
    pub flow_l_min: Option<f64>,
    pub pressure_in_bar_g: Option<f64>,
    pub pressure_out_bar_g: Option<f64>,
    pub water_temperature_deg_c: Option<f64>,
    pub reference_pressure_bar_g: Option<ReferenceCard>,
    pub reference_temperature_deg_c: Option<ReferenceCard>,
}

/// What a reference instrument showed, in the unit that the field's name ends in.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ReferenceCard {
    /// Shown.
    pub shown: f64,
    /// Standard uncertainty, in bar or K.
    pub standard: f64,
}

/// One filling of a bucket.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FillingCard {
    /// Water caught.
    pub caught_l_or_kg: f64,
    /// Time.
    pub time_s: f64,
    /// What the meter showed.
    pub meter_l_min: f64,
}
