//! Several processes on one store: nothing is lost, and nobody waits long.

use super::program;
use firnbook_core::logbook::Logbook;
use firnbook_core::store::Filter;
use firnbook_tests::{Phone, TestClock, map, strike};
use serde_json::json;
use std::process::{Command, Stdio};

#[test]
fn three_processes_write_and_one_merges() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("store.firnbook");
    let spawn = |by: &str| {
        Command::new(program("scribe"))
            .args([path.to_str().unwrap(), by, "60", "5"])
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap()
    };
    let scribes: Vec<_> = ["Obs1", "Obs2", "Obs3"].iter().map(|by| spawn(by)).collect();
    let mut phone = Phone::new("Obs4");
    for n in 0..400 {
        phone.write(strike(20 + n % 100));
    }
    let mut base = Logbook::open(&path, Box::new(TestClock::new())).unwrap();
    base.merge(&phone.pack(), false).unwrap();
    let mut confirmed = 0;
    for scribe in scribes {
        let output = scribe.wait_with_output().unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        for line in String::from_utf8(output.stdout).unwrap().lines() {
            let (_, ms) = line.split_once(' ').unwrap();
            assert!(ms.parse::<u64>().unwrap() < 2000, "a writer waited {ms} ms");
            confirmed += 1;
        }
    }
    assert_eq!(confirmed, 180);
    let base = Logbook::open(&path, Box::new(TestClock::new())).unwrap();
    assert_eq!(base.entries(&Filter::default()).unwrap().len(), 580);
    assert!(base.verify().unwrap()[0].rows_equal);
}

#[test]
fn amendments_one_after_the_other_are_no_conflict() {
    let mut a = Phone::new("Lead");
    let id = a.write(strike(100));
    let mut other = a.open_again();
    for depth in 0..20 {
        let (book, by) = if depth % 2 == 0 { (&mut a.book, "Lead") } else { (&mut other, "Base") };
        book.amend(&[(a.day, id)], &map(json!({ "depth_cm": 100 + depth })), by).unwrap();
    }
    let record = other.record(a.day).unwrap();
    assert!(record.entries[0].unsettled.is_empty());
    assert_eq!(record.entries[0].json["depth_cm"], 119);
}
