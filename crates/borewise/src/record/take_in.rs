//! `borewise record`: takes files into the record, and shows what it would do before it does it.

use std::path::{Path, PathBuf};

use exchange::mould_list::{Choice, Wishes};
use exchange::{FileFault, FileFaults};
use serde_json::{Value as Json, json};
use store::shapes::{Person, Role};
use store::take_in::Taken;
use store::{AsOf, Fact, Item, Session, Store, StoreError, Write, Written};

use super::findings::{self, Stop};
use super::sources::{self, Read, What};
use super::{TakeIn, failed, list};
use crate::output::{Failure, Verdict, print};

/// What became of one file.
struct Done {
    file: String,
    about: String,
    taken: Taken,
    written: Option<Written>,
    /// Mould and visit, where it holds one.
    visit: Option<(String, String)>,
    started: Option<jiff::Timestamp>,
    finding: Option<String>,
}

/// Takes files in.
pub fn run(wish: &TakeIn) -> Result<Verdict, Failure> {
    let wishes = wishes(wish)?;
    let reads = sources::read(&wish.files, &wishes)?;
    lists_are_sound(&reads)?;
    let person = person(wish.by.as_deref())?;
    let record = wish.place.file();
    let store = if wish.dry_run && !record.exists() {
        None
    } else if wish.dry_run {
        Some(Store::open(&record).map_err(|error| failed(&record, &error))?)
    } else {
        Some(Store::open_or_create(&record).map_err(|error| failed(&record, &error))?)
    };
    let work = |session: &Session<'_>| all(session, &reads, wish.reason.as_deref(), &person);
    let ended = match &store {
        None => Store::rehearse_anew(work),
        Some(store) if wish.dry_run => store.rehearse(work),
        Some(store) => store.together(work),
    };
    let mut done = ended.map_err(|trouble| in_record(&record, trouble))?;
    if let Some(store) = store.filter(|_| !wish.dry_run && !wish.without_findings) {
        judge(&store, &mut done, &person).map_err(|stop| stopped(&record, stop))?;
    }
    if wish.json {
        print(&format!("{:#}", document(&reads, &done, wish.dry_run)))?;
    } else {
        print(&words(&reads, &done, wish.dry_run))?;
    }
    Ok(Verdict::Done)
}

/// Takes files and folders into a record for somebody, judges the visits, and says nothing.
///
/// # Errors
/// Everything that is wrong with the files, or what the record says.
pub fn quietly(record: &Path, files: &[PathBuf], person: &str) -> Result<Store, Failure> {
    let reads = sources::read(files, &Wishes { choices: Vec::new(), sheet: None })?;
    let store = Store::open_or_create(record).map_err(|error| failed(record, &error))?;
    let ended = store.together(|session: &Session<'_>| all(session, &reads, None, person));
    let mut done = ended.map_err(|trouble| in_record(record, trouble))?;
    judge(&store, &mut done, person).map_err(|stop| stopped(record, stop))?;
    Ok(store)
}

fn in_record(record: &Path, trouble: Trouble) -> Failure {
    match trouble {
        Trouble::Store(error) => failed(record, &error),
        Trouble::Faults(faults) => Failure::files(&FileFaults(faults)),
    }
}

fn stopped(record: &Path, stop: Stop) -> Failure {
    match stop {
        Stop::Store(error) => failed(record, &error),
        Stop::Tables(failure) => failure,
    }
}

fn wishes(wish: &TakeIn) -> Result<Wishes, Failure> {
    let (mut choices, mut faults) = (Vec::new(), Vec::new());
    for text in &wish.column {
        match Choice::parse(text) {
            Ok(choice) => choices.push(choice),
            Err(problem) => faults.push(FileFault::of_file("--column", problem, "")),
        }
    }
    if faults.is_empty() {
        Ok(Wishes { choices, sheet: wish.sheet.clone() })
    } else {
        Err(Failure::files(&FileFaults(faults)))
    }
}

/// Who records, where nobody is named: the user of the computer.
pub fn person(by: Option<&str>) -> Result<String, Failure> {
    let named = by.map(str::to_owned).or_else(|| {
        ["USER", "LOGNAME", "USERNAME"]
            .iter()
            .find_map(|name| std::env::var(name).ok())
            .filter(|name| !name.is_empty())
    });
    named.ok_or_else(|| {
        let hint = "say who records: --by NAME";
        Failure::input(&calc::form::Fault::new("by", "nobody is named", hint))
    })
}

/// Spreadsheets with faults: what was understood of them is shown with the faults.
fn lists_are_sound(reads: &[Read]) -> Result<(), Failure> {
    let mut faults = Vec::new();
    let mut understood = Vec::new();
    let mut shown = Vec::new();
    for read in reads {
        if let What::List(list) = &read.what
            && !list.faults.is_empty()
        {
            faults.extend(list.faults.iter().cloned());
            understood.push(json!({"file": read.file, "understood": list::document(list)}));
            if !list.columns.is_empty() {
                shown.push(format!("{}: understood as", read.file));
                shown.extend(list::words(list));
            }
        }
    }
    if faults.is_empty() {
        return Ok(());
    }
    shown.extend(faults.iter().map(ToString::to_string));
    let mut document = exchange::json::file_errors(&FileFaults(faults));
    if let Some(fields) = document.as_object_mut() {
        fields.insert("lists".to_owned(), Json::Array(understood));
    }
    Err(Failure::calculator(shown.join("\n"), document))
}

/// Why nothing was taken in.
enum Trouble {
    Store(StoreError),
    Faults(Vec<FileFault>),
}

impl From<StoreError> for Trouble {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

/// Takes everything in, one write a file; nothing at all if something cannot be.
fn all(
    session: &Session<'_>,
    reads: &[Read],
    reason: Option<&str>,
    person: &str,
) -> Result<Vec<Done>, Trouble> {
    introduce(session, person)?;
    let mut done = Vec::new();
    let mut faults = Vec::new();
    for read in reads {
        let (about, taken, visit) = compared(session, read)?;
        let wanting: Vec<&Item> = if reason.is_none() { taken.wants_reason().collect() } else { Vec::new() };
        faults.extend(wanting.iter().map(|item| {
            let problem = format!("{} is otherwise on record", named(item));
            let hint = "if this is another visit, give its file another name; if the record is wrong, say why: \
                        --reason TEXT (the old entry stays in the history)";
            FileFault::of_file(&read.file, problem, hint)
        }));
        let written = if taken.is_nothing() || !wanting.is_empty() {
            None
        } else {
            let write = taken.write(&session.reader(), jiff::Timestamp::now(), person, reason)?;
            Some(session.write(&write)?)
        };
        let started = match &read.what {
            What::Visit(_, visit) => Some(visit.started),
            _ => None,
        };
        done.push(Done { file: read.file.clone(), about, taken, written, visit, started, finding: None });
    }
    if faults.is_empty() { Ok(done) } else { Err(Trouble::Faults(faults)) }
}

/// Puts somebody on record who is not; the first one may do everything at the bench.
fn introduce(session: &Session<'_>, person: &str) -> Result<(), StoreError> {
    let people = session.reader().people()?;
    if people.iter().any(|known| known.id == person) {
        return Ok(());
    }
    let role = if people.is_empty() { Role::Administrator } else { Role::Technician };
    let mut write = Write::new(format!("person-{person}"), jiff::Timestamp::now(), person);
    write.say(Fact::Person(Person { id: person.to_owned(), name: person.to_owned(), role, active: true }));
    session.write(&write).map(drop)
}

type Compared = (String, Taken, Option<(String, String)>);

fn compared(session: &Session<'_>, read: &Read) -> Result<Compared, StoreError> {
    let reader = session.reader();
    Ok(match &read.what {
        What::Mould(mould) => {
            let about = format!("mould {}, {}", mould.id, counted(mould.circuits.len(), "circuit"));
            (about, reader.take_in_mould(mould)?, None)
        }
        What::Visit(mould, visit) => {
            let mut taken = reader.take_in_mould(mould)?;
            taken.and(reader.take_in_visit(visit)?);
            let about = format!("visit {} of mould {}", visit.id, mould.id);
            (about, taken, Some((mould.id.0.clone(), visit.id.clone())))
        }
        What::Rig(rig) => {
            let about = format!("rig {}", rig.name.as_deref().unwrap_or_default());
            (about, reader.take_in_rig(rig)?, None)
        }
        What::Table(table) => {
            (format!("{} of the plant", table.kind()), reader.take_in_table(table.clone())?, None)
        }
        What::List(list) => {
            let mut taken = Taken::default();
            for mould in &list.moulds {
                let known = match reader.mould(&mould.id.0, AsOf::Now) {
                    Ok(known) => Some(known),
                    Err(StoreError::Unknown { .. }) => None,
                    Err(error) => return Err(error),
                };
                taken.and(reader.take_in_mould(&list::added_to(known, mould, &list.columns))?);
            }
            let circuits: usize = list.moulds.iter().map(|mould| mould.circuits.len()).sum();
            let about = format!("{}, {}", counted(list.moulds.len(), "mould"), counted(circuits, "circuit"));
            (about, taken, None)
        }
    })
}

fn counted(number: usize, what: &str) -> String {
    format!("{number} {what}{}", if number == 1 { "" } else { "s" })
}

/// Judges the visits, each from the record as it now stands.
fn judge(store: &Store, done: &mut [Done], person: &str) -> Result<(), Stop> {
    // What an earlier visit found is the past of a later one.
    let mut order: Vec<&mut Done> = done.iter_mut().collect();
    order.sort_by_key(|one| one.started);
    for one in order {
        let Some((mould, visit)) = &one.visit else { continue };
        let mut outcome = Ok(None);
        store.read(|reader| {
            outcome = findings::write(reader, mould, visit, person);
            Ok(())
        })?;
        if let Some((write, sentence)) = outcome? {
            store.write(&write)?;
            one.finding = Some(sentence);
        }
    }
    Ok(())
}

/// An item in words.
fn named(item: &Item) -> String {
    let what = match &item.fact {
        Fact::Reading(card) => {
            let circuit = card.circuit.as_ref().map(|id| format!(" of {id}")).unwrap_or_default();
            format!("{}{circuit}, place {} of visit {}", card.what.word(), card.place + 1, card.visit)
        }
        Fact::Circuit(card) => format!("circuit {} of mould {}", card.circuit, card.mould),
        Fact::Pieces(card) => format!("pieces of circuit {} of mould {}", card.circuit, card.mould),
        Fact::Baseline(card) => format!("baseline of circuit {} of mould {}", card.circuit, card.mould),
        Fact::Past(card) => format!("past of circuit {} of mould {}", card.circuit, card.mould),
        fact => format!("{} of {}", fact.kind(), item.entry.subject),
    };
    format!("{what} (entry {})", item.entry.number)
}

fn words(reads: &[Read], done: &[Done], dry_run: bool) -> String {
    let mut lines = Vec::new();
    for (read, one) in reads.iter().zip(done) {
        let mut counts = Vec::new();
        let mut count = |number: usize, word: &str| {
            if number > 0 {
                counts.push(format!("{number} {word}"));
            }
        };
        count(one.taken.new.len(), "new");
        count(one.taken.changed.len(), "changed");
        count(one.taken.same, "as on record");
        count(one.taken.outdated.len(), "older than the record, left");
        let entries = one
            .written
            .map(|written| format!(" (entries {} to {})", written.first, written.head.number))
            .filter(|_| !dry_run)
            .unwrap_or_default();
        lines.push(format!("{}: {}: {}{entries}", one.file, one.about, counts.join(", ")));
        if let What::List(list) = &read.what {
            lines.extend(list::words(list));
        }
        lines.extend(read.notices.iter().map(|notice| format!("  {notice}")));
        lines.extend(one.taken.changed.iter().map(|(item, _)| format!("  changed: {}", named(item))));
        lines
            .extend(one.taken.outdated.iter().map(|item| format!("  left as it is by now: {}", named(item))));
        lines.extend(
            one.taken.left.iter().map(|item| format!("  on record and not in the file: {}", named(item))),
        );
        lines.extend(one.finding.iter().map(|sentence| format!("  found: {sentence}")));
    }
    if dry_run {
        lines.push("Nothing was recorded: this was a dry run.".to_owned());
    }
    lines.join("\n")
}

fn document(reads: &[Read], done: &[Done], dry_run: bool) -> Json {
    let items = |items: &mut dyn Iterator<Item = &Item>| {
        items.map(|item| json!({"entry": item.entry.number, "what": named(item)})).collect::<Vec<_>>()
    };
    let files: Vec<Json> = reads
        .iter()
        .zip(done)
        .map(|(read, one)| {
            let written = one.written.filter(|_| !dry_run);
            json!({
                "file": one.file,
                "what": one.about,
                "new": one.taken.new.len(),
                "changed": items(&mut one.taken.changed.iter().map(|(item, _)| item)),
                "same": one.taken.same,
                "left_as_newer": items(&mut one.taken.outdated.iter()),
                "not_in_file": items(&mut one.taken.left.iter()),
                "first_entry": written.map(|written| written.first),
                "head": written.map(|written| written.head.to_string()),
                "found": one.finding,
                "understood": match &read.what {
                    What::List(list) => list::document(list),
                    _ => Json::Null,
                },
                "notices": read.notices.iter().map(ToString::to_string).collect::<Vec<_>>(),
            })
        })
        .collect();
    json!({"recorded": !dry_run, "files": files})
}
