//! Transcendental functions that give the same bits on every platform.
//!
//! The standard library calls the platform's own; two machines may then differ in the last digit, and the
//! same record would not give the same findings byte for byte.

/// e to the power of `x`.
#[must_use]
pub fn exp(x: f64) -> f64 {
    libm::exp(x)
}
/// `exp(x) - 1`, exact for small `x`.
#[must_use]
pub fn exp_m1(x: f64) -> f64 {
    libm::expm1(x)
}
/// Natural logarithm.
#[must_use]
pub fn ln(x: f64) -> f64 {
    libm::log(x)
}
/// `ln(1 + x)`, exact for small `x`.
#[must_use]
pub fn ln_1p(x: f64) -> f64 {
    libm::log1p(x)
}
/// Decimal logarithm.
#[must_use]
pub fn log10(x: f64) -> f64 {
    libm::log10(x)
}
/// `base` to the power of `exponent`.
#[must_use]
pub fn powf(base: f64, exponent: f64) -> f64 {
    libm::pow(base, exponent)
}
/// Cube root.
#[must_use]
pub fn cbrt(x: f64) -> f64 {
    libm::cbrt(x)
}
/// Sine of an angle in radian.
#[must_use]
pub fn sin(x: f64) -> f64 {
    libm::sin(x)
}
/// Cosine of an angle in radian.
#[must_use]
pub fn cos(x: f64) -> f64 {
    libm::cos(x)
}
/// Angle in radian, 0 to pi, whose cosine is `x`.
#[must_use]
pub fn acos(x: f64) -> f64 {
    libm::acos(x)
}
