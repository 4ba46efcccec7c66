//! A whole team at once into one base: processor time and memory of base, a process of its own, against a process that merges the same
//! changes from packs. The phones are threads of a third one. Nothing here fails a build.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a bench is a failed bench")]

mod common;

use common::{log_strikes, peak_mib, say};
use cpu_time::ProcessTime;
use firnbook_core::exchange::{Base, Event, Stop, call};
use firnbook_core::logbook::Logbook;
use firnbook_tests::{Phone, TestClock};
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::time::Duration;

const PHONES: usize = 32;
const ENTRIES: usize = 200;

fn main() {
    // This program is also base, and the one that merges.
    let line: Vec<String> = std::env::args().skip(1).collect();
    match line.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["base", store] => base(Path::new(store)),
        ["merge", folder] => merge(Path::new(folder)),
        _ => compare(),
    }
}

fn compare() {
    let mut base = Phone::new("Base");
    base.book.found_crew("Base").unwrap();
    let mut phones: Vec<Phone> = (0..PHONES)
        .map(|n| {
            let invitation = base.book.invite(1, Vec::new(), Some(base.day)).unwrap();
            let mut phone = Phone::bare(&format!("Obs{n}"));
            phone.book.join_crew(&invitation, &format!("Phone {n}")).unwrap();
            phone
        })
        .collect();
    println!(
        "{PHONES} phones, all new to the crew: {:.0} ms of base\u{2019}s processor time",
        at_once(&phones, &base).0
    );
    // Once more, so that all know one another and none is counted for joining.
    at_once(&phones, &base);
    let packs = tempfile::tempdir().unwrap();
    for (n, phone) in phones.iter_mut().enumerate() {
        log_strikes(phone, n * ENTRIES, ENTRIES);
        std::fs::write(packs.path().join(format!("{n}.firn")), phone.pack()).unwrap();
    }
    let (nothing, _) = at_once(&[], &base);
    let (live_ms, live_mib) = at_once(&phones, &base);
    let (_, out) = start("merge", packs.path());
    let (merge_ms, merge_mib) = figures(out);
    println!(
        "{PHONES} phones x {ENTRIES} entries: base {live_ms:.0} ms, packs {merge_ms:.0} ms, listening alone {nothing:.0} ms"
    );
    println!("at the most {live_mib:.0} MiB in base, {merge_mib:.0} MiB where packs were merged");
    let day_mib = base.pack().len() as f64 / (1 << 20) as f64;
    say("32 phones at once: base's processor time against merging packs", live_ms / merge_ms, "x", 1.3);
    say("32 phones at once: base's memory at the most", live_mib, "MiB", 64.0 + 2.0 * day_mib);
}

/// Starts this program in another part, on a store or a folder.
fn start(part: &str, on: &Path) -> (Child, BufReader<ChildStdout>) {
    let mut child = Command::new(std::env::current_exe().unwrap())
        .arg(part)
        .arg(on)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let out = BufReader::new(child.stdout.take().unwrap());
    (child, out)
}

/// Processor time in milliseconds and the most memory in MiB, as a part told them.
fn figures(out: BufReader<ChildStdout>) -> (f64, f64) {
    let line = out.lines().next().unwrap().unwrap();
    let (ms, mib) = line.split_once(' ').unwrap();
    (ms.parse().unwrap(), mib.parse().unwrap())
}

/// All phones exchange with a base in a process of its own: that one's figures.
fn at_once(phones: &[Phone], base: &Phone) -> (f64, f64) {
    let (mut child, mut out) = start("base", &base.path());
    let mut at = String::new();
    out.read_line(&mut at).unwrap();
    std::thread::scope(|scope| {
        for phone in phones {
            let (host, at) = (phone.book.host(&phone.name).unwrap(), at.trim().to_owned());
            scope.spawn(move || call(&host, &[at], &Stop::new(), &mut |_| {}).unwrap());
        }
    });
    // It ends once nobody is left who writes to it.
    drop(child.stdin.take());
    let told = figures(out);
    child.wait().unwrap();
    told
}

fn tell(begun: ProcessTime) {
    println!("{} {}", begun.elapsed().as_secs_f64() * 1e3, peak_mib());
}

fn base(store: &Path) {
    let book = Logbook::open(store, Box::new(TestClock::new())).unwrap();
    let host = book.host("Base").unwrap();
    let begun = ProcessTime::now();
    let mut base = Base::listen(&host, Some("127.0.0.1:0".parse().unwrap()), &Stop::new()).unwrap();
    println!("{}", base.addresses()[0]);
    let over = std::thread::spawn(|| std::io::stdin().lines().count());
    while !over.is_finished() {
        let event = base.next_event(Duration::from_millis(100));
        if let Some(Event::Ended { error: Some(error), .. }) = event {
            eprintln!("a session failed: {error}");
        }
    }
    base.end();
    tell(begun);
}

fn merge(folder: &Path) {
    let mut other = Phone::new("Other");
    let begun = ProcessTime::now();
    for n in 0..PHONES {
        let pack = std::fs::read(folder.join(format!("{n}.firn"))).unwrap();
        other.book.merge(&pack, false).unwrap();
    }
    tell(begun);
}
