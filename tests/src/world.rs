//! A place to run the program in: a folder of its own, a clock that stands still until it is moved, and its streams.

use chrono::DateTime;
use firnbook::{Surroundings, Terminal, run};
use firnbook_core::clock::Clock;
use firnbook_core::entry::Time;
use serde_json::Value;
use std::cell::RefCell;
use std::io::{Cursor, Write};
use std::path::PathBuf;
use std::rc::Rc;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

/// What a run gave.
#[derive(Debug)]
pub struct Ran {
    /// The exit status.
    pub status: u8,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Ran {
    /// Standard output of a run that must have gone well.
    pub fn ok(self) -> String {
        assert_eq!(self.status, 0, "{}{}", self.out, self.err);
        self.out
    }

    /// The JSON answer of a run that must have gone well.
    pub fn json(self) -> Value {
        serde_json::from_str(&self.ok()).unwrap()
    }

    /// Both streams with the exit status, for a snapshot.
    pub fn shown(&self) -> String {
        format!("{}--- messages, exit status {}\n{}", self.out, self.status, self.err)
    }
}

/// A folder and a clock.
pub struct World {
    /// The folder; every relative path in arguments that begins with `@` lies in it.
    pub folder: tempfile::TempDir,
    clock: Arc<Still>,
    /// Which streams are a terminal.
    pub terminal: Terminal,
}

struct Still(AtomicI64);

impl Clock for Still {
    fn now(&self) -> Time {
        Time::from_millis(self.0.load(Ordering::Relaxed), 60).unwrap()
    }
}

#[derive(Clone, Default)]
struct Stream(Rc<RefCell<Vec<u8>>>);

impl Write for Stream {
    fn write(&mut self, bytes: &[u8]) -> std::io::Result<usize> {
        self.0.borrow_mut().write(bytes)
    }
    fn flush(&mut self) -> std::io::Result<()> {
        Ok(())
    }
}

impl Stream {
    fn text(&self) -> String {
        String::from_utf8(self.0.borrow().clone()).unwrap()
    }
}

impl Default for World {
    fn default() -> Self {
        World::new()
    }
}

impl World {
    /// An empty folder at two in the afternoon of an invented day.
    pub fn new() -> World {
        let world = World {
            folder: tempfile::tempdir().unwrap(),
            clock: Arc::new(Still(AtomicI64::new(0))),
            terminal: Terminal::default(),
        };
        world.it_is("2027-02-06T14:00:00+01:00");
        world
    }

    /// A folder in which the demo was played, the base store chosen.
    pub fn played() -> World {
        let world = World::new();
        world.run("demo --dir @").ok();
        world
    }

    /// Moves the clock.
    pub fn it_is(&self, time: &str) {
        let at = DateTime::parse_from_rfc3339(time).unwrap().timestamp_millis();
        self.clock.0.store(at, Ordering::Relaxed);
    }

    /// A path in the folder.
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a file into the folder.
    pub fn file(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path(name);
        std::fs::write(&path, bytes).unwrap();
        path
    }

    /// Runs a command line; words in double quotes are one word, `@name` is a path in the folder.
    pub fn run(&self, line: &str) -> Ran {
        self.run_with(line, "")
    }

    /// Runs a command line with a standard input.
    pub fn run_with(&self, line: &str, input: &str) -> Ran {
        let (out, err) = (Stream::default(), Stream::default());
        let args = words(line).into_iter().map(|word| match word.strip_prefix('@') {
            Some(name) => self.path(name).into_os_string(),
            None => word.into(),
        });
        let store = self.path("base.firnstore").into_os_string();
        let status = run(Surroundings {
            args: std::iter::once("firnbook".into()).chain(args).collect(),
            env: Box::new(move |name| (name == "FIRNBOOK_STORE").then(|| store.clone())),
            stdin: Box::new(Cursor::new(input.to_owned().into_bytes())),
            stdout: Box::new(out.clone()),
            stderr: Box::new(err.clone()),
            terminal: self.terminal,
            clock: self.clock.clone(),
            data_folder: None,
        });
        Ran { status, out: out.text(), err: err.text() }
    }

    /// Compares a screen with the one that is kept under this name; what differs by chance or place is masked.
    pub fn snapshot(&self, name: &str, screen: &str) {
        let folder = regex_literal(&self.folder.path().display().to_string());
        let mut settings = insta::Settings::clone_current();
        settings.set_snapshot_path(concat!(env!("CARGO_MANIFEST_DIR"), "/screens/kept"));
        settings.set_prepend_module_to_snapshot(false);
        settings.set_omit_expression(true);
        settings.add_filter(&folder, "[folder]");
        settings.add_filter(r"  [0-9a-f]{6}  ", "  [dev]  ");
        settings.add_filter(r"\bdevice [0-9a-f]{6}\b", "device [dev]");
        settings.add_filter(r"\b[0-7][0-9A-HJKMNP-TV-Z]{25}\b", "[entry id]");
        settings.add_filter(r"\b[0-9A-HJKMNP-TV-Z]{6}\b", "[end]");
        settings.add_filter(r"\bdevice [0-9a-f]{32}\b", "device [device]");
        settings.bind(|| insta::assert_snapshot!(name, screen));
    }
}

fn regex_literal(text: &str) -> String {
    text.chars().flat_map(|c| if c.is_alphanumeric() { vec![c] } else { vec!['\\', c] }).collect()
}

fn words(line: &str) -> Vec<String> {
    let mut words = Vec::new();
    for (i, part) in line.split('"').enumerate() {
        if i % 2 == 1 {
            words.push(part.to_owned());
        } else {
            words.extend(part.split_whitespace().map(str::to_owned));
        }
    }
    words
}
