//! Takes in a whole mould or visit that comes from elsewhere: records what is new or different, and nothing twice.

use std::collections::{BTreeMap, BTreeSet};

use bench::mould::Mould;
use bench::visit::{Rig, Visit};

use crate::blob::Blob;
use crate::chain::Entry;
use crate::digest::{Digest, Fields};
use crate::error::StoreError;
use crate::fact::{Fact, Subject};
use crate::read::{AsOf, Item, Reader, fold};
use crate::shapes::{
    BaselineCard, CircuitCard, HalfCard, HookUpCard, MouldCard, PastCard, PiecesCard, ReadingCard, RigCard,
    VisitCard,
};
use crate::write::Write;

/// What taking something in would do.
#[derive(Clone, Debug, Default)]
pub struct Taken {
    /// What is new.
    pub new: Vec<Fact>,
    /// What is on record otherwise: the entry, and what is said now.
    pub changed: Vec<(Item, Fact)>,
    /// How many things are on record as they come.
    pub same: usize,
    /// What comes as it once was on record, and is on record otherwise by now: left as it is. An old file that is taken
    /// in again does not undo what was said since.
    pub outdated: Vec<Item>,
    /// What is on record and does not come: left as it is.
    pub left: Vec<Item>,
    /// Bytes that the facts name.
    blobs: Vec<Blob>,
}

impl Taken {
    /// Whether nothing is to be recorded.
    #[must_use]
    pub fn is_nothing(&self) -> bool {
        self.new.is_empty() && self.changed.is_empty()
    }

    /// What cannot be recorded without a reason: readings and treatments that are on record otherwise. A new drawing
    /// is a new version; a reading of yesterday can only have been wrong.
    pub fn wants_reason(&self) -> impl Iterator<Item = &Item> {
        self.changed
            .iter()
            .filter(|(_, fact)| {
                matches!(fact, Fact::Reading(_) | Fact::Visit(_) | Fact::HookUp(_) | Fact::HookUp2(_))
            })
            .map(|(item, _)| item)
    }

    /// Takes in more.
    pub fn and(&mut self, more: Self) {
        self.new.extend(more.new);
        self.changed.extend(more.changed);
        self.same += more.same;
        self.outdated.extend(more.outdated);
        self.left.extend(more.left);
        self.blobs.extend(more.blobs);
    }

    /// The write that records it. With a reason, what is on record otherwise is corrected; without one it becomes a
    /// new version, as far as it may.
    ///
    /// # Errors
    /// [`StoreError::ReasonMissing`] with the first of [`Taken::wants_reason`].
    pub fn write(
        &self,
        reader: &Reader<'_>,
        at: jiff::Timestamp,
        person: &str,
        reason: Option<&str>,
    ) -> Result<Write, StoreError> {
        self.write_as(self.key(reader)?, at, person, reason)
    }

    /// The same under a key of the caller's.
    ///
    /// # Errors
    /// As [`Taken::write`].
    pub fn write_as(
        &self,
        key: String,
        at: jiff::Timestamp,
        person: &str,
        reason: Option<&str>,
    ) -> Result<Write, StoreError> {
        let mut write = Write::new(key, at, person);
        for fact in &self.new {
            write.say(fact.clone());
        }
        for (item, fact) in &self.changed {
            match reason {
                Some(reason) => write.correct(item.entry.number, fact.clone(), reason),
                None if self.wants_reason().any(|wanting| wanting.root == item.root) => {
                    return Err(StoreError::ReasonMissing(item.entry.number));
                }
                None => write.say(fact.clone()),
            };
        }
        let mut named = BTreeSet::new();
        let wanted: BTreeSet<Digest> = write.facts().flat_map(Fact::blobs).collect();
        let once = self
            .blobs
            .iter()
            .filter(|blob| wanted.contains(&blob.digest()) && named.insert(blob.digest()))
            .cloned();
        write.bring(once);
        Ok(write)
    }

    /// The same things at the same place of the history have the same key.
    fn key(&self, reader: &Reader<'_>) -> Result<String, StoreError> {
        let facts = self.new.iter().chain(self.changed.iter().map(|(_, fact)| fact));
        let mut fields = Fields::of("borewise taken in 1").then(&reader.head()?.hash.0);
        for fact in facts {
            fields = fields.then(serde_json::to_string(fact).unwrap_or_default().as_bytes());
        }
        Ok(format!("taken-in-{}", fields.finish()))
    }

    /// Compares a fact with what is on record of the same kind and subject.
    fn compare(&mut self, there: &There, fact: Fact) {
        let subject = fact.subject();
        let of_it = |known: &Fact| known.kind() == fact.kind() && known.subject() == subject;
        match there.items.iter().find(|item| of_it(&item.fact)) {
            Some(item) if item.withdrawn.is_none() && item.fact == fact => self.same += 1,
            Some(item) if there.ever.contains(&fact) => self.outdated.push(item.clone()),
            Some(item) if item.withdrawn.is_none() => self.changed.push((item.clone(), fact)),
            _ => self.new.push(fact),
        }
    }
}

/// What is on record, and what ever was.
#[derive(Default)]
struct There {
    items: Vec<Item>,
    ever: Vec<Fact>,
}

impl There {
    fn add(&mut self, entries: Vec<Entry>) -> Result<(), StoreError> {
        for entry in &entries {
            self.ever.push(entry.fact()?);
        }
        self.items.extend(fold(entries)?);
        Ok(())
    }

    fn standing(&self) -> impl Iterator<Item = &Item> {
        self.items.iter().filter(|item| item.withdrawn.is_none())
    }
}

impl Reader<'_> {
    /// What taking in this mould would do.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`].
    pub fn take_in_mould(&self, mould: &Mould) -> Result<Taken, StoreError> {
        let id = mould.id.0.as_str();
        let mut there = There::default();
        there.add(self.history(&Subject::mould(id), AsOf::Now)?)?;
        there.add(self.entries_inside("half", id, AsOf::Now)?)?;
        there.add(self.entries_inside("circuit", id, AsOf::Now)?)?;
        let mut taken = Taken::default();
        let mut card = MouldCard::of(mould);
        // A file does not say whose tool it is, so it cannot take that away.
        card.owner = there.standing().find_map(|item| match &item.fact {
            Fact::Mould(known) => known.owner.clone(),
            _ => None,
        });
        taken.compare(&there, Fact::Mould(card));
        let halves: BTreeSet<&str> = mould.circuits.iter().map(|circuit| circuit.half.as_str()).collect();
        for half in halves {
            // A file names halves and does not count their openings, so it cannot take the number away.
            let counted = |item: &Item| matches!(&item.fact, Fact::Half2(card) if card.half == half);
            if there.standing().any(counted) {
                taken.same += 1;
            } else {
                taken.compare(&there, Fact::Half(HalfCard { mould: id.to_owned(), half: half.to_owned() }));
            }
        }
        for (place, circuit) in (0..).zip(&mould.circuits) {
            taken.compare(&there, Fact::Circuit(CircuitCard::of(mould, place, circuit)));
            if let Some(card) = PiecesCard::of(mould, circuit) {
                taken.compare(&there, Fact::Pieces(card));
            }
            if let Some(card) = BaselineCard::of(mould, circuit) {
                taken.compare(&there, Fact::Baseline(card));
            }
            if let Some(card) = PastCard::of(mould, circuit) {
                taken.compare(&there, Fact::Past(card));
            }
        }
        let come: BTreeSet<&str> = mould.circuits.iter().map(|circuit| circuit.id.0.as_str()).collect();
        let left =
            |item: &&Item| matches!(&item.fact, Fact::Circuit(card) if !come.contains(card.circuit.as_str()));
        taken.left = there.standing().filter(left).cloned().collect();
        Ok(taken)
    }

    /// What taking in this visit would do; its mould is taken in before it.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`].
    pub fn take_in_visit(&self, visit: &Visit) -> Result<Taken, StoreError> {
        let (mould, id) = (visit.mould.0.as_str(), visit.id.as_str());
        let mut there = There::default();
        there.add(self.history(&Subject::visit(mould, id), AsOf::Now)?)?;
        let mut taken = Taken::default();
        // The visit keeps the rig as it stood; an old visit says nothing of the rig as it stands.
        if let Some(name) = &visit.rig.name
            && self.history(&Subject::rig(name), AsOf::Now)?.is_empty()
        {
            taken.new.push(Fact::Rig(RigCard::of(&visit.rig)));
        }
        taken.compare(&there, Fact::Visit(VisitCard::of(visit)));
        if let Some(card) = HookUpCard::of(visit) {
            // A file knows neither direction nor jumpers: the same circuits on the same ports are the same hook-up.
            let same =
                |item: &Item| matches!(&item.fact, Fact::HookUp2(known) if known.alone() == visit.hook_ups);
            if there.standing().any(same) {
                taken.same += 1;
            } else {
                taken.compare(&there, Fact::HookUp(card));
            }
        }
        let by_place: BTreeMap<u32, &Item> = there
            .standing()
            .filter_map(|item| match &item.fact {
                Fact::Reading(card) => Some((card.place, item)),
                _ => None,
            })
            .collect();
        let mut come = 0;
        for (place, entry) in (0..).zip(&visit.entries) {
            let card = ReadingCard::of(mould, id, place, entry, &mut taken.blobs);
            come = place + 1;
            match by_place.get(&place) {
                Some(item) => match &item.fact {
                    Fact::Reading(known) if known.says_the_same(&card) => taken.same += 1,
                    _ if said_before(&there, &card) => taken.outdated.push((*item).clone()),
                    _ => taken.changed.push(((*item).clone(), Fact::Reading(card))),
                },
                None => match withdrawn(&there, &card) {
                    Some(item) => taken.outdated.push(item.clone()),
                    None => taken.new.push(Fact::Reading(card)),
                },
            }
        }
        let left = by_place.range(come..).map(|(_, item)| (*item).clone()).collect();
        taken.left = left;
        Ok(taken)
    }

    /// What taking in this text of the plant's limits or materials would do.
    ///
    /// # Errors
    /// [`StoreError::Sql`], [`StoreError::Unreadable`].
    pub fn take_in_table(&self, table: Fact) -> Result<Taken, StoreError> {
        let mut there = There::default();
        there.add(self.history(&table.subject(), AsOf::Now)?)?;
        let mut taken = Taken::default();
        taken.compare(&there, table);
        Ok(taken)
    }

    /// What taking in this rig would do; a rig without a name cannot be told from others.
    ///
    /// # Errors
    /// [`StoreError::BadName`] for a rig without a name.
    pub fn take_in_rig(&self, rig: &Rig) -> Result<Taken, StoreError> {
        let card = RigCard::of(rig);
        let Some(name) = card.rig.clone() else {
            return Err(StoreError::BadName { what: "the name of a rig", value: String::new() });
        };
        let mut there = There::default();
        there.add(self.history(&Subject::rig(&name), AsOf::Now)?)?;
        let mut taken = Taken::default();
        taken.compare(&there, Fact::Rig(card));
        Ok(taken)
    }
}

/// The item that said this at this place and was withdrawn.
fn withdrawn<'t>(there: &'t There, card: &ReadingCard) -> Option<&'t Item> {
    there.items.iter().find(|item| {
        item.withdrawn.is_some() && matches!(&item.fact, Fact::Reading(known) if known.says_the_same(card))
    })
}

/// Whether an earlier version of a reading said this at this place.
fn said_before(there: &There, card: &ReadingCard) -> bool {
    there.ever.iter().any(|fact| matches!(fact, Fact::Reading(known) if known.says_the_same(card)))
}
