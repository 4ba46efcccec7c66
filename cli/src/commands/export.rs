//! `export`: tables for other programs.

use super::Ran;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::file::write_whole;
use crate::surroundings::SharedClock;
use crate::tables::{self, Column, Format, Leaves, Removed, Shapes, Sink, Veil};
use crate::view::table::Table;
use chrono::NaiveDate;
use firnbook_core::day::Noted;
use firnbook_core::entry::{KINDS, Kind, fold, kind};
use firnbook_core::logbook::{Ask, Logbook, Season};
use firnbook_core::store::{DayRow, Filter};
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, HashMap};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

/// Threads that write Parquet at once, at most: each holds a day and its columns in memory.
const MOST_THREADS: usize = 8;

/// Write tables for other programs: one a kind, and those made from them, with a description of them all
///
/// Without more said, call signs and labels that could be a name are codes, positions stand in the grid of their drill alone, and free text and
/// fields of newer versions are left out; datapackage.json says so. `--full` keeps everything; as JSON lines or CSV such an export comes back in
/// through `firnbook log --from`. Parquet is written by as many threads as there are cores, eight at most, a day at a time each.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook export --format parquet -o season\n  firnbook export --format jsonl --full -o backup --day 2027-02-06"
)]
pub struct ExportArgs {
    /// The folder, new or empty
    #[arg(long, short, value_name = "FOLDER")]
    output: PathBuf,
    /// The form of the files
    #[arg(long, value_name = "csv|jsonl|parquet|geojson")]
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
    /// The key that makes the codes; made if it is not there [default: a file beside the store]
    #[arg(long, value_name = "FILE", conflicts_with = "full")]
    key: Option<PathBuf>,
    /// Write down which code is which call sign, for yourself
    #[arg(long, value_name = "FILE", conflicts_with = "full")]
    codes: Option<PathBuf>,
    /// A local list of names, CSV with the columns call_sign and name: the export gets a table of codes and names
    #[arg(long, value_name = "FILE")]
    names: Option<PathBuf>,
    /// Free text and labels as written too
    #[arg(long)]
    notes: bool,
    /// Everything as it is: call signs, places, free text, fields of newer versions, struck-out and unreadable entries
    #[arg(long)]
    full: bool,
    /// Only the entries, without the tables made from them
    #[arg(long)]
    entries_only: bool,
    /// Write into a folder that is not empty: an export of before is replaced, other files stay
    #[arg(long)]
    force: bool,
}

/// Answer of `export`.
#[derive(Serialize, JsonSchema)]
pub struct ExportAnswer {
    /// The folder
    pub dir: PathBuf,
    /// Days in it
    pub days: usize,
    /// The tables that have rows
    pub tables: Vec<TableWritten>,
}

/// One table.
#[derive(Serialize, JsonSchema)]
pub struct TableWritten {
    /// Its name: the file or folder without its ending
    pub name: String,
    /// Its rows
    pub rows: usize,
}

/// Runs `export`.
pub fn run(desk: &mut Desk, args: &ExportArgs) -> Ran {
    let day = args.day.as_deref().map(|d| desk.logbook.find_day(d)).transpose()?;
    let season = Season { since: args.since, until: args.until, area: None, day };
    let of_season = desk.logbook.days_of(&season)?;
    let mut days = desk.logbook.days()?;
    days.retain(|day| of_season.iter().any(|dated| dated.id == day.id));
    if days.is_empty() {
        return Err(Failure::refused("no day to export; `firnbook day list` shows those of this store"));
    }
    let before = what_is_there(&args.output)?;
    may_be_written(&args.output, before, args.force)?;
    let names = args.names.as_deref().map(names).transpose()?.unwrap_or_default();
    let parent = args.output.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let made_in = tempfile::Builder::new()
        .prefix(".firnbook-export-")
        .tempdir_in(parent)
        .map_err(|e| Failure::file(parent, &e))?;
    let mut export = Export::new(args, made_in.path(), veil(desk, args)?);
    export.days(desk, made_in.path(), &days)?;
    export.people(&names)?;
    let Export { sink, shapes, veil, .. } = export;
    let mut removed = Removed::default();
    let written = match args.format {
        Format::Geojson => write_shapes(made_in.path(), shapes, &mut removed)?,
        Format::Csv | Format::Jsonl | Format::Parquet => sink.finish()?,
    };
    let made = desk.logbook.made(&season, &of_season)?;
    let package = tables::package(&written, args.format, &veil, &removed, &made);
    write_whole(&made_in.path().join("datapackage.json"), format!("{package:#}\n").as_bytes())?;
    if let Some(codes) = &args.codes {
        write_whole(codes, &list_of_codes(&veil)?)?;
    }
    put_in_place(&args.output, before, made_in)?;
    let tables = written.into_iter().map(|(name, table)| TableWritten { name, rows: table.rows }).collect();
    let answer = ExportAnswer { dir: args.output.clone(), days: days.len(), tables };
    removed.not_placed.iter().for_each(|why| desk.ui.say(why));
    let columns = desk.ui.columns();
    desk.ui.answer(&answer, |a| {
        let mut table = Table::new(["table", "rows"]).right([1]);
        a.tables.iter().for_each(|t| table.row([t.name.clone(), t.rows.to_string()]));
        format!("{}in {}, with datapackage.json\n", table.draw(columns), a.dir.display())
    })
}

fn veil(desk: &Desk, args: &ExportArgs) -> Result<Veil, Failure> {
    let leaves = match (args.full, args.notes) {
        (true, _) => Leaves::Full,
        (false, true) => Leaves::Notes,
        (false, false) => Leaves::Usual,
    };
    let key = if args.full {
        // Nothing becomes a code.
        [0; 32]
    } else {
        let beside = || {
            let mut name = desk.logbook.path().as_os_str().to_owned();
            name.push(".export-key");
            PathBuf::from(name)
        };
        tables::key(&args.key.clone().unwrap_or_else(beside))?
    };
    Ok(Veil::new(leaves, key))
}

/// The local list of names, by folded call sign.
fn names(path: &Path) -> Result<BTreeMap<String, (String, String)>, Failure> {
    let bytes = std::fs::read(path).map_err(|e| Failure::file(path, &e))?;
    let wrong = |line: usize, why: &str| {
        Failure::refused(format!(
            "{}, line {line}: {why}; the list is CSV with the columns call_sign and name",
            path.display()
        ))
    };
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(bytes.as_slice());
    let header = reader.headers().map_err(|e| wrong(1, &e.to_string()))?;
    let place = |name: &str| header.iter().position(|h| h.trim_start_matches('\u{feff}') == name);
    let (Some(sign), Some(name)) = (place("call_sign"), place("name")) else {
        return Err(wrong(1, "another header"));
    };
    let mut list = BTreeMap::new();
    for (line, row) in (2..).zip(reader.records()) {
        let row = row.map_err(|e| wrong(line, &e.to_string()))?;
        if let (Some(sign), Some(name)) = (row.get(sign), row.get(name)) {
            list.insert(fold(sign), (sign.to_owned(), name.to_owned()));
        }
    }
    Ok(list)
}

fn list_of_codes(veil: &Veil) -> Result<Vec<u8>, Failure> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let written = writer
        .write_record(["code", "call_sign"])
        .and_then(|()| veil.given().iter().try_for_each(|(code, sign)| writer.write_record([code, sign])));
    written.map_err(Failure::refused)?;
    writer.into_inner().map_err(|e| Failure::refused(e.to_string()))
}

/// Writes the files of shapes and says what they are.
fn write_shapes(
    folder: &Path,
    mut shapes: Shapes,
    removed: &mut Removed,
) -> Result<BTreeMap<String, tables::Table>, Failure> {
    removed.not_placed = std::mem::take(&mut shapes.not_placed);
    let mut written = BTreeMap::new();
    for (name, rows, text) in shapes.files()? {
        let file = format!("{name}.geojson");
        write_whole(&folder.join(&file), text.as_bytes())?;
        written.insert(name.to_owned(), tables::Table::of_file(file, rows));
    }
    Ok(written)
}

/// What stands where an export is to go.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Before {
    Nothing,
    Export,
    OtherFiles,
}

fn what_is_there(folder: &Path) -> Result<Before, Failure> {
    let mut inside = match std::fs::read_dir(folder) {
        Ok(inside) => inside,
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => return Ok(Before::Nothing),
        Err(e) => return Err(Failure::file(folder, &e)),
    };
    if inside.next().is_none() {
        return Ok(Before::Nothing);
    }
    let package = std::fs::read(folder.join("datapackage.json")).unwrap_or_default();
    let package: Value = serde_json::from_slice(&package).unwrap_or_default();
    if package.get("name") != Some(&json!(tables::NAME)) {
        return Ok(Before::OtherFiles);
    }
    // Files that the package does not name are somebody else's.
    let paths = package["resources"].as_array().into_iter().flatten().flat_map(|r| match &r["path"] {
        Value::Array(several) => several.clone(),
        one => vec![one.clone()],
    });
    let mut ours: Vec<String> =
        paths.filter_map(|p| Some(p.as_str()?.split('/').next()?.to_owned())).collect();
    ours.push("datapackage.json".to_owned());
    let read = std::fs::read_dir(folder).map_err(|e| Failure::file(folder, &e))?;
    let all_ours = read.flatten().all(|file| ours.iter().any(|name| file.file_name() == name.as_str()));
    Ok(if all_ours { Before::Export } else { Before::OtherFiles })
}

fn may_be_written(folder: &Path, before: Before, force: bool) -> Result<(), Failure> {
    let says = match before {
        Before::Export if !force => {
            "holds an export of before; name another folder, or replace it with --force"
        }
        Before::OtherFiles if !force => {
            "is not empty; name an empty folder or a new one, or write beside what is there with --force"
        }
        Before::Nothing | Before::Export | Before::OtherFiles => return Ok(()),
    };
    Err(Failure::refused(format!("{} {says}", folder.display())))
}

/// Puts what was made in its place. An export of before goes only once the new one stands there; other files stay.
fn put_in_place(folder: &Path, before: Before, made_in: tempfile::TempDir) -> Result<(), Failure> {
    let failed = |e: std::io::Error| Failure::file(folder, &e);
    if before == Before::OtherFiles {
        for file in std::fs::read_dir(made_in.path()).map_err(failed)? {
            let file = file.map_err(failed)?;
            let place = folder.join(file.file_name());
            if place.is_dir() {
                return Err(Failure::refused(format!(
                    "{} is a folder already; name another folder for the export",
                    place.display()
                )));
            }
            std::fs::rename(file.path(), place).map_err(failed)?;
        }
        return Ok(());
    }
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
    sink: Sink,
    veil: Veil,
    shapes: Shapes,
    /// The columns of the kinds that came until now.
    columns: HashMap<&'static str, Vec<Column>>,
}

impl<'a> Export<'a> {
    fn new(args: &'a ExportArgs, folder: &Path, veil: Veil) -> Export<'a> {
        let sink = Sink::new(folder, args.format);
        Export { args, sink, veil, shapes: Shapes::default(), columns: HashMap::new() }
    }

    /// Writes all days. Files of Parquet belong to one day, so that each core takes the next day, with the store opened for itself.
    fn days(&mut self, desk: &Desk, folder: &Path, days: &[DayRow]) -> Result<(), Failure> {
        let progress = desk.ui.progress(days.len(), "exporting");
        self.list(days)?;
        let next = AtomicUsize::new(0);
        let work = |export: &mut Export<'a>, logbook: &Logbook| -> Result<(), Failure> {
            while let Some(day) = days.get(next.fetch_add(1, Ordering::Relaxed)) {
                // After a failure nobody takes another day.
                export.day(logbook, day).inspect_err(|_| next.store(days.len(), Ordering::Relaxed))?;
                progress.inc(1);
            }
            Ok(())
        };
        if self.args.format != Format::Parquet {
            work(self, &desk.logbook)?;
            progress.finish_and_clear();
            return Ok(());
        }
        let (args, path, clock, work) = (self.args, desk.logbook.path(), &desk.clock, &work);
        let threads = std::thread::available_parallelism().map_or(1, usize::from).min(MOST_THREADS);
        let done: Vec<Result<Export<'a>, Failure>> = std::thread::scope(|scope| {
            let begin = |_| {
                let mut export = Export::new(args, folder, self.veil.another());
                scope.spawn(move || {
                    let logbook = Logbook::open(path, Box::new(SharedClock(clock.clone())))?;
                    work(&mut export, &logbook).map(|()| export)
                })
            };
            let hands: Vec<_> = (0..threads.min(days.len())).map(begin).collect();
            let done = hands.into_iter().map(|hand| hand.join());
            done.map(|done| done.unwrap_or_else(|panic| std::panic::resume_unwind(panic))).collect()
        });
        for export in done {
            let Export { sink, veil, .. } = export?;
            self.sink.join(sink.finish()?);
            self.veil.join(veil);
        }
        progress.finish_and_clear();
        Ok(())
    }

    /// The row of each day; GeoJSON has none.
    fn list(&mut self, days: &[DayRow]) -> Result<(), Failure> {
        let columns = tables::of_days();
        let listed = days.iter().filter(|_| self.args.format != Format::Geojson);
        for day in listed {
            let about = json!({ "day": day.id, "date": day.date, "area": day.area, "entries": day.entries, "closed": day.closed });
            self.made(tables::DAYS, &columns, object(about))?;
        }
        Ok(())
    }

    fn day(&mut self, logbook: &Logbook, day: &DayRow) -> Result<(), Failure> {
        let drills = logbook.drills(day.id)?;
        self.veil.of_day(&drills);
        if self.args.format == Format::Geojson {
            let debrief = logbook.debrief(day.id, &Ask::default())?;
            let rows = logbook.entries(&Filter { day: Some(day.id), ..Filter::default() })?;
            let entries = rows.iter().filter_map(|row| row.noted.entry.as_ref());
            self.shapes.day(&mut self.veil, &day.date.to_string(), &drills, &debrief, entries);
            return Ok(());
        }
        self.sink.begin_day(&day.id.to_string())?;
        if self.args.format == Format::Parquet {
            for kind in KINDS.iter() {
                tables::write_cells(logbook, day.id, kind, &mut self.veil, &mut self.sink)?;
            }
        }
        // What Parquet has no columns for, and every entry of the other forms.
        if self.args.format != Format::Parquet || self.args.full {
            for row in logbook.entries(&Filter { day: Some(day.id), void: true, ..Filter::default() })? {
                self.entry(day, &row.noted)?;
            }
        }
        if self.args.entries_only {
            return Ok(());
        }
        let made = logbook.tables(day.id)?;
        self.all_made("targets", made.targets)?;
        self.all_made("runs", made.runs)?;
        self.all_made("measurements", made.measurements)?;
        self.all_made("disturbances", made.disturbances)
    }

    /// The names of people who are in the export.
    fn people(&mut self, names: &BTreeMap<String, (String, String)>) -> Result<(), Failure> {
        let given: Vec<String> = self.veil.given().into_iter().map(|(_, sign)| fold(&sign)).collect();
        for (folded, (sign, name)) in names {
            if self.args.full || given.contains(folded) {
                let code = if self.args.full { sign } else { self.veil.person(sign) };
                let row = object(json!({ "code": code, "name": name }));
                self.sink.row(tables::PEOPLE, tables::of_people, &row)?;
            }
        }
        Ok(())
    }

    /// The rows of a day that were made from entries.
    fn all_made<T: JsonSchema + Serialize>(&mut self, table: &str, rows: Vec<T>) -> Result<(), Failure> {
        if rows.is_empty() {
            return Ok(());
        }
        let columns = tables::of_struct::<T>();
        rows.into_iter().try_for_each(|row| self.made(table, &columns, object(json!(row))))
    }

    fn made(&mut self, table: &str, columns: &[Column], mut row: Map<String, Value>) -> Result<(), Failure> {
        self.veil.row(columns, &mut row);
        self.sink.row(table, || columns.to_vec(), &row)
    }

    fn entry(&mut self, day: &DayRow, noted: &Noted) -> Result<(), Failure> {
        let of_kind = noted.entry.as_ref().and_then(|e| kind(e.body.kind()));
        match (of_kind, &noted.void) {
            (Some(_), None) if self.args.format == Format::Parquet => Ok(()),
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
                    Format::Jsonl => Value::Object(noted.json.clone()),
                    Format::Csv | Format::Parquet | Format::Geojson => Value::from(noted.text.clone()),
                };
                let row = json!({ "day": day.id, "id": noted.id, "void": void, "entry": whole });
                self.sink.row(table, tables::of_whole_entries, &object(row))
            }
        }
    }

    fn readable(&mut self, day: &DayRow, kind: &'static Kind, noted: &Noted) -> Result<(), Failure> {
        let rest = self.args.format == Format::Csv && self.args.full;
        let columns = self.columns.entry(&kind.name).or_insert_with(|| tables::of_kind(kind, rest));
        let mut row = noted.json.clone();
        self.veil.row(columns, &mut row);
        if rest {
            let unknown = |key: &str| columns.iter().all(|c| c.name != key);
            let rest: Map<String, Value> =
                row.iter().filter(|(k, _)| unknown(k)).map(|(k, v)| (k.clone(), v.clone())).collect();
            if !rest.is_empty() {
                row.insert("rest".to_owned(), Value::from(Value::Object(rest).to_string()));
            }
        }
        let shown = || columns.iter().filter(|c| self.veil.shows(c)).cloned().collect();
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
