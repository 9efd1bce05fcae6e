//! Papers in the bench book: who may have them, where they stand, what a certificate's own page says.

#![allow(clippy::unwrap_used)]

mod house;

use axum::http::StatusCode;
use house::House;

const VISIT: &str = "/moulds/M%2F1/visits/first";
const CIRCUIT: &str = "/moulds/M%2F1/visits/first/circuits/F1";

/// A leak-down of F1, so that something was found.
fn read_something(house: &House) {
    let pairs = [
        ("token", house.token(CIRCUIT)),
        ("key", house.fresh_key()),
        ("start_bar_g", "6".to_owned()),
        ("end_bar_g", "5.99".to_owned()),
        ("seconds", "60".to_owned()),
    ];
    let answer = house.post(&format!("{CIRCUIT}/enter/leak-down"), &pairs);
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
}

fn issue(house: &House) -> house::Answer {
    house.post(&format!("{VISIT}/certificate"), &[("token", house.token(VISIT)), ("key", house.fresh_key())])
}

#[test]
fn a_certificate_is_issued_by_a_form_and_has_a_page() {
    let house = House::with_a_visit();
    read_something(&house);
    let answer = issue(&house);
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    let page = house.get(answer.location());
    assert_eq!(page.status, StatusCode::OK);
    for words in ["It holds: nothing that it rests on", "Not released: the visit had not ended", "F1", "F2"] {
        assert!(page.body.contains(words), "{words} in {}", page.body);
    }
    let number = answer.location().rsplit('/').next().unwrap();
    let file = house.get(&format!("/certificates/{}/certificate.pdf", number.to_uppercase()));
    assert_eq!(file.body, format!("certificate {number} for http://localhost:8470"));
    assert!(file.policy.contains("default-src 'none'"));
    assert!(house.get(VISIT).body.contains(&format!("Certificate {number}")));
    assert_eq!(issue(&house).location(), answer.location(), "the same certificate");
    // What is read later is said on its page.
    read_something(&house);
    let page = house.get(answer.location()).body;
    assert!(
        page.contains("It no longer says what the record says") && page.contains("reading, by KD"),
        "{page}"
    );
    assert_ne!(issue(&house).location(), answer.location());
    assert!(house.get(answer.location()).body.contains("Issued later for this visit"));
}

#[test]
fn nobody_unknown_issues_and_nothing_unknown_has_a_page() {
    let house = House::with_a_visit();
    read_something(&house);
    let stranger = house.without_cookie();
    let asked = stranger.post(&format!("{VISIT}/certificate"), &[("key", house.fresh_key())]);
    assert!(asked.location().starts_with("/who"), "{}", asked.location());
    let forged =
        house.post(&format!("{VISIT}/certificate"), &[("token", "00".into()), ("key", house.fresh_key())]);
    assert_eq!(forged.status, StatusCode::CONFLICT);
    for missing in ["/certificates/0000-0000-0000", "/certificates/x", "/certificates/x/certificate.pdf"] {
        assert_eq!(house.get(missing).status, StatusCode::NOT_FOUND, "{missing}");
    }
}

#[test]
fn sheets_and_tags_stand_at_their_addresses() {
    let house = House::with_a_visit();
    assert_eq!(house.get(&format!("{VISIT}/sheet.pdf")).body, "sheet of first");
    assert_eq!(house.get(&format!("{VISIT}/hook-up.pdf")).body, "hoses of first on 0 ports");
    let tags = house.get("/moulds/M%2F1/tags.pdf").body;
    assert!(tags.starts_with("http://localhost:8470/moulds/M%2F1/circuits/F1\n"), "{tags}");
    assert!(house.get("/moulds/M%2F1").body.contains("/moulds/M%2F1/tags.pdf"));
}
