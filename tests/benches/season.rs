//! Every answer over a season of a million entries, against one scan of the columns that it needs, in the same run.
//!
//! `FIRNBOOK_SEASON` sets how many entries (default 1,000,000); the store is made first, which takes a while.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a bench is a failed bench")]

mod common;

use common::{cpu_us, draft, drill, median, peak_mib, say, season};
use firnbook_core::entry::Step;
use firnbook_core::insight::season::depth::DepthAsk;
use firnbook_core::insight::season::times::TimesAsk;
use firnbook_core::insight::thresholds::Thresholds;
use firnbook_core::logbook::{Logbook, Season};
use rusqlite::Connection;
use rusqlite::types::ValueRef;
use serde_json::json;
use std::path::Path;

const DRILLS_A_DAY: usize = 20;

fn main() {
    let count: usize = std::env::var("FIRNBOOK_SEASON").ok().map_or(1_000_000, |n| n.parse().unwrap());
    let a_day = || {
        let member = draft(json!({"kind": "person", "call_sign": "Red1", "member": "m1"}), 0);
        (0..DRILLS_A_DAY).flat_map(|label| drill(label, label * 1_200)).chain([member]).collect()
    };
    let (phone, written) = season(count, a_day);
    println!("a store of {written} entries");
    let book = phone.open_again();
    let path = phone.path();
    let thresholds = Thresholds::default();
    let runs: [&[&str]; 2] = [
        &["moment: id by at_ms drill target step why person", "strike: id by at_ms drill target outcome"],
        &["drill: label form team limit_s", "target: label drill orientation"],
    ];
    let of_runs: Vec<&str> = runs.concat();
    let with = |more: &[&'static str]| [of_runs.clone(), more.to_vec()].concat();
    let depths = "depth: id by at_ms drill target depth_cm method datum direction";
    let hits = "strike: id by at_ms drill target depth_cm outcome direction lowest_reading_m";
    let ground = ["drill: label slope_deg", "target: label drill set_depth_cm direction"];
    let answer = |what: &str, columns: &[&str], ask: &dyn Fn(&Logbook) -> usize| {
        let ratios = (0..3).map(|_| {
            let us = cpu_us(|| assert!(ask(&book) > 0, "{what} tells nothing"));
            us / cpu_us(|| scan(&path, columns))
        });
        say(&format!("stats {what}, against one scan of its columns"), median(ratios.collect()), "x", 3.0);
    };
    let all = Season::default();
    answer("depth", &[depths, ground[0], ground[1]], &|book| {
        book.depth(&all, DepthAsk::default(), &thresholds).unwrap().figures.n
    });
    answer("methods", &[depths, hits, ground[0], ground[1]], &|book| {
        book.methods(&all, None, &thresholds).unwrap().pairs.len()
    });
    answer("times", &of_runs, &|book| {
        let ask = TimesAsk { group_by: None, horizon_s: None, test: None, thresholds };
        book.times(&all, &ask).unwrap().steps.len()
    });
    answer(
        "checks",
        &["check: id by at_ms person transmits receives battery_pct nearest_electronics_cm"],
        &|book| book.checks(&all, None, &thresholds).unwrap().figures.n,
    );
    answer(
        "digging",
        &with(&["rotation: id by at_ms drill target front shovellers ended_at", depths]),
        &|book| book.digging(&all, None, &thresholds).unwrap().figures.turns.n,
    );
    answer("interference", &with(&["interference: id by at_ms drill source distance_cm"]), &|book| {
        book.interference(&all, Step::Strike, None, &thresholds).unwrap().sources.len()
    });
    let turns = "rotation: id by at_ms drill target front shovellers ended_at";
    answer("person", &with(&[turns, "person: id by at_ms call_sign member"]), &|book| {
        book.person(&all, "Red1", None, &thresholds).unwrap().trends.len()
    });
    say("memory at its largest", peak_mib(), "MiB", 500.0);
}

/// Reads these columns of these tables, one row after another; `table: column column …`.
fn scan(path: &Path, tables: &[&str]) {
    let conn = Connection::open(path).unwrap();
    let mut seen = 0.0;
    for table in tables {
        let (table, columns) = table.split_once(": ").unwrap();
        let columns: Vec<&str> = columns.split(' ').collect();
        let sql = format!("SELECT {} FROM \"{table}\" WHERE void IS NULL", columns.join(", "));
        let mut statement = conn.prepare(&sql).unwrap();
        let mut rows = statement.query([]).unwrap();
        while let Some(row) = rows.next().unwrap() {
            for i in 0..columns.len() {
                seen += match row.get_ref(i).unwrap() {
                    ValueRef::Text(text) | ValueRef::Blob(text) => text.len() as f64,
                    ValueRef::Real(number) => number,
                    ValueRef::Integer(number) => number as f64,
                    ValueRef::Null => 0.0,
                };
            }
        }
    }
    assert!(seen > 0.0);
}
