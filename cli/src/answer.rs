//! What answers have in common, and the list of all their schemas.

use firnbook_core::day::DayId;
use firnbook_core::store::DayRow;
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema};
use serde::Serialize;
use std::collections::BTreeMap;

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
    /// Changes that wait for others or for a signature; they are in no figure
    pub waiting: usize,
    /// Changes withdrawn, since their key signed two histories; they are in no figure
    pub withdrawn: usize,
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
            withdrawn: row.withdrawn,
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
        clock, crew, day, demo, entries, export, here, kit, listen, merge, pack, paper, review, settings,
        settle, show, sync, verify,
    };
    vec![
        ("adopt", schema::<firnbook_core::logbook::Changed>()),
        ("amend", schema::<firnbook_core::logbook::Changed>()),
        ("clock", schema::<clock::ClockAnswer>()),
        ("crew", schema::<crew::CrewAnswer>()),
        ("day-close", schema::<firnbook_core::logbook::DayBegun>()),
        ("day-list", schema::<day::DayList>()),
        ("day-new", schema::<firnbook_core::logbook::DayBegun>()),
        ("day-show", schema::<day::DayShown>()),
        ("debrief", schema::<firnbook_core::insight::debrief::Debrief>()),
        ("demo", schema::<demo::DemoAnswer>()),
        ("entries", schema::<entries::EntriesAnswer>()),
        ("error", schema::<crate::failure::ErrorAnswer>()),
        ("export", schema::<export::ExportAnswer>()),
        ("here", schema::<here::HereAnswer>()),
        ("import", schema::<firnbook_core::logbook::LogReport>()),
        ("kit", schema::<kit::KitAnswer>()),
        ("listen", schema::<listen::ListenAnswer>()),
        ("log", schema::<firnbook_core::logbook::LogReport>()),
        ("merge", schema::<merge::MergeAnswer>()),
        ("move", schema::<firnbook_core::logbook::Changed>()),
        ("pack", schema::<pack::PackAnswer>()),
        ("paper-forms", schema::<paper::FormsAnswer>()),
        ("plan-dig", schema::<firnbook_core::insight::plan::DigAnswer>()),
        ("plan-lanes", schema::<firnbook_core::insight::plan::LanesAnswer>()),
        ("plan-probes", schema::<firnbook_core::insight::plan::ProbesAnswer>()),
        ("plan-reading", schema::<firnbook_core::insight::plan::ReadingAnswer>()),
        ("review", schema::<review::ReviewAnswer>()),
        ("settings", schema::<settings::SettingsAnswer>()),
        ("settle", schema::<settle::SettleAnswer>()),
        ("show", schema::<show::ShowAnswer>()),
        ("stats-checks", schema::<firnbook_core::insight::season::checks::SeasonChecks>()),
        ("stats-depth", schema::<firnbook_core::insight::season::depth::DepthStats>()),
        ("stats-digging", schema::<firnbook_core::insight::season::digging::SeasonDigging>()),
        ("stats-interference", schema::<firnbook_core::insight::season::interference::SeasonInterference>()),
        ("stats-methods", schema::<firnbook_core::insight::season::methods::Methods>()),
        ("stats-person", schema::<firnbook_core::insight::season::person::PersonStats>()),
        ("stats-times", schema::<firnbook_core::insight::season::times::Times>()),
        ("sync", schema::<sync::SyncAnswer>()),
        ("verify", schema::<verify::VerifyAnswer>()),
        ("void", schema::<firnbook_core::logbook::Changed>()),
    ]
}

fn schema<T: JsonSchema>() -> Schema {
    SchemaSettings::draft2020_12().for_serialize().into_generator().into_root_schema_for::<T>()
}
