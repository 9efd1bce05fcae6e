//! What is read: moulds, visits and what was found, rigs, people, history.

use bench::finding::GateName;
use bench::ladder::ladder;
use calc::form::Value;
use exchange::findings_json::{Origin, document as findings_document};
use exchange::json::to_json;
use exchange::mould_json;
use exchange::one_reading::{List, written};
use exchange::shapes::rig_value;
use serde_json::Value as Json;
use store::read::Standing;
use store::{AsOf, Fact, Item, Reader, Subject};

use super::call::Call;
use super::operation::Answer;
use super::refusal::Refusal;
use super::shapes::*;
use crate::entry::hook_up::ports_of;
use crate::pages::paper::{not_here, numbered};
use crate::shown;

/// Entries of the history that are told at once unless the request says otherwise, and at most.
pub(super) const ENTRIES: (u32, u32) = (100, 1000);

type Answered = Result<Answer, Refusal>;

pub(super) fn moulds(call: &Call<'_>) -> Answered {
    let moulds = call.read(|reader| Ok(reader.moulds()?))?;
    Answer::shape(&Moulds { moulds: moulds.into_iter().map(Into::into).collect() })
}

pub(super) fn mould(call: &Call<'_>) -> Answered {
    let mould = call.read(|reader| Ok(reader.mould(call.name("mould"), AsOf::Now)?))?;
    Ok(Answer::Document(to_json(&mould_json::value(&mould))))
}

pub(super) fn circuits(call: &Call<'_>) -> Answered {
    let rows = call.read(|reader| {
        reader.mould(call.name("mould"), AsOf::Now)?;
        Ok(reader.circuits(call.name("mould"))?)
    })?;
    Answer::shape(&Circuits { circuits: rows.into_iter().map(Into::into).collect() })
}

/// A circuit with the fields of the mould file.
fn circuit_value(reader: &Reader<'_>, call: &Call<'_>) -> Result<Value, Refusal> {
    let (mould, id) = (call.name("mould"), call.name("circuit"));
    let file = mould_json::value(&reader.mould(mould, AsOf::Now)?);
    let circuits = file.get("circuit").map(Value::items).unwrap_or_default();
    let found = circuits.iter().find(|circuit| circuit.get("id").and_then(Value::as_text) == Some(id));
    found.cloned().ok_or_else(|| Refusal::unknown(format!("Mould {mould} has no circuit {id}.")))
}

pub(super) fn circuit(call: &Call<'_>) -> Answered {
    let (value, rows) = call.read(|reader| {
        let value = circuit_value(reader, call)?;
        Ok((value, reader.circuit_findings(call.name("mould"), call.name("circuit"))?))
    })?;
    let visits = rows.into_iter().map(|row| AtVisit {
        visit: row.visit,
        started: row.started.to_string(),
        tightness: row.tightness,
        passage: row.passage,
        flow_factor_m3_h: row.flow_factor_m3_h.map(Interval::of),
        against_baseline_percent: row.against_baseline_percent.map(Interval::of),
        next_step: row.next_step,
    });
    let mould = call.name("mould").to_owned();
    Answer::shape(&Circuit { mould, circuit: to_json(&value), visits: visits.collect() })
}

pub(super) fn pieces(call: &Call<'_>) -> Answered {
    let value = call.read(|reader| circuit_value(reader, call))?;
    let known = value.get("known").and_then(Value::as_text).unwrap_or("unknown").to_owned();
    let pieces = value.get("pieces").map_or_else(|| Json::Array(Vec::new()), to_json);
    Answer::shape(&Pieces { circuit: call.name("circuit").to_owned(), known, pieces })
}

pub(super) fn all_visits(call: &Call<'_>) -> Answered {
    let rows = call.read(|reader| Ok(reader.visits(None)?))?;
    Answer::shape(&Visits { visits: rows.into_iter().map(Into::into).collect() })
}

pub(super) fn visits(call: &Call<'_>) -> Answered {
    let rows = call.read(|reader| {
        reader.mould(call.name("mould"), AsOf::Now)?;
        Ok(reader.visits(Some(call.name("mould")))?)
    })?;
    Answer::shape(&Visits { visits: rows.into_iter().map(Into::into).collect() })
}

pub(super) fn visit(call: &Call<'_>) -> Answered {
    let (mould, id) = (call.name("mould"), call.name("visit"));
    let shape = call.read(|reader| {
        let row = known_visit(reader, mould, id)?;
        let items = reader.items(&Subject::visit(mould, id), AsOf::Now)?;
        let ports = items.iter().find_map(|item| ports_of(&item.fact)).unwrap_or_default();
        let certificates = reader.certificates(mould, id)?;
        Ok(Visit {
            row: row.into(),
            hook_up: ports.into_iter().map(Into::into).collect(),
            end: reader.visit_end(mould, id, AsOf::Now)?.map(|(card, _)| card.into()),
            finding: shown::of(call.app, reader, mould, id)?.entry,
            certificates: certificates.iter().map(|issued| issued.number.to_string()).collect(),
        })
    })?;
    Answer::shape(&shape)
}

/// The row of a visit.
pub(super) fn known_visit(
    reader: &Reader<'_>,
    mould: &str,
    visit: &str,
) -> Result<store::read::VisitRow, Refusal> {
    let row = reader.visits(Some(mould))?.into_iter().find(|row| row.id == visit);
    row.ok_or_else(|| Refusal::unknown(format!("Mould {mould} has no visit {visit} on record.")))
}

pub(super) fn findings(call: &Call<'_>) -> Answered {
    let (mould, visit) = (call.name("mould"), call.name("visit"));
    call.read(|reader| {
        known_visit(reader, mould, visit)?;
        let found = shown::of(call.app, reader, mould, visit)?.findings;
        let digest = reader.inputs_of(mould, visit, AsOf::Now)?.to_string();
        let origin = Origin { program: call.app.program, digest: &digest, inputs: &[] };
        Ok(Answer::Document(findings_document(&found, origin)))
    })
}

pub(super) fn gates(call: &Call<'_>) -> Answered {
    let (mould, visit) = (call.name("mould"), call.name("visit"));
    let found = call.read(|reader| {
        known_visit(reader, mould, visit)?;
        Ok(shown::of(call.app, reader, mould, visit)?.findings)
    })?;
    let circuits = found.circuits.iter().map(|circuit| CircuitGates {
        circuit: circuit.id.0.clone(),
        gates: GateName::ALL.into_iter().map(|name| GateShape::of(name, circuit.gates.get(name))).collect(),
    });
    Answer::shape(&Gates { circuits: circuits.collect() })
}

pub(super) fn steps(call: &Call<'_>) -> Answered {
    let (mould, visit) = (call.name("mould"), call.name("visit"));
    let (found, stay) = call.read(|reader| {
        known_visit(reader, mould, visit)?;
        Ok((shown::of(call.app, reader, mould, visit)?.findings, reader.visit(mould, visit, AsOf::Now)?))
    })?;
    Answer::shape(&Ladder { steps: ladder(&stay, &found).into_iter().map(Into::into).collect() })
}

/// A reading on record; its traces are left out unless they are wanted.
fn recorded(reader: &Reader<'_>, item: &Item, with_traces: bool) -> Result<Option<(u32, Recorded)>, Refusal> {
    let Fact::Reading(card) = &item.fact else { return Ok(None) };
    let has_traces = !card.traces().is_empty();
    let (list, mut says) = written(&card.entry(|digest| reader.trace(digest))?);
    if !with_traces {
        leave_traces_out(&mut says);
    }
    let list = if list == List::Treatment { "treatment" } else { "reading" };
    Ok(Some((card.place, Recorded::of(item, card.place, list, to_json(&says), has_traces))))
}

fn leave_traces_out(value: &mut Value) {
    match value {
        Value::Record(fields) => {
            fields.retain(|(name, inner)| name != "trace" || !matches!(inner, Value::Record(_)));
            fields.iter_mut().for_each(|(_, inner)| leave_traces_out(inner));
        }
        Value::List(items) => items.iter_mut().for_each(leave_traces_out),
        _ => {}
    }
}

pub(super) fn readings(call: &Call<'_>) -> Answered {
    let (mould, visit) = (call.name("mould"), call.name("visit"));
    let mut all = call.read(|reader| {
        known_visit(reader, mould, visit)?;
        let mut all = Vec::new();
        for item in reader.items(&Subject::visit(mould, visit), AsOf::Now)? {
            all.extend(recorded(reader, &item, false)?);
        }
        Ok(all)
    })?;
    all.sort_by_key(|(place, _)| *place);
    Answer::shape(&Readings { readings: all.into_iter().map(|(_, reading)| reading).collect() })
}

pub(super) fn reading(call: &Call<'_>) -> Answered {
    let (mould, visit, number) = (call.name("mould"), call.name("visit"), call.entry()?);
    let found = call.read(|reader| {
        known_visit(reader, mould, visit)?;
        let items = reader.items(&Subject::visit(mould, visit), AsOf::Now)?;
        match items.iter().find(|item| item.entry.number == number) {
            Some(item) => recorded(reader, item, true),
            None => Ok(None),
        }
    })?;
    match found {
        Some((_, reading)) => Answer::shape(&reading),
        None => Err(Refusal::unknown(format!("Entry {number} is no reading that stands in this visit."))),
    }
}

/// The rig of this name as it stands.
fn rig_of(reader: &Reader<'_>, name: &str) -> Result<Option<RigShape>, Refusal> {
    let items = reader.items(&Subject::rig(name), AsOf::Now)?;
    Ok(items.into_iter().find_map(|item| match item.fact {
        Fact::Rig(card) => Some(RigShape { name: name.to_owned(), rig: to_json(&rig_value(&card.rig())) }),
        _ => None,
    }))
}

pub(super) fn rigs(call: &Call<'_>) -> Answered {
    let rigs = call.read(|reader| {
        let mut rigs = Vec::new();
        for name in reader.rigs()? {
            rigs.extend(rig_of(reader, &name)?);
        }
        Ok(rigs)
    })?;
    Answer::shape(&Rigs { rigs })
}

pub(super) fn rig(call: &Call<'_>) -> Answered {
    let name = call.name("rig");
    let found = call.read(|reader| rig_of(reader, name))?;
    Answer::shape(&found.ok_or_else(|| Refusal::unknown(format!("No rig {name} is on record.")))?)
}

pub(super) fn instruments(call: &Call<'_>) -> Answered {
    let rows = call.read(|reader| Ok(reader.instruments()?))?;
    Answer::shape(&Instruments { instruments: rows.into_iter().map(Into::into).collect() })
}

pub(super) fn people(call: &Call<'_>) -> Answered {
    let people = call.read(|reader| Ok(reader.people()?))?;
    Answer::shape(&People { people: people.into_iter().map(Into::into).collect() })
}

pub(super) fn history(call: &Call<'_>) -> Answered {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "checked: whole numbers in range"
    )]
    let number =
        |name: &str, otherwise: u32| call.asked_for().optional_number(name).map_or(otherwise, |n| n as u32);
    let (after, most) = (number("after", 0), number("most", ENTRIES.0));
    let shape = call.read(|reader| {
        let entries = reader.entries_after(u64::from(after), most)?;
        Ok(History {
            entries: entries.into_iter().map(Into::into).collect(),
            head: reader.head()?.to_string(),
        })
    })?;
    Answer::shape(&shape)
}

pub(super) fn certificate(call: &Call<'_>) -> Answered {
    let number = numbered(call.name("number"))?;
    let shape = call.read(|reader| {
        let issued = reader.certificate(&number)?.ok_or_else(|| not_here(&number))?;
        let (said, standing) = (reader.said(&issued)?, reader.standing(&issued)?);
        Ok(CertificateShape {
            number: issued.number.to_string(),
            issued: issued.entry.at().to_string(),
            standing: match standing {
                Standing::Holds => "holds",
                Standing::KnownSince(_) => "known-since",
                Standing::Changed(_) => "changed",
                Standing::Withdrawn(_) => "withdrawn",
            },
            standing_in_words: standing.to_string(),
            headline: said.finding.headline,
            fit_for_press: said.finding.fit_for_press,
            end: said.end.map(Into::into),
            document: issued.card.document.to_string(),
            by: issued.entry.person,
            mould: issued.card.mould,
            visit: issued.card.visit,
        })
    })?;
    Answer::shape(&shape)
}
