//! Measures of the record: many kills, and a record as large as a plant's of many years.

use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};
use std::time::Instant;

use exchange::write::trace_csv;
use jiff::Timestamp;
use link::{Invention, random_plan, simulate};
use store::shapes::{Person, Role};
use store::{AsOf, Fact, Reader, Store, StoreError, Write};

/// Kills where nobody says how many.
const KILLS: &str = "500";

/// `cargo xtask kills [N]`: the test of `store` that kills a writing program, more often than every day.
pub fn kills(root: &Path, count: Option<&str>) -> ExitCode {
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let arguments = ["test", "--quiet", "-p", "store", "--test", "kills", "--", "--kills"];
    let status = Command::new(cargo).args(arguments).arg(count.unwrap_or(KILLS)).current_dir(root).status();
    if status.is_ok_and(|status| status.success()) { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}

/// `cargo xtask record-load [MOULDS [VISITS]]`: fills a record with simulated visits and measures it.
pub fn load(words: &[String]) -> ExitCode {
    let number =
        |at: usize, ordinary: u64| words.get(at).and_then(|word| word.parse().ok()).unwrap_or(ordinary);
    let (moulds, visits) = (number(0, 100), number(1, 2));
    let folder = std::env::temp_dir().join(format!("borewise-record-load-{}", std::process::id()));
    let measured = fill(&folder.join("record.sqlite"), moulds, visits);
    let cleared = std::fs::remove_dir_all(&folder);
    match (measured, cleared) {
        (Ok(lines), Ok(())) => {
            println!("{}", lines.join("\n"));
            ExitCode::SUCCESS
        }
        (Err(error), _) => {
            eprintln!("record-load: {error}");
            ExitCode::FAILURE
        }
        (_, Err(error)) => {
            eprintln!("record-load: cannot remove {}: {error}", folder.display());
            ExitCode::FAILURE
        }
    }
}

/// What was written, and how long it took.
#[derive(Default)]
struct Tally {
    circuits: usize,
    readings: usize,
    traces: usize,
    csv_bytes: usize,
    packed_bytes: usize,
    writing_s: Vec<f64>,
}

fn fill(record: &Path, moulds: u64, visits: u64) -> Result<Vec<String>, StoreError> {
    let store = Store::open_or_create(record)?;
    let mut write = Write::new("people", Timestamp::UNIX_EPOCH, "kt");
    let (id, name) = ("kt".to_owned(), "K. Tester".to_owned());
    write.say(Fact::Person(Person { id, name, role: Role::Lead, active: true }));
    store.write(&write)?;
    let mut tally = Tally::default();
    for number in 0..moulds {
        let plan = random_plan(number, &Invention::default());
        for visit in 0..visits {
            let Ok(mut played) = simulate(&plan, number * 1000 + visit) else { continue };
            played.mould.id.0 = format!("L-{number:05}");
            played.visit.mould = played.mould.id.clone();
            played.visit.id = format!("V{visit}");
            if visit == 0 {
                tally.circuits += played.mould.circuits.len();
            }
            take_in(&store, &played.mould, &played.visit, visit == 0, &mut tally)?;
        }
    }
    report(&store, record, &tally)
}

fn take_in(
    store: &Store,
    mould: &bench::mould::Mould,
    visit: &bench::visit::Visit,
    first: bool,
    tally: &mut Tally,
) -> Result<(), StoreError> {
    tally.readings += visit.entries.len();
    for entry in &visit.entries {
        let mut blobs = Vec::new();
        let card = store::shapes::ReadingCard::of("m", "v", 0, entry, &mut blobs);
        tally.traces += card.traces().len();
        for blob in &blobs {
            tally.packed_bytes += blob.bytes().len();
            let trace = store::trace_pack::unpack(blob.bytes());
            tally.csv_bytes += trace.map_or(0, |trace| trace_csv(&trace).len());
        }
    }
    let began = Instant::now();
    let write = store.read(|reader| {
        let mut taken = if first { reader.take_in_mould(mould)? } else { Default::default() };
        taken.and(reader.take_in_visit(visit)?);
        taken.write(reader, Timestamp::UNIX_EPOCH, "kt", None)
    })?;
    store.write(&write)?;
    tally.writing_s.push(began.elapsed().as_secs_f64());
    Ok(())
}

/// Milliseconds of a piece of work.
fn timed<T>(work: impl FnOnce() -> Result<T, StoreError>) -> Result<(T, f64), StoreError> {
    let began = Instant::now();
    let done = work()?;
    Ok((done, began.elapsed().as_secs_f64() * 1e3))
}

#[expect(clippy::cast_precision_loss, reason = "shown with three digits")]
fn per(bytes: u64, count: usize) -> f64 {
    bytes as f64 / count.max(1) as f64
}

fn report(store: &Store, record: &Path, tally: &Tally) -> Result<Vec<String>, StoreError> {
    let mut seconds = tally.writing_s.clone();
    seconds.sort_by(f64::total_cmp);
    let at = |share: usize| seconds.get((seconds.len() * share / 100).min(seconds.len() - 1)).copied();
    let copy: PathBuf = record.with_file_name("copy.sqlite");
    let (copied, backup_ms) = timed(|| store::copy::backup(record, &copy))?;
    let (seen, audit_ms) = timed(|| store::audit::audit(record, &[]))?;
    let ((), rebuild_ms) = timed(|| store.rebuild())?;
    let ask = |name: &str, work: &dyn Fn(&Reader<'_>) -> Result<usize, StoreError>| {
        // Once to warm up, then as a page would find it.
        store.read(|reader| work(reader))?;
        let (rows, ms) = timed(|| store.read(|reader| work(reader)))?;
        Ok::<String, StoreError>(format!("{name}: {rows} rows in {ms:.1} ms"))
    };
    let last = store.read(|reader| Ok(reader.moulds()?.pop().map(|row| row.id).unwrap_or_default()))?;
    let size = copied.size_bytes;
    Ok(vec![
        format!(
            "{} moulds, {} circuits, {} visits, {} readings with {} traces, {} entries; whole: {}",
            store.read(|reader| Ok(reader.moulds()?.len()))?,
            tally.circuits,
            seconds.len(),
            tally.readings,
            tally.traces,
            seen.entries,
            seen.first_break.is_none()
        ),
        format!(
            "file {:.1} MB: {:.0} bytes a reading, everything counted; a trace is {:.0} bytes packed (before \
             compression) and {:.0} bytes as CSV",
            per(size, 1_000_000),
            per(size, tally.readings),
            per(tally.packed_bytes as u64, tally.traces),
            per(tally.csv_bytes as u64, tally.traces)
        ),
        format!(
            "a visit is compared and written in {:.1} ms (median), {:.1} ms (99 %)",
            at(50).unwrap_or_default() * 1e3,
            at(99).unwrap_or_default() * 1e3
        ),
        format!(
            "backup with audit {backup_ms:.0} ms, audit {audit_ms:.0} ms, rebuild of the state {rebuild_ms:.0} ms"
        ),
        ask("list of moulds", &|reader| Ok(reader.moulds()?.len()))?,
        ask("list of all visits", &|reader| Ok(reader.visits(None)?.len()))?,
        ask("a mould with its circuits", &|reader| Ok(reader.mould(&last, AsOf::Now)?.circuits.len()))?,
        ask("a visit with its traces", &|reader| Ok(reader.visit(&last, "V0", AsOf::Now)?.entries.len()))?,
    ])
}
