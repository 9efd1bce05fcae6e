//! Mould file, `borewise-mould/1`.

use std::collections::BTreeSet;

use bench::mould::{Baseline, Circuit, CircuitId, Known, Mould, MouldId, Process};
use bench::visit::Others;
use calc::estimate::Uncertain;
use calc::form::{self, Fault, Field, Input, Kind, Preset, Value};
use calc::hydraulics::piece_form::{self, PIECE};
use calc::quantity::Length;

use super::{Found, dates, earlier, number, sweep, text, texts};

/// Value of `format`.
pub const FORMAT: &str = "borewise-mould/1";
/// Standard uncertainty of a baseline flow factor where the file gives none.
const FLOW_FACTOR_PERCENT: f64 = 2.0;
/// Standard uncertainty of the other baseline values where the file gives none.
const OTHER_PERCENT: f64 = 5.0;

const WORDS: Kind = Kind::List { of: &Kind::Text, least: 0 };

/// The whole file.
pub static FILE: &[Field] = &[
    Field::required("format", Kind::Choice(&[FORMAT]), "format and version of this file"),
    Field::required("mould", Kind::Record(MOULD), "the tool"),
    Field::required("circuit", Kind::List { of: &Kind::Record(CIRCUIT), least: 1 }, "its circuits"),
];

static MOULD: &[Field] = &[
    Field::required("id", Kind::Text, "asset id, as stamped or tagged"),
    Field::preset("name", Kind::Text, Preset::Text("not named"), "what it makes"),
    Field::preset(
        "process",
        Kind::Choice(&["injection-moulding", "die-casting"]),
        Preset::Text("injection-moulding"),
        "what the tool is for",
    ),
];

/// One circuit.
pub static CIRCUIT: &[Field] = &[
    Field::required("id", Kind::Text, "id within the mould, as stamped"),
    Field::preset("half", Kind::Text, Preset::Text("unknown"), "fixed, moving, or a named plate or slide"),
    Field::optional("serves", Kind::Text, "what it cools"),
    Field::optional("metals", WORDS, "metals that the water touches"),
    Field::optional("seals", WORDS, "seals that the water touches"),
    Field::optional("sisters", WORDS, "circuits of the same geometry"),
    Field::optional("neighbours", WORDS, "circuits that run beside it in the same steel"),
    Field::optional("baseline_flow_factor_m3_h", Kind::POSITIVE, "best trusted flow factor, hoses removed"),
    Field::optional("baseline_uncertainty_percent", Kind::PERCENT, "its standard uncertainty; 2 if left out"),
    Field::optional("baseline_date", Kind::Text, "day that earned the baseline, YYYY-MM-DD"),
    Field::optional(
        "baseline_others",
        Kind::Choice(&["closed", "open"]),
        "the other circuits meanwhile; closed if left out",
    ),
    Field::optional("baseline_filled_volume_ml", Kind::POSITIVE, "filled volume, hoses removed"),
    Field::optional(
        "baseline_filled_volume_uncertainty_percent",
        Kind::PERCENT,
        "its standard uncertainty; 5 if left out",
    ),
    Field::optional(
        "baseline_sonic_conductance_dm3_s_bar",
        Kind::POSITIVE,
        "sonic conductance, hoses removed",
    ),
    Field::optional(
        "baseline_sonic_conductance_uncertainty_percent",
        Kind::PERCENT,
        "its standard uncertainty; 5 if left out",
    ),
    Field::optional(
        "baseline_points",
        Kind::List { of: &Kind::Record(sweep::POINT), least: 1 },
        "flow points that the baseline's flow factor came from, hoses removed",
    ),
    Field::optional(
        "baseline_points_flow_uncertainty_percent",
        Kind::PERCENT,
        "standard uncertainty of that flow meter; 2 if left out",
    ),
    Field::optional(
        "baseline_points_pressure_uncertainty_bar",
        Kind::Number { low: 0.0, high: 100.0 },
        "standard uncertainty of that difference of gauges; 0.05 if left out",
    ),
    Field::optional(
        "baseline_points_temperature_uncertainty_k",
        Kind::Number { low: 0.0, high: 50.0 },
        "standard uncertainty of that thermometer; 1 if left out",
    ),
    Field::optional("pieces", Kind::List { of: &PIECE, least: 0 }, "pieces in flow order, as new"),
    Field::preset(
        "known",
        Kind::Choice(&["drawing", "measured", "guessed", "unknown"]),
        Preset::Text("unknown"),
        "how far the pieces are to be trusted",
    ),
    Field::optional(
        "rough_bore_mm",
        Kind::Number { low: 0.5, high: 100.0 },
        "main bore, where no pieces are known",
    ),
    Field::optional(
        "rough_length_mm",
        Kind::Number { low: 0.1, high: 100_000.0 },
        "length of the path, where no pieces are known",
    ),
    Field::optional(
        "earlier",
        Kind::List { of: &Kind::Record(earlier::EARLIER), least: 0 },
        "what earlier visits found, and what was done after them",
    ),
];

/// What no single field shows: ids that clash or do not exist, dates, pieces that do not fit.
///
/// Works on a value that [`form::check`] may have refused, so that all faults are reported together.
pub fn meaning(file: &Value, found: &mut Found) {
    let circuits = file.get("circuit").map(Value::items).unwrap_or_default();
    let ids: BTreeSet<&str> = circuits.iter().filter_map(|circuit| text(circuit, "id")).collect();
    for (at, circuit) in circuits.iter().enumerate() {
        let path = format!("circuit.{at}");
        if let Some(id) = text(circuit, "id") {
            let earlier = circuits.iter().take(at).any(|other| text(other, "id") == Some(id));
            if earlier {
                let fault = Fault::new("id", "another circuit has this id", "give each circuit its own id");
                found.fault(fault.with_value(id).under(&path));
            }
        }
        for list in ["sisters", "neighbours"] {
            relatives(circuit, list, &ids, &path, found);
        }
        baseline_meaning(circuit, &path, found);
        pieces_meaning(circuit, &path, found);
        earlier::meaning(circuit, &path, found);
    }
}

fn relatives(circuit: &Value, list: &str, ids: &BTreeSet<&str>, path: &str, found: &mut Found) {
    for (place, other) in texts(circuit, list) {
        let field = format!("{path}.{list}.{place}");
        if text(circuit, "id") == Some(other) {
            found.fault(Fault::new(field, "this is the circuit itself", "leave it out").with_value(other));
        } else if !ids.contains(other) {
            found.fault(unknown_circuit(field, other, ids));
        }
    }
}

pub(crate) fn unknown_circuit(field: String, id: &str, ids: &BTreeSet<&str>) -> Fault {
    let known = ids.iter().copied().take(40).collect::<Vec<_>>().join(", ");
    Fault::new(field, "the mould has no such circuit", format!("one of: {known}")).with_value(id)
}

fn baseline_meaning(circuit: &Value, path: &str, found: &mut Found) {
    let given = |name: &str| circuit.get(name).is_some();
    let needs = [
        ("baseline_uncertainty_percent", "baseline_flow_factor_m3_h"),
        ("baseline_date", "baseline_flow_factor_m3_h"),
        ("baseline_others", "baseline_flow_factor_m3_h"),
        ("baseline_filled_volume_ml", "baseline_flow_factor_m3_h"),
        ("baseline_sonic_conductance_dm3_s_bar", "baseline_flow_factor_m3_h"),
        ("baseline_points", "baseline_flow_factor_m3_h"),
        ("baseline_points_flow_uncertainty_percent", "baseline_points"),
        ("baseline_points_pressure_uncertainty_bar", "baseline_points"),
        ("baseline_points_temperature_uncertainty_k", "baseline_points"),
        ("baseline_filled_volume_uncertainty_percent", "baseline_filled_volume_ml"),
        ("baseline_sonic_conductance_uncertainty_percent", "baseline_sonic_conductance_dm3_s_bar"),
    ];
    for (name, value) in needs {
        if given(name) && !given(value) {
            let problem = format!("{value} is missing, and this belongs to it");
            found.fault(Fault::new(name, problem, format!("give {value}, or leave this out")).under(path));
        }
    }
    if let Some(Err(fault)) = text(circuit, "baseline_date").map(dates::date) {
        found.fault(fault.under("baseline_date").under(path));
    }
}

fn pieces_meaning(circuit: &Value, path: &str, found: &mut Found) {
    static ONE: &[Field] = &[Field::required("piece", Kind::TextOr(&PIECE), "one piece")];
    let items = circuit.get("pieces").map(Value::items).unwrap_or_default();
    for (at, item) in items.iter().enumerate() {
        // A piece whose fields are wrong is reported by the check of the whole file.
        let Ok(checked) = form::check(ONE, &Value::record([("piece", item.clone())])) else { continue };
        let Some(piece @ Value::Record(_)) = checked.get("piece") else { continue };
        if let Err(faults) = piece_form::pieces(&Value::List(vec![piece.clone()])) {
            let list = format!("{path}.pieces.{at}");
            for fault in faults {
                let field = fault.field.strip_prefix("0.").unwrap_or(&fault.field).to_owned();
                found.fault(Fault { field, ..fault }.under(&list));
            }
        }
    }
    let trusted = text(circuit, "known").unwrap_or("unknown");
    let id = text(circuit, "id").unwrap_or_default();
    if items.is_empty() && matches!(trusted, "drawing" | "measured") {
        let text = format!("circuit {id} is said to be known from a {trusted}, but no pieces are given");
        found.notice("no-pieces", format!("{path}.known"), text.replace("from a measured", "as measured"));
    } else if !items.is_empty() && trusted == "unknown" {
        let text = format!("the pieces of circuit {id} are given, but not how far they are to be trusted");
        found.notice("pieces-not-trusted", format!("{path}.pieces"), text);
    }
}

/// The mould of a file that [`form::check`] and [`meaning`] have accepted.
///
/// # Errors
/// Faults of pieces; [`meaning`] has reported them before.
pub fn mould(filled: &Value) -> Result<Mould, Vec<Fault>> {
    let input = Input::checked(filled);
    let about = input.record("mould").unwrap_or(input);
    let circuits = input.records("circuit").map(circuit).collect::<Result<_, _>>()?;
    let process = match about.text("process") {
        "die-casting" => Process::DieCasting,
        _ => Process::InjectionMoulding,
    };
    Ok(Mould {
        id: MouldId(about.text("id").to_owned()),
        name: about.text("name").to_owned(),
        process,
        circuits,
    })
}

fn words(input: Input<'_>, name: &str) -> Vec<String> {
    input.items(name).iter().filter_map(Value::as_text).map(str::to_owned).collect()
}

fn circuit_ids(input: Input<'_>, name: &str) -> Vec<CircuitId> {
    words(input, name).into_iter().map(CircuitId).collect()
}

fn circuit(input: Input<'_>) -> Result<Circuit, Vec<Fault>> {
    let known = match input.text("known") {
        "drawing" => Known::Drawing,
        "measured" => Known::Measured,
        "guessed" => Known::Guessed,
        _ => Known::Unknown,
    };
    let pieces = match input.get("pieces") {
        Some(list) if !list.items().is_empty() => piece_form::pieces(list)?,
        _ => Vec::new(),
    };
    Ok(Circuit {
        id: CircuitId(input.text("id").to_owned()),
        half: input.text("half").to_owned(),
        serves: input.get("serves").and_then(Value::as_text).map(str::to_owned),
        metals: words(input, "metals"),
        seals: words(input, "seals"),
        sisters: circuit_ids(input, "sisters"),
        neighbours: circuit_ids(input, "neighbours"),
        baseline: baseline(input),
        pieces,
        known,
        rough_bore: input.optional_number("rough_bore_mm").map(Length::from_mm),
        rough_length: input.optional_number("rough_length_mm").map(Length::from_mm),
        earlier: earlier::earlier(input),
    })
}

fn baseline(input: Input<'_>) -> Option<Baseline> {
    let record = input.value();
    let uncertain = |value: &str, percent: &str, otherwise: f64| {
        let relative = number(record, percent).unwrap_or(otherwise) / 100.0;
        number(record, value).map(|value| Uncertain::relative(value, relative))
    };
    Some(Baseline {
        flow_factor_m3_h: uncertain(
            "baseline_flow_factor_m3_h",
            "baseline_uncertainty_percent",
            FLOW_FACTOR_PERCENT,
        )?,
        filled_volume_ml: uncertain(
            "baseline_filled_volume_ml",
            "baseline_filled_volume_uncertainty_percent",
            OTHER_PERCENT,
        ),
        sonic_conductance_dm3_s_bar: uncertain(
            "baseline_sonic_conductance_dm3_s_bar",
            "baseline_sonic_conductance_uncertainty_percent",
            OTHER_PERCENT,
        ),
        date: text(record, "baseline_date").map(str::to_owned),
        others: if text(record, "baseline_others") == Some("open") { Others::Open } else { Others::Closed },
        sweep: sweep::read(input),
    })
}
