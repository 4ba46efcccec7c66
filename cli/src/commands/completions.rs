//! `completions`: what a shell needs to complete commands.

use super::Ran;
use crate::args::Cli;
use crate::ui::Ui;
use clap::CommandFactory;
use clap_complete::Shell;

/// Print completions for a shell
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Example:\n  firnbook completions bash > ~/.local/share/bash-completion/completions/firnbook"
)]
pub struct CompletionsArgs {
    /// The shell
    shell: Shell,
}

/// Runs `completions`.
pub fn run(ui: &mut Ui, args: &CompletionsArgs) -> Ran {
    let mut bytes = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "firnbook", &mut bytes);
    ui.out_bytes(&bytes)
}
