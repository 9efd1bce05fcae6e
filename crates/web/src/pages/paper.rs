//! Papers: certificates, and sheets and tags as PDF.

use std::sync::Arc;

use axum::Router;
use axum::extract::{Form as Body, Path, State};
use axum::http::{HeaderMap, header};
use axum::response::{IntoResponse as _, Redirect, Response};
use axum::routing::{get, post};
use calc::estimate::Estimate;
use maud::{Markup, html};
use report::plain::{moment, percent};
use store::read::{CertificateNumber, Issued, Said, Standing};
use store::shapes::{CircuitFindingCard, OutcomeWord, VisitEndCard};
use store::{AsOf, Entry};

use super::visit::no_form;
use super::{blocking, read};
use crate::app::App;
use crate::entry::hook_up::newest_ports;
use crate::entry::{key, sender, somebody};
use crate::forms::sealed;
use crate::layout::{self, Page, Place};
use crate::printer::{PrintError, Printer};
use crate::problem::Problem;
use crate::session::{Session, fresh_key};
use crate::shown;
use crate::typed::Typed;

/// A document may be shown by the browser's own viewer, and fetches nothing.
const POLICY: &str =
    "default-src 'none'; object-src 'self'; style-src 'unsafe-inline'; frame-ancestors 'none'";
/// Coverage of the intervals on record.
const COVERAGE: f64 = 0.95;

/// Where the papers stand; `visit` is the pattern of a visit's address.
pub(crate) fn routes(visit: &str) -> Router<Arc<App>> {
    Router::new()
        .route(&format!("{visit}/certificate"), post(issue))
        .route(&format!("{visit}/sheet.pdf"), get(visit_sheet))
        .route(&format!("{visit}/hook-up.pdf"), get(hook_up_sheet))
        .route("/moulds/{mould}/tags.pdf", get(tags))
        .route("/certificates/{number}", get(page))
        .route("/certificates/{number}/certificate.pdf", get(document))
}

impl From<PrintError> for Problem {
    fn from(error: PrintError) -> Self {
        match error {
            PrintError::Store(error) => error.into(),
            PrintError::Refused(text) => Self::Refused(text),
            PrintError::Failed(text) => Self::Failed(text),
        }
    }
}

pub(crate) fn printer(app: &App) -> Result<&dyn Printer, Problem> {
    let missing = || Problem::Missing("This Borewise was built without PDF.".into());
    app.printer.as_deref().ok_or_else(missing)
}

/// The address of these pages, as the browser has it; the guard has let it pass.
fn asked_at(headers: &HeaderMap) -> String {
    let host = headers.get(header::HOST).and_then(|host| host.to_str().ok()).unwrap_or("localhost");
    format!("http://{host}")
}

/// A PDF under a name that any disk takes.
pub(crate) fn pdf(name: &str, bytes: Vec<u8>) -> Response {
    let plain =
        |letter: char| if letter.is_ascii_alphanumeric() || "-.".contains(letter) { letter } else { '-' };
    let name: String = name.chars().map(plain).collect();
    let headers = [
        (header::CONTENT_TYPE, "application/pdf".to_owned()),
        (header::CONTENT_DISPOSITION, format!("inline; filename=\"{name}.pdf\"")),
        (header::CONTENT_SECURITY_POLICY, POLICY.to_owned()),
    ];
    (headers, bytes).into_response()
}

async fn issue(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit)): Path<(String, String)>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let typed = Typed::new(pairs);
    blocking(move || {
        let session = sender(&app, &headers, &typed, layout::visit(&mould, &visit))?;
        key(&typed)?;
        let (at, address) = (jiff::Timestamp::now(), asked_at(&headers));
        let number = printer(&app)?.issue(&app.store, &mould, &visit, &session.person, at, &address)?;
        Ok(Redirect::to(&address_of(&number)).into_response())
    })
    .await
}

async fn visit_sheet(State(app): State<Arc<App>>, Path((mould, visit)): Path<(String, String)>) -> Response {
    blocking(move || {
        let (shown, digest) = read(&app, |reader| {
            let shown = shown::of(&app, reader, &mould, &visit)?;
            Ok((shown, reader.inputs_of(&mould, &visit, AsOf::Now)?.to_string()))
        })?;
        let bytes = printer(&app)?.visit_sheet(&shown.findings, &digest)?;
        Ok(pdf(&format!("{mould}-{visit}-visit-sheet"), bytes))
    })
    .await
}

async fn hook_up_sheet(
    State(app): State<Arc<App>>,
    Path((mould, visit)): Path<(String, String)>,
) -> Response {
    blocking(move || {
        let (shown, ports) = read(&app, |reader| {
            let shown = shown::of(&app, reader, &mould, &visit)?;
            Ok((shown, newest_ports(reader, &mould, &visit)?))
        })?;
        let bytes = printer(&app)?.hook_up_sheet(&shown.findings, &ports)?;
        Ok(pdf(&format!("{mould}-{visit}-hook-up"), bytes))
    })
    .await
}

async fn tags(State(app): State<Arc<App>>, headers: HeaderMap, Path(id): Path<String>) -> Response {
    blocking(move || {
        let (mould, at) = read(&app, |reader| {
            let mould = reader.mould(&id, AsOf::Now)?;
            let known = reader.history(&store::Subject::mould(&id), AsOf::Now)?;
            Ok((mould, known.last().map(Entry::at).unwrap_or_default()))
        })?;
        let address = |circuit: &str| layout::circuit(&id, circuit);
        let bytes = printer(&app)?.tags(&mould, at, &asked_at(&headers), &address)?;
        Ok(pdf(&format!("{id}-tags"), bytes))
    })
    .await
}

/// Address of a certificate.
fn address_of(number: &CertificateNumber) -> String {
    format!("/certificates/{number}")
}

pub(crate) fn numbered(text: &str) -> Result<CertificateNumber, Problem> {
    CertificateNumber::parse(text)
        .ok_or_else(|| Problem::Missing(format!("{text} is no certificate's number.")))
}

async fn document(State(app): State<Arc<App>>, Path(number): Path<String>) -> Response {
    blocking(move || {
        let number = numbered(&number)?;
        let (issued, bytes) = read(&app, |reader| {
            let issued = reader.certificate(&number)?.ok_or_else(|| not_here(&number))?;
            let bytes = reader.blob(issued.card.document)?;
            Ok((issued, bytes))
        })?;
        Ok(pdf(&format!("{}-certificate-{}", issued.card.mould, issued.number), bytes))
    })
    .await
}

pub(crate) fn not_here(number: &CertificateNumber) -> Problem {
    Problem::Missing(format!("No certificate {number} is on this record."))
}

/// What a certificate is, what it says, and whether it still holds: where its QR code leads.
async fn page(State(app): State<Arc<App>>, headers: HeaderMap, Path(number): Path<String>) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let number = numbered(&number)?;
        let (issued, said, standing, all) = read(&app, |reader| {
            let issued = reader.certificate(&number)?.ok_or_else(|| not_here(&number))?;
            let all = reader.certificates(&issued.card.mould, &issued.card.visit)?;
            Ok((issued.clone(), reader.said(&issued)?, reader.standing(&issued)?, all))
        })?;
        let (mould, visit) = (&issued.card.mould, &issued.card.visit);
        let content = content(&issued, &said, &standing, &all);
        let title = format!("Certificate {number}");
        let trail = [
            ("Moulds".to_owned(), "/moulds".to_owned()),
            (mould.clone(), layout::mould(mould)),
            (format!("visit {visit}"), layout::visit(mould, visit)),
        ];
        let here = address_of(&number);
        let page = Page { title: &title, place: Place::Moulds, here: &here, trail: &trail };
        Ok(page.html(&app, session.as_ref(), &content).into_response())
    })
    .await
}

fn content(issued: &Issued, said: &Said, standing: &Standing, all: &[Issued]) -> Markup {
    let (mould, visit) = (&issued.card.mould, &issued.card.visit);
    let since = match standing {
        Standing::KnownSince(entries) | Standing::Changed(entries) => entries.as_slice(),
        Standing::Holds | Standing::Withdrawn(_) => &[],
    };
    let later: Vec<&Issued> = all
        .iter()
        .filter(|other| other.entry.number > issued.entry.number && other.withdrawn.is_none())
        .collect();
    let tone = match standing {
        Standing::Holds => "plain",
        Standing::KnownSince(_) => "care",
        Standing::Changed(_) | Standing::Withdrawn(_) => "alarm",
    };
    html! {
        h1 { "Certificate " (issued.number) }
        p.lead class=(tone) { (standing) }
        @if !since.is_empty() {
            ul.rows { @for entry in since { li {
                "Entry " (entry.number) ", " (entry.kind.replace('-', " ")) ", by " (entry.person) ", " (moment(entry.at()))
                @if let Some(reason) = &entry.reason { span.under { (reason) } }
            } } }
        }
        @if !later.is_empty() {
            p { "Issued later for this visit: " @for other in later { a href=(address_of(&other.number)) { (other.number) } " " } }
        }
        p {
            "Mould " a href=(layout::mould(mould)) { (mould) } ", visit " a href=(layout::visit(mould, visit)) { (visit) }
            ". Issued " (moment(issued.entry.at())) " by " (issued.entry.person) "."
        }
        p { a.button.strong href={ (address_of(&issued.number)) "/certificate.pdf" } { "The certificate as it was issued (PDF)" } }
        section aria-labelledby="says" {
            h2 #says { "What it says" }
            p { strong { (outcome(said.end.as_ref())) } }
            p { (said.finding.headline) ". Fit for the press: " (said.finding.fit_for_press.replace('-', " ")) "." }
            table.list role="table" aria-labelledby="says" {
                thead role="rowgroup" { tr role="row" {
                    @for heading in ["Circuit", "Air held in", "Air passage", "Flow, of what it should be", "Next step"] {
                        th role="columnheader" scope="col" { (heading) }
                    }
                } }
                tbody role="rowgroup" { @for one in &said.finding.circuits { (row(one)) } }
            }
            p.quiet { "Hold the paper against this list: the same number with other words is no certificate of this plant." }
        }
    }
}

fn row(one: &CircuitFindingCard) -> Markup {
    let spaced = |word: &str| word.replace('-', " ");
    let flow = match one.against_baseline_percent {
        Some((value, low, high)) => percent(&Estimate { value, low, high, coverage: COVERAGE }),
        None if one.flow_factor_m3_h.is_some() => "nothing to compare it with".into(),
        None => "not measured".into(),
    };
    html! { tr role="row" {
        th.name role="rowheader" scope="row" { (one.circuit) }
        td role="cell" data-label="Air held in" { (spaced(&one.tightness)) }
        td role="cell" data-label="Air passage" { (spaced(&one.passage)) }
        td role="cell" data-label="Flow" { (flow) }
        td role="cell" data-label="Next step" { (spaced(&one.next_step)) span.under { (one.reason) } }
    } }
}

fn outcome(end: Option<&VisitEndCard>) -> String {
    match end {
        None => "Not released: the visit had not ended.".into(),
        Some(end) => {
            let word = if end.outcome == OutcomeWord::Release {
                "Released for the press"
            } else {
                "Held, not released"
            };
            let remark = end.remark.as_ref().map(|remark| format!(": {remark}")).unwrap_or_default();
            format!("{word}, {}{remark}", moment(end.at))
        }
    }
}

/// The papers of a visit, and the form that issues its certificate.
pub(crate) fn of_visit(
    app: &App,
    session: Option<&Session>,
    mould: &str,
    visit: &str,
    issued: &[Issued],
) -> Markup {
    let here = layout::visit(mould, visit);
    html! {
        section.paper aria-labelledby="papers" {
            h2 #papers { "Papers" }
            p {
                a.button href={ (here) "/sheet" } { "Visit sheet, to print" }
                @if app.printer.is_some() {
                    " " a.button href={ (here) "/sheet.pdf" } { "Visit sheet (PDF)" }
                    " " a.button href={ (here) "/hook-up.pdf" } { "Hook-up sheet (PDF)" }
                }
            }
            @if !issued.is_empty() {
                ul.rows { @for one in issued { li {
                    a.way href=(address_of(&one.number)) { "Certificate " (one.number) }
                    " issued " (moment(one.entry.at())) " by " (one.entry.person)
                    @if one.withdrawn.is_some() { ", withdrawn" }
                } } }
            }
            @if app.printer.is_some() {
                @match Session::recording(session) {
                    Some(session) => form.entry method="post" action={ (here) "/certificate" } {
                        (sealed(session, &fresh_key()))
                        p.quiet { "A certificate goes on record with your name. As long as nothing changes that it says, it stays the same paper." }
                        button type="submit" { "Issue the certificate" }
                    },
                    None => (no_form(session, &here)),
                }
            }
        }
    }
}

/// The papers of a mould.
pub(crate) fn of_mould(app: &App, mould: &str) -> Markup {
    html! {
        @if app.printer.is_some() {
            section.paper aria-labelledby="papers" {
                h2 #papers { "Papers" }
                p { a.button href={ (layout::mould(mould)) "/tags.pdf" } { "Tags with QR codes (PDF)" } }
            }
        }
    }
}
