//! `borewise verify`: whether a certificate is on record, what it says, and whether it still holds.

use std::fs;
use std::path::Path;

use calc::estimate::Estimate;
use calc::form::Fault;
use report::plain::{moment, percent};
use serde_json::json;
use store::read::{CertificateNumber, Issued, Said, Standing};
use store::shapes::{CircuitFindingCard, OutcomeWord, VisitEndCard};
use store::{Digest, Entry, Reader, Store, StoreError};

use crate::files;
use crate::output::{Failure, Verdict, print};
use crate::record::failed;

/// Coverage of the intervals on record.
const COVERAGE: f64 = 0.95;

/// What is asked.
enum Asked {
    File(Digest, Option<CertificateNumber>),
    Number(CertificateNumber),
}

/// What is known of it.
struct Known {
    issued: Issued,
    said: Said,
    standing: Standing,
    later: Vec<CertificateNumber>,
    /// Whether the file that was asked about is the document itself.
    same_document: bool,
}

/// Looks a certificate up and says what is known of it.
pub fn run(
    file: Option<&Path>,
    number: Option<&str>,
    record: &Path,
    as_json: bool,
) -> Result<Verdict, Failure> {
    let asked = asked(file, number)?;
    let store = Store::open(record).map_err(|error| failed(record, &error))?;
    let known = store.read(|reader| known(reader, &asked)).map_err(|error| failed(record, &error))?;
    let holds = known.as_ref().is_some_and(|known| {
        known.same_document && matches!(known.standing, Standing::Holds | Standing::KnownSince(_))
    });
    if as_json {
        print(&format!("{:#}", document(known.as_ref(), holds)))?;
    } else {
        print(&words(known.as_ref(), &asked))?;
    }
    Ok(if holds { Verdict::Done } else { Verdict::No })
}

fn asked(file: Option<&Path>, number: Option<&str>) -> Result<Asked, Failure> {
    if let Some(text) = number {
        let number = CertificateNumber::parse(text).ok_or_else(|| {
            let fault = Fault::new(
                "number",
                "not a certificate's number",
                "write it as printed, such as 7f3a-9c21-04bd",
            );
            Failure::input(&fault.with_value(text))
        })?;
        return Ok(Asked::Number(number));
    }
    let file = file.unwrap_or(Path::new(""));
    let bytes = fs::read(file).map_err(|error| files::unreadable(file, &error))?;
    Ok(Asked::File(Digest::of(&bytes), claimed(&bytes)))
}

/// The number that a file claims in its title.
fn claimed(bytes: &[u8]) -> Option<CertificateNumber> {
    const BEFORE: &[u8] = b"Certificate ";
    const LETTERS: usize = 14;
    let places = bytes.windows(BEFORE.len()).enumerate().filter(|(_, window)| *window == BEFORE);
    places
        .filter_map(|(at, _)| {
            std::str::from_utf8(bytes.get(at + BEFORE.len()..at + BEFORE.len() + LETTERS)?).ok()
        })
        .find_map(CertificateNumber::parse)
}

fn known(reader: &Reader<'_>, asked: &Asked) -> Result<Option<Known>, StoreError> {
    let (issued, same_document) = match asked {
        Asked::Number(number) => (reader.certificate(number)?, true),
        Asked::File(digest, claims) => match (reader.certificate_of(*digest)?, claims) {
            (Some(issued), _) => (Some(issued), true),
            (None, Some(number)) => (reader.certificate(number)?, false),
            (None, None) => (None, false),
        },
    };
    let Some(issued) = issued else { return Ok(None) };
    let all = reader.certificates(&issued.card.mould, &issued.card.visit)?;
    let later =
        all.into_iter().filter(|other| other.entry.number > issued.entry.number && other.withdrawn.is_none());
    Ok(Some(Known {
        said: reader.said(&issued)?,
        standing: reader.standing(&issued)?,
        later: later.map(|other| other.number).collect(),
        issued,
        same_document,
    }))
}

fn words(known: Option<&Known>, asked: &Asked) -> String {
    let Some(known) = known else {
        return match asked {
            Asked::Number(number) => format!("No certificate {number} is on this record."),
            Asked::File(..) => {
                "This document is not on this record: it is no certificate of this plant, or it was altered."
                    .into()
            }
        };
    };
    let Known { issued, said, .. } = known;
    let place =
        format!("certificate {} of mould {}, visit {}", issued.number, issued.card.mould, issued.card.visit);
    let mut lines = vec![match asked {
        Asked::Number(_) => format!("On record: {place}."),
        Asked::File(..) if known.same_document => format!("This very document is on record: {place}."),
        Asked::File(..) => {
            format!(
                "This file claims to be {place}, and it is not the document on record: it was altered or made elsewhere."
            )
        }
    }];
    let at = moment(issued.entry.at());
    lines.push(format!("Issued {at} by {}, entry {}.", issued.entry.person, issued.entry.number));
    lines.push(String::new());
    lines.push("It says:".into());
    lines.push(format!("  {}", outcome(said.end.as_ref())));
    lines.push(format!(
        "  {}. Fit for the press: {}",
        said.finding.headline,
        spaced(&said.finding.fit_for_press)
    ));
    lines.extend(said.finding.circuits.iter().map(|one| format!("  {}", circuit(one))));
    lines.push(String::new());
    lines.push(known.standing.to_string());
    if let Standing::KnownSince(entries) | Standing::Changed(entries) = &known.standing {
        lines.extend(entries.iter().map(|entry| format!("  {}", since(entry))));
    }
    if !known.later.is_empty() {
        let numbers: Vec<String> = known.later.iter().map(ToString::to_string).collect();
        lines.push(format!("Later certificates of this visit: {}.", numbers.join(", ")));
    }
    lines.join("\n")
}

/// How the visit had ended, in words.
fn outcome(end: Option<&VisitEndCard>) -> String {
    match end {
        None => "Not released: the visit had not ended.".into(),
        Some(end) => {
            let word = if end.outcome == OutcomeWord::Release { "Released" } else { "Held, not released" };
            let remark = end.remark.as_ref().map(|remark| format!(": {remark}")).unwrap_or_default();
            format!("{word}, {}{remark}", moment(end.at))
        }
    }
}

fn circuit(one: &CircuitFindingCard) -> String {
    let flow = match one.against_baseline_percent {
        Some((value, low, high)) => {
            let of_what = Estimate { value, low, high, coverage: COVERAGE };
            format!("flow {} of what it should be", percent(&of_what))
        }
        None if one.flow_factor_m3_h.is_some() => "flow measured, nothing to compare it with".into(),
        None => "flow not measured".into(),
    };
    let [air, passage, next] = [&one.tightness, &one.passage, &one.next_step].map(|word| spaced(word));
    format!("{}: air held in: {air}; air passage: {passage}; {flow}; next step: {next}", one.circuit)
}

fn spaced(word: &str) -> String {
    word.replace('-', " ")
}

fn since(entry: &Entry) -> String {
    let reason = entry.reason.as_ref().map(|reason| format!(": {reason}")).unwrap_or_default();
    format!(
        "entry {}, {}, {} about {} by {}{reason}",
        entry.number,
        moment(entry.at()),
        spaced(&entry.kind),
        entry.subject,
        entry.person
    )
}

fn document(known: Option<&Known>, holds: bool) -> serde_json::Value {
    let Some(known) = known else { return json!({ "on_record": false, "holds": false }) };
    let (word, since) = match &known.standing {
        Standing::Holds => ("holds", &[][..]),
        Standing::KnownSince(entries) => ("known-since", entries.as_slice()),
        Standing::Changed(entries) => ("changed", entries.as_slice()),
        Standing::Withdrawn(_) => ("withdrawn", &[][..]),
    };
    json!({
        "on_record": known.same_document,
        "holds": holds,
        "standing": word,
        "since": since.iter().map(|entry| entry.number).collect::<Vec<_>>(),
        "number": known.issued.number.to_string(),
        "mould": known.issued.card.mould,
        "visit": known.issued.card.visit,
        "issued": known.issued.entry.at().to_string(),
        "by": known.issued.entry.person,
        "entry": known.issued.entry.number,
        "outcome": known.said.end.as_ref().map(|end| if end.outcome == OutcomeWord::Release { "release" } else { "hold" }),
        "fit_for_press": known.said.finding.fit_for_press,
        "later": known.later.iter().map(ToString::to_string).collect::<Vec<_>>(),
    })
}
