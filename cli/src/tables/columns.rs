//! The columns of each table, with what a description says of them: read off the field tables and the schemas of the rows, never listed again.

use firnbook_core::entry::{Kind, Shape};
use schemars::JsonSchema;
use schemars::generate::SchemaSettings;
use serde_json::{Value, json};

/// Table of the days.
pub const DAYS: &str = "days";
/// Table of struck-out entries, only in a full export.
pub const STRUCK_OUT: &str = "struck_out";
/// Table of entries that this version can't read, only in a full export.
pub const UNREADABLE: &str = "unreadable";

/// Fields that hold free text, in which a name may stand.
const FREE_TEXT: [&str; 4] = ["note", "remedy", "fault", "file_name"];

/// One column.
#[derive(Clone, Debug)]
pub struct Column {
    /// Its name: the key in JSON, the header in CSV.
    pub name: String,
    /// It holds free text.
    pub free_text: bool,
    /// It holds call signs.
    pub call_sign: bool,
    /// What the description says: name, type, text, unit, constraints.
    pub described: Value,
}

impl Column {
    fn plain(name: &str, of_type: &str, text: &str) -> Column {
        let described = json!({ "name": name, "type": of_type, "description": text });
        Column { name: name.to_owned(), free_text: false, call_sign: false, described }
    }
}

/// The columns of a kind of entry: its day, then its fields; with `rest`, what a newer version wrote besides.
#[must_use]
pub fn of_kind(kind: &Kind, rest: bool) -> Vec<Column> {
    use firnbook_core::entry::LabelClass::Person;
    let mut columns = vec![Column::plain("day", "string", "Identity of the day")];
    for field in &kind.fields {
        let of_type = match field.shape {
            Shape::Number => "number",
            Shape::Integer => "integer",
            Shape::Flag => "boolean",
            Shape::Time => "datetime",
            _ => "string",
        };
        let mut column = Column::plain(&field.name, of_type, &field.text);
        let mut constraints = serde_json::Map::new();
        if field.required {
            constraints.insert("required".to_owned(), json!(true));
        }
        constraints.extend(field.min.map(|min| ("minimum".to_owned(), json!(min))));
        constraints.extend(field.max.map(|max| ("maximum".to_owned(), json!(max))));
        if let Shape::Choice(words) = &field.shape {
            let words: Vec<&str> = words.iter().map(|(word, _)| word.as_str()).collect();
            constraints.insert("enum".to_owned(), json!(words));
        }
        if !constraints.is_empty() {
            column.described["constraints"] = Value::Object(constraints);
        }
        if let Some(unit) = field.unit {
            column.described["unit"] = json!(unit.symbol());
        }
        column.free_text = FREE_TEXT.contains(&field.name.as_str());
        column.call_sign = matches!(field.shape, Shape::Label(Person) | Shape::Labels(Person));
        columns.push(column);
        if field.name == "id" {
            columns.push(Column::plain("kind", "string", "The kind of entry"));
        }
    }
    if rest {
        columns.push(Column::plain("rest", "string", "Fields of a newer version, as a JSON object"));
    }
    columns
}

/// The columns of rows that are structs.
#[must_use]
pub fn of_struct<T: JsonSchema>() -> Vec<Column> {
    let settings = SchemaSettings::draft2020_12().for_serialize().with(|s| s.inline_subschemas = true);
    let schema = settings.into_generator().into_root_schema_for::<T>().to_value();
    let properties = schema.get("properties").and_then(Value::as_object);
    let column = |(name, property): (&String, &Value)| {
        let text = property.get("description").and_then(Value::as_str).unwrap_or_default();
        Column::plain(name, type_of(property), text)
    };
    properties.into_iter().flatten().map(column).collect()
}

fn type_of(property: &Value) -> &'static str {
    let named = match property.get("type") {
        Some(Value::String(one)) => Some(one.as_str()),
        Some(Value::Array(several)) => several.iter().filter_map(Value::as_str).find(|t| *t != "null"),
        _ => None,
    };
    match (named, property.get("format").and_then(Value::as_str)) {
        (Some("string"), Some("date-time")) => "datetime",
        (Some("string"), Some("date")) => "date",
        (Some("number"), _) => "number",
        (Some("integer"), _) => "integer",
        (Some("boolean"), _) => "boolean",
        _ => "string",
    }
}

/// The columns of the days.
#[must_use]
pub fn of_days() -> Vec<Column> {
    vec![
        Column::plain("day", "string", "Identity of the day"),
        Column::plain("date", "date", "The date"),
        Column::plain("area", "string", "The area, as it is spelled"),
        Column::plain("entries", "integer", "Entries held, struck-out and unreadable ones too"),
        Column::plain("closed", "boolean", "Someone closed the day"),
    ]
}

/// The columns of entries that are given whole: struck out, or not readable here.
#[must_use]
pub fn of_whole_entries() -> Vec<Column> {
    vec![
        Column::plain("day", "string", "Identity of the day"),
        Column::plain("id", "string", "ULID of the entry"),
        Column::plain("void", "string", "Why it is struck out; empty if it is not"),
        Column::plain("entry", "string", "The entry as a JSON object"),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use firnbook_core::entry::KINDS;
    use firnbook_core::insight::tables::RunRow;

    #[test]
    fn every_field_is_a_column_with_its_unit() {
        for kind in KINDS.iter() {
            let columns = of_kind(kind, false);
            assert_eq!(columns.len(), kind.fields.len() + 2, "{}", kind.name);
        }
        let strike = of_kind(firnbook_core::entry::kind("strike").unwrap(), false);
        let depth = strike.iter().find(|c| c.name == "depth_cm").unwrap();
        assert_eq!(depth.described["unit"], json!("cm"));
        assert_eq!(depth.described["constraints"]["maximum"], json!(1000.0));
    }

    #[test]
    fn rows_of_structs_have_their_types() {
        let columns = of_struct::<RunRow>();
        let of = |name: &str| columns.iter().find(|c| c.name == name).unwrap().described["type"].clone();
        assert_eq!(
            [of("date"), of("t_strike_s"), of("targets"), of("started_at"), of("team")],
            ["date", "number", "integer", "datetime", "string"].map(Value::from)
        );
    }
}
