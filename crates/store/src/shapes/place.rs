//! Halves with their openings, how facts of a circuit are known, leaks with their places, and photos, as they are stored.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::KnownWord;
use crate::digest::Digest;
use crate::fact::Subject;

/// A half of a mould, or a named plate or slide, version 2: with its openings for water.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct HalfCard2 {
    /// Mould.
    pub mould: String,
    /// Fixed, moving, or the name of the plate or slide.
    pub half: String,
    /// Openings for water, if counted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub openings: Option<u32>,
    /// How the number of openings is known.
    pub known: KnownWord,
}

/// How a circuit was found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum FoundWord {
    /// Air blown into one opening came out of the other.
    Blown,
    /// Water was sent in and watched.
    Watched,
    /// It stands in a drawing.
    Drawing,
    /// Somebody said so.
    Told,
}

/// Where a circuit opens and how each fact of it is known, version 1.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct MarksCard {
    /// Mould.
    pub mould: String,
    /// Circuit.
    pub circuit: String,
    /// How it was found.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub found: Option<FoundWord>,
    /// Opening where the water comes in, as marked on the half.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub inlet: Option<String>,
    /// Opening where it goes out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outlet: Option<String>,
    /// How each fact is known, by the fact's name: `metals`, `seals`, `size`.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub known: BTreeMap<String, KnownWord>,
}

/// A place on a half, in mm from the corner of its outline.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SpotCard {
    /// Half.
    pub half: String,
    /// To the right, seen from the parting line.
    pub x_mm: f64,
    /// Up.
    pub y_mm: f64,
}

/// Where a leak shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ShowsWord {
    /// Outside the mould.
    Outside,
    /// Inside, at the cavity or between plates.
    Inside,
    /// In another circuit.
    Across,
    /// Looked for outside, and nothing was seen.
    NothingOutside,
}

/// What lets a leak through.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum LeakCauseWord {
    /// A seal was left out.
    SealLeftOut,
    /// A seal was pinched.
    SealPinched,
    /// A seal of the wrong size.
    SealWrongSize,
    /// A plug.
    Plug,
    /// A fitting.
    Fitting,
    /// A crack.
    Crack,
    /// The gland of a seal is pitted.
    GlandPitted,
    /// A wall was eaten through.
    WallEatenThrough,
    /// Not known yet.
    NotKnown,
}

/// A leak that was looked for in a visit, version 1.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LeakCard {
    /// Mould.
    pub mould: String,
    /// Visit.
    pub visit: String,
    /// Circuit.
    pub circuit: String,
    /// Where it shows.
    pub shows: ShowsWord,
    /// The place, in the words of the bench.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub place: String,
    /// The same on the outline.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spot: Option<SpotCard>,
    /// What lets it through.
    pub cause: LeakCauseWord,
    /// What was done.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub done: Option<String>,
    /// First entry of the reading that showed it tight again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tight_by: Option<u64>,
}

/// A photo, version 2: with the entry that it shows and what was taken out of its file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PhotoCard2 {
    /// What it shows.
    pub about: Subject,
    /// First entry of the leak that it shows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shows: Option<u64>,
    /// Digest of the picture that lies beside the history.
    pub picture: Digest,
    /// Its media type: `image/jpeg` or `image/png`.
    pub media_type: String,
    /// What is to be seen.
    pub caption: String,
    /// What the camera or a program had written into the file and was taken out: `Exif`, `XMP`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub taken_out: Vec<String>,
}
