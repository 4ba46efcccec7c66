//! Answers questions to the mathematics of core over a pipe, so that the outside checks, which are written in another
//! language, can compare: a line `{"fn": "stats.mean", "values": [1, 2]}` is answered by a line `{"answer": 1.5}` or
//! `{"refused": "why"}`. Each area answers in a file of its own; this one only passes on. Not part of the product.

mod clock;
mod entry;
mod field;
mod season;
mod stats;

use std::io::{self, BufRead, Write};

use serde_json::{Value, json};

fn main() -> io::Result<()> {
    let mut out = io::stdout().lock();
    for line in io::stdin().lock().lines() {
        let reply = match answer(&line?) {
            Ok(answer) => json!({ "answer": answer }),
            Err(why) => json!({ "refused": why }),
        };
        writeln!(out, "{reply}")?;
        out.flush()?;
    }
    Ok(())
}

fn answer(line: &str) -> Result<Value, String> {
    let question: Value = serde_json::from_str(line).map_err(|error| error.to_string())?;
    match question["fn"].as_str().and_then(|name| name.split_once('.')) {
        Some(("clock", name)) => clock::answer(name, &question),
        Some(("entry", name)) => entry::answer(name, &question),
        Some(("field", name)) => field::answer(name, &question),
        Some(("season", name)) => season::answer(name, &question),
        Some(("stats", name)) => stats::answer(name, &question),
        _ => Err(format!("no area answers {}", question["fn"])),
    }
}
