//! Runs the built program.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Mutex, OnceLock};

use serde_json::Value as Json;

/// How a run ended.
#[derive(Debug)]
pub struct Ended {
    pub code: i32,
    pub out: String,
    pub err: String,
}

impl Ended {
    /// Standard output as the one JSON document that it must be.
    #[track_caller]
    pub fn document(&self) -> Json {
        match serde_json::from_str(&self.out) {
            Ok(document) => document,
            Err(error) => panic!("standard output is not one JSON document ({error}): {self:?}"),
        }
    }

    /// The `errors` of the document.
    #[track_caller]
    pub fn errors(&self) -> Vec<Json> {
        self.document()["errors"].as_array().expect("a list of errors").clone()
    }

    /// One word of each error.
    #[track_caller]
    pub fn error_words(&self, key: &str) -> Vec<String> {
        self.errors().iter().map(|error| error[key].as_str().unwrap_or_default().to_owned()).collect()
    }
}

fn command(arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_borewise"));
    // The shell that runs the tests must not decide how wide or colourful a table is.
    command.args(arguments).env("COLUMNS", "100").env("NO_COLOR", "1");
    command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::piped());
    command
}

/// Runs the program to its end.
#[track_caller]
pub fn borewise(arguments: &[&str]) -> Ended {
    finish(command(arguments))
}

/// Runs the program in a folder.
#[track_caller]
pub fn borewise_in(folder: &Path, arguments: &[&str]) -> Ended {
    let mut command = command(arguments);
    command.current_dir(folder);
    finish(command)
}

/// Runs the program with something on standard input.
#[track_caller]
pub fn borewise_fed(arguments: &[&str], input: &[u8]) -> Ended {
    let mut command = command(arguments);
    command.stdin(Stdio::piped());
    let mut child = command.spawn().unwrap();
    // A program that refuses its arguments does not read, and that is its right.
    let _ = child.stdin.take().unwrap().write_all(input);
    ended(child.wait_with_output().unwrap())
}

/// Runs the program with a reader that goes away at once.
#[track_caller]
pub fn borewise_unread(arguments: &[&str]) -> Ended {
    let mut child = command(arguments).spawn().unwrap();
    drop(child.stdout.take());
    ended(child.wait_with_output().unwrap())
}

#[track_caller]
fn finish(mut command: Command) -> Ended {
    ended(command.output().unwrap())
}

#[track_caller]
fn ended(output: std::process::Output) -> Ended {
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("UTF-8");
    let ended = Ended {
        code: output.status.code().expect("an exit code, no signal"),
        out: text(output.stdout),
        err: text(output.stderr),
    };
    assert!((0..=3).contains(&ended.code), "exit codes are 0 to 3: {ended:?}");
    assert!(!ended.err.contains("panicked") && !ended.err.contains("RUST_BACKTRACE"), "{ended:?}");
    ended
}

/// A new empty folder of this test run. What runs of another hour left is removed, so that plants do not pile up.
pub fn new_folder() -> PathBuf {
    static COUNT: AtomicU32 = AtomicU32::new(0);
    static SWEPT: OnceLock<()> = OnceLock::new();
    let place = Path::new(env!("CARGO_TARGET_TMPDIR"));
    SWEPT.get_or_init(|| sweep(place));
    let name = format!("cli-{}-{}", std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed));
    let folder = place.join(name);
    std::fs::create_dir_all(&folder).unwrap();
    folder
}

fn sweep(place: &Path) {
    for entry in std::fs::read_dir(place).into_iter().flatten().flatten() {
        let age = entry.metadata().and_then(|data| data.modified()).ok().and_then(|time| time.elapsed().ok());
        let ours = entry.file_name().to_string_lossy().starts_with("cli-");
        if ours && age.is_some_and(|age| age.as_secs() > 3600) {
            let _ = std::fs::remove_dir_all(entry.path());
        }
    }
}

/// A path as an argument.
pub fn shown(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// Every file below a folder, with `/` between folders, in order.
pub fn files_below(folder: &Path) -> Vec<String> {
    fn collect(root: &Path, folder: &Path, found: &mut Vec<String>) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                collect(root, &path, found);
            } else {
                found.push(shown(path.strip_prefix(root).unwrap()).replace('\\', "/"));
            }
        }
    }
    let mut found = Vec::new();
    collect(folder, folder, &mut found);
    found.sort();
    found
}

/// The repository's `data` folder.
pub fn data() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../data")
}

/// The demo plant, made once for all tests, and how its making ended.
pub fn plant() -> &'static (PathBuf, Ended) {
    static PLANT: OnceLock<(PathBuf, Ended)> = OnceLock::new();
    PLANT.get_or_init(|| {
        let folder = new_folder().join("plant");
        let ended = borewise(&["demo", "--no-open", "--data", shown(&folder)]);
        assert_eq!(ended.code, 0, "{ended:?}");
        (folder, ended)
    })
}

/// The visit file of a mould of the demo plant.
pub fn visit_of(mould: &str) -> PathBuf {
    let folder = plant().0.join(mould);
    let name = files_below(&folder).into_iter().find(|name| name.ends_with(".visit.toml"));
    folder.join(name.expect("a visit file"))
}

/// What `assess --json` finds on a mould of the demo plant, and the exit code; each mould is judged once for all tests.
pub fn findings_of(mould: &str) -> (Json, i32) {
    static JUDGED: Mutex<BTreeMap<String, (Json, i32)>> = Mutex::new(BTreeMap::new());
    let judge = || {
        let ended = borewise(&["assess", "--json", shown(&visit_of(mould))]);
        (ended.document(), ended.code)
    };
    JUDGED.lock().unwrap().entry(mould.to_owned()).or_insert_with(judge).clone()
}

/// The finding of one circuit.
#[track_caller]
pub fn circuit<'f>(findings: &'f Json, id: &str) -> &'f Json {
    let circuits = findings["circuits"].as_array().unwrap();
    circuits.iter().find(|circuit| circuit["id"] == id).unwrap_or_else(|| panic!("no circuit {id}"))
}

/// The value under a dotted path; list places count from 0.
pub fn at<'j>(document: &'j Json, path: &str) -> Option<&'j Json> {
    path.split('.').try_fold(document, |value, step| match value {
        Json::Array(items) => step.parse::<usize>().ok().and_then(|place| items.get(place)),
        value => value.get(step),
    })
}
