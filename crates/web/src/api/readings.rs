//! Readings, treatments and notes: the fields and rules of the visit file, traces as arrays.

use bench::mould::CircuitId;
use bench::plausible::questions;
use calc::form::{Fault, Value};
use exchange::one_reading::{Bench, List, OneReading, read_with_arrays};
use report::pieces::moment;
use store::shapes::ReadingCard;
use store::{AsOf, Fact, Write};

use super::call::Call;
use super::operation::Answer;
use super::refusal::Refusal;
use super::shapes::Written;
use super::write::{judged, on_the_bench, once};
use crate::entry::question::field;
use crate::entry::reading::free_place;

pub(super) fn reading(call: &Call<'_>) -> Result<Answer, Refusal> {
    take(call, List::Reading)
}

pub(super) fn treatment(call: &Call<'_>) -> Result<Answer, Refusal> {
    take(call, List::Treatment)
}

/// What was read, and whether an unlikely number was kept.
struct Ready {
    read: OneReading,
    kept: bool,
}

fn take(call: &Call<'_>, list: List) -> Result<Answer, Refusal> {
    let (mould, stay) = (call.name("mould"), call.name("visit"));
    let answer = once(
        call,
        || ready(call, list),
        |writing, Ready { read, kept }| {
            let reader = writing.reader();
            on_the_bench(&reader, mould, stay)?;
            let mut entry = read.entry;
            entry.at = entry.at.or(Some(call.now));
            let (by, token) = (&call.caller.person, &call.caller.token);
            entry.place = format!("entered {} by {by}, token {token}", moment(call.now));
            let mut blobs = Vec::new();
            let place = free_place(&reader, mould, stay)?;
            let card = Fact::Reading(ReadingCard::of(mould, stay, place, &entry, &mut blobs));
            let mut write = Write::new(call.key.as_str(), call.now, by.as_str());
            if kept {
                write.say_because(card, "it was questioned, and kept as given");
            } else {
                write.say(card);
            }
            write.bring(blobs);
            Ok(Written { entry: writing.write(&write)?.first, notices: read.notices })
        },
    )?;
    judged(call)?;
    Ok(answer)
}

fn ready(call: &Call<'_>, list: List) -> Result<Ready, Refusal> {
    let (mould, visit) = call.read(|reader| {
        let (mould, stay) = (call.name("mould"), call.name("visit"));
        on_the_bench(reader, mould, stay)?;
        Ok((reader.mould(mould, AsOf::Now)?, reader.visit(mould, stay, AsOf::Now)?))
    })?;
    let circuits: Vec<CircuitId> = mould.circuits.iter().map(|circuit| circuit.id.clone()).collect();
    let around = Bench {
        mould: &mould.id,
        circuits: &circuits,
        rig: &visit.rig,
        hook_ups: &visit.hook_ups,
        at: call.now,
    };
    let read = read_with_arrays(around, list, call.body.clone()).map_err(Refusal::faults)?;
    let unlikely: Vec<Fault> = questions(&mould, &visit, &read.entry)
        .into_iter()
        .filter_map(|question| {
            let name = field(question.number);
            // A number that came out of a trace or another field has nothing to correct here.
            let given = call.body.get(name).and_then(Value::as_number)?;
            let problem = format!("{}: {}", question.reason, question.slip.words(question.number));
            let meant = format!("did you mean {}?", plain(question.meant()));
            Some(Fault::new(name, problem, meant).with_value(given))
        })
        .collect();
    let as_given = call.asked_for().flag("as_given");
    if !unlikely.is_empty() && !as_given {
        return Err(Refusal::unlikely(unlikely));
    }
    Ok(Ready { read, kept: !unlikely.is_empty() })
}

/// A number with the digits that somebody would give.
fn plain(number: f64) -> String {
    let text = format!("{number:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
