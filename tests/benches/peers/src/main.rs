//! Merging 20 devices of 500 entries, by Firnbook and by other libraries in turn; what reading and keeping them takes. Medians of seven runs.

use firnbook_peers::{Ours, Peers, strike};

const DEVICES: usize = 20;
const ENTRIES: usize = 500;
const RUNS: usize = 7;

fn main() {
    let (ours, peers) = (Ours::prepare(DEVICES, ENTRIES), Peers::prepare(DEVICES, ENTRIES, strike));
    // In turn, so that a busy machine slows all of them alike.
    let runs: Vec<[f64; 4]> =
        (0..RUNS).map(|_| [ours.once(), peers.bare_once(), peers.loro_once(), peers.yrs_once()]).collect();
    let ms = |way: usize| median(runs.iter().map(|run| run[way]).collect()) / 1000.0;
    println!("merging {DEVICES} x {ENTRIES}: {:.0} ms of processor time", ms(0));
    for (way, name) in [(1, "bare rows and changes"), (2, "loro"), (3, "yrs")] {
        let ratio = median(runs.iter().map(|run| run[0] / run[way]).collect());
        say(&format!("against {name} ({:.0} ms)", ms(way)), ratio, "x", 1.5);
    }
    let reading = median((0..RUNS).map(|_| ours.reading()).collect());
    say("reading the merged document against SHA-256 of its changes", reading, "x", 3.5);
    let (pack, allowed) = ours.size();
    say(
        &format!("its pack ({pack} bytes) against the document and 100 bytes a device"),
        pack as f64 / allowed as f64,
        "x",
        1.1,
    );
    let [open, closed] = ours.disk();
    say("disk an entry while the day is open", open, "bytes", 900.0);
    say("disk an entry once it is closed", closed, "bytes", 450.0);
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

fn say(what: &str, figure: f64, unit: &str, bound: f64) {
    let verdict = if figure <= bound { "within" } else { "OVER" };
    println!("{what:<75} {figure:>9.2} {unit:<5} {verdict} {bound}");
}
