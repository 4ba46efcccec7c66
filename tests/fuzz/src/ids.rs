//! Ids as text: what is read prints as it was, and nothing else is read.

use firnbook_core::day::{Actor, DayId, DeviceId, Key};
use firnbook_core::entry::EntryId;
use std::fmt::{Debug, Display};
use std::str::FromStr;

/// Checks an input, as the text of every kind of id and as the bytes of one. `true`: it is an id.
pub fn check(bytes: &[u8]) -> bool {
    let text = String::from_utf8_lossy(bytes);
    let mut is_id = false;
    for text in spellings(&text) {
        is_id |= check_text(&text);
    }
    if let Some((bytes, _)) = bytes.split_first_chunk::<24>() {
        let (mut id, actor) = ([0; 16], Actor(*bytes));
        id.copy_from_slice(&bytes[..16]);
        reads_back(DayId(id));
        reads_back(DeviceId(id));
        reads_back(actor);
        assert_eq!(Actor::new(actor.device(), opening(actor), actor.history()), actor);
        let entry = EntryId::from_bytes(id);
        reads_back(entry);
        assert_eq!(entry.to_bytes(), id);
    }
    is_id
}

fn opening(actor: Actor) -> [u8; 8] {
    let mut opening = [0; 8];
    opening.copy_from_slice(&actor.0[16..]);
    opening
}

/// The text itself, and others that a careless reader would take for the same.
fn spellings(text: &str) -> Vec<String> {
    vec![
        text.to_owned(),
        text.to_uppercase(),
        text.to_lowercase(),
        text.trim().to_owned(),
        format!("{text}\0"),
        format!(" {text}"),
        format!("0{text}"),
        text.replace('1', "I"),
        text.replace('1', "l"),
        text.replace('0', "O"),
        text.replacen(|c: char| c.is_ascii_digit(), "+", 1),
        text.chars().filter(|c| *c != '-').collect(),
    ]
}

fn check_text(text: &str) -> bool {
    let digits = |count| text.len() == count && text.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'));
    let ulid = text.len() == 26
        && text.starts_with(|c: char| ('0'..='7').contains(&c))
        && text.bytes().all(|b| b"0123456789ABCDEFGHJKMNPQRSTVWXYZ".contains(&b));
    let found = [
        only_where::<DayId>(text, digits(32)),
        only_where::<DeviceId>(text, digits(32)),
        only_where::<Actor>(text, digits(48)),
        only_where::<EntryId>(text, ulid),
    ];
    let key = Key::read(text);
    assert_eq!(key.to_string(), text, "a key of a register has two spellings");
    assert_eq!(matches!(key, Key::Entry(_)), ulid, "{text:?} as the key of an entry");
    found.contains(&true)
}

/// The text is read exactly where it is in the one form of these ids.
fn only_where<T: FromStr + Display + Debug>(text: &str, in_form: bool) -> bool {
    let read: Option<T> = text.parse().ok();
    assert_eq!(read.is_some(), in_form, "{text:?} was read as {read:?}");
    assert!(read.is_none_or(|id| id.to_string() == text), "{text:?} prints as another text");
    in_form
}

fn reads_back<T: FromStr + Display + Debug + PartialEq>(id: T) {
    assert_eq!(id.to_string().parse().ok(), Some(id));
}
