//! Parquet export and GPX intake against Python's own means doing the same, run by turns on the same store and file.
//!
//! `FIRNBOOK_ENTRIES` sets how many entries (default 1,000,000); the store is made first, which takes a while. `FIRNBOOK_SEASON` names a file where
//! that store is kept, and taken from by the next run. `FIRNBOOK_PYTHON` names the interpreter; `tests/run benches` sets it. What each side does is
//! told in `formats.py`, which also holds that both wrote the same files with the same columns, types and values.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a bench is a failed bench")]

mod common;

use common::{drill, median, peak_mib, say, season};
use firnbook::desk::DayTimes;
use firnbook::{Surroundings, Terminal};
use firnbook_core::entry::Time;
use firnbook_tests::TestClock;
use std::collections::HashMap;
use std::fmt::Write;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::time::Instant;

/// Entries of a day: of a hundred drills or so.
const A_DAY: usize = 9_000;
const POINTS: usize = 500_000;

fn main() {
    let python = std::env::var_os("FIRNBOOK_PYTHON")
        .expect("FIRNBOOK_PYTHON names no interpreter; `tests/run benches` sets it");
    let count: usize = std::env::var("FIRNBOOK_ENTRIES").ok().map_or(1_000_000, |n| n.parse().unwrap());
    let a_day = || (0..A_DAY / 90).flat_map(|n| drill(n + 1, n * 1_200)).collect();
    let out = tempfile::tempdir().unwrap();
    let store =
        std::env::var_os("FIRNBOOK_SEASON").map_or(out.path().join("season.firnstore"), PathBuf::from);
    if !store.exists() {
        let (phone, _) = season(count, a_day);
        let into = [store.to_str().unwrap()];
        rusqlite::Connection::open(phone.path()).unwrap().execute("VACUUM INTO ?1", into).unwrap();
    }
    let held = rusqlite::Connection::open(&store).unwrap();
    let written: i64 = held.query_row("SELECT count(*) FROM entry", [], |row| row.get(0)).unwrap();
    println!("a store of {written} entries");
    let key = out.path().join("key");
    std::fs::write(&key, "5e".repeat(32)).unwrap();
    let key = key.to_str().unwrap();
    let mut ratios = Vec::new();
    for turn in 0..3 {
        let ours = out.path().join(format!("ours{turn}"));
        let begun = Instant::now();
        export(&store, &ours, &["--entries-only", "--key", key]);
        let ours_s = begun.elapsed().as_secs_f64();
        let theirs = out.path().join(format!("theirs{turn}"));
        let [ours, theirs] = [ours, theirs].map(|folder| folder.display().to_string());
        let paired = pair(&python, &["parquet", &store.display().to_string(), &theirs, key]);
        assert_eq!(paired["n"], written, "Python wrote other rows");
        let theirs_s = paired["wall_s"].as_f64().unwrap();
        println!("  {ours_s:.2} s against {theirs_s:.2} s ({} MiB there)", paired["peak_mib"]);
        ratios.push(theirs_s / ours_s);
        if turn == 0 {
            let files = pair(&python, &["same", &ours, &theirs]);
            println!("  {} files, the same in both", files["n"]);
        }
        std::fs::remove_dir_all(ours).unwrap();
        std::fs::remove_dir_all(theirs).unwrap();
    }
    at_least("Parquet export, times as fast as sqlite3 with pyarrow", median(ratios), 5.0);
    say("memory at its largest", peak_mib(), "MiB", 500.0);
    let begun = Instant::now();
    export(&store, &out.path().join("all"), &[]);
    println!(
        "the whole export, with targets, runs and what leads to them: {:.2} s",
        begun.elapsed().as_secs_f64()
    );

    let text = gpx();
    let file = out.path().join("walk.gpx");
    std::fs::write(&file, &text).unwrap();
    let now = Time::from_millis(1_801_904_400_000, 60).unwrap();
    let times = DayTimes {
        now,
        date: now.datetime().date_naive(),
        offset: *now.datetime().offset(),
        starts: HashMap::new(),
    };
    let ratios = (0..3).map(|_| {
        let begun = Instant::now();
        let read = firnbook::intake::gpx::read(&std::fs::read_to_string(&file).unwrap(), &times).unwrap();
        assert_eq!(read.segments[0].len(), POINTS);
        let ours_s = begun.elapsed().as_secs_f64();
        let paired = pair(&python, &["gpx", &file.display().to_string()]);
        assert_eq!(paired["n"], POINTS);
        println!("  {ours_s:.2} s against {:.2} s", paired["wall_s"].as_f64().unwrap());
        paired["wall_s"].as_f64().unwrap() / ours_s
    });
    at_least("GPX of 500,000 points, times as fast as gpxpy", median(ratios.collect()), 10.0);
}

fn export(store: &Path, folder: &Path, more: &[&str]) {
    let store = store.as_os_str().to_owned();
    let words = ["firnbook", "-q", "export", "--format", "parquet", "-o"];
    let mut args: Vec<_> = words.iter().map(Into::into).collect();
    args.push(folder.as_os_str().to_owned());
    args.extend(more.iter().map(Into::into));
    let status = firnbook::run(Surroundings {
        args,
        env: Box::new(move |name| (name == "FIRNBOOK_STORE").then(|| store.clone())),
        stdin: Box::new(std::io::empty()),
        stdout: Box::new(std::io::sink()),
        stderr: Box::new(std::io::stderr()),
        terminal: Terminal::default(),
        clock: Arc::new(TestClock::new()),
        data_folder: None,
    });
    assert_eq!(status, 0);
}

fn pair(python: &std::ffi::OsStr, words: &[&str]) -> serde_json::Value {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/benches/formats.py");
    let done = Command::new(python).arg(script).args(words).output().unwrap();
    assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    serde_json::from_slice(&done.stdout).unwrap()
}

fn gpx() -> String {
    let mut text = "<?xml version=\"1.0\"?>\n<gpx version=\"1.1\" creator=\"bench\" xmlns=\"http://www.topografix.com/GPX/1/1\"><trk><trkseg>\n".to_owned();
    for n in 0..POINTS {
        let at = Time::from_millis(1_801_904_400_000 + n as i64 * 1000, 0)
            .unwrap()
            .datetime()
            .format("%Y-%m-%dT%H:%M:%SZ");
        let _ = writeln!(
            text,
            "<trkpt lat=\"{:.7}\" lon=\"{:.7}\"><ele>2000.5</ele><time>{at}</time></trkpt>",
            46.5 + n as f64 * 1e-7,
            9.8 + (n % 1000) as f64 * 1e-6
        );
    }
    text + "</trkseg></trk></gpx>\n"
}

fn at_least(what: &str, figure: f64, bound: f64) {
    let verdict = if figure >= bound { "within" } else { "UNDER" };
    println!("{what:<70} {figure:>9.2} x     {verdict} {bound}");
}
