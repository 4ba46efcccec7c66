//! The day as one Automerge document, for packs, for first copies and for checking: any Automerge library opens what it saves.
//!
//! Automerge is given only bytes that this program wrote itself or has read strictly (see [`super::format`]).

use super::beginning::Beginning;
use super::format::{Change, Hash};
use super::identity::Actor;
use automerge::{Automerge, ChangeHash, ObjId, ReadDoc};
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};

/// Why a day could not be put together.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum DayError {
    /// The date and area in the first change are not those of the day.
    #[error("this is not the day {named}: {why}; ask for the file again")]
    NotThisDay {
        /// The id under which it came.
        named: super::DayId,
        /// What does not fit.
        why: String,
    },
    /// The library refused the changes, or failed.
    #[error(
        "the document of the day could not be put together: {0}; check the store with a full verification"
    )]
    Automerge(String),
}

/// The document of one day.
#[derive(Clone, Debug)]
pub struct Document {
    doc: Automerge,
    entries: ObjId,
}

impl Document {
    /// Puts a day together from its beginning and changes, causes first.
    ///
    /// # Errors
    /// [`DayError::Automerge`] where the library does not take them all.
    pub fn of<'a>(
        beginning: &Beginning,
        changes: impl IntoIterator<Item = &'a Change>,
    ) -> Result<Document, DayError> {
        let first = beginning.first_change().1;
        let list: Vec<&[u8]> = std::iter::once(first.as_slice())
            .chain(changes.into_iter().map(|c| c.bytes.as_slice()))
            .collect();
        let count = list.len();
        let build = || -> Result<Document, DayError> {
            let changes: Vec<automerge::Change> = list
                .iter()
                .map(|bytes| automerge::Change::from_bytes(bytes.to_vec()))
                .collect::<Result<_, _>>()
                .map_err(failed)?;
            let mut doc = Automerge::new();
            doc.apply_changes(changes).map_err(failed)?;
            if doc.get_changes(&[]).len() != count {
                return Err(failed("a change does not fit the others"));
            }
            match doc.get(automerge::ROOT, "entries").map_err(failed)? {
                Some((_, entries)) => Ok(Document { doc, entries }),
                None => Err(failed("it has no map of entries")),
            }
        };
        // A fault of the library ends here, with a sentence, and nowhere else.
        catch_unwind(AssertUnwindSafe(build)).unwrap_or_else(|_| Err(failed("the library stopped")))
    }

    /// The document as bytes that any Automerge library opens. Equal documents may differ in bytes; compare heads.
    #[must_use]
    pub fn save(&self) -> Vec<u8> {
        self.doc.save()
    }

    /// The heads, sorted.
    #[must_use]
    pub fn heads(&self) -> Vec<Hash> {
        let mut heads: Vec<Hash> = self.doc.get_heads().iter().map(|h: &ChangeHash| h.0).collect();
        heads.sort_unstable();
        heads
    }

    /// Every key of the map of entries with the texts under it and the actors that put them.
    ///
    /// # Errors
    /// [`DayError::Automerge`] only if the library fails.
    pub fn values(&self) -> Result<BTreeMap<String, Vec<(Actor, String)>>, DayError> {
        let mut values: BTreeMap<String, Vec<(Actor, String)>> = BTreeMap::new();
        for key in self.doc.keys(&self.entries) {
            let mut under = Vec::new();
            for (value, id) in self.doc.get_all(&self.entries, &key).map_err(failed)? {
                let ObjId::Id(_, actor, _) = id else { continue };
                if let (Ok(actor), Some(text)) = (actor.to_bytes().try_into(), value.as_str()) {
                    under.push((Actor(actor), text.to_owned()));
                }
            }
            under.sort();
            values.insert(key, under);
        }
        Ok(values)
    }
}

fn failed(why: impl ToString) -> DayError {
    DayError::Automerge(why.to_string())
}
