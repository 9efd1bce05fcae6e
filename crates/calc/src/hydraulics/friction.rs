//! Wall friction: laminar, transition and turbulent without a step.
//!
//! One law is the standard; a second one exists to compare with networks computed elsewhere.

use crate::limits::{OutOfRange, within};
use crate::numeric::math;

/// Below this Reynolds number the flow is laminar.
pub const LAMINAR_BELOW: f64 = 2_000.0;
/// Above this Reynolds number the flow is turbulent.
pub const TURBULENT_ABOVE: f64 = 4_000.0;
/// Largest relative roughness of the turbulent law.
pub const RELATIVE_ROUGHNESS_MAX: f64 = 0.05;
/// Largest Reynolds number of the turbulent law.
pub const REYNOLDS_MAX: f64 = 1e8;

const TWO_OVER_LN10: f64 = 0.868_588_963_806_503_7;

/// Kind of flow.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Regime {
    /// Orderly: 64/Re.
    Laminar,
    /// In between: no dependable value exists; ours joins both sides smoothly.
    Transition,
    /// Turbulent: Colebrook.
    Turbulent,
}

/// Which friction law.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum FrictionLaw {
    /// [`friction`]: Hagen-Poiseuille and Colebrook, joined smoothly. Used for every finding.
    #[default]
    Standard,
    /// Hagen-Poiseuille below Re 2000, Swamee-Jain from Re 4000 on, the cubic of Dunlop between: the law of the
    /// public network solver EPANET 2.2 (`epanet-2-2`), for comparison with it. Its slope has a step at Re 2000.
    SwameeJain,
}

/// A Darcy friction factor and how it changes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Friction {
    /// Darcy friction factor (four times Fanning's).
    pub darcy_factor: f64,
    /// d ln f / d ln Re.
    pub slope: f64,
    /// Kind of flow.
    pub regime: Regime,
}

/// Darcy friction factor in a round channel.
///
/// 64/Re up to Re 2000 (Hagen-Poiseuille), Colebrook (1939) from Re 4000 on, solved by Newton's method; between
/// them the cubic in ln f against ln Re that meets both sides in value and slope. The cubic is our own
/// convention: measured factors scatter there by 15 % and more, and results that rest on it are flagged.
///
/// # Arguments
/// `reynolds` 1e-6 to 1e8; `relative_roughness` 0 to 0.05.
///
/// # Errors
/// [`OutOfRange`] outside these ranges. Source keys `hagen-poiseuille`, `colebrook-1939`.
pub fn friction(reynolds: f64, relative_roughness: f64) -> Result<Friction, OutOfRange> {
    within("reynolds", reynolds, 1e-6, REYNOLDS_MAX, "(pure number)")?;
    within("relative_roughness", relative_roughness, 0.0, RELATIVE_ROUGHNESS_MAX, "(pure number)")?;
    Ok(if reynolds <= LAMINAR_BELOW {
        Friction { darcy_factor: 64.0 / reynolds, slope: -1.0, regime: Regime::Laminar }
    } else if reynolds >= TURBULENT_ABOVE {
        turbulent(reynolds, relative_roughness)
    } else {
        transition(reynolds, relative_roughness)
    })
}

/// Darcy friction factor in a round channel by the law of choice; arguments, range and errors as [`friction`].
///
/// # Errors
/// [`OutOfRange`] outside the range of [`friction`]. Source keys `swamee-jain-1976`, `epanet-2-2`.
pub fn friction_by(law: FrictionLaw, reynolds: f64, relative_roughness: f64) -> Result<Friction, OutOfRange> {
    if law == FrictionLaw::Standard || reynolds.is_nan() || reynolds <= LAMINAR_BELOW {
        return friction(reynolds, relative_roughness);
    }
    within("reynolds", reynolds, LAMINAR_BELOW, REYNOLDS_MAX, "(pure number)")?;
    within("relative_roughness", relative_roughness, 0.0, RELATIVE_ROUGHNESS_MAX, "(pure number)")?;
    Ok(if reynolds >= TURBULENT_ABOVE {
        swamee_jain(reynolds, relative_roughness)
    } else {
        dunlop(reynolds, relative_roughness)
    })
}

fn swamee_jain(reynolds: f64, relative_roughness: f64) -> Friction {
    let viscous = 5.74 / math::powf(reynolds, 0.9);
    let inside = relative_roughness / 3.7 + viscous;
    let x = -TWO_OVER_LN10 * math::ln(inside);
    let slope = -1.8 * TWO_OVER_LN10 * viscous / (inside * x);
    Friction { darcy_factor: 1.0 / (x * x), slope, regime: Regime::Turbulent }
}

/// Cubic in Re/2000 that meets 64/Re at 2000 in value and Swamee-Jain at 4000 in value and slope.
fn dunlop(reynolds: f64, relative_roughness: f64) -> Friction {
    let upper = swamee_jain(TURBULENT_ABOVE, relative_roughness);
    let fa = upper.darcy_factor;
    let fb = (2.0 + upper.slope) * fa;
    let r = reynolds / LAMINAR_BELOW;
    let x1 = 7.0 * fa - fb;
    let x2 = 0.128 - 17.0 * fa + 2.5 * fb;
    let x3 = -0.128 + 13.0 * fa - 2.0 * fb;
    let x4 = 0.032 - 3.0 * fa + 0.5 * fb;
    let darcy_factor = x1 + r * (x2 + r * (x3 + r * x4));
    let slope = r * (x2 + r * (2.0 * x3 + r * 3.0 * x4)) / darcy_factor;
    Friction { darcy_factor, slope, regime: Regime::Transition }
}

/// Colebrook by Newton's method on x = 1/sqrt(f).
fn turbulent(reynolds: f64, relative_roughness: f64) -> Friction {
    let wall = relative_roughness / 3.7;
    let viscous = 2.51 / reynolds;
    let start = wall + 5.74 / math::powf(reynolds, 0.9);
    let mut x = -TWO_OVER_LN10 * math::ln(start);
    // Newton doubles the correct digits; from the Swamee-Jain start four steps reach machine precision.
    for _ in 0..4 {
        let inside = wall + viscous * x;
        let residual = x + TWO_OVER_LN10 * math::ln(inside);
        x -= residual / (1.0 + TWO_OVER_LN10 * viscous / inside);
    }
    let inside = wall + viscous * x;
    // x + c ln(inside) = 0 differentiated: dx/dlnRe = c v x/inside / (1 + c v/inside); dln f = -2 dln x.
    let lever = TWO_OVER_LN10 * viscous / inside;
    Friction { darcy_factor: 1.0 / (x * x), slope: -2.0 * lever / (1.0 + lever), regime: Regime::Turbulent }
}

fn transition(reynolds: f64, relative_roughness: f64) -> Friction {
    let upper = turbulent(TURBULENT_ABOVE, relative_roughness);
    let width = math::ln(TURBULENT_ABOVE / LAMINAR_BELOW);
    let t = math::ln(reynolds / LAMINAR_BELOW) / width;
    let (left, right) = (math::ln(64.0 / LAMINAR_BELOW), math::ln(upper.darcy_factor));
    let (slope_left, slope_right) = (-width, upper.slope * width);
    let value = hermite(t, left, slope_left, right, slope_right);
    let slope = hermite_slope(t, left, slope_left, right, slope_right) / width;
    Friction { darcy_factor: math::exp(value), slope, regime: Regime::Transition }
}

fn hermite(t: f64, a: f64, da: f64, b: f64, db: f64) -> f64 {
    let (t2, t3) = (t * t, t * t * t);
    (2.0 * t3 - 3.0 * t2 + 1.0) * a + (t3 - 2.0 * t2 + t) * da + (3.0 * t2 - 2.0 * t3) * b + (t3 - t2) * db
}

fn hermite_slope(t: f64, a: f64, da: f64, b: f64, db: f64) -> f64 {
    let t2 = t * t;
    6.0 * (t2 - t) * (a - b) + (3.0 * t2 - 4.0 * t + 1.0) * da + (3.0 * t2 - 2.0 * t) * db
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn laminar_is_exact() {
        for reynolds in [1.0, 100.0, 1999.9, 2000.0] {
            assert!((friction(reynolds, 0.01).unwrap().darcy_factor * reynolds - 64.0).abs() < 1e-10);
        }
    }

    #[test]
    fn turbulent_satisfies_colebrook() {
        for reynolds in [4e3, 1e5, 1e7] {
            for roughness in [0.0, 1e-4, 0.05] {
                let x = 1.0 / friction(reynolds, roughness).unwrap().darcy_factor.sqrt();
                let right = -2.0 * math::log10(roughness / 3.7 + 2.51 * x / reynolds);
                assert!((x / right - 1.0).abs() < 1e-12, "Re {reynolds}, roughness {roughness}");
            }
        }
    }

    #[test]
    fn no_step_and_true_slopes_anywhere() {
        for step in 0..2000 {
            let reynolds = 500.0 * math::exp(f64::from(step) * 0.002);
            for roughness in [0.0, 0.01] {
                let here = friction(reynolds, roughness).unwrap();
                let (below, above) = (
                    friction(reynolds * (1.0 - 1e-6), roughness).unwrap(),
                    friction(reynolds * (1.0 + 1e-6), roughness).unwrap(),
                );
                let slope = math::ln(above.darcy_factor / below.darcy_factor) / 2e-6;
                assert!((slope - here.slope).abs() < 3e-5, "Re {reynolds}: {slope} against {}", here.slope);
            }
        }
    }

    #[test]
    fn refuses_what_the_law_does_not_cover() {
        assert!(friction(-1.0, 0.0).is_err());
        assert!(friction(1e5, 0.06).is_err());
        assert!(friction(f64::NAN, 0.0).is_err());
    }
}
