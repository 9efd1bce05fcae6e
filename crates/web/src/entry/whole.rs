//! The forms of a visit that belong to no single circuit: the whole mould, and the rig on a known thing.

use bench::mould::CircuitId;
use calc::form::{Fault, Value};
use exchange::one_reading::{Bench, List, OneReading, read_with};
use report::Units;
use store::AsOf;

use super::definitions::{AT, Asked, DONE, Form, REMARK, WORDS, maybe, number};
use super::reading::{Spot, given, in_form, running};
use crate::app::App;
use crate::problem::Problem;
use crate::typed::{self, Typed};

/// Further fillings that the form of the bucket has room for.
pub(crate) const FILLINGS: usize = 4;
/// Fields of one further filling.
pub(crate) const FILLING: [&str; 4] = ["collected_l", "collected_kg", "seconds", "meter_flow_l_min"];

const FLOW: Asked = number("flow_l_min", "Flow meter");
const INLET: Asked = number("pressure_in_bar_g", "Gauge at the inlet");
const OUTLET: Asked = number("pressure_out_bar_g", "Gauge at the outlet");
const MAYBE_INLET: Asked = maybe("pressure_in_bar_g", "Gauge at the inlet", "");
const MAYBE_OUTLET: Asked = maybe("pressure_out_bar_g", "Gauge at the outlet", "");
const WATER: Asked = maybe("water_temperature_deg_c", "Rig's thermometer", "");
const REFERENCE_T: Asked = maybe(
    "reference_temperature_deg_c",
    "Reference thermometer in the same water",
    "Then give the rig's thermometer too.",
);
const REFERENCE_T_U: Asked = maybe(
    "reference_temperature_uncertainty_k",
    "Standard uncertainty of that thermometer",
    "0.1 K if left out.",
);

/// Forms for the mould as a whole.
pub(crate) static MOULD: &[Form] = &[
    Form {
        word: "treatment",
        title: "Something was done to the whole mould",
        intro: "Readings from before an opening, a repair or a descale no longer count, for any circuit.",
        step: None,
        list: List::Treatment,
        fixed: &[],
        fields: &[DONE, REMARK, AT],
    },
    Form {
        word: "note",
        title: "Note about the whole mould",
        intro: "What was seen.",
        step: None,
        list: List::Reading,
        fixed: &[("kind", "note")],
        fields: &[WORDS, AT],
    },
];

/// Forms for the rig itself.
pub(crate) static RIG: &[Form] = &[
    Form {
        word: "fixture",
        title: "Hoses joined without a mould",
        intro: "Join supply and return hose with the couplings that go to the mould, pump water through, and read.",
        step: Some(bench::ladder::Step::Flow),
        list: List::Reading,
        fixed: &[("kind", "rig-check"), ("on", "fixture")],
        fields: &[FLOW, INLET, OUTLET, WATER, REFERENCE_T, REFERENCE_T_U, AT],
    },
    Form {
        word: "orifice",
        title: "A known orifice in place of the mould",
        intro: "Pump water through an orifice whose flow factor is known, and read.",
        step: Some(bench::ladder::Step::Flow),
        list: List::Reading,
        fixed: &[("kind", "rig-check"), ("on", "orifice")],
        fields: &[
            number("reference_flow_factor_m3_h", "Flow factor of the orifice"),
            maybe(
                "reference_uncertainty_percent",
                "Standard uncertainty of that flow factor",
                "1.5 % if left out.",
            ),
            FLOW,
            INLET,
            OUTLET,
            WATER,
            REFERENCE_T,
            REFERENCE_T_U,
            AT,
        ],
    },
    Form {
        word: "at-rest",
        title: "Gauges open to the air",
        intro: "Vent both sides, and read the gauges. Give one, or both.",
        step: Some(bench::ladder::Step::HookUp),
        list: List::Reading,
        fixed: &[("kind", "rig-check"), ("on", "at-rest")],
        fields: &[MAYBE_INLET, MAYBE_OUTLET, WATER, REFERENCE_T, REFERENCE_T_U, AT],
    },
    Form {
        word: "shut-off",
        title: "Both gauges on one pressure",
        intro: "Join the hoses, charge with air, shut the supply, let it settle, and read both gauges. A reference gauge on the \
                same pressure tells which of them is off.",
        step: Some(bench::ladder::Step::LeakDown),
        list: List::Reading,
        fixed: &[("kind", "rig-check"), ("on", "shut-off")],
        fields: &[
            MAYBE_INLET,
            MAYBE_OUTLET,
            maybe("reference_pressure_bar_g", "Reference gauge on the same pressure", ""),
            maybe(
                "reference_pressure_uncertainty_bar",
                "Standard uncertainty of that gauge",
                "0.01 bar if left out.",
            ),
            AT,
        ],
    },
    Form {
        word: "bucket",
        title: "Bucket and stopwatch",
        intro: "Let the return run into a bucket, and time it while the flow meter is read. Several fillings tell more than one.",
        step: Some(bench::ladder::Step::Flow),
        list: List::Reading,
        fixed: &[("kind", "bucket")],
        fields: &[
            maybe("collected_l", "Water caught, by mark", "Or give its weight."),
            maybe("collected_kg", "Water caught, by weight", "Bucket taken off."),
            number("seconds", "Filling time"),
            number("meter_flow_l_min", "Flow meter meanwhile"),
            maybe("collected_uncertainty_l", "Standard uncertainty of the mark", "0.1 l if left out."),
            maybe("collected_uncertainty_kg", "Standard uncertainty of the scales", "0.02 kg if left out."),
            maybe(
                "timing_uncertainty_s",
                "Standard uncertainty of start and stop together",
                "0.3 s if left out.",
            ),
            maybe("water_temperature_deg_c", "Temperature of the water", "20 °C if left out."),
            AT,
        ],
    },
];

/// The form of this word.
pub(crate) fn form(word: &str) -> Option<&'static Form> {
    MOULD.iter().chain(RIG).find(|form| form.word == word)
}

/// What a field is called on the page.
pub(crate) fn label(form: &Form, name: &str) -> Option<String> {
    let (at, field) = match name.strip_prefix("repeats.").and_then(|rest| rest.split_once('.')) {
        Some((at, field)) => (at.parse::<usize>().ok(), field),
        None => (None, name),
    };
    let words = form.label(field)?;
    Some(at.map_or_else(|| words.clone(), |at| format!("Filling {}: {words}", at + 2)))
}

/// The reading behind what was typed, or everything that is wrong with it.
pub(crate) fn understood(
    app: &App,
    spot: &Spot,
    form: &Form,
    typed: &Typed,
    units: Units,
    now: jiff::Timestamp,
) -> Result<Result<OneReading, Vec<Fault>>, Problem> {
    let mut fields: Vec<(String, Value)> =
        form.fixed.iter().map(|(name, value)| ((*name).to_owned(), Value::from(*value))).collect();
    fields.extend(given(form, typed, units));
    let rows = if form.word == "bucket" { fillings(typed, units) } else { Vec::new() };
    if !rows.is_empty() {
        fields.push(("repeats".to_owned(), Value::List(rows.iter().map(|(_, row)| row.clone()).collect())));
    }
    let read =
        at_the_bench(app, spot, now, |around| read_with(around, form.list, Value::Record(fields), |_| None))?;
    Ok(read.map_err(|faults| {
        let faults = in_form(form, faults);
        faults.into_iter().map(|fault| in_row(fault, &rows)).collect()
    }))
}

/// Reads something with what is known around it.
pub(super) fn at_the_bench<T>(
    app: &App,
    spot: &Spot,
    now: jiff::Timestamp,
    work: impl FnOnce(Bench<'_>) -> T,
) -> Result<T, Problem> {
    let (mould, visit) = app.store.read(|reader| {
        running(reader, spot)?;
        Ok((reader.mould(&spot.mould, AsOf::Now)?, reader.visit(&spot.mould, &spot.visit, AsOf::Now)?))
    })?;
    let circuits: Vec<CircuitId> = mould.circuits.iter().map(|circuit| circuit.id.clone()).collect();
    Ok(work(Bench {
        mould: &mould.id,
        circuits: &circuits,
        rig: &visit.rig,
        hook_ups: &visit.hook_ups,
        at: now,
    }))
}

/// Further fillings of which something was typed, with their places in the form.
fn fillings(typed: &Typed, units: Units) -> Vec<(usize, Value)> {
    let field = |at: usize, name: &str| {
        let text = typed.given(&format!("repeats.{at}.{name}"))?;
        Some((name.to_owned(), typed::in_units(text, name, units)))
    };
    let row = |at: usize| {
        let fields: Vec<(String, Value)> = FILLING.iter().filter_map(|name| field(at, name)).collect();
        (!fields.is_empty()).then_some((at, Value::Record(fields)))
    };
    (0..FILLINGS).filter_map(row).collect()
}

/// The fault under the place in the form: rows that were left empty are not in the list.
fn in_row(fault: Fault, rows: &[(usize, Value)]) -> Fault {
    let place = fault.field.strip_prefix("repeats.").and_then(|rest| rest.split_once('.'));
    let row = place.and_then(|(at, name)| Some((rows.get(at.parse::<usize>().ok()?)?.0, name)));
    match row {
        Some((at, name)) => Fault { field: format!("repeats.{at}.{name}"), ..fault },
        // Which form it is says already what the rig was put on.
        None => match fault.problem.split_once(", on = ") {
            Some((problem, _)) => Fault { problem: problem.to_owned(), ..fault.clone() },
            None => fault,
        },
    }
}
