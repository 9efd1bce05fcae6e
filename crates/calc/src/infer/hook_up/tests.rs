use super::*;

fn port(measured: f64, expected: f64) -> Port {
    let flow = |value, relative| Quantities { flow: LnValue::of(value, relative), ..Quantities::default() };
    Port {
        measured: flow(measured, 0.02),
        expected: flow(expected, 0.03),
        passes: Passes::Yes,
        ..Port::default()
    }
}

fn end(filled_ml: f64, volume_ml: f64) -> Port {
    Port {
        passes: Passes::No,
        dead_end: Some(DeadEnd { filled_ml, standard_ml: 3.0, back_ml: 80.0 }),
        measured: Quantities::default(),
        expected: Quantities { volume: LnValue::of(volume_ml, 0.03), ..port(1.0, 0.8).expected },
        ..Port::default()
    }
}

fn doubts(ports: &[Port]) -> Vec<Doubt> {
    hook_up(ports, &SlipPrior::ORDINARY, 0.8).unwrap().doubts
}

#[test]
fn exchanged_hoses_are_called_out() {
    let found = doubts(&[port(1.2, 0.6), port(0.6, 1.2), port(0.8, 0.8)]);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!((found[0].slip, found[0].ports.as_slice()), (Slip::Exchanged, &[0, 1][..]));
}

#[test]
fn a_ring_of_three_is_called_out() {
    let found = doubts(&[port(1.2, 0.6), port(2.4, 1.2), port(0.6, 2.4), port(0.8, 0.8), port(0.3, 0.3)]);
    assert_eq!(found[0].ports, [0, 1, 2]);
    assert_eq!(found[0].slip, Slip::Exchanged);
}

#[test]
fn a_fouled_circuit_is_no_slip() {
    // Half the flow on both, or on one: fouling explains it.
    assert!(doubts(&[port(0.6, 1.2), port(0.4, 0.8)]).is_empty());
    assert!(doubts(&[port(1.2, 1.2), port(0.6, 1.1)]).is_empty());
    // Circuits that are as new alike cannot be told apart, exchanged or not.
    assert!(doubts(&[port(0.8, 0.82), port(0.82, 0.8)]).is_empty());
}

#[test]
fn a_hose_on_nothing_fills_nothing() {
    let without_hoses = |filled_ml: f64| {
        let end = DeadEnd { filled_ml, standard_ml: 2.0, back_ml: 0.0 };
        Port { dead_end: Some(end), ..self::end(0.0, 200.0) }
    };
    let found = doubts(&[without_hoses(0.5), port(0.9, 0.9)]);
    assert_eq!((found[0].slip, found[0].ports.as_slice()), (Slip::Missing, &[0][..]));
    // Behind hoses that are known to 15 % a block near the inlet looks the same.
    assert!(doubts(&[end(-79.0, 200.0), port(0.9, 0.9)]).is_empty());
    // A block half-way is the likelier reason for half the volume.
    assert!(doubts(&[end(20.0, 200.0), port(0.9, 0.9)]).is_empty());
}

#[test]
fn two_on_one_port_pass_and_leave_the_other_empty() {
    let found = doubts(&[port(1.7, 0.9), end(-80.0, 150.0), port(0.5, 0.5)]);
    assert_eq!((found[0].slip, found[0].ports.as_slice()), (Slip::Doubled, &[0, 1][..]));
}

#[test]
fn round_the_corner_both_fill_and_nothing_passes() {
    let found = doubts(&[end(149.0, 150.0), end(241.0, 240.0), port(0.5, 0.5)]);
    assert_eq!((found[0].slip, found[0].ports.as_slice()), (Slip::Bridged, &[0, 1][..]));
}

#[test]
fn gauges_the_wrong_way_round_tell_a_reversed_circuit() {
    let back = Port { backwards: Some(8.0), ..port(0.9, 0.9) };
    let found = doubts(&[back, port(0.5, 0.5)]);
    assert_eq!((found[0].slip, found[0].ports.as_slice()), (Slip::Reversed, &[0][..]));
    assert!(doubts(&[Port { backwards: Some(-8.0), ..port(0.9, 0.9) }]).is_empty());
    // Without gauges at the mould nothing tells.
    assert!(doubts(&[port(0.9, 0.9)]).is_empty());
}

#[test]
fn a_further_reading_is_named_only_where_it_tells() {
    let with = |flow: f64, volume: f64| Port {
        expected: Quantities { flow: LnValue::of(flow, 0.03), volume: LnValue::of(volume, 0.03), air: None },
        ..port(flow, flow)
    };
    let (quantity, apart) = would_tell(&with(1.0, 100.0), &with(1.02, 150.0)).unwrap();
    assert_eq!(quantity, Quantity::Volume);
    // ln 1.5 over the root of four times 3 % squared.
    assert!((apart - 0.405_465_108 / 0.06).abs() < 1e-6);
    assert!(would_tell(&with(1.0, 100.0), &with(1.5, 103.0)).is_none());
}

#[test]
fn an_open_hose_is_missing_or_its_circuit_hangs_elsewhere() {
    let open =
        |expected: f64| Port { passes: Passes::Gone, measured: Quantities::default(), ..port(1.0, expected) };
    let found = doubts(&[port(0.8, 0.8), open(0.6), port(1.0, 1.0)]);
    assert_eq!((found[0].slip, found[0].ports.as_slice()), (Slip::Missing, &[1][..]));
    let found = doubts(&[port(1.4, 0.8), open(0.6), port(1.0, 1.0)]);
    assert_eq!((found[0].slip, found[0].ports.as_slice()), (Slip::Doubled, &[0, 1][..]));
}

#[test]
fn a_partner_that_is_not_sure_is_one_of_several() {
    // Both others are fouled alike: either may be the one.
    let found = doubts(&[port(1.5, 0.5), port(0.5, 1.5), port(0.5, 1.5)]);
    assert!(!found[0].sure_of_all && found[0].ports == [0, 1, 2], "{found:?}");
}

#[test]
fn every_doubt_has_words_and_a_way_out() {
    for slip in [Slip::Exchanged, Slip::Missing, Slip::Doubled, Slip::Bridged, Slip::Reversed] {
        for sure_of_all in [true, false] {
            let doubt = Doubt { slip, ports: vec![0, 1], probability: 0.9, sure_of_all };
            let (text, way) = (doubt.text(&["F1", "F2"]), doubt.settled_by(&["F1", "F2"]));
            assert!(text.contains("F1") && text.ends_with('.') && way.contains("F1"), "{text} {way}");
        }
    }
}

#[test]
fn a_hook_up_without_ports_is_refused() {
    assert!(hook_up(&[], &SlipPrior::ORDINARY, 0.8).is_err());
}
