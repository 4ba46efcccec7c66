//! Changes deflated once for everyone who lacks them. A whole team that comes at once lacks much the same, and deflating is the dearest part of
//! sending: what was made for one device is kept for the next.

use super::deflate::{LEVEL, deflated_so_far};
use serde_bytes::Bytes;
use std::collections::HashMap;
use std::sync::Arc;

/// Changes whose numbers agree in all but the last 64 go together: so two devices that lack much the same meet the same segments.
const NUMBERS: i64 = 64;
/// The most bytes in a segment before deflating, unless one change has more: far below the bounds of a frame.
const SEGMENT_BYTES: usize = 32 << 10;
/// What is kept of them in memory, deflated. A day of 10,000 entries takes about 1 MiB.
const KEPT_BYTES: usize = 4 << 20;

/// A run of changes as it stands in a frame: CBOR byte strings, deflated, ending at a whole byte.
#[derive(Debug)]
pub(super) struct Segment(pub Vec<u8>);

impl Segment {
    /// Deflates changes, so that other deflated data may follow.
    pub fn of(changes: &[Vec<u8>]) -> Segment {
        let mut raw = Vec::with_capacity(changes.iter().map(|c| c.len() + 9).sum());
        for change in changes {
            // Plain data into memory: nothing of it can fail.
            let _ = ciborium::into_writer(Bytes::new(change), &mut raw);
        }
        Segment(deflated_so_far(&raw, LEVEL))
    }
}

/// How many of these changes (number in the store, bytes), causes first, go into the next segment, if `room` bytes are left in its frame: at
/// least one. `shared`: segments end where those of others do.
pub(super) fn length(changes: impl Iterator<Item = (i64, usize)>, room: usize, shared: bool) -> usize {
    let mut block = None;
    let mut sum = 0;
    let mut n = 0;
    for (number, bytes) in changes {
        let fits = sum + bytes <= room.min(SEGMENT_BYTES)
            && (!shared || block.is_none_or(|b| b == number / NUMBERS));
        if n > 0 && !fits {
            break;
        }
        (block, sum, n) = (Some(number / NUMBERS), sum + bytes, n + 1);
    }
    n
}

/// Segments that were made lately, by the numbers of their changes.
#[derive(Debug, Default)]
pub(super) struct Segments {
    made: HashMap<Vec<i64>, Arc<Segment>>,
    bytes: usize,
}

impl Segments {
    /// The segment of these changes, from memory or made.
    pub fn get<E>(
        &mut self,
        numbers: &[i64],
        read: impl FnOnce() -> Result<Vec<Vec<u8>>, E>,
    ) -> Result<Arc<Segment>, E> {
        if let Some(made) = self.made.get(numbers) {
            return Ok(made.clone());
        }
        let segment = Arc::new(Segment::of(&read()?));
        if self.bytes > KEPT_BYTES {
            *self = Segments::default();
        }
        self.bytes += segment.0.len() + 8 * numbers.len();
        self.made.insert(numbers.to_vec(), segment.clone());
        Ok(segment)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::exchange::deflate::inflated;

    #[test]
    fn segments_one_behind_the_other_inflate_to_all_of_them() {
        let noise: Vec<u8> = (0..50_000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
        let lists = [vec![vec![7; 300]; 40], vec![noise], vec![Vec::new(), vec![1, 2, 3]]];
        let mut bytes: Vec<u8> = lists.iter().flat_map(|l| Segment::of(l).0).collect();
        bytes.extend([1, 0, 0, 0xff, 0xff]);
        let mut expected = Vec::new();
        lists.iter().flatten().for_each(|c| ciborium::into_writer(Bytes::new(c), &mut expected).unwrap());
        assert_eq!(inflated(&bytes, expected.len()), Ok(expected));
    }

    #[test]
    fn a_segment_ends_at_a_block_at_its_bytes_and_never_before_its_first() {
        let take = |changes: &[(i64, usize)], room| length(changes.iter().copied(), room, true);
        assert_eq!(take(&[(62, 10), (63, 10), (64, 10)], 1000), 2);
        assert_eq!(take(&[(1, 10), (2, 10), (3, 10)], 25), 2);
        assert_eq!(take(&[(1, 9_999_999), (2, 1)], 5), 1);
        assert_eq!(take(&[(1, SEGMENT_BYTES), (2, 1)], usize::MAX), 1);
        assert_eq!(take(&[], 5), 0);
        assert_eq!(length([(62, 10), (63, 10), (64, 10)].into_iter(), 1000, false), 3);
    }

    #[test]
    fn what_was_made_is_not_read_again() {
        let mut segments = Segments::default();
        let read = || Ok::<_, ()>(vec![vec![1; 100]]);
        let first = segments.get(&[1, 2], read).unwrap();
        let again = segments.get(&[1, 2], || panic!("read again") as Result<_, ()>).unwrap();
        assert_eq!(first.0, again.0);
        for n in 0..2_000 {
            let noise = (0..4_000_u32).map(|i| (i.wrapping_mul(n + 2_654_435_761) >> 24) as u8).collect();
            segments.get(&[i64::from(n) + 10], || Ok::<_, ()>(vec![noise])).unwrap();
        }
        assert!(segments.bytes <= KEPT_BYTES + 5_000, "{}", segments.bytes);
    }
}
