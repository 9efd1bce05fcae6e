//! Flow in a network of pipes.

use std::path::Path;

use calc::hydraulics::circuit::Conditions;
use calc::hydraulics::friction::FrictionLaw;
use calc::hydraulics::network::{Link, Node, NodeKind, solve};
use calc::hydraulics::piece::Piece;
use calc::quantity::{AbsolutePressure, GaugePressure, Length, Temperature, VolumeFlow};
use calc::water;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use serde_json::{Value as Json, json};

use super::{Fault, Measured, read_json};
use crate::timing::{Effort, time};

/// The two reference networks that are shipped as grids.
pub const SHIPPED: [(&str, &str); 2] = [
    ("grid-10.json", include_str!("../../../data/reference/network/grid-10.json")),
    ("grid-100.json", include_str!("../../../data/reference/network/grid-100.json")),
];
/// File of the large grid.
pub const LARGE: &str = "grid-1000.json";

/// A grid of 18 by 29 junctions, one diagonal, fed and drained at opposite corners: 1000 pipes.
pub fn large() -> Json {
    const ROWS: u8 = 18;
    const COLUMNS: u8 = 29;
    let mut chance = ChaCha8Rng::seed_from_u64(1000);
    let name = |row: u8, column: u8| format!("n{row}-{column}");
    let mut nodes = vec![
        json!({"id": "supply", "pressure_bar_g": 6.0, "elevation_m": 0.0}),
        json!({"id": "return", "pressure_bar_g": 0.0, "elevation_m": 0.0}),
    ];
    let mut pairs = vec![(name(0, 0), name(1, 1))];
    for row in 0..ROWS {
        for column in 0..COLUMNS {
            nodes.push(json!({"id": name(row, column), "demand_l_min": 0.0, "elevation_m": 0.0}));
            if column + 1 < COLUMNS {
                pairs.push((name(row, column), name(row, column + 1)));
            }
            if row + 1 < ROWS {
                pairs.push((name(row, column), name(row + 1, column)));
            }
        }
    }
    let pipe = |id: &str, from: &str, to: &str, (diameter, length, roughness): (i32, i32, i32)| {
        let piece =
            json!({"kind": "bore", "diameter_mm": diameter, "length_mm": length, "roughness_um": roughness});
        json!({"id": id, "from": from, "to": to, "pieces": [piece]})
    };
    let last = name(ROWS - 1, COLUMNS - 1);
    let mut links = vec![
        pipe("feed", "supply", &name(0, 0), (20, 1000, 2)),
        pipe("drain", &last, "return", (20, 1000, 2)),
    ];
    for (at, (from, to)) in pairs.iter().enumerate() {
        let size =
            (chance.random_range(5..=8) * 2, chance.random_range(20..90) * 10, chance.random_range(2..60));
        links.push(pipe(&format!("p{at}"), from, to, size));
    }
    json!({"nodes": nodes, "links": links, "temperature_deg_c": 60, "friction_law": "swamee-jain"})
}

/// Density and viscosity of a network's water, which a peer cannot compute itself.
pub fn water_of(file: &Json) -> Result<Json, Fault> {
    let fluid = conditions(file)?.fluid;
    Ok(json!({
        "density_kg_m3": fluid.density_kg_m3,
        "kinematic_viscosity_m2_s": fluid.kinematic_viscosity_m2_s(),
    }))
}

/// By EPANET's law of friction.
fn conditions(file: &Json) -> Result<Conditions, Fault> {
    let deg_c = file["temperature_deg_c"].as_f64().ok_or("a network without temperature_deg_c")?;
    let fluid = water::water(Temperature::from_deg_c(deg_c), AbsolutePressure::from_bar(3.0))?;
    Ok(Conditions { fluid, law: FrictionLaw::SwameeJain })
}

/// Times the solution from nodes and links to flows and pressures, preparation included.
pub fn measure(path: &Path, effort: Effort) -> Result<Measured, Fault> {
    let file = read_json(path)?;
    let (nodes, links, conditions) = network(&file)?;
    let (seconds, solved) = time(effort, || solve(&nodes, &links, &conditions));
    let solved = solved?;
    let flows: Vec<f64> = solved.links.iter().map(|link| link.flow.l_min()).collect();
    let largest = flows.iter().fold(0.0_f64, |most, flow| most.max(flow.abs()));
    Ok(Measured::new(seconds, largest).with("steps", solved.steps).with("flows_l_min", flows))
}

fn network(file: &Json) -> Result<(Vec<Node>, Vec<Link>, Conditions), Fault> {
    let number = |of: &Json, name: &str| of[name].as_f64();
    let text = |of: &Json, name: &str| of[name].as_str().unwrap_or_default().to_owned();
    let list = |name: &str| file[name].as_array().map(Vec::as_slice).unwrap_or_default();
    let nodes = list("nodes").iter().map(|node| Node {
        id: text(node, "id"),
        kind: match number(node, "pressure_bar_g") {
            Some(bar) => NodeKind::Fixed(GaugePressure::from_bar(bar)),
            None => NodeKind::Demand(VolumeFlow::from_l_min(number(node, "demand_l_min").unwrap_or(0.0))),
        },
        elevation: Length::from_m(number(node, "elevation_m").unwrap_or(0.0)),
    });
    // Every link of these files is one bore: EPANET knows nothing else.
    let bore = |link: &Json| -> Result<Piece, Fault> {
        let piece = &link["pieces"][0];
        let number =
            |name: &str| piece[name].as_f64().ok_or_else(|| Fault::from(format!("a pipe without {name}")));
        Ok(Piece::Bore {
            diameter: Length::from_mm(number("diameter_mm")?),
            length: Length::from_mm(number("length_mm")?),
            roughness: Length::from_um(number("roughness_um")?),
        })
    };
    let links = list("links").iter().map(|link| {
        let pieces = vec![bore(link)?];
        Ok(Link { id: text(link, "id"), from: text(link, "from"), to: text(link, "to"), pieces })
    });
    Ok((nodes.collect(), links.collect::<Result<_, Fault>>()?, conditions(file)?))
}
