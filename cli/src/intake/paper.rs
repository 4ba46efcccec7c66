//! Files that are typed in from printed sheets: several forms in one file, headings as printed, and what stands once at the top of a sheet.

use crate::paper::headings::{self, FORM, Form, LINE, SHEET};
use firnbook_core::entry::{Fault, KINDS};
use firnbook_core::logbook::SheetRow;
use std::collections::HashMap;

/// The headings that stand at the top of a sheet and hold for every line of it.
const AT_THE_TOP: [&str; 3] = ["by", "drill", "clock"];

/// Whether a header is one of sheets: it has their columns, or headings that are no fields' names.
#[must_use]
pub fn is_of_sheets(header: &[String], kind: Option<&str>) -> bool {
    let has = |name: &str| header.iter().any(|h| same(h, name));
    let plain = has("kind") || kind.is_some();
    let known = |h: &String| KINDS.iter().any(|k| k.field(h).is_some());
    let printed = |h: &String| !known(h) && headings::FORMS.iter().any(|form| form.field(h).is_some());
    has(SHEET) || (has(FORM) && !plain) || header.iter().any(printed)
}

/// Whether a heading stands on any form, or says where a row stands.
#[must_use]
pub fn is_heading(heading: &str) -> bool {
    [SHEET, LINE, FORM, "kind", "day"].iter().any(|own| same(heading, own))
        || headings::FORMS.iter().any(|form| form.field(heading).is_some())
}

/// Whether a row is a header again, as where the sheets of another form begin.
#[must_use]
pub fn is_header(cells: &csv::StringRecord) -> bool {
    let own = |cell: &str| [SHEET, LINE, FORM].iter().any(|name| same(cell, name));
    cells.iter().filter(|cell| own(cell)).count() >= 2
}

/// The form of a word that a row says: that of the form or of the kind.
#[must_use]
pub fn form(word: &str) -> Option<&'static Form> {
    headings::form(word).or_else(|| headings::form_of_kind(word.trim()))
}

/// Two headings that are one, whatever their case.
pub fn same(a: &str, b: &str) -> bool {
    a.trim().eq_ignore_ascii_case(b)
}

/// What was said so far at the top of sheets, and which rows there were.
#[derive(Default)]
pub struct Sheets {
    tops: HashMap<String, HashMap<&'static str, String>>,
    rows: HashMap<(String, SheetRow), usize>,
}

impl Sheets {
    /// Where a row stands, from its two cells; `Ok(None)` for a row of no sheet.
    ///
    /// # Errors
    /// Half a place, a line that is no number, or a place that another line of the file has.
    pub fn place(
        &mut self,
        day: Option<&str>,
        sheet: Option<&str>,
        line: Option<&str>,
        in_file: usize,
    ) -> Result<Option<SheetRow>, Fault> {
        let (sheet, line) = match (sheet.map(str::trim), line.map(str::trim)) {
            (None, None) => return Ok(None),
            (Some(sheet), Some(line)) => (sheet, line),
            (Some(sheet), None) => {
                return Err(Fault::new(
                    LINE,
                    "",
                    format!("is missing; sheet {sheet} is given, and a row needs both"),
                ));
            }
            (None, Some(line)) => {
                return Err(Fault::new(
                    SHEET,
                    "",
                    format!("is missing; line {line} is given, and a row needs both"),
                ));
            }
        };
        let number: u32 = line
            .parse()
            .ok()
            .filter(|n| *n > 0)
            .ok_or_else(|| Fault::new(LINE, line, "is no number of a line; write 1, 2, 3 as printed"))?;
        let row = SheetRow { sheet: sheet.to_uppercase(), line: number };
        let key = (day.unwrap_or_default().to_owned(), row.clone());
        match self.rows.insert(key, in_file) {
            None => Ok(Some(row)),
            Some(before) => Err(Fault::new(
                LINE,
                line,
                format!(
                    "of sheet {} stands in line {before} of the file too; leave one of them out",
                    row.sheet
                ),
            )),
        }
    }

    /// What holds for a line of a sheet, where the line itself does not say it; what it says holds for the lines below.
    pub fn top(&mut self, sheet: &str, field: &str, said: Option<&str>) -> Option<String> {
        let field = AT_THE_TOP.iter().find(|top| **top == field)?;
        let top = self.tops.entry(sheet.to_owned()).or_default();
        if let Some(said) = said {
            top.insert(field, said.to_owned());
        }
        top.get(field).cloned()
    }

    /// The fields that a sheet says once.
    #[must_use]
    pub fn top_fields() -> [&'static str; 3] {
        AT_THE_TOP
    }
}
