//! Filled-volume readings of one circuit: water or air measured, hoses taken out.

use calc::air::trapped::{ExpansionInput, expansion_volume};
use calc::estimate::{Uncertain, root_sum_square};

use super::expect::AsNew;
use super::facts::{Ratio, VolumeFact};
use super::timeline::Timeline;
use crate::finding::{Evidence, Warning};
use crate::mould::Circuit;
use crate::visit::{Entry, Rig, VolumeMethod, VolumeReading, What};

/// How well a rig's own fixture volume is known (own proposal).
const FIXTURE_RELATIVE: f64 = 0.03;
/// Share of a drained volume that stays behind as a film (own allowance; common practice blows out twice).
const FILM_RELATIVE: f64 = 0.01;

/// The filled volume with its evidence and warnings.
pub(crate) fn judge(
    circuit: &Circuit,
    timeline: &Timeline<'_>,
    rig: &Rig,
    as_new: Option<&AsNew>,
) -> (VolumeFact, Vec<Evidence>, Vec<Warning>) {
    let mut fact = VolumeFact::default();
    let reading = timeline.since_change().rev().find_map(|entry| match &entry.what {
        What::Volume(reading) => Some((entry, reading)),
        _ => None,
    });
    let Some((entry, reading)) = reading else { return (fact, Vec::new(), Vec::new()) };
    let warn = |code, text| Warning { code, circuit: Some(circuit.id.clone()), text };
    let measured = match measured(reading, rig) {
        Ok(measured) => measured,
        Err(text) => return (fact, Vec::new(), vec![warn("volume", format!("{}: {text}.", circuit.id))]),
    };
    let hoses =
        if reading.through_fixture { rig.fixture_volume.map(|volume| volume.ml()) } else { Some(0.0) };
    let Some(hoses_ml) = hoses else {
        let text = format!(
            "{}: hoses are in this volume, and the rig file has no fixture_volume_ml to take them out.",
            circuit.id
        );
        return (fact, Vec::new(), vec![warn("fixture-volume-unknown", text)]);
    };
    let value = Uncertain::new(
        measured.value - hoses_ml,
        root_sum_square(&[measured.standard, hoses_ml * FIXTURE_RELATIVE]),
    );
    if value.value < 2.0 * value.standard {
        let text = format!(
            "{}: behind hoses of {hoses_ml:.0} ml this circuit's volume cannot be measured; use short adapters.",
            circuit.id
        );
        return (fact, Vec::new(), vec![warn("volume-hidden", text)]);
    }
    fact.volume_ml = Some(value);
    fact.ratio = as_new.map(|new| Ratio {
        value: value.value / new.value,
        standard_ln: root_sum_square(&[value.relative_standard(), new.standard_ln]),
        compared_with: new.from.clone(),
    });
    let evidence = vec![evidence(entry, reading, value, hoses_ml, fact.ratio.as_ref())];
    (fact, evidence, Vec::new())
}

/// Volume as measured, hoses included, in ml.
fn measured(reading: &VolumeReading, rig: &Rig) -> Result<Uncertain, String> {
    match reading.method {
        VolumeMethod::Drained { volume_ml } => Ok(Uncertain::new(
            volume_ml.value,
            root_sum_square(&[volume_ml.standard, volume_ml.value * FILM_RELATIVE]),
        )),
        VolumeMethod::AirExpansion { reference, reference_before, circuit_before, joined } => {
            let input = ExpansionInput {
                reference,
                reference_relative: 0.005,
                reference_before,
                circuit_before,
                joined,
                atmosphere: rig.atmosphere,
                repeatability_bar: repeatability_bar(rig),
            };
            expansion_volume(&input).map_err(|error| error.to_string())
        }
    }
}

/// Scatter between two readings of the same gauge: gain and zero cancel, steps and reading stay (own proposal:
/// a fifth of the gauge's uncertainty).
fn repeatability_bar(rig: &Rig) -> f64 {
    root_sum_square(&[rig.pressure_uncertainty_bar * 0.2, rig.gauge_step_bar * 0.289])
}

fn evidence(
    entry: &Entry,
    reading: &VolumeReading,
    value: Uncertain,
    hoses_ml: f64,
    ratio: Option<&Ratio>,
) -> Evidence {
    let how = match reading.method {
        VolumeMethod::AirExpansion { .. } => "by air expansion",
        VolumeMethod::Drained { .. } => "by drained water",
    };
    let against = ratio.map_or_else(String::new, |ratio| {
        let percent = ratio.percent();
        format!(
            ", {:.0} % of {} ({:.0} to {:.0})",
            percent.value, ratio.compared_with, percent.low, percent.high
        )
    });
    Evidence {
        title: "Filled volume".to_owned(),
        text: format!(
            "{:.0} ± {:.0} ml {how}, hoses of {hoses_ml:.0} ml taken out{against}.",
            value.value,
            1.96 * value.standard
        ),
        place: Some(entry.place.clone()),
        sources: vec!["jcgm-100"],
        picture: None,
    }
}
