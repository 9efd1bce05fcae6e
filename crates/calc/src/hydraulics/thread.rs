//! The drilled diameter that goes with the thread of a plug.
//!
//! A line is often named by its plug; the name is not the bore: a 'quarter-inch line' is drilled to about 11 mm.

use crate::quantity::Length;

/// Thread name and tap drill in mm. NPT: ASME B1.20.1 tap drills (fractional inch sizes); G: ISO 228-1 parallel
/// thread, drill = minor diameter of the internal thread rounded to the usual drill; M: ISO 261 fine threads, diameter
/// minus pitch. Values from memory of the usual tap-drill tables.
const DRILLS_MM: [(&str, f64); 16] = [
    ("NPT 1/16", 6.25),
    ("NPT 1/8", 8.73),
    ("NPT 1/4", 11.11),
    ("NPT 3/8", 14.68),
    ("NPT 1/2", 18.26),
    ("NPT 3/4", 23.42),
    ("G 1/8", 8.8),
    ("G 1/4", 11.8),
    ("G 3/8", 15.25),
    ("G 1/2", 19.0),
    ("G 3/4", 24.5),
    ("M8x0.75", 7.25),
    ("M10x1", 9.0),
    ("M12x1.5", 10.5),
    ("M14x1.5", 12.5),
    ("M16x1.5", 14.5),
];

/// The drilled diameter, or nothing if the thread is not known. Spaces and case do not matter.
#[must_use]
pub fn drilled_diameter(thread: &str) -> Option<Length> {
    let plain = |name: &str| name.chars().filter(|c| !c.is_whitespace()).collect::<String>().to_lowercase();
    let wanted = plain(thread);
    DRILLS_MM.iter().find(|(name, _)| plain(name) == wanted).map(|(_, drill)| Length::from_mm(*drill))
}

/// The names of all known threads, for hints.
#[must_use]
pub fn known_names() -> String {
    DRILLS_MM.map(|(name, _)| name).join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_inch_line_is_not_a_quarter_of_an_inch() {
        // ASME B1.20.1, tap drill for 1/4-18 NPT: 7/16 in (from memory).
        let bore = drilled_diameter("npt 1/4").unwrap();
        assert!((bore.inch() - 7.0 / 16.0).abs() < 0.001);
        assert!(drilled_diameter("NPT 9/4").is_none());
    }
}
