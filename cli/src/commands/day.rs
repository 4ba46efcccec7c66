//! `day`: begins, lists, shows and closes days.

use super::Ran;
use crate::answer::DayAnswer;
use crate::args::{DayChoice, Writer};
use crate::desk::Desk;
use crate::ui::{FAINT, HEADING, styled};
use crate::view::{clock_time, counted, table::Table};
use chrono::NaiveDate;
use firnbook_core::entry::{KINDS, Time};
use firnbook_core::logbook::{DayBegun, EntryAside};
use firnbook_core::store::{DayRow, Filter};
use schemars::JsonSchema;
use serde::Serialize;

/// Begin, list, show and close days
///
/// A day is a date and an area: phones that never met and name the same two are on the same day.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:\n  firnbook day new --area \"Upper Bowl\"")]
pub struct DayArgs {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(clap::Subcommand, Debug)]
enum Verb {
    /// Begin a day; the same day again is used, not begun twice
    #[command(after_help = "Example:\n  firnbook day new --area \"Upper Bowl\" --date 2027-02-06")]
    New {
        /// Where: a place that everyone calls the same
        #[arg(long)]
        area: String,
        /// When [default: today]
        #[arg(long, value_name = "YYYY-MM-DD")]
        date: Option<NaiveDate>,
        #[command(flatten)]
        writer: Writer,
    },
    /// List all days of this store
    #[command(after_help = "Example:\n  firnbook day list")]
    List,
    /// Show one day: who wrote what
    #[command(after_help = "Example:\n  firnbook day show --day 2027-02-06")]
    Show(DayChoice),
    /// Close a day; refused while kit is in the snow or someone has not handed in
    #[command(
        after_help = "Example:\n  firnbook day close --despite \"TX07 searched until dark, dog team tomorrow\""
    )]
    Close {
        #[command(flatten)]
        day: DayChoice,
        /// Close it although something stands against it, and say why
        #[arg(long, value_name = "REASON")]
        despite: Option<String>,
        #[command(flatten)]
        writer: Writer,
    },
}

/// Answer of `day list`.
#[derive(Serialize, JsonSchema)]
pub struct DayList {
    /// All days, the latest last
    pub days: Vec<DayAnswer>,
}

/// Answer of `day show`.
#[derive(Serialize, JsonSchema)]
pub struct DayShown {
    /// The day as a list shows it
    #[serde(flatten)]
    pub day: DayAnswer,
    /// Hashes of its latest changes
    pub heads: Vec<String>,
    /// Entries of each kind, void ones left out
    pub kinds: Vec<KindCount>,
    /// The writers with what they wrote, void ones left out
    pub writers: Vec<WriterCount>,
    /// Entries that are held and do not count: they wait, or are withdrawn
    pub aside: Vec<EntryAside>,
}

/// How many entries there are of a kind.
#[derive(Serialize, JsonSchema)]
pub struct KindCount {
    /// The kind
    pub kind: String,
    /// Entries
    pub n: usize,
}

/// What one call sign wrote.
#[derive(Serialize, JsonSchema)]
pub struct WriterCount {
    /// The call sign
    pub by: String,
    /// Entries
    pub n: usize,
    /// The first of them
    pub first_at: Option<Time>,
    /// The last of them
    pub last_at: Option<Time>,
}

/// Runs `day`.
pub fn run(desk: &mut Desk, args: &DayArgs) -> Ran {
    match &args.verb {
        Verb::New { area, date, writer } => {
            let by = desk.writer(writer)?;
            let date = date.unwrap_or_else(|| desk.today());
            let begun = desk.logbook.begin_day(date, area, &by)?;
            desk.ui.answer(&begun, tell_begun)
        }
        Verb::List => {
            let answer = DayList { days: desk.logbook.days()?.iter().map(DayAnswer::from).collect() };
            let columns = desk.ui.columns();
            desk.ui.answer(&answer, |a| tell_list(a, columns))
        }
        Verb::Show(day) => {
            let day = desk.day_to_read(day)?;
            let answer = shown(desk, &day)?;
            let columns = desk.ui.columns();
            desk.ui.answer(&answer, |a| tell_shown(a, columns))
        }
        Verb::Close { day, despite, writer } => {
            let by = desk.writer(writer)?;
            let day = desk.day_to_write(day)?;
            let closed = desk.logbook.close_day(day.id, despite.as_deref(), &by)?;
            desk.ui.answer(&closed, |c| {
                format!("Day {} {} is closed; what is written later shows as after.\n", c.date, c.area)
            })
        }
    }
}

fn tell_begun(day: &DayBegun) -> String {
    if day.begun {
        return format!("Begun: {} {}  {}\n", day.date, day.area, styled(FAINT, day.day));
    }
    let entries = counted(day.entries, "entry", "entries");
    format!(
        "Here already: {} {}, with {entries}; it is used as it is.  {}\n",
        day.date,
        day.area,
        styled(FAINT, day.day)
    )
}

fn tell_list(answer: &DayList, columns: usize) -> String {
    if answer.days.is_empty() {
        return "No day yet.\n".to_owned();
    }
    let mut table = Table::new(["date", "area", "entries", "devices", "id", ""]).right([2, 3]);
    for day in &answer.days {
        let mut notes = Vec::new();
        if day.closed {
            notes.push("closed".to_owned());
        }
        if day.waiting > 0 {
            notes.push(format!("{} waiting", counted(day.waiting, "change", "changes")));
        }
        if day.withdrawn > 0 {
            notes.push(format!("{} withdrawn", counted(day.withdrawn, "change", "changes")));
        }
        if day.opaque > 0 {
            notes.push(format!("{} not readable here", day.opaque));
        }
        table.row([
            day.date.clone(),
            day.area.clone(),
            day.entries.to_string(),
            day.devices.to_string(),
            day.day.to_string()[..8].to_owned(),
            notes.join(", "),
        ]);
    }
    table.draw(columns)
}

fn shown(desk: &Desk, day: &DayRow) -> Result<DayShown, crate::failure::Failure> {
    let rows = desk.logbook.entries(&Filter { day: Some(day.id), ..Filter::default() })?;
    let entries: Vec<_> = rows.iter().filter_map(|r| r.noted.counted()).collect();
    let kinds = KINDS.iter().map(|k| KindCount {
        kind: k.name.clone(),
        n: entries.iter().filter(|e| e.common.kind == k.name).count(),
    });
    let mut writers: Vec<WriterCount> = Vec::new();
    for entry in &entries {
        let (by, at) = (&entry.common.by, entry.common.at);
        let same = |w: &&mut WriterCount| firnbook_core::entry::fold(&w.by) == by.folded();
        match writers.iter_mut().find(same) {
            Some(writer) => {
                writer.n += 1;
                writer.first_at = writer.first_at.min(Some(at));
                writer.last_at = writer.last_at.max(Some(at));
            }
            None => {
                writers.push(WriterCount { by: by.0.clone(), n: 1, first_at: Some(at), last_at: Some(at) })
            }
        }
    }
    writers.sort_by_key(|w| std::cmp::Reverse(w.n));
    Ok(DayShown {
        day: DayAnswer::from(day),
        heads: desk.logbook.day(day.id)?.heads,
        kinds: kinds.filter(|k| k.n > 0).collect(),
        writers,
        aside: desk.logbook.entries_aside(day.id)?,
    })
}

fn tell_shown(answer: &DayShown, columns: usize) -> String {
    let day = &answer.day;
    let closed = if day.closed { ", closed" } else { "" };
    let mut text = format!(
        "{}  {} from {}{closed}\n",
        styled(HEADING, format!("{} {}", day.date, day.area)),
        counted(day.entries, "entry", "entries"),
        counted(day.devices, "device", "devices"),
    );
    text.push_str(&format!("{}\n\n", styled(FAINT, day.day)));
    let mut kinds = Table::new(["kind", "entries"]).right([1]);
    for kind in &answer.kinds {
        kinds.row([kind.kind.replace('_', " "), kind.n.to_string()]);
    }
    let mut writers = Table::new(["writer", "entries", "first", "last"]).right([1]);
    for writer in &answer.writers {
        let time = |at: Option<Time>| at.map(clock_time).unwrap_or_default();
        writers.row([writer.by.clone(), writer.n.to_string(), time(writer.first_at), time(writer.last_at)]);
    }
    text.push_str(&kinds.draw(columns));
    text.push('\n');
    text.push_str(&writers.draw(columns));
    if !answer.aside.is_empty() {
        let mut aside = Table::new(["does not count", "kind", "named device", "id"]);
        for entry in &answer.aside {
            let state = if entry.withdrawn { "withdrawn" } else { "waits for its signature" };
            let kind = entry.json.get("kind").and_then(|k| k.as_str()).unwrap_or_default().replace('_', " ");
            let device = entry.device.to_string()[..8].to_owned();
            aside.row([state.to_owned(), kind, device, super::entries::full_id(entry.id)]);
        }
        text.push('\n');
        text.push_str(&aside.draw(columns));
    }
    text
}
