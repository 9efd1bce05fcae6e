//! SHA-256 digests: of what lies beside the history, and of the history itself.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use sha2::{Digest as _, Sha256};

/// A SHA-256 digest; written as 64 hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Digest(pub [u8; 32]);

impl Digest {
    /// What stands before the first entry.
    pub const NOTHING: Self = Self([0; 32]);

    /// The digest of these bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        Self(Sha256::digest(bytes).into())
    }

    /// A digest from its 64 hexadecimal digits.
    #[must_use]
    pub fn from_hex(text: &str) -> Option<Self> {
        let mut bytes = [0; 32];
        if text.len() != 64 || !text.bytes().all(|byte| byte.is_ascii_hexdigit()) {
            return None;
        }
        for (at, byte) in bytes.iter_mut().enumerate() {
            *byte = u8::from_str_radix(text.get(2 * at..2 * at + 2)?, 16).ok()?;
        }
        Some(Self(bytes))
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl Serialize for Digest {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Digest {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        Self::from_hex(&text).ok_or_else(|| serde::de::Error::custom("not a SHA-256 digest"))
    }
}

/// A digest over fields in order, each preceded by its length, so that no two lists of fields share one text.
pub(crate) struct Fields(Sha256);

impl Fields {
    /// Begins with the words that say what kind of digest this is.
    pub(crate) fn of(kind: &str) -> Self {
        Self(Sha256::new()).then(kind.as_bytes())
    }

    pub(crate) fn then(mut self, field: &[u8]) -> Self {
        self.0.update((field.len() as u64).to_be_bytes());
        self.0.update(field);
        self
    }

    pub(crate) fn finish(self) -> Digest {
        Digest(self.0.finalize().into())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_digest_of_abc() {
        // FIPS 180-4 example: the message 'abc'.
        let expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(Digest::of(b"abc").to_string(), expected);
        assert_eq!(Digest::from_hex(expected), Some(Digest::of(b"abc")));
        assert_eq!(Digest::from_hex("ab"), None);
        assert_eq!(Digest::from_hex(&"+f".repeat(32)), None, "a sign is no digit");
    }

    #[test]
    fn fields_cannot_run_into_each_other() {
        let of = |fields: &[&str]| {
            fields.iter().fold(Fields::of("test"), |all, field| all.then(field.as_bytes())).finish()
        };
        assert_ne!(of(&["ab", "c"]), of(&["a", "bc"]));
        assert_ne!(of(&["ab"]), of(&["ab", ""]));
    }
}
