//! Rule 7: a calculator names its sources, each is in the bibliography, and something outside checks it.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

use super::Finding;

const RULE: &str = "7 formulas have sources and outside checks";

/// Every calculator without sources, with an unknown source, or without an outside check.
pub fn check(root: &Path) -> Vec<Finding> {
    let bibliography = fs::read_to_string(root.join("data/sources.bib")).unwrap_or_default();
    let keys: BTreeSet<&str> = bibliography
        .lines()
        .filter_map(|line| line.trim().strip_prefix('@'))
        .filter_map(|entry| entry.split_once('{'))
        .map(|(_, rest)| rest.split(',').next().unwrap_or_default().trim())
        .collect();
    let checked = checked_calculators(&root.join("data/reference"));
    let mut findings = Vec::new();
    for calculator in calc::calculators::all() {
        let mut broken = |text: String| {
            findings.push(Finding { rule: RULE, place: format!("calculator {}", calculator.name), text });
        };
        if calculator.sources.is_empty() {
            broken("names no source".to_owned());
        }
        for source in calculator.sources.iter().filter(|source| !keys.contains(**source)) {
            broken(format!("source {source} is not in data/sources.bib"));
        }
        if !checked.contains(calculator.name) {
            broken("has no outside check in data/reference".to_owned());
        }
    }
    findings
}

/// Names of the calculators that some case or sweep runs which is not our own output.
fn checked_calculators(folder: &Path) -> BTreeSet<String> {
    let mut names = BTreeSet::new();
    for path in files(folder) {
        let text = fs::read_to_string(&path).unwrap_or_default();
        for block in text.split("[[").filter(|block| !block.contains("kind = \"pinned\"")) {
            let name = block.lines().find_map(|line| line.trim().strip_prefix("calculator = \""));
            names.extend(name.and_then(|rest| rest.split_once('"')).map(|(name, _)| name.to_owned()));
        }
    }
    names
}

fn files(folder: &Path) -> Vec<std::path::PathBuf> {
    let Ok(entries) = fs::read_dir(folder) else { return Vec::new() };
    let mut found = Vec::new();
    for path in entries.flatten().map(|entry| entry.path()) {
        if path.is_dir() {
            found.extend(files(&path));
        } else if path.extension().is_some_and(|ending| ending == "toml") {
            found.push(path);
        }
    }
    found
}
