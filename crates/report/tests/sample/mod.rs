//! An invented mould with six circuits, and small tools to change it. Its numbers are made up for the page; they
//! come from no reading and check nothing.

// Each user of this file takes what it needs.
#![allow(dead_code, missing_docs)]

use std::collections::BTreeMap;

use bench::finding::{
    BoreState, CircuitFinding, Evidence, Findings, Fitness, Gate, Gates, HookUpDoubt, HookUpSlip, LimitUsed,
    NextStep, Passage, RigFinding, RigInstrument, RigVerdict, Tightness, Warning,
};
use bench::mould::{CircuitId, MouldId};
use bench::picture::{AirPassagePicture, FlowCurve, LeakDownPicture, LeakMap, LeakPath, Picture};
use calc::estimate::Estimate;
use calc::numeric::math::exp;

pub const AIR: &str =
    "Compressed air is stored energy: secure both hose ends and stand clear of the outlet; goggles on.";
pub const TRAPPED: &str =
    "Pressure can be trapped behind a plug: vent and look at the gauge before a hose comes off.";
pub const WATER: &str =
    "Circuit and mould cold and without pressure, heaters and hot runner isolated before water goes in.";
pub const ACID: &str =
    "Read the safety data sheet first; gloves and goggles; acid into water, never water into acid.";
pub const GAS: &str =
    "Descaling gives off carbon dioxide and may give hydrogen: ventilate, no flame, never close the return.";
pub const WASTE: &str = "Spent medium and rinse water go where the local rules say.";

pub fn id(name: &str) -> CircuitId {
    CircuitId(name.into())
}

pub fn interval(value: f64, low: f64, high: f64) -> Estimate {
    Estimate { value, low, high, coverage: 0.95 }
}

fn gate(open: bool, reason: &str) -> Gate {
    Gate::by_rule(open, reason)
}

fn states(pairs: &[(BoreState, f64)]) -> BTreeMap<BoreState, f64> {
    pairs.iter().copied().collect()
}

/// A circuit of which nothing is known.
pub fn bare_circuit(name: &str) -> CircuitFinding {
    CircuitFinding {
        id: id(name),
        half: String::new(),
        serves: None,
        port: None,
        tightness: Tightness::Untested,
        leak_rate_mbar_l_s: None,
        across_to: vec![],
        passage: Passage::Untested,
        flow_factor_m3_h: None,
        against_baseline_percent: None,
        compared_with: None,
        state: BTreeMap::new(),
        state_before: None,
        state_without_past: None,
        state_fits: None,
        layer_share: None,
        deposit_thickness_mm: None,
        deposit_mass_g: None,
        plug_bore_mm: None,
        plugged_branch_probability: 0.0,
        next_reading: None,
        further_readings: vec![],
        filled_volume_ml: None,
        filled_volume_percent: None,
        bore_mm: None,
        gates: Gates { wet: gate(false, ""), descale: gate(false, ""), release: gate(false, "") },
        next_step: NextStep::FindOut,
        reason: String::new(),
        best_next_reading: None,
        cautions: vec![],
        evidence: vec![],
        workings: vec![],
    }
}

/// A visit of which nothing is known.
pub fn bare_findings() -> Findings {
    Findings {
        method: "judgement 1",
        mould: MouldId("M-0".into()),
        mould_name: String::new(),
        visit: "1".into(),
        started: "2026-11-24T08:40:00Z".parse().expect("a valid time"),
        by: String::new(),
        rig: None,
        fit_for_press: Fitness::CannotTell,
        headline: "Nothing was read".into(),
        because: vec![],
        next: String::new(),
        circuits: vec![],
        hook_up_doubts: vec![],
        warnings: vec![],
        limits: vec![],
        cautions: vec![],
        leak_map: None,
        rig_check: None,
    }
}

fn circuit(name: &str, half: &str, serves: &str, port: u32) -> CircuitFinding {
    CircuitFinding {
        half: half.into(),
        serves: Some(serves.into()),
        port: Some(port),
        tightness: Tightness::Tight,
        passage: Passage::Free,
        compared_with: Some("baseline of 2025-11-03".into()),
        bore_mm: Some(10.0),
        ..bare_circuit(name)
    }
}

fn evidence(
    title: &str,
    text: &str,
    line: u32,
    sources: &[&'static str],
    picture: Option<Picture>,
) -> Evidence {
    Evidence {
        title: title.into(),
        text: text.into(),
        place: Some(format!("visit.toml, line {line}")),
        sources: sources.to_vec(),
        picture,
    }
}

/// Drop proportional to the square of the flow, for a drawing.
fn drop_bar(flow_l_min: f64, flow_factor_m3_h: f64) -> f64 {
    let flow_m3_h = flow_l_min * 0.06;
    (flow_m3_h / flow_factor_m3_h) * (flow_m3_h / flow_factor_m3_h)
}

fn flow_curve(today_m3_h: f64, clean_m3_h: f64, clean_from: &str) -> Picture {
    let flows = || (0..=24).map(f64::from);
    Picture::FlowCurve(FlowCurve {
        clean: flows()
            .map(|q| {
                (q, drop_bar(q, clean_m3_h * 1.06), drop_bar(q, clean_m3_h), drop_bar(q, clean_m3_h * 0.94))
            })
            .collect(),
        clean_from: clean_from.into(),
        today: flows().take(19).map(|q| (q, drop_bar(q, today_m3_h))).collect(),
        points: [7.9, 12.4, 15.2, 17.6]
            .map(|q| (q, drop_bar(q, today_m3_h) + 0.03 * (q - 13.0) / 5.0, 0.07))
            .to_vec(),
        pump: vec![(0.0, 6.0), (10.0, 5.7), (25.0, 4.6), (40.0, 2.6), (50.0, 0.0)],
    })
}

fn leak_down(leak_bar_s: f64, limit_bar_s: f64) -> Picture {
    let times = || (0..=120).map(|tick| f64::from(tick) * 0.5);
    let settling = |t: f64| 0.05 * (exp(-t / 6.0) - 1.0);
    let wobble = |t: f64| 0.0015 * (((t * 7.3) % 2.0) - 1.0);
    Picture::LeakDown(LeakDownPicture {
        measured: times().map(|t| (t, 5.98 - leak_bar_s * t + settling(t) + wobble(t))).collect(),
        fitted: times().map(|t| (t, 5.98 - leak_bar_s * t + settling(t))).collect(),
        leak_only: times().map(|t| (t, 5.98 - leak_bar_s * t)).collect(),
        at_limit: times().map(|t| (t, 5.98 - limit_bar_s * t)).collect(),
        settled_from_s: Some(21.5),
    })
}

fn air_passage(time_s: f64, expected_s: f64) -> Picture {
    let times = || (0..=80).map(|tick| f64::from(tick) * 0.05);
    Picture::AirPassage(AirPassagePicture {
        measured: times().map(|t| (t, 5.9 * exp(-t / time_s) + 0.02 * (((t * 31.0) % 2.0) - 1.0))).collect(),
        fitted: times().map(|t| (t, 5.9 * exp(-t / time_s))).collect(),
        expected: times().map(|t| (t, 5.9 * exp(-t / expected_s))).collect(),
    })
}

fn rig_check() -> RigFinding {
    let value = Estimate { value: 7.9, low: 6.8, high: 9.0, coverage: 0.95 };
    let instrument = |word, name, drift_probability, verdict| RigInstrument {
        word,
        name,
        unit: "%",
        value,
        drift_probability,
        verdict,
        checked: true,
    };
    RigFinding {
        verdict: RigVerdict::Drifted,
        instruments: vec![
            instrument("flow-meter", "flow meter", 0.998, RigVerdict::Drifted),
            instrument("hoses", "hoses and couplings", 0.02, RigVerdict::CannotTell),
        ],
        moved_alike: None,
        corrected_percent: Some(7.9),
        sentences: vec!["Flow meter shows 7.9 % too much (6.8 to 9.0 %), more than its file states.".into()],
        best_next_reading: Some("Vent the rig and read both gauges at rest".into()),
    }
}

pub fn path(from: &str, to: Option<&str>, rate: f64, probability: f64) -> LeakPath {
    LeakPath {
        from: id(from),
        to: to.map(id),
        rate_mbar_l_s: interval(rate, 0.9 * rate, 1.1 * rate),
        probability,
        opens_above_bar: None,
    }
}

fn leak_map() -> LeakMap {
    LeakMap {
        circuits: ["F1", "F2", "F3", "M1", "M2", "M3"].map(id).to_vec(),
        paths: vec![
            path("M2", Some("M3"), 4.1, 1.0),
            path("M3", Some("M2"), 4.0, 1.0),
            path("M3", None, 0.32, 0.6),
        ],
        next_test: None,
    }
}

fn healthy() -> CircuitFinding {
    CircuitFinding {
        leak_rate_mbar_l_s: Some(interval(0.021, 0.011, 0.031)),
        flow_factor_m3_h: Some(interval(0.684, 0.66, 0.709)),
        against_baseline_percent: Some(interval(96.2, 92.1, 100.4)),
        state: states(&[(BoreState::AsNew, 0.91), (BoreState::EvenDeposit, 0.06), (BoreState::Rough, 0.03)]),
        gates: Gates {
            wet: gate(true, "Tight, and air passes."),
            descale: gate(false, "Nothing to dissolve: at baseline within uncertainty."),
            release: gate(true, "Tight, free, and at baseline within uncertainty."),
        },
        next_step: NextStep::Leave,
        reason: "At baseline within uncertainty.".into(),
        evidence: vec![
            evidence(
                "Leak-down",
                "0.021 ± 0.010 mbar·l/s against a limit of 0.25: tight.",
                31,
                &["jcgm-100"],
                Some(leak_down(0.0002, 0.002)),
            ),
            evidence(
                "Flow, 4 points",
                "Flow factor 0.684 ± 0.025 m³/h, baseline 0.711 ± 0.014 m³/h.",
                58,
                &["iec-60534-2-1"],
                Some(flow_curve(0.684, 0.711, "baseline of 2025-11-03")),
            ),
        ],
        ..circuit("F1", "fixed", "core loop", 1)
    }
}

fn scaled() -> CircuitFinding {
    CircuitFinding {
        leak_rate_mbar_l_s: Some(interval(0.03, -0.004, 0.058)),
        flow_factor_m3_h: Some(interval(0.469, 0.452, 0.487)),
        against_baseline_percent: Some(interval(66.1, 61.2, 71.0)),
        state: states(&[
            (BoreState::EvenDeposit, 0.962),
            (BoreState::LocalPlug, 0.004),
            (BoreState::Mixed, 0.034),
        ]),
        deposit_thickness_mm: Some(interval(0.8, 0.62, 1.02)),
        filled_volume_ml: Some(interval(61.0, 58.0, 64.0)),
        filled_volume_percent: Some(interval(71.0, 66.0, 76.0)),
        gates: Gates {
            wet: gate(true, "Tight, and air passes."),
            descale: gate(true, "Steel 1.2311 and EPDM only; tight; air passes."),
            release: gate(false, "Passes 66 % of its baseline; descale and read the flow again."),
        },
        next_step: NextStep::Descale,
        reason: "Even deposit of about 0.8 mm takes a third of the flow.".into(),
        cautions: vec![WATER, ACID, GAS, TRAPPED, WASTE],
        evidence: vec![
            evidence(
                "Leak-down",
                "Under 0.058 mbar·l/s against a limit of 0.25: tight.",
                34,
                &["jcgm-100"],
                Some(leak_down(0.0003, 0.002)),
            ),
            evidence(
                "Air passage",
                "Empties in 1.4 s; its drawing lets expect 1.1 s: free.",
                46,
                &["iso-6358-1"],
                Some(air_passage(0.62, 0.48)),
            ),
            evidence(
                "Flow, 4 points",
                "Flow factor 0.469 ± 0.018 m³/h, baseline 0.711 ± 0.014 m³/h: 66 % (61 to 71).",
                61,
                &["iec-60534-2-1", "colebrook-1939"],
                Some(flow_curve(0.469, 0.711, "baseline of 2025-11-03")),
            ),
            evidence(
                "Filled volume",
                "61 ± 3 ml of 86 ml as new: the deposit lies all along the bore, not at one place.",
                88,
                &[],
                None,
            ),
        ],
        ..circuit("F2", "fixed", "cavity row A", 2)
    }
}

fn unclear() -> CircuitFinding {
    CircuitFinding {
        leak_rate_mbar_l_s: Some(interval(0.05, 0.03, 0.07)),
        flow_factor_m3_h: Some(interval(0.412, 0.385, 0.44)),
        against_baseline_percent: Some(interval(58.0, 53.0, 63.4)),
        compared_with: Some("sister F2, as on its drawing".into()),
        state: states(&[
            (BoreState::EvenDeposit, 0.55),
            (BoreState::LocalPlug, 0.31),
            (BoreState::Mixed, 0.14),
        ]),
        deposit_thickness_mm: Some(interval(0.9, 0.1, 1.5)),
        gates: Gates {
            wet: gate(true, "Tight, and air passes slowly."),
            descale: gate(false, "Metal of the insert is not known: name it, or ask the mould's owner."),
            release: gate(false, "Flow too low; whether by deposit or plug is not known yet."),
        },
        passage: Passage::Restricted,
        next_step: NextStep::FindOut,
        reason: "Even deposit or one local plug: the flow cannot tell them apart.".into(),
        best_next_reading: Some("Filled volume by air expansion: it tells a layer from a plug.".into()),
        cautions: vec![AIR, TRAPPED],
        evidence: vec![evidence(
            "Flow, 4 points",
            "Flow factor 0.41 ± 0.03 m³/h; sister F2 was 0.711 m³/h as new.",
            64,
            &["iec-60534-2-1"],
            Some(flow_curve(0.412, 0.711, "sister F2")),
        )],
        ..circuit("F3", "fixed", "cavity row B", 3)
    }
}

fn blocked() -> CircuitFinding {
    CircuitFinding {
        tightness: Tightness::CannotTell,
        passage: Passage::Blocked,
        compared_with: None,
        state: states(&[(BoreState::Unknown, 1.0)]),
        gates: Gates {
            wet: gate(false, "No passage: keep water out until air passes."),
            descale: gate(false, "No passage: a medium would stand in a dead end."),
            release: gate(false, "No passage."),
        },
        next_step: NextStep::Open,
        reason: "Held 5.9 bar for 60 s with the return open: nothing passes.".into(),
        best_next_reading: Some("Air passage again once the plug is out.".into()),
        cautions: vec![AIR, TRAPPED],
        evidence: vec![evidence(
            "Air passage",
            "5.9 bar at the start, 5.9 bar after 60 s.",
            49,
            &["iso-6358-1"],
            None,
        )],
        ..circuit("M1", "moving", "core baffles", 4)
    }
}

fn leaking(name: &str, other: &str, rate: f64, port: u32, percent: f64) -> CircuitFinding {
    CircuitFinding {
        tightness: Tightness::LeaksAcross,
        leak_rate_mbar_l_s: Some(interval(rate, rate - 0.4, rate + 0.4)),
        across_to: vec![id(other)],
        flow_factor_m3_h: Some(interval(0.33, 0.31, 0.35)),
        against_baseline_percent: Some(interval(percent, percent - 4.0, percent + 4.0)),
        state: states(&[(BoreState::AsNew, 0.08), (BoreState::EvenDeposit, 0.22), (BoreState::Unknown, 0.7)]),
        gates: Gates {
            wet: gate(true, "Water is allowed to find the place of the leak."),
            descale: gate(false, "Leaks across: treat the wall as corroded until shown otherwise."),
            release: gate(false, "Leaks across."),
        },
        next_step: NextStep::Repair,
        reason: format!("Loses air into {other}, none outside: do not descale."),
        cautions: vec![AIR, TRAPPED],
        evidence: vec![evidence(
            "Cross-watch",
            &format!("Charged to 6 bar, {other} rose by 0.31 bar in 60 s."),
            72,
            &["jcgm-100"],
            None,
        )],
        ..circuit(name, "moving", if name == "M2" { "slide left" } else { "slide right" }, port)
    }
}

/// The whole invented visit.
pub fn findings() -> Findings {
    Findings {
        mould: MouldId("M-214".into()),
        mould_name: "Seed-tray lid, 4 cavities".into(),
        visit: "17".into(),
        by: "R. Kell".into(),
        rig: Some("B2".into()),
        fit_for_press: Fitness::No,
        headline: "Not ready for the press: two circuits leak into each other".into(),
        because: vec![
            "M2 and M3 leak into each other.".into(),
            "M1 has no passage.".into(),
            "F2 and F3 pass less than they should.".into(),
        ],
        next: "Open M1 with air, then read the filled volume of F3.".into(),
        circuits: vec![
            healthy(),
            scaled(),
            unclear(),
            blocked(),
            leaking("M2", "M3", 4.1, 5, 81.0),
            leaking("M3", "M2", 4.0, 6, 79.0),
        ],
        hook_up_doubts: vec![HookUpDoubt {
            kind: HookUpSlip::Exchanged,
            settled_by: "look where both hoses end (2 minutes)".to_owned(),
            circuits: vec![id("M2"), id("M3")],
            probability: 0.31,
            text: "The hoses of M2 and M3 may be exchanged: each fits the other's baseline better.".into(),
        }],
        warnings: vec![
            Warning {
                code: "calibration-ends",
                circuit: None,
                text: "The rig's calibration ends on 2026-12-01.".into(),
            },
            Warning {
                code: "no-baseline",
                circuit: Some(id("F3")),
                text: "No baseline: compared with its sister F2.".into(),
            },
        ],
        limits: vec![
            LimitUsed {
                name: "leak rate, mbar·l/s".into(),
                value: 0.25,
                source: "plant rule 7".into(),
                owner: "toolroom".into(),
                applied: true,
            },
            LimitUsed {
                name: "flow factor, % of baseline".into(),
                value: 85.0,
                source: "plant rule 8".into(),
                owner: "process engineering".into(),
                applied: true,
            },
            LimitUsed {
                name: "leak rate, mbar·l/s".into(),
                value: 0.1,
                source: "handbook of the trade".into(),
                owner: String::new(),
                applied: false,
            },
        ],
        cautions: vec![AIR, TRAPPED],
        leak_map: Some(leak_map()),
        rig_check: Some(rig_check()),
        ..bare_findings()
    }
}

/// The whole visit with words that no column can hold.
pub fn long_words() -> Findings {
    let long = || "Unbreakable".repeat(20);
    let mut findings = findings();
    findings.mould = MouldId(long());
    findings.mould_name = long();
    findings.visit = long();
    findings.by = long();
    findings.rig = Some(long());
    if let Some(rig) = &mut findings.rig_check {
        rig.sentences = vec![long()];
        rig.best_next_reading = Some(long());
    }
    findings.headline = long();
    findings.next = long();
    findings.because = vec![long(), long()];
    for circuit in &mut findings.circuits {
        circuit.id = id(&long());
        circuit.half = long();
        circuit.serves = Some(long());
        circuit.across_to = vec![id(&long())];
        circuit.compared_with = Some(long());
        circuit.reason = long();
        circuit.best_next_reading = Some(long());
        for gate in [&mut circuit.gates.wet, &mut circuit.gates.descale, &mut circuit.gates.release] {
            gate.reason = long();
        }
        for item in &mut circuit.evidence {
            item.title = long();
            item.text = long();
            item.place = Some(long());
            if let Some(Picture::FlowCurve(curve)) = &mut item.picture {
                curve.clean_from = long();
            }
        }
    }
    if let Some(map) = &mut findings.leak_map {
        map.circuits.push(id(&long()));
        map.paths.push(path(&long(), None, 1.0, 1.0));
    }
    findings.hook_up_doubts[0].circuits = vec![id(&long()), id(&long())];
    findings.hook_up_doubts[0].text = long();
    findings.warnings[0].text = long();
    findings.warnings[1].circuit = Some(id(&long()));
    for limit in &mut findings.limits {
        limit.name = long();
        limit.source = long();
        limit.owner = long();
    }
    findings
}

/// A mould with this many circuits, each different.
pub fn many(count: usize) -> Findings {
    let kinds = findings().circuits;
    let circuits = (0..count)
        .map(|index| CircuitFinding {
            id: id(&format!("C{}", index + 1)),
            port: u32::try_from(index + 1).ok(),
            ..kinds[index % kinds.len()].clone()
        })
        .collect();
    Findings { circuits, ..findings() }
}
