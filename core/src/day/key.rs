//! The keys of a day's map: entries by their id, and the registers that say what can change about them.

use super::identity::{DeviceId, short_code};
use crate::entry::{EntryId, LabelClass};
use std::fmt;

/// A key in the map of a day, read.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Key {
    /// An entry, written once.
    Entry(EntryId),
    /// The value of one field of an entry.
    Field(EntryId, String),
    /// Whether an entry is struck out.
    Void(EntryId),
    /// Which of two bodies of one id counts.
    Body(EntryId),
    /// An entry whose device's key is proven broken was taken over by another device; the value names the device that it claimed.
    Adopted(EntryId),
    /// Whether two entries tell of one event; the smaller id first.
    Same(EntryId, EntryId),
    /// A doubt about an entry is looked at and true.
    Accept(EntryId, String),
    /// The value of a field of a thing that several entries declare: `drill:1`, `target:1:a`, `person:obs1`.
    Declared(LabelClass, Vec<String>, String),
    /// A label that stands for another one.
    Alias(LabelClass, Vec<String>),
    /// How the day's area is spelled.
    Area,
    /// The day is closed, by this device.
    Closed(DeviceId),
    /// A key that this version does not know.
    Other(String),
}

impl Key {
    /// Reads a key; what is not known stays as it is.
    #[must_use]
    pub fn read(text: &str) -> Key {
        // One spelling for one register: what reads as a known key and is written otherwise is another key.
        let known = Key::known(text).filter(|key| key.to_string() == text);
        known.unwrap_or_else(|| Key::Other(text.to_owned()))
    }

    /// The key of a pair of entries, whichever order they are given in.
    #[must_use]
    pub fn same(a: EntryId, b: EntryId) -> Key {
        Key::Same(a.min(b), a.max(b))
    }

    /// The entry that this key is about, if it is about one.
    #[must_use]
    pub fn entry(&self) -> Option<EntryId> {
        match self {
            Key::Entry(id)
            | Key::Field(id, _)
            | Key::Void(id)
            | Key::Body(id)
            | Key::Adopted(id)
            | Key::Accept(id, _) => Some(*id),
            _ => None,
        }
    }

    /// The short code of the item of this key, see [`short_code`].
    #[must_use]
    pub fn code(&self) -> String {
        short_code(&self.to_string())
    }

    fn known(text: &str) -> Option<Key> {
        if let Ok(id) = text.parse() {
            return Some(Key::Entry(id));
        }
        if let Some((a, b)) = text.split_once('~') {
            let (a, b) = (a.parse().ok()?, b.parse().ok()?);
            return (a < b).then_some(Key::Same(a, b));
        }
        if let Some((id, code)) = text.split_once('!') {
            return Some(Key::Accept(id.parse().ok()?, code.to_owned()));
        }
        if text == "day/area" {
            return Some(Key::Area);
        }
        if let Some(device) = text.strip_prefix("day/closed:") {
            return Some(Key::Closed(device.parse().ok()?));
        }
        if let Some(thing) = text.strip_prefix("alias:") {
            let (class, path) = thing_path(thing)?;
            return Some(Key::Alias(class, path));
        }
        let (thing, field) = text.split_once('/')?;
        if let Ok(id) = thing.parse() {
            return Some(match field {
                "void" => Key::Void(id),
                "body" => Key::Body(id),
                "adopted" => Key::Adopted(id),
                _ => Key::Field(id, field.to_owned()),
            });
        }
        let (class, path) = thing_path(thing)?;
        Some(Key::Declared(class, path, field.to_owned()))
    }
}

fn thing_path(text: &str) -> Option<(LabelClass, Vec<String>)> {
    let mut parts = text.split(':');
    let class = LabelClass::from_word(parts.next()?)?;
    let path: Vec<String> = parts.map(str::to_owned).collect();
    (path.len() == if class == LabelClass::Target { 2 } else { 1 }).then_some((class, path))
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Key::Entry(id) => write!(f, "{id}"),
            Key::Field(id, field) => write!(f, "{id}/{field}"),
            Key::Void(id) => write!(f, "{id}/void"),
            Key::Body(id) => write!(f, "{id}/body"),
            Key::Adopted(id) => write!(f, "{id}/adopted"),
            Key::Same(a, b) => write!(f, "{a}~{b}"),
            Key::Accept(id, code) => write!(f, "{id}!{code}"),
            Key::Declared(class, path, field) => write!(f, "{}:{}/{field}", class.word(), path.join(":")),
            Key::Alias(class, path) => write!(f, "alias:{}:{}", class.word(), path.join(":")),
            Key::Area => f.write_str("day/area"),
            Key::Closed(device) => write!(f, "day/closed:{device}"),
            Key::Other(text) => f.write_str(text),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_reads_back_as_itself() {
        let (a, b) = ("01KH5QX2M8Z4T6V9B3C1D7E0FG", "01KH5QX2M8Z4T6V9B3C1D7E0FH");
        let keys = [
            a.to_owned(),
            format!("{a}/depth_cm"),
            format!("{a}/void"),
            format!("{a}/body"),
            format!("{a}/adopted"),
            format!("{a}~{b}"),
            format!("{a}!order"),
            "drill:1/slope_deg".to_owned(),
            "target:1:a/set_depth_cm".to_owned(),
            "person:obs1/role".to_owned(),
            "alias:target:1:anna".to_owned(),
            "day/area".to_owned(),
            "day/closed:00112233445566778899aabbccddeeff".to_owned(),
        ];
        for text in keys {
            let key = Key::read(&text);
            assert!(!matches!(key, Key::Other(_)), "{text}");
            assert_eq!(key.to_string(), text);
        }
        for text in [
            "",
            "x",
            "weather:today/sky",
            "drill:1:2/slope_deg",
            &format!("{b}~{a}"),
            "day/closed:xyz",
            "day/closed:00112233445566778899AABBCCDDEEFF",
            &a.to_lowercase(),
        ] {
            assert_eq!(Key::read(text), Key::Other(text.to_owned()));
        }
    }
}
