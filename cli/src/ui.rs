//! The three voices of the program, never mixed: answers on standard output, messages and advice on standard error. Owns colour, width, and
//! whether answers are JSON.

use crate::failure::{ErrorAnswer, Failure};
use crate::surroundings::{Surroundings, Terminal};
use anstyle::{AnsiColor, Style};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use serde::Serialize;
use std::fmt::Display;
use std::io::{self, BufRead, Read, Write};
use std::time::Duration;

/// When to colour.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum Colour {
    /// On a terminal, unless NO_COLOR is set
    #[default]
    Auto,
    /// Always
    Always,
    /// Never
    Never,
}

/// Headings.
pub const HEADING: Style = Style::new().bold();
/// What is there for completeness.
pub const FAINT: Style = Style::new().dimmed();
/// What a person must look at.
pub const ALERT: Style = Style::new().bold().fg_color(Some(anstyle::Color::Ansi(AnsiColor::Yellow)));
/// Commands to type.
pub const COMMAND: Style = Style::new().fg_color(Some(anstyle::Color::Ansi(AnsiColor::Cyan)));
/// The word "error".
pub const ERROR: Style = Style::new().bold().fg_color(Some(anstyle::Color::Ansi(AnsiColor::Red)));

/// A text in a style.
#[must_use]
pub fn styled(style: Style, text: impl Display) -> String {
    format!("{style}{text}{style:#}")
}

/// Speaks to whoever runs the program.
pub struct Ui {
    stdin: Box<dyn BufRead>,
    stdout: Box<dyn Write>,
    stderr: Box<dyn Write>,
    terminal: Terminal,
    colour: [bool; 2],
    json: bool,
    quiet: bool,
    answered: bool,
}

impl Ui {
    /// A voice into these streams.
    #[must_use]
    pub fn new(around: &mut Surroundings, colour: Colour, json: bool, quiet: bool) -> Ui {
        let set = |name: &str| (around.env)(name).is_some_and(|v| !v.is_empty());
        let may = !set("NO_COLOR") && (around.env)("TERM").is_none_or(|t| t != "dumb");
        let on = |terminal: bool| match colour {
            Colour::Auto => terminal && may,
            Colour::Always => true,
            Colour::Never => false,
        };
        Ui {
            stdin: std::mem::replace(&mut around.stdin, Box::new(io::empty())),
            stdout: std::mem::replace(&mut around.stdout, Box::new(io::sink())),
            stderr: std::mem::replace(&mut around.stderr, Box::new(io::sink())),
            terminal: around.terminal,
            colour: [on(around.terminal.stdout), on(around.terminal.stderr)],
            json,
            quiet,
            answered: false,
        }
    }

    /// Gives an answer: as JSON if that was asked for, else as the text that `tell` makes.
    ///
    /// # Errors
    /// [`Failure`] if the output can't be written.
    pub fn answer<T: Serialize>(
        &mut self,
        answer: &T,
        tell: impl FnOnce(&T) -> String,
    ) -> Result<(), Failure> {
        self.answered = true;
        if self.json {
            let text = serde_json::to_string_pretty(answer).map_err(Failure::refused)?;
            self.out(&format!("{text}\n"))
        } else {
            self.out(&tell(answer))
        }
    }

    /// Writes to standard output.
    ///
    /// # Errors
    /// [`Failure`] if the output can't be written.
    pub fn out(&mut self, text: &str) -> Result<(), Failure> {
        let written = if self.colour[0] {
            self.stdout.write_all(text.as_bytes())
        } else {
            write!(self.stdout, "{}", anstream::adapter::strip_str(text))
        };
        written.and_then(|()| self.stdout.flush()).map_err(stdout_failed)
    }

    /// Writes bytes to standard output as they are.
    ///
    /// # Errors
    /// [`Failure`] if the output can't be written.
    pub fn out_bytes(&mut self, bytes: &[u8]) -> Result<(), Failure> {
        self.stdout.write_all(bytes).and_then(|()| self.stdout.flush()).map_err(stdout_failed)
    }

    /// A message, unless `--quiet`.
    pub fn say(&mut self, text: impl Display) {
        if !self.quiet {
            self.err(&format!("{text}\n"));
        }
    }

    /// Advice on what to type next, unless `--quiet` or the answer is JSON.
    pub fn advise(&mut self, text: impl Display) {
        if !self.json {
            self.say(styled(FAINT, text));
        }
    }

    /// Tells a failure; with `--json` also as a document on standard output, unless the answer stands there already. Returns the exit status.
    pub fn fail(&mut self, failure: Failure) -> u8 {
        let (status, says, faults) = match failure {
            Failure::ReaderGone => return 0,
            Failure::Usage(says) => (2, says, Vec::new()),
            Failure::Refused { says, faults } => (1, says, faults),
        };
        self.err(&format!("{} {says}\n", styled(ERROR, "firnbook: error:")));
        if self.json && !self.answered {
            let answer =
                serde_json::to_string_pretty(&ErrorAnswer { error: says, faults }).unwrap_or_default();
            let _ = self.out(&format!("{answer}\n"));
        }
        status
    }

    /// A progress bar that shows itself only on a terminal and only if the work takes more than half a second.
    #[must_use]
    pub fn progress(&self, steps: usize, what: &str) -> ProgressBar {
        const PATIENCE: Duration = Duration::from_millis(500);
        if self.quiet || !self.terminal.stderr || steps < 2 {
            return ProgressBar::hidden();
        }
        let bar = ProgressBar::with_draw_target(Some(steps as u64), ProgressDrawTarget::hidden());
        if let Ok(style) = ProgressStyle::with_template("{msg} {pos} of {len} {wide_bar} {eta}") {
            bar.set_style(style);
        }
        bar.set_message(what.to_owned());
        let shown = bar.clone();
        std::thread::spawn(move || {
            std::thread::sleep(PATIENCE);
            if !shown.is_finished() {
                shown.set_draw_target(ProgressDrawTarget::stderr());
            }
        });
        bar
    }

    /// One line that is written over as things go on; hidden where there is no terminal.
    #[must_use]
    pub fn status(&self) -> ProgressBar {
        if self.quiet || !self.terminal.stderr {
            return ProgressBar::hidden();
        }
        let line = ProgressBar::with_draw_target(None, ProgressDrawTarget::stderr());
        if let Ok(style) = ProgressStyle::with_template("{wide_msg}") {
            line.set_style(style);
        }
        line
    }

    /// Everything on standard input.
    ///
    /// # Errors
    /// [`Failure`] if it can't be read.
    pub fn read_all(&mut self) -> Result<Vec<u8>, Failure> {
        self.read_up_to(u64::MAX)
    }

    /// As many bytes of standard input as wanted, or fewer where it ends before.
    ///
    /// # Errors
    /// [`Failure`] if it can't be read.
    pub fn read_up_to(&mut self, wanted: u64) -> Result<Vec<u8>, Failure> {
        let mut bytes = Vec::new();
        Read::take(&mut *self.stdin, wanted)
            .read_to_end(&mut bytes)
            .map_err(|e| Failure::refused(format!("standard input can't be read ({e})")))?;
        Ok(bytes)
    }

    /// Asks a question and returns the line that is typed; `None` at the end of the input.
    ///
    /// # Errors
    /// [`Failure`] if the terminal does not answer.
    pub fn ask(&mut self, question: &str) -> Result<Option<String>, Failure> {
        self.out(question)?;
        let mut line = String::new();
        let n = self
            .stdin
            .read_line(&mut line)
            .map_err(|e| Failure::refused(format!("standard input can't be read ({e})")))?;
        Ok((n > 0).then(|| line.trim().to_owned()))
    }

    /// Clears the terminal for the next question.
    ///
    /// # Errors
    /// [`Failure`] if the output can't be written.
    pub fn new_screen(&mut self) -> Result<(), Failure> {
        if self.terminal.stdout { self.out_bytes(b"\x1b[2J\x1b[H") } else { Ok(()) }
    }

    /// Someone sits at a terminal and may be asked.
    #[must_use]
    pub fn may_ask(&self) -> bool {
        self.terminal.stdin && self.terminal.stdout && !self.json
    }

    /// Standard output may be coloured.
    #[must_use]
    pub fn coloured(&self) -> bool {
        self.colour[0]
    }

    /// Answers are JSON.
    #[must_use]
    pub fn json(&self) -> bool {
        self.json
    }

    /// Columns to draw in: of the terminal, at most 100; of a file 80.
    #[must_use]
    pub fn columns(&self) -> usize {
        self.terminal.columns.unwrap_or(80).min(100)
    }

    fn err(&mut self, text: &str) {
        // Nobody can be told that standard error is gone.
        let _ = if self.colour[1] {
            self.stderr.write_all(text.as_bytes())
        } else {
            write!(self.stderr, "{}", anstream::adapter::strip_str(text))
        };
        let _ = self.stderr.flush();
    }
}

fn stdout_failed(error: io::Error) -> Failure {
    match error.kind() {
        io::ErrorKind::BrokenPipe => Failure::ReaderGone,
        _ => Failure::refused(format!("the answer can't be written to standard output ({error})")),
    }
}
