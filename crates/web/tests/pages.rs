//! The pages in this process: a name, a visit, readings, and everything that must not happen.

#![allow(clippy::unwrap_used)]

mod house;

use axum::http::StatusCode;
use house::House;

const CIRCUIT: &str = "/moulds/M%2F1/visits/first/circuits/F1";

fn leak_down(house: &House, start: &str, end: &str, seconds: &str, key: &str) -> Vec<(&'static str, String)> {
    vec![
        ("token", house.token(CIRCUIT)),
        ("key", key.to_owned()),
        ("start_bar_g", start.to_owned()),
        ("end_bar_g", end.to_owned()),
        ("seconds", seconds.to_owned()),
    ]
}

const KEY: &str = "0123456789abcdef0123456789abcdef";

#[test]
fn the_first_start_asks_for_a_name_and_remembers_it() {
    let mut house = House::empty();
    assert_eq!(house.get("/").location(), "/who");
    let wrong =
        house.post("/who", &[("name", String::new()), ("short", "a name that is far too long".into())]);
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.body.contains("2 things to put right") && wrong.body.contains("far too long"));
    let right = house.post("/who", &[("name", "Kim <b>Dale</b>".into()), ("short", "KD".into())]);
    assert_eq!((right.status, right.location()), (StatusCode::SEE_OTHER, "/"));
    assert!(right.cookies[0].contains("HttpOnly") && right.cookies[0].contains("SameSite=Strict"));
    house.wear(&right);
    let today = house.get("/");
    assert!(
        today.body.contains("At the bench: <strong>KD</strong>")
            && today.body.contains("Nothing is on the bench")
    );
    let who = house.get("/who").body;
    assert!(who.contains("Kim &lt;b&gt;Dale&lt;/b&gt;") && !who.contains("<b>Dale"));
    assert_eq!(house.post("/who", &[("person", "nobody".into())]).status, StatusCode::CONFLICT);
    assert!(house.get("/me").body.contains("On record as administrator"), "the first one may do everything");
    // Nobody adds themselves any more.
    let second = house.post("/who", &[("name", "Lee Ash".into()), ("short", "LA".into())]);
    assert_eq!(second.status, StatusCode::CONFLICT);
}

#[test]
fn nobody_is_led_away_from_these_pages() {
    let house = House::with_a_visit();
    for next in ["//bench.example/", "https://bench.example/", "/\\bench.example", "/a\nb"] {
        let answer = house.post("/who", &[("person", "KD".into()), ("next", next.into())]);
        assert_eq!(answer.location(), "/", "{next:?}");
    }
    assert_eq!(house.post("/who", &[("person", "KD".into()), ("next", CIRCUIT.into())]).location(), CIRCUIT);
}

#[test]
fn every_page_answers_with_a_strict_policy_and_without_script() {
    let house = House::with_a_visit();
    let visit = "/moulds/M%2F1/visits/first";
    for page in [
        "/",
        "/who",
        "/me",
        "/people",
        "/moulds/M%2F1/visits/first/circuits/F1/gates",
        "/moulds",
        "/moulds/M%2F1",
        "/moulds/M%2F1/circuits/F1",
        visit,
        CIRCUIT,
        "/moulds/M%2F1/visits/first/hook-up",
        "/moulds/M%2F1/visits/first/across",
        "/moulds/M%2F1/visits/first/whole",
        "/moulds/M%2F1/visits/first/leaks",
        "/moulds/M%2F1/visits/first/photos",
        "/take-in",
        "/moulds/M%2F1/edit",
        "/moulds/M%2F1/find",
        "/moulds/M%2F1/halves/fixed",
        "/moulds/M%2F1/circuits/F1/edit",
        "/moulds/M%2F1/circuits/F1/pieces",
        "/moulds/M%2F1/circuits/F1/baseline",
        "/moulds/M%2F1/circuits/F1/photos",
        "/rigs",
        "/new-rig",
        "/new-instrument",
        "/limits",
        "/materials",
        "/calculators",
        "/nowhere",
    ] {
        let answer = house.get(page);
        let right = if page == "/nowhere" { StatusCode::NOT_FOUND } else { StatusCode::OK };
        assert_eq!(answer.status, right, "{page}");
        assert!(answer.policy.contains("default-src 'none'; style-src 'self'"), "{page}");
        assert!(answer.policy.contains("script-src 'self'; connect-src 'self'"), "{page}");
        assert!(!answer.policy.contains("unsafe"), "{page}");
        // Our own files are the only scripts, and pages are complete without them.
        let own = |body: String, script| {
            body.replace(&format!("<script src=\"/assets/{script}.js\" defer></script>"), "")
        };
        let body = ["drafts", "plots", "live"].into_iter().fold(answer.body.clone(), own);
        for inline in ["<script", "style=\"", "<style", " onclick", "http://", "https://"] {
            assert!(!body.replace("http://www.w3.org", "").contains(inline), "{page}: {inline}");
        }
    }
    let sheet = house.get(&format!("{visit}/sheet"));
    assert!(sheet.status == StatusCode::OK && sheet.policy.contains("default-src 'none'"));
    for missing in [
        "/moulds/X",
        "/moulds/M%2F1/visits/second",
        "/moulds/M%2F1/circuits/F9",
        "/calculators/x",
        "/moulds/M%2F1/circuits/F9/edit",
        "/moulds/M%2F1/halves/upper",
        "/rigs/none",
        "/instruments/none",
        "/moulds/X/edit",
        "/moulds/M%2F1/visits/second/hook-up",
        "/moulds/M%2F1/visits/second/photos",
        "/photos/999",
    ] {
        assert_eq!(house.get(missing).status, StatusCode::NOT_FOUND, "{missing}");
    }
}

#[test]
fn a_reading_is_recorded_judged_and_counted_once() {
    let house = House::with_a_visit();
    let untouched = house.get(CIRCUIT).body;
    assert!(untouched.contains("Nothing yet."));
    // Wet in two forms, wet and descale in a third: nobody pumps water in unwarned.
    assert_eq!(untouched.matches("class=\"shut-gate\"").count(), 4);
    let form = leak_down(&house, "6", "5,99", "60", KEY);
    let first = house.post(&format!("{CIRCUIT}/enter/leak-down"), &form);
    assert_eq!(first.status, StatusCode::SEE_OTHER);
    let second = house.post(&format!("{CIRCUIT}/enter/leak-down"), &form);
    assert_eq!(second.location(), first.location());
    let page = house.get(first.location().split('#').next().unwrap()).body;
    assert_eq!(
        page.matches("Leak-down, 6 to 5.99").count(),
        2,
        "told once on top and once among the readings"
    );
    assert_eq!(house.readings(), 1);
    let found = house.newest_finding();
    assert!(found.circuits[0].tightness != "untested", "{found:?}");
    // The same form with other values is not lost in silence.
    let other = leak_down(&house, "6", "5.1", "60", KEY);
    let answer = house.post(&format!("{CIRCUIT}/enter/leak-down"), &other);
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(
        answer.body.contains("recorded already")
            && answer.body.contains("value=\"5.1\"")
            && !answer.body.contains(KEY)
    );
    assert_eq!(house.readings(), 1);
}

#[test]
fn bad_values_are_answered_at_their_fields_all_at_once_and_kept() {
    let house = House::with_a_visit();
    let form = leak_down(&house, "six \"bar\"", "900", "", KEY);
    let answer = house.post(&format!("{CIRCUIT}/enter/leak-down"), &form);
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    for field in ["start-bar-g", "end-bar-g", "seconds"] {
        assert!(answer.body.contains(&format!("id=\"leak-down--{field}-wrong\"")), "{field}");
        assert!(answer.body.contains(&format!("href=\"#leak-down--{field}\"")), "{field}");
    }
    assert!(answer.body.contains("3 things to put right"));
    assert!(answer.body.contains("value=\"six &quot;bar&quot;\"") && answer.body.contains("value=\"900\""));
    assert!(
        !answer.body.contains("end_bar_g,") && !answer.body.contains("start_bar_g and"),
        "words, not names of fields"
    );
    assert_eq!(house.readings(), 0);
    let nothing = house.post(&format!("{CIRCUIT}/enter/leak-down"), &leak_down(&house, "", "", "", KEY));
    assert!(nothing.body.contains("The gauge readings are missing"));
    let strange =
        house.post(&format!("{CIRCUIT}/enter/leak-down"), &leak_down(&house, "6", "5", "9", "mine"));
    assert_eq!((strange.status, house.readings()), (StatusCode::CONFLICT, 0));
}

#[test]
fn a_pasted_trace_is_a_reading() {
    let house = House::with_a_visit();
    let lines: String =
        (0..40).map(|at| format!("{at};{:.4}\n", 6.0 - 0.0001 * f64::from(at)).replace('.', ",")).collect();
    let form = vec![
        ("token", house.token(CIRCUIT)),
        ("key", KEY.to_owned()),
        ("trace", format!("time s;pressure bar g\n{lines}")),
    ];
    assert_eq!(house.post(&format!("{CIRCUIT}/enter/leak-down"), &form).status, StatusCode::SEE_OTHER);
    assert!(house.get(CIRCUIT).body.contains("Leak-down, logged"));
}

#[test]
fn strangers_are_refused_and_what_they_typed_is_kept() {
    let house = House::with_a_visit();
    let address = format!("{CIRCUIT}/enter/leak-down");
    let form = leak_down(&house, "6", "5.99", "60", KEY);
    for (name, value) in
        [("origin", "https://bench.example"), ("sec-fetch-site", "cross-site"), ("host", "bench.example")]
    {
        let status = house.post_with(&address, &form, name, value).status;
        assert!(status == StatusCode::FORBIDDEN || status == StatusCode::MISDIRECTED_REQUEST, "{name}");
    }
    let mut forged = form.clone();
    forged[0].1 = "0".repeat(64);
    let answer = house.post(&address, &forged);
    assert!(answer.status == StatusCode::UNPROCESSABLE_ENTITY && answer.body.contains("value=\"5.99\""));
    let nobody = house.without_cookie().post(&address, &form);
    assert!(nobody.status == StatusCode::UNPROCESSABLE_ENTITY && nobody.body.contains("5.99"));
    assert_eq!(house.readings(), 0);
}

#[test]
fn a_reading_is_withdrawn_with_a_reason_and_stays_in_the_history() {
    let house = House::with_a_visit();
    house.post(&format!("{CIRCUIT}/enter/leak-down"), &leak_down(&house, "6", "5.99", "60", KEY));
    let number = house.newest_reading();
    let address = format!("{CIRCUIT}/withdraw/{number}");
    let form = |reason: &str| {
        vec![("token", house.token(CIRCUIT)), ("key", "f".repeat(32)), ("reason", reason.to_owned())]
    };
    let silent = house.post(&address, &form(""));
    assert!(
        silent.status == StatusCode::UNPROCESSABLE_ENTITY
            && silent.body.contains("Missing: say why it does not hold.")
    );
    for _ in 0..2 {
        assert_eq!(house.post(&address, &form("read off the wrong gauge")).status, StatusCode::SEE_OTHER);
    }
    assert_eq!(house.readings(), 0);
    assert_eq!(house.newest_finding().circuits[0].tightness, "untested");
    assert!(house.get(CIRCUIT).body.contains("Nothing yet."));
    assert_eq!(
        house
            .post(
                &format!("{CIRCUIT}/withdraw/1"),
                &[("token", house.token(CIRCUIT)), ("key", "e".repeat(32)), ("reason", "x".into())]
            )
            .status,
        StatusCode::NOT_FOUND
    );
}

#[test]
fn a_visit_is_begun_and_held() {
    let house = House::with_a_visit();
    let visit = "/moulds/M%2F1/visits/first";
    let post = |what: &str, pairs: &[(&'static str, &str)]| {
        let mut form = vec![("token", house.token(visit)), ("key", house.fresh_key())];
        form.extend(pairs.iter().map(|(name, value)| (*name, (*value).to_owned())));
        house.post(&format!("{visit}/{what}"), &form)
    };
    let open_form = leak_down(&house, "6", "5.99", "60", KEY);
    // The gates are shut: no reading says that the mould may go.
    let release = post("end", &[("outcome", "release")]);
    assert!(
        release.status == StatusCode::UNPROCESSABLE_ENTITY && release.body.contains("is shut for F1, F2")
    );
    assert!(post("end", &[("outcome", "hold")]).body.contains("needs a reason"));
    assert_eq!(
        post("end", &[("outcome", "hold"), ("remark", "seals missing")]).status,
        StatusCode::SEE_OTHER
    );
    assert!(house.get("/").body.contains("Held"));
    // An ended visit takes nothing more.
    let late = house.post(&format!("{CIRCUIT}/enter/leak-down"), &open_form);
    assert_eq!((late.status, house.readings()), (StatusCode::UNPROCESSABLE_ENTITY, 0));
    assert!(late.body.contains("This visit has ended") && late.body.contains("5.99"));
    let mould = "/moulds/M%2F1";
    let begin = vec![("token", house.token(mould)), ("key", house.fresh_key()), ("rig", String::new())];
    let begun = house.post(&format!("{mould}/visits"), &begin);
    assert_eq!(house.post(&format!("{mould}/visits"), &begin).location(), begun.location());
    assert!(
        house.get(begun.location()).body.contains("on the bench")
            || house.get(begun.location()).status == StatusCode::OK
    );
}

#[test]
fn calculators_answer_and_name_every_fault() {
    let house = House::with_a_visit();
    let page = house.get("/calculators/friction").body;
    assert!(page.contains("name=\"reynolds\"") && page.contains("name=\"relative_roughness\""));
    let answer = house.post(
        "/calculators/friction",
        &[("reynolds", "100000".into()), ("relative_roughness", "0,0001".into())],
    );
    // Moody's chart, read at Re 1e5 and 0.0001 (from memory): 0.0185.
    assert!(answer.status == StatusCode::OK && answer.body.contains("0.0185"), "{}", answer.body);
    let wrong = house.post("/calculators/friction", &[("reynolds", "fast".into())]);
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.body.contains("2 things to put right") && wrong.body.contains("value=\"fast\""));
    let json = house.post(
        "/calculators/circuit-flow",
        &[("pieces", "[{\"kind\": ".into()), ("temperature_deg_c", "20".into())],
    );
    assert!(json.status == StatusCode::UNPROCESSABLE_ENTITY && json.body.contains("Not JSON"));
    for one in calc::calculators::all() {
        assert_eq!(house.get(&format!("/calculators/{}", one.name)).status, StatusCode::OK, "{}", one.name);
        let empty = house.post(&format!("/calculators/{}", one.name), &[]).status;
        assert!(empty == StatusCode::UNPROCESSABLE_ENTITY || empty == StatusCode::OK, "{}", one.name);
    }
}
