//! An export: one table a kind of entry, and the tables that no entry holds, as CSV, JSON lines, Parquet or GeoJSON, with a description that
//! other programs read. Which rows there are is decided by the command; here is decided what of them leaves, and they are written.

mod cells;
mod columns;
mod geojson;
mod package;
mod parquet;
mod sink;
mod veil;

pub use cells::write_cells;
pub use columns::{
    Column, DAY, DAYS, Holds, PEOPLE, STRUCK_OUT, Secret, UNREADABLE, UTC_OFFSET, of_days, of_kind,
    of_people, of_struct, of_whole_entries,
};
pub use geojson::Shapes;
pub use package::{NAME, Removed, package};
pub use sink::{Format, Sink, Table};
pub use veil::{Leaves, Veil, key};
