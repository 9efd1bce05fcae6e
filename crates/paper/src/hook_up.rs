//! The hook-up sheet: which hose goes where.

use std::collections::BTreeMap;

use bench::finding::Findings;
use bench::judge::cautions::{AIR, AUTHORITY, HOSES, TRAPPED};
use bench::mould::CircuitId;
use report::plain;
use serde_json::{Value as Json, json};

use crate::parts;
use crate::press::{Form, PaperError, print};

/// A port in one stage, and what hangs on it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct HosedPort {
    /// Stage of the visit, from 1: hoses are moved between stages.
    pub stage: u32,
    /// Port of the rig.
    pub port: u32,
    /// Circuits in the order in which the supply reaches them, with whether it goes into the outlet; more than one are
    /// joined by jumpers.
    pub circuits: Vec<(CircuitId, bool)>,
}

impl HosedPort {
    fn line(&self, place: impl Fn(&CircuitId) -> Option<String>) -> Json {
        let end = |(id, reversed): &(CircuitId, bool), supply: bool| {
            format!("{id} {}", if *reversed == supply { "OUT" } else { "IN" })
        };
        let jumpers = self.circuits.iter().zip(self.circuits.iter().skip(1));
        let places = self.circuits.iter().filter_map(|(id, _)| place(id));
        json!({
            "port": self.port.to_string(),
            "circuit": self.circuits.iter().map(|(id, _)| id.0.as_str()).collect::<Vec<_>>().join(", "),
            "place": places.collect::<Vec<_>>().join("; "),
            "supply": self.circuits.first().map(|first| end(first, true)),
            "jumpers": jumpers.map(|(from, to)| format!("{} to {}", end(from, false), end(to, true))).collect::<Vec<_>>(),
            "return": self.circuits.last().map(|last| end(last, false)),
            "reversed": self.circuits.iter().any(|(_, reversed)| *reversed),
        })
    }
}

/// What a hook-up sheet says.
#[derive(Clone, Debug)]
pub struct HookUpSheet<'a> {
    /// What was found so far: circuits, their places, doubts about hoses.
    pub findings: &'a Findings,
    /// The ports of all stages.
    pub ports: &'a [HosedPort],
    /// Version of the program.
    pub program: &'a str,
}

/// The hook-up sheet as a PDF.
///
/// # Errors
/// [`PaperError::NotSet`]: a fault of this program.
pub fn hook_up_sheet(of: &HookUpSheet<'_>) -> Result<Vec<u8>, PaperError> {
    let findings = of.findings;
    let place =
        |id: &CircuitId| findings.circuits.iter().find(|one| one.id == *id).map(plain::place_in_mould);
    let mut stages: BTreeMap<u32, BTreeMap<u32, Json>> = BTreeMap::new();
    for on in of.ports {
        stages.entry(on.stage).or_default().insert(on.port, on.line(place));
    }
    let stages: Vec<Vec<Json>> = stages.into_values().map(|ports| ports.into_values().collect()).collect();
    let connected =
        |id: &str| of.ports.iter().flat_map(|on| &on.circuits).any(|(circuit, _)| circuit.0 == id);
    let rest: Vec<&str> =
        findings.circuits.iter().map(|one| one.id.0.as_str()).filter(|id| !connected(id)).collect();
    let doubts = findings.hook_up_doubts.iter().map(|doubt| {
        let ids: Vec<&str> = doubt.circuits.iter().map(|id| id.0.as_str()).collect();
        format!("{}, {}: {}", ids.join(", "), plain::hose_slip(doubt.kind), doubt.text)
    });
    let data = json!({
        "title": "Hook-up sheet",
        "card": parts::card(findings),
        "stages": stages,
        "not_connected": rest,
        "doubts": doubts.collect::<Vec<_>>(),
        "cautions": [TRAPPED, HOSES, AIR],
        "advice": AUTHORITY,
    });
    print(Form {
        template: include_str!("../templates/hook-up.typ"),
        data,
        ident: format!("hook-up sheet {} {}", findings.mould, findings.visit),
        at: findings.started,
        program: of.program,
    })
}
