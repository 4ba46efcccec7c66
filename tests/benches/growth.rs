//! What commands take as the season grows: each a fresh process, on stores of 10 and of 1,000 days. Processor time as the kernel counts it for
//! processes that ended; medians of rounds.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failed unwrap in a bench is a failed bench")]

mod common;

use common::{cpu_us, drill, median, say};
use firnbook_tests::Phone;
use firnbook_tests::program::program;
use std::process::{Command, Stdio};

/// Commands in one figure: what the kernel counts is in steps of 10 ms.
const AT_ONCE: usize = 20;
const ROUNDS: usize = 5;

fn main() {
    let few = season(10);
    let many = season(1_000);
    let commands: [(&str, &[&str]); 7] = [
        ("firnbook", &[]),
        ("kit", &["kit"]),
        ("review", &["review"]),
        ("debrief", &["debrief"]),
        ("log", &["log", "strike", "--drill", "1", "--depth", "90cm", "--by", "Obs1"]),
        ("entries", &["entries", "--drill", "1"]),
        ("day show", &["day", "show"]),
    ];
    for (name, arguments) in commands {
        let took: Vec<[f64; 2]> =
            (0..ROUNDS).map(|_| [&few, &many].map(|phone| run(phone, arguments))).collect();
        let of = |n: usize| median(took.iter().map(|pair| pair[n]).collect());
        println!("{name}: {:.1} ms on 10 days, {:.1} ms on 1,000", of(0), of(1));
        let ratio = median(took.iter().map(|[few, many]| many / few).collect());
        say(&format!("{name}: 1,000 days against 10"), ratio, "x", 1.3);
    }
    let listed =
        |phone: &Phone| median((0..9).map(|_| cpu_us(|| drop(phone.book.days().unwrap()))).collect());
    say("day list, a further day", (listed(&many) - listed(&few)) / 990.0, "us", 20.0);
}

/// Days of five drills and 450 entries each; what is kept for answers is kept.
fn season(days: usize) -> Phone {
    let mut phone = Phone::new("Lead");
    let mut date = firnbook_tests::date();
    for _ in 1..days {
        let day = phone.day;
        (0..5).for_each(|n| drop(phone.book.log(day, "Obs1", drill(n + 1, n * 1_500), false).unwrap()));
        date = date.succ_opt().unwrap();
        phone.day = phone.book.begin_day(date, "Upper Bowl", "Lead").unwrap().day;
    }
    let day = phone.day;
    (0..5).for_each(|n| drop(phone.book.log(day, "Obs1", drill(n + 1, n * 1_500), false).unwrap()));
    run(&phone, &["review"]);
    phone
}

/// Milliseconds of processor time of one command.
fn run(phone: &Phone, arguments: &[&str]) -> f64 {
    let before = ended_ms();
    for _ in 0..AT_ONCE {
        let mut command = Command::new(program("firnbook"));
        command.args(arguments).arg("--store").arg(phone.path()).stdout(Stdio::null()).stderr(Stdio::null());
        let status = command.stdin(Stdio::null()).status().unwrap();
        assert!(status.code().is_some_and(|code| code < 2), "{arguments:?}: {status}");
    }
    (ended_ms() - before) / AT_ONCE as f64
}

/// Milliseconds of all child processes that ended: fields 16 and 17 of `/proc/self/stat`, in ticks of 10 ms.
fn ended_ms() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap();
    let fields: Vec<&str> = stat[stat.rfind(')').unwrap()..].split_whitespace().collect();
    [fields[14], fields[15]].iter().map(|ticks| ticks.parse::<f64>().unwrap() * 10.0).sum()
}
