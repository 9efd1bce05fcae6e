//! What answers look like, continued: history, certificates, calculators, and what was recorded.

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value as Json;
use store::Entry;

use super::shapes::End;

/// An entry of the history.
#[derive(Serialize, JsonSchema)]
pub(crate) struct EntryShape {
    /// Number, from 1 without gaps.
    number: u64,
    /// When.
    at: String,
    /// Who.
    by: String,
    /// Token of the program that recorded it; null for a person.
    token: Option<String>,
    /// Kind.
    kind: String,
    /// What it is about.
    subject: String,
    /// The entry that it corrects.
    corrects: Option<u64>,
    /// Why.
    reason: Option<String>,
    /// What it says, in its stored shape, which names its version.
    says: Json,
    /// Its digest, which carries that of the entry before.
    digest: String,
}

impl From<Entry> for EntryShape {
    fn from(entry: Entry) -> Self {
        Self {
            number: entry.number,
            at: entry.at().to_string(),
            token: token_of(&entry.write_key),
            says: serde_json::from_str(&entry.body).unwrap_or(Json::Null),
            digest: entry.hash.to_string(),
            by: entry.person,
            kind: entry.kind,
            subject: entry.subject,
            corrects: entry.corrects,
            reason: entry.reason,
        }
    }
}

/// The token under whose name a write was made, if a program made it.
pub(crate) fn token_of(write_key: &str) -> Option<String> {
    let (name, _) = write_key.strip_prefix("token:")?.split_once(':')?;
    Some(name.to_owned())
}

/// Entries of the history.
#[derive(Serialize, JsonSchema)]
pub(crate) struct History {
    /// In order.
    pub entries: Vec<EntryShape>,
    /// Number and digest of the newest entry of all, as `number:digest`.
    pub head: String,
}

/// A certificate.
#[derive(Serialize, JsonSchema)]
pub(crate) struct CertificateShape {
    /// Number.
    pub number: String,
    /// Mould.
    pub mould: String,
    /// Visit.
    pub visit: String,
    /// When it was issued.
    pub issued: String,
    /// By whom.
    pub by: String,
    /// `holds`, `known-since`, `changed` or `withdrawn`.
    pub standing: &'static str,
    /// The same in a sentence.
    pub standing_in_words: String,
    /// The most important sentence of what it says.
    pub headline: String,
    /// `yes`, `no` or `cannot-tell`.
    pub fit_for_press: String,
    /// How the visit had ended; null if it had not.
    pub end: Option<End>,
    /// SHA-256 of the document.
    pub document: String,
}

/// A calculator in a list.
#[derive(Serialize, JsonSchema)]
pub(crate) struct CalculatorInList {
    /// Name.
    pub name: &'static str,
    /// Title.
    pub title: &'static str,
    /// What it does.
    pub text: &'static str,
}

/// Calculators.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Calculators {
    /// By name.
    pub calculators: Vec<CalculatorInList>,
}

/// What a calculator takes and gives.
#[derive(Serialize, JsonSchema)]
pub(crate) struct CalculatorShape {
    /// Name.
    pub name: &'static str,
    /// Title.
    pub title: &'static str,
    /// What it does.
    pub text: &'static str,
    /// JSON schema of its inputs.
    pub inputs: Json,
    /// What it gives, by name.
    pub outputs: std::collections::BTreeMap<&'static str, &'static str>,
    /// Keys of its sources in the method book.
    pub sources: Vec<&'static str>,
}

/// A warning of a calculator.
#[derive(Serialize, JsonSchema)]
pub(crate) struct WarningShape {
    /// Fixed word for programs.
    pub code: &'static str,
    /// In words.
    pub text: String,
}

/// What a calculator worked out.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Outcome {
    /// Name.
    pub calculator: &'static str,
    /// Version of the method.
    pub method: &'static str,
    /// What it gives, by name; the calculator says what each one is.
    pub outputs: std::collections::BTreeMap<&'static str, Json>,
    /// What to take care of.
    pub warnings: Vec<WarningShape>,
    /// Keys of its sources in the method book.
    pub sources: Vec<&'static str>,
}

/// Something that was recorded.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Written {
    /// Its entry.
    pub entry: u64,
    /// What its sender should know.
    pub notices: Vec<String>,
}

/// A visit that was begun.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Begun {
    /// Its entry.
    pub entry: u64,
    /// Name of the visit.
    pub visit: String,
}

/// A mould that was taken in.
#[derive(Serialize, JsonSchema)]
pub(crate) struct TakenIn {
    /// Id of the mould.
    pub mould: String,
    /// First entry; null where nothing was new.
    pub entry: Option<u64>,
    /// How many things are new.
    pub new: usize,
    /// How many are on record otherwise, and have a new version now.
    pub changed: usize,
    /// How many are on record as they came.
    pub same: usize,
    /// How many came as they once were on record: left as they are by now.
    pub outdated: usize,
    /// Circuits that are on record and did not come: left as they are.
    pub left: Vec<String>,
    /// What its sender should know.
    pub notices: Vec<String>,
}

/// A certificate that was issued.
#[derive(Serialize, JsonSchema)]
pub(crate) struct IssuedShape {
    /// Its number.
    pub number: String,
}
