//! What answers have in common: from what they were made, and how a day stands in them.

use crate::failure::Failure;
use firnbook_core::day::{DayId, sha256_hex};
use firnbook_core::logbook::Logbook;
use firnbook_core::store::DayRow;
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema};
use serde::Serialize;
use std::collections::BTreeMap;

/// From what an answer was made, so that it can be made again.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Made {
    /// Version of the program
    pub version: &'static str,
    /// What narrowed the entries, by name
    pub filters: BTreeMap<String, String>,
    /// The thresholds that were used
    pub settings: BTreeMap<String, f64>,
    /// SHA-256 over the days and their latest changes: equal where the same was known
    pub heads_sha256: String,
}

/// From these days of a store, narrowed by these filters.
///
/// # Errors
/// The store's.
pub fn made(logbook: &Logbook, days: &[DayId], filters: BTreeMap<String, String>) -> Result<Made, Failure> {
    let mut text = String::new();
    for day in days {
        text.push_str(&format!("{day} {}\n", logbook.day(*day)?.heads.join(" ")));
    }
    let heads_sha256 = sha256_hex(text.as_bytes());
    Ok(Made { version: env!("CARGO_PKG_VERSION"), filters, settings: BTreeMap::new(), heads_sha256 })
}

/// A day as it stands in answers.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct DayAnswer {
    /// Identity
    pub day: DayId,
    /// The area, as it is spelled
    pub area: String,
    /// The date, yyyy-mm-dd
    pub date: String,
    /// Entries held, void and unreadable ones too
    pub entries: usize,
    /// Entries that this version can't read
    pub opaque: usize,
    /// Devices that wrote entries
    pub devices: usize,
    /// Changes that wait for others that are not here
    pub waiting: usize,
    /// Someone closed the day
    pub closed: bool,
}

impl From<&DayRow> for DayAnswer {
    fn from(row: &DayRow) -> DayAnswer {
        DayAnswer {
            day: row.id,
            area: row.area.clone(),
            date: row.date.to_string(),
            entries: row.entries,
            opaque: row.opaque,
            devices: row.devices.len(),
            waiting: row.waiting,
            closed: row.closed,
        }
    }
}

/// Filters as they stand in an answer: those that were given.
#[must_use]
pub fn filters<const N: usize>(given: [(&str, Option<String>); N]) -> BTreeMap<String, String> {
    given.into_iter().filter_map(|(key, value)| Some((key.to_owned(), value?))).collect()
}

/// The JSON Schema of every `--json` answer, by the name of its command.
#[must_use]
pub fn answers() -> Vec<(&'static str, Schema)> {
    use crate::commands::{
        day, demo, entries, here, kit, merge, pack, review, settings, settle, show, verify,
    };
    vec![
        ("amend", schema::<firnbook_core::logbook::Changed>()),
        ("day-list", schema::<day::DayList>()),
        ("day-new", schema::<firnbook_core::logbook::DayBegun>()),
        ("day-show", schema::<day::DayShown>()),
        ("demo", schema::<demo::DemoAnswer>()),
        ("entries", schema::<entries::EntriesAnswer>()),
        ("error", schema::<crate::failure::ErrorAnswer>()),
        ("here", schema::<here::HereAnswer>()),
        ("kit", schema::<kit::KitAnswer>()),
        ("log", schema::<firnbook_core::logbook::LogReport>()),
        ("merge", schema::<merge::MergeAnswer>()),
        ("move", schema::<firnbook_core::logbook::Changed>()),
        ("pack", schema::<pack::PackAnswer>()),
        ("review", schema::<review::ReviewAnswer>()),
        ("settings", schema::<settings::SettingsAnswer>()),
        ("settle", schema::<settle::SettleAnswer>()),
        ("show", schema::<show::ShowAnswer>()),
        ("verify", schema::<verify::VerifyAnswer>()),
        ("void", schema::<firnbook_core::logbook::Changed>()),
    ]
}

fn schema<T: JsonSchema>() -> Schema {
    SchemaSettings::draft2020_12().for_serialize().into_generator().into_root_schema_for::<T>()
}
