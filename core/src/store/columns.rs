//! The SQL tables of the kinds, made from their field tables: one column a field.

use crate::entry::{Field, Kind, Shape};
use rusqlite::types::Value as Sql;
use serde_json::{Map, Value};
use std::fmt::Write;

/// The SQL type of a field's column.
fn sql_type(field: &Field) -> &'static str {
    match field.shape {
        Shape::Number => "REAL",
        Shape::Integer | Shape::Flag => "INTEGER",
        _ => "TEXT",
    }
}

/// The columns of a kind's table, in the order of the declaration: (name, SQL type). `id` comes first.
#[must_use]
pub fn columns(kind: &Kind) -> Vec<(&str, &'static str)> {
    kind.fields.iter().map(|f| (f.name.as_str(), sql_type(f))).collect()
}

/// `CREATE TABLE` of every kind.
#[must_use]
pub fn create_tables(kinds: &[Kind]) -> String {
    let mut sql = String::new();
    for kind in kinds {
        let _ =
            write!(sql, "CREATE TABLE \"{}\" (\n    day INTEGER NOT NULL,\n    at_ms INTEGER,\n", kind.name);
        for (name, sql_type) in columns(kind) {
            let _ = writeln!(sql, "    \"{name}\" {sql_type},");
        }
        sql.push_str(
            "    void TEXT,\n    unsettled TEXT NOT NULL,\n    PRIMARY KEY (day, id)\n) WITHOUT ROWID;\n",
        );
    }
    sql
}

/// `INSERT` of one row of a kind: day, milliseconds of `at`, the fields, void, unsettled.
pub(super) fn insert(kind: &Kind) -> String {
    let marks = vec!["?"; kind.fields.len() + 4].join(", ");
    format!("INSERT INTO \"{}\" VALUES ({marks})", kind.name)
}

/// The value of a field's column.
pub(super) fn value(field: &Field, json: &Map<String, Value>) -> Sql {
    let Some(value) = json.get(&field.name).filter(|v| !v.is_null()) else { return Sql::Null };
    match (&field.shape, value) {
        (Shape::Number, Value::Number(n)) => n.as_f64().map_or(Sql::Null, Sql::Real),
        (Shape::Integer, Value::Number(n)) => n.as_i64().map_or(Sql::Null, Sql::Integer),
        (Shape::Flag, Value::Bool(b)) => Sql::Integer(i64::from(*b)),
        (_, Value::String(text)) => Sql::Text(text.clone()),
        (_, other) => Sql::Text(other.to_string()),
    }
}
