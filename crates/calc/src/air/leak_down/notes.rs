//! What the reader of a leak rate should know, and what would make it surer.

use super::fit::Outcome;
use super::series::Series;
use super::{DecayData, LOW_START, LeakDownInput};
use crate::estimate::Z95;

/// A gauge pressure that falls by this share is called a gross leak.
const GROSS_SHARE: f64 = 0.10;

/// What makes the leak rate uncertain.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cause {
    /// Noise of the gauge.
    Noise,
    /// Steps of the gauge.
    Step,
    /// Drift of the gauge and of the day's air pressure.
    GaugeDrift,
    /// Temperature of mould and hoses.
    Temperature,
    /// Air in the bore that still settles.
    Settling,
    /// Hoses that give on heat and swell.
    Hose,
    /// Volume.
    Volume,
    /// Law of the leak: how its rate fell with the pressure before it was seen.
    Law,
    /// Model: gas temperature, gas and wall not in step.
    Model,
}

impl Cause {
    /// Short fixed word for programs.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Noise => "noise",
            Self::Step => "gauge-step",
            Self::GaugeDrift => "gauge-drift",
            Self::Temperature => "temperature",
            Self::Settling => "settling",
            Self::Hose => "hose",
            Self::Volume => "volume",
            Self::Law => "leak-law",
            Self::Model => "model",
        }
    }

    /// The further reading or change that would make this part smaller.
    #[must_use]
    pub const fn remedy(self) -> &'static str {
        match self {
            Self::Noise => "watch the pressure longer, or log it more often",
            Self::Step => "use a gauge with finer steps, or log the pressure",
            Self::GaugeDrift => "let the gauge warm up and blank it against a plug for a minute",
            Self::Temperature => {
                "log the temperature of the steel during the test, and let a warm mould rest"
            }
            Self::Settling => "hold the supply for longer before shutting it, and tell the bore",
            Self::Hose => {
                "use short stiff hoses, or shut valves at the mould, and hold the supply for longer"
            }
            Self::Volume => "measure the volume by letting air of a known vessel expand into the circuit",
            Self::Law => "hold the supply for longer, so that little pressure is lost while the air settles",
            Self::Model => "test at a second pressure",
        }
    }
}

/// Something the reader of a leak rate should know.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Note {
    /// Pressure rises more than drift explains.
    Rising,
    /// More than a tenth of the pressure is lost.
    GrossLeak,
    /// The circuit emptied before its air had settled: only roughly known.
    EmptiedFast,
    /// Empty at the second of two readings: a lower limit only.
    LowerLimit,
    /// The gauge never moved.
    GaugeNeverMoved,
    /// Started below common practice.
    LowStart {
        /// Pressure at the start.
        start_bar_g: f64,
    },
    /// Two readings only.
    TwoReadings,
    /// Nobody gave the bore.
    BoreUnknown,
    /// Nobody gave the share of hose.
    HoseUnknown,
    /// Nobody took a temperature.
    TemperatureUnknown,
    /// Single samples were left out.
    SpikesLeftOut {
        /// How many.
        count: usize,
    },
}

impl Note {
    /// Short fixed word for programs.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            Self::Rising => "pressure-rises",
            Self::GrossLeak => "gross-leak",
            Self::EmptiedFast => "emptied-fast",
            Self::LowerLimit => "lower-limit",
            Self::GaugeNeverMoved => "gauge-never-moved",
            Self::LowStart { .. } => "low-start",
            Self::TwoReadings => "two-readings",
            Self::BoreUnknown => "bore-unknown",
            Self::HoseUnknown => "hose-unknown",
            Self::TemperatureUnknown => "temperature-unknown",
            Self::SpikesLeftOut { .. } => "spikes-left-out",
        }
    }

    /// One sentence for people.
    #[must_use]
    pub fn text(&self) -> String {
        let fixed = match self {
            Self::LowStart { start_bar_g } => {
                return format!(
                    "The test began at {start_bar_g:.2} bar; common practice is about 6 bar and at least {} bar.",
                    LOW_START.bar()
                );
            }
            Self::SpikesLeftOut { count } => {
                return format!("{count} single samples stood far from their neighbours and were left out.");
            }
            Self::Rising => {
                "The pressure rises more than drift explains: the supply was not tight, or the circuit warms up. \
                 Shut the supply with a second valve, log the steel's temperature, and repeat."
            }
            Self::GrossLeak => {
                "More than a tenth of the pressure was lost: look for the leak before anything else."
            }
            Self::EmptiedFast => "The air was gone before it had settled: the rate is known only roughly.",
            Self::LowerLimit => {
                "The circuit was empty at the second reading: the rate is a lower limit, and its upper end only stands \
                 for 'not known'."
            }
            Self::GaugeNeverMoved => {
                "The gauge never moved, so its step is not known; its stated uncertainty was taken as the step."
            }
            Self::TwoReadings => {
                "From two readings settling and drift cannot be told from a leak; the value takes the whole fall for \
                 a leak, the interval allows for both. A logged pressure would tell."
            }
            Self::BoreUnknown => "The bore is not known: settling was looked for over bores of 6 to 30 mm.",
            Self::HoseUnknown => {
                "The share of hose is not known: up to about a third of the volume was allowed for."
            }
            Self::TemperatureUnknown => {
                "No temperature was taken: 20 degC and a drift of 0.1 K in a minute were allowed for."
            }
        };
        fixed.to_owned()
    }
}

/// Everything that applies.
pub(super) fn notes(
    input: &LeakDownInput<'_>,
    series: &Series,
    outcome: &Outcome,
    rate: f64,
    sd: f64,
) -> Vec<Note> {
    let start_bar_g = series.gauge_bar(series.start_mbar());
    let lost = 1.0 - series.gauge_bar(series.end_mbar()) / start_bar_g;
    let still = series.pressure_mbar.iter().all(|pressure| (pressure - series.start_mbar()).abs() < 1e-7);
    let (bore, hose) = (input.bore.is_none(), input.hose_volume.is_none());
    let temperature = input.wall_temperature.is_none() && !logs_temperature(input);
    // Two readings of one pressure may differ by a whole step of the gauge.
    let beyond_a_step =
        !series.two_readings || series.end_mbar() - series.start_mbar() > 1.01 * series.step_mbar;
    [
        (rate + Z95 * sd < 0.0 && beyond_a_step).then_some(Note::Rising),
        (lost > GROSS_SHARE && rate > input.limit.mbar_l_s()).then_some(Note::GrossLeak),
        series.emptied.then_some(Note::LowerLimit),
        outcome.fast.then_some(Note::EmptiedFast),
        (still && !series.two_readings).then_some(Note::GaugeNeverMoved),
        (start_bar_g < LOW_START.bar()).then_some(Note::LowStart { start_bar_g }),
        series.two_readings.then_some(Note::TwoReadings),
        bore.then_some(Note::BoreUnknown),
        hose.then_some(Note::HoseUnknown),
        temperature.then_some(Note::TemperatureUnknown),
        (series.spikes > 0).then_some(Note::SpikesLeftOut { count: series.spikes }),
    ]
    .into_iter()
    .flatten()
    .collect()
}

fn logs_temperature(input: &LeakDownInput<'_>) -> bool {
    match input.decay {
        DecayData::Trace(trace) => trace.temperature_deg_c.is_some(),
        DecayData::TwoReadings { .. } => false,
    }
}
