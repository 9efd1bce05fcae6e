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

/// The design and fit with a threshold on this path, if the readings ask for one.
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
    let mut found: Option<(Design, Fit)> = None;
    for step in 0..STEPS {
        let opens_bar = low + (high - low) * (f64::from(step) + 0.5) / f64::from(STEPS);
        let tried = design.with_opening(edge, opens_bar);
        let Some(fitted) = fit(&tried, &best.edges, Some(best), prior) else { continue };
        if found.as_ref().is_none_or(|(_, so_far)| fitted.ln_evidence > so_far.ln_evidence) {
            found = Some((tried, fitted));
        }
    }
    found.filter(|(_, fitted)| fitted.ln_evidence > best.ln_evidence + NEEDED)
}

/// How much the slopes at the two ends of a path depart from the fit beyond what their number explains.
fn misfit_at(design: &Design, best: &Fit, edge: Edge) -> f64 {
    edge.sides()
        .map(|(circuit, _)| {
            let left = best.left_over(design, circuit);
            left / 2.0 - design.circuits[circuit].slopes as f64 / 2.0
        })
        .sum()
}
