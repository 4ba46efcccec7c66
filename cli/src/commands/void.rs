//! `void`: strikes entries out, keeping them, or restores them.

use super::{Ran, amend};
use crate::args::{DayChoice, Writer};
use crate::desk::Desk;

/// Strike entries out, keeping them with the reason; or restore them
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook void last --reason \"pressed by mistake\"\n  firnbook void 7E0FG --restore"
)]
pub struct VoidArgs {
    /// Entries: any unique ending of an id, `last`, or - for standard input
    #[arg(value_name = "ID", required = true)]
    ids: Vec<String>,
    /// Why
    #[arg(long, required_unless_present = "restore", conflicts_with = "restore")]
    reason: Option<String>,
    /// Let them count again
    #[arg(long)]
    restore: bool,
    #[command(flatten)]
    day: DayChoice,
    #[command(flatten)]
    writer: Writer,
}

/// Runs `void`.
pub fn run(desk: &mut Desk, args: &VoidArgs) -> Ran {
    let by = desk.writer(&args.writer)?;
    let ids = desk.entries_named(&args.ids, &args.day)?;
    let changed = desk.logbook.void(&ids, args.reason.as_deref(), &by)?;
    let verb =
        if args.restore { "restored" } else { "struck out; `firnbook void ID --restore` brings it back" };
    desk.ui.answer(&changed, |c| amend::tell(c, verb))
}
