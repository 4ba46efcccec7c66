//! `export`: tables for other programs.

use super::Ran;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::file::write_whole;
use crate::tables::{self, Codes, Column, Format, Sink};
use crate::view::table::Table;
use chrono::NaiveDate;
use firnbook_core::day::Noted;
use firnbook_core::entry::{Kind, kind};
use firnbook_core::insight::tables::{RunRow, TargetRow};
use firnbook_core::logbook::Season;
use firnbook_core::store::{DayRow, Filter};
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value, json};
use std::path::{Path, PathBuf};

/// Write tables for other programs: one a kind, `targets`, `runs`, and a description of them all
///
/// Without more said, call signs are codes, and free text and fields of newer versions are left out. `--full` keeps everything; such an export
/// comes back in through `firnbook log --from`.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook export --format csv -o season\n  firnbook export --format jsonl --full -o backup --day 2027-02-06"
)]
pub struct ExportArgs {
    /// The folder; one that an export made before is replaced
    #[arg(long, short, value_name = "FOLDER")]
    output: PathBuf,
    /// The form of the files
    #[arg(long, value_name = "csv|jsonl")]
    format: Format,
    /// Only this day
    #[arg(long, value_name = "DAY")]
    day: Option<String>,
    /// From this date on
    #[arg(long, value_name = "YYYY-MM-DD")]
    since: Option<NaiveDate>,
    /// Up to and with this date
    #[arg(long, value_name = "YYYY-MM-DD")]
    until: Option<NaiveDate>,
    /// A list of codes and call signs, kept for yourself: read if it is there, and written
    #[arg(long, value_name = "FILE", conflicts_with = "full")]
    names: Option<PathBuf>,
    /// Free text too
    #[arg(long)]
    notes: bool,
    /// Everything as it is: call signs, free text, fields of newer versions, struck-out and unreadable entries
    #[arg(long)]
    full: bool,
}

/// Answer of `export`.
#[derive(Serialize, JsonSchema)]
pub struct ExportAnswer {
    /// The folder
    pub dir: PathBuf,
    /// The tables that have rows
    pub tables: Vec<TableWritten>,
}

/// One table.
#[derive(Serialize, JsonSchema)]
pub struct TableWritten {
    /// Its name: the file without its ending
    pub name: String,
    /// Its rows
    pub rows: usize,
}

/// Runs `export`.
pub fn run(desk: &mut Desk, args: &ExportArgs) -> Ran {
    let day = args.day.as_deref().map(|d| desk.logbook.find_day(d)).transpose()?;
    let season = Season { since: args.since, until: args.until, area: None, day };
    let days = desk.logbook.days_of(&season)?;
    if days.is_empty() {
        return Err(Failure::refused("no day to export; `firnbook day list` shows those of this store"));
    }
    may_be_replaced(&args.output)?;
    let parent = args.output.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let made_in = tempfile::Builder::new()
        .prefix(".firnbook-export-")
        .tempdir_in(parent)
        .map_err(|e| Failure::file(parent, &e))?;
    let mut codes = args.names.as_deref().map(Codes::read).transpose()?.unwrap_or_default();
    let mut sink = Sink::new(made_in.path(), args.format);
    let progress = desk.ui.progress(days.len(), "exporting");
    for day in &days {
        Export { args, sink: &mut sink, codes: &mut codes }.day(desk, day)?;
        progress.inc(1);
    }
    progress.finish_and_clear();
    let written = sink.finish()?;
    let package = tables::package(&written, args.format, &desk.logbook.made(&season, &days)?);
    write_whole(&made_in.path().join("datapackage.json"), format!("{package:#}\n").as_bytes())?;
    if let Some(names) = &args.names {
        codes.write(names)?;
    }
    replace(&args.output, made_in)?;
    let tables = written.into_iter().map(|(name, table)| TableWritten { name, rows: table.rows }).collect();
    let answer = ExportAnswer { dir: args.output.clone(), tables };
    let columns = desk.ui.columns();
    desk.ui.answer(&answer, |a| {
        let mut table = Table::new(["table", "rows"]).right([1]);
        a.tables.iter().for_each(|t| table.row([t.name.clone(), t.rows.to_string()]));
        format!("{}in {}, with datapackage.json\n", table.draw(columns), a.dir.display())
    })
}

/// A folder that is not there, empty, or an export of before.
fn may_be_replaced(folder: &Path) -> Result<(), Failure> {
    let mut inside = match std::fs::read_dir(folder) {
        Ok(inside) => inside,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(()),
        Err(e) => return Err(Failure::file(folder, &e)),
    };
    let package = std::fs::read(folder.join("datapackage.json")).unwrap_or_default();
    let ours =
        serde_json::from_slice::<Value>(&package).is_ok_and(|p| p.get("name") == Some(&json!(tables::NAME)));
    if inside.next().is_none() || ours {
        return Ok(());
    }
    Err(Failure::refused(format!(
        "{} holds other files than an export of before; name an empty folder or a new one",
        folder.display()
    )))
}

/// Puts the finished folder in its place. The old one goes only once the new one stands there.
fn replace(folder: &Path, made_in: tempfile::TempDir) -> Result<(), Failure> {
    let failed = |e: std::io::Error| Failure::file(folder, &e);
    let new = made_in.keep();
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        std::fs::set_permissions(&new, std::fs::Permissions::from_mode(0o755)).map_err(failed)?;
    }
    if !folder.exists() {
        return std::fs::rename(&new, folder).map_err(failed);
    }
    let old = new.with_extension("old");
    std::fs::rename(folder, &old).and_then(|()| std::fs::rename(&new, folder)).map_err(failed)?;
    std::fs::remove_dir_all(&old).map_err(failed)
}

/// An export under way.
struct Export<'a> {
    args: &'a ExportArgs,
    sink: &'a mut Sink,
    codes: &'a mut Codes,
}

impl Export<'_> {
    fn day(&mut self, desk: &Desk, day: &DayRow) -> Result<(), Failure> {
        let about = json!({ "day": day.id, "date": day.date, "area": day.area, "entries": day.entries, "closed": day.closed });
        self.sink.row(tables::DAYS, tables::of_days, &object(about))?;
        for row in desk.logbook.entries(&Filter { day: Some(day.id), void: true, ..Filter::default() })? {
            self.entry(day, &row.noted)?;
        }
        let (targets, runs) = desk.logbook.tables(day.id)?;
        for target in targets {
            self.sink.row("targets", tables::of_struct::<TargetRow>, &object(json!(target)))?;
        }
        for run in runs {
            self.sink.row("runs", tables::of_struct::<RunRow>, &object(json!(run)))?;
        }
        Ok(())
    }

    fn entry(&mut self, day: &DayRow, noted: &Noted) -> Result<(), Failure> {
        let of_kind = noted.entry.as_ref().and_then(|e| kind(e.body.kind()));
        match (of_kind, &noted.void) {
            (Some(kind), None) => self.readable(day, kind, noted),
            _ if !self.args.full => Ok(()),
            // As JSON lines an unreadable entry stays a line that can be read in again.
            (None, None) if self.args.format == Format::Jsonl => {
                let columns = tables::of_whole_entries;
                self.sink.row(tables::UNREADABLE, columns, &with_day(day, noted.json.clone()))
            }
            (of_kind, void) => {
                let table = if of_kind.is_none() { tables::UNREADABLE } else { tables::STRUCK_OUT };
                let whole = match self.args.format {
                    Format::Csv => Value::from(noted.text.clone()),
                    Format::Jsonl => Value::Object(noted.json.clone()),
                };
                let row = json!({ "day": day.id, "id": noted.id, "void": void, "entry": whole });
                self.sink.row(table, tables::of_whole_entries, &object(row))
            }
        }
    }

    fn readable(&mut self, day: &DayRow, kind: &Kind, noted: &Noted) -> Result<(), Failure> {
        let csv = self.args.format == Format::Csv;
        let columns = tables::of_kind(kind, csv && self.args.full);
        let mut row = noted.json.clone();
        if !self.args.full {
            let kept = |c: &&Column| self.args.notes || !c.free_text;
            row.retain(|key, _| columns.iter().filter(kept).any(|c| c.name == *key));
            self.codes.hide(&columns, &mut row);
        } else if csv {
            let unknown = |key: &str| columns.iter().all(|c| c.name != key);
            let rest: Map<String, Value> =
                row.iter().filter(|(k, _)| unknown(k)).map(|(k, v)| (k.clone(), v.clone())).collect();
            if !rest.is_empty() {
                row.insert("rest".to_owned(), Value::from(Value::Object(rest).to_string()));
            }
        }
        let (full, notes) = (self.args.full, self.args.notes);
        let shown = move || columns.into_iter().filter(|c| full || notes || !c.free_text).collect();
        self.sink.row(&kind.name, shown, &with_day(day, row))
    }
}

fn with_day(day: &DayRow, entry: Map<String, Value>) -> Map<String, Value> {
    let mut row = Map::from_iter([("day".to_owned(), json!(day.id))]);
    row.extend(entry);
    row
}

fn object(value: Value) -> Map<String, Value> {
    match value {
        Value::Object(map) => map,
        _ => Map::new(),
    }
}
