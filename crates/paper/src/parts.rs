//! Parts that several papers share, as data for their forms.

use bench::finding::{CircuitFinding, Findings, Fitness, Gate, NextStep, Passage};
use bench::visit::Rig;
use report::plain;
use serde_json::{Value as Json, json};

/// Words with a tone: `plain`, `ask`, `care` or `alarm`. The words say the same as the tone.
pub(crate) fn toned(text: impl Into<String>, tone: &str) -> Json {
    json!({ "text": text.into(), "tone": tone })
}

/// Which mould, which visit, when, by whom, on what.
pub(crate) fn card(findings: &Findings) -> Json {
    json!({
        "mould": findings.mould.0,
        "mould_name": findings.mould_name,
        "visit": findings.visit,
        "begun": plain::moment(findings.started),
        "by": findings.by,
        "rig": findings.rig.as_deref().unwrap_or("not named"),
    })
}

/// The most important sentence, what backs it, and what is next.
pub(crate) fn verdict(findings: &Findings) -> Json {
    let tone = match findings.fit_for_press {
        Fitness::Yes => "plain",
        Fitness::No => "alarm",
        Fitness::CannotTell => "care",
    };
    json!({
        "fit": toned(format!("Fit for the press: {}", plain::fitness(findings.fit_for_press)), tone),
        "headline": findings.headline,
        "because": findings.because,
        "next": findings.next,
    })
}

/// A row for each circuit.
pub(crate) fn circuits(findings: &Findings) -> Vec<Json> {
    findings.circuits.iter().map(circuit).collect()
}

fn circuit(one: &CircuitFinding) -> Json {
    let bore = plain::bore_in_short(one);
    json!({
        "id": one.id.0,
        "place": plain::place_in_mould(one),
        "port": one.port.map(|port| format!("port\u{a0}{port}")),
        "eye": plain::bore_eye_file(one),
        "eye_alt": format!("Bore of {}: {bore}", one.id),
        "bore": bore,
        "layer": one.deposit_thickness_mm.as_ref().map(|mm| plain::amount(mm, "mm")),
        "air": tightness(one),
        "leak_rate": one.leak_rate_mbar_l_s.as_ref().map(|rate| plain::amount(rate, "mbar·l/s")),
        "passage": passage(one.passage),
        "flow": flow(one),
        "flow_factor": one.flow_factor_m3_h.as_ref().map(|factor| plain::amount(factor, "m³/h")),
        "compared_with": one.compared_with,
        "step": step(one.next_step),
        "reason": one.reason,
        "release": gate(&one.gates.release),
        "wet": gate(&one.gates.wet),
        "descale": gate(&one.gates.descale),
        "cautions": one.cautions,
        "help_most": one.best_next_reading,
    })
}

/// Whether a circuit holds air.
pub(crate) fn tightness(one: &CircuitFinding) -> Json {
    toned(plain::tightness(one), if plain::is_leak(one.tightness) { "alarm" } else { "plain" })
}

/// Whether air passes.
pub(crate) fn passage(passage: Passage) -> Json {
    let tone = match passage {
        Passage::Blocked => "alarm",
        Passage::Restricted => "care",
        _ => "plain",
    };
    toned(plain::passage(passage), tone)
}

/// Flow against what it should be, in words.
pub(crate) fn flow(one: &CircuitFinding) -> String {
    match (&one.against_baseline_percent, &one.flow_factor_m3_h) {
        (Some(percent), _) => plain::percent(percent),
        (None, Some(_)) => "nothing to compare it with".into(),
        (None, None) => "not measured".into(),
    }
}

fn step(step: NextStep) -> Json {
    let tone = match step {
        NextStep::Leave => "plain",
        NextStep::FindOut => "ask",
        NextStep::Descale => "care",
        NextStep::Open | NextStep::Repair | NextStep::Retire => "alarm",
    };
    toned(plain::capital(plain::next_step(step)), tone)
}

fn gate(gate: &Gate) -> Json {
    let word = if gate.open { toned("allowed", "plain") } else { toned("not allowed", "alarm") };
    json!({ "word": word, "reason": gate.reason })
}

/// Every caution of the visit, once.
pub(crate) fn cautions(findings: &Findings) -> Vec<&'static str> {
    let mut all: Vec<&'static str> = Vec::new();
    let each = findings.circuits.iter().flat_map(|circuit| &circuit.cautions);
    for caution in findings.cautions.iter().chain(each) {
        if !all.contains(caution) {
            all.push(caution);
        }
    }
    all
}

/// Hoses that seem to be elsewhere, what is known of the rig, and what the reader should know, as sentences.
pub(crate) fn doubts(findings: &Findings) -> Vec<String> {
    let hoses = findings.hook_up_doubts.iter().map(|doubt| {
        let ids: Vec<&str> = doubt.circuits.iter().map(|id| id.0.as_str()).collect();
        format!(
            "{}, {}: {} Probability {}. To settle it: {}.",
            ids.join(", "),
            plain::hose_slip(doubt.kind),
            doubt.text,
            plain::probability(doubt.probability),
            doubt.settled_by
        )
    });
    let rig = findings.rig_check.iter().flat_map(|rig| {
        let head = format!("Rig: {}.", plain::rig_verdict(rig.verdict));
        std::iter::once(head).chain(rig.sentences.iter().cloned())
    });
    let warnings = findings.warnings.iter().map(|warning| match &warning.circuit {
        Some(id) => format!("{id}: {}", warning.text),
        None => warning.text.clone(),
    });
    hoses.chain(rig).chain(warnings).collect()
}

/// Limits that were applied.
pub(crate) fn limits(findings: &Findings) -> Vec<Json> {
    let applied = findings.limits.iter().filter(|limit| limit.applied);
    let row = |limit: &bench::finding::LimitUsed| {
        let owner = if limit.owner.is_empty() { "no owner" } else { &limit.owner };
        json!([limit.name, plain::exact(limit.value), limit.source, owner])
    };
    applied.map(row).collect()
}

/// What was measured with: name, standard uncertainty, calibration, and whether that had ended.
pub(crate) fn rig(rig: &Rig, started: jiff::Timestamp) -> Vec<Json> {
    let percent = |share: f64| format!("{}\u{202f}%", plain::exact(100.0 * share));
    let until = |own: &Option<String>| calibration(own.as_ref().or(rig.calibrated_until.as_ref()), started);
    vec![
        json!(["Flow meter", percent(rig.flow_uncertainty_relative), until(&rig.flow_calibrated_until)]),
        json!([
            "Pressure gauges",
            format!("{}\u{202f}bar", plain::exact(rig.pressure_uncertainty_bar)),
            until(&rig.pressure_calibrated_until)
        ]),
        json!([
            "Thermometer",
            format!("{}\u{202f}K", plain::exact(rig.temperature_uncertainty_k)),
            until(&rig.temperature_calibrated_until)
        ]),
    ]
}

/// Until when a calibration holds, marked where it had ended.
pub(crate) fn calibration(until: Option<&String>, started: jiff::Timestamp) -> Json {
    match until {
        None => toned("no date on record", "care"),
        Some(until) if bench::account::calibration_overdue(until, started) => {
            toned(format!("overdue: ended on {until}"), "alarm")
        }
        Some(until) => toned(format!("holds until {until}"), "plain"),
    }
}

/// How numbers are to be read.
pub(crate) const NUMBERS: [&str; 4] = [
    "‘±’ and ‘(… to …)’ hold the truth with 95 % probability unless another one stands beside them; ‘under’ and ‘over’ are the \
     end of that interval.",
    "Leak rate: air lost at the starting pressure and 20 °C, in mbar·l/s.",
    "Flow factor: water flow in m³/h at 1 bar pressure drop and 20 °C, without hoses and couplings.",
    "Pressures are gauge pressures.",
];
