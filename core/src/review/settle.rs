//! Settling, planned: which registers a person's verdict on items writes. Nothing is written here; the logbook writes all of a plan at once, and
//! puts beside a void what its writer has seen.

use super::item::{Item, Sort};
use crate::day::{Key, Record, disagree, json_equal};
use crate::entry::{
    Entry, EntryId, Fault, Field, LabelClass, Shape, TimeContext, check_value, fold, from_text, kind,
};
use serde_json::Value;

/// What a person says about an item.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum))]
#[derive(Clone, Debug, PartialEq)]
pub enum Verdict {
    /// The value of this short code is right.
    Keep(String),
    /// This value is right, or of a dangling label: this label is meant.
    Value(Value),
    /// One event.
    Same,
    /// Two events.
    Different,
    /// This entry is struck out, for this reason.
    Void(EntryId, String),
    /// Looked at, and true.
    Accept,
}

impl Verdict {
    /// The word a person types for it.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self {
            Verdict::Keep(_) => "keep",
            Verdict::Value(_) => "value",
            Verdict::Same => "same",
            Verdict::Different => "different",
            Verdict::Void(..) => "void",
            Verdict::Accept => "accept",
        }
    }
}

/// Which items are settled.
#[derive(Clone, Copy, Debug)]
pub enum Choice<'a> {
    /// These, by short code, by the beginning of one that only one item has, or by whole key.
    These(&'a [String]),
    /// All of a sort.
    All(Sort),
}

/// What settling one item writes.
#[derive(Clone, Debug, PartialEq)]
pub struct Settled {
    /// The key of the item.
    pub item: String,
    /// Its short code.
    pub code: String,
    /// The entries that the item is about.
    pub entries: Vec<EntryId>,
    /// The registers and their values.
    pub writes: Vec<(Key, Value)>,
}

/// Why nothing is settled.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[expect(missing_docs, reason = "the text of each says it")]
pub enum SettleError {
    #[error("no item has the code \"{code:.80}\"{}; review lists the items and their codes", nearly(.near))]
    Unknown { code: String, near: Vec<String> },
    #[error("\"{code}\" begins the codes of several items: {}; write more of the one that is meant", .of.join(", "))]
    Ambiguous { code: String, of: Vec<String> },
    #[error("item {code} is missing, which nobody can settle: {says}; write an entry that says it")]
    Missing { code: String, says: String },
    #[error("item {code} is a {sort}; \"{verdict}\" does not settle it, {fits} does")]
    DoesNotFit { code: String, sort: &'static str, verdict: &'static str, fits: String },
    #[error("item {code} has no value with the code \"{value:.80}\"; it has {}", .has.join(", "))]
    NoSuchValue { code: String, value: String, has: Vec<String> },
    #[error("entry {id} is not part of item {code}; it is about {}", .has.join(", "))]
    NotPartOf { code: String, id: EntryId, has: Vec<String> },
    #[error("item {code}: {fault}")]
    Value { code: String, fault: Fault },
    #[error("item {code}: {field} holds a label, which is never amended; void the entry and write it anew")]
    Label { code: String, field: String },
    #[error(
        "item {code} already says so and still clashes: settle one of the other pairs that join these entries, which review lists beside it"
    )]
    SaysSoAlready { code: String },
}

fn nearly(near: &[String]) -> String {
    if near.is_empty() { String::new() } else { format!(" (near it: {})", near.join(", ")) }
}

/// What `verdict` on the chosen ones of `items` writes: for all of them, or for none.
///
/// # Errors
/// [`SettleError`] of the first item that can't be settled so.
pub fn plan(
    record: &Record,
    items: &[Item],
    choice: Choice<'_>,
    verdict: &Verdict,
) -> Result<Vec<Settled>, SettleError> {
    let chosen: Vec<&Item> = match choice {
        Choice::All(sort) => items.iter().filter(|i| i.sort == sort).collect(),
        Choice::These(codes) => {
            let mut chosen: Vec<&Item> = Vec::new();
            for code in codes {
                let item = find(items, code)?;
                if chosen.iter().all(|c| c.item != item.item) {
                    chosen.push(item);
                }
            }
            chosen
        }
    };
    let settle = |item: &Item| {
        let writes = writes(record, item, verdict)?;
        Ok(Settled {
            item: item.item.clone(),
            code: item.code.clone(),
            entries: item.entries.clone(),
            writes,
        })
    };
    chosen.into_iter().map(settle).collect()
}

/// The item of this code.
///
/// # Errors
/// [`SettleError::Unknown`] or [`SettleError::Ambiguous`].
pub fn find<'a>(items: &'a [Item], code: &str) -> Result<&'a Item, SettleError> {
    let typed = code.trim().to_lowercase();
    if let Some(item) = items.iter().find(|i| i.code == typed || i.item == code.trim()) {
        return Ok(item);
    }
    let begins: Vec<&Item> =
        items.iter().filter(|i| typed.len() >= 3 && i.code.starts_with(&typed)).collect();
    match begins.as_slice() {
        [one] => Ok(one),
        [] => {
            let mut near: Vec<(usize, &String)> =
                items.iter().map(|i| (strsim::damerau_levenshtein(&typed, &i.code), &i.code)).collect();
            near.retain(|(distance, _)| *distance <= 2);
            near.sort();
            let near = near.into_iter().take(3).map(|(_, c)| c.clone()).collect();
            Err(SettleError::Unknown { code: code.to_owned(), near })
        }
        several => {
            let of = several.iter().map(|i| i.code.clone()).collect();
            Err(SettleError::Ambiguous { code: code.to_owned(), of })
        }
    }
}

/// The field that a value for this item goes into; `None` where no value settles it, or where a newer version knows the field.
#[must_use]
pub fn field_of(record: &Record, item: &Item) -> Option<&'static Field> {
    match value_key(item)? {
        Key::Field(id, field) => {
            let noted = record.entries.iter().find(|n| n.id == id)?;
            let kind = kind(noted.json.get("kind").and_then(Value::as_str)?)?;
            kind.fields.iter().find(|f| f.name == field)
        }
        Key::Declared(class, _, field) => kind(class.word())?.fields.iter().find(|f| f.name == field),
        Key::Alias(class, _) => label_field(class),
        _ => None,
    }
}

/// Reads what a person typed as the value of an item; units are converted.
///
/// # Errors
/// [`SettleError::Value`] with what would do.
pub fn typed(record: &Record, item: &Item, text: &str, times: &TimeContext) -> Result<Value, SettleError> {
    match field_of(record, item) {
        Some(field) => from_text(field, text, times)
            .map_err(|fault| SettleError::Value { code: item.code.clone(), fault }),
        None => Ok(serde_json::from_str(text).unwrap_or_else(|_| Value::from(text))),
    }
}

/// The register that a value for this item is written into.
fn value_key(item: &Item) -> Option<Key> {
    match Key::read(&item.item) {
        Key::Accept(id, code) if item.sort == Sort::Doubt => match code.strip_prefix("dangling:") {
            Some(label) => Some(Key::read(&format!("alias:{label}"))).filter(|k| matches!(k, Key::Alias(..))),
            None => item.field.clone().map(|field| Key::Field(id, field)),
        },
        key @ (Key::Field(..) | Key::Declared(..) | Key::Alias(..)) => Some(key),
        _ => None,
    }
}

/// Any field that holds a label of this class: all are checked alike.
fn label_field(class: LabelClass) -> Option<&'static Field> {
    let fields = kind(if class == LabelClass::Item { "kit" } else { "moment" })?.fields.iter();
    fields.into_iter().find(|f| f.shape == Shape::Label(class))
}

fn writes(record: &Record, item: &Item, verdict: &Verdict) -> Result<Vec<(Key, Value)>, SettleError> {
    let code = item.code.clone();
    if item.sort == Sort::Missing {
        return Err(SettleError::Missing { code, says: item.says.clone() });
    }
    let key = Key::read(&item.item);
    let write = match (verdict, &key) {
        (Verdict::Void(id, reason), _) => {
            if !item.entries.contains(id) {
                let has = item.entries.iter().map(ToString::to_string).collect();
                return Err(SettleError::NotPartOf { code, id: *id, has });
            }
            (Key::Void(*id), Value::from(reason.as_str()))
        }
        (Verdict::Same | Verdict::Different, Key::Same(..)) => {
            let one = Value::Bool(*verdict == Verdict::Same);
            let said = record.registers.all(&key);
            if !disagree(said) && said.first().is_some_and(|s| json_equal(&s.v, &one)) {
                return Err(SettleError::SaysSoAlready { code });
            }
            (key, one)
        }
        (Verdict::Accept, Key::Accept(..)) => (key, Value::Bool(true)),
        (Verdict::Keep(wanted), _) if !item.values.is_empty() => {
            let (to, value) = keep(item, key, wanted)?;
            match unreadable(record, item, &to, &value) {
                Some(fault) => return Err(SettleError::Value { code, fault }),
                None => (to, value),
            }
        }
        (Verdict::Value(value), _) => match value_key(item) {
            Some(to) => (checked(record, item, to, value)?, value.clone()),
            None => return Err(does_not_fit(item, &key, verdict)),
        },
        _ => return Err(does_not_fit(item, &key, verdict)),
    };
    Ok(vec![write])
}

fn keep(item: &Item, key: Key, wanted: &str) -> Result<(Key, Value), SettleError> {
    let wanted = wanted.trim().to_lowercase();
    let begins =
        |v: &&super::ItemValue| v.code == wanted || (wanted.len() >= 3 && v.code.starts_with(&wanted));
    let found: Vec<_> = item.values.iter().filter(begins).collect();
    let [value] = found.as_slice() else {
        let has = item.values.iter().map(|v| format!("{} for {}", v.code, v.value)).collect();
        return Err(SettleError::NoSuchValue { code: item.code.clone(), value: wanted, has });
    };
    Ok(match key {
        // A body is chosen by its code: it is too long to be repeated, and stays where it is.
        Key::Body(_) => (key, Value::from(value.code.as_str())),
        Key::Accept(..) => (value_key(item).unwrap_or(key), value.value.clone()),
        _ => (key, value.value.clone()),
    })
}

/// The register, if the value may stand in it.
fn checked(record: &Record, item: &Item, to: Key, value: &Value) -> Result<Key, SettleError> {
    let code = item.code.clone();
    let Some(field) = field_of(record, item) else { return Ok(to) };
    if let Key::Alias(_, path) = &to {
        let own = value.as_str().is_some_and(|v| path.last().is_some_and(|l| *l == fold(v)));
        let fault = check_value(field, value).or_else(|| {
            own.then(|| Fault::new(&field.name, value, "is the label itself; write the one that is meant"))
        });
        return fault.map_or(Ok(to), |fault| Err(SettleError::Value { code, fault }));
    }
    let of_a_thing = matches!(to, Key::Declared(..));
    if !of_a_thing && matches!(field.shape, Shape::Label(_)) {
        return Err(SettleError::Label { code, field: field.name.clone() });
    }
    let fault = if value.is_null() {
        field.required.then(|| Fault::new(&field.name, "null", "is needed; write a value"))
    } else {
        check_value(field, value)
    };
    let fault = fault.or_else(|| unreadable(record, item, &to, value));
    fault.map_or(Ok(to), |fault| Err(SettleError::Value { code, fault }))
}

/// The fault of a value with which an entry can't be read that can be read as it is, or with another of the item's values.
fn unreadable(record: &Record, item: &Item, to: &Key, value: &Value) -> Option<Fault> {
    let Key::Field(id, field) = to else { return None };
    let noted = record.entries.iter().find(|n| n.id == *id)?;
    let read_with = |value: &Value| {
        let mut json = noted.json.clone();
        json.insert(field.clone(), value.clone());
        json.retain(|_, value| !value.is_null());
        Entry::from_json(&json)
    };
    let why = read_with(value).err()?;
    let is_readable = noted.entry.is_some() || item.values.iter().any(|v| read_with(&v.value).is_ok());
    is_readable.then(|| Fault::new(field, value, format!("can't be read then: {why}")))
}

fn does_not_fit(item: &Item, key: &Key, verdict: &Verdict) -> SettleError {
    let mut fits: Vec<&str> = Vec::new();
    match key {
        Key::Same(..) => fits.extend(["same", "different"]),
        Key::Accept(..) => fits.push("accept"),
        _ => {}
    }
    if !item.values.is_empty() {
        fits.push("keep");
    }
    if value_key(item).is_some() {
        fits.push("value");
    }
    if !item.entries.is_empty() {
        fits.push("void");
    }
    let code = item.code.clone();
    SettleError::DoesNotFit { code, sort: item.sort.word(), verdict: verdict.word(), fits: fits.join(" or ") }
}

#[cfg(test)]
mod tests {
    use super::super::testing::{day_with, entry, id, items};
    use super::*;
    use crate::day::Record;
    use serde_json::json;

    fn lines() -> Vec<String> {
        vec![
            entry(1, "Lead", "09:00:00", "drill", r#""label":"1","slope_deg":30"#),
            entry(2, "Obs1", "09:00:00", "drill", r#""label":"1","slope_deg":31"#),
            entry(3, "Lead", "09:00:00", "target", r#""drill":"1","label":"Anne""#),
            entry(4, "Obs1", "10:00:00", "moment", r#""drill":"1","target":"Anne","step":"signal""#),
            entry(5, "Obs2", "10:00:02", "moment", r#""drill":"1","target":"Anne","step":"signal""#),
            entry(6, "Obs2", "10:05:00", "strike", r#""drill":"1","target":"Anna","depth_cm":1100"#),
        ]
    }

    fn settled(registers: &[(String, String)]) -> Record {
        let texts: Vec<(&str, [&str; 1])> =
            registers.iter().map(|(k, v)| (k.as_str(), [v.as_str()])).collect();
        let registers: Vec<(&str, &[&str])> = texts.iter().map(|(k, v)| (*k, v.as_slice())).collect();
        day_with(&lines(), &registers)
    }

    /// The code of the item of this key.
    fn code(key: &str) -> Vec<String> {
        vec![crate::day::short_code(key)]
    }

    fn dangling() -> String {
        format!("{}!dangling:target:1:anna", id(6))
    }

    fn range() -> String {
        format!("{}!range:depth_cm", id(6))
    }

    fn twin() -> String {
        format!("{}~{}", id(4), id(5))
    }

    #[test]
    fn every_route_settles_its_item_for_good() {
        let record = settled(&[]);
        let open = items(&record);
        let thirty = open.iter().find(|i| i.item == "drill:1/slope_deg").unwrap().values[0].code.clone();
        let void = Verdict::Void(id(5), "told twice".to_owned());
        let routes = [
            (
                "drill:1/slope_deg".to_owned(),
                Verdict::Keep(thirty),
                "drill:1/slope_deg".to_owned(),
                json!(30),
            ),
            (
                "drill:1/slope_deg".to_owned(),
                Verdict::Value(json!(32)),
                "drill:1/slope_deg".to_owned(),
                json!(32),
            ),
            (twin(), Verdict::Same, twin(), json!(true)),
            (twin(), Verdict::Different, twin(), json!(false)),
            (twin(), void, format!("{}/void", id(5)), json!("told twice")),
            (range(), Verdict::Accept, range(), json!(true)),
            (range(), Verdict::Value(json!(110)), format!("{}/depth_cm", id(6)), json!(110)),
            (dangling(), Verdict::Value(json!("Anne")), "alias:target:1:anna".to_owned(), json!("Anne")),
            (dangling(), Verdict::Accept, dangling(), json!(true)),
        ];
        for (item, verdict, key, value) in routes {
            let plan = plan(&record, &open, Choice::These(&code(&item)), &verdict).unwrap();
            assert_eq!(plan[0].writes, [(Key::read(&key), value.clone())], "{item} {verdict:?}");
            let after = settled(&[(key, json!({ "v": value }).to_string())]);
            assert!(items(&after).iter().all(|i| i.item != item), "{item} is settled by {verdict:?}");
        }
    }

    #[test]
    fn a_near_label_can_be_kept_by_its_code() {
        let record = settled(&[]);
        let open = items(&record);
        let meant = open.iter().find(|i| i.item == dangling()).unwrap().values[0].code.clone();
        let plan = plan(&record, &open, Choice::These(&code(&dangling())), &Verdict::Keep(meant)).unwrap();
        assert_eq!(plan[0].writes, [(Key::read("alias:target:1:anna"), json!("Anne"))]);
    }

    #[test]
    fn a_value_that_cannot_be_read_is_not_kept() {
        for values in [[r#"{"v":110}"#, r#"{"v":"deep"}"#], [r#"{"v":"deep"}"#, r#"{"v":110}"#]] {
            let key = format!("{}/depth_cm", id(6));
            let record = day_with(&lines(), &[(&key, &values)]);
            let open = items(&record);
            let item = open.iter().find(|i| i.item == key).unwrap();
            let keep = |value: Value| {
                let kept = item.values.iter().find(|v| v.value == value).unwrap().code.clone();
                plan(&record, &open, Choice::These(&code(&key)), &Verdict::Keep(kept))
            };
            assert!(keep(json!("deep")).unwrap_err().to_string().contains("can't be read then"));
            assert_eq!(keep(json!(110)).unwrap()[0].writes, [(Key::read(&key), json!(110))]);
        }
    }

    #[test]
    fn many_at_once_or_none() {
        let record = settled(&[]);
        let open = items(&record);
        assert_eq!(plan(&record, &open, Choice::All(Sort::Twin), &Verdict::Same).unwrap().len(), 1);
        let mixed = [code(&twin()), code(&range())].concat();
        assert!(plan(&record, &open, Choice::These(&mixed), &Verdict::Same).is_err());
    }

    #[test]
    fn errors_name_the_item_the_value_and_the_remedy() {
        let record = settled(&[]);
        let open = items(&record);
        let says = |key: &str, verdict: Verdict| {
            plan(&record, &open, Choice::These(&code(key)), &verdict).unwrap_err().to_string()
        };
        let slope = "drill:1/slope_deg";
        assert!(says("nothing", Verdict::Same).contains("no item has the code"));
        assert!(says("missing:drill:1/start", Verdict::Accept).contains("drill 1 has no start"));
        assert!(
            says(slope, Verdict::Same).contains("is a conflict; \"same\" does not settle it, keep or value")
        );
        assert!(says(slope, Verdict::Keep("zzzzzzzz".to_owned())).contains(" for 30"));
        assert!(says(slope, Verdict::Value(json!(75))).contains("allowed is 0 to 60 deg"));
        assert!(says(&twin(), Verdict::Void(id(1), String::new())).contains("is not part of item"));
        assert!(says(&dangling(), Verdict::Value(json!("anna"))).contains("is the label itself"));
        let mut wrong = code(slope);
        let last = if wrong[0].ends_with('z') { 'y' } else { 'z' };
        wrong[0].pop();
        wrong[0].push(last);
        let error = plan(&record, &open, Choice::These(&wrong), &Verdict::Same).unwrap_err();
        assert!(error.to_string().contains(&code(slope)[0]), "{error}");
        let begin = [code(slope)[0][..5].to_owned()];
        assert!(plan(&record, &open, Choice::These(&begin), &Verdict::Value(json!(32))).is_ok());
    }

    #[test]
    fn what_is_typed_is_read_with_units() {
        let record = settled(&[]);
        let open = items(&record);
        let now = record.entries[0].at().unwrap();
        let times =
            TimeContext { now, date: record.date, offset: *now.datetime().offset(), drill_start: None };
        let item = find(&open, &range()).unwrap();
        assert_eq!(typed(&record, item, "1.1m", &times).unwrap(), json!(110));
        assert!(typed(&record, item, "11m", &times).is_err());
    }

    #[test]
    fn a_verdict_that_stands_already_says_where_to_look() {
        let pair = |a: u8, b: u8| format!("{}~{}", id(a), id(b));
        let (yes, no) = (r#"{"v":true}"#.to_owned(), r#"{"v":false}"#.to_owned());
        let record = settled(&[(pair(4, 5), yes.clone()), (pair(5, 6), yes), (pair(4, 6), no)]);
        let open = items(&record);
        let error = plan(&record, &open, Choice::These(&code(&pair(4, 6))), &Verdict::Different).unwrap_err();
        assert!(matches!(error, SettleError::SaysSoAlready { .. }));
        assert!(plan(&record, &open, Choice::These(&code(&pair(4, 6))), &Verdict::Same).is_ok());
    }
}
