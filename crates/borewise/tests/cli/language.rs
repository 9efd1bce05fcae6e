//! The demo plant in German: every text of its pages is known, but for names.

use std::collections::{BTreeMap, BTreeSet};

use speech::Language;

use crate::program::{borewise, new_folder, plant, shown};
use crate::serve::Running;

/// Circuits of each mould whose pages are asked for; the others have pages of the same kinds.
const CIRCUITS: usize = 3;
/// What stands on pages and is nobody's language: the program, its plates and the rig.
const OWN_NAMES: [&str; 2] = ["Borewise", "Borewise borewise 0.1.0"];

/// All texts in quotes of the plans of the plant: names of moulds, halves, circuits and what they cool.
fn names() -> BTreeSet<String> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../data/demo/plans");
    let mut names: BTreeSet<String> = OWN_NAMES.iter().map(|name| (*name).to_owned()).collect();
    for entry in std::fs::read_dir(folder).unwrap() {
        let text = std::fs::read_to_string(entry.unwrap().path()).unwrap();
        names.extend(text.split('"').skip(1).step_by(2).map(str::to_owned));
    }
    names
}

/// Whether a text is made of names alone, such as `AB-133, hot half · Borewise`.
fn is_name(text: &str, names: &BTreeSet<String>) -> bool {
    let known = |piece: &str| names.contains(piece) || !piece.contains(|letter: char| letter.is_lowercase());
    known(text) || text.split(" · ").all(|piece| known(piece) || piece.split(", ").all(known))
}

/// Addresses on a page, decoded as far as our own addresses need it.
fn ways(page: &str) -> Vec<String> {
    let ways = page.split(" href=\"/").skip(1).filter_map(|rest| rest.split(['"', '#']).next());
    ways.map(|way| format!("/{way}"))
        .filter(|way| !way.starts_with("/assets") && !way.contains("?next="))
        .collect()
}

/// Whether a circuit of this address is beyond those that are asked for.
fn is_one_of_many(way: &str, circuits: &mut BTreeMap<String, BTreeSet<String>>) -> bool {
    let Some((mould, rest)) = way.split_once("/circuits/") else { return false };
    let mould = mould.split("/visits/").next().unwrap_or_default();
    let circuit = rest.split('/').next().unwrap_or_default().to_owned();
    let seen = circuits.entry(mould.to_owned()).or_default();
    !seen.contains(&circuit) && (seen.len() >= CIRCUITS || !seen.insert(circuit))
}

#[test]
fn every_page_of_the_plant_is_known_in_german() {
    let data = new_folder();
    let moulds: Vec<_> =
        std::fs::read_dir(plant().0.as_path()).unwrap().map(|entry| entry.unwrap().path()).collect();
    let moulds: Vec<&str> = moulds.iter().filter(|path| path.is_dir()).map(|path| shown(path)).collect();
    let taken = borewise(&[&["record"], &moulds[..], &["--by", "KT", "--data", shown(&data)]].concat());
    assert_eq!(taken.code, 0, "{taken:?}");
    let running = Running::start(&["serve", "--data", shown(&data), "--listen", "127.0.0.1:0"]);
    let cookie = running.sign_in("KT");
    let names = names();
    let (mut todo, mut seen) = (vec!["/".to_owned(), "/who".into(), "/nowhere".into()], BTreeSet::new());
    let (mut circuits, mut unknown) = (BTreeMap::new(), BTreeMap::new());
    while let Some(way) = todo.pop() {
        if is_one_of_many(&way, &mut circuits) || !seen.insert(way.clone()) {
            continue;
        }
        let english = running.asked(&way, &[("Cookie", &cookie), ("Accept-Language", "en-GB")]);
        if !english.contains("content-type: text/html") {
            continue;
        }
        for text in Language::German.missing(&english) {
            if !is_name(&text, &names) {
                unknown.insert(text, way.clone());
            }
        }
        todo.extend(ways(&english));
    }
    assert!(seen.len() > 300, "{} pages", seen.len());
    assert!(unknown.is_empty(), "of {} pages no message knows: {unknown:#?}", seen.len());
    let german =
        running.asked("/moulds/AB-146", &[("Cookie", &cookie), ("Accept-Language", "de-DE,en;q=0.5")]);
    assert!(german.contains("content-language: de") && german.contains("<html lang=\"de\">"), "{german}");
    assert!(german.contains("Hälften") && german.contains("Tool hook, 4 cavities"), "{german}");
    // What is chosen counts more than what the browser likes.
    let chosen = format!("{cookie}; borewise-language=de");
    let german = running.asked("/calculators", &[("Cookie", &chosen), ("Accept-Language", "en-GB")]);
    assert!(german.contains("<h1>Rechner</h1>"), "{german}");
}
