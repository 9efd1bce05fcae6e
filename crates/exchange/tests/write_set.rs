//! A set of files is written whole or not at all.

use std::fs;
use std::path::PathBuf;

use exchange::write::{Existing, NewFile, WriteError, write_all};

/// A folder of its own for a test, gone afterwards.
struct Scratch(PathBuf);

impl Scratch {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("exchange-{name}-{}", std::process::id()));
        let _ = fs::remove_dir_all(&path);
        fs::create_dir_all(&path).expect("a scratch folder");
        Self(path)
    }

    fn names(&self, folder: &str) -> Vec<String> {
        let entries = fs::read_dir(self.0.join(folder)).expect("a folder");
        let mut names: Vec<String> = entries
            .map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

fn file(name: &str, text: &str) -> NewFile {
    (name.to_owned(), text.as_bytes().to_vec())
}

#[test]
fn a_new_folder_appears_whole() {
    let scratch = Scratch::new("new");
    let files = [file("a.toml", "1"), file("traces/b.csv", "2")];
    write_all(&scratch.0.join("deep/out"), &files, Existing::Refuse).expect("written");
    assert_eq!(scratch.names("deep/out"), ["a.toml", "traces"]);
    assert_eq!(scratch.names("deep"), ["out"], "no draft stays behind");
}

#[test]
fn existing_files_are_kept_unless_told() {
    let scratch = Scratch::new("kept");
    let out = scratch.0.join("out");
    write_all(&out, &[file("a", "old"), file("z", "other")], Existing::Refuse).expect("written");
    let refused = write_all(&out, &[file("b", "new"), file("a", "new")], Existing::Refuse);
    assert!(matches!(refused, Err(WriteError::Exists(names)) if names == ["a"]));
    assert_eq!(scratch.names("out"), ["a", "z"]);
    write_all(&out, &[file("b", "new"), file("a", "new")], Existing::Replace).expect("replaced");
    assert_eq!(scratch.names("out"), ["a", "b", "z"]);
    assert_eq!(fs::read(out.join("a")).expect("a"), b"new");
    assert_eq!(scratch.names(""), ["out"]);
}

#[test]
fn a_failure_in_the_middle_leaves_everything_as_it_was() {
    let scratch = Scratch::new("undo");
    let out = scratch.0.join("out");
    write_all(&out, &[file("a", "old"), file("c/d", "a folder where a file shall be")], Existing::Refuse)
        .expect("written");
    // `c` is a folder with something in it: `c/d` cannot be put below the file that replaces it.
    let files = [file("a", "new"), file("b", "new"), file("a/x", "below a file")];
    let failed = write_all(&out, &files, Existing::Replace);
    assert!(matches!(failed, Err(WriteError::Disk { .. })));
    assert_eq!(scratch.names("out"), ["a", "c"]);
    assert_eq!(fs::read(out.join("a")).expect("a"), b"old");
    assert_eq!(scratch.names(""), ["out"]);
}

#[test]
fn names_stay_inside_the_folder() {
    let scratch = Scratch::new("names");
    for name in ["../x", "/x", "a/../../x", ""] {
        let refused = write_all(&scratch.0.join("out"), &[file(name, "x")], Existing::Refuse);
        assert!(matches!(refused, Err(WriteError::Name(_))), "{name}");
    }
    let twice = write_all(&scratch.0.join("out"), &[file("x", "1"), file("x", "2")], Existing::Refuse);
    assert!(matches!(twice, Err(WriteError::Name(_))));
    assert!(scratch.names("").is_empty());
}
