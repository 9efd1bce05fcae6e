//! Names that scripts rely on: commands, fields of calculators, fields and words of the findings.
//!
//! A name that stands here may be joined by others, and may not go.

use serde_json::{Value as Json, json};

use crate::calculators::listed;
use crate::demo::MOULDS;
use crate::program::{at, borewise, borewise_fed, findings_of};

/// A calculator with every input name in use, and output paths that must be there.
struct Promise {
    calculator: &'static str,
    inputs: Vec<Json>,
    outputs: &'static [&'static str],
}

const ESTIMATE: [&str; 4] = ["value", "low", "high", "coverage"];

fn every_piece() -> Json {
    json!([
        {"kind": "bore", "diameter_mm": 10, "length_mm": 400, "roughness_um": 10, "count": 2},
        {"kind": "bore", "plug_thread": "NPT 1/4", "length_mm": 300},
        {"kind": "bore", "plug_thread": "G 1/4", "length_mm": 300},
        {"kind": "elbow", "diameter_mm": 10, "loss_k": 1.2, "count": 4},
        {"kind": "hose", "diameter_mm": 13, "length_mm": 1000, "roughness_um": 2},
        {"kind": "coupling", "flow_factor_m3_h": 2.4},
        {"kind": "restrictor", "diameter_mm": 6, "discharge_coefficient": 0.62},
        {"kind": "restrictor", "flow_factor_m3_h": 2},
        {"kind": "baffle", "diameter_mm": 14, "depth_mm": 70, "blade_mm": 1.5},
        {"kind": "bubbler", "diameter_mm": 16, "depth_mm": 70, "tube_outer_mm": 10, "tube_inner_mm": 8},
        {"kind": "annulus", "outer_mm": 26, "inner_mm": 20, "length_mm": 80},
        {"kind": "split", "branches": [
            [{"kind": "bore", "diameter_mm": 8, "length_mm": 100}],
            [{"kind": "bore", "diameter_mm": 8, "length_mm": 120}],
        ]},
    ])
}

fn water_and_flow() -> Vec<Promise> {
    let circuit = |more: Json| {
        let mut input = json!({"pieces": every_piece(), "temperature_deg_c": 30, "glycol": "ethylene", "glycol_mass_percent": 20});
        input.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        input
    };
    let bore = json!([{"kind": "bore", "diameter_mm": 10, "length_mm": 400}]);
    let point = json!({"flow_l_min": 10, "pressure_drop_bar": 1, "temperature_deg_c": 20});
    let more = json!({"flow_l_min": 14, "pressure_drop_bar": 1.9, "temperature_deg_c": 20});
    let with = json!({"pieces": bore, "fixture_flow_factor_m3_h": 3, "flow_uncertainty_percent": 2,
        "pressure_uncertainty_bar": 0.05, "temperature_uncertainty_k": 1});
    let joined = |input: &Json| {
        let mut input = input.as_object().unwrap().clone();
        input.extend(with.as_object().unwrap().clone());
        Json::Object(input)
    };
    vec![
        Promise {
            calculator: "water",
            inputs: vec![
                json!({"temperature_deg_c": 20, "pressure_bar_abs": 3, "glycol": "propylene", "glycol_mass_percent": 30}),
            ],
            outputs: &[
                "density_kg_m3",
                "viscosity_mpa_s",
                "conductivity_w_m_k",
                "heat_capacity_j_kg_k",
                "prandtl",
                "saturation_pressure_bar_abs",
            ],
        },
        Promise {
            calculator: "friction",
            inputs: vec![json!({"reynolds": 1e5, "relative_roughness": 0.001})],
            outputs: &["darcy_factor", "regime"],
        },
        Promise {
            calculator: "circuit-flow",
            inputs: vec![
                circuit(json!({"pressure_drop_bar": 1.0})),
                circuit(json!({"flow_l_min": 10})),
                circuit(json!({"pump_curve": [[0, 6.0], [25, 5.1], [50, 0.0]]})),
            ],
            outputs: &[
                "flow_l_min",
                "pressure_drop_bar",
                "flow_factor_m3_h",
                "volume_ml",
                "reynolds_min",
                "pieces.0.kind",
                "pieces.0.flow_l_min",
                "pieces.0.pressure_drop_bar",
                "pieces.0.reynolds",
            ],
        },
        Promise {
            calculator: "network-flow",
            inputs: vec![json!({
                "nodes": [{"id": "a", "pressure_bar_g": 3, "elevation_m": 0}, {"id": "b", "demand_l_min": 10}],
                "links": [{"id": "l", "from": "a", "to": "b", "pieces": bore}],
                "temperature_deg_c": 20,
            })],
            outputs: &["nodes.0.id", "nodes.1.pressure_bar_g", "links.0.id", "links.0.flow_l_min"],
        },
        Promise {
            calculator: "flow-factor",
            inputs: vec![joined(&point), joined(&json!({"points": [point, more]}))],
            outputs: &["flow_factor_m3_h.value", "flow_factor_m3_h.coverage"],
        },
        Promise {
            calculator: "bore-state",
            inputs: vec![json!({
                "pieces": [{"kind": "bore", "diameter_mm": 10, "length_mm": 800}, {"kind": "elbow", "diameter_mm": 10, "count": 3}],
                "points": [{"flow_l_min": 14.0, "pressure_drop_bar": 0.5, "temperature_deg_c": 18.0}],
                "flow_uncertainty_percent": 1, "pressure_uncertainty_bar": 0.01, "temperature_uncertainty_k": 0.5,
                "filled_volume_ml": 52, "volume_uncertainty_percent": 2,
                "air_sonic_conductance_dm3_s_bar": 4, "air_uncertainty_percent": 6
            })],
            outputs: &[
                "probabilities.as-new",
                "probabilities.even-deposit",
                "probabilities.local-plug",
                "probabilities.mixed",
                "probabilities.rough",
                "layer_share.value",
                "fit",
                "deposit_thickness_mm.value",
                "plug_bore_mm.value",
                "deposit_mass_g.value",
                "best_next_reading.reading",
            ],
        },
        Promise {
            calculator: "steady-flow",
            inputs: vec![json!({
                "trace": {"time_s": (0..200).map(|at| f64::from(at) / 5.0).collect::<Vec<_>>(),
                    "flow_l_min": (0..200).map(|at| 10.0 + f64::from(at * 7 % 11) / 200.0).collect::<Vec<_>>()},
                "meter_uncertainty_percent": 2, "window_s": 10,
            })],
            outputs: &["flow_l_min.value", "steady", "steady_from_s", "independent_samples", "outliers"],
        },
        Promise {
            calculator: "compare",
            inputs: vec![json!({
                "before": {"value": 10, "standard_uncertainty": 0.2},
                "after": {"value": 11, "standard_uncertainty": 0.2},
                "correlation": 0.1,
            })],
            outputs: &["ratio.value", "difference.value", "changed", "smallest_provable_change_percent"],
        },
    ]
}

fn rig() -> Vec<Promise> {
    let run = json!({"volume_l": 20, "time_s": 80, "meter_flow_l_min": 15.2});
    let more = json!({"water_temperature_deg_c": 18, "temperature_uncertainty_k": 1, "volume_uncertainty_l": 0.1,
        "step_kg": 0.1, "lost_kg": 0.05, "time_uncertainty_s": 0.3, "time_step_s": 0.1,
        "meter_uncertainty_percent": 2, "meter_repeatability_percent": 0.3, "wanted_percent": 1});
    let joined = |first: &Json| {
        let mut input = first.as_object().unwrap().clone();
        input.extend(more.as_object().unwrap().clone());
        Json::Object(input)
    };
    let on = |on: &str, more: Json| {
        let mut reading =
            json!({"on": on, "pressure_in_bar_g": 5, "pressure_out_bar_g": 1, "water_temperature_deg_c": 20});
        reading.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        reading
    };
    let readings = json!([
        on("fixture", json!({"flow_l_min": 20, "when": "earlier"})),
        on("fixture", json!({"flow_l_min": 20})),
        on(
            "orifice",
            json!({"flow_l_min": 20, "reference_flow_factor_m3_h": 0.6, "reference_uncertainty_percent": 1})
        ),
        on(
            "at-rest",
            json!({"reference_temperature_deg_c": 20.1, "reference_temperature_uncertainty_k": 0.1})
        ),
        on("shut-off", json!({"reference_pressure_bar_g": 5, "reference_pressure_uncertainty_bar": 0.01})),
        on("bucket", json!({"flow_l_min": 20, "bucket_flow_l_min": 20.1, "bucket_uncertainty_l_min": 0.1})),
    ]);
    vec![
        Promise {
            calculator: "bucket-check",
            inputs: vec![
                json!({"mass_kg": 5, "time_s": 30, "air_density_kg_m3": 1.2, "weights_density_kg_m3": 8000,
                    "mass_uncertainty_kg": 0.01}),
                joined(&run),
                joined(&json!({"runs": [run, run]})),
            ],
            outputs: &[
                "flow_l_min.value",
                "standard_percent",
                "coverage_factor",
                "buoyancy_factor",
                "budget",
                "meter_ratio",
                "meter_off",
                "seconds_needed",
            ],
        },
        Promise {
            calculator: "rig-check",
            inputs: vec![
                json!({"flow_uncertainty_percent": 2, "pressure_uncertainty_bar": 0.05, "gauge_step_bar": 0.01,
                "temperature_uncertainty_k": 1, "fixture_flow_factor_m3_h": 0.6, "fixture_uncertainty_percent": 3,
                "readings": readings}),
            ],
            outputs: &[
                "trust",
                "instruments.flow-meter.error.value",
                "instruments.flow-meter.drifted",
                "instruments.hoses.trust",
                "instruments.thermometer.checked",
                "fit_probability",
                "inseparable",
                "next_reading",
            ],
        },
        Promise {
            calculator: "common-factor",
            inputs: vec![json!({"moved": [
                {"ratio": 1.1, "uncertainty_percent": 2, "follows": 1},
                {"ratio": 1.12, "uncertainty_percent": 2},
                {"ratio": 1.09, "uncertainty_percent": 2},
            ], "common_uncertainty_percent": 2, "drift_probability": 0.05})],
            outputs: &[
                "factor.value",
                "ln_factor",
                "standard_ln",
                "scatter",
                "drifted",
                "drift_factor.value",
            ],
        },
    ]
}

fn air() -> Vec<Promise> {
    let times: Vec<i32> = (0..=40).collect();
    let falling: Vec<f64> = times.iter().map(|time| 6.0 - 0.001 * f64::from(*time)).collect();
    let emptying: Vec<f64> =
        times.iter().map(|time| 7.0 * calc::numeric::math::exp(-0.05 * f64::from(*time)) - 0.9).collect();
    let warm: Vec<f64> = times.iter().map(|_| 20.0).collect();
    let leak = |more: Json| {
        let mut input = json!({"volume_ml": 300, "volume_uncertainty_percent": 5, "atmosphere_bar_abs": 1.013,
            "wall_temperature_deg_c": 20, "limit_mbar_l_s": 0.5});
        input.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        input
    };
    vec![
        Promise {
            calculator: "leak-down",
            inputs: vec![
                leak(
                    json!({"trace": {"time_s": times, "pressure_bar_g": falling, "temperature_deg_c": warm}}),
                ),
                leak(json!({"start_bar_g": 6, "end_bar_g": 5.9, "seconds": 60})),
            ],
            outputs: &[
                "leak_rate_mbar_l_s.value",
                "leak_rate_mbar_l_s.coverage",
                "detection_limit_mbar_l_s",
                "settled",
                "verdict",
                "water_ml_h",
                "hole_um",
                "seconds_needed",
            ],
        },
        Promise {
            calculator: "cross-leak",
            inputs: vec![json!({
                "circuits": [{"id": "A", "volume_ml": 200}, {"id": "B", "volume_ml": 250}],
                "tests": [{"charged": "A", "open": [], "watched": ["B"], "traces": {
                    "A": {"time_s": times, "pressure_bar_g": falling},
                    "B": {"start_bar_g": 0, "end_bar_g": 0.1, "seconds": 60},
                }}],
            })],
            outputs: &[
                "paths.0.from",
                "paths.0.to",
                "paths.0.rate_mbar_l_s.value",
                "paths.0.probability",
                "next_test",
            ],
        },
        Promise {
            calculator: "leak-kind",
            inputs: vec![json!({
                "points": [
                    {"pressure_bar_g": 6, "leak_rate_mbar_l_s": 1.0, "standard_uncertainty_mbar_l_s": 0.06},
                    {"pressure_bar_g": 3, "leak_rate_mbar_l_s": 0.32, "standard_uncertainty_mbar_l_s": 0.03},
                ],
                "volume_uncertainty_percent": 5, "atmosphere_bar_abs": 1.0, "water_pressure_bar_g": 4,
                "highest_pressure_bar_g": 6,
            })],
            outputs: &[
                "probabilities.laminar-crack",
                "probabilities.orifice",
                "probabilities.sealing-seat",
                "probabilities.opening-crack",
                "kind",
                "ratio.value",
                "exponent.value",
                "next_pressure_bar_g",
                "water_ml_h.value",
            ],
        },
        Promise {
            calculator: "trapped-volume",
            inputs: vec![json!({"reference_volume_ml": 500, "reference_bar_g": 6, "circuit_bar_g": 0,
                "joined_bar_g": 4, "atmosphere_bar_abs": 1.0})],
            outputs: &["volume_ml.value"],
        },
        Promise {
            calculator: "air-passage",
            inputs: vec![json!({
                "charged": "reservoir", "volume_ml": 10_000,
                "trace": {"time_s": times, "pressure_bar_g": emptying},
                "air_temperature_deg_c": 20, "pieces": [{"kind": "bore", "diameter_mm": 8, "length_mm": 3000}],
                "fixture_sonic_conductance_dm3_s_bar": 5,
            })],
            outputs: &[
                "sonic_conductance_dm3_s_bar.value",
                "critical_ratio",
                "effective_bore_mm",
                "expected_sonic_conductance_dm3_s_bar",
                "verdict",
            ],
        },
        Promise {
            calculator: "sonic-series",
            inputs: vec![json!({"parts": [
                {"sonic_conductance_dm3_s_bar": 1, "critical_ratio": 0.3},
                {"sonic_conductance_dm3_s_bar": 2, "critical_ratio": 0.2},
            ]})],
            outputs: &["sonic_conductance_dm3_s_bar", "critical_ratio"],
        },
        Promise {
            calculator: "stored-energy",
            inputs: vec![json!({"volume_ml": 300, "pressure_bar_g": 6})],
            outputs: &["energy_j"],
        },
    ]
}

fn hoses() -> Vec<Promise> {
    let measured = json!({"flow_factor_m3_h": 0.6, "flow_uncertainty_percent": 2, "filled_volume_ml": 90,
        "volume_uncertainty_percent": 3, "volume_uncertainty_ml": 3, "hose_back_ml": 0,
        "air_sonic_conductance_dm3_s_bar": 2.1, "air_uncertainty_percent": 6, "passes": "yes",
        "outlet_above_inlet_bar": -1.2, "pressure_uncertainty_bar": 0.07});
    let expected = json!({"flow_factor_m3_h": 1.2, "flow_uncertainty_percent": 3, "filled_volume_ml": 180,
        "volume_uncertainty_percent": 4, "air_sonic_conductance_dm3_s_bar": 4.4, "air_uncertainty_percent": 10,
        "by_sisters": false});
    let other = json!({"id": "F2", "measured": {"flow_factor_m3_h": 1.2, "passes": "yes"},
        "expected": {"flow_factor_m3_h": 0.6}});
    vec![
        Promise {
            calculator: "hook-up-check",
            inputs: vec![
                json!({"circuits": [{"id": "F1", "measured": measured, "expected": expected}, other],
                "least_probability": 0.5}),
            ],
            outputs: &[
                "doubts.0.kind",
                "doubts.0.circuits.1",
                "doubts.0.probability",
                "doubts.0.text",
                "doubts.0.settled_by",
                "assignment.0",
                "elsewhere.1.probability",
                "as_listed",
                "next_reading",
                "exact",
            ],
        },
        Promise {
            calculator: "assignment",
            inputs: vec![json!({"log_likelihood": [[0, -3], [-2, 0]], "prior_misplaced": 0.1})],
            outputs: &["best.0", "best_log", "log_total", "as_listed", "shares.0.1", "exact"],
        },
        Promise {
            calculator: "fouling-density",
            inputs: vec![json!({"loss_ln": 0.3, "standard_ln": 0.05, "mean_loss_ln": 0.6})],
            outputs: &["density"],
        },
    ]
}

fn statistics() -> Vec<Promise> {
    let models = json!([{"name": "a", "log_evidence": -3, "prior": 1}, {"name": "b", "log_evidence": -5}]);
    vec![
        Promise {
            calculator: "calibration",
            inputs: vec![json!({"probabilities": [0.2, 0.9], "happened": [false, true], "bins": 5})],
            outputs: &[
                "expected_calibration_error",
                "largest_calibration_error",
                "error_if_right",
                "brier",
                "reliability",
                "resolution",
                "uncertainty",
                "within_bins",
                "log_score",
                "bins.0.count",
                "bins.0.share.high",
            ],
        },
        Promise {
            calculator: "proportion",
            inputs: vec![json!({"hits": 3, "trials": 20, "coverage": 0.9, "interval": "wilson"})],
            outputs: &["share.low"],
        },
        Promise {
            calculator: "mixture-quantile",
            inputs: vec![
                json!({"parts": [{"weight": 2, "mean": 0.4, "sd": 0.1}], "probabilities": [0.1], "coverage": 0.9}),
            ],
            outputs: &["mean", "sd", "quantiles.0", "central.low", "shortest_low", "shortest_high"],
        },
        Promise {
            calculator: "expected-information",
            inputs: vec![
                json!({"nodes": [{"class": "rough", "weight": 1, "mean": 0, "sd": 1}], "threshold": 0.9}),
            ],
            outputs: &["information_bits", "class_entropy_bits", "confident_probability"],
        },
        Promise {
            calculator: "model-weights",
            inputs: vec![json!({"models": models})],
            outputs: &["models.0.probability", "best", "log_evidence", "log_bayes_factor", "strength"],
        },
        Promise {
            calculator: "line-evidence",
            inputs: vec![
                json!({"x": [1, 2], "y": [1, 3], "noise_sd": 1, "intercept_mean": 0, "intercept_sd": 2,
                "slope_mean": 0, "slope_sd": 2}),
            ],
            outputs: &[
                "models.2.log_evidence",
                "best",
                "log_bayes_factor",
                "strength",
                "intercept.low",
                "slope.high",
            ],
        },
        Promise {
            calculator: "bore-history",
            inputs: vec![json!({
                "earlier": [{"days_ago": 200, "state": {"even-deposit": 0.8}, "state_before": {"even-deposit": 0.2},
                    "deposit_thickness_mm": 0.5, "deposit_thickness_uncertainty_mm": 0.1, "done": ["nothing"]},
                    {"days_ago": 100, "done": ["treated"]}],
                "done_today": [],
                "any_circuit": {"as-new": 0.57, "even-deposit": 0.21},
            })],
            outputs: &["probabilities.even-deposit", "believed.as-new", "fresh_share", "layer_mm.value"],
        },
        Promise {
            calculator: "state-update",
            inputs: vec![json!({
                "probabilities": {"as-new": 0.7, "rough": 0.3},
                "changes": [{"from": "as-new", "to": "rough", "rate_per_day": 0.001}],
                "thickness": {"value_mm": 0.2, "uncertainty_mm": 0.05, "rate_mm_per_day": 0.001,
                    "rate_uncertainty_mm_per_day": 0.0005, "walk_mm_per_root_day": 0.001},
                "steps": [
                    {"kind": "time", "days": 90},
                    {"kind": "reading", "log_likelihood": {"as-new": -1, "rough": -2}, "thickness_mm": 0.3,
                        "thickness_uncertainty_mm": 0.05},
                    {"kind": "treatment", "to": "as-new", "success": 0.9, "left_mm": 0.02, "left_uncertainty_mm": 0.02},
                ],
            })],
            outputs: &[
                "probabilities.rough",
                "thickness_mm.value",
                "rate_mm_per_day.high",
                "steps.2.probabilities.rough",
            ],
        },
    ]
}

#[test]
fn calculators_keep_their_names_and_fields() {
    let names = listed();
    for promise in water_and_flow().into_iter().chain(air()).chain(hoses()).chain(rig()).chain(statistics()) {
        let name = promise.calculator;
        assert!(names.iter().any(|listed| listed == name), "there is no calculator {name}");
        for input in &promise.inputs {
            let ended = borewise_fed(&["calc", name], input.to_string().as_bytes());
            assert_eq!(ended.code, 0, "{name}: {ended:?}");
            let answer = ended.document();
            let keys: Vec<&str> = answer.as_object().unwrap().keys().map(String::as_str).collect();
            for key in ["calculator", "method", "outputs", "warnings", "sources"] {
                assert!(keys.contains(&key), "{name}: no {key} among {keys:?}");
            }
            for path in promise.outputs {
                assert!(at(&answer["outputs"], path).is_some(), "{name}: no {path} in {answer:#}");
            }
            for (key, output) in answer["outputs"].as_object().unwrap() {
                if output.get("value").is_some() {
                    let parts: Vec<&str> = output.as_object().unwrap().keys().map(String::as_str).collect();
                    assert_eq!(parts, ESTIMATE, "{name}: {key}");
                }
            }
        }
    }
}

#[test]
fn calculators_keep_their_words() {
    let words = |name: &str, path: &str| {
        let schema = borewise(&["calc", "--schema", name]).document();
        let words = at(&schema, path).unwrap_or_else(|| panic!("{name}: no {path} in {schema:#}"));
        words.as_array().unwrap().iter().map(|word| word.as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(words("water", "properties.glycol.enum"), ["none", "ethylene", "propylene"]);
    assert_eq!(words("air-passage", "properties.charged.enum"), ["circuit", "reservoir"]);
    let default = |name: &str, field: &str| {
        borewise(&["calc", "--schema", name]).document()["properties"][field]["default"].clone()
    };
    assert_eq!(default("water", "pressure_bar_abs"), 3);
    assert_eq!(default("water", "glycol"), "none");
    assert_eq!(default("water", "glycol_mass_percent"), 0);
    assert_eq!(default("steady-flow", "window_s"), 10);
    assert_eq!(default("compare", "correlation"), 0);
}

/// Fields of the findings, in the order of the contract.
const FINDINGS: [&str; 8] =
    ["format", "method", "mould", "visit", "fit_for_press", "circuits", "hook_up_doubts", "warnings"];
const CIRCUIT: [&str; 16] = [
    "id",
    "tightness",
    "leak_rate_mbar_l_s",
    "across_to",
    "passage",
    "flow_factor_m3_h",
    "against_baseline_percent",
    "state",
    "state_before",
    "state_without_past",
    "deposit_thickness_mm",
    "gates",
    "next_step",
    "reason",
    "best_next_reading",
    "evidence",
];
const TIGHTNESS: [&str; 6] = ["tight", "leaks-out", "leaks-across", "leaks", "cannot-tell", "untested"];
const PASSAGE: [&str; 6] = ["free", "narrow-by-design", "restricted", "blocked", "cannot-tell", "untested"];
const STATES: [&str; 6] = ["as-new", "even-deposit", "local-plug", "mixed", "rough", "unknown"];
const STEPS: [&str; 6] = ["leave", "find-out", "open", "repair", "descale", "retire"];

#[track_caller]
fn has_fields(record: &Json, fields: &[&str]) {
    let record = record.as_object().expect("an object");
    for field in fields {
        assert!(record.contains_key(*field), "no {field} among {:?}", record.keys().collect::<Vec<_>>());
    }
}

#[track_caller]
fn is_one_of(value: &Json, words: &[&str]) {
    assert!(words.iter().any(|word| value == word), "{value} is none of {words:?}");
}

#[test]
fn findings_keep_their_names_and_words() {
    for mould in MOULDS {
        let (findings, _) = findings_of(mould);
        has_fields(&findings, &FINDINGS);
        assert_eq!(findings["format"], "borewise-findings/1");
        assert_eq!(findings["mould"], mould);
        is_one_of(&findings["fit_for_press"], &["yes", "no", "cannot-tell"]);
        for doubt in findings["hook_up_doubts"].as_array().unwrap() {
            has_fields(doubt, &["kind", "circuits", "probability", "text", "settled_by"]);
        }
        let circuits = findings["circuits"].as_array().unwrap();
        assert!(!circuits.is_empty());
        for circuit in circuits {
            has_fields(circuit, &CIRCUIT);
            is_one_of(&circuit["tightness"], &TIGHTNESS);
            is_one_of(&circuit["passage"], &PASSAGE);
            is_one_of(&circuit["next_step"], &STEPS);
            has_fields(&circuit["gates"], &["wet", "descale", "release"]);
            for gate in circuit["gates"].as_object().unwrap().values() {
                assert!(gate["open"].is_boolean() && gate["reason"].is_string(), "{gate}");
            }
            let states: Vec<&str> =
                circuit["state"].as_object().unwrap().keys().map(String::as_str).collect();
            assert_eq!(states, STATES);
            let sum: f64 = circuit["state"].as_object().unwrap().values().filter_map(Json::as_f64).sum();
            assert!((sum - 1.0).abs() < 1e-4, "{mould} {}: probabilities sum to {sum}", circuit["id"]);
            for estimate in
                ["leak_rate_mbar_l_s", "flow_factor_m3_h", "against_baseline_percent", "deposit_thickness_mm"]
            {
                is_estimate_or_null(&circuit[estimate]);
            }
        }
    }
}

#[track_caller]
fn is_estimate_or_null(value: &Json) {
    if value.is_null() {
        return;
    }
    let part = |key: &str| value[key].as_f64().unwrap_or_else(|| panic!("no {key} in {value}"));
    let (best, low, high, coverage) = (part("value"), part("low"), part("high"), part("coverage"));
    assert!(low <= best && best <= high && coverage > 0.5 && coverage < 1.0, "{value}");
}

/// A test that only ever meets nulls proves nothing: every estimate and every word that the plant is made to show
/// turns up somewhere in it.
#[test]
fn the_plant_shows_what_the_contract_names() {
    let circuits: Vec<Json> = MOULDS
        .iter()
        .flat_map(|mould| findings_of(mould).0["circuits"].as_array().unwrap().clone())
        .collect();
    for estimate in
        ["leak_rate_mbar_l_s", "flow_factor_m3_h", "against_baseline_percent", "deposit_thickness_mm"]
    {
        assert!(circuits.iter().any(|circuit| circuit[estimate].is_object()), "no {estimate} anywhere");
    }
    for (field, words) in [
        ("tightness", &["tight", "leaks-out", "leaks-across", "cannot-tell"][..]),
        ("passage", &["free", "blocked"]),
        ("next_step", &["leave", "find-out", "open", "repair", "descale"]),
    ] {
        for word in words {
            assert!(circuits.iter().any(|circuit| circuit[field] == *word), "{field} is never {word}");
        }
    }
}
