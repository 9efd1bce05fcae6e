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
    assert!(page.contains("<body class=\"book\" data-person=\"KD\">"), "a draft is its person's own");
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
