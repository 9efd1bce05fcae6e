//! Hook-ups by stage, with direction and jumpers, as they are stored.

use bench::mould::CircuitId;
use bench::visit::HookUp;
use serde::{Deserialize, Serialize};

/// Which circuit was on which port, version 2: stage by stage, with its direction and with jumpers.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct HookUpCard2 {
    /// Mould.
    pub mould: String,
    /// Visit.
    pub visit: String,
    /// Ports in use, stage by stage.
    pub ports: Vec<PortCard2>,
}

/// A port in one stage and what hangs on it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PortCard2 {
    /// Stage of the visit, from 1: hoses are moved between stages.
    pub stage: u32,
    /// Port of the rig, from 1.
    pub port: u32,
    /// Circuits in the order in which the supply reaches them; more than one are joined by jumpers.
    pub circuits: Vec<OnPortCard>,
}

/// A circuit on a port.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct OnPortCard {
    /// Circuit.
    pub circuit: String,
    /// Whether the supply goes into its outlet instead of its inlet.
    #[serde(default, skip_serializing_if = "core::ops::Not::not")]
    pub reversed: bool,
}

impl HookUpCard2 {
    /// The hook-ups that stand for one circuit each. What is read through a jumper belongs to no circuit alone, so that
    /// circuits behind one count as not hooked up in that stage.
    #[must_use]
    pub fn alone(&self) -> Vec<HookUp> {
        let one = |on: &PortCard2| match on.circuits.as_slice() {
            [only] => Some(HookUp { port: on.port, circuit: CircuitId(only.circuit.clone()) }),
            _ => None,
        };
        let mut ports: Vec<&PortCard2> = self.ports.iter().collect();
        ports.sort_by_key(|on| on.stage);
        ports.into_iter().filter_map(one).collect()
    }
}
