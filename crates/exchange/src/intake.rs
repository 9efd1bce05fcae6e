//! Reads files of a [`Source`] and keeps what is wrong with them, and a digest of every byte.

use std::collections::BTreeMap;
use std::io::{self, Read};

use calc::form::{self, Fault, Field, Value};
use sha2::{Digest, Sha256};

use crate::fault::{FileFault, FileFaults, Notice, Place};
use crate::shapes::Found;
use crate::source::{Source, plain_name};
use crate::toml_tree::{self, Document};

/// Largest mould, rig, visit or table file. A visit with hundreds of readings takes a tenth of this.
pub const TEXT_LIMIT_BYTES: u64 = 1 << 20;
/// Most fields of one table. Checks compare fields with each other, so that a bound keeps them quick.
pub const FIELDS_LIMIT: usize = 2000;

/// A file that was read, and its digest.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InputFile {
    /// Name as the visit file gives it.
    pub name: String,
    /// SHA-256 of its bytes, hexadecimal.
    pub sha256: String,
}

/// A TOML file that was read.
#[derive(Debug)]
pub struct Sheet {
    /// Its name.
    pub name: String,
    /// Its values and their places.
    pub document: Document,
    /// Its values with defaults filled in, if the check of fields accepted them.
    pub filled: Option<Value>,
    /// Whether it is not even TOML, so that what it means cannot be judged.
    pub broken: bool,
}

/// Reads files and gathers faults, notices and digests.
pub struct Intake<'s> {
    source: &'s dyn Source,
    faults: Vec<FileFault>,
    notices: Vec<Notice>,
    digests: BTreeMap<String, String>,
}

impl<'s> Intake<'s> {
    /// An intake from this source.
    pub fn new(source: &'s dyn Source) -> Self {
        Self { source, faults: Vec::new(), notices: Vec::new(), digests: BTreeMap::new() }
    }

    /// Reads a TOML file and checks its fields.
    pub fn sheet(&mut self, name: &str, fields: &'static [Field]) -> Option<Sheet> {
        let mut sheet = self.free_sheet(name)?;
        if !sheet.broken {
            match form::check(fields, &sheet.document.value) {
                Ok(filled) => sheet.filled = Some(filled),
                Err(faults) => faults.into_iter().for_each(|fault| self.fault(&sheet, fault)),
            }
        }
        Some(sheet)
    }

    /// Reads a TOML file whose fields the caller checks.
    pub fn free_sheet(&mut self, name: &str) -> Option<Sheet> {
        let text = self.text(name)?;
        let (document, syntax) = toml_tree::read(&text);
        let broken = !syntax.is_empty();
        for fault in syntax {
            let hint = "this line is not TOML: name = value, texts in double quotes";
            self.faults.push(FileFault::at(name, fault.place, Fault::new("", fault.problem, hint)));
        }
        let mut sheet = Sheet { name: name.to_owned(), document, filled: None, broken };
        if let Some(fault) = too_many_fields(&sheet.document.value, "") {
            self.fault(&sheet, *fault);
            sheet.broken = true;
        }
        Some(sheet)
    }

    /// Adds a fault at a field of a sheet.
    pub fn fault(&mut self, sheet: &Sheet, fault: Fault) {
        let place = sheet.document.place(&fault.field);
        self.faults.push(FileFault::at(&sheet.name, place, fault));
    }

    /// Adds what a check of meaning found under a path of a sheet.
    pub fn found(&mut self, sheet: &Sheet, found: Found, under: &str) {
        if sheet.broken {
            return;
        }
        for fault in found.faults {
            self.fault(sheet, if under.is_empty() { fault } else { fault.under(under) });
        }
        for (code, path, text) in found.notices {
            let place = sheet.document.place(&path);
            self.notices.push(Notice { code, file: sheet.name.clone(), place, text });
        }
    }

    /// Adds a fault of a file that is no sheet.
    pub fn plain_fault(&mut self, fault: FileFault) {
        self.faults.push(fault);
    }

    /// Adds a notice.
    pub fn notice(&mut self, notice: Notice) {
        self.notices.push(notice);
    }

    /// Opens a file that a field of a sheet names; says why at that field if it cannot.
    pub fn open_named(&mut self, sheet: &Sheet, path: &str, name: &str) -> Option<Box<dyn Read + 's>> {
        let fault = match plain_name(name) {
            Err(fault) => Fault::new(path, fault.to_string(), "give the name of a file beside this one"),
            Ok(name) => match self.source.open(name) {
                Ok(reader) => return Some(reader),
                Err(error) => could_not_open(path, &error),
            },
        };
        self.fault(sheet, fault.with_value(name));
        None
    }

    /// Remembers the digest of a file that was read to its end.
    pub fn digest(&mut self, name: &str, sha256: String) {
        self.digests.insert(name.to_owned(), sha256);
    }

    /// The whole text of a file.
    fn text(&mut self, name: &str) -> Option<String> {
        match self.bytes(name).and_then(|bytes| as_text(name, bytes)) {
            Ok(text) => Some(text),
            Err(fault) => {
                self.faults.push(*fault);
                None
            }
        }
    }

    fn bytes(&mut self, name: &str) -> Result<Vec<u8>, Box<FileFault>> {
        let unreadable = |error: &io::Error| Box::new(FileFault::at(name, None, could_not_open("", error)));
        let reader = self.source.open(name).map_err(|error| unreadable(&error))?;
        let mut bytes = Vec::new();
        reader.take(TEXT_LIMIT_BYTES + 1).read_to_end(&mut bytes).map_err(|error| unreadable(&error))?;
        if bytes.len() as u64 > TEXT_LIMIT_BYTES {
            let hint = format!("at most {} MB", TEXT_LIMIT_BYTES >> 20);
            let problem = "the file is too large for a text like this";
            return Err(Box::new(FileFault::of_file(name, problem, hint)));
        }
        self.digest(name, hex(&Sha256::digest(&bytes)));
        Ok(bytes)
    }

    /// The files that were read, in the order of their names.
    #[must_use]
    pub fn inputs(&self) -> Vec<InputFile> {
        let input =
            |(name, sha256): (&String, &String)| InputFile { name: name.clone(), sha256: sha256.clone() };
        self.digests.iter().map(input).collect()
    }

    /// Whether nothing is wrong so far.
    #[must_use]
    pub fn is_clean(&self) -> bool {
        self.faults.is_empty()
    }

    /// The notices, if nothing is wrong.
    ///
    /// # Errors
    /// Every fault, in the order of files and, within a file, of lines.
    pub fn finish(mut self) -> Result<Vec<Notice>, FileFaults> {
        if self.faults.is_empty() {
            return Ok(self.notices);
        }
        let mut order: Vec<String> = Vec::new();
        for fault in &self.faults {
            if !order.contains(&fault.file) {
                order.push(fault.file.clone());
            }
        }
        self.faults.sort_by_key(|fault| (order.iter().position(|file| *file == fault.file), fault.place));
        self.faults.dedup();
        Err(FileFaults(self.faults))
    }
}

/// One digest over all input files: SHA-256 of the lines `<sha256>  <name>` in the order of names, the form that
/// the usual checksum programs print.
#[must_use]
pub fn digest_of(inputs: &[InputFile]) -> String {
    let mut hash = Sha256::new();
    for input in inputs {
        hash.update(format!("{}  {}\n", input.sha256, input.name));
    }
    hex(&hash.finalize())
}

/// Bytes as hexadecimal digits.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    use core::fmt::Write as _;
    let mut text = String::with_capacity(bytes.len() * 2);
    for byte in bytes {
        let _ = write!(text, "{byte:02x}");
    }
    text
}

/// A fault for the first record that has more fields than any shape needs.
#[must_use]
pub fn too_many_fields(value: &Value, path: &str) -> Option<Box<Fault>> {
    let join = |name: &str| if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
    match value {
        Value::Record(fields) if fields.len() > FIELDS_LIMIT => {
            let hint = format!("give at most {FIELDS_LIMIT} fields");
            Some(Box::new(Fault::new(path, format!("{} fields in one table", fields.len()), hint)))
        }
        Value::Record(fields) => fields.iter().find_map(|(name, inner)| too_many_fields(inner, &join(name))),
        Value::List(items) => items.iter().enumerate().find_map(|(at, item)| match item {
            Value::Record(_) | Value::List(_) => too_many_fields(item, &join(&at.to_string())),
            _ => None,
        }),
        _ => None,
    }
}

fn as_text(name: &str, mut bytes: Vec<u8>) -> Result<String, Box<FileFault>> {
    if bytes.starts_with(b"\xEF\xBB\xBF") {
        bytes.drain(..3);
    }
    String::from_utf8(bytes).map_err(|error| {
        let valid = error.utf8_error().valid_up_to();
        let before = error.as_bytes().get(..valid).unwrap_or_default();
        let line = before.iter().filter(|byte| **byte == b'\n').count() as u64 + 1;
        let fault = Fault::new("", "not UTF-8 text", "save the file as UTF-8");
        Box::new(FileFault::at(name, Some(Place { line, column: 1 }), fault))
    })
}

fn could_not_open(path: &str, error: &io::Error) -> Fault {
    let (problem, hint) = match error.kind() {
        io::ErrorKind::NotFound => ("there is no such file".to_owned(), "put it beside the visit file"),
        io::ErrorKind::PermissionDenied => (
            "the file may not be read, or leads out of the folder".to_owned(),
            "put a copy beside the visit file",
        ),
        _ => (format!("the file could not be read: {error}"), "is it a file, and is the disk well?"),
    };
    Fault::new(path, problem, hint)
}

/// A reader that takes the digest of what passes through it.
pub struct Hashing<R> {
    inner: R,
    hash: Sha256,
}

impl<R: Read> Hashing<R> {
    /// Takes the digest of this reader.
    pub fn new(inner: R) -> Self {
        Self { inner, hash: Sha256::new() }
    }

    /// The digest of what has passed.
    pub fn finish(self) -> String {
        hex(&self.hash.finalize())
    }
}

impl<R: Read> Read for Hashing<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let count = self.inner.read(buffer)?;
        self.hash.update(buffer.get(..count).unwrap_or_default());
        Ok(count)
    }
}
