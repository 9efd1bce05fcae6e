//! A circuit at the bench: what it needs, the forms for its readings, what they show, and what is on record.

use std::sync::Arc;

use axum::extract::{Path, Query, State};
use axum::http::HeaderMap;
use axum::response::{Html, IntoResponse as _, Response};
use bench::finding::{CircuitFinding, Findings, NextStep, Passage, Tightness};
use bench::mould::CircuitId;
use calc::form::Fault;
use maud::{Markup, html};
use report::pieces::{bore_eye, gate, moment};
use report::{Parts, Units};
use store::shapes::{
    DecayCard, FlowCard, PortCard2, ReadingCard, RigOnCard, RigRunCard, TreatmentWord, VolumeCard,
    WatchedCard, WhatCard,
};
use store::{AsOf, Fact, Item, Subject};

use super::visit::no_form;
use super::{blocking, read, visit_row};
use crate::app::App;
use crate::entry::definitions::{self, Ask, Asked, Form};
use crate::entry::hook_up::ports_of;
use crate::entry::question::{self, Asking};
use crate::entry::reading::Spot;
use crate::entry::somebody;
use crate::forms::{Control, Place as Field, sealed, summary};
use crate::layout::{self, Page, Place};
use crate::problem::Problem;
use crate::sent::FILE;
use crate::session::{Session, fresh_key};
use crate::shown;
use crate::typed::Typed;
use crate::units::unit;

/// A form that is answered with what is wrong.
pub(crate) struct Entering<'a> {
    /// The form.
    pub form: &'static Form,
    /// What was typed.
    pub typed: &'a Typed,
    /// What is wrong.
    pub faults: &'a [Fault],
    /// Numbers that are unlikely, and what was meant.
    pub questions: &'a [Asking],
}

/// The page of a circuit at the bench.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit, circuit)): Path<(String, String, String)>,
    Query(pairs): Query<Vec<(String, String)>>,
) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let spot = Spot { mould, visit, circuit };
        let recorded = Typed::new(pairs).get("recorded").parse().ok();
        Ok(whole(&app, session.as_ref(), &spot, None, None, recorded)?.into_response())
    })
    .await
}

/// The same, with an answer to a form, or to a reading withdrawn without a reason.
pub(crate) fn with(
    app: &App,
    session: Option<&Session>,
    spot: &Spot,
    entering: Option<&Entering<'_>>,
    unreasoned: Option<u64>,
) -> Result<Html<String>, Problem> {
    whole(app, session, spot, entering, unreasoned, None)
}

fn whole(
    app: &App,
    session: Option<&Session>,
    spot: &Spot,
    entering: Option<&Entering<'_>>,
    unreasoned: Option<u64>,
    recorded: Option<u64>,
) -> Result<Html<String>, Problem> {
    let Spot { mould, visit, circuit } = spot;
    let (items, running, shown) = read(app, |reader| {
        let row = visit_row(reader, mould, visit)?;
        let items = reader.items(&Subject::visit(mould, visit), AsOf::Now)?;
        Ok((items, row.outcome.is_none(), shown::of(app, reader, mould, visit)?))
    })?;
    let id = CircuitId(circuit.clone());
    let found = shown.findings.circuits.iter().find(|found| found.id == id);
    let found = found.ok_or_else(|| Problem::Missing(format!("Mould {mould} has no circuit {circuit}.")))?;
    let units = Session::units_of(session);
    let way = |_: usize| String::new();
    let parts = Parts::new(&shown.findings, &way).in_units(units).on_page();
    let here = layout::bench(mould, visit, circuit);
    let readings: Vec<(&Item, &ReadingCard)> = items
        .iter()
        .filter_map(|item| match &item.fact {
            Fact::Reading(card) if card.circuit.as_ref().is_none_or(|own| own == circuit) => {
                Some((item, card))
            }
            _ => None,
        })
        .collect();
    let content = html! {
        @if let Some((item, card)) = readings.iter().find(|(item, _)| Some(item.entry.number) == recorded) {
            p.recorded #recorded role="status" { strong { "Recorded" } ": " span data-as-typed="numbers" { (in_words(card, units)) } ", entry " (item.entry.number) ". What it shows stands below." }
        }
        div.circuit-head {
            (bore_eye(found))
            div {
                h1 { (found.id) " · " @match &found.serves { Some(serves) => (serves), None => (found.half) } }
                p.lead { (report::pieces::next_step(found.next_step)) (found.reason) }
            }
        }
        dl.gates-row {
            @for (name, state) in [("Wet", &found.gates.wet), ("Descale", &found.gates.descale), ("Release", &found.gates.release)] {
                div { dt { (name) } dd { (gate(state)) } }
            }
        }
        @if running && session.is_some_and(|session| session.role.overrides()) {
            p { a.button href={ (here) "/gates" } { "Override a gate, with a reason" } }
        }
        @if running {
            section aria-labelledby="enter" {
                h2 #enter { "Enter a reading" }
                (jumpered(&items, circuit))
                @match Session::recording(session) {
                    Some(session) => @for form in definitions::ALL { (entry_form(session, spot, form, entering, found)) },
                    None => {
                        @if let Some(entering) = entering { (kept(entering)) }
                        (no_form(session, &here))
                    },
                }
            }
        } @else if let Some(entering) = entering { (kept(entering)) }
        section aria-labelledby="evidence" { h2 #evidence { "What is found, and what it rests on" } h3.quiet { "Circuit " (found.id) ", " (found.half) } (overdue(&shown.findings, found)) (parts.circuit(found, &format!("{}#leaks", layout::visit(mould, visit)))) }
        (on_record(Session::recording(session).filter(|_| running), units, spot, &readings, unreasoned))
        p { a.button href=(layout::circuit(mould, circuit)) { "This circuit over all visits" } }
    };
    let title = format!("{mould} {circuit}");
    let trail = [
        ("Moulds".to_owned(), "/moulds".to_owned()),
        (mould.clone(), layout::mould(mould)),
        (format!("Visit {visit}"), layout::visit(mould, visit)),
    ];
    let page = Page { title: &title, place: Place::Moulds, here: &here, trail: &trail };
    Ok(page.html(app, session, &content))
}

/// Says so where a circuit hangs on the rig through a jumper only: what is read there is not its own.
fn jumpered(items: &[Item], circuit: &str) -> Markup {
    let ports = items.iter().find_map(|item| ports_of(&item.fact)).unwrap_or_default();
    let on_it = |on: &&PortCard2| on.circuits.iter().any(|one| one.circuit == circuit);
    let alone = ports.iter().any(|on| on.circuits.len() == 1 && on_it(&on));
    let chain = ports.iter().find(on_it).filter(|_| !alone);
    html! { @if let Some(on) = chain {
        p.overdue {
            "A jumper joins it with " (on.circuits.iter().map(|one| one.circuit.as_str()).filter(|one| *one != circuit).collect::<Vec<_>>().join(", "))
            ": what is read there belongs to all of them. Hook it up by itself before it is tested."
        }
    } }
}

/// Calibrations that had ended and that something found of this circuit rests on.
pub(crate) fn overdue(findings: &Findings, found: &CircuitFinding) -> Markup {
    html! { @for text in crate::entry::calibration::overdue(findings, found) { p.overdue { (text) } } }
}

/// The form that is open when the page is: the first step that has no answer yet.
fn suggested(found: &CircuitFinding) -> &'static str {
    match (found.tightness, found.passage, found.next_step) {
        (Tightness::Untested, ..) => "leak-down",
        (_, Passage::Untested, _) => "air-passage",
        (_, _, NextStep::Open | NextStep::Repair | NextStep::Descale) => "treatment",
        _ if found.flow_factor_m3_h.is_none() && found.gates.wet.open => "flow",
        _ => "",
    }
}

fn entry_form(
    session: &Session,
    spot: &Spot,
    form: &'static Form,
    entering: Option<&Entering<'_>>,
    found: &CircuitFinding,
) -> Markup {
    let answer = entering.filter(|entering| entering.form.word == form.word);
    let open = answer.is_some() || (entering.is_none() && form.word == suggested(found));
    let nothing = Typed::default();
    let (typed, faults) = answer.map_or((&nothing, &[][..]), |answer| (answer.typed, answer.faults));
    let key = typed.given("key").map_or_else(fresh_key, str::to_owned);
    let takes_file = form.fields.iter().any(|asked| asked.name == "trace");
    html! {
        details.form open[open] {
            summary { (form.title) }
            form.entry method="post" enctype=[takes_file.then_some("multipart/form-data")] novalidate
                action={ (layout::bench(&spot.mould, &spot.visit, &spot.circuit)) "/enter/" (form.word) } {
                (summary(form.word, faults, |name| form.label(name)))
                p { (form.intro) }
                @if let Some(step) = form.step { ul.small-cautions { @for text in step.cautions() { li { (text) } } } }
                (shut_gates(form, found))
                (sealed(session, &key))
                (question::panel(form, answer.map_or(&[], |answer| answer.questions)))
                div.fields { @for asked in form.fields {
                    (field(form, asked, typed, session).html(faults))
                    @if asked.name == "trace" { (file(form.word)) }
                } }
                button type="submit" { "Record" }
            }
        }
    }
}

/// Place for a logger's file.
fn file(form: &str) -> Markup {
    let id = crate::forms::id(form, "trace-file");
    html! {
        div.field {
            label for=(id) { "Or choose its file" span.optional { " (may be left out)" } }
            input.file id=(id) type="file" name={ "trace" (FILE) } accept=".csv,.txt,text/csv,text/plain" aria-describedby={ (id) "-help" };
            p.help id={ (id) "-help" } { "CSV of any logger. It may be dropped here." }
        }
    }
}

/// The gates that are shut for what a form reports: what was done is recorded all the same, and nobody does it unwarned.
fn shut_gates(form: &Form, found: &CircuitFinding) -> Markup {
    let gates = [("Wet", &found.gates.wet), ("Descale", &found.gates.descale)];
    let concerned = match form.word {
        "flow" | "volume-water" => &gates[..1],
        "treatment" => &gates[..],
        _ => &[],
    };
    html! {
        @for (name, state) in concerned.iter().filter(|(_, state)| !state.open) {
            div.shut-gate { p { strong { (name) } } (gate(state)) }
        }
    }
}

pub(crate) fn field<'a>(
    form: &'static Form,
    asked: &'static Asked,
    typed: &'a Typed,
    session: &Session,
) -> Field<'a> {
    let control = match asked.ask {
        Ask::Number => Control::Number,
        Ask::Line => Control::Line,
        Ask::Lines | Ask::Columns => Control::Lines,
        Ask::Choice(choices) => Control::Choice(
            choices.iter().map(|(value, words)| ((*value).to_owned(), (*words).to_owned())).collect(),
        ),
    };
    Field {
        form: form.word,
        name: asked.name,
        label: asked.label,
        help: asked.help,
        unit: session.units.shown(unit(asked.name)),
        optional: asked.optional,
        control,
        value: typed.get(asked.name),
    }
}

/// What was typed and cannot be taken, so that it is not lost.
fn kept(entering: &Entering<'_>) -> Markup {
    html! {
        (summary(entering.form.word, entering.faults, |_| None))
        p { "This was typed, and is not recorded:" }
        dl.kept { @for asked in entering.form.fields {
            @if let Some(text) = entering.typed.given(asked.name) { div { dt { (asked.label) } dd { (text) } } }
        } }
    }
}

/// The circuit's readings on record, each with the way to withdraw it.
fn on_record(
    session: Option<&Session>,
    units: Units,
    spot: &Spot,
    readings: &[(&Item, &ReadingCard)],
    unreasoned: Option<u64>,
) -> Markup {
    html! {
        section aria-labelledby="readings" {
            h2 #readings { "On record in this visit" }
            @if readings.is_empty() { p { "Nothing yet." } }
            ol.record { @for (item, card) in readings {
                li {
                    p {
                        strong data-as-typed="numbers" { (in_words(card, units)) }
                        span.under {
                            "entry " (item.entry.number) ", " (item.entry.person)
                            @if let Some(at) = card.at { ", " (moment(at)) }
                            @if card.circuit.is_none() { ", the whole mould" }
                        }
                    }
                    @if let Some(session) = session.filter(|_| card.circuit.is_some()) {
                        @let wrong = unreasoned == Some(item.entry.number);
                        details open[wrong] {
                            summary { "Withdraw" }
                            form.entry method="post" novalidate
                                action={ (layout::bench(&spot.mould, &spot.visit, &spot.circuit)) "/withdraw/" (item.entry.number) } {
                                (sealed(session, &fresh_key()))
                                (reason(item.entry.number, wrong))
                                button type="submit" { "Withdraw this reading" }
                            }
                        }
                    }
                }
            } }
        }
    }
}

fn reason(number: u64, wrong: bool) -> Markup {
    let form = format!("withdraw-{number}");
    let faults =
        if wrong { vec![Fault::new("reason", "missing", "say why it does not hold")] } else { Vec::new() };
    Field {
        form: &form,
        name: "reason",
        label: "Why it does not hold",
        help: "The reading stays in the history, with this reason; it no longer counts.",
        unit: "",
        optional: false,
        control: Control::Line,
        value: "",
    }
    .html(&faults)
}

/// A reading in a few words, with its numbers as they were given.
pub(crate) fn in_words(card: &ReadingCard, units: Units) -> String {
    let (number, exact) = (|value, unit| units.number(value, unit), |value, unit| units.exact(value, unit));
    let decay = |decay: &DecayCard| match decay {
        DecayCard::Trace(_) => "logged".to_owned(),
        DecayCard::Read { start_bar_g, end_bar_g, time_s } => {
            format!(
                "{} to {} in {}",
                number(*start_bar_g, "bar"),
                exact(*end_bar_g, "bar"),
                exact(*time_s, "s")
            )
        }
    };
    match &card.what {
        WhatCard::LeakDown { decay: seen, .. } => format!("Leak-down, {}", decay(seen)),
        WhatCard::AirPassage { decay: seen, .. } => format!("Air passage, {}", decay(seen)),
        WhatCard::Flow { flow, pressure_in_bar_g, pressure_out_bar_g, water_temperature_deg_c, .. } => {
            let flow = match flow {
                FlowCard::Trace(_) => "logged".to_owned(),
                FlowCard::Mean(mean) => exact(*mean, "l/min"),
            };
            let ends =
                format!("{} to {}", number(*pressure_in_bar_g, "bar"), exact(*pressure_out_bar_g, "bar"));
            format!("Flow, {flow}, {ends}, {}", exact(*water_temperature_deg_c, "°C"))
        }
        WhatCard::Volume { volume, .. } => match volume {
            VolumeCard::Drained(volume_ml) => {
                format!("Filled volume, {} drained", exact(volume_ml.value, "ml"))
            }
            VolumeCard::AirExpansion { .. } => "Filled volume, by air".to_owned(),
        },
        WhatCard::CrossWatch { also_charged, watched, .. } => {
            let names = |all: &[WatchedCard]| {
                all.iter().map(|one| one.circuit.as_str()).collect::<Vec<_>>().join(", ")
            };
            let with = if also_charged.is_empty() {
                String::new()
            } else {
                format!(" with {}", names(also_charged))
            };
            format!("Charged{with}, watched {}", names(watched))
        }
        WhatCard::Note { text } => format!("Note: {text}"),
        WhatCard::Treatment { treatment, remark } => {
            let words = done(*treatment);
            remark.as_ref().map_or(words.to_owned(), |remark| format!("{words}: {remark}"))
        }
        WhatCard::RigCheck(run) => rig_check(run, units),
        WhatCard::Bucket { fillings, .. } => {
            let first = fillings.first().map(|one| exact(one.time_s, "s")).unwrap_or_default();
            let count = report::pieces::counted(fillings.len(), "filling", "fillings");
            format!("Bucket and stopwatch, {count}, the first {first}")
        }
    }
}

fn rig_check(run: &RigRunCard, units: Units) -> String {
    let exact = |value, unit| units.exact(value, unit);
    let on = match run.on {
        RigOnCard::Fixture => "Reading on hoses joined".to_owned(),
        RigOnCard::Orifice { flow_factor_m3_h, .. } => {
            format!("Reading on an orifice of {}", exact(flow_factor_m3_h, "m³/h"))
        }
        RigOnCard::AtRest => "Gauges open to the air".to_owned(),
        RigOnCard::ShutOff => "Both gauges on one pressure".to_owned(),
    };
    let told = [
        ("", run.flow_l_min.map(|flow| exact(flow, "l/min"))),
        ("inlet ", run.pressure_in_bar_g.map(|pressure| exact(pressure, "bar"))),
        ("outlet ", run.pressure_out_bar_g.map(|pressure| exact(pressure, "bar"))),
        ("reference ", run.reference_pressure_bar_g.map(|reference| exact(reference.shown, "bar"))),
        ("", run.water_temperature_deg_c.map(|water| exact(water, "°C"))),
    ];
    let told = told.into_iter().filter_map(|(name, value)| Some(format!(", {name}{}", value?)));
    core::iter::once(on).chain(told).collect()
}

const fn done(treatment: TreatmentWord) -> &'static str {
    match treatment {
        TreatmentWord::BlowOut => "Blown out",
        TreatmentWord::Open => "Opened",
        TreatmentWord::Repair => "Repaired",
        TreatmentWord::Descale => "Descaled",
        TreatmentWord::Neutralise => "Neutralised",
        TreatmentWord::Rinse => "Rinsed",
        TreatmentWord::Preserve => "Preserved",
        TreatmentWord::Dry => "Dried",
    }
}
