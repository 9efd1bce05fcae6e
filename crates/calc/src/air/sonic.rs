//! Flow of air through parts and chains of parts in the sense of ISO 6358.
//!
//! A part is known by its sonic conductance `C` and its critical pressure ratio `b`: below `b` the flow no longer
//! depends on the pressure behind the part. Conductances here refer to 20 degC and 1 bar.

pub mod fixture;
pub mod line;
pub mod series;

pub use series::{parallel, series};

use crate::air::gas::{GAS_CONSTANT_J_KG_K, REFERENCE_DENSITY_KG_M3, REFERENCE_TEMPERATURE_K};
use crate::limits::{OutOfRange, within};
use crate::quantity::{AbsolutePressure, Length, SonicConductance, Temperature, VolumeFlow};

/// Pressure of the reference state of ISO 8778.
pub const REFERENCE_PRESSURE_PA: f64 = 1e5;
/// Above this pressure ratio the flow falls on a straight line: the ellipse of ISO 6358 has an infinite slope at equal
/// pressures, which no real part has (our own choice inside the range that simulators use, 0.995 to 0.999).
pub const LINEAR_ABOVE: f64 = 0.999;
/// Range of the critical pressure ratio.
pub const CRITICAL_RATIO_RANGE: (f64, f64) = (0.0, 0.9);

/// A part of an air path: how much passes, and from which pressure ratio on it is choked.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SonicPart {
    conductance: SonicConductance,
    critical_ratio: f64,
}

/// Why parts could not be put together.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SonicError {
    /// No part was given.
    #[error("no part given; at least one is needed")]
    NoPart,
    /// A value outside its range.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
}

impl SonicPart {
    /// A part from its sonic conductance (above zero) and critical pressure ratio (0 to 0.9).
    ///
    /// # Errors
    /// [`OutOfRange`] outside these ranges.
    pub fn new(conductance: SonicConductance, critical_ratio: f64) -> Result<Self, OutOfRange> {
        within("sonic_conductance_dm3_s_bar", conductance.dm3_s_bar(), 1e-12, 1e6, "dm3/(s bar)")?;
        let (low, high) = CRITICAL_RATIO_RANGE;
        within("critical_ratio", critical_ratio, low, high, "(pure number)")?;
        Ok(Self { conductance, critical_ratio })
    }

    /// Sonic conductance.
    #[must_use]
    pub const fn conductance(self) -> SonicConductance {
        self.conductance
    }

    /// Critical pressure ratio.
    #[must_use]
    pub const fn critical_ratio(self) -> f64 {
        self.critical_ratio
    }

    /// The same part with its conductance multiplied by a positive factor.
    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        Self { conductance: self.conductance * factor, ..self }
    }

    /// Flow at a pressure ratio (downstream to upstream, absolute) as a share of the choked flow; ISO 6358-1, with the
    /// exponent 0.5. Zero for ratios of 1 and more. Source key `iso-6358`.
    #[must_use]
    pub fn flow_share(self, ratio: f64) -> f64 {
        flow_share(ratio, self.critical_ratio)
    }

    /// The pressure ratio at which this share of the choked flow passes; the critical ratio for shares of 1 and more.
    #[must_use]
    pub fn ratio_at_share(self, share: f64) -> f64 {
        let b = self.critical_ratio;
        let knee = ellipse(LINEAR_ABOVE, b);
        if share >= 1.0 {
            b
        } else if share <= knee {
            1.0 - (1.0 - LINEAR_ABOVE) * share.max(0.0) / knee
        } else {
            b + (1.0 - b) * (1.0 - share * share).sqrt()
        }
    }

    /// Volume of air of the reference state (20 degC, 1 bar) that passes per time.
    #[must_use]
    pub fn reference_flow(
        self,
        upstream: AbsolutePressure,
        downstream: AbsolutePressure,
        temperature: Temperature,
    ) -> VolumeFlow {
        let colder = (REFERENCE_TEMPERATURE_K / temperature.k()).sqrt();
        let share = self.flow_share(downstream.pa() / upstream.pa());
        VolumeFlow::from_m3_s(self.conductance.m3_s_pa() * upstream.pa() * colder * share)
    }

    /// Mass that passes per time in kg/s, with the reference density of ISO 8778 (1.185 kg/m3).
    #[must_use]
    pub fn mass_flow_kg_s(
        self,
        upstream: AbsolutePressure,
        downstream: AbsolutePressure,
        temperature: Temperature,
    ) -> f64 {
        self.reference_flow(upstream, downstream, temperature).m3_s() * REFERENCE_DENSITY_KG_M3
    }
}

/// The flow function of ISO 6358-1 with exponent 0.5 and a straight last piece.
pub(crate) fn flow_share(ratio: f64, critical_ratio: f64) -> f64 {
    if ratio <= critical_ratio {
        1.0
    } else if ratio <= LINEAR_ABOVE {
        ellipse(ratio, critical_ratio)
    } else {
        ellipse(LINEAR_ABOVE, critical_ratio) * ((1.0 - ratio) / (1.0 - LINEAR_ABOVE)).max(0.0)
    }
}

fn ellipse(ratio: f64, critical_ratio: f64) -> f64 {
    let along = (ratio - critical_ratio) / (1.0 - critical_ratio);
    (1.0 - along * along).max(0.0).sqrt()
}

/// Sonic conductance of an ideal nozzle of this bore: the choked isentropic flow of dry air, 0.200 dm3/(s bar) per mm2.
/// Source key `anderson-compressible`; range: any positive bore.
#[must_use]
pub fn nozzle_conductance(bore: Length) -> SonicConductance {
    let area_m2 = core::f64::consts::FRAC_PI_4 * bore.m() * bore.m();
    // q = A p sqrt(k/(R T)) (2/(k+1))^3 as mass for k = 1.4; times R T / p0 as volume of the reference state.
    let kappa = crate::air::gas::HEAT_CAPACITY_RATIO;
    let choke = kappa.sqrt() / 1.728;
    let speed = (GAS_CONSTANT_J_KG_K * REFERENCE_TEMPERATURE_K).sqrt();
    SonicConductance::from_m3_s_pa(area_m2 * choke * speed / REFERENCE_PRESSURE_PA)
}

/// The bore of the ideal nozzle that lets as much air through as a part of this conductance.
#[must_use]
pub fn effective_bore(conductance: SonicConductance) -> Length {
    let of_one_mm = nozzle_conductance(Length::from_mm(1.0));
    Length::from_mm((conductance / of_one_mm).max(0.0).sqrt())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn part(conductance: f64, ratio: f64) -> SonicPart {
        SonicPart::new(SonicConductance::from_dm3_s_bar(conductance), ratio).unwrap()
    }

    #[test]
    fn flow_of_a_catalogue_example() {
        // Technical section of a pneumatic catalogue on ISO 6358 (JIS B 8390): C 2, b 0.3, 0.4 to 0.3 MPa gauge, 20 degC:
        // 600 dm3/min at most, 420 dm3/min with the printed graph's 0.7. The example takes the atmosphere as 0.1 MPa.
        let (up, down) = (AbsolutePressure::from_bar(5.0), AbsolutePressure::from_bar(4.0));
        let warm = Temperature::from_deg_c(20.0);
        let flow = part(2.0, 0.3).reference_flow(up, down, warm);
        assert!((flow.l_min() / 420.0 - 1.0).abs() < 5e-4, "{}", flow.l_min());
        let choked = part(2.0, 0.3).reference_flow(up, AbsolutePressure::from_bar(1.0), warm);
        assert!((choked.l_min() - 600.0).abs() < 1e-9);
    }

    #[test]
    fn mass_flow_of_a_published_solver_case() {
        // Documentation of an open-source fluid-power solver: C 1e-8 m3/(s Pa), 700 kPa, 293.15 K, choked: 0.008295 kg/s.
        let flow = part(1.0, 0.3).mass_flow_kg_s(
            AbsolutePressure::from_bar(7.0),
            AbsolutePressure::from_bar(1.0),
            Temperature::from_k(293.15),
        );
        assert!((flow - 0.008_295).abs() < 1e-9);
    }

    #[test]
    fn share_and_ratio_undo_each_other() {
        for b in [0.0, 0.1, 0.3, 0.528, 0.8] {
            let part = part(1.0, b);
            for step in 1..1000 {
                let share = f64::from(step) / 1000.0;
                assert!((part.flow_share(part.ratio_at_share(share)) - share).abs() < 1e-9, "b {b}, {share}");
            }
        }
        assert!(part(1.0, 0.3).flow_share(1.2).abs() < 1e-15);
    }

    #[test]
    fn effective_area_of_the_trade() {
        // JIS B 8390 effective area S in mm2 is 5.0 times C in dm3/(s bar) (catalogue); the ideal nozzle gives 5.0.
        let bore = effective_bore(SonicConductance::from_dm3_s_bar(1.0));
        let area_mm2 = core::f64::consts::FRAC_PI_4 * bore.mm() * bore.mm();
        assert!((area_mm2 / 5.0 - 1.0).abs() < 0.01, "{area_mm2}");
        assert!((nozzle_conductance(bore).dm3_s_bar() - 1.0).abs() < 1e-12);
    }

    #[test]
    fn refuses_what_is_no_part() {
        assert!(SonicPart::new(SonicConductance::from_dm3_s_bar(-1.0), 0.3).is_err());
        assert!(SonicPart::new(SonicConductance::from_dm3_s_bar(f64::NAN), 0.3).is_err());
        assert!(SonicPart::new(SonicConductance::from_dm3_s_bar(1.0), 0.95).is_err());
    }
}
