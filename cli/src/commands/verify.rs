//! `verify`: holds the store against its changes.

use super::Ran;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::view::{counted, table::Table};
use firnbook_core::day::DayId;
use firnbook_core::logbook::{Seal, SealSignature};
use schemars::JsonSchema;
use serde::Serialize;
use std::path::PathBuf;

/// Check every day of the store: changes against hashes and signatures, rows against the changes, seals against their signatures
#[derive(clap::Args, Debug)]
#[command(after_help = "Examples:\n  firnbook verify\n  firnbook verify --repair team.firn")]
pub struct VerifyArgs {
    /// Make damaged days whole with what this pack holds of them, then check
    #[arg(long, value_name = "FROM")]
    repair: Option<PathBuf>,
}

/// Answer of `verify`.
#[derive(Serialize, JsonSchema)]
pub struct VerifyAnswer {
    /// Everything stands as it should
    pub ok: bool,
    /// Each day
    pub days: Vec<DayChecked>,
    /// Days that were made whole from the pack
    pub repaired: Vec<DayId>,
}

/// What checking one day found.
#[derive(Serialize, JsonSchema)]
pub struct DayChecked {
    /// The day
    pub day: DayId,
    /// Changes that count
    pub changes: usize,
    /// Changes that wait for others or for a signature
    pub waiting: usize,
    /// Changes withdrawn, since their key signed two histories
    pub withdrawn: usize,
    /// The rows are those that follow from the changes
    pub rows_equal: bool,
    /// What is wrong, one sentence each
    pub faults: Vec<String>,
    /// The seals of a closed day, one for each device that closed it
    pub seals: Vec<Seal>,
}

/// Runs `verify`.
pub fn run(desk: &mut Desk, args: &VerifyArgs) -> Ran {
    let repaired = match &args.repair {
        Some(file) => {
            let bytes = std::fs::read(file).map_err(|e| Failure::file(file, &e))?;
            desk.logbook.repair(&bytes)?.iter().map(|d| d.day).collect()
        }
        None => Vec::new(),
    };
    let rows = desk.logbook.days()?;
    let mut days = Vec::with_capacity(rows.len());
    for checked in desk.logbook.verify()? {
        // Of a day whose changes do not hold together there is nothing to hold a seal against.
        let seals = if checked.faults.is_empty() { desk.logbook.seals(checked.day)? } else { Vec::new() };
        let mut faults = checked.faults;
        let forged = seals.iter().filter(|s| s.signature == SealSignature::False);
        faults.extend(forged.map(|s| format!("the seal of device {} does not fit its signature", s.device)));
        days.push(DayChecked {
            day: checked.day,
            changes: checked.changes,
            waiting: checked.waiting,
            withdrawn: checked.withdrawn,
            rows_equal: checked.rows_equal,
            faults,
            seals,
        });
    }
    let ok = days.iter().all(|d| d.rows_equal && d.faults.is_empty());
    let answer = VerifyAnswer { ok, days, repaired };
    let (ok, columns) = (answer.ok, desk.ui.columns());
    desk.ui.answer(&answer, |a| {
        let mut table =
            Table::new(["date", "area", "changes", "waiting", "withdrawn", "found"]).right([2, 3, 4]);
        for day in &a.days {
            let row = rows.iter().find(|r| r.id == day.day);
            let fine = || std::iter::once("as it should be".to_owned()).chain(day.seals.iter().map(sealed));
            let found = if day.faults.is_empty() { fine().collect::<Vec<_>>() } else { day.faults.clone() };
            table.row([
                row.map(|r| r.date.to_string()).unwrap_or_default(),
                row.map(|r| r.area.clone()).unwrap_or_default(),
                day.changes.to_string(),
                day.waiting.to_string(),
                day.withdrawn.to_string(),
                found.join("; "),
            ]);
        }
        if a.days.is_empty() { "No day yet, nothing to check.\n".to_owned() } else { table.draw(columns) }
    })?;
    if ok {
        return Ok(());
    }
    Err(Failure::refused(
        "this store is damaged; keep a copy of it, then take the damaged days from a pack of the team: firnbook verify --repair FILE",
    ))
}

/// "closed by Base, signed; 2 changes came after".
fn sealed(seal: &Seal) -> String {
    let who = seal.label.clone().unwrap_or_else(|| seal.by.clone());
    let signed = match seal.signature {
        SealSignature::Good => "signed",
        SealSignature::Unknown => "signed by a device that this crew does not know",
        SealSignature::False => "falsely signed",
        SealSignature::None => "not signed",
    };
    let after = match seal.after {
        0 => String::new(),
        n => format!(", {} after it", counted(n, "change came", "changes came")),
    };
    let missing = match seal.missing {
        0 => String::new(),
        n => format!(
            ", and {} not count here: withdrawn since, waiting, or not come",
            counted(n, "change that it closed does", "changes that it closed do")
        ),
    };
    format!("closed by {who}, {signed}{after}{missing}")
}
