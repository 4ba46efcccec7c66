//! Entries of a kind as lines of CSV, with every field and nothing hidden; the door reads them again.

use super::Kind;
use serde_json::{Map, Value};

/// The column of the day.
const DAY: &str = "day";
/// The column of the kind, behind that of the id.
const KIND: &str = "kind";
/// The column of the fields that this version has no name for, as a JSON object.
const REST: &str = "rest";

impl Kind {
    /// The headers of its CSV: the day, its fields, what a newer version wrote besides.
    #[must_use]
    pub fn csv_headers(&self) -> Vec<&str> {
        let mut headers = vec![DAY];
        for field in &self.fields {
            headers.push(&field.name);
            if field.name == "id" {
                headers.push(KIND);
            }
        }
        headers.push(REST);
        headers
    }

    /// The cells of one entry under these headers.
    #[must_use]
    pub fn csv_cells(&self, day: &str, entry: &Map<String, Value>) -> Vec<String> {
        let headers = self.csv_headers();
        let rest: Map<String, Value> = entry
            .iter()
            .filter(|(name, _)| !headers.contains(&name.as_str()))
            .map(|(name, value)| (name.clone(), value.clone()))
            .collect();
        let cell = |header: &&str| match *header {
            DAY => day.to_owned(),
            REST if rest.is_empty() => String::new(),
            REST => Value::Object(rest.clone()).to_string(),
            name => entry.get(name).map_or_else(String::new, csv_cell),
        };
        headers.iter().map(cell).collect()
    }
}

/// A value as a CSV cell: lists of labels with semicolons where no label holds one, everything else that is not plain as JSON.
#[must_use]
pub fn csv_cell(value: &Value) -> String {
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
    use crate::entry::kind;
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
        assert_eq!(
            cells.map(|c| csv_cell(&c)),
            ["", "110.0", "true", "a,b", "Fox;Lynx", "[\"a;b\"]", "[[0,1]]"]
        );
    }

    #[test]
    fn what_a_newer_version_wrote_stands_in_the_last_cell() {
        let strike = kind("strike").unwrap();
        let Value::Object(entry) = json!({ "kind": "strike", "depth_cm": 112.0, "sky": 1 }) else {
            unreachable!()
        };
        let cells = strike.csv_cells("0d55", &entry);
        let at = |name: &str| &cells[strike.csv_headers().iter().position(|h| *h == name).unwrap()];
        assert_eq!(
            (cells[0].as_str(), at("kind").as_str(), at("depth_cm").as_str()),
            ("0d55", "strike", "112.0")
        );
        assert_eq!(cells.last().unwrap(), "{\"sky\":1}");
    }
}
