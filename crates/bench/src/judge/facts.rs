//! What the readings of one circuit came to, before any rule is applied.

use calc::estimate::{Estimate, Uncertain, Z95, root_sum_square};
use calc::infer::bore::BoreState;
use calc::infer::history::States;
use calc::numeric::math;

use super::expect::AsNew;

use crate::finding::{Evidence, HookUpDoubt, NextReading, Passage, Tightness};
use crate::mould::{Circuit, CircuitId};
use crate::working::Working;

/// Air kept in.
#[derive(Clone, Debug)]
pub(crate) struct TightnessFact {
    pub(crate) verdict: Tightness,
    pub(crate) leak_rate_mbar_l_s: Option<Estimate>,
    /// Upper bound that holds with 99.9 %: acid goes in only below the limit with this certainty.
    pub(crate) surely_below_mbar_l_s: Option<f64>,
    /// The limit that acid needs, at the pressure of the test.
    pub(crate) limit_mbar_l_s: f64,
    /// Whether that is smaller because the test was not at the pressure at which the limit holds.
    pub(crate) tested_off_limit_pressure: bool,
    pub(crate) across_to: Vec<CircuitId>,
    /// Tested before the last change, not since.
    pub(crate) outdated: bool,
    /// What would settle an open question.
    pub(crate) would_tell: Option<String>,
    /// Kind of leak in words, where two pressures told it.
    pub(crate) kind: Option<&'static str>,
    /// The reading that would tell the kind.
    pub(crate) kind_would_tell: Option<String>,
    /// How the leak rate came about.
    pub(crate) working: Option<Working>,
}

impl TightnessFact {
    /// The kind, or what would tell it, as the end of a sentence.
    pub(crate) fn kind_in_words(&self) -> String {
        match (self.kind, &self.kind_would_tell) {
            (Some(kind), _) => format!("; by its pressures most likely {kind}"),
            (None, Some(reading)) => format!("; {reading}"),
            (None, None) => String::new(),
        }
    }
}

/// Air let through.
#[derive(Clone, Debug)]
pub(crate) struct PassageFact {
    pub(crate) verdict: Passage,
    pub(crate) reason: String,
    pub(crate) outdated: bool,
    /// Water has passed in this visit, in l/min: a proof of passage of its own.
    pub(crate) water_passed_l_min: Option<f64>,
    /// The air went out through the circuit, however well it passed: it is not blocked.
    pub(crate) air_went_out: bool,
    pub(crate) would_tell: Option<String>,
    /// Of the circuit alone, hoses known and taken out.
    pub(crate) sonic_dm3_s_bar: Option<Estimate>,
    /// How the conductance came about.
    pub(crate) working: Option<Working>,
}

impl PassageFact {
    /// Whether something has passed through, so that the circuit is no dead end.
    pub(crate) const fn is_no_dead_end(&self) -> bool {
        self.air_went_out || self.water_passed_l_min.is_some()
    }
}

/// Flow factor against what it should be.
#[derive(Clone, Debug, Default)]
pub(crate) struct FlowFact {
    pub(crate) flow_factor_m3_h: Option<Estimate>,
    pub(crate) ratio: Option<Ratio>,
    pub(crate) low_percent: f64,
    pub(crate) high_percent: f64,
    pub(crate) outdated: bool,
    /// Whether hoses and couplings take most of the pressure drop.
    pub(crate) hoses_hide: bool,
    /// Whether readings that still count were taken, even if no flow factor came out of them.
    pub(crate) measured: bool,
}

/// A value over what it should be.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Ratio {
    pub(crate) value: f64,
    /// Standard uncertainty of the logarithm, towards lower values.
    pub(crate) down_ln: f64,
    /// The same towards higher values.
    pub(crate) up_ln: f64,
    /// Part of both that comes from not knowing what it should be.
    pub(crate) as_new_ln: f64,
    pub(crate) compared_with: String,
}

impl Ratio {
    /// A measured value over the one as new; nothing unless both are positive.
    pub(crate) fn of(measured: Estimate, as_new: &AsNew) -> Option<Self> {
        let value = measured.value / as_new.value;
        let spread = |own: f64| root_sum_square(&[own / Z95, as_new.standard_ln]);
        (value > 0.0 && value.is_finite()).then(|| Self {
            value,
            // An interval that reaches zero is as wide as any.
            down_ln: spread(math::ln(measured.value / measured.low.max(0.02 * measured.value))),
            up_ln: spread(math::ln(measured.high / measured.value)),
            as_new_ln: as_new.standard_ln,
            compared_with: as_new.from.clone(),
        })
    }

    /// Whether not knowing what it should be is the larger part of the doubt.
    pub(crate) fn is_poorly_expected(&self) -> bool {
        2.0 * self.as_new_ln * self.as_new_ln > self.down_ln * self.down_ln
    }

    pub(crate) fn percent(&self) -> Estimate {
        let percent = 100.0 * self.value;
        let (down, up) = (math::exp(Z95 * self.down_ln), math::exp(Z95 * self.up_ln));
        Estimate { value: percent, low: percent / down, high: percent * up, coverage: 0.95 }
    }
}

/// How the flow stands against its limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum FlowGrade {
    /// Not measured, or nothing to compare with.
    NotKnown,
    /// Inside the limits.
    Good,
    /// Below the lower limit, uncertainty included.
    Low,
    /// Above the upper limit, uncertainty included.
    High,
    /// Around a limit.
    Unsure,
}

impl FlowFact {
    pub(crate) fn grade(&self) -> FlowGrade {
        let Some(ratio) = &self.ratio else { return FlowGrade::NotKnown };
        let percent = ratio.percent();
        if percent.high < self.low_percent {
            FlowGrade::Low
        } else if percent.low > self.high_percent {
            FlowGrade::High
        } else if percent.value >= self.low_percent && percent.value <= self.high_percent {
            // Good needs more than a lucky middle: the interval may stick out by no more than one limit's width.
            let room = 100.0 - self.low_percent;
            if percent.low >= self.low_percent - room { FlowGrade::Good } else { FlowGrade::Unsure }
        } else {
            FlowGrade::Unsure
        }
    }
}

/// Filled volume against what it should be.
#[derive(Clone, Debug, Default)]
pub(crate) struct VolumeFact {
    /// What the reading came to, hoses taken out, however little; with the part taken out that lies at the
    /// other end, in ml.
    pub(crate) seen_ml: Option<(Uncertain, f64)>,
    /// Whether air was used, which a leak deceives.
    pub(crate) by_air: bool,
    pub(crate) volume_ml: Option<Uncertain>,
    pub(crate) ratio: Option<Ratio>,
    /// How it came about.
    pub(crate) working: Option<Working>,
}

/// Everything about one circuit.
#[derive(Clone, Debug)]
pub(crate) struct Facts<'a> {
    pub(crate) circuit: &'a Circuit,
    pub(crate) port: Option<u32>,
    pub(crate) tightness: TightnessFact,
    pub(crate) passage: PassageFact,
    pub(crate) flow: FlowFact,
    pub(crate) volume: VolumeFact,
    /// Nothing if no reading speaks of the bore.
    pub(crate) state: Option<BoreState>,
    /// Probabilities of the states before any reading of today.
    pub(crate) state_before: Option<States>,
    /// What today's readings alone would say; nothing without a past.
    pub(crate) state_without_past: Option<BoreState>,
    pub(crate) next_reading: Option<NextReading>,
    pub(crate) further_readings: Vec<NextReading>,
    pub(crate) bore_mm: Option<f64>,
    pub(crate) dried: bool,
    pub(crate) acid_left: bool,
    pub(crate) repaired: bool,
    /// A doubt about its hoses that is called out.
    pub(crate) hose_doubt: Option<HookUpDoubt>,
    /// Circuits with an empty port of their own that may hang on this circuit's port beside it.
    pub(crate) may_hang_beside: Vec<CircuitId>,
    pub(crate) die_casting: bool,
    pub(crate) evidence: Vec<Evidence>,
    pub(crate) workings: Vec<Working>,
}
