//! The editor of a rig, over the fields of the rig file.

use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::HeaderMap;
use axum::response::{Html, IntoResponse as _, Redirect, Response};
use calc::form::{Fault, Kind, Need, Preset, Value};
use exchange::{one_rig, shapes::rig_value};
use maud::{Markup, html};
use report::pieces::{capital, exact};
use store::shapes::RigCard;
use store::{AsOf, Entry, Fact, Reader, Subject};

use super::edit::{Filling, history, versions};
use super::visit::no_form;
use super::{blocking, read, unprocessable};
use crate::app::App;
use crate::entry::mould::name_fault;
use crate::entry::say::{Posted, Say, nothing_changed, reason_missing};
use crate::entry::somebody;
use crate::forms::{sealed, summary};
use crate::layout::{Page, Place, encoded};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::typed::{Typed, number};

/// What a field is called on the page, where the words of the file need their neighbours to be understood.
const WORDS: [(&str, &str); 17] = [
    ("name", "Name of the rig"),
    ("flow_uncertainty_percent", "Uncertainty of the flow meter"),
    ("pressure_uncertainty_bar", "Uncertainty of each pressure gauge"),
    ("gauge_step_bar", "Smallest step that the gauges show"),
    ("temperature_uncertainty_k", "Uncertainty of the water thermometer"),
    ("pump_curve", "Pump curve"),
    ("fixture_flow_factor_m3_h", "Flow factor of hoses joined without a mould"),
    ("fixture_uncertainty_percent", "Its uncertainty"),
    ("fixture_volume_ml", "Volume of hoses, couplings and dead ends"),
    ("fixture_sonic_conductance_dm3_s_bar", "Sonic conductance of hoses and couplings"),
    ("reference_volume_ml", "Vessel of known volume, for filled volumes"),
    ("reservoir_volume_ml", "Air vessel that empties through circuits"),
    ("atmosphere_bar_abs", "Pressure of the surrounding air"),
    ("calibrated_until", "Calibration of everything holds until"),
    ("flow_calibrated_until", "Calibration of the flow meter holds until"),
    ("pressure_calibrated_until", "Calibration of the gauges holds until"),
    ("temperature_calibrated_until", "Calibration of the thermometer holds until"),
];

/// A rig on record, or none yet.
struct Shown {
    name: Option<String>,
    card: Option<(RigCard, u64)>,
    past: Vec<Entry>,
}

fn gather(reader: &Reader<'_>, name: Option<&str>) -> Result<Shown, Problem> {
    let Some(name) = name else { return Ok(Shown { name: None, card: None, past: Vec::new() }) };
    let items = reader.items(&Subject::rig(name), AsOf::Now)?;
    let card = items.into_iter().find_map(|item| match item.fact {
        Fact::Rig(card) => Some((card, item.entry.number)),
        _ => None,
    });
    let card = card.ok_or_else(|| Problem::Missing(format!("There is no rig {name}.")))?;
    let past = history(reader, &Subject::rig(name), &["rig"])?;
    Ok(Shown { name: Some(name.to_owned()), card: Some(card), past })
}

fn address(name: Option<&str>) -> String {
    name.map_or_else(|| "/new-rig".to_owned(), |name| format!("/rigs/{}", encoded(name)))
}

/// The editor of a rig that is not on record yet.
pub(crate) async fn new(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    show(app, headers, None).await
}

/// The editor of a rig.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(rig): Path<String>,
) -> Response {
    show(app, headers, Some(rig)).await
}

async fn show(app: Arc<App>, headers: HeaderMap, rig: Option<String>) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let shown = read(&app, |reader| gather(reader, rig.as_deref()))?;
        let typed = as_it_stands(&shown);
        Ok(with(&app, session.as_ref(), &shown, &typed, &[]).into_response())
    })
    .await
}

fn as_it_stands(shown: &Shown) -> Typed {
    let mut typed = Typed::default();
    let Some((card, entry)) = &shown.card else { return typed };
    typed.set("known", &entry.to_string());
    for (name, value) in rig_value(&card.rig()).fields() {
        let text = match value {
            Value::Number(number) => number.to_string(),
            Value::Text(text) => text.clone(),
            Value::List(points) => {
                let point =
                    |point: &Value| point.numbers().iter().map(f64::to_string).collect::<Vec<_>>().join("; ");
                points.iter().map(point).collect::<Vec<_>>().join("\n")
            }
            _ => String::new(),
        };
        typed.set(name, &text);
    }
    typed
}

fn label(name: &str) -> Option<String> {
    if name == "reason" {
        return Some("Why it changes".to_owned());
    }
    let own = WORDS.iter().find(|(known, _)| *known == name).map(|(_, words)| (*words).to_owned());
    own.or_else(|| one_rig::fields().iter().find(|field| field.name == name).map(|field| capital(field.text)))
}

fn with(
    app: &App,
    session: Option<&Session>,
    shown: &Shown,
    typed: &Typed,
    faults: &[Fault],
) -> Html<String> {
    let here = address(shown.name.as_deref());
    let filling = Filling { form: "rig", typed, faults };
    let content = html! {
        h1 { @match &shown.name { Some(name) => { "Rig " (name) }, None => "A new rig" } }
        p.lead { "Uncertainties are standard ones: one standard deviation. What is left out is assumed, and widens the answers. A visit keeps the rig as it stood on its day." }
        @match Session::recording(session) {
            Some(session) => form.entry method="post" action=(here) novalidate {
                (summary("rig", faults, label))
                (sealed(session, &fresh_key()))
                input type="hidden" name="known" value=(typed.get("known"));
                div.fields { @for field in one_rig::fields() {
                    @if field.name != "name" || shown.name.is_none() { (one(field, filling)) }
                } }
                @if shown.card.is_some() { (filling.reason()) }
                button type="submit" { "Record the rig" }
            },
            None => (no_form(session, &here)),
        }
        (versions(&shown.past))
    };
    let trail = [("Rigs".to_owned(), "/rigs".to_owned())];
    let page = Page { title: "Rig", place: Place::Rigs, here: &here, trail: &trail };
    page.html(app, session, &content)
}

fn one(field: &'static calc::form::Field, filling: Filling<'_>) -> Markup {
    let label = label(field.name).unwrap_or_default();
    let help = match &field.need {
        Need::Default(Preset::Number(value)) => format!("{} if left out.", exact(*value, "")),
        _ => String::new(),
    };
    match field.kind {
        Kind::List { .. } => {
            filling.lines(field.name, &label, "One point a line: l/min; bar, such as 25; 5.1.", true)
        }
        Kind::Text if field.name != "name" => filling.line(field.name, &label, "YYYY-MM-DD", true),
        Kind::Text => filling.line(field.name, &label, &help, false),
        _ => filling.number(field.name, &label, &help, true),
    }
}

/// Takes a new rig.
pub(crate) async fn enter_new(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take(&app, &headers, None, &typed)).await
}

/// Takes a change of a rig.
pub(crate) async fn enter(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path(rig): Path<String>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || take(&app, &headers, Some(&rig), &typed)).await
}

fn take(app: &App, headers: &HeaderMap, rig: Option<&str>, typed: &Typed) -> Result<Response, Problem> {
    let sent = Posted::of(app, headers, typed, address(rig))?;
    let done = || Ok(Redirect::to("/rigs").into_response());
    if sent.before()? {
        return done();
    }
    let (shown, rigs) = read(app, |reader| Ok((gather(reader, rig)?, reader.rigs()?)))?;
    let again = |faults: &[Fault]| Ok(unprocessable(with(app, Some(&sent.session), &shown, typed, faults)));
    let name = rig.unwrap_or_else(|| typed.get("name"));
    let mut faults = Vec::new();
    if rig.is_none() {
        faults.extend(name_fault("name", name));
        if rigs.iter().any(|known| known == name) {
            faults.push(Fault::new(
                "name",
                format!("rig {name} is on record already"),
                "open it from the list of rigs",
            ));
        }
    } else {
        faults.extend(reason_missing(typed));
    }
    let read =
        one_rig::read(&value(name, typed)).map_err(|more| faults.extend(more.into_iter().map(in_form)));
    let (Ok(read), true) = (read, faults.is_empty()) else { return again(&faults) };
    let card = RigCard::of(&read);
    if shown.card.as_ref().is_some_and(|(known, _)| *known == card) {
        return again(&[nothing_changed()]);
    }
    let say =
        Say { fact: Fact::Rig(card), instead_of: typed.get("known").parse().ok().filter(|_| rig.is_some()) };
    match sent.record(typed.get("reason"), vec![say], Vec::new())? {
        Ok(()) => done(),
        Err(faults) => again(&faults),
    }
}

/// What was typed, as the rig file holds it.
fn value(name: &str, typed: &Typed) -> Value {
    let point = |line: &str| Value::List(line.split([';', '\t']).map(|part| number(part.trim())).collect());
    let one = |field: &'static calc::form::Field| {
        let own = Some(name).filter(|name| !name.is_empty());
        let text = if field.name == "name" { own } else { typed.given(field.name) }?;
        let value = match field.kind {
            Kind::List { .. } => {
                Value::List(text.lines().filter(|line| !line.trim().is_empty()).map(point).collect())
            }
            Kind::Text => Value::from(text),
            _ => number(text),
        };
        Some((field.name, value))
    };
    Value::record(one_rig::fields().iter().filter_map(one))
}

/// A fault of a point of the pump's curve belongs to the field that holds the curve.
fn in_form(fault: Fault) -> Fault {
    match fault.field.strip_prefix("pump_curve.") {
        Some(rest) => {
            let line = rest.split('.').next().and_then(|at| at.parse::<usize>().ok()).unwrap_or_default() + 1;
            Fault {
                field: "pump_curve".to_owned(),
                problem: format!("line {line}: {}", fault.problem),
                ..fault.clone()
            }
        }
        None => fault,
    }
}
