//! Papers of simulated visits: read back by another program's reader, the same twice, archival and tagged.

#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;

use bench::account;
use bench::finding::Findings;
use bench::visit::{Entry, Treatment, TreatmentKind, Visit, What};
use exchange::tables::read_tables;
use lopdf::{Document, Object};
use paper::{
    Certificate, HookUpSheet, HosedPort, Instrument, Override, Tag, VisitEnd, VisitSheet, certificate,
    hook_up_sheet, tags, visit_sheet,
};

struct Judged {
    visit: Visit,
    findings: Findings,
    received: Option<Findings>,
}

fn judged(seed: u64, change: impl FnOnce(&mut Visit)) -> Judged {
    let file = |name: &str, text: &str| (name.to_owned(), text.as_bytes().to_vec());
    let files = BTreeMap::from([
        file("limits.toml", include_str!("../../../data/limits/default.toml")),
        file("materials.toml", include_str!("../../../data/materials/materials.toml")),
    ]);
    let tables = read_tables(&files, "limits.toml", "materials.toml").unwrap();
    let played = link::simulate(&link::random_plan(seed, &link::Invention::default()), seed).unwrap();
    let mut visit = played.visit;
    change(&mut visit);
    let findings = bench::judge::assess(&played.mould, &visit, &tables);
    let received =
        account::as_received(&visit).map(|visit| bench::judge::assess(&played.mould, &visit, &tables));
    Judged { visit, findings, received }
}

fn at(text: &str) -> jiff::Timestamp {
    text.parse().unwrap()
}

fn paper(judged: &Judged) -> Certificate<'_> {
    Certificate {
        number: "7f3a-9c21-04bd".into(),
        plant: "Alder Beck Garden Products".into(),
        owner: Some("Alder Beck".into()),
        issued: at("2026-11-27T15:04:00Z"),
        issued_by: "Kim Dale (KD)".into(),
        findings: &judged.findings,
        as_received: judged.received.as_ref(),
        visit: &judged.visit,
        end: Some(VisitEnd {
            released: true,
            at: at("2026-11-27T14:50:00Z"),
            by: "Kim Dale (KD)".into(),
            remark: None,
        }),
        overrides: vec![Override {
            circuit: "F1".into(),
            gate: "release".into(),
            opened: true,
            by: "Lee Marsh (LM)".into(),
            at: at("2026-11-27T14:40:00Z"),
            because: "the seal was seen dry under clamp".into(),
        }],
        instruments: vec![Instrument {
            id: "FM 7".into(),
            measures: "flow".into(),
            calibrated: Some("2019-01-01".into()),
            until: Some("2020-01-01".into()),
            by: Some("the bench".into()),
        }],
        digest: "ab".repeat(32),
        known_to: format!("12:{}", "cd".repeat(32)),
        program: "borewise test",
        address: "http://bench.example/certificates/7f3a-9c21-04bd".into(),
    }
}

/// The text of each page without spaces: where a line breaks is no matter of what is said.
fn pages(bytes: &[u8]) -> Vec<String> {
    let document = Document::load_mem(bytes).unwrap();
    let numbers: Vec<u32> = document.get_pages().keys().copied().collect();
    numbers.iter().map(|page| packed(&document.extract_text(&[*page]).unwrap())).collect()
}

fn packed(text: &str) -> String {
    text.chars().filter(|letter| !letter.is_whitespace()).collect()
}

/// What an archive asks for: the standard named, the structure there, language and title set.
fn is_archival(bytes: &[u8], title: &str) {
    let document = Document::load_mem(bytes).unwrap();
    let root = document.catalog().unwrap();
    let marked =
        root.get(b"MarkInfo").and_then(Object::as_dict).and_then(|info| info.get(b"Marked")).unwrap();
    assert_eq!(marked, &Object::Boolean(true));
    assert!(root.has(b"StructTreeRoot") && root.has(b"OutputIntents"));
    let language = root.get(b"Lang").and_then(Object::as_str).unwrap();
    assert_eq!(String::from_utf8_lossy(language), "en-GB");
    let metadata =
        document.get_object(root.get(b"Metadata").and_then(Object::as_reference).unwrap()).unwrap();
    let metadata = String::from_utf8_lossy(&metadata.as_stream().unwrap().content).into_owned();
    for part in [
        "<pdfuaid:part>1</pdfuaid:part>",
        "<pdfaid:part>2</pdfaid:part>",
        "<pdfaid:conformance>A</pdfaid:conformance>",
        title,
    ] {
        assert!(metadata.contains(part), "{part} in {metadata}");
    }
}

#[test]
fn a_certificate_says_everything_and_is_the_same_twice() {
    let judged = judged(7, |_| {});
    let bytes = certificate(&paper(&judged)).unwrap();
    assert_eq!(bytes, certificate(&paper(&judged)).unwrap(), "the same record gives the same bytes");
    is_archival(&bytes, "Release certificate · Certificate 7f3a-9c21-04bd");
    let pages = pages(&bytes);
    let all = pages.concat();
    for (at, page) in pages.iter().enumerate() {
        let foot = packed(&format!("page {} of {}", at + 1, pages.len()));
        assert!(
            page.contains("7f3a-9c21-04bd") && page.contains(&foot),
            "number and place on each page: {page}"
        );
    }
    for circuit in &judged.findings.circuits {
        for words in [&circuit.id.0, &circuit.reason, &report::plain::tightness(circuit)] {
            assert!(all.contains(&packed(words)), "{words} in {all}");
        }
    }
    for words in [
        "Released for the press",
        "opens only under clamp force was not tested",
        "the seal was seen dry under clamp",
        "opened against its rule",
        "overdue: ended on 2020-01-01",
        "For the bench: name, signature",
        "http://bench.example/certificates/7f3a-9c21-04bd",
        &"ab".repeat(32),
        &judged.findings.headline,
    ] {
        assert!(all.contains(&packed(words)), "{words} in {all}");
    }
    assert!(!all.contains("Beforeandafter"), "nothing was treated");
}

#[test]
fn before_and_after_stand_side_by_side() {
    let judged = judged(7, |visit| {
        let id = visit.entries.iter().find_map(|entry| entry.circuit.clone()).unwrap();
        let again: Vec<Entry> = visit
            .entries
            .iter()
            .filter(|entry| entry.circuit.as_ref() == Some(&id) && !matches!(entry.what, What::Treatment(_)))
            .cloned()
            .collect();
        let what = What::Treatment(Treatment {
            kind: TreatmentKind::Descale,
            remark: Some("citric, 40 min".into()),
        });
        visit.entries.push(Entry { place: String::new(), at: None, circuit: Some(id), what });
        visit.entries.extend(again);
    });
    let all = pages(&certificate(&paper(&judged)).unwrap()).concat();
    for words in ["Before and after", "As it came in", "descaled", "citric, 40 min"] {
        assert!(all.contains(&packed(words)), "{words} in {all}");
    }
}

#[test]
fn a_visit_that_runs_or_was_held_releases_nothing() {
    let judged = judged(7, |_| {});
    let mut running = paper(&judged);
    running.end = None;
    let all = pages(&certificate(&running).unwrap()).concat();
    assert!(all.contains("Notreleased") && all.contains("releasesnothing") && !all.contains("Releasedfor"));
    let mut held = paper(&judged);
    held.end = Some(VisitEnd {
        released: false,
        at: held.issued,
        by: "KD".into(),
        remark: Some("a seal is missing".into()),
    });
    let all = pages(&certificate(&held).unwrap()).concat();
    assert!(all.contains("Held:notreleased") && all.contains("asealismissing"));
}

#[test]
fn the_visit_sheet_says_what_the_screen_says() {
    let judged = judged(9, |_| {});
    let sheet = VisitSheet { findings: &judged.findings, digest: "d1".into(), program: "borewise test" };
    let bytes = visit_sheet(&sheet).unwrap();
    assert_eq!(bytes, visit_sheet(&sheet).unwrap());
    is_archival(&bytes, "Visit sheet");
    let all = pages(&bytes).concat();
    for circuit in &judged.findings.circuits {
        assert!(all.contains(&packed(&circuit.reason)) && all.contains(&packed(&circuit.gates.wet.reason)));
    }
    assert!(judged.findings.cautions.iter().all(|caution| all.contains(&packed(caution))));
}

#[test]
fn the_hook_up_sheet_names_every_hose_by_stage() {
    let judged = judged(9, |_| {});
    let ids: Vec<_> = judged.findings.circuits.iter().map(|one| one.id.clone()).collect();
    let ports = [
        HosedPort { stage: 1, port: 3, circuits: vec![(ids[0].clone(), false), (ids[1].clone(), true)] },
        HosedPort { stage: 2, port: 3, circuits: vec![(ids[2].clone(), true)] },
    ];
    let sheet = HookUpSheet { findings: &judged.findings, ports: &ports, program: "borewise test" };
    let bytes = hook_up_sheet(&sheet).unwrap();
    is_archival(&bytes, "Hook-up sheet");
    let all = pages(&bytes).concat();
    assert!(all.contains("Stage1of2") && all.contains("Stage2of2"), "{all}");
    let jumper = format!("{} OUT to {} OUT", ids[0], ids[1]);
    for said in [format!("{} IN", ids[0]), jumper, format!("{} IN", ids[1]), format!("{} OUT", ids[2])] {
        assert!(all.contains(&packed(&said)), "{said}: {all}");
    }
    assert!(all.contains("againsttheflow"), "{all}");
}

#[test]
fn tags_hold_every_circuit_and_letters_without_a_font_are_marked() {
    let tag = |circuit: &str| Tag {
        circuit: circuit.into(),
        place: "fixed · 水".into(),
        address: format!("http://bench.example/moulds/M/circuits/{circuit}"),
    };
    let all: Vec<Tag> = (1..=40).map(|number| tag(&format!("F{number}"))).collect();
    let print = || tags("M-1", "Lid", &all, at("2026-11-24T08:00:00Z"), "borewise test").unwrap();
    let bytes = print();
    assert_eq!(bytes, print());
    is_archival(&bytes, "Tags of M-1");
    let text = pages(&bytes).concat();
    assert!(text.contains("F1") && text.contains("F40") && text.contains("fixed·?"), "{text}");
}
