//! Rigs, instruments, calibrations, limits and materials.

#![allow(clippy::unwrap_used)]

mod house;

use axum::http::StatusCode;
use house::{Answer, House};
use store::{Fact, Subject};

fn refused(answer: &Answer, texts: &[&str]) {
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", answer.body);
    for text in texts {
        assert!(answer.body.contains(text), "{text}: {}", answer.body);
    }
}

fn hidden(body: &str, name: &str) -> String {
    body.split(&format!("name=\"{name}\" value=\"")).nth(1).unwrap().split('"').next().unwrap().to_owned()
}

fn rig(house: &House) {
    let rig = [("name", "B1"), ("flow_uncertainty_percent", "1,5"), ("pump_curve", "0; 6\n25; 5,1\n50; 0")];
    assert_eq!(house.send("/new-rig", "/new-rig", &rig).status, StatusCode::SEE_OTHER);
}

#[test]
fn a_rig_is_said_and_corrected() {
    let house = House::with_a_visit();
    let wrong = [
        ("flow_uncertainty_percent", "two"),
        ("pump_curve", "0; 6\n0; 7"),
        ("calibrated_until", "2026-02-30"),
    ];
    refused(
        &house.send("/new-rig", "/new-rig", &wrong),
        &[
            "5 things to put right",
            "value=\"two\"",
            "Line 2: the flow does not rise",
            "Name of the rig",
            "2026-02-30",
        ],
    );
    rig(&house);
    refused(&house.send("/new-rig", "/new-rig", &[("name", "B1")]), &["Rig B1 is on record already"]);
    let body = house.get("/rigs/B1").body;
    assert!(body.contains("25; 5.1") && body.contains("value=\"1.5\""));
    let known = hidden(&body, "known");
    refused(&house.send("/rigs/B1", "/rigs/B1", &[("known", &known)]), &["needs its reason"]);
    let change = [("known", known.as_str()), ("gauge_step_bar", "0.02"), ("reason", "new gauges")];
    assert_eq!(house.send("/rigs/B1", "/rigs/B1", &change).status, StatusCode::SEE_OTHER);
    refused(
        &house.send(
            "/rigs/B1",
            "/rigs/B1",
            &[("known", &known), ("gauge_step_bar", "0.05"), ("reason", "x")],
        ),
        &["Somebody else has changed this meanwhile"],
    );
    let Fact::Rig(card) = house.facts(&Subject::rig("B1")).remove(0) else { panic!("a rig") };
    assert_eq!((card.gauge_step_bar, card.pump_curve_l_min_bar_g.len()), (0.02, 0));
}

#[test]
fn a_calibration_that_has_ended_shows_on_what_rests_on_it() {
    let house = House::with_a_visit();
    rig(&house);
    refused(&house.send("/new-instrument", "/new-instrument", &[("rig", "B1")]), &["2 things to put right"]);
    let gauge = [("id", "G-7"), ("measures", "pressure"), ("rig", "B1")];
    assert_eq!(house.send("/new-instrument", "/new-instrument", &gauge).status, StatusCode::SEE_OTHER);
    let page = "/instruments/G-7";
    let calibrate = |on: &str, until: &str, by: &str| {
        house.send(page, &format!("{page}/calibrated"), &[("on", on), ("until", until), ("by", by)])
    };
    refused(
        &calibrate("2024-05-02", "soon", ""),
        &["2 things to put right", "value=\"2024-05-02\"", "Holds until"],
    );
    refused(
        &calibrate("2024-05-02", "2023-05-02", "lab"),
        &["Before the day of the calibration: are the two exchanged?<"],
    );
    assert_eq!(calibrate("2024-05-02", "2025-05-01", "lab").status, StatusCode::SEE_OTHER);
    assert!(house.get("/rigs").body.contains("overdue since 2025-05-01"));
    // A visit that begins now keeps the rig with that date; what is measured on it says so.
    let mould = "/moulds/M%2F1";
    let ended = house.send(
        "/moulds/M%2F1/visits/first",
        "/moulds/M%2F1/visits/first/end",
        &[("outcome", "hold"), ("remark", "x")],
    );
    assert_eq!(ended.status, StatusCode::SEE_OTHER);
    let begun = house.send(mould, &format!("{mould}/visits"), &[("rig", "B1")]);
    let circuit = format!("{}/circuits/F1", begun.location());
    let said = "The calibration of the pressure gauges ended on 2025-05-01";
    assert!(!house.get(&circuit).body.contains(said), "nothing rests on it yet");
    let held = [("start_bar_g", "6"), ("end_bar_g", "5.99"), ("seconds", "60")];
    assert_eq!(
        house.send(&circuit, &format!("{circuit}/enter/leak-down"), &held).status,
        StatusCode::SEE_OTHER
    );
    for page in [circuit.as_str(), begun.location(), "/moulds/M%2F1/circuits/F1"] {
        assert!(house.get(page).body.contains(said), "{page}");
    }
    let other = format!("{}/circuits/F2", begun.location());
    assert!(!house.get(&other).body.contains(said));
    // A calibration that was noted wrongly is withdrawn, and the one before holds again.
    assert_eq!(calibrate("2026-05-02", "2030-05-01", "lab").status, StatusCode::SEE_OTHER);
    let entry = hidden(&house.get(page).body, "entry");
    refused(
        &house.send(page, &format!("{page}/withdraw"), &[("entry", &entry)]),
        &["say why it does not hold"],
    );
    let away = [("entry", entry.as_str()), ("reason", "another gauge")];
    assert_eq!(house.send(page, &format!("{page}/withdraw"), &away).status, StatusCode::SEE_OTHER);
    assert!(house.get(page).body.contains("overdue since 2025-05-01"));
}

#[test]
fn limits_and_materials_are_changed_with_a_reason_and_decide_from_then_on() {
    let house = House::with_a_visit();
    let circuit = "/moulds/M%2F1/visits/first/circuits/F1";
    let held = [("start_bar_g", "6"), ("end_bar_g", "5.9"), ("seconds", "60"), ("hold_s", "60")];
    assert_eq!(
        house.send(circuit, &format!("{circuit}/enter/leak-down"), &held).status,
        StatusCode::SEE_OTHER
    );
    let before = house.newest_finding();
    let body = house.get("/limits").body;
    assert!(
        body.contains("The table that came with the program is in use")
            && body.contains("Leak rate, mbar·l/s")
    );
    let typed = |leak: &str| -> Vec<(String, String)> {
        let mut form = vec![("known".to_owned(), hidden(&house.get("/limits").body, "known"))];
        for at in 0..6 {
            for column in ["value", "source", "owner"] {
                let name = format!("limit.{at}.{column}");
                let field = body.split(&format!("name=\"{name}\" ")).nth(1).unwrap();
                let value = match field.strip_prefix("value=\"") {
                    Some(rest) => rest.split('"').next().unwrap(),
                    None => field.split('>').nth(1).unwrap().split("</textarea").next().unwrap(),
                };
                let value = value.replace("&amp;", "&").replace("&quot;", "\"");
                form.push((name, if at == 0 && column == "value" { leak.to_owned() } else { value }));
            }
        }
        form
    };
    let send = |form: &[(String, String)], reason: &str| {
        let mut pairs: Vec<(&str, &str)> =
            form.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        pairs.push(("reason", reason));
        house.send("/limits", "/limits", &pairs)
    };
    refused(
        &send(&typed("-1"), ""),
        &["2 things to put right", "value=\"-1\"", "Value in use, Leak rate, mbar·l/s"],
    );
    refused(&send(&typed("0.1"), "none"), &["Nothing is changed"]);
    assert_eq!(send(&typed("0,0001"), "stricter customer").status, StatusCode::SEE_OTHER);
    let after = house.get("/limits").body;
    assert!(
        after.contains("value=\"0.0001\"")
            && after.contains("stricter customer")
            && after.contains("lower figure")
    );
    assert!(house.newest_finding().known_to > before.known_to, "what is on the bench was judged again");
    let body = house.get("/materials").body;
    let metals = body.matches(".key\" value=\"").count();
    let keys: Vec<(String, String)> = body
        .split("<input ")
        .filter_map(|field| {
            let name = field.split("name=\"").nth(1)?.split('"').next()?;
            let value = field.split("value=\"").nth(1)?.split('"').next()?;
            (name.contains('.'))
                .then(|| (name.to_owned(), value.replace("&amp;", "&").replace("&quot;", "\"")))
        })
        .collect();
    assert!(metals > 20);
    let send = |change: &[(&str, &str)]| {
        let mut form = keys.clone();
        for (name, value) in change {
            form.push(((*name).to_owned(), (*value).to_owned()));
        }
        let pairs: Vec<(&str, &str)> =
            form.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        house.send("/materials", "/materials", &pairs)
    };
    let next = keys
        .iter()
        .filter(|(name, _)| name.starts_with("metal.") && name.ends_with(".key"))
        .filter(|(_, value)| value.is_empty())
        .count();
    assert!(next >= 3);
    let free = keys
        .iter()
        .find(|(name, value)| name.starts_with("metal.") && name.ends_with(".key") && value.is_empty())
        .unwrap();
    let row = free.0.trim_end_matches(".key").to_owned();
    let (key, family, text) = (format!("{row}.key"), format!("{row}.family"), format!("{row}.text"));
    refused(
        &send(&[(&key, "X-1"), (&text, "our own"), ("reason", "new insert")]),
        &["One thing to put right", "Family"],
    );
    let added = send(&[(&key, "X-1"), (&family, "tool-steel"), (&text, "our own"), ("reason", "new insert")]);
    assert_eq!(added.status, StatusCode::SEE_OTHER, "{}", added.body);
    assert!(house.get("/materials").body.contains("value=\"X-1\""));
}
