//! The linear system of a network step: sparse, symmetric, positive definite.

use nalgebra::DMatrix;
use nalgebra_sparse::factorization::{CscCholesky, CscSymbolicCholesky};
use nalgebra_sparse::{CooMatrix, CscMatrix};

/// Where a link's conductance goes in the matrix.
#[derive(Clone, Copy, Debug, Default)]
struct Slots {
    from: Option<usize>,
    to: Option<usize>,
    across: Option<(usize, usize)>,
}

/// The matrix of the unknown heads, ordered once and refilled in each step.
pub(super) struct System {
    /// Row of each node, for those whose head is unknown.
    rows: Vec<Option<usize>>,
    slots: Vec<Slots>,
    values: Vec<f64>,
    /// None if all heads are known.
    factor: Option<CscCholesky<f64>>,
    symbolic: Option<CscSymbolicCholesky>,
}

/// Orders unknown nodes so that neighbours stay close: breadth first from a node with few neighbours, reversed
/// (Cuthill and McKee 1969, George 1971). The factor then has few entries for grids and for stars.
fn order(unknown: &[bool], ends: &[(usize, usize)]) -> Vec<usize> {
    let mut neighbours = vec![Vec::new(); unknown.len()];
    for &(from, to) in ends {
        if unknown[from] && unknown[to] {
            neighbours[from].push(to);
            neighbours[to].push(from);
        }
    }
    let mut by_degree: Vec<usize> = (0..unknown.len()).filter(|&node| unknown[node]).collect();
    by_degree.sort_by_key(|&node| (neighbours[node].len(), node));
    let mut seen = vec![false; unknown.len()];
    let mut queue = Vec::with_capacity(by_degree.len());
    for start in by_degree {
        if seen[start] {
            continue;
        }
        seen[start] = true;
        let mut next = queue.len();
        queue.push(start);
        while next < queue.len() {
            let mut near: Vec<usize> = neighbours[queue[next]].clone();
            near.sort_by_key(|&node| (neighbours[node].len(), node));
            for node in near {
                if !seen[node] {
                    seen[node] = true;
                    queue.push(node);
                }
            }
            next += 1;
        }
    }
    queue.reverse();
    queue
}

impl System {
    /// Prepares the matrix; `ends` are the nodes of each link, which the caller has checked to be there.
    pub fn new(unknown: &[bool], ends: &[(usize, usize)]) -> Self {
        let order = order(unknown, ends);
        let mut rows = vec![None; unknown.len()];
        for (row, &node) in order.iter().enumerate() {
            rows[node] = Some(row);
        }
        if order.is_empty() {
            return Self { rows, slots: Vec::new(), values: Vec::new(), factor: None, symbolic: None };
        }
        let mut coo = CooMatrix::new(order.len(), order.len());
        for row in 0..order.len() {
            coo.push(row, row, 1.0);
        }
        for &(from, to) in ends {
            if let (Some(i), Some(j)) = (rows[from], rows[to]) {
                coo.push(i, j, 1.0);
                coo.push(j, i, 1.0);
            }
        }
        let matrix = CscMatrix::from(&coo);
        let pattern = matrix.pattern().clone();
        let slot = |row: usize, column: usize| {
            let place = pattern.lane(column).iter().position(|&found| found == row);
            place.map_or(0, |place| pattern.major_offsets()[column] + place)
        };
        let slots = ends
            .iter()
            .map(|&(from, to)| Slots {
                from: rows[from].map(|row| slot(row, row)),
                to: rows[to].map(|row| slot(row, row)),
                across: rows[from].zip(rows[to]).map(|(i, j)| (slot(i, j), slot(j, i))),
            })
            .collect();
        let values = vec![0.0; matrix.nnz()];
        let symbolic = Some(CscSymbolicCholesky::factor(pattern));
        Self { rows, slots, values, factor: None, symbolic }
    }

    /// Row of a node whose head is unknown.
    pub fn row(&self, node: usize) -> Option<usize> {
        self.rows[node]
    }

    /// Unknown heads from the links' conductances and the right side; none if the matrix is not positive definite.
    pub fn solve(&mut self, conductances: &[f64], right: &[f64]) -> Option<Vec<f64>> {
        if right.is_empty() {
            return Some(Vec::new());
        }
        self.values.fill(0.0);
        for (slots, conductance) in self.slots.iter().zip(conductances) {
            for slot in [slots.from, slots.to].into_iter().flatten() {
                self.values[slot] += conductance;
            }
            if let Some((upper, lower)) = slots.across {
                self.values[upper] -= conductance;
                self.values[lower] -= conductance;
            }
        }
        match &mut self.factor {
            Some(factor) => factor.refactor(&self.values).ok()?,
            None => {
                let symbolic = self.symbolic.take()?;
                self.factor = Some(CscCholesky::factor_numerical(symbolic, &self.values).ok()?);
            }
        }
        let right = DMatrix::from_column_slice(right.len(), 1, right);
        Some(self.factor.as_ref()?.solve(&right).as_slice().to_vec())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_ladder_of_equal_conductors() {
        // By hand: three equal conductors in a row between heads 3 and 0 give 2 and 1.
        let ends = [(0, 1), (1, 2), (2, 3)];
        let mut system = System::new(&[false, true, true, false], &ends);
        let mut right = vec![0.0; 2];
        right[system.row(1).unwrap()] = 3.0 * 2.0;
        for _ in 0..2 {
            let heads = system.solve(&[2.0; 3], &right).unwrap();
            assert!((heads[system.row(1).unwrap()] - 2.0).abs() < 1e-14);
            assert!((heads[system.row(2).unwrap()] - 1.0).abs() < 1e-14);
        }
    }

    #[test]
    fn a_matrix_without_a_known_head_is_refused() {
        let mut system = System::new(&[true, true], &[(0, 1)]);
        assert_eq!(system.solve(&[1.0], &[1.0, -1.0]), None);
    }
}
