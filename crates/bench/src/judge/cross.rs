//! Who leaks into whom, from charged-and-watched readings.

use calc::air::rise::{Rise, Watched, rise};
use calc::quantity::Volume;

use super::tested::TestedVolume;
use crate::mould::CircuitId;
use crate::visit::{Decay, Visit, What};

/// One watched pair that still counts.
#[derive(Clone, Debug)]
pub(crate) struct Watch {
    pub(crate) charged: CircuitId,
    pub(crate) watched: CircuitId,
    pub(crate) rise: Rise,
    pub(crate) place: String,
}

/// All watched pairs of the visit, in its order. A watch counts only while neither circuit was changed since.
pub(crate) fn watches(visit: &Visit, volume: impl Fn(&CircuitId) -> TestedVolume) -> Vec<Watch> {
    let mut found = Vec::new();
    for (place, entry) in visit.entries.iter().enumerate() {
        let (What::CrossWatch(watch), Some(charged)) = (&entry.what, &entry.circuit) else { continue };
        for (watched, decay) in &watch.watched {
            if last_change(visit, charged).max(last_change(visit, watched)) > Some(place) {
                continue;
            }
            if let Some(rise) = one_rise(decay, &volume(watched), visit) {
                let (charged, watched) = (charged.clone(), watched.clone());
                found.push(Watch { charged, watched, rise, place: entry.place.clone() });
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
