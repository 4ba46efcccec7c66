//! What the caller of a logbook learns when something is refused.

use crate::crew::InvitationError;
use crate::day::DayId;
use crate::entry::{EntryId, Fault};
use crate::exchange::PackError;
use crate::insight::season::who::WhoError;
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
    #[error("no day \"{wanted:.80}\" is in this store; {advice}")]
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
    #[error("no entry ends in \"{0:.80}\"; `firnbook entries --ids` shows the ids")]
    NoEntry(String),
    /// An entry that is held and does not count.
    #[error("entry {id} is held and does not count: {}; `firnbook day show` lists such entries", if *.withdrawn { "it was withdrawn, as its key signed two histories; `firnbook adopt` takes it over" } else { "it waits for its signature" })]
    NotCounted {
        /// The entry.
        id: EntryId,
        /// It was withdrawn; else it waits.
        withdrawn: bool,
    },
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
    /// An entry that can't be taken over.
    #[error(
        "entry {0} is not withdrawn, so there is nothing to take over; only entries of a device whose key is proven broken can be adopted"
    )]
    NotWithdrawn(String),
    /// A field that never changes.
    #[error("{field} of an entry never changes; void entry {id} and write it anew")]
    Fixed {
        /// The field.
        field: String,
        /// The entry.
        id: String,
    },
    /// A field that the kind does not have.
    #[error("a {kind} has no field \"{field:.80}\"; it has {}", .has.join(", "))]
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
    /// A day without an area.
    #[error("the area is empty; name it with --area, for example --area \"Upper Bowl\"")]
    NoArea,
    /// A void without a reason.
    #[error("the reason is empty; say with --reason why the entry is struck out")]
    NoReason,
    /// A press that can't be undone any more.
    #[error(
        "{what} is {age_s} s old and can't be undone any more (limit {limit_s} s); strike it out with `firnbook void {id} --reason WHY`"
    )]
    TooOld {
        /// The press, as a person would call it.
        what: String,
        /// Its age in seconds.
        age_s: i64,
        /// Up to which age it could be, in seconds.
        limit_s: i64,
        /// The entry.
        id: EntryId,
    },
    /// A call that makes no sense, with what would.
    #[error("{0}")]
    Usage(String),
    /// A name that stands for no one person.
    #[error(transparent)]
    Who(#[from] WhoError),
    /// The crew.
    #[error(transparent)]
    Crew(#[from] CrewError),
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

/// Why the crew does not allow it, or can't.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CrewError {
    /// This device is in no crew.
    #[error(
        "this device is in no crew; begin one with `firnbook crew new`, or join one with `firnbook crew join CODE`"
    )]
    InNone,
    /// This device is in one, so it founds none.
    #[error(
        "this device is in a crew already; `firnbook crew show` lists it, `firnbook crew leave` leaves it first"
    )]
    InOne,
    /// This device is in the crew that it was invited to.
    #[error("this device is in this crew already; `firnbook sync` exchanges with base")]
    InThis,
    /// This device is in another crew than it was invited to.
    #[error("this device is in another crew; `firnbook crew leave` leaves it first")]
    InAnother,
    /// Nobody has let this device in.
    #[error("nobody has let this device in yet; exchange with base first, with `firnbook sync`")]
    NotLetIn,
    /// This device was removed.
    #[error("this device was removed from the crew; a member can invite it anew")]
    Removed,
    /// The device that is to be removed is this one.
    #[error(
        "this is the device you are working on; remove it from another one, or leave with `firnbook crew leave`"
    )]
    This,
    /// No device of this name.
    #[error("no device of the crew is called \"{0:.80}\"; `firnbook crew show` lists them")]
    NoDevice(String),
    /// Several devices of this name.
    #[error("\"{wanted}\" could be {}; name it by its id", .found.join(" or "))]
    SeveralDevices {
        /// What was asked for.
        wanted: String,
        /// The devices that it could be.
        found: Vec<String>,
    },
    /// An invitation for too long or no time.
    #[error("an invitation is good for 1 to {most} hours, not {hours}")]
    Hours {
        /// What was asked for.
        hours: u32,
        /// The longest.
        most: u32,
    },
    /// A name that a device can't have.
    #[error("a device needs a name of 1 to {most} characters that people know it by")]
    Label {
        /// The longest.
        most: usize,
    },
    /// The invitation.
    #[error(transparent)]
    Invitation(#[from] InvitationError),
    /// The keys of this device lack that of its crew.
    #[error("this device has no key of its crew; leave the crew and join it anew")]
    NoKey,
    /// The system gives no random numbers.
    #[error("the system gives no random numbers ({0}), so no key can be made")]
    NoRandomness(String),
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

impl From<Fault> for LogbookError {
    fn from(fault: Fault) -> LogbookError {
        LogbookError::Refused(vec![LineFault { line: None, fault }])
    }
}

fn lines(faults: &[LineFault]) -> String {
    let shown: Vec<String> = faults.iter().take(20).map(ToString::to_string).collect();
    let more = faults.len().saturating_sub(shown.len());
    let tail = if more > 0 { format!("\n(and {more} more)") } else { String::new() };
    format!("{}{tail}", shown.join("\n"))
}
