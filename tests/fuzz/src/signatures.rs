//! Signatures over histories and over records of a crew: good exactly where a known key made them over just this.
//!
//! The input is the content of a frame of signatures, or of one of records.

use crate::alter::Alter;
use crate::frames;
use crate::sign::{self, SignedRecord};
use crate::tree;
use firnbook_core::crew::Record;
use firnbook_core::day::{Cover, DayId, MAX_TIPS};
use firnbook_core::exchange::wire::{Records, Signatures};

/// Checks an input. `true`: it has a good signature.
pub fn check(bytes: &[u8]) -> bool {
    let mut good = false;
    if let Ok(signatures) = ciborium::from_reader::<Signatures, _>(bytes) {
        for cover in signatures.covers().unwrap_or_default() {
            good |= check_cover(&cover, DayId(*signatures.day));
        }
    }
    if let Ok(records) = ciborium::from_reader::<Records, _>(bytes) {
        for record in &records.records {
            good |= check_record(record);
        }
    }
    good | check_record(bytes)
}

fn check_cover(cover: &Cover, day: DayId) -> bool {
    // An ed25519 signature follows from the key and the message alone, so there is just one.
    let made = sign::known(&cover.key).map(|key| sign::history(&key, &day.0, &cover.tips));
    let in_form =
        (1..=MAX_TIPS).contains(&cover.tips.len()) && cover.tips.windows(2).all(|pair| pair[0] < pair[1]);
    let good = cover.is_good(day);
    assert_eq!(good, in_form && made == Some(cover.signature), "{cover:?} of {day}");
    if good {
        for altered in mutants(cover) {
            assert!(!altered.is_good(day), "{altered:?} passes though it was altered");
        }
        let mut other = day;
        other.0[15] ^= 1;
        assert!(!cover.is_good(other), "a signature passes for another day");
    }
    good
}

/// The same cover with one bit turned in each of its parts, and with one tip less or more.
fn mutants(cover: &Cover) -> Vec<Cover> {
    let at = usize::from(cover.signature[0]);
    let mut mutants = vec![cover.clone(); 5];
    mutants[0].key[at % 32] ^= 1 << (at % 8);
    mutants[1].signature[at % 64] ^= 1 << (at % 8);
    mutants[2].tips[at % cover.tips.len()][at % 32] ^= 1 << (at % 8);
    mutants[3].tips.pop();
    mutants[4].tips.push([0xff; 32]);
    mutants
}

fn check_record(bytes: &[u8]) -> bool {
    let Ok(record) = Record::read(bytes) else { return false };
    assert_eq!(record.bytes(), bytes, "a record has two spellings");
    let by_known = sign::known(&record.by).is_some();
    assert!(by_known || of_the_crew(bytes), "a record is read whose key signed nothing");
    let again = SignedRecord::parse(bytes).map(SignedRecord::bytes);
    assert_eq!(again.as_deref(), Some(bytes), "a record is read that its key did not sign");
    true
}

/// Whether it is one of the records that devices signed whose keys are not known to the fuzzer.
fn of_the_crew(bytes: &[u8]) -> bool {
    crate::devices::records().iter().any(|record| record.bytes() == bytes)
}

/// Alters one value, and mostly signs again.
#[must_use]
pub fn altered(bytes: &[u8], alter: &mut Alter) -> Option<Vec<u8>> {
    let mut value = tree::parse(bytes)?;
    for _ in 0..=alter.roll(3) {
        let day = frames::day_of(&value);
        tree::alter(&mut value, day, alter);
    }
    if alter.roll(4) > 0 {
        let day = frames::day_of(&value);
        sign::histories(&mut value, &day, &[]);
    }
    Some(tree::bytes(&value))
}
