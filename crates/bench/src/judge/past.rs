//! What earlier visits say of the bore, and how the state would stand without them.

use calc::estimate::Uncertain;
use calc::hydraulics::piece::Piece;
use calc::infer::bore::{BoreState as Inside, Prior};
use calc::infer::history::{self, Done, Found, Past, States, completed, prior_of, states_of};

use super::Alone;
use super::bore;
use super::expect::AsNew;
use super::facts::PassageFact;
use super::memory::Memory;
use crate::finding::{BoreState, Evidence, Warning, sentence};
use crate::mould::{Circuit, Earlier, EarlierFound};
use crate::visit::{TreatmentKind, Visit};

/// Readings so many times less likely after a past than after none speak against it (own choice; Kass and Raftery call 3
/// to 20 positive evidence).
const DISAGREES: f64 = 0.1;
/// Earlier days that the evidence tells of; older ones count as well.
const TOLD: usize = 3;

/// The state with the past, and what is told of it.
pub(crate) struct Judged {
    pub(crate) state: Inside,
    pub(crate) told: Told,
}

/// What the past contributed.
#[derive(Default)]
pub(crate) struct Told {
    pub(crate) before: Option<States>,
    pub(crate) without: Option<Inside>,
    pub(crate) evidence: Vec<Evidence>,
    pub(crate) warnings: Vec<Warning>,
}

/// The state of the bore from today's readings and the circuit's past; nothing if no reading speaks of it.
pub(crate) fn judge(
    one: &Alone<'_>,
    visit: &Visit,
    passage: &PassageFact,
    sisters: Option<&AsNew>,
    elsewhere: f64,
    memory: &Memory,
) -> Option<Judged> {
    let any = Prior::default();
    let split = has_split(one);
    let fresh = states_of(&any, split);
    let state = |prior| bore::judge(one, &visit.rig, passage, sisters, elsewhere, prior, memory);
    let Some(past) = past(one, visit, &fresh) else {
        let told = Told { before: Some(fresh), ..Told::default() };
        return Some(Judged { state: state(any)?, told });
    };
    let (without, with) = (state(any)?, state(prior_of(&past, split, &any))?);
    let told = Told {
        before: Some(past.expected),
        evidence: vec![evidence(one, visit, &past, &with, &without)],
        warnings: disagreement(one.circuit, &past, &fresh, &without).into_iter().collect(),
        without: Some(without),
    };
    Some(Judged { state: with, told })
}

/// Days on record after the day of the visit: they are no past.
pub(crate) fn later(circuit: &Circuit, visit: &Visit) -> Option<Warning> {
    let dates: Vec<String> = circuit
        .earlier
        .iter()
        .filter(|day| days_ago(day, visit).is_none())
        .map(|day| day.date.to_string())
        .collect();
    (!dates.is_empty()).then(|| {
        let text =
            format!("what is on record of {} lies after this visit and does not count", dates.join(", "));
        Warning::about(&circuit.id, "earlier-is-later", text)
    })
}

fn has_split(one: &Alone<'_>) -> bool {
    let pieces = one.geometry.as_ref().map(|known| known.pieces.as_slice()).unwrap_or_default();
    pieces.iter().any(|piece| matches!(piece, Piece::Split { branches } if branches.len() > 1))
}

/// Days between an earlier day and the visit; nothing if it is later.
fn days_ago(day: &Earlier, visit: &Visit) -> Option<f64> {
    let today = Earlier::day_of(visit.started);
    let days = day.date.until((jiff::Unit::Day, today)).ok()?.get_days();
    (days >= 0).then(|| f64::from(days))
}

/// The days on record before this visit, the earliest first.
fn before<'a>(circuit: &'a Circuit, visit: &Visit) -> Vec<(&'a Earlier, f64)> {
    let mut days: Vec<(&Earlier, f64)> =
        circuit.earlier.iter().filter_map(|day| Some((day, days_ago(day, visit)?))).collect();
    days.sort_by(|(_, a), (_, b)| b.total_cmp(a));
    days
}

fn past(one: &Alone<'_>, visit: &Visit, fresh: &States) -> Option<Past> {
    let days: Vec<history::Earlier> = before(one.circuit, visit)
        .iter()
        .map(|(day, days_ago)| history::Earlier {
            days_ago: *days_ago,
            found: day.found.as_ref().and_then(|found| read(found, fresh)),
            done: day.done.clone(),
        })
        .collect();
    if days.is_empty() {
        return None;
    }
    // A past that cannot be read is refused with its file; here it only counts for nothing.
    history::past(&days, fresh, &done_today(one)).ok()
}

fn read(found: &EarlierFound, fresh: &States) -> Option<Found> {
    let all = |named: &std::collections::BTreeMap<BoreState, f64>| {
        completed(&BoreState::ALL.map(|state| named.get(&state).copied()), fresh)
    };
    Some(Found {
        states: all(&found.state)?,
        before: if found.before.is_empty() { None } else { all(&found.before) },
        thickness_mm: found.thickness_mm.filter(|layer| layer.value > 0.0),
    })
}

/// What was done in this visit before the readings that count.
fn done_today(one: &Alone<'_>) -> Vec<Done> {
    let kinds = one.timeline.changes();
    kinds
        .into_iter()
        .filter_map(|kind| match kind {
            TreatmentKind::Descale => Some(Done::Descaled),
            TreatmentKind::Repair => Some(Done::Repaired),
            TreatmentKind::Open => Some(Done::Treated),
            _ => None,
        })
        .collect()
}

fn evidence(one: &Alone<'_>, visit: &Visit, past: &Past, with: &Inside, without: &Inside) -> Evidence {
    let days = before(one.circuit, visit);
    let mut sentences: Vec<String> = Vec::new();
    let untold = days.len().saturating_sub(TOLD);
    if untold > 0 {
        sentences.push(format!("{untold} older days are on record and count as well."));
    }
    let last = days.len().saturating_sub(1);
    sentences.extend(days.iter().enumerate().skip(untold).map(|(at, (day, _))| in_words(day, at == last)));
    let today = done_today(one);
    if !today.is_empty() {
        sentences.push(format!("Before today's readings it was {}.", list(&today)));
    }
    sentences.push(format!(
        "Before any reading of today this lets expect {}; {:.0} % of that is what is expected of any circuit, so that a wrong \
         finding cannot decide alone.",
        best(&past.expected, 2),
        100.0 * past.fresh_share
    ));
    sentences.push(format!(
        "With today's readings: {}. Without the past it would be {}.",
        best(&with.probabilities(), 2),
        best(&without.probabilities(), 2)
    ));
    Evidence {
        title: "Earlier visits".to_owned(),
        text: sentences.join(" "),
        place: None,
        sources: vec!["rabiner-1989", "norris-1997"],
        picture: None,
    }
}

/// `On 4 March 2026 (visit ...): even deposit 80 %, layer 0.50 mm; nothing done since.`
fn in_words(day: &Earlier, last: bool) -> String {
    let visit = day.visit.as_ref().map_or_else(String::new, |visit| format!(" (visit {visit})"));
    let found = day.found.as_ref().map_or_else(|| "nothing read".to_owned(), found_in_words);
    let done = match (day.done.is_empty(), last) {
        (true, true) => "not cleaned since".to_owned(),
        (true, false) => "not cleaned then".to_owned(),
        (false, _) => format!("afterwards {}", list(&day.done)),
    };
    let remark = day.remark.as_ref().map_or_else(String::new, |remark| format!(" ({remark})"));
    sentence(&format!("on {}{visit}: {found}; {done}{remark}", date_in_words(day.date)))
}

fn found_in_words(found: &EarlierFound) -> String {
    let mut named: Vec<(BoreState, f64)> = found.state.iter().map(|(state, p)| (*state, *p)).collect();
    named.sort_by(|(_, a), (_, b)| b.total_cmp(a));
    let state = named.first().map_or_else(
        || "nothing told".to_owned(),
        |(state, p)| format!("{} {:.0} %", state.words(), 100.0 * p),
    );
    let layer = |layer: Uncertain| format!(", layer {:.2} mm ± {:.2} mm", layer.value, layer.standard);
    format!("{state}{}", found.thickness_mm.map_or_else(String::new, layer))
}

fn date_in_words(date: jiff::civil::Date) -> String {
    const MONTHS: [&str; 12] = [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ];
    let month = usize::try_from(date.month() - 1).ok().and_then(|at| MONTHS.get(at)).unwrap_or(&"");
    format!("{} {month} {}", date.day(), date.year())
}

const fn done_in_words(done: Done) -> &'static str {
    match done {
        Done::Descaled => "descaled",
        Done::Rodded => "rodded",
        Done::Repaired => "opened and repaired",
        Done::Treated => "treated",
    }
}

fn list(done: &[Done]) -> String {
    done.iter().map(|done| done_in_words(*done)).collect::<Vec<_>>().join(", then ")
}

/// The most probable states with their probabilities; those under 5 % are not worth their words.
fn best(states: &States, count: usize) -> String {
    let mut named: Vec<(BoreState, f64)> = BoreState::ALL.into_iter().zip(*states).collect();
    named.sort_by(|(_, a), (_, b)| b.total_cmp(a));
    let worth = |(at, (_, p)): &(usize, &(BoreState, f64))| *at == 0 || *p >= 0.05;
    let told = named.iter().take(count).enumerate().filter(worth);
    told.map(|(_, (state, p))| format!("{} {:.0} %", state.words(), 100.0 * p)).collect::<Vec<_>>().join(", ")
}

/// Whether today's readings are much less likely after this past than after none.
fn disagreement(circuit: &Circuit, past: &Past, fresh: &States, without: &Inside) -> Option<Warning> {
    let likely: f64 = past
        .believed
        .iter()
        .zip(fresh)
        .zip(without.probabilities())
        .filter(|((_, fresh), _)| **fresh > 0.0)
        .map(|((believed, fresh), today)| believed * today / fresh)
        .sum();
    (without.fits() && likely < DISAGREES).then(|| {
        let text = format!(
            "today's readings say {}, and what is on record lets expect {}: such readings are {:.0} times less likely after this \
             past than after none. Look whether it was cleaned or changed without a record, and whether the hoses were right \
             then and are right today",
            best(&without.probabilities(), 1),
            best(&past.believed, 1),
            1.0 / likely.max(1e-3)
        );
        Warning::about(&circuit.id, "past-disagrees", text)
    })
}
