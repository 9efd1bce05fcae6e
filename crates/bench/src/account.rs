//! The account of a visit: under which conditions its readings were taken, what was done to the circuits, how the mould
//! came in, and what was not tested. Nothing here judges a reading.

use std::collections::BTreeMap;

use crate::finding::{CircuitFinding, Findings, Passage, Tightness};
use crate::mould::CircuitId;
use crate::visit::{Decay, Entry, Treatment, TreatmentKind, Visit, What};

/// Lowest and highest value that was noted.
pub type Range = (f64, f64);

/// Conditions under which the readings of a visit were taken, as far as they were noted.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Conditions {
    /// Highest air pressure of each leak-down.
    pub air_bar_g: Option<Range>,
    /// Water of the flow readings.
    pub water_deg_c: Option<Range>,
    /// Steel.
    pub steel_deg_c: Option<Range>,
}

impl Conditions {
    /// The conditions of a visit.
    #[must_use]
    pub fn of(visit: &Visit) -> Self {
        let mut noted = Self::default();
        for entry in &visit.entries {
            match &entry.what {
                What::LeakDown(reading) => {
                    widen(&mut noted.air_bar_g, highest_bar_g(&reading.decay));
                    widen(&mut noted.steel_deg_c, reading.wall_temperature.map(|steel| steel.deg_c()));
                }
                What::Flow(reading) => {
                    widen(&mut noted.water_deg_c, Some(reading.water_temperature.deg_c()));
                }
                _ => {}
            }
        }
        noted
    }
}

fn highest_bar_g(decay: &Decay) -> Option<f64> {
    match decay {
        Decay::Trace(trace) => trace.pressures()?.1.into_iter().reduce(f64::max),
        Decay::TwoReadings { start, .. } => Some(start.bar()),
    }
}

fn widen(range: &mut Option<Range>, value: Option<f64>) {
    let Some(value) = value.filter(|value| value.is_finite()) else { return };
    let (low, high) = range.unwrap_or((value, value));
    *range = Some((low.min(value), high.max(value)));
}

/// Something done to one circuit or to the whole mould.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Done {
    /// Circuit; none: the whole mould.
    pub circuit: Option<CircuitId>,
    /// When, if noted.
    pub at: Option<jiff::Timestamp>,
    /// What.
    pub kind: TreatmentKind,
    /// In the technician's words.
    pub remark: Option<String>,
}

/// What was done, in order.
#[must_use]
pub fn treatments(visit: &Visit) -> Vec<Done> {
    let done = visit.entries.iter().filter_map(|entry| match &entry.what {
        What::Treatment(Treatment { kind, remark }) => {
            Some(Done { circuit: entry.circuit.clone(), at: entry.at, kind: *kind, remark: remark.clone() })
        }
        _ => None,
    });
    done.collect()
}

/// A treatment in words for people.
#[must_use]
pub const fn treatment_words(kind: TreatmentKind) -> &'static str {
    match kind {
        TreatmentKind::BlowOut => "blown out",
        TreatmentKind::Open => "opened",
        TreatmentKind::Repair => "repaired",
        TreatmentKind::Descale => "descaled",
        TreatmentKind::Neutralise => "neutralised",
        TreatmentKind::Rinse => "rinsed",
        TreatmentKind::Preserve => "preserved",
        TreatmentKind::Dry => "dried",
    }
}

/// The visit as far as each circuit was as it came in: without what was read after the circuit was opened, repaired or
/// descaled. None if no circuit was.
#[must_use]
pub fn as_received(visit: &Visit) -> Option<Visit> {
    let changes = |entry: &Entry| matches!(&entry.what, What::Treatment(done) if done.kind.changes_circuit());
    let mut first: BTreeMap<Option<&CircuitId>, usize> = BTreeMap::new();
    for (place, entry) in visit.entries.iter().enumerate().filter(|(_, entry)| changes(entry)) {
        first.entry(entry.circuit.as_ref()).or_insert(place);
    }
    let before = |place: usize, circuit: Option<&CircuitId>| {
        let own = circuit.and_then(|_| first.get(&circuit));
        let of_all = first.get(&None);
        own.into_iter().chain(of_all).all(|changed| place < *changed)
    };
    // What concerns the whole mould or several circuits speaks of them as received until the first change of any.
    let any = first.values().min().copied()?;
    let several = |what: &What| matches!(what, What::CrossWatch(_));
    let kept = visit.entries.iter().enumerate().filter(|(place, entry)| match &entry.circuit {
        Some(circuit) if !several(&entry.what) => before(*place, Some(circuit)),
        Some(_) => *place < any,
        None => *place < any || concerns_rig(&entry.what),
    });
    let entries = kept.map(|(_, entry)| entry.clone()).collect();
    Some(Visit { entries, ..visit.clone() })
}

/// Readings of the rig hold whatever was done to the mould.
fn concerns_rig(what: &What) -> bool {
    matches!(what, What::RigCheck(_) | What::Bucket(_))
}

/// What no reading on a bench tests, whatever was read (common practice, no source).
pub const NEVER_TESTED: [&str; 3] = [
    "The mould lay unclamped. A leak that opens only under clamp force was not tested and cannot show here.",
    "The mould was not at running temperature. A leak that opens, or closes, when the steel is warm was not tested.",
    "Nothing was tested above the pressures that are given here.",
];

/// What was not tested, circuit by circuit, in sentences.
#[must_use]
pub fn untested(findings: &Findings) -> Vec<String> {
    type Missing = fn(&CircuitFinding) -> bool;
    let kinds: [(&str, Missing); 5] = [
        ("Whether it holds air was not tested", |one| one.tightness == Tightness::Untested),
        ("Whether it holds air could not be told from the readings", |one| {
            one.tightness == Tightness::CannotTell
        }),
        ("Air passage was not tested", |one| one.passage == Passage::Untested),
        ("Flow was not measured", |one| one.flow_factor_m3_h.is_none()),
        ("Flow was measured, with nothing to compare it with", |one| {
            one.flow_factor_m3_h.is_some() && one.against_baseline_percent.is_none()
        }),
    ];
    let all = findings.circuits.len();
    let mut sentences = Vec::new();
    for (words, missing) in kinds {
        let ids: Vec<&str> =
            findings.circuits.iter().filter(|one| missing(one)).map(|one| one.id.0.as_str()).collect();
        if ids.len() == all && all > 1 {
            sentences.push(format!("{words}: all {all} circuits."));
        } else if !ids.is_empty() {
            sentences.push(format!("{words}: {}.", ids.join(", ")));
        }
    }
    sentences
}

/// Whether a calibration that holds until this date (YYYY-MM-DD) had ended when the visit began.
#[must_use]
pub fn calibration_overdue(until: &str, started: jiff::Timestamp) -> bool {
    // Dates as YYYY-MM-DD order like texts.
    until < started.strftime("%Y-%m-%d").to_string().as_str()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::mould::MouldId;
    use crate::visit::{LeakDown, Rig};
    use calc::quantity::{Duration, GaugePressure};

    fn leak_down(start_bar_g: f64) -> What {
        What::LeakDown(LeakDown {
            decay: Decay::TwoReadings {
                start: GaugePressure::from_bar(start_bar_g),
                end: GaugePressure::from_bar(start_bar_g - 0.1),
                time: Duration::from_s(30.0),
            },
            wall_temperature: None,
            hold: Duration::from_s(0.0),
        })
    }

    fn done(kind: TreatmentKind) -> What {
        What::Treatment(Treatment { kind, remark: None })
    }

    fn visit(entries: Vec<(Option<&str>, What)>) -> Visit {
        let entry = |(circuit, what): (Option<&str>, What)| Entry {
            place: String::new(),
            at: None,
            circuit: circuit.map(|id| CircuitId(id.into())),
            what,
        };
        Visit {
            id: "v".into(),
            mould: MouldId("M".into()),
            started: jiff::Timestamp::UNIX_EPOCH,
            by: "x".into(),
            rig: Rig::default(),
            hook_ups: Vec::new(),
            entries: entries.into_iter().map(entry).collect(),
        }
    }

    #[test]
    fn as_received_ends_for_each_circuit_where_it_was_changed() {
        let untouched = visit(vec![(Some("F1"), leak_down(6.0)), (Some("F1"), done(TreatmentKind::Dry))]);
        assert_eq!(as_received(&untouched), None);
        let treated = visit(vec![
            (Some("F1"), leak_down(6.0)),
            (Some("F1"), done(TreatmentKind::Repair)),
            (Some("F2"), leak_down(5.0)),
            (Some("F1"), leak_down(5.5)),
        ]);
        let received = as_received(&treated).expect("F1 was repaired");
        let kept: Vec<&str> =
            received.entries.iter().filter_map(|one| one.circuit.as_ref()).map(|id| id.0.as_str()).collect();
        assert_eq!(kept, ["F1", "F2"]);
        let whole = visit(vec![(None, done(TreatmentKind::Descale)), (Some("F1"), leak_down(6.0))]);
        assert!(as_received(&whole).expect("all were descaled").entries.is_empty());
    }

    #[test]
    fn conditions_span_what_was_noted() {
        let two = visit(vec![(Some("F1"), leak_down(6.0)), (Some("F2"), leak_down(5.2))]);
        assert_eq!(Conditions::of(&two).air_bar_g, Some((5.2, 6.0)));
        assert_eq!(Conditions::of(&two).water_deg_c, None);
    }
}
