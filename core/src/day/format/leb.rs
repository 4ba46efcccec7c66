//! Bytes taken from the front of an input, and variable-length numbers (LEB128).

use super::{Hash, Unreadable};

/// What is left of a part of the input, and where in the part it begins.
#[derive(Clone, Copy)]
pub(super) struct Input<'a> {
    part: &'static str,
    rest: &'a [u8],
    at: usize,
}

impl<'a> Input<'a> {
    /// The beginning of a part; `part` names it in errors.
    pub fn new(part: &'static str, bytes: &'a [u8]) -> Input<'a> {
        Input { part, rest: bytes, at: 0 }
    }

    pub fn is_empty(&self) -> bool {
        self.rest.is_empty()
    }

    /// How many bytes are left.
    pub fn left(&self) -> usize {
        self.rest.len()
    }

    /// # Errors
    /// [`Unreadable::Trailing`] unless all is taken.
    pub fn end(&self) -> Result<(), Unreadable> {
        if self.rest.is_empty() { Ok(()) } else { Err(Unreadable::Trailing { part: self.part, at: self.at }) }
    }

    /// A wrong number that ends here.
    #[cold]
    pub fn number(&self, why: &'static str) -> Unreadable {
        Unreadable::Number { part: self.part, at: self.at, why }
    }

    #[cold]
    fn cut(&self) -> Unreadable {
        Unreadable::Cut { part: self.part, at: self.at + self.rest.len() }
    }

    #[inline]
    pub fn byte(&mut self) -> Result<u8, Unreadable> {
        let (&byte, rest) = self.rest.split_first().ok_or_else(|| self.cut())?;
        self.rest = rest;
        self.at += 1;
        Ok(byte)
    }

    /// The next `count` bytes.
    #[inline]
    pub fn take(&mut self, count: u64) -> Result<&'a [u8], Unreadable> {
        let taken = usize::try_from(count).ok().and_then(|count| self.rest.split_at_checked(count));
        let (taken, rest) = taken.ok_or_else(|| self.cut())?;
        self.rest = rest;
        self.at += taken.len();
        Ok(taken)
    }

    /// The next `N` bytes.
    pub fn array<const N: usize>(&mut self) -> Result<[u8; N], Unreadable> {
        let (taken, rest) = self.rest.split_first_chunk::<N>().ok_or_else(|| self.cut())?;
        self.rest = rest;
        self.at += N;
        Ok(*taken)
    }

    /// An unsigned number of at most 63 bits. A longer spelling than needed is read; encoding again shows it.
    #[inline]
    pub fn unsigned(&mut self) -> Result<u64, Unreadable> {
        let (mut value, mut shift) = (0, 0);
        loop {
            let byte = self.byte()?;
            if shift > 56 {
                return Err(self.number("it has more than 63 bits"));
            }
            value |= u64::from(byte & 0x7f) << shift;
            if byte < 0x80 {
                return Ok(value);
            }
            shift += 7;
        }
    }

    /// A signed number of at most 63 bits, read as [`Input::unsigned`] is.
    #[inline]
    pub fn signed(&mut self) -> Result<i64, Unreadable> {
        let (mut value, mut shift) = (0, 0);
        loop {
            let byte = self.byte()?;
            if shift > 56 {
                return Err(self.number("it has more than 63 bits"));
            }
            value |= i64::from(byte & 0x7f) << shift;
            shift += 7;
            if byte < 0x80 {
                return Ok(if byte & 0x40 == 0 { value } else { value | (-1 << shift) });
            }
        }
    }

    /// An unsigned number below `limit`.
    #[inline]
    pub fn below(&mut self, limit: u32) -> Result<u32, Unreadable> {
        match u32::try_from(self.unsigned()?) {
            Ok(value) if value < limit => Ok(value),
            _ => Err(self.number("it is too large")),
        }
    }

    /// A text with its length before it.
    #[inline]
    pub fn text(&mut self) -> Result<&'a str, Unreadable> {
        let length = self.unsigned()?;
        let bytes = self.take(length)?;
        self.utf8(bytes)
    }

    /// Bytes that were taken here, as text.
    #[inline]
    pub fn utf8(&self, bytes: &'a [u8]) -> Result<&'a str, Unreadable> {
        std::str::from_utf8(bytes).map_err(|_| Unreadable::Utf8 { part: self.part, at: self.at })
    }

    /// Hashes with their number before them: at most `most`, in ascending order, so that none is there twice.
    pub fn hashes(&mut self, what: &'static str, most: usize) -> Result<Vec<Hash>, Unreadable> {
        let count = self.unsigned()?;
        if count > most as u64 {
            return Err(Unreadable::too_large(what, count, most));
        }
        let hashes = self.take(count.saturating_mul(size_of::<Hash>() as u64))?.as_chunks().0.to_vec();
        if !hashes.is_sorted_by(|a, b| a < b) {
            return Err(Unreadable::Foreign { what: "hashes that are not in ascending order" });
        }
        Ok(hashes)
    }
}

/// Appends an unsigned number.
#[inline]
pub(super) fn put_unsigned(out: &mut Vec<u8>, mut value: u64) {
    while value >= 0x80 {
        out.push(value as u8 | 0x80);
        value >>= 7;
    }
    out.push(value as u8);
}

/// Appends a signed number.
#[inline]
pub(super) fn put_signed(out: &mut Vec<u8>, mut value: i64) {
    loop {
        let byte = value as u8 & 0x7f;
        value >>= 7;
        if value == i64::from(byte & 0x40 != 0).wrapping_neg() {
            return out.push(byte);
        }
        out.push(byte | 0x80);
    }
}

/// Appends bytes with their length before them.
#[inline]
pub(super) fn put_bytes(out: &mut Vec<u8>, bytes: &[u8]) {
    put_unsigned(out, bytes.len() as u64);
    out.extend_from_slice(bytes);
}
