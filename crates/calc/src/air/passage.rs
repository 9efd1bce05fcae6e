//! Whether air passes through a circuit as it should: free, narrow by design, restricted, blocked, or cannot tell.
//!
//! How fast a pressure falls says how much passes, not whether that is right: a long narrow bore as new is slower than
//! a wide one half closed. So the verdict compares with what the circuit should let through, from its drawing or
//! from a clean baseline, and both sides carry their uncertainty. Without such an expectation only the two ends can be
//! told: plainly open and held.

mod verdict;

pub use verdict::{NOT_BLOCKED_ABOVE, PLAINLY_OPEN, TOLERATED_SHARE, Verdict};

use crate::air::discharge::{self, Charged, Discharge, DischargeError, Evaluation, FitQuality, Note, Seen};
use crate::air::leak_down::DecayData;
use crate::air::sonic::fixture::{CIRCUIT_CRITICAL_RATIO, Fixture, Removed, WithFixture, remove};
use crate::air::sonic::line::{Drawing, LineConductance, expectation};
use crate::air::sonic::{SonicPart, effective_bore};
use crate::estimate::{Estimate, Uncertain, Z95, root_sum_square};
use crate::numeric::math;
use crate::quantity::SonicConductance;

/// A discharge through a circuit and what it is to be compared with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PassageInput<'a> {
    /// The discharge.
    pub discharge: Discharge<'a>,
    /// Hoses and couplings that the air went through as well.
    pub fixture: Option<Fixture>,
    /// What the circuit should let through.
    pub expected: Option<Expected>,
    /// Conductance below which a circuit is slow in absolute terms.
    pub narrow_below: SonicConductance,
}

/// What a circuit should let through.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// Sonic conductance in dm3/(s bar).
    pub sonic_conductance_dm3_s_bar: Uncertain,
    /// Critical ratio of the circuit alone.
    pub critical_ratio: Uncertain,
    /// Where it comes from.
    pub from: ExpectedFrom,
}

/// Where an expectation comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ExpectedFrom {
    /// Drawn or measured pieces.
    Pieces,
    /// An earlier reading of the clean circuit.
    Baseline,
}

/// How well the line model knows a critical ratio.
const PIECES_RATIO_STANDARD: f64 = 0.05;

impl Expected {
    /// From the pieces of a drawing, see [`crate::air::sonic::line::conductance`].
    #[must_use]
    pub fn of_pieces(line: &LineConductance, drawing: Drawing) -> Self {
        Self {
            sonic_conductance_dm3_s_bar: expectation(line, drawing),
            critical_ratio: Uncertain::new(line.part.critical_ratio(), PIECES_RATIO_STANDARD),
            from: ExpectedFrom::Pieces,
        }
    }

    /// From a reading of the clean circuit, hoses removed; the critical ratio is the usual one.
    #[must_use]
    pub const fn of_baseline(sonic_conductance_dm3_s_bar: Uncertain) -> Self {
        Self {
            sonic_conductance_dm3_s_bar,
            critical_ratio: CIRCUIT_CRITICAL_RATIO,
            from: ExpectedFrom::Baseline,
        }
    }

    const fn words(self) -> &'static str {
        match self.from {
            ExpectedFrom::Pieces => "its drawing",
            ExpectedFrom::Baseline => "its clean baseline",
        }
    }
}

/// What is known of the circuit's conductance after hoses and couplings are taken out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Evidence {
    /// A value.
    Value {
        /// Middle, dm3/(s bar).
        value: f64,
        /// Standard deviation of its logarithm towards lower values.
        standard_ln_down: f64,
        /// Standard deviation of its logarithm towards higher values.
        standard_ln_up: f64,
    },
    /// At least this, dm3/(s bar); one-sided 95 %.
    AtLeast(f64),
    /// At most this, dm3/(s bar); one-sided 95 %.
    AtMost(f64),
    /// Hoses and reading contradict each other.
    Contradiction {
        /// Conductance of the fixture, dm3/(s bar).
        fixture: f64,
    },
}

/// Curves for a drawing: seconds and gauge pressure in bar.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Curves {
    /// Measured; at most 200 points.
    pub measured: Vec<(f64, f64)>,
    /// Fitted.
    pub fitted: Vec<(f64, f64)>,
    /// What the expected circuit would have given behind the same hoses.
    pub expected: Vec<(f64, f64)>,
}

/// Verdict on the passage of a circuit, with what it rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct PassageResult {
    /// Sonic conductance of the circuit in dm3/(s bar) at 7 bar absolute, hoses removed; none where only a bound is known.
    pub sonic_conductance: Option<Estimate>,
    /// The same as the verdict saw it, bounds included.
    pub evidence: Evidence,
    /// Critical ratio of all that the air went through.
    pub critical_ratio: Option<Estimate>,
    /// Bore in mm of the ideal nozzle that lets as much through.
    pub effective_bore_mm: Option<Estimate>,
    /// Expected sonic conductance in dm3/(s bar).
    pub expected: Option<Estimate>,
    /// Measured over expected.
    pub ratio: Option<Estimate>,
    /// Verdict.
    pub verdict: Verdict,
    /// The verdict's reason in one sentence.
    pub reason: String,
    /// The reading that would tell, where this one does not.
    pub would_tell: Option<String>,
    /// Quality of the fit, if one was made.
    pub fit: Option<FitQuality>,
    /// What the reader should know of the evaluation.
    pub notes: Vec<Note>,
    /// Curves for a drawing.
    pub curves: Curves,
}

/// Judges a discharge through a circuit.
///
/// # Errors
/// [`DischargeError`] for a reading that cannot be used.
pub fn passage(input: &PassageInput<'_>) -> Result<PassageResult, DischargeError> {
    let evaluation = discharge::evaluate(&input.discharge)?;
    let evidence = without_fixture(&evaluation, input)?;
    let finding = verdict::judge(&verdict::Case {
        evidence,
        expected: input.expected,
        narrow_below: input.narrow_below.dm3_s_bar(),
        own_volume: matches!(input.discharge.charged, Charged::Circuit { .. }),
        fits: evaluation.fit.is_none_or(|fit| fit.good),
        notes: &evaluation.notes,
    });
    let sonic_conductance = value_of(evidence);
    let bore = |conductance: f64| effective_bore(SonicConductance::from_dm3_s_bar(conductance)).mm();
    Ok(PassageResult {
        sonic_conductance,
        evidence,
        critical_ratio: evaluation.critical_ratio.map(critical_ratio_interval),
        effective_bore_mm: sonic_conductance.map(|c| Estimate {
            value: bore(c.value),
            low: bore(c.low),
            high: bore(c.high),
            ..c
        }),
        expected: input.expected.map(|expected| lognormal(expected.sonic_conductance_dm3_s_bar)),
        ratio: input.expected.and_then(|expected| ratio(evidence, expected)),
        verdict: finding.verdict,
        reason: finding.reason,
        would_tell: finding.would_tell,
        fit: evaluation.fit,
        curves: curves(input, &evaluation),
        notes: evaluation.notes,
    })
}

fn lognormal(value: Uncertain) -> Estimate {
    Estimate::lognormal(value.value, value.relative_standard())
}

fn critical_ratio_interval(ratio: Uncertain) -> Estimate {
    let plain = ratio.estimate();
    Estimate { low: plain.low.max(0.0), high: plain.high.min(0.9), ..plain }
}

fn value_of(evidence: Evidence) -> Option<Estimate> {
    match evidence {
        Evidence::Value { value, standard_ln_down, standard_ln_up } => Some(Estimate {
            value,
            low: value * math::exp(-Z95 * standard_ln_down),
            high: value * math::exp(Z95 * standard_ln_up),
            coverage: 0.95,
        }),
        _ => None,
    }
}

fn ratio(evidence: Evidence, expected: Expected) -> Option<Estimate> {
    let Evidence::Value { value, standard_ln_down, standard_ln_up } = evidence else { return None };
    let should = expected.sonic_conductance_dm3_s_bar;
    let spread = |own: f64| root_sum_square(&[own, should.relative_standard()]);
    let middle = value / should.value;
    Some(Estimate {
        value: middle,
        low: middle * math::exp(-Z95 * spread(standard_ln_down)),
        high: middle * math::exp(Z95 * spread(standard_ln_up)),
        coverage: 0.95,
    })
}

/// The circuit alone. A bound of the whole stays a bound of the circuit: it passes at least as much as circuit and hoses
/// together; where nearly nothing passes, hoses do not matter.
fn without_fixture(evaluation: &Evaluation, input: &PassageInput<'_>) -> Result<Evidence, DischargeError> {
    let (total, down, up) = match evaluation.seen {
        Seen::AtLeast(bound) => return Ok(Evidence::AtLeast(bound.dm3_s_bar())),
        Seen::AtMost(bound) => return at_most(bound, input),
        Seen::Value { conductance_dm3_s_bar, standard_ln_down, standard_ln_up } => {
            (conductance_dm3_s_bar.value, standard_ln_down, standard_ln_up)
        }
    };
    let Some(fixture) = input.fixture else {
        return Ok(Evidence::Value { value: total, standard_ln_down: down, standard_ln_up: up });
    };
    let removed = |standard_ln: f64| remove(&measured(total, standard_ln, input), &fixture);
    Ok(match (removed(up)?, removed(down)?) {
        (
            Removed::Found { conductance_dm3_s_bar, standard_ln },
            Removed::Found { conductance_dm3_s_bar: lower, .. },
        ) => Evidence::Value {
            value: conductance_dm3_s_bar.value,
            standard_ln_down: math::ln(lower.value / lower.low) / Z95,
            standard_ln_up: (math::ln(conductance_dm3_s_bar.high / conductance_dm3_s_bar.value) / Z95)
                .max(standard_ln),
        },
        (Removed::Contradiction { fixture }, _) | (_, Removed::Contradiction { fixture }) => {
            Evidence::Contradiction { fixture: fixture.dm3_s_bar() }
        }
        (_, Removed::Hidden { at_least }) => Evidence::AtLeast(at_least.dm3_s_bar()),
        (_, Removed::Found { conductance_dm3_s_bar, .. }) => Evidence::AtLeast(conductance_dm3_s_bar.low),
    })
}

fn measured(total: f64, standard_ln: f64, input: &PassageInput<'_>) -> WithFixture {
    WithFixture {
        conductance: SonicConductance::from_dm3_s_bar(total),
        standard_ln,
        circuit_critical_ratio: input
            .expected
            .map_or(CIRCUIT_CRITICAL_RATIO, |expected| expected.critical_ratio),
    }
}

fn at_most(bound: SonicConductance, input: &PassageInput<'_>) -> Result<Evidence, DischargeError> {
    let bound = bound.dm3_s_bar();
    let Some(fixture) = input.fixture.filter(|_| bound > 1e-9) else { return Ok(Evidence::AtMost(bound)) };
    Ok(match remove(&measured(bound, 0.0, input), &fixture)? {
        Removed::Found { conductance_dm3_s_bar, .. } => Evidence::AtMost(conductance_dm3_s_bar.high),
        // Held, yet more than the hoses let through: the bound says nothing.
        Removed::Hidden { .. } | Removed::Contradiction { .. } => Evidence::AtLeast(0.0),
    })
}

/// Most points of a drawn trace.
const DRAWN: usize = 200;

fn curves(input: &PassageInput<'_>, evaluation: &Evaluation) -> Curves {
    let (measured, end_s) = match input.discharge.decay {
        DecayData::Trace(trace) => {
            let (times, pressures) = trace.pressures().unwrap_or_default();
            let run = times.len().div_ceil(DRAWN).max(1);
            let points: Vec<(f64, f64)> = times.iter().copied().zip(pressures).step_by(run).collect();
            let end = times.last().copied().unwrap_or_default();
            (points, end)
        }
        DecayData::TwoReadings { start, end, time } => {
            (vec![(0.0, start.bar()), (time.s(), end.bar())], time.s())
        }
    };
    let expected = input.expected.and_then(|expected| {
        let conductance = SonicConductance::from_dm3_s_bar(expected.sonic_conductance_dm3_s_bar.value);
        let circuit = SonicPart::new(conductance, expected.critical_ratio.value.clamp(0.0, 0.8)).ok()?;
        let whole = input.fixture.map_or(Some(circuit), |fixture| fixture.around(circuit).ok())?;
        let mut curve = discharge::curve_for(
            &input.discharge,
            whole.conductance(),
            whole.critical_ratio(),
            evaluation.start,
            evaluation.opened_s,
        );
        curve.retain(|(time, _)| *time <= end_s);
        Some(curve)
    });
    Curves { measured, fitted: evaluation.fitted.clone(), expected: expected.unwrap_or_default() }
}

#[cfg(test)]
mod tests;
