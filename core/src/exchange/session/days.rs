//! Days in a session: which differ, what each side lacks, sending it in growing pieces, taking it in and confirming it.

use super::super::bounds::{LIMITS, day_bounds};
use super::super::pack::document_of;
use super::super::segment;
use super::super::wire::{Changes, Days, Frame, Kept, Piece, Signatures, Vectors, WireError, changes_frame};
use super::{NotExchanged, Out, Session, SessionError};
use crate::day::format::read_change;
use crate::day::{Actor, Beginning, Change, Cover, DayId, Hash};
use crate::store::{Incoming, Reached, StoreError, Taken};
use serde_bytes::{ByteArray, ByteBuf};
use sha2::{Digest, Sha256};
use std::collections::VecDeque;
use std::sync::Arc;

/// The first piece of a document or of a large change, in bytes; each next one is twice as large. So a link that is cut every few kilobytes
/// still gets on, and a good one is soon at full speed.
const FIRST_PIECE: usize = 1 << 10;
/// The first changes in one frame, likewise: in company they deflate to a half or less.
const FIRST_CHANGES: usize = 3 << 10;
/// The largest piece: well below the bounds of a frame, and one transaction of the other side.
const LARGEST_PIECE: usize = 256 << 10;
/// No more than this goes in as few segments as the frames allow, which makes it smallest; what is more is likely to be lacked by others too.
const FEW: u64 = 64 << 10;
/// A change larger than this goes in pieces of its own, so that it too survives cuts.
const LARGE_CHANGE: usize = 16 << 10;
/// Days in one frame.
const DAYS_A_FRAME: usize = 10_000;
/// Actors, changes held aside and signatures that one frame of vectors names, of each.
const NAMED_A_FRAME: usize = 8_000;
/// So many bytes of a hash are compared: whoever owns a key could make two changes that agree in 8.
const HASH_BYTES: usize = 16;
/// Covering signatures in the first frame of them, some 140 bytes each; each next frame has twice as many.
const FIRST_COVERS: usize = 2;
/// The most in one frame.
const COVERS_A_FRAME: usize = 1_000;

/// What is being sent of one day: first the changes that wait here or are withdrawn, then the rest.
pub(super) struct Outgoing {
    day: DayId,
    step: usize,
    aside: VecDeque<Vec<u8>>,
    what: Sending,
}

enum Sending {
    /// Changes still to go, each with its number in the store and its bytes, and the sum of these.
    Changes { changes: VecDeque<(i64, usize)>, left: usize },
    /// A document, or a large change and what goes after it.
    Whole { bytes: Arc<Vec<u8>>, sha256: [u8; 32], at: usize, then: Option<Box<Sending>> },
}

impl Session {
    pub(super) fn list_days(&mut self) -> Result<(), SessionError> {
        let (heads, begun) = {
            let shelf = self.host.shelf();
            (shelf.store.all_digests()?, shelf.begun())
        };
        self.listed = heads.iter().map(|(day, digest)| (*day, short(digest))).collect();
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
        self.progress.begun_there = self.begun_by_them.values().fold(0, |sum, n| sum.saturating_add(*n));
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
        let vector = self.host.shelf().store.vector(day)?;
        let longest = vector.reached.len().max(vector.aside.len()).max(vector.covers.len());
        let count = longest.div_ceil(NAMED_A_FRAME).max(1);
        let frame = |n: usize| {
            let reached = part(&vector.reached, n);
            let end =
                |r: &Reached| (ByteArray::new(r.actor.0), u64::from(r.seq), ByteArray::new(short(&r.hash)));
            let covers = part(&vector.covers, n);
            Frame::Vectors(Vectors {
                day: ByteArray::new(day.0),
                actors: ByteBuf::from(reached.iter().flat_map(|r| r.actor.0).collect::<Vec<u8>>()),
                seqs: reached.iter().map(|r| u64::from(r.seq)).collect(),
                hashes: ByteBuf::from(reached.iter().flat_map(|r| short(&r.hash)).collect::<Vec<u8>>()),
                aside: part(&vector.aside, n).iter().map(end).collect(),
                covers: (!covers.is_empty()).then(|| ByteBuf::from(covers.concat())),
                more: n + 1 < count,
            })
        };
        self.urgent.extend((0..count).map(frame));
        Ok(())
    }

    pub(super) fn vectors_came(&mut self, vectors: Vectors) -> Result<(), SessionError> {
        let day = DayId(*vectors.day);
        let sizes = (vectors.actors.len(), vectors.hashes.len());
        let n = vectors.seqs.len();
        if !self.to_be_kept.contains(&day) || sizes != (n * Actor::BYTES, n * HASH_BYTES) {
            return self.unless_ended(day, "vectors");
        }
        let actors = vectors.actors.as_chunks::<{ Actor::BYTES }>().0.iter();
        let hashes = vectors.hashes.as_chunks::<HASH_BYTES>().0.iter();
        let theirs = self.vectors.entry(day).or_default();
        let seq = |seq: u64| u32::try_from(seq).unwrap_or(u32::MAX);
        for ((actor, n), hash) in actors.zip(&vectors.seqs).zip(hashes) {
            theirs.reached.insert(Actor(*actor), (seq(*n), *hash));
        }
        theirs.aside.extend(vectors.aside.iter().map(|(actor, n, hash)| (Actor(**actor), seq(*n), **hash)));
        theirs.covers.extend(vectors.covers.iter().flat_map(|c| c.as_chunks::<HASH_BYTES>().0));
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
        let lacking = self.host.shelf().store.lacking(day, &theirs)?;
        self.send_covers(day, &lacking.covers);
        let left: usize = lacking.changes.iter().map(|(_, bytes)| bytes).sum();
        let aside: VecDeque<Vec<u8>> = lacking.aside.into_iter().map(|c| c.bytes).collect();
        self.progress.to_send += (left + aside.iter().map(Vec::len).sum::<usize>()) as u64;
        let what = Sending::Changes { changes: lacking.changes.into(), left };
        self.sending = Some(Outgoing { day, step: FIRST_CHANGES, aside, what });
        Ok(())
    }

    /// Signatures go before the changes that they cover, so that the last of these count at once.
    fn send_covers(&mut self, day: DayId, mut covers: &[Cover]) {
        let mut most = FIRST_COVERS;
        while !covers.is_empty() {
            let (part, rest) = covers.split_at(most.min(covers.len()));
            self.urgent.push_back(Frame::Signatures(Signatures::of(day, part, !rest.is_empty())));
            (covers, most) = (rest, (most * 2).min(COVERS_A_FRAME));
        }
    }

    pub(super) fn signatures_came(&mut self, signatures: &Signatures) -> Result<(), SessionError> {
        let day = DayId(*signatures.day);
        if !self.to_receive.contains(&day) {
            return self.unless_ended(day, "signatures");
        }
        let came = signatures.covers().ok_or(WireError::Damaged(13))?;
        let count = came.len();
        let held = self.covers.entry(day).or_default();
        held.extend(came);
        if held.len() + self.progress.signatures > LIMITS.covers {
            return Err(WireError::Misplaced("signatures").into());
        }
        // The last ones are kept with the changes that follow; of many, those before are on the disk if the link is cut.
        if signatures.more && self.take_in(day, None, Vec::new())? {
            self.progress.signatures += count;
        }
        Ok(())
    }

    pub(super) fn send_whole(&mut self, day: DayId) -> Result<(), SessionError> {
        if !self.to_be_kept.contains(&day) {
            return Ok(());
        }
        let served = self.host.shelf().document(day)?;
        if served.bytes.len() > day_bounds().bytes {
            self.refuse(day, "the day is larger than any that is read".to_owned());
            return Ok(());
        }
        self.send_covers(day, &served.covers);
        let aside: VecDeque<Vec<u8>> = served.aside.iter().map(|c| c.bytes.clone()).collect();
        self.progress.to_send += (served.bytes.len() + aside.iter().map(Vec::len).sum::<usize>()) as u64;
        let at = self.resume_at(&served.sha256, served.bytes.len());
        let what = Sending::Whole { bytes: served.bytes, sha256: served.sha256, at, then: None };
        self.sending = Some(Outgoing { day, step: FIRST_PIECE, aside, what });
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
        if let Some(bytes) = sending.aside.pop_front() {
            return self.one_aside(sending, bytes).map(Some);
        }
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
                } else if let Some(then) = then {
                    (sending.what, sending.step) = (*then, FIRST_CHANGES);
                    self.sending = Some(sending);
                }
                Ok(Some(Frame::Piece(piece).encode()))
            }
        }
    }

    /// The frame of a change that waits here or is withdrawn; a large one goes in pieces, as any other.
    fn one_aside(&mut self, mut sending: Outgoing, bytes: Vec<u8>) -> Result<Vec<u8>, SessionError> {
        let day = sending.day;
        if bytes.len() > LARGE_CHANGE {
            let sha256: [u8; 32] = Sha256::digest(&bytes).into();
            let at = self.resume_at(&sha256, bytes.len());
            let then = Some(Box::new(sending.what));
            sending.what = Sending::Whole { bytes: Arc::new(bytes), sha256, at, then };
            let aside = std::mem::take(&mut sending.aside);
            self.sending = Some(sending);
            let frame = self.more_of_day()?.unwrap_or_default();
            if let Some(sending) = &mut self.sending {
                sending.aside = aside;
            }
            return Ok(frame);
        }
        self.progress.sent += bytes.len() as u64;
        self.sending = Some(sending);
        let changes = vec![ByteBuf::from(bytes)];
        // More follows in any case: what ends the day is the last frame of the rest.
        Ok(Frame::Changes(Changes { day: ByteArray::new(day.0), changes, left: 1 }).encode())
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
            let then = Sending::Changes { changes, left: left - size };
            let what = Sending::Whole { bytes, sha256, at, then: Some(Box::new(then)) };
            self.sending = Some(Outgoing { day, step: FIRST_PIECE, aside: VecDeque::new(), what });
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
            let step = (step * 2).min(LARGEST_PIECE);
            self.sending = Some(Outgoing { day, step, aside: VecDeque::new(), what });
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
        // What is still to come is only a claim, and may be any number.
        let all = self.progress.received.saturating_add(changes.left);
        self.progress.to_receive = self.progress.to_receive.max(all);
        let count = changes.changes.len() as u64;
        let complete = changes.left == 0;
        let list: Vec<Vec<u8>> = changes.changes.into_iter().map(ByteBuf::into_vec).collect();
        if (count > 0 || self.covers.contains_key(&day)) && !self.receive(day, None, &list)? {
            return Ok(());
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
        let most = day_bounds().bytes;
        let bounded = |n: u64| usize::try_from(n).ok().filter(|n| *n <= most);
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
            if self.receive(day, None, &[whole])? {
                self.confirm(day, false);
            }
            return Ok(());
        }
        match document_of(day, &whole) {
            Ok((content, _)) => {
                drop(whole);
                if self.take_in(day, Some(content.beginning), content.changes)? {
                    self.confirm(day, true);
                }
            }
            Err(why) => self.refuse(day, why.to_string()),
        }
        Ok(())
    }

    /// Reads changes strictly and takes them in, with the signatures that came for the day. `true`: they are kept.
    fn receive(
        &mut self,
        day: DayId,
        beginning: Option<Beginning>,
        bytes: &[Vec<u8>],
    ) -> Result<bool, SessionError> {
        match bytes.iter().map(|b| read_change(day.0, b)).collect::<Result<Vec<Change>, _>>() {
            Ok(changes) => self.take_in(day, beginning, changes),
            Err(why) => {
                self.refuse(day, why.to_string());
                Ok(false)
            }
        }
    }

    fn take_in(
        &mut self,
        day: DayId,
        beginning: Option<Beginning>,
        changes: Vec<Change>,
    ) -> Result<bool, SessionError> {
        let count = changes.len() as u64;
        let covers = self.covers.remove(&day).unwrap_or_default();
        let taken =
            self.host.shelf().store.take_in(vec![Incoming { day, beginning, changes, covers }], false);
        self.taken(day, taken.map(|mut days| days.pop()), count)
    }

    /// Notes what taking in did. What is wrong with the day ends the day only; what is wrong with the store ends the session. `true`: it is kept.
    fn taken(
        &mut self,
        day: DayId,
        taken: Result<Option<Taken>, StoreError>,
        count: u64,
    ) -> Result<bool, SessionError> {
        match taken {
            Ok(None) => Ok(false),
            Ok(Some(taken)) => {
                *self.kept.entry(day).or_default() += count;
                self.report.received += taken.new_changes as u64;
                self.report.new_entries += taken.new_entries;
                self.report.amended += taken.amended;
                if taken.new_changes > 0 && !self.report.days_received.contains(&day) {
                    self.report.days_received.push(day);
                }
                Ok(true)
            }
            Err(e) if e.is_of_the_day() => {
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
        self.report.sent = self.report.sent.saturating_add(kept.changes.saturating_sub(before));
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

    /// A day of this store that is damaged is refused by itself; the others go over.
    pub(super) fn unless_of_the_day(
        &mut self,
        day: DayId,
        sent: Result<(), SessionError>,
    ) -> Result<Option<Frame>, SessionError> {
        match sent {
            Err(SessionError::Store(e)) if e.is_of_the_day() => {
                self.refuse(day, e.to_string());
                Ok(None)
            }
            other => other.map(|()| None),
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
        self.covers.remove(&day);
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

/// The bytes of a hash that are compared.
fn short(hash: &Hash) -> [u8; HASH_BYTES] {
    let mut short = [0; HASH_BYTES];
    short.copy_from_slice(&hash[..HASH_BYTES]);
    short
}

/// The part of a list that one frame of vectors holds.
fn part<T>(list: &[T], n: usize) -> &[T] {
    list.chunks(NAMED_A_FRAME).nth(n).unwrap_or_default()
}
