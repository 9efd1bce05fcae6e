//! A pulled plug, played by hand: the log of the database is cut or spoilt at any place after what was flushed, as a
//! disk may leave it. What had been acknowledged by then is there, nothing is half there, the history is whole.

#![allow(clippy::unwrap_used)]

mod common;

use std::path::{Path, PathBuf};

use common::{Folder, at, opened, simulated};
use store::audit::audit;
use store::shapes::NoteCard;
use store::{Fact, Head, Store, Subject, Write};

/// Places at which the log is cut.
const CUTS: u64 = 150;

fn beside(path: &Path, ending: &str) -> PathBuf {
    PathBuf::from(format!("{}{ending}", path.display()))
}

fn write(store: &Store, number: u32) -> Head {
    let mut write = Write::new(format!("write-{number}"), at(i64::from(number)), "kt");
    for part in 0..=(number % 4) {
        let text =
            format!("part {part} of {number}: {}", "words ".repeat(usize::try_from(number % 50).unwrap()));
        write.say(Fact::Note(NoteCard { about: Subject::person("kt"), text }));
    }
    store.write(&write).unwrap().head
}

#[test]
fn a_log_cut_or_spoilt_anywhere_leaves_everything_that_was_acknowledged_before() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    let (mould, _) = simulated(2);
    let taken = store.read(|reader| reader.take_in_mould(&mould)?.write(reader, at(1), "kt", None)).unwrap();
    store.write(&taken).unwrap();
    // Length of the log when each write was acknowledged: all of it had been flushed by then.
    let log = beside(&folder.record(), "-wal");
    let acknowledged: Vec<(u64, Head)> = (0..40)
        .map(|number| {
            let head = write(&store, number);
            (std::fs::metadata(&log).unwrap().len(), head)
        })
        .collect();
    let (database, bytes) = (std::fs::read(folder.record()).unwrap(), std::fs::read(&log).unwrap());
    drop(store);
    let first = acknowledged[0].0;
    let span = acknowledged.last().unwrap().0 - first;
    assert!(span > 100_000, "nothing was moved from the log meanwhile, and there is room to cut: {span}");
    let mut partial = 0;
    for at in 0..CUTS {
        // Steps that hit frames, their heads and their bodies at all kinds of places.
        let cut = first + (at * 7919 * 13 + at) % span;
        let crashed = Folder::new();
        std::fs::write(crashed.record(), &database).unwrap();
        let mut kept = bytes[..usize::try_from(cut).unwrap()].to_vec();
        match at % 3 {
            // The file is as long as it was, but its end never arrived.
            1 => kept.resize(bytes.len(), 0),
            // The last page that arrived is rubbish.
            2 => kept.extend(std::iter::repeat_n(0xA5, 3000)),
            _ => {}
        }
        std::fs::write(beside(&crashed.record(), "-wal"), kept).unwrap();
        let store = Store::open(&crashed.record()).unwrap();
        let head = store.read(|reader| reader.head()).unwrap();
        let must: Vec<Head> =
            acknowledged.iter().filter(|(length, _)| *length <= cut).map(|(_, head)| *head).collect();
        let seen = audit(&crashed.record(), &must).unwrap();
        assert_eq!(seen.first_break, None, "cut at {cut}");
        assert!(acknowledged.iter().any(|(_, known)| *known == head), "the end is the end of a write");
        assert_eq!(must.last(), Some(&head), "nothing more than was whole");
        partial += u64::from(must.len() < acknowledged.len());
        // And work goes on.
        write(&store, 1000);
        assert_eq!(audit(&crashed.record(), &must).unwrap().first_break, None);
    }
    assert!(partial > CUTS / 2, "{partial}");
}
