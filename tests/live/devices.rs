//! The program as people run it, as a process of its own a call: a base that listens, phones by clocks that the test sets, and what they hold.

use firnbook_tests::program::program;
use serde_json::Value;
use std::io::{BufRead, BufReader, Read};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// The file that says how far the clock beside this store is off; where there is none, the machine's own counts.
fn off(store: &Path) -> PathBuf {
    store.with_extension("off")
}

/// Sets the clock of the device with this store: so many milliseconds ahead of the machine's.
pub fn set_clock(store: &Path, ahead_ms: i64) {
    std::fs::write(off(store), ahead_ms.to_string()).unwrap();
}

/// A call of the program.
pub fn firnbook(store: &Path, line: &[&str]) -> Command {
    let off = off(store);
    let mut command = Command::new(program(if off.exists() { "skewed" } else { "firnbook" }));
    command.args(off.exists().then_some(off)).arg("--store").arg(store).args(line).stdin(Stdio::null());
    command
}

/// The answer of a call that must go well.
pub fn run(store: &Path, line: &[&str]) -> Value {
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

/// A base that listens in a process of its own, and where. It is killed when it is dropped.
pub struct Listening {
    /// The process.
    pub child: Child,
    /// Where.
    pub at: SocketAddr,
}

/// After this long a base that should end does not.
const PATIENCE: Duration = Duration::from_secs(60);

impl Listening {
    /// Waits until it has ended, well; what it said.
    pub fn ended(mut self) -> String {
        let begun = Instant::now();
        let status = loop {
            if let Some(status) = self.child.try_wait().unwrap() {
                break status;
            }
            assert!(begun.elapsed() < PATIENCE, "base still listens");
            std::thread::sleep(Duration::from_millis(20));
        };
        let mut said = String::new();
        self.child.stdout.take().unwrap().read_to_string(&mut said).unwrap();
        assert!(status.success(), "{status}: {said}");
        said
    }
}

impl Drop for Listening {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A base that ends by itself once so many phones have exchanged everything.
pub fn listen(store: &Path, phones: usize) -> Listening {
    listening(store, &["--phones", &phones.to_string()])
}

/// A base that ends when it is interrupted, and then answers in JSON.
pub fn listen_json(store: &Path) -> Listening {
    listening(store, &["--json"])
}

fn listening(store: &Path, more: &[&str]) -> Listening {
    let mut child = firnbook(store, &[&["listen", "--addr", "127.0.0.1:0"], more].concat())
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

/// Ends a base as Ctrl-C does, in order; what it said.
pub fn told_when_interrupted(base: Listening) -> String {
    let killed = Command::new("kill").args(["-INT", &base.child.id().to_string()]).status().unwrap();
    assert!(killed.success());
    base.ended()
}

/// The same, in JSON; null for a text.
pub fn interrupted(base: Listening) -> Value {
    serde_json::from_str(&told_when_interrupted(base)).unwrap_or(Value::Null)
}

/// A crew whose phones have taken their invitations up.
pub struct Crew {
    /// Where all stores lie.
    pub folder: tempfile::TempDir,
}

/// The area of the day.
const AREA: [&str; 2] = ["--area", "Upper Bowl"];

impl Crew {
    /// Phones by the machine's clock.
    pub fn new(phones: usize) -> Crew {
        Crew::by_clocks(&vec![None; phones])
    }

    /// A phone for each of these clocks; `None` is the machine's.
    pub fn by_clocks(ahead_ms: &[Option<i64>]) -> Crew {
        let crew = Crew { folder: tempfile::tempdir().unwrap() };
        let base = crew.store("base");
        run(&base, &["settings", "me", "Base"]);
        run(&base, &["day", "new", AREA[0], AREA[1]]);
        run(&base, &["crew", "new"]);
        for (n, ahead_ms) in ahead_ms.iter().enumerate() {
            if let Some(ahead_ms) = ahead_ms {
                set_clock(&crew.phone(n), *ahead_ms);
            }
            let code =
                run(&base, &["crew", "invite", "--addr", "127.0.0.1:1"])["code"].as_str().unwrap().to_owned();
            let phone = crew.phone(n);
            run(&phone, &["settings", "me", &format!("Obs{n}")]);
            run(&phone, &["crew", "join", &code]);
        }
        crew
    }

    /// The store of a device.
    pub fn store(&self, name: &str) -> PathBuf {
        self.folder.path().join(format!("{name}.firnstore"))
    }

    /// The store of a phone.
    pub fn phone(&self, n: usize) -> PathBuf {
        self.store(&format!("phone{n}"))
    }

    /// A day's entries of one phone, in one file.
    pub fn write_day(&self, n: usize, entries: usize) {
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

    /// The heads of the day in a store.
    pub fn heads(&self, store: &Path) -> Value {
        run(store, &["day", "show"])["heads"].clone()
    }
}
