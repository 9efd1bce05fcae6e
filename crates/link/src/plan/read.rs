//! From the tree of values to a plan: circuits, names, slips.

use std::collections::BTreeSet;

use bench::mould::{CircuitId, Known, MouldId, Process};
use calc::form::{self, Fault as FormFault, Input, Value};
use calc::hydraulics::piece::Piece;
use calc::hydraulics::piece_form;
use calc::quantity::{LeakRate, Length, PressureDrop};

use super::form::plan_form;
use super::read_parts::{others, readings, rig, visit};
use super::{
    BaselinePlan, CircuitPlan, Condition, Fault, Layer, Leak, LeakAcross, LeakLaw, Plan, Plug, Slips, TooMuch,
};
use crate::physics::Physics;

type Faults = Vec<FormFault>;

impl Plan {
    /// Reads a plan.
    ///
    /// # Errors
    /// Every fault there is: fields, ranges, names that the mould does not have, faults without their numbers.
    pub fn from_value(value: &Value) -> Result<Self, Vec<FormFault>> {
        let filled = form::check(plan_form(), value)?;
        let input = Input::checked(&filled);
        let mut faults = Faults::new();
        let circuits = circuits(input, &mut faults);
        let leaks_across = leaks_across(input, &mut faults);
        let rig = rig(input, &mut faults);
        let visit = visit(input, &mut faults);
        let slips = slips(input, &mut faults);
        let mould = input.record("mould").unwrap_or(input);
        let plan = Self {
            mould: MouldId(mould.text("id").to_owned()),
            name: mould.text("name").to_owned(),
            process: match mould.text("process") {
                "die-casting" => Process::DieCasting,
                _ => Process::InjectionMoulding,
            },
            circuits,
            leaks_across,
            rig,
            visit: super::VisitPlan { readings: readings(input), ..visit },
            slips,
            physics: if input.text("physics") == "other" { Physics::Other } else { Physics::Matching },
            seed: seed(input, &mut faults),
        };
        names(&plan, &mut faults);
        if faults.is_empty() { Ok(plan) } else { Err(faults) }
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "checked: 0 to 9e15, whole")]
fn seed(input: Input<'_>, faults: &mut Faults) -> u64 {
    let seed = input.number("seed");
    if seed.fract() != 0.0 {
        faults.push(FormFault::new("seed", "not a whole number", "give a whole number").with_value(seed));
    }
    seed as u64
}

pub(super) fn words(input: Input<'_>, name: &str) -> Vec<String> {
    input.items(name).iter().filter_map(Value::as_text).map(str::to_owned).collect()
}

pub(super) fn ids(input: Input<'_>, name: &str) -> Vec<CircuitId> {
    words(input, name).into_iter().map(CircuitId).collect()
}

/// Pieces of a list field; faults get the field's path.
pub(super) fn pieces(input: Input<'_>, name: &str, path: &str, faults: &mut Faults) -> Vec<Piece> {
    let list = input.get(name).unwrap_or(&Value::Null);
    piece_form::pieces(list).unwrap_or_else(|found| {
        faults.extend(found.into_iter().map(|fault| fault.under(&format!("{path}.{name}"))));
        Vec::new()
    })
}

fn circuits(input: Input<'_>, faults: &mut Faults) -> Vec<CircuitPlan> {
    let mut circuits = Vec::new();
    for (at, circuit) in input.records("circuit").enumerate() {
        let path = format!("circuit.{at}");
        let mut found = Faults::new();
        let fault = circuit.record("truth").map_or_else(Fault::default, |truth| fault(truth, &mut found));
        faults.extend(found.into_iter().map(|fault| fault.under(&format!("{path}.truth"))));
        let mm = |name: &str| circuit.optional_number(name).map(Length::from_mm);
        circuits.push(CircuitPlan {
            id: CircuitId(circuit.text("id").to_owned()),
            half: circuit.text("half").to_owned(),
            serves: circuit.get("serves").and_then(Value::as_text).map(str::to_owned),
            metals: words(circuit, "metals"),
            seals: words(circuit, "seals"),
            sisters: ids(circuit, "sisters"),
            neighbours: ids(circuit, "neighbours"),
            pieces: pieces(circuit, "pieces", &path, faults),
            known: match circuit.text("known") {
                "measured" => Known::Measured,
                "guessed" => Known::Guessed,
                "unknown" => Known::Unknown,
                _ => Known::Drawing,
            },
            rough_bore: mm("rough_bore_mm"),
            rough_length: mm("rough_length_mm"),
            baseline: circuit.record("baseline").map(baseline),
            fault,
        });
    }
    circuits
}

fn baseline(input: Input<'_>) -> BaselinePlan {
    BaselinePlan {
        date: input.get("date").and_then(Value::as_text).map(str::to_owned),
        uncertainty_relative: input.number("uncertainty_percent") / 100.0,
        volume: input.flag("volume"),
        air: input.flag("air"),
        others: others(input),
    }
}

fn law(input: Input<'_>) -> LeakLaw {
    let pressure = PressureDrop::from_bar(input.number("law_pressure_bar"));
    match input.text("law") {
        "orifice" => LeakLaw::Orifice,
        "seat" => LeakLaw::Seat(pressure),
        "opening-crack" => LeakLaw::OpeningCrack(pressure),
        "opens-above" => LeakLaw::OpensAbove { difference_bar: pressure.bar() },
        _ => LeakLaw::Laminar,
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "checked: a whole number, 1 to 50"
)]
fn fault(input: Input<'_>, faults: &mut Faults) -> Fault {
    Fault {
        condition: condition(input, faults),
        blocked_at: input.optional_number("blocked_at"),
        leak_out: input
            .optional_number("leak_out_mbar_l_s")
            .map(|rate| Leak { rate: LeakRate::from_mbar_l_s(rate), law: law(input) }),
        too_much: match input.text("too_much") {
            "missing-baffle" => Some(TooMuch::MissingBaffle),
            "short-cut" => Some(TooMuch::ShortCut),
            _ => None,
        },
        plugged_branch: input.optional_number("plugged_branch").map(|branch| branch as usize - 1),
    }
}

fn condition(input: Input<'_>, faults: &mut Faults) -> Condition {
    let word = input.text("condition");
    let mut needed = |name: &'static str, for_words: &[&str]| {
        let given = input.optional_number(name);
        let wanted = for_words.contains(&word);
        if wanted && given.is_none() {
            faults.push(FormFault::new(name, "missing", format!("{word} needs {name}")));
        } else if !wanted && given.is_some() {
            let hint = format!("leave it out, or take a condition among: {}", for_words.join(", "));
            faults.push(FormFault::new(name, format!("does not go with {word}"), hint));
        }
        given
    };
    let thickness = needed("thickness_mm", &["even-deposit", "mixed"]);
    let plug = needed("plug_bore_mm", &["local-plug", "mixed"]);
    let roughness = needed("roughness_um", &["rough"]);
    let layer = thickness.map(|thickness| Layer {
        thickness: Length::from_mm(thickness),
        share_of_length: input.number("share_of_length"),
    });
    let plug = plug.map(|bore| Plug { bore: Length::from_mm(bore), place: input.number("plug_place") });
    match (word, layer, plug, roughness) {
        ("even-deposit", Some(layer), _, _) => Condition::EvenDeposit(layer),
        ("local-plug", _, Some(plug), _) => Condition::LocalPlug(plug),
        ("mixed", Some(layer), Some(plug), _) => Condition::Mixed(layer, plug),
        ("rough", _, _, Some(roughness)) => Condition::Rough { roughness: Length::from_um(roughness) },
        _ => Condition::AsNew,
    }
}

/// Exactly two circuits out of a list of names.
fn pair(list: &Value, path: &str, faults: &mut Faults) -> Option<(CircuitId, CircuitId)> {
    let named: Vec<&str> = list.items().iter().filter_map(Value::as_text).collect();
    if let [a, b] = named.as_slice()
        && a != b
    {
        return Some((CircuitId((*a).to_owned()), CircuitId((*b).to_owned())));
    }
    faults.push(FormFault::new(path, "not a pair", "name two different circuits").with_value(list.clone()));
    None
}

fn leaks_across(input: Input<'_>, faults: &mut Faults) -> Vec<LeakAcross> {
    let mut leaks = Vec::new();
    for (at, item) in input.records("leak_across").enumerate() {
        let path = format!("leak_across.{at}.circuits");
        let between = pair(item.get("circuits").unwrap_or(&Value::Null), &path, faults);
        let leak = Leak { rate: LeakRate::from_mbar_l_s(item.number("rate_mbar_l_s")), law: law(item) };
        leaks.extend(between.map(|between| LeakAcross { between, leak }));
    }
    leaks
}

fn slips(input: Input<'_>, faults: &mut Faults) -> Slips {
    let Some(input) = input.record("slips") else { return Slips::default() };
    let mut pairs = |name: &str| {
        let mut found = Vec::new();
        for (at, list) in input.items(name).iter().enumerate() {
            found.extend(pair(list, &format!("slips.{name}.{at}"), faults));
        }
        found
    };
    Slips {
        swapped: pairs("swapped"),
        doubled: pairs("doubled"),
        bridged: pairs("bridged"),
        missing: ids(input, "missing"),
        reversed: ids(input, "reversed"),
        stopped_early: ids(input, "stopped_early"),
        meter_drift_percent: input.optional_number("meter_drift_percent"),
        gauge_zero_drift_bar: input.optional_number("gauge_zero_drift_bar"),
    }
}

/// Ids that clash, and names that the mould does not have.
fn names(plan: &Plan, faults: &mut Faults) {
    let mut known = BTreeSet::new();
    for (at, circuit) in plan.circuits.iter().enumerate() {
        if !known.insert(&circuit.id) {
            let fault = FormFault::new("id", "another circuit has this id", "give each circuit its own id");
            faults.push(fault.with_value(circuit.id.0.as_str()).under(&format!("circuit.{at}")));
        }
    }
    let mut check = |id: &CircuitId, field: String| {
        if !known.contains(id) {
            let fault = FormFault::new(field, "the mould has no such circuit", "check the spelling");
            faults.push(fault.with_value(id.0.as_str()));
        }
    };
    for (at, circuit) in plan.circuits.iter().enumerate() {
        circuit.sisters.iter().for_each(|id| check(id, format!("circuit.{at}.sisters")));
        circuit.neighbours.iter().for_each(|id| check(id, format!("circuit.{at}.neighbours")));
    }
    for (at, leak) in plan.leaks_across.iter().enumerate() {
        let field = || format!("leak_across.{at}.circuits");
        check(&leak.between.0, field());
        check(&leak.between.1, field());
    }
    for (at, reading) in plan.visit.readings.iter().enumerate() {
        reading.circuits.iter().flatten().for_each(|id| check(id, format!("reading.{at}.circuits")));
    }
    let slips = &plan.slips;
    for (name, pairs) in
        [("swapped", &slips.swapped), ("doubled", &slips.doubled), ("bridged", &slips.bridged)]
    {
        for (a, b) in pairs {
            check(a, format!("slips.{name}"));
            check(b, format!("slips.{name}"));
        }
    }
    for (name, ids) in
        [("missing", &slips.missing), ("reversed", &slips.reversed), ("stopped_early", &slips.stopped_early)]
    {
        ids.iter().for_each(|id| check(id, format!("slips.{name}")));
    }
    one_slip_each(slips, faults);
}

/// Hoses that are missing, doubled or bridged are so once; what two such slips on one circuit mean nobody can say.
fn one_slip_each(slips: &Slips, faults: &mut Faults) {
    let pairs = [("swapped", &slips.swapped), ("doubled", &slips.doubled), ("bridged", &slips.bridged)];
    let named = pairs
        .iter()
        .flat_map(|(name, pairs)| pairs.iter().flat_map(move |(a, b)| [(*name, a), (*name, b)]))
        .chain(slips.missing.iter().map(|id| ("missing", id)));
    let mut seen: Vec<(&str, &CircuitId)> = Vec::new();
    for (name, id) in named {
        let clash =
            seen.iter().any(|(other, known)| *known == id && !(*other == "swapped" && name == "swapped"));
        if clash {
            let fault = FormFault::new(
                format!("slips.{name}"),
                "this circuit has another slip",
                "give each circuit one",
            );
            faults.push(fault.with_value(id.0.as_str()));
        }
        seen.push((name, id));
    }
}
