//! What is recorded: once for each key, in the name of whoever answers for the token.

use std::collections::{BTreeMap, BTreeSet};

use bench::finding::GateName;
use calc::form::{Fault, Field, Kind, Preset, Value};
use exchange::mould_json;
use serde::Serialize;
use store::shapes::{
    HookUpCard2, OnPortCard, OutcomeWord, OverrideCard, PortCard2, VisitCard, VisitEndCard, WithdrawalCard,
};
use store::{Answered, AsOf, Fact, Reader, Session as Writing, Subject, Write};

use super::call::Call;
use super::operation::{Answer, document};
use super::refusal::Refusal;
use super::shapes::{Begun, IssuedShape, TakenIn, Written};
use crate::entry::{gates, visit};
use crate::pages::paper::printer;
use crate::shown;

/// Longest text that is taken, in letters (own choice).
const WORDS: usize = 10_000;

type Done = Result<Answer, Refusal>;

/// What has been answered under this key; an error if something else was asked then.
fn before(call: &Call<'_>, reader: &Reader<'_>) -> Result<Option<Answer>, Refusal> {
    match reader.answered(&call.key)? {
        Some(known) if known.asked == call.asked => Ok(Some(Answer::Text(known.status, known.body))),
        Some(_) => {
            let text = "This key was used for something else; whatever is new needs a new Idempotency-Key.";
            Err(Refusal::conflict("key-used", text))
        }
        None => Ok(None),
    }
}

/// Records something once: what is made ready may read the record, what is recorded is one transaction with its answer.
pub(super) fn once<P, T: Serialize>(
    call: &Call<'_>,
    ready: impl FnOnce() -> Result<P, Refusal>,
    record: impl FnOnce(&Writing<'_>, P) -> Result<T, Refusal>,
) -> Done {
    if let Some(answer) = call.read(|reader| before(call, reader))? {
        return Ok(answer);
    }
    let ready = ready()?;
    call.app.store.together(|writing: &Writing<'_>| {
        if let Some(answer) = before(call, &writing.reader())? {
            return Ok(answer);
        }
        let shape = record(writing, ready)?;
        let body = document(&shape)?.to_string();
        writing.keep_answer(&call.key, &Answered { asked: call.asked, status: 201, body: body.clone() })?;
        Ok(Answer::Text(201, body))
    })
}

/// Records one entry of a visit that is on the bench, and judges the visit again.
fn one_of_visit(call: &Call<'_>, ready: impl FnOnce() -> Result<Fact, Refusal>) -> Done {
    let (mould, stay) = (call.name("mould"), call.name("visit"));
    let answer = once(call, ready, |writing, fact| {
        on_the_bench(&writing.reader(), mould, stay)?;
        let mut write = Write::new(call.key.as_str(), call.now, call.caller.person.as_str());
        write.say(fact);
        Ok(Written { entry: writing.write(&write)?.first, notices: Vec::new() })
    })?;
    judged(call)?;
    Ok(answer)
}

/// A visit that has ended takes nothing more.
pub(super) fn on_the_bench(reader: &Reader<'_>, mould: &str, stay: &str) -> Result<(), Refusal> {
    let row = super::read::known_visit(reader, mould, stay)?;
    match row.outcome {
        None => Ok(()),
        Some(_) => Err(Refusal::conflict(
            "ended",
            format!("Visit {stay} of mould {mould} has ended; begin a new one."),
        )),
    }
}

/// Judges the visit of the address as it now stands.
pub(super) fn judged(call: &Call<'_>) -> Result<(), Refusal> {
    let (mould, stay) = (call.name("mould"), call.name("visit"));
    Ok(shown::judge_again(call.app, mould, stay, call.now, &call.caller.person)?)
}

/// A text of the body; too long a one is a fault.
fn words<'c>(call: &'c Call<'_>, name: &str) -> Result<&'c str, Refusal> {
    let text = call.input().text(name).trim();
    if text.chars().count() > WORDS {
        return Err(Refusal::fault(Fault::new(name, "too long", format!("give up to {WORDS} letters"))));
    }
    Ok(text)
}

pub(super) fn take_in_mould(call: &Call<'_>) -> Done {
    let ready = || mould_json::read(&call.body).map_err(Refusal::faults);
    once(call, ready, |writing, (mould, notices)| {
        let reader = writing.reader();
        let taken = reader.take_in_mould(&mould)?;
        let entry = if taken.is_nothing() {
            None
        } else {
            let write = taken.write_as(call.key.clone(), call.now, &call.caller.person, None)?;
            Some(writing.write(&write)?.first)
        };
        let circuit = |item: &store::Item| match &item.fact {
            Fact::Circuit(card) => Some(card.circuit.clone()),
            _ => None,
        };
        Ok(TakenIn {
            mould: mould.id.0.clone(),
            entry,
            new: taken.new.len(),
            changed: taken.changed.len(),
            same: taken.same,
            outdated: taken.outdated.len(),
            left: taken.left.iter().filter_map(circuit).collect(),
            notices,
        })
    })
}

pub(super) static VISIT: &[Field] = &[Field::optional(
    "rig",
    Kind::Text,
    "name of the rig, as it stands on record; the usual uncertainties if left out",
)];

pub(super) fn begin(call: &Call<'_>) -> Done {
    let mould = call.name("mould");
    let mut begun = None;
    let answer = once(
        call,
        || Ok(()),
        |writing, ()| {
            let reader = writing.reader();
            reader.mould(mould, AsOf::Now)?;
            let name = call.input().text("rig").to_owned();
            let rig = visit::rig(&reader, &name).map_err(|error| match error {
                store::StoreError::Unknown { .. } => {
                    let hint = "give the name of a rig on record, or leave it out";
                    Refusal::fault(Fault::new("rig", "no such rig is on record", hint).with_value(name))
                }
                other => other.into(),
            })?;
            let card = VisitCard {
                visit: visit::free_name(&reader, mould, call.now)?,
                started: call.now,
                by: call.caller.person.clone(),
                rig,
                mould: mould.to_owned(),
            };
            let name = card.visit.clone();
            let mut write = Write::new(call.key.as_str(), call.now, call.caller.person.as_str());
            write.say(Fact::Visit(card));
            begun = Some(name.clone());
            Ok(Begun { entry: writing.write(&write)?.first, visit: name })
        },
    )?;
    if let Some(name) = begun {
        shown::judge_again(call.app, mould, &name, call.now, &call.caller.person)?;
    }
    Ok(answer)
}

static ON_PORT: Kind = Kind::Record(&[
    Field::required("circuit", Kind::Text, "circuit"),
    Field::preset("reversed", Kind::Flag, Preset::Flag(false), "whether its outlet is used as the inlet"),
]);
const UP_TO_999: Kind = Kind::Count { low: 1, high: 999 };
static PORT: Kind = Kind::Record(&[
    Field::preset(
        "stage",
        UP_TO_999,
        Preset::Number(1.0),
        "which hook-up, where hoses are moved to further circuits",
    ),
    Field::required("port", UP_TO_999, "port of the rig, from 1"),
    Field::required(
        "circuits",
        Kind::List { of: &ON_PORT, least: 1 },
        "what hangs on it, in the order of the water: more than one where jumpers join them",
    ),
]);
pub(super) static HOOK_UP: &[Field] =
    &[Field::required("ports", Kind::List { of: &PORT, least: 1 }, "which circuits are on which port")];

pub(super) fn hook_up(call: &Call<'_>) -> Done {
    let (mould, stay) = (call.name("mould"), call.name("visit"));
    one_of_visit(call, || {
        let circuits = call.read(|reader| {
            on_the_bench(reader, mould, stay)?;
            Ok(reader.circuits(mould)?)
        })?;
        let known: Vec<&str> = circuits.iter().map(|row| row.id.as_str()).collect();
        let ports = ports(&known, call)?;
        Ok(Fact::HookUp2(HookUpCard2 { mould: mould.to_owned(), visit: stay.to_owned(), ports }))
    })
}

/// The ports stage by stage, or everything that is wrong with them.
fn ports(known: &[&str], call: &Call<'_>) -> Result<Vec<PortCard2>, Refusal> {
    let (mut faults, mut ports) = (Vec::new(), BTreeMap::<(u32, u32), Vec<OnPortCard>>::new());
    let mut used = BTreeSet::new();
    for (at, item) in call.input().records("ports").enumerate() {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "checked: whole numbers in range"
        )]
        let (stage, port) = (item.number("stage") as u32, item.number("port") as u32);
        let mut circuits = Vec::new();
        for (place, on) in item.records("circuits").enumerate() {
            let circuit = on.text("circuit");
            let field = format!("ports.{at}.circuits.{place}.circuit");
            if !known.contains(&circuit) {
                let hint = format!("one of: {}", known.join(", "));
                faults.push(Fault::new(&field, "the mould has no such circuit", hint).with_value(circuit));
            }
            if !used.insert((stage, circuit)) {
                let problem = format!("it stands in stage {stage} twice");
                faults
                    .push(Fault::new(&field, problem, "give each circuit once a stage").with_value(circuit));
            }
            circuits.push(OnPortCard { circuit: circuit.to_owned(), reversed: on.flag("reversed") });
        }
        if ports.insert((stage, port), circuits).is_some() {
            let problem = format!("port {port} stands in stage {stage} twice");
            faults.push(Fault::new(format!("ports.{at}.port"), problem, "give each port once a stage"));
        }
    }
    let card = |((stage, port), circuits)| PortCard2 { stage, port, circuits };
    if faults.is_empty() { Ok(ports.into_iter().map(card).collect()) } else { Err(Refusal::faults(faults)) }
}

pub(super) static END: &[Field] = &[
    Field::required("outcome", Kind::Choice(&["release", "hold"]), "back to the press, or held"),
    Field::optional("remark", Kind::Text, "what is missing; a mould that is held needs it"),
];

pub(super) fn end(call: &Call<'_>) -> Done {
    let (mould, stay) = (call.name("mould"), call.name("visit"));
    one_of_visit(call, || {
        let remark = Some(words(call, "remark")?.to_owned()).filter(|text| !text.is_empty());
        let outcome =
            if call.input().text("outcome") == "release" { OutcomeWord::Release } else { OutcomeWord::Hold };
        if outcome == OutcomeWord::Hold && remark.is_none() {
            let fault = Fault::new("remark", "a mould that is held needs a reason", "say what is missing");
            return Err(Refusal::fault(fault));
        }
        let shut = call.read(|reader| {
            on_the_bench(reader, mould, stay)?;
            let found = shown::of(call.app, reader, mould, stay)?.findings;
            let shut = found.circuits.iter().filter(|circuit| !circuit.gates.release.open);
            Ok(shut.map(|circuit| circuit.id.0.clone()).collect::<Vec<_>>())
        })?;
        if outcome == OutcomeWord::Release && !shut.is_empty() {
            let problem = format!("the gate ‘release’ is shut for {}", shut.join(", "));
            let hint = "the gates say why; hold the mould, or take the readings that are missing";
            return Err(Refusal::fault(Fault::new("outcome", problem, hint).with_value("release")));
        }
        let (mould, visit) = (mould.to_owned(), stay.to_owned());
        Ok(Fact::VisitEnd(VisitEndCard { mould, visit, at: call.now, outcome, remark }))
    })
}

pub(super) static OVERRIDE: &[Field] = &[
    Field::required("circuit", Kind::Text, "circuit"),
    Field::required("gate", Kind::Choice(&["wet", "descale", "release"]), "gate"),
    Field::required("open", Kind::Flag, "whether it is to be open"),
    Field::required(
        "because",
        Kind::Text,
        "why it is right here, in a sentence; it stands beside the gate from then on",
    ),
    Field::optional(
        "seen",
        Kind::List { of: &Kind::Text, least: 0 },
        "obstacles of the gate as they were read: the override covers these and no others; needed to open a gate",
    ),
];

pub(super) fn override_gate(call: &Call<'_>) -> Done {
    let (mould, stay) = (call.name("mould"), call.name("visit"));
    one_of_visit(call, || {
        let (input, because) = (call.input(), words(call, "because")?);
        let circuit = input.text("circuit");
        let gate = call.read(|reader| {
            on_the_bench(reader, mould, stay)?;
            let found = shown::of(call.app, reader, mould, stay)?.findings;
            let own = found.circuits.iter().find(|found| found.id.0 == circuit);
            Ok(own.zip(GateName::of(input.text("gate"))).map(|(own, name)| own.gates.get(name).clone()))
        })?;
        let Some(gate) = gate else {
            let hint = "give a circuit of this mould";
            return Err(Refusal::fault(
                Fault::new("circuit", "the mould has no such circuit", hint).with_value(circuit),
            ));
        };
        let seen: Vec<&str> = input.items("seen").iter().filter_map(Value::as_text).collect();
        let open = input.flag("open");
        if let Some(fault) = gates::fault(&gate, open, because, &seen.join(" ")) {
            let stale = fault.field.is_empty() && open && gate.firm.is_none() && !gate.open;
            let fault = if stale {
                let now = gate.obstacles.join(", ");
                Fault::new("seen", "not what shuts the gate now", format!("read the gate and give: {now}"))
            } else {
                fault
            };
            return Err(Refusal::fault(fault));
        }
        Ok(Fact::Override(OverrideCard {
            mould: mould.to_owned(),
            visit: stay.to_owned(),
            circuit: circuit.to_owned(),
            gate: input.text("gate").to_owned(),
            open,
            because: because.to_owned(),
            against: gate.obstacles.iter().map(|word| (*word).to_owned()).collect(),
        }))
    })
}

pub(super) static REASON: &[Field] = &[Field::required("reason", Kind::Text, "why it does not hold")];

/// Withdraws an entry of the visit that is of this kind.
fn withdraw(call: &Call<'_>, what: &str, of_kind: fn(&Fact) -> bool) -> Done {
    let (mould, stay, number) = (call.name("mould"), call.name("visit"), call.entry()?);
    let about = Subject::visit(mould, stay);
    let answer = once(
        call,
        || words(call, "reason"),
        |writing, reason| {
            let reader = writing.reader();
            on_the_bench(&reader, mould, stay)?;
            let items = reader.items(&about, AsOf::Now)?;
            if !items.iter().any(|item| item.entry.number == number && of_kind(&item.fact)) {
                return Err(Refusal::unknown(format!(
                    "Entry {number} is no {what} that stands in this visit."
                )));
            }
            let mut write = Write::new(call.key.as_str(), call.now, call.caller.person.as_str());
            write.correct(number, Fact::Withdrawal(WithdrawalCard { about: about.clone() }), reason);
            Ok(Written { entry: writing.write(&write)?.first, notices: Vec::new() })
        },
    )?;
    judged(call)?;
    Ok(answer)
}

pub(super) fn withdraw_reading(call: &Call<'_>) -> Done {
    withdraw(call, "reading", |fact| matches!(fact, Fact::Reading(_)))
}

pub(super) fn take_override_back(call: &Call<'_>) -> Done {
    withdraw(call, "override", |fact| matches!(fact, Fact::Override(_)))
}

pub(super) static CERTIFICATE: &[Field] = &[];

pub(super) fn issue_certificate(call: &Call<'_>) -> Done {
    let (mould, stay) = (call.name("mould"), call.name("visit"));
    let ready = || {
        call.read(|reader| super::read::known_visit(reader, mould, stay).map(drop))?;
        let (app, by) = (call.app, &call.caller.person);
        // Issued twice it is the same certificate, so that its own key is enough.
        Ok(printer(app)?.issue(&app.store, mould, stay, by, call.now, &call.asked_at)?)
    };
    once(call, ready, |_, number| Ok(IssuedShape { number: number.to_string() }))
}

pub(super) static AS_GIVEN: &[Field] = &[Field::preset(
    "as_given",
    Kind::Flag,
    Preset::Flag(false),
    "record a number that is unlikely; without it such a number is asked about",
)];
