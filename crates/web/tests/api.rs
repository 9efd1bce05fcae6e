//! The interface for programs: tokens, keys, faults, and a visit from the mould to its end.

#![allow(clippy::unwrap_used)]

mod house;

use axum::http::StatusCode;
use house::{Answer, House};
use serde_json::{Value as Json, json};
use store::shapes::Role;
use store::{AsOf, Subject};
use web::tokens::{Wanted, command_key, make, revoke};

const VISIT: &str = "/api/v1/moulds/M%2F1/visits/first";

fn token(house: &House, name: &str, role: Role) -> String {
    let wanted = Wanted { name: name.into(), role, person: "KD".into() };
    make(house.record(), "KD", &wanted, &command_key(), jiff::Timestamp::now()).unwrap()
}

fn read(answer: &Answer) -> Json {
    serde_json::from_str(&answer.body).unwrap_or_else(|error| panic!("{error}: {}", answer.body))
}

fn places(answer: &Answer) -> Vec<String> {
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{}", answer.body);
    let faults = read(answer)["faults"].as_array().unwrap().clone();
    faults.iter().map(|fault| fault["place"].as_str().unwrap().to_owned()).collect()
}

fn leak_down(end_bar_g: f64) -> Json {
    json!({"kind": "leak-down", "circuit": "F1", "start_bar_g": 6.0, "end_bar_g": end_bar_g, "seconds": 600, "hold_s": 300})
}

#[test]
fn without_a_right_token_nothing_is_told() {
    let house = House::with_a_visit();
    let moulds = "/api/v1/moulds";
    let answer = house.get(moulds);
    assert_eq!(answer.status, StatusCode::UNAUTHORIZED, "a cookie counts nothing here");
    assert_eq!(read(&answer)["code"], "no-token");
    let right = token(&house, "reader", Role::Viewer);
    assert_eq!(house.get_as(&right, moulds).status, StatusCode::OK);
    assert_eq!(house.get_as(&format!("{right}0"), moulds).status, StatusCode::UNAUTHORIZED);
    for _ in 0..19 {
        assert_eq!(house.get_as("borewise-00", moulds).status, StatusCode::UNAUTHORIZED);
    }
    let slowed = house.get_as("borewise-00", moulds);
    assert_eq!(slowed.status, StatusCode::TOO_MANY_REQUESTS);
    assert!(slowed.retry_after.parse::<u32>().unwrap() > 0);
    assert_eq!(house.get_as(&right, moulds).status, StatusCode::OK, "a right token never waits");
    // Only the digest is kept.
    let file = std::fs::read(house.record().path()).unwrap();
    assert!(!file.windows(right.len()).any(|bytes| bytes == right.as_bytes()));
    revoke(house.record(), "KD", "reader", &command_key(), jiff::Timestamp::now()).unwrap();
    assert_eq!(
        house.get_as(&right, moulds).status,
        StatusCode::TOO_MANY_REQUESTS,
        "revoked: a wrong one now"
    );
    assert!(house.get("/api/v1/openapi.json").body.contains("\"openapi\": \"3.1.0\""));
}

#[test]
fn a_token_does_no_more_than_its_role_and_its_person() {
    let house = House::with_a_visit();
    let viewer = token(&house, "reader", Role::Viewer);
    let refused = house.send_as(&viewer, &format!("{VISIT}/readings"), "1", &leak_down(5.99));
    assert_eq!(refused.status, StatusCode::FORBIDDEN);
    let technician = token(&house, "gateway", Role::Technician);
    let body =
        json!({"circuit": "F1", "gate": "wet", "open": false, "because": "the hose drips at the coupling"});
    let refused = house.send_as(&technician, &format!("{VISIT}/overrides"), "1", &body);
    assert_eq!(refused.status, StatusCode::FORBIDDEN, "{}", refused.body);
    let wanted = Wanted { name: "root".into(), role: Role::Administrator, person: "KD".into() };
    assert!(make(house.record(), "KD", &wanted, &command_key(), jiff::Timestamp::now()).is_err());
    let again = Wanted { name: "gateway".into(), role: Role::Viewer, person: "KD".into() };
    assert!(
        make(house.record(), "KD", &again, &command_key(), jiff::Timestamp::now()).is_err(),
        "a name is given once"
    );
    // Whoever answers for a token and becomes a viewer leaves it a viewer's.
    house.add_people(&[("LE", "Lea Ernst", Role::Administrator)]);
    let mut write = store::Write::new("fewer", jiff::Timestamp::now(), "LE");
    let (id, name) = ("KD".to_owned(), "Kim Dale".to_owned());
    write.say(store::Fact::Person(store::shapes::Person { id, name, role: Role::Viewer, active: true }));
    house.record().write(&write).unwrap();
    let refused = house.send_as(&technician, &format!("{VISIT}/readings"), "1", &leak_down(5.99));
    assert_eq!(refused.status, StatusCode::FORBIDDEN);
    assert_eq!(house.get_as(&technician, VISIT).status, StatusCode::OK);
}

#[test]
fn what_is_sent_twice_counts_once_and_carries_the_token() {
    let house = House::with_a_visit();
    let token = token(&house, "gateway", Role::Technician);
    let address = format!("{VISIT}/readings");
    let first = house.send_as(&token, &address, "abc-1", &leak_down(5.99));
    assert_eq!(first.status, StatusCode::CREATED, "{}", first.body);
    let again = house.send_as(&token, &address, "abc-1", &leak_down(5.99));
    assert_eq!((again.status, &again.body), (StatusCode::CREATED, &first.body));
    let other = house.send_as(&token, &address, "abc-1", &leak_down(5.98));
    assert_eq!((other.status, read(&other)["code"].as_str()), (StatusCode::CONFLICT, Some("key-used")));
    let bare = house.send_as(&token, &address, "", &leak_down(5.98));
    assert_eq!((bare.status, read(&bare)["code"].as_str()), (StatusCode::BAD_REQUEST, Some("no-key")));
    let all = read(&house.get_as(&token, &address));
    let all = all["readings"].as_array().unwrap();
    assert_eq!(all.len(), 1);
    assert_eq!((&all[0]["by"], &all[0]["token"]), (&json!("KD"), &json!("gateway")));
    assert_eq!(all[0]["item"]["end_bar_g"], 5.99);
    let number = all[0]["entry"].as_u64().unwrap();
    let entry = house.record().read(|reader| reader.entry(number)).unwrap();
    assert_eq!((entry.person.as_str(), entry.write_key.as_str()), ("KD", "token:gateway:abc-1"));
    assert!(entry.body.contains("token gateway"), "{}", entry.body);
    // It is withdrawn with a reason, and counts no more.
    let back = format!("{address}/{number}/withdrawal");
    assert_eq!(places(&house.send_as(&token, &back, "w", &json!({}))), ["reason"]);
    let done = house.send_as(&token, &back, "w", &json!({"reason": "the wrong hose"}));
    assert_eq!(done.status, StatusCode::CREATED, "{}", done.body);
    assert_eq!(house.get_as(&token, &format!("{address}/{number}")).status, StatusCode::NOT_FOUND);
}

#[test]
fn every_fault_is_named_at_once() {
    let house = House::with_a_visit();
    let token = token(&house, "gateway", Role::Lead);
    let address = format!("{VISIT}/readings");
    let bad = json!({"kind": "flow", "circuit": "F9", "flow_l_min": "plenty", "pressure_in_bar_g": 900, "colour": 1});
    let mut found = places(&house.send_as(&token, &address, "1", &bad));
    found.sort();
    assert_eq!(
        found,
        [
            "circuit",
            "colour",
            "flow_l_min",
            "pressure_in_bar_g",
            "pressure_out_bar_g",
            "water_temperature_deg_c"
        ]
    );
    let trace =
        json!({"kind": "leak-down", "circuit": "F1", "trace": {"time_s": [0, 1, 1], "flow_l_min": [1, 2]}});
    let found = places(&house.send_as(&token, &address, "1", &trace));
    assert_eq!(found, ["trace.flow_l_min", "trace.time_s.2"]);
    let empty =
        json!({"kind": "leak-down", "circuit": "F1", "trace": {"time_s": [0, 1], "flow_l_min": [1, 2]}});
    assert_eq!(places(&house.send_as(&token, &address, "1", &empty)), ["trace.pressure_bar_g"]);
    let ports = json!({"ports": [{"port": 1, "circuits": [{"circuit": "F1"}]}, {"port": 1, "circuits": [{"circuit": "F7"}, {"circuit": "F1"}]}]});
    let found = places(&house.send_as(&token, &format!("{VISIT}/hook-up"), "1", &ports));
    assert_eq!(found, ["ports.1.circuits.0.circuit", "ports.1.circuits.1.circuit", "ports.1.port"]);
    assert_eq!(
        places(&house.send_as(&token, &format!("{VISIT}/end"), "1", &json!({"outcome": "release"}))),
        ["outcome"]
    );
    let mould =
        json!({"format": "borewise-mould/1", "mould": {}, "circuit": [{"id": "A", "sisters": ["B"]}]});
    assert_eq!(
        places(&house.send_as(&token, "/api/v1/moulds", "1", &mould)),
        ["mould.id", "circuit.0.sisters.0"]
    );
    let twice = house.send_text_as(&token, &address, "1", "application/json", "{\"kind\": 1, \"kind\": 2}");
    assert_eq!(places(&twice), ["kind"]);
}

#[test]
fn what_cannot_be_answered_says_so() {
    let house = House::with_a_visit();
    let token = token(&house, "gateway", Role::Lead);
    let code = |answer: &Answer| (answer.status.as_u16(), read(answer)["code"].as_str().unwrap().to_owned());
    let readings = format!("{VISIT}/readings");
    assert_eq!(code(&house.get_as(&token, "/api/v1/nothing")), (404, "unknown".into()));
    assert_eq!(code(&house.get_as(&token, "/api/v1/moulds/M%2F2")), (404, "unknown".into()));
    assert_eq!(code(&house.send_as(&token, VISIT, "1", &json!({}))), (405, "wrong-method".into()));
    assert_eq!(
        code(&house.send_text_as(&token, &readings, "1", "text/plain", "{}")),
        (415, "not-json".into())
    );
    assert_eq!(
        code(&house.send_text_as(&token, &readings, "1", "application/json", "{")),
        (400, "not-json".into())
    );
    let large = format!("\"{}\"", "x".repeat(5 << 20));
    assert_eq!(
        code(&house.send_text_as(&token, &readings, "1", "application/json", &large)),
        (413, "too-large".into())
    );
    assert_eq!(code(&house.get_as(&token, "/api/v1/history?most=0")), (422, "faults".into()));
    assert_eq!(house.get_as(&token, "/api/v1/history?most=1").status, StatusCode::OK);
    // A page of the bench book keeps to its own rules.
    assert_eq!(house.get("/moulds").status, StatusCode::OK);
}

#[test]
fn a_visit_from_the_mould_to_its_end() {
    let house = House::with_a_visit();
    let token = token(&house, "gateway", Role::Lead);
    let mould = read(&house.get_as(&token, "/api/v1/moulds/M%2F1"));
    let same = read(&house.send_as(&token, "/api/v1/moulds", "same", &mould));
    assert_eq!(
        (&same["new"], &same["changed"], &same["entry"]),
        (&json!(0), &json!(0), &Json::Null),
        "{same}"
    );
    let mut other = mould.clone();
    other["mould"]["id"] = json!("M-2");
    let taken = house.send_as(&token, "/api/v1/moulds", "new", &other);
    assert_eq!(taken.status, StatusCode::CREATED, "{}", taken.body);
    let begun = read(&house.send_as(&token, "/api/v1/moulds/M-2/visits", "begin", &json!({})));
    let visit = format!("/api/v1/moulds/M-2/visits/{}", begun["visit"].as_str().unwrap());
    let done = |key: &str, rest: &str, body: Json| {
        let answer = house.send_as(&token, &format!("{visit}{rest}"), key, &body);
        assert_eq!(answer.status, StatusCode::CREATED, "{key}: {}", answer.body);
        read(&answer)
    };
    done(
        "hook",
        "/hook-up",
        json!({"ports": [
            {"port": 1, "circuits": [{"circuit": "F1"}]},
            {"port": 2, "circuits": [{"circuit": "F2", "reversed": true}]},
        ]}),
    );
    let times: Vec<u32> = (0..120).collect();
    let pressures: Vec<f64> = times.iter().map(|time| 5.999 - f64::from(*time) * 1e-5).collect();
    let trace = json!({"time_s": times, "pressure_bar_g": pressures});
    let item = json!({"kind": "leak-down", "circuit": "F1", "hold_s": 300, "trace": trace});
    let number = done("leak", "/readings", item)["entry"].as_u64().unwrap();
    let back = read(&house.get_as(&token, &format!("{visit}/readings/{number}")));
    assert_eq!(back["item"]["trace"], trace, "a trace comes back as it was sent");
    assert_eq!(read(&house.get_as(&token, &format!("{visit}/readings")))["readings"][0]["has_traces"], true);
    done("blow", "/treatments", json!({"kind": "blow-out", "circuit": "F1", "remark": "short puffs"}));
    done("note", "/readings", json!({"kind": "note", "text": "the second coupling was loose"}));
    let ladder = read(&house.get_as(&token, &format!("{visit}/ladder")));
    assert_eq!(
        (&ladder["steps"][0]["settled"], &ladder["steps"][1]["circuits"][0]["state"]),
        (&json!(true), &json!("done"))
    );
    let gates = read(&house.get_as(&token, &format!("{visit}/gates")));
    let wet = gates["circuits"][1]["gates"]
        .as_array()
        .unwrap()
        .iter()
        .find(|gate| gate["gate"] == "wet")
        .unwrap()
        .clone();
    assert_eq!(wet["open"], false, "{wet}");
    let body = json!({"circuit": "F2", "gate": "wet", "open": true, "because": "tested on another rig this morning"});
    assert_eq!(places(&house.send_as(&token, &format!("{visit}/overrides"), "blind", &body)), ["seen"]);
    let mut body = body;
    body["seen"] = wet["obstacles"].clone();
    let decided = done("decide", "/overrides", body)["entry"].as_u64().unwrap();
    done(
        "back",
        &format!("/overrides/{decided}/withdrawal"),
        json!({"reason": "the other rig was not calibrated"}),
    );
    done("end", "/end", json!({"outcome": "hold", "remark": "F2 is not tested"}));
    let late = house.send_as(&token, &format!("{visit}/readings"), "late", &leak_down(5.9));
    assert_eq!((late.status, read(&late)["code"].as_str()), (StatusCode::CONFLICT, Some("ended")));
    let findings = read(&house.get_as(&token, &format!("{visit}/findings")));
    assert_eq!((&findings["format"], &findings["mould"]), (&json!("borewise-findings/1"), &json!("M-2")));
    let shown = read(&house.get_as(&token, &visit));
    assert_eq!(shown["hook_up"][1]["circuits"][0], json!({"circuit": "F2", "reversed": true}));
    assert_eq!((&shown["outcome"], &shown["end"]["remark"]), (&json!("hold"), &json!("F2 is not tested")));
    let number = done("paper", "/certificate", json!({}))["number"].as_str().unwrap().to_owned();
    let pdf = house.get_as(&token, &format!("/api/v1/certificates/{number}/certificate.pdf"));
    assert!(pdf.body.contains(&number), "{}", pdf.body);
    assert_eq!(read(&house.get_as(&token, &format!("/api/v1/certificates/{number}")))["standing"], "holds");
    let entries = house
        .record()
        .read(|reader| reader.history(&Subject::visit("M-2", begun["visit"].as_str().unwrap()), AsOf::Now));
    let by_program =
        entries.unwrap().iter().filter(|entry| entry.write_key.starts_with("token:gateway:")).count();
    assert_eq!(by_program, 8, "visit, hook-up, reading, treatment, note, override, withdrawal, end");
    assert!(store::audit::audit(house.record().path(), &[]).unwrap().first_break.is_none());
}

#[test]
fn an_unlikely_number_is_asked_about() {
    let house = House::with_a_visit();
    let token = token(&house, "gateway", Role::Technician);
    let address = format!("{VISIT}/readings");
    let slip =
        json!({"kind": "leak-down", "circuit": "F1", "start_bar_g": 60.0, "end_bar_g": 59.9, "seconds": 600});
    let asked = house.send_as(&token, &address, "1", &slip);
    assert_eq!(read(&asked)["code"], "unlikely", "{}", asked.body);
    assert!(places(&asked).contains(&"start_bar_g".to_owned()));
    let kept = house.send_as(&token, &format!("{address}?as_given=true"), "1", &slip);
    assert_eq!(kept.status, StatusCode::CREATED, "{}", kept.body);
    let all = read(&house.get_as(&token, &address));
    assert!(all["readings"][0]["reason"].as_str().unwrap().contains("questioned"));
}

#[test]
fn a_calculator_answers_a_program() {
    let house = House::with_a_visit();
    let token = token(&house, "gateway", Role::Viewer);
    let water = house.send_as(&token, "/api/v1/calculators/water", "", &json!({"temperature_deg_c": 20}));
    assert_eq!(water.status, StatusCode::OK, "{}", water.body);
    // Water at 20 degC and atmospheric pressure: 998.2 kg/m3 (IAPWS, as the calculator's own outside checks hold).
    let density = read(&water)["outputs"]["density_kg_m3"].as_f64().unwrap();
    assert!((density - 998.2).abs() < 0.1, "{density}");
    assert_eq!(
        places(&house.send_as(&token, "/api/v1/calculators/water", "", &json!({}))),
        ["temperature_deg_c"]
    );
}

#[test]
fn tokens_are_made_and_revoked_on_the_page_people() {
    let house = House::with_a_visit();
    let form = |name: &str| {
        vec![
            ("key", house.fresh_key()),
            ("token", house.token("/people")),
            ("token_name", name.to_owned()),
            ("role", "viewer".to_owned()),
            ("person", "KD".to_owned()),
        ]
    };
    let bad = house.post("/tokens", &form("no good"));
    assert_eq!(bad.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(bad.body.contains("Not a name for a token"), "{}", bad.body);
    let made = house.post("/tokens", &form("press-gateway"));
    assert_eq!(made.status, StatusCode::OK);
    let token = made.body.split("<code>borewise-").nth(1).unwrap().split('<').next().unwrap();
    let token = format!("borewise-{token}");
    assert_eq!(house.get_as(&token, "/api/v1/people").status, StatusCode::OK);
    let page = house.get("/people").body;
    assert!(page.contains("press-gateway") && !page.contains(&token));
    let pairs = [("key", house.fresh_key()), ("token", house.token("/people"))];
    house.post("/tokens/press-gateway/revoke", &pairs);
    assert_eq!(house.get_as(&token, "/api/v1/people").status, StatusCode::UNAUTHORIZED);
}

/// Every place of a schema that points at another one.
fn references(value: &Json, found: &mut Vec<String>) {
    match value {
        Json::Object(fields) => {
            found.extend(fields.get("$ref").and_then(Json::as_str).map(str::to_owned));
            fields.values().for_each(|inner| references(inner, found));
        }
        Json::Array(items) => items.iter().for_each(|inner| references(inner, found)),
        _ => {}
    }
}

#[test]
fn the_description_describes_every_operation_and_points_at_what_is_there() {
    let described = web::description("Borewise test");
    let mut found = Vec::new();
    references(&described, &mut found);
    for reference in &found {
        let there = described.pointer(reference.strip_prefix('#').unwrap());
        assert!(there.is_some(), "{reference}");
    }
    let paths = described["paths"].as_object().unwrap();
    for one in calc::calculators::all() {
        let body = &paths[&format!("/api/v1/calculators/{}", one.name)]["post"]["requestBody"];
        let schema = &body["content"]["application/json"]["schema"];
        assert_eq!(schema["properties"].as_object().unwrap().len(), one.inputs.len(), "{}", one.name);
    }
    let reading = &paths["/api/v1/moulds/{mould}/visits/{visit}/readings"]["post"]["requestBody"];
    assert!(reading.to_string().contains("$ref"), "{reading}");
    let mut names: Vec<&str> = paths
        .values()
        .flat_map(|path| path.as_object().unwrap().values())
        .map(|operation| operation["operationId"].as_str().unwrap())
        .collect();
    let count = names.len();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), count, "each has a name of its own");
    let page = web::api_page();
    assert!(
        paths.keys().filter(|path| !path.contains("/calculators/")).all(|path| page.contains(path.as_str()))
    );
}
