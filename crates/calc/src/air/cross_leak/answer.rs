//! From the search to what is said.

use super::Leaks;
use super::design::Edge;
use super::next_test::NextTest;
use super::search::{Chance, Found};
use crate::estimate::{Estimate, Z95};

/// Paths below this probability are not listed; one that is listed may not be called tight.
pub const LISTED: f64 = 0.05;
/// Relative standard uncertainty that the law of the leak adds to every rate (own choice).
const LAW_RELATIVE: f64 = 0.01;

/// One path.
#[derive(Clone, Debug, PartialEq)]
pub struct Path {
    /// Place of the circuit at the higher pressure in the test that drove the path hardest.
    pub from: usize,
    /// Place of the other circuit; `None`: the outside.
    pub to: Option<usize>,
    /// Rate at 7 bar absolute against the surrounding air, 20 degC, if the path is there, mbar·l/s (95 %).
    pub rate_mbar_l_s: Estimate,
    /// Probability that the path is there.
    pub probability: f64,
    /// Pressure difference in bar below which the path is shut, if the readings show one.
    pub opens_above_bar: Option<f64>,
}

/// Relative standard uncertainty of the rate of a path that opens only above a pressure: where it shuts is known roughly.
const OPENING_RELATIVE: f64 = 0.15;

/// The leak map.
#[derive(Clone, Debug, PartialEq)]
pub struct CrossLeaks {
    /// Paths of at least [`LISTED`] probability that the readings made likelier than they were, most probable first.
    pub paths: Vec<Path>,
    /// The test that would tell most; `None` when nothing is left to find.
    pub next_test: Option<NextTest>,
    /// Pairs of circuits between which no test could have shown a leak of 0.3 mbar·l/s, as places.
    pub untested: Vec<(usize, usize)>,
    /// Circuits whose pressures follow from no set of paths: a leak of another law, a wrong volume, a mixed-up hose.
    pub unexplained: Vec<usize>,
    /// Probability of each pair and of each way out (both places equal), in the order of circuits.
    pub probabilities: Vec<(usize, usize, f64)>,
}

impl CrossLeaks {
    /// Probability that these two circuits leak into one another.
    #[must_use]
    pub fn probability_across(&self, a: usize, b: usize) -> f64 {
        let wanted = (a.min(b), a.max(b));
        self.probabilities.iter().find(|(one, two, _)| (*one, *two) == wanted).map_or(0.0, |(_, _, p)| *p)
    }
}

pub(super) fn answer(leaks: &Leaks, found: &Found, next_test: Option<NextTest>) -> CrossLeaks {
    let design = &found.design;
    let mut paths: Vec<Path> = found
        .chances
        .iter()
        .filter(|(edge, chance)| {
            let before = found.prior.probability(edge.is_outside());
            chance.probability >= LISTED.max(1.02 * before)
        })
        .map(|(edge, chance)| path(found, *edge, chance))
        .collect();
    // Probabilities that differ by less than a thousandth do not decide the order.
    let rank = |path: &Path| (path.probability * 1000.0).round();
    paths.sort_by(|a, b| rank(b).total_cmp(&rank(a)).then((a.from, a.to).cmp(&(b.from, b.to))));
    let pairs = || Edge::all(leaks.circuits.len()).filter(|edge| !edge.is_outside());
    CrossLeaks {
        paths,
        next_test,
        untested: pairs().filter(|edge| !design.was_tested(*edge)).map(|edge| (edge.0, edge.1)).collect(),
        unexplained: found.unexplained.clone(),
        probabilities: found
            .chances
            .iter()
            .map(|(edge, chance)| (edge.0, edge.1, chance.probability))
            .collect(),
    }
}

fn path(found: &Found, edge: Edge, chance: &Chance) -> Path {
    let from = found.design.driven_from(edge).unwrap_or(edge.0);
    let other = if from == edge.0 { edge.1 } else { edge.0 };
    let opens = found.design.opens.iter().find(|(known, _)| *known == edge).map(|(_, bar)| *bar);
    Path {
        from: if edge.is_outside() { edge.0 } else { from },
        to: (!edge.is_outside()).then_some(other),
        rate_mbar_l_s: rate(chance, opens.map_or(LAW_RELATIVE, |_| OPENING_RELATIVE)),
        probability: chance.probability,
        opens_above_bar: opens,
    }
}

/// The interval of a rate: a factor either way where it is well known, otherwise cut off at zero.
fn rate(chance: &Chance, law: f64) -> Estimate {
    let value = chance.rate.max(0.0);
    let spread = (chance.spread * chance.spread + (law * value).powi(2)).sqrt();
    if value > 2.5 * spread {
        return Estimate::lognormal(value, spread / value);
    }
    Estimate { value, low: (value - Z95 * spread).max(0.0), high: value + Z95 * spread, coverage: 0.95 }
}
