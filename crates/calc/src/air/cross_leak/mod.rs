//! The leak map of a mould: which circuits leak into one another or to the outside, from tests in which some circuits
//! are charged with air and others are closed and watched.
//!
//! Every circuit obeys `V dp/dt = -sum g_ij (p_i^2 - p_j^2) / D`, the law of a narrow crack, with the outside as one
//! more neighbour (source keys `astm-e2930` for the pressure law, `en-13184` for the pressure-change method). A
//! straight line's slope of the logged pressure is the same combination of the time integrals of the *measured*
//! pressures, so circuits that equalise need no special care and the model is linear in the rates. Settling air, drift
//! and poorly known volumes are nuisances with stated priors. Paths are chosen by their Bayesian evidence.
//!
//! Range: at most [`MOST_CIRCUITS`] circuits, tests from 0.2 to 16 bar (gauge). Errors: see [`CrossLeakError`].

mod answer;
mod design;
mod fit;
mod next_test;
mod opening;
mod prior;
mod search;
mod windows;

pub use answer::{CrossLeaks, LISTED, Path};
pub use next_test::NextTest;

use crate::limits::{OutOfRange, within};
use crate::quantity::{AbsolutePressure, Duration, GaugePressure, PressureDrop, Volume};

/// Most circuits that one map takes.
pub const MOST_CIRCUITS: usize = 40;
/// Volume of a circuit with hoses of which nobody knows anything, ml (own choice).
pub const UNKNOWN_VOLUME_ML: f64 = 250.0;
/// Standard deviation of the logarithm of such a volume: a factor of 2.2 either way (own choice).
pub const UNKNOWN_VOLUME_LN: f64 = 0.8;
/// Relative standard uncertainty of a volume that comes without one (own choice).
pub const USUAL_VOLUME_RELATIVE: f64 = 0.05;

/// One circuit of the mould.
#[derive(Clone, Debug, PartialEq)]
pub struct Circuit {
    /// Its name.
    pub id: String,
    /// Volume of air between the shut valves, hoses included; `None` if nobody knows.
    pub volume: Option<Volume>,
    /// Relative standard uncertainty of the volume; 5 % unless told otherwise.
    pub volume_relative: Option<f64>,
}

/// What the gauge of a circuit showed.
#[derive(Clone, Debug, PartialEq)]
pub enum Seen {
    /// Logged: seconds and bar (gauge), of equal length, times rising.
    Logged(Vec<f64>, Vec<f64>),
    /// Read twice.
    Twice {
        /// At the start.
        start: GaugePressure,
        /// At the end.
        end: GaugePressure,
        /// Time between.
        time: Duration,
    },
}

/// One charged-and-watched test. Circuits are places in [`Leaks::circuits`]; one that is named nowhere counts as vented.
#[derive(Clone, Debug, PartialEq)]
pub struct Test {
    /// Charged, then shut off.
    pub charged: Vec<usize>,
    /// Closed at the air's pressure and watched.
    pub watched: Vec<usize>,
    /// What was seen in charged and watched circuits. A charged one without a reading counts as holding the pressure of
    /// the other charged ones.
    pub seen: Vec<(usize, Seen)>,
    /// Seconds on supply before the charged circuits were shut off.
    pub hold: Duration,
}

/// The gauges, between two of their own readings: gain and zero cancel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gauges {
    /// Standard uncertainty of one reading against another, where two readings were taken by eye.
    pub by_eye: PressureDrop,
    /// Smallest step that they show.
    pub step: PressureDrop,
    /// Standard deviation of the slope, mbar/s, of a watched circuit without a leak.
    pub watched_drift_mbar_s: f64,
}

impl Default for Gauges {
    fn default() -> Self {
        Self {
            by_eye: PressureDrop::from_mbar(10.0),
            step: PressureDrop::from_mbar(0.0),
            watched_drift_mbar_s: 0.006,
        }
    }
}

/// All tests of a mould.
#[derive(Clone, Debug, PartialEq)]
pub struct Leaks {
    /// Circuits.
    pub circuits: Vec<Circuit>,
    /// Tests.
    pub tests: Vec<Test>,
    /// Pressure of the surrounding air.
    pub atmosphere: AbsolutePressure,
    /// Pressure of charged circuits that no gauge saw.
    pub pressure: GaugePressure,
    /// Gauges.
    pub gauges: Gauges,
    /// How many circuits can be charged or watched at once; `None`: all.
    pub ports: Option<usize>,
}

/// Why no map follows.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CrossLeakError {
    /// A number is outside its range.
    #[error(transparent)]
    Range(#[from] OutOfRange),
    /// Too few or too many circuits.
    #[error("{count} circuits, but the map takes 1 to {MOST_CIRCUITS}; split the mould by halves")]
    Circuits {
        /// How many were given.
        count: usize,
    },
    /// A test names a circuit that is not there.
    #[error("test {test} names circuit {place}, but there are {count}; check the tests")]
    Stranger {
        /// Test, from 0.
        test: usize,
        /// Place of the circuit.
        place: usize,
        /// Number of circuits.
        count: usize,
    },
    /// A circuit that is charged and watched in one test.
    #[error("test {test} has circuit {place} charged and watched; name it once")]
    Both {
        /// Test, from 0.
        test: usize,
        /// Place of the circuit.
        place: usize,
    },
    /// A test in which nothing is charged.
    #[error("test {test} charges no circuit; name at least one")]
    NothingCharged {
        /// Test, from 0.
        test: usize,
    },
    /// A reading that no slope follows from.
    #[error(
        "test {test}, circuit {place}: no slope follows from the reading; give three samples or more with rising times"
    )]
    NoSlope {
        /// Test, from 0.
        test: usize,
        /// Place of the circuit.
        place: usize,
    },
}

/// The leak map with the probability and rate of each path, and the test that would tell most.
///
/// # Errors
/// [`CrossLeakError`] for values out of range and tests that contradict themselves.
pub fn cross_leak(leaks: &Leaks) -> Result<CrossLeaks, CrossLeakError> {
    check(leaks)?;
    let prior = prior::Prior::for_circuits(leaks.circuits.len());
    let blocks = windows::blocks(leaks)?;
    let found = search::search(design::Design::new(leaks, blocks), &prior);
    let next = next_test::propose(leaks, &found);
    Ok(answer::answer(leaks, &found, next))
}

/// The fallback: what to do with a gauge, a watch and no advice (common practice, no source).
#[must_use]
pub fn naive_plan(circuits: usize) -> String {
    format!(
        "Without advice: charge each circuit alone, all others vented, closed and watched ({circuits} tests). The rise of \
         a neighbour is a path into it; a fall that no neighbour takes up gets out. A circuit that is charged together \
         with all others and still falls leaks to the outside."
    )
}

fn check(leaks: &Leaks) -> Result<(), CrossLeakError> {
    let count = leaks.circuits.len();
    if count == 0 || count > MOST_CIRCUITS {
        return Err(CrossLeakError::Circuits { count });
    }
    within("atmosphere_bar_abs", leaks.atmosphere.bar(), 0.5, 1.2, "bar")?;
    within("pressure_bar_g", leaks.pressure.bar(), 0.2, 16.0, "bar")?;
    for circuit in &leaks.circuits {
        if let Some(volume) = circuit.volume {
            within("volume_ml", volume.ml(), 0.1, 1e6, "ml")?;
        }
        if let Some(relative) = circuit.volume_relative {
            within("volume_uncertainty_percent", relative * 100.0, 0.0, 200.0, "%")?;
        }
    }
    for (test, one) in leaks.tests.iter().enumerate() {
        if one.charged.is_empty() {
            return Err(CrossLeakError::NothingCharged { test });
        }
        let named = one.charged.iter().chain(&one.watched).chain(one.seen.iter().map(|(place, _)| place));
        if let Some(place) = named.copied().find(|place| *place >= count) {
            return Err(CrossLeakError::Stranger { test, place, count });
        }
        if let Some(place) = one.charged.iter().copied().find(|place| one.watched.contains(place)) {
            return Err(CrossLeakError::Both { test, place });
        }
        within("hold_s", one.hold.s(), 0.0, 3600.0, "s")?;
    }
    Ok(())
}

#[cfg(test)]
mod tests;
