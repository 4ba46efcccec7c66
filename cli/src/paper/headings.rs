//! The one table of what is printed at the head of each column of a paper form, and which field it stands for. The forms are printed from
//! it, and what is typed in from them is read by it; how a form looks and how a file is read is not known here.

use firnbook_core::entry;

/// Heading of the letter of a sheet; with [`LINE`] the key of a row.
pub const SHEET: &str = "sheet";
/// Heading of the number of a line on its sheet; with [`SHEET`] the key of a row.
pub const LINE: &str = "line";
/// Heading of the word that says which form a row stands on: [`Form::word`].
pub const FORM: &str = "form";

/// One printed column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Column {
    /// What is printed above it, lower case, with the unit where it has one.
    pub heading: &'static str,
    /// The field of the entry that it stands for.
    pub field: &'static str,
    /// Its share of the width of a sheet; the shares of a form's columns need not sum to anything.
    pub width: u8,
}

/// One form: each line on it is one entry of one kind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Form {
    /// The word printed on it and typed under [`FORM`].
    pub word: &'static str,
    /// The kind of entry that a line is.
    pub kind: &'static str,
    /// The columns after the number of the line.
    pub columns: &'static [Column],
}

const fn column(heading: &'static str, field: &'static str, width: u8) -> Column {
    Column { heading, field, width }
}

/// What stands once at the top of every sheet and holds for each of its lines.
pub const TOP: [Column; 3] =
    [column("observer", "by", 4), column("drill", "drill", 2), column("watch", "clock", 3)];

/// The forms, in the order of a day.
pub const FORMS: [Form; 12] = [
    Form {
        word: "people",
        kind: "person",
        columns: &[
            column("who", "call_sign", 6),
            column("team", "team", 4),
            column("role", "role", 5),
            column("arrived", "joined_at", 4),
            column("left", "left_at", 4),
        ],
    },
    Form {
        word: "checks",
        kind: "check",
        columns: &[
            column("time", "at", 5),
            column("who", "person", 6),
            column("sends", "transmits", 3),
            column("receives", "receives", 3),
            column("battery %", "battery_pct", 4),
            column("electronics cm", "nearest_electronics_cm", 5),
            column("fault", "fault", 6),
        ],
    },
    Form {
        word: "kit",
        kind: "kit",
        columns: &[
            column("time", "at", 5),
            column("item", "item", 5),
            column("step", "step", 6),
            column("target", "target", 4),
            column("note", "note", 7),
        ],
    },
    Form {
        word: "drills",
        kind: "drill",
        columns: &[
            column("time", "at", 5),
            column("drill", "label", 3),
            column("kind of drill", "form", 6),
            column("team", "team", 4),
            column("slope deg", "slope_deg", 3),
            column("width m", "width_m", 3),
            column("length m", "length_m", 3),
            column("limit s", "limit_s", 3),
        ],
    },
    Form {
        word: "targets",
        kind: "target",
        columns: &[
            column("target", "label", 4),
            column("item", "item", 5),
            column("set depth cm", "set_depth_cm", 4),
            column("measured", "direction", 6),
            column("lies", "orientation", 5),
            column("sends", "transmits", 3),
            column("right m", "x_m", 3),
            column("uphill m", "y_m", 3),
        ],
    },
    Form {
        word: "steps",
        kind: "moment",
        columns: &[
            column("time", "at", 6),
            column("step", "step", 6),
            column("target", "target", 4),
            column("who", "person", 5),
            column("reading m", "reading_m", 4),
            column("note", "note", 7),
        ],
    },
    Form {
        word: "strikes",
        kind: "strike",
        columns: &[
            column("time", "at", 6),
            column("target", "target", 4),
            column("who", "person", 5),
            column("outcome", "outcome", 4),
            column("depth cm", "depth_cm", 4),
            column("lowest reading m", "lowest_reading_m", 4),
            column("from mark cm", "from_mark_cm", 4),
            column("holes", "holes", 3),
        ],
    },
    Form {
        word: "depths",
        kind: "depth",
        columns: &[
            column("time", "at", 6),
            column("target", "target", 4),
            column("depth cm", "depth_cm", 4),
            column("method", "method", 5),
            column("measured to", "datum", 6),
            column("measured", "direction", 6),
            column("note", "note", 5),
        ],
    },
    Form {
        word: "turns",
        kind: "rotation",
        columns: &[
            column("from", "at", 5),
            column("to", "ended_at", 5),
            column("target", "target", 4),
            column("front", "front", 5),
            column("behind", "shovellers", 9),
            column("manner", "manner", 5),
        ],
    },
    Form {
        word: "probing",
        kind: "probe_pass",
        columns: &[
            column("from", "at", 5),
            column("to", "ended_at", 5),
            column("across cm", "across_cm", 4),
            column("along cm", "along_cm", 4),
            column("probers", "probers", 3),
            column("width m", "width_m", 3),
            column("length m", "length_m", 3),
            column("depth cm", "depth_cm", 3),
            column("holes", "holes", 3),
        ],
    },
    Form {
        word: "disturbances",
        kind: "interference",
        columns: &[
            column("time", "at", 5),
            column("source", "source", 6),
            column("who", "person", 5),
            column("effect", "effect", 6),
            column("distance cm", "distance_cm", 4),
            column("lost s", "lost_s", 3),
            column("remedy", "remedy", 6),
        ],
    },
    Form {
        word: "notes",
        kind: "note",
        columns: &[
            column("time", "at", 4),
            column("about", "topic", 4),
            column("who", "person", 4),
            column("note", "note", 14),
        ],
    },
];

/// The form that a word names, whatever its case.
#[must_use]
pub fn form(word: &str) -> Option<&'static Form> {
    FORMS.iter().find(|f| f.word == plain(word))
}

/// The form on which entries of a kind are written.
#[must_use]
pub fn form_of_kind(kind: &str) -> Option<&'static Form> {
    FORMS.iter().find(|f| f.kind == kind)
}

impl Form {
    /// The field that a typed heading stands for on this form: as printed, with or without its unit, or the field's own name. `None` for a
    /// heading that is not on it; [`SHEET`], [`LINE`] and [`FORM`] are no fields.
    #[must_use]
    pub fn field(&self, heading: &str) -> Option<&'static str> {
        let typed = plain(heading);
        let printed = || self.columns.iter().chain(&TOP);
        let exact = printed().find(|c| c.heading == typed);
        let without_unit = || printed().find(|c| without_unit(c) == typed);
        let found = exact.or_else(without_unit).map(|c| c.field);
        // A field that no column shows may be typed all the same, by its own name.
        found.or_else(|| {
            let named = entry::kind(self.kind)?.field(&typed.replace(' ', "_"))?;
            Some(named.name.as_str())
        })
    }
}

/// A heading without the unit that its field's name carries too.
fn without_unit(column: &Column) -> &'static str {
    let unit = column.heading.rsplit_once(' ').filter(|(_, unit)| UNITS.contains(unit));
    unit.map_or(column.heading, |(before, _)| before)
}

const UNITS: [&str; 5] = ["cm", "m", "s", "%", "deg"];

/// A heading or word as it is compared: lower case, one space between words, none around, `_` as a space.
fn plain(text: &str) -> String {
    text.to_lowercase().replace('_', " ").split_whitespace().collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use firnbook_core::entry::KINDS;

    #[test]
    fn every_heading_stands_for_a_field_of_its_kind_and_for_one_alone() {
        for form in FORMS {
            let kind = entry::kind(form.kind).unwrap();
            for column in form.columns {
                assert!(kind.field(column.field).is_some(), "{} {}", form.word, column.heading);
                assert_eq!(form.field(column.heading), Some(column.field), "{}", form.word);
                assert_eq!(form.field(&column.heading.to_uppercase()), Some(column.field));
                assert_eq!(plain(column.heading), column.heading);
                let twins = form.columns.iter().filter(|c| c.heading == column.heading);
                assert_eq!(twins.count(), 1, "{} {}", form.word, column.heading);
                assert!(![SHEET, LINE, FORM].contains(&column.heading));
            }
            for top in TOP {
                assert!(kind.field(top.field).is_some());
            }
        }
    }

    #[test]
    fn what_an_entry_needs_can_be_written_on_its_form() {
        for form in FORMS {
            for field in entry::kind(form.kind).unwrap().fields.iter().filter(|f| f.required) {
                let elsewhere = ["id", "kind", "at", "by"].contains(&field.name.as_str());
                let there = form.columns.iter().chain(&TOP).any(|c| c.field == field.name);
                assert!(elsewhere || there, "{} lacks {}", form.word, field.name);
            }
        }
    }

    #[test]
    fn kinds_that_a_hand_can_write_have_one_form_each() {
        let without: Vec<&str> =
            KINDS.iter().map(|k| k.name.as_str()).filter(|k| form_of_kind(k).is_none()).collect();
        assert_eq!(without, ["track", "clock_mark", "clock"]);
    }

    #[test]
    fn headings_are_taken_as_people_type_them() {
        let strikes = form(" Strikes ").unwrap();
        assert_eq!(strikes.field("Depth"), Some("depth_cm"));
        assert_eq!(strikes.field("depth_cm"), Some("depth_cm"));
        assert_eq!(strikes.field("Observer"), Some("by"));
        assert_eq!(strikes.field("lowest_reading_m"), Some("lowest_reading_m"));
        assert_eq!(strikes.field("direction"), Some("direction"));
        assert_eq!(strikes.field("battery"), None);
        assert_eq!(form("drills").unwrap().field("drill"), Some("label"));
        assert!(form("walks").is_none());
    }
}
