//! The commands, one file each: what it takes, then the function that does it. This file only finds the right one.

pub mod adopt;
pub mod amend;
pub mod clock;
pub mod completions;
pub mod crew;
pub mod day;
pub mod debrief;
pub mod demo;
pub mod entries;
pub mod export;
pub mod here;
pub mod import;
pub mod kit;
pub mod listen;
pub mod log;
pub mod manual;
pub mod merge;
pub mod r#move;
pub mod pack;
pub mod paper;
pub mod plan;
pub mod record;
pub mod review;
pub mod settings;
pub mod settle;
mod settle_walk;
pub mod show;
pub mod stats;
pub mod sync;
pub mod verify;
pub mod void;

use crate::args::{Cli, Command};
use crate::desk::{Desk, store_path};
use crate::failure::Failure;
use crate::file::make_folder;
use crate::settings::Settings;
use crate::surroundings::Surroundings;
use crate::ui::{ALERT, Ui, styled};
use firnbook_core::clock::implausible;

/// How a command ended.
pub type Ran = Result<(), Failure>;

/// Exit status where `--strict` was given and something awaits a person.
const AWAITS: u8 = 3;

/// Runs the command that was asked for. Returns the exit status.
pub fn run(cli: &Cli, mut ui: Ui, around: &Surroundings) -> u8 {
    let without_a_store = match &cli.command {
        Some(Command::Completions(args)) => Some(completions::run(&mut ui, args)),
        Some(Command::Manual(args)) => Some(manual::run(&mut ui, args)),
        Some(Command::Demo(args)) => Some(demo::run(&mut ui, args, around)),
        Some(Command::Plan(args)) => Some(planned(&mut ui, cli, args, around)),
        _ => None,
    };
    if let Some(ran) = without_a_store {
        return ran.map_or_else(|failure| ui.fail(failure), |()| 0);
    }
    let clock = around.clock.clone();
    let opened = store_path(&cli.global, around).and_then(|path| {
        // The platform's folder for data may not be there yet; any other is made by whoever named it.
        let folder = around.data_folder.as_deref().filter(|folder| path.parent() == Some(folder));
        folder.map_or(Ok(()), make_folder)?;
        Desk::open(&path, &clock)
    });
    let mut desk = match opened {
        Ok((logbook, settings)) => Desk { ui, logbook, settings, clock, awaits: false },
        Err(failure) => return ui.fail(failure),
    };
    match at_the_desk(&mut desk, cli.command.as_ref()) {
        Ok(()) if cli.global.strict && desk.awaits => AWAITS,
        Ok(()) => 0,
        Err(failure) => desk.ui.fail(failure),
    }
}

/// A plan needs the settings beside the store, not the store.
fn planned(ui: &mut Ui, cli: &Cli, args: &plan::PlanArgs, around: &Surroundings) -> Ran {
    let settings = Settings::beside(&store_path(&cli.global, around)?)?;
    plan::run(ui, args, &settings)
}

fn at_the_desk(desk: &mut Desk, command: Option<&Command>) -> Ran {
    if let Some(says) = implausible(desk.now()) {
        desk.ui.say(styled(ALERT, format!("{says} (`firnbook clock --help`)")));
    }
    match command {
        None => here::run(desk),
        Some(Command::Day(args)) => day::run(desk, args),
        Some(Command::Log(args)) => log::run(desk, args),
        Some(Command::Record(args)) => record::run(desk, args),
        Some(Command::Entries(args)) => entries::run(desk, args),
        Some(Command::Show(args)) => show::run(desk, args),
        Some(Command::Amend(args)) => amend::run(desk, args),
        Some(Command::Void(args)) => void::run(desk, args),
        Some(Command::Adopt(args)) => adopt::run(desk, args),
        Some(Command::Move(args)) => r#move::run(desk, args),
        Some(Command::Pack(args)) => pack::run(desk, args),
        Some(Command::Merge(args)) => merge::run(desk, args),
        Some(Command::Crew(args)) => crew::run(desk, args),
        Some(Command::Listen(args)) => listen::run(desk, args),
        Some(Command::Sync(args)) => sync::run(desk, args),
        Some(Command::Kit(args)) => kit::run(desk, args),
        Some(Command::Clock(args)) => clock::run(desk, args),
        Some(Command::Review(args)) => review::run(desk, args),
        Some(Command::Settle(args)) => settle::run(desk, args),
        Some(Command::Debrief(args)) => debrief::run(desk, args),
        Some(Command::Stats(args)) => stats::run(desk, args),
        Some(Command::Export(args)) => export::run(desk, args),
        Some(Command::Import(args)) => import::run(desk, args),
        Some(Command::Paper(args)) => paper::run(desk, args),
        Some(Command::Verify(args)) => verify::run(desk, args),
        Some(Command::Settings(args)) => settings::run(desk, args),
        Some(Command::Demo(_) | Command::Plan(_) | Command::Completions(_) | Command::Manual(_)) => Ok(()),
    }
}
