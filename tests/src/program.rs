//! The program `firnbook` in this process, with a store, a clock and streams of the test's own.

use crate::TestClock;
use firnbook::{Surroundings, Terminal, run};
use serde_json::Value;
use std::ffi::OsString;
use std::io::{self, Cursor, Write};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

/// One device with the program on it.
pub struct Program {
    /// Its clock.
    pub clock: TestClock,
    folder: tempfile::TempDir,
}

/// What one command left behind.
#[derive(Debug)]
pub struct Ran {
    /// The exit status.
    pub status: u8,
    /// Standard output.
    pub out: String,
    /// Standard error.
    pub err: String,
}

impl Program {
    /// A new device whose owner has this call sign.
    #[must_use]
    pub fn of(call_sign: &str) -> Program {
        let program = Program::new();
        program.ok(&["settings", "me", call_sign]);
        program
    }

    /// A new device, untouched.
    ///
    /// # Panics
    /// Where there is no room for temporary files.
    #[must_use]
    pub fn new() -> Program {
        Program { clock: TestClock::new(), folder: tempfile::tempdir().expect("a temporary folder") }
    }

    /// A file in the device's folder.
    #[must_use]
    pub fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The device's folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Runs a command; `words` without the program's own name.
    #[must_use]
    pub fn run(&self, words: &[&str]) -> Ran {
        self.run_with(words, "")
    }

    /// Runs a command that reads `input` from standard input.
    #[must_use]
    pub fn run_with(&self, words: &[&str], input: &str) -> Ran {
        let (out, err) = (Caught::default(), Caught::default());
        let store = self.file("store.firnbook").into_os_string();
        let status = run(Surroundings {
            args: ["firnbook"].iter().chain(words).map(OsString::from).collect(),
            env: Box::new(move |name| (name == "FIRNBOOK_STORE").then(|| store.clone())),
            stdin: Box::new(Cursor::new(input.to_owned())),
            stdout: Box::new(out.clone()),
            stderr: Box::new(err.clone()),
            terminal: Terminal::default(),
            clock: Arc::new(self.clock.clone()),
            data_folder: None,
        });
        Ran { status, out: out.text(), err: err.text() }
    }

    /// Runs a command that must succeed.
    ///
    /// # Panics
    /// Where it does not, with what it said.
    pub fn ok(&self, words: &[&str]) -> Ran {
        let ran = self.run(words);
        assert_eq!(ran.status, 0, "{words:?} said: {}{}", ran.out, ran.err);
        ran
    }

    /// The JSON answer of a command that must succeed.
    ///
    /// # Panics
    /// Where it does not, or answers no JSON.
    #[must_use]
    pub fn json(&self, words: &[&str]) -> Value {
        let ran = self.ok(&[words, &["--json"]].concat());
        serde_json::from_str(&ran.out).expect("one JSON document")
    }
}

impl Default for Program {
    fn default() -> Self {
        Program::new()
    }
}

/// A stream that is kept.
#[derive(Clone, Default)]
struct Caught(Arc<Mutex<Vec<u8>>>);

impl Caught {
    fn text(&self) -> String {
        String::from_utf8_lossy(&self.0.lock().unwrap_or_else(PoisonError::into_inner)).into_owned()
    }
}

impl Write for Caught {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).extend_from_slice(bytes);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}
