//! The first change of a day, which follows from its date and area.

use super::change::{Encoder, Head, PUT, text_kind};
use super::columns::spec;
use super::error::Hex;
use super::leb::put_unsigned;
use super::{Hash, Unreadable};
use std::fmt::Write as _;

/// The counter of the operation that makes the map `entries`: the last one of the first change.
pub(super) const ENTRIES: u32 = 5;
/// The kind of an integer of one byte, and the integer: the version of the format.
const FORMAT: (u64, u8) = (1 << 4 | 4, 1);
/// The action of an operation that makes a map. It has no value, which is kind 0.
const MAKE_MAP: u64 = 0;

/// What the first change of a day says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct First {
    /// The day.
    pub day: [u8; 16],
    /// Its date, as `2027-02-06`.
    pub date: String,
    /// Its area, normalized.
    pub area: String,
}

impl First {
    /// What the texts of the first change of `day` say.
    pub(super) fn read(day: [u8; 16], id: &str, date: &str, area: &str) -> Result<First, Unreadable> {
        if id != hex(&day) {
            return Err(Unreadable::OtherDay {
                day: Hex(day.to_vec()),
                why: "the first change has another id",
            });
        }
        let is_date = date.len() == 10
            && date.bytes().enumerate().all(|(k, byte)| match k {
                4 | 7 => byte == b'-',
                _ => byte.is_ascii_digit(),
            });
        if !is_date {
            return Err(Unreadable::Foreign { what: "a date that is not written as year-month-day" });
        }
        Ok(First { day, date: date.to_owned(), area: area.to_owned() })
    }
}

/// One operation of the first change, on the root.
#[derive(Clone, Copy)]
pub(super) struct RootOp<'a> {
    pub counter: u32,
    pub key: &'static str,
    pub action: u64,
    pub kind: u64,
    pub value: &'a [u8],
}

/// The operations of the first change, in order.
pub(super) fn operations<'a>(id: &'a str, date: &'a str, area: &'a str) -> [RootOp<'a>; ENTRIES as usize] {
    let text = |counter, key, text: &'a str| RootOp {
        counter,
        key,
        action: PUT,
        kind: text_kind(text),
        value: text.as_bytes(),
    };
    [
        text(1, "id", id),
        text(2, "date", date),
        text(3, "area", area),
        RootOp { counter: 4, key: "format", action: PUT, kind: FORMAT.0, value: &[FORMAT.1] },
        RootOp { counter: ENTRIES, key: "entries", action: MAKE_MAP, kind: 0, value: &[] },
    ]
}

/// The id of a day as the first change has it.
pub(super) fn hex(day: &[u8; 16]) -> String {
    day.iter().fold(String::with_capacity(32), |mut text, byte| {
        // Writing into a string does not fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// The first change of a day: its hash, and its chunk as Automerge writes it.
#[must_use]
pub fn first_change(first: &First) -> (Hash, Vec<u8>) {
    let id = hex(&first.day);
    let operations = operations(&id, &first.date, &first.area);
    let n = operations.len();
    let mut encoder = Encoder::default();
    let columns = &mut encoder.columns;
    columns.texts(spec::KEY, n, |k| operations[k].key);
    put_unsigned(&mut columns.data, n as u64);
    columns.close(spec::INSERT);
    columns.numbers(spec::ACTION, n, |k| operations[k].action);
    columns.numbers(spec::VALUE_KIND, n, |k| operations[k].kind);
    operations.iter().for_each(|operation| columns.data.extend_from_slice(operation.value));
    columns.close(spec::VALUE);
    columns.same(spec::PREDECESSORS, 0, n, 0);
    encoder.chunk(&Head { actor: &first.day, seq: 1, start_op: 1, deps: &[], others: &[] })
}
