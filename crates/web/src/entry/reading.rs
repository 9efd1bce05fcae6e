//! A reading or a treatment typed at the bench.

use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse as _, Redirect, Response};
use bench::mould::CircuitId;
use calc::form::{Fault, Value};
use exchange::one_reading::{Bench, OneReading, read};
use report::Units;
use report::pieces::moment;
use store::shapes::{ReadingCard, WithdrawalCard};
use store::{AsOf, Fact, Reader, Session as Writing, Subject, Write};

use super::definitions::{Ask, Form};
use super::{READS_ONLY, key, made_for, question, recorded, sender, somebody};
use crate::app::App;
use crate::pages::{self, bench::Entering};
use crate::problem::Problem;
use crate::sent::Sent;
use crate::session::Session;
use crate::typed::{Typed, number};
use crate::units::unit;
use crate::{layout, shown};

/// Where a form was sent from.
pub(crate) struct Spot {
    pub mould: String,
    pub visit: String,
    pub circuit: String,
}

impl Spot {
    fn address(&self) -> String {
        layout::bench(&self.mould, &self.visit, &self.circuit)
    }
}

/// Takes a form of a circuit.
pub(crate) async fn enter(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit, circuit, word)): Path<(String, String, String, String)>,
    sent: Sent,
) -> Response {
    let (spot, typed) = (Spot { mould, visit, circuit }, sent.with_traces());
    pages::blocking(move || take(&app, &headers, &spot, &word, typed)).await
}

fn take(
    app: &App,
    headers: &HeaderMap,
    spot: &Spot,
    word: &str,
    mut typed: Typed,
) -> Result<Response, Problem> {
    let form = Form::of(word).ok_or_else(|| Problem::Missing(format!("There is no form {word}.")))?;
    let again = |session: Option<&Session>, typed: &Typed, faults: &[Fault]| {
        let entering = Entering { form, typed, faults, questions: &[] };
        let page = pages::bench::with(app, session, spot, Some(&entering), None)?;
        Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
    };
    let Some(session) = somebody(app, headers)? else {
        let hint = "open ‘Say who you are’ in another tab, then send this again";
        return again(None, &typed, &[Fault::new("", "nobody is known to be at the bench", hint)]);
    };
    if let Err(Problem::Refused(text)) = made_for(&session, &typed) {
        typed.set("token", &session.token);
        return again(Some(&session), &typed, &[Fault::new("", text.trim_end_matches('.'), "")]);
    }
    if !session.role.records() {
        return again(None, &typed, &[Fault::new("", READS_ONLY.trim_end_matches('.'), "")]);
    }
    let key = key(&typed)?;
    let now = jiff::Timestamp::now();
    if app.store.read(|reader| running(reader, spot)).is_err() {
        let hint = "begin a new visit of the mould, and enter it there";
        return again(Some(&session), &typed, &[Fault::new("", "this visit has ended", hint)]);
    }
    let read = match understood(app, spot, form, &typed, session.units, now)? {
        Ok(read) => read,
        Err(faults) => return again(Some(&session), &typed, &faults),
    };
    let questions = question::about(app, spot, &session, form, &typed, &read.entry)?;
    let (read, kept) = match question::answered(&questions, &typed) {
        question::Answer::Nothing => {
            let entering = Entering { form, typed: &typed, faults: &[], questions: &questions };
            let page = pages::bench::with(app, Some(&session), spot, Some(&entering), None)?;
            return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
        }
        question::Answer::Kept => (read, !questions.is_empty()),
        question::Answer::Corrected => {
            questions.iter().for_each(|asking| typed.set(asking.field, &asking.meant));
            match understood(app, spot, form, &typed, session.units, now)? {
                Ok(read) => (read, false),
                Err(faults) => return again(Some(&session), &typed, &faults),
            }
        }
    };
    match record(app, spot, &session, &key, &read, kept, now)? {
        Some(number) => {
            shown::judge_again(app, &spot.mould, &spot.visit, now, &session.person)?;
            Ok(Redirect::to(&format!("{}?recorded={number}", spot.address())).into_response())
        }
        None => {
            typed.set("key", &crate::session::fresh_key());
            let hint = "to record what stands here now as one more reading, send it again";
            again(
                Some(&session),
                &typed,
                &[Fault::new("", "this form was recorded already, with other values", hint)],
            )
        }
    }
}

/// The reading behind what was typed, or everything that is wrong with it.
fn understood(
    app: &App,
    spot: &Spot,
    form: &Form,
    typed: &Typed,
    units: Units,
    now: jiff::Timestamp,
) -> Result<Result<OneReading, Vec<Fault>>, Problem> {
    let (mould, visit) = app.store.read(|reader| {
        running(reader, spot)?;
        Ok((reader.mould(&spot.mould, AsOf::Now)?, reader.visit(&spot.mould, &spot.visit, AsOf::Now)?))
    })?;
    let circuits: Vec<CircuitId> = mould.circuits.iter().map(|circuit| circuit.id.clone()).collect();
    let around =
        Bench { mould: &mould.id, circuits: &circuits, rig: &visit.rig, hook_ups: &visit.hook_ups, at: now };
    let trace = typed.given("trace");
    let read = read(around, form.list, item(spot, form, typed, units), trace);
    Ok(read.map_err(|faults| in_form(form, faults)))
}

/// A visit that has ended takes no readings.
pub(crate) fn running(reader: &Reader<'_>, spot: &Spot) -> Result<(), store::StoreError> {
    let visits = reader.visits(Some(&spot.mould))?;
    match visits.iter().find(|row| row.id == spot.visit) {
        Some(row) if row.outcome.is_none() => Ok(()),
        Some(_) => Err(store::StoreError::Unknown { what: "visit on the bench", id: spot.visit.clone() }),
        None => Err(store::StoreError::Unknown { what: "visit", id: spot.visit.clone() }),
    }
}

/// What was typed as an item of a visit file.
fn item(spot: &Spot, form: &Form, typed: &Typed, units: Units) -> Value {
    let mut fields: Vec<(String, Value)> =
        form.fixed.iter().map(|(name, value)| ((*name).to_owned(), Value::from(*value))).collect();
    fields.push(("circuit".to_owned(), Value::from(spot.circuit.as_str())));
    fields.extend(given(form, typed, units));
    Value::Record(fields)
}

/// The fields of a form that hold something.
pub(super) fn given(form: &Form, typed: &Typed, units: Units) -> Vec<(String, Value)> {
    let one = |field: &super::definitions::Asked| {
        let text = typed.given(field.name)?;
        let value = match (field.name, field.ask) {
            ("trace", _) => Value::from("pasted"),
            ("at", _) => Value::from(moment_typed(text)),
            (name, Ask::Number) => match number(text) {
                Value::Number(value) => Value::Number(units.typed(value, unit(name))),
                other => other,
            },
            (_, Ask::Columns) => columns(text),
            (_, Ask::Choice(_)) if text == "true" || text == "false" => Value::from(text == "true"),
            _ => Value::from(text),
        };
        Some((field.name.to_owned(), value))
    };
    form.fields.iter().filter_map(one).collect()
}

/// Day and time as people type them, in the way of the file; what is neither stays, so that the check names it.
pub(super) fn moment_typed(text: &str) -> String {
    let plain = text.trim_end_matches("UTC").trim();
    let read = ["%Y-%m-%d %H:%M", "%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M"]
        .iter()
        .find_map(|way| jiff::civil::DateTime::strptime(way, plain).ok());
    read.map_or_else(|| text.to_owned(), |at| format!("{at}Z"))
}

/// Lines of `name = meaning`.
pub(super) fn columns(text: &str) -> Value {
    let line = |line: &str| {
        let (name, meaning) = line.split_once('=').unwrap_or((line, ""));
        (name.trim().trim_matches('"').to_owned(), Value::from(meaning.trim().trim_matches('"')))
    };
    Value::Record(text.lines().filter(|text| !text.trim().is_empty()).map(line).collect())
}

/// The text with a field's name as its label, wherever the name stands as a word.
fn named(text: &str, name: &str, label: &str) -> String {
    let inside = |letter: char| letter.is_alphanumeric() || letter == '_';
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, after)) = rest.split_once(name) {
        out.push_str(before);
        if before.ends_with(inside) || after.starts_with(inside) {
            out.push_str(name);
        } else {
            out.push_str(&format!("‘{label}’"));
        }
        rest = after;
    }
    out + rest
}

/// The faults in the words of the form. Where neither gauge nor logger was given, the file's word for the missing
/// thing is the trace; at the bench it is the first gauge reading.
pub(super) fn in_form(form: &Form, faults: Vec<Fault>) -> Vec<Fault> {
    let mut names: Vec<&super::definitions::Asked> = form.fields.iter().collect();
    names.sort_by_key(|field| std::cmp::Reverse(field.name.len()));
    let plain = |text: &str| {
        // A name that is an English word as well would be found where it is one.
        let names = names.iter().filter(|field| field.name != "at");
        names.fold(text.to_owned(), |text, field| named(&text, field.name, field.label))
    };
    let one = |fault: Fault| {
        const BOTH: &str = "give both pressures and the time between, or paste what a logger wrote";
        let problem = fault.problem.as_str();
        match fault.field.as_str() {
            "trace" if problem.starts_with("neither") => {
                return Fault::new("start_bar_g", "the gauge readings are missing", BOTH);
            }
            "start_bar_g" | "end_bar_g" | "seconds" if problem == "missing" => {
                return Fault::new(fault.field, "missing", BOTH);
            }
            _ => {}
        }
        Fault { problem: plain(&fault.problem), hint: plain(&fault.hint), ..fault }
    };
    faults.into_iter().map(one).collect()
}

/// Records the reading at the next free place; answers its entry, or nothing if the key already stands for another one.
pub(crate) fn record(
    app: &App,
    spot: &Spot,
    session: &Session,
    key: &str,
    read: &OneReading,
    kept: bool,
    now: jiff::Timestamp,
) -> Result<Option<u64>, Problem> {
    app.store.together(|writing: &Writing<'_>| {
        let reader = writing.reader();
        let mut entry = read.entry.clone();
        entry.at = entry.at.or(Some(now));
        entry.place = format!("entered {} by {}", moment(now), session.person);
        let mut blobs = Vec::new();
        let place = free_place(&reader, &spot.mould, &spot.visit)?;
        let card = ReadingCard::of(&spot.mould, &spot.visit, place, &entry, &mut blobs);
        if let Some((number, fact)) = recorded(&reader, key)? {
            let same = matches!(&fact, Fact::Reading(known) if known.what == card.what && known.circuit == card.circuit);
            return Ok::<_, Problem>(same.then_some(number));
        }
        let mut write = Write::new(key, now, session.person.as_str());
        if kept {
            write.say_because(Fact::Reading(card), "it was questioned, and kept as typed");
        } else {
            write.say(Fact::Reading(card));
        }
        write.bring(blobs);
        Ok(Some(writing.write(&write)?.first))
    })
}

/// The next free place of a visit. Places of withdrawn readings are not given again.
pub(crate) fn free_place(reader: &Reader<'_>, mould: &str, visit: &str) -> Result<u32, store::StoreError> {
    let mut place = 0;
    for known in &reader.history(&Subject::visit(mould, visit), AsOf::Now)? {
        if let Fact::Reading(card) = known.fact()? {
            place = place.max(card.place + 1);
        }
    }
    Ok(place)
}

/// Withdraws a reading of this circuit, with a reason.
pub(crate) async fn withdraw(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit, circuit, number)): Path<(String, String, String, u64)>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let (spot, typed) = (Spot { mould, visit, circuit }, Typed::new(pairs));
    pages::blocking(move || take_back(&app, &headers, &spot, number, &typed)).await
}

fn take_back(
    app: &App,
    headers: &HeaderMap,
    spot: &Spot,
    number: u64,
    typed: &Typed,
) -> Result<Response, Problem> {
    let session = sender(app, headers, typed, spot.address())?;
    let Some(reason) = typed.given("reason") else {
        let page = pages::bench::with(app, Some(&session), spot, None, Some(number))?;
        return Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response());
    };
    let (key, now) = (key(typed)?, jiff::Timestamp::now());
    let about = Subject::visit(&spot.mould, &spot.visit);
    let written = app.store.together(|writing: &Writing<'_>| {
        let reader = writing.reader();
        if recorded(&reader, &key)?.is_some() {
            return Ok::<_, Problem>(());
        }
        running(&reader, spot)?;
        let items = reader.items(&about, AsOf::Now)?;
        let own = items.iter().any(|item| {
            item.entry.number == number
                && matches!(&item.fact, Fact::Reading(card) if card.circuit.as_deref() == Some(&spot.circuit))
        });
        if !own {
            return Err(Problem::Missing("This reading is not among those of the circuit any more.".into()));
        }
        let mut write = Write::new(key.as_str(), now, session.person.as_str());
        write.correct(number, Fact::Withdrawal(WithdrawalCard { about: about.clone() }), reason);
        writing.write(&write)?;
        Ok(())
    });
    written?;
    shown::judge_again(app, &spot.mould, &spot.visit, now, &session.person)?;
    Ok(Redirect::to(&format!("{}#readings", spot.address())).into_response())
}
