//! Who leaks into whom, from charged-and-watched readings: each watched pair for itself, and the map that all readings
//! of the visit give together.

use calc::air::cross_leak::{self, CrossLeaks, Gauges, Leaks, Seen};
use calc::air::leak_down::USUAL_HOLD;
use calc::air::rise::{Rise, Watched, rise};
use calc::quantity::{GaugePressure, PressureDrop, Volume};

use super::tested::TestedVolume;
use crate::mould::{CircuitId, Mould};
use crate::picture::{LeakPath, NextLeakTest};
use crate::visit::{CrossWatch, Decay, Visit, What};

/// One watched pair that still counts.
#[derive(Clone, Debug)]
pub(crate) struct Watch {
    pub(crate) charged: CircuitId,
    pub(crate) watched: CircuitId,
    pub(crate) rise: Rise,
    /// Whether other circuits were charged too, so that the sender is not known from this reading alone.
    pub(crate) several_charged: bool,
    pub(crate) place: String,
}

/// What all readings of the visit say together; empty if nobody was watched.
#[derive(Clone, Debug, Default)]
pub(crate) struct Map {
    pub(crate) paths: Vec<LeakPath>,
    pub(crate) next_test: Option<NextLeakTest>,
    pub(crate) unexplained: Vec<CircuitId>,
}

impl Map {
    /// The path between two circuits, if it is likely enough to be listed.
    pub(crate) fn across(&self, a: &CircuitId, b: &CircuitId) -> Option<&LeakPath> {
        self.paths.iter().find(|path| {
            let ends = (&path.from, path.to.as_ref());
            ends == (a, Some(b)) || ends == (b, Some(a))
        })
    }
}

/// The map of all charged-and-watched readings that still count.
pub(crate) fn map(mould: &Mould, visit: &Visit, volume: impl Fn(&CircuitId) -> TestedVolume) -> Map {
    let place_of = |id: &CircuitId| mould.circuits.iter().position(|circuit| circuit.id == *id);
    let tests: Vec<cross_leak::Test> = cross_watches(visit)
        .filter_map(|(place, charged, watch)| test(visit, place, charged, watch, place_of))
        .collect();
    if tests.is_empty() {
        return Map::default();
    }
    let circuits = mould.circuits.iter().map(|circuit| {
        let room = volume(&circuit.id);
        cross_leak::Circuit {
            id: circuit.id.0.clone(),
            volume: Some(Volume::from_ml(room.total_ml)),
            volume_relative: Some(room.relative.min(1.0)),
        }
    });
    let mut ports: Vec<u32> = visit.hook_ups.iter().map(|on| on.port).collect();
    ports.sort_unstable();
    ports.dedup();
    let leaks = Leaks {
        circuits: circuits.collect(),
        tests,
        atmosphere: visit.rig.atmosphere,
        pressure: GaugePressure::from_bar(6.0),
        gauges: Gauges {
            by_eye: PressureDrop::from_bar(0.1 * visit.rig.pressure_uncertainty_bar),
            step: PressureDrop::from_bar(visit.rig.gauge_step_bar),
            ..Gauges::default()
        },
        ports: (ports.len() > 1).then_some(ports.len()),
    };
    cross_leak::cross_leak(&leaks).map_or_else(|_| Map::default(), |found| in_names(mould, found))
}

fn in_names(mould: &Mould, found: CrossLeaks) -> Map {
    let id = |place: usize| mould.circuits.get(place).map(|circuit| circuit.id.clone());
    let ids = |places: &[usize]| -> Vec<CircuitId> { places.iter().filter_map(|place| id(*place)).collect() };
    let path = |path: &cross_leak::Path| {
        Some(LeakPath {
            from: id(path.from)?,
            to: path.to.and_then(id),
            rate_mbar_l_s: path.rate_mbar_l_s,
            probability: path.probability,
            opens_above_bar: path.opens_above_bar,
        })
    };
    Map {
        paths: found.paths.iter().filter_map(path).collect(),
        next_test: found.next_test.map(|next| NextLeakTest {
            charged: ids(&next.charged),
            watched: ids(&next.watched),
            open: ids(&next.open),
            duration_min: next.minutes,
            why: next.why,
        }),
        unexplained: ids(&found.unexplained),
    }
}

/// Charged-and-watched readings with their place in the visit and their first charged circuit.
fn cross_watches(visit: &Visit) -> impl Iterator<Item = (usize, &CircuitId, &CrossWatch)> {
    visit.entries.iter().enumerate().filter_map(|(place, entry)| match (&entry.what, &entry.circuit) {
        (What::CrossWatch(watch), Some(charged)) => Some((place, charged, watch)),
        _ => None,
    })
}

/// A reading as the map takes it; nothing once a charged circuit was changed. Of a watched circuit that was changed since,
/// nothing is known any more.
fn test(
    visit: &Visit,
    place: usize,
    charged: &CircuitId,
    watch: &CrossWatch,
    place_of: impl Fn(&CircuitId) -> Option<usize>,
) -> Option<cross_leak::Test> {
    let current = |id: &CircuitId| last_change(visit, id) <= Some(place);
    let own = core::iter::once((charged, watch.charged_decay.as_ref()));
    let all: Vec<(&CircuitId, Option<&Decay>)> =
        own.chain(watch.also_charged.iter().map(|(id, decay)| (id, decay.as_ref()))).collect();
    if !all.iter().all(|(id, _)| current(id)) {
        return None;
    }
    let mut seen = Vec::new();
    for (id, decay) in &all {
        seen.extend(decay.and_then(reading).and_then(|reading| Some((place_of(id)?, reading))));
    }
    let mut watched = Vec::new();
    for (id, decay) in watch.watched.iter().filter(|(id, _)| current(id)) {
        if let (Some(at), Some(reading)) = (place_of(id), reading(decay)) {
            watched.push(at);
            seen.push((at, reading));
        }
    }
    let charged = all.iter().map(|(id, _)| place_of(id)).collect::<Option<Vec<usize>>>()?;
    Some(cross_leak::Test { charged, watched, seen, hold: USUAL_HOLD })
}

/// A reading that a slope can be taken from.
fn reading(decay: &Decay) -> Option<Seen> {
    match decay {
        Decay::Trace(trace) => {
            let (times, pressures) = trace.pressures().filter(|(times, _)| times.len() >= 3)?;
            Some(Seen::Logged(times, pressures))
        }
        Decay::TwoReadings { start, end, time } => {
            (time.s() > 0.0).then_some(Seen::Twice { start: *start, end: *end, time: *time })
        }
    }
}

/// All watched pairs of the visit, in its order. A watch counts only while neither circuit was changed since. With several
/// charged circuits each of them is a possible sender, unless the map has found who it is.
pub(crate) fn watches(visit: &Visit, map: &Map, volume: impl Fn(&CircuitId) -> TestedVolume) -> Vec<Watch> {
    let mut found = Vec::new();
    for (place, first, watch) in cross_watches(visit) {
        let charged: Vec<&CircuitId> =
            core::iter::once(first).chain(watch.also_charged.iter().map(|(id, _)| id)).collect();
        let several_charged = charged.len() > 1;
        for (watched, decay) in &watch.watched {
            let Some(seen) = one_rise(decay, &volume(watched), visit) else { continue };
            let known = charged.iter().any(|id| map.across(id, watched).is_some());
            for id in &charged {
                let path = map.across(id, watched);
                if last_change(visit, id).max(last_change(visit, watched)) > Some(place)
                    || (several_charged && known && path.is_none())
                {
                    continue;
                }
                let mut rise = seen;
                if let Some(path) = path.filter(|_| several_charged) {
                    rise.rate_mbar_l_s = path.rate_mbar_l_s;
                }
                let place = visit.entries.get(place).map(|entry| entry.place.clone()).unwrap_or_default();
                found.push(Watch {
                    charged: (*id).clone(),
                    watched: watched.clone(),
                    rise,
                    several_charged,
                    place,
                });
            }
        }
    }
    found
}

/// Place in the visit at which the circuit was last opened, repaired or descaled.
fn last_change(visit: &Visit, circuit: &CircuitId) -> Option<usize> {
    visit.entries.iter().rposition(|entry| {
        entry.circuit.as_ref().is_none_or(|id| id == circuit)
            && matches!(&entry.what, What::Treatment(treatment) if treatment.kind.changes_circuit())
    })
}

fn one_rise(decay: &Decay, room: &TestedVolume, visit: &Visit) -> Option<Rise> {
    let gauge = (visit.rig.pressure_uncertainty_bar, visit.rig.gauge_step_bar);
    let volume = Volume::from_ml(room.total_ml);
    match decay {
        Decay::Trace(trace) => {
            let (times, pressures) = trace.pressures()?;
            rise(volume, room.relative, Watched::Logged(&times, &pressures), gauge)
        }
        Decay::TwoReadings { start, end, time } => {
            rise(volume, room.relative, Watched::Twice { start: *start, end: *end, time: *time }, gauge)
        }
    }
}
