//! A live exchange between two devices, without any input or output of its own: bytes that came go into [`Session::incoming`], bytes to send come
//! out of [`Session::outgoing`]. A socket, a cable, Bluetooth or a test carries them, in order and whole; if it breaks off, the next session
//! asks for what is still missing. The order of the talk is told in `schemas/session.md`.
//!
//! Nothing is kept about the other side: what it lacks follows from its vectors, which it sends each time. Whatever is acknowledged is on the
//! disk.

mod admit;
mod days;
mod report;

pub use report::{NotExchanged, Progress, Report, SessionError};

use super::shelf::{Crew, Host};
use super::wire::{Frame, Frames, Hello, PROTOCOL, Stamp, WireError};
use crate::clock::offset::{EXCHANGES_MAX, Exchange, Offset};
use crate::crew::{KeyId, RecordId};
use crate::day::{Cover, DayId};
use crate::store::{StoreError, TheirVector};
use days::Outgoing;
use serde_bytes::{ByteArray, ByteBuf};
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::sync::Arc;

/// Who speaks first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// The one who called.
    Caller,
    /// The one who was called; its clock counts as base time.
    Base,
}

/// By what the other side is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Peer {
    /// By the cable in one's hand: what it says of itself is believed.
    Cable,
    /// By its key: the channel has proved that it holds this one, and a key of the crew.
    Key {
        /// Its key in live exchanges.
        exchange: [u8; 32],
        /// The key of the crew on which the channel stands.
        crew_key: KeyId,
    },
}

/// No more clock exchanges after this long: on a slow link they would cost more than they tell.
const CLOCKS_MS: i64 = 2_000;

/// A live exchange with one other device.
pub struct Session {
    host: Arc<Host>,
    role: Role,
    peer: Peer,
    crew: Option<Crew>,
    frames: Frames,
    queue: VecDeque<Out>,
    urgent: VecDeque<Frame>,
    stage: Stage,
    their: Option<Hello>,
    old_key: bool,
    last_stamp: Option<(i64, i64)>,
    exchanges: Vec<Exchange>,
    clocks_since: Option<i64>,
    clock_asked: bool,
    listed: Vec<(DayId, [u8; 16])>,
    listed_by_them: BTreeMap<DayId, [u8; 16]>,
    begun_by_them: BTreeMap<[u8; 32], u64>,
    vectors: BTreeMap<DayId, TheirVector>,
    covers: BTreeMap<DayId, Vec<Cover>>,
    to_receive: BTreeSet<DayId>,
    to_be_kept: BTreeSet<DayId>,
    kept: BTreeMap<DayId, u64>,
    kept_by_them: BTreeMap<DayId, u64>,
    sending: Option<Outgoing>,
    said: Said,
    report: Report,
    progress: Progress,
    failed: Option<SessionError>,
}

/// Where the talk stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Stage {
    /// Who is there?
    Greeting,
    /// The records of the crew go to and fro.
    Roster,
    /// The days go to and fro.
    Days,
    /// Both have said that all is done.
    Over,
}

/// What was said already, by either side.
#[derive(Clone, Copy, Debug, Default)]
struct Said {
    records_sent: bool,
    records_came: bool,
    listed: bool,
    listed_by_them: bool,
    done: bool,
    done_received: bool,
}

/// What is to be sent, made when its turn comes.
enum Out {
    Hello,
    Roster,
    Records(Vec<RecordId>),
    Days,
    Vectors(DayId),
    Lacking(DayId),
    Whole(DayId),
    Done,
}

impl Session {
    /// Begins a session of this device with `peer`.
    ///
    /// # Errors
    /// Keys or records of the crew that can't be read.
    pub fn new(host: &Arc<Host>, role: Role, peer: Peer) -> Result<Session, StoreError> {
        let crew = host.crew()?;
        let newest = crew.as_ref().and_then(|c| c.ring.newest().map(crate::crew::CrewKey::id));
        let old_key = matches!(&peer, Peer::Key { crew_key, .. } if newest.is_some_and(|k| k != *crew_key));
        let mut session = Session {
            host: host.clone(),
            role,
            peer,
            crew,
            frames: Frames::default(),
            queue: VecDeque::new(),
            urgent: VecDeque::new(),
            stage: Stage::Greeting,
            their: None,
            old_key,
            last_stamp: None,
            exchanges: Vec::new(),
            clocks_since: None,
            clock_asked: false,
            listed: Vec::new(),
            listed_by_them: BTreeMap::new(),
            begun_by_them: BTreeMap::new(),
            vectors: BTreeMap::new(),
            covers: BTreeMap::new(),
            to_receive: BTreeSet::new(),
            to_be_kept: BTreeSet::new(),
            kept: BTreeMap::new(),
            kept_by_them: BTreeMap::new(),
            sending: None,
            said: Said::default(),
            report: Report::default(),
            progress: Progress::default(),
            failed: None,
        };
        if role == Role::Caller {
            session.queue.push_back(Out::Hello);
        }
        Ok(session)
    }

    /// Takes bytes that came, in any pieces. What they say that does not do ends the session; [`Session::outgoing`] then still has a last word
    /// for the other side.
    pub fn incoming(&mut self, bytes: &[u8]) {
        self.progress.bytes_in += bytes.len() as u64;
        if self.failed.is_some() {
            return;
        }
        self.frames.push(bytes);
        loop {
            let taken = match self.frames.next_frame() {
                Ok(None) => break,
                Ok(Some(frame)) if self.finished() => Err(WireError::Misplaced(frame.name()).into()),
                Ok(Some(frame)) => self.take(frame),
                Err(e) => Err(e.into()),
            };
            if let Err(error) = taken {
                self.fail(error);
                break;
            }
        }
        self.go_on();
    }

    /// The next bytes to send, one frame; `None` until more comes in.
    pub fn outgoing(&mut self) -> Option<Vec<u8>> {
        let bytes = match self.urgent.pop_front() {
            Some(frame) => self.stamped(frame).encode(),
            None if self.failed.is_some() => return None,
            None => match self.next_out() {
                Ok(bytes) => bytes?,
                Err(error) => {
                    self.fail(error);
                    self.urgent.pop_front()?.encode()
                }
            },
        };
        self.progress.bytes_out += bytes.len() as u64;
        self.go_on();
        Some(bytes)
    }

    /// Nothing more will come out or is expected: the session is over, well or not.
    #[must_use]
    pub fn finished(&self) -> bool {
        self.urgent.is_empty() && (self.failed.is_some() || self.stage == Stage::Over)
    }

    /// How far it is.
    #[must_use]
    pub fn progress(&self) -> &Progress {
        &self.progress
    }

    /// Everything has gone over and is on both disks, as far as this side knows; only words may be missing.
    #[must_use]
    pub fn exchanged(&self) -> bool {
        let listed = self.stage >= Stage::Days && self.said.listed && self.said.listed_by_them;
        listed && self.failed.is_none() && self.to_receive.is_empty() && self.to_be_kept.is_empty()
    }

    /// What it did; where it was cut or refused, why. What was taken before stays. Base has done all it has to once it has said that all is done:
    /// whether the answer to that came does not matter, since the caller may not call again.
    ///
    /// # Errors
    /// [`SessionError`].
    pub fn outcome(mut self) -> Result<Report, SessionError> {
        match self.failed.take() {
            Some(error) => Err(error),
            None if self.stage != Stage::Over && !self.said.done => Err(SessionError::Cut),
            None => Ok(self.into_report()),
        }
    }

    /// What was done so far, of a session that ended otherwise too.
    #[must_use]
    pub fn so_far(&self) -> &Report {
        &self.report
    }

    /// Ends the session with an error; the other side is told in a sentence.
    fn fail(&mut self, error: SessionError) {
        if self.failed.is_some() {
            return;
        }
        self.queue.clear();
        self.sending = None;
        self.urgent.clear();
        if let Some(says) = error.for_the_other_side() {
            self.urgent.push_back(Frame::Goodbye(says));
        }
        self.failed = Some(error);
    }

    fn into_report(mut self) -> Report {
        self.report.bytes_sent = self.progress.bytes_out;
        self.report.bytes_received = self.progress.bytes_in;
        self.report
    }

    /// What is known of the caller's clock against base's.
    fn offset(&self) -> Option<Offset> {
        let best = Offset::best(&self.exchanges)?;
        Some(if self.role == Role::Base { best.of_who_answers() } else { best })
    }

    fn take(&mut self, frame: Frame) -> Result<(), SessionError> {
        let misplaced = Err(WireError::Misplaced(frame.name()).into());
        match (self.stage, frame) {
            (_, Frame::Goodbye(says)) => Err(SessionError::Refused(says)),
            (Stage::Greeting, Frame::Hello(hello)) => self.greeted(hello),
            (Stage::Roster, Frame::Roster(have)) => {
                self.progress.records_there = have.len();
                self.queue.push_back(Out::Records(have));
                Ok(())
            }
            (Stage::Roster, Frame::Records(records)) => self.records_came(records),
            (Stage::Days, Frame::Days(days)) => self.days_came(days),
            (Stage::Days, Frame::Vectors(vectors)) => self.vectors_came(vectors),
            (Stage::Days, Frame::Changes(changes)) => self.changes_came(changes),
            (Stage::Days, Frame::Piece(piece)) => self.piece_came(piece),
            (Stage::Days, Frame::Signatures(signatures)) => self.signatures_came(&signatures),
            (Stage::Days, Frame::Kept(kept)) => self.kept_over_there(kept),
            (Stage::Days, Frame::Refused(day, says)) => {
                self.day_ends(day, Some(format!("refused by the other side: {says}")));
                Ok(())
            }
            (Stage::Days, Frame::Clock(stamp)) => {
                self.stamp_came(stamp);
                if self.role == Role::Caller {
                    self.urgent.push_back(Frame::Clock(Stamp { sent: 0, echo: None }));
                }
                Ok(())
            }
            (Stage::Days, Frame::Done) => {
                self.said.done_received = true;
                Ok(())
            }
            _ => misplaced,
        }
    }

    /// Notes when a stamp came; with an echo it is a whole clock exchange.
    fn stamp_came(&mut self, stamp: Stamp) {
        let now = self.host.now_ms();
        if let Some((t1_ms, t2_ms)) = stamp.echo {
            self.exchanges.push(Exchange { t1_ms, t2_ms, t3_ms: stamp.sent, t4_ms: now });
            // At once, since a session that is cut has brought changes too, and the next one may bring none.
            self.report.clock = self.offset();
        }
        self.last_stamp = Some((stamp.sent, now));
        self.clock_asked = false;
    }

    /// Frames that carry a stamp get the instant at which they leave.
    fn stamped(&self, mut frame: Frame) -> Frame {
        let now = Stamp { sent: self.host.now_ms(), echo: self.last_stamp };
        match &mut frame {
            Frame::Hello(hello) => hello.stamp = now,
            Frame::Days(days) if !days.more => days.stamp = Some(now),
            Frame::Clock(stamp) => *stamp = now,
            _ => {}
        }
        frame
    }

    fn next_out(&mut self) -> Result<Option<Vec<u8>>, SessionError> {
        loop {
            if let Some(frame) = self.more_of_day()? {
                return Ok(Some(frame));
            }
            let Some(out) = self.queue.pop_front() else { return Ok(None) };
            let frame = match out {
                Out::Hello => Some(self.hello()?),
                Out::Roster => Some(self.roster()?),
                Out::Records(have) => self.send_records(&have).map(|()| None)?,
                Out::Done => {
                    if self.role == Role::Caller {
                        self.stage = Stage::Over;
                    }
                    Some(Frame::Done)
                }
                Out::Days => self.list_days().map(|()| None)?,
                Out::Vectors(day) => {
                    let sent = self.send_vectors(day);
                    self.unless_of_the_day(day, sent)?
                }
                Out::Lacking(day) => {
                    let sent = self.send_lacking(day);
                    self.unless_of_the_day(day, sent)?
                }
                Out::Whole(day) => {
                    let sent = self.send_whole(day);
                    self.unless_of_the_day(day, sent)?
                }
            };
            if let Some(frame) = frame.or_else(|| self.urgent.pop_front()) {
                return Ok(Some(self.stamped(frame).encode()));
            }
        }
    }

    /// Looks whether everything is said; then come the clocks, and the end.
    fn go_on(&mut self) {
        let quiet = self.queue.is_empty() && self.urgent.is_empty() && self.sending.is_none();
        if self.failed.is_some() || self.stage == Stage::Over || !quiet {
            return;
        }
        if self.stage == Stage::Roster && self.handed_over() {
            self.report.rotated = true;
            self.stage = Stage::Over;
            return;
        }
        if !self.exchanged() {
            return;
        }
        if self.progress.days == 0 {
            self.stage = Stage::Over;
            return;
        }
        match self.role {
            Role::Caller if self.said.done_received => self.queue.push_back(Out::Done),
            Role::Base if self.said.done_received => self.stage = Stage::Over,
            Role::Base if self.clock_asked => {}
            Role::Base if !self.said.done => {
                let now = self.host.now_ms();
                let since = *self.clocks_since.get_or_insert(now);
                if self.exchanges.len() < EXCHANGES_MAX && (0..CLOCKS_MS).contains(&(now - since)) {
                    self.clock_asked = true;
                    self.urgent.push_back(Frame::Clock(Stamp { sent: 0, echo: None }));
                } else {
                    self.said.done = true;
                    self.queue.push_back(Out::Done);
                }
            }
            Role::Caller | Role::Base => {}
        }
    }

    fn hello(&self) -> Result<Frame, StoreError> {
        let crew = self.crew.as_ref();
        Ok(Frame::Hello(Hello {
            v: PROTOCOL,
            device: ByteArray::new(self.host.device().0),
            label: self.host.label().to_owned(),
            clock: self.host.clock_number()?,
            crew: crew.map(|c| ByteArray::new(c.ring.crew)),
            roster: crew.map(|c| ByteArray::new(c.roster.hash())),
            join: crew.and_then(|c| c.ring.joining.clone()).map(ByteBuf::from),
            old_key: self.old_key,
            stamp: Stamp { sent: 0, echo: None },
        }))
    }
}
