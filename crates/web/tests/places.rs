//! Outlines, pins, the leak hunt and photos.

#![allow(clippy::unwrap_used)]

mod house;

use axum::http::StatusCode;
use house::{Answer, House};
use store::shapes::{LeakCard, LeakCauseWord, PhotoCard2, PinCard};
use store::{Fact, Subject};

const HALF: &str = "/moulds/M%2F1/halves/fixed";
const VISIT: &str = "/moulds/M%2F1/visits/first";
const CIRCUIT: &str = "/moulds/M%2F1/visits/first/circuits/F1";

fn refused(answer: &Answer, texts: &[&str]) {
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", answer.body);
    for text in texts {
        assert!(answer.body.contains(text), "{text}: {}", answer.body);
    }
}

fn pins(house: &House) -> Vec<PinCard> {
    let facts = house.facts(&Subject::half("M/1", "fixed"));
    facts.into_iter().filter_map(|fact| if let Fact::Pin(card) = fact { Some(card) } else { None }).collect()
}

fn leaks(house: &House) -> Vec<LeakCard> {
    let facts = house.facts(&Subject::visit("M/1", "first"));
    facts.into_iter().filter_map(|fact| if let Fact::Leak(card) = fact { Some(card) } else { None }).collect()
}

fn outlined() -> House {
    let house = House::with_a_visit();
    let size = [("width_mm", "400"), ("height_mm", "300")];
    assert_eq!(house.send(HALF, &format!("{HALF}/outline"), &size).status, StatusCode::SEE_OTHER);
    house
}

#[test]
fn a_half_gets_an_outline_and_its_pins_by_numbers_and_by_a_click() {
    let house = House::with_a_visit();
    assert_eq!(house.get(&format!("{HALF}/outline.svg")).status, StatusCode::NOT_FOUND);
    let early =
        house.send(HALF, &format!("{HALF}/pin"), &[("what", "inlet|F1"), ("x_mm", "1"), ("y_mm", "1")]);
    refused(&early, &["This half has no outline yet"]);
    let wrong = house.send(HALF, &format!("{HALF}/outline"), &[("width_mm", "wide")]);
    refused(&wrong, &["2 things to put right", "value=\"wide\""]);
    let flat = house.send(HALF, &format!("{HALF}/outline"), &[("corners", "0; 0\n10; 0\n20 0")]);
    refused(&flat, &["Line 3 is no corner", "10; 0"]);
    let house = outlined();
    let picture = house.get(&format!("{HALF}/outline.svg"));
    assert!(picture.body.starts_with("<svg xmlns=") && picture.policy.contains("default-src 'none'"));
    let pin = |pairs: &[(&str, &str)]| house.send(HALF, &format!("{HALF}/pin"), pairs);
    refused(&pin(&[("x_mm", "far"), ("y_mm", "")]), &["Not chosen", "Not a number", "value=\"far\""]);
    refused(&pin(&[("what", "inlet|F1"), ("x_mm", "900"), ("y_mm", "0")]), &["This lies beside the half"]);
    assert_eq!(pin(&[("what", "inlet|F1"), ("x_mm", "0"), ("y_mm", "50,5")]).status, StatusCode::SEE_OTHER);
    // The drawing has 1.4 px for each mm and margins of 76 px and 34 px: this is 100 mm from the left side, 200 mm up.
    assert_eq!(pin(&[("what", "outlet|F1"), ("at.x", "216"), ("at.y", "174")]).status, StatusCode::SEE_OTHER);
    let places: Vec<(String, f64, f64)> =
        pins(&house).into_iter().map(|pin| (pin.what, pin.x_mm, pin.y_mm)).collect();
    assert_eq!(places, [("inlet".to_owned(), 0.0, 50.5), ("outlet".to_owned(), 100.0, 200.0)]);
    // A pin that is placed again moves.
    assert_eq!(pin(&[("what", "inlet|F1"), ("x_mm", "10"), ("y_mm", "50")]).status, StatusCode::SEE_OTHER);
    assert_eq!(pins(&house).len(), 2);
    // The Enter key on the picture clicks at its very corner: that is no place.
    refused(&pin(&[("what", "inlet|F1"), ("at.x", "0"), ("at.y", "0")]), &["click its place"]);
    let body = house.get(HALF).body;
    assert!(
        body.contains("type=\"image\"")
            && body.contains("F1 IN: 10 mm right")
            && body.contains("placed on the drawing")
    );
    assert!(house.get("/moulds/M%2F1").body.contains(">F1 OUT</text>"));
    let entry = body.split("name=\"entry\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    assert_eq!(
        house.send(HALF, &format!("{HALF}/unpin"), &[("entry", &entry)]).status,
        StatusCode::SEE_OTHER
    );
    refused(
        &house.send(HALF, &format!("{HALF}/unpin"), &[("entry", &entry)]),
        &["This pin is not there any more"],
    );
    assert_eq!(pins(&house).len(), 1);
    refused(
        &house.send(HALF, &format!("{HALF}/outline"), &[("width_mm", "1"), ("height_mm", "1")]),
        &["needs its reason"],
    );
}

#[test]
fn a_leak_is_noted_pinned_mended_and_shown_tight_again() {
    let house = outlined();
    let page = format!("{VISIT}/leaks");
    refused(
        &house.send(&page, &format!("{page}/0"), &[("half", "fixed"), ("x_mm", "left")]),
        &["3 things to put right", "value=\"left\""],
    );
    let noted = [("circuit", "F1"), ("shows", "outside"), ("place", "below the plug"), ("cause", "plug")];
    assert_eq!(house.send(&page, &format!("{page}/0"), &noted).status, StatusCode::SEE_OTHER);
    let body = house.get(&page).body;
    assert!(body.contains("<strong>F1: plug</strong>") && body.contains("Not shown tight again yet"));
    let root = body.split(&format!("action=\"{page}/")).nth(1).unwrap().split('"').next().unwrap().to_owned();
    let placed = house.send(
        HALF,
        &format!("{HALF}/pin"),
        &[("what", &format!("leak|{root}")), ("at.x", "76"), ("at.y", "34")],
    );
    assert_eq!(placed.status, StatusCode::SEE_OTHER);
    let spot = leaks(&house)[0].spot.clone().unwrap();
    assert_eq!((spot.half.as_str(), spot.x_mm, spot.y_mm), ("fixed", 0.0, 300.0));
    for circuit in ["F1", "F2"] {
        let bench = format!("{VISIT}/circuits/{circuit}");
        let held = [("start_bar_g", "6"), ("end_bar_g", "6"), ("seconds", "60")];
        assert_eq!(
            house.send(&bench, &format!("{bench}/enter/leak-down"), &held).status,
            StatusCode::SEE_OTHER
        );
    }
    let body = house.get(&page).body;
    let known = body.split("name=\"known\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    let readings: Vec<String> = house.reading_roots();
    let go_on = |tight: &str| {
        let form = [
            &noted[..],
            &[
                ("known", known.as_str()),
                ("done", "new plug"),
                ("tight_by", tight),
                ("half", "fixed"),
                ("x_mm", "0"),
                ("y_mm", "300"),
            ][..],
        ];
        house.send(&page, &format!("{page}/{root}"), &form.concat())
    };
    refused(&go_on(&readings[1]), &["This is a reading of F2", "value=\"new plug\""]);
    assert_eq!(go_on(&readings[0]).status, StatusCode::SEE_OTHER);
    let [leak] = &leaks(&house)[..] else { panic!("one leak") };
    assert_eq!((leak.cause, leak.done.as_deref()), (LeakCauseWord::Plug, Some("new plug")));
    assert!(house.get(&page).body.contains("Tight again by entry"));
    assert!(house.get("/moulds/M%2F1").body.contains("F1: plug, tight again</text>"));
    // Somebody who had the page open from before does not undo it.
    refused(&go_on(&readings[0]), &["Somebody else has changed this meanwhile"]);
    let body = house.get(&page).body;
    let known = body.split("name=\"known\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    let none = [("known", known.as_str()), ("do", "withdraw")];
    assert_eq!(house.send(&page, &format!("{page}/{root}"), &none).status, StatusCode::SEE_OTHER);
    assert!(leaks(&house).is_empty());
}

#[test]
fn a_photo_is_what_its_bytes_say_and_says_nothing_else() {
    let house = House::with_a_visit();
    let chunk = |name: &[u8], content: &[u8]| {
        let length = u32::try_from(content.len()).unwrap().to_be_bytes();
        [&length[..], name, content, &[0; 4]].concat()
    };
    let parts = [
        chunk(b"IHDR", &[0; 13]),
        chunk(b"tEXt", b"Author\0Kim"),
        chunk(b"IDAT", &[1, 2]),
        chunk(b"IEND", b""),
    ];
    let png = [&[0x89, b'P', b'N', b'G', 0x0d, 0x0a, 0x1a, 0x0a][..], &parts.concat()].concat();
    for page in [format!("{VISIT}/photos"), "/moulds/M%2F1/circuits/F1/photos".to_owned()] {
        let form = |caption: &str| {
            vec![("token", house.token(&page)), ("key", house.fresh_key()), ("caption", caption.to_owned())]
        };
        let none = house.post_files(&page, &form("a plug"), &[]);
        refused(&none, &["Missing: choose a file", "value=\"a plug\""]);
        refused(
            &house.post_files(&page, &form(""), &[("photo", "x.jpg", b"<svg onload=x>")]),
            &["Neither JPEG nor PNG", "say what is to be seen"],
        );
        refused(&house.post_files(&page, &form("x"), &[("photo", "x.png", &png[..40])]), &["broken"]);
        // Larger than other forms may be.
        let large =
            [&png[..png.len() - 12], &chunk(b"IDAT", &vec![7; 5 << 20]), &chunk(b"IEND", b"")].concat();
        let answer = house.post_files(&page, &form("large"), &[("photo", "l.png", &large)]);
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
        let too_large = vec![0xff; 17 << 20];
        assert_eq!(
            house.post_files(&page, &form("x"), &[("photo", "x.jpg", &too_large)]).status,
            StatusCode::PAYLOAD_TOO_LARGE
        );
        assert_eq!(
            house.post_files(&page, &form("a plug"), &[("photo", "x.png", &png)]).status,
            StatusCode::SEE_OTHER
        );
        let body = house.get(&page).body;
        assert!(
            body.contains("taken out of its file: text of the program") && body.contains("alt=\"a plug\"")
        );
        let way = body.rsplit("<img src=\"").next().unwrap().split('"').next().unwrap().to_owned();
        let (kind, bytes) = house.bytes(&way);
        assert_eq!(kind, "image/png");
        assert!(!bytes.windows(3).any(|part| part == b"Kim") && bytes.starts_with(&png[..8]));
        let number = way.rsplit('/').next().unwrap().to_owned();
        let withdraw = |reason: &str| {
            let form = vec![
                ("token", house.token(&page)),
                ("key", house.fresh_key()),
                ("entry", number.clone()),
                ("reason", reason.to_owned()),
            ];
            house.post_files(&page, &form, &[])
        };
        refused(&withdraw(""), &["say why it does not hold"]);
        assert_eq!(withdraw("another mould").status, StatusCode::SEE_OTHER);
        assert!(!house.get(&page).body.contains("a plug"));
    }
    assert_eq!(house.get("/photos/1").status, StatusCode::NOT_FOUND);
    let facts = house.facts(&Subject::visit("M/1", "first"));
    let photos: Vec<&PhotoCard2> = facts
        .iter()
        .filter_map(|fact| if let Fact::Photo2(card) = fact { Some(card) } else { None })
        .collect();
    assert_eq!(photos.len(), 1);
    assert_eq!(house.get(CIRCUIT).status, StatusCode::OK);
}
