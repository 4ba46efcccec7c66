//! `adopt`: takes entries over whose device's key is proven broken.

use super::{Ran, amend};
use crate::args::{DayChoice, Writer};
use crate::desk::Desk;
use crate::failure::Failure;
use firnbook_core::entry::EntryId;

/// Take withdrawn entries over as your own: their device's key signed two different histories, so they count no more
#[derive(clap::Args, Debug)]
#[command(
    after_help = "The same text counts again, written by you; the device that it claimed stays named (`firnbook show ID --history`).\n\nExample:\n  firnbook adopt 7E0FG"
)]
pub struct AdoptArgs {
    /// Entries: any unique ending of an id of a withdrawn entry, as `firnbook day show` lists them
    #[arg(value_name = "ID", required = true)]
    ids: Vec<String>,
    #[command(flatten)]
    day: DayChoice,
    #[command(flatten)]
    writer: Writer,
}

/// Runs `adopt`.
pub fn run(desk: &mut Desk, args: &AdoptArgs) -> Ran {
    let by = desk.writer(&args.writer)?;
    let day = desk.day_to_write(&args.day)?.id;
    let aside = desk.logbook.entries_aside(day)?;
    let mut ids: Vec<EntryId> = Vec::new();
    for wanted in &args.ids {
        let ending = wanted.trim().to_uppercase();
        let mut fits: Vec<EntryId> = aside
            .iter()
            .filter(|e| e.withdrawn)
            .map(|e| e.id)
            .filter(|id| id.to_string().ends_with(&ending))
            .collect();
        fits.dedup();
        match fits.as_slice() {
            [one] => ids.push(*one),
            [] => {
                return Err(Failure::refused(format!(
                    "no withdrawn entry of this day ends in \"{wanted:.80}\"; `firnbook day show` lists those that are"
                )));
            }
            several => {
                let ids: Vec<String> = several.iter().map(ToString::to_string).collect();
                return Err(Failure::refused(format!(
                    "\"{wanted:.80}\" could be {}; write more of the end of the id",
                    ids.join(" or ")
                )));
            }
        }
    }
    let changed = desk.logbook.adopt(day, &ids, &by)?;
    desk.ui.answer(&changed, |c| amend::tell(c, "taken over"))
}
