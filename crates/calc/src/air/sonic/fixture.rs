//! Taking hoses and couplings out of a measured conductance.

use super::{SonicPart, series};
use crate::estimate::{Estimate, Uncertain, Z95, root_sum_square};
use crate::limits::{OutOfRange, within};
use crate::numeric::{math, root};
use crate::quantity::SonicConductance;

/// Critical ratio of hoses with couplings where nobody measured it, with its standard uncertainty (marching hoses of 9 to
/// 13 mm with couplings through the line model).
pub const FIXTURE_CRITICAL_RATIO: Uncertain = Uncertain::new(0.20, 0.04);
/// The same for a circuit alone whose pieces are not known: 0.05 for long bores to 0.45 for short ones.
pub const CIRCUIT_CRITICAL_RATIO: Uncertain = Uncertain::new(0.25, 0.09);

/// Hoses and couplings joined together without a mould.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fixture {
    /// Sonic conductance.
    pub conductance: SonicConductance,
    /// Relative standard uncertainty of the conductance (0.03 for 3 %).
    pub relative_standard: f64,
    /// Critical ratio with its standard uncertainty.
    pub critical_ratio: Uncertain,
    /// On which side of the circuit the fixture lies.
    pub place: Place,
}

/// On which side of the circuit the fixture lies.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Place {
    /// All of it before the circuit.
    Before,
    /// All of it behind the circuit.
    After,
    /// Half before, half behind: a hose with couplings on each side.
    #[default]
    BothSides,
}

/// A measured conductance that still holds the fixture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WithFixture {
    /// Sonic conductance of circuit and fixture together.
    pub conductance: SonicConductance,
    /// Standard uncertainty of its logarithm.
    pub standard_ln: f64,
    /// Critical ratio expected of the circuit alone, with its standard uncertainty.
    pub circuit_critical_ratio: Uncertain,
}

/// What is left when the fixture is taken out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Removed {
    /// The circuit alone.
    Found {
        /// Sonic conductance in dm3/(s bar).
        conductance_dm3_s_bar: Estimate,
        /// Standard uncertainty of its logarithm.
        standard_ln: f64,
    },
    /// The fixture is so much narrower that the circuit shows only as 'at least so open'.
    Hidden {
        /// Lower 95 % bound.
        at_least: SonicConductance,
    },
    /// More passes than the fixture alone lets through, beyond what the uncertainties allow: one of the two is wrong.
    Contradiction {
        /// Conductance of the fixture.
        fixture: SonicConductance,
    },
}

/// Room that the model of the chain itself leaves in ln C of the whole, per share that the whole has of the fixture:
/// parts are no exact ellipses, and the hoses before and behind differ (found by marching hoses and circuits together
/// and apart: the circuit comes out 0.5 % wrong behind hoses three times as open, 8 % behind hoses less open than it).
const CHAIN_STANDARD_LN: f64 = 0.024;
/// A circuit so many times as open as the fixture is not told from an open end.
const OPEN_END: f64 = 1e3;

impl Fixture {
    /// A fixture half before, half behind the circuit, critical ratio from [`FIXTURE_CRITICAL_RATIO`].
    #[must_use]
    pub const fn on_both_sides(conductance: SonicConductance, relative_standard: f64) -> Self {
        Self {
            conductance,
            relative_standard,
            critical_ratio: FIXTURE_CRITICAL_RATIO,
            place: Place::BothSides,
        }
    }

    /// The parts before and behind the circuit, so that both joined give the fixture's conductance.
    fn sides(&self, critical_ratio: f64) -> Result<(Option<SonicPart>, Option<SonicPart>), OutOfRange> {
        let whole = SonicPart::new(self.conductance, critical_ratio.clamp(0.0, 0.8))?;
        Ok(match self.place {
            Place::Before => (Some(whole), None),
            Place::After => (None, Some(whole)),
            Place::BothSides => {
                let two = series(&[whole, whole]).unwrap_or(whole);
                let half = whole.scaled(whole.conductance() / two.conductance());
                (Some(half), Some(half))
            }
        })
    }

    /// The circuit between the two sides of the fixture, as one part.
    ///
    /// # Errors
    /// [`OutOfRange`] for a fixture without conductance.
    pub fn around(&self, circuit: SonicPart) -> Result<SonicPart, OutOfRange> {
        let (before, after) = self.sides(self.critical_ratio.value)?;
        Ok(chain(before, circuit, after))
    }
}

fn chain(before: Option<SonicPart>, circuit: SonicPart, after: Option<SonicPart>) -> SonicPart {
    let parts: Vec<SonicPart> = before.into_iter().chain([circuit]).chain(after).collect();
    series(&parts).unwrap_or(circuit)
}

/// Takes the fixture out: solves the series relation for the circuit.
///
/// Uncertainty: first order in the measured total, the fixture's conductance and both critical ratios, carried on
/// `1/C^2`, in which removal is nearly a plain subtraction; the interval is the 95 % interval there, carried back. If
/// it reaches 'no resistance', the fixture hides the circuit.
///
/// # Errors
/// [`OutOfRange`] for conductances that are not positive or uncertainties outside 0 to 1.
pub fn remove(total: &WithFixture, fixture: &Fixture) -> Result<Removed, OutOfRange> {
    within("fixture_sonic_conductance_dm3_s_bar", fixture.conductance.dm3_s_bar(), 1e-9, 1e6, "dm3/(s bar)")?;
    within("sonic_conductance_dm3_s_bar", total.conductance.dm3_s_bar(), 1e-9, 1e6, "dm3/(s bar)")?;
    within("fixture_uncertainty", fixture.relative_standard, 0.0, 1.0, "(pure number)")?;
    let share = total.conductance / fixture.conductance;
    let chain_ln = CHAIN_STANDARD_LN * share.min(1.0);
    if math::ln(share) > 3.0 * root_sum_square(&[total.standard_ln, fixture.relative_standard, chain_ln]) {
        return Ok(Removed::Contradiction { fixture: fixture.conductance });
    }
    let at = |shift: Shift| resistance(total, fixture, shift);
    let middle = at(Shift::default())?;
    let none = Shift::default();
    let half_standards = [
        Shift { total_ln: 0.5 * total.standard_ln, ..none },
        Shift { fixture_ln: 0.5 * fixture.relative_standard, ..none },
        Shift { fixture_ratio: 0.5 * fixture.critical_ratio.standard, ..none },
        Shift { circuit_ratio: 0.5 * total.circuit_critical_ratio.standard, ..none },
    ];
    let mut variance = (2.0 * chain_ln * total.inverse_square()).powi(2);
    for step in half_standards {
        let change = at(step)? - at(step.reversed())?;
        variance += change * change;
    }
    let standard = variance.sqrt();
    let (least, most) = (middle - Z95 * standard, middle + Z95 * standard);
    let open = total.inverse_square() / (OPEN_END * OPEN_END);
    if least <= open || middle <= 2.0 * open {
        // The two-sided factor for a one-sided bound: hidden circuits are picked out by errors to that side.
        let bound = (middle + Z95 * standard).max(open);
        return Ok(Removed::Hidden { at_least: SonicConductance::from_dm3_s_bar(1.0 / bound.sqrt()) });
    }
    let back = |resistance: f64| 1.0 / resistance.sqrt();
    Ok(Removed::Found {
        conductance_dm3_s_bar: Estimate {
            value: back(middle),
            low: back(most),
            high: back(least),
            coverage: 0.95,
        },
        standard_ln: standard / (2.0 * middle),
    })
}

/// A step in the uncertain inputs.
#[derive(Clone, Copy, Default)]
struct Shift {
    total_ln: f64,
    fixture_ln: f64,
    fixture_ratio: f64,
    circuit_ratio: f64,
}

impl Shift {
    fn reversed(self) -> Self {
        Self {
            total_ln: -self.total_ln,
            fixture_ln: -self.fixture_ln,
            fixture_ratio: -self.fixture_ratio,
            circuit_ratio: -self.circuit_ratio,
        }
    }
}

impl WithFixture {
    fn inverse_square(&self) -> f64 {
        let c = self.conductance.dm3_s_bar();
        1.0 / (c * c)
    }
}

/// `1/C^2` of the circuit; beyond 'no resistance' continued by the plain difference, which is negative there.
fn resistance(total: &WithFixture, fixture: &Fixture, shift: Shift) -> Result<f64, OutOfRange> {
    let wanted = total.conductance.dm3_s_bar() * math::exp(shift.total_ln);
    let moved = Fixture { conductance: fixture.conductance * math::exp(shift.fixture_ln), ..*fixture };
    let (before, after) = moved.sides(fixture.critical_ratio.value + shift.fixture_ratio)?;
    let ratio = (total.circuit_critical_ratio.value + shift.circuit_ratio).clamp(0.0, 0.8);
    let unit = SonicPart::new(SonicConductance::from_dm3_s_bar(1.0), ratio)?;
    let through = |circuit: f64| chain(before, unit.scaled(circuit), after).conductance().dm3_s_bar();
    let widest = wanted * OPEN_END;
    let open = through(widest);
    if wanted >= open {
        return Ok(1.0 / (wanted * wanted) - 1.0 / (open * open) + 1.0 / (widest * widest));
    }
    let found = root::bracketed(
        |x| math::ln(through(math::exp(x)) / wanted),
        math::ln(wanted) - 1e-9,
        math::ln(widest),
        1e-12,
    )
    .unwrap_or_else(|_| math::ln(wanted));
    Ok(math::exp(-2.0 * found))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dm3(value: f64) -> SonicConductance {
        SonicConductance::from_dm3_s_bar(value)
    }

    fn measured(value: f64, standard_ln: f64) -> WithFixture {
        WithFixture {
            conductance: dm3(value),
            standard_ln,
            circuit_critical_ratio: Uncertain::new(0.3, 0.05),
        }
    }

    fn fixture(value: f64, place: Place) -> Fixture {
        Fixture {
            critical_ratio: Uncertain::new(0.3, 0.05),
            place,
            ..Fixture::on_both_sides(dm3(value), 0.02)
        }
    }

    #[test]
    fn removal_undoes_the_closed_form() {
        // Two parts, b 0.3 (closed form of the literature): 2 before 1 gives 0.92131, 1 before 2 gives 0.96535.
        for (place, value) in [(Place::Before, 0.921_31), (Place::After, 0.965_35)] {
            let removed = remove(&measured(value, 0.005), &fixture(2.0, place)).unwrap();
            let Removed::Found { conductance_dm3_s_bar, standard_ln } = removed else {
                panic!("{removed:?}")
            };
            assert!((conductance_dm3_s_bar.value - 1.0).abs() < 1e-4, "{conductance_dm3_s_bar:?}");
            assert!(conductance_dm3_s_bar.holds(1.0) && standard_ln > 0.005);
        }
    }

    #[test]
    fn around_and_remove_undo_each_other() {
        for circuit in [0.3, 1.0, 3.0] {
            let fixture = fixture(4.0, Place::BothSides);
            let part = SonicPart::new(dm3(circuit), 0.3).unwrap();
            let total = fixture.around(part).unwrap().conductance().dm3_s_bar();
            let removed = remove(&measured(total, 0.003), &fixture).unwrap();
            let Removed::Found { conductance_dm3_s_bar, .. } = removed else { panic!("{removed:?}") };
            assert!((conductance_dm3_s_bar.value / circuit - 1.0).abs() < 1e-6);
        }
    }

    #[test]
    fn a_narrow_fixture_hides_a_wide_circuit() {
        let fixture = fixture(1.0, Place::BothSides);
        let total = fixture.around(SonicPart::new(dm3(10.0), 0.3).unwrap()).unwrap();
        let removed = remove(&measured(total.conductance().dm3_s_bar(), 0.01), &fixture).unwrap();
        let Removed::Hidden { at_least } = removed else { panic!("{removed:?}") };
        assert!(at_least.dm3_s_bar() > 1.0 && at_least.dm3_s_bar() < 10.0, "{at_least:?}");
    }

    #[test]
    fn more_than_the_fixture_passes_is_a_contradiction() {
        let removed = remove(&measured(1.5, 0.01), &fixture(1.0, Place::BothSides)).unwrap();
        assert_eq!(removed, Removed::Contradiction { fixture: dm3(1.0) });
        assert!(remove(&measured(1.5, 0.01), &fixture(0.0, Place::Before)).is_err());
    }
}
