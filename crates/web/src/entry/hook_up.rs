//! The hook-up of a visit: which circuit is on which port in which stage, its direction, and jumpers.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::{Form as Body, Path, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::{IntoResponse as _, Redirect, Response};
use calc::form::{Fault, Value};
use store::shapes::{HookUpCard2, OnPortCard, PortCard, PortCard2};
use store::{AsOf, Fact, Reader, StoreError, Subject};

use super::reading::{Spot, running};
use super::say::{Posted, Say};
use crate::app::App;
use crate::pages::{self, Answer};
use crate::problem::Problem;
use crate::typed::{Typed, number};
use crate::{layout, shown};

/// Highest number of a port, and of a stage.
const LAST: u32 = 999;
/// Most rows that a form may send (own choice).
const MOST_ROWS: usize = 400;

/// A row of the form.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Row {
    pub stage: String,
    pub port: String,
    pub circuit: String,
    pub reversed: bool,
    /// Circuit from whose outlet a jumper feeds this one; empty where the rig does.
    pub after: String,
}

/// Name of a field in a row.
pub(crate) fn field(at: usize, name: &str) -> String {
    format!("row-{at}.{name}")
}

/// The rows that were typed.
pub(crate) fn typed_rows(typed: &Typed) -> Vec<Row> {
    let text = |at: usize, name: &str| typed.get(&field(at, name)).to_owned();
    let count = typed.get("rows").parse::<usize>().unwrap_or_default().min(MOST_ROWS);
    let row = |at: usize| Row {
        stage: text(at, "stage"),
        port: text(at, "port"),
        circuit: text(at, "circuit"),
        reversed: typed.get(&field(at, "direction")) == "reversed",
        after: text(at, "after"),
    };
    (0..count).map(row).collect()
}

/// The rows of what is on record.
pub(crate) fn rows(ports: &[PortCard2]) -> Vec<Row> {
    let mut rows = Vec::new();
    for on in ports {
        let mut after = String::new();
        for circuit in &on.circuits {
            rows.push(Row {
                stage: on.stage.to_string(),
                port: on.port.to_string(),
                circuit: circuit.circuit.clone(),
                reversed: circuit.reversed,
                after: core::mem::replace(&mut after, circuit.circuit.clone()),
            });
        }
    }
    rows
}

/// What an entry of the record says of the hook-up, stage by stage. In the older shape a port or circuit that comes again
/// begins a further stage.
pub(crate) fn ports_of(fact: &Fact) -> Option<Vec<PortCard2>> {
    match fact {
        Fact::HookUp2(card) => Some(card.ports.clone()),
        Fact::HookUp(card) => Some(staged(&card.ports)),
        _ => None,
    }
}

/// The ports of a visit as they were last said.
pub(crate) fn newest_ports(
    reader: &Reader<'_>,
    mould: &str,
    visit: &str,
) -> Result<Vec<PortCard2>, StoreError> {
    let mut newest = Vec::new();
    for entry in reader.history(&Subject::visit(mould, visit), AsOf::Now)? {
        if let Some(ports) = ports_of(&entry.fact()?) {
            newest = ports;
        }
    }
    Ok(newest)
}

fn staged(ports: &[PortCard]) -> Vec<PortCard2> {
    let mut all: Vec<PortCard2> = Vec::new();
    let mut stage = 1;
    for on in ports {
        let again = |known: &PortCard2| {
            let same = known.circuits.iter().any(|one| one.circuit == on.circuit);
            known.stage == stage && (known.port == on.port || same)
        };
        if all.iter().any(again) {
            stage += 1;
        }
        let circuits = vec![OnPortCard { circuit: on.circuit.clone(), reversed: false }];
        all.push(PortCard2 { stage, port: on.port, circuits });
    }
    all
}

/// The ports behind the rows, or everything that is wrong with them.
fn ports(rows: &[Row], circuits: &[String]) -> Result<Vec<PortCard2>, Vec<Fault>> {
    let mut faults = Vec::new();
    let mut ports: BTreeMap<(u32, u32), Vec<OnPortCard>> = BTreeMap::new();
    let mut used: BTreeMap<(u32, String), usize> = BTreeMap::new();
    let mut jumped: Vec<(usize, u32, &Row)> = Vec::new();
    for (at, row) in rows.iter().enumerate() {
        if row.port.is_empty() && row.after.is_empty() {
            continue;
        }
        let mut fault =
            |name: &str, problem: String, hint: &str| faults.push(Fault::new(field(at, name), problem, hint));
        let stage = if row.stage.is_empty() { Some(1) } else { whole(&row.stage) };
        let Some(stage) = stage else {
            fault("stage", "not the number of a stage".into(), "give 1 to 999");
            continue;
        };
        if !circuits.contains(&row.circuit) {
            fault("circuit", "not chosen".into(), "choose the circuit on this port");
            continue;
        }
        if used.insert((stage, row.circuit.clone()), at).is_some() {
            fault(
                "circuit",
                format!("{} stands in stage {stage} twice", row.circuit),
                "give each circuit once a stage",
            );
        }
        let on = OnPortCard { circuit: row.circuit.clone(), reversed: row.reversed };
        match (row.after.is_empty(), whole(&row.port)) {
            (false, _) => jumped.push((at, stage, row)),
            (true, None) => fault("port", "not the number of a port".into(), "give 1 to 999"),
            (true, Some(port)) => match ports.get(&(stage, port)).and_then(|there| there.first()) {
                Some(there) => {
                    let problem =
                        format!("port {port} has circuit {} already in stage {stage}", there.circuit);
                    fault("port", problem, "each port takes one circuit at a time; join more by a jumper");
                }
                None => drop(ports.insert((stage, port), vec![on])),
            },
        }
    }
    faults.extend(jump(&mut jumped, &mut ports));
    if faults.is_empty() && ports.is_empty() {
        faults.push(Fault::new(
            field(0, "port"),
            "no port is given",
            "give the port of at least one circuit",
        ));
    }
    let card = |((stage, port), circuits)| PortCard2 { stage, port, circuits };
    if faults.is_empty() { Ok(ports.into_iter().map(card).collect()) } else { Err(faults) }
}

/// Adds the circuits that jumpers feed, in any order in which they were written; what is left over hangs on nothing.
fn jump(
    jumped: &mut Vec<(usize, u32, &Row)>,
    ports: &mut BTreeMap<(u32, u32), Vec<OnPortCard>>,
) -> Vec<Fault> {
    let mut faults = Vec::new();
    loop {
        let before = jumped.len();
        jumped.retain(|(at, stage, row)| {
            let chain = ports.iter_mut().filter(|((known, _), _)| known == stage).map(|(_, chain)| chain);
            let mut holding = chain.filter(|chain| chain.iter().any(|on| on.circuit == row.after));
            let Some(chain) = holding.next() else { return true };
            if chain.last().is_some_and(|last| last.circuit == row.after) {
                chain.push(OnPortCard { circuit: row.circuit.clone(), reversed: row.reversed });
            } else {
                let problem = format!("the outlet of {} feeds another circuit already", row.after);
                faults.push(Fault::new(
                    field(*at, "after"),
                    problem,
                    "follow the chain: one jumper from each outlet",
                ));
            }
            false
        });
        if jumped.len() == before {
            break;
        }
    }
    let lost = jumped.iter().map(|(at, stage, row)| {
        let problem = format!("{} hangs on no port in stage {stage}", row.after);
        Fault::new(field(*at, "after"), problem, "give the port of the first circuit of the chain")
    });
    faults.extend(lost);
    faults
}

fn whole(text: &str) -> Option<u32> {
    let Value::Number(value) = number(text) else { return None };
    (1..=LAST).find(|whole| (f64::from(*whole) - value).abs() < f64::EPSILON)
}

/// Takes the form.
pub(crate) async fn enter(
    State(app): State<Arc<App>>,
    headers: HeaderMap,
    Path((mould, visit)): Path<(String, String)>,
    Body(pairs): Body<Vec<(String, String)>>,
) -> Response {
    let (spot, typed) = (Spot { mould, visit, circuit: String::new() }, Typed::new(pairs));
    pages::blocking(move || take(&app, &headers, &spot, &typed)).await
}

fn take(app: &App, headers: &HeaderMap, spot: &Spot, typed: &Typed) -> Result<Response, Problem> {
    let here = format!("{}/hook-up", layout::visit(&spot.mould, &spot.visit));
    let sent = Posted::of(app, headers, typed, here.clone())?;
    let again = |faults: &[Fault]| {
        let answer = Answer { typed, faults };
        let page = pages::hook_up::with(app, Some(&sent.session), &spot.mould, &spot.visit, Some(&answer))?;
        Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
    };
    let (circuits, newest) = app.store.read(|reader| {
        running(reader, spot)?;
        let items = reader.items(&Subject::visit(&spot.mould, &spot.visit), AsOf::Now)?;
        let newest = items.into_iter().find(|item| ports_of(&item.fact).is_some());
        Ok((reader.circuits(&spot.mould)?, newest))
    })?;
    let ids: Vec<String> = circuits.into_iter().map(|row| row.id).collect();
    let ports = match ports(&typed_rows(typed), &ids) {
        Ok(ports) => ports,
        Err(faults) => return again(&faults),
    };
    let number = newest.as_ref().map(|item| item.entry.number);
    if !sent.before()? && number.is_some_and(|number| typed.get("known") != number.to_string()) {
        let hint = "look at what stands on record below, and send this again if it holds";
        return again(&[Fault::new("", "another hook-up was recorded since this page was opened", hint)]);
    }
    let fact = Fact::HookUp2(HookUpCard2 { mould: spot.mould.clone(), visit: spot.visit.clone(), ports });
    if let Err(faults) = sent.record(typed.get("reason"), vec![Say::new(fact)], Vec::new())? {
        return again(&faults);
    }
    shown::judge_again(app, &spot.mould, &spot.visit, sent.now, &sent.session.person)?;
    Ok(Redirect::to(&here).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(stage: &str, port: &str, circuit: &str, after: &str) -> Row {
        let text = |text: &str| text.to_owned();
        Row {
            stage: text(stage),
            port: text(port),
            circuit: text(circuit),
            reversed: false,
            after: text(after),
        }
    }

    fn ids() -> Vec<String> {
        ["F1", "F2", "F3"].map(str::to_owned).to_vec()
    }

    #[test]
    fn jumpers_make_chains_in_whatever_order_they_are_written() {
        let typed = [
            row("", "", "F3", "F2"),
            row("", "", "F2", "F1"),
            row("1", "4", "F1", ""),
            row("2", "4", "F2", ""),
        ];
        let ports = ports(&typed, &ids()).expect("sound");
        let chains: Vec<(u32, u32, Vec<&str>)> = ports
            .iter()
            .map(|on| (on.stage, on.port, on.circuits.iter().map(|one| one.circuit.as_str()).collect()))
            .collect();
        assert_eq!(chains, [(1, 4, vec!["F1", "F2", "F3"]), (2, 4, vec!["F2"])]);
        // Only the second stage stands for a circuit alone.
        let card = HookUpCard2 { mould: "M".into(), visit: "1".into(), ports: ports.clone() };
        assert_eq!(card.alone().len(), 1);
        assert_eq!(super::ports(&rows(&ports), &ids()), Ok(ports));
    }

    #[test]
    fn everything_wrong_is_named_at_its_row() {
        let typed = [
            row("0", "1", "F1", ""),
            row("1", "x", "F1", ""),
            row("1", "2", "F9", ""),
            row("1", "3", "F2", ""),
            row("1", "3", "F3", ""),
            row("2", "", "F1", "F2"),
        ];
        let faults = ports(&typed, &ids()).expect_err("five faults");
        let fields: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
        assert_eq!(fields, ["row-0.stage", "row-1.port", "row-2.circuit", "row-4.port", "row-5.after"]);
        assert_eq!(ports(&[], &ids()).expect_err("empty").len(), 1);
    }

    #[test]
    fn an_older_list_gets_its_stages() {
        let on = |port, circuit: &str| PortCard { port, circuit: circuit.into() };
        let stages: Vec<u32> =
            staged(&[on(1, "F1"), on(2, "F2"), on(1, "F3")]).iter().map(|on| on.stage).collect();
        assert_eq!(stages, [1, 1, 2]);
    }
}
