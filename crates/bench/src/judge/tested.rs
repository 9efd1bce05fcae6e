//! The volume that a reading of air filled: the circuit, and the hoses up to it.

use super::expect::AsNew;
use crate::visit::Rig;

/// A volume under test.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct TestedVolume {
    pub(crate) total_ml: f64,
    /// Relative standard uncertainty.
    pub(crate) relative: f64,
    /// Part of it that is hoses and couplings.
    pub(crate) hose_ml: f64,
    pub(crate) from: String,
}

/// Hoses of an ordinary bench where the rig file does not say: 2 m of 11 mm, known to half (simulated in preparation).
const HOSES_UNKNOWN: (f64, f64) = (190.0, 0.5);
/// How well a rig's own fixture volume is known (own proposal).
const HOSES_KNOWN: f64 = 0.03;
/// A circuit of which nothing is known: simulated circuits lie between 4 and 900 ml (the population simulated in preparation).
const CIRCUIT_UNKNOWN: (f64, f64) = (100.0, 0.9);

/// The volume from what is known of the circuit (in ml) and of the rig's hoses.
pub(crate) fn tested_volume(circuit: Option<&AsNew>, rig: &Rig) -> TestedVolume {
    let (hose_ml, hose_relative) =
        rig.fixture_volume.map_or(HOSES_UNKNOWN, |volume| (volume.ml(), HOSES_KNOWN));
    let (circuit_ml, circuit_ln, from) = circuit
        .map_or((CIRCUIT_UNKNOWN.0, CIRCUIT_UNKNOWN.1, "nothing known, any ordinary circuit"), |known| {
            (known.value, known.standard_ln, known.from.as_str())
        });
    let total_ml = circuit_ml + hose_ml;
    let spread = calc::estimate::root_sum_square(&[circuit_ml * circuit_ln, hose_ml * hose_relative]);
    TestedVolume { total_ml, relative: spread / total_ml, hose_ml, from: from.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use calc::quantity::Volume;

    #[test]
    fn circuit_and_hoses_add() {
        let rig = Rig { fixture_volume: Some(Volume::from_ml(310.0)), ..Rig::default() };
        let tested = tested_volume(Some(&AsNew::new(100.0, 0.05, "drawing")), &rig);
        assert!((tested.total_ml - 410.0).abs() < 1e-9);
        let spread = (25.0_f64 + 86.49).sqrt() / 410.0;
        assert!((tested.relative - spread).abs() < 1e-9);
    }

    #[test]
    fn nothing_known_is_wide() {
        assert!(tested_volume(None, &Rig::default()).relative > 0.4);
    }
}
