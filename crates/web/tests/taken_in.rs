//! A mould without papers: taken in, its circuits found, its pieces and baselines said and corrected.

#![allow(clippy::unwrap_used)]

mod house;

use axum::http::StatusCode;
use house::{Answer, House};
use store::shapes::{FoundWord, KnownWord, PieceCard, PiecesCard};
use store::{Fact, Subject};

const MOULD: &str = "/moulds/M-7";

/// A mould that was taken in with two circuits.
fn found(house: &House) {
    let halves = [("half-0.name", "fixed"), ("half-0.openings", "6"), ("half-0.known", "measured")];
    let mould = [("id", "M-7"), ("name", "Pot"), ("process", "injection-moulding")];
    let answer = house.send("/take-in", "/take-in", &[&mould[..], &halves[..]].concat());
    assert_eq!((answer.status, answer.location()), (StatusCode::SEE_OTHER, "/moulds/M-7/find"));
    let circuits = [
        ("row-0.half", "fixed"),
        ("row-0.inlet", "1"),
        ("row-0.outlet", "3"),
        ("row-0.circuit", "A"),
        ("row-0.found", "blown"),
        ("row-0.serves", "lid"),
        ("row-4.half", "fixed"),
        ("row-4.inlet", "2"),
        ("row-4.circuit", "B"),
        ("metals", "1.2311; 1.2738"),
        ("known-metals", "guessed"),
        ("seals", "EPDM"),
        ("known-seals", "measured"),
    ];
    let page = format!("{MOULD}/find");
    assert_eq!(house.send(&page, &page, &circuits).status, StatusCode::SEE_OTHER);
}

fn refused(answer: &Answer, texts: &[&str]) {
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", answer.body);
    for text in texts {
        assert!(answer.body.contains(text), "{text}: {}", answer.body);
    }
}

fn pieces(house: &House, circuit: &str) -> Option<PiecesCard> {
    let facts = house.facts(&Subject::circuit("M-7", circuit));
    facts.into_iter().find_map(|fact| if let Fact::Pieces(card) = fact { Some(card) } else { None })
}

#[test]
fn a_mould_is_taken_in_and_its_circuits_are_found() {
    let house = House::with_a_visit();
    let empty = house.send(
        "/take-in",
        "/take-in",
        &[("half-0.openings", "many"), ("half-1.name", "x"), ("half-2.name", "x")],
    );
    refused(&empty, &["4 things to put right", "Half 1, openings", "value=\"many\"", "Half 3, name"]);
    refused(
        &house.send("/take-in", "/take-in", &[("id", "M/1"), ("half-0.name", "fixed")]),
        &["Mould M/1 is on record already"],
    );
    found(&house);
    let page = house.get(MOULD).body;
    for text in [
        "6\u{202f}openings",
        "3 told",
        "3 not yet",
        "1.2311, 1.2738 (guessed)",
        "EPDM (measured)",
        "1: A, 2: B, 3: A",
    ] {
        assert!(page.contains(text), "{text}: {page}");
    }
    let facts = house.facts(&Subject::circuit("M-7", "A"));
    let marks =
        facts.iter().find_map(|fact| if let Fact::Marks(card) = fact { Some(card) } else { None }).unwrap();
    assert_eq!(
        (marks.found, marks.inlet.as_deref(), marks.outlet.as_deref()),
        (Some(FoundWord::Blown), Some("1"), Some("3"))
    );
    assert_eq!(marks.known.get("metals"), Some(&KnownWord::Guessed));
    // A second round of finding goes on from there.
    let page = format!("{MOULD}/find");
    let more = house.send(
        &page,
        &page,
        &[("row-0.half", "fixed"), ("row-0.inlet", "3"), ("row-0.circuit", "A"), ("row-1.inlet", "5")],
    );
    refused(&more, &["A is taken", "Opening 3 belongs to A already", "Name, row 2", "value=\"5\""]);
    // A visit of it can begin.
    let begun = house.send(MOULD, &format!("{MOULD}/visits"), &[("rig", "")]);
    assert!(house.get(begun.location()).body.contains("circuits/B"));
}

#[test]
fn a_mould_and_its_circuits_are_corrected_with_a_reason() {
    let house = House::with_a_visit();
    found(&house);
    let page = format!("{MOULD}/edit");
    let body = house.get(&page).body;
    let hidden = |body: &str, name: &str| {
        body.split(&format!("name=\"{name}\" value=\"")).nth(1).unwrap().split('"').next().unwrap().to_owned()
    };
    let (known, half) = (hidden(&body, "known"), hidden(&body, "half-0.entry"));
    let form = |reason: &'static str, name: &'static str, half_name: &'static str| {
        vec![
            ("known", known.clone()),
            ("half-0.entry", half.clone()),
            ("name", name.to_owned()),
            ("process", "die-casting".to_owned()),
            ("half-0.name", half_name.to_owned()),
            ("half-0.openings", "8".to_owned()),
            ("half-0.known", "measured".to_owned()),
            ("reason", reason.to_owned()),
        ]
    };
    let send = |page: &str, pairs: &[(&str, String)]| {
        let pairs: Vec<(&str, &str)> = pairs.iter().map(|(name, value)| (*name, value.as_str())).collect();
        house.send(page, page, &pairs)
    };
    refused(
        &send(&page, &form("", "", "upper")),
        &["A half keeps its name", "needs its reason", "What it makes"],
    );
    assert_eq!(send(&page, &form("counted again", "Pot, 2 l", "fixed")).status, StatusCode::SEE_OTHER);
    refused(
        &send(&page, &form("counted again", "Pot, 3 l", "fixed")),
        &["Somebody else has changed this meanwhile"],
    );
    let history = house.get(&page).body;
    assert!(history.contains("name: Pot → Pot, 2 l") && history.contains("openings: 6 → 8"));
    assert!(history.contains("counted again") && house.get(MOULD).body.contains("Pot, 2 l"));
    let page = format!("{MOULD}/circuits/A/edit");
    let body = house.get(&page).body;
    let base = vec![
        ("entry-circuit", hidden(&body, "entry-circuit")),
        ("entry-marks", hidden(&body, "entry-marks")),
        ("half", "fixed".to_owned()),
        ("inlet", "1".to_owned()),
        ("outlet", "3".to_owned()),
        ("found", "blown".to_owned()),
    ];
    let mut wrong = base.clone();
    wrong.extend([("neighbours", "B, Z".to_owned()), ("rough_bore_mm", "900".to_owned())]);
    refused(
        &send(&page, &wrong),
        &["3 things to put right", "Neighbours in the same steel", "value=\"B, Z\"", "Main bore"],
    );
    let mut right = base;
    right.extend([
        ("neighbours", "B".to_owned()),
        ("rough_bore_mm", "10".to_owned()),
        ("rough_length_mm", "800".to_owned()),
        ("known-size", "guessed".to_owned()),
        ("reason", "felt with a rod".to_owned()),
    ]);
    assert_eq!(send(&page, &right).status, StatusCode::SEE_OTHER);
    let facts = house.facts(&Subject::circuit("M-7", "A"));
    assert!(facts.iter().any(|fact| matches!(fact, Fact::Circuit(card) if card.rough_bore_mm == Some(10.0))));
    let gone = format!("{MOULD}/circuits/B/edit");
    let entry = hidden(&house.get(&gone).body, "entry-circuit");
    refused(
        &house.send(&gone, &format!("{gone}/gone"), &[("entry-circuit", &entry)]),
        &["say why it is out of use"],
    );
    let out =
        house.send(&gone, &format!("{gone}/gone"), &[("entry-circuit", &entry), ("gone", "never was one")]);
    assert_eq!(out.status, StatusCode::SEE_OTHER);
    assert_eq!(house.get(&gone).status, StatusCode::NOT_FOUND);
    // A circuit with readings in a visit that goes on can go as well; the visit is judged without it.
    let bench = "/moulds/M%2F1/visits/first/circuits/F2";
    let held = [("start_bar_g", "6"), ("end_bar_g", "6"), ("seconds", "60")];
    assert_eq!(house.send(bench, &format!("{bench}/enter/leak-down"), &held).status, StatusCode::SEE_OTHER);
    let other = "/moulds/M%2F1/circuits/F2/edit";
    let entry = hidden(&house.get(other).body, "entry-circuit");
    let out = house.send(other, &format!("{other}/gone"), &[("entry-circuit", &entry), ("gone", "plugged")]);
    assert_eq!(out.status, StatusCode::SEE_OTHER);
    assert_eq!(house.get("/moulds/M%2F1/visits/first").status, StatusCode::OK);
    assert_eq!(house.newest_finding().circuits.len(), 1);
    // Its neighbour is still a circuit that can be edited.
    assert_eq!(house.get(&page).status, StatusCode::OK);
}

#[test]
fn pieces_are_said_in_flow_order_and_corrected() {
    let house = House::with_a_visit();
    found(&house);
    let page = format!("{MOULD}/circuits/A/pieces");
    let added = house.send(&page, &page, &[("rows", "0"), ("do", "add"), ("new", "bore")]);
    assert!(added.status == StatusCode::OK && added.body.contains("name=\"piece-0.length_mm\""));
    // The script that keeps drafts must not put older values into rows that are numbered anew.
    assert!(added.body.contains("data-answer") && !house.get(&page).body.contains("data-answer"));
    let piece = |at: usize, name: &str| format!("piece-{at}.{name}");
    let rows = |more: &[(String, &str)]| {
        let mut form: Vec<(String, String)> = vec![
            ("rows".into(), "3".into()),
            ("do".into(), "record".into()),
            ("known".into(), "measured".into()),
        ];
        for (at, kind) in ["bore", "elbow", "bore"].into_iter().enumerate() {
            form.push((piece(at, "kind"), kind.into()));
        }
        form.extend(more.iter().map(|(name, value)| (name.clone(), (*value).to_owned())));
        form
    };
    let send = |form: &[(String, String)]| {
        let pairs: Vec<(&str, &str)> =
            form.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        house.send(&page, &page, &pairs)
    };
    let wrong = send(&rows(&[(piece(0, "length_mm"), "long"), (piece(2, "plug_thread"), "X 9")]));
    refused(
        &wrong,
        &[
            "value=\"long\"",
            "id=\"pieces--piece-0-length-mm-wrong\"",
            "id=\"pieces--piece-2-length-mm-wrong\"",
            "Piece 2, elbow",
        ],
    );
    assert_eq!(pieces(&house, "A"), None);
    // The third comes first, and the second is taken out.
    let right = rows(&[
        (piece(0, "diameter_mm"), "10"),
        (piece(0, "length_mm"), "420,5"),
        (piece(1, "go"), "yes"),
        (piece(2, "place"), "0"),
        (piece(2, "plug_thread"), "G 1/4"),
        (piece(2, "length_mm"), "60"),
    ]);
    assert_eq!(send(&right).status, StatusCode::SEE_OTHER);
    let card = pieces(&house, "A").unwrap();
    assert_eq!((card.known, card.pieces.len()), (KnownWord::Measured, 2));
    assert!(
        matches!(card.pieces[1].piece, PieceCard::Bore { length_mm, .. } if (length_mm - 420.5).abs() < 1e-9)
    );
    let body = house.get(&page).body;
    assert!(body.contains("value=\"420.5\""));
    let entry = body.split("name=\"entry\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    let mut second = rows(&[
        ("entry".to_owned(), &entry),
        (piece(0, "diameter_mm"), "8"),
        (piece(0, "length_mm"), "80"),
        (piece(0, "branch"), "A"),
        (piece(1, "diameter_mm"), "8"),
        (piece(1, "branch"), "A"),
        (piece(2, "diameter_mm"), "6"),
        (piece(2, "length_mm"), "80"),
        (piece(2, "branch"), "B"),
    ]);
    refused(&send(&second), &["needs its reason"]);
    second.push(("reason".into(), "borescope".into()));
    assert_eq!(send(&second).status, StatusCode::SEE_OTHER);
    let card = pieces(&house, "A").unwrap();
    let [split] = &card.pieces[..] else { panic!("one split") };
    assert!(
        matches!(&split.piece, PieceCard::Split { branches } if branches.len() == 2 && branches[0].len() == 2)
    );
    let body = house.get(&page).body;
    assert!(body.contains("borescope") && body.contains("branch B"));
}

#[test]
fn a_baseline_comes_from_a_visit_or_from_a_paper() {
    let house = House::with_a_visit();
    let circuit = "/moulds/M%2F1/visits/first/circuits/F1";
    let flow = [
        ("flow_l_min", "12"),
        ("pressure_in_bar_g", "1"),
        ("pressure_out_bar_g", "0"),
        ("water_temperature_deg_c", "20"),
        ("others", "open"),
        ("through_fixture", "false"),
    ];
    assert_eq!(house.send(circuit, &format!("{circuit}/enter/flow"), &flow).status, StatusCode::SEE_OTHER);
    let page = "/moulds/M%2F1/circuits/F1/baseline";
    refused(&house.send(page, page, &[("visit", "first")]), &["a baseline needs its reason"]);
    let taken = house.send(page, page, &[("visit", "first"), ("reason", "new inserts")]);
    assert_eq!(taken.status, StatusCode::SEE_OTHER);
    let card = house
        .facts(&Subject::circuit("M/1", "F1"))
        .into_iter()
        .find_map(|fact| if let Fact::Baseline(card) = fact { Some(card) } else { None });
    let card = card.unwrap();
    // 12 l/min at 1 bar is 0.72 m3/h at 1 bar (IEC 60534: the flow factor is the flow in m3/h at 1 bar).
    assert!(
        (card.flow_factor_m3_h.value - 0.72).abs() < 0.01 && card.flow_factor_m3_h.standard > 0.0,
        "{card:?}"
    );
    assert_eq!((card.visit.as_deref(), card.date.as_deref()), (Some("first"), Some("2026-11-24")));
    assert_eq!(card.others, store::shapes::OthersWord::Open);
    let typed =
        [("baseline_filled_volume_ml", "70"), ("baseline_date", "yesterday"), ("reason", "old sheet")];
    refused(
        &house.send(page, page, &typed),
        &["Day that earned it", "value=\"yesterday\"", "‘Flow factor’ is missing"],
    );
    let entry = house
        .get(page)
        .body
        .split("name=\"entry\" value=\"")
        .nth(1)
        .unwrap()
        .split('"')
        .next()
        .unwrap()
        .to_owned();
    let typed = [("entry", entry.as_str()), ("baseline_flow_factor_m3_h", "0,8"), ("reason", "old sheet")];
    assert_eq!(house.send(page, page, &typed).status, StatusCode::SEE_OTHER);
    assert!(house.get(page).body.contains("old sheet"));
}
