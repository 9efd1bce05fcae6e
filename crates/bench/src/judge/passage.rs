//! Air-passage readings of one circuit.

use calc::air::passage as science;
use calc::estimate::Uncertain;
use calc::quantity::{AbsolutePressure, SonicConductance, Temperature, Volume};

use super::expect::AsNew;
use super::facts::PassageFact;
use super::tested::TestedVolume;
use super::timeline::Timeline;
use crate::finding::{Evidence, Passage, Warning};
use crate::mould::Circuit;
use crate::picture::{AirPassagePicture, Picture};
use crate::visit::{AirPassage, Charged, Decay, Entry, Rig, What};

/// Air temperature where nobody noted it.
const AIR: Temperature = Temperature::from_deg_c(20.0);
/// Flow of water that proves a passage by itself.
const PROOF_L_MIN: f64 = 0.2;

/// What a passage is compared with.
pub(crate) struct Test<'a> {
    pub(crate) circuit: &'a Circuit,
    pub(crate) rig: &'a Rig,
    pub(crate) volume: &'a TestedVolume,
    pub(crate) as_new: Option<&'a AsNew>,
    pub(crate) narrow_dm3_s_bar: f64,
    pub(crate) largest_flow_l_min: f64,
}

/// The verdict on passage with its evidence, warnings, and the measured conductance in dm3/(s bar).
pub(crate) fn judge(
    test: &Test<'_>,
    timeline: &Timeline<'_>,
) -> (PassageFact, Vec<Evidence>, Vec<Warning>, Option<Uncertain>) {
    let outdated = timeline.outdated(|what| matches!(what, What::AirPassage(_)));
    let water = (test.largest_flow_l_min > PROOF_L_MIN).then_some(test.largest_flow_l_min);
    let mut fact = PassageFact {
        verdict: Passage::Untested,
        reason: String::new(),
        outdated,
        water_passed_l_min: water,
        would_tell: None,
    };
    let reading = timeline.since_change().rev().find_map(|entry| match &entry.what {
        What::AirPassage(reading) => Some((entry, reading)),
        _ => None,
    });
    let Some((entry, reading)) = reading else { return (fact, Vec::new(), Vec::new(), None) };
    match run(test, reading) {
        Ok(result) => {
            fact.verdict = verdict(result.verdict);
            fact.reason = result.reason.clone();
            fact.would_tell = result.would_tell.clone();
            let mut warnings = Vec::new();
            if fact.verdict == Passage::Blocked && water.is_some() {
                warnings.push(contradiction(test, entry));
            }
            let measured = result.sonic_conductance.map(|conductance| {
                Uncertain::new(conductance.value, conductance.half_width() / calc::estimate::Z95)
            });
            (fact, vec![passage_evidence(entry, &result)], warnings, measured)
        }
        Err(text) => {
            fact.verdict = Passage::CannotTell;
            fact.reason = "the air-passage reading could not be used".to_owned();
            let warning = Warning { code: "air-passage", circuit: Some(test.circuit.id.clone()), text };
            (fact, Vec::new(), vec![warning], None)
        }
    }
}

fn run(test: &Test<'_>, reading: &AirPassage) -> Result<science::PassageResult, String> {
    let decay = match &reading.decay {
        Decay::Trace(trace) => science::DecayData::Trace(trace),
        Decay::TwoReadings { start, end, time } => {
            science::DecayData::TwoReadings { start: *start, end: *end, time: *time }
        }
    };
    let input = science::PassageInput {
        charged: match reading.charged {
            Charged::Circuit => science::Charged::Circuit { volume: Volume::from_ml(test.volume.total_ml) },
            Charged::Reservoir(volume) => science::Charged::Reservoir { volume },
        },
        decay,
        air_temperature: reading.air_temperature.unwrap_or(AIR),
        atmosphere: test.rig.atmosphere,
        fixture: test.rig.fixture_sonic_conductance,
        expected: test.as_new.map(|new| Uncertain::relative(new.value, new.standard_ln)),
        gauge: test.rig.pressure_uncertainty_bar,
        narrow_below: SonicConductance::from_dm3_s_bar(test.narrow_dm3_s_bar),
    };
    science::passage(&input).map_err(|error| format!("{}: {error}.", test.circuit.id))
}
