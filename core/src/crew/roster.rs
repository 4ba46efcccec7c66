//! The roster: what a set of signed records says about who belongs to a crew. The same set gives the same roster on every device, whatever the
//! order in which it came.
//!
//! Rules. A device belongs to the crew if it founded it, or if it signed itself in with a ticket that a member's invitation names; of several
//! devices with one ticket the record with the smallest id counts. A removed device is out for good, and of what it signed only that counts
//! which a remover knew: so removing beats inviting at the same time. Where two devices remove each other, the one nearer to the founder stays.

use super::keys::KeyId;
use super::record::{Act, Member, Record, RecordId, Rotation};
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};

/// Identity of a crew: that of the record that founded it, and so of its founder's key.
pub type CrewId = RecordId;

/// Who belongs to a crew, worked out from its records.
#[derive(Clone, Debug, Default)]
pub struct Roster {
    members: BTreeMap<[u8; 16], Member>,
    removed: BTreeMap<[u8; 16], (Member, i64)>,
    open: BTreeMap<[u8; 32], i64>,
    used: BTreeMap<[u8; 32], String>,
    rotation: Option<Rotation>,
    sealed: BTreeMap<[u8; 16], Vec<u8>>,
    by: BTreeMap<[u8; 32], Vec<RecordId>>,
    hash: [u8; 8],
}

/// Whether a device that asks to join may.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Joining {
    /// It may.
    Welcome,
    /// No invitation names its ticket.
    Uninvited,
    /// The invitation's time is over; the second it ended.
    Late(i64),
    /// Another device, of this label, came with the same ticket.
    Used(String),
    /// What it sent is no record of a device joining.
    NoJoin,
}

/// A device on its way through the rules.
struct Entrant<'a> {
    member: &'a Member,
    /// How many invitations lie between it and the founder.
    depth: usize,
    /// The record that brought it in.
    record: RecordId,
    /// When, as that record says.
    at: i64,
    /// Who invited it, and by which record; none for the founder.
    invited: Option<([u8; 32], RecordId)>,
}

impl Roster {
    /// The roster of `crew` by these records; those of other crews and of nobody count for nothing.
    #[must_use]
    pub fn of(crew: CrewId, records: &[Record]) -> Roster {
        let mut sorted: Vec<(RecordId, &Record)> = records.iter().map(|r| (r.id(), r)).collect();
        sorted.sort_by_key(|(id, _)| *id);
        sorted.dedup_by_key(|(id, _)| *id);
        let entrants = entrants(crew, &sorted);
        let removals = removals(&entrants, &sorted);
        let mut roster = Roster { hash: hash_of(&sorted), ..Roster::default() };
        for (id, record) in &sorted {
            roster.by.entry(record.by).or_default().push(*id);
        }
        let counts = |by: &[u8; 32], id: &RecordId| match removals.get(by) {
            Some(removal) => removal.keeps.contains(id),
            None => true,
        };
        // In the order of depth: an inviter is settled before those it invited.
        let mut standing: BTreeSet<[u8; 32]> = BTreeSet::new();
        let mut since: BTreeMap<[u8; 16], i64> = BTreeMap::new();
        for entrant in &entrants {
            let invited = match &entrant.invited {
                None => true,
                Some((by, invitation)) => standing.contains(by) && counts(by, invitation),
            };
            if !invited {
                continue;
            }
            standing.insert(*entrant.member.sign);
            match removals.get(&*entrant.member.sign) {
                Some(removal) => {
                    roster.removed.insert(*entrant.member.device, (entrant.member.clone(), removal.at));
                }
                // A device that came twice, as its keys were lost, is known by its latest ones.
                None if since.get(&*entrant.member.device).is_none_or(|held| *held <= entrant.at) => {
                    since.insert(*entrant.member.device, entrant.at);
                    roster.members.insert(*entrant.member.device, entrant.member.clone());
                }
                None => {}
            }
        }
        let speaks = |record: &Record, id: &RecordId| standing.contains(&record.by) && counts(&record.by, id);
        for (id, record) in &sorted {
            match &record.act {
                Act::Invite { ticket, until, .. } if speaks(record, id) => {
                    roster.open.insert(**ticket, *until);
                }
                Act::Rotate { number, key, sealed, .. } if speaks(record, id) => {
                    let rotation = (*number, **key);
                    if roster.rotation.is_none_or(|held| held < rotation) {
                        roster.rotation = Some(rotation);
                        roster.sealed.clear();
                    }
                    if roster.rotation == Some(rotation) {
                        let readable =
                            sealed.iter().filter_map(|(d, s)| Some((super::unhex(d)?, s.to_vec())));
                        roster.sealed.extend(readable);
                    }
                }
                _ => {}
            }
        }
        for entrant in &entrants {
            if let Some((ticket, label)) = used(entrant, &sorted) {
                roster.used.insert(ticket, label);
            }
        }
        roster
    }

    /// The devices that belong to the crew, by id.
    pub fn members(&self) -> impl Iterator<Item = &Member> {
        self.members.values()
    }

    /// The devices that were removed, each with the second at which it was, by the remover's clock.
    pub fn removed(&self) -> impl Iterator<Item = (&Member, i64)> {
        self.removed.values().map(|(m, at)| (m, *at))
    }

    /// The member with this device id.
    #[must_use]
    pub fn member(&self, device: [u8; 16]) -> Option<&Member> {
        self.members.get(&device)
    }

    /// The member with this key in live exchanges.
    #[must_use]
    pub fn exchanging_as(&self, key: &[u8; 32]) -> Option<&Member> {
        self.members.values().find(|m| *m.exchange == *key)
    }

    /// The removed device with this id or with this key in live exchanges.
    #[must_use]
    pub fn was_removed(&self, device: [u8; 16], key: Option<&[u8; 32]>) -> Option<&Member> {
        let mut removed = self.removed.values().map(|(m, _)| m);
        removed.find(|m| {
            let again = self.members.contains_key(&*m.device);
            (*m.device == device && !again) || key.is_some_and(|k| *m.exchange == *k)
        })
    }

    /// What is known of a device that signs with this key.
    #[must_use]
    pub fn signing_as(&self, key: &[u8; 32]) -> Signing<'_> {
        if let Some(member) = self.members.values().find(|m| *m.sign == *key) {
            return Signing::Member(member);
        }
        let removed = self.removed.values().find(|(m, _)| *m.sign == *key);
        removed.map_or(Signing::Unknown, |(m, at)| Signing::Removed(m, *at))
    }

    /// The key that holds now; `None` as long as it is the one the crew began with.
    #[must_use]
    pub fn rotation(&self) -> Option<(u64, KeyId)> {
        self.rotation
    }

    /// That key, sealed to this device.
    #[must_use]
    pub fn sealed_to(&self, device: [u8; 16]) -> Option<&[u8]> {
        self.sealed.get(&device).map(Vec::as_slice)
    }

    /// The records that this key signed.
    #[must_use]
    pub fn signed_by(&self, key: &[u8; 32]) -> &[RecordId] {
        self.by.get(key).map_or(&[], Vec::as_slice)
    }

    /// A hash of the set of records: equal sets, equal hashes.
    #[must_use]
    pub fn hash(&self) -> [u8; 8] {
        self.hash
    }

    /// Whether a door opens for this record at this second.
    #[must_use]
    pub fn may_join(&self, record: &Record, now: i64) -> Joining {
        let Act::Join { member, .. } = &record.act else { return Joining::NoJoin };
        if self.members.get(&*member.device).is_some_and(|m| m == member) {
            return Joining::Welcome;
        }
        if let Some(label) = self.used.get(&record.by) {
            return Joining::Used(label.clone());
        }
        match self.open.get(&record.by) {
            None => Joining::Uninvited,
            Some(until) if now > *until => Joining::Late(*until),
            Some(_) => Joining::Welcome,
        }
    }
}

/// The ticket with which a device came, and the device's label.
fn used(entrant: &Entrant<'_>, records: &[(RecordId, &Record)]) -> Option<([u8; 32], String)> {
    let at = records.binary_search_by_key(&entrant.record, |(id, _)| *id).ok()?;
    matches!(records[at].1.act, Act::Join { .. }).then(|| (records[at].1.by, entrant.member.label.clone()))
}

/// What a roster says of a key for signatures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Signing<'a> {
    /// A member's.
    Member(&'a Member),
    /// That of a device that was removed, and the second at which it was, by the remover's clock.
    Removed(&'a Member, i64),
    /// Nobody's that is known here.
    Unknown,
}

/// Everyone who ever came in, removals aside, the founder first, then by depth and record.
fn entrants<'a>(crew: CrewId, records: &[(RecordId, &'a Record)]) -> Vec<Entrant<'a>> {
    let mut found: Vec<Entrant<'a>> = Vec::new();
    for (id, record) in records {
        if let Act::Found { member, at, .. } = &record.act
            && *id == crew
            && record.by == *member.sign
        {
            found.push(Entrant { member, depth: 0, record: *id, at: *at, invited: None });
        }
    }
    let mut taken: BTreeSet<[u8; 32]> = BTreeSet::new();
    let mut from = 0;
    while from < found.len() {
        let depth = found[from].depth;
        let inviters: BTreeSet<[u8; 32]> = found[from..].iter().map(|e| *e.member.sign).collect();
        from = found.len();
        let mut tickets: BTreeMap<[u8; 32], ([u8; 32], RecordId)> = BTreeMap::new();
        for (id, record) in records {
            if let Act::Invite { ticket, .. } = &record.act
                && inviters.contains(&record.by)
            {
                tickets.entry(**ticket).or_insert((record.by, *id));
            }
        }
        for (id, record) in records {
            let Act::Join { member, at } = &record.act else { continue };
            let Some(invited) = tickets.get(&record.by) else { continue };
            let known = found.iter().any(|e| e.member.sign == member.sign);
            if !known && taken.insert(record.by) {
                found.push(Entrant {
                    member,
                    depth: depth + 1,
                    record: *id,
                    at: *at,
                    invited: Some(*invited),
                });
            }
        }
    }
    found
}

/// A device's removal: the records of it that count, and when it was.
struct Removal {
    keeps: BTreeSet<RecordId>,
    at: i64,
}

/// Who is removed, by signing key. Those nearer to the founder speak first; a removed device's removals count only where a remover kept them.
fn removals(entrants: &[Entrant<'_>], records: &[(RecordId, &Record)]) -> BTreeMap<[u8; 32], Removal> {
    let mut removals: BTreeMap<[u8; 32], Removal> = BTreeMap::new();
    for entrant in entrants {
        let signer = &*entrant.member.sign;
        for (id, record) in records.iter().filter(|(_, r)| r.by == *signer) {
            let Act::Remove { sign, keeps, at } = &record.act else { continue };
            if removals.get(signer).is_some_and(|r| !r.keeps.contains(id)) {
                continue;
            }
            for target in entrants.iter().filter(|e| e.member.sign == *sign) {
                let removal = removals
                    .entry(*target.member.sign)
                    .or_insert(Removal { keeps: BTreeSet::new(), at: *at });
                removal.keeps.extend(keeps.iter().map(|k| **k));
                removal.at = removal.at.min(*at);
            }
        }
    }
    removals
}

fn hash_of(records: &[(RecordId, &Record)]) -> [u8; 8] {
    let hash = records.iter().fold(Sha256::new(), |hash, (id, _)| hash.chain_update(id)).finalize();
    let mut short = [0; 8];
    short.copy_from_slice(&hash[..8]);
    short
}

#[cfg(test)]
mod tests {
    use super::super::keys::{DeviceKeys, Ticket};
    use super::*;
    use proptest::prelude::*;
    use serde_bytes::{ByteArray, ByteBuf};

    struct Device {
        id: [u8; 16],
        keys: DeviceKeys,
    }

    fn device(n: u8) -> Device {
        Device { id: [n; 16], keys: DeviceKeys::fresh().unwrap() }
    }

    fn member(d: &Device) -> Member {
        Member::of(d.id, &format!("Phone {}", d.id[0]), &d.keys)
    }

    fn found(d: &Device) -> (CrewId, Record) {
        let act = Act::Found { member: member(d), salt: ByteBuf::from(vec![0; 16]), at: 100 };
        let record = Record::by_device(act, &d.keys);
        (record.id(), record)
    }

    fn invite(by: &Device) -> (Ticket, Record) {
        let ticket = Ticket::fresh().unwrap();
        let act = Act::Invite { ticket: ByteArray::new(ticket.public()), until: 1_000, at: 100 };
        (ticket, Record::by_device(act, &by.keys))
    }

    fn join(d: &Device, ticket: &Ticket) -> Record {
        Record::by_ticket(Act::Join { member: member(d), at: 100 }, ticket)
    }

    fn remove(by: &Device, target: &Device, known: &[Record]) -> Record {
        let keeps = known.iter().filter(|r| r.by == target.keys.signs_as()).map(|r| ByteArray::new(r.id()));
        let act =
            Act::Remove { sign: ByteArray::new(target.keys.signs_as()), keeps: keeps.collect(), at: 200 };
        Record::by_device(act, &by.keys)
    }

    fn ids(roster: &Roster) -> Vec<u8> {
        roster.members().map(|m| m.device[0]).collect()
    }

    #[test]
    fn a_ticket_lets_one_device_in_and_only_in_time() {
        let (base, one, two) = (device(1), device(2), device(3));
        let (crew, founding) = found(&base);
        let (ticket, invitation) = invite(&base);
        let mut records = vec![founding, invitation];
        let roster = Roster::of(crew, &records);
        let joining = join(&one, &ticket);
        assert_eq!(roster.may_join(&joining, 999), Joining::Welcome);
        assert_eq!(roster.may_join(&joining, 1_001), Joining::Late(1_000));
        assert_eq!(roster.may_join(&join(&one, &Ticket::fresh().unwrap()), 500), Joining::Uninvited);
        records.push(joining.clone());
        let roster = Roster::of(crew, &records);
        assert_eq!(ids(&roster), [1, 2]);
        assert_eq!(roster.may_join(&joining, 5_000), Joining::Welcome);
        assert_eq!(roster.may_join(&join(&two, &ticket), 500), Joining::Used("Phone 2".to_owned()));
        assert!(roster.exchanging_as(&one.keys.exchanges_as()).is_some());
    }

    #[test]
    fn nobody_speaks_for_a_crew_that_is_not_in_it() {
        let (base, stranger, friend) = (device(1), device(8), device(9));
        let (crew, founding) = found(&base);
        let (_, other_crew) = found(&stranger);
        let (ticket, invitation) = invite(&stranger);
        let records =
            vec![founding, other_crew, invitation, join(&friend, &ticket), remove(&stranger, &base, &[])];
        assert_eq!(ids(&Roster::of(crew, &records)), [1]);
    }

    #[test]
    fn removing_beats_inviting_at_the_same_time_and_keeps_what_was_known() {
        let (base, lead, old, new) = (device(1), device(2), device(3), device(4));
        let (crew, founding) = found(&base);
        let (for_lead, invitation) = invite(&base);
        let (for_old, known) = invite(&lead);
        let mut records = vec![founding, invitation, join(&lead, &for_lead), known, join(&old, &for_old)];
        let removal = remove(&base, &lead, &records);
        let (for_new, unknown) = invite(&lead);
        records.extend([removal, unknown, join(&new, &for_new)]);
        let roster = Roster::of(crew, &records);
        assert_eq!(ids(&roster), [1, 3]);
        assert!(roster.was_removed(lead.id, None).is_some());
        assert!(roster.was_removed([0; 16], Some(&lead.keys.exchanges_as())).is_some());
    }

    #[test]
    fn a_removed_device_can_remove_nobody() {
        let (base, lead) = (device(1), device(2));
        let (crew, founding) = found(&base);
        let (ticket, invitation) = invite(&base);
        let mut records = vec![founding, invitation, join(&lead, &ticket)];
        let (one, other) = (remove(&base, &lead, &records), remove(&lead, &base, &records));
        records.extend([one, other]);
        assert_eq!(ids(&Roster::of(crew, &records)), [1]);
    }

    #[test]
    fn the_latest_key_counts_and_its_records_add_up() {
        let base = device(1);
        let (crew, founding) = found(&base);
        let rotate = |number, key: u8, to: u8| {
            let sealed = BTreeMap::from([(super::super::hex(&[to; 16]), ByteBuf::from(vec![key]))]);
            Record::by_device(
                Act::Rotate { number, key: ByteArray::new([key; 8]), sealed, at: 1 },
                &base.keys,
            )
        };
        let records = vec![founding, rotate(1, 9, 1), rotate(2, 4, 1), rotate(2, 4, 2), rotate(2, 3, 1)];
        let roster = Roster::of(crew, &records);
        assert_eq!(roster.rotation(), Some((2, [4; 8])));
        assert_eq!((roster.sealed_to([1; 16]), roster.sealed_to([2; 16])), (Some(&[4][..]), Some(&[4][..])));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        /// Whatever the order in which records come, and however often, the roster is the same.
        #[test]
        fn the_order_of_records_makes_no_difference(order in Just((0..9).collect::<Vec<usize>>()).prop_shuffle(), twice in 0..9_usize) {
            let (base, a, b, c) = (device(1), device(2), device(3), device(4));
            let (crew, founding) = found(&base);
            let (for_a, invite_a) = invite(&base);
            let (for_b, invite_b) = invite(&base);
            let mut records = vec![founding, invite_a, join(&a, &for_a), invite_b, join(&b, &for_b)];
            let (a_out, b_out) = (remove(&b, &a, &records), remove(&a, &b, &records));
            let (for_c, invite_c) = invite(&b);
            records.extend([a_out, b_out, invite_c, join(&c, &for_c)]);
            let mut shuffled: Vec<Record> = order.iter().map(|i| records[*i].clone()).collect();
            shuffled.push(records[twice].clone());
            let (one, other) = (Roster::of(crew, &records), Roster::of(crew, &shuffled));
            prop_assert_eq!(ids(&one), ids(&other));
            prop_assert_eq!(one.hash(), other.hash());
            // Of two that remove each other one stays; what the other one signed meanwhile is void.
            prop_assert!([&[1, 2][..], &[1, 3, 4][..]].contains(&ids(&one).as_slice()), "{:?}", ids(&one));
        }
    }
}
