//! The door: an entry is checked against its field table before it is written. What arrives by merge is not refused here; it becomes a doubt.

use super::table::{Field, Kind, Shape};
use super::time::Time;
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
            if field.shape == Shape::Integer && n.fract() != 0.0 {
                return fault("is no whole number".to_owned());
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
        Shape::Text => {
            if value.is_string() {
                None
            } else {
                fault("is no text".to_owned())
            }
        }
        Shape::Label(_) => check_label(field, value),
        Shape::Labels(_) => match value.as_array() {
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
        None => "is no text",
        Some(text) if text.trim().is_empty() => "is empty; write a label",
        Some(text) if text.chars().count() > 200 => "is longer than 200 characters",
        Some(text) if text.chars().any(|c| c.is_control() || "/:~!".contains(c)) => {
            "holds a control character or one of / : ~ ! which the log uses itself; leave it out"
        }
        Some(_) => return None,
    };
    Some(Fault::new(&field.name, value, why))
}

fn check_outline(value: &Value) -> Option<String> {
    let corners = value.as_array()?;
    let is_corner = |c: &Value| {
        c.as_array()
            .is_some_and(|xy| xy.len() == 2 && xy.iter().all(|n| n.as_f64().is_some_and(f64::is_finite)))
    };
    if corners.len() < 3 || !corners.iter().all(is_corner) {
        return Some("is no outline; write at least three corners as [[x, y], …] in metres".to_owned());
    }
    None
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
    if t != x || t != y || t == 0 {
        return Some(format!(
            "lists must be of one length and not empty; t_ms has {t}, x has {x}, y has {y}"
        ));
    }
    if t > super::TRACK_POINTS_MAX {
        return Some(format!("has {t} points; split it into entries of at most {}", super::TRACK_POINTS_MAX));
    }
    None
}
