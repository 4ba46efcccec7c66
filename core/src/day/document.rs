//! The Automerge document of a day: beginning it, loading foreign bytes strictly, writing, taking changes in, reading keys.

use super::effective::Body;
use super::identity::{DayId, device_of};
use super::key::Key;
use super::record::Saying;
use automerge::transaction::{CommitOptions, Transactable};
use automerge::{
    ActorId, Automerge, Change, ChangeHash, ObjId, ObjType, ROOT, ReadDoc, ScalarValueRef, ValueRef,
};
use chrono::NaiveDate;

/// The format of a day's document; it is part of the first change and stays 1 for ever.
pub const FORMAT: i64 = 1;

/// Why bytes are not taken for a day, or a change not into one.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DayError {
    /// Bytes that Automerge refuses.
    #[error("the document of the day is damaged: {0}; ask for the file again")]
    Damaged(String),
    /// A document that does not begin as a day begins.
    #[error("this document is not the day {named}: {why}")]
    NotThisDay {
        /// The id under which it came.
        named: DayId,
        /// What does not fit.
        why: String,
    },
    /// A change that writes over a body it has seen.
    #[error(
        "change {change} writes over entry {entry}, which is written once and then only amended; nothing of this input was taken"
    )]
    OverwritesBody {
        /// Hash of the change.
        change: String,
        /// The entry.
        entry: String,
    },
    /// Automerge did not do what it was asked.
    #[error("the day's document could not be changed: {0}")]
    Automerge(String),
}

/// What stands under one key, by one writer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// The text.
    pub text: String,
    /// The actor that wrote it.
    pub actor: Vec<u8>,
}

impl Written {
    /// As a body of an entry.
    #[must_use]
    pub fn body(&self) -> Body {
        Body { text: self.text.clone(), device: device_of(&self.actor) }
    }

    /// As something said in a register.
    #[must_use]
    pub fn saying(&self) -> Saying {
        Saying::read(&self.text, device_of(&self.actor))
    }
}

/// The document of one day.
#[derive(Clone, Debug)]
pub struct Document {
    doc: Automerge,
    entries: ObjId,
}

impl Document {
    /// Begins the day on `date` in `area`. The first change is the same bytes on every device: actor and content follow from the id alone.
    ///
    /// # Errors
    /// [`DayError::Automerge`] only if the library fails.
    pub fn begin(date: NaiveDate, id: DayId) -> Result<Document, DayError> {
        let mut doc = Automerge::new();
        doc.set_actor(ActorId::from(&id.0[..]));
        let mut tx = doc.transaction();
        let fill = |tx: &mut automerge::transaction::Transaction<'_>| {
            tx.put(ROOT, "id", id.to_string())?;
            tx.put(ROOT, "date", date.format("%Y-%m-%d").to_string())?;
            tx.put(ROOT, "format", FORMAT)?;
            tx.put_object(ROOT, "entries", ObjType::Map)
        };
        let entries = fill(&mut tx).map_err(failed)?;
        tx.commit_with(CommitOptions::default().with_time(0));
        Ok(Document { doc, entries })
    }

    /// Loads a saved document strictly and checks that it is the day `id` and that no change of it writes over a body.
    ///
    /// # Errors
    /// [`DayError::Damaged`], [`DayError::NotThisDay`] or [`DayError::OverwritesBody`].
    pub fn load(bytes: &[u8], id: DayId) -> Result<Document, DayError> {
        let doc = Automerge::load(bytes).map_err(|e| DayError::Damaged(e.to_string()))?;
        Document::of(doc, id)
    }

    /// Puts a day together from all its changes, in an order in which causes come first.
    ///
    /// # Errors
    /// As [`Document::load`].
    pub fn from_changes(changes: impl IntoIterator<Item = Change>, id: DayId) -> Result<Document, DayError> {
        let mut doc = Automerge::new();
        doc.apply_changes(changes.into_iter().collect::<Vec<_>>())
            .map_err(|e| DayError::Damaged(e.to_string()))?;
        Document::of(doc, id)
    }

    fn of(doc: Automerge, id: DayId) -> Result<Document, DayError> {
        let not = |why: &str| DayError::NotThisDay { named: id, why: why.to_owned() };
        let date = match doc.get(ROOT, "date").map_err(failed)? {
            Some((value, _)) => value.as_str().and_then(|d| NaiveDate::parse_from_str(d, "%Y-%m-%d").ok()),
            None => None,
        };
        let date = date.ok_or_else(|| not("it holds no date"))?;
        let first = Document::begin(date, id)?;
        if doc.get_change_by_hash(&first.heads()[0]).is_none() {
            return Err(not("its first change is another one"));
        }
        match doc.get_all(ROOT, "entries").map_err(failed)?.as_slice() {
            [(_, entries)] if *entries == first.entries => Ok(Document { doc, entries: first.entries }),
            _ => Err(not("it has another map of entries")),
        }
    }

    /// The document as bytes that any Automerge reader opens. Equal documents may differ in bytes; compare heads.
    #[must_use]
    pub fn save(&self) -> Vec<u8> {
        self.doc.save_with_options(automerge::SaveOptions { retain_orphans: false, ..Default::default() })
    }

    /// The heads, sorted.
    #[must_use]
    pub fn heads(&self) -> Vec<ChangeHash> {
        let mut heads = self.doc.get_heads();
        heads.sort();
        heads
    }

    /// Every change, causes first.
    #[must_use]
    pub fn changes(&self) -> Vec<Change> {
        self.doc.get_changes(&[])
    }

    /// How many entries it holds.
    #[must_use]
    pub fn entry_count(&self) -> usize {
        self.doc.keys(&self.entries).filter(|k| matches!(Key::read(k), Key::Entry(_))).count()
    }

    /// The date of the day, as the first change says.
    ///
    /// # Errors
    /// [`DayError::Automerge`] only if the library fails.
    pub fn date(&self) -> Result<NaiveDate, DayError> {
        let date = self.doc.get(ROOT, "date").map_err(failed)?;
        let date =
            date.and_then(|(v, _)| v.as_str().and_then(|d| NaiveDate::parse_from_str(d, "%Y-%m-%d").ok()));
        date.ok_or_else(|| DayError::Automerge("the date is gone".to_owned()))
    }

    /// Applies changes whose causes are all here; they must have passed [`change::read`](super::change::read).
    ///
    /// # Errors
    /// [`DayError::Automerge`]; the document must then be dropped.
    pub fn apply(&mut self, changes: Vec<Change>) -> Result<(), DayError> {
        self.doc.apply_changes(changes).map_err(failed)
    }

    /// What stands under a key: the text that counts first, then those written at the same time by others.
    ///
    /// # Errors
    /// [`DayError::Automerge`] only if the library fails.
    pub fn read(&self, key: &Key) -> Result<Vec<Written>, DayError> {
        self.read_all(&key.to_string())
    }

    fn read_all(&self, key: &str) -> Result<Vec<Written>, DayError> {
        let values = self.doc.get_all(&self.entries, key).map_err(failed)?;
        let mut found: Vec<Written> = values.iter().filter_map(|(v, id)| written(v.as_str()?, id)).collect();
        found.reverse();
        Ok(found)
    }

    /// Every key with what stands under it, in the order of the keys as text.
    ///
    /// # Errors
    /// [`DayError::Automerge`] only if the library fails.
    pub fn all(&self) -> Result<Vec<(Key, Vec<Written>)>, DayError> {
        let mut all = Vec::new();
        for item in self.doc.map_range(&self.entries, ..) {
            let values = if item.conflict {
                self.read_all(&item.key)?
            } else {
                scalar_text(&item.value).and_then(|text| written(text, &item.id())).into_iter().collect()
            };
            if !values.is_empty() {
                all.push((Key::read(&item.key), values));
            }
        }
        Ok(all)
    }
}

/// Only texts count: what a newer version writes in another form is carried in the document and left alone.
fn scalar_text<'a>(value: &'a ValueRef<'a>) -> Option<&'a str> {
    match value {
        ValueRef::Scalar(ScalarValueRef::Str(text)) => Some(text),
        _ => None,
    }
}

fn written(text: &str, id: &ObjId) -> Option<Written> {
    let ObjId::Id(_, actor, _) = id else { return None };
    Some(Written { text: text.to_owned(), actor: actor.to_bytes().to_vec() })
}

fn failed(error: automerge::AutomergeError) -> DayError {
    DayError::Automerge(error.to_string())
}

#[cfg(test)]
mod tests {
    use super::super::change::{self, Place, Put};
    use super::super::identity::{DeviceId, Opening};
    use super::*;

    fn date() -> NaiveDate {
        NaiveDate::from_ymd_opt(2027, 2, 6).unwrap()
    }

    fn day() -> (DayId, Document) {
        let id = DayId::of(date(), "Upper Bowl");
        (id, Document::begin(date(), id).unwrap())
    }

    fn opening(n: u8) -> Opening {
        Opening::new(DeviceId([n; 8]), [n; 8])
    }

    /// The next change of an opening that has written none, as the store would build it.
    fn put(day: &mut Document, id: DayId, n: u8, key: &Key, text: &str) -> Change {
        let max_op = day.changes().iter().map(Change::max_op).max().unwrap();
        let place = Place { day: id, opening: opening(n), seq: 1, max_op, heads: day.heads() };
        let found = day.doc.get_all(&day.entries, key.to_string()).unwrap();
        let seen = found.iter().filter_map(|(_, op)| match op {
            ObjId::Id(counter, actor, _) => Some((*counter, actor.to_bytes().to_vec())),
            ObjId::Root => None,
        });
        let change =
            change::build(place, vec![Put { key: key.clone(), text: text.to_owned(), seen: seen.collect() }]);
        day.apply(vec![change.clone()]).unwrap();
        change
    }

    #[test]
    fn two_phones_begin_the_same_day_with_the_same_bytes() {
        let (id, one) = day();
        let other = Document::begin(date(), id).unwrap();
        assert_eq!(one.heads(), other.heads());
        assert_eq!(one.changes()[0].raw_bytes(), other.changes()[0].raw_bytes());
    }

    #[test]
    fn a_change_built_without_the_document_is_the_one_automerge_would_make() {
        let (id, mut a) = day();
        let mut theirs = a.doc.clone();
        theirs.set_actor(ActorId::from(&opening(1).0[..]));
        let key = Key::read("01KH5QX2M8Z4T6V9B3C1D7E0FG/note");
        let ours = put(&mut a, id, 1, &key, "one");
        let mut tx = theirs.transaction();
        tx.put(&a.entries, key.to_string(), "one").unwrap();
        tx.commit_with(CommitOptions::default().with_time(0));
        assert_eq!(theirs.get_last_local_change().unwrap().raw_bytes(), ours.raw_bytes());

        let ours = put(&mut a, id, 2, &key, "two");
        theirs.set_actor(ActorId::from(&opening(2).0[..]));
        let mut tx = theirs.transaction();
        tx.put(&a.entries, key.to_string(), "two").unwrap();
        tx.commit_with(CommitOptions::default().with_time(0));
        assert_eq!(theirs.get_last_local_change().unwrap().raw_bytes(), ours.raw_bytes());
        assert_eq!(a.read(&key).unwrap().len(), 1);
    }

    #[test]
    fn concurrent_writes_stand_side_by_side_in_one_order() {
        let (id, mut a) = day();
        let mut b = a.clone();
        let from_a = put(&mut a, id, 1, &Key::Area, "one");
        let from_b = put(&mut b, id, 2, &Key::Area, "two");
        a.apply(vec![from_b]).unwrap();
        b.apply(vec![from_a]).unwrap();
        assert_eq!(a.read(&Key::Area).unwrap(), b.read(&Key::Area).unwrap());
        assert_eq!(a.read(&Key::Area).unwrap().len(), 2);
        assert_eq!(a.all().unwrap(), b.all().unwrap());
        let (winner, _) = a.doc.get(&a.entries, "day/area").unwrap().unwrap();
        assert_eq!(winner.as_str().unwrap(), a.read(&Key::Area).unwrap()[0].text);
    }

    #[test]
    fn a_change_that_writes_over_a_body_is_seen() {
        let (id, mut a) = day();
        let entry = Key::read("01KH5QX2M8Z4T6V9B3C1D7E0FG");
        let first = put(&mut a, id, 1, &entry, "{}");
        let second = put(&mut a, id, 2, &entry, "{\"x\":1}");
        assert!(change::read(id, &first).is_ok());
        assert!(matches!(change::read(id, &second), Err(DayError::OverwritesBody { .. })));
    }

    #[test]
    fn another_day_under_this_name_is_refused() {
        let (id, a) = day();
        let other = DayId::of(date(), "Lower Bowl");
        assert!(Document::load(&a.save(), id).is_ok());
        assert!(matches!(Document::load(&a.save(), other), Err(DayError::NotThisDay { .. })));
        assert!(matches!(Document::load(b"", id), Err(DayError::NotThisDay { .. } | DayError::Damaged(_))));
    }
}
