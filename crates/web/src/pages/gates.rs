//! The gates of a circuit: where a lead decides against the rule, with a reason.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::{Html, IntoResponse as _, Response};
use bench::finding::{Gate, GateName};
use bench::judge::cautions;
use calc::form::Fault;
use maud::{Markup, html};
use report::pieces::{capital, caution, gate as shown_gate, moment};
use store::shapes::OverrideCard;
use store::{AsOf, Fact, Item, Subject};

use super::{blocking, read, visit_row};
use crate::app::App;
use crate::entry::reading::Spot;
use crate::entry::somebody;
use crate::forms::{Control, Place as Field, sealed, summary};
use crate::layout::{self, Page, Place};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::shown;

/// A form that is answered with what is wrong.
pub(crate) struct Deciding<'a> {
    /// The gate.
    pub gate: GateName,
    /// The reason that was typed.
    pub because: &'a str,
    /// What is wrong.
    pub faults: &'a [Fault],
}

/// The gates of a circuit in a visit.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit, circuit)): Path<(String, String, String)>,
) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let spot = Spot { mould, visit, circuit };
        Ok(with(&app, session.as_ref(), &spot, None)?.into_response())
    })
    .await
}

/// The same, with an answer to a form.
pub(crate) fn with(
    app: &App,
    session: Option<&Session>,
    spot: &Spot,
    deciding: Option<&Deciding<'_>>,
) -> Result<Html<String>, Problem> {
    let Spot { mould, visit, circuit } = spot;
    let (gates, items, running) = read(app, |reader| {
        let row = visit_row(reader, mould, visit)?;
        let found = shown::of(app, reader, mould, visit)?.findings;
        let found = found.circuits.iter().find(|found| found.id.0 == *circuit);
        let found =
            found.ok_or_else(|| Problem::Missing(format!("Mould {mould} has no circuit {circuit}.")))?;
        let items = reader.items(&Subject::visit(mould, visit), AsOf::Now)?;
        Ok((found.gates.clone(), items, row.outcome.is_none()))
    })?;
    let lead = session.filter(|session| session.role.overrides() && running);
    let given: Vec<(&Item, &OverrideCard)> = items
        .iter()
        .filter_map(|item| match &item.fact {
            Fact::Override(card) if card.circuit == *circuit => Some((item, card)),
            _ => None,
        })
        .collect();
    let content = html! {
        h1 { "Gates of " (circuit) }
        p.lead { "A lead or an administrator may decide against the rule of a gate, with a written reason. Name and reason stand on every page and paper that relies on it." }
        p.about { "An override covers what was known when it was given: what comes to light later shuts the gate again. What could hurt people cannot be overridden." }
        @for name in GateName::ALL { (one(lead, spot, name, gates.get(name), deciding)) }
        section.small-form aria-labelledby="given" {
            h2 #given { "Decided in this visit" }
            @if given.is_empty() { p { "Nothing yet: the rules decide." } }
            ol.record { @for (item, card) in given { (said(lead, spot, item, card)) } }
        }
        @if session.is_some() && lead.is_none() && running { p { "You are not on record as a lead or an administrator, so you only look here." } }
    };
    let here = format!("{}/gates", layout::bench(mould, visit, circuit));
    let trail = [
        ("Moulds".to_owned(), "/moulds".to_owned()),
        (mould.clone(), layout::mould(mould)),
        (format!("Visit {visit}"), layout::visit(mould, visit)),
        (circuit.clone(), layout::bench(mould, visit, circuit)),
    ];
    let title = format!("{mould} {circuit}, gates");
    let page = Page { title: &title, place: Place::Moulds, here: &here, trail: &trail };
    Ok(page.html(app, session, &content))
}

fn one(
    lead: Option<&Session>,
    spot: &Spot,
    name: GateName,
    gate: &Gate,
    deciding: Option<&Deciding<'_>>,
) -> Markup {
    let word = name.word();
    let answer = deciding.filter(|deciding| deciding.gate == name);
    let address = format!("{}/gates/{word}", layout::bench(&spot.mould, &spot.visit, &spot.circuit));
    let offered = lead.filter(|_| gate.overridden.is_none() && (gate.open || gate.firm.is_none()));
    let title = if gate.open { "Shut it, with a reason" } else { "Override with a reason" };
    html! {
        section.small-form aria-labelledby=(word) {
            h2 id=(word) { (capital(word)) }
            p { (shown_gate(gate)) }
            @if let Some(why) = gate.firm.filter(|_| !gate.open) { p.shut-gate { strong { "Not to be overridden" } ": " (why) "." } }
            @if let Some(session) = offered {
                @let faults = answer.map_or(&[][..], |answer| answer.faults);
                details.form open[answer.is_some()] {
                    summary { (title) }
                    form.entry method="post" action=(address) novalidate {
                        (summary(word, faults, |name| (name == "because").then(|| "Reason".to_owned())))
                        @if !gate.open { (cautions_of(name)) }
                        (sealed(session, &fresh_key()))
                        input type="hidden" name="open" value=(if gate.open { "no" } else { "yes" });
                        input type="hidden" name="seen" value=(gate.obstacles.join(" "));
                        (reason(word, answer.map_or("", |answer| answer.because)).html(faults))
                        button type="submit" { @if gate.open { "Shut the gate" } @else { "Open the gate" } }
                    }
                }
            }
        }
    }
}

fn cautions_of(name: GateName) -> Markup {
    let list: &[&str] = match name {
        GateName::Wet => &[cautions::WET, cautions::HOSES, cautions::TRAPPED],
        GateName::Descale => &[cautions::ACID, cautions::TRAPPED, cautions::HOSES],
        GateName::Release => &[cautions::TRAPPED],
    };
    html! { div.cautions { p.cautions-head { (caution()) "Cautions" } ul { @for text in list { li { (text) } } li { (cautions::AUTHORITY) } } } }
}

fn reason<'a>(form: &'a str, value: &'a str) -> Field<'a> {
    Field {
        form,
        name: "because",
        label: "Reason",
        help: "Why it is right here, and what is done instead. It cannot be changed later.",
        unit: "",
        optional: false,
        control: Control::Lines,
        value,
    }
}

/// One decision on record, with the way to take it back.
fn said(lead: Option<&Session>, spot: &Spot, item: &Item, card: &OverrideCard) -> Markup {
    let at = jiff::Timestamp::from_microsecond(item.entry.at_us).unwrap_or_default();
    let address =
        format!("{}/gates/{}/back", layout::bench(&spot.mould, &spot.visit, &spot.circuit), card.gate);
    html! {
        li {
            p {
                strong data-as-typed="numbers" { (capital(&card.gate)) " " @if card.open { "opened" } @else { "shut" } ": " span translate="no" { (card.because) } }
                span.under { "entry " (item.entry.number) ", " (item.entry.person) ", " (moment(at)) }
            }
            @if let Some(session) = lead {
                form.entry method="post" action=(address) novalidate {
                    (sealed(session, &fresh_key()))
                    input type="hidden" name="entry" value=(item.entry.number);
                    button.quiet-button type="submit" { "Take it back: the rule decides again" }
                }
            }
        }
    }
}
