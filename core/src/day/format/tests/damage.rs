//! Flipped bits, cuts, and bytes that follow.

use super::super::sample::{Dice, body, by_automerge, changes, document, first, sealed};
use super::*;
use automerge::Automerge;

#[test]
fn every_flipped_bit_and_every_cut_is_refused() {
    let changes = changes(2, 8, &mut Dice(3));
    for change in &changes {
        for at in 0..change.bytes.len() {
            assert!(read(&change.bytes[..at]).is_err());
            for bit in 0..8 {
                let mut bytes = change.bytes.clone();
                bytes[at] ^= 1 << bit;
                let result = read(&bytes);
                assert!(result.is_err());
                // The checksum, or what it is made from, beside the kind and the length.
                assert!(!(4..8).contains(&at) && at < 12 || result == Err(Unreadable::Damaged));
            }
        }
    }
    for saved in [document(&changes).save(), plain(&changes)] {
        assert!(read_saved(&saved).is_ok());
        for at in 0..saved.len() {
            assert!(read_saved(&saved[..at]).is_err());
            for bit in 0..8 {
                let mut bytes = saved.clone();
                bytes[at] ^= 1 << bit;
                let result = read_saved(&bytes);
                assert!(result.is_err());
                assert!(!(4..8).contains(&at) && at < 12 || result == Err(Unreadable::Damaged));
            }
        }
    }
}

#[test]
fn with_the_checksum_made_right_a_flipped_bit_is_refused_or_read_as_automerge_reads_it() {
    let changes = changes(2, 6, &mut Dice(4));
    let (mut accepted, mut same) = (0, 0);
    for change in &changes {
        let body = body(&change.bytes).to_vec();
        for at in 0..body.len() * 8 {
            let mut body = body.clone();
            body[at / 8] ^= 1 << (at % 8);
            let bytes = sealed(1, &body);
            if let Ok(change) = read(&bytes) {
                accepted += 1;
                assert_eq!(change.bytes, bytes);
                assert_eq!(by_automerge(first().day, &change).raw_bytes(), bytes);
            }
        }
    }
    // A bit of a text, of a dependency, of a number: another change.
    assert!(accepted > 100);
    for saved in [document(&changes).save(), plain(&changes)] {
        let (read, body) = (read_saved(&saved).unwrap(), body(&saved).to_vec());
        for at in 0..body.len() * 8 {
            let mut body = body.clone();
            body[at / 8] ^= 1 << (at % 8);
            if let Ok(other) = read_saved(&sealed(0, &body)) {
                same += 1;
                assert_eq!(other, read);
            }
        }
    }
    // The last byte of a deflated column has bits that mean nothing.
    assert!(same < 60);
}

#[test]
fn one_chunk_and_nothing_else_is_read() {
    let (all, saved) = (two(), plain(&two()));
    let change = &all[0].bytes;
    for bytes in [&[][..], &[0], &[0x85, 0x6f, 0x4a, 0x83], b"not a document of any kind"] {
        assert!(read(bytes).is_err());
        assert!(read_saved(bytes).is_err());
    }
    refused(read(&[&change[..], change].concat()), "more bytes follow");
    refused(read(&[&change[..], &[0]].concat()), "more bytes follow");
    refused(read_saved(&[&saved[..], change].concat()), "more bytes follow");
    refused(read_saved(&[&saved[..], &saved].concat()), "more bytes follow");
    refused(read(&saved), "a document was found");
    refused(read_saved(change), "a change was found");
    let mut long = by_automerge(
        first().day,
        &encode(
            first().day,
            actor(1, 1, 1),
            1,
            6,
            vec![begin()],
            vec![Put { key: "a".to_owned(), text: "a".repeat(999) }],
        ),
    );
    assert_eq!(long.bytes()[8], 2);
    refused(read(&long.bytes()), "a compressed change was found");
    let heads = document(&all).get_heads();
    let mut orphans = Automerge::new();
    orphans.apply_changes([automerge::Change::from_bytes(all[1].bytes.clone()).unwrap()]).unwrap();
    assert!(read_saved(&orphans.save()).is_err());
    let bundle = document(&all).bundle(heads).unwrap();
    refused(read(bundle.bytes()), "a bundle of changes was found");
}
