//! `amend`: corrects fields of entries.

use super::Ran;
use crate::args::{self, DayChoice, Writer};
use crate::desk::Desk;
use crate::failure::Failure;
use crate::view;
use clap::{Arg, ArgMatches, Args, Command, FromArgMatches};
use firnbook_core::day::DayId;
use firnbook_core::entry::{EntryId, Field, KINDS, kind};
use firnbook_core::logbook::{Changed, LineFault, LogbookError};
use firnbook_core::store::Filter;
use serde_json::{Map, Value};
use std::collections::BTreeMap;

const ABOUT: &str = "Correct fields of entries; what was written before stays in their history";
const LONG: &str = "Correct fields of entries; what was written before stays in their history.\n\n\
    The kind, the writer, the label, the drill and the target of an entry never change: void it and write it anew.";
const EXAMPLES: &str = "Examples:\n  firnbook amend last --depth 112\n  firnbook amend 7E0FG 2M8Z4 --direction vertical\n  \
    firnbook amend 7E0FG --clear note";

/// Arguments of `amend`: ids, then the fields of all kinds as flags.
#[derive(Debug)]
pub struct AmendArgs {
    ids: Vec<String>,
    fields: Vec<(String, String)>,
    clear: Vec<String>,
    day: DayChoice,
    writer: Writer,
}

/// Every field that can be amended, each name once: kinds that share a name share the flag.
fn fields() -> BTreeMap<&'static str, &'static Field> {
    const FIXED: [&str; 7] = ["id", "by", "drill", "target", "label", "call_sign", "item"];
    let all = KINDS.iter().flat_map(|k| &k.fields);
    let mut fields = BTreeMap::new();
    for field in all.filter(|f| !FIXED.contains(&f.name.as_str())) {
        fields.entry(field.name.as_str()).or_insert(field);
    }
    fields
}

impl Args for AmendArgs {
    fn augment_args(command: Command) -> Command {
        let flags = fields().into_values().map(|field| {
            let of: Vec<&str> = KINDS
                .iter()
                .filter(|k| k.fields.iter().any(|f| f.name == field.name))
                .map(|k| k.name.as_str())
                .collect();
            let help = if field.common { field.text.clone() } else { format!("Of {}", of.join(", ")) };
            args::flag(field).help(help).help_heading("Fields")
        });
        let command = Writer::augment_args(DayChoice::augment_args(command));
        command
            .about(ABOUT)
            .long_about(LONG)
            .after_help(EXAMPLES)
            .arg(
                Arg::new("ids")
                    .value_name("ID")
                    .num_args(1..)
                    .required(true)
                    .help("Entries: any unique ending of an id, `last`, or - for standard input"),
            )
            .arg(
                Arg::new("clear")
                    .long("clear")
                    .value_name("FIELD")
                    .action(clap::ArgAction::Append)
                    .help("Take an optional field away"),
            )
            .args(flags)
    }

    fn augment_args_for_update(command: Command) -> Command {
        AmendArgs::augment_args(command)
    }
}

impl FromArgMatches for AmendArgs {
    fn from_arg_matches(matches: &ArgMatches) -> Result<AmendArgs, clap::Error> {
        let texts =
            |name: &str| matches.get_many::<String>(name).into_iter().flatten().cloned().collect::<Vec<_>>();
        let last = |name: &&str| texts(name).pop().map(|value| ((*name).to_owned(), value));
        Ok(AmendArgs {
            ids: texts("ids"),
            fields: fields().keys().filter_map(last).collect(),
            clear: texts("clear"),
            day: DayChoice::from_arg_matches(matches)?,
            writer: Writer::from_arg_matches(matches)?,
        })
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), clap::Error> {
        *self = AmendArgs::from_arg_matches(matches)?;
        Ok(())
    }
}

/// Runs `amend`.
pub fn run(desk: &mut Desk, args: &AmendArgs) -> Ran {
    if args.fields.is_empty() && args.clear.is_empty() {
        return Err(Failure::Usage(
            "say what to amend, for example --depth 112, or --clear FIELD".to_owned(),
        ));
    }
    let by = desk.writer(&args.writer)?;
    let ids = desk.entries_named(&args.ids, &args.day)?;
    let groups = alike(desk, &ids, args)?;
    let mut changed = Changed::default();
    for (fields, ids) in groups {
        let more = desk.logbook.amend(&ids, &fields, &by)?;
        changed.ids.extend(more.ids);
        changed.changed.extend(more.changed);
    }
    desk.ui.answer(&changed, |c| tell(c, "amended"))
}

type Alike = Vec<(Map<String, Value>, Vec<(DayId, EntryId)>)>;

/// Entries for which the flags mean the same values; where they are of different drills or kinds they may not.
fn alike(desk: &Desk, ids: &[(DayId, EntryId)], args: &AmendArgs) -> Result<Alike, Failure> {
    let mut groups: Alike = Vec::new();
    for (day, id) in ids {
        let row = desk.row(*day)?;
        let rows = desk.logbook.entries(&Filter { day: Some(*day), void: true, ..Filter::default() })?;
        let json = rows.iter().find(|r| r.noted.id == *id).map(|r| r.noted.json.clone()).unwrap_or_default();
        let word = |key: &str| json.get(key).and_then(Value::as_str);
        let times = desk.times(&row)?.of(word("drill"));
        let fields = values(word("kind").unwrap_or_default(), args, &times)?;
        match groups.iter_mut().find(|(held, _)| *held == fields) {
            Some((_, ids)) => ids.push((*day, *id)),
            None => groups.push((fields, vec![(*day, *id)])),
        }
    }
    Ok(groups)
}

fn values(
    word: &str,
    args: &AmendArgs,
    times: &firnbook_core::entry::TimeContext,
) -> Result<Map<String, Value>, Failure> {
    let table = kind(word);
    let mut values = Map::new();
    let mut faults = Vec::new();
    for (name, text) in &args.fields {
        // A field that this kind does not have is refused by the logbook, with those that it has.
        let read = match table.and_then(|t| t.field(name)) {
            Some(field) => firnbook_core::entry::from_text(field, text, times),
            None => Ok(Value::from(text.as_str())),
        };
        match read {
            Ok(value) => {
                values.insert(name.clone(), value);
            }
            Err(fault) => faults.push(LineFault { line: None, fault }),
        }
    }
    for name in &args.clear {
        let name = name.replace('-', "_");
        let full = table.and_then(|t| t.field(&name)).map_or(name.clone(), |f| f.name.clone());
        values.insert(full, Value::Null);
    }
    if faults.is_empty() { Ok(values) } else { Err(LogbookError::Refused(faults).into()) }
}

/// What a correction changed, in words.
#[must_use]
pub fn tell(changed: &Changed, verb: &str) -> String {
    let same = changed.ids.len() - changed.changed.len();
    let mut text = format!("{} {verb}", view::counted(changed.changed.len(), "entry", "entries"));
    if same > 0 {
        text.push_str(&format!(", {same} as before"));
    }
    if !changed.changed.is_empty() && changed.changed.len() <= 12 {
        text.push_str(&format!("  {}", view::ids(&changed.changed)));
    }
    text.push('\n');
    text
}
