//! A circuit over its visits: the bore eye of each, with its day and its flow against what it should be.

use std::sync::Arc;

use bench::finding::Findings;
use bench::mould::CircuitId;
use maud::{Markup, html};
use report::pieces::{bore_eye, bore_in_short, percent};
use store::Reader;

use crate::app::App;
use crate::layout;
use crate::problem::Problem;
use crate::shown;

/// Visits that are drawn, the newest (own choice: what fits beside a circuit on a tablet).
const DRAWN: usize = 8;

/// What was found in the newest visits of a mould, the oldest first.
pub(crate) fn visits(app: &App, reader: &Reader<'_>, mould: &str) -> Result<Vec<Arc<Findings>>, Problem> {
    let visits = reader.visits(Some(mould))?;
    let mut all = Vec::new();
    for visit in visits.iter().take(DRAWN).rev() {
        all.push(shown::of(app, reader, mould, &visit.id)?.findings);
    }
    Ok(all)
}

/// The eyes of one circuit.
pub(crate) fn eyes(all: &[Arc<Findings>], mould: &str, circuit: &CircuitId) -> Markup {
    html! {
        ol.eyes {
            @for findings in all {
                @if let Some(found) = findings.circuits.iter().find(|found| found.id == *circuit) {
                    li {
                        a href=(layout::bench(mould, &findings.visit, &circuit.0)) {
                            (bore_eye(found))
                            span.day { (findings.started.strftime("%-d %b %Y").to_string()) }
                            span.said {
                                @match &found.against_baseline_percent {
                                    Some(against) => (percent(against)),
                                    None => (bore_in_short(found)),
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}
