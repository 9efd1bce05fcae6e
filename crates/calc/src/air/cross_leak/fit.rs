//! The best rates for a given set of paths, and the evidence for the set.

use nalgebra::{DMatrix, DVector};

use super::design::{Design, Edge};
use super::prior::Prior;
use crate::numeric::math;

/// Steps of Gauss and Newton; a known volume needs two or three.
const STEPS: usize = 14;
/// Largest step of a volume's logarithm.
const VOLUME_STEP: f64 = 0.7;

/// A set of paths with its best rates.
#[derive(Clone, Debug)]
pub(super) struct Fit {
    pub(super) edges: Vec<Edge>,
    /// Rates, mbar l/s; may be negative.
    pub(super) rates: Vec<f64>,
    /// Standard uncertainties of the rates.
    pub(super) spreads: Vec<f64>,
    /// Logarithm of each circuit's volume against what was stated.
    pub(super) volumes_ln: Vec<f64>,
    /// Logarithm of the evidence, prior odds of the paths included.
    pub(super) ln_evidence: f64,
}

/// Fits a set of paths, from the rates and volumes of an earlier fit where there is one. Nothing if the readings do not
/// determine the rates.
pub(super) fn fit(design: &Design, edges: &[Edge], start: Option<&Fit>, prior: &Prior) -> Option<Fit> {
    let mut touched: Vec<usize> =
        edges.iter().flat_map(|edge| edge.sides().map(|(circuit, _)| circuit)).collect();
    touched.sort_unstable();
    touched.dedup();
    touched.retain(|circuit| design.circuits[*circuit].slopes > 0);
    let system = System::new(design, edges, touched);
    let mut now = system.start(start);
    let mut misfit = system.misfit(&now);
    let mut last = None;
    for _ in 0..STEPS {
        let (hessian, gradient) = system.normal(&now);
        let factor = hessian.cholesky()?;
        let mut step = factor.solve(&gradient);
        let largest = step.iter().skip(edges.len()).fold(0.0_f64, |so_far, part| so_far.max(part.abs()));
        if largest > VOLUME_STEP {
            step *= VOLUME_STEP / largest;
        }
        let mut next = &now - &step;
        let mut then = system.misfit(&next);
        for _ in 0..6 {
            if then <= misfit + 1e-9 {
                break;
            }
            step *= 0.4;
            next = &now - &step;
            then = system.misfit(&next);
        }
        let gained = misfit - then;
        (now, misfit, last) = (next, then, Some(factor));
        if gained.abs() < 1e-4 {
            break;
        }
    }
    let factor = system.normal(&now).0.cholesky().or(last)?;
    Some(system.finish(&now, misfit, &factor, prior))
}

struct System<'a> {
    design: &'a Design,
    edges: &'a [Edge],
    touched: Vec<usize>,
    /// For each touched circuit its paths: place in the set, and other end.
    mine: Vec<Vec<(usize, usize)>>,
    /// Weighted square of all other circuits' slopes.
    rest: f64,
}

/// What the chosen paths do together to the sums of one circuit.
struct Together {
    /// Slopes times prediction.
    product: f64,
    /// Prediction times prediction.
    square: f64,
    /// For each chosen path at this circuit: its place, effect times slopes, effect times prediction.
    parts: Vec<(usize, f64, f64)>,
    /// exp(-ln volume).
    thinner: f64,
}

impl<'a> System<'a> {
    fn new(design: &'a Design, edges: &'a [Edge], touched: Vec<usize>) -> Self {
        let mine = touched.iter().map(|circuit| {
            let places = edges.iter().enumerate();
            places
                .flat_map(|(place, edge)| {
                    edge.sides().filter(|(side, _)| side == circuit).map(move |(_, other)| (place, other))
                })
                .collect()
        });
        let mine = mine.collect();
        let others = design.circuits.iter().enumerate().filter(|(circuit, _)| !touched.contains(circuit));
        let rest = others.map(|(_, sums)| sums.seen).sum();
        Self { design, edges, touched, mine, rest }
    }
}

impl System<'_> {
    fn start(&self, from: Option<&Fit>) -> DVector<f64> {
        let mut now = DVector::zeros(self.edges.len() + self.touched.len());
        if let Some(from) = from {
            for (at, edge) in self.edges.iter().enumerate() {
                if let Some(place) = from.edges.iter().position(|other| other == edge) {
                    now[at] = from.rates[place];
                }
            }
            for (at, circuit) in self.touched.iter().enumerate() {
                now[self.edges.len() + at] = from.volumes_ln[*circuit];
            }
        }
        now
    }

    fn together(&self, circuit: usize, at: usize, now: &DVector<f64>) -> Together {
        let sums = &self.design.circuits[circuit];
        let count = self.design.count;
        let mine = &self.mine[at];
        let mut product = 0.0;
        let mut square = 0.0;
        let parts = mine
            .iter()
            .map(|(place, other)| {
                let predicted: f64 =
                    mine.iter().map(|(two, far)| sums.normal[other * count + far] * now[*two]).sum();
                product += sums.product[*other] * now[*place];
                square += predicted * now[*place];
                (*place, sums.product[*other], predicted)
            })
            .collect();
        Together { product, square, parts, thinner: math::exp(-now[self.edges.len() + at]) }
    }

    fn misfit(&self, now: &DVector<f64>) -> f64 {
        let mut misfit = self.rest / 2.0;
        for (at, circuit) in self.touched.iter().enumerate() {
            let sums = &self.design.circuits[*circuit];
            let seen = self.together(*circuit, at, now);
            let volume = now[self.edges.len() + at] / sums.volume_ln;
            let left =
                sums.seen - 2.0 * seen.thinner * seen.product + seen.thinner * seen.thinner * seen.square;
            misfit += left / 2.0 + volume * volume / 2.0;
        }
        misfit
    }

    /// Hessian (of Gauss and Newton) and gradient of the misfit.
    fn normal(&self, now: &DVector<f64>) -> (DMatrix<f64>, DVector<f64>) {
        let paths = self.edges.len();
        let size = paths + self.touched.len();
        let (mut hessian, mut gradient) = (DMatrix::zeros(size, size), DVector::zeros(size));
        for (at, circuit) in self.touched.iter().enumerate() {
            let sums = &self.design.circuits[*circuit];
            let seen = self.together(*circuit, at, now);
            let (thin, volume) = (seen.thinner, paths + at);
            let squared = thin * thin;
            for (place, slopes, predicted) in &seen.parts {
                gradient[*place] += squared * predicted - thin * slopes;
                hessian[(*place, volume)] = -squared * predicted;
                hessian[(volume, *place)] = -squared * predicted;
                let (_, other) = self.side(*place, *circuit);
                for (two, _, _) in &seen.parts {
                    let (_, far) = self.side(*two, *circuit);
                    hessian[(*place, *two)] += squared * sums.normal[other * self.design.count + far];
                }
            }
            let known = 1.0 / (sums.volume_ln * sums.volume_ln);
            gradient[volume] = thin * seen.product - squared * seen.square + now[volume] * known;
            hessian[(volume, volume)] = squared * seen.square + known;
        }
        (hessian, gradient)
    }

    fn side(&self, place: usize, circuit: usize) -> (usize, usize) {
        let Edge(a, b) = self.edges[place];
        if a == circuit { (a, b) } else { (b, a) }
    }

    fn finish(
        &self,
        now: &DVector<f64>,
        misfit: f64,
        factor: &nalgebra::Cholesky<f64, nalgebra::Dyn>,
        prior: &Prior,
    ) -> Fit {
        let paths = self.edges.len();
        let inverse = factor.inverse();
        let spreads: Vec<f64> = (0..paths).map(|at| inverse[(at, at)].sqrt()).collect();
        let mut ln_evidence = -misfit - factor.l_dirty().diagonal().iter().map(|d| math::ln(*d)).sum::<f64>();
        for (at, edge) in self.edges.iter().enumerate() {
            let width = spreads[at];
            ln_evidence += math::ln(prior.odds(edge.is_outside())) + math::ln(prior.bell(now[at], width))
                - math::ln(width);
        }
        let mut volumes_ln = vec![0.0; self.design.count];
        for (at, circuit) in self.touched.iter().enumerate() {
            ln_evidence -= math::ln(self.design.circuits[*circuit].volume_ln);
            volumes_ln[*circuit] = now[paths + at];
        }
        let rates = now.iter().take(paths).copied().collect();
        Fit { edges: self.edges.to_vec(), rates, spreads, volumes_ln, ln_evidence }
    }
}

/// How strongly the readings left over by a fit ask for one more path: their pull, and its own weight.
pub(super) fn pull(design: &Design, fit: &Fit, edge: Edge) -> (f64, f64) {
    let (mut pull, mut weight) = (0.0, 0.0);
    for (circuit, other) in edge.sides() {
        let sums = &design.circuits[circuit];
        let thin = math::exp(-fit.volumes_ln[circuit]);
        let predicted: f64 = fit
            .edges
            .iter()
            .zip(&fit.rates)
            .flat_map(|(known, rate)| {
                known.sides().filter(|(side, _)| *side == circuit).map(move |(_, far)| (far, *rate))
            })
            .map(|(far, rate)| sums.normal[other * design.count + far] * rate)
            .sum();
        pull += thin * (sums.product[other] - thin * predicted);
        weight += thin * thin * sums.normal[other * design.count + other];
    }
    (pull, weight)
}

impl Fit {
    /// Weighted square of what the fit leaves of one circuit's slopes.
    pub(super) fn left_over(&self, design: &Design, circuit: usize) -> f64 {
        let system = System::new(design, &self.edges, vec![circuit]);
        let now: Vec<f64> = self.rates.iter().copied().chain([self.volumes_ln[circuit]]).collect();
        let seen = system.together(circuit, 0, &DVector::from_vec(now));
        design.circuits[circuit].seen - 2.0 * seen.thinner * seen.product
            + seen.thinner * seen.thinner * seen.square
    }
}
