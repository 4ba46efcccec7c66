//! What a run of the program touches besides files: arguments, environment, streams, terminal, clock. The binary gives the machine's, a test
//! gives its own.

use firnbook_core::clock::{Clock, MachineClock, SinceBoot};
use firnbook_core::entry::Time;
use std::ffi::OsString;
use std::io::{self, BufRead, BufReader, IsTerminal, Write};
use std::path::PathBuf;
use std::sync::Arc;

/// Where environment variables come from.
pub type Env = Box<dyn Fn(&str) -> Option<OsString>>;

/// Everything outside of the program that it may look at or write to, files apart.
pub struct Surroundings {
    /// The arguments, the program's own name first.
    pub args: Vec<OsString>,
    /// Environment variables.
    pub env: Env,
    /// Standard input.
    pub stdin: Box<dyn BufRead>,
    /// Standard output: answers.
    pub stdout: Box<dyn Write>,
    /// Standard error: messages and progress.
    pub stderr: Box<dyn Write>,
    /// Which streams are a terminal, and how wide it is.
    pub terminal: Terminal,
    /// Where "now" comes from.
    pub clock: Arc<dyn Clock>,
    /// The folder in which the platform keeps a program's data; `None` if it has none.
    pub data_folder: Option<PathBuf>,
}

/// Which of the streams are a terminal.
#[derive(Clone, Copy, Debug, Default)]
pub struct Terminal {
    /// Standard input.
    pub stdin: bool,
    /// Standard output.
    pub stdout: bool,
    /// Standard error.
    pub stderr: bool,
    /// Columns; `None` where lines are not to be broken.
    pub columns: Option<usize>,
}

impl Surroundings {
    /// Those of this process.
    #[must_use]
    pub fn of_this_process() -> Surroundings {
        let terminal = Terminal {
            stdin: io::stdin().is_terminal(),
            stdout: io::stdout().is_terminal(),
            stderr: io::stderr().is_terminal(),
            columns: io::stdout().is_terminal().then(columns).flatten(),
        };
        Surroundings {
            args: std::env::args_os().collect(),
            env: Box::new(|name| std::env::var_os(name)),
            stdin: Box::new(BufReader::new(io::stdin())),
            stdout: Box::new(io::BufWriter::new(io::stdout())),
            stderr: Box::new(io::stderr()),
            terminal,
            clock: Arc::new(MachineClock),
            data_folder: directories::ProjectDirs::from("", "", "firnbook").map(|d| d.data_dir().to_owned()),
        }
    }
}

fn columns() -> Option<usize> {
    terminal_size::terminal_size().map(|(width, _)| usize::from(width.0).max(40))
}

/// A clock that several logbooks share.
pub struct SharedClock(pub Arc<dyn Clock>);

impl Clock for SharedClock {
    fn now(&self) -> Time {
        self.0.now()
    }

    fn since_boot(&self) -> Option<SinceBoot> {
        self.0.since_boot()
    }
}
