//! What is on the bench, what waits, and why.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::State;
use axum::http::HeaderMap;
use axum::response::{IntoResponse as _, Redirect, Response};
use bench::finding::Fitness;
use bench::judge::METHOD;
use calc::form::Value;
use exchange::findings_json::fitness as fitness_word;
use maud::{Markup, html};
use report::pieces::{capital, fitness, moment};
use store::read::{FindingRow, MouldRow, VisitRow};
use store::{AsOf, Reader};

use super::{blocking, read};
use crate::app::App;
use crate::entry::somebody;
use crate::layout::{self, Page, Place};
use crate::problem::Problem;
use crate::shown;

/// Moulds on the bench whose next step is shown; the others have their headline (own choice).
const IN_FULL: usize = 24;

/// A mould on the bench.
struct OnBench {
    visit: VisitRow,
    name: String,
    headline: String,
    fit: Option<Fitness>,
    because: Vec<String>,
    next: String,
}

/// Everything on the page.
struct Today {
    on_bench: Vec<OnBench>,
    held: Vec<(MouldRow, VisitRow, String)>,
    released: Vec<(MouldRow, VisitRow)>,
    new: Vec<MouldRow>,
}

/// Today's page; on the very first start it asks for a name.
pub(crate) async fn page(State(app): State<Arc<App>>, headers: HeaderMap) -> Response {
    blocking(move || {
        if app.store.read(|reader| reader.people())?.is_empty() {
            return Ok(Redirect::to("/who").into_response());
        }
        let session = somebody(&app, &headers)?;
        let today = read(&app, |reader| gather(&app, reader))?;
        let page = Page { title: "Today", place: Place::Today, here: "/", trail: &[] };
        Ok(page.html(&app, session.as_ref(), &content(&today)).into_response())
    })
    .await
}

fn gather(app: &App, reader: &Reader<'_>) -> Result<Today, Problem> {
    let mut newest: BTreeMap<String, VisitRow> = BTreeMap::new();
    for visit in reader.visits(None)? {
        newest.entry(visit.mould.clone()).or_insert(visit);
    }
    let mut findings: BTreeMap<String, FindingRow> =
        reader.newest_findings()?.into_iter().map(|row| (row.mould.clone(), row)).collect();
    let mut today = Today { on_bench: Vec::new(), held: Vec::new(), released: Vec::new(), new: Vec::new() };
    for mould in reader.moulds()? {
        let Some(visit) = newest.remove(&mould.id) else {
            today.new.push(mould);
            continue;
        };
        let found = findings.remove(&mould.id).filter(|row| row.visit == visit.id);
        match visit.outcome.as_deref() {
            Some("release") => today.released.push((mould, visit)),
            Some(_) => {
                let headline = found.map(|row| row.headline).unwrap_or_default();
                today.held.push((mould, visit, headline));
            }
            None => {
                let full = today.on_bench.len() < IN_FULL;
                today.on_bench.push(on_bench(app, reader, mould.name, visit, found.as_ref(), full)?);
            }
        }
    }
    Ok(today)
}

fn on_bench(
    app: &App,
    reader: &Reader<'_>,
    name: String,
    visit: VisitRow,
    row: Option<&FindingRow>,
    full: bool,
) -> Result<OnBench, Problem> {
    if !full {
        let headline = row.map_or_else(|| "Not judged yet".to_owned(), |row| row.headline.clone());
        return Ok(OnBench { visit, name, headline, fit: None, because: Vec::new(), next: String::new() });
    }
    let told = match row {
        Some(row) => from_record(reader, row)?,
        None => None,
    };
    if let Some((row, (because, next))) = row.zip(told) {
        let fit = [Fitness::Yes, Fitness::No, Fitness::CannotTell];
        let fit = fit.into_iter().find(|word| fitness_word(*word) == row.fit_for_press);
        return Ok(OnBench { visit, name, headline: row.headline.clone(), fit, because, next });
    }
    let found = shown::of(app, reader, &visit.mould, &visit.id)?.findings;
    Ok(OnBench {
        visit,
        name,
        headline: found.headline.clone(),
        fit: Some(found.fit_for_press),
        because: found.because.clone(),
        next: found.next.clone(),
    })
}

/// Why, and what is next, as the findings on record say it, if they rest on what is on record now.
fn from_record(reader: &Reader<'_>, row: &FindingRow) -> Result<Option<(Vec<String>, String)>, Problem> {
    let inputs = reader.inputs_of(&row.mould, &row.visit, AsOf::Now)?;
    let Some(document) = row.document.filter(|_| row.inputs == Some(inputs) && row.method == METHOD) else {
        return Ok(None);
    };
    let bytes = reader.blob(document)?;
    let read = String::from_utf8(bytes).ok().and_then(|text| exchange::json::read(&text).ok());
    let text = |value: &Value| value.as_text().map(str::to_owned);
    Ok(read.and_then(|read| {
        let because = read.value.get("because")?.items().iter().filter_map(text).collect();
        Some((because, text(read.value.get("next")?)?))
    }))
}

fn content(today: &Today) -> Markup {
    let ready = today.on_bench.iter().filter(|row| row.fit == Some(Fitness::Yes)).count();
    html! {
        h1 {
            @match today.on_bench.len() {
                0 => "Nothing is on the bench",
                1 => "1 mould is on the bench",
                count => { (count) " moulds are on the bench" ", " @if ready == 0 { "none" } @else { (ready) } " ready for the press" },
            }
        }
        @if today.on_bench.is_empty() && today.held.is_empty() && today.released.is_empty() && today.new.is_empty() {
            p.lead { "No mould is on record yet." }
            p { a.button href="/take-in" { "Take in a mould" } }
            p.quiet { "Moulds that stand in files or in a spreadsheet come in with " code { "borewise record FILE" } "." }
        }
        @if !today.on_bench.is_empty() {
            section aria-label="On the bench" { (bench_table(&today.on_bench)) }
        }
        @if !today.held.is_empty() {
            section aria-labelledby="held" {
                h2 #held { "Held" }
                ul.rows { @for (mould, visit, headline) in &today.held { li {
                    a.way href=(layout::visit(&visit.mould, &visit.id)) { (mould.id) } " " (mould.name)
                    span.under { (headline) }
                } } }
            }
        }
        @if !today.new.is_empty() {
            section aria-labelledby="new" {
                h2 #new { "Never been on the bench" }
                ul.rows { @for mould in &today.new { li { a.way href=(layout::mould(&mould.id)) { (mould.id) } " " (mould.name) } } }
            }
        }
        @if !today.released.is_empty() {
            section aria-labelledby="released" {
                h2 #released { "Back at the press" }
                ul.rows { @for (mould, visit) in &today.released { li {
                    a.way href=(layout::mould(&mould.id)) { (mould.id) } " " (mould.name)
                    span.under { "last on the bench " (moment(visit.started)) }
                } } }
            }
        }
    }
}

fn bench_table(rows: &[OnBench]) -> Markup {
    html! {
        table.list role="table" aria-label="Moulds on the bench" {
            thead role="rowgroup" { tr role="row" {
                @for heading in ["Mould", "Fit for the press", "Why", "Next"] { th role="columnheader" scope="col" { (heading) } }
            } }
            tbody role="rowgroup" { @for row in rows { tr role="row" {
                th.name role="rowheader" scope="row" {
                    a href=(layout::visit(&row.visit.mould, &row.visit.id)) { (row.visit.mould) }
                    span.under { (row.name) }
                    span.under { "since " (moment(row.visit.started)) ", " (row.visit.by) }
                }
                td role="cell" data-label="Fit" { @if let Some(fit) = row.fit { (fitness(fit)) } }
                td role="cell" data-label="Why" {
                    @if row.because.is_empty() { (row.headline) }
                    @else { ul.plain-list { @for reason in &row.because { li { (capital(reason)) } } } }
                }
                td role="cell" data-label="Next" { (row.next) }
            } } }
        }
    }
}
