//! Why a command did not do what it was asked, and the exit status that tells it: what, which value, why, what to do.

use firnbook_core::logbook::{LineFault, LogbookError};
use schemars::JsonSchema;
use serde::Serialize;
use std::fmt::Display;
use std::io;
use std::path::Path;

/// Why a command did not do what it was asked.
#[derive(Debug)]
pub enum Failure {
    /// The command line asks for something that can't be meant; exit status 2.
    Usage(String),
    /// It could not be done; exit status 1. Nothing was written unless the text says so.
    Refused {
        /// What, why, and what to do.
        says: String,
        /// The lines and fields that are at fault, if the input has lines.
        faults: Vec<LineFault>,
    },
    /// Whoever read the output has had enough; nothing is wrong.
    ReaderGone,
}

/// The answer of a command that failed, with `--json`.
#[derive(Serialize, JsonSchema)]
pub struct ErrorAnswer {
    /// What went wrong, why, and what to do
    pub error: String,
    /// The lines and fields that are at fault, if the input has lines
    pub faults: Vec<LineFault>,
}

impl Failure {
    /// A failure that a sentence tells.
    pub fn refused(says: impl Display) -> Failure {
        Failure::Refused { says: says.to_string(), faults: Vec::new() }
    }

    /// A file that the system does not let us have.
    pub fn file(path: &Path, error: &io::Error) -> Failure {
        let todo = match error.kind() {
            io::ErrorKind::NotFound => "is not there; check the spelling and the folder",
            io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => {
                "may not be read or written; give yourself the right, or choose another place"
            }
            io::ErrorKind::StorageFull => "does not fit on the disk; make room and do it again",
            io::ErrorKind::IsADirectory => "is a folder; name a file",
            _ => "can't be read or written",
        };
        Failure::refused(format!("{} {todo} ({error})", path.display()))
    }
}

impl From<firnbook_core::exchange::LanError> for Failure {
    fn from(error: firnbook_core::exchange::LanError) -> Failure {
        Failure::refused(error)
    }
}

impl From<LogbookError> for Failure {
    fn from(error: LogbookError) -> Failure {
        match error {
            LogbookError::Refused(faults) => Failure::of_input("", faults),
            LogbookError::Usage(says) => Failure::Usage(says),
            other => Failure::refused(other),
        }
    }
}

impl Failure {
    /// An input that is refused whole; `name` is what it is called, empty for what was typed.
    #[must_use]
    pub fn of_input(name: &str, faults: Vec<LineFault>) -> Failure {
        const SHOWN: usize = 20;
        let says = match faults.as_slice() {
            [only] if name.is_empty() => format!("{only}; nothing was written"),
            [only] => format!("{name}, {only}; nothing was written"),
            several => {
                let name = if name.is_empty() { String::new() } else { format!("{name}: ") };
                let mut text = format!("{name}{} things are wrong, nothing was written:", several.len());
                several.iter().take(SHOWN).for_each(|fault| text.push_str(&format!("\n  {fault}")));
                if several.len() > SHOWN {
                    text.push_str(&format!("\n  and {} more", several.len() - SHOWN));
                }
                text
            }
        };
        Failure::Refused { says, faults }
    }
}
