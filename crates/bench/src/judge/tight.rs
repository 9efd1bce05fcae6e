//! Leak-down readings of one circuit, together with what its neighbours showed.

use calc::air::leak_down::{DecayData, Gauge, LeakDownInput, LeakDownResult, Note, Verdict};
use calc::air::leak_kind::least_share;
use calc::estimate::Estimate;
use calc::quantity::{GaugePressure, LeakRate, Length, PressureDrop, Volume};

use super::cross::{Map, Watch};
use super::facts::TightnessFact;
use super::how;
use super::leak_kind::{self, Taken};
use super::memory::Memory;
use super::tested::TestedVolume;
use super::timeline::Timeline;
use crate::finding::{Evidence, Tightness, Warning};
use crate::mould::{Circuit, CircuitId};
use crate::picture::{LeakDownPicture, Picture};
use crate::visit::{Decay, Entry, LeakDown, Rig, What};

/// Gauge pressure, in bar, at which the limit holds: a leak is as large as its pressure.
const LIMIT_AT_BAR_G: f64 = 6.0;
/// Share of the limit from which on a sure path into a neighbour counts as a leak across.
const ACROSS_SHARE: f64 = 0.1;

/// What a circuit is tested against.
pub(crate) struct Test<'a> {
    pub(crate) memory: &'a Memory,
    pub(crate) circuit: &'a Circuit,
    pub(crate) rig: &'a Rig,
    pub(crate) volume: &'a TestedVolume,
    pub(crate) bore: Option<Length>,
    pub(crate) limit_mbar_l_s: f64,
    /// Every circuit of the mould that could be a neighbour.
    pub(crate) neighbours: &'a [CircuitId],
    pub(crate) watches: &'a [Watch],
    /// What all watches say together.
    pub(crate) paths: &'a Map,
}

/// The verdict on tightness with its evidence and warnings.
pub(crate) fn judge(
    test: &Test<'_>,
    timeline: &Timeline<'_>,
) -> (TightnessFact, Vec<Evidence>, Vec<Warning>) {
    let mut evidence = Vec::new();
    let mut warnings = Vec::new();
    let taken: Vec<Taken<'_>> = timeline
        .since_change()
        .filter_map(|entry| match &entry.what {
            What::LeakDown(reading) => Some((entry, reading)),
            _ => None,
        })
        .collect();
    let readings = leak_kind::by_pressure(&taken);
    let mut fact = TightnessFact {
        verdict: Tightness::Untested,
        leak_rate_mbar_l_s: None,
        surely_below_mbar_l_s: None,
        limit_mbar_l_s: test.limit_mbar_l_s,
        tested_off_limit_pressure: false,
        across_to: Vec::new(),
        outdated: timeline.outdated(|what| matches!(what, What::LeakDown(_))),
        would_tell: None,
        kind: None,
        kind_would_tell: None,
        working: None,
    };
    // The limit holds at 6 bar: the highest pressure is judged, lower ones can only add to the doubt.
    if let Some((entry, reading)) = readings.first() {
        fact.limit_mbar_l_s = surest_limit_at(test, reading);
        fact.tested_off_limit_pressure = fact.limit_mbar_l_s < 0.99 * test.limit_mbar_l_s;
        match run(test, reading) {
            Ok(result) => {
                let notes = result.notes.iter().filter(|note| worth_saying(note));
                warnings.extend(notes.map(|note| Warning::about(&test.circuit.id, note.code(), note.text())));
                evidence.push(leak_evidence(test, entry, reading, &result));
                fact.working = how::leak_rate(test, reading, &result);
                take(&mut fact, &result);
                evidence.extend(lower_pressures(test, &readings, &mut fact));
            }
            Err(text) => {
                fact.verdict = Tightness::CannotTell;
                warnings.push(Warning::about(&test.circuit.id, "leak-down", text));
            }
        }
    }
    across(test, &mut fact, &mut evidence);
    let found = leak_kind::judge(test, &readings, fact.verdict);
    evidence.extend(found.evidence);
    (fact.kind, fact.kind_would_tell) = (found.kind, found.would_tell);
    (fact, evidence, warnings)
}

/// A leak above the whole limit at a lower pressure is a leak, however tight the circuit is at a higher one: a seat may
/// be pressed shut there, and the press works at less.
fn lower_pressures(test: &Test<'_>, readings: &[Taken<'_>], fact: &mut TightnessFact) -> Option<Evidence> {
    if fact.verdict == Tightness::Leaks {
        return None;
    }
    let (entry, bar_g, rate) = readings.iter().skip(1).find_map(|(entry, reading)| {
        let rate = run(test, reading).ok()?.leak_rate;
        Some((entry, start_bar_g(reading)?, rate)).filter(|_| rate.low > test.limit_mbar_l_s)
    })?;
    fact.verdict = Tightness::Leaks;
    Some(Evidence {
        title: "Leak-down at a lower pressure".to_owned(),
        text: format!(
            "At {bar_g:.1} bar it lost {:.3} mbar·l/s ({:.3} to {:.3}), above the limit of {}: that counts, though less or              nothing got out at the higher pressure.",
            rate.value, rate.low, rate.high, test.limit_mbar_l_s
        ),
        place: Some(entry.place.clone()),
        sources: vec!["en-13184"],
        picture: None,
    })
}

/// The limit at the pressure of this test. A crack loses air with the difference of squared pressures, so a test below
/// 6 bar has to be stricter; one above is not made laxer.
fn limit_at(test: &Test<'_>, reading: &LeakDown) -> f64 {
    let air = test.rig.atmosphere.bar();
    let squares = |bar_g: f64| (bar_g + air).powi(2) - air * air;
    let share = start_bar_g(reading).map_or(1.0, |start| squares(start.max(0.5)) / squares(LIMIT_AT_BAR_G));
    test.limit_mbar_l_s * share.min(1.0)
}

/// The limit that acid needs at the pressure of this test: as strict as one at 6 bar for every kind of leak, also for a
/// crack that pressure pushes open (below 6 bar) and a seat that it presses shut (above).
fn surest_limit_at(test: &Test<'_>, reading: &LeakDown) -> f64 {
    let share = start_bar_g(reading)
        .map_or(1.0, |start| least_share(GaugePressure::from_bar(start), test.rig.atmosphere));
    test.limit_mbar_l_s * share
}

/// Gauge pressure at which a test began.
pub(crate) fn start_bar_g(reading: &LeakDown) -> Option<f64> {
    match &reading.decay {
        Decay::Trace(trace) => trace.pressures().and_then(|(_, pressures)| pressures.first().copied()),
        Decay::TwoReadings { start, .. } => Some(start.bar()),
    }
}

/// Notes that ask for something; what is merely assumed stands in the evidence.
const fn worth_saying(note: &Note) -> bool {
    matches!(note, Note::Rising | Note::GaugeNeverMoved | Note::LowStart { .. } | Note::EmptiedFast)
}

pub(crate) fn run(test: &Test<'_>, reading: &LeakDown) -> Result<LeakDownResult, String> {
    let decay = match &reading.decay {
        Decay::Trace(trace) => DecayData::Trace(trace),
        Decay::TwoReadings { start, end, time } => {
            DecayData::TwoReadings { start: *start, end: *end, time: *time }
        }
    };
    let input = LeakDownInput {
        volume: Volume::from_ml(test.volume.total_ml),
        volume_uncertainty_relative: test.volume.relative.min(1.0),
        hose_volume: Some(Volume::from_ml(test.volume.hose_ml)),
        bore: test.bore,
        atmosphere: test.rig.atmosphere,
        wall_temperature: reading.wall_temperature,
        hold: reading.hold,
        gauge: gauge(test.rig, &reading.decay),
        limit: LeakRate::from_mbar_l_s(limit_at(test, reading)),
        decay,
    };
    test.memory.leak_down(&input).map_err(|error| error.to_string())
}

/// The gauge between two of its own readings: gain and zero cancel, steps stay. Where the rig file names no step, a
/// logger's noise is seen in its samples and a reading by eye scatters by a tenth of the gauge's uncertainty.
fn gauge(rig: &Rig, decay: &Decay) -> Gauge {
    let step = PressureDrop::from_bar(rig.gauge_step_bar);
    match decay {
        Decay::Trace(_) => Gauge { step, ..Gauge::logger() },
        Decay::TwoReadings { .. } => Gauge {
            step,
            standard_uncertainty: PressureDrop::from_bar(0.1 * rig.pressure_uncertainty_bar),
            ..Gauge::by_eye()
        },
    }
}

fn take(fact: &mut TightnessFact, result: &LeakDownResult) {
    fact.verdict = match result.verdict {
        Verdict::Tight => Tightness::Tight,
        Verdict::Leaks => Tightness::Leaks,
        Verdict::CannotTell => Tightness::CannotTell,
    };
    fact.leak_rate_mbar_l_s = Some(result.leak_rate);
    fact.surely_below_mbar_l_s = Some(result.surely_below.mbar_l_s());
    fact.would_tell = result.best_next_reading.map(|remedy| match result.seconds_needed {
        Some(time) if time.s() > 180.0 => {
            format!("{remedy}; {:.0} minutes of watching would then do", (time.s() / 60.0).ceil())
        }
        Some(time) => format!("{remedy}; {:.0} s of watching would then do", (time.s() / 10.0).ceil() * 10.0),
        None => remedy.to_owned(),
    });
}

fn leak_evidence(test: &Test<'_>, entry: &Entry, reading: &LeakDown, result: &LeakDownResult) -> Evidence {
    let rate = result.leak_rate;
    let rule = result.rule_of_thumb.leak_rate.mbar_l_s();
    let own_limit = limit_at(test, reading);
    let limit = if own_limit < 0.99 * test.limit_mbar_l_s {
        format!("a limit of {} at 6 bar, {own_limit:.3} at the pressure of this test,", test.limit_mbar_l_s)
    } else {
        format!("a limit of {}", test.limit_mbar_l_s)
    };
    let settled = if result.settled { "" } else { "; the air had not settled" };
    Evidence {
        title: "Leak-down".to_owned(),
        text: format!(
            "{:.3} mbar·l/s ({:.3} to {:.3}) against {limit} in {:.0} ml ± {:.0} % ({}, hoses included){settled}. It \
             could have shown {:.3}. The rule '0.2 bar in 20 s' would mean {rule:.2} mbar·l/s in this volume. At working \
             pressure {:.0} to {:.0} ml of water an hour would get out at this rate, through one capillary or one hole.",
            rate.value,
            rate.low,
            rate.high,
            test.volume.total_ml,
            test.volume.relative * 100.0,
            test.volume.from,
            result.detection_limit.mbar_l_s(),
            result.water_ml_h.low,
            result.water_ml_h.high,
        ),
        place: Some(entry.place.clone()),
        sources: vec!["en-13184", "astm-e2930", "jcgm-106"],
        picture: Some(Picture::LeakDown(LeakDownPicture {
            measured: result.curves.measured.clone(),
            fitted: result.curves.fitted.clone(),
            leak_only: result.curves.leak_only.clone(),
            at_limit: result.curves.at_limit.clone(),
            settled_from_s: result.settled_from_s,
        })),
    }
}

/// Sure paths into neighbours turn 'leaks' into 'leaks across'; a complete and quiet watch into 'leaks out'.
fn across(test: &Test<'_>, fact: &mut TightnessFact, evidence: &mut Vec<Evidence>) {
    let id = &test.circuit.id;
    let mine: Vec<&Watch> =
        test.watches.iter().filter(|watch| watch.charged == *id || watch.watched == *id).collect();
    for watch in &mine {
        let other = if watch.charged == *id { &watch.watched } else { &watch.charged };
        let rate = watch.rise.rate_mbar_l_s;
        if watch.rise.is_sure() && rate.value >= ACROSS_SHARE * test.limit_mbar_l_s {
            evidence.push(path_evidence(watch, rate));
            if !fact.across_to.contains(other) {
                fact.across_to.push(other.clone());
            }
            if fact.verdict != Tightness::Leaks {
                fact.leak_rate_mbar_l_s = Some(rate);
                // A rate that was seen in the neighbour does not come from the leak-down.
                fact.working = None;
            }
        }
    }
    if !fact.across_to.is_empty() {
        fact.verdict = Tightness::LeaksAcross;
        return;
    }
    suspected(test, fact, evidence);
    let quiet = |neighbour: &CircuitId| {
        mine.iter().any(|watch| {
            let pair = (&watch.charged, &watch.watched);
            let enough =
                fact.leak_rate_mbar_l_s.is_some_and(|rate| watch.rise.rate_mbar_l_s.high < 0.5 * rate.value);
            let unlikely = test.paths.across(id, neighbour).is_none();
            enough && unlikely && (pair == (id, neighbour) || pair == (neighbour, id))
        })
    };
    if fact.verdict == Tightness::Leaks && !test.neighbours.is_empty() && test.neighbours.iter().all(quiet) {
        fact.verdict = Tightness::LeaksOut;
        evidence.push(Evidence {
            title: "Cross-watch".to_owned(),
            text: format!(
                "All {} neighbours were watched and stayed quiet: what {id} loses gets out.",
                test.neighbours.len()
            ),
            place: mine.last().map(|watch| watch.place.clone()),
            sources: vec!["en-13184"],
            picture: None,
        });
    }
}

/// A path into a neighbour that is only likely takes 'tight' back: the leak-down does not say where to, and acid must not
/// find out.
fn suspected(test: &Test<'_>, fact: &mut TightnessFact, evidence: &mut Vec<Evidence>) {
    let id = &test.circuit.id;
    let paths = test.paths.paths.iter().filter(|path| path.from == *id || path.to.as_ref() == Some(id));
    let mut likely = paths.filter_map(|path| {
        let other = if path.from == *id { path.to.as_ref()? } else { &path.from };
        (path.rate_mbar_l_s.value >= ACROSS_SHARE * test.limit_mbar_l_s).then_some((other, path))
    });
    let Some((other, path)) = likely.next() else { return };
    evidence.push(Evidence {
        title: "Leak map".to_owned(),
        text: format!(
            "With {:.0} % probability {:.2} mbar·l/s ({:.2} to {:.2}) pass between {id} and {other}.",
            path.probability * 100.0,
            path.rate_mbar_l_s.value,
            path.rate_mbar_l_s.low,
            path.rate_mbar_l_s.high
        ),
        place: None,
        sources: vec!["en-13184", "mackay-2003"],
        picture: None,
    });
    if fact.verdict == Tightness::Tight {
        fact.verdict = Tightness::CannotTell;
        fact.would_tell =
            Some(format!("a path between it and {other} is not ruled out; charge it and watch {other}"));
    }
}

fn path_evidence(watch: &Watch, rate: Estimate) -> Evidence {
    Evidence {
        title: "Cross-watch".to_owned(),
        text: format!(
            "While {}{} was charged, {} rose: {:.2} mbar·l/s ({:.2} to {:.2}) pass between them.",
            watch.charged,
            if watch.several_charged { " with others" } else { "" },
            watch.watched,
            rate.value,
            rate.low.max(0.0),
            rate.high
        ),
        place: Some(watch.place.clone()),
        sources: vec!["en-13184"],
        picture: None,
    }
}
