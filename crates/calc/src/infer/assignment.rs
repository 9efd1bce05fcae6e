//! Which of several things is which: the best assignment of a matrix of log-likelihoods, and how sure it is.
//!
//! Row `i`, column `j` holds the log-likelihood of what was measured in place `i` if thing `j` is there. Each place has
//! one thing, each thing one place.

use std::collections::{BTreeMap, BTreeSet};

use crate::numeric::math;

/// Up to so many places all permutations are summed; beyond, those near the best and near the list.
pub const EXACT_UP_TO: usize = 8;
/// Most places.
pub const MOST: usize = 40;
/// A permutation whose weight is less than e^-40 of the best adds nothing in double precision.
const REACH_LN: f64 = 40.0;

/// Why a matrix cannot be weighed.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum AssignmentError {
    /// No row at all, or too many.
    #[error("{rows} rows, 1 to {MOST} can be weighed: give fewer at a time")]
    Size {
        /// Number of rows.
        rows: usize,
    },
    /// A row that is longer or shorter than the matrix is high.
    #[error("row {row} has {columns} columns instead of {wanted}: give a square matrix")]
    NotSquare {
        /// The row, from 0.
        row: usize,
        /// Its columns.
        columns: usize,
        /// The number of rows.
        wanted: usize,
    },
    /// A log-likelihood, or the prior, that is no finite number.
    #[error("row {row}, column {column} is no finite number: give a large negative one for what cannot be")]
    NotFinite {
        /// The row, from 0.
        row: usize,
        /// The column, from 0.
        column: usize,
    },
}

/// What a matrix of log-likelihoods says about who is where.
#[derive(Clone, Debug, PartialEq)]
pub struct Assignments {
    /// The most probable thing in each place, the prior counted.
    pub best: Vec<usize>,
    /// Sum of log-likelihoods and log-priors of the best.
    pub best_ln: f64,
    /// ln of the sum over all weighed permutations of likelihood times prior (1 for everything in its own place).
    pub total_ln: f64,
    /// Probability that nothing is misplaced.
    pub as_listed: f64,
    /// Probability of thing `j` in place `i`.
    pub shares: Vec<Vec<f64>>,
    /// Rings of misplaced things, with their probability: place `ring[k]` holds thing `ring[k + 1]`, the last place the
    /// first thing. The most probable first.
    pub rings: Vec<(Vec<usize>, f64)>,
    /// Whether every permutation was weighed.
    pub exact: bool,
}

impl Assignments {
    /// Probability that place `i` does not hold its own thing; 0 beyond the last place.
    #[must_use]
    pub fn elsewhere(&self, place: usize) -> f64 {
        let own = self.shares.get(place).and_then(|row| row.get(place)).copied().unwrap_or(1.0);
        (1.0 - own).max(0.0)
    }
}

/// The permutation with the largest sum, for a square matrix of finite numbers.
///
/// Shortest augmenting paths with potentials (Kuhn 1955, Munkres 1957; source key `kuhn-1955`), exact to rounding.
/// Written here because the assignment crates at hand take whole numbers.
///
/// # Errors
/// [`AssignmentError`] if the matrix is empty, too large, not square or not finite.
pub fn best_assignment(score: &[Vec<f64>]) -> Result<Vec<usize>, AssignmentError> {
    check(score)?;
    let count = score.len();
    // Column 0 is a stand-in for 'not yet placed'; rows and columns count from 1.
    let (mut of_row, mut of_column) = (vec![0.0; count + 1], vec![0.0; count + 1]);
    let mut row_in = vec![0_usize; count + 1];
    for row in 1..=count {
        let (mut least, mut from) = (vec![f64::INFINITY; count + 1], vec![0_usize; count + 1]);
        let mut done = vec![false; count + 1];
        row_in[0] = row;
        let mut column = 0;
        while row_in[column] != 0 || column == 0 {
            done[column] = true;
            let here = row_in[column];
            let (mut step, mut next) = (f64::INFINITY, 0);
            for other in (1..=count).filter(|other| !done[*other]) {
                let cost = -score[here - 1][other - 1] - of_row[here] - of_column[other];
                if cost < least[other] {
                    (least[other], from[other]) = (cost, column);
                }
                if least[other] < step {
                    (step, next) = (least[other], other);
                }
            }
            for other in 0..=count {
                if done[other] {
                    of_row[row_in[other]] += step;
                    of_column[other] -= step;
                } else {
                    least[other] -= step;
                }
            }
            column = next;
        }
        while column != 0 {
            row_in[column] = row_in[from[column]];
            column = from[column];
        }
    }
    let mut best = vec![0; count];
    for column in 1..=count {
        best[row_in[column] - 1] = column - 1;
    }
    Ok(best)
}

/// Weighs permutations: likelihood times `prior_ln` (a log-weight, 0 or less) for each thing that is not in its own
/// place. Up to [`EXACT_UP_TO`] places the sum is exact; beyond it runs over the list and the best assignment, and over
/// all single swaps and rings of three from each of them (own choice).
///
/// Bayes' rule on permutations (source key `own-arithmetic`).
///
/// # Errors
/// [`AssignmentError`] if the matrix is empty, too large, not square or not finite.
pub fn weigh(ln_likelihood: &[Vec<f64>], prior_ln: f64) -> Result<Assignments, AssignmentError> {
    check(ln_likelihood)?;
    if !prior_ln.is_finite() {
        return Err(AssignmentError::NotFinite { row: 0, column: 0 });
    }
    let count = ln_likelihood.len();
    let score: Vec<Vec<f64>> = ln_likelihood
        .iter()
        .enumerate()
        .map(|(i, row)| {
            row.iter().enumerate().map(|(j, ln)| if i == j { *ln } else { ln + prior_ln }).collect()
        })
        .collect();
    let best = best_assignment(&score)?;
    let best_ln = sum(&score, &best);
    let mut tally = Tally {
        best_ln,
        total: 0.0,
        as_listed: 0.0,
        shares: vec![vec![0.0; count]; count],
        rings: BTreeMap::new(),
    };
    let exact = count <= EXACT_UP_TO;
    if exact {
        let most: Vec<f64> =
            score.iter().map(|row| row.iter().copied().fold(f64::NEG_INFINITY, f64::max)).collect();
        descend(&score, &most, &mut vec![], 0.0, &mut tally);
    } else {
        let listed: Vec<usize> = (0..count).collect();
        let mut around = BTreeSet::new();
        near(&listed, &mut around);
        near(&best, &mut around);
        around.iter().for_each(|order| tally.add(order, sum(&score, order)));
    }
    Ok(tally.into_assignments(best, exact))
}

fn check(matrix: &[Vec<f64>]) -> Result<(), AssignmentError> {
    let rows = matrix.len();
    if rows == 0 || rows > MOST {
        return Err(AssignmentError::Size { rows });
    }
    for (row, entries) in matrix.iter().enumerate() {
        if entries.len() != rows {
            return Err(AssignmentError::NotSquare { row, columns: entries.len(), wanted: rows });
        }
        if let Some(column) = entries.iter().position(|entry| !entry.is_finite()) {
            return Err(AssignmentError::NotFinite { row, column });
        }
    }
    Ok(())
}

fn sum(score: &[Vec<f64>], order: &[usize]) -> f64 {
    score.iter().zip(order).map(|(row, column)| row[*column]).sum()
}

/// Every permutation that begins with `order`, unless even its best end is out of reach.
fn descend(score: &[Vec<f64>], most: &[f64], order: &mut Vec<usize>, so_far: f64, tally: &mut Tally) {
    let row = order.len();
    if row == score.len() {
        tally.add(order, so_far);
        return;
    }
    let rest: f64 = most.iter().skip(row + 1).sum();
    for column in 0..score.len() {
        let reached = so_far + score[row][column];
        if !order.contains(&column) && reached + rest > tally.best_ln - REACH_LN {
            order.push(column);
            descend(score, most, order, reached, tally);
            order.pop();
        }
    }
}

/// An order, and all that differ from it by one swap or one ring of three.
fn near(base: &[usize], around: &mut BTreeSet<Vec<usize>>) {
    around.insert(base.to_vec());
    let count = base.len();
    for a in 0..count {
        for b in a + 1..count {
            let mut swapped = base.to_vec();
            swapped.swap(a, b);
            for c in b + 1..count {
                for (from, to) in [(a, c), (b, c)] {
                    let mut ring = swapped.clone();
                    ring.swap(from, to);
                    around.insert(ring);
                }
            }
            around.insert(swapped);
        }
    }
}

struct Tally {
    best_ln: f64,
    total: f64,
    as_listed: f64,
    shares: Vec<Vec<f64>>,
    rings: BTreeMap<Vec<usize>, f64>,
}

impl Tally {
    fn add(&mut self, order: &[usize], ln: f64) {
        let weight = math::exp(ln - self.best_ln);
        self.total += weight;
        let mut moved = false;
        for (i, j) in order.iter().enumerate() {
            self.shares[i][*j] += weight;
            moved |= i != *j;
        }
        if !moved {
            self.as_listed += weight;
            return;
        }
        for ring in rings(order) {
            *self.rings.entry(ring).or_default() += weight;
        }
    }

    fn into_assignments(self, best: Vec<usize>, exact: bool) -> Assignments {
        let total = self.total;
        let mut rings: Vec<(Vec<usize>, f64)> =
            self.rings.into_iter().map(|(ring, weight)| (ring, weight / total)).collect();
        rings.sort_by(|a, b| b.1.total_cmp(&a.1));
        Assignments {
            best,
            best_ln: self.best_ln,
            total_ln: self.best_ln + math::ln(total),
            as_listed: self.as_listed / total,
            shares: self
                .shares
                .into_iter()
                .map(|row| row.into_iter().map(|weight| weight / total).collect())
                .collect(),
            rings,
            exact,
        }
    }
}

/// The rings of an order, each from its smallest place.
fn rings(order: &[usize]) -> Vec<Vec<usize>> {
    let mut seen = vec![false; order.len()];
    let mut found = Vec::new();
    for start in 0..order.len() {
        if seen[start] || order[start] == start {
            continue;
        }
        let (mut ring, mut place) = (Vec::new(), start);
        while !seen[place] {
            seen[place] = true;
            ring.push(place);
            place = order[place];
        }
        found.push(ring);
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(count: usize, seed: u64) -> Vec<Vec<f64>> {
        let mut state = seed;
        let mut next = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 33) as f64 / f64::from(u32::MAX) * 20.0 - 10.0
        };
        (0..count).map(|_| (0..count).map(|_| next()).collect()).collect()
    }

    fn every(count: usize) -> Vec<Vec<usize>> {
        if count == 0 {
            return vec![vec![]];
        }
        every(count - 1)
            .into_iter()
            .flat_map(|order| {
                (0..count).map(move |at| {
                    let mut longer = order.clone();
                    longer.insert(at, count - 1);
                    longer
                })
            })
            .collect()
    }

    #[test]
    fn the_best_is_the_best_of_all_permutations() {
        for seed in 1..40 {
            let score = noise(6, seed);
            let best = sum(&score, &best_assignment(&score).unwrap());
            let most = every(6).iter().map(|order| sum(&score, order)).fold(f64::NEG_INFINITY, f64::max);
            assert!((best - most).abs() < 1e-9, "seed {seed}: {best} and {most}");
        }
    }

    #[test]
    fn the_sum_is_that_of_all_permutations() {
        for seed in 1..10 {
            let score = noise(5, seed);
            let found = weigh(&score, -1.0).unwrap();
            let weight = |order: &[usize]| {
                let moved = order.iter().enumerate().filter(|(i, j)| i != *j).count();
                math::exp(sum(&score, order) - moved as f64)
            };
            let total: f64 = every(5).iter().map(|order| weight(order)).sum();
            assert!((found.total_ln - math::ln(total)).abs() < 1e-9);
            let held: f64 = every(5).iter().filter(|order| order[2] == 2).map(|order| weight(order)).sum();
            assert!((found.elsewhere(2) - (1.0 - held / total)).abs() < 1e-9);
        }
    }

    #[test]
    fn a_swap_among_many_is_found_as_one_ring() {
        let count = 12;
        let mut score = vec![vec![-20.0; count]; count];
        for (place, row) in score.iter_mut().enumerate() {
            row[place] = 0.0;
        }
        (score[3][3], score[7][7], score[3][7], score[7][3]) = (-20.0, -20.0, 0.0, 0.0);
        let found = weigh(&score, -3.0).unwrap();
        assert!(!found.exact);
        assert_eq!(found.rings[0].0, [3, 7]);
        assert!(found.rings[0].1 > 0.999 && found.elsewhere(3) > 0.999 && found.elsewhere(4) < 1e-6);
    }

    #[test]
    fn matrices_that_cannot_be_weighed_are_refused() {
        assert_eq!(weigh(&[], 0.0), Err(AssignmentError::Size { rows: 0 }));
        let ragged = vec![vec![0.0, 1.0], vec![0.0]];
        assert_eq!(
            best_assignment(&ragged),
            Err(AssignmentError::NotSquare { row: 1, columns: 1, wanted: 2 })
        );
        let gap = vec![vec![0.0, 0.0], vec![0.0, f64::NEG_INFINITY]];
        assert_eq!(best_assignment(&gap), Err(AssignmentError::NotFinite { row: 1, column: 1 }));
    }
}
