//! Certificates: numbered by what they rest on, found again, and honest about what was recorded since.

#![allow(clippy::unwrap_used)]

mod common;

use bench::mould::Mould;
use bench::visit::Visit;
use common::{Folder, at, opened, simulated, take_in, whole};
use store::read::{CertificateNumber, Issued, Standing};
use store::shapes::{
    CalibrationCard, CertificateCard, FindingCard, InstrumentCard, OutcomeWord, OverrideCard, RigCard,
    TableCard, VisitEndCard, WithdrawalCard,
};
use store::{AsOf, Blob, Digest, Fact, Store, Subject, Write};

const DOCUMENT: &[u8] = b"a certificate";

struct House {
    folder: Folder,
    store: Store,
    mould: Mould,
    visit: Visit,
    finding: u64,
    known_to: AsOf,
}

fn house() -> House {
    let folder = Folder::new();
    let store = opened(&folder.record());
    let (mould, mut visit) = simulated(31);
    visit.rig.name = Some("R1".into());
    take_in(&store, &mould, &visit, None);
    let known_to = store.read(|reader| reader.head()).unwrap().number;
    let inputs = store.read(|reader| reader.inputs_of(&mould.id.0, &visit.id, AsOf::Now)).unwrap();
    let blob = Blob::new(b"{}".to_vec());
    let mut write = Write::new("finding", at(30), "kt");
    write.bring([blob.clone()]).say(Fact::Finding(FindingCard {
        mould: mould.id.0.clone(),
        visit: visit.id.clone(),
        method: "m/1".into(),
        program: "test".into(),
        known_to,
        inputs,
        document: blob.digest(),
        fit_for_press: "yes".into(),
        headline: "All well".into(),
        circuits: vec![],
    }));
    let finding = store.write(&write).unwrap().first;
    House { folder, store, mould, visit, finding, known_to: AsOf::Entry(known_to) }
}

impl House {
    fn number(&self) -> CertificateNumber {
        let (mould, visit) = (&self.mould.id.0, &self.visit.id);
        self.store.read(|reader| reader.certificate_number(mould, visit, "m/1", self.known_to)).unwrap()
    }

    fn say(&self, key: &str, fact: Fact) -> u64 {
        let mut write = Write::new(key, at(100), "lead");
        write.say(fact);
        self.store.write(&write).unwrap().first
    }

    fn issue(&self) -> Issued {
        let number = self.number();
        let blob = Blob::new(DOCUMENT.to_vec());
        let mut write = Write::new(number.key(), at(40), "kt");
        write.bring([blob.clone()]).say(Fact::Certificate(CertificateCard {
            mould: self.mould.id.0.clone(),
            visit: self.visit.id.clone(),
            finding: self.finding,
            document: blob.digest(),
            media_type: "application/pdf".into(),
        }));
        self.store.write(&write).unwrap();
        self.store.read(|reader| reader.certificate(&number)).unwrap().unwrap()
    }

    fn standing(&self, number: &CertificateNumber) -> Standing {
        self.store.read(|reader| reader.standing(&reader.certificate(number)?.unwrap())).unwrap()
    }

    fn end(&self) -> Fact {
        Fact::VisitEnd(VisitEndCard {
            mould: self.mould.id.0.clone(),
            visit: self.visit.id.clone(),
            at: at(99),
            outcome: OutcomeWord::Release,
            remark: None,
        })
    }
}

#[test]
fn a_certificate_is_found_by_number_and_by_document() {
    let house = house();
    let issued = house.issue();
    let by_document = house.store.read(|reader| reader.certificate_of(Digest::of(DOCUMENT))).unwrap();
    assert_eq!(by_document.as_ref(), Some(&issued));
    assert_eq!(house.store.read(|reader| reader.certificate_of(Digest::of(b"another"))).unwrap(), None);
    let (mould, visit) = (&house.mould.id.0, &house.visit.id);
    let all = house.store.read(|reader| reader.certificates(mould, visit)).unwrap();
    assert_eq!(all, std::slice::from_ref(&issued));
    let said = house.store.read(|reader| reader.said(&issued)).unwrap();
    assert_eq!((said.finding.headline.as_str(), said.end), ("All well", None));
    assert_eq!(house.number(), issued.number, "issuing changes nothing that the number rests on");
    assert_eq!(house.standing(&issued.number), Standing::Holds);
    whole(&house.folder.record());
}

#[test]
fn what_is_said_of_the_visit_changes_it() {
    let overridden = |house: &House| {
        Fact::Override(OverrideCard {
            mould: house.mould.id.0.clone(),
            visit: house.visit.id.clone(),
            circuit: house.mould.circuits[0].id.0.clone(),
            gate: "release".into(),
            open: true,
            because: "the press waits".into(),
            against: Vec::new(),
        })
    };
    for key in ["end", "override"] {
        let house = house();
        let issued = house.issue();
        let fact = if key == "end" { house.end() } else { overridden(&house) };
        let number = house.say(key, fact);
        let Standing::Changed(entries) = house.standing(&issued.number) else { panic!("{key}") };
        assert_eq!(entries.iter().map(|entry| entry.number).collect::<Vec<_>>(), [number], "{key}");
        assert_ne!(house.number(), issued.number, "{key}: another paper has another number");
    }
}

#[test]
fn a_reading_that_is_corrected_or_withdrawn_changes_it() {
    let house = house();
    let issued = house.issue();
    let about = Subject::visit(&house.mould.id.0, &house.visit.id);
    let items = house.store.read(|reader| reader.items(&about, AsOf::Now)).unwrap();
    let reading = items.iter().find(|item| matches!(item.fact, Fact::Reading(_))).unwrap().entry.number;
    let mut write = Write::new("withdrawn", at(100), "kt");
    write.correct(reading, Fact::Withdrawal(WithdrawalCard { about }), "wrong hose");
    let taken = house.store.write(&write).unwrap().first;
    let Standing::Changed(entries) = house.standing(&issued.number) else { panic!("not noticed") };
    assert_eq!((entries[0].number, entries[0].reason.as_deref()), (taken, Some("wrong hose")));
}

#[test]
fn what_surrounds_the_visit_is_told_apart() {
    let house = house();
    let issued = house.issue();
    house.say("limits", Fact::Limits(TableCard { text: "new limits".into() }));
    let mut mould = house.mould.clone();
    mould.name.push_str(", renamed");
    take_in(&house.store, &mould, &house.visit, Some("a better name"));
    let Standing::KnownSince(entries) = house.standing(&issued.number) else { panic!("not told apart") };
    assert_eq!(entries.len(), 2);
}

#[test]
fn only_the_calibration_of_the_day_counts() {
    let house = house();
    house.say("rig", Fact::Rig(RigCard::of(&house.visit.rig)));
    let instrument =
        InstrumentCard { instrument: "FM 7".into(), rig: Some("R1".into()), measures: "flow".into() };
    house.say("instrument", Fact::Instrument(instrument));
    let calibration = |on: &str, until: &str| {
        Fact::Calibration(CalibrationCard {
            instrument: "FM 7".into(),
            on: on.into(),
            until: until.into(),
            by: "the bench".into(),
            number: None,
        })
    };
    house.say("first", calibration("2020-01-01", "2021-01-01"));
    house.say("second", calibration("2022-01-01", "2023-01-01"));
    let (mould, visit) = (&house.mould.id.0, &house.visit.id);
    let seen = house.store.read(|reader| reader.instruments_of(mould, visit, AsOf::Now)).unwrap();
    assert_eq!(seen.len(), 1);
    assert_eq!(seen[0].calibration.as_ref().map(|made| made.on.as_str()), Some("2022-01-01"));
    let issued = house.issue();
    house.say("next year's", calibration("2099-01-01", "2100-01-01"));
    assert_eq!(house.standing(&issued.number), Standing::Holds);
}

#[test]
fn a_withdrawn_certificate_does_not_hold() {
    let house = house();
    let issued = house.issue();
    let about = Subject::visit(&house.mould.id.0, &house.visit.id);
    let mut write = Write::new("withdrawn", at(100), "lead");
    write.correct(issued.entry.number, Fact::Withdrawal(WithdrawalCard { about }), "issued too early");
    let entry = house.store.write(&write).unwrap().first;
    assert_eq!(house.standing(&issued.number), Standing::Withdrawn(entry));
}
