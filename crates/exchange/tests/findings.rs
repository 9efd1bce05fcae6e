//! The findings document has the fields of its format, in a fixed form.

use std::collections::BTreeMap;

use bench::finding::{
    BoreState, CircuitFinding, Evidence, Findings, Fitness, Gate, Gates, HookUpDoubt, HookUpSlip, LimitUsed,
    MovedAlike, NextReading, NextStep, Passage, RigFinding, RigInstrument, RigVerdict, Tightness, Warning,
};
use bench::mould::{CircuitId, MouldId};
use bench::picture::{LeakMap, LeakPath, NextLeakTest};
use calc::estimate::Estimate;
use calc::infer::bore::Reading;
use exchange::findings_json::{Origin, document};
use exchange::intake::InputFile;

fn id(text: &str) -> CircuitId {
    CircuitId(text.to_owned())
}

fn gate(open: bool, reason: &str) -> Gate {
    Gate::by_rule(open, reason)
}

fn circuit() -> CircuitFinding {
    let estimate = |value: f64| Estimate { value, low: value * 0.9, high: value * 1.1, coverage: 0.95 };
    CircuitFinding {
        id: id("F2"),
        half: "fixed".to_owned(),
        serves: None,
        port: Some(1),
        tightness: Tightness::LeaksAcross,
        leak_rate_mbar_l_s: Some(estimate(1.0 / 3.0)),
        across_to: vec![id("F3")],
        passage: Passage::NarrowByDesign,
        flow_factor_m3_h: Some(estimate(0.7)),
        against_baseline_percent: None,
        compared_with: Some("drawing".to_owned()),
        state: BTreeMap::from([(BoreState::EvenDeposit, 0.75), (BoreState::Unknown, 0.25)]),
        deposit_thickness_mm: None,
        state_before: Some(BTreeMap::from([(BoreState::EvenDeposit, 0.205), (BoreState::AsNew, 0.57)])),
        state_without_past: None,
        state_fits: Some(true),
        layer_share: Some(estimate(0.5)),
        deposit_mass_g: None,
        plug_bore_mm: None,
        plugged_branch_probability: 0.125,
        next_reading: None,
        further_readings: vec![NextReading {
            kind: Reading::VolumeAlone,
            minutes: 6,
            text: "Fill it.".into(),
            information_bits: 0.5,
            confident_probability: 0.25,
        }],
        filled_volume_ml: None,
        filled_volume_percent: None,
        bore_mm: Some(10.0),
        gates: Gates {
            wet: gate(true, "air passes"),
            descale: gate(false, "leaks across"),
            release: gate(false, "leaks"),
        },
        next_step: NextStep::FindOut,
        reason: "It leaks into F3.".to_owned(),
        best_next_reading: None,
        cautions: vec!["Compressed air."],
        evidence: vec![Evidence {
            title: "Leak-down".to_owned(),
            text: "0.33 mbar·l/s".to_owned(),
            place: Some("v.toml, line 9".to_owned()),
            sources: vec!["own-arithmetic"],
            picture: None,
        }],
        workings: vec![],
    }
}

fn rig() -> RigFinding {
    let estimate =
        |value: f64, reach: f64| Estimate { value, low: value - reach, high: value + reach, coverage: 0.95 };
    RigFinding {
        verdict: RigVerdict::Drifted,
        instruments: vec![RigInstrument {
            word: "flow-meter",
            name: "flow meter",
            unit: "%",
            value: estimate(8.0, 1.0),
            drift_probability: 0.99,
            verdict: RigVerdict::Drifted,
            checked: true,
        }],
        moved_alike: Some(MovedAlike {
            circuits: vec![id("F2"), id("F3")],
            flow_percent: estimate(108.0, 1.0),
            probability: 0.9,
        }),
        corrected_percent: Some(8.0),
        sentences: vec!["Too much.".to_owned()],
        best_next_reading: None,
    }
}

fn path(from: &str, to: Option<&str>, rate: f64) -> LeakPath {
    LeakPath {
        from: CircuitId(from.to_owned()),
        to: to.map(|to| CircuitId(to.to_owned())),
        rate_mbar_l_s: Estimate { value: rate, low: 0.8 * rate, high: 1.2 * rate, coverage: 0.95 },
        probability: 0.97,
        opens_above_bar: None,
    }
}

#[test]
fn a_document_word_for_word() {
    let findings = Findings {
        method: "borewise-bench/1",
        mould: MouldId("M-214".to_owned()),
        mould_name: "Lid".to_owned(),
        visit: "day".to_owned(),
        started: "2026-11-24T08:40:00Z".parse().expect("a moment"),
        by: "A. B.".to_owned(),
        rig: None,
        fit_for_press: Fitness::CannotTell,
        headline: "Not known.".to_owned(),
        because: vec!["1 circuit leaks.".to_owned()],
        next: "Find the leak.".to_owned(),
        circuits: vec![circuit()],
        hook_up_doubts: vec![HookUpDoubt {
            kind: HookUpSlip::Exchanged,
            settled_by: "look (2 minutes)".to_owned(),
            circuits: vec![id("F2"), id("F3")],
            probability: 0.97,
            text: "Hoses look exchanged.".to_owned(),
        }],
        warnings: vec![Warning { code: "w", circuit: None, text: "Careful.".to_owned() }],
        limits: vec![LimitUsed {
            name: "leak rate, mbar·l/s".to_owned(),
            value: 0.1,
            source: "own".to_owned(),
            owner: "lead".to_owned(),
            applied: true,
        }],
        cautions: vec!["Compressed air."],
        leak_map: Some(LeakMap {
            circuits: vec![id("F2"), id("F3")],
            paths: vec![path("F2", Some("F3"), 0.25), path("F2", None, 2.0 / 3.0)],
            next_test: Some(NextLeakTest {
                charged: vec![id("F3")],
                watched: vec![id("F2")],
                open: vec![],
                duration_min: 4.0,
                why: "Decides.".to_owned(),
            }),
        }),
        rig_check: Some(rig()),
    };
    let inputs = [InputFile { name: "v.toml".to_owned(), sha256: "ab".to_owned() }];
    let written = document(&findings, Origin { program: "0.1.0", digest: "cd", inputs: &inputs }).to_string();
    let expected = concat!(
        r#"{"format":"borewise-findings/1","method":"borewise-bench/1","program":"0.1.0","digest":"cd","#,
        r#""inputs":[{"name":"v.toml","sha256":"ab"}],"mould":"M-214","mould_name":"Lid","visit":"day","#,
        r#""started":"2026-11-24T08:40:00Z","by":"A. B.","rig":null,"fit_for_press":"cannot-tell","#,
        r#""headline":"Not known.","because":["1 circuit leaks."],"next":"Find the leak.","#,
        r#""circuits":[{"id":"F2","half":"fixed","serves":null,"port":1,"tightness":"leaks-across","#,
        r#""leak_rate_mbar_l_s":{"value":0.333333,"low":0.3,"high":0.366667,"coverage":0.95},"across_to":["F3"],"#,
        r#""passage":"narrow-by-design","#,
        r#""flow_factor_m3_h":{"value":0.7,"low":0.63,"high":0.77,"coverage":0.95},"#,
        r#""against_baseline_percent":null,"compared_with":"drawing","#,
        r#""state":{"as-new":0,"even-deposit":0.75,"local-plug":0,"mixed":0,"rough":0,"unknown":0.25},"#,
        r#""state_before":{"as-new":0.57,"even-deposit":0.205,"local-plug":0,"mixed":0,"rough":0,"unknown":0},"#,
        r#""state_without_past":null,"state_fits":true,"layer_share":{"value":0.5,"low":0.45,"high":0.55,"coverage":0.95},"#,
        r#""deposit_thickness_mm":null,"deposit_mass_g":null,"plug_bore_mm":null,"plugged_branch":0.125,"#,
        r#""filled_volume_ml":null,"filled_volume_percent":null,"bore_mm":10,"#,
        r#""gates":{"wet":{"open":true,"reason":"air passes"},"descale":{"open":false,"reason":"leaks across"},"#,
        r#""release":{"open":false,"reason":"leaks"}},"next_step":"find-out","reason":"It leaks into F3.","#,
        r#""best_next_reading":null,"further_readings":[{"text":"Fill it.","minutes":6,"#,
        r#""expected_information_bits":0.5,"probability_of_a_sure_state":0.25}],"cautions":["Compressed air."],"evidence":[{"title":"Leak-down","#,
        r#""text":"0.33 mbar·l/s","place":"v.toml, line 9","sources":["own-arithmetic"]}]}],"#,
        r#""hook_up_doubts":[{"kind":"exchanged","circuits":["F2","F3"],"probability":0.97,"text":"Hoses look exchanged.","settled_by":"look (2 minutes)"}],"#,
        r#""warnings":[{"code":"w","circuit":null,"text":"Careful."}],"#,
        r#""limits":[{"name":"leak rate, mbar·l/s","value":0.1,"source":"own","owner":"lead","applied":true}],"#,
        r#""cautions":["Compressed air."],"leak_map":{"circuits":["F2","F3"],"paths":["#,
        r#"{"from":"F2","to":"F3","rate_mbar_l_s":0.25,"rate":{"value":0.25,"low":0.2,"high":0.3,"coverage":0.95},"#,
        r#""probability":0.97,"opens_above_bar":null},{"from":"F2","to":null,"rate_mbar_l_s":0.666667,"#,
        r#""rate":{"value":0.666667,"low":0.533333,"high":0.8,"coverage":0.95},"probability":0.97,"opens_above_bar":null}],"#,
        r#""next_leak_test":{"charged":["F3"],"watched":["F2"],"open":[],"minutes":4.0,"why":"Decides."}},"#,
        r#""rig_check":{"verdict":"drifted","instruments":{"flow-meter":{"error":{"value":8,"low":7,"high":9,"#,
        r#""coverage":0.95},"unit":"%","drifted":0.99,"verdict":"drifted"}},"#,
        r#""moved_alike":{"circuits":["F2","F3"],"flow_percent":{"value":108,"low":107,"high":109,"coverage":0.95},"#,
        r#""probability":0.9},"corrected_percent":8,"sentences":["Too much."],"best_next_reading":null}}"#,
    );
    assert_eq!(written, expected);
}
