//! `borewise certificate`: a certificate is set from the record, goes on record, and is the same paper from then on.

use std::collections::BTreeMap;
use std::fs;

use bench::finding::Findings;
use paper::{Certificate, Instrument, Override, PaperError, VisitEnd, certificate};
use store::read::{CertificateNumber, FindingRow, Issued};
use store::shapes::{CertificateCard, OutcomeWord};
use store::{AsOf, Blob, Fact, Head, Reader, Session, Store, StoreError, Write};

use super::Wish;
use crate::assess::PROGRAM;
use crate::output::{Failure, Verdict, print};
use crate::record::findings::{self, Stop};
use crate::record::{failed, take_in};

const MEDIA_TYPE: &str = "application/pdf";
/// Longest address of the bench book that leaves room for a mould and a circuit in a QR code (own choice).
const BASE_LETTERS: usize = 300;

/// Who issues which certificate, and where its QR code leads.
#[derive(Clone, Copy)]
pub struct Order<'a> {
    pub mould: &'a str,
    pub visit: &'a str,
    /// Short name of the person who issues it.
    pub by: &'a str,
    pub at: jiff::Timestamp,
    /// Address of the bench book.
    pub base: &'a str,
    /// Name of the plant; may be empty.
    pub plant: &'a str,
}

/// Why there is no certificate.
pub enum Trouble {
    Store(StoreError),
    Refused(String),
    Failed(String),
}

impl From<StoreError> for Trouble {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

impl From<Stop> for Trouble {
    fn from(stop: Stop) -> Self {
        match stop {
            Stop::Store(error) => Self::Store(error),
            Stop::Tables(failure) => Self::Failed(failure.text().to_owned()),
        }
    }
}

impl From<PaperError> for Trouble {
    fn from(error: PaperError) -> Self {
        match error {
            PaperError::AddressLong { .. } => Self::Refused(error.to_string()),
            PaperError::NotSet(_) => Self::Failed(error.to_string()),
        }
    }
}

/// Issues a certificate, or prints the one on record again, into a file.
pub fn run(wish: &Wish) -> Result<Verdict, Failure> {
    let record = wish.place.file();
    let told = |trouble: Trouble| match trouble {
        Trouble::Store(error) => failed(&record, &error),
        Trouble::Refused(text) => Failure::input(&calc::form::Fault::new("", text, "")),
        Trouble::Failed(text) => Failure::could(text, ""),
    };
    let store = Store::open(&record).map_err(|error| failed(&record, &error))?;
    let by = take_in::person(wish.by.as_deref())?;
    let order = Order {
        mould: &wish.mould,
        visit: &wish.visit,
        by: &by,
        at: jiff::Timestamp::now(),
        base: &wish.base,
        plant: &wish.plant,
    };
    let (issued, new) = issue(&store, &order).map_err(told)?;
    let bytes = store.read(|reader| reader.blob(issued.card.document)).map_err(|error| told(error.into()))?;
    fs::write(&wish.out, bytes).map_err(|error| Failure::file("write", &wish.out, &error))?;
    let what = if new { "issued and on record" } else { "on record before, printed again" };
    print(&format!("Certificate {} ({what}): {}", issued.number, wish.out.display()))?;
    Ok(Verdict::Done)
}

/// Issues the certificate of a visit and puts it on record; says whether it is a new one. As long as nothing is recorded
/// that changes what it says, there is one certificate, and it is the same paper.
pub fn issue(store: &Store, order: &Order<'_>) -> Result<(Issued, bool), Trouble> {
    if order.base.chars().count() > BASE_LETTERS {
        return Err(Trouble::Refused(format!("the address {} is too long for a QR code", order.base)));
    }
    let row = finding_on_record(store, order)?;
    let known_to = AsOf::Entry(row.known_to);
    let number_now =
        |reader: &Reader<'_>| reader.certificate_number(order.mould, order.visit, &row.method, known_to);
    let (number, there) = store.read(|reader| {
        let number = number_now(reader)?;
        let there = reader.certificate(&number)?;
        Ok((number, there))
    })?;
    if let Some(issued) = there {
        return usable(issued).map(|issued| (issued, false));
    }
    let mut set = Ok(Vec::new());
    store.read(|reader| {
        set = document(reader, order, &row, &number);
        Ok(())
    })?;
    let blob = Blob::new(set?);
    store.together(|session: &Session<'_>| {
        let reader = session.reader();
        if let Some(issued) = reader.certificate(&number)? {
            return Ok((issued, false));
        }
        if number_now(&reader)? != number {
            let text = "the record changed while the certificate was made; issue it again";
            return Err(Trouble::Refused(text.into()));
        }
        let card = CertificateCard {
            mould: order.mould.to_owned(),
            visit: order.visit.to_owned(),
            finding: row.root,
            document: blob.digest(),
            media_type: MEDIA_TYPE.to_owned(),
        };
        let mut write = Write::new(number.key(), order.at, order.by);
        write.say(Fact::Certificate(card)).bring([blob]);
        session.write(&write)?;
        let issued = reader.certificate(&number)?;
        issued
            .map(|issued| (issued, true))
            .ok_or_else(|| Trouble::Failed("the certificate was not recorded".into()))
    })
}

fn usable(issued: Issued) -> Result<Issued, Trouble> {
    match issued.withdrawn {
        None => Ok(issued),
        Some(entry) => {
            let number = &issued.number;
            Err(Trouble::Refused(format!(
                "certificate {number} was withdrawn by entry {entry}, and nothing was recorded since that would change it"
            )))
        }
    }
}

/// The finding that the certificate shows, put on record if it is not. A visit that has ended shows what was found then.
fn finding_on_record(store: &Store, order: &Order<'_>) -> Result<FindingRow, Trouble> {
    let mut looked: Result<(Option<FindingRow>, Option<Write>), Trouble> = Ok((None, None));
    store.read(|reader| {
        looked = newest_finding(reader, order);
        Ok(())
    })?;
    let (row, write) = looked?;
    if let Some(row) = row {
        return Ok(row);
    }
    if let Some(write) = write {
        store.write(&write)?;
    }
    let rows = store.read(|reader| reader.findings(order.mould))?;
    let row = rows.into_iter().find(|row| row.visit == order.visit);
    row.ok_or_else(|| Trouble::Failed("what was found is not on record".into()))
}

/// The newest finding on record, or the write that makes one.
fn newest_finding(
    reader: &Reader<'_>,
    order: &Order<'_>,
) -> Result<(Option<FindingRow>, Option<Write>), Trouble> {
    let (mould, visit) = (order.mould, order.visit);
    let ended = reader.visit_end(mould, visit, AsOf::Now)?.is_some();
    let inputs = reader.inputs_of(mould, visit, AsOf::Now)?;
    let mut rows = reader.findings(mould)?;
    rows.retain(|row| row.visit == visit && row.method == bench::judge::METHOD);
    let of_now = rows.iter().find(|row| row.inputs == Some(inputs));
    // What became known after the end of a visit does not change what was found then.
    if let Some(row) = of_now.or(rows.first().filter(|_| ended)) {
        return Ok((Some(row.clone()), None));
    }
    let found = findings::judged(reader, mould, visit, AsOf::Now)?;
    Ok((None, findings::keep(reader, &found, order.at, order.by)?))
}

fn document(
    reader: &Reader<'_>,
    order: &Order<'_>,
    row: &FindingRow,
    number: &CertificateNumber,
) -> Result<Vec<u8>, Trouble> {
    let (mould, visit, known_to) = (order.mould, order.visit, AsOf::Entry(row.known_to));
    let names: BTreeMap<String, String> =
        reader.people()?.into_iter().map(|person| (person.id, person.name)).collect();
    let named = |short: &str| match names.get(short) {
        Some(name) if name != short => format!("{name} ({short})"),
        _ => short.to_owned(),
    };
    let mut found: Findings = findings::judged(reader, mould, visit, known_to)?;
    found.by = named(&found.by);
    let received = findings::as_received(reader, mould, visit, known_to)?;
    let stay = reader.visit(mould, visit, known_to)?;
    let end = reader.visit_end(mould, visit, AsOf::Now)?;
    let overrides = reader.overrides(mould, visit, AsOf::Now)?;
    let instruments = reader.instruments_of(mould, visit, AsOf::Now)?;
    let owner = reader.moulds()?.into_iter().find(|row| row.id == mould).and_then(|row| row.owner);
    let entry = reader.entry(row.known_to)?;
    let paper = Certificate {
        number: number.to_string(),
        plant: order.plant.to_owned(),
        owner,
        issued: order.at,
        issued_by: named(order.by),
        findings: &found,
        as_received: received.as_ref(),
        visit: &stay,
        end: end.map(|(card, entry)| VisitEnd {
            released: card.outcome == OutcomeWord::Release,
            at: card.at,
            by: named(&entry.person),
            remark: card.remark,
        }),
        overrides: overrides
            .into_iter()
            .map(|given| Override {
                by: named(&given.by),
                at: given.at,
                circuit: given.circuit.0,
                gate: given.gate.word().to_owned(),
                opened: given.open,
                because: given.because,
            })
            .collect(),
        instruments: instruments.into_iter().map(instrument).collect(),
        digest: reader.inputs_of(mould, visit, known_to)?.to_string(),
        known_to: Head { number: entry.number, hash: entry.hash }.to_string(),
        program: PROGRAM,
        address: format!("{}/certificates/{number}", order.base.trim_end_matches('/')),
    };
    Ok(certificate(&paper)?)
}

fn instrument(one: store::read::Instrument) -> Instrument {
    let made = one.calibration.as_ref();
    let by = made.map(|made| match &made.number {
        Some(number) => format!("{}, no. {number}", made.by),
        None => made.by.clone(),
    });
    Instrument {
        id: one.card.instrument,
        measures: one.card.measures,
        calibrated: made.map(|made| made.on.clone()),
        until: made.map(|made| made.until.clone()),
        by,
    }
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use store::Subject;
    use store::shapes::{CalibrationCard, InstrumentCard, OverrideCard, VisitEndCard};

    use super::*;
    use crate::simulate;

    const MOULD: &str = "AB-146";

    /// A record with a visit that was overridden, ended and released on calibrated instruments.
    fn released(folder: &Path) -> (Store, String) {
        let text = include_bytes!("../../../../data/demo/plans/tool-hook.plan.toml").to_vec();
        let plans: BTreeMap<String, Vec<u8>> = BTreeMap::from([("p.plan.toml".to_owned(), text)]);
        let plan = simulate::read(&plans, "p.plan.toml").unwrap_or_else(|_| panic!("a plan"));
        let played = simulate::play(&plan, "p.plan.toml").unwrap_or_else(|_| panic!("a visit"));
        let files = folder.join("files");
        fs::create_dir_all(&files).expect("a folder");
        for (name, bytes) in played.files.iter().filter(|(name, _)| !name.contains('/')) {
            fs::write(files.join(name), bytes).expect("written");
        }
        let record = folder.join("record.sqlite");
        let store = take_in::quietly(&record, &[files], "KT").unwrap_or_else(|_| panic!("taken in"));
        let visit = played.visit.trim_end_matches(".visit.toml").to_owned();
        let at: jiff::Timestamp = "2026-12-02T15:00:00Z".parse().expect("a time");
        let (mould, rig) = (MOULD.to_owned(), store.read(|reader| reader.rigs()).expect("rigs").remove(0));
        let mut write = Write::new("more", at, "KT");
        write
            .say(Fact::Instrument(InstrumentCard {
                instrument: "FM-7".into(),
                rig: Some(rig),
                measures: "flow".into(),
            }))
            .say(Fact::Calibration(CalibrationCard {
                instrument: "FM-7".into(),
                on: "2024-02-01".into(),
                until: "2025-02-01".into(),
                by: "the standards room".into(),
                number: Some("S-31".into()),
            }))
            .say(Fact::Override(OverrideCard {
                mould: mould.clone(),
                visit: visit.clone(),
                circuit: "A1".into(),
                gate: "release".into(),
                open: true,
                because: "seen dry for an hour".into(),
                against: Vec::new(),
            }))
            .say(Fact::VisitEnd(VisitEndCard {
                mould,
                visit: visit.clone(),
                at,
                outcome: OutcomeWord::Release,
                remark: Some("next visit in May".into()),
            }));
        store.write(&write).expect("recorded");
        (store, visit)
    }

    fn packed(bytes: &[u8]) -> String {
        let document = lopdf::Document::load_mem(bytes).expect("a PDF");
        let pages: Vec<u32> = document.get_pages().keys().copied().collect();
        let text = document.extract_text(&pages).expect("text");
        text.chars().filter(|letter| !letter.is_whitespace()).collect()
    }

    #[test]
    fn a_release_is_on_paper_with_everything_that_stands_beside_it() {
        let folder = std::env::temp_dir().join(format!("borewise-issue-{}", std::process::id()));
        let (store, visit) = released(&folder);
        let at = "2026-12-02T16:00:00Z".parse().expect("a time");
        let order = Order {
            mould: MOULD,
            visit: &visit,
            by: "KT",
            at,
            base: "http://bench.example/",
            plant: "Alder Beck",
        };
        let (issued, new) = issue(&store, &order).unwrap_or_else(|_| panic!("issued"));
        assert!(new);
        let kept = store.read(|reader| reader.blob(issued.card.document)).expect("kept");
        let text = packed(&kept);
        for words in [
            "Releasecertificate",
            "Releasedforthepress",
            "nextvisitinMay",
            "openedagainstitsrule",
            "seendryforanhour",
            "overdue:endedon2025-02-01",
            "thestandardsroom,no.S-31",
            "AlderBeck",
            "http://bench.example/certificates/",
        ] {
            assert!(text.contains(words), "{words} in {text}");
        }
        // The same facts, asked for at another hour and by another base, are the same paper; set anew, the same bytes.
        let later =
            Order { at: "2027-01-01T00:00:00Z".parse().expect("a time"), base: "http://other", ..order };
        let (again, new) = issue(&store, &later).unwrap_or_else(|_| panic!("found"));
        assert!(!new && again == issued);
        let row = store.read(|reader| reader.findings(MOULD)).expect("found").remove(0);
        let mut set = Vec::new();
        store
            .read(|reader| {
                set = document(reader, &order, &row, &issued.number).unwrap_or_default();
                Ok(())
            })
            .expect("read");
        assert!(set == kept, "the same record gives the same bytes");
        // One that was withdrawn is not handed out again.
        let mut write = Write::new("withdrawn", at, "KT");
        let about = Subject::visit(MOULD, &visit);
        write.correct(
            issued.entry.number,
            Fact::Withdrawal(store::shapes::WithdrawalCard { about }),
            "too early",
        );
        store.write(&write).expect("recorded");
        assert!(matches!(issue(&store, &later), Err(Trouble::Refused(text)) if text.contains("withdrawn")));
        drop(store);
        fs::remove_dir_all(&folder).expect("removed");
    }
}
