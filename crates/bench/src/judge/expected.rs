//! What a circuit should show as new, from its baseline or its pieces, for questions about what somebody typed.

use super::expect::{AsNew, baseline_in_words, geometry, surer};
use crate::mould::Circuit;

/// Flow factor in m3/h, spread of its logarithm, and what it was taken from.
pub(crate) fn flow_factor(circuit: &Circuit) -> Option<(f64, f64, String)> {
    let baseline = circuit.baseline.as_ref();
    let known = baseline.map(|base| AsNew::of(base.flow_factor_m3_h, baseline_in_words(base)));
    let drawn = geometry(circuit).as_ref().and_then(super::expect::Geometry::flow_factor);
    surer(known, drawn).map(|new| (new.value, new.standard_ln, new.from))
}

/// Filled volume in ml, and what it was taken from.
pub(crate) fn filled_volume_ml(circuit: &Circuit) -> Option<(f64, String)> {
    let baseline = circuit.baseline.as_ref();
    let known = baseline.and_then(|base| Some(AsNew::of(base.filled_volume_ml?, baseline_in_words(base))));
    let drawn = geometry(circuit).as_ref().map(super::expect::Geometry::volume_ml);
    surer(known, drawn).map(|new| (new.value, new.from))
}
