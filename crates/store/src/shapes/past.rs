//! The past of a circuit and the flow points of its baseline as they are stored.

use std::collections::BTreeMap;

use bench::finding::BoreState;
use bench::mould::{BaselineSweep, Circuit, Done, Earlier, EarlierFound, Mould};
use calc::hydraulics::flow_factor::{FlowPoint, PointUncertainty};
use calc::quantity::{PressureDrop, Temperature, VolumeFlow};
use serde::{Deserialize, Serialize};

use super::{UncertainCard, exactly, words};

words! {
    /// What a bore looks like inside.
    StateWord for BoreState {
        /// As new.
        AsNew,
        /// A layer all along.
        EvenDeposit,
        /// One narrow place.
        LocalPlug,
        /// Both.
        Mixed,
        /// Rougher wall, same width.
        Rough,
        /// Not known.
        Unknown,
    }
}
words! {
    /// What was done to a circuit.
    DoneWord for Done {
        /// Deposit dissolved.
        Descaled,
        /// A rod or brush pushed through.
        Rodded,
        /// Opened and repaired.
        Repaired,
        /// Treated otherwise.
        Treated,
    }
}

/// What is told of a circuit's past from before the record, version 1.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PastCard {
    /// Mould.
    pub mould: String,
    /// Circuit.
    pub circuit: String,
    /// Days, in the order in which they were told.
    pub days: Vec<PastDay>,
}

/// One day of it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PastDay {
    /// The day.
    pub date: jiff::civil::Date,
    /// Visit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub visit: Option<String>,
    /// What was found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub found: Option<PastFound>,
    /// What was done afterwards.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub done: Vec<DoneWord>,
    /// In the technician's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remark: Option<String>,
}

/// What was found of a bore.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PastFound {
    /// Probabilities of states.
    pub state: BTreeMap<StateWord, f64>,
    /// The same before the readings of that day.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub before: BTreeMap<StateWord, f64>,
    /// Thickness of the layer.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub thickness_mm: Option<UncertainCard>,
}

/// Flow points of a baseline, with the standard uncertainties of that day.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SweepCard {
    /// Points.
    pub points: Vec<SweepPoint>,
    /// Flow meter.
    pub flow_relative: f64,
    /// Pressure drop.
    pub drop_bar: f64,
    /// Thermometer.
    pub temperature_k: f64,
}

/// One flow point.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SweepPoint {
    /// Flow.
    pub flow_l_min: f64,
    /// Pressure drop, hoses removed.
    pub pressure_drop_bar: f64,
    /// Water.
    pub water_temperature_deg_c: f64,
}

impl PastCard {
    /// The past of a circuit; nothing where none is told.
    #[must_use]
    pub fn of(mould: &Mould, circuit: &Circuit) -> Option<Self> {
        (!circuit.earlier.is_empty()).then(|| Self {
            mould: mould.id.0.clone(),
            circuit: circuit.id.0.clone(),
            days: circuit.earlier.iter().map(day_card).collect(),
        })
    }

    pub(super) fn earlier(&self) -> Vec<Earlier> {
        self.days.iter().map(day).collect()
    }
}

fn day_card(day: &Earlier) -> PastDay {
    let words = |states: &BTreeMap<BoreState, f64>| {
        states.iter().map(|(state, probability)| ((*state).into(), *probability)).collect()
    };
    PastDay {
        date: day.date,
        visit: day.visit.clone(),
        found: day.found.as_ref().map(|found| PastFound {
            state: words(&found.state),
            before: words(&found.before),
            thickness_mm: found.thickness_mm.map(Into::into),
        }),
        done: day.done.iter().map(|done| (*done).into()).collect(),
        remark: day.remark.clone(),
    }
}

fn day(card: &PastDay) -> Earlier {
    let states = |words: &BTreeMap<StateWord, f64>| {
        words.iter().map(|(word, probability)| ((*word).into(), *probability)).collect()
    };
    Earlier {
        date: card.date,
        visit: card.visit.clone(),
        found: card.found.as_ref().map(|found| EarlierFound {
            state: states(&found.state),
            before: states(&found.before),
            thickness_mm: found.thickness_mm.map(Into::into),
        }),
        done: card.done.iter().map(|done| (*done).into()).collect(),
        remark: card.remark.clone(),
    }
}

impl From<&BaselineSweep> for SweepCard {
    fn from(sweep: &BaselineSweep) -> Self {
        let point = |point: &FlowPoint| SweepPoint {
            flow_l_min: exactly(point.flow, |flow| flow.l_min(), VolumeFlow::from_l_min),
            pressure_drop_bar: exactly(point.drop, |drop| drop.bar(), PressureDrop::from_bar),
            water_temperature_deg_c: exactly(
                point.temperature,
                |water| water.deg_c(),
                Temperature::from_deg_c,
            ),
        };
        let PointUncertainty { flow_relative, drop_bar, temperature_k } = sweep.uncertainty;
        Self { points: sweep.points.iter().map(point).collect(), flow_relative, drop_bar, temperature_k }
    }
}

impl From<&SweepCard> for BaselineSweep {
    fn from(card: &SweepCard) -> Self {
        let point = |point: &SweepPoint| FlowPoint {
            flow: VolumeFlow::from_l_min(point.flow_l_min),
            drop: PressureDrop::from_bar(point.pressure_drop_bar),
            temperature: Temperature::from_deg_c(point.water_temperature_deg_c),
        };
        let SweepCard { flow_relative, drop_bar, temperature_k, .. } = *card;
        Self {
            points: card.points.iter().map(point).collect(),
            uncertainty: PointUncertainty { flow_relative, drop_bar, temperature_k },
        }
    }
}
