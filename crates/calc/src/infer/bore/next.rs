//! What a further reading would tell, before it is taken.
//!
//! Every hypothesis predicts the reading with a spread; the expected information is how much the reading tells of the
//! kind of state on average over what it may show (mutual information, `shannon-1948`).

use super::BoreInput;
use super::columns as column;
use super::evidence::Judged;
use super::model::{Model, Predicted};
use super::nodes::CLASSES;
use crate::estimate::root_sum_square;
use crate::hydraulics::flow_factor::SCATTER_SHARE;
use crate::infer::information::{expected_confident, expected_information};

/// A call from this probability on counts as confident.
pub const CONFIDENT: f64 = 0.95;
/// Flow of a low-flow reading, as a share of that at 1 bar.
const LOW_SHARE: f64 = 0.15;

/// Hypotheses that together weigh less are not asked what a reading would show.
const NEGLIGIBLE: f64 = 1e-3;

/// What the bench can read, with standard uncertainties; none: it cannot.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Bench {
    /// Flow: relative, and difference of pressures in bar.
    pub flow: Option<(f64, f64)>,
    /// Largest flow that the pump brings through the circuit, as a share of that at 1 bar.
    pub largest_flow_share: f64,
    /// Filled volume with hoses, ml.
    pub volume_with_hoses_ml: Option<f64>,
    /// Filled volume through short adapters, ml.
    pub volume_alone_ml: Option<f64>,
    /// Sonic conductance, relative.
    pub air_relative: Option<f64>,
}

/// A further reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reading {
    /// Flow with the pump's full pressure.
    FullFlow,
    /// Flow throttled to a seventh.
    LowFlow,
    /// Filled volume, hoses taken out by calculation.
    VolumeWithHoses,
    /// Filled volume through short adapters.
    VolumeAlone,
    /// A vessel emptied through the circuit.
    AirPassage,
}

impl Reading {
    /// Minutes at the bench (common practice, no source).
    #[must_use]
    pub const fn minutes(self) -> u32 {
        match self {
            Self::AirPassage => 2,
            Self::VolumeWithHoses => 3,
            Self::FullFlow | Self::LowFlow => 4,
            Self::VolumeAlone => 6,
        }
    }
}

/// What a further reading is worth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Worth {
    /// The reading.
    pub reading: Reading,
    /// Expected information about the kind of state.
    pub bits: f64,
    /// Probability that some state is then above 95 %.
    pub confident: f64,
}

/// All readings that the bench can take, the most telling first.
///
/// `slipped`: probability that the readings so far say nothing of the circuit; no further reading mends that.
pub fn next(judged: &[Judged<'_>], input: &BoreInput, slipped: f64) -> Vec<Worth> {
    let threshold = CONFIDENT / (1.0 - slipped).max(1e-6);
    let Some(bench) = input.bench else { return Vec::new() };
    let judged = weighty(judged);
    let mut found: Vec<Worth> = possible(&bench, input)
        .into_iter()
        .filter_map(|reading| {
            let nodes: Vec<(usize, f64, f64, f64)> = judged
                .iter()
                .filter_map(|one| {
                    let (predicted, own) = shown(reading, &bench, one, input)?;
                    let spread = predicted.spread(&one.posterior, own);
                    Some((one.node.class.place(), one.weight, predicted.value, spread))
                })
                .collect();
            let bits = (1.0 - slipped) * expected_information(&nodes, CLASSES);
            let sure = if threshold < 1.0 { expected_confident(&nodes, CLASSES, threshold) } else { 0.0 };
            let confident = (1.0 - slipped) * sure;
            (bits.is_finite() && confident.is_finite()).then_some(Worth { reading, bits, confident })
        })
        .collect();
    found.sort_by(|a, b| b.bits.total_cmp(&a.bits).then(a.reading.cmp(&b.reading)));
    found
}

/// The hypotheses without the many that together weigh next to nothing.
fn weighty<'a, 'b>(judged: &'b [Judged<'a>]) -> Vec<&'b Judged<'a>> {
    let mut all: Vec<&Judged<'_>> = judged.iter().collect();
    all.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    let mut sum = 0.0;
    all.into_iter()
        .take_while(|one| {
            let wanted = sum < 1.0 - NEGLIGIBLE;
            sum += one.weight;
            wanted
        })
        .collect()
}

fn possible(bench: &Bench, input: &BoreInput) -> Vec<Reading> {
    let flow = bench.flow.is_some();
    let full = input.today.sweep.as_ref().is_none_or(|sweep| sweep.points.is_empty());
    let volume_at_once = input.today.volume_ml.is_none() && bench.volume_with_hoses_ml.is_some();
    [
        (Reading::FullFlow, flow && full),
        (Reading::LowFlow, flow),
        (Reading::VolumeWithHoses, volume_at_once),
        (Reading::VolumeAlone, bench.volume_alone_ml.is_some()),
        (Reading::AirPassage, bench.air_relative.is_some() && input.today.sonic_dm3_s_bar.is_none()),
    ]
    .into_iter()
    .filter_map(|(reading, can)| can.then_some(reading))
    .collect()
}

/// What a hypothesis lets the reading show, and the reading's own scatter.
fn shown(
    reading: Reading,
    bench: &Bench,
    judged: &Judged<'_>,
    input: &BoreInput,
) -> Option<(Predicted, f64)> {
    let model = Model::new(judged.profile, judged.node, input);
    let at = &judged.unknowns;
    let drop = |share: f64| -> Option<(Predicted, f64)> {
        let (gain, zero_bar) = bench.flow?;
        let mut predicted = model.drop_at_reference(share, gain, at);
        predicted.value += zero_bar * at[column::ZERO];
        predicted.row[column::ZERO] += zero_bar;
        let own = root_sum_square(&[SCATTER_SHARE * gain * 2.0 * predicted.value, SCATTER_SHARE * zero_bar]);
        Some((predicted, own))
    };
    match reading {
        Reading::FullFlow => drop(bench.largest_flow_share.max(LOW_SHARE)),
        Reading::LowFlow => drop(LOW_SHARE),
        Reading::VolumeWithHoses => Some((model.volume_ml(false, at), bench.volume_with_hoses_ml?)),
        Reading::VolumeAlone => Some((model.volume_ml(false, at), bench.volume_alone_ml?)),
        Reading::AirPassage => Some((model.ln_sonic(false, at)?, bench.air_relative?)),
    }
}
