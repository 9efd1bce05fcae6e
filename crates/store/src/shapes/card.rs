//! Findings, overrides, certificates, notes, photos and places on the mould as they are stored.

use serde::{Deserialize, Serialize};

use crate::digest::Digest;
use crate::fact::Subject;

/// What was found in a visit, version 1. The whole document lies beside it under its digest.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FindingCard {
    /// Mould.
    pub mould: String,
    /// Visit.
    pub visit: String,
    /// Version of the judgement.
    pub method: String,
    /// Program that judged.
    pub program: String,
    /// Last entry of the record that was known to the judgement.
    pub known_to: u64,
    /// Digest over the entries that it rests on; see [`crate::Reader::inputs_of`].
    pub inputs: Digest,
    /// Digest of the document.
    pub document: Digest,
    /// Whether the mould may go to the press: `yes`, `no`, `cannot-tell`.
    pub fit_for_press: String,
    /// The most important sentence.
    pub headline: String,
    /// Each circuit in short, in the words of the document.
    pub circuits: Vec<CircuitFindingCard>,
}

/// What was found of a circuit, in short.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CircuitFindingCard {
    /// Circuit.
    pub circuit: String,
    /// Word of the document.
    pub tightness: String,
    /// Word of the document.
    pub passage: String,
    /// Flow factor: value, low and high end of its 95 % interval.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub flow_factor_m3_h: Option<(f64, f64, f64)>,
    /// The same against what it should be.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub against_baseline_percent: Option<(f64, f64, f64)>,
    /// Word of the document.
    pub next_step: String,
    /// Why, in one sentence.
    pub reason: String,
}

/// A gate opened or shut by a person against the rule, version 1.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct OverrideCard {
    /// Mould.
    pub mould: String,
    /// Visit.
    pub visit: String,
    /// Circuit.
    pub circuit: String,
    /// Gate: `wet`, `descale` or `release`.
    pub gate: String,
    /// Whether it is now open.
    pub open: bool,
    /// Written reason of the person who signs the entry.
    pub because: String,
    /// Fixed words of the obstacles that the person saw; the override covers these and no others.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub against: Vec<String>,
}

/// A certificate that was handed out, version 1.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CertificateCard {
    /// Mould.
    pub mould: String,
    /// Visit.
    pub visit: String,
    /// Entry of the finding that it shows.
    pub finding: u64,
    /// Digest of the document that lies beside the history.
    pub document: Digest,
    /// Its media type, such as `application/pdf`.
    pub media_type: String,
}

/// Words about anything, version 1.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct NoteCard {
    /// What they are about.
    pub about: Subject,
    /// The words.
    pub text: String,
}

/// A photo, version 1.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PhotoCard {
    /// What it shows.
    pub about: Subject,
    /// Digest of the picture that lies beside the history.
    pub picture: Digest,
    /// Its media type, such as `image/jpeg`.
    pub media_type: String,
    /// What is to be seen.
    pub caption: String,
}

/// The outline of a half, version 1: a closed line in mm from a corner that the plant chooses.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OutlineCard {
    /// Mould.
    pub mould: String,
    /// Half.
    pub half: String,
    /// Corners in order: to the right and up, seen from the parting line.
    pub corners_mm: Vec<(f64, f64)>,
}

/// A place on a half, version 1.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PinCard {
    /// Mould.
    pub mould: String,
    /// Half.
    pub half: String,
    /// To the right, seen from the parting line.
    pub x_mm: f64,
    /// Up.
    pub y_mm: f64,
    /// What is there: `inlet`, `outlet`, `leak`, or the plant's own word.
    pub what: String,
    /// Circuit.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub circuit: Option<String>,
    /// Visit in which it was found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub visit: Option<String>,
    /// Cause of a leak, in the words of the bench.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cause: Option<String>,
}

/// Limits or materials in use, version 1: the text of their file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TableCard {
    /// The file's text.
    pub text: String,
}

/// Something that was recorded and does not hold, version 1; the entry says which and why.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct WithdrawalCard {
    /// What it was about.
    pub about: Subject,
}
