//! Deflated data (RFC 1951), by the library that Automerge uses too.

use flate2::{Compress, Compression, Decompress, FlushCompress, FlushDecompress, Status};

/// As hard as is usual, for what was not compressed before.
pub(super) const LEVEL: u32 = 6;
/// For what is compressed already.
pub(super) const LEVEL_PACKED: u32 = 1;

/// Why deflated data was not read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Unread {
    /// It would inflate to more than allowed.
    TooLarge,
    /// It is cut, or no deflated data.
    Damaged,
}

/// Deflates all of `bytes`.
pub(super) fn deflated(bytes: &[u8], level: u32) -> Vec<u8> {
    run(bytes, level, FlushCompress::Finish)
}

/// Deflates `bytes` up to a whole byte, so that other deflated data may follow.
pub(super) fn deflated_so_far(bytes: &[u8], level: u32) -> Vec<u8> {
    run(bytes, level, FlushCompress::Sync)
}

fn run(bytes: &[u8], level: u32, flush: FlushCompress) -> Vec<u8> {
    let mut compressor = Compress::new(Compression::new(level), false);
    let mut deflated = Vec::with_capacity(bytes.len() / 2 + 64);
    loop {
        let rest = bytes.get(compressor.total_in() as usize..).unwrap_or_default();
        // Plain data into memory that grows: nothing of it can fail.
        let done =
            matches!(compressor.compress_vec(rest, &mut deflated, flush), Ok(Status::StreamEnd) | Err(_));
        let flushed = flush == FlushCompress::Sync && deflated.len() < deflated.capacity();
        if done || (flushed && compressor.total_in() as usize == bytes.len()) {
            return deflated;
        }
        deflated.reserve(deflated.capacity().max(64));
    }
}

/// Inflates to at most `most` bytes; what follows the end of the deflated data is not looked at.
pub(super) fn inflated(bytes: &[u8], most: usize) -> Result<Vec<u8>, Unread> {
    let mut inflater = Decompress::new(false);
    let mut inflated = Vec::new();
    let mut room = bytes.len().saturating_mul(3).max(64);
    loop {
        // One byte more than allowed tells what is too large from what just fits.
        inflated.reserve_exact(room.min(most.saturating_add(1) - inflated.len()));
        let rest = bytes.get(inflater.total_in() as usize..).unwrap_or_default();
        let done = inflater.decompress_vec(rest, &mut inflated, FlushDecompress::None);
        if inflated.len() > most {
            return Err(Unread::TooLarge);
        }
        match done {
            Ok(Status::StreamEnd) => return Ok(inflated),
            Ok(_) if inflated.len() == inflated.capacity() => room = inflated.len(),
            Ok(_) | Err(_) => return Err(Unread::Damaged),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn noise(bytes: usize) -> Vec<u8> {
        (0..bytes as u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8).collect()
    }

    #[test]
    fn what_is_deflated_inflates_to_itself() {
        for bytes in [vec![], vec![7], vec![0; 1 << 20], noise(100_000), b"a word and a word".repeat(9_000)] {
            for level in [LEVEL, LEVEL_PACKED] {
                let packed = deflated(&bytes, level);
                assert_eq!(inflated(&packed, bytes.len()), Ok(bytes.clone()));
                let followed = [&packed[..], b"more"].concat();
                assert_eq!(inflated(&followed, 1 << 20), Ok(bytes.clone()), "what follows is not looked at");
            }
        }
    }

    /// Source: RFC 1951, section 3.2.4: a block that is not compressed.
    #[test]
    fn a_block_by_hand_is_read() {
        let block = [1, 3, 0, 0xfc, 0xff, b'a', b'b', b'c'];
        assert_eq!(inflated(&block, 3), Ok(b"abc".to_vec()));
        assert_eq!(inflated(&block, 2), Err(Unread::TooLarge));
        for cut in 0..block.len() {
            assert_eq!(inflated(&block[..cut], 3), Err(Unread::Damaged), "cut at {cut}");
        }
        assert_eq!(inflated(&[1, 3, 0, 0, 0, b'a', b'b', b'c'], 3), Err(Unread::Damaged), "lengths disagree");
    }

    #[test]
    fn a_bound_holds_to_the_byte() {
        for bytes in [vec![0; 5_000_000], noise(70_000)] {
            let packed = deflated(&bytes, LEVEL);
            assert_eq!(inflated(&packed, bytes.len()).as_ref(), Ok(&bytes));
            assert_eq!(inflated(&packed, bytes.len() - 1), Err(Unread::TooLarge));
            assert_eq!(inflated(&packed, 0), Err(Unread::TooLarge));
            assert_eq!(inflated(&packed[..packed.len() - 1], bytes.len()), Err(Unread::Damaged));
        }
        assert_eq!(inflated(&deflated(&[], LEVEL), 0), Ok(vec![]));
    }
}
