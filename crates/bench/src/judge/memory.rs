//! What was worked out before, for whoever judges a visit again after each reading.

use std::collections::BTreeMap;
use std::fmt::{self, Debug, Write as _};
use std::hash::{DefaultHasher, Hasher as _};
use std::sync::{Mutex, PoisonError};

use calc::air::discharge::DischargeError;
use calc::air::leak_down::{LeakDownError, LeakDownInput, LeakDownResult, leak_down};
use calc::air::passage::{PassageInput, PassageResult, passage};
use calc::infer::bore::{BoreError, BoreInput, BoreState, bore_state};
use calc::quantity::Duration;
use calc::readings::steady::{SteadyError, SteadyFlow, steady_flow};
use calc::trace::Trace;

/// Answers of each kind that are kept: those of some twenty visits (own choice; a curve takes some ten kilobytes).
const KEPT: usize = 512;

/// What was worked out, by everything that it was worked out from.
///
/// A new reading changes what is known of its own circuit, and seldom of others; theirs are not worked out again. What is
/// remembered is what would come out: the findings are the same, byte for byte, with a memory and without.
#[derive(Debug, Default)]
pub struct Memory {
    states: Kept<Result<BoreState, BoreError>>,
    leaks: Kept<Result<LeakDownResult, LeakDownError>>,
    passages: Kept<Result<PassageResult, DischargeError>>,
    flows: Kept<Result<SteadyFlow, SteadyError>>,
}

type Kept<R> = Mutex<BTreeMap<[u64; 2], R>>;

impl Memory {
    /// The state of a bore.
    pub(crate) fn bore_state(&self, input: &BoreInput) -> Result<BoreState, BoreError> {
        remembered(&self.states, input, bore_state)
    }

    /// What a leak-down says.
    pub(crate) fn leak_down(&self, input: &LeakDownInput<'_>) -> Result<LeakDownResult, LeakDownError> {
        remembered(&self.leaks, input, leak_down)
    }

    /// What an air passage says.
    pub(crate) fn passage(&self, input: &PassageInput<'_>) -> Result<PassageResult, DischargeError> {
        remembered(&self.passages, input, passage)
    }
}

impl Memory {
    /// The mean of the steady part of a flow trace.
    pub(crate) fn steady_flow(
        &self,
        trace: &Trace,
        meter_uncertainty_relative: f64,
        window: Duration,
    ) -> Result<SteadyFlow, SteadyError> {
        let input = (trace, meter_uncertainty_relative, window);
        remembered(&self.flows, &input, |(trace, meter, window)| steady_flow(trace, *meter, *window))
    }
}

fn remembered<I: Debug, R: Clone>(kept: &Kept<R>, input: &I, work: impl FnOnce(&I) -> R) -> R {
    let key = key(input);
    let known = || kept.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(answer) = known().get(&key) {
        return answer.clone();
    }
    let answer = work(input);
    let mut all = known();
    if all.len() >= KEPT {
        all.clear();
    }
    all.insert(key, answer.clone());
    answer
}

/// 128 bits of the input's text. Each number is written so that it is read back as the same one, so that inputs that differ have
/// texts that differ; that two of them share a key is as likely as guessing it.
fn key(input: &impl Debug) -> [u64; 2] {
    let mut both = Both([DefaultHasher::new(), DefaultHasher::new()]);
    both.0[1].write_u8(1);
    // Writing into a hasher cannot fail.
    let _ = write!(both, "{input:?}");
    both.0.map(|hasher| hasher.finish())
}

struct Both([DefaultHasher; 2]);

impl fmt::Write for Both {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        self.0.iter_mut().for_each(|hasher| hasher.write(text.as_bytes()));
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_that_differs_in_its_last_bit_is_another_input() {
        let value = 0.1_f64 + 0.2;
        let next = f64::from_bits(value.to_bits() + 1);
        assert_ne!(key(&vec![1.0, value]), key(&vec![1.0, next]));
        assert_ne!(key(&0.0_f64), key(&-0.0_f64));
        assert_eq!(key(&vec![1.0, value]), key(&vec![1.0, value]));
        let kept = Kept::default();
        assert_eq!(remembered(&kept, &1, |input| input + 1), 2);
        assert_eq!(remembered(&kept, &1, |_| panic!("it is known")), 2);
        for input in 0..=KEPT {
            let _ = remembered(&kept, &(input, "more"), |_| 0);
        }
        assert!(kept.lock().expect("no fault").len() <= KEPT);
    }
}
