//! An export: one table a kind of entry, and the tables that no entry holds, as CSV or JSON lines with a description that other programs read.
//! Which rows there are is decided by the command; here they are written.

mod codes;
mod columns;
mod package;
mod sink;

pub use codes::Codes;
pub use columns::{Column, DAYS, STRUCK_OUT, UNREADABLE, of_days, of_kind, of_struct, of_whole_entries};
pub use package::{NAME, package};
pub use sink::{Format, Sink};
