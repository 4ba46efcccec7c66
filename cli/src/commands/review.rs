//! `review`: what of a day needs a person.

use super::Ran;
use crate::answer::filters;
use crate::args::DayChoice;
use crate::desk::Desk;
use crate::ui::{ALERT, COMMAND, FAINT, HEADING, styled};
use crate::view;
use firnbook_core::day::DayId;
use firnbook_core::entry::fold;
use firnbook_core::insight::made::Made;
use firnbook_core::review::{Item, Sort};
use schemars::JsonSchema;
use serde::Serialize;

/// Show what needs a person: kit in the snow, what is missing, conflicts, doubts, twins
///
/// It proposes; you settle, with `firnbook settle`. The short codes stay the same on every device.
#[derive(clap::Args, Debug)]
#[command(after_help = "Examples:\n  firnbook review\n  firnbook review --ask Obs2")]
pub struct ReviewArgs {
    #[command(flatten)]
    day: DayChoice,
    /// Only this sort
    #[arg(long, value_parser = sort, value_name = "conflict|twin|doubt|missing")]
    sort: Option<Sort>,
    /// Only what this person can tell
    #[arg(long, value_name = "CALL SIGN")]
    ask: Option<String>,
}

/// Answer of `review`.
#[derive(Serialize, JsonSchema)]
pub struct ReviewAnswer {
    /// The day
    pub day: DayId,
    /// What needs a person, in the order in which people should look
    pub items: Vec<Item>,
    /// From what this was made
    pub made: Made,
}

/// Reads a sort of item.
///
/// # Errors
/// The words that are sorts.
pub fn sort(text: &str) -> Result<Sort, String> {
    let word = text.trim().to_lowercase();
    let found = Sort::ALL.into_iter().find(|s| word == s.word() || word == format!("{}s", s.word()));
    found.ok_or_else(|| {
        let words: Vec<&str> = Sort::ALL.iter().map(|s| s.word()).collect();
        format!("write one of {}", words.join(", "))
    })
}

/// Runs `review`.
pub fn run(desk: &mut Desk, args: &ReviewArgs) -> Ran {
    let day = desk.day_to_read(&args.day)?;
    let mut items = desk.logbook.review(day.id)?;
    items.retain(|i| args.sort.is_none_or(|s| i.sort == s));
    if let Some(person) = &args.ask {
        items.retain(|i| i.ask.iter().any(|a| fold(a) == fold(person)));
    }
    desk.awaits = !items.is_empty();
    let given = [
        ("day", Some(day.id.to_string())),
        ("sort", args.sort.map(|s| s.word().to_owned())),
        ("ask", args.ask.clone()),
    ];
    let answer = ReviewAnswer { day: day.id, items, made: desk.made(&[day.id], filters(given))? };
    let columns = desk.ui.columns();
    let title = format!("{} {}", day.date, day.area);
    desk.ui.answer(&answer, |a| tell(&title, &a.items, columns))
}

/// Headings of the sorts, kit in the snow apart.
fn heading(item: &Item) -> &'static str {
    match item.sort {
        Sort::Missing if item.is_kit() => "Still in the snow",
        Sort::Missing => "Missing",
        Sort::Conflict => "Conflicts: people wrote different things",
        Sort::Doubt => "Doubts: true?",
        Sort::Twin => "Twins: one event, or two?",
    }
}

fn tell(title: &str, items: &[Item], columns: usize) -> String {
    if items.is_empty() {
        return format!("{title}: nothing needs a person.\n");
    }
    let mut text =
        format!("{title}: {}\n", view::counted(items.len(), "thing needs a person", "things need a person"));
    let mut last = "";
    for item in items {
        if heading(item) != last {
            last = heading(item);
            text.push_str(&format!("\n{}\n", styled(if item.is_kit() { ALERT } else { HEADING }, last)));
        }
        text.push_str(&tell_item(item, columns));
    }
    text.push('\n');
    let hint = |command: &str, why: &str| format!("{}  {}\n", styled(COMMAND, command), styled(FAINT, why));
    if items.iter().any(|i| i.sort != Sort::Missing) {
        text.push_str(&hint("firnbook settle", "walks through them, one question at a time"));
    }
    if items.iter().filter(|i| i.sort == Sort::Twin).count() > 1 {
        text.push_str(&hint("firnbook settle --sort twin --same", "calls every pair one event"));
    }
    text
}

fn tell_item(item: &Item, columns: usize) -> String {
    const INDENT: usize = 12;
    let blank = " ".repeat(INDENT);
    let says = textwrap::wrap(&item.says, columns.saturating_sub(INDENT)).join(&format!("\n{blank}"));
    let mut text = format!("  {}  {says}\n", styled(COMMAND, &item.code));
    if item.sort == Sort::Conflict {
        for value in &item.values {
            text.push_str(&format!("{blank}{}\n", tell_value(value)));
        }
    }
    for command in commands(item) {
        text.push_str(&format!("{blank}{}\n", styled(COMMAND, command)));
    }
    if !item.ask.is_empty() {
        text.push_str(&format!("{blank}{}\n", styled(FAINT, format!("ask {}", item.ask.join(", ")))));
    }
    text
}

/// What may be typed to put a doubt to rest by doing what it asks for, where more than amending an entry does.
#[must_use]
pub fn commands(item: &Item) -> Vec<String> {
    match item.doubt() {
        Some("clock") => vec![
            "firnbook log clock_mark --label now".to_owned(),
            "firnbook log clock_mark --label read --clock NAME --shows HH:MM:SS".to_owned(),
        ],
        Some(code) => {
            let into = code.strip_prefix("one_day:");
            into.map(|into| format!("firnbook move --all --day {} --into {into}", item.day))
                .into_iter()
                .collect()
        }
        None => vec![],
    }
}

/// A value to choose from: how it is kept, what it is, who wrote it when.
#[must_use]
pub fn tell_value(value: &firnbook_core::review::ItemValue) -> String {
    let mut who: Vec<String> = value.by.iter().cloned().collect();
    who.extend(value.at.map(view::clock_time));
    let shown = view::shortened(&view::value(&value.value), 48);
    let who = if who.is_empty() { String::new() } else { styled(FAINT, format!("  {}", who.join(", "))) };
    format!("{} {shown}{who}", styled(FAINT, format!("--keep {}", value.code)))
}
