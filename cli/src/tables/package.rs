//! `datapackage.json`: what each table and column is, what was left out and what the figures are for, in the form of the Data Package standard
//! (version 1, frictionlessdata.io), which other programs read.

use super::columns::{Column, DAY, Holds};
use super::sink::{Format, Table};
use super::veil::Veil;
use firnbook_core::insight::cautions;
use firnbook_core::insight::made::Made;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// The word by which an export is known as one of ours, so that it may be replaced by a newer one.
pub const NAME: &str = "firnbook-export";

/// What did not leave, for the package to say.
#[derive(Clone, Debug, Default)]
pub struct Removed {
    /// Days whose shapes could not be placed, each with the reason.
    pub not_placed: Vec<String>,
}

/// Describes the tables of an export.
#[must_use]
pub fn package(
    tables: &BTreeMap<String, Table>,
    format: Format,
    veil: &Veil,
    removed: &Removed,
    made: &Made,
) -> Value {
    let resources: Vec<Value> =
        tables.iter().map(|(name, table)| resource(name, table, format, veil)).collect();
    let profile = if format == Format::Csv { "tabular-data-package" } else { "data-package" };
    json!({
        "profile": profile,
        "name": NAME,
        "title": "Avalanche-rescue training days",
        "description": "Entries of training days and the tables made from them.",
        "cautions": cautions::of_a_debrief(),
        "removed": removed_text(veil, removed),
        "resources": resources,
        "made": made,
    })
}

fn removed_text(veil: &Veil, removed: &Removed) -> Vec<String> {
    let mut text: Vec<&str> = Vec::new();
    if !veil.is_lifted() {
        text.push(
            "call signs and member codes: codes (P-…) stand for them, the same in every export under one key",
        );
        text.push("latitudes and longitudes: positions and tracks stand in the grid of their drill, to whole metres, or are empty where that grid is not known; GeoJSON is placed around the drill's origin rounded to a tenth of a degree");
        text.push("fields that a newer version wrote, struck-out and unreadable entries");
    }
    if !veil.keeps_notes() {
        text.push(
            "free text: notes, remedies, faults, names of files, sources of tracks, what watches showed",
        );
        text.push("labels that could be a name (of drills, targets, items, teams, areas, watches): codes (L-…) stand for them");
    }
    text.into_iter().map(str::to_owned).chain(removed.not_placed.iter().cloned()).collect()
}

fn resource(name: &str, table: &Table, format: Format, veil: &Veil) -> Value {
    let mut resource = Map::new();
    let mut say = |key: &str, value: Value| resource.insert(key.to_owned(), value);
    say("name", json!(name));
    // One path where there is one file, a list where a table is parted.
    match table.files.as_slice() {
        [only] => say("path", json!(only)),
        several => say("path", json!(several)),
    };
    say("format", json!(format.ending()));
    say(
        "mediatype",
        json!(match format {
            Format::Csv => "text/csv",
            Format::Jsonl => "application/jsonl",
            Format::Parquet => "application/vnd.apache.parquet",
            Format::Geojson => "application/geo+json",
        }),
    );
    say("encoding", json!("utf-8"));
    say("rows", json!(table.rows));
    let parted =
        format == Format::Parquet && table.columns.first().is_some_and(|c| c.name == DAY) && name != "days";
    if parted {
        say("partition", json!([DAY]));
    }
    let fields: Vec<Value> = table.columns.iter().map(|c| field(c, format, veil)).collect();
    let mut schema = json!({ "fields": fields, "missingValues": [""] });
    if table.columns.iter().any(|c| c.name == "id") {
        schema["primaryKey"] = json!([DAY, "id"]);
    }
    if format == Format::Csv {
        say("profile", json!("tabular-data-resource"));
    }
    if format != Format::Geojson {
        say("schema", schema);
    }
    Value::Object(resource)
}

fn field(column: &Column, format: Format, veil: &Veil) -> Value {
    let mut described = column.described.clone();
    let of_type = match column.holds {
        Holds::Time => "datetime",
        Holds::Date => "date",
        Holds::Number => "number",
        Holds::Integer => "integer",
        Holds::Flag => "boolean",
        Holds::Labels if format != Format::Csv => "array",
        Holds::Json if format == Format::Jsonl => "any",
        Holds::Text | Holds::Labels | Holds::Json => "string",
    };
    described.insert("type".to_owned(), json!(of_type));
    if veil.may_empty(column)
        && let Some(Value::Object(constraints)) = described.get_mut("constraints")
    {
        constraints.shift_remove("required");
    }
    Value::Object(described)
}
