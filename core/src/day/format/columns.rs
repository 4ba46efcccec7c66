//! Columns: a directory of specifications and lengths, then the data. Most are lists of runs: a length and a value for equal ones, a negative
//! length and values for different ones.

use super::Unreadable;
use super::leb::{Input, put_bytes, put_signed, put_unsigned};
use std::borrow::Cow;

/// Columns by their specification in Automerge's format: an id in the upper bits, the type in the lowest three.
pub(super) mod spec {
    pub const OBJECT_ACTOR: u32 = 0x01;
    pub const OBJECT_COUNTER: u32 = 0x02;
    pub const KEY: u32 = 0x15;
    pub const ID_ACTOR: u32 = 0x21;
    pub const ID_COUNTER: u32 = 0x23;
    pub const INSERT: u32 = 0x34;
    pub const ACTION: u32 = 0x42;
    pub const VALUE_KIND: u32 = 0x56;
    pub const VALUE: u32 = 0x57;
    pub const PREDECESSORS: u32 = 0x70;
    pub const SUCCESSORS: u32 = 0x80;

    pub const ACTOR: u32 = 0x01;
    pub const SEQ: u32 = 0x03;
    pub const MAX_OP: u32 = 0x13;
    pub const TIME: u32 = 0x23;
    pub const DEP_COUNT: u32 = 0x40;
    pub const DEP: u32 = 0x43;
    pub const EXTRA: u32 = 0x56;

    /// Set in a document's directory where a column is deflated.
    pub const DEFLATED: u32 = 0x08;
}

/// More columns than any part of Automerge's format has.
const MAX_COLUMNS: u64 = 32;

/// Specifications and lengths, in the order of the data.
pub(super) fn read_directory(input: &mut Input) -> Result<Vec<(u32, u64)>, Unreadable> {
    let count = input.unsigned()?;
    if count > MAX_COLUMNS {
        return Err(Unreadable::too_large("columns", count, MAX_COLUMNS as usize));
    }
    let directory: Result<Vec<(u32, u64)>, Unreadable> =
        (0..count).map(|_| Ok((input.below(u32::MAX)?, input.unsigned()?))).collect();
    let directory = directory?;
    let ordered = directory.is_sorted_by(|a, b| a.0 & !spec::DEFLATED < b.0 & !spec::DEFLATED);
    if !ordered || directory.iter().any(|column| column.1 == 0) {
        return Err(Unreadable::Foreign { what: "columns out of order or without data" });
    }
    Ok(directory)
}

/// Columns that were read, not yet understood.
pub(super) struct Columns<'a> {
    /// What they are the columns of, for errors.
    pub part: &'static str,
    pub list: Vec<(u32, Cow<'a, [u8]>)>,
}

impl<'a> Columns<'a> {
    /// A column, empty if it is missing.
    pub fn get(&self, spec: u32) -> Input<'_> {
        let data = self.list.iter().find(|column| column.0 == spec).map_or(&[][..], |column| &column.1);
        Input::new(self.part, data)
    }

    /// Takes the data of a column out, empty if it is missing.
    pub fn take(&mut self, spec: u32) -> Cow<'a, [u8]> {
        let at = self.list.iter().position(|column| column.0 == spec);
        at.map_or(Cow::Borrowed(&[]), |at| self.list.remove(at).1)
    }

    /// Compares with what was encoded again.
    ///
    /// # Errors
    /// [`Unreadable::Foreign`] for a column that is missing or should be, [`Unreadable::Encoding`] for one with other data.
    pub fn equal(&self, again: &Writer) -> Result<(), Unreadable> {
        let specs = self.list.iter().map(|column| column.0);
        if !specs.eq(again.directory.iter().map(|column| column.0)) {
            return Err(Unreadable::Foreign {
                what: "other columns than those of puts of texts into the map `entries`",
            });
        }
        let mut from = 0;
        for ((_, data), (_, length)) in self.list.iter().zip(&again.directory) {
            let expected = &again.data[from..from + length];
            if **data != *expected {
                return Err(Unreadable::Encoding {
                    part: self.part,
                    at: from + first_difference(data, expected),
                });
            }
            from += length;
        }
        Ok(())
    }
}

/// Where two lists of bytes begin to differ.
pub(super) fn first_difference(a: &[u8], b: &[u8]) -> usize {
    a.iter().zip(b).position(|(a, b)| a != b).unwrap_or(a.len().min(b.len()))
}

/// How many numbers all runs of a column have, without keeping any.
///
/// # Errors
/// [`Unreadable::TooLarge`] above `most`, named by `what`.
pub(super) fn count(mut input: Input, what: &'static str, most: usize) -> Result<usize, Unreadable> {
    let mut sum = 0;
    while !input.is_empty() {
        let length = input.signed()?;
        sum += length.unsigned_abs(); // both are below 2^63
        if sum > most as u64 {
            return Err(Unreadable::too_large(what, sum, most));
        }
        let different = if length > 0 { 1 } else { length.unsigned_abs() };
        for _ in 0..different {
            input.unsigned()?;
        }
    }
    Ok(sum as usize)
}

/// Exactly `n` values of a column, which the caller has bounded.
pub(super) fn values<'a, T: Copy>(
    mut input: Input<'a>,
    n: usize,
    mut read: impl FnMut(&mut Input<'a>) -> Result<T, Unreadable>,
) -> Result<Vec<T>, Unreadable> {
    let mut values = Vec::with_capacity(n);
    while !input.is_empty() {
        let length = input.signed()?;
        if length == 0 {
            return Err(input.number("it begins a run without values"));
        }
        if length.unsigned_abs() > (n - values.len()) as u64 {
            return Err(input.number("it is the length of a run beyond the last row"));
        }
        if length > 0 {
            let value = read(&mut input)?;
            values.resize(values.len() + length as usize, value);
        } else {
            for _ in 0..length.unsigned_abs() {
                values.push(read(&mut input)?);
            }
        }
    }
    if values.len() != n {
        return Err(input.number("the column has too few rows"));
    }
    Ok(values)
}

/// Exactly `n` numbers below `limit`, each written as the difference from the one before.
pub(super) fn deltas(input: Input, n: usize, limit: u32) -> Result<Vec<u32>, Unreadable> {
    let differences = values(input, n, Input::signed)?;
    let mut sum = 0_i64;
    let sums = differences.into_iter().map(|difference| {
        sum = sum.saturating_add(difference);
        u32::try_from(sum)
            .ok()
            .filter(|sum| *sum < limit)
            .ok_or_else(|| input.number("a sum is out of bounds"))
    });
    sums.collect()
}

/// Columns being encoded.
#[derive(Default)]
pub(super) struct Writer {
    directory: Vec<(u32, usize)>,
    pub data: Vec<u8>,
    closed: usize,
}

impl Writer {
    /// Makes it empty and keeps its memory.
    pub fn clear(&mut self) {
        self.directory.clear();
        self.data.clear();
        self.closed = 0;
    }

    /// Ends a column. One without data is left out.
    pub fn close(&mut self, spec: u32) {
        let length = self.data.len() - self.closed;
        if length > 0 {
            self.directory.push((spec, length));
            self.closed = self.data.len();
        }
    }

    /// A whole column of `n` unsigned numbers.
    pub fn numbers(&mut self, spec: u32, n: usize, get: impl Fn(usize) -> u64) {
        put_runs(&mut self.data, n, get, put_unsigned);
        self.close(spec);
    }

    /// A whole column of one number, `n` times, after `nulls` times none.
    pub fn same(&mut self, spec: u32, nulls: usize, n: usize, value: u64) {
        if n > 0 && nulls > 0 {
            put_signed(&mut self.data, 0);
            put_unsigned(&mut self.data, nulls as u64);
        }
        self.numbers(spec, n, |_| value);
    }

    /// A whole column of `n` numbers, written as differences.
    pub fn deltas(&mut self, spec: u32, n: usize, get: impl Fn(usize) -> u32) {
        let difference = |k: usize| i64::from(get(k)) - if k == 0 { 0 } else { i64::from(get(k - 1)) };
        put_runs(&mut self.data, n, difference, put_signed);
        self.close(spec);
    }

    /// A whole column of `n` texts.
    pub fn texts<'t>(&mut self, spec: u32, n: usize, get: impl Fn(usize) -> &'t str) {
        put_runs(&mut self.data, n, get, |out, text| put_bytes(out, text.as_bytes()));
        self.close(spec);
    }

    /// Appends the directory.
    pub fn put_directory(&self, out: &mut Vec<u8>) {
        put_unsigned(out, self.directory.len() as u64);
        for (spec, length) in &self.directory {
            put_unsigned(out, u64::from(*spec));
            put_unsigned(out, *length as u64);
        }
    }
}

fn put_runs<T: PartialEq>(
    out: &mut Vec<u8>,
    n: usize,
    get: impl Fn(usize) -> T,
    put: impl Fn(&mut Vec<u8>, T),
) {
    let mut from = 0;
    while from < n {
        let value = get(from);
        let mut end = from + 1;
        while end < n && get(end) == value {
            end += 1;
        }
        if end - from > 1 {
            put_signed(out, (end - from) as i64);
            put(out, value);
        } else {
            // Values that differ from both neighbours; the last of them is compared with the next.
            while end < n && (end + 1 == n || get(end) != get(end + 1)) {
                end += 1;
            }
            put_signed(out, -((end - from) as i64));
            (from..end).for_each(|k| put(out, get(k)));
        }
        from = end;
    }
}
