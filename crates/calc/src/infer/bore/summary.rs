//! From weighed hypotheses to what is told.

use super::evidence::Judged;
use super::model::{Model, Predicted};
use super::nodes::{CLASSES, Class, Shape};
use super::{AS_NEW_LOSS, BoreInput, BoreState, next};
use crate::estimate::{Estimate, root_sum_square};
use crate::infer::mixture::{Normal1, central};
use crate::numeric::{math, stats};

/// Density of deposits in g/ml and spread of its logarithm: porous lime to dense rust (common practice, no source).
const DEPOSIT_G_ML: (f64, f64) = (2.3, 0.25);
/// Discharge coefficient of a narrow place and spread of its logarithm.
const PLUG_COEFFICIENT: (f64, f64) = (0.7, 0.09);
/// No layer is the same everywhere, and an uneven one loses more than an even one of the same mean: what a fit takes for
/// the thickness lies above the mean by so much in ln, with this spread (own choice; a layer that grows from 0.4 to 1.6
/// times its mean along the way, a tenth of the bore thick on average, is taken for one 0.09 thicker, one in ridges for more).
const UNEVEN_LN: (f64, f64) = (0.13, 0.13);
/// Share of circuits whose readings say nothing of them: of another circuit, taken wrongly, of a circuit that is not as
/// drawn (own proposal). Without it a slip would make the answer as sure as a good reading.
const SLIPS: f64 = 0.05;
/// Fits of such readings crowd at zero: density `SLIP_FIT x fit^(SLIP_FIT - 1)`; those of good ones are spread evenly.
const SLIP_FIT: f64 = 0.3;
/// Of such circuits: none of the states. All others are what they would be before any reading (simulated visits of both
/// kinds of physics: of circuits whose readings fit nothing 2 to 5 % are in no state that is known).
const SLIP_NONE: f64 = 0.05;
/// ln of a share of nothing: keeps logarithms finite.
const LEAST: f64 = 1e-6;

pub fn summary(judged: &[Judged<'_>], input: &BoreInput) -> BoreState {
    let mut classes = [0.0; CLASSES];
    for one in judged {
        let light = light(one, input);
        for (class, share) in [(Class::AsNew, light), (one.node.class, 1.0 - light)] {
            if let Some(sum) = classes.get_mut(class.place()) {
                *sum += share * one.weight;
            }
        }
    }
    let prior_sum: f64 = input.prior.classes.iter().sum();
    let fit = fit(judged);
    let slipped = 1.0 - (1.0 - slipped(fit)) * (1.0 - input.elsewhere.clamp(0.0, 1.0));
    for (place, (probability, prior)) in classes.iter_mut().zip(input.prior.classes).enumerate() {
        let none = if place == Class::Unknown.place() { SLIP_NONE } else { 0.0 };
        let before = (1.0 - SLIP_NONE) * prior / prior_sum + none;
        *probability = (1.0 - slipped) * *probability + slipped * before;
    }
    let [as_new, even_deposit, local_plug, mixed, rough, unknown] = classes;
    let plugged_branch = judged
        .iter()
        .filter(|one| matches!(one.node.shape, Shape::Branch { .. }))
        .map(|one| one.weight)
        .sum();
    BoreState {
        as_new,
        even_deposit,
        local_plug,
        mixed,
        rough,
        unknown,
        plugged_branch,
        layer_share: layer_share(judged, input),
        thickness_mm: positive(judged, |one| {
            let ln = Model::new(one.profile, one.node, input).ln_thickness_mm(&one.unknowns)?;
            Some((ln.value - UNEVEN_LN.0, ln.spread(&one.posterior, UNEVEN_LN.1)))
        }),
        plug_bore_mm: plug_bore(judged, input),
        mass_g: mass(judged, input),
        fit,
        next: next::next(judged, input, slipped),
    }
}

/// Probability that a hypothesis changes the flow by less than [`AS_NEW_LOSS`], and so is as good as new. A plugged branch
/// is never light: where its water should run, none runs.
fn light(one: &Judged<'_>, input: &BoreInput) -> f64 {
    let wide = matches!((one.node.class, one.node.shape), (Class::Unknown, Shape::Clean));
    if wide || one.node.class == Class::AsNew || matches!(one.node.shape, Shape::Branch { .. }) {
        return 0.0;
    }
    let model = Model::new(one.profile, one.node, input);
    let today = model.ln_flow_factor(false, &one.unknowns);
    let then = model.ln_flow_factor(true, &one.unknowns);
    let change = Predicted { value: today.value - then.value, row: today.row - then.row };
    let limit = math::ln(1.0 - AS_NEW_LOSS);
    stats::normal_below((change.value.min(-change.value) - limit) / change.spread(&one.posterior, LEAST))
}

/// Interval of a positive quantity over the hypotheses that have it; their logarithms are normal.
fn positive(judged: &[Judged<'_>], ln: impl Fn(&Judged<'_>) -> Option<(f64, f64)>) -> Option<Estimate> {
    let parts: Vec<Normal1> = judged
        .iter()
        .filter_map(|one| ln(one).map(|(mean, sd)| Normal1 { weight: one.weight, mean, sd }))
        .collect();
    let (middle, low, high) = central(&parts, 0.95)?;
    Some(Estimate { value: math::exp(middle), low: math::exp(low), high: math::exp(high), coverage: 0.95 })
}

/// Width of a sharp round hole of the same loss.
fn plug_bore(judged: &[Judged<'_>], input: &BoreInput) -> Option<Estimate> {
    positive(judged, |one| {
        let ln_bar = Model::new(one.profile, one.node, input).ln_plug_bar(&one.unknowns)?;
        let flow_m3_s = one.profile.flow_factor_m3_h / 3600.0;
        let density = crate::hydraulics::circuit::REFERENCE_DENSITY_KG_M3;
        let jet_m2 = flow_m3_s / (2.0 * math::exp(ln_bar.value) * 1e5 / density).sqrt();
        let bore_m = (4.0 * jet_m2 / (core::f64::consts::PI * PLUG_COEFFICIENT.0)).sqrt();
        let spread = root_sum_square(&[ln_bar.spread(&one.posterior, 0.0) / 4.0, PLUG_COEFFICIENT.1 / 2.0]);
        Some((math::ln(bore_m * 1000.0), spread))
    })
}

fn mass(judged: &[Judged<'_>], input: &BoreInput) -> Option<Estimate> {
    positive(judged, |one| {
        let model = Model::new(one.profile, one.node, input);
        let ln_thickness = model.ln_thickness_mm(&one.unknowns)?;
        let lost_ml = model.lost_ml(&one.unknowns).max(LEAST);
        let spread = root_sum_square(&[ln_thickness.spread(&one.posterior, UNEVEN_LN.1), DEPOSIT_G_ML.1]);
        Some((math::ln(lost_ml * DEPOSIT_G_ML.0), spread))
    })
}

/// Share of the layer in the extra loss, over the hypotheses with layer, plug or both.
fn layer_share(judged: &[Judged<'_>], input: &BoreInput) -> Option<Estimate> {
    let mut shares: Vec<(f64, f64)> = judged
        .iter()
        .filter_map(|one| match (one.node.class, one.node.shape) {
            (Class::EvenDeposit, _) => Some((1.0, one.weight)),
            (Class::LocalPlug, _) => Some((0.0, one.weight)),
            // A branch under a layer: how the loss is shared depends on the branch; half and half.
            (Class::Mixed, Shape::Branch { .. }) => Some((0.5, one.weight)),
            (Class::Mixed, _) => {
                Some((Model::new(one.profile, one.node, input).layer_share(&one.unknowns), one.weight))
            }
            _ => None,
        })
        .collect();
    shares.sort_by(|a, b| a.0.total_cmp(&b.0));
    let total: f64 = shares.iter().map(|(_, weight)| weight).sum();
    if total.partial_cmp(&1e-9) != Some(core::cmp::Ordering::Greater) {
        return None;
    }
    let quantile = |p: f64| {
        let mut below = 0.0;
        shares.iter().find_map(|(share, weight)| {
            below += weight;
            (below >= p * total).then_some(*share)
        })
    };
    Some(Estimate { value: quantile(0.5)?, low: quantile(0.025)?, high: quantile(0.975)?, coverage: 0.95 })
}

/// Chi-squared of the best-fitting hypothesis that is one of a state. 'None of these' fits by being wide; and more flow
/// than there can be is as often a drifted meter or a wrong hose as a circuit that is too open.
fn fit(judged: &[Judged<'_>]) -> f64 {
    judged
        .iter()
        .filter(|one| one.node.class != Class::Unknown)
        .map(|one| {
            let readings = f64::from(u32::try_from(one.readings).unwrap_or(u32::MAX));
            stats::chi_squared_above(one.misses, readings)
        })
        .fold(0.0, f64::max)
}

/// Probability that the readings say nothing of this circuit, from how well they fit (Bayes' rule).
fn slipped(fit: f64) -> f64 {
    let slip = SLIPS * SLIP_FIT * math::powf(fit.max(1e-12), SLIP_FIT - 1.0);
    slip / (slip + 1.0 - SLIPS)
}
