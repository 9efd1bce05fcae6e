//! What is in the bore of one circuit: the evidence put together for [`calc::infer::bore`].

use calc::estimate::{Uncertain, root_sum_square};
use calc::hydraulics::circuit::clean_flow_factor;
use calc::hydraulics::flow_factor::{PieceKnowledge, PointUncertainty};
use calc::infer::bore::{Bench, BoreInput, BoreState, Design, Hoses, Prior, Reading, Seen, Sweep, Worth};
use calc::numeric::math;
use calc::quantity::Length;

use super::Alone;
use super::expect::{AsNew, Geometry, drilled_line};
use super::facts::PassageFact;
use super::flow::FlowSeen;
use super::memory::Memory;
use super::stated;
use super::volume::FIXTURE_RELATIVE;
use crate::finding::{NextReading, Warning};
use crate::visit::Rig;

/// A call from this probability on is a call.
pub(crate) const DECIDED: f64 = 0.8;
/// Expected information below this is no reason to read again, bits.
const WORTH_BITS: f64 = 0.05;
/// Bores of an ordinary circuit, where nothing is known of it, mm (common practice, no source).
const ORDINARY_BORES_MM: [f64; 3] = [5.0, 7.5, 11.0];
/// Length of an ordinary circuit, mm.
const ORDINARY_LENGTH_MM: f64 = 1200.0;
/// What such a circuit's flow factor, volume and conductance may be off, in ln.
const ORDINARY_LN: (f64, f64, f64) = (0.9, 0.8, 0.9);
/// Geometry whose flow may be off by more than this in ln is a rough idea: weights and factors of its spreads (own choice).
const ROUGH_LN: f64 = 0.3;
const HEAVY_TAIL: [(f64, f64); 2] = [(0.6, 0.7), (0.4, 1.7)];
/// A hose on another circuit, as probable as this before anything is read, is among the slips that every reading is
/// suspected of.
const ORDINARY_SLIP: f64 = 0.03;
/// By how much sisters lie below as new in ln flow factor, and the spread of that: weight, middle, spread. Half of them are
/// sound, the others have lost a third (own choice, from simulated moulds: sisters as they are found on the bench).
const SISTERS: [(f64, f64, f64); 2] = [(0.5, 0.02, 0.05), (0.5, 0.4, 0.32)];
/// Both in one, beside a drawing that says more; designs known better than this in ln flow factor are such.
const SISTERS_AT_LARGE: (f64, f64, f64) = (1.0, 0.17, 0.30);
const WELL_KNOWN_LN: f64 = 0.04;
/// Air expansion and draining repeat to this, relative (own proposal).
const VOLUME_RELATIVE: f64 = 0.015;
/// A reading through short adapters: ml that adapters and plugs hold, and relative.
const ADAPTERS: (f64, f64) = (1.0, 0.015);
/// Conductance of a circuit behind hoses, relative.
const AIR_RELATIVE: f64 = 0.06;

/// The state of the bore; nothing if no reading speaks of it.
pub(crate) fn judge(
    one: &Alone<'_>,
    rig: &Rig,
    passage: &PassageFact,
    sisters: Option<&AsNew>,
    elsewhere: f64,
    prior: Prior,
    memory: &Memory,
) -> Option<BoreState> {
    // A baseline says more than sisters do.
    let sisters = sisters.filter(|_| one.circuit.baseline.as_ref().is_none_or(|_| !one.comparable));
    let designs = beside_sisters(designs(one.geometry.as_ref()), sisters);
    let today = today(one, rig, passage);
    let bench = bench(one, rig, &designs);
    let input = BoreInput {
        designs,
        then: then(one),
        today,
        prior,
        elsewhere: (elsewhere - ORDINARY_SLIP).max(0.0),
        bench: Some(bench),
    };
    memory.bore_state(&input).ok().map(stated::as_kept)
}

fn designs(geometry: Option<&Geometry>) -> Vec<Design> {
    if let Some(known) = geometry {
        let believed = |(weight, times): (f64, f64)| Design {
            pieces: known.pieces.clone(),
            weight,
            knowledge: known.knowledge,
            flow_ln: known.flow_ln * times,
            volume_ln: known.volume_ln * times,
            air_ln: known.air_ln * times,
            by_sisters_m3_h: None,
        };
        // A rough idea is now and then far off: with a normal spread alone much flow would prove too much.
        let rough = known.flow_ln > ROUGH_LN;
        return if rough { HEAVY_TAIL.map(believed).to_vec() } else { vec![believed((1.0, 1.0))] };
    }
    ORDINARY_BORES_MM
        .iter()
        .map(|bore_mm| Design {
            pieces: drilled_line(Length::from_mm(*bore_mm), Length::from_mm(ORDINARY_LENGTH_MM)),
            weight: 1.0,
            knowledge: PieceKnowledge::GUESSED,
            flow_ln: ORDINARY_LN.0,
            volume_ln: ORDINARY_LN.1,
            air_ln: ORDINARY_LN.2,
            by_sisters_m3_h: None,
        })
        .collect()
}

/// Designs with what sisters let expect. Sisters carry deposits of their own: to be better than they are is no proof of
/// being as new. Where the drawing is not known, each design comes with sound sisters and with fouled ones.
fn beside_sisters(designs: Vec<Design>, sisters: Option<&AsNew>) -> Vec<Design> {
    let Some(sisters) = sisters else { return designs };
    let expected = |(weight, shift, spread): (f64, f64, f64), design: &Design| Design {
        weight: weight * design.weight,
        by_sisters_m3_h: Some(Uncertain::relative(
            sisters.value * math::exp(shift),
            root_sum_square(&[sisters.standard_ln, spread]),
        )),
        ..design.clone()
    };
    let one = |design: &Design| -> Vec<Design> {
        if design.flow_ln < WELL_KNOWN_LN {
            vec![expected(SISTERS_AT_LARGE, design)]
        } else {
            SISTERS.iter().map(|kind| expected(*kind, design)).collect()
        }
    };
    designs.iter().flat_map(one).collect()
}

/// The circuit as it should be, by its baseline.
fn then(one: &Alone<'_>) -> Seen {
    let baseline = one.circuit.baseline.as_ref();
    let comparable = baseline.filter(|_| one.comparable);
    let sweep = comparable.and_then(|base| base.sweep.as_ref()).map(|kept| Sweep {
        points: kept.points.clone(),
        uncertainty: kept.uncertainty,
        hoses: Hoses::None,
    });
    let flow = comparable.map(|base| base.flow_factor_m3_h);
    Seen {
        // The baseline's flow factor came from its points: it must not count twice.
        flow_factor_m3_h: flow.filter(|_| sweep.is_none()),
        sweep,
        volume_ml: baseline.and_then(|base| base.filled_volume_ml),
        sonic_dm3_s_bar: baseline.and_then(|base| base.sonic_conductance_dm3_s_bar),
    }
}

fn today(one: &Alone<'_>, rig: &Rig, passage: &PassageFact) -> Seen {
    Seen {
        sweep: one.flow.as_ref().and_then(|seen| sweep(seen, rig)),
        flow_factor_m3_h: None,
        volume_ml: one.volume.volume_ml,
        sonic_dm3_s_bar: passage.sonic_dm3_s_bar.map(|found| found.uncertain()),
    }
}

fn sweep(seen: &FlowSeen, rig: &Rig) -> Option<Sweep> {
    let points: Vec<_> = seen
        .points
        .iter()
        .filter(|point| point.flow.l_min() > 0.05 && point.drop.bar() > 1e-4)
        .copied()
        .collect();
    (!points.is_empty()).then(|| Sweep {
        points,
        uncertainty: PointUncertainty {
            flow_relative: root_sum_square(&[rig.flow_uncertainty_relative, seen.scatter]),
            drop_bar: rig.pressure_uncertainty_bar * core::f64::consts::SQRT_2,
            temperature_k: rig.temperature_uncertainty_k,
        },
        hoses: match (seen.through_fixture, seen.fixture) {
            (false, _) => Hoses::None,
            (true, Some(fixture)) => Hoses::Known(fixture),
            (true, None) => Hoses::Unknown,
        },
    })
}

/// What this rig could read further on this circuit.
fn bench(one: &Alone<'_>, rig: &Rig, designs: &[Design]) -> Bench {
    let own_ml = one.tested.total_ml - one.tested.hose_ml;
    let factor = designs.first().and_then(|design| clean_flow_factor(&design.pieces).ok());
    let share = one
        .flow
        .as_ref()
        .filter(|seen| seen.largest_l_min > 0.0)
        .zip(factor)
        .map_or(1.0, |(seen, factor)| seen.largest_l_min * 0.06 / factor.m3_h());
    Bench {
        flow: Some((rig.flow_uncertainty_relative, rig.pressure_uncertainty_bar * core::f64::consts::SQRT_2)),
        largest_flow_share: share,
        volume_with_hoses_ml: rig.fixture_volume.map(|hoses| {
            root_sum_square(&[FIXTURE_RELATIVE * hoses.ml(), VOLUME_RELATIVE * (hoses.ml() + own_ml)])
        }),
        volume_alone_ml: Some(root_sum_square(&[ADAPTERS.0, ADAPTERS.1 * own_ml])),
        air_relative: rig
            .reservoir_volume
            .filter(|_| rig.fixture_sonic_conductance.is_some())
            .map(|_| AIR_RELATIVE),
    }
}

/// The further reading that tells most of the bore, if any is worth its time.
pub(crate) fn next_reading(state: &BoreState, rig: &Rig) -> Option<NextReading> {
    let best = state.next.first().filter(|worth| worth.bits >= WORTH_BITS)?;
    Some(in_words(best, rig))
}

/// All readings that could be taken, for whoever wants to compare.
pub(crate) fn in_words(worth: &Worth, rig: &Rig) -> NextReading {
    let volume = if rig.reference_volume.is_some() {
        "by air expansion from the known vessel, no wetting"
    } else {
        "by draining: full first, then all that comes out"
    };
    let text = match worth.reading {
        Reading::FullFlow => {
            "flow alone, others closed, with both pressures and the water temperature".to_owned()
        }
        Reading::LowFlow => {
            "flow throttled to about a seventh, both pressures read as closely as the gauges allow".to_owned()
        }
        Reading::VolumeWithHoses => format!("filled volume {volume}"),
        Reading::VolumeAlone => format!("filled volume through short adapters instead of hoses, {volume}"),
        Reading::AirPassage => "air passage: a reservoir emptied through the circuit".to_owned(),
    };
    NextReading {
        kind: worth.reading,
        minutes: worth.reading.minutes(),
        text: format!("{text} ({} minutes)", worth.reading.minutes()),
        information_bits: worth.bits,
        confident_probability: worth.confident,
    }
}

/// What the reader should know of the state.
pub(crate) fn warnings(one: &Alone<'_>, state: &BoreState) -> Option<Warning> {
    (!state.fits()).then(|| {
        Warning::about(
            &one.circuit.id,
            "state-does-not-fit",
            "no single picture of the bore fits all readings of this circuit (patchy scale, a drawing that is wrong, or a wrong \
             reading); the probabilities of its state are not to be relied on",
        )
    })
}
