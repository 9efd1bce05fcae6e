//! From evidence and expectation to a verdict with its reason.

use super::{Evidence, Expected};
use crate::air::discharge::Note;
use crate::estimate::root_sum_square;
use crate::numeric::math;

/// A loss up to this is not called a restriction even where it can be proven: it is within what bores, turns and
/// couplings of one design differ.
const IMMATERIAL: f64 = 0.95;
/// *Free* means that a loss of more than 30 % of the conductance is excluded (95 %): of the bore that is about 15 %.
pub const TOLERATED_SHARE: f64 = 0.70;
/// *Blocked* means that less than this share of the expected (or, without expectation, of the narrow limit) passes.
pub const NOT_BLOCKED_ABOVE: f64 = 0.02;
/// Without an expectation a circuit counts as free from this multiple of the narrow limit on.
pub const PLAINLY_OPEN: f64 = 2.0;
/// One-sided 95 % quantile of the normal distribution: false alarms of either verdict stay under 5 %.
const Z_ONE_SIDED: f64 = 1.644_853_6;

/// Verdict on the passage of air.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// As much passes as should, or plainly enough.
    Free,
    /// Slow, but as slow as drawing or baseline say.
    NarrowByDesign,
    /// Less passes than should.
    Restricted,
    /// Nothing passes.
    Blocked,
    /// The reading does not tell.
    CannotTell,
}

impl Verdict {
    /// The word of files and answers.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Free => "free",
            Self::NarrowByDesign => "narrow-by-design",
            Self::Restricted => "restricted",
            Self::Blocked => "blocked",
            Self::CannotTell => "cannot-tell",
        }
    }
}

pub(super) struct Case<'a> {
    pub evidence: Evidence,
    pub expected: Option<Expected>,
    pub narrow_below: f64,
    pub own_volume: bool,
    pub fits: bool,
    pub notes: &'a [Note],
}

pub(super) struct Finding {
    pub verdict: Verdict,
    pub reason: String,
    pub would_tell: Option<String>,
}

impl Finding {
    fn told(verdict: Verdict, reason: String) -> Self {
        Self { verdict, reason, would_tell: None }
    }

    fn open(reason: String, would_tell: impl Into<String>) -> Self {
        Self { verdict: Verdict::CannotTell, reason, would_tell: Some(would_tell.into()) }
    }
}

/// One-sided 95 % bounds of the conductance, widened by the uncertainty of what it is compared with.
struct Bounds {
    low: f64,
    high: f64,
    middle: Option<f64>,
}

impl Case<'_> {
    fn bounds(&self, also: f64) -> Bounds {
        let factor = |own: f64| math::exp(Z_ONE_SIDED * root_sum_square(&[own, also]));
        match self.evidence {
            Evidence::Value { value, standard_ln_down, standard_ln_up } => Bounds {
                low: value / factor(standard_ln_down),
                high: value * factor(standard_ln_up),
                middle: Some(value),
            },
            Evidence::AtLeast(bound) => {
                Bounds { low: bound / factor(0.0), high: f64::INFINITY, middle: None }
            }
            Evidence::AtMost(bound) => Bounds { low: 0.0, high: bound * factor(0.0), middle: None },
            Evidence::Contradiction { .. } => Bounds { low: 0.0, high: f64::INFINITY, middle: None },
        }
    }

    fn amount(&self) -> String {
        match self.evidence {
            Evidence::Value { value, .. } => format!("{} dm3/(s bar) pass", digits(value)),
            Evidence::AtLeast(bound) => format!("at least {} dm3/(s bar) pass", digits(bound)),
            Evidence::AtMost(bound) => format!("at most {} dm3/(s bar) pass", digits(bound)),
            Evidence::Contradiction { fixture } => {
                format!("more passes than the hoses alone let through ({} dm3/(s bar))", digits(fixture))
            }
        }
    }

    /// The reading that would tell more, given what limits this one.
    fn better_reading(&self) -> &'static str {
        if self.own_volume {
            "let a vessel of about 2 l empty through the circuit, logged at 100 samples a second"
        } else if self.notes.contains(&Note::TwoReadings) {
            "log the falling pressure at 100 samples a second instead of two readings"
        } else if matches!(self.evidence, Evidence::AtLeast(_)) && self.notes.contains(&Note::FewSamples) {
            "log faster, or let a larger vessel empty through the circuit"
        } else if matches!(self.evidence, Evidence::AtLeast(_)) {
            "use wider hoses and couplings, or join the vessel to the circuit directly"
        } else if self.expected.is_none() {
            "compare with the pieces of a drawing, a clean baseline or a sister circuit, or take a flow reading"
        } else {
            "compare with a clean baseline or a sister circuit, or take a flow reading"
        }
    }
}

/// Three significant digits.
fn digits(value: f64) -> String {
    let places = if value >= 99.95 {
        0
    } else if value >= 9.995 {
        1
    } else if value >= 0.9995 {
        2
    } else if value >= 0.09995 {
        3
    } else {
        4
    };
    format!("{value:.places$}")
}

pub(super) fn judge(case: &Case<'_>) -> Finding {
    if let Evidence::Contradiction { .. } = case.evidence {
        let reason = format!("{}: the fixture's value or the volume is wrong", case.amount());
        return Finding::open(
            reason,
            "measure hoses and couplings joined together again, with the same vessel",
        );
    }
    if !case.fits {
        let reason =
            format!("{}, but the pressure did not fall as it does through a fixed opening", case.amount());
        return Finding::open(reason, "blow the circuit out and let the air out again");
    }
    match case.expected {
        Some(expected) => against(case, expected),
        None => alone(case),
    }
}

fn blocked(case: &Case<'_>, high: f64, limit: f64) -> Option<Finding> {
    let held = matches!(case.evidence, Evidence::AtMost(_));
    if held && high < limit {
        return Some(Finding::told(Verdict::Blocked, format!("the pressure holds: {}", case.amount())));
    }
    if held {
        let reason =
            format!("the pressure hardly fell, which may be a block or a narrow way: {}", case.amount());
        return Some(Finding::open(
            reason,
            "watch the pressure longer, until it has fallen by a tenth or a minute is over",
        ));
    }
    // A value so small that the air may as well leak out in front of a block.
    (high < limit).then(|| {
        let reason =
            format!("hardly anything passes, no more than a leak in front of a block: {}", case.amount());
        Finding::told(Verdict::Blocked, reason)
    })
}

fn against(case: &Case<'_>, expected: Expected) -> Finding {
    let should = expected.sonic_conductance_dm3_s_bar;
    let bounds = case.bounds(should.relative_standard());
    if let Some(finding) = blocked(case, bounds.high, NOT_BLOCKED_ABOVE * should.value) {
        return finding;
    }
    let compared = format!("{} against {} by {}", case.amount(), digits(should.value), expected.words());
    let share = bounds.middle.map(|middle| middle / should.value);
    if bounds.high < should.value && share.is_some_and(|share| share < IMMATERIAL) {
        let percent = share.map_or(100.0, |share| 100.0 * (1.0 - share));
        return Finding::told(
            Verdict::Restricted,
            format!("{compared}: {percent:.0} % less than it should be"),
        );
    }
    if bounds.low > TOLERATED_SHARE * should.value {
        let slow = bounds.middle.map_or(should.value, |middle| middle.min(should.value)) < case.narrow_below;
        return if slow {
            Finding::told(Verdict::NarrowByDesign, format!("slow, but as it should be: {compared}"))
        } else {
            Finding::told(Verdict::Free, compared)
        };
    }
    Finding::open(format!("{compared}: neither a loss nor its absence is shown"), case.better_reading())
}

fn alone(case: &Case<'_>) -> Finding {
    let bounds = case.bounds(0.0);
    if let Some(finding) = blocked(case, bounds.high, NOT_BLOCKED_ABOVE * case.narrow_below) {
        return finding;
    }
    if bounds.low > PLAINLY_OPEN * case.narrow_below {
        return Finding::told(Verdict::Free, format!("plainly open: {}", case.amount()));
    }
    Finding::open(
        format!(
            "{}, and nothing is known of what should: a narrow bore and an obstruction look alike",
            case.amount()
        ),
        case.better_reading(),
    )
}
