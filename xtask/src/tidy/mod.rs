//! The must-never rules of ARCHITECTURE.md, each as a check over sources and dependencies.

mod dependencies;
mod formulas;
mod size;
mod source;
mod words;

use std::path::Path;
use std::process::ExitCode;

/// One broken rule at one place.
#[derive(Debug)]
pub struct Finding {
    /// Rule, as ARCHITECTURE.md numbers or names it.
    pub rule: &'static str,
    /// File and line, or package.
    pub place: String,
    /// What is there.
    pub text: String,
}

/// Runs every rule and prints what is broken.
pub fn run(root: &Path) -> ExitCode {
    let files = match source::rust_files(root) {
        Ok(files) if !files.is_empty() => files,
        Ok(_) => return fail("no Rust source found"),
        Err(error) => return fail(&format!("cannot read the sources: {error}")),
    };
    let mut findings = Vec::new();
    findings.extend(words::check(&files));
    findings.extend(size::check(&files));
    findings.extend(formulas::check(root));
    match dependencies::check(root) {
        Ok(found) => findings.extend(found),
        Err(error) => return fail(&error),
    }
    for finding in &findings {
        eprintln!("{}: {}: {}", finding.rule, finding.place, finding.text);
    }
    if findings.is_empty() {
        println!("tidy: {} files, every rule holds", files.len());
        ExitCode::SUCCESS
    } else {
        fail(&format!("{} places break a rule", findings.len()))
    }
}

fn fail(why: &str) -> ExitCode {
    eprintln!("tidy: {why}");
    ExitCode::FAILURE
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_workspace_keeps_its_rules() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).parent().unwrap();
        let files = source::rust_files(root).unwrap();
        assert!(files.len() > 20, "the walk finds the sources");
        let mut findings = words::check(&files);
        findings.extend(size::check(&files));
        findings.extend(formulas::check(root));
        findings.extend(dependencies::check(root).unwrap());
        assert!(findings.is_empty(), "{findings:#?}");
    }

    #[test]
    fn a_broken_rule_is_found() {
        let bad = source::File::from_text(
            "crates/calc/src/bad.rs",
            "use std::fs;\npub fn f() { println!(\"x\"); }\nstruct Mould;\n// mould in a comment is fine\n",
        );
        let rules: Vec<&str> = words::check(&[bad]).iter().map(|finding| finding.rule).collect();
        assert_eq!(rules, ["1 calc does no I/O", "1 calc does no I/O", "2 calc knows no mould"]);
    }

    #[test]
    fn a_bare_number_without_unit_is_found() {
        let bad = source::File::from_text(
            "crates/bench/src/bad.rs",
            "pub struct A {\n    pub pressure: f64,\n    pub pressure_bar_g: f64,\n    pub probability: f64,\n}\n",
        );
        let findings = words::check(&[bad]);
        assert_eq!(findings.len(), 1, "{findings:?}");
        assert_eq!(findings[0].rule, "6 numbers carry their unit");
    }

    #[test]
    fn a_long_function_is_found() {
        let body = "    let _x = 1;\n".repeat(130);
        let file = source::File::from_text("crates/calc/src/long.rs", &format!("fn long() {{\n{body}}}\n"));
        assert_eq!(size::check(&[file]).len(), 1);
    }
}
