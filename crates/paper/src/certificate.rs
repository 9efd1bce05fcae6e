//! The certificate of a visit.

use bench::account::{self, Conditions, Done};
use bench::finding::{CircuitFinding, Findings};
use bench::judge::cautions::AUTHORITY;
use bench::visit::Visit;
use report::plain;
use serde_json::{Value as Json, json};

use crate::parts::{self, toned};
use crate::press::{Form, PaperError, print};
use crate::qr;

/// An instrument on record and its calibration on the day of the visit.
#[derive(Clone, Debug)]
pub struct Instrument {
    /// Inventory or serial number.
    pub id: String,
    /// What it measures.
    pub measures: String,
    /// Date of the calibration, YYYY-MM-DD.
    pub calibrated: Option<String>,
    /// Date until which it holds, YYYY-MM-DD.
    pub until: Option<String>,
    /// Who calibrated, and the number of that certificate.
    pub by: Option<String>,
}

/// A gate that was opened or shut against its rule.
#[derive(Clone, Debug)]
pub struct Override {
    /// Circuit.
    pub circuit: String,
    /// Gate.
    pub gate: String,
    /// Whether it was opened.
    pub opened: bool,
    /// Who signed it.
    pub by: String,
    /// When.
    pub at: jiff::Timestamp,
    /// The written reason.
    pub because: String,
}

/// How a visit ended.
#[derive(Clone, Debug)]
pub struct VisitEnd {
    /// Released, or held.
    pub released: bool,
    /// When.
    pub at: jiff::Timestamp,
    /// Who said so.
    pub by: String,
    /// What is missing, or what else was said.
    pub remark: Option<String>,
}

/// What a certificate says, and what it rests on.
#[derive(Clone, Debug)]
pub struct Certificate<'a> {
    /// Its number.
    pub number: String,
    /// Name of the plant; may be empty.
    pub plant: String,
    /// Whose tool it is.
    pub owner: Option<String>,
    /// When it is issued.
    pub issued: jiff::Timestamp,
    /// Who issues it.
    pub issued_by: String,
    /// What was found.
    pub findings: &'a Findings,
    /// What was found of the mould as it came in; none if nothing was opened, repaired or descaled.
    pub as_received: Option<&'a Findings>,
    /// The visit itself: rig, readings, treatments.
    pub visit: &'a Visit,
    /// How it ended; none while it runs.
    pub end: Option<VisitEnd>,
    /// Gates that were overridden.
    pub overrides: Vec<Override>,
    /// Instruments of the rig on record.
    pub instruments: Vec<Instrument>,
    /// Digest of the entries that the findings rest on.
    pub digest: String,
    /// Last entry that the findings knew, and its digest.
    pub known_to: String,
    /// Version of the program.
    pub program: &'a str,
    /// Address that says whether the certificate still holds.
    pub address: String,
}

/// The certificate as a PDF.
///
/// # Errors
/// [`PaperError`]: an address too long for a QR code, or a fault of this program.
pub fn certificate(of: &Certificate<'_>) -> Result<Vec<u8>, PaperError> {
    let findings = of.findings;
    let data = json!({
        "title": title(of),
        "number": of.number,
        "plant": of.plant,
        "owner": of.owner,
        "outcome": outcome(of),
        "issued": format!("{} by {}", plain::moment(of.issued), of.issued_by),
        "card": parts::card(findings),
        "verdict": parts::verdict(findings),
        "circuits": parts::circuits(findings),
        "before_and_after": before_and_after(of),
        "treatments": treatments(of.visit),
        "overrides": of.overrides.iter().map(overridden).collect::<Vec<_>>(),
        "conditions": conditions(of.visit),
        "untested": account::untested(findings),
        "never_tested": account::NEVER_TESTED,
        "rig": parts::rig(&of.visit.rig, findings.started),
        "instruments": of.instruments.iter().map(|one| instrument(one, findings.started)).collect::<Vec<_>>(),
        "doubts": parts::doubts(findings),
        "limits": parts::limits(findings),
        "numbers": parts::NUMBERS,
        "advice": AUTHORITY,
        "proof": {
            "digest": of.digest,
            "known_to": of.known_to,
            "method": findings.method,
            "program": of.program,
            "address": of.address,
            "code": qr::code(&of.address)?,
        },
    });
    print(Form {
        template: include_str!("../templates/certificate.typ"),
        data,
        ident: format!("certificate {}", of.number),
        at: of.issued,
        program: of.program,
    })
}

fn title(of: &Certificate<'_>) -> &'static str {
    match &of.end {
        Some(end) if end.released => "Release certificate",
        _ => "Certificate of a visit",
    }
}

/// The outcome as the largest words of the paper, and what belongs to it.
fn outcome(of: &Certificate<'_>) -> Json {
    let who = |end: &VisitEnd| format!("{} by {}", plain::moment(end.at), end.by);
    match &of.end {
        Some(end) if end.released => {
            json!({ "word": toned("Released for the press", "plain"), "under": who(end), "remark": end.remark })
        }
        Some(end) => {
            let word = toned("Held: not released for the press", "alarm");
            json!({ "word": word, "under": who(end), "remark": end.remark })
        }
        None => json!({
            "word": toned("Not released", "care"),
            "under": "The visit has not ended. This paper says what has been found so far and releases nothing.",
        }),
    }
}

/// Each circuit as it came in and as it is now; nothing where nothing was opened, repaired or descaled.
fn before_and_after(of: &Certificate<'_>) -> Vec<Json> {
    let Some(received) = of.as_received else { return Vec::new() };
    let state = |one: &CircuitFinding| {
        json!({
            "air": parts::tightness(one),
            "leak_rate": one.leak_rate_mbar_l_s.as_ref().map(|rate| plain::amount(rate, "mbar·l/s")),
            "passage": parts::passage(one.passage),
            "flow": parts::flow(one),
            "flow_factor": one.flow_factor_m3_h.as_ref().map(|factor| plain::amount(factor, "m³/h")),
        })
    };
    let row = |now: &CircuitFinding| {
        let before = received.circuits.iter().find(|one| one.id == now.id)?;
        let done: Vec<&str> = account::treatments(of.visit)
            .iter()
            .filter(|done| done.kind.changes_circuit())
            .filter(|done| done.circuit.as_ref().is_none_or(|circuit| *circuit == now.id))
            .map(|done| account::treatment_words(done.kind))
            .collect();
        (!done.is_empty()).then(|| {
            json!({
                "id": now.id.0,
                "before": state(before),
                "done": done.join(", "),
                "after": state(now),
                "compared_with": now.compared_with,
            })
        })
    };
    of.findings.circuits.iter().filter_map(row).collect()
}

/// What was done: the same thing that was done to several circuits, one after the other, in one line.
fn treatments(visit: &Visit) -> Vec<Json> {
    let mut lines: Vec<(Vec<String>, Done)> = Vec::new();
    for done in account::treatments(visit) {
        let name = done.circuit.as_ref().map_or_else(|| "whole mould".to_owned(), |id| id.0.clone());
        match lines.last_mut() {
            Some((names, last)) if (last.kind, &last.remark) == (done.kind, &done.remark) => {
                if !names.contains(&name) {
                    names.push(name);
                }
            }
            _ => lines.push((vec![name], done)),
        }
    }
    let line = |(names, done): &(Vec<String>, Done)| {
        let when = done.at.map_or_else(|| "time not noted".to_owned(), plain::moment);
        let remark = done.remark.clone().unwrap_or_default();
        json!([plain::capital(account::treatment_words(done.kind)), names.join(", "), when, remark])
    };
    lines.iter().map(line).collect()
}

fn overridden(one: &Override) -> Json {
    let word = if one.opened { "opened against its rule" } else { "shut by a person" };
    json!([one.circuit, one.gate, word, format!("{}, {}", one.by, plain::moment(one.at)), one.because])
}

/// Under which conditions the readings were taken, in sentences.
fn conditions(visit: &Visit) -> Vec<String> {
    let noted = Conditions::of(visit);
    let mut sentences = vec!["Measured on the bench: the mould cold and unclamped.".to_owned()];
    if let Some(air) = noted.air_bar_g {
        sentences
            .push(format!("Highest air pressure of the leak-downs: {} (gauge).", plain::span(air, "bar")));
    }
    if let Some(water) = noted.water_deg_c {
        sentences.push(format!("Water for the flow readings: {}.", plain::span(water, "°C")));
    }
    if let Some(steel) = noted.steel_deg_c {
        sentences.push(format!("Steel: {}.", plain::span(steel, "°C")));
    }
    sentences
}

fn instrument(one: &Instrument, started: jiff::Timestamp) -> Json {
    let made = match (&one.calibrated, &one.by) {
        (Some(on), Some(by)) => format!("{on}, {by}"),
        (Some(on), None) => on.clone(),
        (None, _) => "none on record".to_owned(),
    };
    json!([one.id, one.measures, made, parts::calibration(one.until.as_ref(), started)])
}
