//! The same pair of sessions by whatever carries their bytes: a pipe, TCP, and a link in memory that cuts, holds back, repeats and disorders
//! whole connections.

use super::link::{Joined, assert_equal, host, join};
use firnbook_core::exchange::{Peer, Report, Role, Session, SessionError};
use firnbook_tests::{Phone, strike};
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::mpsc::channel;

/// Two phones that have met once, and then each wrote so much.
fn apart(entries: u32) -> (Phone, Phone) {
    let (mut a, mut b) = (Phone::new("Obs1"), Phone::new("Base"));
    b.merge(&a);
    for n in 0..entries {
        a.write(strike(20 + n % 100));
        b.write(strike(120 + n % 100));
    }
    (a, b)
}

/// Drives a session with a stream each way, as any program would.
fn drive(
    mut session: Session,
    mut from: impl Read + Send,
    mut to: impl Write,
) -> Result<Report, SessionError> {
    std::thread::scope(|scope| {
        let (sender, came) = channel();
        // Who reads never writes, or two that both write would wait for one another.
        scope.spawn(move || {
            let mut buffer = [0; 700];
            while let Ok(n @ 1..) = from.read(&mut buffer) {
                if sender.send(buffer[..n].to_vec()).is_err() {
                    break;
                }
            }
        });
        loop {
            while let Some(bytes) = session.outgoing() {
                to.write_all(&bytes).unwrap();
            }
            if session.finished() {
                break;
            }
            let Ok(bytes) = came.recv() else { break };
            session.incoming(&bytes);
        }
        drop(to);
        session.outcome()
    })
}

/// Exchanges over these streams; both must go well, and both have everything.
fn exchange<R: Read + Send, W: Write + Send>(
    [caller_reads, base_reads]: [R; 2],
    [caller_writes, base_writes]: [W; 2],
) {
    let (a, b) = apart(80);
    let caller = Session::new(&host(&a), Role::Caller, Peer::Cable).unwrap();
    let base = Session::new(&host(&b), Role::Base, Peer::Cable).unwrap();
    let (caller, base) = std::thread::scope(|scope| {
        let base = scope.spawn(move || drive(base, base_reads, base_writes));
        (drive(caller, caller_reads, caller_writes).unwrap(), base.join().unwrap().unwrap())
    });
    assert_eq!([caller.new_entries, base.new_entries], [80, 80]);
    assert_equal(&a, &b);
}

#[test]
fn a_pipe_carries_it() {
    let ((to_base, from_caller), (to_caller, from_base)) =
        (std::io::pipe().unwrap(), std::io::pipe().unwrap());
    exchange([to_caller, to_base], [from_caller, from_base]);
}

#[test]
fn tcp_carries_it() {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let one = TcpStream::connect(listener.local_addr().unwrap()).unwrap();
    let (other, _) = listener.accept().unwrap();
    let again = |stream: &TcpStream| Closing(stream.try_clone().unwrap());
    let (one_writes, other_writes) = (again(&one), again(&other));
    exchange([one, other], [one_writes, other_writes]);
}

/// Says that nothing more will come once it is dropped.
struct Closing(TcpStream);

impl Write for Closing {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.write(bytes)
    }
    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl Drop for Closing {
    fn drop(&mut self) {
        let _ = self.0.shutdown(std::net::Shutdown::Write);
    }
}

/// Chance that can be repeated: a step of a multiplicative generator a number.
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) as usize % n
    }
}

/// What has been on a link, to be delivered once more.
#[derive(Default)]
struct Recorded {
    to_base: Vec<Vec<u8>>,
    to_caller: Vec<Vec<u8>>,
}

impl Recorded {
    fn keep(&mut self, joined: &Joined) {
        self.to_base.push(joined.out.clone());
        self.to_caller.push(joined.back.clone());
    }
}

/// Delivers what was recorded to someone who takes it for a new connection.
fn deliver(recorded: &[u8], to: &Phone, role: Role) {
    let mut session = Session::new(&host(to), role, Peer::Cable).unwrap();
    for piece in recorded.chunks(500) {
        session.incoming(piece);
        while session.outgoing().is_some() {}
    }
}

#[test]
fn connections_that_are_cut_held_back_repeated_and_disordered_lose_and_double_nothing() {
    let mut happened = [0; 5];
    for seed in 0..30 {
        let (mut a, mut b) = apart(3);
        let mut written = 6;
        let mut dice = Dice(seed);
        let (mut recorded, mut held) = (Recorded::default(), Vec::<Joined>::new());
        for _ in 0..12 {
            a.write(strike(20 + written));
            b.write(strike(20 + written));
            written += 2;
            let what = dice.below(5);
            happened[what] += 1;
            match what {
                // A connection that is cut after some frames, or not at all.
                0 | 1 => {
                    let mut joined = join(&host(&a), &host(&b));
                    let frames = if what == 0 { dice.below(12) } else { usize::MAX };
                    (0..frames).take_while(|_| joined.step()).for_each(drop);
                    recorded.keep(&joined);
                }
                // One that stands still in the middle, while newer ones come and go.
                2 => {
                    let mut joined = join(&host(&a), &host(&b));
                    (0..dice.below(10)).take_while(|_| joined.step()).for_each(drop);
                    held.push(joined);
                }
                // One that was held back goes on, not always the oldest.
                3 if !held.is_empty() => {
                    let mut joined = held.swap_remove(dice.below(held.len()));
                    while joined.step() {}
                    recorded.keep(&joined);
                }
                // One of before comes once more, whichever, to either side.
                _ if !recorded.to_base.is_empty() => {
                    let i = dice.below(recorded.to_base.len());
                    deliver(&recorded.to_base[i], &b, Role::Base);
                    deliver(&recorded.to_caller[i], &a, Role::Caller);
                }
                _ => {}
            }
        }
        for mut joined in held {
            while joined.step() {}
        }
        let mut last = join(&host(&a), &host(&b));
        while last.step() {}
        last.caller.outcome().unwrap();
        last.base.outcome().unwrap();
        assert_equal(&a, &b);
        assert_eq!(a.book.days().unwrap()[0].entries, written as usize, "seed {seed}");
    }
    assert!(happened.iter().all(|n| *n > 20), "{happened:?}");
}
