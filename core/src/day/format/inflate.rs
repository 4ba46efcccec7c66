//! Inflating columns within a bound.

use super::Unreadable;
use flate2::{Decompress, FlushDecompress, Status};

/// The columns of one document share one bound.
pub(super) struct Inflater {
    stream: Decompress,
    most: usize,
    used: usize,
}

impl Inflater {
    /// At most `most` bytes come out.
    pub fn new(most: usize) -> Inflater {
        Inflater { stream: Decompress::new(false), most, used: 0 }
    }

    fn too_large(&self) -> Unreadable {
        Unreadable::too_large("bytes when it is inflated", self.most as u64 + 1, self.most)
    }

    /// Counts a column that is not deflated.
    pub fn plain<'a>(&mut self, data: &'a [u8]) -> Result<&'a [u8], Unreadable> {
        self.used = self
            .used
            .checked_add(data.len())
            .filter(|used| *used <= self.most)
            .ok_or_else(|| self.too_large())?;
        Ok(data)
    }

    /// The bytes of a deflated column, of which the stream is complete and takes all of `data`.
    pub fn inflate(&mut self, data: &[u8]) -> Result<Vec<u8>, Unreadable> {
        let bad = Unreadable::Foreign { what: "a column that is not one complete deflated stream" };
        let left = self.most - self.used;
        self.stream.reset(false);
        // Texts shrink to a fifth or less; what shrinks more makes the memory grow below.
        let mut out = Vec::with_capacity(data.len().saturating_mul(8).clamp(64, left.max(64)));
        loop {
            let input = &data[self.stream.total_in() as usize..]; // never more than was given
            let status = self.stream.decompress_vec(input, &mut out, FlushDecompress::Finish);
            if out.len() > left {
                return Err(self.too_large());
            }
            match status {
                Ok(Status::StreamEnd) => break,
                // Only a full output is a reason to go on: all of the input was there from the beginning.
                Ok(_) if out.len() == out.capacity() => out.reserve(out.len().min(left - out.len()) + 1),
                Ok(_) | Err(_) => return Err(bad),
            }
        }
        if self.stream.total_in() != data.len() as u64 {
            return Err(bad);
        }
        self.used += out.len();
        Ok(out)
    }
}
