//! What a page shows of a visit: what was found, judged once and remembered.

use std::sync::{Arc, PoisonError};

use bench::finding::Findings;
use store::read::FindingRow;
use store::{AsOf, Reader, Write};

use crate::app::App;
use crate::problem::Problem;

/// Findings that are remembered; a visit of 24 circuits takes about a megabyte with its pictures (own estimate).
const REMEMBERED: usize = 64;

/// What was found in a visit.
pub(crate) struct Shown {
    /// The findings.
    pub findings: Arc<Findings>,
    /// Entry of the record that holds them, if they are on record as shown.
    pub entry: Option<u64>,
}

/// The findings of a visit. A visit that has ended shows what was found then; one on the bench shows what its readings
/// say now.
pub(crate) fn of(app: &App, reader: &Reader<'_>, mould: &str, visit: &str) -> Result<Shown, Problem> {
    let rows = reader.findings(mould)?;
    let recorded = rows.iter().find(|row| row.visit == visit);
    let ended = reader.visits(Some(mould))?.iter().any(|row| row.id == visit && row.outcome.is_some());
    if let Some(row) = recorded.filter(|_| ended) {
        return recorded_then(app, reader, row);
    }
    let inputs = reader.inputs_of(mould, visit, AsOf::Now)?;
    let findings = judged(app, reader, mould, visit, AsOf::Now)?;
    let same = recorded.filter(|row| row.inputs == Some(inputs) && row.method == findings.method);
    Ok(Shown { findings, entry: same.map(|row| row.root) })
}

/// What was found then, judged again from the record as it stood: by the same method that gives the same findings.
pub(crate) fn recorded_then(app: &App, reader: &Reader<'_>, row: &FindingRow) -> Result<Shown, Problem> {
    let findings = judged(app, reader, &row.mould, &row.visit, AsOf::Entry(row.known_to))?;
    let entry = (row.method == findings.method).then_some(row.root);
    Ok(Shown { findings, entry })
}

fn judged(
    app: &App,
    reader: &Reader<'_>,
    mould: &str,
    visit: &str,
    as_of: AsOf,
) -> Result<Arc<Findings>, Problem> {
    let inputs = reader.inputs_of(mould, visit, as_of)?;
    let key = (mould.to_owned(), visit.to_owned(), inputs.0);
    let known = || app.known.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(findings) = known().get(&key) {
        return Ok(Arc::clone(findings));
    }
    let findings = Arc::new(app.judge.findings(reader, mould, visit, as_of)?);
    let mut all = known();
    if all.len() >= REMEMBERED {
        all.clear();
    }
    all.insert(key, Arc::clone(&findings));
    Ok(findings)
}

/// Judges a visit as it now stands and puts the findings on record.
pub(crate) fn judge_again(
    app: &App,
    mould: &str,
    visit: &str,
    at: jiff::Timestamp,
    person: &str,
) -> Result<(), Problem> {
    let mut outcome: Result<Option<Write>, Problem> = Ok(None);
    app.store.read(|reader| {
        outcome = judged(app, reader, mould, visit, AsOf::Now)
            .and_then(|findings| Ok(app.judge.keep(reader, &findings, at, person)?));
        Ok(())
    })?;
    if let Some(write) = outcome? {
        app.store.write(&write)?;
    }
    Ok(())
}
