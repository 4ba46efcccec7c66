//! A crew over TCP on this machine: founding, inviting, joining, exchanging, removing, another key.

use super::crew::{Base, Team, sync};
use super::link::assert_equal;
use firnbook_core::exchange::Event;
use firnbook_tests::{Phone, strike};
use std::collections::BTreeSet;
use std::time::Duration;

#[test]
fn a_phone_joins_and_hands_over_what_it_has() {
    let mut team = Team::new(2);
    for n in 0..40 {
        team.phones[0].write(strike(50 + n));
        team.base.write(strike(50 + n));
    }
    let base = Base::listen(&team.base);
    let first = sync(&team.phones[0], &base).unwrap();
    assert_eq!((first.report.new_entries, first.calls), (40, 1));
    assert_equal(&team.phones[0], &team.base);
    let crew = team.base.book.crew().unwrap().unwrap();
    assert_eq!(crew.devices.len(), 2);
    assert!(!team.phones[0].book.crew().unwrap().unwrap().joining);
    let second = sync(&team.phones[1], &base).unwrap();
    assert_eq!(second.report.new_entries, 80);
    // The roster has come with it: all three know one another.
    assert_eq!(team.phones[1].book.crew().unwrap().unwrap().devices.len(), 3);
    let again = sync(&team.phones[1], &base).unwrap();
    assert_eq!((again.report.sent, again.report.received), (0, 0));
}

#[test]
fn what_happens_is_told_as_it_happens() {
    let team = Team::new(1);
    let base = Base::listen(&team.base);
    sync(&team.phones[0], &base).unwrap();
    let mut told = Vec::new();
    while let Some(event) = base.base.next_event(Duration::from_millis(500)) {
        told.push(event);
    }
    assert!(matches!(told[0], Event::Arrived { .. }), "{told:?}");
    let Some(Event::Ended { report, error: None, .. }) = told.last() else { panic!("{told:?}") };
    assert_eq!((report.peer_label.as_str(), report.let_in), ("Obs0", true));
}

#[test]
fn a_removed_device_is_refused_and_what_others_carry_of_it_is_taken() {
    let mut team = Team::new(2);
    let base = Base::listen(&team.base);
    team.phones[0].write(strike(70));
    for phone in &team.phones {
        sync(phone, &base).unwrap();
    }
    // What it writes now reaches base only by another one's hand.
    team.phones[0].write(strike(71));
    let carried = team.phones[0].pack();
    team.base.book.remove_from_crew("Phone 0").unwrap();
    let said = sync(&team.phones[0], &base).unwrap_err().to_string();
    assert!(said.contains("removed from the crew"), "{said}");
    team.phones[1].book.merge(&carried, false).unwrap();
    assert_eq!(sync(&team.phones[1], &base).unwrap().report.sent, 1);
    assert_equal(&team.phones[1], &team.base);
    // It can be invited anew, and is another device of the crew's then as far as keys go.
    let invitation = team.base.book.invite(1, Vec::new(), None).unwrap();
    team.phones[0].book.leave_crew().unwrap();
    team.phones[0].book.join_crew(&invitation, "Phone 0").unwrap();
    let again = sync(&team.phones[0], &base);
    assert!(again.is_ok(), "{again:?}");
}

#[test]
fn another_key_is_handed_to_members_only() {
    let mut team = Team::new(3);
    let base = Base::listen(&team.base);
    for phone in &team.phones {
        sync(phone, &base).unwrap();
    }
    team.base.book.remove_from_crew("Phone 2").unwrap();
    let old = team.base.book.crew().unwrap().unwrap().key;
    let new = team.base.book.rotate_crew_key().unwrap().key;
    assert_ne!(old, new);
    team.phones[0].write(strike(80));
    let called = sync(&team.phones[0], &base).unwrap();
    assert_eq!((called.calls, called.report.sent), (2, 1));
    assert_eq!(team.phones[0].book.crew().unwrap().unwrap().key, new);
    assert!(sync(&team.phones[2], &base).is_err());
    assert_eq!(team.phones[2].book.crew().unwrap().unwrap().key, old);
    // A member that has the new key already meets one that has not: the same the other way round.
    drop(base);
    let base = Base::listen(&team.phones[1]);
    let called = sync(&team.phones[0], &base).unwrap();
    assert!(called.calls <= 3, "{called:?}");
    assert_eq!(team.phones[1].book.crew().unwrap().unwrap().key, new);
    assert_equal(&team.phones[0], &team.phones[1]);
}

#[test]
fn a_phone_that_joined_elsewhere_is_known_by_its_records() {
    let mut team = Team::new(1);
    let base = Base::listen(&team.base);
    sync(&team.phones[0], &base).unwrap();
    drop(base);
    // Phone 0 invites a third device, which base has not heard of.
    let invitation = team.phones[0].book.invite(1, Vec::new(), None).unwrap();
    let mut third = Phone::new("Obs9");
    third.book.join_crew(&invitation, "Obs9").unwrap();
    let base = Base::listen(&team.base);
    let said = sync(&third, &base).unwrap_err().to_string();
    assert!(said.contains("not known here"), "{said}");
    let at_phone = Base::listen(&team.phones[0]);
    sync(&third, &at_phone).unwrap();
    sync(&third, &base).unwrap();
    assert_eq!(team.base.book.crew().unwrap().unwrap().devices.len(), 3);
}

#[test]
fn two_bases_on_one_network_do_not_mix() {
    let (one, other) = (Team::new(1), Team::new(1));
    let base = Base::listen(&other.base);
    let said = sync(&one.phones[0], &base).unwrap_err().to_string();
    assert!(said.contains("no base of this crew"), "{said}");
}

#[test]
fn two_leads_who_remove_and_invite_at_once_come_to_one_roster() {
    let mut team = Team::new(2);
    let base = Base::listen(&team.base);
    for phone in &team.phones {
        sync(phone, &base).unwrap();
    }
    sync(&team.phones[0], &base).unwrap();
    drop(base);
    // Base removes one, who at the same time lets someone in; another lead lets someone in as well. None has heard of the others.
    team.base.book.remove_from_crew("Phone 1").unwrap();
    let mut joined = Vec::new();
    for (lead, name) in [(1, "Late"), (0, "New")] {
        let invitation = team.phones[lead].book.invite(1, Vec::new(), None).unwrap();
        let mut phone = Phone::new(name);
        phone.book.join_crew(&invitation, name).unwrap();
        sync(&phone, &Base::listen(&team.phones[lead])).unwrap();
        joined.push(phone);
    }
    let base = Base::listen(&team.base);
    sync(&team.phones[0], &base).unwrap();
    sync(&joined[1], &base).unwrap();
    assert!(sync(&team.phones[1], &base).unwrap_err().to_string().contains("removed from the crew"));
    assert!(sync(&joined[0], &base).is_err());
    let rosters = [&team.base, &team.phones[0], &joined[1]].map(|phone| {
        let devices = phone.book.crew().unwrap().unwrap().devices;
        devices.into_iter().filter(|d| !d.removed).map(|d| d.label).collect::<BTreeSet<_>>()
    });
    let expected = ["Base", "New", "Phone 0"].map(str::to_owned);
    assert_eq!(rosters, [0; 3].map(|_| BTreeSet::from(expected.clone())));
}
