//! What two devices say to each other in a session, frame by frame. Told for other programs in `schemas/session.md`.
//!
//! A frame is a length (u32, big-endian, of all that follows it), a type (u8; bit 7: who does not know it may pass it over) and deflated CBOR.

use super::deflate::{LEVEL, LEVEL_PACKED, deflated, inflated};
use super::segment::Segment;
use crate::crew::RecordId;
use crate::day::{Cover, DayId, MAX_TIPS};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_bytes::{ByteArray, ByteBuf};
use std::sync::Arc;

/// The version of the protocol that this program speaks.
pub const PROTOCOL: u16 = 2;
/// The most that follows the length of a frame.
pub const FRAME_BYTES: usize = 1 << 20;
/// The most that a frame's content may inflate to.
pub const INFLATED_BYTES: usize = 8 << 20;
/// This bit of a type says that the frame may be passed over.
pub const MAY_SKIP: u8 = 0x80;

const LENGTH_BYTES: usize = 4;
const CHANGES: u8 = 6;
/// A content of at most so many bytes goes as it is: deflating would save next to nothing, and costs more than all else in the frame.
const PLAIN_BYTES: usize = 48;
/// No sentence of the other side is longer.
const SAYS_CHARS: usize = 400;

/// Why bytes are no frames of ours.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum WireError {
    /// A length out of bounds.
    #[error("the other side announced a frame of {0} bytes; at most {FRAME_BYTES} are read")]
    TooLong(u64),
    /// What does not inflate, inflates to too much, or is no CBOR of this frame.
    #[error("a frame of type {0} from the other side is damaged")]
    Damaged(u8),
    /// A type that this version does not know and may not pass over.
    #[error(
        "the other side sent a frame of type {0}, which this program does not know; install the newer program"
    )]
    Unknown(u8),
    /// A frame where none of its kind is expected.
    #[error("the other side sent a frame \"{0}\" where it makes no sense")]
    Misplaced(&'static str),
}

/// Instants of one clock exchange, milliseconds since 1970 UTC.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stamp {
    /// This frame left, by the sender's clock.
    pub sent: i64,
    /// The last stamp of the other side: when it left by that side's clock, and when it came in by this side's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub echo: Option<(i64, i64)>,
}

/// Who is there.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Hello {
    /// Version of the protocol.
    pub v: u16,
    /// The device.
    pub device: ByteArray<16>,
    /// What people call it.
    #[serde(default)]
    pub label: String,
    /// Which of its clocks it reads, as in the entries' field `clock`.
    #[serde(default)]
    pub clock: u32,
    /// The crew, where there is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crew: Option<ByteArray<16>>,
    /// Hash of the crew's records that are held.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub roster: Option<ByteArray<8>>,
    /// The record with which a new device asks to be let in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub join: Option<ByteBuf>,
    /// The channel stands on a key that is no longer the crew's: only the roster is handed over.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub old_key: bool,
    /// Clock exchange.
    pub stamp: Stamp,
}

/// Records of the crew that the other lacks.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Records {
    /// The records.
    pub records: Vec<ByteBuf>,
    /// More of them follow in another frame.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub more: bool,
}

/// Days held, and what came half before.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Days {
    /// Each day with 16 bytes of a hash of what is held of it.
    pub days: Vec<(ByteArray<16>, ByteArray<16>)>,
    /// More of them follow in another frame.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub more: bool,
    /// Documents and large changes of which the beginning is here: SHA-256 and bytes.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub begun: Vec<(ByteArray<32>, u64)>,
    /// Clock exchange.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stamp: Option<Stamp>,
}

/// How far a day is held: of each actor the number of the last change and 16 bytes of its hash.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Vectors {
    /// The day.
    pub day: ByteArray<16>,
    /// Actors, 24 bytes each, one behind the other.
    pub actors: ByteBuf,
    /// Numbers, in the same order.
    pub seqs: Vec<u64>,
    /// Hashes, 16 bytes each.
    pub hashes: ByteBuf,
    /// Of the changes that wait or are withdrawn, those that no other of their actor follows, where all before them are held: actor, number and
    /// 16 bytes of the hash.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub aside: Vec<(ByteArray<24>, u64, ByteArray<16>)>,
    /// Covering signatures that are held and do not follow from the rest, as some of their changes are missing or their key is broken: 16
    /// bytes of SHA-256 of each.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub covers: Option<ByteBuf>,
    /// More of them follow in another frame.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub more: bool,
}

/// Covering signatures of a day that the other lacks.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Signatures {
    /// The day.
    pub day: ByteArray<16>,
    /// The key of a device, its signature, and the hashes of the latest changes of its histories, 32 bytes each, sorted.
    pub signatures: Vec<(ByteArray<32>, ByteArray<64>, ByteBuf)>,
    /// More of them follow in another frame; these are kept meanwhile.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub more: bool,
}

impl Signatures {
    /// Of these covers.
    #[must_use]
    pub fn of(day: DayId, covers: &[Cover], more: bool) -> Signatures {
        let one =
            |c: &Cover| (ByteArray::new(c.key), ByteArray::new(c.signature), ByteBuf::from(c.tips.concat()));
        Signatures { day: ByteArray::new(day.0), signatures: covers.iter().map(one).collect(), more }
    }

    /// The covers, not yet checked; `None` where one is in no form that a cover has.
    #[must_use]
    pub fn covers(&self) -> Option<Vec<Cover>> {
        let one = |(key, signature, tips): &(ByteArray<32>, ByteArray<64>, ByteBuf)| {
            let (tips, rest) = tips.as_chunks::<32>();
            let bounded = rest.is_empty() && (1..=MAX_TIPS).contains(&tips.len());
            bounded.then(|| Cover { key: **key, signature: **signature, tips: tips.to_vec() })
        };
        self.signatures.iter().map(one).collect()
    }
}

/// Changes of a day, causes first.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Changes {
    /// The day.
    pub day: ByteArray<16>,
    /// The changes, as Automerge writes them.
    pub changes: Vec<ByteBuf>,
    /// Bytes of changes that are still to come for this day.
    pub left: u64,
}

/// A piece of something large.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Piece {
    /// The day.
    pub day: ByteArray<16>,
    /// What it is a piece of: one change if true, else the day's document.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub change: bool,
    /// SHA-256 of the whole.
    pub sha256: ByteArray<32>,
    /// Bytes of the whole.
    pub length: u64,
    /// Where this piece begins.
    pub at: u64,
    /// The piece.
    pub bytes: ByteBuf,
}

/// What came is on the disk.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Kept {
    /// The day.
    pub day: ByteArray<16>,
    /// Changes of it that were taken in this session, known ones included.
    pub changes: u64,
    /// All of the day has come.
    pub complete: bool,
}

/// A frame.
#[derive(Clone, Debug, PartialEq)]
pub enum Frame {
    /// Who is there.
    Hello(Hello),
    /// Records of the crew that are held, by id.
    Roster(Vec<RecordId>),
    /// Records of the crew that the other lacks.
    Records(Records),
    /// Days that are held.
    Days(Days),
    /// How far a day is held.
    Vectors(Vectors),
    /// Changes.
    Changes(Changes),
    /// A piece of a document or of a large change.
    Piece(Piece),
    /// What came is on the disk.
    Kept(Kept),
    /// A day is not taken, and why.
    Refused(DayId, String),
    /// A clock exchange.
    Clock(Stamp),
    /// All is said and done.
    Done,
    /// The session ends here, and why.
    Goodbye(String),
    /// Covering signatures.
    Signatures(Signatures),
}

impl Frame {
    /// Its type.
    #[must_use]
    pub fn number(&self) -> u8 {
        match self {
            Frame::Hello(_) => 1,
            Frame::Roster(_) => 2,
            Frame::Records(_) => 3,
            Frame::Days(_) => 4,
            Frame::Vectors(_) => 5,
            Frame::Changes(_) => CHANGES,
            Frame::Piece(_) => 7,
            Frame::Kept(_) => 8,
            Frame::Refused(..) => 9,
            Frame::Clock(_) => 10,
            Frame::Done => 11,
            Frame::Goodbye(_) => 12,
            Frame::Signatures(_) => 13,
        }
    }

    /// Its name, for messages.
    #[must_use]
    pub fn name(&self) -> &'static str {
        const NAMES: [&str; 13] = [
            "hello",
            "roster",
            "records",
            "days",
            "vectors",
            "changes",
            "piece",
            "kept",
            "refused",
            "clock",
            "done",
            "goodbye",
            "signatures",
        ];
        NAMES[usize::from(self.number()) - 1]
    }

    /// As it travels.
    #[must_use]
    pub fn encode(&self) -> Vec<u8> {
        let body = match self {
            Frame::Hello(f) => cbor(f),
            Frame::Roster(ids) => cbor(&ids.iter().map(|id| ByteArray::new(*id)).collect::<Vec<_>>()),
            Frame::Records(f) => cbor(f),
            Frame::Days(f) => cbor(f),
            Frame::Vectors(f) => cbor(f),
            Frame::Changes(f) => cbor(f),
            Frame::Piece(f) => cbor(f),
            Frame::Kept(f) => cbor(f),
            Frame::Refused(day, says) => cbor(&(ByteArray::new(day.0), says)),
            Frame::Clock(f) => cbor(f),
            Frame::Done => cbor(&()),
            Frame::Goodbye(says) => cbor(says),
            Frame::Signatures(f) => cbor(f),
        };
        let packed = matches!(self, Frame::Piece(piece) if !piece.change);
        let level = if packed { LEVEL_PACKED } else { LEVEL };
        let body = if body.len() <= PLAIN_BYTES { stored(&body, true) } else { deflated(&body, level) };
        framed(self.number(), &[&body])
    }

    /// What follows the length; `None` for a frame that may be passed over.
    fn decode(bytes: &[u8]) -> Result<Option<Frame>, WireError> {
        let Some((&number, body)) = bytes.split_first() else { return Err(WireError::Damaged(0)) };
        if !(1..=13).contains(&number) {
            return if number & MAY_SKIP != 0 { Ok(None) } else { Err(WireError::Unknown(number)) };
        }
        let body = inflated(body, INFLATED_BYTES).map_err(|_| WireError::Damaged(number))?;
        fn read<T: DeserializeOwned>(number: u8, body: &[u8]) -> Result<T, WireError> {
            ciborium::from_reader(body).map_err(|_| WireError::Damaged(number))
        }
        Ok(Some(match number {
            1 => Frame::Hello(read(number, &body)?),
            2 => {
                Frame::Roster(read::<Vec<ByteArray<16>>>(number, &body)?.into_iter().map(|id| *id).collect())
            }
            3 => Frame::Records(read(number, &body)?),
            4 => Frame::Days(read(number, &body)?),
            5 => Frame::Vectors(read(number, &body)?),
            6 => Frame::Changes(read(number, &body)?),
            7 => Frame::Piece(read(number, &body)?),
            8 => Frame::Kept(read(number, &body)?),
            9 => {
                let (day, says): (ByteArray<16>, String) = read(number, &body)?;
                Frame::Refused(DayId(*day), plain(&says))
            }
            10 => Frame::Clock(read(number, &body)?),
            11 => Frame::Done,
            12 => Frame::Goodbye(plain(&read::<String>(number, &body)?)),
            _ => Frame::Signatures(read(number, &body)?),
        }))
    }
}

/// A frame of changes, as it travels, whose changes are deflated already.
pub(super) fn changes_frame(day: DayId, segments: &[Arc<Segment>], left: usize) -> Vec<u8> {
    let mut begin = vec![CBOR_MAP_OF_3];
    begin.extend([cbor(&"day"), cbor(&ByteArray::new(day.0)), cbor(&"changes")].concat());
    begin.push(CBOR_LIST);
    let end = [vec![CBOR_END], cbor(&"left"), cbor(&(left as u64))].concat();
    let (begin, end) = (stored(&begin, false), stored(&end, true));
    let inner = segments.iter().map(|s| s.0.as_slice());
    let parts: Vec<&[u8]> = std::iter::once(&begin[..]).chain(inner).chain([&end[..]]).collect();
    framed(CHANGES, &parts)
}

/// Bytes of CBOR (RFC 8949, appendix B): a map of three, a list without a length, its end.
const CBOR_MAP_OF_3: u8 = 0xa3;
const CBOR_LIST: u8 = 0x9f;
const CBOR_END: u8 = 0xff;

/// A few bytes as a block of deflated data that is not compressed (RFC 1951, section 3.2.4).
fn stored(bytes: &[u8], last: bool) -> Vec<u8> {
    let length = bytes.len() as u16;
    let mut block = vec![u8::from(last)];
    block.extend_from_slice(&length.to_le_bytes());
    block.extend_from_slice(&(!length).to_le_bytes());
    block.extend_from_slice(bytes);
    block
}

fn framed(number: u8, parts: &[&[u8]]) -> Vec<u8> {
    let size = 1 + parts.iter().map(|p| p.len()).sum::<usize>();
    let mut bytes = Vec::with_capacity(LENGTH_BYTES + size);
    bytes.extend_from_slice(&u32::try_from(size).unwrap_or(u32::MAX).to_be_bytes());
    bytes.push(number);
    parts.iter().for_each(|p| bytes.extend_from_slice(p));
    bytes
}

/// A sentence of the other side as it may be shown: short, and nothing that moves a terminal's cursor.
#[must_use]
pub fn plain(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(SAYS_CHARS).collect()
}

/// Takes bytes as they come and gives frames.
#[derive(Debug, Default)]
pub struct Frames {
    buffer: Vec<u8>,
    from: usize,
}

impl Frames {
    /// Adds bytes.
    pub fn push(&mut self, bytes: &[u8]) {
        if self.from > 0 {
            self.buffer.drain(..self.from);
            self.from = 0;
        }
        self.buffer.extend_from_slice(bytes);
    }

    /// The next whole frame; `None` until more bytes come. Frames that may be passed over are.
    ///
    /// # Errors
    /// [`WireError`]; nothing after it can be understood.
    pub fn next_frame(&mut self) -> Result<Option<Frame>, WireError> {
        loop {
            let rest = &self.buffer[self.from..];
            let Some((length, rest)) = rest.split_first_chunk::<LENGTH_BYTES>() else { return Ok(None) };
            let length = u32::from_be_bytes(*length);
            let size = usize::try_from(length).ok().filter(|n| (1..=FRAME_BYTES).contains(n));
            let size = size.ok_or(WireError::TooLong(u64::from(length)))?;
            let Some(content) = rest.get(..size) else { return Ok(None) };
            let frame = Frame::decode(content)?;
            self.from += LENGTH_BYTES + size;
            if frame.is_some() {
                return Ok(frame);
            }
        }
    }
}

fn cbor(value: &impl Serialize) -> Vec<u8> {
    let mut bytes = Vec::new();
    // Plain data into memory: nothing of it can fail.
    let _ = ciborium::into_writer(value, &mut bytes);
    bytes
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frames() -> Vec<Frame> {
        let day = ByteArray::new([1; 16]);
        let stamp = Stamp { sent: 1_801_904_400_000, echo: Some((5, -6)) };
        vec![
            Frame::Hello(Hello {
                v: 1,
                device: ByteArray::new([2; 16]),
                label: "Obs1".to_owned(),
                clock: 1,
                crew: Some(ByteArray::new([3; 16])),
                roster: Some(ByteArray::new([4; 8])),
                join: Some(ByteBuf::from(vec![5; 300])),
                old_key: true,
                stamp,
            }),
            Frame::Roster(vec![[6; 16], [7; 16]]),
            Frame::Records(Records {
                records: vec![ByteBuf::from(vec![8; 200]), ByteBuf::new()],
                more: true,
            }),
            Frame::Days(Days {
                days: vec![(day, ByteArray::new([9; 16]))],
                more: true,
                begun: vec![(ByteArray::new([1; 32]), 77)],
                stamp: Some(stamp),
            }),
            Frame::Vectors(Vectors {
                day,
                actors: ByteBuf::from(vec![1; 48]),
                seqs: vec![1, 70_000],
                hashes: ByteBuf::from(vec![2; 32]),
                aside: vec![(ByteArray::new([4; 24]), 7, ByteArray::new([5; 16]))],
                covers: Some(ByteBuf::from(vec![3; 16])),
                more: false,
            }),
            Frame::Changes(Changes { day, changes: vec![ByteBuf::from(vec![1; 5000])], left: 3 }),
            Frame::Piece(Piece {
                day,
                change: false,
                sha256: ByteArray::new([4; 32]),
                length: 10,
                at: 2,
                bytes: ByteBuf::from(vec![1; 8]),
            }),
            Frame::Kept(Kept { day, changes: 5, complete: true }),
            Frame::Refused(DayId([1; 16]), "no".to_owned()),
            Frame::Clock(stamp),
            Frame::Done,
            Frame::Goodbye("see you".to_owned()),
            Frame::Signatures(Signatures {
                day,
                signatures: vec![(
                    ByteArray::new([1; 32]),
                    ByteArray::new([2; 64]),
                    ByteBuf::from(vec![3; 64]),
                )],
                more: true,
            }),
        ]
    }

    #[test]
    fn every_frame_reads_back_byte_by_byte() {
        let bytes: Vec<u8> = frames().iter().flat_map(Frame::encode).collect();
        let mut reader = Frames::default();
        let mut read = Vec::new();
        for byte in bytes {
            reader.push(&[byte]);
            read.extend(reader.next_frame().unwrap());
        }
        assert_eq!(read, frames());
    }

    #[test]
    fn a_frame_of_segments_reads_as_any_frame_of_changes() {
        let changes: Vec<Vec<u8>> = (0..100_u8).map(|n| vec![n; 200]).collect();
        let segments: Vec<_> = changes.chunks(30).map(|c| Arc::new(Segment::of(c))).collect();
        let mut reader = Frames::default();
        reader.push(&changes_frame(DayId([5; 16]), &segments, 70_000));
        let changes = changes.into_iter().map(ByteBuf::from).collect();
        let expected = Frame::Changes(Changes { day: ByteArray::new([5; 16]), changes, left: 70_000 });
        assert_eq!(reader.next_frame(), Ok(Some(expected)));
    }

    #[test]
    fn what_may_be_passed_over_is_and_what_may_not_is_refused() {
        let mut reader = Frames::default();
        reader.push(&[0, 0, 0, 3, 0x91, 1, 2]);
        reader.push(&Frame::Done.encode());
        assert_eq!(reader.next_frame(), Ok(Some(Frame::Done)));
        reader.push(&[0, 0, 0, 1, 0x11]);
        assert_eq!(reader.next_frame(), Err(WireError::Unknown(0x11)));
    }

    #[test]
    fn lengths_and_expansions_out_of_bounds_are_refused_at_once() {
        let first = |bytes: &[u8]| {
            let mut reader = Frames::default();
            reader.push(bytes);
            reader.next_frame()
        };
        assert_eq!(first(&[0xff, 0xff, 0xff, 0xff]), Err(WireError::TooLong(u64::from(u32::MAX))));
        assert_eq!(first(&[0, 0, 0, 0]), Err(WireError::TooLong(0)));
        let bomb = deflated(&vec![0; INFLATED_BYTES + 1], LEVEL);
        let mut frame = u32::try_from(bomb.len() + 1).unwrap().to_be_bytes().to_vec();
        frame.push(12);
        frame.extend(bomb);
        assert_eq!(first(&frame), Err(WireError::Damaged(12)));
    }

    #[test]
    fn a_frame_with_any_byte_turned_never_panics() {
        for frame in frames() {
            let good = frame.encode();
            for at in LENGTH_BYTES..good.len() {
                let mut bad = good.clone();
                bad[at] = bad[at].wrapping_add(1);
                let mut reader = Frames::default();
                reader.push(&bad);
                let _ = reader.next_frame();
            }
        }
    }

    #[test]
    fn a_sentence_of_the_other_side_moves_no_cursor() {
        assert_eq!(plain("one\x1b[2Jtwo\n"), "one[2Jtwo");
    }
}
