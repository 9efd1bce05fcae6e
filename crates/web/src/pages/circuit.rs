//! A circuit over all visits.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::HeaderMap;
use axum::response::{IntoResponse as _, Response};
use bench::mould::{Circuit, CircuitId};
use calc::estimate::Estimate;
use maud::{Markup, html};
use report::Parts;
use report::pieces::{amount, moment, percent};
use store::AsOf;
use store::read::CircuitFindingRow;

use super::bench::overdue;
use super::mould::{baseline, geometry};
use super::over_time::{eyes, visits};
use super::{blocking, read};
use crate::app::App;
use crate::entry::somebody;
use crate::layout::{self, Page, Place};
use crate::problem::Problem;
use crate::session::Session;

/// Coverage of the intervals on record.
const COVERAGE: f64 = 0.95;

/// The page of a circuit.
pub(crate) async fn page(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, id)): Path<(String, String)>,
) -> Response {
    blocking(move || {
        let session = somebody(&app, &headers)?;
        let (tool, found, rows) = read(&app, |reader| {
            let tool = reader.mould(&mould, AsOf::Now)?;
            Ok((tool, visits(&app, reader, &mould)?, reader.circuit_findings(&mould, &id)?))
        })?;
        let circuit = tool.circuit(&CircuitId(id.clone()));
        let circuit = circuit.ok_or_else(|| Problem::Missing(format!("Mould {mould} has no circuit {id}.")))?;
        let newest = found.last();
        let finding = newest.and_then(|all| all.circuits.iter().find(|one| one.id == circuit.id));
        let way = |_: usize| String::new();
        let content = html! {
            h1 { (circuit.id) " · " @match &circuit.serves { Some(serves) => (serves), None => (circuit.half) } }
            @if let Some(finding) = finding { p.lead { (report::pieces::next_step(finding.next_step)) (finding.reason) } }
            @if !found.is_empty() { section aria-labelledby="eyes" { h2 #eyes { "The bore over time" } (eyes(&found, &mould, &circuit.id)) } }
            @let own = layout::circuit(&mould, &id);
            p.ways {
                a.button href={ (own) "/edit" } { "Edit the circuit" } " "
                a.button href={ (own) "/pieces" } { "Its pieces" } " "
                a.button href={ (own) "/baseline" } { "Its baseline" } " "
                a.button href={ (own) "/photos" } { "Photos" }
            }
            (told_before(circuit))
            (numbers(&mould, circuit, &rows))
            @if let (Some(finding), Some(newest)) = (finding, newest) {
                section aria-labelledby="newest" {
                    h2 #newest { "Visit " (newest.visit) ", " (moment(newest.started)) }
                    h3.quiet { "Circuit " (circuit.id) ", " (circuit.half) }
                    (overdue(newest, finding))
                    (Parts::new(newest, &way).in_units(Session::units_of(session.as_ref())).on_page().circuit(finding, &format!("{}#leaks", layout::visit(&mould, &newest.visit))))
                    p { a.button href=(layout::bench(&mould, &newest.visit, &id)) { "To its readings" } }
                }
            } @else { p { "Nothing was measured on it yet." } }
        };
        let title = format!("{mould} {id}");
        let trail = [("Moulds".to_owned(), "/moulds".to_owned()), (mould.clone(), layout::mould(&mould))];
        let here = layout::circuit(&mould, &id);
        let page = Page { title: &title, place: Place::Moulds, here: &here, trail: &trail };
        Ok(page.html(&app, session.as_ref(), &content).into_response())
    })
    .await
}

/// What is told of its past from before the record.
fn told_before(circuit: &Circuit) -> Markup {
    html! {
        @if !circuit.earlier.is_empty() {
            section aria-labelledby="before" {
                h2 #before { "From before this record" }
                ul.rows { @for day in &circuit.earlier { li {
                    (day.date.strftime("%-d %b %Y").to_string())
                    @if let Some(visit) = &day.visit { ", visit " (visit) }
                    @if let Some(remark) = &day.remark { span.under data-as-typed { (remark) } }
                } } }
            }
        }
    }
}

fn numbers(mould: &str, circuit: &Circuit, rows: &[CircuitFindingRow]) -> Markup {
    let estimate = |(value, low, high): (f64, f64, f64)| Estimate { value, low, high, coverage: COVERAGE };
    html! {
        section aria-labelledby="numbers" {
            h2 #numbers { "Numbers" }
            p { "Baseline: " (baseline(circuit)) }
            p { "Geometry: " (geometry(circuit)) }
            @if !rows.is_empty() {
                table.list role="table" aria-labelledby="numbers" {
                    thead role="rowgroup" { tr role="row" {
                        @for heading in ["Visit", "Air held in", "Air passage", "Flow factor", "Of what it should be", "Next step then"] {
                            th role="columnheader" scope="col" { (heading) }
                        }
                    } }
                    tbody role="rowgroup" { @for row in rows { tr role="row" {
                        th.name role="rowheader" scope="row" {
                            a href=(layout::bench(mould, &row.visit, &circuit.id.0)) { (row.visit) }
                            span.under { (moment(row.started)) }
                        }
                        td role="cell" data-label="Air held in" { (row.tightness.replace('-', " ")) }
                        td role="cell" data-label="Air passage" { (row.passage.replace('-', " ")) }
                        td role="cell" data-label="Flow factor" { @match row.flow_factor_m3_h { Some(known) => (amount(&estimate(known), "m³/h")), None => "not measured" } }
                        td role="cell" data-label="Of what it should be" { @match row.against_baseline_percent { Some(known) => (percent(&estimate(known))), None => "nothing to compare with" } }
                        td role="cell" data-label="Next step then" { (row.next_step.replace('-', " ")) }
                    } } }
                }
                p.quiet { "As they were found and recorded at each visit, with 95 % intervals." }
            }
        }
    }
}
