//! The field table: what is known of a kind and its fields at run time, read off the JSON Schema of the one declaration.
//!
//! Whoever needs columns, flags, headers or a dictionary loops over a [`Kind`]; nobody lists fields again. The schemas are made from the
//! declarations once, at the desk, and stand in `schemas/kinds.json`: a phone carries them and not what makes them.

use super::form::TextForm;
use super::label::LabelClass;
use super::{Common, LABELS_MAX};
use crate::units::Unit;
use schemars::JsonSchema;
use schemars::generate::SchemaSettings;
use serde_json::{Map, Value, json};

/// A kind of entry and all its fields, the common ones first.
#[derive(Clone, Debug, PartialEq)]
pub struct Kind {
    /// The word in the field `kind`.
    pub name: String,
    /// What such an entry says.
    pub text: String,
    /// The common fields, then this kind's own, in the order of the declaration.
    pub fields: Vec<Field>,
    schema: Map<String, Value>,
}

/// One field of a kind.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    /// The key in JSON, the column and the CSV header.
    pub name: String,
    /// What it says.
    pub text: String,
    /// What values it takes.
    pub shape: Shape,
    /// The unit its number is kept in.
    pub unit: Option<Unit>,
    /// Smallest value allowed.
    pub min: Option<f64>,
    /// Largest value allowed.
    pub max: Option<f64>,
    /// An entry without it is refused.
    pub required: bool,
    /// Every kind has it.
    pub common: bool,
}

/// What values a field takes.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// A text of this form.
    Text(TextForm),
    /// A label that names something of the day.
    Label(LabelClass),
    /// Several such labels.
    Labels(LabelClass),
    /// An instant.
    Time,
    /// A number.
    Number,
    /// A whole number.
    Integer,
    /// Yes or no.
    Flag,
    /// One of these words, each with its meaning.
    Choice(Vec<(String, String)>),
    /// Anything else, as JSON.
    Json,
}

impl Field {
    /// The range in words, for messages and help: `0 to 1000 cm`, `1 to 9 digits`. `None` where any value goes.
    #[must_use]
    pub fn range_text(&self) -> Option<String> {
        if let Shape::Text(form) = &self.shape {
            return form.text().map(str::to_owned);
        }
        let unit = self.unit.map(|u| format!(" {}", u.symbol())).unwrap_or_default();
        match (self.min, self.max) {
            (Some(min), Some(max)) => Some(format!("{min} to {max}{unit}")),
            (Some(min), None) => Some(format!("{min}{unit} or more")),
            (None, Some(max)) => Some(format!("up to {max}{unit}")),
            (None, None) => None,
        }
    }

    /// The name without the ending of its unit, as it may be typed: `depth` for `depth_cm`.
    #[must_use]
    pub fn short_name(&self) -> &str {
        self.unit.and_then(|u| self.name.strip_suffix(u.suffix())).unwrap_or(&self.name)
    }

    fn read(name: &str, schema: &Value, required: bool, common: bool) -> Field {
        let number = |key: &str| schema.get(key).and_then(Value::as_f64);
        Field {
            name: name.to_owned(),
            text: schema.get("description").and_then(Value::as_str).unwrap_or_default().replace('\n', " "),
            shape: Shape::read(schema),
            unit: schema.get("x-unit").and_then(Value::as_str).and_then(Unit::from_symbol),
            min: number("minimum"),
            max: number("maximum"),
            required,
            common,
        }
    }
}

impl Shape {
    fn read(schema: &Value) -> Shape {
        let label = |s: &Value| s.get("x-label").and_then(Value::as_str).and_then(LabelClass::from_word);
        let word_of = |v: &Value| v.as_str().map(str::to_owned);
        if let Some(class) = label(schema) {
            return Shape::Label(class);
        }
        if let Some(options) = schema.get("oneOf").and_then(Value::as_array) {
            let text = |o: &Value| o.get("description").and_then(word_of).unwrap_or_default();
            let words = options.iter().filter_map(|o| Some((word_of(o.get("const")?)?, text(o))));
            return Shape::Choice(words.collect());
        }
        match schema.get("type").and_then(Value::as_str) {
            Some("string") if schema.get("format").and_then(Value::as_str) == Some("date-time") => {
                Shape::Time
            }
            Some("string") => {
                let form = schema.get("x-check").and_then(Value::as_str).and_then(TextForm::from_word);
                Shape::Text(form.unwrap_or(TextForm::Free))
            }
            Some("number") => Shape::Number,
            Some("integer") => Shape::Integer,
            Some("boolean") => Shape::Flag,
            Some("array") => schema.get("items").and_then(label).map_or(Shape::Json, Shape::Labels),
            _ => Shape::Json,
        }
    }

    /// A word for the dictionary and the help.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self {
            Shape::Text(_) => "text",
            Shape::Label(_) => "label",
            Shape::Labels(_) => "labels",
            Shape::Time => "time",
            Shape::Number => "number",
            Shape::Integer => "whole number",
            Shape::Flag => "yes or no",
            Shape::Choice(_) => "choice",
            Shape::Json => "JSON",
        }
    }
}

impl Kind {
    /// The table of kind `name`, read off the struct that declares it.
    #[must_use]
    pub fn of<T: JsonSchema>(name: &str) -> Kind {
        Kind::read(name, &schema_of::<Common>(), &schema_of::<T>())
    }

    /// The table of kind `name`, read off the schemas of the common fields and of its own.
    fn read(name: &str, common: &Map<String, Value>, own: &Map<String, Value>) -> Kind {
        let words = |schema: &Map<String, Value>, key: &str| -> Vec<String> {
            let list = schema.get(key).and_then(Value::as_array).into_iter().flatten();
            list.filter_map(|v| v.as_str().map(str::to_owned)).collect()
        };
        let mut required = words(common, "required");
        required.extend(words(own, "required"));
        required.extend(words(own, "x-requires"));

        let mut properties = Map::new();
        let mut fields = Vec::new();
        for (schema, is_common) in [(common, true), (own, false)] {
            for (key, property) in schema.get("properties").and_then(Value::as_object).into_iter().flatten() {
                let property = if key == "kind" {
                    json!({ "const": name, "description": "The kind of entry" })
                } else {
                    property.clone()
                };
                if key != "kind" {
                    fields.push(Field::read(key, &property, required.contains(key), is_common));
                }
                properties.insert(key.clone(), property);
            }
        }
        let text = own.get("description").and_then(Value::as_str).unwrap_or_default().to_owned();
        let schema = json!({ "title": name, "description": text, "type": "object", "properties": properties, "required": required });
        let Value::Object(schema) = schema else { unreachable!("json! of braces is an object") };
        Kind { name: name.to_owned(), text, fields, schema }
    }

    /// The field of this name, written in full or without the ending of its unit.
    #[must_use]
    pub fn field(&self, name: &str) -> Option<&Field> {
        self.fields
            .iter()
            .find(|f| f.name == name)
            .or_else(|| self.fields.iter().find(|f| f.short_name() == name))
    }

    /// The fields that only this kind has.
    pub fn own_fields(&self) -> impl Iterator<Item = &Field> {
        self.fields.iter().filter(|f| !f.common)
    }

    /// JSON Schema (draft 2020-12) of an entry of this kind, without the `$schema` line.
    #[must_use]
    pub fn json_schema(&self) -> &Map<String, Value> {
        &self.schema
    }
}

/// The tables of what [`declared`](super::declared) tells: the common fields, then each kind, in the order of the declaration.
#[must_use]
pub fn kinds_of(declared: &Map<String, Value>) -> Vec<Kind> {
    let mut schemas = declared.iter().filter_map(|(name, schema)| Some((name, schema.as_object()?)));
    let Some((_, common)) = schemas.next() else { return Vec::new() };
    schemas.map(|(name, own)| Kind::read(name, common, own)).collect()
}

/// JSON Schema (draft 2020-12) of an entry of any of these kinds. Fields that it does not name are allowed: a newer version may write them.
#[must_use]
pub fn entry_schema(kinds: &[Kind]) -> Value {
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Firnbook entry",
        "description": "One entry of a day. Fields beyond those named here come from a newer version and are kept.",
        "oneOf": kinds.iter().map(|k| Value::Object(k.json_schema().clone())).collect::<Vec<_>>(),
    })
}

/// The schema of a struct, everything inline, an absent value never written as null.
pub(super) fn schema_of<T: JsonSchema>() -> Map<String, Value> {
    let settings = SchemaSettings::draft2020_12().with(|s| {
        s.inline_subschemas = true;
        s.meta_schema = None;
    });
    let mut schema = settings.into_generator().into_root_schema_for::<T>().to_value();
    drop_nulls(&mut schema);
    let properties = schema.get_mut("properties").and_then(Value::as_object_mut).into_iter().flatten();
    properties.for_each(|(_, property)| add_limits(property));
    match schema {
        Value::Object(map) => map,
        _ => Map::new(),
    }
}

/// Adds what the shape of a field bounds: the form of a text, the length of a list of labels.
fn add_limits(property: &mut Value) {
    let shape = Shape::read(property);
    let Some(property) = property.as_object_mut() else { return };
    let mut add = |key: &str, limit: Option<Value>| {
        if let Some(limit) = limit {
            property.entry(key).or_insert(limit);
        }
    };
    match shape {
        Shape::Text(form) => {
            add("maxLength", form.characters_max().map(Value::from));
            add("pattern", form.pattern().map(Value::from));
        }
        Shape::Labels(_) => add("maxItems", Some(LABELS_MAX.into())),
        _ => {}
    }
}

fn drop_nulls(value: &mut Value) {
    if let Value::Object(map) = value {
        if let Some(Value::Array(types)) = map.get_mut("type") {
            types.retain(|t| t != "null");
            if let [only] = types.as_slice() {
                let only = only.clone();
                map.insert("type".to_owned(), only);
            }
        }
        if let Some(Value::Array(options)) = map.get_mut("anyOf") {
            options.retain(|o| o.get("type").is_none_or(|t| t != "null"));
            if let [Value::Object(only)] = options.as_slice() {
                let only = only.clone();
                map.remove("anyOf");
                for (key, inner) in only {
                    map.entry(key).or_insert(inner);
                }
            }
        }
        map.values_mut().for_each(drop_nulls);
    } else if let Value::Array(list) = value {
        list.iter_mut().for_each(drop_nulls);
    }
}
