//! `firnbook` alone: where you stand, and what to do next.

use super::Ran;
use crate::answer::DayAnswer;
use crate::desk::{Desk, quoted};
use crate::failure::Failure;
use crate::ui::{ALERT, COMMAND, FAINT, HEADING, styled};
use crate::view::{counted, table::Table};
use firnbook_core::day::{DayId, DeviceId};
use firnbook_core::review::KitItem;
use schemars::JsonSchema;
use serde::Serialize;
use std::path::PathBuf;

/// Answer of `firnbook` alone.
#[derive(Serialize, JsonSchema)]
pub struct HereAnswer {
    /// The store
    pub store: PathBuf,
    /// Who writes on this device; null as long as nobody said
    pub me: Option<String>,
    /// The latest day; null in an empty store
    pub day: Option<DayAnswer>,
    /// Devices that wrote into that day
    pub devices: Vec<DeviceId>,
    /// Kit in the snow, of all days
    pub kit_out: Vec<KitItem>,
    /// Commands that make sense now
    pub next: Vec<Next>,
}

/// A command that makes sense now.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Next {
    /// The command
    pub command: String,
    /// What it does
    pub why: String,
}

/// Runs `firnbook` alone.
pub fn run(desk: &mut Desk) -> Ran {
    let day = desk.logbook.latest_day()?;
    let kit_out = desk.kit_in_snow()?;
    let mut answer = HereAnswer {
        store: desk.logbook.path().to_owned(),
        me: desk.settings.text("me").map(str::to_owned),
        devices: day.as_ref().map(|d| d.devices.clone()).unwrap_or_default(),
        day: day.as_ref().map(DayAnswer::from),
        kit_out,
        next: Vec::new(),
    };
    let _: Option<DayId> = day.map(|d| d.id);
    answer.next = next(&answer, desk.today().to_string());
    let columns = desk.ui.columns();
    desk.ui.answer(&answer, |a| tell(a, columns))
}
fn next(answer: &HereAnswer, today: String) -> Vec<Next> {
    let mut next = Vec::new();
    let mut say = |command: String, why: &str| next.push(Next { command, why: why.to_owned() });
    if answer.me.is_none() {
        say("firnbook settings me CALLSIGN".to_owned(), "say who writes on this device");
    }
    let Some(day) = &answer.day else {
        say("firnbook day new --area \"Upper Bowl\"".to_owned(), "begin a day");
        say("firnbook merge FOLDER".to_owned(), "or take packs in");
        say("firnbook demo".to_owned(), "or see an invented day first");
        return next;
    };
    if day.date != today {
        say(format!("firnbook day new --area {}", quoted(&day.area)), "begin today");
    }
    next
}
fn tell(answer: &HereAnswer, columns: usize) -> String {
    let mut table = Table::new(["", ""]);
    table.row(["Store".into(), answer.store.display().to_string()]);
    if let Some(day) = &answer.day {
        table.row([
            "Day".into(),
            format!(
                "{} {}, {} from {}",
                day.date,
                day.area,
                counted(day.entries, "entry", "entries"),
                counted(day.devices, "device", "devices")
            ),
        ]);
    }
    let mut text = table.draw(columns);
    for item in &answer.kit_out {
        text.push_str(&format!("{}\n", styled(ALERT, super::kit::place(item))));
    }
    text.push_str(&tell_next(&answer.next));
    let _ = (FAINT, HEADING);
    text
}

/// The next sensible commands, with what each does; a long one has it on the line below.
#[must_use]
pub fn tell_next(next: &[Next]) -> String {
    const LONG: usize = 44;
    let widths = next.iter().map(|n| n.command.chars().count());
    let width = widths.filter(|w| *w <= LONG).max().unwrap_or(0);
    let line = |n: &Next| {
        let command = styled(COMMAND, &n.command);
        let why = styled(FAINT, &n.why);
        match width.checked_sub(n.command.chars().count()) {
            _ if n.why.is_empty() => format!("  {command}\n"),
            Some(gap) => format!("  {command}{}  {why}\n", " ".repeat(gap)),
            None => format!("  {command}\n  {}  {why}\n", " ".repeat(width)),
        }
    };
    next.iter().map(line).collect()
}

/// Someone of whom nothing has come.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Awaited {
    /// The call sign
    pub call_sign: String,
}
/// x
pub struct Standing {
    /// x
    pub days: Vec<super::merge::DayAfter>,
    /// x
    pub awaited: Vec<Awaited>,
    /// x
    pub kit_out: Vec<KitItem>,
}
impl Standing {
    /// x
    pub fn of(desk: &Desk, days: impl Iterator<Item = DayId>) -> Result<Standing, Failure> {
        let mut after = Vec::new();
        for day in days {
            if let Ok(row) = desk.row(day) {
                after.push(super::merge::DayAfter {
                    day,
                    entries: row.entries,
                    conflicts: 0,
                    twins: 0,
                    doubts: 0,
                });
            }
        }
        Ok(Standing { days: after, awaited: vec![], kit_out: desk.kit_in_snow()? })
    }
}
/// x
pub fn tell_days(_: &[super::merge::DayAfter], _: &[Awaited]) -> String {
    String::new()
}
