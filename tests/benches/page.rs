//! The pages of days of ten thousand entries: how long they take to make and how large they are.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a bench is a failed bench")]

mod common;

use common::{cpu_us, median, say};
use firnbook_tests::crowd::{crowded_day, digging_day};
use firnbook_tests::world::World;

fn main() {
    for (of, lines) in [("forty-four drills", crowded_day()), ("turns at the shovels", digging_day())] {
        let world = World::new();
        world.run("day new --area \"Upper Bowl\" --date 2027-02-06 --by Obs1").ok();
        let written = world.run_with("log --from - --by Obs1 --json", &lines).json();
        println!("a day of {} entries, {of}", written["written"]);
        for (what, line, file) in [
            ("debrief --html", "debrief --quiet --html @day.html", "day.html"),
            ("stats times --html", "stats times --quiet --html @season.html", "season.html"),
        ] {
            let times = (0..5).map(|_| cpu_us(|| drop(world.run(line).ok())) / 1e6).collect();
            say(&format!("{what}, the whole command"), median(times), "s", 1.0);
            let kilobytes = std::fs::metadata(world.path(file)).unwrap().len() as f64 / 1e3;
            say(&format!("{what}, its page"), kilobytes, "kB", 1000.0);
        }
    }
}
