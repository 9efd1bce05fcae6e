//! People in this process: who may do what, passwords and PINs, waits, other machines, gates against their rule.

#![allow(clippy::unwrap_used)]

mod house;

use axum::http::StatusCode;
use house::{Answer, House};
use store::shapes::Role;
use store::{AsOf, Fact, Subject};
use web::Closed;

const CIRCUIT: &str = "/moulds/M%2F1/visits/first/circuits/F1";
const PASSWORD: &str = "three wet gloves";
const PIN: &str = "2846";

/// KD, the lead, at the bench; AD looks after the people, TE works here, VI looks on.
fn house() -> House {
    let house = House::with_a_visit();
    house.add_people(&[
        ("AD", "Ada Moor", Role::Administrator),
        ("TE", "Tess Holm", Role::Technician),
        ("VI", "Vic Lund", Role::Viewer),
    ]);
    house
}

/// The same with this person at the bench, by name.
fn house_of(person: &str) -> House {
    let mut house = house();
    let answer = house.post("/who", &[("person", person.into())]);
    house.wear(&answer);
    house
}

fn sealed(house: &House, page: &str, pairs: &[(&'static str, &str)]) -> Vec<(&'static str, String)> {
    let mut form = vec![("token", house.token(page)), ("key", house.fresh_key())];
    form.extend(pairs.iter().map(|(name, value)| (*name, (*value).to_owned())));
    form
}

fn set_secret(house: &House, person: &str, pairs: &[(&'static str, &str)]) -> Answer {
    house.post(&format!("/people/{person}/secret"), &sealed(house, "/people", pairs))
}

/// Everybody who may write has a password, and TE a PIN as well.
fn with_passwords() -> House {
    let house = house_of("AD");
    for person in ["KD", "TE"] {
        assert_eq!(set_secret(&house, person, &[("password", PASSWORD)]).status, StatusCode::SEE_OTHER);
    }
    set_secret(&house, "TE", &[("pin", PIN)]);
    let mut house = house;
    let own = house.post("/me/secret", &sealed(&house, "/me", &[("password", "moor and heather")]));
    assert_eq!(own.status, StatusCode::SEE_OTHER, "{}", own.body);
    house.wear(&own);
    house
}

fn sign_in(house: &House, person: &str, password: &str) -> Answer {
    house.post("/who", &[("person", person.into()), ("password", password.into())])
}

fn change(house: &House, person: &str, pin: &str) -> Answer {
    house.post("/who", &[("person", person.into()), ("pin", pin.into())])
}

#[test]
fn only_an_administrator_changes_people_and_each_change_is_on_record() {
    let house = house_of("AD");
    let add = [("name", "Uma Fell"), ("short", "UF"), ("role", "technician"), ("password", "")];
    assert_eq!(house.post("/people", &sealed(&house, "/people", &add)).status, StatusCode::SEE_OTHER);
    let page = house.get("/people").body;
    assert!(page.contains("Uma Fell") && page.contains("name alone"));
    let change = [("name", "Uma Fell"), ("role", "lead"), ("active", "yes")];
    assert_eq!(house.post("/people/UF", &sealed(&house, "/people", &change)).status, StatusCode::SEE_OTHER);
    let history = house.record().read(|reader| reader.history(&Subject::person("UF"), AsOf::Now)).unwrap();
    let told: Vec<(String, Fact)> =
        history.iter().map(|entry| (entry.person.clone(), entry.fact().unwrap())).collect();
    let roles: Vec<Role> = told
        .iter()
        .filter_map(|(by, fact)| match fact {
            Fact::Person(person) if by == "AD" => Some(person.role),
            _ => None,
        })
        .collect();
    assert_eq!(roles, [Role::Technician, Role::Lead]);
    // Faults stand at their fields; nothing was recorded.
    let wrong = [("name", ""), ("short", "uf"), ("role", "technician"), ("password", "short")];
    let answer = house.post("/people", &sealed(&house, "/people", &wrong));
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    for field in ["add--name-wrong", "add--short-wrong", "add--password-wrong"] {
        assert!(answer.body.contains(field), "{field}");
    }
    // Nobody takes their own role away, so that an administrator is left.
    let own = [("name", "Ada Moor"), ("role", "viewer"), ("active", "yes")];
    assert_eq!(house.post("/people/AD", &sealed(&house, "/people", &own)).status, StatusCode::CONFLICT);
    for other in ["KD", "TE"] {
        let house = house_of(other);
        let page = house.get("/people").body;
        assert!(page.contains("Ada Moor") && !page.contains("Somebody new"), "{other}");
        let mut form = sealed(&house, "/me", &add);
        assert_eq!(house.post("/people", &form).status, StatusCode::FORBIDDEN, "{other}");
        form.push(("active", "no".into()));
        assert_eq!(house.post("/people/VI", &form).status, StatusCode::FORBIDDEN, "{other}");
        assert_eq!(house.post("/people/VI/secret", &form).status, StatusCode::FORBIDDEN, "{other}");
    }
}

#[test]
fn a_lead_looks_after_people_where_no_administrator_is_on_record() {
    let house = House::with_a_visit();
    let add = [("name", "Ada Moor"), ("short", "AD"), ("role", "administrator"), ("password", "")];
    assert_eq!(house.post("/people", &sealed(&house, "/people", &add)).status, StatusCode::SEE_OTHER);
    assert_eq!(house.post("/people", &sealed(&house, "/me", &add)).status, StatusCode::FORBIDDEN);
}

#[test]
fn a_viewer_sees_everything_and_records_nothing() {
    let house = house_of("VI");
    for page in ["/", CIRCUIT, "/moulds/M%2F1/visits/first", "/moulds/M%2F1"] {
        let body = house.get(page).body;
        assert!(!body.contains("name=\"token\""), "{page} offers no form");
        assert!(!body.contains("Say who you are"), "{page}");
    }
    let reading = sealed(&house, "/me", &[("start_bar_g", "6"), ("end_bar_g", "5.9"), ("seconds", "60")]);
    let answer = house.post(&format!("{CIRCUIT}/enter/leak-down"), &reading);
    assert!(
        answer.status == StatusCode::UNPROCESSABLE_ENTITY
            && answer.body.contains("You are on record as a viewer")
    );
    for (address, pairs) in [
        ("/moulds/M%2F1/visits", vec![("rig", "")]),
        ("/moulds/M%2F1/visits/first/end", vec![("outcome", "hold"), ("remark", "x")]),
        ("/moulds/M%2F1/visits/first/hook-up", vec![("port-0", "1")]),
        (
            "/moulds/M%2F1/visits/first/circuits/F1/gates/wet",
            vec![("open", "yes"), ("because", "because I say so")],
        ),
    ] {
        assert_eq!(
            house.post(address, &sealed(&house, "/me", &pairs)).status,
            StatusCode::FORBIDDEN,
            "{address}"
        );
    }
    assert_eq!(house.readings(), 0);
    assert!(house.get(CIRCUIT).body.contains("You are on record as a viewer"));
    // The own password is the exception.
    let own = house.post("/me/secret", &sealed(&house, "/me", &[("password", PASSWORD)]));
    assert_eq!(own.status, StatusCode::SEE_OTHER);
}

#[test]
fn a_password_is_asked_for_once_it_is_set_and_never_shown() {
    let mut house = with_passwords();
    let page = house.get("/who").body;
    assert!(
        page.contains("Sign in with a password") && page.contains("value=\"VI\""),
        "VI is still chosen by name"
    );
    assert!(!page.contains("value=\"KD\""));
    assert_eq!(house.post("/who", &[("person", "KD".into())]).status, StatusCode::UNPROCESSABLE_ENTITY);
    let wrong = sign_in(&house, "KD", "four wet gloves");
    assert_eq!(wrong.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(wrong.body.contains("do not belong together") && !wrong.body.contains("four wet gloves"));
    assert!(wrong.cookies.is_empty());
    let right = sign_in(&house, "KD", PASSWORD);
    assert_eq!(right.status, StatusCode::SEE_OTHER);
    assert!(
        right.cookies.iter().all(|cookie| cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict"))
    );
    house.wear(&right);
    assert!(house.get("/").body.contains("At the bench: <strong>KD</strong>"));
    // Hashes are no part of the history.
    let all = house.record().read(|reader| reader.entries_after(0, 1000)).unwrap();
    assert!(all.iter().any(|entry| entry.body.contains("A password was set.")));
    assert!(all.iter().all(|entry| !entry.body.contains("argon2") && !entry.body.contains(PASSWORD)));
}

#[test]
fn people_change_with_a_pin_where_somebody_signed_in_with_a_password() {
    let mut house = with_passwords();
    let mut stranger = house.without_cookie();
    assert!(!stranger.get("/who").body.contains("Change person</h2>"));
    assert_eq!(change(&stranger, "TE", PIN).status, StatusCode::UNPROCESSABLE_ENTITY, "no bench of theirs");
    let answer = sign_in(&stranger, "KD", PASSWORD);
    stranger.wear(&answer);
    assert!(stranger.get("/who").body.contains("Change person</h2>"));
    assert_eq!(change(&stranger, "TE", "2847").status, StatusCode::UNPROCESSABLE_ENTITY);
    let answer = change(&stranger, "TE", PIN);
    assert_eq!((answer.status, answer.cookies.len()), (StatusCode::SEE_OTHER, 1));
    assert_eq!(change(&stranger, "KD", PIN).status, StatusCode::UNPROCESSABLE_ENTITY, "KD has no PIN");
    // Whose password made it the bench's browser changes the password: the browser is none any more.
    assert_eq!(set_secret(&house, "KD", &[("password", "five dry gloves")]).status, StatusCode::SEE_OTHER);
    assert_eq!(change(&stranger, "TE", PIN).status, StatusCode::UNPROCESSABLE_ENTITY);
    let out = house.post("/sign-out", &[("token", house.token("/me"))]);
    assert_eq!((out.status, out.location(), out.cookies.len()), (StatusCode::SEE_OTHER, "/who", 2));
    assert!(out.cookies.iter().all(|cookie| cookie.contains("Max-Age=0")));
    house.wear(&out);
    assert!(house.get("/").body.contains("Say who you are"));
}

#[test]
fn a_changed_password_and_a_person_who_has_left_end_their_sessions() {
    let house = with_passwords();
    let mut te = house.without_cookie();
    let answer = sign_in(&te, "TE", PASSWORD);
    te.wear(&answer);
    let at_the_bench = |house: &House| house.get("/").body.contains("At the bench: <strong>TE</strong>");
    assert!(at_the_bench(&te));
    // TE sets an own password: this session goes on with a new cookie, the one before has ended.
    let form = |current: &'static str| vec![("current", current), ("password", "own dry gloves")];
    let wrong = te.post("/me/secret", &sealed(&te, "/me", &form("not it")));
    assert!(
        wrong.status == StatusCode::UNPROCESSABLE_ENTITY && wrong.body.contains("This is not your password")
    );
    let set = te.post("/me/secret", &sealed(&te, "/me", &form(PASSWORD)));
    assert_eq!(set.status, StatusCode::SEE_OTHER);
    assert!(!at_the_bench(&te));
    te.wear(&set);
    assert!(at_the_bench(&te));
    let gone = |active: &'static str| {
        let pairs = [("name", "Tess Holm"), ("role", "technician"), ("active", active)];
        house.post("/people/TE", &sealed(&house, "/people", &pairs)).status
    };
    assert_eq!(gone("no"), StatusCode::SEE_OTHER);
    assert!(!at_the_bench(&te));
    assert_eq!(sign_in(&te, "TE", "own dry gloves").status, StatusCode::UNPROCESSABLE_ENTITY);
    // Who comes back begins anew: neither old session nor old password holds.
    assert_eq!(gone("yes"), StatusCode::SEE_OTHER);
    assert!(!at_the_bench(&te));
    assert_eq!(sign_in(&te, "TE", "own dry gloves").status, StatusCode::UNPROCESSABLE_ENTITY);
    // A role that changes counts at once.
    let mut kd = house.without_cookie();
    let answer = sign_in(&kd, "KD", PASSWORD);
    kd.wear(&answer);
    assert!(kd.get(CIRCUIT).body.contains("name=\"token\""));
    let pairs = [("name", "Kim Dale"), ("role", "viewer"), ("active", "yes")];
    house.post("/people/KD", &sealed(&house, "/people", &pairs));
    assert!(!kd.get(CIRCUIT).body.contains("name=\"token\""));
}

#[test]
fn wrong_tries_wait_and_the_wait_is_said() {
    let house = with_passwords();
    for _ in 0..5 {
        assert_eq!(sign_in(&house, "KD", "guessing along").status, StatusCode::UNPROCESSABLE_ENTITY);
    }
    let wait = sign_in(&house, "KD", PASSWORD);
    assert_eq!(wait.status, StatusCode::TOO_MANY_REQUESTS);
    let seconds: i64 = wait.retry_after.parse().unwrap();
    assert!((25..=30).contains(&seconds), "{seconds}");
    assert!(wait.body.contains("Too many wrong tries: wait ") && wait.body.contains(" s, then try again"));
    // A PIN is tried under the same count, and others sign in meanwhile.
    assert_eq!(change(&house, "KD", "1928").status, StatusCode::TOO_MANY_REQUESTS);
    assert_eq!(sign_in(&house, "TE", PASSWORD).status, StatusCode::SEE_OTHER);
    // Trying many names from one address waits too.
    for number in 0..20 {
        sign_in(&house, &format!("X{number}"), "guessing along");
    }
    assert_eq!(sign_in(&house, "TE", PASSWORD).status, StatusCode::TOO_MANY_REQUESTS);
}

#[test]
fn other_machines_are_let_in_only_with_passwords_and_only_signed_in() {
    let bare = house_of("AD");
    let Err(Closed::NoPassword(open)) = bare.open_to_others() else { panic!("closed") };
    assert_eq!(open, ["AD (Ada Moor)", "KD (Kim Dale)", "TE (Tess Holm)"], "a viewer needs none");
    assert!(matches!(House::empty().open_to_others(), Err(Closed::Nobody)));
    let here = with_passwords();
    // VI is chosen by name at this machine; that cookie is worth nothing to other machines.
    let mut by_name = here.without_cookie();
    let answer = by_name.post("/who", &[("person", "VI".into())]);
    by_name.wear(&answer);
    let outside = by_name.open_to_others().unwrap();
    assert_eq!(outside.get("/").location(), "/who?next=%2F");
    let asked = outside.get(&format!("{CIRCUIT}?recorded=3"));
    assert_eq!(asked.status, StatusCode::SEE_OTHER);
    assert!(asked.location().starts_with("/who?next=%2Fmoulds%2FM%252F1"), "{}", asked.location());
    for page in ["/moulds", "/people", "/me", "/calculators", "/nowhere", "/moulds/M%2F1/visits/first/sheet"]
    {
        let answer = outside.get(page);
        assert!(answer.status == StatusCode::SEE_OTHER && !answer.body.contains("Lid"), "{page}");
    }
    for page in [&format!("{CIRCUIT}/enter/leak-down"), "/calculators/friction", "/moulds/M%2F1/visits"] {
        assert_eq!(
            outside.post(page, &[("reynolds", "1".into())]).status,
            StatusCode::UNAUTHORIZED,
            "{page}"
        );
    }
    assert_eq!(outside.get("/assets/style.css").status, StatusCode::OK);
    let who = outside.get("/who").body;
    for name in ["KD", "Kim Dale", "Tess", "Vic"] {
        assert!(!who.contains(name), "a stranger is not told who is on record: {name}");
    }
    assert_eq!(outside.post("/who", &[("person", "VI".into())]).status, StatusCode::UNPROCESSABLE_ENTITY);
    assert_eq!(sign_in(&outside, "nobody", PASSWORD).status, StatusCode::UNPROCESSABLE_ENTITY);
    let mut outside = outside;
    let answer = sign_in(&outside, "KD", PASSWORD);
    outside.wear(&answer);
    assert!(outside.get(CIRCUIT).body.contains("Leak-down"));
    outside.forget_the_session();
    assert!(
        outside.get("/who").body.contains("Tess Holm"),
        "the bench's own browser offers the change by PIN"
    );
    let answer = change(&outside, "TE", PIN);
    outside.wear(&answer);
    assert_eq!(outside.get("/").status, StatusCode::OK);
    // Somebody new who may write needs a password there, and a password is not taken away.
    let mut ad = outside.without_cookie();
    let answer = sign_in(&ad, "AD", "moor and heather");
    ad.wear(&answer);
    let add = [("name", "Uma Fell"), ("short", "UF"), ("role", "technician"), ("password", "")];
    let refused = ad.post("/people", &sealed(&ad, "/people", &add));
    assert!(
        refused.status == StatusCode::UNPROCESSABLE_ENTITY && refused.body.contains("add--password-wrong")
    );
    assert_eq!(set_secret(&ad, "TE", &[("forget", "all")]).status, StatusCode::UNPROCESSABLE_ENTITY);
    // A cookie for a browser that speaks TLS goes nowhere else.
    let tls = outside.post_with(
        "/who",
        &[("person", "KD".into()), ("password", PASSWORD.into())],
        "origin",
        "https://localhost:8470",
    );
    assert!(tls.cookies.iter().all(|cookie| cookie.ends_with("; Secure")) && tls.cookies.len() == 2);
}

#[test]
fn a_lead_overrides_a_gate_with_a_reason_and_every_page_says_so() {
    let house = house_of("KD");
    let gates = format!("{CIRCUIT}/gates");
    assert!(house.get(CIRCUIT).body.contains("Override a gate"));
    let page = house.get(&gates).body;
    assert!(page.contains("Not to be overridden") && page.contains("acid could reach people"));
    assert_eq!(page.matches("Override with a reason").count(), 2, "wet and release, not descale");
    let seen = page.split("name=\"seen\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    assert_eq!(seen, "tightness-untested passage-untested");
    let decide = |house: &House, gate: &str, pairs: &[(&'static str, &str)]| {
        house.post(&format!("{gates}/{gate}"), &sealed(house, "/me", pairs))
    };
    let no_reason = decide(&house, "wet", &[("open", "yes"), ("seen", &seen), ("because", "ok")]);
    assert!(
        no_reason.status == StatusCode::UNPROCESSABLE_ENTITY && no_reason.body.contains("A reason is needed")
    );
    let unseen = decide(
        &house,
        "wet",
        &[("open", "yes"), ("seen", "leak"), ("because", "a hunt with water, watched")],
    );
    assert!(unseen.body.contains("More became known since this page was opened"));
    let acid =
        decide(&house, "descale", &[("open", "yes"), ("seen", ""), ("because", "we have always done it")]);
    assert!(acid.status == StatusCode::UNPROCESSABLE_ENTITY && acid.body.contains("cannot be overridden"));
    let te = house.post("/who", &[("person", "TE".into())]);
    let mut technician = house.without_cookie();
    technician.wear(&te);
    let refused =
        decide(&technician, "wet", &[("open", "yes"), ("seen", &seen), ("because", "a hunt with water")]);
    assert!(
        refused.status == StatusCode::FORBIDDEN
            && refused.body.contains("overriding a gate takes a lead or an administrator")
    );
    assert!(!technician.get(&gates).body.contains("Override with a reason"));
    let because = "a hunt with water, watched by two";
    let done = decide(&house, "wet", &[("open", "yes"), ("seen", &seen), ("because", because)]);
    assert_eq!((done.status, done.location()), (StatusCode::SEE_OTHER, gates.as_str()));
    for page in [&gates, CIRCUIT, "/moulds/M%2F1/visits/first", "/moulds/M%2F1/visits/first/sheet"] {
        let body = house.get(page).body;
        assert!(body.contains(because) && body.contains("allowed by override"), "{page}");
    }
    // Flow is no longer shut for F1; it still is for F2.
    let visit = house.get("/moulds/M%2F1/visits/first").body;
    let flow = visit.split("step-name\">Flow").nth(1).unwrap().split("</li>").next().unwrap();
    assert!(flow.contains("1 of 2, 1 shut"), "{flow}");
    let found = house.newest_finding();
    let document = house.record().read(|reader| reader.blob(found.document)).unwrap();
    assert!(String::from_utf8(document).unwrap().contains(because), "the finding says so");
    // A leak that is found later shuts it again.
    let leak = sealed(&house, CIRCUIT, &[("start_bar_g", "6"), ("end_bar_g", "3"), ("seconds", "60")]);
    assert_eq!(house.post(&format!("{CIRCUIT}/enter/leak-down"), &leak).status, StatusCode::SEE_OTHER);
    let page = house.get(&gates).body;
    assert!(
        page.contains("more than was known when it was overridden by KD")
            && !page.contains("allowed by override")
    );
    // Taken back, the rule decides alone.
    let entry = page.split("name=\"entry\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
    let back = house.post(&format!("{gates}/wet/back"), &sealed(&house, &gates, &[("entry", &entry)]));
    assert_eq!(back.status, StatusCode::SEE_OTHER);
    let page = house.get(&gates).body;
    assert!(page.contains("Nothing yet: the rules decide.") && !page.contains(because));
}

#[test]
fn a_mould_goes_to_the_press_against_the_rule_only_with_every_gate_overridden() {
    let house = house_of("KD");
    let visit = "/moulds/M%2F1/visits/first";
    let release = || {
        let pairs = [("outcome", "release"), ("remark", "")];
        house.post(&format!("{visit}/end"), &sealed(&house, visit, &pairs))
    };
    for circuit in ["F1", "F2"] {
        assert_eq!(release().status, StatusCode::UNPROCESSABLE_ENTITY, "before {circuit}");
        let gates = format!("{visit}/circuits/{circuit}/gates");
        let page = house.get(&gates).body;
        let form = page.split("/gates/release\"").nth(1).unwrap();
        let seen = form.split("name=\"seen\" value=\"").nth(1).unwrap().split('"').next().unwrap().to_owned();
        let pairs =
            [("open", "yes"), ("seen", seen.as_str()), ("because", "ten samples, run cold and watched")];
        let done = house.post(&format!("{gates}/release"), &sealed(&house, &gates, &pairs));
        assert_eq!(done.status, StatusCode::SEE_OTHER);
    }
    assert_eq!(release().status, StatusCode::SEE_OTHER);
    let today = house.get("/").body;
    assert!(!today.contains("Ready for the press"), "what a person decided is no finding");
    let ended = house.get(visit).body;
    assert!(ended.contains("released") && ended.contains("ten samples, run cold and watched"));
    // An ended visit takes no more decisions.
    let gates = format!("{CIRCUIT}/gates");
    assert!(!house.get(&gates).body.contains("Take it back"));
    let late = [("open", "no"), ("seen", ""), ("because", "changed my mind since then")];
    assert_eq!(
        house.post(&format!("{gates}/release"), &sealed(&house, "/me", &late)).status,
        StatusCode::NOT_FOUND
    );
}
