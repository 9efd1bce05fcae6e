//! `cargo xtask messages FOLDER [LANGUAGE]`: texts of saved pages that no message knows.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::ExitCode;

use speech::Language;

/// Lists by page what no message of the language knows and what looks English; names of a plant are among it.
pub fn run(arguments: &[String]) -> ExitCode {
    let Some(folder) = arguments.first() else {
        eprintln!(
            "cargo xtask messages FOLDER [LANGUAGE]: a folder of saved pages, and de (the default) or en-US"
        );
        return ExitCode::from(2);
    };
    let tag = arguments.get(1).map_or("de", String::as_str);
    let Some(language) = Language::of(tag) else {
        eprintln!("{tag} is no language of the pages");
        return ExitCode::from(2);
    };
    let mut pages = BTreeMap::new();
    if let Err(error) = gather(Path::new(folder), &mut pages) {
        eprintln!("{folder}: {error}");
        return ExitCode::FAILURE;
    }
    let mut told = BTreeMap::new();
    for (name, page) in &pages {
        for text in language.missing(page) {
            told.entry(text).or_insert_with(|| name.clone());
        }
    }
    for (text, page) in &told {
        println!("{page}: {text}");
    }
    println!("{} pages, {} texts that no message of {tag} knows", pages.len(), told.len());
    ExitCode::SUCCESS
}

fn gather(folder: &Path, pages: &mut BTreeMap<String, String>) -> std::io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            gather(&path, pages)?;
        } else if path.extension().is_some_and(|ending| ending == "html") {
            pages.insert(path.display().to_string(), fs::read_to_string(&path)?);
        }
    }
    Ok(())
}
