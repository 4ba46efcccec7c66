//! Changes, documents, packs and frames altered at random, with every checksum made to fit again and under a good signature of a member's key:
//! nothing panics, nothing takes long, and the store is as before or has taken the sound part.
//!
//! `FIRNBOOK_MUTANTS` says how many of each; 2,000 by default.

use firnbook_core::crew::Act;
use firnbook_core::day::format::{Bounds, read_change, read_document};
use firnbook_core::day::{Change, Document};
use firnbook_core::exchange::wire::Frames;
use firnbook_core::exchange::{self, Peer, Role, Session};
use firnbook_tests::rogue::{Rogue, beginning, body, change, day};
use firnbook_tests::{Phone, content, map, strike};
use serde_json::json;
use sha2::{Digest, Sha256};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::{Duration, Instant};

fn count() -> u64 {
    std::env::var("FIRNBOOK_MUTANTS").ok().and_then(|n| n.parse().ok()).unwrap_or(2_000)
}

/// The generator of Steele, Lea and Flood (SplitMix64, 2014): the same mutants in every run.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn below(&mut self, n: usize) -> usize {
        (self.next() % n.max(1) as u64) as usize
    }
}

/// Alters bytes from `from` on in one to four places: a bit, a byte, a run of bytes taken out, put in, doubled, or a large number put in.
fn alter(bytes: &mut Vec<u8>, from: usize, dice: &mut Dice) {
    for _ in 0..=dice.below(4) {
        let at = from + dice.below(bytes.len() - from);
        match dice.below(7) {
            0 => bytes[at] ^= 1 << dice.below(8),
            1 => bytes[at] = dice.next() as u8,
            2 => drop(bytes.drain(at..(at + 1 + dice.below(8)).min(bytes.len()))),
            3 => {
                let more: Vec<u8> = (0..=dice.below(8)).map(|_| dice.next() as u8).collect();
                bytes.splice(at..at, more);
            }
            4 => {
                let again = bytes[at..(at + dice.below(40)).min(bytes.len())].to_vec();
                bytes.splice(at..at, again);
            }
            5 => drop(bytes.splice(at..at, [0x80, 0x80, 0x80, 0x80, 0x80, 0x80, 0x01])),
            _ => bytes[at] = [0x00, 0x7f, 0x80, 0xff][dice.below(4)],
        }
        if bytes.len() <= from {
            bytes.push(0);
        }
    }
}

/// Makes the checksum of a chunk fit its content, and its length with it half of the time.
fn fit(chunk: &mut [u8]) {
    if chunk.len() > 8 {
        let hash = Sha256::digest(&chunk[8..]);
        chunk[4..8].copy_from_slice(&hash[..4]);
    }
}

/// Runs `work`, which must neither panic nor take more than two seconds.
fn quietly<T>(what: &str, n: u64, work: impl FnOnce() -> T) -> T {
    let begun = Instant::now();
    let done = catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|_| panic!("{what} {n} panicked"));
    assert!(begun.elapsed() < Duration::from_secs(2), "{what} {n} took {:?}", begun.elapsed());
    done
}

/// So many mutants meet one base: what comes of a key that broke its word is looked at as a whole each time, and there it piles up.
const MUTANTS_A_BASE: u64 = 1_000;

/// A base that holds an honest day, and what is said of it.
fn base() -> Phone {
    let mut base = Phone::new("Base");
    for depth in 100..110 {
        base.write(strike(depth));
    }
    base
}

fn whole(base: &Phone, honest: &[firnbook_core::day::Noted]) {
    let verified = base.book.verify().unwrap();
    assert!(verified.iter().all(|d| d.rows_equal), "{verified:?}");
    let record = base.book.record(base.day).unwrap();
    assert!(honest.iter().all(|e| record.entries.contains(e)), "an honest entry is missing or other");
}

#[test]
fn changes_of_a_members_key() {
    let (rogue, mut dice) = (Rogue::new(9), Dice(1));
    let mut met = base();
    let mut honest = met.book.record(met.day).unwrap().entries;
    let one = rogue.change(1, None, &[body(1, 100), body(2, 110)]);
    let two = rogue.change(2, Some(&one), &[body(3, 120)]);
    let register = change(
        rogue.actor(firnbook_core::day::History::Registers),
        1,
        None,
        &[("day/area".to_owned(), json!({ "v": "Far", "by": "Rogue" }).to_string())],
    );
    let (mut read, mut taken) = (0, 0);
    for n in 0..count() {
        if n % MUTANTS_A_BASE == MUTANTS_A_BASE - 1 {
            whole(&met, &honest);
            met = base();
            honest = met.book.record(met.day).unwrap().entries;
        }
        let good = [&one, &two, &register][dice.below(3)];
        let mut bytes = good.bytes.clone();
        alter(&mut bytes, 8, &mut dice);
        fit(&mut bytes);
        let Ok(mutant) = quietly("change", n, || read_change(day().0, &bytes)) else { continue };
        read += 1;
        let cover = rogue.cover(&[&mutant]);
        let merged = quietly("change", n, || met.book.merge_changes(met.day, &[bytes], vec![cover]));
        taken += u64::from(merged.is_ok());
    }
    println!("{} changes: {read} could be read, {taken} were kept", count());
    assert!(read > 0, "no mutant came so far that the store saw it");
    whole(&met, &honest);
}

#[test]
fn documents_and_packs() {
    let (rogue, mut dice) = (Rogue::new(9), Dice(2));
    let mut met = base();
    let mut honest = met.book.record(met.day).unwrap().entries;
    let mut changes: Vec<Change> = Vec::new();
    for n in 0..20 {
        changes.push(rogue.change(n + 1, changes.last(), &[body(n as usize, 100 + n)]));
    }
    let cover = rogue.cover(&[&changes[19]]);
    let document = Document::of(&beginning(), &changes).unwrap().save();
    let pack = rogue.pack(
        changes.clone(),
        vec![cover],
        vec![change(
            rogue.actor(firnbook_core::day::History::Registers),
            1,
            None,
            &[("x".to_owned(), "{}".to_owned())],
        )],
    );
    let manifest = u32::from_be_bytes(pack[10..14].try_into().unwrap()) as usize;
    let (mut read, mut merged) = (0, 0);
    for n in 0..count() {
        if n % MUTANTS_A_BASE == MUTANTS_A_BASE - 1 {
            whole(&met, &honest);
            met = base();
            honest = met.book.record(met.day).unwrap().entries;
        }
        let mut bytes = document.clone();
        alter(&mut bytes, 8, &mut dice);
        fit(&mut bytes);
        read +=
            u64::from(quietly("document", n, || read_document(day().0, &bytes, &Bounds::default())).is_ok());

        // The same in a pack whose lengths and hashes say so, or what is beside the document, or the manifest altered.
        let mut text: serde_json::Value = serde_json::from_slice(&pack[14..14 + manifest]).unwrap();
        let mut beside = pack[14 + manifest + document.len()..pack.len() - 32].to_vec();
        let mut inside = if dice.below(2) == 0 { bytes } else { document.clone() };
        if dice.below(3) == 0 {
            alter(&mut beside, 0, &mut dice);
        }
        if dice.below(8) == 0 {
            alter(&mut inside, 0, &mut dice);
        }
        text["days"][0]["length"] = json!(inside.len());
        text["days"][0]["beside"] = json!(beside.len());
        let hash = Sha256::new().chain_update(&inside).chain_update(&beside).finalize();
        text["days"][0]["sha256"] = json!(firnbook_core::crew::hex(&hash));
        let mut text = text.to_string().into_bytes();
        if dice.below(8) == 0 {
            alter(&mut text, 0, &mut dice);
        }
        let mut mutant = pack[..10].to_vec();
        mutant.extend((text.len() as u32).to_be_bytes());
        mutant.extend([text, inside, beside].concat());
        let hash = Sha256::digest(&mutant);
        mutant.extend(hash);
        if quietly("pack", n, || exchange::read(&mutant)).is_ok() {
            merged += u64::from(quietly("pack", n, || met.book.merge(&mutant, false)).is_ok());
        }
    }
    println!("{} documents: {read} could be read; of as many packs {merged} were merged", count());
    whole(&met, &honest);
    met.book.merge(&pack, false).unwrap();
    assert_eq!(met.book.record(met.day).unwrap().entries.len(), honest.len() + 20);
}

/// What a caller with days of its own says in a whole session, frame by frame.
fn said(caller: &Phone, base: &Phone) -> Vec<Vec<u8>> {
    let host = |p: &Phone, name: &str| p.book.host(name).unwrap();
    let mut one = Session::new(&host(caller, "Phone"), Role::Caller, Peer::Cable).unwrap();
    let mut other = Session::new(&host(base, "Base"), Role::Base, Peer::Cable).unwrap();
    let mut frames = Vec::new();
    loop {
        let mut moved = false;
        while let Some(bytes) = one.outgoing() {
            other.incoming(&bytes);
            frames.push(bytes);
            moved = true;
        }
        while let Some(bytes) = other.outgoing() {
            one.incoming(&bytes);
            moved = true;
        }
        if !moved {
            return frames;
        }
    }
}

#[test]
fn frames_into_a_base_in_the_middle_of_a_session() {
    let mut dice = Dice(3);
    let mut caller = Phone::new("Obs1");
    for depth in 60..64 {
        caller.write(strike(depth));
    }
    let id = caller.write(strike(70));
    caller.book.amend(&[(caller.day, id)], &map(json!({ "depth_cm": 71 })), "Obs1").unwrap();
    let (base, spare) = (base(), base());
    let honest = base.book.record(base.day).unwrap().entries;
    let frames = said(&caller, &spare);
    assert!(frames.len() > 4);
    let host = base.book.host("Base").unwrap();
    let rounds = count() / frames.len() as u64 + 1;
    for n in 0..rounds * frames.len() as u64 {
        let altered = (n % frames.len() as u64) as usize;
        let mut session = Session::new(&host, Role::Base, Peer::Cable).unwrap();
        quietly("frame", n, || {
            for frame in &frames[..altered] {
                session.incoming(frame);
                while session.outgoing().is_some() {}
            }
            // Inflated, altered, and stored again as one deflated block, so that what is inside is reached.
            let mut bytes = frames[altered].clone();
            let mut plain = Vec::new();
            let mut inflater = flate2::read::DeflateDecoder::new(&bytes[5..]);
            if std::io::Read::read_to_end(&mut inflater, &mut plain).is_ok()
                && !plain.is_empty()
                && dice.below(4) > 0
            {
                alter(&mut plain, 0, &mut dice);
                let mut deflater = flate2::read::DeflateEncoder::new(&plain[..], flate2::Compression::fast());
                let mut body = vec![bytes[4]];
                std::io::Read::read_to_end(&mut deflater, &mut body).unwrap();
                bytes = u32::try_from(body.len()).unwrap().to_be_bytes().to_vec();
                bytes.extend(body);
            } else {
                alter(&mut bytes, 0, &mut dice);
            }
            let mut reader = Frames::default();
            reader.push(&bytes);
            let _ = reader.next_frame();
            session.incoming(&bytes);
            while session.outgoing().is_some() {}
        });
    }
    println!("{} sessions, each with one altered frame", rounds * frames.len() as u64);
    whole(&base, &honest);
    // An honest session goes on as ever.
    said(&caller, &base);
    let after = base.book.record(base.day).unwrap();
    let own = caller.book.record(caller.day).unwrap().entries;
    assert!(own.iter().all(|e| after.entries.iter().any(|a| a.id == e.id)));
}

#[test]
fn records_of_a_crew() {
    let mut dice = Dice(4);
    let keys = firnbook_core::crew::DeviceKeys::fresh().unwrap();
    let member = firnbook_core::crew::Member::of([1; 16], "Phone", &keys);
    let found = Act::Found { member, salt: serde_bytes::ByteBuf::from(vec![1; 16]), at: 1 };
    let record = firnbook_core::crew::Record::by_device(found, &keys);
    for n in 0..count() {
        let mut bytes = record.bytes().to_vec();
        alter(&mut bytes, 0, &mut dice);
        let read = quietly("record", n, || firnbook_core::crew::Record::read(&bytes));
        assert!(read.is_err() || bytes == record.bytes(), "record {n} passes though it was altered");
    }
    assert!(content(&base().pack()).changes.len() > 1);
}
