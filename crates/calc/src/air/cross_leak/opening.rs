//! Leaks that open only above a pressure difference: the same path with its effect cut off below a threshold.

use super::design::{Design, Edge};
use super::fit::{Fit, fit};
use super::prior::Prior;

/// Gain in the logarithm of the evidence from which on a threshold is believed (own choice: odds of 1 to 400 against).
const NEEDED: f64 = 6.0;
/// Misfit of a circuit's slopes above which its paths are tried with a threshold, in halves of chi-squared.
const SUSPICIOUS: f64 = 3.0;
/// Steps of the threshold between the smallest and the largest difference seen.
const STEPS: u32 = 10;

/// The design and fit with a threshold on this path, which joins the set if it is not in it yet, if the readings ask
/// for one.
pub(super) fn with_opening(design: &Design, best: &Fit, edge: Edge, prior: &Prior) -> Option<(Design, Fit)> {
    if design.opens.iter().any(|(known, _)| *known == edge) || misfit_at(design, best, edge) < SUSPICIOUS {
        return None;
    }
    let differences = design.differences(edge);
    let high = differences.iter().copied().fold(0.0, f64::max);
    let low = differences.iter().copied().filter(|bar| *bar > 0.2).fold(high, f64::min);
    if high - low < 0.3 {
        return None;
    }
    let mut edges = best.edges.clone();
    if !edges.contains(&edge) {
        edges.push(edge);
    }
    let tried = |opens_bar: f64| {
        let opened = design.with_opening(edge, opens_bar);
        let fitted = fit(&opened, &edges, Some(best), prior)?;
        Some((opens_bar, opened, fitted))
    };
    let steps = (0..STEPS).map(|step| low + (high - low) * (f64::from(step) + 0.5) / f64::from(STEPS));
    let found: Vec<(f64, f64)> = steps
        .filter_map(tried)
        .filter(|(_, _, fitted)| fitted.rates.iter().all(|rate| *rate > 0.0))
        .map(|(opens_bar, _, fitted)| (opens_bar, fitted.ln_evidence))
        .collect();
    let top = found.iter().map(|(_, evidence)| *evidence).fold(f64::NEG_INFINITY, f64::max);
    if top <= best.ln_evidence + NEEDED {
        return None;
    }
    // Thresholds that fit as well as the best: the middle of them is said.
    let good: Vec<f64> =
        found.iter().filter(|(_, evidence)| *evidence > top - 1.0).map(|(bar, _)| *bar).collect();
    let middle = good.iter().sum::<f64>() / good.len() as f64;
    let nearest = good.into_iter().min_by(|a, b| (a - middle).abs().total_cmp(&(b - middle).abs()))?;
    tried(nearest).map(|(_, opened, fitted)| (opened, fitted))
}

/// How much the slopes at the two ends of a path depart from the fit beyond what their number explains.
fn misfit_at(design: &Design, best: &Fit, edge: Edge) -> f64 {
    edge.sides().map(|(circuit, _)| misfit_of(design, best, circuit)).sum()
}

/// The same of one circuit, in halves of chi-squared.
pub(super) fn misfit_of(design: &Design, best: &Fit, circuit: usize) -> f64 {
    let slopes = design.circuits[circuit].slopes;
    if slopes == 0 { 0.0 } else { (best.left_over(design, circuit) - slopes as f64) / 2.0 }
}
