//! What is known now is what the history gives, whichever way it is reached.

#![allow(clippy::unwrap_used)]

mod common;

use common::{Folder, at, opened, simulated, take_in, whole};
use store::read::fold;
use store::shapes::{NoteCard, WithdrawalCard};
use store::{AsOf, Fact, Store, Subject, Write};

/// A record with versions, corrections and withdrawals.
fn lived_in(folder: &Folder) -> Store {
    let store = opened(&folder.record());
    for seed in 20..26 {
        let (mut mould, mut visit) = simulated(seed);
        mould.id.0 = format!("L-{seed}");
        visit.mould = mould.id.clone();
        take_in(&store, &mould, &visit, None);
        mould.name.push_str(", two cavities");
        mould.circuits[0].pieces.pop();
        take_in(&store, &mould, &visit, (seed % 2 == 0).then_some("measured anew"));
    }
    let about = Subject::mould("L-20");
    let mut write = Write::new("said and unsaid", at(700), "kt");
    write.say(Fact::Note(NoteCard { about: about.clone(), text: "rusty".to_owned() }));
    let first = store.write(&write).unwrap().first;
    let mut write = Write::new("unsaid", at(701), "kt");
    write.correct(first, Fact::Withdrawal(WithdrawalCard { about }), "the neighbour's");
    let circuit = store.read(|reader| Ok(reader.circuits("L-21")?.remove(0).id)).unwrap();
    let about = Subject::circuit("L-21", &circuit);
    let items = store.read(|reader| reader.items(&about, AsOf::Now)).unwrap();
    let card = items.iter().find(|item| item.fact.kind() == "circuit").unwrap();
    write.correct(card.entry.number, Fact::Withdrawal(WithdrawalCard { about }), "plugged for good");
    store.write(&write).unwrap();
    store
}

#[test]
fn a_rebuilt_state_equals_the_one_that_grew() {
    let folder = Folder::new();
    let store = lived_in(&folder);
    let grown = store.read(|reader| reader.tables()).unwrap();
    store.rebuild().unwrap();
    let rebuilt = store.read(|reader| reader.tables()).unwrap();
    assert_eq!(grown, rebuilt);
    assert!(grown.iter().map(|table| table.rows.len()).sum::<usize>() > 200);
    whole(&folder.record());
}

#[test]
fn folding_the_history_gives_the_same_items_as_the_state() {
    let folder = Folder::new();
    let store = lived_in(&folder);
    let (entries, tables) =
        store.read(|reader| Ok((reader.entries_after(0, u32::MAX)?, reader.tables()?))).unwrap();
    let folded: Vec<Vec<String>> = fold(entries)
        .unwrap()
        .into_iter()
        .map(|item| {
            vec![
                item.root.to_string(),
                item.entry.kind,
                item.entry.subject,
                item.entry.number.to_string(),
                item.versions.to_string(),
                item.withdrawn.map(|number| number.to_string()).unwrap_or_default(),
            ]
        })
        .collect();
    let state = tables.iter().find(|table| table.name == "item").unwrap();
    assert_eq!(folded, state.rows);
    assert!(state.rows.iter().any(|row| !row[5].is_empty()));
}

#[test]
fn what_was_known_at_any_entry_is_what_a_record_that_ended_there_knows() {
    let folder = Folder::new();
    let store = lived_in(&folder);
    let entries = store.read(|reader| reader.entries_after(0, u32::MAX)).unwrap();
    let ends: Vec<u64> =
        entries.iter().filter(|entry| entry.part == entry.parts).map(|entry| entry.number).collect();
    for end in ends.iter().copied().filter(|end| *end > 2) {
        let moulds = store.read(|reader| {
            let then: Vec<_> = reader.moulds()?.into_iter().map(|row| row.id).collect();
            Ok(then.iter().filter_map(|id| reader.mould(id, AsOf::Entry(end)).ok()).collect::<Vec<_>>())
        });
        // The same record cut off there, as a second record that took in the same entries.
        let items = fold(entries.iter().filter(|entry| entry.number <= end).cloned()).unwrap();
        let names: Vec<String> = items
            .iter()
            .filter_map(|item| match &item.fact {
                Fact::Mould(card) => Some(card.name.clone()),
                _ => None,
            })
            .collect();
        let then: Vec<String> = moulds.unwrap().into_iter().map(|mould| mould.name).collect();
        assert_eq!(then, names, "as of entry {end}");
    }
}

#[test]
fn a_withdrawn_circuit_is_out_of_the_mould_and_stays_in_the_history() {
    let folder = Folder::new();
    let store = lived_in(&folder);
    let (_, visit) = simulated(21);
    store
        .read(|reader| {
            let (now, end) = (reader.mould("L-21", AsOf::Now)?, reader.head()?.number);
            let before = reader.mould("L-21", AsOf::Entry(end - 2))?;
            assert_eq!(now.circuits.len() + 1, before.circuits.len());
            assert_eq!(reader.circuits("L-21")?.len(), now.circuits.len());
            reader.visit("L-21", &visit.id, AsOf::Now).map(drop)
        })
        .unwrap();
}
