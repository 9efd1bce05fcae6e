//! Files and functions that have grown too large to live in.

use super::Finding;
use super::source::File;

/// Most lines of a file, tests included.
const FILE_LINES: usize = 800;
/// Most lines of a function.
const FUNCTION_LINES: usize = 120;

/// Every file and function over its limit.
pub fn check(files: &[File]) -> Vec<Finding> {
    let mut findings = Vec::new();
    for file in files {
        if file.lines.len() > FILE_LINES {
            findings.push(Finding {
                rule: "house: size of files",
                place: file.path.clone(),
                text: format!("{} lines, at most {FILE_LINES}", file.lines.len()),
            });
        }
        findings.extend(functions(file).into_iter().filter(|(_, _, lines)| *lines > FUNCTION_LINES).map(
            |(number, name, lines)| Finding {
                rule: "house: size of functions",
                place: format!("{}:{number}", file.path),
                text: format!("{name} has {lines} lines, at most {FUNCTION_LINES}"),
            },
        ));
    }
    findings
}

/// Line, signature and length of each function; the sources are formatted, so a function ends at the first closing
/// brace that stands as far in as its first line.
fn functions(file: &File) -> Vec<(usize, String, usize)> {
    let mut found = Vec::new();
    for (at, line) in file.lines.iter().enumerate() {
        let code = line.code.trim_start();
        let is_function =
            ["fn ", "pub fn ", "pub(crate) fn ", "pub(super) fn ", "const fn ", "pub const fn "]
                .iter()
                .any(|start| code.starts_with(start));
        if !is_function || line.code.trim_end().ends_with('}') || line.code.trim_end().ends_with(';') {
            continue;
        }
        let indent = line.text.len() - line.text.trim_start().len();
        let closing = format!("{}}}", " ".repeat(indent));
        let length = file.lines.iter().skip(at).position(|later| later.text == closing);
        if let Some(length) = length {
            found.push((line.number, code.trim_end().to_owned(), length + 1));
        }
    }
    found
}
