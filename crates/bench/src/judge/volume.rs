//! Filled-volume readings of one circuit: water or air measured, hoses taken out.

use calc::air::trapped::{Expansion, Fixture, by_expansion};
use calc::estimate::{Uncertain, Z95, root_sum_square};
use calc::quantity::{PressureDrop, TemperatureDifference};

use super::expect::AsNew;
use super::facts::{Ratio, VolumeFact};
use super::how;
use super::timeline::Timeline;
use crate::finding::{Evidence, Warning};
use crate::mould::Circuit;
use crate::visit::{End, Entry, Rig, VolumeMethod, VolumeReading, What};

/// Share of the hoses' volume that lies on the supply side (own choice: dead ends of the rig lie there).
pub(crate) const INLET_SHARE: f64 = 0.53;
/// How well a rig's own fixture volume is known (own proposal).
pub(crate) const FIXTURE_RELATIVE: f64 = 0.03;
/// Share of a drained volume that stays behind as a film (own allowance; common practice blows out twice).
const FILM_RELATIVE: f64 = 0.01;

/// The filled volume with its evidence and warnings.
pub(crate) fn judge(
    circuit: &Circuit,
    timeline: &Timeline<'_>,
    rig: &Rig,
    as_new: Option<&AsNew>,
) -> (VolumeFact, Vec<Evidence>, Vec<Warning>) {
    // From the inlet if there is one: leak-down and passage fill from there, and a block may lie behind it.
    let reading = latest_from(timeline, End::Inlet).or_else(|| latest_from(timeline, End::Outlet));
    let Some((entry, reading)) = reading else { return (VolumeFact::default(), Vec::new(), Vec::new()) };
    let by_air = matches!(reading.method, VolumeMethod::AirExpansion { .. });
    let seen = seen(reading, rig);
    let ends = if reading.from == End::Inlet { INLET_SHARE } else { 1.0 - INLET_SHARE };
    let seen_ml = seen.as_ref().ok().map(|(value, hoses_ml)| (*value, (1.0 - ends) * hoses_ml));
    match seen.and_then(told) {
        Ok((value, hoses_ml)) => {
            let ratio = as_new.and_then(|new| Ratio::of(value.estimate(), new));
            let evidence = vec![evidence(entry, reading, value, hoses_ml, ratio.as_ref())];
            let working = Some(how::volume(reading, hoses_ml, value));
            (VolumeFact { seen_ml, by_air, volume_ml: Some(value), ratio, working }, evidence, Vec::new())
        }
        Err(text) => {
            let warning = Warning::about(&circuit.id, "volume", text);
            (VolumeFact { seen_ml, by_air, ..VolumeFact::default() }, Vec::new(), vec![warning])
        }
    }
}

/// The latest reading that counts and was filled from this end.
pub(crate) fn latest_from<'a>(timeline: &Timeline<'a>, end: End) -> Option<(&'a Entry, &'a VolumeReading)> {
    timeline.since_change().rev().find_map(|entry| match &entry.what {
        What::Volume(reading) if reading.from == end => Some((entry, reading)),
        _ => None,
    })
}

/// What is left in ml when the hoses are taken out, however little, and the hoses.
fn seen(reading: &VolumeReading, rig: &Rig) -> Result<(Uncertain, f64), String> {
    let fixture = match (reading.through_fixture, rig.fixture_volume) {
        (false, _) => None,
        (true, Some(volume)) => Some(Fixture { volume, uncertainty_relative: FIXTURE_RELATIVE }),
        (true, None) => {
            return Err(
                "hoses are in this volume, and the rig has no fixture_volume_ml to take them out".to_owned()
            );
        }
    };
    let hoses_ml = fixture.map_or(0.0, |fixture| fixture.volume.ml());
    Ok((without(reading, rig, fixture)?, hoses_ml))
}

/// The circuit's own volume, if the reading tells it.
fn told((value, hoses_ml): (Uncertain, f64)) -> Result<(Uncertain, f64), String> {
    if value.value < 2.0 * value.standard {
        let spread = Z95 * value.standard;
        return Err(if hoses_ml > 0.0 {
            format!(
                "behind hoses of {hoses_ml:.0} ml the volume of this circuit cannot be measured ({:.0} ± {spread:.0} ml are \
                 left); use short adapters",
                value.value
            )
        } else {
            format!(
                "{:.0} ± {spread:.0} ml do not tell the volume of this circuit; see that it is full and that all of it comes out",
                value.value
            )
        });
    }
    Ok((value, hoses_ml))
}

/// What filled, less these hoses, in ml.
pub(crate) fn without(
    reading: &VolumeReading,
    rig: &Rig,
    fixture: Option<Fixture>,
) -> Result<Uncertain, String> {
    let hoses = fixture.map_or(Uncertain::new(0.0, 0.0), |fixture| {
        Uncertain::relative(fixture.volume.ml(), fixture.uncertainty_relative)
    });
    match reading.method {
        VolumeMethod::Drained { volume_ml } => {
            let film = volume_ml.value * FILM_RELATIVE;
            let spread = root_sum_square(&[volume_ml.standard, film, hoses.standard]);
            Ok(Uncertain::new(volume_ml.value - hoses.value, spread))
        }
        VolumeMethod::AirExpansion { reference, reference_before, circuit_before, joined } => {
            let expansion = Expansion {
                reference,
                reference_uncertainty_relative: 0.005,
                reference_before,
                circuit_before,
                joined,
                atmosphere: rig.atmosphere,
                repeatability: PressureDrop::from_bar(repeatability_bar(rig)),
                temperature_difference: TemperatureDifference::from_k(1.0),
                fixture,
            };
            Ok(by_expansion(&expansion).map_err(|error| error.to_string())?.volume_ml)
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
    let hoses = if hoses_ml > 0.0 {
        format!("hoses of {hoses_ml:.0} ml taken out")
    } else {
        "no hoses in it".to_owned()
    };
    Evidence {
        title: "Filled volume".to_owned(),
        text: format!("{:.0} ± {:.0} ml {how}, {hoses}{against}.", value.value, Z95 * value.standard),
        place: Some(entry.place.clone()),
        sources: vec!["jcgm-100"],
        picture: None,
    }
}
