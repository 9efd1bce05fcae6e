//! Reading the record: what is known now, what was known at any earlier entry, and how it came about.

mod certificates;
mod lists;

use std::collections::BTreeMap;

use bench::finding::GateName;
use bench::mould::{CircuitId, Mould, MouldId};
use bench::overrides::Override;
use bench::visit::{HookUp, Visit};
use calc::trace::Trace;
use rusqlite::{Connection, OptionalExtension as _, Row};

use crate::blob;
use crate::chain::{Entry, Head};
use crate::digest::{Digest, Fields};
use crate::error::StoreError;
use crate::fact::{Fact, Follows, Subject};
use crate::shapes::{BaselineCard, CircuitCard, FindingCard, PastCard, PiecesCard, ReadingCard};
use crate::trace_pack;

pub use certificates::{CertificateNumber, Instrument, Issued, Said, Standing};
pub use lists::{CircuitFindingRow, CircuitRow, FindingRow, InstrumentRow, MouldRow, VisitRow};

/// Up to which entry of the history something is read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AsOf {
    /// The newest entry.
    Now,
    /// This entry: what was known then.
    Entry(u64),
}

impl AsOf {
    fn number(self) -> i64 {
        match self {
            Self::Now => i64::MAX,
            Self::Entry(number) => i64::try_from(number).unwrap_or(i64::MAX),
        }
    }
}

/// Something that entries speak of, as it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Item {
    /// Its first entry.
    pub root: u64,
    /// Its newest entry.
    pub entry: Entry,
    /// What that says.
    pub fact: Fact,
    /// How many entries speak of it.
    pub versions: u32,
    /// The entry that withdrew it.
    pub withdrawn: Option<u64>,
}

/// What follows from these entries, in their order: later versions and corrections in place of earlier ones.
///
/// # Errors
/// [`StoreError::Unreadable`] for an entry of a later program.
pub fn fold(entries: impl IntoIterator<Item = Entry>) -> Result<Vec<Item>, StoreError> {
    let mut items: BTreeMap<u64, Item> = BTreeMap::new();
    for entry in entries {
        let fact = entry.fact()?;
        let earlier = match entry.corrects {
            Some(number) => items.values_mut().find(|item| item.entry.number == number),
            None if fact.follows() == Follows::StandsBeside => None,
            None => items
                .values_mut()
                .find(|item| item.fact.kind() == fact.kind() && item.entry.subject == entry.subject),
        };
        match (earlier, &fact) {
            (Some(item), Fact::Withdrawal(_)) => item.withdrawn = Some(entry.number),
            (Some(item), _) => {
                (item.fact, item.entry, item.withdrawn) = (fact, entry, None);
                item.versions += 1;
            }
            (None, Fact::Withdrawal(_)) => {}
            (None, _) => {
                let root = entry.number;
                items.insert(root, Item { root, entry, fact, versions: 1, withdrawn: None });
            }
        }
    }
    Ok(items.into_values().collect())
}

/// A look at the record: everything that is asked through it is of one moment.
pub struct Reader<'c> {
    pub(crate) connection: &'c Connection,
}

impl Reader<'_> {
    /// The end of the history.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn head(&self) -> Result<Head, StoreError> {
        head(self.connection)
    }

    /// One entry.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] if there is none of this number.
    pub fn entry(&self, number: u64) -> Result<Entry, StoreError> {
        let sql = "SELECT * FROM entry WHERE number = ?1";
        let found = self.connection.prepare_cached(sql)?.query_row([number], entry_of).optional()?;
        found.ok_or_else(|| StoreError::Unknown { what: "entry", id: number.to_string() })
    }

    /// The entries that a write of this key became, in order; none if it was never recorded.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn written(&self, key: &str) -> Result<Vec<Entry>, StoreError> {
        let sql = "SELECT * FROM entry WHERE write_key = ?1 ORDER BY part";
        let mut statement = self.connection.prepare_cached(sql)?;
        Ok(statement.query_map([key], entry_of)?.collect::<Result<_, _>>()?)
    }

    /// At most so many entries after this one, in order: what is new since somebody looked.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn entries_after(&self, number: u64, most: u32) -> Result<Vec<Entry>, StoreError> {
        let sql = "SELECT * FROM entry WHERE number > ?1 ORDER BY number LIMIT ?2";
        let mut statement = self.connection.prepare_cached(sql)?;
        Ok(statement.query_map((number, most), entry_of)?.collect::<Result<_, _>>()?)
    }

    /// Every entry about a subject, in order.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn history(&self, subject: &Subject, as_of: AsOf) -> Result<Vec<Entry>, StoreError> {
        let sql = "SELECT * FROM entry WHERE subject = ?1 AND number <= ?2 ORDER BY number";
        let mut statement = self.connection.prepare_cached(sql)?;
        let rows = statement.query_map((subject.as_str(), as_of.number()), entry_of)?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// What stands about a subject, without what was withdrawn.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`].
    pub fn items(&self, subject: &Subject, as_of: AsOf) -> Result<Vec<Item>, StoreError> {
        let mut items = fold(self.history(subject, as_of)?)?;
        items.retain(|item| item.withdrawn.is_none());
        Ok(items)
    }

    /// Every entry about the subjects of this kind inside a mould, in order.
    pub(crate) fn entries_inside(
        &self,
        kind: &str,
        mould: &str,
        as_of: AsOf,
    ) -> Result<Vec<Entry>, StoreError> {
        let (from, to) = Subject::inside(kind, mould);
        let sql = "SELECT * FROM entry WHERE subject >= ?1 AND subject < ?2 AND number <= ?3 ORDER BY number";
        let mut statement = self.connection.prepare_cached(sql)?;
        let rows = statement.query_map((from, to, as_of.number()), entry_of)?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// What stands about all subjects of this kind inside a mould, without what was withdrawn.
    fn inside(&self, kind: &str, mould: &str, as_of: AsOf) -> Result<Vec<Item>, StoreError> {
        let mut items = fold(self.entries_inside(kind, mould, as_of)?)?;
        items.retain(|item| item.withdrawn.is_none());
        Ok(items)
    }

    /// A mould with its circuits, their pieces and baselines.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] if it was not on record then.
    pub fn mould(&self, mould: &str, as_of: AsOf) -> Result<Mould, StoreError> {
        let about = self.items(&Subject::mould(mould), as_of)?;
        let card = about.iter().find_map(|item| match &item.fact {
            Fact::Mould(card) => Some(card.clone()),
            _ => None,
        });
        let card = card.ok_or_else(|| StoreError::Unknown { what: "mould", id: mould.to_owned() })?;
        let items = self.inside("circuit", mould, as_of)?;
        let mut circuits: Vec<&CircuitCard> = Vec::new();
        let mut pieces: BTreeMap<&str, &PiecesCard> = BTreeMap::new();
        let mut baselines: BTreeMap<&str, &BaselineCard> = BTreeMap::new();
        let mut pasts: BTreeMap<&str, &PastCard> = BTreeMap::new();
        for item in &items {
            match &item.fact {
                Fact::Circuit(card) => circuits.push(card),
                Fact::Pieces(card) => drop(pieces.insert(&card.circuit, card)),
                Fact::Baseline(card) => drop(baselines.insert(&card.circuit, card)),
                Fact::Past(card) => drop(pasts.insert(&card.circuit, card)),
                _ => {}
            }
        }
        circuits.sort_by_key(|card| card.place);
        let circuit = |card: &&CircuitCard| {
            let id = card.circuit.as_str();
            card.circuit(pieces.get(id).copied(), baselines.get(id).copied(), pasts.get(id).copied())
        };
        Ok(Mould {
            id: MouldId(card.mould),
            name: card.name,
            process: card.process.into(),
            circuits: circuits.iter().map(circuit).collect(),
        })
    }

    /// A visit with its readings and their traces, in the order in which things were done.
    ///
    /// # Errors
    /// [`StoreError::Unknown`] if it was not on record then; [`StoreError::BlobBroken`] for a spoilt trace.
    pub fn visit(&self, mould: &str, visit: &str, as_of: AsOf) -> Result<Visit, StoreError> {
        let items = self.items(&Subject::visit(mould, visit), as_of)?;
        let card = items.iter().find_map(|item| match &item.fact {
            Fact::Visit(card) => Some(card),
            _ => None,
        });
        let unknown = || StoreError::Unknown { what: "visit", id: format!("{mould} / {visit}") };
        let card = card.ok_or_else(unknown)?;
        let mut readings: Vec<&ReadingCard> = Vec::new();
        let mut hook_ups = Vec::new();
        for item in &items {
            match &item.fact {
                Fact::Reading(card) => readings.push(card),
                Fact::HookUp(card) => hook_ups.extend(
                    card.ports
                        .iter()
                        .map(|port| HookUp { port: port.port, circuit: CircuitId(port.circuit.clone()) }),
                ),
                Fact::HookUp2(card) => hook_ups.extend(card.alone()),
                _ => {}
            }
        }
        readings.sort_by_key(|card| card.place);
        let entries = readings.iter().map(|card| card.entry(|digest| self.trace(digest)));
        Ok(Visit {
            id: card.visit.clone(),
            mould: MouldId(card.mould.clone()),
            started: card.started,
            by: card.by.clone(),
            rig: card.rig.rig(),
            hook_ups,
            entries: entries.collect::<Result<_, _>>()?,
        })
    }

    /// The leaks of all visits of a mould, without those that were none.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`].
    pub fn leaks(&self, mould: &str, as_of: AsOf) -> Result<Vec<Item>, StoreError> {
        let (from, to) = Subject::inside("visit", mould);
        let sql = "SELECT * FROM entry WHERE subject >= ?1 AND subject < ?2 AND number <= ?3 \
                   AND kind IN ('leak', 'withdrawal') ORDER BY number";
        let mut statement = self.connection.prepare_cached(sql)?;
        let rows = statement.query_map((from, to, as_of.number()), entry_of)?;
        let mut items = fold(rows.collect::<Result<Vec<_>, _>>()?)?;
        items.retain(|item| item.withdrawn.is_none());
        Ok(items)
    }

    /// What people decided against the rules of the gates in a visit, in the order in which they did.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`].
    pub fn overrides(&self, mould: &str, visit: &str, as_of: AsOf) -> Result<Vec<Override>, StoreError> {
        let items = self.items(&Subject::visit(mould, visit), as_of)?;
        let one = |item: Item| match item.fact {
            Fact::Override(card) => Some(Override {
                gate: GateName::of(&card.gate)?,
                circuit: CircuitId(card.circuit),
                open: card.open,
                at: jiff::Timestamp::from_microsecond(item.entry.at_us).ok()?,
                by: item.entry.person,
                because: card.because,
                against: card.against,
            }),
            _ => None,
        };
        Ok(items.into_iter().filter_map(one).collect())
    }

    /// The text of a table of the plant, `limits` or `materials`; nothing if it never set its own.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`].
    pub fn table(&self, name: &str, as_of: AsOf) -> Result<Option<String>, StoreError> {
        let items = self.items(&Subject::table(name), as_of)?;
        Ok(items.into_iter().find_map(|item| match item.fact {
            Fact::Limits(card) | Fact::Materials(card) => Some(card.text),
            _ => None,
        }))
    }

    /// The newest finding of each visit of this mould that began before this one, in the order in which they began.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`].
    pub fn earlier_findings(
        &self,
        mould: &str,
        visit: &str,
        as_of: AsOf,
    ) -> Result<Vec<FindingCard>, StoreError> {
        let items = self.earlier_finding_items(mould, visit, as_of)?;
        Ok(items
            .into_iter()
            .filter_map(|item| match item.fact {
                Fact::Finding(card) => Some(card),
                _ => None,
            })
            .collect())
    }

    fn earlier_finding_items(&self, mould: &str, visit: &str, as_of: AsOf) -> Result<Vec<Item>, StoreError> {
        let (from, to) = Subject::inside("visit", mould);
        let sql = "SELECT * FROM entry WHERE subject >= ?1 AND subject < ?2 AND number <= ?3 \
                   AND kind IN ('visit', 'finding', 'withdrawal') ORDER BY number";
        let mut statement = self.connection.prepare_cached(sql)?;
        let rows = statement.query_map((from, to, as_of.number()), entry_of)?;
        let mut started: BTreeMap<String, jiff::Timestamp> = BTreeMap::new();
        let mut newest: BTreeMap<String, Item> = BTreeMap::new();
        for item in fold(rows.collect::<Result<Vec<_>, _>>()?)? {
            match &item.fact {
                Fact::Visit(card) => drop(started.insert(card.visit.clone(), card.started)),
                Fact::Finding(card) if item.withdrawn.is_none() => {
                    let name = card.visit.clone();
                    newest.insert(name, item);
                }
                _ => {}
            }
        }
        let Some(this) = started.get(visit).copied() else { return Ok(Vec::new()) };
        let began = |name: &String| started.get(name).copied().filter(|began| *began < this);
        let mut earlier: Vec<(jiff::Timestamp, Item)> =
            newest.into_iter().filter_map(|(name, item)| Some((began(&name)?, item))).collect();
        earlier.sort_by_key(|(began, item)| (*began, item.root));
        Ok(earlier.into_iter().map(|(_, item)| item).collect())
    }

    /// The digest over everything that a judgement of this visit rests on: the entries of the mould, its circuits,
    /// the visit's rig, hook-ups, readings, treatments and overrides, the findings of earlier visits, and the plant's tables, as
    /// they stood.
    ///
    /// It is the digest, by the rule of the history, of the words `borewise inputs 1` and then of each entry's number
    /// (decimal) and digest (32 bytes), in order.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`].
    pub fn inputs_of(&self, mould: &str, visit: &str, as_of: AsOf) -> Result<Digest, StoreError> {
        let entries = self.input_entries(mould, visit, as_of)?;
        let fields = Fields::of("borewise inputs 1");
        let all = entries
            .values()
            .fold(fields, |all, entry| all.then(entry.number.to_string().as_bytes()).then(&entry.hash.0));
        Ok(all.finish())
    }

    /// The entries that a judgement of this visit rests on, by number.
    pub(crate) fn input_entries(
        &self,
        mould: &str,
        visit: &str,
        as_of: AsOf,
    ) -> Result<BTreeMap<u64, Entry>, StoreError> {
        let mut items = self.items(&Subject::mould(mould), as_of)?;
        items.extend(self.inside("circuit", mould, as_of)?);
        items.extend(self.items(&Subject::visit(mould, visit), as_of)?);
        items.extend(self.items(&Subject::table("limits"), as_of)?);
        items.extend(self.items(&Subject::table("materials"), as_of)?);
        items.retain(|item| {
            matches!(
                item.fact,
                Fact::Mould(_)
                    | Fact::Circuit(_)
                    | Fact::Pieces(_)
                    | Fact::Baseline(_)
                    | Fact::Past(_)
                    | Fact::Visit(_)
                    | Fact::HookUp(_)
                    | Fact::HookUp2(_)
                    | Fact::Reading(_)
                    | Fact::Override(_)
                    | Fact::Limits(_)
                    | Fact::Materials(_)
            )
        });
        items.extend(self.earlier_finding_items(mould, visit, as_of)?);
        Ok(items.into_iter().map(|item| (item.entry.number, item.entry)).collect())
    }

    /// The bytes under a digest.
    ///
    /// # Errors
    /// [`StoreError::BlobMissing`], or [`StoreError::BlobBroken`] if they are no longer those.
    pub fn blob(&self, digest: Digest) -> Result<Vec<u8>, StoreError> {
        let sql = "SELECT packing, bytes FROM blob WHERE digest = ?1";
        let kept = self
            .connection
            .prepare_cached(sql)?
            .query_row([digest.0], |row| Ok((row.get::<_, String>(0)?, row.get::<_, Vec<u8>>(1)?)))
            .optional()?;
        let (packing, bytes) = kept.ok_or(StoreError::BlobMissing(digest))?;
        blob::unpacked(digest, &packing, bytes).ok_or(StoreError::BlobBroken(digest))
    }

    /// The trace under a digest.
    ///
    /// # Errors
    /// As [`Reader::blob`]; [`StoreError::BlobBroken`] also if the bytes are no trace.
    pub fn trace(&self, digest: Digest) -> Result<Trace, StoreError> {
        trace_pack::unpack(&self.blob(digest)?).map_err(|_| StoreError::BlobBroken(digest))
    }
}

/// The end of the history.
pub(crate) fn head(connection: &Connection) -> Result<Head, StoreError> {
    let sql = "SELECT number, hash FROM entry ORDER BY number DESC LIMIT 1";
    let found = connection
        .prepare_cached(sql)?
        .query_row([], |row| Ok(Head { number: row.get(0)?, hash: Digest(row.get(1)?) }))
        .optional()?;
    Ok(found.unwrap_or(Head::EMPTY))
}

/// An entry from a row of its table.
pub(crate) fn entry_of(row: &Row<'_>) -> rusqlite::Result<Entry> {
    Ok(Entry {
        number: row.get("number")?,
        at_us: row.get("at_us")?,
        person: row.get("person")?,
        kind: row.get("kind")?,
        subject: row.get("subject")?,
        write_key: row.get("write_key")?,
        part: row.get("part")?,
        parts: row.get("parts")?,
        corrects: row.get("corrects")?,
        reason: row.get("reason")?,
        body: row.get("body")?,
        previous: Digest(row.get("previous")?),
        hash: Digest(row.get("hash")?),
    })
}
