//! `borewise export`: everything in the record, as files that any program reads and `borewise record` takes in again.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{self, BufWriter, Write as _};
use std::path::{Path, PathBuf};

use calc::form::Fault;
use exchange::write::{Beside, mould_text, rig_text, visit_files};
use serde_json::{Map, Value as Json};
use store::dump::{entry_json, flat};
use store::{AsOf, Entry, Fact, Reader, Store, StoreError};

use super::failed;
use crate::output::{Failure, Verdict, print};

/// Entries that are read in one go.
const BATCH: u32 = 500;

/// Writes everything into a new folder.
pub fn run(record: &Path, out: &Path) -> Result<Verdict, Failure> {
    if out.exists() {
        let problem = format!("{} is already there", out.display());
        return Err(Failure::input(&Fault::new("out", problem, "give a folder that is still free")));
    }
    let store = Store::open(record).map_err(|error| failed(record, &error))?;
    let name = out.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let draft = Draft(out.with_file_name(format!(".{name}.part-{}", std::process::id())));
    let wrote = store.read(|reader| {
        let head = reader.head()?;
        Ok(everything(reader, &draft.0).map(|files| (head, files)))
    });
    let (head, files) = match wrote.map_err(|error| failed(record, &error))? {
        Ok(done) => done,
        Err(Stop::Store(error)) => return Err(failed(record, &error)),
        Err(Stop::Disk(error)) => return Err(Failure::file("write into", out, &error)),
    };
    std::fs::rename(&draft.0, out).map_err(|error| Failure::file("make", out, &error))?;
    print(&format!("{}: {files} files, history up to {head}", out.display()))?;
    Ok(Verdict::Done)
}

/// A folder until it is whole; gone when dropped before that.
struct Draft(PathBuf);

impl Drop for Draft {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

enum Stop {
    Store(StoreError),
    Disk(io::Error),
}

impl From<StoreError> for Stop {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}
impl From<io::Error> for Stop {
    fn from(error: io::Error) -> Self {
        Self::Disk(error)
    }
}
impl From<csv::Error> for Stop {
    fn from(error: csv::Error) -> Self {
        Self::Disk(error.into())
    }
}

/// The folder being filled.
struct Folder<'a> {
    root: &'a Path,
    files: usize,
}

impl Folder<'_> {
    fn file(&mut self, name: &str) -> io::Result<BufWriter<File>> {
        let path = self.root.join(name);
        if let Some(parent) = path.parent() {
            std::fs::create_dir_all(parent)?;
        }
        self.files += 1;
        Ok(BufWriter::new(File::create_new(path)?))
    }

    fn put(&mut self, name: &str, bytes: &[u8]) -> io::Result<()> {
        let mut file = self.file(name)?;
        file.write_all(bytes)?;
        file.flush()
    }
}

fn everything(reader: &Reader<'_>, root: &Path) -> Result<usize, Stop> {
    let mut folder = Folder { root, files: 0 };
    history(reader, &mut folder)?;
    state(reader, &mut folder)?;
    kinds(reader, &mut folder)?;
    moulds_and_visits(reader, &mut folder)?;
    for digest in reader.blob_digests()? {
        let hex = digest.to_string();
        let (first, rest) = hex.split_at(2);
        folder.put(&format!("bytes/{first}/{rest}"), &reader.blob(digest)?)?;
    }
    Ok(folder.files)
}

fn each_entry(reader: &Reader<'_>, mut work: impl FnMut(&Entry) -> Result<(), Stop>) -> Result<(), Stop> {
    let mut last = 0;
    loop {
        let entries = reader.entries_after(last, BATCH)?;
        for entry in &entries {
            work(entry)?;
            last = entry.number;
        }
        if entries.is_empty() {
            return Ok(());
        }
    }
}

/// The whole history, one entry a line; photos by their media type beside it.
fn history(reader: &Reader<'_>, folder: &mut Folder<'_>) -> Result<(), Stop> {
    let mut lines = folder.file("history.jsonl")?;
    let mut pictures = Vec::new();
    each_entry(reader, |entry| {
        writeln!(lines, "{}", entry_json(entry))?;
        match entry.fact()? {
            Fact::Photo(card) => pictures.push((entry.number, "photos", card.media_type, card.picture)),
            Fact::Photo2(card) => pictures.push((entry.number, "photos", card.media_type, card.picture)),
            Fact::Certificate(card) => {
                pictures.push((entry.number, "certificates", card.media_type, card.document))
            }
            Fact::Finding(card) => {
                pictures.push((entry.number, "findings", "application/json".to_owned(), card.document))
            }
            _ => {}
        }
        Ok(())
    })?;
    lines.flush()?;
    for (number, place, media_type, digest) in pictures {
        let ending = match media_type.as_str() {
            "image/jpeg" => "jpg",
            "image/png" => "png",
            "image/webp" => "webp",
            "application/pdf" => "pdf",
            "application/json" => "json",
            _ => "bin",
        };
        folder.put(&format!("{place}/{number}.{ending}"), &reader.blob(digest)?)?;
    }
    Ok(())
}

/// What is known now: the tables of the state.
fn state(reader: &Reader<'_>, folder: &mut Folder<'_>) -> Result<(), Stop> {
    for table in reader.tables()?.iter().filter(|table| table.name != "state") {
        let mut file = csv::Writer::from_writer(folder.file(&format!("state/{}.csv", table.name))?);
        file.write_record(&table.columns)?;
        for row in &table.rows {
            file.write_record(row)?;
        }
        file.flush()?;
    }
    Ok(())
}

/// Every entry of each kind with every field of its body in a column of its own.
fn kinds(reader: &Reader<'_>, folder: &mut Folder<'_>) -> Result<(), Stop> {
    let mut columns: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let mut seen: BTreeSet<(String, String)> = BTreeSet::new();
    each_entry(reader, |entry| {
        for (name, _) in body(entry) {
            if seen.insert((entry.kind.clone(), name.clone())) {
                columns.entry(entry.kind.clone()).or_default().push(name);
            }
        }
        Ok(())
    })?;
    let mut files = BTreeMap::new();
    let head = ["number", "at", "person", "subject", "corrects", "reason"];
    for (kind, columns) in &columns {
        let mut file = csv::Writer::from_writer(folder.file(&format!("entries/{kind}.csv"))?);
        file.write_record(head.iter().copied().chain(columns.iter().map(String::as_str)))?;
        files.insert(kind.clone(), file);
    }
    each_entry(reader, |entry| {
        let (Some(file), Some(columns)) = (files.get_mut(&entry.kind), columns.get(&entry.kind)) else {
            return Ok(());
        };
        let row = body(entry);
        let mut cells = vec![
            entry.number.to_string(),
            entry.at().to_string(),
            entry.person.clone(),
            entry.subject.clone(),
            entry.corrects.map(|number| number.to_string()).unwrap_or_default(),
            entry.reason.clone().unwrap_or_default(),
        ];
        cells.extend(columns.iter().map(|column| row.get(column).map(cell).unwrap_or_default()));
        file.write_record(&cells)?;
        Ok(())
    })?;
    for file in files.values_mut() {
        file.flush()?;
    }
    Ok(())
}

fn body(entry: &Entry) -> Map<String, Json> {
    flat(&serde_json::from_str(&entry.body).unwrap_or(Json::Null))
}

fn cell(value: &Json) -> String {
    match value {
        Json::Null => String::new(),
        Json::String(text) => text.clone(),
        other => other.to_string(),
    }
}

/// Moulds and visits as the files that `borewise record` and `borewise assess` read.
fn moulds_and_visits(reader: &Reader<'_>, folder: &mut Folder<'_>) -> Result<(), Stop> {
    for row in reader.moulds()? {
        let name = plain(&row.id);
        let mould = reader.mould(&row.id, AsOf::Now)?;
        if mould.circuits.is_empty() {
            // A mould file needs a circuit; the mould stands in the history and in the tables.
            continue;
        }
        let file = format!("{name}.mould.toml");
        folder.put(&format!("moulds/{name}/{file}"), mould_text(&mould).as_bytes())?;
        for visit in reader.visits(Some(&row.id))? {
            let visit = reader.visit(&row.id, &visit.id, AsOf::Now)?;
            let beside = format!("moulds/{name}/{}", plain(&visit.id));
            let rig = "rig.rig.toml";
            folder.put(&format!("{beside}/{file}"), mould_text(&mould).as_bytes())?;
            folder.put(&format!("{beside}/{rig}"), rig_text(&visit.rig).as_bytes())?;
            let mut files = visit_files(&visit, Beside { mould: &file, rig: Some(rig) });
            // The visit file comes first and has the visit's name, which may be no file name.
            if let Some((name, _)) = files.first_mut() {
                *name = format!("{}.visit.toml", plain(&visit.id));
            }
            for (file, bytes) in files {
                folder.put(&format!("{beside}/{file}"), &bytes)?;
            }
        }
    }
    Ok(())
}

/// A name that can be a folder everywhere.
fn plain(name: &str) -> String {
    let mut plain = String::new();
    for letter in name.chars() {
        if letter.is_ascii_alphanumeric()
            || matches!(letter, '-' | '_')
            || (letter == '.' && !plain.is_empty())
        {
            plain.push(letter);
        } else {
            plain.push_str(&format!("%{:X}", u32::from(letter)));
        }
    }
    plain
}
