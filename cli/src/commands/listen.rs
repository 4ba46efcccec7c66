//! `listen`: base waits for phones and exchanges with each, until it is interrupted.

use super::Ran;
use super::here::Standing;
use super::merge::DayAfter;
use super::sync::{SyncAnswer, how_far, own_label};
use crate::desk::Desk;
use crate::interrupt::stop_when_interrupted;
use crate::network::{own_addresses, qr};
use crate::ui::{HEADING, styled};
use crate::view::counted;
use firnbook_core::day::{DayId, DeviceId};
use firnbook_core::exchange::{Base, Event, Progress, Report};
use indicatif::ProgressBar;
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use std::net::SocketAddr;
use std::time::Duration;

/// Wait for phones of the crew and exchange all days with each, until Ctrl-C
///
/// Other commands may work on the same store meanwhile. Each phone's clock is compared with this machine's, and what was found is written into
/// the days that it brought.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:\n  firnbook listen")]
pub struct ListenArgs {
    /// Where to listen [default: port 45460 of every address]
    #[arg(long, value_name = "IP:PORT")]
    addr: Option<SocketAddr>,
    /// End by itself once so many devices have exchanged everything
    #[arg(long, value_name = "N")]
    phones: Option<usize>,
}

/// Answer of `listen`.
#[derive(Serialize, JsonSchema)]
pub struct ListenAnswer {
    /// Where it listened
    pub addresses: Vec<String>,
    /// Each session, in the order in which they ended
    pub sessions: Vec<SyncAnswer>,
    /// Calls of who does not have the crew's key
    pub strangers: usize,
    /// The days into which something came, as they stand now
    pub days: Vec<DayAfter>,
}

const PATIENCE: Duration = Duration::from_millis(200);

/// Runs `listen`.
pub fn run(desk: &mut Desk, args: &ListenArgs) -> Ran {
    let label = own_label(desk);
    let host = desk.logbook.host(&label)?;
    let stop = stop_when_interrupted();
    let mut base = Base::listen(&host, args.addr, &stop)?;
    let addresses = shown_addresses(base.addresses());
    tell_addresses(desk, &addresses);
    let mut heard = Heard {
        label,
        sessions: Vec::new(),
        strangers: 0,
        touched: BTreeSet::new(),
        done: BTreeSet::new(),
        going_on: BTreeMap::new(),
        unnoted: Vec::new(),
        line: desk.ui.status(),
    };
    let enough = |heard: &Heard| args.phones.is_some_and(|n| heard.done.len() >= n);
    while !stop.wished() && !enough(&heard) && !base.ended() {
        if let Some(event) = base.next_event(PATIENCE) {
            heard.event(desk, event);
        }
    }
    base.end();
    while let Some(event) = base.next_event(Duration::ZERO) {
        heard.event(desk, event);
    }
    heard.line.finish_and_clear();
    let stands = Standing::of(desk, heard.touched.iter().copied())?;
    let answer =
        ListenAnswer { addresses, sessions: heard.sessions, strangers: heard.strangers, days: stands.days };
    let columns = desk.ui.columns();
    desk.ui.answer(&answer, |a| {
        let sessions = counted(a.sessions.len(), "session", "sessions");
        let ended = format!("{sessions}, {} turned away\n", counted(a.strangers, "stranger", "strangers"));
        format!("{ended}{}", Standing::tell(&a.days, &stands.awaited, &stands.kit_out, columns))
    })
}

/// What has happened so far.
struct Heard {
    label: String,
    sessions: Vec<SyncAnswer>,
    strangers: usize,
    touched: BTreeSet<DayId>,
    done: BTreeSet<DeviceId>,
    going_on: BTreeMap<u64, Progress>,
    /// What told of a clock that is not written yet.
    unnoted: Vec<Report>,
    line: ProgressBar,
}

impl Heard {
    fn event(&mut self, desk: &mut Desk, event: Event) {
        match event {
            Event::Arrived { n, .. } => {
                self.going_on.insert(n, Progress::default());
            }
            Event::Progress { n, progress } => {
                self.going_on.insert(n, progress);
            }
            Event::Stranger { .. } => self.strangers += 1,
            Event::Ended { n, address, report, error } => {
                self.going_on.remove(&n);
                self.touched.extend(&report.days_received);
                if error.is_none() && !report.rotated {
                    self.done.extend(report.peer);
                }
                let session = SyncAnswer::of(&report, address.to_string(), error.map(|e| e.to_string()));
                let said = session.line();
                self.line.suspend(|| desk.ui.say(said));
                self.sessions.push(session);
                self.unnoted.push(report);
                self.note_clocks(desk);
            }
        }
        let now: Vec<String> = self.going_on.values().map(how_far).collect();
        self.line.set_message(now.join("   "));
    }

    /// Writes what sessions told of clocks. What can't be written now, on a full disk say, must not keep the other phones out, and is tried again
    /// after the next session.
    fn note_clocks(&mut self, desk: &mut Desk) {
        // By the call sign of who sits at base; it is base's clock that measured.
        let (line, label) = (&self.line, &self.label);
        self.unnoted.retain(|report| match desk.logbook.note_clock(report, label) {
            Ok(_) => false,
            Err(why) => {
                let peer = &report.peer_label;
                line.suspend(|| desk.ui.say(format!("the clock of {peer} is not written down yet: {why}")));
                true
            }
        });
    }
}

/// Addresses as phones can use them: the real ones in place of "any".
fn shown_addresses(bound: &[SocketAddr]) -> Vec<String> {
    let Some(first) = bound.first() else { return Vec::new() };
    let shown = if first.ip().is_unspecified() { own_addresses(first.port()) } else { bound.to_vec() };
    shown.iter().map(ToString::to_string).collect()
}

fn tell_addresses(desk: &mut Desk, addresses: &[String]) {
    if !desk.ui.json()
        && desk.ui.may_ask()
        && let Some(first) = addresses.first()
    {
        desk.ui.say(qr(first));
    }
    desk.ui.say(format!("{} at {}", styled(HEADING, "Listening"), addresses.join("  ")));
    desk.ui.advise("on a phone: firnbook sync ADDRESS; here Ctrl-C ends");
}
