//! The walk through all items of a day: one question a screen, each answer written at once, left at any point.

use super::{Ran, entries, review};
use crate::desk::Desk;
use crate::ui::{COMMAND, FAINT, HEADING, styled};
use crate::view;
use firnbook_core::entry::EntryId;
use firnbook_core::logbook::LogbookError;
use firnbook_core::review::{Choice, Item, Sort, Verdict, field_of, typed};
use firnbook_core::store::DayRow;
use std::collections::HashSet;

/// What was typed at a question.
enum Typed {
    Verdict(Verdict),
    Later,
    Leave,
    Unclear(String),
}

/// Walks through the items of a day.
pub fn run(desk: &mut Desk, day: &DayRow, by: &str) -> Ran {
    let mut later: HashSet<String> = HashSet::new();
    let mut settled = 0;
    loop {
        let items = desk.logbook.review(day.id)?;
        let open: Vec<&Item> =
            items.iter().filter(|i| i.sort != Sort::Missing && !later.contains(&i.item)).collect();
        let Some(item) = open.first() else { break };
        let screen = screen(desk, day, item, open.len())?;
        match question(desk, day, item, &screen)? {
            Typed::Verdict(verdict) => {
                let code = [item.code.clone()];
                match desk.logbook.settle(day.id, Choice::These(&code), &verdict, by, None, false) {
                    Ok(_) => settled += 1,
                    Err(LogbookError::Settle(why)) => {
                        later.insert(item.item.clone());
                        desk.ui.say(why);
                    }
                    Err(other) => return Err(other.into()),
                }
            }
            Typed::Later | Typed::Unclear(_) => {
                later.insert(item.item.clone());
            }
            Typed::Leave => break,
        }
    }
    let items = desk.logbook.review(day.id)?;
    let left = items.iter().filter(|i| i.sort != Sort::Missing).count();
    let missing = items.iter().filter(|i| i.sort == Sort::Missing).count();
    desk.awaits = left + missing > 0;
    let mut text = format!("\n{} settled, {left} left", view::counted(settled, "item", "items"));
    if missing > 0 {
        text.push_str(&format!(
            "; {} still missing: firnbook review --sort missing",
            view::counted(missing, "thing is", "things are")
        ));
    }
    desk.ui.out(&format!("{text}\n"))
}

/// Asks until the answer is clear.
fn question(
    desk: &mut Desk,
    day: &DayRow,
    item: &Item,
    screen: &str,
) -> Result<Typed, crate::failure::Failure> {
    desk.ui.new_screen()?;
    desk.ui.out(screen)?;
    loop {
        let Some(line) = desk.ui.ask("> ")? else { return Ok(Typed::Leave) };
        match understand(desk, day, item, &line)? {
            Typed::Unclear(why) => desk.ui.out(&format!("{why}\n"))?,
            clear => return Ok(clear),
        }
    }
}

fn screen(desk: &Desk, day: &DayRow, item: &Item, open: usize) -> Result<String, crate::failure::Failure> {
    let columns = desk.ui.columns();
    let record = desk.logbook.record(day.id)?;
    let mut text = format!(
        "{}  {}\n\n",
        styled(HEADING, format!("{} {}", day.date, day.area)),
        styled(FAINT, format!("{}, {} to go", item.code, open))
    );
    text.push_str(&textwrap::fill(&item.says, columns));
    text.push('\n');
    for command in review::commands(item) {
        text.push_str(&format!("{}\n", styled(COMMAND, command)));
    }
    text.push('\n');
    for noted in record.entries.iter().filter(|n| item.entries.contains(&n.id)) {
        text.push_str(&format!("  {}\n", view::shortened(&entries::line(noted), columns.saturating_sub(2))));
    }
    let key = |key: &str, what: &str| format!("  {}  {what}\n", styled(COMMAND, key));
    text.push('\n');
    for (n, value) in (1..).zip(&item.values) {
        let who: Vec<String> = value.by.iter().cloned().chain(value.at.map(view::clock_time)).collect();
        let shown = view::shortened(&view::value(&value.value), columns.saturating_sub(24));
        text.push_str(&key(&n.to_string(), &format!("{shown}  {}", styled(FAINT, who.join(", ")))));
    }
    if item.sort == Sort::Twin {
        text.push_str(&key("y", "one event"));
        text.push_str(&key("n", "two events"));
    }
    if item.sort == Sort::Doubt {
        text.push_str(&key("a", "it is true as it stands"));
    }
    if let Some(field) = field_of(&record, item) {
        let unit = field.unit.map(|u| format!(", in {} or with a unit", u.symbol())).unwrap_or_default();
        text.push_str(&key(
            "= VALUE",
            &format!("another value for {}{unit}", field.short_name().replace('_', " ")),
        ));
    }
    if !item.entries.is_empty() {
        text.push_str(&key("x ID", "strike that entry out"));
    }
    text.push_str(&key("enter", "later"));
    text.push_str(&key("q", "leave; what is settled stays settled"));
    if !item.ask.is_empty() {
        text.push_str(&format!("\n{}\n", styled(FAINT, format!("ask {}", item.ask.join(", ")))));
    }
    Ok(text)
}

fn understand(desk: &Desk, day: &DayRow, item: &Item, line: &str) -> Result<Typed, crate::failure::Failure> {
    let lower = line.to_lowercase();
    let verdict = match lower.as_str() {
        "" => return Ok(Typed::Later),
        "q" => return Ok(Typed::Leave),
        "y" if item.sort == Sort::Twin => Verdict::Same,
        "n" if item.sort == Sort::Twin => Verdict::Different,
        "a" if item.sort == Sort::Doubt => Verdict::Accept,
        _ => {
            if let Some(value) = line.strip_prefix('=') {
                let (record, times) = (desk.logbook.record(day.id)?, desk.times(day)?.of(None));
                match typed(&record, item, value.trim(), &times) {
                    Ok(value) => Verdict::Value(value),
                    Err(why) => return Ok(Typed::Unclear(why.to_string())),
                }
            } else if let Some(ending) = lower.strip_prefix("x ") {
                match entry_ending(item, ending.trim()) {
                    Some(id) => Verdict::Void(id, "struck out in settling".to_owned()),
                    None => {
                        return Ok(Typed::Unclear(
                            "name one of the entries above by the end of its id".to_owned(),
                        ));
                    }
                }
            } else {
                let n = lower.parse::<usize>().ok().and_then(|n| n.checked_sub(1));
                match n.and_then(|n| item.values.get(n)) {
                    Some(value) => Verdict::Keep(value.code.clone()),
                    None => {
                        return Ok(Typed::Unclear(format!(
                            "\"{line}\" is none of these; type one of the keys above"
                        )));
                    }
                }
            }
        }
    };
    Ok(Typed::Verdict(verdict))
}

fn entry_ending(item: &Item, ending: &str) -> Option<EntryId> {
    let ending = ending.to_uppercase();
    let mut fits = item.entries.iter().filter(|id| !ending.is_empty() && id.to_string().ends_with(&ending));
    let found = fits.next().copied();
    if fits.next().is_some() { None } else { found }
}
