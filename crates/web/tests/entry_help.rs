//! Entry that helps: units of one's own, unlikely numbers asked about, drafts.

#![allow(clippy::unwrap_used)]

mod house;

use axum::http::StatusCode;
use house::{Answer, House};
use store::shapes::{DecayCard, FlowCard, ReadingCard, Role, WhatCard};
use store::{AsOf, Fact, Subject};

const CIRCUIT: &str = "/moulds/M%2F1/visits/first/circuits/F1";

fn send(house: &House, form: &str, pairs: &[(&'static str, &str)]) -> Answer {
    let mut all = vec![("token", house.token(CIRCUIT)), ("key", house.fresh_key())];
    all.extend(pairs.iter().map(|(name, value)| (*name, (*value).to_owned())));
    house.post(&format!("{CIRCUIT}/enter/{form}"), &all)
}

fn choose_units(house: &House, pairs: &[(&'static str, &str)]) {
    let mut all = vec![("token", house.token("/me"))];
    all.extend(pairs.iter().map(|(name, value)| (*name, (*value).to_owned())));
    assert_eq!(house.post("/me/units", &all).status, StatusCode::SEE_OTHER);
}

const CUSTOMARY: [(&str, &str); 4] =
    [("pressure", "psi"), ("flow", "gpm"), ("temperature", "degF"), ("length", "in")];

/// The newest reading, and the reason that its entry carries.
fn newest(house: &House) -> (ReadingCard, Option<String>) {
    let items =
        house.record().read(|reader| reader.items(&Subject::visit("M/1", "first"), AsOf::Now)).unwrap();
    let newest = items.into_iter().rfind(|item| matches!(item.fact, Fact::Reading(_))).unwrap();
    let Fact::Reading(card) = newest.fact else { panic!("a reading") };
    (card, newest.entry.reason)
}

fn flow_l_min(house: &House) -> f64 {
    match newest(house).0.what {
        WhatCard::Flow { flow: FlowCard::Mean(mean), .. } => mean,
        other => panic!("{other:?}"),
    }
}

#[test]
fn everybody_reads_and_types_in_their_own_units_and_the_record_keeps_its_own() {
    let house = House::with_a_visit();
    assert!(house.get(CIRCUIT).body.contains("<span class=\"unit\">, bar (gauge)</span>"));
    choose_units(&house, &CUSTOMARY);
    let me = house.get("/me").body;
    assert!(me.contains("value=\"psi\" selected") && me.contains("value=\"degF\" selected"));
    let page = house.get(CIRCUIT).body;
    assert!(
        page.contains(", psi (gauge)</span>")
            && page.contains(", °F</span>")
            && page.contains(", gpm</span>")
    );
    assert!(!page.contains(", bar (gauge)</span>"));
    let answer =
        send(&house, "leak-down", &[("start_bar_g", "87"), ("end_bar_g", "86,5"), ("seconds", "60")]);
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let WhatCard::LeakDown { decay: DecayCard::Read { start_bar_g, time_s, .. }, .. } = newest(&house).0.what
    else {
        panic!("a leak-down")
    };
    // NIST SP 811, appendix B.8: 1 psi is 6.894 757 kPa.
    assert!((start_bar_g - 87.0 * 0.068_947_57).abs() < 1e-6 && (time_s - 60.0).abs() < 1e-9);
    let page = house.get(CIRCUIT).body;
    assert!(page.contains("Leak-down, 87 to 86.5\u{202f}psi in 60\u{202f}s"));
    // The evidence too, which the judgement wrote in bar.
    let evidence = page.split("id=\"evidence\"").nth(1).unwrap();
    let evidence = evidence.split("id=\"readings\"").next().unwrap();
    assert!(evidence.contains("pressure, psi (gauge)"), "the drawing too");
    // Formulas keep the units that they are written for.
    let (before, rest) = evidence.split_once("<details class=\"how\">").unwrap();
    let evidence = format!("{before}{}", rest.split_once("</details>").unwrap().1);
    assert!(
        evidence.contains("psi") && !evidence.contains("\u{202f}bar") && !evidence.contains(" bar "),
        "{evidence}"
    );
    // What a person wrote stays as it was written, and what is wrong is said in the units typed in.
    send(&house, "note", &[("text", "the hose was at 6 bar all night")]);
    assert!(house.get(CIRCUIT).body.contains("Note: the hose was at 6 bar all night"));
    let wrong = send(&house, "leak-down", &[("start_bar_g", "9000"), ("end_bar_g", "5"), ("seconds", "60")]);
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.body.contains("value=\"9000\""));
    // Somebody else reads the same in bar, and the paper stays in its own units.
    house.add_people(&[("TE", "Tess Holm", Role::Technician)]);
    let mut other = house.without_cookie();
    let answer = other.post("/who", &[("person", "TE".into())]);
    other.wear(&answer);
    assert!(other.get(CIRCUIT).body.contains("Leak-down, 5.998 to 5.964\u{202f}bar in 60\u{202f}s"));
    choose_units(
        &house,
        &[("pressure", "bar"), ("flow", "l/min"), ("temperature", "degC"), ("length", "mm")],
    );
    assert!(house.get(CIRCUIT).body.contains("5.998 to 5.964\u{202f}bar"));
}

#[test]
fn calculators_read_and_answer_in_the_same_units() {
    let house = House::with_a_visit();
    let density = |temperature: &str| {
        let form = [("temperature_deg_c", temperature.to_owned()), ("pressure_bar_abs", String::new())];
        house.post("/calculators/water", &form)
    };
    let metric = density("20").body;
    choose_units(&house, &CUSTOMARY);
    let customary = density("68").body;
    let density_of = |page: &str| {
        let answer = page.split("id=\"outcome\"").nth(1).unwrap_or_else(|| panic!("no answer: {page}"));
        answer.split("kg/m³").next().unwrap().rsplit('>').next().unwrap().to_owned()
    };
    assert_eq!(density_of(&metric), density_of(&customary));
    assert!(customary.contains(", °F</span>") && customary.contains(", psi (absolute)</span>"));
}

#[test]
fn an_unlikely_number_is_asked_about_before_it_is_recorded() {
    let house = House::with_a_visit();
    let flow = |l_min: &'static str, more: &[(&'static str, &'static str)]| {
        let mut pairs = vec![
            ("flow_l_min", l_min),
            ("pressure_in_bar_g", "1"),
            ("pressure_out_bar_g", "0.5"),
            ("water_temperature_deg_c", "20"),
            ("others", "closed"),
            ("through_fixture", "false"),
        ];
        pairs.extend_from_slice(more);
        send(&house, "flow", &pairs)
    };
    assert_eq!(flow("14", &[]).status, StatusCode::SEE_OTHER);
    let asked = flow("140", &[]);
    assert_eq!((asked.status, house.readings()), (StatusCode::UNPROCESSABLE_ENTITY, 1));
    assert!(asked.body.contains("Did you mean 14\u{202f}l/min?"), "{}", asked.body);
    assert!(asked.body.contains("About 14 l/min is expected here (as it was read before in this visit)"));
    assert!(asked.body.contains("value=\"140\""), "what was typed stays");
    for button in
        ["name=\"sure\" value=\"meant flow_l_min=140\"", "name=\"sure\" value=\"kept flow_l_min=140\""]
    {
        assert!(asked.body.contains(button), "{button}");
    }
    // An answer to another number is no answer.
    let other = flow("141", &[("sure", "kept flow_l_min=140")]);
    assert_eq!((other.status, house.readings()), (StatusCode::UNPROCESSABLE_ENTITY, 1));
    let meant = flow("140", &[("sure", "meant flow_l_min=140")]);
    assert_eq!((meant.status, house.readings()), (StatusCode::SEE_OTHER, 2));
    assert!((flow_l_min(&house) - 14.0).abs() < 1e-9 && newest(&house).1.is_none());
    let kept = flow("140", &[("sure", "kept flow_l_min=140")]);
    assert_eq!((kept.status, house.readings()), (StatusCode::SEE_OTHER, 3));
    assert!((flow_l_min(&house) - 140.0).abs() < 1e-9);
    assert_eq!(newest(&house).1.as_deref(), Some("it was questioned, and kept as typed"));
    // Changed, it is recorded without a word.
    assert_eq!(flow("13.5", &[]).status, StatusCode::SEE_OTHER);
    // The same in the units of whoever types.
    choose_units(&house, &CUSTOMARY);
    let psi = send(&house, "leak-down", &[("start_bar_g", "870"), ("end_bar_g", "869"), ("seconds", "60")]);
    assert!(psi.body.contains("Did you mean 87\u{202f}psi (gauge)"), "{}", psi.body);
    assert!(
        psi.body.contains("About 87 psi is expected here (air tests usually begin there)"),
        "{}",
        psi.body
    );
    let bar = send(&house, "leak-down", &[("start_bar_g", "6"), ("end_bar_g", "5.99"), ("seconds", "60")]);
    assert!(bar.body.contains("psi and bar mixed up?"), "{}", bar.body);
}

#[test]
fn drafts_are_kept_by_a_script_of_our_own_which_asks_what_has_arrived() {
    let house = House::with_a_visit();
    let script = house.get("/assets/drafts.js");
    assert!(script.status == StatusCode::OK && script.body.contains("localStorage"));
    for word in ["http://", "https://", "eval(", "innerHTML", "document.write"] {
        assert!(!script.body.contains(word), "{word}");
    }
    let page = house.get(CIRCUIT).body;
    assert!(page.contains("<body class=\"book\" data-person=\"KD\" "), "a draft is its person's own");
    let key = house.fresh_key();
    assert_eq!(house.get(&format!("/kept/{key}")).status, StatusCode::NOT_FOUND);
    let form = vec![
        ("token", house.token(CIRCUIT)),
        ("key", key.clone()),
        ("start_bar_g", "6".into()),
        ("end_bar_g", "5.99".into()),
        ("seconds", "60".into()),
    ];
    assert_eq!(house.post(&format!("{CIRCUIT}/enter/leak-down"), &form).status, StatusCode::SEE_OTHER);
    assert_eq!(house.get(&format!("/kept/{key}")).status, StatusCode::NO_CONTENT);
    assert_eq!(house.without_cookie().get(&format!("/kept/{key}")).status, StatusCode::UNAUTHORIZED);
}

#[test]
fn the_forms_of_a_whole_visit_are_typed_in_the_same_units() {
    let house = House::with_a_visit();
    choose_units(&house, &CUSTOMARY);
    let visit = "/moulds/M%2F1/visits/first";
    let page = format!("{visit}/across");
    assert!(house.get(&page).body.contains(", psi (gauge)</span>"));
    let watch = [
        ("seconds", "120"),
        ("row-0.part", "charged"),
        ("row-0.start_bar_g", "87"),
        ("row-0.end_bar_g", "80"),
        ("row-1.part", "watched"),
        ("row-1.start_bar_g", "0"),
        ("row-1.end_bar_g", "7"),
    ];
    assert_eq!(house.send(&page, &page, &watch).status, StatusCode::SEE_OTHER);
    let WhatCard::CrossWatch { charged: Some(DecayCard::Read { start_bar_g, time_s, .. }), .. } =
        newest(&house).0.what
    else {
        panic!("a cross-watch")
    };
    // NIST SP 811, appendix B.8: 1 psi is 6.894 757 kPa, 1 US gallon is 3.785 412 l.
    assert!((start_bar_g - 87.0 * 0.068_947_57).abs() < 1e-6 && (time_s - 120.0).abs() < 1e-9);
    let page = format!("{visit}/whole");
    assert!(house.get(&page).body.contains(", gpm</span>"));
    let run = [("flow_l_min", "5"), ("pressure_in_bar_g", "30"), ("pressure_out_bar_g", "2")];
    assert_eq!(house.send(&page, &format!("{page}/enter/fixture"), &run).status, StatusCode::SEE_OTHER);
    let WhatCard::RigCheck(card) = newest(&house).0.what else { panic!("a rig check") };
    assert!((card.flow_l_min.unwrap() - 5.0 * 3.785_412).abs() < 1e-4);
    assert!(house.get(&page).body.contains("Reading on hoses joined, 5\u{202f}gpm, inlet 30\u{202f}psi"));
}

#[test]
fn a_viewer_sees_the_editors_and_their_forms_are_refused() {
    let house = House::with_a_visit();
    house.add_people(&[("VI", "Vic Lane", Role::Viewer)]);
    let mut viewer = house.without_cookie();
    let answer = viewer.post("/who", &[("person", "VI".into())]);
    viewer.wear(&answer);
    let visit = "/moulds/M%2F1/visits/first";
    for page in [
        "/take-in".to_owned(),
        "/limits".to_owned(),
        "/new-rig".to_owned(),
        "/moulds/M%2F1/edit".to_owned(),
        "/moulds/M%2F1/halves/fixed".to_owned(),
        "/moulds/M%2F1/circuits/F1/pieces".to_owned(),
        format!("{visit}/hook-up"),
        format!("{visit}/leaks"),
        format!("{visit}/photos"),
        format!("{visit}/across"),
        format!("{visit}/whole"),
    ] {
        let answer = viewer.get(&page);
        assert_eq!(answer.status, StatusCode::OK, "{page}");
        assert!(!answer.body.contains("class=\"entry"), "{page}");
    }
    // The forms by hand, with the token of a page that has one.
    let form = [("token", viewer.token("/me")), ("key", viewer.fresh_key()), ("id", "M-9".to_owned())];
    assert_eq!(viewer.post("/take-in", &form).status, StatusCode::FORBIDDEN);
}

#[test]
fn limits_are_for_a_lead_to_change() {
    let house = House::with_a_visit();
    house.add_people(&[("TE", "Tess Holm", Role::Technician)]);
    let mut technician = house.without_cookie();
    let answer = technician.post("/who", &[("person", "TE".into())]);
    technician.wear(&answer);
    for page in ["/limits", "/materials"] {
        let body = technician.get(page).body;
        assert!(!body.contains("class=\"entry") && body.contains("a lead or an administrator"));
        let form = [("token", technician.token("/me")), ("key", technician.fresh_key())];
        assert_eq!(technician.post(page, &form).status, StatusCode::FORBIDDEN);
        assert!(house.get(page).body.contains("class=\"entry"));
    }
    assert!(technician.get("/new-rig").body.contains("class=\"entry"));
}
