//! Gates that a named person opened or shut against the rule, and how far that holds.
//!
//! An override covers the obstacles that its giver saw. An obstacle that comes later shuts the gate again, and an obstacle
//! by which people could be hurt is never overridden.

use crate::finding::{CircuitFinding, Gate, GateName, Gates, Overridden, Warning};
use crate::mould::CircuitId;

/// A gate opened or shut by a person against the rule.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Override {
    /// Circuit.
    pub circuit: CircuitId,
    /// Gate.
    pub gate: GateName,
    /// Whether it is to be open.
    pub open: bool,
    /// Short name of the person who decided.
    pub by: String,
    /// When.
    pub at: jiff::Timestamp,
    /// Written reason.
    pub because: String,
    /// Fixed words of the obstacles that the person saw; see [`Gate::obstacles`].
    pub against: Vec<String>,
}

impl Override {
    /// Who decided, when and why, in words.
    fn in_words(&self) -> String {
        format!("by {} on {}: \u{201c}{}\u{201d}", self.by, self.at.strftime("%Y-%m-%d"), self.because)
    }

    fn holds(&self, rule: &Gate) -> Overridden {
        let (by, because) = (self.by.clone(), self.because.clone());
        Overridden { by, at: self.at, because, rule: rule.reason.clone() }
    }
}

/// The gates as they stand with what was decided against the rule; of several decisions about a gate the last counts.
pub(crate) fn decided(gates: Gates, circuit: &CircuitId, overrides: &[Override]) -> Gates {
    let last = |gate: GateName| overrides.iter().rfind(|one| one.circuit == *circuit && one.gate == gate);
    Gates {
        wet: one(gates.wet, last(GateName::Wet)),
        descale: one(gates.descale, last(GateName::Descale)),
        release: one(gates.release, last(GateName::Release)),
    }
}

fn one(rule: Gate, decision: Option<&Override>) -> Gate {
    let Some(decision) = decision.filter(|decision| decision.open != rule.open) else { return rule };
    if !decision.open {
        let reason =
            format!("shut against the rule {}; by the rule it is open: {}", decision.in_words(), rule.reason);
        return Gate { open: false, reason, overridden: Some(decision.holds(&rule)), ..rule };
    }
    if let Some(firm) = rule.firm {
        let reason = format!("{}; the override {} does not count: {firm}", rule.reason, decision.in_words());
        return Gate { reason, ..rule };
    }
    let seen = |obstacle: &&'static str| decision.against.iter().any(|word| word == obstacle);
    if !rule.obstacles.iter().all(seen) {
        let reason = format!(
            "{}; this is more than was known when it was overridden {}",
            rule.reason,
            decision.in_words()
        );
        return Gate { reason, ..rule };
    }
    let reason = format!("opened against the rule {}; the rule says: {}", decision.in_words(), rule.reason);
    Gate { open: true, reason, overridden: Some(decision.holds(&rule)), ..rule }
}

/// What the reader must know: each gate that stands against the rule.
pub(crate) fn warnings(circuits: &[CircuitFinding]) -> Vec<Warning> {
    let mut warnings = Vec::new();
    for found in circuits {
        for name in GateName::ALL {
            let gate = found.gates.get(name);
            if gate.overridden.is_some() {
                let text = format!("the gate \u{2018}{}\u{2019} was {}", name.word(), gate.reason);
                warnings.push(Warning::about(&found.id, "gate-overridden", text));
            }
        }
    }
    warnings
}
