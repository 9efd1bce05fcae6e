//! Open pages are told what is recorded: of their own mould, by whatever process, and until the program ends.

#![allow(clippy::unwrap_used)]

mod house;

use std::time::Duration;

use axum::http::StatusCode;
use house::House;
use store::shapes::Role;

const CIRCUIT: &str = "/moulds/M%2F1/visits/first/circuits/F2";
const FLOW: [(&str, &str); 6] = [
    ("flow_l_min", "12"),
    ("pressure_in_bar_g", "2"),
    ("pressure_out_bar_g", "0.5"),
    ("water_temperature_deg_c", "20"),
    ("others", "closed"),
    ("through_fixture", "false"),
];

fn events(page: &str, after: u64) -> String {
    format!("/events?after={after}&page={}", page.replace('%', "%25").replace('/', "%2F"))
}

fn head(house: &House) -> u64 {
    house.record().read(|reader| reader.head()).unwrap().number
}

#[test]
fn a_page_says_how_far_it_reaches_and_only_where_something_can_happen() {
    let house = House::with_a_visit();
    let page = house.get(CIRCUIT).body;
    assert!(page.contains(&format!("data-head=\"{}\" data-here=\"{CIRCUIT}\"", head(&house))), "{page}");
    assert!(page.contains("/assets/live.js") && page.contains("id=\"live\""));
    assert!(house.get("/").body.contains("data-here=\"/\""));
    for quiet in ["/calculators", "/me", "/people"] {
        let body = house.get(quiet).body;
        assert!(!body.contains("/assets/live.js") && !body.contains("data-head"), "{quiet}");
    }
    assert_eq!(house.get(&events("/calculators", 0)).status, StatusCode::NOT_FOUND);
    assert_eq!(house.without_cookie().get(&events("/", 0)).status, StatusCode::UNAUTHORIZED);
    for script in ["live", "plots", "drafts"] {
        let answer = house.get(&format!("/assets/{script}.js"));
        assert!(answer.status == StatusCode::OK && answer.body.contains("use strict"), "{script}");
    }
}

#[test]
fn an_event_arrives_after_a_write_and_none_for_another_mould() {
    let house = House::with_a_visit();
    let before = head(&house);
    let own = house.listen(&events(CIRCUIT, before));
    let today = house.listen(&events("/", before));
    let other = house.listen(&events("/moulds/M%2F2", before));
    let answer = house.send(CIRCUIT, &format!("{CIRCUIT}/enter/flow"), &FLOW);
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    for stream in [&own, &today] {
        let told = stream.wait_for("data:", Duration::from_secs(10));
        assert!(told.contains("data: Kim Dale recorded a flow of F2."), "{told}");
        assert!(told.contains("id: "), "{told}");
    }
    assert!(!other.so_far().contains("data:"), "{}", other.so_far());
    // Whoever was away is told what was missed, and nothing twice.
    let late = house.listen(&events(CIRCUIT, before));
    assert!(late.wait_for("data:", Duration::from_secs(10)).contains("a flow of F2"));
    let now = house.listen(&events(CIRCUIT, head(&house)));
    std::thread::sleep(Duration::from_millis(300));
    assert!(!now.so_far().contains("data:"), "{}", now.so_far());
}

#[test]
fn what_another_process_writes_is_seen_too() {
    let house = House::with_a_visit();
    let stream = house.listen(&events("/moulds/M%2F1", head(&house)));
    // Not through the pages: a second connection to the same file.
    let mut write = store::Write::new("elsewhere", jiff::Timestamp::now(), "KD");
    write.say(store::Fact::Note(store::shapes::NoteCard {
        about: store::Subject::mould("M/1"),
        text: "from another program".into(),
    }));
    house.record().write(&write).unwrap();
    let told = stream.wait_for("data:", Duration::from_secs(10));
    assert!(told.contains("data: Kim Dale recorded a note."), "{told}");
}

#[test]
fn streams_are_limited_and_end_with_their_person() {
    let mut house = House::with_a_visit();
    house.add_people(&[("NB", "Nia Bell", Role::Administrator)]);
    let mut open: Vec<_> = (0..64).map(|_| house.listen(&events("/", 0))).collect();
    for stream in &open {
        stream.wait_for("data:", Duration::from_secs(20));
    }
    let refused = house.get(&events("/", 0));
    assert_eq!((refused.status, refused.retry_after.as_str()), (StatusCode::SERVICE_UNAVAILABLE, "30"));
    open.truncate(1);
    let stream = open.remove(0);
    // Whoever has left is told nothing more: their stream ends with the next thing recorded.
    let answer = house.post("/who", &[("person", "NB".into())]);
    house.wear(&answer);
    let left = [("name", "Kim Dale"), ("role", "technician"), ("active", "no"), ("reason", "left the plant")];
    let answer = house.send("/people", "/people/KD", &left);
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.body);
    stream.wait_for_end(Duration::from_secs(10));
}
