//! Bounds of what is read from outside, checked before Automerge sees a byte: a few bytes may claim to be very much.
//!
//! A saved document is one chunk: magic, checksum, type, length, then actors, heads, the columns of changes and the columns of operations, each
//! perhaps deflated, run-length encoded inside (Automerge binary format, <https://automerge.org/automerge-binary-format-spec/>).

use super::deflate::{Unread, inflated};

/// What is taken from outside at the most.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// A pack: a season of a large team is a few MiB; more is no pack of ours, and it must fit into memory.
    pub pack_bytes: usize,
    /// A day's document, inflated: 10,000 entries and 20 long tracks take about 10 MiB.
    pub day_bytes: usize,
    /// Operations of a day: each costs some 100 bytes of memory when loaded.
    pub day_operations: u64,
}

/// The bounds of this version; constants, so that every device refuses alike.
pub const LIMITS: Limits = Limits { pack_bytes: 256 << 20, day_bytes: 64 << 20, day_operations: 10_000_000 };

/// Why a document was refused unread.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum BoundError {
    /// It does not read as one saved document.
    #[error("the document of the day is damaged at byte {0}; ask for the file again")]
    Damaged(usize),
    /// It would take too much memory.
    #[error(
        "the document of the day would expand beyond {limit} {what}; no real day does, so it was refused unread"
    )]
    TooLarge {
        /// What there would be too much of.
        what: &'static str,
        /// The bound.
        limit: u64,
    },
}

const CHUNK_MAGIC: [u8; 4] = [0x85, 0x6f, 0x4a, 0x83];
const DOCUMENT_CHUNK: u8 = 0;
const DEFLATED: u64 = 0b1000;

/// Checks that `bytes` are one document chunk and nothing else, within `limits` when expanded.
///
/// # Errors
/// [`BoundError`].
pub fn check_document(bytes: &[u8], limits: &Limits) -> Result<(), BoundError> {
    let mut cursor = Cursor { bytes, at: 0 };
    if cursor.take(4)? != CHUNK_MAGIC {
        return Err(BoundError::Damaged(0));
    }
    cursor.take(4)?;
    if cursor.take(1)? != [DOCUMENT_CHUNK] {
        return Err(BoundError::Damaged(8));
    }
    let length = cursor.count()?;
    if length != bytes.len() - cursor.at {
        return Err(BoundError::Damaged(cursor.at));
    }
    for _ in 0..cursor.count()? {
        let actor = cursor.count()?;
        cursor.take(actor)?;
    }
    let heads = cursor.count()?;
    cursor.take(heads.checked_mul(32).ok_or(BoundError::Damaged(cursor.at))?)?;
    let mut columns = cursor.columns()?;
    columns.extend(cursor.columns()?);
    let mut room = limits.day_bytes;
    for (spec, length) in columns {
        let at = cursor.at;
        let raw = cursor.take(length)?;
        let column;
        let plain = if spec & DEFLATED == 0 {
            raw
        } else {
            column = inflated(raw, room).map_err(|why| match why {
                Unread::TooLarge => too_large("bytes", limits.day_bytes as u64),
                Unread::Damaged => BoundError::Damaged(at),
            })?;
            &column
        };
        room = room.checked_sub(plain.len()).ok_or(too_large("bytes", limits.day_bytes as u64))?;
        if rows(spec & 0b111, plain).ok_or(BoundError::Damaged(at))? > limits.day_operations {
            return Err(too_large("operations", limits.day_operations));
        }
    }
    Ok(())
}

fn too_large(what: &'static str, limit: u64) -> BoundError {
    BoundError::TooLarge { what, limit }
}

/// How many rows a column has, by its type; raw bytes have none. `None` where the encoding breaks off.
fn rows(column_type: u64, bytes: &[u8]) -> Option<u64> {
    const BOOLEAN: u64 = 4;
    const STRING: u64 = 5;
    const RAW: u64 = 7;
    let mut cursor = Cursor { bytes, at: 0 };
    let mut sum = 0_u64;
    while cursor.at < bytes.len() {
        let run = match column_type {
            RAW => return Some(0),
            BOOLEAN => cursor.unsigned().ok()?,
            _ => {
                let skip = |cursor: &mut Cursor<'_>| match column_type {
                    STRING => cursor.count().and_then(|n| cursor.take(n)).ok().map(|_| ()),
                    _ => cursor.unsigned().ok().map(|_| ()),
                };
                match cursor.signed().ok()? {
                    0 => cursor.unsigned().ok()?,
                    run @ 1.. => {
                        skip(&mut cursor)?;
                        run.unsigned_abs()
                    }
                    literal => {
                        for _ in 0..literal.unsigned_abs() {
                            skip(&mut cursor)?;
                        }
                        literal.unsigned_abs()
                    }
                }
            }
        };
        sum = sum.saturating_add(run);
    }
    Some(sum)
}

struct Cursor<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> Cursor<'a> {
    fn take(&mut self, n: usize) -> Result<&'a [u8], BoundError> {
        let end = self.at.checked_add(n).ok_or(BoundError::Damaged(self.at))?;
        let taken = self.bytes.get(self.at..end).ok_or(BoundError::Damaged(self.at))?;
        self.at = end;
        Ok(taken)
    }

    /// An unsigned LEB128 number.
    fn unsigned(&mut self) -> Result<u64, BoundError> {
        let mut value = 0_u64;
        for shift in (0..64).step_by(7) {
            let byte = self.take(1)?[0];
            value |= u64::from(byte & 0x7f) << shift;
            if byte & 0x80 == 0 {
                return Ok(value);
            }
        }
        Err(BoundError::Damaged(self.at))
    }

    /// A signed LEB128 number.
    fn signed(&mut self) -> Result<i64, BoundError> {
        let mut value = 0_i64;
        for shift in (0..64).step_by(7) {
            let byte = self.take(1)?[0];
            value |= i64::from(byte & 0x7f) << shift;
            if byte & 0x80 == 0 {
                let negative = byte & 0x40 != 0 && shift + 7 < 64;
                return Ok(if negative { value | (-1_i64 << (shift + 7)) } else { value });
            }
        }
        Err(BoundError::Damaged(self.at))
    }

    fn count(&mut self) -> Result<usize, BoundError> {
        let at = self.at;
        usize::try_from(self.unsigned()?).map_err(|_| BoundError::Damaged(at))
    }

    /// The list of columns: (specification, length in bytes).
    fn columns(&mut self) -> Result<Vec<(u64, usize)>, BoundError> {
        let n = self.count()?;
        let mut columns = Vec::new();
        for _ in 0..n {
            columns.push((self.unsigned()?, self.count()?));
        }
        Ok(columns)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use automerge::transaction::Transactable;
    use automerge::{Automerge, ROOT};

    fn document(entries: usize) -> Automerge {
        let mut doc = Automerge::new();
        let mut tx = doc.transaction();
        for i in 0..entries {
            tx.put(ROOT, format!("key {i}"), "a text that comes again and again ".repeat(3)).unwrap();
        }
        tx.commit();
        doc
    }

    #[test]
    fn what_automerge_saves_passes_deflated_or_not() {
        for entries in [1, 10, 1000] {
            let doc = document(entries);
            assert_eq!(check_document(&doc.save(), &LIMITS), Ok(()));
            assert_eq!(check_document(&doc.save_nocompress(), &LIMITS), Ok(()));
        }
    }

    #[test]
    fn the_bounds_hold() {
        let saved = document(1000).save();
        let few_bytes = Limits { day_bytes: 10_000, ..LIMITS };
        assert_eq!(check_document(&saved, &few_bytes), Err(too_large("bytes", 10_000)));
        let few_operations = Limits { day_operations: 999, ..LIMITS };
        assert_eq!(check_document(&saved, &few_operations), Err(too_large("operations", 999)));
        assert_eq!(check_document(&saved, &Limits { day_operations: 1000, ..LIMITS }), Ok(()));
    }

    #[test]
    fn a_run_of_a_million_millions_in_five_bytes_is_counted_not_unrolled() {
        let run = [0x80, 0x80, 0x80, 0x80, 0x80, 0x20, 0x01];
        assert_eq!(rows(2, &run), Some(1 << 40));
    }

    #[test]
    fn a_cut_document_never_panics() {
        let saved = document(20).save();
        for end in 0..saved.len() {
            assert!(check_document(&saved[..end], &LIMITS).is_err(), "{end}");
        }
    }
}
