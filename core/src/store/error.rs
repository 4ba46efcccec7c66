//! Why the store did not do what it was asked.

use crate::day::{DayError, DayId, Unreadable};
use std::path::PathBuf;

/// What went wrong in the store; nothing was changed by the call that failed.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// The file is something else.
    #[error("{path} is no Firnbook store: {why}; name another file with --store, or move this one away")]
    NoStore {
        /// The file.
        path: PathBuf,
        /// What was found.
        why: String,
    },
    /// The file was written by a newer program.
    #[error(
        "{path} is a store of version {found}, this program knows up to {known}; install the newer program that wrote it"
    )]
    Newer {
        /// The file.
        path: PathBuf,
        /// Its version.
        found: i64,
        /// The newest version that is known here.
        known: i64,
    },
    /// The file was written by a program that was never released.
    #[error(
        "{path} is a store of version {found} from before the first release; this program reads version {known}. It was not touched; export it with the program that wrote it"
    )]
    Older {
        /// The file.
        path: PathBuf,
        /// Its version.
        found: i64,
        /// The version that is read here.
        known: i64,
    },
    /// A file could not be read or written.
    #[error("{path}: {source}")]
    File {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// The file with this device's keys does not do.
    #[error("{path}: {why}")]
    Keys {
        /// The file.
        path: PathBuf,
        /// What is wrong with it, and what to do.
        why: &'static str,
    },
    /// A day that is not here.
    #[error("day {0} is not in this store; `firnbook day list` shows the days that are")]
    NoDay(DayId),
    /// A change that is held and can't be read.
    #[error("day {day}: a change in this store is damaged: {why}; take it from a pack of the day")]
    DamagedChange {
        /// The day.
        day: DayId,
        /// Why.
        why: Unreadable,
    },
    /// A change that is held is not the one that was taken in.
    #[error("day {day}: change {hash} in this store was altered; take it from a pack of the day")]
    AlteredChange {
        /// The day.
        day: DayId,
        /// The hash that its bytes have.
        hash: String,
    },
    /// A change that must be there is not.
    #[error("day {day}: change {seq} of a writer is missing in this store; take it from a pack of the day")]
    LostChange {
        /// The day.
        day: String,
        /// Its number.
        seq: u32,
    },
    /// The change of an entry does not hold it.
    #[error("entry {entry} is not in the change it should come from; make the rows anew with a verification")]
    LostBody {
        /// The entry.
        entry: String,
    },
    /// Folded changes of a closed day that can't be read back.
    #[error("changes of a closed day in this store are damaged; take them from a pack of the day")]
    DamagedFold,
    /// A day that holds as much as one day can.
    #[error(
        "day {0} is full: a day holds at most {day_mib} MiB of changes, and one device writes at most {device_mib} of them; nothing of this was kept, go on with another area or day",
        day_mib = super::DAY_BYTES >> 20, device_mib = super::DEVICE_BYTES >> 20
    )]
    DayFull(DayId),
    /// The document of a day.
    #[error(transparent)]
    Day(#[from] DayError),
    /// SQLite says no.
    #[error("{}", sqlite_says(.0))]
    Sqlite(#[from] rusqlite::Error),
}

impl StoreError {
    /// Whether it is about one day alone: the store and its other days work on.
    #[must_use]
    pub fn is_of_the_day(&self) -> bool {
        !matches!(
            self,
            StoreError::NoStore { .. }
                | StoreError::Newer { .. }
                | StoreError::Older { .. }
                | StoreError::File { .. }
                | StoreError::Keys { .. }
                | StoreError::Sqlite(_)
        )
    }
}

/// What SQLite says, with what to do where that is known.
fn sqlite_says(error: &rusqlite::Error) -> String {
    use rusqlite::ErrorCode::{
        CannotOpen, DatabaseBusy, DatabaseCorrupt, DatabaseLocked, DiskFull, ReadOnly, SystemIoFailure,
    };
    let advice = match error.sqlite_error_code() {
        Some(DiskFull) => "the disk is full; make room and do it again, nothing was half written",
        Some(DatabaseBusy | DatabaseLocked) => {
            "another program holds the store for too long; wait for it and do it again"
        }
        Some(ReadOnly) => {
            "the store or its folder is read-only; give yourself the right to write, or use another file"
        }
        Some(CannotOpen) => "the store can't be opened; does its folder exist, and may you write there?",
        Some(SystemIoFailure) => {
            "the disk does not answer as it should; copy the store away and check the disk"
        }
        Some(DatabaseCorrupt) => {
            "the store is damaged; keep a copy, and merge the packs of the team into a new one"
        }
        _ => return format!("the store does not answer: {error}"),
    };
    format!("{advice} ({:.1000})", error.to_string())
}
