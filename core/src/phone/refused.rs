//! What an app learns when something is refused: few sorts, each with its fields and one sentence that a person can read. Here, and only here,
//! every error of the logbook is told in these words.

use crate::entry::Fault;
use crate::exchange::{ChannelError, LanError, PackError, SessionError};
use crate::insight::season::who::WhoError;
use crate::logbook::{CrewError, LineFault, LogbookError};
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
    #[error("no {what} \"{wanted:.80}\" is in this log; {advice}")]
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
    /// A live exchange that did not come about or ended early; what was confirmed before is kept.
    #[error("{says}")]
    Exchange {
        /// It ended because the app asked.
        stopped: bool,
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

/// Core's own sentence, but where that tells what to type into a terminal.
fn says(error: &impl Display, for_apps: Option<&str>) -> String {
    for_apps.map_or_else(|| error.to_string(), str::to_owned)
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
            LogbookError::NotCounted { id, withdrawn } => FirnbookError::NotFound {
                what: Sought::Entry,
                wanted: id.to_string(),
                advice: if withdrawn { "it was withdrawn and does not count" } else { "it waits for its signature" }
                    .to_owned(),
            },
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
            LogbookError::NotWithdrawn(id) => FirnbookError::Fixed {
                id,
                field: None,
                why: "it is not withdrawn, so there is nothing to take over".to_owned(),
            },
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
            LogbookError::NoArea => FirnbookError::Usage {
                says: "the area is empty; name the place, for example Upper Bowl".to_owned(),
            },
            LogbookError::NoReason => FirnbookError::Usage {
                says: "the reason is empty; say why the entry is struck out".to_owned(),
            },
            LogbookError::TooOld { what, age_s, limit_s, .. } => FirnbookError::Usage {
                says: format!(
                    "{what} is {age_s} s old and can't be undone any more (limit {limit_s} s); strike the entry out with a reason"
                ),
            },
            LogbookError::Usage(says) => FirnbookError::Usage { says },
            LogbookError::Who(WhoError::Nobody(name)) => FirnbookError::Usage {
                says: format!("nobody is called \"{name:.80}\" on these days; choose one of those who were there"),
            },
            LogbookError::Who(WhoError::Several { .. } | WhoError::NotJoined { .. }) => FirnbookError::Usage { says },
            LogbookError::Crew(error) => error.into(),
            LogbookError::Settle(error) => error.into(),
            LogbookError::Pack(PackError::Newer { found, known }) => {
                FirnbookError::Newer { found: i64::from(found), known: i64::from(known) }
            }
            LogbookError::Pack(
                PackError::NoPack
                | PackError::TooLarge { .. }
                | PackError::Older(_)
                | PackError::Damaged(_)
                | PackError::Forged
                | PackError::Day { .. },
            ) => FirnbookError::BadPack { says },
            LogbookError::Pack(PackError::SealedForOthers) => FirnbookError::Crew {
                says: "this pack is sealed for a crew, and this device is in none; join that crew, or ask for the pack unsealed".to_owned(),
            },
            LogbookError::Pack(PackError::Removed { .. } | PackError::Sealed) => FirnbookError::Crew { says },
            LogbookError::Store(error) => error.into(),
        }
    }
}

const IN_NO_CREW: &str = "this device is in no crew; found one, or join one with an invitation";

impl From<CrewError> for FirnbookError {
    fn from(error: CrewError) -> FirnbookError {
        let for_apps = match &error {
            CrewError::InNone => Some(IN_NO_CREW),
            CrewError::InOne => Some("this device is in a crew already; leave that one first"),
            CrewError::InThis => Some("this device is in this crew already; exchange with base"),
            CrewError::InAnother => Some("this device is in another crew; leave that one first"),
            CrewError::NotLetIn => Some("nobody has let this device in yet; exchange with base first"),
            CrewError::This => {
                Some("this is the device you are working on; remove it from another one, or leave the crew")
            }
            CrewError::NoDevice(_) => Some("no device of the crew has this name; choose one of its devices"),
            CrewError::Removed
            | CrewError::SeveralDevices { .. }
            | CrewError::Hours { .. }
            | CrewError::Label { .. }
            | CrewError::Invitation(_)
            | CrewError::NoKey
            | CrewError::NoRandomness(_) => None,
        };
        FirnbookError::Crew { says: says(&error, for_apps) }
    }
}

impl From<LanError> for FirnbookError {
    fn from(error: LanError) -> FirnbookError {
        let for_apps = match error {
            LanError::Channel(ChannelError::NoCrew) => {
                return FirnbookError::Crew { says: IN_NO_CREW.to_owned() };
            }
            LanError::Channel(ChannelError::Session(SessionError::Store(error))) => return error.into(),
            LanError::Channel(ChannelError::Session(SessionError::NotAdmitted(says))) => {
                return FirnbookError::Crew { says };
            }
            LanError::NoAddress { ref address, ref why } => {
                Some(format!("\"{address:.80}\" leads nowhere ({why:.200}); write it as base shows it"))
            }
            LanError::Unreachable { ref address, ref why } => Some(format!(
                "nobody answers at {address:.80} ({why:.200}); is base listening, and are both on the same network?"
            )),
            LanError::NoBase => Some("no base is known yet; name its address, as base shows it".to_owned()),
            LanError::NotOurs(ref address) => Some(format!(
                "who answers at {address} is no base of this crew, or its key was changed; if base does not list this device, ask for a new invitation"
            )),
            LanError::PortTaken(port) => Some(format!(
                "port {port} is taken, perhaps by another base on this device; end that one, or choose another port"
            )),
            LanError::Channel(_)
            | LanError::NoListening { .. }
            | LanError::Silent(_)
            | LanError::Stopped
            | LanError::Broken
            | LanError::Full => None,
        };
        FirnbookError::Exchange {
            stopped: matches!(error, LanError::Stopped),
            says: says(&error, for_apps.as_deref()),
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
            StoreError::Older { path, .. } => {
                FirnbookError::Storage { path: Some(path.display().to_string()), says }
            }
            StoreError::Day(_) | StoreError::DayFull(_) => FirnbookError::BadPack { says },
            StoreError::DamagedChange { .. }
            | StoreError::AlteredChange { .. }
            | StoreError::LostChange { .. }
            | StoreError::LostBody { .. }
            | StoreError::DamagedFold
            | StoreError::Sqlite(_) => FirnbookError::Storage { path: None, says },
        }
    }
}
