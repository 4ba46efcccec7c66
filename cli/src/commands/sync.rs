//! `sync`: exchanges everything with a base that listens.

use super::Ran;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::interrupt::stop_when_interrupted;
use crate::ui::ALERT;
use crate::ui::styled;
use crate::view::counted;
use firnbook_core::day::{DayId, DeviceId};
use firnbook_core::exchange::{Progress, Report, call};
use schemars::JsonSchema;
use serde::Serialize;

/// Exchange all days with a base that listens on the same network
///
/// Both have everything afterwards. A connection that breaks is made anew and goes on where it was.
#[derive(clap::Args, Debug)]
#[command(after_help = "Examples:\n  firnbook sync 192.168.1.7\n  firnbook sync")]
pub struct SyncArgs {
    /// Where base listens, as it shows it [default: where it was last]
    #[arg(value_name = "ADDRESS")]
    address: Option<String>,
}

/// Answer of `sync`, and of `listen` for each device that called.
#[derive(Serialize, JsonSchema)]
pub struct SyncAnswer {
    /// The other device
    pub peer: Option<DeviceId>,
    /// What people call it
    pub label: String,
    /// Where it was
    pub address: String,
    /// Days of which something was exchanged
    pub days: Vec<DayId>,
    /// Changes that the other device has confirmed
    pub sent: u64,
    /// Changes that came and were new here
    pub received: u64,
    /// Entries first seen here
    pub new_entries: usize,
    /// Entries held before that are other now
    pub amended: usize,
    /// Bytes that went out
    pub bytes_sent: u64,
    /// Bytes that came in
    pub bytes_received: u64,
    /// What is added to the phone's time to get base's, milliseconds; null where it was not measured
    pub clock_offset_ms: Option<f64>,
    /// Half width within which that lies, milliseconds
    pub clock_uncertainty_ms: Option<f64>,
    /// Days that were not exchanged, and why
    pub refused: Vec<DayRefused>,
    /// Why it ended before all was exchanged; what was confirmed is kept
    pub error: Option<String>,
}

/// A day that was not exchanged.
#[derive(Serialize, JsonSchema)]
pub struct DayRefused {
    /// The day
    pub day: DayId,
    /// Why
    pub why: String,
}

impl SyncAnswer {
    /// What a session did, at this address.
    #[must_use]
    pub fn of(report: &Report, address: String, error: Option<String>) -> SyncAnswer {
        SyncAnswer {
            peer: report.peer,
            label: report.peer_label.clone(),
            address,
            days: report.days.clone(),
            sent: report.sent,
            received: report.received,
            new_entries: report.new_entries,
            amended: report.amended,
            bytes_sent: report.bytes_sent,
            bytes_received: report.bytes_received,
            clock_offset_ms: report.clock.map(|c| c.offset_ms),
            clock_uncertainty_ms: report.clock.map(|c| c.uncertainty_ms),
            refused: report.refused.iter().map(|r| DayRefused { day: r.day, why: r.why.clone() }).collect(),
            error,
        }
    }

    /// In one line.
    #[must_use]
    pub fn line(&self) -> String {
        let name = if self.label.is_empty() { self.address.clone() } else { self.label.clone() };
        let mut text = format!(
            "{name}: {} came, {} went, {}",
            counted(usize::try_from(self.received).unwrap_or(usize::MAX), "change", "changes"),
            self.sent,
            bytes(self.bytes_sent + self.bytes_received),
        );
        if let (Some(offset), Some(uncertainty)) = (self.clock_offset_ms, self.clock_uncertainty_ms) {
            text.push_str(&format!(", clock {:+.2} \u{b1} {:.2} s", offset / 1000.0, uncertainty / 1000.0));
            if offset.abs() > CLOCKS_APART_MS {
                text.push_str(&format!(
                    "; the two clocks are {} apart: set the one that is wrong (what it wrote is put right)",
                    roughly(offset.abs())
                ));
            }
        }
        if let Some(error) = &self.error {
            text.push_str(&format!("; {error}"));
        }
        text
    }
}

/// Clocks further apart than any that nobody set wrong.
const CLOCKS_APART_MS: f64 = 3_600_000.0;

/// A long time in its largest unit.
fn roughly(ms: f64) -> String {
    let hours = ms / 3_600_000.0;
    match hours {
        0.0..48.0 => format!("{hours:.1} hours"),
        48.0..17_532.0 => format!("{:.0} days", hours / 24.0),
        _ => format!("{:.0} years", hours / 8_766.0),
    }
}

/// How far a session is, in words.
#[must_use]
pub fn how_far(progress: &Progress) -> String {
    let label = &progress.peer_label;
    let (done, all) = (progress.sent + progress.received, progress.to_send + progress.to_receive);
    let percent = (done * 100).checked_div(all).map_or(100, |p| p.min(100));
    format!("{label} {percent} %, {}", bytes(progress.bytes_in + progress.bytes_out))
}

fn bytes(n: u64) -> String {
    match n {
        0..10_000 => format!("{n} B"),
        10_000..10_000_000 => format!("{} kB", n / 1000),
        _ => format!("{:.1} MB", n as f64 / 1e6),
    }
}

/// What people call this device in an exchange.
#[must_use]
pub fn own_label(desk: &Desk) -> String {
    desk.settings.text("me").map_or_else(|| desk.logbook.device().to_string(), str::to_owned)
}

/// Runs `sync`.
pub fn run(desk: &mut Desk, args: &SyncArgs) -> Ran {
    let addresses = match &args.address {
        Some(address) => vec![address.clone()],
        None => desk.logbook.base_addresses()?,
    };
    let host = desk.logbook.host(&own_label(desk))?;
    let stop = stop_when_interrupted();
    let line = desk.ui.status();
    let called = call(&host, &addresses, &stop, &mut |progress| line.set_message(how_far(progress)));
    line.finish_and_clear();
    let called = called.map_err(|e| Failure::refused(e.to_string()))?;
    desk.logbook.remember_base(&called.address)?;
    let answer = SyncAnswer::of(&called.report, called.address, None);
    desk.ui.answer(&answer, tell)?;
    match answer.refused.first() {
        None => Ok(()),
        Some(first) => Err(Failure::refused(format!("day {} was not exchanged: {}", first.day, first.why))),
    }
}

fn tell(answer: &SyncAnswer) -> String {
    let mut text = format!("{}\n", answer.line());
    if answer.days.is_empty() && answer.refused.is_empty() {
        text.push_str("Both have the same already.\n");
    }
    for refused in &answer.refused {
        text.push_str(&format!(
            "{}\n",
            styled(ALERT, format!("day {} not exchanged: {}", refused.day, refused.why))
        ));
    }
    text
}
