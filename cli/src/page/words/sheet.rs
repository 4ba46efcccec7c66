//! The sentences of the sheets that people take home.

use super::*;

/// A sheet to take home.
pub fn sheet_title(call_sign: &str, date: impl Display, area: &str) -> String {
    format!("{call_sign}, {date}, {area}")
}
pub const SHEET_HEADS: [&str; 3] = ["drill, target", "step", "from start"];
pub const SHEET_TURN_HEADS: [&str; 5] = ["drill", "work", "at the head", "turns", "longest"];
pub const SHEET_STRIKE_HEADS: [&str; 5] = ["drill, target", "from start", "outcome", "depth", "from mark"];
pub const SHEET_WALK_HEADS: [&str; 3] = ["drill", "way", "way / straight"];
pub const SHEET_ROLES: &str = "Roles";
pub const SHEET_TIMES: &str = "Own times";
pub const SHEET_TURNS: &str = "Own turns";
pub const SHEET_STRIKES: &str = "Own strikes";
pub const SHEET_WALKS: &str = "Own ways";
pub const SHEET_CHECKS: &str = "Own checks";
pub const SHEET_FEEDBACK: &str = "Feedback";
pub const SIGNATURE: &str = "Seen with the instructor";
/// Present.
pub fn present(joined: Option<Time>, left: Option<Time>, hours: Option<f64>) -> String {
    let clock =
        |t: Option<Time>| t.map_or_else(|| NONE.to_owned(), |t| t.datetime().format("%H:%M").to_string());
    let hours = hours.map(|h| format!(", {} h", number(h))).unwrap_or_default();
    format!("here from {} to {}{hours}", clock(joined), clock(left))
}
/// A role.
pub fn role(role: &str, drill: Option<&str>) -> String {
    drill.map_or_else(|| role.to_owned(), |d| format!("{role} in drill {d}"))
}
/// A check without fault.
pub const IN_ORDER: &str = "in order";
