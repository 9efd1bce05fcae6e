//! What answers look like, version 1: converted by hand from what is on record and what was found, and described by derivation.
//!
//! Times are RFC 3339. A shape that was released is only ever added to.

use bench::finding::{Gate, GateName};
use bench::ladder::{Rung, State};
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::Serialize;
use serde_json::Value as Json;
use store::Item;
use store::read::{CircuitRow, InstrumentRow, MouldRow, VisitRow};
use store::shapes::{OnPortCard, OutcomeWord, Person, PortCard2, VisitEndCard};

pub(crate) use super::shapes_more::*;
use crate::pages::people::role_word;

/// Points at a schema that is made from the definition of a file.
macro_rules! of_file {
    ($name:ident, $place:literal) => {
        fn $name(_: &mut SchemaGenerator) -> Schema {
            json_schema!({ "$ref": concat!("#/components/schemas/", $place) })
        }
    };
}
of_file!(circuit_file, "CircuitFile");
of_file!(pieces_file, "PiecesFile");
of_file!(item_file, "ItemFile");
of_file!(rig_file, "RigFile");

/// A mould in a list.
#[derive(Serialize, JsonSchema)]
pub(crate) struct MouldInList {
    /// Id, as stamped or tagged.
    id: String,
    /// What it makes.
    name: String,
    /// Whose tool it is.
    owner: Option<String>,
    /// Circuits in use.
    circuits: u32,
    /// Visits.
    visits: u32,
    /// When the last one began.
    last_visit: Option<String>,
}

impl From<MouldRow> for MouldInList {
    fn from(row: MouldRow) -> Self {
        let last_visit = row.last_visit.map(|at| at.to_string());
        let MouldRow { id, name, owner, circuits, visits, .. } = row;
        Self { id, name, owner, circuits, visits, last_visit }
    }
}

/// Moulds on record.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Moulds {
    /// By id.
    pub moulds: Vec<MouldInList>,
}

/// A circuit in a list.
#[derive(Serialize, JsonSchema)]
pub(crate) struct CircuitInList {
    /// Id within the mould.
    id: String,
    /// Half of the mould, or a named plate or slide.
    half: String,
    /// What it cools.
    serves: Option<String>,
}

impl From<CircuitRow> for CircuitInList {
    fn from(row: CircuitRow) -> Self {
        Self { id: row.id, half: row.half, serves: row.serves }
    }
}

/// Circuits of a mould.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Circuits {
    /// In the order of the mould.
    pub circuits: Vec<CircuitInList>,
}

/// A value with the ends of its 95 % interval.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Interval {
    /// Value.
    value: f64,
    /// Low end.
    low: f64,
    /// High end.
    high: f64,
}

impl Interval {
    pub(crate) fn of((value, low, high): (f64, f64, f64)) -> Self {
        Self { value, low, high }
    }
}

/// What a visit found of a circuit.
#[derive(Serialize, JsonSchema)]
pub(crate) struct AtVisit {
    /// Visit.
    pub visit: String,
    /// When it began.
    pub started: String,
    /// Word of the findings: `tight`, `leaks`, and so on.
    pub tightness: String,
    /// Word of the findings: `free`, `blocked`, and so on.
    pub passage: String,
    /// Flow factor.
    pub flow_factor_m3_h: Option<Interval>,
    /// The same against what it should be.
    pub against_baseline_percent: Option<Interval>,
    /// Word of the findings: `leave`, `descale`, and so on.
    pub next_step: String,
}

/// A circuit.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Circuit {
    /// Mould.
    pub mould: String,
    /// What is known of it, with the fields of the mould file; its pieces among them.
    #[schemars(schema_with = "circuit_file")]
    pub circuit: Json,
    /// What each visit found, the oldest first.
    pub visits: Vec<AtVisit>,
}

/// The pieces of a circuit.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Pieces {
    /// Circuit.
    pub circuit: String,
    /// How far they are to be trusted: `drawing`, `measured`, `guessed`, `unknown`.
    pub known: String,
    /// In flow order, with the fields of the mould file.
    #[schemars(schema_with = "pieces_file")]
    pub pieces: Json,
}

/// A visit in a list.
#[derive(Serialize, JsonSchema)]
pub(crate) struct VisitInList {
    /// Mould.
    mould: String,
    /// Name of the visit.
    visit: String,
    /// When it began.
    started: String,
    /// Who did it.
    by: String,
    /// Rig.
    rig: Option<String>,
    /// `release` or `hold`; null while it is on the bench.
    outcome: Option<String>,
    /// Readings, treatments and notes.
    readings: u32,
}

impl From<VisitRow> for VisitInList {
    fn from(row: VisitRow) -> Self {
        let started = row.started.to_string();
        let VisitRow { mould, id, by, rig, outcome, readings, .. } = row;
        Self { mould, visit: id, started, by, rig, outcome, readings }
    }
}

/// Visits.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Visits {
    /// The newest first.
    pub visits: Vec<VisitInList>,
}

/// A circuit on a port.
#[derive(Serialize, JsonSchema)]
pub(crate) struct OnPort {
    /// Circuit.
    circuit: String,
    /// Whether its outlet is used as the inlet.
    reversed: bool,
}

/// A port in use.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Port {
    /// Which hook-up, from 1, where hoses are moved to further circuits.
    stage: u32,
    /// Port of the rig, from 1.
    port: u32,
    /// What hangs on it, in the order of the water.
    circuits: Vec<OnPort>,
}

impl From<PortCard2> for Port {
    fn from(card: PortCard2) -> Self {
        let on = |on: OnPortCard| OnPort { circuit: on.circuit, reversed: on.reversed };
        Self { stage: card.stage, port: card.port, circuits: card.circuits.into_iter().map(on).collect() }
    }
}

/// How a visit ended.
#[derive(Serialize, JsonSchema)]
pub(crate) struct End {
    /// When.
    at: String,
    /// `release` or `hold`.
    outcome: &'static str,
    /// What is missing, or what else is to be said.
    remark: Option<String>,
}

impl From<VisitEndCard> for End {
    fn from(card: VisitEndCard) -> Self {
        let outcome = if card.outcome == OutcomeWord::Release { "release" } else { "hold" };
        Self { at: card.at.to_string(), outcome, remark: card.remark }
    }
}

/// A visit.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Visit {
    /// As in a list.
    #[serde(flatten)]
    pub row: VisitInList,
    /// Which circuits are on which port, stage by stage.
    pub hook_up: Vec<Port>,
    /// How it ended; null while it is on the bench.
    pub end: Option<End>,
    /// Entry of the record that holds its findings as they are shown; null where they are not on record so.
    pub finding: Option<u64>,
    /// Numbers of its certificates, the oldest first.
    pub certificates: Vec<String>,
}

/// Who decided against the rule of a gate.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Overridden {
    /// Short name.
    by: String,
    /// When.
    at: String,
    /// Written reason.
    because: String,
    /// What the rule says.
    rule: String,
}

/// A gate.
#[derive(Serialize, JsonSchema)]
pub(crate) struct GateShape {
    /// `wet`, `descale` or `release`.
    gate: &'static str,
    /// Whether the step is allowed.
    open: bool,
    /// Why, and what would open it.
    reason: String,
    /// Fixed words of what shuts it by the rule; an override names them as `seen`.
    obstacles: Vec<String>,
    /// Why nobody may open it against the rule; null where a lead may.
    firm: Option<String>,
    /// Who decided against the rule; null where the rule decides.
    overridden: Option<Overridden>,
}

impl GateShape {
    pub(crate) fn of(name: GateName, gate: &Gate) -> Self {
        Self {
            gate: name.word(),
            open: gate.open,
            reason: gate.reason.clone(),
            obstacles: gate.obstacles.iter().map(|word| (*word).to_owned()).collect(),
            firm: gate.firm.map(str::to_owned),
            overridden: gate.overridden.as_ref().map(|known| Overridden {
                by: known.by.clone(),
                at: known.at.to_string(),
                because: known.because.clone(),
                rule: known.rule.clone(),
            }),
        }
    }
}

/// The gates of a circuit.
#[derive(Serialize, JsonSchema)]
pub(crate) struct CircuitGates {
    /// Circuit.
    pub circuit: String,
    /// Its gates, in the order of the visit.
    pub gates: Vec<GateShape>,
}

/// The gates of a visit.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Gates {
    /// In the order of the mould.
    pub circuits: Vec<CircuitGates>,
}

/// How far a circuit is on a step.
#[derive(Serialize, JsonSchema)]
pub(crate) struct OnStep {
    /// Circuit.
    circuit: String,
    /// `done`, `to-do`, `not-needed` or `not-allowed`.
    state: &'static str,
    /// What shuts it, where it is not allowed yet.
    reason: Option<String>,
}

/// A step of a visit.
#[derive(Serialize, JsonSchema)]
pub(crate) struct StepShape {
    /// Name of the step.
    step: &'static str,
    /// What to do.
    what_to_do: &'static str,
    /// What to take care of: pressure, heat and chemicals hurt people.
    cautions: Vec<&'static str>,
    /// Whether no circuit has anything to do here.
    settled: bool,
    /// Each circuit, in the order of the mould.
    circuits: Vec<OnStep>,
}

impl From<Rung> for StepShape {
    fn from(rung: Rung) -> Self {
        Self {
            step: rung.step.title(),
            what_to_do: rung.step.what_to_do(),
            cautions: rung.step.cautions().to_vec(),
            settled: rung.is_settled(),
            circuits: rung
                .circuits
                .into_iter()
                .map(|(id, state)| {
                    let (state, reason) = match state {
                        State::Done => ("done", None),
                        State::ToDo => ("to-do", None),
                        State::NotNeeded => ("not-needed", None),
                        State::Shut(reason) => ("not-allowed", Some(reason)),
                    };
                    OnStep { circuit: id.0, state, reason }
                })
                .collect(),
        }
    }
}

/// The ladder of a visit.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Ladder {
    /// In their usual order.
    pub steps: Vec<StepShape>,
}

/// A reading, a treatment or a note on record.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Recorded {
    /// Its newest entry, by which it is withdrawn.
    pub entry: u64,
    /// Place in the visit, from 0: the order in which things were done.
    pub place: u32,
    /// When it was recorded.
    pub recorded: String,
    /// Who recorded it.
    pub by: String,
    /// Token of the program that did; null for a person at the pages.
    pub token: Option<String>,
    /// Why it is as it is, where a reason was given.
    pub reason: Option<String>,
    /// `reading` or `treatment`.
    pub list: &'static str,
    /// What it says, with the fields of the visit file; a list leaves its traces out.
    #[schemars(schema_with = "item_file")]
    pub item: Json,
    /// Whether it holds traces, which the reading by itself shows.
    pub has_traces: bool,
}

/// Readings, treatments and notes of a visit.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Readings {
    /// In the order in which things were done, without what was withdrawn.
    pub readings: Vec<Recorded>,
}

/// A rig as it stands.
#[derive(Serialize, JsonSchema)]
pub(crate) struct RigShape {
    /// Name.
    pub name: String,
    /// With the fields of the rig file.
    #[schemars(schema_with = "rig_file")]
    pub rig: Json,
}

/// Rigs on record.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Rigs {
    /// By name.
    pub rigs: Vec<RigShape>,
}

/// An instrument.
#[derive(Serialize, JsonSchema)]
pub(crate) struct InstrumentShape {
    /// Inventory or serial number.
    id: String,
    /// Rig that it belongs to.
    rig: Option<String>,
    /// What it measures.
    measures: String,
    /// Day until which its newest calibration holds.
    calibrated_until: Option<String>,
}

impl From<InstrumentRow> for InstrumentShape {
    fn from(row: InstrumentRow) -> Self {
        let InstrumentRow { id, rig, measures, calibrated_until } = row;
        Self { id, rig, measures, calibrated_until }
    }
}

/// Instruments on record.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Instruments {
    /// By id.
    pub instruments: Vec<InstrumentShape>,
}

/// A person.
#[derive(Serialize, JsonSchema)]
pub(crate) struct PersonShape {
    /// Short name.
    id: String,
    /// Name.
    name: String,
    /// `viewer`, `technician`, `lead` or `administrator`.
    role: &'static str,
    /// Whether the person still works here.
    active: bool,
}

impl From<Person> for PersonShape {
    fn from(person: Person) -> Self {
        let role = role_word(person.role);
        Self { id: person.id, name: person.name, role, active: person.active }
    }
}

/// People on record; passwords and PINs are told nobody.
#[derive(Serialize, JsonSchema)]
pub(crate) struct People {
    /// By short name.
    pub people: Vec<PersonShape>,
}

impl Recorded {
    /// A reading on record with what it says.
    pub(crate) fn of(item: &Item, place: u32, list: &'static str, says: Json, has_traces: bool) -> Self {
        Self {
            entry: item.entry.number,
            place,
            recorded: item.entry.at().to_string(),
            by: item.entry.person.clone(),
            token: token_of(&item.entry.write_key),
            reason: item.entry.reason.clone(),
            list,
            item: says,
            has_traces,
        }
    }
}
