//! From readings to findings: the judgement, circuit by circuit.
//!
//! The order is fixed: volumes first (a leak rate needs one), then tightness, passage and flow, then the state of
//! the bore, doubts about hoses, gates, and the next step. Nothing here depends on clock, chance or machine.

mod block;
mod bore;
pub mod cautions;
mod cross;
mod curve;
mod expect;
pub(crate) mod expected;
mod facts;
mod flow;
mod gates;
mod hook_up;
mod how;
mod leak_kind;
mod memory;
mod next_step;
mod passage;
mod past;
mod rig;
mod side_by_side;
mod stated;
mod summary;
mod tested;
mod tight;
mod timeline;
mod volume;

use std::collections::BTreeMap;

use calc::air::passage::Expected;
use calc::estimate::{Uncertain, root_sum_square};
use calc::infer::bore::BoreState as Inside;
use calc::infer::hook_up::Port;
use calc::quantity::Length;

use crate::finding::{BoreState, CircuitFinding, Findings, HookUpDoubt, Warning};
use crate::limits::{Materials, Tables};
use crate::mould::{Circuit, CircuitId, Mould, Process};
use crate::overrides::{self, Override};
use crate::visit::{HookUp, Visit};
use crate::working::{Number, Working};
use expect::{AsNew, Geometry, surer};
use facts::{Facts, VolumeFact};
use flow::FlowSeen;
pub use memory::Memory;
use tested::{HOSES_UNKNOWN, TestedVolume, tested_volume, up_to_block, used};
use timeline::Timeline;

/// Version of the judgement; it changes when a finding may change.
pub const METHOD: &str = "borewise-judgement/1";

/// What can be said of a circuit without the others.
struct Alone<'a> {
    circuit: &'a Circuit,
    timeline: Timeline<'a>,
    geometry: Option<Geometry>,
    volume: VolumeFact,
    tested: TestedVolume,
    flow: Option<FlowSeen>,
    flow_as_new: Option<AsNew>,
    air: Option<Expected>,
    passage: (facts::PassageFact, Vec<crate::finding::Evidence>, Vec<Warning>),
    volume_as_new: Option<AsNew>,
    /// Whether baseline and flow of today were taken the same way.
    comparable: bool,
    evidence: Vec<crate::finding::Evidence>,
    warnings: Vec<Warning>,
}

/// Judges one visit.
///
/// The same mould, visit and tables give the same findings, byte for byte.
#[must_use]
pub fn assess(mould: &Mould, visit: &Visit, tables: &Tables) -> Findings {
    assess_with(mould, visit, tables, &[])
}

/// The same, with what people decided against the rules of the gates, in the order in which they did.
#[must_use]
pub fn assess_with(mould: &Mould, visit: &Visit, tables: &Tables, overrides: &[Override]) -> Findings {
    assess_again(mould, visit, tables, overrides, &Memory::default())
}

/// The same, quicker where the same visit was judged before with this memory.
#[must_use]
pub fn assess_again(
    mould: &Mould,
    visit: &Visit,
    tables: &Tables,
    overrides: &[Override],
    memory: &Memory,
) -> Findings {
    let seen = rig::check(visit);
    let read = seen.as_read(visit);
    let read_all = |visit| {
        side_by_side::each(mould.circuits.iter().collect(), |circuit| alone(circuit, visit, tables, memory))
    };
    let first: Vec<Alone<'_>> = read_all(&read);
    let moved: Vec<rig::Moved> = first.iter().filter_map(|one| rig::moved(one, &read.rig)).collect();
    let alike = seen.alike(&moved, &read.rig);
    // A common error that nobody checked counts as uncertainty of every flow.
    let wider = alike.as_ref().and_then(|alike| rig::wider(alike, &read));
    let (visit, mut alone) = match &wider {
        Some(wider) => (wider, read_all(wider)),
        None => (&*read, first),
    };
    for one in alone.iter_mut().filter(|one| one.flow.is_some()) {
        one.evidence.extend(seen.evidence());
    }
    let fallback = tested_volume(None, &visit.rig);
    let room = |id: &CircuitId| {
        alone
            .iter()
            .find(|one| one.circuit.id == *id)
            .map_or_else(|| fallback.clone(), |one| one.tested.clone())
    };
    let paths = cross::map(mould, visit, room);
    let watches = cross::watches(visit, &paths, room);
    let measured: Vec<(CircuitId, Uncertain)> = alone
        .iter()
        .filter_map(|one| Some((one.circuit.id.clone(), one.flow.as_ref()?.flow_factor_m3_h()?)))
        .collect();
    let told: Vec<_> = alone.iter().map(|one| hook_up::told(one, &visit.rig)).collect();
    let hoses = hook_up::check(&hook_up::ports(&told), &visit.hook_ups);
    let together = Together { mould, visit, tables, watches, paths, measured, hoses, memory };
    let judged = side_by_side::each(alone, |one| {
        let (facts, warnings) = together.facts(one);
        (finding(facts, tables, overrides), warnings)
    });
    let (rig_check, mut warnings) = seen.finding(alike);
    warnings.extend(together.general_warnings());
    let (circuits, theirs): (Vec<CircuitFinding>, Vec<Vec<Warning>>) = judged.into_iter().unzip();
    warnings.extend(theirs.into_iter().flatten());
    warnings.extend(overrides::warnings(&circuits));
    let map = summary::leak_map(&circuits, &together.watches, &together.paths);
    let findings = summary::findings(mould, visit, tables, circuits, together.hoses.doubts, warnings, map);
    Findings { rig_check, ..findings }
}

/// The hook-up check by itself, as [`assess`] makes it.
#[derive(Clone, Debug, PartialEq)]
pub struct HookUpCheck {
    /// What was measured through the port of each circuit and what is expected of the circuit, in the order of the mould:
    /// logarithms with standard uncertainties, hoses taken out.
    pub ports: Vec<(CircuitId, Port)>,
    hook_ups: Vec<HookUp>,
}

impl HookUpCheck {
    /// What the hook-up check of one visit rests on.
    #[must_use]
    pub fn of(mould: &Mould, visit: &Visit, tables: &Tables) -> Self {
        let memory = Memory::default();
        let alone = side_by_side::each(mould.circuits.iter().collect(), |circuit| {
            alone(circuit, visit, tables, &memory)
        });
        let told: Vec<_> = alone.iter().map(|one| hook_up::told(one, &visit.rig)).collect();
        Self { ports: hook_up::ports(&told), hook_ups: visit.hook_ups.clone() }
    }

    /// Doubts that [`assess`] calls out.
    #[must_use]
    pub fn doubts(&self) -> Vec<HookUpDoubt> {
        hook_up::check(&self.ports, &self.hook_ups).doubts
    }
}

fn alone<'a>(circuit: &'a Circuit, visit: &'a Visit, tables: &Tables, memory: &Memory) -> Alone<'a> {
    let timeline = Timeline::of(visit, &circuit.id);
    let geometry = expect::geometry(circuit);
    let baseline = circuit.baseline.as_ref();
    let from = baseline.map(expect::baseline_in_words).unwrap_or_default();
    let volume_as_new = surer(
        baseline.and_then(|base| base.filled_volume_ml).map(|volume| AsNew::of(volume, from.clone())),
        geometry.as_ref().map(Geometry::volume_ml),
    );
    let (volume, mut evidence, mut warnings) =
        volume::judge(circuit, &timeline, &visit.rig, volume_as_new.as_ref());
    let mut flow = flow::read(circuit, &timeline, &visit.rig, geometry.as_ref(), memory);
    if let Some(seen) = &mut flow {
        evidence.append(&mut seen.evidence);
        warnings.append(&mut seen.warnings);
    }
    let comparable = flow.as_ref().zip(baseline).is_none_or(|(seen, base)| seen.others == base.others);
    if !comparable {
        warnings.push(Warning::about(
            &circuit.id,
            "alone-against-all-open",
            "the baseline and today's flow were not taken the same way (alone, or all circuits open); they are not compared",
        ));
    }
    let flow_as_new = surer(
        baseline.filter(|_| comparable).map(|base| AsNew::of(base.flow_factor_m3_h, from)),
        geometry.as_ref().and_then(Geometry::flow_factor),
    );
    let air = baseline
        .and_then(|base| base.sonic_conductance_dm3_s_bar)
        .map(Expected::of_baseline)
        .or_else(|| geometry.as_ref().and_then(Geometry::air));
    let measured = volume.volume_ml.map(|measured| AsNew::of(measured, "measured in this visit"));
    let best_volume = surer(
        measured.clone(),
        volume_as_new.as_ref().map(|new| used(new, flow_left(flow.as_ref(), flow_as_new.as_ref()))),
    );
    let whole = tested_volume(best_volume.as_ref(), &visit.rig);
    // What passes is compared with what should pass as new, and a dead end must not look smaller than it may be.
    let as_new = tested_volume(surer(measured, volume_as_new.clone()).as_ref(), &visit.rig);
    let test = passage::Test {
        memory,
        circuit,
        rig: &visit.rig,
        volume: &as_new,
        expected: air,
        narrow_dm3_s_bar: tables.limits.narrow_conductance.value,
        largest_flow_l_min: flow.as_ref().map_or(0.0, |seen| seen.largest_l_min),
    };
    let passage = passage::judge(&test, &timeline);
    let tested = if passage.0.verdict == crate::finding::Passage::Blocked {
        up_to_block(best_volume.as_ref(), &volume, &visit.rig)
    } else {
        whole
    };
    Alone {
        circuit,
        timeline,
        geometry,
        volume,
        tested,
        flow,
        flow_as_new,
        air,
        passage,
        volume_as_new,
        comparable,
        evidence,
        warnings,
    }
}

/// Share of the flow as new that is left, with the spread of its logarithm.
fn flow_left(seen: Option<&FlowSeen>, as_new: Option<&AsNew>) -> Option<(f64, f64)> {
    let (seen, new) = (seen?.flow_factor_m3_h()?, as_new?);
    Some((seen.value / new.value, root_sum_square(&[seen.relative_standard(), new.standard_ln])))
}

/// What is needed of the whole mould to judge one circuit.
struct Together<'a> {
    mould: &'a Mould,
    visit: &'a Visit,
    tables: &'a Tables,
    watches: Vec<cross::Watch>,
    paths: cross::Map,
    measured: Vec<(CircuitId, Uncertain)>,
    hoses: hook_up::Hoses,
    memory: &'a Memory,
}

impl Together<'_> {
    fn limit_mbar_l_s(&self) -> f64 {
        match self.mould.process {
            Process::InjectionMoulding => self.tables.limits.leak_rate.value,
            Process::DieCasting => self.tables.limits.leak_rate_die_casting.value,
        }
    }

    /// The circuits that may share a wall with this one: those named, or all others where none is named.
    fn neighbours(&self, circuit: &Circuit) -> Vec<CircuitId> {
        if circuit.neighbours.is_empty() {
            let others = self.mould.circuits.iter().filter(|other| other.id != circuit.id);
            others.map(|other| other.id.clone()).collect()
        } else {
            circuit.neighbours.clone()
        }
    }

    fn general_warnings(&self) -> Vec<Warning> {
        let general = |code, text: &str| Warning { code, circuit: None, text: text.to_owned() };
        let mut warnings = Vec::new();
        if !self.paths.unexplained.is_empty() {
            let ids = gates::names(&self.paths.unexplained);
            let text = format!(
                "The cross-watches of {ids} follow from no set of leaks: check hoses and volumes, and watch again."
            );
            warnings.push(general("cross-watch-unexplained", &text));
        }
        if self.visit.rig.fixture_volume.is_none() {
            let text = format!(
                "The rig has no fixture_volume_ml; about {:.0} ml of hose is assumed, known to half.",
                HOSES_UNKNOWN.0
            );
            warnings.push(general("hose-volume-assumed", &text));
        }
        warnings
    }
}

impl Together<'_> {
    /// Everything about one circuit, and what the reader should know of it.
    fn facts<'a>(&self, one: Alone<'a>) -> (Facts<'a>, Vec<Warning>) {
        let circuit = one.circuit;
        let (mut evidence, mut warnings) = (one.evidence.clone(), one.warnings.clone());
        warnings.extend(unknown_materials(circuit, &self.tables.materials));
        let bore = main_bore(circuit, one.geometry.as_ref());
        let neighbours = self.neighbours(circuit);
        let test = tight::Test {
            memory: self.memory,
            circuit,
            rig: &self.visit.rig,
            volume: &one.tested,
            bore,
            limit_mbar_l_s: self.limit_mbar_l_s(),
            neighbours: &neighbours,
            watches: &self.watches,
            paths: &self.paths,
        };
        let (tightness, found, said) = tight::judge(&test, &one.timeline);
        evidence.extend(found);
        warnings.extend(said);
        let (passage, found, said) = one.passage.clone();
        evidence.extend(found);
        warnings.extend(said);
        let sisters = flow::sisters(circuit, &self.measured);
        // Volume and flow end at a block and say nothing of the rest of the bore.
        let inside = (passage.verdict != crate::finding::Passage::Blocked)
            .then(|| {
                let elsewhere = self.hoses.elsewhere(&circuit.id);
                past::judge(&one, self.visit, &passage, sisters.as_ref(), elsewhere, self.memory)
            })
            .flatten();
        let (state, told) = inside.map(|inside| (inside.state, inside.told)).unzip();
        warnings.extend(past::later(circuit, self.visit));
        warnings.extend(state.as_ref().and_then(|state| bore::warnings(&one, state)));
        let told = told.unwrap_or_default();
        evidence.extend(told.evidence);
        warnings.extend(told.warnings);
        if passage.verdict == crate::finding::Passage::Blocked {
            evidence.extend(block::evidence(&one.timeline, &self.visit.rig, one.geometry.as_ref()));
        }
        let as_new = surer(one.flow_as_new.clone(), flow::yardstick(circuit, &self.measured));
        let outdated = one.timeline.outdated(|what| matches!(what, crate::visit::What::Flow(_)));
        let flow = flow::compare(one.flow.as_ref(), as_new.as_ref(), &self.tables.limits, outdated);
        if let Some(seen) = &one.flow {
            let curve = curve::flow_curve(seen, as_new.as_ref(), one.geometry.as_ref(), &self.visit.rig);
            evidence.extend(curve::evidence(seen, bore, &self.tables.limits, curve));
        }
        let workings = workings(&one, &tightness, &passage, &flow, state.as_ref(), bore);
        let hose_doubt = self.hoses.doubts.iter().find(|doubt| doubt.circuits.contains(&circuit.id)).cloned();
        let facts = Facts {
            circuit,
            port: self.visit.hook_ups.iter().find(|on| on.circuit == circuit.id).map(|on| on.port),
            next_reading: state.as_ref().and_then(|state| bore::next_reading(state, &self.visit.rig)),
            further_readings: state
                .iter()
                .flat_map(|state| &state.next)
                .map(|worth| bore::in_words(worth, &self.visit.rig))
                .collect(),
            state,
            state_before: told.before,
            state_without_past: told.without,
            tightness,
            passage,
            flow,
            volume: one.volume,
            bore_mm: bore.map(Length::mm),
            dried: one.timeline.dried(),
            acid_left: one.timeline.acid_left(),
            repaired: one.timeline.repaired(),
            hose_doubt,
            may_hang_beside: self.hoses.may_hang_beside(&circuit.id),
            die_casting: self.mould.process == Process::DieCasting,
            evidence,
            workings,
        };
        (facts, warnings)
    }
}

/// How the numbers of one circuit came about.
fn workings(
    one: &Alone<'_>,
    tightness: &facts::TightnessFact,
    passage: &facts::PassageFact,
    flow: &facts::FlowFact,
    state: Option<&Inside>,
    bore: Option<Length>,
) -> Vec<Working> {
    let result = one.flow.as_ref().and_then(|seen| Some((seen, seen.result.as_ref()?)));
    let volume_percent = one.volume.volume_ml.zip(one.volume.ratio.as_ref());
    let flow_percent = flow.flow_factor_m3_h.zip(flow.ratio.as_ref());
    let layered = state.filter(|state| state.even_deposit + state.mixed > 0.5);
    let layer = layered.and_then(|state| state.thickness_mm.zip(state.layer_share));
    [
        tightness.working.clone(),
        passage.working.clone(),
        one.volume.working.clone(),
        volume_percent
            .map(|(volume, ratio)| how::percent(Number::FilledVolumePercent, volume.value, "ml", ratio)),
        result.and_then(|(seen, result)| how::flow_factor(seen, result)),
        flow_percent
            .map(|(found, ratio)| how::percent(Number::FlowFactorPercent, found.value, "m³/h", ratio)),
        layer.zip(flow.ratio.as_ref()).zip(bore).and_then(|(((thickness, share), ratio), bore)| {
            how::thickness(bore.mm(), ratio.value, share, thickness)
        }),
    ]
    .into_iter()
    .flatten()
    .collect()
}

/// A key that no table knows is often a slip of the pen: `Al7057` for `Al7075`.
fn unknown_materials(circuit: &Circuit, materials: &Materials) -> Option<Warning> {
    let metals = circuit.metals.iter().filter(|key| !materials.metals.contains_key(*key));
    let seals = circuit.seals.iter().filter(|key| !materials.seals.contains_key(*key));
    let strangers: Vec<&str> = metals.chain(seals).map(String::as_str).collect();
    (!strangers.is_empty()).then(|| {
        let text = format!("the materials table does not know {}: check the spelling", strangers.join(", "));
        Warning::about(&circuit.id, "unknown-material", text)
    })
}

fn main_bore(circuit: &Circuit, geometry: Option<&Geometry>) -> Option<Length> {
    circuit
        .rough_bore
        .filter(|_| circuit.pieces.is_empty())
        .or_else(|| geometry.and_then(|known| calc::hydraulics::volume::main_bore(&known.pieces)))
}

fn finding(facts: Facts<'_>, tables: &Tables, given: &[Override]) -> CircuitFinding {
    let gates = overrides::decided(gates::gates(&facts, &tables.materials), &facts.circuit.id, given);
    let advice = next_step::advise(&facts, &gates);
    let inside = facts.state.as_ref();
    let layered = inside.is_some_and(|state| state.even_deposit + state.mixed > 0.5);
    let plugged = inside.is_some_and(|state| state.local_plug + state.mixed > 0.5);
    let wrong = inside.is_some_and(|state| state.even_deposit + state.local_plug + state.mixed > 0.5);
    CircuitFinding {
        id: facts.circuit.id.clone(),
        half: facts.circuit.half.clone(),
        serves: facts.circuit.serves.clone(),
        port: facts.port,
        tightness: facts.tightness.verdict,
        leak_rate_mbar_l_s: facts.tightness.leak_rate_mbar_l_s,
        across_to: facts.tightness.across_to,
        passage: facts.passage.verdict,
        flow_factor_m3_h: facts.flow.flow_factor_m3_h,
        against_baseline_percent: facts.flow.ratio.as_ref().map(facts::Ratio::percent),
        compared_with: facts.flow.ratio.map(|ratio| ratio.compared_with),
        state: probabilities(inside),
        state_before: facts.state_before.map(|states| BoreState::ALL.into_iter().zip(states).collect()),
        state_without_past: facts.state_without_past.as_ref().map(|state| probabilities(Some(state))),
        state_fits: inside.map(Inside::fits),
        layer_share: inside.and_then(|state| state.layer_share).filter(|_| wrong),
        deposit_thickness_mm: inside.and_then(|state| state.thickness_mm).filter(|_| layered),
        deposit_mass_g: inside.and_then(|state| state.mass_g).filter(|_| layered),
        plug_bore_mm: inside.and_then(|state| state.plug_bore_mm).filter(|_| plugged),
        plugged_branch_probability: inside.map_or(0.0, |state| state.plugged_branch),
        next_reading: facts.next_reading,
        further_readings: facts.further_readings,
        filled_volume_ml: facts.volume.volume_ml.map(|value| value.estimate()),
        filled_volume_percent: facts.volume.ratio.as_ref().map(facts::Ratio::percent),
        bore_mm: facts.bore_mm,
        cautions: cautions::for_step(advice.step, facts.die_casting),
        gates,
        next_step: advice.step,
        reason: advice.reason,
        best_next_reading: advice.best_next_reading,
        evidence: facts.evidence,
        workings: facts.workings,
    }
}

fn probabilities(inside: Option<&Inside>) -> BTreeMap<BoreState, f64> {
    let Some(state) = inside else { return BTreeMap::from([(BoreState::Unknown, 1.0)]) };
    BoreState::ALL.into_iter().zip(state.probabilities()).collect()
}
