//! `crew`: who belongs to the team, as far as devices and their keys go.

use super::Ran;
use crate::args::DayChoice;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::network::{own_addresses, qr};
use crate::ui::{ALERT, FAINT, HEADING, styled};
use crate::view::table::Table;
use firnbook_core::crew::Invitation;
use firnbook_core::entry::Time;
use firnbook_core::exchange::PORT;
use firnbook_core::logbook::CrewShown;
use schemars::JsonSchema;
use serde::Serialize;
use std::net::SocketAddr;

/// Found a crew, invite devices, join one, remove devices, change its key
///
/// Only devices of one crew exchange live. An invitation lets one device in and is as secret as a key: show it, don't post it.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Example, at base and then on a phone:\n  firnbook crew new\n  firnbook crew invite\n  firnbook crew join FIRN-…"
)]
pub struct CrewArgs {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(clap::Subcommand, Debug)]
enum Verb {
    /// Found a crew with this device as its first
    #[command(after_help = "Example:\n  firnbook crew new --name \"Base laptop\"")]
    New(Name),
    /// Make an invitation for one device, as text and as a code to scan; it carries the day and where base listens
    #[command(after_help = "Example:\n  firnbook crew invite --hours 12")]
    Invite {
        /// How long it is good for
        #[arg(long, value_name = "HOURS", default_value_t = 12)]
        hours: u32,
        /// Where base listens; several times for several addresses [default: this machine's]
        #[arg(long, value_name = "IP:PORT")]
        addr: Vec<SocketAddr>,
        #[command(flatten)]
        day: DayChoice,
    },
    /// Take an invitation up; base lets this device in at the next `firnbook sync`
    #[command(after_help = "Example:\n  firnbook crew join FIRN-04C1… --name \"Anka's phone\"")]
    Join {
        /// The invitation; - is standard input
        #[arg(value_name = "CODE")]
        code: String,
        #[command(flatten)]
        name: Name,
    },
    /// Show the devices of the crew
    #[command(after_help = "Example:\n  firnbook crew show")]
    Show,
    /// Remove a device, lost or no longer of the team; change the key afterwards with `crew rotate`
    #[command(after_help = "Example:\n  firnbook crew remove \"Anka's phone\"")]
    Remove {
        /// Its name, or the beginning of its id
        #[arg(value_name = "DEVICE")]
        device: String,
    },
    /// Give the crew another key; each device gets it at its next exchange
    #[command(after_help = "Example:\n  firnbook crew rotate")]
    Rotate,
    /// Leave the crew: this device forgets its keys and keeps its days
    #[command(after_help = "Example:\n  firnbook crew leave")]
    Leave,
}

#[derive(clap::Args, Debug)]
struct Name {
    /// What people call this device [default: the setting `me`]
    #[arg(long, value_name = "NAME")]
    name: Option<String>,
}

/// Answer of `crew`.
#[derive(Serialize, JsonSchema)]
pub struct CrewAnswer {
    /// The crew and its devices; null after leaving it
    #[serde(flatten)]
    pub shown: Option<CrewShown>,
    /// The invitation that was made
    pub code: Option<String>,
    /// Up to when it is good
    pub until: Option<Time>,
    /// Where it says that base listens
    pub addresses: Vec<String>,
}

/// Runs `crew`.
pub fn run(desk: &mut Desk, args: &CrewArgs) -> Ran {
    match &args.verb {
        Verb::New(name) => {
            let name = called(desk, name)?;
            let shown = desk.logbook.found_crew(&name)?;
            answer(desk, shown)?;
            desk.ui.advise("next: firnbook crew invite, once for each phone; then firnbook listen");
            Ok(())
        }
        Verb::Invite { hours, addr, day } => invite(desk, *hours, addr, day),
        Verb::Join { code, name } => {
            let text = if code == "-" {
                String::from_utf8(desk.ui.read_all()?)
                    .map_err(|e| Failure::refused(format!("standard input: {e}")))?
            } else {
                code.clone()
            };
            let invitation = Invitation::read(&text).map_err(Failure::refused)?;
            let name = called(desk, name)?;
            let shown = desk.logbook.join_crew(&invitation, &name)?;
            answer(desk, shown)?;
            desk.ui.advise("next: firnbook sync, on the same network as base");
            Ok(())
        }
        Verb::Show => {
            let none = "this device is in no crew; begin one with `firnbook crew new`, or join one with `firnbook crew join CODE`";
            let shown = desk.logbook.crew()?.ok_or_else(|| Failure::refused(none))?;
            answer(desk, shown)
        }
        Verb::Remove { device } => {
            let shown = desk.logbook.remove_from_crew(device)?;
            answer(desk, shown)?;
            desk.ui.advise("next: firnbook crew rotate, so that its key opens nothing any more");
            Ok(())
        }
        Verb::Rotate => {
            let shown = desk.logbook.rotate_crew_key()?;
            answer(desk, shown)?;
            desk.ui.advise("each device gets the new key at its next exchange");
            Ok(())
        }
        Verb::Leave => {
            desk.logbook.leave_crew()?;
            let left = CrewAnswer { shown: None, code: None, until: None, addresses: Vec::new() };
            desk.ui.answer(&left, |_| {
                "This device is in no crew any more; its days are as they were.\n".to_owned()
            })
        }
    }
}

/// What people call this device.
fn called(desk: &Desk, name: &Name) -> Result<String, Failure> {
    let said = name.name.as_deref().or(desk.settings.text("me")).map(str::to_owned);
    said.ok_or_else(|| {
        Failure::refused(
            "this device has no name yet; add --name \"Base laptop\", or say who you are with `firnbook settings me CALLSIGN`",
        )
    })
}

fn invite(desk: &mut Desk, hours: u32, addr: &[SocketAddr], day: &DayChoice) -> Ran {
    let day = match &day.day {
        Some(_) => Some(desk.day_to_read(day)?.id),
        None => desk.logbook.latest_day()?.filter(|d| d.date == desk.today()).map(|d| d.id),
    };
    let addresses = if addr.is_empty() { own_addresses(PORT) } else { addr.to_vec() };
    let invitation = desk.logbook.invite(hours, addresses, day)?;
    let offset = desk.now().utc_offset_min();
    let made = CrewAnswer {
        shown: desk.logbook.crew()?,
        code: Some(invitation.to_text()),
        until: Time::from_millis(invitation.until * 1000, offset),
        addresses: invitation.addresses.iter().map(ToString::to_string).collect(),
    };
    desk.ui.answer(&made, |a| tell_invitation(a, &invitation))?;
    desk.ui.advise("one device a code; next, here: firnbook listen");
    Ok(())
}

fn tell_invitation(answer: &CrewAnswer, invitation: &Invitation) -> String {
    let code = invitation.to_text();
    let mut text = qr(&code);
    text.push_str(&format!("\n{code}\n\n"));
    let until = answer.until.map(|t| t.datetime().format("%Y-%m-%d %H:%M").to_string()).unwrap_or_default();
    text.push_str(&format!("{}  until {until}, for one device\n", styled(HEADING, "Good")));
    if let Some((date, area)) = &invitation.day {
        text.push_str(&format!("{}   {date} {area}\n", styled(HEADING, "Day")));
    }
    text.push_str(&format!("{}  {}\n", styled(HEADING, "Base"), answer.addresses.join("  ")));
    text.push_str(&format!(
        "{}\n",
        styled(ALERT, "Whoever has this code can join: show it to the one it is for, and to nobody else.")
    ));
    text
}

fn answer(desk: &mut Desk, shown: CrewShown) -> Ran {
    let columns = desk.ui.columns();
    let answer = CrewAnswer { shown: Some(shown), code: None, until: None, addresses: Vec::new() };
    desk.ui.answer(&answer, |a| a.shown.as_ref().map(|s| tell(s, columns)).unwrap_or_default())
}

fn tell(shown: &CrewShown, columns: usize) -> String {
    let mut text = format!("{} {}\n", styled(HEADING, "Crew"), styled(FAINT, &shown.crew));
    if shown.joining {
        text.push_str(
            "Nobody has let this device in yet: type `firnbook sync` on the same network as base.\n",
        );
        return text;
    }
    let mut table = Table::new(["device", "id", ""]);
    for device in &shown.devices {
        let note = match (device.removed, device.here) {
            (true, _) => "removed",
            (false, true) => "this one",
            (false, false) => "",
        };
        table.row([device.label.clone(), device.device.to_string(), note.to_owned()]);
    }
    text.push_str(&table.draw(columns));
    text
}
