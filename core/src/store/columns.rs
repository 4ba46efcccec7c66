//! The SQL views of the kinds, made from their field tables: one column a field, read out of the entries' JSON. For people who open the store
//! with another program; this one reads entries typed.

use crate::entry::{Field, Kind, Shape};
use std::fmt::Write;

/// The SQL type of a field's column.
fn sql_type(field: &Field) -> &'static str {
    match field.shape {
        Shape::Number => "REAL",
        Shape::Integer | Shape::Flag => "INTEGER",
        _ => "TEXT",
    }
}

/// The columns of a kind, in the order of the declaration: (name, SQL type). `id` comes first.
#[must_use]
pub fn columns(kind: &Kind) -> Vec<(&str, &'static str)> {
    kind.fields.iter().map(|f| (f.name.as_str(), sql_type(f))).collect()
}

/// `CREATE VIEW` of every kind: the day's number, milliseconds of `at`, the fields, then whether the entry is void and what of it is unsettled.
#[must_use]
pub fn create_views(kinds: &[Kind]) -> String {
    let mut sql = String::new();
    for kind in kinds {
        let _ = writeln!(sql, "CREATE VIEW \"{}\" AS SELECT\n    day,\n    at_ms,", kind.name);
        for (name, _) in columns(kind) {
            let _ = writeln!(sql, "    json ->> '$.{name}' AS \"{name}\",");
        }
        let _ = writeln!(
            sql,
            "    void,\n    unsettled\nFROM entry WHERE kind = '{}' AND NOT opaque;",
            kind.name
        );
    }
    sql
}
