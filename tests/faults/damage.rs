//! Damaged, foreign and hostile packs: none is accepted, none changes the store, none takes much memory.

use super::dump;
use firnbook_core::day::{DayId, DeviceId};
use firnbook_core::exchange::{self, PackError};
use firnbook_core::logbook::LogbookError;
use firnbook_tests::{Phone, strike};
use flate2::Compression;
use flate2::read::DeflateEncoder;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use std::io::Read;

fn small_pack() -> Vec<u8> {
    let mut phone = Phone::new("Obs1");
    phone.write(strike(110));
    phone.pack()
}

/// Tries bytes on a base that holds something; whatever they are, the store must stay as it was.
fn refused(base: &mut Phone, before: &str, bytes: &[u8], what: &str) -> String {
    let error = base.book.merge(bytes, false).expect_err(what).to_string();
    assert_eq!(dump(&base.path()), before, "{what}");
    error
}

#[test]
fn no_flipped_bit_no_cut_and_nothing_appended_is_accepted() {
    let pack = small_pack();
    let mut base = Phone::new("Base");
    base.write(strike(90));
    let before = dump(&base.path());
    for at in 0..pack.len() {
        let mut bad = pack.clone();
        bad[at] ^= 1 << (at % 8);
        assert!(base.book.merge(&bad, false).is_err(), "byte {at}");
        assert!(base.book.merge(&pack[..at], false).is_err(), "cut at {at}");
    }
    for tail in [&b"\0"[..], b"FIRNPACK", &pack] {
        let longer = [&pack[..], tail].concat();
        assert!(base.book.merge(&longer, false).is_err());
    }
    assert_eq!(dump(&base.path()), before);
    base.book.merge(&pack, false).unwrap();
}

/// The pack with its manifest or the document of its first day changed and every length and hash made to fit again, as an attacker would.
fn repacked(pack: &[u8], edit: impl Fn(&mut Value, &mut Vec<u8>)) -> Vec<u8> {
    let length = u32::from_be_bytes(pack[10..14].try_into().unwrap()) as usize;
    let mut manifest: Value = serde_json::from_slice(&pack[14..14 + length]).unwrap();
    let content = &pack[14 + length..pack.len() - 32];
    let size = |name: &str| manifest["days"][0][name].as_u64().unwrap() as usize;
    let (document, rest) = content.split_at(size("length"));
    let (beside, others) = rest.split_at(size("beside"));
    let mut document = document.to_vec();
    edit(&mut manifest, &mut document);
    manifest["days"][0]["length"] = json!(document.len());
    let hash = Sha256::new().chain_update(&document).chain_update(beside).finalize();
    manifest["days"][0]["sha256"] = json!(firnbook_core::crew::hex(&hash));
    let text = manifest.to_string();
    let mut out = pack[..10].to_vec();
    out.extend((text.len() as u32).to_be_bytes());
    out.extend(text.as_bytes());
    out.extend([&document, beside, others].concat());
    let hash = Sha256::digest(&out);
    out.extend(hash);
    out
}

#[test]
fn a_pack_that_lies_is_refused_with_the_reason() {
    let pack = small_pack();
    let mut base = Phone::new("Base");
    let before = dump(&base.path());
    let mut newer = pack.clone();
    newer[8..10].copy_from_slice(&3_u16.to_be_bytes());
    let mut older = pack.clone();
    older[8..10].copy_from_slice(&1_u16.to_be_bytes());
    let other = DayId::of(firnbook_tests::date(), "Lower Bowl").to_string();
    let cases: [(&str, Vec<u8>, &str); 9] = [
        ("empty", Vec::new(), "no Firnbook pack"),
        ("foreign", b"PK\x03\x04 something else".to_vec(), "no Firnbook pack"),
        ("magic only", b"FIRNPACK".to_vec(), "damaged"),
        ("newer", newer, "newer program"),
        ("another day's name", repacked(&pack, |m, _| m["days"][0]["id"] = json!(other)), "another day"),
        ("another date", repacked(&pack, |m, _| m["days"][0]["date"] = json!("2027-02-07")), "date"),
        ("older", older, "before the first release"),
        ("empty document", repacked(&pack, |_, d| d.clear()), "incomplete"),
        ("two documents", repacked(&pack, |_, d| d.extend(d.clone())), "longer than it may be"),
    ];
    for (what, bytes, says) in cases {
        let error = refused(&mut base, &before, &bytes, what);
        assert!(error.contains(says), "{what}: {error}");
    }
}

/// Unsigned LEB128.
fn leb(mut n: u64) -> Vec<u8> {
    let mut out = Vec::new();
    loop {
        let low = (n & 0x7f) as u8;
        n >>= 7;
        out.push(if n == 0 { low } else { low | 0x80 });
        if n == 0 {
            return out;
        }
    }
}

/// A document chunk with no change and one column of operations.
fn bomb(spec: u64, column: &[u8]) -> Vec<u8> {
    let mut body = vec![0, 0, 0, 1];
    body.extend(leb(spec));
    body.extend(leb(column.len() as u64));
    body.extend(column);
    let mut chunk = vec![0x85, 0x6f, 0x4a, 0x83, 0, 0, 0, 0, 0];
    chunk.extend(leb(body.len() as u64));
    chunk.extend(body);
    chunk
}

#[test]
fn a_few_bytes_that_claim_to_be_very_much_are_refused_unread() {
    let pack = small_pack();
    let mut base = Phone::new("Base");
    let before = dump(&base.path());
    let mut zeros = Vec::new();
    DeflateEncoder::new(std::io::repeat(0).take(200 << 20), Compression::best())
        .read_to_end(&mut zeros)
        .unwrap();
    let deflated = bomb(0x57 | 8, &zeros);
    assert!(deflated.len() < 1 << 20);
    let mut run = leb(1 << 40);
    run.push(1);
    for (what, document) in [("200 MiB of zeros", deflated), ("a run of 2^40 operations", bomb(0x42, &run))] {
        let bytes = repacked(&pack, |_, d| d.clone_from(&document));
        refused(&mut base, &before, &bytes, what);
    }
}

#[test]
fn an_oversized_pack_is_refused_by_its_size() {
    let mut bytes = b"FIRNPACK\0\x01".to_vec();
    bytes.resize((256 << 20) + 1, 0);
    assert!(matches!(exchange::read(&bytes), Err(PackError::TooLarge { .. })));
}

#[test]
fn a_good_and_a_bad_day_in_one_pack_are_both_refused() {
    let mut phone = Phone::new("Obs1");
    phone.write(strike(100));
    let second = phone.book.begin_day(firnbook_tests::date(), "Lower Bowl", "Obs1").unwrap().day;
    let pack = phone.book.pack(&[phone.day, second]).unwrap().bytes;
    let mut base = Phone::new("Base");
    let before = dump(&base.path());
    let bytes = repacked(&pack, |m, _| m["days"][1]["date"] = json!("2027-02-07"));
    refused(&mut base, &before, &bytes, "the second day lies");
    let error = base.book.merge(&bytes, false).unwrap_err();
    assert!(matches!(error, LogbookError::Pack(PackError::Damaged(_))));
    base.book.merge(&pack, false).unwrap();
    assert_eq!(base.book.days().unwrap().len(), 2);
    assert_ne!(DeviceId([0; 16]), base.book.device());
}
