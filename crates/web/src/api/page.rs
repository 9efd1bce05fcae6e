//! The page of the method book that lists what there is.

use std::fmt::Write as _;

use super::ROOT;
use super::operation::Method;
use super::operations::all;
use crate::pages::people::role_word;

/// A table of all operations in Markdown, made from the same list as the description.
#[must_use]
pub fn page() -> String {
    let mut text = String::from("| | address | who may | what |\n| --- | --- | --- | --- |\n");
    for operation in all() {
        let method = match operation.method {
            Method::Get => "GET",
            Method::Post => "POST",
        };
        let mut about = operation.title.to_owned();
        if !operation.text.is_empty() {
            about = format!("{about}. {}", operation.text);
        }
        let _ = writeln!(
            text,
            "| {method} | `{ROOT}{}` | {} | {about} |",
            operation.path,
            role_word(operation.role)
        );
    }
    text
}
