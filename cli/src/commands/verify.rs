//! `verify`: holds the store against its changes.

use super::Ran;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::view::table::Table;
use firnbook_core::day::DayId;
use schemars::JsonSchema;
use serde::Serialize;

/// Check every day of the store: changes against their hashes, rows against the documents
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:\n  firnbook verify")]
pub struct VerifyArgs {}

/// Answer of `verify`.
#[derive(Serialize, JsonSchema)]
pub struct VerifyAnswer {
    /// Everything stands as it should
    pub ok: bool,
    /// Each day
    pub days: Vec<DayChecked>,
}

/// What checking one day found.
#[derive(Serialize, JsonSchema)]
pub struct DayChecked {
    /// The day
    pub day: DayId,
    /// Changes held
    pub changes: usize,
    /// Changes that wait for others that are not here
    pub waiting: usize,
    /// The rows say what the document says
    pub rows_equal: bool,
    /// What is wrong, one sentence each
    pub faults: Vec<String>,
    /// The seal of a closed day; null as long as days are closed without a signature
    pub seal: Option<String>,
}

/// Runs `verify`.
pub fn run(desk: &mut Desk, _: &VerifyArgs) -> Ran {
    let rows = desk.logbook.days()?;
    let days: Vec<DayChecked> = desk
        .logbook
        .verify()?
        .into_iter()
        .map(|d| DayChecked {
            day: d.day,
            changes: d.changes,
            waiting: d.waiting,
            rows_equal: d.rows_equal,
            faults: d.faults,
            seal: None,
        })
        .collect();
    let answer = VerifyAnswer { ok: days.iter().all(|d| d.rows_equal && d.faults.is_empty()), days };
    let (ok, columns) = (answer.ok, desk.ui.columns());
    desk.ui.answer(&answer, |a| {
        let mut table = Table::new(["date", "area", "changes", "waiting", "found"]).right([2, 3]);
        for day in &a.days {
            let row = rows.iter().find(|r| r.id == day.day);
            let found =
                if day.faults.is_empty() { "as it should be".to_owned() } else { day.faults.join("; ") };
            table.row([
                row.map(|r| r.date.to_string()).unwrap_or_default(),
                row.map(|r| r.area.clone()).unwrap_or_default(),
                day.changes.to_string(),
                day.waiting.to_string(),
                found,
            ]);
        }
        if a.days.is_empty() { "No day yet, nothing to check.\n".to_owned() } else { table.draw(columns) }
    })?;
    if ok {
        return Ok(());
    }
    Err(Failure::refused(
        "the store does not stand as it should; keep a copy of it, then merge the packs of the team into a new store",
    ))
}
