//! Explaining blocks by a constant, a fading start-up, a drift, and a fluctuation with memory.
//!
//! For given memory, share of memoryless fluctuation and fading time, the sought number and its t distribution
//! follow in closed form. The grid over those three is weighed by its marginal likelihood.

use nalgebra::{Matrix3, Vector3};

use super::clean::{Block, Cleaned};
use crate::estimate::Z95;
use crate::numeric::{math, root, stats};

/// Steps of the memory's grid.
const MEMORIES: u32 = 8;
/// Fluctuations of pumps and meters forget within this time; what is slower is a drift.
const MEMORY_MOST_S: f64 = 4.0;
/// Shares of the memoryless fluctuation in the variance of a block.
const MEMORYLESS: [f64; 4] = [0.0, 0.4, 0.8, 1.0];
/// Steps of the start-up's fading time, from a block to an eighth of the trace.
const FADES: u32 = 8;
/// Ways to explain of less than this weight do not matter.
const WEIGHT_LEAST: f64 = 1e-4;
/// Relative standard deviation below which fluctuations are rounding.
const ROUNDING: f64 = 1e-7;
/// Fewest blocks that say anything about a memory.
const BLOCKS_LEAST: usize = 12;

/// What a cleaned trace says.
#[derive(Clone, Copy, Debug)]
pub(super) struct Explained {
    pub mean: f64,
    /// Half of the 95 % interval.
    pub half_width: f64,
    pub steady_from_s: f64,
    /// Standard deviation of single samples around mean and start-up.
    pub sample_sd: f64,
    /// Change that goes on, beside start-up and fluctuation.
    pub slope_per_s: f64,
    /// Probability, two-sided, that a flow without drift shows so much of it.
    pub no_drift: f64,
}

/// A fluctuation: how long it remembers, which share of it does not, and how likely that is beforehand.
#[derive(Clone, Copy, Debug)]
struct Fluctuation {
    memory_s: f64,
    memoryless: f64,
    ln_prior: f64,
}

/// One way to explain the blocks: a t distribution of the sought number, and the start-up that goes with it.
#[derive(Clone, Copy, Debug)]
struct Way {
    weight: f64,
    centre: f64,
    scale: f64,
    freedom: f64,
    start_up: f64,
    fade_s: f64,
}

fn logarithmic(low: f64, high: f64, steps: u32) -> impl Iterator<Item = f64> {
    let fold = math::ln(high / low) / f64::from(steps - 1);
    (0..steps).map(move |step| low * math::exp(fold * f64::from(step)))
}

/// The filter that makes a fluctuation independent from block to block: for each block what is kept of the state,
/// the gain, and the standard deviation of what is new.
struct Whitener {
    steps: Vec<(f64, f64, f64)>,
    ln_determinant: f64,
}

impl Whitener {
    fn new(blocks: &[Block], fluctuation: Fluctuation) -> Self {
        let usual = blocks.iter().map(|block| block.samples).sum::<f64>() / blocks.len() as f64;
        let remembered = 1.0 - fluctuation.memoryless;
        let mut variance = remembered;
        let mut before: Option<f64> = None;
        let mut ln_determinant = 0.0;
        let mut steps = Vec::with_capacity(blocks.len());
        for block in blocks {
            let gone = before.map_or(f64::INFINITY, |earlier| block.time_s - earlier);
            let keep = math::exp(-gone / fluctuation.memory_s);
            before = Some(block.time_s);
            variance = keep * keep * variance + remembered * (1.0 - keep * keep);
            let total = variance + fluctuation.memoryless * usual / block.samples;
            let gain = variance / total;
            variance *= 1.0 - gain;
            ln_determinant += math::ln(total);
            steps.push((keep, gain, total.sqrt()));
        }
        Self { steps, ln_determinant }
    }

    fn whiten(&self, column: impl Iterator<Item = f64>) -> Vec<f64> {
        let mut state = 0.0;
        column
            .zip(&self.steps)
            .map(|(value, (keep, gain, sd))| {
                let new = value - keep * state;
                state = keep * state + gain * new;
                new / sd
            })
            .collect()
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Which of the columns constant, start-up and drift take part, and which one's factor is sought.
#[derive(Clone, Copy)]
struct Columns {
    start_up: bool,
    drift: bool,
    sought: usize,
}

const MEAN: Columns = Columns { start_up: false, drift: false, sought: 0 };
const MEAN_AFTER_START_UP: Columns = Columns { start_up: true, drift: false, sought: 0 };
const DRIFT: Columns = Columns { start_up: false, drift: true, sought: 2 };
const DRIFT_AFTER_START_UP: Columns = Columns { start_up: true, drift: true, sought: 2 };

/// Blocks with what is equal for all ways to explain them.
struct Frame<'a> {
    blocks: &'a [Block],
    level: f64,
    /// Prior precision of the start-up's size, in units of the fluctuation's variance.
    precision: f64,
    /// Least sum of squares, so that a constant reading has a finite likelihood.
    floor: f64,
    start_s: f64,
    length_s: f64,
}

impl<'a> Frame<'a> {
    fn new(cleaned: &'a Cleaned) -> Option<Self> {
        let blocks = cleaned.blocks.as_slice();
        let (first, last) = (blocks.first()?, blocks.last()?);
        if blocks.len() < BLOCKS_LEAST {
            return None;
        }
        let count = blocks.len() as f64;
        let level = blocks.iter().map(|block| block.flow).sum::<f64>() / count;
        let squares: f64 = blocks.iter().map(|block| (block.flow - level) * (block.flow - level)).sum();
        let floor = count * (ROUNDING * level) * (ROUNDING * level);
        let precision = squares.max(floor) / count / (cleaned.coarse * cleaned.coarse);
        let length_s = last.time_s - first.time_s;
        Some(Self { blocks, level, precision, floor, start_s: first.time_s, length_s })
    }

    fn block_s(&self) -> f64 {
        self.length_s / self.blocks.len() as f64
    }

    fn fluctuations(&self) -> Vec<Fluctuation> {
        let low = 0.7 * self.block_s();
        let high = (self.length_s / 6.0).min(MEMORY_MOST_S).max(2.0 * low);
        let mut all = Vec::new();
        for memoryless in MEMORYLESS {
            if memoryless < 1.0 {
                let ln_prior = -math::ln(f64::from(MEMORIES));
                let memories = logarithmic(low, high, MEMORIES);
                all.extend(memories.map(|memory_s| Fluctuation { memory_s, memoryless, ln_prior }));
            } else {
                all.push(Fluctuation { memory_s: low, memoryless, ln_prior: 0.0 });
            }
        }
        all
    }

    /// All ways to explain the blocks: those for the mean, and those for a drift.
    fn ways(&self) -> (Vec<Way>, Vec<Way>) {
        let (mut means, mut drifts) = (Vec::new(), Vec::new());
        let since = |block: &Block| block.time_s - self.start_s;
        let shapes: Vec<(f64, Vec<f64>)> = logarithmic(self.block_s(), self.length_s / 8.0, FADES)
            .map(|fade_s| {
                (fade_s, self.blocks.iter().map(|block| math::exp(-since(block) / fade_s)).collect())
            })
            .collect();
        for fluctuation in self.fluctuations() {
            let whitener = Whitener::new(self.blocks, fluctuation);
            let flow = whitener.whiten(self.blocks.iter().map(|block| block.flow - self.level));
            let one = whitener.whiten(self.blocks.iter().map(|_| 1.0));
            let rising = whitener.whiten(self.blocks.iter().map(|block| since(block) / self.length_s - 0.5));
            for (place, (fade_s, shape)) in shapes.iter().enumerate() {
                let shape = whitener.whiten(shape.iter().copied());
                let sums = Sums::new(&flow, [&one, &shape, &rising], self);
                let add = |ways: &mut Vec<Way>, wanted: Columns, ln_prior: f64| {
                    if let Some(way) = sums.way(wanted) {
                        let weight = way.weight + ln_prior - 0.5 * whitener.ln_determinant;
                        ways.push(Way { weight, fade_s: *fade_s, ..way });
                    }
                };
                // With and without start-up are equally likely beforehand.
                let ln_prior = fluctuation.ln_prior - math::ln(f64::from(FADES));
                add(&mut means, MEAN_AFTER_START_UP, ln_prior);
                add(&mut drifts, DRIFT_AFTER_START_UP, ln_prior);
                if place == 0 {
                    add(&mut means, MEAN, fluctuation.ln_prior);
                    add(&mut drifts, DRIFT, fluctuation.ln_prior);
                }
            }
        }
        (weighed(means), weighed(drifts))
    }
}

/// Products of whitened columns: all that least squares needs.
struct Sums {
    normal: Matrix3<f64>,
    right: Vector3<f64>,
    flow_squares: f64,
    blocks: f64,
    precision: f64,
    floor: f64,
}

impl Sums {
    fn new(flow: &[f64], columns: [&[f64]; 3], frame: &Frame<'_>) -> Self {
        Self {
            normal: Matrix3::from_fn(|i, j| dot(columns[i], columns[j])),
            right: Vector3::from_fn(|i, _| dot(columns[i], flow)),
            flow_squares: dot(flow, flow),
            blocks: flow.len() as f64,
            precision: frame.precision,
            floor: frame.floor,
        }
    }

    /// Least squares; mean and drift have flat priors, the start-up's size a normal one.
    fn way(&self, wanted: Columns) -> Option<Way> {
        let (mut normal, mut right) = (self.normal, self.right);
        let mut ln_weight = 0.0;
        if wanted.start_up {
            normal[(1, 1)] += self.precision;
            ln_weight += 0.5 * math::ln(self.precision);
        }
        for (column, takes_part) in [(1, wanted.start_up), (2, wanted.drift)] {
            if !takes_part {
                normal.fill_row(column, 0.0);
                normal.fill_column(column, 0.0);
                normal[(column, column)] = 1.0;
                right[column] = 0.0;
            }
        }
        let factor = normal.cholesky()?;
        let inverse = factor.inverse();
        let found = factor.solve(&right);
        let rest = (self.flow_squares - right.dot(&found)).max(self.floor);
        let freedom = self.blocks - if wanted.drift { 2.0 } else { 1.0 };
        let ln_determinant: f64 = factor.l_dirty().diagonal().iter().map(|root| 2.0 * math::ln(*root)).sum();
        ln_weight -= 0.5 * (ln_determinant + freedom * math::ln(rest));
        Some(Way {
            weight: ln_weight,
            centre: found[wanted.sought],
            scale: (rest / freedom * inverse[(wanted.sought, wanted.sought)]).sqrt(),
            freedom,
            start_up: if wanted.start_up { found[1] } else { 0.0 },
            fade_s: 1.0,
        })
    }
}

/// Turns logarithms of weights into weights that add up to one, and drops what hardly counts.
fn weighed(mut ways: Vec<Way>) -> Vec<Way> {
    let top = ways.iter().map(|way| way.weight).fold(f64::NEG_INFINITY, f64::max);
    for way in &mut ways {
        way.weight = math::exp(way.weight - top);
    }
    let sum: f64 = ways.iter().map(|way| way.weight).sum();
    ways.retain(|way| way.weight > WEIGHT_LEAST * sum);
    let sum: f64 = ways.iter().map(|way| way.weight).sum();
    for way in &mut ways {
        way.weight /= sum;
    }
    ways
}

fn centre(ways: &[Way]) -> f64 {
    ways.iter().map(|way| way.weight * way.centre).sum()
}

fn below(ways: &[Way], x: f64) -> f64 {
    ways.iter().map(|way| way.weight * stats::student_below((x - way.centre) / way.scale, way.freedom)).sum()
}

/// Half of the interval that holds 95 % of the mixture, both tails alike.
fn half_width(ways: &[Way], centre: f64) -> f64 {
    let reach = ways.iter().map(|way| (way.centre - centre).abs() + 12.0 * way.scale).fold(0.0, f64::max);
    let tolerance = 1e-3 * ways.iter().map(|way| way.scale).fold(f64::INFINITY, f64::min);
    let quantile = |p: f64| {
        root::bracketed(|x| below(ways, x) - p, centre - reach, centre + reach, tolerance).unwrap_or(centre)
    };
    0.5 * (quantile(0.975) - quantile(0.025))
}

/// Student's factor for so many independent samples, against the normal one. The weighing of memories leans to
/// short ones when the trace is only some memories long; simulation shows that this makes up for it.
fn few_samples_factor(independent: f64) -> f64 {
    stats::student_quantile(0.975, (independent - 1.0).max(2.0)) / Z95
}

/// Mean, start-up and drift of the blocks; nothing if there are too few.
pub(super) fn explain(cleaned: &Cleaned) -> Option<Explained> {
    let frame = Frame::new(cleaned)?;
    let (ways, drifts) = frame.ways();
    let mean = centre(&ways);
    let plain_half_width = half_width(&ways, mean);
    let start_up = |time: f64| -> f64 {
        let left = |way: &Way| way.start_up * math::exp(-(time - frame.start_s) / way.fade_s);
        ways.iter().map(|way| way.weight * left(way)).sum()
    };
    // A quarter of the half-width is about half of the standard uncertainty.
    let faint = 0.25 * plain_half_width;
    let last_strong = frame.blocks.iter().rev().find(|block| start_up(block.time_s).abs() > faint);
    let steady_from_s = last_strong.map_or(frame.start_s, |block| block.time_s);
    let rest = |(time, flow): &(f64, f64)| flow - frame.level - mean - start_up(*time);
    let squares: f64 = cleaned.kept.iter().map(|sample| rest(sample) * rest(sample)).sum();
    let sample_sd = (squares / cleaned.kept.len() as f64).sqrt();
    let few = few_samples_factor((Z95 * sample_sd / plain_half_width).powi(2));
    let drift = centre(&drifts);
    let falling = below(&drifts, drift - drift / few);
    Some(Explained {
        mean: mean + frame.level,
        half_width: plain_half_width * few,
        steady_from_s,
        sample_sd,
        slope_per_s: drift / frame.length_s,
        no_drift: 2.0 * falling.min(1.0 - falling),
    })
}
