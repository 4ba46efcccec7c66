//! `settle`: writes what a person decided about an item of review.

use super::{Ran, review, settle_walk};
use crate::args::{DayChoice, Writer};
use crate::desk::Desk;
use crate::failure::Failure;
use crate::view;
use firnbook_core::logbook::LogbookError;
use firnbook_core::review::{Choice, Settled, Sort, Verdict, find, typed};
use firnbook_core::store::DayRow;
use schemars::JsonSchema;
use serde::Serialize;

/// Settle what review shows; without arguments in a terminal, one question at a time
///
/// What is settled here is settled on every device that gets a pack. The walk can be left at any point.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook settle\n  firnbook settle 8f3kq2zz --keep 7dk2m1aa\n  firnbook settle --sort twin --same --dry-run\n  firnbook settle 5c9d1e2f --accept --note \"two hits, one hand\""
)]
#[command(group = clap::ArgGroup::new("verdict").args(["keep", "value", "same", "different", "void", "accept"]))]
pub struct SettleArgs {
    /// Items: codes as review shows them, or their beginnings
    #[arg(value_name = "ITEM")]
    items: Vec<String>,
    /// Every item of this sort
    #[arg(long, value_parser = review::sort, value_name = "conflict|twin|doubt", conflicts_with = "items")]
    sort: Option<Sort>,
    /// The value of this code is right
    #[arg(long, value_name = "HASH")]
    keep: Option<String>,
    /// This value is right; units as for log
    #[arg(long, value_name = "VALUE", allow_hyphen_values = true)]
    value: Option<String>,
    /// They tell of one event
    #[arg(long)]
    same: bool,
    /// They tell of two events
    #[arg(long)]
    different: bool,
    /// Strike this entry out
    #[arg(long, value_name = "ID")]
    void: Option<String>,
    /// It is looked at, and true
    #[arg(long)]
    accept: bool,
    /// Why, for those who look later
    #[arg(long, value_name = "TEXT")]
    note: Option<String>,
    /// Only say what would be settled
    #[arg(long)]
    dry_run: bool,
    #[command(flatten)]
    day: DayChoice,
    #[command(flatten)]
    writer: Writer,
}

/// Answer of `settle`.
#[derive(Serialize, JsonSchema)]
pub struct SettleAnswer {
    /// The items that were settled
    pub items: Vec<SettledItem>,
}

/// One settled item.
#[derive(Serialize, JsonSchema)]
pub struct SettledItem {
    /// The key of the item
    pub item: String,
    /// Its short code
    pub code: String,
    /// What was written; with --dry-run, what would be
    pub settled: Vec<RegisterWritten>,
}

/// One register.
#[derive(Serialize, JsonSchema)]
pub struct RegisterWritten {
    /// Its key
    pub key: String,
    /// Its value
    pub v: serde_json::Value,
}

/// Runs `settle`.
pub fn run(desk: &mut Desk, args: &SettleArgs) -> Ran {
    let by = desk.writer(&args.writer)?;
    if args.items.is_empty() && args.sort.is_none() {
        if !desk.ui.may_ask() {
            return Err(Failure::Usage(
                "say what to settle: codes as `firnbook review` shows them, or --sort; the walk through all needs a terminal".to_owned(),
            ));
        }
        let day = desk.day_to_read(&args.day)?;
        return settle_walk::run(desk, &day, &by);
    }
    // A code names one item of one day; a whole sort does not, so there the day must be today's or said.
    let day = if args.sort.is_some() { desk.day_to_write(&args.day)? } else { desk.day_to_read(&args.day)? };
    let verdict = verdict(desk, &day, args)?;
    let choice = match args.sort {
        Some(sort) => Choice::All(sort),
        None => Choice::These(&args.items),
    };
    let settled = desk.logbook.settle(day.id, choice, &verdict, &by, args.note.as_deref(), args.dry_run)?;
    let answer = SettleAnswer { items: settled.into_iter().map(answer).collect() };
    desk.ui.answer(&answer, |a| {
        let verb = if args.dry_run { "would be settled" } else { "settled" };
        let codes: Vec<&str> = a.items.iter().take(12).map(|i| i.code.as_str()).collect();
        let more = if a.items.len() > codes.len() { " …" } else { "" };
        format!("{} {verb}  {}{more}\n", view::counted(a.items.len(), "item", "items"), codes.join(" "))
    })?;
    let left = desk.logbook.review(day.id)?.iter().filter(|i| i.sort != Sort::Missing).count();
    desk.awaits = left > 0;
    desk.ui.advise(match left {
        0 => "nothing is left to settle on this day".to_owned(),
        n => format!("{} left to settle: firnbook review", view::counted(n, "item is", "items are")),
    });
    Ok(())
}

fn answer(settled: Settled) -> SettledItem {
    let writes = settled.writes.into_iter().map(|(key, v)| RegisterWritten { key: key.to_string(), v });
    SettledItem { item: settled.item, code: settled.code, settled: writes.collect() }
}

fn verdict(desk: &Desk, day: &DayRow, args: &SettleArgs) -> Result<Verdict, Failure> {
    if let Some(hash) = &args.keep {
        return Ok(Verdict::Keep(hash.clone()));
    }
    if let Some(text) = &args.value {
        return Ok(Verdict::Value(value(desk, day, &args.items, text)?));
    }
    if let Some(id) = &args.void {
        let found = desk.logbook.resolve(std::slice::from_ref(id), Some(day.id))?;
        let reason = args.note.clone().unwrap_or_else(|| "struck out in settling".to_owned());
        return found
            .first()
            .map(|(_, id)| Verdict::Void(*id, reason))
            .ok_or_else(|| Failure::refused("no entry was named"));
    }
    match (args.same, args.different, args.accept) {
        (true, _, _) => Ok(Verdict::Same),
        (_, true, _) => Ok(Verdict::Different),
        (_, _, true) => Ok(Verdict::Accept),
        _ => Err(Failure::Usage(
            "say how it is settled: --keep HASH, --value VALUE, --same, --different, --void ID or --accept"
                .to_owned(),
        )),
    }
}

/// What a typed value means for these items; it must mean the same for all.
fn value(desk: &Desk, day: &DayRow, codes: &[String], text: &str) -> Result<serde_json::Value, Failure> {
    let (record, items) = (desk.logbook.record(day.id)?, desk.logbook.review(day.id)?);
    let times = desk.times(day)?.of(None);
    let mut read = Vec::new();
    for code in codes {
        let item = find(&items, code).map_err(LogbookError::from)?;
        read.push(typed(&record, item, text, &times).map_err(LogbookError::from)?);
    }
    match read.as_slice() {
        [first, rest @ ..] if rest.iter().all(|v| v == first) => Ok(first.clone()),
        [] => Err(Failure::Usage("--value settles items that are named by their codes".to_owned())),
        _ => Err(Failure::Usage(
            "this value means something else for each of these items; settle them one by one".to_owned(),
        )),
    }
}
