//! How far a session is, what it did, and why it ended otherwise.

use super::super::wire::WireError;
use crate::clock::offset::Offset;
use crate::day::{DayId, DeviceId};
use crate::store::StoreError;

/// How far a session is. Totals grow as they become known.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record), uniffi(name = "ExchangeProgress"))]
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Progress {
    /// The other device, once it said so.
    pub peer: Option<DeviceId>,
    /// What people call it.
    pub peer_label: String,
    /// Days that differ.
    pub days: usize,
    /// Of these, days that are done.
    pub days_done: usize,
    /// Bytes of changes and documents that came.
    pub received: u64,
    /// Bytes of them that are known to come in all.
    pub to_receive: u64,
    /// Bytes of changes and documents that were sent.
    pub sent: u64,
    /// Bytes of them that are known to go in all.
    pub to_send: u64,
    /// Bytes that the other side held, as the session began, of documents and changes that came half before.
    pub begun_there: u64,
    /// Covering signatures that came ahead of their changes and are kept.
    pub signatures: usize,
    /// Records of the crew that came.
    pub records: usize,
    /// Records of the crew that the other side held as the session began.
    pub records_there: usize,
    /// Bytes that came in, all told.
    pub bytes_in: u64,
    /// Bytes that went out, all told.
    pub bytes_out: u64,
}

/// A day that was not exchanged.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record))]
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotExchanged {
    /// The day.
    pub day: DayId,
    /// Why.
    pub why: String,
}

/// What a session did.
#[cfg_attr(feature = "uniffi", derive(uniffi::Record), uniffi(name = "ExchangeReport"))]
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Report {
    /// The other device.
    pub peer: Option<DeviceId>,
    /// What people call it.
    pub peer_label: String,
    /// Which of its clocks it read.
    pub peer_clock: u32,
    /// Days of which something was sent or came.
    pub days: Vec<DayId>,
    /// Of these, days into which changes came that were new here.
    pub days_received: Vec<DayId>,
    /// Changes that the other side has confirmed.
    pub sent: u64,
    /// Changes that came and were new here.
    pub received: u64,
    /// Entries first seen.
    pub new_entries: usize,
    /// Entries held before that are other now.
    pub amended: usize,
    /// Bytes that went out.
    pub bytes_sent: u64,
    /// Bytes that came in.
    pub bytes_received: u64,
    /// What is added to the caller's time to get base's.
    pub clock: Option<Offset>,
    /// Days that were not exchanged, each with the reason.
    pub refused: Vec<NotExchanged>,
    /// Only the roster was handed over, as the crew has a newer key: one more session does the rest.
    pub rotated: bool,
    /// This session let the other device into the crew.
    pub let_in: bool,
}

impl Report {
    /// Adds what a later session with the same device did.
    pub fn add(&mut self, later: Report) {
        let clock = match (self.clock, later.clock) {
            (Some(a), Some(b)) if a.delay_ms < b.delay_ms => Some(a),
            (a, b) => b.or(a),
        };
        let before = std::mem::replace(self, later);
        if self.peer.is_none() {
            (self.peer, self.peer_label, self.peer_clock) =
                (before.peer, before.peer_label, before.peer_clock);
        }
        self.clock = clock;
        for (days, earlier) in
            [(&mut self.days, before.days), (&mut self.days_received, before.days_received)]
        {
            for day in earlier {
                if !days.contains(&day) {
                    days.push(day);
                }
            }
        }
        self.sent = self.sent.saturating_add(before.sent);
        self.received += before.received;
        self.new_entries += before.new_entries;
        self.amended += before.amended;
        self.bytes_sent += before.bytes_sent;
        self.bytes_received += before.bytes_received;
        self.let_in |= before.let_in;
    }
}

/// Why a session ended before all was said. What was confirmed before is kept.
#[derive(Debug, thiserror::Error)]
pub enum SessionError {
    /// What came makes no sense.
    #[error(transparent)]
    Wire(#[from] WireError),
    /// The other side speaks a newer protocol.
    #[error("the other device speaks version {0} of the exchange, this one up to {known}; install the newer Firnbook here", known = super::PROTOCOL)]
    Newer(u16),
    /// The other side speaks an older protocol.
    #[error("the other device speaks version {0} of the exchange, this one {known}; install the newer Firnbook there", known = super::PROTOCOL)]
    Older(u16),
    /// The other side refuses, in its own words.
    #[error("the other device says: {0}")]
    Refused(String),
    /// The other side does not get in.
    #[error("{0}")]
    NotAdmitted(String),
    /// It was cut off.
    #[error(
        "the connection was cut before all was exchanged; what was confirmed is kept, do it again for the rest"
    )]
    Cut,
    /// This device's own store.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl SessionError {
    /// What the other side is told; nothing to one that has ended it itself. A store's own words can hold names of files and stay here.
    pub(super) fn for_the_other_side(&self) -> Option<String> {
        match self {
            SessionError::Refused(_) | SessionError::Cut => None,
            SessionError::Newer(v) => Some(format!(
                "this device speaks version {} of the exchange, yours {v}; install the newer Firnbook here",
                super::PROTOCOL
            )),
            SessionError::Older(v) => Some(format!(
                "this device speaks version {} of the exchange, yours {v}; install the newer Firnbook on your device",
                super::PROTOCOL
            )),
            SessionError::Wire(e) => Some(e.to_string()),
            SessionError::NotAdmitted(says) => Some(says.clone()),
            SessionError::Store(_) => Some(
                "this device can't write to its store; what it confirmed is kept, do it again later"
                    .to_owned(),
            ),
        }
    }
}
