//! The language of the pages: chosen by a person, kept for the browser, and never in what a person wrote.

#![allow(clippy::unwrap_used)]

mod house;

use axum::http::StatusCode;
use house::House;

#[test]
fn a_person_chooses_a_language_and_goes_on_where_they_were() {
    let house = House::with_a_visit();
    assert!(house.get("/me").body.contains("<html lang=\"en-GB\">"));
    let chosen = house.post("/language", &[("language", "de".into()), ("next", "/moulds".into())]);
    assert_eq!((chosen.status, chosen.location()), (StatusCode::SEE_OTHER, "/moulds"));
    assert!(chosen.cookies[0].starts_with("borewise-language=de;"), "{:?}", chosen.cookies);
    // The choice of the person counts, even in a browser without the cookie.
    let page = house.get("/me").body;
    assert!(page.contains("<html lang=\"de\">") && page.contains("Meine Seite"), "{page}");
    assert!(page.contains("<option value=\"de\" selected>Deutsch</option>"), "{page}");
    // Each language stands at the foot under its own name.
    assert!(
        page.contains("lang=\"en-GB\">English</button>") && page.contains("lang=\"de\">Deutsch</button>")
    );
    let american = house.post("/language", &[("language", "en-US".into())]);
    assert_eq!(american.location(), "/");
    assert!(house.get("/moulds").body.contains("<h1>Molds</h1>"));
    // An unknown word takes the choice back.
    house.post("/language", &[("language", "xx".into())]);
    assert!(house.get("/me").body.contains("<html lang=\"en-GB\">"));
    for next in ["//bench.example/", "https://bench.example/"] {
        let answer = house.post("/language", &[("language", "de".into()), ("next", next.into())]);
        assert_eq!(answer.location(), "/", "{next}");
    }
}

#[test]
fn what_a_person_wrote_stays_to_the_letter() {
    let house = House::with_a_visit();
    let circuit = "/moulds/M%2F1/visits/first/circuits/F1";
    let words = "Flow 1.5, closed; Leak-down";
    let form = [
        ("token", house.token(circuit)),
        ("key", "0123456789abcdef0123456789abcdef".to_owned()),
        ("text", words.to_owned()),
    ];
    assert_eq!(house.post(&format!("{circuit}/enter/note"), &form).status, StatusCode::SEE_OTHER);
    house.post("/language", &[("language", "de".into())]);
    let page = house.get(circuit).body;
    assert!(page.contains(&format!("Notiz: {words}")), "{page}");
}

#[test]
fn faults_and_problems_speak_the_language_too() {
    let house = House::with_a_visit();
    house.post("/language", &[("language", "de".into())]);
    let missing = house.get("/nowhere");
    assert_eq!(missing.status, StatusCode::NOT_FOUND);
    assert!(missing.body.contains("<h1>Hier ist nichts</h1>"), "{}", missing.body);
    let circuit = "/moulds/M%2F1/visits/first/circuits/F1";
    let form = [
        ("token", house.token(circuit)),
        ("key", "0123456789abcdef0123456789abcdef".to_owned()),
        ("text", String::new()),
    ];
    let wrong = house.post(&format!("{circuit}/enter/note"), &form);
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.body.contains("Fehlt: ‚In Ihren Worten‘ angeben: was gesehen wurde."), "{}", wrong.body);
}
