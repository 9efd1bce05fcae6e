//! What a visit records beside the readings of one circuit: hook-up, across, the rig, files of loggers.

#![allow(clippy::unwrap_used)]

mod house;

use axum::http::StatusCode;
use house::House;
use store::shapes::{DecayCard, RigOnCard, WhatCard};
use store::{Fact, Subject};

const VISIT: &str = "/moulds/M%2F1/visits/first";
const CIRCUIT: &str = "/moulds/M%2F1/visits/first/circuits/F1";

fn readings(house: &House) -> Vec<WhatCard> {
    let facts = house.facts(&Subject::visit("M/1", "first"));
    facts
        .into_iter()
        .filter_map(|fact| if let Fact::Reading(card) = fact { Some(card.what) } else { None })
        .collect()
}

fn post(house: &House, page: &str, pairs: &[(&str, &str)]) -> house::Answer {
    let page = format!("{VISIT}/{page}");
    house.send(&format!("{VISIT}/{}", page.split('/').nth(5).unwrap()), &page, pairs)
}

#[test]
fn a_hook_up_has_stages_directions_and_jumpers_and_keeps_its_versions() {
    let house = House::with_a_visit();
    let page = format!("{VISIT}/hook-up");
    let row = |at: usize, name: &str| format!("row-{at}.{name}");
    let rows = |all: &[(usize, &str, &str)], known: &str| {
        let mut form = vec![("rows".to_owned(), "6".to_owned()), ("known".to_owned(), known.to_owned())];
        form.extend(all.iter().map(|(at, name, value)| (row(*at, name), (*value).to_owned())));
        form
    };
    let send = |form: &[(String, String)]| {
        let pairs: Vec<(&str, &str)> =
            form.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
        house.send(&page, &page, &pairs)
    };
    let wrong =
        send(&rows(&[(0, "circuit", "F1"), (0, "port", "x"), (1, "circuit", "F2"), (1, "after", "F3")], ""));
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.body.contains("2 things to put right") && wrong.body.contains("value=\"x\""));
    assert!(
        wrong.body.contains("Not the number of a port")
            && wrong.body.contains("F3 hangs on no port in stage 1")
    );
    let first = rows(&[(0, "circuit", "F1"), (0, "port", "3"), (1, "circuit", "F2"), (1, "port", "4")], "");
    assert_eq!(send(&first).status, StatusCode::SEE_OTHER);
    let shown = house.get(&page).body;
    assert!(shown.contains("<strong>F1 IN</strong>") && shown.contains("<strong>F1 OUT</strong>"));
    let known = shown.split("name=\"known\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    // A page that was opened before does not write over what somebody else has recorded.
    let late = send(&first);
    assert!(
        late.status == StatusCode::UNPROCESSABLE_ENTITY && late.body.contains("Another hook-up was recorded")
    );
    let mut second = rows(
        &[
            (0, "circuit", "F1"),
            (0, "port", "3"),
            (0, "direction", "reversed"),
            (1, "circuit", "F2"),
            (1, "after", "F1"),
            (2, "circuit", "F2"),
            (2, "port", "3"),
            (2, "stage", "2"),
        ],
        &known,
    );
    second.push(("reason".into(), "hoses moved".into()));
    assert_eq!(send(&second).status, StatusCode::SEE_OTHER);
    let shown = house.get(&page).body;
    for text in [
        "Stage 2",
        "F1 IN → F2 IN",
        "<strong>F1 OUT</strong>",
        "against the flow",
        "hoses moved",
        "Earlier versions",
    ] {
        assert!(shown.contains(text), "{text}");
    }
    assert!(house.get(VISIT).body.contains("3 on F1 → F2"));
    // F1 hangs on the rig through a jumper only, F2 also by itself.
    let joined = "A jumper joins it with F2";
    assert!(house.get(CIRCUIT).body.contains(joined));
    assert!(!house.get(&format!("{VISIT}/circuits/F2")).body.contains("A jumper joins it"));
}

#[test]
fn a_cross_watch_is_typed_as_a_table() {
    let house = House::with_a_visit();
    let wrong = post(
        &house,
        "across",
        &[("row-0.part", "charged"), ("row-1.part", "watched"), ("row-1.start_bar_g", "nil")],
    );
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    for field in ["start-bar-g", "end-bar-g", "seconds"] {
        assert!(wrong.body.contains(&format!("id=\"across--row-1-{field}-wrong\"")), "{field}");
    }
    assert!(wrong.body.contains("value=\"nil\"") && wrong.body.contains("F2: Start"));
    let alone = post(&house, "across", &[("row-0.part", "charged"), ("row-1.start_bar_g", "0")]);
    assert!(alone.body.contains("Nothing is watched") && alone.body.contains("neither charged nor watched"));
    let right = [
        ("seconds", "120"),
        ("row-0.part", "charged"),
        ("row-0.start_bar_g", "6"),
        ("row-0.end_bar_g", "5,4"),
        ("row-1.part", "watched"),
        ("row-1.start_bar_g", "0"),
        ("row-1.end_bar_g", "0,6"),
    ];
    assert_eq!(post(&house, "across", &right).status, StatusCode::SEE_OTHER);
    let [WhatCard::CrossWatch { charged, watched, .. }] = &readings(&house)[..] else {
        panic!("one cross-watch")
    };
    assert_eq!(*charged, Some(DecayCard::Read { start_bar_g: 6.0, end_bar_g: 5.4, time_s: 120.0 }));
    assert_eq!(watched[0].decay, Some(DecayCard::Read { start_bar_g: 0.0, end_bar_g: 0.6, time_s: 120.0 }));
    assert!(house.get(CIRCUIT).body.contains("Charged, watched F2"));
    assert!(house.get(VISIT).body.contains("Who leaks into whom"));
    // Files of two loggers, whose columns are told once.
    let lines = |from: f64, step: f64| -> String {
        (0..40).map(|at| format!("{at},{:.4}\n", from + step * f64::from(at))).collect()
    };
    let page = format!("{VISIT}/across");
    let files =
        |head: &str| [format!("{head}\n{}", lines(6.0, -0.001)), format!("{head}\n{}", lines(0.0, 0.001))];
    let send = |head: &str, columns: &str| {
        let form = vec![
            ("token", house.token(&page)),
            ("key", house.fresh_key()),
            ("row-0.part", "charged".to_owned()),
            ("row-1.part", "watched".to_owned()),
            ("columns", columns.to_owned()),
        ];
        let files = files(head);
        let [first, second] = &files;
        let files = [
            ("row-0.trace-file", "1.csv", first.as_bytes()),
            ("row-1.trace-file", "2.csv", second.as_bytes()),
        ];
        house.post_files(&page, &form, &files)
    };
    let silent = send("time_s,what", "");
    assert_eq!(silent.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(silent.body.contains("id=\"across--row-1-trace-wrong\"") && silent.body.contains("time_s,what"));
    assert_eq!(send("time_s,what", "what = pressure_bar_g\ntime_s = time_s").status, StatusCode::SEE_OTHER);
    assert_eq!(readings(&house).len(), 2);
}

#[test]
fn the_rig_is_checked_on_known_things_and_a_check_can_be_withdrawn() {
    let house = House::with_a_visit();
    let empty = post(&house, "whole/enter/fixture", &[]);
    assert_eq!(empty.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(empty.body.contains("3 things to put right") && !empty.body.contains("on ="), "{}", empty.body);
    for (word, pairs) in [
        ("fixture", &[("flow_l_min", "20"), ("pressure_in_bar_g", "2"), ("pressure_out_bar_g", "0,1")][..]),
        (
            "orifice",
            &[
                ("reference_flow_factor_m3_h", "0.8"),
                ("flow_l_min", "13"),
                ("pressure_in_bar_g", "1"),
                ("pressure_out_bar_g", "0"),
            ],
        ),
        ("at-rest", &[("pressure_in_bar_g", "0.02")]),
        (
            "shut-off",
            &[
                ("pressure_in_bar_g", "5"),
                ("pressure_out_bar_g", "5.05"),
                ("reference_pressure_bar_g", "5.01"),
            ],
        ),
        (
            "bucket",
            &[
                ("collected_l", "10"),
                ("seconds", "30"),
                ("meter_flow_l_min", "20.4"),
                ("repeats.2.collected_l", "10"),
                ("repeats.2.seconds", "29"),
                ("repeats.2.meter_flow_l_min", "20.5"),
            ],
        ),
        ("note", &[("text", "rust in the drum"), ("at", "2026-11-24 09:05")]),
        ("treatment", &[("kind", "blow-out")]),
    ] {
        let answer = post(&house, &format!("whole/enter/{word}"), pairs);
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{word}: {}", answer.body);
    }
    let all = readings(&house);
    assert_eq!(all.len(), 7);
    assert!(
        all.iter().any(
            |what| matches!(what, WhatCard::RigCheck(run) if matches!(run.on, RigOnCard::Orifice { .. }))
        )
    );
    assert!(all.iter().any(|what| matches!(what, WhatCard::Bucket { fillings, .. } if fillings.len() == 2)));
    // A row between empty ones is answered at its own place.
    let row = post(
        &house,
        "whole/enter/bucket",
        &[("collected_l", "9"), ("seconds", "30"), ("meter_flow_l_min", "20"), ("repeats.3.seconds", "soon")],
    );
    assert!(
        row.body.contains("id=\"bucket--repeats-3-seconds-wrong\"") && row.body.contains("value=\"soon\"")
    );
    let page = house.get(&format!("{VISIT}/whole")).body;
    for text in [
        "Reading on hoses joined, 20",
        "Gauges open to the air",
        "reference 5.01",
        "fillings, the first 30",
        "24 Nov 2026, 09:05",
    ] {
        assert!(page.contains(text), "{text}");
    }
    let number = house.newest_reading();
    let silent = post(&house, &format!("whole/withdraw/{number}"), &[("reason", "")]);
    assert!(silent.status == StatusCode::UNPROCESSABLE_ENTITY && silent.body.contains("needs its reason"));
    let said = post(&house, &format!("whole/withdraw/{number}"), &[("reason", "another mould")]);
    assert_eq!((said.status, house.readings()), (StatusCode::SEE_OTHER, 6));
}

#[test]
fn a_loggers_file_stands_for_pasted_lines_and_is_kept_when_it_is_refused() {
    let house = House::with_a_visit();
    let form =
        || vec![("token", house.token(CIRCUIT)), ("key", house.fresh_key()), ("start_bar_g", String::new())];
    let lines: String = (0..40).map(|at| format!("{at};5,9{at:02}\n")).collect();
    let good = format!("Zeit s;Druck bar \u{fc}\n{lines}").replace("bar \u{fc}", "bar g");
    let address = format!("{CIRCUIT}/enter/leak-down");
    let answer = house.post_files(&address, &form(), &[("trace-file", "log.csv", good.as_bytes())]);
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    assert!(house.get(CIRCUIT).body.contains("Leak-down, logged"));
    let bad = house.post_files(&address, &form(), &[("trace-file", "log.csv", b"time_s,what\n0,1\n")]);
    assert!(bad.status == StatusCode::UNPROCESSABLE_ENTITY && bad.body.contains("time_s,what"));
    let none = house.post_files(&address, &form(), &[("trace-file", "", b"")]);
    assert!(none.body.contains("The gauge readings are missing"));
    // What the head does not say can be told.
    let mut told = form();
    told.push(("columns", "time_s = time_s\nwhat = pressure_bar_g".into()));
    let lines: String = (0..40).map(|at| format!("{at},{:.3}\n", 6.0 - 0.001 * f64::from(at))).collect();
    let told = house.post_files(
        &address,
        &told,
        &[("trace-file", "log.csv", format!("time_s,what\n{lines}").as_bytes())],
    );
    assert_eq!(told.status, StatusCode::SEE_OTHER, "{}", told.body);
    assert_eq!(house.readings(), 2);
}
