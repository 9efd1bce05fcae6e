//! Calculators: networks.

use super::water::{GLYCOL, GLYCOL_MASS_PERCENT, TEMPERATURE, coolant, coolant_properties};
use super::{Answer, Calculator, Output, hydraulics};
use crate::form::{Fault, Field, Input, Kind, Preset, Value};
use crate::hydraulics::circuit::Conditions;
use crate::hydraulics::friction::{FrictionLaw, LAMINAR_BELOW, TURBULENT_ABOVE};
use crate::hydraulics::network::{Link, NetworkError, Node, NodeKind, Solution, solve};
use crate::hydraulics::piece_form::PIECE;
use crate::quantity::{AbsolutePressure, GaugePressure, Length, Temperature, VolumeFlow};
use crate::water::{Coolant, PRESSURE_RANGE_BAR_ABS, saturation_pressure};

/// The calculators of this file.
pub static ALL: &[&Calculator] = &[&NETWORK_FLOW];

/// Most names in one warning.
const NAMES_MOST: usize = 8;

static NETWORK_FLOW: Calculator = Calculator {
    name: "network-flow",
    title: "Flow in a network",
    text: "Steady flows and pressures where circuits, manifolds and hoses meet. Every node has either a pressure that \
           is held or a flow that is taken out (0 for a plain junction). Pressures are gauge pressures at the node's \
           own height. Good to about 10 % in flow, as single circuits are: the loss numbers of turns are known to \
           about 25 %.",
    inputs: &[
        Field::required(
            "nodes",
            Kind::List {
                of: &Kind::Record(&[
                    Field::required("id", Kind::Text, "name"),
                    Field::optional(
                        "pressure_bar_g",
                        Kind::Number { low: -1.0, high: 1e3 },
                        "pressure that is held here",
                    ),
                    Field::optional(
                        "demand_l_min",
                        Kind::Number { low: -1e5, high: 1e5 },
                        "flow taken out here; negative where it is fed in",
                    ),
                    Field::preset(
                        "elevation_m",
                        Kind::Number { low: -1e3, high: 1e3 },
                        Preset::Number(0.0),
                        "height above a common level",
                    ),
                ]),
                least: 1,
            },
            "points at which links meet",
        ),
        Field::required(
            "links",
            Kind::List {
                of: &Kind::Record(&[
                    Field::required("id", Kind::Text, "name"),
                    Field::required("from", Kind::Text, "node at which the pieces begin"),
                    Field::required("to", Kind::Text, "node at which they end"),
                    Field::required("pieces", Kind::List { of: &PIECE, least: 1 }, "pieces in order"),
                ]),
                least: 1,
            },
            "pieces between two nodes",
        ),
        TEMPERATURE,
        GLYCOL,
        GLYCOL_MASS_PERCENT,
        Field::preset(
            "pressure_bar_abs",
            Kind::Number { low: PRESSURE_RANGE_BAR_ABS.0, high: PRESSURE_RANGE_BAR_ABS.1 },
            Preset::Number(3.0),
            "pressure, against vacuum, at which the coolant's properties are taken; it hardly matters",
        ),
        Field::preset(
            "friction_law",
            Kind::Choice(&["standard", "swamee-jain"]),
            Preset::Text("standard"),
            "law of wall friction; the second for comparison with other network programs",
        ),
    ],
    outputs: &[
        Output { name: "nodes", text: "each node: id, pressure_bar_g, outflow_l_min" },
        Output {
            name: "links",
            text: "each link: id, flow_l_min (from `from` to `to`), pressure_drop_bar, reynolds_min",
        },
        Output { name: "steps", text: "steps of the solver" },
        Output { name: "continuity_error", text: "largest imbalance at a node, as a share of the flow" },
    ],
    sources: &[
        "todini-pilati-1988",
        "hagen-poiseuille",
        "colebrook-1939",
        "swamee-jain-1976",
        "nist-sp-811",
        "iapws-r7-97",
        "iapws-r12-08",
    ],
    run: run_network_flow,
};

fn run_network_flow(input: Input<'_>) -> Result<Answer, Vec<Fault>> {
    let pressure = AbsolutePressure::from_bar(input.number("pressure_bar_abs"));
    let mut faults = Vec::new();
    let mut nodes = Vec::new();
    for (place, record) in input.records("nodes").enumerate() {
        match node(record) {
            Ok(node) => nodes.push(node),
            Err(fault) => faults.push(fault.under(&format!("nodes.{place}"))),
        }
    }
    let mut links = Vec::new();
    for (place, record) in input.records("links").enumerate() {
        match hydraulics::read_pieces(record, "pieces") {
            Ok(pieces) => links.push(Link {
                id: record.text("id").to_owned(),
                from: record.text("from").to_owned(),
                to: record.text("to").to_owned(),
                pieces,
            }),
            Err(found) => {
                faults.extend(found.into_iter().map(|fault| fault.under(&format!("links.{place}"))));
            }
        }
    }
    let fluid = coolant_properties(input, pressure).map_err(|found| faults.extend(found)).ok();
    let (Some(fluid), true) = (fluid, faults.is_empty()) else { return Err(faults) };
    let law = match input.text("friction_law") {
        "swamee-jain" => FrictionLaw::SwameeJain,
        _ => FrictionLaw::Standard,
    };
    let conditions = Conditions { fluid, law };
    let solved =
        solve(&nodes, &links, &conditions).map_err(|error| vec![network_fault(error, &nodes, &links)])?;
    Ok(boiling_warning(transition_warning(answer(&solved), &solved), &solved, input))
}

fn node(record: Input<'_>) -> Result<Node, Fault> {
    let held = record.optional_number("pressure_bar_g").map(GaugePressure::from_bar);
    let demand = record.optional_number("demand_l_min").map(VolumeFlow::from_l_min);
    let kind = match (held, demand) {
        (Some(pressure), None) => NodeKind::Fixed(pressure),
        (None, Some(flow)) => NodeKind::Demand(flow),
        (Some(_), Some(_)) => {
            let problem = "given beside pressure_bar_g";
            return Err(Fault::new("demand_l_min", problem, "give one of the two"));
        }
        (None, None) => {
            let hint = "give pressure_bar_g, or demand_l_min (0 for a plain junction)";
            return Err(Fault::new("pressure_bar_g", "missing", hint));
        }
    };
    let elevation = Length::from_m(record.number("elevation_m"));
    Ok(Node { id: record.text("id").to_owned(), kind, elevation })
}

fn answer(solved: &Solution) -> Answer {
    let nodes = solved.nodes.iter().map(|node| {
        Value::record([
            ("id", Value::from(node.id.as_str())),
            ("pressure_bar_g", Value::from(node.pressure.bar())),
            ("outflow_l_min", Value::from(node.outflow.l_min())),
        ])
    });
    let links = solved.links.iter().map(|link| {
        Value::record([
            ("id", Value::from(link.id.as_str())),
            ("flow_l_min", Value::from(link.flow.l_min())),
            ("pressure_drop_bar", Value::from(link.drop.bar())),
            ("reynolds_min", Value::from(link.reynolds_min)),
        ])
    });
    Answer::new()
        .with("nodes", Value::List(nodes.collect()))
        .with("links", Value::List(links.collect()))
        .with("steps", f64::from(solved.steps))
        .with("continuity_error", solved.continuity_error)
}

/// Some names, and how many more there are.
fn names(all: &[&str]) -> String {
    let shown = all.iter().take(NAMES_MOST).copied().collect::<Vec<_>>().join(", ");
    if all.len() > NAMES_MOST { format!("{shown} and {} more", all.len() - NAMES_MOST) } else { shown }
}

fn transition_warning(answer: Answer, solved: &Solution) -> Answer {
    let between = |reynolds: f64| reynolds > LAMINAR_BELOW && reynolds < TURBULENT_ABOVE;
    let found: Vec<&str> =
        solved.links.iter().filter(|link| between(link.reynolds_min)).map(|link| link.id.as_str()).collect();
    if found.is_empty() {
        return answer;
    }
    let text = format!(
        "Between laminar and turbulent, where friction is uncertain by 15 % and more: link {}.",
        names(&found)
    );
    answer.warn("transition", text)
}

fn boiling_warning(answer: Answer, solved: &Solution, input: Input<'_>) -> Answer {
    let temperature = Temperature::from_deg_c(input.number("temperature_deg_c"));
    let Ok(boiling) = saturation_pressure(temperature) else { return answer };
    let limit = boiling.gauge(AbsolutePressure::STANDARD_ATMOSPHERE);
    let found: Vec<&str> =
        solved.nodes.iter().filter(|node| node.pressure < limit).map(|node| node.id.as_str()).collect();
    if found.is_empty() {
        return answer;
    }
    let mixed = !matches!(coolant(input), Ok(Coolant::Water));
    let what =
        if mixed { "plain water would boil; the mixture may" } else { "the water boils or draws in air" };
    let text = format!(
        "Below {:.2} bar gauge {what}, so the flows do not hold: node {}.",
        limit.bar(),
        names(&found)
    );
    answer.warn("boiling", text)
}

fn network_fault(error: NetworkError, nodes: &[Node], links: &[Link]) -> Fault {
    let node_field = |id: &str, end: &str| {
        // The last of two equal names is the one too many.
        let place = nodes.iter().rposition(|node| node.id == id).unwrap_or_default();
        format!("nodes.{place}.{end}")
    };
    let link_field = |id: &str, end: &str| {
        let place = links.iter().rposition(|link| link.id == id).unwrap_or_default();
        format!("links.{place}.{end}")
    };
    let text = error.to_string();
    match error {
        NetworkError::Twice { what: "node", id } => {
            Fault::new(node_field(&id, "id"), text, "give each node its own name").with_value(id)
        }
        NetworkError::Twice { id, .. } => {
            Fault::new(link_field(&id, "id"), text, "give each link its own name").with_value(id)
        }
        NetworkError::UnknownNode { link, node } => {
            let starts = links.iter().any(|one| one.id == link && one.from == node);
            let field = link_field(&link, if starts { "from" } else { "to" });
            Fault::new(field, text, "add the node or correct the name").with_value(node)
        }
        NetworkError::SelfLoop { link, node } => {
            Fault::new(link_field(&link, "to"), text, "name two different nodes").with_value(node)
        }
        NetworkError::NoFixedPressure { node } => {
            let hint = "give it or one of its neighbours a pressure, or link it";
            Fault::new(node_field(&node, "pressure_bar_g"), text, hint)
        }
        NetworkError::NotFinite { node, .. } => {
            Fault::new(node_field(&node, "pressure_bar_g"), text, "give finite numbers")
        }
        NetworkError::Link { link, source } => hydraulics::fault(source, &link_field(&link, "pieces")),
        NetworkError::NotSettled { link, .. } => {
            Fault::new(link_field(&link, "pieces"), text, "check the pieces")
        }
        NetworkError::OpenMarks { .. } => Fault::new("links", text, "give one mark for each circuit"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn node(id: &str, name: &'static str, value: f64) -> Value {
        Value::record([("id", Value::from(id)), (name, Value::Number(value))])
    }

    fn link(id: &str, from: &str, to: &str, kv: f64) -> Value {
        let piece =
            Value::record([("kind", Value::from("coupling")), ("flow_factor_m3_h", Value::Number(kv))]);
        Value::record([
            ("id", Value::from(id)),
            ("from", Value::from(from)),
            ("to", Value::from(to)),
            ("pieces", Value::List(vec![piece])),
        ])
    }

    fn ask(nodes: Vec<Value>, links: Vec<Value>) -> Result<Answer, Vec<Fault>> {
        NETWORK_FLOW.answer(&Value::record([
            ("nodes", Value::List(nodes)),
            ("links", Value::List(links)),
            ("temperature_deg_c", Value::Number(20.0)),
        ]))
    }

    #[test]
    fn two_couplings_side_by_side() {
        // IEC 60534-1: Kv m3/h at 1 bar, so flows in proportion to Kv; together 1.2 m3/h = 20 l/min.
        let nodes = vec![node("in", "pressure_bar_g", 1.0), node("out", "pressure_bar_g", 0.0)];
        let links = vec![link("a", "in", "out", 0.9), link("b", "out", "in", 0.3)];
        let answer = ask(nodes, links).unwrap();
        let flow = |place: usize| {
            answer.get("links").unwrap().items()[place].get("flow_l_min").unwrap().as_number().unwrap()
        };
        assert!((flow(0) / flow(1) + 3.0).abs() < 1e-9);
        assert!((flow(0) - flow(1) - 20.0).abs() < 0.03, "{}", flow(0) - flow(1));
        assert!(answer.warnings.is_empty());
    }

    #[test]
    fn suction_below_vacuum_is_flagged() {
        let nodes = vec![node("in", "pressure_bar_g", 0.0), node("pump", "demand_l_min", 60.0)];
        let answer = ask(nodes, vec![link("a", "in", "pump", 1.0)]).unwrap();
        assert_eq!(answer.warnings[0].code, "boiling");
    }

    #[test]
    fn faults_stand_at_their_fields() {
        let field = |nodes: Vec<Value>, links: Vec<Value>| ask(nodes, links).unwrap_err()[0].field.clone();
        let pair = || vec![node("a", "pressure_bar_g", 1.0), node("b", "demand_l_min", 1.0)];
        assert_eq!(field(pair(), vec![link("l", "a", "c", 1.0)]), "links.0.to");
        assert_eq!(field(pair(), vec![link("l", "b", "b", 1.0)]), "links.0.to");
        assert_eq!(field(pair(), vec![link("l", "a", "b", 1.0), link("l", "a", "b", 1.0)]), "links.1.id");
        let lonely = vec![
            node("a", "pressure_bar_g", 1.0),
            node("b", "demand_l_min", 1.0),
            node("c", "demand_l_min", 0.0),
        ];
        assert_eq!(field(lonely, vec![link("l", "a", "b", 1.0)]), "nodes.2.pressure_bar_g");
        let bare = vec![Value::record([("id", Value::from("a"))])];
        assert_eq!(field(bare, vec![link("l", "a", "b", 1.0)]), "nodes.0.pressure_bar_g");
    }
}
