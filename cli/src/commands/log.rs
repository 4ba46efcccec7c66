//! `log`: writes entries, from flags or from a file.

use super::Ran;
use crate::args::{self, DayChoice, Writer};
use crate::desk::Desk;
use crate::failure::Failure;
use crate::intake::{self, Intake};
use crate::view::ids;
use chrono::NaiveDate;
use clap::{Arg, ArgMatches, Args, Command, FromArgMatches};
use firnbook_core::entry::{self, Fault, Field, KINDS, Kind, Shape, TimeContext, from_text};
use firnbook_core::logbook::{Done, Draft, LineFault, LogReport, LogbookError, RowDone};
use firnbook_core::store::DayRow;
use serde_json::{Map, Value, json};
use std::path::{Path, PathBuf};

/// Arguments of `log`: a kind with its fields as flags, or a file.
#[derive(Debug)]
pub struct LogArgs {
    day: DayChoice,
    writer: Writer,
    dry_run: bool,
    source: Source,
}

#[derive(Debug)]
enum Source {
    Flags(&'static Kind, Vec<(&'static Field, String)>),
    File(PathBuf, Option<String>),
    Nothing,
}

const ABOUT: &str = "Write entries down: one from flags, or many from a file";
const LONG: &str = "Write entries down: one from flags, or many from a file.\n\n\
    Times are 10:08:20, 1008, +8:20 (since that drill's start), -0:30 (ago) or RFC 3339; lengths may carry a unit (110cm, 1.1m, 3ft). \
    A label that takes a list writes one entry each. A file is JSON lines or CSV with a header, also one typed in from the sheets that `firnbook paper forms` prints: form, sheet and \
    line, then the headings as printed. All of it is written or nothing, and every fault is named by line and field. The letter of a sheet and the \
    number of a line are a row's key: a corrected file amends and doubles nothing.";
const EXAMPLES: &str = "Examples:\n  firnbook log moment --drill 1 --step start\n  \
    firnbook log strike --drill 1 --target A --depth 1.1m --outcome hit --at +3:20\n  \
    firnbook log kit --step issued --item TX01,TX02,TX03\n  \
    firnbook log --from sheet.csv --kind strike --dry-run";

impl Args for LogArgs {
    fn augment_args(command: Command) -> Command {
        let command = Writer::augment_args(DayChoice::augment_args(command));
        command
            .about(ABOUT)
            .long_about(LONG)
            .after_help(EXAMPLES)
            .arg(
                Arg::new("from")
                    .long("from")
                    .value_name("FILE")
                    .help("A file of entries; - is standard input"),
            )
            .arg(
                Arg::new("kind")
                    .long("kind")
                    .value_name("KIND")
                    .requires("from")
                    .help("The kind of rows that don't say theirs"),
            )
            .arg(
                Arg::new("dry_run")
                    .long("dry-run")
                    .action(clap::ArgAction::SetTrue)
                    .help("Only say what would be written"),
            )
            .args_conflicts_with_subcommands(false)
            .subcommand_value_name("KIND")
            .subcommand_help_heading("Kinds of entries")
            .subcommands(typed_kinds().map(of_kind))
    }

    fn augment_args_for_update(command: Command) -> Command {
        LogArgs::augment_args(command)
    }
}

/// The kinds that people write. What the base measures of a clock is not among them.
fn typed_kinds() -> impl Iterator<Item = &'static Kind> {
    KINDS.iter().filter(|k| k.name != "clock")
}

/// The command of one kind; the flags of `log` itself may stand behind it too.
fn of_kind(kind: &Kind) -> Command {
    let command = Command::new(kind.name.clone()).args(args::flags(kind));
    let command = Writer::augment_args(DayChoice::augment_args(command)).about(kind.text.clone()).arg(
        Arg::new("dry_run")
            .long("dry-run")
            .action(clap::ArgAction::SetTrue)
            .help("Only say what would be written"),
    );
    match kind.name.split_once('_') {
        Some((first, second)) => command.visible_alias(format!("{first}-{second}")),
        None => command,
    }
}

impl FromArgMatches for LogArgs {
    fn from_arg_matches(matches: &ArgMatches) -> Result<LogArgs, clap::Error> {
        let outer = (DayChoice::from_arg_matches(matches)?, Writer::from_arg_matches(matches)?);
        let (inner, source) = match matches.subcommand() {
            Some((word, of_kind)) => {
                let Some(kind) = entry::kind(word) else {
                    return Err(clap::Error::new(clap::error::ErrorKind::InvalidSubcommand));
                };
                let inner = (DayChoice::from_arg_matches(of_kind)?, Writer::from_arg_matches(of_kind)?);
                (Some((inner, of_kind)), Source::Flags(kind, typed(kind, of_kind)))
            }
            None => match matches.get_one::<String>("from") {
                Some(file) => (None, Source::File(file.into(), matches.get_one::<String>("kind").cloned())),
                None => (None, Source::Nothing),
            },
        };
        let mut args =
            LogArgs { day: outer.0, writer: outer.1, dry_run: matches.get_flag("dry_run"), source };
        if let Some(((day, writer), of_kind)) = inner {
            args.day.day = day.day.or(args.day.day);
            args.writer.by = writer.by.or(args.writer.by);
            args.dry_run |= of_kind.get_flag("dry_run");
        }
        Ok(args)
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), clap::Error> {
        *self = LogArgs::from_arg_matches(matches)?;
        Ok(())
    }
}

fn typed(kind: &'static Kind, matches: &ArgMatches) -> Vec<(&'static Field, String)> {
    let given = |field: &'static Field| {
        let values = matches.try_get_many::<String>(&field.name).ok().flatten().into_iter().flatten();
        values.map(move |value| (field, value.clone())).collect::<Vec<_>>()
    };
    kind.fields.iter().flat_map(given).collect()
}

/// Runs `log`.
pub fn run(desk: &mut Desk, args: &LogArgs) -> Ran {
    let by = desk.writer(&args.writer)?;
    let (report, into) = match &args.source {
        Source::Flags(kind, typed) => {
            let day = desk.day_to_write(&args.day)?;
            (from_flags(desk, &day, &by, kind, typed, args.dry_run)?, format!("{} {}", day.date, day.area))
        }
        Source::File(file, kind) => from_file(desk, args, &by, file, kind.as_deref())?,
        Source::Nothing => {
            let kinds: Vec<&str> = typed_kinds().map(|k| k.name.as_str()).collect();
            return Err(Failure::Usage(format!(
                "say what to log: --from FILE, or a kind: {}",
                kinds.join(", ")
            )));
        }
    };
    desk.ui.answer(&report, |r| tell(r, &into, args.dry_run))
}

fn from_flags(
    desk: &mut Desk,
    day: &DayRow,
    by: &str,
    kind: &Kind,
    typed: &[(&Field, String)],
    dry_run: bool,
) -> Result<LogReport, Failure> {
    let value_of = |name: &str| typed.iter().find(|(f, _)| f.name == name).map(|(_, v)| v.as_str());
    let times = desk.times(day)?.of(value_of("drill"));
    if value_of("at").is_none() && day.date != desk.today() {
        return Err(needs_a_time(day, desk.today()));
    }
    let entries = entries_of(kind, typed, &times)?;
    let drafts = entries.into_iter().map(|json| Draft { json, line: None }).collect();
    Ok(desk.logbook.log(day.id, by, drafts, dry_run)?)
}

fn needs_a_time(day: &DayRow, today: NaiveDate) -> Failure {
    Failure::refused(format!(
        "the day is {}, and today is {today}; say when it happened with --at, for example --at 10:08:20",
        day.date
    ))
}

/// The entries that these flags stand for: one, or one for each label of a list.
fn entries_of(
    kind: &Kind,
    typed: &[(&Field, String)],
    times: &TimeContext,
) -> Result<Vec<Map<String, Value>>, Failure> {
    let mut common = Map::from_iter([("kind".to_owned(), json!(kind.name))]);
    let mut list: Option<(&Field, Vec<String>)> = None;
    let mut faults = Vec::new();
    for (field, text) in typed {
        let listed = matches!(field.shape, Shape::Label(_)) && !field.common;
        let labels: Vec<String> =
            text.split(',').map(|l| l.trim().to_owned()).filter(|l| !l.is_empty()).collect();
        if listed && labels.len() > 1 {
            if let Some((other, _)) = &list {
                return Err(Failure::Usage(format!(
                    "--{} and --{} both hold a list; give one of them a single label",
                    other.short_name(),
                    field.short_name()
                )));
            }
            list = Some((field, labels));
            continue;
        }
        match from_text(field, text, times) {
            Ok(value) => merge_value(&mut common, field, value),
            Err(fault) => faults.push(LineFault { line: None, fault }),
        }
    }
    if !faults.is_empty() {
        return Err(LogbookError::Refused(faults).into());
    }
    Ok(match list {
        None => vec![common],
        Some((field, labels)) => {
            let one = |label: String| {
                let mut json = common.clone();
                json.insert(field.name.clone(), json!(label));
                json
            };
            labels.into_iter().map(one).collect()
        }
    })
}

/// A flag that is given twice: lists grow, of others the last counts.
fn merge_value(json: &mut Map<String, Value>, field: &Field, value: Value) {
    if let (Shape::Labels(_), Some(Value::Array(held)), Value::Array(more)) =
        (&field.shape, json.get_mut(&field.name), &value)
    {
        held.extend(more.clone());
        return;
    }
    json.insert(field.name.clone(), value);
}

/// Writes a file. Lines may name their day, as those of an export do; the others belong to the day that is chosen.
fn from_file(
    desk: &mut Desk,
    args: &LogArgs,
    by: &str,
    file: &Path,
    kind: Option<&str>,
) -> Result<(LogReport, String), Failure> {
    let (name, bytes) = intake::bytes_of(desk, file, intake::text::LARGEST)?;
    // Without a day of its own every line needs the chosen one; with one, the choice does not matter unless it was made.
    let mut chosen = desk.day_to_write(&args.day).map_err(Some);
    if let (Some(_), Err(why)) = (&args.day.day, &mut chosen) {
        return Err(why.take().unwrap_or(Failure::ReaderGone));
    }
    let times = chosen.as_ref().map_or_else(|_| Ok(desk.times_today()), |day| desk.times(day))?;
    let Intake { rows, mut faults, remarks, .. } = intake::read(&name, &bytes, kind, times)?;
    remarks.iter().for_each(|remark| desk.ui.say(remark));
    let mut days: Vec<DayRow> = Vec::new();
    let mut into_days = Vec::with_capacity(rows.len());
    for intake::Row { day: named, draft, sheet } in rows {
        let day = match (&named, &mut chosen) {
            (Some(named), chosen) => {
                match own_day(desk, named, args.day.day.as_ref().and(chosen.as_ref().ok())) {
                    Ok(day) => day,
                    Err(why) => {
                        faults.push(LineFault { line: draft.line, fault: Fault::new("day", named, why) });
                        continue;
                    }
                }
            }
            (None, Ok(day)) => day.clone(),
            (None, Err(why)) => return Err(why.take().unwrap_or(Failure::ReaderGone)),
        };
        into_days.push((day.id, draft, sheet));
        if days.iter().all(|held| held.id != day.id) {
            days.push(day);
        }
    }
    // With a fault already found, the rest is only looked through for more.
    let report = match desk.logbook.log_rows(by, into_days, args.dry_run || !faults.is_empty()) {
        Ok(report) => report,
        Err(LogbookError::Refused(more)) => {
            faults.extend(more);
            LogReport::default()
        }
        Err(other) => return Err(other.into()),
    };
    if !faults.is_empty() {
        faults.sort_by_key(|f| f.line);
        return Err(Failure::of_input(&name, faults));
    }
    let into: Vec<String> = days.iter().take(3).map(|d| format!("{} {}", d.date, d.area)).collect();
    let more = if days.len() > into.len() {
        format!(" and {} more days", days.len() - into.len())
    } else {
        String::new()
    };
    Ok((report, format!("{}{more}", into.join(", "))))
}

/// The day that a line names; where a day was chosen it must be that one.
fn own_day(desk: &Desk, named: &str, chosen: Option<&DayRow>) -> Result<DayRow, String> {
    let id = desk.logbook.find_day(named).map_err(|e| e.to_string())?;
    if chosen.is_some_and(|c| c.id != id) {
        return Err(
            "is another day than that of --day; leave --day out to write each line into its own".to_owned()
        );
    }
    desk.row(id).map_err(|e| format!("{e:?}"))
}

fn tell(report: &LogReport, into: &str, dry_run: bool) -> String {
    let verb = if dry_run { "would be written" } else { "written" };
    let entries = |n: usize| if n == 1 { "1 entry".to_owned() } else { format!("{n} entries") };
    let mut text = format!("{} {verb} into {into}", entries(report.written));
    if report.known > 0 {
        text.push_str(&format!(", {} known already", report.known));
    }
    if report.amended > 0 {
        let verb = if dry_run { "would be amended" } else { "amended" };
        text.push_str(&format!(", {} {verb}", report.amended));
    }
    if !dry_run && report.written > 0 && report.ids.len() <= 12 {
        text.push_str(&format!("  {}", ids(&report.ids)));
    }
    text.push('\n');
    report
        .rows
        .iter()
        .filter(|row| dry_run || !row.kept.is_empty())
        .for_each(|row| text.push_str(&told(row)));
    text
}

/// What is done with one line.
fn told(row: &RowDone) -> String {
    let line = row.line.map_or_else(|| "  ".to_owned(), |line| format!("  line {line}: "));
    let done = match row.done {
        Done::Written => "new".to_owned(),
        Done::Known => "known".to_owned(),
        Done::Amended => format!("amends {}", row.fields.join(", ")),
        Done::Retyped => "new, in place of the one before, which is struck out".to_owned(),
    };
    let kept = if row.kept.is_empty() {
        String::new()
    } else {
        format!("; {} stays as it was amended since", row.kept.join(", "))
    };
    format!("{line}{done}{kept}{}\n", row.entry.as_ref().map(content).unwrap_or_default())
}

/// What an entry says, shortly.
fn content(entry: &Value) -> String {
    const LONGEST: usize = 40;
    let fields =
        entry.as_object().into_iter().flatten().filter(|(key, _)| !["id", "kind"].contains(&key.as_str()));
    let value = |value: &Value| {
        let text = value.as_str().map_or_else(|| value.to_string(), str::to_owned);
        if text.chars().count() <= LONGEST {
            text
        } else {
            format!("{}…", text.chars().take(LONGEST).collect::<String>())
        }
    };
    let said: Vec<String> = fields.map(|(key, v)| format!("{key} {}", value(v))).collect();
    format!("; {}: {}", entry.get("kind").and_then(Value::as_str).unwrap_or_default(), said.join(", "))
}
