//! Flow readings of one circuit: flow factor today, against what it should be.

use calc::estimate::{Estimate, Uncertain, root_sum_square};
use calc::hydraulics::flow_factor::{
    Fixture, Flag, FlowFactorError, FlowFactorResult, FlowPoint, PointUncertainty, flow_factor,
};
use calc::numeric::math;
use calc::quantity::{Duration, VolumeFlow};

use super::expect::{AsNew, Geometry};
use super::facts::{FlowFact, Ratio};
use super::memory::Memory;
use super::timeline::Timeline;
use crate::finding::{Evidence, Warning};
use crate::limits::Limits;
use crate::mould::{Circuit, CircuitId, Known};
use crate::visit::{Entry, Flow, FlowReading, Others, Rig, What};

/// Window of a flow trace that is averaged.
const WINDOW: Duration = Duration::from_s(10.0);
/// From this share on, hoses and couplings hide the mould.
const FIXTURE_HIDES: f64 = 0.5;

/// Flow factor of hoses and couplings where the rig file does not say, m3/h: the middle, and the narrowest that still
/// passes for a bench (common practice, no source). The widest is none at all.
const ORDINARY_FIXTURE_M3_H: f64 = 1.1;
const NARROW_FIXTURE_M3_H: f64 = 0.6;
/// Share of the drop that the circuit keeps at least, however narrow unknown hoses may be: a wide circuit keeps a hundredth.
const LEAST_SHARE: f64 = 0.005;
/// A meter is off by more than its stated uncertainty more often than a normal distribution has it: one in some twenty has
/// drifted far and nobody noticed. Its uncertainty counts by so much more in the flow factor's interval (own choice).
const METER_TRUST: f64 = 1.25;
/// Sisters of one mould differ by drilling and by what they carry (own proposal).
const ALIKE_LN: f64 = 0.10;
/// From so many on, sisters are taken for sound by majority.
const MAJORITY: usize = 3;
/// Ports of one rig differ by so much around the fixture that was measured (own proposal).
pub(crate) const PORT_SCATTER: f64 = 0.015;

/// What the flow readings of a circuit came to, before they are compared.
pub(crate) struct FlowSeen {
    pub(crate) points: Vec<FlowPoint>,
    pub(crate) result: Option<FlowFactorResult>,
    pub(crate) others: Others,
    pub(crate) fixture: Option<Fixture>,
    pub(crate) through_fixture: bool,
    /// Relative scatter of the flow within a reading, the largest.
    pub(crate) scatter: f64,
    pub(crate) largest_l_min: f64,
    pub(crate) evidence: Vec<Evidence>,
    pub(crate) warnings: Vec<Warning>,
}

impl FlowSeen {
    /// Flow factor with a symmetric spread, the wider of both sides.
    pub(crate) fn flow_factor_m3_h(&self) -> Option<Uncertain> {
        Some(self.result.as_ref()?.estimate.uncertain())
    }
}

/// The flow readings that still count. Those taken alone go before those taken with all circuits open, and the two
/// are never mixed.
pub(crate) fn read(
    circuit: &Circuit,
    timeline: &Timeline<'_>,
    rig: &Rig,
    geometry: Option<&Geometry>,
    memory: &Memory,
) -> Option<FlowSeen> {
    let readings: Vec<(&Entry, &Flow)> = timeline
        .since_change()
        .filter_map(|entry| match &entry.what {
            What::Flow(flow) => Some((entry, flow)),
            _ => None,
        })
        .collect();
    let others = if readings.iter().any(|(_, flow)| flow.others == Others::Closed) {
        Others::Closed
    } else {
        readings.first().map(|(_, flow)| flow.others)?
    };
    let mut seen = FlowSeen {
        points: Vec::new(),
        result: None,
        others,
        fixture: None,
        through_fixture: false,
        scatter: 0.0,
        largest_l_min: 0.0,
        evidence: Vec::new(),
        warnings: Vec::new(),
    };
    let mut through_fixture = false;
    let mut repeatability: Vec<f64> = Vec::new();
    for (entry, flow) in readings.into_iter().filter(|(_, flow)| flow.others == others) {
        let Some((mean, scatter)) = mean_flow(circuit, entry, flow, rig, &mut seen, memory) else { continue };
        through_fixture |= flow.through_fixture;
        repeatability.push(scatter);
        seen.largest_l_min = seen.largest_l_min.max(mean.l_min());
        seen.points.push(FlowPoint {
            flow: mean,
            drop: flow.pressure_in - flow.pressure_out,
            temperature: flow.water_temperature,
        });
    }
    if seen.points.is_empty() {
        return Some(seen);
    }
    seen.through_fixture = through_fixture;
    seen.fixture = fixture(circuit, rig, through_fixture, &mut seen.warnings);
    let scatter = repeatability.iter().copied().fold(0.0, f64::max);
    seen.scatter = scatter;
    let uncertainty = PointUncertainty {
        flow_relative: root_sum_square(&[METER_TRUST * rig.flow_uncertainty_relative, scatter]),
        drop_bar: rig.pressure_uncertainty_bar * core::f64::consts::SQRT_2,
        temperature_k: rig.temperature_uncertainty_k,
    };
    // Pieces that nobody vouches for would bend the result towards a guess.
    let pieces = geometry
        .filter(|_| matches!(circuit.known, Known::Drawing | Known::Measured))
        .map(|geometry| geometry.pieces.as_slice());
    match flow_factor(&seen.points, uncertainty, pieces, seen.fixture) {
        Ok(mut result) => {
            if through_fixture && seen.fixture.is_none() {
                result.estimate = behind_unknown_hoses(result.estimate);
            }
            note(circuit, &result, &mut seen);
            seen.result = Some(result);
        }
        Err(error) => seen.warnings.push(refused(circuit, &error)),
    }
    Some(seen)
}

/// Mean flow and its relative scatter, from one number or from the steady part of a trace.
fn mean_flow(
    circuit: &Circuit,
    entry: &Entry,
    flow: &Flow,
    rig: &Rig,
    seen: &mut FlowSeen,
    memory: &Memory,
) -> Option<(VolumeFlow, f64)> {
    let trace = match &flow.flow {
        FlowReading::Mean(mean) => return Some((*mean, 0.0)),
        FlowReading::Trace(trace) => trace,
    };
    let warn = |code, text: String| Warning::about(&circuit.id, code, text);
    match memory.steady_flow(trace, rig.flow_uncertainty_relative, WINDOW) {
        Ok(steady) => {
            let mean = steady.flow.value;
            if !steady.steady {
                let text = format!(
                    "The flow in {} is not steady; its mean counts with the scatter seen.",
                    entry.place
                );
                seen.warnings.push(warn("flow-not-steady", text));
            }
            if mean <= 0.0 {
                return None;
            }
            Some((VolumeFlow::from_l_min(mean), steady.repeatability_l_min / mean))
        }
        Err(error) => {
            seen.warnings.push(warn("flow-trace", format!("{}: {error}.", entry.place)));
            None
        }
    }
}

fn fixture(
    circuit: &Circuit,
    rig: &Rig,
    through_fixture: bool,
    warnings: &mut Vec<Warning>,
) -> Option<Fixture> {
    if !through_fixture {
        return None;
    }
    if rig.fixture_flow_factor.is_none() {
        warnings.push(Warning::about(
            &circuit.id,
            "fixture-unknown",
            "hoses and couplings are in this flow, and the rig has no fixture_flow_factor_m3_h to take them out; the \
             circuit has at least the flow factor of all together, perhaps much more: join the hoses without the mould and \
             measure them once",
        ));
    }
    Some(Fixture {
        flow_factor: rig.fixture_flow_factor?,
        relative_uncertainty: root_sum_square(&[rig.fixture_uncertainty_relative, PORT_SCATTER]),
    })
}

/// What is known of a circuit from the flow factor of circuit and unknown hoses together: at least that, and more the
/// narrower the hoses are. Squares of inverse flow factors add along the way.
fn behind_unknown_hoses(together: Estimate) -> Estimate {
    let alone = |total: f64, hoses_m3_h: f64| {
        let share = 1.0 - (total / hoses_m3_h).powi(2);
        total / share.max(LEAST_SHARE).sqrt()
    };
    Estimate {
        value: alone(together.value, ORDINARY_FIXTURE_M3_H),
        low: together.low,
        high: alone(together.high, NARROW_FIXTURE_M3_H),
        ..together
    }
}

/// What a flag of the science means for the reader.
fn flag_in_words(flag: Flag) -> Option<(&'static str, String)> {
    Some(match flag {
        // Said with its share in per cent beside the flow factor.
        Flag::FixtureDominates => return None,
        Flag::Transition(count) => (
            "transition",
            format!(
                "{count} of the points lie between laminar and turbulent flow, where friction scatters by 15 %"
            ),
        ),
        Flag::Laminar(count) => (
            "laminar",
            format!("{count} of the points may be laminar and say little about the flow at 1 bar"),
        ),
        Flag::FarFromPoints => {
            ("far-from-points", "the flow at 1 bar is more than three times beyond the points".to_owned())
        }
        Flag::PointsDisagree => {
            ("points-disagree", "the points do not lie on one curve; the interval was widened".to_owned())
        }
    })
}

fn note(circuit: &Circuit, result: &FlowFactorResult, seen: &mut FlowSeen) {
    seen.warnings.extend(
        result
            .flags
            .iter()
            .copied()
            .filter_map(flag_in_words)
            .map(|(code, text)| Warning::about(&circuit.id, code, text)),
    );
    let value = result.estimate;
    let hoses = match seen.fixture {
        Some(_) => format!(
            "hoses and couplings made up {:.0} % of the pressure drop and were taken out",
            result.fixture_share * 100.0
        ),
        None => "no known hoses and couplings to take out".to_owned(),
    };
    seen.evidence.push(Evidence {
        title: "Flow factor".to_owned(),
        text: format!(
            "{:.3} m³/h ({:.3} to {:.3}) from {} {}, brought to water of 20 °C and 1 bar; {hoses}.",
            value.value,
            value.low,
            value.high,
            seen.points.len(),
            if seen.points.len() == 1 { "point" } else { "points" },
        ),
        place: None,
        sources: vec!["iec-60534-2-1", "iapws-r7-97", "iapws-r12-08"],
        picture: None,
    });
    if result.fixture_share > FIXTURE_HIDES {
        let text = format!(
            "hoses and couplings take {:.0} % of the pressure drop and hide the mould; measure at the mould's own ports, or \
             through wider couplings",
            result.fixture_share * 100.0
        );
        seen.warnings.push(Warning::about(&circuit.id, "fixture-hides-mould", text));
    }
}

fn refused(circuit: &Circuit, error: &FlowFactorError) -> Warning {
    Warning::about(&circuit.id, "flow-factor", format!("no flow factor from these readings: {error}"))
}

/// The comparison with what the circuit should be.
pub(crate) fn compare(
    seen: Option<&FlowSeen>,
    as_new: Option<&AsNew>,
    limits: &Limits,
    outdated: bool,
) -> FlowFact {
    let result = seen.and_then(|seen| seen.result.as_ref());
    FlowFact {
        flow_factor_m3_h: result.map(|result| result.estimate),
        ratio: result.zip(as_new).and_then(|(result, new)| Ratio::of(result.estimate, new)),
        low_percent: limits.flow_low.value,
        high_percent: limits.flow_high.value,
        outdated,
        hoses_hide: result.is_some_and(|result| result.fixture_share > FIXTURE_HIDES),
        measured: seen.is_some_and(|seen| !seen.points.is_empty()),
    }
}

/// What sisters measured today say about a circuit: their median, never surer than sisters are alike.
pub(crate) fn sisters(circuit: &Circuit, measured: &[(CircuitId, Uncertain)]) -> Option<AsNew> {
    let known = of_sisters(circuit, measured);
    let logs: Vec<f64> = known.iter().map(|(_, log)| *log).collect();
    let median = middle(&logs)?;
    let spread = (logs.last()? - logs.first()?) / 2.0;
    let names = known.iter().map(|(id, _)| id.0.as_str()).collect::<Vec<_>>().join(", ");
    Some(AsNew::new(math::exp(median), root_sum_square(&[ALIKE_LN, spread]), format!("sister {names} today")))
}

/// The same as a yardstick. Too few sisters cannot say that this one has too much: with one or two, they may be the
/// ones that are fouled.
pub(crate) fn yardstick(circuit: &Circuit, measured: &[(CircuitId, Uncertain)]) -> Option<AsNew> {
    let sisters = sisters(circuit, measured)?;
    let few = of_sisters(circuit, measured).len() < MAJORITY;
    let own = measured.iter().find(|(id, _)| *id == circuit.id)?.1.value;
    (!few || own <= sisters.value * math::exp(ALIKE_LN)).then_some(sisters)
}

/// ln of what the sisters have today, the smallest first.
fn of_sisters<'a>(circuit: &Circuit, measured: &'a [(CircuitId, Uncertain)]) -> Vec<(&'a CircuitId, f64)> {
    let mut known: Vec<_> = measured
        .iter()
        .filter(|(id, value)| circuit.sisters.contains(id) && value.value > 0.0)
        .map(|(id, value)| (id, math::ln(value.value)))
        .collect();
    known.sort_by(|a, b| a.1.total_cmp(&b.1));
    known
}

fn middle(sorted: &[f64]) -> Option<f64> {
    let half = sorted.len() / 2;
    let upper = sorted.get(half)?;
    if sorted.len() % 2 == 1 { Some(*upper) } else { Some((sorted.get(half - 1)? + upper) / 2.0) }
}
