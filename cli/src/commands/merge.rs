//! `merge`: takes packs in.

use super::Ran;
use crate::desk::Desk;
use crate::failure::Failure;
use crate::ui::ALERT;
use crate::view::{counted, table::Table};
use firnbook_core::day::DayId;
use firnbook_core::insight::debrief::Awaited;
use firnbook_core::logbook::{DayMerged, PackSignature, PackedBy};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// Take packs in: files, or folders of them
///
/// Each file is taken whole or not at all; one that is refused leaves the store as it was, and the others go on. In a folder what is no pack
/// is passed over. In a crew, a pack of a device that was removed is refused, and one that no member signed is named.
#[derive(clap::Args, Debug)]
#[command(after_help = "Examples:\n  firnbook merge /media/stick\n  firnbook merge *.firn --dry-run")]
pub struct MergeArgs {
    /// Packs, or folders that hold some; - is standard input
    #[arg(value_name = "FILE", required = true)]
    files: Vec<PathBuf>,
    /// Only say what would happen
    #[arg(long)]
    dry_run: bool,
}

/// Answer of `merge`.
#[derive(Serialize, JsonSchema)]
pub struct MergeAnswer {
    /// The files, in the order in which they were read
    pub files: Vec<FileMerged>,
    /// The days they touch, as they stand now
    pub days: Vec<DayAfter>,
    /// Who has not handed in
    pub awaited: Vec<Awaited>,
    /// Kit in the snow, of all days
    pub kit_out: Vec<firnbook_core::review::KitItem>,
}

/// What became of one file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum FileStatus {
    /// Something of it was new
    Merged,
    /// All of it was here already
    Known,
    /// Nothing of it was taken
    Refused,
    /// It is no pack
    Skipped,
}

/// One file.
#[derive(Serialize, JsonSchema)]
pub struct FileMerged {
    /// The file
    pub file: PathBuf,
    /// What became of it
    pub status: FileStatus,
    /// Its days
    pub days: Vec<DayId>,
    /// Entries first seen
    pub new_entries: usize,
    /// Entries held before that are other now
    pub amended: usize,
    /// Changes of its days that wait for others or for a signature
    pub waiting: usize,
    /// Changes of its days that are withdrawn, since their key signed two histories
    pub withdrawn: usize,
    /// Who made it
    pub made_by: Option<PackedBy>,
    /// Why it was refused
    pub error: Option<String>,
}

/// A day after the merge.
#[derive(Serialize, JsonSchema)]
pub struct DayAfter {
    /// The day
    pub day: DayId,
    /// The date, yyyy-mm-dd
    pub date: String,
    /// The area, as it is spelled
    pub area: String,
    /// Entries held
    pub entries: usize,
    /// Open conflicts
    pub conflicts: usize,
    /// Open twins
    pub twins: usize,
    /// Open doubts
    pub doubts: usize,
}

/// Runs `merge`.
pub fn run(desk: &mut Desk, args: &MergeArgs) -> Ran {
    let found = files(&args.files)?;
    let progress = desk.ui.progress(found.len(), "merging");
    let mut files = Vec::new();
    for (file, named) in found {
        files.push(one(desk, &file, named, args.dry_run)?);
        progress.inc(1);
    }
    progress.finish_and_clear();
    let refused = files.iter().filter(|f| f.status == FileStatus::Refused).count();
    let touched: BTreeSet<DayId> =
        files.iter().filter(|f| f.status != FileStatus::Refused).flat_map(|f| f.days.clone()).collect();
    let stands = super::here::Standing::of(desk, touched.iter().copied())?;
    let in_crew = desk.logbook.crew()?.is_some();
    let answer = MergeAnswer { files, days: stands.days, awaited: stands.awaited, kit_out: stands.kit_out };
    let columns = desk.ui.columns();
    desk.ui.answer(&answer, |a| tell(a, args.dry_run, in_crew, columns))?;
    if !answer.days.is_empty() && answer.days.iter().any(|d| d.conflicts + d.twins + d.doubts > 0) {
        desk.awaits = true;
        desk.ui.advise("next: firnbook review");
    }
    match (refused, answer.files.len() - refused) {
        (0, _) => Ok(()),
        (n, 0) => {
            Err(Failure::refused(format!("{} refused, nothing was taken; ask for {} again", was(n), them(n))))
        }
        (n, _) => {
            Err(Failure::refused(format!("{} refused, the others are in; ask for {} again", was(n), them(n))))
        }
    }
}

fn was(n: usize) -> String {
    counted(n, "file was", "files were")
}

fn them(n: usize) -> &'static str {
    if n == 1 { "it" } else { "them" }
}

/// The files that are meant, each with whether it was named itself.
fn files(named: &[PathBuf]) -> Result<Vec<(PathBuf, bool)>, Failure> {
    let mut files = Vec::new();
    for path in named {
        if !path.is_dir() {
            files.push((path.clone(), true));
            continue;
        }
        let listed = std::fs::read_dir(path)
            .and_then(|entries| entries.map(|e| Ok(e?.path())).collect::<Result<Vec<_>, _>>());
        let mut inside: Vec<PathBuf> =
            listed.map_err(|e| Failure::file(path, &e))?.into_iter().filter(|p| p.is_file()).collect();
        inside.sort();
        files.extend(inside.into_iter().map(|p| (p, false)));
    }
    Ok(files)
}

fn one(desk: &mut Desk, file: &Path, named: bool, dry_run: bool) -> Result<FileMerged, Failure> {
    let blank = |status, error| FileMerged {
        file: file.to_owned(),
        status,
        days: vec![],
        new_entries: 0,
        amended: 0,
        waiting: 0,
        withdrawn: 0,
        made_by: None,
        error,
    };
    let bytes =
        if file.as_os_str() == "-" { desk.ui.read_all().map_err(|e| format!("{e:?}")) } else { read(file) };
    let bytes = match bytes {
        Ok(bytes) => bytes,
        Err(why) => return Ok(blank(FileStatus::Refused, Some(why))),
    };
    // A cut pack still begins as a pack does, and is refused rather than passed over.
    if !named && !firnbook_core::exchange::is_pack(&bytes) {
        return Ok(blank(FileStatus::Skipped, None));
    }
    match desk.logbook.merge(&bytes, dry_run) {
        Ok(merged) => {
            let sum = |of: fn(&DayMerged) -> usize| merged.days.iter().map(of).sum();
            Ok(FileMerged {
                file: file.to_owned(),
                status: if merged.known() { FileStatus::Known } else { FileStatus::Merged },
                days: merged.days.iter().map(|d| d.day).collect(),
                new_entries: sum(|d| d.new_entries),
                amended: sum(|d| d.amended),
                waiting: sum(|d| d.waiting),
                withdrawn: sum(|d| d.withdrawn),
                made_by: merged.made_by,
                error: None,
            })
        }
        Err(error) => Ok(blank(FileStatus::Refused, Some(error.to_string()))),
    }
}

/// Who signed a pack, where that says something: outside a crew nobody can tell.
fn signed(by: &PackedBy, in_crew: bool) -> Option<String> {
    let label = by.label.clone().unwrap_or_else(|| format!("device {}", by.device));
    match by.signature {
        PackSignature::Member => Some(format!("signed by {label}")),
        PackSignature::Unknown => Some(format!("signed by {label}, which this crew does not know here")),
        PackSignature::OtherCrew => Some(format!("signed by {label} of another crew")),
        PackSignature::None if in_crew => Some("not signed".to_owned()),
        PackSignature::None | PackSignature::Unchecked => None,
    }
}

fn read(file: &Path) -> Result<Vec<u8>, String> {
    let failed = |e: std::io::Error| match Failure::file(file, &e) {
        Failure::Refused { says, .. } | Failure::Usage(says) => says,
        Failure::ReaderGone => String::new(),
    };
    let limit = firnbook_core::exchange::LARGEST_FILE as u64;
    let size = std::fs::metadata(file).map_err(failed)?.len();
    if size > limit {
        return Err(format!(
            "it has {size} bytes, more than the {limit} of the largest pack that is read; pack fewer days at a time"
        ));
    }
    std::fs::read(file).map_err(failed)
}

fn tell(answer: &MergeAnswer, dry_run: bool, in_crew: bool, columns: usize) -> String {
    let mut table = Table::new(["file", "", "new", "amended", "says"]).right([2, 3]);
    for file in answer.files.iter().filter(|f| f.status != FileStatus::Skipped) {
        let name = file
            .file
            .file_name()
            .map_or_else(|| file.file.display().to_string(), |n| n.to_string_lossy().into_owned());
        let word = match file.status {
            FileStatus::Merged if dry_run => "would merge",
            FileStatus::Merged => "merged",
            FileStatus::Known => "known",
            FileStatus::Refused => "refused",
            FileStatus::Skipped => "passed over",
        };
        let waits = (file.waiting > 0).then(|| {
            format!("{} for others or for a signature", counted(file.waiting, "change waits", "changes wait"))
        });
        let withdrawn = (file.withdrawn > 0).then(|| {
            format!(
                "{} withdrawn: a key signed two histories, see `firnbook review`",
                counted(file.withdrawn, "change is", "changes are")
            )
        });
        let by = file.made_by.as_ref().and_then(|by| signed(by, in_crew));
        let says: Vec<String> =
            file.error.clone().into_iter().chain(waits).chain(withdrawn).chain(by).collect();
        let says = says.join("; ");
        let numbers = file.status == FileStatus::Merged;
        let number = |n: usize| if numbers { n.to_string() } else { String::new() };
        let cells = [name, word.to_owned(), number(file.new_entries), number(file.amended), says];
        match file.status {
            FileStatus::Refused => table.styled_row(ALERT, cells),
            _ => table.row(cells),
        }
    }
    let mut text = table.draw(columns);
    let skipped = answer.files.iter().filter(|f| f.status == FileStatus::Skipped).count();
    if skipped > 0 {
        text.push_str(&format!("{} passed over, no packs\n", counted(skipped, "file", "files")));
    }
    text.push('\n');
    text.push_str(&super::here::Standing::tell(&answer.days, &answer.awaited, &answer.kit_out, columns));
    text
}
