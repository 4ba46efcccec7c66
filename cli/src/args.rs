//! The command line: what holds for every command, the list of commands, and the flags of an entry's fields, made from the field tables.

use crate::commands;
use crate::page::Units;
use crate::ui::Colour;
use clap::builder::styling::{AnsiColor, Styles};
use clap::{Arg, ArgAction, Parser, Subcommand};
use firnbook_core::entry::{Field, Kind, Shape};
use firnbook_core::units::Unit;
use std::path::PathBuf;

const STYLES: Styles = Styles::styled()
    .header(AnsiColor::BrightWhite.on_default().bold())
    .usage(AnsiColor::BrightWhite.on_default().bold())
    .literal(AnsiColor::Cyan.on_default())
    .placeholder(AnsiColor::BrightBlack.on_default())
    .valid(AnsiColor::Cyan.on_default())
    .invalid(AnsiColor::Yellow.on_default());

/// The field log of an avalanche-rescue training day: each phone and laptop writes down what it saw, packs are handed over and merged, and the
/// day's questions are answered. Without a command it says where you stand and what to do next.
///
/// A training record and planning aid: not medical advice, not for directing a live rescue.
#[derive(Parser, Debug)]
#[command(name = "firnbook", version, styles = STYLES, max_term_width = 100, disable_help_subcommand = true)]
#[command(
    after_help = "Exit status: 0 done; 1 failed; 2 not understood; 3 done, but --strict was given and something awaits a person."
)]
pub struct Cli {
    /// What holds for every command.
    #[command(flatten)]
    pub global: Global,
    /// The command; without one, where you stand.
    #[command(subcommand)]
    pub command: Option<Command>,
}

/// What holds for every command.
#[derive(clap::Args, Clone, Debug)]
pub struct Global {
    /// The store to work on [default: $FIRNBOOK_STORE, else one in your data folder]
    #[arg(long, global = true, value_name = "FILE", help_heading = "Everywhere")]
    pub store: Option<PathBuf>,
    /// Answer with one JSON document
    #[arg(long, global = true, help_heading = "Everywhere")]
    pub json: bool,
    /// No messages and no advice
    #[arg(long, short, global = true, help_heading = "Everywhere")]
    pub quiet: bool,
    /// When to colour; NO_COLOR is honoured
    #[arg(
        long,
        global = true,
        value_name = "WHEN",
        default_value = "auto",
        hide_possible_values = true,
        help_heading = "Everywhere"
    )]
    pub color: Colour,
    /// Exit with status 3 if something awaits a person
    #[arg(long, global = true, help_heading = "Everywhere")]
    pub strict: bool,
}

/// The commands, in the order of a day.
#[derive(Subcommand, Debug)]
#[expect(missing_docs, reason = "each variant is documented at its arguments, which are its help")]
pub enum Command {
    Demo(commands::demo::DemoArgs),
    Day(commands::day::DayArgs),
    Record(commands::record::RecordArgs),
    Log(commands::log::LogArgs),
    Entries(commands::entries::EntriesArgs),
    Show(commands::show::ShowArgs),
    Amend(commands::amend::AmendArgs),
    Void(commands::void::VoidArgs),
    Adopt(commands::adopt::AdoptArgs),
    Move(commands::r#move::MoveArgs),
    Pack(commands::pack::PackArgs),
    Merge(commands::merge::MergeArgs),
    Crew(commands::crew::CrewArgs),
    Listen(commands::listen::ListenArgs),
    Sync(commands::sync::SyncArgs),
    Kit(commands::kit::KitArgs),
    Clock(commands::clock::ClockArgs),
    Review(commands::review::ReviewArgs),
    Settle(commands::settle::SettleArgs),
    Debrief(commands::debrief::DebriefArgs),
    Stats(commands::stats::StatsArgs),
    Plan(commands::plan::PlanArgs),
    Export(commands::export::ExportArgs),
    Import(commands::import::ImportArgs),
    Paper(commands::paper::PaperArgs),
    Verify(commands::verify::VerifyArgs),
    Settings(commands::settings::SettingsArgs),
    Completions(commands::completions::CompletionsArgs),
    Manual(commands::manual::ManualArgs),
}

/// Which day a command is about.
#[derive(clap::Args, Clone, Debug, Default)]
pub struct DayChoice {
    /// The day: its date, its id, or the beginning of its id [default: the latest]
    #[arg(long, value_name = "DAY")]
    pub day: Option<String>,
}

/// In which units a page is shown.
#[derive(clap::Args, Clone, Debug, Default)]
pub struct UnitsChoice {
    /// Units on a page [default: the setting `units`]
    #[arg(long, value_name = "metric|feet", hide_possible_values = true)]
    pub units: Option<Units>,
}

/// Who writes.
#[derive(clap::Args, Clone, Debug, Default)]
pub struct Writer {
    /// Your call sign [default: the setting `me`]
    #[arg(long, value_name = "CALL SIGN")]
    pub by: Option<String>,
}

/// Fields that have a flag of their own meaning or that nobody types.
const NO_FLAG: [&str; 2] = ["id", "by"];

/// One flag a field of `kind`, the kind's own first. Written without the unit (`--depth 1.1m`), understood with it too (`--depth-cm 110`).
#[must_use]
pub fn flags(kind: &Kind) -> Vec<Arg> {
    let typed = |f: &&Field| !NO_FLAG.contains(&f.name.as_str());
    let own = kind.own_fields().filter(typed).map(|f| flag(f).help_heading("Fields"));
    let common = kind.fields.iter().filter(|f| f.common).filter(typed);
    own.chain(common.map(|f| flag(f).help_heading("Fields of every entry"))).collect()
}

/// The flag of one field.
#[must_use]
pub fn flag(field: &Field) -> Arg {
    let long = field.short_name().replace('_', "-");
    let full = field.name.replace('_', "-");
    let spellings = [full, field.name.clone(), field.short_name().to_owned()];
    let mut aliases: Vec<String> = Vec::new();
    for spelling in spellings {
        if spelling != long && !aliases.contains(&spelling) {
            aliases.push(spelling);
        }
    }
    Arg::new(field.name.clone())
        .long(long)
        .aliases(aliases)
        .value_name(value_name(field))
        .help(help(field))
        .action(ArgAction::Append)
        .allow_hyphen_values(true)
}

fn value_name(field: &Field) -> String {
    match (&field.shape, field.unit) {
        (_, Some(Unit::KilogramPerCubicMetre)) => "KG/M3".to_owned(),
        (Shape::Number | Shape::Integer, Some(unit)) => unit.symbol().to_uppercase(),
        (Shape::Number | Shape::Integer, None) => "NUMBER".to_owned(),
        (Shape::Choice(_), _) => "WORD".to_owned(),
        (Shape::Label(_), _) => "LABEL".to_owned(),
        (Shape::Labels(_), _) => "LABEL,LABEL…".to_owned(),
        (Shape::Time, _) => "TIME".to_owned(),
        (Shape::Flag, _) => "yes|no".to_owned(),
        (Shape::Text(_), _) => "TEXT".to_owned(),
        (Shape::Json, _) => "JSON".to_owned(),
    }
}

fn help(field: &Field) -> String {
    let mut notes: Vec<String> = Vec::new();
    if field.required {
        notes.push(if field.name == "at" { "now unless said".to_owned() } else { "needed".to_owned() });
    }
    if let Shape::Choice(words) = &field.shape {
        notes.push(words.iter().map(|(w, _)| w.as_str()).collect::<Vec<_>>().join(", "));
    }
    notes.extend(field.range_text());
    if notes.is_empty() { field.text.clone() } else { format!("{} [{}]", field.text, notes.join("; ")) }
}
