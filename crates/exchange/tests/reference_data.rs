//! The reference cases of this project can all be read.

use std::path::{Path, PathBuf};

use exchange::reference::{Check, load_cases};
use exchange::source::Folder;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../data/reference")
}

/// Names of the case files, relative to the folder of all topics.
fn case_files() -> Vec<String> {
    let mut names = Vec::new();
    for topic in std::fs::read_dir(root()).expect("the folder of all topics") {
        let topic = topic.expect("a topic").path();
        for file in std::fs::read_dir(&topic).into_iter().flatten() {
            let path = file.expect("a file").path();
            if path.extension().is_some_and(|ending| ending == "toml") {
                let name = path.strip_prefix(root()).expect("below the root");
                names.push(name.to_str().expect("Unicode").replace('\\', "/"));
            }
        }
    }
    names.sort();
    names
}

#[test]
fn every_case_file_is_sound() {
    let names = case_files();
    assert!(!names.is_empty());
    let cases = load_cases(&Folder::new(root()), &names).unwrap_or_else(|faults| panic!("{faults}"));
    assert!(cases.len() > names.len());
    assert!(cases.iter().any(|case| matches!(case.check, Check::Sweep { .. })));
    assert!(cases.iter().any(|case| matches!(case.check, Check::Refusal { .. })));
}
