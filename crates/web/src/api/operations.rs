//! Every operation there is, in the order in which they are described.

use axum::http::StatusCode;
use calc::form::{Field, Kind, Preset};
use schemars::{JsonSchema, Schema, SchemaGenerator};
use store::shapes::Role;

use super::operation::{Gives, Operation, Takes};
use super::{calculators, papers, read, readings, shapes, write};

fn shape<T: JsonSchema>(generator: &mut SchemaGenerator) -> Schema {
    generator.subschema_for::<T>()
}

const fn gives<T: JsonSchema>() -> Gives {
    Gives::Shape(shape::<T>)
}

static HISTORY: &[Field] = &[
    Field::preset(
        "after",
        Kind::Count { low: 0, high: u32::MAX },
        Preset::Number(0.0),
        "number of the entry before the first",
    ),
    Field::preset(
        "most",
        Kind::Count { low: 1, high: read::ENTRIES.1 },
        Preset::Number(100.0),
        "most entries",
    ),
];

/// All of them.
pub(super) fn all() -> &'static [Operation] {
    ALL
}

macro_rules! visit {
    ($rest:literal) => {
        concat!("/moulds/{mould}/visits/{visit}", $rest)
    };
}

static ALL: &[Operation] = &[
    Operation::get("/moulds", "moulds", "Moulds on record", gives::<shapes::Moulds>(), read::moulds),
    Operation::post("/moulds", "take-in-mould", "Take in a mould", Takes::Mould, gives::<shapes::TakenIn>(), write::take_in_mould)
        .about("The fields of the mould file. What is on record as it comes stays; what is otherwise gets a new version; the old one stays in the history."),
    Operation::get("/moulds/{mould}", "mould", "A mould, with the fields of the mould file", Gives::Mould, read::mould),
    Operation::get("/moulds/{mould}/circuits", "circuits", "Circuits of a mould", gives::<shapes::Circuits>(), read::circuits),
    Operation::get("/moulds/{mould}/circuits/{circuit}", "circuit", "A circuit, and what each visit found of it", gives::<shapes::Circuit>(), read::circuit),
    Operation::get("/moulds/{mould}/circuits/{circuit}/pieces", "pieces", "Pieces of a circuit", gives::<shapes::Pieces>(), read::pieces),
    Operation::get("/moulds/{mould}/tags.pdf", "tags", "Tags with QR codes", Gives::Pdf, papers::tags),
    Operation::get("/visits", "all-visits", "All visits", gives::<shapes::Visits>(), read::all_visits),
    Operation::get("/moulds/{mould}/visits", "visits", "Visits of a mould", gives::<shapes::Visits>(), read::visits),
    Operation::post("/moulds/{mould}/visits", "begin-visit", "Begin a visit", Takes::Record(write::VISIT), gives::<shapes::Begun>(), write::begin),
    Operation::get(visit!(""), "visit", "A visit", gives::<shapes::Visit>(), read::visit),
    Operation::get(visit!("/findings"), "findings", "What was found in a visit", Gives::Findings, read::findings)
        .about("A visit on the bench shows what its readings say now; one that has ended, what was found then."),
    Operation::get(visit!("/gates"), "gates", "Gates of a visit", gives::<shapes::Gates>(), read::gates),
    Operation::get(visit!("/ladder"), "ladder", "Steps of a visit", gives::<shapes::Ladder>(), read::steps)
        .about("The cautions of a step do not replace local rules, nor the work of those who are licensed for it."),
    Operation::post(visit!("/hook-up"), "hook-up", "Note which circuit is on which port", Takes::Record(write::HOOK_UP), gives::<shapes::Written>(), write::hook_up),
    Operation::get(visit!("/readings"), "readings", "Readings, treatments and notes of a visit", gives::<shapes::Readings>(), read::readings)
        .about("Without traces; a reading by itself has them."),
    Operation::post(visit!("/readings"), "record-reading", "Record a reading or a note", Takes::Reading, gives::<shapes::Written>(), readings::reading)
        .about("The fields and rules of the visit file, with the arrays of a trace in place of its file. A number that is far from everything known is refused with the code `unlikely`, unless as_given says that it is right.")
        .asked_with(write::AS_GIVEN),
    Operation::get(visit!("/readings/{entry}"), "reading", "A reading, with its traces", gives::<shapes::Recorded>(), read::reading),
    Operation::post(visit!("/readings/{entry}/withdrawal"), "withdraw-reading", "Withdraw a reading, treatment or note", Takes::Record(write::REASON), gives::<shapes::Written>(), write::withdraw_reading)
        .about("It stays in the history, and counts no more."),
    Operation::post(visit!("/treatments"), "record-treatment", "Record a treatment", Takes::Treatment, gives::<shapes::Written>(), readings::treatment)
        .about("The fields of the visit file. After an opening, a repair or a descale the air readings from before no longer count."),
    Operation::post(visit!("/overrides"), "override-gate", "Decide against the rule of a gate", Takes::Record(write::OVERRIDE), gives::<shapes::Written>(), write::override_gate)
        .about("What could hurt people cannot be overridden: `firm` of the gate says so.")
        .takes_a(Role::Lead),
    Operation::post(visit!("/overrides/{entry}/withdrawal"), "take-override-back", "Take such a decision back", Takes::Record(write::REASON), gives::<shapes::Written>(), write::take_override_back)
        .takes_a(Role::Lead),
    Operation::post(visit!("/end"), "end-visit", "End a visit", Takes::Record(write::END), gives::<shapes::Written>(), write::end),
    Operation::post(visit!("/certificate"), "issue-certificate", "Issue the certificate of a visit", Takes::Record(write::CERTIFICATE), gives::<shapes::IssuedShape>(), write::issue_certificate)
        .about("As long as nothing changes that it says, it is the same certificate."),
    Operation::get(visit!("/sheet.pdf"), "visit-sheet", "Visit sheet", Gives::Pdf, papers::visit_sheet),
    Operation::get(visit!("/hook-up.pdf"), "hook-up-sheet", "Hook-up sheet", Gives::Pdf, papers::hook_up_sheet),
    Operation::get("/certificates/{number}", "certificate", "A certificate, and whether it still holds", gives::<shapes::CertificateShape>(), read::certificate),
    Operation::get("/certificates/{number}/certificate.pdf", "certificate-document", "A certificate as it was issued", Gives::Pdf, papers::certificate),
    Operation::get("/rigs", "rigs", "Rigs on record", gives::<shapes::Rigs>(), read::rigs),
    Operation::get("/rigs/{rig}", "rig", "A rig as it stands", gives::<shapes::RigShape>(), read::rig),
    Operation::get("/instruments", "instruments", "Instruments on record", gives::<shapes::Instruments>(), read::instruments),
    Operation::get("/people", "people", "People on record", gives::<shapes::People>(), read::people),
    Operation::get("/history", "history", "Entries of the history", gives::<shapes::History>(), read::history).asked_with(HISTORY),
    Operation::get("/calculators", "calculators", "Calculators", gives::<shapes::Calculators>(), calculators::list),
    Operation::get("/calculators/{calculator}", "calculator", "What a calculator takes and gives", gives::<shapes::CalculatorShape>(), calculators::one),
    Operation {
        role: Role::Viewer,
        status: StatusCode::OK,
        records: false,
        ..Operation::post("/calculators/{calculator}", "work-out", "Work something out", Takes::Inputs, gives::<shapes::Outcome>(), calculators::work_out)
    },
];
