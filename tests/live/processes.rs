//! A base and its phones as processes of their own: the program as people run it, over links that fail, with kills in between.

use super::relay::{FAIR, Relay, Weather};
use firnbook_tests::program::program;
use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

fn firnbook(store: &Path, line: &[&str]) -> Command {
    let mut command = Command::new(program("firnbook"));
    command.arg("--store").arg(store).args(line).stdin(Stdio::null());
    command
}

fn run(store: &Path, line: &[&str]) -> Value {
    let output = firnbook(store, line).arg("--json").output().unwrap();
    let (out, err) = (String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
    assert!(output.status.success(), "{line:?}: {out}{err}");
    let answer: Value = serde_json::from_str(&out).unwrap();
    if line[0] == "sync" {
        let schemas = firnbook::answers();
        let (_, schema) = schemas.iter().find(|(name, _)| *name == "sync").unwrap();
        let valid = jsonschema::validator_for(&schema.clone().to_value()).unwrap();
        assert!(valid.is_valid(&answer), "{answer}");
    }
    answer
}

/// A base that listens in a process of its own, and where.
struct Listening {
    child: Child,
    at: SocketAddr,
}

fn listen(store: &Path, phones: usize) -> Listening {
    let n = phones.to_string();
    let mut child = firnbook(store, &["listen", "--addr", "127.0.0.1:0", "--phones", &n])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut lines = BufReader::new(child.stderr.take().unwrap()).lines();
    let first = lines.next().unwrap().unwrap();
    let at = first.rsplit(' ').next().unwrap().parse().unwrap_or_else(|_| panic!("{first}"));
    // Someone must read on, or base would wait for a reader.
    std::thread::spawn(move || lines.for_each(drop));
    Listening { child, at }
}

struct Crew {
    folder: tempfile::TempDir,
}

const AREA: [&str; 2] = ["--area", "Upper Bowl"];

impl Crew {
    fn new(phones: usize) -> Crew {
        let crew = Crew { folder: tempfile::tempdir().unwrap() };
        let base = crew.store("base");
        run(&base, &["settings", "me", "Base"]);
        run(&base, &["day", "new", AREA[0], AREA[1]]);
        run(&base, &["crew", "new"]);
        for n in 0..phones {
            let code =
                run(&base, &["crew", "invite", "--addr", "127.0.0.1:1"])["code"].as_str().unwrap().to_owned();
            let phone = crew.phone(n);
            run(&phone, &["settings", "me", &format!("Obs{n}")]);
            run(&phone, &["crew", "join", &code]);
        }
        crew
    }

    fn store(&self, name: &str) -> PathBuf {
        self.folder.path().join(format!("{name}.firnstore"))
    }

    fn phone(&self, n: usize) -> PathBuf {
        self.store(&format!("phone{n}"))
    }

    /// A day's entries of one phone, in one file.
    fn write_day(&self, n: usize, entries: usize) {
        let file = self.folder.path().join(format!("day{n}.jsonl"));
        let now = chrono::Local::now();
        let (today, offset) = (now.format("%Y-%m-%d"), now.format("%:z"));
        let lines: String = (0..entries)
            .map(|i| {
                let at = format!("{today}T{:02}:{:02}:{:02}{offset}", 9 + i / 3600 % 8, i / 60 % 60, i % 60);
                let strike = serde_json::json!({
                    "kind": "strike", "at": at, "drill": format!("{}", n % 3), "target": "A", "depth_cm": 40 + i % 150, "outcome": "hit",
                    "note": format!("by phone {n}")
                });
                format!("{strike}\n")
            })
            .collect();
        std::fs::write(&file, lines).unwrap();
        run(&self.phone(n), &["log", "--from", file.to_str().unwrap()]);
    }

    fn heads(&self, store: &Path) -> Value {
        run(store, &["day", "show"])["heads"].clone()
    }
}

#[test]
fn a_base_and_eight_phones_through_delays_and_cuts() {
    let crew = Crew::new(8);
    for n in 0..8 {
        crew.write_day(n, 150);
    }
    let base = listen(&crew.store("base"), 8);
    let weather = [
        FAIR,
        Weather { delay: Duration::from_millis(100), ..FAIR },
        Weather { cut_every: 6_000, seed: 3, ..FAIR },
        Weather { rate: 20_000, ..FAIR },
    ];
    let relays: Vec<Relay> = (0..8).map(|n| Relay::to(base.at, weather[n % weather.len()])).collect();
    let phones: Vec<Child> = relays
        .iter()
        .enumerate()
        .map(|(n, relay)| {
            let at = relay.at.to_string();
            firnbook(&crew.phone(n), &["sync", &at, "--json"])
                .stdout(Stdio::piped())
                .stderr(Stdio::piped())
                .spawn()
                .unwrap()
        })
        .collect();
    for phone in phones {
        let output = phone.wait_with_output().unwrap();
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        let answer: Value = serde_json::from_slice(&output.stdout).unwrap();
        // All run on this machine's clock: the offset is nothing, to what is said of it.
        let (offset, within) =
            (answer["clock_offset_ms"].as_f64().unwrap(), answer["clock_uncertainty_ms"].as_f64().unwrap());
        assert!(offset.abs() <= within, "{answer}");
    }
    let output = base.child.wait_with_output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stdout));
    // A second round, without the weather: then all hold the same.
    let base = listen(&crew.store("base"), 8);
    for n in 0..8 {
        run(&crew.phone(n), &["sync", &base.at.to_string()]);
    }
    drop(base);
    let shown = run(&crew.store("base"), &["day", "show"]);
    let strikes = shown["kinds"].as_array().unwrap().iter().find(|k| k["kind"] == "strike").unwrap();
    assert_eq!(strikes["n"], 8 * 150);
    assert!(shown["kinds"].as_array().unwrap().iter().any(|k| k["kind"] == "clock"), "{shown}");
    for name in ["base", "phone0", "phone7"] {
        assert_eq!(run(&crew.store(name), &["verify"])["ok"], true);
    }
}

#[test]
fn a_base_that_is_killed_keeps_what_it_confirmed() {
    let crew = Crew::new(4);
    for n in 0..4 {
        crew.write_day(n, 400);
    }
    for round in 0..4_u64 {
        let mut base = listen(&crew.store("base"), 4);
        let at = base.at.to_string();
        let phones: Vec<Child> = (0..4)
            .map(|n| {
                firnbook(&crew.phone(n), &["sync", &at, "--quiet"])
                    .stdout(Stdio::null())
                    .stderr(Stdio::null())
                    .spawn()
                    .unwrap()
            })
            .collect();
        std::thread::sleep(Duration::from_millis(60 + 130 * round));
        base.child.kill().unwrap();
        base.child.wait().unwrap();
        // Every second time a phone dies as well.
        for (n, mut phone) in phones.into_iter().enumerate() {
            if round % 2 == 1 && n == 0 {
                let _ = phone.kill();
            }
            let _ = phone.wait();
        }
        assert_eq!(run(&crew.store("base"), &["verify"])["ok"], true, "round {round}");
    }
    let base = listen(&crew.store("base"), 4);
    for n in 0..4 {
        run(&crew.phone(n), &["sync", &base.at.to_string()]);
    }
    assert!(base.child.wait_with_output().unwrap().status.success());
    let shown = run(&crew.store("base"), &["day", "show"]);
    let strikes = shown["kinds"].as_array().unwrap().iter().find(|k| k["kind"] == "strike").unwrap();
    assert_eq!(strikes["n"], 4 * 400);
    let base = listen(&crew.store("base"), 1);
    run(&crew.phone(0), &["sync", &base.at.to_string()]);
    drop(base);
    assert!(!crew.heads(&crew.phone(0)).as_array().unwrap().is_empty());
}

#[test]
fn an_interrupt_ends_base_in_order() {
    let crew = Crew::new(1);
    let base = listen(&crew.store("base"), 99);
    run(&crew.phone(0), &["sync", &base.at.to_string()]);
    // Other commands work on the same store meanwhile.
    run(&crew.store("base"), &["log", "note", "--topic", "general", "--note", "while listening"]);
    let killed = Command::new("kill").args(["-INT", &base.child.id().to_string()]).status().unwrap();
    assert!(killed.success());
    let output = base.child.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    let said = String::from_utf8(output.stdout).unwrap();
    assert!(said.contains("1 sessions"), "{said}");
}

#[test]
fn what_goes_wrong_is_said_in_a_sentence() {
    let crew = Crew::new(1);
    let base = crew.store("base");
    let fails = |store: &Path, line: &[&str], expected: &str| {
        let output = firnbook(store, line).output().unwrap();
        let said = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(1), "{line:?}: {said}");
        assert!(said.starts_with("firnbook: error:") && said.contains(expected), "{line:?}: {said}");
        assert_eq!(said.trim_end().lines().count(), 1, "{said}");
    };
    let taken = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let at = taken.local_addr().unwrap().to_string();
    fails(&base, &["listen", "--addr", &at], "is taken");
    fails(&base, &["listen", "--addr", "203.0.113.1:45460"], "does not listen");
    fails(&crew.phone(0), &["sync", "nowhere.invalid"], "leads nowhere");
    fails(&crew.phone(0), &["sync", "127.0.0.1:1"], "nobody answers");
    fails(&crew.store("other"), &["sync", "127.0.0.1:1"], "in no crew");
    fails(&crew.store("other"), &["listen"], "in no crew");
    fails(&crew.store("other"), &["crew", "join", "FIRN-0000"], "cut or altered");
    fails(&crew.store("other"), &["crew", "join", "hello", "--name", "X"], "no invitation");
    fails(&base, &["crew", "remove", "nobody"], "no device of the crew");
    fails(&base, &["crew", "new"], "in a crew already");
}
