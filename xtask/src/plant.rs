//! The files of a large invented plant: a folder a visit, seeded, to fill a record as its users would.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use exchange::write::{Beside, Existing, mould_text, rig_text, visit_files, write_all};
use jiff::ToSpan as _;
use link::{Invention, random_plan, simulate};

/// Circuits of a mould: a dozen, give or take two.
const CIRCUITS: (usize, usize) = (10, 14);
/// Days between two visits of a mould.
const BETWEEN: i64 = 90;

/// `cargo xtask plant FOLDER [MOULDS [VISITS]]`.
pub fn run(words: &[String]) -> ExitCode {
    let Some(folder) = words.first().map(PathBuf::from) else {
        eprintln!("plant: name the folder to write to");
        return ExitCode::from(2);
    };
    let number =
        |at: usize, ordinary: u64| words.get(at).and_then(|word| word.parse().ok()).unwrap_or(ordinary);
    match write(&folder, number(1, 2000), number(2, 2)) {
        Ok((circuits, entries)) => {
            println!("{circuits} circuits, {entries} readings and treatments in {}", folder.display());
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("plant: {error}");
            ExitCode::FAILURE
        }
    }
}

fn write(folder: &Path, moulds: u64, visits: u64) -> Result<(usize, usize), Box<dyn std::error::Error>> {
    let options = Invention { circuits: CIRCUITS, ..Invention::default() };
    let (mut circuits, mut entries) = (0, 0);
    for number in 0..moulds {
        let (id, plan) = (format!("L-{number:05}"), random_plan(number, &options));
        let mut mould = None;
        for at in 0..visits {
            let Ok(mut played) = simulate(&plan, number * 1000 + at) else { continue };
            played.mould.id.0.clone_from(&id);
            played.visit.mould = played.mould.id.clone();
            played.visit.id = format!("{id}-V{at}");
            let later = (i64::try_from(at)? * BETWEEN * 24).hours();
            played.visit.started = played.visit.started.checked_add(later)?;
            for entry in &mut played.visit.entries {
                entry.at = entry.at.map(|time| time.checked_add(later)).transpose()?;
            }
            if mould.is_none() {
                circuits += played.mould.circuits.len();
            }
            // What the papers say of a mould stays the same from visit to visit.
            let text = mould.get_or_insert_with(|| mould_text(&played.mould).into_bytes());
            entries += played.visit.entries.len();
            let (of_mould, of_rig) = (format!("{id}.mould.toml"), format!("{id}.rig.toml"));
            let beside = Beside { mould: &of_mould, rig: Some(&of_rig) };
            let mut files = visit_files(&played.visit, beside);
            files.push((of_mould.clone(), text.clone()));
            files.push((of_rig.clone(), rig_text(&played.visit.rig).into_bytes()));
            write_all(&folder.join(&played.visit.id), &files, Existing::Refuse)?;
        }
    }
    Ok((circuits, entries))
}
