//! Lists for pages: what the state knows, without opening the history.

use rusqlite::Row;

use super::Reader;
use crate::digest::Digest;
use crate::error::StoreError;
use crate::project::role_of;
use crate::shapes::{Person, Role};

/// A mould in a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct MouldRow {
    /// Id.
    pub id: String,
    /// Name.
    pub name: String,
    /// Whose tool it is.
    pub owner: Option<String>,
    /// Circuits in use.
    pub circuits: u32,
    /// Visits.
    pub visits: u32,
    /// When the last one began.
    pub last_visit: Option<jiff::Timestamp>,
}

/// A circuit in a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CircuitRow {
    /// Id.
    pub id: String,
    /// Half.
    pub half: String,
    /// What it cools.
    pub serves: Option<String>,
}

/// A visit in a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VisitRow {
    /// Mould.
    pub mould: String,
    /// Name.
    pub id: String,
    /// When it began.
    pub started: jiff::Timestamp,
    /// Who did it.
    pub by: String,
    /// Rig.
    pub rig: Option<String>,
    /// How it ended, if it did.
    pub outcome: Option<String>,
    /// Readings, treatments and notes.
    pub readings: u32,
}

/// What was found in a visit, in a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FindingRow {
    /// Its first entry.
    pub root: u64,
    /// Mould.
    pub mould: String,
    /// Visit.
    pub visit: String,
    /// Version of the judgement.
    pub method: String,
    /// Last entry that was known to it.
    pub known_to: u64,
    /// Digest over what it rests on.
    pub inputs: Option<Digest>,
    /// Digest of the document.
    pub document: Option<Digest>,
    /// `yes`, `no`, `cannot-tell`.
    pub fit_for_press: String,
    /// The most important sentence.
    pub headline: String,
}

/// What was found of a circuit in one visit, for its history.
#[derive(Clone, Debug, PartialEq)]
pub struct CircuitFindingRow {
    /// First entry of the finding.
    pub finding: u64,
    /// Visit.
    pub visit: String,
    /// When it began.
    pub started: jiff::Timestamp,
    /// Word of the finding's document.
    pub tightness: String,
    /// Word of the finding's document.
    pub passage: String,
    /// Value, low and high end.
    pub flow_factor_m3_h: Option<(f64, f64, f64)>,
    /// Value, low and high end.
    pub against_baseline_percent: Option<(f64, f64, f64)>,
    /// Word of the finding's document.
    pub next_step: String,
}

/// An instrument in a list.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct InstrumentRow {
    /// Id.
    pub id: String,
    /// Rig.
    pub rig: Option<String>,
    /// What it measures.
    pub measures: String,
    /// Date until which the newest calibration holds.
    pub calibrated_until: Option<String>,
}

fn time(row: &Row<'_>, column: &str) -> rusqlite::Result<Option<jiff::Timestamp>> {
    let us: Option<i64> = row.get(column)?;
    Ok(us.and_then(|us| jiff::Timestamp::from_microsecond(us).ok()))
}

impl Reader<'_> {
    fn list<T>(
        &self,
        sql: &str,
        values: impl rusqlite::Params,
        row: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, StoreError> {
        let mut statement = self.connection.prepare_cached(sql)?;
        Ok(statement.query_map(values, row)?.collect::<Result<_, _>>()?)
    }

    /// All moulds, by id.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn moulds(&self) -> Result<Vec<MouldRow>, StoreError> {
        let sql = "SELECT id, name, owner, \
                   (SELECT count(*) FROM circuit WHERE mould = mould.id AND withdrawn IS NULL) AS circuits, \
                   (SELECT count(*) FROM visit WHERE mould = mould.id) AS visits, \
                   (SELECT max(started_us) FROM visit WHERE mould = mould.id) AS last_us FROM mould ORDER BY id";
        self.list(sql, [], |row| {
            Ok(MouldRow {
                id: row.get("id")?,
                name: row.get("name")?,
                owner: row.get("owner")?,
                circuits: row.get("circuits")?,
                visits: row.get("visits")?,
                last_visit: time(row, "last_us")?,
            })
        })
    }

    /// The circuits of a mould, in its order.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn circuits(&self, mould: &str) -> Result<Vec<CircuitRow>, StoreError> {
        let sql =
            "SELECT id, half, serves FROM circuit WHERE mould = ?1 AND withdrawn IS NULL ORDER BY place, id";
        self.list(sql, [mould], |row| {
            Ok(CircuitRow { id: row.get("id")?, half: row.get("half")?, serves: row.get("serves")? })
        })
    }

    /// Names of the halves of a mould.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn halves(&self, mould: &str) -> Result<Vec<String>, StoreError> {
        self.list("SELECT id FROM half WHERE mould = ?1 ORDER BY id", [mould], |row| row.get(0))
    }

    /// The visits of a mould, or of all, the newest first.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn visits(&self, mould: Option<&str>) -> Result<Vec<VisitRow>, StoreError> {
        let sql = "SELECT mould, id, started_us, by_whom, rig, outcome, (SELECT count(*) FROM reading \
                   WHERE mould = visit.mould AND visit = visit.id AND withdrawn IS NULL) AS readings \
                   FROM visit WHERE ?1 IS NULL OR mould = ?1 ORDER BY started_us DESC, mould, id";
        self.list(sql, [mould], |row| {
            Ok(VisitRow {
                mould: row.get("mould")?,
                id: row.get("id")?,
                started: time(row, "started_us")?.unwrap_or_default(),
                by: row.get("by_whom")?,
                rig: row.get("rig")?,
                outcome: row.get("outcome")?,
                readings: row.get("readings")?,
            })
        })
    }

    /// What was found in the visits of a mould, the newest first.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn findings(&self, mould: &str) -> Result<Vec<FindingRow>, StoreError> {
        let sql = "SELECT * FROM finding WHERE mould = ?1 AND withdrawn IS NULL ORDER BY root DESC";
        self.finding_rows(sql, [mould])
    }

    /// The newest finding of every mould that has one, by mould.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn newest_findings(&self) -> Result<Vec<FindingRow>, StoreError> {
        let sql = "SELECT * FROM finding AS one WHERE root = (SELECT max(root) FROM finding \
                   WHERE mould = one.mould AND withdrawn IS NULL) ORDER BY mould";
        self.finding_rows(sql, [])
    }

    /// What was found of a circuit, visit by visit, the oldest first; of a visit that was judged again, the newest.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn circuit_findings(&self, mould: &str, circuit: &str) -> Result<Vec<CircuitFindingRow>, StoreError> {
        let sql = "SELECT circuit_finding.*, finding.visit, visit.started_us FROM circuit_finding \
                   JOIN finding ON finding.root = circuit_finding.finding \
                   JOIN visit ON visit.mould = finding.mould AND visit.id = finding.visit \
                   WHERE circuit_finding.mould = ?1 AND circuit_finding.circuit = ?2 AND finding.root = \
                   (SELECT max(root) FROM finding AS other WHERE other.mould = finding.mould \
                   AND other.visit = finding.visit AND other.withdrawn IS NULL) \
                   ORDER BY visit.started_us, finding.root";
        let interval = |row: &Row<'_>, value: &str, low: &str, high: &str| {
            let ends: (Option<f64>, Option<f64>, Option<f64>) =
                (row.get(value)?, row.get(low)?, row.get(high)?);
            Ok::<_, rusqlite::Error>(match ends {
                (Some(value), Some(low), Some(high)) => Some((value, low, high)),
                _ => None,
            })
        };
        self.list(sql, [mould, circuit], |row| {
            Ok(CircuitFindingRow {
                finding: row.get("finding")?,
                visit: row.get("visit")?,
                started: time(row, "started_us")?.unwrap_or_default(),
                tightness: row.get("tightness")?,
                passage: row.get("passage")?,
                flow_factor_m3_h: interval(
                    row,
                    "flow_factor_m3_h",
                    "flow_factor_low_m3_h",
                    "flow_factor_high_m3_h",
                )?,
                against_baseline_percent: interval(
                    row,
                    "against_baseline_percent",
                    "against_baseline_low_percent",
                    "against_baseline_high_percent",
                )?,
                next_step: row.get("next_step")?,
            })
        })
    }

    fn finding_rows(&self, sql: &str, values: impl rusqlite::Params) -> Result<Vec<FindingRow>, StoreError> {
        let digest = |row: &Row<'_>, column: &str| {
            Ok::<_, rusqlite::Error>(Digest::from_hex(&row.get::<_, String>(column)?))
        };
        self.list(sql, values, |row| {
            Ok(FindingRow {
                root: row.get("root")?,
                mould: row.get("mould")?,
                visit: row.get("visit")?,
                method: row.get("method")?,
                known_to: row.get("known_to")?,
                inputs: digest(row, "inputs")?,
                document: digest(row, "document")?,
                fit_for_press: row.get("fit_for_press")?,
                headline: row.get("headline")?,
            })
        })
    }

    /// All people, by short name.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn people(&self) -> Result<Vec<Person>, StoreError> {
        self.list("SELECT * FROM person ORDER BY id", [], |row| {
            let role: String = row.get("role")?;
            Ok(Person {
                id: row.get("id")?,
                name: row.get("name")?,
                role: role_of(&role).unwrap_or(Role::Viewer),
                active: row.get("active")?,
            })
        })
    }

    /// Names of all rigs.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn rigs(&self) -> Result<Vec<String>, StoreError> {
        self.list("SELECT id FROM rig ORDER BY id", [], |row| row.get(0))
    }

    /// All instruments, with the date until which their calibration holds.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn instruments(&self) -> Result<Vec<InstrumentRow>, StoreError> {
        let sql = "SELECT id, rig, measures, (SELECT max(until) FROM calibration \
                   WHERE instrument = instrument.id AND withdrawn IS NULL) AS until FROM instrument ORDER BY id";
        self.list(sql, [], |row| {
            Ok(InstrumentRow {
                id: row.get("id")?,
                rig: row.get("rig")?,
                measures: row.get("measures")?,
                calibrated_until: row.get("until")?,
            })
        })
    }
}
