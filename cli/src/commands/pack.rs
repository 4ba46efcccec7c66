//! `pack`: a file to hand over.

use super::Ran;
use crate::args::DayChoice;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::file::write_whole;
use crate::view::counted;
use firnbook_core::day::DayId;
use firnbook_core::store::DayRow;
use schemars::JsonSchema;
use serde::Serialize;
use std::path::PathBuf;

/// Pack days into a file to hand over, by stick or any messenger
///
/// A device of a crew signs what it packs. With --for-crew the file is sealed too: only devices of the crew can open it.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook pack\n  firnbook pack --all -o season.firn\n  firnbook pack --for-crew"
)]
pub struct PackArgs {
    /// The file [default: date-area-callsign.firn in this folder]; - is standard output
    #[arg(long, short, value_name = "FILE")]
    output: Option<PathBuf>,
    #[command(flatten)]
    day: DayChoice,
    /// All days of this store
    #[arg(long, conflicts_with = "day")]
    all: bool,
    /// Seal it, so that only devices of this crew can open it
    #[arg(long)]
    for_crew: bool,
    #[command(flatten)]
    writer: crate::args::Writer,
}

/// Answer of `pack`.
#[derive(Serialize, JsonSchema)]
pub struct PackAnswer {
    /// The file
    pub file: PathBuf,
    /// The days in it
    pub days: Vec<DayId>,
    /// Entries in it
    pub entries: usize,
    /// Its size
    pub bytes: usize,
}

/// Runs `pack`.
pub fn run(desk: &mut Desk, args: &PackArgs) -> Ran {
    let days = if args.all { desk.logbook.days()? } else { vec![desk.day_to_read(&args.day)?] };
    if days.is_empty() {
        return Err(Failure::refused("this store holds no day yet, so there is nothing to pack"));
    }
    let ids: Vec<DayId> = days.iter().map(|d| d.id).collect();
    let packed = if args.for_crew { desk.logbook.pack_for_crew(&ids)? } else { desk.logbook.pack(&ids)? };
    let by = args
        .writer
        .by
        .as_deref()
        .or(desk.settings.text("me"))
        .map_or_else(|| desk.logbook.device().to_string(), str::to_owned);
    let file = args.output.clone().unwrap_or_else(|| PathBuf::from(name(&days, &by)));
    let answer = PackAnswer {
        file: file.clone(),
        days: packed.days,
        entries: packed.entries,
        bytes: packed.bytes.len(),
    };
    if file.as_os_str() == "-" {
        return desk.ui.out_bytes(&packed.bytes);
    }
    write_whole(&file, &packed.bytes)?;
    desk.ui.answer(&answer, |a| {
        let (days, entries) = (counted(a.days.len(), "day", "days"), counted(a.entries, "entry", "entries"));
        format!("{}  {days}, {entries}, {} bytes\n", a.file.display(), a.bytes)
    })
}

/// The name of a pack: date, area and who packed, in characters that every file system takes.
#[must_use]
pub fn name(days: &[DayRow], by: &str) -> String {
    let plain = |text: &str| {
        let dashed: String =
            text.to_lowercase().chars().map(|c| if c.is_alphanumeric() { c } else { '-' }).collect();
        dashed.split('-').filter(|p| !p.is_empty()).collect::<Vec<_>>().join("-")
    };
    match days {
        [only] => format!("{}-{}-{}.firn", only.date, plain(&only.area), plain(by)),
        several => {
            let first = several.first().map(|d| d.date.to_string()).unwrap_or_default();
            let last = several.last().map(|d| d.date.to_string()).unwrap_or_default();
            format!("{first}-to-{last}-{}.firn", plain(by))
        }
    }
}
