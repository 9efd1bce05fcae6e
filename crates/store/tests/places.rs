//! Halves with openings, marks, hook-ups by stage, leaks and photos: what they need, and what a file cannot take away.

#![allow(clippy::unwrap_used)]

mod common;

use std::collections::BTreeMap;

use common::{Folder, at, opened, simulated, take_in, whole};
use store::shapes::{
    FoundWord, HalfCard2, HookUpCard2, KnownWord, LeakCard, LeakCauseWord, MarksCard, OnPortCard, PhotoCard2,
    PortCard2, ShowsWord, SpotCard,
};
use store::{AsOf, Blob, Fact, Store, StoreError, Subject, Write};

fn say(store: &Store, key: &str, facts: Vec<Fact>, blobs: Vec<Blob>) -> Result<u64, StoreError> {
    let mut write = Write::new(key, at(900), "kt");
    for fact in facts {
        write.say(fact);
    }
    write.bring(blobs);
    store.write(&write).map(|written| written.first)
}

#[test]
fn places_need_what_they_speak_of_and_the_state_can_be_made_anew() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    let (mould, visit) = simulated(31);
    take_in(&store, &mould, &visit, None);
    let (id, circuit, half) =
        (mould.id.0.clone(), mould.circuits[0].id.0.clone(), mould.circuits[0].half.clone());
    let leak = |circuit: &str, half: &str, tight_by: Option<u64>| {
        Fact::Leak(LeakCard {
            mould: id.clone(),
            visit: visit.id.clone(),
            circuit: circuit.to_owned(),
            shows: ShowsWord::Outside,
            place: "below".into(),
            spot: Some(SpotCard { half: half.to_owned(), x_mm: 1.5, y_mm: 2.0 }),
            cause: LeakCauseWord::GlandPitted,
            done: None,
            tight_by,
        })
    };
    for (wrong, what) in [
        (leak("nothing", &half, None), "circuit"),
        (leak(&circuit, "nowhere", None), "half"),
        (leak(&circuit, &half, Some(1)), "reading"),
    ] {
        let refused = say(&store, what, vec![wrong], vec![]).unwrap_err();
        assert!(matches!(refused, StoreError::Unknown { what: found, .. } if found == what), "{refused}");
    }
    let root = say(&store, "leak", vec![leak(&circuit, &half, None)], vec![]).unwrap();
    let photo = |shows: Option<u64>, blob: &Blob| {
        Fact::Photo2(PhotoCard2 {
            about: Subject::visit(&id, &visit.id),
            shows,
            picture: blob.digest(),
            media_type: "image/png".into(),
            caption: "a plug".into(),
            taken_out: vec!["Exif".into()],
        })
    };
    let blob = Blob::new(b"picture".to_vec());
    assert!(say(&store, "no leak", vec![photo(Some(root + 1), &blob)], vec![blob.clone()]).is_err());
    say(&store, "photo", vec![photo(Some(root), &blob)], vec![blob]).unwrap();
    let marks = MarksCard {
        mould: id.clone(),
        circuit: circuit.clone(),
        found: Some(FoundWord::Blown),
        inlet: Some("1".into()),
        outlet: None,
        known: BTreeMap::from([("metals".into(), KnownWord::Guessed)]),
    };
    say(&store, "marks", vec![Fact::Marks(marks.clone())], vec![]).unwrap();
    assert!(
        say(&store, "no marks", vec![Fact::Marks(MarksCard { circuit: "x".into(), ..marks })], vec![])
            .is_err()
    );
    let leaks = store.read(|reader| reader.leaks(&id, AsOf::Now)).unwrap();
    assert_eq!(leaks.iter().map(|item| item.root).collect::<Vec<_>>(), [root]);
    let grown = store.read(|reader| reader.tables()).unwrap();
    store.rebuild().unwrap();
    assert_eq!(store.read(|reader| reader.tables()).unwrap(), grown);
    whole(&folder.record());
}

#[test]
fn a_file_takes_away_neither_openings_nor_jumpers() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    let (mould, visit) = simulated(32);
    take_in(&store, &mould, &visit, None);
    let (id, half) = (mould.id.0.clone(), mould.circuits[0].half.clone());
    let counted = HalfCard2 { mould: id.clone(), half, openings: Some(12), known: KnownWord::Measured };
    let mut ports: Vec<PortCard2> = visit
        .hook_ups
        .iter()
        .map(|on| PortCard2 {
            stage: 1,
            port: on.port,
            circuits: vec![OnPortCard { circuit: on.circuit.0.clone(), reversed: false }],
        })
        .collect();
    // One more stage with a jumper: it stands for no circuit alone, so that the file's list is still the same.
    let two: Vec<OnPortCard> = mould
        .circuits
        .iter()
        .take(2)
        .map(|circuit| OnPortCard { circuit: circuit.id.0.clone(), reversed: true })
        .collect();
    ports.push(PortCard2 { stage: 2, port: 1, circuits: two });
    let card = HookUpCard2 { mould: id.clone(), visit: visit.id.clone(), ports };
    assert_eq!(card.alone(), visit.hook_ups);
    say(&store, "pages", vec![Fact::Half2(counted.clone()), Fact::HookUp2(card.clone())], vec![]).unwrap();
    let (now, taken) = store
        .read(|reader| {
            let mut taken = reader.take_in_mould(&mould)?;
            taken.and(reader.take_in_visit(&visit)?);
            Ok((reader.visit(&id, &visit.id, AsOf::Now)?, taken))
        })
        .unwrap();
    assert_eq!(now.hook_ups, visit.hook_ups);
    assert!(taken.is_nothing() && taken.outdated.is_empty(), "{taken:?}");
    let inputs = |store: &Store| store.read(|reader| reader.inputs_of(&id, &visit.id, AsOf::Now)).unwrap();
    let before = inputs(&store);
    let fewer = HookUpCard2 { ports: card.ports[1..].to_vec(), ..card };
    say(&store, "moved", vec![Fact::HookUp2(fewer)], vec![]).unwrap();
    assert_ne!(inputs(&store), before, "a finding rests on the hook-up");
    let another = store.read(|reader| reader.take_in_visit(&visit)).unwrap();
    assert!(another.wants_reason().count() + another.outdated.len() == 1);
}
