//! One JSON object a line. Numbers are in the unit of the field, as in an export.

use super::text::LONGEST_LINE;
use super::{Intake, fault, row_of};
use firnbook_core::entry::Fault;
use serde_json::{Map, Value};

/// Reads JSON lines; empty lines are passed over. A line without a kind is of `kind`.
pub fn read(text: &str, kind: Option<&str>) -> Intake {
    let mut intake = Intake::default();
    for (line, text) in (1..).zip(text.lines()).filter(|(_, text)| !text.trim().is_empty()) {
        if text.len() > LONGEST_LINE {
            let why = format!("has {} bytes; no entry is longer than {LONGEST_LINE}", text.len());
            intake.faults.push(fault(line, Fault::new("json", &text[..text.floor_char_boundary(24)], why)));
            continue;
        }
        match serde_json::from_str::<Map<String, Value>>(text) {
            Ok(mut json) => {
                if let (Some(kind), false) = (kind, json.contains_key("kind")) {
                    json.insert("kind".to_owned(), kind.into());
                }
                intake.rows.push(row_of(json, line));
            }
            Err(e) => {
                let near: String = text.chars().skip(e.column().saturating_sub(12)).take(24).collect();
                let says = e.to_string();
                let says = says.split(" at line ").next().unwrap_or_default();
                let why =
                    format!("is no JSON object at column {}: {says}; write one object a line", e.column());
                intake.faults.push(fault(line, Fault::new("json", near, why)));
            }
        }
    }
    intake
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_bad_line_is_named() {
        let text = "{\"kind\":\"note\"}\n\n{\"kind\":\"note\",\"x_m\":1e999}\n{\"x_m\":NaN}\n[1]\n{\"a\":1} {\"b\":2}\n";
        let intake = read(text, None);
        assert_eq!(intake.rows.len(), 1);
        let lines: Vec<_> = intake.faults.iter().filter_map(|f| f.line).collect();
        assert_eq!(lines, [3, 4, 5, 6]);
        assert!(intake.faults[0].fault.why.contains("number out of range"));
    }

    #[test]
    fn a_line_that_is_no_entry_by_its_length_alone_is_not_taken_apart() {
        let text = format!("{{\"kind\":\"note\"}}\n{{\"x\":[{}0]}}\n", "0,".repeat(LONGEST_LINE / 2));
        let intake = read(&text, None);
        assert_eq!((intake.rows.len(), intake.faults[0].line), (1, Some(2)));
        assert!(intake.faults[0].fault.why.contains("4194304"));
    }

    #[test]
    fn a_kind_for_all_does_not_touch_lines_that_say_one() {
        let intake = read("{\"kind\":\"note\"}\n{\"note\":\"x\"}", Some("strike"));
        let kinds: Vec<_> = intake.rows.iter().map(|r| r.draft.json["kind"].as_str().unwrap()).collect();
        assert_eq!(kinds, ["note", "strike"]);
    }
}
