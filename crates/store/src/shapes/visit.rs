//! Visits and hook-ups as they are stored.

use bench::visit::{HookUp, Visit};
use serde::{Deserialize, Serialize};

use super::RigCard;

/// A visit, version 1: who began it when, on which rig as it then stood.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct VisitCard {
    /// Mould.
    pub mould: String,
    /// Name of the visit, unique for its mould.
    pub visit: String,
    /// When it began.
    pub started: jiff::Timestamp,
    /// Who does it, in the words of the bench.
    pub by: String,
    /// The rig as it stood that day; a rig that is changed later leaves this as it is.
    pub rig: RigCard,
}

/// Which circuit was on which port, version 1.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct HookUpCard {
    /// Mould.
    pub mould: String,
    /// Visit.
    pub visit: String,
    /// Ports in the order in which they were used; a port or circuit that comes again begins a further stage.
    pub ports: Vec<PortCard>,
}

/// A circuit on a port.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PortCard {
    /// Port of the rig, from 1.
    pub port: u32,
    /// Circuit.
    pub circuit: String,
}

/// How a visit ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum OutcomeWord {
    /// Back to the press.
    Release,
    /// Held, with something missing.
    Hold,
}

/// The end of a visit, version 1.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct VisitEndCard {
    /// Mould.
    pub mould: String,
    /// Visit.
    pub visit: String,
    /// When it ended.
    pub at: jiff::Timestamp,
    /// How.
    pub outcome: OutcomeWord,
    /// What is missing, or what else is to be said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remark: Option<String>,
}

impl VisitCard {
    /// The card of a visit.
    #[must_use]
    pub fn of(visit: &Visit) -> Self {
        Self {
            mould: visit.mould.0.clone(),
            visit: visit.id.clone(),
            started: visit.started,
            by: visit.by.clone(),
            rig: RigCard::of(&visit.rig),
        }
    }
}

impl HookUpCard {
    /// The hook-ups of a visit; nothing where none were noted.
    #[must_use]
    pub fn of(visit: &Visit) -> Option<Self> {
        let port = |hook_up: &HookUp| PortCard { port: hook_up.port, circuit: hook_up.circuit.0.clone() };
        (!visit.hook_ups.is_empty()).then(|| Self {
            mould: visit.mould.0.clone(),
            visit: visit.id.clone(),
            ports: visit.hook_ups.iter().map(port).collect(),
        })
    }
}
