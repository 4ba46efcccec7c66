//! `plan`: what a lead works out before a drill. It needs no entries, only the team's settings.

mod dig;
mod field;
mod lanes;
mod probes;
mod reading;

use super::Ran;
use crate::settings::Settings;
use crate::ui::{FAINT, Ui, styled};
use crate::view;
use firnbook_core::field::source::Source;
use firnbook_core::units::{Unit, read_quantity};

/// Work out before a drill: search lanes, a probe grid, digging, what a transceiver will show
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:\n  firnbook plan lanes --width 100 --length 150 --searchers 3")]
pub struct PlanArgs {
    #[command(subcommand)]
    about: About,
}

#[derive(clap::Subcommand, Debug)]
enum About {
    Lanes(lanes::LanesArgs),
    Probes(probes::ProbesArgs),
    Dig(dig::DigArgs),
    Reading(reading::ReadingArgs),
}

/// Runs `plan`.
pub fn run(ui: &mut Ui, args: &PlanArgs, settings: &Settings) -> Ran {
    match &args.about {
        About::Lanes(args) => lanes::run(ui, args),
        About::Probes(args) => probes::run(ui, args),
        About::Dig(args) => dig::run(ui, args, settings),
        About::Reading(args) => reading::run(ui, args),
    }
}

fn metres(text: &str) -> Result<f64, String> {
    read_quantity(text, Unit::Metre).map_err(|e| e.to_string())
}

fn centimetres(text: &str) -> Result<f64, String> {
    read_quantity(text, Unit::Centimetre).map_err(|e| e.to_string())
}

fn degrees(text: &str) -> Result<f64, String> {
    read_quantity(text, Unit::Degree).map_err(|e| e.to_string())
}

fn seconds(text: &str) -> Result<f64, String> {
    read_quantity(text, Unit::Second).map_err(|e| e.to_string())
}

/// A source as a person reads it: what was taken, and how far that was verified.
fn source(source: &Source) -> String {
    format!("{} ({})", source.text, view::word(&source.standing))
}

/// Lines that stand below every plan.
fn besides(lines: &[String], columns: usize) -> String {
    let line = |line: &String| format!("{}\n", styled(FAINT, textwrap::fill(line, columns)));
    format!("\n{}", lines.iter().map(line).collect::<String>())
}
