//! Files of entries, read into drafts: JSON lines or CSV. Everything that is wrong is found before anything is written, each fault with its line
//! and field. What the fields allow is not decided here.

mod csv;
pub mod gpx;
mod jsonl;
pub mod paper;
pub mod text;

use crate::desk::{DayTimes, Desk};
use crate::failure::Failure;
use firnbook_core::entry::Fault;
use firnbook_core::logbook::{Draft, LineFault, SheetRow};
use serde_json::{Map, Value};
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// What a file held.
#[derive(Debug, Default)]
pub struct Intake {
    /// Its entries.
    pub rows: Vec<Row>,
    /// What is wrong with it.
    pub faults: Vec<LineFault>,
    /// How it was understood, where that is not plain.
    pub remarks: Vec<String>,
    /// Times that say no zone.
    without_zone: usize,
    /// The first line with a decimal comma.
    first_comma: Option<usize>,
}

/// One entry of a file.
#[derive(Clone, Debug)]
pub struct Row {
    /// The day that its line names.
    pub day: Option<String>,
    /// The entry.
    pub draft: Draft,
    /// Where it stands on paper.
    pub sheet: Option<SheetRow>,
}

/// What a file is called and what it holds, `-` for standard input; bounded, since a file may be anything.
///
/// # Errors
/// A file that can't be read, or that has more than `largest` bytes.
pub fn bytes_of(desk: &mut Desk, file: &Path, largest: u64) -> Result<(String, Vec<u8>), Failure> {
    // A pipe or a device does not say how large it is, so what is read is counted.
    let (name, bytes) = if file == Path::new("-") {
        ("standard input".to_owned(), desk.ui.read_up_to(largest + 1)?)
    } else {
        let failed = |e| Failure::file(file, &e);
        let open = File::open(file).map_err(failed)?;
        if open.metadata().map_err(failed)?.len() > largest {
            return Err(too_large(&file.display().to_string(), largest));
        }
        let mut bytes = Vec::new();
        open.take(largest + 1).read_to_end(&mut bytes).map_err(failed)?;
        (file.display().to_string(), bytes)
    };
    if bytes.len() as u64 > largest { Err(too_large(&name, largest)) } else { Ok((name, bytes)) }
}

fn too_large(name: &str, largest: u64) -> Failure {
    let bound = largest >> 20;
    Failure::refused(format!(
        "{name} is larger than {bound} MiB; part it into several files; nothing was written"
    ))
}

/// Reads a file of entries. `kind` is that of rows in a CSV file without a column `kind`; `name` is what the file is called in messages.
///
/// # Errors
/// A file that is neither, empty, or of another encoding. Faults of single lines stand in the answer.
pub fn read(name: &str, bytes: &[u8], kind: Option<&str>, times: DayTimes) -> Result<Intake, Failure> {
    let mut remarks = Vec::new();
    let text = text::text_of(name, bytes, &mut remarks)?;
    let offset = times.offset;
    let mut intake = match text.trim_start().chars().next() {
        None => Err(Failure::refused(format!(
            "{name} is empty; write one entry a line, as JSON or as CSV with a header"
        ))),
        Some('{') => Ok(jsonl::read(&text, kind)),
        Some('[') => Err(Failure::refused(format!(
            "{name} holds a JSON list; write one object a line instead, without brackets and commas around them"
        ))),
        Some(_) => csv::read(name, &text, kind, times),
    }?;
    intake.remarks.splice(0..0, remarks);
    if intake.without_zone > 0 {
        let times = if intake.without_zone == 1 {
            "1 time".to_owned()
        } else {
            format!("{} times", intake.without_zone)
        };
        intake.remarks.push(format!("{times} without a zone, taken as {offset}, the zone of the day"));
    }
    Ok(intake)
}

/// An entry of a line; the day that it names, as an export writes it, is taken out of it.
fn row_of(mut json: Map<String, Value>, line: usize) -> Row {
    let day = json.shift_remove("day");
    let day = day.and_then(|d| d.as_str().map(str::trim).filter(|d| !d.is_empty()).map(str::to_owned));
    Row { day, draft: Draft { json, line: Some(line) }, sheet: None }
}

fn fault(line: usize, fault: Fault) -> LineFault {
    LineFault { line: Some(line), fault }
}
