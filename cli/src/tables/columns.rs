//! The columns of each table, with what a description says of them: read off the field tables and the schemas of the rows, never listed again.

use firnbook_core::entry::{Kind, LabelClass, Shape};
use schemars::JsonSchema;
use schemars::generate::SchemaSettings;
use serde_json::{Map, Value, json};

/// Table of the days.
pub const DAYS: &str = "days";
/// Table of codes and names, only where a list of names was given.
pub const PEOPLE: &str = "people";
/// Table of struck-out entries, only in a full export.
pub const STRUCK_OUT: &str = "struck_out";
/// Table of entries that this version can't read, only in a full export.
pub const UNREADABLE: &str = "unreadable";
/// The column by which Parquet tables are parted into folders.
pub const DAY: &str = "day";
/// The column that a table of instants in UTC has besides them.
pub const UTC_OFFSET: &str = "utc_offset_min";

/// What a cell holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Holds {
    /// Text, a word or a label.
    Text,
    /// A list of labels.
    Labels,
    /// Lists and objects.
    Json,
    /// An instant.
    Time,
    /// A date.
    Date,
    /// A number.
    Number,
    /// A whole number.
    Integer,
    /// Yes or no.
    Flag,
}

/// What a cell may give away, which decides how it leaves.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Secret {
    /// Nothing.
    None,
    /// Free text, in which a name may stand.
    FreeText,
    /// A person's call sign or code.
    Person(&'static str),
    /// A label that people choose, which may be a name; of this class.
    Label(&'static str),
    /// A latitude or longitude.
    OnEarth,
    /// A position in a drill's grid.
    InGrid,
    /// The points of a track.
    Points,
}

/// One column.
#[derive(Clone, Debug)]
pub struct Column {
    /// Its name: the key in JSON, the header in CSV.
    pub name: String,
    /// What its cells hold.
    pub holds: Holds,
    /// What they may give away.
    pub secret: Secret,
    /// What the description says: name, text, unit, constraints, categories.
    pub described: Map<String, Value>,
}

impl Column {
    fn new(name: &str, holds: Holds, text: &str) -> Column {
        let described = [("name", name), ("description", text)];
        Column {
            name: name.to_owned(),
            holds,
            secret: secret_of_text(name),
            described: described.into_iter().map(|(k, v)| (k.to_owned(), json!(v))).collect(),
        }
    }

    fn constrained(mut self, constraints: Map<String, Value>) -> Column {
        if !constraints.is_empty() {
            self.described.insert("constraints".to_owned(), Value::Object(constraints));
        }
        self
    }
}

/// What texts of this name may give away, in entries and in the rows made from them.
fn secret_of_text(name: &str) -> Secret {
    match name {
        "note" | "remedy" | "fault" | "file_name" | "file_sha256" | "shows" => Secret::FreeText,
        "member" => Secret::Person("member"),
        "drill" | "like" => Secret::Label("drill"),
        "target" => Secret::Label("target"),
        "item" => Secret::Label("item"),
        "team" => Secret::Label("team"),
        "area" => Secret::Label("area"),
        "clock" | "of" => Secret::Label("clock"),
        "device" | "base" => Secret::Label("device"),
        "lat" | "lon" | "origin_lat" | "origin_lon" => Secret::OnEarth,
        "x_m" | "y_m" => Secret::InGrid,
        "points" => Secret::Points,
        _ => Secret::None,
    }
}

/// The columns of a kind of entry: its day, then its fields; with `rest`, what a newer version wrote besides.
#[must_use]
pub fn of_kind(kind: &Kind, rest: bool) -> Vec<Column> {
    let mut columns = vec![Column::new(DAY, Holds::Text, "Identity of the day")];
    for field in &kind.fields {
        let holds = match field.shape {
            Shape::Number => Holds::Number,
            Shape::Integer => Holds::Integer,
            Shape::Flag => Holds::Flag,
            Shape::Time => Holds::Time,
            Shape::Labels(_) => Holds::Labels,
            Shape::Json => Holds::Json,
            Shape::Text(_) | Shape::Label(_) | Shape::Choice(_) => Holds::Text,
        };
        let mut column = Column::new(&field.name, holds, &field.text);
        let mut constraints = Map::new();
        if field.required {
            constraints.insert("required".to_owned(), json!(true));
        }
        constraints.extend(field.min.map(|min| ("minimum".to_owned(), json!(min))));
        constraints.extend(field.max.map(|max| ("maximum".to_owned(), json!(max))));
        if let Shape::Choice(words) = &field.shape {
            let known: Vec<&str> = words.iter().map(|(word, _)| word.as_str()).collect();
            constraints.insert("enum".to_owned(), json!(known));
            let meanings: Vec<Value> =
                words.iter().map(|(word, text)| json!({ "value": word, "label": text })).collect();
            column.described.insert("categories".to_owned(), json!(meanings));
        }
        if let Some(unit) = field.unit {
            column.described.insert("unit".to_owned(), json!(unit.symbol()));
        }
        column.secret = match field.shape {
            Shape::Label(LabelClass::Person) | Shape::Labels(LabelClass::Person) => Secret::Person("person"),
            Shape::Label(class) | Shape::Labels(class) => Secret::Label(class.word()),
            Shape::Choice(_) => Secret::None,
            // What a common moment is called is chosen as freely as a label.
            Shape::Text(_) if field.name == "label" => Secret::Label("mark"),
            Shape::Text(_) if column.secret == Secret::None && field.name != "id" => Secret::FreeText,
            _ => column.secret,
        };
        columns.push(column.constrained(constraints));
        if field.name == "id" {
            columns.push(Column::new("kind", Holds::Text, "The kind of entry"));
        }
    }
    if rest {
        columns.push(Column::new("rest", Holds::Text, "Fields of a newer version, as a JSON object"));
    }
    columns
}

/// The column of the offset that goes with instants in UTC.
#[must_use]
pub fn utc_offset() -> Column {
    let mut column =
        Column::new(UTC_OFFSET, Holds::Integer, "Offset of `at` where it was written, east of UTC");
    column.described.insert("unit".to_owned(), json!("min"));
    column
}

/// The columns of rows that are structs.
#[must_use]
pub fn of_struct<T: JsonSchema>() -> Vec<Column> {
    let settings = SchemaSettings::draft2020_12().for_serialize().with(|s| s.inline_subschemas = true);
    let schema = settings.into_generator().into_root_schema_for::<T>().to_value();
    let properties = schema.get("properties").and_then(Value::as_object);
    let column = |(name, property): (&String, &Value)| {
        let text = property.get("description").and_then(Value::as_str).unwrap_or_default();
        let mut column = Column::new(name, holds(property), text);
        if let Some((_, unit)) =
            name.rsplit_once('_').filter(|(_, unit)| ["cm", "m", "s", "deg"].contains(unit))
        {
            column.described.insert("unit".to_owned(), json!(unit));
        }
        column
    };
    properties.into_iter().flatten().map(column).collect()
}

fn holds(property: &Value) -> Holds {
    let named = match property.get("type") {
        Some(Value::String(one)) => Some(one.as_str()),
        Some(Value::Array(several)) => several.iter().filter_map(Value::as_str).find(|t| *t != "null"),
        _ => None,
    };
    match (named, property.get("format").and_then(Value::as_str)) {
        (Some("string"), Some("date-time")) => Holds::Time,
        (Some("string"), Some("date")) => Holds::Date,
        (Some("number"), _) => Holds::Number,
        (Some("integer"), _) => Holds::Integer,
        (Some("boolean"), _) => Holds::Flag,
        _ => Holds::Text,
    }
}

/// The columns of the days.
#[must_use]
pub fn of_days() -> Vec<Column> {
    vec![
        Column::new(DAY, Holds::Text, "Identity of the day"),
        Column::new("date", Holds::Date, "The date"),
        Column::new("area", Holds::Text, "The area, as it is spelled"),
        Column::new("entries", Holds::Integer, "Entries held, struck-out and unreadable ones too"),
        Column::new("closed", Holds::Flag, "Someone closed the day"),
    ]
}

/// The columns of the people whose names were given.
#[must_use]
pub fn of_people() -> Vec<Column> {
    vec![
        Column::new(
            "code",
            Holds::Text,
            "The code that stands for this person's call sign in the other tables",
        ),
        Column::new("name", Holds::Text, "The name, from the local list"),
    ]
}

/// The columns of entries that are given whole: struck out, or not readable here.
#[must_use]
pub fn of_whole_entries() -> Vec<Column> {
    vec![
        Column::new(DAY, Holds::Text, "Identity of the day"),
        Column::new("id", Holds::Text, "ULID of the entry"),
        Column::new("void", Holds::Text, "Why it is struck out; empty if it is not"),
        Column::new("entry", Holds::Text, "The entry as a JSON object"),
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
        let of = |name: &str| columns.iter().find(|c| c.name == name).unwrap().holds;
        assert_eq!(
            [of("date"), of("t_strike_s"), of("targets"), of("started_at"), of("team")],
            [Holds::Date, Holds::Number, Holds::Integer, Holds::Time, Holds::Text]
        );
    }

    #[test]
    fn every_text_that_a_person_types_is_a_secret() {
        for kind in KINDS.iter() {
            for (field, column) in kind
                .fields
                .iter()
                .map(|f| (f, of_kind(kind, false).into_iter().find(|c| c.name == f.name).unwrap()))
            {
                let typed = matches!(field.shape, Shape::Text(_) | Shape::Label(_) | Shape::Labels(_));
                let hidden = column.secret != Secret::None;
                assert!(!typed || hidden || field.name == "id", "{} {}", kind.name, field.name);
            }
        }
    }
}
