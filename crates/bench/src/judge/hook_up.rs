//! Hoses that seem to be on the wrong circuit.
//!
//! For every two circuits: how well do the readings fit as noted, how well if the two were exchanged? A circuit may
//! be fouled, so less flow than expected is no surprise and more flow is one.

use calc::numeric::math;

use crate::finding::HookUpDoubt;
use crate::mould::CircuitId;

/// What was measured and what was expected of one circuit, as logarithms with standard uncertainties.
#[derive(Clone, Debug)]
pub(crate) struct Told {
    pub(crate) id: CircuitId,
    /// ln of a measured value and its uncertainty, for each quantity that was measured.
    pub(crate) measured: Vec<(Quantity, f64, f64)>,
    /// ln of the value as new and its uncertainty, for each quantity that is known.
    pub(crate) as_new: Vec<(Quantity, f64, f64)>,
}

/// A quantity by which circuits can be told apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Quantity {
    Flow,
    Volume,
}

/// Probability, before any reading, that two given circuits of a hook-up have their hoses exchanged. Own
/// proposal: one visit in ten has one exchange, spread over the pairs of a mould.
const EXCHANGED_PER_VISIT: f64 = 0.1;
/// From this probability on a doubt is called out.
const CALLED_OUT: f64 = 0.8;

/// The doubts of a visit, most probable first. A circuit appears in one doubt at most.
pub(crate) fn doubts(circuits: &[Told]) -> Vec<HookUpDoubt> {
    let pairs = circuits.len() * circuits.len().saturating_sub(1) / 2;
    let Ok(pairs) = u32::try_from(pairs.max(1)) else { return Vec::new() };
    let prior = EXCHANGED_PER_VISIT / f64::from(pairs);
    let mut found: Vec<(f64, &Told, &Told)> = Vec::new();
    for (place, a) in circuits.iter().enumerate() {
        for b in circuits.iter().skip(place + 1) {
            let probability = exchanged(a, b, prior);
            if probability >= CALLED_OUT {
                found.push((probability, a, b));
            }
        }
    }
    found.sort_by(|x, y| y.0.total_cmp(&x.0));
    let mut taken: Vec<&CircuitId> = Vec::new();
    let mut doubts = Vec::new();
    for (probability, a, b) in found {
        if !taken.contains(&&a.id) && !taken.contains(&&b.id) {
            taken.extend([&a.id, &b.id]);
            doubts.push(HookUpDoubt {
                circuits: vec![a.id.clone(), b.id.clone()],
                probability,
                text: format!(
                    "What was measured on {} fits {}, and the other way round: check whether their hoses are exchanged.",
                    a.id, b.id
                ),
            });
        }
    }
    doubts
}

fn exchanged(a: &Told, b: &Told, prior: f64) -> f64 {
    let as_noted = fit(a, a) + fit(b, b);
    let swapped = fit(a, b) + fit(b, a);
    let odds = prior / (1.0 - prior) * math::exp((swapped - as_noted).clamp(-700.0, 700.0));
    odds / (1.0 + odds)
}

/// Log-likelihood of what was measured on one circuit if it were the other.
fn fit(measured: &Told, truth: &Told) -> f64 {
    measured
        .measured
        .iter()
        .map(|(quantity, ln_value, sd)| {
            match truth.as_new.iter().find(|(known, ..)| known == quantity) {
                Some((_, ln_new, sd_new)) => {
                    math::ln(density(*quantity, ln_value - ln_new, (sd * sd + sd_new * sd_new).sqrt()))
                }
                // Nothing known of this quantity: any value between a twentieth and twenty times is as likely.
                None => math::ln(1.0 / 6.0),
            }
        })
        .sum()
}

/// Density of ln(measured / as new): mostly around zero, some below it (fouled), little above.
fn density(quantity: Quantity, difference: f64, sd: f64) -> f64 {
    // Mean fouling loss: flow may lose nearly all, the filled volume a part.
    let tail = match quantity {
        Quantity::Flow => 1.2,
        Quantity::Volume => 0.3,
    };
    let sd = (sd * sd + 0.03 * 0.03).sqrt();
    let z = difference / sd;
    let clean = math::exp(-0.5 * z * z) / (sd * 2.506_628_274_631);
    // Exponential loss with mean `tail`, folded with the reading's scatter (exponentially modified Gaussian).
    let fouled = {
        let below = -difference;
        let shift = (below - sd * sd / tail) / sd;
        math::exp((sd * sd / (2.0 * tail * tail) - below / tail).min(50.0)) / tail
            * calc::numeric::stats::normal_below(shift)
    };
    // A floor for whatever nobody thought of (a missing baffle, a wrong drawing).
    0.6 * clean + 0.37 * fouled + 0.03 / 6.0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn circuit(id: &str, measured: f64, as_new: f64) -> Told {
        let entry = |value: f64, sd: f64| vec![(Quantity::Flow, math::ln(value), sd)];
        Told { id: CircuitId(id.into()), measured: entry(measured, 0.02), as_new: entry(as_new, 0.03) }
    }

    #[test]
    fn density_adds_up_to_one() {
        for quantity in [Quantity::Flow, Quantity::Volume] {
            let total: f64 =
                (-6000..6000).map(|step| density(quantity, f64::from(step) * 1e-3, 0.05) * 1e-3).sum();
            // The floor is spread over 6 units and summed over 12.
            assert!((total - 1.03).abs() < 0.01, "{total}");
        }
    }

    #[test]
    fn exchanged_hoses_are_called_out() {
        let doubts = doubts(&[circuit("F1", 1.2, 0.6), circuit("F2", 0.6, 1.2), circuit("F3", 0.8, 0.8)]);
        assert_eq!(doubts.len(), 1);
        assert_eq!(doubts[0].circuits, [CircuitId("F1".into()), CircuitId("F2".into())]);
        assert!(doubts[0].probability > 0.8);
    }

    #[test]
    fn a_fouled_circuit_is_no_exchange() {
        // Half the flow on both, or on one: fouling explains it.
        assert!(doubts(&[circuit("F1", 0.6, 1.2), circuit("F2", 0.4, 0.8)]).is_empty());
        assert!(doubts(&[circuit("F1", 1.2, 1.2), circuit("F2", 0.6, 1.1)]).is_empty());
        // Circuits that are as new alike cannot be told apart, exchanged or not.
        assert!(doubts(&[circuit("F1", 0.8, 0.82), circuit("F2", 0.82, 0.8)]).is_empty());
    }
}
