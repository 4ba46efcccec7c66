//! A base that listens: one thread takes calls, one more serves each of them, and what happens comes out as events.

use super::doors::Doors;
use super::{LAN_LIMITS, LanError, LanLimits, PORT, Stop, carry, ip_of, outcome};
use crate::exchange::channel::{Channel, ChannelError};
use crate::exchange::session::{Progress, Report, Role};
use crate::exchange::shelf::Host;
use std::io::ErrorKind;
use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, TcpListener, TcpStream};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::mpsc::{Receiver, Sender, channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// How often it is looked whether someone calls.
const LOOK: Duration = Duration::from_millis(10);
/// How often the progress of one session is told.
const TOLD: Duration = Duration::from_millis(200);

/// What happens at a base. `n` is the number of the call.
#[cfg_attr(feature = "uniffi", derive(uniffi::Enum), uniffi(name = "BaseEvent"))]
#[derive(Debug)]
pub enum Event {
    /// Someone with the crew's key has called.
    Arrived {
        /// The call.
        n: u64,
        /// From where.
        address: IpAddr,
    },
    /// A session goes on.
    Progress {
        /// The call.
        n: u64,
        /// How far it is.
        progress: Progress,
    },
    /// A session is over.
    Ended {
        /// The call.
        n: u64,
        /// From where.
        address: IpAddr,
        /// What it did; of one that ended otherwise, what was done so far.
        report: Report,
        /// Why it ended otherwise.
        error: Option<LanError>,
    },
    /// Someone without the crew's key has called.
    Stranger {
        /// From where.
        address: IpAddr,
    },
}

/// A base that listens until it is ended or dropped.
pub struct Base {
    addresses: Vec<SocketAddr>,
    events: Receiver<Event>,
    stop: Stop,
    listening: Option<JoinHandle<()>>,
}

struct Shared {
    host: Arc<Host>,
    doors: Mutex<Doors>,
    events: Sender<Event>,
    stop: Stop,
    limits: LanLimits,
}

impl Shared {
    fn doors(&self) -> MutexGuard<'_, Doors> {
        self.doors.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Base {
    /// Listens at `at`; without one, at the usual port of every address of this machine, IPv4 and IPv6.
    ///
    /// # Errors
    /// [`LanError::PortTaken`], [`LanError::NoListening`], or [`ChannelError::NoCrew`].
    pub fn listen(host: &Arc<Host>, at: Option<SocketAddr>, stop: &Stop) -> Result<Base, LanError> {
        Base::listen_within(host, at, stop, LAN_LIMITS)
    }

    /// The same within other limits, for tests.
    ///
    /// # Errors
    /// As [`Base::listen`].
    pub fn listen_within(
        host: &Arc<Host>,
        at: Option<SocketAddr>,
        stop: &Stop,
        limits: LanLimits,
    ) -> Result<Base, LanError> {
        host.crew().map_err(ChannelError::from)?.ok_or(ChannelError::NoCrew)?;
        let listeners = bind(at)?;
        let addresses = listeners.iter().filter_map(|l| l.local_addr().ok()).collect();
        let (sender, events) = channel();
        let shared = Arc::new(Shared {
            host: host.clone(),
            doors: Mutex::default(),
            events: sender,
            stop: stop.clone(),
            limits,
        });
        let listening = std::thread::Builder::new()
            .name("listen".to_owned())
            .spawn(move || take_calls(&listeners, &shared));
        let listening =
            listening.map_err(|e| LanError::NoListening { address: "any".to_owned(), why: e.to_string() })?;
        Ok(Base { addresses, events, stop: stop.clone(), listening: Some(listening) })
    }

    /// Where it listens.
    #[must_use]
    pub fn addresses(&self) -> &[SocketAddr] {
        &self.addresses
    }

    /// What happens next; `None` after `patience` without anything. Also `None` once everything has ended, see [`Base::ended`].
    #[must_use]
    pub fn next_event(&self, patience: Duration) -> Option<Event> {
        self.events.recv_timeout(patience).ok()
    }

    /// It listens no more, and no session is on.
    #[must_use]
    pub fn ended(&self) -> bool {
        self.listening.as_ref().is_none_or(JoinHandle::is_finished)
    }

    /// Ends in order: no more calls, sessions stop at their next step, what they confirmed is kept.
    pub fn end(&mut self) {
        self.stop.stop();
        if let Some(listening) = self.listening.take() {
            // A panic in there has been told already.
            let _ = listening.join();
        }
    }
}

impl Drop for Base {
    fn drop(&mut self) {
        self.end();
    }
}

/// Binds IPv6 and IPv4; where one socket serves both, the second one finds the port taken, and that is well.
fn bind(at: Option<SocketAddr>) -> Result<Vec<TcpListener>, LanError> {
    let failed = |at: SocketAddr, e: &std::io::Error| match e.kind() {
        ErrorKind::AddrInUse => LanError::PortTaken(at.port()),
        _ => LanError::NoListening { address: at.to_string(), why: e.to_string() },
    };
    let at = at.unwrap_or(SocketAddr::from((Ipv6Addr::UNSPECIFIED, PORT)));
    let mut listeners = Vec::new();
    match TcpListener::bind(at) {
        Ok(listener) => listeners.push(listener),
        Err(e) if e.kind() != ErrorKind::AddrInUse && at.ip() == IpAddr::V6(Ipv6Addr::UNSPECIFIED) => {}
        Err(e) => return Err(failed(at, &e)),
    }
    if at.ip() == IpAddr::V6(Ipv6Addr::UNSPECIFIED) {
        let port = listeners.first().and_then(|l| l.local_addr().ok()).map_or(at.port(), |a| a.port());
        let second = SocketAddr::from((Ipv4Addr::UNSPECIFIED, port));
        match TcpListener::bind(second) {
            Ok(listener) => listeners.push(listener),
            Err(e) if listeners.is_empty() => return Err(failed(second, &e)),
            Err(_) => {}
        }
    }
    for listener in &listeners {
        listener.set_nonblocking(true).map_err(|e| failed(at, &e))?;
    }
    Ok(listeners)
}

fn take_calls(listeners: &[TcpListener], shared: &Arc<Shared>) {
    let mut serving: Vec<JoinHandle<()>> = Vec::new();
    let mut n = 0;
    while !shared.stop.wished() {
        let mut quiet = true;
        for listener in listeners {
            // Errors of accepting are those of one caller who is gone again, or of too many open files: both pass.
            let Ok((stream, _)) = listener.accept() else { continue };
            quiet = false;
            n += 1;
            let Some(from) = ip_of(&stream) else { continue };
            let Ok(copy) = stream.try_clone() else { continue };
            if !shared.doors().knock(n, from, copy, &shared.limits, Instant::now()) {
                continue;
            }
            let one = shared.clone();
            let served = std::thread::Builder::new()
                .name(format!("call {n}"))
                .spawn(move || serve(stream, n, from, &one));
            match served {
                Ok(handle) => serving.push(handle),
                Err(_) => {
                    shared.doors().gone(n);
                }
            }
        }
        if quiet {
            serving.retain(|h| !h.is_finished());
            std::thread::sleep(LOOK);
        }
    }
    for handle in serving {
        // A panic in there has been told already, and the other calls are not its business.
        let _ = handle.join();
    }
}

/// A place among the sessions; free again when it is dropped, however the session ended.
struct Place<'a>(&'a Shared);

impl Drop for Place<'_> {
    fn drop(&mut self) {
        self.0.doors().sessions -= 1;
    }
}

fn serve(mut stream: TcpStream, n: u64, from: IpAddr, shared: &Arc<Shared>) {
    let _ = stream.set_nonblocking(false);
    let mut channel = match Channel::new(&shared.host, Role::Base, 0) {
        Ok(channel) => channel,
        Err(error) => {
            shared.doors().gone(n);
            let ended =
                Event::Ended { n, address: from, report: Report::default(), error: Some(error.into()) };
            let _ = shared.events.send(ended);
            return;
        }
    };
    let mut told = Instant::now();
    let mut place = None;
    let mut see = |progress: &Progress| {
        if told.elapsed() >= TOLD {
            told = Instant::now();
            let _ = shared.events.send(Event::Progress { n, progress: progress.clone() });
        }
    };
    let mut opened = || {
        shared.doors().known(n, from);
        place = Some(take_place(shared)?);
        let _ = shared.events.send(Event::Arrived { n, address: from });
        Ok(())
    };
    // A fault of a library ends this session alone, and is said.
    let carried = catch_unwind(AssertUnwindSafe(|| {
        carry(&mut stream, &mut channel, &shared.limits, &shared.stop, &mut see, &mut opened)
    }));
    let carried = carried.unwrap_or_else(|_| Err(LanError::Broken));
    if place.take().is_none() {
        let mut doors = shared.doors();
        // One that was sent away to make room, or by the end of listening, has not failed.
        if doors.gone(n) && !shared.stop.wished() && !channel.is_open() {
            doors.failed(from, &shared.limits, Instant::now());
        }
    }
    if !channel.is_open() {
        let _ = shared.events.send(Event::Stranger { address: from });
        return;
    }
    let so_far = channel.so_far().cloned().unwrap_or_default();
    let (report, error) = match outcome(channel, carried) {
        Ok(report) => (report, None),
        Err(error) => (so_far, Some(error)),
    };
    let _ = shared.events.send(Event::Ended { n, address: from, report, error });
}

/// Waits for a place among the sessions.
fn take_place(shared: &Shared) -> Result<Place<'_>, LanError> {
    let begun = Instant::now();
    loop {
        {
            let mut doors = shared.doors();
            if doors.sessions < shared.limits.sessions {
                doors.sessions += 1;
                return Ok(Place(shared));
            }
        }
        if shared.stop.wished() {
            return Err(LanError::Stopped);
        }
        if begun.elapsed() > shared.limits.silence / 2 {
            return Err(LanError::Full);
        }
        std::thread::sleep(shared.limits.tick);
    }
}
