//! Days in a session: which differ, what each side lacks, sending it in growing pieces, taking it in and confirming it.

use super::super::bounds::LIMITS;
use super::super::pack::day_of;
use super::super::segment;
use super::super::wire::{Changes, Days, Frame, Kept, Piece, Vectors, WireError, changes_frame};
use super::{NotExchanged, Out, Session, SessionError};
use crate::day::DayId;
use crate::store::{Incoming, StoreError, Taken};
use automerge::ChangeHash;
use serde_bytes::{ByteArray, ByteBuf};
use sha2::{Digest, Sha256};
use std::collections::{HashMap, VecDeque};
use std::sync::Arc;

/// The first piece of a document or of a large change, in bytes; each next one is twice as large. So a link that is cut every few kilobytes
/// still gets on, and a good one is soon at full speed.
const FIRST_PIECE: usize = 1 << 10;
/// The first changes in one frame, likewise: in company they deflate to a third or less.
const FIRST_CHANGES: usize = 6 << 10;
/// The largest piece: well below the bounds of a frame, and one transaction of the other side.
const LARGEST_PIECE: usize = 256 << 10;
/// No more than this goes in as few segments as the frames allow, which makes it smallest; what is more is likely to be lacked by others too.
const FEW: u64 = 64 << 10;
/// A change larger than this goes in pieces of its own, so that it too survives cuts.
const LARGE_CHANGE: usize = 16 << 10;
/// Days in one frame.
const DAYS_A_FRAME: usize = 10_000;
/// Actors in one frame.
const ACTORS_A_FRAME: usize = 20_000;
const ACTOR_BYTES: usize = 16;
const HASH_BYTES: usize = 8;

/// What is being sent of one day.
pub(super) struct Outgoing {
    day: DayId,
    step: usize,
    what: Sending,
}

enum Sending {
    /// Changes still to go, each with its number in the store and its bytes, and the sum of these.
    Changes { changes: VecDeque<(i64, usize)>, left: usize },
    /// A document, or a large change and the changes that go after it.
    Whole { bytes: Arc<Vec<u8>>, sha256: [u8; 32], at: usize, then: Option<(VecDeque<(i64, usize)>, usize)> },
}

/// How far the other side holds a day, as far as it has said by now.
#[derive(Default)]
pub(super) struct TheirVector(HashMap<Vec<u8>, u64>);

impl Session {
    pub(super) fn list_days(&mut self) -> Result<(), SessionError> {
        let (heads, begun) = {
            let shelf = self.host.shelf();
            (shelf.store.all_heads()?, shelf.begun())
        };
        self.listed = heads.iter().map(|(day, heads)| (*day, hash_of(heads))).collect();
        let listed: Vec<_> =
            self.listed.iter().map(|(day, hash)| (ByteArray::new(day.0), ByteArray::new(*hash))).collect();
        let mut frames: Vec<Days> = listed
            .chunks(DAYS_A_FRAME)
            .map(|days| Days { days: days.to_vec(), more: true, ..Days::default() })
            .collect();
        if frames.is_empty() {
            frames.push(Days::default());
        }
        if let Some(last) = frames.last_mut() {
            last.more = false;
            last.begun = begun.iter().map(|(sha256, n)| (ByteArray::new(*sha256), *n as u64)).collect();
        }
        self.urgent.extend(frames.into_iter().map(Frame::Days));
        self.said.listed = true;
        self.compare();
        Ok(())
    }

    pub(super) fn days_came(&mut self, days: Days) -> Result<(), SessionError> {
        if self.said.listed_by_them {
            return Err(WireError::Misplaced("days").into());
        }
        self.listed_by_them.extend(days.days.iter().map(|(day, hash)| (DayId(**day), **hash)));
        self.begun_by_them.extend(days.begun.iter().map(|(sha256, n)| (**sha256, *n)));
        self.progress.begun_there = self.begun_by_them.values().sum();
        if let Some(stamp) = days.stamp {
            self.stamp_came(stamp);
        }
        if !days.more {
            self.said.listed_by_them = true;
            self.compare();
        }
        Ok(())
    }

    /// Once both lists are there: what is to be done for each day that differs.
    fn compare(&mut self) {
        if !self.said.listed || !self.said.listed_by_them {
            return;
        }
        for (day, hash) in &self.listed {
            match self.listed_by_them.remove(day) {
                Some(theirs) if theirs == *hash => continue,
                Some(_) => {
                    self.to_receive.insert(*day);
                    self.queue.push_back(Out::Vectors(*day));
                }
                None => self.queue.push_back(Out::Whole(*day)),
            }
            self.to_be_kept.insert(*day);
            self.progress.days += 1;
        }
        self.progress.days += self.listed_by_them.len();
        self.to_receive.extend(self.listed_by_them.keys());
    }

    pub(super) fn send_vectors(&mut self, day: DayId) -> Result<(), SessionError> {
        let reached = self.host.shelf().store.vector(day)?;
        // Actors of other lengths are foreign programs'; their changes go each time and are known there.
        let ours: Vec<_> = reached.iter().filter(|r| r.actor.len() == ACTOR_BYTES).collect();
        let mut frames: Vec<Vectors> = ours
            .chunks(ACTORS_A_FRAME)
            .map(|part| Vectors {
                day: ByteArray::new(day.0),
                actors: ByteBuf::from(part.iter().flat_map(|r| r.actor.clone()).collect::<Vec<u8>>()),
                seqs: part.iter().map(|r| r.seq).collect(),
                hashes: ByteBuf::from(
                    part.iter().flat_map(|r| r.hash.0[..HASH_BYTES].to_vec()).collect::<Vec<u8>>(),
                ),
                more: true,
            })
            .collect();
        match frames.last_mut() {
            Some(last) => last.more = false,
            None => frames.push(Vectors { day: ByteArray::new(day.0), ..Vectors::default() }),
        }
        self.urgent.extend(frames.into_iter().map(Frame::Vectors));
        Ok(())
    }

    pub(super) fn vectors_came(&mut self, vectors: Vectors) -> Result<(), SessionError> {
        let day = DayId(*vectors.day);
        let sizes = (vectors.actors.len(), vectors.hashes.len());
        let n = vectors.seqs.len();
        if !self.to_be_kept.contains(&day) || sizes != (n * ACTOR_BYTES, n * HASH_BYTES) {
            return self.unless_ended(day, "vectors");
        }
        let places = vectors.actors.chunks_exact(ACTOR_BYTES).zip(vectors.seqs.iter().copied());
        let held = self.host.shelf().store.hashes_at(day, places.clone())?;
        let theirs = places.zip(vectors.hashes.chunks_exact(HASH_BYTES));
        for (((actor, seq), hash), held) in theirs.zip(held) {
            if held.is_some_and(|ours| ours.0[..HASH_BYTES] != *hash) {
                let says = StoreError::Fork { actor: crate::crew::hex(actor), seq }.to_string();
                self.refuse(day, says);
                return Ok(());
            }
            self.vectors.entry(day).or_default().0.insert(actor.to_vec(), seq);
        }
        if !vectors.more {
            self.queue.push_back(Out::Lacking(day));
        }
        Ok(())
    }

    pub(super) fn send_lacking(&mut self, day: DayId) -> Result<(), SessionError> {
        if !self.to_be_kept.contains(&day) {
            return Ok(());
        }
        let theirs = self.vectors.remove(&day).unwrap_or_default();
        let changes = self.host.shelf().store.past(day, &theirs.0)?;
        let left: usize = changes.iter().map(|(_, bytes)| bytes).sum();
        self.progress.to_send += left as u64;
        let what = Sending::Changes { changes: changes.into(), left };
        self.sending = Some(Outgoing { day, step: FIRST_CHANGES, what });
        Ok(())
    }

    pub(super) fn send_whole(&mut self, day: DayId) -> Result<(), SessionError> {
        if !self.to_be_kept.contains(&day) {
            return Ok(());
        }
        let served = self.host.shelf().document(day)?;
        if served.bytes.len() > LIMITS.day_bytes {
            self.refuse(day, "the day is larger than any that is read".to_owned());
            return Ok(());
        }
        self.progress.to_send += served.bytes.len() as u64;
        let at = self.resume_at(&served.sha256, served.bytes.len());
        let what = Sending::Whole { bytes: served.bytes, sha256: served.sha256, at, then: None };
        self.sending = Some(Outgoing { day, step: FIRST_PIECE, what });
        Ok(())
    }

    /// Where to go on with something that the other side has the beginning of.
    fn resume_at(&mut self, sha256: &[u8; 32], length: usize) -> usize {
        let begun = self.begun_by_them.get(sha256).and_then(|n| usize::try_from(*n).ok());
        let at = begun.filter(|n| *n < length).unwrap_or(0);
        self.progress.sent += at as u64;
        at
    }

    /// The next frame of the day that is being sent, as it travels.
    pub(super) fn more_of_day(&mut self) -> Result<Option<Vec<u8>>, SessionError> {
        let Some(mut sending) = self.sending.take() else { return Ok(None) };
        let step = sending.step;
        sending.step = (step * 2).min(LARGEST_PIECE);
        match sending.what {
            Sending::Changes { changes, left } => self.more_changes(sending.day, changes, left, step),
            Sending::Whole { bytes, sha256, at, then } => {
                let end = (at + step).min(bytes.len());
                let piece = Piece {
                    day: ByteArray::new(sending.day.0),
                    change: then.is_some(),
                    sha256: ByteArray::new(sha256),
                    length: bytes.len() as u64,
                    at: at as u64,
                    bytes: ByteBuf::from(bytes[at..end].to_vec()),
                };
                self.progress.sent += (end - at) as u64;
                if end < bytes.len() {
                    sending.what = Sending::Whole { bytes, sha256, at: end, then };
                    self.sending = Some(sending);
                } else if let Some((changes, left)) = then {
                    sending.what = Sending::Changes { changes, left };
                    self.sending = Some(sending);
                }
                Ok(Some(Frame::Piece(piece).encode()))
            }
        }
    }

    /// The next frame of changes, up to `step` bytes; or the first piece, where a large one is next.
    fn more_changes(
        &mut self,
        day: DayId,
        mut changes: VecDeque<(i64, usize)>,
        mut left: usize,
        step: usize,
    ) -> Result<Option<Vec<u8>>, SessionError> {
        if let Some((number, size)) = changes.front().copied()
            && size > LARGE_CHANGE
        {
            changes.pop_front();
            let read = self.host.shelf().store.changes_numbered(&[number])?;
            let bytes = Arc::new(read.into_iter().next().unwrap_or_default());
            let sha256: [u8; 32] = Sha256::digest(bytes.as_slice()).into();
            let at = self.resume_at(&sha256, size);
            let what = Sending::Whole { bytes, sha256, at, then: Some((changes, left - size)) };
            self.sending = Some(Outgoing { day, step: FIRST_PIECE, what });
            return self.more_of_day();
        }
        let mut segments = Vec::new();
        let mut bytes = 0;
        {
            let mut shelf = self.host.shelf();
            while bytes == 0 || bytes < step {
                let small = changes.iter().copied().take_while(|(_, size)| *size <= LARGE_CHANGE);
                let next = segment::length(small, step - bytes, self.progress.to_send > FEW);
                let fits = changes.front().is_some_and(|(_, size)| bytes == 0 || bytes + size <= step);
                if next == 0 || !fits {
                    break;
                }
                let taken: Vec<(i64, usize)> = changes.drain(..next).collect();
                let numbers: Vec<i64> = taken.iter().map(|(number, _)| *number).collect();
                segments.push(shelf.segment(&numbers)?);
                bytes += taken.iter().map(|(_, size)| size).sum::<usize>();
            }
        }
        left -= bytes;
        self.progress.sent += bytes as u64;
        if !changes.is_empty() {
            let what = Sending::Changes { changes, left };
            self.sending = Some(Outgoing { day, step: (step * 2).min(LARGEST_PIECE), what });
        }
        // None left is what tells that this is the last frame.
        let left = if self.sending.is_some() { left.max(1) } else { 0 };
        Ok(Some(changes_frame(day, &segments, left)))
    }

    pub(super) fn changes_came(&mut self, changes: Changes) -> Result<(), SessionError> {
        let day = DayId(*changes.day);
        if !self.to_receive.contains(&day) {
            return self.unless_ended(day, "changes");
        }
        let bytes: u64 = changes.changes.iter().map(|c| c.len() as u64).sum();
        self.progress.received += bytes;
        self.progress.to_receive = self.progress.to_receive.max(self.progress.received + changes.left);
        let count = changes.changes.len() as u64;
        let complete = changes.left == 0;
        if count > 0 {
            let list = changes.changes.into_iter().map(ByteBuf::into_vec).collect();
            let taken = self.host.shelf().store.receive(day, list);
            if !self.taken(day, taken, count)? {
                return Ok(());
            }
        }
        self.confirm(day, complete);
        Ok(())
    }

    pub(super) fn piece_came(&mut self, piece: Piece) -> Result<(), SessionError> {
        let day = DayId(*piece.day);
        if !self.to_receive.contains(&day) {
            return self.unless_ended(day, "piece");
        }
        let misplaced = || SessionError::from(WireError::Misplaced("piece"));
        let bounded = |n: u64| usize::try_from(n).ok().filter(|n| *n <= LIMITS.day_bytes);
        let (length, at) =
            (bounded(piece.length).ok_or_else(misplaced)?, bounded(piece.at).ok_or_else(misplaced)?);
        let came = piece.bytes.len() as u64;
        self.progress.received += came;
        let left = piece.length.saturating_sub(piece.at + came);
        self.progress.to_receive = self.progress.to_receive.max(self.progress.received + left);
        let whole =
            self.host.shelf().piece(*piece.sha256, length, at, &piece.bytes).map_err(|_| misplaced())?;
        let Some(whole) = whole else { return Ok(()) };
        if Sha256::digest(&whole).as_slice() != piece.sha256.as_slice() {
            self.refuse(day, "what came in pieces is not what was announced; do it again".to_owned());
            return Ok(());
        }
        if piece.change {
            let taken = self.host.shelf().store.receive(day, vec![whole]);
            if self.taken(day, taken, 1)? {
                self.confirm(day, false);
            }
            return Ok(());
        }
        let document = match day_of(&whole, day) {
            Ok(document) => document,
            Err(why) => {
                self.refuse(day, why.to_string());
                return Ok(());
            }
        };
        let changes = document.changes();
        drop((whole, document));
        let count = changes.len() as u64;
        let incoming = vec![Incoming { day, changes, causally_complete: true }];
        let taken = self.host.shelf().store.take_in(incoming, false);
        let taken = taken.map(|t| t.into_iter().next().unwrap_or_default());
        if self.taken(day, taken, count)? {
            self.confirm(day, true);
        }
        Ok(())
    }

    /// Notes what taking in did. What is wrong with the day ends the day only; what is wrong with the store ends the session. `true`: it is kept.
    fn taken(
        &mut self,
        day: DayId,
        taken: Result<Taken, StoreError>,
        count: u64,
    ) -> Result<bool, SessionError> {
        match taken {
            Ok(taken) => {
                *self.kept.entry(day).or_default() += count;
                self.report.received += taken.new_changes as u64;
                self.report.new_entries += taken.new_entries;
                self.report.amended += taken.amended;
                if taken.new_changes > 0 && !self.report.days_received.contains(&day) {
                    self.report.days_received.push(day);
                }
                Ok(true)
            }
            Err(
                e @ (StoreError::Fork { .. }
                | StoreError::DamagedChange(_)
                | StoreError::Day(_)
                | StoreError::NoDay(_)),
            ) => {
                self.refuse(day, e.to_string());
                Ok(false)
            }
            Err(e) => Err(e.into()),
        }
    }

    /// Says that what came is on the disk.
    fn confirm(&mut self, day: DayId, complete: bool) {
        let changes = self.kept.get(&day).copied().unwrap_or(0);
        self.urgent.push_back(Frame::Kept(Kept { day: ByteArray::new(day.0), changes, complete }));
        if complete {
            self.to_receive.remove(&day);
            self.day_may_end(day);
        }
    }

    pub(super) fn kept_over_there(&mut self, kept: Kept) -> Result<(), SessionError> {
        let day = DayId(*kept.day);
        if !self.to_be_kept.contains(&day) {
            return self.unless_ended(day, "kept");
        }
        // What is confirmed counts at once: the connection may be cut before the rest.
        let before = self.kept_by_them.insert(day, kept.changes).unwrap_or(0);
        self.report.sent += kept.changes.saturating_sub(before);
        if kept.complete {
            self.to_be_kept.remove(&day);
            self.day_may_end(day);
        }
        Ok(())
    }

    fn day_may_end(&mut self, day: DayId) {
        if !self.to_receive.contains(&day) && !self.to_be_kept.contains(&day) {
            self.day_ends(day, None);
        }
    }

    /// A day is not exchanged; the other side is told.
    fn refuse(&mut self, day: DayId, says: String) {
        self.urgent.push_back(Frame::Refused(day, says.clone()));
        self.day_ends(day, Some(says));
    }

    pub(super) fn day_ends(&mut self, day: DayId, refused: Option<String>) {
        self.to_receive.remove(&day);
        self.to_be_kept.remove(&day);
        self.vectors.remove(&day);
        if self.sending.as_ref().is_some_and(|s| s.day == day) {
            self.sending = None;
        }
        if self.report.days.contains(&day) || self.report.refused.iter().any(|r| r.day == day) {
            return;
        }
        self.progress.days_done += 1;
        match refused {
            Some(why) => self.report.refused.push(NotExchanged { day, why }),
            None => self.report.days.push(day),
        }
    }

    /// A frame about a day that was refused meanwhile is passed over; about any other day it makes no sense.
    fn unless_ended(&self, day: DayId, frame: &'static str) -> Result<(), SessionError> {
        if self.report.refused.iter().any(|r| r.day == day) {
            return Ok(());
        }
        Err(WireError::Misplaced(frame).into())
    }
}

/// 8 bytes of a hash of sorted heads.
fn hash_of(heads: &[ChangeHash]) -> [u8; HASH_BYTES] {
    let hash = heads.iter().fold(Sha256::new(), |hash, head| hash.chain_update(head.0)).finalize();
    let mut short = [0; HASH_BYTES];
    short.copy_from_slice(&hash[..HASH_BYTES]);
    short
}
