//! The history only grows: what is refused, what counts once, what a correction may be.

#![allow(clippy::unwrap_used)]

mod common;

use common::{Folder, at, opened, person, simulated, take_in, whole};
use store::shapes::{
    CalibrationCard, CircuitFindingCard, FindingCard, InstrumentCard, NoteCard, OutcomeWord, OutlineCard,
    OverrideCard, PhotoCard, PinCard, RigCard, Role, TableCard, VisitEndCard, WithdrawalCard,
};
use store::{AsOf, Blob, Credential, Digest, Fact, Head, Store, StoreError, Subject, Write};

fn note(about: Subject, text: &str) -> Fact {
    Fact::Note(NoteCard { about, text: text.to_owned() })
}

fn write(key: &str, facts: impl IntoIterator<Item = Fact>) -> Write {
    let mut write = Write::new(key, at(100), "kt");
    for fact in facts {
        write.say(fact);
    }
    write
}

/// A record with mould, visit, circuit; their names.
fn filled(folder: &Folder) -> (Store, String, String, String, String) {
    let store = opened(&folder.record());
    let (mould, visit) = simulated(4);
    take_in(&store, &mould, &visit, None);
    let circuit = mould.circuits[0].clone();
    (store, mould.id.0, visit.id, circuit.id.0, circuit.half)
}

fn head(store: &Store) -> Head {
    store.read(|reader| reader.head()).unwrap()
}

#[test]
fn nothing_is_altered_deleted_or_replaced_even_from_outside() {
    let folder = Folder::new();
    let (store, ..) = filled(&folder);
    drop(store);
    let raw = rusqlite::Connection::open(folder.record()).unwrap();
    for sql in [
        "UPDATE entry SET body = '{}' WHERE number = 3",
        "UPDATE entry SET reason = 'x'",
        "DELETE FROM entry WHERE number = (SELECT max(number) FROM entry)",
        "INSERT OR REPLACE INTO entry SELECT * FROM entry WHERE number = 3",
        "REPLACE INTO entry SELECT number, at_us, 'me', kind, subject, write_key, part, parts, corrects, reason, \
         body, previous, hash FROM entry WHERE number = 1",
        "INSERT INTO entry SELECT number + 1000, at_us, person, kind, subject, 'k', part, parts, corrects, reason, \
         body, previous, zeroblob(32) FROM entry WHERE number = 1",
        "UPDATE blob SET bytes = x'00'",
        "DELETE FROM blob",
        "INSERT OR REPLACE INTO blob SELECT digest, 1, 'raw', x'00' FROM blob LIMIT 1",
    ] {
        let refused = raw.execute(sql, []).unwrap_err().to_string();
        assert!(refused.contains("never") || refused.contains("at the end only"), "{sql}: {refused}");
    }
    drop(raw);
    whole(&folder.record());
}

#[test]
fn a_doubled_submit_counts_once_and_a_key_is_used_once() {
    let folder = Folder::new();
    let (store, mould, ..) = filled(&folder);
    let one = write("form-7", [note(Subject::mould(&mould), "gate 2 drips")]);
    let first = store.write(&one).unwrap();
    let again = store.write(&one).unwrap();
    assert!(!first.repeated && again.repeated);
    assert_eq!((again.first, again.head), (first.first, first.head));
    // The same form pressed from many threads at once.
    let two = write("form-8", [note(Subject::mould(&mould), "a"), note(Subject::mould(&mould), "b")]);
    let written: Vec<_> = std::thread::scope(|scope| {
        let pressed: Vec<_> = (0..8).map(|_| scope.spawn(|| store.write(&two).unwrap())).collect();
        pressed.into_iter().map(|pressed| pressed.join().unwrap()).collect()
    });
    assert_eq!(written.iter().filter(|written| !written.repeated).count(), 1);
    assert_eq!(head(&store).number, first.head.number + 2);
    let other = write("form-7", [note(Subject::mould(&mould), "something else")]);
    assert!(
        matches!(store.write(&other), Err(StoreError::KeyReused { first: number, .. }) if number == first.first)
    );
    whole(&folder.record());
}

#[test]
fn what_is_not_on_record_cannot_be_spoken_of() {
    let folder = Folder::new();
    let (store, mould, visit, circuit, half) = filled(&folder);
    let before = head(&store);
    let day = |text: &str| text.to_owned();
    let unknown: Vec<(&str, Fact)> = vec![
        ("thing named", note(Subject::mould("nobody"), "x")),
        (
            "instrument",
            Fact::Calibration(CalibrationCard {
                instrument: day("G9"),
                on: day("2026-01-01"),
                until: day("2027-01-01"),
                by: day("laboratory"),
                number: None,
            }),
        ),
        (
            "rig",
            Fact::Instrument(InstrumentCard {
                instrument: day("G1"),
                rig: Some(day("B9")),
                measures: day("p"),
            }),
        ),
        (
            "half",
            Fact::Outline(OutlineCard { mould: mould.clone(), half: day("slide 9"), corners_mm: vec![] }),
        ),
        (
            "visit",
            Fact::VisitEnd(VisitEndCard {
                mould: mould.clone(),
                visit: day("never"),
                at: at(1),
                outcome: OutcomeWord::Release,
                remark: None,
            }),
        ),
        (
            "circuit",
            Fact::Pin(PinCard {
                mould: mould.clone(),
                half,
                x_mm: 1.0,
                y_mm: 2.0,
                what: day("leak"),
                circuit: Some(day("Z9")),
                visit: None,
                cause: None,
            }),
        ),
    ];
    for (what, fact) in unknown {
        let refused = store.write(&write("new", [note(Subject::mould(&mould), "first part"), fact]));
        assert!(
            matches!(refused, Err(StoreError::Unknown { what: found, .. }) if found == what),
            "{what}: {refused:?}"
        );
    }
    let photo = Fact::Photo(PhotoCard {
        about: Subject::circuit(&mould, &circuit),
        picture: Digest::of(b"picture"),
        media_type: day("image/jpeg"),
        caption: day("corroded wall"),
    });
    let refused = store.write(&write("photo", [photo.clone()]));
    assert!(matches!(refused, Err(StoreError::BlobMissing(_))));
    let mut unused = write("unused", [note(Subject::mould(&mould), "x")]);
    unused.bring([Blob::new(b"picture".to_vec())]);
    assert!(matches!(store.write(&unused), Err(StoreError::BlobUnused(_))));
    let mut stranger = Write::new("stranger", at(1), "somebody");
    stranger.say(note(Subject::mould(&mould), "x"));
    assert!(matches!(store.write(&stranger), Err(StoreError::Unknown { what: "active person", .. })));
    for key in ["", " x", "a\nb"] {
        assert!(
            matches!(store.write(&write(key, [photo.clone()])), Err(StoreError::BadName { .. })),
            "{key:?}"
        );
    }
    assert!(matches!(store.write(&write("none", [])), Err(StoreError::NothingToWrite)));
    assert_eq!(head(&store), before, "a refused write leaves nothing");
    let mut right = write("photo", [photo]);
    right.bring([Blob::new(b"picture".to_vec())]);
    store.write(&right).unwrap();
    assert_eq!(store.read(|reader| reader.blob(Digest::of(b"picture"))).unwrap(), b"picture");
    let _ = visit;
    whole(&folder.record());
}

#[test]
fn a_correction_names_the_newest_word_and_a_reason() {
    let folder = Folder::new();
    let (store, mould, visit, circuit, _) = filled(&folder);
    let about = Subject::circuit(&mould, &circuit);
    let first = store.write(&write("n1", [note(about.clone(), "blocked?")])).unwrap().first;
    let other = store.write(&write("n2", [note(about.clone(), "other")])).unwrap().first;
    let correct = |key: &str, number, fact, reason: &str| {
        let mut write = Write::new(key, at(200), "kt");
        write.correct(number, fact, reason);
        store.write(&write)
    };
    let said = |text| note(about.clone(), text);
    assert!(matches!(correct("c0", first, said("free"), " "), Err(StoreError::ReasonMissing(_))));
    let second = correct("c1", first, said("free"), "wrong hose").unwrap().first;
    let late = correct("c2", first, said("narrow"), "mine is newer");
    assert!(matches!(late, Err(StoreError::NotNewest { newest, .. }) if newest == second), "{late:?}");
    let elsewhere = note(Subject::mould(&mould), "free");
    assert!(matches!(correct("c3", second, elsewhere, "r"), Err(StoreError::CannotCorrect { .. })));
    let missing = correct("c4", 10_000, said("x"), "r");
    assert!(matches!(missing, Err(StoreError::Unknown { what: "entry", .. })), "{missing:?}");
    let away = || Fact::Withdrawal(WithdrawalCard { about: about.clone() });
    let gone = correct("c5", second, away(), "said of the wrong mould").unwrap().first;
    assert!(
        matches!(correct("c6", second, away(), "r"), Err(StoreError::NotNewest { newest, .. }) if newest == gone)
    );
    let notes = |as_of| {
        let items = store.read(|reader| reader.items(&about, as_of)).unwrap();
        let texts = items.into_iter().filter_map(|item| match item.fact {
            Fact::Note(card) => Some(card.text),
            _ => None,
        });
        texts.collect::<Vec<_>>()
    };
    assert_eq!(notes(AsOf::Now), ["other"]);
    assert_eq!(notes(AsOf::Entry(second)), ["free", "other"]);
    assert_eq!(notes(AsOf::Entry(other)), ["blocked?", "other"]);
    let visit_entry = store.read(|reader| reader.items(&Subject::visit(&mould, &visit), AsOf::Now)).unwrap();
    let visit_entry = visit_entry.iter().find(|item| item.fact.kind() == "visit").unwrap().entry.number;
    let away = Fact::Withdrawal(WithdrawalCard { about: Subject::visit(&mould, &visit) });
    assert!(matches!(correct("c7", visit_entry, away, "r"), Err(StoreError::CannotCorrect { .. })));
    let free = Fact::Withdrawal(WithdrawalCard { about: about.clone() });
    assert!(matches!(store.write(&write("c8", [free])), Err(StoreError::CannotCorrect { .. })));
    whole(&folder.record());
}

#[test]
fn a_gate_is_overridden_by_a_lead_with_a_reason() {
    let folder = Folder::new();
    let (store, mould, visit, circuit, _) = filled(&folder);
    let card = |because: &str, gate: &str| {
        Fact::Override(OverrideCard {
            mould: mould.clone(),
            visit: visit.clone(),
            circuit: circuit.clone(),
            gate: gate.to_owned(),
            open: true,
            because: because.to_owned(),
            against: vec!["flow-unmeasured".to_owned()],
        })
    };
    let sign = |key: &str, person: &str, fact| {
        let mut write = Write::new(key, at(300), person);
        write.say(fact);
        store.write(&write)
    };
    let refused = sign("o1", "kt", card("looks fine", "wet"));
    assert!(matches!(refused, Err(StoreError::Role { found: Role::Technician, needed: Role::Lead, .. })));
    assert!(matches!(sign("o2", "lead", card(" ", "wet")), Err(StoreError::BadName { .. })));
    assert!(matches!(sign("o3", "lead", card("x", "door")), Err(StoreError::BadName { .. })));
    sign("o4", "lead", card("dye test in the toolroom was dry", "wet")).unwrap();
    // A person who left can sign nothing more.
    let mut left = Write::new("leave", at(301), "lead");
    left.say(person("lead", Role::Lead));
    let Fact::Person(mut gone) = person("lead", Role::Lead) else { panic!("a person") };
    gone.active = false;
    let mut leave = Write::new("leave", at(301), "kt");
    leave.say(Fact::Person(gone));
    store.write(&leave).unwrap();
    assert!(matches!(
        sign("o5", "lead", card("x", "wet")),
        Err(StoreError::Unknown { what: "active person", .. })
    ));
    whole(&folder.record());
}

#[test]
fn lists_know_what_was_recorded() {
    let folder = Folder::new();
    let (store, mould, visit, circuit, half) = filled(&folder);
    let rig = RigCard { rig: Some("B2".to_owned()), ..RigCard::of(&bench::visit::Rig::default()) };
    let known_to = head(&store).number;
    let inputs = store.read(|reader| reader.inputs_of(&mould, &visit, AsOf::Now)).unwrap();
    let document = Blob::new(b"{}".to_vec());
    let calibration = |on: &str, until: &str| {
        Fact::Calibration(CalibrationCard {
            instrument: "FM-1".to_owned(),
            on: on.to_owned(),
            until: until.to_owned(),
            by: "laboratory".to_owned(),
            number: Some("77".to_owned()),
        })
    };
    let mut all = write(
        "all",
        [
            Fact::Rig(rig),
            Fact::Instrument(InstrumentCard {
                instrument: "FM-1".to_owned(),
                rig: Some("B2".to_owned()),
                measures: "flow".to_owned(),
            }),
            calibration("2025-06-01", "2026-06-01"),
            calibration("2026-06-02", "2027-06-01"),
            Fact::Outline(OutlineCard {
                mould: mould.clone(),
                half: half.clone(),
                corners_mm: vec![(0.0, 0.0), (400.0, 0.0), (400.0, 300.0), (0.0, 300.0)],
            }),
            Fact::Pin(PinCard {
                mould: mould.clone(),
                half: half.clone(),
                x_mm: 12.0,
                y_mm: 33.5,
                what: "leak".to_owned(),
                circuit: Some(circuit.clone()),
                visit: Some(visit.clone()),
                cause: Some("seal pinched".to_owned()),
            }),
            Fact::Limits(TableCard { text: "format = \"borewise-limits/1\"\n".to_owned() }),
            Fact::Finding(FindingCard {
                mould: mould.clone(),
                visit: visit.clone(),
                method: "judge/1".to_owned(),
                program: "borewise 0".to_owned(),
                known_to,
                inputs,
                document: document.digest(),
                fit_for_press: "no".to_owned(),
                headline: "One circuit leaks out".to_owned(),
                circuits: vec![CircuitFindingCard {
                    circuit: circuit.clone(),
                    tightness: "leaks-out".to_owned(),
                    passage: "free".to_owned(),
                    flow_factor_m3_h: Some((0.7, 0.6, 0.8)),
                    against_baseline_percent: None,
                    next_step: "repair".to_owned(),
                    reason: "air gets out".to_owned(),
                }],
            }),
            Fact::VisitEnd(VisitEndCard {
                mould: mould.clone(),
                visit: visit.clone(),
                at: at(4000),
                outcome: OutcomeWord::Hold,
                remark: Some("seal on order".to_owned()),
            }),
        ],
    );
    all.bring([document]);
    store.write(&all).unwrap();
    store
        .read(|reader| {
            let moulds = reader.moulds()?;
            assert_eq!((moulds.len(), moulds[0].visits), (1, 1));
            assert_eq!(moulds[0].circuits as usize, reader.circuits(&mould)?.len());
            let visits = reader.visits(Some(&mould))?;
            assert_eq!((visits.len(), visits[0].outcome.as_deref()), (1, Some("hold")));
            assert_eq!(visits, reader.visits(None)?);
            assert!(reader.visits(Some("nobody"))?.is_empty());
            let instruments = reader.instruments()?;
            assert_eq!(instruments[0].calibrated_until.as_deref(), Some("2027-06-01"));
            let findings = reader.findings(&mould)?;
            assert_eq!((findings[0].known_to, findings[0].inputs), (known_to, Some(inputs)));
            assert_eq!(reader.newest_findings()?, findings);
            let strip = reader.circuit_findings(&mould, &circuit)?;
            assert_eq!((strip.len(), strip[0].visit.as_str()), (1, visit.as_str()));
            assert_eq!(
                (strip[0].flow_factor_m3_h, strip[0].against_baseline_percent),
                (Some((0.7, 0.6, 0.8)), None)
            );
            assert_eq!(reader.people()?.len(), 2);
            assert_eq!(
                reader.table("limits", AsOf::Now)?.as_deref(),
                Some("format = \"borewise-limits/1\"\n")
            );
            assert_eq!(reader.table("materials", AsOf::Now)?, None);
            let pins = reader.items(&Subject::half(&mould, &half), AsOf::Now)?;
            assert_eq!(pins.iter().filter(|item| item.fact.kind() == "pin").count(), 1);
            Ok(())
        })
        .unwrap();
    whole(&folder.record());
}

#[test]
fn a_secret_can_go_and_is_no_part_of_the_history() {
    let folder = Folder::new();
    let store = opened(&folder.record());
    let before = head(&store);
    let known =
        Credential { password_hash: Some("$argon2id$v=19$x".to_owned()), pin_hash: None, changed: at(5) };
    store.set_credential("kt", Some(&known)).unwrap();
    let kept = || store.read(|reader| reader.credential("kt")).unwrap();
    assert_eq!(kept(), Some(known.clone()));
    assert!(!format!("{:?}", kept()).contains("argon2"), "no hash in a log");
    let given_away = store.read(|reader| reader.tables()).unwrap();
    assert!(!format!("{given_away:?}").contains("argon2"), "no hash is exported");
    store.rebuild().unwrap();
    assert_eq!(kept(), Some(known.clone()), "a state made anew leaves it");
    store.set_credential("kt", None).unwrap();
    assert_eq!((kept(), head(&store)), (None, before));
    assert!(matches!(store.set_credential("nobody", Some(&known)), Err(StoreError::Unknown { .. })));
    whole(&folder.record());
}

#[test]
fn readers_see_one_moment_while_others_write() {
    let folder = Folder::new();
    let (store, mould, ..) = filled(&folder);
    let before = head(&store);
    store
        .read(|reader| {
            assert_eq!(reader.head()?, before);
            store.write(&write("meanwhile", [note(Subject::mould(&mould), "x")])).unwrap();
            assert_eq!(reader.head()?, before);
            Ok(())
        })
        .unwrap();
    assert_eq!(head(&store).number, before.number + 1);
}

#[test]
fn a_viewer_records_nothing_and_an_administrator_overrides() {
    let folder = Folder::new();
    let (store, mould, visit, circuit, _) = filled(&folder);
    let mut people = Write::new("more people", at(400), "lead");
    people.say(person("adm", Role::Administrator)).say(person("vi", Role::Viewer));
    store.write(&people).unwrap();
    let note = |who: &str, about: Subject| {
        let mut write = Write::new(format!("note of {who} about {about}"), at(401), who);
        write.say(Fact::Note(NoteCard { about, text: "seen".to_owned() }));
        store.write(&write)
    };
    let refused = note("vi", Subject::mould(&mould)).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "vi is a viewer, and this takes a technician, a lead or an administrator"
    );
    note("vi", Subject::person("vi")).unwrap();
    note("kt", Subject::mould(&mould)).unwrap();
    let mut write = Write::new("o", at(402), "adm");
    write.say(Fact::Override(OverrideCard {
        mould: mould.clone(),
        visit: visit.clone(),
        circuit,
        gate: "release".to_owned(),
        open: true,
        because: "a short run for samples".to_owned(),
        against: vec!["flow-unmeasured".to_owned()],
    }));
    let inputs = || store.read(|reader| reader.inputs_of(&mould, &visit, AsOf::Now)).unwrap();
    let before = inputs();
    store.write(&write).unwrap();
    assert_ne!(before, inputs(), "findings rest on what was decided");
    let given = store.read(|reader| reader.overrides(&mould, &visit, AsOf::Now)).unwrap();
    let last = given.last().unwrap();
    assert_eq!((last.by.as_str(), last.at, last.open), ("adm", at(402), true));
    assert_eq!((last.gate.word(), last.against.as_slice()), ("release", &["flow-unmeasured".to_owned()][..]));
}

#[test]
fn how_somebody_wants_pages_is_kept_beside_the_history() {
    let folder = Folder::new();
    let store = filled(&folder).0;
    let head = store.read(|reader| reader.head()).unwrap();
    let asked = || store.read(|reader| reader.preference("kt", "units")).unwrap();
    assert_eq!(asked(), None);
    store.set_preference("kt", "units", "psi").unwrap();
    store.set_preference("kt", "units", "bar").unwrap();
    assert_eq!(asked().as_deref(), Some("bar"));
    assert_eq!(store.read(|reader| reader.head()).unwrap(), head);
}
