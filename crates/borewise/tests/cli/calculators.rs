//! `borewise calc`: every calculator over its own reference cases, and every way to feed it badly.

use std::collections::BTreeMap;

use exchange::reference::{Case, Check, Expected, Tolerance, load_cases};
use exchange::source::Folder;
use serde_json::{Value as Json, json};

use crate::program::{at, borewise, borewise_fed, borewise_in, data, files_below, new_folder, shown};

/// Names of all calculators, as the program lists them.
pub fn listed() -> Vec<String> {
    let ended = borewise(&["calc", "--list"]);
    assert_eq!(ended.code, 0);
    ended.out.lines().map(|line| line.split_whitespace().next().unwrap().to_owned()).collect()
}

/// The outside checks with values, by calculator, in the order of their files.
fn cases() -> BTreeMap<String, Vec<Case>> {
    let folder = data().join("reference");
    let names: Vec<String> =
        files_below(&folder).into_iter().filter(|name| name.ends_with(".toml")).collect();
    let mut by_calculator: BTreeMap<String, Vec<Case>> = BTreeMap::new();
    for case in load_cases(&Folder::new(folder), &names).unwrap() {
        if matches!(case.check, Check::Values { .. }) {
            by_calculator.entry(case.calculator.clone()).or_default().push(case);
        }
    }
    by_calculator
}

#[test]
fn every_calculator_answers_its_first_reference_case() {
    let cases = cases();
    for name in listed() {
        let case = &cases.get(&name).unwrap_or_else(|| panic!("{name} has no outside check"))[0];
        let Check::Values { input, expect } = &case.check else { unreachable!("sorted out above") };
        let input = exchange::json::to_json(input).to_string();
        let ended = borewise_fed(&["calc", &name], input.as_bytes());
        assert_eq!((ended.code, ended.err.as_str()), (0, ""), "{name}: {ended:?}");
        let answer = ended.document();
        assert_eq!(answer["calculator"], *name);
        assert!(answer["method"].as_str().unwrap().starts_with("borewise-"));
        assert!(answer["sources"].as_array().is_some_and(|sources| !sources.is_empty()), "{name}");
        assert!(answer["warnings"].is_array(), "{name}");
        expect.iter().for_each(|expected| holds(case, expected, &answer["outputs"]));
    }
}

/// Holds one output against what the case expects of it.
fn holds(case: &Case, expected: &Expected, outputs: &Json) {
    let place = format!("{}, {}", case.stands_at, expected.path);
    let found = at(outputs, &expected.path).unwrap_or_else(|| panic!("{place}: not among {outputs:#}"));
    let found = if found.get("coverage").is_some() { &found["value"] } else { found };
    let wanted = exchange::json::to_json(&expected.value);
    let Some(number) = wanted.as_f64() else {
        assert_eq!(*found, wanted, "{place}");
        return;
    };
    let allowed = match expected.tolerance {
        Tolerance::Relative(share) => share * number.abs(),
        Tolerance::Absolute(much) => much,
    };
    let off = (found.as_f64().unwrap() - number).abs();
    assert!(off <= allowed, "{place}: {found} instead of {number}, allowed {allowed}");
}

#[test]
fn every_calculator_gives_a_schema_and_names_what_is_missing() {
    for name in listed() {
        let ended = borewise(&["calc", "--schema", &name]);
        let schema = ended.document();
        assert_eq!(ended.code, 0, "{name}");
        assert_eq!(schema["type"], "object", "{name}");
        let properties = schema["properties"].as_object().unwrap();
        assert!(properties.values().all(|field| field["description"].is_string()), "{name}: {schema:#}");

        let ended = borewise_fed(&["calc", &name, "-"], b"{\"no_such_field\": 1}");
        assert_eq!(ended.code, 2, "{name}");
        let named = ended.error_words("field");
        assert!(named.contains(&"no_such_field".to_owned()), "{name}: {named:?}");
        for required in schema["required"].as_array().unwrap() {
            assert!(
                named.iter().any(|field| required == field),
                "{name} does not miss {required}: {named:?}"
            );
        }
        for error in ended.errors() {
            let said = |key: &str| error[key].as_str().is_some_and(|text| !text.is_empty());
            assert!(said("field") && said("problem") && said("hint"), "{name}: {error:#}");
        }
    }
}

#[test]
fn every_fault_is_named_at_once() {
    let input = json!({"temperatur_deg_c": 20, "pressure_bar_abs": -3, "glycol": "ethylen", "glycol_mass_percent": "x"});
    let ended = borewise_fed(&["calc", "water"], input.to_string().as_bytes());
    assert_eq!(ended.code, 2);
    assert_eq!(
        ended.document(),
        json!({"errors": [
            {"field": "temperatur_deg_c", "value": 20, "problem": "unknown field", "hint": "did you mean temperature_deg_c?"},
            {"field": "temperature_deg_c", "value": null, "problem": "missing",
                "hint": "give temperature_deg_c: temperature of the coolant"},
            {"field": "pressure_bar_abs", "value": -3, "problem": "out of range", "hint": "give 0.5 to 50"},
            {"field": "glycol", "value": "ethylen", "problem": "unknown word", "hint": "one of: none, ethylene, propylene"},
            {"field": "glycol_mass_percent", "value": "x", "problem": "this is a text", "hint": "give a number"},
        ]})
    );
    assert_eq!(ended.err, "water: the input has 5 faults; the document names them\n");
}

#[test]
fn what_cannot_be_read_is_refused_with_a_document() {
    for text in [
        &b""[..],
        b"{",
        b"{\"temperature_deg_c\": 20",
        b"[1]",
        b"null",
        b"20",
        b"{\"temperature_deg_c\": 1e999}",
        b"{\"temperature_deg_c\": 1e300}",
        b"{\"temperature_deg_c\": NaN}",
        b"{\"temperature_deg_c\": null}",
        b"{\"temperature_deg_c\": 20} {}",
        b"{\"temperature_deg_c\": 20, \"temperature_deg_c\": 30}",
        b"{\"temperature_deg_c\": \"20\xb0\"}",
        &[b'['; 100_000],
    ] {
        let shown = String::from_utf8_lossy(&text[..text.len().min(60)]).into_owned();
        let ended = borewise_fed(&["calc", "water"], text);
        assert_eq!(ended.code, 2, "{shown}");
        assert_eq!(ended.errors().len(), 1, "{shown}: {ended:?}");
        assert!(ended.error_words("hint").iter().all(|hint| !hint.is_empty()), "{shown}: {ended:?}");
    }
}

#[test]
fn a_file_standard_input_and_a_mark_of_byte_order_give_the_same_answer() {
    let folder = new_folder();
    let text = b"{\"reynolds\": 1e5, \"relative_roughness\": 0.001}";
    std::fs::write(folder.join("in.json"), text).unwrap();
    std::fs::write(folder.join("marked.json"), [b"\xef\xbb\xbf", &text[..]].concat()).unwrap();
    let answers = [
        borewise_fed(&["calc", "friction"], text),
        borewise_fed(&["calc", "friction", "-"], text),
        borewise_in(&folder, &["calc", "friction", "in.json"]),
        borewise_in(&folder, &["calc", "friction", "marked.json"]),
    ];
    for answer in &answers {
        assert_eq!((answer.code, &answer.out), (0, &answers[0].out), "{answer:?}");
    }
}

#[test]
fn no_such_calculator_and_no_such_file() {
    for arguments in [&["calc", "watr"][..], &["calc", "--schema", "watr"], &["calc", "watr", "nofile.json"]]
    {
        let ended = borewise(arguments);
        assert_eq!((ended.code, ended.error_words("value")), (2, vec!["watr".to_owned()]), "{arguments:?}");
        assert!(ended.err.contains("stored-energy"), "the hint lists what there is: {}", ended.err);
    }
    let folder = new_folder();
    for path in [folder.join("nofile.json"), folder.clone()] {
        let ended = borewise(&["calc", "water", shown(&path)]);
        assert_eq!((ended.code, ended.errors().len()), (3, 1), "{ended:?}");
        assert!(ended.err.contains(shown(&path)), "{ended:?}");
    }
}
