//! Rows as Parquet files: typed columns, statistics for each row group, bounded memory.

use super::columns::{Column, Holds};
use crate::failure::Failure;
use arrow_array::builder::{
    ArrayBuilder, BooleanBuilder, Date32Builder, Float64Builder, Int64Builder, ListBuilder, StringBuilder,
    TimestampMillisecondBuilder,
};
use arrow_array::{ArrayRef, RecordBatch};
use arrow_schema::{DataType, Field, Schema, TimeUnit};
use chrono::NaiveDate;
use firnbook_core::entry::Time;
use parquet::arrow::ArrowWriter;
use parquet::basic::Compression;
use parquet::errors::ParquetError;
use parquet::file::properties::{EnabledStatistics, WriterProperties};
use parquet::schema::types::ColumnPath;
use serde_json::Value;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Rows that are turned into columns at a time.
const BATCH: usize = 8_192;
/// Rows of a row group.
const ROW_GROUP: usize = 131_072;
/// The zone of instants.
const UTC: &str = "UTC";

/// One value of a row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cell<'a> {
    /// Absent.
    Null,
    /// A whole number, or 1 and 0 for yes and no.
    Integer(i64),
    /// A number.
    Number(f64),
    /// A text; of a time, date or list as JSON writes it.
    Text(&'a str),
    /// An instant.
    Time(Time),
}

/// A file that is being written.
pub struct ParquetFile {
    path: PathBuf,
    schema: Arc<Schema>,
    columns: Vec<Builder>,
    /// Rows that the writer has not yet.
    waiting: usize,
    rows: usize,
    writer: ArrowWriter<File>,
}

enum Builder {
    Text(StringBuilder),
    Labels(ListBuilder<StringBuilder>),
    Time(TimestampMillisecondBuilder),
    Date(Date32Builder),
    Number(Float64Builder),
    Integer(Int64Builder),
    Flag(BooleanBuilder),
}

impl ParquetFile {
    /// Begins a file.
    ///
    /// # Errors
    /// What the disk says.
    pub fn create(path: &Path, columns: &[&Column]) -> Result<ParquetFile, Failure> {
        let fields: Vec<Field> =
            columns.iter().map(|c| Field::new(&c.name, data_type(c.holds), true)).collect();
        let schema = Arc::new(Schema::new(fields));
        let mut properties = WriterProperties::builder()
            .set_compression(Compression::SNAPPY)
            .set_statistics_enabled(EnabledStatistics::Chunk)
            .set_max_row_group_row_count(Some(ROW_GROUP));
        // What hardly repeats only grows by a dictionary.
        for column in columns.iter().filter(|c| c.holds == Holds::Time || c.name == "id") {
            properties =
                properties.set_column_dictionary_enabled(ColumnPath::from(column.name.as_str()), false);
        }
        let file = File::create(path).map_err(|e| Failure::file(path, &e))?;
        let writer = ArrowWriter::try_new(file, schema.clone(), Some(properties.build()))
            .map_err(|e| failed(path, e))?;
        let columns = columns.iter().map(|c| Builder::new(c.holds)).collect();
        Ok(ParquetFile { path: path.to_owned(), schema, columns, waiting: 0, rows: 0, writer })
    }

    /// Adds a value to a column; a row is complete when each column got one.
    pub fn add(&mut self, column: usize, cell: Cell<'_>) {
        if let Some(builder) = self.columns.get_mut(column) {
            builder.add(cell);
        }
    }

    /// Adds a list of labels; as JSON where the column holds text.
    pub fn add_labels(&mut self, column: usize, labels: Vec<String>) {
        match self.columns.get_mut(column) {
            Some(Builder::Labels(to)) => to.append_value(labels.into_iter().map(Some)),
            Some(other) => other.add(Cell::Text(&Value::from(labels).to_string())),
            None => {}
        }
    }

    /// Adds a value as JSON holds it.
    pub fn add_json(&mut self, column: usize, value: &Value) {
        match value {
            Value::Null => self.add(column, Cell::Null),
            Value::Bool(flag) => self.add(column, Cell::Integer(i64::from(*flag))),
            Value::Number(n) => match n.as_i64() {
                Some(n) => self.add(column, Cell::Integer(n)),
                None => self.add(column, n.as_f64().map_or(Cell::Null, Cell::Number)),
            },
            Value::String(text) => self.add(column, Cell::Text(text)),
            other => self.add(column, Cell::Text(&other.to_string())),
        }
    }

    /// Ends a row.
    ///
    /// # Errors
    /// What the disk says.
    pub fn end_row(&mut self) -> Result<(), Failure> {
        self.rows += 1;
        self.waiting += 1;
        if self.waiting == BATCH { self.flush() } else { Ok(()) }
    }

    /// Rows until now.
    #[must_use]
    pub fn rows(&self) -> usize {
        self.rows
    }

    fn flush(&mut self) -> Result<(), Failure> {
        let arrays: Vec<ArrayRef> = self.columns.iter_mut().map(Builder::finish).collect();
        self.waiting = 0;
        let batch = RecordBatch::try_new(self.schema.clone(), arrays).map_err(Failure::refused)?;
        self.writer.write(&batch).map_err(|e| failed(&self.path, e))
    }

    /// Puts the file on the disk.
    ///
    /// # Errors
    /// What the disk says.
    pub fn close(mut self) -> Result<(), Failure> {
        self.flush()?;
        self.writer.close().map(|_| ()).map_err(|e| failed(&self.path, e))
    }
}

fn failed(path: &Path, error: ParquetError) -> Failure {
    match error {
        ParquetError::External(inner) => match inner.downcast::<std::io::Error>() {
            Ok(io) => Failure::file(path, &io),
            Err(other) => Failure::refused(format!("{}: {other}", path.display())),
        },
        other => Failure::refused(format!("{}: {other}", path.display())),
    }
}

fn data_type(holds: Holds) -> DataType {
    match holds {
        Holds::Text | Holds::Json => DataType::Utf8,
        Holds::Labels => DataType::List(Arc::new(Field::new_list_field(DataType::Utf8, true))),
        Holds::Time => DataType::Timestamp(TimeUnit::Millisecond, Some(UTC.into())),
        Holds::Date => DataType::Date32,
        Holds::Number => DataType::Float64,
        Holds::Integer => DataType::Int64,
        Holds::Flag => DataType::Boolean,
    }
}

impl Builder {
    fn new(holds: Holds) -> Builder {
        match holds {
            Holds::Text | Holds::Json => Builder::Text(StringBuilder::new()),
            Holds::Labels => Builder::Labels(ListBuilder::new(StringBuilder::new())),
            Holds::Time => Builder::Time(TimestampMillisecondBuilder::new().with_timezone(UTC)),
            Holds::Date => Builder::Date(Date32Builder::new()),
            Holds::Number => Builder::Number(Float64Builder::new()),
            Holds::Integer => Builder::Integer(Int64Builder::new()),
            Holds::Flag => Builder::Flag(BooleanBuilder::new()),
        }
    }

    fn add(&mut self, cell: Cell<'_>) {
        let text = if let Cell::Text(text) = cell { Some(text) } else { None };
        let whole = if let Cell::Integer(n) = cell { Some(n) } else { None };
        match self {
            Builder::Text(to) => to.append_option(text),
            Builder::Labels(to) => {
                let labels = text.and_then(|t| serde_json::from_str::<Vec<String>>(t).ok());
                to.append_option(labels.map(|labels| labels.into_iter().map(Some)));
            }
            Builder::Time(to) => {
                let at =
                    if let Cell::Time(at) = cell { Some(at) } else { text.and_then(|t| Time::parse(t).ok()) };
                to.append_option(at.map(Time::millis));
            }
            Builder::Date(to) => to.append_option(text.and_then(days_since_1970)),
            Builder::Number(to) => to.append_option(match cell {
                Cell::Number(n) => Some(n),
                _ => whole.map(|n| n as f64),
            }),
            Builder::Integer(to) => to.append_option(match cell {
                Cell::Number(n) if n.fract() == 0.0 => Some(n as i64),
                _ => whole,
            }),
            Builder::Flag(to) => to.append_option(whole.map(|n| n != 0)),
        }
    }

    fn finish(&mut self) -> ArrayRef {
        match self {
            Builder::Text(b) => ArrayBuilder::finish(b),
            Builder::Labels(b) => ArrayBuilder::finish(b),
            Builder::Time(b) => ArrayBuilder::finish(b),
            Builder::Date(b) => ArrayBuilder::finish(b),
            Builder::Number(b) => ArrayBuilder::finish(b),
            Builder::Integer(b) => ArrayBuilder::finish(b),
            Builder::Flag(b) => ArrayBuilder::finish(b),
        }
    }
}

fn days_since_1970(text: &str) -> Option<i32> {
    let date: NaiveDate = text.parse().ok()?;
    i32::try_from(date.signed_duration_since(NaiveDate::default()).num_days()).ok()
}
