//! Parts behind each other and beside each other (ISO 6358-3 sense).

use super::{SonicError, SonicPart};
use crate::numeric::root;
use crate::quantity::SonicConductance;

/// Parts in flow order as one part.
///
/// Two parts: the closed form for the elliptic flow function. More: the largest flow that every part can pass, found
/// on the pressures between them. The order counts: a wide part in front of a narrow one passes less than behind it.
/// The critical ratio is the outlet pressure at which the chain just chokes; between that and equal pressures the
/// chain's flow is close to, but not exactly, an ellipse. Source key `iso-6358-3`.
///
/// # Errors
/// [`SonicError::NoPart`] without parts.
pub fn series(parts: &[SonicPart]) -> Result<SonicPart, SonicError> {
    let (Some(first), Some(last)) = (parts.first(), parts.last()) else { return Err(SonicError::NoPart) };
    let conductance = match parts {
        [one] => return Ok(*one),
        [one, two] => two_in_series(*one, *two),
        _ => largest_flow(parts),
    };
    let ratio = outlet_pressure(parts, conductance)
        .unwrap_or(0.0)
        .clamp(0.0, first.critical_ratio.max(last.critical_ratio));
    Ok(SonicPart { conductance: SonicConductance::from_dm3_s_bar(conductance), critical_ratio: ratio })
}

/// Parts side by side between the same pressures as one part: conductances add; the critical ratio is chosen so that
/// the flow at nearly equal pressures is the sum of the parts' flows (`C/sqrt(1-b)` adds; trade formula, from memory).
///
/// # Errors
/// [`SonicError::NoPart`] without parts.
pub fn parallel(parts: &[SonicPart]) -> Result<SonicPart, SonicError> {
    if parts.is_empty() {
        return Err(SonicError::NoPart);
    }
    let total: f64 = parts.iter().map(|part| part.conductance.dm3_s_bar()).sum();
    let open: f64 =
        parts.iter().map(|part| part.conductance.dm3_s_bar() / (1.0 - part.critical_ratio).sqrt()).sum();
    let ratio = (1.0 - (total / open) * (total / open)).max(0.0);
    Ok(SonicPart { conductance: SonicConductance::from_dm3_s_bar(total), critical_ratio: ratio })
}

/// Conductance in dm3/(s bar) of two parts; exact for the ellipse.
fn two_in_series(one: SonicPart, two: SonicPart) -> f64 {
    let (c1, c2) = (one.conductance.dm3_s_bar(), two.conductance.dm3_s_bar());
    let b1 = one.critical_ratio;
    if c1 <= c2 * b1 {
        return c1;
    }
    // The second part is choked: its flow C2 p equals the first part's; with r = p/p1 and w = C2/C1,
    // (w r)^2 + ((r - b)/(1 - b))^2 = 1, the larger root.
    let w = c2 / c1;
    let s = 1.0 - b1;
    let a = w * w + 1.0 / (s * s);
    let half = b1 / (s * s);
    let c = (b1 / s) * (b1 / s) - 1.0;
    let r = (half + (half * half - a * c).max(0.0).sqrt()) / a;
    c2 * r
}

/// Pressure ratio on the plain ellipse, without the straight last piece that the closed form does not know.
fn ratio_on_ellipse(part: SonicPart, share: f64) -> f64 {
    let b = part.critical_ratio;
    b + (1.0 - b) * (1.0 - share * share).max(0.0).sqrt()
}

/// Pressure behind the last part at this flow, with 1 bar in front; nothing if a part cannot pass the flow.
fn outlet_pressure(parts: &[SonicPart], flow: f64) -> Option<f64> {
    let mut pressure = 1.0;
    for part in parts {
        let share = flow / (part.conductance.dm3_s_bar() * pressure);
        if share > 1.0 + 1e-9 {
            return None;
        }
        pressure *= ratio_on_ellipse(*part, share);
    }
    Some(pressure)
}

/// How far the chain is from its limit at this flow: the least spare flow of a part, negative once a part cannot pass
/// it. Falls as the flow grows.
fn spare_flow(parts: &[SonicPart], flow: f64) -> f64 {
    let mut pressure = 1.0;
    let mut least = f64::INFINITY;
    for part in parts {
        let able = part.conductance.dm3_s_bar() * pressure;
        least = least.min(able - flow);
        if least < 0.0 {
            return least;
        }
        pressure *= ratio_on_ellipse(*part, flow / able);
    }
    least
}

fn largest_flow(parts: &[SonicPart]) -> f64 {
    let narrowest = parts.iter().map(|part| part.conductance.dm3_s_bar()).fold(f64::INFINITY, f64::min);
    root::bracketed(|flow| spare_flow(parts, flow), 0.0, narrowest * (1.0 + 1e-12), narrowest * 1e-14)
        .unwrap_or(narrowest)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(conductance: f64, ratio: f64) -> SonicPart {
        SonicPart::new(SonicConductance::from_dm3_s_bar(conductance), ratio).unwrap()
    }

    fn in_series(parts: &[SonicPart]) -> f64 {
        series(parts).unwrap().conductance().dm3_s_bar()
    }

    /// The closed form as it stands in the pneumatics literature (from memory), written differently from ours.
    fn literature(c1: f64, b1: f64, c2: f64) -> f64 {
        let a = c1 / (c2 * b1);
        if a <= 1.0 {
            return c1;
        }
        let q = (1.0 - b1) / b1;
        c2 * a * (a * b1 + (1.0 - b1) * (a * a + q * q - 1.0).sqrt()) / (a * a + q * q)
    }

    #[test]
    fn two_parts_agree_with_the_closed_form_of_the_literature() {
        for (one, two, value) in [
            ((1.0, 0.3), (1.0, 0.3), 0.757_22),
            ((2.0, 0.3), (1.0, 0.3), 0.921_31),
            ((1.0, 0.3), (2.0, 0.3), 0.965_35),
            ((1.0, 0.5), (1.0, 0.1), 0.800_00),
            ((0.5, 0.2), (0.5, 0.2), 0.369_49),
        ] {
            let ours = in_series(&[part(one.0, one.1), part(two.0, two.1)]);
            assert!((ours - value).abs() < 6e-6, "{one:?} {two:?}: {ours}");
            assert!((ours - literature(one.0, one.1, two.0)).abs() < 1e-12);
        }
    }

    #[test]
    fn many_parts_agree_with_pairs_of_pairs_where_that_is_exact() {
        // A chain whose first part is by far the narrowest passes exactly what that part passes.
        assert!((in_series(&[part(0.2, 0.4), part(5.0, 0.3), part(5.0, 0.3)]) - 0.2).abs() < 1e-12);
        // A wide part in front of a narrow one changes neither conductance nor critical ratio.
        let behind_wide = series(&[part(5_000.0, 0.3), part(1.0, 0.3)]).unwrap();
        assert!((behind_wide.conductance().dm3_s_bar() - 1.0).abs() < 1e-6);
        assert!((behind_wide.critical_ratio() - 0.3).abs() < 1e-6);
        // Solving on intermediate pressures equals the closed form for two parts.
        for (one, two) in [((1.0, 0.3), (1.0, 0.3)), ((2.0, 0.1), (1.0, 0.5)), ((0.3, 0.5), (1.0, 0.2))] {
            let pair = [part(one.0, one.1), part(two.0, two.1)];
            assert!((largest_flow(&pair) - in_series(&pair)).abs() < 1e-10, "{one:?} {two:?}");
        }
    }

    #[test]
    fn a_chain_passes_less_than_its_narrowest_part_and_chokes_lower() {
        let chain = [part(1.0, 0.3), part(1.2, 0.25), part(0.9, 0.35), part(1.0, 0.3)];
        let whole = series(&chain).unwrap();
        assert!(whole.conductance().dm3_s_bar() < 0.9);
        assert!(whole.critical_ratio() < 0.3);
        // At the critical outlet pressure the chain passes its full flow, by marching.
        let outlet = outlet_pressure(&chain, whole.conductance().dm3_s_bar()).unwrap();
        assert!((outlet - whole.critical_ratio()).abs() < 1e-9);
        assert!(outlet_pressure(&chain, whole.conductance().dm3_s_bar() * 1.001).is_none());
    }

    #[test]
    fn trade_rules_bracket_the_exact_value() {
        // Trade rules for two equal parts: cubes add gives 0.794, squares add gives 0.707; the exact value lies between.
        let exact = in_series(&[part(1.0, 0.3), part(1.0, 0.3)]);
        assert!(0.707 < exact && exact < 0.794);
    }

    #[test]
    fn side_by_side_adds() {
        let both = parallel(&[part(1.0, 0.3), part(2.0, 0.3)]).unwrap();
        assert!((both.conductance().dm3_s_bar() - 3.0).abs() < 1e-12);
        assert!((both.critical_ratio() - 0.3).abs() < 1e-12);
        assert_eq!(parallel(&[]), Err(SonicError::NoPart));
        assert_eq!(series(&[]), Err(SonicError::NoPart));
    }
}
