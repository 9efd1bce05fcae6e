//! Reference cases: outside checks as text, run against the public face of the calculators.
//!
//! A case file stands in the folder of its topic and holds `[[case]]` and `[[sweep]]` tables. Every case says of
//! what kind it is, where its values come from, and why its tolerance is what it is.

mod read;
mod run;

pub use read::{case_file, load_cases};
pub use run::{report, run_case};

use calc::form::Value;

/// Where a check's values come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum CheckKind {
    /// A source prints them.
    Published,
    /// Another program computed them.
    ReferenceLibrary,
    /// Common practice, no source.
    Trade,
    /// They hold by mathematics.
    Identity,
    /// Our own earlier output; never counted as validation.
    Pinned,
}

impl CheckKind {
    const WORDS: &'static [&'static str] = &["published", "reference-library", "trade", "identity", "pinned"];

    /// The word of the case file.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Published => "published",
            Self::ReferenceLibrary => "reference-library",
            Self::Trade => "trade",
            Self::Identity => "identity",
            Self::Pinned => "pinned",
        }
    }

    fn from_word(word: &str) -> Option<Self> {
        [Self::Published, Self::ReferenceLibrary, Self::Trade, Self::Identity, Self::Pinned]
            .into_iter()
            .find(|kind| kind.word() == word)
    }
}

/// One reference case.
#[derive(Clone, Debug, PartialEq)]
pub struct Case {
    /// Topic, the folder's name.
    pub topic: String,
    /// Title, one of its kind in its topic.
    pub title: String,
    /// Where the values come from.
    pub kind: CheckKind,
    /// Key in `data/sources.bib`.
    pub source: String,
    /// Table, page, equation, or package, version and call.
    pub place: String,
    /// Why this tolerance; empty for a refusal.
    pub because: String,
    /// Whether a published value is quoted from memory.
    pub memory: bool,
    /// The calculator that is checked.
    pub calculator: String,
    /// Where the case stands: file and line.
    pub stands_at: String,
    /// What is checked.
    pub check: Check,
}

/// What a case checks.
#[derive(Clone, Debug, PartialEq)]
pub enum Check {
    /// Outputs of one input.
    Values {
        /// Input.
        input: Value,
        /// Expected outputs.
        expect: Vec<Expected>,
    },
    /// An input that must be refused.
    Refusal {
        /// Input.
        input: Value,
        /// Fields that must be named.
        fields: Vec<String>,
    },
    /// Many inputs, whose deviations are bounded together.
    Sweep {
        /// Inputs and expected outputs.
        points: Vec<Point>,
        /// Bounds of the relative deviations.
        bounds: Bounds,
    },
}

/// An expected output.
#[derive(Clone, Debug, PartialEq)]
pub struct Expected {
    /// Path of the output, such as `links.0.flow_l_min`.
    pub path: String,
    /// Expected value.
    pub value: Value,
    /// How far a number may be off; words and flags must be equal.
    pub tolerance: Tolerance,
}

/// How far a number may be off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Tolerance {
    /// By this share of the expected number.
    Relative(f64),
    /// By this much, in the output's unit.
    Absolute(f64),
}

/// One row of a sweep.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Line of the CSV file.
    pub line: u64,
    /// Input.
    pub input: Value,
    /// Paths and expected values.
    pub expect: Vec<(String, Value)>,
}

/// Bounds of relative deviations.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Bounds {
    /// Of the median.
    pub median: Option<f64>,
    /// Of the 99 % quantile.
    pub p99: Option<f64>,
    /// Of the largest.
    pub max: Option<f64>,
}

/// Median, 99 % quantile and largest relative deviation of a sweep.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Median.
    pub median: f64,
    /// 99 % quantile.
    pub p99: f64,
    /// Largest.
    pub max: f64,
}

/// One compared number or word.
#[derive(Clone, Debug, PartialEq)]
pub struct Deviation {
    /// Path of the output, with the line for a sweep.
    pub what: String,
    /// Expected value.
    pub expected: Value,
    /// What the calculator gave; nothing if it gave none.
    pub found: Value,
    /// Deviation in shares of what is allowed: at most 1 passes. In a sweep, allowed is the bound of the largest
    /// deviation, or the widest bound given.
    pub share: f64,
}

/// How a case came out.
#[derive(Clone, Debug, PartialEq)]
pub struct Outcome {
    /// Topic.
    pub topic: String,
    /// Title.
    pub title: String,
    /// Where the values come from.
    pub kind: CheckKind,
    /// Key in `data/sources.bib`.
    pub source: String,
    /// Place in the source.
    pub place: String,
    /// Why this tolerance.
    pub because: String,
    /// Whether a published value is quoted from memory.
    pub memory: bool,
    /// The calculator that was checked.
    pub calculator: String,
    /// Numbers and words compared.
    pub points: usize,
    /// Worst deviation in shares of what is allowed: at most 1 passes.
    pub worst: f64,
    /// Every comparison, worst first.
    pub deviations: Vec<Deviation>,
    /// Spread of a sweep.
    pub spread: Option<Spread>,
    /// What kept the comparison from being made.
    pub problems: Vec<String>,
    /// Whether everything is within tolerance.
    pub passed: bool,
}
