//! What a visit on record shows, judged from the record alone, and kept with the digest of what it rests on.

use std::collections::BTreeMap;

use bench::finding::{CircuitFinding, Findings};
use bench::judge::Memory;
use bench::limits::Tables;
use bench::mould::Mould;
use bench::visit::Visit;
use calc::estimate::Estimate;
use exchange::earlier::{read_findings, take_up};
use exchange::findings_json::{self as words, Origin, document};
use exchange::tables::read_tables;
use store::shapes::{CircuitFindingCard, FindingCard};
use store::{AsOf, Blob, Fact, Reader, StoreError, Write};

use crate::assess::PROGRAM;
use crate::output::Failure;
use crate::tables;

/// Judges a visit as it stands on record; nothing if the same was judged already.
///
/// # Errors
/// What the record says; tables of the plant that cannot be read.
pub fn write(
    reader: &Reader<'_>,
    mould: &str,
    visit: &str,
    person: &str,
) -> Result<Option<(Write, String)>, Stop> {
    let findings = judged(reader, mould, visit, AsOf::Now)?;
    let write = keep(reader, &findings, jiff::Timestamp::now(), person)?;
    Ok(write.map(|write| (write, sentence(&findings))))
}

/// What a visit shows, from the record as it stood.
///
/// # Errors
/// What the record says; tables of the plant that cannot be read.
pub fn judged(reader: &Reader<'_>, mould: &str, visit: &str, as_of: AsOf) -> Result<Findings, Stop> {
    judged_again(reader, mould, visit, as_of, &Memory::default())
}

/// The same, quicker where the visit was judged before with this memory.
///
/// # Errors
/// As [`judged`].
pub fn judged_again(
    reader: &Reader<'_>,
    mould: &str,
    visit: &str,
    as_of: AsOf,
    memory: &Memory,
) -> Result<Findings, Stop> {
    let (tool, stay, tables) = material(reader, mould, visit, as_of)?;
    let overrides = reader.overrides(mould, visit, as_of)?;
    Ok(bench::judge::assess_again(&tool, &stay, &tables, &overrides, memory))
}

/// What a visit showed of the mould as it came in; none if nothing was opened, repaired or descaled.
///
/// # Errors
/// As [`judged`].
#[cfg(feature = "pdf")]
pub fn as_received(
    reader: &Reader<'_>,
    mould: &str,
    visit: &str,
    as_of: AsOf,
) -> Result<Option<Findings>, Stop> {
    let (tool, stay, tables) = material(reader, mould, visit, as_of)?;
    Ok(bench::account::as_received(&stay).map(|stay| bench::judge::assess(&tool, &stay, &tables)))
}

fn material(
    reader: &Reader<'_>,
    mould: &str,
    visit: &str,
    as_of: AsOf,
) -> Result<(Mould, Visit, Tables), Stop> {
    let tables = plant_tables(reader, as_of)?;
    let mut tool = reader.mould(mould, as_of)?;
    let stay = reader.visit(mould, visit, as_of)?;
    take_up_past(reader, &mut tool, &stay, as_of)?;
    Ok((tool, stay, tables))
}

/// The write that keeps findings made from the record as it stands; nothing if they are on record.
///
/// # Errors
/// What the record says.
pub fn keep(
    reader: &Reader<'_>,
    findings: &Findings,
    at: jiff::Timestamp,
    person: &str,
) -> Result<Option<Write>, StoreError> {
    let (mould, visit) = (findings.mould.0.as_str(), findings.visit.as_str());
    let known_to = reader.head()?.number;
    let inputs = reader.inputs_of(mould, visit, AsOf::Now)?;
    let same = reader
        .findings(mould)?
        .iter()
        .any(|row| row.visit == visit && row.method == findings.method && row.inputs == Some(inputs));
    if same {
        return Ok(None);
    }
    let digest = inputs.to_string();
    let origin = Origin { program: PROGRAM, digest: &digest, inputs: &[] };
    let blob = Blob::new(format!("{:#}\n", document(findings, origin)).into_bytes());
    let card = FindingCard {
        mould: mould.to_owned(),
        visit: visit.to_owned(),
        method: findings.method.to_owned(),
        program: PROGRAM.to_owned(),
        known_to,
        inputs,
        document: blob.digest(),
        fit_for_press: words::fitness(findings.fit_for_press).to_owned(),
        headline: findings.headline.clone(),
        circuits: findings.circuits.iter().map(circuit).collect(),
    };
    let key = format!("finding-{}-{inputs}", findings.method);
    let mut write = Write::new(key, at, person);
    write.say(Fact::Finding(card)).bring([blob]);
    Ok(Some(write))
}

/// Why nothing could be judged.
pub enum Stop {
    /// The record.
    Store(StoreError),
    /// The plant's tables, or findings of earlier visits, cannot be read.
    Tables(Failure),
}

impl From<StoreError> for Stop {
    fn from(error: StoreError) -> Self {
        Self::Store(error)
    }
}

/// Adds what earlier visits found to the past of the mould's circuits.
fn take_up_past(reader: &Reader<'_>, mould: &mut Mould, visit: &Visit, as_of: AsOf) -> Result<(), Stop> {
    let mut documents = Vec::new();
    for card in reader.earlier_findings(&mould.id.0, &visit.id, as_of)? {
        let name = format!("findings of visit {}", card.visit);
        let read = read_findings(&name, &reader.blob(card.document)?);
        documents.push(read.map_err(|faults| Stop::Tables(Failure::files(&faults)))?);
    }
    take_up(mould, visit, &documents).map_err(|faults| Stop::Tables(Failure::files(&faults)))?;
    Ok(())
}

fn sentence(findings: &Findings) -> String {
    format!("{}: {}", findings.headline, findings.because.join("; "))
}

/// The plant's own tables, and the shipped one where it has none.
fn plant_tables(reader: &Reader<'_>, as_of: AsOf) -> Result<Tables, Stop> {
    let shipped = tables::files();
    let mut source = BTreeMap::new();
    for (name, file) in [("limits", tables::LIMITS), ("materials", tables::MATERIALS)] {
        let text = reader.table(name, as_of)?.map(String::into_bytes);
        source.insert(file.to_owned(), text.or_else(|| shipped.get(file).cloned()).unwrap_or_default());
    }
    read_tables(&source, tables::LIMITS, tables::MATERIALS)
        .map_err(|faults| Stop::Tables(Failure::files(&faults)))
}

fn circuit(found: &CircuitFinding) -> CircuitFindingCard {
    let interval = |estimate: Option<Estimate>| {
        estimate
            .filter(|known| [known.value, known.low, known.high].iter().all(|number| number.is_finite()))
            .map(|known| (known.value, known.low, known.high))
    };
    CircuitFindingCard {
        circuit: found.id.0.clone(),
        tightness: words::tightness(found.tightness).to_owned(),
        passage: words::passage(found.passage).to_owned(),
        flow_factor_m3_h: interval(found.flow_factor_m3_h),
        against_baseline_percent: interval(found.against_baseline_percent),
        next_step: words::next_step(found.next_step).to_owned(),
        reason: found.reason.clone(),
    }
}
