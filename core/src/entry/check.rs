//! The door: an entry is checked against its field table before it is written. What arrives by merge is not refused here; it becomes a doubt.

use super::label::label_fault;
use super::table::{Field, Kind, Shape};
use super::time::Time;
use super::{LABELS_MAX, OUTLINE_CORNERS_MAX, TRACK_POINTS_MAX};
use serde_json::{Map, Value};

/// One reason why an entry is refused: which field, which value, why, what to do.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize, schemars::JsonSchema)]
pub struct Fault {
    /// The field.
    pub field: String,
    /// The value that was given; empty where one is missing.
    pub value: String,
    /// What is wrong with it and what to write instead.
    pub why: String,
}

impl Fault {
    /// A fault of `field`. Of field and value the first 80 characters are told.
    #[must_use]
    pub fn new(field: &str, value: impl ToString, why: impl Into<String>) -> Fault {
        Fault { field: cut(field), value: cut(&value.to_string()), why: why.into() }
    }
}

fn cut(text: &str) -> String {
    match text.char_indices().nth(80) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text.to_owned(),
    }
}

impl std::fmt::Display for Fault {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        if self.value.is_empty() {
            write!(f, "{}: {}", self.field, self.why)
        } else {
            write!(f, "{}: {}: {}", self.field, self.value, self.why)
        }
    }
}

/// Every fault of an entry of this kind. Fields that the kind does not have are a newer version's and pass.
#[must_use]
pub fn check(kind: &Kind, json: &Map<String, Value>) -> Vec<Fault> {
    let mut given = vec![false; kind.fields.len()];
    let mut faults: Vec<(usize, Fault)> = Vec::new();
    for (name, value) in json.iter().filter(|(_, value)| !value.is_null()) {
        let Some(place) = kind.fields.iter().position(|f| f.name == *name) else { continue };
        given[place] = true;
        faults.extend(check_value(&kind.fields[place], value).map(|fault| (place, fault)));
    }
    faults.sort_by_key(|(place, _)| *place);
    let missing = kind.fields.iter().zip(&given).filter(|(f, given)| f.required && !**given);
    let missing = missing
        .map(|(f, _)| Fault::new(&f.name, "", format!("is missing; a {} needs it ({})", kind.name, f.text)));
    let mut faults: Vec<Fault> = missing.chain(faults.into_iter().map(|(_, fault)| fault)).collect();
    let has = |name: &str| kind.fields.iter().zip(&given).any(|(f, given)| *given && f.name == name);
    for (one, other) in [("x_m", "y_m"), ("lat", "lon"), ("origin_lat", "origin_lon")] {
        if has(one) != has(other) {
            let (here, gone) = if has(one) { (one, other) } else { (other, one) };
            faults.push(Fault::new(
                gone,
                "",
                format!("is missing; {here} is given, and a position needs both"),
            ));
        }
    }
    faults
}

/// What is wrong with one value of a field, if anything.
#[must_use]
pub fn check_value(field: &Field, value: &Value) -> Option<Fault> {
    let fault = |why: String| Some(Fault::new(&field.name, value, why));
    let out_of_range = |n: f64| field.min.is_some_and(|min| n < min) || field.max.is_some_and(|max| n > max);
    match &field.shape {
        Shape::Number | Shape::Integer => {
            let Some(n) = value.as_f64().filter(|n| n.is_finite()) else {
                return fault(format!("is no number; write {} as a JSON number", field.text.to_lowercase()));
            };
            // 7.0 too: it is a whole number, but no field of whole numbers reads it.
            if field.shape == Shape::Integer && !value.is_i64() && !value.is_u64() {
                return fault("is no whole number; write it without a decimal point".to_owned());
            }
            if out_of_range(n) {
                return fault(format!(
                    "is out of range; allowed is {}",
                    field.range_text().unwrap_or_default()
                ));
            }
            None
        }
        Shape::Flag => {
            if value.is_boolean() {
                None
            } else {
                fault("is neither true nor false".to_owned())
            }
        }
        Shape::Time => match value.as_str().map(Time::parse) {
            Some(Ok(_)) => None,
            Some(Err(why)) => Some(Fault::new(&field.name, "", why)),
            None => fault("is no time; write it as RFC 3339 text".to_owned()),
        },
        Shape::Choice(words) => {
            if value.as_str().is_some_and(|v| words.iter().any(|(w, _)| w == v)) {
                return None;
            }
            let allowed: Vec<&str> = words.iter().map(|(w, _)| w.as_str()).collect();
            fault(format!("is not one of {}", allowed.join(", ")))
        }
        Shape::Text(form) => match value.as_str() {
            Some(text) => form.fault(text).and_then(|why| fault(why.to_owned())),
            None => fault("is no text".to_owned()),
        },
        Shape::Label(_) => check_label(field, value),
        Shape::Labels(_) => match value.as_array() {
            Some(list) if list.len() > LABELS_MAX => Some(Fault::new(
                &field.name,
                "",
                format!("has {} labels; split it into entries of at most {LABELS_MAX}", list.len()),
            )),
            Some(list) => list.iter().find_map(|v| check_label(field, v)),
            None => fault("is no list of labels".to_owned()),
        },
        Shape::Json => match field.name.as_str() {
            "outline" => check_outline(value).and_then(fault),
            "points" => check_points(value).map(|why| Fault::new(&field.name, "", why)),
            _ => None,
        },
    }
}

fn check_label(field: &Field, value: &Value) -> Option<Fault> {
    let why = match value.as_str() {
        None => Some("is no text"),
        Some(text) => label_fault(text),
    };
    why.map(|why| Fault::new(&field.name, value, why))
}

fn check_outline(value: &Value) -> Option<String> {
    let is_corner = |c: &Value| {
        c.as_array()
            .is_some_and(|xy| xy.len() == 2 && xy.iter().all(|n| n.as_f64().is_some_and(f64::is_finite)))
    };
    let corners = value.as_array().filter(|corners| corners.len() >= 3 && corners.iter().all(is_corner));
    match corners.map(Vec::len) {
        None => Some("is no outline; write at least three corners as [[x, y], …] in metres".to_owned()),
        Some(n) if n > OUTLINE_CORNERS_MAX => {
            Some(format!("has {n} corners; write at most {OUTLINE_CORNERS_MAX}"))
        }
        Some(_) => None,
    }
}

fn check_points(value: &Value) -> Option<String> {
    let list = |key: &str| value.get(key).and_then(Value::as_array).map(Vec::len);
    let (Some(t), Some(x), Some(y)) = (list("t_ms"), list("x"), list("y")) else {
        return Some("needs the lists t_ms, x and y".to_owned());
    };
    let finite = |key: &str| {
        value
            .get(key)
            .and_then(Value::as_array)
            .is_some_and(|l| l.iter().all(|n| n.as_f64().is_some_and(f64::is_finite)))
    };
    if let Some(key) = ["t_ms", "x", "y"].into_iter().find(|key| !finite(key)) {
        return Some(format!("{key} holds what is no number"));
    }
    let whole = value.get("t_ms").and_then(Value::as_array).is_some_and(|l| l.iter().all(Value::is_i64));
    if !whole {
        return Some("t_ms holds what is no whole number; write it without a decimal point".to_owned());
    }
    if t != x || t != y || t == 0 {
        return Some(format!(
            "lists must be of one length and not empty; t_ms has {t}, x has {x}, y has {y}"
        ));
    }
    if t > TRACK_POINTS_MAX {
        return Some(format!("has {t} points; split it into entries of at most {TRACK_POINTS_MAX}"));
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::entry::{Entry, KINDS, kind};
    use serde_json::json;

    /// A sample of every kind.
    const SAMPLES: &str = include_str!("../../../tests/checks/entries.jsonl");

    fn samples() -> Vec<Map<String, Value>> {
        SAMPLES.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }

    fn track(t_ms: &str) -> Value {
        serde_json::from_str(&format!(r#"{{"t_ms":[{t_ms}],"x":[1],"y":[1.5],"z":7}}"#)).unwrap()
    }

    /// Values that another program may write in good faith, or not.
    fn odd_values() -> Vec<Value> {
        let mut values =
            vec![json!(""), json!(" "), json!("abc"), json!("a/b"), json!({}), json!([]), json!([null])];
        values.extend([
            json!(true),
            json!(-1),
            json!(7),
            json!(7.0),
            json!(1.5),
            json!(1e300),
            json!(u64::MAX),
        ]);
        values.extend([
            json!(["Fox"]),
            json!(["Fox", 7]),
            json!("0".repeat(32)),
            json!("0".repeat(64)),
            json!("\0"),
        ]);
        values.extend([
            json!("2027-02-06T10:00:00Z"),
            json!("2027-02-06"),
            json!("01KH5QX2M8Z4T6V9B3C1D7E0FG"),
        ]);
        values.extend([
            json!([[0, 0], [1, 0], [1, 1.5]]),
            json!([["0", 0], [1, 0], [1, 1]]),
            json!([[0], [1], [2]]),
        ]);
        values.extend(["7", "7.0", "1.5", "1e300", "18446744073709551615", "null", "\"7\"", ""].map(track));
        let words = KINDS.iter().flat_map(|k| &k.fields).filter_map(|field| match &field.shape {
            Shape::Choice(words) => words.first().map(|(word, _)| json!(word)),
            _ => None,
        });
        values.extend(words);
        values
    }

    #[test]
    fn what_is_let_in_can_be_read() {
        let (mut allowed, mut refused) = (0, 0);
        for sample in samples() {
            let table = kind(sample["kind"].as_str().unwrap()).unwrap();
            for field in &table.fields {
                for value in odd_values() {
                    if check_value(field, &value).is_some() {
                        refused += 1;
                        continue;
                    }
                    let mut entry = sample.clone();
                    entry.insert(field.name.clone(), value.clone());
                    let read = Entry::from_json(&entry);
                    assert!(read.is_ok(), "{} {} {value}: {}", table.name, field.name, read.unwrap_err());
                    allowed += 1;
                }
            }
        }
        assert!(allowed > 1_000 && refused > 1_000, "{allowed} allowed, {refused} refused");
        let sampled = |kind: &Kind| samples().iter().any(|sample| sample["kind"] == kind.name.as_str());
        assert!(KINDS.iter().all(sampled));
    }

    fn why(kind_name: &str, field: &str, value: &Value) -> String {
        let field = kind(kind_name).unwrap().field(field).unwrap();
        check_value(field, value).map(|fault| fault.why).unwrap_or_default()
    }

    #[test]
    fn a_whole_number_has_no_decimal_point() {
        assert_eq!(
            why("strike", "holes", &json!(7.0)),
            "is no whole number; write it without a decimal point"
        );
        assert_eq!(why("strike", "holes", &json!(7)), "");
        assert!(why("track", "points", &track("1801904400000.0")).contains("without a decimal point"));
        assert_eq!(why("track", "points", &track("1801904400000")), "");
    }

    #[test]
    fn every_value_has_a_largest_size() {
        let note = |n: usize| why("note", "note", &json!("山".repeat(n)));
        assert_eq!((note(10_000).as_str(), note(10_001).contains("10,000")), ("", true));
        let label = |n: usize| why("target", "label", &json!("山".repeat(n)));
        assert_eq!((label(200).as_str(), label(201).contains("200")), ("", true));
        let labels = |n: usize| why("rotation", "shovellers", &json!(vec!["Fox"; n]));
        assert_eq!((labels(200).as_str(), labels(201).contains("201 labels")), ("", true));
        let outline = |n: usize| why("drill", "outline", &json!(vec![[0.5, 1.0]; n]));
        assert_eq!((outline(1_000).as_str(), outline(1_001).contains("1001 corners")), ("", true));
        assert!(outline(2).contains("at least three corners"));
        assert!(why("drill", "outline", &json!("abc")).contains("is no outline"));
        let points =
            |n: usize| why("track", "points", &json!({"t_ms": vec![1; n], "x": vec![1; n], "y": vec![1; n]}));
        assert_eq!((points(10_000).as_str(), points(10_001).contains("10001 points")), ("", true));
    }

    #[test]
    fn names_and_codes_have_a_form() {
        let (id, hash) = ("0a".repeat(16), "0a".repeat(32));
        for (kind, field, good, bad) in [
            ("person", "team", "Red 1", ["", " ", "a:b", "a\0"]),
            ("drill", "team", "Red 1", ["", "a/b", "a~b", "a!b"]),
            ("person", "member", "k7-M_2", ["", "Ann Example", "é", "a\0"]),
            ("note", "file_sha256", &hash, ["", "zz", &id, "0A"]),
            ("clock", "device", &id, ["", "0011223344556677", &hash, "base"]),
            ("clock", "base", &id, ["", "x", &hash, "base"]),
            ("clock", "of", "12", ["", "0123456789", "1.0", "-1"]),
            ("strike", "clock", "0a0b:2", ["", " ", "a\nb", "\u{7f}"]),
            ("strike", "id", "01KH5QX2M8Z4T6V9B3C1D7E0FG", ["", "01kh5qx2m8z4t6v9b3c1d7e0fg", "x", "7"]),
        ] {
            assert_eq!(why(kind, field, &json!(good)), "", "{kind} {field}");
            for bad in bad {
                assert_ne!(why(kind, field, &json!(bad)), "", "{kind} {field} {bad:?}");
            }
        }
        assert_ne!(why("person", "member", &json!("x".repeat(65))), "");
        assert_ne!(why("strike", "clock", &json!("x".repeat(201))), "");
        assert_ne!(why("clock", "uncertainty_ms", &json!(-5)), "");
        assert_ne!(why("clock", "offset_ms", &json!(1e300)), "");
        // A clock that lost its battery shows 1970.
        assert_eq!(why("clock", "offset_ms", &json!(1_801_904_400_000_i64)), "");
    }
}
