//! `stats`: the season's answers over all days in the store. Here is what they share: which days, groups, and what stands below each answer.

mod checks;
mod depth;
mod digging;
mod interference;
mod methods;
mod page;
mod person;
mod times;

use super::Ran;
use crate::desk::Desk;
use crate::page::Units;
use crate::ui::{FAINT, styled};
use crate::view::{self, counted, word};
use chrono::NaiveDate;
use firnbook_core::insight::left_out::LeftOut;
use firnbook_core::insight::season::footing::{Footing, Why};
use firnbook_core::insight::season::group::GroupBy;
use firnbook_core::logbook::Season;
use firnbook_core::stats::Interval;
use serde::de::DeserializeOwned;
use std::path::PathBuf;

/// Tell the season's answers, over all days in the store
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook stats times --group-by form\n  firnbook stats depth --since 2026-12-01 --html season.html"
)]
pub struct StatsArgs {
    #[command(subcommand)]
    about: About,
    /// Write the season's page as well: one HTML file that needs no network; of `person` that person's alone
    #[arg(long, value_name = "FILE", global = true)]
    html: Option<PathBuf>,
    /// Units on the page [default: the setting `units`]
    #[arg(long, value_name = "metric|feet", hide_possible_values = true, global = true)]
    units: Option<Units>,
}

#[derive(clap::Subcommand, Debug)]
enum About {
    Times(times::TimesArgs),
    Depth(depth::DepthArgs),
    Methods(methods::MethodsArgs),
    Checks(checks::ChecksArgs),
    Digging(digging::DiggingArgs),
    Interference(interference::InterferenceArgs),
    Person(person::PersonArgs),
}

/// Runs `stats`.
pub fn run(desk: &mut Desk, args: &StatsArgs) -> Ran {
    if let Some(file) = &args.html {
        let units = desk.settings.units(args.units)?;
        match &args.about {
            About::Person(args) => page::person(desk, args, units, file)?,
            about => page::season(desk, &about.span().season(), units, file)?,
        }
    }
    match &args.about {
        About::Times(args) => times::run(desk, args),
        About::Depth(args) => depth::run(desk, args),
        About::Methods(args) => methods::run(desk, args),
        About::Checks(args) => checks::run(desk, args),
        About::Digging(args) => digging::run(desk, args),
        About::Interference(args) => interference::run(desk, args),
        About::Person(args) => person::run(desk, args),
    }
}

impl About {
    fn span(&self) -> &Span {
        match self {
            About::Times(args) => &args.span,
            About::Depth(args) => &args.span,
            About::Methods(args) => &args.span,
            About::Checks(args) => &args.span,
            About::Digging(args) => &args.span,
            About::Interference(args) => &args.span,
            About::Person(args) => &args.span,
        }
    }
}

/// Which days.
#[derive(clap::Args, Debug)]
struct Span {
    /// From this date on
    #[arg(long, value_name = "YYYY-MM-DD")]
    since: Option<NaiveDate>,
    /// Up to and with this date
    #[arg(long, value_name = "YYYY-MM-DD")]
    until: Option<NaiveDate>,
    /// Only days in this area
    #[arg(long, value_name = "AREA")]
    area: Option<String>,
}

impl Span {
    fn season(&self) -> Season {
        Season { since: self.since, until: self.until, area: self.area.clone(), day: None }
    }
}

/// By what runs are grouped.
#[derive(clap::Args, Debug)]
struct RunGroups {
    /// By form, team, area, day, month, season or orientation
    #[arg(long, value_name = "FIELD", value_parser = one_of::<GroupBy>)]
    group_by: Option<GroupBy>,
}

/// Reads a word of one of the log's own lists.
pub(super) fn one_of<T: DeserializeOwned>(text: &str) -> Result<T, String> {
    let word = text.trim().to_lowercase().replace(['-', ' '], "_");
    serde_json::from_value(word.clone().into()).map_err(|e| {
        let known = e.to_string();
        known.split_once("expected ").map_or(known.clone(), |(_, known)| format!("write {known}"))
    })
}

/// What stands below every answer of a season.
fn tell_footing(footing: &Footing, columns: usize) -> String {
    below(&[], &footing.left_out, footing.assumed_twins, &footing.cautions, columns)
}

/// The lines below an answer: its own remarks, what was left out, twins, cautions.
fn below(
    remarks: &[String],
    left_out: &[LeftOut],
    assumed_twins: usize,
    cautions: &[String],
    columns: usize,
) -> String {
    let mut lines: Vec<String> = left_out.iter().map(|l| format!("{} left out: {}", l.n, l.reason)).collect();
    lines.extend(remarks.iter().cloned());
    if assumed_twins > 0 {
        lines.push(format!(
            "{} counted as one event, not settled yet",
            counted(assumed_twins, "pair", "pairs")
        ));
    }
    let mut text = "\n".to_owned();
    for line in lines.iter().chain(cautions) {
        text.push_str(&faint(line, columns));
    }
    text
}

fn faint(line: &str, columns: usize) -> String {
    format!("{}\n", styled(FAINT, textwrap::fill(line, columns)))
}

/// Why figures are null: one line a figure and reason, with what it is the figure of.
fn tell_whys<'w>(whys: impl Iterator<Item = (String, &'w Why)>, columns: usize) -> String {
    let each = whys.flat_map(|(of, why)| {
        why.0.iter().map(move |(figure, reason)| (of.clone(), (figure_name(figure), reason.clone())))
    });
    let line = |((figure, reason), of): ((String, String), Vec<String>)| {
        let of: Vec<String> = of.into_iter().filter(|of| !of.is_empty()).collect();
        let of = if of.is_empty() { String::new() } else { format!(" of {}", of.join(", ")) };
        faint(&format!("no {figure}{of}: {reason}"), columns)
    };
    together(each).into_iter().map(line).collect()
}

/// What a small n means, one line an n, with what has it; nothing is said of what has none at all.
fn tell_fews<'f>(fews: impl Iterator<Item = (String, usize, &'f Option<String>)>, columns: usize) -> String {
    let said = fews.filter(|(_, n, _)| *n > 0).filter_map(|(of, _, few)| Some((of, few.clone()?)));
    let line = |(few, of): (String, Vec<String>)| {
        let of: Vec<String> = of.into_iter().filter(|of| !of.is_empty()).collect();
        faint(&if of.is_empty() { few } else { format!("{}: {few}", of.join(", ")) }, columns)
    };
    together(said).into_iter().map(line).collect()
}

/// The names that share a saying, sayings in the order in which they come.
fn together<S: PartialEq>(said: impl Iterator<Item = (String, S)>) -> Vec<(S, Vec<String>)> {
    let mut sayings: Vec<(S, Vec<String>)> = Vec::new();
    for (name, saying) in said {
        match sayings.iter_mut().find(|(known, _)| *known == saying) {
            Some((_, names)) => names.push(name),
            None => sayings.push((saying, vec![name])),
        }
    }
    sayings
}

/// The name of a figure as a person reads it: without its unit.
fn figure_name(figure: &str) -> String {
    let plain = ["_s", "_cm", "_pct", "_per_day"].iter().find_map(|unit| figure.strip_suffix(unit));
    plain.unwrap_or(figure).replace("ci95", "interval").replace('_', " ")
}

/// An interval as a person reads it.
fn span(interval: Option<Interval>, show: impl Fn(f64) -> String) -> String {
    interval.map_or_else(|| "–".to_owned(), |i| format!("{} to {}", show(i.lower), show(i.upper)))
}

/// A share in per cent.
fn percent(share: f64) -> String {
    format!("{} %", view::number(share * 100.0))
}

/// "3 of 8: 37.5 % (13.7 to 69.4 % at 95 %)".
fn tell_share(k: usize, n: usize, share: Option<f64>, ci95: Option<Interval>) -> String {
    match share.zip(ci95) {
        Some((share, i)) => format!(
            "{k} of {n}: {} ({} to {} at 95 %)",
            percent(share),
            view::number(i.lower * 100.0),
            percent(i.upper)
        ),
        None => format!("{k} of {n}"),
    }
}

/// Heading of the groups of an answer.
fn by(group_by: Option<GroupBy>) -> String {
    group_by.map(|by| format!("by {}", word(&by))).unwrap_or_default()
}
