//! CSV with a header of field names or of printed headings. Cells are read as flags are: with or without a unit, times of day, empty is absent.

use super::paper::{self, Sheets, same};
use super::text::{decimal_comma, open_quote, separator};
use super::{Intake, Row, fault, row_of};
use crate::desk::DayTimes;
use crate::failure::Failure;
use crate::paper::headings::{FORM, LINE, SHEET};
use firnbook_core::entry::{self, Fault, Field, KINDS, Kind, Shape, Time, check_value, from_text};
use serde_json::{Map, Value, json};

/// Columns that are no fields: what the row is, its day, and in an export what a newer version wrote besides.
const BESIDES: [&str; 3] = ["kind", "day", "rest"];

/// Reads CSV whose first line names the fields; without a column `kind` every row is of `kind`. A file of printed sheets names its headings, and
/// may name others where another form begins.
///
/// # Errors
/// A header that can't be meant, or a quote left open; nothing is read then.
pub fn read(name: &str, text: &str, kind: Option<&str>, times: DayTimes) -> Result<Intake, Failure> {
    let separator = separator(text);
    if let Some(line) = open_quote(text, separator) {
        return Err(Failure::refused(format!(
            "{name}, line {line}: a quote is opened and never closed; close it, or double quotes within text; nothing was written"
        )));
    }
    let mut reader = csv::ReaderBuilder::new()
        .flexible(true)
        .has_headers(false)
        .delimiter(separator)
        .from_reader(text.as_bytes());
    let mut intake = Intake::default();
    let mut file: Option<Reading> = None;
    for record in reader.records() {
        let record = match record {
            Ok(record) => record,
            Err(e) => {
                let line = e.position().map_or(0, |p| usize::try_from(p.line()).unwrap_or(0));
                intake.faults.push(fault(line, Fault::new("row", "", e.to_string())));
                continue;
            }
        };
        let line = record.position().map_or(0, |p| usize::try_from(p.line()).unwrap_or(0));
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        let again = file.as_ref().is_some_and(|f| f.of_sheets) && paper::is_header(&record);
        match &mut file {
            Some(file) if !again => {
                if let Some(row) = file.record(&record, line, &mut intake) {
                    intake.rows.push(row);
                }
            }
            _ => {
                let header: Vec<String> = record.iter().map(|h| h.trim().to_owned()).collect();
                // What sheets said so far, and which drills started, holds beyond the next header.
                let (times, sheets) =
                    file.take().map_or_else(|| (times.clone(), Sheets::default()), |f| (f.times, f.sheets));
                let mut next = Reading::begin(name, header, line, kind, times, separator)?;
                next.sheets = sheets;
                file = Some(next);
            }
        }
    }
    if separator != b',' {
        let word = if separator == b';' { "semicolons" } else { "tabs" };
        intake.remarks.push(format!("the cells of {name} are parted by {word}, and were read so"));
    }
    if let Some(line) = intake.first_comma {
        intake.remarks.push(format!("decimal commas were read as points, the first in line {line}"));
    }
    Ok(intake)
}

/// A file that is being read, from a header to the next.
struct Reading<'a> {
    header: Vec<String>,
    kind: Option<&'a str>,
    of_sheets: bool,
    commas: bool,
    times: DayTimes,
    sheets: Sheets,
}

impl<'a> Reading<'a> {
    fn begin(
        name: &str,
        header: Vec<String>,
        line: usize,
        kind: Option<&'a str>,
        times: DayTimes,
        separator: u8,
    ) -> Result<Reading<'a>, Failure> {
        let of_sheets = paper::is_of_sheets(&header, kind);
        check_header(name, line, &header, kind, of_sheets)?;
        Ok(Reading { header, kind, of_sheets, commas: separator != b',', times, sheets: Sheets::default() })
    }

    fn record(&mut self, record: &csv::StringRecord, line: usize, intake: &mut Intake) -> Option<Row> {
        let beyond = record.iter().skip(self.header.len()).any(|cell| !cell.trim().is_empty());
        // On sheets the last cells of a line may be left out.
        if if self.of_sheets { beyond } else { record.len() != self.header.len() } {
            let why = format!(
                "has {} cells, the header {}; put text with commas in quotes",
                record.len(),
                self.header.len()
            );
            let text = record.iter().collect::<Vec<_>>().join(",");
            intake.faults.push(fault(line, Fault::new("row", text, why)));
            return None;
        }
        let header = self.header.clone();
        let cells: Vec<(&str, &str)> = header
            .iter()
            .map(String::as_str)
            .zip(record.iter())
            .filter(|(_, c)| !c.trim().is_empty())
            .collect();
        let told =
            if self.of_sheets { self.sheet(&cells, line, intake) } else { self.plain(&cells, line, intake) };
        told.map_err(|faults| intake.faults.extend(faults.into_iter().map(|f| fault(line, f)))).ok()
    }

    /// A row whose headings are names of fields.
    fn plain(&mut self, cells: &[(&str, &str)], line: usize, intake: &mut Intake) -> Result<Row, Vec<Fault>> {
        let cell = |name: &str| cells.iter().find(|(h, _)| *h == name).map(|(_, c)| *c);
        let word = cell("kind").map(str::trim).or(self.kind).unwrap_or_default();
        let table = entry::kind(word).ok_or_else(|| vec![Fault::new("kind", word, no_kind(word))])?;
        // A row that has an id comes out of an export and says exactly what the entry said; any other was typed by a person.
        let typed = cell("id").is_none();
        let mut json = Map::from_iter([("kind".to_owned(), json!(word))]);
        let mut faults = Vec::new();
        let drill = cell("drill").map(|d| d.trim().to_owned());
        for (header, cell) in cells.iter().filter(|(h, _)| *h != "kind") {
            let read = match (table.field(header), *header) {
                (Some(field), _) if typed => self.typed(field, cell, drill.as_deref(), line, intake),
                (Some(field), _) => exact(field, cell),
                (None, "day") => Ok(json!(cell)),
                (None, "rest") if !typed => match serde_json::from_str(cell) {
                    Ok(Value::Object(rest)) => {
                        json.extend(rest);
                        continue;
                    }
                    _ => Err(Fault::new(header, *cell, "is no JSON object")),
                },
                (None, _) => {
                    Err(Fault::new(header, *cell, format!("is no field of a {word}; leave the cell empty")))
                }
            };
            let name = table.field(header).map_or(*header, |f| f.name.as_str());
            match read {
                Ok(value) => {
                    json.insert(name.to_owned(), value);
                }
                Err(found) => faults.push(found),
            }
        }
        self.done(json, faults, line)
    }

    /// A row whose headings are those of a printed form.
    fn sheet(&mut self, cells: &[(&str, &str)], line: usize, intake: &mut Intake) -> Result<Row, Vec<Fault>> {
        let cell = |name: &str| cells.iter().find(|(h, _)| same(h, name)).map(|(_, c)| c.trim());
        let word = cell(FORM).or(cell("kind")).or(self.kind).unwrap_or_default();
        let form = paper::form(word).ok_or_else(|| vec![Fault::new(FORM, word, no_form(word))])?;
        let table = entry::kind(form.kind).ok_or_else(|| vec![Fault::new(FORM, word, no_form(word))])?;
        let mut faults = Vec::new();
        let place = self.sheets.place(cell("day"), cell(SHEET), cell(LINE), line);
        let place = place.map_err(|found| faults.push(found)).ok().flatten();
        let own = |header: &str| [SHEET, LINE, FORM, "kind", "day"].iter().any(|name| same(header, name));
        let mut said: Vec<(&Field, String)> = Vec::new();
        for (header, text) in cells.iter().filter(|(h, _)| !own(h)) {
            match form.field(header).and_then(|name| table.field(name)) {
                Some(field) => said.push((field, text.trim().to_owned())),
                None => faults.push(Fault::new(
                    header,
                    *text,
                    format!("stands not on the form {}; leave the cell empty", form.word),
                )),
            }
        }
        if let Some(place) = &place {
            for name in Sheets::top_fields() {
                let here = said.iter().find(|(f, _)| f.name == name).map(|(_, text)| text.as_str());
                let holds = self.sheets.top(&place.sheet, name, here);
                if let (Some(holds), None, Some(field)) = (holds, here, table.field(name)) {
                    // A drill's own sheet names drills line by line.
                    if !(name == "drill" && form.kind == "drill") {
                        said.push((field, holds));
                    }
                }
            }
        }
        let mut json = Map::from_iter([("kind".to_owned(), json!(form.kind))]);
        if let Some(day) = cell("day") {
            json.insert("day".to_owned(), json!(day));
        }
        let drill = said.iter().find(|(f, _)| f.name == "drill").map(|(_, text)| text.clone());
        for (field, text) in &said {
            match self.typed(field, text, drill.as_deref(), line, intake) {
                Ok(value) => {
                    json.insert(field.name.clone(), value);
                }
                Err(found) => faults.push(found),
            }
        }
        self.complete(&mut json, form.columns.iter().any(|c| c.field == "at"));
        if place.is_some() {
            // Typed at base, unless the sheet names the watch it was read from.
            json.entry("clock").or_insert_with(|| json!("base"));
        }
        let row = self.done(json, faults, line)?;
        Ok(Row { sheet: place, ..row })
    }

    /// The time of a row of a form that has no column for it: when the person came, else the beginning of the day. Nothing that is written
    /// elsewhere moves it, so that the same sheet is always the same entry.
    fn complete(&self, json: &mut Map<String, Value>, timed: bool) {
        if timed || json.contains_key("at") {
            return;
        }
        let came = json.get("joined_at").cloned();
        let at = came.or_else(|| self.times.of(None).read("00:00:00").ok().map(|at| json!(at)));
        json.extend(at.map(|at| ("at".to_owned(), at)));
    }

    /// A cell as a person types it.
    fn typed(
        &self,
        field: &Field,
        cell: &str,
        drill: Option<&str>,
        line: usize,
        intake: &mut Intake,
    ) -> Result<Value, Fault> {
        let text = cell.trim();
        let context = self.times.of(drill);
        let numeric = matches!(field.shape, Shape::Number | Shape::Integer);
        if let Some(with_point) = decimal_comma(text).filter(|_| numeric && self.commas) {
            intake.first_comma.get_or_insert(line);
            return from_text(field, &with_point, &context);
        }
        if field.shape == Shape::Time && !text.ends_with(['Z', 'z']) && Time::parse(text).is_err() {
            intake.without_zone += 1;
        }
        // A tick.
        let ticked = self.of_sheets && field.shape == Shape::Flag && ["x", "X", "✓"].contains(&text);
        from_text(field, if ticked { "yes" } else { text }, &context)
    }

    fn done(&mut self, json: Map<String, Value>, faults: Vec<Fault>, line: usize) -> Result<Row, Vec<Fault>> {
        if !faults.is_empty() {
            return Err(faults);
        }
        // A sheet that says its drill's start may count from it in the rows below.
        let text = |key: &str| json.get(key).and_then(Value::as_str);
        if let (Some("start"), Some(drill), Some(Ok(at))) =
            (text("step"), text("drill"), text("at").map(Time::parse))
        {
            self.times.started(drill, at);
        }
        Ok(row_of(json, line))
    }
}

/// Every column must be a field of the kind, or of some kind where the rows say theirs; on sheets a heading of some form.
fn check_header(
    name: &str,
    line: usize,
    header: &[String],
    kind: Option<&str>,
    of_sheets: bool,
) -> Result<(), Failure> {
    let refused = |why: String| {
        Failure::refused(format!("{name}, line {line} (the header): {why}; nothing was written"))
    };
    for (i, column) in header.iter().enumerate() {
        if !column.is_empty() && header[..i].contains(column) {
            return Err(refused(format!("column \"{column}\" stands twice")));
        }
    }
    let has = |name: &str| header.iter().any(|h| same(h, name));
    if of_sheets {
        if !has(FORM) && !has("kind") && kind.is_none_or(|word| paper::form(word).is_none()) {
            return Err(refused(format!(
                "no column \"{FORM}\" among {}; add one, or say with --kind what the rows are",
                header.join(", ")
            )));
        }
        let strange = header.iter().find(|h| !h.is_empty() && !paper::is_heading(h));
        return strange.map_or(Ok(()), |h| Err(refused(format!("\"{h}\" stands on no form"))));
    }
    let by_column = has("kind");
    let kinds: Vec<&Kind> = match (by_column, kind) {
        (true, _) => KINDS.iter().collect(),
        (false, Some(word)) => vec![entry::kind(word).ok_or_else(|| refused(no_kind(word)))?],
        (false, None) => {
            return Err(refused(format!(
                "no column \"kind\" among {}; add one, or say with --kind what the rows are",
                header.join(", ")
            )));
        }
    };
    for column in header {
        if !BESIDES.contains(&column.as_str()) && kinds.iter().all(|k| k.field(column).is_none()) {
            let of = kind.filter(|_| !by_column).map_or_else(|| "any kind".to_owned(), |k| format!("a {k}"));
            let known: Vec<&str> = match kinds.as_slice() {
                [only] => only.fields.iter().map(|f| f.name.as_str()).collect(),
                _ => Vec::new(),
            };
            let advice = if known.is_empty() {
                "`firnbook log KIND --help` shows the fields".to_owned()
            } else {
                format!("its fields are {}", known.join(", "))
            };
            return Err(refused(format!("\"{column}\" is no field of {of}; {advice}")));
        }
    }
    Ok(())
}

fn no_form(word: &str) -> String {
    let forms: Vec<&str> = crate::paper::headings::FORMS.iter().map(|f| f.word).collect();
    let named =
        if word.is_empty() { "no form is given".to_owned() } else { format!("\"{word}\" is no form") };
    format!("{named}; write one of {}", forms.join(", "))
}

/// A cell as an export wrote it: the value itself, no units and no shorthand.
fn exact(field: &Field, cell: &str) -> Result<Value, Fault> {
    let value = match &field.shape {
        Shape::Number | Shape::Integer | Shape::Flag | Shape::Json => serde_json::from_str(cell)
            .map_err(|e| Fault::new(&field.name, cell, format!("can't be read: {e}")))?,
        Shape::Labels(_) => match serde_json::from_str::<Vec<String>>(cell) {
            Ok(labels) => json!(labels),
            Err(_) => cell.split(';').collect(),
        },
        _ => json!(cell),
    };
    check_value(field, &value).map_or(Ok(value), Err)
}

fn no_kind(word: &str) -> String {
    let known: Vec<&str> = KINDS.iter().map(|k| k.name.as_str()).collect();
    let named = if word.is_empty() {
        "no kind is given".to_owned()
    } else {
        format!("\"{word}\" is no kind of entry")
    };
    format!("{named}; write one of {}", known.join(", "))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::HashMap;

    fn times() -> DayTimes {
        let now = Time::parse("2027-02-06T12:00:00.000+01:00").unwrap();
        DayTimes {
            now,
            date: now.datetime().date_naive(),
            offset: *now.datetime().offset(),
            starts: HashMap::new(),
        }
    }

    fn intake(text: &str, kind: Option<&str>) -> Result<Intake, String> {
        read("f.csv", text, kind, times()).map_err(|e| format!("{e:?}"))
    }

    #[test]
    fn cells_are_read_as_flags_are() {
        let found =
            intake("kind,at,drill,depth,outcome\nstrike,10:08:20,1,1.1m,hit\n,,,,\nnote,1009,,,", None)
                .unwrap();
        assert_eq!(found.rows[0].draft.json["depth_cm"], json!(110));
        assert_eq!(found.rows[0].draft.json["at"], json!("2027-02-06T10:08:20.000+01:00"));
        assert_eq!((found.rows.len(), found.rows[1].draft.line), (2, Some(4)));
        assert!(found.faults.is_empty());
    }

    #[test]
    fn a_row_with_an_id_says_exactly_what_the_entry_said() {
        let text = "kind,id,day,at,by,drill,depth_cm,note,rest\nstrike,01KH5QX2M8Z4T6V9B3C1D7E0FG,0d55,2027-02-06T10:08:20Z,Fox,1,1.5, a note ,\"{\"\"sky\"\":1}\"\n";
        let found = intake(text, None).unwrap();
        let Row { day, draft, .. } = &found.rows[0];
        assert_eq!(day.as_deref(), Some("0d55"));
        assert_eq!([&draft.json["depth_cm"], &draft.json["sky"]], [&json!(1.5), &json!(1)]);
        assert_eq!(
            [&draft.json["note"], &draft.json["at"]],
            [&json!(" a note "), &json!("2027-02-06T10:08:20Z")]
        );
    }

    #[test]
    fn a_sheet_counts_from_its_own_start() {
        let found = intake(
            "kind,at,drill,step\nmoment,10:05,1,start\nmoment,+3:20,1,strike\nmoment,+1:00,2,strike",
            None,
        )
        .unwrap();
        assert_eq!(found.rows[1].draft.json["at"], json!("2027-02-06T10:08:20.000+01:00"));
        assert_eq!(found.faults[0].line, Some(4));
    }

    #[test]
    fn a_wrong_header_is_refused_before_any_row() {
        for (text, kind, says) in [
            ("at,depth\n", None, "no column"),
            ("kind,depht\n", None, "depht"),
            ("at,at\n", Some("note"), "stands twice"),
            ("at,depth_cm\n", Some("note"), "is no field of a note"),
            ("at\n", Some("nite"), "is no kind"),
        ] {
            let why = intake(text, kind).unwrap_err();
            assert!(why.contains(says), "{why}");
        }
    }

    #[test]
    fn faults_name_line_field_and_value() {
        let found =
            intake("kind,at,drill,depth_cm\nstrike,10:00,1,-1\nstrike,25:00,1,1e999\nstrike,10:00\n", None)
                .unwrap();
        let told: Vec<_> = found.faults.iter().map(|f| (f.line.unwrap(), f.fault.field.as_str())).collect();
        assert_eq!(told, [(2, "depth_cm"), (3, "at"), (3, "depth_cm"), (4, "row")]);
    }

    const SHEETS: &str = "form;sheet;line;observer;drill;watch;time;step;target;depth cm;lowest reading m;outcome\n\
        steps;A;1;Fox;1;;10:05;start;;;;\n\
        steps;a;2;;;;+3:20;fine;A;;;\n\
        strikes;A;3;;;;1008;;A;112;1,3;hit\n\
        form;sheet;line;observer;drill;target;item;sends\n\
        targets;B;1;Lynx;1;A;TX07;x\n";

    #[test]
    fn several_forms_stand_in_one_file_of_sheets() {
        let found = intake(SHEETS, None).unwrap();
        assert!(found.faults.is_empty(), "{:?}", found.faults);
        let json: Vec<Value> = found.rows.iter().map(|r| Value::Object(r.draft.json.clone())).collect();
        assert_eq!(json[1]["at"], json!("2027-02-06T10:08:20.000+01:00"));
        assert_eq!([&json[1]["by"], &json[1]["drill"], &json[1]["clock"]], ["Fox", "1", "base"]);
        assert_eq!([&json[2]["depth_cm"], &json[2]["lowest_reading_m"]], [&json!(112), &json!(1.3)]);
        assert_eq!((&json[3]["label"], &json[3]["transmits"]), (&json!("A"), &json!(true)));
        assert_eq!(json[3]["at"], json!("2027-02-06T00:00:00.000+01:00"));
        let places: Vec<_> =
            found.rows.iter().map(|r| r.sheet.clone().unwrap()).map(|s| (s.sheet, s.line)).collect();
        assert_eq!(places[1], ("A".to_owned(), 2));
        assert!(found.remarks.iter().any(|r| r.contains("semicolons")));
        assert!(found.remarks.iter().any(|r| r.contains("line 4")), "{:?}", found.remarks);
    }

    #[test]
    fn faults_of_sheets_name_their_line() {
        let text = "form,sheet,line,observer,drill,time,step,item\nsteps,A,1,Fox,1,10:05,start,\nsteps,A,1,Fox,1,10:06,fine,\nwalks,A,2,,,,,\nsteps,A,x,,,10:07,fine,\nsteps,,3,,1,10:08,fine,\nsteps,A,4,,,10:09,fine,TX01\n";
        let found = intake(text, None).unwrap();
        let told: Vec<_> = found.faults.iter().map(|f| (f.line.unwrap(), f.fault.field.as_str())).collect();
        assert_eq!(told, [(3, "line"), (4, "form"), (5, "line"), (6, "sheet"), (7, "item")]);
        assert!(intake("form,sheet,line,weather\n", None).unwrap_err().contains("no form"));
        assert!(intake("time,step\n", None).unwrap_err().contains("column"));
        assert!(
            intake("form,sheet,line,note\nnotes,A,1,\"open\n", None).unwrap_err().contains("never closed")
        );
    }
}
