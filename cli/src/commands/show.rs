//! `show`: one entry, and how it came to be.

use super::{Ran, entries};
use crate::args::DayChoice;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::ui::{FAINT, styled};
use crate::view::{self, table::Table};
use firnbook_core::entry::kind;
use firnbook_core::logbook::HistoryStep;
use firnbook_core::store::{EntryRow, Filter};
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

/// Show one entry, with --history who changed what, when, on which device
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:\n  firnbook show last --history")]
pub struct ShowArgs {
    /// The entry: any unique ending of its id, or `last`
    id: String,
    /// Every change of it
    #[arg(long)]
    history: bool,
    #[command(flatten)]
    day: DayChoice,
}

/// Answer of `show`.
#[derive(Serialize, JsonSchema)]
pub struct ShowAnswer {
    /// The entry as it stands
    #[serde(flatten)]
    pub entry: entries::EntryAnswer,
    /// Every change of it, if that was asked for
    pub history: Option<Vec<HistoryStep>>,
}

/// Runs `show`.
pub fn run(desk: &mut Desk, args: &ShowArgs) -> Ran {
    let day = args.day.day.as_deref().map(|d| desk.logbook.find_day(d)).transpose()?;
    let found = desk.logbook.resolve(std::slice::from_ref(&args.id), day)?;
    let Some((day, id)) = found.first().copied() else { return Err(Failure::refused("no id was given")) };
    let rows = desk.logbook.entries(&Filter { day: Some(day), void: true, ..Filter::default() })?;
    let row = rows.into_iter().find(|r| r.noted.id == id);
    let row = row.ok_or_else(|| Failure::refused(format!("entry {id} is not in day {day}")))?;
    let at = desk.logbook.corrected(std::slice::from_ref(&row))?.remove(0);
    let history = args.history.then(|| desk.logbook.history(day, id)).transpose()?;
    let answer = ShowAnswer { entry: entries::EntryAnswer::of(day, &row.noted, &at), history };
    let columns = desk.ui.columns();
    desk.ui.answer(&answer, |a| tell(&row, a.history.as_deref(), columns))
}

fn tell(row: &EntryRow, history: Option<&[HistoryStep]>, columns: usize) -> String {
    let noted = &row.noted;
    let word = noted.json.get("kind").and_then(Value::as_str).unwrap_or_default();
    let mut text = format!("{}\n", entries::full_id(noted.id));
    if let Some(reason) = &noted.void {
        text.push_str(&format!("{}\n", styled(crate::ui::ALERT, format!("struck out: {reason}"))));
    }
    let mut table = Table::new(["", "", ""]);
    for (key, value) in noted.json.iter().filter(|(k, _)| *k != "id") {
        let field = kind(word).and_then(|k| k.fields.iter().find(|f| f.name == *key));
        let unit = field.and_then(|f| f.unit).map(|u| format!(" {}", u.symbol())).unwrap_or_default();
        let mark = if noted.unsettled.contains(key) { "  in conflict: see `firnbook review`" } else { "" };
        let note = match field {
            Some(field) => field.text.clone(),
            None if key == "kind" => String::new(),
            None => "a field of a newer version".to_owned(),
        };
        table.row([key.clone(), format!("{}{unit}{mark}", view::value(value)), note]);
    }
    text.push_str(&table.draw(columns));
    text.push_str(&format!(
        "{}\n",
        styled(FAINT, format!("device {}, proven by its key  day {}", noted.device, row.day))
    ));
    if let Some(history) = history {
        let mut table = Table::new(["when", "by", "device", "what", "value"]);
        for step in history {
            let at =
                step.at.map(|t| t.datetime().format("%Y-%m-%d %H:%M:%S").to_string()).unwrap_or_default();
            let shown = match step.field.as_str() {
                "written" => String::new(),
                _ => view::value(&step.v),
            };
            table.row([
                at,
                step.by.clone(),
                step.device.to_string()[..6].to_owned(),
                step.field.clone(),
                shown,
            ]);
        }
        text.push('\n');
        text.push_str(&table.draw(columns));
    }
    text
}
