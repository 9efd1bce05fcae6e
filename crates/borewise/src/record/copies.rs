//! `borewise audit`, `borewise backup`, `borewise restore`.

use std::path::Path;

use serde_json::json;
use store::Head;
use store::audit::Audit;
use store::copy::{Copied, InPlace};

use super::failed;
use crate::output::{Failure, Verdict, print};

/// Proves the record whole, or names the first break.
pub fn audit(record: &Path, kept: &[Head], as_json: bool) -> Result<Verdict, Failure> {
    let seen = store::audit::audit(record, kept).map_err(|error| failed(record, &error))?;
    if as_json {
        print(&format!("{:#}", document(&seen)))?;
    } else {
        print(&words(&seen))?;
    }
    Ok(if seen.first_break.is_none() { Verdict::Done } else { Verdict::No })
}

fn document(seen: &Audit) -> serde_json::Value {
    json!({
        "whole": seen.first_break.is_none(),
        "first_break": seen.first_break.as_ref().map(ToString::to_string),
        "head": seen.head.to_string(),
        "entries": seen.entries,
        "writes": seen.writes,
        "blobs": seen.blobs,
        "blob_bytes": seen.blob_bytes,
    })
}

fn words(seen: &Audit) -> String {
    let counts = format!(
        "{} entries in {} writes, {} traces, documents and pictures of {:.1} MB",
        seen.entries,
        seen.writes,
        seen.blobs,
        megabytes(seen.blob_bytes)
    );
    match &seen.first_break {
        None => format!("The record is whole: {counts}.\nIts end is {}", seen.head),
        Some(found) => format!("The record is not whole: {found}.\nWhole up to {}: {counts}.", seen.head),
    }
}

#[expect(clippy::cast_precision_loss, reason = "shown with one digit")]
fn megabytes(bytes: u64) -> f64 {
    bytes as f64 / 1e6
}

/// Copies the record, verified.
pub fn backup(record: &Path, to: &Path, as_json: bool) -> Result<Verdict, Failure> {
    let copied = store::copy::backup(record, to).map_err(|error| failed(record, &error))?;
    told(&copied, None, as_json)
}

/// Makes a backup the record.
pub fn restore(from: &Path, record: &Path, replace: bool, as_json: bool) -> Result<Verdict, Failure> {
    let in_place = if replace { InPlace::SetAside(jiff::Timestamp::now()) } else { InPlace::Refuse };
    let (copied, aside) =
        store::copy::restore(from, record, in_place).map_err(|error| failed(from, &error))?;
    told(&copied, aside.as_deref(), as_json)
}

fn told(copied: &Copied, aside: Option<&Path>, as_json: bool) -> Result<Verdict, Failure> {
    if as_json {
        let document = json!({
            "file": copied.path.display().to_string(),
            "sha256": copied.digest.to_string(),
            "size_bytes": copied.size_bytes,
            "set_aside": aside.map(|path| path.display().to_string()),
            "audit": document(&copied.audit),
        });
        print(&format!("{document:#}"))?;
    } else {
        let aside = aside
            .map(|path| format!("\nThe record that was there is now {}", path.display()))
            .unwrap_or_default();
        print(&format!(
            "{} ({:.1} MB, SHA-256 {})\n{}{aside}",
            copied.path.display(),
            megabytes(copied.size_bytes),
            copied.digest,
            words(&copied.audit)
        ))?;
    }
    Ok(Verdict::Done)
}
