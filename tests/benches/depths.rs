//! Depths of a season over a million entries, against one scan of the columns that they need, in the same run.
//!
//! `FIRNBOOK_DEPTHS` sets how many (default 1,000,000); the store is made first, which takes a while.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a bench is a failed bench")]

mod common;

use common::{cpu_us, draft, median, peak_mib, say, season};
use firnbook_core::insight::season::depth::DepthAsk;
use firnbook_core::insight::thresholds::Thresholds;
use firnbook_core::logbook::{Draft, Season};
use rusqlite::Connection;
use serde_json::json;

const A_DAY: usize = 5_000;

fn main() {
    let count: usize = std::env::var("FIRNBOOK_DEPTHS").ok().map_or(1_000_000, |n| n.parse().unwrap());
    let a_day = || {
        let mut drafts: Vec<Draft> = (0..A_DAY / 20)
            .map(|drill| {
                draft(json!({ "kind": "drill", "label": drill.to_string(), "slope_deg": 20 + drill % 20 }), 0)
            })
            .collect();
        drafts.extend((0..A_DAY).map(|n| {
            // Two values a target, ten targets a drill, by one writer or by two that are far apart in time.
            let (drill, target, by) = (n / 20, n % 10, if n % 20 < 10 { "Obs1" } else { "Obs2" });
            draft(
                json!({
                    "kind": "depth", "by": by, "drill": drill.to_string(), "target": target.to_string(), "depth_cm": 30 + (n * 37) % 170,
                    "method": "probe", "datum": "first_contact", "direction": "slope_normal"
                }),
                n * 120,
            )
        }));
        drafts
    };
    let days = count.div_ceil(A_DAY);
    let (phone, _) = season(days * (A_DAY + A_DAY / 20), a_day);
    let written = days * A_DAY;
    println!("a store of {written} depths on {days} days");
    let path = phone.path();
    let book = phone.open_again();
    for (what, each, bound) in [("each value", true, 2.0), ("one value a target", false, 3.0)] {
        let ratios = (0..7).map(|_| {
            let ours = cpu_us(|| {
                let ask = DepthAsk { each, ..DepthAsk::default() };
                let told = book.depth(&Season::default(), ask, &Thresholds::default()).unwrap();
                assert_eq!(told.figures.n, if each { written } else { written / 2 });
            });
            ours / cpu_us(|| scan(&path))
        });
        say(
            &format!("stats depth, {what}, against one scan of its columns"),
            median(ratios.collect()),
            "x",
            bound,
        );
    }
    say("memory at its largest", peak_mib(), "MiB", 300.0);
}

fn scan(path: &std::path::Path) {
    let conn = Connection::open(path).unwrap();
    let mut statement = conn
        .prepare("SELECT id, by, at_ms, drill, target, depth_cm, method, datum, direction, unsettled FROM depth WHERE void IS NULL")
        .unwrap();
    let mut rows = statement.query([]).unwrap();
    let mut sum = 0.0;
    while let Some(row) = rows.next().unwrap() {
        for i in [0, 1, 3, 4, 6, 7, 8, 9] {
            sum += row.get_ref(i).unwrap().as_str_or_null().unwrap().map_or(0.0, |t| t.len() as f64);
        }
        sum += row.get::<_, f64>(5).unwrap() + row.get::<_, i64>(2).unwrap() as f64;
    }
    assert!(sum > 0.0);
}
