//! Loss numbers and wall data of the pieces: every number with its uncertainty and source key, in one place.

/// A loss number K on the velocity head, `K = one / Re + infinite`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LossNumber {
    /// Share that falls with the Reynolds number.
    pub one: f64,
    /// Value at large Reynolds numbers.
    pub infinite: f64,
    /// Standard uncertainty of `infinite`, relative.
    pub relative_standard: f64,
    /// Source key of `data/sources.bib`, or `common-practice`.
    pub source: &'static str,
}

/// Two drilled holes that meet at a right angle, velocity in the bore.
///
/// No published value was found for crossing drilled holes; the sharp mitre of the handbooks spans 1.1 to 1.8
/// (`crane-tp410` 60 fT, `miller-1990` 1.2 at Re 1e5). The laminar share is that of a threaded elbow (`hooper-1981`).
pub const DRILLED_ELBOW: LossNumber =
    LossNumber { one: 800.0, infinite: 1.3, relative_standard: 0.25, source: "miller-1990" };

/// Tube bent by a right angle with a radius of 1.5 diameters: 14 fT with fT 0.028 for a bore of about 10 mm.
pub const BENT_ELBOW: LossNumber =
    LossNumber { one: 800.0, infinite: 0.39, relative_standard: 0.25, source: "crane-tp410" };

/// Turn by 180 degrees over the tip of a baffle's blade or a bubbler's tube: 1.5 to 2.5 in the trade. The laminar
/// share is that of a close return bend (`hooper-1981`).
pub const TIP_TURN: LossNumber =
    LossNumber { one: 1000.0, infinite: 2.0, relative_standard: 0.25, source: "common-practice" };

/// Sharp entry from a wide space, and the coefficient of a sudden contraction: `0.5 (1 - small/large area)`.
pub const CONTRACTION_K: f64 = 0.5;

/// Sand-grain roughness of a drilled wall whose piece does not say.
pub const DRILLED_ROUGHNESS_UM: f64 = 10.0;

/// Sand-grain roughness of the drawn tube of a bubbler (`moody-1944`).
pub const DRAWN_TUBE_ROUGHNESS_UM: f64 = 1.5;

/// Darcy friction factor times Reynolds number of laminar flow in a half-round channel, on the hydraulic diameter
/// (`shah-london-1978`: 4 x 15.767). A thick blade leaves less than half a circle, for which the number is up to
/// 1.4 % smaller.
pub const HALF_ROUND_LAMINAR: f64 = 63.07;
