use super::*;
use proptest::prelude::*;

fn fresh() -> States {
    states_of(&Prior::default(), false)
}

fn sum(states: &States) -> f64 {
    states.iter().sum()
}

fn found(states: States) -> Found {
    Found { states, before: None, thickness_mm: None }
}

fn deposit() -> Found {
    Found { thickness_mm: Some(Uncertain::new(0.5, 0.05)), ..found([0.05, 0.80, 0.02, 0.10, 0.01, 0.02]) }
}

fn day(days_ago: f64, found: Option<Found>, done: &[Done]) -> Earlier {
    Earlier { days_ago, found, done: done.to_vec() }
}

#[test]
fn rates_give_the_odds_of_any_circuit_after_a_year() {
    let mut new = [0.0; STATES];
    new[AS_NEW] = 1.0;
    let year = carried(&new, &changes(), DAYS_OF_YEAR).unwrap();
    for (after, fresh) in year.iter().zip(fresh()) {
        assert!((after - fresh).abs() < 0.02, "{year:?}");
    }
}

#[test]
fn no_past_is_no_past() {
    let past = past(&[], &fresh(), &[]).unwrap();
    assert!(past.expected.iter().zip(fresh()).all(|(expected, fresh)| (expected - fresh).abs() < 1e-15));
    assert!((past.fresh_share - 1.0).abs() < 1e-12 && past.layer_ln_mm.is_none());
}

#[test]
fn a_deposit_stays_and_grows_until_it_is_taken_away() {
    let left = past(&[day(180.0, Some(deposit()), &[])], &fresh(), &[]).unwrap();
    assert!(left.expected[EVEN] > 1.8 * fresh()[EVEN], "{left:?}");
    assert!(left.expected[AS_NEW] < 0.6 * fresh()[AS_NEW], "{left:?}");
    let (middle, _) = left.layer_ln_mm.unwrap();
    assert!(math::exp(middle) > 0.5 && math::exp(middle) < 0.7);
    let taken = past(&[day(180.0, Some(deposit()), &[Done::Descaled])], &fresh(), &[]).unwrap();
    assert!(taken.expected[EVEN] < left.expected[EVEN] / 1.5 && taken.layer_ln_mm.is_none(), "{taken:?}");
    assert!(taken.expected[EVEN] > 0.05, "not surely all: {taken:?}");
    let today = past(&[day(180.0, Some(deposit()), &[])], &fresh(), &[Done::Descaled]).unwrap();
    assert!(today.expected[AS_NEW] > taken.expected[AS_NEW] && today.layer_ln_mm.is_none());
}

#[test]
fn a_finding_that_only_repeats_its_own_prior_says_nothing() {
    let same = Found {
        before: Some([0.1, 0.7, 0.05, 0.05, 0.05, 0.05]),
        ..found([0.1, 0.7, 0.05, 0.05, 0.05, 0.05])
    };
    let days = [day(0.0, Some(same), &[])];
    let past = past(&days, &fresh(), &[]).unwrap();
    for (expected, fresh) in past.expected.iter().zip(fresh()) {
        assert!((expected - fresh).abs() < 0.01, "{past:?}");
    }
}

#[test]
fn the_order_of_the_list_does_not_matter() {
    let (first, then) = (day(700.0, Some(deposit()), &[Done::Descaled]), day(90.0, Some(deposit()), &[]));
    let one = past(&[first.clone(), then.clone()], &fresh(), &[]).unwrap();
    assert_eq!(one, past(&[then, first], &fresh(), &[]).unwrap());
}

#[test]
fn faults_are_named_with_their_place() {
    let wrong = day(f64::NAN, None, &[]);
    assert!(matches!(
        past(&[day(1.0, None, &[]), wrong], &fresh(), &[]),
        Err(HistoryError::Earlier { place: 1, error: UpdateError::Days { .. } })
    ));
    let nothing = day(1.0, Some(found([0.0; STATES])), &[]);
    assert!(matches!(past(&[nothing], &fresh(), &[]), Err(HistoryError::Earlier { place: 0, .. })));
    assert!(matches!(past(&[], &[-1.0; STATES], &[]), Err(HistoryError::Fresh(_))));
}

#[test]
fn states_left_out_share_what_is_left() {
    let named = [None, Some(0.8), None, None, None, None];
    let all = completed(&named, &fresh()).unwrap();
    assert!((sum(&all) - 1.0).abs() < 1e-12 && (all[EVEN] - 0.8).abs() < 1e-12);
    assert!((all[AS_NEW] / all[PLUG] - fresh()[AS_NEW] / fresh()[PLUG]).abs() < 1e-9);
    assert!(completed(&[Some(0.7), Some(0.7), None, None, None, None], &fresh()).is_none());
    assert!(completed(&[Some(0.1); STATES], &fresh()).is_none());
    assert!(completed(&[Some(-0.1), None, None, None, None, None], &fresh()).is_none());
}

#[test]
fn a_prior_without_past_stays_the_same() {
    for split in [false, true] {
        let fresh = Prior::default();
        let nothing = past(&[], &states_of(&fresh, split), &[]).unwrap();
        let same = prior_of(&nothing, split, &fresh);
        assert!((sum(&states_of(&fresh, split)) - 1.0).abs() < 1e-12);
        let plugged = same
            .branch_shares
            .map_or(0.0, |[plug, mixed]| same.classes[PLUG] * plug + same.classes[MIXED] * mixed);
        let any = if split { fresh.plugged_branch * (0.57 + 0.205) / 0.99 } else { 0.0 };
        assert!((plugged - any).abs() < 1e-9, "{plugged} {any}");
    }
}

fn any_states() -> impl Strategy<Value = States> {
    prop::array::uniform6(0.0..1.0_f64).prop_filter("something", |states| sum(states) > 1e-3)
}

fn any_day() -> impl Strategy<Value = Earlier> {
    let done = prop::collection::vec(prop::sample::select(Done::ALL.to_vec()), 0..3);
    let thickness = prop::option::of((0.0..3.0_f64, 0.001..1.0_f64));
    let found = prop::option::of((any_states(), prop::option::of(any_states()), thickness));
    (0.0..10_000.0_f64, found, done).prop_map(|(days_ago, found, done)| Earlier {
        days_ago,
        found: found.map(|(states, before, thickness)| Found {
            states,
            before,
            thickness_mm: thickness.map(|(value, standard)| Uncertain::new(value, standard)),
        }),
        done,
    })
}

proptest! {
    /// Whatever the past: probabilities, none of which is shut out, and a share that cannot be locked.
    #[test]
    fn no_past_locks_the_judgement(days in prop::collection::vec(any_day(), 0..6), fresh in any_states()) {
        let past = past(&days, &fresh, &[]).unwrap();
        prop_assert!((sum(&past.expected) - 1.0).abs() < 1e-9);
        prop_assert!((sum(&past.believed) - 1.0).abs() < 1e-9);
        prop_assert!(past.layer_ln_mm.is_none_or(|(mean, sd)| mean.is_finite() && sd.is_finite() && sd > 0.0));
        // Work moves any circuit's share as well, so the bound on findings is looked at without it.
        let found: Vec<Earlier> = days.iter().map(|day| Earlier { done: vec![], ..day.clone() }).collect();
        let past = super::past(&found, &fresh, &[]).unwrap();
        prop_assert!(past.fresh_share > DOUBTED - 1e-9 && past.fresh_share <= 1.0 + 1e-9);
        let total = sum(&fresh);
        for (expected, fresh) in past.expected.iter().zip(fresh) {
            prop_assert!(*expected >= DOUBTED * fresh / total - 1e-9, "{past:?}");
        }
    }
}
