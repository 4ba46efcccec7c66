//! The sentences of printed forms besides their headings.

/// Title of a printout.
pub fn title(day: &str) -> String {
    if day.is_empty() { "Observer sheets".to_owned() } else { format!("Observer sheets {day}") }
}

/// Name of a sheet for a screen reader.
pub fn sheet(letter: &str, form: &str) -> String {
    format!("Sheet {letter}: {form}")
}

/// At the foot of each sheet.
pub const HOW_TO_WRITE: &str = "Times like 10:08:20, 1008, or +8:20 since the start. One event a line; leave empty what you do not know; strike out a wrong line, \
                                don't erase. A copy of this sheet needs a letter of its own. Call signs only, no names.";
