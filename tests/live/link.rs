//! Two sessions joined in memory: the bytes of one go to the other, in pieces of any size, up to a cut if one is wanted.

use firnbook_core::exchange::{Host, Peer, Report, Role, Session, SessionError};
use firnbook_tests::Phone;
use std::sync::Arc;

/// Where a link is cut: after so many bytes from the caller, or to it.
#[derive(Clone, Copy, Debug)]
pub struct Cut {
    /// Bytes from the caller that still arrive.
    pub out: usize,
    /// Bytes to the caller that still arrive.
    pub back: usize,
}

/// No cut.
pub const WHOLE: Cut = Cut { out: usize::MAX, back: usize::MAX };

/// What a talk gave.
pub struct Talk {
    /// To the caller.
    pub caller: Result<Report, SessionError>,
    /// To base.
    pub base: Result<Report, SessionError>,
    /// Bytes that the caller sent and that arrived.
    pub out: usize,
    /// Bytes that base sent and that arrived.
    pub back: usize,
    /// Frames of the caller and of base.
    pub frames: [usize; 2],
}

/// A device of a test as a host.
pub fn host(phone: &Phone) -> Arc<Host> {
    Host::open(&phone.path(), Arc::new(phone.clock.clone()), &phone.name).unwrap()
}

/// A session between two hosts over a cable that carries `piece` bytes at a time and is cut where `cut` says.
pub fn talk(caller: &Arc<Host>, base: &Arc<Host>, cut: Cut, piece: usize) -> Talk {
    let one = Session::new(caller, Role::Caller, Peer::Cable).unwrap();
    let other = Session::new(base, Role::Base, Peer::Cable).unwrap();
    run(one, other, cut, piece)
}

/// Joins two sessions.
pub fn run(mut caller: Session, mut base: Session, cut: Cut, piece: usize) -> Talk {
    let (mut out, mut back, mut frames) = (0, 0, [0, 0]);
    loop {
        let mut moved = false;
        while let Some(bytes) = caller.outgoing() {
            frames[0] += 1;
            moved = true;
            let arrives = bytes.len().min(cut.out - out);
            out += arrives;
            bytes[..arrives].chunks(piece).for_each(|p| base.incoming(p));
            if out == cut.out {
                return Talk { caller: caller.outcome(), base: base.outcome(), out, back, frames };
            }
        }
        while let Some(bytes) = base.outgoing() {
            frames[1] += 1;
            moved = true;
            let arrives = bytes.len().min(cut.back - back);
            back += arrives;
            bytes[..arrives].chunks(piece).for_each(|p| caller.incoming(p));
            if back == cut.back {
                return Talk { caller: caller.outcome(), base: base.outcome(), out, back, frames };
            }
        }
        if !moved {
            return Talk { caller: caller.outcome(), base: base.outcome(), out, back, frames };
        }
    }
}

/// Two sessions that are joined and go on only frame by frame.
pub struct Joined {
    /// The one that calls.
    pub caller: Session,
    /// The one that is called.
    pub base: Session,
    /// What went to base.
    pub out: Vec<u8>,
    /// What went to the caller.
    pub back: Vec<u8>,
}

/// Joins a session of each.
pub fn join(caller: &Arc<Host>, base: &Arc<Host>) -> Joined {
    let session = |host, role| Session::new(host, role, Peer::Cable).unwrap();
    Joined {
        caller: session(caller, Role::Caller),
        base: session(base, Role::Base),
        out: Vec::new(),
        back: Vec::new(),
    }
}

impl Joined {
    /// One frame goes over, the caller's first; `false` where none is to go.
    pub fn step(&mut self) -> bool {
        if let Some(bytes) = self.caller.outgoing() {
            self.base.incoming(&bytes);
            self.out.extend_from_slice(&bytes);
        } else if let Some(bytes) = self.base.outgoing() {
            self.caller.incoming(&bytes);
            self.back.extend_from_slice(&bytes);
        } else {
            return false;
        }
        true
    }

    /// One round trip: everything that the caller has ready, then everything that base has; `false` where neither has anything.
    pub fn turn(&mut self) -> bool {
        let mut moved = false;
        while let Some(bytes) = self.caller.outgoing() {
            self.out.extend_from_slice(&bytes);
            moved = true;
            self.base.incoming(&bytes);
        }
        while let Some(bytes) = self.base.outgoing() {
            self.back.extend_from_slice(&bytes);
            moved = true;
            self.caller.incoming(&bytes);
        }
        moved
    }
}

/// Everything that two phones hold of their day is the same, and both stores are whole.
pub fn assert_equal(a: &Phone, b: &Phone) {
    assert_eq!(a.book.day(a.day).unwrap().heads, b.book.day(b.day).unwrap().heads);
    let rows = |p: &Phone| {
        let entries = p.book.record(p.day).unwrap().entries;
        entries.into_iter().map(|e| (e.id, e.text, e.void)).collect::<Vec<_>>()
    };
    assert_eq!(rows(a), rows(b));
    for phone in [a, b] {
        assert!(phone.book.verify().unwrap().iter().all(|d| d.rows_equal), "{}", phone.name);
    }
}
