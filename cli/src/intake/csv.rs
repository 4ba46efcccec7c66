//! CSV with a header of field names. Cells are read as flags are: with or without a unit, times of day, empty is absent.

use super::{Intake, draft, fault};
use crate::desk::DayTimes;
use crate::failure::Failure;
use firnbook_core::entry::{self, Fault, Field, KINDS, Kind, Shape, Time, check_value, from_text};
use serde_json::{Map, Value, json};

/// Columns that are no fields: what the row is, its day, and in an export what a newer version wrote besides.
const BESIDES: [&str; 3] = ["kind", "day", "rest"];

/// Reads CSV whose first line names the fields; without a column `kind` every row is of `kind`.
///
/// # Errors
/// A header that can't be meant; nothing is read then.
pub fn read(name: &str, text: &str, kind: Option<&str>, mut times: DayTimes) -> Result<Intake, Failure> {
    let mut reader =
        csv::ReaderBuilder::new().flexible(true).trim(csv::Trim::Headers).from_reader(text.as_bytes());
    let header: Vec<String> = match reader.headers() {
        Ok(header) => header.iter().map(str::to_owned).collect(),
        Err(e) => return Err(Failure::refused(format!("{name}, line 1: {e}"))),
    };
    check_header(name, &header, kind)?;
    let mut intake = Intake::default();
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
        if record.len() != header.len() {
            let why = format!(
                "has {} cells, the header {}; put text with commas in quotes",
                record.len(),
                header.len()
            );
            intake
                .faults
                .push(fault(line, Fault::new("row", record.iter().collect::<Vec<_>>().join(","), why)));
            continue;
        }
        let cells: Vec<(&str, &str)> = header.iter().map(String::as_str).zip(record.iter()).collect();
        match row(&cells, kind, &mut times) {
            Ok(json) => intake.drafts.push(draft(json, line)),
            Err(faults) => intake.faults.extend(faults.into_iter().map(|f| fault(line, f))),
        }
    }
    Ok(intake)
}

/// Every column must be a field of the kind, or of some kind where the rows say theirs.
fn check_header(name: &str, header: &[String], kind: Option<&str>) -> Result<(), Failure> {
    let refused =
        |why: String| Failure::refused(format!("{name}, line 1 (the header): {why}; nothing was written"));
    let by_column = header.iter().any(|h| h == "kind");
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
    for (i, column) in header.iter().enumerate() {
        if header[..i].contains(column) {
            return Err(refused(format!("column \"{column}\" stands twice")));
        }
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

fn row(
    cells: &[(&str, &str)],
    kind: Option<&str>,
    times: &mut DayTimes,
) -> Result<Map<String, Value>, Vec<Fault>> {
    let cell = |name: &str| cells.iter().find(|(h, c)| *h == name && !c.trim().is_empty()).map(|(_, c)| *c);
    let word = cell("kind").map(str::trim).or(kind).unwrap_or_default();
    let table = entry::kind(word).ok_or_else(|| vec![Fault::new("kind", word, no_kind(word))])?;
    let drill = cell("drill").map(str::trim);
    let context = times.of(drill);
    // A row that has an id comes out of an export and says exactly what the entry said; any other was typed by a person.
    let typed = cell("id").is_none();
    let mut json = Map::from_iter([("kind".to_owned(), json!(word))]);
    let mut faults = Vec::new();
    for (header, cell) in cells.iter().filter(|(h, c)| *h != "kind" && !c.trim().is_empty()) {
        let read = match (table.field(header), *header) {
            (Some(field), _) if typed => {
                from_text(field, cell.trim(), &context).map(|v| (field.name.clone(), v))
            }
            (Some(field), _) => exact(field, cell).map(|v| (field.name.clone(), v)),
            (None, "day") => Ok(("day".to_owned(), json!(cell))),
            (None, "rest") if !typed => match serde_json::from_str(cell) {
                Ok(Value::Object(rest)) => {
                    json.extend(rest);
                    continue;
                }
                _ => Err(Fault::new(header, cell, "is no JSON object")),
            },
            (None, _) => {
                Err(Fault::new(header, cell, format!("is no field of a {word}; leave the cell empty")))
            }
        };
        match read {
            Ok((name, value)) => {
                json.insert(name, value);
            }
            Err(found) => faults.push(found),
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    // A sheet that says its drill's start may count from it in the rows below.
    let text = |key: &str| json.get(key).and_then(Value::as_str);
    if let (Some("start"), Some(drill), Some(Ok(at))) = (text("step"), drill, text("at").map(Time::parse)) {
        times.started(drill, at);
    }
    Ok(json)
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
        assert_eq!(found.drafts[0].1.json["depth_cm"], json!(110));
        assert_eq!(found.drafts[0].1.json["at"], json!("2027-02-06T10:08:20.000+01:00"));
        assert_eq!((found.drafts.len(), found.drafts[1].1.line), (2, Some(4)));
        assert!(found.faults.is_empty());
    }

    #[test]
    fn a_row_with_an_id_says_exactly_what_the_entry_said() {
        let text = "kind,id,day,at,by,drill,depth_cm,note,rest\nstrike,01KH5QX2M8Z4T6V9B3C1D7E0FG,0d55,2027-02-06T10:08:20Z,Fox,1,1.5, a note ,\"{\"\"sky\"\":1}\"\n";
        let found = intake(text, None).unwrap();
        let (day, draft) = &found.drafts[0];
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
        assert_eq!(found.drafts[1].1.json["at"], json!("2027-02-06T10:08:20.000+01:00"));
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
}
