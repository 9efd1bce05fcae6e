use super::*;

const AIR: AbsolutePressure = AbsolutePressure::from_bar(1.0);

fn point(bar_g: f64, rate: f64, standard: f64) -> Point {
    Point { pressure: GaugePressure::from_bar(bar_g), rate_mbar_l_s: Uncertain::new(rate, standard) }
}

fn weighed(points: &[Point]) -> LeakKind {
    leak_kind(&LeakKindInput {
        points,
        volume_uncertainty_relative: 0.05,
        atmosphere: AIR,
        water_pressure: GaugePressure::from_bar(6.0),
        highest: GaugePressure::from_bar(6.0),
    })
    .unwrap()
}

fn of(answer: &LeakKind, kind: Kind) -> f64 {
    answer.probabilities.iter().find(|(known, _)| *known == kind).unwrap().1
}

#[test]
fn published_ratios_of_crack_and_choked_hole() {
    // Closed forms computed apart from this code: 6 against 3 bar gauge at 1 bar: (49-1)/(16-1) = 3.2 for a laminar
    // crack and 7/4 = 1.75 for a choked hole (EN 1779, from memory).
    let answer = weighed(&[point(6.0, 0.32, 0.003), point(3.0, 0.10, 0.003)]);
    let ratio = answer.ratio.unwrap();
    let [crack, hole, seat, opening] = ratio.by_kind.map(|(_, low, high)| (low, high));
    assert!((crack.0 - 3.2).abs() < 1e-12 && (hole.0 - 1.75).abs() < 1e-12);
    assert!(seat.1 < hole.0 && seat.0 < seat.1 && opening.0 > crack.0 && opening.0 < opening.1);
    assert!((ratio.value.unwrap().value - 3.2).abs() < 1e-9);
    assert_eq!(answer.kind, Some(Kind::LaminarCrack));
}

#[test]
fn each_kind_is_found_when_the_rates_are_sure() {
    for (kind, rate_at_3) in [
        (Kind::LaminarCrack, 1.0 / 3.2),
        (Kind::Orifice, 1.0 / 1.75),
        (Kind::SealingSeat, 2.0),
        (Kind::OpeningCrack, 1.0 / 12.0),
    ] {
        let answer = weighed(&[point(6.0, 1.0, 0.01), point(3.0, rate_at_3, 0.004)]);
        assert_eq!(answer.kind, Some(kind), "{:?}", answer.probabilities);
    }
}

#[test]
fn one_pressure_leaves_the_kinds_as_they_were() {
    let answer = weighed(&[point(6.0, 0.5, 0.02)]);
    for (kind, probability) in answer.probabilities {
        assert!((probability - kind.prior()).abs() < 1e-3, "{kind:?} {probability}");
    }
    assert!(answer.kind.is_none() && answer.ratio.is_none());
    let next = answer.next.unwrap();
    assert!(next.pressure.bar() < 4.0 && next.information_bits > 0.5, "{next:?}");
}

#[test]
fn coarse_rates_do_not_tell() {
    let answer = weighed(&[point(6.0, 0.5, 0.2), point(4.5, 0.3, 0.2)]);
    assert!(answer.kind.is_none());
    assert!(of(&answer, Kind::LaminarCrack) < 0.7);
    assert!(answer.ratio.unwrap().value.is_none());
    assert!(answer.next.is_some());
}

#[test]
fn identity_a_common_factor_changes_no_probability() {
    // The volume multiplies every rate: the kinds must not notice.
    let plain = weighed(&[point(6.0, 0.50, 0.02), point(3.0, 0.20, 0.02)]);
    let scaled = weighed(&[point(6.0, 0.75, 0.03), point(3.0, 0.30, 0.03)]);
    for kind in Kind::ALL {
        assert!((of(&plain, kind) - of(&scaled, kind)).abs() < 1e-3);
    }
}

#[test]
fn what_fits_no_kind_is_said() {
    // Between hole and crack: both are ten standard uncertainties away.
    let answer = weighed(&[point(6.0, 1.0, 0.002), point(3.0, 1.0 / 2.3, 0.001)]);
    assert!(answer.fits_none && answer.kind.is_none());
}

#[test]
fn the_least_share_is_below_every_kind() {
    for bar_g in [1.0, 3.0, 4.0, 5.5, 6.0, 7.0, 10.0] {
        let least = least_share(GaugePressure::from_bar(bar_g), AIR);
        for law in Kind::ALL.iter().flat_map(|kind| kind.laws()) {
            assert!(least <= law.share(bar_g, 1.0) + 1e-12, "{bar_g} {law:?}");
        }
    }
    // At 4 bar: laminar 24/48, opening (4/6)^3.
    let four = least_share(GaugePressure::from_bar(4.0), AIR);
    assert!((four - 0.5 * 8.0 / 27.0).abs() < 1e-12, "{four}");
    assert!((least_share(GaugePressure::from_bar(6.0), AIR) - 1.0).abs() < 1e-12);
}

#[test]
fn refuses_what_is_no_reading() {
    let input = LeakKindInput {
        points: &[],
        volume_uncertainty_relative: 0.0,
        atmosphere: AIR,
        water_pressure: GaugePressure::from_bar(6.0),
        highest: GaugePressure::from_bar(6.0),
    };
    assert_eq!(leak_kind(&input), Err(LeakKindError::NoPoint));
    let low = [point(0.2, 0.1, 0.01)];
    assert!(leak_kind(&LeakKindInput { points: &low, ..input }).is_err());
}
