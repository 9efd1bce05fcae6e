//! The test that would tell most, given what is believed now.
//!
//! A test is worth the information that its outcome is expected to bring about the map. The outcome is the pattern of
//! watched circuits that rise and charged circuits that fall, each seen or not seen. Sets of paths that explain the readings so
//! far give the pattern of the suspects, whose entropy is taken over their weights; every path outside those sets counts
//! with its own probability, circuit by circuit (source key `cover-thomas`).

use core::f64::consts::LN_2;

use super::Leaks;
use super::design::Edge;
use super::prior::MEDIAN_MBAR_L_S;
use super::search::Found;
use crate::numeric::{math, stats};

/// Slope that a watched circuit shows, mbar/s.
const RISE_SEEN_MBAR_S: f64 = 0.02;
/// Slope that a charged circuit shows, mbar/s.
const FALL_SEEN_MBAR_S: f64 = 0.1;
/// Spread of the logarithm of rates, as in the prior.
const SPREAD_LN: f64 = 1.6;
/// Below this expectation, in bits, another test is not worth its minutes (own choice).
const LEAST_BITS: f64 = 0.12;

/// A test to be done.
#[derive(Clone, Debug, PartialEq)]
pub struct NextTest {
    /// Circuits to charge.
    pub charged: Vec<usize>,
    /// Circuits to vent, close and watch.
    pub watched: Vec<usize>,
    /// Circuits to leave open.
    pub open: Vec<usize>,
    /// How long it takes, with connecting and settling (own choice).
    pub minutes: f64,
    /// Expected information, bits.
    pub expected_bits: f64,
    /// Why this one.
    pub why: String,
}

/// The test with the largest expected information; nothing if none is worth its minutes.
pub(super) fn propose(leaks: &Leaks, found: &Found) -> Option<NextTest> {
    let count = leaks.circuits.len();
    let worth = Worth::new(leaks, found);
    let mut best: Option<(f64, Vec<usize>, Vec<usize>)> = None;
    for charged in candidates(count, found) {
        let Some(watched) = worth.watched(&charged, leaks.ports) else { continue };
        let bits = worth.bits(&charged, &watched);
        let fewer = |known: &Vec<usize>| charged.len() < known.len();
        let better = best.as_ref().is_none_or(|(so_far, known, _)| {
            bits > so_far + 1e-3 || ((bits - so_far).abs() <= 1e-3 && fewer(known))
        });
        if better {
            best = Some((bits, charged, watched));
        }
    }
    let (bits, charged, watched) = best.filter(|(bits, _, _)| *bits > LEAST_BITS)?;
    let open: Vec<usize> =
        (0..count).filter(|place| !charged.contains(place) && !watched.contains(place)).collect();
    let largest_l = charged
        .iter()
        .chain(&watched)
        .map(|place| found.design.circuits[*place].volume_l)
        .fold(0.0, f64::max);
    let minutes = if charged.len() > 1 { 5.0 } else { 4.0 } + if largest_l > 1.0 { 2.0 } else { 0.0 };
    let why = why(leaks, found, &charged, &watched);
    Some(NextTest { charged, watched, open, minutes, expected_bits: bits, why })
}

/// Charged circuits of the tests that are considered: all, halves by each digit of the circuit's number and their
/// opposites, halves of the suspects, and each alone.
fn candidates(count: usize, found: &Found) -> Vec<Vec<usize>> {
    let mut list = vec![(0..count).collect::<Vec<usize>>()];
    let mut digit = 1;
    while digit < count {
        for side in [true, false] {
            list.push((0..count).filter(|place| (place & digit != 0) == side).collect());
        }
        digit *= 2;
    }
    let mut suspects: Vec<usize> = (0..count).filter(|place| suspicion(found, *place) > 0.1).collect();
    suspects.sort_by(|a, b| suspicion(found, *b).total_cmp(&suspicion(found, *a)).then(a.cmp(b)));
    list.push(suspects.iter().copied().step_by(2).collect());
    list.push(suspects.iter().copied().skip(1).step_by(2).collect());
    list.extend((0..count).map(|place| vec![place]));
    list.retain(|charged| !charged.is_empty());
    list.iter_mut().for_each(|charged| charged.sort_unstable());
    list
}

/// How unsure it is what leaks at a circuit.
fn suspicion(found: &Found, place: usize) -> f64 {
    found
        .chances
        .iter()
        .filter(|(edge, _)| edge.0 == place || edge.1 == place)
        .map(|(_, chance)| chance.probability * (1.0 - chance.probability))
        .sum()
}

struct Worth<'a> {
    found: &'a Found,
    volumes_l: Vec<f64>,
    /// Paths that no set holds, with their probability.
    apart: Vec<(Edge, f64)>,
    neighbours: Vec<Vec<(usize, f64)>>,
}

impl<'a> Worth<'a> {
    fn new(leaks: &Leaks, found: &'a Found) -> Self {
        let count = leaks.circuits.len();
        let in_sets =
            |edge: &Edge| found.sets.iter().any(|(_, set)| set.iter().any(|(other, _)| other == edge));
        let apart: Vec<(Edge, f64)> = found
            .chances
            .iter()
            .filter(|(edge, _)| !in_sets(edge))
            .map(|(edge, chance)| (*edge, chance.probability))
            .collect();
        let mut neighbours = vec![Vec::new(); count];
        for (edge, probability) in &apart {
            for (circuit, other) in edge.sides() {
                neighbours[circuit].push((other, *probability));
            }
        }
        let volumes_l = found.design.circuits.iter().map(|sums| sums.volume_l).collect();
        Self { found, volumes_l, apart, neighbours }
    }

    /// Which of the other circuits to watch: all, or as many as there are ports left, those with the likeliest paths.
    fn watched(&self, charged: &[usize], ports: Option<usize>) -> Option<Vec<usize>> {
        let most = ports.unwrap_or(usize::MAX).checked_sub(charged.len())?;
        let mut others: Vec<usize> =
            (0..self.volumes_l.len()).filter(|place| !charged.contains(place)).collect();
        let doubt = |place: usize| -> f64 {
            charged
                .iter()
                .map(|from| {
                    let edge = Edge((*from).min(place), (*from).max(place));
                    let probability = self.found.chances.get(&edge).map_or(0.0, |chance| chance.probability);
                    probability * (1.0 - probability)
                })
                .sum()
        };
        if others.len() > most {
            others.sort_by(|a, b| doubt(*b).total_cmp(&doubt(*a)).then(a.cmp(b)));
            others.truncate(most);
            others.sort_unstable();
        }
        Some(others)
    }

    fn bits(&self, charged: &[usize], watched: &[usize]) -> f64 {
        let role = |place: usize| {
            if charged.contains(&place) {
                Role::Charged
            } else if watched.contains(&place) {
                Role::Watched
            } else {
                Role::Open
            }
        };
        let roles: Vec<Role> = (0..self.volumes_l.len()).map(role).collect();
        let mut patterns: Vec<(Vec<bool>, f64)> = Vec::new();
        for (weight, set) in &self.found.sets {
            let pattern = self.pattern(set, &roles);
            match patterns.iter_mut().find(|(known, _)| *known == pattern) {
                Some((_, sum)) => *sum += weight,
                None => patterns.push((pattern, *weight)),
            }
        }
        let suspects: f64 = patterns.iter().map(|(_, weight)| -weight * math::ln(weight.max(1e-300))).sum();
        let apart: f64 = if self.apart.is_empty() {
            0.0
        } else {
            (0..roles.len()).map(|place| entropy(self.stirs(place, &roles))).sum()
        };
        (suspects + apart) / LN_2
    }

    /// Which circuits would be seen to move if just these paths were there.
    fn pattern(&self, set: &[(Edge, f64)], roles: &[Role]) -> Vec<bool> {
        let mut slopes = vec![0.0; roles.len()];
        for (edge, rate) in set {
            for (circuit, other) in edge.sides() {
                if driven(*edge, circuit, other, roles) {
                    slopes[circuit] += rate / self.volumes_l[circuit];
                }
            }
        }
        let seen = |(slope, role): (&f64, &Role)| role.shows(*slope);
        slopes.iter().zip(roles).map(seen).collect()
    }

    /// Probability that a circuit moves because of a path that no set holds.
    fn stirs(&self, place: usize, roles: &[Role]) -> f64 {
        let Some(role) = roles.get(place).filter(|role| **role != Role::Open) else { return 0.0 };
        let needed = role.needed() * self.volumes_l[place];
        let seen = stats::normal_below(math::ln(MEDIAN_MBAR_L_S / needed) / SPREAD_LN);
        let still: f64 = self.neighbours[place]
            .iter()
            .filter(|(other, _)| {
                let edge = Edge(place.min(*other), place.max(*other));
                // A path into a watched circuit is seen there; its sender says nothing new.
                driven(edge, place, *other, roles)
                    && (*role == Role::Watched || roles[*other] != Role::Watched || edge.is_outside())
            })
            .map(|(_, probability)| 1.0 - probability * seen)
            .product();
        1.0 - still
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Role {
    Charged,
    Watched,
    Open,
}

impl Role {
    const fn needed(self) -> f64 {
        match self {
            Self::Charged => FALL_SEEN_MBAR_S,
            Self::Watched | Self::Open => RISE_SEEN_MBAR_S,
        }
    }

    fn shows(self, slope: f64) -> bool {
        self != Self::Open && slope > self.needed()
    }
}

/// Whether air passes along a path in a test, as its end at `circuit` sees it.
fn driven(edge: Edge, circuit: usize, other: usize, roles: &[Role]) -> bool {
    if edge.is_outside() {
        return roles[circuit] == Role::Charged;
    }
    (roles[circuit] == Role::Charged) != (roles[other] == Role::Charged)
}

/// Entropy of a yes or no, in natural units.
fn entropy(probability: f64) -> f64 {
    let part = |p: f64| if p > 0.0 { -p * math::ln(p) } else { 0.0 };
    part(probability) + part(1.0 - probability)
}

fn why(leaks: &Leaks, found: &Found, charged: &[usize], watched: &[usize]) -> String {
    let name = |place: usize| leaks.circuits.get(place).map_or("", |circuit| circuit.id.as_str());
    let open: Vec<String> = found
        .chances
        .iter()
        .filter(|(edge, chance)| {
            let one_end = charged.contains(&edge.0) || charged.contains(&edge.1);
            let doubtful = (0.05..0.95).contains(&chance.probability);
            one_end && doubtful && chance.probability > 1.5 * found.prior.probability(edge.is_outside())
        })
        .take(4)
        .map(|(edge, chance)| {
            let to = if edge.is_outside() { "the outside" } else { name(edge.1) };
            format!("{} and {to} ({:.0} %)", name(edge.0), chance.probability * 100.0)
        })
        .collect();
    if !open.is_empty() {
        return format!("Decides about {}", open.join(", "));
    }
    if watched.is_empty() {
        return "With all charged nothing passes between circuits: what falls leaks to the outside"
            .to_owned();
    }
    let tested =
        if found.design.tests() == 0 { "Nothing tested yet" } else { "No path is suspected there yet" };
    let (from, to) = (charged.len(), watched.len());
    let circuits = |count: usize| if count == 1 { "circuit" } else { "circuits" };
    format!(
        "{tested}: tells whether any of {from} {} leaks into any of {to} {}",
        circuits(from),
        circuits(to)
    )
}
