//! `manual`: the manual pages.

use super::Ran;
use crate::args::Cli;
use crate::failure::Failure;
use crate::file::{make_folder, write_whole};
use crate::ui::Ui;
use clap::CommandFactory;
use std::path::PathBuf;

/// Print the manual page, or write a page a command into a folder
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook manual | man -l -\n  firnbook manual --output ~/.local/share/man/man1"
)]
pub struct ManualArgs {
    /// The folder; without one the page of `firnbook` itself is printed
    #[arg(long, short, value_name = "FOLDER")]
    output: Option<PathBuf>,
}

/// Runs `manual`.
pub fn run(ui: &mut Ui, args: &ManualArgs) -> Ran {
    let mut command = Cli::command();
    command.build();
    let Some(folder) = &args.output else {
        return ui.out_bytes(&page(&command)?);
    };
    make_folder(folder)?;
    let mut n = 0;
    let mut left = vec![("firnbook".to_owned(), command)];
    while let Some((name, command)) = left.pop() {
        left.extend(command.get_subcommands().map(|sub| (format!("{name}-{}", sub.get_name()), sub.clone())));
        write_whole(&folder.join(format!("{name}.1")), &page(&command.name(name.clone()))?)?;
        n += 1;
    }
    ui.say(format!("{n} pages in {}", folder.display()));
    Ok(())
}

fn page(command: &clap::Command) -> Result<Vec<u8>, Failure> {
    let mut bytes = Vec::new();
    clap_mangen::Man::new(command.clone()).render(&mut bytes).map_err(Failure::refused)?;
    Ok(bytes)
}
