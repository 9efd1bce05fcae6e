//! Arbitrary bytes, and seeds with changes in them, on every parser: never a panic, always an error or a value.

use std::path::Path;

use proptest::prelude::*;

#[path = "../../../fuzz/src/lib.rs"]
mod targets;

type Target = (&'static str, fn(&[u8]));

const TARGETS: [Target; 6] = [
    ("mould_file", targets::mould_file),
    ("visit_file", targets::visit_file),
    ("mould_list", targets::mould_list),
    ("trace", targets::trace),
    ("json_input", targets::json_input),
    ("case_file", targets::case_file),
];

fn seeds(target: &str) -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus").join(target);
    let files = std::fs::read_dir(folder).expect("a folder of seeds");
    let mut seeds: Vec<_> =
        files.map(|file| std::fs::read(file.expect("a file").path()).expect("bytes")).collect();
    seeds.sort();
    assert!(!seeds.is_empty(), "{target} has no seeds");
    seeds
}

#[test]
fn seeds_pass_through_every_target() {
    for (_, run) in TARGETS {
        for (name, _) in TARGETS {
            seeds(name).iter().for_each(|seed| run(seed));
        }
    }
}

#[test]
fn seeds_of_moulds_and_visits_are_accepted() {
    use exchange::load::{load_mould_from, load_visit_from};
    let file = |target: &str, name: &str| {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../fuzz/corpus").join(target).join(name);
        std::fs::read(path).expect("a seed")
    };
    let mut files = std::collections::BTreeMap::from([
        ("m.toml".to_owned(), file("mould_file", "whole.toml")),
        ("r.toml".to_owned(), file("mould_file", "rig.toml")),
        ("v.toml".to_owned(), file("visit_file", "whole.toml")),
        ("t.csv".to_owned(), file("trace", "own.csv")),
    ]);
    load_mould_from(&files, "m.toml").unwrap_or_else(|faults| panic!("{faults}"));
    load_visit_from(&files, "v.toml").unwrap_or_else(|faults| panic!("{faults}"));
    files.insert("v.toml".to_owned(), file("visit_file", "short.toml"));
    load_visit_from(&files, "v.toml").unwrap_or_else(|faults| panic!("{faults}"));
}

/// A change of a text: where, how much is taken out, and what is put in.
type Change = (prop::sample::Index, usize, Vec<u8>);

fn change() -> impl Strategy<Value = Change> {
    let pieces = prop_oneof![
        prop::collection::vec(any::<u8>(), 0..4),
        prop::sample::select(
            [
                "-1",
                "1e400",
                "nan",
                "\"",
                "[",
                "]",
                "{}",
                "[[reading]]",
                "0x",
                "\n",
                "\r",
                "..",
                "/",
                ",",
                ";",
                "\t",
                "é",
                "\u{feff}",
                "999999999999999999999",
                "1,234.5",
                "12:61:00",
                "#",
                "true",
                "''",
                "\\u0000",
                "=",
                "count = 500",
                "2026-02-30",
                "null",
            ]
            .to_vec()
        )
        .prop_map(|text| text.as_bytes().to_vec()),
    ];
    (any::<prop::sample::Index>(), 0..12_usize, pieces)
}

fn changed(seed: &[u8], changes: &[Change]) -> Vec<u8> {
    let mut bytes = seed.to_vec();
    for (place, taken, put) in changes {
        let at = place.index(bytes.len() + 1);
        let end = (at + taken).min(bytes.len());
        bytes.splice(at..end, put.iter().copied());
    }
    bytes
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn changed_seeds(target in 0..TARGETS.len(), seed in any::<prop::sample::Index>(), changes in prop::collection::vec(change(), 1..5)) {
        let (name, run) = TARGETS[target];
        let seeds = seeds(name);
        run(&changed(&seeds[seed.index(seeds.len())], &changes));
    }

    #[test]
    fn any_bytes_at_all(target in 0..TARGETS.len(), bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        TARGETS[target].1(&bytes);
    }

    #[test]
    fn any_text_at_all(target in 0..TARGETS.len(), text in "[\\[\\]{}\"'=,;:.#\\-+0-9a-z \t\r\n]{0,200}") {
        TARGETS[target].1(text.as_bytes());
    }
}
