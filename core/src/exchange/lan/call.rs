//! Calling a base, again and again until all is exchanged.

use super::{LAN_LIMITS, LanError, LanLimits, PORT, Stop, carry, outcome};
use crate::exchange::channel::{Channel, ChannelError};
use crate::exchange::session::{Progress, Report, Role};
use crate::exchange::shelf::Host;
use std::net::{SocketAddr, TcpStream, ToSocketAddrs};
use std::sync::Arc;
use std::time::Duration;

/// Old keys of the crew that are tried where base does not know the latest.
const OLD_KEYS: usize = 3;
/// Between two calls.
const PAUSE: Duration = Duration::from_millis(200);

/// What calling a base did.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq)]
pub struct Called {
    /// What was exchanged, over all calls that it took.
    pub report: Report,
    /// The address where base answered.
    pub address: String,
    /// Calls that it took.
    pub calls: u32,
}

/// Exchanges everything with the base at one of these addresses, the first that answers. A connection that breaks is made anew, as often as each
/// brings something, and [`LanLimits::fruitless`] times in a row where none does. `see` is told how far it is.
///
/// # Errors
/// [`LanError`]; what was confirmed before stays.
pub fn call(
    host: &Arc<Host>,
    addresses: &[String],
    stop: &Stop,
    see: &mut dyn FnMut(&Progress),
) -> Result<Called, LanError> {
    host.crew().map_err(ChannelError::from)?.ok_or(ChannelError::NoCrew)?;
    let mut sum = Report::default();
    let (mut calls, mut fruitless, mut key) = (0, 0, 0);
    let mut found: Option<String> = None;
    let mut exchanged = false;
    let (mut begun_there, mut records_there) = (0, 0);
    loop {
        if stop.wished() {
            return Err(LanError::Stopped);
        }
        // Where it answered before comes first; it may have another address by now, as after a change of networks.
        let others = addresses.iter().filter(|a| found.as_ref() != Some(a)).cloned();
        let near: Vec<String> = found.iter().cloned().chain(others).collect();
        let (mut stream, address) = match connect(&near) {
            Ok(connected) => connected,
            // A base that was there comes back, perhaps.
            Err(_) if found.is_some() && fruitless < LAN_LIMITS.fruitless => {
                fruitless += 1;
                std::thread::sleep(PAUSE * fruitless);
                continue;
            }
            Err(error) => match found {
                // It has all that was here, and has ended before it could say so.
                Some(address) if exchanged => return Ok(Called { report: sum, address, calls }),
                _ => return Err(error),
            },
        };
        calls += 1;
        let begun_here = begun_at(host);
        let (report, progress, error) = once(host, &mut stream, key, &LAN_LIMITS, stop, see, &mut exchanged);
        // Half of something large is worth going on for too, on either side, and so is who belongs to the crew.
        let moved = report.received > 0
            || report.sent > 0
            || progress.records > 0
            || progress.signatures > 0
            || begun_at(host) > begun_here
            || progress.begun_there > begun_there
            || progress.records_there > records_there;
        begun_there = begun_there.max(progress.begun_there);
        records_there = records_there.max(progress.records_there);
        let (rotated, opened) = (report.rotated, report.peer.is_some());
        sum.add(report);
        if opened {
            found = Some(address.clone());
        }
        match error {
            None if rotated => {
                // The roster went over; the key that holds now is the latest one here.
                key = 0;
                fruitless += 1;
            }
            None => return Ok(Called { report: sum, address, calls }),
            // A base that does not know the latest key, as it has not been told yet, or one that has another and did not tell.
            Some(LanError::Channel(ChannelError::Stranger)) if found.is_none() => {
                key += 1;
                if key > OLD_KEYS
                    || matches!(Channel::new(host, Role::Caller, key), Err(ChannelError::Stranger))
                {
                    return Err(LanError::NotOurs(address));
                }
                continue;
            }
            // Who had the key a moment ago and now hangs up is going, or its line is.
            Some(error) if error.passes() || matches!(error, LanError::Channel(ChannelError::Stranger)) => {
                fruitless = if moved { 0 } else { fruitless + 1 };
                if fruitless >= LAN_LIMITS.fruitless {
                    return if exchanged { Ok(Called { report: sum, address, calls }) } else { Err(error) };
                }
            }
            Some(error) => return Err(error),
        }
        if fruitless >= LAN_LIMITS.fruitless {
            return Err(LanError::NotOurs(address));
        }
        std::thread::sleep(PAUSE * fruitless);
    }
}

/// One call. `exchanged`: all has gone over by now, as far as this side knows.
fn once(
    host: &Arc<Host>,
    stream: &mut TcpStream,
    key: usize,
    limits: &LanLimits,
    stop: &Stop,
    see: &mut dyn FnMut(&Progress),
    exchanged: &mut bool,
) -> (Report, Progress, Option<LanError>) {
    let mut channel = match Channel::new(host, Role::Caller, key) {
        Ok(channel) => channel,
        Err(error) => return (Report::default(), Progress::default(), Some(error.into())),
    };
    let carried = carry(stream, &mut channel, limits, stop, see, &mut || Ok(()));
    let mut so_far = channel.so_far().cloned().unwrap_or_default();
    let progress = channel.progress().cloned().unwrap_or_default();
    (so_far.bytes_sent, so_far.bytes_received) = (progress.bytes_out, progress.bytes_in);
    if channel.is_open() {
        *exchanged = channel.exchanged();
    }
    match outcome(channel, carried) {
        Ok(report) => (report, progress, None),
        Err(error) => (so_far, progress, Some(error)),
    }
}

/// Bytes here of documents and changes that came half.
fn begun_at(host: &Host) -> usize {
    host.shelf().begun().iter().map(|(_, bytes)| bytes).sum()
}

/// Connects to the first address where someone answers.
fn connect(addresses: &[String]) -> Result<(TcpStream, String), LanError> {
    let mut error = LanError::NoBase;
    for address in addresses {
        let sockets = match resolve(address) {
            Ok(sockets) => sockets,
            Err(e) => {
                error = e;
                continue;
            }
        };
        for socket in sockets {
            match TcpStream::connect_timeout(&socket, LAN_LIMITS.connect) {
                Ok(stream) => return Ok((stream, address.clone())),
                Err(e) => error = LanError::Unreachable { address: socket.to_string(), why: e.to_string() },
            }
        }
    }
    Err(error)
}

/// The sockets of an address as people write it: a name or number, with or without a port.
fn resolve(address: &str) -> Result<Vec<SocketAddr>, LanError> {
    let failed = |why: String| LanError::NoAddress { address: address.to_owned(), why };
    let address = address.trim();
    if let Ok(ip) = address.trim_matches(['[', ']']).parse() {
        return Ok(vec![SocketAddr::new(ip, PORT)]);
    }
    let with_port = if address.contains(':') { address.to_owned() } else { format!("{address}:{PORT}") };
    let sockets: Vec<SocketAddr> = with_port.to_socket_addrs().map_err(|e| failed(e.to_string()))?.collect();
    if sockets.is_empty() { Err(failed("it has no address".to_owned())) } else { Ok(sockets) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_are_read_as_people_write_them() {
        let one = |text: &str| resolve(text).unwrap()[0].to_string();
        assert_eq!(one("192.0.2.7"), format!("192.0.2.7:{PORT}"));
        assert_eq!(one(" 192.0.2.7:80 "), "192.0.2.7:80");
        assert_eq!(one("2001:db8::1"), format!("[2001:db8::1]:{PORT}"));
        assert_eq!(one("[2001:db8::1]:80"), "[2001:db8::1]:80");
        assert!(matches!(resolve("no such place.invalid"), Err(LanError::NoAddress { .. })));
        assert!(matches!(resolve("192.0.2.7:99999"), Err(LanError::NoAddress { .. })));
        assert!(matches!(connect(&[]), Err(LanError::NoBase)));
    }
}
