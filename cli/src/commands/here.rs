//! `firnbook` alone: where you stand, and what to do next.

use super::Ran;
use super::merge::DayAfter;
use crate::answer::DayAnswer;
use crate::desk::{Desk, quoted};
use crate::failure::Failure;
use crate::ui::{ALERT, COMMAND, FAINT, HEADING, styled};
use crate::view::counted;
use firnbook_core::day::{DayId, DeviceId};
use firnbook_core::insight::debrief::Awaited;
use firnbook_core::review::{Item, KitItem, Sort};
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
    /// Entries of that day
    pub entries: usize,
    /// Devices that wrote into it
    pub devices: Vec<DeviceId>,
    /// Its open conflicts
    pub conflicts: usize,
    /// Its open twins
    pub twins: usize,
    /// Its open doubts
    pub doubts: usize,
    /// What it still lacks, kit apart
    pub missing: usize,
    /// Who has not handed in
    pub awaited: Vec<Awaited>,
    /// Kit in the snow, of all days
    pub kit_out: Vec<KitItem>,
    /// What is known of the clocks that wrote
    pub clocks: String,
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
    let row = desk.logbook.latest_day()?;
    let items = row.as_ref().map(|d| desk.logbook.review(d.id)).transpose()?.unwrap_or_default();
    let awaited = row.as_ref().map(|d| desk.logbook.awaited(d.id)).transpose()?.unwrap_or_default();
    let clocks = row.as_ref().map(|d| desk.logbook.clocks(d.id)).transpose()?;
    let unknown = clocks.as_ref().is_some_and(|c| !c.corrected);
    let mut answer = HereAnswer {
        store: desk.logbook.path().to_owned(),
        me: desk.settings.text("me").map(str::to_owned),
        entries: row.as_ref().map_or(0, |d| d.entries),
        devices: row.as_ref().map(|d| d.devices.clone()).unwrap_or_default(),
        conflicts: n(&items, Sort::Conflict),
        twins: n(&items, Sort::Twin),
        doubts: n(&items, Sort::Doubt),
        missing: items.iter().filter(|i| i.sort == Sort::Missing && !i.is_kit()).count(),
        awaited,
        kit_out: desk.kit_in_snow()?,
        clocks: clocks.as_ref().map(super::clock::standing).unwrap_or_default(),
        day: row.as_ref().map(DayAnswer::from),
        next: Vec::new(),
    };
    answer.next = next(&answer, &desk.today().to_string(), unknown);
    let open = answer.conflicts + answer.twins + answer.doubts + answer.missing;
    desk.awaits = open > 0 || !answer.kit_out.is_empty() || !answer.awaited.is_empty();
    let columns = desk.ui.columns();
    desk.ui.answer(&answer, |a| tell(a, columns))
}

fn n(items: &[Item], sort: Sort) -> usize {
    items.iter().filter(|i| i.sort == sort).count()
}

fn next(answer: &HereAnswer, today: &str, clock_unknown: bool) -> Vec<Next> {
    let mut next = Vec::new();
    let mut say =
        |command: &str, why: &str| next.push(Next { command: command.to_owned(), why: why.to_owned() });
    if answer.me.is_none() {
        say("firnbook settings me CALLSIGN", "say who writes on this device");
    }
    let Some(day) = &answer.day else {
        say("firnbook day new --area \"Upper Bowl\"", "begin a day");
        say("firnbook merge FOLDER", "or take packs in");
        say("firnbook demo", "or see an invented day first");
        return next;
    };
    let of_day = if day.date == *today { String::new() } else { format!(" --day {}", day.date) };
    if day.date != *today {
        say(&format!("firnbook day new --area {}", quoted(&day.area)), "begin today's");
    }
    if answer.entries == 0 {
        say("firnbook log moment --drill 1 --step start", "write the first entry");
        return next;
    }
    if !answer.kit_out.is_empty() {
        say("firnbook kit", "what is in the snow, and where");
    }
    if !answer.awaited.is_empty() {
        say("firnbook merge FOLDER", "take in the packs that are still out");
    }
    if answer.missing > 0 {
        say(&format!("firnbook review --sort missing{of_day}"), "ask while they are here");
    }
    if clock_unknown {
        say(&format!("firnbook clock{of_day}"), "whose clock was never compared");
    }
    match answer.conflicts + answer.doubts + answer.twins {
        0 => {}
        _ => say(&format!("firnbook settle{of_day}"), "walk through what is open"),
    }
    say(&format!("firnbook debrief{of_day}"), "the day's answers");
    say(&format!("firnbook pack{of_day}"), "a file to hand over");
    if answer.kit_out.is_empty() && answer.awaited.is_empty() && !day.closed {
        say(&format!("firnbook day close{of_day}"), "nothing is known to be out");
    }
    next
}

fn tell(answer: &HereAnswer, columns: usize) -> String {
    let mut text = String::new();
    let mut line = |style, label: &str, says: &str| {
        let options = textwrap::Options::new(columns.saturating_sub(10)).break_words(false);
        let says = textwrap::wrap(says, options).join("\n          ");
        text.push_str(&format!("{}{}{says}\n", styled(style, label), " ".repeat(10 - label.len())));
    };
    line(HEADING, "Store", &answer.store.display().to_string());
    line(HEADING, "You", answer.me.as_deref().unwrap_or("nobody said"));
    match &answer.day {
        None => line(HEADING, "Day", "none yet"),
        Some(day) => {
            let closed = if day.closed { ", closed" } else { "" };
            let says = format!(
                "{} {}, {} from {}{closed}",
                day.date,
                day.area,
                counted(day.entries, "entry", "entries"),
                counted(day.devices, "device", "devices")
            );
            line(HEADING, "Day", &says);
        }
    }
    for item in &answer.kit_out {
        line(ALERT, "In snow", &super::kit::place(item));
    }
    if !answer.awaited.is_empty() {
        line(ALERT, "Awaited", &format!("{}: nothing has come", names(&answer.awaited)));
    }
    let open = open_items(answer.conflicts, answer.doubts, answer.twins, answer.missing);
    if !open.is_empty() {
        line(HEADING, "Open", &open);
    }
    if answer.devices.len() > 1 {
        line(HEADING, "Clocks", &answer.clocks);
    }
    text.push('\n');
    text.push_str(&tell_next(&answer.next));
    text
}

/// Call signs of whom nothing has come.
fn names(awaited: &[Awaited]) -> String {
    awaited.iter().filter_map(|a| a.call_sign.as_deref()).collect::<Vec<_>>().join(", ")
}

/// What is open in words; empty if nothing is.
fn open_items(conflicts: usize, doubts: usize, twins: usize, missing: usize) -> String {
    let sorts = [
        (conflicts, "conflict", "conflicts"),
        (doubts, "doubt", "doubts"),
        (twins, "twin", "twins"),
        (missing, "thing missing", "things missing"),
    ];
    let open = sorts.into_iter().filter(|(n, ..)| *n > 0).map(|(n, one, more)| counted(n, one, more));
    open.collect::<Vec<_>>().join(", ")
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
            None => format!("  {command}\n      {why}\n"),
        }
    };
    next.iter().map(line).collect()
}

/// How some days stand: what is open, who is awaited, what is in the snow.
pub struct Standing {
    /// Each day with what is open.
    pub days: Vec<DayAfter>,
    /// Who has not handed in on any of them.
    pub awaited: Vec<Awaited>,
    /// Kit in the snow, of all days.
    pub kit_out: Vec<KitItem>,
}

impl Standing {
    /// Of these days; those that are not here are left out.
    ///
    /// # Errors
    /// The store's.
    pub fn of(desk: &Desk, days: impl IntoIterator<Item = DayId>) -> Result<Standing, Failure> {
        let mut standing = Standing { days: Vec::new(), awaited: Vec::new(), kit_out: desk.kit_in_snow()? };
        for day in days {
            let Ok(row) = desk.logbook.day_row(day) else { continue };
            let items = desk.logbook.review(day)?;
            standing.days.push(DayAfter {
                day,
                date: row.date.to_string(),
                area: row.area.clone(),
                entries: row.entries,
                conflicts: n(&items, Sort::Conflict),
                twins: n(&items, Sort::Twin),
                doubts: n(&items, Sort::Doubt),
            });
            standing.awaited.extend(desk.logbook.awaited(day)?);
        }
        Ok(standing)
    }

    /// In words, one line a day, then who is awaited and what is in the snow.
    #[must_use]
    pub fn tell(days: &[DayAfter], awaited: &[Awaited], kit_out: &[KitItem], columns: usize) -> String {
        let mut text = String::new();
        for day in days {
            let open = open_items(day.conflicts, day.doubts, day.twins, 0);
            let open = if open.is_empty() { String::new() } else { format!("; to settle: {open}") };
            text.push_str(&format!(
                "{} {}: {}{open}\n",
                day.date,
                day.area,
                counted(day.entries, "entry", "entries")
            ));
        }
        if !awaited.is_empty() {
            text.push_str(&format!("{}\n", styled(ALERT, format!("not handed in: {}", names(awaited)))));
        }
        for item in kit_out {
            let says = textwrap::fill(&format!("in the snow: {}", super::kit::place(item)), columns);
            text.push_str(&format!("{}\n", styled(ALERT, says)));
        }
        text
    }
}
