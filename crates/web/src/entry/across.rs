//! One circuit or several charged, others watched: the table of a form and the reading behind it.

use std::sync::Arc;

use axum::extract::{Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse as _, Redirect, Response};
use calc::form::{Fault, Value};
use exchange::one_reading::{List, OneReading, read_with};
use report::Units;

use super::reading::{Spot, columns, moment_typed, record};
use super::whole::at_the_bench;
use super::{key, sender};
use crate::app::App;
use crate::pages::{self, Answer};
use crate::problem::Problem;
use crate::sent::Sent;
use crate::typed::{Typed, in_units, number};
use crate::{layout, shown};

/// What a circuit did: value and words.
pub(crate) const PARTS: [(&str, &str); 4] =
    [("", "not part of it"), ("charged", "charged"), ("watched", "watched"), ("open", "open to the air")];
/// Numbers of a row.
pub(crate) const NUMBERS: [&str; 3] = ["start_bar_g", "end_bar_g", "seconds"];

/// Name of a field in the row of this circuit, by its place in the mould.
pub(crate) fn field(at: usize, name: &str) -> String {
    format!("row-{at}.{name}")
}

/// Takes the form.
pub(crate) async fn enter(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit)): Path<(String, String)>,
    sent: Sent,
) -> Response {
    let (spot, typed) = (Spot { mould, visit, circuit: String::new() }, sent.with_traces());
    pages::blocking(move || take(&app, &headers, &spot, &typed)).await
}

fn take(app: &App, headers: &HeaderMap, spot: &Spot, typed: &Typed) -> Result<Response, Problem> {
    let here = format!("{}/across", layout::visit(&spot.mould, &spot.visit));
    let session = sender(app, headers, typed, here)?;
    let (key, now) = (key(typed)?, jiff::Timestamp::now());
    let again = |faults: &[Fault]| {
        let answer = Answer { typed, faults };
        let page = pages::across::with(app, Some(&session), &spot.mould, &spot.visit, Some(&answer))?;
        Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
    };
    let circuits = app.store.read(|reader| reader.circuits(&spot.mould))?;
    let ids: Vec<String> = circuits.into_iter().map(|row| row.id).collect();
    let read = match understood(app, spot, &ids, typed, session.units, now)? {
        Ok(read) => read,
        Err(faults) => return again(&faults),
    };
    match record(app, spot, &session, &key, &read, false, now)? {
        Some(_) => {
            shown::judge_again(app, &spot.mould, &spot.visit, now, &session.person)?;
            Ok(Redirect::to(&format!("{}#leaks", layout::visit(&spot.mould, &spot.visit))).into_response())
        }
        None => again(&[Fault::new("", "this form was recorded already, with other values", "open it anew")]),
    }
}

/// A list of the reading, and the row of the form that each item of it came from.
#[derive(Default)]
struct Rows {
    items: Vec<Value>,
    from: Vec<usize>,
}

impl Rows {
    fn push(&mut self, at: usize, item: Value) {
        self.items.push(item);
        self.from.push(at);
    }
}

/// What the table says, by the part that each circuit took.
#[derive(Default)]
struct Table {
    charged: Rows,
    watched: Rows,
    open: Rows,
    /// Readings beside circuits that were said to take no part, or to be open.
    stray: Vec<Fault>,
}

impl Table {
    fn read(ids: &[String], typed: &Typed, units: Units) -> Self {
        let mut table = Self::default();
        for (at, id) in ids.iter().enumerate() {
            let given = row(at, typed, units);
            let mut fields = vec![("circuit".to_owned(), Value::from(id.as_str()))];
            match typed.get(&field(at, "part")) {
                "open" if given.is_empty() => table.open.push(at, Value::from(id.as_str())),
                part @ ("charged" | "watched") => {
                    fields.extend(given);
                    let rows = if part == "charged" { &mut table.charged } else { &mut table.watched };
                    rows.push(at, Value::Record(fields));
                }
                _ => table.stray.extend(given.first().map(|_| {
                    let hint = "choose charged or watched, or take its readings out";
                    Fault::new(
                        field(at, "part"),
                        "readings are given, and it was neither charged nor watched",
                        hint,
                    )
                })),
            }
        }
        table
    }

    /// The item of a visit file.
    fn item(&self, typed: &Typed) -> Value {
        let mut fields = vec![("kind".to_owned(), Value::from("cross-watch"))];
        if let Some(Value::Record(first)) = self.charged.items.first() {
            fields.extend(first.iter().cloned());
        }
        let lists = [
            ("also_charged", self.charged.items.get(1..).unwrap_or_default()),
            ("watched", &self.watched.items),
            ("open", &self.open.items),
        ];
        for (name, items) in lists {
            if !items.is_empty() {
                fields.push((name.to_owned(), Value::List(items.to_vec())));
            }
        }
        if let Some(at) = typed.given("at") {
            fields.push(("at".to_owned(), Value::from(moment_typed(at))));
        }
        Value::Record(fields)
    }

    /// The fault under the field of the form.
    fn in_form(&self, fault: Fault) -> Fault {
        const BOTH: &str = "give both pressures and the time between, or a logger's file";
        let (row, name) = {
            // The columns are told once for all files.
            if fault.field.split('.').any(|part| part == "columns") {
                return Fault { field: "columns".to_owned(), ..fault };
            }
            let mut parts = fault.field.splitn(3, '.');
            let (list, at) = (parts.next().unwrap_or_default(), parts.next());
            let at: Option<usize> = at.and_then(|at| at.parse().ok());
            let name = parts.next().unwrap_or("part").to_owned();
            let row = |rows: &Rows, at: Option<usize>| at.and_then(|at| rows.from.get(at).copied());
            match list {
                "watched" => (row(&self.watched, at), name),
                "also_charged" => (row(&self.charged, at.map(|at| at + 1)), name),
                "open" => (row(&self.open, at), "part".to_owned()),
                "start_bar_g" | "end_bar_g" | "seconds" | "trace" => {
                    (row(&self.charged, Some(0)), list.to_owned())
                }
                _ => (None, String::new()),
            }
        };
        let Some(row) = row else { return fault };
        let (name, problem) = match (name.as_str(), fault.problem.as_str()) {
            ("trace", problem) if problem.starts_with("neither") => {
                ("start_bar_g", "its readings are missing".to_owned())
            }
            ("trace", problem) => {
                ("trace", problem.replace("given beside readings by hand", "given beside typed pressures"))
            }
            ("circuit", problem) => ("part", problem.to_owned()),
            (name, problem) => (name, problem.to_owned()),
        };
        let hint = if fault.hint.contains("start_bar_g") { BOTH.to_owned() } else { fault.hint };
        Fault { field: field(row, name), problem, hint, value: fault.value }
    }
}

/// The numbers and the trace of a row; the time that holds for all stands where a row has pressures and none of its own.
fn row(at: usize, typed: &Typed, units: Units) -> Vec<(String, Value)> {
    let mut fields: Vec<(String, Value)> = NUMBERS
        .iter()
        .filter_map(|name| Some(((*name).to_owned(), in_units(typed.given(&field(at, name))?, name, units))))
        .collect();
    if typed.given(&field(at, "trace")).is_some() {
        fields.push(("trace".to_owned(), Value::from(at.to_string())));
        fields.extend(typed.given("columns").map(|text| ("columns".to_owned(), columns(text))));
    } else if !fields.is_empty()
        && typed.given(&field(at, "seconds")).is_none()
        && let Some(seconds) = typed.given("seconds")
    {
        fields.push(("seconds".to_owned(), number(seconds)));
    }
    fields
}

fn understood(
    app: &App,
    spot: &Spot,
    ids: &[String],
    typed: &Typed,
    units: Units,
    now: jiff::Timestamp,
) -> Result<Result<OneReading, Vec<Fault>>, Problem> {
    let table = Table::read(ids, typed, units);
    let mut faults = table.stray.clone();
    let first = || (0..ids.len()).next().map_or_else(String::new, |at| field(at, "part"));
    if table.charged.items.is_empty() {
        faults.push(Fault::new(first(), "nothing is charged", "choose ‘charged’ for one circuit"));
    }
    if table.watched.items.is_empty() {
        faults.push(Fault::new(
            first(),
            "nothing is watched",
            "choose ‘watched’ for the circuits whose gauge was read",
        ));
    }
    let texts: Vec<&str> = (0..ids.len()).map(|at| typed.get(&field(at, "trace"))).collect();
    let text = |name: &str| name.parse::<usize>().ok().and_then(|at| texts.get(at).copied());
    let read =
        at_the_bench(app, spot, now, |around| read_with(around, List::Reading, table.item(typed), text))?;
    Ok(match read {
        Ok(read) if faults.is_empty() => Ok(read),
        Ok(_) => Err(faults),
        Err(more) => {
            let known = |fault: &Fault| matches!(fault.field.as_str(), "watched" | "circuit");
            faults.extend(more.into_iter().filter(|fault| !known(fault)).map(|fault| table.in_form(fault)));
            Err(faults)
        }
    })
}
