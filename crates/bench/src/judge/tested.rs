//! The volume that a reading of air filled: the circuit, and the hoses up to it.

use calc::estimate::root_sum_square;
use calc::numeric::math;

use super::expect::AsNew;
use super::facts::VolumeFact;
use super::volume::INLET_SHARE;
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

/// Hoses of an ordinary bench where the rig file does not say, with the spread of the logarithm: 1 to 3 m of 9 to 13 mm
/// each way (own choice).
pub(crate) const HOSES_UNKNOWN: (f64, f64) = (340.0, 0.45);
/// How well the share of the hoses that lies on the supply side is known, relative to that side (own proposal).
const ONE_SIDE: f64 = 0.06;
/// How well a rig's own fixture volume is known (own proposal).
const HOSES_KNOWN: f64 = 0.025;
/// A circuit of which nothing is known: simulated circuits lie between 4 and 900 ml (the population simulated in preparation).
const CIRCUIT_UNKNOWN: (f64, f64) = (100.0, 0.9);

/// A layer that leaves this share of the flow leaves at least this power of it of the volume: turbulent flow goes with the
/// diameter's power 2.5, volume with its square.
const VOLUME_POWER: f64 = 0.8;
/// Of the volume that a layer all along could have taken, what is reckoned with, and its standard deviation: plugs and
/// roughness take flow and no volume (own choice).
const OF_A_LAYER: (f64, f64) = (0.5, 0.4);
/// What deposits have taken where no flow was read, share of the volume as new, and its standard deviation (own choice).
const UNREAD: (f64, f64) = (0.06, 0.12);
/// What a circuit up to an unknown place of its block holds: even between none and all.
const UP_TO_A_BLOCK: (f64, f64) = (0.5, 0.29);

/// The volume of a used circuit from that as new, and from what is left of its flow: share with the spread of its
/// logarithm.
pub(crate) fn used(as_new: &AsNew, flow_left: Option<(f64, f64)>) -> AsNew {
    let (lost, spread) = match flow_left {
        Some((share, ln)) => {
            let could = 1.0 - math::powf(share.clamp(0.1, 1.0), VOLUME_POWER);
            let unsure = OF_A_LAYER.0 * VOLUME_POWER * ln.min(0.3);
            (OF_A_LAYER.0 * could, root_sum_square(&[OF_A_LAYER.1 * could, unsure]))
        }
        None => UNREAD,
    };
    let ln = root_sum_square(&[as_new.standard_ln, spread / (1.0 - lost)]);
    AsNew { value: as_new.value * (1.0 - lost), standard_ln: ln, from: as_new.from.clone() }
}

/// Of a blocked circuit, air fills the hoses of the supply side and the bore up to the block.
pub(crate) fn up_to_block(circuit: Option<&AsNew>, seen: &VolumeFact, rig: &Rig) -> TestedVolume {
    let (hose_ml, hose_relative) = hoses(rig);
    let side = (hose_ml * INLET_SHARE, root_sum_square(&[hose_relative, ONE_SIDE]));
    let (bore_ml, spread_ml, from) = match seen.seen_ml {
        Some((value, other_side_ml)) => {
            ((value.value + other_side_ml).max(0.0), value.standard, "measured up to the block")
        }
        None => {
            let all_ml = circuit.map_or(CIRCUIT_UNKNOWN.0, |known| known.value);
            (all_ml * UP_TO_A_BLOCK.0, all_ml * UP_TO_A_BLOCK.1, "blocked somewhere")
        }
    };
    let total_ml = side.0 + bore_ml;
    let spread_ml = root_sum_square(&[side.0 * side.1, spread_ml]);
    TestedVolume { total_ml, relative: spread_ml / total_ml, hose_ml: side.0, from: from.to_owned() }
}

fn hoses(rig: &Rig) -> (f64, f64) {
    rig.fixture_volume.map_or(HOSES_UNKNOWN, |volume| (volume.ml(), HOSES_KNOWN))
}

/// The volume from what is known of the circuit (in ml) and of the rig's hoses.
pub(crate) fn tested_volume(circuit: Option<&AsNew>, rig: &Rig) -> TestedVolume {
    let (hose_ml, hose_relative) = hoses(rig);
    let (circuit_ml, circuit_ln, from) = circuit
        .map_or((CIRCUIT_UNKNOWN.0, CIRCUIT_UNKNOWN.1, "nothing known, any ordinary circuit"), |known| {
            (known.value, known.standard_ln, known.from.as_str())
        });
    let total_ml = circuit_ml + hose_ml;
    let spread = root_sum_square(&[circuit_ml * circuit_ln, hose_ml * hose_relative]);
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
        let spread = (25.0_f64 + 60.0625).sqrt() / 410.0;
        assert!((tested.relative - spread).abs() < 1e-9);
    }

    #[test]
    fn what_flow_is_lost_may_be_volume_lost() {
        let new = AsNew::new(100.0, 0.03, "drawing");
        let whole = used(&new, Some((1.0, 0.0)));
        assert!((whole.value - 100.0).abs() < 1e-9 && (whole.standard_ln - 0.03).abs() < 1e-9);
        // A layer that leaves half of the flow leaves 0.5^0.8 = 57 % of the volume; a plug leaves all of it.
        let half = used(&new, Some((0.5, 0.02)));
        assert!(half.value - 1.5 * half.value * half.standard_ln < 57.4 && half.value < 100.0);
        assert!(half.value + 1.5 * half.value * half.standard_ln > 100.0);
        let unread = used(&new, None);
        assert!(unread.value < 100.0 && unread.standard_ln > 0.1);
    }

    #[test]
    fn a_block_leaves_one_side() {
        let rig = Rig { fixture_volume: Some(Volume::from_ml(200.0)), ..Rig::default() };
        let circuit = AsNew::new(100.0, 0.03, "drawing");
        let unseen = up_to_block(Some(&circuit), &VolumeFact::default(), &rig);
        assert!((unseen.total_ml - (0.53 * 200.0 + 50.0)).abs() < 1e-9);
        assert!(unseen.relative * unseen.total_ml > 28.0);
        // 146 ml came out through the hoses: 106 of the supply side and 40 up to the block.
        let filled = calc::estimate::Uncertain::new(146.0 - 200.0, 6.0);
        let seen = VolumeFact { seen_ml: Some((filled, 0.47 * 200.0)), ..VolumeFact::default() };
        let tested = up_to_block(Some(&circuit), &seen, &rig);
        assert!((tested.total_ml - 146.0).abs() < 1e-9, "{}", tested.total_ml);
    }

    #[test]
    fn nothing_known_is_wide() {
        assert!(tested_volume(None, &Rig::default()).relative > 0.4);
    }
}
