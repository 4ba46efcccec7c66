//! A live exchange of two: bytes, round trips and processor time, as ratios against packs in the same run. Nothing here fails a build.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a bench is a failed bench")]

mod common;

use common::{cpu_us, log_strikes, median, say, strike};
use firnbook_core::exchange::{Base, Host, Peer, Role, Session, Stop, call};
use firnbook_tests::{Phone, date};
use flate2::Compression;
use flate2::read::DeflateEncoder;
use std::sync::Arc;

fn main() {
    nothing_new();
    hundred_into_ten_thousand();
    first_copy();
}

fn host(phone: &Phone) -> Arc<Host> {
    phone.book.host(&phone.name).unwrap()
}

/// One exchange in memory: bytes each way, and round trips.
fn talk(caller: &Arc<Host>, base: &Arc<Host>) -> (usize, usize, usize) {
    let mut caller = Session::new(caller, Role::Caller, Peer::Cable).unwrap();
    let mut base = Session::new(base, Role::Base, Peer::Cable).unwrap();
    let (mut out, mut back, mut trips) = (0, 0, 0);
    loop {
        let mut moved = false;
        // All that is ready goes at once, as it does on a link with delay.
        let ready: Vec<Vec<u8>> = std::iter::from_fn(|| caller.outgoing()).collect();
        for bytes in ready {
            out += bytes.len();
            moved = true;
            base.incoming(&bytes);
        }
        let ready: Vec<Vec<u8>> = std::iter::from_fn(|| base.outgoing()).collect();
        for bytes in ready {
            back += bytes.len();
            moved = true;
            caller.incoming(&bytes);
        }
        if !moved {
            caller.outcome().unwrap();
            base.outcome().unwrap();
            return (out, back, trips);
        }
        trips += 1;
    }
}

fn nothing_new() {
    let mut phone = Phone::bare("Obs1");
    for n in 0..100 {
        let day = phone.book.begin_day(date() + chrono::Days::new(n), "Upper Bowl", "Obs1").unwrap().day;
        phone.book.log(day, "Obs1", (0..1000).map(strike).collect(), false).unwrap();
    }
    let base = Phone::bare("Base");
    let (one, other) = (host(&phone), host(&base));
    talk(&one, &other);
    let mut bytes = (0, 0, 0);
    let costs = (0..9).map(|_| cpu_us(|| bytes = talk(&one, &other)) / 100.0 / 1000.0).collect();
    say("100 equal days: bytes a day, the dearer way", bytes.0.max(bytes.1) as f64 / 100.0, "B", 200.0);
    say("100 equal days: work a day, both sides", median(costs), "ms", 5.0);
}

fn hundred_into_ten_thousand() {
    let (mut phone, base) = (Phone::new("Obs1"), Phone::bare("Base"));
    phone.book.log(phone.day, "Obs1", (0..9_000).map(strike).collect(), false).unwrap();
    log_strikes(&mut phone, 9_000, 1_000);
    let (one, other) = (host(&phone), host(&base));
    talk(&one, &other);
    let before = phone.book.pack(&[phone.day]).unwrap();
    log_strikes(&mut phone, 20_000, 100);
    let conn = rusqlite::Connection::open(phone.path()).unwrap();
    let mut statement = conn.prepare("SELECT bytes FROM change ORDER BY n DESC LIMIT 100").unwrap();
    let raw: Vec<Vec<u8>> = statement.query_map([], |r| r.get(0)).unwrap().map(Result::unwrap).collect();
    let actors: i64 = conn.query_row("SELECT count(*) FROM vector", [], |r| r.get(0)).unwrap();
    let raw = raw.concat();
    let mut encoder = DeflateEncoder::new(&raw[..], Compression::new(6));
    let deflated = std::io::copy(&mut encoder, &mut std::io::sink()).unwrap();
    let mut bytes = (0, 0, 0);
    let cost = cpu_us(|| bytes = talk(&one, &other));
    let allowed = 1.15 * deflated as f64 + 1000.0 + 28.0 * actors as f64;
    say("100 entries into 10,000: bytes against what is allowed", bytes.0 as f64 / allowed, "x", 1.0);
    // The two that end a session, clocks and done, carry no entry.
    println!(
        "100 entries into 10,000: {} there, {} back, {} turns with clocks and done",
        bytes.0, bytes.1, bytes.2
    );
    let document = cpu_us(|| drop(phone.book.pack(&[phone.day]).unwrap()));
    say("100 entries into 10,000: work of both sides against packing the day", cost / document, "x", 1.0);
    drop(before);
}

fn first_copy() {
    let mut phone = Phone::new("Obs1");
    log_strikes(&mut phone, 0, 10_000);
    let document = phone.book.pack(&[phone.day]).unwrap().bytes.len();
    let packs = (0..3).map(|_| {
        let base = Phone::bare("Base");
        wall_ms(|| {
            let pack = phone.book.pack(&[phone.day]).unwrap().bytes;
            base.book_merge(&pack);
        })
    });
    let by_pack = median(packs.collect());
    phone.book.found_crew("Phone").unwrap();
    let mut bytes = 0;
    let live = (0..3).map(|n| {
        let mut base = Phone::bare(&format!("Base{n}"));
        let invitation = phone.book.invite(1, Vec::new(), None).unwrap();
        base.book.join_crew(&invitation, &format!("Base {n}")).unwrap();
        let listening =
            Base::listen(&host(&phone), Some("127.0.0.1:0".parse().unwrap()), &Stop::new()).unwrap();
        let at = listening.addresses()[0].to_string();
        wall_ms(|| {
            let called = call(&host(&base), std::slice::from_ref(&at), &Stop::new(), &mut |_| {}).unwrap();
            bytes = called.report.bytes_received;
        })
    });
    let by_session = median(live.collect());
    say(
        "first copy of 10,000 entries: bytes against its document",
        bytes as f64 / document as f64,
        "x",
        1.05,
    );
    say("first copy of 10,000 entries: time against pack and merge", by_session / by_pack, "x", 2.0);
}

fn wall_ms(work: impl FnOnce()) -> f64 {
    let begun = std::time::Instant::now();
    work();
    begun.elapsed().as_secs_f64() * 1e3
}

/// Merging, for a phone that is not to be changed otherwise.
trait Merges {
    fn book_merge(self, pack: &[u8]);
}

impl Merges for Phone {
    fn book_merge(mut self, pack: &[u8]) {
        self.book.merge(pack, false).unwrap();
    }
}
