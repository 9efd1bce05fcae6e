//! Papers as PDF.

use store::{AsOf, Entry, Subject};

use super::call::Call;
use super::operation::Answer;
use super::read::known_visit;
use super::refusal::Refusal;
use crate::entry::hook_up::ports_of;
use crate::pages::paper::{not_here, numbered, printer};
use crate::{layout, shown};

type Answered = Result<Answer, Refusal>;

pub(super) fn visit_sheet(call: &Call<'_>) -> Answered {
    let (mould, visit) = (call.name("mould"), call.name("visit"));
    let (shown, digest) = call.read(|reader| {
        known_visit(reader, mould, visit)?;
        let shown = shown::of(call.app, reader, mould, visit)?;
        Ok((shown, reader.inputs_of(mould, visit, AsOf::Now)?.to_string()))
    })?;
    let bytes = printer(call.app)?.visit_sheet(&shown.findings, &digest)?;
    Ok(Answer::Pdf(format!("{mould}-{visit}-visit-sheet"), bytes))
}

pub(super) fn hook_up_sheet(call: &Call<'_>) -> Answered {
    let (mould, visit) = (call.name("mould"), call.name("visit"));
    let (shown, ports) = call.read(|reader| {
        known_visit(reader, mould, visit)?;
        let items = reader.items(&Subject::visit(mould, visit), AsOf::Now)?;
        let ports = items.iter().find_map(|item| ports_of(&item.fact)).unwrap_or_default();
        Ok((shown::of(call.app, reader, mould, visit)?, ports))
    })?;
    let bytes = printer(call.app)?.hook_up_sheet(&shown.findings, &ports)?;
    Ok(Answer::Pdf(format!("{mould}-{visit}-hook-up"), bytes))
}

pub(super) fn tags(call: &Call<'_>) -> Answered {
    let id = call.name("mould");
    let (mould, at) = call.read(|reader| {
        let mould = reader.mould(id, AsOf::Now)?;
        let known = reader.history(&Subject::mould(id), AsOf::Now)?;
        Ok((mould, known.last().map(Entry::at).unwrap_or_default()))
    })?;
    let address = |circuit: &str| layout::circuit(id, circuit);
    let bytes = printer(call.app)?.tags(&mould, at, &call.asked_at, &address)?;
    Ok(Answer::Pdf(format!("{id}-tags"), bytes))
}

pub(super) fn certificate(call: &Call<'_>) -> Answered {
    let number = numbered(call.name("number"))?;
    let (issued, bytes) = call.read(|reader| {
        let issued = reader.certificate(&number)?.ok_or_else(|| not_here(&number))?;
        let bytes = reader.blob(issued.card.document)?;
        Ok((issued, bytes))
    })?;
    Ok(Answer::Pdf(format!("{}-certificate-{}", issued.card.mould, issued.number), bytes))
}
