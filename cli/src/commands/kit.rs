//! `kit`: where every piece of kit is.

use super::Ran;
use crate::answer::filters;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::ui::ALERT;
use crate::view::{self, table::Table};
use firnbook_core::entry::fold;
use firnbook_core::insight::made::Made;
use firnbook_core::review::{KitItem, KitState};
use schemars::JsonSchema;
use serde::Serialize;

/// Show where every piece of kit is, over all days; what is in the snow first
#[derive(clap::Args, Debug)]
#[command(after_help = "Examples:\n  firnbook kit\n  firnbook kit TX07")]
pub struct KitArgs {
    /// Only this piece
    item: Option<String>,
}

/// Answer of `kit`.
#[derive(Serialize, JsonSchema)]
pub struct KitAnswer {
    /// Every piece with its last step, what is in the snow first
    pub items: Vec<KitItem>,
    /// From what this was made
    pub made: Made,
}

/// Runs `kit`.
pub fn run(desk: &mut Desk, args: &KitArgs) -> Ran {
    let mut items = desk.kit()?;
    if let Some(wanted) = &args.item {
        items.retain(|i| i.item.as_ref().is_some_and(|item| fold(item) == fold(wanted)));
        if items.is_empty() {
            return Err(Failure::refused(format!(
                "no piece of kit is called \"{wanted}\"; `firnbook kit` shows all of them"
            )));
        }
    }
    let made = desk.made(&desk.logbook.day_ids()?, filters([("item", args.item.clone())]))?;
    desk.awaits = items.iter().any(|i| i.state == KitState::InSnow);
    let answer = KitAnswer { items, made };
    let columns = desk.ui.columns();
    desk.ui.answer(&answer, |a| tell(&a.items, columns))
}

fn tell(items: &[KitItem], columns: usize) -> String {
    if items.is_empty() {
        return "No kit has been written down.\n".to_owned();
    }
    let mut table = Table::new(["item", "what", "where", "since", "by", "place"]);
    for item in items {
        let state = match item.state {
            KitState::InSnow => "IN THE SNOW",
            KitState::Issued => "in hand",
            KitState::Returned => "back",
            KitState::Lost => "lost",
        };
        let cells = [
            item.item.clone().unwrap_or_else(|| "(no label)".to_owned()),
            item.what.map(|w| w.to_string()).unwrap_or_default(),
            state.to_owned(),
            format!("{} {}", item.date, item.at.datetime().format("%H:%M")),
            item.by.clone(),
            spot(item),
        ];
        match item.state {
            KitState::InSnow => table.styled_row(ALERT, cells),
            _ => table.row(cells),
        }
    }
    table.draw(columns)
}

/// Where in its drill a piece was last: drill, target, place, depth.
fn spot(item: &KitItem) -> String {
    let mut parts = Vec::new();
    parts.extend(item.drill.as_ref().map(|d| format!("drill {d}")));
    parts.extend(item.target.as_ref().map(|t| format!("target {t}")));
    if item.state == KitState::InSnow {
        parts.extend(item.set_depth_cm.map(|d| format!("{} cm deep", view::number(d))));
        parts.extend(
            item.x_m.zip(item.y_m).map(|(x, y)| format!("x {} m, y {} m", view::number(x), view::number(y))),
        );
        parts.extend(item.lat.zip(item.lon).map(|(lat, lon)| format!("{lat:.5}, {lon:.5}")));
    }
    parts.join(", ")
}

/// A piece in the snow in one line.
#[must_use]
pub fn place(item: &KitItem) -> String {
    let name = item.item.clone().unwrap_or_else(|| "a transmitter without a label".to_owned());
    let spot = spot(item);
    let spot = if spot.is_empty() { spot } else { format!(": {spot}") };
    format!(
        "{name}{spot} ({} {}, since {}, {})",
        item.date,
        item.area,
        item.at.datetime().format("%H:%M"),
        item.by
    )
}
