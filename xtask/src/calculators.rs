//! Writes what follows from definitions: `docs/methods/calculators.md`, and the tables of fields in the pages on files.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::fs;
use std::path::Path;
use std::process::ExitCode;

use calc::calculators::{Calculator, METHOD, all};

use crate::fields;

const CALCULATORS: &str = "docs/methods/calculators.md";
/// Pages whose tables of fields are written anew.
const FILES: [&str; 2] = ["docs/methods/files.md", "docs/methods/plan-file.md"];

/// Around the generated parts of a page that is written by hand otherwise.
const BEGIN: &str = "<!-- fields of ";
const BEGIN_ENDS: &str = ": begin -->\n";
const END: &str = "<!-- fields: end -->";

/// Writes both pages, or with `verify` compares them with those that are there.
pub fn run(root: &Path, verify: bool) -> ExitCode {
    let pages = match pages(root) {
        Ok(pages) => pages,
        Err(error) => {
            eprintln!("{error}");
            return ExitCode::FAILURE;
        }
    };
    for (name, text) in pages {
        let path = root.join(name);
        if verify {
            if fs::read_to_string(&path).is_ok_and(|there| there == text) {
                println!("{name} says what the definitions say");
                continue;
            }
            eprintln!("{name} differs from the definitions: run `cargo xtask calculators`");
            return ExitCode::FAILURE;
        }
        if let Err(error) = fs::write(&path, text) {
            eprintln!("cannot write {}: {error}", path.display());
            return ExitCode::FAILURE;
        }
    }
    ExitCode::SUCCESS
}

/// Name and text of each page.
fn pages(root: &Path) -> Result<Vec<(&'static str, String)>, String> {
    let mut pages = vec![(CALCULATORS, page(&all(), &sources(root)?))];
    for name in FILES {
        let there = fs::read_to_string(root.join(name)).map_err(|error| format!("{name}: {error}"))?;
        pages.push((name, filled(&there).map_err(|error| format!("{name}: {error}"))?));
    }
    Ok(pages)
}

/// Titles of `data/sources.bib` by key.
fn sources(root: &Path) -> Result<BTreeMap<String, String>, String> {
    let path = root.join("data/sources.bib");
    let text = fs::read_to_string(&path).map_err(|error| format!("{}: {error}", path.display()))?;
    Ok(text.split("\n@").filter_map(entry).collect())
}

/// Key and title of one entry.
fn entry(text: &str) -> Option<(String, String)> {
    let (_, rest) = text.split_once('{')?;
    let (key, rest) = rest.split_once(',')?;
    let (_, rest) = rest.split_once("title={")?;
    let mut depth = 1_u32;
    let end = rest.find(|letter: char| {
        match letter {
            '{' => depth += 1,
            '}' => depth -= 1,
            _ => {}
        }
        depth == 0
    })?;
    let mut title = rest.get(..end)?.to_owned();
    for (latex, letter) in ACCENTS {
        title = title.replace(latex, letter);
    }
    Some((key.trim().to_owned(), title.replace(['{', '}'], "")))
}

/// Letters as LaTeX writes them.
const ACCENTS: &[(&str, &str)] = &[
    ("\\\"A", "Ä"),
    ("\\\"a", "ä"),
    ("\\\"o", "ö"),
    ("\\\"u", "ü"),
    ("\\AA", "Å"),
    ("\\&", "&"),
    ("--", "–"),
];

fn page(calculators: &[&Calculator], titles: &BTreeMap<String, String>) -> String {
    let mut text = format!(
        "# Calculators\n\nWritten by `cargo xtask calculators` from the definitions that the program itself reads. Methods: \
         `{METHOD}`.\n\nEvery calculator is pure arithmetic: the same input gives the same answer on any machine. `borewise \
         calc NAME FILE` takes its input as JSON and answers as JSON; `borewise calc --schema NAME` prints the JSON schema. \
         Outside checks of each one stand on [the validation page](../validation.md). Results that have an \
         uncertainty come with `value`, `low`, `high` and `coverage`; an input outside its range is refused with the \
         range, and what deserves care comes back as a warning.\n\n| calculator | gives |\n| --- | --- |\n"
    );
    for calculator in calculators {
        let _ = writeln!(text, "| [`{0}`](#{0}) | {1} |", calculator.name, fields::cell(calculator.title));
    }
    for calculator in calculators {
        text.push_str(&section(calculator, titles));
    }
    text
}

fn section(calculator: &Calculator, titles: &BTreeMap<String, String>) -> String {
    let mut text = format!(
        "\n## {}\n\n**{}.** {}\n\nInput:\n\n{}\nOutput:\n\n| name | unit | meaning |\n| --- | --- | --- |\n",
        calculator.name,
        fields::cell(calculator.title),
        fields::cell(calculator.text),
        fields::table(calculator.inputs)
    );
    for output in calculator.outputs {
        let _ = writeln!(
            text,
            "| `{}` | {} | {} |",
            output.name,
            fields::unit(output.name),
            fields::cell(output.text)
        );
    }
    let cited: Vec<String> = calculator
        .sources
        .iter()
        .map(|key| match titles.get(*key) {
            Some(title) => format!("`{key}` ({})", fields::cell(title)),
            None => format!("`{key}`"),
        })
        .collect();
    let _ = write!(text, "\nSources: {}.\n", cited.join("; "));
    text
}

/// The page with every generated part written anew.
fn filled(page: &str) -> Result<String, String> {
    let mut text = String::new();
    let mut rest = page;
    while let Some((before, after)) = rest.split_once(BEGIN) {
        let (name, after) =
            after.split_once(BEGIN_ENDS).ok_or_else(|| format!("a mark without '{}'", BEGIN_ENDS.trim()))?;
        let (_, after) =
            after.split_once(END).ok_or_else(|| format!("no '{END}' after the mark of {name}"))?;
        let made = match name {
            "mould file" => fields::file(exchange::shapes::mould::FILE),
            "visit file" => fields::file(exchange::shapes::visit::FILE),
            "rig file" => fields::file(exchange::shapes::rig::FILE),
            "plan file" => fields::file(link::plan_form()),
            "pieces" => fields::pieces(),
            _ => return Err(format!("nothing is known of '{name}'")),
        };
        let _ = write!(text, "{before}{BEGIN}{name}{BEGIN_ENDS}\n{}\n\n{END}", made.trim_end());
        text.push('\n');
        rest = after.strip_prefix('\n').unwrap_or(after);
    }
    text.push_str(rest);
    Ok(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_calculator_has_its_section_and_known_sources() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap();
        let titles = sources(root).unwrap();
        let text = page(&all(), &titles);
        for calculator in all() {
            assert!(text.contains(&format!("\n## {}\n", calculator.name)), "{}", calculator.name);
            for key in calculator.sources {
                assert!(titles.contains_key(*key), "{key} of {} has no title", calculator.name);
            }
        }
    }

    #[test]
    fn filling_twice_changes_nothing() {
        let page = "a\n<!-- fields of pieces: begin -->\nstale\n<!-- fields: end -->\nb\n";
        let once = filled(page).unwrap();
        assert!(once.starts_with("a\n") && once.ends_with("\nb\n") && !once.contains("stale"));
        assert_eq!(filled(&once).unwrap(), once);
    }

    #[test]
    fn a_mark_that_is_not_known_is_said() {
        assert!(filled("<!-- fields of soup: begin -->\n<!-- fields: end -->\n").is_err());
    }
}
