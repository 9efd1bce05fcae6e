//! Everything in a record, given away in forms that any program reads.

use rusqlite::types::ValueRef;
use serde_json::{Map, Value as Json, json};

use crate::chain::Entry;
use crate::digest::Digest;
use crate::error::StoreError;
use crate::read::Reader;
use crate::schema::STATE_TABLES;

/// A table of the state as texts; missing values are empty.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TableText {
    /// Name of the table.
    pub name: &'static str,
    /// Names of its columns.
    pub columns: Vec<String>,
    /// Its rows.
    pub rows: Vec<Vec<String>>,
}

/// An entry as one JSON object; its body as an object inside, and as the text that was digested.
#[must_use]
pub fn entry_json(entry: &Entry) -> Json {
    let body: Json = serde_json::from_str(&entry.body).unwrap_or(Json::Null);
    json!({
        "number": entry.number,
        "at_us": entry.at_us,
        "at": entry.at().to_string(),
        "person": entry.person,
        "kind": entry.kind,
        "subject": entry.subject,
        "write_key": entry.write_key,
        "part": entry.part,
        "parts": entry.parts,
        "corrects": entry.corrects,
        "reason": entry.reason,
        "says": body,
        "body": entry.body,
        "previous": entry.previous.to_string(),
        "hash": entry.hash.to_string(),
    })
}

/// The fields of an entry's body as one flat row: `pieces.0.diameter_mm`.
#[must_use]
pub fn flat(body: &Json) -> Map<String, Json> {
    fn walk(path: &str, value: &Json, flat: &mut Map<String, Json>) {
        let join = |name: &str| if path.is_empty() { name.to_owned() } else { format!("{path}.{name}") };
        match value {
            Json::Object(fields) => fields.iter().for_each(|(name, value)| walk(&join(name), value, flat)),
            Json::Array(items) => {
                for (at, item) in items.iter().enumerate() {
                    walk(&join(&at.to_string()), item, flat);
                }
            }
            plain => drop(flat.insert(path.to_owned(), plain.clone())),
        }
    }
    let mut row = Map::new();
    walk("", body, &mut row);
    row
}

impl Reader<'_> {
    /// All tables of the state.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn tables(&self) -> Result<Vec<TableText>, StoreError> {
        STATE_TABLES.into_iter().rev().map(|name| self.table_text(name)).collect()
    }

    fn table_text(&self, name: &'static str) -> Result<TableText, StoreError> {
        let mut statement = self.connection.prepare(&format!("SELECT * FROM {name} ORDER BY rowid"))?;
        let columns: Vec<String> = statement.column_names().map(str::to_owned).collect();
        let count = columns.len();
        let mut rows = statement.query([])?;
        let mut texts = Vec::new();
        while let Some(row) = rows.next()? {
            let cells = (0..count).map(|at| row.get_ref(at).map(text));
            texts.push(cells.collect::<Result<Vec<_>, _>>()?);
        }
        Ok(TableText { name, columns, rows: texts })
    }

    /// Digests of all blobs, in order.
    ///
    /// # Errors
    /// [`StoreError::Sql`].
    pub fn blob_digests(&self) -> Result<Vec<Digest>, StoreError> {
        let mut statement = self.connection.prepare("SELECT digest FROM blob ORDER BY digest")?;
        let rows = statement.query_map([], |row| Ok(Digest(row.get(0)?)))?;
        Ok(rows.collect::<Result<_, _>>()?)
    }
}

fn text(cell: ValueRef<'_>) -> String {
    match cell {
        ValueRef::Null => String::new(),
        ValueRef::Integer(number) => number.to_string(),
        ValueRef::Real(number) => number.to_string(),
        ValueRef::Text(text) => String::from_utf8_lossy(text).into_owned(),
        ValueRef::Blob(bytes) => bytes.iter().map(|byte| format!("{byte:02x}")).collect(),
    }
}
