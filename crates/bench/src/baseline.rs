//! A baseline that a visit has earned.

use crate::finding::CircuitFinding;
use crate::mould::{Baseline, Others};
use crate::visit::{Visit, What};

impl Baseline {
    /// The baseline that this finding of this visit gives: flow factor and filled volume, with the wider side of their 95 %
    /// intervals over 1.96 as standard uncertainty. Nothing where no flow was measured.
    ///
    /// Whether a circuit was then in the state that is worth a baseline is for people to say: new, or freshly cleaned.
    #[must_use]
    pub fn earned(found: &CircuitFinding, visit: &Visit) -> Option<Self> {
        let flow_factor = found.flow_factor_m3_h.as_ref()?;
        let others = visit.entries.iter().rev().find_map(|entry| match &entry.what {
            What::Flow(flow) if entry.circuit.as_ref() == Some(&found.id) => Some(flow.others),
            _ => None,
        });
        let day = crate::mould::Earlier::day_of(visit.started);
        Some(Self {
            flow_factor_m3_h: flow_factor.uncertain(),
            filled_volume_ml: found.filled_volume_ml.as_ref().map(calc::estimate::Estimate::uncertain),
            sonic_conductance_dm3_s_bar: None,
            date: Some(day.to_string()),
            others: others.unwrap_or(Others::Closed),
            sweep: None,
        })
    }
}
