//! What one entry changes in the state. Refuses entries that speak of things that are not on record.

use rusqlite::{Connection, OptionalExtension as _, params};

use crate::chain::Entry;
use crate::error::StoreError;
use crate::fact::{Fact, Follows, Subject};
use crate::shapes::{CircuitCard, FindingCard, OverrideCard, PinCard, ReadingCard, Role, WhatCard};

/// Projects an entry that follows everything the state knows.
pub(crate) fn project(state: &Connection, entry: &Entry, fact: &Fact) -> Result<(), StoreError> {
    let root = item(state, entry, fact)?;
    typed(state, entry, fact, root)?;
    state.execute("UPDATE state SET known_to = ?1", [entry.number])?;
    Ok(())
}

/// Which item the entry belongs to.
fn item(state: &Connection, entry: &Entry, fact: &Fact) -> Result<u64, StoreError> {
    if let Some(target) = entry.corrects {
        return corrected(state, entry, fact, target);
    }
    if matches!(fact, Fact::Withdrawal(_)) {
        return Err(StoreError::CannotCorrect { number: entry.number, why: "a withdrawal names an entry" });
    }
    let root = match fact.follows() {
        Follows::StandsBeside => None,
        Follows::Replaces => {
            let sql = "SELECT root FROM item WHERE subject = ?1 AND kind = ?2";
            state
                .prepare_cached(sql)?
                .query_row([&entry.subject, &entry.kind], |row| row.get(0))
                .optional()?
        }
    };
    match root {
        Some(root) => {
            let sql = "UPDATE item SET entry = ?2, versions = versions + 1, withdrawn = NULL WHERE root = ?1";
            state.prepare_cached(sql)?.execute(params![root, entry.number])?;
            Ok(root)
        }
        None => {
            let sql = "INSERT INTO item VALUES (?1, ?2, ?3, ?1, 1, NULL)";
            state.prepare_cached(sql)?.execute(params![entry.number, entry.kind, entry.subject])?;
            Ok(entry.number)
        }
    }
}

/// The item of the entry that is corrected or withdrawn.
fn corrected(state: &Connection, entry: &Entry, fact: &Fact, target: u64) -> Result<u64, StoreError> {
    let sql = "SELECT root, kind, subject, withdrawn FROM item WHERE entry = ?1";
    let found = state
        .prepare_cached(sql)?
        .query_row([target], |row| {
            Ok((
                row.get::<_, u64>(0)?,
                row.get::<_, String>(1)?,
                row.get::<_, String>(2)?,
                row.get::<_, Option<u64>>(3)?,
            ))
        })
        .optional()?;
    let Some((root, kind, subject, withdrawn)) = found else {
        return Err(not_newest(state, target)?);
    };
    if let Some(newest) = withdrawn {
        return Err(StoreError::NotNewest { number: target, newest });
    }
    let refuse = |why| Err(StoreError::CannotCorrect { number: target, why });
    if subject != entry.subject {
        return refuse("it is about something else");
    }
    if matches!(fact, Fact::Withdrawal(_)) {
        if matches!(
            kind.as_str(),
            "person" | "mould" | "half" | "rig" | "instrument" | "visit" | "limits" | "materials"
        ) {
            return refuse("others rest on it; record a new version instead");
        }
        let sql = "UPDATE item SET withdrawn = ?2 WHERE root = ?1";
        state.prepare_cached(sql)?.execute(params![root, entry.number])?;
        return Ok(root);
    }
    if kind != entry.kind {
        return refuse("it is of another kind");
    }
    let sql = "UPDATE item SET entry = ?2, versions = versions + 1 WHERE root = ?1";
    state.prepare_cached(sql)?.execute(params![root, entry.number])?;
    Ok(root)
}

/// Why an entry is no item's newest one.
fn not_newest(state: &Connection, target: u64) -> Result<StoreError, StoreError> {
    let next = "SELECT later.number FROM entry AS old JOIN entry AS later ON later.corrects = old.number \
                WHERE old.number = ?1 \
                UNION SELECT max(later.number) FROM entry AS old JOIN entry AS later \
                ON later.subject = old.subject AND later.kind = old.kind AND later.number > old.number \
                WHERE old.number = ?1 AND old.kind NOT IN ('reading', 'treatment') ORDER BY 1 DESC LIMIT 1";
    let newest: Option<Option<u64>> = state.query_row(next, [target], |row| row.get(0)).optional()?;
    Ok(match newest.flatten() {
        Some(newest) => StoreError::NotNewest { number: target, newest },
        None => StoreError::Unknown { what: "entry", id: target.to_string() },
    })
}

/// Refuses if the query, with these texts, finds nothing.
fn need(state: &Connection, what: &'static str, sql: &str, ids: &[&str]) -> Result<(), StoreError> {
    let there = state.prepare_cached(sql)?.exists(rusqlite::params_from_iter(ids))?;
    if there { Ok(()) } else { Err(StoreError::Unknown { what, id: ids.join(" / ") }) }
}

fn need_mould(state: &Connection, mould: &str) -> Result<(), StoreError> {
    need(state, "mould", "SELECT 1 FROM mould WHERE id = ?1", &[mould])
}
fn need_half(state: &Connection, mould: &str, half: &str) -> Result<(), StoreError> {
    need(state, "half", "SELECT 1 FROM half WHERE mould = ?1 AND id = ?2", &[mould, half])
}
fn need_circuit(state: &Connection, mould: &str, circuit: &str) -> Result<(), StoreError> {
    let sql = "SELECT 1 FROM circuit WHERE mould = ?1 AND id = ?2 AND withdrawn IS NULL";
    need(state, "circuit", sql, &[mould, circuit])
}
fn need_visit(state: &Connection, mould: &str, visit: &str) -> Result<(), StoreError> {
    need(state, "visit", "SELECT 1 FROM visit WHERE mould = ?1 AND id = ?2", &[mould, visit])
}
fn need_subject(state: &Connection, about: &Subject) -> Result<(), StoreError> {
    // Words about something do not make it.
    let sql = "SELECT 1 FROM item WHERE subject = ?1 AND kind NOT IN ('note', 'photo')";
    need(state, "thing named", sql, &[about.as_str()])
}

fn typed(state: &Connection, entry: &Entry, fact: &Fact, root: u64) -> Result<(), StoreError> {
    match fact {
        Fact::Person(card) => {
            let sql = "INSERT INTO person VALUES (?1, ?2, ?3, ?4) ON CONFLICT (id) DO UPDATE \
                       SET name = excluded.name, role = excluded.role, active = excluded.active";
            let values = params![card.id, card.name, role_word(card.role), card.active];
            state.prepare_cached(sql)?.execute(values)?;
        }
        Fact::Mould(card) => {
            let process = serde_word(&card.process);
            let sql = "INSERT INTO mould VALUES (?1, ?2, ?3, ?4) ON CONFLICT (id) DO UPDATE \
                       SET name = excluded.name, process = excluded.process, owner = excluded.owner";
            state.prepare_cached(sql)?.execute(params![card.mould, card.name, process, card.owner])?;
        }
        Fact::Half(card) => {
            need_mould(state, &card.mould)?;
            let sql = "INSERT INTO half VALUES (?1, ?2) ON CONFLICT DO NOTHING";
            state.prepare_cached(sql)?.execute([&card.mould, &card.half])?;
        }
        Fact::Circuit(card) => circuit(state, card)?,
        Fact::Pieces(card) => need_circuit(state, &card.mould, &card.circuit)?,
        Fact::Baseline(card) => need_circuit(state, &card.mould, &card.circuit)?,
        Fact::Past(card) => need_circuit(state, &card.mould, &card.circuit)?,
        Fact::Outline(card) => need_half(state, &card.mould, &card.half)?,
        Fact::Pin(card) => pin(state, card)?,
        Fact::Limits(_) | Fact::Materials(_) => {}
        Fact::Note(card) => need_subject(state, &card.about)?,
        Fact::Photo(card) => need_subject(state, &card.about)?,
        Fact::Withdrawal(_) => withdrawn(state, root, entry.number)?,
        Fact::Rig(_) | Fact::Instrument(_) | Fact::Calibration(_) => bench_thing(state, fact, root)?,
        _ => of_visit(state, entry, fact, root)?,
    }
    Ok(())
}

/// Rigs, instruments and calibrations.
fn bench_thing(state: &Connection, fact: &Fact, root: u64) -> Result<(), StoreError> {
    match fact {
        Fact::Rig(card) => {
            let sql = "INSERT INTO rig VALUES (?1) ON CONFLICT DO NOTHING";
            state.prepare_cached(sql)?.execute([card.rig.as_deref().unwrap_or_default()])?;
        }
        Fact::Instrument(card) => {
            if let Some(rig) = &card.rig {
                need(state, "rig", "SELECT 1 FROM rig WHERE id = ?1", &[rig])?;
            }
            let sql = "INSERT INTO instrument VALUES (?1, ?2, ?3) ON CONFLICT (id) DO UPDATE \
                       SET rig = excluded.rig, measures = excluded.measures";
            state.prepare_cached(sql)?.execute(params![card.instrument, card.rig, card.measures])?;
        }
        Fact::Calibration(card) => {
            need(state, "instrument", "SELECT 1 FROM instrument WHERE id = ?1", &[&card.instrument])?;
            let sql = "INSERT INTO calibration VALUES (?1, ?2, ?3, ?4, NULL) ON CONFLICT (root) DO UPDATE \
                       SET calibrated_on = excluded.calibrated_on, until = excluded.until";
            state.prepare_cached(sql)?.execute(params![root, card.instrument, card.on, card.until])?;
        }
        _ => {}
    }
    Ok(())
}

/// What happens in a visit.
fn of_visit(state: &Connection, entry: &Entry, fact: &Fact, root: u64) -> Result<(), StoreError> {
    match fact {
        Fact::Visit(card) => {
            need_mould(state, &card.mould)?;
            let sql = "INSERT INTO visit VALUES (?1, ?2, ?3, ?4, ?5, NULL, NULL) ON CONFLICT (mould, id) \
                       DO UPDATE SET started_us = excluded.started_us, by_whom = excluded.by_whom, \
                       rig = excluded.rig";
            let started = card.started.as_microsecond();
            let values = params![card.mould, card.visit, started, card.by, card.rig.rig];
            state.prepare_cached(sql)?.execute(values)?;
        }
        Fact::HookUp(card) => {
            need_visit(state, &card.mould, &card.visit)?;
            card.ports.iter().try_for_each(|port| need_circuit(state, &card.mould, &port.circuit))?;
        }
        Fact::Reading(card) => reading(state, card, root)?,
        Fact::Finding(card) => finding(state, entry, card, root)?,
        Fact::Override(card) => overridden(state, entry, card)?,
        Fact::VisitEnd(card) => {
            need_visit(state, &card.mould, &card.visit)?;
            let sql = "UPDATE visit SET outcome = ?3, ended_us = ?4 WHERE mould = ?1 AND id = ?2";
            let outcome = serde_word(&card.outcome);
            let ended = card.at.as_microsecond();
            state.prepare_cached(sql)?.execute(params![card.mould, card.visit, outcome, ended])?;
        }
        Fact::Certificate(card) => {
            let number = card.finding.to_string();
            let sql =
                "SELECT 1 FROM item WHERE kind = 'finding' AND subject = ?1 AND entry = CAST(?2 AS INTEGER)";
            need(state, "finding", sql, &[&entry.subject, &number])?;
        }
        _ => {}
    }
    Ok(())
}

fn circuit(state: &Connection, card: &CircuitCard) -> Result<(), StoreError> {
    need_half(state, &card.mould, &card.half)?;
    let sql = "INSERT INTO circuit VALUES (?1, ?2, ?3, ?4, ?5, NULL) ON CONFLICT (mould, id) DO UPDATE \
               SET place = excluded.place, half = excluded.half, serves = excluded.serves, withdrawn = NULL";
    state.prepare_cached(sql)?.execute(params![
        card.mould,
        card.circuit,
        card.place,
        card.half,
        card.serves
    ])?;
    Ok(())
}

fn pin(state: &Connection, card: &PinCard) -> Result<(), StoreError> {
    need_half(state, &card.mould, &card.half)?;
    if let Some(circuit) = &card.circuit {
        need_circuit(state, &card.mould, circuit)?;
    }
    if let Some(visit) = &card.visit {
        need_visit(state, &card.mould, visit)?;
    }
    Ok(())
}

fn reading(state: &Connection, card: &ReadingCard, root: u64) -> Result<(), StoreError> {
    need_visit(state, &card.mould, &card.visit)?;
    let watched = match &card.what {
        WhatCard::CrossWatch { open, also_charged, watched, .. } => {
            open.iter().chain(also_charged.iter().chain(watched).map(|other| &other.circuit)).collect()
        }
        _ => Vec::new(),
    };
    card.circuit.iter().chain(watched).try_for_each(|circuit| need_circuit(state, &card.mould, circuit))?;
    let taken =
        "SELECT root FROM reading WHERE mould = ?1 AND visit = ?2 AND place = ?3 AND withdrawn IS NULL";
    let taken: Option<u64> = state
        .prepare_cached(taken)?
        .query_row(params![card.mould, card.visit, card.place], |row| row.get(0))
        .optional()?;
    if let Some(number) = taken.filter(|taken| *taken != root) {
        return Err(StoreError::PlaceTaken { place: card.place, number });
    }
    let sql = "INSERT INTO reading VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, NULL) ON CONFLICT (root) DO UPDATE \
               SET place = excluded.place, kind = excluded.kind, circuit = excluded.circuit, \
               at_us = excluded.at_us, traces = excluded.traces";
    state.prepare_cached(sql)?.execute(params![
        root,
        card.mould,
        card.visit,
        card.place,
        card.what.word(),
        card.circuit,
        card.at.map(jiff::Timestamp::as_microsecond),
        card.traces().len(),
    ])?;
    Ok(())
}

fn finding(state: &Connection, entry: &Entry, card: &FindingCard, root: u64) -> Result<(), StoreError> {
    need_visit(state, &card.mould, &card.visit)?;
    if card.known_to >= entry.number {
        return Err(StoreError::Unknown { what: "entry", id: card.known_to.to_string() });
    }
    let sql = "INSERT INTO finding VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, NULL) ON CONFLICT (root) DO UPDATE \
               SET method = excluded.method, known_to = excluded.known_to, inputs = excluded.inputs, \
               document = excluded.document, fit_for_press = excluded.fit_for_press, headline = excluded.headline";
    state.prepare_cached(sql)?.execute(params![
        root,
        card.mould,
        card.visit,
        card.method,
        card.known_to,
        card.inputs.to_string(),
        card.document.to_string(),
        card.fit_for_press,
        card.headline,
    ])?;
    state.prepare_cached("DELETE FROM circuit_finding WHERE finding = ?1")?.execute([root])?;
    let sql = "INSERT INTO circuit_finding VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)";
    let mut insert = state.prepare_cached(sql)?;
    for (place, found) in card.circuits.iter().enumerate() {
        need_circuit(state, &card.mould, &found.circuit)?;
        let (flow, against) = (found.flow_factor_m3_h, found.against_baseline_percent);
        insert.execute(params![
            root,
            place,
            card.mould,
            found.circuit,
            found.tightness,
            found.passage,
            flow.map(|interval| interval.0),
            flow.map(|interval| interval.1),
            flow.map(|interval| interval.2),
            against.map(|interval| interval.0),
            against.map(|interval| interval.1),
            against.map(|interval| interval.2),
            found.next_step,
        ])?;
    }
    Ok(())
}

fn overridden(state: &Connection, entry: &Entry, card: &OverrideCard) -> Result<(), StoreError> {
    need_visit(state, &card.mould, &card.visit)?;
    need_circuit(state, &card.mould, &card.circuit)?;
    for (what, value) in [("a gate", &card.gate), ("the reason for an override", &card.because)] {
        let known = what != "a gate" || matches!(value.as_str(), "wet" | "descale" | "release");
        if !known || value.trim().is_empty() {
            return Err(StoreError::BadName { what, value: value.clone() });
        }
    }
    let role = "SELECT role FROM person WHERE id = ?1";
    let role: Option<String> =
        state.prepare_cached(role)?.query_row([&entry.person], |row| row.get(0)).optional()?;
    let found = role.as_deref().and_then(role_of).unwrap_or(Role::Viewer);
    if matches!(found, Role::Lead | Role::Administrator) {
        return Ok(());
    }
    Err(StoreError::Role { person: entry.person.clone(), found, needed: Role::Lead })
}

fn withdrawn(state: &Connection, root: u64, number: u64) -> Result<(), StoreError> {
    for table in ["reading", "finding", "calibration"] {
        let sql = format!("UPDATE {table} SET withdrawn = ?2 WHERE root = ?1");
        state.prepare_cached(&sql)?.execute([root, number])?;
    }
    let sql = "SELECT kind, subject FROM item WHERE root = ?1";
    let (kind, subject): (String, String) =
        state.prepare_cached(sql)?.query_row([root], |row| Ok((row.get(0)?, row.get(1)?)))?;
    let names = Subject::names(&subject);
    match (kind.as_str(), names.as_slice()) {
        ("circuit", [mould, circuit]) => {
            let sql = "UPDATE circuit SET withdrawn = ?3 WHERE mould = ?1 AND id = ?2";
            state.prepare_cached(sql)?.execute(params![mould, circuit, number])?;
        }
        ("visit-end", [mould, visit]) => {
            let sql = "UPDATE visit SET outcome = NULL, ended_us = NULL WHERE mould = ?1 AND id = ?2";
            state.prepare_cached(sql)?.execute([mould, visit])?;
        }
        _ => {}
    }
    Ok(())
}

/// The stored word of a small enum.
fn serde_word(value: &impl serde::Serialize) -> String {
    match serde_json::to_value(value) {
        Ok(serde_json::Value::String(word)) => word,
        _ => String::new(),
    }
}

const ROLES: [(&str, Role); 4] = [
    ("technician", Role::Technician),
    ("lead", Role::Lead),
    ("viewer", Role::Viewer),
    ("administrator", Role::Administrator),
];

/// The stored word of a role.
pub(crate) fn role_word(role: Role) -> &'static str {
    ROLES.iter().find(|(_, known)| *known == role).map_or("viewer", |(word, _)| word)
}

/// The role of a stored word.
pub(crate) fn role_of(word: &str) -> Option<Role> {
    ROLES.iter().find(|(known, _)| *known == word).map(|(_, role)| *role)
}
