//! The entries of one kind as typed cells, streamed in the order of their ids: no document, no JSON. For tables of a million rows.

use super::{Store, StoreError, rows};
use crate::day::DayId;
use crate::entry::Kind;
use rusqlite::types::ValueRef;

/// One value, borrowed from the row it stands in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cell<'a> {
    /// Absent.
    Null,
    /// A whole number, or 1 and 0 for yes and no.
    Integer(i64),
    /// A number.
    Number(f64),
    /// A text, a word, a time, or a list as JSON.
    Text(&'a str),
}

/// One row.
#[derive(Debug)]
pub struct CellRow<'a> {
    row: &'a rusqlite::Row<'a>,
}

impl CellRow<'_> {
    /// The value of the field at this place among the fields of the kind; absent beyond the last.
    #[must_use]
    pub fn cell(&self, field: usize) -> Cell<'_> {
        match self.row.get_ref(field) {
            Ok(ValueRef::Integer(n)) => Cell::Integer(n),
            Ok(ValueRef::Real(n)) => Cell::Number(n),
            Ok(text @ ValueRef::Text(_)) => text.as_str().map_or(Cell::Null, Cell::Text),
            Ok(ValueRef::Null | ValueRef::Blob(_)) | Err(_) => Cell::Null,
        }
    }
}

impl Store {
    /// Hands every entry of a kind that a day counts, struck-out ones left out, to `each`; stops at its first error.
    ///
    /// # Errors
    /// [`StoreError::NoDay`], SQLite's, and what `each` says.
    pub fn cells<E: From<StoreError>>(
        &self,
        day: DayId,
        kind: &Kind,
        mut each: impl FnMut(&CellRow<'_>) -> Result<(), E>,
    ) -> Result<(), E> {
        let fields: Vec<String> = kind.fields.iter().map(|f| format!("\"{}\"", f.name)).collect();
        let sql = format!(
            "SELECT {} FROM \"{}\" WHERE day = ?1 AND void IS NULL ORDER BY day, id",
            fields.join(", "),
            kind.name
        );
        let n = rows::number(self.sql(), day)?;
        let mut statement = self.sql().prepare_cached(&sql).map_err(StoreError::from)?;
        let mut found = statement.query([n]).map_err(StoreError::from)?;
        while let Some(row) = found.next().map_err(StoreError::from)? {
            each(&CellRow { row })?;
        }
        Ok(())
    }
}
