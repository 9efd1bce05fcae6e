//! Times a closure: many short batches, of which the median counts.

use std::hint::black_box;
use std::time::{Duration, Instant};

/// A batch is at least this long, so that reading the clock does not count.
const BATCH: Duration = Duration::from_micros(200);

/// How long a kernel is timed.
#[derive(Clone, Copy, Debug)]
pub struct Effort {
    /// Time to spend on it.
    pub time: Duration,
    /// Batches at least, however long they take.
    pub batches: usize,
}

impl Effort {
    /// Enough for a median that a busy neighbour does not move.
    pub const FULL: Self = Self { time: Duration::from_millis(500), batches: 5 };
    /// Once.
    pub const ONCE: Self = Self { time: Duration::ZERO, batches: 1 };
}

/// Seconds of one call: median, least and most over the batches.
#[derive(Clone, Copy, Debug)]
pub struct Seconds {
    /// Median.
    pub median: f64,
    /// Least.
    pub least: f64,
    /// Most.
    pub most: f64,
    /// Calls in all.
    pub calls: usize,
    /// Mean seconds that the processor worked on it, where the system says: what others on the machine take is not in it.
    pub processor: Option<f64>,
}

/// Times `call`, and gives what it returned last.
pub fn time<T>(effort: Effort, mut call: impl FnMut() -> T) -> (Seconds, T) {
    // The first call warms caches and says how many calls fill a batch.
    let start = Instant::now();
    let mut answer = black_box(call());
    let whole_batch = BATCH.as_nanos() / start.elapsed().as_nanos().max(1);
    let size = usize::try_from(whole_batch).unwrap_or(1).clamp(1, 100_000);
    let mut list = Vec::new();
    let (begun, worked) = (Instant::now(), processor_s());
    while list.len() < effort.batches || begun.elapsed() < effort.time {
        let start = Instant::now();
        for _ in 0..size {
            answer = black_box(call());
        }
        list.push(start.elapsed().as_secs_f64() / count(size));
    }
    (summary(list, size, worked), answer)
}

/// Times `call` once: for work of seconds, and where the memory of one run is looked at.
pub fn time_once<T>(call: impl FnOnce() -> T) -> (Seconds, T) {
    let (start, worked) = (Instant::now(), processor_s());
    let answer = black_box(call());
    (summary(vec![start.elapsed().as_secs_f64()], 1, worked), answer)
}

fn summary(mut list: Vec<f64>, size: usize, worked: Option<f64>) -> Seconds {
    let calls = list.len() * size;
    list.sort_by(f64::total_cmp);
    let at = |place: usize| list.get(place).copied().unwrap_or(f64::NAN);
    Seconds {
        median: f64::midpoint(at((list.len() - 1) / 2), at(list.len() / 2)),
        least: at(0),
        most: at(list.len() - 1),
        calls,
        processor: processor_s().zip(worked).map(|(now, before)| (now - before) / count(calls)),
    }
}

#[expect(clippy::cast_precision_loss, reason = "far fewer than 2^52 calls")]
const fn count(calls: usize) -> f64 {
    calls as f64
}

/// Seconds that this thread has been on a processor (Linux).
fn processor_s() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/schedstat").ok()?;
    let nanoseconds: f64 = text.split_whitespace().next()?.parse().ok()?;
    Some(nanoseconds / 1e9)
}

/// Largest memory of this process so far, in MB (Linux).
pub fn peak_mb() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
    let kib: f64 = line.split_whitespace().next()?.parse().ok()?;
    Some(kib * 1024.0 / 1e6)
}
