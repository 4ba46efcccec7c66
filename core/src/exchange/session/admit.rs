//! Who may take part: the first frames of a session, up to where both know that the other belongs to the crew.

use super::super::wire::{Frame, Hello, PROTOCOL, Records, WireError, plain};
use super::{Out, Peer, Role, Session, SessionError, Stage};
use crate::crew::{Act, Joining, Member, Record, RecordId};
use crate::day::DeviceId;
use serde_bytes::ByteBuf;
use std::collections::HashSet;

/// The first frame of records, in bytes unless one record has more; each next one is twice as large. So a link that is cut every few kilobytes
/// gets on with them too.
const FIRST_RECORDS: usize = 1 << 10;
/// The largest one: well below the bounds of a frame.
const MOST_RECORDS: usize = 256 << 10;

impl Session {
    pub(super) fn greeted(&mut self, hello: Hello) -> Result<(), SessionError> {
        if hello.v != PROTOCOL {
            return Err(if hello.v > PROTOCOL {
                SessionError::Newer(hello.v)
            } else {
                SessionError::Older(hello.v)
            });
        }
        self.stamp_came(hello.stamp);
        let device = DeviceId(*hello.device);
        let label = plain(&hello.label);
        (self.progress.peer, self.report.peer) = (Some(device), Some(device));
        (self.progress.peer_label, self.report.peer_label) = (label.clone(), label);
        self.report.peer_clock = hello.clock;
        if device == self.host.device() {
            return Err(refused(
                "this is the same device, or a copy of it: remove the file .device beside the copied store, so that it becomes another device",
            ));
        }
        let ours = self.crew.as_ref().map(|c| c.ring.crew);
        if ours != hello.crew.map(|c| *c) {
            return Err(refused("the two devices are not of the same crew"));
        }
        self.known(device, hello.join.is_some())?;
        if self.role == Role::Base {
            self.let_in(&hello)?;
        }
        let equal = match (&self.crew, &hello.roster) {
            (Some(crew), Some(theirs)) => crew.roster.hash() == **theirs,
            _ => true,
        };
        self.their = Some(hello);
        self.stage = Stage::Roster;
        if self.role == Role::Base {
            self.queue.push_back(Out::Hello);
        }
        if equal {
            return self.admit();
        }
        self.queue.push_back(Out::Roster);
        Ok(())
    }

    /// The device is the one whose key the channel has proved, and was not removed. One that is not known yet may still show its records.
    fn known(&self, device: DeviceId, joins: bool) -> Result<(), SessionError> {
        let Some(crew) = &self.crew else { return Ok(()) };
        let key = match &self.peer {
            Peer::Key { exchange, .. } => Some(exchange),
            Peer::Cable => None,
        };
        // One that was invited anew comes with another key.
        let id = if joins && key.is_some() { [0; 16] } else { device.0 };
        if let Some(removed) = crew.roster.was_removed(id, key) {
            return Err(refused(&format!(
                "device {device} ({}) was removed from the crew; a member can invite it anew",
                plain(&removed.label)
            )));
        }
        let owner = key.and_then(|k| crew.roster.exchanging_as(k));
        if owner.is_some_and(|m| *m.device != device.0) {
            return Err(refused("this key belongs to another device of the crew"));
        }
        Ok(())
    }

    /// Lets a device in that comes with a ticket, and sees to it that it gets the key that holds now.
    fn let_in(&mut self, hello: &Hello) -> Result<(), SessionError> {
        let (Some(crew), Peer::Key { exchange, .. }) = (&self.crew, &self.peer) else { return Ok(()) };
        let now_s = self.host.now_ms().div_euclid(1000);
        let mut member = crew.roster.exchanging_as(exchange).cloned();
        if let (None, Some(join)) = (&member, &hello.join) {
            let record = Record::read(join).map_err(|e| refused(&e.to_string()))?;
            let joining = self.joining(&record, hello)?;
            match crew.roster.may_join(&record, now_s) {
                Joining::Welcome => {}
                Joining::Uninvited => {
                    return Err(refused(
                        "this invitation is not known here: it was withdrawn, or made on a device that has not been here since",
                    ));
                }
                Joining::Late(_) => {
                    return Err(refused("this invitation's time is over by base's clock; ask for a new one"));
                }
                Joining::Used(label) => {
                    return Err(refused(&format!(
                        "this invitation was used by {}; each one lets one device in, ask for a new one",
                        plain(&label)
                    )));
                }
                Joining::NoJoin => return Err(WireError::Misplaced("hello").into()),
            }
            self.host.shelf().store.keep_crew_records(&[record])?;
            self.report.let_in = true;
            member = Some(joining);
        }
        if let Some(member) = member {
            self.host.shelf().hand_key_to(&member, now_s)?;
        }
        self.crew = self.host.crew()?;
        Ok(())
    }

    /// The member that a record of joining speaks of: the device that is there.
    fn joining(&self, record: &Record, hello: &Hello) -> Result<Member, SessionError> {
        let Act::Join { member, .. } = &record.act else { return Err(WireError::Misplaced("hello").into()) };
        let key = matches!(&self.peer, Peer::Key { exchange, .. } if *exchange == *member.exchange);
        if !key || member.device != hello.device {
            return Err(refused("this record of joining belongs to another device"));
        }
        Ok(member.clone())
    }

    pub(super) fn roster(&self) -> Result<Frame, SessionError> {
        let records = self.host.shelf().store.crew_records()?;
        Ok(Frame::Roster(records.iter().map(Record::id).collect()))
    }

    pub(super) fn send_records(&mut self, have: &[RecordId]) -> Result<(), SessionError> {
        let have: HashSet<&RecordId> = have.iter().collect();
        let (mut frame, mut bytes, mut room) = (Records::default(), 0, FIRST_RECORDS);
        for record in self.host.shelf().store.crew_records()?.iter().filter(|r| !have.contains(&r.id())) {
            if bytes > 0 && bytes + record.bytes().len() > room {
                let full = Records { more: true, ..std::mem::take(&mut frame) };
                self.urgent.push_back(Frame::Records(full));
                (bytes, room) = (0, (room * 2).min(MOST_RECORDS));
            }
            bytes += record.bytes().len();
            frame.records.push(ByteBuf::from(record.bytes().to_vec()));
        }
        self.urgent.push_back(Frame::Records(frame));
        self.said.records_sent = true;
        if self.said.records_came && !self.handing_over() {
            self.days_begin();
        }
        Ok(())
    }

    pub(super) fn records_came(&mut self, came: Records) -> Result<(), SessionError> {
        let records: Vec<Record> = came
            .records
            .iter()
            .map(|r| Record::read(r))
            .collect::<Result<_, _>>()
            .map_err(|e| refused(&e.to_string()))?;
        self.host.shelf().store.keep_crew_records(&records)?;
        self.progress.records += records.len();
        if came.more {
            return Ok(());
        }
        self.crew = self.host.crew()?;
        self.said.records_came = true;
        self.admit()
    }

    /// Both belong to the crew: the days may come.
    fn admit(&mut self) -> Result<(), SessionError> {
        let Some(their) = &self.their else { return Ok(()) };
        let device = DeviceId(*their.device);
        self.known(device, their.join.is_some())?;
        if let Some(crew) = &self.crew {
            let me = self.host.device();
            if let (Peer::Key { exchange, .. }, false) = (&self.peer, self.handing_over()) {
                let member = crew.roster.exchanging_as(exchange).is_some_and(|m| *m.device == device.0);
                if !member {
                    return Err(refused("this device is no member of the crew; ask for an invitation"));
                }
            }
            if crew.roster.was_removed([0; 16], Some(&crew.ring.keys.exchanges_as())).is_some() {
                return Err(refused(&format!(
                    "device {me} was removed from the crew; a member can invite it anew"
                )));
            }
        }
        let equal = !self.said.records_came;
        if !self.handing_over() && (equal || self.said.records_sent) {
            self.days_begin();
        }
        Ok(())
    }

    fn days_begin(&mut self) {
        if self.stage < Stage::Days {
            self.stage = Stage::Days;
            self.queue.push_back(Out::Days);
        }
    }

    /// The channel stands on a key that is no longer the crew's.
    fn handing_over(&self) -> bool {
        self.old_key || self.their.as_ref().is_some_and(|h| h.old_key)
    }

    /// The roster has been handed over, and that is all that was to be done.
    pub(super) fn handed_over(&self) -> bool {
        let exchanged = self.said.records_came && self.said.records_sent;
        let equal = match (&self.crew, &self.their) {
            (Some(crew), Some(their)) => their.roster.is_some_and(|r| *r == crew.roster.hash()),
            _ => false,
        };
        self.their.is_some() && self.handing_over() && (exchanged || equal)
    }
}

fn refused(says: &str) -> SessionError {
    SessionError::NotAdmitted(says.to_owned())
}
