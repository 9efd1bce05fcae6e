//! Averages over consecutive samples, and how uncertain rounding by the gauge's step makes each of them.

use super::basis::{Setting, Shape, Term};
use super::drift::Drift;
use super::laws::ByLaw;
use super::series::Series;

/// Most averages that the samples are gathered into.
const MOST_BLOCKS: usize = 48;
/// What a gauge shows that rests on a step, and one that flickers between two, in independent readings.
const READINGS_OF_A_REST: f64 = 6.0;
const READINGS_OF_A_FLICKER: f64 = 10.0;

/// Averages over consecutive samples.
pub(super) struct Blocks {
    /// Mean pressure against the first sample, known warming taken off.
    pub pressure_mbar: Vec<f64>,
    /// Value of each term, one row per block.
    pub rows: Vec<Vec<f64>>,
    /// Samples in each block.
    pub counts: Vec<f64>,
    /// Standard uncertainty of each average from rounding by the gauge's step.
    pub rounding_mbar: Vec<f64>,
    /// By how much an error of each block weighs more than its size.
    pub stretch: Vec<f64>,
}

/// A sample and the leak behind it: seconds at the start pressure, by each law.
struct Sample {
    time_s: f64,
    pressure_mbar: f64,
    leaked_s: ByLaw,
}

/// Averages pressures and terms over the samples of the window.
pub(super) fn gather(
    setting: &Setting,
    drift: &Drift,
    series: &Series,
    terms: &[Term],
    leaked: &[ByLaw],
    window_s: (f64, f64),
) -> Blocks {
    let inside: Vec<Sample> = series
        .samples()
        .zip(leaked)
        .filter(|((time, _), _)| window_s.0 <= *time && *time <= window_s.1)
        .map(|((time_s, pressure_mbar), leaked_s)| {
            let warming = drift.known_mbar(setting, time_s, pressure_mbar);
            let pressure_mbar = pressure_mbar - warming - series.start_mbar();
            Sample { time_s, pressure_mbar, leaked_s: *leaked_s }
        })
        .collect();
    let value = |term: &Term, sample: &Sample| match term.shape {
        leak @ (Shape::Leak | Shape::Law | Shape::Seat | Shape::Opening) if series.two_readings => {
            -sample.leaked_s.of_two(leak)
        }
        leak @ (Shape::Leak | Shape::Law | Shape::Seat | Shape::Opening) => -sample.leaked_s.of(leak),
        shape => setting.value(shape, sample.time_s),
    };
    let chunks = || inside.chunks(inside.len().div_ceil(MOST_BLOCKS).max(1));
    let rows =
        chunks().map(|chunk| terms.iter().map(|term| mean(chunk, |sample| value(term, sample))).collect());
    let moves: Vec<Moves> =
        chunks().map(|chunk| Moves::of(chunk.iter().map(|sample| sample.pressure_mbar))).collect();
    Blocks {
        pressure_mbar: chunks().map(|chunk| mean(chunk, |sample| sample.pressure_mbar)).collect(),
        rows: rows.collect(),
        counts: chunks().map(count).collect(),
        rounding_mbar: rounding_mbar(series.step_mbar, &moves),
        stretch: chunks().map(|chunk| stretch(setting, series, chunk)).collect(),
    }
}

fn count(chunk: &[Sample]) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "sample counts are far below 2^52")]
    let count = chunk.len() as f64;
    count
}

fn mean(chunk: &[Sample], value: impl Fn(&Sample) -> f64) -> f64 {
    chunk.iter().map(value).sum::<f64>() / count(chunk)
}

/// Near empty, a small error of the second of two readings is a large one of the leak that it stands for.
fn stretch(setting: &Setting, series: &Series, chunk: &[Sample]) -> f64 {
    match chunk {
        [last] if series.two_readings && last.time_s > 0.0 => {
            let now = setting.relative_leak(series.end_mbar());
            last.leaked_s.usual() / (setting.duration_s * now.usual()).max(1e-9)
        }
        _ => 1.0,
    }
}

/// How a gauge moved while the samples of one average were taken.
#[derive(Clone, Copy, Debug, Default)]
struct Moves {
    /// How often neighbouring samples differ.
    changes: u32,
    /// Distance of the highest from the lowest.
    span_mbar: f64,
}

impl Moves {
    fn of(pressures: impl Iterator<Item = f64>) -> Self {
        let mut before: Option<f64> = None;
        let (mut low, mut high, mut changes) = (f64::INFINITY, f64::NEG_INFINITY, 0);
        for pressure in pressures {
            changes += u32::from(before.is_some_and(|before| (pressure - before).abs() > 1e-7));
            before = Some(pressure);
            (low, high) = (low.min(pressure), high.max(pressure));
        }
        Self { changes, span_mbar: high - low }
    }
}

/// Standard uncertainty of each average from rounding by the gauge's step. Where noise makes the gauge flicker over
/// several steps, roundings average out; between two steps they do so only in part. While the gauge rests, one rounding
/// is repeated, so a rest counts as a few readings however long it lasts.
fn rounding_mbar(step_mbar: f64, moves: &[Moves]) -> Vec<f64> {
    let one = step_mbar * step_mbar / 12.0;
    let mut list = Vec::with_capacity(moves.len());
    let kind = |moved: &Moves| (moved.changes > 0, moved.span_mbar < 1.5 * step_mbar);
    for alike in moves.chunk_by(|a, b| kind(a) == kind(b)) {
        #[expect(clippy::cast_precision_loss, reason = "block counts are below 48")]
        let length = alike.len() as f64;
        for moved in alike {
            let readings = 0.5 + 0.5 * f64::from(moved.changes);
            let variance = match kind(moved) {
                (false, _) => one * (length / READINGS_OF_A_REST).max(1.0),
                (true, true) => one * (length / READINGS_OF_A_FLICKER).max(1.0 / readings.min(1.2)),
                (true, false) => one / readings,
            };
            list.push(variance.sqrt());
        }
    }
    list
}
