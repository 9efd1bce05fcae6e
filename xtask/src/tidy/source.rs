//! Rust sources as lines, with comments and tests told apart.

use std::path::{Path, PathBuf};
use std::{fs, io};

/// One source file.
#[derive(Debug)]
pub struct File {
    /// Path from the workspace root, with `/`.
    pub path: String,
    /// Its lines.
    pub lines: Vec<Line>,
}

/// One line of source.
#[derive(Debug)]
pub struct Line {
    /// Number, from 1.
    pub number: usize,
    /// The whole line.
    pub text: String,
    /// The line without its comment.
    pub code: String,
    /// Whether it stands in a test module or a test folder.
    pub test: bool,
}

impl File {
    /// A file from its text. A test module is taken to run from `#[cfg(test)]` to the end of the file.
    pub fn from_text(path: &str, text: &str) -> Self {
        let whole = path.contains("/tests/")
            || path.contains("/examples/")
            || path.contains("/benches/")
            || path.ends_with("/tests.rs");
        let mut test = whole;
        let lines = text.lines().enumerate().map(|(at, line)| {
            test = test || line.trim_start().starts_with("#[cfg(test)]");
            Line { number: at + 1, text: line.to_owned(), code: without_comment(line).to_owned(), test }
        });
        Self { path: path.to_owned(), lines: lines.collect() }
    }

    /// Lines that are part of the program itself.
    pub fn program(&self) -> impl Iterator<Item = &Line> {
        self.lines.iter().filter(|line| !line.test)
    }

    /// `path:line`.
    pub fn place(&self, line: &Line) -> String {
        format!("{}:{}", self.path, line.number)
    }
}

/// The code before `//`, unless the slashes stand in a text.
fn without_comment(line: &str) -> &str {
    let mut in_text = false;
    let mut previous = ' ';
    for (at, letter) in line.char_indices() {
        match letter {
            '"' if previous != '\\' => in_text = !in_text,
            '/' if previous == '/' && !in_text => return line.get(..at - 1).unwrap_or_default(),
            _ => {}
        }
        previous = letter;
    }
    line
}

/// All Rust files under `crates/` and `xtask/`, sorted.
pub fn rust_files(root: &Path) -> io::Result<Vec<File>> {
    let mut paths = Vec::new();
    for folder in ["crates", "xtask"] {
        walk(&root.join(folder), &mut paths)?;
    }
    paths.sort();
    paths
        .into_iter()
        .map(|path| {
            let name = path.strip_prefix(root).unwrap_or(&path).to_string_lossy().replace('\\', "/");
            Ok(File::from_text(&name, &fs::read_to_string(&path)?))
        })
        .collect()
}

fn walk(folder: &Path, paths: &mut Vec<PathBuf>) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let path = entry?.path();
        if path.is_dir() {
            if path.file_name().is_none_or(|name| name != "target") {
                walk(&path, paths)?;
            }
        } else if path.extension().is_some_and(|ending| ending == "rs") {
            paths.push(path);
        }
    }
    Ok(())
}
