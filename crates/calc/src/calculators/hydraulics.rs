//! Calculators: hydraulics.

use super::water::{GLYCOL, GLYCOL_MASS_PERCENT, TEMPERATURE, coolant, coolant_properties};
use super::{Answer, Calculator, Output};
use crate::form::{Fault, Field, Input, Kind, Preset, Value};
use crate::hydraulics::circuit::{
    Conditions, HydraulicsError, PieceFlow, clean_flow_factor, flow_on_pump, piece_flows,
};
use crate::hydraulics::friction::{self, Regime};
use crate::hydraulics::path::Path;
use crate::hydraulics::piece::Piece;
use crate::hydraulics::piece_form::{self, PIECE};
use crate::hydraulics::{thread, volume};
use crate::quantity::{AbsolutePressure, GaugePressure, PressureDrop, Temperature, VolumeFlow};
use crate::water::{Coolant, PRESSURE_RANGE_BAR_ABS, TEMPERATURE_RANGE_DEG_C, saturation_pressure};

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[&FRICTION, &CIRCUIT_FLOW];

/// Flows that a circuit can sensibly carry.
pub(super) const FLOW_L_MIN: Kind = Kind::Number { low: 0.0, high: 1e5 };
/// Pressures that a circuit can sensibly lose.
pub(super) const DROP_BAR: Kind = Kind::Number { low: 0.0, high: 1e3 };

static FRICTION: Calculator = Calculator {
    name: "friction",
    title: "Wall friction",
    text: "Darcy friction factor (four times Fanning's) in a round channel: 64/Re up to Re 2000, Colebrook from \
           Re 4000 on, joined smoothly between. Between them no dependable value exists: measured factors scatter by \
           15 % and more.",
    inputs: &[
        Field::required(
            "reynolds",
            Kind::Number { low: 1e-6, high: friction::REYNOLDS_MAX },
            "Reynolds number",
        ),
        Field::required(
            "relative_roughness",
            Kind::Number { low: 0.0, high: friction::RELATIVE_ROUGHNESS_MAX },
            "sand-grain roughness over diameter",
        ),
    ],
    outputs: &[
        Output { name: "darcy_factor", text: "Darcy friction factor" },
        Output { name: "regime", text: "laminar, transition or turbulent" },
    ],
    sources: &["hagen-poiseuille", "colebrook-1939"],
    run: run_friction,
};

fn run_friction(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let found = friction::friction(input.number("reynolds"), input.number("relative_roughness"))
        .map_err(|range| vec![Fault::from(range)])?;
    let answer = Answer::new().with("darcy_factor", found.darcy_factor).with("regime", word(found.regime));
    Ok(if found.regime == Regime::Transition {
        answer
            .warn("transition", "Between Re 2000 and 4000 the friction factor is uncertain by 15 % and more.")
    } else {
        answer
    })
}

const fn word(regime: Regime) -> &'static str {
    match regime {
        Regime::Laminar => "laminar",
        Regime::Transition => "transition",
        Regime::Turbulent => "turbulent",
    }
}

static PAIR: Kind = Kind::List { of: &Kind::NOT_NEGATIVE, least: 2 };

static CIRCUIT_FLOW: Calculator = Calculator {
    name: "circuit-flow",
    title: "Flow through a circuit",
    text: "Flow and pressure drop of pieces in a row, for a given drop, a given flow or a pump; with what each piece \
           takes. The drop is that of total pressure; fittings at both ends count only if they are listed. Loss \
           numbers of turns are known to about 25 %, so flows are good to about 10 % unless the pieces were \
           calibrated on a clean circuit.",
    inputs: &[
        Field::required("pieces", Kind::List { of: &PIECE, least: 1 }, "pieces in flow order"),
        TEMPERATURE,
        GLYCOL,
        GLYCOL_MASS_PERCENT,
        Field::preset(
            "pressure_bar_abs",
            Kind::Number { low: PRESSURE_RANGE_BAR_ABS.0, high: PRESSURE_RANGE_BAR_ABS.1 },
            Preset::Number(3.0),
            "pressure at the outlet, against vacuum",
        ),
        Field::optional("pressure_drop_bar", DROP_BAR, "pressure drop; or give flow_l_min or pump_curve"),
        Field::optional("flow_l_min", FLOW_L_MIN, "flow; or give pressure_drop_bar or pump_curve"),
        Field::optional(
            "pump_curve",
            Kind::List { of: &PAIR, least: 2 },
            "points of the pump by rising flow, each [l/min, bar]; or give pressure_drop_bar or flow_l_min",
        ),
    ],
    outputs: &[
        Output { name: "flow_l_min", text: "flow" },
        Output { name: "pressure_drop_bar", text: "pressure drop" },
        Output { name: "flow_factor_m3_h", text: "flow of water of 20 degC at a drop of 1 bar" },
        Output { name: "volume_ml", text: "volume that the pieces hold" },
        Output { name: "reynolds_min", text: "smallest Reynolds number on the way" },
        Output {
            name: "pieces",
            text: "each piece: kind, flow_l_min, pressure_drop_bar, reynolds, regime; a split with its branches",
        },
    ],
    sources: &[
        "hagen-poiseuille",
        "colebrook-1939",
        "borda-carnot",
        "crane-tp410",
        "hooper-1981",
        "miller-1990",
        "shah-london-1978",
        "jones-leung-1981",
        "iec-60534-2-1",
        "iapws-r7-97",
        "iapws-r12-08",
    ],
    run: run_circuit_flow,
};

/// The pieces of an input's field, with faults at their places.
pub(super) fn read_pieces(input: Input<'_>, name: &str) -> Result<Vec<Piece>, Vec<Fault>> {
    let list = input.get(name).unwrap_or(&Value::Null);
    piece_form::pieces(list).map_err(|faults| faults.into_iter().map(|fault| fault.under(name)).collect())
}

/// What a hydraulic error means for an input; `field` names what the pieces came from.
pub(super) fn fault(error: HydraulicsError, field: &str) -> Fault {
    match error {
        HydraulicsError::OutOfRange(range) if range.quantity.ends_with("_l_min") => Fault::from(range),
        HydraulicsError::OutOfRange(range) => {
            let hint =
                format!("keep {} within {} to {} {}", range.quantity, range.low, range.high, range.unit);
            Fault::new(field, range.to_string(), hint)
        }
        HydraulicsError::PumpCurve { at, problem } => {
            Fault::new(format!("pump_curve.{at}"), problem, "list points by rising flow and falling pressure")
        }
        HydraulicsError::OffPumpCurve { direction, .. } => {
            Fault::new("pump_curve", error.to_string(), format!("give points further {direction}"))
        }
        HydraulicsError::NoResistance | HydraulicsError::NotFound { .. } => {
            Fault::new(field, error.to_string(), "check the pieces")
        }
    }
}

fn run_circuit_flow(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let pressure = AbsolutePressure::from_bar(input.number("pressure_bar_abs"));
    let mut faults = Vec::new();
    let mut keep = |found: Vec<Fault>| faults.extend(found);
    let pieces = read_pieces(input, "pieces").map_err(&mut keep).ok();
    let fluid = coolant_properties(input, pressure).map_err(&mut keep).ok();
    let drive = Drive::read(input).map_err(|fault| keep(vec![fault])).ok();
    let (Some(pieces), Some(fluid), Some(drive)) = (pieces, fluid, drive) else { return Err(faults) };
    let conditions = Conditions::new(fluid);
    let wrong = |error| vec![fault(error, "pieces")];
    let (flow, drop) = drive.meet(&pieces, &conditions).map_err(wrong)?;
    let parts = piece_flows(&pieces, &conditions, flow).map_err(wrong)?;
    let at = Path::new(&pieces).and_then(|path| path.drop(&conditions, flow)).map_err(wrong)?;
    let factor = clean_flow_factor(&pieces).map_err(wrong)?;
    let answer = Answer::new()
        .with("flow_l_min", flow.l_min())
        .with("pressure_drop_bar", drop.bar())
        .with("flow_factor_m3_h", factor.m3_h())
        .with("volume_ml", volume::filled_volume(&pieces).ml())
        .with("reynolds_min", at.reynolds_min)
        .with("pieces", list(&parts));
    let answer = drilled_warnings(answer, input.items("pieces"), "pieces");
    Ok(boiling_warning(transition_warning(answer, &parts), input, pressure))
}

/// What makes the water flow.
enum Drive {
    Drop(PressureDrop),
    Flow(VolumeFlow),
    Pump(Vec<(VolumeFlow, GaugePressure)>),
}

impl Drive {
    fn read(input: Input<'_>) -> Result<Self, Fault> {
        let names = ["pressure_drop_bar", "flow_l_min", "pump_curve"];
        match names.map(|name| input.has(name)) {
            [true, false, false] => Ok(Self::Drop(PressureDrop::from_bar(input.number("pressure_drop_bar")))),
            [false, true, false] => Ok(Self::Flow(VolumeFlow::from_l_min(input.number("flow_l_min")))),
            [false, false, true] => pump_curve(input.items("pump_curve")).map(Self::Pump),
            [false, false, false] => {
                Err(Fault::new("pressure_drop_bar", "missing", "give this, flow_l_min or pump_curve"))
            }
            [drop, ..] => {
                let second = if drop && input.has("flow_l_min") { "flow_l_min" } else { "pump_curve" };
                let problem = "more than one of pressure_drop_bar, flow_l_min and pump_curve is given";
                Err(Fault::new(second, problem, "give one of the three"))
            }
        }
    }

    fn meet(
        &self,
        pieces: &[Piece],
        conditions: &Conditions,
    ) -> Result<(VolumeFlow, PressureDrop), HydraulicsError> {
        match self {
            Self::Drop(drop) => Ok((Path::new(pieces)?.flow(conditions, *drop)?.0, *drop)),
            Self::Flow(flow) => Ok((*flow, Path::new(pieces)?.drop(conditions, *flow)?.drop)),
            Self::Pump(curve) => flow_on_pump(pieces, conditions, curve),
        }
    }
}

fn pump_curve(points: &[Value]) -> Result<Vec<(VolumeFlow, GaugePressure)>, Fault> {
    let point = |(at, pair): (usize, &Value)| match pair.numbers().as_slice() {
        [flow, pressure] => Ok((VolumeFlow::from_l_min(*flow), GaugePressure::from_bar(*pressure))),
        more => {
            let problem = format!("{} numbers", more.len());
            Err(Fault::new(format!("pump_curve.{at}"), problem, "give two: [l/min, bar]"))
        }
    };
    points.iter().enumerate().map(point).collect()
}

fn list(parts: &[PieceFlow]) -> Value {
    Value::List(parts.iter().map(piece_value).collect())
}

fn piece_value(part: &PieceFlow) -> Value {
    let mut fields = vec![
        ("kind", Value::from(part.kind)),
        ("flow_l_min", Value::from(part.flow.l_min())),
        ("pressure_drop_bar", Value::from(part.drop.bar())),
        ("reynolds", Value::from(part.reynolds)),
        ("regime", Value::from(part.regime.map(word))),
    ];
    if !part.branches.is_empty() {
        fields.push(("branches", Value::List(part.branches.iter().map(|branch| list(branch)).collect())));
    }
    Value::record(fields)
}

fn transition_warning(answer: Answer, parts: &[PieceFlow]) -> Answer {
    let total: f64 = parts.iter().map(|part| part.drop.pa()).sum();
    let doubtful: f64 =
        parts.iter().filter(|part| part.regime == Some(Regime::Transition)).map(|part| part.drop.pa()).sum();
    if doubtful <= 0.0 {
        return answer;
    }
    let percent = (100.0 * doubtful / total).round().max(1.0);
    answer.warn(
        "transition",
        format!(
            "{percent} % of the pressure drop lies in pieces between laminar and turbulent flow, where friction is \
             uncertain by 15 % and more."
        ),
    )
}

fn boiling_warning(answer: Answer, input: Input<'_>, outlet: AbsolutePressure) -> Answer {
    let deg_c = input.number("temperature_deg_c").max(TEMPERATURE_RANGE_DEG_C.0);
    let Ok(boiling) = saturation_pressure(Temperature::from_deg_c(deg_c)) else { return answer };
    if outlet >= boiling {
        return answer;
    }
    let bar = boiling.bar();
    if coolant(input) == Ok(Coolant::Water) {
        answer.warn(
            "boiling",
            format!(
                "At {deg_c} degC water boils below {bar:.2} bar absolute: at this outlet pressure it flashes to steam, \
                 and a circuit that is opened scalds. The figures are those of liquid water."
            ),
        )
    } else {
        answer.warn(
            "may-boil",
            format!(
                "Plain water of {deg_c} degC boils below {bar:.2} bar absolute; this mixture may boil too."
            ),
        )
    }
}

/// A bore named by its thread is not what its name says: shows the drill.
pub(super) fn drilled_warnings(mut answer: Answer, pieces: &[Value], path: &str) -> Answer {
    for (at, piece) in pieces.iter().enumerate() {
        let place = format!("{path}.{at}");
        let named = piece.get("plug_thread").and_then(Value::as_text);
        if let Some((name, bore)) = named.and_then(|name| Some((name, thread::drilled_diameter(name)?))) {
            let mm = bore.mm();
            answer = answer.warn(
                "drilled-diameter",
                format!("{place}: {name} is the plug; the bore is drilled to {mm:.2} mm."),
            );
        }
        for (branch, list) in piece.get("branches").map(Value::items).unwrap_or_default().iter().enumerate() {
            answer = drilled_warnings(answer, list.items(), &format!("{place}.branches.{branch}"));
        }
    }
    answer
}

#[cfg(test)]
mod tests {
    use super::*;

    fn number(value: f64) -> Value {
        Value::Number(value)
    }

    fn bore_with(field: &'static str, value: impl Into<Value>) -> Value {
        Value::record([("kind", Value::from("bore")), (field, value.into()), ("length_mm", number(1500.0))])
    }

    fn elbow() -> Value {
        Value::record([
            ("kind", Value::from("elbow")),
            ("diameter_mm", number(8.0)),
            ("loss_k", number(2.0)),
            ("count", number(4.0)),
        ])
    }

    fn ask(extra: &[(&'static str, Value)]) -> Result<Answer, Vec<Fault>> {
        let pieces = Value::List(vec![bore_with("diameter_mm", 8.0), elbow()]);
        let mut fields = vec![("pieces", pieces), ("temperature_deg_c", number(20.0))];
        fields.retain(|(name, _)| extra.iter().all(|(other, _)| other != name));
        fields.extend(extra.iter().cloned());
        CIRCUIT_FLOW.answer(&Value::record(fields))
    }

    fn output(answer: &Answer, name: &str) -> f64 {
        answer.get(name).and_then(Value::as_number).unwrap()
    }

    fn codes(answer: &Answer) -> Vec<&'static str> {
        answer.warnings.iter().map(|warning| warning.code).collect()
    }

    #[test]
    fn friction_of_the_moody_chart() {
        // Crane TP 410 and any Moody chart: Re 1e5, relative roughness 1e-4: f 0.0185 (from memory).
        let ask = |reynolds: f64| {
            FRICTION.answer(&Value::record(
                [("reynolds", reynolds), ("relative_roughness", 1e-4)]
                    .map(|(name, value)| (name, number(value))),
            ))
        };
        let answer = ask(1e5).unwrap();
        assert!((output(&answer, "darcy_factor") - 0.0185).abs() < 1e-4);
        assert_eq!(answer.get("regime"), Some(&Value::from("turbulent")));
        assert_eq!(codes(&ask(3000.0).unwrap()), ["transition"]);
        assert_eq!(ask(-1.0).unwrap_err().first().unwrap().field, "reynolds");
    }

    #[test]
    fn drop_flow_and_pump_agree() {
        let by_drop = ask(&[("pressure_drop_bar", number(1.0))]).unwrap();
        let flow = output(&by_drop, "flow_l_min");
        // Computed apart (fluids 1.3.1): 12 l/min; 75.4 ml by the cylinder's formula.
        assert!((flow / 11.87 - 1.0).abs() < 0.01, "{flow}");
        assert!((output(&by_drop, "volume_ml") - 75.398).abs() < 0.001);
        // At 20 degC and 1 bar the flow factor is this flow, but for the 1 bar of pressure in the properties.
        assert!((output(&by_drop, "flow_factor_m3_h") / (flow * 0.06) - 1.0).abs() < 1e-4);
        let by_flow = ask(&[("flow_l_min", number(flow))]).unwrap();
        assert!((output(&by_flow, "pressure_drop_bar") - 1.0).abs() < 1e-9);
        let pair = |flow: f64, bar: f64| Value::List(vec![number(flow), number(bar)]);
        let curve = Value::List(vec![pair(0.0, 2.0), pair(2.0 * flow, 0.0)]);
        let by_pump = ask(&[("pump_curve", curve)]).unwrap();
        assert!((output(&by_pump, "flow_l_min") / flow - 1.0).abs() < 1e-9);
        let parts = by_flow.get("pieces").unwrap().items();
        assert_eq!(parts.len(), 5);
        let sum: f64 =
            parts.iter().map(|part| part.get("pressure_drop_bar").unwrap().as_number().unwrap()).sum();
        assert!((sum - 1.0).abs() < 1e-9);
    }

    #[test]
    fn exactly_one_drive_and_every_fault_at_once() {
        let field = |extra: &[(&'static str, Value)]| ask(extra).unwrap_err()[0].field.clone();
        assert_eq!(field(&[]), "pressure_drop_bar");
        assert_eq!(field(&[("pressure_drop_bar", number(1.0)), ("flow_l_min", number(1.0))]), "flow_l_min");
        let faults = ask(&[
            ("pieces", Value::List(vec![bore_with("plug_thread", "NPT 9/4")])),
            ("glycol_mass_percent", number(30.0)),
        ])
        .unwrap_err();
        let fields: Vec<&str> = faults.iter().map(|fault| fault.field.as_str()).collect();
        assert_eq!(fields, ["pieces.0.plug_thread", "glycol", "pressure_drop_bar"]);
        let weak = Value::List(vec![
            Value::List(vec![number(0.0), number(1.0)]),
            Value::List(vec![number(1.0), number(0.9)]),
        ]);
        assert_eq!(field(&[("pump_curve", weak)]), "pump_curve");
    }

    #[test]
    fn warns_of_what_the_reader_should_know() {
        let drop = ("pressure_drop_bar", number(1.0));
        let threaded = Value::List(vec![bore_with("plug_thread", "NPT 1/4")]);
        let named = ask(&[("pieces", threaded), drop.clone()]).unwrap();
        assert_eq!(codes(&named), ["drilled-diameter"]);
        assert!(named.warnings[0].text.contains("11.11 mm"));
        assert_eq!(codes(&ask(&[drop.clone(), ("temperature_deg_c", number(140.0))]).unwrap()), ["boiling"]);
        assert_eq!(codes(&ask(&[("flow_l_min", number(1.1))]).unwrap()), ["transition"]);
        assert!(codes(&ask(&[drop]).unwrap()).is_empty());
    }

    #[test]
    fn glycol_slows_the_flow() {
        // Computed apart (CoolProp 8.0, fluids 1.3.1): 30 % ethylene glycol at 20 degC and 1 bar, 0.951 of water's flow.
        let drop = ("pressure_drop_bar", number(1.0));
        let water = output(&ask(std::slice::from_ref(&drop)).unwrap(), "flow_l_min");
        let mixed =
            ask(&[drop, ("glycol", Value::from("ethylene")), ("glycol_mass_percent", number(30.0))]).unwrap();
        assert!((output(&mixed, "flow_l_min") / water - 0.951).abs() < 0.006);
    }
}
