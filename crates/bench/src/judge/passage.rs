//! Air-passage readings of one circuit.

use calc::air::discharge::{self, Discharge, DischargeError};
use calc::air::leak_down::DecayData;
use calc::air::passage::{Evidence as Seen, Expected, PassageInput, PassageResult, Verdict};
use calc::air::sonic::fixture::Fixture;
use calc::quantity::{Duration, PressureDrop, SonicConductance, Temperature, Volume};

use super::facts::PassageFact;
use super::how;
use super::memory::Memory;
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
/// Pressure below this share of the start counts as gone.
const GONE: f64 = 0.1;
/// A leak of 10 mbar·l/s at 7 bar absolute is about 0.0014 dm3/(s·bar); what lets more out is a passage.
const ABOVE_ANY_LEAK_DM3_S_BAR: f64 = 0.003;
/// How well a rig's own vessel is known (own proposal).
const VESSEL_RELATIVE: f64 = 0.01;
/// How well the conductance of hoses joined together is known (own proposal).
const FIXTURE_RELATIVE: f64 = 0.05;

/// What a passage is compared with.
pub(crate) struct Test<'a> {
    pub(crate) memory: &'a Memory,
    pub(crate) circuit: &'a Circuit,
    pub(crate) rig: &'a Rig,
    pub(crate) volume: &'a TestedVolume,
    pub(crate) expected: Option<Expected>,
    pub(crate) narrow_dm3_s_bar: f64,
    pub(crate) largest_flow_l_min: f64,
}

/// The verdict on passage with its evidence and warnings.
pub(crate) fn judge(test: &Test<'_>, timeline: &Timeline<'_>) -> (PassageFact, Vec<Evidence>, Vec<Warning>) {
    let water = (test.largest_flow_l_min > PROOF_L_MIN).then_some(test.largest_flow_l_min);
    let mut fact = PassageFact {
        verdict: Passage::Untested,
        reason: String::new(),
        outdated: timeline.outdated(|what| matches!(what, What::AirPassage(_))),
        water_passed_l_min: water,
        air_went_out: false,
        would_tell: None,
        sonic_dm3_s_bar: None,
        working: None,
    };
    let reading = timeline.since_change().rev().find_map(|entry| match &entry.what {
        What::AirPassage(reading) => Some((entry, reading)),
        _ => None,
    });
    let Some((entry, reading)) = reading else { return (fact, Vec::new(), Vec::new()) };
    let mut warnings = Vec::new();
    let about = |code, text: String| Warning::about(&test.circuit.id, code, text);
    match run(test, reading) {
        Ok(result) => {
            fact.verdict = verdict(result.verdict);
            fact.reason.clone_from(&result.reason);
            fact.would_tell.clone_from(&result.would_tell);
            fact.air_went_out = went_out(reading, &result);
            // Behind unknown hoses a conductance is that of both; a curve that fits nothing has none.
            let usable =
                test.rig.fixture_sonic_conductance.is_some() && result.fit.is_none_or(|fit| fit.good);
            fact.sonic_dm3_s_bar = result.sonic_conductance.filter(|_| usable);
            if fact.verdict == Passage::Blocked && water.is_some() {
                let text = "air was held, yet water has passed: the hoses of the two readings may differ";
                warnings.push(about("air-against-water", text.to_owned()));
            }
            fact.working = how::conductance(test.volume.total_ml, reading, test.rig, &result);
            (fact, vec![evidence(entry, &result)], warnings)
        }
        Err(error) => {
            fact.verdict = Passage::CannotTell;
            "The air-passage reading could not be used".clone_into(&mut fact.reason);
            warnings.push(about("air-passage", error.to_string()));
            (fact, Vec::new(), warnings)
        }
    }
}

/// Whether the pressure was let out through the circuit nearly to the end, at a rate above any leak. A dead end holds.
fn went_out(reading: &AirPassage, result: &PassageResult) -> bool {
    let at_least_dm3_s_bar = match result.evidence {
        Seen::Value { value, .. } => value,
        Seen::AtLeast(bound) => bound,
        Seen::AtMost(_) | Seen::Contradiction { .. } => 0.0,
    };
    at_least_dm3_s_bar > ABOVE_ANY_LEAK_DM3_S_BAR
        && left_share(&reading.decay).is_some_and(|left| left < GONE)
}

/// Pressure at the end over the largest seen.
fn left_share(decay: &Decay) -> Option<f64> {
    match decay {
        Decay::Trace(trace) => {
            let (_, pressures) = trace.pressures()?;
            let most = pressures.iter().copied().reduce(f64::max).filter(|most| *most > 0.0)?;
            Some(pressures.last()? / most)
        }
        Decay::TwoReadings { start, end, .. } => (start.bar() > 0.0).then(|| end.bar() / start.bar()),
    }
}

fn run(test: &Test<'_>, reading: &AirPassage) -> Result<PassageResult, DischargeError> {
    let decay = match &reading.decay {
        Decay::Trace(trace) => DecayData::Trace(trace),
        Decay::TwoReadings { start, end, time } => {
            DecayData::TwoReadings { start: *start, end: *end, time: *time }
        }
    };
    let total = Volume::from_ml(test.volume.total_ml);
    let (charged, volume_standard) = match reading.charged {
        Charged::Circuit => (discharge::Charged::Circuit { volume: total }, test.volume.relative.min(1.0)),
        Charged::Reservoir(volume) => (discharge::Charged::Reservoir { volume }, VESSEL_RELATIVE),
    };
    let discharge = Discharge {
        volume_standard,
        circuit_volume: Some(total),
        volume_before_circuit: Some(Volume::from_ml(test.volume.hose_ml / 2.0))
            .filter(|half| half.ml() > 0.0),
        gauge: gauge(test.rig, &reading.decay),
        air_temperature: reading.air_temperature.unwrap_or(AIR),
        atmosphere: test.rig.atmosphere,
        ..Discharge::new(charged, decay)
    };
    let fixture = test.rig.fixture_sonic_conductance;
    test.memory.passage(&PassageInput {
        discharge,
        fixture: fixture.map(|conductance| Fixture::on_both_sides(conductance, FIXTURE_RELATIVE)),
        // Behind unknown hoses a circuit passes at least what both pass together; less than expected says nothing.
        expected: fixture.and(test.expected),
        narrow_below: SonicConductance::from_dm3_s_bar(test.narrow_dm3_s_bar),
    })
}

/// A logger shows its own noise; a reading by eye scatters by a tenth of the gauge's uncertainty.
fn gauge(rig: &Rig, decay: &Decay) -> discharge::Gauge {
    let by_eye = PressureDrop::from_bar(0.1 * rig.pressure_uncertainty_bar);
    discharge::Gauge {
        noise: matches!(decay, Decay::TwoReadings { .. }).then_some(by_eye),
        step: PressureDrop::from_bar(rig.gauge_step_bar),
        zero: PressureDrop::from_bar(rig.pressure_uncertainty_bar.min(0.05)),
        lag: None::<Duration>,
    }
}

const fn verdict(found: Verdict) -> Passage {
    match found {
        Verdict::Free => Passage::Free,
        Verdict::NarrowByDesign => Passage::NarrowByDesign,
        Verdict::Restricted => Passage::Restricted,
        Verdict::Blocked => Passage::Blocked,
        Verdict::CannotTell => Passage::CannotTell,
    }
}

fn evidence(entry: &Entry, result: &PassageResult) -> Evidence {
    let measured = result.sonic_conductance.map_or_else(String::new, |conductance| {
        format!(" Sonic conductance between {:.2} and {:.2} dm³/(s·bar)", conductance.low, conductance.high)
    });
    let expected = match (result.sonic_conductance, result.expected) {
        (Some(_), Some(expected)) => format!(", expected {:.2} to {:.2}.", expected.low, expected.high),
        (Some(_), None) => ".".to_owned(),
        (None, _) => String::new(),
    };
    Evidence {
        title: "Air passage".to_owned(),
        text: format!("{}{measured}{expected}", crate::finding::sentence(&result.reason)),
        place: Some(entry.place.clone()),
        sources: vec!["iso-6358-1"],
        picture: Some(Picture::AirPassage(AirPassagePicture {
            measured: result.curves.measured.clone(),
            fitted: result.curves.fitted.clone(),
            expected: result.curves.expected.clone(),
        })),
    }
}
