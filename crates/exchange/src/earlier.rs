//! Findings of earlier visits, read back to become the past of a mould's circuits.

use std::collections::BTreeMap;

use bench::finding::BoreState;
use bench::mould::{CircuitId, Earlier, EarlierFound, Mould, MouldId};
use bench::visit::Visit;
use calc::estimate::{Uncertain, Z95};
use calc::form::{Fault, Value};
use sha2::{Digest, Sha256};

use crate::fault::{FileFault, FileFaults, Notice};
use crate::findings_json::FORMAT;
use crate::intake::{InputFile, hex};
use crate::json;
use crate::shapes::earlier::named;
use crate::shapes::{number, text, timestamp};

/// What one document of findings says of the bores of a mould.
#[derive(Clone, Debug, PartialEq)]
pub struct EarlierFindings {
    /// The file, with its digest.
    pub input: InputFile,
    /// The mould.
    pub mould: MouldId,
    /// The visit.
    pub visit: String,
    /// When it began.
    pub started: jiff::Timestamp,
    /// What was found, circuit by circuit.
    pub circuits: Vec<(CircuitId, EarlierFound)>,
    /// Circuits whose findings say nothing of their bore: no picture fitted, or their hoses were in doubt.
    pub doubtful: Vec<CircuitId>,
}

/// Reads a document of findings that Borewise wrote; `name` stands in its faults.
///
/// # Errors
/// Every fault in it.
pub fn read_findings(name: &str, bytes: &[u8]) -> Result<EarlierFindings, FileFaults> {
    let one = |fault: Fault| FileFaults(vec![FileFault::at(name, None, fault)]);
    let hint = "give a findings.json that borewise assess has written";
    let text = core::str::from_utf8(bytes).map_err(|_| one(Fault::new("", "not UTF-8 text", hint)))?;
    let read = json::read(text).map_err(|fault| one(Fault { hint: hint.to_owned(), ..*fault }))?;
    let mut reader = Reader { faults: read.duplicates };
    let found = reader.document(&read.value);
    match found {
        Some((mould, visit, started, (circuits, doubtful))) if reader.faults.is_empty() => {
            let input = InputFile { name: name.to_owned(), sha256: hex(&Sha256::digest(bytes)) };
            Ok(EarlierFindings { input, mould, visit, started, circuits, doubtful })
        }
        _ => {
            Err(FileFaults(reader.faults.into_iter().map(|fault| FileFault::at(name, None, fault)).collect()))
        }
    }
}

type Circuits = (Vec<(CircuitId, EarlierFound)>, Vec<CircuitId>);

#[derive(Default)]
struct Reader {
    faults: Vec<Fault>,
}

impl Reader {
    fn fault(&mut self, field: impl Into<String>, problem: impl Into<String>, hint: &str) {
        self.faults.push(Fault::new(field, problem, hint));
    }

    fn document(&mut self, value: &Value) -> Option<(MouldId, String, jiff::Timestamp, Circuits)> {
        if text(value, "format") != Some(FORMAT) {
            let fault = Fault::new(
                "format",
                "these are no findings that this program reads",
                format!("{FORMAT} is read"),
            );
            self.faults.push(fault.with_value(text(value, "format").unwrap_or("nothing")));
            return None;
        }
        let mould = self.word(value, "mould");
        let visit = self.word(value, "visit");
        let started = self.word(value, "started").and_then(|moment| match timestamp(&moment) {
            Ok(moment) => Some(moment),
            Err(fault) => {
                self.faults.push(fault.under("started"));
                None
            }
        });
        let Some(Value::List(list)) = value.get("circuits") else {
            self.fault("circuits", "missing, or no list", "give the document as it was written");
            return None;
        };
        let doubted = doubted(value);
        let (mut circuits, mut doubtful) = (Vec::new(), Vec::new());
        for (at, circuit) in list.iter().enumerate() {
            let Some(id) = text(circuit, "id").map(|id| CircuitId(id.to_owned())) else {
                self.fault(format!("circuits.{at}.id"), "missing", "give the document as it was written");
                continue;
            };
            match circuit.get("state_fits") {
                Some(Value::Flag(true)) if !doubted.contains(&id) => {
                    circuits.extend(self.circuit(circuit, at).map(|found| (id, found)));
                }
                // Without a reading there is no state.
                None | Some(Value::Null) => {}
                Some(_) => doubtful.push(id),
            }
        }
        Some((MouldId(mould?), visit?, started?, (circuits, doubtful)))
    }

    fn word(&mut self, value: &Value, name: &str) -> Option<String> {
        let word = text(value, name).map(str::to_owned);
        if word.is_none() {
            self.fault(name, "missing, or no text", "give the document as it was written");
        }
        word
    }

    fn circuit(&mut self, circuit: &Value, at: usize) -> Option<EarlierFound> {
        let state = self.states(circuit, "state", at)?;
        let before = match circuit.get("state_before") {
            None | Some(Value::Null) => BTreeMap::new(),
            Some(_) => self.states(circuit, "state_before", at)?,
        };
        let thickness_mm = circuit.get("deposit_thickness_mm").and_then(|layer| {
            let (low, high) = (number(layer, "low")?, number(layer, "high")?);
            let value = number(layer, "value").filter(|value| *value > 0.0 && high > low)?;
            Some(Uncertain::new(value, (high - low) / (2.0 * Z95)))
        });
        Some(EarlierFound { state, before, thickness_mm })
    }

    fn states(&mut self, circuit: &Value, name: &str, at: usize) -> Option<BTreeMap<BoreState, f64>> {
        let stated = circuit.get(name).map(named).unwrap_or_default();
        let sum: f64 = stated.values().sum();
        let sound = stated.values().all(|p| (0.0..=1.0).contains(p)) && (sum - 1.0).abs() < 0.01;
        if !sound || stated.len() != BoreState::ALL.len() {
            let problem = format!("the probabilities of the six states add up to {sum:.3}");
            self.fault(
                format!("circuits.{at}.{name}"),
                problem,
                "give the document as it was written: together 1",
            );
            return None;
        }
        Some(stated)
    }
}

/// Circuits whose hoses were called doubtful.
fn doubted(document: &Value) -> Vec<CircuitId> {
    let doubts = document.get("hook_up_doubts").map(Value::items).unwrap_or_default();
    let circuits =
        doubts.iter().flat_map(|doubt| doubt.get("circuits").map(Value::items).unwrap_or_default());
    circuits.filter_map(Value::as_text).map(|id| CircuitId(id.to_owned())).collect()
}

/// Adds what the documents say to the past of the mould's circuits. Documents of the visit itself or of later ones do not
/// count and are told of; where the mould file has the same day, its own words go before those of the document.
///
/// # Errors
/// A fault for each document of another mould.
pub fn take_up(
    mould: &mut Mould,
    visit: &Visit,
    documents: &[EarlierFindings],
) -> Result<Vec<Notice>, FileFaults> {
    let strangers: Vec<FileFault> = documents
        .iter()
        .filter(|document| document.mould != mould.id)
        .map(|document| {
            let problem = "these are findings of another mould";
            let fault = Fault::new("mould", problem, format!("the visit is one of mould {}", mould.id));
            FileFault::at(&document.input.name, None, fault.with_value(document.mould.0.as_str()))
        })
        .collect();
    if !strangers.is_empty() {
        return Err(FileFaults(strangers));
    }
    let mut notices = Vec::new();
    for (at, document) in documents.iter().enumerate() {
        let mut notice = |code, text: String| {
            notices.push(Notice { code, file: document.input.name.clone(), place: None, text });
        };
        let twice =
            |other: &EarlierFindings| other.started == document.started && other.visit == document.visit;
        if document.started >= visit.started {
            let text = format!("visit {} did not begin before this one and does not count", document.visit);
            notice("earlier-is-later", text);
        } else if documents.iter().take(at).any(twice) {
            notice("earlier-twice", format!("visit {} was given twice and counts once", document.visit));
        } else {
            add(mould, document, &mut notice);
        }
    }
    Ok(notices)
}

fn add(mould: &mut Mould, document: &EarlierFindings, notice: &mut impl FnMut(&'static str, String)) {
    let date = Earlier::day_of(document.started);
    let (mut strangers, mut twice) = (Vec::new(), Vec::new());
    for (id, found) in &document.circuits {
        let Some(circuit) = mould.circuits.iter_mut().find(|circuit| circuit.id == *id) else {
            strangers.push(id.0.as_str());
            continue;
        };
        let of_file =
            |day: &&mut Earlier| day.date == date && day.visit.as_ref().is_none_or(|v| *v == document.visit);
        match circuit.earlier.iter_mut().find(of_file) {
            Some(day) if day.found.is_some() => twice.push(id.0.as_str()),
            Some(day) => {
                day.found = Some(found.clone());
                day.visit = Some(document.visit.clone());
            }
            None => circuit.earlier.push(Earlier {
                date,
                visit: Some(document.visit.clone()),
                found: Some(found.clone()),
                done: Vec::new(),
                remark: None,
            }),
        }
    }
    let mut told = |code, ids: &[&str], what: &str| {
        if !ids.is_empty() {
            notice(code, format!("{}: {what}", ids.join(", ")));
        }
    };
    told(
        "earlier-unknown-circuit",
        &strangers,
        "this mould has no such circuits, and their findings do not count",
    );
    told(
        "earlier-twice",
        &twice,
        "the mould file says what was found on that day, and goes before this document",
    );
    let doubtful: Vec<&str> = document.doubtful.iter().map(|id| id.0.as_str()).collect();
    let what = "no picture of the bore fitted on that day, or the hoses were in doubt: what was found does not count";
    told("earlier-doubtful", &doubtful, what);
}
