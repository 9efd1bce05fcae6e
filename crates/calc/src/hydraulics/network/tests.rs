//! Networks against closed forms, a textbook's hand-solved loop and their own balances.

use super::*;
use crate::hydraulics::circuit::reference_conditions;
use crate::hydraulics::piece::Restrictor;
use crate::quantity::FlowFactor;

fn fixed(id: &str, bar: f64) -> Node {
    let kind = NodeKind::Fixed(GaugePressure::from_bar(bar));
    Node { id: id.to_owned(), kind, elevation: Length::from_m(0.0) }
}

fn junction(id: &str, demand_l_min: f64) -> Node {
    let kind = NodeKind::Demand(VolumeFlow::from_l_min(demand_l_min));
    Node { id: id.to_owned(), kind, elevation: Length::from_m(0.0) }
}

fn restrictor(kv: f64) -> Vec<Piece> {
    vec![Piece::Restrictor(Restrictor::Measured { flow_factor: FlowFactor::from_m3_h(kv) })]
}

fn bore(diameter_mm: f64, length_mm: f64) -> Vec<Piece> {
    vec![Piece::Bore {
        diameter: Length::from_mm(diameter_mm),
        length: Length::from_mm(length_mm),
        roughness: Length::from_um(10.0),
    }]
}

fn link(id: &str, from: &str, to: &str, pieces: Vec<Piece>) -> Link {
    Link { id: id.to_owned(), from: from.to_owned(), to: to.to_owned(), pieces }
}

fn flow(solution: &Solution, id: &str) -> f64 {
    solution.links.iter().find(|link| link.id == id).unwrap().flow.m3_h()
}

fn bar(solution: &Solution, id: &str) -> f64 {
    solution.nodes.iter().find(|node| node.id == id).unwrap().pressure.bar()
}

#[test]
fn restrictors_in_series_and_parallel() {
    // Identity: flow factors add in parallel, 1/Kv^2 adds in series (IEC 60534-1).
    let conditions = reference_conditions();
    let nodes = [fixed("in", 2.0), junction("middle", 0.0), fixed("out", 0.0)];
    let links = [
        link("a", "in", "middle", restrictor(0.5)),
        link("b", "middle", "in", restrictor(0.3)),
        link("c", "middle", "out", restrictor(0.6)),
    ];
    let solved = solve(&nodes, &links, &conditions).unwrap();
    let together = 1.0 / (1.0 / (0.8_f64 * 0.8) + 1.0 / (0.6 * 0.6)).sqrt();
    let density_ratio = conditions.fluid.density_kg_m3 / 1000.0;
    let single = crate::hydraulics::circuit::flow_at_drop(
        &restrictor(together),
        &conditions,
        PressureDrop::from_bar(2.0),
    );
    assert!((flow(&solved, "c") / single.unwrap().m3_h() - 1.0).abs() < 1e-9);
    assert!((flow(&solved, "c") / (together * 2.0_f64.sqrt()) - 1.0).abs() < 2.0 * (1.0 - density_ratio));
    assert!((flow(&solved, "a") / 0.5 + flow(&solved, "b") / 0.3).abs() < 1e-9);
    // 1/0.64 and 1/0.36 share the 2 bar.
    assert!((bar(&solved, "middle") - 2.0 * 0.64 / (0.64 + 0.36)).abs() < 1e-8);
    assert!(solved.continuity_error < 1e-9 && solved.steps < 20, "{} steps", solved.steps);
}

#[test]
fn loop_of_square_laws_by_hardy_cross() {
    // A loop with h = r Q^2, solved on paper: links a-b r = 1, a-c r = 2, b-d r = 4, c-d r = 3, and 6 units in at a,
    // out at d. Both ways are series: r = 5 and 5, so 3 units each; b and c then lie 9 and 18 below a.
    let conditions = reference_conditions();
    let unit_l_min = 2.0;
    // r in bar per unit^2: 0.01 r; Kv of the link at this density.
    let kv = |r: f64| {
        let density = conditions.fluid.density_kg_m3 / super::super::circuit::REFERENCE_DENSITY_KG_M3;
        let unit = VolumeFlow::from_l_min(unit_l_min).m3_h();
        unit / (0.01 * r / density).sqrt()
    };
    let nodes = [fixed("a", 3.0), junction("b", 0.0), junction("c", 0.0), junction("d", 6.0 * unit_l_min)];
    let links = [
        link("ab", "a", "b", restrictor(kv(1.0))),
        link("ac", "a", "c", restrictor(kv(2.0))),
        link("bd", "b", "d", restrictor(kv(4.0))),
        link("dc", "d", "c", restrictor(kv(3.0))),
    ];
    let solved = solve(&nodes, &links, &conditions).unwrap();
    let unit = VolumeFlow::from_l_min(unit_l_min).m3_h();
    let scale = flow(&solved, "ab") / unit;
    assert!((scale - 3.0).abs() < 1e-8, "{scale}");
    assert!((flow(&solved, "dc") / unit + 3.0).abs() < 1e-8);
    // Kv refers to water of 1000 or of 998 kg/m3, whichever the pieces take: 0.2 %.
    assert!(((3.0 - bar(&solved, "b")) / 0.09 - 1.0).abs() < 3e-3, "{}", bar(&solved, "b"));
    assert!(((3.0 - bar(&solved, "c")) / 0.18 - 1.0).abs() < 3e-3);
}

#[test]
fn still_water_shows_its_height() {
    // Identity: rho g z; 10 m of water of 998.25 kg/m3 are 0.97896 bar.
    let mut top = junction("top", 0.0);
    top.elevation = Length::from_m(10.0);
    let solved = solve(
        &[fixed("foot", 2.0), top],
        &[link("riser", "foot", "top", bore(10.0, 10_000.0))],
        &reference_conditions(),
    )
    .unwrap();
    assert!((bar(&solved, "top") - (2.0 - 0.978_960)).abs() < 1e-5, "{}", bar(&solved, "top"));
    assert!(flow(&solved, "riser").abs() < 1e-9);
}

#[test]
fn a_bridge_in_balance_carries_nothing() {
    // Wheatstone's bridge: equal ratios on both sides, no flow across, though the slope there vanishes.
    let nodes = [fixed("in", 1.0), junction("left", 0.0), junction("right", 0.0), fixed("out", 0.0)];
    let links = [
        link("1", "in", "left", bore(8.0, 1000.0)),
        link("2", "in", "right", bore(8.0, 1000.0)),
        link("bridge", "left", "right", restrictor(0.4)),
        link("3", "left", "out", bore(8.0, 2000.0)),
        link("4", "right", "out", bore(8.0, 2000.0)),
    ];
    let solved = solve(&nodes, &links, &reference_conditions()).unwrap();
    assert!(flow(&solved, "bridge").abs() < 1e-7 * flow(&solved, "1"));
    let in_row = [bore(8.0, 1000.0), bore(8.0, 2000.0)].concat();
    let alone = crate::hydraulics::circuit::flow_at_drop(
        &in_row,
        &reference_conditions(),
        PressureDrop::from_bar(1.0),
    );
    assert!((flow(&solved, "3") / alone.unwrap().m3_h() - 1.0).abs() < 1e-8);
}

/// A square grid of bores, fed in one corner, drained in the other, with small demands.
fn grid(side: usize) -> (Vec<Node>, Vec<Link>) {
    let name = |i: usize, j: usize| format!("n{i}-{j}");
    let mut nodes = Vec::new();
    let mut links = Vec::new();
    for i in 0..side {
        for j in 0..side {
            let id = name(i, j);
            nodes.push(match (i, j) {
                (0, 0) => fixed(&id, 4.0),
                _ if (i, j) == (side - 1, side - 1) => fixed(&id, 0.0),
                _ => junction(&id, if (i * 7 + j) % 5 == 0 { 0.02 } else { 0.0 }),
            });
            let pieces = || bore(6.0 + ((i * 3 + j * 5) % 7) as f64, 200.0 + 50.0 * ((i + 2 * j) % 5) as f64);
            if i + 1 < side {
                links.push(link(&format!("d{i}-{j}"), &id, &name(i + 1, j), pieces()));
            }
            if j + 1 < side {
                links.push(link(&format!("r{i}-{j}"), &name(i, j + 1), &id, pieces()));
            }
        }
    }
    (nodes, links)
}

#[test]
fn a_thousand_links_settle_and_balance() {
    let (nodes, links) = grid(23);
    assert!(links.len() > 1000);
    let solved = solve(&nodes, &links, &reference_conditions()).unwrap();
    assert!(solved.continuity_error < 1e-9, "{}", solved.continuity_error);
    assert!(solved.steps <= 10 && solved.clipped == 0, "{} steps, {} clipped", solved.steps, solved.clipped);
    // Energy: each link's drop is the difference of its nodes' pressures.
    for (state, link) in solved.links.iter().zip(&links) {
        let difference = bar(&solved, &link.from) - bar(&solved, &link.to);
        assert!((state.drop.bar() - difference).abs() < 1e-7, "{}", link.id);
    }
    let total: f64 = solved.nodes.iter().map(|node| node.outflow.m3_h()).sum();
    assert!(total.abs() < 1e-9 * solved.nodes[0].outflow.m3_h().abs());
}

#[test]
fn all_open_against_alone() {
    let manifold = Manifold {
        supply: GaugePressure::from_bar(2.0),
        drain: GaugePressure::from_bar(0.0),
        feed: restrictor(1.0),
        back: Vec::new(),
    };
    let circuits = vec![restrictor(0.5), restrictor(0.5), restrictor(0.7)];
    let conditions = reference_conditions();
    let flows = |open: &[bool]| {
        let found = manifold_flows(&circuits, &manifold, &conditions, open).unwrap();
        found.iter().map(|flow| flow.m3_h()).collect::<Vec<f64>>()
    };
    let (all, alone) = (flows(&[true; 3]), flows(&[true, false, false]));
    // Identity: circuits together have Kv 1.7, in series with the feed of 1.0; alone 0.5 in series with it.
    let series = |a: f64, b: f64| 1.0 / (1.0 / (a * a) + 1.0 / (b * b)).sqrt();
    let expected = (series(1.7, 1.0) * 0.5 / 1.7) / series(0.5, 1.0);
    assert!((all[0] / alone[0] - expected).abs() < 1e-9);
    assert!((alone[1].abs(), alone[2].abs()) == (0.0, 0.0));
    assert!(flows(&[false; 3]).iter().all(|flow| *flow == 0.0));
    assert!(matches!(
        manifold_flows(&circuits, &manifold, &conditions, &[true]),
        Err(NetworkError::OpenMarks { open: 1, circuits: 3 })
    ));
}

#[test]
fn faults_name_node_or_link() {
    let ask = |nodes: &[Node], links: &[Link]| solve(nodes, links, &reference_conditions()).unwrap_err();
    let pair = [fixed("a", 1.0), junction("b", 1.0)];
    let good = || link("l", "a", "b", bore(8.0, 100.0));
    assert_eq!(ask(&pair, &[good(), good()]), NetworkError::Twice { what: "link", id: "l".to_owned() });
    assert!(matches!(ask(&pair, &[link("l", "a", "c", bore(8.0, 1.0))]), NetworkError::UnknownNode { .. }));
    assert!(matches!(ask(&pair, &[link("l", "b", "b", bore(8.0, 1.0))]), NetworkError::SelfLoop { .. }));
    assert_eq!(ask(&pair, &[]), NetworkError::NoFixedPressure { node: "b".to_owned() });
    assert!(matches!(ask(&pair, &[link("l", "a", "b", vec![])]), NetworkError::Link { .. }));
    let endless = [fixed("a", f64::INFINITY), junction("b", 1.0)];
    assert!(matches!(ask(&endless, &[good()]), NetworkError::NotFinite { quantity: "pressure", .. }));
    let too_much = [fixed("a", 1.0), junction("b", 1e9)];
    assert!(matches!(ask(&too_much, &[good()]), NetworkError::Link { .. }));
}
