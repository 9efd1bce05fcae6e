//! Quantities with their unit in the type.
//!
//! Kinds that look alike are different types: a gauge pressure is not an absolute one, a
//! temperature is not a temperature difference. The number inside is SI; each unit has one
//! constructor and one getter, so a conversion is written once.

/// Standard atmosphere, used where nobody measured the air pressure.
pub const STANDARD_ATMOSPHERE_PA: f64 = 101_325.0;

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident { $( $from:ident / $to:ident = $factor:expr ; )+ }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
        pub struct $name(f64);

        impl $name {
            $(
                #[doc = concat!("From a number in the unit that the name ends in (factor to SI: ", stringify!($factor), ").")]
                #[must_use]
                pub const fn $from(value: f64) -> Self { Self(value * $factor) }

                #[doc = "The number in the unit that the name ends in."]
                #[must_use]
                pub const fn $to(self) -> f64 { self.0 / $factor }
            )+

            /// Whether the number inside is finite.
            #[must_use]
            pub const fn is_finite(self) -> bool { self.0.is_finite() }
        }

        impl core::ops::Mul<f64> for $name {
            type Output = Self;
            fn mul(self, factor: f64) -> Self { Self(self.0 * factor) }
        }
    };
}

macro_rules! additive {
    ($($name:ident),+) => {$(
        impl core::ops::Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self { Self(self.0 + other.0) }
        }
        impl core::ops::Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self { Self(self.0 - other.0) }
        }
        impl core::ops::Div for $name {
            type Output = f64;
            fn div(self, other: Self) -> f64 { self.0 / other.0 }
        }
    )+};
}

quantity! {
    /// Pressure against vacuum.
    AbsolutePressure { from_pa / pa = 1.0; from_bar / bar = 1e5; from_mbar / mbar = 1e2; from_kpa / kpa = 1e3; }
}
quantity! {
    /// Pressure against the surrounding air.
    GaugePressure { from_pa / pa = 1.0; from_bar / bar = 1e5; from_mbar / mbar = 1e2; from_psi / psi = 6_894.757_293_168; }
}
quantity! {
    /// Difference of two pressures, positive in the direction of flow.
    PressureDrop { from_pa / pa = 1.0; from_bar / bar = 1e5; from_mbar / mbar = 1e2; from_psi / psi = 6_894.757_293_168; }
}
quantity! {
    /// Volume of liquid that passes per time.
    VolumeFlow { from_m3_s / m3_s = 1.0; from_m3_h / m3_h = 1.0 / 3600.0; from_l_min / l_min = 1.0 / 60_000.0; from_gpm_us / gpm_us = 3.785_411_784 / 60_000.0; }
}
quantity! {
    /// Length, bore, thickness.
    Length { from_m / m = 1.0; from_mm / mm = 1e-3; from_um / um = 1e-6; from_inch / inch = 0.0254; }
}
quantity! {
    /// Volume of a space or of a liquid.
    Volume { from_m3 / m3 = 1.0; from_l / l = 1e-3; from_ml / ml = 1e-6; }
}
quantity! {
    /// A stretch of time.
    Duration { from_s / s = 1.0; from_min / min = 60.0; }
}
quantity! {
    /// Difference of two temperatures.
    TemperatureDifference { from_k / k = 1.0; }
}
quantity! {
    /// Flow factor Kv: flow of water in m3/h at a pressure drop of 1 bar (IEC 60534 sense).
    FlowFactor { from_m3_h / m3_h = 1.0; }
}
quantity! {
    /// Sonic conductance in the sense of ISO 6358.
    SonicConductance { from_m3_s_pa / m3_s_pa = 1.0; from_dm3_s_bar / dm3_s_bar = 1e-8; }
}
quantity! {
    /// Gas leak as pressure times volume per time, at 20 degC.
    LeakRate { from_pa_m3_s / pa_m3_s = 1.0; from_mbar_l_s / mbar_l_s = 0.1; }
}
quantity! {
    /// Energy.
    Energy { from_j / j = 1.0; }
}
additive!(
    PressureDrop,
    VolumeFlow,
    Length,
    Volume,
    Duration,
    TemperatureDifference,
    FlowFactor,
    SonicConductance,
    LeakRate,
    Energy
);

/// The shortest decimal number for which this holds, such as the one that still converts to the same quantity.
#[must_use]
pub fn shortest(value: f64, same: impl Fn(f64) -> bool) -> f64 {
    (0..17)
        .filter_map(|digits| format!("{value:.digits$e}").parse::<f64>().ok())
        .find(|candidate| same(*candidate))
        .unwrap_or(value)
}

/// Temperature on the thermodynamic scale.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Temperature(f64);

impl Temperature {
    /// From degrees Fahrenheit.
    #[must_use]
    pub const fn from_deg_f(value: f64) -> Self {
        Self::from_deg_c((value - 32.0) / 1.8)
    }

    /// In degrees Fahrenheit.
    #[must_use]
    pub const fn deg_f(self) -> f64 {
        self.deg_c() * 1.8 + 32.0
    }

    /// From degrees Celsius.
    #[must_use]
    pub const fn from_deg_c(value: f64) -> Self {
        Self(value + 273.15)
    }

    /// From kelvin.
    #[must_use]
    pub const fn from_k(value: f64) -> Self {
        Self(value)
    }

    /// In degrees Celsius.
    #[must_use]
    pub const fn deg_c(self) -> f64 {
        self.0 - 273.15
    }

    /// In kelvin.
    #[must_use]
    pub const fn k(self) -> f64 {
        self.0
    }
}

impl core::ops::Sub for Temperature {
    type Output = TemperatureDifference;
    fn sub(self, other: Self) -> TemperatureDifference {
        TemperatureDifference(self.0 - other.0)
    }
}

impl core::ops::Add<TemperatureDifference> for Temperature {
    type Output = Self;
    fn add(self, other: TemperatureDifference) -> Self {
        Self(self.0 + other.0)
    }
}

impl GaugePressure {
    /// The absolute pressure, given that of the surrounding air.
    #[must_use]
    pub const fn absolute(self, atmosphere: AbsolutePressure) -> AbsolutePressure {
        AbsolutePressure(self.0 + atmosphere.0)
    }
}

impl AbsolutePressure {
    /// One standard atmosphere.
    pub const STANDARD_ATMOSPHERE: Self = Self(STANDARD_ATMOSPHERE_PA);

    /// The gauge pressure, given the pressure of the surrounding air.
    #[must_use]
    pub const fn gauge(self, atmosphere: Self) -> GaugePressure {
        GaugePressure(self.0 - atmosphere.0)
    }
}

impl core::ops::Sub for GaugePressure {
    type Output = PressureDrop;
    fn sub(self, other: Self) -> PressureDrop {
        PressureDrop(self.0 - other.0)
    }
}

impl core::ops::Sub for AbsolutePressure {
    type Output = PressureDrop;
    fn sub(self, other: Self) -> PressureDrop {
        PressureDrop(self.0 - other.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_agree_with_their_definitions() {
        // SI Brochure (2019) and NIST SP 811, appendix B: exact definitions of psi, US gallon and degree Celsius.
        assert!((GaugePressure::from_psi(1.0).pa() - 6_894.757_293_168).abs() < 1e-9);
        assert!((VolumeFlow::from_gpm_us(1.0).l_min() - 3.785_411_784).abs() < 1e-12);
        assert!((Temperature::from_deg_c(0.0).k() - 273.15).abs() < 1e-12);
        assert!((LeakRate::from_mbar_l_s(1.0).pa_m3_s() - 0.1).abs() < 1e-15);
        assert!((SonicConductance::from_dm3_s_bar(1.0).m3_s_pa() - 1e-8).abs() < 1e-22);
    }

    #[test]
    fn customary_units_agree_with_the_published_factors() {
        // NIST SP 811 (2008), appendix B.8, to the seven digits that stand there: pound-force per square inch, gallon (US) per
        // minute, inch, degree Fahrenheit.
        let close = |value: f64, published: f64| (value / published - 1.0).abs() < 1e-7;
        assert!(close(GaugePressure::from_psi(1.0).pa(), 6.894_757e3));
        assert!(close(VolumeFlow::from_gpm_us(1.0).m3_s(), 6.309_020e-5));
        assert!(close(Length::from_inch(1.0).m(), 2.54e-2));
        for (deg_f, deg_c) in [(32.0, 0.0), (212.0, 100.0), (-40.0, -40.0), (68.0, 20.0)] {
            assert!((Temperature::from_deg_f(deg_f).deg_c() - deg_c).abs() < 1e-10);
            assert!((Temperature::from_deg_c(deg_c).deg_f() - deg_f).abs() < 1e-10);
        }
    }

    #[test]
    fn gauge_and_absolute_differ_by_the_air_pressure() {
        let air = AbsolutePressure::from_bar(1.0);
        let gauge = GaugePressure::from_bar(6.0);
        assert!((gauge.absolute(air).bar() - 7.0).abs() < 1e-12);
        assert!((gauge.absolute(air).gauge(air).bar() - 6.0).abs() < 1e-12);
    }
}
