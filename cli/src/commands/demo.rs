//! `demo`: plays an invented training day and says what a patrol lead would type next.

use super::Ran;
use super::here::{Next, tell_next};
use crate::failure::Failure;
use crate::page::Units;
use crate::story::{self, PHONES, Played, Wanted};
use crate::surroundings::{SharedClock, Surroundings};
use crate::ui::{ALERT, FAINT, HEADING, Ui, styled};
use crate::view::{counted, table::Table};
use chrono::{NaiveDate, Timelike};
use firnbook_core::day::DayId;
use firnbook_core::insight::cautions;
use firnbook_core::logbook::{Ask, Logbook};
use firnbook_core::review::{Item, Sort};
use schemars::JsonSchema;
use serde::Serialize;
use std::path::{Path, PathBuf};

/// Play an invented training day: phones without a network, packs, a base that merges them
///
/// The folder can be gone on with: the commands that are shown at the end work in it.
#[derive(clap::Args, Debug)]
#[command(after_help = "Example:\n  firnbook demo --dir quillhorn")]
pub struct DemoArgs {
    /// The folder to play in; it must be empty or not there yet
    #[arg(long, value_name = "FOLDER", default_value = "firnbook-demo")]
    dir: PathBuf,
    /// How many phones, 5 to 12
    #[arg(long, value_name = "N", default_value_t = 6)]
    phones: usize,
    /// The same seed plays the same day
    #[arg(long, value_name = "N", default_value_t = 7)]
    seed: u64,
    /// The date of the day [default: today]
    #[arg(long, value_name = "YYYY-MM-DD")]
    date: Option<NaiveDate>,
}

/// Answer of `demo`.
#[derive(Serialize, JsonSchema)]
pub struct DemoAnswer {
    /// The folder
    pub dir: PathBuf,
    /// The store of the base laptop
    pub base_store: PathBuf,
    /// The packs that were merged
    pub packs: Vec<PathBuf>,
    /// The pack of the phone that comes down late
    pub late: PathBuf,
    /// The day
    pub day: DayId,
    /// Entries at base
    pub entries: usize,
    /// Open conflicts
    pub conflicts: usize,
    /// Open twins
    pub twins: usize,
    /// Open doubts
    pub doubts: usize,
    /// The page of the debrief
    pub page: PathBuf,
    /// What a patrol lead would type next
    pub next: Vec<Next>,
}

/// Runs `demo`.
pub fn run(ui: &mut Ui, args: &DemoArgs, around: &Surroundings) -> Ran {
    if !PHONES.contains(&args.phones) {
        return Err(Failure::Usage(format!(
            "{} phones can't play this day; it takes {} to {}",
            args.phones,
            PHONES.start(),
            PHONES.end()
        )));
    }
    must_be_free(&args.dir)?;
    let now = around.clock.now().datetime();
    let wanted = Wanted {
        dir: args.dir.clone(),
        phones: args.phones,
        seed: args.seed,
        date: args.date.unwrap_or_else(|| now.date_naive()),
        offset: *now.offset(),
    };
    let was_there = args.dir.exists();
    let played = story::play(&wanted).inspect_err(|_| clear(&args.dir, was_there))?;
    let base = Logbook::open(&played.base_store, Box::new(SharedClock(around.clock.clone())))?;
    let items = base.review(played.day)?;
    let page = args.dir.join("debrief.html");
    let ask = Ask::default();
    super::debrief::write_page(&base, &base.debrief(played.day, &ask)?, &ask, Units::default(), &page)?;
    let answer = answer(args, around, &played, base.day(played.day)?.entries, &items, page);
    let columns = ui.columns();
    ui.answer(&answer, |a| tell(a, &played, &wanted, columns))
}

fn must_be_free(dir: &Path) -> Result<(), Failure> {
    let taken = match std::fs::read_dir(dir) {
        Ok(mut inside) => inside.next().is_some(),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => false,
        Err(e) => return Err(Failure::file(dir, &e)),
    };
    if taken {
        return Err(Failure::refused(format!(
            "{} is there and not empty; name another folder with --dir, or remove it",
            dir.display()
        )));
    }
    Ok(())
}

fn answer(
    args: &DemoArgs,
    around: &Surroundings,
    played: &Played,
    entries: usize,
    items: &[Item],
    page: PathBuf,
) -> DemoAnswer {
    let n = |sort: Sort| items.iter().filter(|i| i.sort == sort).count();
    DemoAnswer {
        dir: args.dir.clone(),
        base_store: played.base_store.clone(),
        packs: played.packs.iter().map(|(_, file, _)| file.clone()).collect(),
        late: played.late.1.clone(),
        day: played.day,
        entries,
        conflicts: n(Sort::Conflict),
        twins: n(Sort::Twin),
        doubts: n(Sort::Doubt),
        page,
        next: next(args, around, items),
    }
}

/// Takes away what a play that failed has left; the folder was empty or not there before.
fn clear(dir: &Path, was_there: bool) {
    if !was_there {
        let _ = std::fs::remove_dir_all(dir);
        return;
    }
    for inside in std::fs::read_dir(dir).into_iter().flatten().flatten() {
        let path = inside.path();
        let _ = if path.is_dir() { std::fs::remove_dir_all(&path) } else { std::fs::remove_file(&path) };
    }
}

/// What a patrol lead would type next, in the folder.
fn next(args: &DemoArgs, around: &Surroundings, items: &[Item]) -> Vec<Next> {
    let mut next = Vec::new();
    let mut say = |command: String, why: &str| next.push(Next { command, why: why.to_owned() });
    say(format!("cd {}", crate::desk::quoted(&args.dir.display().to_string())), "");
    say("export FIRNBOOK_STORE=base.firnstore".to_owned(), "the base laptop's store");
    if let Some(program) = program_with_a_path(around) {
        say(format!("alias firnbook={}", crate::desk::quoted(&program)), "as long as it is not installed");
    }
    let date = args.date.filter(|d| *d != around.clock.now().datetime().date_naive());
    let day = date.map(|d| format!(" --day {d}")).unwrap_or_default();
    say("firnbook".to_owned(), "where you stand");
    say("firnbook merge late".to_owned(), "the last phone comes down");
    say(format!("firnbook review{day}"), "what needs a person");
    if let Some(conflict) = items.iter().find(|i| i.sort == Sort::Conflict && !i.values.is_empty()) {
        let keep = &conflict.values[0].code;
        say(
            format!("firnbook settle {} --keep {keep}{day}", conflict.code),
            "one value of a conflict is right",
        );
    }
    if let Some(doubt) = items.iter().find(|i| i.sort == Sort::Doubt && i.item.contains("dangling")) {
        say(format!("firnbook settle {} --value C{day}", doubt.code), "the label that was meant");
    }
    say(format!("firnbook settle --sort twin --same{day}"), "every pair is one event");
    say("firnbook settle".to_owned(), "the rest, one question at a time");
    say(format!("firnbook debrief{day}"), "the day's answers");
    say(format!("firnbook debrief --html debrief.html{day}"), "the page with what was settled");
    say("firnbook stats depth".to_owned(), "how deep targets lie");
    // Before the demo's own afternoon the transmitter would come out of the snow before it went in.
    let now = around.clock.now().datetime();
    let early = (now.hour(), now.minute()) < (14, 10);
    let at = if date.is_some() || early { " --at 14:10" } else { "" };
    say(
        format!("firnbook log kit --item TX09 --step dug_up --drill 2 --target C{at}{day}"),
        "the last transmitter comes out of the snow",
    );
    say(format!("firnbook day close{day}"), "nothing is known to be out");
    say("firnbook export --format csv -o tables".to_owned(), "tables for other programs");
    next
}

/// The program as it was called, where it was called by a path and not by its name.
fn program_with_a_path(around: &Surroundings) -> Option<String> {
    let program = PathBuf::from(around.args.first()?);
    (program.components().count() > 1)
        .then(|| std::path::absolute(&program).unwrap_or(program).display().to_string())
}

fn tell(answer: &DemoAnswer, played: &Played, wanted: &Wanted, columns: usize) -> String {
    let paragraph = |text: &str| format!("{}\n\n", textwrap::fill(text, columns));
    let lead = played.clocks.first().map_or("", |c| c.0);
    let late = played.late.0;
    let mut text =
        format!("{}\n\n", styled(HEADING, format!("A training day at {}, {}", story::AREA, wanted.date)));
    text.push_str(&paragraph(&format!(
        "{} phones, none with a network, each with a clock that is a little off. {lead} leads; the others watch and write.",
        wanted.phones
    )));
    let mut story = Table::new(["", ""]);
    for (at, says) in SCENES {
        story.row([at.to_owned(), says.replace("{late}", late).replace("{lead}", lead)]);
    }
    text.push_str(&story.draw(columns));
    text.push_str(&format!("\n{}\n", styled(HEADING, "The packs meet on the base laptop")));
    let mut packs = Table::new(["pack of", "clock", "entries new at base", "amended"]).right([1, 2, 3]);
    for (who, _, merged) in &played.packs {
        let off = played.clocks.iter().find(|(w, _)| w == who).map_or(0.0, |(_, off)| *off);
        let new: usize = merged.days.iter().map(|d| d.new_entries).sum();
        let amended: usize = merged.days.iter().map(|d| d.amended).sum();
        packs.row([(*who).to_owned(), format!("{off:+.1} s"), new.to_string(), amended.to_string()]);
    }
    text.push_str(&packs.draw(columns));
    text.push('\n');
    text.push_str(&paragraph(&format!(
        "One day now holds {}. To settle: {}, {}, {}.",
        counted(answer.entries, "entry", "entries"),
        counted(answer.conflicts, "conflict", "conflicts"),
        counted(answer.twins, "pair that seems to be one event", "pairs that each seem to be one event"),
        counted(answer.doubts, "doubt", "doubts"),
    )));
    text.push_str(&format!(
        "{}\n{late} has not handed in yet.\n\n",
        styled(ALERT, "TX09 is still in the snow: drill 2, target C, 70 cm deep.")
    ));
    text.push_str(&paragraph("The day's page, for any browser, is debrief.html in the folder."));
    text.push_str(&format!("{}\n", styled(HEADING, "What a patrol lead would type next")));
    text.push_str(&tell_next(&answer.next));
    text.push_str(&format!("\n{}\n", styled(FAINT, textwrap::fill(cautions::USE, columns))));
    text
}

/// The story, as it is told.
const SCENES: [(&str, &str); 9] = [
    ("08:30", "{lead} begins the day: who is there, which team, who watches"),
    (
        "08:40",
        "group check of eight transceivers: Otter's battery shows 35 %, Swift carries a radio 12 cm away",
    ),
    ("09:00", "nine transmitters are handed out"),
    (
        "10:05",
        "drill 1, one target, team Red. Two observers press the same steps; heated gloves cost Fox 15 seconds. Airway after 10:34",
    ),
    ("11:40", "drill 2, three targets, team Blue. The slope is written down as 28 and as 33 degrees"),
    ("11:55", "the limit: target C was heard and never struck. Its transmitter stays in the snow"),
    ("11:56", "safety: the cornice above the upper edge has cracked"),
    (
        "12:21",
        "two phones met at the hut; both now correct the same burial depth, one to 108 cm, one to 118 cm",
    ),
    ("13:00", "packs are handed in. {late} is still on the hill"),
];
