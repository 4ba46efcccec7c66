//! Files of entries, read into drafts: JSON lines or CSV. Everything that is wrong is found before anything is written, each fault with its line
//! and field. What the fields allow is not decided here.

mod csv;
mod jsonl;

use crate::desk::DayTimes;
use crate::failure::Failure;
use firnbook_core::entry::Fault;
use firnbook_core::logbook::{Draft, LineFault};
use serde_json::{Map, Value};

/// What a file held.
#[derive(Debug, Default)]
pub struct Intake {
    /// Its entries, each with the day that its line names.
    pub drafts: Vec<(Option<String>, Draft)>,
    /// What is wrong with it.
    pub faults: Vec<LineFault>,
}

/// Reads a file of entries. `kind` is that of rows in a CSV file without a column `kind`; `name` is what the file is called in messages.
///
/// # Errors
/// A file that is neither, empty, or not UTF-8. Faults of single lines stand in the answer.
pub fn read(name: &str, bytes: &[u8], kind: Option<&str>, times: DayTimes) -> Result<Intake, Failure> {
    let text = text_of(name, bytes)?;
    match text.trim_start().chars().next() {
        None => Err(Failure::refused(format!(
            "{name} is empty; write one entry a line, as JSON or as CSV with a header"
        ))),
        Some('{') => Ok(jsonl::read(text, kind)),
        Some('[') => Err(Failure::refused(format!(
            "{name} holds a JSON list; write one object a line instead, without brackets and commas around them"
        ))),
        Some(_) => csv::read(name, text, kind, times),
    }
}

/// UTF-8, without the byte order mark that some spreadsheets put in front.
fn text_of<'a>(name: &str, bytes: &'a [u8]) -> Result<&'a str, Failure> {
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let line = 1 + bytes[..e.valid_up_to()].iter().filter(|b| **b == b'\n').count();
        Failure::refused(format!(
            "{name}, line {line}: byte {} is no UTF-8; save the file as UTF-8 and do it again; nothing was written",
            e.valid_up_to()
        ))
    })?;
    Ok(text.strip_prefix('\u{feff}').unwrap_or(text))
}

/// An entry of a line; the day that it names, as an export writes it, is taken out of it.
fn draft(mut json: Map<String, Value>, line: usize) -> (Option<String>, Draft) {
    let day = json.shift_remove("day");
    let day = day.and_then(|d| d.as_str().map(str::trim).filter(|d| !d.is_empty()).map(str::to_owned));
    (day, Draft { json, line: Some(line) })
}

fn fault(line: usize, fault: Fault) -> LineFault {
    LineFault { line: Some(line), fault }
}
