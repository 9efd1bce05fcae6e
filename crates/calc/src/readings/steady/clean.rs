//! Cutting off the idle beginning and the coarse start-up, and leaving out disturbed samples.

use super::{SAMPLES_LEAST, SteadyError};
use crate::numeric::math;

/// Blocks into which a trace is cut at most.
const BLOCKS: f64 = 280.0;
/// Half of the running median's window: longer than a bubble, shorter than a drift.
const MEDIAN_REACH_S: f64 = 2.5;
/// Robust standard deviations from the running median at which a sample counts as disturbed.
const DISTURBED_AT: f64 = 5.0;
/// Robust standard deviations from the start-up's curve at which a sample counts as disturbed, for bubbles that
/// follow each other so closely that the running median goes down with them.
const FAR_AT: f64 = 6.0;
/// Neighbours this close to a disturbed sample are left out with it: the flanks of a bubble.
const FLANK_S: f64 = 0.25;
/// Start-up larger than this share of the flow is cut off before anything is fitted to its tail.
const COARSE_SHARE: f64 = 0.01;
/// Median absolute deviation to standard deviation of a normal distribution.
const MAD_TO_SD: f64 = 1.482_602_218_505_602;

/// Mean flow over a short time.
#[derive(Clone, Copy, Debug)]
pub(super) struct Block {
    pub time_s: f64,
    pub flow: f64,
    pub samples: f64,
}

/// A trace without its beginning and its disturbed samples.
#[derive(Debug)]
pub(super) struct Cleaned {
    /// Time and flow of the samples that count, after the coarse start-up.
    pub kept: Vec<(f64, f64)>,
    /// The same in blocks.
    pub blocks: Vec<Block>,
    /// Largest start-up that may still be in the blocks.
    pub coarse: f64,
    /// Disturbed samples while the water flowed.
    pub outliers: usize,
    /// Longest time without an undisturbed sample.
    pub longest_gap_s: f64,
    /// Samples while the water flowed.
    pub flowing_samples: usize,
    /// Step of the readings, where they come in few steps; 0 otherwise.
    pub resolution: f64,
}

impl Cleaned {
    pub fn end_s(&self) -> f64 {
        self.kept.last().map_or(0.0, |(time, _)| *time)
    }
}

pub(super) fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    match (values.get(middle), values.len() % 2) {
        (None, _) => f64::NAN,
        (Some(upper), 1) => *upper,
        (Some(upper), _) => 0.5 * (upper + values.get(middle - 1).unwrap_or(upper)),
    }
}

fn mean(values: Vec<f64>) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Cuts samples into blocks of equal width; empty blocks are left out.
fn blocks(samples: &[(f64, f64)], width_s: f64, centre: fn(Vec<f64>) -> f64) -> Vec<Block> {
    let start = samples.first().map_or(0.0, |(time, _)| *time);
    let number = |time: f64| ((time - start) / width_s).floor();
    samples
        .chunk_by(|a, b| (number(a.0) - number(b.0)).abs() < 0.5)
        .map(|chunk| Block {
            time_s: mean(chunk.iter().map(|(time, _)| *time).collect()),
            flow: centre(chunk.iter().map(|(_, flow)| *flow).collect()),
            samples: chunk.len() as f64,
        })
        .collect()
}

fn span(samples: &[(f64, f64)]) -> f64 {
    match (samples.first(), samples.last()) {
        (Some(first), Some(last)) => last.0 - first.0,
        _ => 0.0,
    }
}

fn block_width(samples: &[(f64, f64)]) -> f64 {
    let steps = samples.windows(2).map(|pair| pair[1].0 - pair[0].0).collect();
    (span(samples) / BLOCKS).max(1.000_001 * median(steps))
}

pub(super) fn clean(times: &[f64], flows: &[f64], window_s: f64) -> Result<Cleaned, SteadyError> {
    let all: Vec<(f64, f64)> = times.iter().copied().zip(flows.iter().copied()).collect();
    if all.len() < SAMPLES_LEAST {
        return Err(SteadyError::TooFewSamples { count: all.len(), least: SAMPLES_LEAST });
    }
    if let Some(place) = all.windows(2).position(|pair| pair[1].0 <= pair[0].0) {
        return Err(SteadyError::TimesNotRising { place: place + 1 });
    }
    let usual = median(flows.get(flows.len() / 2..).unwrap_or(flows).to_vec());
    if usual <= 0.0 {
        return Err(SteadyError::NoFlow { flow_l_min: usual });
    }
    let flowing = after_idle(&all, 0.5 * usual);
    if flowing.len() < SAMPLES_LEAST || span(flowing) < window_s {
        return Err(SteadyError::TooShort { seconds: span(flowing), least: window_s });
    }
    let resolution = resolution(flowing.get(flowing.len() / 2..).unwrap_or(flowing));
    let coarse_blocks = blocks(flowing, block_width(flowing), median);
    let start_up = fit_start_up(&coarse_blocks);
    let rest = flowing.iter().map(|(time, flow)| (flow - start_up.at(*time)).abs()).collect();
    let noise = MAD_TO_SD * median(rest);
    let coarse = (COARSE_SHARE * usual).max(3.0 * noise);
    let from = start_up.below(coarse);
    let disturbed = disturbed(flowing, &start_up, (from, FAR_AT * noise), 1.5 * resolution);
    let outliers = disturbed.iter().filter(|flag| **flag).count();
    let kept: Vec<(f64, f64)> =
        without_flanks(flowing, &disturbed).into_iter().filter(|(time, _)| *time >= from).collect();
    let blocks = blocks(&kept, block_width(&kept), mean);
    let longest_gap_s = longest_gap(&kept, flowing);
    Ok(Cleaned { kept, blocks, coarse, outliers, longest_gap_s, flowing_samples: flowing.len(), resolution })
}

/// The samples after the first stretch in which (nearly) nothing runs.
fn after_idle(samples: &[(f64, f64)], threshold: f64) -> &[(f64, f64)] {
    let first_running = samples.windows(3).position(|three| {
        // The median of three, so that a spike does not count as flow.
        let (a, b, c) = (three[0].1, three[1].1, three[2].1);
        a.min(b).max(a.max(b).min(c)) >= threshold
    });
    match first_running {
        // The samples up to here were below: the first of the three may be the last idle one.
        Some(place) if place > 0 => samples.get(place + 1..).unwrap_or_default(),
        _ => samples,
    }
}

/// flow = level + size exp(-(t - start)/fade)
#[derive(Clone, Copy, Debug)]
struct StartUp {
    start_s: f64,
    level: f64,
    size: f64,
    fade_s: f64,
}

impl StartUp {
    fn at(&self, time_s: f64) -> f64 {
        self.level + self.size * math::exp(-(time_s - self.start_s) / self.fade_s)
    }

    /// Time from which the start-up is below a limit.
    fn below(&self, limit: f64) -> f64 {
        let folds = math::ln((self.size.abs() / limit).max(1.0));
        self.start_s + folds * self.fade_s
    }
}

/// Least sum of absolute deviations over a row of fading times: bubbles hardly move it.
fn fit_start_up(blocks: &[Block]) -> StartUp {
    let start_s = blocks.first().map_or(0.0, |block| block.time_s);
    let length = blocks.last().map_or(1.0, |block| block.time_s) - start_s;
    let level = median(blocks.iter().map(|block| block.flow).collect());
    let mut best = StartUp { start_s, level, size: 0.0, fade_s: length / 100.0 };
    let mut least = f64::INFINITY;
    for step in 0..14 {
        // Logarithmic from a hundredth to a third of the trace.
        let fade_s = length / 100.0 * math::exp(f64::from(step) / 13.0 * math::ln(100.0 / 3.0));
        let mut trial = StartUp { fade_s, ..best };
        trial.size = 0.0;
        trial.level = level;
        for _ in 0..12 {
            trial = reweighted(blocks, &trial, level);
        }
        let sum: f64 = blocks.iter().map(|block| (block.flow - trial.at(block.time_s)).abs()).sum();
        if sum < least {
            (least, best) = (sum, trial);
        }
    }
    best
}

/// One step of iteratively reweighted least squares towards the least absolute deviations.
fn reweighted(blocks: &[Block], trial: &StartUp, scale: f64) -> StartUp {
    let floor = 1e-4 * scale.abs();
    let (mut w, mut we, mut wee, mut wy, mut wey) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for block in blocks {
        let shape = math::exp(-(block.time_s - trial.start_s) / trial.fade_s);
        let weight = 1.0 / (block.flow - trial.at(block.time_s)).abs().max(floor);
        w += weight;
        we += weight * shape;
        wee += weight * shape * shape;
        wy += weight * block.flow;
        wey += weight * shape * block.flow;
    }
    let determinant = w * wee - we * we;
    if determinant <= 1e-12 * w * wee {
        return *trial;
    }
    StartUp { level: (wy * wee - wey * we) / determinant, size: (wey * w - wy * we) / determinant, ..*trial }
}

/// Which samples lie far from the running median of what the start-up leaves, or, after a time, far from its curve.
fn disturbed(
    samples: &[(f64, f64)],
    start_up: &StartUp,
    (after_s, far): (f64, f64),
    least: f64,
) -> Vec<bool> {
    let residual: Vec<(f64, f64)> =
        samples.iter().map(|(time, flow)| (*time, flow - start_up.at(*time))).collect();
    let (mut low, mut high) = (0, 0);
    let away: Vec<f64> = residual
        .iter()
        .map(|(time, value)| {
            while residual.get(low).is_some_and(|(other, _)| *other < time - MEDIAN_REACH_S) {
                low += 1;
            }
            while residual.get(high).is_some_and(|(other, _)| *other <= time + MEDIAN_REACH_S) {
                high += 1;
            }
            let near = residual.get(low..high).unwrap_or_default();
            (value - median(near.iter().map(|(_, value)| *value).collect())).abs()
        })
        .collect();
    let rounding = 1e-4 * start_up.level.abs();
    let limit = (DISTURBED_AT * (MAD_TO_SD * median(away.clone())).max(rounding)).max(least);
    let far = far.max(limit);
    away.into_iter()
        .zip(&residual)
        .map(|(distance, (time, value))| distance > limit || (*time >= after_s && value.abs() > far))
        .collect()
}

fn without_flanks(samples: &[(f64, f64)], disturbed: &[bool]) -> Vec<(f64, f64)> {
    let times: Vec<f64> =
        samples.iter().zip(disturbed).filter(|(_, flag)| **flag).map(|((time, _), _)| *time).collect();
    let mut next = 0;
    samples
        .iter()
        .filter(|(time, _)| {
            while times.get(next).is_some_and(|other| *other < time - FLANK_S) {
                next += 1;
            }
            !times.get(next).is_some_and(|other| *other <= time + FLANK_S)
        })
        .copied()
        .collect()
}

/// Longest time between samples that are kept, up to the end of the trace.
fn longest_gap(kept: &[(f64, f64)], all: &[(f64, f64)]) -> f64 {
    let inside = kept.windows(2).map(|pair| pair[1].0 - pair[0].0).fold(0.0, f64::max);
    match (kept.last(), all.last()) {
        (Some(kept), Some(end)) => inside.max(end.0 - kept.0),
        _ => f64::INFINITY,
    }
}

/// The step between readings, if they come in few steps.
fn resolution(samples: &[(f64, f64)]) -> f64 {
    let mut values: Vec<f64> = samples.iter().map(|(_, flow)| *flow).collect();
    values.sort_by(f64::total_cmp);
    let size = values.last().map_or(0.0, |value| value.abs());
    values.dedup_by(|a, b| (*a - *b).abs() <= 1e-9 * size);
    if values.len() * 10 > samples.len() {
        return 0.0;
    }
    values.windows(2).map(|pair| pair[1] - pair[0]).reduce(f64::min).unwrap_or_default()
}
