//! `entries`: lists what was written.

use super::Ran;
use crate::answer::filters;
use crate::args::DayChoice;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::ui::FAINT;
use crate::view::{self, table::Table};
use chrono::{Days, NaiveDate, TimeZone};
use firnbook_core::clock::Corrected;
use firnbook_core::day::{DayId, DeviceId, Noted};
use firnbook_core::entry::{EntryId, Field, KINDS, Shape, Time, kind};
use firnbook_core::insight::made::Made;
use firnbook_core::store::{EntryRow, Filter};
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value};
use std::collections::BTreeMap;

/// List entries: of one day, or of all days since a date
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook entries --drill 1 --kind strike\n  firnbook entries --by Obs1 --ids | firnbook void - --reason \"practice presses\""
)]
pub struct EntriesArgs {
    #[command(flatten)]
    day: DayChoice,
    /// Only this kind
    #[arg(long)]
    kind: Option<String>,
    /// Only this drill
    #[arg(long, value_name = "LABEL")]
    drill: Option<String>,
    /// Only this target
    #[arg(long, value_name = "LABEL")]
    target: Option<String>,
    /// Only what this call sign wrote
    #[arg(long, value_name = "CALL SIGN")]
    by: Option<String>,
    /// From this date on, over all days
    #[arg(long, value_name = "YYYY-MM-DD", conflicts_with = "day")]
    since: Option<NaiveDate>,
    /// Up to and with this date, over all days
    #[arg(long, value_name = "YYYY-MM-DD", conflicts_with = "day")]
    until: Option<NaiveDate>,
    /// Struck-out entries too
    #[arg(long)]
    void: bool,
    /// Only ids, one a line, for other commands to take in
    #[arg(long)]
    ids: bool,
}

/// Answer of `entries`.
#[derive(Serialize, JsonSchema)]
pub struct EntriesAnswer {
    /// The entries, in the order of day and time
    pub entries: Vec<EntryAnswer>,
    /// Entries of these days that are held and do not count: they wait for their signature, or were withdrawn
    pub not_counted: usize,
    /// From what this was made
    pub made: Made,
}

/// One entry as it stands.
#[derive(Serialize, JsonSchema)]
pub struct EntryAnswer {
    /// The day
    pub day: DayId,
    /// The entry with every amendment
    pub entry: Map<String, Value>,
    /// The device that wrote it
    pub device: DeviceId,
    /// `at` corrected to base time; null where its clock was never compared with the others
    pub at_base: Option<Time>,
    /// Half width within which the true time lies, ms; null where its clock was never compared
    pub uncertainty_ms: Option<f64>,
    /// Why it is struck out; null if it is not
    pub void: Option<String>,
    /// Fields on which amendments disagree
    pub unsettled: Vec<String>,
    /// This version can't read it; it is carried and exported as it is
    pub opaque: bool,
}

impl EntryAnswer {
    /// Of an entry of a day.
    #[must_use]
    pub fn of(day: DayId, noted: &Noted, at: &Corrected) -> EntryAnswer {
        EntryAnswer {
            at_base: at_base(noted, at),
            uncertainty_ms: at.uncertainty_ms,
            day,
            entry: noted.json.clone(),
            device: noted.device,
            void: noted.void.clone(),
            unsettled: noted.unsettled.clone(),
            opaque: noted.entry.is_none(),
        }
    }
}

/// The time of an entry on its day's time line, at the offset at which it was written.
fn at_base(noted: &Noted, at: &Corrected) -> Option<Time> {
    let offset = noted.at()?.utc_offset_min();
    Time::from_millis(at.ms.round() as i64, offset).filter(|_| at.uncertainty_ms.is_some())
}

/// Runs `entries`.
pub fn run(desk: &mut Desk, args: &EntriesArgs) -> Ran {
    let filter = filter(desk, args)?;
    let rows = desk.logbook.entries(&filter)?;
    if args.ids {
        let ids: String = rows.iter().map(|r| format!("{}\n", r.noted.id)).collect();
        return desk.ui.out(&ids);
    }
    let mut days: Vec<DayId> = rows.iter().map(|r| r.day).chain(filter.day).collect();
    days.dedup();
    let made = desk.made(&days, said(args, &filter))?;
    let times = desk.logbook.corrected(&rows)?;
    let entries = rows.iter().zip(&times).map(|(r, at)| EntryAnswer::of(r.day, &r.noted, at)).collect();
    let not_counted =
        days.iter().map(|day| Ok(desk.logbook.entries_aside(*day)?.len())).sum::<Result<_, Failure>>()?;
    let answer = EntriesAnswer { entries, not_counted, made };
    let columns = desk.ui.columns();
    desk.ui.answer(&answer, |a| tell(&rows, &times, a.not_counted, days.len() > 1, columns))
}

fn filter(desk: &mut Desk, args: &EntriesArgs) -> Result<Filter, Failure> {
    if let Some(word) = &args.kind
        && kind(word).is_none()
    {
        let known: Vec<&str> = KINDS.iter().map(|k| k.name.as_str()).collect();
        return Err(Failure::Usage(format!(
            "\"{word}\" is no kind of entry; write one of {}",
            known.join(", ")
        )));
    }
    let over_all = args.since.is_some() || args.until.is_some();
    let day = if over_all { None } else { Some(desk.day_to_read(&args.day)?.id) };
    let offset = *desk.now().datetime().offset();
    let midnight = |date: NaiveDate| {
        let local = date.and_hms_opt(0, 0, 0)?;
        offset.from_local_datetime(&local).single().map(|t| t.timestamp_millis())
    };
    Ok(Filter {
        day,
        kind: args.kind.clone(),
        drill: args.drill.clone(),
        target: args.target.clone(),
        by: args.by.clone(),
        since_ms: args.since.and_then(midnight),
        until_ms: args.until.and_then(|d| d.checked_add_days(Days::new(1))).and_then(midnight),
        void: args.void,
    })
}

fn said(args: &EntriesArgs, filter: &Filter) -> BTreeMap<String, String> {
    filters([
        ("day", filter.day.map(|d| d.to_string())),
        ("kind", args.kind.clone()),
        ("drill", args.drill.clone()),
        ("target", args.target.clone()),
        ("by", args.by.clone()),
        ("since", args.since.map(|d| d.to_string())),
        ("until", args.until.map(|d| d.to_string())),
        ("void", args.void.then(|| "shown".to_owned())),
    ])
}

fn tell(
    rows: &[EntryRow],
    times: &[Corrected],
    not_counted: usize,
    several_days: bool,
    columns: usize,
) -> String {
    let aside = match not_counted {
        0 => String::new(),
        n => format!(
            "{} held and not counted: `firnbook day show` lists them\n",
            view::counted(n, "entry is", "entries are")
        ),
    };
    if rows.is_empty() {
        return format!("No entries.\n{aside}");
    }
    let mut table = Table::new(["date", "time", "base time", "by", "kind", "drill", "target", "id", "says"]);
    for (EntryRow { noted, .. }, corrected) in rows.iter().zip(times) {
        let at = noted.at();
        let shown = at.map(view::clock_time).unwrap_or_default();
        let base_time = at_base(noted, corrected).map_or_else(|| "?".to_owned(), view::clock_time);
        let word = |key: &str| noted.json.get(key).and_then(Value::as_str).unwrap_or_default().to_owned();
        let cells = [
            at.filter(|_| several_days).map(|t| t.datetime().date_naive().to_string()).unwrap_or_default(),
            shown.clone(),
            if base_time == shown { String::new() } else { base_time },
            word("by"),
            word("kind").replace('_', " "),
            word("drill"),
            word("target"),
            view::id(noted.id),
            summary(noted),
        ];
        match noted.void {
            Some(_) => table.styled_row(FAINT, cells),
            None => table.row(cells),
        }
    }
    let mut text = table.draw(columns);
    text.push_str(&format!("{}\n{aside}", view::counted(rows.len(), "entry", "entries")));
    text
}

/// What an entry says beyond its common fields, in one line.
#[must_use]
pub fn summary(noted: &Noted) -> String {
    let mut parts: Vec<String> = Vec::new();
    if let Some(reason) = &noted.void {
        parts.push(format!("[void: {reason}]"));
    }
    if noted.entry.is_none() {
        parts.push("[written by a newer version]".to_owned());
    }
    let word = noted.json.get("kind").and_then(Value::as_str).unwrap_or_default();
    let fields = kind(word).map(|k| k.fields.as_slice()).unwrap_or_default();
    const ELSEWHERE: [&str; 6] = ["id", "at", "by", "drill", "target", "kind"];
    for (key, value) in noted.json.iter().filter(|(k, _)| !ELSEWHERE.contains(&k.as_str())) {
        let field = fields.iter().find(|f| f.name == *key);
        let unit = field.and_then(|f| f.unit).map(|u| format!(" {}", u.symbol())).unwrap_or_default();
        let name = field.map_or(key.as_str(), |f| f.short_name()).replace('_', " ");
        let shown = match key.as_str() {
            "outline" | "points" => "…".to_owned(),
            _ => instant(value, field, noted.at()).map_or_else(|| view::value(value), view::clock_time),
        };
        let mark = if noted.unsettled.contains(key) { " (in conflict)" } else { "" };
        parts.push(match key.as_str() {
            "step" | "note" | "label" | "outcome" => format!("{shown}{mark}"),
            _ => format!("{name} {shown}{unit}{mark}"),
        });
    }
    parts.join(", ")
}

/// The instant that a field of an entry of `at` holds, where its time of day says it all.
fn instant(value: &Value, field: Option<&Field>, at: Option<Time>) -> Option<Time> {
    let time = field
        .filter(|f| f.shape == Shape::Time)
        .and(value.as_str())
        .and_then(|text| Time::parse(text).ok())?;
    let (there, here) = (time.datetime(), at?.datetime());
    (there.date_naive() == here.date_naive() && there.offset() == here.offset()).then_some(time)
}

/// An entry in one line: the end of its id, when, who, what.
#[must_use]
pub fn line(noted: &Noted) -> String {
    let word = |key: &str| noted.json.get(key).and_then(Value::as_str).unwrap_or_default();
    let at = noted.at().map(view::clock_time).unwrap_or_default();
    let kind = word("kind").replace('_', " ");
    format!("{}  {at}  {}  {kind}  {}", view::id(noted.id), word("by"), summary(noted))
}

/// The id of an entry in full and its end.
#[must_use]
pub fn full_id(id: EntryId) -> String {
    let (end, text) = (view::id(id), id.to_string());
    format!("{}{}", &text[..text.len() - end.len()], crate::ui::styled(crate::ui::HEADING, end))
}

#[cfg(test)]
mod tests {
    use super::*;
    use firnbook_core::day::{ClockName, DeviceId};
    use serde_json::json;

    fn noted(more: Value) -> Noted {
        let mut json = json!({ "id": "01KH5QX2M8Z4T6V9B3C1D7E0FG", "kind": "rotation", "at": "2027-02-06T10:00:00.000+01:00", "by": "Lead", "drill": "1" });
        json.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        let json = json.as_object().unwrap().clone();
        let device = DeviceId([1; 16]);
        Noted {
            id: "01KH5QX2M8Z4T6V9B3C1D7E0FG".parse().unwrap(),
            entry: firnbook_core::entry::Entry::from_json(&json).ok(),
            text: Value::Object(json.clone()).to_string(),
            json,
            device,
            at_clock: ClockName { device, clock: String::new() },
            void: None,
            unsettled: Vec::new(),
        }
    }

    #[test]
    fn an_entry_is_told_as_a_person_says_it() {
        let told = |more| summary(&noted(more));
        assert_eq!(
            told(json!({ "front": "Dig1", "ended_at": "2027-02-06T10:04:10.000+01:00" })),
            "front Dig1, ended at 10:04:10"
        );
        assert_eq!(
            told(json!({ "ended_at": "2027-02-07T00:04:10.000+01:00" })),
            "ended at 2027-02-07T00:04:10.000+01:00",
            "another day is named"
        );
        assert_eq!(
            told(json!({ "ended_at": "2027-02-06T09:04:10.000+00:00" })),
            "ended at 2027-02-06T09:04:10.000+00:00",
            "another offset too"
        );
        assert_eq!(told(json!({ "note": "2027-02-06T10:04:10.000+01:00" })), "2027-02-06T10:04:10.000+01:00");
        assert_eq!(told(json!({ "hole_width_cm": 112.0 })), "hole width 112 cm");
        assert_eq!(told(json!({ "hole_width_cm": 112.5 })), "hole width 112.5 cm");
    }
}
