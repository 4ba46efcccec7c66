//! Who may knock: how many strangers stand at the door at once, and which addresses are not listened to for a while.

use super::LanLimits;
use std::collections::HashMap;
use std::net::{IpAddr, Shutdown, TcpStream};
use std::time::{Duration, Instant};

/// The doors of a base.
#[derive(Debug, Default)]
pub(super) struct Doors {
    strangers: Vec<Stranger>,
    failures: HashMap<IpAddr, Failures>,
    /// Sessions that are on.
    pub sessions: usize,
}

#[derive(Debug)]
struct Stranger {
    n: u64,
    from: IpAddr,
    stream: TcpStream,
}

#[derive(Clone, Copy, Debug)]
struct Failures {
    count: u32,
    shut_until: Instant,
}

impl Doors {
    /// Lets someone stand at the door; where too many do, the oldest of the address that has most of them is sent away. `false`: this address is
    /// not listened to now.
    pub fn knock(
        &mut self,
        n: u64,
        from: IpAddr,
        stream: TcpStream,
        limits: &LanLimits,
        now: Instant,
    ) -> bool {
        if self.failures.get(&from).is_some_and(|f| f.count > limits.forgiven && f.shut_until > now) {
            return false;
        }
        while self.strangers.len() >= limits.strangers {
            let mut counts: HashMap<IpAddr, usize> = HashMap::new();
            for stranger in &self.strangers {
                *counts.entry(stranger.from).or_default() += 1;
            }
            let most = counts.into_iter().max_by_key(|(ip, n)| (*n, *ip)).map(|(ip, _)| ip);
            let oldest = self.strangers.iter().position(|s| Some(s.from) == most).unwrap_or(0);
            let gone = self.strangers.remove(oldest);
            let _ = gone.stream.shutdown(Shutdown::Both);
        }
        self.strangers.push(Stranger { n, from, stream });
        true
    }

    /// This one has proved that it has the crew's key.
    pub fn known(&mut self, n: u64, from: IpAddr) {
        self.gone(n);
        self.failures.remove(&from);
    }

    /// This one is gone. `false`: it was sent away before, to make room.
    pub fn gone(&mut self, n: u64) -> bool {
        let before = self.strangers.len();
        self.strangers.retain(|s| s.n != n);
        self.strangers.len() < before
    }

    /// A handshake of this address failed.
    pub fn failed(&mut self, from: IpAddr, limits: &LanLimits, now: Instant) {
        if self.failures.len() >= limits.addresses && !self.failures.contains_key(&from) {
            let first = self.failures.iter().min_by_key(|(_, f)| f.shut_until).map(|(ip, _)| *ip);
            first.map(|ip| self.failures.remove(&ip));
        }
        let failures = self.failures.entry(from).or_insert(Failures { count: 0, shut_until: now });
        failures.count = failures.count.saturating_add(1);
        let doublings = failures.count.saturating_sub(limits.forgiven + 1).min(16);
        let shut = limits.shut_first.saturating_mul(1 << doublings).min(limits.shut_longest);
        failures.shut_until = now + if failures.count > limits.forgiven { shut } else { Duration::ZERO };
    }
}

#[cfg(test)]
mod tests {
    use super::super::LAN_LIMITS;
    use super::*;
    use std::net::TcpListener;

    fn stream() -> TcpStream {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        TcpStream::connect(listener.local_addr().unwrap()).unwrap()
    }

    #[test]
    fn an_address_that_fails_again_and_again_is_shut_out_longer_and_longer() {
        let (bad, good): (IpAddr, IpAddr) = ("192.0.2.1".parse().unwrap(), "192.0.2.2".parse().unwrap());
        let mut doors = Doors::default();
        let now = Instant::now();
        for _ in 0..LAN_LIMITS.forgiven {
            doors.failed(bad, &LAN_LIMITS, now);
        }
        assert!(doors.knock(1, bad, stream(), &LAN_LIMITS, now));
        doors.failed(bad, &LAN_LIMITS, now);
        assert!(!doors.knock(2, bad, stream(), &LAN_LIMITS, now));
        assert!(doors.knock(3, good, stream(), &LAN_LIMITS, now));
        let second = now + Duration::from_millis(1_001);
        assert!(doors.knock(4, bad, stream(), &LAN_LIMITS, second));
        doors.failed(bad, &LAN_LIMITS, second);
        assert!(!doors.knock(5, bad, stream(), &LAN_LIMITS, second + Duration::from_millis(1_900)));
        for _ in 0..100 {
            doors.failed(bad, &LAN_LIMITS, second);
        }
        assert!(doors.knock(6, bad, stream(), &LAN_LIMITS, second + Duration::from_secs(61)));
        doors.known(6, bad);
        doors.failed(bad, &LAN_LIMITS, second);
        assert!(doors.knock(7, bad, stream(), &LAN_LIMITS, second));
    }

    #[test]
    fn of_too_many_strangers_those_of_the_loudest_address_go() {
        let limits = LanLimits { strangers: 4, ..LAN_LIMITS };
        let (loud, quiet): (IpAddr, IpAddr) = ("192.0.2.1".parse().unwrap(), "192.0.2.2".parse().unwrap());
        let mut doors = Doors::default();
        doors.knock(0, quiet, stream(), &limits, Instant::now());
        for n in 1..20 {
            doors.knock(n, loud, stream(), &limits, Instant::now());
        }
        assert_eq!(doors.strangers.iter().map(|s| s.n).collect::<Vec<_>>(), [0, 17, 18, 19]);
    }

    #[test]
    fn what_is_remembered_is_bounded() {
        let limits = LanLimits { addresses: 10, ..LAN_LIMITS };
        let mut doors = Doors::default();
        for n in 0..100_u8 {
            doors.failed(IpAddr::from([192, 0, 2, n]), &limits, Instant::now());
        }
        assert_eq!(doors.failures.len(), 10);
    }
}
