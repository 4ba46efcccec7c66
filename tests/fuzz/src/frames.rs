//! The input of sessions: a row of frames, not deflated. Altered, they name each other's content again, and what known keys sign is signed again.
//!
//! The first byte says how the other side is known. Each frame is its type, its length (u32, big-endian) and its content. The bit [`AS_IT_IS`]
//! in a type says that the content goes on the wire without being deflated.

use crate::alter::Alter;
use crate::{chunk, sign, tree};
use ciborium::Value;
use firnbook_core::day::Hash;
use firnbook_core::day::format::read_document;
use sha2::{Digest, Sha256};
use std::io::Write;

/// This bit of a type says that the content is not deflated on its way.
pub const AS_IT_IS: u8 = 0x40;
const PIECE: u8 = 7;

/// A frame.
#[derive(Clone, Debug)]
pub struct Frame {
    /// Its type.
    pub number: u8,
    /// CBOR, as a rule.
    pub content: Vec<u8>,
}

impl Frame {
    /// As it goes on the wire.
    #[must_use]
    pub fn wire(&self) -> Vec<u8> {
        let mut body = vec![self.number & !AS_IT_IS];
        if self.number & AS_IT_IS != 0 {
            body.extend_from_slice(&self.content);
        } else {
            let mut deflater = flate2::write::DeflateEncoder::new(&mut body, flate2::Compression::fast());
            // Writing into memory does not fail.
            let _ = deflater.write_all(&self.content);
            let _ = deflater.finish();
        }
        let mut bytes = (body.len() as u32).to_be_bytes().to_vec();
        bytes.append(&mut body);
        bytes
    }
}

/// Reads an input; frames that break off are left out.
#[must_use]
pub fn parse(data: &[u8]) -> (u8, Vec<Frame>) {
    let (setting, mut rest) = data.split_first().map_or((0, data), |(first, rest)| (*first, rest));
    let mut frames = Vec::new();
    while let Some(([number, length @ ..], after)) = rest.split_first_chunk::<5>() {
        let Some((content, after)) = after.split_at_checked(u32::from_be_bytes(*length) as usize) else {
            break;
        };
        frames.push(Frame { number: *number, content: content.to_vec() });
        rest = after;
    }
    (setting, frames)
}

/// An input of these frames.
#[must_use]
pub fn input(setting: u8, frames: &[Frame]) -> Vec<u8> {
    let mut bytes = vec![setting];
    for frame in frames {
        bytes.push(frame.number);
        bytes.extend_from_slice(&(frame.content.len() as u32).to_be_bytes());
        bytes.extend_from_slice(&frame.content);
    }
    bytes
}

/// Alters one or a few frames.
#[must_use]
pub fn altered(data: &[u8], alter: &mut Alter) -> Option<Vec<u8>> {
    let (mut setting, mut frames) = parse(data);
    if frames.is_empty() {
        return None;
    }
    let mut renamed = Vec::new();
    for _ in 0..=alter.roll(3) {
        match alter.roll(16) {
            0 => setting = alter.roll(256) as u8,
            1 | 2 => alter.list(&mut frames),
            3 => join_pieces(&mut frames),
            _ => {
                let at = alter.roll(frames.len());
                let Some(frame) = frames.get_mut(at) else { continue };
                let before = names(frame);
                alter_frame(frame, alter);
                let after = names(frame);
                if before.len() == after.len() {
                    renamed.extend(before.into_iter().zip(after).filter(|(old, new)| old != new));
                }
            }
        }
    }
    if alter.roll(8) > 0 {
        fit(&mut frames, renamed);
    }
    Some(input(setting, &frames))
}

fn alter_frame(frame: &mut Frame, alter: &mut Alter) {
    match tree::parse(&frame.content) {
        Some(mut value) if frame.number & AS_IT_IS == 0 && alter.roll(32) > 0 => {
            let day = day_of(&value);
            tree::alter(&mut value, day, alter);
            frame.content = tree::bytes(&value);
        }
        _ if alter.roll(8) == 0 => frame.number ^= [AS_IT_IS, 0x80, 1, 2, 4][alter.roll(5)],
        _ => alter.bytes(&mut frame.content),
    }
}

/// Pieces of one whole become one piece, so that what is in it can be altered by its form.
fn join_pieces(frames: &mut Vec<Frame>) {
    let mut joined: Vec<(Frame, Value)> = Vec::new();
    for frame in std::mem::take(frames) {
        let value = tree::parse(&frame.content).unwrap_or(Value::Null);
        if frame.number == PIECE
            && let Some((_, last)) = joined.iter_mut().find(|(held, last)| {
                held.number == PIECE
                    && field(last, "sha256").is_some()
                    && field(last, "sha256") == field(&value, "sha256")
            })
            && let (Some(Value::Bytes(whole)), Some(Value::Bytes(more))) =
                (field_mut(last, "bytes"), field(&value, "bytes"))
        {
            whole.extend_from_slice(more);
            continue;
        }
        joined.push((frame, value));
    }
    *frames = joined
        .into_iter()
        .map(|(frame, value)| match frame.number {
            PIECE => Frame { content: tree::bytes(&value), ..frame },
            _ => frame,
        })
        .collect();
}

/// The day that a frame is about.
pub(crate) fn day_of(value: &Value) -> [u8; 16] {
    let day = field(value, "day").and_then(Value::as_bytes);
    day.and_then(|day| day.as_slice().try_into().ok()).unwrap_or_default()
}

fn field<'a>(value: &'a Value, name: &str) -> Option<&'a Value> {
    value.as_map()?.iter().find(|(key, _)| key.as_text() == Some(name)).map(|(_, value)| value)
}

fn field_mut<'a>(value: &'a mut Value, name: &str) -> Option<&'a mut Value> {
    value.as_map_mut()?.iter_mut().find(|(key, _)| key.as_text() == Some(name)).map(|(_, value)| value)
}

/// The hashes of the changes in a frame, those of a document too.
fn names(frame: &Frame) -> Vec<Hash> {
    let mut hashes = Vec::new();
    let Some(mut value) = tree::parse(&frame.content) else { return hashes };
    let day = day_of(&value);
    tree::visit(&mut value, &mut |node| {
        let Value::Bytes(bytes) = node else { return };
        if let Ok(document) = read_document(day, bytes, &chunk::bounds()) {
            hashes.extend(document.changes.iter().map(|change| change.hash));
        } else if bytes.starts_with(&chunk::MAGIC) {
            hashes.push(hash_of(bytes));
        }
    });
    hashes
}

/// The hash of a change's chunk.
fn hash_of(chunk: &[u8]) -> Hash {
    Sha256::digest(chunk.get(8..).unwrap_or_default()).into()
}

/// Names what has another hash now by that hash, makes the hashes of pieces right, and signs again.
fn fit(frames: &mut [Frame], mut renamed: Vec<(Hash, Hash)>) {
    const ROUNDS: usize = 3;
    let mut values: Vec<Option<Value>> = frames.iter().map(|frame| tree::parse(&frame.content)).collect();
    for _ in 0..ROUNDS {
        let known = renamed.len();
        values.iter_mut().flatten().for_each(|value| rename(value, &mut renamed));
        if renamed.len() == known {
            break;
        }
    }
    for (frame, value) in frames.iter_mut().zip(values) {
        if let Some(mut value) = value.filter(|_| frame.number & AS_IT_IS == 0) {
            if frame.number == PIECE {
                fit_piece(&mut value);
            }
            let day = day_of(&value);
            sign::histories(&mut value, &day, &[]);
            frame.content = tree::bytes(&value);
        }
    }
}

/// A piece that is a whole says so again.
fn fit_piece(piece: &mut Value) {
    let Some(Value::Bytes(bytes)) = field(piece, "bytes") else { return };
    if !chunk::is_whole(bytes) {
        return;
    }
    let (sha256, length) = (Sha256::digest(bytes).to_vec(), bytes.len());
    for (name, now) in [("sha256", Value::Bytes(sha256)), ("length", (length as u64).into())] {
        if let Some(said) = field_mut(piece, name) {
            *said = now;
        }
    }
}

/// Replaces hashes, whole ones and the first 16 bytes of others. A change that gets another hash by that is renamed too.
fn rename(value: &mut Value, renamed: &mut Vec<(Hash, Hash)>) {
    tree::visit(value, &mut |node| {
        let Value::Bytes(bytes) = node else { return };
        if !bytes.starts_with(&chunk::MAGIC) {
            replace(bytes, renamed);
        } else if chunk::is_whole(bytes) {
            let before = hash_of(bytes);
            if replace(bytes, renamed) {
                chunk::fit(bytes);
                renamed.push((before, hash_of(bytes)));
            }
        }
    });
}

fn replace(bytes: &mut [u8], renamed: &[(Hash, Hash)]) -> bool {
    const SHORT: usize = 16;
    let mut replaced = false;
    for (old, new) in renamed {
        let mut at = 0;
        while let Some(found) =
            bytes.get(at..).and_then(|rest| rest.windows(SHORT).position(|w| *w == old[..SHORT]))
        {
            at += found;
            let length = if bytes[at..].starts_with(old) { old.len() } else { SHORT };
            bytes[at..at + length].copy_from_slice(&new[..length]);
            at += length;
            replaced = true;
        }
    }
    replaced
}
