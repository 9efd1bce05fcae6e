//! The visit sheet: complete, well-formed, harmless and the same each time.

mod sample;

use std::collections::BTreeSet;

use bench::finding::{BoreState, CircuitFinding, Findings, Fitness, NextStep, Passage, Tightness};
use bench::mould::{CircuitId, MouldId};
use bench::picture::{FlowCurve, LeakDownPicture, LeakMap, Picture};
use report::{Footer, visit_sheet};
use roxmltree::{Document, Node, ParsingOptions};

const FOOTER: Footer<'static> = Footer { program_version: "0.1.0", digest: "1f2e3d", printed_at: None };

fn sheet(findings: &Findings) -> String {
    visit_sheet(findings, &FOOTER)
}

/// Reads the page as XML, which fails on any tag, quote or entity that is not closed.
fn read(page: &str) -> Document<'_> {
    let options = ParsingOptions { allow_dtd: true, ..ParsingOptions::default() };
    Document::parse_with_options(page, options).unwrap_or_else(|error| panic!("{error}"))
}

fn words(node: Node<'_, '_>) -> String {
    node.descendants().filter(Node::is_text).filter_map(|text| text.text()).collect::<Vec<_>>().join(" ")
}

fn by_id<'a>(document: &'a Document<'_>, id: &str) -> Node<'a, 'a> {
    document.descendants().find(|node| node.attribute("id") == Some(id)).unwrap_or_else(|| panic!("no {id}"))
}

/// The element that holds the heading of this id.
fn part<'a>(document: &'a Document<'_>, id: &str) -> Node<'a, 'a> {
    by_id(document, id).parent().expect("a parent")
}

fn one(circuit: CircuitFinding) -> Findings {
    Findings { circuits: vec![circuit], ..sample::bare_findings() }
}

/// What every sheet must keep, whatever it shows.
fn check_page(page: &str) {
    let document = read(page);
    let mut ids = BTreeSet::new();
    let mut links = Vec::new();
    let mut level = 0;
    for node in document.descendants().filter(Node::is_element) {
        let name = node.tag_name().name();
        assert!(
            !["script", "link", "img", "iframe", "object", "embed", "base", "form", "use", "image"]
                .contains(&name),
            "{name}"
        );
        for attribute in node.attributes() {
            assert!(!attribute.name().starts_with("on"), "{}", attribute.name());
            assert!(attribute.name() != "src" && attribute.name() != "style", "{}", attribute.name());
        }
        if let Some(id) = node.attribute("id") {
            assert!(ids.insert(id.to_owned()), "{id} twice");
            assert!(
                id.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-'),
                "{id}"
            );
        }
        links.extend(node.attribute("href").map(str::to_owned));
        links.extend(node.attribute("aria-labelledby").map(|id| format!("#{id}")));
        if name == "th" {
            assert!(matches!(node.attribute("scope"), Some("col" | "row")));
        }
        if let Some(depth) = name.strip_prefix('h').and_then(|depth| depth.parse::<u32>().ok()) {
            assert!(depth <= level + 1, "h{depth} after h{level}");
            level = depth;
        }
        if name == "svg" && node.attribute("aria-hidden").is_none() {
            let title = node.children().find(|child| child.has_tag_name("title")).expect("a title");
            assert!(
                node.attribute("role") == Some("img") && title.text().is_some_and(|text| !text.is_empty())
            );
        }
    }
    for link in links {
        let target = link.strip_prefix('#').unwrap_or_else(|| panic!("leads outside: {link}"));
        assert!(ids.contains(target), "leads nowhere: {link}");
    }
    assert_eq!(document.root_element().attribute("lang"), Some("en-GB"));
    assert_eq!(document.descendants().filter(|node| node.has_tag_name("h1")).count(), 1);
    for sign in ["http:", "https:", "url(", "@import", "NaN", "javascript:"] {
        assert!(!page.contains(sign), "{sign}");
    }
}

#[test]
fn the_most_important_sentence_is_the_first_heading() {
    let page = sheet(&sample::findings());
    let document = read(&page);
    let first = document
        .descendants()
        .find(|node| node.tag_name().name().starts_with('h') && node.tag_name().name().len() == 2);
    let first = first.expect("a heading");
    assert!(first.has_tag_name("h1"));
    assert_eq!(words(first), "Not ready for the press: two circuits leak into each other");
    let verdict = words(part(&document, "headline"));
    for said in [
        "Fit for the press:",
        "no",
        "M1 has no passage.",
        "Open M1 with air, then read the filled volume of F3.",
    ] {
        assert!(verdict.contains(said), "{said}: {verdict}");
    }
}

#[test]
fn the_table_shows_each_circuit_with_number_word_and_reason() {
    let page = sheet(&sample::findings());
    check_page(&page);
    let document = read(&page);
    let rows: Vec<_> =
        part(&document, "circuits").descendants().filter(|node| node.has_tag_name("tr")).skip(1).collect();
    assert_eq!(rows.len(), 6);
    let expected: [&[&str]; 6] = [
        &[
            "F1",
            "fixed · core loop",
            "tight",
            "0.02\u{a0}±\u{a0}0.01\u{202f}mbar·l/s",
            "free",
            "96\u{202f}%",
            "Leave",
        ],
        &[
            "F2",
            "under\u{a0}0.06\u{202f}mbar·l/s",
            "0.80\u{a0}±\u{a0}0.20\u{202f}mm",
            "66\u{202f}%",
            "(61\u{a0}to\u{a0}71)",
            "Descale",
            "Even deposit of about 0.8 mm",
            "2 to 6",
        ],
        &["F3", "restricted", "sister F2, as on its drawing", "Find out", "the flow cannot tell them apart"],
        &["M1", "blocked", "cannot tell", "no flow reading", "Open", "with the return open"],
        &["M2", "leaks into M3", "4.1\u{a0}±\u{a0}0.4\u{202f}mbar·l/s", "Repair"],
        &["M3", "leaks into M2", "4.0\u{a0}±\u{a0}0.4\u{202f}mbar·l/s", "Repair"],
    ];
    for (row, expected) in rows.into_iter().zip(expected) {
        let text = words(row);
        for said in expected {
            assert!(text.contains(said), "{said}: {text}");
        }
        assert!(row.descendants().any(|node| node.attribute("class") == Some("eye")), "a bore eye");
    }
}

#[test]
fn cautions_stand_beside_every_step_that_has_them() {
    let findings = sample::findings();
    let page = sheet(&findings);
    let document = read(&page);
    for (index, circuit) in findings.circuits.iter().enumerate() {
        let section = words(part(&document, &format!("circuit-{}", index + 1)));
        for caution in &circuit.cautions {
            assert!(section.contains(caution), "{}: {caution}", circuit.id);
        }
    }
    let at_the_top = words(part(&document, "cautions"));
    for caution in [sample::AIR, sample::TRAPPED, sample::WATER, sample::ACID, sample::GAS, sample::WASTE] {
        assert!(at_the_top.contains(caution), "{caution}");
    }
}

#[test]
fn both_of_two_conflicting_limits_are_shown_with_source_and_owner() {
    let page = sheet(&sample::findings());
    let document = read(&page);
    let limits = words(part(&document, "limits"));
    for said in [
        "0.25",
        "plant rule 7",
        "toolroom",
        "applied",
        "0.1",
        "handbook of the trade",
        "no owner",
        "not applied: another figure, shown beside",
        "85",
    ] {
        assert!(limits.contains(said), "{said}: {limits}");
    }
}

#[test]
fn gates_doubts_warnings_and_evidence_are_there() {
    let page = sheet(&sample::findings());
    let document = read(&page);
    let gates = words(part(&document, "gates"));
    for said in [
        "not allowed",
        "allowed",
        "No passage: keep water out until air passes.",
        "Leaks across: treat the wall",
    ] {
        assert!(gates.contains(said), "{said}");
    }
    assert!(words(part(&document, "hook-up")).contains("31\u{202f}%"));
    assert!(words(part(&document, "warnings")).contains("compared with its sister F2"));
    let section = words(part(&document, "circuit-2"));
    for said in [
        "Pressure drop against flow",
        "Pressure while air is held in",
        "Pressure while air is let out",
        "today's points, with 95 % bars",
        "what the limit would look like",
        "settled from 21.5\u{202f}s on",
        "visit.toml, line 61",
        "iec-60534-2-1, colebrook-1939",
        "even deposit",
        "under 1\u{202f}%",
        "71\u{202f}% (66\u{a0}to\u{a0}76)",
    ] {
        assert!(section.contains(said), "{said}");
    }
    assert!(words(part(&document, "circuit-3")).contains("Filled volume by air expansion"));
    assert!(words(part(&document, "leaks")).contains("M2 into M3: 4.1\u{202f}mbar·l/s"));
}

#[test]
fn the_map_of_leaks_is_drawn_once_and_found_from_each_circuit_on_it() {
    let page = sheet(&sample::findings());
    assert_eq!(page.matches("<title>Who leaks into whom</title>").count(), 1);
    assert_eq!(page.matches("Drawn on the map of leaks").count(), 2);
}

#[test]
fn the_foot_says_who_decides_and_what_made_the_sheet() {
    let printed_at = "2026-11-24T10:05:00Z".parse().ok();
    let page = visit_sheet(&sample::findings(), &Footer { printed_at, ..FOOTER });
    let document = read(&page);
    let foot = words(document.descendants().find(|node| node.has_tag_name("footer")).expect("a foot"));
    for said in [
        "Borewise advises; local codes, the maker's instructions, the safety data sheet and licensed practice decide.",
        "0.1.0",
        "judgement 1",
        "1f2e3d",
        "24 Nov 2026, 10:05 UTC",
    ] {
        assert!(foot.contains(said), "{said}: {foot}");
    }
    assert!(!sheet(&sample::findings()).contains("printed"));
}

#[test]
fn a_visit_of_which_nothing_is_known_still_makes_a_sheet() {
    let empty = sample::bare_findings();
    check_page(&sheet(&empty));
    assert!(sheet(&empty).contains("No circuit of this mould is known."));
    let bare = one(sample::bare_circuit("A1"));
    let page = sheet(&bare);
    check_page(&page);
    let document = read(&page);
    let section = words(part(&document, "circuit-1"));
    for said in [
        "not tested",
        "Not known: no reading tells.",
        "No reading of this circuit in this visit.",
        "Bore not known.",
    ] {
        assert!(section.contains(said), "{said}: {section}");
    }
    assert!(words(part(&document, "circuits")).contains("no flow reading"));
}

#[test]
fn every_answer_has_its_word() {
    let circuit = sample::bare_circuit("A1");
    let shows = |given: CircuitFinding, word: &str| {
        let page = sheet(&one(given));
        check_page(&page);
        let table = words(part(&read(&page), "circuits"));
        assert!(table.contains(word), "{word}: {table}");
    };
    let tightness = [
        (Tightness::Tight, "tight"),
        (Tightness::LeaksOut, "leaks out"),
        (Tightness::LeaksAcross, "leaks across"),
        (Tightness::Leaks, "leaks, where to is not known"),
        (Tightness::CannotTell, "cannot tell"),
        (Tightness::Untested, "not tested"),
    ];
    for (tightness, word) in tightness {
        shows(CircuitFinding { tightness, ..circuit.clone() }, word);
    }
    let passages = [
        (Passage::Free, "free"),
        (Passage::NarrowByDesign, "narrow by design"),
        (Passage::Restricted, "restricted"),
        (Passage::Blocked, "blocked"),
        (Passage::CannotTell, "cannot tell"),
    ];
    for (passage, word) in passages {
        shows(CircuitFinding { passage, ..circuit.clone() }, word);
    }
    let states = [
        (BoreState::AsNew, "as new"),
        (BoreState::EvenDeposit, "even deposit"),
        (BoreState::LocalPlug, "local plug"),
        (BoreState::Mixed, "deposit and plug"),
        (BoreState::Rough, "rough"),
        (BoreState::Unknown, "not known"),
    ];
    for (state, word) in states {
        shows(CircuitFinding { state: [(state, 0.9)].into(), ..circuit.clone() }, word);
    }
    let steps = [
        (NextStep::Leave, "Leave"),
        (NextStep::FindOut, "Find out"),
        (NextStep::Open, "Open"),
        (NextStep::Repair, "Repair"),
        (NextStep::Descale, "Descale"),
        (NextStep::Retire, "Retire"),
    ];
    for (next_step, word) in steps {
        shows(CircuitFinding { next_step, ..circuit.clone() }, word);
    }
    for (fit_for_press, word) in
        [(Fitness::Yes, "yes"), (Fitness::No, "no"), (Fitness::CannotTell, "cannot tell")]
    {
        let page = sheet(&Findings { fit_for_press, ..sample::bare_findings() });
        assert!(words(part(&read(&page), "headline")).contains(word), "{word}");
    }
}

#[test]
fn twenty_four_circuits_each_get_a_row_and_a_section() {
    let page = sheet(&sample::many(24));
    check_page(&page);
    let document = read(&page);
    let rows = part(&document, "circuits").descendants().filter(|node| node.has_tag_name("tr")).count();
    assert_eq!(rows, 25);
    assert!(words(part(&document, "circuit-24")).contains("C24"));
}

/// Text that would be markup, an address, a style or a command if it were not kept as text.
const HOSTILE: &str = "</style></title><script>alert(1)</script>\" onload='x' &amp; ]]> <!-- {{7*7}} \u{202e}abc\u{0}\u{1b}[31m\u{ffff} 水路 é";
const SHOWN: &str = "</style></title><script>alert(1)</script>\" onload='x' &amp; ]]> <!-- {{7*7}} \u{fffd}abc\u{fffd}\u{fffd}[31m\u{fffd} 水路 é";

fn hostile_findings() -> Findings {
    let mut findings = sample::findings();
    let bad = || HOSTILE.to_owned();
    findings.mould = MouldId(bad());
    findings.mould_name = bad();
    findings.visit = bad();
    findings.by = bad();
    findings.rig = Some(bad());
    findings.headline = bad();
    findings.because = vec![bad(), bad()];
    findings.next = bad();
    for circuit in &mut findings.circuits {
        circuit.id = CircuitId(bad());
        circuit.half = bad();
        circuit.serves = Some(bad());
        circuit.across_to = vec![CircuitId(bad())];
        circuit.compared_with = Some(bad());
        circuit.reason = bad();
        circuit.best_next_reading = Some(bad());
        for gate in [&mut circuit.gates.wet, &mut circuit.gates.descale, &mut circuit.gates.release] {
            gate.reason = bad();
        }
        for item in &mut circuit.evidence {
            item.title = bad();
            item.text = bad();
            item.place = Some(bad());
            if let Some(Picture::FlowCurve(curve)) = &mut item.picture {
                curve.clean_from = bad();
            }
        }
    }
    findings.leak_map = Some(LeakMap {
        circuits: vec![CircuitId(bad()), CircuitId("M1".into())],
        paths: vec![sample::path(&bad(), Some("M1"), 1.0, 1.0), sample::path(&bad(), None, 2.0, 0.5)],
        next_test: None,
    });
    if let Some(rig) = &mut findings.rig_check {
        rig.sentences = vec![bad()];
        rig.best_next_reading = Some(bad());
    }
    findings.hook_up_doubts[0].circuits = vec![CircuitId(bad())];
    findings.hook_up_doubts[0].text = bad();
    for warning in &mut findings.warnings {
        warning.text = bad();
        warning.circuit = Some(CircuitId("nowhere".into()));
    }
    for limit in &mut findings.limits {
        limit.name = bad();
        limit.source = bad();
        limit.owner = bad();
    }
    findings
}

#[test]
fn words_of_the_file_are_never_markup() {
    let footer = Footer { program_version: HOSTILE, digest: HOSTILE, printed_at: None };
    let page = visit_sheet(&hostile_findings(), &footer);
    check_page(&page);
    let document = read(&page);
    assert_eq!(words(by_id(&document, "headline")), SHOWN);
    assert!(words(part(&document, "limits")).contains(SHOWN));
    assert!(words(part(&document, "circuit-1")).contains(SHOWN));
    let harmless = sheet(&sample::findings());
    let names = |page: &str| -> BTreeSet<String> {
        read(page)
            .descendants()
            .filter(Node::is_element)
            .map(|node| node.tag_name().name().to_owned())
            .collect()
    };
    assert_eq!(names(&page), names(&harmless), "no element that the plain sheet does not have");
}

#[test]
fn very_long_words_are_kept_whole() {
    let page = sheet(&sample::long_words());
    check_page(&page);
    assert!(page.contains(&"Unbreakable".repeat(20)));
}

#[test]
fn numbers_that_are_none_are_said_and_never_drawn() {
    let odd = [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, 1e300, -1e300, 0.0, -5.0, 1e-300];
    for value in odd {
        let estimate = sample::interval(value, value, f64::NAN);
        let mut circuit = sample::findings().circuits.swap_remove(1);
        circuit.leak_rate_mbar_l_s = Some(sample::interval(f64::NAN, value, value));
        circuit.flow_factor_m3_h = Some(estimate);
        circuit.against_baseline_percent = Some(sample::interval(value, f64::NEG_INFINITY, f64::INFINITY));
        circuit.deposit_thickness_mm = Some(sample::interval(value, value, value));
        circuit.filled_volume_ml = Some(estimate);
        circuit.bore_mm = Some(value);
        circuit.state = [(BoreState::EvenDeposit, value), (BoreState::Unknown, f64::NAN)].into();
        circuit.evidence[0].picture = Some(Picture::LeakDown(LeakDownPicture {
            measured: vec![(0.0, value), (value, 1.0), (2.0, 3.0)],
            settled_from_s: Some(value),
            ..LeakDownPicture::default()
        }));
        circuit.evidence[2].picture = Some(Picture::FlowCurve(FlowCurve {
            clean: vec![(value, value, value, value), (1.0, 1.0, 2.0, 3.0)],
            points: vec![(1.0, 2.0, value)],
            pump: vec![(value, 1.0), (1.0, value)],
            ..FlowCurve::default()
        }));
        let mut findings = one(circuit);
        findings.limits = sample::findings().limits;
        findings.limits[0].value = value;
        let page = sheet(&findings);
        check_page(&page);
        assert!(!page.contains(">inf") && !page.contains("\"inf"), "{value}");
    }
}

#[test]
fn the_same_findings_give_the_same_bytes() {
    assert_eq!(sheet(&sample::many(24)), sheet(&sample::many(24)));
}

#[test]
fn links_are_large_enough_for_a_finger() {
    // 44 px at the usual 16 px a rem, as the plant's gloves ask; WCAG 2.2, 2.5.8 (AA), asks for 24.
    let style = include_str!("../src/style.css");
    for rule in ["th.name a {", ".caution-link {", ".back a {", ".to-map a {"] {
        let body = style.split_once(rule).unwrap_or_else(|| panic!("{rule}")).1;
        let body = body.split_once('}').expect("an end").0;
        assert!(body.contains("min-height: 2.75rem"), "{rule}");
    }
}
