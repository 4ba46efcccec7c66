//! Why the store did not do what it was asked.

use crate::day::{DayError, DayId};
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
    /// Two changes claim the same place in a history.
    #[error(
        "change {seq} of writer {actor} came with another content than the one held here: a forged or forked history; \
         nothing of this input was taken"
    )]
    Fork {
        /// The actor, hex.
        actor: String,
        /// The sequence number.
        seq: u64,
    },
    /// A change that does not match its hash or can't be read.
    #[error("change {0} is damaged; nothing of this input was taken")]
    DamagedChange(String),
    /// The document of a day.
    #[error(transparent)]
    Day(#[from] DayError),
    /// SQLite says no.
    #[error("{}", sqlite_says(.0))]
    Sqlite(#[from] rusqlite::Error),
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
