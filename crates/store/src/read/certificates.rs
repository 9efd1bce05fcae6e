//! Certificates: what they rest on, how they are numbered, and whether they still say what the record says.

use std::collections::BTreeMap;
use std::fmt;

use rusqlite::OptionalExtension as _;

use super::{AsOf, Item, Reader, entry_of};
use crate::chain::Entry;
use crate::digest::{Digest, Fields};
use crate::error::StoreError;
use crate::fact::{Fact, Subject};
use crate::shapes::{CalibrationCard, CertificateCard, FindingCard, InstrumentCard, VisitEndCard};

/// Digits of a certificate's number, in groups of [`GROUP`].
const DIGITS: usize = 12;
const GROUP: usize = 4;

/// Number of a certificate: the first twelve hexadecimal digits of a digest over what it rests on, as `7f3a-9c21-04bd`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct CertificateNumber(String);

impl CertificateNumber {
    /// A number as somebody reads it off a paper: capitals, blanks and hyphens do not matter.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let digits: String = text
            .chars()
            .filter(|letter| !matches!(letter, '-' | ' '))
            .map(|digit| digit.to_ascii_lowercase())
            .collect();
        let right = digits.len() == DIGITS && digits.bytes().all(|digit| digit.is_ascii_hexdigit());
        right.then_some(Self(digits))
    }

    fn of(digest: Digest) -> Self {
        Self(digest.to_string().chars().take(DIGITS).collect())
    }

    /// Key of the write that records the certificate, so that the same one is recorded once.
    #[must_use]
    pub fn key(&self) -> String {
        format!("certificate-{}", self.0)
    }
}

impl fmt::Display for CertificateNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (at, digit) in self.0.chars().enumerate() {
            if at > 0 && at % GROUP == 0 {
                f.write_str("-")?;
            }
            write!(f, "{digit}")?;
        }
        Ok(())
    }
}

/// A certificate on record.
#[derive(Clone, Debug, PartialEq)]
pub struct Issued {
    /// Its number.
    pub number: CertificateNumber,
    /// Its entry.
    pub entry: Entry,
    /// What that says.
    pub card: CertificateCard,
    /// The entry that withdrew it.
    pub withdrawn: Option<u64>,
}

/// Whether a certificate still says what the record says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Standing {
    /// Nothing that it rests on was recorded anew.
    Holds,
    /// Only the surroundings changed: the drawing, a baseline, the plant's tables, an earlier visit.
    KnownSince(Vec<Entry>),
    /// The visit itself was recorded otherwise since.
    Changed(Vec<Entry>),
    /// It was withdrawn by this entry.
    Withdrawn(u64),
}

impl fmt::Display for Standing {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Holds => f.write_str("It holds: nothing that it rests on was changed on record since."),
            Self::KnownSince(_) => f.write_str(
                "It says what was found with what was known then. What is known of the mould or the plant's limits has \
                 changed on record since; the visit itself has not.",
            ),
            Self::Changed(_) => {
                f.write_str("It no longer says what the record says: the visit was changed on record since.")
            }
            Self::Withdrawn(entry) => write!(f, "It does not hold: it was withdrawn by entry {entry}."),
        }
    }
}

/// An instrument and its calibration on the day of a visit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Instrument {
    /// The instrument.
    pub card: InstrumentCard,
    /// The newest calibration that was made up to the day.
    pub calibration: Option<CalibrationCard>,
}

/// What a certificate says, from the record as it stood when it was issued.
#[derive(Clone, Debug, PartialEq)]
pub struct Said {
    /// The finding that it shows.
    pub finding: FindingCard,
    /// How the visit ended, if it had.
    pub end: Option<VisitEndCard>,
}

/// What a certificate rests on besides the findings, with the entries that say so.
#[derive(Clone, Debug, Default)]
struct Beside {
    entries: BTreeMap<u64, Entry>,
    instruments: Vec<Instrument>,
}

impl Reader<'_> {
    /// The certificate of this number.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`].
    pub fn certificate(&self, number: &CertificateNumber) -> Result<Option<Issued>, StoreError> {
        match self.written(&number.key())?.into_iter().next() {
            Some(entry) => self.issued(entry),
            None => Ok(None),
        }
    }

    /// The certificate whose document has this digest.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`].
    pub fn certificate_of(&self, document: Digest) -> Result<Option<Issued>, StoreError> {
        let sql = "SELECT * FROM entry WHERE kind = 'certificate' AND json_extract(body, '$.document') = ?1 \
                   ORDER BY number LIMIT 1";
        let found =
            self.connection.prepare_cached(sql)?.query_row([document.to_string()], entry_of).optional()?;
        match found {
            Some(entry) => self.issued(entry),
            None => Ok(None),
        }
    }

    /// The certificates of a visit, the oldest first.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`].
    pub fn certificates(&self, mould: &str, visit: &str) -> Result<Vec<Issued>, StoreError> {
        let mut all = Vec::new();
        for entry in self.history(&Subject::visit(mould, visit), AsOf::Now)? {
            all.extend(self.issued(entry)?);
        }
        Ok(all)
    }

    fn issued(&self, entry: Entry) -> Result<Option<Issued>, StoreError> {
        let number = entry.write_key.strip_prefix("certificate-").and_then(CertificateNumber::parse);
        let (Some(number), Fact::Certificate(card)) = (number, entry.fact()?) else { return Ok(None) };
        let sql = "SELECT number FROM entry WHERE corrects = ?1 AND kind = 'withdrawal'";
        let withdrawn =
            self.connection.prepare_cached(sql)?.query_row([entry.number], |row| row.get(0)).optional()?;
        Ok(Some(Issued { number, entry, card, withdrawn }))
    }

    /// The number that the certificate of a visit has: the same as long as nothing changes that it rests on, which is
    /// what the findings knew (`known_to`), how the visit ended, which gates were overridden, and how the instruments of
    /// its rig were calibrated on its day.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`]; [`StoreError::Unknown`] for a visit that is not on record.
    pub fn certificate_number(
        &self,
        mould: &str,
        visit: &str,
        method: &str,
        known_to: AsOf,
    ) -> Result<CertificateNumber, StoreError> {
        let mut entries = self.input_entries(mould, visit, known_to)?;
        entries.extend(self.beside(mould, visit, AsOf::Now)?.entries);
        let fields = Fields::of("borewise certificate 1").then(method.as_bytes());
        let all = entries
            .values()
            .fold(fields, |all, entry| all.then(entry.number.to_string().as_bytes()).then(&entry.hash.0));
        Ok(CertificateNumber::of(all.finish()))
    }

    /// The instruments of the rig of a visit, with their calibrations on its day.
    ///
    /// # Errors
    /// As [`Reader::certificate_number`].
    pub fn instruments_of(
        &self,
        mould: &str,
        visit: &str,
        as_of: AsOf,
    ) -> Result<Vec<Instrument>, StoreError> {
        Ok(self.beside(mould, visit, as_of)?.instruments)
    }

    /// What a certificate says.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`]; [`StoreError::Unknown`] where its finding is none.
    pub fn said(&self, issued: &Issued) -> Result<Said, StoreError> {
        let Fact::Finding(finding) = self.entry(issued.card.finding)?.fact()? else {
            return Err(StoreError::Unknown { what: "finding", id: issued.card.finding.to_string() });
        };
        let then = AsOf::Entry(issued.entry.number);
        let end = self.visit_end(&issued.card.mould, &issued.card.visit, then)?.map(|(end, _)| end);
        Ok(Said { finding, end })
    }

    /// How a visit ended, with the entry that says so.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`].
    pub fn visit_end(
        &self,
        mould: &str,
        visit: &str,
        as_of: AsOf,
    ) -> Result<Option<(VisitEndCard, Entry)>, StoreError> {
        let items = self.items(&Subject::visit(mould, visit), as_of)?;
        Ok(items.into_iter().find_map(|item| match item.fact {
            Fact::VisitEnd(card) => Some((card, item.entry)),
            _ => None,
        }))
    }

    /// Whether a certificate still says what the record says.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`].
    pub fn standing(&self, issued: &Issued) -> Result<Standing, StoreError> {
        if let Some(entry) = issued.withdrawn {
            return Ok(Standing::Withdrawn(entry));
        }
        let (mould, visit) = (&issued.card.mould, &issued.card.visit);
        let (then, known_to) = (AsOf::Entry(issued.entry.number), self.known_to(issued.card.finding)?);
        let mut before = self.input_entries(mould, visit, known_to)?;
        before.extend(self.beside(mould, visit, then)?.entries);
        let mut now = self.input_entries(mould, visit, AsOf::Now)?;
        now.extend(self.beside(mould, visit, AsOf::Now)?.entries);
        // What came in place of an entry is new; what was taken away shows as the entry that took it away.
        let mut changed: Vec<Entry> = now
            .into_iter()
            .filter(|(number, _)| !before.contains_key(number))
            .map(|(_, entry)| entry)
            .collect();
        changed.extend(self.withdrawals(&before)?);
        changed.sort_by_key(|entry| entry.number);
        changed.dedup_by_key(|entry| entry.number);
        let own = Subject::visit(mould, visit);
        let of_visit = |entry: &Entry| entry.subject == own.as_str();
        Ok(match changed {
            none if none.is_empty() => Standing::Holds,
            some if some.iter().any(of_visit) => Standing::Changed(some),
            some => Standing::KnownSince(some),
        })
    }

    /// Last entry that a finding knew.
    fn known_to(&self, finding: u64) -> Result<AsOf, StoreError> {
        Ok(match self.entry(finding)?.fact()? {
            Fact::Finding(card) => AsOf::Entry(card.known_to),
            _ => AsOf::Entry(finding),
        })
    }

    /// The entries that withdrew any of these.
    fn withdrawals(&self, entries: &BTreeMap<u64, Entry>) -> Result<Vec<Entry>, StoreError> {
        let sql = "SELECT * FROM entry WHERE corrects = ?1 AND kind = 'withdrawal'";
        let mut statement = self.connection.prepare_cached(sql)?;
        let mut found = Vec::new();
        for number in entries.keys() {
            found.extend(statement.query_map([number], entry_of)?.collect::<Result<Vec<_>, _>>()?);
        }
        Ok(found)
    }

    /// How the visit ended, which gates were overridden, and the calibrations of its rig's instruments on its day.
    fn beside(&self, mould: &str, visit: &str, as_of: AsOf) -> Result<Beside, StoreError> {
        let mut beside = Beside::default();
        let (mut day, mut rig) = (None, None);
        for item in self.items(&Subject::visit(mould, visit), as_of)? {
            match &item.fact {
                Fact::Visit(card) => {
                    day = Some(card.started.strftime("%Y-%m-%d").to_string());
                    rig = card.rig.rig.clone();
                }
                Fact::VisitEnd(_) | Fact::Override(_) => {
                    beside.entries.insert(item.entry.number, item.entry);
                }
                _ => {}
            }
        }
        if let (Some(day), Some(rig)) = (day, rig) {
            for row in self.instruments()?.into_iter().filter(|row| row.rig.as_deref() == Some(rig.as_str()))
            {
                let items = self.items(&Subject::instrument(&row.id), as_of)?;
                beside.instruments.extend(instrument(&mut beside.entries, items, &day));
            }
        }
        Ok(beside)
    }
}

/// An instrument with its calibration of the day; the entries that say so are added.
fn instrument(entries: &mut BTreeMap<u64, Entry>, items: Vec<Item>, day: &str) -> Option<Instrument> {
    let mut card = None;
    let mut newest: Option<(CalibrationCard, Entry)> = None;
    for item in items {
        match item.fact {
            Fact::Instrument(known) => {
                entries.insert(item.entry.number, item.entry);
                card = Some(known);
            }
            Fact::Calibration(made)
                if made.on.as_str() <= day
                    && newest.as_ref().is_none_or(|(other, _)| other.on <= made.on) =>
            {
                newest = Some((made, item.entry));
            }
            _ => {}
        }
    }
    let calibration = newest.map(|(made, entry)| {
        entries.insert(entry.number, entry);
        made
    });
    card.map(|card| Instrument { card, calibration })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_read_as_people_type_it() {
        let number = CertificateNumber::of(Digest::of(b"abc"));
        assert_eq!(number.to_string(), "ba78-16bf-8f01");
        for text in ["ba7816bf8f01", "BA78-16BF-8F01", "ba78 16bf 8f01"] {
            assert_eq!(CertificateNumber::parse(text).as_ref(), Some(&number), "{text}");
        }
        for text in ["", "ba78-16bf", "ba78-16bf-8f0g", "ba78-16bf-8f01-00"] {
            assert_eq!(CertificateNumber::parse(text), None, "{text}");
        }
    }
}
