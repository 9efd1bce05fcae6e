//! Entries of the history, and the rule by which each carries the digest of all before it.
//!
//! The digest of an entry is SHA-256 over these fields in order, each preceded by its length in bytes as a 64-bit
//! big-endian number: the words `borewise record entry 1`; the digest of the entry before (32 bytes, zeros for the
//! first); number; time in microseconds since 1970 UTC; person; kind; subject; key of the write; part; parts; number
//! of the corrected entry or nothing; reason or nothing; body. Numbers are decimal ASCII, texts UTF-8.

use crate::digest::{Digest, Fields};
use crate::error::StoreError;
use crate::fact::Fact;

/// First words of what is digested.
const RULE: &str = "borewise record entry 1";

/// One entry of the history.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// Number, from 1 without gaps.
    pub number: u64,
    /// When, as the caller had it: microseconds since 1970 UTC.
    pub at_us: i64,
    /// Who.
    pub person: String,
    /// Kind.
    pub kind: String,
    /// What it is about.
    pub subject: String,
    /// Key of the write that it belongs to.
    pub write_key: String,
    /// Part of that write, from 1.
    pub part: u32,
    /// Parts of that write.
    pub parts: u32,
    /// The entry that it corrects.
    pub corrects: Option<u64>,
    /// Why.
    pub reason: Option<String>,
    /// What it says: one JSON object, in the bytes that were digested.
    pub body: String,
    /// Digest of the entry before.
    pub previous: Digest,
    /// Digest of this one.
    pub hash: Digest,
}

impl Entry {
    /// The digest that the entry should carry.
    #[must_use]
    pub fn seal(&self) -> Digest {
        let corrects = self.corrects.map(|number| number.to_string()).unwrap_or_default();
        Fields::of(RULE)
            .then(&self.previous.0)
            .then(self.number.to_string().as_bytes())
            .then(self.at_us.to_string().as_bytes())
            .then(self.person.as_bytes())
            .then(self.kind.as_bytes())
            .then(self.subject.as_bytes())
            .then(self.write_key.as_bytes())
            .then(self.part.to_string().as_bytes())
            .then(self.parts.to_string().as_bytes())
            .then(corrects.as_bytes())
            .then(self.reason.as_deref().unwrap_or_default().as_bytes())
            .then(self.body.as_bytes())
            .finish()
    }

    /// What it says.
    ///
    /// # Errors
    /// [`StoreError::Unreadable`] if the body is no shape that this program knows.
    pub fn fact(&self) -> Result<Fact, StoreError> {
        serde_json::from_str(&self.body)
            .map_err(|source| StoreError::Unreadable { number: self.number, source })
    }

    /// When.
    #[must_use]
    pub fn at(&self) -> jiff::Timestamp {
        jiff::Timestamp::from_microsecond(self.at_us).unwrap_or_default()
    }
}

/// A place in the history: everything up to this number, with the digest that proves it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Head {
    /// Number of the last entry; 0 for an empty record.
    pub number: u64,
    /// Its digest.
    pub hash: Digest,
}

impl Head {
    /// Before the first entry.
    pub const EMPTY: Self = Self { number: 0, hash: Digest::NOTHING };

    /// A head as it is printed: `1234:ab12...`.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let (number, hash) = text.split_once(':')?;
        Some(Self { number: number.parse().ok()?, hash: Digest::from_hex(hash)? })
    }
}

impl std::fmt::Display for Head {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}:{}", self.number, self.hash)
    }
}
