//! The rig itself: what readings on known things, calibration dates and circuits that moved alike say of it.
//!
//! A rig that drifted closes no gate by itself. It widens the uncertainty of the flow readings that rest on it; they are
//! corrected only where a fixture run and a bucket agree on the meter.

mod alike;
mod words;

use std::borrow::Cow;

use calc::estimate::{Estimate, Uncertain, Z95, root_sum_square};
use calc::numeric::math;
use calc::quantity::{Temperature, VolumeFlow};
use calc::readings::bucket::{Doubt, Measure, Meter, Run, bucket_flow};
use calc::readings::rig_check::{
    Instrument, InstrumentState, KnownThing, RigReading, RigState, Stated, Trust, rig_check,
};

use super::flow::PORT_SCATTER;
use crate::finding::{Evidence, RigFinding, RigInstrument, RigVerdict, Warning};
use crate::rig::{BucketBy, BucketRun, MovedAlike, RigOn, RigRun};
use crate::visit::{Entry, FlowReading, Rig, Visit, What};

pub(crate) use alike::{Moved, moved};

/// Density of ordinary air and of the weights behind scales, kg/m3.
const AIR_KG_M3: f64 = 1.2;
const WEIGHTS_KG_M3: f64 = 8_000.0;
/// Ordinary test water, where nobody took its temperature.
const ORDINARY_WATER: Temperature = Temperature::from_deg_c(20.0);
/// Scatter of one reading of a meter, relative (own proposal).
const METER_REPEATS: f64 = 0.003;
/// A corrected meter is not taken for better than this, relative (own proposal).
const BEST_METER: f64 = 0.003;

/// What is known of the rig before the circuits are judged.
pub(crate) struct RigSeen {
    state: Option<RigState>,
    /// Factor by which the meter shows too much, and its relative standard uncertainty, where two checks agree.
    correction: Option<(f64, f64)>,
    pub(crate) warnings: Vec<Warning>,
}

/// The readings of the rig in a visit.
pub(crate) fn check(visit: &Visit) -> RigSeen {
    let mut warnings = overdue(visit);
    let mut readings = Vec::new();
    let mut places = Vec::new();
    let (mut fixture, mut bucket) = (false, false);
    for entry in &visit.entries {
        let reading = match &entry.what {
            What::RigCheck(run) => {
                fixture |= matches!(run.on, RigOn::Fixture);
                Ok(of_run(run))
            }
            What::Bucket(run) => of_bucket(run, &visit.rig),
            _ => continue,
        };
        match reading {
            Ok(reading) => {
                bucket |= matches!(reading.on, KnownThing::Bucket { .. });
                readings.push(reading);
                places.push(entry);
            }
            Err(problem) => warnings.push(unusable(entry, &problem)),
        }
    }
    let state = judged(&visit.rig, &mut readings, &mut places, &mut warnings);
    let correction = state.as_ref().filter(|_| fixture && bucket).and_then(correction);
    if let Some(state) = state.as_ref().filter(|state| state.trust == Trust::Drifted) {
        warnings.push(general("rig-drifted", words::drifted(state, correction.is_some())));
    }
    RigSeen { state, correction, warnings }
}

fn general(code: &'static str, text: String) -> Warning {
    Warning { code, circuit: None, text }
}

fn unusable(entry: &Entry, problem: &str) -> Warning {
    general("rig-reading", format!("{} says nothing of the rig: {problem}.", entry.place))
}

/// The state of the rig from the readings that can be used; those that cannot are left out with a warning.
fn judged(
    rig: &Rig,
    readings: &mut Vec<RigReading>,
    places: &mut Vec<&Entry>,
    warnings: &mut Vec<Warning>,
) -> Option<RigState> {
    use calc::readings::rig_check::RigCheckError as Error;
    let stated = Stated {
        flow_relative: rig.flow_uncertainty_relative,
        pressure_bar: rig.pressure_uncertainty_bar,
        gauge_step_bar: rig.gauge_step_bar,
        temperature_k: rig.temperature_uncertainty_k,
        fixture: rig
            .fixture_flow_factor
            .map(|factor| (factor, root_sum_square(&[rig.fixture_uncertainty_relative, PORT_SCATTER]))),
    };
    while !readings.is_empty() {
        let error = match rig_check(&stated, readings) {
            Ok(state) => return Some(state),
            Err(error) => error,
        };
        let problem = error.to_string();
        let (Error::Missing { place, .. } | Error::NoDrop { place, .. }) = error else {
            warnings.push(general("rig-reading", format!("The rig's readings cannot be used: {problem}.")));
            return None;
        };
        if place >= readings.len() {
            return None;
        }
        readings.remove(place);
        let entry = places.remove(place);
        let said = problem.split_once(": ").map_or(problem.as_str(), |(_, said)| said);
        warnings.push(unusable(entry, said));
    }
    None
}

fn of_run(run: &RigRun) -> RigReading {
    RigReading {
        on: match run.on {
            RigOn::Fixture => KnownThing::Fixture,
            RigOn::Orifice { flow_factor, relative } => KnownThing::Orifice { flow_factor, relative },
            RigOn::AtRest => KnownThing::AtRest,
            RigOn::ShutOff => KnownThing::ShutOff,
        },
        earlier: false,
        flow: run.flow,
        pressure_in: run.pressure_in,
        pressure_out: run.pressure_out,
        water_temperature: run.water_temperature,
        reference_pressure: run.reference_pressure,
        reference_temperature: run.reference_temperature,
    }
}

/// A bucket with its own uncertainty, beside what the meter showed.
fn of_bucket(run: &BucketRun, rig: &Rig) -> Result<RigReading, String> {
    let runs: Vec<Run> = run
        .fillings
        .iter()
        .map(|filling| Run { caught: filling.caught_l_or_kg, time: filling.time, meter: Some(filling.meter) })
        .collect();
    let measure = match run.by {
        BucketBy::Weight => {
            Measure::Scales { air_density_kg_m3: AIR_KG_M3, weights_density_kg_m3: WEIGHTS_KG_M3 }
        }
        BucketBy::Mark => Measure::Mark,
    };
    let doubt = Doubt {
        caught: run.caught_uncertainty_l_or_kg,
        reaction: run.timing_uncertainty,
        temperature_k: rig.temperature_uncertainty_k,
        ..Doubt::BY_HAND
    };
    let meter = Meter { stated: rig.flow_uncertainty_relative, repeatability: METER_REPEATS };
    let water = run.water_temperature.unwrap_or(ORDINARY_WATER);
    let found = bucket_flow(&runs, measure, &doubt, water, meter, 1.0).map_err(|error| error.to_string())?;
    let ratio = found.meter.ok_or_else(|| "the meter's flow is missing".to_owned())?.ratio;
    let bucket = found.flow_l_min.value;
    // Few runs are worth less than their standard uncertainty says: Student's factor goes in.
    let relative = ratio.half_width() / Z95 / ratio.value;
    Ok(RigReading {
        flow: Some(VolumeFlow::from_l_min(bucket * ratio.value)),
        ..RigReading::on(KnownThing::Bucket { flow_l_min: Uncertain::relative(bucket, relative) })
    })
}

/// The meter's factor, where it has drifted and the fixture run then finds hoses and couplings as stated.
fn correction(state: &RigState) -> Option<(f64, f64)> {
    let meter = state.of(Instrument::Meter)?;
    let hoses = state.of(Instrument::Hoses)?;
    let agree = hoses.checked && hoses.drifted < 0.5;
    (meter.trust() == Trust::Drifted && agree)
        .then(|| (math::exp(meter.error.value), meter.standard.max(BEST_METER)))
}

impl RigSeen {
    /// The visit with flow readings and uncertainties as the checks of the rig make them; the visit as it is where
    /// nothing was checked, or all is as stated.
    pub(crate) fn as_read<'a>(&self, visit: &'a Visit) -> Cow<'a, Visit> {
        let Some(state) = self.state.as_ref().filter(|state| state.trust != Trust::Sound) else {
            return Cow::Borrowed(visit);
        };
        let mut read = visit.clone();
        let rms = |instrument| state.of(instrument).filter(|one| one.checked).map(|one| one.root_mean_square);
        let rig = &mut read.rig;
        if let Some(meter) = rms(Instrument::Meter) {
            rig.flow_uncertainty_relative = rig.flow_uncertainty_relative.max(meter);
        }
        if let Some(hoses) = rms(Instrument::Hoses) {
            rig.fixture_uncertainty_relative = rig.fixture_uncertainty_relative.max(hoses);
        }
        let off = |one: &InstrumentState| one.trust() == Trust::Drifted;
        let gauges = [Instrument::InletZero, Instrument::OutletZero]
            .map(|zero| state.of(zero).filter(|one| off(one)).map_or(0.0, |one| one.root_mean_square));
        let gauge = root_sum_square(&gauges) * core::f64::consts::FRAC_1_SQRT_2;
        rig.pressure_uncertainty_bar = rig.pressure_uncertainty_bar.max(gauge);
        if let Some((factor, relative)) = self.correction {
            rig.flow_uncertainty_relative = relative;
            for entry in &mut read.entries {
                correct(&mut entry.what, factor);
            }
        }
        Cow::Owned(read)
    }

    /// What every circuit with a flow should say of the meter.
    pub(crate) fn evidence(&self) -> Option<Evidence> {
        let (factor, relative) = self.correction?;
        Some(Evidence {
            title: "Flow meter".to_owned(),
            text: format!(
                "Fixture run and bucket of this visit agree that the meter shows {}; the flows were divided by {factor:.3}, \
                 known to {:.1} %.",
                words::too_much(100.0 * (factor - 1.0), 1),
                100.0 * Z95 * relative
            ),
            place: None,
            sources: vec!["iso-4185", "gelman-bda"],
            picture: None,
        })
    }

    /// The finding, with circuits that moved alike, where they point to the rig.
    pub(crate) fn finding(self, moved_alike: Option<MovedAlike>) -> (Option<RigFinding>, Vec<Warning>) {
        let mut warnings = self.warnings;
        if let Some(alike) = &moved_alike {
            warnings.extend(words::alike_warnings(alike));
        }
        if self.state.is_none() && moved_alike.is_none() {
            return (None, warnings);
        }
        let likely = moved_alike.as_ref().map_or(0.0, |alike| alike.probability);
        let own = self.state.as_ref().map_or(RigVerdict::CannotTell, |state| verdict(state.trust));
        let verdict = match own {
            RigVerdict::Drifted => RigVerdict::Drifted,
            _ if likely > InstrumentState::SURE => RigVerdict::Drifted,
            RigVerdict::Fit if likely > 0.5 => RigVerdict::CannotTell,
            own => own,
        };
        let next = self.state.as_ref().and_then(|state| state.next_reading);
        let finding = RigFinding {
            verdict,
            instruments: self
                .state
                .iter()
                .flat_map(|state| &state.instruments)
                .filter_map(instrument)
                .collect(),
            sentences: words::sentences(self.state.as_ref(), self.correction, moved_alike.as_ref()),
            best_next_reading: next.map(words::next).or_else(|| {
                moved_alike.as_ref().filter(|_| self.state.is_none()).map(|_| words::FIRST_CHECK.to_owned())
            }),
            moved_alike,
            corrected_percent: self.correction.map(|known| 100.0 * (known.0 - 1.0)),
        };
        (Some(finding), warnings)
    }

    /// The meter's error as believed after the checks and what was corrected.
    fn beliefs(&self, rig: &Rig) -> Vec<calc::readings::common_factor::Belief> {
        alike::beliefs(self.state.as_ref(), self.correction, rig)
    }

    /// Circuits that moved by one factor, if that points to the rig.
    pub(crate) fn alike(&self, things: &[Moved], rig: &Rig) -> Option<MovedAlike> {
        alike::alike(things, &self.beliefs(rig))
    }
}

/// The visit with the common factor of its circuits in the uncertainty of every flow, where it is surely the rig's.
pub(crate) fn wider(alike: &MovedAlike, visit: &Visit) -> Option<Visit> {
    let common = math::ln(alike.flow_percent.value / 100.0);
    let stated = visit.rig.flow_uncertainty_relative;
    (alike.probability > InstrumentState::SURE && common.abs() > stated).then(|| {
        let mut wider = visit.clone();
        wider.rig.flow_uncertainty_relative = root_sum_square(&[stated, common]);
        wider
    })
}

/// Takes the meter's error out of a flow reading.
fn correct(what: &mut What, factor: f64) {
    let What::Flow(flow) = what else { return };
    match &mut flow.flow {
        FlowReading::Mean(mean) => *mean = *mean * (1.0 / factor),
        FlowReading::Trace(trace) => {
            for sample in trace.flow_l_min.iter_mut().flatten() {
                *sample /= factor;
            }
        }
    }
}

pub(crate) const fn verdict(trust: Trust) -> RigVerdict {
    match trust {
        Trust::Sound => RigVerdict::Fit,
        Trust::Drifted => RigVerdict::Drifted,
        Trust::CannotTell => RigVerdict::CannotTell,
    }
}

/// An error in the unit that people read it in; nothing if no reading depends on it.
fn instrument(state: &InstrumentState) -> Option<RigInstrument> {
    let (unit, error) = shown(state);
    state.checked.then(|| RigInstrument {
        word: state.instrument.word(),
        name: state.instrument.name(),
        unit,
        value: error,
        drift_probability: state.drifted,
        verdict: verdict(state.trust()),
        checked: state.checked,
    })
}

fn shown(state: &InstrumentState) -> (&'static str, Estimate) {
    let of = |f: &dyn Fn(f64) -> f64| Estimate {
        value: f(state.error.value),
        low: f(state.error.low),
        high: f(state.error.high),
        ..state.error
    };
    match state.instrument {
        Instrument::Meter | Instrument::Hoses => ("%", of(&|ln| 100.0 * math::exp_m1(ln))),
        Instrument::InletGain | Instrument::OutletGain => ("%", of(&|gain| 100.0 * gain)),
        Instrument::InletZero | Instrument::OutletZero => ("bar", state.error),
        Instrument::Thermometer => ("K", state.error),
    }
}

/// Calibrations that ended before the visit, one warning each.
fn overdue(visit: &Visit) -> Vec<Warning> {
    let rig = &visit.rig;
    let day = visit.started.to_string();
    // Dates as YYYY-MM-DD order like texts.
    let ended = |until: &&String| until.as_str() < day.get(..10).unwrap_or_default();
    let all = rig.calibrated_until.as_ref().filter(ended).map(|until| {
        let text =
            format!("The rig's calibration ended on {until}: every reading of this visit rests on it.");
        general("calibration-overdue", text)
    });
    let each = [
        ("flow-calibration-overdue", "flow meter", "every flow", &rig.flow_calibrated_until),
        ("pressure-calibration-overdue", "pressure gauges", "every pressure", &rig.pressure_calibrated_until),
        (
            "temperature-calibration-overdue",
            "thermometer",
            "every temperature",
            &rig.temperature_calibrated_until,
        ),
    ];
    let each = each.into_iter().filter_map(|(code, name, rests, until)| {
        let until = until.as_ref().filter(ended)?;
        let text =
            format!("The calibration of the {name} ended on {until}: {rests} of this visit rests on it.");
        Some(general(code, text))
    });
    all.into_iter().chain(each).collect()
}

#[cfg(test)]
mod tests;
