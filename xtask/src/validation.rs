//! Writes `docs/validation.md` from a run of the outside checks.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::ExitCode;

use exchange::reference::{CheckKind, Outcome, load_cases, run_case};
use exchange::source::Folder;

const KINDS: [CheckKind; 5] = [
    CheckKind::Published,
    CheckKind::ReferenceLibrary,
    CheckKind::Trade,
    CheckKind::Identity,
    CheckKind::Pinned,
];

/// Writes the page, or with `verify` compares it with the one that is there.
pub fn run(root: &Path, verify: bool) -> ExitCode {
    let outcomes = match outcomes(root) {
        Ok(outcomes) => outcomes,
        Err(error) => {
            eprintln!("{error}");
            return ExitCode::FAILURE;
        }
    };
    let page = page(&outcomes);
    let path = root.join("docs/validation.md");
    if verify {
        if fs::read_to_string(&path).is_ok_and(|there| there == page) {
            println!("docs/validation.md is this run's own");
            return ExitCode::SUCCESS;
        }
        eprintln!("docs/validation.md differs from this run: look at why, then run `cargo xtask validation`");
        return ExitCode::FAILURE;
    }
    match fs::write(&path, page) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("cannot write {}: {error}", path.display());
            ExitCode::FAILURE
        }
    }
}

fn outcomes(root: &Path) -> Result<Vec<Outcome>, String> {
    let folder = root.join("data/reference");
    let mut names = Vec::new();
    walk(&folder, "", &mut names).map_err(|error| format!("{}: {error}", folder.display()))?;
    names.sort();
    let cases = load_cases(&Folder::new(&folder), &names).map_err(|faults| faults.to_string())?;
    Ok(cases.iter().map(run_case).collect())
}

fn walk(folder: &Path, under: &str, names: &mut Vec<String>) -> std::io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        let full = if under.is_empty() { name } else { format!("{under}/{name}") };
        if path.is_dir() {
            walk(&path, &full, names)?;
        } else if full.ends_with(".toml") {
            names.push(full);
        }
    }
    Ok(())
}

fn page(outcomes: &[Outcome]) -> String {
    let mut text = String::from(HEAD);
    let sources: BTreeSet<&str> = outcomes.iter().map(|outcome| outcome.source.as_str()).collect();
    let points: usize = outcomes.iter().map(|outcome| outcome.points).sum();
    let failed = outcomes.iter().filter(|outcome| !outcome.passed).count();
    let memory = outcomes.iter().filter(|outcome| outcome.memory).count();
    let _ = writeln!(
        text,
        "{} checks over {points} values from {} sources; {failed} fail. In {memory} of them the expected value was written \
         down from memory of its source.\n",
        outcomes.len(),
        sources.len()
    );
    let mut topics: BTreeMap<&str, Vec<&Outcome>> = BTreeMap::new();
    for outcome in outcomes {
        topics.entry(&outcome.topic).or_default().push(outcome);
    }
    text.push_str("| topic | checks |");
    for kind in KINDS {
        let _ = write!(text, " {} |", kind.word());
    }
    text.push_str(" worst share |\n| --- | --: | --: | --: | --: | --: | --: | --: |\n");
    for (topic, group) in &topics {
        let _ = write!(text, "| [{topic}](#{topic}) | {} |", group.len());
        for kind in KINDS {
            let _ = write!(text, " {} |", group.iter().filter(|outcome| outcome.kind == kind).count());
        }
        let worst = group.iter().map(|outcome| outcome.worst).fold(0.0, f64::max);
        let _ = writeln!(text, " {worst:.2} |");
    }
    for (topic, mut group) in topics {
        group.sort_by(|a, b| b.worst.total_cmp(&a.worst).then_with(|| a.title.cmp(&b.title)));
        let _ = write!(text, "\n## {topic}\n\n{TABLE}");
        for outcome in group {
            text.push_str(&row(outcome));
        }
    }
    text
}

const HEAD: &str = "# Validation\n\nWritten by `cargo xtask validation` from a run of the checks in `data/reference`; \
                    `borewise check` runs the same.\n\nA share of 1.00 means that the answer is as far off as the \
                    tolerance allows; above 1 the check fails. Kinds: *published* (a source prints the value), \
                    *reference-library* (another program computed it), *trade* (common practice), *identity* (must hold by \
                    mathematics or definition), *pinned* (our own output, not counted as validation). Sources are keys of \
                    `data/sources.bib`.\n\n";

const TABLE: &str = "| check | calculator | kind | source | values | share | deviation |\n| --- | --- | --- | --- | --: | --: | --- |\n";

fn row(outcome: &Outcome) -> String {
    let spread = outcome.spread.map_or_else(String::new, |spread| {
        // Two digits: more would differ between machines without meaning anything.
        format!("median {:.1e}, 99 % {:.1e}, largest {:.1e}", spread.median, spread.p99, spread.max)
    });
    let failed = if outcome.passed { "" } else { " **fails**" };
    format!(
        "| {} | `{}` | {}{} | {}: {} | {} | {:.2}{failed} | {spread} |\n",
        cell(&outcome.title),
        outcome.calculator,
        outcome.kind.word(),
        if outcome.memory { " (from memory)" } else { "" },
        outcome.source,
        cell(&outcome.place),
        outcome.points,
        outcome.worst
    )
}

fn cell(text: &str) -> String {
    text.replace('|', "/").replace('\n', " ")
}
