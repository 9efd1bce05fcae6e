//! The hook-up sheet: which hose goes where.

use bench::account::stages;
use bench::finding::Findings;
use bench::judge::cautions::{AIR, AUTHORITY, HOSES, TRAPPED};
use bench::visit::Visit;
use report::plain;
use serde_json::{Value as Json, json};

use crate::parts;
use crate::press::{Form, PaperError, print};

/// What a hook-up sheet says.
#[derive(Clone, Debug)]
pub struct HookUpSheet<'a> {
    /// What was found so far: circuits, their places, doubts about hoses.
    pub findings: &'a Findings,
    /// The visit with its hook-ups.
    pub visit: &'a Visit,
    /// Version of the program.
    pub program: &'a str,
}

/// The hook-up sheet as a PDF.
///
/// # Errors
/// [`PaperError::NotSet`]: a fault of this program.
pub fn hook_up_sheet(of: &HookUpSheet<'_>) -> Result<Vec<u8>, PaperError> {
    let findings = of.findings;
    let place = |id: &str| findings.circuits.iter().find(|one| one.id.0 == id).map(plain::place_in_mould);
    let stages: Vec<Vec<Json>> = stages(of.visit)
        .iter()
        .map(|stage| {
            let mut stage: Vec<_> = stage.iter().collect();
            stage.sort_by_key(|(port, _)| *port);
            let line = |(port, circuit): &&(u32, bench::mould::CircuitId)| {
                json!({ "port": port.to_string(), "circuit": circuit.0, "place": place(&circuit.0) })
            };
            stage.iter().map(line).collect()
        })
        .collect();
    let connected = |id: &str| of.visit.hook_ups.iter().any(|hook_up| hook_up.circuit.0 == id);
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
