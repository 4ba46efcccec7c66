//! The command line of Firnbook. Everything that is not a screen lives in `firnbook-core`; here are arguments, messages, tables, and the
//! shapes of the `--json` answers.
//!
//! [`run`] is the whole program; it touches the world only through the [`Surroundings`] that it is given, and files.

#![forbid(unsafe_code)]
#![cfg_attr(test, allow(clippy::unwrap_used, clippy::expect_used))]

pub mod answer;
pub mod args;
pub mod commands;
pub mod desk;
pub mod failure;
pub mod file;
pub mod intake;
mod interrupt;
mod network;
pub mod page;
pub mod paper;
pub mod record;
pub mod settings;
mod story;

mod surroundings;
pub mod tables;
pub mod ui;
pub mod view;

pub use answer::answers;

pub use surroundings::{SharedClock, Surroundings, Terminal};

use args::Cli;
use clap::Parser;
use failure::Failure;
use ui::{Colour, Ui};

/// Runs the program. Returns the exit status: 0 done, 1 failed, 2 not understood, 3 done but something awaits a person (`--strict`).
#[must_use]
pub fn run(mut around: Surroundings) -> u8 {
    match Cli::try_parse_from(&around.args) {
        Ok(cli) => {
            let ui = Ui::new(&mut around, cli.global.color, cli.global.json, cli.global.quiet);
            commands::run(&cli, ui, &around)
        }
        Err(error) => {
            let json = around.args.iter().any(|a| a == "--json");
            let mut ui = Ui::new(&mut around, Colour::Auto, json, false);
            let text = error.render().ansi().to_string();
            if error.use_stderr() {
                return ui.fail(Failure::Usage(without_the_word_error(&text)));
            }
            ui.out(&text).map_or_else(|failure| ui.fail(failure), |()| 0)
        }
    }
}

/// What clap says, without its own "error:" in front: the program puts its own there.
fn without_the_word_error(text: &str) -> String {
    let plain = anstream::adapter::strip_str(text).to_string();
    plain.strip_prefix("error: ").unwrap_or(&plain).trim_end().to_owned()
}
