//! What the readings cannot tell apart, and which further reading would.

use super::model::{Posterior, Scale};
use super::rows::gauge_noise;
use super::{INSTRUMENTS, Instrument, InstrumentState, Stated, Trust};

/// From this correlation on, two errors are not told apart.
const ALIKE: f64 = 0.7;
/// Ordinary circumstances of a further reading (own proposal): drop over fixture or orifice, pressure at shut-off, noise
/// of a bucket, of an orifice and of reference instruments.
const DROP_BAR: f64 = 3.0;
const SHUT_OFF_BAR: f64 = 5.0;
const BUCKET: f64 = 0.005;
const ORIFICE: f64 = 0.015;
const FIXTURE: f64 = 0.015;
const REFERENCE_BAR: f64 = 0.015;
const REFERENCE_K: f64 = 0.1;
/// A reading that takes away less than this share of the doubt is not worth naming.
const WORTH: f64 = 0.1;

/// A further reading on the rig.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NextReading {
    /// Bucket and stopwatch.
    Bucket,
    /// Hoses joined without a mould.
    Fixture,
    /// An orifice of known flow factor.
    Orifice,
    /// Gauges open to the air.
    AtRest,
    /// Both gauges on one pressure without flow.
    ShutOff,
    /// A reference gauge beside them.
    ReferenceGauge,
    /// A reference thermometer in the water.
    ReferenceThermometer,
}

impl NextReading {
    const ALL: [Self; 7] = [
        Self::AtRest,
        Self::ShutOff,
        Self::Fixture,
        Self::Bucket,
        Self::Orifice,
        Self::ReferenceGauge,
        Self::ReferenceThermometer,
    ];

    /// Its word in results.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Bucket => "bucket",
            Self::Fixture => "fixture",
            Self::Orifice => "orifice",
            Self::AtRest => "at-rest",
            Self::ShutOff => "shut-off",
            Self::ReferenceGauge => "reference-gauge",
            Self::ReferenceThermometer => "reference-thermometer",
        }
    }

    /// What to do, for people.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::Bucket => {
                "catch the water in a bucket, by scales and stopwatch, and note the meter meanwhile"
            }
            Self::Fixture => "join the hoses without the mould and read flow and both gauges",
            Self::Orifice => {
                "put an orifice of known flow factor in the mould's place and read flow and both gauges"
            }
            Self::AtRest => "vent the rig and read both gauges at rest",
            Self::ShutOff => "close the outlet and read both gauges on the same pressure",
            Self::ReferenceGauge => "read both gauges beside a reference gauge on the same pressure",
            Self::ReferenceThermometer => "read the thermometer beside a reference in the same water",
        }
    }

    /// Rows of such a reading: weights and noise.
    fn rows(self, stated: &Stated) -> Vec<([f64; INSTRUMENTS], f64)> {
        let gauge = gauge_noise(stated);
        let half = 0.5 / DROP_BAR;
        match self {
            Self::Bucket => vec![([1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0], BUCKET)],
            Self::Fixture => vec![([1.0, -half, -0.5, half, 0.0, 1.0, 0.0], FIXTURE)],
            Self::Orifice => vec![([1.0, -half, -0.5, half, 0.0, 0.0, 0.0], ORIFICE)],
            Self::AtRest => vec![
                ([0.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0], gauge),
                ([0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0], gauge),
            ],
            Self::ShutOff => vec![([0.0, 1.0, SHUT_OFF_BAR, -1.0, -SHUT_OFF_BAR, 0.0, 0.0], 1.5 * gauge)],
            Self::ReferenceGauge => vec![
                ([0.0, 1.0, SHUT_OFF_BAR, 0.0, 0.0, 0.0, 0.0], REFERENCE_BAR),
                ([0.0, 0.0, 0.0, 1.0, SHUT_OFF_BAR, 0.0, 0.0], REFERENCE_BAR),
            ],
            Self::ReferenceThermometer => vec![([0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0], REFERENCE_K)],
        }
    }
}

/// Pairs that are not told apart, and the reading that takes away most of the doubt.
pub(super) fn advice(
    posterior: &Posterior,
    scales: &[Scale; INSTRUMENTS],
    instruments: &[InstrumentState],
    stated: &Stated,
) -> (Vec<(Instrument, Instrument)>, Option<NextReading>) {
    let (_, covariance) = posterior.moments();
    let open = |state: &InstrumentState| {
        state.trust() == Trust::CannotTell && (state.checked || state.instrument == Instrument::Meter)
    };
    let mut pairs = Vec::new();
    for (i, a) in instruments.iter().enumerate() {
        for (j, b) in instruments.iter().enumerate().skip(i + 1) {
            let norm = (covariance[(i, i)] * covariance[(j, j)]).sqrt();
            if a.checked && b.checked && (open(a) || open(b)) && covariance[(i, j)].abs() > ALIKE * norm {
                pairs.push((a.instrument, b.instrument));
            }
        }
    }
    let doubt = |covariance: &nalgebra::SMatrix<f64, INSTRUMENTS, INSTRUMENTS>| -> f64 {
        let of = |(at, (state, scale)): (usize, (&InstrumentState, &Scale))| {
            let weight = if open(state) { state.drifted * (1.0 - state.drifted) } else { 0.0 };
            weight * covariance[(at, at)] / (scale.limit * scale.limit)
        };
        instruments.iter().zip(scales).enumerate().map(of).sum()
    };
    let now = doubt(&covariance);
    let mut best: Option<(NextReading, f64)> = None;
    for reading in NextReading::ALL {
        let mut left = covariance;
        for (weights, noise) in reading.rows(stated) {
            let weights = nalgebra::SVector::<f64, INSTRUMENTS>::from(weights);
            let spread = left * weights;
            let variance = weights.dot(&spread) + noise * noise;
            left -= spread * spread.transpose() / variance;
        }
        let gained = now - doubt(&left);
        if gained > WORTH * now && best.is_none_or(|(_, most)| gained > most) {
            best = Some((reading, gained));
        }
    }
    (pairs, best.map(|(reading, _)| reading))
}
