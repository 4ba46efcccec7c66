//! A relay between a caller and a base on this machine that delays, throttles, stalls and cuts, by a seed; and keeps what went through it.

use std::io::{ErrorKind, Read, Write};
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// What a relay does to each connection.
#[derive(Clone, Copy, Debug)]
pub struct Weather {
    /// Each piece comes so much later.
    pub delay: Duration,
    /// Bytes a second each way; 0 is as fast as it goes.
    pub rate: usize,
    /// Cuts a connection after about so many bytes each way; 0 never.
    pub cut_every: usize,
    /// Says nothing for this long, once, in the middle of the first connection.
    pub stall: Duration,
    /// Turns one bit of what goes to base, after so many bytes; 0 never.
    pub flip_at: usize,
    /// Seed of where cuts fall.
    pub seed: u64,
}

/// Nothing happens.
pub const FAIR: Weather =
    Weather { delay: Duration::ZERO, rate: 0, cut_every: 0, stall: Duration::ZERO, flip_at: 0, seed: 1 };

/// A relay that listens.
pub struct Relay {
    /// Where.
    pub at: SocketAddr,
    /// Connections that came.
    pub connections: Arc<AtomicUsize>,
    /// What went to base, all connections one behind the other.
    pub out: Arc<Mutex<Vec<u8>>>,
    /// What came from base.
    pub back: Arc<Mutex<Vec<u8>>>,
    stop: Arc<AtomicBool>,
}

impl Drop for Relay {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::SeqCst);
    }
}

impl Relay {
    /// A relay to a base.
    pub fn to(base: SocketAddr, weather: Weather) -> Relay {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        listener.set_nonblocking(true).unwrap();
        let relay = Relay {
            at: listener.local_addr().unwrap(),
            connections: Arc::default(),
            out: Arc::default(),
            back: Arc::default(),
            stop: Arc::default(),
        };
        let (stop, connections) = (relay.stop.clone(), relay.connections.clone());
        let kept = [relay.out.clone(), relay.back.clone()];
        std::thread::spawn(move || {
            while !stop.load(Ordering::SeqCst) {
                let Ok((caller, _)) = listener.accept() else {
                    std::thread::sleep(Duration::from_millis(2));
                    continue;
                };
                let n = connections.fetch_add(1, Ordering::SeqCst);
                let Ok(base) = TcpStream::connect(base) else { continue };
                caller.set_nonblocking(false).unwrap();
                for (i, (from, to)) in [(&caller, &base), (&base, &caller)].into_iter().enumerate() {
                    let (from, to) = (from.try_clone().unwrap(), to.try_clone().unwrap());
                    let (stop, kept) = (stop.clone(), kept[i].clone());
                    std::thread::spawn(move || carry(from, to, weather, (n, i), &stop, &kept));
                }
            }
        });
        relay
    }
}

fn carry(
    mut from: TcpStream,
    mut to: TcpStream,
    weather: Weather,
    (n, way): (usize, usize),
    stop: &AtomicBool,
    kept: &Mutex<Vec<u8>>,
) {
    let _ = from.set_read_timeout(Some(Duration::from_millis(50)));
    let _ = to.set_nodelay(true);
    let mut through = 0;
    // A step of a multiplicative generator spreads the cuts of each connection and way.
    let spread = (weather.seed + n as u64 * 2 + way as u64).wrapping_mul(6_364_136_223_846_793_005) >> 33;
    let cut = if weather.cut_every == 0 {
        usize::MAX
    } else {
        weather.cut_every * 3 / 4 + spread as usize % (weather.cut_every / 2)
    };
    let mut buffer = [0; 1400];
    let mut stalled = weather.stall.is_zero() || n > 0 || way > 0;
    while !stop.load(Ordering::SeqCst) {
        let got = match from.read(&mut buffer) {
            Ok(0) => break,
            Ok(got) => got,
            Err(e) if matches!(e.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut) => continue,
            Err(_) => break,
        };
        let passes = got.min(cut - through);
        if weather.flip_at > 0 && way == 0 && (through..through + passes).contains(&weather.flip_at) {
            buffer[weather.flip_at - through] ^= 1;
        }
        std::thread::sleep(weather.delay);
        if weather.rate > 0 {
            std::thread::sleep(Duration::from_secs_f64(passes as f64 / weather.rate as f64));
        }
        if !stalled && through > 2_000 {
            stalled = true;
            std::thread::sleep(weather.stall);
        }
        kept.lock().unwrap().extend_from_slice(&buffer[..passes]);
        through += passes;
        if to.write_all(&buffer[..passes]).is_err() || through == cut {
            break;
        }
    }
    let _ = from.shutdown(Shutdown::Both);
    let _ = to.shutdown(Shutdown::Both);
}

/// How long something took.
pub fn timed<T>(work: impl FnOnce() -> T) -> (T, Duration) {
    let begun = Instant::now();
    let done = work();
    (done, begun.elapsed())
}
