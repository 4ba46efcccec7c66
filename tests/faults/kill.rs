//! A writing process is killed at a random instant, again and again: every entry that was confirmed is there, and the store is whole.
//!
//! `FIRNBOOK_KILLS` sets how often (default 300).

use super::program;
use firnbook_core::logbook::Logbook;
use firnbook_core::store::Filter;
use firnbook_tests::TestClock;
use std::collections::HashSet;
use std::io::{BufRead, BufReader};
use std::process::{Command, Stdio};
use std::time::Duration;

#[test]
fn what_is_confirmed_survives_a_kill() {
    let kills: u64 =
        std::env::var("FIRNBOOK_KILLS").ok().map_or(300, |n| n.parse().expect("FIRNBOOK_KILLS is a number"));
    let folder = tempfile::tempdir().unwrap();
    let mut confirmed: HashSet<String> = HashSet::new();
    let mut interrupted = 0;
    // A store is used for 50 lives and then left, so that its size does not hide a fast write.
    for life in 0..kills {
        let path = folder.path().join(format!("store{}.firnbook", life / 50));
        if life % 50 == 0 {
            confirmed.clear();
        }
        let mut scribe = Command::new(program("scribe"))
            .args([path.to_str().unwrap(), "Obs1", "100000"])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let out = scribe.stdout.take().unwrap();
        let (first, confirmed_first) = std::sync::mpsc::channel();
        let reader = std::thread::spawn(move || {
            let mut lines = Vec::new();
            for line in BufReader::new(out).lines().map_while(Result::ok) {
                lines.push(line);
                let _ = first.send(());
            }
            lines
        });
        // Every fourth dies while it opens the store, the others while they write; the multiplier spreads the instants.
        if life % 4 != 0 {
            let _ = confirmed_first.recv_timeout(Duration::from_secs(20));
        }
        std::thread::sleep(Duration::from_micros((life * 7919) % 15_000));
        scribe.kill().unwrap();
        scribe.wait().unwrap();
        let lines = reader.join().unwrap();
        interrupted += usize::from(!lines.is_empty());
        // A last line that was cut by the kill is no confirmation.
        confirmed.extend(
            lines
                .iter()
                .filter_map(|l| l.split_once(' '))
                .map(|(id, _)| id.to_owned())
                .filter(|id| id.len() == 26),
        );
        let book = Logbook::open(&path, Box::new(TestClock::new())).unwrap();
        let held: HashSet<String> =
            book.entries(&Filter::default()).unwrap().iter().map(|e| e.noted.id.to_string()).collect();
        let lost: Vec<&String> = confirmed.difference(&held).collect();
        assert!(lost.is_empty(), "life {life}: confirmed and gone: {lost:?}");
        let verified = book.verify().unwrap();
        assert!(verified.iter().all(|d| d.rows_equal), "life {life}: {verified:?}");
    }
    assert!(
        interrupted * 4 > kills as usize,
        "only {interrupted} of {kills} kills came while entries were being written"
    );
    println!(
        "{kills} kills, {interrupted} of them while entries were being written; nothing confirmed was lost"
    );
}
