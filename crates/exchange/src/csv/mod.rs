//! Traces as loggers write them, read into [`calc::trace::Trace`].
//!
//! What is read: comma, semicolon or tab between fields; decimal point or comma; UTF-8, UTF-16 or Latin-1, with or
//! without byte-order mark; lines before the header; a row of units below it; quantities and units in English or
//! German; elapsed time or clock times, over midnight too; missing samples.
//!
//! What is decided for the reader, and reported as a [`Remark`]:
//! - samples with the same time stamp are averaged;
//! - a sample whose time steps back is left out, as long as that happens to few samples; otherwise the trace is
//!   refused, because nobody can tell how much time really passed;
//! - more than [`KEPT_SAMPLES`] samples are averaged in groups of neighbours;
//! - columns that are not needed and not understood are left out.
//!
//! What is refused, with a hint: a needed column without unit, a pressure that may be gauge or absolute, two columns
//! that may both be meant, thousands separators, text where a number should stand.

mod cell;
mod clock;
mod columns;
pub(crate) mod decode;
mod header;
mod reader;
mod reduce;
mod rows;
mod sniff;
mod units;

pub use reader::read_trace;
pub(crate) use reader::sensible_range;
pub use reduce::KEPT_SAMPLES;

use std::collections::BTreeMap;

use calc::form::Fault;
use calc::quantity::AbsolutePressure;

/// What a column holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Quantity {
    /// Time.
    Time,
    /// Pressure.
    Pressure,
    /// Flow.
    Flow,
    /// Temperature.
    Temperature,
}

impl Quantity {
    /// The word for messages.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Time => "time",
            Self::Pressure => "pressure",
            Self::Flow => "flow",
            Self::Temperature => "temperature",
        }
    }

    /// The name of our own column.
    #[must_use]
    pub const fn own_name(self) -> &'static str {
        match self {
            Self::Time => "time_s",
            Self::Pressure => "pressure_bar_g",
            Self::Flow => "flow_l_min",
            Self::Temperature => "temperature_deg_c",
        }
    }
}

/// What is wanted of a trace.
#[derive(Clone, Debug)]
pub struct Wanted {
    /// What columns hold, where somebody says so: header name to a name such as `pressure_bar_g`, `clock`, `ignore`.
    pub columns: BTreeMap<String, String>,
    /// The same for all traces of a visit; a name that a trace does not have is no fault.
    pub usual_columns: BTreeMap<String, String>,
    /// The quantity that must be there beside time.
    pub needed: Quantity,
    /// Pressure of the surrounding air, to turn absolute pressures into gauge pressures.
    pub atmosphere: AbsolutePressure,
}

/// One thing wrong with a trace.
#[derive(Clone, Debug, PartialEq)]
pub struct TraceFault {
    /// Line of the file, from 1.
    pub line: Option<u64>,
    /// Column, value, problem and hint.
    pub fault: Fault,
}

impl TraceFault {
    pub(crate) fn new(
        line: Option<u64>,
        column: &str,
        problem: impl Into<String>,
        hint: impl Into<String>,
    ) -> Self {
        Self { line, fault: Fault::new(column, problem, hint) }
    }

    pub(crate) fn with_value(self, value: impl Into<calc::form::Value>) -> Self {
        Self { fault: self.fault.with_value(value), ..self }
    }
}

/// Something the reader of a trace should know.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Remark {
    /// Short fixed word for programs.
    pub code: &'static str,
    /// Line of the file, from 1.
    pub line: Option<u64>,
    /// One sentence.
    pub text: String,
}
