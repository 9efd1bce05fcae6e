//! Roots of a function of one variable, by Brent's method.

/// Why no root was found.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum RootError {
    /// The function has the same sign at both ends.
    #[error("no change of sign between {low} and {high}")]
    NotBracketed {
        /// Lower end.
        low: f64,
        /// Upper end.
        high: f64,
    },
    /// The function gave something that is not a number.
    #[error("the function is not a number at {at}")]
    NotANumber {
        /// Where.
        at: f64,
    },
}

/// Most steps that [`bracketed`] takes; bisection alone reaches machine precision in fewer.
const STEPS: usize = 200;

/// The root of `f` between `low` and `high`, at which `f` has different signs, to the absolute tolerance `xtol`
/// (Brent 1973, chapter 4; source key `brent-1973`).
///
/// # Errors
/// [`RootError::NotBracketed`] if both ends have the same sign, [`RootError::NotANumber`] if `f` gives no number.
pub fn bracketed(mut f: impl FnMut(f64) -> f64, low: f64, high: f64, xtol: f64) -> Result<f64, RootError> {
    let mut value = |x: f64| {
        let y = f(x);
        if y.is_nan() { Err(RootError::NotANumber { at: x }) } else { Ok(y) }
    };
    let (mut a, mut b) = (low, high);
    let (mut fa, mut fb) = (value(a)?, value(b)?);
    if fa == 0.0 {
        return Ok(a);
    }
    if fb == 0.0 {
        return Ok(b);
    }
    if (fa > 0.0) == (fb > 0.0) {
        return Err(RootError::NotBracketed { low, high });
    }
    let (mut c, mut fc) = (a, fa);
    let (mut step, mut before) = (b - a, b - a);
    for _ in 0..STEPS {
        if (fb > 0.0) == (fc > 0.0) {
            (c, fc) = (a, fa);
            step = b - a;
            before = step;
        }
        if fc.abs() < fb.abs() {
            (a, b, c) = (b, c, b);
            (fa, fb, fc) = (fb, fc, fb);
        }
        let tolerance = 2.0 * f64::EPSILON * b.abs() + 0.5 * xtol;
        let half = 0.5 * (c - b);
        if half.abs() <= tolerance || fb == 0.0 {
            return Ok(b);
        }
        (step, before) = next_step([a, b, c], [fa, fb, fc], step, before, half, tolerance);
        (a, fa) = (b, fb);
        b += if step.abs() > tolerance { step } else { tolerance.copysign(half) };
        fb = value(b)?;
    }
    Ok(b)
}

/// Interpolated step where it can be trusted, bisection otherwise.
fn next_step(
    [a, b, c]: [f64; 3],
    [fa, fb, fc]: [f64; 3],
    step: f64,
    before: f64,
    half: f64,
    tolerance: f64,
) -> (f64, f64) {
    if before.abs() < tolerance || fa.abs() <= fb.abs() {
        return (half, half);
    }
    let s = fb / fa;
    let (mut p, mut q) = if (a - c).abs() < f64::MIN_POSITIVE {
        (2.0 * half * s, 1.0 - s)
    } else {
        let (q, r) = (fa / fc, fb / fc);
        (s * (2.0 * half * q * (q - r) - (b - a) * (r - 1.0)), (q - 1.0) * (r - 1.0) * (s - 1.0))
    };
    if p > 0.0 {
        q = -q;
    } else {
        p = -p;
    }
    if 2.0 * p < (3.0 * half * q - (tolerance * q).abs()).min((before * q).abs()) {
        (p / q, step)
    } else {
        (half, half)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_known_roots() {
        assert!((bracketed(|x| x * x - 2.0, 0.0, 2.0, 1e-14).unwrap() - 2.0_f64.sqrt()).abs() < 1e-12);
        // Wallis' cubic, x^3 - 2x - 5 = 0: 2.094551481542327 (Press et al., Numerical Recipes, section 9.5).
        let wallis = bracketed(|x| x * x * x - 2.0 * x - 5.0, 2.0, 3.0, 1e-14).unwrap();
        assert!((wallis - 2.094_551_481_542_327).abs() < 1e-12);
    }

    #[test]
    fn refuses_what_is_not_bracketed() {
        assert_eq!(
            bracketed(|x| x * x + 1.0, -1.0, 1.0, 1e-9),
            Err(RootError::NotBracketed { low: -1.0, high: 1.0 })
        );
        assert!(matches!(bracketed(|_| f64::NAN, 0.0, 1.0, 1e-9), Err(RootError::NotANumber { .. })));
    }
}
