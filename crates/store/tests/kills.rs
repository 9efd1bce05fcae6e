//! A program that writes under load is killed at random moments; nothing that it acknowledged may be missing, nothing
//! may be half there, and the history must be whole.
//!
//! `cargo test -p store --test kills -- --kills 500` kills more often than the everyday run.

#![allow(clippy::unwrap_used, reason = "a test that cannot be set up fails")]

mod common;

use std::io::{BufRead as _, BufReader, Write as _};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use calc::trace::Trace;
use common::{Folder, at};
use store::audit::audit;
use store::shapes::{
    CircuitCard, DecayCard, HalfCard, MouldCard, NoteCard, ProcessWord, ReadingCard, RigCard, VisitCard,
    WhatCard,
};
use store::{Blob, Fact, Head, Store, Subject, Write};

/// Kills of an everyday run.
const KILLS: u64 = 30;
/// Kills after which a new record is begun, so that looking at all of it stays quick.
const KILLS_A_RECORD: u64 = 20;
const THREADS: u64 = 4;
const MOULD: &str = "M-1";

fn main() {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let number = |name: &str| {
        let at = arguments.iter().position(|argument| argument == name)?;
        arguments.get(at + 1)?.parse::<u64>().ok()
    };
    match arguments.first().map(String::as_str) {
        Some("write") => write_for_ever(Path::new(&arguments[1]), arguments[2].parse().unwrap()),
        // A name that `cargo test NAME` looks for and that is not here.
        Some(name) if !name.starts_with('-') && !"kills".contains(name) => println!("no test named {name}"),
        _ if arguments.iter().any(|argument| argument == "--list") => println!("kills: test"),
        _ => kill_often(number("--kills").unwrap_or(KILLS)),
    }
}

/// Numbers that look random and depend on the seed alone.
struct Numbers(u64);

impl Numbers {
    fn next(&mut self, below: u64) -> u64 {
        // SplitMix64 (Steele, Lea and Flood 2014, from memory).
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (mixed ^ (mixed >> 31)) % below
    }
}

fn key(run: u64, thread: u64, number: u64) -> String {
    format!("run-{run}-thread-{thread}-{number}")
}

/// The write of a key: one to five entries, some with a trace.
fn the_write(run: u64, thread: u64, number: u64) -> Write {
    let mut numbers = Numbers(run << 40 | thread << 32 | number);
    let mut write = Write::new(key(run, thread, number), at(number.cast_signed()), "kt");
    let visit = format!("V{thread}");
    for part in 0..=numbers.next(5) {
        if numbers.next(4) == 0 {
            let about = Subject::circuit(MOULD, "F1");
            write.say(Fact::Note(NoteCard {
                about,
                text: format!("note {part} of {}", key(run, thread, number)),
            }));
            continue;
        }
        let count = u32::try_from(20 + numbers.next(300)).unwrap();
        let trace = Trace {
            time_s: (0..count).map(|at| f64::from(at) / 10.0).collect(),
            pressure_bar_g: Some((0..count).map(|_| numbers.next(6000) as f64 / 1000.0).collect()),
            ..Trace::default()
        };
        let blob = Blob::new(store::trace_pack::pack(&trace));
        write.say(Fact::Reading(ReadingCard {
            mould: MOULD.to_owned(),
            visit: visit.clone(),
            place: u32::try_from(run * 10_000_000 + number * 10 + part).unwrap(),
            at: None,
            circuit: Some("F1".to_owned()),
            origin: String::new(),
            what: WhatCard::LeakDown {
                decay: DecayCard::Trace(blob.digest()),
                wall_temperature_deg_c: None,
                hold_s: 10.0,
            },
        }));
        write.bring([blob]);
    }
    write
}

/// Writes from several threads and says on standard output what is recorded, until killed.
fn write_for_ever(record: &Path, run: u64) {
    let store = Store::open(record).unwrap();
    std::thread::scope(|scope| {
        for thread in 0..THREADS {
            let store = &store;
            scope.spawn(move || {
                for number in 0.. {
                    let written = store.write(&the_write(run, thread, number)).unwrap();
                    let line = format!("{thread} {number} {} {}\n", written.first, written.head);
                    let mut out = std::io::stdout().lock();
                    out.write_all(line.as_bytes()).unwrap();
                    out.flush().unwrap();
                }
            });
        }
    });
}

/// Something that a killed program had acknowledged.
struct Acknowledged {
    run: u64,
    thread: u64,
    number: u64,
    first: u64,
    head: Head,
}

fn begin(record: &Path) {
    let store = common::opened(record);
    let mut write = Write::new("mould", at(1), "kt");
    let mould = MOULD.to_owned();
    write.say(Fact::Mould(MouldCard {
        mould: mould.clone(),
        name: "lid".to_owned(),
        process: ProcessWord::InjectionMoulding,
        owner: None,
    }));
    write.say(Fact::Half(HalfCard { mould: mould.clone(), half: "fixed".to_owned() }));
    write.say(Fact::Circuit(CircuitCard {
        mould: mould.clone(),
        circuit: "F1".to_owned(),
        place: 0,
        half: "fixed".to_owned(),
        serves: None,
        metals: Vec::new(),
        seals: Vec::new(),
        sisters: Vec::new(),
        neighbours: Vec::new(),
        rough_bore_mm: None,
        rough_length_mm: None,
    }));
    for thread in 0..THREADS {
        write.say(Fact::Visit(VisitCard {
            mould: mould.clone(),
            visit: format!("V{thread}"),
            started: at(2),
            by: "kt".to_owned(),
            rig: RigCard::of(&bench::visit::Rig::default()),
        }));
    }
    store.write(&write).unwrap();
}

fn start(record: &Path, run: u64) -> Child {
    Command::new(std::env::current_exe().unwrap())
        .arg("write")
        .arg(record)
        .arg(run.to_string())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap()
}

/// Kills the program and gives what it had said in whole lines by then.
fn kill(mut child: Child, run: u64) -> Vec<Acknowledged> {
    child.kill().unwrap();
    let out = BufReader::new(child.stdout.take().unwrap());
    let mut said = Vec::new();
    for line in out.split(b'\n') {
        let line = String::from_utf8(line.unwrap()).unwrap();
        let words: Vec<&str> = line.split(' ').collect();
        if let [thread, number, first, head] = words.as_slice()
            && let Some(head) = Head::parse(head)
        {
            let [thread, number, first] = [thread, number, first].map(|word| word.parse().unwrap());
            said.push(Acknowledged { run, thread, number, first, head });
        } else {
            // Only the line in which it died may be cut short.
            assert!(words.len() <= 4, "{line}");
        }
    }
    let status = child.wait().unwrap();
    assert!(!status.success(), "it was killed and did not end by itself");
    said
}

/// Everything acknowledged is there as it was said, and a write that comes again counts once.
fn nothing_is_missing(store: &Store, said: &[Acknowledged]) {
    for one in said {
        let (first, last) = store
            .read(|reader| Ok((reader.entry(one.first)?, reader.entry(one.head.number)?)))
            .unwrap_or_else(|error| panic!("{} is missing: {error}", key(one.run, one.thread, one.number)));
        let right = key(one.run, one.thread, one.number);
        assert_eq!((first.write_key.as_str(), last.write_key.as_str()), (right.as_str(), right.as_str()));
        assert_eq!((first.part, last.part, last.hash), (1, last.parts, one.head.hash));
    }
    if let Some(last) = said.last() {
        let again = store.write(&the_write(last.run, last.thread, last.number)).unwrap();
        assert!(again.repeated && again.head == last.head, "a doubled submit counts once");
        // The write in which it may have died: whoever sends it again finds it recorded, once.
        let next = the_write(last.run, last.thread, last.number + 1);
        let sent = store.write(&next).unwrap();
        let again = store.write(&next).unwrap();
        assert!(again.repeated && again.head == sent.head);
    }
}

fn kill_often(kills: u64) {
    let began = Instant::now();
    let mut numbers = Numbers(kills);
    let (mut acknowledged, mut silent, mut bytes, mut entries) = (0, 0, 0, 0);
    let mut killed = 0;
    while killed < kills {
        let folder = Folder::new();
        let record = folder.record();
        begin(&record);
        let mut said: Vec<Acknowledged> = Vec::new();
        for run in 0..KILLS_A_RECORD.min(kills - killed) {
            // Every third time two programs write to the same record.
            let children: Vec<(u64, Child)> = (0..=u64::from(run % 3 == 2))
                .map(|other| (2 * run + other, start(&record, 2 * run + other)))
                .collect();
            std::thread::sleep(Duration::from_millis(2 + numbers.next(400)));
            let before = said.len();
            for (run, child) in children {
                said.extend(kill(child, run));
            }
            silent += u64::from(said.len() == before);
            let store = Store::open(&record).unwrap();
            nothing_is_missing(&store, &said);
            let kept: Vec<Head> = said.iter().map(|one| one.head).collect();
            let seen = audit(&record, &kept).unwrap();
            assert_eq!(seen.first_break, None, "after kill {}", killed + 1);
            killed += 1;
            entries += if run + 1 == KILLS_A_RECORD { seen.entries } else { 0 };
        }
        acknowledged += said.len();
        bytes += std::fs::metadata(&record).unwrap().len();
    }
    assert!(acknowledged as u64 > kills, "it wrote under load: {acknowledged}");
    println!(
        "kills: {killed} kills, {acknowledged} acknowledged writes, none missing, none half there, every history \
         whole; {silent} kills before the first word; {entries} entries in full records, {:.1} MB, {:.0} s",
        bytes as f64 / 1e6,
        began.elapsed().as_secs_f64()
    );
}
