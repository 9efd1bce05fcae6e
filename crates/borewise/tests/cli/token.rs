//! Tokens of other programs, and the description of what they can ask.

use std::fs;

use crate::demo::MOULDS;
use crate::program::{borewise, new_folder, plant, shown};

#[test]
fn a_token_is_printed_once_and_its_name_is_given_once() {
    let data = new_folder().join("data");
    let folder = plant().0.join(MOULDS[0]);
    let taken =
        borewise(&["record", shown(&folder), "--data", shown(&data), "--by", "kt", "--without-findings"]);
    assert_eq!(taken.code, 0, "{taken:?}");
    let add = |name: &str, role: &str, person: &str| {
        borewise(&["token", "add", name, "--role", role, "--person", person, "--data", shown(&data)])
    };
    let made = add("gateway", "technician", "kt");
    assert_eq!(made.code, 0, "{made:?}");
    let token = made.out.trim();
    assert!(token.starts_with("borewise-") && token.len() == "borewise-".len() + 64, "{made:?}");
    assert!(made.err.contains("cannot be shown again"), "{made:?}");
    for (name, role, person) in
        [("gateway", "viewer", "kt"), ("other", "viewer", "nobody"), ("a b", "viewer", "kt")]
    {
        let refused = add(name, role, person);
        assert_eq!(refused.code, 2, "{refused:?}");
    }
    let listed = borewise(&["token", "list", "--json", "--data", shown(&data)]).document();
    let all = listed["tokens"].as_array().unwrap();
    assert_eq!(
        (all.len(), &all[0]["name"], &all[0]["revoked"]),
        (1, &"gateway".into(), &serde_json::Value::Null)
    );
    assert!(!listed.to_string().contains(token));
    let revoke = borewise(&["token", "revoke", "gateway", "--by", "kt", "--data", shown(&data)]);
    assert_eq!(revoke.code, 0, "{revoke:?}");
    let words = borewise(&["token", "list", "--data", shown(&data)]).out;
    assert!(words.starts_with("gateway: technician, kt answers for it, revoked "), "{words}");
    // That it was made and revoked is on record, and an export gives neither the token nor its digest away.
    let out = new_folder().join("out");
    let exported = borewise(&["export", "--out", shown(&out), "--data", shown(&data)]);
    assert_eq!(exported.code, 0, "{exported:?}");
    let names = crate::program::files_below(&out);
    let texts = names.iter().filter_map(|name| fs::read_to_string(out.join(name)).ok()).collect::<String>();
    assert!(texts.contains("The token gateway was revoked.") && !texts.contains(token));
    assert!(!names.iter().any(|name| name.contains("token")), "{names:?}");
}

#[test]
fn the_description_is_printed() {
    let described = borewise(&["openapi"]).document();
    assert_eq!(described["openapi"], "3.1.0");
    assert!(described["paths"]["/api/v1/moulds"]["post"].is_object());
}
