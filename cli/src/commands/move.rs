//! `move`: brings entries to the day they belong to.

use super::{Ran, amend};
use crate::args::Writer;
use crate::desk::Desk;
use crate::failure::Failure;
use firnbook_core::store::Filter;

/// Move entries to the day they belong to: same ids there, struck out here
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:\n  firnbook move --all --day 9b1f --into 2027-02-06")]
pub struct MoveArgs {
    /// Entries: any unique ending of an id, `last`, or - for standard input
    #[arg(value_name = "ID", required_unless_present = "all", conflicts_with = "all")]
    ids: Vec<String>,
    /// Every entry of the day that is not struck out
    #[arg(long, requires = "day")]
    all: bool,
    /// The day they are in
    #[arg(long, value_name = "FROM")]
    day: Option<String>,
    /// The day they belong to
    #[arg(long, value_name = "DAY")]
    into: String,
    #[command(flatten)]
    writer: Writer,
}

/// Runs `move`.
pub fn run(desk: &mut Desk, args: &MoveArgs) -> Ran {
    let by = desk.writer(&args.writer)?;
    let into = desk.logbook.find_day(&args.into)?;
    let from = crate::args::DayChoice { day: args.day.clone() };
    let ids = if args.all {
        let day = desk.day_to_read(&from)?.id;
        let rows = desk.logbook.entries(&Filter { day: Some(day), ..Filter::default() })?;
        rows.iter().map(|r| (r.day, r.noted.id)).collect()
    } else {
        desk.entries_named(&args.ids, &from)?
    };
    if ids.iter().all(|(day, _)| *day == into) {
        return Err(Failure::refused("these entries are in that day already; nothing was moved"));
    }
    let day = desk.row(into)?;
    let changed = desk.logbook.move_to(&ids, into, &by)?;
    desk.ui.answer(&changed, |c| amend::tell(c, &format!("moved to {} {}", day.date, day.area)))
}
