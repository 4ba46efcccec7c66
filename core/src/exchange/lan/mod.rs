//! Channels over TCP: a base that serves many callers, and a caller. Blocking calls that can be watched and stopped; a phone makes them from a
//! worker thread.

mod base;
mod call;
mod doors;

pub use base::{Base, Event};
pub use call::{Called, call};

use super::channel::{Channel, ChannelError};
use super::session::{Progress, Report, SessionError};
use std::io::{ErrorKind, Read, Write};
use std::net::{IpAddr, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// The port where base listens unless told otherwise; no registered service has it. Common practice, no source.
pub const PORT: u16 = 45_460;

/// What is waited for and allowed, in one place.
#[derive(Clone, Copy, Debug)]
pub struct LanLimits {
    /// To answer a call: a phone on the same Wi-Fi answers in milliseconds, one that sleeps not at all.
    pub connect: Duration,
    /// For the three messages of the handshake: at 500 ms delay it takes 2 s; whoever needs more is no phone of ours.
    pub handshake: Duration,
    /// How often whoever waits for bytes looks whether it is to stop.
    pub tick: Duration,
    /// Without a byte: a Wi-Fi that changes its channel or a phone in a pocket stalls for 10 s and goes on.
    pub silence: Duration,
    /// Sessions at once: each costs a thread and about a piece of a day in memory; a large team has 30 phones.
    pub sessions: usize,
    /// Connections at once whose handshake is not over: beyond, the oldest of the address that has most of them goes.
    pub strangers: usize,
    /// Failed handshakes of an address that are forgiven: a key may just have been changed.
    pub forgiven: u32,
    /// How long an address is not listened to after one more; each further one doubles it.
    pub shut_first: Duration,
    /// The longest of that.
    pub shut_longest: Duration,
    /// Addresses whose failures are remembered: more than a network of phones has, and bounded.
    pub addresses: usize,
    /// Calls in a row that bring nothing before a caller gives up; one that moved something begins the count anew.
    pub fruitless: u32,
}

/// The limits of this version.
pub const LAN_LIMITS: LanLimits = LanLimits {
    connect: Duration::from_secs(5),
    handshake: Duration::from_secs(20),
    tick: Duration::from_millis(100),
    silence: Duration::from_secs(15),
    sessions: 32,
    strangers: 64,
    forgiven: 5,
    shut_first: Duration::from_secs(1),
    shut_longest: Duration::from_secs(60),
    addresses: 1_024,
    fruitless: 5,
};

/// How long a write may block before what has come is read: two sides that both only write would wait for one another for ever.
const WRITE_TICK: Duration = Duration::from_millis(20);
const READ_BYTES: usize = 64 << 10;

/// A wish to stop, which others can hold too.
#[derive(Clone, Debug, Default)]
pub struct Stop(Arc<AtomicBool>);

impl Stop {
    /// A wish that nobody has yet.
    #[must_use]
    pub fn new() -> Stop {
        Stop::default()
    }

    /// Wishes it.
    pub fn stop(&self) {
        self.0.store(true, Ordering::SeqCst);
    }

    /// It is wished.
    #[must_use]
    pub fn wished(&self) -> bool {
        self.0.load(Ordering::SeqCst)
    }
}

/// Why a call or a base did not do what it should.
#[derive(Debug, thiserror::Error)]
pub enum LanError {
    /// The channel's or the session's own.
    #[error(transparent)]
    Channel(#[from] ChannelError),
    /// No such address.
    #[error(
        "\"{address:.80}\" leads nowhere ({why:.200}); write it as `firnbook listen` shows it, for example 192.168.1.7:{PORT}"
    )]
    NoAddress {
        /// What was asked for.
        address: String,
        /// What the system says.
        why: String,
    },
    /// Nobody answers there.
    #[error(
        "nobody answers at {address:.80} ({why}); is base listening with `firnbook listen`, and are both on the same network?"
    )]
    Unreachable {
        /// The address.
        address: String,
        /// What the system says.
        why: String,
    },
    /// No address is known.
    #[error(
        "no base is known yet; name its address, as `firnbook listen` shows it: firnbook sync 192.168.1.7:{PORT}"
    )]
    NoBase,
    /// Who answers there is no base of this crew.
    #[error(
        "who answers at {0} is no base of this crew, or its key was changed: base must have this device in `firnbook crew show`; else ask for a new invitation"
    )]
    NotOurs(String),
    /// The port is taken.
    #[error(
        "port {0} is taken, perhaps by another `firnbook listen`; end that one, or choose another port with --addr [::]:PORT"
    )]
    PortTaken(u16),
    /// The system does not let us listen.
    #[error("this machine does not listen at {address} ({why})")]
    NoListening {
        /// Where.
        address: String,
        /// What the system says.
        why: String,
    },
    /// Nothing came for too long.
    #[error(
        "the other side has been silent for {0} seconds; what was confirmed is kept, do it again for the rest"
    )]
    Silent(u64),
    /// It was wished to stop.
    #[error("stopped; what was confirmed is kept")]
    Stopped,
    /// A fault of a library while reading what came.
    #[error("this session had to be stopped: what came could not be read; what was confirmed is kept")]
    Broken,
    /// All places are taken.
    #[error("base serves as many devices as it can; try again in a moment")]
    Full,
}

impl LanError {
    /// It may go well when it is tried again.
    fn passes(&self) -> bool {
        match self {
            LanError::Silent(_) | LanError::Full => true,
            LanError::Channel(ChannelError::Session(e)) => matches!(e, SessionError::Cut),
            LanError::Channel(ChannelError::Altered) => true,
            _ => false,
        }
    }
}

/// What a channel did that was carried so: where the connection ended otherwise, it is the session that knows whether that came too early.
fn outcome(channel: Channel, carried: Result<(), LanError>) -> Result<Report, LanError> {
    match (channel.outcome(), carried) {
        (Err(_), Err(error)) => Err(error),
        (outcome, _) => Ok(outcome?),
    }
}

/// Carries a channel over a connection until it is over, watched by `see`.
fn carry(
    stream: &mut TcpStream,
    channel: &mut Channel,
    limits: &LanLimits,
    stop: &Stop,
    see: &mut dyn FnMut(&Progress),
    opened: &mut dyn FnMut() -> Result<(), LanError>,
) -> Result<(), LanError> {
    let begun = Instant::now();
    let mut heard = Instant::now();
    let mut was_open = false;
    let mut pending: Vec<u8> = Vec::new();
    let mut buffer = vec![0; READ_BYTES];
    let cut = || LanError::Channel(ChannelError::Session(SessionError::Cut));
    // Small frames answer one another: they must not wait for company.
    let _ = stream.set_nodelay(true);
    let _ = stream.set_write_timeout(Some(WRITE_TICK));
    let _ = stream.set_read_timeout(Some(limits.tick));
    loop {
        if pending.is_empty() {
            pending = channel.outgoing().unwrap_or_default();
        }
        if channel.is_open() && !was_open {
            was_open = true;
            opened()?;
            heard = Instant::now();
        }
        if !pending.is_empty() {
            let _ = stream.set_nonblocking(false);
            match stream.write(&pending) {
                Ok(0) => return Err(cut()),
                Ok(n) => {
                    pending.drain(..n);
                    heard = Instant::now();
                }
                Err(e) if waits(&e) => {}
                Err(_) => return Err(cut()),
            }
            channel.progress().into_iter().for_each(&mut *see);
        }
        if pending.is_empty() && channel.finished() {
            return Ok(());
        }
        // What is ready goes before anything is waited for.
        if pending.is_empty() {
            pending = channel.outgoing().unwrap_or_default();
        }
        let _ = stream.set_nonblocking(!pending.is_empty());
        match stream.read(&mut buffer) {
            Ok(0) if !channel.is_open() => return Err(ChannelError::Stranger.into()),
            Ok(0) => return Err(cut()),
            Ok(n) => {
                heard = Instant::now();
                channel.incoming(&buffer[..n]);
                channel.progress().into_iter().for_each(&mut *see);
            }
            Err(e) if waits(&e) => {}
            Err(_) if !channel.is_open() => return Err(ChannelError::Stranger.into()),
            Err(_) => return Err(cut()),
        }
        if stop.wished() {
            return Err(LanError::Stopped);
        }
        if !channel.is_open() && begun.elapsed() > limits.handshake {
            return Err(LanError::Silent(limits.handshake.as_secs()));
        }
        if heard.elapsed() > limits.silence {
            return Err(LanError::Silent(limits.silence.as_secs()));
        }
    }
}

fn waits(error: &std::io::Error) -> bool {
    matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut | ErrorKind::Interrupted)
}

/// The address of the other side, an IPv4 one as such.
fn ip_of(stream: &TcpStream) -> Option<IpAddr> {
    stream.peer_addr().ok().map(|a| a.ip().to_canonical())
}
