//! `clock`: each clock's offset to base.

use super::Ran;
use crate::answer::filters;
use crate::args::DayChoice;
use crate::desk::Desk;
use crate::ui::{ALERT, FAINT, styled};
use crate::view::{number, table::Table};
use firnbook_core::clock::{ClockLine, Source};
use firnbook_core::day::DayId;
use firnbook_core::insight::debrief::ClocksUsed;
use firnbook_core::insight::made::Made;
use schemars::JsonSchema;
use serde::Serialize;

/// Show how far each clock of a day is off, how well that is known, and from what
///
/// Answers put all times on one time line, that of base; what the devices showed stays as it was written. A clock becomes known by a live
/// exchange with base, by a mark that all press together, by the start of a drill pressed on one call, or by reading it beside a known one.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook clock\n  firnbook log clock_mark --label noon\n  firnbook log clock_mark --label read --clock \"Kestrel's watch\" --shows 12:00:41"
)]
pub struct ClockArgs {
    #[command(flatten)]
    day: DayChoice,
}

/// Answer of `clock`.
#[derive(Serialize, JsonSchema)]
pub struct ClockAnswer {
    /// The day
    pub day: DayId,
    /// The clocks
    #[serde(flatten)]
    pub clocks: ClocksUsed,
    /// From what this was made
    pub made: Made,
}

/// Runs `clock`.
pub fn run(desk: &mut Desk, args: &ClockArgs) -> Ran {
    let day = desk.day_to_read(&args.day)?;
    let clocks = desk.logbook.clocks(day.id)?;
    let made = desk.made(&[day.id], filters([("day", Some(day.id.to_string()))]))?;
    desk.awaits = !clocks.corrected;
    let answer = ClockAnswer { day: day.id, clocks, made };
    let columns = desk.ui.columns();
    desk.ui.answer(&answer, |a| tell(&a.clocks, columns))
}

/// What is known of a day's clocks, in one line.
#[must_use]
pub fn standing(used: &ClocksUsed) -> String {
    let unknown: Vec<String> =
        used.clocks.iter().filter(|c| c.from == Source::None).map(|c| c.by.join(" and ")).collect();
    match (unknown.as_slice(), used.clocks.len()) {
        ([], 0) => "none yet".to_owned(),
        ([], 1) => "one alone".to_owned(),
        ([], n) => format!("all {n} compared; times are corrected"),
        (some, n) => format!("{} of {n} never compared: {}", some.len(), some.join(", ")),
    }
}

fn tell(used: &ClocksUsed, columns: usize) -> String {
    if used.clocks.is_empty() {
        return "No entry, so no clock yet.\n".to_owned();
    }
    let mut table = Table::new(["clock", "written by", "is", "±", "known from", "n"]).right([2, 3, 5]);
    let mut clocks: Vec<&ClockLine> = used.clocks.iter().collect();
    clocks.sort_by_key(|c| (c.from != Source::Base, &c.by));
    for clock in clocks {
        let cells = [
            name(clock),
            clock.by.join(", "),
            off(clock),
            clock.uncertainty_ms.map(seconds).unwrap_or_else(|| "?".to_owned()),
            from(clock.from),
            if clock.n == 0 { String::new() } else { clock.n.to_string() },
        ];
        match clock.from {
            Source::None => table.styled_row(ALERT, cells),
            _ => table.row(cells),
        }
    }
    let mut text = table.draw(columns);
    if let Some(why) = &used.why {
        text.push_str(&format!("\n{}\n", styled(FAINT, textwrap::fill(why, columns))));
    }
    text
}

/// "device 9f31c0", "device 9f31c0, moved (2)", or what a watch is called.
fn name(clock: &ClockLine) -> String {
    let Some(device) = clock.device else { return clock.clock.clone() };
    let device = device.to_string()[..6].to_owned();
    match clock.clock.as_str() {
        "1" => format!("device {device}"),
        own if own.bytes().all(|b| b.is_ascii_digit()) => format!("device {device}, moved ({own})"),
        other => other.to_owned(),
    }
}

/// "7.1 s ahead": what is added to its time has the other sign.
fn off(clock: &ClockLine) -> String {
    match clock.offset_ms {
        _ if clock.from == Source::Base => "base".to_owned(),
        None => "?".to_owned(),
        Some(0.0) => "even".to_owned(),
        Some(ms) if ms < 0.0 => format!("{} ahead", seconds(-ms)),
        Some(ms) => format!("{} behind", seconds(ms)),
    }
}

fn seconds(ms: f64) -> String {
    match ms / 1000.0 {
        s if s >= 86_400.0 => format!("{} days", number(s / 86_400.0)),
        s if s >= 7_200.0 => format!("{} h", number(s / 3_600.0)),
        s if s >= 600.0 => format!("{} min", number(s / 60.0)),
        s if s >= 0.1 || s == 0.0 => format!("{} s", number(s)),
        s => format!("{s:.2} s"),
    }
}

fn from(source: Source) -> String {
    match source {
        Source::Base => "",
        Source::Sync => "live exchange",
        Source::Mark => "marks",
        Source::Start => "starts",
        Source::Hand => "read by hand",
        Source::None => "never compared",
    }
    .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_ahead_has_a_negative_offset() {
        let line = |offset_ms| ClockLine {
            device: None,
            clock: "w".to_owned(),
            by: vec![],
            offset_ms,
            uncertainty_ms: None,
            from: Source::Mark,
            n: 1,
        };
        let told = [Some(-7_100.0), Some(700.0), Some(20.0), Some(0.0), None, Some(-1_802_000_000_000.0)]
            .map(|ms| off(&line(ms)));
        assert_eq!(told, ["7.1 s ahead", "0.7 s behind", "0.02 s behind", "even", "?", "20856.5 days ahead"]);
    }
}
