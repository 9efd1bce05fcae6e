//! Hoses that seem to be otherwise than the hook-up list has them, over all ports of a hook-up at once.

use calc::estimate::Uncertain;
use calc::infer::assignment::MOST;
use calc::infer::hook_up::{DeadEnd, LnValue, Passes, Port, Quantities, SlipPrior, hook_up};
use calc::numeric::math;

use super::Alone;
use super::expect::AsNew;
use super::flow::FlowSeen;
use super::timeline::Timeline;
use crate::finding::{HookUpDoubt, Passage};
use crate::mould::{Circuit, CircuitId};
use crate::visit::{Decay, HookUp, Rig, What};

/// From this probability on a doubt is called out: in simulated visits the false alarms then stay under one in a hundred
/// visits (docs/methods/hook-up.md).
pub(crate) const CALLED_OUT: f64 = 0.8;
/// Water that proves a passage, l/min.
const PROOF_L_MIN: f64 = 0.2;
/// Air is gone at once if it cannot be charged to this pressure, bar, or is down to this share of it so soon, s.
const NOT_CHARGED_BAR: f64 = 0.5;
const GONE: (f64, f64) = (0.1, 3.0);
/// Sisters of one mould differ by drilling and by what they carry (own choice).
const ALIKE_LN: f64 = 0.10;

/// What was measured through the port of a circuit, and what is expected of the circuit.
#[derive(Clone, Debug)]
pub(crate) struct Told<'a> {
    pub(crate) circuit: &'a Circuit,
    pub(crate) port: Port,
}

/// What one circuit's readings and records tell.
pub(crate) fn told<'a>(one: &Alone<'a>, rig: &Rig) -> Told<'a> {
    let passage = &one.passage.0;
    let water = one.flow.as_ref().filter(|seen| !seen.points.is_empty()).map(|seen| seen.largest_l_min);
    let passes = match passage.verdict {
        _ if gone_at_once(&one.timeline) => Passes::Gone,
        _ if water.is_some_and(|flow| flow > PROOF_L_MIN) => Passes::Yes,
        Passage::Free | Passage::NarrowByDesign | Passage::Restricted => Passes::Yes,
        Passage::Blocked => Passes::No,
        Passage::CannotTell | Passage::Untested if water.is_some() => Passes::No,
        Passage::CannotTell | Passage::Untested => Passes::NotTold,
    };
    let of = |value: Option<Uncertain>| {
        value.and_then(|value| LnValue::of(value.value, value.relative_standard()))
    };
    let as_new = |value: Option<&AsNew>| value.and_then(|new| LnValue::of(new.value, new.standard_ln));
    let air = passage
        .sonic_dm3_s_bar
        .map(|found| Uncertain::new(found.value, found.half_width() / calc::estimate::Z95));
    let measured = Quantities {
        flow: of(one.flow.as_ref().and_then(FlowSeen::flow_factor_m3_h)),
        volume: of(one.volume.volume_ml),
        air: of(air),
    };
    let expected = Quantities {
        flow: as_new(one.flow_as_new.as_ref()),
        volume: as_new(one.volume_as_new.as_ref()),
        air: of(one.air.map(|air| air.sonic_conductance_dm3_s_bar)),
    };
    let dead_end = one.volume.seen_ml.map(|(seen, hoses_ml)| DeadEnd {
        filled_ml: seen.value,
        standard_ml: seen.standard,
        back_ml: hoses_ml / 2.0,
    });
    let backwards = one.flow.as_ref().and_then(|seen| backwards(seen, rig));
    Told {
        circuit: one.circuit,
        port: Port { measured, passes, dead_end, backwards, expected, by_sisters: false },
    }
}

/// Outlet above inlet, in standard uncertainties, where the gauges sit at the mould.
fn backwards(seen: &FlowSeen, rig: &Rig) -> Option<f64> {
    if seen.through_fixture {
        return None;
    }
    let standard_bar = (rig.pressure_uncertainty_bar * core::f64::consts::SQRT_2).max(1e-4);
    let strongest = seen.points.iter().max_by(|a, b| a.flow.l_min().total_cmp(&b.flow.l_min()))?;
    Some(-strongest.drop.bar() / standard_bar)
}

/// Whether charged air could not be kept for a moment.
fn gone_at_once(timeline: &Timeline<'_>) -> bool {
    let decay = timeline.since_change().rev().find_map(|entry| match &entry.what {
        What::LeakDown(reading) => Some(&reading.decay),
        _ => None,
    });
    match decay {
        Some(Decay::TwoReadings { start, .. }) => start.bar() < NOT_CHARGED_BAR,
        Some(Decay::Trace(trace)) => trace.pressures().is_some_and(|(times, pressures)| {
            let Some(most) = pressures.iter().copied().reduce(f64::max) else { return false };
            let begins = times.first().copied().unwrap_or_default();
            let soon = times.iter().zip(&pressures).find(|(time, _)| **time - begins >= GONE.1);
            most < NOT_CHARGED_BAR || soon.is_some_and(|(_, pressure)| *pressure < GONE.0 * most)
        }),
        None => false,
    }
}

/// The doubts of a visit, most probable first. A circuit appears in one doubt at most.
pub(crate) fn doubts(told: &[Told<'_>], hook_ups: &[HookUp]) -> Vec<HookUpDoubt> {
    let groups = groups(told, hook_ups);
    let pairs = |group: &Vec<usize>| (group.len() * group.len().saturating_sub(1)) as f64 / 2.0;
    let all_pairs: f64 = groups.iter().map(pairs).sum();
    let mut found: Vec<HookUpDoubt> = Vec::new();
    for group in &groups {
        let members: Vec<&Told<'_>> = group.iter().filter_map(|place| told.get(*place)).collect();
        let ports: Vec<Port> = members.iter().map(|one| with_sisters(one, told)).collect();
        // Slips of a visit are as likely in one hook-up as in another, pair for pair.
        let share = if all_pairs > 0.0 { pairs(group) / all_pairs } else { 1.0 };
        let Ok(checked) = hook_up(&ports, &SlipPrior::ORDINARY.share(share), CALLED_OUT) else { continue };
        let names: Vec<&str> = members.iter().map(|one| one.circuit.id.0.as_str()).collect();
        for doubt in checked.doubts {
            let circuits: Vec<CircuitId> =
                doubt.ports.iter().filter_map(|port| Some(members.get(*port)?.circuit.id.clone())).collect();
            found.push(HookUpDoubt {
                kind: doubt.slip,
                circuits,
                probability: doubt.probability,
                text: doubt.text(&names),
                settled_by: doubt.settled_by(&names),
            });
        }
    }
    found.sort_by(|a, b| b.probability.total_cmp(&a.probability));
    let mut doubts: Vec<HookUpDoubt> = Vec::new();
    for doubt in found {
        let taken = |id: &CircuitId| doubts.iter().any(|other| other.circuits.contains(id));
        if !doubt.circuits.iter().any(taken) {
            doubts.push(doubt);
        }
    }
    doubts
}

/// Circuits that hung on the rig at the same time: a port that comes up again begins a new hook-up. Where the list is not
/// whole all circuits are one group, in which every pair is the less probable.
fn groups(told: &[Told<'_>], hook_ups: &[HookUp]) -> Vec<Vec<usize>> {
    let mut stages: Vec<(Vec<u32>, Vec<usize>)> = Vec::new();
    let mut placed = 0;
    for on in hook_ups {
        let Some(place) = told.iter().position(|one| one.circuit.id == on.circuit) else { continue };
        if stages.iter().any(|(_, members)| members.contains(&place)) {
            continue;
        }
        placed += 1;
        match stages.last_mut() {
            Some((ports, members)) if !ports.contains(&on.port) => {
                ports.push(on.port);
                members.push(place);
            }
            _ => stages.push((vec![on.port], vec![place])),
        }
    }
    let groups: Vec<Vec<usize>> = if placed == told.len() {
        stages.into_iter().map(|(_, members)| members).collect()
    } else {
        vec![(0..told.len()).collect()]
    };
    groups.iter().flat_map(|group| group.chunks(MOST).map(<[usize]>::to_vec)).collect()
}

/// The port with what its circuit's sisters show today, for quantities of which nothing else is known.
fn with_sisters(one: &Told<'_>, all: &[Told<'_>]) -> Port {
    let sisters = |quantity: fn(&Quantities) -> Option<LnValue>| {
        let mut seen: Vec<f64> = all
            .iter()
            .filter(|other| one.circuit.sisters.contains(&other.circuit.id))
            .filter_map(|other| Some(quantity(&other.port.measured)?.ln))
            .collect();
        seen.sort_by(f64::total_cmp);
        let (low, high) = (seen.first()?, seen.last()?);
        let middle = (seen.get((seen.len() - 1) / 2)? + seen.get(seen.len() / 2)?) / 2.0;
        LnValue::of(math::exp(middle), calc::estimate::root_sum_square(&[ALIKE_LN, (high - low) / 2.0]))
    };
    let mut port = one.port;
    let expected = &mut port.expected;
    if expected.flow.is_none() {
        expected.flow = sisters(|seen| seen.flow);
        port.by_sisters |= expected.flow.is_some();
    }
    if expected.volume.is_none() {
        expected.volume = sisters(|seen| seen.volume);
    }
    if expected.air.is_none() {
        expected.air = sisters(|seen| seen.air);
        port.by_sisters |= expected.air.is_some();
    }
    port
}
