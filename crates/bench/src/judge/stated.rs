//! Stated probabilities against what came true.
//!
//! The fit of one circuit is Bayes' rule on a model, and a model's most probable state is right as often as the model is.
//! Simulated visits whose truth is known show where it promises too much (calls between a half and four fifths, where an
//! even layer hides behind a drawing that is a little off) and where too little (from there to 95 %). The table below
//! brings the promise to what was kept; how it was counted stands in `docs/methods/bore-state.md`.

use calc::infer::bore::BoreState;

/// Probability of the most probable state by the fit, and the share of such calls that was right: own simulation, 1,000
/// visits under matching laws (seeds from 8,000,000; the trials on the page begin at 6,000,000). From 95 % on nothing is
/// changed, so that no call becomes a sure one by this table.
const KEPT: [(f64, f64); 10] = [
    (0.0, 0.0),
    (0.25, 0.23),
    (0.40, 0.38),
    (0.50, 0.47),
    (0.60, 0.575),
    (0.70, 0.67),
    (0.80, 0.745),
    (0.88, 0.925),
    (0.95, 0.95),
    (1.0, 1.0),
];

/// The same state with its probabilities brought to what was kept. The order of the states stays.
pub(super) fn as_kept(mut state: BoreState) -> BoreState {
    let stated = state.probabilities();
    let (mut best, mut second) = (0.0_f64, 0.0_f64);
    for p in stated {
        second = second.max(p.min(best));
        best = best.max(p);
    }
    let others = 1.0 - best;
    if !(0.0..1.0).contains(&best) || others <= 0.0 {
        return state;
    }
    // The second would overtake below this.
    let least = second / (others + second);
    let kept = kept(best).max(least);
    let [as_new, even_deposit, local_plug, mixed, rough, unknown] =
        stated.map(|p| if p < best { p * (1.0 - kept) / others } else { kept });
    let before = state.local_plug + state.mixed;
    if before > 0.0 {
        state.plugged_branch *= (local_plug + mixed) / before;
    }
    (state.as_new, state.even_deposit, state.local_plug) = (as_new, even_deposit, local_plug);
    (state.mixed, state.rough, state.unknown) = (mixed, rough, unknown);
    state
}

fn kept(stated: f64) -> f64 {
    let above = KEPT.partition_point(|(at, _)| *at <= stated).clamp(1, KEPT.len() - 1);
    match (KEPT.get(above - 1), KEPT.get(above)) {
        (Some((from, low)), Some((to, high))) => low + (high - low) * (stated - from) / (to - from),
        _ => stated,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn state(p: [f64; 6]) -> BoreState {
        let [as_new, even_deposit, local_plug, mixed, rough, unknown] = p;
        BoreState {
            as_new,
            even_deposit,
            local_plug,
            mixed,
            rough,
            unknown,
            plugged_branch: 0.5 * local_plug,
            layer_share: None,
            thickness_mm: None,
            plug_bore_mm: None,
            mass_g: None,
            fit: 1.0,
            next: Vec::new(),
        }
    }

    #[test]
    fn probabilities_still_add_up_and_keep_their_order() {
        for p in [
            [0.9, 0.04, 0.03, 0.01, 0.01, 0.01],
            [0.42, 0.40, 0.1, 0.04, 0.02, 0.02],
            [0.1, 0.55, 0.2, 0.1, 0.03, 0.02],
            [1.0, 0.0, 0.0, 0.0, 0.0, 0.0],
            [1.0 / 6.0; 6],
        ] {
            let after = as_kept(state(p)).probabilities();
            assert!((after.iter().sum::<f64>() - 1.0).abs() < 1e-12, "{after:?}");
            for (i, j) in (0..6).flat_map(|i| (0..6).map(move |j| (i, j))) {
                assert!(p[i] <= p[j] || after[i] >= after[j] - 1e-12, "{p:?} {after:?}");
            }
        }
    }

    #[test]
    fn the_table_rises_and_makes_no_sure_calls() {
        let mut before = -1.0;
        for step in 0..=1000 {
            let p = f64::from(step) / 1000.0;
            let now = kept(p);
            assert!(now >= before && (0.0..=1.0).contains(&now), "{p} {now}");
            assert!(p > 0.95 || now <= 0.95, "{p} {now}");
            before = now;
        }
        assert!((kept(0.75) - 0.7075).abs() < 1e-12 && (kept(0.97) - 0.97).abs() < 1e-12);
    }
}
