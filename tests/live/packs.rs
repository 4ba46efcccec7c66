//! Packs and closed days under the signature of a crew's device, and packs that only the crew can open.

use super::crew::{Base, Team, sync};
use firnbook_core::day::History;
use firnbook_core::exchange::PackError;
use firnbook_core::logbook::{LogbookError, PackSignature, SealSignature};
use firnbook_tests::rogue::{Rogue, change};
use firnbook_tests::{Phone, strike};

/// A crew of two phones that all know one another; each phone has written something since.
fn team() -> Team {
    let mut team = Team::new(2);
    let base = Base::listen(&team.base);
    for phone in team.phones.iter().chain(&team.phones) {
        sync(phone, &base).unwrap();
    }
    for phone in &mut team.phones {
        phone.write(strike(80));
    }
    team
}

fn signature(phone: &mut Phone, pack: &[u8]) -> (PackSignature, Option<String>) {
    let by = phone.book.merge(pack, false).unwrap().made_by.unwrap();
    (by.signature, by.label)
}

fn refused(phone: &mut Phone, pack: &[u8]) -> PackError {
    let before = phone.book.days().unwrap();
    let Err(LogbookError::Pack(error)) = phone.book.merge(pack, false) else { panic!("it was taken") };
    assert_eq!(phone.book.days().unwrap(), before);
    error
}

/// The pack with other bytes in a place, and a checksum that fits again, as someone does who wants to deceive.
fn forged(pack: &[u8], at: usize, with: &[u8]) -> Vec<u8> {
    use sha2::{Digest, Sha256};
    let mut body = pack[..pack.len() - 32].to_vec();
    body[at..at + with.len()].copy_from_slice(with);
    let hash = Sha256::digest(&body);
    [&body[..], &hash].concat()
}

#[test]
fn merging_says_who_signed() {
    let mut team = team();
    let pack = team.phones[0].pack();
    assert_eq!(signature(&mut team.base, &pack), (PackSignature::Member, Some("Phone 0".to_owned())));
    // Again: nothing new, and still signed.
    let again = team.base.book.merge(&pack, false).unwrap();
    assert!(again.known() && again.made_by.unwrap().signature == PackSignature::Member);
    let mut alone = Phone::new("Alone");
    assert_eq!(signature(&mut alone, &pack), (PackSignature::Unchecked, None));
    let unsigned = alone.pack();
    assert_eq!(signature(&mut team.base, &unsigned), (PackSignature::None, None));
    let mut others = Team::new(1);
    assert_eq!(signature(&mut others.base, &pack), (PackSignature::OtherCrew, None));
    // One that was let in elsewhere, of whom base has not heard.
    let invitation = team.phones[0].book.invite(1, Vec::new(), None).unwrap();
    let mut third = Phone::new("Third");
    third.book.join_crew(&invitation, "Third").unwrap();
    assert_eq!(signature(&mut team.base, &third.pack()), (PackSignature::Unknown, None));
}

#[test]
fn a_signature_that_was_cut_or_altered_is_refused_and_so_is_what_it_no_longer_covers() {
    let mut team = team();
    let pack = team.phones[0].pack();
    let signature_at = pack.len() - 32 - 64;
    for at in [signature_at, signature_at + 63] {
        assert_eq!(refused(&mut team.base, &forged(&pack, at, &[pack[at] ^ 1])), PackError::Forged);
    }
    // Another area in the manifest, another device, another crew, another key.
    let find = |word: &str| pack.windows(word.len()).position(|w| w == word.as_bytes()).unwrap();
    let area = find("Upper Bowl");
    assert_eq!(refused(&mut team.base, &forged(&pack, area, b"Lower Bowl")), PackError::Forged);
    for field in ["\"device\":\"", "\"crew\":\""] {
        let at = find(field) + field.len();
        assert_eq!(refused(&mut team.base, &forged(&pack, at, b"00")), PackError::Forged, "{field}");
    }
    let key = find("\"key\":\"") + 7;
    assert!(matches!(refused(&mut team.base, &forged(&pack, key, b"00")), PackError::Forged));
    assert!(matches!(refused(&mut team.base, &forged(&pack, key, b"zz")), PackError::Damaged(_)));
    for cut in [pack.len() - 1, pack.len() - 32, pack.len() - 40, signature_at] {
        assert!(matches!(refused(&mut team.base, &pack[..cut]), PackError::Damaged(_)), "cut at {cut}");
    }
    // Cut out, with a checksum that fits.
    let cut = [&pack[..signature_at], &pack[pack.len() - 32..]].concat();
    assert!(matches!(refused(&mut team.base, &forged(&cut, 0, b"F")), PackError::Damaged(_)));
    team.base.book.merge(&pack, false).unwrap();
}

#[test]
fn a_removed_device_hands_nothing_in_and_what_others_carry_of_it_is_taken() {
    let mut team = team();
    let (mut gone, other) = (team.phones.remove(0), team.phones.remove(0));
    let mut carrier = other;
    carrier.merge(&gone);
    team.base.book.remove_from_crew("Phone 0").unwrap();
    let says = refused(&mut team.base, &gone.pack());
    assert!(matches!(says, PackError::Removed { .. }) && says.to_string().contains("Phone 0"), "{says}");
    // Without a signature it is still known by its device.
    let sealed = gone.book.pack_for_crew(&[gone.day]).unwrap().bytes;
    assert!(matches!(refused(&mut team.base, &sealed), PackError::Removed { .. }));
    gone.book.leave_crew().unwrap();
    assert!(matches!(refused(&mut team.base, &gone.pack()), PackError::Removed { .. }));
    let before = team.base.book.day(team.base.day).unwrap().entries;
    team.base.merge(&carrier);
    assert_eq!(team.base.book.day(team.base.day).unwrap().entries, before + 2);
}

#[test]
fn what_a_removed_device_wrote_later_is_taken_and_asked_about() {
    let mut team = team();
    let (mut gone, mut carrier) = (team.phones.remove(0), team.phones.remove(0));
    team.base.clock.forward_ms(60_000);
    team.base.book.remove_from_crew("Phone 0").unwrap();
    gone.clock.forward_ms(120_000);
    let late = gone.write(strike(90));
    carrier.merge(&gone);
    team.base.merge(&carrier);
    let doubt = |book: &firnbook_core::logbook::Logbook| {
        let items = book.review(team.base.day).unwrap();
        items.into_iter().find(|i| i.item.ends_with("!removed"))
    };
    let found = doubt(&team.base.book).unwrap();
    assert_eq!(found.entries, [late]);
    assert!(doubt(&gone.book).is_none(), "it has not heard of it");
}

#[test]
fn a_sealed_pack_opens_to_the_crew_only() {
    let mut team = team();
    let sealed = team.phones[0].book.pack_for_crew(&[team.phones[0].day]).unwrap();
    assert!(sealed.bytes.starts_with(b"age-encryption.org/v1\n"));
    for word in ["strike", "Obs0", "Upper Bowl", "FIRNPACK"] {
        assert!(!sealed.bytes.windows(word.len()).any(|w| w == word.as_bytes()), "{word} stands in it");
    }
    assert_eq!(signature(&mut team.base, &sealed.bytes), (PackSignature::Member, Some("Phone 0".to_owned())));
    // After another key: what was sealed before opens still.
    team.base.book.rotate_crew_key().unwrap();
    assert_eq!(signature(&mut team.base, &sealed.bytes).0, PackSignature::Member);
    // What is sealed to the new key does not open to who has not got it yet.
    let newer = team.base.book.pack_for_crew(&[team.base.day]).unwrap().bytes;
    assert_eq!(refused(&mut team.phones[1], &newer), PackError::Sealed);
    assert_eq!(refused(&mut Team::new(1).base, &sealed.bytes), PackError::Sealed);
    assert_eq!(refused(&mut Phone::new("Alone"), &sealed.bytes), PackError::SealedForOthers);
    for at in [0, 30, 60, sealed.bytes.len() / 2, sealed.bytes.len() - 1] {
        let mut altered = sealed.bytes.clone();
        altered[at] ^= 1;
        refused(&mut team.base, &altered);
        refused(&mut team.base, &sealed.bytes[..at]);
    }
    assert!(matches!(Phone::new("Alone").book.pack_for_crew(&[]), Err(LogbookError::Crew(_))));
}

#[test]
fn a_day_is_closed_under_a_signature_that_shows_what_came_after() {
    let mut team = team();
    team.base.book.close_day(team.base.day, Some("dark"), "Base").unwrap();
    let seal = &team.base.book.seals(team.base.day).unwrap()[0];
    assert_eq!((seal.signature, seal.label.as_deref(), seal.after), (SealSignature::Good, Some("Base"), 0));
    let late = team.phones[0].pack();
    team.base.book.merge(&late, false).unwrap();
    assert_eq!(team.base.book.seals(team.base.day).unwrap()[0].after, 1);
    // Elsewhere in the crew it reads the same; outside, the signature fits and is nobody's that is known.
    team.phones[1].merge(&team.base);
    assert_eq!(team.phones[1].book.seals(team.base.day).unwrap()[0].signature, SealSignature::Good);
    let mut alone = Phone::new("Alone");
    alone.merge(&team.base);
    assert_eq!(alone.book.seals(alone.day).unwrap()[0].signature, SealSignature::Unknown);
    alone.book.close_day(alone.day, Some("dark"), "Alone").unwrap();
    let seals = alone.book.seals(alone.day).unwrap();
    assert!(seals.iter().any(|s| s.by == "Alone" && s.signature == SealSignature::None), "{seals:?}");
}

#[test]
fn a_seal_over_other_heads_is_false() {
    let mut team = team();
    team.base.book.close_day(team.base.day, Some("dark"), "Base").unwrap();
    let record = team.base.book.record(team.base.day).unwrap();
    let (key, sayings) =
        record.registers.0.iter().find(|(k, _)| k.to_string().starts_with("day/closed")).unwrap();
    // What a member writes who alters the heads and keeps the signature.
    let mut text: serde_json::Value = serde_json::from_str(&sayings[0].text).unwrap();
    text["v"]["heads"][0] = serde_json::json!("00".repeat(32));
    let day = team.base.day;
    let member = Rogue::new(9);
    let forged = change(member.actor(History::Registers), 1, None, &[(key.to_string(), text.to_string())]);
    let cover = member.cover(&[&forged]);
    team.base.book.merge_changes(day, &[forged.bytes], vec![cover]).unwrap();
    let seals = team.base.book.seals(day).unwrap();
    let of = |device| seals.iter().find(|s| s.device == device).unwrap().signature;
    assert_eq!(of(member.device()), SealSignature::False);
    assert_eq!(
        of(team.base.book.device()),
        SealSignature::Good,
        "it can't be put in the place of base's own"
    );
    assert!(team.base.book.verify().unwrap()[0].rows_equal);
}
