//! What an entry of the history may say, and what it is about.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::digest::Digest;
use crate::shapes::*;

/// What an entry is about: `circuit/M-214/F2`. A slash or per cent sign inside a name is written `%2F`, `%25`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Subject(String);

impl Subject {
    fn of(kind: &str, names: &[&str]) -> Self {
        let names = names.iter().map(|name| name.replace('%', "%25").replace('/', "%2F"));
        Self(std::iter::once(kind.to_owned()).chain(names).collect::<Vec<_>>().join("/"))
    }

    /// A person.
    #[must_use]
    pub fn person(id: &str) -> Self {
        Self::of("person", &[id])
    }
    /// A mould.
    #[must_use]
    pub fn mould(mould: &str) -> Self {
        Self::of("mould", &[mould])
    }
    /// A half of a mould.
    #[must_use]
    pub fn half(mould: &str, half: &str) -> Self {
        Self::of("half", &[mould, half])
    }
    /// A circuit of a mould.
    #[must_use]
    pub fn circuit(mould: &str, circuit: &str) -> Self {
        Self::of("circuit", &[mould, circuit])
    }
    /// A visit of a mould.
    #[must_use]
    pub fn visit(mould: &str, visit: &str) -> Self {
        Self::of("visit", &[mould, visit])
    }
    /// A rig.
    #[must_use]
    pub fn rig(rig: &str) -> Self {
        Self::of("rig", &[rig])
    }
    /// An instrument.
    #[must_use]
    pub fn instrument(instrument: &str) -> Self {
        Self::of("instrument", &[instrument])
    }
    /// The plant's tables: `limits`, `materials`.
    #[must_use]
    pub fn table(name: &str) -> Self {
        Self::of("table", &[name])
    }

    /// A subject as it is written.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let parts = text.split('/').count();
        let right = match text.split('/').next()? {
            "person" | "mould" | "rig" | "instrument" | "table" => 2,
            "half" | "circuit" | "visit" => 3,
            _ => return None,
        };
        (parts == right && !text.split('/').any(str::is_empty)).then(|| Self(text.to_owned()))
    }

    /// The names in a written subject.
    pub(crate) fn names(written: &str) -> Vec<String> {
        written.split('/').skip(1).map(|name| name.replace("%2F", "/").replace("%25", "%")).collect()
    }

    /// First and last text between which the subjects of this kind inside this mould lie.
    pub(crate) fn inside(kind: &str, mould: &str) -> (String, String) {
        let start = Self::of(kind, &[mould]).0;
        // '0' is the character after '/'.
        (format!("{start}/"), format!("{start}0"))
    }

    /// As it is written.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for Subject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// What an entry says. The word before the slash is its kind, the number behind it the version of its shape.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "shape")]
pub enum Fact {
    /// Somebody.
    #[serde(rename = "person/1")]
    Person(Person),
    /// A mould.
    #[serde(rename = "mould/1")]
    Mould(MouldCard),
    /// A half of it.
    #[serde(rename = "half/1")]
    Half(HalfCard),
    /// A half of it, with its openings.
    #[serde(rename = "half/2")]
    Half2(HalfCard2),
    /// A circuit of it.
    #[serde(rename = "circuit/1")]
    Circuit(CircuitCard),
    /// The pieces of a circuit.
    #[serde(rename = "pieces/1")]
    Pieces(PiecesCard),
    /// Where a circuit opens, and how each fact of it is known.
    #[serde(rename = "marks/1")]
    Marks(MarksCard),
    /// The baseline of a circuit.
    #[serde(rename = "baseline/1")]
    Baseline(BaselineCard),
    /// What is told of a circuit's past from before the record.
    #[serde(rename = "past/1")]
    Past(PastCard),
    /// A rig that has a name.
    #[serde(rename = "rig/1")]
    Rig(RigCard),
    /// An instrument.
    #[serde(rename = "instrument/1")]
    Instrument(InstrumentCard),
    /// A calibration of it.
    #[serde(rename = "calibration/1")]
    Calibration(CalibrationCard),
    /// A visit.
    #[serde(rename = "visit/1")]
    Visit(VisitCard),
    /// Its hook-ups.
    #[serde(rename = "hook-up/1")]
    HookUp(HookUpCard),
    /// Its hook-ups by stage, with direction and jumpers.
    #[serde(rename = "hook-up/2")]
    HookUp2(HookUpCard2),
    /// A leak that was looked for.
    #[serde(rename = "leak/1")]
    Leak(LeakCard),
    /// A reading, a treatment or a note of a visit.
    #[serde(rename = "reading/1")]
    Reading(ReadingCard),
    /// What was found.
    #[serde(rename = "finding/1")]
    Finding(FindingCard),
    /// A gate overridden.
    #[serde(rename = "override/1")]
    Override(OverrideCard),
    /// The end of a visit.
    #[serde(rename = "visit-end/1")]
    VisitEnd(VisitEndCard),
    /// A certificate.
    #[serde(rename = "certificate/1")]
    Certificate(CertificateCard),
    /// Words about anything.
    #[serde(rename = "note/1")]
    Note(NoteCard),
    /// A photo.
    #[serde(rename = "photo/1")]
    Photo(PhotoCard),
    /// A photo, with what it shows and what was taken out of its file.
    #[serde(rename = "photo/2")]
    Photo2(PhotoCard2),
    /// The outline of a half.
    #[serde(rename = "outline/1")]
    Outline(OutlineCard),
    /// A place on a half.
    #[serde(rename = "pin/1")]
    Pin(PinCard),
    /// Limits in use.
    #[serde(rename = "limits/1")]
    Limits(TableCard),
    /// Materials in use.
    #[serde(rename = "materials/1")]
    Materials(TableCard),
    /// Something that does not hold.
    #[serde(rename = "withdrawal/1")]
    Withdrawal(WithdrawalCard),
}

/// How entries of a kind follow each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Follows {
    /// A further entry about the same subject is a new version of the one before.
    Replaces,
    /// Each entry stands by itself, unless it corrects another.
    StandsBeside,
}

impl Fact {
    /// Word of the kind.
    #[must_use]
    pub const fn kind(&self) -> &'static str {
        match self {
            Self::Person(_) => "person",
            Self::Mould(_) => "mould",
            Self::Half(_) | Self::Half2(_) => "half",
            Self::Circuit(_) => "circuit",
            Self::Pieces(_) => "pieces",
            Self::Marks(_) => "marks",
            Self::Baseline(_) => "baseline",
            Self::Past(_) => "past",
            Self::Rig(_) => "rig",
            Self::Instrument(_) => "instrument",
            Self::Calibration(_) => "calibration",
            Self::Visit(_) => "visit",
            Self::HookUp(_) | Self::HookUp2(_) => "hook-up",
            Self::Leak(_) => "leak",
            Self::Reading(_) => "reading",
            Self::Finding(_) => "finding",
            Self::Override(_) => "override",
            Self::VisitEnd(_) => "visit-end",
            Self::Certificate(_) => "certificate",
            Self::Note(_) => "note",
            Self::Photo(_) | Self::Photo2(_) => "photo",
            Self::Outline(_) => "outline",
            Self::Pin(_) => "pin",
            Self::Limits(_) => "limits",
            Self::Materials(_) => "materials",
            Self::Withdrawal(_) => "withdrawal",
        }
    }

    /// How entries of its kind follow each other.
    #[must_use]
    pub const fn follows(&self) -> Follows {
        match self {
            Self::Calibration(_)
            | Self::Reading(_)
            | Self::Finding(_)
            | Self::Override(_)
            | Self::Certificate(_)
            | Self::Note(_)
            | Self::Photo(_)
            | Self::Photo2(_)
            | Self::Leak(_)
            | Self::Pin(_)
            | Self::Withdrawal(_) => Follows::StandsBeside,
            _ => Follows::Replaces,
        }
    }

    /// What it is about.
    #[must_use]
    pub fn subject(&self) -> Subject {
        match self {
            Self::Person(card) => Subject::person(&card.id),
            Self::Mould(card) => Subject::mould(&card.mould),
            Self::Half(card) => Subject::half(&card.mould, &card.half),
            Self::Half2(card) => Subject::half(&card.mould, &card.half),
            Self::Circuit(card) => Subject::circuit(&card.mould, &card.circuit),
            Self::Pieces(card) => Subject::circuit(&card.mould, &card.circuit),
            Self::Marks(card) => Subject::circuit(&card.mould, &card.circuit),
            Self::Baseline(card) => Subject::circuit(&card.mould, &card.circuit),
            Self::Past(card) => Subject::circuit(&card.mould, &card.circuit),
            Self::Rig(card) => Subject::rig(card.rig.as_deref().unwrap_or_default()),
            Self::Instrument(card) => Subject::instrument(&card.instrument),
            Self::Calibration(card) => Subject::instrument(&card.instrument),
            Self::Visit(card) => Subject::visit(&card.mould, &card.visit),
            Self::HookUp(card) => Subject::visit(&card.mould, &card.visit),
            Self::HookUp2(card) => Subject::visit(&card.mould, &card.visit),
            Self::Leak(card) => Subject::visit(&card.mould, &card.visit),
            Self::Reading(card) => Subject::visit(&card.mould, &card.visit),
            Self::Finding(card) => Subject::visit(&card.mould, &card.visit),
            Self::Override(card) => Subject::visit(&card.mould, &card.visit),
            Self::VisitEnd(card) => Subject::visit(&card.mould, &card.visit),
            Self::Certificate(card) => Subject::visit(&card.mould, &card.visit),
            Self::Note(NoteCard { about, .. })
            | Self::Photo(PhotoCard { about, .. })
            | Self::Photo2(PhotoCard2 { about, .. })
            | Self::Withdrawal(WithdrawalCard { about }) => about.clone(),
            Self::Outline(card) => Subject::half(&card.mould, &card.half),
            Self::Pin(card) => Subject::half(&card.mould, &card.half),
            Self::Limits(_) => Subject::table("limits"),
            Self::Materials(_) => Subject::table("materials"),
        }
    }

    /// The blobs that it names.
    #[must_use]
    pub fn blobs(&self) -> Vec<Digest> {
        match self {
            Self::Reading(card) => card.traces(),
            Self::Finding(card) => vec![card.document],
            Self::Certificate(card) => vec![card.document],
            Self::Photo(card) => vec![card.picture],
            Self::Photo2(card) => vec![card.picture],
            _ => Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn subjects_cannot_be_confused() {
        assert_eq!(Subject::circuit("M-214", "F2").as_str(), "circuit/M-214/F2");
        assert_eq!(Subject::circuit("M/2", "%").as_str(), "circuit/M%2F2/%25");
        assert_ne!(Subject::circuit("a/b", "c"), Subject::circuit("a", "b/c"));
        assert_eq!(Subject::names(Subject::circuit("M/2", "%2F").as_str()), ["M/2", "%2F"]);
        let (from, to) = Subject::inside("circuit", "M-2");
        let lies = |subject: Subject| from.as_str() <= subject.as_str() && subject.as_str() < to.as_str();
        assert!(lies(Subject::circuit("M-2", "F1")));
        assert!(!lies(Subject::circuit("M-21", "F1")) && !lies(Subject::circuit("M-2 ", "F1")));
        assert_eq!(Subject::parse("visit/M/1"), Some(Subject::visit("M", "1")));
        assert!(
            ["", "visit/M", "mould/M/x", "mould/", "x/y"].map(Subject::parse).iter().all(Option::is_none)
        );
    }
}
