//! Where rows go: CSV and JSON lines, one file a table; Parquet, one file a table and day, in folders that engines read as a partition.

use super::columns::{Column, DAY, DAYS, PEOPLE};
use super::parquet::ParquetFile;
use crate::failure::Failure;
use crate::file::make_folder;
use firnbook_core::entry::csv_cell;
use serde_json::{Map, Value};
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
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
    /// Parquet, each table parted by day
    Parquet,
    /// GeoJSON: outlines, lanes, tracks, targets, strikes, gaps
    Geojson,
}

impl Format {
    /// The ending of the files.
    #[must_use]
    pub fn ending(self) -> &'static str {
        match self {
            Format::Csv => "csv",
            Format::Jsonl => "jsonl",
            Format::Parquet => "parquet",
            Format::Geojson => "geojson",
        }
    }
}

/// A table that has rows.
pub struct Table {
    /// Its columns.
    pub columns: Vec<Column>,
    /// Its rows.
    pub rows: usize,
    /// Its files, from the folder of the export.
    pub files: Vec<String>,
    open: Option<Rows>,
}

enum Rows {
    Csv(Box<csv::Writer<BufWriter<File>>>),
    Jsonl(BufWriter<File>),
    Parquet(Box<ParquetFile>),
}

impl Table {
    /// A table without columns that stands in one file.
    #[must_use]
    pub fn of_file(file: String, rows: usize) -> Table {
        Table { columns: Vec::new(), rows, files: vec![file], open: None }
    }
}

/// Takes rows.
pub struct Sink {
    format: Format,
    folder: PathBuf,
    /// The day whose rows come next.
    day: String,
    tables: BTreeMap<String, Table>,
}

impl Sink {
    /// Writes into a folder.
    #[must_use]
    pub fn new(folder: &Path, format: Format) -> Sink {
        Sink { format, folder: folder.to_owned(), day: String::new(), tables: BTreeMap::new() }
    }

    /// The rows of another day come next.
    ///
    /// # Errors
    /// What the disk says.
    pub fn begin_day(&mut self, day: &str) -> Result<(), Failure> {
        day.clone_into(&mut self.day);
        for (name, table) in &mut self.tables {
            // Only Parquet has a file for each day.
            let parted = |open: &mut Rows| matches!(open, Rows::Parquet(_)) && name != DAYS;
            if let Some(Rows::Parquet(file)) = table.open.take_if(parted) {
                file.close()?;
            }
        }
        Ok(())
    }

    /// Adds a row to a table; `columns` are asked for with the first one.
    ///
    /// # Errors
    /// What the disk says.
    pub fn row(
        &mut self,
        name: &str,
        columns: impl FnOnce() -> Vec<Column>,
        row: &Map<String, Value>,
    ) -> Result<(), Failure> {
        self.open(name, columns)?;
        let Some(table) = self.tables.get_mut(name) else { return Ok(()) };
        table.rows += 1;
        let path = || PathBuf::from(table.files.last().cloned().unwrap_or_default());
        match &mut table.open {
            Some(Rows::Jsonl(writer)) => {
                let line = Value::Object(row.clone()).to_string();
                writeln!(writer, "{line}").map_err(|e| Failure::file(&path(), &e))
            }
            Some(Rows::Csv(writer)) => {
                let cells = table.columns.iter().map(|c| row.get(&c.name).map_or_else(String::new, csv_cell));
                writer.write_record(cells).map_err(|e| csv_failed(&path(), e))
            }
            Some(Rows::Parquet(file)) => {
                for (at, column) in in_file(name, &table.columns).enumerate() {
                    file.add_json(at, row.get(&column.name).unwrap_or(&Value::Null));
                }
                file.end_row()
            }
            None => Ok(()),
        }
    }

    /// A Parquet file of a table and of this day, for rows that come cell by cell, in the order of the columns without the day. Whoever filled it
    /// gives it to [`Sink::close_file`].
    ///
    /// # Errors
    /// What the disk says.
    pub fn parquet_file(
        &mut self,
        name: &str,
        columns: impl FnOnce() -> Vec<Column>,
    ) -> Result<ParquetFile, Failure> {
        let (table, path) = self.place(name, columns)?;
        ParquetFile::create(&path, &in_file(name, &table.columns).collect::<Vec<_>>())
    }

    /// Puts a filled file of a table on the disk and counts its rows.
    ///
    /// # Errors
    /// What the disk says.
    pub fn close_file(&mut self, name: &str, file: ParquetFile) -> Result<(), Failure> {
        if let Some(table) = self.tables.get_mut(name) {
            table.rows += file.rows();
        }
        file.close()
    }

    /// Has the tables of another sink of the same folder too.
    pub fn join(&mut self, tables: BTreeMap<String, Table>) {
        for (name, other) in tables {
            match self.tables.entry(name) {
                Entry::Vacant(free) => drop(free.insert(other)),
                Entry::Occupied(mut table) => {
                    let table = table.get_mut();
                    table.rows += other.rows;
                    table.files.extend(other.files);
                    table.files.sort_unstable();
                }
            }
        }
    }

    /// Opens what a row of a table needs.
    fn open(&mut self, name: &str, columns: impl FnOnce() -> Vec<Column>) -> Result<(), Failure> {
        if self.tables.get(name).is_some_and(|table| table.open.is_some()) {
            return Ok(());
        }
        let (format, (table, path)) = (self.format, self.place(name, columns)?);
        let create = || File::create(&path).map(BufWriter::new).map_err(|e| Failure::file(&path, &e));
        table.open = Some(match format {
            Format::Csv => {
                let mut writer = Box::new(csv::Writer::from_writer(create()?));
                let header = writer.write_record(table.columns.iter().map(|c| c.name.as_str()));
                header.map_err(|e| csv_failed(&path, e))?;
                Rows::Csv(writer)
            }
            Format::Parquet => {
                let columns: Vec<&Column> = in_file(name, &table.columns).collect();
                Rows::Parquet(Box::new(ParquetFile::create(&path, &columns)?))
            }
            Format::Jsonl | Format::Geojson => Rows::Jsonl(create()?),
        });
        Ok(())
    }

    /// The table of this name with one file more, and where that stands.
    fn place(
        &mut self,
        name: &str,
        columns: impl FnOnce() -> Vec<Column>,
    ) -> Result<(&mut Table, PathBuf), Failure> {
        let parted = self.format == Format::Parquet && name != DAYS && name != PEOPLE;
        let inner = if parted {
            format!("{name}/{DAY}={}/part-0.parquet", self.day)
        } else {
            format!("{name}.{}", self.format.ending())
        };
        let path = self.folder.join(&inner);
        if let Some(folder) = path.parent().filter(|_| parted) {
            make_folder(folder)?;
        }
        let table = self.tables.entry(name.to_owned()).or_insert_with(|| Table {
            columns: columns(),
            rows: 0,
            files: Vec::new(),
            open: None,
        });
        table.files.push(inner);
        Ok((table, path))
    }

    /// Puts everything on the disk. The tables by name.
    ///
    /// # Errors
    /// What the disk says.
    pub fn finish(mut self) -> Result<BTreeMap<String, Table>, Failure> {
        for table in self.tables.values_mut() {
            let path = PathBuf::from(table.files.last().cloned().unwrap_or_default());
            match table.open.take() {
                Some(Rows::Csv(mut writer)) => writer.flush().map_err(|e| Failure::file(&path, &e))?,
                Some(Rows::Jsonl(mut writer)) => writer.flush().map_err(|e| Failure::file(&path, &e))?,
                Some(Rows::Parquet(file)) => file.close()?,
                None => {}
            }
        }
        Ok(self.tables)
    }
}

/// The columns that stand in a Parquet file: the day is in the name of its folder.
fn in_file<'a>(table: &str, columns: &'a [Column]) -> impl Iterator<Item = &'a Column> {
    let whole = table == DAYS;
    columns.iter().filter(move |c| whole || c.name != DAY)
}

fn csv_failed(path: &Path, error: csv::Error) -> Failure {
    match error.into_kind() {
        csv::ErrorKind::Io(e) => Failure::file(path, &e),
        other => Failure::refused(format!("{}: {other:?}", path.display())),
    }
}
