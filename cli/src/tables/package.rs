//! `datapackage.json`: what each table and column is, in the form of the Data Package standard (version 1, frictionlessdata.io), which other
//! programs read.

use super::sink::{Format, Table};
use firnbook_core::insight::made::Made;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// The word by which an export is known as one of ours, so that it may be replaced by a newer one.
pub const NAME: &str = "firnbook-export";

/// Describes the tables of an export.
#[must_use]
pub fn package(tables: &BTreeMap<String, Table>, format: Format, made: &Made) -> Value {
    let resources: Vec<Value> = tables.iter().map(|(name, table)| resource(name, table, format)).collect();
    json!({
        "profile": "tabular-data-package",
        "name": NAME,
        "title": "Avalanche-rescue training days",
        "description": "Entries of training days and the tables made from them. Depths are those of targets buried by instructors, not of accident burials.",
        "resources": resources,
        "made": made,
    })
}

fn resource(name: &str, table: &Table, format: Format) -> Value {
    let fields: Vec<&Value> = table.columns.iter().map(|c| &c.described).collect();
    let mut schema = json!({ "fields": fields, "missingValues": [""] });
    if table.columns.iter().any(|c| c.name == "id") {
        schema["primaryKey"] = json!(["day", "id"]);
    }
    let file = table.path.file_name().map(|f| f.to_string_lossy().into_owned());
    json!({
        "profile": "tabular-data-resource",
        "name": name,
        "path": file,
        "format": format.ending(),
        "mediatype": if format == Format::Csv { "text/csv" } else { "application/jsonl" },
        "encoding": "utf-8",
        "rows": table.rows,
        "schema": schema,
    })
}
