//! Claims of size, and bounds.

use super::super::columns::spec;
use super::super::leb::{put_signed, put_unsigned};
use super::super::sample::{Parts, first, sealed};
use super::*;

#[test]
fn claims_of_size_cost_nothing() {
    let good = two().remove(0);
    let huge = |value: &[u8]| {
        let mut run = Vec::new();
        put_signed(&mut run, 1 << 42);
        run.extend_from_slice(value);
        run
    };
    let base = Parts::of(&good.bytes);
    for (spec, _) in &base.columns[0] {
        let mut parts = base.clone();
        *parts.column(0, *spec) = huge(&[0x46]);
        assert!(read(&parts.bytes()).is_err());
        *parts.column(0, *spec) = [&[0][..], &huge(&[])].concat();
        assert!(read(&parts.bytes()).is_err());
    }
    let mut all = base.clone();
    all.columns[0].iter_mut().for_each(|column| column.1 = huge(&[6]));
    refused(read(&all.bytes()), "too large");
    let base = Parts::of(&plain(&two()));
    for list in 0..2 {
        for (spec, _) in &base.columns[list] {
            let mut parts = base.clone();
            *parts.column(list, *spec) = huge(&[0]);
            assert!(read_saved(&parts.bytes()).is_err());
        }
    }
    // Numbers of things, lengths of things.
    let mut many = Vec::new();
    put_unsigned(&mut many, 1 << 42);
    for kind in [0, 1] {
        for before in [&[][..], &[0], &[0, 0], &[1], &[0, 24], &[0, 0, 0]] {
            let body = [before, &many].concat();
            assert!(read(&sealed(kind, &body)).is_err());
            assert!(read_saved(&sealed(kind, &body)).is_err());
        }
    }
    for length in [u64::from(u32::MAX), 1 << 62, u64::MAX] {
        let mut bytes = good.bytes[..9].to_vec();
        put_unsigned(&mut bytes, length);
        bytes.extend_from_slice(&good.bytes[10..]);
        assert!(read(&bytes).is_err());
    }
    // A million dependencies that are one run.
    let mut parts = base.clone();
    *parts.column(0, spec::DEP_COUNT) = [&[0x7f, 0][..], &[2, 0xff, 0xff, 0x3f]].concat();
    assert!(read_saved(&parts.bytes()).is_err());
}

#[test]
fn what_inflates_beyond_the_bound_is_refused() {
    use std::io::Write;
    let bounds = Bounds { bytes: 100_000, ..Bounds::default() };
    let deflate = |data: &[u8]| {
        let mut encoder = flate2::write::DeflateEncoder::new(Vec::new(), flate2::Compression::best());
        encoder.write_all(data).unwrap();
        encoder.finish().unwrap()
    };
    let base = Parts::of(&plain(&two()));
    let with = |data: &[u8]| {
        let mut parts = base.clone();
        let at = parts.columns[1].iter().position(|column| column.0 == spec::VALUE).unwrap();
        parts.columns[1][at] = (spec::VALUE | spec::DEFLATED, data.to_vec());
        quick(|| read_document(first().day, &parts.bytes(), &bounds))
    };
    let value = base.clone().column(1, spec::VALUE).clone();
    assert!(with(&deflate(&value)).is_ok());
    refused(with(&deflate(&vec![b'a'; 100_001])), "too large");
    refused(with(&deflate(&vec![b'a'; 64 << 20])), "too large");
    refused(with(&deflate(&value)[1..]), "deflated");
    let whole = deflate(&value);
    refused(with(&whole[..whole.len() - 1]), "deflated");
    refused(with(&[&whole[..], &[0]].concat()), "deflated");
    refused(with(&[]), "without data");
    // A change has no deflated columns.
    let mut parts = Parts::of(&two()[0].bytes);
    parts.columns[0][4] = (spec::ACTION | spec::DEFLATED, deflate(&[0x7f, 1]));
    refused(read(&parts.bytes()), "other columns");
}

#[test]
fn bounds_of_a_document_hold() {
    let mut all = two();
    all.push(change(actor(2, 1, 1), 1, 6, &[begin()], &["a-key", "b", "c"]));
    let saved = plain(&all);
    let with = |edit: &dyn Fn(&mut Bounds)| {
        let mut bounds = Bounds::default();
        edit(&mut bounds);
        read_document(first().day, &saved, &bounds)
    };
    let bytes = saved.len();
    assert!(
        with(&|bounds| *bounds = Bounds {
            bytes,
            operations: 10,
            changes: 4,
            actors: 3,
            deps: 1,
            key_bytes: 26,
            ..bounds.clone()
        })
        .is_ok()
    );
    refused(with(&|bounds| bounds.bytes = bytes - 1), "too large");
    refused(with(&|bounds| bounds.operations = 9), "too large");
    refused(with(&|bounds| bounds.changes = 3), "too large");
    refused(with(&|bounds| bounds.actors = 2), "too large");
    refused(with(&|bounds| bounds.deps = 0), "too large");
    refused(with(&|bounds| bounds.key_bytes = 25), "too long");
    refused(with(&|bounds| bounds.rebuilt = 600), "too large");
}
