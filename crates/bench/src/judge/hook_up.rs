//! Hoses that seem to be otherwise than the hook-up list has them, over all ports of a hook-up at once.

use calc::estimate::{Uncertain, Z95, root_sum_square};
use calc::infer::assignment::MOST;
use calc::infer::hook_up::{DeadEnd, LnValue, Passes, Port, Quantities, SlipPrior, hook_up};
use calc::numeric::math;

use super::Alone;
use super::expect::AsNew;
use super::flow::FlowSeen;
use super::timeline::Timeline;
use crate::finding::{HookUpDoubt, HookUpSlip, Passage};
use crate::mould::{Circuit, CircuitId};
use crate::visit::{Decay, HookUp, Rig, What};

/// Hoses on each other's circuits are called out from this probability on: a wrong hose gives two wrong records, and a look
/// at it takes minutes. Chosen on simulated visits, so that false alarms stay under one in a hundred (docs/methods/hook-up.md).
const EXCHANGED_FROM: f64 = 0.17;
/// Every other doubt, and a hose that is elsewhere nobody knows where, from this one on.
const OTHERS_FROM: f64 = 0.5;
/// A circuit whose own port may be empty is looked for beside all others of the hook-up from this probability on: two
/// circuits on one port pass air and water even if one of them is blocked.
const LOST_FROM: f64 = 0.1;
/// Water that proves a passage, l/min.
const PROOF_L_MIN: f64 = 0.2;
/// Air is gone at once if it cannot be charged to this pressure, bar, or is down to this share of it so soon, s.
const NOT_CHARGED_BAR: f64 = 0.5;
const GONE: (f64, f64) = (0.1, 3.0);
/// Seconds that the joined pressure of a volume reading is given to settle (common practice, no source).
const JOINED_S: f64 = 10.0;
/// Standard deviation over median distance from the median, of a normal distribution.
const MEDIAN_TO_STANDARD: f64 = 1.482_6;
/// Readings with a larger relative standard uncertainty say nothing here: their logarithm is not normal any more.
const WORTH_READING: f64 = 0.25;
/// Expectations with a larger spread come from a rough idea, which is sometimes far off: so many times the spread.
const ROUGH_IDEA: f64 = 0.18;
const HEAVY_TAIL: f64 = 1.6;
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
    let read = |value: Option<Uncertain>| of(value).filter(|value| value.sd <= WORTH_READING);
    let heavy = |sd: f64| if sd > ROUGH_IDEA { HEAVY_TAIL * sd } else { sd };
    let new = |value: Option<LnValue>| value.map(|value| LnValue { sd: heavy(value.sd), ..value });
    let as_new = |value: Option<&AsNew>| new(value.and_then(|new| LnValue::of(new.value, new.standard_ln)));
    let air = passage.sonic_dm3_s_bar.map(|found| Uncertain::new(found.value, found.half_width() / Z95));
    let volume = |value: Uncertain| {
        let leak = if one.volume.by_air { leak_spread_ml(one, rig, value.value) } else { 0.0 };
        Uncertain::new(value.value, root_sum_square(&[value.standard, leak]))
    };
    let measured = Quantities {
        flow: read(one.flow.as_ref().and_then(FlowSeen::flow_factor_m3_h)),
        // A dead end fills up to the block only.
        volume: read(one.volume.volume_ml.filter(|_| passes != Passes::No).map(volume)),
        air: read(air),
    };
    let expected = Quantities {
        flow: as_new(one.flow_as_new.as_ref()),
        volume: as_new(one.volume_as_new.as_ref()),
        air: new(of(one.air.map(|air| air.sonic_conductance_dm3_s_bar))),
    };
    let dead_end = one.volume.seen_ml.map(|(seen, back_ml)| DeadEnd {
        filled_ml: seen.value,
        standard_ml: volume(seen).standard,
        back_ml,
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

/// Every circuit's port, sisters looked at where nothing else is known.
pub(crate) fn ports(told: &[Told<'_>]) -> Vec<(CircuitId, Port)> {
    told.iter().map(|one| (one.circuit.id.clone(), with_sisters(one, told))).collect()
}

/// What the hook-up check says of a visit.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Hoses {
    /// The doubts that are called out, most probable first. A circuit appears in one doubt at most.
    pub(crate) doubts: Vec<HookUpDoubt>,
    elsewhere: Vec<(CircuitId, f64)>,
    /// Circuits whose own port may be empty, each with those beside which it may hang.
    lost: Vec<(CircuitId, Vec<CircuitId>)>,
}

impl Hoses {
    /// Circuits that may hang on the port of this one beside it.
    pub(crate) fn may_hang_beside(&self, id: &CircuitId) -> Vec<CircuitId> {
        let beside = |(_, all): &&(CircuitId, Vec<CircuitId>)| all.contains(id);
        self.lost.iter().filter(beside).map(|(lost, _)| lost.clone()).collect()
    }

    /// Probability that the hose of this circuit is on another one, or on nothing.
    pub(crate) fn elsewhere(&self, id: &CircuitId) -> f64 {
        self.elsewhere.iter().find(|(other, _)| other == id).map_or(0.0, |(_, probability)| *probability)
    }
}

/// All hoses against the list.
pub(crate) fn check(ports: &[(CircuitId, Port)], hook_ups: &[HookUp]) -> Hoses {
    let Every { all, elsewhere, lost } = every_doubt(ports, hook_ups);
    let mut doubts: Vec<HookUpDoubt> = Vec::new();
    for (doubt, sure_of_all) in all {
        let taken = |id: &CircuitId| doubts.iter().any(|other| other.circuits.contains(id));
        let exchanged = doubt.kind == HookUpSlip::Exchanged && sure_of_all;
        let from = if exchanged { EXCHANGED_FROM } else { OTHERS_FROM };
        if doubt.probability >= from && !doubt.circuits.iter().any(taken) {
            doubts.push(doubt);
        }
    }
    Hoses { doubts, elsewhere, lost }
}

#[derive(Default)]
struct Every {
    /// All doubts worth a look, the most probable first, with whether all circuits named belong to it.
    all: Vec<(HookUpDoubt, bool)>,
    /// Of every circuit the probability that its hose is elsewhere.
    elsewhere: Vec<(CircuitId, f64)>,
    lost: Vec<(CircuitId, Vec<CircuitId>)>,
}

fn every_doubt(ports: &[(CircuitId, Port)], hook_ups: &[HookUp]) -> Every {
    let groups = groups(ports, hook_ups);
    let pairs = |group: &Vec<usize>| (group.len() * group.len().saturating_sub(1)) as f64 / 2.0;
    let all_pairs: f64 = groups.iter().map(pairs).sum();
    let mut every = Every::default();
    for group in &groups {
        let members: Vec<&(CircuitId, Port)> = group.iter().filter_map(|place| ports.get(*place)).collect();
        let theirs: Vec<Port> = members.iter().map(|(_, port)| *port).collect();
        // Slips of a visit are as likely in one hook-up as in another, pair for pair.
        let share = if all_pairs > 0.0 { pairs(group) / all_pairs } else { 1.0 };
        let Ok(checked) = hook_up(&theirs, &SlipPrior::ORDINARY.share(share), LOST_FROM) else {
            continue;
        };
        let names: Vec<&str> = members.iter().map(|(id, _)| id.0.as_str()).collect();
        every
            .elsewhere
            .extend(members.iter().map(|(id, _)| id.clone()).zip(checked.elsewhere.iter().copied()));
        for doubt in checked.doubts {
            let circuits =
                doubt.ports.iter().filter_map(|port| Some(members.get(*port)?.0.clone())).collect();
            let found_one = HookUpDoubt {
                kind: doubt.slip,
                circuits,
                probability: doubt.probability,
                text: doubt.text(&names),
                settled_by: doubt.settled_by(&names),
            };
            let empty = match doubt.slip {
                HookUpSlip::Missing | HookUpSlip::Doubled => found_one.circuits.last().cloned(),
                _ => None,
            };
            every.lost.extend(empty.map(|lost| {
                let others = members.iter().map(|(id, _)| id).filter(|id| **id != lost).cloned().collect();
                (lost, others)
            }));
            every.all.push((found_one, doubt.sure_of_all));
        }
    }
    every.all.sort_by(|(a, _), (b, _)| b.probability.total_cmp(&a.probability));
    every
}

/// Circuits that hung on the rig at the same time: a port that comes up again begins a new hook-up. Where the list is not
/// whole all circuits are one group, in which every pair is the less probable.
fn groups(told: &[(CircuitId, Port)], hook_ups: &[HookUp]) -> Vec<Vec<usize>> {
    let mut stages: Vec<(Vec<u32>, Vec<usize>)> = Vec::new();
    let mut placed = 0;
    for on in hook_ups {
        let Some(place) = told.iter().position(|(id, _)| *id == on.circuit) else { continue };
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

/// The port with what its circuit and its sisters show today, for quantities of which nothing else is known. All sisters
/// get the same expectation: hoses exchanged among them do not show, and one of two alone cannot be the odd one.
fn with_sisters(one: &Told<'_>, all: &[Told<'_>]) -> Port {
    let alike = |other: &&Told<'_>| {
        other.circuit.id == one.circuit.id || one.circuit.sisters.contains(&other.circuit.id)
    };
    let sisters = |quantity: fn(&Quantities) -> Option<LnValue>| {
        let seen: Vec<f64> =
            all.iter().filter(alike).filter_map(|other| Some(quantity(&other.port.measured)?.ln)).collect();
        let centre = median(seen.clone()).filter(|_| seen.len() > 1)?;
        let spread = MEDIAN_TO_STANDARD * median(seen.iter().map(|ln| (ln - centre).abs()).collect())?;
        LnValue::of(math::exp(centre), root_sum_square(&[ALIKE_LN, spread]))
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

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let (low, high) = (values.get(values.len().checked_sub(1)? / 2)?, values.get(values.len() / 2)?);
    Some((low + high) / 2.0)
}

/// Share of its pressure that the circuit loses in a second, as its leak-down shows, late in the test; settling counts in.
fn loses_per_s(timeline: &Timeline<'_>) -> Option<f64> {
    let decay = timeline.since_change().rev().find_map(|entry| match &entry.what {
        What::LeakDown(reading) => Some(&reading.decay),
        _ => None,
    })?;
    let (from, to, seconds) = match decay {
        Decay::TwoReadings { start, end, time } => (start.bar(), end.bar(), time.s()),
        Decay::Trace(trace) => {
            let (times, pressures) = trace.pressures()?;
            let half = pressures.len() / 2;
            (*pressures.get(half)?, *pressures.last()?, times.last()? - times.get(half)?)
        }
    };
    (seconds > 0.0 && from > 0.0).then(|| ((from - to) / from / seconds).max(0.0))
}

/// A volume reading by air takes what leaks meanwhile for volume: spread of it, ml.
fn leak_spread_ml(one: &Alone<'_>, rig: &Rig, seen_ml: f64) -> f64 {
    let vessel_ml = rig.reference_volume.map_or(0.0, calc::quantity::Volume::ml);
    // A circuit that holds nothing at all, or that nobody tested, may have lost anything.
    let lost = loses_per_s(&one.timeline).unwrap_or(0.01) * JOINED_S;
    lost * (vessel_ml + seen_ml.max(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn port(id: &str, measured: f64, expected: f64) -> (CircuitId, Port) {
        let flow = |value, sd| Quantities { flow: LnValue::of(value, sd), ..Quantities::default() };
        let port = Port {
            measured: flow(measured, 0.02),
            expected: flow(expected, 0.03),
            passes: Passes::Yes,
            ..Port::default()
        };
        (CircuitId(id.into()), port)
    }

    fn list(ports: &[u32], ids: &[&str]) -> Vec<HookUp> {
        let on = |(port, id): (&u32, &&str)| HookUp { port: *port, circuit: CircuitId((*id).into()) };
        ports.iter().zip(ids).map(on).collect()
    }

    #[test]
    fn hoses_are_exchanged_within_a_hook_up_only() {
        let ports = [port("F1", 1.2, 0.6), port("F2", 0.8, 0.8), port("F3", 0.6, 1.2)];
        let ids = ["F1", "F2", "F3"];
        let found = check(&ports, &list(&[1, 2, 3], &ids)).doubts;
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].circuits, [CircuitId("F1".into()), CircuitId("F3".into())]);
        // Port 1 comes up again: F3 hung on the rig when F1 did not.
        let apart = check(&ports, &list(&[1, 2, 1], &ids)).doubts;
        assert!(apart.iter().all(|doubt| doubt.circuits.len() < 2), "{apart:?}");
        // Without a whole list all circuits may be exchanged.
        assert_eq!(check(&ports, &list(&[1], &ids)).doubts.len(), 1);
        assert_eq!(groups(&ports, &list(&[1], &ids)), [vec![0, 1, 2]]);
    }

    #[test]
    fn a_circuit_with_an_empty_port_may_hang_beside_any_other() {
        let mut ports = [port("F1", 1.2, 1.2), port("F2", 0.8, 0.8), port("F3", 0.6, 0.6)];
        ports[2].1.passes = Passes::Gone;
        ports[2].1.measured = Quantities::default();
        let ids = ["F1", "F2", "F3"];
        let found = check(&ports, &list(&[1, 2, 3], &ids));
        assert_eq!(found.may_hang_beside(&CircuitId("F1".into())), [CircuitId("F3".into())], "{found:?}");
        assert!(found.may_hang_beside(&CircuitId("F3".into())).is_empty());
        let sound = check(&ports[..2], &list(&[1, 2], &ids[..2]));
        assert!(sound.may_hang_beside(&CircuitId("F1".into())).is_empty());
    }

    #[test]
    fn the_middle_of_a_few() {
        assert_eq!(median(vec![3.0, 1.0, 2.0]), Some(2.0));
        assert_eq!(median(vec![4.0, 1.0, 2.0, 3.0]), Some(2.5));
        assert_eq!(median(vec![]), None);
    }
}
