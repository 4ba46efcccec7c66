//! `paper`: what is printed before the day and written on with a pencil.

use super::Ran;
use crate::args::DayChoice;
use crate::desk::Desk;
use crate::file::write_whole;
use crate::paper::draw::{Size, page};
use crate::paper::sheets::{Ground, sheets};
use crate::view::counted;
use firnbook_core::day::DayId;
use firnbook_core::entry::fold;
use schemars::JsonSchema;
use serde::Serialize;
use std::path::PathBuf;

/// Print forms to write on; what is typed in from them is read by `log --from`
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:\n  firnbook paper forms -o forms.html")]
pub struct PaperArgs {
    #[command(subcommand)]
    what: What,
}

#[derive(clap::Subcommand, Debug)]
enum What {
    Forms(FormsArgs),
}

/// Observer sheets as an HTML file to print: a letter a sheet, numbered lines, the day's labels and people filled in
///
/// Sheet letter and line number are what a typed row is known by: typed again with a correction, it amends and doubles nothing. Print one set for
/// each observer in one go, so that no two sheets have the same letter.
#[derive(clap::Args, Debug)]
#[command(
    after_help = "Examples:\n  firnbook paper forms\n  firnbook paper forms --day 2027-02-06 --for Ash,Birch --size a4 -o forms.html"
)]
pub struct FormsArgs {
    #[command(flatten)]
    day: DayChoice,
    /// A set for each of these observers [default: one set, the observer to be filled in]
    #[arg(long = "for", value_name = "CALL SIGN", value_delimiter = ',')]
    observers: Vec<String>,
    /// Nothing filled in, for a day that nobody has set up yet
    #[arg(long, conflicts_with = "day")]
    blank: bool,
    /// The paper: a5 or a4
    #[arg(long, value_name = "a5|a4", default_value = "a5", hide_possible_values = true)]
    size: Size,
    /// The file [default: forms-DATE-AREA.html]
    #[arg(short = 'o', long = "output", value_name = "FILE")]
    output: Option<PathBuf>,
}

/// Answer of `paper forms`.
#[derive(Serialize, JsonSchema)]
pub struct FormsAnswer {
    /// The file
    pub file: PathBuf,
    /// The day whose labels stand on the sheets; null for empty ones
    pub day: Option<DayId>,
    /// The sheets, in the order in which they are printed
    pub sheets: Vec<FormsSheet>,
}

/// One sheet.
#[derive(Serialize, JsonSchema)]
pub struct FormsSheet {
    /// Its letter
    pub sheet: String,
    /// Its form
    pub form: &'static str,
    /// The kind of entry that each line is
    pub kind: &'static str,
    /// The drill that it is for; null to be filled in
    pub drill: Option<String>,
    /// Who writes on it; null to be filled in
    pub observer: Option<String>,
    /// Number of lines
    pub lines: usize,
}

/// Runs `paper`.
pub fn run(desk: &mut Desk, args: &PaperArgs) -> Ran {
    match &args.what {
        What::Forms(args) => forms(desk, args),
    }
}

fn forms(desk: &mut Desk, args: &FormsArgs) -> Ran {
    let nothing_known = args.blank || (args.day.day.is_none() && desk.logbook.latest_day()?.is_none());
    let day = if nothing_known { None } else { Some(desk.day_to_read(&args.day)?) };
    let ground = match &day {
        Some(day) => Ground::of(&desk.logbook.record(day.id)?),
        None => Ground::default(),
    };
    let observers: Vec<String> =
        args.observers.iter().map(|o| o.trim().to_owned()).filter(|o| !o.is_empty()).collect();
    let printed = sheets(&ground, &observers);
    let file = args.output.clone().unwrap_or_else(|| {
        let of = day
            .as_ref()
            .map(|d| format!("-{}-{}", d.date, fold(&d.area).replace(|c: char| !c.is_alphanumeric(), "-")));
        PathBuf::from(format!("forms{}.html", of.unwrap_or_default()))
    });
    write_whole(&file, page(&ground, &printed, args.size).as_bytes())?;
    let known = |text: &str| (!text.is_empty()).then(|| text.to_owned());
    let answer = FormsAnswer {
        file,
        day: day.map(|d| d.id),
        sheets: printed
            .iter()
            .map(|s| FormsSheet {
                sheet: s.letter.clone(),
                form: s.form.word,
                kind: s.form.kind,
                drill: known(&s.drill),
                observer: known(&s.observer),
                lines: s.lines.len(),
            })
            .collect(),
    };
    desk.ui.answer(&answer, |a| {
        let first_and_last = a.sheets.first().zip(a.sheets.last());
        let letters =
            first_and_last.map(|(a, z)| format!(", {} to {}", a.sheet, z.sheet)).unwrap_or_default();
        format!("{}{letters}: {}\n", counted(a.sheets.len(), "sheet", "sheets"), a.file.display())
    })
}
