//! A further visit to the same mould: the steel stays, faults grow, work takes them away.

use std::collections::BTreeMap;

use bench::finding::BoreState;
use bench::mould::Done;
use link::{Invention, later_plan, random_plan, simulate, simulate_day};

#[test]
fn the_steel_stays_and_the_day_is_another() {
    let plan = random_plan(41, &Invention { circuits: (4, 6), ..Invention::default() });
    let (first, again) = (simulate(&plan, 41).unwrap(), simulate_day(&plan, 41, 42).unwrap());
    assert_eq!(first.mould, again.mould);
    for (then, now) in first.truth.circuits.iter().zip(&again.truth.circuits) {
        assert_eq!(then, now);
    }
    assert_ne!(first.truth.rig.instruments, again.truth.rig.instruments);
    assert_eq!(simulate_day(&plan, 41, 41).unwrap(), first);
}

#[test]
fn nothing_goes_away_by_itself_and_work_does_most() {
    let options = Invention { circuits: (4, 8), fouled: 0.8, ..Invention::default() };
    let (mut layers, mut left_alone, mut descaled) = (0, 0, 0);
    for seed in 500..560 {
        let plan = random_plan(seed, &options);
        let all = plan.circuits.iter().map(|circuit| (circuit.id.clone(), vec![Done::Descaled])).collect();
        let alone = later_plan(&plan, 200, &BTreeMap::new(), &options, seed + 10_000);
        let worked = later_plan(&plan, 0, &all, &options, seed + 10_000);
        let states = |plan| {
            let played = simulate_day(plan, seed, seed + 10_000).ok()?;
            Some(played.truth.circuits.iter().map(|circuit| circuit.state).collect::<Vec<_>>())
        };
        let (Some(before), Some(after), Some(clean)) = (states(&plan), states(&alone), states(&worked))
        else {
            continue;
        };
        assert_eq!(alone.visit.started.as_second() - plan.visit.started.as_second(), 200 * 86_400);
        for ((before, after), clean) in before.iter().zip(after).zip(clean) {
            if *before != BoreState::AsNew {
                assert_ne!(after, BoreState::AsNew);
            }
            if *before == BoreState::EvenDeposit {
                layers += 1;
                left_alone += u32::from(after == BoreState::EvenDeposit || after == BoreState::Mixed);
                descaled += u32::from(clean == BoreState::AsNew);
            }
        }
    }
    assert!(layers > 50, "{layers}");
    assert_eq!(left_alone, layers);
    // Three of four, with room for four standard errors at 50.
    assert!((f64::from(descaled) / f64::from(layers) - 0.75).abs() < 0.25, "{descaled} of {layers}");
}
