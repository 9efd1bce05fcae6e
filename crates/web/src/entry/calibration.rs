//! Calibrations: of a rig's instruments as they stand, and what of a finding rests on one that had ended.

use bench::finding::{CircuitFinding, Findings, Passage, Tightness};
use store::read::InstrumentRow;
use store::shapes::RigCard;

/// What an instrument of a rig can measure: value on record and words.
pub(crate) const MEASURES: [(&str, &str); 4] =
    [("flow", "flow"), ("pressure", "pressure"), ("temperature", "temperature"), ("other", "something else")];

/// The rig with the dates of its instruments: a date of its own that is earlier stays. Of several instruments of a kind the
/// first that ends counts, because nobody says with which of them a reading was taken.
pub(crate) fn with_instruments(card: RigCard, instruments: &[InstrumentRow]) -> RigCard {
    let ends = |kind: &str, own: &Option<String>| {
        let of_it =
            instruments.iter().filter(|row| row.rig == card.rig && row.rig.is_some() && row.measures == kind);
        // Dates as YYYY-MM-DD order like texts.
        of_it.filter_map(|row| row.calibrated_until.clone()).chain(own.clone()).min()
    };
    RigCard {
        flow_calibrated_until: ends("flow", &card.flow_calibrated_until),
        pressure_calibrated_until: ends("pressure", &card.pressure_calibrated_until),
        temperature_calibrated_until: ends("temperature", &card.temperature_calibrated_until),
        ..card
    }
}

/// The warnings of calibrations that had ended and that something found of this circuit rests on.
pub(crate) fn overdue<'f>(findings: &'f Findings, found: &CircuitFinding) -> Vec<&'f str> {
    let flow = found.flow_factor_m3_h.is_some();
    let pressure = flow
        || found.filled_volume_ml.is_some()
        || found.tightness != Tightness::Untested
        || found.passage != Passage::Untested;
    let rests = |code: &str| match code {
        "calibration-overdue" | "pressure-calibration-overdue" => pressure,
        "flow-calibration-overdue" | "temperature-calibration-overdue" => flow,
        _ => false,
    };
    findings
        .warnings
        .iter()
        .filter(|warning| rests(warning.code))
        .map(|warning| warning.text.as_str())
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use bench::visit::Rig;

    #[test]
    fn the_first_calibration_that_ends_counts() {
        let row = |rig: &str, measures: &str, until: Option<&str>| InstrumentRow {
            id: "x".into(),
            rig: Some(rig.into()),
            measures: measures.into(),
            calibrated_until: until.map(str::to_owned),
        };
        let rig = Rig {
            name: Some("B1".into()),
            flow_calibrated_until: Some("2027-01-01".into()),
            ..Rig::default()
        };
        let all = [
            row("B1", "pressure", Some("2026-12-01")),
            row("B1", "pressure", Some("2026-06-30")),
            row("B1", "flow", Some("2028-01-01")),
            row("B1", "temperature", None),
            row("B2", "temperature", Some("2020-01-01")),
        ];
        let card = with_instruments(RigCard::of(&rig), &all);
        assert_eq!(card.pressure_calibrated_until.as_deref(), Some("2026-06-30"));
        assert_eq!(card.flow_calibrated_until.as_deref(), Some("2027-01-01"));
        assert_eq!(card.temperature_calibrated_until, None);
        let nameless = with_instruments(RigCard::of(&Rig::default()), &all);
        assert_eq!(nameless.pressure_calibrated_until, None);
    }
}
