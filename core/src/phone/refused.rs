//! What an app learns when something is refused: few sorts, each with its fields and one sentence that a person can read. Here, and only here,
//! every error of the logbook is told in these words.

use crate::entry::Fault;
use crate::exchange::PackError;
use crate::logbook::{LineFault, LogbookError};
use crate::review::SettleError;
use crate::store::StoreError;
use std::fmt::Display;

/// What was looked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, uniffi::Enum)]
pub enum Sought {
    /// A day.
    Day,
    /// An entry.
    Entry,
    /// Something that needs a person.
    Item,
}

impl Display for Sought {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Sought::Day => "day",
            Sought::Entry => "entry",
            Sought::Item => "item",
        })
    }
}

/// Why something was not done; nothing was changed by the call that says so.
#[derive(Clone, Debug, PartialEq, thiserror::Error, uniffi::Error)]
pub enum FirnbookError {
    /// Entries or values that can't be written, each with its fault.
    #[error("nothing was written; {}", .faults.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    Refused {
        /// Every fault: the field, the value, why it does not do and what would.
        faults: Vec<LineFault>,
    },
    /// Not here.
    #[error("no {what} \"{wanted}\" is in this log; {advice}")]
    NotFound {
        /// What was looked for.
        what: Sought,
        /// The name it was looked for by.
        wanted: String,
        /// What there is instead.
        advice: String,
    },
    /// Several of this name.
    #[error("{what} \"{wanted}\" could be {}; write more of it", .found.join(" or "))]
    Ambiguous {
        /// What was looked for.
        what: Sought,
        /// The name it was looked for by.
        wanted: String,
        /// What it could be.
        found: Vec<String>,
    },
    /// An entry that can't be changed so.
    #[error("entry {id} is not changed: {why}")]
    Fixed {
        /// The entry.
        id: String,
        /// The field, where it is about one.
        field: Option<String>,
        /// Why, and what to do instead.
        why: String,
    },
    /// A day that can't be closed yet.
    #[error("day {day} is not closed: {}; settle that, or give a reason to close it all the same", .because.join("; "))]
    StillOpen {
        /// The day.
        day: String,
        /// What stands against it.
        because: Vec<String>,
    },
    /// A verdict that does not settle an item.
    #[error("{says}")]
    NotSettled {
        /// The short code of the item.
        code: String,
        /// Why, and what does.
        says: String,
    },
    /// A file that is no good pack; the log is as it was.
    #[error("{says}")]
    BadPack {
        /// Why, and what to do.
        says: String,
    },
    /// A newer program wrote it.
    #[error("this was written in version {found}, this app knows up to {known}; install the newer one")]
    Newer {
        /// Its version.
        found: i64,
        /// The newest version that is known here.
        known: i64,
    },
    /// Two histories claim one place: forged, or copied from one device to another.
    #[error(
        "change {seq} of writer {actor} came with another content than the one held here; nothing of it was taken"
    )]
    Forked {
        /// The writer, hexadecimal.
        actor: String,
        /// The number of the change.
        seq: u64,
    },
    /// The file, the disk or the rights to it.
    #[error("{says}")]
    Storage {
        /// The file, where it is known.
        path: Option<String>,
        /// What went wrong, and what to do.
        says: String,
    },
    /// A call that makes no sense, with what would.
    #[error("{says}")]
    Usage {
        /// Why, and what to do.
        says: String,
    },
    /// The crew does not allow it, or there is none.
    #[error("{says}")]
    Crew {
        /// Why, and what to do.
        says: String,
    },
    /// The log was shut.
    #[error("this log was shut; open it again to go on")]
    Shut,
    /// The app asked to stop.
    #[error("stopped as asked, after {done} of {of} steps; nothing of it was kept")]
    Stopped {
        /// Steps done.
        done: u64,
        /// Steps there were.
        of: u64,
    },
}

#[uniffi::export]
impl FirnbookError {
    /// One sentence for a person: what, which value, why, what to do.
    pub fn sentence(&self) -> String {
        self.to_string()
    }
}

impl FirnbookError {
    /// One value that is refused.
    pub fn value(field: &str, value: impl ToString, why: impl ToString) -> FirnbookError {
        FirnbookError::Refused {
            faults: vec![LineFault { line: None, fault: Fault::new(field, value, why.to_string()) }],
        }
    }
}

impl From<LogbookError> for FirnbookError {
    fn from(error: LogbookError) -> FirnbookError {
        let says = error.to_string();
        match error {
            LogbookError::Refused(faults) => FirnbookError::Refused { faults },
            LogbookError::NoDay { wanted, .. } => FirnbookError::NotFound {
                what: Sought::Day,
                wanted,
                advice: "days() lists those that are".to_owned(),
            },
            LogbookError::SeveralDays { wanted, found } => {
                FirnbookError::Ambiguous { what: Sought::Day, wanted, found }
            }
            LogbookError::NoEntry(wanted) => FirnbookError::NotFound {
                what: Sought::Entry,
                wanted,
                advice: "entries() lists those that are".to_owned(),
            },
            LogbookError::SeveralEntries { wanted, found } => {
                FirnbookError::Ambiguous { what: Sought::Entry, wanted, found }
            }
            LogbookError::Void(id) => {
                FirnbookError::Fixed { id, field: None, why: "it is struck out; restore it first".to_owned() }
            }
            LogbookError::Opaque(id) => FirnbookError::Fixed {
                id,
                field: None,
                why: "a newer program wrote it and this one can't read it".to_owned(),
            },
            LogbookError::Fixed { field, id } => FirnbookError::Fixed {
                id,
                why: format!("{field} never changes; strike the entry out and write it anew"),
                field: Some(field),
            },
            LogbookError::NoField { kind, field, has } => FirnbookError::value(
                &field,
                "",
                format!("is no field of a {kind}; it has {}", has.join(", ")),
            ),
            LogbookError::StillOpen { day, because } => {
                FirnbookError::StillOpen { day: day.to_string(), because }
            }
            LogbookError::Stopped { done, of } => FirnbookError::Stopped { done: done as u64, of: of as u64 },
            LogbookError::Usage(says) => FirnbookError::Usage { says },
            LogbookError::Crew(says) => FirnbookError::Crew { says },
            LogbookError::Settle(error) => error.into(),
            LogbookError::Pack(PackError::Newer { found, known }) => {
                FirnbookError::Newer { found: i64::from(found), known: i64::from(known) }
            }
            LogbookError::Pack(
                PackError::NoPack
                | PackError::TooLarge { .. }
                | PackError::Damaged(_)
                | PackError::Forged
                | PackError::Day { .. },
            ) => FirnbookError::BadPack { says },
            LogbookError::Pack(
                PackError::Removed { .. } | PackError::Sealed | PackError::SealedForOthers,
            ) => FirnbookError::Crew { says },
            LogbookError::Store(error) => error.into(),
        }
    }
}

impl From<SettleError> for FirnbookError {
    fn from(error: SettleError) -> FirnbookError {
        let says = error.to_string();
        match error {
            SettleError::Unknown { code, .. } => FirnbookError::NotFound {
                what: Sought::Item,
                wanted: code,
                advice: "review() lists the items and their codes".to_owned(),
            },
            SettleError::Ambiguous { code, of } => {
                FirnbookError::Ambiguous { what: Sought::Item, wanted: code, found: of }
            }
            SettleError::Missing { code, .. }
            | SettleError::DoesNotFit { code, .. }
            | SettleError::NoSuchValue { code, .. }
            | SettleError::NotPartOf { code, .. }
            | SettleError::Value { code, .. }
            | SettleError::Label { code, .. }
            | SettleError::SaysSoAlready { code } => FirnbookError::NotSettled { code, says },
        }
    }
}

impl From<StoreError> for FirnbookError {
    fn from(error: StoreError) -> FirnbookError {
        let says = error.to_string();
        match error {
            StoreError::NoStore { path, why } => FirnbookError::Storage {
                says: format!("{} is no Firnbook log: {why}; name another file", path.display()),
                path: Some(path.display().to_string()),
            },
            StoreError::Newer { found, known, .. } => FirnbookError::Newer { found, known },
            StoreError::File { path, .. } | StoreError::Keys { path, .. } => {
                FirnbookError::Storage { path: Some(path.display().to_string()), says }
            }
            StoreError::NoDay(day) => FirnbookError::NotFound {
                what: Sought::Day,
                wanted: day.to_string(),
                advice: "days() lists those that are".to_owned(),
            },
            StoreError::Fork { actor, seq } => FirnbookError::Forked { actor, seq },
            StoreError::DamagedChange(_) | StoreError::Day(_) => FirnbookError::BadPack { says },
            StoreError::Sqlite(_) => FirnbookError::Storage { path: None, says },
        }
    }
}
