//! The entries of one kind as typed cells, streamed in the order of their ids: for tables of a million rows.

use super::{Store, StoreError, rows};
use crate::day::DayId;
use crate::entry::{Kind, Shape};
use serde_json::{Map, Value};

/// One value, borrowed from the entry it is of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cell<'a> {
    /// Absent.
    Null,
    /// A whole number, or 1 and 0 for yes and no.
    Integer(i64),
    /// A number.
    Number(f64),
    /// A text, a word or a time.
    Text(&'a str),
    /// A list or an object.
    Json(&'a Value),
}

/// One row.
#[derive(Debug)]
pub struct CellRow<'a> {
    kind: &'a Kind,
    json: Map<String, Value>,
}

impl CellRow<'_> {
    /// The value of the field at this place among the fields of the kind; absent beyond the last.
    #[must_use]
    pub fn cell(&self, field: usize) -> Cell<'_> {
        let Some(field) = self.kind.fields.get(field) else { return Cell::Null };
        match (self.json.get(&field.name), &field.shape) {
            (None | Some(Value::Null), _) => Cell::Null,
            (Some(Value::Bool(yes)), _) => Cell::Integer(i64::from(*yes)),
            (Some(Value::Number(n)), Shape::Integer) => n.as_i64().map_or(Cell::Null, Cell::Integer),
            (Some(Value::Number(n)), _) => n.as_f64().map_or(Cell::Null, Cell::Number),
            (Some(Value::String(text)), _) => Cell::Text(text),
            (Some(list), _) => Cell::Json(list),
        }
    }
}

impl Store {
    /// Hands every entry of a kind that a day counts, void ones left out, to `each`; stops at its first error.
    ///
    /// # Errors
    /// [`StoreError::NoDay`], SQLite's, and what `each` says.
    pub fn cells<E: From<StoreError>>(
        &self,
        day: DayId,
        kind: &Kind,
        mut each: impl FnMut(&CellRow<'_>) -> Result<(), E>,
    ) -> Result<(), E> {
        let n = rows::number(self.sql(), day)?;
        let sql =
            "SELECT json FROM entry WHERE day = ?1 AND kind = ?2 AND void IS NULL AND NOT opaque ORDER BY id";
        let mut statement = self.sql().prepare_cached(sql).map_err(StoreError::from)?;
        let mut found = statement.query((n, &kind.name)).map_err(StoreError::from)?;
        while let Some(row) = found.next().map_err(StoreError::from)? {
            let text = row.get_ref(0).map_err(StoreError::from)?.as_str().unwrap_or_default();
            if let Ok(Value::Object(json)) = serde_json::from_str(text) {
                each(&CellRow { kind, json })?;
            }
        }
        Ok(())
    }
}
