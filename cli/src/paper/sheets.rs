//! Which sheets a day's observers need: for every form its lines, with the labels and people of the day already written in where they are
//! known. How a sheet is drawn is in `draw`.

use super::headings::{Form, form};
use firnbook_core::day::{Record, Things};
use firnbook_core::entry::{Role, fold};
use std::collections::BTreeSet;

/// What is known before the first line is written.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Ground {
    /// Date and area; empty for forms of no day.
    pub day: String,
    /// The people of the day by call sign, those who watch apart.
    pub people: Vec<String>,
    /// The drills with their targets.
    pub drills: Vec<(String, Vec<String>)>,
    /// The pieces of kit.
    pub items: Vec<String>,
}

/// One printed sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PaperSheet {
    /// Its letter: with the number of a line the key of a row.
    pub letter: String,
    /// The form.
    pub form: &'static Form,
    /// Who writes on it; empty to be filled in.
    pub observer: String,
    /// The drill that all its lines belong to; empty to be filled in.
    pub drill: String,
    /// The lines from 1 on: field and what already stands there.
    pub lines: Vec<Vec<(&'static str, String)>>,
    /// Words to choose from, as they are printed below: field heading and words.
    pub people: Vec<String>,
}

impl Ground {
    /// What a day's entries tell.
    #[must_use]
    pub fn of(record: &Record) -> Ground {
        let things = Things::of(record);
        let watches = |role: &Role| matches!(role, Role::Lead | Role::Instructor | Role::Observer);
        let people = things.people.iter().filter(|(folded, thing)| {
            let role = things.person_as_one(folded).and_then(|p| p.role);
            !thing.declared_by.is_empty() && !role.as_ref().is_some_and(watches)
        });
        let people: Vec<String> = people.map(|(_, thing)| thing.label.clone()).collect();
        let drills = things.drills.iter().filter(|(_, thing)| !thing.declared_by.is_empty());
        let drills = drills.map(|(folded, thing)| {
            let targets = things.targets_of(folded).into_values().map(|t| t.label.clone()).collect();
            (thing.label.clone(), targets)
        });
        let mut seen = BTreeSet::new();
        let items = record.entries.iter().filter_map(|noted| {
            let item = noted.counted()?.to_json().get("item")?.as_str()?.to_owned();
            seen.insert(fold(&item)).then_some(item)
        });
        let mut items: Vec<String> = items.collect();
        items.sort();
        Ground { day: format!("{} {}", record.date, record.area), people, drills: drills.collect(), items }
    }
}

/// Lines on one sheet: as many as a gloved hand can write on A5.
pub const LINES: usize = 12;

/// The steps that are printed before any is written, after the start.
const STEPS: [&str; 8] = ["signal", "coarse", "fine", "probing", "strike", "digging", "airway", "extricated"];

/// One set of sheets for each of these observers; without any, one set to be filled in. The letters go on from set to set, so that no two
/// sheets of one printing have the same.
#[must_use]
pub fn sheets(ground: &Ground, observers: &[String]) -> Vec<PaperSheet> {
    let nobody = [String::new()];
    let observers = if observers.is_empty() { &nobody[..] } else { observers };
    let mut sheets: Vec<PaperSheet> = Vec::new();
    for observer in observers {
        for (word, drill, lines) in a_set(ground) {
            let Some(form) = form(word) else { continue };
            for part in lines.chunks(LINES) {
                sheets.push(PaperSheet {
                    letter: letter(sheets.len()),
                    form,
                    observer: observer.clone(),
                    drill: drill.clone(),
                    lines: part.to_vec(),
                    people: ground.people.clone(),
                });
            }
        }
    }
    sheets
}

/// A letter of a sheet's number: A to Z, then AA, AB and so on.
#[must_use]
pub fn letter(number: usize) -> String {
    let last = char::from(b'A' + u8::try_from(number % 26).unwrap_or(0));
    let before = if number < 26 { String::new() } else { letter(number / 26 - 1) };
    format!("{before}{last}")
}

type Lines = Vec<Vec<(&'static str, String)>>;

/// The forms of one observer: word of the form, drill, lines.
fn a_set(ground: &Ground) -> Vec<(&'static str, String, Lines)> {
    let each = |field: &'static str, labels: &[String]| -> Lines {
        padded(labels.iter().map(|label| vec![(field, label.clone())]).collect())
    };
    let mut set = Vec::new();
    if ground.people.is_empty() {
        set.push(("people", String::new(), blank()));
    }
    set.push(("checks", String::new(), each("person", &ground.people)));
    set.push(("kit", String::new(), each("item", &ground.items)));
    if ground.drills.is_empty() {
        set.push(("drills", String::new(), blank()));
        set.push(("targets", String::new(), blank()));
    }
    let unknown = [(String::new(), Vec::new())];
    let drills = if ground.drills.is_empty() { &unknown[..] } else { &ground.drills };
    for (drill, targets) in drills {
        set.push(("steps", drill.clone(), steps(targets)));
        set.push(("strikes", drill.clone(), each("target", targets)));
        set.push(("turns", drill.clone(), blank()));
    }
    for word in ["depths", "probing", "disturbances", "notes"] {
        set.push((word, String::new(), blank()));
    }
    set
}

/// The start, then every step of every target; of a drill without targets every step once.
fn steps(targets: &[String]) -> Lines {
    let mut lines: Lines = vec![vec![("step", "start".to_owned())]];
    let nobody = [String::new()];
    let targets = if targets.is_empty() { &nobody[..] } else { targets };
    for target in targets {
        lines.extend(STEPS.map(|step| {
            let mut line = vec![("step", step.to_owned())];
            line.extend((!target.is_empty()).then(|| ("target", target.clone())));
            line
        }));
    }
    lines.push(vec![("step", "end".to_owned())]);
    padded(lines)
}

fn blank() -> Lines {
    padded(Vec::new())
}

/// Filled up with empty lines to whole sheets, with room for at least two lines more.
fn padded(mut lines: Lines) -> Lines {
    let whole = (lines.len() + 2).div_ceil(LINES).max(1) * LINES;
    lines.resize(whole, Vec::new());
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_go_on_after_the_alphabet() {
        assert_eq!([0, 25, 26, 51, 52, 701, 702].map(letter), ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]);
    }

    #[test]
    fn no_two_sheets_of_a_printing_have_one_letter_and_what_is_known_stands_there() {
        let ground = Ground {
            day: "2027-02-06 Upper Bowl".to_owned(),
            people: vec!["Fox".to_owned()],
            drills: vec![
                ("1".to_owned(), vec!["A".to_owned(), "B".to_owned()]),
                ("2".to_owned(), Vec::new()),
            ],
            items: vec!["TX01".to_owned()],
        };
        let printed = sheets(&ground, &["Obs1".to_owned(), "Obs2".to_owned()]);
        let letters: BTreeSet<&str> = printed.iter().map(|s| s.letter.as_str()).collect();
        assert_eq!(letters.len(), printed.len());
        assert!(printed.iter().all(|s| s.lines.len() == LINES));
        let first_steps = printed.iter().find(|s| s.form.word == "steps").unwrap();
        assert_eq!((first_steps.drill.as_str(), first_steps.observer.as_str()), ("1", "Obs1"));
        assert_eq!(first_steps.lines[0], [("step", "start".to_owned())]);
        assert_eq!(first_steps.lines[9], [("step", "signal".to_owned()), ("target", "B".to_owned())]);
        // 1 + 2 x 8 + 1 lines and room for more take two sheets.
        assert_eq!(printed.iter().filter(|s| s.form.word == "steps" && s.drill == "1").count(), 2 * 2);
        assert!(sheets(&Ground::default(), &[]).iter().any(|s| s.form.word == "drills"));
    }

    #[test]
    fn what_is_printed_in_a_line_has_a_column() {
        let ground = Ground {
            people: vec!["Fox".to_owned()],
            drills: vec![("1".to_owned(), vec!["A".to_owned()])],
            items: vec!["TX01".to_owned()],
            ..Ground::default()
        };
        for sheet in sheets(&ground, &[]) {
            for (field, _) in sheet.lines.iter().flatten() {
                assert!(sheet.form.columns.iter().any(|c| c.field == *field), "{} {field}", sheet.form.word);
            }
        }
    }
}
