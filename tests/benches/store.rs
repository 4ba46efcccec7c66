//! Writing and opening, against bare SQLite in the same run. Medians; nothing here fails a build. Merging is in `peers`.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a bench is a failed bench")]

mod common;

use common::{cpu_us, log_strikes, median, say, strike};
use firnbook_tests::Phone;
use rusqlite::Connection;

fn main() {
    write();
    growth();
    openings();
    many_days();
}

fn fill(phone: &mut Phone, count: usize) {
    phone.book.log(phone.day, "Obs1", (0..count).map(strike).collect(), false).unwrap();
}

/// One entry through the logbook against one typed INSERT of the same row into a table of its own, both durable.
fn write() {
    let mut phone = Phone::new("Obs1");
    fill(&mut phone, 100);
    let folder = tempfile::tempdir().unwrap();
    let bare = Connection::open(folder.path().join("bare.db")).unwrap();
    bare.execute_batch(
        "PRAGMA journal_mode = wal; PRAGMA synchronous = full;
         CREATE TABLE strike (id TEXT PRIMARY KEY, at_ms INTEGER, by TEXT, drill TEXT, target TEXT, depth_cm REAL, outcome TEXT) WITHOUT ROWID",
    )
    .unwrap();
    let insert = |n: usize| {
        let row = (format!("01KH5QX2M8{n:016}"), n as i64, "Obs1", "1", "A", 110.0, "hit");
        bare.prepare_cached("INSERT INTO strike VALUES (?, ?, ?, ?, ?, ?, ?)").unwrap().execute(row).unwrap();
    };
    let (mut ours, mut theirs) = (Vec::new(), Vec::new());
    for round in 0..9 {
        ours.push(cpu_us(|| log_strikes(&mut phone, 1000 + round * 100, 100)) / 100.0);
        theirs.push(cpu_us(|| (0..100).for_each(|n| insert(round * 100 + n))) / 100.0);
    }
    let (ours, theirs) = (median(ours), median(theirs));
    println!("one durable entry: {ours:.0} us of processor time; one bare INSERT: {theirs:.0} us");
    say("processor time of an entry besides one bare INSERT", ours - theirs, "us", 100.0);
}

/// The cost of an entry into a day of 10,000 against a day of 100.
fn growth() {
    let (mut small, mut large) = (Phone::new("Obs1"), Phone::new("Obs1"));
    fill(&mut small, 100);
    fill(&mut large, 10_000);
    let ratios = (0..9).map(|round| {
        let in_large = cpu_us(|| log_strikes(&mut large, 20_000 + round * 50, 50));
        in_large / cpu_us(|| log_strikes(&mut small, 20_000 + round * 50, 50))
    });
    say("an entry into a day of 10,000 against a day of 100", median(ratios.collect()), "x", 1.3);
}

/// A thousand commands that each open the store and write one entry.
fn openings() {
    let mut phone = Phone::new("Obs1");
    let mut costs = Vec::new();
    for n in 0..1000 {
        costs.push(cpu_us(|| {
            phone.book = phone.open_again();
            log_strikes(&mut phone, n, 1);
        }));
    }
    let (first, last) = (median(costs[..100].to_vec()), median(costs[900..].to_vec()));
    say("the last of 1,000 one-entry openings against the first", last / first, "x", 1.5);
    let (mut many, mut few) = (Vec::new(), Vec::new());
    let mut fresh = Phone::new("Obs1");
    fill(&mut fresh, 1000);
    for round in 0..9 {
        many.push(cpu_us(|| log_strikes(&mut phone, 5000 + round * 50, 50)));
        few.push(cpu_us(|| log_strikes(&mut fresh, 5000 + round * 50, 50)));
    }
    say("an entry into a day of 1,000 actors against a day of one", median(many) / median(few), "x", 1.5);
}

/// Opening a store of 1,000 days.
fn many_days() {
    let mut phone = Phone::new("Lead");
    let mut date = firnbook_tests::date();
    for _ in 0..1000 {
        date = date.succ_opt().unwrap();
        let day = phone.book.begin_day(date, "Upper Bowl", "Lead").unwrap().day;
        phone.book.log(day, "Lead", (0..5).map(strike).collect(), false).unwrap();
    }
    let costs = (0..9).map(|_| cpu_us(|| drop(phone.open_again().latest_day().unwrap())) / 1000.0);
    say("opening a store of 1,000 days and finding the latest", median(costs.collect()), "ms", 50.0);
}
