//! What the caller of a logbook learns when something is refused.

use crate::day::DayId;
use crate::entry::Fault;
use crate::exchange::PackError;
use crate::review::SettleError;
use crate::store::StoreError;
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt;

/// Why the logbook refused; what was asked was not done, not even in part.
#[derive(Debug, thiserror::Error)]
pub enum LogbookError {
    /// Lines that can't be written, each with its faults.
    #[error("nothing was written; {}", lines(.0))]
    Refused(Vec<LineFault>),
    /// No day of this name.
    #[error("no day \"{wanted}\" is in this store; {advice}")]
    NoDay {
        /// What was asked for.
        wanted: String,
        /// What there is.
        advice: String,
    },
    /// Several days of this name.
    #[error("\"{wanted}\" could be {}; write more of the id", .found.join(" or "))]
    SeveralDays {
        /// What was asked for.
        wanted: String,
        /// The days it could be.
        found: Vec<String>,
    },
    /// No entry of this name.
    #[error("no entry ends in \"{0}\"; `firnbook entries --ids` shows the ids")]
    NoEntry(String),
    /// Several entries of this name.
    #[error("\"{wanted}\" could be {}; write more of the end of the id", .found.join(" or "))]
    SeveralEntries {
        /// What was asked for.
        wanted: String,
        /// The ids it could be.
        found: Vec<String>,
    },
    /// The entry is struck out.
    #[error("entry {0} is void, so it can't be amended; restore it first with `firnbook void {0} --restore`")]
    Void(String),
    /// An entry that this version can't read.
    #[error("entry {0} was written by a newer program and can't be read here, so it can't be amended here")]
    Opaque(String),
    /// A field that never changes.
    #[error("{field} of an entry never changes; void entry {id} and write it anew")]
    Fixed {
        /// The field.
        field: String,
        /// The entry.
        id: String,
    },
    /// A field that the kind does not have.
    #[error("a {kind} has no field \"{field}\"; it has {}", .has.join(", "))]
    NoField {
        /// The kind.
        kind: String,
        /// What was asked for.
        field: String,
        /// The fields it has.
        has: Vec<String>,
    },
    /// The day can't be closed yet.
    #[error("day {day} is not closed: {}; settle that, or close it with --despite REASON", .because.join("; "))]
    StillOpen {
        /// The day.
        day: DayId,
        /// What stands against it.
        because: Vec<String>,
    },
    /// Whoever watched the work said so.
    #[error("stopped as asked, after {done} of {of} steps; nothing of it was kept")]
    Stopped {
        /// Steps done.
        done: usize,
        /// Steps there were.
        of: usize,
    },
    /// A call that makes no sense, with what would.
    #[error("{0}")]
    Usage(String),
    /// The crew.
    #[error("{0}")]
    Crew(String),
    /// Settling.
    #[error(transparent)]
    Settle(#[from] SettleError),
    /// A pack.
    #[error(transparent)]
    Pack(#[from] PackError),
    /// The store.
    #[error(transparent)]
    Store(#[from] StoreError),
}

/// One fault of one line of input.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq, Serialize, JsonSchema)]
pub struct LineFault {
    /// The line, from 1; absent for what was not read from a file.
    pub line: Option<usize>,
    /// The field, the value, why it does not do and what would.
    #[serde(flatten)]
    pub fault: Fault,
}

impl fmt::Display for LineFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "line {line}: {}", self.fault),
            None => self.fault.fmt(f),
        }
    }
}

fn lines(faults: &[LineFault]) -> String {
    let shown: Vec<String> = faults.iter().take(20).map(ToString::to_string).collect();
    let more = faults.len().saturating_sub(shown.len());
    let tail = if more > 0 { format!("\n(and {more} more)") } else { String::new() };
    format!("{}{tail}", shown.join("\n"))
}
