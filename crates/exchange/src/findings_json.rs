//! Findings as JSON, `borewise-findings/1`.
//!
//! Numbers carry at most six significant digits: more would be noise, and the last bits of a fit could differ
//! between machines. The drawings behind the evidence are not part of the document.

use std::collections::BTreeMap;

use bench::finding::{
    BoreState, CircuitFinding, Evidence, Findings, Fitness, Gate, HookUpDoubt, LimitUsed, MovedAlike,
    NextReading, NextStep, Passage, RigFinding, RigInstrument, RigVerdict, Tightness, Warning,
};
use bench::mould::CircuitId;
use bench::picture::{LeakMap, LeakPath};
use calc::estimate::Estimate;
use serde_json::{Map, Value as Json, json};

use crate::intake::InputFile;
use crate::json::json_number;

/// Value of `format`.
pub const FORMAT: &str = "borewise-findings/1";

/// Where findings come from: the files judged and the program that judged them.
#[derive(Clone, Copy, Debug)]
pub struct Origin<'a> {
    /// Version of the program.
    pub program: &'a str,
    /// Digest over the input files.
    pub digest: &'a str,
    /// The input files.
    pub inputs: &'a [InputFile],
}

/// The findings of a visit as a document.
#[must_use]
pub fn document(findings: &Findings, origin: Origin<'_>) -> Json {
    let inputs: Vec<Json> =
        origin.inputs.iter().map(|input| json!({"name": input.name, "sha256": input.sha256})).collect();
    json!({
        "format": FORMAT,
        "method": findings.method,
        "program": origin.program,
        "digest": origin.digest,
        "inputs": inputs,
        "mould": findings.mould.0,
        "mould_name": findings.mould_name,
        "visit": findings.visit,
        "started": findings.started.to_string(),
        "by": findings.by,
        "rig": findings.rig,
        "fit_for_press": fitness(findings.fit_for_press),
        "headline": findings.headline,
        "because": findings.because,
        "next": findings.next,
        "circuits": findings.circuits.iter().map(circuit).collect::<Vec<_>>(),
        "hook_up_doubts": findings.hook_up_doubts.iter().map(doubt).collect::<Vec<_>>(),
        "warnings": findings.warnings.iter().map(warning).collect::<Vec<_>>(),
        "limits": findings.limits.iter().map(limit).collect::<Vec<_>>(),
        "cautions": findings.cautions,
        "leak_map": findings.leak_map.as_ref().map(leak_map),
        "rig_check": findings.rig_check.as_ref().map(rig_check),
    })
}

/// What is known of the rig.
fn rig_check(found: &RigFinding) -> Json {
    let instrument = |one: &RigInstrument| {
        let value = json!({
            "error": estimate_json(one.value),
            "unit": one.unit,
            "drifted": six_digits(one.drift_probability),
            "verdict": rig_verdict(one.verdict),
        });
        (one.word.to_owned(), value)
    };
    let alike = |alike: &MovedAlike| {
        json!({
            "circuits": alike.circuits.iter().map(|id| id.0.as_str()).collect::<Vec<_>>(),
            "flow_percent": estimate_json(alike.flow_percent),
            "probability": six_digits(alike.probability),
        })
    };
    json!({
        "verdict": rig_verdict(found.verdict),
        "instruments": found.instruments.iter().map(instrument).collect::<Map<_, _>>(),
        "moved_alike": found.moved_alike.as_ref().map(alike),
        "corrected_percent": found.corrected_percent.map(six_digits),
        "sentences": found.sentences,
        "best_next_reading": found.best_next_reading,
    })
}

/// The document's word for a rig's verdict.
#[must_use]
pub const fn rig_verdict(verdict: RigVerdict) -> &'static str {
    match verdict {
        RigVerdict::Fit => "fit",
        RigVerdict::Drifted => "drifted",
        RigVerdict::CannotTell => "cannot-tell",
    }
}

/// Who leaks into whom; `to` is null for the outside. `rate_mbar_l_s` is the best single value, `rate` its interval.
fn leak_map(map: &LeakMap) -> Json {
    let circuits: Vec<&str> = map.circuits.iter().map(|id| id.0.as_str()).collect();
    let ids = |ids: &[CircuitId]| ids.iter().map(|id| id.0.clone()).collect::<Vec<_>>();
    let path = |path: &LeakPath| {
        json!({
            "from": path.from.0,
            "to": path.to.as_ref().map(|id| id.0.as_str()),
            "rate_mbar_l_s": six_digits(path.rate_mbar_l_s.value),
            "rate": estimate_json(path.rate_mbar_l_s),
            "probability": six_digits(path.probability),
            "opens_above_bar": path.opens_above_bar.map(six_digits),
        })
    };
    let next = map.next_test.as_ref().map(|next| {
        json!({
            "charged": ids(&next.charged),
            "watched": ids(&next.watched),
            "open": ids(&next.open),
            "minutes": next.duration_min,
            "why": next.why,
        })
    });
    json!({
        "circuits": circuits,
        "paths": map.paths.iter().map(path).collect::<Vec<_>>(),
        "next_leak_test": next,
    })
}

fn circuit(found: &CircuitFinding) -> Json {
    let estimate = |estimate: Option<Estimate>| estimate.map_or(Json::Null, estimate_json);
    let ids = |ids: &[CircuitId]| ids.iter().map(|id| id.0.clone()).collect::<Vec<_>>();
    json!({
        "id": found.id.0,
        "half": found.half,
        "serves": found.serves,
        "port": found.port,
        "tightness": tightness(found.tightness),
        "leak_rate_mbar_l_s": estimate(found.leak_rate_mbar_l_s),
        "across_to": ids(&found.across_to),
        "passage": passage(found.passage),
        "flow_factor_m3_h": estimate(found.flow_factor_m3_h),
        "against_baseline_percent": estimate(found.against_baseline_percent),
        "compared_with": found.compared_with,
        "state": states(&found.state),
        "state_before": found.state_before.as_ref().map(states),
        "state_without_past": found.state_without_past.as_ref().map(states),
        "state_fits": found.state_fits,
        "layer_share": estimate(found.layer_share),
        "deposit_thickness_mm": estimate(found.deposit_thickness_mm),
        "deposit_mass_g": estimate(found.deposit_mass_g),
        "plug_bore_mm": estimate(found.plug_bore_mm),
        "plugged_branch": six_digits(found.plugged_branch_probability),
        "filled_volume_ml": estimate(found.filled_volume_ml),
        "filled_volume_percent": estimate(found.filled_volume_percent),
        "bore_mm": found.bore_mm.map_or(Json::Null, six_digits),
        "gates": {
            "wet": gate(&found.gates.wet),
            "descale": gate(&found.gates.descale),
            "release": gate(&found.gates.release),
        },
        "next_step": next_step(found.next_step),
        "reason": found.reason,
        "best_next_reading": found.best_next_reading,
        "further_readings": found.further_readings.iter().map(further_reading).collect::<Vec<_>>(),
        "cautions": found.cautions,
        "evidence": found.evidence.iter().map(evidence).collect::<Vec<_>>(),
    })
}

fn further_reading(reading: &NextReading) -> Json {
    json!({
        "text": reading.text,
        "minutes": reading.minutes,
        "expected_information_bits": six_digits(reading.information_bits),
        "probability_of_a_sure_state": six_digits(reading.confident_probability),
    })
}

/// All states, those without a probability as 0.
fn states(stated: &BTreeMap<BoreState, f64>) -> Map<String, Json> {
    let probability = |state| stated.get(&state).copied().unwrap_or(0.0);
    let all = BoreState::ALL.into_iter();
    all.map(|state| (bore_state(state).to_owned(), six_digits(probability(state)))).collect()
}

fn gate(gate: &Gate) -> Json {
    let mut json = json!({"open": gate.open, "reason": gate.reason});
    if let Some(overridden) = &gate.overridden {
        json["overridden"] = json!({
            "by": overridden.by,
            "at": overridden.at.to_string(),
            "because": overridden.because,
            "rule": overridden.rule,
        });
    }
    json
}

fn evidence(evidence: &Evidence) -> Json {
    json!({
        "title": evidence.title,
        "text": evidence.text,
        "place": evidence.place,
        "sources": evidence.sources,
    })
}

fn doubt(doubt: &HookUpDoubt) -> Json {
    let circuits: Vec<&str> = doubt.circuits.iter().map(|id| id.0.as_str()).collect();
    json!({
        "kind": doubt.kind.word(),
        "circuits": circuits,
        "probability": six_digits(doubt.probability),
        "text": doubt.text,
        "settled_by": doubt.settled_by,
    })
}

fn warning(warning: &Warning) -> Json {
    let circuit = warning.circuit.as_ref().map(|id| id.0.as_str());
    json!({"code": warning.code, "circuit": circuit, "text": warning.text})
}

fn limit(limit: &LimitUsed) -> Json {
    json!({
        "name": limit.name,
        "value": six_digits(limit.value),
        "source": limit.source,
        "owner": limit.owner,
        "applied": limit.applied,
    })
}

fn estimate_json(estimate: Estimate) -> Json {
    json!({
        "value": six_digits(estimate.value),
        "low": six_digits(estimate.low),
        "high": six_digits(estimate.high),
        "coverage": six_digits(estimate.coverage),
    })
}

/// The number rounded to six significant digits; null if it is none.
fn six_digits(number: f64) -> Json {
    if !number.is_finite() {
        return Json::Null;
    }
    json_number(format!("{number:.5e}").parse().unwrap_or(number))
}

/// The document's word for a fitness.
#[must_use]
pub const fn fitness(fitness: Fitness) -> &'static str {
    match fitness {
        Fitness::Yes => "yes",
        Fitness::No => "no",
        Fitness::CannotTell => "cannot-tell",
    }
}

/// The document's word for a tightness.
#[must_use]
pub const fn tightness(tightness: Tightness) -> &'static str {
    match tightness {
        Tightness::Tight => "tight",
        Tightness::LeaksOut => "leaks-out",
        Tightness::LeaksAcross => "leaks-across",
        Tightness::Leaks => "leaks",
        Tightness::CannotTell => "cannot-tell",
        Tightness::Untested => "untested",
    }
}

/// The document's word for a passage.
#[must_use]
pub const fn passage(passage: Passage) -> &'static str {
    match passage {
        Passage::Free => "free",
        Passage::NarrowByDesign => "narrow-by-design",
        Passage::Restricted => "restricted",
        Passage::Blocked => "blocked",
        Passage::CannotTell => "cannot-tell",
        Passage::Untested => "untested",
    }
}

/// The document's word for a state of the bore.
#[must_use]
pub const fn bore_state(state: BoreState) -> &'static str {
    match state {
        BoreState::AsNew => "as-new",
        BoreState::EvenDeposit => "even-deposit",
        BoreState::LocalPlug => "local-plug",
        BoreState::Mixed => "mixed",
        BoreState::Rough => "rough",
        BoreState::Unknown => "unknown",
    }
}

/// The document's word for a next step.
#[must_use]
pub const fn next_step(step: NextStep) -> &'static str {
    match step {
        NextStep::Leave => "leave",
        NextStep::FindOut => "find-out",
        NextStep::Open => "open",
        NextStep::Repair => "repair",
        NextStep::Descale => "descale",
        NextStep::Retire => "retire",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_six_digits() {
        for (number, written) in [
            (0.123_456_789, "0.123457"),
            (1_234_567.8, "1234570"),
            (12.0, "12"),
            (-0.0, "0"),
            (1e-9 / 3.0, "3.33333e-10"),
            (f64::NAN, "null"),
        ] {
            assert_eq!(six_digits(number).to_string(), written);
        }
    }
}
