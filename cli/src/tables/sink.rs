//! Where rows go: one file a table, opened with its first row, in a folder that takes its place only when everything is written.

use super::columns::Column;
use crate::failure::Failure;
use serde_json::{Map, Value};
use std::collections::BTreeMap;
use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};

/// The form of the files.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Format {
    /// CSV with a header, UTF-8
    Csv,
    /// One JSON object a line
    Jsonl,
}

impl Format {
    /// The ending of the files.
    #[must_use]
    pub fn ending(self) -> &'static str {
        match self {
            Format::Csv => "csv",
            Format::Jsonl => "jsonl",
        }
    }
}

/// A table that has rows.
pub struct Table {
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows.
    pub rows: usize,
    /// The file.
    pub path: PathBuf,
    file: Rows,
}

enum Rows {
    Csv(Box<csv::Writer<BufWriter<File>>>),
    Jsonl(BufWriter<File>),
}

/// Takes rows.
pub struct Sink {
    format: Format,
    folder: PathBuf,
    tables: BTreeMap<String, Table>,
}

impl Sink {
    /// Writes into a folder.
    #[must_use]
    pub fn new(folder: &Path, format: Format) -> Sink {
        Sink { format, folder: folder.to_owned(), tables: BTreeMap::new() }
    }

    /// The form of the files.
    #[must_use]
    pub fn format(&self) -> Format {
        self.format
    }

    /// Adds a row to a table; `columns` are asked for with the first one.
    ///
    /// # Errors
    /// What the disk says.
    pub fn row(
        &mut self,
        table: &str,
        columns: impl FnOnce() -> Vec<Column>,
        row: &Map<String, Value>,
    ) -> Result<(), Failure> {
        if !self.tables.contains_key(table) {
            let path = self.folder.join(format!("{table}.{}", self.format.ending()));
            let opened = Table::open(path, columns(), self.format)?;
            self.tables.insert(table.to_owned(), opened);
        }
        match self.tables.get_mut(table) {
            Some(table) => table.add(row),
            None => Ok(()),
        }
    }

    /// Puts everything on the disk. The tables by name.
    ///
    /// # Errors
    /// What the disk says.
    pub fn finish(mut self) -> Result<BTreeMap<String, Table>, Failure> {
        for table in self.tables.values_mut() {
            let flushed = match &mut table.file {
                Rows::Csv(writer) => writer.flush(),
                Rows::Jsonl(writer) => writer.flush(),
            };
            flushed.map_err(|e| Failure::file(&table.path, &e))?;
        }
        Ok(self.tables)
    }
}

impl Table {
    fn open(path: PathBuf, columns: Vec<Column>, format: Format) -> Result<Table, Failure> {
        let file = BufWriter::new(File::create(&path).map_err(|e| Failure::file(&path, &e))?);
        let mut table = match format {
            Format::Csv => {
                Table { columns, rows: 0, path, file: Rows::Csv(Box::new(csv::Writer::from_writer(file))) }
            }
            Format::Jsonl => Table { columns, rows: 0, path, file: Rows::Jsonl(file) },
        };
        if let Rows::Csv(writer) = &mut table.file {
            let header = writer.write_record(table.columns.iter().map(|c| c.name.as_str()));
            header.map_err(|e| csv_failed(&table.path, e))?;
        }
        Ok(table)
    }

    fn add(&mut self, row: &Map<String, Value>) -> Result<(), Failure> {
        self.rows += 1;
        match &mut self.file {
            Rows::Jsonl(writer) => {
                let line = Value::Object(row.clone()).to_string();
                writeln!(writer, "{line}").map_err(|e| Failure::file(&self.path, &e))
            }
            Rows::Csv(writer) => {
                let cells = self.columns.iter().map(|c| row.get(&c.name).map_or_else(String::new, cell));
                writer.write_record(cells).map_err(|e| csv_failed(&self.path, e))
            }
        }
    }
}

fn csv_failed(path: &Path, error: csv::Error) -> Failure {
    match error.into_kind() {
        csv::ErrorKind::Io(e) => Failure::file(path, &e),
        other => Failure::refused(format!("{}: {other:?}", path.display())),
    }
}

/// A value as a CSV cell: lists of labels with semicolons where no label holds one, everything else that is not plain as JSON.
fn cell(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        Value::Array(list) => {
            let labels: Option<Vec<&str>> = list.iter().map(Value::as_str).collect();
            match labels {
                Some(labels) if !labels.is_empty() && labels.iter().all(|l| !l.contains([';', ',', '['])) => {
                    labels.join(";")
                }
                _ => value.to_string(),
            }
        }
        other => other.to_string(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn cells_read_back_as_what_they_were() {
        let cells = [
            json!(null),
            json!(110.0),
            json!(true),
            json!("a,b"),
            json!(["Fox", "Lynx"]),
            json!(["a;b"]),
            json!([[0, 1]]),
        ];
        assert_eq!(cells.map(|c| cell(&c)), ["", "110.0", "true", "a,b", "Fox;Lynx", "[\"a;b\"]", "[[0,1]]"]);
    }
}
