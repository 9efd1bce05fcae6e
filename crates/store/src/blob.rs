//! Bytes that lie beside the history under their digest: packed traces, photos, documents.

use std::io::{Read as _, Write as _};

use flate2::Compression;
use flate2::read::ZlibDecoder;
use flate2::write::ZlibEncoder;

use crate::digest::Digest;

/// Largest blob. A photo of a phone is a tenth of it.
pub const LIMIT_BYTES: usize = 64 << 20;

/// Bytes and their digest.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Blob {
    digest: Digest,
    bytes: Vec<u8>,
}

impl Blob {
    /// These bytes under their digest.
    #[must_use]
    pub fn new(bytes: Vec<u8>) -> Self {
        Self { digest: Digest::of(&bytes), bytes }
    }

    /// SHA-256 of the bytes.
    #[must_use]
    pub const fn digest(&self) -> Digest {
        self.digest
    }

    /// The bytes.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// The bytes as they are kept: compressed, unless that makes them no smaller.
    pub(crate) fn kept(&self) -> (&'static str, Vec<u8>) {
        match zlib(&self.bytes) {
            Ok(small) if small.len() < self.bytes.len() => ("zlib", small),
            _ => ("raw", self.bytes.clone()),
        }
    }
}

fn zlib(bytes: &[u8]) -> std::io::Result<Vec<u8>> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::best());
    encoder.write_all(bytes)?;
    encoder.finish()
}

/// The bytes that were kept under this digest; nothing if they are no longer those.
pub(crate) fn unpacked(digest: Digest, packing: &str, kept: Vec<u8>) -> Option<Vec<u8>> {
    let bytes = match packing {
        "raw" => kept,
        "zlib" => {
            let mut bytes = Vec::new();
            // One byte more than may be there, so that a longer stream is noticed.
            ZlibDecoder::new(kept.as_slice()).take(LIMIT_BYTES as u64 + 1).read_to_end(&mut bytes).ok()?;
            bytes
        }
        _ => return None,
    };
    (Digest::of(&bytes) == digest).then_some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_kept_comes_back_or_is_noticed() {
        for bytes in [b"aaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaaa".to_vec(), vec![7, 1, 9], Vec::new()] {
            let blob = Blob::new(bytes.clone());
            let (packing, kept) = blob.kept();
            assert_eq!(unpacked(blob.digest(), packing, kept.clone()), Some(bytes));
            let mut spoilt = kept;
            spoilt.push(0);
            if packing == "raw" {
                assert_eq!(unpacked(blob.digest(), packing, spoilt), None);
            }
            assert_eq!(unpacked(Digest::NOTHING, packing, blob.kept().1), None);
        }
        assert_eq!(Blob::new(vec![b'a'; 100]).kept().0, "zlib");
        assert_eq!(Blob::new(vec![7, 1, 9]).kept().0, "raw");
    }
}
