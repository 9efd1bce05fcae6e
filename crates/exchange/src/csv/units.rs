//! Units as loggers and people write them, and how they convert.

use super::Quantity;

/// Converts a number to the unit that traces are kept in: s, bar, l/min, degC.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Linear {
    /// Multiplied first.
    pub factor: f64,
    /// Added then.
    pub offset: f64,
}

impl Linear {
    const fn times(factor: f64) -> Self {
        Self { factor, offset: 0.0 }
    }

    /// The converted number.
    pub fn apply(self, value: f64) -> f64 {
        // The common case must not lose a bit, so that what was written comes back.
        if self == Self::times(1.0) { value } else { value * self.factor + self.offset }
    }
}

/// What a pressure is measured against.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Against {
    /// The surrounding air.
    Gauge,
    /// Vacuum.
    Absolute,
}

/// A unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// Of what.
    pub quantity: Quantity,
    /// How it converts.
    pub linear: Linear,
    /// For a pressure whose unit says it, such as psig.
    pub against: Option<Against>,
}

const PSI_BAR: f64 = 6_894.757_293_168e-5;
const US_GALLON_L: f64 = 3.785_411_784;
const IMPERIAL_GALLON_L: f64 = 4.546_09;

use Quantity::{Flow, Pressure, Temperature, Time};

/// Words of a unit in lower case, its quantity, and its size in s, bar or l/min.
/// Definitions: SI brochure; NIST SP 811, appendix B (psi, US gallon); UK Units of Measurement Regulations (gallon).
static UNITS: &[(&[&str], Quantity, f64)] = &[
    (&["s"], Time, 1.0),
    (&["sec"], Time, 1.0),
    (&["secs"], Time, 1.0),
    (&["second"], Time, 1.0),
    (&["seconds"], Time, 1.0),
    (&["sek"], Time, 1.0),
    (&["sekunde"], Time, 1.0),
    (&["sekunden"], Time, 1.0),
    (&["ms"], Time, 1e-3),
    (&["msec"], Time, 1e-3),
    (&["millisecond"], Time, 1e-3),
    (&["milliseconds"], Time, 1e-3),
    (&["millisekunden"], Time, 1e-3),
    (&["us"], Time, 1e-6),
    (&["min"], Time, 60.0),
    (&["mins"], Time, 60.0),
    (&["minute"], Time, 60.0),
    (&["minutes"], Time, 60.0),
    (&["minuten"], Time, 60.0),
    (&["h"], Time, 3600.0),
    (&["hour"], Time, 3600.0),
    (&["hours"], Time, 3600.0),
    (&["stunden"], Time, 3600.0),
    (&["bar"], Pressure, 1.0),
    (&["bars"], Pressure, 1.0),
    (&["mbar"], Pressure, 1e-3),
    (&["hpa"], Pressure, 1e-3),
    (&["kpa"], Pressure, 1e-2),
    (&["mpa"], Pressure, 10.0),
    (&["pa"], Pressure, 1e-5),
    (&["pascal"], Pressure, 1e-5),
    (&["psi"], Pressure, PSI_BAR),
    (&["lbf", "in2"], Pressure, PSI_BAR),
    (&["lb", "in2"], Pressure, PSI_BAR),
    (&["l", "min"], Flow, 1.0),
    (&["lpm"], Flow, 1.0),
    (&["slpm"], Flow, f64::NAN),
    (&["ltr", "min"], Flow, 1.0),
    (&["liter", "min"], Flow, 1.0),
    (&["litre", "min"], Flow, 1.0),
    (&["liters", "min"], Flow, 1.0),
    (&["litres", "min"], Flow, 1.0),
    (&["dm3", "min"], Flow, 1.0),
    (&["l", "h"], Flow, 1.0 / 60.0),
    (&["lph"], Flow, 1.0 / 60.0),
    (&["liter", "h"], Flow, 1.0 / 60.0),
    (&["litre", "h"], Flow, 1.0 / 60.0),
    (&["l", "s"], Flow, 60.0),
    (&["ml", "min"], Flow, 1e-3),
    (&["cm3", "min"], Flow, 1e-3),
    (&["ccm", "min"], Flow, 1e-3),
    (&["ml", "s"], Flow, 0.06),
    (&["m3", "h"], Flow, 1000.0 / 60.0),
    (&["cbm", "h"], Flow, 1000.0 / 60.0),
    (&["m3", "s"], Flow, 60_000.0),
    (&["m3", "min"], Flow, 1000.0),
    (&["gpm"], Flow, US_GALLON_L),
    (&["usgpm"], Flow, US_GALLON_L),
    (&["us", "gpm"], Flow, US_GALLON_L),
    (&["gpm", "us"], Flow, US_GALLON_L),
    (&["gal", "min"], Flow, US_GALLON_L),
    (&["us", "gal", "min"], Flow, US_GALLON_L),
    (&["gph"], Flow, US_GALLON_L / 60.0),
    (&["gal", "h"], Flow, US_GALLON_L / 60.0),
    (&["imp", "gpm"], Flow, IMPERIAL_GALLON_L),
    (&["uk", "gpm"], Flow, IMPERIAL_GALLON_L),
    (&["imp", "gal", "min"], Flow, IMPERIAL_GALLON_L),
];

/// Words of temperature units, with factor and offset to degC.
static TEMPERATURES: &[(&[&str], f64, f64)] = &[
    (&["deg", "c"], 1.0, 0.0),
    (&["degc"], 1.0, 0.0),
    (&["c"], 1.0, 0.0),
    (&["cel"], 1.0, 0.0),
    (&["celsius"], 1.0, 0.0),
    (&["deg", "f"], 5.0 / 9.0, -160.0 / 9.0),
    (&["degf"], 5.0 / 9.0, -160.0 / 9.0),
    (&["f"], 5.0 / 9.0, -160.0 / 9.0),
    (&["fahrenheit"], 5.0 / 9.0, -160.0 / 9.0),
    (&["k"], 1.0, -273.15),
    (&["kelvin"], 1.0, -273.15),
];

/// Words that say what a pressure is measured against.
static MARKS: &[(&str, Against)] = &[
    ("g", Against::Gauge),
    ("ga", Against::Gauge),
    ("gauge", Against::Gauge),
    ("rel", Against::Gauge),
    ("relative", Against::Gauge),
    ("relativ", Against::Gauge),
    ("relativdruck", Against::Gauge),
    ("ue", Against::Gauge),
    ("ueberdruck", Against::Gauge),
    ("a", Against::Absolute),
    ("abs", Against::Absolute),
    ("absolute", Against::Absolute),
    ("absolut", Against::Absolute),
    ("absolutdruck", Against::Absolute),
];

/// What a word says about gauge or absolute.
pub fn mark(word: &str) -> Option<Against> {
    MARKS.iter().find(|(known, _)| *known == word).map(|(_, against)| *against)
}

/// The unit that these words make up; all of them have to belong to it.
pub fn unit(words: &[&str]) -> Option<Unit> {
    if let Some((_, factor, offset)) = TEMPERATURES.iter().find(|(known, ..)| *known == words) {
        let linear = Linear { factor: *factor, offset: *offset };
        return Some(Unit { quantity: Temperature, linear, against: None });
    }
    if let Some(unit) = plain(words) {
        return Some(unit);
    }
    // A pressure with its mark: `bar g`, `barg`, `psia`.
    let pressure = |unit: Option<Unit>, against| {
        unit.filter(|unit| unit.quantity == Pressure).map(|unit| Unit { against: Some(against), ..unit })
    };
    match words {
        [before @ .., last] if !before.is_empty() => pressure(plain(before), mark(last)?),
        [joined] => {
            let (stem, against) = [("g", Against::Gauge), ("a", Against::Absolute)]
                .into_iter()
                .find_map(|(end, against)| Some((joined.strip_suffix(end)?, against)))?;
            pressure(plain(&[stem]), against)
        }
        _ => None,
    }
}

fn plain(words: &[&str]) -> Option<Unit> {
    let (_, quantity, size) = UNITS.iter().find(|(known, ..)| *known == words)?;
    // Standard litres count gas, not water: known, but never taken for a flow of water.
    size.is_finite().then(|| Unit { quantity: *quantity, linear: Linear::times(*size), against: None })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of(words: &[&str], value: f64) -> f64 {
        unit(words).unwrap().linear.apply(value)
    }

    #[test]
    fn conversions_agree_with_definitions() {
        // NIST SP 811 (2008), appendix B.8: psi 6.894 757 kPa, US gallon per minute 6.309 020e-5 m3/s, degF.
        assert!((of(&["psi"], 1.0) - 0.068_947_57).abs() < 1e-8);
        assert!((of(&["gpm"], 1.0) - 6.309_020e-5 * 60_000.0).abs() < 1e-6);
        assert!((of(&["deg", "f"], 212.0) - 100.0).abs() < 1e-12);
        assert!((of(&["f"], 32.0)).abs() < 1e-12);
        assert!((of(&["k"], 293.15) - 20.0).abs() < 1e-12);
        assert!((of(&["m3", "h"], 0.6) - 10.0).abs() < 1e-12);
        assert!((of(&["mpa"], 0.6) - 6.0).abs() < 1e-12);
        assert!((of(&["l", "h"], 600.0) - 10.0).abs() < 1e-12);
    }

    #[test]
    fn marks() {
        assert_eq!(unit(&["psig"]).unwrap().against, Some(Against::Gauge));
        assert_eq!(unit(&["mbara"]).unwrap().against, Some(Against::Absolute));
        assert_eq!(unit(&["bar", "abs"]).unwrap().against, Some(Against::Absolute));
        assert_eq!(unit(&["bar"]).unwrap().against, None);
        assert_eq!(unit(&["kpa"]).unwrap().against, None, "kPa is not kP absolute");
        assert!(unit(&["l", "min", "g"]).is_none());
        assert!(unit(&["slpm"]).is_none());
    }
}
